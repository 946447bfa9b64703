"""The wobble as a vector with its doubt, of one blade or of many: all limits are asked of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import wrap_360
from bladegeom.kernel.doubt import (
    Facing,
    Interval,
    amplitude_limits,
    direction_limits,
    direction_probability,
    facing,
    one_or_many,
    student_t,
    zero_amplitude_p,
)

Floats = NDArray[np.float64]

DETECTION_LEVEL = 0.95
"""A wobble is resolved if no wobble would show so large a one in fewer than 5 % of cases."""


FEWEST_DOF = 3
"""Degrees of freedom with which the chance of a direction can be told."""


@dataclass(frozen=True, eq=False, repr=False)  # A fit, which is one, shows its own table.
class Wobble:
    """Once-per-turn wobbles: the size of each is its amplitude, its angle the near direction.

    All that it tells has the shape of its `value`: a number each for one wobble, arrays for many.

    Attributes
    ----------
    value : complex or ndarray, shape (...)
        Cosine part + i sine part: half the movement toward 0 and toward 90 degrees.
    covariance : ndarray, shape (2, 2, ...)
        Of the cosine and the sine part, from the scatter; NaN where nothing tells it.
    dof : float
        Degrees of freedom of the covariance, of all of them the same.
    rounding : ndarray, shape (2, 2, ...), or 0
        What rounding errors that do not average out add to the covariance. All doubt is of both
        together; only the test for no wobble at all is of the scatter alone.
    scale_u : float or ndarray, shape (...)
        Relative standard uncertainty of what all sizes are proportional to, such as the radius of
        the ring or the angle of the stylus: it makes no direction doubtful.
    """

    value: Any
    covariance: Floats
    dof: float
    rounding: Any = 0.0
    scale_u: float = 0.0

    @property
    def cosine(self) -> float:
        """The part toward tooth 1."""
        return _told(self.value.real)

    @property
    def sine(self) -> float:
        """The part toward 90 degrees."""
        return _told(self.value.imag)

    @cached_property
    def _facing(self) -> Facing:
        return facing(self.value.real, self.value.imag, self.covariance + self.rounding)

    @cached_property
    def amplitude(self) -> float:
        """Half the total movement."""
        return _told(self._facing.amplitude)

    @property
    def tir(self) -> float:
        """Total indicator reading: twice the amplitude."""
        return 2 * self.amplitude

    @property
    def amplitude_corrected(self) -> float:
        """Amplitude less the share that scatter adds: sqrt(max(0, A^2 - var(a) - var(b)))."""
        scattered = self.covariance + self.rounding
        variance = scattered[0, 0] + scattered[1, 1]
        return _told(np.sqrt(np.fmax(0.0, self.amplitude**2 - variance)))

    @property
    def amplitude_u(self) -> float:
        """Standard uncertainty (k = 1) of the amplitude: that toward the fitted direction."""
        return _told(np.hypot(self._facing.sd, self.amplitude * self.scale_u))

    @cached_property
    def near_deg(self) -> float:
        """Direction nearest the indicator, from 0 to 360 degrees; see `resolved`."""
        return _told(wrap_360(np.degrees(np.arctan2(self.sine, self.cosine))))

    @property
    def near_u_deg(self) -> float:
        """Standard uncertainty (k = 1) of the direction, in degrees; infinite of no amplitude."""
        with np.errstate(divide="ignore"):
            return _told(np.degrees(np.divide(self._facing.across, self._facing.amplitude)))

    @cached_property
    def p_value(self) -> float:
        """How probable so large a wobble is where there is none (Hotelling's T^2); 1 if unknown."""
        seen = facing(self.value.real, self.value.imag, self.covariance)
        f = (seen.amplitude / seen.sd) ** 2 / (1 - seen.tie**2) / 2
        return _told(np.where(np.isnan(f), 1.0, zero_amplitude_p(f, self.dof)))

    @property
    def resolved(self) -> bool:
        """Whether a wobble, and so its direction, is established (95 %)."""
        return self.p_value < 1 - DETECTION_LEVEL

    @property
    def rounded_covariance(self) -> Floats:
        """Covariance with the doubt of the scale, and the rounding that does not average out."""
        c, s = self.cosine * self.scale_u, self.sine * self.scale_u
        both: Floats = self.covariance + self.rounding + np.array([[c * c, c * s], [c * s, s * s]])
        return both

    def amplitude_interval(self, confidence_level: float = 0.95) -> Interval:
        """Return the limits of the amplitude.

        Exact for circular covariance (see `bladegeom.kernel.doubt.amplitude_limits`), with the
        doubt of the scale as the root of the sum of squares. The lower one is 0 where the wobble is
        not `resolved`. Where the covariance is not known, as where all readings are the same and
        the graduation is not stated, neither is the upper limit: NaN.
        """
        seen = self._facing
        low, high = amplitude_limits(seen.amplitude, seen.sd, self.dof, confidence_level)
        if np.any(self.scale_u):
            size, more = self.amplitude, student_t(confidence_level, math.inf) * self.scale_u
            low = np.maximum(size - np.hypot(size - low, size * more), 0.0)
            high = size + np.hypot(high - size, size * more)
        return Interval(_told(np.where(self.resolved, low, 0.0)), _told(high), confidence_level)

    def near_interval(self, confidence_level: float = 0.95) -> Interval:
        """Return the limits of the direction nearest the indicator, by Fieller's theorem.

        In degrees, ``low <= near_deg <= high`` (so that they may pass 0 or 360); a full turn apart
        where no direction is excluded.
        """
        low, high = direction_limits(self._facing, self.dof, confidence_level)
        return Interval(self.near_deg + low, self.near_deg + high, confidence_level)

    def probability(self, from_deg: float, to_deg: float) -> float:
        """Return how probable the true direction is between two, in degrees past the near one.

        With two degrees of freedom fewer than the limits: claims of few readings that scatter
        little by luck then come true as often as they say, as simulation shows. NaN where none is
        left: so few readings cannot tell it.
        """
        if self.dof < FEWEST_DOF:
            return _told(np.full(np.shape(self.value), np.nan))
        return _told(direction_probability(self._facing, self.dof - 2, from_deg, to_deg))

    def over(self, radius: Any, radius_u: Any = 0.0) -> Wobble:
        """Return the slopes of a plate that wobbles so at a radius, whose doubt goes with them."""
        return Wobble(
            self.value / radius,
            self.covariance / np.square(radius),
            self.dof,
            self.rounding / np.square(radius),
            np.hypot(self.scale_u, radius_u / radius),
        )


def _told(values: Any) -> float:
    """Return plain numbers; of many an array, which the type does not say."""
    told: float = one_or_many(values)
    return told
