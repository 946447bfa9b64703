"""What a square set against the plate is wrong by when the neutral line stands elsewhere."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.angles import wrap_180
from bladegeom.estimate import Estimate, Known
from bladegeom.faults import refuse
from bladegeom.fit.wobble import OfBlade, WobbleFit
from bladegeom.kernel.doubt import sd_toward
from bladegeom.kinds import checked
from bladegeom.lengths import Length, length
from bladegeom.result import derived, described, number, percent, quantity
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]

_BELOW = "below the graduation, which is not stated"


@checked
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
    slope = _slope(fit).amplitude * np.sin(np.radians(np.asarray(away_deg, np.float64)))
    return _as_given(np.degrees(np.arctan(slope)))


@checked
def squareness_error_u(fit: WobbleFit, away_deg: ArrayLike) -> float | Floats:
    """Return the standard uncertainty (k = 1) of `squareness_error`.

    The slope of the line is the wobble's component toward its upper end, over the ring radius,
    so its uncertainty is that of both (with the rounding that does not average out): on the
    neutral line the error is 0 and the doubt is not. Arguments, shape and refusal are those of
    `squareness_error`.
    """
    away = np.asarray(away_deg, dtype=np.float64)
    slope_u = sd_toward(fit.near_deg + 90.0 - away, _slope(fit).rounded_covariance)
    slope = np.tan(np.radians(squareness_error(fit, away)))
    return _as_given(np.degrees(slope_u / (1 + slope**2)))


def doubt_toward(wobble: Wobble, angle_deg: float) -> tuple[float, float]:
    """Return the signed doubt of a wobble toward a blade angle, from its two independent parts.

    Two estimates of one wobble share both; see `Cause`.
    """
    if not np.isfinite(wobble.rounded_covariance).all():
        return math.nan, math.nan
    sizes, ways = np.linalg.eigh(wobble.rounded_covariance)
    turn = math.radians(angle_deg)
    first, second = np.sqrt(np.maximum(sizes, 0.0)) * (ways.T @ [math.cos(turn), math.sin(turn)])
    return float(first), float(second)


@described
class Squareness(OfBlade):
    """The squareness error at one rotation, and over all of them.

    Where all readings are the same and the graduation is not stated, every uncertainty and upper
    limit, and so the worst case, is not known: NaN here, None in `to_dict`.
    """

    fit: WobbleFit
    tooth: int | None = quantity("the tooth that stands uppermost, if it was given")
    away_deg: float = quantity("turn from the neutral line; see `squareness_error`")
    error: Estimate = quantity(
        "squareness error at that rotation",
        unit="deg",
        label="squareness error",
        text=lambda one: _lean(one.error),
    )
    span: float | None = quantity("length of the square's blade")
    span_unit: str | None = quantity("its unit")
    gap: Known | None = quantity(
        "what the error opens over the span, in `span_unit`",
        parts=("", "_u"),
        label=lambda one: f"gap over {one.span:g} {one.span_unit}" if one.gap else "",
        text=lambda one: _sized(one.gap, one.span_unit, f" {one.span_unit}"),
    )

    @derived("error at the worst rotation: the tilt, or its upper limit where unresolved")
    def worst_squareness_deg(self) -> float:
        return self.worst.value

    worst: Known = quantity(
        "doubt of the worst rotation",
        parts=("_u", "_low", "_high"),
        ending="_deg",
        label="at the worst rotation",
        text=lambda one: one.worst.text("deg") if math.isfinite(one.error.u) else _BELOW,
    )
    rms: Known = quantity(
        "root mean square of the error over all rotations",
        parts=("", "_u"),
        ending="_deg",
        label="rms over rotations",
        text=lambda one: _sized(one.rms, "deg", ""),
    )
    tolerance_deg: float | None = quantity("the largest error accepted")
    chance_out: Known | None = quantity(
        "chance that a random rotation is out by more than the tolerance, and at the limits of "
        "the amplitude",
        parts=("", "_low", "_high"),
        label=lambda one: f"out by over {one.tolerance_deg:g} deg" if one.chance_out else "",
        text=lambda one: _odds(one.chance_out),
    )

    def _title(self) -> str:
        what = f"{self._named}: " if self.blade else ""
        if self.tooth is not None:
            return f"{what}squareness with tooth {self.tooth} uppermost"
        return f"{what}squareness {self.away_deg:g} deg away from the neutral line"


def _lean(error: Estimate) -> str:
    if not math.isfinite(error.u):
        return _BELOW
    if abs(error.value) <= error.reach:
        most = number(max(abs(error.low), abs(error.high)), error.u)
        return f"at most {most} deg (95 %), to which side cannot be told"
    end = "toward" if error.value > 0 else "from"
    size = error.times(math.copysign(1.0, error.value))
    return f"{size.text('deg')}; upper end leans {end} the indicator"


def _sized(one: Known, unit: str, of_doubt: str) -> str:
    if not math.isfinite(one.u):
        return _BELOW
    size, u = number(abs(one.value), one.u), number(one.u, one.u)
    return f"{size} {unit} (standard uncertainty {u}{of_doubt})"


def _odds(chance: Known) -> str:
    if math.isnan(chance.high):
        return _BELOW
    low, high = percent(chance.low), percent(chance.high)
    return f"{percent(chance.value)} of random rotations (95 %: {low} to {high})"


@checked
def squareness(
    fit: WobbleFit,
    *,
    away_deg: float | None = None,
    tooth: int | None = None,
    span: Length | None = None,
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
    span : length, such as ``"6 in"`` or ``(6, "in")``, optional
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
    error = Estimate(
        float(squareness_error(fit, away)), float(squareness_error_u(fit, away)), fit.dof
    )
    per = math.degrees(math.cos(math.radians(error.value)) ** 2)
    toward = doubt_toward(_slope(fit), fit.near_deg + 90.0 - away)
    error = error.caused_by(fit.readings, *(per * part for part in toward))
    size, unit = length("span", span) or (None, None)
    gap = None
    if size is not None:
        value, low, high = (
            size * math.tan(math.radians(one)) for one in (error.value, error.low, error.high)
        )
        u = size * math.radians(error.u) / math.cos(math.radians(error.value)) ** 2
        gap = Known(value, u, low, high)
    slope, tilt = _slope(fit), fit.tilt or Known(0.0)
    rms, rms_per_slope = _rms(slope.amplitude)
    chance = None
    if tolerance_deg is not None:
        odds = [chance_out(one, tolerance_deg) for one in (tilt.value, tilt.low, tilt.high)]
        chance = Known(odds[0], low=odds[1], high=odds[2])
    return Squareness(
        fit=fit,
        away_deg=away,
        tooth=tooth,
        error=error,
        span=size,
        span_unit=unit,
        gap=gap,
        worst=tilt if fit.resolved else tilt._replace(value=tilt.high),
        rms=Known(rms, rms_per_slope * slope.amplitude_u),
        tolerance_deg=tolerance_deg,
        chance_out=chance,
    )


def chance_out(tilt_deg: float, tolerance_deg: float) -> float:
    """Return the chance that a random rotation is out of square by more than a tolerance.

    The error exceeds the tolerance where ``|sin(away)| > tan(tolerance) / tan(tilt)``, so the
    chance is ``1 - (2 / pi) asin(tan(tolerance) / tan(tilt))``, or 0.
    """
    if math.isnan(tilt_deg):
        return math.nan
    if tilt_deg <= tolerance_deg:
        return 0.0
    ratio = math.tan(math.radians(tolerance_deg)) / math.tan(math.radians(tilt_deg))
    return 1 - 2 / math.pi * math.asin(ratio)


def _slope(fit: WobbleFit) -> Wobble:
    if fit.slope is None:
        raise refuse(
            "the ring radius is not stated, so there is no angle",
            "give ring_radius, from the arbor's axis to the stylus",
            blade=fit.readings.blade.name,
        )
    return fit.slope


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
