"""Decimal point or decimal comma: told from the numbers themselves, or refused."""

from __future__ import annotations

import re
from collections.abc import Iterable

from bladegeom.errors import Fault, RefusedError
from bladegeom.measured.columns import NUMBER_COLUMNS
from bladegeom.measured.text import Sheet

_POINT = re.compile(r"[+\-\u2212]?[0-9]*\.[0-9]*(?:[eE][+-]?[0-9]+)?")
_COMMA = re.compile(r"[+\-\u2212]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?")
_THOUSANDS = re.compile(r"[+\-\u2212]?[1-9][0-9]{0,2}[.,][0-9]{3}")


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
        If both marks occur, or if every marked number could as well be thousands (``1,234``).
    """
    first: dict[str, tuple[int, str]] = {}
    certain: set[str] = set()
    for row, cell in cells:
        text = cell.strip()
        if "." not in text and "," not in text:
            continue
        mark = "." if _POINT.fullmatch(text) else "," if _COMMA.fullmatch(text) else None
        if mark is None:
            continue
        first.setdefault(mark, (row, text))
        if not _THOUSANDS.fullmatch(text):
            certain.add(mark)
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
    if mark in certain or (mark == "." and separator == ","):
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


def sheet_mark(sheet: Sheet, readings: str = "") -> str:
    """Tell the decimal mark of a sheet from its columns of numbers and the column `readings`.

    Raises
    ------
    RefusedError
    """
    places = [
        place
        for place, column in enumerate(sheet.header)
        if column in NUMBER_COLUMNS or column == readings
    ]
    words = (
        (row, word)
        for row, cells in sheet.rows
        for place in places
        for word in cells[place].split()
    )
    return decimal_mark(words, sheet.separator)
