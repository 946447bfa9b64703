"""A repair put on trial: how much better the readings fit, and how likely that is by chance.

For each repair the least-squares fit of the repaired readings is known in closed form from the
residuals e and the matrix M = 1 - H of the fit as it stands, so that all of them are tried at once.

*Evidence* is the log of a Bayes factor against no mistake, with the scale of the scatter and the
curve integrated out: what is left of the sum of squares, to the power -n/2, times the Jacobian of
the repair and its prior probability among repairs of its kind. A size that is not known beforehand
(of a spike or a step) is taken as equally likely on a log scale over two decades, so that a repair
that hits the curve without choosing its size is preferred to one that can always hit it.

*Chance* bounds the probability of so good a repair on readings without a mistake, whatever was
tried. Exchanging a reading or two, or adding a constant to some, cannot fit better than leaving
the size free, whose gain follows Student's t: that, times the number of readings or places
(Bonferroni), bounds sign, scale, spike, swapped and step. For the others the reciprocal of the
mean Bayes factor of all that were tried bounds it (Markov's inequality). The permitted false
alarms are shared out between the kinds by `SHARES`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.kernel.harmonics import Floats
from bladegeom.mistakes._design import OWN_OFFSET, Design, T, Whole, design_of
from bladegeom.tables.counted import Counted

FALSE_ALARMS = 0.01
"""At most so many blades without a mistake get any finding, bends and waves of the plate aside."""

SHARES = {"step": 0.35, "single": 0.3, "swapped": 0.05, "unit": 0.05, "wrap": 0.05}
SHARES |= {"shift": 0.1, "mirrored": 0.1}
"""Parts of the permitted false alarms; `single` is sign, scale and spike of one reading."""

EXTRA_SHARES = {**SHARES, "step": 0.2, "single": 0.15, "shift": 1.0}
"""The same where a reading after the last tooth asks whether one was read twice."""

DECADES = {10.0: 0.25, 0.1: 0.25, 100.0: 0.05, 0.01: 0.05, 1000.0: 0.01, 0.001: 0.01}
"""Factor that mends a slipped decimal point -> how common it is, a lost minus being 1."""

LONE = 0.1
"""How common it is that a dial read one revolution off is read right again at the next tooth."""

WHOLE_COUNT = 0.1
"""How common a tooth read twice or passed over is where the count came out right, against where
it did not."""

FEWEST = 7
"""Readings below which nothing can be checked."""

_LOG_SIZES = 2 * math.log(100.0)
_UNTOLD = 1e300
_BLOCK = 256
_COARSER = np.array([1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0])
"""By how much the numbers of one dial may be coarser than those of another."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """One repair.

    Attributes
    ----------
    rows : ndarray of int
        Places in the series that are concerned.
    evidence : float
        Log of the Bayes factor against no mistake, priors included.
    chance : float
        Adjusted p-value, at most 1.
    rss : float
        Sum of squares that the repair leaves.
    reading, label, kept : ndarray, shape (n,), or None
        The series as repaired, where something in it changes, and what stays, where something goes.
    size : float
        Factor, height or revolution; 0 where there is none.
    places : ndarray of int
        First rows at which the mistake may as well have begun (95 %); n if after the last.
    near_deg : tuple of float
        Near directions that belong to `places`, lowest and highest.
    """

    kind: str
    rows: Whole
    evidence: float
    chance: float
    rss: float
    reading: Floats | None = None
    label: Whole | None = None
    kept: NDArray[np.bool_] | None = None
    size: float = 0.0
    places: Whole = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    near_deg: tuple[float, float] | None = None


class Base:
    """The fit as the readings stand: an offset for each turn, the wobble, and bends if wanted.

    Parameters
    ----------
    series : Counted
    orders : tuple of int
        Waves a turn.
    shapes : ndarray, shape (teeth, k), optional
        Other shapes of the plate, by tooth, each of a height of its own.
    """

    def __init__(
        self, series: Counted, *, orders: tuple[int, ...] = (1,), shapes: Floats | None = None
    ) -> None:
        self.series, self.reading = series, series.reading
        self.orders, self.shapes = orders, shapes
        self.n = len(series.reading)
        self.design = design_of(series, orders)
        self.offsets = self.design.offsets
        self.middle: Any = float(series.reading.mean())
        self.q, self.m = self.design.q, self.design.m
        if shapes is not None:
            self.q, self.m = Design.taken_up(self.design.columns(series.label, shapes))
        self.p = int(self.q.shape[1])
        self.dof = self.n - self.p
        centred = series.reading - self.middle
        self.e = self.m @ centred
        self.grain: Any = float(coarsest(series.reading, series.length("graduation") or 0.0))
        self.least_change = 1.01 * self.grain
        self.floor = self.floor_of(self.dof)
        self.rss: Any = float(self.e @ self.e) + self.floor
        self.counted = on_step(series.reading, self.grain)
        self.shares = EXTRA_SHARES if series.extra else SHARES
        self.tried = 0

    def floor_of(self, dof: int) -> Any:
        """Return the least sum of squares to believe in: that of the rounding."""
        return dof * self.grain**2 / 12 + self.n * hair_of(self.reading) ** 2

    @cached_property
    def slipped(self) -> NDArray[np.bool_]:
        """Which readings, if on the graduation, are still on it times each of `DECADES`.

        Such a reading is one of a countable many, and so is the one that it stands for: neither is
        the likelier for lying in a smaller unit.
        """
        factors = np.array([*DECADES]).reshape(-1, *[1] * self.reading.ndim)
        still: NDArray[np.bool_] = ~self.counted | on_step(self.reading * factors, self.grain)
        return still

    @property
    def by_tooth(self) -> bool:
        """Whether each tooth has a height of its own, so that other teeth would fit as well."""
        return self.p >= self.design.spots

    def once(self, key: Any, make: Callable[[], T]) -> T:
        """Return what is made of the columns alone: at once where it was made before."""
        return self.design.once(key, make) if self.shapes is None else make()

    def log_ratio(self, rss: Floats) -> Floats:
        """Return n/2 times the log of the fall in the sum of squares."""
        ratio: Floats = self.n / 2 * np.log(self.rss / rss)
        return ratio

    def chance(self, rss: Floats) -> Floats:
        """Return the two-sided Student probability of a fall of the sum of squares to `rss`."""
        gain = np.maximum(self.rss / rss - 1, 0.0) * (self.dof - 1)
        p: Floats = 2 * special.stdtr(self.dof - 1, -np.sqrt(gain))
        return p

    def free(self, along: Floats, norm: Floats) -> tuple[Floats, Floats, Floats]:
        """Return evidence, sum of squares and height of columns whose height is free.

        `along` is c'e and `norm` is c'Mc of each column c.
        """
        sure = norm > 1e-9
        norm = np.where(sure, norm, 1.0)
        size = np.where(sure, along / norm, 0.0)
        rss = np.maximum(self.rss - size * along, self.floor + 1e-300)
        height = np.maximum(np.abs(size), 1e-300)
        evidence = (
            (math.log(math.pi) + np.log(rss / norm)) / 2
            + special.gammaln((self.n - 1) / 2)
            - special.gammaln(self.n / 2)
            + self.log_ratio(rss)
            - np.log(_LOG_SIZES * height)
        )
        return np.where(sure & (size != 0), evidence, -math.inf), rss, size

    def on_another_dial(self, factor: Floats) -> Floats:
        """Return the log of the Jacobian of all readings from each on being of another unit.

        Readings on a graduation are then on that of another dial, which is as much wider as its
        numbers are coarser: those of a wide one are the likelier to be met. 0 tells no unit. Shape
        (factors, n).
        """
        read = self.reading
        log, coarse = (one.reshape(-1, *[1] * read.ndim) for one in (np.log(factor), _COARSER))
        on = on_step(read / coarse, self.grain)
        several = from_each_on(self.counted & (read != 0))
        all_on = np.logical_and.accumulate((on | ~self.counted)[..., ::-1], axis=-1)[..., ::-1]
        all_on &= several > 0
        coarser = np.max(np.where(all_on, coarse, 1.0), axis=0)
        chosen = np.where(coarser > 1, math.log(len(_COARSER)), 0.0)
        free = from_each_on(~self.counted)
        stretch: Floats = several * (log + np.log(coarser)) + free * log - chosen
        return stretch

    def fixed(self, along: Floats, norm: Floats, size: Floats | float) -> Floats:
        """Return the sums of squares after `size` times each column is added to the readings."""
        rss: Floats = np.maximum(
            self.rss + 2 * size * along + size**2 * norm, self.floor + 1e-12 * self.rss / self.n
        )
        return rss


def from_each_on(values: NDArray[Any]) -> Floats:
    """Return the sums from each reading on to the last, along the last axis."""
    sums: Floats = np.cumsum(values[..., ::-1], axis=-1)[..., ::-1]
    return sums


def on_step(value: Floats, step: Any) -> NDArray[np.bool_]:
    """Return which values are multiples of a step."""
    steps = value / np.maximum(step, 1e-300)
    near: NDArray[np.bool_] = np.abs(steps - np.round(steps)) < 1e-6
    return near


def coarsest(reading: Floats, graduation: Any) -> Any:
    """Return the counts in which a dial was read, 0 where there are none; of many along the last.

    Who reads a fine dial to the nearest ten counts has a coarser one. One reading of several, which
    a slip may have moved, need not be on it; a single one does not show it. A graduation that is
    not stated is 0: the least difference between readings is one then, as in `least_step`.
    """
    apart = np.diff(np.sort(reading, axis=-1), axis=-1)
    least = np.min(np.where(apart > 0, apart, math.inf), axis=-1, initial=math.inf)
    step = np.where(graduation > 0, graduation, np.where(np.isfinite(least), least, 0.0))
    coarse = _COARSER.reshape(-1, *[1] * step.ndim)
    moved, count = reading != 0, np.count_nonzero(reading, axis=-1)
    on = on_step(reading / coarse[..., np.newaxis], step[..., np.newaxis]) & moved
    alike = on.sum(axis=-1) >= count - (count >= OWN_OFFSET)
    return step * np.where(count < 2, 1.0, np.max(np.where(alike, coarse, 1.0), axis=0))


def hair_of(reading: Floats) -> Any:
    """Return the rounding that numbers of this size carry."""
    most = np.abs(reading).max(axis=-1, keepdims=reading.ndim > 1)
    return np.maximum(8 * float(np.finfo(np.float64).eps) * most, 1e-150)


class Moved(NamedTuple):
    """What the readings would be fitted by with other teeth, a row of which is one way to count.

    `waves` have no mean in any turn, shape (k, n, q), and `inverse` is that of their products.
    """

    waves: Floats
    inverse: NDArray[Any]
    told: NDArray[np.bool_]
    log_det: Floats


def refit(base: Base, label: Whole, key: Any) -> tuple[Floats, Floats, Floats]:
    """Fit the readings with other teeth; return sums of squares, log determinants, directions.

    The determinants are of X'X, over that of the fit as it stands. The key names the labels among
    those of the same design.
    """
    rss, log_det, near = [], [], []
    y = base.series.reading - base.middle
    y = y - base.offsets @ (base.design.mean.T @ y)
    total = float(y @ y)
    for at in range(0, len(label), _BLOCK):
        some = label[at : at + _BLOCK]
        moved = base.once(("moved", key, at), partial(moved_of, base, some))
        moment = np.swapaxes(moved.waves, 1, 2) @ y
        parts = (moved.inverse @ moment[..., np.newaxis])[..., 0]
        left = total - np.sum(parts * moment, axis=-1)
        rss.append(np.where(moved.told, left, _UNTOLD))
        log_det.append(moved.log_det)
        near.append(np.degrees(np.arctan2(parts[:, 1], parts[:, 0])))
    floor = base.floor + 1e-12 * base.rss / base.n
    left = np.maximum(np.concatenate(rss), 0.0) + floor
    return left, np.concatenate(log_det), np.concatenate(near)


def moved_of(base: Base, label: Whole) -> Moved:
    """Return what the readings would be fitted by with other teeth, one row of labels each."""
    standing = _centred(base, base.series.label)
    standing_det = float(np.linalg.slogdet(standing.T @ standing)[1])
    waves = _centred(base, label)
    gram = np.swapaxes(waves, 1, 2) @ waves
    sign, log = np.linalg.slogdet(gram)
    # Teeth that leave a shape of the plate unread tell nothing.
    told = sign > 0
    gram[~told] = np.eye(gram.shape[-1])
    det = np.where(told, log - standing_det, 0.0)
    inverse: NDArray[Any] = np.linalg.inv(gram)
    return Moved(waves, inverse, told, det)


def _centred(base: Base, label: Whole) -> Floats:
    waves = base.design.waves(label, base.shapes)
    centred: Floats = waves - base.offsets @ (base.design.mean.T @ waves)
    return centred


def by_markov(e_value: float, share: float) -> float:
    """Return the greatest chance of so large a Bayes factor, given as its logarithm."""
    return min(1.0, math.exp(-min(max(e_value, 0.0), 700.0)) / share)


def mean_evidence(evidence: Floats) -> float:
    """Return the log of the mean Bayes factor: the place is not known beforehand."""
    top = float(evidence.max())
    if not math.isfinite(top):
        return top
    return top + math.log(float(np.mean(np.exp(evidence - top))))


def likely_places(evidence: Floats) -> Whole:
    """Return the places that hold 95 % of the probability, in order."""
    order = np.argsort(evidence, kind="stable")[::-1]
    if not math.isfinite(evidence[order[0]]):
        return np.sort(order[:1])
    weight = np.exp(evidence[order] - evidence[order[0]])
    kept = int(np.searchsorted(np.cumsum(weight), 0.95 * weight.sum())) + 1
    return np.sort(order[:kept])
