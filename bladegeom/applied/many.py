"""Many blades at once: a tidy frame of readings in, a frame of answers out."""

from __future__ import annotations

import warnings
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from bladegeom.applied.answer import blade_answer
from bladegeom.errors import BladegeomWarning, Fault, RefusedError, also_in
from bladegeom.fitted.fit import fit_wobble
from bladegeom.measured.blade import Blade
from bladegeom.measured.readings import Readings
from bladegeom.measured.tables import check_header, one_blade
from bladegeom.measured.text import Sheet, tidy_name
from bladegeom.result import in_columns

if TYPE_CHECKING:
    import pandas as pd

_NAMES = ("blade", "mount")
_OF_THE_BLADE = (
    "teeth",
    "diameter_mm",
    "plate_mm",
    "tooth_width_mm",
    "gullet_mm",
    "pitch_pattern",
    "tooth_pattern",
)
"""What remounting cannot change."""

_TEETH = ("near_tooth", "far_tooth", "neutral_tooth_1", "neutral_tooth_2", "better_tooth")
"""Columns of whole numbers that are blank where no direction is established."""


def fit_table(frame: pd.DataFrame) -> pd.DataFrame:
    """Fit every blade of a tidy frame: the numbers of `fit_wobble`, one row out a blade.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a reading, columns as in a CSV file of readings: ``tooth``, one of
        ``reading_mm``, ``reading_in``, ``reading_thou`` and ``reading_um``, and, where they
        matter, ``blade``, ``turn``, ``order``, ``turned`` and the blade's facts, as `read_table`
        returns them. With a column ``mount``, each blade is answered once for every mounting.
        Missing values are blank cells. The frame is not changed.

    Returns
    -------
    pandas.DataFrame
        One row a blade (and mounting), in the order in which they come. Columns are the keys of
        `blade_answer`, with ``mount`` behind ``blade`` if it was given; a pair is two columns,
        ``neutral_tooth_1`` and ``neutral_tooth_2``, and the warnings are one text. Lengths are in
        ``unit``, every ``_u`` is a standard uncertainty (k = 1), ``_low`` and ``_high`` are 95 %
        limits; missing where something is not established. Blades that cannot be answered are
        listed, as `Fault`, in ``attrs["refused"]``, behind those that `read_table` had left out,
        and a `BladegeomWarning` says so; rows count as in a spreadsheet, the header is row 1.

    Raises
    ------
    RefusedError
        If the columns are at fault, or no blade can be answered.
    """
    import pandas as pd

    sheet = _sheet(frame)
    place = {column: sheet.header.index(column) for column in sheet.header if column}
    mount_place = place.pop("mount", None)
    known = [column for column in sheet.header if column != "mount"]
    column, unit = check_header(sheet._replace(header=known), "the frame", None)
    groups: dict[tuple[str, str], list[tuple[int, list[str]]]] = {}
    for row, cells in sheet.rows:
        who = cells[place["blade"]] if "blade" in place else ""
        mount = "" if mount_place is None else cells[mount_place]
        groups.setdefault((who, mount), []).append((row, cells))

    refused: list[Fault] = []
    answers: list[dict[str, Any]] = []
    blades: dict[str, tuple[Blade, str]] = {}
    for (who, mount), rows in groups.items():
        try:
            for name, value in zip(_NAMES, (who, mount), strict=True):
                _check_named(name, value, name in sheet.header, rows)
            readings = one_blade(who, rows, place, column, unit, ".", {}, [])
            _check_same_blade(readings, blades, mount)
            answer = _in_row(readings)
        except RefusedError as error:
            refused += [_placed(fault, who, mount) for fault in error.faults]
            continue
        if mount_place is not None:
            answer = {"blade": answer.pop("blade"), "mount": mount, **answer}
        answers.append(answer)
    if not answers:
        raise RefusedError(refused)
    if refused:
        lines = "\n".join(f"  {fault}" for fault in refused)
        warnings.warn(f"left out:\n{lines}", BladegeomWarning, stacklevel=2)
    table = pd.DataFrame(answers)
    empty = table.columns[table.isna().all()]
    table = table.astype(dict.fromkeys(empty, "float64") | dict.fromkeys(_TEETH, "Int64"))
    table.attrs["refused"] = [*frame.attrs.get("refused", ()), *refused]
    return table


def _sheet(frame: pd.DataFrame) -> Sheet:
    """Return the frame as the cells of a table, so that it is read by the same rules."""
    header = [tidy_name(str(column)) for column in frame.columns]
    columns = [_cells(frame.iloc[:, at], whole=name in _NAMES) for at, name in enumerate(header)]
    rows = [
        (row, list(cells))
        for row, cells in enumerate(zip(*columns, strict=True), start=2)
        if any(cells)
    ]
    return Sheet(header, rows, ",", 1)


def _cells(column: pd.Series[Any], *, whole: bool) -> list[str]:
    """Return the values as text; in names that are numbers, 7.0 is 7 (`whole`)."""
    cells = []
    for value, missing in zip(column.tolist(), column.isna().tolist(), strict=True):
        if whole and isinstance(value, float) and value.is_integer():
            value = int(value)
        cells.append("" if missing else str(value).strip())
    return cells


def _check_named(name: str, value: str, there: bool, rows: list[tuple[int, list[str]]]) -> None:
    if there and not value:
        problem = f"the {'name of the blade' if name == 'blade' else 'mounting'} is missing"
        others = also_in([row for row, _ in rows[1:]])
        cure = f"fill in {name} in every row"
        raise RefusedError(Fault(f"{problem}{others}", cure, row=rows[0][0], column=name, value=""))


def _check_same_blade(readings: Readings, blades: dict[str, tuple[Blade, str]], mount: str) -> None:
    """Refuse a mounting that says of the blade itself what an earlier one denies."""
    blade = readings.blade
    earlier, there = blades.setdefault(blade.name, (blade, mount))
    faults = []
    for fact in _OF_THE_BLADE:
        here, before = getattr(blade, fact), getattr(earlier, fact)
        if here != before and here is not None and before is not None:
            problem = f"{fact} is {here} here, but mount {there} says {before}"
            cure = f"let {fact} agree everywhere, or state it once"
            faults.append(Fault(problem, cure, blade.name, column=fact, value=str(here)))
    if faults:
        raise RefusedError(faults)


def _in_row(readings: Readings) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for key, value in blade_answer(fit_wobble(readings)).items():
        row |= in_columns(key, value)
    return row


def _placed(fault: Fault, blade: str, mount: str) -> Fault:
    problem = f"mount {mount}: {fault.problem}" if mount else fault.problem
    return replace(fault, blade=fault.blade or blade or None, problem=problem)
