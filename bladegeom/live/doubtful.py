"""Whether a reading fits the others, told the moment it is taken; nothing is changed.

Each reading is foretold by all the others, and questioned where it lies farther off than chance
and the usual bends of a plate explain. A plate is taken as an offset, a wobble of any size, and
bends of two and more waves a turn, normal about 0 and smaller the more waves there are. How large
they are over the scatter is not known: several sizes are tried, and what each foretells counts as
much as the other readings speak for it.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any, NamedTuple

import numpy as np
from scipy import special

from bladegeom.fit.closing import closing_of
from bladegeom.kernel.design import design_of
from bladegeom.kernel.harmonics import Floats, harmonic_columns
from bladegeom.readings import Readings, least_step
from bladegeom.result import number

FIRST = 8
"""Readings from which on one is questioned."""

ASKED = 0.005
"""A reading is questioned where its chance, times the number of teeth, is less.

So few, because a reading is looked at again with every one that follows, and because a dial may
scatter by more than is taken for usual: the benchmark counts the false questions.
"""

ORDERS = (2, 3, 4, 5, 6)
_SIZES = np.array([0.0, 0.5, 1.5, 5.0, 15.0])
"""Standard deviations of a bend of two waves, in those of the scatter, that are tried."""

_FALL = 2
"""Bends fall off as this power of the waves a turn."""

_FREE = 1e4
"""Standard deviation of offset and wobble, in those of the scatter: any size is as good."""

_USUAL, _USUAL_DOF = 0.7, 3
"""What a dial scatters by, in graduations, and how many readings' worth that knowledge is."""

_NEAR, _LEAST_STEPS = 2.0, 1.5
"""Within so many standard deviations, or graduations, a reading fits: rounding alone moves it, and
the curve that foretells it, by as much."""


class Question(NamedTuple):
    """A reading that does not fit the others.

    Attributes
    ----------
    tooth : int
    off : float
        How far it lies above what the others foretell, in the unit of the readings.
    words : str
    closing : bool
        Whether it is a closing reading, which differs from the first of its tooth by `off`.
    """

    tooth: int
    off: float
    words: str
    closing: bool = False


def questioned(readings: Readings, kept: Collection[int] = ()) -> Question | None:
    """Return the reading that does not fit, once eight are taken; None where all do.

    That is the one that is foretold worst: most often the last, but an earlier one may only show
    now. A closing reading that is the last is judged by the law of the closing reading.

    Parameters
    ----------
    readings : Readings
        In the order in which they were taken.
    kept : collection of int, optional
        Teeth whose reading stands, as it was asked about before: they are neither questioned again
        nor used to foretell others.
    """
    if readings.closing[-1:].any():
        return None if readings.tooth[-1] in kept else _closed(readings)
    design = design_of(readings, drift=False)
    tooth, read = readings.tooth[design.in_fit], readings.reading[design.in_fit]
    judged = ~np.isin(tooth, list(kept))
    if np.count_nonzero(judged) < FIRST:
        return None
    waves = harmonic_columns(design.angle, (1, *ORDERS))[:, 1:]
    free = np.column_stack([design.aside, waves[:, :2]])[judged]
    step = readings.graduation or least_step(read)
    laws = laws_of(free, waves[judged, 2:])
    dof = len(free) - free.shape[1] - 1
    chance, off = foretold(laws, dof, read[judged], step)
    worst = int(np.argmin(chance))
    if not is_doubtful(chance[worst], readings.blade.teeth):
        return None
    which, by = int(tooth[judged][worst]), float(off[worst])
    said = f"tooth {which} stands {number(abs(by), abs(by))} {readings.unit} off the curve"
    return Question(which, by, f"{said}: read it again, or Enter to keep")


def is_doubtful(chance: Any, teeth: int) -> Any:
    """Return whether readings with such chances are questioned."""
    return chance * teeth < ASKED


class Law(NamedTuple):
    """What the places of readings alone decide, for one size of the bends.

    Readings of variance 1 about a curve whose parts are normal, with variances V, have the
    covariance K = 1 + X V X'. Its inverse is 1 - `u` `taken` u', with the diagonal `inverse`, and
    `log_det` is half the logarithm of its determinant without each reading.
    """

    u: Floats
    taken: Floats
    inverse: Floats
    log_det: Floats


def laws_of(free: Floats, bends: Floats) -> list[Law]:
    """Return the laws for each of `_SIZES`, of columns of any size and of columns of bends."""
    order = np.repeat(np.array(ORDERS, dtype=np.float64), 2)
    laws = []
    for size in _SIZES:
        scaled = np.column_stack([_FREE * free, bends * (size * (2 / order) ** _FALL)])
        u, s, _ = np.linalg.svd(scaled, full_matrices=False)
        taken = s**2 / (1 + s**2)
        inverse = np.maximum(1 - u**2 @ taken, 1e-12)
        laws.append(Law(u, taken, inverse, (np.log1p(s**2).sum() + np.log(inverse)) / 2))
    return laws


def foretold(laws: list[Law], dof: int, read: Floats, step: float) -> tuple[Floats, Floats]:
    """Return how probable it is that a reading lies so far off, and how far; shape (n, ...).

    What the others foretell of a reading differs from it by (K^-1 y)_i / (K^-1)_ii, with the
    variance 1 / (K^-1)_ii, and without it y' K^-1 y is less by the square of the one over the
    other: so all readings are foretold at once.
    """
    y = read - read.mean(axis=0)
    usual, chances, weights, offs = _USUAL_DOF * (_USUAL * step) ** 2, [], [], []
    for u, taken, inverse, log_det in laws:
        inverse, log_det, taken = (
            one.reshape(-1, *[1] * (y.ndim - 1)) for one in (inverse, log_det, taken)
        )
        left = y - u @ (taken * (u.T @ y))
        off = left / inverse
        others = np.maximum((y * left).sum(axis=0) - left * off, 0.0) + usual
        away = np.abs(off) * np.sqrt(inverse)
        sd = np.sqrt(np.maximum(others / (dof + _USUAL_DOF), step**2 / 12 + 1e-300))
        # What is as near as that is no question, and its chance would take the longest to tell.
        far = (away > _NEAR * sd) & (away > _LEAST_STEPS * step)
        chance = np.ones_like(away)
        chance[far] = 2 * special.stdtr(dof + _USUAL_DOF, -(away / sd)[far])
        chances.append(chance)
        offs.append(off)
        weights.append(-log_det - (dof + _USUAL_DOF) / 2 * np.log(others + 1e-300))
    weight = np.exp(np.array(weights) - np.max(weights, axis=0))
    weight /= weight.sum(axis=0)
    return (weight * chances).sum(axis=0), (weight * offs).sum(axis=0)


def _closed(readings: Readings) -> Question | None:
    closing = closing_of(readings)
    if closing is None or len(readings.reading) <= FIRST or not closing.moved():
        return None
    most = closing.allowed()
    return Question(
        int(readings.tooth[-1]),
        closing.difference,
        f"{closing.words(readings.unit)}, on a steady stand by at most {number(most, most)} "
        "(99 %): read it again, or Enter to keep",
        closing=True,
    )
