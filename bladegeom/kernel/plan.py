"""The reading plan: which spots were read, and what they can and cannot tell apart."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.faults import refuse
from bladegeom.kernel.design import Design, check_kinds, design_of, worst_ratio
from bladegeom.kernel.harmonics import harmonic_columns, least_squares
from bladegeom.kernel.remarks import Remark, said_of
from bladegeom.kernel.stack import BEND_LEVEL, FEWEST_FOR_BENDS, LEAKY_RATIO
from bladegeom.readings import Readings

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FEWEST_TEETH = 4
REFUSED_RATIO = 10.0
WARNED_RATIO = 3.0
_FEW_SPOTS = 8


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
    design = design_of(readings, drift=False)
    check_kinds(readings, design)
    ratio = _ratio(design)
    if ratio > REFUSED_RATIO:
        turns = len(np.unique(readings.turn[kept]))
        raise refuse(
            "the teeth read lie on too short an arc: the wobble would be "
            + (f"{ratio:.0f} times as uncertain" if ratio < 1e6 else "wholly uncertain")
            + " as from teeth all round",
            "read teeth all round the blade" + (" in one of the turns" if turns > 1 else ""),
            value=f"{arc_deg(readings.angle_deg[kept]):.0f} deg",
            blade=readings.blade.name,
        )


def plan_remarks(readings: Readings) -> list[str]:
    """Return what the reader should know of the plan."""
    remarks = remarks_on_plan(
        np.array([plan_ratio(readings)]),
        np.array([len(np.unique(readings.tooth[~readings.closing]))]),
        np.array([bare_teeth(readings)]),
        lambda _: arc_deg(readings.angle_deg[~readings.closing]),
    )
    return [*said_of(remarks, 0), *readings.notes]


def remarks_on_plan(
    ratio: Floats, spots: NDArray[Any], bare: Bools, arc: Callable[[int], float]
) -> list[Remark]:
    """Return what is to be said of reading plans.

    Parameters
    ----------
    ratio : ndarray, shape (n,)
        See `plan_ratio`.
    spots : ndarray, shape (n,)
        How many different teeth were read.
    bare : ndarray of bool, shape (n,)
        See `bare_teeth`.
    arc : callable
        Gives the arc in degrees that a plan covers.
    """
    return [
        Remark(
            ratio > WARNED_RATIO,
            lambda at: (
                f"the teeth read cover an arc of {arc(at):.0f} deg only: the wobble is "
                f"{ratio[at]:.1f} times as uncertain in its worst direction as from teeth all round"
            ),
        ),
        Remark(
            spots < _FEW_SPOTS,
            lambda at: (
                f"only {spots[at]:.0f} teeth are read: a plate bent in {spots[at] - 1:.0f} waves "
                "would pass for wobble"
            ),
        ),
        Remark(
            bare,
            "read on the teeth: how each tooth is ground adds to the scatter; state tooth_pattern "
            "(such as L R) to take that out, or read the plate",
        ),
    ]


def bare_teeth(readings: Readings) -> bool:
    """Return whether teeth were touched whose kinds are not stated."""
    return readings.surface == "teeth" and readings.blade.tooth_pattern is None


def plan_ratio(readings: Readings) -> float:
    """Return how many times as uncertain the wobble is in its worst direction as it could be.

    Beside teeth all round, without a drift; see `bladegeom.kernel.design.worst_ratio`.
    """
    return _ratio(design_of(readings, drift=False))


def arc_deg(angle_deg: Floats) -> float:
    """Return the arc that holds all of some spots, in degrees."""
    spots = np.unique(np.mod(angle_deg, 360.0))
    gaps = np.diff(spots, append=spots[0] + 360.0)
    return 360.0 - float(gaps.max())


def bend_leaks(readings: Readings) -> bool:
    """Return whether a bend leaks into the wobble, whatever else is in the fit.

    As `bladegeom.kernel.stack.bends_leak` does for plain plans.
    """
    design = design_of(readings, drift=False)
    read = readings.reading[design.in_fit]
    plain, bent = design.columns([1]), design.columns([1, 2, 3])
    spots = len(np.unique(readings.tooth[design.in_fit]))
    if _ratio(design) < LEAKY_RATIO or spots < FEWEST_FOR_BENDS or len(read) - bent.shape[1] < 3:
        return False
    less, more = (least_squares(columns, read - read.mean()) for columns in (plain, bent))
    scatter = float(more.rss) / more.dof
    if scatter <= 0:
        return False
    f = (float(less.rss) - float(more.rss)) / (less.dof - more.dof) / scatter
    return float(special.fdtrc(less.dof - more.dof, more.dof, max(f, 0.0))) < BEND_LEVEL


def _ratio(design: Design) -> float:
    return worst_ratio(harmonic_columns(design.angle)[:, 1:], design.aside)
