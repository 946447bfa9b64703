"""Fits of blades on one arbor, brought together: same side, ring, surface and unit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.arbor._mountings import Mounted
from bladegeom.face import check_blade, is_face
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import MM_PER
from bladegeom.readings import Readings, same_ring
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]
Measured = tuple[Sequence[WobbleFit], Sequence[float | None] | None]

SAME_PLACE_DEG = 0.01
"""Clock positions no further apart are the same position."""

LEAST_ARC_DEG = 10.0
"""Clock positions within a smaller arc do not tell arbor from blade."""


class Member(NamedTuple):
    """The mountings of one blade whose clock positions are known; how many are left out."""

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
        """Return the fits in one unit; refuse other blades, rings, surfaces, sides, no doubt."""
        first = self.fits[0].readings
        for fit, name in zip(self.fits, self.mounts, strict=True):
            check_blade(fit.readings, "it is no mounting of one")
            both = first, fit.readings, f"mounting {self.mounts[0]}", f"mounting {name}"
            _check_same_blade(*both)
            _check_same_way(*both)
            _check_same_ring(*both)
            _check_doubt(fit, both[-1])
        factor = np.array([MM_PER[fit.unit] / MM_PER[unit] for fit in self.fits])
        covariance = np.array([fit.rounded_covariance for fit in self.fits])
        return Mounted(
            measured=factor * np.array([complex(fit.cosine, fit.sine) for fit in self.fits]),
            covariance=factor[:, None, None] ** 2 * covariance,
            dof=np.array([float(fit.dof) for fit in self.fits]),
        )


def member_of(
    name: str,
    fits: Sequence[WobbleFit],
    clock_deg: Sequence[float | None] | None,
    mounts: Sequence[str] | None = None,
    *,
    whole: bool = False,
) -> Member:
    """Return the mountings of one blade, of which those without a clock position are left out.

    They go by their place from 1 where they have no names; refused where names or clock positions
    are not one a mounting, and where a clock position is missing from what must be `whole`.
    """
    if not len(fits):
        raise refuse("no mounting is given", "give one fit a mounting", column="fits")
    names = [str(one) for one in (range(1, len(fits) + 1) if mounts is None else mounts)]
    clocks = [None] * len(fits) if clock_deg is None else list(clock_deg)
    for what, given, cure, column in (
        ("names", names, "give one name a mounting", "mount"),
        ("clock positions", clocks, "give one clock_deg a mounting", "clock_deg"),
    ):
        if len(given) != len(fits):
            problem = f"{len(given)} {what} for {len(fits)} mountings"
            raise refuse(problem, cure, value=len(given), blade=name, column=column)
    kept = [at for at, clock in enumerate(clocks) if whole or clock is not None]
    for at in kept:
        _check_clock(clocks[at], names[at], name)
    return Member(
        name=name,
        fits=[fits[at] for at in kept],
        clock_deg=np.array([clocks[at] for at in kept], dtype=np.float64),
        mounts=tuple(names[at] for at in kept),
        left_out=len(fits) - len(kept),
    )


def _check_clock(clock: object, mount: str, blade: str) -> None:
    number = isinstance(clock, (int, float, np.integer, np.floating))
    if isinstance(clock, bool) or not number or not abs(float(clock)) <= 360:  # type: ignore[arg-type]
        raise refuse(
            f"mounting {mount}: clock_deg is {clock}",
            "give the degrees from the arbor's mark to tooth 1, in the direction of numbering, "
            "from 0 to 360",
            value=clock,
            blade=blade,
            column="clock_deg",
        )


def _are_measured(blades: Any) -> bool:
    try:
        pairs = blades.values() if isinstance(blades, Mapping) else blades
        return all(isinstance(fit, WobbleFit) for fits, _ in pairs for fit in fits)
    except (TypeError, ValueError):
        return False


def members_of(blades: Mapping[str, Measured] | Sequence[Measured]) -> list[Member]:
    """Return the blades of a fleet, also those without any clock position.

    In a sequence they go by the names in their readings, or by their place from 1. Refused where
    no blade was read at two clock positions, or they were not read one way.
    """
    named: dict[str, Measured] = {}
    if not _are_measured(blades):
        raise refuse(
            "blades does not hold what was measured of each blade",
            "give its fits and clock_deg: {name: (fits, clock_deg)}, or [(fits, clock_deg)]",
            column="blades",
        )
    if isinstance(blades, Mapping):
        named = dict(blades)
    else:
        for place, (fits, clock_deg) in enumerate(blades, start=1):
            blade = fits[0].readings.blade if len(fits) else None
            name = (blade.name if blade else "") or str(place)
            if blade is not None and name in named:  # Two customers may have one of a name each.
                name = str(blade.who)
            if name in named:
                problem = f"two blades go by the name {name}"
                cure = "put the mountings of one blade together, or give every blade its own name"
                raise refuse(problem, cure, value=name, blade=name)
            named[name] = (fits, clock_deg)
    if not named:
        raise refuse("no blade is given", "give fits and clock_deg of each blade", column="blades")
    found = [member_of(name, *given) for name, given in named.items()]
    members = [one for one in found if one.fits]
    if not members:
        raise refuse(
            "no clock position is given for any blade: the arbor's phase was not kept, so its "
            "part of the wobble cannot be told from the blades'",
            "mark the arbor, and note at each mounting where tooth 1 stands from the mark",
            column="clock_deg",
        )
    first = members[0]
    for one in members[1:]:
        both = (
            first.fits[0].readings,
            one.fits[0].readings,
            f"blade {first.name}",
            f"blade {one.name}",
        )
        _check_same_way(*both)
        if (first.ring_mm is None) != (one.ring_mm is None):
            _refuse_one_ring(one.name, *both[2:], "all blades")
    if all(arc_deg(one.clock_deg) < LEAST_ARC_DEG for one in members):
        raise refuse(
            "no blade was read at two clock positions, so arbor and blade cannot be told apart",
            "loosen the nut of one blade, turn it half a turn on the arbor (clock_deg 180 more), "
            "tighten and read it again",
            column="clock_deg",
        )
    return found


def flange_at_ring(flange: WobbleFit, blade: Readings, unit: str) -> Wobble:
    """Return the wobble of a flange's face that was read directly, carried out to a blade's ring.

    Blade and flange share the tilt, so the wobble grows as the ring radius. The doubt of both
    radii, where stated, is in it.
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
    return Wobble(value, covariance, float(flange.dof))


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
        (
            "surface",
            one.surface,
            one.surface if is_face(other) else other.surface,
            "read all of them on the same surface",
        ),
        ("side", one.side, other.side, "read all of them from the same side"),
        ("numbered", one.blade.numbered, other.blade.numbered, round_),
    ):
        if here and there and here != there:
            problem = f"{what} is {here!r} for {first} and {there!r} for {second}"
            raise refuse(problem, cure, value=there, blade=other.blade.name, column=what)


def _check_same_ring(one: Readings, other: Readings, first: str, second: str) -> None:
    here, there, blade = one.ring_radius_mm, other.ring_radius_mm, other.blade.name
    if here is None and there is None:
        return
    if here is None or there is None:
        _refuse_one_ring(blade, first, second, "all of them")
    elif not same_ring(there, here):
        raise refuse(
            f"{first} was read at a ring of {here:g} mm, {second} at {there:g} mm",
            "read all of them at the same ring (within 1 %)",
            value=f"{there:g} mm",
            blade=blade,
            column="ring_radius",
        )


def _refuse_one_ring(blade: str, first: str, second: str, all_of: str) -> None:
    problem = f"of {first} and {second} only one states its ring radius"
    raise refuse(problem, f"state ring_radius for {all_of}", blade=blade, column="ring_radius")


def _check_same_blade(one: Readings, other: Readings, first: str, second: str) -> None:
    here, there = one.blade, other.blade
    for what, mine, yours in (
        ("name", here.name, there.name),
        ("number of teeth", here.teeth, there.teeth),
    ):
        if mine != yours:
            problem = f"{first} and {second} are of different blades: the {what} is {mine!r}"
            cure = "give mountings of one blade; for several blades on one arbor: fleet_arbor"
            raise refuse(f"{problem} and {yours!r}", cure, value=yours, blade=there.name)
    if not np.allclose(here.angles_deg, there.angles_deg, rtol=0, atol=1e-6):
        raise refuse(
            f"the teeth of {second} do not stand where those of {first} do",
            "give mountings of one blade, with the same pitch_pattern",
            blade=there.name,
            column="pitch_pattern",
        )


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
    """Refuse clock positions that do not tell arbor from blade."""
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
