"""A table saw, its blade, its slots and what is cut on it, as rigid bodies.

For checks that must not share the formula under test: everything is found with rotation matrices,
lines and circles that meet planes, planes that meet, and polygons cut with a straight line.

World frame: the operator stands at the front and looks along +y, the feed; x points to the right
and z up. The table top is z = 0. Three kinds of angle, and no other:

- `lean`, `toe`: of a line on plate, knife or cut, positive when its upper (lean) or back (toe) end
  stands toward the indicator's side of the blade.
- `tilt_to_right_deg`: of the arbor's carriage, positive when the blade's top moves to the right.
- everything that lies on the table (slot, gauge, fence, arbor in plan): right-handed about z, so
  anticlockwise as seen from above; a positive turn carries the back end to the left.

`top_deg` says how the blade stands: the blade angle at twelve o'clock, square to the arbor.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from rigid_body import (
    TOWARD_INDICATOR,
    UP,
    Numbering,
    RigidBlade,
    blade_angle_deg,
    blade_direction,
    clock_direction,
    planes_meet,
    plate_normal,
    rotation,
    tooth_angles_deg,
    turn_onto,
)

Floats = NDArray[np.float64]
Side = Literal["left", "right"]
Place = Literal["top", "front", "back"]

TO_RIGHT: Floats = np.array([1.0, 0.0, 0.0])
TO_BACK: Floats = np.array([0.0, 1.0, 0.0])
UPWARD: Floats = np.array([0.0, 0.0, 1.0])

# Columns: what the indicator sees as right, as up, and the way to the indicator.
_SEEN_FROM: dict[Side, Floats] = {
    "left": np.column_stack([-TO_BACK, UPWARD, -TO_RIGHT]),
    "right": np.column_stack([TO_BACK, UPWARD, TO_RIGHT]),
}
_SIGN: dict[Side, int] = {"left": -1, "right": 1}


class Paths(NamedTuple):
    """Circles that points of the blade run round: centre + first cos + second sin, each (n, 3)."""

    centre: Floats
    first: Floats
    second: Floats

    def meets(self, normal: Floats, level: float) -> Floats:
        """Where the circles have this coordinate along `normal`: shape (2, k, 3), k of n do."""
        across, along = self.first @ normal, self.second @ normal
        ratio = (level - self.centre @ normal) / np.hypot(across, along)
        some = np.abs(ratio) <= 1.0
        middle, half = np.arctan2(along, across)[some], np.arccos(ratio[some])
        turns = np.array([middle - half, middle + half])[..., None]
        hits: Floats = (
            self.centre[some] + np.cos(turns) * self.first[some] + np.sin(turns) * self.second[some]
        )
        return hits


class Cut(NamedTuple):
    """What the teeth sweep while the blade turns: two planes with one normal."""

    normal: Floats
    left: float
    right: float


class RoundTest(NamedTuple):
    """The last strip of a board cut round and round: widths at both ends, and its length."""

    cut_first_mm: float
    cut_last_mm: float
    length_mm: float


@dataclass(frozen=True)
class RigidSaw:
    """A saw with its faults. Methods that set or turn something return another saw.

    Attributes
    ----------
    side : {"left", "right"}
        The side of the blade on which the indicator stands that read the wobble.
    numbered : {"clockwise", "counterclockwise"}
        How the tooth numbers run, as seen from `side`.
    teeth, pitch_pattern
        As `tooth_angles_deg` takes them.
    plate_tilt_deg, near_deg : float
        Of the plate on the arbor; `near_deg` is the blade angle nearest to the indicator.
    dish_mm : float
        How far the rim stands toward the indicator, growing with the radius squared.
    rim_radius_mm, gullet_radius_mm, tooth_width_mm, plate_mm : float
    arbor_depth_mm : float
        The arbor's axis below the table, the blade upright.
    arbor_deg : float
        Turn of the arbor in plan.
    tilt_to_right_deg : float
        Of arbor and blade, about the line in the table top below which the arbor lies.
    arbor_at_mm : (float, float)
        Place in plan above the arbor's middle, where the plate is clamped.
    slot_deg : float
        Turn of the table, and so of its slots, in plan.
    table_at_mm : (float, float)
        Place in plan of the table's own origin.
    gauge_deg : float
        The miter gauge's face against a square to the slot.
    fence_deg, fence_mm, fence_bow_mm, fence_length_mm : float
        The fence's face against the slot; its place to the right of the table's origin (negative
        to the left); how far its middle stands out to the right of its ends; its length.
    knife_toe_deg, knife_lean_deg : float
        The riving knife against the plane square to the arbor; it rides on the arbor's carriage.
    insert_screws_mm : tuple of (float, float)
        Places in plan of the levelling screws.
    insert_heights_mm : tuple of float
        Height of the insert above the table over each screw.
    """

    side: Side = "left"
    numbered: Numbering = "counterclockwise"
    teeth: int = 40
    pitch_pattern: str | Sequence[float] = "1"
    plate_tilt_deg: float = 0.0
    near_deg: float = 0.0
    dish_mm: float = 0.0
    rim_radius_mm: float = 127.0
    gullet_radius_mm: float = 117.0
    tooth_width_mm: float = 3.2
    plate_mm: float = 2.2
    arbor_depth_mm: float = 77.0
    arbor_deg: float = 0.0
    tilt_to_right_deg: float = 0.0
    arbor_at_mm: tuple[float, float] = (0.0, 0.0)
    slot_deg: float = 0.0
    table_at_mm: tuple[float, float] = (0.0, 0.0)
    gauge_deg: float = 0.0
    fence_deg: float = 0.0
    fence_mm: float = 150.0
    fence_bow_mm: float = 0.0
    fence_length_mm: float = 800.0
    knife_toe_deg: float = 0.0
    knife_lean_deg: float = 0.0
    insert_screws_mm: tuple[tuple[float, float], ...] = (
        (-40.0, -150.0),
        (40.0, -150.0),
        (40.0, 150.0),
        (-40.0, 150.0),
    )
    insert_heights_mm: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)

    # ------------------------------------------------------------------ where things are

    @property
    def blade(self) -> RigidBlade:
        """Plate and numbering, in the frame of the one who looks from `side`."""
        return RigidBlade(self.plate_tilt_deg, self.near_deg, self.numbered)

    @property
    def arbor(self) -> Floats:
        """Turn from a true carriage to this one, shape (3, 3)."""
        turned: Floats = rotation(UPWARD, self.arbor_deg) @ rotation(
            TO_BACK, self.tilt_to_right_deg
        )
        return turned

    @property
    def middle(self) -> Floats:
        """Where the arbor's axis goes through the plate."""
        place: Floats = np.array([*self.arbor_at_mm, 0.0]) - self.arbor_depth_mm * (
            self.arbor @ UPWARD
        )
        return place

    @property
    def slot(self) -> Floats:
        """Direction of the slots, to the back: the feed."""
        return rotation(UPWARD, self.slot_deg) @ TO_BACK

    @property
    def across(self) -> Floats:
        """Direction square to the slots on the table, to the right."""
        return rotation(UPWARD, self.slot_deg) @ TO_RIGHT

    def tooth_deg(self, tooth: int) -> float:
        """Blade angle of a tooth, counted from 1."""
        return float(self.teeth_deg[tooth - 1])

    @cached_property
    def teeth_deg(self) -> Floats:
        """Blade angles of all teeth, shape (teeth,)."""
        return tooth_angles_deg(self.teeth, self.pitch_pattern)

    def turned(self, tooth: int, place: Place, *, above_arbor_mm: float = 0.0) -> float:
        """`top_deg` once a tooth has been turned to a place; see `turned_deg`."""
        return self.turned_deg(self.tooth_deg(tooth), place, above_arbor_mm=above_arbor_mm)

    def turned_deg(self, blade_deg: float, place: Place, *, above_arbor_mm: float = 0.0) -> float:
        """`top_deg` once a blade angle has been turned to a place.

        Parameters
        ----------
        blade_deg : float
        place : {"top", "front", "back"}
        above_arbor_mm : float
            For front and back: the height on the rim above the arbor; 0 is level with it.

        Returns
        -------
        float
        """
        height = above_arbor_mm / self.rim_radius_mm
        reach = math.sqrt(1.0 - height**2)
        goal = {
            "top": UPWARD,
            "front": height * UPWARD - reach * TO_BACK,
            "back": height * UPWARD + reach * TO_BACK,
        }[place]
        turn = turn_onto(blade_direction(self.blade, blade_deg), _SEEN_FROM[self.side].T @ goal)
        return blade_angle_deg(self.blade, turn.T @ UP)

    def _pose(self, top_deg: float) -> Floats:
        """From the blade's frame to the world's."""
        turn = turn_onto(blade_direction(self.blade, top_deg), UP)
        pose: Floats = self.arbor @ _SEEN_FROM[self.side] @ turn
        return pose

    def plate_normal(self, top_deg: float) -> Floats:
        """Unit normal of the plate on the indicator's side."""
        normal: Floats = self._pose(top_deg) @ plate_normal(self.blade)
        return normal

    @property
    def _cocked(self) -> Floats:
        """The plate's own turn in the blade's frame, from square to the arbor to its tilt."""
        near = blade_direction(self.blade, self.near_deg)
        return rotation(np.cross(near, TOWARD_INDICATOR), self.plate_tilt_deg)

    def _corners(self, side: Side) -> Floats:
        """Tip corners in the blade's frame, on one side of the saw, shape (teeth, 3)."""
        sign = _SIGN[side] * _SIGN[self.side]
        out = np.array([blade_direction(self.blade, float(one)) for one in self.teeth_deg])
        beside = self.dish_mm + sign * self.tooth_width_mm / 2.0
        corners: Floats = self.rim_radius_mm * out @ self._cocked.T + beside * plate_normal(
            self.blade
        )
        return corners

    @cached_property
    def corner_paths(self) -> dict[Side, Paths]:
        """The circles of all tip corners as the blade turns on its arbor, by the corner's side."""
        seen = self.arbor @ _SEEN_FROM[self.side]
        paths: dict[Side, Paths] = {}
        for side in _SIGN:
            start, quarter, half = (
                self.middle + self._corners(side) @ (seen @ rotation(TOWARD_INDICATOR, turn)).T
                for turn in (0.0, 90.0, 180.0)
            )
            centre = (start + half) / 2.0
            paths[side] = Paths(centre, start - centre, quarter - centre)
        return paths

    def tooth_at(self, tooth: int, top_deg: float, side: Side) -> Floats:
        """Place in the world of a tooth's tip corner, shape (3,)."""
        corner: Floats = self.middle + self._pose(top_deg) @ self._corners(side)[tooth - 1]
        return corner

    # ------------------------------------------------------------------ wobble and slots

    def wobble_readings_mm(
        self, ring_radius_mm: float, *, clock_deg: float = 0.0, dial_zero_mm: float = 0.0
    ) -> Floats:
        """The dial, its plunger parallel to the arbor, as tooth after tooth is turned to it.

        Parameters
        ----------
        ring_radius_mm : float
        clock_deg : float
            Where the stylus stands round the clock, as seen from `side`.
        dial_zero_mm : float
            What a plate without wobble would show.

        Returns
        -------
        ndarray, shape (teeth,)
        """
        seen = self.arbor @ _SEEN_FROM[self.side]
        plunger = seen @ TOWARD_INDICATOR
        stylus = self.middle + ring_radius_mm * seen @ clock_direction(clock_deg)
        readings = []
        for angle in self.teeth_deg:
            turn = turn_onto(blade_direction(self.blade, float(angle)), clock_direction(clock_deg))
            normal = seen @ turn @ plate_normal(self.blade)
            face = self.middle + self.plate_mm / 2.0 * normal
            hit = line_meets(stylus, plunger, normal, face)
            readings.append((hit - self.middle) @ plunger - self.plate_mm / 2.0)
        dish = self.dish_mm * (ring_radius_mm / self.rim_radius_mm) ** 2
        return np.array(readings) + dish + dial_zero_mm

    def _to_slot_indicator(self, side: Side | None) -> tuple[Side, Floats]:
        side = side or self.side
        return side, _SIGN[side] * self.across

    def slot_reading_mm(
        self,
        tooth: int,
        place: Place,
        separation_mm: float,
        *,
        side: Side | None = None,
        dial_zero_mm: float = 0.0,
    ) -> float:
        """The dial of an indicator that slides in a slot, on one tooth turned to the plunger.

        The plunger is level and square to the slot; it touches the tip corner on its side.

        Parameters
        ----------
        tooth : int
        place : {"front", "back"}
            The plunger stands half the separation before or behind the arbor.
        separation_mm : float
            How far the indicator is carried along the slot.
        side : {"left", "right"}, optional
            Of the blade on which the indicator slides; `self.side` by default.

        Returns
        -------
        float
            Grows as the tooth comes nearer to the indicator.
        """
        side, toward = self._to_slot_indicator(side)
        sign = {"front": -1.0, "back": 1.0}[place]
        along = float(self.middle @ self.slot) + sign * separation_mm / 2.0
        path = Paths(*(one[[tooth - 1]] for one in self.corner_paths[side]))
        hits = path.meets(self.slot, along).reshape(-1, 3)
        if not hits.size or hits[:, 2].max() < 0.0:
            raise ValueError(f"no tooth above the table {separation_mm / 2.0:g} mm from the arbor")
        return float(hits[hits[:, 2].argmax()] @ toward) + dial_zero_mm

    def slot_reading_on_plate_mm(
        self,
        top_deg: float,
        place: Place,
        separation_mm: float,
        *,
        height_mm: float = 5.0,
        side: Side | None = None,
        dial_zero_mm: float = 0.0,
    ) -> float:
        """The same indicator on the plate itself, the blade standing still.

        Parameters
        ----------
        top_deg : float
            How the blade stands; turn it between the two readings or do not.
        height_mm : float
            Of the plunger above the table.

        Returns
        -------
        float
        """
        side, toward = self._to_slot_indicator(side)
        sign = {"front": -1.0, "back": 1.0}[place]
        outward = _SIGN[side] * _SIGN[self.side] * self.plate_normal(top_deg)
        face = self.middle + self.plate_mm / 2.0 * outward
        start = self.middle + sign * separation_mm / 2.0 * self.slot
        start[2] = height_mm
        hit = line_meets(start, toward, outward, face)
        if np.linalg.norm(hit - self.middle) > self.rim_radius_mm:
            raise ValueError(f"no plate {separation_mm / 2.0:g} mm from the arbor")
        return float(hit @ toward) + dial_zero_mm

    def slot_error_deg(self) -> float:
        """True angle between slot and blade: positive if the blade's back stands off.

        Off means away from the indicator on `side`; from the cut plane and the table top.
        """
        return self._toe_deg(self.cut_plane().normal, self.slot)

    def turn_table(self, move_mm: float, *, pivot_y_mm: float, lever_y_mm: float) -> RigidSaw:
        """Turn the table about a bolt.

        Parameters
        ----------
        move_mm : float
            How far the table's edge moves to the right, seen by a dial at `lever_y_mm`.
        pivot_y_mm, lever_y_mm : float
            Places from front (negative) to back of the bolt that stays and of the dial.
        """
        turn_deg = _plan_turn_deg(move_mm, pivot_y_mm, lever_y_mm)
        return replace(
            self,
            slot_deg=self.slot_deg + turn_deg,
            table_at_mm=_carried(self.table_at_mm, turn_deg, pivot_y_mm),
        )

    def turn_trunnion(self, move_mm: float, *, pivot_y_mm: float, lever_y_mm: float) -> RigidSaw:
        """Turn arbor and blade in plan about a bolt; see `turn_table`."""
        turn_deg = _plan_turn_deg(move_mm, pivot_y_mm, lever_y_mm)
        return replace(
            self,
            arbor_deg=self.arbor_deg + turn_deg,
            arbor_at_mm=_carried(self.arbor_at_mm, turn_deg, pivot_y_mm),
        )

    # ------------------------------------------------------------------ uses of the plate's line

    def _toe_deg(self, normal: Floats, along: Floats) -> float:
        """Angle on the table from `along` to the level line of a plane, away from the indicator."""
        line = planes_meet(normal, UPWARD, along)
        left = np.cross(UPWARD, along)
        return -_SIGN[self.side] * math.degrees(math.atan2(-line @ left, line @ along))

    def square_lean_deg(self, top_deg: float) -> float:
        """What an exact square on the table, across the saw, shows against the plate.

        The square stands above the arbor and touches the plate at the table and at the rim.
        """
        normal = self.plate_normal(top_deg)
        line = planes_meet(normal, TO_BACK, UPWARD)
        table = self.arbor_depth_mm / self.rim_radius_mm
        touched = (
            self.rim_radius_mm * (1.0 - table) * line + self.dish_mm * (1.0 - table**2) * normal
        )
        return math.degrees(math.atan2(_SIGN[self.side] * touched @ TO_RIGHT, touched @ UPWARD))

    def inclinometer_deg(self, top_deg: float, *, skew_deg: float = 0.0) -> float:
        """What a digital level shows on the plate, zeroed on the table.

        It feels gravity in the plane of its own edge and the plate's normal.

        Parameters
        ----------
        top_deg : float
        skew_deg : float
            How far it is turned on the plate by a careless hand.
        """
        normal = self.plate_normal(top_deg)
        edge = rotation(normal, skew_deg) @ planes_meet(normal, TO_BACK, UPWARD)
        return math.degrees(math.atan2(-normal @ UPWARD, edge @ UPWARD))

    def set_tilt(
        self, top_deg: float, target_deg: float = 0.0, *, error_deg: float = 0.0
    ) -> RigidSaw:
        """Tilt the arbor until the square shows `target_deg` against the plate.

        Parameters
        ----------
        top_deg : float
        target_deg : float
            0 for square, else the bevel, positive toward the indicator's side.
        error_deg : float
            How far the person misreads.
        """
        saw = self
        for _ in range(50):
            off = target_deg + error_deg - saw.square_lean_deg(top_deg)
            if abs(off) < 1e-12:
                break
            tilt = saw.tilt_to_right_deg + _SIGN[self.side] * off
            saw = replace(saw, tilt_to_right_deg=tilt)
        return saw

    def level_line_deg(self, top_deg: float) -> float:
        """Turn in plan of the plate's level line against the slot, anticlockwise from above."""
        line = planes_meet(self.plate_normal(top_deg), UPWARD, self.slot)
        return math.degrees(math.atan2(-line @ self.across, line @ self.slot))

    def gauge_against_plate_deg(self, top_deg: float) -> float:
        """What an exact square shows between gauge and plate: turn of the face past 90."""
        return self.gauge_deg - self.level_line_deg(top_deg)

    def set_gauge(
        self, top_deg: float, target_deg: float = 0.0, *, error_deg: float = 0.0
    ) -> RigidSaw:
        """Turn the miter gauge until its face stands at `target_deg` past square to the plate."""
        return replace(self, gauge_deg=self.level_line_deg(top_deg) + target_deg + error_deg)

    def gauge_error_deg(self, target_deg: float = 0.0) -> float:
        """True turn of the gauge's face past `target_deg` to the feed."""
        return self.gauge_deg - target_deg

    def set_knife(
        self, level_top_deg: float, upright_top_deg: float | None = None, *, error_deg: float = 0.0
    ) -> RigidSaw:
        """Set the riving knife along the plate: its toe, then its lean.

        Parameters
        ----------
        level_top_deg : float
            How the blade stands while a straightedge lies level along the plate.
        upright_top_deg : float, optional
            And while a straightedge stands upright; the same if left out.
        """
        if upright_top_deg is None:
            upright_top_deg = level_top_deg
        # The knife rides on the carriage, so both are taken with the carriage true.
        true = replace(self, arbor_deg=0.0, tilt_to_right_deg=0.0)
        toe_deg = -true._toe_deg(true.plate_normal(level_top_deg), TO_BACK)
        lean_deg = true.square_lean_deg(upright_top_deg)
        return replace(self, knife_toe_deg=toe_deg + error_deg, knife_lean_deg=lean_deg + error_deg)

    # ------------------------------------------------------------------ instruments at the plate

    def _face(self, top_deg: float, side: Side) -> tuple[Floats, Floats]:
        """The plate's outward normal on a side of the saw, and a point on that face."""
        outward = _SIGN[side] * _SIGN[self.side] * self.plate_normal(top_deg)
        return outward, self.middle + self.plate_mm / 2.0 * outward

    def square_gap_mm(
        self, top_deg: float, side: Side, height_mm: float, target_deg: float = 0.0
    ) -> float:
        """The gap between the plate and a square on the table, on a side of the blade.

        Parameters
        ----------
        top_deg : float
        side : {"left", "right"}
        height_mm : float
            Of the square's blade, which begins at the table.
        target_deg : float
            Of a bevel square: its blade leans by so much toward the indicator's side.

        Returns
        -------
        float
            How much wider it is at the top; negative if it is open at the bottom.
        """
        stands = rotation(TO_BACK, _SIGN[self.side] * target_deg)
        foot = np.array([self.middle[0] + 60.0 * _SIGN[side], self.middle[1], 0.0])
        apart = []
        for height in (0.0, height_mm):
            point = foot + height * stands @ UPWARD
            toward = -_SIGN[side] * stands @ TO_RIGHT
            hit = line_meets(point, toward, *self._face(top_deg, side))
            apart.append(float((hit - point) @ toward))
        return apart[1] - apart[0]

    def box_turned_deg(self, top_deg: float, side: Side) -> float:
        """How far an angle box turns from the table, its back up, to the plate, its back out."""
        outward = self._face(top_deg, side)[0]
        return math.degrees(math.atan2(outward @ TO_RIGHT * _SIGN[side], outward @ UPWARD))

    def _lies(self, along: Floats | float) -> Floats:
        """Direction to the back of the slot's bar, or of the plate's level line."""
        if isinstance(along, float):
            return planes_meet(self.plate_normal(along), UPWARD, self.slot)
        return along

    def gauge_gap_mm(
        self, top_deg: float | None, side: Side, length_mm: float, target_deg: float = 0.0
    ) -> float:
        """The gap between plate (or bar, without `top_deg`) and a square held to the gauge.

        The square's stock lies on the gauge's face; its tongue runs to the back, at `target_deg`
        off a square's for a miter.

        Returns
        -------
        float
            How much wider it is at the front; negative if it is open at the back.
        """
        tongue = rotation(UPWARD, self.gauge_deg - target_deg) @ self.slot
        return -_opening_mm(tongue, self._lies(self.slot if top_deg is None else top_deg), side) * (
            length_mm
        )

    def gauge_corner_deg(self, top_deg: float | None, side: Side) -> float:
        """The corner between the gauge's face and plate or bar, behind the face, on a side."""
        line = self._lies(self.slot if top_deg is None else top_deg)
        arm = _SIGN[side] * rotation(UPWARD, self.gauge_deg) @ self.across
        return math.degrees(math.acos(arm @ line / np.linalg.norm(line)))

    @property
    def _knife(self) -> Floats:
        """Direction of the riving knife to the back, in plan."""
        return rotation(UPWARD, self.arbor_deg - _SIGN[self.side] * self.knife_toe_deg) @ TO_BACK

    def knife_gap_mm(self, top_deg: float, side: Side, length_mm: float) -> float:
        """The gap between the knife and a straightedge that lies level along the plate.

        Returns
        -------
        float
            How much wider it is at the knife's back end; negative if it is open at the front.
        """
        return _opening_mm(self._lies(top_deg), self._knife, side) * length_mm

    def knife_reading_mm(self, place: Place, separation_mm: float, side: Side) -> float:
        """The dial of an indicator that slides in a slot, at the front or back end of the knife.

        Grows as the knife comes nearer to the indicator.
        """
        toward = _SIGN[side] * self.across
        start = self.middle + 130.0 * TO_BACK
        along = {"front": 0.0, "back": separation_mm}[place]
        hit = line_meets(start, self._knife, self.slot, start + along * self.slot)
        return float(hit @ toward)

    # ------------------------------------------------------------------ cuts

    def cut_plane(self) -> Cut:
        """What the tip corners sweep as the blade is turned all the way round.

        The normal, to the right, is that of the plane through one corner's turned places; the
        walls are the outermost corners along it.
        """
        corners = np.vstack([self._corners(side) for side in _SIGN])
        seen = self.arbor @ _SEEN_FROM[self.side]
        swept = np.array(
            [
                self.middle + corners @ (seen @ rotation(TOWARD_INDICATOR, turn)).T
                for turn in np.arange(0.0, 360.0, 15.0)
            ]
        )
        one = swept[:, 0]
        normal = np.linalg.svd(one - one.mean(axis=0))[2][2]
        normal = normal if normal @ TO_RIGHT > 0.0 else -normal
        walls = swept @ normal
        return Cut(normal, float(walls.min()), float(walls.max()))

    def kerf_mm(self) -> float:
        """Width between the walls, as the teeth turn on the spot."""
        cut = self.cut_plane()
        return cut.right - cut.left

    def wall_mm(self, wall: Side, height_mm: float) -> float:
        """Place across the slots of a wall that the teeth leave in a board fed along the slots.

        Front and back teeth both cut: whichever reaches farther out leaves the wall.

        Parameters
        ----------
        wall : {"left", "right"}
            Of the kerf.
        height_mm : float
            Above the table.
        """
        sign = _SIGN[wall]
        hits = self.corner_paths[wall].meets(UPWARD, height_mm)
        if not hits.size:
            raise ValueError(f"the blade does not reach {height_mm:g} mm above the table")
        return float(sign * (sign * hits @ self.across).max())

    def fed_kerf_mm(self, height_mm: float = 0.0) -> float:
        """Width of the kerf in a board fed along the slots, at a height above the table."""
        return self.wall_mm("right", height_mm) - self.wall_mm("left", height_mm)

    def cut_lean_deg(self, thickness_mm: float, wall: Side = "left") -> float:
        """Lean of a wall over the board's thickness, in the plane across the slots."""
        rise = self.wall_mm(wall, thickness_mm) - self.wall_mm(wall, 0.0)
        return math.degrees(math.atan2(_SIGN[self.side] * rise, thickness_mm))

    def flip_gap_mm(self, thickness_mm: float, flipped: Side = "left") -> float:
        """Flip test: cut a board, turn one piece upside down, push the cuts together.

        Parameters
        ----------
        thickness_mm : float
            Height of the cut.
        flipped : {"left", "right"}
            The piece that is turned over; which end is open depends on it.

        Returns
        -------
        float
            The gap; positive if it is open at the top, negative at the bottom.
        """
        heights = np.linspace(0.0, thickness_mm, 33)
        left, right = (np.array([self.wall_mm(wall, float(z)) for z in heights]) for wall in _SIGN)
        # The cut of the left piece is the kerf's left wall; turned over, top and bottom change
        # places and what was to the right stays to the right.
        if flipped == "left":
            left = left[::-1]
        else:
            right = right[::-1]
        apart = right - left
        apart -= apart.min()
        return float(apart[-1] - apart[0])

    def corner_deg(self, kept: Side = "left") -> float:
        """Angle of the corner that the gauge cuts, between the edge on the gauge and the cut."""
        return 90.0 - _SIGN[kept] * self.gauge_deg

    def round_test(
        self,
        turns: int = 4,
        *,
        size_mm: float = 400.0,
        strip_mm: float = 8.0,
        inset_mm: float = 5.0,
        kept: Side = "left",
        fresh_to_gauge: bool = True,
    ) -> RoundTest:
        """Cut round a board `turns` + 1 times and measure the last strip.

        After each cut the board is turned, always the same way, by one side: the freshly cut edge
        is laid on the gauge's face (or, wrongly, turned away from it). Each cut runs along the
        slot, since that is where the board is fed.

        Parameters
        ----------
        turns : int
            Sides of the board, and turns before the last cut.
        size_mm : float
            Length of a side before the first cut.
        strip_mm : float
            Narrowest end of each strip taken off.
        inset_mm : float
            How far from the strip's ends the calipers are set.
        kept : {"left", "right"}
            The side of the blade on which the board lies.
        fresh_to_gauge : bool

        Returns
        -------
        RoundTest
            The end cut first is the one farther from the gauge.
        """
        # In the slots' frame, seen from above, the blade at x = 0, the board left of it. For a
        # board on the right the picture is taken in a mirror, which turns the gauge the other way.
        face_deg = -_SIGN[kept] * self.gauge_deg
        kerf = self.fed_kerf_mm()
        board = _regular_board(turns, size_mm)
        on_gauge = 0
        strip = board
        for cut in range(turns + 1):
            board = _laid(board, on_gauge, face_deg)
            board[:, 0] += strip_mm + kerf - _narrowest_end(board, on_gauge)
            strip = _clipped(board, np.array([1.0, 0.0]), kerf)
            board = _clipped(board, np.array([-1.0, 0.0]), 0.0)
            fresh = _edge_on(board, 0.0)
            on_gauge = fresh if fresh_to_gauge else (fresh - 2) % len(board)
            if cut < turns and len(board) != turns:
                raise ValueError("the cut took a corner off: give a larger board")
        return _strip_widths(strip, kerf, inset_mm)

    def plate_rub_mm(self, top_deg: float = 0.0, *, heights: int = 50) -> float:
        """How far the plate reaches into the wall that the front teeth left; negative: free.

        The front teeth cut where they rise through the table's height, and the board is fed along
        the slot past the plate, whose rim is taken at the gullets.
        """
        normal = self.plate_normal(top_deg)
        start = self._pose(top_deg) @ self._cocked @ UP
        rim = Paths(
            self.middle[None],
            self.gullet_radius_mm * start[None],
            self.gullet_radius_mm * np.cross(normal, start)[None],
        )
        levels = np.linspace(0.0, self.middle[2] + self.gullet_radius_mm, heights, endpoint=False)
        plate = np.vstack([rim.meets(UPWARD, float(level)).reshape(-1, 3) for level in levels])
        reach = []
        for wall, sign in _SIGN.items():
            teeth = self.corner_paths[wall].meets(UPWARD, 0.0)
            front = np.take_along_axis(teeth, (teeth @ self.slot).argmin(axis=0)[None, :, None], 0)
            outward = sign * _SIGN[self.side] * normal
            face = (plate + self.plate_mm / 2.0 * outward) @ (sign * self.across)
            reach.append(face.max() - (sign * front @ self.across).max())
        return float(max(reach))

    # ------------------------------------------------------------------ fence and insert

    def _fence_at(self, along_mm: ArrayLike) -> Floats:
        """Place of the fence's face across the slots, from the table's origin."""
        along = np.asarray(along_mm, dtype=np.float64)
        bow = self.fence_bow_mm * (1.0 - (2.0 * along / self.fence_length_mm) ** 2)
        face: Floats = self.fence_mm - along * math.tan(math.radians(self.fence_deg)) + bow
        return face

    def fence_readings_mm(self, along_mm: ArrayLike, *, dial_zero_mm: float = 0.0) -> Floats:
        """The dial of an indicator that slides in a slot, against the fence.

        Parameters
        ----------
        along_mm : array_like, shape (n,)
            Places along the slot, from front (negative) to back.

        Returns
        -------
        ndarray, shape (n,)
            Grows as the fence comes nearer to the indicator, which stands on the blade's side.
        """
        away = math.copysign(1.0, self.fence_mm)
        return dial_zero_mm - away * (self._fence_at(along_mm) - self.fence_mm)

    def turn_fence(self, move_mm: float, *, pivot_y_mm: float, lever_y_mm: float) -> RigidSaw:
        """Turn the fence about a place of its own; see `turn_table`."""
        lever = lever_y_mm - pivot_y_mm
        slope = math.tan(math.radians(self.fence_deg)) - move_mm / lever
        return replace(
            self,
            fence_deg=math.degrees(math.atan(slope)),
            fence_mm=self.fence_mm - pivot_y_mm * move_mm / lever,
        )

    def _fence_beside_blade(self) -> float:
        origin = np.array([*self.table_at_mm, 0.0])
        along = float((self.middle - origin) @ self.slot)
        return float(origin @ self.across + self._fence_at(along))

    def _fence_side(self) -> Side:
        return "right" if self.fence_mm > 0.0 else "left"

    def wall_to_fence_mm(self, height_mm: float = 0.0) -> float:
        """Width of a rip: from the fence, beside the arbor, to the wall left by the teeth."""
        side = self._fence_side()
        return _SIGN[side] * (self._fence_beside_blade() - self.wall_mm(side, height_mm))

    def tooth_to_fence_mm(self, tooth: int, place: Place = "top") -> float:
        """What a rule shows from the fence to a tooth's tip corner, the tooth turned to a place."""
        side = self._fence_side()
        corner = self.tooth_at(tooth, self.turned(tooth, place), side)
        return float(_SIGN[side] * (self._fence_beside_blade() - corner @ self.across))

    def set_fence_distance(
        self, tooth: int, distance_mm: float, place: Place = "top", *, error_mm: float = 0.0
    ) -> RigidSaw:
        """Slide the fence until the rule shows a distance to a tooth."""
        off = distance_mm + error_mm - self.tooth_to_fence_mm(tooth, place)
        return replace(self, fence_mm=self.fence_mm + _SIGN[self._fence_side()] * off)

    def insert_readings_mm(self, points_mm: ArrayLike) -> Floats:
        """Height of the insert above the table at places in plan.

        Parameters
        ----------
        points_mm : array_like, shape (n, 2)

        Returns
        -------
        ndarray, shape (n,)
        """
        screws = np.array(self.insert_screws_mm)
        ones = np.ones((len(screws), 1))
        plane = np.linalg.lstsq(np.hstack([ones, screws]), self.insert_heights_mm, rcond=None)[0]
        points = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        heights: Floats = plane[0] + points @ plane[1:]
        return heights

    def turn_insert_screws(self, turns: Sequence[float], pitch_mm: float) -> RigidSaw:
        """Turn each levelling screw; a positive turn raises the insert by the thread's pitch."""
        heights = tuple(
            height + turn * pitch_mm
            for height, turn in zip(self.insert_heights_mm, turns, strict=True)
        )
        return replace(self, insert_heights_mm=heights)


def line_meets(point: Floats, direction: Floats, normal: Floats, on_plane: Floats) -> Floats:
    """Where a line meets the plane with this normal through `on_plane`."""
    hit: Floats = point + ((on_plane - point) @ normal) / (direction @ normal) * direction
    return hit


def _opening_mm(edge: Floats, line: Floats, side: Side) -> float:
    """How much wider the gap between a straight edge on a side and a line is, 1 mm to the back."""
    toward = _SIGN[side] * np.cross(UPWARD, edge)  # From the right to the left, and back.
    point = edge / np.linalg.norm(edge)
    hit = line_meets(np.zeros(3), line, point, point)
    return float(hit @ toward / np.linalg.norm(toward))


def as_read(
    values: ArrayLike, sd: float, graduation: float | None, rng: np.random.Generator
) -> Floats:
    """Readings as a person would write them down: with scatter, on a graduated dial.

    Parameters
    ----------
    values : array_like, shape (...)
    sd : float
        Of the scatter of one reading.
    graduation : float or None
        Readings are rounded to it.
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (...)
    """
    true = np.asarray(values, dtype=np.float64)
    read: Floats = true + sd * rng.standard_normal(true.shape)
    return read if graduation is None else np.round(read / graduation) * graduation


def _plan_turn_deg(move_mm: float, pivot_y_mm: float, lever_y_mm: float) -> float:
    """Turn about z that moves a straight edge through the pivot to the right at the lever."""
    return -math.degrees(math.atan(move_mm / (lever_y_mm - pivot_y_mm)))


def _carried(at_mm: tuple[float, float], turn_deg: float, pivot_y_mm: float) -> tuple[float, float]:
    pivot = np.array([0.0, pivot_y_mm, 0.0])
    x, y, _ = pivot + rotation(UPWARD, turn_deg) @ (np.array([*at_mm, 0.0]) - pivot)
    return float(x), float(y)


def _regular_board(sides: int, size_mm: float) -> Floats:
    """Corners, anticlockwise, of a regular board; side k runs from corner k to the next."""
    corners = [np.zeros(2)]
    for side in range(sides - 1):
        turn = 2.0 * math.pi * side / sides
        corners.append(corners[-1] + size_mm * np.array([math.cos(turn), math.sin(turn)]))
    return np.array(corners)


def _laid(board: Floats, edge: int, face_deg: float) -> Floats:
    """Turn and slide a board until an edge lies on the gauge's face, which goes through (0, 0)."""
    start, end = board[edge], board[(edge + 1) % len(board)]
    turn_deg = face_deg - math.degrees(math.atan2(*(end - start)[::-1]))
    turn = rotation(UPWARD, turn_deg)[:2, :2]
    laid: Floats = (board - end) @ turn.T
    return laid


def _narrowest_end(board: Floats, on_gauge: int) -> float:
    """Place of that end of the edge to be cut which lies less far to the right."""
    ends = [(on_gauge + 1) % len(board), (on_gauge + 2) % len(board)]
    return float(board[ends, 0].min())


def _clipped(board: Floats, inward: Floats, level: float) -> Floats:
    """The part of a convex polygon where the coordinate along `inward` is at least `level`."""
    kept: list[Floats] = []
    for start, end in zip(board, np.roll(board, -1, axis=0), strict=True):
        inside, next_inside = start @ inward - level, end @ inward - level
        if inside >= 0.0:
            kept.append(start)
        if inside * next_inside < 0.0:
            kept.append(start + inside / (inside - next_inside) * (end - start))
    return np.array(kept)


def _edge_on(board: Floats, x: float) -> int:
    """Number of the edge that lies on a line along the slot."""
    on = np.isclose(board[:, 0], x, atol=1e-9) & np.isclose(
        np.roll(board, -1, 0)[:, 0], x, atol=1e-9
    )
    return int(np.flatnonzero(on)[0])


def _strip_widths(strip: Floats, cut_at: float, inset_mm: float) -> RoundTest:
    """Set calipers across a strip at both ends, square to its freshly cut edge."""
    cut = _edge_on(strip, cut_at)
    sides = np.isclose(strip[:, 0], strip[cut, 0], atol=1e-9)
    # Both long edges run there: the ends of a strip need not be square.
    low = max(strip[sides, 1].min(), strip[~sides, 1].min())
    high = min(strip[sides, 1].max(), strip[~sides, 1].max())
    near_gauge, far = low + inset_mm, high - inset_mm
    widths = []
    for along in (far, near_gauge):
        crossed = [
            start[0] + (along - start[1]) / (end[1] - start[1]) * (end[0] - start[0])
            for start, end in zip(strip, np.roll(strip, -1, axis=0), strict=True)
            if (start[1] - along) * (end[1] - along) < 0.0
        ]
        widths.append(max(crossed) - min(crossed))
    return RoundTest(float(widths[0]), float(widths[1]), float(far - near_gauge))
