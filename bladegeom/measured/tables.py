"""Tables of readings in: CSV in its dialects, one blade or many."""

from __future__ import annotations

import math
import os
import warnings
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from bladegeom.errors import BladegeomWarning, Fault, RefusedError, also_in, refuse
from bladegeom.measured.blade import Blade
from bladegeom.measured.blade_facts import read_blade_facts
from bladegeom.measured.columns import (
    FACT_COLUMNS,
    KNOWN_COLUMNS,
    LENGTH_COLUMNS,
    ignored_columns,
    one_reading_column,
    unknown_columns,
)
from bladegeom.measured.decimals import sheet_mark
from bladegeom.measured.facts import (
    Fact,
    blade_of,
    check_unit,
    merge,
    need_teeth,
    parse_fact,
    reading_facts,
    stated_facts,
)
from bladegeom.measured.readings import WAYS, Readings
from bladegeom.measured.text import Sheet, decode, read_bytes, split
from bladegeom.units import NumberError, parse_number, parse_whole

if TYPE_CHECKING:
    import pandas as pd

Path = str | os.PathLike[str]


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


def read_blade(
    path: Path,
    *,
    blade: str | None = None,
    blades: Path | None = None,
    unit: str | None = None,
    **facts: Any,
) -> Readings:
    """Read the readings of one blade from a CSV file.

    Parameters
    ----------
    path : path
        CSV: columns ``tooth`` and one of ``reading_mm``, ``reading_in``, ``reading_thou``,
        ``reading_um``; optional ``blade``, ``turn``, ``order`` and the blade's facts.
    blade : str, optional
        Which blade, where the file holds several.
    blades : path, optional
        A second CSV with one row of facts a blade.
    unit : {"mm", "in", "thou", "um"}, optional
        Unit of a column named only ``reading``.
    **facts
        Facts named as the columns: ``teeth=40, ring_radius_in=4.5``.

    Returns
    -------
    Readings

    Raises
    ------
    RefusedError
        With every fault found, each with its row and cure.
    """
    batch = read_blades(path, blades=blades, unit=unit, **facts)
    names = [readings.blade.name for readings in batch.readings]
    if blade is None:
        if batch.refused:
            raise RefusedError(batch.refused)
        if len(names) == 1:
            return batch.readings[0]
        raise refuse(
            f"{os.fspath(path)} holds {len(names)} blades: {_some(names)}",
            "choose one by its name (blade=...), or read them all with read_table",
            value=len(names),
        )
    if blade in names:
        return batch.readings[names.index(blade)]
    if faults := [fault for fault in batch.refused if fault.blade == blade]:
        raise RefusedError(faults)
    others = sorted({*names, *(fault.blade for fault in batch.refused if fault.blade)})
    raise refuse(
        f"{os.fspath(path)} holds no blade {blade}", f"it holds {_some(others)}", value=blade
    )


def read_table(
    path: Path, *, blades: Path | None = None, unit: str | None = None, **facts: Any
) -> pd.DataFrame:
    """Read many blades into a tidy frame, one row a reading.

    Parameters
    ----------
    path, blades, unit, **facts
        As for `read_blade`.

    Returns
    -------
    pandas.DataFrame
        Columns ``blade``, ``tooth``, ``turn``, ``reading_<unit>`` and every fact that is stated
        (lengths in mm). Teeth not read have no row. What was refused is listed, as `Fault`, in
        ``frame.attrs["refused"]``, and a `BladegeomWarning` says so.

    Raises
    ------
    RefusedError
        If the file as a whole is at fault, or no blade in it can be answered.
    """
    import pandas as pd

    batch = read_blades(path, blades=blades, unit=unit, **facts)
    if not batch.readings:
        raise RefusedError(batch.refused)
    frame = pd.concat([pd.DataFrame(columns_of(one)) for one in batch.readings], ignore_index=True)
    frame.attrs["refused"] = list(batch.refused)
    if batch.refused:
        lines = "\n".join(f"  {fault}" for fault in batch.refused)
        warnings.warn(f"left out:\n{lines}", BladegeomWarning, stacklevel=2)
    return frame


def read_blades(
    path: Path, *, blades: Path | None = None, unit: str | None = None, **facts: Any
) -> Batch:
    """Read every blade of a CSV file; a fault in one blade's rows leaves the others standing.

    Parameters
    ----------
    path, blades, unit, **facts
        As for `read_blade`.

    Returns
    -------
    Batch

    Raises
    ------
    RefusedError
        If the file as a whole is at fault (header, unit, encoding, unequal cells).
    """
    return parse_blades(read_bytes(path), os.fspath(path), blades=blades, unit=unit, **facts)


def parse_blades(
    data: bytes,
    name: str,
    *,
    blades: Path | None = None,
    unit: str | None = None,
    written: list[Written] | None = None,
    **facts: Any,
) -> Batch:
    """Do the work of `read_blades` on the bytes of a table called `name`.

    What was written of each blade is added to `written`, also where its readings are refused.
    """
    check_unit(unit)
    stated = stated_facts(facts)
    sheet = split(decode(data, name), name, KNOWN_COLUMNS)
    column, own_unit = check_header(sheet, name, unit)
    second = None if blades is None else read_blade_facts(blades)
    mark = sheet_mark(sheet, readings=column)
    notes = []
    if ignored := [other for other in ignored_columns(sheet.header) if other != column]:
        notes.append(f"columns not used: {', '.join(ignored)}")

    place = {one: sheet.header.index(one) for one in sheet.header if one}
    only = "" if "blade" in place else PurePath(name).stem
    groups: dict[str, list[tuple[int, list[str]]]] = {}
    for row, cells in sheet.rows:
        who = cells[place["blade"]].strip() if "blade" in place else only
        groups.setdefault(who, []).append((row, cells))

    batch = Batch([], [], notes)
    for who, rows in groups.items():
        if not who:
            batch.refused.append(
                Fault(
                    f"the blade's name is missing{also_in([row for row, _ in rows[1:]])}",
                    "name the blade in every row",
                    row=rows[0][0],
                    column="blade",
                    value="",
                )
            )
            continue
        known = dict(stated)
        faults: list[Fault] = []
        if second is not None:
            facts_of, wrong = second.find(
                who, named="blade" in place, alone=len(groups) == 1, row=rows[0][0]
            )
            faults = [*wrong, *merge(known, facts_of, who)]
        try:
            batch.readings.append(
                one_blade(who, rows, place, column, own_unit, mark, known, faults, written)
            )
        except RefusedError as error:
            batch.refused.extend(
                fault if fault.blade else replace(fault, blade=who) for fault in error.faults
            )
    if second and "blade" in place and (missing := sorted(second.rows.keys() - groups - {""})):
        notes.append(f"no readings of: {_some(missing)}")
    return batch


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
    for fact, columns in _doubled_lengths(sheet.header).items():
        both = " and ".join(columns)
        faults.append(
            Fault(f"{fact} is given twice: {both}", "keep one", column=columns[1], value=both)
        )
    column = own_unit = ""
    try:
        column, own_unit = one_reading_column(sheet.header, unit)
    except RefusedError as error:
        if not any("reading" in f"{fault.column} {fault.cure}" for fault in faults):
            faults += error.faults
    if "tooth" not in sheet.header and not any("tooth" in fault.cure for fault in faults):
        faults.append(
            Fault("there is no column tooth", "add it: the tooth that each reading is of")
        )
    if faults:
        raise RefusedError(replace(fault, row=sheet.header_row) for fault in faults)
    if not sheet.rows:
        raise refuse(f"{name} has a header and no rows", "add one row a reading")
    return column, own_unit


def _doubled_lengths(header: Iterable[str]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for column in header:
        if column in LENGTH_COLUMNS:
            found.setdefault(LENGTH_COLUMNS[column][0], []).append(column)
    return {fact: columns for fact, columns in found.items() if len(set(columns)) > 1}


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
        fault_of_row, values = _numbers_of_row(name, row, cells, place, column, mark, [*numbers])
        faults += fault_of_row
        for one, value in values.items():
            numbers[one].append(value)
    turned: list[str] = []
    if "turned" in place:
        turned, wrong = _turned(name, rows, place["turned"])
        faults += wrong
    for one in place:
        if one in FACT_COLUMNS:
            faults += _facts_of_column(name, one, rows, place[one], mark, known)
    faults.sort(key=lambda fault: fault.row or 0)
    if not any(fault.column in ("teeth", "blade") for fault in faults):
        try:
            need_teeth(known, name, rows[0][0])
        except RefusedError as error:
            faults += error.faults
    if faults:
        raise RefusedError(faults)
    keywords: dict[str, Any] = {one: numbers[one] for one in numbers if one != column}
    keywords[f"reading_{unit}"] = numbers[column]
    keywords |= reading_facts(known)
    keywords["turned"] = turned or None
    keywords["rows"] = [row for row, _ in rows]
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


def _facts_of_column(
    name: str,
    column: str,
    rows: list[tuple[int, list[str]]],
    place: int,
    mark: str,
    known: dict[str, Fact],
) -> list[Fault]:
    """Add what a constant column states to `known`; the same cell is read, and refused, once."""
    found: dict[str, list[int]] = {}
    for row, cells in rows:
        found.setdefault(cells[place].strip(), []).append(row)
    faults: list[Fault] = []
    for cell, (row, *others) in found.items():
        try:
            fact = parse_fact(column, cell, mark, f"row {row}", row)
            wrong = merge(known, dict([fact]), name) if fact else []
        except NumberError as error:
            wrong = [Fault(f"{column}: {error.problem}", error.cure, name, row, column, cell)]
        faults += [replace(one, problem=f"{one.problem}{also_in(others)}") for one in wrong]
    return faults


def _turned(
    name: str, rows: list[tuple[int, list[str]]], place: int
) -> tuple[list[str], list[Fault]]:
    words = [cells[place].strip().lower() for _, cells in rows]
    if not any(words):
        return [], []
    return words, [
        Fault(
            f"turned is {word!r}",
            "write forward or backward in every row",
            name,
            row,
            "turned",
            word,
        )
        for word, (row, _) in zip(words, rows, strict=True)
        if word not in WAYS
    ]


def _numbers_of_row(
    name: str,
    row: int,
    cells: list[str],
    place: Mapping[str, int],
    column: str,
    mark: str,
    wanted: Iterable[str],
) -> tuple[list[Fault], dict[str, float]]:
    faults: list[Fault] = []
    values: dict[str, float] = {}
    for one in wanted:
        cell = cells[place[one]]
        try:
            value = parse_number(cell, mark) if one == column else parse_whole(cell, mark)
        except NumberError as error:
            cure = error.cure if one == column else f"write the {one} as a whole number"
            faults.append(Fault(f"{one}: {error.problem}", cure, name, row, one, cell.strip()))
            continue
        if value is None and one in ("turn", "order") and math.isnan(values.get(column, 0.0)):
            value = 0  # Nothing was read here, so nothing to place in a turn or an order.
        if value is None and one != column:
            faults.append(
                Fault(
                    f"{one} is blank",
                    f"say which {one} the reading is of",
                    name,
                    row,
                    one,
                    cell.strip(),
                )
            )
            continue
        values[one] = float("nan") if value is None else float(value)
    return faults, values


def columns_of(readings: Readings) -> dict[str, Any]:
    """Return one blade's readings as the columns of a table, facts as single values."""
    blade = readings.blade
    columns: dict[str, Any] = {
        "blade": blade.name,
        "tooth": readings.tooth,
        "turn": readings.turn,
        "turned": np.where(readings.way > 0, "forward", "backward")
        if (readings.way < 0).any()
        else None,
        f"reading_{readings.unit}": readings.reading,
        "teeth": blade.teeth,
        "diameter_mm": blade.diameter_mm,
        "ring_radius_mm": readings.ring_radius_mm,
        "plate_mm": blade.plate_mm,
        "tooth_width_mm": blade.tooth_width_mm,
        "gullet_mm": blade.gullet_mm,
        "graduation_mm": readings.graduation_mm,
        "ring_radius_u_mm": readings.ring_radius_u_mm,
        "end_float_mm": readings.end_float_mm,
        "dial_turn_mm": readings.dial_turn_mm,
        "stylus_deg": readings.stylus_deg or None,
        "tooth_pattern": " ".join(blade.tooth_pattern or ()) or None,
        "numbered": blade.numbered,
        "surface": readings.surface,
        "touch_deg": readings.touch_deg,
        "pitch_pattern": " ".join(f"{gap!r}" for gap in blade.pitch_pattern or ()) or None,
        "side": readings.side or None,
    }
    return {column: value for column, value in columns.items() if value is not None}


def _some(names: Sequence[str], most: int = 8) -> str:
    listed = ", ".join(str(name) for name in names[:most])
    return listed + (f" and {len(names) - most} more" if len(names) > most else "")
