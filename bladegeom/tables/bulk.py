"""A plain table of many blades as one tidy frame, without a text for every cell.

What is plain is read by arrays. The rows of a blade that is not are read cell by cell, as in
`bladegeom.tables.read`, and so is the whole of a table that is not. Either way the frame is
the same.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from bladegeom.columns import FACT_COLUMNS, KNOWN_COLUMNS
from bladegeom.faults import Fault, RefusedError
from bladegeom.readings import Readings
from bladegeom.tables.blade_facts import read_blade_facts
from bladegeom.tables.blades import (
    Batch,
    Beside,
    answered,
    faults_beside,
    leave_unread,
    notes_of,
    wrong_name,
)
from bladegeom.tables.bulk_frame import frame_of
from bladegeom.tables.bulk_kinds import kinds_of
from bladegeom.tables.bulk_rows import Rows, check_sequence, rows_of
from bladegeom.tables.facts import Fact
from bladegeom.tables.scan import NotPlainError, scan
from bladegeom.tables.sheets import plainly_points
from bladegeom.tables.table import Part, Table, open_table
from bladegeom.tables.text import Sheet, decode, split

if TYPE_CHECKING:
    import pandas as pd

_HEAD = 1 << 16
"""So much of a table tells its decimal mark."""


class Tidy(NamedTuple):
    """What a table held.

    Attributes
    ----------
    frame : pandas.DataFrame or None
        See `bladegeom.read_table`; None where no blade can be answered.
    refused : list of Fault
    notes : list of str
    remarks : dict
        What was done with a blade's readings that no frame shows, by the blade's name.
    """

    frame: pd.DataFrame | None
    refused: list[Fault]
    notes: list[str]
    remarks: dict[str, tuple[str, ...]]


def bulk_table(
    data: bytes,
    name: str,
    stated: dict[str, Fact],
    blades: str | os.PathLike[str] | None,
    unit: str | None,
    progress: Callable[[int, int], None] | None = None,
) -> Tidy | None:
    """Read the bytes of the table called `name`; None where it has to be read cell by cell.

    Parameters
    ----------
    data : bytes
    name : str
    stated : dict
        Facts from options.
    blades : path or None
        A second table, with one row of facts a blade.
    unit : str or None
        As the user stated it.
    progress : callable, optional
        Told how many of the blades that are not plain are read.

    Returns
    -------
    Tidy or None
    """
    notes: list[str] = []
    try:
        opened = _opened(data, name, unit, notes)
        second = None if blades is None else read_blade_facts(blades, notes=notes)
        return _read(opened, Beside(stated, second), notes, progress)
    except (NotPlainError, RefusedError):
        return None  # Reading cell by cell refuses it too, and says why.


class _Opened(NamedTuple):
    """A table whose header is understood: its body begins at `begin`, with row `row`."""

    data: bytes
    table: Table
    begin: int
    row: int


def _opened(data: bytes, name: str, unit: str | None, notes: list[str]) -> _Opened:
    text = decode(data, name, notes)
    if "\r" in text:
        text = text.replace("\r\n", "\n")
    head = split(text[: text.find("\n") + 1], name, KNOWN_COLUMNS)
    if (
        '"' in text
        or "\r" in text
        or "blade" not in head.header
        or "mount" in head.header
        or not all(head.header)
        or (head.separator != "," and "," in text)
    ):
        raise NotPlainError
    plain = text.encode()
    if not plain.endswith(b"\n"):
        plain += b"\n"
    begin = plain.index(b"\n") + 1
    first: list[tuple[int, list[str]]] = []
    ends = [begin]
    row = 2
    while len(first) < 2 and ends[-1] < len(plain):  # A row of units, and one of readings.
        end = plain.index(b"\n", ends[-1]) + 1
        cells = plain[ends[-1] : end - 1].decode().split(head.separator)
        if any(cell.strip() for cell in cells):
            if len(cells) != len(head.header):
                raise NotPlainError
            first.append((row, cells))
        ends.append(end)
        row += 1
    table = open_table(head._replace(rows=first), name, unit, ".")
    if len(table.sheet.rows) < len(first):
        row = first[0][0] + 1
        begin = ends[row - 2]
    else:
        row = 2
    places = [one.place for one in table.teeth]
    if head.separator != "," and "." in text:
        lines = plain[begin : begin + _HEAD].decode(errors="replace").split("\n")[:-1]
        some = [(0, line.split(head.separator)) for line in lines]
        fit = [(at, cells) for at, cells in some if len(cells) == len(head.header)]
        if not plainly_points(Sheet(table.sheet.header, fit, "", 1), table.column, places):
            raise NotPlainError
    return _Opened(plain, table, begin, row)


def _read(
    opened: _Opened, beside: Beside, notes: list[str], progress: Callable[[int, int], None] | None
) -> Tidy:
    table, place = opened.table, opened.table.place
    sheet = table.sheet
    named = [one for one in (table.column, "tooth", "turn", "order") if one in place]
    numbers = [*(one.place for one in table.teeth), *(place[one] for one in named)]
    facts = [one for one in place if one in FACT_COLUMNS or one == "turned"]
    words = [place[one] for one in ("blade", *facts)]
    found = scan(
        opened.data,
        opened.begin,
        opened.row,
        sheet.separator,
        len(sheet.header),
        numbers,
        words,
    )
    rows = rows_of(found, opened.data, sheet.separator, [one.tooth for one in table.teeth], named)
    spoilt = found.spoilt
    if 2 * len(spoilt) > len(rows.start) + len(spoilt):
        raise NotPlainError
    faulty: dict[str, list[Fault]] = {}
    if spoilt:
        at = rows.row.argsort()
        names = [rows.names[group] for group in rows.group[at].tolist()]
        faulty = faults_beside(spoilt, table, rows.row[at].tolist(), names)
    plain = np.array(
        [who not in faulty and wrong_name(who, [0]) is None for who in rows.names], dtype=np.bool_
    )
    groups = {*rows.names, *faulty}
    alone = len(groups) == 1
    kinds = kinds_of(facts, rows, beside, table.unit, plain, most=len(table.teeth), alone=alone)
    read = check_sequence(rows, kinds.teeth, plain)
    batch = Batch([], [], [])
    others: dict[int, Readings] = {}
    apart = np.flatnonzero(~plain).tolist()
    for done, blade in enumerate(apart):
        if progress is not None:
            progress(done, len(apart))
        who = rows.names[blade]
        cells = _cells(opened.data, sheet.separator, rows, blade)
        others_of, refused = faulty.pop(who, []), batch.refused
        made = answered(table, who, cells, beside, others_of, alone, Part.readings, refused)
        if made is not None:
            batch.readings.append(made)
            others[blade] = made
    unread = leave_unread(batch)
    others = {blade: one for blade, one in others.items() if len(one.reading)}
    for faults in faulty.values():
        batch.refused.extend(faults)
    batch.refused.extend(unread)
    frame = None
    if batch.readings or plain.any():
        frame = frame_of(rows, read, kinds, plain, others, table.unit)
        frame.attrs["refused"] = batch.refused
    notes.extend(notes_of(table, beside.second, groups))
    return Tidy(frame, batch.refused, notes, remarks_of(batch.readings))


def remarks_of(readings: Iterable[Readings]) -> dict[str, tuple[str, ...]]:
    """Return what was done with readings that no frame shows, by the blade's name."""
    return {one.blade.name: one.notes for one in readings if one.notes}


def _cells(data: bytes, separator: str, rows: Rows, blade: int) -> list[tuple[int, list[str]]]:
    """Return the rows of one blade cell by cell."""
    first, last = np.searchsorted(rows.group, [blade, blade + 1])
    cells = []
    for begin, row in zip(
        rows.start[first:last].tolist(), rows.row[first:last].tolist(), strict=True
    ):
        line = data[begin : data.index(b"\n", begin)].decode()
        cells.append((row, line.split(separator)))
    return cells
