"""A wobble as a vector with its doubt: what of it is the blade's, or the flange's."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import wrap_360
from bladegeom.kernel.doubt import (
    Interval,
    amplitude_limits,
    direction_limits,
    sd_toward,
    zero_amplitude_p,
)
from bladegeom.result import Row, between, number


@dataclass(frozen=True, eq=False)
class WobbleVector:
    """A once-per-turn wobble: its size is the amplitude, its angle the near direction.

    Attributes
    ----------
    value : complex
        Cosine part + i sine part, in the unit of the readings.
    covariance : ndarray, shape (2, 2)
        Of the real and the imaginary part.
    dof : float
        Degrees of freedom of the covariance.
    """

    value: complex
    covariance: NDArray[np.float64]
    dof: float

    @property
    def amplitude(self) -> float:
        """Half the total movement."""
        return abs(self.value)

    @property
    def tir(self) -> float:
        """Total indicator reading: twice the amplitude."""
        return 2 * self.amplitude

    @property
    def amplitude_u(self) -> float:
        """Standard uncertainty (k = 1) of the amplitude."""
        return float(sd_toward(self.near_deg, self.covariance))

    @property
    def near_deg(self) -> float:
        """Direction nearest the indicator, from 0 to 360 degrees; see `resolved`."""
        return wrap_360(math.degrees(cmath.phase(self.value)))

    @property
    def near_u_deg(self) -> float:
        """Standard uncertainty (k = 1) of the direction, in degrees."""
        across = float(sd_toward(self.near_deg + 90.0, self.covariance))
        return math.degrees(across / self.amplitude) if self.amplitude > 0 else math.inf

    @property
    def p_value(self) -> float:
        """How probable so large a wobble is where there is none (Hotelling's T^2)."""
        parts = np.array([self.value.real, self.value.imag])
        f = float(parts @ np.linalg.solve(self.covariance, parts)) / 2
        return zero_amplitude_p(f, self.dof)

    @property
    def resolved(self) -> bool:
        """Whether a wobble, and so its direction, is established (95 %)."""
        return self.p_value < 0.05

    def amplitude_interval(self, confidence_level: float = 0.95) -> Interval:
        """Return the limits of the amplitude; see `bladegeom.kernel.doubt.amplitude_limits`."""
        low, high = amplitude_limits(self.amplitude, self.amplitude_u, self.dof, confidence_level)
        return Interval(low, high, confidence_level)

    def near_interval(self, confidence_level: float = 0.95) -> Interval:
        """Return the limits of the direction in degrees, ``low <= near_deg <= high``.

        By Fieller's theorem; a full turn apart where no direction is excluded.
        """
        low, high = direction_limits(
            self.value.real, self.value.imag, self.covariance, self.dof, confidence_level
        )
        turns = 360.0 * round((self.near_deg - (low + high) / 2) / 360.0)
        return Interval(low + turns, high + turns, confidence_level)

    def rows(self, stem: str, unit: str, label: str, counted_from: str) -> list[Row]:
        """Return the rows of a result.

        Parameters
        ----------
        stem : str
            Put before every key.
        unit : str
        label : str
            For people.
        counted_from : str
            Where the direction starts, in words.
        """
        u, near_u, known = self.amplitude_u, self.near_u_deg, self.resolved
        low, high, _ = self.amplitude_interval()
        near_low, near_high, _ = self.near_interval()
        limits = f"95 %: {between(2 * low, 2 * high, 2 * u)}"
        near = (
            f"{number(self.near_deg, near_u)} deg from {counted_from} "
            f"(95 %: {between(near_low, near_high, near_u)})"
            if known
            else "not established"
        )
        return [
            Row(f"{stem}_tir", self.tir, label, f"TIR {number(self.tir, 2 * u)} {unit} ({limits})"),
            Row(f"{stem}_amplitude", self.amplitude),
            Row(f"{stem}_amplitude_u", u),
            Row(f"{stem}_amplitude_low", low),
            Row(f"{stem}_amplitude_high", high),
            Row(f"{stem}_near_deg", self.near_deg if known else None, "  near at", near),
            Row(f"{stem}_near_u_deg", near_u if known else None),
            Row(f"{stem}_near_low_deg", near_low if known else None),
            Row(f"{stem}_near_high_deg", near_high if known else None),
            Row(f"{stem}_resolved", known),
            Row(f"{stem}_p_value", self.p_value),
            Row(f"{stem}_cosine", self.value.real),
            Row(f"{stem}_sine", self.value.imag),
        ]
