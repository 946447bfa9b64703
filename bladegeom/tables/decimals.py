"""Decimal point or decimal comma: told from the numbers themselves, or refused."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from bladegeom.columns import KNOWN_COLUMNS
from bladegeom.faults import Fault, RefusedError
from bladegeom.tables.text import Sheet

_POINT = re.compile(r"[+\-\u2212]?[0-9]*\.[0-9]*(?:[eE][+-]?[0-9]+)?")
_COMMA = re.compile(r"[+\-\u2212]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?")
_THOUSANDS = re.compile(r"[+\-\u2212]?[1-9][0-9]{0,2}[.,][0-9]{3}")

_RATHER = 20
"""So many plain numbers with one mark to each with the other make the other a slip of its cell."""


def decimal_mark(cells: Iterable[tuple[int, str]], separator: str) -> str:
    """Tell the decimal mark of a table from its numbers.

    Parameters
    ----------
    cells : iterable of (int, str)
        Row and text of each cell that should hold a number.
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
    whole = text.replace(mark, "")
    raise RefusedError(
        Fault(
            f"{text} could be {text.replace(mark, '.')} or {whole}, and no other number tells "
            "which",
            f"write one number so that it is plain, such as {text}0, or put commas between the "
            "cells and use decimal points",
            row=row,
            value=text,
        )
    )


def sheet_mark(sheet: Sheet, readings: str = "", places: Iterable[int] = ()) -> str:
    """Tell the decimal mark of a sheet from its columns of numbers.

    Parameters
    ----------
    sheet : Sheet
    readings : str
        One more column of numbers, by its name.
    places : iterable of int
        More columns of numbers, by their places.

    Raises
    ------
    RefusedError
    """
    return decimal_mark(_words(sheet, readings, places), sheet.separator)


def plainly_points(sheet: Sheet, readings: str = "", places: Iterable[int] = ()) -> bool:
    """Return whether a number here has a decimal point that can be nothing else.

    Parameters
    ----------
    sheet, readings, places
        As for `sheet_mark`.
    """
    return any(
        _POINT.fullmatch(word) and "." in word and not _THOUSANDS.fullmatch(word)
        for _, word in _words(sheet, readings, places)
    )


def _words(sheet: Sheet, readings: str, places: Iterable[int]) -> Iterator[tuple[int, str]]:
    held = [
        *places,
        *(
            place
            for place, column in enumerate(sheet.header)
            if (column in KNOWN_COLUMNS and KNOWN_COLUMNS[column][0].numbers) or column == readings
        ),
    ]
    for row, cells in sheet.rows:
        for place in held:
            for word in cells[place].split():
                yield row, word
