"""Directions in a blade and the teeth nearest to them: geometry alone, of one blade or many."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import wrap_360
from bladegeom.wobble import Wobble

_HAIR = 1e-9
_BETWEEN = 0.45
"""So large a part of the gap from its tooth, a direction lies between two: either will do."""


class End(NamedTuple):
    """A direction in a blade and the tooth nearest to it; of many blades alike, shape (...).

    Attributes
    ----------
    direction_deg : float or ndarray
        From 0 to 360.
    place : int or ndarray
        Of the nearest tooth, from 0.
    past_deg : float or ndarray
        From that tooth on to the direction.
    before_deg, after_deg : float or ndarray
        The gaps from that tooth to its neighbours.
    """

    direction_deg: Any
    place: Any
    past_deg: Any
    before_deg: Any
    after_deg: Any

    @property
    def past_pitch(self) -> Any:
        """`past_deg` as a part of the gap on that side."""
        return self.past_deg / np.where(self.past_deg > 0, self.after_deg, self.before_deg)

    @property
    def between(self) -> Any:
        """Whether the direction lies between two teeth, so that either will do."""
        return np.abs(self.past_pitch) >= _BETWEEN

    @property
    def pasts_deg(self) -> tuple[Any, Any]:
        """The least and the largest `past_deg` of the teeth that will do."""
        other = self.past_deg - np.where(self.past_deg > 0, self.after_deg, -self.before_deg)
        other = np.where(self.between, other, self.past_deg)
        return np.minimum(self.past_deg, other), np.maximum(self.past_deg, other)

    def probability(self, wobble: Wobble) -> Any:
        """Return how probable it is that this tooth is the nearest to the true direction."""
        return wobble.probability(
            -self.past_deg - self.before_deg / 2, self.after_deg / 2 - self.past_deg
        )


def ends_of(tooth_deg: NDArray[np.float64], near_deg: Any) -> list[End]:
    """Return near, neutral, far and the other neutral end of blades with the same teeth.

    Half-way between two teeth rounding must not choose: the lower number of two within a hair is
    the nearest, as `Blade.nearest_tooth` has it.

    Parameters
    ----------
    tooth_deg : ndarray, shape (teeth,)
    near_deg : float or ndarray, shape (...)
        From 0 (included) to 360 (not).

    Returns
    -------
    list of four End
    """
    teeth = len(tooth_deg)
    even = bool(np.ptp(np.diff(tooth_deg, append=360.0)) < _HAIR)
    near, tie = _end(tooth_deg, even, near_deg)
    turned = [wrap_360(near_deg + quarter * 90.0) for quarter in (1, 2, 3)]
    if not even or teeth % 4 or tie:
        return [near, *(_end(tooth_deg, even, toward)[0] for toward in turned)]
    # Where teeth stand alike in every quarter, so do the directions.
    places = [(near.place + quarter * (teeth // 4)) % teeth for quarter in (1, 2, 3)]
    others = zip(turned, places, strict=True)
    return [near, *(near._replace(direction_deg=deg, place=place) for deg, place in others)]


def _end(tooth_deg: NDArray[np.float64], even: bool, toward: Any) -> tuple[End, bool]:
    """Return a direction with its nearest tooth, and whether any lies half-way between two."""
    teeth, gaps = len(tooth_deg), np.diff(tooth_deg, append=360.0)
    if even:  # Which of two teeth a hair apart from the direction does not matter here.
        below = np.minimum(np.asarray(toward * (teeth / 360.0), dtype=np.intp), teeth - 1)
    else:
        below = np.searchsorted(tooth_deg, toward, side="right") - 1
    past, gap = toward - tooth_deg[below], gaps[below]
    over = 2 * past - gap
    # The last tooth's upper neighbour has the lower number.
    above = (over > _HAIR) | ((over > -_HAIR) & (below == teeth - 1))
    place = np.where(above, (below + 1) % teeth, below)[()]
    past = np.where(above, past - gap, past)[()]
    end = End(toward, place, past, gaps[place - 1], gaps[place])
    return end, bool((np.abs(over) <= _HAIR).any())


def off_line(first: End, second: End, tilt_deg: Any) -> tuple[Any, Any]:
    """Return where the line through two teeth lies, and what it leaves when taken for neutral.

    The chord from the second tooth's tip up to the first's points half-way between the first
    tooth's direction and the opposite of the second's.

    Returns
    -------
    off, left : float or ndarray, shape (...)
        The line less the true neutral line, in degrees of blade; the squareness error.
    """
    off = -(first.past_deg + second.past_deg) / 2
    slope = np.tan(np.radians(tilt_deg)) * np.sin(np.radians(-off))
    return off, np.degrees(np.arctan(slope))


def most_left(
    first: End, second: End, near_low_deg: Any, near_high_deg: Any, tilt_high_deg: Any
) -> Any:
    """Return the 95 % limit of the size of the squareness error that marking two teeth leaves.

    The tilt is taken at its upper limit, and the neutral line where it lies farthest from the line
    through the teeth, whichever of those that will do is marked.

    Parameters
    ----------
    first, second : End
        Of the neutral line.
    near_low_deg, near_high_deg : float or ndarray, shape (...)
        Limits of the direction, less the fitted one.
    tilt_high_deg : float or ndarray, shape (...)
        Upper limit of the tilt.

    Returns
    -------
    float or ndarray, shape (...)
        Degrees.
    """
    apart = farthest_off(first, second, near_low_deg, near_high_deg)
    sine = np.sin(np.radians(np.minimum(apart, 90.0)))
    return np.degrees(np.arctan(np.tan(np.radians(tilt_high_deg)) * sine))


def farthest_off(first: End, second: End, near_low_deg: Any, near_high_deg: Any) -> Any:
    """Return how far off the neutral line may be, in degrees of blade; see `most_left`."""
    (low, high), (low_too, high_too) = first.pasts_deg, second.pasts_deg
    return np.fmax(near_high_deg + (high + high_too) / 2, -near_low_deg - (low + low_too) / 2)


def first_better(first: End, second: End) -> Any:
    """Return whether the first of two teeth lies closer to its direction."""
    return np.abs(first.past_deg) <= np.abs(second.past_deg) + _HAIR
