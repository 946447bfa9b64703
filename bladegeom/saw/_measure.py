"""Measurements of a saw: taken and checked, worked out with their doubt, and told in words."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.estimate import Estimate, Known, Verdict
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import student_t, zero_amplitude_p
from bladegeom.lengths import (
    MM_PER,
    Length,
    Lengths,
    NumberError,
    length_mm,
    lengths_mm,
    one_unit,
    parse_number,
)
from bladegeom.result import decimals_for, number
from bladegeom.saw._gauge import Gauge
from bladegeom.sizes import MOST_APART_MM

Floats = NDArray[np.float64]
Side = Literal["left", "right"]
SIDES: tuple[Side, ...] = ("left", "right")
Tolerance = str | tuple[float, str]
"""The largest error accepted: a length, or degrees as ``"0.05 deg"`` or ``(0.05, "deg")``."""

_MOST_READINGS = 20
"""More of one place are not asked for: a finer dial helps then."""

NOT_TOLD = "no error can be told from the doubt of the readings"
UNKNOWN = "How sure this is cannot be told: read again, or give the graduation of the gauge."


def taken(
    given: dict[str, Lengths | None], *, least: int = 1, signed: bool = True, zero: bool = True
) -> tuple[list[Floats], str]:
    """Return lists of lengths (name -> as given, in one unit) and the unit in which all are shown.

    Thous are shown in inches, micrometres in millimetres. There must be so many values of each,
    below 0, and 0, only where that may be.
    """
    read, units = [], {}
    for what, one in given.items():
        values, unit = lengths_mm(what, one, least=least)
        for place, value in enumerate(values / MM_PER[unit], start=1):
            if (value < 0 and not signed) or (value == 0 and not zero):
                raise refuse(
                    f"value {place} of {what} is {value:g} {unit}",
                    f"give a length above 0{', or 0' if zero else ''}",
                    value=value,
                    column=what,
                )
        units[what] = {"thou": "in", "um": "mm"}.get(unit, unit)
        read.append(values / MM_PER[units[what]])
    unit = one_unit(units)
    apart = float(np.ptp(np.concatenate(read)))
    if apart * MM_PER[unit] > MOST_APART_MM.get(tuple(given), math.inf):
        raise refuse(
            f"{' and '.join(given)} differ by {apart:g} {unit}, too much to be true",
            "check the unit: thou is a thousandth of an inch, um a thousandth of a millimetre",
            value=f"{apart:g} {unit}",
            column=next(iter(given)),
        )
    return read, unit


def in_unit(unit: str, what: str, given: Length | None) -> float | None:
    """Return in a unit a length that may be given."""
    length = length_mm(what, given)
    return None if length is None else length / MM_PER[unit]


def needed(unit: str, what: str, given: Length | None) -> float:
    """Return in a unit a length that must be given."""
    length = in_unit(unit, what, given)
    if length is None:
        raise refuse(f"{what} is not given", 'give it as "8 in" or (8, "in")', column=what)
    return length


def tolerance_of(unit: str, given: Tolerance | None) -> tuple[float | None, float | None]:
    """Return a tolerance in a unit, or else in degrees; two times None without one."""
    degrees: Any = None
    if isinstance(given, str) and given.strip().endswith("deg"):
        try:
            degrees = parse_number(given.strip().removesuffix("deg"))
        except NumberError as error:
            problem = f"tolerance: {error.problem}"
            raise refuse(problem, error.cure, value=given, column="tolerance") from None
    elif isinstance(given, tuple) and given[1:] == ("deg",):
        degrees = given[0]
    else:
        return in_unit(unit, "tolerance", given), None
    if isinstance(degrees, bool) or degrees is None or not 0 < degrees < 90:
        problem = f"the tolerance is {degrees} deg"
        raise refuse(problem, "give degrees above 0", value=degrees, column="tolerance")
    return None, degrees


def one_of(what: str, value: object, known: Sequence[str]) -> None:
    """Refuse what is none of the words known."""
    if value not in known:
        problem = f"{what} is not given" if value is None else f"{what} is {value!r}"
        raise refuse(problem, f"give {' or '.join(known)}", value=value, column=what)


class Plane:
    """A plane through readings, in the axes in which its slopes are independent.

    Also a line, of places along one axis; or a mean, of readings that are all at one place. The
    places have the shape (n, axes). The doubt is that of the `gauge` with the scatter about the
    plane pooled into it; rounding adds once to the height, and to each slope sqrt(2) times over the
    length that was read in its direction. `off` is the heights less those of the plane.
    """

    def __init__(self, places: Floats, heights: Floats, gauge: Gauge) -> None:
        self._places, self._before = places, gauge
        self.centre: Floats = places.mean(axis=0)
        away = places - self.centre
        _, long, axes = np.linalg.svd(away, full_matrices=False)
        long, self._axes = long[long > 0], axes[long > 0]
        along = away @ self._axes.T
        # Counted from the first: equal readings then have no scatter, not binary dust.
        high = heights - heights[0]
        mean = float(high.mean())
        self._height = float(heights[0]) + mean
        self._slopes: Floats = along.T @ (high - mean) / long**2
        self.off: Floats = high - mean - along @ self._slopes
        dof = len(heights) - 1 - len(long)
        # Heights in a plane leave no more than the dust of binary arithmetic.
        if np.linalg.norm(self.off) <= 1e-12 * math.sqrt(dof) * float(np.abs(heights).max()):
            self.off = np.zeros_like(self.off)
        self.sd = float(np.linalg.norm(self.off)) / math.sqrt(dof) if dof else math.nan
        self.gauge = gauge.with_readings(float(self.off @ self.off), dof)
        # Of the height and of each slope, for a scatter of 1 and for rounding of 1.
        self._spread = 1 / np.array([math.sqrt(len(heights)), *long])
        self._rounding = np.array([1.0, *(math.sqrt(2) / np.ptp(along, axis=0))])
        times = np.unique(places, axis=0, return_counts=True)[1]
        self.times = int(times.min())
        """How often the place was read that was read least often."""
        two = len(times) == 2 and self.times < 3 and gauge.graduation is not None
        self._least = (gauge.graduation or 0.0) / float(np.ptp(along)) if two else 0.0

    def at(self, place: Floats) -> Estimate:
        """Return the height of the plane at a place."""
        return self._made_of([1.0, *(self._axes @ (place - self.centre))])

    def rise(self, way: Sequence[float] | Floats) -> Estimate:
        """Return the slope in a direction, of length 1.

        Two places of which one was read once or twice do not tell less than a whole graduation.
        """
        rise = self._made_of([0.0, *(self._axes @ np.asarray(way))])
        # A little more, so that just a graduation is not told by binary dust.
        least = self._least * (1 + 1e-6) / student_t(0.95, rise.dof)
        return replace(rise, u=max(rise.u, least))

    def farthest(self) -> Known:
        """Return the height of the plane at the place read where it lies farthest from 0.

        That place was picked among all, by what was read. What is left is at most the largest of
        all upper limits; at least the largest of the lower ones that hold for every place of the
        plane at once (Scheffe's rule, ``t^2 = p F(0.95; p, dof)`` for p parts of the plane).
        """
        each = [self.at(place) for place in np.unique(self._places, axis=0)]
        worst = max(each, key=lambda one: abs(one.value))
        parts = len(self._spread)
        at_once = math.sqrt(parts * special.fdtri(parts, min(worst.dof, 1e7), 0.95))
        low = max(max(abs(one.value) - at_once * one.u for one in each), 0.0)
        high = max(abs(one.value) + one.reach for one in each)
        limits = (low, high) if worst.value >= 0 else (-high, -low)
        return Known(worst.value, worst.u, *limits, worst.dof)

    def tilt(self) -> tuple[Estimate, float]:
        """Return the tilt and the direction in which the plane rises, both in degrees.

        The direction is counted from the first coordinate toward the second. The doubt is that of
        the slope in its direction; of a level plane, the larger one of the two axes.
        """
        steepest = self._slopes @ self._axes
        slope = float(np.hypot(*steepest))
        ways = [steepest / slope] if slope else self._axes
        tilt = max((self.rise(way) for way in ways), key=lambda one: one.u)
        return angle_over(tilt, 1.0), math.degrees(math.atan2(steepest[1], steepest[0])) % 360

    def tilts(self) -> bool | None:
        """Return whether a tilt is established at 95 %; None where the doubt is not known.

        By the test that both slopes are 0, as for the wobble of a blade.
        """
        ways = [self.rise(way) for way in self._axes]
        if math.isnan(ways[0].u):
            return None
        f = sum((one.value / one.u) ** 2 for one in ways) / 2
        return zero_amplitude_p(float(f), min(one.dof for one in ways)) < 0.05

    def readings_needed(self, verdict: Callable[[Plane], Verdict | None]) -> int | None:
        """Return how many readings of each place would decide, if all goes on as it is.

        None where the verdict is told already, or no number that a person reads would tell it.
        """
        if verdict(self) != "cannot tell":
            return None
        tried = range(self.times + 1, _MOST_READINGS + 1)
        return next((n for n in tried if verdict(self._read_again(n)) != "cannot tell"), None)

    def _read_again(self, times: int) -> Plane:
        """Return the same plane with every place read so often, and readings that scatter alike."""
        at = np.unique(self._places, axis=0)
        places = np.repeat(at, times, axis=0)
        heights = np.repeat([self.at(place).value for place in at], times)
        again = Plane(places, heights, self._before)
        before = self._before.dof if self.gauge.rests_on == self._before.rests_on else 0.0
        dof = before + len(heights) - len(self._spread)
        again.gauge = replace(self.gauge, dof=dof)
        return again

    def _made_of(self, weights: list[float]) -> Estimate:
        """Return what is made of height and slopes with these weights."""
        each = np.asarray(weights)
        spread, rounding = (
            float(np.linalg.norm(each * one)) for one in (self._spread, self._rounding)
        )
        return self.gauge.of(float(each @ [self._height, *self._slopes]), spread, rounding)


def difference_of(first: Floats, second: Floats, gauge: Gauge) -> tuple[Estimate, Plane]:
    """Return the mean of repeats of one thing less that of another, and the line through both."""
    places = np.repeat([[1.0], [0.0]], [len(first), len(second)], axis=0)
    line = Plane(places, np.concatenate([first, second]), gauge)
    return line.rise([1.0]), line


def mean_of(readings: Floats, gauge: Gauge) -> tuple[Estimate, Plane]:
    """Return the mean of repeated readings of one thing, and the level line through them."""
    level = Plane(np.zeros((len(readings), 1)), readings, gauge)
    return level.at(level.centre), level


def angle_over(rise: Estimate, run: float) -> Estimate:
    """Return ``atan(rise / run)`` in degrees, its doubt by the first derivative (GUM 5.1.2)."""
    slope = rise.value / run
    per_rise = math.degrees(1 / (run * (1 + slope**2)))
    return rise.carried(math.degrees(math.atan(slope)), per_rise)


def rise_over(angle: Estimate, run: float) -> Estimate:
    """Return ``run tan(angle)`` of an angle in degrees, its doubt by the first derivative."""
    slope = math.tan(math.radians(angle.value))
    return angle.carried(run * slope, run * math.radians(1) * (1 + slope**2))


def told(estimate: Estimate | Known) -> bool:
    """Return whether a value is more than its 95 % doubt, which must be known."""
    return abs(estimate.value) > estimate.reach


def size(estimate: Estimate, unit: str) -> str:
    """Return an amount without its sign, rounded to its doubt, for words that say the way."""
    return f"{number(abs(estimate.value), estimate.u)} {unit}"


def sided(estimate: Estimate, unit: str, plus: str, minus: str) -> str:
    """Return an amount with its limits and the side it lies to, in words that carry the sign.

    Where the limits include 0 there is no side: only the most that it can be is told. No digit is
    told that is more than one finer than a hand can set.
    """
    places = min(decimals_for(estimate.u, estimate.value), _PLACES[unit])
    value, low, high = (
        f"{abs(one):.{places}f}" for one in (estimate.value, estimate.low, estimate.high)
    )
    if not told(estimate):
        if not math.isfinite(estimate.u):
            return "nothing shown, but how sure this is is not known"
        return f"at most {max(low, high, key=float)} {unit} either way, no side told"
    limits = "doubt not known"
    if math.isfinite(estimate.u):
        low, high = sorted((low, high), key=float)
        limits = f"95 %: {low} to {high}"
    return f"{value} {unit} {plus if estimate.value > 0 else minus} ({limits})"


def to_set(amount: float, unit: str, graduation: float | None = None) -> str:
    """Return an amount without its sign, as finely as a hand can set it.

    That is the graduation where one is stated, else what a common indicator shows; half of it is
    the least that is told.
    """
    step = graduation or FINEST[unit]
    steps = max(0.5, round(abs(amount) / step))
    return f"{np.format_float_positional(round(steps * step, 9), trim='-')} {unit}"


_PLACES = {"deg": 3, "mm": 3, "in": 4}
"""Unit -> decimals that are told of what was found."""

FINEST = {"deg": 0.01, "mm": 0.01, "in": 0.0005}
"""Unit -> what is as good as a hand can set (common practice, no source)."""


def by_hand(value: float, u: float, unit: str) -> str:
    """Return an amount without its sign, rounded to its doubt and no finer than a hand can set."""
    step = FINEST[unit]
    if not math.isfinite(value):
        return "?"
    if abs(value) < step / 2:
        return f"less than {step:g}"
    places = min(decimals_for(u, value), 4 if unit == "in" else 2)
    return f"{max(round(abs(value) / step), 1) * step:.{places}f}"


def known_to(one: Estimate | Known, unit: str) -> str:
    """Return the size of what is off to one side, with its limits, as a hand can set it."""
    sizes = sorted(map(abs, (one.low, one.high)))
    doubt = one.u if math.isfinite(one.u) else (sizes[1] - sizes[0]) / 4
    value, low, high = (by_hand(size, doubt, unit) for size in (one.value, *sizes))
    if not math.isfinite(doubt):
        return f"{value} {unit} (doubt not known)"
    limits = "" if low == high else f" (95 %: {low} to {high})"
    return f"{value} {unit}{limits}"


def at_most(estimate: Estimate, unit: str) -> str:
    """Return how large what may be off to either side may be."""
    if not math.isfinite(estimate.u):
        return "by an amount of which nothing tells the doubt"
    most = by_hand(max(abs(estimate.low), abs(estimate.high)), estimate.u, unit)
    return f"by {most} {unit}" if most.startswith("less") else f"by at most {most} {unit}"


def unknown(estimate: Estimate) -> tuple[str, ...]:
    """Return the remark on what nothing tells the doubt of."""
    return () if math.isfinite(estimate.u) else (UNKNOWN,)


def again_at(what: str, times: int | None) -> str:
    """Say how often a part is to be read at each place until it can be told what to do."""
    if times is None:
        return f"It cannot be told so, however often {what} is read: use a finer indicator."
    return f"Read {what} {times} times at each place: then it can be told."


def side_of(fit: WobbleFit) -> str | None:
    """Return the side of the blade on which its indicator stood, if it is left or right."""
    side = fit.readings.side.strip().lower()
    return side if side in SIDES else None


def side_needed(side: str | None, what: str) -> str:
    """Return the side of the blade on which its indicator stood, or say that it is needed."""
    if side is None:
        raise refuse(
            f"{what} needs to know on which side of the blade its indicator stood",
            "write left or right in the column side of the blade's readings",
        )
    return side


def named_side(side: str | None, toward: bool) -> str | None:
    """Return which side is toward an indicator that stands on one, or away from it."""
    if side is None or toward:
        return side
    return "right" if side == "left" else "left"


def way_to(side: str | None, toward: bool, seen: str) -> str:
    """Return a way as seen from the indicator, and to which side that is where it is known."""
    return seen if side is None else f"to the {named_side(side, toward)} ({seen})"
