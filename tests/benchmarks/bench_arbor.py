"""Whether the doubt of blade and flange comes true, over clock plans and seating scatter.

    python tests/benchmarks/bench_arbor.py [BLADES]

Simulates BLADES blades (20,000) for every case from fixed seeds and prints a table in Markdown.
Nothing here is a test: `tests/test_arbor.py` runs some of the cases over fewer blades.

The blades of a case are judged many at a time by the package's own kernels; the first 10 of every
case are also given to the public `fit_wobble` and `separate_arbor`, and what was found here must
agree with their limits, blade by blade. Lengths are in millimetres.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

import bladegeom as bg
from bladegeom.arbor._mountings import Mounted, Mountings, arbor_design, repeats_design
from bladegeom.arbor.arbor import separate_arbor
from bladegeom.arbor.mounted import places_of
from bladegeom.kernel.doubt import amplitude_cdf
from bladegeom.kernel.harmonics import harmonic_columns, least_squares
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

BLADES = 20_000
SEED = 20_261_126
NOISE_MM = 0.01
COMPARED = 10
_CHUNK = 1000

PLANS: dict[str, tuple[float, ...]] = {
    "0 180": (0.0, 180.0),
    "0 120 240": (0.0, 120.0, 240.0),
    "0 0 180 180": (0.0, 0.0, 180.0, 180.0),
    "0 90 180 270": (0.0, 90.0, 180.0, 270.0),
    "0 0 90 180": (0.0, 0.0, 90.0, 180.0),
    "0 0 120 120 240 240": (0.0, 0.0, 120.0, 120.0, 240.0, 240.0),
    "12 times 30": tuple(30.0 * step for step in range(12)),
}
SEATINGS = (0.0, 0.5, 1.0, 2.0, 5.0, 20.0)
"""Standard deviation of the seating, as a multiple of that of one fit."""


@dataclass(frozen=True)
class Case:
    """Blades of one kind on one arbor, mounted by one plan.

    Attributes
    ----------
    plan : str
        Key of `PLANS`.
    seating : float
        As a multiple of the standard deviation of one fit.
    blade, flange : float
        Amplitudes, as multiples of the standard deviation of fit and seating together.
    teeth : int
    read : float
        In every mounting but the first, only this share of the teeth is read.
    """

    plan: str
    seating: float
    blade: float = 10.0
    flange: float = 10.0
    teeth: int = 24
    read: float = 1.0

    @property
    def clock_deg(self) -> Floats:
        """Clock position of every mounting."""
        return np.array(PLANS[self.plan])

    @property
    def fit_sd(self) -> float:
        """Standard deviation of one component of a fit of all teeth, in millimetres."""
        return NOISE_MM * float(np.sqrt(2 / self.teeth))

    def teeth_read(self, mounting: int) -> int:
        """Return how many teeth, from tooth 1 on, are read in a mounting."""
        return self.teeth if mounting == 0 else round(self.read * self.teeth)


class Blades(NamedTuple):
    """Simulated blades: the truth, and what was read in every mounting."""

    blade: NDArray[np.complex128]
    flange: NDArray[np.complex128]
    seating_sd: float
    reading: list[Floats]


class Verdicts(NamedTuple):
    """Blade by blade: which 95 % limits hold the truth, and what is called established.

    `ellipses` are the joint regions of both components.
    """

    amplitude: tuple[Bools, Bools]
    near: tuple[Bools, Bools]
    ellipse: tuple[Bools, Bools]
    resolved: tuple[Bools, Bools]
    seating: Bools
    fails: Bools


def simulate(case: Case, blades: int, rng: np.random.Generator) -> Blades:
    """Return blades and their readings in millimetres, mounting by mounting."""
    seating = case.seating * case.fit_sd
    size = float(np.hypot(case.fit_sd, seating))
    blade, flange = (
        one * size * np.exp(2j * np.pi * rng.uniform(size=blades))
        for one in (case.blade, case.flange)
    )
    reading = []
    for place, clock in enumerate(np.radians(case.clock_deg)):
        scatter = seating * (rng.normal(size=blades) + 1j * rng.normal(size=blades))
        wobble = blade + flange * np.exp(-1j * clock) + scatter
        count = case.teeth_read(place)
        angle = 2 * np.pi * np.arange(count) / case.teeth
        exact = np.real(wobble[:, None] * np.exp(-1j * angle))
        reading.append(exact + rng.normal(0.0, NOISE_MM, exact.shape))
    return Blades(blade, flange, seating, reading)


def fitted(case: Case, blades: Blades) -> Mounted:
    """Return wobbles, covariances and degrees of freedom, as `fit_wobble` finds them."""
    measured, covariance, dof = [], [], []
    for read in blades.reading:
        angle = 2 * np.pi * np.arange(read.shape[1]) / case.teeth
        fit = least_squares(harmonic_columns(angle), read)
        measured.append(fit.coefficients[:, 1] + 1j * fit.coefficients[:, 2])
        unit = fit.unit_covariance[1:, 1:]
        covariance.append((fit.rss / fit.dof)[:, None, None] * unit)
        dof.append(float(fit.dof))
    return Mounted(np.stack(measured, axis=1), np.stack(covariance, axis=1), np.array(dof))


def judge(case: Case, blades: Blades) -> Verdicts:
    """Return whether the limits hold, blade by blade."""
    given, clock, count = fitted(case, blades), case.clock_deg, len(blades.blade)
    model = Mountings(given, arbor_design(clock, np.zeros(len(clock), int)))
    variance, seating = np.zeros(count), np.zeros(count, bool)
    if model.dof:
        variance, upper, lower = (
            model.seating_variance(float(one))
            for one in (model.dof, *special.chdtri(model.dof, [0.975, 0.025]))
        )
        seating = (lower <= blades.seating_sd**2) & (blades.seating_sd**2 <= upper)
    solved = model.solved(variance)
    free = model.dof_of(variance, solved.share) + np.zeros(count)
    fails = np.zeros(count, bool)
    repeats = Mountings(given, repeats_design(places_of(clock)))
    if model.dof > repeats.dof:
        fails = model.lack_of_fit(repeats)[1] < 0.05
    found = [
        _judge_vector(
            solved.values[:, at] + 1j * solved.values[:, at + 1],
            solved.covariance[:, at : at + 2, at : at + 2],
            free,
            truth,
        )
        for at, truth in ((0, blades.blade), (2, blades.flange))
    ]
    both = [(one, other) for one, other in zip(*found, strict=True)]
    return Verdicts(*both, seating, fails)


def _judge_vector(
    value: NDArray[np.complex128], covariance: Floats, dof: Floats, truth: NDArray[np.complex128]
) -> tuple[Bools, Bools, Bools, Bools]:
    size = np.abs(value)
    sd = sd_toward_each(np.angle(value), covariance)
    at_low = law(size / sd, np.abs(truth) / sd, dof)
    at_high = law(np.maximum(size / sd, np.sqrt(2)), np.abs(truth) / sd, dof)
    inverse = np.linalg.inv(covariance)

    def squared(one: NDArray[np.complex128], other: NDArray[np.complex128]) -> Floats:
        left, right = (np.stack([each.real, each.imag], axis=-1) for each in (one, other))
        return np.einsum("ni,nij,nj->n", left, inverse, right)

    toward = np.exp(1j * np.angle(truth))
    across = np.imag(value * np.conj(toward))
    factor = special.stdtrit(dof, 0.975)
    kept = np.abs(across) <= factor * sd_toward_each(np.angle(truth) + np.pi / 2, covariance)
    near = (kept & (squared(value, toward) > 0)) | (squared(value, value) <= factor**2)
    limit = 2 * special.fdtri(2, dof, 0.95)
    off = value - truth
    ellipse = squared(off, off) <= limit
    return (at_low <= 0.975) & (at_high >= 0.025), near, ellipse, squared(value, value) > limit


def sd_toward_each(angle: Floats, covariance: Floats) -> Floats:
    """Return the standard deviation toward one direction of each covariance."""
    toward = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    return np.sqrt(np.einsum("ni,nij,nj->n", toward, covariance, toward))


def law(estimate: Floats, amplitude: Floats, dof: Floats) -> Floats:
    """Return `amplitude_cdf` of many blades, a few at a time to bound the memory."""
    parts = [slice(start, start + _CHUNK) for start in range(0, len(estimate), _CHUNK)]
    return np.concatenate(
        [amplitude_cdf(estimate[part], amplitude[part], dof[part]) for part in parts]
    )


def public(case: Case, blades: Blades, which: int) -> tuple[bool, ...]:
    """Return the verdicts on one blade from the public functions alone."""
    fits = []
    for read in blades.reading:
        readings = bg.Readings(
            bg.Blade(case.teeth),
            read[which],
            unit="mm",
            tooth=np.arange(read.shape[1]) + 1,
            ring_radius="100 mm",
        )
        fits.append(bg.fit_wobble(readings))
    found = separate_arbor(fits, list(case.clock_deg))
    pairs = (
        (found.blade_wobble, complex(blades.blade[which])),
        (found.flange_wobble, complex(blades.flange[which])),
    )
    verdicts = [_public_vector(one, truth) for one, truth in pairs]
    seats = found.seating_sd is not None and (
        found.seating_low <= blades.seating_sd <= found.seating_high
    )
    fails = found.p_value is not None and found.p_value < 0.05
    return (*(one for pair in zip(*verdicts, strict=True) for one in pair), seats, fails)


def _public_vector(one: Wobble, truth: complex) -> tuple[bool, bool, bool]:
    limits, near = one.amplitude_interval(), one.near_interval()
    direction = float(np.degrees(np.angle(truth)))
    return (
        limits.low <= abs(truth) <= limits.high,
        (direction - near.low) % 360.0 <= near.high - near.low,
        one.resolved,
    )


def compare(case: Case, blades: Blades, verdicts: Verdicts) -> None:
    """Hold the first blades against the public functions.

    Raises
    ------
    AssertionError
        If a verdict differs.
    """
    for which in range(min(COMPARED, len(blades.blade))):
        told = (*verdicts.amplitude, *verdicts.near, *verdicts.resolved)
        here = tuple(bool(one[which]) for one in (*told, verdicts.seating, verdicts.fails))
        if here != (there := public(case, blades, which)):
            raise AssertionError(f"{case}, blade {which}: {here} here, {there} in public")


def run_case(case: Case, blades: int, rng: np.random.Generator) -> Verdicts:
    """Simulate, judge, and hold the first blades against the public functions."""
    simulated = simulate(case, blades, rng)
    verdicts = judge(case, simulated)
    compare(case, simulated, verdicts)
    return verdicts


def cases() -> list[Case]:
    """Return all cases of the table."""
    found = [Case(plan, seating) for plan in PLANS for seating in SEATINGS]
    for plan in ("0 120 240", "0 0 120 120 240 240"):
        for seating in (0.0, 1.0, 5.0):
            found += [
                Case(plan, seating, blade=0.0, flange=0.0),
                Case(plan, seating, blade=2.0, flange=30.0),
                Case(plan, seating, teeth=8),
                Case(plan, seating, read=0.5),
            ]
    return found


def row(case: Case, verdicts: Verdicts) -> str:
    """Return one line of the table, shares in percent."""

    def share(one: Bools) -> str:
        return f"{100 * one.mean():.1f}"

    pairs = (verdicts.amplitude, verdicts.near, verdicts.ellipse, verdicts.resolved)
    cells = [
        case.plan,
        f"{case.seating:g}",
        f"{case.blade:g}, {case.flange:g}",
        f"{case.teeth}{'' if case.read == 1 else f', then {case.teeth_read(1)}'}",
        *(f"{share(one)}, {share(other)}" for one, other in pairs),
        share(verdicts.seating),
        share(verdicts.fails),
    ]
    return "| " + " | ".join(cells) + " |"


def lines(blades: int) -> Iterator[str]:
    """Return the table, line by line."""
    yield (
        "| clock positions | seating / fit | amplitudes | teeth | amplitude | near | ellipse "
        "| resolved | seating | called failed |"
    )
    yield "|---" * 10 + "|"
    for place, case in enumerate(cases()):
        # A stream of its own, so that a case comes out the same whichever others are run.
        yield row(case, run_case(case, blades, np.random.Generator(np.random.PCG64([SEED, place]))))


if __name__ == "__main__":
    started = time.perf_counter()
    for line in lines(int(sys.argv[1]) if len(sys.argv) > 1 else BLADES):
        print(line, flush=True)
    print(f"\n{time.perf_counter() - started:.0f} s")
