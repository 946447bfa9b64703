"""Many readings taken alike, in several turns: in which of them `suspected` may find anything.

The same repairs and bent plates are tried by the same formulas, of all at once; what may be
established is left to the check itself.
"""

from __future__ import annotations

import math
from copy import copy
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bladegeom.mistakes._bent import FEWEST_BENT, KNOWN, WAVES, bends_of
from bladegeom.mistakes._design import Design, design_of
from bladegeom.mistakes._repairs import Shifts, counted_back, otherwise, runs_of, shifts_of
from bladegeom.mistakes.trial import (
    FALSE_ALARMS,
    FEWEST,
    SHARES,
    Base,
    coarsest,
    from_each_on,
    moved_of,
    on_step,
)
from bladegeom.tables.counted import Counted

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_HAIR = 1e-6
"""Relative: what sums in another order may differ by, and more."""


def _times(rows: Floats, by: Floats) -> Floats:
    """Return a product row by row: a large one is handed to threads, which wait for each other."""
    found: Floats = (rows[:, np.newaxis] @ by)[:, 0]
    return found


class _Lot(Base):
    """The fits of readings taken as one of them was; shapes (n,) of one, (b, n) of all."""

    def __init__(self, one: Counted, reading: Floats, graduation: Floats) -> None:
        self.series, self.reading = one, reading
        self.orders, self.shapes = (1,), None
        self.n, self.design = reading.shape[1], design_of(one, (1,))
        self.offsets, self.q, self.m = self.design.offsets, self.design.q, self.design.m
        self.p = int(self.q.shape[1])
        self.dof, self.tried = self.n - self.p, 0
        self.middle = reading.mean(axis=1, keepdims=True)
        self.e = _times(reading - self.middle, self.m)
        self.grain = coarsest(reading, graduation)[:, np.newaxis]
        self.least_change = 1.01 * self.grain
        self.floor = self.floor_of(self.dof)
        self.rss = np.sum(self.e**2, axis=1, keepdims=True) + self.floor
        self.counted = on_step(reading, self.grain)

    def only(self, some: NDArray[np.intp]) -> _Lot:
        """Return some of them, of which nothing but `free` is asked."""
        few = copy(self)
        few.rss, few.floor = self.rss[some], self.floor[some]
        return few

    def likely(self, gain: Floats, places: int, kind: str) -> Bools:
        """Return where so many places of one unknown each may take up too much for chance."""
        rss = np.maximum(self.rss[:, 0] - gain.max(axis=1), self.floor[:, 0] + 1e-300)
        found: Bools = self.chance(rss[:, np.newaxis])[:, 0] * places < self.level(kind)
        return found

    def level(self, kind: str) -> float:
        return FALSE_ALARMS * SHARES[kind] * (1 + _HAIR)

    def mean(self, evidence: Floats, share: float) -> Bools:
        """Return where the mean Bayes factor of all along the last axis is too large for chance."""
        wanted = -math.log(FALSE_ALARMS * share) - _HAIR
        found: Bools = log_mean(evidence) > wanted
        return found


def log_mean(evidence: Floats) -> Floats:
    """Return the log of the mean Bayes factor along the last axis."""
    top = np.maximum(evidence.max(axis=-1, keepdims=True), -1e300)
    found: Floats = top[..., 0] + np.log(np.mean(np.exp(evidence - top), axis=-1))
    return found


@np.errstate(all="ignore")
def worth_checking(
    one: Counted, reading: Floats, graduation: Floats, jump: float, units: tuple[float, ...]
) -> Bools:
    """Return in which of readings `suspected` may find anything, shape (b,).

    Parameters
    ----------
    one : Counted
        One of the blades.
    reading : ndarray, shape (b, n)
        Of blades that were read as this one was: every tooth in each of several turns.
    graduation : ndarray, shape (b,)
        0 where it is not stated.
    jump : float
        The least change from one reading to the next by which a dial passes zero.
    units : tuple of float
        Of `other_units`.
    """
    lot = _Lot(one, reading, graduation)
    if lot.design.spots < FEWEST_BENT or lot.dof < 2 * FEWEST:
        return np.ones(len(reading), dtype=np.bool_)
    e, m, n = lot.e, lot.m, lot.n
    found = lot.likely(e**2 / np.diag(m), n, "single")
    first = np.flatnonzero(one.turn[1:] == one.turn[:-1])
    change = reading[:, first + 1] - reading[:, first]
    found |= np.abs(change).max(axis=1) > jump
    norm = m[first, first] + m[first + 1, first + 1] - 2 * m[first, first + 1]
    gain = -change * (2 * (e[:, first] - e[:, first + 1]) + change * norm)
    found |= lot.likely(gain, len(first), "swapped")
    if runs := lot.once("runs", partial(runs_of, lot)):
        along = [from_each_on(e[:, rows])[:, 2:-1] for rows, _ in runs]
        corner = np.concatenate([one for _, one in runs])
        gain = np.concatenate(along, axis=1) ** 2 / np.maximum(corner, 1e-9)
        found |= lot.likely(gain, len(corner), "step")
    found |= _onward(lot, units) | _recounted(lot)
    found |= _bent(lot)
    return found


def _onward(lot: _Lot, units: tuple[float, ...]) -> Any:
    """Return where the readings from some one on may be in another unit."""
    read = lot.reading
    put_in = from_each_on(np.swapaxes(read[..., np.newaxis] * lot.q, 1, 2))[..., 1:]
    norm = np.maximum(from_each_on(read**2)[:, 1:] - np.sum(put_in**2, axis=1), 0.0)
    tried = otherwise(lot, units, from_each_on(lot.e * read)[:, 1:], norm * (1 - 1e-9))
    found = np.zeros(len(read), dtype=np.bool_)
    for factors, _, evidence in tried.values():
        every = np.swapaxes(evidence, 0, 1).reshape(len(read), -1)
        found |= lot.mean(every + math.log(len(factors)), SHARES["unit"] / len(tried))
    return found


def _recounted(lot: _Lot) -> Any:
    """Return where the teeth may have been counted otherwise."""
    one, offsets, mean = lot.series, lot.offsets, lot.design.mean
    y = lot.reading - lot.middle
    y = y - (y @ mean) @ offsets.T
    total, floor = np.sum(y**2, axis=1), lot.floor + 1e-12 * lot.rss / lot.n
    shifts: Shifts = lot.once(("shifts", one.anchored.tobytes(), False, 0), partial(shifts_of, one))
    turned = np.array([label for _, label in counted_back(one)])
    tables = {kind: (table, "shift", 2) for kind, table in shifts.labels.items()}
    found = np.zeros(len(y), dtype=np.bool_)
    for kind, (table, share, kinds) in (tables | {"mirrored": (turned, "mirrored", 1)}).items():
        moved = lot.once(("all moved", kind), partial(moved_of, lot, table))
        waves = np.swapaxes(moved.waves, 0, 1)
        moment = _times(y, waves.reshape(lot.n, -1)).reshape(len(y), *waves.shape[1:])
        parts = np.einsum("bkq,kqr,bkr->bk", moment, moved.inverse, moment)
        left = np.where(moved.told, total[:, np.newaxis] - parts, 1e300)
        ratio = lot.log_ratio(np.maximum(left, 0.0) + floor)
        evidence = lot.dof / lot.n * ratio - moved.log_det / 2
        found |= lot.mean(evidence, SHARES[share] / kinds)
    return found


def _bent(lot: _Lot) -> Any:
    """Return where a bent plate may be believed."""
    one, n, e = lot.series, lot.n, lot.e

    def by_size(m: Floats, p: int) -> Bools:
        rss = np.sum(_times(e, m) ** 2, axis=1, keepdims=True) + lot.floor_of(n - p)
        gain = lot.log_ratio(rss)[:, 0] - (p - lot.p) / 2 * math.log(n)
        found: Bools = gain > KNOWN - _HAIR
        return found

    waved = design_of(one, WAVES)
    found = by_size(waved.m, waved.q.shape[1])
    own = np.eye(one.blade.teeth)
    q, m = lot.once("own", lambda: Design.taken_up(lot.design.columns(one.label, own[:, 3:])))
    found |= by_size(m, q.shape[1])
    columns = own[one.tooth - 1]
    norm = np.sum(columns**2, axis=0) - np.sum((lot.q.T @ columns) ** 2, axis=0)
    found |= log_mean(lot.free(_times(e, columns), norm)[0]) > KNOWN - _HAIR
    by_tooth, columns, _, norm = lot.once("bends", partial(bends_of, lot))
    told = np.where(norm > 1e-9, 1 / np.sqrt(np.maximum(norm, 1e-9)), 0.0)
    of_tooth = e.reshape(len(e), -1, len(own)).sum(axis=1)
    gain = np.abs(_times(of_tooth, by_tooth * told))
    # Evidence grows with what is taken up, from where it is any: the best alone mostly tells.
    best = gain.argmax(axis=1)
    along = np.einsum("bn,nb->b", e, columns[:, best])
    top = lot.free(along[:, np.newaxis], norm[best][:, np.newaxis])[0][:, 0]
    some = np.flatnonzero(top > KNOWN - _HAIR)
    each, rss, height = lot.only(some).free(e[some] @ columns, norm)
    doubt = np.sqrt(rss / lot.dof / np.maximum(norm, 1e-9))
    each = each - np.log(np.maximum(1.0, doubt / np.abs(height)))
    found[some] |= log_mean(each) > KNOWN - _HAIR
    return found
