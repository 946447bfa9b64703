"""Which of many blades are worth a look: bounds on what `check_readings` could find.

A lost minus, a slipped point or gum on one tooth fits no better than leaving that tooth out. A
bumped base, another unit or a tooth too many from some reading on leaves what a wobble of its own
from there on would take up, and so does a bend. Two neighbours whose readings are exchanged leave
less when they are exchanged back. A dial that passed zero jumps. Where none of this shows, the
check would find nothing; where it does, the check decides.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.fit.standing import CHANCE
from bladegeom.kernel.stack import Fits, Stack
from bladegeom.mistakes.trial import FALSE_ALARMS, FEWEST, SHARES

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_HAIR, _HAIR_CLOSING = 1.05, 2.0
"""By how much more probable by chance a finding may look here than in the check."""


def worth_a_look(stack: Stack, fits: Fits, jump: float, closing: bool) -> Bools:
    """Return for which blades the check for mistakes might find something, shape (n,).

    Parameters
    ----------
    stack : Stack
        Of one turn, read in the order of the teeth.
    fits : Fits
    jump : float
        The least change from one reading to the next by which a dial passes zero.
    closing : bool
        Whether closing readings belong to some: the check counts them in, a row here has none.
    """
    teeth, n = stack.reading.shape[1:]
    waves = np.column_stack([np.ones(teeth), stack.spots.waves])
    left, there = fits.left[0].T, np.ones((1, teeth), dtype=np.bool_)
    if stack.there is not None:
        there = stack.there[0].T > 0
    plan = there.astype(np.float64)
    rss, count = np.maximum(fits.rss, 1e-300), np.broadcast_to(fits.plan.readings, n)
    products = waves[:, :, np.newaxis] * waves[:, np.newaxis, :]
    onward = _from_each_on(plan[..., np.newaxis, np.newaxis] * products)
    enough = there.sum(axis=1) > FEWEST
    onward[~enough] = np.eye(3)  # The sums of two readings cannot be solved, nor are they asked.
    whole = np.linalg.inv(onward[:, 0])
    change, before = _changes(stack.reading[0].T, there)
    found = np.abs(change).max(axis=1) > jump
    level = FALSE_ALARMS * (_HAIR_CLOSING if closing else _HAIR)
    leverage = np.einsum("njk,ijk->ni", whole, products)
    alone = np.max(plan * left**2 / np.maximum(1 - leverage, 1e-9), axis=1)
    found |= _chance(alone, rss, count) * count < level * SHARES["single"]
    step = waves - waves[before]
    apart = left - left[np.arange(n)[:, np.newaxis], before]
    norm = 2 - np.einsum("nij,njk,nik->ni", step, whole, step)
    taken_up = change * (2 * apart - change * norm)
    found |= _chance(taken_up.max(axis=1), rss, count) * count < level * SHARES["swapped"]
    beyond = onward - onward @ whole[:, np.newaxis] @ onward
    moved = [_from_each_on(left * wave) for wave in waves.T]
    bumped = moved[0][:, 2:-1] ** 2 / np.maximum(beyond[:, 2:-1, 0, 0], 1e-9)
    found |= _chance(bumped.max(axis=1), rss, count) * count < level * SHARES["step"]
    solved = np.linalg.inv(beyond + 1e-9 * np.eye(3))
    taken = np.zeros_like(left)
    for i in range(3):
        for j in range(i, 3):
            taken += (1 + (i < j)) * solved[..., i, j] * moved[i] * moved[j]
    most = np.max(taken, axis=1) / rss
    # A tooth too many is held to the factor without the three unknowns, a unit to twice as much.
    factor = 1 / (FALSE_ALARMS * min(SHARES.values()))
    wanted: Floats = np.minimum(factor ** (count / np.maximum(count - 3, 1)), 2 * factor)
    # Where the mean of the Bayes factors is large enough, so is the largest of them.
    some = np.flatnonzero(most > 1 - wanted ** (-2 / count))
    left_over = np.maximum(1 - taken[some] / rss[some, np.newaxis], 1e-12)
    factors = np.exp(np.minimum(-count[some, np.newaxis] / 2 * np.log(left_over), 700.0))
    found[some] |= factors.mean(axis=1) > wanted[some]
    looked: Bools = found & enough
    return looked


def may_stand_off(stack: Stack, fits: Fits) -> Bools:
    """Return for which blades of several turns a tooth may stand off alike in all, shape (n,)."""
    total, level = fits.left.sum(axis=0), CHANCE * (1 + 1e-6)
    gain: Floats = total**2
    if stack.there is None:
        turns = len(stack.reading)
        q, _ = np.linalg.qr(np.column_stack([np.ones(len(gain)), stack.spots.waves]))
        height = total / np.maximum(turns * (1 - np.sum(q**2, axis=1)), 1e-9)[:, np.newaxis]
        # In each turn it is to stand off by half of it at least.
        each = (fits.left - total / turns + height) * np.sign(height)
        alike = each.min(axis=0) >= np.abs(height) / 2 * (1 - 1e-6)
        gain = np.where(alike, total * height, 0.0)
    else:
        # What a tooth of its own height takes up, at least: less where the fit leans on it.
        count, level = stack.there.sum(axis=0), 10 * CHANCE
        gain *= (1 + 4 * np.max(count) / fits.plan.readings) / np.maximum(count, 1.0)
    p = _chance(gain.max(axis=0), fits.rss, np.asarray(fits.plan.dof + 3))
    found: Bools = p * len(gain) < level
    return found


def _from_each_on(values: Floats) -> Floats:
    """Return the sums from each reading on to the last."""
    sums: Floats = np.cumsum(values[:, ::-1], axis=1)[:, ::-1]
    return sums


def _chance(gain: Floats, rss: Floats, count: Floats) -> Floats:
    """Return how probable it is by chance that one more unknown takes up so much (Student)."""
    dof = np.maximum(count - 4, 1.0)
    t = np.sqrt(gain / np.maximum(rss - gain, 1e-300) * dof)
    p: Floats = 2 * special.stdtr(dof, -t)
    return p


def _changes(reading: Floats, there: Bools) -> tuple[Floats, NDArray[np.intp]]:
    """Return the change to each reading from the one taken before it, and the place of that."""
    place = np.maximum.accumulate(np.where(there, np.arange(reading.shape[1]), 0), axis=1)
    before = np.concatenate([place[:, :1], place[:, :-1]], axis=1)
    rows = np.arange(len(reading))[:, np.newaxis]
    change: Floats = np.nan_to_num(reading - reading[rows, before])
    return change, before
