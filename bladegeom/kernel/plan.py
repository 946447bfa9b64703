"""The reading plan: which spots were read, and what they can and cannot tell apart."""

from __future__ import annotations

import numpy as np
from scipy import special

from bladegeom.faults import refuse
from bladegeom.kernel.design import Design, check_kinds, design_of, worst_ratio
from bladegeom.kernel.harmonics import harmonic_columns, least_squares
from bladegeom.readings import Readings

FEWEST_TEETH = 4
REFUSED_RATIO = 10.0
WARNED_RATIO = 3.0
_FEW_SPOTS = 8
_LEAKY_RATIO = 1.2
_BEND_LEVEL = 0.01


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
            value=f"{_arc_deg(readings):.0f} deg",
            blade=readings.blade.name,
        )


def plan_remarks(readings: Readings) -> list[str]:
    """Return what the reader should know of the plan."""
    kept = ~readings.closing
    remarks = []
    ratio = _ratio(design_of(readings, drift=False))
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
    if readings.surface == "teeth" and readings.blade.tooth_pattern is None:
        remarks.append(
            "read on the teeth: how each tooth is ground adds to the scatter; state tooth_pattern "
            "(such as L R) to take that out, or read the plate"
        )
    return [*remarks, *readings.notes]


def bend_leaks(readings: Readings) -> bool:
    """Return whether a bend is shown in a plan with a gap, through which it leaks into the wobble.

    With every tooth read, bends are square to the wobble; with an arc left out they are not.
    """
    design = design_of(readings, drift=False)
    if _ratio(design) < _LEAKY_RATIO:
        return False
    read = readings.reading[design.in_fit]
    plain, bent = design.columns([1]), design.columns([1, 2, 3])
    if len(read) - bent.shape[1] < 3:
        return False
    less, more = (least_squares(columns, read - read.mean()) for columns in (plain, bent))
    scatter = float(more.rss) / more.dof
    if scatter <= 0:
        return False
    f = (float(less.rss) - float(more.rss)) / (less.dof - more.dof) / scatter
    return float(special.fdtrc(less.dof - more.dof, more.dof, max(f, 0.0))) < _BEND_LEVEL


def _ratio(design: Design) -> float:
    return worst_ratio(harmonic_columns(design.angle)[:, 1:], design.aside)


def _arc_deg(readings: Readings) -> float:
    spots = np.unique(np.mod(readings.angle_deg[~readings.closing], 360.0))
    gaps = np.diff(spots, append=spots[0] + 360.0)
    return 360.0 - float(gaps.max())
