"""Measurements kept for years: plain CSV files in a folder, one a year, a line a measurement.

Plain files and no database: they can be read, printed, copied and mended with anything, in thirty
years too. A line is appended by one write to a file opened for appending, which the systems of
local disks do as a whole, so that several stations can write into one folder and a copy of a whole
file never takes the place of another's line. Where that does not hold (network drives, a plug
pulled), the line shows it: its first cell is a check value of all others.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from bladegeom.faults import Fault, as_letters, refuse
from bladegeom.tables.guarded import as_text, from_text

CHECK = "check"
_DIGITS = 8


class Line(NamedTuple):
    """A line of a history.

    Attributes
    ----------
    file : str
        Name of the file, without its folder.
    row : int
        As a spreadsheet shows it.
    cells : dict of str to str
        Column -> what stands there.
    """

    file: str
    row: int
    cells: dict[str, str]


class Lines(NamedTuple):
    """What the files of a history held.

    Attributes
    ----------
    whole : list of Line
    refused : list of Fault
        Lines that are torn or were changed, and files that are no history.
    notes : list of str
    """

    whole: list[Line]
    refused: list[Fault]
    notes: list[str]


def check_value(cells: Sequence[str]) -> str:
    """Return eight digits that stand for the cells of a line: the first of their SHA-256."""
    return hashlib.sha256("\x1f".join(cells).encode()).hexdigest()[:_DIGITS]


def append_line(
    folder: str | os.PathLike[str], year: int, columns: Sequence[str], cells: Sequence[str]
) -> None:
    """Append one line to the file of its year, with its check value before it.

    Parameters
    ----------
    folder : path
        Made if it is not there.
    year : int
    columns : sequence of str
        Without the check; written as the header of a new file.
    cells : sequence of str
        One a column; line breaks become blanks.

    Raises
    ------
    RefusedError
        If the file has other columns, or cannot be written.
    """
    path = Path(folder) / f"{year}.csv"
    plain = [" ".join(as_letters(cell).split()) for cell in cells]
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        header, ended = _ends_of(path)
        if header is not None and header != [CHECK, *columns]:
            raise refuse(
                f"{path} has other columns than a history",
                "move it out of the folder, or choose another folder",
                value=", ".join(header)[:80],
            )
        lead = _as_line([CHECK, *columns]) if header is None else "" if ended else "\n"
        text = lead + _as_line([check_value(plain), *map(_guarded, plain)])
        _write_at_once(path, text.encode())
    except OSError as error:
        raise refuse(
            f"{path} cannot be written: {error.strerror}",
            "check the folder and the disk",
            value=path,
        ) from None


def _ends_of(path: Path) -> tuple[list[str] | None, bool]:
    """Return the header of a file, None of an empty one, and whether its last line is ended."""
    try:
        with path.open("rb") as file:
            first = file.readline()
            if not first.strip():
                return None, True
            file.seek(-1, os.SEEK_END)
            return _cells(first.decode("utf-8-sig", "replace")), file.read(1) == b"\n"
    except FileNotFoundError:
        return None, True


def _write_at_once(path: Path, data: bytes) -> None:
    flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags, 0o666)
    try:
        if os.write(handle, data) != len(data):
            raise OSError(0, "the line was not written whole")
        os.fsync(handle)
    finally:
        os.close(handle)


def read_lines(folder: str | os.PathLike[str], columns: Sequence[str]) -> Lines:
    """Read every line of every CSV file of a folder; what is wrong with one stops no other.

    A line without a check value was written by hand and is taken as it stands.

    Parameters
    ----------
    folder : path
    columns : sequence of str
        Without the check.

    Returns
    -------
    Lines

    Raises
    ------
    RefusedError
        If there is no such folder.
    """
    place = Path(folder)
    if not place.is_dir():
        raise refuse(f"there is no folder {place}", "give the folder of a history", value=place)
    found = Lines([], [], [])
    for path in sorted(place.glob("*.csv")):
        try:
            _read_file(path, [CHECK, *columns], found)
        except (OSError, UnicodeDecodeError):
            found.refused.append(
                Fault("it cannot be read as text", "restore it from a copy", file=path.name)
            )
    return found


def _read_file(path: Path, header: list[str], found: Lines) -> None:
    file = as_letters(path.name)
    lines = path.read_bytes().decode("utf-8-sig").split("\n")
    if _cells(lines[0]) != header:
        found.refused.append(
            Fault(
                "it has other columns than a history",
                "move it out of the folder",
                row=1,
                value=lines[0].strip()[:80],
                file=file,
            )
        )
        return
    by_hand = 0
    for row, line in enumerate(lines[1:], start=2):
        cells = [from_text(cell) for cell in _cells(line)]
        # Two stations that both found the file empty have both written its header.
        if not any(cells) or cells == header:
            continue
        if len(cells) == len(header) and cells[0] in ("", check_value(cells[1:])):
            by_hand += cells[0] == ""
            found.whole.append(Line(file, row, dict(zip(header[1:], cells[1:], strict=True))))
        else:
            found.refused.append(_torn(file, row, line, len(cells) == len(header)))
    if by_hand:
        lines_are = "line has" if by_hand == 1 else "lines have"
        found.notes.append(f"{file}: {by_hand} {lines_are} no check value, taken as it stands")


def _torn(file: str, row: int, line: str, right_length: bool) -> Fault:
    if right_length:
        return Fault(
            "the line does not agree with its check value: it was changed, or torn",
            f"restore it from a copy; or, if it is right as it stands, empty its cell {CHECK}",
            row=row,
            column=CHECK,
            value=line.strip()[:80],
            file=file,
        )
    return Fault(
        "the line is not whole: its writing was stopped",
        "record the measurement again, and remove the line",
        row=row,
        value=line.strip()[:80],
        file=file,
    )


def _cells(line: str) -> list[str]:
    try:
        return next(csv.reader([line.rstrip("\r\n")], strict=True), [])
    except csv.Error:
        return [line]


def _guarded(cell: str) -> str:
    try:
        float(cell)
    except ValueError:
        return as_text(cell)
    return cell  # A number below 0 is no formula.


def _as_line(cells: Sequence[str]) -> str:
    written = io.StringIO()
    csv.writer(written, lineterminator="\n").writerow(cells)
    return written.getvalue()
