"""A day's queue for people: few columns, one unit, numbers as they are printed, the worst first."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from bladegeom.lengths import convert
from bladegeom.result import decimals_for
from bladegeom.shop.again import Again
from bladegeom.shop.batch import REFUSED
from bladegeom.shop.limits import Limits
from bladegeom.shop.totals import URGENCY

Row = dict[str, Any]

SHOWN_IN = ("mm", "in", "thou")
"""Units that a queue can be shown in."""

AT_WILL = ("customer", "job", "seen by eye", "since before", "read by")
"""Columns that stand there where a blade of the day has something in them."""


_LEAST_DEG = 0.0001
"""No smaller angle is told: nobody can set it."""


class Number(NamedTuple):
    """A number with as many decimals as are printed."""

    value: float
    decimals: int

    def __str__(self) -> str:
        text = f"{self.value:.{self.decimals}f}"
        return text.lstrip("-") if float(text) == 0 else text


Cell = str | int | Number | None


def unit_for(limits: Limits, rows: Iterable[Row]) -> tuple[str, str]:
    """Return the unit in which a queue is shown where none is asked for, and why, if that is open.

    It is that of the limits, or else of the readings; the reason is empty where all are alike.
    """
    of_limits = [str(one.value[1]) for one in limits.limits if isinstance(one.value, tuple)]
    of_rows = [row["unit"] for row in rows if row.get("unit")]
    for units in (of_limits, of_rows):
        if len({*units}) == 1 and units[0] in SHOWN_IN:
            return units[0], ""
    known = [one for one in of_rows if one in SHOWN_IN] or ["mm"]
    unit = max(dict.fromkeys(known), key=known.count)
    mixed = sorted({*of_limits, *of_rows})
    why = f"the queue is in {unit}, as most blades were read: limits and readings are in "
    return unit, f"{why}{', '.join(mixed)} (--show-in chooses)"


def worst_first(rows: Iterable[Row]) -> list[Row]:
    """Sort by what is to be done, the most urgent first, and in that by how far over the limit."""

    def place(row: Row) -> tuple[int, float, str, str, str]:
        over = row.get("over_limit")
        who = (row["customer"] or "", row["blade"] or "", row["file"] or "")
        return URGENCY.index(row["action"]), math.inf if over is None else -over, *who

    return sorted(rows, key=place)


def for_people(rows: Sequence[Row], unit: str) -> list[dict[str, Cell]]:
    """Return the rows of a queue as people read it: header -> cell, the same in each row."""
    made = [_cells(row, unit) for row in rows]
    empty = {head for head in AT_WILL if all(one[head] in (None, "") for one in made)}
    return [{head: cell for head, cell in one.items() if head not in empty} for one in made]


def to_read_again(rows: Iterable[Row]) -> list[dict[str, Cell]]:
    """Return the list of what is to be read again, in the order of the rows."""
    return [
        {
            "customer": row["customer"],
            "blade": row["blade"],
            "job": row["job"],
            "action": row["action"],
            "teeth to read again": _teeth_again(row),
            "why": row["measure_again_why"],
            "file": row["file"],
        }
        for row in rows
        if row["measure_again_why"]
    ]


def _teeth_again(row: Row) -> str:
    if not (why := row["measure_again_why"]):
        return ""
    return Again((*row["measure_again"],), why, (*row["measure_again_first"],)).words


def _cells(row: Row, unit: str) -> dict[str, Cell]:
    """Return what people read of one blade."""
    known = row["action"] != REFUSED
    sound = known and row["over_limit"] is not None
    wobble = doubt = raw = limit = tilt = left = over = None
    if sound:

        def shown(length: float) -> float:
            return convert(length, row["unit"], unit)

        low, high = row["amplitude_low"], row["amplitude_high"]
        half = None if high is None else shown(high - (low or 0.0))
        decimals = decimals_for(half, shown(row["wobble_tir"]))
        wobble = Number(shown(row["wobble_tir"]), decimals)
        doubt = None if half is None else Number(half, decimals)
        raw = Number(shown(row["raw_tir"]), decimals)
        limit = _short(shown(row["over_limit_value"]))
        over = Number(100 * row["over_limit"], 0)
        if row["tilt_deg"] is not None:
            tilt = Number(row["tilt_deg"], 3)
        if row["neutral_teeth"] and row["left_most_deg"] is not None:
            most = max(row["left_most_deg"], _LEAST_DEG)
            left = Number(most, min(4, decimals_for(most)))
    marks = row["neutral_teeth"]
    read = f"{row['teeth_read']} of {row['teeth']}" if known else ""
    return {
        "customer": row["customer"],
        "blade": row["blade"],
        "job": row["job"],
        "action": row["action"],
        "why": row["why"],
        "over the limit, - under (%)": over,
        "limit on": (row["over_limit_on"] or "").replace("_tir", " TIR"),
        f"limit ({unit})": limit,
        f"wobble TIR ({unit})": wobble,
        f"wobble \u00b1 95 % ({unit})": doubt,
        f"raw TIR ({unit})": raw,
        "tilt (deg)": tilt,
        "teeth to mark": " and ".join(map(str, marks)) if marks else _unmarked(row),
        "off square once marked, at most (deg)": left,
        "teeth read": read,
        "read again": _teeth_again(row),
        "seen by eye": row["eye"],
        "since before": row["change_verdict"],
        "read by": row["operator"],
        "sheet": row["sheet"],
    }


def _unmarked(row: Row) -> str:
    return "any rotation" if row["any_rotation"] else ""


def _short(value: float) -> Number:
    """Return a limit with the decimals that it has, to four digits."""
    text = f"{float(f'{value:.4g}'):f}".rstrip("0")
    return Number(value, len(text.partition(".")[2]))
