"""The wobble as a vector with its doubt, of one blade or of many: all limits are asked of it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bladegeom.kernel.doubt import (
    Interval,
    amplitude_limits,
    direction_limits,
    direction_probability,
    one_or_many,
    sd_toward,
    zero_amplitude_p,
)

Floats = NDArray[np.float64]

DETECTION_LEVEL = 0.95
"""A wobble is resolved if no wobble would show so large a one in fewer than 5 % of cases."""


@dataclass(frozen=True, eq=False, repr=False)  # A fit, which is one, shows its own table.
class Wobble:
    """Once-per-turn wobbles: the size of each is its amplitude, its angle the near direction.

    All that it tells has the shape of its `value`: a number each for one wobble, arrays for many.

    Attributes
    ----------
    value : complex or ndarray, shape (...)
        Cosine part + i sine part: half the movement toward 0 and toward 90 degrees.
    covariance : ndarray, shape (2, 2, ...)
        Of the cosine and the sine part; NaN where nothing tells it.
    dof : float
        Degrees of freedom of the covariance, of all of them the same.
    rounding_margin : float or ndarray, shape (...)
        Half a graduation where rounding errors do not average out, else 0.
    """

    value: Any
    covariance: Floats
    dof: float
    rounding_margin: float = 0.0

    @property
    def cosine(self) -> float:
        """The part toward tooth 1."""
        found: float = self.value.real
        return found

    @property
    def sine(self) -> float:
        """The part toward 90 degrees."""
        found: float = self.value.imag
        return found

    @cached_property
    def amplitude(self) -> float:
        """Half the total movement."""
        found: float = one_or_many(np.hypot(self.cosine, self.sine))
        return found

    @property
    def tir(self) -> float:
        """Total indicator reading: twice the amplitude."""
        return 2 * self.amplitude

    @property
    def amplitude_corrected(self) -> float:
        """Amplitude less the share that scatter adds: sqrt(max(0, A^2 - var(a) - var(b)))."""
        (caa, _), (_, cbb) = self.covariance
        found: float = one_or_many(np.sqrt(np.fmax(0.0, self.amplitude**2 - (caa + cbb))))
        return found

    @cached_property
    def amplitude_u(self) -> float:
        """Standard uncertainty (k = 1) of the amplitude: that toward the fitted direction."""
        found: float = sd_toward(self._toward_deg, self.covariance)
        return found

    @cached_property
    def _toward_deg(self) -> Any:
        return np.degrees(np.arctan2(self.sine, self.cosine))

    @cached_property
    def near_deg(self) -> float:
        """Direction nearest the indicator, from 0 to 360 degrees; see `resolved`."""
        near = np.where(self._toward_deg < 0, self._toward_deg + 360.0, self._toward_deg)
        found: float = one_or_many(np.where(near >= 360.0, 0.0, near))
        return found

    @property
    def near_u_deg(self) -> float:
        """Standard uncertainty (k = 1) of the direction, in degrees; infinite of no amplitude."""
        across = sd_toward(self._toward_deg + 90.0, self.covariance)
        with np.errstate(divide="ignore"):
            found: float = one_or_many(np.degrees(np.divide(across, self.amplitude)))
        return found

    @cached_property
    def p_value(self) -> float:
        """How probable so large a wobble is where there is none (Hotelling's T^2); 1 if unknown."""
        (caa, cab), (_, cbb) = self.covariance
        # Solved without squares of small numbers.
        slope = cab / caa
        f = (self.cosine / np.sqrt(caa)) ** 2
        f = f + ((self.sine - slope * self.cosine) / np.sqrt(cbb - slope * cab)) ** 2
        p = zero_amplitude_p(f / 2, self.dof)
        found: float = one_or_many(np.where(np.isnan(f), 1.0, p))
        return found

    @property
    def resolved(self) -> bool:
        """Whether a wobble, and so its direction, is established (95 %)."""
        return self.p_value < 1 - DETECTION_LEVEL

    @property
    def rounded_covariance(self) -> Floats:
        """Covariance with the rounding that does not average out.

        Half a graduation either way, anything between being as likely (GUM 4.3.7).
        """
        (caa, cab), (_, cbb) = self.covariance
        more = self.rounding_margin**2 / 3
        return np.array([[caa + more, cab], [cab, cbb + more]])

    def amplitude_interval(self, confidence_level: float = 0.95) -> Interval:
        """Return the limits of the amplitude.

        Exact for circular covariance (see `bladegeom.kernel.doubt.amplitude_limits`), with
        `rounding_margin` added on either side. Where the covariance is not known, as where all
        readings are the same and the graduation is not stated, neither is the upper limit: NaN.

        Parameters
        ----------
        confidence_level : float
        """
        low, high = amplitude_limits(self.amplitude, self.amplitude_u, self.dof, confidence_level)
        low = one_or_many(np.maximum(low - self.rounding_margin, 0.0))
        return Interval(low, high + self.rounding_margin, confidence_level)

    def near_interval(self, confidence_level: float = 0.95) -> Interval:
        """Return the limits of the direction nearest the indicator, by Fieller's theorem.

        In degrees, ``low <= near_deg <= high`` (so that they may pass 0 or 360); a full turn apart
        where no direction is excluded.

        Parameters
        ----------
        confidence_level : float
        """
        low, high = direction_limits(
            self.cosine, self.sine, self.rounded_covariance, self.dof, confidence_level
        )
        turns = one_or_many(self.near_deg - self._toward_deg)
        return Interval(low + turns, high + turns, confidence_level)

    def probability(self, from_deg: float, to_deg: float) -> float:
        """Return how probable it is that the true direction lies between two directions."""
        return direction_probability(
            self.cosine, self.sine, self.covariance, self.dof, from_deg, to_deg
        )

    def tilt_at(self, ring_radius: float) -> float:
        """Return the angle of a plate that wobbles so at a ring, in degrees."""
        return tilt_of(self.amplitude, ring_radius)

    def tilt_u_at(self, ring_radius: float) -> float:
        """Return the standard uncertainty (k = 1) of the tilt, in degrees."""
        slope = self.amplitude / ring_radius
        found: float = one_or_many(np.degrees(self.amplitude_u / ring_radius / (1 + slope * slope)))
        return found


def tilt_of(amplitude: float, ring_radius: Any) -> float:
    """Return the tilt in degrees that belongs to an amplitude at a ring, in the same unit."""
    found: float = one_or_many(np.degrees(np.arctan2(amplitude, ring_radius)))
    return found
