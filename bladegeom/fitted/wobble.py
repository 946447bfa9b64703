"""The once-per-turn wobble of one blade, fitted by exact linear least squares."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import wrap_360
from bladegeom.fitted.doubt import (
    Interval,
    amplitude_limits,
    direction_limits,
    sd_toward,
    zero_amplitude_p,
)
from bladegeom.fitted.harmonics import harmonic_columns, least_squares
from bladegeom.fitted.plan import check_plan, plan_remarks
from bladegeom.measured.readings import Readings
from bladegeom.result import Result, Row, between, number

if TYPE_CHECKING:
    import pandas as pd

DETECTION_LEVEL = 0.95
"""A wobble is resolved if no wobble would show so large a one in fewer than 5 % of cases."""

_ODD_TILT_DEG = 1.0


@dataclass(frozen=True, eq=False, repr=False)
class WobbleFit(Result):
    """The wobble of a blade: reading = offset + cosine cos(angle) + sine sin(angle).

    Lengths are in the unit of the readings, angles are blade angles in degrees (tooth 1 at 0,
    growing with the tooth number).

    Attributes
    ----------
    readings : Readings
    unit : str
    offset : float
        Mean height of the plate.
    cosine, sine : float
        The wobble's parts; amplitude and direction are views of them.
    covariance : ndarray, shape (2, 2)
        Of (cosine, sine).
    dof : int
        Degrees of freedom.
    residual_sd : float
        Standard deviation of the readings about the curve, as found.
    reading_sd : float
        The same, not below graduation / sqrt(12); all doubt rests on it. NaN, and with it every
        doubt, where all readings are the same and the graduation is not stated.
    amplitude, near_deg : float
        Half the wobble's total movement, and the direction nearest the indicator.
    wobble_tir, raw_tir : float
        Total indicator reading of the wobble alone (twice the amplitude), and of the readings.
    tilt_deg : float or None
        Angle of the plate at the ring, atan(amplitude / ring radius); None without a ring radius.
    rim_amplitude : float or None
        Amplitude carried out to the tooth tips; None without ring radius and diameter.
    resolved : bool
        Whether a wobble, and so its direction, is established (95 %).
    p_value : float
        How probable so large a wobble is on a blade without any.
    fitted, residuals : ndarray, shape (n,)
        Of the readings in the fit (the closing readings are not).
    warnings : tuple of str
    """

    readings: Readings
    offset: float
    cosine: float
    sine: float
    covariance: NDArray[np.float64]
    dof: int
    residual_sd: float
    reading_sd: float
    p_value: float
    fitted: NDArray[np.float64]
    residuals: NDArray[np.float64]
    warnings: tuple[str, ...]

    @property
    def unit(self) -> str:
        """Unit of all lengths."""
        return self.readings.unit

    @property
    def amplitude(self) -> float:
        """Half the wobble's total movement at the ring."""
        return math.hypot(self.cosine, self.sine)

    @property
    def amplitude_u(self) -> float:
        """Standard uncertainty (k = 1) of the amplitude."""
        return float(sd_toward(self.near_deg, self.covariance))

    @property
    def near_deg(self) -> float:
        """Direction nearest the indicator, from 0 to 360 degrees; see `resolved`."""
        return wrap_360(math.degrees(math.atan2(self.sine, self.cosine)))

    @property
    def near_u_deg(self) -> float:
        """Standard uncertainty (k = 1) of the direction, in degrees."""
        across = float(sd_toward(self.near_deg + 90.0, self.covariance))
        return math.degrees(across / self.amplitude) if self.amplitude > 0 else math.inf

    @property
    def resolved(self) -> bool:
        """Whether a wobble, and so its direction, is established (95 %)."""
        return self.p_value < 1 - DETECTION_LEVEL

    @property
    def wobble_tir(self) -> float:
        """Total indicator reading of the wobble alone: twice the amplitude."""
        return 2 * self.amplitude

    @property
    def raw_tir(self) -> float:
        """Total indicator reading: highest less lowest reading in the fit."""
        read = self.readings.reading[~self.readings.closing]
        return float(read.max() - read.min())

    @property
    def tilt_deg(self) -> float | None:
        """Tilt of the plate in degrees, atan(amplitude / ring radius)."""
        return self.tilt_of(self.amplitude)

    @property
    def tilt_u_deg(self) -> float | None:
        """Standard uncertainty (k = 1) of the tilt, in degrees."""
        ring = self.readings.ring_radius
        if ring is None:
            return None
        return math.degrees(self.amplitude_u / ring / (1 + (self.amplitude / ring) ** 2))

    @property
    def rim_amplitude(self) -> float | None:
        """Amplitude at the tooth tips: only a rigid tilt grows so, amplitude R / r."""
        ring, rim = self.readings.ring_radius_mm, self.readings.blade.radius_mm
        return None if ring is None or rim is None else self.amplitude * rim / ring

    def tilt_of(self, amplitude: float) -> float | None:
        """Return the tilt in degrees that belongs to an amplitude at the ring."""
        ring = self.readings.ring_radius
        return None if ring is None else math.degrees(math.atan(amplitude / ring))

    def amplitude_interval(self, confidence_level: float = 0.95) -> Interval:
        """Limits of the amplitude.

        Exact for circular covariance (see `bladegeom.fitted.doubt.amplitude_cdf`). Where the
        readings scatter by less than half a graduation, rounding errors no longer average out,
        and half a graduation is added on either side. If all readings are the same and the
        graduation is not stated, the upper limit is not known: NaN.

        Parameters
        ----------
        confidence_level : float

        Returns
        -------
        Interval
            In the unit of the readings.
        """
        graduation = self.readings.graduation
        if self.raw_tir == 0 and graduation is None:
            return Interval(0.0, math.nan, confidence_level)
        low, high = amplitude_limits(self.amplitude, self.amplitude_u, self.dof, confidence_level)
        coarse = graduation is not None and self.residual_sd < graduation / 2
        margin = graduation / 2 if graduation is not None and coarse else 0.0
        return Interval(max(0.0, low - margin), high + margin, confidence_level)

    def near_interval(self, confidence_level: float = 0.95) -> Interval:
        """Limits of the direction nearest the indicator, by Fieller's theorem.

        Parameters
        ----------
        confidence_level : float

        Returns
        -------
        Interval
            In degrees, ``low <= near_deg <= high`` (so that they may pass 0 or 360); a full turn
            apart where no direction is excluded.
        """
        low, high = direction_limits(
            self.cosine, self.sine, self.covariance, self.dof, confidence_level
        )
        turns = 360.0 * round((self.near_deg - (low + high) / 2) / 360.0)
        return Interval(low + turns, high + turns, confidence_level)

    def height_at(self, angle_deg: float | NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the fitted curve at blade angles in degrees, in the unit of the readings."""
        angle = np.radians(angle_deg)
        curve: NDArray[np.float64] = (
            self.offset + self.cosine * np.cos(angle) + self.sine * np.sin(angle)
        )
        return curve

    def residual_frame(self) -> pd.DataFrame:
        """Return the readings in the fit, one row each: what the charts draw.

        Returns
        -------
        pandas.DataFrame
            Columns ``tooth``, ``turn``, ``angle_deg``, ``reading``, ``fitted``, ``residual``.
        """
        import pandas as pd

        kept = ~self.readings.closing
        return pd.DataFrame(
            {
                "tooth": self.readings.tooth[kept],
                "turn": self.readings.turn[kept],
                "angle_deg": self.readings.angle_deg[kept],
                "reading": self.readings.reading[kept],
                "fitted": self.fitted,
                "residual": self.residuals,
            }
        )

    def _title(self) -> str:
        blade = self.readings.blade
        name = f"Blade {blade.name}" if blade.name else "Blade"
        return f"{name}: {blade.teeth} teeth, {len(self.residuals)} readings in {self.unit}"

    def _rows(self) -> Sequence[Row]:
        unit, u = self.unit, self.amplitude_u
        low, high, _ = self.amplitude_interval()
        near_low, near_high, _ = self.near_interval()
        known = self.resolved
        tilt, tilt_u, rim = self.tilt_deg, self.tilt_u_deg, self.rim_amplitude
        limits = f"95 %: {between(low, high, u)}"
        tir_limits = f"95 %: {between(2 * low, 2 * high, 2 * u)}"
        if math.isnan(high):
            limits = tir_limits = "below the graduation, which is not stated"
        return (
            Row("blade", self.readings.blade.name),
            Row("teeth", self.readings.blade.teeth),
            Row("unit", unit),
            Row("readings", len(self.residuals)),
            Row("offset", self.offset, "offset", f"{number(self.offset, u)} {unit}"),
            Row(
                "wobble_tir",
                self.wobble_tir,
                "wobble TIR",
                f"{number(self.wobble_tir, 2 * u)} {unit} ({tir_limits})",
            ),
            Row("raw_tir", self.raw_tir, "raw TIR", f"{_grain(self.raw_tir)} {unit}"),
            Row(
                "amplitude",
                self.amplitude,
                "amplitude",
                f"{number(self.amplitude, u)} {unit} ({limits})",
            ),
            Row("amplitude_u", u),
            Row("amplitude_low", low),
            Row("amplitude_high", high),
            Row(
                "rim_amplitude",
                rim,
                "at the rim" if rim is not None else "",
                "" if rim is None else f"{number(rim, u)} {unit}",
            ),
            Row(
                "near_deg",
                self.near_deg if known else None,
                "near at",
                f"{number(self.near_deg, self.near_u_deg)} deg from tooth 1 "
                f"(95 %: {between(near_low, near_high, self.near_u_deg)})"
                if known
                else "not established",
            ),
            Row("near_u_deg", self.near_u_deg if known else None),
            Row("near_low_deg", near_low if known else None),
            Row("near_high_deg", near_high if known else None),
            Row(
                "tilt_deg",
                tilt,
                "tilt" if tilt is not None else "",
                "" if tilt is None else f"{number(tilt, tilt_u)} deg",
            ),
            Row("tilt_u_deg", tilt_u),
            Row("resolved", known, "wobble resolved", "yes" if known else "no"),
            Row("p_value", self.p_value, "chance without wobble", _chance(self.p_value)),
            Row("dof", self.dof),
            Row(
                "residual_sd",
                self.residual_sd,
                "scatter",
                f"{number(self.residual_sd, self.residual_sd / 4 or None)} {unit} "
                f"(standard deviation, {self.dof} degrees of freedom)",
            ),
            Row("closure", self.readings.closure),
            Row("warnings", list(self.warnings)),
        )

    def _remarks(self) -> Sequence[str]:
        return self.warnings


def fit_wobble(readings: Readings) -> WobbleFit:
    """Fit the once-per-turn wobble.

    A rigid tilted plate read parallel to the arbor moves the indicator as an exact sinusoid of
    the blade angle, so the fit is linear least squares on the real tooth angles, without
    iteration or starting guess.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    WobbleFit

    Raises
    ------
    RefusedError
        Fewer than four distinct teeth were read, or they lie on too short an arc.
    """
    kept = ~readings.closing
    angle = np.radians(readings.angle_deg[kept])
    read = readings.reading[kept]
    check_plan(readings)
    middle = float(read.mean()) if read.max() > read.min() else float(read[0])
    fit = least_squares(harmonic_columns(angle), read - middle)
    excess, cosine, sine = (float(part) for part in fit.coefficients)
    residual_sd = math.sqrt(float(fit.rss) / fit.dof)
    graduation = readings.graduation or 0.0
    # Numbers of this size carry rounding of their own; below it a residual means nothing.
    hair = max(8 * float(np.finfo(np.float64).eps) * float(np.abs(read).max()), 1e-150)
    reading_sd = max(residual_sd, graduation / math.sqrt(12), hair)
    if read.max() == read.min() and not graduation:
        reading_sd = math.nan
    parts = np.array([cosine, sine])
    f = float(parts @ np.linalg.solve(fit.unit_covariance[1:, 1:], parts)) / 2 / reading_sd**2
    result = WobbleFit(
        readings=readings,
        offset=middle + excess,
        cosine=cosine,
        sine=sine,
        covariance=reading_sd**2 * fit.unit_covariance[1:, 1:],
        dof=fit.dof,
        residual_sd=residual_sd,
        reading_sd=reading_sd,
        p_value=1.0 if math.isnan(f) else zero_amplitude_p(f, fit.dof),
        fitted=read - fit.residuals,
        residuals=fit.residuals,
        warnings=(),
    )
    object.__setattr__(result, "warnings", _warnings(result))
    return result


def _warnings(fit: WobbleFit) -> tuple[str, ...]:
    readings = fit.readings
    found: list[str] = []
    if fit.raw_tir == 0:
        found.append(
            "all readings are the same: the runout is below the indicator's graduation"
            + ("" if readings.graduation else "; state the graduation to learn the bound")
        )
    elif not fit.resolved:
        found.append("the wobble is not told apart from the scatter: no direction is established")
    if readings.ring_radius_mm is None:
        found.append(
            "the ring radius is not stated: no tilt and no squareness error; give ring_radius"
        )
    elif (fit.tilt_deg or 0) > _ODD_TILT_DEG:
        found.append(
            f"a tilt of {fit.tilt_deg:.1f} deg is far more than usable blades show: check the "
            "unit of the readings and the ring radius"
        )
    found += plan_remarks(readings)
    closure = readings.closure
    scatter = 0.0 if math.isnan(fit.reading_sd) else fit.reading_sd
    if closure is not None and abs(closure) > max(
        2 * math.sqrt(2) * scatter, (readings.graduation or 0) * (1 + 1e-9)
    ):
        found.append(
            f"the closing reading differs from the first by {_grain(closure)} {fit.unit}, more "
            "than the readings scatter: look for a drifting stand or a bumped base and read again"
        )
    return tuple(found)


def _grain(value: float) -> str:
    """Return a difference of readings without the dust of binary arithmetic."""
    return f"{round(value, 9):g}"


def _chance(p: float) -> str:
    return "under 0.0001" if p < 0.0001 else f"{p:.2g}"
