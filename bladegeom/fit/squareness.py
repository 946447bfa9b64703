"""What a square set against the plate is wrong by when the neutral line stands elsewhere."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.angles import wrap_180
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import sd_toward, student_t
from bladegeom.lengths import one_length_mm
from bladegeom.result import Result, Row, between, number, percent

Floats = NDArray[np.float64]

_BELOW = "below the graduation, which is not stated"


def squareness_error(fit: WobbleFit, away_deg: ArrayLike) -> float | Floats:
    """Return the angle between the plate's upright line and a true square to the arbor, exactly.

    A line on a plate tilted by `tilt` that stands `away` from the neutral line leans by
    ``atan(tan(tilt) sin(away))``.

    Parameters
    ----------
    fit : WobbleFit
    away_deg : float or array_like, shape (...)
        Turn of the blade in degrees, positive in the direction in which tooth numbers grow, from
        the position with the neutral end at ``near_deg + 90`` uppermost.

    Returns
    -------
    float or ndarray, shape (...)
        Degrees; positive when the line's upper end leans toward the indicator.

    Raises
    ------
    RefusedError
        If the ring radius is not known.
    """
    slope = (fit.amplitude / _ring(fit)) * np.sin(np.radians(np.asarray(away_deg, np.float64)))
    return _as_given(np.degrees(np.arctan(slope)))


def squareness_error_u(fit: WobbleFit, away_deg: ArrayLike) -> float | Floats:
    """Return the standard uncertainty (k = 1) of `squareness_error`.

    The slope of the line is the wobble's component toward its upper end, over the ring radius,
    so its uncertainty is that component's (with the rounding that does not average out): on the
    neutral line the error is 0 and the doubt is not.

    Parameters
    ----------
    fit : WobbleFit
    away_deg : float or array_like, shape (...)

    Returns
    -------
    float or ndarray, shape (...)
        Degrees.

    Raises
    ------
    RefusedError
        If the ring radius is not known.
    """
    away = np.asarray(away_deg, dtype=np.float64)
    slope_u = sd_toward(fit.near_deg + 90.0 - away, fit.rounded_covariance) / _ring(fit)
    slope = np.tan(np.radians(squareness_error(fit, away)))
    return _as_given(np.degrees(slope_u / (1 + slope**2)))


@dataclass(frozen=True, eq=False, repr=False)
class Squareness(Result):
    """The squareness error at one rotation, and over all of them.

    Attributes
    ----------
    fit : WobbleFit
    away_deg : float
        Turn from the neutral line; see `squareness_error`.
    tooth : int or None
        The tooth that stands uppermost, if it was given.
    span : float or None
        Length of the square's blade, in `span_unit`.
    span_unit : {"mm", "in"} or None
    tolerance_deg : float or None
    error_deg, error_u_deg : float
    error_low_deg, error_high_deg : float
        95 % limits.
    gap, gap_u : float or None
        Over the span, ``span tan(error)``, in `span_unit`.
    worst_deg, worst_u_deg, worst_low_deg, worst_high_deg : float
        At the worst rotation: the tilt. Where the wobble is not resolved, `worst_deg` is the
        upper limit.
    rms_deg, rms_u_deg : float
        Root mean square over all rotations.
    chance_out, chance_out_low, chance_out_high : float or None
        Chance that a random rotation is out by more than the tolerance, and the same for the
        95 % limits of the amplitude.

    Notes
    -----
    Where all readings are the same and the graduation is not stated, every uncertainty and upper
    limit, and so `worst_deg`, is not known: NaN here, None in `to_dict`.
    """

    fit: WobbleFit
    away_deg: float
    tooth: int | None
    span: float | None
    span_unit: str | None
    tolerance_deg: float | None
    error_deg: float
    error_u_deg: float
    error_low_deg: float
    error_high_deg: float
    gap: float | None
    gap_u: float | None
    worst_deg: float
    worst_u_deg: float
    worst_low_deg: float
    worst_high_deg: float
    rms_deg: float
    rms_u_deg: float
    chance_out: float | None
    chance_out_low: float | None
    chance_out_high: float | None

    def _title(self) -> str:
        name = self.fit.readings.blade.name
        what = f"Blade {name}: " if name else ""
        if self.tooth is not None:
            return f"{what}squareness with tooth {self.tooth} uppermost"
        return f"{what}squareness {self.away_deg:g} deg away from the neutral line"

    def _rows(self) -> Sequence[Row]:
        u = self.error_u_deg
        known = math.isfinite(u)
        if abs(self.error_deg) < 1e-12:
            lean = "the line stands square"
        else:
            lean = f"upper end leans {'toward' if self.error_deg > 0 else 'from'} the indicator"
        limits = between(self.error_low_deg, self.error_high_deg, u)
        return [
            Row("blade", self.fit.readings.blade.name),
            Row("tooth", self.tooth),
            Row("away_deg", self.away_deg),
            Row(
                "error_deg",
                self.error_deg,
                "squareness error",
                f"{number(self.error_deg, u)} deg (95 %: {limits}); {lean}" if known else _BELOW,
            ),
            Row("error_u_deg", u),
            Row("error_low_deg", self.error_low_deg),
            Row("error_high_deg", self.error_high_deg),
            Row("span", self.span),
            Row("span_unit", self.span_unit),
            Row("gap", self.gap, *_gap(self)),
            Row("gap_u", self.gap_u),
            Row(
                "worst_squareness_deg",
                self.worst_deg,
                "at the worst rotation",
                f"{number(self.worst_deg, self.worst_u_deg)} deg (95 %: "
                f"{between(self.worst_low_deg, self.worst_high_deg, self.worst_u_deg)})"
                if known
                else _BELOW,
            ),
            Row("worst_u_deg", self.worst_u_deg),
            Row("worst_low_deg", self.worst_low_deg),
            Row("worst_high_deg", self.worst_high_deg),
            Row(
                "rms_deg",
                self.rms_deg,
                "rms over rotations",
                f"{number(self.rms_deg, self.rms_u_deg)} deg (standard uncertainty "
                f"{number(self.rms_u_deg, self.rms_u_deg)})"
                if known
                else _BELOW,
            ),
            Row("rms_u_deg", self.rms_u_deg),
            Row("tolerance_deg", self.tolerance_deg),
            Row("chance_out", self.chance_out, *_chance(self)),
            Row("chance_out_low", self.chance_out_low),
            Row("chance_out_high", self.chance_out_high),
            Row("warnings", list(self.fit.said)),
        ]

    def _first(self) -> Sequence[str]:
        return self.fit.doubted

    def _remarks(self) -> Sequence[str]:
        return self.fit.warnings


def squareness(
    fit: WobbleFit,
    *,
    away_deg: float | None = None,
    tooth: int | None = None,
    span_mm: float | None = None,
    span_in: float | None = None,
    tolerance_deg: float | None = None,
) -> Squareness:
    """Return the squareness error at one rotation with its doubt, the worst case, and the odds.

    Parameters
    ----------
    fit : WobbleFit
    away_deg : float, optional
        Turn from the neutral line; see `squareness_error`. Give this or `tooth`.
    tooth : int, optional
        The tooth that stands uppermost.
    span_mm, span_in : float, optional
        Length of the square's blade, for the gap.
    tolerance_deg : float, optional
        For the chance that a random rotation is out by more.

    Returns
    -------
    Squareness

    Raises
    ------
    RefusedError
        If neither or both rotations are given, or the ring radius is not known.
    """
    blade = fit.readings.blade
    if (away_deg is None) == (tooth is None):
        raise refuse(
            "the rotation is not stated once",
            "give away_deg (turn from the neutral line) or tooth (the tooth uppermost)",
            blade=blade.name,
        )
    if tooth is not None:
        away = wrap_180(fit.near_deg + 90.0 - blade.angle_of(tooth))
    else:
        away = float(away_deg or 0.0)
    if not math.isfinite(away):
        raise refuse(f"away_deg is {away}", "give degrees", value=away, blade=blade.name)
    if tolerance_deg is not None and not 0 < tolerance_deg < 90:
        raise refuse(
            f"the tolerance is {tolerance_deg:g} deg", "give degrees above 0", value=tolerance_deg
        )
    error, u = float(squareness_error(fit, away)), float(squareness_error_u(fit, away))
    reach = student_t(0.95, fit.dof) * u
    span_unit = "mm" if span_mm is not None else "in" if span_in is not None else None
    one_length_mm("span", {"mm": span_mm, "in": span_in})
    span = span_mm if span_mm is not None else span_in
    gap = gap_u = None
    if span is not None:
        gap = span * math.tan(math.radians(error))
        gap_u = span * math.radians(u) / math.cos(math.radians(error)) ** 2
    low, high, _ = fit.amplitude_interval()
    slope = fit.amplitude / _ring(fit)
    rms, rms_per_slope = _rms(slope)
    tilt_low, tilt, tilt_high = (
        math.degrees(math.atan(one / _ring(fit))) for one in (low, fit.amplitude, high)
    )
    chances: list[float | None] = [None, None, None]
    if tolerance_deg is not None:
        chances = [chance_out(one, tolerance_deg) for one in (tilt_low, tilt, tilt_high)]
    return Squareness(
        fit=fit,
        away_deg=away,
        tooth=tooth,
        span=span,
        span_unit=span_unit,
        tolerance_deg=tolerance_deg,
        error_deg=error,
        error_u_deg=u,
        error_low_deg=error - reach,
        error_high_deg=error + reach,
        gap=gap,
        gap_u=gap_u,
        worst_deg=tilt if fit.resolved else tilt_high,
        worst_u_deg=fit.tilt_u_deg or 0.0,
        worst_low_deg=tilt_low,
        worst_high_deg=tilt_high,
        rms_deg=rms,
        rms_u_deg=rms_per_slope * fit.amplitude_u / _ring(fit),
        chance_out=chances[1],
        chance_out_low=chances[0],
        chance_out_high=chances[2],
    )


def chance_out(tilt_deg: float, tolerance_deg: float) -> float:
    """Return the chance that a random rotation is out of square by more than a tolerance.

    The error exceeds the tolerance where ``|sin(away)| > tan(tolerance) / tan(tilt)``, so the
    chance is ``1 - (2 / pi) asin(tan(tolerance) / tan(tilt))``, or 0.

    Parameters
    ----------
    tilt_deg, tolerance_deg : float

    Returns
    -------
    float
    """
    if math.isnan(tilt_deg):
        return math.nan
    if tilt_deg <= tolerance_deg:
        return 0.0
    ratio = math.tan(math.radians(tolerance_deg)) / math.tan(math.radians(tilt_deg))
    return 1 - 2 / math.pi * math.asin(ratio)


def _ring(fit: WobbleFit) -> float:
    ring = fit.readings.ring_radius
    if ring is None:
        raise refuse(
            "the ring radius is not stated, so there is no angle",
            "give ring_radius, from the arbor's axis to the stylus",
            blade=fit.readings.blade.name,
        )
    return ring


def _rms(slope: float) -> tuple[float, float]:
    """Return the rms error over all rotations in degrees, and its derivative by the slope.

    The mean of a smooth periodic function over evenly spaced rotations is exact to rounding.
    """
    sine = np.sin(np.radians(np.arange(0.0, 360.0, 0.5)))
    error = np.arctan(slope * sine)
    rms = math.sqrt(float(np.mean(error**2)))
    if slope == 0:
        return 0.0, math.degrees(math.sqrt(0.5))
    grows = float(np.mean(error * sine / (1 + (slope * sine) ** 2))) / rms
    return math.degrees(rms), math.degrees(grows)


def _as_given(values: Floats) -> float | Floats:
    return float(values) if np.ndim(values) == 0 else values


def _gap(one: Squareness) -> tuple[str, str]:
    if one.gap is None or one.gap_u is None:
        return "", ""
    unit = one.span_unit
    if math.isnan(one.gap_u):
        return f"gap over {one.span:g} {unit}", _BELOW
    return (
        f"gap over {one.span:g} {unit}",
        f"{number(abs(one.gap), one.gap_u)} {unit} (standard uncertainty "
        f"{number(one.gap_u, one.gap_u)} {unit})",
    )


def _chance(one: Squareness) -> tuple[str, str]:
    if one.chance_out is None or one.chance_out_low is None or one.chance_out_high is None:
        return "", ""
    if math.isnan(one.chance_out_high):
        return f"out by over {one.tolerance_deg:g} deg", _BELOW
    return (
        f"out by over {one.tolerance_deg:g} deg",
        f"{percent(one.chance_out)} of random rotations (95 %: {percent(one.chance_out_low)} to "
        f"{percent(one.chance_out_high)})",
    )
