"""Teeth, or spots of the plate, that stand off alike in every turn: no wobble, and no slip."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.mistakes.trial import Base
from bladegeom.readings import Readings
from bladegeom.result import number
from bladegeom.tables.counted import counted

CHANCE = 0.001
"""Below it, all teeth taken into account, a tooth that stands off is not the scatter's."""

_UNKNOWN = 4
"""Offset, wobble and the height of the one tooth."""

_FEWEST = 8
_MOST = 3
_MOST_READINGS = 2000


class Stands:
    """What stands off the curve."""

    height: float

    @property
    def side(self) -> str:
        """Which way it stands off."""
        return "toward the indicator" if self.height > 0 else "away from the indicator"

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain values."""
        return vars(self).copy()


@dataclass(frozen=True)
class Standing(Stands):
    """A single tooth that stands off the curve alike in each of several turns.

    Attributes
    ----------
    tooth, height, p_value
        As in `bladegeom.fit.shape.Bend`.
    turns : int
        In how many it was read.
    surface : str
        What was touched there: ``plate`` or ``teeth``.
    """

    tooth: int
    height: float
    p_value: float
    turns: int
    surface: str

    def words(self, unit: str, sd: float) -> str:
        """Return what it is, and what to do."""
        off = f"stands {number(abs(self.height), sd)} {unit} {self.side}, alike in {self.turns} "
        without = "wobble and teeth to mark are found without it"
        if self.surface == "teeth":
            return (
                f"tooth {self.tooth} {off}turns, and its neighbours do not: it is bent, or "
                "something sits on it; clean it, and if that does not help straighten or replace "
                f"it; {without}"
            )
        return (
            f"the plate at tooth {self.tooth} {off}turns, and beside it does not: clean that spot, "
            f"and if that does not help have the plate levelled there; {without}"
        )


def standing_in(readings: Readings) -> tuple[Standing, ...]:
    """Return the teeth that stand off alike in every turn, the one that stands off most first.

    Each tooth that was read in several turns is given a height of its own beside the wobble. The
    one that this explains most is named if each of its readings stands off to the same side by
    half of it at least and no neighbour does, and if scatter alone, or a plate as uneven as the
    other teeth show it, would hardly do it (Student's t, times the number of teeth). More are
    looked for without it.
    """
    found: list[Standing] = []
    left: Readings | None = readings
    while left is not None and len(found) < _MOST:
        one = _one_in(left)
        if one is None:
            break
        found.append(one)
        left = without(left, (one,))
    return tuple(found)


def without(readings: Readings, standing: tuple[Standing, ...]) -> Readings | None:
    """Return the readings of the other teeth; None where too few are left."""
    return counted(readings).only(others(readings, standing)).as_readings()


def others(readings: Readings, standing: tuple[Standing, ...]) -> NDArray[np.bool_]:
    """Return which readings are of other teeth."""
    kept: NDArray[np.bool_] = ~np.isin(readings.tooth, [one.tooth for one in standing])
    return kept


def _one_in(readings: Readings) -> Standing | None:
    tooth, turn = readings.tooth, readings.turn
    if len(np.unique(turn)) < 2 or len(tooth) > _MOST_READINGS:
        return None
    teeth = np.unique(tooth)
    own = (tooth[:, np.newaxis] == teeth).astype(np.float64)
    turns = np.array([len(np.unique(turn[tooth == one])) for one in teeth])
    if len(teeth) < _FEWEST or not (turns > 1).any():
        return None
    base = Base(counted(readings))
    if base.dof < _FEWEST:
        return None
    apart = base.m @ own
    evidence, rss, size = base.free(base.e @ own, np.sum(own * apart, axis=0))
    at = int(np.argmax(np.where(turns > 1, evidence, -np.inf)))
    height = float(size[at])
    left = base.e - height * apart[:, at]
    mean = own.T @ left / own.sum(axis=0) * np.sign(height)
    # A plate's own unevenness repeats from turn to turn: each other tooth tells of it once.
    free = len(teeth) - _UNKNOWN
    uneven = math.sqrt(float(mean @ mean) * (1 + _UNKNOWN / len(teeth)) / free) or 1e-300
    alone = 2 * float(special.stdtr(free, -abs(height) / uneven))
    chance = max(float(base.chance(rss[at])), alone) * len(teeth)
    if not (chance < CHANCE and abs(height) > base.least_change):
        return None
    each = (left[tooth == teeth[at]] + height) * np.sign(height)
    beside = [mean[at - 1], mean[(at + 1) % len(teeth)]]
    if each.min() < abs(height) / 2 or max(beside) > abs(height) / 2:
        return None
    return Standing(int(teeth[at]), height, min(1.0, chance), int(turns[at]), readings.surface)
