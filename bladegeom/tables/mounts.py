"""Tables of mountings: a blade read again and again, each time at a stated place on its arbor."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import PurePath
from typing import Any, NamedTuple

from bladegeom.angles import wrap_360
from bladegeom.blade import Blade
from bladegeom.columns import FACT_COLUMNS, OF_MOUNTS
from bladegeom.faults import Fault, RefusedError, also_in, as_letters
from bladegeom.lengths import NumberError, parse_number, parse_whole
from bladegeom.readings import Readings
from bladegeom.tables.blades import faults_of_spoilt, wrong_name
from bladegeom.tables.facts import Fact, check_unit, stated_facts
from bladegeom.tables.row_cells import facts_of_column, no_number
from bladegeom.tables.sheets import open_sheet
from bladegeom.tables.table import Table, open_table
from bladegeom.tables.text import Spoilt, read_bytes

CLOCKS = ("clock_deg", "clock_tooth")

Rows = list[tuple[int, list[str]]]


class Mount(NamedTuple):
    """One mounting of a blade on its arbor.

    Attributes
    ----------
    name : str
    clock_deg : float or None
        Where tooth 1 stands on the arbor, from the arbor's mark in the direction in which the
        tooth numbers grow, 0 to 360 degrees; None where it was not kept.
    readings : Readings
    """

    name: str
    clock_deg: float | None
    readings: Readings


class Mounts(NamedTuple):
    """What a table of mountings held.

    Attributes
    ----------
    blades : dict of str to list of Mount
        The mountings of each blade that can be answered, in the order of the file.
    refused : list of Fault
        Every fault of the others.
    notes : list of str
        What else the reader should know of the file.
    """

    blades: dict[str, list[Mount]]
    refused: list[Fault]
    notes: list[str]


def read_mounts(path: str | os.PathLike[str], *, unit: str | None = None, **facts: Any) -> Mounts:
    """Read one or several blades, each in several mountings, from a CSV or XLSX file.

    Parameters
    ----------
    path : path
        As for `read_blade`, with a column ``mount``, the name of the mounting that a row is of,
        and ``clock_deg``: where tooth 1 stands on the arbor, from the arbor's mark in the
        direction in which the tooth numbers grow. Or, instead of it, ``clock_tooth``: the tooth
        that stands at the arbor's mark, which is the same as ``clock_deg`` of minus its blade
        angle. One value a mounting; blank where it was not kept. A remount at the same position
        has a name of its own.
    unit : {"mm", "in", "thou", "um"}, optional
        Unit of a column named only ``reading``.
    **facts
        Facts, lengths with their unit: ``teeth=40, ring_radius="4.5 in"``.

    Returns
    -------
    Mounts
        What is stated of a blade in the rows of one mounting holds in all of them. A fault in one
        mounting stops no other.

    Raises
    ------
    RefusedError
        If the file as a whole is at fault (header, unit, encoding, unequal cells).
    """
    check_unit(unit)
    stated = stated_facts(facts)
    name = as_letters(path)
    found = Mounts({}, [], [])
    spoilt: list[Spoilt] = []
    table = open_table(open_sheet(read_bytes(path), name, found.notes, spoilt), name, unit)
    if faults := _wrong_header(table):
        raise RefusedError(replace(fault, row=table.sheet.header_row) for fault in faults)
    if ignored := [one for one in table.ignored() if one not in OF_MOUNTS]:
        found.notes.append(f"columns not used: {', '.join(ignored)}")
    groups = table.groups("" if "blade" in table.place else PurePath(name).stem)
    faulty = faults_of_spoilt(spoilt, table)
    for who in {**groups, **faulty}:
        rows = groups.get(who, [])
        wrong = wrong_name(who, [row for row, _ in rows]) if rows else None
        if wrong:
            found.refused.append(wrong)
        if who in faulty:  # Such a row may be of any mounting.
            found.refused.extend(faulty[who])
        elif not wrong:
            _read_blade(found, table, who, rows, stated)
    return found


def _wrong_header(table: Table) -> list[Fault]:
    faults = []
    for column in table.place:
        near = "mount" if column.startswith("mount") else "clock_deg or clock_tooth"
        if column.startswith(("mount", "clock")) and column not in OF_MOUNTS:
            problem, cure = f"column {column} is not known", f"did you mean {near}? rename it"
            faults.append(Fault(problem, cure, column=column, value=column))
    if not faults and "mount" not in table.place:
        problem = "there is no column mount"
        cure = "add it: the name of the mounting that each reading is of"
        faults.append(Fault(problem, cure))
    if all(one in table.place for one in CLOCKS):
        problem, cure = f"the clock position is there twice: {' and '.join(CLOCKS)}", "keep one"
        faults.append(Fault(problem, cure, column=CLOCKS[1], value=" and ".join(CLOCKS)))
    return faults


def _read_blade(
    found: Mounts, table: Table, who: str, rows: Rows, stated: Mapping[str, Fact]
) -> None:
    """Add the mountings of one blade to `found`."""
    shared = dict(stated)
    for column, place in table.place.items():
        if column in FACT_COLUMNS and "mounts" not in FACT_COLUMNS[column][0].differs:
            # What is wrong with a cell is said when its own mounting is read.
            facts_of_column(who, column, rows, place, table.mark, shared)
    at = table.place["mount"]
    mounts: dict[str, Rows] = {}
    for row, cells in rows:
        mounts.setdefault(cells[at].strip(), []).append((row, cells))
    good: list[Mount] = []
    for mount, own in mounts.items():
        try:
            if not mount:
                others = also_in([row for row, _ in own[1:]])
                problem, cure = f"the mounting is missing{others}", "fill in mount in every row"
                raise RefusedError(Fault(problem, cure, who, own[0][0], "mount", ""))
            readings = table.blade(who, own, dict(shared), [])
            good.append(Mount(mount, _clock(table, who, own, readings.blade), readings))
        except RefusedError as error:
            found.refused.extend(
                replace(
                    fault,
                    blade=fault.blade or who or None,
                    problem=f"mount {mount}: {fault.problem}" if mount else fault.problem,
                )
                for fault in error.faults
            )
    if good:
        found.blades[who] = good


def _clock(table: Table, who: str, rows: Rows, blade: Blade) -> float | None:
    """Return the clock position of tooth 1 in degrees, None where it was not kept."""
    column = next((one for one in CLOCKS if one in table.place), None)
    if column is None:
        return None
    place = table.place[column]
    clock: float | None = None
    first = ("", 0)
    for row, cells in rows:
        cell = cells[place].strip()
        try:
            here = _clock_of_cell(column, cell, table.mark, blade)
        except NumberError as error:
            raise RefusedError(no_number(error, who, row, column, cell, table.mark)) from None
        if here is None or here == clock:
            continue
        if clock is not None:
            raise RefusedError(
                Fault(
                    f"{column} is {cell} here, but row {first[1]} says {first[0]}",
                    "a mounting has one clock position: let it agree, or, if the blade was "
                    "mounted again, give that mounting a name of its own",
                    who,
                    row,
                    column,
                    cell,
                )
            )
        clock, first = here, (cell, row)
    return clock


def _clock_of_cell(column: str, cell: str, mark: str, blade: Blade) -> float | None:
    if column == "clock_deg":
        degrees = parse_number(cell, mark)
        if degrees is not None and abs(degrees) > 360:
            raise NumberError(f"{cell} is more than a turn", "give degrees from 0 to 360")
        return None if degrees is None else wrap_360(degrees)
    tooth = parse_whole(cell, mark)
    if tooth is None:
        return None
    if not 1 <= tooth <= blade.teeth:
        problem = f"tooth {tooth} on a {blade.teeth}-tooth blade"
        raise NumberError(problem, f"give a tooth from 1 to {blade.teeth}")
    return wrap_360(-blade.angle_of(tooth))
