"""A table's cells from its bytes, and what they tell of themselves: units and decimal mark."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterable, Iterator
from contextlib import suppress
from datetime import date, datetime, time
from typing import Any

from bladegeom.columns import KNOWN_COLUMNS, STATED, Length
from bladegeom.faults import Fault, RefusedError, refuse
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


def open_sheet(data: bytes, name: str) -> Sheet:
    """Split the bytes of the file called `name` into cells, or raise RefusedError."""
    if is_workbook(data):
        # Its numbers cannot be mistaken; in its texts a point may mark thousands.
        return sheet_of_rows(workbook_rows(data, name), ";")
    notes: list[str] = []
    return split(decode(data, name, notes), name, KNOWN_COLUMNS)._replace(notes=notes)


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
    units = [cell.strip().lower() for cell in cells]
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


# A spreadsheet's own file

_ZEROS = re.compile(r"0{2,}")
_LIKE_THOUSANDS = re.compile(r"-?[1-9][0-9]{0,2}\.[0-9]{3}")
MOST_UNPACKED = 1 << 29
"""Bytes of a workbook without its compression."""

_DIGITS = 10**15
"""A spreadsheet keeps 15 digits of a number; beyond this the last are lost."""


def workbook_rows(data: bytes, name: str) -> list[list[str]]:
    """Return the rows of the only sheet with cells; numbers are written with a decimal point.

    Text stays as it is, leading zeros included; a number shown with leading zeros (a format such
    as ``0000``) keeps them. A date is written ``2026-01-02``. A formula is its stored value, or
    itself where none is stored.

    Raises
    ------
    RefusedError
        If openpyxl is not installed, the file is damaged, or not exactly one sheet has cells.
    """
    try:
        import openpyxl
    except ImportError:
        raise refuse(
            "it is a spreadsheet file, and openpyxl, which reads it, is not installed",
            'install it (pip install "bladegeom[xlsx]"), or save it as CSV UTF-8',
            file=name,
        ) from None

    _check_size(data, name)

    def load(*, values: bool) -> dict[str, list[tuple[Any, ...]]]:
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=values)
        sheets = {}
        for sheet in book.worksheets:
            sheet.reset_dimensions()
            sheets[sheet.title] = list(sheet.iter_rows())
        return sheets

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Of what is drawn in it, which is not read.
            sheets = load(values=True)
            formulas = load(values=False) if _has_formulas(data) else {}
    except Exception:  # A damaged archive fails in any way.
        raise refuse(
            "it is a spreadsheet file that cannot be read",
            "open it in the spreadsheet and save it as XLSX again, or save it as CSV UTF-8",
            file=name,
        ) from None
    held = [
        title
        for title, rows in (formulas or sheets).items()
        if any(cell.value is not None for cells in rows for cell in cells)
    ]
    if not held:
        raise refuse("it is empty", "it needs a header row and one row a reading", file=name)
    if len(held) > 1:
        raise refuse(
            f"it has {len(held)} sheets with cells: {', '.join(held)}",
            "keep one of them, or save the one that is meant as CSV UTF-8",
            file=name,
            value=", ".join(held),
        )
    (title,) = held
    return _padded(_texts(name, sheets[title], formulas.get(title)))


def _check_size(data: bytes, name: str) -> None:
    """Refuse a workbook that is far larger than its file: a little of it may fill all memory."""
    import zipfile  # Few tables are workbooks, and every start would wait.

    with suppress(zipfile.BadZipFile), zipfile.ZipFile(io.BytesIO(data)) as archive:
        size = sum(part.file_size for part in archive.infolist())
        if size > MOST_UNPACKED:
            problem = f"it would unpack to {size >> 20} MB, more than {MOST_UNPACKED >> 20}"
            raise refuse(problem, "save the sheet that is meant as CSV UTF-8", file=name)


def _has_formulas(data: bytes) -> bool:
    import zipfile

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return any(
            re.search(rb"<(?:\w+:)?f[ />]", archive.read(part))
            for part in archive.namelist()
            if "worksheets/" in part and part.endswith(".xml")
        )


def _texts(
    name: str, rows: list[tuple[Any, ...]], formulas: list[tuple[Any, ...]] | None
) -> list[list[str]]:
    texts: list[list[str]] = []
    header: list[str] = []
    for at, cells in enumerate(rows):
        line = [_text(cell) for cell in cells]
        if formulas is not None and at < len(formulas):
            for place, cell in enumerate(formulas[at]):
                if cell.value is None or place >= len(line) or cells[place].value is not None:
                    continue
                formula = str(getattr(cell.value, "text", cell.value))
                if not header or (place < len(header) and header[place] == "blade"):
                    raise RefusedError(
                        Fault(
                            "it has a formula without a value where a name should be",
                            "save it in the spreadsheet once more, or paste the values in place "
                            "of formulas",
                            file=name,
                            row=at + 1,
                            column=header[place] if header else None,
                            value=formula,
                        )
                    )
                line[place] = formula if formula.startswith("=") else f"={formula}"
        if not header and any(line):
            header = [cell.strip().lower() for cell in line]
        elif header:
            line = [
                f"{text}0"
                if _LIKE_THOUSANDS.fullmatch(text)
                and isinstance(cells[place].value, float)
                and not (place < len(header) and header[place] == "blade")
                else text
                for place, text in enumerate(line)
            ]
        texts.append(line)
    return texts


def _text(cell: Any) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, int | float):
        if isinstance(value, float) and not value.is_integer():
            return repr(value)
        if abs(value) >= _DIGITS:
            return f"{value:.5E}"
        whole = str(int(value))
        shown = str(cell.number_format)
        return whole.zfill(len(shown)) if _ZEROS.fullmatch(shown) else whole
    if isinstance(value, datetime) and value.time() == time():
        return value.date().isoformat()
    if isinstance(value, date | datetime):
        return value.isoformat(sep=" ") if isinstance(value, datetime) else value.isoformat()
    return str(value)


def _padded(rows: Iterable[list[str]]) -> list[list[str]]:
    """Return rows of equal length, as long as the last cell in use: a spreadsheet has no ends.

    Blank rows stay empty: before a stray cell far off there may be a million of them.
    """
    lines = list(rows)
    width = max(
        (place + 1 for line in lines for place, text in enumerate(line) if text.strip()), default=0
    )
    return [
        [*line[:width], *[""] * (width - len(line))] if any(map(str.strip, line)) else []
        for line in lines
    ]
