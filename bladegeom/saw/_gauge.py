"""How well one reading with a gauge repeats: on that the doubt of few readings rests."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.estimate import Estimate
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import MM_PER, Length, length_mm
from bladegeom.result import Result, described, number, quantity

Floats = NDArray[np.float64]

RestsOn = Literal["blade", "stated", "cautious", "readings", "nothing"]

_RESTS_ON: dict[RestsOn, str] = {
    "blade": "{}, as the blade's own readings with this graduation scatter",
    "stated": "{}, the repeatability that is stated",
    "cautious": "{}, by caution: no repeatability is stated, and no readings of the blade with "
    "this graduation tell one",
    "readings": "{}, as these readings scatter",
    "nothing": "",
}

_CAUTIOUS, _CAUTIOUS_DOF = 0.7, 5.0
"""Scatter of one reading where nothing tells it, as a share of the graduation, and what that is
worth; tests/benchmarks/few.md shows what comes of it."""

_STEADY_DOF = 4
"""Degrees of freedom of repeats that, where all agree, show that the dial's step hides the scatter:
three readings at each of two ends."""

_MORE = 0.1
"""Readings of one thing that scatter so much that it has less than this chance are taken alone."""

_ENOUGH_FOR_A_STEP = 12


@described
class Gauge(Result):
    """How well one reading with a gauge repeats, on which the doubt of few readings rests.

    The scatter that is known beforehand stands for as many readings as it has degrees of freedom;
    those of the thing itself are pooled with it. Where they scatter more than can be by chance,
    they are taken alone: a dial may repeat better on the blade than carried along a slot.
    """

    graduation: float | None = quantity("of the gauge: its finest step")
    sd: float = quantity(
        "standard deviation of one reading, rounding and all", key="reading_sd", default=math.nan
    )
    dof: float = quantity("its degrees of freedom", key="reading_dof", default=0.0)
    rests_on: RestsOn = quantity(
        "on what that rests: readings of the blade with the same graduation, a stated "
        "repeatability, a cautious guess, these readings alone, or nothing",
        label="one reading scatters by",
        text=lambda one: one._said(),
        default="nothing",
    )
    unit: str = quantity("of both: mm, in or deg", key="gauge_unit")
    assumed: bool = False
    """Whether the graduation is not stated, and the step of the readings was taken for it."""
    steady: bool = False
    """Whether repeated readings all agreed, so that nothing dithers the rounding away."""

    def with_readings(self, squares: float, dof: int) -> Gauge:
        """Pool it with readings of one thing: their squares about it, and degrees of freedom."""
        if not dof:
            return self
        rests_on: RestsOn = self.rests_on
        known = self.sd**2 * special.fdtri(dof, min(self.dof, 1e7), 1 - _MORE) if self.dof else 0.0
        if squares > known * dof:
            variance, freedom, rests_on = squares / dof, float(dof), "readings"
        elif not self.dof or math.isinf(self.dof):
            variance, freedom = self.sd**2, self.dof
        else:
            freedom = self.dof + dof
            variance = (self.dof * self.sd**2 + squares) / freedom
        step = self.graduation or 0.0
        steady = step > 0 and dof >= _STEADY_DOF and squares <= (1e-6 * step) ** 2
        sd = max(0.0 if steady else math.sqrt(variance), step / math.sqrt(12))
        return replace(self, sd=sd, dof=freedom, rests_on=rests_on, steady=steady)

    @property
    def rounding(self) -> float:
        """What rounding adds to a mean however often one reads (standard uncertainty).

        The more a reading scatters, the less: ``q / sqrt(12) exp(-2 pi^2 sd^2 / q^2)`` with the
        scatter before rounding, as the first wave of the saw-tooth that rounding is fades. Of
        readings that all agree nothing fades.
        """
        if not self.graduation or not self.dof:
            return 0.0
        scatter = 0.0 if self.steady else max(0.0, (self.sd / self.graduation) ** 2 - 1 / 12)
        return self.graduation / math.sqrt(12) * math.exp(-2 * math.pi**2 * scatter)

    def of(self, value: float, spread: float, rounding: float) -> Estimate:
        """Return what has so much of the doubt of one reading, and so much of that of rounding."""
        u = math.hypot(self.sd * spread, self.rounding * rounding)
        return Estimate(value, u, self.dof or math.inf)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader should know."""
        if not self.assumed:
            return ()
        step = f"{number(self.graduation or 0.0)} {self.unit}"
        return (
            f"The graduation is not stated: {step}, the step of the readings, is taken for it.",
        )

    def _said(self) -> str:
        return _RESTS_ON[self.rests_on].format(f"{number(self.sd, self.sd / 4)} {self.unit}")

    def _title(self) -> str:
        return "Gauge"


def gauge_of(
    unit: str,
    graduation: Length | None,
    repeatability: Length | None = None,
    *read: Floats,
    fit: WobbleFit | None = None,
) -> Gauge:
    """Return how well a gauge repeats, before what was read with it, in `unit`.

    As it is stated, which is the standard deviation before rounding; else as the blade's own
    readings scatter if they were taken with the same graduation; else by caution. A graduation that
    is not stated is the step of what was read, if that is enough to tell it.
    """
    given = {"graduation": graduation, "repeatability": repeatability}
    mm = {what: length_mm(what, one) for what, one in given.items()}
    step, stated = (None if one is None else one / MM_PER[unit] for one in mm.values())
    if step is None and (step := _step_of(np.concatenate(read))):
        return replace(known_gauge(unit, step, stated, fit), assumed=True)
    return known_gauge(unit, step, stated, fit)


def known_gauge(
    unit: str, step: float | None, stated: float | None, fit: WobbleFit | None = None
) -> Gauge:
    """Return the same of a graduation and a repeatability in the unit."""
    known = Gauge(graduation=step, unit=unit)
    rounding = (step or 0.0) / math.sqrt(12)
    if stated is not None:
        sd = math.hypot(stated, rounding)
        return replace(known, sd=sd, dof=math.inf, rests_on="stated")
    if step is None:
        return known
    if fit is not None and fit.mistake is None:
        per = MM_PER[fit.unit] / MM_PER[unit]
        repeats = fit.budget.repeats
        sd, dof = (fit.residual_sd, fit.dof) if repeats is None else repeats[:2]
        if dof and math.isclose((fit.readings.graduation or 0.0) * per, step, rel_tol=1e-6):
            return replace(known, sd=max(sd * per, rounding), dof=float(dof), rests_on="blade")
    return replace(known, sd=_CAUTIOUS * step, dof=_CAUTIOUS_DOF, rests_on="cautious")


def _step_of(read: Floats) -> float | None:
    """Return the largest step in which readings can have been written down; None if too few tell.

    It is never finer than the graduation, and hardly ever coarser for so many readings.
    """
    off = np.unique(np.abs(read - read[0]))
    step = 0.0
    for one in off.tolist() if len(read) >= _ENOUGH_FOR_A_STEP else ():
        while one > 1e-6 * off[-1]:
            step, one = one, step % one
    return step if step > 1e-3 * off[-1] else None
