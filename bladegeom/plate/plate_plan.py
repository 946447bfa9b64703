"""Which rings belong together, and why a plan of rings cannot tell a part of the shape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from bladegeom.blade import Blade
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.kernel.design import beyond
from bladegeom.kernel.plan import check_plan
from bladegeom.plate.plate_design import PlateDesign, order_of, told_orders
from bladegeom.tables.rings import Ring

MOST_HARMONICS = 12

_SAME_FACTS = ("graduation_mm", "touch_deg", "stylus_deg", "ring_radius_u_mm")


def check_rings_given(rings: Sequence[Ring], harmonics: int) -> tuple[list[Ring], int]:
    """Refuse rings that are not of one plate, or from which none can be fitted.

    Raises
    ------
    RefusedError
        With every fault found.
    """
    given = list(rings)
    if wrong := [one for one in given if not isinstance(one, Ring)]:
        raise refuse(
            f"a {type(wrong[0]).__name__} stands among the rings",
            "give each ring as Ring(readings), with stand, flipped and zero where they matter",
        )
    if not given:
        raise refuse("no ring is given", "give at least one, better three or front and back")
    name = given[0].readings.blade.name
    whole = not isinstance(harmonics, bool) and isinstance(harmonics, (int, np.integer))
    if not whole or not 1 <= harmonics <= MOST_HARMONICS:
        raise refuse(
            f"harmonics is {harmonics}",
            f"give a whole number from 1 to {MOST_HARMONICS}",
            value=harmonics,
            blade=name,
        )
    if all(one.flipped for one in given):
        raise refuse(
            "all rings are flipped",
            "flipped is against the blade's other rings: leave it out where there are none",
            blade=name,
            column="flipped",
        )
    faults = [*_strangers(given), *_twice(given), *_plans(given)]
    if faults:
        raise RefusedError(faults)
    return given, int(harmonics)


def _strangers(rings: list[Ring]) -> list[Fault]:
    """Return what shows that rings are not of one plate."""
    first = rings[0]
    name = first.readings.blade.name or None
    faults = []
    for one in rings[1:]:
        before = next(other for other in rings if other.flipped == one.flipped)
        own, held = one.readings, before.readings
        if own.unit != first.readings.unit:
            faults.append(
                Fault(
                    f"{one.words}: read in {own.unit}, {first.words} in {first.readings.unit}",
                    "give all rings in one unit",
                    name,
                    value=own.unit,
                )
            )
        if _plain(own.blade) != _plain(first.readings.blade) or own.blade != held.blade:
            other = own.blade.name
            named = other != first.readings.blade.name
            faults.append(
                Fault(
                    f"{one.words}: of blade {other or 'without a name'}"
                    if named
                    else f"{one.words}: the blade has other sizes or teeth than at {before.words}",
                    "give the rings of one blade, its facts the same in all",
                    name,
                    column="blade",
                    value=other,
                )
            )
        if own.side != held.side:
            faults.append(
                Fault(
                    f"{one.words}: side is {own.side!r}, at {before.words} {held.side!r}",
                    "give rings of one side; a blade mounted the other way round is flipped",
                    name,
                    column="side",
                    value=own.side,
                )
            )
    return faults


def _plain(blade: Blade) -> tuple[object, ...]:
    """Return what a blade keeps when it is flipped: all but which way its numbers run."""
    return (
        blade.name,
        blade.teeth,
        blade.diameter_mm,
        blade.tooth_deg,
        blade.plate_mm,
        blade.tooth_width_mm,
        blade.gullet_mm,
        blade.tooth_pattern,
    )


def _twice(rings: list[Ring]) -> list[Fault]:
    """Return rings given twice: the same readings, or at one place with other facts."""
    name = rings[0].readings.blade.name or None
    faults = []
    for one, other in combinations(rings, 2):
        own, held = other.readings, one.readings
        if _place(one) != _place(other):
            continue
        if same_readings(one, other):
            faults.append(
                Fault(
                    f"{one.words} is given twice, with the very same readings",
                    "leave one of them out",
                    name,
                )
            )
        differ = [fact for fact in _SAME_FACTS if getattr(own, fact) != getattr(held, fact)]
        if differ:
            faults.append(
                Fault(
                    f"{one.words} is given twice and its {differ[0].removesuffix('_mm')} differs",
                    "let it agree, or name the zeros apart if the dial was set anew",
                    name,
                    column=differ[0].removesuffix("_mm"),
                )
            )
    return faults


def _place(ring: Ring) -> tuple[object, ...]:
    return round(ring.radius_mm, 6), ring.stand, ring.flipped, ring.zero


def same_readings(one: Ring, other: Ring) -> bool:
    """Return whether two rings hold the same numbers, and not all of them alike."""
    own, held = one.readings, other.readings
    return bool(
        np.array_equal(own.tooth, held.tooth)
        and np.array_equal(own.reading, held.reading)
        and np.ptp(own.reading) > 0
    )


def _plans(rings: list[Ring]) -> list[Fault]:
    faults: list[Fault] = []
    for one in rings:
        if one.readings.surface != "plate":
            faults.append(
                Fault(
                    f"{one.words}: read on the teeth, which stand proud of the plate",
                    "read the plate; the teeth tell nothing of its dish",
                    one.readings.blade.name or None,
                    column="surface",
                    value=one.readings.surface,
                )
            )
            continue
        try:
            check_plan(one.readings)
            if not told_orders(one, 1):
                raise refuse(
                    "the tilt cannot be told from the play of the indicator",
                    "read every tooth both ways, or all of them one way",
                    blade=one.readings.blade.name,
                    column="turned",
                )
        except RefusedError as error:
            faults += [
                replace(fault, problem=f"{one.words}: {fault.problem}") for fault in error.faults
            ]
    return faults


def not_told(design: PlateDesign, harmonics: int) -> dict[str, str]:
    """Return what the plan cannot tell -> why, in plain words, and what to read.

    Raises
    ------
    RefusedError
        If it has no reading to spare.
    """
    unknowns = design.aside.shape[1] + sum(len(design.groups[one]) for one in design.kept)
    if len(design.reading) <= unknowns:
        raise refuse(
            f"{len(design.reading)} readings for {unknowns} unknowns",
            "read more teeth" + (", or fit with harmonics=1" if harmonics > 1 else ""),
            value=len(design.reading),
            blade=design.rings[0].readings.blade.name,
        )
    found: dict[str, str] = {}
    if "dish" not in design.told:
        found["dish"] = _why_no_dish(design)
    if "traverse" not in design.told:
        found["traverse"] = _why_no_traverse(design)
    if harmonics < 2:
        found["saddle"] = "it was not asked for (harmonics=1)"
    for group in design.groups:
        if order_of(group) > 1 and group not in design.told:
            found[group] = _why_no_wave(order_of(group), design.few.get(group))
    once = "all rings of a mounting lie at one distance from the arbor; read a second, well away"
    if all(_distances(design, flipped) < 2 for flipped in (False, True)):
        found["tilt_growth"] = once
    if _distances(design) < 2:
        found["saddle_growth"] = once
    return found


def _distances(design: PlateDesign, flipped: bool | None = None) -> int:
    """Return at how many distances from the arbor was read, in all or in one mounting."""
    rings = [one for one in design.rings if flipped in (None, one.flipped)]
    return len({round(one.radius_mm, 9) for one in rings})


def _why_no_dish(design: PlateDesign) -> str:
    if _distances(design) < 2:
        return (
            "all readings are at one distance from the arbor, where a dish passes for the dial's "
            "zero; read a second ring without touching dial or stand's base"
        )
    kept = {(one.flipped, one.zero, round(one.radius_mm, 9)) for one in design.rings}
    if len(kept) == len(design.zeros):
        return (
            "the dial was set anew between the rings, and a dish passes for its zero; read the "
            "rings without setting the dial in between"
        )
    others = [design.aside, *(design.columns(one) for one in design.kept if one != "traverse")]
    own = design.columns("dish")
    left = beyond(own / np.linalg.norm(own), np.concatenate(others, axis=1))
    if float(np.linalg.norm(left)) < 1e-2:
        return "the rings lie too close together; read one nearer the flange and one near the rim"
    return (
        "a dish and a traverse that is not square to the arbor look the same in these rings; read "
        "the same rings at the back of the arbor too, or a third ring well away from both, or the "
        "blade flipped"
    )


def _why_no_traverse(design: PlateDesign) -> str:
    places = {(one.flipped, one.zero, one.stand, round(one.radius_mm, 9)) for one in design.rings}
    if len(places) == len(design.zeros):
        return "it takes two rings with one zero of the dial, or one ring at front and back"
    return "in these rings it cannot be told from a dish"


def _why_no_wave(order: int, most: int | None) -> str:
    if most is not None and most < 2 * order + 1:
        return (
            f"{order} waves a turn take at least {2 * order + 1} teeth on a ring, {most} are read; "
            "read more teeth"
        )
    return f"the teeth read do not tell {order} waves a turn; read teeth all round the blade"
