"""What is stated of each blade of a plain table: blades of which the same is stated are a kind."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.faults import RefusedError
from bladegeom.readings import Readings
from bladegeom.tables.blades import Beside
from bladegeom.tables.bulk_rows import Bools, Rows
from bladegeom.tables.facts import Fact, blade_of, facts_of_column, need_teeth, reading_facts
from bladegeom.tables.scan import Places, Words
from bladegeom.tables.tidy import facts_in_columns


class Kinds(NamedTuple):
    """Kinds of blades.

    Attributes
    ----------
    code : ndarray of int, shape (blades,)
        Place in `columns`; -1 where a blade is not plain.
    columns : list of dict
        What is stated, as columns of a tidy table.
    teeth : ndarray of int, shape (blades,)
    """

    code: NDArray[np.int64]
    columns: list[dict[str, Any]]
    teeth: NDArray[np.int64]


def kinds_of(
    facts: Sequence[str],
    rows: Rows,
    beside: Beside,
    unit: str,
    plain: Bools,
    *,
    most: int,
    alone: bool,
) -> Kinds:
    """Sort blades into kinds, and take those with a fault in what is stated out of `plain`.

    Parameters
    ----------
    facts : sequence of str
        The columns of `rows.words`.
    rows : Rows
    beside : Beside
    unit : str
        Of the readings.
    plain : ndarray of bool, shape (blades,)
    most : int
        Columns of teeth in a wide table; a blade has not more teeth. 0 in a long one.
    alone : bool
        Whether the table is of one blade only.

    Raises
    ------
    RefusedError
        If what is stated beside the rows does not say of which blade it is.
    """
    first = np.flatnonzero(np.diff(rows.group, prepend=-1))
    heads = []
    for fact, words in zip(facts, rows.words, strict=True):
        head = _heads(words, rows.group, first, plain, strict=fact == "turned")
        if fact == "turned":
            said = np.array([text.lower() in ("", "forward") for text in words.texts])
            plain &= said[head]
        else:
            heads.append((fact, head, words.texts))
    base, known = _known(rows, first, beside, plain, alone=alone)
    code = base
    for _, head, texts in heads:
        code = _joined(code, head, len(texts))
    kind = np.full(len(plain), -1, dtype=np.int64)
    at = np.flatnonzero(plain)
    _, example, own = np.unique(code[at], return_index=True, return_inverse=True)
    columns: list[dict[str, Any]] = []
    place = []
    for blade in at[example].tolist():
        said_here = [(fact, texts[head[blade]]) for fact, head, texts in heads]
        stated = _stated(known[base[blade]], said_here, unit)
        if stated is None or 0 < most < stated["teeth"]:
            place.append(-1)
        else:
            place.append(len(columns))
            columns.append(stated)
    kind[at] = np.array(place, dtype=np.int64)[own]
    plain &= kind >= 0
    teeth = np.array([0, *(one["teeth"] for one in columns)], dtype=np.int64)[kind + 1]
    return Kinds(kind, columns, teeth)


def _heads(
    words: Words, group: Places, first: Places, plain: Bools, *, strict: bool
) -> NDArray[np.int64]:
    """Return the word that is said of each blade, and take out those of which two are said.

    Blank cells say nothing, except where the column is `strict`.
    """
    head = words.code[first]
    changed = np.flatnonzero(words.code[1:] != words.code[:-1])
    changed = changed[group[changed + 1] == group[changed]]
    if strict or "" not in words.texts:
        plain[group[changed]] = False
        return head
    if len(changed):
        said = np.flatnonzero(words.code != words.texts.index(""))
        of, code = group[said], words.code[said]
        head[of[::-1]] = code[::-1]
        plain[of[1:][(code[1:] != code[:-1]) & (of[1:] == of[:-1])]] = False
    return head


def _known(
    rows: Rows, first: Places, beside: Beside, plain: Bools, *, alone: bool
) -> tuple[NDArray[np.int64], list[dict[str, Fact]]]:
    """Return what is stated of blades beside their rows: whose case is which, and the cases."""
    code = np.zeros(len(plain), dtype=np.int64)
    if beside.second is None:
        return code, [beside.stated]
    cases: dict[tuple[Any, ...], int] = {}
    stated = []
    for blade, row in enumerate(rows.row[first].tolist()):
        if not plain[blade]:
            continue
        known, faults = beside.known(rows.names[blade], named=True, alone=alone, row=row)
        plain[blade] = not faults
        case = tuple((name, fact.value) for name, fact in known.items())
        if case not in cases:
            cases[case] = len(cases)
            stated.append(known)
        code[blade] = cases[case]
    return code, stated


def _joined(code: NDArray[np.int64], more: NDArray[np.int64], many: int) -> NDArray[np.int64]:
    """Return one code for what two say together, no larger than there are cases."""
    import pandas as pd

    return np.asarray(pd.factorize(code * many + more)[0], dtype=np.int64)


def _stated(
    known: dict[str, Fact], said: Sequence[tuple[str, str]], unit: str
) -> dict[str, Any] | None:
    """Return what is stated of a blade as columns, or None where something is wrong with it."""
    known = dict(known)
    faults = []
    for column, text in said:
        faults += facts_of_column("", column, [(0, [text])], 0, ".", known)
    if faults:
        return None
    try:
        need_teeth(known, "")
        return facts_in_columns(
            Readings(blade_of(known, ""), ([0.0], unit), tooth=[1], **reading_facts(known))
        )
    except RefusedError:
        return None
