"""What rounding to a dial's graduation adds to the doubt: one law for one blade and for many.

A reading says where the needle stood to half a graduation. The error that this makes is a saw-tooth
of the needle's height. Where a reading repeats to half a graduation or so, every error is drawn
anew and is scatter like any other. Where it repeats better, the errors march in step round the
blade, come back in every turn, and do not average out.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bladegeom.kernel.doubt import least_above_zero
from bladegeom.kernel.stack import Fits, Plan, Stack, parts_of, unit_covariance

Floats = NDArray[np.float64]
Solve = Callable[[Any], Any]

COARSE = 0.45
"""Readings that scatter by less, in graduations, are coarse: from there on rounding is scatter."""
GRID_TEETH = 12
"""From so many teeth on, the steps on which readings lie tell an unstated graduation."""

_FLAT = 1 / 12
"""Variance of what rounding leaves of a reading, in squares of a graduation."""
_FLAT_CUMULANT = 1 / 120
"""How much less a variance of residuals scatters than that of normal ones, by its even part."""
_WAVES = np.array([[1.0], [4.0], [9.0]])
_SHARES = np.array([[1.0], [1 / 4], [math.pi**2 / 6 - 5 / 4]])
"""Squares of the waves' numbers, and their shares: the third stands for all that follow it."""
_TUNED = 4 * math.pi**2
_STEADY = 0.162
"""A standard deviation with which no amplitude at all has the upper limit of half a graduation."""
_TWO_MARKS = 1.5
_REACHED = 1.02
"""By a little more than the limits need to reach 0."""
_HALF = 2 / math.pi
"""The amplitude of readings of which half are one graduation higher than the others."""
_PLACES = np.array([0.0, 1.0, -1.0, 0.0, 0.0]), np.array([0.0, 0.0, 0.0, 1.0, -1.0])
_WEIGHTS = np.array([2.0, 1.0, 1.0, 1.0, 1.0]) / 6
_CELLS_AT_ONCE = 100_000
_LOOKED_AT = 12
_FINEST_PART = 6
_WHOLE = 1e-6
_DUST = 1e-9


def is_coarse(residual_sd: Any, graduation: Any) -> Any:
    """Return whether readings scatter so little that rounding errors do not average out."""
    return residual_sd < COARSE * graduation


def rounding_covariance(
    height: Floats,
    waves: Floats,
    solve: Solve,
    parts: Floats,
    unit: Floats,
    variance: Floats,
    dof: Floats,
    span: Floats,
    turns: Floats,
) -> Floats:
    """Return the covariance that rounding adds to coarse fits, in squares of a graduation.

    The saw-tooth is a sum of waves ``sin(2 pi k h) / (pi k)`` of the height h in graduations, which
    normal scatter of variance v makes smaller by ``exp(-2 pi^2 k^2 v)``. Where the dial's zero
    may be anywhere, each wave adds what least squares make of ``exp(2 pi i k h)``, taken along the
    curve, to the covariance (own derivation). It is averaged over curves as near to the fitted
    one as the scatter lets it be. The variance v is that of the residuals less that of rounding;
    it is only estimated, and exp() would come out too large on average but for a second term.

    A needle without scatter leaves readings on one mark for any amplitude up to half a graduation,
    and on two for any from 0 to 1: there the estimate tells little, and so much is added that the
    limits reach these amplitudes. No more is added elsewhere.

    Parameters
    ----------
    height : ndarray, shape (..., places, n)
        The fitted curve with its offsets, in graduations, as all lengths here.
    waves : ndarray, shape (places, 2)
        The wobble's columns.
    solve : callable
        From values of shape (..., places, m, n) to what the fit makes of them in its two parts,
        shape (2, m, n).
    parts : ndarray, shape (2, n)
        Cosine and sine part.
    unit : ndarray, shape (2, 2, n)
        Their covariance for readings of variance 1.
    variance, dof, span, turns : ndarray, shape (n,)
        Of the residuals, their degrees of freedom, the range of the readings in a turn, and how
        often a tooth was read, turns that agree exactly counted once.

    Returns
    -------
    ndarray, shape (2, 2, n)
    """
    amplitude = np.hypot(*parts)
    none = amplitude == 0
    toward = parts / (amplitude + none)
    toward[0] += none
    axes = np.array([toward, [-toward[1], toward[0]]])  # Along and across, so that it turns along.
    believed = np.maximum(variance, _FLAT)
    sds = np.sqrt(believed * np.einsum("kin,ijn,kjn->kn", axes, unit, axes))
    moves = math.sqrt(3) * np.einsum("km,kn,kin->imn", np.array(_PLACES), sds, axes)
    moved = (waves @ moves.reshape(2, -1)).reshape(-1, *moves.shape[1:])
    first = np.exp(2j * math.pi * (height[..., np.newaxis, :] + moved))
    second = first * first
    each = np.concatenate([first, second, first * second], axis=-2)
    seen = np.einsum("kin,imn->kmn", axes, solve(each))
    scatter = np.maximum(variance - _FLAT, 0.0)
    unsure = (2 * believed**2 - _FLAT_CUMULANT) / dof
    sizes = np.exp(-_TUNED * (_WAVES * scatter + _TUNED / 2 * unsure)) * _SHARES * 2 / _TUNED
    same = (turns - 1) * sizes.sum(axis=0)  # More turns make the scatter's doubt less, not this.
    weights = (sizes[:, np.newaxis] * _WEIGHTS[:, np.newaxis]).reshape(-1, len(amplitude))
    both = np.einsum("mn,kmn,lmn->kln", weights, seen, seen.conj()).real
    (along, tie), (_, across) = both + same * np.einsum("kin,ijn,ljn->kln", axes, unit, axes)
    free, of = np.unique(dof, return_inverse=True)
    least = np.array([least_above_zero(float(one)) for one in free])[of]
    steady = (_STEADY + amplitude * np.maximum(_REACHED / least - _STEADY / _HALF, 0.0)) ** 2
    two = span < _TWO_MARKS
    along = np.where(two, np.maximum(steady - sds[0] ** 2, 0.0), np.minimum(along, steady))
    across = np.where(none, along, across)
    most = np.sqrt(along * across)
    tie = np.where(two, 0.0, np.clip(tie, -most, most))
    both = np.array([[along, tie], [tie, across]])
    found: Floats = np.einsum("kin,kln,ljn->ijn", axes, both, axes)
    return found


@np.errstate(divide="ignore", invalid="ignore")
def rounded(stack: Stack, fits: Fits, graduation: Floats) -> tuple[Fits, Floats]:
    """Return fits with turns that agree exactly counted once, and what rounding adds to them.

    The graduations, shape (n,), are 0 where not known. What is added is a covariance, shape
    (2, 2, n), 0 where the readings are not coarse.
    """
    rounding = np.zeros((2, 2, len(fits.a)))
    coarse = np.flatnonzero(is_coarse(np.sqrt(fits.rss / fits.plan.dof), graduation))
    if not len(coarse):
        return fits, rounding
    copies = np.ones(len(fits.a))
    if len(stack.reading) > 1:
        copies[coarse] = copies_of(stack.reading[..., coarse], graduation[coarse])
        if (copies > 1).any():
            fits = _once(fits, copies)
    step = max(1, _CELLS_AT_ONCE // (stack.reading[..., 0].size * _WEIGHTS.size * _WAVES.size))
    for at in range(0, len(coarse), step):
        some = coarse[at : at + step]
        rounding[:, :, some] = _of_some(stack, fits, graduation, copies, some)
    return fits, rounding


def copies_of(reading: Floats, graduation: Any) -> Floats:
    """Return how many turns there are for each that agrees exactly with no other, shape (n,).

    Readings have the shape (turns, teeth, n), NaN where nothing was read. The dial may have been
    set to another zero between turns.
    """
    steps = np.round((reading - np.fmin.reduce(reading, axis=1)[:, np.newaxis]) / graduation)
    steps = np.where(np.isnan(steps), -1.0, steps)
    distinct = np.zeros(reading.shape[-1])
    for turn, own in enumerate(steps):
        distinct += ~(steps[:turn] == own).all(axis=1).any(axis=0)
    return len(reading) / distinct


def _once(fits: Fits, copies: Floats) -> Fits:
    """Return fits in which so many turns count as one."""
    plan = fits.plan
    sums = {name: getattr(plan, name) / copies for name in ("cc", "cs", "ss")}
    unknowns = 2 + (plan.readings - plan.dof - 2) / copies
    dof = np.maximum(np.floor(plan.readings / copies - unknowns), 1.0)
    return fits._replace(plan=plan._replace(**sums, dof=dof), rss=fits.rss / copies)


def _of_some(
    stack: Stack, fits: Fits, graduation: Floats, copies: Floats, some: NDArray[np.intp]
) -> Floats:
    """Return what rounding adds to the covariance of some blades."""
    plan = Plan(*(one if one.shape[-1] == 1 else one[..., some] for one in fits.plan))
    q, copies = graduation[some], copies[some]
    height = (stack.reading[..., some] - fits.left[..., some]) / q
    there = None
    if stack.there is not None:
        there = stack.there[..., np.newaxis, some]
        height = np.where(there[..., 0, :] > 0, height, 0.0)

    def solve(values: Any) -> Any:
        taken = values if there is None else values * there
        return np.array(parts_of(stack.spots, plan, taken)[:2]) / copies

    every = np.broadcast_to
    unit = unit_covariance(plan.cc, plan.cs, plan.ss)
    found: Floats = q**2 * rounding_covariance(
        height,
        stack.spots.waves,
        solve,
        np.array([fits.a[some], fits.b[some]]) / q,
        every(unit, (2, 2, len(some))),
        fits.rss[some] / plan.dof / q**2,
        every(plan.dof, some.shape),
        fits.raw_tir[some] / q,
        every(plan.readings / plan.spots_read, some.shape) / copies,
    )
    return found


def grid_of(reading: Floats, residual_sd: float) -> float:
    """Return the steps on which coarse readings lie; 0 where they do not, or are not coarse.

    The greatest step of which all differences are multiples.
    """
    marks = np.unique(reading)
    gaps = np.diff(marks)
    gaps = gaps[gaps > _DUST * (marks[-1] - marks[0])]
    least = float(gaps.min()) if gaps.size else 0.0
    for part in range(1, _FINEST_PART + 1):
        step = least / part
        if not is_coarse(residual_sd, step):
            break
        count = (marks - marks[0]) / step
        if np.all(np.abs(count - np.round(count)) < _WHOLE):
            return float(f"{step:.9g}")  # Without the dust of the differences.
    return 0.0


@np.errstate(divide="ignore", invalid="ignore")
def grids_of_stack(stack: Stack, fits: Fits, among: NDArray[np.bool_]) -> Floats:
    """Return the same of blades of a stack, 0 of all that are not among those asked for."""
    found = np.zeros(len(fits.a))
    residual_sd = np.sqrt(fits.rss / fits.plan.dof)
    some = np.flatnonzero(among & (fits.raw_tir > 0))
    first = stack.reading[0]
    # Two readings closer than any step that would matter rule it out, of nearly all at once.
    for tooth in range(min(_LOOKED_AT, len(first) - 1)):
        gap = np.abs(first[tooth + 1, some] - first[tooth, some])
        near = (gap > _DUST * fits.raw_tir[some]) & is_coarse(gap * COARSE, residual_sd[some])
        some = some[~near]
    for one in some.tolist():
        reading = stack.reading[..., one]
        found[one] = grid_of(reading[~np.isnan(reading)], float(residual_sd[one]))
    return found
