"""One table of readings whose header is understood, long or wide, and the blades in its rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from bladegeom.blade import Blade
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.readings import Readings
from bladegeom.tables.columns import (
    FACT_COLUMNS,
    doubled_lengths,
    ignored_columns,
    one_reading_column,
    unknown_columns,
)
from bladegeom.tables.facts import Fact, blade_of, need_teeth, reading_facts
from bladegeom.tables.row_cells import facts_of_column, numbers_of_row, turned_words
from bladegeom.tables.sheets import sheet_mark, take_units
from bladegeom.tables.text import Sheet
from bladegeom.tables.wide import ToothColumn, check_wide, tooth_columns, wide_readings


class Written(NamedTuple):
    """What was written down of one blade, before it is known to be whole.

    Attributes
    ----------
    blade : Blade
    keywords : dict
        Of `Readings`.
    """

    blade: Blade
    keywords: dict[str, Any]


class Table(NamedTuple):
    """A table whose header is understood.

    Attributes
    ----------
    sheet : Sheet
    column : str
        Of the readings; "" in a wide table.
    unit : str
        Of the readings.
    mark : {".", ","}
        Decimal mark.
    place : dict
        Column -> place in the cells; without the columns of teeth.
    teeth : list of ToothColumn
        Of a wide table, else empty.
    """

    sheet: Sheet
    column: str
    unit: str
    mark: str
    place: dict[str, int]
    teeth: list[ToothColumn]

    def ignored(self) -> list[str]:
        """Return the columns that are not used."""
        return [one for one in ignored_columns(self.place) if one != self.column]

    def groups(self, only: str) -> dict[str, list[tuple[int, list[str]]]]:
        """Return the rows of each blade; `only` names it in a table without a column ``blade``."""
        at = self.place.get("blade")
        groups: dict[str, list[tuple[int, list[str]]]] = {}
        for row, cells in self.sheet.rows:
            groups.setdefault(only if at is None else cells[at].strip(), []).append((row, cells))
        return groups

    def blade(
        self,
        name: str,
        rows: list[tuple[int, list[str]]],
        known: dict[str, Fact],
        faults: list[Fault],
        written: list[Written] | None = None,
    ) -> Readings:
        """Read one blade's rows, as `one_blade` does, of a table of either form.

        Raises
        ------
        RefusedError
        """
        if mixed := _several_mountings(name, rows, self.place):
            raise RefusedError([mixed])
        if not self.teeth:
            return one_blade(
                name, rows, self.place, self.column, self.unit, self.mark, known, faults, written
            )
        faults += _facts_of_rows(name, rows, self.place, self.mark, known)
        teeth = known["teeth"].value if "teeth" in known else None
        keywords, wrong = wide_readings(name, rows, self.place, self.teeth, self.mark, teeth)
        faults += wrong
        faults.sort(key=lambda fault: fault.row or 0)
        _need_teeth(name, rows[0][0], known, faults)
        if faults:
            raise RefusedError(faults)
        keywords["readings"] = (keywords.pop("reading"), self.unit)
        return _made(name, known, keywords, written)


def _several_mountings(
    name: str, rows: list[tuple[int, list[str]]], place: Mapping[str, int]
) -> Fault | None:
    """Return the fault of rows that are of several mountings, which have a wobble each."""
    if "mount" not in place:
        return None
    first = rows[0][1][place["mount"]].strip()
    for row, cells in rows:
        if (mount := cells[place["mount"]].strip()) != first:
            return Fault(
                f"mount is {mount!r} here and {first!r} in row {rows[0][0]}: each mounting has a "
                "wobble of its own",
                "use bladegeom clock for several mountings of a blade, or keep one of them",
                name,
                row,
                "mount",
                mount,
            )
    return None


def open_table(sheet: Sheet, name: str, unit: str | None, mark: str | None = None) -> Table:
    """Understand the header of the table called `name`; `unit` is what the user stated.

    Parameters
    ----------
    sheet : Sheet
    name : str
    unit : str or None
    mark : {".", ","}, optional
        Decimal mark; told from the cells if not given.

    Raises
    ------
    RefusedError
        With everything that is wrong with the header, or if its decimal mark cannot be told.
    """
    sheet, units = take_units(sheet)
    place = {one: sheet.header.index(one) for one in sheet.header if one}
    if not (sets := tooth_columns(sheet.header)):
        column, own = check_header(sheet, name, unit)
        return Table(sheet, column, own, mark or sheet_mark(sheet, readings=column), place, [])
    teeth, own = check_wide(sheet, sets, units, unit)
    taken = {one.place for one in teeth}
    place = {one: at for one, at in place.items() if at not in taken}
    return Table(sheet, "", own, mark or sheet_mark(sheet, places=taken), place, teeth)


def check_header(sheet: Sheet, name: str, unit: str | None) -> tuple[str, str]:
    """Return the column of the readings and their unit.

    Raises
    ------
    RefusedError
        With everything that is wrong with the header of the table called `name`.
    """
    faults = [
        fault
        for fault in unknown_columns(sheet.header)
        if not (fault.column == "reading" and unit is not None)
    ]
    faults += doubled_lengths(sheet.header)
    column = own_unit = ""
    try:
        column, own_unit = one_reading_column(sheet.header, unit)
    except RefusedError as error:
        if not any(fault.kind == "reading" for fault in faults):
            faults += error.faults
    if "tooth" not in sheet.header and not any(fault.kind == "tooth" for fault in faults):
        faults.append(
            Fault("there is no column tooth", "add it: the tooth that each reading is of")
        )
    if faults:
        raise RefusedError(replace(fault, row=sheet.header_row) for fault in faults)
    if not sheet.rows:
        raise refuse("it has a header and no rows", "add one row a reading", file=name)
    return column, own_unit


def one_blade(
    name: str,
    rows: list[tuple[int, list[str]]],
    place: Mapping[str, int],
    column: str,
    unit: str,
    mark: str,
    known: dict[str, Fact],
    faults: list[Fault],
    written: list[Written] | None = None,
) -> Readings:
    """Read one blade's rows of cells.

    Parameters
    ----------
    name : str
        The blade's.
    rows : list of (int, list of str)
    place : dict
        Column -> place in the cells.
    column, unit : str
        Of the readings, as `check_header` returns them.
    mark : {".", ","}
        Decimal mark.
    known : dict
        Facts stated elsewhere; those of the rows are added.
    faults : list of Fault
        Found elsewhere; those of the rows are added.
    written : list of Written, optional
        What was written is added to it, also where the readings are refused.

    Raises
    ------
    RefusedError
    """
    numbers: dict[str, list[float]] = {
        one: [] for one in (column, "tooth", "turn", "order") if one in place
    }
    for row, cells in rows:
        fault_of_row, values = numbers_of_row(name, row, cells, place, column, mark, [*numbers])
        faults += fault_of_row
        for one, value in values.items():
            numbers[one].append(value)
    turned: list[str] = []
    if "turned" in place:
        turned, wrong = turned_words(name, rows, place["turned"])
        faults += wrong
    faults += _facts_of_rows(name, rows, place, mark, known)
    faults.sort(key=lambda fault: fault.row or 0)
    _need_teeth(name, rows[0][0], known, faults)
    if faults:
        raise RefusedError(faults)
    keywords: dict[str, Any] = {one: numbers[one] for one in numbers if one != column}
    keywords["readings"] = (numbers[column], unit)
    keywords["turned"] = turned or None
    keywords["rows"] = [row for row, _ in rows]
    return _made(name, known, keywords, written)


def _facts_of_rows(
    name: str,
    rows: list[tuple[int, list[str]]],
    place: Mapping[str, int],
    mark: str,
    known: dict[str, Fact],
) -> list[Fault]:
    """Add what the rows state to `known`; return what is wrong with it, or lacking."""
    faults: list[Fault] = []
    for one in place:
        if one in FACT_COLUMNS:
            faults += facts_of_column(name, one, rows, place[one], mark, known)
    return faults


def _need_teeth(name: str, row: int, known: Mapping[str, Fact], faults: list[Fault]) -> None:
    if not any(fault.column in ("teeth", "blade") for fault in faults):
        try:
            need_teeth(known, name, row)
        except RefusedError as error:
            faults += error.faults


def _made(
    name: str, known: dict[str, Fact], keywords: dict[str, Any], written: list[Written] | None
) -> Readings:
    keywords |= reading_facts(known)
    try:
        blade = blade_of(known, name)
        if written is not None:
            written.append(Written(blade, keywords))
        return Readings(blade, **keywords)
    except RefusedError as error:
        raise RefusedError(
            replace(fault, row=known[fault.column].row)
            if fault.row is None and fault.column in known
            else fault
            for fault in error.faults
        ) from None
