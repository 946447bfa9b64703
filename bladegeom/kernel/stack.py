"""Blades of one design, stacked: offsets and wobbles of all at once, of one as of many.

Readings have the shape (turns, teeth, n), the blades last, so that sums over teeth run along long
rows of memory. Where a tooth was not read, its weight is 0. Each turn has an
offset of its own; once these are taken out, two unknowns are left, solved in closed form, with
exact residuals.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.kernel.doubt import one_or_many
from bladegeom.readings import Readings

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Spots:
    """The spots of one kind of blade that are touched."""

    angle: Floats  # In radians, shape (teeth,).
    waves: Floats  # Cosine and sine, shape (teeth, 2).


class Stack(NamedTuple):
    """Readings of blades of one design, shape (turns, teeth, n)."""

    spots: Spots
    reading: Floats  # NaN where nothing was read.
    there: Floats | None  # 1 where something was read, else 0; None where everything was.


class Plan(NamedTuple):
    """What can be told from where it was read; arrays of shape (n,), or (1,) where all are alike.

    The first three have the shape (turns, n): how many readings a turn has (at least 1), and the
    means of the waves at their places. `cc`, `cs` and `ss` are the sums of squares and products of
    the waves about these: the inverse of the unit covariance of (a, b). `ratio` is that of
    `bladegeom.kernel.design.worst_ratio`, not up to any number where the wobble cannot be told.
    """

    in_turn: Floats
    c: Floats
    s: Floats
    cc: Floats
    cs: Floats
    ss: Floats
    readings: Floats
    dof: Floats
    ratio: Floats
    spots_read: Floats


class Fits(NamedTuple):
    """Least-squares fits; every array but the last has the shape (n,)."""

    plan: Plan
    offset: Floats  # The mean of the turns'.
    a: Floats
    b: Floats
    rss: Floats
    raw_tir: Floats  # Highest less lowest reading of the turn that shows most.
    largest: Floats  # The reading farthest from 0.
    left: Floats  # Reading less curve, shape (turns, teeth, n); 0 where nothing was read.


@lru_cache(maxsize=256)
def spots_of(tooth_deg: tuple[float, ...], touch_deg: float) -> Spots:
    """Return the spots for teeth at some angles and the touched spot so far on."""
    angle = np.radians(np.asarray(tooth_deg) + touch_deg)
    return Spots(angle, np.stack([np.cos(angle), np.sin(angle)], axis=1))


@np.errstate(divide="ignore", invalid="ignore")
def plan_of(spots: Spots, there: Floats) -> Plan:
    """Return what can be told of blades from which readings are there."""
    c, s = spots.waves.T
    products = np.stack([np.ones_like(c), c, s, c * c, c * s, s * s])
    read, c, s, cc, cs, ss = np.moveaxis(products @ there, 1, 0)
    count = np.maximum(read, 1.0)
    c, s = c / count, s / count
    cc = (cc - count * c * c).sum(axis=0)
    cs = (cs - count * c * s).sum(axis=0)
    ss = (ss - count * s * s).sum(axis=0)
    readings = read.sum(axis=0)
    least = (cc + ss) / 2 - np.hypot((cc - ss) / 2, cs)
    return Plan(
        *(count, c, s, cc, cs, ss, readings),
        dof=readings - 2 - (read > 0).sum(axis=0),
        ratio=np.sqrt(readings / 2 / least),
        spots_read=there.max(axis=0).sum(axis=0),
    )


@lru_cache(maxsize=256)
def _whole_plan(spots: Spots, turns: int) -> Plan:
    """Return the plan of blades of which every tooth was read in every turn."""
    return plan_of(spots, np.ones((turns, len(spots.angle), 1)))


def unit_covariance(cc: Floats, cs: Floats, ss: Floats) -> Floats:
    """Return the covariance of (a, b) for readings of variance 1, shape (2, 2, n)."""
    return np.array([[ss, -cs], [-cs, cc]]) / (cc * ss - cs * cs)


def plain(readings: Readings) -> bool:
    """Return whether nothing moves the readings beside the wobble and an offset a turn."""
    kinds = readings.surface == "teeth" and readings.blade.tooth_pattern is not None
    return not kinds and bool((readings.way == readings.way[:1]).all())


def believed(residual_sd: Any, graduation: Any, largest: Any, raw_tir: Any) -> Any:
    """Return the scatter on which all doubt rests.

    The graduation is 0 where not known. The scatter is not below graduation / sqrt(12), nor below
    the rounding that numbers of this size carry of their own; NaN where nothing differs and no
    graduation is known.
    """
    hair = np.maximum(8 * float(np.finfo(np.float64).eps) * largest, 1e-150)
    reading_sd = np.maximum(np.maximum(residual_sd, graduation / math.sqrt(12)), hair)
    unknown = (raw_tir == 0) & (graduation == 0)
    return one_or_many(np.where(unknown, np.nan, reading_sd))


def stack_of(readings: Readings) -> tuple[Stack, NDArray[np.intp]]:
    """Return one blade's readings, closing ones aside, and the place of each in the stack."""
    kept = ~readings.closing
    teeth, turn = readings.blade.teeth, readings.turn[kept]
    place = readings.tooth[kept] - 1
    turns = 1
    if len(turn) and turn[0] != turn[-1]:
        names, which = np.unique(turn, return_inverse=True)
        turns = len(names)
        place = place + which * teeth
    reading = np.full(turns * teeth, np.nan)
    reading[place] = readings.reading[kept]
    shape, there = (turns, teeth, 1), None
    if len(place) < len(reading):
        read = np.zeros(len(reading))
        read[place] = 1.0
        there = read.reshape(shape)
    spots = spots_of(readings.blade.tooth_deg, readings.touch_deg)
    return Stack(spots, reading.reshape(shape), there), place


def parts_of(spots: Spots, plan: Plan, reading: Any) -> tuple[Any, Any, Any]:
    """Return what least squares take for the wobble, and the sums of the turns.

    Readings have the shape (turns, teeth, ..., n), 0 where nothing was read.
    """
    total = reading.sum(axis=1)
    along = (spots.waves.T @ reading.reshape(*reading.shape[:2], -1)).reshape(
        len(reading), 2, *reading.shape[2:]
    )
    middle = (slice(None), *[np.newaxis] * (reading.ndim - 3))
    along_c = (along[:, 0] - total * plan.c[middle]).sum(axis=0)
    along_s = (along[:, 1] - total * plan.s[middle]).sum(axis=0)
    size = plan.cc * plan.ss - plan.cs * plan.cs
    a = (plan.ss * along_c - plan.cs * along_s) / size
    b = (plan.cc * along_s - plan.cs * along_c) / size
    return a, b, total


@np.errstate(divide="ignore", invalid="ignore")
def fit_stack(stack: Stack) -> Fits:
    """Fit an offset a turn and the wobble to every blade of a stack; not finite where it cannot."""
    spots, reading, there = stack
    if there is None:
        plan, high, low = _whole_plan(spots, len(reading)), reading.max(axis=1), reading.min(axis=1)
    else:
        plan = plan_of(spots, there)
        high, low = np.fmax.reduce(reading, axis=1), np.fmin.reduce(reading, axis=1)
        high, low = (np.where(np.isnan(end), 0.0, end) for end in (high, low))
    # About the middle, so that readings that are all the same leave nothing at all, and no offset
    # however large costs digits.
    middle = (high + low) / 2
    left = reading - middle[:, np.newaxis]
    if there is not None:
        left = np.where(there > 0, left, 0.0)
    a, b, total = parts_of(spots, plan, left)
    offset = total / plan.in_turn - a * plan.c - b * plan.s
    curve = spots.waves @ np.stack([a, b]) + offset[:, np.newaxis]
    left -= curve if there is None else curve * there
    return Fits(
        plan=plan,
        offset=((middle + offset) * plan.in_turn).sum(axis=0) / plan.readings,
        a=a,
        b=b,
        rss=np.einsum("ijk,ijk->k", left, left),
        raw_tir=(high - low).max(axis=0),
        largest=np.maximum(np.abs(high), np.abs(low)).max(axis=0),
        left=left,
    )
