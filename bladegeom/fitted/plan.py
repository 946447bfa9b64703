"""The reading plan: which spots were read, and what they can and cannot tell apart."""

from __future__ import annotations

import math

import numpy as np

from bladegeom.errors import refuse
from bladegeom.fitted.harmonics import harmonic_columns
from bladegeom.measured.readings import Readings

FEWEST_TEETH = 4
REFUSED_RATIO = 10.0
WARNED_RATIO = 3.0
_FEW_SPOTS = 8


def worst_ratio(angle_deg: np.ndarray) -> float:
    """Return the standard deviation of the wobble in its worst direction, over a full turn's.

    Parameters
    ----------
    angle_deg : ndarray, shape (n,)

    Returns
    -------
    float
        1 for readings spread evenly round the blade; infinite where the wobble cannot be told.
    """
    columns = harmonic_columns(np.radians(angle_deg))
    parts = columns[:, 1:] - columns[:, 1:].mean(axis=0)
    least = float(np.linalg.svd(parts, compute_uv=False)[-1])
    even = math.sqrt(len(columns) / 2)
    return even / least if least > 1e-12 * even else math.inf


def check_plan(readings: Readings) -> None:
    """Refuse readings from which no wobble can be fitted.

    Raises
    ------
    RefusedError
    """
    kept = ~readings.closing
    distinct = len(np.unique(readings.tooth[kept]))
    if distinct < FEWEST_TEETH:
        raise refuse(
            f"only {distinct} different {'tooth is' if distinct == 1 else 'teeth are'} read"
            if distinct
            else "no tooth is read",
            f"read at least {FEWEST_TEETH}, better every tooth",
            value=distinct,
            blade=readings.blade.name,
        )
    ratio = worst_ratio(readings.angle_deg[kept])
    if ratio > REFUSED_RATIO:
        raise refuse(
            "the teeth read lie on too short an arc: the wobble would be "
            + (f"{ratio:.0f} times as uncertain" if ratio < 1e6 else "wholly uncertain")
            + " as from teeth all round",
            "read teeth all round the blade",
            value=f"{_arc_deg(readings):.0f} deg",
            blade=readings.blade.name,
        )


def plan_remarks(readings: Readings) -> list[str]:
    """Return what the reader should know of the plan."""
    kept = ~readings.closing
    remarks = []
    ratio = worst_ratio(readings.angle_deg[kept])
    if ratio > WARNED_RATIO:
        remarks.append(
            f"the teeth read cover an arc of {_arc_deg(readings):.0f} deg only: the wobble is "
            f"{ratio:.1f} times as uncertain in its worst direction as from teeth all round"
        )
    spots = len(np.unique(readings.tooth[kept]))
    if spots < _FEW_SPOTS:
        remarks.append(
            f"only {spots} teeth are read: a plate bent in {spots - 1} waves would pass for wobble"
        )
    if readings.surface == "teeth":
        remarks.append(
            "read on the teeth: how each tooth is ground adds to the scatter; the plate tells more"
        )
    return [*remarks, *readings.notes]


def _arc_deg(readings: Readings) -> float:
    spots = np.unique(np.mod(readings.angle_deg[~readings.closing], 360.0))
    gaps = np.diff(spots, append=spots[0] + 360.0)
    return 360.0 - float(gaps.max())
