"""One table of readings whose header is understood, long or wide, and what its rows hold."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

from bladegeom.blade import Blade
from bladegeom.columns import FACT_COLUMNS, KNOWN_COLUMNS, Column
from bladegeom.faults import Fault, RefusedError, Who, also_in
from bladegeom.lengths import NumberError, parse_number, parse_whole
from bladegeom.readings import WAYS, Readings
from bladegeom.tables.facts import (
    Fact,
    blade_of,
    facts_of_column,
    need_teeth,
    no_number,
    reading_facts,
)
from bladegeom.tables.header import ToothColumn, check_header, teeth_of
from bladegeom.tables.sheets import sheet_mark, take_units
from bladegeom.tables.text import Sheet

Rows = list[tuple[int, list[str]]]
"""Rows of a table, each with its number as a spreadsheet shows it."""

Facts = dict[str, Fact]


class Written(NamedTuple):
    """What was written down of one blade, before it is known to be whole.

    Attributes
    ----------
    blade : Blade
    keywords : dict
        Of `Readings`.
    rows_of : dict
        Fact -> the row that states it.
    """

    blade: Blade
    keywords: dict[str, Any]
    rows_of: dict[str, int | None]

    def readings(self) -> Readings:
        """Take what was written as it stands, or raise RefusedError."""
        try:
            return Readings(self.blade, **self.keywords)
        except RefusedError as error:
            raise _located(error, self.rows_of) from None


def written(name: str, known: Facts, keywords: dict[str, Any]) -> Written:
    """Return what was written of a blade of which these facts are known.

    Raises
    ------
    RefusedError
        If there is no such blade.
    """
    rows_of = {fact: one.row for fact, one in known.items()}
    try:
        return Written(blade_of(known, name), keywords | reading_facts(known), rows_of)
    except RefusedError as error:
        raise _located(error, rows_of) from None


def _located(error: RefusedError, rows_of: dict[str, int | None]) -> RefusedError:
    """Return an error whose faults say in which row what they are about is stated."""
    return RefusedError(
        replace(fault, row=rows_of.get(fault.column or "")) if fault.row is None else fault
        for fault in error.faults
    )


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

    def ignored(self, own: Collection[str] = ()) -> list[str]:
        """Return the columns that are not used, but for those that this kind of table has."""
        used = {*KNOWN_COLUMNS, *own, self.column}
        return [one for one in self.place if one not in used]

    def groups(self, only: str) -> dict[Who, Rows]:
        """Return the rows of each blade; `only` names it in a table without a column ``blade``.

        Where a name has one customer, rows that state none are of that blade too.
        """
        groups: dict[Who, Rows] = {}
        if "blade" not in self.place:
            return {Who(only): list(self.sheet.rows)} if self.sheet.rows else groups
        at, whose = self.place["blade"], self.place.get("customer", -1)
        found = [
            Who(cells[at].strip(), "" if whose < 0 else customer_of(cells[whose]))
            for _, cells in self.sheet.rows
        ]
        several = owners(found)
        for who, row in zip(found, self.sheet.rows, strict=True):
            if not who.customer and len(several.get(who.name, ())) == 1:
                who = Who(who.name, several[who.name][0])
            groups.setdefault(who, []).append(row)
        return groups


def customer_of(cell: str) -> str:
    """Return the customer that a cell states; empty where it states none."""
    return cell.strip() if cell.strip() != "?" else ""


def owners(blades: Iterable[Who]) -> dict[str, list[str]]:
    """Return the customers of each name of which any is stated."""
    found: dict[str, list[str]] = {}
    for name, customer in dict.fromkeys(blades):
        if customer:
            found.setdefault(name, []).append(customer)
    return found


def open_table(
    sheet: Sheet, name: str, unit: str | None, mark: str | None = None, own: Collection[str] = ()
) -> Table:
    """Understand the header of the table called `name`.

    `unit` is what the user stated, `own` are columns that only this kind of table has; the decimal
    mark is told from the cells if it is not given.

    Raises
    ------
    RefusedError
        With everything that is wrong with the header, or if its decimal mark cannot be told.
    """
    sheet, units = take_units(sheet)
    teeth = teeth_of(sheet)
    if not teeth:
        sheet = _without_figures(sheet)
    column, said = check_header(sheet, name, unit, own=own, teeth=teeth, units=units)
    taken = {one.place for one in teeth}
    place = {one: sheet.header.index(one) for one in sheet.header if one}
    place = {one: at for one, at in place.items() if at not in taken}
    mark = mark or sheet_mark(sheet, readings=column, places=taken)
    return Table(sheet, column, said, mark, place, teeth)


FIGURES = frozenset(
    {
        *("mean", "means", "average", "averages", "avg", "median", "total", "totals", "sum"),
        *("min", "max", "minimum", "maximum", "range", "tir", "count", "sd", "stdev"),
    }
)
"""What people call a row that tells of the others, not of a tooth or a blade."""


def is_figure(cell: str) -> bool:
    """Return whether a cell is the name of figures about other rows: Mean, Total."""
    return cell.strip(" :.").lower() in FIGURES


def called_figure(cells: Iterable[str]) -> str:
    """Return the first of some cells that is such a name; empty where none is."""
    return next(filter(is_figure, cells), "").strip()


def _without_figures(sheet: Sheet) -> Sheet:
    """Leave out last rows that are called Mean or Total and are of no tooth, with a note."""
    at = sheet.header.index("tooth") if "tooth" in sheet.header else None
    rows, left = list(sheet.rows), []
    while at is not None and rows and not re.search("[0-9]", rows[-1][1][at]):
        if not (called := called_figure(rows[-1][1])):
            break
        left.append(f"row {rows.pop()[0]} ({called})")
    if not left:
        return sheet
    note = f"left out, of no tooth but figures about the others: {', '.join(left[::-1])}"
    return sheet._replace(rows=rows, notes=[*sheet.notes, note])


@dataclass
class Part:
    """The rows of one blade, or some of them: what they hold, and everything wrong with them.

    Attributes
    ----------
    table : Table
    name : str
        The blade's.
    rows : list of (int, list of str)
    known : dict
        Facts stated elsewhere; those of the rows are added.
    faults : list of Fault
        Found elsewhere; those of the rows are added.
    """

    table: Table
    name: str
    rows: Rows
    known: Facts = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    @property
    def who(self) -> Who:
        """The blade, and whose it is as far as that is known."""
        return Who(self.name, self.known["customer"].value if "customer" in self.known else "")

    def some(self, rows: Rows) -> Part:
        """Return the part that some of the rows are; what is known holds for it too."""
        return Part(self.table, self.name, rows, dict(self.known))

    def words(self, column: str) -> list[str]:
        """Return the cells of a column without the blanks around them; blank ones if it is none."""
        at = self.table.place.get(column)
        return ["" if at is None else cells[at].strip() for _, cells in self.rows]

    def wrong(self, row: int, column: str, cell: str, problem: str, cure: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(problem, cure, self.name, row, column, cell))

    def number(
        self,
        row: int,
        column: str,
        cell: str,
        read: Callable[[str, str], float | None] = parse_number,
    ) -> float | None:
        """Read a cell; None where it is blank, infinite where it is wrong, which is noted."""
        try:
            return read(cell, self.table.mark)
        except NumberError as error:
            cure = f"write the {column} as a whole number" if read is parse_whole else error.cure
            said = NumberError(error.problem, cure)
            self.faults.append(no_number(said, self.name, row, column, cell, self.table.mark))
            return math.inf

    def state(self, which: Callable[[Column], bool] = lambda _: True) -> None:
        """Add the facts that the rows state, or some of them, to those known."""
        for column, at in self.table.place.items():
            if column in FACT_COLUMNS and which(FACT_COLUMNS[column][0]):
                self.faults += facts_of_column(
                    self.name, column, self.rows, at, self.table.mark, self.known
                )

    def need_teeth(self) -> None:
        """Note that the number of teeth is stated nowhere, if nothing is wrong with it."""
        if not any(fault.column in ("teeth", "blade") for fault in self.faults):
            try:
                need_teeth(self.known, self.name, self.rows[0][0])
            except RefusedError as error:
                self.faults += error.faults

    def readings(self) -> Readings:
        """Return the readings of the rows, or raise RefusedError with all that is wrong."""
        return self.written().readings()

    def written(self) -> Written:
        """Return what the rows say, or raise RefusedError with all that is wrong in them."""
        if mixed := self._several_mountings():
            raise RefusedError([mixed])
        if self.table.teeth:
            self.state()
            keywords = self._wide()
        else:
            keywords = self._long()
            self.state()
        self.faults.sort(key=lambda fault: fault.row or 0)
        self.need_teeth()
        if self.faults:
            raise RefusedError(self.faults)
        return written(self.name, self.known, keywords)

    def _several_mountings(self) -> Fault | None:
        """Return the fault of rows that are of several mountings, which have a wobble each."""
        first, *_ = mounts = self.words("mount")
        for (row, _), mount in zip(self.rows, mounts, strict=True):
            if mount != first:
                return Fault(
                    f"mount is {mount!r} here and {first!r} in row {self.rows[0][0]}: each "
                    "mounting has a wobble of its own",
                    "use bladegeom clock for several mountings of a blade, or keep one of them",
                    self.name,
                    row,
                    "mount",
                    mount,
                )
        return None

    def _long(self) -> dict[str, Any]:
        """Read one reading a row."""
        column, place = self.table.column, self.table.place
        wanted = [one for one in (column, "tooth", "turn", "order") if one in place]
        numbers: dict[str, list[float]] = {one: [] for one in wanted}
        for row, cells in self.rows:
            tooth = cells[place["tooth"]]
            if not re.search("[0-9]", tooth) and (called := called_figure(cells)):
                problem = f"a row called {called} is of no tooth, but figures about others"
                self.wrong(row, "tooth", tooth, problem, "remove it")
                continue
            reading = self.number(row, column, cells[place[column]])
            numbers[column].append(math.nan if reading is None else reading)
            for one in wanted[1:]:
                cell = cells[place[one]]
                value = self.number(row, one, cell, parse_whole)
                if value is None and one != "tooth" and reading is None:
                    value = 0  # Nothing was read here, so nothing to place in a turn or an order.
                if value is None:
                    cure = f"say which {one} the reading is of"
                    self.wrong(row, one, cell.strip(), f"{one} is blank", cure)
                    continue
                numbers[one].append(value)
        keywords: dict[str, Any] = {one: numbers[one] for one in wanted[1:]}
        keywords["readings"] = (numbers[column], self.table.unit)
        keywords["turned"] = self._turned() or None
        keywords["rows"] = [row for row, _ in self.rows]
        return keywords

    def _wide(self) -> dict[str, Any]:
        """Read one turn a row, with a column a tooth."""
        columns = self.table.teeth
        turns, words = self._turns(), self._turned()
        teeth = self.known["teeth"].value if "teeth" in self.known else None
        last = max(columns, key=lambda one: one.tooth)
        if teeth is not None and teeth > last.tooth:
            problem = f"the blade has {teeth} teeth, but the columns end with {last.name}"
            cure = "give every tooth a column, left blank where it was not read"
            self.wrong(self.rows[0][0], "teeth", str(teeth), problem, cure)
        readings: list[float] = []
        for row, cells in self.rows:
            for _, tooth, at, column, _ in columns:
                value = self.number(row, column, cells[at])
                if teeth is None or tooth <= teeth:
                    readings.append(math.nan if value is None else value)
                elif value not in (None, math.inf):
                    cell = cells[at].strip()
                    problem = f"{column} holds {cell}, but the blade has {teeth} teeth"
                    cure = "correct the number of teeth, or clear the cell"
                    self.wrong(row, column, cell, problem, cure)
        own = [one.tooth for one in columns if teeth is None or one.tooth <= teeth]
        read = len(own)
        keywords: dict[str, Any] = {
            "readings": (readings, self.table.unit),
            "tooth": own * len(self.rows),
            "rows": [row for row, _ in self.rows for _ in range(read)],
        }
        for key, of_rows in (("turn", turns), ("turned", words)):
            if of_rows:
                keywords[key] = [one for one in of_rows for _ in range(read)]
        return keywords

    def _turned(self) -> list[str]:
        """Read the column ``turned``; empty where nothing is stated."""
        words = [word.lower() for word in self.words("turned")]
        if not any(words):
            return []
        for (row, _), word in zip(self.rows, words, strict=True):
            if word not in WAYS:
                cure = "write forward or backward in every row"
                self.wrong(row, "turned", word, f"turned is {word!r}", cure)
        return words

    def _turns(self) -> list[int]:
        """Return the turn of each row of a wide table: a blade has one row, or one for each."""
        if "turn" not in self.table.place:
            if len(self.rows) > 1:
                also = also_in([row for row, _ in self.rows[1:]])
                cure = "keep one row a blade, or number its turns in a column turn"
                problem = f"the blade has {len(self.rows)} rows{also}"
                self.wrong(self.rows[0][0], "blade", self.name, problem, cure)
            return []
        turns: dict[int, int] = {}
        for (row, _), cell in zip(self.rows, self.words("turn"), strict=True):
            turn = self.number(row, "turn", cell, parse_whole)
            if turn is None:
                self.wrong(row, "turn", cell, "turn is blank", "say which turn the row is of")
            elif turn in turns:
                problem = f"turn {turn} is in row {turns[int(turn)]} already"
                self.wrong(row, "turn", cell, problem, "keep one row a blade and turn")
            elif turn != math.inf:
                turns[int(turn)] = row
        return [*turns]
