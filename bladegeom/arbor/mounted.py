"""Fits of blades on one arbor, brought together: same side, ring, surface and unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import MM_PER
from bladegeom.readings import Readings

Floats = NDArray[np.float64]

SAME_RING = 0.01
"""Rings whose radii differ by no more than this share are one ring."""

SAME_PLACE_DEG = 0.01
"""Clock positions no further apart are the same position."""

LEAST_ARC_DEG = 10.0
"""Clock positions within a smaller arc do not tell arbor from blade."""


class Mounted(NamedTuple):
    """Fits of mountings in one unit.

    Attributes
    ----------
    measured : complex ndarray, shape (n,)
    covariance : ndarray, shape (n, 2, 2)
        With the rounding that does not average out.
    dof : ndarray, shape (n,)
    """

    measured: NDArray[np.complex128]
    covariance: Floats
    dof: Floats


def mounted(fits: Sequence[WobbleFit], names: Sequence[str], unit: str) -> Mounted:
    """Bring fits of one blade into one unit.

    Parameters
    ----------
    fits : sequence of WobbleFit, shape (n,)
    names : sequence of str, shape (n,)
        Of the mountings, for messages.
    unit : str
        Of the result.

    Raises
    ------
    RefusedError
        If the blades, rings, surfaces or sides differ, or a doubt is not known.
    """
    first = fits[0].readings
    for fit, name in zip(fits, names, strict=True):
        here, there = f"mounting {names[0]}", f"mounting {name}"
        _check_same_blade(first.blade, fit.readings.blade, here, there)
        check_same_way(first, fit.readings, here, there)
        _check_same_ring(first, fit.readings, here, there)
        check_doubt(fit, there)
    factor = np.array([MM_PER[fit.unit] / MM_PER[unit] for fit in fits])
    return Mounted(
        measured=factor * np.array([complex(fit.cosine, fit.sine) for fit in fits]),
        covariance=factor[:, None, None] ** 2 * np.array([fit.rounded_covariance for fit in fits]),
        dof=np.array([float(fit.dof) for fit in fits]),
    )


def check_doubt(fit: WobbleFit, name: str) -> None:
    """Refuse a fit whose doubt is not known.

    Raises
    ------
    RefusedError
    """
    if not np.isfinite(fit.rounded_covariance).all():
        raise refuse(
            f"{name}: all readings are the same and the graduation is not stated, so the doubt is "
            "not known",
            "state the graduation of the indicator",
            blade=fit.readings.blade.name,
            column="graduation",
        )


def check_same_way(one: Readings, other: Readings, first: str, second: str) -> None:
    """Refuse what was read on different surfaces, from different sides or numbered differently.

    Parameters
    ----------
    one, other : Readings
    first, second : str
        What they are of, for messages, such as "mounting 2".

    Raises
    ------
    RefusedError
    """
    for what, here, there, cure in (
        ("surface", one.surface, other.surface, "read all of them on the same surface"),
        ("side", one.side, other.side, "read all of them from the same side"),
        (
            "numbered",
            one.blade.numbered,
            other.blade.numbered,
            "clock positions are counted with the numbers: number all of them the same way round",
        ),
    ):
        if here != there and (what == "surface" or (here and there)):
            raise refuse(
                f"{what} is {here!r} for {first} and {there!r} for {second}",
                cure,
                value=there,
                blade=other.blade.name,
                column=what,
            )


def _check_same_ring(one: Readings, other: Readings, first: str, second: str) -> None:
    here, there = one.ring_radius_mm, other.ring_radius_mm
    if here is None and there is None:
        return
    if here is None or there is None:
        raise refuse(
            f"of {first} and {second} only one states its ring radius",
            "state ring_radius for all of them",
            blade=other.blade.name,
            column="ring_radius",
        )
    if abs(there - here) > SAME_RING * here:
        raise refuse(
            f"{first} was read at a ring of {here:g} mm, {second} at {there:g} mm",
            "read all of them at the same ring (within 1 %)",
            value=f"{there:g} mm",
            blade=other.blade.name,
            column="ring_radius",
        )


def _check_same_blade(one: Blade, other: Blade, first: str, second: str) -> None:
    for what, here, there in (
        ("name", one.name, other.name),
        ("number of teeth", one.teeth, other.teeth),
    ):
        if here != there:
            raise refuse(
                f"{first} and {second} are of different blades: the {what} is {here!r} and "
                f"{there!r}",
                "give mountings of one blade; for several blades on one arbor: fleet_arbor",
                value=there,
                blade=other.name,
            )
    if not np.allclose(one.angles_deg, other.angles_deg, rtol=0, atol=1e-6):
        raise refuse(
            f"the teeth of {second} do not stand where those of {first} do",
            "give mountings of one blade, with the same pitch_pattern",
            blade=other.name,
            column="pitch_pattern",
        )


def names_of(fits: Sequence[WobbleFit], mounts: Sequence[str] | None) -> tuple[str, ...]:
    """Return the names of the mountings, 1, 2, ... where none are given.

    Raises
    ------
    RefusedError
        If there is no mounting, or not one name a mounting.
    """
    if not len(fits):
        raise refuse("no mounting is given", "give one fit a mounting", column="fits")
    names = tuple(str(one) for one in (range(1, len(fits) + 1) if mounts is None else mounts))
    if len(names) != len(fits):
        raise refuse(
            f"{len(names)} names for {len(fits)} mountings",
            "give one name a mounting",
            value=len(names),
            blade=fits[0].readings.blade.name,
            column="mount",
        )
    return names


def check_one_each(clock_deg: Sequence[object], names: Sequence[str], blade: str) -> None:
    """Refuse other than one clock position a mounting.

    Raises
    ------
    RefusedError
    """
    if len(clock_deg) != len(names):
        raise refuse(
            f"{len(clock_deg)} clock positions for {len(names)} mountings",
            "give one clock_deg a mounting",
            value=len(clock_deg),
            blade=blade,
            column="clock_deg",
        )


def checked_clock(clock_deg: Sequence[float], names: Sequence[str], blade: str) -> Floats:
    """Return clock positions as an array.

    Raises
    ------
    RefusedError
        If there is not one number a mounting.
    """
    check_one_each(clock_deg, names, blade)
    for value, name in zip(clock_deg, names, strict=True):
        number = isinstance(value, (int, float, np.integer, np.floating))
        if isinstance(value, bool) or not number or not abs(value) <= 360:
            raise refuse(
                f"mounting {name}: clock_deg is {value}",
                "give the degrees from the arbor's mark to tooth 1, in the direction of "
                "numbering, from 0 to 360",
                value=value,
                blade=blade,
                column="clock_deg",
            )
    return np.array(clock_deg, dtype=np.float64)


def places_of(clock_deg: Floats) -> NDArray[np.int64]:
    """Return a number for each clock position, from 0: the same for mountings at the same one."""
    found: list[float] = []
    places = []
    for clock in clock_deg:
        off = [abs(math.remainder(clock - other, 360.0)) for other in found]
        if not off or min(off) > SAME_PLACE_DEG:
            found.append(float(clock))
            off.append(0.0)
        places.append(int(np.argmin(off)))
    return np.array(places, dtype=np.int64)


def arc_deg(clock_deg: Floats) -> float:
    """Return the smallest arc in degrees that holds all clock positions."""
    around = np.sort(np.mod(clock_deg, 360.0))
    gaps = np.diff(np.append(around, around[0] + 360.0))
    return 360.0 - float(gaps.max())


def check_places(clock_deg: Floats, places: NDArray[np.int64], blade: str) -> None:
    """Refuse clock positions that do not tell arbor from blade.

    Raises
    ------
    RefusedError
    """
    again = (
        "loosen the nut, turn the blade half a turn on the arbor (clock_deg 180 more), tighten and "
        "read it again; a third of a turn twice is better"
    )
    if places.max() == 0:
        count = len(places)
        problem = (
            "one mounting cannot tell arbor from blade"
            if count == 1
            else f"all {count} mountings are at one clock position ({clock_deg[0]:g} deg), which "
            "cannot tell arbor from blade"
        )
        raise refuse(problem, again, value=f"{clock_deg[0]:g}", blade=blade, column="clock_deg")
    arc = arc_deg(clock_deg)
    if arc < LEAST_ARC_DEG:
        raise refuse(
            f"the clock positions lie within {arc:.1f} deg, too close to tell arbor from blade",
            again,
            value=f"{arc:.1f}",
            blade=blade,
            column="clock_deg",
        )
