"""The blades of a table, one after another: named, read, or refused while the others go on."""

from __future__ import annotations

from bisect import bisect
from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import NamedTuple

from bladegeom.faults import Fault, RefusedError, also_in
from bladegeom.readings import Readings
from bladegeom.tables.blade_facts import BladeFacts, folded
from bladegeom.tables.damage import damaged_name
from bladegeom.tables.eye import BLANK, NOTHING, eye_says
from bladegeom.tables.facts import Fact, merge
from bladegeom.tables.table import Table, Written
from bladegeom.tables.text import Spoilt, spoilt_faults


class Batch(NamedTuple):
    """What a file held.

    Attributes
    ----------
    readings : list of Readings
        The blades that can be answered, in the order of the file.
    refused : list of Fault
        Every fault of the others.
    notes : list of str
        What else the reader should know of the file.
    """

    readings: list[Readings]
    refused: list[Fault]
    notes: list[str]


class Beside(NamedTuple):
    """What is stated of the blades beside their rows: in options, and in a second table."""

    stated: dict[str, Fact]
    second: BladeFacts | None

    def known(
        self, who: str, *, named: bool, alone: bool, row: int
    ) -> tuple[dict[str, Fact], list[Fault]]:
        """Return what is known of a blade before its rows are read; see `BladeFacts.find`.

        Raises
        ------
        RefusedError
        """
        known = dict(self.stated)
        if self.second is None:
            return known, []
        facts, faults = self.second.find(who, named=named, alone=alone, row=row)
        return known, [*faults, *merge(known, facts, who)]


def add_blade(
    batch: Batch,
    table: Table,
    who: str,
    rows: list[tuple[int, list[str]]],
    beside: Beside,
    faulty: Sequence[Fault],
    alone: bool,
    written: list[Written] | None = None,
) -> None:
    """Read one blade's rows and add its readings to the batch, or every fault.

    Parameters
    ----------
    batch : Batch
    table : Table
    who : str
        The blade's name.
    rows : list of (int, list of str)
        Empty where all its rows are spoilt.
    beside : Beside
    faulty : sequence of Fault
        Of the spoilt rows that may be this blade's.
    alone : bool
        Whether the table is of this blade only.
    written : list of Written, optional
        As for `Table.blade`.

    Raises
    ------
    RefusedError
        If what is stated beside the rows does not say of which blade it is.
    """
    if not rows:
        batch.refused.extend(faulty)
        return
    if named := wrong_name(who, [row for row, _ in rows]):
        batch.refused.extend([named, *faulty])
        return
    known, faults = beside.known(who, named="blade" in table.place, alone=alone, row=rows[0][0])
    try:
        batch.readings.append(table.blade(who, rows, known, [*faulty, *faults], written))
    except RefusedError as error:
        batch.refused.extend(
            fault if fault.blade else replace(fault, blade=who) for fault in error.faults
        )


def leave_unread(batch: Batch) -> list[Fault]:
    """Take blades of which nothing was read out of the batch: a frame has no row for them."""
    unread = [one.blade.name for one in batch.readings if not len(one.reading)]
    batch.readings[:] = [one for one in batch.readings if len(one.reading)]
    cure = "read the blade, or leave it out of the table"
    return [Fault("no tooth is read", cure, name or None, value="0") for name in unread]


def notes_of(table: Table, second: BladeFacts | None, names: Collection[str]) -> list[str]:
    """Return what else is to be known of a table whose blades have these names."""
    notes = []
    if ignored := table.ignored():
        notes.append(f"columns not used: {', '.join(ignored)}")
    if second:
        # Without a column blade, it is not the names by which the rows are found.
        own = names if "blade" in table.place else second.rows
        notes += [*second.notes, *not_read(second, own)]
    return notes


def not_read(facts: BladeFacts, names: Collection[str]) -> list[str]:
    """Return a note of the rows of facts that are of none of these blades, if there are any.

    Where such a row may be of one of them all the same, or tells of a fault, more is said of it.
    """
    rest = sorted(facts.rows.keys() - set(names) - {""})
    without: dict[str, list[str]] = {}
    for name in set(names) - facts.rows.keys() if rest else ():
        without.setdefault(folded(name), []).append(name)
    plain, told = [], []
    for one in rest:
        said = []
        if near := without.get(folded(one)):
            said.append(f"did you mean {' or '.join(sorted(near))}?")
        if eye_says(facts.eyes.get(one, "")) not in (BLANK, NOTHING):
            said.append(f"eye: {facts.eyes[one]}")
        if said:
            told.append(f"{one} (row {facts.places[one]}; {'; '.join(said)})")
        else:
            plain.append(one)
    listed = [*told, *([some_of(plain)] if plain else [])]
    return [f"no readings of: {', '.join(listed)}"] if listed else []


def some_of(names: Sequence[str], most: int = 8) -> str:
    """List names, the first of them if they are many."""
    listed = ", ".join(str(name) for name in names[:most])
    return listed + (f" and {len(names) - most} more" if len(names) > most else "")


def wrong_name(who: str, rows: list[int]) -> Fault | None:
    """Return what is wrong with a blade's name, as it stands in these rows, if anything."""
    problem, cure = ("the blade's name is missing", "name the blade in every row")
    if who:
        damage = damaged_name(who)
        if damage is None:
            return None
        problem, cure = f"blade: {damage[0]}", damage[1]
    return Fault(f"{problem}{also_in(rows[1:])}", cure, who or None, rows[0], "blade", who)


def faults_of_spoilt(spoilt: list[Spoilt], table: Table) -> dict[str, list[Fault]]:
    """Return the faults of rows that do not fit the header, by the blades that may lack them.

    A row whose blade's name may have been lost or moved speaks against its neighbours too.
    """
    if not spoilt:
        return {}
    at = table.place["blade"]
    rows = [row for row, _ in table.sheet.rows]
    names = [cells[at].strip() for _, cells in table.sheet.rows]
    return faults_beside(spoilt, table, rows, names)


def faults_beside(
    spoilt: list[Spoilt], table: Table, rows: Sequence[int], names: Sequence[str]
) -> dict[str, list[Fault]]:
    """Do the work of `faults_of_spoilt` beside rows with these numbers and blades."""
    at = table.place["blade"]
    words = {name for name in names if not name.isdigit()}  # Digits may be a tooth moved there.
    apart = bool(table.teeth) and "turn" not in table.place
    faulty: dict[str, list[Fault]] = {}
    for one in spoilt:
        own = one.cells[at].strip() if at < len(one.cells) else ""
        place = bisect(rows, one.row)
        beside = {*names[max(0, place - 1) : place + 1]}
        may_be = {own} if apart or own in beside or own in words else {own, *beside}
        (fault,) = spoilt_faults([one], table.sheet.header, table.sheet.separator)
        for who in sorted(may_be - {""}) or [""]:
            faulty.setdefault(who, []).append(replace(fault, blade=who or None))
    return faulty
