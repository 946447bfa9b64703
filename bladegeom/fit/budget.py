"""Where the doubt comes from, combined by the GUM (JCGM 100)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.kernel.design import Design, design_of
from bladegeom.kernel.doubt import sd_toward, student_t
from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.result import Result, Row, number

if TYPE_CHECKING:
    from bladegeom.fit.wobble import WobbleFit

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Cause:
    """One cause of doubt.

    Attributes
    ----------
    name : str
    amplitude_u : float
        Standard uncertainty (k = 1) of the amplitude that it makes, in the readings' unit.
    near_u_deg : float
        Of the direction; infinite where the amplitude is 0.
    tilt_u_deg : float or None
        Of the tilt; None without a ring radius.
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
    words: str


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


@dataclass(frozen=True, eq=False, repr=False)
class Budget(Result):
    """The causes of doubt and their sum.

    Attributes
    ----------
    causes : tuple of Cause
    unknown : tuple of str
        Causes that nothing was said of, and that are not in the sum.
    amplitude_u, near_u_deg, tilt_u_deg : float
        Combined standard uncertainties (k = 1), the root of the sum of squares (GUM 5.1).
    dof : float
        Effective degrees of freedom of the amplitude (Welch-Satterthwaite, GUM G.4).
    coverage_factor : float
        Student's factor for 95 % and `dof`.
    repeats : Repeats or None
    """

    unit: str
    causes: tuple[Cause, ...]
    unknown: tuple[str, ...]
    amplitude_u: float
    near_u_deg: float
    tilt_u_deg: float | None
    dof: float
    coverage_factor: float
    repeats: Repeats | None

    def _title(self) -> str:
        return "Doubt of the wobble, by cause (standard uncertainties, k = 1)"

    def _rows(self) -> Sequence[Row]:
        rows: list[Row] = []
        for cause in self.causes:
            key = cause.name.replace(" ", "_")
            rows += [
                Row(f"{key}_amplitude_u", cause.amplitude_u, cause.name, self._sizes(cause)),
                Row(f"{key}_near_u_deg", cause.near_u_deg),
                Row(f"{key}_tilt_u_deg", cause.tilt_u_deg),
                Row(f"{key}_dof", cause.dof),
            ]
        whole = Cause("", self.amplitude_u, self.near_u_deg, self.tilt_u_deg, self.dof, "")
        expanded = self.coverage_factor * self.amplitude_u
        rows += [
            Row("amplitude_u", self.amplitude_u, "together", self._sizes(whole)),
            Row("near_u_deg", self.near_u_deg),
            Row("tilt_u_deg", self.tilt_u_deg),
            Row("dof", self.dof),
            Row(
                "coverage_factor",
                self.coverage_factor,
                "expanded, 95 %",
                f"amplitude \u00b1{number(expanded, expanded)} {self.unit} (k = "
                f"{self.coverage_factor:.2f})",
            ),
        ]
        if self.repeats is not None:
            p = self.repeats.lack_of_fit_p
            rows += [
                Row(
                    "repeat_sd",
                    self.repeats.sd,
                    "a reading repeats to",
                    f"{number(self.repeats.sd, self.repeats.sd / 4 or None)} {self.unit} "
                    f"({self.repeats.dof} degrees of freedom)",
                ),
                Row("repeat_dof", self.repeats.dof),
                Row(
                    "lack_of_fit_p",
                    p,
                    "texture beside it" if p is not None else "",
                    "" if p is None else ("shown" if p < 0.05 else "not shown") + f" (p = {p:.2g})",
                ),
            ]
        return rows

    def _remarks(self) -> Sequence[str]:
        return [f"not in the sum: {one}" for one in self.unknown]

    def _sizes(self, cause: Cause) -> str:
        if cause.amplitude_u == cause.near_u_deg == (cause.tilt_u_deg or 0.0) == 0.0:
            return f"none: {cause.words}"
        parts = [f"amplitude {number(cause.amplitude_u, cause.amplitude_u or None)} {self.unit}"]
        if cause.near_u_deg < 90:  # Beyond that there is no direction to speak of.
            parts.append(f"direction {number(cause.near_u_deg, cause.near_u_deg or None)} deg")
        if cause.tilt_u_deg is not None:
            parts.append(f"tilt {number(cause.tilt_u_deg, cause.tilt_u_deg or None)} deg")
        return ", ".join(parts) + (f"; {cause.words}" if cause.words else "")


def budget_of(fit: WobbleFit) -> Budget:
    """Return the budget of a fit's doubt."""
    readings = fit.readings
    causes: list[Cause] = []
    unknown: list[str] = []
    along = float(sd_toward(fit.near_deg, fit.covariance))
    across = float(sd_toward(fit.near_deg + 90.0, fit.covariance))
    found = repeats_of(fit)
    if found is None:
        causes.append(
            _cause(
                fit,
                "scatter",
                along,
                across,
                fit.dof,
                "repeatability and texture together, from the scatter about the curve",
            )
        )
        unknown.append("repeatability by itself (read a second turn)")
    else:
        part = found.sd / fit.reading_sd if fit.reading_sd > 0 else 0.0
        causes.append(
            _cause(
                fit,
                "repeatability",
                part * along,
                part * across,
                found.dof,
                "from teeth read more than once",
            )
        )
        bends = math.sqrt(max(0.0, 1 - part**2))
        even = _reads_every_spot(fit)
        words = (
            "every tooth was read, so bends are square to the wobble"
            if even
            else "from what the curve misses beyond repeatability"
        )
        bends = 0.0 if even else bends
        more = max(fit.dof - found.dof, 1)
        causes.append(_cause(fit, "texture", bends * along, bends * across, more, words))
    if fit.rounding_margin:
        size = fit.rounding_margin / math.sqrt(3)
        words = "readings scatter by less than half a graduation: rounding does not average out"
        causes.append(_cause(fit, "graduation", size, size, math.inf, words))
    elif readings.graduation is None:
        unknown.append("the graduation (state it)")
    if fit.closure_bias is not None:
        size = fit.closure_bias / math.sqrt(3)
        words = "a steady drift between none and what the closing reading shows"
        causes.append(_cause(fit, "drift", size, size, math.inf, words))
    elif fit.drift_per_turn is None:
        unknown.append("drift (read the first tooth again at the end)")
    if readings.end_float_mm is not None:
        # The arbor may ride to and fro within its float in step with the rotation.
        size = readings.in_unit(readings.end_float_mm) / 2 / math.sqrt(3)
        words = "the arbor may ride anywhere in its float, in step with the rotation"
        causes.append(_cause(fit, "end float", size, size, math.inf, words))
    else:
        unknown.append("end float of the arbor (push and pull it, read one tooth twice)")
    if readings.stylus_deg:
        lost = fit.amplitude * (1 - math.cos(math.radians(readings.stylus_deg))) / math.sqrt(3)
        words = f"a plunger up to {readings.stylus_deg:g} deg out of the arbor's direction"
        causes.append(_cause(fit, "stylus angle", lost, 0.0, math.inf, words))
    else:
        unknown.append("angle of the stylus (state stylus_deg)")
    if readings.ring_radius_u_mm is not None and readings.ring_radius_mm is not None:
        part = readings.ring_radius_u_mm / readings.ring_radius_mm
        tilt = math.radians(fit.tilt_deg or 0.0)
        own = math.degrees(part * math.sin(tilt) * math.cos(tilt))
        causes.append(
            Cause("ring radius", 0.0, 0.0, own, math.inf, "as stated; it moves only the tilt")
        )
    elif readings.ring_radius_mm is not None:
        unknown.append("the ring radius's own doubt (state ring_radius_u)")
    return _summed(fit, causes, unknown, found)


def repeats_of(fit: WobbleFit) -> Repeats | None:
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
    more = fit.dof - dof
    beyond = float(fit.residuals @ fit.residuals) - left
    lack = None
    if more >= 1 and sd > 0 and not fit.robust:
        lack = float(special.fdtrc(more, dof, max(0.0, beyond) / more / sd**2))
    return Repeats(max(sd, (readings.graduation or 0.0) / math.sqrt(12)), dof, lack)


def _play(design: Design) -> list[Floats]:
    if design.play is None:
        return []
    return [harmonic_columns(design.angle)[:, 1:] * design.play[:, np.newaxis]]


def _reads_every_spot(fit: WobbleFit) -> bool:
    """Return whether every tooth of an evenly pitched blade was read equally often."""
    blade, readings = fit.readings.blade, fit.readings
    gaps = np.diff(blade.angles_deg, append=360.0)
    counts = np.bincount(readings.tooth[fit.in_fit], minlength=blade.teeth + 1)[1:]
    return bool(np.ptp(gaps) < 1e-9 and counts.min() == counts.max() and not fit.robust)


def _cause(fit: WobbleFit, name: str, along: float, across: float, dof: float, words: str) -> Cause:
    ring = fit.readings.ring_radius
    near = math.degrees(across / fit.amplitude) if fit.amplitude > 0 else math.inf
    tilt = None
    if ring is not None:
        tilt = math.degrees(along / ring / (1 + (fit.amplitude / ring) ** 2))
    return Cause(name, along, near, tilt, float(dof), words)


def _summed(
    fit: WobbleFit, causes: list[Cause], unknown: list[str], found: Repeats | None
) -> Budget:
    amplitude_u = math.sqrt(math.fsum(cause.amplitude_u**2 for cause in causes))
    whole = amplitude_u or 1.0  # Shares of it: the fourth power of a very small number is lost.
    bottom = math.fsum((cause.amplitude_u / whole) ** 4 / cause.dof for cause in causes)
    dof = 1 / bottom if bottom > 0 else math.inf
    tilts = [cause.tilt_u_deg for cause in causes if cause.tilt_u_deg is not None]
    return Budget(
        unit=fit.unit,
        causes=tuple(causes),
        unknown=tuple(unknown),
        amplitude_u=amplitude_u,
        near_u_deg=math.sqrt(math.fsum(cause.near_u_deg**2 for cause in causes)),
        tilt_u_deg=math.sqrt(math.fsum(tilt**2 for tilt in tilts)) if tilts else None,
        dof=dof,
        coverage_factor=student_t(0.95, dof),
        repeats=found,
    )
