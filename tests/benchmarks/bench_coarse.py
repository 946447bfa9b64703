"""Whether the doubt of readings rounded to a coarse graduation comes true, by `fit_table` in bulk.

    python tests/benchmarks/bench_coarse.py [BLADES]

Simulates BLADES blades (4,000) for every number of teeth, scatter and amplitude from one fixed
seed and prints a table in Markdown, which `bench_doubt.py` puts into calibration.md.

All lengths are graduations, called micrometres. Near lies anywhere round the blade, the dial's zero
anywhere within a graduation.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

import bladegeom as bg
from bladegeom.angles import turn_between
from bladegeom.kernel.doubt import amplitude_limits, direction_limits, facing

Floats = NDArray[np.float64]

BLADES = 4_000
SEED = 20_261_127
TEETH = (8, 12, 24, 40, 80)
SCATTERS = (0.0, 0.1, 0.2, 0.3, 0.5)
AMPLITUDES = (0.0, 0.2, 0.5, 0.8, 1.0, 1.5, 3.0, 8.0, 30.0)
CLEAR = 1.0
"""Amplitudes from which on the widths are held against plain Student's."""


class Case(NamedTuple):
    """Blades of one kind, every tooth read once a turn; lengths in graduations."""

    teeth: int
    scatter: float
    amplitude: float
    turns: int = 1
    stated: bool = True


class Read(NamedTuple):
    """Simulated blades: the truth, and what `fit_table` says of them."""

    near_deg: Floats
    told: pd.DataFrame


class Found(NamedTuple):
    """Shares of a case's blades whose limits hold, and how wide these are.

    Widths are means over those of Student's law with the true scatter, rounding's own in it. Where
    no direction is established none is said to be wrong.
    """

    case: Case
    amplitude: float
    near: float
    width: float
    near_width: float
    resolved: float
    claimed: Floats  # Chances of the named near teeth.
    true: NDArray[np.bool_]  # Whether they are nearest.


def read(case: Case, blades: int, rng: np.random.Generator) -> Read:
    """Return blades of this kind, and the answers to their readings."""
    angle = 2 * np.pi * np.arange(case.teeth) / case.teeth
    near_deg, zero = rng.uniform(0, 360, (blades, 1, 1)), rng.uniform(0, 1, (blades, 1, 1))
    exact = zero + case.amplitude * np.cos(angle - np.radians(near_deg))
    shape = (blades, case.turns, case.teeth)
    shown = np.round(exact + rng.normal(0.0, case.scatter, shape))
    frame = {
        "blade": np.repeat(np.array([f"B{n}" for n in range(blades)]), case.turns * case.teeth),
        "turn": np.tile(np.repeat(np.arange(1, case.turns + 1), case.teeth), blades),
        "tooth": np.tile(np.arange(1, case.teeth + 1), blades * case.turns),
        "reading_um": shown.ravel(),
        "teeth": case.teeth,
        **({"graduation_um": 1.0} if case.stated else {}),
    }
    return Read(near_deg.ravel(), bg.fit_table(pd.DataFrame(frame)))


def found(case: Case, blades: int, seed: np.random.SeedSequence) -> Found:
    """Simulate, and count."""
    near_deg, told = read(case, blades, np.random.Generator(np.random.PCG64(seed)))
    resolved = told["resolved"].to_numpy()
    low, high = (told[f"amplitude_{end}"].to_numpy() for end in ("low", "high"))
    near, near_low, near_high = (
        told[name].to_numpy() for name in ("near_deg", "near_low_deg", "near_high_deg")
    )
    span = near_high - near_low
    held = (near_deg - near_low) % 360 <= span
    amplitude = told["amplitude"].to_numpy()
    variance = (case.scatter**2 + 1 / 12) * 2 / case.teeth / case.turns
    dof = float(case.turns * case.teeth - case.turns - 2)
    seen = facing(amplitude, np.zeros(blades), variance * np.eye(2)[:, :, np.newaxis])
    least, most = amplitude_limits(amplitude, np.full(blades, np.sqrt(variance)), dof)
    below, above = direction_limits(seen, dof)
    tooth_deg = 360 / case.teeth * np.arange(case.teeth)
    true_tooth = np.argmin(np.abs(turn_between(tooth_deg, near_deg[:, np.newaxis])), axis=1) + 1
    named = told["near_tooth"].to_numpy(dtype=np.float64, na_value=np.nan)
    some = resolved & ~np.isnan(near)
    return Found(
        case,
        float(((low <= case.amplitude) & (case.amplitude <= high)).mean()),
        float((held | ~resolved).mean()) if case.amplitude else np.nan,
        float((high - low).mean() / (most - least).mean()),
        float(span[some].mean() / (above - below)[some].mean()) if some.any() else np.nan,
        float(resolved.mean()),
        told["near_probability"].to_numpy()[some],
        named[some] == true_tooth[some],
    )


def off(some: Sequence[Found], fewest: int) -> tuple[float, float]:
    """Return least and greatest difference of what comes true from the claim, in tenths."""
    claimed = np.concatenate([one.claimed for one in some if one.case.amplitude])
    true = np.concatenate([one.true for one in some if one.case.amplitude])
    which = np.minimum((claimed * 10).astype(int), 9)
    bins = [which == one for one in range(10) if np.count_nonzero(which == one) >= fewest]
    differ = [float(true[one].mean() - claimed[one].mean()) for one in bins]
    return min(differ), max(differ)


def _span(values: Sequence[float], form: str) -> str:
    low, high = (f"{end:{form}}" for end in (np.nanmin(values), np.nanmax(values)))
    return low if low == high else f"{low} to {high}"


def coarse_table(blades: int) -> Iterator[str]:
    """Simulate every case and return the table, line by line."""
    cases = [Case(t, s, a) for s in SCATTERS for t in TEETH for a in AMPLITUDES]
    seeds = np.random.SeedSequence(SEED).spawn(len(cases))
    every = [found(case, blades, seed) for case, seed in zip(cases, seeds, strict=True)]
    yield "| scatter / graduation | amplitude | near | width | near, width | chance of a tooth |"
    yield "|---|---|---|---|---|---|"
    for scatter in SCATTERS:
        here = [one for one in every if one.case.scatter == scatter]
        clear = [one for one in here if one.case.amplitude >= CLEAR]
        worst, best = off(here, blades)
        row = [
            f"{scatter:g}",
            _span([100 * one.amplitude for one in here], ".1f"),
            _span([100 * one.near for one in here], ".1f"),
            _span([one.width for one in clear], ".2f"),
            _span([one.near_width for one in clear], ".2f"),
            f"{worst:+.3f} to {best:+.3f}",
        ]
        yield f"| {' | '.join(row)} |"
    few = [
        max(one.amplitude, one.near)
        for one in every
        if one.case[:2] == (min(TEETH), 0.3) and one.case.amplitude >= CLEAR
    ]
    yield ""
    yield (
        f"Readings rounded to a coarse graduation, by `fit_table`: {blades:,} blades of every "
        f"kind, {', '.join(map(str, TEETH))} teeth, amplitudes of "
        f"{', '.join(f'{size:g}' for size in AMPLITUDES)} graduations. Least and greatest share, "
        "in percent, of blades whose 95 % limits hold the "
        f"truth; from an amplitude of {CLEAR:g} graduation on, the limits' mean width over that of "
        "Student's law with the true scatter; and by how much oftener than claimed the near tooth "
        "named is the nearest, in tenths of the claim. With eight teeth and a scatter of "
        f"0.3 graduations the limits hold for up to {100 * max(few):.1f} %: five degrees of "
        "freedom hardly tell a quiet dial from a steady one."
    )


if __name__ == "__main__":
    print("\n".join(coarse_table(int(sys.argv[1]) if len(sys.argv) > 1 else BLADES)))
