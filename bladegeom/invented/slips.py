"""Slips of the person who writes invented readings down."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.invented.asked import count, parts_of, size
from bladegeom.invented.course import Course
from bladegeom.invented.key import AnswerKey, Floats, Planted
from bladegeom.invented.sets import SimulatedSet
from bladegeom.lengths import MM_PER
from bladegeom.readings import Readings

DIAL = {"mm": 0.01, "in": 0.0005, "thou": 0.5, "um": 10.0}
"""Graduation of an ordinary dial in each unit (common practice, no source)."""


def written_down(
    key: AnswerKey,
    dial: Floats,
    run: Course,
    slips: tuple[int | None, tuple[int, float] | None, tuple[int, str] | None],
) -> SimulatedSet:
    """Return a set as the person wrote it down.

    Parameters
    ----------
    key : AnswerKey
        To what the dial showed.
    dial : ndarray, shape (n,)
    run : Course
    slips : tuple
        `lost_minus`, `decimal_slip` and `unit_slip` of `simulate`.

    Raises
    ------
    RefusedError
    """
    written, unit, blade = dial.copy(), key.unit, key.blade
    lost_minus, decimal_slip, unit_slip = slips
    planted = list(key.planted)
    if lost_minus is not None:
        planted.append(_lose_minus(written, _row_of(run, blade, lost_minus), lost_minus))
    if decimal_slip is not None:
        tooth, factor = parts_of("decimal_slip", decimal_slip, "tooth, factor")
        factor = size("decimal_slip", factor)
        planted.append(_slip_point(written, _row_of(run, blade, tooth), tooth, factor))
    if unit_slip is not None:
        after, other = parts_of("unit_slip", unit_slip, "reading, unit")
        planted.append(_change_unit(written, run, after, unit, other, step=bool(key.graduation)))
    key = replace(key, planted=tuple(planted))
    if any(one.kind in ("skipped", "doubled") for one in run.planted):
        return SimulatedSet(written, run, None, key)
    readings = Readings(
        blade,
        written,
        unit=unit,
        graduation=(key.graduation or None, unit),
        tooth=run.label,
        turn=run.turn,
        turned=run.words,
        ring_radius=(key.ring_radius * MM_PER[unit], "mm"),
        touch_deg=key.touch_deg,
    )
    return SimulatedSet(written, run, readings, key)


def _row_of(run: Course, blade: Blade, tooth: int) -> int:
    """Return the place of a tooth's first reading."""
    blade.angle_of(tooth)
    rows = np.flatnonzero(run.tooth == tooth)
    if not rows.size:
        raise refuse(f"tooth {tooth} is skipped: it has no reading", "name another tooth")
    return int(rows[0])


def _lose_minus(dial: Floats, row: int, tooth: int) -> Planted:
    """Write a reading without its minus."""
    if not dial[row] < 0:
        raise refuse(
            f"the reading of tooth {tooth} is {dial[row]:g}: it has no minus to lose",
            "name a tooth with a negative reading, or set dial_zero lower",
            value=tooth,
            column="lost_minus",
        )
    dial[row] = -dial[row]
    return Planted("sign", (tooth,), (row + 1,), None)


def _slip_point(dial: Floats, row: int, tooth: int, factor: float) -> Planted:
    """Write a reading with its decimal point in another place."""
    decade = math.log10(factor) if factor > 0 else math.nan
    if not (abs(decade - round(decade)) < 1e-9 if math.isfinite(decade) else False) or factor == 1:
        raise refuse(
            f"a decimal point cannot slip by a factor of {factor:g}",
            "give 10, 0.1, 100, 0.01 and so on",
            value=factor,
            column="decimal_slip",
        )
    if dial[row] == 0:
        raise refuse(
            f"the reading of tooth {tooth} is 0: no point can slip in it",
            "name another tooth",
            value=tooth,
            column="decimal_slip",
        )
    dial[row] = float(f"{dial[row] * factor:.12g}")
    return Planted("scale", (tooth,), (row + 1,), factor)


def _change_unit(
    dial: Floats, run: Course, after: int, unit: str, other: str, step: bool
) -> Planted:
    """Write all readings after some number of them in another unit, on a dial of that unit."""
    if other not in MM_PER or other == unit:
        raise refuse(
            f"unit_slip leads to {other!r}",
            f"name another unit than {unit}: {', '.join(one for one in MM_PER if one != unit)}",
            value=other,
            column="unit_slip",
        )
    after = count("unit_slip", after, 0, len(dial) - 1)
    factor = MM_PER[unit] / MM_PER[other]
    dial[after:] = on_the_dial(dial[after:] * factor, DIAL[other] if step else 0.0)
    readings = tuple(range(after + 1, len(dial) + 1))
    teeth = tuple(dict.fromkeys(run.tooth[after:].tolist()))
    return Planted("unit", teeth, readings, factor)


def on_the_dial(value: Floats, graduation: float) -> Floats:
    """Return values at the nearest graduation, without the dust of binary arithmetic."""
    if not graduation:
        return value.copy()
    steps = np.round(value / graduation)
    return np.array([float(f"{step * graduation:.12g}") + 0.0 for step in steps])
