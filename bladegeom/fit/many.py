"""Many blades at once: a tidy frame of readings in, a frame of answers out."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from itertools import islice
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from bladegeom.blade import Blade
from bladegeom.columns import STATED
from bladegeom.faults import BladegeomWarning, Fault, RefusedError, Who, also_in
from bladegeom.fit._frame import Bools, Floats, Groups, Places, cells, grouped
from bladegeom.fit._plain import plain_answers
from bladegeom.fit.answer import blade_answer, fit_answer
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.marks import NeutralLine
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.readings import Readings
from bladegeom.result import in_columns
from bladegeom.tables.header import check_header
from bladegeom.tables.table import Part, Table
from bladegeom.tables.text import Sheet, tidy_name

if TYPE_CHECKING:
    import pandas as pd

_NAMES = ("blade", "customer", "mount")
_WHOLE = ("teeth", "readings", "dof")
_TEETH = ("near_tooth", "far_tooth", "neutral_tooth_1", "neutral_tooth_2", "better_tooth")
"""Columns of whole numbers that are blank where no direction is established."""


@checked
def fit_table(
    frame: pd.DataFrame, *, progress: Callable[[int, int], None] | None = None
) -> pd.DataFrame:
    """Fit every blade of a tidy frame: the numbers of `fit_wobble`, one row out a blade.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a reading, columns as in a CSV file of readings: ``tooth``, one of
        ``reading_mm``, ``reading_in``, ``reading_thou`` and ``reading_um``, and, where they
        matter, ``blade``, ``turn``, ``order``, ``turned`` and the blade's facts, as `read_table`
        returns them. With a column ``mount``, each blade is answered once for every mounting.
        Missing values are blank cells. The frame is not changed.
    progress : callable, optional
        Told now and then how many blades of how many are done.

    Returns
    -------
    pandas.DataFrame
        One row a blade (and mounting), in the order in which they come. Columns are the keys of
        `blade_answer`, ``customer`` and ``mount`` behind ``blade`` if given; a pair is two columns,
        ``neutral_tooth_1`` and ``neutral_tooth_2``, and the warnings are one text. Lengths are in
        ``unit``, every ``_u`` is a standard uncertainty (k = 1), ``_low`` and ``_high`` are 95 %
        limits; missing where something is not established. Blades that cannot be answered are
        listed, as `Fault`, in ``attrs["refused"]``, behind those that `read_table` had left out,
        and a `BladegeomWarning` says so; rows count as in a spreadsheet, the header is row 1.

    Raises
    ------
    RefusedError
        If the columns are at fault, or no blade can be answered.
    """
    found, refused = fit_frame(frame, progress)
    if found is None:
        raise RefusedError(refused)
    if refused:
        lines = "\n".join(f"  {fault}" for fault in refused)
        warnings.warn(f"left out:\n{lines}", BladegeomWarning, stacklevel=2)
    found.attrs["refused"] = [*frame.attrs.get("refused", ()), *refused]
    found.attrs[READ] = brought = Brought()
    brought.frame = frame
    return found


def fit_frame(
    frame: pd.DataFrame,
    progress: Callable[[int, int], None] | None = None,
    *,
    checked: bool = False,
) -> tuple[pd.DataFrame | None, list[Fault]]:
    """Do the work of `fit_table`; return the table, None where no blade is left, and every fault.

    Where `checked`, the readings are looked through for mistakes too: column ``read_again`` tells
    of a likely one, the first of the warnings is about it, and no teeth are named.

    Raises
    ------
    RefusedError
        If the columns are at fault.
    """
    import pandas as pd

    opened = open_frame(frame)
    frame, place, unit, groups = opened.frame, opened.place, opened.unit, opened.groups
    plain, doubted, columns, which, texts, _ = plain_answers(*opened, checked=checked)
    alone = np.flatnonzero(~plain | doubted)
    done, count = len(plain) - len(alone), len(plain)
    told = progress or (lambda *_: None)
    told(done, count)
    answers: dict[int, dict[str, Any]] = {}
    refused: list[Fault] = []
    mistakes: dict[int, dict[str, Any]] = {}
    answered = partial(_in_row, checked=checked)
    for group, answer in one_by_one(
        opened, alone, lambda at: _mistake if doubted[at] else answered
    ):
        done += 1
        told(done, count)
        if isinstance(answer, dict):
            (mistakes if doubted[group] else answers)[group] = answer
        else:
            refused += answer
    kept = plain.copy()
    kept[[*answers]] = True
    if not kept.any():
        if refused:
            return None, refused
        known = [one for one in place if one != "mount"]
        check_header(Sheet(known, [], ",", 1), "the frame", None)  # Nothing but blank rows.
    at: Any = slice(None) if kept.all() else kept
    again = np.full(count, "", dtype=object)
    spoken = {text: at for at, text in enumerate(texts)}
    for group, answer in answers.items():
        which[group] = spoken.setdefault(answer["warnings"], len(spoken))
        again[group] = answer.get("read_again", "")
    for group, answer in mistakes.items():
        if answer["read_again"]:
            words = "; ".join(filter(None, (answer["warnings"], texts[which[group]])))
            which[group] = spoken.setdefault(words, len(spoken))
            again[group] = answer["read_again"]
            for key in (*_TEETH, "flat"):
                columns[key][group] = np.nan
    # Whatever kind of text a frame has, its answers have the usual one.
    table: dict[str, Any] = {"blade": pd.Series(groups.name[at]).astype("str")}
    for key, texts in (("customer", groups.customer), ("mount", groups.mount)):
        if key in place:
            table[key] = pd.Series(texts[at]).astype("str")
    said = {
        "unit": pd.Series([unit]).array.take(np.zeros(np.count_nonzero(kept), dtype=np.intp)),
        "warnings": pd.Series([*spoken]).array.take(which[at]),
    }
    for key in _columns():
        table[key] = said[key] if key in said else _column(key, columns, answers, kept)
    if checked:
        table["read_again"] = again[at]
    return pd.DataFrame(table, copy=False), refused


def _columns() -> list[str]:
    """Return the columns behind blade and mount, in the order of `fit_answer`."""
    kinds = (WobbleFit.glossary(), NeutralLine.glossary())
    keys = [key for kind in kinds for several in kind for key in several]
    columns = [column for key in keys for column in in_columns(key, ())]
    return [*(one for one in columns if one not in ("blade", "customer", "warnings")), "warnings"]


def _column(
    key: str, columns: Mapping[str, Floats], answers: Mapping[int, dict[str, Any]], kept: Bools
) -> Any:
    """Return a column of numbers: that of the plain blades, and the others' answers in it."""
    import pandas as pd

    values = columns[key] if key in columns else np.full(len(kept), np.nan)
    own = [answer[key] for answer in answers.values()]
    values[[*answers]] = [np.nan if one is None else one for one in own]
    values = values if kept.all() else values[kept]
    if key in _TEETH:
        blank = np.isnan(values)
        return pd.arrays.IntegerArray(np.where(blank, 1, values).astype(np.int64), blank)
    if key in ("resolved", "flat"):
        return values == 1
    return values.astype(np.int64) if key in _WHOLE else values


class Opened(NamedTuple):
    """A tidy frame whose header is understood, its rows sorted into blades and mountings."""

    frame: pd.DataFrame
    place: dict[str, int]  # Of each column.
    column: str  # Of the readings.
    unit: str
    groups: Groups


def open_frame(frame: pd.DataFrame) -> Opened:
    """Understand the header of a tidy frame, or raise RefusedError."""
    header = [tidy_name(str(column)) for column in frame.columns]
    known = [column for column in header if column != "mount"]
    column, unit = check_header(
        Sheet(known, [(2, [])] if len(frame) else [], ",", 1), "the frame", None
    )
    place = {one: header.index(one) for one in header if one}
    kinds = [(name, kind) for name, kind in frame.dtypes.items() if isinstance(kind, np.dtype)]
    if foreign := {name: kind.newbyteorder("=") for name, kind in kinds if not kind.isnative}:
        frame = frame.astype(foreign)  # Pandas does not pick rows of numbers from other machines.
    keys = {one: frame.iloc[:, place[one]] if one in place else None for one in _NAMES}
    return Opened(frame, place, column, unit, grouped(keys, len(frame)))


class Brought(dict[str, Any]):
    """The readings that a table of answers brings with it, in its ``attrs``.

    They go with copies, and are left behind where a table is saved or sent to another process: an
    empty dict then, as to everyone who does not ask for them.
    """

    frame: pd.DataFrame | None = None

    def __deepcopy__(self, _: object) -> Brought:
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        return dict, ()

    def __eq__(self, other: object) -> bool:
        return self is other

    def __ne__(self, other: object) -> bool:
        return self is not other

    def __hash__(self) -> int:  # type: ignore[override]
        return id(self)


READ = "readings"
"""What of a table's ``attrs`` brings its readings."""


def one_by_one(
    opened: Opened,
    alone: Places,
    answered: Callable[[int], Callable[[Readings], dict[str, Any]]],
) -> Iterator[tuple[int, dict[str, Any] | list[Fault]]]:
    """Return what is answered of each blade and mounting, or its faults; nothing of blank rows."""
    frame, place, column, unit, groups = opened
    rows = groups.rows(alone)
    texts = [
        cells(frame.iloc[rows, at], whole=tidy_name(str(name)) in _NAMES)
        for at, name in enumerate(frame.columns)
    ]
    words = zip((rows + 2).tolist(), zip(*texts, strict=True), strict=True)
    table = Table(Sheet([*place], [], ",", 1), column, unit, ".", dict(place), [])
    blades: dict[Who, tuple[Blade, str]] = {}
    for group in alone.tolist():
        read = [(row, [*one]) for row, one in islice(words, int(groups.size[group])) if any(one)]
        who, mount = str(groups.name[group]), str(groups.mount[group])
        whose = Who(who, str(groups.customer[group]))
        if not read:
            continue
        try:
            for name, value in (("blade", who), ("mount", mount)):
                _check_named(name, value, name in place, read)
            readings = Part(table, who, read).readings()
            _check_same_blade(readings, blades, mount)
            yield group, answered(group)(readings)
        except RefusedError as error:
            yield group, [_placed(fault, whose, mount) for fault in error.faults]


def _check_named(name: str, value: str, there: bool, rows: list[tuple[int, list[str]]]) -> None:
    if there and not value:
        problem = f"the {'name of the blade' if name == 'blade' else 'mounting'} is missing"
        others = also_in([row for row, _ in rows[1:]])
        cure = f"fill in {name} in every row"
        raise RefusedError(Fault(f"{problem}{others}", cure, row=rows[0][0], column=name, value=""))


def _check_same_blade(readings: Readings, blades: dict[Who, tuple[Blade, str]], mount: str) -> None:
    """Refuse a mounting that says of the blade itself what an earlier one denies."""
    blade = readings.blade
    earlier, there = blades.setdefault(blade.who, (blade, mount))
    faults = []
    for name, here in blade.facts.items():
        if STATED[name].differs:
            continue
        fact, before = STATED[name].key, earlier.facts[name]
        if here != before and here is not None and before is not None:
            problem = f"{fact} is {here} here, but mount {there} says {before}"
            cure = f"let {fact} agree everywhere, or state it once"
            faults.append(Fault(problem, cure, blade.name, column=fact, value=str(here)))
    if faults:
        raise RefusedError(faults)


def _mistake(readings: Readings) -> dict[str, Any]:
    """Return what is said of the likely mistakes in readings, before the rest."""
    fit = fit_wobble(readings)
    row = in_columns("warnings", fit.doubted)
    return row | {"read_again": fit.mistake.again if fit.mistake else ""}


def _in_row(readings: Readings, *, checked: bool) -> dict[str, Any]:
    row: dict[str, Any] = {}
    fit = fit_wobble(readings)
    for key, value in (blade_answer(fit) if checked else fit_answer(fit)).items():
        row |= in_columns(key, value)
    if checked:
        row["read_again"] = fit.mistake.again if fit.mistake else ""
    return row


def _placed(fault: Fault, who: Who, mount: str) -> Fault:
    problem = f"mount {mount}: {fault.problem}" if mount else fault.problem
    return replace(fault, problem=problem).of(who)
