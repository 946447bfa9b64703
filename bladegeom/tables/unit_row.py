"""The row of units that may stand right under a header."""

from __future__ import annotations

from bladegeom.columns import KNOWN_COLUMNS, STATED, Length
from bladegeom.faults import Fault, RefusedError
from bladegeom.lengths import MM_PER
from bladegeom.tables.text import Sheet

_UNITS = frozenset(MM_PER) | {"deg"}


def take_units(sheet: Sheet) -> tuple[Sheet, list[str]]:
    """Take the row of units off a table; columns without a unit in their name are given theirs.

    Parameters
    ----------
    sheet : Sheet

    Returns
    -------
    sheet : Sheet
        The same where there is no row of units.
    units : list of str
        A unit or "" for each column; empty where there is no row of units.

    Raises
    ------
    RefusedError
        If a unit contradicts its column, or stands under what has none.
    """
    if not sheet.rows:
        return sheet, []
    row, cells = sheet.rows[0]
    units = [cell.strip().lower() for cell in cells]
    if not any(units) or not all(unit in _UNITS for unit in units if unit):
        return sheet, []
    if "blade" in sheet.header and units[sheet.header.index("blade")]:
        return sheet, []  # A blade of that name.
    header, faults = [], []
    for column, unit in zip(sheet.header, units, strict=True):
        named, problem = _named(column, unit)
        header.append(named)
        if problem:
            faults.append(
                Fault(
                    problem,
                    "let the row of units and the column's name agree",
                    row=row,
                    column=column,
                    value=unit,
                )
            )
    if faults:
        raise RefusedError(faults)
    return sheet._replace(header=header, rows=sheet.rows[1:]), units


def _named(column: str, unit: str) -> tuple[str, str]:
    """Return a column's name with its unit, and what is wrong with that unit, if anything."""
    if not unit or not column:
        return column, ""
    own = "deg" if column.endswith("_deg") else KNOWN_COLUMNS.get(column, (None, ""))[1]
    if own:
        return column, "" if unit == own else f"the row of units says {unit} under {column}"
    if column == "reading" or isinstance(STATED.get(column), Length):
        if unit in MM_PER:
            return f"{column}_{unit}", ""
        return column, f"the row of units says {unit} under {column}, which is a length"
    if column in ("touch", "stylus"):
        if unit == "deg":
            return f"{column}_deg", ""
        return column, f"the row of units says {unit} under {column}, which is an angle"
    if column in KNOWN_COLUMNS:
        return column, f"the row of units says {unit} under {column}, which has no unit"
    return column, ""
