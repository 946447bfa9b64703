"""Whether the stand moved while a blade was read: the one law of the closing reading.

A closing reading less the first of the same tooth scatters by sqrt(2) times one reading even on a
steady stand, and by one step of the dial for no reason at all. The scatter is taken about a curve
that may itself drift, so that a drift does not hide in the scatter that it makes.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from bladegeom.kernel.design import design_of, drift_time
from bladegeom.kernel.doubt import student_t
from bladegeom.readings import Readings, least_step
from bladegeom.tables.counted import counted

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
    sd : float
        Scatter of one reading.
    dof : int
        Its degrees of freedom; 0 where nothing tells it.
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


def closing_of(readings: Readings) -> Closing | None:
    """Return what the closing readings come to; None without any.

    Where teeth were read in several turns the scatter is that of each tooth about its own mean,
    else that about the wobble; turns' offsets and a steady drift are left out of it.
    """
    differences = readings.closures
    if not differences.size:
        return None
    design = design_of(readings, drift=False)
    read = readings.reading[design.in_fit]
    columns = np.column_stack(
        [read - read.mean(), design.columns([1]), drift_time(readings)[design.in_fit]]
    )
    teeth, which, counts = np.unique(
        readings.tooth[design.in_fit], return_inverse=True, return_counts=True
    )
    own = 0
    if len(read) >= 2 * len(teeth):
        own = len(teeth)
        sums = np.zeros((own, columns.shape[1]))
        np.add.at(sums, which, columns)
        columns -= (sums / counts[:, np.newaxis])[which]
    solution, _, rank, _ = np.linalg.lstsq(columns[:, 1:], columns[:, 0], rcond=1e-9)
    left = columns[:, 0] - columns[:, 1:] @ solution
    dof = len(read) - own - int(rank)
    step = readings.graduation or least_step(read)
    sd = math.sqrt(float(left @ left) / dof) if dof > 0 else 0.0
    return Closing(
        float(differences.mean()), len(differences), max(sd, step / math.sqrt(12)), dof, step
    )


def without_drift(readings: Readings, difference: float) -> Readings:
    """Return the readings less a steady drift of that much in every turn."""
    whole = counted(readings)
    steady = whole._replace(reading=whole.reading - difference * drift_time(readings))
    taken = steady.as_readings()
    assert taken is not None  # Nothing but the heights is new.
    return taken
