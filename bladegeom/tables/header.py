"""What a header says, and should have said: columns, teeth of a wide table, unit of readings."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

from bladegeom.columns import EYE, FACT_COLUMNS, KNOWN_COLUMNS, READING_COLUMNS, resembled
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.lengths import MM_PER
from bladegeom.tables.text import Sheet

_NUMBERED = re.compile(rf"(|.*[^0-9])([0-9]{{1,6}})(_again)?(?:_({'|'.join(MM_PER)}))?")
_LEAST = 3
"""Fewer numbered columns are no table of teeth: ``note_1``, ``note_2``."""

_OF_THE_EYE = frozenset(
    {"eye", "eyes", "eey", "yee", "visual", "visuals", "visually", "crack", "cracks", "cracked"}
)
_FOUND = frozenset(
    {
        *("seen", "found", "finding", "findings", "inspection", "inspected"),
        *("damage", "damaged", "defect", "defects", "fault", "faults"),
    }
)
"""A column means `EYE` with one of the former words in its name; in a table of facts, also where
one of the latter is its name."""


def unknown_columns(
    header: Sequence[str], row: int | None = 1, *, own: Collection[str] = ()
) -> list[Fault]:
    """Name the columns that look like a known one misspelt, lack a unit, or come twice.

    A column that resembles nothing known is nobody's mistake: notes, dates, an operator. Columns
    that only this kind of table has are its `own`; so what the eye found is lost in any other.
    """
    of_facts, faults = EYE in own, []
    for place, column in enumerate(header):
        kind = ""
        if not column:
            continue
        beginning = [one for one in own if column[:4] == one[:4]]
        if column in header[:place]:
            problem, cure = f"column {column} is there twice", "keep one of them"
            kind = "reading" if column in READING_COLUMNS else column
        elif column in KNOWN_COLUMNS or column in own:
            continue
        elif not _OF_THE_EYE.isdisjoint(column.split("_")) or (of_facts and column in _FOUND):
            problem = f"column {column} is not known"
            cure = f"did you mean {EYE}, for what the eye found? rename it, or remove it"
            if not of_facts:
                problem = f"column {column} (what the eye found) is not read here"
                cure = f"put it into the table of facts, one row a blade, as column {EYE}"
        elif beginning:
            problem = f"column {column} is not known"
            cure = f"did you mean {' or '.join(beginning)}? rename it, or remove it"
        elif stem := _length_without_unit(column):
            names = _any_of(f"{stem}_{unit}" for unit in MM_PER)
            problem, cure = f"column {column} has no known unit", f"name it {names}"
            kind = stem
        elif near := resembled(column, KNOWN_COLUMNS):
            problem = f"column {column} is not known"
            cure = f"did you mean {near}? rename it, or remove it"
            kind = "reading" if near in READING_COLUMNS else near
        else:
            continue
        faults.append(Fault(problem, cure, row=row, column=column, value=column, kind=kind))
    return faults


def doubled_lengths(header: Sequence[str]) -> list[Fault]:
    """Name the lengths that are given twice, in two units."""
    found: dict[str, list[str]] = {}
    for one in dict.fromkeys(header):
        if one in FACT_COLUMNS:
            found.setdefault(FACT_COLUMNS[one][0].name, []).append(one)
    twice = {fact: columns for fact, columns in found.items() if len(columns) > 1}
    return [
        Fault(f"{fact} is given twice: {both}", "keep one", column=columns[1], value=both)
        for fact, columns in twice.items()
        for both in [" and ".join(columns)]
    ]


def _length_without_unit(column: str) -> str | None:
    for stem in dict.fromkeys(one.name for one, unit in KNOWN_COLUMNS.values() if unit):
        if column == stem or column.startswith(f"{stem}_"):
            return stem
    return None


def _any_of(names: Iterable[str]) -> str:
    *most, last = names
    return f"{', '.join(most)} or {last}"


class ToothColumn(NamedTuple):
    """A column of one tooth's readings; `unit` is "" where its name has none.

    Of tooth 1 there may be another, `again` at the end of the turn: the closing reading.
    """

    again: bool
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
            again = bool(match[3]) and int(match[2]) == 1
            if match[3] and not again:
                continue
            one = ToothColumn(again, int(match[2]), place, column, match[4] or "")
            found.setdefault(match[1].rstrip("_"), []).append(one)
    return {prefix: columns for prefix, columns in found.items() if len(columns) >= _LEAST}


def teeth_of(sheet: Sheet) -> list[ToothColumn]:
    """Return the columns of a wide table's teeth, in their order; empty for the long form.

    Raises
    ------
    RefusedError
        If there are several sets of numbered columns.
    """
    sets = tooth_columns(sheet.header)
    if len(sets) > 1:
        named = " and ".join(f"{one[0].name} to {one[-1].name}" for one in sets.values())
        problem = f"there are {len(sets)} sets of numbered columns: {named}"
        cure = "keep the one with the readings; each column is named by the number of its tooth"
        raise RefusedError(Fault(problem, cure, row=sheet.header_row, value=named))
    return sorted(columns) if (columns := next(iter(sets.values()), None)) else []


def check_header(
    sheet: Sheet,
    name: str,
    unit: str | None,
    *,
    own: Collection[str] = (),
    teeth: Sequence[ToothColumn] = (),
    units: Sequence[str] = (),
) -> tuple[str, str]:
    """Return the column of the readings, "" in a wide table, and their unit.

    `name` is that of the table, `unit` as the user stated it, `own` as for `unknown_columns`,
    `teeth` those of a wide table, and `units` are from the row of units.

    Raises
    ------
    RefusedError
        With everything that is wrong with the header.
    """
    taken = {one.place for one in teeth}
    rest = ["" if place in taken else column for place, column in enumerate(sheet.header)]
    faults = _wrong_numbers(teeth) if teeth else []
    for fault in unknown_columns(rest, own=own):
        if teeth or unit is None or fault.column != "reading":
            faults.append(fault)
    faults += doubled_lengths(rest)
    column = said = ""
    if teeth:
        if "order" in rest:
            problem = "a column order belongs to a table of one row a reading"
            cure = "remove it; number the turns in a column turn"
            faults.append(Fault(problem, cure, column="order", value="order"))
        said, wrong = _one_unit(teeth, units, unit)
        faults += wrong
    else:
        try:
            column, said = _one_reading_column(rest, unit)
        except RefusedError as error:
            if not any(fault.kind == "reading" for fault in faults):
                faults += error.faults
        if "tooth" not in rest and not any(fault.kind == "tooth" for fault in faults):
            cure = "add it: the tooth that each reading is of"
            faults.append(Fault("there is no column tooth", cure))
    if faults:
        raise RefusedError(replace(fault, row=sheet.header_row) for fault in faults)
    if not sheet.rows:
        if teeth:
            raise RefusedError(Fault("there is a header and no rows", "add one row a blade"))
        raise refuse("it has a header and no rows", "add one row a reading", file=name)
    return column, said


def _one_reading_column(header: Sequence[str], unit: str | None) -> tuple[str, str]:
    """Return the column of the readings and its unit; `unit` is what the user stated, if at all."""
    names = _any_of(READING_COLUMNS)
    found = [one for one in header if one in READING_COLUMNS]
    found += ["reading"] if "reading" in header else []
    if not found:
        value = ", ".join(filter(None, header))[:80]
        problem = f"there is no column of readings, only {value or 'blanks'}"
        cure = f"name it {names}, and put commas, semicolons or tabs between the cells"
        raise RefusedError(Fault(problem, cure, value=value))
    column = found[-1]
    if len(found) > 1:
        value = " and ".join(found)
        problem, cure = f"the readings are there twice: {value}", "keep one of them, in one unit"
    elif (own := READING_COLUMNS.get(column, unit)) is None:
        value, problem, cure = "reading", "column reading has no unit", f"name it {names}"
    elif unit not in (None, own):
        value, cure = str(unit), "let them agree"
        problem = f"the column is {column}, the unit was given as {unit}"
    else:
        return column, own
    raise RefusedError(Fault(problem, cure, column=column, value=value))


def _wrong_numbers(columns: Sequence[ToothColumn]) -> list[Fault]:
    first, last = columns[0], max(columns, key=lambda one: one.tooth)
    cure = "keep one column a tooth"
    found = [
        (one, f"tooth {one.tooth} has two columns: {before.name} and {one.name}", cure)
        for before, one in pairwise(columns)
        if before[:2] == one[:2]
    ]
    if first.tooth == 0:
        problem = f"column {first.name}: teeth count from 1"
        found.append((first, problem, "number the columns from 1"))
    faults = [Fault(said, cure, column=one.name, value=one.name) for one, said, cure in found]
    if missing := _gaps([one.tooth for one in columns]):
        shown = ", ".join(map(str, missing[:8])) + (", ..." if len(missing) > 8 else "")
        problem = f"between {first.name} and {last.name} there is no column for tooth {shown}"
        cure = "give every tooth a column, left blank where it was not read"
        faults.append(Fault(problem, cure, value=shown))
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
    columns: Sequence[ToothColumn], units: Sequence[str], unit: str | None
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
