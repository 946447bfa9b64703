"""The simulated saw checked by itself and by plain trigonometry, before anything relies on it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from rigid_body import Numbering, level_lean_deg, readings_mm, upright_lean_deg
from rigid_saw import TO_BACK, TO_RIGHT, UPWARD, RigidSaw, Side, as_read

SIDES: tuple[Side, ...] = ("left", "right")
NUMBERED: tuple[Numbering, ...] = ("clockwise", "counterclockwise")
SIGN = {"left": -1, "right": 1}

every_view = pytest.mark.parametrize(
    ("side", "numbered"), [(side, numbered) for side in SIDES for numbered in NUMBERED]
)
both_sides = pytest.mark.parametrize("side", SIDES)
saws = st.builds(
    RigidSaw,
    side=st.sampled_from(SIDES),
    numbered=st.sampled_from(NUMBERED),
    teeth=st.integers(20, 60),
    plate_tilt_deg=st.floats(0.0, 0.2),
    near_deg=st.floats(0.0, 360.0),
)
small = st.floats(-0.5, 0.5)
cheap = settings(max_examples=25, deadline=None)


def tan(degrees: float) -> float:
    return math.tan(math.radians(degrees))


def slot_angle_deg(saw: RigidSaw, tooth: int, separation_mm: float, **how) -> float:
    """What the two readings of one tooth say, by the tangent alone."""
    front, back = (
        saw.slot_reading_mm(tooth, place, separation_mm, **how) for place in ("front", "back")
    )
    return math.degrees(math.atan((front - back) / separation_mm))


# -------------------------------------------------------------------------- a saw without faults


@every_view
def test_true_saw_reads_zero_everywhere(side: Side, numbered: Numbering) -> None:
    saw = RigidSaw(side=side, numbered=numbered)
    top_deg = saw.turned(7, "top")
    assert_allclose(saw.wobble_readings_mm(100.0), 0.0, atol=1e-12)
    assert_allclose(slot_angle_deg(saw, 7, 150.0), 0.0, atol=1e-12)
    on_plate = [saw.slot_reading_on_plate_mm(top_deg, at, 150.0) for at in ("front", "back")]
    assert_allclose(on_plate[0], on_plate[1], atol=1e-12)
    for angle in (
        saw.slot_error_deg(),
        saw.square_lean_deg(top_deg),
        saw.inclinometer_deg(top_deg),
        saw.level_line_deg(top_deg),
        saw.gauge_against_plate_deg(top_deg),
        saw.cut_lean_deg(25.0, "left"),
        saw.cut_lean_deg(25.0, "right"),
        saw.set_knife(top_deg).knife_toe_deg,
        saw.set_knife(top_deg).knife_lean_deg,
        saw.flip_gap_mm(25.0),
    ):
        assert_allclose(angle, 0.0, atol=1e-10)
    assert_allclose(np.ptp(saw.fence_readings_mm([-300.0, 0.0, 250.0])), 0.0, atol=1e-12)
    assert_allclose(saw.insert_readings_mm([[0.0, -100.0], [20.0, 100.0]]), 0.0, atol=1e-12)
    assert_allclose([saw.kerf_mm(), saw.fed_kerf_mm(), saw.fed_kerf_mm(25.0)], 3.2)
    assert_allclose(saw.wall_to_fence_mm(), 150.0 - 1.6)
    assert_allclose(saw.tooth_to_fence_mm(9), 150.0 - 1.6)
    first, last, _ = saw.round_test()
    assert_allclose([first, last], 8.0, atol=1e-9)


# ---------------------------------------------------------------------------- where things stand


@every_view
def test_a_tooth_goes_to_the_place_named(side: Side, numbered: Numbering) -> None:
    # Read off in the world: the tip that was turned to the front is nearest to the operator.
    saw = RigidSaw(side=side, numbered=numbered)
    goal = {"top": UPWARD, "front": -TO_BACK, "back": TO_BACK}
    for place, direction in goal.items():
        top_deg = saw.turned(7, place)
        reach = [
            (saw.tooth_at(tooth, top_deg, "left") - saw.middle) @ direction
            for tooth in range(1, saw.teeth + 1)
        ]
        assert np.argmax(reach) == 6
        assert_allclose(max(reach), saw.rim_radius_mm)
    above = saw.tooth_at(7, saw.turned(7, "front", above_arbor_mm=100.0), "left")
    assert_allclose(above, [-1.6, -math.sqrt(127.0**2 - 100.0**2), 100.0 - 77.0])


@both_sides
def test_numbers_run_as_the_indicator_sees_them(side: Side) -> None:
    # Seen from the left the front of the saw is on the right hand, at three o'clock.
    saw = RigidSaw(side=side, numbered="clockwise", teeth=40)
    top_deg = saw.turned(1, "top")
    quarter_on = saw.tooth_at(11, top_deg, side) - saw.middle
    assert_allclose(quarter_on @ TO_BACK, 127.0 * SIGN[side])
    other = replace(saw, numbered="counterclockwise")
    assert_allclose((other.tooth_at(11, top_deg, side) - saw.middle) @ TO_BACK, -127.0 * SIGN[side])


@every_view
def test_near_spot_stands_on_the_indicators_side(side: Side, numbered: Numbering) -> None:
    saw = RigidSaw(side=side, numbered=numbered, plate_tilt_deg=1.0, near_deg=90.0)
    for place in ("top", "front", "back"):
        near = saw.tooth_at(11, saw.turned(11, place), side)
        assert_allclose(
            near[0],
            SIGN[side] * (127.0 * math.sin(math.radians(1.0)) + 1.6 * math.cos(math.radians(1.0))),
        )


@cheap
@given(saw=saws, clock_deg=st.floats(0.0, 360.0), arbor_deg=small, tilt_deg=st.floats(-46.0, 46.0))
def test_wobble_is_that_of_the_plate_alone(
    saw: RigidSaw, clock_deg: float, arbor_deg: float, tilt_deg: float
) -> None:
    posed = replace(saw, arbor_deg=arbor_deg, tilt_to_right_deg=tilt_deg)
    read = posed.wobble_readings_mm(100.0, clock_deg=clock_deg, dial_zero_mm=0.3)
    # The face lies half a plate out along the plate's own normal: a constant, not a wobble.
    constant = saw.plate_mm / 2.0 * (1.0 / math.cos(math.radians(saw.plate_tilt_deg)) - 1.0)
    alone = readings_mm(saw.blade, saw.teeth_deg, 100.0, dial_zero_mm=0.3)
    assert_allclose(read, alone + constant, atol=1e-11)


@every_view
@pytest.mark.parametrize("plate_tilt_deg", [0.03, 5.0])
def test_leans_are_those_of_the_plate_alone(
    side: Side, numbered: Numbering, plate_tilt_deg: float
) -> None:
    saw = RigidSaw(side=side, numbered=numbered, plate_tilt_deg=plate_tilt_deg, near_deg=123.0)
    for blade_deg in (123.0, 33.0, 213.0, 300.0):
        assert_allclose(
            saw.square_lean_deg(saw.turned_deg(blade_deg, "top")),
            upright_lean_deg(saw.blade, blade_deg),
            atol=1e-11,
        )
        # The back end of the level line: at three o'clock seen from the right, else at nine.
        toe_deg = saw.set_knife(saw.turned_deg(blade_deg, "back")).knife_toe_deg
        at_back = level_lean_deg(saw.blade, blade_deg, {"right": 90.0, "left": 270.0}[side])
        assert_allclose(toe_deg, at_back, atol=1e-11)


# --------------------------------------------------------------------------------- slots


@every_view
@pytest.mark.parametrize("arbor_deg", [0.2, -3.0])
@pytest.mark.parametrize("tooth", [1, 18])
def test_yaw_gives_the_dial_difference_of_plain_trigonometry(
    side: Side, numbered: Numbering, arbor_deg: float, tooth: int
) -> None:
    # Anticlockwise from above carries the blade's back to the left, toward a left indicator.
    saw = RigidSaw(
        side=side, numbered=numbered, arbor_deg=arbor_deg, plate_tilt_deg=0.5, near_deg=200.0
    )
    front, back = (saw.slot_reading_mm(tooth, place, 150.0) for place in ("front", "back"))
    toward_at_back = {"left": 1, "right": -1}[side] * 150.0 * tan(arbor_deg)
    assert_allclose(back - front, toward_at_back, rtol=1e-9)
    # An indicator in the other slot sees the same turn with the other sign.
    other = "left" if side == "right" else "right"
    assert_allclose(slot_angle_deg(saw, tooth, 150.0, side=other), -saw.slot_error_deg(), rtol=1e-9)


@cheap
@given(saw=saws, arbor_deg=small, slot_deg=small, separation_mm=st.floats(40.0, 190.0))
def test_one_tooth_tells_the_slot_whatever_the_wobble(
    saw: RigidSaw, arbor_deg: float, slot_deg: float, separation_mm: float
) -> None:
    turned = replace(saw, arbor_deg=arbor_deg, slot_deg=slot_deg)
    away = SIGN[saw.side] * (arbor_deg - slot_deg)
    assert_allclose(turned.slot_error_deg(), away, atol=1e-10)
    for tooth in (1, 12):
        assert_allclose(slot_angle_deg(turned, tooth, separation_mm), away, atol=1e-9)


@every_view
def test_the_plate_itself_is_wrong_by_up_to_its_tilt(side: Side, numbered: Numbering) -> None:
    saw = RigidSaw(side=side, numbered=numbered, plate_tilt_deg=0.5, near_deg=80.0)
    found = {}
    for blade_deg in (80.0, 260.0, 170.0, 350.0):
        top_deg = saw.turned_deg(blade_deg, "back")
        front, back = (
            saw.slot_reading_on_plate_mm(top_deg, place, 150.0) for place in ("front", "back")
        )
        found[blade_deg] = math.degrees(math.atan((front - back) / 150.0))
    # With near at the back the plate comes toward the indicator there: it seems to be toed in.
    assert_allclose(
        [found[one] for one in (80.0, 260.0, 170.0, 350.0)], [-0.5, 0.5, 0, 0], atol=1e-9
    )


@both_sides
@pytest.mark.parametrize("turned", ["table", "trunnion"])
@pytest.mark.parametrize(("pivot_y_mm", "lever_y_mm"), [(-200.0, 250.0), (200.0, -250.0)])
def test_a_turn_about_a_bolt_does_what_a_dial_on_the_edge_says(
    side: Side, turned: str, pivot_y_mm: float, lever_y_mm: float
) -> None:
    # A point 450 mm from the bolt that goes 0.9 mm to the right: by similar triangles 0.3 mm over
    # the 150 mm between the two readings.
    saw = RigidSaw(side=side, plate_tilt_deg=0.1)
    turn = {"table": saw.turn_table, "trunnion": saw.turn_trunnion}[turned]
    moved = turn(0.9, pivot_y_mm=pivot_y_mm, lever_y_mm=lever_y_mm)
    front, back = (moved.slot_reading_mm(3, place, 150.0) for place in ("front", "back"))
    lever_at_back = 1 if lever_y_mm > pivot_y_mm else -1
    blade_goes_right = {"trunnion": 1, "table": -1}[turned]
    toward = 0.3 * lever_at_back * blade_goes_right * SIGN[side]
    assert_allclose(back - front, toward, rtol=1e-9)
    # Beside the arbor, 200 mm from the bolt, that is 0.4 mm between fence and blade.
    closer = saw.tooth_to_fence_mm(3) - moved.tooth_to_fence_mm(3)
    assert_allclose(closer, 0.4 * blade_goes_right, atol=2e-3)
    back_again = {"table": moved.turn_table, "trunnion": moved.turn_trunnion}[turned](
        -0.9, pivot_y_mm=pivot_y_mm, lever_y_mm=lever_y_mm
    )
    assert_allclose(back_again.slot_error_deg(), 0.0, atol=1e-12)
    assert_allclose(back_again.wall_to_fence_mm(), saw.wall_to_fence_mm(), atol=1e-9)


# ---------------------------------------------------------------------- square, bevel, gauge, knife


@every_view
@pytest.mark.parametrize("target_deg", [0.0, 22.5, -45.0])
def test_neutral_line_upright_sets_the_cut_true(
    side: Side, numbered: Numbering, target_deg: float
) -> None:
    saw = RigidSaw(
        side=side, numbered=numbered, plate_tilt_deg=0.4, near_deg=50.0, tilt_to_right_deg=1.3
    )
    for neutral_deg in (140.0, 320.0):
        done = saw.set_tilt(saw.turned_deg(neutral_deg, "top"), target_deg)
        assert_allclose(done.square_lean_deg(neutral_deg), target_deg, atol=1e-9)
        assert_allclose(done.cut_lean_deg(20.0), target_deg, atol=1e-9)
    at_near = saw.set_tilt(saw.turned_deg(50.0, "top"))
    # At near the line leans toward the indicator, so the arbor is tilted away from it.
    assert_allclose(at_near.cut_lean_deg(20.0), -0.4, atol=1e-9)
    misread = saw.set_tilt(140.0, error_deg=0.05)
    assert_allclose(misread.cut_lean_deg(20.0), 0.05, atol=1e-9)


@cheap
@given(saw=saws, top_deg=st.floats(0.0, 360.0), tilt_deg=st.floats(-46.0, 46.0))
def test_level_and_square_agree_to_second_order(
    saw: RigidSaw, top_deg: float, tilt_deg: float
) -> None:
    posed = replace(saw, tilt_to_right_deg=tilt_deg)
    second_order = math.degrees(math.radians(saw.plate_tilt_deg) ** 2)
    assert abs(posed.inclinometer_deg(top_deg) - posed.square_lean_deg(top_deg)) <= (
        second_order + 1e-9
    )


@every_view
def test_dish_spoils_the_square_at_every_rotation_and_not_the_cut(
    side: Side, numbered: Numbering
) -> None:
    # The rim stands 0.1 mm out and the plate at half the radius a quarter of that: over the half
    # radius between them the square finds 0.075 mm.
    saw = RigidSaw(side=side, numbered=numbered, dish_mm=0.1, arbor_depth_mm=63.5)
    for top_deg in (0.0, 90.0, 200.0):
        assert_allclose(saw.square_lean_deg(top_deg), math.degrees(math.atan(0.075 / 63.5)))
    assert_allclose(saw.cut_lean_deg(20.0), 0.0, atol=1e-9)
    assert_allclose(np.ptp(saw.wobble_readings_mm(63.5)), 0.0, atol=1e-12)
    assert_allclose(saw.wobble_readings_mm(63.5), 0.025)


@every_view
@pytest.mark.parametrize("target_deg", [0.0, 45.0, -45.0])
def test_neutral_line_level_sets_the_gauge_true(
    side: Side, numbered: Numbering, target_deg: float
) -> None:
    saw = RigidSaw(side=side, numbered=numbered, plate_tilt_deg=0.4, near_deg=50.0, gauge_deg=2.0)
    for place in ("front", "back"):
        done = saw.set_gauge(saw.turned_deg(140.0, place), target_deg)
        assert_allclose(done.gauge_error_deg(target_deg), 0.0, atol=1e-9)
    # With near at the back the line's back end stands toward the indicator: anticlockwise from
    # above for one on the left, and the gauge is turned along.
    wrong = saw.set_gauge(saw.turned_deg(50.0, "back"), target_deg)
    assert_allclose(wrong.gauge_error_deg(target_deg), -0.4 * SIGN[side], atol=1e-9)
    assert_allclose(wrong.gauge_against_plate_deg(saw.turned_deg(50.0, "back")), target_deg)


@every_view
def test_knife_needs_the_line_level_then_upright(side: Side, numbered: Numbering) -> None:
    saw = RigidSaw(side=side, numbered=numbered, plate_tilt_deg=0.4, near_deg=50.0, arbor_deg=0.3)
    level, upright = saw.turned_deg(140.0, "back"), saw.turned_deg(140.0, "top")
    good = saw.set_knife(level, upright)
    assert_allclose([good.knife_toe_deg, good.knife_lean_deg], 0.0, atol=1e-9)
    # Left as it stood, the level line serves the toe and spoils the lean, and the other way round.
    toe_only, lean_only = saw.set_knife(level), saw.set_knife(upright)
    assert_allclose(toe_only.knife_toe_deg, 0.0, atol=1e-9)
    assert_allclose(abs(toe_only.knife_lean_deg), 0.4, rtol=1e-9)
    assert_allclose(abs(lean_only.knife_toe_deg), 0.4, rtol=1e-9)
    assert_allclose(lean_only.knife_lean_deg, 0.0, atol=1e-9)


# ---------------------------------------------------------------------------------- cuts


@cheap
@given(saw=saws, arbor_deg=small, tilt_deg=st.floats(-46.0, 46.0))
def test_teeth_sweep_planes_square_to_the_arbor(
    saw: RigidSaw, arbor_deg: float, tilt_deg: float
) -> None:
    posed = replace(saw, arbor_deg=arbor_deg, tilt_to_right_deg=tilt_deg)
    assert_allclose(posed.cut_plane().normal, posed.arbor @ TO_RIGHT, atol=1e-9)


@every_view
def test_kerf_is_the_teeth_and_what_they_wobble(side: Side, numbered: Numbering) -> None:
    # A disc cocked one degree: its rim, 127 mm out, stands 127 sin 1 deg to one side and the other.
    saw = RigidSaw(side=side, numbered=numbered, plate_tilt_deg=1.0, near_deg=90.0)
    one = math.radians(1.0)
    expected = 3.2 * math.cos(one) + 2 * 127.0 * math.sin(one)
    assert_allclose([saw.kerf_mm(), saw.fed_kerf_mm(), saw.fed_kerf_mm(25.0)], expected)
    shift = (expected - 3.2) / 2.0
    assert_allclose(saw.wall_to_fence_mm(), 150.0 - 1.6 - shift)


@both_sides
def test_heel_widens_the_kerf_by_what_stands_in_the_cut(side: Side) -> None:
    # At the table's height the teeth rise and sink 2 sqrt(127^2 - 77^2) mm apart.
    saw = RigidSaw(side=side, arbor_deg=0.3)
    chord = 2.0 * math.sqrt(127.0**2 - 77.0**2)
    turn = math.radians(0.3)
    expected = 3.2 * math.cos(turn) + chord * math.sin(turn)
    assert_allclose(saw.fed_kerf_mm(), expected)
    assert_allclose(saw.kerf_mm(), 3.2)
    # Each wall then leans, for it is cut farther out below; both do, and the flip test is blind.
    assert saw.cut_lean_deg(25.0, "left") * saw.cut_lean_deg(25.0, "right") < -0.01
    assert_allclose(saw.flip_gap_mm(25.0), 0.0, atol=1e-9)


@every_view
@pytest.mark.parametrize("tilt_to_right_deg", [0.2, -1.0, 4.0])
def test_flip_gap_by_plane_geometry(
    side: Side, numbered: Numbering, tilt_to_right_deg: float
) -> None:
    saw = RigidSaw(
        side=side, numbered=numbered, tilt_to_right_deg=tilt_to_right_deg, plate_tilt_deg=0.2
    )
    assert_allclose(saw.cut_lean_deg(25.0), SIGN[side] * tilt_to_right_deg, rtol=1e-9)
    # The blade's top to the right leaves the left piece longer at its top. Turned over it is
    # longer at the bottom, as the right piece is: they touch there and are open at the top.
    gap = 2.0 * 25.0 * tan(tilt_to_right_deg)
    assert_allclose(saw.flip_gap_mm(25.0, "left"), gap, rtol=1e-9)
    assert_allclose(saw.flip_gap_mm(25.0, "right"), -gap, rtol=1e-9)


@pytest.mark.parametrize("kept", SIDES)
@pytest.mark.parametrize("turns", [3, 4, 6, 8])
@pytest.mark.parametrize("error_deg", [0.0, 0.05, -0.3])
def test_round_test_adds_the_corner_up(kept: Side, turns: int, error_deg: float) -> None:
    # Corners of a board with equal sides are 180 - 360 / n; n of them leave n errors over.
    corner = 180.0 - 360.0 / turns
    gauge_deg = -SIGN[kept] * (corner + error_deg - 90.0)
    saw = RigidSaw(gauge_deg=gauge_deg, plate_tilt_deg=0.05)
    assert_allclose(saw.corner_deg(kept), corner + error_deg)
    test = saw.round_test(turns, kept=kept, size_mm=300.0)
    # A corner that is too wide leaves a strip that is narrower at the end cut first.
    narrowed = test.length_mm * tan(turns * error_deg)
    assert_allclose(test.cut_first_mm - test.cut_last_mm, -narrowed, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("kept", SIDES)
def test_turned_the_wrong_way_nothing_adds_up(kept: Side) -> None:
    saw = RigidSaw(gauge_deg=0.2)
    right, wrong = (saw.round_test(kept=kept, fresh_to_gauge=way) for way in (True, False))
    taper = [
        math.degrees(math.atan((one.cut_first_mm - one.cut_last_mm) / one.length_mm))
        for one in (right, wrong)
    ]
    assert_allclose(np.abs(taper), [0.8, 0.2], rtol=1e-9)


def test_round_test_judges_the_feed_not_the_blade() -> None:
    # The board goes where the slot leads it, so heel does not show in its corners.
    heeled = RigidSaw(gauge_deg=0.1, arbor_deg=0.3).round_test()
    straight = RigidSaw(gauge_deg=0.1).round_test()
    assert_allclose(
        (heeled.cut_first_mm - heeled.cut_last_mm) / heeled.length_mm,
        (straight.cut_first_mm - straight.cut_last_mm) / straight.length_mm,
        rtol=1e-9,
    )


@both_sides
@pytest.mark.parametrize(
    ("gullet_radius_mm", "height_mm"),
    [(127.0, 3.0), (127.0, 25.0), (127.0, 50.0), (117.0, 25.0), (117.0, 50.0)],
)
def test_plate_rubs_from_the_angle_of_a_triangle_on(
    side: Side, gullet_radius_mm: float, height_mm: float
) -> None:
    # Half a millimetre of clearance used up over the chord from front teeth to the plate's back.
    saw = RigidSaw(
        side=side, gullet_radius_mm=gullet_radius_mm, arbor_depth_mm=127.0 - height_mm, teeth=400
    )
    depth = saw.arbor_depth_mm
    chord = math.sqrt(127.0**2 - depth**2) + math.sqrt(gullet_radius_mm**2 - depth**2)
    limit = math.degrees(math.atan(0.5 / chord))
    for turn in (1.0, -1.0):
        assert replace(saw, arbor_deg=turn * 0.999 * limit).plate_rub_mm() < 0.0
        assert replace(saw, arbor_deg=turn * 1.001 * limit).plate_rub_mm() > 0.0


# ------------------------------------------------------------------------- fence, insert, readings


@pytest.mark.parametrize("fence_mm", [150.0, -150.0])
def test_fence_toed_in_reads_more_at_the_back(fence_mm: float) -> None:
    # Toward the blade: to the left for a fence on the right of it, so anticlockwise from above.
    toward = math.copysign(0.1, fence_mm)
    saw = RigidSaw(fence_mm=fence_mm, fence_deg=toward)
    front, back = saw.fence_readings_mm([-200.0, 200.0])
    assert_allclose(back - front, 400.0 * tan(0.1))
    straightened = saw.turn_fence(
        toward / 0.1 * 400.0 * tan(0.1), pivot_y_mm=-200.0, lever_y_mm=200.0
    )
    assert_allclose(straightened.fence_readings_mm([-200.0, 200.0]), 0.0, atol=1e-12)
    assert_allclose(straightened.fence_deg, 0.0, atol=1e-12)
    # The front stayed where it was.
    assert_allclose(straightened.fence_mm, fence_mm + 200.0 * math.copysign(tan(0.1), fence_mm))
    bowed = replace(saw, fence_deg=0.0, fence_bow_mm=-0.2 * toward / 0.1)
    ends_and_middle = bowed.fence_readings_mm([-400.0, 0.0, 400.0])
    assert_allclose(ends_and_middle - ends_and_middle[0], [0.0, 0.2, 0.0], atol=1e-12)


@every_view
@pytest.mark.parametrize("fence_mm", [150.0, -150.0])
def test_fence_set_from_near_far_and_neutral_teeth(
    side: Side, numbered: Numbering, fence_mm: float
) -> None:
    saw = RigidSaw(side=side, numbered=numbered, plate_tilt_deg=1.0, fence_mm=fence_mm)
    out = 127.0 * math.sin(math.radians(1.0))
    on_indicators_side = (fence_mm > 0) == (side == "right")
    nearest, farthest = (1, 21) if on_indicators_side else (21, 1)
    for tooth, wall in ((nearest, 0.0), (11, -out), (farthest, -2.0 * out)):
        done = saw.set_fence_distance(tooth, 100.0)
        assert_allclose(done.tooth_to_fence_mm(tooth), 100.0)
        assert_allclose(done.wall_to_fence_mm(), 100.0 + wall, atol=1e-9)


def test_insert_screws_lift_and_tilt_a_plane() -> None:
    saw = RigidSaw().turn_insert_screws([1.0, 1.0, 1.0, 1.0], 0.8)
    points = [[0.0, 0.0], [30.0, -100.0]]
    assert_allclose(saw.insert_readings_mm(points), 0.8)
    tilted = RigidSaw().turn_insert_screws([-0.5, -0.5, 0.5, 0.5], 0.8)
    assert_allclose(tilted.insert_readings_mm([[0.0, 0.0], [10.0, 75.0]]), [0.0, 0.2], atol=1e-12)


def test_readings_are_scattered_rounded_and_repeatable() -> None:
    true = np.full(4000, 0.123)
    read = as_read(true, 0.02, 0.01, np.random.default_rng(3))
    assert_allclose(read, as_read(true, 0.02, 0.01, np.random.default_rng(3)))
    assert_allclose(read / 0.01, np.round(read / 0.01), atol=1e-9)
    assert_allclose(read.mean(), 0.123, atol=0.002)
    assert_allclose(read.std(), 0.02, rtol=0.1)
    assert_allclose(as_read(true, 0.0, None, np.random.default_rng(3)), true)


# ----------------------------------------------------------------------------- what cannot be done


def test_places_without_blade_are_refused() -> None:
    saw = RigidSaw()
    with pytest.raises(ValueError, match="no tooth above the table"):
        saw.slot_reading_mm(1, "front", 230.0)
    with pytest.raises(ValueError, match="no tooth above the table"):
        saw.slot_reading_mm(1, "front", 300.0)
    with pytest.raises(ValueError, match="no plate"):
        saw.slot_reading_on_plate_mm(0.0, "back", 220.0)
    with pytest.raises(ValueError, match="does not reach"):
        saw.wall_mm("left", 51.0)
