"""A spreadsheet's own file (XLSX) as rows of text."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterable
from datetime import date, datetime, time
from typing import Any

from bladegeom.faults import Fault, RefusedError, refuse

_ZEROS = re.compile(r"0{2,}")
_LIKE_THOUSANDS = re.compile(r"-?[1-9][0-9]{0,2}\.[0-9]{3}")
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


def _has_formulas(data: bytes) -> bool:
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
