"""Tables of readings in: CSV in its dialects and XLSX, long or wide, one blade or many."""

from __future__ import annotations

import os
import warnings
from bisect import bisect
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from bladegeom.errors import BladegeomWarning, Fault, RefusedError, also_in, refuse
from bladegeom.measured.blade import Blade
from bladegeom.measured.blade_facts import read_blade_facts
from bladegeom.measured.columns import (
    FACT_COLUMNS,
    doubled_lengths,
    ignored_columns,
    one_reading_column,
    unknown_columns,
)
from bladegeom.measured.damage import damaged_name
from bladegeom.measured.decimals import sheet_mark
from bladegeom.measured.facts import (
    Fact,
    blade_of,
    check_unit,
    merge,
    need_teeth,
    reading_facts,
    stated_facts,
)
from bladegeom.measured.readings import Readings
from bladegeom.measured.row_cells import facts_of_column, numbers_of_row, turned_words
from bladegeom.measured.sheets import open_sheet
from bladegeom.measured.text import Sheet, Spoilt, read_bytes, spoilt_faults
from bladegeom.measured.unit_row import take_units
from bladegeom.measured.wide import ToothColumn, check_wide, tooth_columns, wide_readings

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
    """Read the readings of one blade from a CSV or XLSX file.

    Parameters
    ----------
    path : path
        One row a reading: columns ``tooth`` and one of ``reading_mm``, ``reading_in``,
        ``reading_thou``, ``reading_um``; optional ``blade``, ``turn``, ``order`` and the blade's
        facts. Or one row a blade, with a column for each tooth, named by its number (``1``,
        ``t1``, ``tooth_1_mm``). Units may stand in a row of their own under the header.
    blade : str, optional
        Which blade, where the file holds several.
    blades : path, optional
        A second CSV with one row of facts a blade.
    unit : {"mm", "in", "thou", "um"}, optional
        Unit of a column named only ``reading``, or of columns named only by their teeth.
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
    """Read every blade of a CSV or XLSX file; a fault in one blade's rows stops no other.

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
    notes: list[str] = []
    spoilt: list[Spoilt] = []
    table = open_table(open_sheet(data, name, notes, spoilt), name, unit)
    place = table.place
    second = None if blades is None else read_blade_facts(blades)
    if ignored := table.ignored():
        notes.append(f"columns not used: {', '.join(ignored)}")
    groups = table.groups("" if "blade" in place else PurePath(name).stem)
    faulty = faults_of_spoilt(spoilt, table)
    for who in faulty:
        groups.setdefault(who, [])

    batch = Batch([], [], notes)
    for who, rows in groups.items():
        if not rows:
            batch.refused.extend(faulty[who])
            continue
        if named := wrong_name(who, [row for row, _ in rows]):
            batch.refused.append(named)
            batch.refused.extend(faulty.get(who, ()))
            continue
        known = dict(stated)
        faults = list(faulty.get(who, ()))
        if second is not None:
            facts_of, wrong = second.find(
                who, named="blade" in place, alone=len(groups) == 1, row=rows[0][0]
            )
            faults += [*wrong, *merge(known, facts_of, who)]
        try:
            batch.readings.append(table.blade(who, rows, known, faults, written))
        except RefusedError as error:
            batch.refused.extend(
                fault if fault.blade else replace(fault, blade=who) for fault in error.faults
            )
    if second and "blade" in place and (missing := sorted(second.rows.keys() - groups - {""})):
        notes.append(f"no readings of: {_some(missing)}")
    return batch


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

    def ignored(self) -> list[str]:
        """Return the columns that are not used."""
        return [one for one in ignored_columns(self.place) if one != self.column]

    def groups(self, only: str) -> dict[str, list[tuple[int, list[str]]]]:
        """Return the rows of each blade; `only` names it in a table without a column ``blade``."""
        at = self.place.get("blade")
        groups: dict[str, list[tuple[int, list[str]]]] = {}
        for row, cells in self.sheet.rows:
            groups.setdefault(only if at is None else cells[at].strip(), []).append((row, cells))
        return groups

    def blade(
        self,
        name: str,
        rows: list[tuple[int, list[str]]],
        known: dict[str, Fact],
        faults: list[Fault],
        written: list[Written] | None = None,
    ) -> Readings:
        """Read one blade's rows, as `one_blade` does, of a table of either form.

        Raises
        ------
        RefusedError
        """
        if not self.teeth:
            return one_blade(
                name, rows, self.place, self.column, self.unit, self.mark, known, faults, written
            )
        faults += _facts_of_rows(name, rows, self.place, self.mark, known)
        teeth = known["teeth"].value if "teeth" in known else None
        keywords, wrong = wide_readings(name, rows, self.place, self.teeth, self.mark, teeth)
        faults += wrong
        faults.sort(key=lambda fault: fault.row or 0)
        _need_teeth(name, rows[0][0], known, faults)
        if faults:
            raise RefusedError(faults)
        keywords[f"reading_{self.unit}"] = keywords.pop("reading")
        return _made(name, known, keywords, written)


def open_table(sheet: Sheet, name: str, unit: str | None) -> Table:
    """Understand the header of the table called `name`; `unit` is what the user stated.

    Raises
    ------
    RefusedError
        With everything that is wrong with the header, or if its decimal mark cannot be told.
    """
    sheet, units = take_units(sheet)
    place = {one: sheet.header.index(one) for one in sheet.header if one}
    if not (sets := tooth_columns(sheet.header)):
        column, own = check_header(sheet, name, unit)
        return Table(sheet, column, own, sheet_mark(sheet, readings=column), place, [])
    teeth, own = check_wide(sheet, sets, units, unit)
    taken = {one.place for one in teeth}
    place = {one: at for one, at in place.items() if at not in taken}
    return Table(sheet, "", own, sheet_mark(sheet, places=taken), place, teeth)


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
    faults += doubled_lengths(sheet.header)
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
        fault_of_row, values = numbers_of_row(name, row, cells, place, column, mark, [*numbers])
        faults += fault_of_row
        for one, value in values.items():
            numbers[one].append(value)
    turned: list[str] = []
    if "turned" in place:
        turned, wrong = turned_words(name, rows, place["turned"])
        faults += wrong
    faults += _facts_of_rows(name, rows, place, mark, known)
    faults.sort(key=lambda fault: fault.row or 0)
    _need_teeth(name, rows[0][0], known, faults)
    if faults:
        raise RefusedError(faults)
    keywords: dict[str, Any] = {one: numbers[one] for one in numbers if one != column}
    keywords[f"reading_{unit}"] = numbers[column]
    keywords["turned"] = turned or None
    keywords["rows"] = [row for row, _ in rows]
    return _made(name, known, keywords, written)


def _facts_of_rows(
    name: str,
    rows: list[tuple[int, list[str]]],
    place: Mapping[str, int],
    mark: str,
    known: dict[str, Fact],
) -> list[Fault]:
    """Add what the rows state to `known`; return what is wrong with it, or lacking."""
    faults: list[Fault] = []
    for one in place:
        if one in FACT_COLUMNS:
            faults += facts_of_column(name, one, rows, place[one], mark, known)
    return faults


def _need_teeth(name: str, row: int, known: Mapping[str, Fact], faults: list[Fault]) -> None:
    if not any(fault.column in ("teeth", "blade") for fault in faults):
        try:
            need_teeth(known, name, row)
        except RefusedError as error:
            faults += error.faults


def _made(
    name: str, known: dict[str, Fact], keywords: dict[str, Any], written: list[Written] | None
) -> Readings:
    keywords |= reading_facts(known)
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
