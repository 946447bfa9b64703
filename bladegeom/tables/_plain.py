"""A plain table of many blades by its columns: pandas splits it, our own parsers read the texts.

Plain is text without quotes, its lines ended alike. Each different text of a column is read once,
by the functions that read single cells, so that nothing is guessed. The rows of a blade in which
anything is odd are read cell by cell, as in `bladegeom.tables.read`, and so is a table that is
odd. Either way the frame is the same.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bladegeom.columns import FACT_COLUMNS, KNOWN_COLUMNS, MOST_TEETH
from bladegeom.faults import Fault, RefusedError, Who
from bladegeom.lengths import LARGEST, LEAST, NumberError, parse_number
from bladegeom.readings import Readings
from bladegeom.tables.blade_facts import folded, read_blade_facts
from bladegeom.tables.blades import (
    Batch,
    Beside,
    answered,
    faults_beside,
    leave_unread,
    notes_of,
    wrong_name,
)
from bladegeom.tables.out import columns_of, facts_in_columns
from bladegeom.tables.sheets import plainly_points
from bladegeom.tables.table import (
    Facts,
    Part,
    Table,
    called_figure,
    customer_of,
    open_table,
    owners,
    written,
)
from bladegeom.tables.text import Spoilt, decode, split, tidy_name

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Bools = NDArray[np.bool_]

_HEAD = 1 << 18
"""Letters of a table that tell its decimal mark, and of which columns the texts come again."""
_LONGEST_LINE = 100_000
_LARGEST_WHOLE = 1e9
_CELL, _UNUSED = "S32", "S1"
"""Bytes that are kept of a cell whose text is unlike the others, and of one that is not used."""
_OF_NUMBERS = np.isin(np.arange(256), [*b"0123456789.+-eE\0"])
_AT_ONCE = 1 << 16
_NO_TEXT = '"'


class NotPlainError(Exception):
    """The table has to be read cell by cell."""


class Tidy(NamedTuple):
    """What a table held.

    Attributes
    ----------
    frame : pandas.DataFrame or None
        See `bladegeom.read_table`; None where no blade can be answered.
    refused : list of Fault
    notes : list of str
    remarks : dict
        What was done with a blade's readings that no frame shows, by the blade.
    """

    frame: pd.DataFrame | None
    refused: list[Fault]
    notes: list[str]
    remarks: dict[Who, tuple[str, ...]]


def remarks_of(readings: Iterable[Readings]) -> dict[Who, tuple[str, ...]]:
    """Return what was done with readings that no frame shows, by the blade."""
    return {one.blade.who: one.notes for one in readings if one.notes}


def plain_table(
    data: bytes,
    name: str,
    stated: Facts,
    blades: str | os.PathLike[str] | None,
    unit: str | None,
    progress: Callable[[int, int], None] | None = None,
) -> Tidy | None:
    """Read the bytes of the table called `name`; None where it has to be read cell by cell.

    `stated` are facts from options, `blades` a second table with one row of facts a blade.
    `progress` is told how many of the blades that are not plain are read.
    """
    notes: list[str] = []
    if "customer" in stated:  # Whose blades alone are asked for.
        return None
    try:
        rows = PlainRows(*opened(data, name, unit, notes))
        second = None if blades is None else read_blade_facts(blades)
        tidy = tidy_rows(rows, Beside(stated, second), progress)
        blades_read = {*rows.blades, *(fault.who for fault in tidy.refused)}
        return tidy._replace(notes=notes + notes_of(rows.table, second, blades_read))
    except (NotPlainError, RefusedError):
        return None  # Reading cell by cell refuses it too, and says why.


def opened(data: bytes, name: str, unit: str | None, notes: list[str]) -> tuple[Table, bytes, int]:
    """Return the table with the first of its rows, its lines, and what their numbers are to rows.

    A first line of `_NO_TEXT`, in place of the header and of a row of units, keeps pandas from
    making numbers of the texts (007 is a name) and from taking a byte order mark for one, and
    tells how many cells a row may have.
    """
    text = decode(data, name, notes)
    if "\r" in text:
        text = text.replace("\r\n", "\n")
    if not text.endswith("\n"):
        text += "\n"
    head = split(text[: text.rfind("\n", 0, _HEAD) + 1], name, KNOWN_COLUMNS)
    names = text[: text.index("\n")].split(head.separator)
    if (
        '"' in text
        or "\r" in text
        or [*map(tidy_name, names)] != head.header  # Something stands above it.
        or "blade" not in head.header
        or "mount" in head.header
        or not all(head.header)
        or (head.separator != "," and "," in text)
    ):
        raise NotPlainError
    table = open_table(head, name, unit, ".")
    units = int(head.rows[0][0] != table.sheet.rows[0][0])
    if units and head.rows[0][0] != 2:
        raise NotPlainError
    teeth = [one.place for one in table.teeth]
    pointed = head.separator != "," and "." in text
    if pointed and not plainly_points(table.sheet, table.column, teeth):
        raise NotPlainError
    if called_figure(text[-_LONGEST_LINE:].rstrip().rpartition("\n")[2].split(head.separator)):
        raise NotPlainError
    lines = text.encode()
    at = lines.index(b"\n") + 1
    if units:
        at = lines.index(b"\n", at) + 1
    first = head.separator.join([_NO_TEXT] * len(head.header)) + "\n"
    body = b"".join([first.encode(), memoryview(lines)[at:]])  # One copy: it may be of a giant.
    at = 0
    while len(body) - at > _LONGEST_LINE:
        at = body.rfind(b"\n", at, at + _LONGEST_LINE) + 1
        if not at:
            raise NotPlainError
    return table, body, 1 + units


class _Words(NamedTuple):
    """A column of texts without the blanks around them: the different ones, and which is where."""

    code: Whole
    texts: list[str]


class PlainRows:
    """The rows of a plain table, each blade's together, in the order in which the blades come.

    Attributes
    ----------
    table : Table
    blades : list of Who
    of, row : ndarray of int, shape (rows,)
        The blade of each row, and the row's number.
    start : ndarray of int, shape (blades,)
        Where the rows of each blade begin.
    spoilt : list of Spoilt
        Rows that do not fit the header.
    """

    def __init__(self, table: Table, body: bytes, above: int) -> None:
        self.table, self._body, self._above = table, body, above
        self.spoilt: list[Spoilt] = []
        self._order: Any = slice(None)
        self._frame, lines = self._columns()
        names = self.words("blade")
        kept = np.ones(len(lines), dtype=np.bool_)
        if "" in names.texts:
            for at in np.flatnonzero(names.code == names.texts.index("")).tolist():
                kept[at] = any(map(str.strip, self._cells(lines[at])))
        whose, called = self._whose(names)
        of, different = pd.factorize(whose[kept])
        if not len(of) or 2 * len(self.spoilt) > len(of) + len(self.spoilt):
            raise NotPlainError
        if not kept.all() or (of[1:] < of[:-1]).any():  # Most are together, and nothing copied.
            self._order = np.flatnonzero(kept)[np.argsort(of, kind="stable")]
        self.of = np.sort(of, kind="stable")
        self.row = lines[self._order] + above
        self.start = np.flatnonzero(np.diff(self.of, prepend=-1))
        self.blades = [called[one] for one in different.tolist()]

    def _whose(self, names: _Words) -> tuple[Whole, list[Who]]:
        """Return which blade each row is of, as `bladegeom.tables.table.Table.groups` tells it."""
        if "customer" not in self.table.place:
            return names.code, [Who(name) for name in names.texts]
        customers = self.words("customer")
        code, pairs = pd.factorize(names.code * len(customers.texts) + customers.code)
        place, at = np.divmod(pairs, len(customers.texts))
        found = [
            Who(names.texts[name], customer_of(customers.texts[customer]))
            for name, customer in zip(place.tolist(), at.tolist(), strict=True)
        ]
        several = owners(found)
        if any(len(own) > 1 for own in several.values()):
            blank = {who.name for who in found if not who.customer}
            for name, own in several.items():
                if len(own) > 1 and (name in blank or len({*map(folded, own)}) < len(own)):
                    raise NotPlainError
        one = {who: Who(who.name, *several.get(who.name, ())) for who in found if not who.customer}
        blades: dict[Who, int] = {}
        same = [blades.setdefault(one.get(who, who), len(blades)) for who in found]
        return np.array(same)[code], [*blades]

    @cached_property
    def _ends(self) -> Whole:
        """Where each line ends."""
        return np.flatnonzero(np.frombuffer(self._body, np.uint8) == ord("\n"))

    def _cells(self, line: int) -> list[str]:
        """Return the cells of a line as they stand."""
        begin = self._ends[line - 1] + 1 if line else 0
        return self._body[begin : self._ends[line]].decode().split(self.table.sheet.separator)

    def _columns(self) -> tuple[pd.DataFrame, Whole]:
        """Return the columns of the lines that fit the header, and which these are."""
        separator, kinds = self.table.sheet.separator, _kinds_of_columns(self.table)
        lines = self._body.count(b"\n")
        if self._body.count(separator.encode()) == (len(kinds) - 1) * lines:
            try:
                return _split(self._body, separator, kinds), np.arange(1, lines)
            except pd.errors.ParserError:
                pass  # One row is too long, and so another is too short.
        letters = np.frombuffer(self._body, np.uint8)
        before = np.searchsorted(np.flatnonzero(letters == ord(separator)), self._ends)
        fits = np.diff(before, prepend=0) == len(kinds) - 1
        for line in np.flatnonzero(~fits).tolist():
            if any(map(str.strip, cells := self._cells(line))):
                self.spoilt.append(Spoilt(self._above + line, cells, -1))
        body = letters[np.repeat(fits, np.diff(self._ends, prepend=-1))].tobytes()
        return _split(body, separator, kinds), np.flatnonzero(fits)[1:]

    def words(self, column: str) -> _Words:
        """Return a column as texts."""
        found = self._frame[self.table.place[column]]
        if isinstance(found.dtype, pd.CategoricalDtype):
            code, texts = found.cat.codes.to_numpy(), found.cat.categories
        else:
            code, texts = pd.factorize(found)
        known: dict[str, int] = {}
        again = [known.setdefault(text.strip(), len(known)) for text in texts.tolist()]
        code = code[self._order]
        return _Words(np.array(again)[code] if len(known) < len(again) else code, [*known])

    def numbers(self, place: int) -> Floats:
        """Return a column as numbers: NaN where blank or ``?``, infinite where there is none."""
        found = self._frame[place]
        if not isinstance(found.dtype, pd.CategoricalDtype):
            return _numbers(np.asarray(found, dtype=_CELL)[self._order])
        texts = [text.encode() for text in found.cat.categories.tolist()]
        code: Whole = found.cat.codes.to_numpy()[self._order]
        return _numbers(np.array(texts, dtype=_CELL))[code]

    def cells(self, blade: int) -> list[tuple[int, list[str]]]:
        """Return the rows of one blade cell by cell."""
        first, last = np.searchsorted(self.of, [blade, blade + 1])
        return [(row, self._cells(row - self._above)) for row in self.row[first:last].tolist()]


def _split(data: bytes, separator: str, kinds: list[Any]) -> pd.DataFrame:
    """Return the columns of lines that all have as many cells, but for the first line."""
    return pd.read_csv(
        io.BytesIO(data),
        sep=separator,
        header=None,
        names=range(len(kinds)),
        dtype=dict(enumerate(kinds)),
        quoting=csv.QUOTE_NONE,
        na_filter=False,
        lineterminator="\n",
        low_memory=False,
    ).iloc[1:]


def _kinds_of_columns(table: Table) -> list[Any]:
    """Return how pandas keeps each column: as codes of its texts, where these come again.

    Codes of texts that are all different would take a minute for some millions of them.
    """
    place = table.place
    numbers = {place[one] for one in (table.column, "tooth", "turn", "order") if one in place}
    numbers |= {one.place for one in table.teeth}
    words = {place[one] for one in place if one in FACT_COLUMNS or one in ("blade", "turned")}
    kinds: list[Any] = [_UNUSED] * len(table.sheet.header)
    half = len(table.sheet.rows) // 2
    for at in numbers | words:
        cells = [cells[at] for _, cells in table.sheet.rows]
        new = {*cells[half:]}.difference(cells[:half])
        kinds[at] = "category" if 2 * len(new) <= half else _CELL if at in numbers else object
    return kinds


def _numbers(cells: NDArray[np.bytes_]) -> Floats:
    """Return the numbers that `parse_number` reads; NaN where blank, infinite where it refuses."""
    found = np.full(len(cells), np.inf)
    for at in range(0, len(cells), _AT_ONCE):
        part = cells[at : at + _AT_ONCE]
        letters = part.view(np.uint8).reshape(len(part), -1)
        whole = letters[:, -1] == 0
        plain = whole & (letters[:, 0] != 0) & _OF_NUMBERS[letters].all(axis=1)
        read = found[at : at + _AT_ONCE]
        with suppress(ValueError):  # Of what NumPy reads only decimal numbers are left.
            read[plain] = part[plain].astype(np.float64)
        # Not even zero may be one whose digits are lost.
        odd = whole & ~((np.abs(read) >= LEAST) & (np.abs(read) <= LARGEST))
        for one in np.flatnonzero(odd).tolist():
            read[one] = _number(part[one].decode())
    return found


def _number(text: str) -> float:
    try:
        value = parse_number(text)
    except NumberError:
        return np.inf
    return np.nan if value is None else value


def tidy_rows(
    rows: PlainRows,
    beside: Beside,
    progress: Callable[[int, int], None] | None = None,
    *,
    of_more: bool = False,
) -> Tidy:
    """Return what plain rows hold, without notes; they may be `of_more`, a larger table."""
    table, blades = rows.table, rows.blades
    faulty: dict[Who, list[Fault]] = {}
    if rows.spoilt:
        at = rows.row.argsort()
        near = [blades[blade] for blade in rows.of[at].tolist()]
        faulty = faults_beside(rows.spoilt, table, rows.row[at].tolist(), near)
    alone, wide = len({*blades, *faulty}) == 1 and not of_more, bool(table.teeth)
    named = [wrong_name(who.name, [0], wide=wide) is None for who in blades]
    plain = np.array([who not in faulty and well for who, well in zip(blades, named, strict=True)])
    kind, kinds = _kinds_of_blades(rows, beside, plain, alone=alone)
    teeth = np.array([*(one.get("teeth", 0) for one in kinds), 0])[kind]
    plain &= teeth > 0
    found = _readings(rows, teeth, plain)
    batch: Batch[Readings] = Batch([], [], [])
    others: dict[int, Readings] = {}
    apart = np.flatnonzero(~plain).tolist()
    for done, blade in enumerate(apart):
        if progress is not None:
            progress(done, len(apart))
        who, cells = blades[blade], rows.cells(blade)
        wrong = faulty.pop(who, [])
        made = answered(table, who, cells, beside, wrong, alone, Part.readings, batch.refused)
        if made is not None:
            batch.readings.append(made)
            others[blade] = made
    unread = leave_unread(batch)
    for faults in faulty.values():
        batch.refused.extend(faults)
    batch.refused.extend(unread)
    frame = None
    if batch.readings or plain.any():
        others = {blade: one for blade, one in others.items() if len(one.reading)}
        frame = _frame(rows, found, np.where(plain, kind, -1), kinds, others)
        frame.attrs["refused"] = batch.refused
    return Tidy(frame, batch.refused, [], remarks_of(batch.readings))


def _kinds_of_blades(
    rows: PlainRows, beside: Beside, plain: Bools, *, alone: bool
) -> tuple[Whole, list[dict[str, Any]]]:
    """Return of which kind each blade is, -1 if of none, and what is stated of each kind.

    Blades of which the same is stated are a kind. Those with two statements are taken out of
    `plain`, and nothing is stated of a kind that has a fault.
    """
    table = rows.table
    base, known = _stated_beside(rows, beside, plain, alone=alone)
    heads: dict[str, Whole] = {"": base}
    texts: dict[str, list[str]] = {}
    for fact in table.place:
        if fact not in FACT_COLUMNS and fact != "turned":
            continue
        code, texts[fact] = rows.words(fact)
        head = code[rows.start]
        off = np.flatnonzero(code != head[rows.of])
        if len(off) and "" in texts[fact] and fact != "turned":  # Blank cells say nothing.
            said = np.flatnonzero(code != texts[fact].index(""))
            head[rows.of[said[::-1]]] = code[said[::-1]]
            off = said[code[said] != head[rows.of[said]]]
        plain[rows.of[off]] = False
        if fact == "turned":
            plain &= np.array([text.lower() in ("", "forward") for text in texts[fact]])[head]
        else:
            heads[fact] = head
    cases = pd.DataFrame(heads)[plain]
    case = cases.groupby([*heads], sort=False).ngroup()
    kinds = []
    for example in np.flatnonzero(plain)[~case.duplicated()].tolist():
        cells = [""] * len(table.sheet.header)
        for fact in texts.keys() & heads:
            cells[table.place[fact]] = texts[fact][heads[fact][example]]
        kinds.append(_stated(Part(table, "", [(0, cells)], dict(known[base[example]]))))
    kind = np.full(len(plain), -1)
    kind[plain] = case
    return kind, kinds


def _stated_beside(
    rows: PlainRows, beside: Beside, plain: Bools, *, alone: bool
) -> tuple[Whole, list[Facts]]:
    """Return what is stated of blades beside their rows: whose case is which, and the cases."""
    code = np.zeros(len(plain), dtype=np.int64)
    if beside.second is None:
        return code, [beside.stated]
    cases: dict[tuple[Any, ...], int] = {}
    stated: list[Facts] = []
    for blade in np.flatnonzero(plain).tolist():
        row = int(rows.row[rows.start[blade]])
        known, faults = beside.known(rows.blades[blade], named=True, alone=alone, row=row)
        plain[blade] = not faults
        case = tuple((name, fact.value) for name, fact in known.items())
        code[blade] = cases.setdefault(case, len(cases))
        stated += [known] if len(cases) > len(stated) else []
    return code, stated


def _stated(part: Part) -> dict[str, Any]:
    """Return what is stated of a blade as columns; nothing where something is wrong with it."""
    part.state()
    part.need_teeth()
    one = {"readings": ([0.0], part.table.unit), "tooth": [1]}
    try:
        columns = (
            facts_in_columns(written("", part.known, one).readings()) if not part.faults else {}
        )
    except RefusedError:
        return {}
    last = max((one.tooth for one in part.table.teeth), default=MOST_TEETH)
    return columns if last >= columns.get("teeth", 0) else {}


class _Found(NamedTuple):
    """What is read: the blade of each reading, its tooth, turn and order, and the reading."""

    of: Whole
    tooth: Floats
    turn: Floats
    order: Floats
    reading: Floats

    def where(self, kept: Bools) -> _Found:
        """Return those that are kept."""
        if kept.all():
            return self
        of, *others = self
        return _Found(of[kept], *(values[kept] for values in others))


def _readings(rows: PlainRows, teeth: Whole, plain: Bools) -> _Found:
    """Return what was read of blades that are plain, and take the others out of `plain`.

    Plain are blades of which something was read, and whose rows come in the order in which that
    was, each tooth once a turn, with or without a closing reading (see `bladegeom.sequence`).
    """
    table, place, of = rows.table, rows.table.place, rows.of
    wide = len(table.teeth)
    further = {one: rows.numbers(place[one]) for one in ("turn", "order") if one in place}
    if wide:
        turn = further.get("turn", np.zeros(len(of)))
        plain[of[1:][(of[1:] == of[:-1]) & ~(turn[1:] > turn[:-1])]] = False
        reading = np.stack([rows.numbers(one.place) for one in table.teeth], axis=1).ravel()
        tooth = np.tile([float(one.tooth) for one in table.teeth], len(of))
        further = {one: np.repeat(values, wide) for one, values in further.items()}
        of = np.repeat(of, wide)
    else:
        reading, tooth = rows.numbers(place[table.column]), rows.numbers(place["tooth"])
    read = ~np.isnan(reading)
    wrong = ~((tooth >= 1) & (tooth <= teeth[of])) | (tooth != np.floor(tooth))
    if wide:  # Teeth that the blade has not are read of none.
        wrong &= read
    wrong |= np.isinf(reading)
    for values in further.values():
        wrong |= ~((np.abs(values) <= _LARGEST_WHOLE) & (values == np.floor(values)))
    plain[of[wrong]] = False
    plain &= np.bincount(of[read], minlength=len(plain)) > 0
    turn = further.get("turn", np.ones(len(of)))
    order = further.get("order", np.arange(0.0, len(of)))
    found = _Found(of, tooth, turn, order, reading).where(read & plain[of])
    _check_turns(found, plain)
    return found.where(plain[found.of])


def _check_turns(found: _Found, plain: Bools) -> None:
    """Take blades out of `plain` that were not read turn after turn, each tooth once in each."""
    of, tooth, turn, order, _ = found
    if not len(of):
        return
    same = of[1:] == of[:-1]
    plain[of[1:][same & (turn[1:] < turn[:-1])]] = False
    same &= turn[1:] == turn[:-1]
    plain[of[1:][same & ~(order[1:] > order[:-1])]] = False
    first = np.flatnonzero(np.concatenate(([True], ~same)))
    last = np.append(first[1:], len(of)) - 1
    closes = last[(last > first) & (tooth[last] == tooth[first])]
    grows = ~same | (tooth[1:] > tooth[:-1])
    grows[closes - 1] = True
    if not grows.all():  # Teeth that do not simply go up are counted.
        code = np.repeat(np.arange(len(first)) * (MOST_TEETH + 1.0), last - first + 1) + tooth
        code[closes] = -1.0 - closes
        plain[of[pd.Series(code).duplicated().to_numpy()]] = False


def _frame(
    rows: PlainRows,
    found: _Found,
    kind: Whole,
    kinds: list[dict[str, Any]],
    others: Mapping[int, Readings],
) -> pd.DataFrame:
    """Return the tidy frame: the plain blades, and the others put between them."""
    used, kind[kind >= 0] = np.unique(kind[kind >= 0], return_inverse=True)
    kinds = [kinds[one] for one in used.tolist()]
    table: dict[str, Any] = {
        "blade": pd.Series([who.name for who in rows.blades]).array.take(found.of),
        "tooth": found.tooth.astype(np.int64),
        "turn": found.turn.astype(np.int64),
        f"reading_{rows.table.unit}": found.reading,
    }
    columns = [[*table, *one] for one in kinds]
    which = kind[found.of]
    come = pd.unique(kind[kind >= 0]).tolist()
    for key in dict.fromkeys(key for one in come for key in kinds[one]):
        table[key] = pd.Series([one.get(key, np.nan) for one in kinds]).array.take(which)
    frame = pd.DataFrame(table, copy=False)
    if not others:
        return frame
    parts, of = [frame] if len(frame) else [], [found.of]
    for blade, readings in others.items():
        parts.append(pd.DataFrame(columns_of(readings)))
        of.append(np.full(len(parts[-1]), blade))
        kind[blade] = len(columns)
        columns.append([*parts[-1]])
    keys = dict.fromkeys(key for one in pd.unique(kind[kind >= 0]).tolist() for key in columns[one])
    order = np.argsort(np.concatenate(of), kind="stable")
    return pd.concat(parts, ignore_index=True).iloc[order].reset_index(drop=True)[[*keys]]
