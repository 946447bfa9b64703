"""How invented readings are taken and written down: the course, the stand, the person's slips."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.invented.asked import (
    Asked,
    Bump,
    DecimalSlip,
    Doubled,
    Drift,
    Gum,
    LostMinus,
    Play,
    Skipped,
    UnitSlip,
    count,
    number,
)
from bladegeom.invented.key import AnswerKey, Floats, Hidden, Planted, total
from bladegeom.lengths import MM_PER
from bladegeom.readings import WAYS

DIAL = {"mm": 0.01, "in": 0.0005, "thou": 0.5, "um": 10.0}
"""Graduation of an ordinary dial in each unit (common practice, no source)."""

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

    def touching(self, kind: str, rows: Any, size: float | None) -> Planted:
        """Return a fault that touches these rows."""
        teeth = tuple(dict.fromkeys(self.tooth[rows].tolist()))
        return Planted(kind, teeth, tuple((rows + 1).tolist()), size)

    def row_of(self, tooth: int, blade: Blade) -> int:
        """Return the place of a tooth's first reading.

        Raises
        ------
        RefusedError
            If there is no such tooth, or it was skipped.
        """
        blade.angle_of(tooth)
        rows = np.flatnonzero(self.tooth == tooth)
        if not rows.size:
            raise refuse(f"tooth {tooth} is skipped: it has no reading", "name another tooth")
        return int(rows[0])


def course(
    blade: Blade,
    turned: Sequence[str],
    closing: bool,
    miscounts: Sequence[Skipped | Doubled] = (),
) -> Course:
    """Lay out the readings: one turn each way named, a miscount in the first.

    A turn starts at tooth 1 and goes through the teeth forward, or backward from the last. Whoever
    loses count in between still stops at the mark on tooth 1, so that the count comes out wrong.

    Raises
    ------
    RefusedError
    """
    ways = _ways(turned)
    off = _miscount(blade, ways, miscounts)
    angles, last = blade.angles_deg, blade.teeth
    tooth: list[int] = []
    label: list[int] = []
    turn: list[int] = []
    at: list[float] = []
    planted: tuple[Planted, ...] = ()
    for place, way in enumerate(ways, start=1):
        teeth = [1, *range(last, 1, -1)] if way < 0 else list(range(1, last + 1))
        labels = list(teeth)
        if place == 1 and isinstance(off, Skipped):
            teeth.remove(off.tooth)
            labels.pop()
            planted = (Planted("skipped", (off.tooth,), (), None),)
        if place == 1 and isinstance(off, Doubled):
            teeth.insert(off.tooth, off.tooth)
            labels.append(last + 1)
            planted = (Planted("doubled", (off.tooth,), (off.tooth, off.tooth + 1), None),)
        path = [float(angles[one - 1]) for one in teeth]
        if way < 0:
            path[0] = 360.0
        if closing:
            teeth.append(1)
            labels.append(1)
            path.append(360.0 if way > 0 else 0.0)
        tooth += teeth
        label += labels
        turn += [place] * len(teeth)
        at += path
    way_of = [ways[one - 1] for one in turn]
    columns = np.array([tooth, label, turn, way_of], dtype=np.int64)
    return Course(columns[0], columns[1], columns[2], columns[3], np.array(at), planted)


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


def _miscount(
    blade: Blade, ways: Sequence[int], planted: Sequence[Skipped | Doubled]
) -> Skipped | Doubled | None:
    if not planted:
        return None
    if len(planted) > 1:
        raise refuse("Skipped and Doubled are both there", "plant one miscount at a time")
    (off,) = planted
    blade.angle_of(off.tooth)
    if off == Skipped(1):
        raise refuse("tooth 1 cannot be skipped", "the count starts there: name a later tooth")
    if ways[0] < 0:
        raise refuse(
            "a miscount is planted in the first turn, and that goes backward",
            "let the first turn go forward",
        )
    return off


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


def on_the_stand(
    key: AnswerKey, asked: Asked, run: Course, zero: float, noise: Floats, first: bool
) -> tuple[AnswerKey, Floats]:
    """Return the key to one set with its parts and faults, and what the dial showed.

    Parameters
    ----------
    key : AnswerKey
        Without parts, and without what is planted.
    asked : Asked
    run : Course
    zero : float
        What the dial shows where the plate has no height.
    noise : ndarray, shape (n,)
    first : bool
        Whether it is the first set, into which a bump goes.

    Returns
    -------
    key : AnswerKey
        Without what the person may do to the numbers.
    shown : ndarray, shape (n,)

    Raises
    ------
    RefusedError
    """
    n, hidden, blade = len(run.tooth), key.hidden, key.blade
    spot_deg = run.at_deg + key.touch_deg

    def heights(at_deg: Floats) -> dict[str, Floats]:
        return hidden.heights(key.ring_radius, at_deg + key.touch_deg, key.clock_deg, key.seat)

    parts = {"dial_zero": np.full(n, zero)} | heights(run.at_deg)
    planted = [*run.planted, *_standing(hidden, key.seat)]
    for bend in hidden.bends:
        rows = np.flatnonzero(hidden.hump_at(bend, spot_deg))
        found = run.touching("bend", rows, bend.height)
        along = sorted(found.teeth, key=lambda tooth: (tooth - bend.first) % blade.teeth)
        planted.append(found._replace(teeth=tuple(along)))

    def add(kind: str, off: Floats, size: float, where: NDArray[np.bool_] | None = None) -> None:
        parts[kind] = parts.get(kind, 0.0) + off
        all_of_them = Planted(kind, (), (), size)
        planted.append(
            all_of_them if where is None else run.touching(kind, np.flatnonzero(where), size)
        )

    for gum in asked.of(Gum):
        blade.angle_of(gum.tooth)
        size, here = asked.length("Gum.height", gum.height), run.tooth == gum.tooth
        add("spike", np.where(here, size, 0.0), size, here)
    for play in asked.of(Play):
        if band := asked.length("Play.band", play.band, least=0):
            add("play", lag(run, lambda at_deg: total(heights(at_deg)), band), band)
    for drift in asked.of(Drift):
        if size := asked.length("Drift.per_turn", drift.per_turn):
            add("drift", size * np.arange(n) / blade.teeth, size)
    for bump in asked.of(Bump) if first else ():
        size = asked.length("Bump.height", bump.height)
        later = np.arange(n) >= count("Bump.after", bump.after, 1, n - 1)
        add("step", np.where(later, size, 0.0), size, later)
    parts["noise"] = noise
    exact = total(parts)
    shown = _on_the_dial(exact, key.graduation)
    parts["rounding"] = shown - exact
    return replace(key, planted=tuple(planted), parts=parts), shown


def _standing(hidden: Hidden, seat: complex) -> list[Planted]:
    """Return the planted faults that touch every reading."""
    heights = {
        "dish": hidden.dish,
        "saddle": hidden.saddle,
        "flange": 2 * abs(hidden.flange),
        "seating": 2 * abs(seat),
    }
    return [Planted(kind, (), (), height) for kind, height in heights.items() if height]


def written_down(key: AnswerKey, shown: Floats, run: Course, asked: Asked) -> list[Planted]:
    """Write numbers down as the person does, in place, and return what slipped.

    Raises
    ------
    RefusedError
    """
    return [
        *(_lose_minus(shown, run, one, key.blade) for one in asked.of(LostMinus)),
        *(_slip_point(shown, run, one, key.blade) for one in asked.of(DecimalSlip)),
        *(_change_unit(shown, run, one, key) for one in asked.of(UnitSlip)),
    ]


def _lose_minus(shown: Floats, run: Course, slip: LostMinus, blade: Blade) -> Planted:
    """Write a reading without its minus."""
    row, tooth = run.row_of(slip.tooth, blade), slip.tooth
    if not shown[row] < 0:
        raise refuse(
            f"the reading of tooth {tooth} is {shown[row]:g}: it has no minus to lose",
            "name a tooth with a negative reading, or set dial_zero lower",
            value=tooth,
            column="LostMinus.tooth",
        )
    shown[row] = -shown[row]
    return Planted("sign", (tooth,), (row + 1,), None)


def _slip_point(shown: Floats, run: Course, slip: DecimalSlip, blade: Blade) -> Planted:
    """Write a reading with its decimal point in another place."""
    row, tooth = run.row_of(slip.tooth, blade), slip.tooth
    factor = number("DecimalSlip.factor", slip.factor)
    decade = math.log10(factor) if factor > 0 else math.nan
    if not (abs(decade - round(decade)) < 1e-9 if math.isfinite(decade) else False) or factor == 1:
        raise refuse(
            f"a decimal point cannot slip by a factor of {factor:g}",
            "give 10, 0.1, 100, 0.01 and so on",
            value=factor,
            column="DecimalSlip.factor",
        )
    if shown[row] == 0:
        raise refuse(
            f"the reading of tooth {tooth} is 0: no point can slip in it",
            "name another tooth",
            value=tooth,
            column="DecimalSlip.tooth",
        )
    shown[row] = float(f"{shown[row] * factor:.12g}")
    return Planted("scale", (tooth,), (row + 1,), factor)


def _change_unit(shown: Floats, run: Course, slip: UnitSlip, key: AnswerKey) -> Planted:
    """Write all readings after some number of them in another unit, on a dial of that unit."""
    unit = key.unit
    if slip.unit not in MM_PER or slip.unit == unit:
        raise refuse(
            f"UnitSlip.unit is {slip.unit!r}",
            f"name another unit than {unit}: {', '.join(one for one in MM_PER if one != unit)}",
            value=slip.unit,
            column="UnitSlip.unit",
        )
    after = count("UnitSlip.after", slip.after, 0, len(shown) - 1)
    factor = MM_PER[unit] / MM_PER[slip.unit]
    shown[after:] = _on_the_dial(shown[after:] * factor, key.graduation and DIAL[slip.unit])
    return run.touching("unit", np.arange(after, len(shown)), factor)


def _on_the_dial(value: Floats, graduation: float | None) -> Floats:
    """Return values at the nearest graduation, without the dust of binary arithmetic."""
    if not graduation:
        return value.copy()
    steps = np.round(value / graduation)
    return np.array([float(f"{step * graduation:.12g}") + 0.0 for step in steps])
