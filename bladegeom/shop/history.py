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
import math
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import date as Date  # noqa: N812
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import numpy as np

from bladegeom.columns import MOST_TEETH
from bladegeom.faults import Fault, as_letters, refuse
from bladegeom.lengths import MM_PER, NumberError, parse_number, parse_whole
from bladegeom.shop.visit import SERVICES, WAVES, Visit, Wave
from bladegeom.tables.whole import as_text, from_text

CHECK = "check"
_DIGITS = 8
_RESTORE = "restore the line from a copy"

COLUMNS = tuple(key for keys in Visit.glossary() for key in keys)
"""Columns of a history, behind the check."""

T = TypeVar("T")


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


@dataclass(frozen=True)
class History:
    """Every measurement of a shop.

    Attributes
    ----------
    visits : list of Visit
        In the order of their days.
    refused : list of Fault
        Lines that cannot be used.
    notes : list of str
    """

    visits: list[Visit]
    refused: list[Fault]
    notes: list[str]

    @property
    def blades(self) -> list[str]:
        """Names of the blades."""
        return sorted({one.blade for one in self.visits})

    def of(self, blade: str) -> list[Visit]:
        """Return the measurements of one blade.

        Raises
        ------
        RefusedError
            If there are none.
        """
        if found := [one for one in self.visits if one.blade == blade]:
            return found
        known = ", ".join(self.blades[:8]) + (", ..." if len(self.blades) > 8 else "")
        raise refuse(
            f"the history holds no blade {blade}", f"it holds {known or 'none'}", value=blade
        )


def record(visits: Iterable[Visit], folder: str | os.PathLike[str]) -> list[Visit]:
    """Append measurements to a history; those that are in it already are left out.

    Each goes, as one line, into the file of its year. Several programs may write at once.

    Parameters
    ----------
    visits : iterable of Visit
    folder : path
        Made if it is not there.

    Returns
    -------
    list of Visit
        Those that were added.

    Raises
    ------
    RefusedError
        If a blade has no name, or the folder cannot be written.
    """
    new = list(visits)
    for one in new:
        if not one.blade:
            raise refuse(
                "a blade without a name cannot be found again",
                "name it (column blade)",
                column="blade",
            )
    there = set()
    if os.path.isdir(folder):
        there = {_key(one) for one in read_history(folder).visits}
    added = []
    for one in new:
        if _key(one) in there:
            continue
        append_line(folder, one.date.year, COLUMNS, _cells_of(one))
        there.add(_key(one))
        added.append(one)
    return added


def read_history(folder: str | os.PathLike[str]) -> History:
    """Read every measurement of a history; a line that cannot be used stops no other.

    Parameters
    ----------
    folder : path

    Returns
    -------
    History

    Raises
    ------
    RefusedError
        If there is no such folder.
    """
    lines, refused, notes = read_lines(folder, COLUMNS)
    visits: dict[tuple[Date, str, str, str], Visit] = {}
    twice = 0
    for line in lines:
        try:
            one = _visit_of(line)
        except _CellError as error:
            refused.append(error.fault)
            continue
        twice += _key(one) in visits
        visits.setdefault(_key(one), one)
    if twice:
        measurements = "measurement is" if twice == 1 else "measurements are"
        notes.append(f"{twice} {measurements} there twice, and counted once")
    in_order = sorted(visits.values(), key=lambda one: (one.date, SERVICES.index(one.service)))
    return History(in_order, refused, notes)


def _key(one: Visit) -> tuple[Date, str, str, str]:
    return one.date, one.blade, one.service, one.digest


def _cells_of(one: Visit) -> list[str]:
    return [_cell(value) for value in one.to_dict().values()]


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else repr(value) if isinstance(value, float) else str(value)


class _CellError(Exception):
    def __init__(self, line: Line, column: str, problem: str, cure: str) -> None:
        super().__init__(problem)
        value = line.cells[column]
        self.fault = Fault(
            f"{column}: {problem}", cure, line.cells["blade"] or None, line.row, column, value,
            line.file,
        )  # fmt: skip


def _visit_of(line: Line) -> Visit:
    """Read one line.

    Raises
    ------
    _CellError
    """
    try:
        day = Date.fromisoformat(line.cells["date"])
    except ValueError:
        problem = f"{line.cells['date']!r} is no date"
        raise _CellError(line, "date", problem, "write year, month and day: 2026-11-25") from None
    plain: dict[str, Any] = {
        field.name: _READ[str(field.type)](line, field.name)
        for field in fields(Visit)
        if str(field.type) in _READ
    }
    _word(line, "unit", MM_PER)
    _word(line, "service", SERVICES)
    spread = [
        math.nan if (one := _number(line, column)) is None else one
        for column in ("variance_cosine_mm2", "covariance_mm2", "variance_sine_mm2")
    ]
    waves = {}
    for order in WAVES:
        pair = [_number(line, f"waves_{order}_{what}_mm") for what in ("amplitude", "u")]
        if pair[0] is not None and pair[1] is not None:
            waves[order] = Wave(pair[0], pair[1])
    return Visit(
        date=day,
        tooth_1_marked=_word(line, "tooth_1_marked", ("yes", "no")) == "yes",
        covariance_mm2=np.array([[spread[0], spread[1]], [spread[1], spread[2]]]),
        waves=waves,
        **plain,
    )


def _parsed(line: Line, column: str, parse: Callable[[str], T | None]) -> T | None:
    try:
        return parse(line.cells[column])
    except NumberError as error:
        raise _CellError(line, column, error.problem, _RESTORE) from None


def _number(line: Line, column: str) -> float | None:
    return _parsed(line, column, parse_number)


def _needed(line: Line, column: str) -> float:
    value = _number(line, column)
    if value is None:
        raise _CellError(line, column, "it is blank", _RESTORE)
    return value


def _count(line: Line, column: str) -> int:
    value = _parsed(line, column, parse_whole)
    if value is None or not 1 <= value <= MOST_TEETH**2:
        raise _CellError(line, column, "it is no count", _RESTORE)
    return value


def _text(line: Line, column: str) -> str:
    return line.cells[column]


def _word(line: Line, column: str, known: Iterable[str]) -> str:
    text = line.cells[column]
    if text not in known:
        named = ", ".join(filter(None, known))
        raise _CellError(line, column, f"{text!r} is not known", f"write one of {named}")
    return text


_READ: dict[str, Callable[[Line, str], Any]] = {
    "str": _text,
    "int": _count,
    "float": _needed,
    "float | None": _number,
}
"""Kind of a visit's field -> what reads its cell."""
