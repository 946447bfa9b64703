"""What a fit has found: the once-per-turn wobble of one blade, and its doubt."""

from __future__ import annotations

import math
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bladegeom.estimate import Known
from bladegeom.fit.closing import between_turns, closing_of
from bladegeom.fit.play import band_of
from bladegeom.fit.standing import Standing
from bladegeom.fit.waves import Harmonic
from bladegeom.kernel.leak import Leak
from bladegeom.readings import Readings
from bladegeom.result import (
    DOUBTED,
    Result,
    Row,
    between,
    derived,
    described,
    grain,
    named,
    number,
    quantity,
)
from bladegeom.wobble import Wobble

if TYPE_CHECKING:
    import pandas as pd


@described
class Fitted(Wobble, Result):
    """The wobble of a blade: reading = offset + cosine cos(angle) + sine sin(angle).

    Lengths are in the unit of the readings, angles are blade angles in degrees (tooth 1 at 0,
    growing with the tooth number). It is a `Wobble`, with all that one tells.
    """

    readings: Readings = quantity("what was read", key="")
    in_fit: NDArray[np.bool_] = quantity(
        "which readings are in the fit, shape (all readings,): all but the closing ones, unless a "
        "drift is fitted, and those of `standing`",
        key="",
    )
    fitted: NDArray[np.float64] = quantity(
        "the curve at the places of the readings in the fit, shape (n,)", key=""
    )
    residuals: NDArray[np.float64] = quantity(
        "what is left of these readings, each turn (kind of teeth, drift) at its own offset, "
        "shape (n,)",
        key="",
    )
    graduation: float = quantity(
        "that of the indicator: the stated one, or else the steps on which coarse readings of "
        "twelve and more teeth lie; 0 where neither is known",
        key="",
    )
    steps: float = quantity(
        "the steps on which coarse readings lie, where no graduation is stated; else 0", key=""
    )
    reading_sd: float = quantity(
        "`residual_sd`, not below graduation / sqrt(12); all doubt rests on it. NaN, and with it "
        "every doubt, where all readings are the same and the graduation is not stated",
        key="",
    )
    residual_dof: int = quantity("degrees of freedom of the residuals", key="")
    plan_ratio: float = quantity(
        "how many times as uncertain the wobble is, in its worst direction, as from teeth all "
        "round",
        key="",
    )
    robust: bool = quantity("whether wild readings count less", key="", default=False)
    leak: Leak | None = quantity(
        "what bends may put into the wobble where teeth are not read; part of the covariance",
        key="",
        default=None,
    )
    flagged: tuple[int, ...] = quantity(
        "in a robust fit, the teeth that count less", key="", default=()
    )

    standing: tuple[Standing, ...] = quantity(
        "single teeth that stand off alike in several turns: they are not in the fit",
        key="",
        default=(),
    )

    @derived("the blade's name, as text")
    def blade(self) -> str:
        return self.readings.blade.name

    @derived("whose blade it is; empty where not stated")
    def customer(self) -> str:
        return self.readings.blade.customer

    @derived("number of teeth")
    def teeth(self) -> int:
        return self.readings.blade.teeth

    @derived("unit of the readings and of all lengths without one in their name")
    def unit(self) -> str:
        return self.readings.unit

    @derived("how many readings are in the fit (closing readings are not)", key="readings")
    def _count(self) -> int:
        return len(self.residuals)

    offset: float = quantity(
        "mean height of the plate at the ring",
        label="offset",
        text=lambda one: f"{number(one.offset, one.amplitude_u)} {one.unit}",
    )

    @derived(
        "total indicator reading of the wobble alone: twice the amplitude",
        label="wobble TIR",
        text=lambda one: (
            f"{number(one.wobble_tir, 2 * one.amplitude_u)} {one.unit} ({one._limits_text(2)})"
        ),
    )
    def wobble_tir(self) -> float:
        return 2 * self.amplitude

    @derived(
        "total indicator reading: highest less lowest reading, in the turn that shows most",
        label="raw TIR",
        text=lambda one: f"{grain(one.raw_tir)} {one.unit}",
    )
    def raw_tir(self) -> float:
        turns, kept = self.readings.turn, ~self.readings.closing
        within = (self.readings.reading[kept & (turns == turn)] for turn in np.unique(turns[kept]))
        return max(float(np.ptp(read)) for read in within)

    @derived(
        "half the movement of the fitted wobble",
        label="amplitude",
        text=lambda one: (
            f"{number(one.amplitude, one.amplitude_u)} {one.unit} ({one._limits_text(1)}); less "
            f"the scatter's own share {number(one.amplitude_corrected, one.amplitude_u)}"
        ),
    )
    def amplitude(self) -> float:
        return super().amplitude

    @derived("the amplitude less the share that scatter adds: sqrt(max(0, A^2 - var(a) - var(b)))")
    def amplitude_corrected(self) -> float:
        return super().amplitude_corrected

    @derived(
        "standard uncertainty of the amplitude and its 95 % limits",
        key="amplitude",
        parts=DOUBTED[1:],
    )
    def _amplitude(self) -> Known:
        low, high, _ = self.amplitude_interval()
        return Known(self.amplitude, self.amplitude_u, low, high)

    @derived(
        "the amplitude carried out to the tooth tips, as a rigid tilt grows: amplitude R / r; None "
        "without ring radius and diameter",
        label="at the rim",
        text=lambda one: (
            ""
            if one.rim_amplitude is None
            else f"{number(one.rim_amplitude, one.amplitude_u)} {one.unit}"
        ),
    )
    def rim_amplitude(self) -> float | None:
        ring, rim = self.readings.ring_radius_mm, self.readings.blade.radius_mm
        return None if ring is None or rim is None else self.amplitude * rim / ring

    @derived(
        "direction nearest the indicator, its standard uncertainty and 95 % limits; None where it "
        "is not established",
        key="near",
        parts=DOUBTED,
        ending="_deg",
        label="near at",
        text=lambda one: one._near_text(),
    )
    def _near(self) -> Known | None:
        if not self.resolved:
            return None
        low, high, _ = self.near_interval()
        return Known(self.near_deg, self.near_u_deg, low, high)

    @derived(
        "angle of the plate at the ring, atan(amplitude / ring radius); None without a ring radius",
        label="tilt",
        text=lambda one: (
            "" if one.tilt_deg is None else f"{number(one.tilt_deg, one.tilt_u_deg)} deg"
        ),
    )
    def tilt_deg(self) -> float | None:
        return None if self.tilt is None else self.tilt.value

    @derived("standard uncertainty of the tilt")
    def tilt_u_deg(self) -> float | None:
        return None if self.tilt is None else self.tilt.u

    @derived(
        "whether a wobble, and so a direction, is established at 95 %", label="wobble resolved"
    )
    def resolved(self) -> bool:
        return super().resolved

    @derived(
        "chance of so large a wobble on a blade without any",
        label="chance without wobble",
        text=lambda one: "under 0.0001" if one.p_value < 0.0001 else f"{one.p_value:.2g}",
    )
    def p_value(self) -> float:
        return super().p_value

    dof: int = quantity(
        "degrees of freedom of the doubt: those of the residuals, and fewer where bends of a part "
        "that was not read are in it"
    )

    residual_sd: float = quantity(
        "standard deviation of the readings about the curve",
        label="scatter",
        text=lambda one: (
            f"{number(one.residual_sd, one.residual_sd / 4 or None)} {one.unit} (standard "
            f"deviation, {one.residual_dof} degrees of freedom)"
        ),
    )

    @derived("what all doubt rests on, in words", key="", label="doubt rests on")
    def _rests_on(self) -> str:
        if math.isnan(self.reading_sd):
            return "nothing: no reading differs and no graduation is stated"
        if self.reading_sd > self.residual_sd and self.graduation:
            return "the graduation: the readings scatter less than it can show"
        rests = "the scatter about the curve, repeatability and texture together"
        if self.leak is not None:
            rests += ", and what bends may do where no tooth was read"
        added = f"{rests}; and the rounding, which does not average out"
        return added if np.any(self.rounding) else rests

    harmonics: tuple[Harmonic, ...] = ()

    @derived("order 1 (the wobble) and, where asked for, the higher ones", inline=True)
    def _waves(self) -> list[Row]:
        return [row for wave in self.harmonics for row in wave.rows(self.amplitude_u, self.unit)]

    @derived(
        "last closing reading less the first reading of the same tooth",
        label="closing reading",
        text=lambda one: one._closes_text(),
    )
    def closure(self) -> float | None:
        return self.readings.closure

    @derived(
        "drift in a turn, from all teeth read again with the dial left alone",
        label="from turn to turn",
        text=lambda one: one._turns_text(),
    )
    def turn_drift(self) -> float | None:
        told = between_turns(self.readings)
        return told and told[0]

    closure_bias: float | None = quantity(
        "how far a steady drift of that would shift the wobble", default=None
    )
    drift_per_turn: float | None = quantity(
        "a fitted drift",
        label="drift a turn",
        text=lambda one: (
            ""
            if one.drift_per_turn is None
            else f"{number(one.drift_per_turn, one.drift_u_per_turn)} {one.unit}"
        ),
        default=None,
    )
    drift_u_per_turn: float | None = quantity("its standard uncertainty", default=None)
    drift_cost: float | None = quantity(
        "what it multiplies the variance of the wobble by, in its worst direction", default=None
    )

    @derived(
        "dead band of the indicator, from turns both ways (forward less backward); what it takes "
        "off the amplitude is put back where the lag is more than twice its own doubt",
        label="play",
        text=lambda one: one._play_text(),
    )
    def play(self) -> float | None:
        if self.lag_deg is None:
            return None
        return band_of(self.lag_deg) * self.amplitude

    lag_deg: float | None = quantity(
        "by how many degrees of blade each way lags behind the mean", default=None
    )
    lag_u_deg: float | None = quantity("its standard uncertainty", default=None)

    @property
    def levelled(self) -> NDArray[np.float64]:
        """The readings in the fit, brought to one offset."""
        return self.fitted + self.residuals

    @cached_property
    def slope(self) -> Wobble | None:
        """The wobble over the ring's radius, the doubt of which goes with it; None without one.

        All that is carried to another radius, or told as an angle, is made of it.
        """
        ring = self.readings.ring_radius
        return None if ring is None else self.over(ring, self.readings.ring_radius_u)

    @cached_property
    def tilt(self) -> Known | None:
        """The tilt in degrees with its doubt; None without a ring radius."""
        if self.slope is None:
            return None
        slope, (low, high, _) = self.slope.amplitude, self.slope.amplitude_interval()
        value, low, high = (math.degrees(math.atan(one)) for one in (slope, low, high))
        u = math.degrees(self.slope.amplitude_u / (1 + slope**2))
        return Known(value, u, low, high)

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
        name = named(str(self.readings.blade.who))
        return f"{name}: {self.teeth} teeth, {self._count} readings in {self.unit}"

    def _limits_text(self, times: float) -> str:
        low, high, _ = self.amplitude_interval()
        if math.isnan(high):
            return "below the graduation, which is not stated"
        return f"95 %: {between(times * low, times * high, times * self.amplitude_u)}"

    def _near_text(self) -> str:
        if not self.resolved:
            return "not established"
        low, high, _ = self.near_interval()
        u = self.near_u_deg
        return f"{number(self.near_deg, u)} deg from tooth 1 (95 %: {between(low, high, u)})"

    def _closes_text(self) -> str:
        if self.closure is None:
            return ""
        shift = "" if self.turn_drift is not None else self._shift_text()
        return f"{grain(self.closure)} {self.unit}{shift}"

    def _turns_text(self) -> str:
        closing = closing_of(self.readings)
        if self.turn_drift is None or closing is None:
            return ""
        return f"{number(self.turn_drift, closing.allowed())} {self.unit}{self._shift_text()}"

    def _shift_text(self) -> str:
        if self.closure_bias is None:
            return ""
        by = f"{number(self.closure_bias)} {self.unit}"
        return f" (as a steady drift it would shift the wobble by {by})"

    def _play_text(self) -> str:
        if self.play is None or self.lag_deg is None:
            return ""
        lag = number(self.lag_deg, self.lag_u_deg)
        return f"{number(self.play)} {self.unit}: each way lags by {lag} deg"
