"""In what order a blade was read: turns, repeats and the closing reading."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bladegeom.faults import Fault, RefusedError

Whole = NDArray[np.int64]


def in_sequence(
    tooth: Whole,
    reading: NDArray[np.float64],
    turn: Whole | None,
    order: Whole | None,
    *,
    blade: str,
    teeth: int,
    rows: Sequence[int] | None,
) -> tuple[Whole, Whole, NDArray[np.bool_], tuple[str, ...]]:
    """Put readings in order, number the turns, and find the closing reading of each turn.

    Within a turn only the tooth that was read first may be read again, once, as the last: that is
    the closing reading. Where `order` is given without `turn`, a tooth's second reading belongs
    to the second turn, and so on. Any other repeat with a different reading is a fault.

    Returns
    -------
    place : ndarray, shape (m,)
        Places in the rows as given; rows not read, and exact repeats, are left out.
    turn : ndarray, shape (m,)
    closing : ndarray of bool, shape (m,)
    notes : tuple of str

    Raises
    ------
    RefusedError
    """
    faults: list[Fault] = []
    notes: list[str] = []

    def where(at: int) -> str:
        return f"row {rows[at]}" if rows is not None else f"reading {at + 1}"

    def fault(at: int, column: str, value: object, problem: str, cure: str) -> None:
        row = None if rows is None else rows[at]
        text = problem if rows is not None else f"{problem} ({where(at)})"
        faults.append(Fault(text, cure, blade or None, row, column, str(value)))

    for at in np.flatnonzero((tooth < 1) | (tooth > teeth)):
        counted_on = tooth[at] in (teeth + 1, teeth + 2)  # The last of them the closing reading.
        fault(
            int(at),
            "tooth",
            tooth[at],
            f"tooth {tooth[at]} on a {teeth}-tooth blade",
            f"teeth count from 1 to {teeth}: check tooth and teeth"
            + ("; if one was read twice: bladegeom check FILE.csv" if counted_on else ""),
        )
    if faults:
        raise RefusedError(faults)

    read = np.flatnonzero(~np.isnan(reading))
    groups = np.ones(len(tooth), dtype=np.int64) if turn is None else turn
    index: list[int] = []
    turns: list[int] = []
    closings: list[bool] = []
    for group in np.unique(groups[read]):
        members = read[groups[read] == group]
        if order is not None:
            members = members[np.argsort(order[members], kind="stable")]
            for before, after in pairwise(members):
                if order[before] == order[after]:
                    fault(
                        int(after),
                        "order",
                        order[after],
                        f"order {order[after]} is given twice ({where(int(before))} has it too)",
                        "number the readings in the order in which they were taken",
                    )
        seen: dict[int, list[int]] = {}
        for position, at in enumerate(members.tolist()):
            earlier = seen.setdefault(int(tooth[at]), [])
            last = position == len(members) - 1
            closes = last and earlier == [int(members[0])]
            if earlier and not closes and (order is None or turn is not None):
                if reading[at] == reading[earlier[-1]]:
                    notes.append(
                        f"{where(at)} repeats {where(earlier[-1])} (tooth {tooth[at]}, the same "
                        "reading): counted once"
                    )
                else:
                    fault(
                        at,
                        "tooth",
                        tooth[at],
                        f"tooth {tooth[at]} reads {reading[at]:g} here and "
                        f"{reading[earlier[-1]]:g} in {where(earlier[-1])}",
                        "correct one of them, or number the turns in a turn column",
                    )
                continue
            index.append(at)
            closings.append(closes)
            turns.append(int(group) if turn is not None else 1 + (0 if closes else len(earlier)))
            earlier.append(at)
    if faults:
        raise RefusedError(faults)
    return (
        np.asarray(index, dtype=np.int64),
        np.asarray(turns, dtype=np.int64),
        np.asarray(closings, dtype=np.bool_),
        tuple(notes),
    )
