"""Settings made from the plate: signs against a rigid body, doubt against GTC, wood by hand."""

from __future__ import annotations

import math
import re

import GTC
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from rigid_body import (
    RIGHT,
    TOWARD_INDICATOR,
    UP,
    RigidBlade,
    blade_angle_deg,
    blade_direction,
    chord_lean_deg,
    clock_direction,
    level_lean_deg,
    line_meets_plane,
    planes_meet,
    plate_normal,
    rotation,
    sense,
    tooth_angles_deg,
    turn_onto,
    upright_lean_deg,
)
from scipy import stats
from simulated import rng_for, simulated, wave

import bladegeom as bg
from bladegeom.saw.setting import setting_error

NUMBERED = ("clockwise", "counterclockwise")
UPRIGHT, LEVEL = ("table", "bevel"), ("miter_gauge", "riving_knife", "fence")
USES = UPRIGHT + LEVEL
FRONT_CLOCK = (90.0, 270.0)
"""The saw's front as the indicator sees it: right of a blade seen from its left, and left."""

bodies = st.builds(
    RigidBlade,
    tilt_deg=st.floats(0.01, 8.0),
    near_deg=st.floats(0.0, 360.0),
    numbered=st.sampled_from(NUMBERED),
)
blades = st.sampled_from([(24, "1"), (45, "1"), (50, "1 1 1 1 1.6"), (13, "1")])
few = settings(max_examples=40, deadline=None)


def fit_of(truth: RigidBlade, teeth: int = 40, pattern: str = "1", **facts: object):
    gaps = None if pattern == "1" else [float(gap) for gap in pattern.split()]
    blade = bg.Blade(teeth, diameter="254 mm", pitch_pattern=gaps)
    return bg.fit_wobble(simulated(truth, blade, tooth_angles_deg(teeth, pattern), **facts))


def noisy(amplitude: float = 0.05, **facts: object) -> bg.WobbleFit:
    noise = rng_for(42).normal(0.0, 0.003, 40)
    return bg.fit_wobble(wave(40, amplitude, 50.0, noise, **facts))


def turned_by(truth: RigidBlade, start_deg: float, away_deg: float, clock_deg: float) -> float:
    """Blade angle that stands at a place round the clock once the blade is turned on from one."""
    place = clock_direction(clock_deg)
    before = turn_onto(blade_direction(truth, start_deg), place)
    after = rotation(TOWARD_INDICATOR, sense(truth) * away_deg) @ before
    return blade_angle_deg(truth, after.T @ place)


def cut_against(line, toward, across):
    """Angle of the true cut (square to the arbor, along `toward`) against what was set to a line.

    What is set has one leg along the plate's line and the other at right angles to it in the same
    plane, on the indicator's side: the axes on which it measures the cut.
    """
    other = np.cross(across, line)
    other = other if other @ TOWARD_INDICATOR > 0 else -other
    return math.degrees(math.atan2(toward @ other, toward @ line))


@given(bodies, blades, st.integers(1, 13))
@few
def test_the_error_is_that_of_a_rigid_plate(truth, kind, tooth):
    fit, angle = fit_of(truth, *kind), float(tooth_angles_deg(*kind)[tooth - 1])
    for use in UPRIGHT:
        found = setting_error(fit, use, tooth=tooth)
        assert_allclose(found.error.value, upright_lean_deg(truth, angle), atol=1e-9)
    for use in LEVEL:
        found = setting_error(fit, use, tooth=tooth)
        for clock in FRONT_CLOCK:
            assert_allclose(found.error.value, level_lean_deg(truth, angle, clock), atol=1e-9)


@given(bodies, st.floats(-200.0, 200.0))
@few
def test_a_turn_away_from_the_neutral_line_is_one_with_the_numbers(truth, away):
    fit = fit_of(truth)
    start = truth.near_deg + 90.0
    assert_allclose(
        setting_error(fit, "table", away_deg=away).error.value,
        upright_lean_deg(truth, turned_by(truth, start, away, 0.0)),
        atol=1e-9,
    )
    for clock in FRONT_CLOCK:
        front = turned_by(truth, start, away, clock)
        found = setting_error(fit, "fence", away_deg=away)
        assert_allclose(found.error.value, level_lean_deg(truth, front, clock), atol=1e-9)


@given(bodies, blades)
@few
def test_what_is_left_is_the_lean_of_the_line_through_the_marked_tips(truth, kind):
    fit, angles = fit_of(truth, *kind), tooth_angles_deg(*kind)
    found = setting_error(fit, "table")
    first, second = (float(angles[end.tooth - 1]) for end in found.line.neutral)
    assert_allclose(found.left.value, chord_lean_deg(truth, first, second, 127.0), atol=1e-9)
    assert found.left.value == pytest.approx(bg.neutral_line(fit).left_deg, abs=1e-12)
    tips = [
        line_meets_plane(127.0 * blade_direction(truth, one), TOWARD_INDICATOR, plate_normal(truth))
        for one in (first, second)
    ]
    chord = tips[0] - tips[1]
    flat = chord - (chord @ TOWARD_INDICATOR) * TOWARD_INDICATOR
    for clock in FRONT_CLOCK:
        front = clock_direction(clock)
        laid = turn_onto(flat, front) @ chord
        lean = math.degrees(math.atan2(laid @ TOWARD_INDICATOR, laid @ front))
        for use in LEVEL:
            assert_allclose(setting_error(fit, use).left.value, lean, atol=1e-9)


@given(bodies, st.integers(1, 40))
@few
def test_the_cut_leans_the_other_way_from_what_was_set_to_the_plate(truth, tooth):
    fit, angle = fit_of(truth), 9.0 * (tooth - 1)
    at_rest = plate_normal(truth)
    normal = turn_onto(blade_direction(truth, angle), UP) @ at_rest
    cut = cut_against(planes_meet(normal, RIGHT, UP), UP, RIGHT)
    for use in UPRIGHT:
        found = setting_error(fit, use, tooth=tooth)
        assert_allclose(found.cut_at_error.value, cut, atol=1e-9)
    for clock in FRONT_CLOCK:
        front = clock_direction(clock)
        normal = turn_onto(blade_direction(truth, angle), front) @ at_rest
        cut = cut_against(planes_meet(normal, UP, front), front, UP)
        for use in LEVEL:
            found = setting_error(fit, use, tooth=tooth)
            assert_allclose(found.cut_at_error.value, cut, atol=1e-9)
    assert found.cut.value == -found.left.value


@given(bodies, st.integers(1, 40), st.floats(-45.0, 60.0))
@few
def test_a_bevel_is_off_by_as_much_at_any_angle(truth, tooth, bevel):
    # Arbor and blade tilt about the fore-aft axis; the bevel is measured in the vertical plane
    # across the saw, against the table's upright.
    stood = turn_onto(blade_direction(truth, 9.0 * (tooth - 1)), UP)
    tilted = rotation(RIGHT, bevel)
    normal = tilted @ stood @ plate_normal(truth)
    line = planes_meet(normal, RIGHT, UP)
    read = math.degrees(math.atan2(line @ TOWARD_INDICATOR, line @ UP))
    cutting = planes_meet(tilted @ TOWARD_INDICATOR, RIGHT, UP)
    true = math.degrees(math.atan2(cutting @ TOWARD_INDICATOR, cutting @ UP))
    found = setting_error(fit_of(truth), "bevel", tooth=tooth, angle=abs(bevel))
    assert_allclose(true, bevel, atol=1e-9)
    assert_allclose(read - true, found.error.value, atol=1e-9)
    assert_allclose(true - read, found.cut_at_error.value, atol=1e-9)


@given(bodies, st.integers(1, 40), st.integers(3, 12), st.sampled_from([1, -1]))
@few
def test_a_frame_cut_at_one_stop_is_off_by_two_cuts_a_corner(truth, tooth, sides, stop_side):
    # The gauge's stop is set so much off the plate's level line; the board lies along it, and
    # either end is sawn in the plane square to the arbor, the board turned over between.
    front = clock_direction(90.0)
    stop = 180.0 / sides
    normal = turn_onto(blade_direction(truth, 9.0 * (tooth - 1)), front) @ plate_normal(truth)
    board = rotation(UP, stop_side * (90.0 - stop)) @ planes_meet(normal, UP, front)
    sawn = math.degrees(math.acos(abs(board @ front)))
    off_square = 90.0 - sawn
    corners = sides * 2 * off_square
    found = setting_error(fit_of(truth), "miter_gauge", tooth=tooth, sides=sides)
    assert found.angle_deg == stop
    # At the stop on the other side the frame opens where it else would overlap.
    assert_allclose(stop_side * (corners - 360.0), found.joints(found.error).value, atol=1e-7)


def test_cuts_at_two_mirrored_stops_balance():
    front = clock_direction(90.0)
    truth = RigidBlade(2.0, 20.0)
    normal = turn_onto(blade_direction(truth, 0.0), front) @ plate_normal(truth)
    line = planes_meet(normal, UP, front)
    left, right = (
        90.0 - math.degrees(math.acos(abs((rotation(UP, turn) @ line) @ front)))
        for turn in (45.0, -45.0)
    )
    assert abs(left - 45.0) > 1.0
    assert_allclose(left + right, 90.0)


@pytest.mark.parametrize("amplitude", [0.05, 17.0])
@pytest.mark.parametrize(("use", "asked"), [("table", {}), ("bevel", {"angle": 30.0})])
def test_doubt_is_propagated_as_gtc_does(amplitude, use, asked):
    # GTC: u of the gap from (a, b) and their covariance, half of the teeth unread.
    whole = noisy(amplitude).readings
    half = bg.Readings(
        whole.blade,
        whole.reading[:20],
        tooth=whole.tooth[:20],
        unit="mm",
        ring_radius="100 mm",
    )
    fit = bg.fit_wobble(half)
    found = setting_error(fit, use, tooth=7, span=(60.0, "mm"), **asked)
    u = np.sqrt(np.diag(fit.covariance))
    a, b = GTC.multiple_ureal([fit.cosine, fit.sine], list(u), fit.dof)
    GTC.set_correlation(float(fit.covariance[0, 1] / u[0] / u[1]), a, b)
    chord = found.line.neutral[0].direction_deg + found.line.line_off_deg
    for angle, error in ((54.0, found.error), (chord, found.left)):
        theta = math.radians(angle)
        lean = GTC.atan((a * math.cos(theta) + b * math.sin(theta)) / 100.0)
        gap = found.cut_length * GTC.tan(lean)
        assert_allclose(math.degrees(GTC.value(lean)), error.value, atol=1e-12)
        assert_allclose(math.degrees(GTC.uncertainty(lean)), error.u, rtol=1e-9)
        assert_allclose(GTC.value(gap), found.gap(error).value, atol=1e-12)
        assert_allclose(GTC.uncertainty(gap), found.gap(error).u, rtol=1e-9)
        assert GTC.dof(gap) == pytest.approx(found.gap(error).dof)


def test_doubt_of_the_last_joint_is_propagated_as_gtc_does():
    fit = noisy(0.5)
    found = setting_error(fit, "miter_gauge", tooth=6, span=(60.0, "mm"), sides=6)
    lean = GTC.ureal(math.radians(found.error.value), math.radians(found.error.u), fit.dof)
    gap = 60.0 / math.cos(math.radians(30.0)) * GTC.tan(12 * lean)
    mine = found.joint_gap(found.error)
    assert (mine.value, mine.u) == (
        pytest.approx(GTC.value(gap)),
        pytest.approx(GTC.uncertainty(gap)),
    )


def test_wood_by_hand():
    # A tilt of atan(0.1 / 100): over 50 mm at the worst rotation 0.05 mm. A board 50 mm wide cut
    # at 45 degrees is sawn along 70.71 mm.
    fit = bg.fit_wobble(wave(40, 0.1, 0.0, rng_for(3).normal(0.0, 1e-7, 40)))
    table = setting_error(fit, "table", tooth=1, span=(50.0, "mm")).to_dict()
    assert table["error_gap"] == pytest.approx(0.05, rel=1e-5)
    assert table["worst_gap"] == pytest.approx(0.05, rel=1e-5)
    miter = setting_error(fit, "miter_gauge", tooth=1, span=(50.0, "mm"), sides=4)
    assert miter.cut_length == pytest.approx(70.7107, rel=1e-6)
    values = miter.to_dict()
    assert values["error_gap"] == pytest.approx(0.0707107, rel=1e-5)
    assert values["error_joints_deg"] == pytest.approx(8 * math.degrees(0.001), rel=1e-5)
    assert values["error_joint_gap"] == pytest.approx(70.7107 * math.tan(0.008), rel=1e-5)
    assert values["worst_joint_gap"] == pytest.approx(70.7107 * math.tan(0.008), rel=1e-5)
    square = setting_error(fit, "miter_gauge", tooth=1, span=(50.0, "mm"), angle=0.0)
    assert square.cut_length == 50.0


@given(st.floats(0.001, 2.0), st.sampled_from(USES), st.floats(10.0, 1000.0))
@few
def test_inches_and_millimetres_are_the_same_saw(amplitude, use, span):
    noise = rng_for(5).normal(0.0, 0.003, 40)
    in_mm = bg.fit_wobble(wave(40, amplitude, 50.0, noise))
    in_inches = bg.fit_wobble(
        bg.Readings(
            bg.Blade(40, diameter="10 in"),
            in_mm.readings.reading / 25.4,
            unit="in",
            ring_radius=(100.0 / 25.4, "in"),
        )
    )
    mm = setting_error(in_mm, use, tooth=2, span=(span, "mm")).to_dict()
    inches = setting_error(in_inches, use, tooth=2, span=(span / 25.4, "in")).to_dict()
    assert (mm.pop("span_unit"), inches.pop("span_unit")) == ("mm", "in")
    for key, value in mm.items():
        scale = 25.4 if "gap" in key or key in ("span", "cut_length") else 1.0
        if isinstance(value, float):
            assert inches[key] * scale == pytest.approx(value, rel=1e-8, abs=1e-12), key
        elif key != "warnings":
            assert inches[key] == value


def test_limits_are_students_and_the_worst_has_those_of_the_tilt():
    # scipy.stats.t.
    fit = noisy()
    found = setting_error(fit, "table", away_deg=30.0)
    factor = float(stats.t.ppf(0.975, fit.dof))
    for error in (found.left, found.error):
        assert_allclose(error.high - error.value, factor * error.u)
    low, high, _ = fit.amplitude_interval()
    assert found.worst.value == pytest.approx(fit.tilt_deg)
    assert found.worst_low_deg == pytest.approx(math.degrees(math.atan(low / 100.0)))
    assert found.worst_high_deg == pytest.approx(math.degrees(math.atan(high / 100.0)))


@pytest.mark.parametrize("use", USES)
def test_without_an_established_wobble_no_teeth_are_stood_up(use):
    fit = noisy(0.0)
    found = setting_error(fit, use, span=(50.0, "mm"))
    assert found.left is None
    assert found.cut is None
    assert found.error is None
    assert (
        found.worst.value
        == found.worst_high_deg
        == pytest.approx(math.degrees(math.atan(fit.amplitude_interval().high / 100.0)))
    )
    assert found.line.any_rotation == ("ny rotation will do" in found.instructions[0])
    assert "left after marking" not in str(found)
    values = found.to_dict()
    assert values["left_deg"] is values["neutral_teeth"] is values["error_gap"] is None
    assert values["worst_gap"] > 0


@pytest.mark.parametrize("use", USES)
def test_a_still_dial_without_a_graduation_leaves_the_doubt_unknown(use):
    fit = bg.fit_wobble(wave(40, 0.0, 0.0))
    sides = {"sides": 4} if use in ("bevel", "miter_gauge") else {}
    found = setting_error(fit, use, tooth=3, span=(50.0, "mm"), **sides)
    values = found.to_dict()
    for key in ("error_u_deg", "error_gap_u", "worst_squareness_deg", "worst_gap", "cut_deg"):
        assert values[key] is None
    assert "nan" not in str(found)
    assert "below the graduation, which is not stated" in str(found)


def test_keys_are_the_same_whatever_was_asked():
    keys = {
        tuple(setting_error(fit, use, **asked).to_dict())
        for fit in (noisy(), noisy(0.0), bg.fit_wobble(wave(40, 0.0, 0.0)))
        for use in USES
        for asked in ({}, {"tooth": 3}, {"span": (2.0, "in"), "away_deg": 5.0})
    }
    keys.add(tuple(setting_error(noisy(), "bevel", sides=5, span=(20.0, "mm")).to_dict()))
    assert len(keys) == 1


@pytest.mark.parametrize(
    ("use", "stand"),
    [
        ("table", "Stand teeth 17 and 37 one above the other, 17 uppermost"),
        ("bevel", "Stand teeth 17 and 37 one above the other, 17 uppermost"),
        ("miter_gauge", "Turn tooth 17 to the front and 37 to the back, both level"),
        ("riving_knife", "Turn tooth 17 to the front and 37 to the back, both level"),
        ("fence", "Turn tooth 17 to the front and 37 to the back, both level"),
    ],
)
def test_the_words_say_which_tooth_goes_where(use, stand):
    # Near is at 50 degrees, so the neutral line points to 140 and 320. Tooth 17 stands at 144, 37
    # at 324 degrees.
    found = setting_error(noisy(), use, tooth=6, span=(50.0, "mm"))
    swapped = "37 uppermost" if use in UPRIGHT else "37 to the front"
    assert found.instructions[0].startswith(f"{stand} ({swapped} does as well;")
    text = str(found)
    # Tooth 6 stands at 45 degrees, beside near: the plate's line leans toward the indicator there.
    assert found.error.value > 0
    assert found.cut_at_error.value < 0
    place, end = ("uppermost", "upper") if use in UPRIGHT else ("at the front", "front")
    told = next(line for line in text.splitlines() if "with tooth 6" in line)
    assert place in told
    assert f"{end} end away from the indicator; over 50 mm that is" in told
    assert ("quarter turn" in text) == (use == "riving_knife")
    assert text.count("with tooth 6") == (2 if use == "riving_knife" else 1)


def test_the_knifes_toe_and_lean_are_both_told():
    labels = [label for label, _ in setting_error(noisy(), "riving_knife").shown_rows()]
    assert labels[:2] == ["toe, left after marking", "lean, left after marking"]


def test_a_side_that_is_not_established_is_not_named():
    text = str(setting_error(noisy(), "table", away_deg=0.0))
    told = next(line for line in text.splitlines() if "turned 0 deg" in line)
    assert "cannot be told" in told
    assert "the indicator" not in told
    assert not re.search(r"-\d", told)


def test_a_frame_too_far_off_does_not_close():
    found = setting_error(
        fit_of(RigidBlade(9.0, 0.0)), "bevel", tooth=1, span=(20.0, "mm"), sides=6
    )
    assert found.joint_gap(found.error) is None
    assert found.to_dict()["error_joint_gap"] is None
    assert "the frame of 6 sides does not close" in str(found)


def test_an_angle_as_people_round_it_is_no_contradiction():
    assert setting_error(noisy(), "bevel", sides=7, angle=25.71).angle_deg == 180 / 7


@pytest.mark.parametrize(
    ("use", "asked", "problem"),
    [
        ("blade", {}, "the use is 'blade'; write one of table, bevel, miter_gauge, riving_knife"),
        (None, {}, "use"),
        (["table"], {}, "use"),
        ("table", {"tooth": 3, "away_deg": 1.0}, "tooth and away_deg are both given"),
        ("table", {"tooth": 41}, "tooth 41 on a 40-tooth blade"),
        ("table", {"tooth": math.nan}, "tooth nan"),
        ("table", {"tooth": True}, "bool|whole number"),
        ("table", {"away_deg": math.nan}, "away_deg is nan"),
        ("table", {"away_deg": -math.inf}, "away_deg is -inf"),
        ("table", {"span": (0.0, "mm")}, "span is 0 mm"),
        ("table", {"span": (-1.0, "in")}, "span is -1 in"),
        ("table", {"span": (math.nan, "in")}, "span is nan in"),
        ("table", {"span": (1e200, "mm")}, "span is 1e\\+200 mm"),
        ("table", {"span": (True, "mm")}, "span is True mm"),
        ("table", {"span": 1.0}, "without a unit"),
        ("table", {"angle": 10.0}, "angle is given for use table"),
        ("fence", {"sides": 4}, "sides is given for use fence"),
        ("bevel", {"angle": -1.0}, "angle is -1"),
        ("bevel", {"angle": 90.0}, "angle is 90"),
        ("miter_gauge", {"angle": math.nan}, "angle is nan"),
        ("miter_gauge", {"sides": 2}, "a frame of 2 sides"),
        ("miter_gauge", {"sides": 4.5}, "a frame of 4.5 sides"),
        ("miter_gauge", {"sides": math.nan}, "a frame of nan sides"),
        ("miter_gauge", {"sides": 4, "angle": 30.0}, "4 sides are cut at 45 deg"),
    ],
)
def test_what_cannot_be_answered_is_refused(use, asked, problem):
    with pytest.raises(bg.RefusedError, match=problem):
        setting_error(noisy(), use, **asked)


def test_without_a_ring_radius_there_is_no_angle():
    with pytest.raises(bg.RefusedError, match="ring radius is not stated"):
        setting_error(noisy(ring_radius=None), "table")
