"""Slots: signs against a rigid-body simulation, doubt against the GUM, words to follow."""

from __future__ import annotations

import math
import re

import GTC
import numpy as np
import pytest
from asked import in_both, slots
from hypothesis import given
from hypothesis import strategies as st
from rigid_body import rotation
from rigid_saw import RigidSaw
from scipy import stats
from simulated import rng_for, wave

import bladegeom as bg
from bladegeom.saw.slots import slot_alignment

SIDES = ("left", "right")


def saw_of(slot_deg, side, tilt_deg=0.4):
    return RigidSaw(teeth=2, side=side, slot_deg=slot_deg, plate_tilt_deg=tilt_deg, near_deg=30.0)


def read_of(saw, **facts):
    front, back = (saw.slot_reading_mm(1, place, 150.0) for place in ("front", "back"))
    return slots(front=front, back=back, separation=150.0, graduation=1e-6, **facts)


def moved_by(saw, moved, pivot, lever, to_right):
    """Turn table or trunnion until a dial, `lever` from the bolt, has moved so much."""
    way = 1.0 if pivot == "front" else -1.0
    turn = saw.turn_table if moved == "table" else saw.turn_trunnion
    return turn(to_right, pivot_y_mm=-250.0 * way, lever_y_mm=(lever - 250.0) * way)


@pytest.mark.parametrize("slot_deg", [0.07, -0.07])
@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("moved", ["table", "trunnion"])
@pytest.mark.parametrize("pivot", ["front", "back"])
@pytest.mark.parametrize("lever", [100.0, 400.0])
def test_a_correction_followed_to_the_letter_brings_the_slots_true(
    slot_deg, side, moved, pivot, lever
):
    saw, how = saw_of(slot_deg, side), {"moved": moved, "pivot": pivot, "lever": lever}
    result = read_of(saw, side=side, **how)
    assert abs(result.angle_deg) == pytest.approx(0.07, rel=1e-4)
    said = re.fullmatch(
        r"Leave the (\w+) bolt as the pivot\. ([\d.]+) mm from it, move the (\w+) of the (\w+) "
        r"([\d.]+) mm to the (left|right) \(.*\)\.",
        result.correction,
    )
    assert said is not None
    end = {"front": "back", "back": "front"}[pivot]
    assert (said[1], float(said[2]), said[3], said[4]) == (pivot, lever, end, moved)
    # No finer than the dial shows it.
    assert float(said[5]) == pytest.approx(abs(result.move.value), abs=0.005)
    to_right = abs(result.move.value) * (1 if said[6] == "right" else -1)
    # To second order: of 0.07 degrees nothing is left but its cube.
    assert abs(moved_by(saw, moved, pivot, lever, to_right).slot_error_deg()) < 1e-6
    # A positive move goes the way the indicator points, and where no side is stated it is said so.
    assert result.move.value * (1 if side == "left" else -1) == pytest.approx(to_right)
    words = {
        ("table", True): "mm the way the indicator points, its slot toward the blade.",
        ("table", False): "mm against the way the indicator points, its slot away from the blade.",
        ("trunnion", True): "mm away from the indicator.",
        ("trunnion", False): "mm toward the indicator.",
    }
    assert read_of(saw, **how).correction.endswith(words[moved, result.move.value > 0])


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("slot_deg", [0.05, -0.05])
def test_words_name_the_end_toward_which_the_slot_leaves_the_blade(slot_deg, side):
    saw = saw_of(slot_deg, side)
    end = "back" if saw.slot_error_deg() > 0 else "front"
    result = read_of(saw, side=side)
    assert result.angle_deg == pytest.approx(saw.slot_error_deg(), rel=1e-4)
    assert result.stands_off.startswith(f"at the {end} the tooth stands 0.13")
    assert f"away from the blade toward the {end}" in result.stands_off


@pytest.mark.parametrize("tilt_deg", [0.0, 0.3, -2.0])
def test_wobble_does_not_matter_to_one_tooth_turned_along(tilt_deg):
    assert abs(read_of(saw_of(0.05, "left", tilt_deg)).angle_deg) == pytest.approx(0.05, rel=1e-4)


def test_angle_by_hand():
    # 0.12 mm over 250 mm: atan(0.00048) = 0.027502 degrees.
    result = slots(front=[0.52], back=0.40, separation=250, graduation=0.01)
    assert result.angle_deg == pytest.approx(0.0275020, abs=1e-6)
    assert result.difference.value == pytest.approx(0.12)
    assert result.move.value == pytest.approx(0.12)
    assert (result.front, result.back, result.separation) == (0.52, 0.4, 250)


def test_saw_lead_of_an_outside_source():
    # US Forest Products Laboratory, "Saw lead" (1944): a lead of 1/8 in in 20 ft is 1/40 in over a
    # saw of 4 ft.
    result = slots(
        front=([0.125], "in"),
        back=([0.0], "in"),
        separation=(240, "in"),
        graduation=(0.001, "in"),
        lever=(48, "in"),
    )
    assert result.move.value == pytest.approx(1 / 40)


def test_common_practice_a_thousandth_of_an_inch_is_aligned():
    # Common practice, no source: front and back within 0.001 in (about 0.03 mm) are aligned.
    facts = {
        "front": ([0.0105, 0.0106], "in"),
        "back": ([0.0104, 0.0105], "in"),
        "separation": (8.0, "in"),
    }
    assert slots(**facts, tolerance=(0.001, "in")).verdict == "within"
    assert slots(**facts, tolerance=0.03).verdict == "within"
    facts["back"] = ([0.0064, 0.0065], "in")
    assert slots(**facts, tolerance=(0.001, "in")).verdict == "out"


@given(
    st.lists(st.floats(-2, 2), min_size=1, max_size=5),
    st.lists(st.floats(-2, 2), min_size=1, max_size=5),
    st.floats(50, 500),
    st.sampled_from([None, 0.01]),
    st.sampled_from([None, 0.02]),
)
def test_millimetres_and_inches_give_the_same(front, back, separation, graduation, end_float):
    read = {"front": front, "back": back, "separation": separation}
    asked = read | {"graduation": graduation, "end_float": end_float}
    metric, imperial = in_both(slot_alignment, **asked)
    assert imperial.angle_deg == pytest.approx(metric.angle_deg, rel=1e-9, abs=1e-12)
    assert imperial.difference.value * 25.4 == pytest.approx(metric.difference.value, abs=1e-12)
    assert imperial.move.value * 25.4 == pytest.approx(metric.move.value, abs=1e-12)
    assert imperial.to_dict().keys() == metric.to_dict().keys()
    if not math.isnan(metric.angle_u_deg) and np.ptp(front) + np.ptp(back) > 1e-6:
        assert imperial.angle_u_deg == pytest.approx(metric.angle_u_deg, rel=1e-6)


@given(st.floats(-1, 1), st.floats(-1, 1), st.floats(-5, 5))
def test_front_and_back_change_places_and_the_dial_may_stand_anywhere(front, back, zero):
    one = slots(front=[front], back=[back], separation=200, graduation=0.01)
    other = slots(front=[back + zero], back=[front + zero], separation=200, graduation=0.01)
    assert other.angle_deg == pytest.approx(-one.angle_deg, abs=1e-9)
    assert other.angle_u_deg == pytest.approx(one.angle_u_deg, rel=1e-6)


def test_doubt_is_that_of_gtc():
    front, back = np.array([0.52, 0.55, 0.51]), np.array([0.41, 0.44])
    result = slots(front=front, back=back, separation=250, graduation=0.01, end_float=0.02)
    pooled = math.sqrt((2 * front.var(ddof=1) + back.var(ddof=1)) / 3)
    scatter = GTC.ureal(0.0, pooled * math.sqrt(1 / 3 + 1 / 2), 3)
    floats = [GTC.ureal(0.0, 0.02 / math.sqrt(12)) for _ in range(2)]
    difference = front.mean() - back.mean() + scatter + floats[0] + floats[1]
    angle = GTC.atan(difference / 250) * (180 / math.pi)
    assert result.difference.u == pytest.approx(GTC.uncertainty(difference), rel=1e-9)
    assert result.angle_deg == pytest.approx(GTC.value(angle), rel=1e-12)
    assert result.angle_u_deg == pytest.approx(GTC.uncertainty(angle), rel=1e-9)
    assert result.angle.dof == pytest.approx(GTC.dof(angle), rel=1e-9)
    assert result.move.u == pytest.approx(result.difference.u)


def test_rounding_counts_where_the_dial_stands_still():
    # Three times 0.1 add up to a little more than 0.3 in binary arithmetic.
    facts = {"front": [0.5, 0.5, 0.5], "back": [0.1, 0.1, 0.1], "separation": 200}
    sure = slots(**facts, graduation=0.01)
    # Nine degrees of freedom: five of caution, four of no scatter at all, which leaves the step.
    assert sure.gauge.sd == pytest.approx(0.01 / math.sqrt(12))
    assert (sure.difference.dof, sure.rests_on) == (9, "cautious")
    # The dial may have stood just short of a graduation at one end and just past it at the other.
    assert 0.009 < sure.difference.reach < 0.011
    unknown = slots(**facts)
    assert math.isnan(unknown.angle_u_deg)
    assert (unknown.established, unknown.rests_on) == (False, "nothing")


def test_limits_hold_the_truth_as_often_as_they_say():
    # scipy.stats.binom: of 4000 sets, 95 % within 4 standard deviations of the count.
    rng = rng_for(5)
    read = rng.normal(0.0, 0.01, (4000, 2, 3)) + np.array([[0.3], [0.2]])
    held = 0
    for front, back in read:
        one = slots(front=front, back=back, separation=200.0).difference
        held += one.low <= 0.1 <= one.high
    spread = 4 * float(stats.binom.std(4000, 0.95))
    assert held == pytest.approx(3800, abs=spread)


@pytest.mark.parametrize(
    ("back", "tolerance", "verdict"),
    [(0.50, 0.10, "within"), (0.40, 0.05, "out"), (0.45, 0.055, "cannot tell")],
)
def test_there_are_three_verdicts(back, tolerance, verdict):
    facts = {"front": [0.5], "back": [back], "separation": 200, "graduation": 0.01}
    for given_as in (
        {"tolerance": tolerance},
        {"tolerance": (tolerance / 25.4, "in")},
        {"tolerance": (math.degrees(math.atan(tolerance / 200)), "deg")},
    ):
        result = slots(**facts, **given_as)
        assert result.verdict == verdict
        assert f"{verdict}: tolerance" in str(result)
    assert slots(**facts).verdict is None
    assert "tolerance" not in str(slots(**facts))


def test_within_the_tolerance_nothing_needs_moving_and_what_is_left_is_told():
    result = slots(front=[0.52, 0.53], back=[0.51, 0.50], separation=250, tolerance=0.1)
    assert result.verdict == "within"
    assert "nothing needs moving; what was read is what is left" in result.correction


def test_no_move_is_asked_for_where_no_difference_is_established():
    result = slots(front=[0.52, 0.56], back=[0.51, 0.54], separation=250)
    assert not result.established
    assert "move nothing yet" in result.correction
    assert "not established" in result.stands_off
    even = slots(front=[0.5], back=[0.5], separation=250, graduation=0.01)
    assert even.stands_off == "front and back read the same"
    assert "move nothing yet" in even.correction


def test_where_it_cannot_be_told_the_doubt_that_would_do_is_named():
    facts = {"front": [0.50, 0.52, 0.54], "back": [0.45, 0.47, 0.43], "separation": 200}
    result = slots(**facts, tolerance=0.05)
    assert result.verdict == "cannot tell"
    # scipy.stats.t with 4 degrees of freedom; the difference is 0.07, the tolerance 0.02 from it.
    reach = float(stats.t.ppf(0.975, 4)) * 0.02 * math.sqrt(2 / 3)
    assert f"difference, {reach:.3f} mm, must come down to 0.020 mm." in result.remarks[0]
    stuck = slots(**facts, tolerance=0.05, end_float=0.05)
    assert "Repeats are not enough, the end float alone makes 0.040 mm" in (stuck.remarks[0])


def test_remarks_say_what_the_doubt_rests_on():
    facts = {"front": [0.5], "back": [0.4], "separation": 200}
    unknown = slots(**facts, tolerance=0.01)
    assert unknown.verdict == "cannot tell"
    assert "How sure this is cannot be told: read again" in str(unknown)
    assert "nan" not in str(unknown)
    assert unknown.to_dict()["angle_u_deg"] is None
    once = slots(**facts, graduation=0.01)
    assert (once.rests_on, once.reading_sd) == ("cautious", pytest.approx(0.007))
    assert "0.0070 mm, by caution" in str(once)
    assert "End float of the arbor is not stated" in str(once)
    assert "same place of the same tooth" in str(once)
    stated = slots(front=[0.5, 0.51], back=[0.4, 0.41], separation=200, end_float=0.01)
    assert stated.to_dict()["warnings"] == list(stated.remarks)
    assert len(stated.remarks) == 1


def test_the_rear_teeth_cut_again_by_the_difference():
    result = slots(front=[0.5], back=[0.62], separation=250, graduation=0.01)
    assert "by the rear teeth, on one face, by up to 0.1200 mm over 250 mm" in result.in_the_wood


def test_the_plate_read_without_turning_is_wrong_by_up_to_the_tilt():
    facts = {"front": ([0.01], "in"), "back": ([0.01], "in"), "separation": (8.0, "in")}
    noise = rng_for(3).normal(0, 0.002, 40)
    fit = bg.fit_wobble(wave(40, 0.05, 20.0, noise))
    result = slots(**facts, fit=fit)
    assert result.plate_worst_deg == pytest.approx(fit.tilt_deg)
    assert result.plate_worst == pytest.approx(8.0 * fit.amplitude / 100.0)
    assert result.plate_rms_deg == pytest.approx(fit.tilt_deg / math.sqrt(2))
    assert "without turning the blade: wrong by up to" in str(result)
    still = bg.fit_wobble(wave(40, 0.0, 20.0, noise))
    assert not still.resolved
    limit = slots(**facts, fit=still)
    assert limit.plate_worst_deg == pytest.approx(still.tilt.high)
    unknown = slots(**facts, fit=bg.fit_wobble(wave(40, 0.0, 0.0)))
    assert unknown.to_dict()["plate_worst_deg"] is None
    assert "nan" not in str(unknown)
    none = slots(**facts)
    assert none.to_dict()["plate_worst_deg"] is None
    assert none.to_dict().keys() == unknown.to_dict().keys()


def test_the_plate_s_error_is_the_simulated_one():
    # Two places on a tilted plate, level with the axis, found as points carried by rotations.
    right, toward_back, up = np.eye(3)
    tilt, turns = 0.4, np.arange(0.0, 360.0, 5.0)
    errors = []
    for turn in turns:
        normal = rotation(right, turn) @ rotation(up, tilt) @ right
        front, back = (-(normal @ (at * toward_back)) / normal[0] for at in (-90.0, 90.0))
        errors.append(math.degrees(math.atan((front - back) / 180.0)))
    fit = bg.fit_wobble(wave(40, 100.0 * math.tan(math.radians(tilt)), 20.0))
    result = slots(front=[0.0], back=[0.0], separation=180, fit=fit)
    assert result.plate_worst_deg == pytest.approx(max(errors))
    assert result.plate_rms_deg == pytest.approx(np.sqrt(np.mean(np.square(errors))), rel=1e-4)


GOOD = {"front": "0.5 mm", "back": "0.4 mm", "separation": "200 mm"}


@pytest.mark.parametrize(
    ("changed", "problem"),
    [
        ({"front": None}, "front is not given"),
        ({"front": ([], "mm")}, "front holds 0 values"),
        ({"front": ([0.5, math.nan], "mm")}, "value 2 of front is nan"),
        ({"back": ([math.inf], "mm")}, "value 1 of back is inf"),
        ({"back": [0.4]}, "back is [0.4], without a unit"),
        ({"back": ([0.1], "in")}, "in two units: front in mm, back in in"),
        ({"separation": None}, "separation is not given"),
        ({"separation": (0.0, "mm")}, "separation is 0 mm"),
        ({"separation": (-3.0, "mm")}, "separation is -3 mm"),
        ({"separation": "3"}, "separation: '3' has no unit"),
        (
            {"front": ([22.5], "mm"), "separation": (21.0, "mm")},
            "and the separation is only 21 mm",
        ),
        ({"separation": (0.05, "mm")}, "separation is 0.05 mm, too small"),
        ({"graduation": (math.nan, "mm")}, "graduation is nan mm"),
        ({"end_float": (-0.1, "in")}, "end_float is -0.1 in"),
        ({"lever": (0.0, "mm")}, "lever is 0 mm"),
        ({"tolerance": (0.0, "mm")}, "tolerance is 0 mm"),
        ({"tolerance": "0 deg"}, "the tolerance is 0.0 deg"),
        ({"tolerance": (math.nan, "deg")}, "the tolerance is nan deg"),
        ({"tolerance": 0.1}, "tolerance is 0.1, without a unit"),
        ({"tolerance": "x deg"}, "tolerance: 'x' is not a number"),
        ({"side": "top"}, "side is 'top'; give left or right"),
        ({"moved": "fence"}, "moved is 'fence'; give table or trunnion"),
        ({"pivot": ""}, "pivot is ''; give front or back"),
        ({"moved": None}, "moved is not given; give table or trunnion"),
    ],
)
def test_what_cannot_be_answered_is_refused(changed, problem):
    with pytest.raises(bg.RefusedError, match=re.escape(problem)):
        slot_alignment(**(GOOD | changed))


def test_a_fit_without_a_ring_radius_is_refused():
    with pytest.raises(bg.RefusedError, match="ring radius"):
        slot_alignment(**GOOD, fit=bg.fit_wobble(wave(40, 0.05, 20.0, ring_radius=None)))
