"""What a fit says: the once-per-turn wobble of one blade, its doubt, its remarks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import wrap_360
from bladegeom.fit.waves import Harmonic
from bladegeom.kernel.doubt import (
    Interval,
    amplitude_limits,
    direction_limits,
    sd_toward,
)
from bladegeom.readings import Readings
from bladegeom.result import Result, Row, between, grain, number

if TYPE_CHECKING:
    import pandas as pd

    from bladegeom.fit.budget import Budget
    from bladegeom.mistakes.check import Finding, Findings

DETECTION_LEVEL = 0.95
"""A wobble is resolved if no wobble would show so large a one in fewer than 5 % of cases."""


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
    in_fit : ndarray of bool, shape (all readings,)
        Which readings are in the fit: all but the closing ones, unless a drift is fitted.
    levelled, fitted, residuals : ndarray, shape (n,)
        Of the readings in the fit: the readings with all turns (kinds of teeth, drift) brought to
        the same offset, the curve at their places, and what is left.
    harmonics : tuple of Harmonic
        Order 1 (the wobble) and, where asked for, the higher ones.
    flagged : tuple of int
        In a robust fit, the teeth that count less.
    drift_per_turn, drift_u_per_turn, drift_cost : float or None
        Where a drift is fitted: its size, standard uncertainty, and by how much it multiplies the
        variance of the wobble in its worst direction.
    lag_deg, lag_u_deg, play : float or None
        From turns both ways: by how many degrees of blade each way lags behind the mean, and the
        dead band of the indicator (forward less backward) that this comes to.
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
    in_fit: NDArray[np.bool_]
    fitted: NDArray[np.float64]
    residuals: NDArray[np.float64]
    harmonics: tuple[Harmonic, ...]
    closure_bias: float | None
    drift_per_turn: float | None
    drift_u_per_turn: float | None
    drift_cost: float | None
    lag_deg: float | None
    lag_u_deg: float | None
    robust: bool
    flagged: tuple[int, ...]
    warnings: tuple[str, ...]

    @property
    def levelled(self) -> NDArray[np.float64]:
        """The readings in the fit, brought to one offset."""
        return self.fitted + self.residuals

    @property
    def amplitude_corrected(self) -> float:
        """Amplitude less the share that scatter adds: sqrt(max(0, A^2 - var(a) - var(b)))."""
        return math.sqrt(max(0.0, self.amplitude**2 - float(np.trace(self.covariance))))

    @property
    def play(self) -> float | None:
        """Dead band of the indicator: a lag of 2 play / (pi amplitude) radians each way.

        Within 6 % for a play of up to a tenth of the amplitude.
        """
        if self.lag_deg is None:
            return None
        return math.radians(self.lag_deg) * math.pi * self.amplitude / 2

    @property
    def budget(self) -> Budget:
        """Where the doubt comes from: see `Budget`."""
        from bladegeom.fit.budget import budget_of  # Few ask, and every start would wait.

        return budget_of(self)

    @cached_property
    def findings(self) -> Findings:
        """What may have gone wrong in the reading: `check_readings`, when first asked."""
        from bladegeom.mistakes.check import check_readings  # Loops over many blades do not ask.

        return check_readings(self.readings)

    @property
    def mistake(self) -> Finding | None:
        """The likeliest mistake in the readings, where one seems likely: read again first."""
        return self.findings.found[0] if self.findings.found else None

    @property
    def doubted(self) -> tuple[str, ...]:
        """What to read again before anything is followed: the likely mistake, in words."""
        one = self.mistake
        return () if one is None else (f"{one.again}, a mistake seems likely: {one.words}",)

    @property
    def said(self) -> tuple[str, ...]:
        """All that the reader should know: the likely mistake first, then `warnings`."""
        return (*self.doubted, *self.warnings)

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
        """Total indicator reading: highest less lowest reading of the turn that shows most."""
        turns = self.readings.turn
        kept = ~self.readings.closing
        within = (self.readings.reading[kept & (turns == turn)] for turn in np.unique(turns[kept]))
        return max(float(np.ptp(read)) for read in within)

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

        Exact for circular covariance (see `bladegeom.kernel.doubt.amplitude_cdf`). Where the
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
        margin = self.rounding_margin
        return Interval(max(0.0, low - margin), high + margin, confidence_level)

    @property
    def rounding_margin(self) -> float:
        """Half a graduation where rounding errors do not average out, else 0."""
        graduation = self.readings.graduation
        coarse = graduation is not None and self.residual_sd < graduation / 2
        return graduation / 2 if graduation is not None and coarse else 0.0

    @property
    def rounded_covariance(self) -> NDArray[np.float64]:
        """Covariance of (cosine, sine) with the rounding that does not average out.

        Half a graduation either way, anything between being as likely (GUM 4.3.7).
        """
        return self.covariance + self.rounding_margin**2 / 3 * np.eye(2)

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
            self.cosine, self.sine, self.rounded_covariance, self.dof, confidence_level
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
            Columns ``tooth``, ``turn``, ``angle_deg``, ``reading``, ``levelled``,
            ``fitted``, ``residual``.
        """
        import pandas as pd

        kept = self.in_fit
        return pd.DataFrame(
            {
                "tooth": self.readings.tooth[kept],
                "turn": self.readings.turn[kept],
                "angle_deg": self.readings.angle_deg[kept],
                "reading": self.readings.reading[kept],
                "levelled": self.levelled,
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
            Row("raw_tir", self.raw_tir, "raw TIR", f"{grain(self.raw_tir)} {unit}"),
            Row(
                "amplitude",
                self.amplitude,
                "amplitude",
                f"{number(self.amplitude, u)} {unit} ({limits}); less the scatter's own share "
                f"{number(self.amplitude_corrected, u)}",
            ),
            Row("amplitude_corrected", self.amplitude_corrected),
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
            Row("", None, "doubt rests on", self._rests_on()),
            *self._wave_rows(),
            *self._movement_rows(),
            Row("warnings", list(self.warnings)),
        )

    def _rests_on(self) -> str:
        graduation = self.readings.graduation or 0.0
        if math.isnan(self.reading_sd):
            return "nothing: no reading differs and no graduation is stated"
        if self.reading_sd > self.residual_sd and graduation:
            return "the graduation: the readings scatter less than it can show"
        rests = "the scatter about the curve, repeatability and texture together"
        return f"{rests}; half a graduation added" if self.rounding_margin else rests

    def _wave_rows(self) -> list[Row]:
        rows: list[Row] = []
        for wave in self.harmonics:
            if wave.order == 1:
                continue
            key = f"order_{wave.order}"
            text = "not identifiable: " + wave.why_not
            if wave.amplitude is not None and wave.p_value is not None:
                u = self.amplitude_u
                limits = between(wave.amplitude_low or 0.0, wave.amplitude_high or 0.0, u)
                text = f"{number(wave.amplitude, u)} {self.unit} (95 %: {limits})"
                text += (
                    f", first crest at {wave.crest_deg:.0f} deg"
                    if wave.resolved
                    else ", not established"
                )
            rows += [
                Row(f"{key}_amplitude", wave.amplitude, f"{wave.order} waves a turn", text),
                Row(f"{key}_amplitude_low", wave.amplitude_low),
                Row(f"{key}_amplitude_high", wave.amplitude_high),
                Row(f"{key}_crest_deg", wave.crest_deg if wave.resolved else None),
                Row(f"{key}_p_value", wave.p_value),
            ]
        return rows

    def _movement_rows(self) -> list[Row]:
        """Return what moved beside the blade: the stand and the indicator's own play."""
        unit, closure, bias = self.unit, self.readings.closure, self.closure_bias
        drift, lag, play = self.drift_per_turn, self.lag_deg, self.play
        closes = lags = ""
        if closure is not None:
            closes = f"{grain(closure)} {unit}"
        if bias is not None:
            closes += f" (as a steady drift it would shift the wobble by {number(bias)} {unit})"
        if lag is not None and play is not None:
            lags = f"{number(play)} {unit}: each way lags by {number(lag, self.lag_u_deg)} deg"
        return [
            Row("closure", closure, "closing reading" if closes else "", closes),
            Row("closure_bias", bias),
            Row(
                "drift_per_turn",
                drift,
                "drift a turn" if drift is not None else "",
                "" if drift is None else f"{number(drift, self.drift_u_per_turn)} {unit}",
            ),
            Row("drift_u_per_turn", self.drift_u_per_turn),
            Row("drift_cost", self.drift_cost),
            Row("play", play, "play" if lags else "", lags),
            Row("lag_deg", lag),
            Row("lag_u_deg", self.lag_u_deg),
        ]

    def _first(self) -> Sequence[str]:
        return self.doubted

    def _remarks(self) -> Sequence[str]:
        return self.warnings


def _chance(p: float) -> str:
    return "under 0.0001" if p < 0.0001 else f"{p:.2g}"
