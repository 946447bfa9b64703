"""Whether a reading fits the others, told the moment it is taken; nothing is changed.

Each reading is foretold by all the others, and questioned where it lies farther off than chance
and the usual bends of a plate explain. A plate is taken as an offset, a wobble of any size, and
bends of two and more waves a turn, of unknown size: normal about 0, each order half ... as large
as the one before. How large they are over the scatter is unknown too; several sizes are tried, and
what each foretells counts as much as the other readings speak for it.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

import numpy as np
from scipy import special

from bladegeom.fit.closing import closing_of
from bladegeom.kernel.design import design_of
from bladegeom.kernel.harmonics import Floats, harmonic_columns
from bladegeom.readings import Readings, least_step
from bladegeom.result import number

FIRST = 8
"""Readings from which on one is questioned."""

ASKED = 0.02
"""A reading is questioned where its chance, times the number of teeth, is less."""

_ORDERS = (2, 3, 4, 5, 6)
_SIZES = np.array([0.0, 0.5, 1.5, 5.0, 15.0])
"""Standard deviations of a bend of two waves, in those of the scatter, that are tried."""

_FREE = 1e4
_USUAL, _USUAL_DOF = 0.7, 3
"""What a dial scatters by, in graduations, and how many readings' worth that knowledge is."""

_LEAST_STEPS = 1.5


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
    if len(readings.closing) and readings.closing[-1]:
        return _closed(readings)
    design = design_of(readings, drift=False)
    tooth, read = readings.tooth[design.in_fit], readings.reading[design.in_fit]
    judged = ~np.isin(tooth, list(kept))
    if np.count_nonzero(judged) < FIRST:
        return None
    waves = harmonic_columns(design.angle, (1, *_ORDERS))[:, 1:]
    free = np.column_stack([design.aside, waves[:, :2]])[judged]
    step = readings.graduation or least_step(read)
    chance, off = _foretold(free, waves[judged, 2:], read[judged], step)
    worst = int(np.argmin(chance))
    if chance[worst] * readings.blade.teeth >= ASKED:
        return None
    which, by = int(tooth[judged][worst]), float(off[worst])
    said = f"tooth {which} stands {number(abs(by), abs(by))} {readings.unit} off the curve"
    return Question(which, by, f"{said}: read it again, or Enter to keep")


def _foretold(free: Floats, bends: Floats, read: Floats, step: float) -> tuple[Floats, Floats]:
    """Return the chance of each reading as far from what the others foretell, and how far it is.

    Readings of variance 1 about a curve whose parts are normal, with variances V, have the
    covariance K = 1 + X V X'. What the others foretell of a reading differs from it by
    (K^-1 y)_i / (K^-1)_ii, with the variance 1 / (K^-1)_ii, and without it y' K^-1 y is less by
    the square of the one over the other: both are known of all readings at once.
    """
    n, flat = len(read), free.shape[1]
    y, dof = read - read.mean(), n - flat - 1 + _USUAL_DOF
    order = np.repeat(np.array(_ORDERS, dtype=np.float64), 2)
    chances, weights, offs = [], [], []
    for size in _SIZES:
        scaled = np.column_stack([_FREE * free, bends * (size * (2 / order) ** 2)])
        u, s, _ = np.linalg.svd(scaled, full_matrices=False)
        taken = s**2 / (1 + s**2)
        inverse = np.maximum(1 - (u**2) @ taken, 1e-12)
        left = y - u @ (taken * (u.T @ y))
        off = left / inverse
        usual = _USUAL_DOF * (_USUAL * step) ** 2
        others = np.maximum(y @ left - left * off, 0.0) + usual
        variance = np.maximum(others / dof, step**2 / 12 + 1e-300)
        t = np.abs(off) * np.sqrt(inverse / variance)
        chance = 2 * special.stdtr(dof, -t)
        near = np.abs(off) * np.sqrt(inverse) < _LEAST_STEPS * step
        chances.append(np.where(near, 1.0, chance))
        offs.append(off)
        weights.append(
            -(np.log1p(s**2).sum() + np.log(inverse)) / 2 - dof / 2 * np.log(others + 1e-300)
        )
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
