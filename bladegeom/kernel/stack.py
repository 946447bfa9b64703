"""Blades of one design, stacked: offsets and wobbles of all at once, of one as of many.

Readings have the shape (turns, teeth, n), the blades last, so that sums over teeth run along long
rows of memory. Where a tooth was not read, the reading is 0 and so is its weight. Each turn has an
offset of its own; once these are taken out, two unknowns are left, solved in closed form, with
exact residuals.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.readings import Readings

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEAKY_RATIO = 1.2
"""Below this a plan has no gap through which bends leak into the wobble."""
BEND_LEVEL = 0.01
FEWEST_FOR_BENDS = 7
"""Teeth by which bends of two and three waves a turn are told from the wobble and the offset."""


class Spots(NamedTuple):
    """The spots of one kind of blade that are touched.

    Attributes
    ----------
    angle : ndarray, shape (teeth,)
        In radians.
    waves : ndarray, shape (teeth, 2)
        Cosine and sine.
    products : ndarray, shape (6, teeth)
        1, c, s, cc, cs, ss.
    sums : ndarray, shape (6, 1)
        Their sums over all teeth.
    """

    angle: Floats
    waves: Floats
    products: Floats
    sums: Floats


class Stack(NamedTuple):
    """Readings of blades of one design.

    Attributes
    ----------
    spots : Spots
    reading : ndarray, shape (turns, teeth, n)
        0 where nothing was read.
    there : ndarray, shape (turns, teeth, n), or None
        1 where something was read, else 0; None where everything was.
    """

    spots: Spots
    reading: Floats
    there: Floats | None


class Fits(NamedTuple):
    """Least-squares fits; every array but the last has the shape (n,).

    Attributes
    ----------
    readings, dof : ndarray
        How many readings are in the fit, and the degrees of freedom that are left.
    offset, a, b : ndarray
        The mean of the turns' offsets, cosine and sine part.
    cc, cs, ss : ndarray
        Sums of squares and products of the waves about their means: the inverse of the unit
        covariance of (a, b).
    rss : ndarray
        Sum of the squared residuals.
    raw_tir, largest : ndarray
        Highest less lowest reading of the turn that shows most; the reading farthest from 0.
    ratio : ndarray
        See `bladegeom.kernel.design.worst_ratio`; not up to any number where the wobble cannot be
        told.
    spots_read : ndarray
        How many different teeth were read.
    left : ndarray, shape (turns, teeth, n)
        Reading less curve; 0 where nothing was read.
    """

    readings: Floats
    dof: Floats
    offset: Floats
    a: Floats
    b: Floats
    cc: Floats
    cs: Floats
    ss: Floats
    rss: Floats
    raw_tir: Floats
    largest: Floats
    ratio: Floats
    spots_read: Floats
    left: Floats

    def unit_covariance(self) -> Floats:
        """Return the covariance of (a, b) for readings of variance 1, shape (2, 2, n)."""
        size = self.cc * self.ss - self.cs * self.cs
        return np.array([[self.ss, -self.cs], [-self.cs, self.cc]]) / size


@lru_cache(maxsize=256)
def spots_of(tooth_deg: tuple[float, ...], touch_deg: float) -> Spots:
    """Return the spots for teeth at some angles and the touched spot so far on."""
    angle = np.radians(np.asarray(tooth_deg) + touch_deg)
    c, s = np.cos(angle), np.sin(angle)
    products = np.stack([np.ones_like(c), c, s, c * c, c * s, s * s])
    return Spots(angle, np.stack([c, s], axis=1), products, products.sum(axis=1, keepdims=True))


def plain(readings: Readings) -> bool:
    """Return whether nothing moves the readings beside the wobble and an offset a turn."""
    kinds = readings.surface == "teeth" and readings.blade.tooth_pattern is not None
    return not kinds and bool((readings.way == readings.way[:1]).all())


def believed(residual_sd: Any, graduation: Any, largest: Any, raw_tir: Any) -> tuple[Any, Any]:
    """Return the scatter on which all doubt rests, and what rounding adds to an amplitude's limits.

    Parameters
    ----------
    residual_sd : float or ndarray, shape (...)
    graduation : float or ndarray, shape (...)
        0 where not stated.
    largest, raw_tir : float or ndarray, shape (...)
        See `Fits`.

    Returns
    -------
    reading_sd, margin : float or ndarray, shape (...)
        Not below graduation / sqrt(12), nor below the rounding that numbers of this size carry
        of their own; NaN where nothing differs and no graduation is stated. Half a graduation
        where the readings scatter by less, so that rounding does not average out.
    """
    hair = np.maximum(8 * float(np.finfo(np.float64).eps) * largest, 1e-150)
    reading_sd = np.maximum(np.maximum(residual_sd, graduation / math.sqrt(12)), hair)
    unknown = (raw_tir == 0) & (graduation == 0)
    half = graduation / 2
    return np.where(unknown, np.nan, reading_sd), np.where(residual_sd < half, half, 0.0)


def stack_of(readings: Readings) -> tuple[Stack, NDArray[np.intp]]:
    """Return one blade's readings as a stack, and the place of each, closing readings aside, in it.

    Places count through turns and teeth.
    """
    kept = ~readings.closing
    teeth, turn = readings.blade.teeth, readings.turn[kept]
    place = readings.tooth[kept] - 1
    turns = 1
    if len(turn) and turn[0] != turn[-1]:
        names, which = np.unique(turn, return_inverse=True)
        turns = len(names)
        place = place + which * teeth
    reading = np.zeros(turns * teeth)
    reading[place] = readings.reading[kept]
    shape, there = (turns, teeth, 1), None
    if len(place) < len(reading):
        read = np.zeros(len(reading))
        read[place] = 1.0
        there = read.reshape(shape)
    spots = spots_of(readings.blade.tooth_deg, readings.touch_deg)
    return Stack(spots, reading.reshape(shape), there), place


@np.errstate(divide="ignore", invalid="ignore")
def fit_stack(stack: Stack) -> Fits:
    """Fit an offset a turn and the wobble to every blade of a stack; not finite where it cannot."""
    spots, reading, there = stack
    turns, teeth, n = reading.shape
    high = low = reading
    if there is None:
        sums = np.broadcast_to(spots.sums, (turns, 6, n))
    else:
        sums = spots.products @ there
        high, low = (np.where(there > 0, reading, end) for end in (-np.inf, np.inf))
    high, low, read = high.max(axis=1), low.min(axis=1), sums[:, 0]
    count = read
    if there is not None:
        high, low = (np.where(read > 0, end, 0.0) for end in (high, low))
        count = np.maximum(read, 1.0)
    # From the middle first, so that readings that are all the same leave nothing at all, and no
    # offset however large costs digits.
    middle = (high + low) / 2
    left = reading - middle[:, np.newaxis]
    if there is not None:
        left *= there
    mean = left.sum(axis=1) / count
    left -= mean[:, np.newaxis]
    if there is not None:
        left *= there
    c, s = sums[:, 1] / count, sums[:, 2] / count
    cc = (sums[:, 3] - count * c * c).sum(axis=0)
    cs = (sums[:, 4] - count * c * s).sum(axis=0)
    ss = (sums[:, 5] - count * s * s).sum(axis=0)
    along_c, along_s = (spots.waves.T @ left).sum(axis=0)
    size = cc * ss - cs * cs
    a, b = (ss * along_c - cs * along_s) / size, (cc * along_s - cs * along_c) / size
    beside = a * c + b * s
    curve = spots.waves @ np.stack([a, b]) - beside[:, np.newaxis]
    left -= curve if there is None else curve * there
    readings = read.sum(axis=0)
    offset = ((middle + mean - beside) * read).sum(axis=0) / readings
    least = (cc + ss) / 2 - np.hypot((cc - ss) / 2, cs)
    return Fits(
        readings=readings,
        dof=readings - 2 - (read > 0).sum(axis=0),
        offset=offset,
        a=a,
        b=b,
        cc=cc,
        cs=cs,
        ss=ss,
        rss=(left * left).sum(axis=(0, 1)),
        raw_tir=(high - low).max(axis=0),
        largest=np.maximum(np.abs(high), np.abs(low)).max(axis=0),
        ratio=np.sqrt(readings / 2 / least),
        spots_read=np.full(n, float(teeth)) if there is None else there.max(axis=0).sum(axis=0),
        left=left,
    )


@np.errstate(divide="ignore", invalid="ignore")
def bends_leak(stack: Stack, fits: Fits) -> Bools:
    """Return for which blades a bend is shown in a plan with a gap, shape (n,).

    With every tooth read, bends are square to the wobble; with an arc left out they are not, and
    leak into it. Waves of two and three a turn are made square to the offsets, to the wobble and
    to one another; what they take up of the residuals is held against what is left.
    """
    found = np.zeros(len(fits.a), dtype=np.bool_)
    dof = fits.dof - 4
    enough = (fits.spots_read >= FEWEST_FOR_BENDS) & (dof >= 3)
    some = np.flatnonzero((fits.ratio >= LEAKY_RATIO) & enough)
    if not len(some):
        return found
    weight = np.ones_like(fits.left) if stack.there is None else stack.there
    weight, left = weight[:, :, some], fits.left[:, :, some]
    count = np.maximum(weight.sum(axis=1, keepdims=True), 1.0)
    square: list[Floats] = []
    for wave in harmonic_columns(stack.spots.angle, (1, 2, 3)).T[1:]:
        column = weight * wave[:, np.newaxis]
        column -= weight * (column.sum(axis=1, keepdims=True) / count)
        for one in square:
            column -= one * (one * column).sum(axis=(0, 1))
        square.append(column / np.sqrt((column * column).sum(axis=(0, 1))))
    taken = sum((one * left).sum(axis=(0, 1)) ** 2 for one in square[2:])
    rest = fits.rss[some] - taken
    chance = special.fdtrc(4, dof[some], np.maximum(taken / 4 / (rest / dof[some]), 0.0))
    found[some] = (rest > 0) & (chance < BEND_LEVEL)
    return found
