"""Whether the stand moved while a blade was read: the one law of the closing reading.

A closing reading less the first of the same tooth scatters by sqrt(2) times one reading even on a
steady stand, and by one step of the dial for no reason at all. The scatter is taken about a curve
that may itself drift, so that a drift does not hide in the scatter that it makes.

Where the dial was left alone through several turns, every tooth that comes again closes: all of
them tell the drift, as sharply as so many closing readings.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.columns import LEFT_ALONE
from bladegeom.kernel.design import design_of, drift_time
from bladegeom.kernel.doubt import student_t
from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.kernel.stack import Stack, fit_stack, plain, stack_of
from bladegeom.readings import Readings, least_step
from bladegeom.result import grain, number
from bladegeom.tables.counted import counted

Floats = NDArray[np.float64]

REMARKED = 0.01
"""Chance at which a steady stand is remarked on."""

MATTERS = 0.05
"""Chance at which a steady stand is taken to have moved, where that would change an outcome."""

_HAIR = 1 + 1e-9


class Closing(NamedTuple):
    """What the closing readings of a blade come to; lengths in the unit of the readings.

    Attributes
    ----------
    difference : float
        Mean over the turns that were closed: the closing reading less the first of its tooth. Of
        every tooth: the drift in a turn.
    turns : float
        How many turns were closed, or how many closing readings tell the difference as sharply.
    sd, dof : float, int
        Scatter of one reading, and its degrees of freedom; 0 where nothing tells it.
    step : float
        The graduation, or the least difference between readings where it is not stated.
    every_tooth : bool
        Whether every tooth that comes again tells it, the dial having been left alone.
    """

    difference: float
    turns: float
    sd: float
    dof: int
    step: float
    every_tooth: bool = False

    def words(self, unit: str) -> str:
        """Return in words what differs, and by how much."""
        if not self.every_tooth:
            return f"the closing reading differs from the first by {grain(self.difference)} {unit}"
        by = number(self.difference, self.allowed())
        return f"with the dial left alone, each turn differs from the one before by {by} {unit}"

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


@lru_cache(maxsize=16)
def closing_of(readings: Readings) -> Closing | None:
    """Return what the closing readings come to; None without any.

    Where teeth were read in several turns the scatter is that of each tooth about its own mean,
    else that about the wobble; turns' offsets and a steady drift are left out of it.
    """
    told, differences = between_turns(readings), readings.closures
    if told is None and not differences.size:
        return None
    difference, turns = told or (float(differences.mean()), len(differences))
    rss, dof = _steady(readings)
    step = readings.graduation or least_step(readings.reading[~readings.closing])
    found = closing(difference, turns, rss, dof, step)
    return found._replace(every_tooth=told is not None)


def between_turns(readings: Readings) -> tuple[float, float] | None:
    """Return the drift in a turn of all teeth that come again, and how many closings it is worth.

    None unless the dial was left alone through several turns. Turns both ways may stand apart,
    since the stylus drags one way and the other.
    """
    turn, way = readings.turn, readings.way
    if readings.dial != LEFT_ALONE or not len(turn) or turn[0] == turn[-1]:
        return None
    # 0 where all turns went the same way, that no dust is fitted.
    waves = harmonic_columns(np.radians(readings.angle_deg)) * (way - way[0])[:, np.newaxis]
    columns = np.column_stack([drift_time(readings), readings.reading, waves])
    columns, _ = _about_teeth(columns, readings.tooth)
    both, ways = columns[:, :2], columns[:, 2:]
    time, read = (both - ways @ np.linalg.lstsq(ways, both, rcond=1e-9)[0]).T
    weight = float(time @ time)
    # A closing reading alone comes to 1/2: two readings, half a turn before and after their middle.
    return (float(time @ read) / weight, 2 * weight) if weight > 1e-9 else None


def drift_shown(readings: Readings) -> float | None:
    """Return the drift in a turn that the teeth show, else the last closing reading."""
    told = between_turns(readings)
    return readings.closure if told is None else told[0]


def closing(difference: float, turns: float, rss: float, dof: int, step: float) -> Closing:
    """Return what closing readings come to, from the sum of squares that a steady stand leaves."""
    sd = math.sqrt(max(rss, 0.0) / dof) if dof > 0 else 0.0
    return Closing(difference, turns, max(sd, step / math.sqrt(12)), dof, step)


def _steady(readings: Readings) -> tuple[float, int]:
    """Return the sum of squares about tooth means or wobble, and its degrees of freedom."""
    design = design_of(readings, drift=False)
    read = readings.reading[design.in_fit]
    tooth = readings.tooth[design.in_fit]
    teeth = len(np.unique(tooth))
    if len(read) < 2 * teeth and plain(readings):
        stack, place = stack_of(readings)
        fits = fit_stack(stack)
        drift = drift_of(readings, stack, place, fits.left)
        return float(fits.rss[0] - drift.taken[0]), int(fits.plan.dof[0]) - int(drift.told[0])
    columns = np.column_stack(
        [read - read.mean(), design.columns([1]), drift_time(readings)[design.in_fit]]
    )
    own = 0
    if len(read) >= 2 * teeth:
        columns, own = _about_teeth(columns, tooth)
    solution, _, rank, _ = np.linalg.lstsq(columns[:, 1:], columns[:, 0], rcond=1e-9)
    left = columns[:, 0] - columns[:, 1:] @ solution
    return float(left @ left), len(read) - own - int(rank)


def _about_teeth(columns: Floats, tooth: NDArray[np.int64]) -> tuple[Floats, int]:
    """Return columns less the mean of each tooth, and how many teeth these are."""
    teeth, which, counts = np.unique(tooth, return_inverse=True, return_counts=True)
    sums = np.zeros((len(teeth), columns.shape[1]))
    np.add.at(sums, which, columns)
    return columns - (sums / counts[:, np.newaxis])[which], len(teeth)


def without_drift(readings: Readings, difference: float) -> Readings:
    """Return the readings less a steady drift of that much in every turn."""
    whole = counted(readings)
    steady = whole._replace(reading=whole.reading - difference * drift_time(readings))
    taken = steady.as_readings()
    assert taken is not None  # Nothing but the heights is new.
    return taken
