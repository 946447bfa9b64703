"""The course of an invented turn: which tooth is under the stylus, and how it is counted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.invented.key import Floats, Planted
from bladegeom.readings import WAYS

_MOST_TURNS = 100
_RUN_IN_DEG = 90.0
_STEPS = 720


class Course(NamedTuple):
    """The readings of one set in the order in which they are taken, shape (n,) each.

    Attributes
    ----------
    tooth : ndarray of int
        The tooth truly under the stylus.
    label : ndarray of int
        The tooth as it was counted; one more than the blade has where one was read twice.
    turn, way : ndarray of int
        As in `Readings`.
    at_deg : ndarray
        Its blade angle, growing or falling through each turn.
    planted : tuple of Planted
        The miscount, if any.
    """

    tooth: NDArray[np.int64]
    label: NDArray[np.int64]
    turn: NDArray[np.int64]
    way: NDArray[np.int64]
    at_deg: Floats
    planted: tuple[Planted, ...]

    @property
    def words(self) -> list[str]:
        """Which way the blade was being turned at each reading, in words."""
        return ["forward" if way > 0 else "backward" for way in self.way]


def course(
    blade: Blade,
    turned: Sequence[str],
    closing: bool,
    skipped: int | None = None,
    doubled: int | None = None,
) -> Course:
    """Lay out the readings: one turn each way named, a miscount in the first.

    A turn starts at tooth 1 and goes through the teeth forward, or backward from the last. Whoever
    loses count in between still stops at the mark on tooth 1, so that the count comes out wrong.

    Raises
    ------
    RefusedError
    """
    ways = _ways(turned)
    if skipped is not None and doubled is not None:
        raise refuse("skipped and doubled are both given", "plant one miscount at a time")
    off = skipped if skipped is not None else doubled
    if off is not None:
        blade.angle_of(off)
        if skipped == 1:
            raise refuse("tooth 1 cannot be skipped", "the count starts there: name a later tooth")
        if ways[0] < 0:
            raise refuse(
                "a miscount is planted in the first turn, and that goes backward",
                "let the first turn go forward",
            )
    angles, last = blade.angles_deg, blade.teeth
    tooth: list[int] = []
    label: list[int] = []
    turn: list[int] = []
    at: list[float] = []
    planted: tuple[Planted, ...] = ()
    for number, way in enumerate(ways, start=1):
        teeth = [1, *range(last, 1, -1)] if way < 0 else list(range(1, last + 1))
        labels = list(teeth)
        if number == 1 and skipped is not None:
            teeth.remove(skipped)
            labels.pop()
            planted = (Planted("skipped", (skipped,), (), None),)
        if number == 1 and doubled is not None:
            teeth.insert(doubled, doubled)
            labels.append(last + 1)
            planted = (Planted("doubled", (doubled,), (doubled, doubled + 1), None),)
        path = [float(angles[one - 1]) for one in teeth]
        if way < 0:
            path[0] = 360.0
        if closing:
            teeth.append(1)
            labels.append(1)
            path.append(360.0 if way > 0 else 0.0)
        tooth += teeth
        label += labels
        turn += [number] * len(teeth)
        at += path
    way_of = np.asarray([ways[one - 1] for one in turn], dtype=np.int64)
    return Course(
        np.asarray(tooth, dtype=np.int64),
        np.asarray(label, dtype=np.int64),
        np.asarray(turn, dtype=np.int64),
        way_of,
        np.asarray(at, dtype=np.float64),
        planted,
    )


def _ways(turned: Sequence[str]) -> list[int]:
    if isinstance(turned, str) or not 0 < len(turned) <= _MOST_TURNS:
        raise refuse(
            f"turned is {turned!r}",
            f'give the way of each turn, 1 to {_MOST_TURNS} of them, such as ("forward",)',
            column="turned",
        )
    if wrong := [word for word in turned if word not in WAYS]:
        raise refuse(f"turned is {wrong[0]!r}", "write forward or backward", column="turned")
    return [WAYS[word] for word in turned]


def lag(run: Course, height_at: Callable[[Floats], Floats], play: float) -> Floats:
    """Return what play in the indicator takes off each reading or adds to it.

    The hand stands still until the stylus has moved through the dead band `play`. Each turn is
    run in from a quarter turn before its first reading.

    Returns
    -------
    ndarray, shape (n,)
    """
    off = np.zeros(len(run.tooth))
    for turn in np.unique(run.turn) if play else ():
        rows = np.flatnonzero(run.turn == turn)
        way, at = int(run.way[rows[0]]), run.at_deg[rows]
        grid = np.linspace(at[0] - way * _RUN_IN_DEG, at[-1], _STEPS)
        path = np.union1d(grid, at)[::way]
        height = height_at(path)
        shown = np.empty(len(path))
        hand = height[0]
        for step, true in enumerate(height):
            hand = min(max(hand, true - play / 2), true + play / 2)
            shown[step] = hand
        places = np.searchsorted(way * path, way * at)
        off[rows] = (shown - height)[places]
    return off
