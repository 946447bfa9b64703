"""One measurement of a blade, as it is kept for years: what may be compared with what."""

from __future__ import annotations

import math
from dataclasses import replace
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
from bladegeom.result import Result, derived, described, number, quantity
from bladegeom.tables.tidy import digest_of

SERVICES = ("", "before", "after")
WAVES = (2, 3)
"""Bends are kept as waves of so many a turn."""


class Wave(NamedTuple):
    """A wave of several a turn: amplitude and standard uncertainty in millimetres."""

    amplitude_mm: float
    u_mm: float


@described
class Visit(Result):
    """One measurement of a blade, with everything that decides what it may be compared with.

    Its values, in this order, are the columns of a history. `covariance_mm2` is that of the
    wobble's cosine and sine part, shape (2, 2); `waves` are those of `WAVES` that the readings can
    tell.
    """

    date: Date
    covariance_mm2: NDArray[np.float64]
    waves: dict[int, Wave]

    @derived("day of the measurement, as text", key="date", label="measured")
    def day(self) -> str:
        return self.date.isoformat()

    blade: str = quantity("the blade's name, as text")
    service: str = quantity("before or after the blade was serviced; empty: neither")
    arbor: str = quantity("on what it was measured, in the shop's own words", label="arbor")
    teeth: int = quantity("number of teeth")
    diameter_mm: float | None = quantity("diameter of the blade")
    tooth_width_mm: float | None = quantity("width of its teeth")
    surface: str = quantity("what the stylus touched: plate or teeth")
    side: str = quantity("on which side the indicator stood")
    ring_radius_mm: float | None = quantity("radius of the ring that the stylus followed")
    read: int = quantity("how many teeth were read", label="read", text=lambda one: one.plan)
    turns: int = quantity("in how many turns")
    tooth_1_marked: bool = quantity("whether tooth 1 is marked for good, and directions compare")
    unit: str = quantity("in which it was read")

    @derived("wobble TIR", label="wobble TIR", text=lambda one: f"{number(one.wobble_tir_mm)} mm")
    def wobble_tir_mm(self) -> float:
        return 2 * self.amplitude_mm

    raw_tir_mm: float = quantity("highest less lowest reading of a turn")
    cosine_mm: float = quantity("cosine part of the wobble")
    sine_mm: float = quantity("sine part of the wobble")

    @derived("variance of the cosine part")
    def variance_cosine_mm2(self) -> float:
        return float(self.covariance_mm2[0, 0])

    @derived("variance of the sine part")
    def variance_sine_mm2(self) -> float:
        return float(self.covariance_mm2[1, 1])

    @derived("covariance of the two", key="covariance_mm2")
    def shared_mm2(self) -> float:
        return float(self.covariance_mm2[0, 1])

    dof: int = quantity("its degrees of freedom")
    rounding_mm: float = quantity(
        "half a graduation where rounding errors do not average out, else 0"
    )

    @derived("bend of two waves a turn", parts=("_amplitude_mm", "_u_mm"))
    def waves_2(self) -> Wave | None:
        return self.waves.get(2)

    @derived("bend of three waves a turn", parts=("_amplitude_mm", "_u_mm"))
    def waves_3(self) -> Wave | None:
        return self.waves.get(3)

    note: str = quantity("a note", label="note")
    digest: str = quantity("of the readings: the same readings have the same one")

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

    def _title(self) -> str:
        when = f", {self.service} its service" if self.service else ""
        return f"{f'Blade {self.blade}' if self.blade else 'Blade'}{when}"

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
