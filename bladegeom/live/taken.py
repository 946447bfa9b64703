"""The readings of one blade while they are taken, and the file that grows with them.

The file is a form that is being filled in: a row a reading in the order in which they were taken,
``?`` where a tooth was not read, and a row without a reading for each tooth that is still to come.
Until there is none of these it says that it is not finished. It is written anew, whole, after every
reading.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

from bladegeom.blade import Blade
from bladegeom.columns import FACT_COLUMNS, NOT_FINISHED
from bladegeom.faults import Fault, RefusedError, as_letters, refuse
from bladegeom.lengths import parse_number, parse_whole
from bladegeom.readings import Readings
from bladegeom.tables.blades import read_each
from bladegeom.tables.facts import check_unit
from bladegeom.tables.out import cell_text, check_new, stated_columns, table_text, whole_file
from bladegeom.tables.sheets import is_workbook, open_sheet
from bladegeom.tables.table import Part, Table, open_table
from bladegeom.tables.text import read_bytes

Rows = tuple[tuple[int, float | None], ...]
"""Tooth and reading, None where it was not read, in the order in which they were taken."""

_OTHER_FILE = "name another file, and a new one is begun"
_FINISHED = "finished"
_NOT_KEPT = ("readings", "tooth", "turn", "order", "turned", "rows", _FINISHED)


class Taken(NamedTuple):
    """What is taken of one blade so far.

    Attributes
    ----------
    blade : Blade
    unit : {"mm", "in", "thou", "um"}
        Of the readings.
    facts : dict
        Of the readings, as `Readings` takes them.
    constant : dict
        Column -> what stands in it in every row of the file.
    rows : tuple of (int, float or None)
    """

    blade: Blade
    unit: str
    facts: Mapping[str, Any]
    constant: Mapping[str, str]
    rows: Rows = ()

    @property
    def first(self) -> int | None:
        """The tooth that was read first, which closes the turn; None while none is read."""
        return next((tooth for tooth, value in self.rows if value is not None), None)

    @property
    def closed(self) -> bool:
        """Whether the first tooth was taken again at the end, be it as not read."""
        return len(self.rows) > 1 and self.rows[-1][0] in [tooth for tooth, _ in self.rows[:-1]]

    @property
    def asked(self) -> dict[int, float | None]:
        """What is known of each tooth that was asked for: a reading, or None for not read."""
        return dict(self.rows[:-1] if self.closed else self.rows)

    @property
    def whole(self) -> bool:
        """Whether every tooth was asked for."""
        return len(self.asked) == self.blade.teeth

    def reading(self, tooth: int, value: float | None) -> Taken:
        """Return the same with a tooth taken; what was known of it before, and a closing, go."""
        kept = self.rows[:-1] if self.closed else self.rows
        kept = tuple(row for row in kept if row[0] != tooth)
        return self._replace(rows=(*kept, (tooth, value)))

    def closing(self, value: float | None) -> Taken:
        """Return the same closed by the first tooth taken again."""
        assert self.first is not None  # Else there is nothing to close.
        kept = self.rows[:-1] if self.closed else self.rows
        return self._replace(rows=(*kept, (self.first, value)))

    def readings(self) -> Readings:
        """Return the readings so far."""
        values = [value for _, value in self.rows]
        tooth = [tooth for tooth, _ in self.rows]
        return Readings(self.blade, values, unit=self.unit, tooth=tooth, **self.facts)

    def text(self) -> str:
        """Return the file."""
        about = {**self.constant, **({} if self.whole else {_FINISHED: NOT_FINISHED})}
        named = [("blade", about.pop("blade"))] if "blade" in about else []
        cells = [(tooth, "?" if one is None else cell_text(one)) for tooth, one in self.rows]
        asked = self.asked
        cells += [(one, "") for one in range(1, self.blade.teeth + 1) if one not in asked]
        first = [name for _, name in named]
        rows = [[*first, str(tooth), cell, *about.values()] for tooth, cell in cells]
        head = [*(column for column, _ in named), "tooth", f"reading_{self.unit}", *about]
        return table_text([head, *rows])

    def save(self, path: Path) -> None:
        """Write the file, in place of what it was before."""
        with whole_file(path) as file:
            file.write(self.text().encode())


def begun(path: Path, unit: str, name: str, facts: Mapping[str, Any]) -> Taken:
    """Return what is taken of a blade of which nothing is read yet.

    Parameters
    ----------
    path : Path
        Of the file that is to come.
    unit : {"mm", "in", "thou", "um"}
    name : str
        The blade's; may be empty.
    facts : dict
        As for `read_blade`; ``teeth`` among them.

    Raises
    ------
    RefusedError
        If a fact cannot be true.
    """
    check_unit(unit)
    constant = {"blade": name} if name else {}
    constant |= stated_columns({fact: one for fact, one in facts.items() if one is not None})
    form = Taken(Blade(facts["teeth"]), unit, {}, constant)
    try:
        return taken_from(form.text().encode(), path)
    except RefusedError as error:  # There is no such file yet.
        faults = [replace(fault, file=None, blade=None, row=None) for fault in error.faults]
        raise RefusedError(faults) from None


def found(path: Path, unit: str | None, name: str, facts: Mapping[str, Any]) -> Taken | None:
    """Return what the file holds, if there is one; the rest as for `begun`, and must agree.

    Raises
    ------
    RefusedError
        If the file cannot be gone on with, or none can be written there.
    """
    shown = as_letters(path)
    if path.suffix.lower() != ".csv":
        problem = f"the readings go into a CSV file, and {shown} is none by its name"
        raise refuse(problem, "name it like blade.csv", value=shown)
    if not path.exists():
        check_new(path)
    for place in (path.parent, path):
        if place.exists() and not os.access(place, os.W_OK):
            problem = f"{as_letters(place)} cannot be written"
            raise refuse(problem, "choose another file or folder", value=shown)
    if not path.exists():
        return None
    data = read_bytes(path)
    if not data.strip():
        return None
    return taken_from(data, path, unit, name, facts)


def taken_from(
    data: bytes,
    path: Path,
    unit: str | None = None,
    name: str = "",
    facts: Mapping[str, Any] | None = None,
) -> Taken:
    """Return what the bytes of a file hold; see `found`."""
    stated = {fact: one for fact, one in (facts or {}).items() if one is not None}
    file = as_letters(path)
    try:
        if is_workbook(data):
            raise refuse("it is a spreadsheet file, not text", _OTHER_FILE)
        made, refused, _ = read_each(data, file, Part.written, unit=unit, **stated)
        if refused:
            raise RefusedError(refused)
        if len(made) != 1:
            raise refuse(f"it holds {len(made)} blades", _OTHER_FILE, value=len(made))
        (written,) = made.values()
        written.readings()
        table = open_table(open_sheet(data, file), file, unit)
        constant = _constant(table)
        if name and constant.setdefault("blade", name) != name:
            problem = f"it is of blade {constant['blade']}, not of {name}"
            raise refuse(problem, _OTHER_FILE, value=name, column="blade")
    except RefusedError as error:
        raise RefusedError(fault.within(file) for fault in error.faults) from None
    known = {FACT_COLUMNS[column][0].name for column in constant if column in FACT_COLUMNS}
    constant |= stated_columns({fact: one for fact, one in stated.items() if fact not in known})
    constant.pop(_FINISHED, None)
    about = {fact: one for fact, one in written.keywords.items() if fact not in _NOT_KEPT}
    return Taken(written.blade, table.unit, about, constant, _rows(table))


def _constant(table: Table) -> dict[str, str]:
    """Return what stands in the columns that are not the readings' own: the same in every row."""
    if table.teeth or table.mark != ".":
        what = "a column for each tooth" if table.teeth else "decimal commas"
        raise refuse(f"it has {what}, and its rows cannot be gone on with", _OTHER_FILE)
    faults, constant = [], {}
    for at, column in enumerate(table.sheet.header):
        cells = dict.fromkeys(cells[at].strip() for _, cells in table.sheet.rows)
        held = [*filter(None, cells)]
        if column in ("tooth", table.column) or not held:
            continue
        if len(held) > 1 or not column:
            name = column or "a column without a name"
            problem = f"{name} holds more than one thing, {held[0]} and {held[-1]}"
            faults.append(Fault(problem, _OTHER_FILE, column=column, value=held[-1]))
        constant[column] = held[0]
    if faults:
        raise RefusedError(faults)
    return constant


def _rows(table: Table) -> Rows:
    """Return the rows of readings; those still to come are left out."""
    at, of = table.place["tooth"], table.place[table.column]
    written = [(cells[at], cells[of].strip()) for _, cells in table.sheet.rows if cells[of].strip()]
    rows = [(parse_whole(tooth) or 0, parse_number(cell)) for tooth, cell in written]
    first = next((tooth for tooth, value in rows if value is not None), None)
    kept: dict[int, float | None] = {}
    for tooth, value in rows:
        if kept.get(tooth) is None:
            kept[tooth] = value
    closes = len(rows) > len(kept) and rows[-1][0] == first
    return (*kept.items(), *rows[-1:] * closes)
