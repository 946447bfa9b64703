"""A blade on its arbor as a rigid body, for checks that must not share the formula under test.

Everything here is found with 3x3 rotation matrices, a line that meets a plane and two planes that
meet. Neither the sinusoid of the readings nor the closed form of the squareness error is used.

World frame: the arbor's axis lies along z. The indicator stands on the +z side and looks along -z;
seen from there x points right and y up. Places round the clock are counted as that observer sees
them: 0 is twelve o'clock, 90 is three o'clock. A reading grows with z.

Blade frame: the world frame with tooth 1 at twelve o'clock. Blade angles start at tooth 1 and grow
with the tooth numbers, which run "clockwise" or "counterclockwise" as the indicator sees them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Numbering = Literal["clockwise", "counterclockwise"]

RIGHT: Floats = np.array([1.0, 0.0, 0.0])
UP: Floats = np.array([0.0, 1.0, 0.0])
TOWARD_INDICATOR: Floats = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class RigidBlade:
    """A flat plate that stands a little askew on its arbor.

    Attributes
    ----------
    tilt_deg : float
        Angle between the plate and the plane square to the arbor, below 90.
    near_deg : float
        Blade angle of the direction that the tilt brings toward the indicator.
    numbered : {"clockwise", "counterclockwise"}
        How the tooth numbers run, as seen from the indicator's side.
    """

    tilt_deg: float
    near_deg: float
    numbered: Numbering = "counterclockwise"


def rotation(axis: ArrayLike, angle_deg: float) -> Floats:
    """Right-handed rotation about an axis through the origin (Rodrigues).

    Parameters
    ----------
    axis : array_like, shape (3,)
        Need not have unit length.
    angle_deg : float

    Returns
    -------
    ndarray, shape (3, 3)
    """
    x, y, z = np.asarray(axis, dtype=np.float64) / np.linalg.norm(axis)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    angle = math.radians(angle_deg)
    turn: Floats = np.eye(3) + math.sin(angle) * cross + (1.0 - math.cos(angle)) * cross @ cross
    return turn


def clock_direction(clock_deg: float) -> Floats:
    """Unit vector square to the arbor that points at a place round the clock.

    Parameters
    ----------
    clock_deg : float
        0 is up, 90 is right, as the indicator's side sees it.

    Returns
    -------
    ndarray, shape (3,)
    """
    return rotation(TOWARD_INDICATOR, -clock_deg) @ UP


def sense(blade: RigidBlade) -> int:
    """+1 if the tooth numbers grow with a right-handed turn about +z, else -1."""
    return {"counterclockwise": 1, "clockwise": -1}[blade.numbered]


def blade_direction(blade: RigidBlade, angle_deg: float) -> Floats:
    """Unit vector, in the blade frame and square to the arbor, at a blade angle.

    Parameters
    ----------
    blade : RigidBlade
    angle_deg : float

    Returns
    -------
    ndarray, shape (3,)
    """
    return rotation(TOWARD_INDICATOR, sense(blade) * angle_deg) @ UP


def blade_angle_deg(blade: RigidBlade, direction: Floats) -> float:
    """Blade angle, 0 to 360, of a direction in the blade frame: undoes `blade_direction`."""
    right_handed = math.atan2(np.cross(UP, direction) @ TOWARD_INDICATOR, UP @ direction)
    return (sense(blade) * math.degrees(right_handed)) % 360.0


def turn_onto(start: Floats, goal: Floats) -> Floats:
    """Turn about the arbor that carries `start` onto `goal`, both square to the arbor.

    Parameters
    ----------
    start, goal : ndarray, shape (3,)

    Returns
    -------
    ndarray, shape (3, 3)
    """
    angle = math.atan2(np.cross(start, goal) @ TOWARD_INDICATOR, start @ goal)
    return rotation(TOWARD_INDICATOR, math.degrees(angle))


def plate_normal(blade: RigidBlade) -> Floats:
    """Unit normal of the plate in the blade frame, on the indicator's side.

    Returns
    -------
    ndarray, shape (3,)
    """
    near = blade_direction(blade, blade.near_deg)
    # A right-handed turn about (near x z) carries `near` toward +z.
    return rotation(np.cross(near, TOWARD_INDICATOR), blade.tilt_deg) @ TOWARD_INDICATOR


def line_meets_plane(point: Floats, direction: Floats, normal: Floats) -> Floats:
    """Where a line meets the plane through the origin that has this normal.

    Parameters
    ----------
    point, direction : ndarray, shape (3,)
        The line.
    normal : ndarray, shape (3,)

    Returns
    -------
    ndarray, shape (3,)
    """
    hit: Floats = point - (point @ normal) / (direction @ normal) * direction
    return hit


def planes_meet(normal: Floats, other: Floats, toward: Floats) -> Floats:
    """Unit direction of the line in which two planes meet, the end that points `toward`.

    Parameters
    ----------
    normal, other, toward : ndarray, shape (3,)

    Returns
    -------
    ndarray, shape (3,)
    """
    line = np.cross(normal, other)
    line = line if line @ toward > 0.0 else -line
    unit: Floats = line / np.linalg.norm(line)
    return unit


def _lean_deg(line: Floats, along: Floats) -> float:
    """Angle from `along` to a line, positive when the line's end leans toward the indicator."""
    return math.degrees(math.atan2(line @ TOWARD_INDICATOR, line @ along))


def readings_mm(
    blade: RigidBlade,
    tooth_deg: ArrayLike,
    ring_radius_mm: float,
    *,
    touch_deg: float = 0.0,
    stylus_clock_deg: float = 90.0,
    dial_zero_mm: float = 0.0,
) -> Floats:
    """What the dial shows as tooth after tooth is turned to the pointer.

    The stylus is a line parallel to the arbor that never moves; the blade turns under it.

    Parameters
    ----------
    blade : RigidBlade
    tooth_deg : array_like, shape (n,)
        Blade angles of the indexed teeth.
    ring_radius_mm : float
        From the arbor's axis to the stylus.
    touch_deg : float
        Degrees of blade from the indexed tooth to the touched spot, positive with the numbering.
    stylus_clock_deg : float
        Where the stylus stands round the clock.
    dial_zero_mm : float
        What the dial shows where the plate crosses the plane square to the arbor.

    Returns
    -------
    ndarray, shape (n,)
    """
    stylus = clock_direction(stylus_clock_deg)
    pointer = rotation(TOWARD_INDICATOR, -sense(blade) * touch_deg) @ stylus
    at_rest = plate_normal(blade)
    readings = []
    for angle in np.atleast_1d(np.asarray(tooth_deg, dtype=np.float64)):
        turned = turn_onto(blade_direction(blade, float(angle)), pointer)
        hit = line_meets_plane(ring_radius_mm * stylus, TOWARD_INDICATOR, turned @ at_rest)
        readings.append(hit @ TOWARD_INDICATOR + dial_zero_mm)
    return np.array(readings)


def upright_lean_deg(blade: RigidBlade, top_deg: float) -> float:
    """Lean of the plate's upright line while a blade angle stands uppermost.

    The line is the one in which the plate meets the vertical plane through the arbor's axis, and
    every line parallel to it: what a square standing on the table feels.

    Parameters
    ----------
    blade : RigidBlade
    top_deg : float
        Blade angle at twelve o'clock.

    Returns
    -------
    float
        Degrees from the vertical, positive when the upper end leans toward the indicator.
    """
    normal = turn_onto(blade_direction(blade, top_deg), UP) @ plate_normal(blade)
    return _lean_deg(planes_meet(normal, RIGHT, UP), UP)


def level_lean_deg(blade: RigidBlade, end_deg: float, clock_deg: float = 90.0) -> float:
    """Skew of the plate's level line while a blade angle stands level.

    The line is the one in which the plate meets the horizontal plane through the arbor's axis: what
    a miter gauge or a riving knife is set from.

    Parameters
    ----------
    blade : RigidBlade
    end_deg : float
        Blade angle that stands level.
    clock_deg : {90.0, 270.0}
        The side on which it stands, right or left, as seen from the indicator's side.

    Returns
    -------
    float
        Degrees from square to the arbor, positive when that end leans toward the indicator.
    """
    level = clock_direction(clock_deg)
    normal = turn_onto(blade_direction(blade, end_deg), level) @ plate_normal(blade)
    return _lean_deg(planes_meet(normal, UP, level), level)


def chord_lean_deg(
    blade: RigidBlade, upper_deg: float, lower_deg: float, rim_radius_mm: float
) -> float:
    """Lean of the straight line through two tooth tips on the plate, turned upright.

    The chord stands in a vertical plane parallel to the arbor; it misses the centre unless the two
    teeth are opposite each other.

    Parameters
    ----------
    blade : RigidBlade
    upper_deg, lower_deg : float
        Blade angles of the two tips.
    rim_radius_mm : float
        From the arbor's axis to the tips.

    Returns
    -------
    float
        Degrees from the vertical, positive when the upper tip leans toward the indicator.
    """
    at_rest = plate_normal(blade)
    upper, lower = (
        line_meets_plane(rim_radius_mm * blade_direction(blade, angle), TOWARD_INDICATOR, at_rest)
        for angle in (upper_deg, lower_deg)
    )
    chord = upper - lower
    seen_square_on = chord - (chord @ TOWARD_INDICATOR) * TOWARD_INDICATOR
    return _lean_deg(turn_onto(seen_square_on, UP) @ chord, UP)


def top_after_turning_deg(blade: RigidBlade, top_deg: float, away_deg: float) -> float:
    """Blade angle that stands uppermost after the blade has been turned on.

    Parameters
    ----------
    blade : RigidBlade
    top_deg : float
        Blade angle that stands uppermost before.
    away_deg : float
        How far the blade is turned, positive in the direction in which the tooth numbers grow.

    Returns
    -------
    float
        Blade angle, 0 to 360.
    """
    before = turn_onto(blade_direction(blade, top_deg), UP)
    after = rotation(TOWARD_INDICATOR, sense(blade) * away_deg) @ before
    return blade_angle_deg(blade, after.T @ UP)


def tooth_angles_deg(teeth: int, pitch_pattern: str | Sequence[float] = "1") -> Floats:
    """Blade angles of all the teeth of a blade whose gaps follow a pattern round and round.

    Parameters
    ----------
    teeth : int
        A multiple of the pattern's length.
    pitch_pattern : str or sequence of float
        Relative gaps: the first lies between tooth 1 and tooth 2.

    Returns
    -------
    ndarray, shape (teeth,)
        Tooth 1 at 0.

    Raises
    ------
    ValueError
        If the pattern does not go round the blade a whole number of times.
    """
    words = pitch_pattern.split() if isinstance(pitch_pattern, str) else pitch_pattern
    pattern = [float(word) for word in words]
    if teeth % len(pattern):
        raise ValueError(f"{teeth} teeth are no multiple of {len(pattern)} gaps")
    whole_turn = sum(pattern) * (teeth // len(pattern))
    angles = [0.0]
    for tooth in range(1, teeth):
        angles.append(angles[-1] + 360.0 * pattern[(tooth - 1) % len(pattern)] / whole_turn)
    return np.array(angles)
