"""From a file's bytes to rows of cells: encoding, separator, quoting. Nothing is guessed."""

from __future__ import annotations

import codecs
import csv
import io
import os
from collections.abc import Iterator
from typing import NamedTuple

from bladegeom.errors import Fault, RefusedError, also_in, refuse

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab"}
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


class Sheet(NamedTuple):
    """A table of cells as text.

    Attributes
    ----------
    header : list of str
    rows : list of (int, list of str)
        Each with its row number as a spreadsheet shows it; blank rows are left out.
    separator : str
    header_row : int
        1, or more where blank rows stand above the header.
    """

    header: list[str]
    rows: list[tuple[int, list[str]]]
    separator: str
    header_row: int


def read_bytes(path: str | os.PathLike[str]) -> bytes:
    """Read a file, or say in plain words why it cannot be read.

    Raises
    ------
    RefusedError
    """
    name = os.fspath(path)
    try:
        with open(name, "rb") as file:
            return file.read()
    except FileNotFoundError:
        raise refuse(
            f"there is no file {name}", "check the name and the folder", value=name
        ) from None
    except IsADirectoryError:
        raise refuse(f"{name} is a folder", "name the CSV file in it", value=name) from None
    except PermissionError:
        raise refuse(
            f"{name} may not be read", "check the file's permissions", value=name
        ) from None
    except (OSError, ValueError) as error:
        raise refuse(f"{name!r} cannot be read: {error}", "check the name", value=name) from None


def decode(data: bytes, name: str) -> str:
    """Decode UTF-8 (with or without its mark) or UTF-16 (with its mark).

    Raises
    ------
    RefusedError
    """
    if data[:4] == b"PK\x03\x04":
        raise refuse(f"{name} is a spreadsheet file, not text", "save it as CSV UTF-8")
    encoding = "utf-8"
    for mark, marked in _MARKS:
        if data.startswith(mark):
            data, encoding = data[len(mark) :], marked
            break
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        raise RefusedError(
            Fault(
                f"{name} is not {encoding.upper()} text",
                "save it as CSV UTF-8",
                row=1 + data[: error.start].count(b"\n") if encoding == "utf-8" else None,
                value=f"byte {data[error.start]:#04x}",
            )
        ) from None
    if "\0" in text:
        raise refuse(f"{name} is not plain text", "save it as CSV UTF-8")
    return text.lstrip("\ufeff")


def split(text: str, name: str, known: frozenset[str]) -> Sheet:
    """Split text into cells; the separator is the one that makes the header's names known.

    Raises
    ------
    RefusedError
        Empty text, broken quotes, rows of unequal length (each is named), or cells in a column
        without a name.
    """
    if not text.strip(" \t\r\n,;"):
        raise refuse(f"{name} is empty", "it needs a header row and one row a reading")

    def fitness(separator: str) -> tuple[int, int]:
        header = _header(text, separator)
        return sum(cell in known for cell in header), len(header)

    separator = max(SEPARATORS, key=fitness)
    header = _header(text, separator)
    rows: list[tuple[int, list[str]]] = []
    number = 0
    try:
        for number, cells in enumerate(_records(text, separator), start=1):
            if any(cell.strip() for cell in cells):
                rows.append((number, cells))
    except csv.Error as error:
        raise RefusedError(
            Fault(
                f"{name} cannot be split into cells ({error})",
                'close every quote ("), or leave the quotes out',
                row=number + 1,
            )
        ) from None
    faults = [
        Fault(
            f"{len(cells)} {'cell' if len(cells) == 1 else 'cells'} under a header of "
            f"{len(header)}",
            _unequal_cure(separator, len(cells) - len(header)),
            row=row,
            value=separator.join(cells)[:80],
        )
        for row, cells in rows[1:]
        if len(cells) != len(header)
    ]
    if faults:
        raise RefusedError(faults)
    for place, column in enumerate(header):
        if not column and (used := [row for row in rows[1:] if row[1][place].strip()]):
            raise RefusedError(
                Fault(
                    f"a cell in column {place + 1}, which has no name"
                    f"{also_in([row for row, _ in used[1:]])}",
                    "name the column, or clear the cells" + _decimal_commas(separator),
                    row=used[0][0],
                    value=used[0][1][place].strip(),
                )
            )
    return Sheet(header, rows[1:], separator, rows[0][0] if rows else 1)


def _unequal_cure(separator: str, surplus: int) -> str:
    if surplus > 0:
        return "give every row as many cells as the header" + _decimal_commas(separator)
    return "give every row as many cells as the header; leave a cell blank for not read"


def _decimal_commas(separator: str) -> str:
    if separator != ",":
        return ""
    return "; where numbers have decimal commas, put semicolons between the cells"


def _records(text: str, separator: str) -> Iterator[list[str]]:
    return csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)


def _header(text: str, separator: str) -> list[str]:
    try:
        for cells in _records(text, separator):
            if any(cell.strip() for cell in cells):
                return [tidy_name(cell) for cell in cells]
    except csv.Error:
        pass  # Not this separator, or broken quotes, which the full reading reports.
    return []


def tidy_name(cell: str) -> str:
    """Return a column's name as it is known: lower case, blanks and hyphens as underscores."""
    return "_".join(cell.strip().lower().replace("-", " ").split())
