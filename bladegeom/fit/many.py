"""Many blades at once: a tidy frame of readings in, a frame of answers out."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.columns import STATED
from bladegeom.faults import BladegeomWarning, Fault, RefusedError, also_in
from bladegeom.fit.answer import blade_answer, fit_answer
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.frame import Places, cells, grouped
from bladegeom.fit.plain import plain_answers
from bladegeom.readings import Readings
from bladegeom.result import in_columns
from bladegeom.tables.header import check_header
from bladegeom.tables.table import Part, Table
from bladegeom.tables.text import Sheet, tidy_name

if TYPE_CHECKING:
    import pandas as pd

_NAMES = ("blade", "mount")
_WHOLE = ("teeth", "readings", "dof")
_TEETH = ("near_tooth", "far_tooth", "neutral_tooth_1", "neutral_tooth_2", "better_tooth")
"""Columns of whole numbers that are blank where no direction is established."""

_COLUMNS = (
    *("teeth", "unit", "readings", "offset", "wobble_tir", "raw_tir"),
    *("amplitude", "amplitude_corrected", "amplitude_u", "amplitude_low", "amplitude_high"),
    *("rim_amplitude", "near_deg", "near_u_deg", "near_low_deg", "near_high_deg"),
    *("tilt_deg", "tilt_u_deg", "resolved", "p_value", "dof", "residual_sd"),
    *("closure", "closure_bias", "drift_per_turn", "drift_u_per_turn", "drift_cost"),
    *("play", "lag_deg", "lag_u_deg"),
    *("near_tooth", "near_probability", "far_tooth", "far_probability"),
    *("neutral_tooth_1", "neutral_tooth_2", "neutral_deg_1", "neutral_deg_2"),
    *("neutral_probability_1", "neutral_probability_2"),
    *("neutral_past_deg_1", "neutral_past_deg_2"),
    *("neutral_past_pitch_1", "neutral_past_pitch_2"),
    *("neutral_past_mm_1", "neutral_past_mm_2"),
    *("better_tooth", "line_off_deg", "left_deg", "worst_squareness_deg", "warnings"),
)
"""Behind ``blade`` and ``mount``, in the order of `blade_answer`."""


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
        `blade_answer`, with ``mount`` behind ``blade`` if it was given; a pair is two columns,
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

    header = [tidy_name(str(column)) for column in frame.columns]
    known = [column for column in header if column != "mount"]
    column, unit = check_header(
        Sheet(known, [(2, [])] if len(frame) else [], ",", 1), "the frame", None
    )
    place = {one: header.index(one) for one in header if one}
    keys = [frame.iloc[:, place[one]] if one in place else None for one in _NAMES]
    groups = grouped(keys[0], keys[1], len(frame))
    plain, columns, which, texts = plain_answers(
        frame, place, column, unit, groups, checked=checked
    )
    told = _Told(progress, len(plain), int(np.count_nonzero(plain)))
    alone = np.flatnonzero(~plain)
    by_row, refused = _one_by_one(
        frame, groups.rows(alone), place, column, unit, told, checked=checked
    )
    firsts = zip(alone.tolist(), groups.first[alone].tolist(), strict=True)
    answers = {group: by_row[row] for group, row in firsts if row in by_row}
    kept = plain.copy()
    kept[[*answers]] = True
    if not kept.any():
        if refused:
            return None, refused
        check_header(Sheet(known, [], ",", 1), "the frame", None)  # Nothing but blank rows.
    table = {"blade": groups.name[kept]}
    if "mount" in place:
        table["mount"] = groups.mount[kept]
    spoken = {text: at for at, text in enumerate(texts)}
    for group, answer in answers.items():
        which[group] = spoken.setdefault(answer["warnings"], len(spoken))
    said = {
        "unit": pd.Series([unit]).array.take(np.zeros(np.count_nonzero(kept), dtype=np.intp)),
        "warnings": pd.Series([*spoken]).array.take(which[kept]),
    }
    table |= _table(columns, answers, kept, said)
    if checked:
        again = np.full(len(kept), "", dtype=object)
        for group, answer in answers.items():
            again[group] = answer["read_again"]
        table["read_again"] = again[kept]
    return pd.DataFrame(table, copy=False), refused


class _Told:
    """Tells how many blades are done: the plain ones at once, the others one by one."""

    def __init__(self, progress: Callable[[int, int], None] | None, count: int, done: int) -> None:
        self.progress, self.count, self.done = progress, count, done
        self.one_more(0)

    def one_more(self, more: int = 1) -> None:
        self.done = min(self.done + more, self.count)
        if self.progress is not None:
            self.progress(self.done, self.count)


def _table(
    columns: Mapping[str, NDArray[np.float64]],
    answers: Mapping[int, dict[str, Any]],
    kept: NDArray[np.bool_],
    said: Mapping[str, Any],
) -> dict[str, Any]:
    """Return the columns behind the names: those of the plain blades, and the others' answers."""
    import pandas as pd

    at, all_kept = [*answers], bool(kept.all())
    table: dict[str, Any] = {}
    for key in _COLUMNS:
        if key in said:
            table[key] = said[key]
            continue
        values: NDArray[Any] | None = columns.get(key)
        if values is None:
            values = np.full(len(kept), np.nan)
        if at:
            own = [answer[key] for answer in answers.values()]
            values[at] = [np.nan if one is None else one for one in own]
        values = values if all_kept else values[kept]
        if key in _TEETH:
            blank = np.isnan(values)
            whole = np.where(blank, 1, values).astype(np.int64)
            table[key] = pd.arrays.IntegerArray(whole, blank)
        elif key in _WHOLE:
            table[key] = values.astype(np.int64)
        else:
            table[key] = values == 1 if key == "resolved" else values
    return table


def _one_by_one(
    frame: pd.DataFrame,
    rows: Places,
    place: Mapping[str, int],
    column: str,
    unit: str,
    told: _Told,
    *,
    checked: bool,
) -> tuple[dict[int, dict[str, Any]], list[Fault]]:
    """Return the answers by the first row of each blade and mounting, and every fault."""
    here = frame.iloc[rows]
    texts = [
        cells(here.iloc[:, at], whole=name in _NAMES)
        for at, name in enumerate(tidy_name(str(column)) for column in frame.columns)
    ]
    groups: dict[tuple[str, str], list[tuple[int, list[str]]]] = {}
    for row, *words in zip((rows + 2).tolist(), *texts, strict=True):
        if any(words):
            key = tuple(words[place[one]] if one in place else "" for one in _NAMES)
            groups.setdefault((key[0], key[1]), []).append((row, words))
    refused: list[Fault] = []
    table = Table(Sheet([*place], [], ",", 1), column, unit, ".", dict(place), [])
    answers: dict[int, dict[str, Any]] = {}
    blades: dict[str, tuple[Blade, str]] = {}
    for (who, mount), read in groups.items():
        told.one_more()
        try:
            for name, value in zip(_NAMES, (who, mount), strict=True):
                _check_named(name, value, name in place, read)
            readings = Part(table, who, read).readings()
            _check_same_blade(readings, blades, mount)
            answers[read[0][0] - 2] = _in_row(readings, checked)
        except RefusedError as error:
            refused += [_placed(fault, who, mount) for fault in error.faults]
    return answers, refused


def _check_named(name: str, value: str, there: bool, rows: list[tuple[int, list[str]]]) -> None:
    if there and not value:
        problem = f"the {'name of the blade' if name == 'blade' else 'mounting'} is missing"
        others = also_in([row for row, _ in rows[1:]])
        cure = f"fill in {name} in every row"
        raise RefusedError(Fault(f"{problem}{others}", cure, row=rows[0][0], column=name, value=""))


def _check_same_blade(readings: Readings, blades: dict[str, tuple[Blade, str]], mount: str) -> None:
    """Refuse a mounting that says of the blade itself what an earlier one denies."""
    blade = readings.blade
    earlier, there = blades.setdefault(blade.name, (blade, mount))
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


def _in_row(readings: Readings, checked: bool) -> dict[str, Any]:
    row: dict[str, Any] = {}
    fit = fit_wobble(readings)
    for key, value in (blade_answer(fit) if checked else fit_answer(fit)).items():
        row |= in_columns(key, value)
    if checked:
        row["read_again"] = fit.mistake.again if fit.mistake else ""
        if fit.mistake:
            row |= dict.fromkeys(_TEETH)
    return row


def _placed(fault: Fault, blade: str, mount: str) -> Fault:
    problem = f"mount {mount}: {fault.problem}" if mount else fault.problem
    return replace(fault, blade=fault.blade or blade or None, problem=problem)
