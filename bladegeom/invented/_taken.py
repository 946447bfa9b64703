"""What is asked for, and how invented readings are taken and written down: course, stand, slips."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.invented import (
    ONCE,
    SEVERAL,
    Bump,
    DecimalSlip,
    Doubled,
    Drift,
    Gum,
    LostMinus,
    Play,
    Skipped,
    Swapped,
    UnitSlip,
)
from bladegeom.invented._key import AnswerKey, Floats, Hidden, Planted
from bladegeom.lengths import LARGEST, MM_PER, convert, plain_number, with_unit
from bladegeom.readings import WAYS

DIAL = {"mm": 0.01, "in": 0.0005, "thou": 0.5, "um": 10.0}
"""Graduation of an ordinary dial in each unit (common practice, no source)."""

_MOST_TURNS = 100
_RUN_IN_DEG = 90.0
_STEPS = 720

T = TypeVar("T")


class Asked:
    """The faults that were asked for.

    Parameters
    ----------
    faults : sequence
        Objects of `bladegeom.invented`.
    unit : {"mm", "in", "thou", "um"}
        Of the readings.
    most : float
        In that unit: no height is larger.

    Raises
    ------
    RefusedError
        If one is something else, or is there twice.
    """

    def __init__(self, faults: Sequence[Any], unit: str, most: float) -> None:
        self._faults, self.unit, self._most = faults, unit, most
        known = (*SEVERAL, *ONCE)
        if not isinstance(faults, (list, tuple)):
            raise refuse(f"faults is {faults!r}", "give a list of them", column="faults")
        for one in faults:
            if not isinstance(one, known):
                names = ", ".join(kind.__name__ for kind in known)
                raise refuse(f"{one!r} is no fault", f"use {names}", value=one, column="faults")
        for kind in ONCE:
            if len(self.of(kind)) > 1:
                name = kind.__name__
                raise refuse(f"{name} is there twice", "plant it once", column="faults")

    def of(self, kind: type[T]) -> list[T]:
        """Return the faults of a kind."""
        return [one for one in self._faults if isinstance(one, kind)]

    def one(self, kind: type[T]) -> T | None:
        """Return the fault of a kind of which there is one; None where it is not asked for."""
        return next(iter(self.of(kind)), None)

    def size(self, fault: Any, what: str, least: float = -math.inf) -> float:
        """Return a length of a fault, 0 where the fault is not asked for; see `length`."""
        if fault is None:
            return 0.0
        return self.length(f"{type(fault).__name__}.{what}", getattr(fault, what), least)

    def length(self, what: str, given: Any, least: float = -math.inf) -> float:
        """Return a length in the unit of the readings, or refuse one larger than the ring."""
        value, unit = with_unit(what, given)
        size = convert(number(what, value, least), unit, self.unit)
        if abs(size) > self._most:
            raise refuse(
                f"{what} is {value:g} {unit}, more than the ring's radius "
                f"({self._most:g} {self.unit})",
                "give a smaller one, and check its unit",
                value=given,
                column=what,
            )
        return size


def streams(rng: np.random.Generator | int) -> list[np.random.Generator]:
    """Return three independent streams of chance: for the blade, its seat and the noise."""
    seed = isinstance(rng, (int, np.integer)) and not isinstance(rng, bool) and rng >= 0
    if not seed and not isinstance(rng, np.random.Generator):
        raise refuse(
            f"rng is {rng!r}",
            "give a whole number of 0 or more, or numpy.random.default_rng(...)",
            value=rng,
            column="rng",
        )
    return np.random.default_rng(rng).spawn(3)


def number(what: str, value: Any, least: float = -math.inf) -> float:
    """Return a number that was asked for, or refuse what is none or below `least`."""
    cure = "give a plain number" if least == -math.inf else f"give a number of {least:g} or more"
    found = plain_number(value)
    if found is None or not (least <= found and abs(found) <= LARGEST):
        raise refuse(f"{what} is {value!r}", cure, value=value, column=what)
    return found


def numbers(what: str, values: Any, count_of: int | None = None) -> list[float]:
    """Return a list of numbers that was asked for; one number stands for each of `count_of`."""
    single = np.ndim(values) == 0
    given: list[Any] = [values] if single else list(np.asarray(values, dtype=object))
    if count_of is not None and len(given) == 1:
        given *= count_of
    if not given or (count_of is not None and len(given) != count_of):
        needed = "one number at least" if count_of is None else f"one number, or {count_of}"
        problem = f"{what} holds {len(given)} numbers"
        raise refuse(problem, f"give {needed}", value=len(given), column=what)
    return [number(what, value) for value in given]


def count(what: str, value: Any, least: int, most: int) -> int:
    """Return a whole number that was asked for, or refuse it."""
    found = plain_number(value)
    if found is None or not least <= found <= most or int(found) != found:
        cure = f"give a whole number from {least} to {most}"
        raise refuse(f"{what} is {value!r}", cure, value=value, column=what)
    return int(found)


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
        """Return the place of a tooth's first reading, or refuse a tooth that has none."""
        blade.angle_of(tooth)
        rows = np.flatnonzero(self.tooth == tooth)
        if not rows.size:
            raise refuse(f"tooth {tooth} is skipped: it has no reading", "name another tooth")
        return int(rows[0])


def course(
    blade: Blade, turned: Sequence[str], closing: bool, miscounts: Sequence[Skipped | Doubled] = ()
) -> Course:
    """Lay out the readings: one turn each way named, a miscount in the first.

    A turn starts at tooth 1 and goes through the teeth forward, or backward from the last. Whoever
    loses count in between still stops at the mark on tooth 1, so that the count comes out wrong.
    """
    ways = _ways(turned)
    off = _miscount(blade, ways, miscounts)
    angles, last = blade.angles_deg, blade.teeth
    rows: list[tuple[int, int, int, int, float]] = []
    planted: tuple[Planted, ...] = ()
    for place, way in enumerate(ways, start=1):
        teeth = [1, *range(last, 1, -1)] if way < 0 else list(range(1, last + 1))
        labels = list(teeth)
        if off is not None and place == 1:
            if isinstance(off, Skipped):
                teeth.remove(off.tooth)
                labels.pop()
                planted = (Planted("skipped", (off.tooth,), (), None),)
            else:
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
        rows += zip(teeth, labels, [place] * len(teeth), [way] * len(teeth), path, strict=True)
    *whole, at_deg = zip(*rows, strict=True)
    tooth, label, turn, way_of = np.array(whole, dtype=np.int64)
    return Course(tooth, label, turn, way_of, np.array(at_deg, dtype=np.float64), planted)


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


def take(
    key: AnswerKey, asked: Asked, run: Course, zero: float, noise: Floats, first: bool
) -> tuple[AnswerKey, Floats]:
    """Return the key to one set with its parts and faults, and what was written down.

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
        Whether it is the first set, into which a bump and the slips of the person go.

    Returns
    -------
    key : AnswerKey
    written : ndarray, shape (n,)
    """
    at, hidden, blade = np.arange(len(run.tooth)), key.hidden, key.blade

    def heights(at_deg: Floats) -> dict[str, Floats]:
        return hidden.heights(key.ring_radius, at_deg + key.touch_deg, key.clock_deg, key.seat)

    parts = {"dial_zero": np.full(len(at), zero)} | heights(run.at_deg)
    planted = [*run.planted, *_standing(hidden, key.seat)]
    for bend in hidden.bends:
        rows = np.flatnonzero(hidden.hump_at(bend, run.at_deg + key.touch_deg))
        found = run.touching("bend", rows, bend.height)
        along = sorted(found.teeth, key=lambda tooth: (tooth - bend.first) % blade.teeth)
        planted.append(found._replace(teeth=tuple(along)))

    def add(kind: str, size: float, off: Floats | None, where: Any = None) -> None:
        """Add a fault that shifts all readings by so much, or those there by its size."""
        shift = np.where(where, size, 0.0) if off is None else off
        parts[kind] = parts.get(kind, 0.0) + shift
        rows = None if where is None else np.flatnonzero(where)
        everywhere = Planted(kind, (), (), size)
        planted.append(everywhere if rows is None else run.touching(kind, rows, size))

    for gum in asked.of(Gum):
        blade.angle_of(gum.tooth)
        add("spike", asked.size(gum, "height"), None, run.tooth == gum.tooth)
    if band := asked.size(asked.one(Play), "band", least=0):
        add("play", band, lag(run, lambda at_deg: _total(heights(at_deg)), band))
    if drift := asked.size(asked.one(Drift), "per_turn"):
        add("drift", drift, drift * at / blade.teeth)
    for bump in asked.of(Bump) if first else ():
        size, after = asked.size(bump, "height"), count("Bump.after", bump.after, 1, len(at) - 1)
        add("step", size, None, at >= after)
    parts["noise"] = noise
    exact = _total(parts)
    written = _on_the_dial(exact, key.graduation)
    parts["rounding"] = written - exact
    slips: list[tuple[type[Any], Callable[..., Planted]]] = [
        (LostMinus, _lose_minus),
        (DecimalSlip, _slip_point),
        (Swapped, _swap),
        (UnitSlip, _change_unit),
    ]
    for kind, slip in slips if first else ():
        planted += [slip(written, run, one, key) for one in asked.of(kind)]
    return replace(key, planted=tuple(planted), parts=parts), written


def _total(parts: dict[str, Floats]) -> Floats:
    added: Floats = np.sum(list(parts.values()), axis=0)
    return added


def _standing(hidden: Hidden, seat: complex) -> list[Planted]:
    """Return the planted faults that touch every reading."""
    heights = {
        "dish": hidden.dish,
        "saddle": hidden.saddle,
        "flange": 2 * abs(hidden.flange),
        "seating": 2 * abs(seat),
    }
    return [Planted(kind, (), (), height) for kind, height in heights.items() if height]


def _lose_minus(shown: Floats, run: Course, slip: LostMinus, key: AnswerKey) -> Planted:
    """Write a reading without its minus."""
    row, tooth = run.row_of(slip.tooth, key.blade), slip.tooth
    if not shown[row] < 0:
        raise refuse(
            f"the reading of tooth {tooth} is {shown[row]:g}: it has no minus to lose",
            "name a tooth with a negative reading, or set dial_zero lower",
            value=tooth,
            column="LostMinus.tooth",
        )
    shown[row] = -shown[row]
    return Planted("sign", (tooth,), (row + 1,), None)


def _slip_point(shown: Floats, run: Course, slip: DecimalSlip, key: AnswerKey) -> Planted:
    """Write a reading with its decimal point in another place."""
    row, tooth = run.row_of(slip.tooth, key.blade), slip.tooth
    factor = number("DecimalSlip.factor", slip.factor)
    decade = math.log10(factor) if factor > 0 else 0.0
    if abs(decade - round(decade)) > 1e-9 or round(decade) == 0:
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


def _swap(shown: Floats, run: Course, slip: Swapped, key: AnswerKey) -> Planted:
    """Write two readings that follow each other in each other's place."""
    row, tooth = run.row_of(slip.tooth, key.blade), slip.tooth
    pair = np.array([row, row + 1])
    if row + 1 == len(shown) or run.turn[row] != run.turn[row + 1]:
        problem, cure = f"tooth {tooth} is the last of its turn", "name an earlier tooth"
    elif shown[row] == shown[row + 1]:
        problem = f"tooth {tooth} and the next read the same, {shown[row]:g}"
        cure = "name another tooth: to exchange them would change nothing"
    else:
        shown[pair] = shown[pair[::-1]]
        return run.touching("swapped", pair, None)
    raise refuse(problem, cure, value=tooth, column="Swapped.tooth")


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
