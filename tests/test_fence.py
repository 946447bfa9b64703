"""The fence along the slot: lines that really stand askew, seen by a stylus, and their fit."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
import statsmodels.api as sm
from asked import fence, in_both, slots
from hypothesis import given, settings
from hypothesis import strategies as st

from bladegeom.estimate import Estimate
from bladegeom.faults import RefusedError
from bladegeom.saw.fence import fence_alignment

ALONG = np.array([0.0, 150.0, 300.0, 450.0, 600.0])


def toed(slope: float, **facts):
    return fence(along=ALONG, readings=slope * ALONG, **facts)


# The saw from above: x to the right, y to the back; the blade's plane is x = 0, square to the
# arbor, with the axis at y = 0. A line is a point and a direction.


def heading(degrees_to_the_right: float) -> np.ndarray:
    turn = math.radians(degrees_to_the_right)
    return np.array([math.sin(turn), math.cos(turn)])


def distance_along(start: np.ndarray, way: np.ndarray, point: np.ndarray, line: np.ndarray):
    """How far from `start` along `way` one meets the line."""
    return np.linalg.solve(np.column_stack([way, -line]), point - start)[0]


def read(slot_x, slot_right_deg, fence_x, fence_right_deg):
    """Readings of a stylus that is carried along the slot and touches the fence at right angles."""
    slot, fence = heading(slot_right_deg), heading(fence_right_deg)
    way = np.array([slot[1], -slot[0]]) * np.sign(fence_x - slot_x)
    start = np.array([slot_x, -300.0])
    meets = [
        distance_along(start + far * slot, way, np.array([fence_x, 0.0]), fence) for far in ALONG
    ]
    return 50.0 - np.array(meets)


def slot_read(slot_x, slot_right_deg):
    """Alignment of the slot, as an indicator carried in it reads one tooth in front and behind."""
    slot = heading(slot_right_deg)
    way = np.array([slot[1], -slot[0]]) * -np.sign(slot_x)
    base = np.array([slot_x, 0.0])
    front, back = (20.0 - float((np.array([0.0, y]) - base) @ way) for y in (-110.0, 110.0))
    side = "right" if slot_x > 0 else "left"
    return slots(front=front, back=back, separation=220, graduation=1e-6, side=side)


@pytest.mark.parametrize("fence_x", [-250.0, 250.0])
@pytest.mark.parametrize("slot_x", [-140.0, 140.0])
@pytest.mark.parametrize("slot_right", [-0.15, 0.0, 0.1])
@pytest.mark.parametrize("fence_right", [-0.2, 0.0, 0.05])
def test_toe_to_the_blade_is_that_of_the_simulated_saw(fence_x, slot_x, slot_right, fence_right):
    side = "right" if fence_x > 0 else "left"
    result = fence(
        along=ALONG,
        readings=read(slot_x, slot_right, fence_x, fence_right),
        graduation=1e-6,
        slot=slot_read(slot_x, slot_right),
        fence_side=side,
    )
    # How much nearer to the blade the face stands 100 mm farther back.
    nearer = -np.sign(fence_x) * 100 * math.tan(math.radians(fence_right))
    expected = math.degrees(math.atan(nearer / 100))
    assert result.toe_to_blade.value == pytest.approx(expected, abs=1e-6)
    nearer_to_slot = -np.sign(fence_x) * (fence_right - slot_right)
    assert result.toe.value == pytest.approx(nearer_to_slot, abs=1e-9)
    if fence_right:
        way = "away from" if expected > 0 else "toward"
        assert f"back end of the fence {way} the blade" in result.correction
        assert ("Kickback" in " ".join(result.remarks)) == (expected > 0)
    # Turned back by what it says, it stands square to the arbor.
    turned = fence_right + np.sign(fence_x) * result.toe_to_blade.value
    assert turned == pytest.approx(0, abs=1e-6)


def test_doubt_to_the_blade_holds_that_of_the_slot():
    slot = SimpleNamespace(angle=Estimate(0.05, 0.02, 4), side="left")
    result = toed(0.001, graduation=0.01, slot=slot, fence_side="left")
    assert result.toe_to_blade.value == pytest.approx(result.toe.value - 0.05)
    assert result.toe_to_blade.u == pytest.approx(math.hypot(result.toe.u, 0.02))
    other = toed(0.001, graduation=0.01, slot=slot, fence_side="right")
    assert other.toe_to_blade.value == pytest.approx(result.toe.value + 0.05)
    assert other.judged == other.toe_to_blade


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-0.1, 0.1), min_size=5, max_size=5), st.floats(-0.01, 0.01))
def test_the_line_is_that_of_polyfit_and_statsmodels(noise, slope):
    if np.ptp(noise) < 1e-3:
        return
    reading = 1.0 + slope * ALONG + np.array(noise)
    ols = sm.OLS(reading, sm.add_constant(ALONG)).fit()
    result = fence(along=ALONG, readings=reading)
    assert result.toe.value == pytest.approx(
        math.degrees(math.atan(np.polyfit(ALONG, reading, 1)[0])), abs=1e-9
    )
    if ols.mse_resid > 1e-12:
        per = math.degrees(1 / (1 + ols.params[1] ** 2))
        assert result.toe.u == pytest.approx(per * ols.bse[1], rel=1e-6)
        assert result.toe.dof == pytest.approx(3)
    assert result.straightness == pytest.approx(float(np.ptp(ols.resid)), abs=1e-9)
    assert result.toe_over.value == pytest.approx(600 * ols.params[1], abs=1e-9)


def test_lead_of_a_saw_as_a_proportion():
    # US Forest Products Laboratory, "Saw lead" (1944): 1/8 in in 20 ft is 1/40 in over a 4 ft saw.
    in_20_ft = fence(along=([0, 240], "in"), readings=([0, 1 / 8], "in"))
    over_4_ft = fence(along=([0, 48], "in"), readings=([0, 1 / 40], "in"))
    assert in_20_ft.toe.value == pytest.approx(over_4_ft.toe.value, rel=1e-12)
    assert in_20_ft.toe.value == pytest.approx(math.degrees(math.atan(1 / 1920)))


def test_two_places_are_one_reading_each():
    result = fence(along=[0, 500], readings=[0.0, 0.2], graduation=0.01)
    # One reading at each end, of a scatter that nothing tells: 0.7 graduations, by caution.
    slope_u = math.hypot(0.007, 0.007) / 500
    assert result.toe.u == pytest.approx(math.degrees(slope_u), rel=1e-5)
    assert (result.toe.dof, result.rests_on) == (5, "cautious")
    assert result.straightness is None
    bare = fence(along=[0, 500], readings=[0.0, 0.2])
    assert math.isnan(bare.toe.u)
    assert any("cannot be told" in one for one in bare.remarks)
    assert bare.to_dict().keys() == result.to_dict().keys() == toed(0.1).to_dict().keys()


@pytest.mark.parametrize("slope", [0.0, 0.01 / 30, 0.123])
def test_readings_in_a_straight_line_are_no_proof_without_a_graduation(slope):
    assert math.isnan(toed(slope).toe.u)
    assert toed(slope, graduation=0.01).toe.u > 0


def test_rounding_does_not_average_out():
    # A straight fence, read to 0.1: the doubt must cover what rounding does to the slope.
    rng = np.random.default_rng(8)
    off = []
    for slope, start in zip(rng.uniform(-2e-4, 2e-4, 400), rng.uniform(0, 1, 400), strict=True):
        reading = np.round((start + slope * ALONG) / 0.1) * 0.1
        result = fence(along=ALONG, readings=reading, graduation=0.1)
        off.append((result.toe.value - math.degrees(math.atan(slope))) / result.toe.reach)
    assert np.mean(np.abs(off) <= 1) >= 0.93


def test_places_may_come_in_any_order():
    once = fence(along=[0, 300, 600], readings=[0, 0.11, 0.19])
    mixed = fence(along=[600, 0, 300], readings=[0.19, 0, 0.11])
    assert mixed.toe.value == pytest.approx(once.toe.value)
    assert mixed.read_length == 600


@given(st.floats(-0.01, 0.01), st.floats(1e-3, 0.1))
def test_inches_and_millimetres_tell_the_same_toe(slope, graduation):
    asked = {"along": ALONG, "readings": ALONG * slope, "graduation": graduation}
    mm, inch = in_both(fence_alignment, **asked)
    assert inch.toe.value == pytest.approx(mm.toe.value, rel=1e-9, abs=1e-12)
    assert inch.toe.u == pytest.approx(mm.toe.u, rel=1e-9)
    assert inch.read_length * 25.4 == pytest.approx(600)


@pytest.mark.parametrize(
    ("tolerance", "verdict"),
    [
        ({"tolerance": 0.30}, "within"),
        ({"tolerance": 0.20}, "cannot tell"),
        ({"tolerance": 0.10}, "out"),
        ({"tolerance": (math.degrees(math.atan(0.3 / 600)), "deg")}, "within"),
        ({"tolerance": (math.degrees(math.atan(0.2 / 600)), "deg")}, "cannot tell"),
        ({"tolerance": (math.degrees(math.atan(0.1 / 600)), "deg")}, "out"),
        ({}, None),
    ],
)
def test_verdicts(tolerance, verdict):
    assert toed(0.2 / 600, graduation=0.02, **tolerance).verdict == verdict


def test_words():
    result = toed(0.2 / 600, graduation=0.02, tolerance=0.1)
    shown = str(result)
    assert shown.startswith("Fence along the slot: out")
    # By the most that it may toe in.
    assert "Move the back end of the fence away from the blade by 0.24 mm over 600 mm" in shown
    assert result.move == pytest.approx(result.toe_over.high)
    assert "Kickback: the fence toes in: it closes on the blade at the back" in shown
    assert "slot only" in shown
    assert "0.200 mm of toe-in" in result.found[0]
    out = toed(-0.2 / 600, graduation=0.02)
    assert "toward the blade" in out.correction
    assert "Kickback" not in str(out)
    assert "of toe-out" in out.found[0]
    perhaps = toed(0.01 / 600, graduation=0.02)
    assert "Leave the fence" in perhaps.correction
    assert "may toe in" in str(perhaps)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"along": ([0], "mm")}, "1 value"),
        ({"along": ([0, 1, 2], "mm")}, "3 places"),
        ({"along": ([5, 5], "mm")}, "all places"),
        ({"along": None}, "along is not given"),
        ({"readings": ([0, math.nan], "mm")}, "value 2"),
        ({"fence_side": "front"}, "'front'"),
        ({"tolerance": (0, "deg")}, "tolerance is 0 deg"),
        ({"tolerance": (math.nan, "deg")}, "nan"),
        ({"tolerance": (True, "deg")}, "True"),
        ({"tolerance": "high"}, "has no unit"),
        ({"graduation": (0, "mm")}, "graduation is 0 mm"),
    ],
)
def test_what_cannot_be_used_is_refused(wrong, said):
    good = {"along": ([0, 500], "mm"), "readings": ([0, 0.1], "mm")}
    with pytest.raises(RefusedError, match=said):
        fence_alignment(**(good | wrong))
