"""How a plate leans and bends the line under a square, rotation by rotation, with the doubt."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from bladegeom.angles import wrap_360
from bladegeom.estimate import Estimate
from bladegeom.plate.plate import PlateFit
from bladegeom.plate.plate_line import PlateLine, part_of
from bladegeom.wobble import DETECTION_LEVEL

Floats = NDArray[np.float64]

TURN = np.linspace(0.0, 360.0, 1441)
_LARGE_DOF = 1e7
_CLEAR = 10.0
"""Times its doubt, the swing from which on a curve's rotations are told by more than scatter."""

# Close together at the ends, about which a square rocks.
_PARTS = (1 - np.cos(np.linspace(0.0, math.pi, 401)[1:-1])) / 2


class Bow(NamedTuple):
    """How a plate bends between the two ends of a line.

    Attributes
    ----------
    height : Estimate
        Farthest that the plate stands off the straight line, positive toward the indicator.
    rock_deg, rock_other_deg : float
        By how much a square rocks to either side, held against the indicator's side of the plate
        and against the other.
    """

    height: Estimate
    rock_deg: float
    rock_other_deg: float


@dataclass(frozen=True)
class Picked(Estimate):
    """A slope picked from those at all rotations, its limits good for any of them.

    Attributes
    ----------
    factor : float
        What `u` is multiplied by for the 95 % limits, in Student's place.
    """

    factor: float = math.nan

    @property
    def reach(self) -> float:
        """Half the width of the 95 % limits."""
        return self.factor * self.u


class PlateSlopes:
    """Slopes of one line on one plate: linear in the plate's parameters, and so is their doubt.

    Parameters
    ----------
    plate : PlateFit
        What of its shape is not told counts as nothing.
    line : PlateLine
    only : str, optional
        One part of the shape alone, such as ``tilt``.
    """

    def __init__(self, plate: PlateFit, line: PlateLine, *, only: str = "") -> None:
        parts = [part_of(name)[0] for name in plate.names]
        kept = [at for at, part in enumerate(parts) if part and only in ("", part)]
        self.plate, self.line = plate, line.in_unit(plate.unit)
        self.names = [plate.names[at] for at in kept]
        self.values = plate.values[kept]
        self.covariance = plate.covariance[np.ix_(kept, kept)]

    def rise(self, top_deg: ArrayLike) -> Floats:
        """Return rise toward the indicator over length, shape (m,)."""
        rise: Floats = self._columns(top_deg) @ self.values
        return rise

    def deg(self, top_deg: ArrayLike) -> Floats:
        """Return the slopes in degrees, shape (m,)."""
        return np.degrees(np.arctan(self.rise(top_deg)))

    def u_deg(self, top_deg: ArrayLike) -> Floats:
        """Return their standard uncertainty (k = 1) in degrees, shape (m,)."""
        columns = self._columns(top_deg)
        u: Floats = np.degrees(_sd(columns, self.covariance) / (1 + self.rise(top_deg) ** 2))
        return u

    def at(self, top_deg: float) -> Estimate:
        """Return the slope in degrees at one rotation."""
        deg, u = self.deg([top_deg]), self.u_deg([top_deg])
        return Estimate(float(deg[0]), float(u[0]), self.plate.dof)

    def zeros(self) -> tuple[float, ...]:
        """Return where the slope is zero: where it changes its sign, in ever smaller steps."""
        rises = self._round @ self.values >= 0
        rises[-1] = rises[0]
        (steps,) = np.nonzero(rises[1:] != rises[:-1])
        low, high = TURN[steps], TURN[steps + 1]
        for _ in range(10):
            middle = (low + high) / 2
            same = (self.rise(middle) >= 0) == rises[steps]
            low, high = np.where(same, middle, low), np.where(same, high, middle)
        # What is left of each step is straight to rounding.
        before, after = self.rise(low), self.rise(high)
        return tuple(
            sorted(wrap_360(one) for one in low - before * (high - low) / (after - before))
        )

    def least(self) -> float:
        """Return the blade angle with the least slope to either side, where none is zero."""
        size = np.abs(self._round[:-1] @ self.values)
        place = int(size.argmin())
        before, here, after = size[np.arange(place - 1, place + 2) % len(size)]
        bend = before - 2 * here + after
        step = (before - after) / (2 * bend) if bend > 0 else 0.0
        return wrap_360(TURN[place] + step * TURN[1])

    def worst(self) -> float:
        """Return the blade angle with the slope farthest out, doubt and all."""
        reach = self._everywhere * _sd(self._round, self.covariance)
        size = np.abs(self._round @ self.values) + np.nan_to_num(reach)
        return float(TURN[size[:-1].argmax()])

    def picked(self, top_deg: float) -> Estimate:
        """Return the slope at a rotation that was picked for its slope.

        Where the curve does not stand clear above its doubt, scatter has a hand in the picking, and
        Student's limits would be too narrow: these then hold at all rotations at once (Scheffe).
        """
        slope = self.at(top_deg)
        swing = float(np.ptp(self._round @ self.values)) / 2
        if swing > _CLEAR * float(_sd(self._round, self.covariance).max()):
            return slope
        return Picked(slope.value, slope.u, slope.dof, self._everywhere)

    @property
    def _everywhere(self) -> float:
        """Times the doubt of a rise, what it keeps to at all rotations at once (95 %)."""
        felt = int((np.abs(self._round).max(axis=0) > self._felt).sum())
        dof = min(self.plate.dof, _LARGE_DOF)
        return math.sqrt(felt * float(special.fdtri(felt, dof, DETECTION_LEVEL)))

    def chance(self) -> float:
        """Return the chance of so large a difference between rotations by scatter alone.

        The F test of all parameters whose share changes as the blade turns, against their joint
        covariance: the test of the largest difference between any two rotations (Scheffe).
        """
        turning = np.ptp(self._round, axis=0) > self._felt
        values, covariance = self.values[turning], self.covariance[np.ix_(turning, turning)]
        if not np.isfinite(covariance).all():
            return math.nan
        if not values.any() or not covariance.any():
            return 0.0 if values.any() else 1.0
        f = float(values @ np.linalg.solve(covariance, values)) / len(values)
        return float(special.fdtrc(len(values), min(self.plate.dof, _LARGE_DOF), f))

    def missing(self) -> dict[str, str]:
        """Return what of the shape leans this line but is not identified, and why."""
        return {
            what: why
            for what, why in self.plate.not_identified.items()
            if np.abs(self.line.slopes(_names(what), self._radius, TURN)).max() > self._felt
        }

    def bow(self, top_deg: float) -> Bow | None:
        """Return how the plate bends along the line; None where part of that is not identified."""
        if any(part_of(name)[0] for what in self.plate.not_identified for name in _names(what)):
            return None
        columns = self.line.bows(self.names, self._radius, top_deg, _PARTS)
        height = columns @ self.values
        place = int(np.abs(height).argmax())
        u = float(_sd(columns[place], self.covariance))
        # About its start a square turns up, about its end down, until it lies on the plate.
        per = np.minimum(_PARTS, 1 - _PARTS) * self.line.length
        rock, other = (
            math.degrees(math.atan(max(0.0, float((side * height / per).max()))))
            for side in (1, -1)
        )
        return Bow(Estimate(float(height[place]), u, self.plate.dof), rock, other)

    @cached_property
    def _round(self) -> Floats:
        return self._columns(TURN)

    def _columns(self, top_deg: ArrayLike) -> Floats:
        return self.line.slopes(self.names, self._radius, top_deg)

    @property
    def _felt(self) -> float:
        """What a height of 1 at the rim must slope a line by to be more than binary dust."""
        return 1e-9 / self._radius

    @property
    def _radius(self) -> float:
        return self.plate.reference_radius


def _names(group: str) -> tuple[str, ...]:
    return (group,) if group == "dish" else (f"{group}_cos", f"{group}_sin")


def _sd(columns: Floats, covariance: Floats) -> Floats:
    sd: Floats = np.sqrt(np.sum((columns @ covariance) * columns, axis=-1))
    return sd
