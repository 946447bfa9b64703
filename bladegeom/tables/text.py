"""From a file's bytes to rows of cells: encoding, separator, quoting. Nothing is guessed."""

from __future__ import annotations

import codecs
import csv
import io
import os
import re
import stat
import time
from collections.abc import Collection, Iterable, Sequence
from contextlib import suppress
from itertools import islice
from typing import IO, TYPE_CHECKING, NamedTuple

from bladegeom.faults import Fault, RefusedError, also_in, refuse

if TYPE_CHECKING:
    from _csv import Reader

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab"}
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)

_SEPARATOR_LINE = re.compile(r'[ \t]*"?sep=([,;\t])"?[;,]*[ \t]*(?:\r\n|\r|\n|$)', re.IGNORECASE)
_BETWEEN = str.maketrans("-()[]\u00b5\u03bc", "     uu")
_ABOVE = 20
"""Rows, none of them blank, among which the header is looked for."""

MOST_PIPED, WAIT_S = 1 << 28, 10.0
"""Bytes that are read of what is no file, and seconds in which somebody must begin to write it."""

MOST_COLUMNS = 2000
"""More than the most teeth with all that is stated of a blade."""

_LETTER_OF_UTF8 = re.compile(rb"[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}")


class Spoilt(NamedTuple):
    """A row that does not fit the header: its number, its cells, and which has no name, or -1."""

    row: int
    cells: list[str]
    place: int


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
    spoilt : list of Spoilt
        Rows that do not fit the header, left out of `rows`.
    notes : list of str
        What was done to read it that the reader should know.
    """

    header: list[str]
    rows: list[tuple[int, list[str]]]
    separator: str
    header_row: int
    spoilt: Sequence[Spoilt] = ()
    notes: Sequence[str] = ()


def read_bytes(path: str | os.PathLike[str], name: str | None = None) -> bytes:
    """Read a file, or say in plain words why that called `name` cannot be read.

    Raises
    ------
    RefusedError
    """
    name = os.fspath(path) if name is None else name
    try:
        kind = os.stat(path).st_mode
        if stat.S_ISCHR(kind) or stat.S_ISBLK(kind):
            raise OSError("it is a device, not a file")
        if stat.S_ISFIFO(kind):
            return _piped(path, name)
        with open(path, "rb") as file:
            return file.read()
    except FileNotFoundError:
        problem, cure = f"there is no file {name}", "check the name and the folder"
    except IsADirectoryError:
        problem, cure = f"{name} is a folder", "name the CSV file in it"
    except PermissionError:
        problem, cure = f"{name} may not be read", "check the file's permissions"
    except (OSError, ValueError) as error:
        problem, cure = f"{name!r} cannot be read: {error}", "check the name"
    raise refuse(problem, cure, value=name)


def read_stream(file: IO[bytes], name: str) -> bytes:
    """Read what is piped in, to its end, or refuse what has none."""
    parts, left = [], MOST_PIPED
    while part := file.read(1 << 20):
        parts.append(part)
        left -= len(part)
        if left < 0:
            problem = f"{name} does not end within {MOST_PIPED >> 20} MB"
            raise refuse(problem, "save it as a file, and name that", value=name)
    return b"".join(parts)


def _piped(path: str | os.PathLike[str], name: str) -> bytes:
    """Read a pipe that has a name, which would be waited for without end if nobody wrote."""
    handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    with open(handle, "rb", buffering=0) as file:
        until = time.monotonic() + WAIT_S
        while not (first := file.read(1)):
            if first is None:  # Somebody has it open for writing, and takes his time.
                until = time.monotonic() + WAIT_S
            elif time.monotonic() > until:
                raise OSError("it is a pipe into which nothing is written")
            time.sleep(0.05)
        os.set_blocking(handle, True)
        return first + read_stream(file, name)


def decode(data: bytes, name: str, notes: list[str] | None = None) -> str:
    """Decode UTF-8 (with or without its mark) or UTF-16 (with its mark), or raise RefusedError.

    Where `notes` is given, text that cannot be UTF-8 is read as cp1252, and that is added to it.
    """
    if data[:4] == b"PK\x03\x04":
        raise refuse("it is a spreadsheet file, not text", "save it as CSV UTF-8", file=name)
    if data[:4] == b"\xd0\xcf\x11\xe0":
        raise refuse(
            "it is a spreadsheet file of an old kind, or locked by a password",
            "save it as XLSX without a password, or save it as CSV UTF-8",
            file=name,
        )
    mark, encoding = encoding_of(data)
    if mark:
        data, notes = data[len(mark) :], None
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        if notes is not None and (western := _as_cp1252(data)) is not None:
            notes.append(
                f"{name} is not UTF-8 text; it was read as cp1252, the older encoding of western "
                "Europe: check names with accents, or save it as CSV UTF-8"
            )
            return western
        raise RefusedError(
            Fault(
                f"it is not {encoding.upper()} text",
                "save it as CSV UTF-8",
                file=name,
                row=_last_row(data[: error.start].decode(encoding)),
                value=f"byte {data[error.start]:#04x}",
            )
        ) from None
    if "\0" in text:
        raise refuse("it is not plain text", "save it as CSV UTF-8", file=name)
    return text.lstrip("\ufeff")


def encoding_of(data: bytes) -> tuple[bytes, str]:
    """Return the mark ahead of a text, empty where there is none, and its encoding."""
    return next((one for one in _MARKS if data.startswith(one[0])), (b"", "utf-8"))


def _last_row(text: str) -> int:
    """Return the row in which a text breaks off, as a spreadsheet counts."""
    stated = _SEPARATOR_LINE.match(text)
    if stated:
        text = text[stated.end() :]
    head = text.partition("\n")[0]
    separator = stated[1] if stated else max(SEPARATORS, key=head.count)
    rows = 0
    try:
        for _ in csv.reader(io.StringIO(f"{text}?", newline=""), delimiter=separator):
            rows += 1
    except csv.Error:  # A cell too long to be read.
        rows += 1
    return rows


def _as_cp1252(data: bytes) -> str | None:
    """Return the text, or None where it cannot be cp1252, or is UTF-8 with a damaged letter."""
    if b"\0" in data or _LETTER_OF_UTF8.search(data):
        return None
    try:
        return data.decode("cp1252")
    except UnicodeDecodeError:
        return None


def split(text: str, name: str, known: Collection[str]) -> Sheet:
    """Split text into cells; the separator is the one that makes the header's names known.

    A first line such as ``sep=;`` names the separator; it is no row, as a spreadsheet counts.

    Raises
    ------
    RefusedError
        Empty text, broken quotes, or as for `sheet_of_rows`.
    """
    stated = _SEPARATOR_LINE.match(text)
    if stated:
        text = text[stated.end() :]
    if not text.strip(" \t\r\n,;"):
        raise refuse("it is empty", "it needs a header row and one row a reading", file=name)

    def fitness(separator: str) -> tuple[int, int]:
        rows: list[list[str]] = []
        with suppress(csv.Error):  # Not this one, or broken quotes, which the full reading reports.
            rows += islice(filter(any, map(_stripped, _records(text, separator))), _ABOVE)
        header = header_of(rows, known)[1]
        return sum(cell in known for cell in header), len(header)

    separator = stated[1] if stated else max(SEPARATORS, key=fitness)
    return sheet_of_rows(_rows(text, name, separator), separator, known)


def _rows(text: str, name: str, separator: str) -> list[list[str]]:
    """Return the cells of every row; refused where a quote may have swallowed some that follow."""
    rows: list[list[str]] = []
    read = _records(text, separator)
    begun = 0
    fault = None
    try:
        for cells in read:
            rows.append(cells)
            begun = read.line_num
    except csv.Error:
        line = next(islice(io.StringIO(text, newline=""), begun, None), "")
        why, cure = "a cell here is too long", "check this row"
        if '"' in text:
            why = 'a quote (") here is not closed, or closes before its cell ends'
            cure = f'close every quote, and write one within quotes twice (10""){_DITTO}'
        fault = Fault(
            f"it cannot be split into cells: {why}",
            cure,
            file=name,
            row=len(rows) + 1,
            value=line.strip()[:80],
        )
    if '"' in text:
        fault = _swallowed(rows, separator) or fault
    if fault is not None:
        raise RefusedError(fault)
    return rows


_DITTO = "; write out what a ditto mark stands for, or leave its cell blank"


def _swallowed(rows: Iterable[list[str]], separator: str) -> Fault | None:
    """Return the fault of the first cell in quotes that may have swallowed the end of its row.

    A note of several lines is one cell. Where it also holds separators, or its row has not as
    many cells as the header, two stray quotes (ditto marks) may have made one cell of the rows
    between them.
    """
    wide = 0
    for row, cells in enumerate(rows, start=1):
        wide = wide or len(cells) * any(cell.strip() for cell in cells)
        for cell in cells:
            if ("\n" in cell or "\r" in cell) and (separator in cell or len(cells) != wide):
                marks = f"{SEPARATORS[separator]}s"
                return Fault(
                    f'a quote (") here opens a cell that goes on into the next line: {cell[:40]!r}',
                    f"close the quote in its own row{_DITTO}; a note of several lines may hold "
                    f"no {marks}",
                    row=row,
                    value=cell[:80],
                )
    return None


def header_of(lines: Sequence[list[str]], known: Collection[str]) -> tuple[int, list[str]]:
    """Return the row of the header, from 1, and its names; the first row that is not blank.

    Or, where none of its names is known, the first that has two of them: a title stands above it.
    """
    held = ((row, cells) for row, cells in enumerate(lines, start=1) if any(map(str.strip, cells)))
    first = None
    for row, cells in islice(held, _ABOVE):
        names = [tidy_name(cell) for cell in cells]
        score = sum(one in known for one in names)
        if first is None:
            first = row, names
        if score >= (1 if (row, names) == first else 2):
            return row, names
    return first or (0, [])


def sheet_of_rows(lines: Sequence[list[str]], separator: str, known: Collection[str]) -> Sheet:
    """Find the header in rows of cells, leave blank rows out, and those that do not fit it.

    What stands above the header is a title: it is noted and not used.

    Raises
    ------
    RefusedError
        If rows have other cells than the header, or cells in a column without a name, and these
        are most of them, or no column ``blade`` tells whose they are.
    """
    rows = [
        (number, cells)
        for number, cells in enumerate(lines, start=1)
        if any(cell.strip() for cell in cells)
    ]
    head, header = header_of(lines, known)
    if not rows:
        return Sheet([], [], separator, 1)
    title = [cell.strip() for row, cells in rows if row < head for cell in cells if cell.strip()]
    notes = [f"not used, above the header: {', '.join(title)[:80]}"] if title else []
    rows = [one for one in rows if one[0] >= head]
    wide = len(header)
    if wide > MOST_COLUMNS:
        problem = f"the header has {wide} cells, more than any table of blades needs"
        cure = f"keep {MOST_COLUMNS} columns at most, and one row a reading or a blade"
        raise RefusedError(Fault(problem, cure, row=head, value=str(wide)))
    nameless = [place for place, column in enumerate(header) if not column]
    bad = [Spoilt(row, cells, -1) for row, cells in rows[1:] if len(cells) != wide]
    bad += [
        Spoilt(row, cells, place)
        for place in nameless
        for row, cells in rows[1:]
        if len(cells) == wide and cells[place].strip()
    ]
    if not bad:
        return Sheet(header, rows[1:], separator, head, notes=notes)
    if "blade" not in header or 2 * len(bad) > len(rows) - 1:
        raise RefusedError(spoilt_faults(bad, header, separator))
    out = {one.row for one in bad}
    kept = [(row, cells) for row, cells in rows[1:] if row not in out]
    return Sheet(header, kept, separator, head, sorted(bad), notes)


def spoilt_faults(bad: Iterable[Spoilt], header: list[str], separator: str) -> list[Fault]:
    """Say what is wrong with rows that do not fit the header; the same fault is said once."""
    marks = "; where numbers have decimal commas, put semicolons between the cells"
    marks *= separator == ","
    kinds: dict[tuple[int, int], list[Spoilt]] = {}
    for one in bad:
        kind = (0, one.place) if one.place >= 0 else (len(one.cells), -1)
        kinds.setdefault(kind, []).append(one)
    faults = []
    for (count, place), (first, *others) in kinds.items():
        also = also_in([one.row for one in others])
        if place >= 0:
            problem = f"a cell in column {place + 1}, which has no name{also}"
            cure = f"name the column, or clear the cells{marks}"
            value = first.cells[place].strip()
        else:
            noun = "cell" if count == 1 else "cells"
            problem = f"{count} {noun} under a header of {len(header)}{also}"
            cure = "give every row as many cells as the header"
            cure += "; leave a cell blank for not read" if count < len(header) else marks
            if any(separator in cell for cell in first.cells):
                cure += f'; what stands between quotes (") is one cell{_DITTO}'
            value = separator.join(first.cells)[:80]
        faults.append(Fault(problem, cure, row=first.row, value=value))
    return faults


def _records(text: str, separator: str) -> Reader:
    return csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)


def _stripped(cells: list[str]) -> list[str]:
    return [cell.strip() for cell in cells]


def tidy_name(cell: str) -> str:
    """Return a column's name as it is known: lower case, blanks, hyphens, brackets as underscores.

    Reading (thou) and reading [µm] are reading_thou and reading_um.
    """
    return "_".join(cell.lower().translate(_BETWEEN).split())
