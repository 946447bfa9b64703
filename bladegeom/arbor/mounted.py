"""Fits of blades on one arbor, brought together: same side, ring, surface and unit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.fit.vector import WobbleVector
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import MM_PER
from bladegeom.readings import Readings

Floats = NDArray[np.float64]
Measured = tuple[Sequence[WobbleFit], Sequence[float | None] | None]

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


class Member(NamedTuple):
    """The mountings of one blade whose clock positions are known.

    Attributes
    ----------
    name : str
    fits : list of WobbleFit, shape (n,)
    clock_deg : ndarray, shape (n,)
    mounts : tuple of str, shape (n,)
    left_out : int
        How many mountings without a clock position there were besides.
    """

    name: str
    fits: list[WobbleFit]
    clock_deg: Floats
    mounts: tuple[str, ...]
    left_out: int = 0

    @property
    def ring_mm(self) -> float | None:
        """Ring radius in millimetres."""
        return self.fits[0].readings.ring_radius_mm

    def mounted(self, unit: str) -> Mounted:
        """Return the fits in one unit.

        Raises
        ------
        RefusedError
            If the blades, rings, surfaces or sides differ, or a doubt is not known.
        """
        first = self.fits[0].readings
        for fit, name in zip(self.fits, self.mounts, strict=True):
            here, there = f"mounting {self.mounts[0]}", f"mounting {name}"
            _check_same_blade(first.blade, fit.readings.blade, here, there)
            _check_same_way(first, fit.readings, here, there)
            _check_same_ring(first, fit.readings, here, there)
            _check_doubt(fit, there)
        factor = np.array([MM_PER[fit.unit] / MM_PER[unit] for fit in self.fits])
        covariance = np.array([fit.rounded_covariance for fit in self.fits])
        return Mounted(
            measured=factor * np.array([complex(fit.cosine, fit.sine) for fit in self.fits]),
            covariance=factor[:, None, None] ** 2 * covariance,
            dof=np.array([float(fit.dof) for fit in self.fits]),
        )


def member_of(
    fits: Sequence[WobbleFit], clock_deg: Sequence[float], mounts: Sequence[str] | None
) -> Member:
    """Return the mountings of a blade that is measured by itself.

    Raises
    ------
    RefusedError
        If there is no mounting, or not one name and one clock position a mounting.
    """
    names = _names_of(fits, mounts)
    blade = fits[0].readings.blade.name
    return Member(blade, list(fits), _checked_clock(clock_deg, names, blade), names)


def members_of(blades: Mapping[str, Measured] | Sequence[Measured]) -> dict[str, Member | None]:
    """Return the blades of a fleet, None for one without any clock position.

    In a sequence they go by the names in their readings, or by their place from 1.

    Raises
    ------
    RefusedError
        If no blade was read at two clock positions, or they were not read one way.
    """
    named: dict[str, Measured] = {}
    if isinstance(blades, Mapping):
        named = dict(blades)
    else:
        for place, (fits, clock_deg) in enumerate(blades, start=1):
            name = (fits[0].readings.blade.name if len(fits) else "") or str(place)
            if name in named:
                problem = f"two blades go by the name {name}"
                cure = "put the mountings of one blade together, or give every blade its own name"
                raise refuse(problem, cure, value=name, blade=name)
            named[name] = (fits, clock_deg)
    if not named:
        raise refuse("no blade is given", "give fits and clock_deg of each blade", column="blades")
    found = {name: _known(name, *given) for name, given in named.items()}
    members = [one for one in found.values() if one is not None]
    if not members:
        raise refuse(
            "no clock position is given for any blade: the arbor's phase was not kept, so its "
            "part of the wobble cannot be told from the blades'",
            "mark the arbor, and note at each mounting where tooth 1 stands from the mark",
            column="clock_deg",
        )
    first = members[0]
    for one in members[1:]:
        here, there = f"blade {first.name}", f"blade {one.name}"
        _check_same_way(first.fits[0].readings, one.fits[0].readings, here, there)
        if (first.ring_mm is None) != (one.ring_mm is None):
            problem = f"of {here} and {there} only one states its ring radius"
            cure = "state ring_radius for all blades"
            raise refuse(problem, cure, blade=one.name, column="ring_radius")
    if all(arc_deg(one.clock_deg) < LEAST_ARC_DEG for one in members):
        raise refuse(
            "no blade was read at two clock positions, so arbor and blade cannot be told apart",
            "loosen the nut of one blade, turn it half a turn on the arbor (clock_deg 180 more), "
            "tighten and read it again",
            column="clock_deg",
        )
    return found


def _known(
    name: str, fits: Sequence[WobbleFit], clock_deg: Sequence[float | None] | None
) -> Member | None:
    """Return the mountings of a blade whose clock positions were kept; None where none was."""
    mounts = _names_of(fits, None)
    given: list[float | None] = [None] * len(fits) if clock_deg is None else list(clock_deg)
    _check_one_each(given, mounts, name)
    kept = [place for place, clock in enumerate(given) if clock is not None]
    if not kept:
        return None
    chosen = tuple(mounts[place] for place in kept)
    clock = _checked_clock([one for one in given if one is not None], chosen, name)
    return Member(name, [fits[place] for place in kept], clock, chosen, len(fits) - len(kept))


def flange_at_ring(flange: WobbleFit, blade: Readings, unit: str) -> WobbleVector:
    """Return the wobble of a flange's face that was read directly, carried out to a blade's ring.

    Blade and flange share the tilt, so the wobble grows as the ring radius. The doubt of both
    radii, where stated, is in it.

    Parameters
    ----------
    flange : WobbleFit
        Of the flange's face, read from the same side as the blade and counted the same way, as
        of a "blade" whose tooth 1 stands at the arbor's mark.
    blade : Readings
    unit : str
        Of the result.

    Raises
    ------
    RefusedError
        If a ring radius or the doubt is not known, or sides or numberings differ.
    """
    read = flange.readings
    inner, outer = read.ring_radius_mm, blade.ring_radius_mm
    if inner is None or outer is None:
        raise refuse(
            "the flange's face and the blade are read at different rings, and not both ring radii "
            "are stated",
            "state ring_radius for the flange and for the blade",
            blade=blade.blade.name,
            column="ring_radius",
        )
    _check_same_way(blade, read, "the blade", "the flange")
    _check_doubt(flange, "the flange")
    factor = MM_PER[flange.unit] / MM_PER[unit] * outer / inner
    value = factor * complex(flange.cosine, flange.sine)
    own, others = (one.ring_radius_u_mm or 0.0 for one in (read, blade))
    radii = (own / inner) ** 2 + (others / outer) ** 2
    along = np.array([value.real, value.imag])
    covariance = factor**2 * flange.rounded_covariance + radii * np.outer(along, along)
    return WobbleVector(value, covariance, float(flange.dof))


def _check_doubt(fit: WobbleFit, name: str) -> None:
    if not np.isfinite(fit.rounded_covariance).all():
        problem = (
            f"{name}: all readings are the same and the graduation is not stated, so the doubt is "
            "not known"
        )
        cure, blade = "state the graduation of the indicator", fit.readings.blade.name
        raise refuse(problem, cure, blade=blade, column="graduation")


def _check_same_way(one: Readings, other: Readings, first: str, second: str) -> None:
    """Refuse what was read on different surfaces, from different sides or numbered differently."""
    round_ = "clock positions are counted with the numbers: number all of them the same way round"
    for what, here, there, cure in (
        ("surface", one.surface, other.surface, "read all of them on the same surface"),
        ("side", one.side, other.side, "read all of them from the same side"),
        ("numbered", one.blade.numbered, other.blade.numbered, round_),
    ):
        if here != there and (what == "surface" or (here and there)):
            problem = f"{what} is {here!r} for {first} and {there!r} for {second}"
            raise refuse(problem, cure, value=there, blade=other.blade.name, column=what)


def _check_same_ring(one: Readings, other: Readings, first: str, second: str) -> None:
    here, there, blade = one.ring_radius_mm, other.ring_radius_mm, other.blade.name
    if here is None and there is None:
        return
    if here is None or there is None:
        problem = f"of {first} and {second} only one states its ring radius"
        raise refuse(
            problem, "state ring_radius for all of them", blade=blade, column="ring_radius"
        )
    if abs(there - here) > SAME_RING * here:
        raise refuse(
            f"{first} was read at a ring of {here:g} mm, {second} at {there:g} mm",
            "read all of them at the same ring (within 1 %)",
            value=f"{there:g} mm",
            blade=blade,
            column="ring_radius",
        )


def _check_same_blade(one: Blade, other: Blade, first: str, second: str) -> None:
    named, toothed = ("name", one.name, other.name), ("number of teeth", one.teeth, other.teeth)
    for what, here, there in (named, toothed):
        if here != there:
            problem = f"{first} and {second} are of different blades: the {what} is {here!r}"
            cure = "give mountings of one blade; for several blades on one arbor: fleet_arbor"
            raise refuse(f"{problem} and {there!r}", cure, value=there, blade=other.name)
    if not np.allclose(one.angles_deg, other.angles_deg, rtol=0, atol=1e-6):
        raise refuse(
            f"the teeth of {second} do not stand where those of {first} do",
            "give mountings of one blade, with the same pitch_pattern",
            blade=other.name,
            column="pitch_pattern",
        )


def _names_of(fits: Sequence[WobbleFit], mounts: Sequence[str] | None) -> tuple[str, ...]:
    """Return the names of the mountings, 1, 2, ... where none are given."""
    if not len(fits):
        raise refuse("no mounting is given", "give one fit a mounting", column="fits")
    names = tuple(str(one) for one in (range(1, len(fits) + 1) if mounts is None else mounts))
    if len(names) != len(fits):
        problem, blade = f"{len(names)} names for {len(fits)} mountings", fits[0].readings.blade
        cure = "give one name a mounting"
        raise refuse(problem, cure, value=len(names), blade=blade.name, column="mount")
    return names


def _check_one_each(clock_deg: Sequence[object], names: Sequence[str], blade: str) -> None:
    if len(clock_deg) != len(names):
        problem = f"{len(clock_deg)} clock positions for {len(names)} mountings"
        cure = "give one clock_deg a mounting"
        raise refuse(problem, cure, value=len(clock_deg), blade=blade, column="clock_deg")


def _checked_clock(clock_deg: Sequence[float], names: Sequence[str], blade: str) -> Floats:
    """Return clock positions as an array, one number a mounting."""
    _check_one_each(clock_deg, names, blade)
    for value, name in zip(clock_deg, names, strict=True):
        number = isinstance(value, (int, float, np.integer, np.floating))
        if isinstance(value, bool) or not number or not abs(value) <= 360:
            cure = (
                "give the degrees from the arbor's mark to tooth 1, in the direction of "
                "numbering, from 0 to 360"
            )
            problem = f"mounting {name}: clock_deg is {value}"
            raise refuse(problem, cure, value=value, blade=blade, column="clock_deg")
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


def check_places(clock_deg: Floats, blade: str) -> None:
    """Refuse clock positions that do not tell arbor from blade.

    Raises
    ------
    RefusedError
    """
    again = (
        "loosen the nut, turn the blade half a turn on the arbor (clock_deg 180 more), tighten and "
        "read it again; a third of a turn twice is better"
    )
    count, arc = len(clock_deg), arc_deg(clock_deg)
    problem, value = "", f"{clock_deg[0]:g}"
    if count == 1:
        problem = "one mounting cannot tell arbor from blade"
    elif places_of(clock_deg).max() == 0:
        at = f"all {count} mountings are at one clock position ({value} deg)"
        problem = f"{at}, which cannot tell arbor from blade"
    elif arc < LEAST_ARC_DEG:
        value = f"{arc:.1f}"
        problem = f"the clock positions lie within {value} deg, too close to tell arbor from blade"
    if problem:
        raise refuse(problem, again, value=value, blade=blade, column="clock_deg")
