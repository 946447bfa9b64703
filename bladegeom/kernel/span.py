"""The plate's own highest less lowest, from readings that scatter.

Scatter widens a range: of forty readings of a flat plate the highest and the lowest lie four of its
standard deviations apart. How far depends on the shape, since a wobbling plate has one highest
place and a flat one has many. So the shape is taken from the tooth means, freed of what scatter put
into it; scaled to a range, and scattered again as the readings do, it shows which ranges the plate
may have to be read as this one was.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]

_DRAWS, _SEED = 2000, 20_260
_AT_ONCE = 250
"""Draws that are worked on at once: few enough to stay where they are fast to come by."""

_SHARES = (0.0, 0.25, 0.6, 1.0)
"""Of what neighbours differ by, how much may be scatter: one turn does not tell it from texture."""

_LOW, _HIGH = 0.01, 0.995
"""Quantiles of the limits at 95 %: wider than 2.5 and 97.5 %, since the shape is estimated too."""

_SURE = 0.8
"""How much nearer to even odds, in normal deviates, a chance is than the draws tell: as the limits
are (1.96 over the mean of 2.33 and 2.58)."""

_ALONE = 4.5
"""A tooth that stands out from its neighbours by so many standard deviations is one of its own."""


class Scatter(NamedTuple):
    """Of one reading: its standard deviation and the degrees of freedom of that."""

    sd: float
    dof: float


class Span(NamedTuple):
    """A range as it may be, with its 95 % limits.

    Attributes
    ----------
    value, low, high : float
    ranges : tuple of ndarray
        Draws of the true range; from one turn several sets, of which none is known to be right.
    """

    value: float
    low: float
    high: float
    ranges: tuple[Floats, ...]

    def within(self, limit: float) -> float:
        """Return how probable it is to be at most a limit; of several sets, what is least sure.

        As sure as the limits: their quantiles in the draws stand for 2.5 and 97.5 %.
        """
        chances = [float(np.mean(one <= limit)) for one in self.ranges]
        chance = min(chances, key=lambda chance: abs(chance - 0.5))
        least = 0.5 / _DRAWS
        return float(special.ndtr(_SURE * special.ndtri(min(max(chance, least), 1 - least))))


def rounding_left(sd: float, graduation: float) -> float:
    """Return the standard deviation that rounding leaves in a mean, however many are averaged.

    Readings that scatter by more than the dial's step are dithered: of the sawtooth of rounding
    only its first wave counts, and a scatter beats it down by exp(-2 pi^2 sd^2 / graduation^2)
    (the characteristic function of the normal law). `sd` holds the rounding itself,
    graduation^2 / 12, which is taken off.
    """
    if graduation == 0:
        return 0.0
    own = max(0.0, (sd / graduation) ** 2 - 1 / 12)
    return graduation / math.sqrt(12) * math.exp(-2 * math.pi**2 * own)


_HIDDEN = 0.2
"""Scatter, in steps of the dial, below which most readings of a place are the same step."""


def rounded_away(sd: Any, graduation: Any) -> Any:
    """Return whether a dial's step hides the scatter, so that repeating a reading tells nothing."""
    return sd**2 < (_HIDDEN**2 + 1 / 12) * graduation**2


def span(means: Floats, counts: Floats, scatter: Scatter, graduation: float) -> Span:
    """Return the plate's own highest less lowest.

    Parameters
    ----------
    means : ndarray, shape (n,)
        Of each tooth's readings, in order round the blade, each turn's own offset taken out.
    counts : ndarray, shape (n,)
        How many readings each rests on.
    scatter : Scatter
    graduation : float
        0 where it is not known.

    Returns
    -------
    Span
        The value is that whose median is the range as read: less what scatter adds.
    """
    read, left = float(np.ptp(means)), rounding_left(scatter.sd, graduation)
    variance = scatter.sd**2 / counts
    shape = _freed(means, float(variance.mean()) + left**2)
    shape /= np.ptp(shape) or 1.0
    draws = _draws(len(means), scatter.dof)
    drawn = draws.normal * np.sqrt(variance)[:, np.newaxis]
    drawn *= draws.wider
    if left:
        drawn += left * draws.rounding
    # Highest and lowest are steps of the dial: the range between them is rounded as well.
    step = graduation / (2 * float(counts.mean()))
    ranges = _read_as(read, shape, drawn) + step * draws.step
    low, value, high = np.maximum(np.quantile(ranges, [_LOW, 0.5, _HIGH]), 0.0)
    return Span(float(value), float(low), float(high), (ranges,))


class _Draws(NamedTuple):
    """What is drawn for so many teeth, of shape (teeth, draws), and for the range.

    The same for every blade. Numbers of one draw lie far apart: NumPy goes along the draws.
    """

    normal: Floats
    wider: Floats
    rounding: Floats
    step: Floats


@lru_cache(maxsize=8)
def _draws(teeth: int, dof: float) -> _Draws:
    """Draw; `wider` is how much the scatter's own doubt widens each draw. A day needs few."""
    rng = np.random.default_rng(_SEED)
    normal, wider = rng.normal(size=(_DRAWS, teeth)), np.ones(_DRAWS)
    if math.isfinite(dof):
        wider = np.sqrt(dof / rng.chisquare(dof, _DRAWS))
    rounding = rng.uniform(-math.sqrt(3), math.sqrt(3), normal.shape)
    normal, rounding = (np.ascontiguousarray(one.T) for one in (normal, rounding))
    return _Draws(normal, wider, rounding, rng.uniform(-1, 1, _DRAWS))


def _read_as(read: float, shape: Floats, drawn: Floats) -> Floats:
    """Return the largest range of a shape that would be read as it was, for each draw of scatter.

    What is read is convex and piecewise straight in the range, so that Newton's steps from above
    end on it. 0 where the scatter alone is more than was read.
    """
    ranges: Floats = read + (drawn.max(axis=0) - drawn.min(axis=0))
    near = 1e-9 * float(ranges.max())
    for start in range(0, len(ranges), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        _step_down(read, shape, drawn[:, some], ranges[some], near)
    return ranges


def _step_down(read: float, shape: Floats, drawn: Floats, ranges: Floats, near: float) -> None:
    """Bring ranges down to those that are read as it was, by Newton's steps."""
    going = np.arange(len(ranges))
    while len(going):
        heights = shape[:, np.newaxis] * ranges[going] + drawn
        top, foot = heights.argmax(axis=0), heights.argmin(axis=0)
        every = np.arange(len(going))
        over = heights[top, every] - heights[foot, every] - read
        slope = shape[top] - shape[foot]
        step = np.divide(over, slope, out=np.full_like(over, np.inf), where=slope > 0)
        more = (over > near) & (ranges[going] > 0)
        going, drawn = going[more], drawn[:, more]
        ranges[going] = np.maximum(ranges[going] - step[more], 0.0)


def span_of_one_turn(means: Floats, graduation: float) -> Span:
    """Return the same from one turn, whose scatter nothing tells from the plate's texture.

    Scatter shows in how a tooth stands between its neighbours, but so does texture: that is an
    upper bound, and the limits hold whatever share of it is scatter. The value is as read.
    """
    ones = np.ones_like(means)
    spans = [span(means, ones, one, graduation) for one in may_scatter(rough(means), graduation)]
    low, high = min(one.low for one in spans), max(one.high for one in spans)
    return Span(float(np.ptp(means)), low, high, tuple(one.ranges[0] for one in spans))


def may_scatter(upper: Scatter, graduation: float) -> list[Scatter]:
    """Return what the scatter of one turn may be, where this is the most of it."""
    floor = graduation / math.sqrt(12)
    return [*dict.fromkeys(Scatter(max(one * upper.sd, floor), upper.dof) for one in _SHARES)]


def rough(means: Floats) -> Scatter:
    """Return the most that one turn's scatter can be: that of white noise of its roughness.

    The second differences of white noise have six times its variance. Neighbouring ones overlap,
    so that their mean square has 18 / 35 of a degree of freedom a tooth. Means of many blades have
    the shape (teeth, n).
    """
    second = means - (np.roll(means, 1, axis=0) + np.roll(means, -1, axis=0)) / 2
    return Scatter(np.sqrt(np.mean(second**2, axis=0) / 1.5), 18 / 35 * len(means))


# Of many blades, only whether a limit is kept

_ENDS = 5


@lru_cache(maxsize=64)
def _range_of(teeth: int, dof: float) -> Floats:
    """Return the range of each draw of a scatter of 1."""
    draws = _draws(teeth, dof)
    wide: Floats = draws.wider * np.ptp(draws.normal, axis=0)
    return wide


@lru_cache(maxsize=1024)
def _farthest(teeth: int, dof: float) -> tuple[float, float]:
    """Return how far a scatter of 1 moves a range, in all draws but those beyond the limits."""
    low, high = np.quantile(_range_of(teeth, dof), [1 - _LOW, _HIGH])
    return float(low), float(high)


def farthest_limits(read: Floats, turns: int, teeth: int, scatter: Scatter, graduation: Any) -> Any:
    """Return between which bounds the limits of `span` lie, whatever the plate's shape.

    Parameters
    ----------
    read : ndarray, shape (n,)
        Highest less lowest of the means of each blade's teeth, as many read in as many turns.
    turns, teeth : int
    scatter : Scatter
        Of one reading; shape (n,) and one number.
    graduation : float or ndarray, shape (n,)
        0 where it is not known.

    Returns
    -------
    low, high : ndarray, shape (n,)
        Scatter moves a range by no more than its own range.
    """
    low, high = _farthest(teeth, scatter.dof)
    sd, hair = scatter.sd / math.sqrt(turns), 1e-9 * read
    # Rounding is drawn within half a step each way, times the root of 3 over that of 12.
    more = graduation * (1 + 1 / (2 * turns)) + hair
    return read - low * sd - more, read + high * sd + more


def against(
    means: Floats, turns: int, scatter: Scatter, graduation: float, limit: float
) -> tuple[int, int]:
    """Return how many of the draws of `span` are within a limit: at least, and at most.

    They are counted without being found: what is read is convex in the range, so that a range is
    beyond the limit if the plate, at the limit, would be read as less than it was.
    """
    count, read = len(means), float(np.ptp(means))
    left, sd = rounding_left(scatter.sd, graduation), scatter.sd / math.sqrt(turns)
    shape = _freed(means, sd**2 + left**2)
    shape /= np.ptp(shape) or 1.0
    draws = _draws(count, scatter.dof)
    reach, wider = limit - graduation / (2 * turns) * draws.step, sd * draws.wider

    def heights(teeth: Any, drawn: Any) -> Floats:
        found: Floats = shape[teeth, np.newaxis] * reach[drawn]
        some = (slice(None), drawn) if len(teeth) == count else np.ix_(teeth, drawn)
        found += wider[drawn] * draws.normal[some]
        if left:
            found += left * draws.rounding[some]
        return found

    # The highest and lowest few mostly tell.
    order = np.argsort(shape, kind="stable")
    every = np.arange(count)
    within, rest = np.zeros(_DRAWS, dtype=np.bool_), np.arange(_DRAWS)
    for few in (1, _ENDS, count):
        ends = np.concatenate([order[:few], order[-few:]]) if count > 3 * few else every
        within[rest] = np.ptp(heights(ends, rest), axis=0) >= read
        rest = np.flatnonzero(~within)
    within &= reach >= 0
    alone = sd * _range_of(count, scatter.dof) + 2 * math.sqrt(3) * left > read
    odd = np.flatnonzero(within & alone)
    # Where the range still falls there, it may be read as it was beyond the limit too.
    high = heights(every, odd)
    falls = int(np.count_nonzero(shape[high.argmax(axis=0)] <= shape[high.argmin(axis=0)]))
    most = int(np.count_nonzero(within))
    return most - falls, most


LOW, MIDDLE, HIGH, MANY = _LOW, 0.5, _HIGH, _DRAWS
"""Quantiles that are limits and value of a span, and how many draws there are."""


def quantile_within(counts: tuple[int, int], quantile: float) -> bool | None:
    """Return whether a quantile of the draws is within the limit; None where that is not told."""
    before = math.floor((_DRAWS - 1) * quantile)
    least, most = counts
    if least >= before + 2:
        return True
    return False if most <= before else None


@lru_cache(maxsize=64)
def _octaves(n: int) -> tuple[Floats, NDArray[np.intp], Floats, NDArray[np.intp]]:
    """Return the weights of the orders from 1 on, where octaves begin, their least, their lengths.

    Orders 1, 2, 3 to 4, 5 to 8 and so on; what is left of an octave goes with the last.
    """
    firsts, last = [], 0
    while last < n // 2:
        first = last + 1
        last = first if first < 3 else 2 * (first - 1)
        if n // 2 < 2 * last:
            last = n // 2 if first > 1 or n < 4 else last
        firsts.append(first)
    starts = np.array(firsts) - 1
    weight = np.where(2 * np.arange(1, n // 2 + 1) == n, 1.0, 2.0)
    least = np.where(starts == 0, 1e-6, 0.0)
    return weight, starts, least, np.diff(starts, append=n // 2)


def _freed(means: Floats, variance: float) -> Floats:
    """Return means less as much scatter as their variance says that they hold.

    Teeth that stand alone are kept as they are; of the rest the waves are made smaller, octave by
    octave, by the share that scatter has in each.
    """
    n, shape, kept = len(means), means.copy(), []
    for _ in range(3):
        second = shape - (np.roll(shape, 1) + np.roll(shape, -1)) / 2
        at = int(np.abs(second).argmax())
        if abs(second[at]) <= _ALONE * math.sqrt(1.5 * variance):
            break
        kept.append(at)
        shape[at] = (shape[at - 1] + shape[(at + 1) % n]) / 2
    middle = float(shape.mean())
    waves = np.fft.rfft(shape - middle)
    if n > 1:
        weight, starts, least, times = _octaves(n)
        power = np.add.reduceat(weight * np.abs(waves[1:]) ** 2, starts) / n
        power /= np.add.reduceat(weight, starts)
        share = 1 - variance / np.maximum(power, 1e-300)
        waves[1:] *= np.sqrt(np.where(power > 0, np.maximum(least, share), 0.0)).repeat(times)
    freed: Floats = np.fft.irfft(waves, n)
    freed[kept] = means[kept] - middle
    return freed
