"""Where the doubt comes from, combined by the GUM (JCGM 100)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.estimate import combined
from bladegeom.fit._fitted import Fitted
from bladegeom.fit.play import taken_out
from bladegeom.fit.stated import float_covariance, stylus_scale_u
from bladegeom.kernel.design import Design, design_of
from bladegeom.kernel.doubt import sd_toward, student_t
from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.result import Result, Row, derived, described, number, quantity

Floats = NDArray[np.float64]


class Cause(NamedTuple):
    """One cause of doubt, or all of them together.

    Attributes
    ----------
    name : str
    amplitude_u, near_u_deg, tilt_u_deg : float
        Standard uncertainties (k = 1) that it makes of the amplitude, of the direction (infinite
        where the amplitude is 0), and of the tilt (None without a ring radius).
    dof : float
        Degrees of freedom; infinite where the size is stated and not estimated.
    words : str
        What it rests on.
    """

    name: str
    amplitude_u: float
    near_u_deg: float
    tilt_u_deg: float | None
    dof: float
    words: str = ""

    def rows(self, unit: str) -> list[Row]:
        """Return its rows in the budget."""
        key = self.name.replace(" ", "_")
        return [
            Row(f"{key}_amplitude_u", self.amplitude_u, self.name, self.text(unit)),
            Row(f"{key}_near_u_deg", self.near_u_deg),
            Row(f"{key}_tilt_u_deg", self.tilt_u_deg),
            Row(f"{key}_dof", self.dof),
        ]

    def text(self, unit: str) -> str:
        """Return its sizes, and what they rest on, in words."""
        if self.amplitude_u == self.near_u_deg == (self.tilt_u_deg or 0.0) == 0.0:
            return f"none: {self.words}"
        parts = [f"amplitude {number(self.amplitude_u, self.amplitude_u or None)} {unit}"]
        if self.near_u_deg < 90:  # Beyond that there is no direction to speak of.
            parts.append(f"direction {number(self.near_u_deg, self.near_u_deg or None)} deg")
        if self.tilt_u_deg is not None:
            parts.append(f"tilt {number(self.tilt_u_deg, self.tilt_u_deg or None)} deg")
        return ", ".join(parts) + (f"; {self.words}" if self.words else "")


class Repeats(NamedTuple):
    """What teeth that were read more than once say.

    Attributes
    ----------
    sd : float
        Standard deviation of a reading repeated (pure error).
    dof : int
    lack_of_fit_p : float or None
        Chance of so much texture beside it by scatter alone; None where nothing is left to tell.
    """

    sd: float
    dof: int
    lack_of_fit_p: float | None

    def rows(self, unit: str) -> list[Row]:
        """Return its rows in the budget."""
        p, repeats = self.lack_of_fit_p, number(self.sd, self.sd / 4 or None)
        text = f"{repeats} {unit} ({self.dof} degrees of freedom)"
        beside = Row("lack_of_fit_p", p)
        if p is not None:
            shown = f"{'' if p < 0.05 else 'not '}shown (p = {p:.2g})"
            beside = Row("lack_of_fit_p", p, "texture beside it", shown)
        return [
            Row("repeat_sd", self.sd, "a reading repeats to", text),
            Row("repeat_dof", self.dof),
            beside,
        ]


@described
class Budget(Result):
    """The causes of doubt and their sum."""

    unit: str
    causes: tuple[Cause, ...] = quantity("the causes, each with its sizes", key="")
    unknown: tuple[str, ...] = quantity(
        "causes that nothing was said of, and that are not in the sum", key=""
    )

    @derived("of every cause", inline=True)
    def _of_causes(self) -> list[Row]:
        return [row for cause in self.causes for row in cause.rows(self.unit)]

    together: Cause = quantity("the root of the sum of squares (GUM 5.1)", key="")

    @derived(
        "combined standard uncertainty (k = 1) of the amplitude",
        label="together",
        text=lambda one: one.together.text(one.unit),
    )
    def amplitude_u(self) -> float:
        return self.together.amplitude_u

    @derived("the same of the direction")
    def near_u_deg(self) -> float:
        return self.together.near_u_deg

    @derived("the same of the tilt")
    def tilt_u_deg(self) -> float | None:
        return self.together.tilt_u_deg

    @derived("effective degrees of freedom of the amplitude (Welch-Satterthwaite, GUM G.4)")
    def dof(self) -> float:
        return self.together.dof

    @derived(
        "Student's factor for 95 % and `dof`",
        label="expanded, 95 %",
        text=lambda one: one._expanded,
    )
    def coverage_factor(self) -> float:
        return student_t(0.95, self.dof)

    repeats: Repeats | None = quantity("what repeated teeth say; None where none was", key="")

    @derived("of the repeats", inline=True)
    def _of_repeats(self) -> list[Row]:
        return [] if self.repeats is None else self.repeats.rows(self.unit)

    @property
    def _expanded(self) -> str:
        expanded = self.coverage_factor * self.amplitude_u
        size = f"\u00b1{number(expanded, expanded)} {self.unit}"
        return f"amplitude {size} (k = {self.coverage_factor:.2f})"

    def _title(self) -> str:
        return "Doubt of the wobble, by cause (standard uncertainties, k = 1)"

    def _remarks(self) -> Sequence[str]:
        return [f"not in the sum: {one}" for one in self.unknown]


def budget_of(fit: Fitted) -> Budget:
    """Return the budget of a fit's doubt."""
    readings, found = fit.readings, repeats_of(fit)
    causes: list[Cause] = []
    unknown: list[str] = []
    ring = readings.ring_radius

    def add(name: str, along: float, across: float, dof: float, words: str) -> None:
        near = math.degrees(across / fit.amplitude) if fit.amplitude > 0 else math.inf
        tilt = None
        if ring is not None:
            tilt = math.degrees(along / ring / (1 + (fit.amplitude / ring) ** 2))
        causes.append(Cause(name, along, near, tilt, float(dof), words))

    riding = float_covariance(readings.end_float)

    def both_ways(covariance: Floats) -> tuple[float, float]:
        near = fit.near_deg
        return float(sd_toward(near, covariance)), float(sd_toward(near + 90.0, covariance))

    bent = np.zeros((2, 2)) if fit.leak is None else fit.leak.covariance
    along, across = both_ways(fit.covariance - riding - bent)
    if found is None:
        words = "repeatability and texture together, from the scatter about the curve"
        add("scatter", along, across, fit.residual_dof, words)
        unknown.append("repeatability by itself (read a second turn)")
    else:
        part = found.sd / fit.reading_sd if fit.reading_sd > 0 else 0.0
        words = "from teeth read more than once"
        add("repeatability", part * along, part * across, found.dof, words)
        bends = math.sqrt(max(0.0, 1 - part**2))
        words = "from what the curve misses beyond repeatability"
        if _reads_every_spot(fit):
            bends, words = 0.0, "every tooth was read, so bends are square to the wobble"
        add("texture", bends * along, bends * across, max(fit.residual_dof - found.dof, 1), words)
    if fit.leak is not None:
        words = "bends of two and three waves a turn, through the teeth that were not read"
        add("bends not read", *both_ways(bent), fit.leak.dof, words)
    if np.any(fit.rounding):
        more, aside = both_ways(fit.rounding)
        words = "readings scatter by less than half a graduation: rounding does not average out"
        add("graduation", more, aside, math.inf, words)
    elif not fit.graduation:
        unknown.append("the graduation (state it)")
    if fit.closure_bias is not None:
        size = fit.closure_bias / math.sqrt(3)
        shows = "closing reading shows" if fit.turn_drift is None else "turns show"
        words = f"a steady drift between none and what the {shows}"
        add("drift", size, size, math.inf, words)
    elif fit.drift_per_turn is None:
        unknown.append("drift (read the first tooth again at the end)")
    if readings.end_float_mm is not None:
        size = math.sqrt(riding[0, 0])
        words = "the arbor may ride anywhere in its float, in step with the rotation"
        add("end float", size, size, math.inf, words)
    else:
        unknown.append("end float of the arbor (push and pull it, read one tooth twice)")
    if readings.stylus_deg:
        lost = fit.amplitude * float(stylus_scale_u(readings.stylus_deg))
        words = f"a plunger up to {readings.stylus_deg:g} deg out of the arbor's direction"
        add("stylus angle", lost, 0.0, math.inf, words)
    else:
        unknown.append("angle of the stylus (state stylus_deg)")
    if fit.lag_deg is not None and fit.lag_u_deg is not None:
        size = fit.amplitude * taken_out(fit.lag_deg, fit.lag_u_deg)[1]
        add("play", size, 0.0, math.inf, "what the indicator's dead band takes off the amplitude")
    if readings.ring_radius_u_mm is not None and readings.ring_radius_mm is not None:
        part = readings.ring_radius_u_mm / readings.ring_radius_mm
        tilt = math.radians(fit.tilt_deg or 0.0)
        own = math.degrees(part * math.sin(tilt) * math.cos(tilt))
        words = "as stated; it moves only the tilt"
        causes.append(Cause("ring radius", 0.0, 0.0, own, math.inf, words))
    elif readings.ring_radius_mm is not None:
        unknown.append("the ring radius's own doubt (state ring_radius_u)")
    amplitude_u, dof = combined((cause.amplitude_u, cause.dof) for cause in causes)
    near = math.hypot(*(cause.near_u_deg for cause in causes))
    tilts = [cause.tilt_u_deg for cause in causes if cause.tilt_u_deg is not None]
    return Budget(
        unit=fit.unit,
        causes=tuple(causes),
        unknown=tuple(unknown),
        together=Cause("", amplitude_u, near, math.hypot(*tilts) if tilts else None, dof),
        repeats=found,
    )


def repeats_of(fit: Fitted) -> Repeats | None:
    """Return what repeated teeth say, or None where none was repeated.

    Pure error is what is left when every tooth has a height of its own (beside the offsets of the
    turns, a drift and the play); lack of fit is what the curve leaves beyond it.
    """
    readings = fit.readings
    design = design_of(readings, drift=fit.drift_per_turn is not None)
    teeth, which = np.unique(readings.tooth[design.in_fit], return_inverse=True)
    each = (which[:, np.newaxis] == np.arange(len(teeth))).astype(np.float64)
    columns = np.concatenate([design.aside, each, *_play(design)], axis=1)
    read = readings.reading[design.in_fit]
    solution, _, rank, _ = np.linalg.lstsq(columns, read - read.mean(), rcond=None)
    dof = len(read) - int(rank)
    if dof < 1:
        return None
    left = float(np.sum((read - read.mean() - columns @ solution) ** 2))
    sd = math.sqrt(left / dof)
    more = fit.residual_dof - dof
    beyond = float(fit.residuals @ fit.residuals) - left
    lack = None
    if more >= 1 and sd > 0 and not fit.robust:
        lack = float(special.fdtrc(more, dof, max(0.0, beyond) / more / sd**2))
    return Repeats(max(sd, fit.graduation / math.sqrt(12)), dof, lack)


def _play(design: Design) -> list[Floats]:
    if design.play is None:
        return []
    return [harmonic_columns(design.angle)[:, 1:] * design.play[:, np.newaxis]]


def _reads_every_spot(fit: Fitted) -> bool:
    """Return whether every tooth of an evenly pitched blade was read equally often."""
    blade, readings = fit.readings.blade, fit.readings
    gaps = np.diff(blade.angles_deg, append=360.0)
    counts = np.bincount(readings.tooth[fit.in_fit], minlength=blade.teeth + 1)[1:]
    return bool(np.ptp(gaps) < 1e-9 and counts.min() == counts.max() and not fit.robust)
