"""A table's cells from its bytes, and what they tell of themselves: units and decimal mark."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from bladegeom.columns import KNOWN_COLUMNS, STATED, Length
from bladegeom.faults import Fault, RefusedError
from bladegeom.lengths import MM_PER
from bladegeom.tables.text import Sheet, decode, sheet_of_rows, split

_UNITS = frozenset(MM_PER) | {"deg"}
_POINT = re.compile(r"[+\-\u2212]?[0-9]*\.[0-9]*(?:[eE][+-]?[0-9]+)?")
_COMMA = re.compile(r"[+\-\u2212]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?")
_THOUSANDS = re.compile(r"[+\-\u2212]?[1-9][0-9]{0,2}[.,][0-9]{3}")

_RATHER = 20
"""So many plain numbers with one mark to each with the other make the other a slip of its cell."""


def is_workbook(data: bytes) -> bool:
    """Return whether bytes are a spreadsheet's own file."""
    return data.startswith(b"PK\x03\x04")


def open_sheet(data: bytes, name: str, sheet: str | None = None) -> Sheet:
    """Split the bytes of the file called `name` into cells, or raise RefusedError.

    `sheet` is the one that is meant of a workbook with several.
    """
    if is_workbook(data):
        from bladegeom.tables._workbook import workbook_rows  # Few tables are, and all would wait.

        # Its numbers cannot be mistaken; in its texts a point may mark thousands.
        return sheet_of_rows(workbook_rows(data, name, sheet), ";", KNOWN_COLUMNS)
    notes: list[str] = []
    found = split(decode(data, name, notes), name, KNOWN_COLUMNS)
    return found._replace(notes=[*notes, *found.notes])


def take_units(sheet: Sheet) -> tuple[Sheet, list[str]]:
    """Take the row of units off a table; columns without a unit in their name are given theirs.

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
    units = [cell.strip("()[] \t").lower() for cell in cells]
    if not any(units) or not all(unit in _UNITS for unit in units if unit):
        return sheet, []
    if "blade" in sheet.header and units[sheet.header.index("blade")]:
        return sheet, []  # A blade of that name.
    named = [_named(column, unit) for column, unit in zip(sheet.header, units, strict=True)]
    cure = "let the row of units and the column's name agree"
    faults = [
        Fault(problem, cure, row=row, column=column, value=unit)
        for column, unit, (_, problem) in zip(sheet.header, units, named, strict=True)
        if problem
    ]
    if faults:
        raise RefusedError(faults)
    return sheet._replace(header=[one for one, _ in named], rows=sheet.rows[1:]), units


def _named(column: str, unit: str) -> tuple[str, str]:
    """Return a column's name with its unit, and what is wrong with that unit, if anything."""
    if not unit or not column:
        return column, ""
    said = f"the row of units says {unit} under {column}"
    own = "deg" if column.endswith("_deg") else KNOWN_COLUMNS.get(column, (None, ""))[1]
    if own:
        return column, "" if unit == own else said
    if column == "reading" or isinstance(STATED.get(column), Length):
        return (
            (f"{column}_{unit}", "") if unit in MM_PER else (column, f"{said}, which is a length")
        )
    if f"{column}_deg" in KNOWN_COLUMNS:
        return (f"{column}_deg", "") if unit == "deg" else (column, f"{said}, which is an angle")
    return column, f"{said}, which has no unit" if column in KNOWN_COLUMNS else ""


def decimal_mark(cells: Iterable[tuple[int, str]], separator: str) -> str:
    """Tell the decimal mark of a table, point or comma, from the cells that should hold numbers.

    Parameters
    ----------
    cells : iterable of (int, str)
        Row and text of each.
    separator : str
        What stands between the cells.

    Returns
    -------
    {".", ","}

    Raises
    ------
    RefusedError
        If both marks occur, or if every marked number could as well be thousands (``1,234``). One
        mark only here and there among the other is a slip of its cells, and none of the table.
    """
    first: dict[str, tuple[int, str]] = {}
    count = {".": 0, ",": 0}
    certain = {".": 0, ",": 0}
    for row, cell in cells:
        text = cell.strip()
        if "." not in text and "," not in text:
            continue
        mark = "." if _POINT.fullmatch(text) else "," if _COMMA.fullmatch(text) else None
        if mark is None:
            continue
        first.setdefault(mark, (row, text))
        count[mark] += 1
        if not _THOUSANDS.fullmatch(text):
            certain[mark] += 1
    for mark, other in ((".", ","), (",", ".")):
        if count[other] and certain[mark] >= _RATHER * count[other]:
            return mark
    if len(first) > 1:
        (point_row, point), (comma_row, comma) = first["."], first[","]
        raise RefusedError(
            Fault(
                f"decimal points and decimal commas are mixed: {comma} here, {point} in row "
                f"{point_row}",
                "use one of the two throughout",
                row=comma_row,
                value=comma,
            )
        )
    if not first:
        return "."
    mark, (row, text) = next(iter(first.items()))
    # Between commas a point can only be a decimal point.
    if certain[mark] or (mark == "." and separator == ","):
        return mark
    raise RefusedError(
        Fault(
            f"{text} could be {text.replace(mark, '.')} or {text.replace(mark, '')}, and no other "
            "number tells which",
            f"write one number so that it is plain, such as {text}0, or put commas between the "
            "cells and use decimal points",
            row=row,
            value=text,
        )
    )


def sheet_mark(sheet: Sheet, readings: str = "", places: Iterable[int] = ()) -> str:
    """Tell the decimal mark of a sheet from its columns of numbers, as `decimal_mark` does.

    `readings` is the name of one more column of numbers, `places` are those of others.
    """
    return decimal_mark(_words(sheet, readings, places), sheet.separator)


def plainly_points(sheet: Sheet, readings: str = "", places: Iterable[int] = ()) -> bool:
    """Return whether a number of these columns has a point that can be nothing but decimal."""
    return any(
        _POINT.fullmatch(word) and "." in word and not _THOUSANDS.fullmatch(word)
        for _, word in _words(sheet, readings, places)
    )


def _words(sheet: Sheet, readings: str, places: Iterable[int]) -> Iterator[tuple[int, str]]:
    named = [
        place
        for place, column in enumerate(sheet.header)
        if (column in KNOWN_COLUMNS and KNOWN_COLUMNS[column][0].numbers) or column == readings
    ]
    held = [*places, *named]
    for row, cells in sheet.rows:
        for place in held:
            for word in cells[place].split():
                yield row, word
