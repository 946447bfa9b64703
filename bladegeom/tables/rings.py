"""Rings: readings of one blade at several distances from the arbor's axis."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from bladegeom.columns import FACT_COLUMNS, OF_RINGS
from bladegeom.faults import Fault, RefusedError, also_in, refuse
from bladegeom.lengths import NumberError, parse_number
from bladegeom.readings import Readings
from bladegeom.tables.blades import chosen, read_each
from bladegeom.tables.table import Part, Rows
from bladegeom.tables.text import read_bytes

STANDS = ("front", "back")

_WORDS: dict[str, Mapping[str, object]] = {
    "stand": {one: one for one in STANDS},
    "flipped": {"no": False, "yes": True},
}


_WHICH_STAND = "write front or back: on which side of the arbor the stylus stood"
_WHICH_FACE = "give True where the blade's other face was out, else False"
_WHICH_ZERO = "give a word: rings with the same word share the dial's zero"


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
