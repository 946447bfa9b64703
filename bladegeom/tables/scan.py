"""The cells of a plain table as arrays: numbers and codes of words, without a text for each cell.

Plain is UTF-8 text without quotes, its lines ended by line feeds. Every number is the one that
`parse_number` reads: up to fifteen digits over a power of ten are exact and rounded once, and all
else is left to that function.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.lengths import LARGEST, NumberError, parse_number
from bladegeom.tables.text import Spoilt

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Bytes = NDArray[np.uint8]

_AT_ONCE = 1 << 19
"""Bytes; few enough for what is made of them to stay in the cache."""
_LONGEST_LINE = 100_000
_LONGEST_WORD = 256
_DIGITS = 15
_POWERS = 10.0 ** np.arange(_DIGITS + 1)
_FIRST = np.frombuffer(b"".join(b"\xff" * n + b"\0" * (8 - n) for n in range(9)), dtype=np.uint64)
"""What is left of eight bytes if only the first of them count."""
_LINE_FEED, _MINUS, _POINT, _ZERO = b"\n-.0"


class NotPlainError(Exception):
    """The table has to be read cell by cell."""


class Words(NamedTuple):
    """A column of words: the different ones in the order in which they come, and which is where."""

    code: NDArray[np.int64]
    texts: list[str]


class Scan(NamedTuple):
    """The cells of a table.

    Attributes
    ----------
    start : ndarray of int, shape (rows,)
        Where the line of each row that fits the header begins.
    row : ndarray of int, shape (rows,)
        Its number, as a spreadsheet counts.
    numbers : ndarray of float, shape (rows, columns)
        NaN where a cell is blank or ``?``, infinite where it holds no number.
    words : list of Words
    spoilt : list of Spoilt
        The rows that do not fit; blank ones are left out.
    """

    start: Places
    row: Places
    numbers: Floats
    words: list[Words]
    spoilt: list[Spoilt]


def scan(
    data: bytes,
    begin: int,
    row: int,
    separator: str,
    columns: int,
    numbers: Sequence[int],
    words: Sequence[int],
) -> Scan:
    """Find the cells of a table.

    Parameters
    ----------
    data : bytes
        Ends with a line feed.
    begin, row : int
        Where the first line of the table's body begins, and its number.
    separator : str
        Between the cells.
    columns : int
        How many cells a row has.
    numbers, words : sequence of int
        Which columns are wanted as numbers, and which as words.

    Returns
    -------
    Scan

    Raises
    ------
    NotPlainError
        If a line or a word is too long.
    """
    whole = np.frombuffer(data, dtype=np.uint8)
    starts, rows, values = [], [], []
    spoilt: list[Spoilt] = []
    coders = [_Coder() for _ in words]
    odd: dict[bytes, float] = {}
    while begin < len(data):
        end = begin + _AT_ONCE
        end = len(data) if end >= len(data) else data.rfind(b"\n", begin, end) + 1
        if end <= begin:
            raise NotPlainError
        part = whole[begin:end]
        lines = _Lines(part, ord(separator), columns)
        for line in lines.uneven.tolist():
            text = data[begin + lines.first[line] : begin + lines.last[line]].decode()
            cells = text.split(separator)
            if any(cell.strip() for cell in cells):
                spoilt.append(Spoilt(row + line, cells, -1))
        start, size = lines.start, lines.size
        read = _numbers(part, start[:, numbers].ravel(), size[:, numbers].ravel())
        for at in np.flatnonzero(np.isinf(read)).tolist():
            line, place = divmod(at, len(numbers))
            first = begin + int(start[line, numbers[place]])
            cell = data[first : first + int(size[line, numbers[place]])]
            if cell not in odd:
                odd[cell] = _number(cell.decode())
            read[at] = odd[cell]
        for coder, place in zip(coders, words, strict=True):
            coder.add(data, begin, part, start[:, place], size[:, place])
        starts.append(start[:, 0] + begin)
        rows.append(lines.even + row)
        values.append(read.reshape(-1, len(numbers)))
        row += len(lines.first)
        begin = end
    return Scan(
        np.concatenate(starts),
        np.concatenate(rows),
        np.concatenate(values),
        [coder.words() for coder in coders],
        spoilt,
    )


class _Lines:
    """Where the lines of some bytes, and the cells of those that fit the header, begin and end.

    Attributes
    ----------
    first, last : ndarray of int, shape (lines,)
    even, uneven : ndarray of int
        The lines that fit the header, and those that do not.
    start, size : ndarray of int, shape (fitting lines, columns)
    """

    def __init__(self, part: Bytes, separator: int, columns: int) -> None:
        ends_line = part == _LINE_FEED
        end = np.flatnonzero(ends_line | (part == separator))
        start = np.empty_like(end)
        start[0], start[1:] = 0, end[:-1] + 1
        closing = np.flatnonzero(ends_line[end])
        count = np.diff(closing, prepend=-1)
        self.last = end[closing]
        self.first = np.empty_like(self.last)
        self.first[0], self.first[1:] = 0, self.last[:-1] + 1
        if (self.last - self.first).max() > _LONGEST_LINE:
            raise NotPlainError
        fits = count == columns
        self.even, self.uneven = np.flatnonzero(fits), np.flatnonzero(~fits)
        if len(self.uneven):
            kept = np.repeat(fits, count)
            start, end = start[kept], end[kept]
        self.start = start.reshape(-1, columns)
        self.size = end.reshape(-1, columns) - self.start


def _numbers(part: Bytes, start: Places, size: Places) -> Floats:
    """Return plain decimal numbers; NaN where blank, infinite where a cell holds anything else."""
    digits = np.zeros(len(start), dtype=np.int64)
    points = np.zeros(len(start), dtype=np.uint8)
    decimals = np.zeros(len(start), dtype=np.uint8)
    length = np.minimum(size, _DIGITS + 1).astype(np.uint8)
    blank = length == 0
    negative = (part.take(start) == _MINUS) & ~blank
    odd = length > _DIGITS
    for at in range(min(int(length.max(initial=0)), _DIGITS)):
        byte = part.take(start + at, mode="clip")
        there = length > at
        digit = byte - np.uint8(_ZERO)
        is_digit = (digit < 10) & there
        is_point = (byte == _POINT) & there
        digits = np.where(is_digit, digits * 10 + digit, digits)
        decimals += is_digit & (points > 0)
        points += is_point
        strange = there ^ is_digit ^ is_point
        if at == 0:
            strange &= ~negative
        odd |= strange
    found: Floats = digits / _POWERS[decimals]
    odd |= (points > 1) | ((length == points + negative) & ~blank) | (found > LARGEST)
    np.negative(found, out=found, where=negative)
    found[blank] = np.nan
    found[odd] = np.inf
    return found


def _number(text: str) -> float:
    try:
        value = parse_number(text)
    except NumberError:
        return np.inf
    return np.nan if value is None else value


class _Coder:
    """A column of words: only where a cell differs from the one above it is it made a text."""

    def __init__(self) -> None:
        self.codes: list[NDArray[np.int64]] = []
        self.known: dict[bytes, int] = {}

    def add(self, data: bytes, begin: int, part: Bytes, start: Places, size: Places) -> None:
        if not len(start):
            return
        width = int(size.max())
        if width > _LONGEST_WORD:
            raise NotPlainError
        changed = np.zeros(len(start), dtype=np.bool_)
        changed[0] = True
        padded = np.append(part, np.zeros(width + 8, dtype=np.uint8))
        eights = np.ndarray(len(padded) - 7, dtype="V8", buffer=padded, strides=(1,))
        for past in range(0, width, 8):  # Eight bytes at a time, wherever they begin.
            own = np.clip(size - past, 0, 8)
            letters = eights[start + past].view(np.uint64) & _FIRST[own]
            changed[1:] |= letters[1:] != letters[:-1]
        at = np.flatnonzero(changed)
        first = start[at] + begin
        known = self.known
        codes = [
            known.setdefault(data[one:end], len(known))
            for one, end in zip(first.tolist(), (first + size[at]).tolist(), strict=True)
        ]
        self.codes.append(np.repeat(codes, np.diff(at, append=len(start))))

    def words(self) -> Words:
        code = np.concatenate(self.codes) if self.codes else np.zeros(0, dtype=np.int64)
        return Words(code, [one.decode() for one in self.known])
