"""The one reader of tables: opened, its header understood, its blades one after another.

Each is named, read, or refused while the others go on. What differs from one kind of table to
another is what is made of the rows of a blade, and which columns it has of its own.
"""

from __future__ import annotations

import os
from bisect import bisect
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import PurePath
from typing import Any, Generic, NamedTuple, TypeVar

from bladegeom.faults import Fault, RefusedError, Who, also_in, as_letters, refuse
from bladegeom.readings import Readings
from bladegeom.tables._damage import damaged_name
from bladegeom.tables.blade_facts import BladeFacts, facts_beside, folded, read_blade_facts
from bladegeom.tables.eye import BLANK, NOTHING, eye_says
from bladegeom.tables.facts import check_unit, merge, stated_facts
from bladegeom.tables.sheets import open_sheet
from bladegeom.tables.table import Facts, Part, Rows, Table, is_figure, open_table, owners
from bladegeom.tables.text import Spoilt, spoilt_faults

Path = str | os.PathLike[str]
T = TypeVar("T")


class Batch(NamedTuple, Generic[T]):
    """What a file, or a folder, held.

    Attributes
    ----------
    readings : list
        Of the blades that can be answered, in the order of the file.
    refused : list of Fault
        Every fault of the others.
    notes : list of str
        What else the reader should know.
    """

    readings: list[T]
    refused: list[Fault]
    notes: list[str]


class Beside(NamedTuple):
    """What is stated of the blades beside their rows: in options, and in a second table."""

    stated: Facts
    second: BladeFacts | None = None

    @property
    def customer(self) -> str:
        """The customer whose blades alone are asked for; empty where those of all are."""
        return self.stated["customer"].value if "customer" in self.stated else ""

    def known(
        self, who: Who, *, named: bool, alone: bool, row: int | None = None
    ) -> tuple[Facts, list[Fault]]:
        """Return what is known of a blade before its rows are read; see `BladeFacts.find`.

        Its customer is that of its rows, or of the second table, or else the one asked for.

        Raises
        ------
        RefusedError
        """
        known = {name: fact for name, fact in self.stated.items() if name != "customer"}
        whose = {name: fact for name, fact in self.stated.items() if not who.customer}
        if self.second is None:
            return known | whose, []
        asked = self.customer if not who.customer else ""
        facts, faults = self.second.find(who, named=named, alone=alone, row=row, asked=asked)
        if "customer" not in facts:
            known |= whose
        return known, [*faults, *merge(known, facts, who.name)]


def read_each(
    data: bytes,
    name: str,
    read: Callable[[Part], T],
    *,
    own: Collection[str] = (),
    check: Callable[[Table], list[Fault]] = lambda _: [],
    blades: Path | BladeFacts | None = None,
    unit: str | None = None,
    sheet: str | None = None,
    progress: Callable[[int, int], None] | None = None,
    **facts: Any,
) -> tuple[dict[Who, T], list[Fault], list[str]]:
    """Read every blade of a table, or every one of a customer who is among the facts.

    Parameters
    ----------
    data : bytes
    name : str
        Of the table, for messages.
    read : callable
        Makes something of a blade's rows, or raises RefusedError.
    own : collection of str
        Columns that only this kind of table has.
    check : callable
        Returns what else is wrong with its header.
    blades : path or BladeFacts, optional
        The second table; where it was read before, what is to be said of it is left to the caller.
    unit, sheet, **facts
        As for `bladegeom.read_blade`.
    progress : callable, optional
        Told how many blades of how many are read.

    Returns
    -------
    made : dict
        Blade -> what was made of it.
    refused : list of Fault
        Every fault of the others.
    notes : list of str
        What else the reader should know of the file.

    Raises
    ------
    RefusedError
        If the file as a whole is at fault (header, unit, encoding).
    """
    check_unit(unit)
    stated = stated_facts(facts)
    name = as_letters(name)
    table = open_table(open_sheet(data, name, sheet), name, unit, own=own)
    if faults := check(table):
        raise RefusedError(replace(fault, row=table.sheet.header_row) for fault in faults)
    own_table = None
    if not isinstance(blades, BladeFacts):
        given = None if blades is None else read_blade_facts(blades)
        blades = own_table = facts_beside(data, name, sheet, given)
    made, refused = each_of(table, name, Beside(stated, blades), read, progress)
    names = [*made, *(fault.who for fault in refused)]
    return made, refused, [*table.sheet.notes, *notes_of(table, own_table, names, own)]


def each_of(
    table: Table,
    name: str,
    beside: Beside,
    read: Callable[[Part], T],
    progress: Callable[[int, int], None] | None = None,
) -> tuple[dict[Who, T], list[Fault]]:
    """Return what is made of each blade of the table called `name`, and what is wrong elsewhere.

    Raises
    ------
    RefusedError
        If a customer's blades are asked for, and there are none.
    """
    groups = table.groups("" if "blade" in table.place else PurePath(name).stem)
    faulty = faults_of_spoilt(table)
    for who, fault in unowned(groups, table.sheet.header_row):
        faulty.setdefault(who, []).append(fault)
    groups |= {who: [] for who in faulty if who not in groups}
    made: dict[Who, T] = {}
    refused: list[Fault] = []
    for done, (who, rows) in enumerate(groups.items()):
        if progress is not None:
            progress(done, len(groups))
        others = faulty.get(who, [])
        one = answered(table, who, rows, beside, others, len(groups) == 1, read, refused)
        if one is not None:
            made[who] = one
    if beside.customer and groups and not made and not refused:
        there = some_of(sorted({who.customer for who in groups if who.customer}))
        cure = f"it holds blades of {there}" if there else "leave the customer out"
        problem = f"{name} holds no blade of {beside.customer}"
        raise refuse(problem, cure, value=beside.customer, column="customer")
    return made, refused


def unowned(groups: Mapping[Who, Rows], header_row: int) -> list[tuple[Who, Fault]]:
    """Return what makes it unsure whose rows are which, where a name has several customers."""
    found: list[tuple[Who, Fault]] = []
    for name, customers in owners(groups).items():
        alike: dict[str, list[str]] = {}
        for one in customers:
            alike.setdefault(folded(one), []).append(one)
        if rows := groups.get(Who(name), []):
            said = f"customer is blank{also_in([row for row, _ in rows[1:]])}, and a blade of "
            said += f"this name is of {some_of(customers)}"
            fault = Fault(said, "write in every row whose it is", name, rows[0][0], "customer", "")
            found += [(Who(name, one), fault) for one in ("", *customers)]
        for several in alike.values():
            for one, other in pairwise(several):
                said = f"customer is {one!r} here, and {other!r} elsewhere"
                row = next((row for row, _ in groups[Who(name, one)]), header_row)
                fault = Fault(said, "write the name alike in every row", name, row, "customer", one)
                found += [(Who(name, each), fault) for each in (one, other)]
    return found


def answered(
    table: Table,
    who: Who,
    rows: Rows,
    beside: Beside,
    faulty: Sequence[Fault],
    alone: bool,
    read: Callable[[Part], T],
    refused: list[Fault],
) -> T | None:
    """Return what is made of one blade's rows, or None, and every fault added to `refused`.

    The rows are none where all are spoilt; `faulty` are the faults of spoilt rows that may be this
    blade's, and it is `alone` where the table is of no other.

    Raises
    ------
    RefusedError
        If what is stated beside the rows does not say of which blade it is.
    """
    if beside.customer and who.customer not in ("", beside.customer):
        return None
    named = wrong_name(who.name, [row for row, _ in rows], wide=bool(table.teeth)) if rows else None
    if named or not rows:
        refused.extend([*([named] if named else []), *faulty])
        return None
    known, faults = beside.known(who, named="blade" in table.place, alone=alone, row=rows[0][0])
    if "customer" in known:
        who = Who(who.name, known["customer"].value)
        if beside.customer not in ("", who.customer):
            return None
    try:
        return read(Part(table, who.name, rows, known, [*faulty, *faults]))
    except RefusedError as error:
        refused.extend(fault.of(who) for fault in error.faults)
        return None


def chosen(
    made: Mapping[Who, T], refused: Sequence[Fault], blade: str | None, name: Path, many: str = ""
) -> T:
    """Return what was made of one blade: the one that is asked for, or the only one.

    `name` is that of the table, and `many` says what else can be done with several blades.

    Raises
    ------
    RefusedError
        If there is no such blade, if it is refused, or if there are several.
    """
    found = [who for who in made if blade in (None, who.name)]
    faults = [fault for fault in refused if blade in (None, fault.blade)]
    others = {fault.who for fault in faults if fault.customer} - {*found}
    if len(found) == 1 and (not faults if blade is None else not others):
        return made[found[0]]
    if faults and (blade is None or not found):
        raise RefusedError(faults)
    held = [*made, *sorted({fault.who for fault in refused if fault.blade} - made.keys())]
    file = as_letters(name)
    if blade is None:
        problem = f"{file} holds {len(made)} blades: {some_of(held)}"
        own = "name (blade=...)"
        if len({who.name for who in made}) < len(made):
            own += " and customer (customer=...)"
        raise refuse(problem, f"choose one by its {own}{many}", value=len(made))
    if found:
        there = some_of([who for who in held if who.name == blade])
        raise refuse(
            f"{file} holds several blades {blade}: {there}",
            "choose one by its customer too (customer=..., --customer)",
            value=blade,
            blade=blade,
            column="customer",
        )
    problem, cure = f"{file} holds no blade {blade}", f"it holds {some_of(held)}"
    raise refuse(problem, cure, value=blade)


def leave_unread(batch: Batch[Readings]) -> list[Fault]:
    """Take blades of which nothing was read out of the batch: a frame has no row for them."""
    unread = [one.blade.who for one in batch.readings if not len(one.reading)]
    batch.readings[:] = [one for one in batch.readings if len(one.reading)]
    cure = "read the blade, or leave it out of the table"
    return [Fault("no tooth is read", cure, value="0").of(who) for who in unread]


def notes_of(
    table: Table,
    second: BladeFacts | None = None,
    names: Collection[Who] = (),
    own: Collection[str] = (),
) -> list[str]:
    """Return what else is to be known of a table that holds these blades."""
    notes = []
    if ignored := table.ignored(own):
        notes.append(f"columns not used: {', '.join(ignored)}")
    if second:
        # Without a column blade, it is not the names by which the rows are found.
        found = names if "blade" in table.place else second.rows
        notes += [*second.notes, *not_read(second, found)]
    return notes


def not_read(facts: BladeFacts, blades: Collection[Who]) -> list[str]:
    """Return a note of the rows of facts that are of none of these blades, if there are any.

    Where such a row may be of one of them all the same, or tells of a fault, more is said of it.
    """
    rows = {who: facts.row_of(who) for who in {*blades}}
    rest = sorted(one for one in facts.rows.keys() - {*rows.values()} if one.name)
    without: dict[str, list[str]] = {}
    for who in rows if rest else ():
        if rows[who] is None:
            without.setdefault(folded(who.name), []).append(str(who))
    plain, told = [], []
    for one in rest:
        said = []
        if near := without.get(folded(one.name)):
            said.append(f"did you mean {' or '.join(sorted(near))}?")
        if eye_says(facts.eyes.get(one, "")) not in (BLANK, NOTHING):
            said.append(f"eye: {facts.eyes[one]}")
        if said:
            told.append(f"{one} (row {facts.places[one]}; {'; '.join(said)})")
        else:
            plain.append(one)
    listed = [*told, *([some_of(plain)] if plain else [])]
    return [f"no readings of: {', '.join(listed)}"] if listed else []


def some_of(names: Sequence[object], most: int = 8) -> str:
    """List names, the first of them if they are many."""
    listed = ", ".join(str(name) for name in names[:most])
    return listed + (f" and {len(names) - most} more" if len(names) > most else "")


def wrong_name(who: str, rows: list[int], *, wide: bool) -> Fault | None:
    """Return what is wrong with a blade's name, as it stands in these rows, if anything."""
    problem, cure = ("the blade's name is missing", "name the blade in every row")
    if wide and is_figure(who):
        problem = f"a row called {who} may be a blade, or figures about the others"
        cure = "remove it, or give the blade another name"
    elif who:
        damage = damaged_name(who)
        if damage is None:
            return None
        problem, cure = f"blade: {damage[0]}", damage[1]
    return Fault(f"{problem}{also_in(rows[1:])}", cure, who or None, rows[0], "blade", who)


def faults_of_spoilt(table: Table) -> dict[Who, list[Fault]]:
    """Return the faults of rows that do not fit the header, by the blades that may lack them.

    A row whose blade's name may have been lost or moved speaks against its neighbours too.
    """
    if not table.sheet.spoilt:
        return {}
    at = {row: who for who, rows in table.groups("").items() for row, _ in rows}
    rows = sorted(at)
    return faults_beside(table.sheet.spoilt, table, rows, [at[row] for row in rows])


def faults_beside(
    spoilt: Sequence[Spoilt], table: Table, rows: Sequence[int], blades: Sequence[Who]
) -> dict[Who, list[Fault]]:
    """Do the work of `faults_of_spoilt` beside rows with these numbers and blades."""
    at = table.place["blade"]
    called: dict[str, list[Who]] = {}
    for who in dict.fromkeys(blades):
        called.setdefault(who.name, []).append(who)
    words = {name for name in called if not name.isdigit()}  # Digits may be a tooth moved there.
    apart = bool(table.teeth) and "turn" not in table.place
    faulty: dict[Who, list[Fault]] = {}
    for one in spoilt:
        own = one.cells[at].strip() if at < len(one.cells) else ""
        place = bisect(rows, one.row)
        beside = {*blades[max(0, place - 1) : place + 1]}
        may_be = {*called.get(own, [Who(own)])}  # Of which customer, such a row does not tell.
        if not (apart or own in words or any(who.name == own for who in beside)):
            may_be |= beside
        (fault,) = spoilt_faults([one], table.sheet.header, table.sheet.separator)
        for who in sorted(who for who in may_be if who.name) or [Who("")]:
            faulty.setdefault(who, []).append(fault.of(who))
    return faulty
