"""A bent plate, the rival of every mistake: what its shape explains better is nobody's slip.

A plate may be bent in two and three waves a turn, be bent over a few neighbouring teeth, or have
any shape at all where several turns show the same. A bend of a few teeth is smooth, ends where it
ends, and stands in every turn and in the closing reading alike; a slip of the pen scales readings
or moves them from some reading on. A single tooth may be bent too: that shows once a further turn
reads it the same.
"""

from __future__ import annotations

import math
from functools import lru_cache, partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.kernel.harmonics import Floats
from bladegeom.mistakes._design import design_of
from bladegeom.mistakes.trial import FEWEST, Base, mean_evidence

FEWEST_BENT = 10
"""Teeth below which bends cannot be told."""

KNOWN = math.log(20.0)
"""Evidence from which a bend is believed: by chance at most one time in 20."""

WAVES = (1, 2, 3)
_SHORTEST = 3
_WIDER = 1.2
_POWERS = (0.5, 1.0, 2.0)
_MOST_BENDS = 3


class Plate(NamedTuple):
    """A bent plate: the fit with it, and the log of the Bayes factor against a plain tilted one.

    `teeth` are the first and last of the bend that explains most; empty where it is not one of a
    few teeth.
    """

    base: Base
    evidence: float
    teeth: tuple[int, ...] = ()


def bent_plates(base: Base) -> list[Plate]:
    """Return the bent plates that are to be believed, the one that explains most first."""
    if base.design.spots < FEWEST_BENT:
        return []
    waved, bent, alike, repeated = _waved(base), _bent(base), _alike(base), _repeated(base)
    if bent is not None and repeated is not None:
        bent = bent._replace(base=repeated.base)
    tried = (waved, bent, alike, repeated)
    made = [one for one in tried if one is not None and one.evidence > KNOWN]
    return sorted(made, key=lambda one: -one.evidence)


def _waved(base: Base) -> Plate | None:
    design = design_of(base.series, WAVES)
    p = design.q.shape[1]
    if base.n - p < FEWEST:
        return None
    left = design.m @ base.e
    evidence = _by_size(base, float(left @ left) + base.floor_of(base.n - p), p)
    return Plate(Base(base.series, orders=WAVES), evidence) if evidence > KNOWN else None


def _by_size(base: Base, rss: float, p: int) -> float:
    """Return the evidence of a wider fit by its sum of squares and its size (Schwarz 1978)."""
    gain = float(base.log_ratio(np.asarray(rss)))
    return gain - (p - base.p) / 2 * math.log(base.n)


def _bent(base: Base) -> Plate | None:
    """Try a bend at each place, of each length and form, and further ones besides the best."""
    teeth = base.series.blade.teeth
    _, firsts, lengths = _forms(teeth)
    grown, chosen = _grown(base, base.once("bends", partial(bends_of, base)), bends=True)
    if grown is None:
        return None
    first, length = int(firsts[chosen]), int(lengths[chosen])
    return grown._replace(teeth=(first + 1, (first + length - 1) % teeth + 1))


class _Shapes(NamedTuple):
    """Shapes that a plate may have, as columns: by tooth, as they are read, and c'c and c'Mc."""

    by_tooth: Floats
    columns: Floats
    whole: Floats
    norm: Floats


def _shapes(base: Base, by_tooth: Floats) -> _Shapes:
    columns = by_tooth[base.series.tooth - 1]
    whole = np.sum(columns * columns, axis=0)
    return _Shapes(by_tooth, columns, whole, whole - np.sum((base.q.T @ columns) ** 2, axis=0))


def bends_of(base: Base) -> _Shapes:
    """Return the bends that show on three teeth at least; the others are flat."""
    teeth = base.series.blade.teeth
    forms, _, _ = _forms(teeth)
    read = np.isin(np.arange(teeth), base.series.tooth - 1)
    if not read.all():
        forms = np.where((forms[read] > 0).sum(axis=0) < _SHORTEST, 0.0, forms)
    return _shapes(base, forms)


def _grown(base: Base, given: _Shapes, *, bends: bool) -> tuple[Plate | None, int]:
    """Add the shapes that explain most, one by one; tell which came first.

    Of `bends`, what is lower than its own doubt is no evidence, however low it is; and since a bend
    is smooth, none lies upon another that stands to the other side.
    """
    shapes, columns, whole, norm = given
    plate: Plate | None = None
    chosen: list[int] = []
    now, side = base, np.zeros(shapes.shape[1])
    while len(chosen) < _MOST_BENDS and now.dof > FEWEST:
        if chosen:
            norm = whole - np.sum((now.q.T @ columns) ** 2, axis=0)
        each, rss, height = now.free(now.e @ columns, norm)
        if bends:
            doubt = np.sqrt(rss / now.dof / np.maximum(norm, 1e-9))
            with np.errstate(divide="ignore"):
                each = each - np.log(np.maximum(1.0, doubt / np.abs(height)))
            each = np.where(side * height < 0, -math.inf, each)
        more = mean_evidence(each)
        if more < KNOWN:
            break
        best = int(np.argmax(each))
        chosen.append(best)
        upon = ((shapes[:, best] > 0) @ (shapes > 0)) & (side == 0)
        side[upon] = np.sign(height[best])
        now = Base(base.series, shapes=shapes[:, chosen])
        plate = Plate(now, more + (plate.evidence if plate else 0.0))
    return plate, chosen[0] if chosen else 0


@lru_cache(maxsize=4)  # Megabytes each where there are many teeth.
def _forms(teeth: int) -> tuple[Floats, NDArray[np.int64], NDArray[np.int64]]:
    """Return bends of height 1, shape (teeth, m), and the place and number of teeth of each."""
    longest = max(_SHORTEST, teeth // 3)
    lengths = [_SHORTEST]
    while lengths[-1] < longest:
        lengths.append(min(longest, max(lengths[-1] + 1, round(_WIDER * lengths[-1]))))
    columns, firsts, wide = [], [], []
    for length in lengths:
        inside = np.sin(np.pi * np.arange(1, length + 1) / (length + 1))
        for power in _POWERS:
            form = np.zeros(teeth)
            form[:length] = inside**power
            for first in range(teeth):
                columns.append(np.roll(form, first))
                firsts.append(first)
                wide.append(length)
    return np.array(columns).T, np.array(firsts), np.array(wide)


def _alike(base: Base) -> Plate | None:
    """Let single teeth stand as they do that were read in more than one turn."""
    series = base.series
    if series.off_by or series.extra or len(base.design.turns) < 2:
        return None
    tooth_and_turn = np.unique(np.stack([series.tooth, series.turn]), axis=1)
    teeth, turns = np.unique(tooth_and_turn[0], return_counts=True)
    own = np.eye(series.blade.teeth)[:, teeth[turns > 1] - 1]
    if not own.size:
        return None
    return _grown(base, _shapes(base, own), bends=False)[0]


def _repeated(base: Base) -> Plate | None:
    """Let every tooth stand as it does, where the turns show it more than once."""
    series = base.series
    teeth = np.unique(series.tooth)
    if series.off_by or series.extra or len(base.design.turns) < 2:
        return None
    # Any three teeth are given by the offset and the wobble.
    shapes = np.eye(series.blade.teeth)[:, teeth[3:] - 1]
    if base.n - base.p - shapes.shape[1] < FEWEST:
        return None
    own = Base(series, shapes=shapes)
    if np.linalg.matrix_rank(own.design.columns(series.label, shapes)) < own.p:
        return None
    return Plate(own, _by_size(base, own.rss, own.p))
