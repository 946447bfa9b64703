"""Tables of mountings: a blade read again and again, each time at a stated place on its arbor."""

from __future__ import annotations

import os
from dataclasses import replace
from typing import Any, NamedTuple

from bladegeom.angles import wrap_360
from bladegeom.blade import Blade
from bladegeom.columns import OF_MOUNTS
from bladegeom.faults import Fault, RefusedError, also_in
from bladegeom.lengths import NumberError, parse_number, parse_whole
from bladegeom.readings import Readings
from bladegeom.tables.blades import read_each
from bladegeom.tables.facts import no_number
from bladegeom.tables.table import Part, Rows, Table
from bladegeom.tables.text import read_bytes

CLOCKS = ("clock_deg", "clock_tooth")


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
    refused: list[Fault] = []

    def read(part: Part) -> list[Mount]:
        return _mountings(part, refused)

    name = os.fspath(path)
    blades, others, notes = read_each(
        read_bytes(path), name, read, own=OF_MOUNTS, check=_check, unit=unit, **facts
    )
    blades = {blade: good for blade, good in blades.items() if good}
    return Mounts(blades, [*refused, *others], notes)


def _check(table: Table) -> list[Fault]:
    faults = []
    if "mount" not in table.place:
        cure = "add it: the name of the mounting that each reading is of"
        faults.append(Fault("there is no column mount", cure))
    if all(one in table.place for one in CLOCKS):
        both = " and ".join(CLOCKS)
        problem = f"the clock position is there twice: {both}"
        faults.append(Fault(problem, "keep one", column=CLOCKS[1], value=both))
    return faults


def _mountings(part: Part, refused: list[Fault]) -> list[Mount]:
    """Return the mountings of one blade; what is wrong with some of them is added to `refused`."""
    if part.faults:  # A spoilt row may be of any mounting.
        raise RefusedError(part.faults)
    part.state(lambda column: "mounts" not in column.differs)
    # What is wrong with a cell is said when its own mounting is read.
    part.faults.clear()
    mounts: dict[str, Rows] = {}
    for mount, row in zip(part.words("mount"), part.rows, strict=True):
        mounts.setdefault(mount, []).append(row)
    good: list[Mount] = []
    for mount, rows in mounts.items():
        try:
            if not mount:
                others = also_in([row for row, _ in rows[1:]])
                problem, cure = f"the mounting is missing{others}", "fill in mount in every row"
                raise RefusedError(Fault(problem, cure, part.name, rows[0][0], "mount", ""))
            own = part.some(rows)
            readings = own.readings()
            good.append(Mount(mount, _clock(own, readings.blade), readings))
        except RefusedError as error:
            for fault in error.faults:
                said = f"mount {mount}: {fault.problem}" if mount else fault.problem
                refused.append(replace(fault, blade=fault.blade or part.name or None, problem=said))
    return good


def _clock(part: Part, blade: Blade) -> float | None:
    """Return the clock position of tooth 1 in degrees, None where it was not kept."""
    column = next((one for one in CLOCKS if one in part.table.place), None)
    if column is None:
        return None
    clock: float | None = None
    first = ("", 0)
    for (row, _), cell in zip(part.rows, part.words(column), strict=True):
        try:
            here = _clock_of_cell(column, cell, part.table.mark, blade)
        except NumberError as error:
            mark = part.table.mark
            raise RefusedError(no_number(error, part.name, row, column, cell, mark)) from None
        if here is None or here == clock:
            continue
        if clock is not None:
            raise RefusedError(
                Fault(
                    f"{column} is {cell} here, but row {first[1]} says {first[0]}",
                    "a mounting has one clock position: let it agree, or, if the blade was "
                    "mounted again, give that mounting a name of its own",
                    part.name,
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
