"""What sizes saws and their blades have: what cannot be is refused, what is unusual asked about.

The bounds are generous; they are common practice, no source. A size beyond them is nearly always
in another unit than was said.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from bladegeom.faults import Fault

MM_PER: dict[str, float] = {"mm": 1.0, "in": 25.4, "thou": 0.0254, "um": 0.001}
"""Millimetres in one of each unit; ``thou`` is a thousandth of an inch."""


class Size(NamedTuple):
    """Bounds in millimetres: what there can be, and what is usual."""

    least: float
    most: float
    usual_least: float
    usual_most: float

    def usual(self, size_mm: float) -> bool:
        """Return whether a size is one that needs no question."""
        return self.usual_least <= size_mm <= self.usual_most


ANY = Size(0.0, math.inf, 0.0, math.inf)
"""Bounds of what has none."""

_TINY, _HUGE = 1e-6, 20_000.0

SIZES: dict[str, Size] = {
    "diameter": Size(10, _HUGE, 40, 1500),
    "ring_radius": Size(2, _HUGE / 2, 12, 750),
    "plate": Size(0.05, 100, 0.4, 12),
    "tooth_width": Size(0.05, 200, 0.5, 40),
    "gullet": Size(0.1, 1000, 0.5, 100),
    "graduation": Size(_TINY, 10, 1e-4, 0.15),
    "ring_radius_u": Size(_TINY, 500, 1e-3, 15),
    "end_float": Size(_TINY, 25, 1e-4, 1),
    "dial_turn": Size(0.01, 250, 0.05, 15),
    "separation": Size(20, 10_000, 50, 800),
    "height": Size(0.1, 1000, 1, 500),
    "span": Size(0.1, 5000, 5, 3000),
    "length": Size(5, 10_000, 20, 3000),
    "pitch": Size(0.1, 15, 0.3, 5),
    "feed_per_turn": Size(1e-3, 250, 0.01, 25),
    "corner": Size(_TINY, 25, 1e-3, 3),
    "tolerance": Size(_TINY, 50, 1e-3, 3),
    "repeatability": Size(_TINY, 10, 1e-4, 0.5),
    "seating": Size(_TINY, 10, 1e-4, 0.5),
    "tooth_width_u": Size(_TINY, 10, 1e-4, 0.5),
}
"""By the name under which it is stated, in columns, arguments and files."""

LEAST_OF_DIAMETER = 0.04
"""Parts of its diameter nearer than which to its axis every blade has its bore and flange."""

MOST_WOBBLE_MM, MOST_TILT_DEG = 2.0, 1.0
"""A wobble (TIR) and a tilt that blades in use stay below."""

MOST_APART_MM: dict[tuple[str, ...], float] = {
    ("front", "back"): 25.0,
    ("first", "last"): 25.0,
    ("readings",): 100.0,
    ("gap",): 25.0,
}
"""Readings of one thing, or of the two ends of one, that lie farther apart are not in that unit."""


def misfit(name: str, value: float, unit: str) -> Fault | None:
    """Return what is wrong with a size that cannot be, and the cure; None if nothing is."""
    bounds = SIZES.get(name, ANY)
    size_mm = value * MM_PER[unit]
    if bounds.least <= size_mm <= bounds.most:
        return None
    said = f"{value:.6g} {unit}"
    way = "small" if size_mm < bounds.least else "large"
    meant = [f"{value:.6g} {one}" for one in _likely(bounds, value)]
    cure = f"check its unit: is it {' or '.join(meant)}?" if meant else "check the number and unit"
    return Fault(f"{name} is {said}, too {way} to be true", cure, column=name, value=said)


def questions(stated: Mapping[str, float | None]) -> list[str]:
    """Return what is to be asked about sizes, by name in millimetres, that are unusual."""
    return [
        _question(name, SIZES[name], size)
        for name, size in stated.items()
        if size is not None and not SIZES.get(name, ANY).usual(size)
    ]


def _question(name: str, bounds: Size, size_mm: float) -> str:
    # In which unit it was written is not kept: that in which it is shortest is the likeliest.
    written = {unit: f"{size_mm / per:.6g}" for unit, per in MM_PER.items()}
    unit = min(written, key=lambda one: (len(written[one]), one != "mm"))
    meant = [f"{written[unit]} {one}" for one in _likely(bounds, size_mm / MM_PER[unit])]
    asked = f"is it {' or '.join(meant)}?" if meant else "check the number and its unit"
    said = f"{written[unit]} {unit}"
    return f"{name.replace('_', ' ')} is {said}, unusual for a saw blade: {asked}"


def _likely(bounds: Size, value: float) -> Iterable[str]:
    """Return the units in which a number would be usual, those that people use first."""
    return [unit for unit, per in MM_PER.items() if bounds.usual(value * per)][:2]


def odd_wobble(tir: Any, unit: str, tilt_deg: Any) -> Any:
    """Return whether wobbles or tilts (NaN where not known) are larger than blades show."""
    return (tir * MM_PER[unit] > MOST_WOBBLE_MM) | (tilt_deg > MOST_TILT_DEG)


def odd_words(tir: float, unit: str, tilt_deg: float) -> str:
    """Return what is to be asked about such a one."""
    if not tir * MM_PER[unit] > MOST_WOBBLE_MM:
        what, ask = f"tilt of {tilt_deg:.1f} deg", "check their unit and the ring radius"
    else:
        what, ask = f"wobble (TIR) of {tir:.3g} {unit}", f"is it {unit}?"
    return f"the readings show a {what}, far more than usable blades do: {ask}"
