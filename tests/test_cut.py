"""Test cuts: boards really cut, turned over and turned round, against what the formulas say."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
import statsmodels.api as sm
from asked import flip, in_both, measured, round_board
from hypothesis import given, settings
from hypothesis import strategies as st
from rigid_saw import RigidSaw

from bladegeom.faults import RefusedError
from bladegeom.saw.cut import flip_test, round_test

SIGN = {"left": -1.0, "right": 1.0}
OTHER = {"left": "right", "right": "left"}


def turned_over(lean, side, flipped):
    """Cut, turn one piece upside down, push together: size of the gap and where it is open."""
    saw = RigidSaw(side=side, tilt_to_right_deg=SIGN[side] * lean)
    gap = saw.flip_gap_mm(19.0, side if flipped == "indicator" else OTHER[side])
    return (abs(gap), "top" if gap > 0 else "bottom") if abs(gap) > 1e-9 else (0.0, None)


@pytest.mark.parametrize("flipped", ["indicator", "other"])
@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("lean", [-0.8, -0.05, 0.0, 0.02, 1.3])
def test_the_flip_test_finds_the_lean_and_its_correction_removes_it(lean, side, flipped):
    gap, open_at = turned_over(lean, side, flipped)
    test = flip(gap=gap, height=19.0, open_at=open_at, flipped=flipped, graduation=1e-6)
    assert test.error.value == pytest.approx(lean, abs=1e-8)
    if lean:
        way = "away from" if lean > 0 else "toward"
        assert f"top of the blade {way} the indicator" in test.correction
    again, _ = turned_over(lean - test.error.value, side, flipped)
    assert again == pytest.approx(0.0, abs=1e-8)


def test_flip_doubt_is_that_of_gtc():
    gaps = [0.30, 0.34, 0.31, 0.29]
    test = flip(gap=gaps, height=20.0, open_at="top", flipped="other")
    gap = GTC.ureal(np.mean(gaps), np.std(gaps, ddof=1) / 2, 3)
    error = GTC.atan(gap / 40) * 180 / math.pi
    assert test.error.value == pytest.approx(error.x)
    assert test.error.u == pytest.approx(error.u)
    assert test.error.dof == pytest.approx(error.df)


def test_inches_and_millimetres_tell_the_same_lean():
    gaps = [0.254, 0.3048]
    mm, inch = in_both(flip_test, gap=gaps, height=19.05, open_at="top", flipped="indicator")
    assert inch.error.value == pytest.approx(mm.error.value, rel=1e-12)
    assert inch.error.u == pytest.approx(mm.error.u, rel=1e-12)
    assert inch.unit == "in"
    assert (inch.height, inch.gap.value) == (pytest.approx(0.75), pytest.approx(0.011))
    assert inch.to_dict().keys() == mm.to_dict().keys()


def test_no_light_shows():
    test = flip(gap=(0.0, "in"), height=(0.75, "in"), flipped="other", graduation=(0.001, "in"))
    assert test.error.value == 0
    assert test.error.u > 0
    assert "Leave the blade's tilt" in test.correction
    assert test.remarks == ()
    bare = flip(gap=([0.0, 0.0], "in"), height=(0.75, "in"), flipped="other")
    assert math.isnan(bare.error.u)
    assert bare.to_dict()["error_u_deg"] is None
    assert "cannot be told" in bare.remarks[0]
    assert bare.to_dict().keys() == test.to_dict().keys()


def test_the_words_of_a_flip_test():
    shown = str(flip(gap=[0.30, 0.34, 0.31], height=20, open_at="top", flipped="other"))
    assert "0.454 deg toward the indicator's side (95 %: 0.380 to 0.528)" in shown
    assert "open at the top" in shown
    assert "Tilt the top of the blade away from the indicator's side by 0.45 deg" in shown
    assert "half the gap, 0.16 mm over 20 mm" in shown


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"gap": (-0.1, "mm")}, "-0.1"),
        ({"gap": ([0.1, math.nan], "mm")}, "value 2"),
        ({"gap": (math.inf, "mm")}, "inf"),
        ({"gap": ([], "mm")}, "0 values"),
        ({"gap": None}, "gap is not given"),
        ({"gap": 0.1}, "without a unit"),
        ({"height": None}, "height is not given"),
        ({"height": (0, "mm")}, "height is 0 mm"),
        ({"height": (True, "mm")}, "height is True mm"),
        ({"gap": (True, "mm")}, "no number"),
        ({"height": (math.nan, "mm")}, "nan"),
        ({"open_at": None}, "open_at is not given"),
        ({"open_at": "left"}, "'left'"),
        ({"flipped": "right"}, "'right'"),
        ({"graduation": (-1, "mm")}, "graduation is -1 mm"),
    ],
)
def test_a_flip_test_that_cannot_be_used_is_refused(wrong, said):
    good = {"gap": (0.2, "mm"), "height": (19, "mm"), "open_at": "top", "flipped": "other"}
    with pytest.raises(RefusedError, match=said):
        flip_test(**(good | wrong))


def cut_round(turns, away_deg, piece):
    """Cut round a board, the fence's far end so much too far away: its last strip, its corner."""
    head = 90 - 360 / turns - away_deg
    saw = RigidSaw(gauge_deg=-SIGN[piece] * head, plate_tilt_deg=0.05)
    return saw.round_test(turns, kept=piece), saw.corner_deg(piece)


def round_of(turns, piece, first, last, length, **facts):
    facts = {"graduation": 1e-6} | facts
    return round_board(first=first, last=last, length=length, turns=turns, piece=piece, **facts)


@pytest.mark.parametrize("piece", ["left", "right"])
@pytest.mark.parametrize("turns", [3, 4, 6, 8])
@pytest.mark.parametrize("away", [-0.3, -0.02, 0.0, 0.05, 0.4])
def test_a_board_cut_round_tells_its_corner_and_the_swing_mends_it(turns, piece, away):
    strip, corner = cut_round(turns, away, piece)
    test = round_of(turns, piece, *strip)
    assert test.error.value == pytest.approx(away, abs=1e-9)
    assert test.corner_deg - test.error.value == pytest.approx(corner, abs=1e-9)
    if away:
        assert (strip.cut_first_mm > strip.cut_last_mm) == (away > 0)
        way = "toward you" if away > 0 else "away from you"
        assert f"swing the gauge's fence {way} by" in test.correction
        assert (test.swing.value > 0) == (away > 0)
    swung = math.degrees(math.atan(test.swing.value / 300))
    strip, _ = cut_round(turns, away - swung, piece)
    assert strip.cut_first_mm - strip.cut_last_mm == pytest.approx(0.0, abs=1e-7)


def test_eight_turns_test_the_stops_at_45_degrees():
    test = round_of(8, "right", 20.0, 19.9, 200.0, name="45 right")
    assert (test.corner_deg, test.gauge_deg) == (135, 45)
    assert "stop 45 right" in str(test)
    assert "counterclockwise" in test.remarks[0]
    assert round_of(4, "left", 20.0, 19.9, 200.0).gauge_deg == 0


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.floats(10, 11), min_size=1, max_size=5),
    st.lists(st.floats(10, 11), min_size=2, max_size=5),
    st.integers(3, 12),
)
def test_round_doubt_is_that_of_pooled_means_and_gtc(first, last, turns):
    read = np.array([*first, *last])
    group = np.array([1.0] * len(first) + [0.0] * len(last))
    if len(first) + len(last) < 4 or np.std(last) < 1e-3:
        return
    ols = sm.OLS(read, sm.add_constant(group)).fit()
    test = round_board(first=first, last=last, length=150, turns=turns)
    taper = GTC.ureal(ols.params[1], ols.bse[1], ols.df_resid)
    error = GTC.atan(taper / 150) * 180 / math.pi / turns
    assert test.error.value == pytest.approx(error.x, abs=1e-9)
    assert test.error.u == pytest.approx(error.u, rel=1e-6)
    assert test.error.dof == pytest.approx(ols.df_resid)
    over = GTC.tan(error * math.pi / 180) * 300
    assert test.swing.u == pytest.approx(over.u, rel=1e-6)


def test_rounding_of_the_calliper_counts_at_both_ends():
    test = round_board(first=10.05, last=10.0, length=100, graduation=0.1)
    # Each end was read once, and nothing tells how well: 0.7 graduations each, by caution.
    assert test.taper.u == pytest.approx(0.07 * math.sqrt(2), rel=1e-6)
    assert (test.taper.dof, test.rests_on) == (5, "cautious")
    assert "Leave the gauge's fence" in test.correction
    bare = round_board(first=10.1, last=10.0, length=100)
    assert math.isnan(bare.error.u)
    assert "Leave the gauge's fence" in bare.correction
    assert bare.to_dict()["swing_u"] is None
    assert "cannot be told" in bare.remarks[1]
    assert bare.to_dict().keys() == test.to_dict().keys()


def test_round_in_inches():
    first, last = [12.7, 12.75], [12.446, 12.471]
    mm, inch = in_both(round_test, first=first, last=last, length=203.2)
    assert inch.error.value == pytest.approx(mm.error.value, rel=1e-12)
    assert inch.error.u == pytest.approx(mm.error.u, rel=1e-12)
    assert "in over 12 in" in inch.correction
    assert inch.swing.value / 12 == pytest.approx(mm.swing.value / 300)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"turns": 2}, "turns is 2"),
        ({"turns": 4.0}, "turns is 4.0"),
        ({"turns": True}, "turns is True"),
        ({"piece": "front"}, "'front'"),
        ({"first": (0.0, "mm")}, "value 1 of first is 0"),
        ({"last": ([10.0, -1.0], "mm")}, "value 2 of last is -1"),
        ({"last": (0.4, "in")}, "two units"),
        ({"length": None}, "length is not given"),
        ({"length": (math.inf, "mm")}, "inf"),
    ],
)
def test_a_round_test_that_cannot_be_used_is_refused(wrong, said):
    good = {"first": (10.0, "mm"), "last": (10.0, "mm"), "length": (100.0, "mm")}
    with pytest.raises(RefusedError, match=said):
        round_test(**(good | wrong))


def test_a_measured_kerf():
    kerf = measured(length=([0.126, 0.127, 0.125], "in"), graduation=(0.0005, "in"))
    assert kerf.value == pytest.approx(0.126)
    assert kerf.u == pytest.approx(0.001 / 3**0.5)
    assert kerf.dof == 2
    assert math.isnan(measured(length=3.2).u)
    once = {"length": (0.1, "in"), "graduation": 0.0254}
    assert measured(**once).u == pytest.approx(0.0007, rel=1e-6)
    careful = measured(**once, repeatability=(0.0005, "in"))
    assert careful.u == pytest.approx(math.hypot(0.0005, 0.001 / 12**0.5), rel=0.01)
    with pytest.raises(RefusedError, match="value 1 of length is 0"):
        measured(length=0)
