"""Many blades on one arbor: the flange's wobble that they share, and each blade freed of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from bladegeom.arbor.arbor_check import Check, check_of, failure
from bladegeom.arbor.fleet_blades import (
    Measured,
    Member,
    fleet_places,
    members_of,
    named_blades,
)
from bladegeom.arbor.mounted import Mounted, mounted
from bladegeom.arbor.mountings import Mountings, arbor_design, dof_of, seating_of
from bladegeom.faults import refuse
from bladegeom.lengths import convert
from bladegeom.result import Result, Row, number
from bladegeom.wobble import Wobble

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]

_NOT_KEPT = (
    "the arbor's phase was not kept (no clock_deg), so the flange's part of its wobble is not "
    "known and it cannot be corrected"
)


@dataclass(frozen=True)
class FleetBlade:
    """One blade of the fleet, freed of the flange.

    Attributes
    ----------
    name : str
    wobble : Wobble
        The blade's own, at its ring, the flange's doubt and the seating scatter included.
    ring_radius : float or None
    mountings, positions : int
        How many mountings count, at how many clock positions. With one position the blade is
        corrected and tells nothing of the flange.
    """

    name: str
    wobble: Wobble
    ring_radius: float | None
    mountings: int
    positions: int

    def to_dict(self, unit: str) -> dict[str, Any]:
        """Return the blade as plain values."""
        rows = self.wobble.rows("blade", unit, "", "")
        return {
            "blade": self.name,
            "unit": unit,
            "ring_radius": self.ring_radius,
            "mountings": self.mountings,
            "positions": self.positions,
            **{row.key: row.value for row in rows},
        }


@dataclass(frozen=True, eq=False, repr=False)
class FleetFit(Result):
    """The flange's wobble from all blades together, and each blade's own.

    Attributes
    ----------
    unit : str
        Of all lengths: that of the first blade's readings.
    ring_radius : float or None
        The ring at which the flange's wobble is given: the first blade's.
    flange_vector : complex
        Its angle is the near direction, counted on the arbor from its mark in the direction of
        the blades' numbering.
    covariance : ndarray, shape (2, 2)
        Of (Re F, Im F), seating scatter included where it is known.
    dof : float
    chi_square, p_value : float or None
    chi_square_dof : int
        As of `ArborFit`.
    seating_sd, seating_low, seating_high : float or None
        As of `ArborFit`; one for all blades.
    blades : tuple of FleetBlade
    not_corrected : dict of str to str
        Blades without clock positions, and why they cannot be corrected.
    warnings : tuple of str
    """

    unit: str
    ring_radius: float | None
    flange_vector: complex
    covariance: Floats
    dof: float
    chi_square: float | None
    chi_square_dof: int
    p_value: float | None
    seating_sd: float | None
    seating_low: float | None
    seating_high: float | None
    blades: tuple[FleetBlade, ...]
    not_corrected: dict[str, str]
    warnings: tuple[str, ...]

    @property
    def flange_wobble(self) -> Wobble:
        """The flange's wobble with its doubt."""
        return Wobble(self.flange_vector, self.covariance, self.dof)

    def blade(self, name: str) -> FleetBlade:
        """Return one blade by its name.

        Raises
        ------
        RefusedError
            If it is not in the fleet, or could not be corrected.
        """
        for one in self.blades:
            if one.name == name:
                return one
        problem = self.not_corrected.get(name, "there is no such blade in the fleet")
        listed = ", ".join(one.name for one in self.blades)
        raise refuse(f"blade {name}: {problem}", f"corrected blades: {listed}", value=name)

    def to_frame(self) -> pd.DataFrame:
        """Return a frame of one row a blade."""
        import pandas as pd

        return pd.DataFrame([one.to_dict(self.unit) for one in self.blades])

    def _title(self) -> str:
        count = len(self.blades) + len(self.not_corrected)
        shows = sum(one.positions > 1 for one in self.blades)
        return f"{count} blades on one arbor, {shows} of them at two or more clock positions"

    def _rows(self) -> Sequence[Row]:
        seating = self.seating_sd
        return [
            Row("unit", self.unit),
            Row("ring_radius", self.ring_radius),
            *self.flange_wobble.rows("flange", self.unit, "flange alone", "the arbor's mark"),
            Row(
                "seating_sd",
                seating,
                "seating",
                "not known: nothing is left over to show it"
                if seating is None
                else f"{number(seating, seating / 4 or None)} {self.unit} (standard deviation)",
            ),
            Row("seating_low", self.seating_low),
            Row("seating_high", self.seating_high),
            Row("dof", self.dof),
            Row("chi_square", self.chi_square),
            Row("chi_square_dof", self.chi_square_dof),
            Row("p_value", self.p_value),
            *(Row("", None, f"blade {one.name}", _line(one, self.unit)) for one in self.blades),
            Row("blades", [one.to_dict(self.unit) for one in self.blades]),
            Row("not_corrected", self.not_corrected),
            Row("warnings", list(self.warnings)),
        ]

    def _remarks(self) -> Sequence[str]:
        return (
            *(f"blade {name}: {why}" for name, why in self.not_corrected.items()),
            *self.warnings,
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
    named = named_blades(blades)
    members = members_of(named)
    first = members[0].fits[0].readings
    given = Mounted(
        *(
            np.concatenate(part)
            for part in zip(
                *(mounted(one.fits, one.mounts, first.unit) for one in members), strict=True
            )
        )
    )
    blade = np.repeat(np.arange(len(members)), [len(one.fits) for one in members])
    clock = np.concatenate([one.clock_deg for one in members])
    rings = np.array([one.ring_mm or 1.0 for one in members])
    places = fleet_places(members)
    model = Mountings(
        given.measured, given.covariance, arbor_design(clock, blade, (rings / rings[0])[blade])
    )
    seating = seating_of(model)
    solved = model.solved(seating.variance)

    def vector(at: int) -> Wobble:
        rows = slice(2 * at, 2 * at + 2)
        dof = dof_of(model, seating.variance, given.covariance, solved.share[rows], given.dof)
        return Wobble(complex(*solved.values[rows]), solved.covariance[rows, rows], float(dof))

    flange, check = vector(len(members)), check_of(given, model, places)
    return FleetFit(
        unit=first.unit,
        ring_radius=first.ring_radius,
        flange_vector=flange.value,
        covariance=flange.covariance,
        dof=flange.dof,
        chi_square=check.chi_square,
        chi_square_dof=check.dof,
        p_value=check.p_value,
        seating_sd=seating.sd,
        seating_low=seating.low,
        seating_high=seating.high,
        blades=tuple(
            FleetBlade(
                name=one.name,
                wobble=vector(at),
                ring_radius=None if one.ring_mm is None else convert(one.ring_mm, "mm", first.unit),
                mountings=len(one.fits),
                positions=len(np.unique(places[blade == at])),
            )
            for at, one in enumerate(members)
        ),
        not_corrected={
            name: _NOT_KEPT for name in named if name not in {one.name for one in members}
        },
        warnings=_warnings(members, model, check),
    )


def _warnings(members: Sequence[Member], model: Mountings, check: Check) -> tuple[str, ...]:
    found = [
        f"blade {one.name}: {one.left_out} of its mountings without clock_deg are left out"
        for one in members
        if one.left_out
    ]
    if members[0].ring_mm is None:
        found.append("no ring radius is stated: all blades are taken as read at one ring")
    if not model.dof:
        found.append(
            "nothing is left over: how a blade seats from one mounting to the next, usually the "
            "larger doubt, is not in the limits; read another blade at two clock positions"
        )
    if check.fails:
        found.append(failure(check))
    return tuple(found)


def _line(one: FleetBlade, unit: str) -> str:
    u, near_u = 2 * one.wobble.amplitude_u, one.wobble.near_u_deg
    near = (
        f"near at {number(one.wobble.near_deg, near_u)} deg"
        if one.wobble.resolved
        else "not established"
    )
    return f"alone TIR {number(one.wobble.tir, u)} {unit}, {near}, from {_mounted(one)}"


def _mounted(one: FleetBlade) -> str:
    many = "" if one.mountings == 1 else "s"
    return f"{one.mountings} mounting{many} at {one.positions} clock position" + (
        "" if one.positions == 1 else "s"
    )
