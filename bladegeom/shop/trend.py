"""How a blade changes over the years: a line through comparable measurements, and its doubt."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date as Date  # noqa: N812
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.estimate import Estimate
from bladegeom.faults import refuse
from bladegeom.lengths import convert
from bladegeom.result import DOUBTED, Result, derived, described, number
from bladegeom.result import quantity as declare  # A trend has a quantity of its own.
from bladegeom.shop.visit import Visit, differs, differs_in_plan

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
_WAVES = {"two_wave_tir": 2, "three_wave_tir": 3}
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
    """

    visit: Visit
    value: float
    u: float
    apart: str


@described
class Trend(Result):
    """A straight line through the comparable measurements of a blade.

    `points` are all measurements in the order of their days, those apart with their reason.
    `at_middle` is the height of the line on the (ordinal) day `middle`, where it and `per_year` do
    not share their doubt; all three are None where fewer than three measurements, or two days, can
    be compared.
    """

    points: tuple[Point, ...]
    middle: float | None = None
    at_middle: Estimate | None = None

    blade: str = declare("the blade's name, as text")
    quantity: str = declare("what the trend is of: one of `QUANTITIES`")
    unit: str = declare("unit of the values")

    @derived("growing, shrinking, no change shown, too few measurements", label="verdict")
    def verdict(self) -> str:
        if self.per_year is None:
            return "too few measurements"
        if self.per_year.low > 0:
            return "growing"
        return "shrinking" if self.per_year.high < 0 else "no change shown"

    @derived(
        "how many measurements the line goes through", key="compared", label="measurements compared"
    )
    def compared_count(self) -> int:
        return len(self.compared)

    @derived("day of the first of them", label="from", text=lambda one: _day(one.compared[0]))
    def first_date(self) -> str:
        return self.compared[0].visit.date.isoformat()

    @derived("day of the latest", label="to", text=lambda one: _day(one.compared[-1]))
    def last_date(self) -> str:
        return self.compared[-1].visit.date.isoformat()

    @derived("its value", label="last", text=lambda one: one.last_words)
    def last_value(self) -> float:
        return self.compared[-1].value

    per_year: Estimate | None = declare(
        "slope of the line",
        parts=DOUBTED,
        label="change a year",
        text=lambda one: one.per_year.text(f"{one.unit} a year") if one.per_year else "",
        default=None,
    )

    @derived("its degrees of freedom")
    def dof(self) -> float | None:
        return None if self.per_year is None else self.per_year.dof

    excess: float = declare(
        "by how much they scatter more than their own doubt says; 1: not more",
        key="excess_scatter",
        default=1.0,
    )

    @derived(
        "how many are not compared",
        key="apart",
        label="apart",
        text=lambda one: [
            ("apart" if place == 0 else " ", f"{_day(point)}: {point.apart}")
            for place, point in enumerate(one.apart)
        ],
    )
    def apart_count(self) -> int:
        return len(self.apart)

    @derived("what the reader should know")
    def warnings(self) -> list[str]:
        return list(self._remarks())

    @property
    def compared(self) -> tuple[Point, ...]:
        """The measurements that the line goes through."""
        return tuple(one for one in self.points if not one.apart)

    @property
    def apart(self) -> tuple[Point, ...]:
        """The others."""
        return tuple(one for one in self.points if one.apart)

    @property
    def last_words(self) -> str:
        """The latest value with its unit."""
        last = self.compared[-1]
        return f"{number(last.value, last.u)} {self.unit}"

    def at(self, day: Date) -> Estimate | None:
        """Return the height of the line on a day; None where there is no line."""
        if self.per_year is None or self.at_middle is None or self.middle is None:
            return None
        years = (day.toordinal() - self.middle) / _DAYS
        value = self.at_middle.value + years * self.per_year.value
        return Estimate(
            value, math.hypot(self.at_middle.u, years * self.per_year.u), self.per_year.dof
        )

    def _title(self) -> str:
        return f"Blade {self.blade}, {QUANTITIES[self.quantity]}: {self.verdict}"

    def _remarks(self) -> Sequence[str]:
        said = []
        if self.per_year is None:
            said.append(
                f"A trend takes {LEAST} comparable measurements on two days at least; there "
                f"{'is' if len(self.compared) == 1 else 'are'} {len(self.compared)}."
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
        raise refuse(
            f"there is no trend of {quantity!r}", f"ask for one of {', '.join(QUANTITIES)}",
            value=quantity,
        )  # fmt: skip
    if len(names := sorted({one.blade for one in visits})) > 1:
        raise refuse(
            f"the measurements are of {len(names)} blades", "give those of one",
            value=", ".join(names[:8]),
        )  # fmt: skip
    found = [one for one in visits if _value(one, quantity) is not None]
    if not found:
        raise refuse(
            f"no measurement has a {QUANTITIES[quantity]}",
            "record the blade's facts with its readings" if quantity in _SIZES
            else "read more teeth",
            blade=names[0] if names else None,
        )  # fmt: skip
    last = found[-1]
    unit = last.unit
    if quantity in _SIZES:
        unit = "in" if unit in ("in", "thou") else "mm"
    points = tuple(_point(one, last, found, quantity, unit) for one in found)
    compared = [one for one in points if not one.apart]
    days = np.array([one.visit.date.toordinal() for one in compared], dtype=np.float64)
    if len(compared) < LEAST or days[0] == days[-1]:
        return Trend(blade=last.blade, quantity=quantity, unit=unit, points=points)
    slope, middle, height, excess = _line(compared, days)
    return Trend(
        blade=last.blade,
        quantity=quantity,
        unit=unit,
        points=points,
        per_year=slope,
        middle=middle,
        at_middle=height,
        excess=excess,
    )


def _line(compared: Sequence[Point], days: Floats) -> tuple[Estimate, float, Estimate, float]:
    """Return slope a year, the day in the middle, the height there, and the excess scatter."""
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
    return Estimate(slope, u_slope, dof), middle, Estimate(height, u_height, dof), excess


def _value(one: Visit, quantity: str) -> tuple[float, float] | None:
    """Return value and standard uncertainty in millimetres; None where it was not measured."""
    if quantity == "wobble_tir":
        u = math.hypot(one.amplitude_u_mm, one.rounding_mm / math.sqrt(3))
        return 2 * one.amplitude_mm, 2 * u
    if quantity in _WAVES:
        wave = one.waves.get(_WAVES[quantity])
        return None if wave is None else (2 * wave.amplitude_mm, 2 * wave.u_mm)
    size = one.diameter_mm if quantity == "diameter" else one.tooth_width_mm
    return None if size is None else (size, math.nan)


def _point(one: Visit, last: Visit, found: Sequence[Visit], quantity: str, unit: str) -> Point:
    value, u = _value(one, quantity) or (math.nan, math.nan)
    why = ""
    if quantity not in _SIZES:
        why = differs(one, last) or differs_in_plan(one, last) or _serviced(one, found)
    return Point(one, convert(value, "mm", unit), convert(u, "mm", unit), why)


def _serviced(one: Visit, found: Sequence[Visit]) -> str:
    """Return in words that the blade was serviced after a measurement; empty if it was not."""
    place = found.index(one)
    later = [other for other in found[place:] if other.service == "after" and other is not one]
    return f"the blade was serviced by {later[-1].date.isoformat()}" if later else ""
