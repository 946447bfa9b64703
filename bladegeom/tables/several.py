"""Several sets of readings of one blade: in mountings on its arbor, or at rings of its plate."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from bladegeom.angles import wrap_360
from bladegeom.blade import Blade
from bladegeom.columns import FACT_COLUMNS, OF_MOUNTS, OF_RINGS
from bladegeom.faults import Fault, RefusedError, also_in, refuse
from bladegeom.kinds import checked
from bladegeom.lengths import NumberError, parse_number, parse_whole
from bladegeom.readings import Readings
from bladegeom.tables.blades import chosen, read_each
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
        The mountings of each blade that can be answered, in the order of the file. Two of one
        name are told apart by whose they are: ``A-40 of Nightjar Mill``.
    refused : list of Fault
        Every fault of the others.
    notes : list of str
        What else the reader should know of the file.
    """

    blades: dict[str, list[Mount]]
    refused: list[Fault]
    notes: list[str]


@checked
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
    names = Counter(who.name for who in blades)
    called = {who: who.name if names[who.name] == 1 else str(who) for who in blades}
    good = {called[who]: mounts for who, mounts in blades.items() if mounts}
    return Mounts(good, [*refused, *others], notes)


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
                refused.append(replace(fault, problem=said).of(part.who))
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


STANDS = ("front", "back")

_WORDS: dict[str, Mapping[str, object]] = {
    "stand": {one: one for one in STANDS},
    "flipped": {"no": False, "yes": True},
}


_WHICH_STAND = "write front or back: on which side of the arbor the stylus stood"
_WHICH_FACE = "give True where the blade's other face was out, else False"
_WHICH_ZERO = "give a word: rings with the same word share the dial's zero"


@checked
@dataclass(frozen=True, eq=False)
class Ring:
    """Readings of one blade at one ring, in one mounting.

    Attributes
    ----------
    readings : Readings
        Of the plate, with the ring's radius stated. Teeth go by the numbers on the blade, also
        where it is flipped.
    stand : {"front", "back"}
        On which side of the arbor the stylus stood. Front and back belong to one straight line
        through the arbor's axis, such as the table's slot: if the indicator is carried along it
        and the line is not square to the arbor, its readings gain with the distance at the front
        what they lose at the back.
    flipped : bool
        Whether the blade was mounted with its other face toward the indicator.
    zero : str
        Rings with the same word share the dial's zero: neither dial nor stand was set anew
        between them, nor between the turns of one ring. A ring that was read after the dial was
        set anew has a word of its own. A flipped blade is mounted anew, so its words are apart.

    Raises
    ------
    RefusedError
    """

    readings: Readings
    stand: str = "front"
    flipped: bool = False
    zero: str = ""

    def __post_init__(self) -> None:
        name = self.readings.blade.name
        for column, right, cure in (
            ("stand", self.stand in STANDS, _WHICH_STAND),
            ("flipped", isinstance(self.flipped, bool), _WHICH_FACE),
            ("zero", isinstance(self.zero, str), _WHICH_ZERO),
        ):
            if not right:
                value = getattr(self, column)
                problem = f"{column} is {value!r}"
                raise refuse(problem, cure, value=value, blade=name, column=column)
        if self.readings.ring_radius_mm is None:
            cure = "state ring_radius, from the arbor's axis to the stylus"
            raise refuse("a ring without its radius", cure, blade=name, column="ring_radius")

    @property
    def radius_mm(self) -> float:
        """Ring radius in millimetres."""
        radius = self.readings.ring_radius_mm
        assert radius is not None
        return radius

    @property
    def words(self) -> str:
        """The ring in words: its radius, where it was read, and its zero."""
        inches = self.readings.unit in ("in", "thou")
        radius = f"{self.radius_mm / 25.4:.4g} in" if inches else f"{self.radius_mm:.4g} mm"
        parts = [f"ring {radius}", self.stand, *(["flipped"] if self.flipped else [])]
        return ", ".join(parts + ([f"zero {self.zero}"] if self.zero else []))


@checked
def read_rings(
    path: str | os.PathLike[str],
    *,
    blade: str | None = None,
    unit: str | None = None,
    **facts: Any,
) -> list[Ring]:
    """Read the rings of one blade from a CSV or XLSX file.

    Parameters
    ----------
    path : path
        As for `read_blade`, the column ``ring_radius_mm`` (or another unit) saying in every row at
        which ring it was read. Optional columns, see `Ring`: ``stand`` (front or back),
        ``flipped`` (yes or no) and ``zero``; where one is there, it is filled in in every row.
        Rows that agree in all four are one ring.
    blade : str, optional
        Which blade, where the file holds several.
    unit : {"mm", "in", "thou", "um"}, optional
        Unit of a column named only ``reading``.
    **facts
        Facts, lengths with their unit: ``teeth=40, diameter="10 in"``.

    Returns
    -------
    list of Ring
        In the order of the file. What one row says of the blade or the indicator (teeth, sizes,
        graduation) holds for all rings.

    Raises
    ------
    RefusedError
        With every fault found, each with its row and cure.
    """
    made, refused, _ = read_each(
        read_bytes(path), os.fspath(path), _rings, own=OF_RINGS, unit=unit, **facts
    )
    return chosen(made, refused, blade, path)


def _rings(part: Part) -> list[Ring]:
    """Return the rings of one blade, or raise RefusedError with all that is wrong."""
    stated = "ring_radius" in part.known
    part.state(lambda column: "rings" not in column.differs)
    part.need_teeth()
    said = {fault.column for fault in part.faults}
    groups, wrong = _groups(part, blank_radius=stated)
    part.faults += wrong
    rings: list[Ring] = []
    for (_, stand, flipped, zero), rows in groups.items():
        try:
            readings = part.some(rows).readings()
            if not wrong:
                rings.append(Ring(readings, stand, flipped, zero))
        except RefusedError as error:
            part.faults += [fault for fault in error.faults if fault.column not in said]
    if part.faults:
        raise RefusedError(sorted(dict.fromkeys(part.faults), key=lambda fault: fault.row or 0))
    return rings


def _groups(
    part: Part, *, blank_radius: bool
) -> tuple[dict[tuple[str | float, str, bool, str], Rows], list[Fault]]:
    """Return the rows of each ring, and what is wrong with the cells that set rings apart."""
    found = Part(part.table, part.name, part.rows)
    stand, flipped, zero = (_words_of(found, column) for column in OF_RINGS)
    place = part.table.place
    radius = next((one for one in place if _is_radius(one)), "")
    cells = part.words(radius)
    blank = [row for (row, _), cell in zip(part.rows, cells, strict=True) if cell in ("", "?")]
    if radius and blank and not blank_radius:
        problem = f"{radius} is blank{also_in(blank[1:])}"
        cure = "write in every row at which ring it was read"
        found.wrong(blank[0], radius, "", problem, cure)
    groups: dict[tuple[str | float, str, bool, str], Rows] = {}
    for row, cell, *rest in zip(part.rows, cells, stand, flipped, zero, strict=True):
        groups.setdefault((_same(cell, part.table.mark), *rest), []).append(row)
    return groups, found.faults


def _is_radius(column: str) -> bool:
    return column in FACT_COLUMNS and FACT_COLUMNS[column][0].name == "ring_radius"


def _same(cell: str, mark: str) -> str | float:
    """Return a radius so that 4.5 and 4.50 are one ring; what is no number is said later."""
    try:
        value = parse_number(cell, mark)
    except NumberError:
        return cell
    return "" if value is None else value


def _words_of(part: Part, column: str) -> list[Any]:
    """Read ``stand``, ``flipped`` or ``zero``; what is left out altogether is front, no and ""."""
    words, cells = _WORDS.get(column), part.words(column)
    first: Any = next(iter(words.values())) if words else ""
    if not any(cells):
        return [first] * len(cells)
    found: dict[str, list[int]] = {}
    for (row, _), cell in zip(part.rows, cells, strict=True):
        if not cell or (words and cell.lower() not in words):
            found.setdefault(cell, []).append(row)
    cure = "write in every row which zero of the dial it shares, in a word of your own"
    if words:
        cure = f"write {' or '.join(words)} in every row"
    for cell, (row, *others) in found.items():
        problem = f"{column} is {cell!r}" if cell else f"{column} is blank"
        part.wrong(row, column, cell, problem + also_in(others), cure)
    # A wrong word keeps its rows apart from others, so that it is the only fault that is found.
    return [words.get(cell.lower(), cell) if words else cell for cell in cells]
