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
from rigid_body import rotation

from bladegeom.faults import RefusedError
from bladegeom.saw.cut import flip_test, round_test

UP, BACK, RIGHT = np.array([0.0, 0, 1]), np.array([0.0, 1, 0]), np.array([1.0, 0, 0])


def faces(lean_deg: float, thick: float, kerf: float, side: int) -> np.ndarray:
    """x of both faces of the cut, at the bottom and at the top of the board.

    Lean turns the blade's top toward the indicator, which stands at x > 0 (side 1) or x < 0. Rows:
    left piece, right piece; a column for the bottom and one for the top.
    """
    upright = rotation(BACK, side * lean_deg) @ UP
    assert lean_deg == 0 or np.sign(upright[0]) == np.sign(side * lean_deg)
    normal = rotation(BACK, side * lean_deg) @ RIGHT
    height = np.array([0.0, thick])
    middle = -height * normal[2] / normal[0]
    half = kerf / 2 / normal[0]
    return np.array([middle - half, middle + half])


def turned_over(lean_deg: float, thick: float, side: int, flipped: str) -> tuple[float, str | None]:
    """Cut, turn one piece upside down, push together: size of the gap and where it is open."""
    left, right = faces(lean_deg, thick, 3.2, side)
    piece = {"indicator": 1 if side == 1 else 0, "other": 0 if side == 1 else 1}[flipped]
    edge = np.array([[x, 0.0, z] for x, z in zip((left, right)[piece], (0, thick), strict=True)])
    over = edge @ rotation(RIGHT, 180.0).T
    over = over[np.argsort(over[:, 2]), 0]
    left, right = (over, right) if piece == 0 else (left, over)
    light = right - left
    light = light - light.min()
    if np.allclose(light, 0, atol=1e-12):
        return 0.0, None
    return float(light.max()), "top" if light[1] > light[0] else "bottom"


@pytest.mark.parametrize("flipped", ["indicator", "other"])
@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("lean", [-0.8, -0.05, 0.0, 0.02, 1.3])
def test_the_flip_test_finds_the_lean_and_its_correction_removes_it(lean, side, flipped):
    gap, open_at = turned_over(lean, 19.0, side, flipped)
    test = flip(gap=gap, height=19.0, open_at=open_at, flipped=flipped, graduation=1e-9)
    assert test.error.value == pytest.approx(lean, abs=1e-9)
    if lean:
        way = "away from" if lean > 0 else "toward"
        assert f"top of the blade {way} the indicator" in test.correction
    again, _ = turned_over(lean - test.error.value, 19.0, side, flipped)
    assert again == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("side", [1, -1])
def test_a_top_leaning_toward_the_piece_that_lay_still_leaves_the_gap_open_at_the_top(side):
    assert turned_over(0.5, 19.0, side, "other")[1] == "top"
    assert turned_over(0.5, 19.0, side, "indicator")[1] == "bottom"


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
    assert "0.454 deg (95 %: 0.380 to 0.528)" in shown
    assert "open at the top" in shown
    assert "Tilt the top of the blade away from the indicator's side by 0.454 deg" in shown
    assert "half the gap, 0.1583 mm over 20 mm" in shown


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


# A board seen from above: x to the right, y to the back, the blade along x = 0. Its corners run
# counterclockwise. The fence of the gauge starts at the blade and runs out to the board's side.


def clip(corners: np.ndarray, keep: int) -> np.ndarray:
    """Part of a convex board left (keep -1) or right (keep 1) of the blade."""
    kept = []
    for here, there in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if keep * here[0] >= 0:
            kept.append(here)
        if here[0] * there[0] < 0:
            kept.append(here + (there - here) * here[0] / (here[0] - there[0]))
    return np.array(kept)


def turn_of(start: np.ndarray, end: np.ndarray) -> float:
    """Signed angle from one direction to another; counterclockwise is positive."""
    return math.degrees(math.atan2(start[0] * end[1] - start[1] * end[0], float(start @ end)))


def on_fence(corners: np.ndarray, edge: int, fence: np.ndarray, over: float) -> np.ndarray:
    """Board with an edge laid on the fence, its end `over` beyond the blade."""
    start, end = corners[edge], corners[(edge + 1) % len(corners)]
    # A board behind the fence has its front edge run to the right.
    along = fence if fence[0] > 0 else -fence
    turn = math.radians(turn_of(end - start, along))
    matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    turned = corners @ matrix.T
    beyond = turned[edge] if fence[0] > 0 else turned[(edge + 1) % len(corners)]
    return turned - beyond - over * fence


def fence_of(turns: int, away_deg: float, piece: str) -> np.ndarray:
    """Direction of the fence, from the blade out, its far end `away_deg` too far from you."""
    out = {"left": -1.0, "right": 1.0}[piece]
    toward_you = math.radians(90 - 360 / turns - away_deg)
    return np.array([out * math.cos(toward_you), -math.sin(toward_you)])


def cut_round(turns, away_deg, piece, *, the_other_way=False, rough_deg=0.6):
    """Cut round a rough board; widths of the last strip at both ends, its length, the corner."""
    rng = np.random.default_rng(turns)
    clock = np.radians(np.arange(turns) * 360 / turns)
    clock += np.radians(rng.uniform(-rough_deg, rough_deg, turns))
    board = 300 * np.column_stack([np.cos(clock), np.sin(clock)])
    keep = -1 if piece == "left" else 1
    fence = fence_of(turns, away_deg, piece)
    edge = 0
    for _ in range(turns + 1):
        laid = on_fence(board, edge, fence, 15.0)
        strip, board = clip(laid, -keep), clip(laid, keep)
        assert len(board) == turns
        fresh = next(
            k
            for k in range(turns)
            if abs(board[k][0]) < 1e-9 and abs(board[(k + 1) % turns][0]) < 1e-9
        )
        before = board[(fresh + 1) % turns] - board[fresh]
        if the_other_way:
            edge = (fresh + 2 * keep) % turns
        else:
            edge = fresh
            along = fence if fence[0] > 0 else -fence
            assert np.sign(turn_of(before, along)) == keep  # left: clockwise; right: counter
    outer = strip[np.abs(strip[:, 0]) > 1e-9]
    outer = outer[np.argsort(outer[:, 1])]
    assert len(outer) == 2
    # Fed to the back, the board meets the blade with its back end first.
    last, first = np.abs(outer[:, 0])
    corner = math.degrees(math.acos(float(fence @ np.array([0.0, 1.0]))))
    return first, last, float(np.ptp(outer[:, 1])), corner


def round_of(turns, piece, first, last, length, **facts):
    facts = {"graduation": 1e-9} | facts
    return round_board(first=first, last=last, length=length, turns=turns, piece=piece, **facts)


@pytest.mark.parametrize("piece", ["left", "right"])
@pytest.mark.parametrize("turns", [3, 4, 6, 8])
@pytest.mark.parametrize("away", [-0.3, -0.02, 0.0, 0.05, 0.4])
def test_a_board_cut_round_tells_its_corner_and_the_swing_mends_it(turns, piece, away):
    first, last, length, corner = cut_round(turns, away, piece)
    test = round_of(turns, piece, first, last, length)
    assert test.error.value == pytest.approx(away, abs=1e-9)
    assert test.corner_deg - test.error.value == pytest.approx(corner, abs=1e-9)
    assert (first > last) == (away > 0) or away == 0
    swung = math.degrees(math.atan(test.swing.value / 300))
    if away:
        way = "toward you" if away > 0 else "away from you"
        assert f"farther from the blade {way} by" in test.correction
        # Its far end then stands nearer to the operator, who is at the front.
        far = [fence_of(turns, one, piece)[1] for one in (away, away - swung)]
        assert np.sign(far[0] - far[1]) == np.sign(test.swing.value)
    first, last, *_ = cut_round(turns, away - swung, piece)
    assert first - last == pytest.approx(0.0, abs=1e-7)


@pytest.mark.parametrize("piece", ["left", "right"])
@pytest.mark.parametrize("turns", [4, 6, 8])
def test_turned_the_other_way_the_errors_do_not_add_up(turns, piece):
    right = cut_round(turns, 0.2, piece, rough_deg=0.0)
    wrong = cut_round(turns, 0.2, piece, rough_deg=0.0, the_other_way=True)
    slopes = [(first - last) / length for first, last, length, _ in (right, wrong)]
    assert slopes[0] == pytest.approx(math.tan(math.radians(0.2 * turns)))
    assert abs(slopes[1]) < 0.6 * slopes[0]


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
    assert test.taper.u == pytest.approx(math.hypot(0.1 / 12**0.5, 0.1 / 12**0.5))
    assert "Leave the fence" in test.correction
    bare = round_board(first=10.1, last=10.0, length=100)
    assert math.isnan(bare.error.u)
    assert "toward you" in bare.correction
    assert bare.to_dict()["swing_u"] is None
    assert "cannot be told" in bare.remarks[1]
    assert bare.to_dict().keys() == test.to_dict().keys()


def test_round_in_inches():
    first, last = [12.7, 12.75], [12.446, 12.471]
    mm, inch = in_both(round_test, first=first, last=last, length=203.2)
    assert inch.error.value == pytest.approx(mm.error.value, rel=1e-12)
    assert inch.error.u == pytest.approx(mm.error.u, rel=1e-12)
    assert "in per 12 in" in inch.correction
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
    assert measured(length=(0.1, "in"), graduation=0.0254).u == pytest.approx(0.001 / 12**0.5)
    with pytest.raises(RefusedError, match="value 1 of length is 0"):
        measured(length=0)
