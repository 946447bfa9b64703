"""The second table: one row of facts a blade."""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from bladegeom.columns import EYE, FACT_COLUMNS, KNOWN_COLUMNS, ROW_COLUMNS
from bladegeom.faults import NO_ROW, Fault, RefusedError, Who, as_letters, refuse
from bladegeom.tables._damage import is_ditto
from bladegeom.tables.facts import facts_of_column, merge
from bladegeom.tables.header import unknown_columns
from bladegeom.tables.sheets import is_workbook, open_sheet, sheet_mark, take_units
from bladegeom.tables.table import Facts, Table, owners
from bladegeom.tables.text import Sheet, read_bytes, sheet_of_rows, spoilt_faults


@dataclass(frozen=True)
class BladeFacts:
    """What a table says of each blade.

    Attributes
    ----------
    name : str
        Of the table.
    rows : dict
        Blade -> (facts, faults); its name is "" where the table has no column ``blade``, its
        customer where none is stated.
    eyes : dict
        Blade -> what the eye found, as it is written there.
    places : dict
        Blade -> its row, as a spreadsheet shows it.
    notes : list of str
        Which of its columns are not understood, and how it was read.
    of_some : bool
        Whether blades without a row in it go by what is stated elsewhere.
    """

    name: str
    rows: Mapping[Who, tuple[Facts, list[Fault]]]
    eyes: Mapping[Who, str]
    places: Mapping[Who, int]
    notes: list[str]
    of_some: bool = False

    @cached_property
    def _called(self) -> dict[str, list[Who]]:
        called: dict[str, list[Who]] = {}
        for one in self.rows:
            called.setdefault(one.name, []).append(one)
        return called

    def row_of(self, who: Who, asked: str = "") -> Who | None:
        """Return whose row holds for a blade: its own, or one of its name without a customer.

        A blade without a customer is the one of its name, where there is but one, or that of the
        customer who is asked for. None where no row holds.
        """
        called = self._called.get(who.name, [])
        for one in (who, Who(who.name, asked)):
            if one in called:
                return one
        return called[0] if len(called) == 1 and not who.customer else None

    def find(
        self, who: Who, *, named: bool, alone: bool, row: int | None = None, asked: str = ""
    ) -> tuple[Facts, list[Fault]]:
        """Return the facts of a blade, and the faults in them.

        Parameters
        ----------
        who : Who
        named : bool
            Whether the readings name their blade; where not, a table of one row is of this blade.
        alone : bool
            Whether the readings are of one blade only.
        row : int, optional
            First row of the blade's readings, to be named if the blade is not in the table.
        asked : str
            The customer who is asked for.

        Raises
        ------
        RefusedError
            If the table does not name its blades, and there are several.
        """
        nameless = "" in self._called
        if nameless and not alone and not self.of_some:
            raise refuse(f"{self.name} does not say of which blade it is", "add a column blade")
        if len(self.rows) == 1 and (nameless or not named) and not self.of_some:
            return next(iter(self.rows.values()))
        if (own := self.row_of(who, asked)) is not None:
            return self.rows[own]
        blade, called = who.name, self._called.get(who.name, [])
        if called and not who.customer:
            said = " and of ".join(one.customer for one in called)
            problem = f"{self.name or 'the table of facts'} has a blade of this name of {said}"
            cure = "say in the readings too whose it is (column customer)"
            return {}, [Fault(problem, cure, blade, row, "customer", "")]
        if self.of_some:
            return {}, []
        cure = "add one, or correct the blade's name"
        if near := [one for one in self.rows if folded(one.name) == folded(blade)]:
            said = " or ".join(f"{one} (row {self.places[one]})" for one in near)
            what = "customer" if called else "name"
            cure = f"did you mean {said}? write the {what} alike in both tables, or add a row"
        problem = f"{self.name} has no row for this blade"
        return {}, [Fault(problem, cure, blade, row, "blade", blade, kind=NO_ROW)]

    def found_for(self, who: Who) -> Who:
        """Return whose row `find` found for a blade: that of `row_of`, or the only row."""
        return self.row_of(who) or next(iter(self.rows))

    def beside(self, given: BladeFacts) -> BladeFacts:
        """Return what this table and another one say together; where both do, they must agree."""
        rows, eyes = dict(given.rows), dict(given.eyes)
        places = dict(given.places)
        for who, (known, faults) in self.rows.items():
            facts, wrong, other = dict(known), [*faults], given.row_of(who)
            if other is not None:
                others, more = given.rows[other]
                wrong += [*more, *merge(facts, others, who.name)]
                rows.pop(other, None)
                eyes.pop(other, None)
                if there := given.eyes.get(other, ""):
                    eyes[who] = there
            if (seen := self.eyes.get(who, "")) and eyes.setdefault(who, seen) != seen:
                row = self.places[who]
                problem = f"eye is {seen!r} here, but {given.name} says {eyes[who]!r}"
                cure = "let both say what was found, or leave one of them out"
                wrong.append(Fault(problem, cure, who.name, row, EYE, seen, self.name))
            rows[who], places[who] = (facts, wrong), self.places[who]
        return BladeFacts(self.name, rows, eyes, places, [*self.notes, *given.notes])


def folded(name: str) -> str:
    """Return a name without what differs by mistake: case, blanks, signs, leading zeros."""
    text = unicodedata.normalize("NFKC", name).casefold()
    return "".join(filter(str.isalnum, text)).lstrip("0") or text


def read_blade_facts(path: str | os.PathLike[str]) -> BladeFacts:
    """Read a table with one row of facts a blade, or raise RefusedError; see `facts_of_sheet`."""
    name = as_letters(path)
    data = read_bytes(path, name)
    try:
        return facts_of_sheet(open_sheet(data, name), name)
    except RefusedError as error:
        # Row numbers mean nothing until it is said of which of the two tables.
        raise RefusedError(fault.within(name) for fault in error.faults) from None


def facts_beside(
    data: bytes, name: str, sheet: str | None, given: BladeFacts | None = None
) -> BladeFacts | None:
    """Return what is stated beside the readings: in their own workbook, and in a table given.

    Parameters
    ----------
    data : bytes
        Of the readings' table, called `name`.
    sheet : str or None
        Which sheet of it is meant, if that is said.
    given : BladeFacts, optional

    Raises
    ------
    RefusedError
        If the workbook's facts as a whole are at fault.
    """
    if not is_workbook(data):
        return given
    from bladegeom.tables._workbook import FACTS, own_facts  # As in `open_sheet`.

    if (rows := own_facts(data, name, sheet)) is None:
        return given
    called = f"{name}, sheet {FACTS}"
    try:
        own = facts_of_sheet(sheet_of_rows(rows, ";", KNOWN_COLUMNS), called)
    except RefusedError as error:
        raise RefusedError(fault.within(called) for fault in error.faults) from None
    return own if given is None else own.beside(given)


def facts_of_sheet(sheet: Sheet, name: str) -> BladeFacts:
    """Read the cells of a table called `name`, with one row of facts a blade.

    Raises
    ------
    RefusedError
        If the table as a whole is at fault, as where a row does not fit the header.
    """
    if sheet.spoilt:
        raise RefusedError(spoilt_faults(sheet.spoilt, sheet.header, sheet.separator))
    notes = [*sheet.notes]
    sheet, _ = take_units(sheet)
    _check(sheet)
    place = {column: sheet.header.index(column) for column in sheet.header if column}
    table = Table(sheet, "", "", sheet_mark(sheet), place, [])
    found: dict[Who, tuple[Facts, list[Fault]]] = {}
    eyes: dict[Who, str] = {}
    groups = table.groups("")
    several = owners(groups)
    for who, ((row, cells), *again) in groups.items():
        known: Facts = {}
        wrong: list[Fault] = []
        for column, at in table.place.items():
            if column in FACT_COLUMNS:
                one = [(row, cells)]
                wrong += facts_of_column(who.name, column, one, at, table.mark, known, of=name)
        for more, _ in again:
            problem = f"{name} has more than one row for this blade (row {more} again)"
            cure = "keep one row a blade; of two customers' blades, say in each row whose it is"
            wrong.append(Fault(problem, cure, column="blade", value=who.name).of(who))
        if not who.customer and (others := several.get(who.name)):
            problem = f"{name} does not say whose it is (row {row}), and has one of this name of "
            cure = "write in each row whose it is"
            wrong.append(Fault(problem + " and ".join(others), cure, who.name, column="customer"))
        found[who] = (known, wrong)
        eye = cells[table.place[EYE]] if EYE in table.place else ""
        lines = [" ".join(line.split()) for line in eye.splitlines()]
        if words := "; ".join(filter(None, lines)):
            eyes[who] = words
    if unused := table.ignored(own=(EYE,)):
        notes.append(f"columns of {os.path.basename(name)} not used: {', '.join(unused)}")
    return BladeFacts(name, found, eyes, {who: rows[0][0] for who, rows in groups.items()}, notes)


def _check(sheet: Sheet) -> None:
    faults = unknown_columns(sheet.header, sheet.header_row, own=(EYE,))
    faults += [
        Fault(
            f"column {column} belongs with the readings, not here",
            "give one row a blade",
            row=sheet.header_row,
            column=column,
            value=column,
        )
        for column in sheet.header
        if column in ROW_COLUMNS
    ]
    if "blade" in sheet.header:
        place = sheet.header.index("blade")
        for row, cells in sheet.rows:
            name = cells[place].strip()
            if not name or is_ditto(name):
                missing = f"the blade's name is {f'{name}, a ditto mark' if name else 'missing'}"
                faults.append(Fault(missing, "write the name", row=row, column="blade", value=name))
    elif len(sheet.rows) > 1:
        faults.append(
            Fault("there is no column blade", "add it", row=sheet.header_row, column="blade")
        )
    if not sheet.rows:
        faults.append(Fault("there is a header and no rows", "add one row a blade"))
    if faults:
        raise RefusedError(faults)
