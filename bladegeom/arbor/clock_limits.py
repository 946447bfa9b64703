"""Limits of what a new mounting leaves of the wobble, and of what is gained by it."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.kernel.doubt import amplitude_cdf
from bladegeom.result import Row, between, number

Floats = NDArray[np.float64]

_TAIL = 0.025
_STEPS = 40
"""Halvings that find a limit to the last digits that matter."""


class Limited(NamedTuple):
    """A length with its 95 % limits; they are NaN where the seating is not known.

    Attributes
    ----------
    value, low, high : float
    """

    value: float
    low: float
    high: float

    def rows(self, key: str, label: str, text: str) -> list[Row]:
        """Return the rows ``key``, ``key_low``, ``key_high`` of a result."""
        return [
            Row(key, self.value, label, text),
            Row(f"{key}_low", self.low),
            Row(f"{key}_high", self.high),
        ]

    def text(self, unit: str) -> str:
        """Return value, unit and limits in words."""
        if math.isnan(self.high):
            return f"{number(self.value)} {unit} (doubt not known)"
        doubt = (self.high - self.low) / 4
        return f"{number(self.value, doubt)} {unit} (95 %: {between(self.low, self.high, doubt)})"


def next_limits(estimate: ArrayLike, sd: ArrayLike, dof: ArrayLike) -> tuple[Floats, Floats]:
    """Return 95 % limits of the amplitude of a vector that is known up to a doubt.

    Either end is the safe one of two laws. The lower is the least amplitude that would not show
    so large an estimate in 97.5 % of cases (see `bladegeom.kernel.doubt.amplitude_limits`): 0
    where no wobble would. The upper is the radius about 0 inside which 97.5 % of the places lie
    where the vector may be, its errors being Student's.

    Parameters
    ----------
    estimate, sd, dof : array_like
        Of shapes that broadcast to (...): amplitude of the estimate, standard deviation of one
        component of its error, and the degrees of freedom of that. A zero `sd` counts as the
        smallest that matters.

    Returns
    -------
    low, high : ndarray, shape (...)
    """
    given, doubt, free = np.broadcast_arrays(
        *(np.asarray(one, dtype=np.float64) for one in (estimate, sd, dof))
    )
    doubt = np.maximum(doubt, np.maximum(1e-9 * given, 1e-300))
    x = given / doubt
    shown = amplitude_cdf(x, 0.0, free) > 1 - _TAIL
    low = _halved(lambda at: amplitude_cdf(x, at, free) > 1 - _TAIL, np.zeros(x.shape), x)
    reach = np.full(x.shape, 4.0)
    while np.any(short := amplitude_cdf(x + reach, x, free) < 1 - _TAIL):
        reach = np.where(short, 2 * reach, reach)
    high = _halved(lambda at: amplitude_cdf(at, x, free) < 1 - _TAIL, x, x + reach)
    return np.where(shown, low, 0.0 * x) * doubt, high * doubt


def difference(one: Limited, other: Limited) -> Limited:
    """Return one length less another, whose errors are independent, with 95 % limits.

    What either may be off toward the other is added as squares: the method of Zou and Donner
    (2008, Stat Med 27:1693-1702; cited from memory), which for symmetrical limits is the root of
    the sum of squares.

    Parameters
    ----------
    one, other : Limited

    Returns
    -------
    Limited
    """
    value = one.value - other.value
    down = math.hypot(one.value - one.low, other.high - other.value)
    up = math.hypot(one.high - one.value, other.value - other.low)
    return Limited(value, value - down, value + up)


def _halved(above: Callable[[Floats], NDArray[np.bool_]], low: Floats, high: Floats) -> Floats:
    """Find where `above`, true at `low` and not at `high`, changes."""
    for _ in range(_STEPS):
        middle = (low + high) / 2
        further = above(middle)
        low, high = np.where(further, middle, low), np.where(further, high, middle)
    found: Floats = (low + high) / 2
    return found
