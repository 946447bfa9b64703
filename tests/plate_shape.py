"""A bent plate on its arbor as a body in space, for checks that must not share the fitted model.

The plate is a surface over the coordinates of its own body. It is mounted with rotation matrices
(turned over about a diameter where it is flipped, tilted, turned about the arbor) and read where a
line parallel to the arbor meets it, found by bracketing. The indicator is carried along a straight
line through the arbor's axis that need not be square to it. World frame as in `rigid_body`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from rigid_body import (
    TOWARD_INDICATOR,
    UP,
    Numbering,
    RigidBlade,
    blade_direction,
    clock_direction,
    rotation,
    tooth_angles_deg,
    turn_onto,
)
from scipy.optimize import brentq

import bladegeom as bg
from bladegeom.tables.several import Ring

Floats = NDArray[np.float64]

FRONT = clock_direction(90.0)
"""Where the stylus stands at the front of the saw: an indicator on its left sees it right."""


@dataclass(frozen=True)
class BentPlate:
    """A plate with hidden faults; lengths in mm, angles in degrees of blade.

    Attributes
    ----------
    rim_mm : float
        Radius at which the heights are counted.
    tilt_deg, near_deg : float
        How the first mounting tilts it, and the blade angle brought nearest.
    flipped_tilt_deg, flipped_near_deg : float
        The same of the mounting with the other face out.
    dish_mm : float
        How far the rim stands proud of the centre, toward the face that is out at first.
    saddle_mm, saddle_deg : float
        How far the rim rises along one diameter and falls along the other; where it is high.
    trefoil_mm, trefoil_deg : float
        The same with three high places.
    thick_mm : float
    slide_slope : float
        How far the indicator itself moves toward the plate's side it stands on, for each mm that
        it is carried to the front.
    numbered : {"clockwise", "counterclockwise"}
        As seen from the face that is out at first.
    """

    rim_mm: float = 127.0
    tilt_deg: float = 0.0
    near_deg: float = 0.0
    flipped_tilt_deg: float = 0.0
    flipped_near_deg: float = 0.0
    dish_mm: float = 0.0
    saddle_mm: float = 0.0
    saddle_deg: float = 0.0
    trefoil_mm: float = 0.0
    trefoil_deg: float = 0.0
    thick_mm: float = 2.2
    slide_slope: float = 0.0
    numbered: Numbering = "counterclockwise"

    def times(self, factor: float) -> BentPlate:
        """The same faults, so many times as large."""
        return replace(
            self,
            tilt_deg=self.tilt_deg * factor,
            flipped_tilt_deg=self.flipped_tilt_deg * factor,
            dish_mm=self.dish_mm * factor,
            saddle_mm=self.saddle_mm * factor,
            trefoil_mm=self.trefoil_mm * factor,
            slide_slope=self.slide_slope * factor,
        )


def _direction(plate: BentPlate, angle_deg: float) -> Floats:
    return blade_direction(RigidBlade(0.0, 0.0, plate.numbered), angle_deg)


def _along(plate: BentPlate, angle_deg: float, point: Floats) -> tuple[float, float]:
    """Coordinates of a point of the body along a direction of the blade and square to it."""
    along = _direction(plate, angle_deg)
    return float(along @ point), float(np.cross(TOWARD_INDICATOR, along) @ point)


def _proud_mm(plate: BentPlate, point: Floats) -> float:
    """Height of the first face over the body's own middle plane."""
    x, y, _ = point
    u, v = _along(plate, plate.saddle_deg, point)
    p, q = _along(plate, plate.trefoil_deg, point)
    bowl = plate.dish_mm * (x * x + y * y) / plate.rim_mm**2
    saddle = plate.saddle_mm * (u + v) * (u - v) / plate.rim_mm**2
    trefoil = plate.trefoil_mm * (p**3 - 3.0 * p * q * q) / plate.rim_mm**3
    return bowl + saddle + trefoil


def _mounted(plate: BentPlate, *, flipped: bool) -> Floats:
    """Rotation from the body to the arbor, before the arbor is turned."""
    turned_over = rotation(UP, 180.0) if flipped else np.eye(3)
    tilt, near_deg = (
        (plate.flipped_tilt_deg, plate.flipped_near_deg)
        if flipped
        else (plate.tilt_deg, plate.near_deg)
    )
    near = turned_over @ _direction(plate, near_deg)
    return rotation(np.cross(near, TOWARD_INDICATOR), tilt) @ turned_over


def dial_mm(
    plate: BentPlate,
    tooth_deg: ArrayLike,
    radius_mm: float,
    *,
    stand: str = "front",
    flipped: bool = False,
    touch_deg: float = 0.0,
    dial_zero_mm: float = 0.0,
) -> Floats:
    """What the dial shows as tooth after tooth is turned to the pointer beside the stylus."""
    side = 1.0 if stand == "front" else -1.0
    stylus = side * FRONT
    held_at = side * radius_mm * plate.slide_slope
    mounted = _mounted(plate, flipped=flipped)
    turned_over = rotation(UP, 180.0) if flipped else np.eye(3)
    shown = []
    for angle in np.atleast_1d(np.asarray(tooth_deg, dtype=np.float64)):
        touched = turned_over @ _direction(plate, float(angle) + touch_deg)
        body = (turn_onto(touched, stylus) @ mounted).T

        def beyond(height: float, body: Floats = body) -> float:
            point = body @ (radius_mm * stylus + height * TOWARD_INDICATOR)
            face = _proud_mm(plate, point) - (plate.thick_mm if flipped else 0.0)
            return float(point[2] - face)

        height = brentq(beyond, -20.0, 20.0, xtol=1e-15, rtol=8.9e-16)
        shown.append(height - held_at + dial_zero_mm)
    return np.array(shown)


def ring_of(
    plate: BentPlate,
    radius_mm: float,
    *,
    stand: str = "front",
    flipped: bool = False,
    zero: str = "",
    teeth: int = 40,
    pitch: str | Sequence[float] = "1",
    touch_deg: float = 0.0,
    dial_zero_mm: float = 0.0,
    noise_mm: ArrayLike = 0.0,
    unit: str = "mm",
    **facts: Any,
) -> Ring:
    """Read every tooth once at one ring."""
    exact = dial_mm(
        plate,
        tooth_angles_deg(teeth, pitch),
        radius_mm,
        stand=stand,
        flipped=flipped,
        touch_deg=touch_deg,
        dial_zero_mm=dial_zero_mm,
    )
    per_mm, size = {"mm": (1.0, "mm"), "in": (1 / 25.4, "in"), "thou": (1000 / 25.4, "in")}[unit]
    in_size = 1.0 if size == "mm" else 1 / 25.4
    words = pitch.split() if isinstance(pitch, str) else pitch
    blade = bg.Blade(
        teeth,
        name="bent",
        pitch_pattern=[float(one) for one in words],
        diameter=(2 * plate.rim_mm * in_size, size),
    )
    readings = bg.Readings(
        blade,
        (exact + noise_mm) * per_mm,
        unit=unit,
        touch_deg=touch_deg,
        ring_radius=(radius_mm * in_size, size),
        **facts,
    )
    return Ring(readings, stand, flipped, zero)


def truth_of(plate: BentPlate) -> dict[str, float]:
    """The hidden faults as the parameters of a fit, in mm."""

    def parts(size: float, angle_deg: float, order: int, stem: str) -> dict[str, float]:
        angle = math.radians(order * angle_deg)
        return {f"{stem}_cos": size * math.cos(angle), f"{stem}_sin": size * math.sin(angle)}

    slope, over = (math.tan(math.radians(one)) for one in (plate.tilt_deg, plate.flipped_tilt_deg))
    return {
        **parts(slope, plate.near_deg, 1, "tilt"),
        **parts(over, plate.flipped_near_deg, 1, "flipped_tilt"),
        "dish": plate.dish_mm,
        **parts(plate.saddle_mm, plate.saddle_deg, 2, "saddle"),
        **parts(plate.trefoil_mm, plate.trefoil_deg, 3, "wave3"),
        "traverse": -plate.slide_slope,
    }
