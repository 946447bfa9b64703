"""The rigid-body simulation checked by itself, before anything is checked against it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rigid_body import (
    RIGHT,
    TOWARD_INDICATOR,
    UP,
    Numbering,
    RigidBlade,
    blade_angle_deg,
    blade_direction,
    chord_lean_deg,
    clock_direction,
    level_lean_deg,
    line_meets_plane,
    planes_meet,
    plate_normal,
    readings_mm,
    rotation,
    tooth_angles_deg,
    top_after_turning_deg,
    turn_onto,
    upright_lean_deg,
)

BOTH: tuple[Numbering, ...] = ("clockwise", "counterclockwise")
TILTS = (0.03, 1.0, 10.0, 25.0)
RING_MM = 100.0

both_numberings = pytest.mark.parametrize("numbered", BOTH)
all_tilts = pytest.mark.parametrize("tilt_deg", TILTS)


def angle_between_deg(a: float, b: float) -> float:
    """Smallest turn between two directions, without a sign."""
    return abs((a - b + 180.0) % 360.0 - 180.0)


def test_rotation_is_right_handed_and_rigid() -> None:
    assert_allclose(rotation(TOWARD_INDICATOR, 90.0) @ RIGHT, UP, atol=1e-15)
    turn = rotation([1.0, -2.0, 0.5], 37.0)
    assert_allclose(turn @ turn.T, np.eye(3), atol=1e-15)
    assert math.isclose(np.linalg.det(turn), 1.0)
    assert_allclose(turn @ [1.0, -2.0, 0.5], [1.0, -2.0, 0.5], atol=1e-15)
    assert_allclose(np.trace(turn), 1.0 + 2.0 * math.cos(math.radians(37.0)))


def test_clock_runs_clockwise_from_twelve() -> None:
    places = {0.0: UP, 90.0: RIGHT, 180.0: -UP, 270.0: -RIGHT}
    for clock_deg, direction in places.items():
        assert_allclose(clock_direction(clock_deg), direction, atol=1e-15)


def test_line_and_plane_and_two_planes_by_hand() -> None:
    # The plane x + y + z = 0 above (2, 3): z = -5. It meets x = 0 along y = -z.
    normal = np.ones(3) / math.sqrt(3.0)
    assert_allclose(
        line_meets_plane(np.array([2.0, 3.0, 7.0]), TOWARD_INDICATOR, normal), [2.0, 3.0, -5.0]
    )
    assert_allclose(
        planes_meet(normal, RIGHT, UP), [0.0, math.sqrt(0.5), -math.sqrt(0.5)], atol=1e-15
    )
    assert_allclose(planes_meet(normal, RIGHT, -UP), -planes_meet(normal, RIGHT, UP), atol=1e-15)


@both_numberings
def test_blade_angle_undoes_blade_direction(numbered: Numbering) -> None:
    blade = RigidBlade(0.0, 0.0, numbered)
    for angle in (0.0, 33.0, 179.0, 181.0, 300.0):
        found = blade_angle_deg(blade, blade_direction(blade, angle))
        assert angle_between_deg(found, angle) < 1e-9


def test_numbers_run_the_stated_way_round_the_clock() -> None:
    # With tooth 1 at twelve, blade angle 90 stands at three if the numbers run clockwise.
    assert_allclose(blade_direction(RigidBlade(0.0, 0.0, "clockwise"), 90.0), RIGHT, atol=1e-15)
    assert_allclose(
        blade_direction(RigidBlade(0.0, 0.0, "counterclockwise"), 90.0), -RIGHT, atol=1e-15
    )


@both_numberings
def test_flat_blade_reads_its_dial_zero(numbered: Numbering) -> None:
    blade = RigidBlade(0.0, 123.0, numbered)
    readings = readings_mm(blade, tooth_angles_deg(24), RING_MM, dial_zero_mm=0.4)
    assert_allclose(readings, 0.4, atol=1e-14)


@both_numberings
@all_tilts
@pytest.mark.parametrize("touch_deg", [0.0, -3.5])
def test_stylus_place_does_not_matter(
    numbered: Numbering, tilt_deg: float, touch_deg: float
) -> None:
    blade = RigidBlade(tilt_deg, 77.0, numbered)
    teeth = tooth_angles_deg(40)
    first, *others = (
        readings_mm(blade, teeth, RING_MM, touch_deg=touch_deg, stylus_clock_deg=clock)
        for clock in (0.0, 90.0, 137.0, 180.0, 270.0, 301.5)
    )
    assert np.ptp(first) > 0.1
    for other in others:
        assert_allclose(other, first, atol=1e-12)


@both_numberings
def test_ten_degree_model(numbered: Numbering) -> None:
    # A disc cocked 10 degrees, as a model anyone can build: at a ring of 100 mm the near spot
    # stands 100 mm x tan 10 deg = 17.632698 mm out, the neutral spots not at all, and a spot
    # 60 degrees from near half as far as near, since it lies half as far along the slope.
    blade = RigidBlade(10.0, 200.0, numbered)
    spots = np.array([200.0, 260.0, 140.0, 290.0, 110.0, 320.0, 80.0, 20.0])
    out = 17.632698070846498
    expected = np.array([out, out / 2, out / 2, 0.0, 0.0, -out / 2, -out / 2, -out])
    assert_allclose(readings_mm(blade, spots, RING_MM), expected, atol=1e-12)
    assert_allclose(readings_mm(blade, spots, 2.0 * RING_MM), 2.0 * expected, atol=1e-12)


@both_numberings
@all_tilts
def test_plate_stands_at_its_tilt(numbered: Numbering, tilt_deg: float) -> None:
    normal = plate_normal(RigidBlade(tilt_deg, 310.0, numbered))
    assert math.isclose(math.degrees(math.acos(normal @ TOWARD_INDICATOR)), tilt_deg, rel_tol=1e-6)


@all_tilts
def test_numberings_mirror_each_other(tilt_deg: float) -> None:
    clockwise, counter = (RigidBlade(tilt_deg, 64.0, numbered) for numbered in BOTH)
    teeth = tooth_angles_deg(50, "1 1 1 1 1.6")
    options = {"touch_deg": 2.0, "stylus_clock_deg": 15.0}
    assert_allclose(
        readings_mm(clockwise, teeth, RING_MM, **options),
        readings_mm(counter, teeth, RING_MM, **options),
        atol=1e-12,
    )
    # In the shop the two plates are each other's mirror image, left for right.
    mirror = np.diag([-1.0, 1.0, 1.0])
    standing = [
        turn_onto(blade_direction(blade, 200.0), UP) @ plate_normal(blade)
        for blade in (clockwise, counter)
    ]
    assert abs(standing[0] @ RIGHT) > 1e-4
    assert_allclose(standing[0], mirror @ standing[1], atol=1e-14)


@both_numberings
@all_tilts
def test_near_and_far_stand_opposite(numbered: Numbering, tilt_deg: float) -> None:
    # Common practice, no source: the far spot of a wobbling plate is half a turn from the near one,
    # and it stands as far behind the middle as the near one stands before it.
    blade = RigidBlade(tilt_deg, 41.0, numbered)
    angles = np.arange(360.0)
    readings = readings_mm(blade, angles, RING_MM, dial_zero_mm=5.0)
    assert angles[np.argmax(readings)] == 41.0
    assert angles[np.argmin(readings)] == 221.0
    assert_allclose(readings + np.roll(readings, 180), 10.0, atol=1e-12)


@both_numberings
def test_touched_spot_lies_ahead_with_the_numbering(numbered: Numbering) -> None:
    blade = RigidBlade(10.0, 12.0, numbered)
    teeth = tooth_angles_deg(40)
    ahead = readings_mm(blade, teeth, RING_MM, touch_deg=6.0)
    assert_allclose(ahead, readings_mm(blade, teeth + 6.0, RING_MM), atol=1e-12)
    # Near at 12 is touched while the tooth at 6, not the one at 18, stands at the pointer.
    at_near = readings_mm(blade, [6.0, 18.0], RING_MM, touch_deg=6.0)
    assert_allclose(at_near[0], 17.632698070846498, rtol=1e-14)
    assert at_near[1] < at_near[0] - 0.1


@both_numberings
@all_tilts
def test_upright_line_leans_by_the_tilt_at_near_and_not_at_all_on_the_neutral_line(
    numbered: Numbering, tilt_deg: float
) -> None:
    blade = RigidBlade(tilt_deg, 250.0, numbered)
    expected = {250.0: tilt_deg, 70.0: -tilt_deg, 340.0: 0.0, 160.0: 0.0}
    for top_deg, lean_deg in expected.items():
        assert_allclose(upright_lean_deg(blade, top_deg), lean_deg, atol=1e-12)


@both_numberings
@all_tilts
@pytest.mark.parametrize("clock_deg", [90.0, 270.0])
def test_level_line_leans_like_the_upright_one(
    numbered: Numbering, tilt_deg: float, clock_deg: float
) -> None:
    blade = RigidBlade(tilt_deg, 250.0, numbered)
    for angle in (250.0, 70.0, 340.0, 160.0, 17.0):
        assert_allclose(
            level_lean_deg(blade, angle, clock_deg), upright_lean_deg(blade, angle), atol=1e-12
        )


@both_numberings
def test_level_line_by_hand(numbered: Numbering) -> None:
    blade = RigidBlade(10.0, 250.0, numbered)
    assert_allclose(level_lean_deg(blade, 250.0, 90.0), 10.0)
    assert_allclose(level_lean_deg(blade, 250.0, 270.0), 10.0)
    assert_allclose(level_lean_deg(blade, 340.0, 90.0), 0.0, atol=1e-12)


@both_numberings
@all_tilts
def test_lean_is_what_two_stylus_readings_say(numbered: Numbering, tilt_deg: float) -> None:
    # Touch the plate straight above and straight below the arbor with the blade standing still:
    # the lean is the difference over the height, whatever planes meet where.
    blade = RigidBlade(tilt_deg, 123.0, numbered)
    top_deg = 83.0
    above = readings_mm(blade, [top_deg], RING_MM, stylus_clock_deg=0.0)[0]
    below = readings_mm(blade, [top_deg + 180.0], RING_MM, stylus_clock_deg=180.0)[0]
    lean_deg = math.degrees(math.atan2(above - below, 2.0 * RING_MM))
    assert lean_deg > 0.01
    assert_allclose(upright_lean_deg(blade, top_deg), lean_deg, rtol=1e-9)


@both_numberings
@all_tilts
@pytest.mark.parametrize("teeth", [40, 41, 43])
def test_every_chord_parallel_to_a_line_leans_like_it(
    numbered: Numbering, tilt_deg: float, teeth: int
) -> None:
    blade = RigidBlade(tilt_deg, 99.0, numbered)
    angles = tooth_angles_deg(teeth)
    for upper, lower in ((0, teeth // 2), (7, 7 + teeth // 2), (3, 11), (teeth - 1, 5)):
        # Both ends lie equally far out, so the chord runs a quarter turn from the direction
        # halfway between them.
        halfway = (angles[upper] + angles[lower]) / 2.0
        candidates = (halfway + 90.0, halfway - 90.0)
        along = min(candidates, key=lambda angle: angle_between_deg(angle, angles[upper]))
        lean_deg = upright_lean_deg(blade, along)
        for rim_radius_mm in (80.0, 127.0):
            assert_allclose(
                chord_lean_deg(blade, angles[upper], angles[lower], rim_radius_mm),
                lean_deg,
                atol=1e-12,
            )


@both_numberings
def test_turning_with_the_numbers_brings_a_lower_number_to_the_top(numbered: Numbering) -> None:
    # The teeth that follow are carried away ahead; the one before comes up.
    blade = RigidBlade(0.0, 0.0, numbered)
    assert_allclose(top_after_turning_deg(blade, 90.0, 9.0), 81.0)
    assert_allclose(top_after_turning_deg(blade, 90.0, -9.0), 99.0)
    assert_allclose(top_after_turning_deg(blade, 10.0, 30.0), 340.0)


@both_numberings
@all_tilts
@pytest.mark.parametrize("near_deg", [0.0, 199.8])
def test_positive_turn_from_the_neutral_end_after_near_leans_toward_the_indicator(
    numbered: Numbering, tilt_deg: float, near_deg: float
) -> None:
    blade = RigidBlade(tilt_deg, near_deg, numbered)

    def lean_deg(start_deg: float, away_deg: float) -> float:
        return upright_lean_deg(blade, top_after_turning_deg(blade, start_deg, away_deg))

    for away_deg in (1.0, 30.0, 90.0, 150.0):
        assert lean_deg(near_deg + 90.0, away_deg) > 0.0
        assert lean_deg(near_deg + 90.0, -away_deg) < 0.0
        # From the other end of the neutral line every sign is the other one.
        assert lean_deg(near_deg - 90.0, away_deg) < 0.0
    # The closed form that squareness errors are computed by, on purpose only here.
    for away_deg in np.arange(-180.0, 181.0, 7.5):
        exact = math.degrees(
            math.atan(math.tan(math.radians(tilt_deg)) * math.sin(math.radians(away_deg)))
        )
        assert_allclose(lean_deg(near_deg + 90.0, float(away_deg)), exact, atol=1e-12)


def test_tooth_angles_by_hand() -> None:
    assert_allclose(tooth_angles_deg(8), [0.0, 45.0, 90.0, 135.0, 180.0, 225.0, 270.0, 315.0])
    # Ten groups of 36 degrees; a group is 4 x 1 + 1.6 = 5.6 gaps, so a small one is 36 / 5.6.
    angles = tooth_angles_deg(50, "1 1 1 1 1.6")
    small = 6.428571428571429
    assert_allclose(angles[:7], [0, small, 2 * small, 3 * small, 4 * small, 36.0, 36.0 + small])
    assert_allclose(360.0 - angles[-1], 1.6 * small)
    assert_allclose(tooth_angles_deg(50, [1, 1, 1, 1, 1.6]), angles)


def test_pattern_must_go_round_whole() -> None:
    with pytest.raises(ValueError, match="no multiple"):
        tooth_angles_deg(49, "1 1 1 1 1.6")
