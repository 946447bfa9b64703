"""The least squares plane through heights read at places on the table."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from bladegeom.estimate import Estimate, combined
from bladegeom.faults import refuse
from bladegeom.kernel.doubt import zero_amplitude_p
from bladegeom.saw.taken import angle_over

Floats = NDArray[np.float64]


class Plane:
    """A plane through heights, in the axes in which its two slopes are independent.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        At least four.
    heights : ndarray, shape (n,)
    graduation : float or None
        In the unit of the heights; where the scatter is less than half of it, rounding is added:
        ``graduation / sqrt(12)`` to the height, and to each slope ``graduation / (sqrt(6)
        length)`` over the length read in its direction.

    Attributes
    ----------
    centre : ndarray, shape (2,)
        Of the places.
    sd : float
        Of the heights about the plane.

    Raises
    ------
    RefusedError
        If the places lie in one line.
    """

    def __init__(self, places: Floats, heights: Floats, graduation: float | None) -> None:
        self.centre: Floats = places.mean(axis=0)
        away = places - self.centre
        _, long, axes = np.linalg.svd(away, full_matrices=False)
        if not long[1] > 1e-9 * max(long[0], float(np.abs(places).max())):
            raise refuse(
                f"all {len(places)} places lie in one line, so there is no plane",
                "read the insert on both sides of the blade, at the front and at the back",
                column="x",
            )
        self._axes: Floats = axes
        along = away @ axes.T
        self._slopes: Floats = along.T @ heights / long**2
        self._height = float(heights.mean())
        off = heights - self._height - along @ self._slopes
        self._dof = len(heights) - 3
        sd = math.sqrt(float(off @ off) / self._dof)
        # Heights in a plane leave no more than the dust of binary arithmetic.
        self.sd = sd if sd > 1e-12 * float(np.abs(heights).max()) else 0.0
        self._scatter: Floats = self.sd / np.array([math.sqrt(len(heights)), *long])
        rounds = graduation is not None and self.sd < graduation / 2
        step = graduation if rounds and graduation is not None else 0.0
        read: Floats = np.ptp(along, axis=0)
        self._rounding: Floats = step / np.array([math.sqrt(12), *(math.sqrt(6) * read)])
        self._known = self.sd > 0 or rounds

    def at(self, place: Floats) -> Estimate:
        """Return the height of the plane at a place."""
        along = self._axes @ (place - self.centre)
        u, dof = self._doubt(np.array([1.0, *along]))
        return Estimate(self._height + float(along @ self._slopes), u, dof)

    def tilt(self) -> tuple[Estimate, float]:
        """Return the tilt and the direction in which the plane rises, both in degrees.

        The direction is counted from the first coordinate toward the second. The doubt is that of
        the slope in its direction; of a level plane, the larger one of the two axes.
        """
        slope = float(np.hypot(*self._slopes))
        if slope:
            u, dof = self._doubt(np.array([0.0, *(self._slopes / slope)]))
        else:
            u, dof = max((self._doubt(one) for one in np.eye(3)[1:]), key=lambda one: one[0])
        x, y = self._slopes @ self._axes
        return angle_over(Estimate(slope, u, dof), 1.0), math.degrees(math.atan2(y, x)) % 360

    def tilts(self) -> bool | None:
        """Return whether a tilt is established at 95 %; None where the doubt is not known.

        By the test that both slopes are 0, as for the wobble of a blade.
        """
        if not self._known:
            return None
        doubts = [self._doubt(one) for one in np.eye(3)[1:]]
        f = sum((slope / u) ** 2 for slope, (u, _) in zip(self._slopes, doubts, strict=True)) / 2
        return zero_amplitude_p(float(f), min(dof for _, dof in doubts)) < 0.05

    def _doubt(self, weights: Floats) -> tuple[float, float]:
        if not self._known:
            return math.nan, math.inf
        scatter = float(np.linalg.norm(weights * self._scatter))
        rounding = float(np.linalg.norm(weights * self._rounding))
        return combined([(scatter, self._dof), (rounding, math.inf)])
