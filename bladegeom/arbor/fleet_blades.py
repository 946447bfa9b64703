"""The blades of a fleet as they are given: named, with their clock positions, read one way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.arbor.mounted import (
    LEAST_ARC_DEG,
    arc_deg,
    check_one_each,
    check_same_way,
    checked_clock,
    names_of,
    places_of,
)
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit

Measured = tuple[Sequence[WobbleFit], Sequence[float | None] | None]


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
    clock_deg: NDArray[np.float64]
    mounts: tuple[str, ...]
    left_out: int

    @property
    def ring_mm(self) -> float | None:
        """Ring radius in millimetres."""
        return self.fits[0].readings.ring_radius_mm


def named_blades(blades: Mapping[str, Measured] | Sequence[Measured]) -> dict[str, Measured]:
    """Return the blades by name; in a sequence by that in their readings, or their place from 1.

    Raises
    ------
    RefusedError
        If there is none, or two have the same name.
    """
    if isinstance(blades, Mapping):
        found = dict(blades)
    else:
        found = {}
        for place, (fits, clock_deg) in enumerate(blades, start=1):
            name = (fits[0].readings.blade.name if len(fits) else "") or str(place)
            if name in found:
                raise refuse(
                    f"two blades go by the name {name}",
                    "put the mountings of one blade together, or give every blade its own name",
                    value=name,
                    blade=name,
                )
            found[name] = (fits, clock_deg)
    if not found:
        raise refuse("no blade is given", "give fits and clock_deg of each blade", column="blades")
    return found


def members_of(blades: Mapping[str, Measured]) -> list[Member]:
    """Return the blades that have a clock position.

    Raises
    ------
    RefusedError
        If none has one, no blade was read at two of them, or they were not read one way.
    """
    members = [one for name, given in blades.items() if (one := _member(name, *given))]
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
        check_same_way(first.fits[0].readings, one.fits[0].readings, here, there)
        if (first.ring_mm is None) != (one.ring_mm is None):
            raise refuse(
                f"of {here} and {there} only one states its ring radius",
                "state ring_radius for all blades",
                blade=one.name,
                column="ring_radius",
            )
    if all(arc_deg(one.clock_deg) < LEAST_ARC_DEG for one in members):
        raise refuse(
            "no blade was read at two clock positions, so arbor and blade cannot be told apart",
            "loosen the nut of one blade, turn it half a turn on the arbor (clock_deg 180 more), "
            "tighten and read it again",
            column="clock_deg",
        )
    return members


def fleet_places(members: Sequence[Member]) -> NDArray[np.int64]:
    """Return a number for each blade and clock position, shape (all mountings,), from 0."""
    places: list[NDArray[np.int64]] = []
    start = 0
    for one in members:
        own = places_of(one.clock_deg)
        places.append(own + start)
        start += int(own.max()) + 1
    return np.concatenate(places)


def _member(
    name: str, fits: Sequence[WobbleFit], clock_deg: Sequence[float | None] | None
) -> Member | None:
    mounts = names_of(fits, None)
    given: list[float | None] = [None] * len(fits) if clock_deg is None else list(clock_deg)
    check_one_each(given, mounts, name)
    kept = [place for place, clock in enumerate(given) if clock is not None]
    if not kept:
        return None
    chosen = tuple(mounts[place] for place in kept)
    clocks = [clock for clock in given if clock is not None]
    return Member(
        name=name,
        fits=[fits[place] for place in kept],
        clock_deg=checked_clock(clocks, chosen, name),
        mounts=chosen,
        left_out=len(fits) - len(kept),
    )
