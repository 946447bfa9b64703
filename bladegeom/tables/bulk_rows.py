"""The rows of a plain table as arrays, each blade's together, and what is in order in them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.columns import MOST_TEETH
from bladegeom.tables.scan import Floats, NotPlainError, Places, Scan, Words

Bools = NDArray[np.bool_]

_LARGEST_WHOLE = 1e9


class Rows(NamedTuple):
    """The rows of a table, each blade's together, in the order in which the blades come.

    Attributes
    ----------
    names : list of str
        Of the blades.
    start, row : ndarray of int, shape (rows,)
        Where the line of each row begins, and its number.
    group : ndarray of int, shape (rows,)
        Its blade.
    words : list of Words
        Of each row, without the blanks around them; those of the names are left out.
    of : ndarray of int, shape (readings,)
        The blade of each reading. A row of a wide table has several of them.
    tooth, reading : ndarray, shape (readings,)
        Infinite where a cell holds no number, NaN where it is blank.
    turn, order : ndarray, shape (readings,), or None
    wide : bool
    """

    names: list[str]
    start: Places
    row: Places
    group: Places
    words: list[Words]
    of: Places
    tooth: Floats
    reading: Floats
    turn: Floats | None
    order: Floats | None
    wide: bool


def rows_of(
    found: Scan, data: bytes, separator: str, teeth: Sequence[int], named: Sequence[str]
) -> Rows:
    """Bring the rows of each blade together and leave blank ones out.

    Parameters
    ----------
    found : Scan
        The words of its first column are the blades' names.
    data : bytes
    separator : str
    teeth : sequence of int
        Of a wide table, whose first numbers are the readings of these teeth; else empty.
    named : sequence of str
        The further numbers; in a long table the first is the reading.

    Raises
    ------
    NotPlainError
        If no row is left.
    """
    import pandas as pd

    names, *words = [_stripped(column) for column in found.words]
    kept = np.ones(len(found.start), dtype=np.bool_)
    if "" in names.texts:
        for at in np.flatnonzero(names.code == names.texts.index("")).tolist():
            begin = int(found.start[at])
            line = data[begin : data.index(b"\n", begin)].decode()
            kept[at] = any(cell.strip() for cell in line.split(separator))
    code = names.code if kept.all() else names.code[kept]
    if not len(code):
        raise NotPlainError
    group, different = pd.factorize(code)
    order: Places | slice = slice(None)
    changes = np.count_nonzero(group[1:] != group[:-1])
    if changes + 1 > len(different):
        order = np.argsort(group, kind="stable")
    if not kept.all():
        order = np.flatnonzero(kept)[order]
        group = group[np.argsort(group, kind="stable")]
    else:
        group = group[order]
    numbers = found.numbers[order]
    columns = [*numbers.T]
    many = len(teeth)
    of = group
    if many:
        of = np.repeat(group, many)
        tooth = np.tile(np.array(teeth, dtype=np.float64), len(group))
        reading = numbers[:, :many].ravel()
        further = {one: np.repeat(numbers[:, many + at], many) for at, one in enumerate(named)}
    else:
        further = dict(zip(named[1:], columns[1:], strict=True))
        tooth, reading = further["tooth"], columns[0]
    return Rows(
        [names.texts[one] for one in different.tolist()],
        found.start[order],
        found.row[order],
        group,
        [Words(one.code[order], one.texts) for one in words],
        of,
        tooth,
        reading,
        further.get("turn"),
        further.get("order"),
        bool(many),
    )


def _stripped(words: Words) -> Words:
    """Return words without the blanks around them."""
    texts: dict[str, int] = {}
    again = [texts.setdefault(text.strip(), len(texts)) for text in words.texts]
    if len(texts) == len(words.texts):
        return Words(words.code, [*texts])
    return Words(np.array(again, dtype=np.int64)[words.code], [*texts])


def check_sequence(rows: Rows, teeth: NDArray[np.int64], plain: Bools) -> Bools:
    """Return which readings are kept, and take blades that are not plain out of `plain`.

    Plain are blades of which something was read, and whose rows come in the order in which that
    was, each tooth once a turn, with or without a closing reading (see
    `bladegeom.sequence`).

    Parameters
    ----------
    rows : Rows
    teeth : ndarray of int, shape (blades,)
    plain : ndarray of bool, shape (blades,)
    """
    of, tooth = rows.of, rows.tooth
    plain[of[np.isinf(rows.reading)]] = False
    read = ~np.isnan(rows.reading)
    outside = ~((tooth >= 1) & (tooth <= teeth[of])) | (tooth != np.floor(tooth))
    if rows.wide:
        outside &= read
        again = np.flatnonzero(rows.group[1:] == rows.group[:-1])
        if rows.turn is None:
            plain[rows.group[again]] = False
        else:
            turn = rows.turn[:: len(rows.of) // len(rows.group)]
            plain[rows.group[again[~(turn[again + 1] > turn[again])]]] = False
    plain[of[outside]] = False
    for values in (rows.turn, rows.order):
        if values is not None:
            whole = (np.abs(values) <= _LARGEST_WHOLE) & (values == np.floor(values))
            plain[of[~whole]] = False
    plain &= np.bincount(of[read], minlength=len(plain)) > 0
    at = np.flatnonzero(read & plain[of])
    if len(at):
        _check_turns(
            of[at],
            tooth[at],
            None if rows.turn is None else rows.turn[at],
            None if rows.order is None else rows.order[at],
            plain,
        )
    return read


def _check_turns(
    of: Places, tooth: Floats, turn: Floats | None, order: Floats | None, plain: Bools
) -> None:
    same = of[1:] == of[:-1]
    if turn is not None:
        plain[of[1:][same & (turn[1:] < turn[:-1])]] = False
        same &= turn[1:] == turn[:-1]
    if order is not None:
        plain[of[1:][same & ~(order[1:] > order[:-1])]] = False
    first = np.flatnonzero(np.concatenate(([True], ~same)))
    last = np.append(first[1:], len(of)) - 1
    closes = last[(last > first) & (tooth[last] == tooth[first])]
    grows = ~same | (tooth[1:] > tooth[:-1])
    grows[closes - 1] = True
    # Teeth that do not simply go up are counted, those of the closing readings left out.
    which = np.unique(np.searchsorted(first, np.flatnonzero(~grows) + 1, side="right") - 1)
    counted = np.zeros(len(first), dtype=np.bool_)
    counted[which] = True
    every = np.repeat(counted, last - first + 1)
    every[closes] = False
    at = np.flatnonzero(every)
    part = np.searchsorted(first, at, side="right") - 1
    code = np.sort(part * (MOST_TEETH + 1) + tooth[at].astype(np.int64))
    twice = code[1:][code[1:] == code[:-1]] // (MOST_TEETH + 1)
    plain[of[first[twice]]] = False
