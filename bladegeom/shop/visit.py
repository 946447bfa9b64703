"""One measurement of a blade, as it is kept for years: what may be compared with what."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date as Date  # noqa: N812
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.estimate import combined
from bladegeom.faults import refuse
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import amplitude_limits
from bladegeom.readings import differing
from bladegeom.tables.digest import digest_of

SERVICES = ("", "before", "after")
WAVES = (2, 3)
"""Bends are kept as waves of so many a turn."""


class Wave(NamedTuple):
    """A wave of several a turn: amplitude and standard uncertainty in millimetres."""

    amplitude_mm: float
    u_mm: float


@dataclass(frozen=True, eq=False)
class Visit:
    """One measurement of a blade, with everything that decides what it may be compared with.

    Attributes
    ----------
    date : datetime.date
    blade : str
    teeth : int
    unit : {"mm", "in", "thou", "um"}
        In which it was read; all lengths here are in millimetres.
    arbor : str
        On what it was measured, in the shop's own words.
    surface, side : str
    ring_radius_mm : float or None
    read, turns : int
        The plan: how many teeth were read, in how many turns.
    tooth_1_marked : bool
        Whether tooth 1 is marked for good, so that directions can be compared.
    service : {"", "before", "after"}
        Whether it was measured before or after the blade was serviced.
    cosine_mm, sine_mm : float
        The wobble.
    covariance_mm2 : ndarray, shape (2, 2)
    dof : int
    rounding_mm : float
        Half a graduation where rounding errors do not average out, else 0.
    raw_tir_mm : float
    waves : dict of int to Wave
        Those of `WAVES` that the readings can tell.
    diameter_mm, tooth_width_mm : float or None
    note : str
    digest : str
        Of the readings: the same readings have the same one.
    """

    date: Date
    blade: str
    teeth: int
    unit: str
    arbor: str
    surface: str
    side: str
    ring_radius_mm: float | None
    read: int
    turns: int
    tooth_1_marked: bool
    service: str
    cosine_mm: float
    sine_mm: float
    covariance_mm2: NDArray[np.float64]
    dof: int
    rounding_mm: float
    raw_tir_mm: float
    waves: dict[int, Wave]
    diameter_mm: float | None
    tooth_width_mm: float | None
    note: str
    digest: str

    @property
    def amplitude_mm(self) -> float:
        """Half the wobble's total movement."""
        return math.hypot(self.cosine_mm, self.sine_mm)

    @property
    def amplitude_u_mm(self) -> float:
        """Standard uncertainty (k = 1) of the amplitude, along the fitted direction."""
        size = self.amplitude_mm
        if size == 0:
            return math.sqrt(float(self.covariance_mm2[0, 0]))
        toward = np.array([self.cosine_mm, self.sine_mm]) / size
        return math.sqrt(float(toward @ self.covariance_mm2 @ toward))

    @property
    def rounded_covariance_mm2(self) -> NDArray[np.float64]:
        """Covariance with the rounding that does not average out (GUM 4.3.7)."""
        return self.covariance_mm2 + self.rounding_mm**2 / 3 * np.eye(2)

    @property
    def plan(self) -> str:
        """What was read, in words."""
        return f"{self.read} teeth in {self.turns} turn{'' if self.turns == 1 else 's'}"

    def amplitude_limits_mm(self, seating_sd_mm: float = 0.0) -> tuple[float, float]:
        """Return 95 % limits of the amplitude.

        Parameters
        ----------
        seating_sd_mm : float
            Standard deviation by which either part of the wobble changes when the blade is
            mounted anew.

        Returns
        -------
        low, high : float
            NaN where the doubt is not known.
        """
        sd, dof = combined([(self.amplitude_u_mm, self.dof), (seating_sd_mm, math.inf)])
        if not sd > 0:
            return math.nan, math.nan
        low, high = amplitude_limits(self.amplitude_mm, sd, dof, 0.95)
        return max(0.0, low - self.rounding_mm), high + self.rounding_mm


def visit(
    fit: WobbleFit,
    *,
    date: Date | None = None,
    arbor: str = "",
    service: str = "",
    tooth_1_marked: bool = False,
    note: str = "",
) -> Visit:
    """Return what is kept of a measurement.

    Parameters
    ----------
    fit : WobbleFit
    date : datetime.date, optional
        Of the measurement; today if not given.
    arbor : str
        On what it was measured.
    service : {"", "before", "after"}
    tooth_1_marked : bool
        Whether tooth 1 is marked for good, so that it is the same tooth next time.
    note : str

    Returns
    -------
    Visit

    Raises
    ------
    RefusedError
        If `service` is not known.
    """
    if service not in SERVICES:
        raise refuse(f"service is {service!r}", "give before, after, or nothing", value=service)
    return replace(
        visit_of(fit),
        date=date or Date.today(),
        arbor=arbor,
        service=service,
        tooth_1_marked=tooth_1_marked,
        note=note,
        waves=_waves(fit),
    )


def visit_of(fit: WobbleFit) -> Visit:
    """Return a measurement without its day and its bends, as it is compared at once."""
    readings, blade = fit.readings, fit.readings.blade
    mm = _mm(fit)
    kept = ~readings.closing
    return Visit(
        date=Date.min,
        blade=blade.name,
        teeth=blade.teeth,
        unit=fit.unit,
        arbor="",
        surface=readings.surface,
        side=readings.side,
        ring_radius_mm=readings.ring_radius_mm,
        read=len(np.unique(readings.tooth[kept])),
        turns=len(np.unique(readings.turn[kept])),
        tooth_1_marked=False,
        service="",
        cosine_mm=fit.cosine * mm,
        sine_mm=fit.sine * mm,
        covariance_mm2=fit.covariance * mm**2,
        dof=fit.dof,
        rounding_mm=fit.rounding_margin * mm,
        raw_tir_mm=fit.raw_tir * mm,
        waves={},
        diameter_mm=blade.diameter_mm,
        tooth_width_mm=blade.tooth_width_mm,
        note="",
        digest=digest_of(readings),
    )


def _mm(fit: WobbleFit) -> float:
    return 1 / fit.readings.in_unit(1.0)


def _waves(fit: WobbleFit) -> dict[int, Wave]:
    """Return the bends that the readings can tell, fitted beside the wobble."""
    mm = _mm(fit)
    bent = fit_wobble(fit.readings, harmonics=max(WAVES))
    rounding = bent.rounding_margin / math.sqrt(3)
    return {
        one.order: Wave(one.amplitude * mm, math.hypot(one.amplitude_u, rounding) * mm)
        for one in bent.harmonics
        if one.order in WAVES and one.amplitude is not None and one.amplitude_u is not None
    }


def differs(one: Visit, other: Visit) -> str:
    """Return in words why the wobbles of two measurements cannot be compared; empty if they can.

    The number of readings does not matter here: the doubt of each takes it in.
    """
    if one.blade and other.blade and one.blade != other.blade:
        return f"it is of blade {one.blade}, not {other.blade}"
    if one.teeth != other.teeth:
        return f"the blade has {one.teeth} teeth, not {other.teeth}"
    what = next(iter(differing(one, other)), "")
    if what == "surface":
        return f"it was read on the {one.surface}, not on the {other.surface}"
    if what == "ring_radius":
        sizes = (one.ring_radius_mm, other.ring_radius_mm)
        return _unlike("ring radius", *("" if one is None else f"{one:.4g} mm" for one in sizes))
    return _unlike(what, getattr(one, what), getattr(other, what)) if what else ""


def _unlike(what: str, one: str, other: str) -> str:
    if one and other:
        return f"the {what} is {one}, not {other}"
    return f"the {what} is {one}, and not stated of the other" if one else f"no {what} is stated"


def differs_in_plan(one: Visit, other: Visit) -> str:
    """Return in words how the plans of two measurements differ; empty if they do not."""
    same = (one.read, one.turns) == (other.read, other.turns)
    return "" if same else f"{one.plan} were read, not {other.plan}"
