"""Findings in words: what seems to have happened, and the cure."""

from __future__ import annotations

from collections.abc import Callable

from bladegeom.lengths import MM_PER
from bladegeom.mistakes.trial import Candidate
from bladegeom.result import grain
from bladegeom.tables.counted import Counted


def _where(count: Counted, row: int) -> str:
    """Return the name of one reading: its tooth, and the turn where there are several."""
    tooth = f"tooth {min(int(count.label[row]), count.blade.teeth + 1)}"
    if row == len(count.label) - 1 and int(count.tooth[row]) == int(count.tooth[0]) and row:
        tooth += " again"
    return tooth + (f" in turn {count.turn[row]}" if count.turn.min() < count.turn.max() else "")


def _now(count: Counted, one: Candidate, row: int) -> str:
    value = count.reading if one.reading is None else one.reading
    return f"{grain(float(value[row]))} {count.unit}"


def _sign(count: Counted, one: Candidate) -> str:
    row = int(one.rows[0])
    lost = "a lost minus" if count.reading[row] > 0 else "a minus too many"
    return (
        f"{_where(count, row)} reads {grain(float(count.reading[row]))} and would fit as "
        f"{_now(count, one, row)}: {lost}?"
    )


def _scale(count: Counted, one: Candidate) -> str:
    row = int(one.rows[0])
    if len(one.rows) > 1:
        return _onward(count, one, "a slipped decimal point")
    return (
        f"{_where(count, row)} reads {grain(float(count.reading[row]))} and would fit as "
        f"{_now(count, one, row)}: a slipped decimal point?"
    )


def _unit(count: Counted, one: Candidate) -> str:
    others = [
        unit for unit in MM_PER if abs(MM_PER[unit] / MM_PER[count.unit] / one.size - 1) < 1e-9
    ]
    what = f"written in {others[0]}" if others else "inches and millimetres mixed"
    return _onward(count, one, what)


def _onward(count: Counted, one: Candidate, what: str) -> str:
    row = int(one.rows[0])
    return (
        f"from {_where(count, row)} on ({grain(float(count.reading[row]))}) the readings would fit "
        f"as {_now(count, one, row)} ...: {what}?"
    )


def _wrap(count: Counted, one: Candidate) -> str:
    rows = one.rows
    row, last = int(rows[0]), int(rows[-1])
    turn = f"one revolution of the dial ({grain(abs(one.size))} {count.unit})"
    if len(rows) == 1:
        which = f"{_where(count, row)} ({grain(float(count.reading[row]))}) would"
    elif len(rows) == last - row + 1:
        which = f"{_where(count, row)} to {_where(count, last)} would"
    else:
        which = f"teeth {_listed(count, one)} would"
    way = "too high" if one.size < 0 else "too low"
    return f"{which} fit if read {turn} {way}: did the hand pass zero?"


def _doubled(count: Counted, one: Candidate) -> str:
    return (
        f"a tooth seems to have been read twice {_place(count, one)}: from there on every number "
        "is one too high; the second reading is left out in the repair"
    )


def _skipped(count: Counted, one: Candidate) -> str:
    few = f"{len(count.label)} readings of {count.blade.teeth} teeth: " if count.off_by else ""
    return (
        f"{few}a tooth seems to have been passed over {_place(count, one)}: from there on every "
        "number is one too low"
    )


def _spike(count: Counted, one: Candidate) -> str:
    row = int(one.rows[0])
    side = "above" if one.size > 0 else "below"
    stands = (
        f"{_where(count, row)} ({grain(float(count.reading[row]))}) stands "
        f"{abs(one.size):.2g} {count.unit} {side} the curve: gum, or bent, or a slip of the pen? "
    )
    if one.kept is None:
        return f"{stands}Clean it before you read the blade again"
    return (
        f"{stands}Clean it and read it again: if it reads otherwise, write that in its place; if "
        "it reads the same, add it as a turn of its own. Until then the repair leaves this reading "
        "out"
    )


def _swapped(count: Counted, one: Candidate) -> str:
    first, second = (
        f"{_where(count, int(row))} ({grain(float(count.reading[row]))})" for row in one.rows
    )
    return f"{first} and {second} would fit the other way round: written in each other's place?"


def _mirrored(count: Counted, one: Candidate) -> str:
    turn = int(count.turn[one.rows[0]])
    return (
        f"turn {turn} would fit the others if its teeth were counted the other way round from "
        f"tooth {count.tooth[one.rows[0]]}: check which way the numbers run"
    )


def _step(count: Counted, one: Candidate) -> str:
    row = int(one.rows[0])
    way = "higher" if one.size > 0 else "lower"
    return (
        f"from {_where(count, row)} on the readings stand {abs(one.size):.2g} {count.unit} {way}: "
        f"was the base bumped{_between(count, one)}? Read the blade again"
    )


def label_at(count: Counted, row: int) -> int:
    """Return the tooth that was counted at a row, or would have been at the one after the last."""
    return int(count.label[row]) if row < len(count.label) else int(count.label[-1]) + 1


def _place(count: Counted, one: Candidate) -> str:
    first, last = (label_at(count, int(one.places[at])) for at in (0, -1))
    spread = f" (95 %: between {first} and {last})" if first != last else ""
    doubt = ""
    if one.near_deg is not None and first != last:
        doubt = (
            f", which leaves {one.near_deg[1] - one.near_deg[0]:.1f} deg of doubt in the direction"
        )
    best = int(one.rows[0]) if one.rows.size else len(count.label)
    return f"at tooth {label_at(count, best)}{spread}{doubt}"


def _between(count: Counted, one: Candidate) -> str:
    first, last = (int(count.tooth[one.places[at]]) for at in (0, -1))
    return f" (95 %: between {first} and {last})" if first != last else ""


def _listed(count: Counted, one: Candidate, most: int = 8) -> str:
    teeth = list(dict.fromkeys(count.tooth[one.rows].tolist()))
    more = f" and {len(teeth) - most} more" if len(teeth) > most else ""
    return ", ".join(str(tooth) for tooth in teeth[:most]) + more


SAID: dict[str, Callable[[Counted, Candidate], str]] = {
    "sign": _sign,
    "scale": _scale,
    "unit": _unit,
    "wrap": _wrap,
    "doubled": _doubled,
    "skipped": _skipped,
    "swapped": _swapped,
    "spike": _spike,
    "mirrored": _mirrored,
    "step": _step,
}
"""Kind of a mistake -> the finding in words."""
