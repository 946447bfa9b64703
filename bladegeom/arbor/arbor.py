"""Arbor or blade: blades at several clock positions part their own wobbles from the flange's."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.arbor._mountings import Mounted, Mountings, Solved, arbor_design, repeats_design
from bladegeom.arbor.mounted import (
    LEAST_ARC_DEG,
    Measured,
    Member,
    arc_deg,
    check_places,
    flange_at_ring,
    member_of,
    members_of,
    places_of,
)
from bladegeom.arbor.parted import LEAST_P, ArborFit, FleetBlade, FleetFit, Left
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import zero_amplitude_p
from bladegeom.kinds import checked
from bladegeom.lengths import convert
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

_WIDE = 2.0

_NOT_KEPT = (
    "the arbor's phase was not kept (no clock_deg), so the flange's part of its wobble is not "
    "known and it cannot be corrected"
)
_FLANGE_DISAGREES = (
    "the flange's face read directly does not agree with what the blade shows of it: look whether "
    "the first spot stood at the arbor's mark, the spots were counted in the direction of the "
    "blade's numbering, both ring radii are right, and the face is clean"
)


class _Together(NamedTuple):
    """All mountings of all blades on one arbor, and what least squares makes of them."""

    unit: str
    blade: NDArray[np.int64]
    places: NDArray[np.int64]
    model: Mountings
    seating: tuple[float, float, float] | None
    solved: Solved

    def dof(self, rows: slice) -> float:
        """Return the degrees of freedom of some of the values."""
        variance = np.asarray(self.seating[0] ** 2 if self.seating else 0.0)
        return float(self.model.dof_of(variance, self.solved.share[rows]))

    def vector(self, at: int) -> Wobble:
        """Return the wobble of a blade, or, behind the last of them, of the flange."""
        rows = slice(2 * at, 2 * at + 2)
        value = complex(*self.solved.values[rows])
        return Wobble(value, self.solved.covariance[rows, rows], self.dof(rows))

    def left(self, dof: float) -> Left:
        """Return what blades and flange do not explain.

        What the mean of every place (blade and clock position) leaves is the seating's scatter;
        what the model leaves beyond that, divided by the degrees of freedom, follows the F law
        where the model holds (chi-square where the denominator is sure).
        """
        model, chi_square, p_value = self.model, None, None
        repeats = Mountings(model.given, repeats_design(self.places))
        if model.dof > repeats.dof:
            chi_square, p_value = map(float, model.lack_of_fit(repeats))
        sd, low, high = self.seating or (None, None, None)
        return Left(
            unit=self.unit,
            seating_sd=sd,
            seating_low=low,
            seating_high=high,
            dof=dof,
            chi_square=chi_square,
            chi_square_dof=model.dof - repeats.dof,
            p_value=p_value,
            repeats_dof=repeats.dof,
        )


def _together(members: Sequence[Member]) -> _Together:
    """Part the wobbles of blades from that of the flange they share; see `separate_arbor`."""
    unit = members[0].fits[0].readings.unit
    parts = zip(*(one.mounted(unit) for one in members), strict=True)
    given = Mounted(*map(np.concatenate, parts))
    blade = np.repeat(np.arange(len(members)), [len(one.fits) for one in members])
    own = [places_of(one.clock_deg) for one in members]
    first = np.cumsum([0, *(int(one.max()) + 1 for one in own)])
    rings = np.array([one.ring_mm or 1.0 for one in members])
    design = arbor_design(
        np.concatenate([one.clock_deg for one in members]), blade, (rings / rings[0])[blade]
    )
    model = Mountings(given, design)
    seating = model.seating()
    places = np.concatenate([one + start for one, start in zip(own, first, strict=False)])
    solved = model.solved(seating[0] ** 2 if seating else 0.0)
    return _Together(unit, blade, places, model, seating, solved)


@checked
def separate_arbor(
    fits: Sequence[WobbleFit],
    clock_deg: Sequence[float],
    *,
    mounts: Sequence[str] | None = None,
    flange: WobbleFit | None = None,
) -> ArborFit:
    """Part the blade's own wobble from the flange's.

    The same blade is read, seated anew, at two or more clock positions. In the blade's frame
    each wobble is ``M = B + F exp(-i clock)``, which is linear in B and F: generalised least
    squares, each mounting with the doubt of its fit and a seating variance that is estimated from
    what is left over (`bladegeom.arbor._mountings.Mountings.seating_variance`). Limits are
    Student's with the degrees of freedom of `bladegeom.arbor._mountings.Mountings.dof_of`.

    Parameters
    ----------
    fits : sequence of WobbleFit, shape (n,)
        One a mounting: the same blade, ring, surface and side. The result is in the unit of the
        first.
    clock_deg : sequence of float, shape (n,)
        Where tooth 1 stood on the arbor: degrees from the arbor's mark, in the direction in which
        the teeth are numbered.
    mounts : sequence of str, shape (n,), optional
        Names of the mountings; 1, 2, ... if not given.
    flange : WobbleFit, optional
        Of the face of the flange that the blade seats against, read without the blade from the
        side from which the blade was read. Its readings are those of a "blade" with as many teeth
        as spots were read, the first of them at the arbor's mark, counted in the direction of the
        blade's numbering. It is compared and not combined: a face that is read also shows where
        the blade does not touch, and two estimates that agree are not for that the same.

    Returns
    -------
    ArborFit

    Raises
    ------
    RefusedError
        If fewer than two clock positions were used, or they are too close together, or the fits
        do not belong together.

    Notes
    -----
    To first order in the tilts: what is left out is of the order of the tilt squared, 1e-6 of the
    wobble at a tilt of 1 mrad.
    An error in a clock position moves the wobble by the flange's amplitude times the error in
    radians; it shows as seating. Where teeth are left unread, what local bends add to the wobble
    is the same in every mounting and stays in B, whatever the number of mountings.
    """
    name = fits[0].readings.blade.name if len(fits) else ""
    member = member_of(name, fits, clock_deg, mounts, whole=True)
    first, clock = fits[0].readings, member.clock_deg
    check_places(clock, name)
    found = _together([member])
    solved, left = found.solved, found.left(found.dof(slice(None)))
    warnings, p_value, read = _of_one_blade(left, member, found), None, None
    if flange is not None:
        read = flange_at_ring(flange, first, first.unit)
        shown = Wobble(complex(*solved.values[2:]), solved.covariance[2:, 2:], left.dof)
        p_value = _agreement_p(shown, read)
        warnings += [_FLANGE_DISAGREES] if p_value < LEAST_P else []
    return ArborFit(
        blade=first.blade,
        unit=first.unit,
        ring_radius=first.ring_radius,
        blade_vector=complex(*solved.values[:2]),
        flange_vector=complex(*solved.values[2:]),
        covariance=solved.covariance,
        left=left,
        flange_read=read,
        flange_p_value=p_value,
        mount=member.mounts,
        fits=tuple(member.fits),
        clock_deg=clock,
        measured=found.model.given.measured,
        fitted=found.model.given.measured - solved.left,
        warnings=tuple(warnings),
    )


def fleet_arbor(blades: Mapping[str, Measured] | Sequence[Measured]) -> FleetFit:
    """Estimate the flange's wobble from all blades together, and free each blade of it.

    Every blade has a wobble of its own, all share the flange: ``M = B + F exp(-i clock)``, F in
    proportion to the ring radius. A blade read at one clock position only tells nothing of the
    flange, and is corrected by what the others show of it, ``B = M - F exp(-i clock)``.

    Parameters
    ----------
    blades : dict of str to (fits, clock_deg), or sequence of (fits, clock_deg)
        As for `separate_arbor`. In a sequence the blades go by the names in their readings, or
        by their place from 1. Where the arbor's mark was not kept, `clock_deg`, or one of its
        values, is None: such mountings are left out, and said.

    Returns
    -------
    FleetFit

    Raises
    ------
    RefusedError
        If no blade was read at two clock positions, or mountings do not belong together.
    """
    every = members_of(blades)
    members = [one for one in every if one.fits]
    found, first = _together(members), members[0].fits[0].readings
    flange = found.vector(len(members))
    left = found.left(flange.dof)
    return FleetFit(
        unit=first.unit,
        ring_radius=first.ring_radius,
        flange_wobble=flange,
        left=left,
        blades=tuple(
            FleetBlade(
                name=one.name,
                unit=first.unit,
                wobble=found.vector(at),
                ring_radius=None if one.ring_mm is None else convert(one.ring_mm, "mm", first.unit),
                mountings=len(one.fits),
                positions=len(np.unique(found.places[found.blade == at])),
            )
            for at, one in enumerate(members)
        ),
        not_corrected={one.name: _NOT_KEPT for one in every if not one.fits},
        warnings=tuple(_of_fleet(left, members, found)),
    )


def _of_fleet(left: Left, members: Sequence[Member], found: _Together) -> list[str]:
    said = [
        f"blade {one.name}: {one.left_out} of its mountings without clock_deg are left out"
        for one in members
        if one.left_out
    ]
    if members[0].ring_mm is None:
        said.append("no ring radius is stated: all blades are taken as read at one ring")
    if not found.model.dof:
        said.append(
            "nothing is left over: how a blade seats from one mounting to the next, usually the "
            "larger doubt, is not in the limits; read another blade at two clock positions"
        )
    return said + ([left.failure] if left.fails else [])


def _of_one_blade(left: Left, member: Member, found: _Together) -> list[str]:
    """Return what the reader of the mountings of one blade should know."""
    clock_deg, count, kinds = member.clock_deg, len(member.fits), int(found.places.max()) + 1
    said = []
    if kinds == 2 and count == 2:
        said.append(
            "two mountings for two unknowns: nothing is left over to check them, and how the blade "
            "seats from one mounting to the next, usually the larger doubt, is not in the limits; "
            "mount again at a third clock position"
        )
    elif kinds == 2:
        said.append(
            "two clock positions: the repeats show how the blade seats, but nothing checks the "
            "clock positions themselves; mount again at a third one"
        )
    middle = complex(np.mean(np.exp(1j * np.radians(clock_deg))))
    spread = math.sqrt(max(0.0, 1 - abs(middle) ** 2))
    if spread < 1 / _WIDE:
        said.append(
            f"the clock positions lie within {arc_deg(clock_deg):.0f} deg: the doubt is "
            f"{1 / spread:.1f} times that of mountings all round; mount again half a turn on"
        )
    if left.fails:
        said.append(left.failure)
        said += _suspects(found.model.given, clock_deg, member.mounts)
    return said


def _suspects(given: Mounted, clock_deg: Floats, names: tuple[str, ...]) -> list[str]:
    one_blade = np.zeros(len(clock_deg), dtype=np.int64)

    def left(which: NDArray[np.intp], sign: float = 1.0) -> float:
        clock = sign * clock_deg[which]
        some = Mounted(given.measured[which], given.covariance[which], given.dof[which])
        model = Mountings(some, arbor_design(clock, one_blade[which]))
        return max(float(model.chi_square()), model.dof)

    every = np.arange(len(clock_deg))
    dof = 2 * len(every) - 4
    as_stated, turned = left(every), left(every, -1.0)
    if as_stated / turned > special.fdtri(dof, dof, 0.99):
        return [
            "counted the other way round, the clock positions would explain the mountings far "
            "better: clock_deg grows in the direction in which the teeth are numbered"
        ]
    # One out of so many is bound to stand out a little (Bonferroni).
    limit = special.fdtri(2, dof - 2, 1 - 0.05 / len(every)) if dof > 2 else math.inf
    without = [
        left(rest) if arc_deg(clock_deg[rest]) >= LEAST_ARC_DEG else math.inf
        for rest in (np.delete(every, place) for place in every)
    ]
    best = int(np.argmin(without))
    if (as_stated - without[best]) / 2 > limit * without[best] / max(dof - 2, 1):
        return [
            f"mounting {names[best]} stands alone, the others agree: look at its clock position, "
            "clean the seat, and mount it again"
        ]
    return []


def _agreement_p(one: Wobble, other: Wobble) -> float:
    """Return the chance of so large a difference where both are right (Hotelling's T^2).

    The degrees of freedom are combined after Welch and Satterthwaite, by the traces.
    """
    apart = one.value - other.value
    parts = np.array([apart.real, apart.imag])
    covariance = one.covariance + other.covariance
    shares = [float(np.trace(of.covariance) / np.trace(covariance)) for of in (one, other)]
    dof = 1 / (shares[0] ** 2 / one.dof + shares[1] ** 2 / other.dof)
    return zero_amplitude_p(float(parts @ np.linalg.solve(covariance, parts)) / 2, dof)
