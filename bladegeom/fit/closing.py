"""Whether the stand moved while a blade was read: the one law of the closing reading.

A closing reading less the first of the same tooth scatters by sqrt(2) times one reading even on a
steady stand, and by one step of the dial for no reason at all. The scatter is taken about a curve
that may itself drift, so that a drift does not hide in the scatter that it makes.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.kernel.design import design_of, drift_time
from bladegeom.kernel.doubt import student_t
from bladegeom.kernel.stack import Stack, fit_stack, plain, stack_of
from bladegeom.readings import Readings, least_step
from bladegeom.tables.counted import counted

Floats = NDArray[np.float64]

REMARKED = 0.01
"""Chance at which a steady stand is remarked on."""

_HAIR = 1 + 1e-9


class Closing(NamedTuple):
    """What the closing readings of a blade come to; lengths in the unit of the readings.

    Attributes
    ----------
    difference : float
        Mean over the turns that were closed: the closing reading less the first of its tooth.
    turns : int
        How many turns were closed.
    sd, dof : float, int
        Scatter of one reading, and its degrees of freedom; 0 where nothing tells it.
    step : float
        The graduation, or the least difference between readings where it is not stated.
    """

    difference: float
    turns: int
    sd: float
    dof: int
    step: float

    def allowed(self, chance: float = REMARKED) -> float:
        """Return the largest difference that a steady stand shows, but for a chance."""
        if self.dof < 1:
            return math.inf
        scatter = student_t(1 - chance, self.dof) * math.sqrt(2 / self.turns) * self.sd
        if self.turns > 1:
            scatter += self.step / (2 * self.turns)
        return max(scatter, self.step / self.turns * _HAIR)

    def moved(self, chance: float = REMARKED) -> bool:
        """Return whether the stand is shown to have moved."""
        return abs(self.difference) > self.allowed(chance)


class Drift(NamedTuple):
    """What a steady drift of 1 a turn does to blades of a stack; arrays of shape (n,).

    How far it shifts the wobble, what of the sum of squared residuals one of any size would take
    up, and whether it is told from the wobble at all.
    """

    shift: Floats
    taken: Floats
    told: NDArray[np.bool_]


def steady_drift(stack: Stack, time: Floats, left: Floats) -> Drift:
    """Return what a steady drift does to blades of a stack.

    `time` is when each reading was taken, in turns, and `left` what the fit leaves of it, 0 where
    none was, shape (turns, teeth, n).
    """
    ramp = fit_stack(stack._replace(reading=time))
    told = ramp.rss > 1e-9
    along = (left * ramp.left).sum(axis=(0, 1))
    return Drift(np.hypot(ramp.a, ramp.b), told * along**2 / np.where(told, ramp.rss, 1.0), told)


def drift_of(readings: Readings, stack: Stack, place: NDArray[np.intp], left: Floats) -> Drift:
    """Return what a steady drift does to one blade's readings, stacked at some places."""
    time = np.full(stack.reading.size, np.nan)
    time[place] = drift_time(readings)[~readings.closing]
    return steady_drift(stack, time.reshape(stack.reading.shape), left)


def closing_of(readings: Readings) -> Closing | None:
    """Return what the closing readings come to; None without any.

    Where teeth were read in several turns the scatter is that of each tooth about its own mean,
    else that about the wobble; turns' offsets and a steady drift are left out of it.
    """
    differences = readings.closures
    if not differences.size:
        return None
    rss, dof = _steady(readings)
    step = readings.graduation or least_step(readings.reading[~readings.closing])
    return closing(float(differences.mean()), len(differences), rss, dof, step)


def closing(difference: float, turns: int, rss: float, dof: int, step: float) -> Closing:
    """Return what closing readings come to, from the sum of squares that a steady stand leaves."""
    sd = math.sqrt(max(rss, 0.0) / dof) if dof > 0 else 0.0
    return Closing(difference, turns, max(sd, step / math.sqrt(12)), dof, step)


def _steady(readings: Readings) -> tuple[float, int]:
    """Return the sum of squares about tooth means or wobble, and its degrees of freedom."""
    design = design_of(readings, drift=False)
    read = readings.reading[design.in_fit]
    teeth, which, counts = np.unique(
        readings.tooth[design.in_fit], return_inverse=True, return_counts=True
    )
    if len(read) < 2 * len(teeth) and plain(readings):
        stack, place = stack_of(readings)
        fits = fit_stack(stack)
        drift = drift_of(readings, stack, place, fits.left)
        return float(fits.rss[0] - drift.taken[0]), int(fits.plan.dof[0]) - int(drift.told[0])
    columns = np.column_stack(
        [read - read.mean(), design.columns([1]), drift_time(readings)[design.in_fit]]
    )
    own = 0
    if len(read) >= 2 * len(teeth):
        own = len(teeth)
        sums = np.zeros((own, columns.shape[1]))
        np.add.at(sums, which, columns)
        columns -= (sums / counts[:, np.newaxis])[which]
    solution, _, rank, _ = np.linalg.lstsq(columns[:, 1:], columns[:, 0], rcond=1e-9)
    left = columns[:, 0] - columns[:, 1:] @ solution
    return float(left @ left), len(read) - own - int(rank)


def without_drift(readings: Readings, difference: float) -> Readings:
    """Return the readings less a steady drift of that much in every turn."""
    whole = counted(readings)
    steady = whole._replace(reading=whole.reading - difference * drift_time(readings))
    taken = steady.as_readings()
    assert taken is not None  # Nothing but the heights is new.
    return taken
