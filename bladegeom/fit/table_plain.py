"""The plain blades of a frame, answered all at once: the numbers of `fit_wobble`.

Plain are blades read in one turn, forward, each tooth at most once, with or without a closing
reading, whose readings and facts have no fault and call for no remark with a number in it. What is
said of the others, and every text, is left to `fit_wobble`; where in doubt a blade is not plain.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import MOST_TEETH, Blade
from bladegeom.fit.closing import REMARKED
from bladegeom.fit.screen import worth_a_look
from bladegeom.fit.table_columns import Groups, Places, numbers
from bladegeom.fit.table_facts import Facts, facts_of
from bladegeom.fit.table_marks import marks_of, tilt_of, tilt_u_of
from bladegeom.fit.wobble import DETECTION_LEVEL
from bladegeom.kernel.batch import Sums, fit_rows, wobbles
from bladegeom.kernel.batch_limits import TABLE_PAYS
from bladegeom.kernel.doubt import student_t
from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.kernel.plan import FEWEST_TEETH, WARNED_RATIO
from bladegeom.lengths import LARGEST, LEAST, MM_PER

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_CELLS_AT_ONCE = 40_000
"""Few enough to stay in the cache, and for the products not to be handed to threads."""
_BLADES_AT_ONCE = 8192
_SCATTER = 1e-7
"""Readings that scatter by less, as a part of their size, are left to the fit by QR."""
_FEW_SPOTS = 8
_ODD_TILT_DEG = 1.0


class Answers(NamedTuple):
    """The answers to plain blades.

    Attributes
    ----------
    plain : ndarray of bool, shape (groups,)
    columns : dict of str to ndarray, shape (groups,)
        Under the names of the columns of `fit_table`; NaN where not established.
    remark : ndarray of int, shape (groups,)
        Blades with the same number have the same warnings; 0 for none.
    """

    plain: Bools
    columns: dict[str, Floats]
    remark: NDArray[np.int64]


def plain_answers(
    frame: pd.DataFrame,
    place: Mapping[str, int],
    column: str,
    unit: str,
    groups: Groups,
    *,
    checked: bool = False,
) -> Answers:
    """Answer the plain blades.

    Parameters
    ----------
    frame : pandas.DataFrame
    place : dict
        Column -> place in the frame.
    column, unit : str
        Of the readings.
    groups : Groups
    checked : bool
        Take out as not plain the blades in whose readings a mistake might be found.

    Returns
    -------
    Answers
    """
    plain = np.ones(len(groups.start), dtype=np.bool_)
    for name, texts in (("blade", groups.name), ("mount", groups.mount)):
        if name in place:
            plain &= texts != ""
    facts = facts_of(frame, place, groups, plain)
    for name in ("turn", "order"):
        if name in place:
            _check_sequence(name, numbers(frame.iloc[:, place[name]]), groups, plain)
    reading = groups.ordered(numbers(frame.iloc[:, place[column]]))
    tooth = groups.ordered(numbers(frame.iloc[:, place["tooth"]]))
    with np.errstate(all="ignore"):
        fitted = _Fitted(len(plain))
        if checked:
            fitted.jump = facts.least_revolution / 2 / MM_PER[unit]
        for which in _alike(facts.blade, facts.touch, plain):
            blade = facts.blades[facts.blade[which[0]]]
            if blade is None:
                plain[which] = False
                continue
            most = int(groups.size[which].max())
            step = max(1, _CELLS_AT_ONCE // max(most, blade.teeth))
            for at in range(0, len(which), step):
                some = which[at : at + step]
                touch = float(facts.touch[some[0]])
                _fit(_rows(reading, tooth, groups, some), some, blade, touch, fitted, plain)
        if "mount" in place:
            _all_mounts_alike(facts, groups, plain)
        return _answered(facts, unit, fitted, plain)


class _Fitted:
    """Room for what is found of every group."""

    def __init__(self, groups: int) -> None:
        self.sums = Sums(*(np.full(groups, np.nan) for _ in Sums._fields))
        self.closure = np.full(groups, np.nan)
        self.closure_bias = np.full(groups, np.nan)
        self.jump: float | None = None
        self.ramp = np.zeros(groups)
        """Part of the sum of squares that a steady drift would take up."""


def _check_sequence(name: str, values: NDArray[Any], groups: Groups, plain: Bools) -> None:
    """Take out blades read in several turns, or whose rows are not in order."""
    values = groups.ordered(values)
    wrong = ~(np.abs(values) <= 1e9) | (values != np.floor(values))
    first = np.zeros(len(values), dtype=np.bool_)
    first[groups.start] = True
    after = values[1:] == values[:-1] if name == "turn" else values[1:] > values[:-1]
    wrong[1:] |= ~after & ~first[1:]
    plain[np.searchsorted(groups.start, np.flatnonzero(wrong), side="right") - 1] = False


def _alike(blade: NDArray[np.int64], touch: Floats, plain: Bools) -> Iterator[Places]:
    """Return the groups of plain blades that have their teeth, and touched spots, in common."""
    import pandas as pd

    which = np.flatnonzero(plain)
    spot, spots = pd.factorize(touch[which])
    code = pd.factorize(blade[which] * max(1, len(spots)) + spot)[0]
    order = np.argsort(code, kind="stable")
    ends = np.cumsum(np.bincount(code))
    for start, end in zip([0, *ends[:-1]], ends, strict=False):
        yield which[order[start:end]]


class _Rows(NamedTuple):
    """Readings and teeth of some groups, shape (n, m); `there` is None where all rows are."""

    reading: Floats
    tooth: NDArray[Any]
    there: Bools | None


def _rows(reading: NDArray[Any], tooth: NDArray[Any], groups: Groups, which: Places) -> _Rows:
    start, count = groups.start[which], groups.size[which]
    most = int(count.max())
    even = bool((count == most).all())
    if even and start[-1] - start[0] == (len(which) - 1) * most:
        here = slice(start[0], start[-1] + most)
        return _Rows(
            reading[here].reshape(-1, most).astype(np.float64, copy=False),
            tooth[here].reshape(-1, most),
            None,
        )
    at = start[:, np.newaxis] + np.arange(most)
    there = None
    if not even:
        there = np.arange(most) < count[:, np.newaxis]
    read = reading.take(at, mode="clip").astype(np.float64, copy=False)
    return _Rows(read, tooth.take(at, mode="clip"), there)


def _fit(
    rows: _Rows, which: Places, blade: Blade, touch: float, fitted: _Fitted, plain: Bools
) -> None:
    """Fit some groups of blades with the same teeth."""
    size = np.abs(rows.reading)
    slips = (size > LARGEST) | ((size < LEAST) & (rows.reading != 0))
    if rows.there is not None:
        slips &= rows.there
    if slips.any():
        plain[which[slips.any(axis=1)]] = False
    angle = np.radians(blade.angles_deg + touch)
    same = rows.tooth[0]
    if (
        rows.there is None
        and bool((rows.tooth == same).all())
        and bool(((same >= 1) & (same <= blade.teeth) & (same == np.floor(same))).all())
        and len(np.unique(same)) == len(same)
    ):
        angle, by_tooth = angle[same.astype(np.intp) - 1], rows.reading
    else:
        by_tooth = _by_tooth(rows, which, blade.teeth, fitted, plain, angle)
    sums = fit_rows(by_tooth, angle)
    if fitted.jump is not None:
        plain[which[worth_a_look(by_tooth, angle, sums, fitted.jump)]] = False
    for into, found in zip(fitted.sums, sums, strict=True):
        into[which] = found


def _by_tooth(
    rows: _Rows, which: Places, teeth: int, fitted: _Fitted, plain: Bools, angle: Floats
) -> Floats:
    """Return readings by tooth, NaN where not read, with the closing readings taken out."""
    there = np.ones(rows.reading.shape, dtype=np.bool_) if rows.there is None else rows.there
    known = (rows.tooth >= 1) & (rows.tooth <= teeth) & (rows.tooth == np.floor(rows.tooth))
    plain[which[(there & ~known).any(axis=1)]] = False
    read = there & known & ~np.isnan(rows.reading)
    tooth = np.where(known, rows.tooth, 1).astype(np.intp)
    every = np.arange(len(which))
    first = np.argmax(read, axis=1)
    last = read.shape[1] - 1 - np.argmax(read[:, ::-1], axis=1)
    closes = np.flatnonzero((last > first) & (tooth[every, last] == tooth[every, first]))
    read[closes, last[closes]] = False
    if fitted.jump is not None:
        latest = np.maximum.accumulate(np.where(read, tooth, 0), axis=1)
        out_of_order = (read[:, 1:] & (tooth[:, 1:] <= latest[:, :-1])).any(axis=1)
        plain[which[out_of_order]] = False  # A mistake shows in the order of reading.
    by_tooth = np.full((len(which), teeth), np.nan)
    at = (every[:, np.newaxis] * teeth + tooth - 1)[read]
    by_tooth.ravel()[at] = rows.reading[read]
    repeats = (~np.isnan(by_tooth)).sum(axis=1) != read.sum(axis=1)
    plain[which[repeats]] = False
    if len(closes):
        start, end = rows.reading[closes, first[closes]], rows.reading[closes, last[closes]]
        place = np.full_like(by_tooth, np.nan)
        place.ravel()[at] = (np.cumsum(read, axis=1) - 1)[read]
        time = place[closes] / teeth
        ramp = fit_rows(time, angle)
        beside = np.stack([ramp.offset, ramp.cosine, ramp.sine], axis=1)
        rest = np.nan_to_num(time - beside @ harmonic_columns(angle).T)
        level = by_tooth[closes] - start[:, np.newaxis]
        along = np.einsum("ij,ij->i", np.nan_to_num(level), rest)
        # A drift that passes for wobble is left to the fit of one blade.
        taken = np.where(ramp.rss > 1e-9, along**2 / ramp.rss, np.inf)
        fitted.ramp[which[closes]] = taken
        fitted.closure[which[closes]] = end - start
        fitted.closure_bias[which[closes]] = np.abs(end - start) * np.hypot(ramp.cosine, ramp.sine)
    return by_tooth


def _all_mounts_alike(facts: Facts, groups: Groups, plain: Bools) -> None:
    """Take out blades of which one mounting is not plain or says what another one does not."""
    import pandas as pd

    name, names = pd.factorize(groups.name)
    first = np.zeros(len(names), dtype=np.intp)
    first[name[::-1]] = np.arange(len(name))[::-1]
    earlier = first[name]
    wrong = ~plain | (facts.blade != facts.blade[earlier])
    for fact in facts.sizes:
        wrong |= ~((fact == fact[earlier]) | (np.isnan(fact) & np.isnan(fact[earlier])))
    plain &= ~np.isin(name, name[wrong])


def _answered(facts: Facts, unit: str, fitted: _Fitted, plain: Bools) -> Answers:
    sums = fitted.sums
    plain &= (sums.ratio < WARNED_RATIO * (1 - 1e-9)) & (sums.readings >= FEWEST_TEETH)
    residual_sd = np.sqrt(sums.rss / (sums.readings - 3))
    amplitude = np.hypot(sums.cosine, sums.sine)
    plain &= (residual_sd > _SCATTER * sums.largest) & (amplitude > 1e-5 * residual_sd)
    columns: dict[str, Floats] = {}
    remark = np.zeros(len(plain), dtype=np.int64)
    which = np.flatnonzero(plain)
    kind = facts.blade[which] * (MOST_TEETH + 1) + sums.readings[which].astype(np.int64)
    order = np.argsort(kind, kind="stable")
    which, kind = which[order], kind[order]
    ends = [*(np.flatnonzero(np.diff(kind)) + 1), len(kind)] if len(kind) else []
    alike = np.bincount(sums.readings[which].astype(np.int64))
    for start, end in zip([0, *ends[:-1]], ends, strict=False):
        for at in range(start, end, _BLADES_AT_ONCE):
            some = which[at : min(end, at + _BLADES_AT_ONCE)]
            blade = facts.blades[facts.blade[some[0]]]
            assert blade is not None
            tabled = bool(alike[int(sums.readings[some[0]])] >= TABLE_PAYS)
            found, numbered = _of_some(facts, unit, fitted, some, blade, tabled)
            plain[some[numbered < 0]] = False
            remark[some] = numbered
            for name, values in found.items():
                if name not in columns:
                    columns[name] = np.full(len(plain), np.nan)
                columns[name][some] = values
    return Answers(plain, columns, remark)


def _of_some(
    facts: Facts, unit: str, fitted: _Fitted, some: Places, blade: Blade, tabled: bool
) -> tuple[dict[str, Any], NDArray[np.int64]]:
    """Return the columns of blades with the same teeth and as many readings, and their remarks.

    The number of the remarks is negative where they hold numbers of their own.
    """
    sums = Sums(*(one[some] for one in fitted.sums))
    dof = int(sums.readings[0]) - 3
    graduation = facts.graduation[some] / MM_PER[unit]
    ring = facts.ring[some] / MM_PER[unit]
    radius_mm = facts.diameter[some] / 2
    fit = wobbles(sums, dof, graduation, DETECTION_LEVEL, tabled=tabled)
    tilt = tilt_of(fit.amplitude, ring)
    highest = np.where(fit.resolved, tilt, tilt_of(fit.amplitude_high, ring))
    marks = marks_of(fit, sums.cosine, sums.sine, dof, blade.angles_deg, tilt, radius_mm)
    closure = fitted.closure[some]
    step = np.nan_to_num(graduation)
    # As `bladegeom.fit.closing` has it, which has the last word: a hair early does no harm.
    steady = np.sqrt(np.maximum((sums.rss - fitted.ramp[some]) / max(dof - 1, 1), step**2 / 12))
    most = student_t(1 - REMARKED, dof - 1) * math.sqrt(2) * steady if dof > 1 else np.inf
    hardly = np.maximum(most * (1 - 1e-6), step * (1 + 5e-10))
    remark = np.where(fit.resolved, 0, 1) + 2 * np.isnan(ring) + 4 * (sums.leaks > 0)
    remark = remark + 8 * facts.on_teeth[some]
    if sums.readings[0] < _FEW_SPOTS:
        remark += 16 * int(sums.readings[0])
    hair = np.abs(fit.p_value - (1 - DETECTION_LEVEL)) < 1e-9  # Rounding must not decide.
    remark[hair | (tilt > _ODD_TILT_DEG * (1 - 1e-9)) | (np.abs(closure) > hardly)] = -1
    found = {
        "teeth": blade.teeth,
        "readings": sums.readings,
        "offset": sums.offset,
        "wobble_tir": 2 * fit.amplitude,
        "raw_tir": sums.total,
        "amplitude": fit.amplitude,
        "amplitude_corrected": fit.amplitude_corrected,
        "amplitude_u": fit.amplitude_u,
        "amplitude_low": fit.amplitude_low,
        "amplitude_high": fit.amplitude_high,
        "rim_amplitude": fit.amplitude * radius_mm / facts.ring[some],
        "near_deg": fit.near_deg,
        "near_u_deg": fit.near_u_deg,
        "near_low_deg": fit.near_low_deg,
        "near_high_deg": fit.near_high_deg,
        "tilt_deg": tilt,
        "tilt_u_deg": tilt_u_of(fit.amplitude, fit.amplitude_u, ring),
        "resolved": fit.resolved,
        "p_value": fit.p_value,
        "dof": dof,
        "residual_sd": fit.residual_sd,
        "closure": closure,
        "closure_bias": fitted.closure_bias[some],
        **marks,
        "worst_squareness_deg": highest,
    }
    return found, remark
