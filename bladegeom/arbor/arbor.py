"""Arbor or blade: one blade at several clock positions parts its own wobble from the flange's."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.angles import wrap_360
from bladegeom.arbor.arbor_check import check_of, remarks_of
from bladegeom.arbor.arbor_words import (
    FLANGE_DISAGREES,
    checked,
    flange_rows,
    mountings,
    seating,
    together,
)
from bladegeom.arbor.flange import agreement_p, flange_at_ring
from bladegeom.arbor.mounted import (
    check_places,
    checked_clock,
    mounted,
    names_of,
    places_of,
)
from bladegeom.arbor.mountings import Mountings, arbor_design, dof_of, seating_of
from bladegeom.blade import Blade
from bladegeom.fit.wobble import WobbleFit
from bladegeom.result import Result, Row
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


@dataclass(frozen=True, eq=False, repr=False)
class ArborFit(Result):
    """What is the blade's own wobble and what the flange's: M = B + F exp(-i clock).

    Attributes
    ----------
    unit : str
        Of all lengths.
    blade : Blade
    ring_radius : float or None
        In `unit`.
    blade_vector : complex
        The blade's own wobble B; its angle is the near direction as a blade angle.
    flange_vector : complex
        The flange's wobble F at the blade's ring; its angle is the near direction, counted on the
        arbor from its mark in the direction of the blade's numbering.
    covariance : ndarray, shape (4, 4)
        Of (Re B, Im B, Re F, Im F), seating scatter included where it is known.
    dof : float
        Degrees of freedom of the covariance.
    chi_square : float or None
        What the model does not explain, against the doubt of the fits and the seating scatter of
        repeats; None where nothing is left over to check the model.
    chi_square_dof : int
    p_value : float or None
        Chance of so large a chi-square where the model holds.
    seating_sd, seating_low, seating_high : float or None
        Standard deviation of one component of the wobble from one seating to the next, and its
        95 % limits; None where nothing is left over to show it. Where nothing was remounted at
        the same clock position, what the model does not explain is in it.
    clock_deg : ndarray, shape (n,)
        Where tooth 1 stood on the arbor in each mounting.
    measured, fitted : complex ndarray, shape (n,)
    mount : tuple of str
        Names of the mountings.
    flange_read : Wobble or None
        The flange's face read directly, carried out to the blade's ring.
    warnings : tuple of str
    """

    unit: str
    blade: Blade
    ring_radius: float | None
    blade_vector: complex
    flange_vector: complex
    covariance: Floats
    dof: float
    chi_square: float | None
    chi_square_dof: int
    p_value: float | None
    seating_sd: float | None
    seating_low: float | None
    seating_high: float | None
    clock_deg: Floats
    measured: Complexes
    fitted: Complexes
    mount: tuple[str, ...]
    flange_read: Wobble | None
    warnings: tuple[str, ...]

    @property
    def blade_wobble(self) -> Wobble:
        """The blade's own wobble with its doubt: what it would do on a perfect arbor."""
        return Wobble(self.blade_vector, self.covariance[:2, :2], self.dof)

    @property
    def flange_wobble(self) -> Wobble:
        """The flange's wobble with its doubt: what a perfect blade would do on it."""
        return Wobble(self.flange_vector, self.covariance[2:, 2:], self.dof)

    def at(self, clock_deg: ArrayLike) -> complex | Complexes:
        """Return the wobble to expect with tooth 1 at clock positions.

        Parameters
        ----------
        clock_deg : float or array_like, shape (...)

        Returns
        -------
        complex or complex ndarray, shape (...)
            As a blade sees it: the angle is a blade angle.
        """
        clock = np.radians(np.asarray(clock_deg, dtype=np.float64))
        wobble: Complexes = self.blade_vector + self.flange_vector * np.exp(-1j * clock)
        return complex(wobble) if wobble.ndim == 0 else wobble

    @property
    def worst_clock_deg(self) -> float:
        """Clock position at which blade and flange add up."""
        return wrap_360(self.flange_wobble.near_deg - self.blade_wobble.near_deg)

    @property
    def worst_amplitude(self) -> float:
        """Amplitude there: the sum of the two."""
        return abs(self.blade_vector) + abs(self.flange_vector)

    @property
    def best_clock_deg(self) -> float:
        """Clock position at which blade and flange work against each other."""
        return wrap_360(self.worst_clock_deg + 180.0)

    @property
    def best_amplitude(self) -> float:
        """Amplitude there: the difference of the two."""
        return abs(abs(self.blade_vector) - abs(self.flange_vector))

    @property
    def best_amplitude_u(self) -> float:
        """Standard uncertainty (k = 1) of the best and of the worst amplitude's mean.

        Of |B| - |F|, for the mean over seatings: a single mounting scatters by `seating_sd` more.
        """
        toward = [one / abs(one) if one else 1.0 for one in (self.blade_vector, self.flange_vector)]
        slope = np.array([toward[0].real, toward[0].imag, -toward[1].real, -toward[1].imag])
        return math.sqrt(float(slope @ self.covariance @ slope))

    @property
    def flange_p_value(self) -> float | None:
        """Chance of so large a difference of the flange's two estimates where both are right."""
        read = self.flange_read
        return None if read is None else agreement_p(self.flange_wobble, read)

    @property
    def flange_agrees(self) -> bool | None:
        """Whether the flange's face, read directly, agrees with what the blade shows of it."""
        return None if self.flange_p_value is None else self.flange_p_value >= 0.05

    def _title(self) -> str:
        name = f"Blade {self.blade.name}" if self.blade.name else "Blade"
        places = int(places_of(self.clock_deg).max()) + 1
        return f"{name} on its arbor: {len(self.mount)} mountings at {places} clock positions"

    def _rows(self) -> Sequence[Row]:
        unit, blade, flange = self.unit, self.blade_wobble, self.flange_wobble
        known = blade.resolved and flange.resolved
        return [
            Row("blade", self.blade.name),
            Row("teeth", self.blade.teeth),
            Row("unit", unit),
            Row("ring_radius", self.ring_radius),
            *blade.rows("blade", unit, "blade alone", "tooth 1"),
            *flange.rows("flange", unit, "flange alone", "the arbor's mark"),
            Row("best_clock_deg", self.best_clock_deg if known else None),
            Row("best_amplitude", self.best_amplitude, "together", together(self)),
            Row("best_amplitude_u", self.best_amplitude_u),
            Row("worst_clock_deg", self.worst_clock_deg if known else None),
            Row("worst_amplitude", self.worst_amplitude),
            Row("seating_sd", self.seating_sd, "seating", seating(self)),
            Row("seating_low", self.seating_low),
            Row("seating_high", self.seating_high),
            Row("dof", self.dof),
            Row("chi_square", self.chi_square, "check", checked(self)),
            Row("chi_square_dof", self.chi_square_dof),
            Row("p_value", self.p_value),
            *flange_rows(self),
            Row("mountings", mountings(self)),
            Row("covariance", self.covariance.tolist()),
            Row("warnings", list(self.warnings)),
        ]

    def _remarks(self) -> Sequence[str]:
        return self.warnings


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
    what is left over (`bladegeom.arbor.mountings.Mountings.seating_variance`). Limits are
    Student's with the degrees of freedom of `bladegeom.arbor.mountings.dof_of`.

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
    names = names_of(fits, mounts)
    first = fits[0].readings
    clock = checked_clock(clock_deg, names, first.blade.name)
    given = mounted(fits, names, first.unit)
    places = places_of(clock)
    check_places(clock, places, first.blade.name)
    model = Mountings(given.measured, given.covariance, arbor_design(clock, np.zeros_like(places)))
    seats = seating_of(model)
    solved = model.solved(seats.variance)
    values, check = solved.values, check_of(given, model, places)
    found = ArborFit(
        unit=first.unit,
        blade=first.blade,
        ring_radius=first.ring_radius,
        blade_vector=complex(values[0], values[1]),
        flange_vector=complex(values[2], values[3]),
        covariance=solved.covariance,
        dof=float(dof_of(model, seats.variance, given.covariance, solved.share, given.dof)),
        chi_square=check.chi_square,
        chi_square_dof=check.dof,
        p_value=check.p_value,
        seating_sd=seats.sd,
        seating_low=seats.low,
        seating_high=seats.high,
        clock_deg=clock,
        measured=given.measured,
        fitted=given.measured - solved.left,
        mount=names,
        flange_read=None if flange is None else flange_at_ring(flange, first, first.unit),
        warnings=remarks_of(check, given, clock, places, names),
    )
    if found.flange_agrees is False:
        object.__setattr__(found, "warnings", (*found.warnings, FLANGE_DISAGREES))
    return found
