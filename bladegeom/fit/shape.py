"""What the wobble leaves: bends that run over several teeth, and single teeth that stand off."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.face import check_blade
from bladegeom.fit.standing import Stands
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.design import worst_ratio
from bladegeom.kernel.harmonics import LeastSquares, harmonic_columns, least_squares
from bladegeom.kinds import checked
from bladegeom.result import Result, derived, described, number, quantity

Floats = NDArray[np.float64]

_LEVEL = 0.05
_SHORTEST = 3
_MOST = 6
_FEWEST = 6
_WORST_RATIO = 3.0
_HAIR = 1.001
"""By how much a chance may be off that is only nearly told."""


@dataclass(frozen=True)
class Bend(Stands):
    """A run of teeth where the plate stands off the fitted curve.

    Attributes
    ----------
    first, last : int
        The run's teeth, in the direction of the numbering (so that `first` may be the larger).
    height : float
        Farthest that it stands off, as the largest mean of three neighbouring teeth, in the unit
        of the readings; positive toward the indicator.
    p_value : float
        Chance of such a run anywhere by scatter alone.
    """

    first: int
    last: int
    height: float
    p_value: float


@dataclass(frozen=True)
class Spike(Stands):
    """A single tooth that stands off its neighbours: gum, a burr, a slip of the pen; see `Bend`.

    Where it does so alike in several turns, it is none of the last.
    """

    tooth: int
    height: float
    p_value: float
    turns: int = 1


@described
class ResidualShape(Result):
    """The shape that the wobble leaves."""

    unit: str
    bends: tuple[Bend, ...] = quantity(
        "runs of teeth where the plate stands off the curve",
        label="bend",
        text=lambda one: [
            f"teeth {bend.first} to {bend.last} stand {one._off(bend)}" for bend in one.bends
        ],
    )
    spikes: tuple[Spike, ...] = quantity(
        "single teeth that stand off it",
        label="single tooth",
        text=lambda one: [
            f"tooth {spike.tooth} alone stands {one._off(spike)}: clean it"
            + (f"; {spike.turns} turns show it" if spike.turns > 1 else " and read it again")
            for spike in one.spikes
        ],
    )
    sd: float = quantity("scatter of the other teeth, of one tooth's mean")

    @derived("that there is neither", key="", label="bends, single teeth")
    def _none(self) -> str:
        return "" if self.bends or self.spikes else "none shown"

    def _title(self) -> str:
        return "What the wobble leaves"

    def _off(self, one: Bend | Spike) -> str:
        size = number(abs(one.height), self.sd)
        return f"{size} {self.unit} {one.side} (chance {one.p_value:.2g})"


@checked
def residual_shape(fit: WobbleFit) -> ResidualShape:
    """Look for bends and spikes in what the wobble leaves.

    Each run of three teeth and more, up to a third of the blade, and each tooth alone is tried.
    The one that stands off most is held against a wobble fitted to all the other teeth, and their
    scatter, by Student's t; its chance is multiplied by the number tried (Bonferroni). What is
    found is set aside, and the search goes on without it.

    Parameters
    ----------
    fit : WobbleFit

    Returns
    -------
    ResidualShape
    """
    check_blade(fit.readings, "it has no teeth that could stand off")
    spikes = [Spike(one.tooth, one.height, one.p_value, one.turns) for one in fit.standing]
    return shape_of(fit.unit, *_by_tooth(fit), fit.readings.graduation, spikes)


def shape_of(
    unit: str,
    teeth: NDArray[np.int64],
    heights: Floats,
    angles: Floats,
    graduation: float | None,
    known: Sequence[Spike] = (),
) -> ResidualShape:
    """Return what stands off, beside what is known, of teeth at these heights and angles."""
    search = _Search(heights, angles, (graduation or 0.0) / math.sqrt(12))
    left, spikes = np.ones(len(teeth), dtype=np.bool_), [*known]
    bends: list[Bend] = []
    while len(spikes) + len(bends) < _MOST:
        found = search.best(left)
        if found is None:
            break
        left[found.places] = False
        first, last = int(teeth[found.places[0]]), int(teeth[found.places[-1]])
        if len(found.places) == 1:
            spikes.append(Spike(first, found.height, found.chance))
        else:
            bends.append(Bend(first, last, found.height, found.chance))
    return ResidualShape(
        unit=unit, bends=tuple(bends), spikes=tuple(spikes), sd=search.scatter(left)
    )


def _by_tooth(fit: WobbleFit) -> tuple[NDArray[np.int64], Floats, Floats]:
    """Return teeth in order, the mean levelled reading of each, and its angle in radians."""
    tooth = fit.readings.tooth[fit.in_fit]
    teeth, which, counts = np.unique(tooth, return_inverse=True, return_counts=True)
    heights = np.bincount(which, weights=fit.levelled) / counts
    angles = np.radians(fit.readings.blade.angles_deg[teeth - 1] + fit.readings.touch_deg)
    return teeth, heights, angles


class _Found(NamedTuple):
    places: NDArray[np.int64]
    height: float
    chance: float


class _Search:
    """The search over one blade's teeth; `floor` is the least scatter to believe in."""

    def __init__(self, heights: Floats, angles: Floats, floor: float) -> None:
        self.heights = heights
        self.columns = harmonic_columns(angles)
        hair = 8 * float(np.finfo(np.float64).eps) * float(np.abs(heights).max())
        self.floor = max(floor, hair, 1e-150)

    def fitted(self, left: NDArray[np.bool_]) -> LeastSquares | None:
        """Return the wobble of the teeth left, or None where they are too few to tell."""
        kept = self.columns[left]
        if len(kept) < _FEWEST or worst_ratio(kept[:, 1:], kept[:, :1]) > _WORST_RATIO:
            return None
        return least_squares(kept, self.heights[left])

    def scatter(self, left: NDArray[np.bool_]) -> float:
        """Return the scatter of the teeth left about their own wobble."""
        fit = self.fitted(left)
        return self.floor if fit is None else self._sd(fit)

    def best(self, left: NDArray[np.bool_]) -> _Found | None:
        """Return the tooth or run that stands off most, if scatter alone would hardly do it."""
        fit = self.fitted(left)
        if fit is None:
            return None
        rest = np.where(left, self.heights - self.columns @ fit.coefficients, 0.0)
        lengths = [1, *range(_SHORTEST, max(_SHORTEST, len(rest) // 3) + 1)]
        tried, runs = len(rest) * len(lengths), _strongest(rest, left, lengths)
        chances = self._chances(runs, rest, fit) * tried
        found: list[tuple[float, int, _Found]] = []
        for at in np.argsort(chances, kind="stable").tolist():
            if chances[at] > _HAIR * min([_LEVEL, *(one.chance for _, _, one in found)]):
                break
            one = self._judged(runs[at], left, tried)
            if one is not None and one.chance < _LEVEL:
                found.append((one.chance, at, one))
        return min(found)[2] if found else None

    def _chances(self, runs: list[NDArray[np.int64]], rest: Floats, fit: LeastSquares) -> Floats:
        """Return nearly the chance of each run, and 0 where that is not told so: see `_judged`.

        What is left of a run's teeth about the wobble of the others is that about the wobble of
        all, and what these teeth have put into it.
        """
        sizes, taken = np.array([len(run) for run in runs]), np.zeros((len(runs), len(rest)))
        for one, run in zip(taken, runs, strict=True):
            one[run] = 1.0
        products = (self.columns[:, :, np.newaxis] * self.columns[:, np.newaxis]).reshape(-1, 9)
        of_run, along = (taken @ products).reshape(-1, 3, 3), (taken * rest) @ self.columns
        dof = fit.dof - sizes
        solved = np.linalg.inv(
            np.linalg.inv(fit.unit_covariance) - of_run * (dof > 0)[:, None, None]
        )
        moved = np.einsum("kpq,kq->kp", solved, along)
        middle = taken @ self.columns / sizes[:, np.newaxis]
        mean = taken @ rest / sizes + np.sum(middle * moved, axis=1)
        left = fit.rss - taken @ rest**2 - np.sum(along * moved, axis=1)
        with np.errstate(all="ignore"):
            sd = np.maximum(np.sqrt(left / dof), self.floor)
            spread = np.sqrt(1 / sizes + np.einsum("kp,kpq,kq->k", middle, solved, middle))
            chance = 2 * special.stdtr(dof, -np.abs(mean) / (sd * spread))
        told = (left > 1e-6 * fit.rss) & (spread > 0)
        found: Floats = np.where(told, np.nan_to_num(chance), 0.0)
        return found

    def _judged(self, run: NDArray[np.int64], left: NDArray[np.bool_], tried: int) -> _Found | None:
        others = left.copy()
        others[run] = False
        fit = self.fitted(others)
        if fit is None:
            return None
        stands = self.heights[run] - self.columns[run] @ fit.coefficients
        middle = self.columns[run].mean(axis=0)
        spread = math.sqrt(1 / len(run) + float(middle @ fit.unit_covariance @ middle))
        t = abs(float(stands.mean())) / (self._sd(fit) * spread)
        chance = min(1.0, float(2 * special.stdtr(fit.dof, -t)) * tried)
        return _Found(run, _height(stands), chance)

    def _sd(self, fit: LeastSquares) -> float:
        return max(math.sqrt(float(fit.rss) / fit.dof), self.floor)


def _strongest(
    rest: Floats, left: NDArray[np.bool_], lengths: list[int]
) -> list[NDArray[np.int64]]:
    """Return for each length the run of teeth that stands off most."""
    n = len(rest)
    sums = np.concatenate([[0.0], np.cumsum(np.tile(rest, 2))])
    gone = np.concatenate([[0], np.cumsum(np.tile(~left, 2))])
    runs = []
    for length in lengths:
        stands = np.abs(sums[length : length + n] - sums[:n])
        stands[gone[length : length + n] > gone[:n]] = -1.0
        start = int(np.argmax(stands))
        if stands[start] >= 0:
            runs.append((start + np.arange(length)) % n)
    return runs


def _height(stands: Floats) -> float:
    """Return the largest mean of three neighbours (of one tooth, its own)."""
    width = min(_SHORTEST, len(stands))
    means = np.convolve(stands, np.full(width, 1 / width), mode="valid")
    return float(means[np.argmax(np.abs(means))])


# Of many blades, which have nothing that would be found


def shape_shown(angles: Floats, left: Floats, hair: Floats, graduation: Floats) -> Any:
    """Return of which blades `residual_shape` would find anything, shape (n,).

    What is left of a run's teeth about the wobble of the others is that about the wobble of all,
    and what these teeth have put into it.

    Parameters
    ----------
    angles, left : ndarray, shape (teeth read, n)
        Of these, in radians, and what the wobble leaves of their means.
    hair, graduation : ndarray, shape (n,)
        The rounding that numbers of this size carry, and the step of the dial, 0 for none.
    """
    n, blade = len(left), np.arange(left.shape[1])
    lengths = [1, *range(_SHORTEST, max(_SHORTEST, n // 3) + 1)]
    columns = np.stack([np.ones_like(angles), np.cos(angles), np.sin(angles)])
    whole = np.einsum("pib,qib->bpq", columns, columns)
    rss, floor = np.sum(left**2, axis=0), np.maximum(graduation / math.sqrt(12), hair)
    sums = np.cumsum(np.concatenate([np.zeros_like(left[:1]), left, left]), axis=0)
    shown = np.zeros(len(blade), dtype=np.bool_)
    for length in lengths:
        if n - length < _FEWEST:
            continue
        start = np.argmax(np.abs(sums[length : length + n] - sums[:n]), axis=0)
        at = (start + np.arange(length)[:, np.newaxis]) % n
        run, taken = left[at, blade], columns[:, at, blade]
        others = whole - np.einsum("pib,qib->bpq", taken, taken)
        solved = np.linalg.inv(others)
        moved = np.einsum("bpq,qib,ib->pb", solved, taken, run)
        stands = run + np.einsum("pib,pb->ib", taken, moved)
        middle = taken.mean(axis=1)
        spread = 1 / length + np.einsum("pb,bpq,qb->b", middle, solved, middle)
        rest, dof = np.maximum(rss - np.sum(run * stands, axis=0), 0.0), n - length - 3
        sd = np.maximum(np.sqrt(rest / dof), floor)
        chance = 2 * special.stdtr(dof, -np.abs(stands.mean(axis=0)) / (sd * np.sqrt(spread)))
        shown |= (chance * n * len(lengths) < _LEVEL * (1 + 1e-6)) & ~_too_short(others)
    return shown


def _too_short(products: Floats) -> Any:
    """Return where the teeth, of which these are the sums of products, are on too short an arc."""
    count, along = products[:, 0, 0], products[:, 0, 1:]
    waves = products[:, 1:, 1:] - along[:, :, np.newaxis] * along[:, np.newaxis] / count[0]
    ratio = np.sqrt(count / 2 / np.maximum(np.linalg.eigvalsh(waves)[:, 0], 1e-12))
    return ratio > _WORST_RATIO * (1 + 1e-9)
