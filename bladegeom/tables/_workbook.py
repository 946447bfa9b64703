"""A spreadsheet's own file (XLSX) as rows of text."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterable
from contextlib import suppress
from datetime import date, datetime, time
from typing import Any, NamedTuple, cast

from bladegeom.columns import KNOWN_COLUMNS, READING_COLUMNS
from bladegeom.faults import Fault, RefusedError, also_in, refuse
from bladegeom.tables.header import tooth_columns
from bladegeom.tables.text import header_of

_ZEROS = re.compile(r"0{2,}")
_ROW = re.compile(rb"<(?:\w+:)?row ([^>]*)")
_HIDDEN, _AT = re.compile(rb'hidden="(?:1|true)"'), re.compile(rb'\br="([0-9]+)"')
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell [^>]*ref="([A-Z]{1,3})([0-9]+):([A-Z]{1,3})([0-9]+)"')
_LIKE_THOUSANDS = re.compile(r"-?[1-9][0-9]{0,2}[.,][0-9]{3}")
_COMMA = re.compile(r"[+\-\u2212]?[0-9]*,[0-9]+")
_POINT = re.compile(r"[+\-\u2212]?[0-9]*\.[0-9]+")
READINGS, FACTS, HOW = "readings", "facts", "how to read"
"""Sheets of a workbook that was made to be filled in."""

MOST_UNPACKED = 1 << 29
"""Bytes of a workbook without its compression."""

_DIGITS = 10**15
"""A spreadsheet keeps 15 digits of a number; beyond this the last are lost."""


def workbook_rows(data: bytes, name: str, sheet: str | None = None) -> list[list[str]]:
    """Return the rows of the only sheet with cells, or of the one that is meant.

    Of a workbook that was made to be filled in, that is the one with the readings. Numbers are
    written with a decimal point, or with a comma where those that are text have one.

    Text stays as it is, leading zeros included; a number shown with leading zeros (a format such
    as ``0000``) keeps them. A date is written ``2026-01-02``. A formula is its stored value, or
    itself where none is stored. What is merged down a column stands in each of its rows.

    Raises
    ------
    RefusedError
        If openpyxl is not installed, the file is damaged, several sheets have cells and none is
        named, rows with cells are hidden, or cells merged that hold readings.
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

    parts: dict[str, str] = {}

    def load(*, values: bool) -> dict[str, list[tuple[Any, ...]]]:
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=values)
        sheets = {}
        for page in cast("list[Any]", book.worksheets):
            page.reset_dimensions()
            sheets[page.title] = list(page.iter_rows())
            parts[page.title] = page._worksheet_path  # Nothing public says where it lies.
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
    if sheet is None and {READINGS, FACTS} <= {*held} <= {READINGS, FACTS, HOW}:
        sheet = READINGS
    if sheet is not None and sheet not in held:
        problem = f"it has no sheet {sheet} with cells"
        raise refuse(problem, f"name one of {', '.join(held)}", file=name, value=sheet)
    if sheet is None and len(held) > 1:
        raise refuse(
            f"it has {len(held)} sheets with cells: {', '.join(held)}",
            "say which (--sheet NAME, sheet=...), keep one of them, or save the one that is meant "
            "as CSV UTF-8",
            file=name,
            value=", ".join(held),
        )
    title = held[0] if sheet is None else sheet
    rows = _texts(name, sheets[title], formulas.get(title))
    _undo_layout(name, rows, *_layout(data, parts[title]))
    return _padded(rows)


class _Merged(NamedTuple):
    """Cells that are merged: the first and the last of their columns and rows, from 1."""

    left: int
    top: int
    right: int
    bottom: int


def _layout(data: bytes, part: str) -> tuple[list[int], list[_Merged]]:
    """Return which rows of a sheet are hidden, and which of its cells are merged."""
    import zipfile

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        page = archive.read(part.lstrip("/"))
    hidden = [
        int(at[1])
        for row in _ROW.finditer(page)
        if _HIDDEN.search(row[1]) and (at := _AT.search(row[1]))
    ]
    merged = [
        _Merged(_number_of(left), int(top), _number_of(right), int(bottom))
        for left, top, right, bottom in _MERGED.findall(page)
    ]
    return hidden, merged


def _number_of(column: bytes) -> int:
    """Return the number of a column from its letters."""
    number = 0
    for letter in column:
        number = 26 * number + letter - ord("A") + 1
    return number


def _letters_of(column: int) -> str:
    """Return the letters of a column from its number."""
    return _letters_of((column - 1) // 26) + chr(ord("A") + (column - 1) % 26) if column else ""


def _undo_layout(
    name: str, rows: list[list[str]], hidden: list[int], merged: list[_Merged]
) -> None:
    """Write what is merged down a column into each of its rows.

    Raises
    ------
    RefusedError
        If a hidden row has cells, or it cannot be told of which row or column a merged cell is.
    """
    head, header = header_of(rows, KNOWN_COLUMNS)
    held = [row for row in hidden if head < row <= len(rows) and any(rows[row - 1])]
    if held:
        problem = f"it is hidden{also_in(held[1:])}"
        cure = "unhide the rows that are to be read, and delete the others"
        raise RefusedError(Fault(problem, cure, file=name, row=held[0]))
    teeth = {one.place for columns in tooth_columns(header).values() for one in columns}
    for left, top, right, bottom in merged:
        if top <= head or top > len(rows) or not any(rows[top - 1][left - 1 : left]):
            continue
        column = header[left - 1] if left <= len(header) else ""
        if right > left or left - 1 in teeth or column in {"tooth", "reading", *READING_COLUMNS}:
            cells = f"cells {_letters_of(left)}{top} to {_letters_of(right)}{bottom}"
            raise RefusedError(
                Fault(
                    f"{cells} are merged: it cannot be told of which of them it is",
                    "unmerge them, and write every cell",
                    file=name,
                    row=top,
                    column=column or None,
                    value=rows[top - 1][left - 1],
                )
            )
        for row in rows[top : min(bottom, len(rows))]:
            row += [""] * (left - len(row))
            if any(row):
                row[left - 1] = row[left - 1] or rows[top - 1][left - 1]


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
    texts = [[_text(cell) for cell in cells] for cells in rows]
    head, header = header_of(texts, KNOWN_COLUMNS)
    commas = _has_commas(rows)
    named = header.index("blade") if "blade" in header else -1
    for row, (cells, line) in enumerate(zip(rows, texts, strict=True), start=1):
        written = formulas[row - 1] if formulas is not None and row <= len(formulas) else ()
        for place, cell in enumerate(written[: len(line)]):
            if cell.value is None or cells[place].value is not None:
                continue
            formula = str(getattr(cell.value, "text", cell.value))
            if place == named or row == head or not head:
                problem = "it has a formula without a value where a name should be"
                cure = "save it in the spreadsheet once more, or paste the values in place of "
                column = header[place] if place < len(header) else None
                fault = Fault(problem, f"{cure}formulas", None, row, column or None, formula, name)
                raise RefusedError(fault)
            line[place] = formula if formula.startswith("=") else f"={formula}"
        for place, text in enumerate(line if row > head else ()):
            if isinstance(cells[place].value, float) and place != named:
                whole = f"{text}0" if _LIKE_THOUSANDS.fullmatch(text) else text
                line[place] = whole.replace(".", ",") if commas else whole
    return texts


def _has_commas(rows: list[tuple[Any, ...]]) -> bool:
    """Return whether numbers that were typed as text have decimal commas, and none has a point."""
    words = [cell.value.strip() for cells in rows for cell in cells if isinstance(cell.value, str)]
    commas = (_COMMA.fullmatch(one) and not _LIKE_THOUSANDS.fullmatch(one) for one in words)
    return any(commas) and not any(map(_POINT.fullmatch, words))


def own_facts(data: bytes, name: str, sheet: str | None) -> list[list[str]] | None:
    """Return the rows of the facts in a workbook that was made to be filled in; None of others.

    `sheet` is the one that is meant, where the user says which.
    """
    try:
        import openpyxl

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            titles = openpyxl.load_workbook(io.BytesIO(data), read_only=True).sheetnames
    except Exception:  # What is wrong with it is said where the readings are.
        return None
    made = sheet in (None, READINGS) and {READINGS, FACTS} <= {*titles}
    return workbook_rows(data, name, FACTS) if made else None


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
