"""Wide tables: one row a blade, a column a tooth, named by the tooth's number."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, NamedTuple

from bladegeom.columns import KNOWN_COLUMNS, READING_COLUMNS
from bladegeom.faults import Fault, RefusedError, also_in
from bladegeom.lengths import MM_PER, NumberError, parse_number, parse_whole
from bladegeom.tables.columns import doubled_lengths, unknown_columns
from bladegeom.tables.row_cells import no_number, turned_words
from bladegeom.tables.text import Sheet

_NUMBERED = re.compile(rf"(|.*[^0-9])([0-9]{{1,6}})(?:_({'|'.join(MM_PER)}))?")
_LEAST = 3
"""Fewer numbered columns are no table of teeth: ``note_1``, ``note_2``."""


class ToothColumn(NamedTuple):
    """A column of one tooth's readings; `unit` is "" where its name has none."""

    tooth: int
    place: int
    name: str
    unit: str


def tooth_columns(header: Sequence[str]) -> dict[str, list[ToothColumn]]:
    """Return the sets of numbered columns of a wide table, by what stands before the number.

    Empty for the long form, which has a column ``tooth`` or one of readings.
    """
    if "tooth" in header or "reading" in header or not READING_COLUMNS.keys().isdisjoint(header):
        return {}
    found: dict[str, list[ToothColumn]] = {}
    for place, column in enumerate(header):
        if column not in KNOWN_COLUMNS and (match := _NUMBERED.fullmatch(column)):
            one = ToothColumn(int(match[2]), place, column, match[3] or "")
            found.setdefault(match[1].rstrip("_"), []).append(one)
    return {prefix: columns for prefix, columns in found.items() if len(columns) >= _LEAST}


def check_wide(
    sheet: Sheet,
    sets: dict[str, list[ToothColumn]],
    units: Sequence[str],
    unit: str | None,
) -> tuple[list[ToothColumn], str]:
    """Return the columns of teeth 1 to N and the unit of their readings.

    Parameters
    ----------
    sheet : Sheet
    sets : dict
        As `tooth_columns` returns them.
    units : list of str
        From the row of units; empty where there is none.
    unit : str, optional
        As the user stated it.

    Raises
    ------
    RefusedError
        With everything that is wrong with the header.
    """
    if len(sets) > 1:
        named = " and ".join(f"{one[0].name} to {one[-1].name}" for one in sets.values())
        raise RefusedError(
            Fault(
                f"there are {len(sets)} sets of numbered columns: {named}",
                "keep the one with the readings; each column is named by the number of its tooth",
                row=sheet.header_row,
                value=named,
            )
        )
    (columns,) = sets.values()
    columns.sort()
    faults = _wrong_numbers(columns)
    taken = {one.place for one in columns}
    rest = ["" if place in taken else name for place, name in enumerate(sheet.header)]
    faults += unknown_columns(rest)
    faults += doubled_lengths(rest)
    if "order" in rest:
        faults.append(
            Fault(
                "a column order belongs to a table of one row a reading",
                "remove it; number the turns in a column turn",
                column="order",
                value="order",
            )
        )
    own, wrong = _one_unit(columns, units, unit)
    faults += wrong
    if faults:
        raise RefusedError(replace(fault, row=sheet.header_row) for fault in faults)
    if not sheet.rows:
        raise RefusedError(Fault("there is a header and no rows", "add one row a blade"))
    return columns, own


def _wrong_numbers(columns: list[ToothColumn]) -> list[Fault]:
    numbers = [one.tooth for one in columns]
    faults = [
        Fault(
            f"tooth {one.tooth} has two columns: {before.name} and {one.name}",
            "keep one column a tooth",
            column=one.name,
            value=one.name,
        )
        for before, one in pairwise(columns)
        if before.tooth == one.tooth
    ]
    if numbers[0] == 0:
        faults.append(
            Fault(
                f"column {columns[0].name}: teeth count from 1",
                "number the columns from 1",
                column=columns[0].name,
                value=columns[0].name,
            )
        )
    if missing := _gaps(numbers):
        shown = ", ".join(map(str, missing[:8])) + (", ..." if len(missing) > 8 else "")
        faults.append(
            Fault(
                f"between {columns[0].name} and {columns[-1].name} there is no column for tooth "
                f"{shown}",
                "give every tooth a column, left blank where it was not read",
                value=shown,
            )
        )
    return faults


def _gaps(numbers: list[int]) -> list[int]:
    """Return the first teeth without a column, a few of them; the last may be a slip of 999999."""
    missing: list[int] = []
    held = 0
    for number in numbers:
        missing += range(held + 1, min(number, held + 12))
        held = max(held, number)
    return missing


def _one_unit(
    columns: list[ToothColumn], units: Sequence[str], unit: str | None
) -> tuple[str, list[Fault]]:
    said: dict[str, str] = {} if unit is None else {unit: "the unit was given as"}
    bare = []
    for one in columns:
        below = units[one.place] if units else ""
        if one.unit:
            said.setdefault(one.unit, f"column {one.name} says")
        if below:
            said.setdefault(below, f"the row of units says under {one.name}")
        if not one.unit and not below:
            bare.append(one)
    if len(said) > 1 or "deg" in said:
        both = ", ".join(f"{where} {one}" for one, where in said.items())
        problem, cure = f"the readings have no one unit of length: {both}", "let them agree"
    elif not said:
        problem = f"the readings under {columns[0].name} to {columns[-1].name} have no unit"
        cure = (
            "state it with --unit (unit=...), in a row of units under the header, or in every "
            f"name, such as {columns[0].name}_mm; the units are {', '.join(MM_PER)}"
        )
    elif bare and unit is None:
        problem = f"column {bare[0].name} has no unit, others have {next(iter(said))}"
        cure = "give every column of readings its unit"
    else:
        return next(iter(said)), []
    first = (bare or columns)[0].name
    return "", [Fault(problem, cure, column=first, value=" and ".join(said) or first)]


def wide_readings(
    name: str,
    rows: list[tuple[int, list[str]]],
    place: Mapping[str, int],
    columns: Sequence[ToothColumn],
    mark: str,
    teeth: int | None,
) -> tuple[dict[str, Any], list[Fault]]:
    """Read the cells of one blade's rows, one row a turn.

    Parameters
    ----------
    name : str
        The blade's.
    rows : list of (int, list of str)
    place : dict
        Column -> place in the cells, for ``turn`` and ``turned``.
    columns : list of ToothColumn
        Teeth 1 to N.
    mark : {".", ","}
        Decimal mark.
    teeth : int or None
        How many the blade has; None where that is not stated.

    Returns
    -------
    keywords : dict
        ``reading``, and of `Readings` ``tooth``, ``rows`` and, where stated, ``turn``, ``turned``.
    faults : list of Fault
    """
    turns, faults = _turns(name, rows, place, mark)
    words: list[str] = []
    if "turned" in place:
        words, wrong = turned_words(name, rows, place["turned"])
        faults += wrong
    if teeth is not None and teeth > len(columns):
        faults.append(
            Fault(
                f"the blade has {teeth} teeth, but the columns end with {columns[-1].name}",
                "give every tooth a column, left blank where it was not read",
                name,
                rows[0][0],
                "teeth",
                str(teeth),
            )
        )
    readings: list[float] = []
    for row, cells in rows:
        for tooth, at, column, _ in columns:
            cell = cells[at]
            try:
                value = parse_number(cell, mark)
            except NumberError as error:
                faults.append(no_number(error, name, row, column, cell, mark))
                continue
            if teeth is None or tooth <= teeth:
                readings.append(math.nan if value is None else value)
            elif value is not None:
                faults.append(
                    Fault(
                        f"{column} holds {cell.strip()}, but the blade has {teeth} teeth",
                        "correct the number of teeth, or clear the cell",
                        name,
                        row,
                        column,
                        cell.strip(),
                    )
                )
    read = len(columns) if teeth is None else min(teeth, len(columns))
    keywords: dict[str, Any] = {
        "reading": readings,
        "tooth": [*range(1, read + 1)] * len(rows),
        "rows": [row for row, _ in rows for _ in range(read)],
    }
    if turns:
        keywords["turn"] = [turn for turn in turns for _ in range(read)]
    if words:
        keywords["turned"] = [word for word in words for _ in range(read)]
    return keywords, faults


def _turns(
    name: str, rows: list[tuple[int, list[str]]], place: Mapping[str, int], mark: str
) -> tuple[list[int], list[Fault]]:
    """Return the turn of each row; a blade has one row, or one for each turn."""
    if "turn" not in place:
        if len(rows) == 1:
            return [], []
        return [], [
            Fault(
                f"the blade has {len(rows)} rows{also_in([row for row, _ in rows[1:]])}",
                "keep one row a blade, or number its turns in a column turn",
                name,
                rows[0][0],
                "blade",
                name,
            )
        ]
    faults: list[Fault] = []
    turns: dict[int, int] = {}
    for row, cells in rows:
        cell = cells[place["turn"]]
        try:
            turn = parse_whole(cell, mark)
        except NumberError as error:
            error.cure = "write the turn as a whole number"
            faults.append(no_number(error, name, row, "turn", cell, mark))
            continue
        if turn is None:
            problem, cure = "turn is blank", "say which turn the row is of"
        elif turn in turns:
            problem = f"turn {turn} is in row {turns[turn]} already"
            cure = "keep one row a blade and turn"
        else:
            turns[turn] = row
            continue
        faults.append(Fault(problem, cure, name, row, "turn", cell.strip()))
    return [*turns], faults
