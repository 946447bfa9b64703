"""The plain blades of a frame, answered all at once: `fit_wobble` answers one as a stack of one.

Plain are blades whose readings and facts have no fault, read forward, each tooth at most once a
turn, with a closing reading or without in a single turn, and with nothing to be fitted beside an
offset a turn and the wobble.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.columns import MOST_TEETH
from bladegeom.fit.closing import REMARKED, Closing, closing, steady_drift
from bladegeom.fit.frame import Bools, Facts, Floats, Groups, Places, facts_of, numbers
from bladegeom.fit.marks import End, ends_of, first_better, off_line
from bladegeom.fit.remarks import WARNED_RATIO, Remark, Seen, joined, remarks_on
from bladegeom.fit.screen import worth_a_look
from bladegeom.kernel.design import FEWEST_TEETH, REFUSED_RATIO, arc_deg
from bladegeom.kernel.doubt import student_t
from bladegeom.kernel.stack import (
    Fits,
    Plan,
    Stack,
    believed,
    fit_stack,
    leaks_of,
    spots_of,
    unit_covariance,
)
from bladegeom.lengths import LARGEST, LEAST, MM_PER
from bladegeom.readings import least_step
from bladegeom.wobble import Wobble, tilt_of

if TYPE_CHECKING:
    import pandas as pd

_CELLS_AT_ONCE = 40_000
"""Few enough to stay in the cache, and for the products not to be handed to threads."""
_BLADES_AT_ONCE = 4096
_MOST_TURNS = 99


class Answers(NamedTuple):
    """The answers to plain blades.

    Attributes
    ----------
    plain : ndarray of bool, shape (groups,)
    columns : dict of str to ndarray, shape (groups,)
        Under the names of the columns of `fit_table`; NaN where not established.
    which : ndarray of int, shape (groups,)
        Place of each blade's warnings among the texts.
    texts : list of str
    """

    plain: Bools
    columns: dict[str, Floats]
    which: NDArray[np.int64]
    texts: list[str]


_KEPT = (*Plan._fields[3:], *Fits._fields[1:-1])


class _Found:
    """Room for what is found of every group."""

    def __init__(self, groups: int) -> None:
        self.fits = {name: np.full(groups, np.nan) for name in _KEPT}
        self.closure = np.full(groups, np.nan)
        self.closure_bias = np.full(groups, np.nan)
        self.leaks = np.zeros(groups, dtype=np.bool_)
        self.moved: dict[int, tuple[Closing, float]] = {}
        self.arc: dict[int, float] = {}


class _Closed(NamedTuple):
    """Closing readings in a stack.

    Attributes
    ----------
    at : ndarray of int, shape (k,)
        Which blades of the stack have one.
    difference : ndarray, shape (k,)
        It less the first reading.
    time : ndarray, shape (turns, teeth, k)
        When the others were taken, in turns.
    """

    at: Places
    difference: Floats
    time: Floats


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

    def ordered(name: str) -> NDArray[Any]:
        return groups.ordered(numbers(frame.iloc[:, place[name]]))

    plain = np.ones(len(groups.start), dtype=np.bool_)
    for name, texts in (("blade", groups.name), ("mount", groups.mount)):
        if name in place:
            plain &= texts != ""
    facts = facts_of(frame, place, groups, plain)
    if "order" in place:
        _check_order(ordered("order"), groups, plain)
    turn, turns = None, np.ones(len(plain), dtype=np.int64)
    if "turn" in place:
        turn, turns = _turns(ordered("turn"), groups, plain)
    if checked:
        plain &= turns == 1
    rows = _Rows(ordered(column), ordered("tooth"), turn, groups, checked)
    found = _Found(len(plain))
    graduation = np.nan_to_num(facts.graduation / MM_PER[unit])
    with np.errstate(all="ignore"):
        for which in _alike(facts, turns, plain):
            blade = facts.blades[facts.blade[which[0]]]
            if blade is None:
                plain[which] = False
                continue
            count = int(turns[which[0]])
            step = max(1, _CELLS_AT_ONCE // (blade.teeth * count))
            for at in range(0, len(which), step):
                some = which[at : at + step]
                stack, closed = rows.stack(some, blade, float(facts.touch[some[0]]), count, plain)
                fits = fit_stack(stack)
                _keep(found, stack, fits, closed, graduation[some], some)
                if checked:
                    jump = facts.least_revolution / 2 / MM_PER[unit]
                    plain[some[worth_a_look(stack, fits, jump)]] = False
        if checked:
            plain[[*found.moved]] = False
        fits_of = found.fits
        enough = (fits_of["spots_read"] >= FEWEST_TEETH) & (fits_of["dof"] >= 1)
        plain &= enough & (fits_of["ratio"] <= REFUSED_RATIO)
        if "mount" in place:
            _all_mounts_alike(facts, groups, plain)
        columns = _columns(facts, unit, found, graduation, plain)
    remarks = _remarks(facts, unit, found, graduation, columns, plain)
    return Answers(plain, columns, *joined(remarks, len(plain)))


def _check_order(values: NDArray[Any], groups: Groups, plain: Bools) -> None:
    """Take out blades whose rows are not in order."""
    wrong = ~(np.abs(values) <= LARGEST) | (values != np.floor(values))
    first = np.zeros(len(values), dtype=np.bool_)
    first[groups.start] = True
    wrong[1:] |= ~(values[1:] > values[:-1]) & ~first[1:]
    _take_out(wrong, groups, plain)


def _turns(
    values: NDArray[Any], groups: Groups, plain: Bools
) -> tuple[NDArray[np.int64] | None, NDArray[np.int64]]:
    """Return which of its blade's turns each row is of, None where all have one, and how many.

    Blades whose turns do not follow each other are taken out.
    """
    wrong = ~(np.abs(values) <= LARGEST) | (values != np.floor(values))
    first = np.zeros(len(values), dtype=np.bool_)
    first[groups.start] = True
    steps = np.zeros(len(values), dtype=np.bool_)
    steps[1:] = (values[1:] != values[:-1]) & ~first[1:]
    wrong[1:] |= steps[1:] & ~(values[1:] > values[:-1])
    _take_out(wrong, groups, plain)
    if not steps.any():
        return None, np.ones(len(plain), dtype=np.int64)
    total = np.cumsum(steps, dtype=np.int64)
    rank = total - np.repeat(total[groups.start], groups.size)
    turns = rank[groups.start + groups.size - 1] + 1
    plain[turns > _MOST_TURNS] = False
    return rank, np.minimum(turns, _MOST_TURNS)


def _take_out(wrong: Bools, groups: Groups, plain: Bools) -> None:
    """Take out the blades of which a row is wrong."""
    plain[np.searchsorted(groups.start, np.flatnonzero(wrong), side="right") - 1] = False


def _alike(facts: Facts, turns: NDArray[np.int64], plain: Bools) -> Iterator[Places]:
    """Return the groups of plain blades that have teeth, touched spots and turns in common."""
    import pandas as pd

    which = np.flatnonzero(plain)
    spot, spots = pd.factorize(facts.touch[which])
    kind = (facts.blade[which] * max(1, len(spots)) + spot) * (_MOST_TURNS + 1) + turns[which]
    yield from _together(which, kind)


def _together(which: Places, kind: NDArray[np.int64]) -> Iterator[Places]:
    """Return places of the same kind together, in order."""
    import pandas as pd

    code = pd.factorize(kind)[0]
    if not code.any():
        yield from [which] if len(which) else []
        return
    order = np.argsort(code.astype(np.min_scalar_type(int(code.max()))), kind="stable")
    yield from np.split(which[order], np.cumsum(np.bincount(code))[:-1])


class _Rows(NamedTuple):
    """The rows of a frame, blade after blade.

    Attributes
    ----------
    reading, tooth : ndarray, shape (rows,)
    turn : ndarray, shape (rows,), or None
        Place of the turn among its blade's; None where each blade has one.
    groups : Groups
    in_order : bool
        Take out blades not read in the order of the teeth: a mistake shows in that of reading.
    """

    reading: NDArray[Any]
    tooth: NDArray[Any]
    turn: NDArray[np.int64] | None
    groups: Groups
    in_order: bool

    def stack(
        self, some: Places, blade: Blade, touch_deg: float, turns: int, plain: Bools
    ) -> tuple[Stack, _Closed | None]:
        """Return the readings of some blades as a stack, and what closing readings say.

        Blades with a fault in them, or a tooth twice in a turn, are taken out of the plain ones.
        """
        spots = spots_of(blade.tooth_deg, touch_deg)
        teeth, n = blade.teeth, len(some)
        start, size = self.groups.start[some], self.groups.size[some]
        whole = self._whole(start, size, teeth, turns)
        if whole is not None:
            plain[some[_odd(whole).any(axis=(0, 1))]] = False
            return Stack(spots, whole, None), None
        of = np.repeat(np.arange(n), size)
        at = np.arange(len(of)) + np.repeat(start - (np.cumsum(size) - size), size)
        reading, tooth = self.reading[at].astype(np.float64, copy=False), self.tooth[at]
        known = (tooth >= 1) & (tooth <= teeth) & (tooth == np.floor(tooth))
        plain[some[of[~known | _odd(reading)]]] = False
        read = known & ~np.isnan(reading)
        reading, of = reading[read], of[read]
        spot = tooth[read].astype(np.intp) - 1
        if self.turn is not None and turns > 1:
            spot += self.turn[at[read]] * teeth
        size = np.bincount(of, minlength=n)
        begin = np.cumsum(size) - size
        inside = np.ones(len(of), dtype=np.bool_)
        closes, difference = np.zeros(0, dtype=np.intp), np.zeros(0)
        if turns == 1:
            closes = np.flatnonzero(size > 1)
            last, first = (begin + size - 1)[closes], begin[closes]
            same = spot[last] == spot[first]
            closes, last, first = closes[same], last[same], first[same]
            difference = reading[last] - reading[first]
            inside[last] = False
        spot, of_each, place = spot[inside], of[inside], (np.arange(len(of)) - begin[of])[inside]
        if self.in_order:
            back = (np.diff(spot) < 0) & (np.diff(of_each) == 0)
            plain[some[of_each[1:][back]]] = False
        slot = spot * n + of_each
        made, there = np.zeros(turns * teeth * n), np.zeros(turns * teeth * n)
        made[slot], there[slot] = reading[inside], 1.0
        shape = (turns, teeth, n)
        stack = Stack(spots, made.reshape(shape), there.reshape(shape))
        twice = there.reshape(-1, n).sum(axis=0) != np.bincount(of_each, minlength=n)
        plain[some[twice]] = False
        if not len(closes):
            return stack, None
        time = np.zeros(turns * teeth * n)
        time[slot] = place / teeth
        return stack, _Closed(closes, difference, time.reshape(shape)[:, :, closes])

    def _whole(
        self, start: Places, size: Places, teeth: int, turns: int
    ) -> NDArray[np.float64] | None:
        """Return the readings of blades of which every tooth was read, once a turn and in order."""
        if not (size == turns * teeth).all():
            return None
        if start[-1] - start[0] == (len(start) - 1) * turns * teeth:
            rows: Any = slice(start[0], start[-1] + turns * teeth)
        else:
            rows = (start[:, np.newaxis] + np.arange(turns * teeth)).ravel()
        tooth = self.tooth[rows].reshape(-1, teeth)
        if not (tooth == np.arange(1, teeth + 1)).all():
            return None
        if self.turn is not None and turns > 1:
            turn = self.turn[rows].reshape(-1, turns, teeth)
            if not (turn == np.arange(turns)[:, np.newaxis]).all():
                return None
        rows_of = self.reading[rows].reshape(-1, turns * teeth).T
        reading: Floats = rows_of.astype(np.float64, order="C").reshape(turns, teeth, -1)
        return None if np.isnan(reading.sum()) else reading


def _odd(reading: Floats) -> Bools:
    """Return which readings have no usual size."""
    size = np.abs(reading)
    odd: Bools = (size > LARGEST) | ((size < LEAST) & (reading != 0))
    return odd


def _keep(
    found: _Found,
    stack: Stack,
    fits: Fits,
    closed: _Closed | None,
    graduation: Floats,
    some: Places,
) -> None:
    """Keep what is found of some blades."""
    for name, into in found.fits.items():
        into[some] = getattr(fits if name in Fits._fields else fits.plan, name)
    found.leaks[some] = leaks_of(stack, fits)
    if stack.there is None:
        return
    for wide in np.flatnonzero((fits.plan.ratio > WARNED_RATIO) & (fits.plan.spots_read > 0)):
        read = stack.there[:, :, wide].any(axis=0)
        found.arc[int(some[wide])] = arc_deg(np.degrees(stack.spots.angle[read]))
    if closed is not None:
        _keep_closed(found, stack, fits, closed, graduation, some)


def _keep_closed(
    found: _Found, stack: Stack, fits: Fits, closed: _Closed, graduation: Floats, some: Places
) -> None:
    """Keep what closing readings say."""
    assert stack.there is not None
    at, difference = closed.at, closed.difference
    reading, there = stack.reading[:, :, at], stack.there[:, :, at]
    drift = steady_drift(stack._replace(there=there), closed.time, fits.left[:, :, at])
    found.closure[some[at]] = difference
    found.closure_bias[some[at]] = np.abs(difference) * drift.shift
    rss, dof = fits.rss[at] - drift.taken, fits.plan.dof[at] - drift.told
    least = np.sqrt(np.maximum(rss, 0.0) / dof) * (math.sqrt(2) * (1 - 1e-9))
    for free in np.unique(dof):
        least[dof == free] *= student_t(1 - REMARKED, free) if free >= 1 else np.inf
    for one in np.flatnonzero(np.abs(difference) > least):
        step = float(graduation[at[one]]) or least_step(reading[:, :, one][there[:, :, one] > 0])
        shown = closing(float(difference[one]), 1, float(rss[one]), int(dof[one]), step)
        if shown.moved():
            group = int(some[at[one]])
            found.moved[group] = shown, float(found.closure_bias[group])


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


def _columns(
    facts: Facts, unit: str, found: _Found, graduation: Floats, plain: Bools
) -> dict[str, Floats]:
    """Return the columns of the table."""
    fits, count = found.fits, len(plain)
    columns: dict[str, Floats] = {
        "teeth": facts.teeth.astype(np.float64),
        **{name: fits[name] for name in ("readings", "dof", "offset", "raw_tir")},
        "closure": found.closure,
        "closure_bias": found.closure_bias,
    }
    which = np.flatnonzero(plain)
    kind = facts.blade[which] * (MOST_TEETH * _MOST_TURNS) + fits["dof"][which].astype(np.int64)
    for alike in _together(which, kind):
        blade = facts.blades[facts.blade[alike[0]]]
        assert blade is not None
        for at in range(0, len(alike), _BLADES_AT_ONCE):
            some = alike[at : at + _BLADES_AT_ONCE]
            here: Any = some
            if some[-1] - some[0] == len(some) - 1:
                here = slice(some[0], some[-1] + 1)
            ring, radius = facts.ring[here] / MM_PER[unit], facts.diameter[here] / 2
            own = {name: values[here] for name, values in fits.items()}
            for name, values in _of_some(own, graduation[here], ring, radius, unit, blade).items():
                if name not in columns:
                    columns[name] = np.full(count, np.nan)
                columns[name][here] = values
    return columns


def _of_some(
    fits: Mapping[str, Floats],
    graduation: Floats,
    ring: Floats,
    radius_mm: Floats,
    unit: str,
    blade: Blade,
) -> dict[str, Any]:
    """Return the columns of blades with the same teeth and as many degrees of freedom."""
    residual_sd = np.sqrt(fits["rss"] / fits["dof"])
    reading_sd, margin = believed(residual_sd, graduation, fits["largest"], fits["raw_tir"])
    covariance = reading_sd**2 * unit_covariance(fits["cc"], fits["cs"], fits["ss"])
    wobble: Any = Wobble(fits["a"] + 1j * fits["b"], covariance, float(fits["dof"][0]), margin)
    resolved, amplitude, tilt = wobble.resolved, wobble.amplitude, wobble.tilt_at(ring)
    low, high, _ = wobble.amplitude_interval()
    near_low, near_high, _ = wobble.near_interval()
    directed = {
        "near_deg": wobble.near_deg,
        "near_u_deg": wobble.near_u_deg,
        "near_low_deg": near_low,
        "near_high_deg": near_high,
        **_marks(wobble, blade, tilt, radius_mm),
    }
    if not resolved.all():
        directed = {name: np.where(resolved, one, np.nan) for name, one in directed.items()}
    return {
        "wobble_tir": wobble.tir,
        "amplitude": amplitude,
        "amplitude_corrected": wobble.amplitude_corrected,
        "amplitude_u": wobble.amplitude_u,
        "amplitude_low": low,
        "amplitude_high": high,
        "rim_amplitude": amplitude * radius_mm / (ring * MM_PER[unit]),
        "tilt_deg": tilt,
        "tilt_u_deg": wobble.tilt_u_at(ring),
        "resolved": resolved,
        "p_value": wobble.p_value,
        "residual_sd": residual_sd,
        "worst_squareness_deg": np.where(resolved, tilt, tilt_of(high, ring)),
        **directed,
    }


def _marks(wobble: Wobble, blade: Blade, tilt_deg: Floats, radius_mm: Floats) -> dict[str, Any]:
    """Return the columns of the teeth to mark."""
    ends = ends_of(blade.angles_deg, wobble.near_deg)
    even = blade.pitch_pattern is None and blade.teeth % 4 == 0
    # Where teeth stand alike in every quarter, so do the chances.
    alike = ends[0].probability(wobble) if even else None

    def chance(end: End) -> Any:
        return end.probability(wobble) if alike is None else alike

    near, first, far, second = ends
    off, left = off_line(first, second, tilt_deg)
    better = first_better(first, second)
    found = {
        "near_tooth": near.place + 1.0,
        "near_probability": chance(near),
        "far_tooth": far.place + 1.0,
        "far_probability": chance(far),
        "better_tooth": np.where(better, first.place, second.place) + 1.0,
        "line_off_deg": off,
        "left_deg": left,
    }
    for number, end in enumerate((first, second), start=1):
        found |= {
            f"neutral_tooth_{number}": end.place + 1.0,
            f"neutral_deg_{number}": end.direction_deg,
            f"neutral_probability_{number}": chance(end),
            f"neutral_past_deg_{number}": end.past_deg,
            f"neutral_past_pitch_{number}": end.past_pitch,
            f"neutral_past_mm_{number}": radius_mm * np.radians(end.past_deg),
        }
    return found


def _remarks(
    facts: Facts,
    unit: str,
    found: _Found,
    graduation: Floats,
    columns: Mapping[str, Floats],
    plain: Bools,
) -> list[Remark]:
    """Return what is to be said of the plain blades."""
    blank = np.full(len(plain), np.nan)
    seen = Seen(
        unit=unit,
        raw_tir=found.fits["raw_tir"],
        residual_sd=columns.get("residual_sd", blank),
        graduation=graduation,
        ring_radius=facts.ring,
        tilt_deg=columns.get("tilt_deg", blank),
        resolved=columns.get("resolved", blank) == 1,
        plan_ratio=found.fits["ratio"],
        spots=found.fits["spots_read"],
        bare=facts.on_teeth,
        arc=lambda at: found.arc[at],
        leaks=found.leaks,
        moved=found.moved,
    )
    return [one._replace(of=one.of & plain) for one in remarks_on(seen)]
