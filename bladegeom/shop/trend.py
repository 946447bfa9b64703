"""How a blade changes over the years: a line through comparable measurements, and its doubt."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date as Date  # noqa: N812
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.estimate import Estimate, judge
from bladegeom.faults import Who, refuse
from bladegeom.kinds import checked
from bladegeom.lengths import convert
from bladegeom.result import Result, derived, described, named, number
from bladegeom.result import quantity as declare  # A trend has a quantity of its own.
from bladegeom.shop.history import CHECK, Visit, differs, differs_in_plan, spelt_otherwise

Floats = NDArray[np.float64]

QUANTITIES = {
    "wobble_tir": "wobble (TIR)",
    "two_wave_tir": "bend of two waves a turn (TIR)",
    "three_wave_tir": "bend of three waves a turn (TIR)",
    "diameter": "diameter",
    "tooth_width": "tooth width",
}
"""What a trend can be of, and its name for people."""

LEAST = 3
"""Measurements that a trend takes."""

_DAYS = 365.2425
_SIZES = ("diameter", "tooth_width")


class Point(NamedTuple):
    """One measurement of a trend.

    Attributes
    ----------
    visit : Visit
    value, u : float
        In the trend's unit; `u` is NaN where it is not known.
    apart : str
        Why it is not compared with the others; empty where it is.
    spelt : bool
        Whether that is only because its arbor is spelt otherwise than the latest one's.
    """

    visit: Visit
    value: float
    u: float
    apart: str
    spelt: bool = False


@described
class Trend(Result):
    """A straight line through the comparable measurements of a blade.

    `points` are all measurements in the order of their days, those apart with their reason. There
    is no line where fewer than three measurements, or two days, can be compared.
    """

    points: tuple[Point, ...]

    @derived("the blade's name, as text")
    def blade(self) -> str:
        return self.points[-1].visit.blade

    @derived("whose blade it is; empty where no measurement says")
    def customer(self) -> str:
        return next((one.visit.customer for one in self.points if one.visit.customer), "")

    quantity: str = declare("what the trend is of: one of `QUANTITIES`")
    unit: str = declare("unit of the values")

    @derived("growing, shrinking, no change shown, too few measurements", label="verdict")
    def verdict(self) -> str:
        if self.per_year is None:
            return "too few measurements"
        if judge(self.per_year, 0.0) != "no":
            return "no change shown"
        return "growing" if self.per_year.value > 0 else "shrinking"

    @derived(
        "how many measurements the line goes through",
        parts={"": len},
        label="measurements compared",
        text=lambda one: str(len(one.compared)),
    )
    def compared(self) -> tuple[Point, ...]:
        return tuple(one for one in self.points if not one.apart)

    @derived("day of the first of them", label="from", text=lambda one: _day(one.compared[0]))
    def first_date(self) -> str:
        return self.compared[0].visit.date.isoformat()

    @derived("day of the latest", label="to", text=lambda one: _day(one.compared[-1]))
    def last_date(self) -> str:
        return self.compared[-1].visit.date.isoformat()

    @derived(
        "its value",
        label="last",
        text=lambda one: f"{number(one.last_value, one.compared[-1].u)} {one.unit}",
    )
    def last_value(self) -> float:
        return self.compared[-1].value

    @derived(
        "slope of the line",
        label="change a year",
        text=lambda one: one.per_year.text(f"{one.unit} a year") if one.per_year else "",
    )
    def per_year(self) -> Estimate | None:
        return self._line.per_year if self._line else None

    @derived("its degrees of freedom")
    def dof(self) -> float | None:
        return self._line.per_year.dof if self._line else None

    @derived(
        "by how much they scatter more than their own doubt says; 1: not more", key="excess_scatter"
    )
    def excess(self) -> float:
        return self._line.excess if self._line else 1.0

    @derived(
        "how many are not compared",
        parts={"": len},
        label="apart",
        text=lambda one: [
            ("apart" if place == 0 else " ", f"{_day(point)}: {point.apart}")
            for place, point in enumerate(one.apart)
        ],
    )
    def apart(self) -> tuple[Point, ...]:
        return tuple(one for one in self.points if one.apart)

    @derived("what the reader should know")
    def warnings(self) -> list[str]:
        return list(self._remarks())

    @cached_property
    def _line(self) -> _Line | None:
        days = [one.visit.date.toordinal() for one in self.compared]
        if len(days) < LEAST or len(set(days)) < 2:
            return None
        return line_through(self.compared, np.array(days, dtype=np.float64))

    def at(self, day: Date) -> Estimate | None:
        """Return the height of the line on a day; None where there is no line."""
        if self._line is None:
            return None
        slope, middle, height, _ = self._line
        years = (day.toordinal() - middle) / _DAYS
        value, u = height.value + years * slope.value, math.hypot(height.u, years * slope.u)
        return Estimate(value, u, slope.dof)

    def _title(self) -> str:
        who = Who(self.blade, self.customer)
        return f"{named(str(who))}, {QUANTITIES[self.quantity]}: {self.verdict}"

    def _remarks(self) -> Sequence[str]:
        said = []
        if self.per_year is None:
            said.append(
                f"A trend takes {LEAST} comparable measurements on two days at least; there "
                f"{'is' if len(self.compared) == 1 else 'are'} {len(self.compared)}."
            )
        if spelt := sum(one.spelt for one in self.points):
            said.append(
                f"{spelt} measurement{' is' if spelt == 1 else 's are'} apart only by how the "
                "arbor is spelt. If it is the same, correct it in the history's lines, and empty "
                f"the cell {CHECK} of each that you correct."
            )
        if self.excess > 2:
            said.append(
                "The measurements scatter more than their own doubt says, as where the blade seats "
                "differently each time; the limits take that in."
            )
        if self.quantity not in _SIZES and any(one.value < 6 * one.u for one in self.compared):
            said.append(
                "Scatter makes a small wobble or bend look larger: a measurement that is not much "
                "larger than its doubt stands too high."
            )
        return said


def _day(point: Point) -> str:
    service = point.visit.service
    return point.visit.date.isoformat() + (f" ({service} service)" if service else "")


@checked
def trend(visits: Sequence[Visit], quantity: str = "wobble_tir") -> Trend:
    """Draw a straight line through the comparable measurements of one blade.

    Wobbles and bends are compared with the latest one: same ring, surface, side, arbor and plan,
    and no service in between. Diameter and tooth width are the blade's own and all compared.
    Weighted least squares, weights from the doubt of each; where the measurements scatter more
    than that (a seat does not repeat itself), all doubt grows with it (Birge's ratio); Student's t
    with the measurements less two.

    Parameters
    ----------
    visits : sequence of Visit
        Of one blade.
    quantity : str
        One of `QUANTITIES`.

    Returns
    -------
    Trend

    Raises
    ------
    RefusedError
        If they are of several blades, or none of them has the quantity.
    """
    if quantity not in QUANTITIES:
        cure = f"ask for one of {', '.join(QUANTITIES)}"
        raise refuse(f"there is no trend of {quantity!r}", cure, value=quantity)
    names = sorted({one.blade for one in visits})
    whose = sorted({one.customer for one in visits if one.customer})
    if len(names) > 1 or len(whose) > 1:
        several = names if len(names) > 1 else [str(Who(names[0], one)) for one in whose]
        said = f"the measurements are of {len(several)} blades"
        raise refuse(said, "give those of one", value=", ".join(several[:8]))
    sizes = [_value(one, quantity) for one in visits]
    found = [one for one, size in zip(visits, sizes, strict=True) if size is not None]
    if not found:
        facts = "record the blade's facts with its readings"
        cure = facts if quantity in _SIZES else "read more teeth"
        blade = names[0] if names else None
        raise refuse(f"no measurement has a {QUANTITIES[quantity]}", cure, blade=blade)
    last, unit = found[-1], found[-1].unit
    if quantity in _SIZES:
        unit = "in" if unit in ("in", "thou") else "mm"
    alike = [
        replace(one, arbor=last.arbor) if spelt_otherwise(one.arbor, last.arbor) else one
        for one in found
    ]
    points = []
    for one, same, size in zip(found, alike, filter(None, sizes), strict=True):
        why, spelt = "", False
        if quantity not in _SIZES:
            why = differs(same, last) or differs_in_plan(same, last) or _serviced(same, alike)
            spelt = not why and one is not same
        if spelt:
            why = f'the arbor is spelt "{one.arbor}", not "{last.arbor}": is it the same?'
        value, u = (convert(part, "mm", unit) for part in (size.value, size.u))
        points.append(Point(one, value, u, why, spelt))
    return Trend(points=tuple(points), quantity=quantity, unit=unit)


class _Line(NamedTuple):
    """A line: slope, the (ordinal) day where it and the height share no doubt, the height there."""

    per_year: Estimate
    middle: float
    at_middle: Estimate
    excess: float


def line_through(compared: Sequence[Point], days: Floats) -> _Line:
    """Return the line through some points, and by how much they scatter more than they should."""
    value = np.array([one.value for one in compared])
    u = np.array([one.u for one in compared])
    known = bool(np.isfinite(u).all() and (u > 0).all())
    weight = 1 / u**2 if known else np.ones_like(value)
    # About the weighted mean of the days, so that height and slope share nothing.
    middle = float((weight * days).sum() / weight.sum())
    years = (days - middle) / _DAYS
    height = float((weight * value).sum() / weight.sum())
    slope = float((weight * years * value).sum() / (weight * years**2).sum())
    dof = len(compared) - 2
    left = weight * (value - height - slope * years) ** 2
    spread = float(left.sum()) / dof
    excess = math.sqrt(spread) if known else 1.0
    scale = math.sqrt(max(1.0, spread) if known else spread)
    u_slope = scale / math.sqrt(float((weight * years**2).sum()))
    u_height = scale / math.sqrt(float(weight.sum()))
    return _Line(Estimate(slope, u_slope, dof), middle, Estimate(height, u_height, dof), excess)


def _value(one: Visit, quantity: str) -> Estimate | None:
    """Return its value in millimetres; None where it was not measured."""
    if quantity == "wobble_tir":
        return Estimate(one.wobble.amplitude, one.wobble.amplitude_u).times(2)
    if quantity in _SIZES:
        size = one.diameter_mm if quantity == "diameter" else one.tooth_width_mm
        return None if size is None else Estimate(size, math.nan)
    wave = one.waves_2 if quantity == "two_wave_tir" else one.waves_3
    return None if wave is None else wave.times(2)


def _serviced(one: Visit, found: Sequence[Visit]) -> str:
    """Return in words that the blade was serviced after a measurement; empty if it was not."""
    place = found.index(one)
    later = [other for other in found[place:] if other.service == "after" and other is not one]
    return f"the blade was serviced by {later[-1].date.isoformat()}" if later else ""
