"""Which unread teeth may hide a fault, so that a blade cannot pass before they are read."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from bladegeom.fit.wobble import WobbleFit
from bladegeom.readings import Readings

_MOST = 2
_WIDEST_DEG = 45.0

UNREAD_RULE = (
    "What was not read cannot pass: at most two neighbouring teeth may be left out, and at most an "
    "eighth of a turn between two that are read. For a limit on the raw TIR, a tooth left out may "
    "also stand off the curve twice as far as its neighbours."
)
"""The rule as it is printed. A bend of the plate runs over three teeth or more, so that a run of
two unread ones shows it on one side at least; eight teeth are the fewest that show a shape."""


def teeth_read(readings: Readings) -> int:
    """Return how many different teeth were read, closing readings aside."""
    return len(np.unique(readings.tooth[~readings.closing]))


def hiding(fit: WobbleFit, spare: float = math.inf) -> tuple[int, ...]:
    """Return the unread teeth at which a fault may hide, in order round the blade.

    Parameters
    ----------
    fit : WobbleFit
    spare : float
        By how much a tooth may stand out farther than those that were read.

    Returns
    -------
    tuple of int
    """
    readings, blade = fit.readings, fit.readings.blade
    stands = np.zeros(blade.teeth)
    tooth, which = np.unique(readings.tooth[fit.in_fit], return_inverse=True)
    stands[tooth - 1] = np.abs(np.bincount(which, weights=fit.residuals) / np.bincount(which))
    found: list[int] = []
    for run in _runs(readings):
        before, after = (run[0] - 2) % blade.teeth, run[-1] % blade.teeth
        gap = (blade.angles_deg[after] - blade.angles_deg[before]) % 360.0
        long = len(run) > _MOST or gap > _WIDEST_DEG * (1 + 1e-9)
        if long or max(stands[before], stands[after]) > spare:
            found += run
    return tuple(found)


def unread_words(readings: Readings, teeth: Sequence[int]) -> str:
    """Return in words that teeth were not read, and the cure."""
    blade = readings.blade
    count, read = blade.teeth, teeth_read(readings)
    said = (
        f"{'Tooth' if len(teeth) == 1 else 'Teeth'} {in_ranges(teeth)} "
        f"{'was' if len(teeth) == 1 else 'were'} not read ({read} of {count} were), and a fault "
        "there would not show: read them"
    )
    pitch = float(np.diff(blade.angles_deg, append=360.0).max())
    apart = min(_MOST + 1, int(_WIDEST_DEG / pitch * (1 + 1e-9)))
    if apart > 1 and len(teeth) > apart:
        said += f", at least every {'third' if apart > 2 else 'second'} one"
    if set(teeth) == set(range(read + 1, count + 1)):
        said += f"; or, if the blade has only {read} teeth, correct their number"
    return f"{said}."


def in_ranges(teeth: Sequence[int]) -> str:
    """Return teeth as text: ``3, 41 to 60``."""
    runs: list[list[int]] = []
    for tooth in teeth:
        if runs and tooth == runs[-1][-1] + 1:
            runs[-1].append(tooth)
        else:
            runs.append([tooth])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)


def _runs(readings: Readings) -> list[list[int]]:
    """Return the runs of neighbouring teeth that were not read, each in the order of numbering."""
    teeth = readings.blade.teeth
    read = np.unique(readings.tooth[~readings.closing])
    ends = np.append(read[1:], read[0] + teeth)
    return [
        [(tooth - 1) % teeth + 1 for tooth in range(first + 1, end)]
        for first, end in zip(read.tolist(), ends.tolist(), strict=True)
        if end - first > 1
    ]
