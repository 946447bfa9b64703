"""The insert: planes fitted, screws turned on a simulated plate, against statsmodels and GTC."""

from __future__ import annotations

import json
import math

import GTC
import numpy as np
import pytest
import statsmodels.api as sm
from asked import in_both, insert
from hypothesis import given, settings
from hypothesis import strategies as st

from bladegeom.faults import RefusedError
from bladegeom.saw.insert import insert_level

X = np.array([-40.0, 40.0, 40.0, -40.0, 0.0, 0.0])
Y = np.array([-150.0, -150.0, 150.0, 150.0, -100.0, 100.0])
NOISE = np.array([0.02, -0.01, 0.015, -0.02, 0.005, -0.01])
SCREW_X = np.array([-30.0, 30.0, 30.0, -30.0])
SCREW_Y = np.array([-140.0, -140.0, 140.0, 140.0])
PLACES = {"x": X, "y": Y}
SCREWS = {"screw_x": SCREW_X, "screw_y": SCREW_Y}


def plate(height: float, right: float, back: float) -> np.ndarray:
    """Heights at the places of a flat plate, with its rise per mm to the right and to the back."""
    return height + right * X + back * Y


def settled(tips: np.ndarray) -> np.ndarray:
    """Heights of a stiff plate that lies on three screws with tips at (x, y, z)."""
    normal = np.cross(tips[1] - tips[0], tips[2] - tips[0])
    return tips[0][2] - (normal[0] * (X - tips[0][0]) + normal[1] * (Y - tips[0][1])) / normal[2]


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-1, 1), min_size=3, max_size=3), st.sampled_from([0.5, 1.0, 25.4 / 20]))
def test_turning_the_screws_makes_the_insert_flush(heights, pitch):
    # Three screws bear a stiff plate: it is moved by turning them, and read again.
    stand = np.column_stack([[-30.0, 30.0, 0.0], [-140.0, -140.0, 140.0]])
    tips = np.column_stack([stand, heights])
    result = insert(
        **PLACES,
        height=settled(tips),
        screw_x=stand[:, 0],
        screw_y=stand[:, 1],
        pitch=pitch,
        graduation=1e-6,
    )
    tips[:, 2] += [pitch * screw.turns.value for screw in result.screws]
    assert settled(tips) == pytest.approx(0.0, abs=1e-12)
    for screw, line in zip(result.screws, result.instructions, strict=True):
        if result.turned(screw):
            assert ("raise" in line) == (screw.height.value < 0)
            assert ("lower" in line) == (screw.height.value > 0)


def test_plane_and_doubt_are_those_of_statsmodels_and_gtc():
    heights = plate(0.1, 0.002, -0.001) + NOISE
    result = insert(**PLACES, height=heights, **SCREWS, pitch=0.8)
    ols = sm.OLS(heights, sm.add_constant(np.column_stack([X, Y]))).fit()
    assert result.residual_sd == pytest.approx(math.sqrt(ols.mse_resid))
    assert result.height.value == pytest.approx(heights.mean())
    assert result.height.u == pytest.approx(math.sqrt(ols.mse_resid / 6))
    assert result.height.dof == pytest.approx(3)
    at = ols.get_prediction(np.column_stack([np.ones(4), SCREW_X, SCREW_Y]))
    for screw, mean, se in zip(result.screws, at.predicted_mean, at.se, strict=True):
        assert screw.height.value == pytest.approx(mean)
        assert screw.height.u == pytest.approx(se)
        assert screw.turns.value == pytest.approx(-mean / 0.8)
        assert screw.turns.u == pytest.approx(se / 0.8)
    weights = np.linalg.pinv(np.column_stack([np.ones(6), X, Y]))
    reads = [GTC.ureal(h, math.sqrt(ols.mse_resid)) for h in heights]
    _, right, back = (sum(w * h for w, h in zip(row, reads, strict=True)) for row in weights)
    tilt = GTC.atan(GTC.sqrt(right * right + back * back)) * 180 / math.pi
    assert result.tilt.value == pytest.approx(tilt.x)
    assert result.tilt.u == pytest.approx(tilt.u)
    f = ols.f_test(np.eye(3)[1:])
    assert result.tilts == (f.pvalue < 0.05)


@pytest.mark.parametrize(
    ("right", "back", "said"),
    [
        (0.01, 0, "the right"),
        (0.01, 0.01, "the back right"),
        (0, 0.01, "the back"),
        (-0.01, 0.01, "the back left"),
        (-0.01, 0, "the left"),
        (-0.01, -0.01, "the front left"),
        (0, -0.01, "the front"),
        (0.01, -0.01, "the front right"),
        (0.01, -0.0001, "the right"),
    ],
)
def test_the_tilt_has_a_direction_in_words(right, back, said):
    result = insert(**PLACES, height=plate(0, right, back), graduation=0.01)
    assert result.highest == said
    assert result.tilt.value == pytest.approx(math.degrees(math.atan(math.hypot(right, back))))
    assert f"highest at {said}" in result.found[1]


@given(st.floats(-0.01, 0.01), st.floats(-0.01, 0.01), st.floats(0, 180))
def test_the_direction_holds_wherever_the_places_lie(right, back, turned):
    turn = math.radians(turned)
    x = X * math.cos(turn) - Y * math.sin(turn) + 70
    y = X * math.sin(turn) + Y * math.cos(turn) - 30
    if math.hypot(right, back) < 1e-4:
        return
    heights = 0.3 + right * x + back * y
    result = insert(x=x, y=y, height=heights, graduation=1e-6)
    off = result.highest_deg - math.degrees(math.atan2(back, right))
    assert (off + 180) % 360 == pytest.approx(180, abs=1e-6)


def test_a_level_insert_tilts_nowhere():
    result = insert(**PLACES, height=plate(0.0, 0, 0), graduation=0.01, tolerance=1)
    assert (result.tilts, result.highest, result.verdict) == (False, "nowhere", "within")
    assert result.found[1] == "tilt: none that the readings tell"
    assert "either way, no side told" in result.found[0]
    # Rounding is the same at every place: the height may be off by half a graduation.
    assert 0.005 <= result.height.reach < 0.006
    noisy = insert(**PLACES, height=NOISE)
    assert noisy.tilts is False


@pytest.mark.parametrize(
    ("facts", "turn"),
    [
        ({"pitch": (1.27, "mm")}, 1.27),
        ({"pitch": (1 / 20, "in")}, 1.27),
        ({"threads_per_inch": 20}, 1.27),
    ],
)
def test_threads(facts, turn):
    result = insert(**PLACES, height=plate(-0.5, 0, 0), **SCREWS, graduation=0.01, **facts)
    assert result.screws[1].turns.value == pytest.approx(0.5 / turn)
    assert result.instructions[1] == "Front right: raise by three eighths of a turn (0.5 mm)."
    high = insert(**PLACES, height=plate(0.5, 0, 0), **SCREWS, graduation=0.01, **facts)
    assert high.instructions[1] == "Front right: lower by three eighths of a turn (0.5 mm)."


def test_without_a_pitch_the_screws_are_told_in_lengths():
    result = insert(**PLACES, height=plate(0.5, 0, 0), **SCREWS, graduation=0.01)
    assert result.instructions[0] == "Front left: lower by 0.5 mm."
    assert result.screws[0].turns is None
    level = insert(**PLACES, height=plate(0.001, 0, 0), **SCREWS, graduation=0.01)
    assert "leave it" in level.instructions[0]


@pytest.mark.parametrize(
    ("height", "tolerance", "verdict"),
    [(0.05, 0.1, "within"), (0.2, 0.1, "out"), (-0.2, 0.1, "out"), (0.1, 0.1, "cannot tell")],
)
def test_verdicts(height, tolerance, verdict):
    result = insert(**PLACES, height=plate(height, 0, 0), graduation=0.01, tolerance=tolerance)
    assert result.verdict == verdict
    assert insert(**PLACES, height=plate(height, 0, 0)).verdict is None


def test_one_corner_out_of_tolerance_is_out():
    result = insert(**PLACES, height=plate(0, 0.002, 0.001), graduation=0.01, tolerance=0.2)
    assert result.height.value == pytest.approx(0)
    assert abs(result.worst.value) == pytest.approx(0.002 * 40 + 0.001 * 150)
    assert result.verdict == "out"


def test_a_bent_insert_is_not_called_flush():
    x, y = (one.ravel() for one in np.meshgrid(np.linspace(-40, 40, 9), np.linspace(-150, 150, 9)))
    bump = np.where((x == 0) & (y == 0), 0.3, 0.0)
    result = insert(x=x, y=y, height=bump, tolerance=0.2)
    assert abs(result.worst.value) < 0.2
    assert result.verdict == "cannot tell"
    assert "bent" in result.remarks[0]


def test_rounding_does_not_average_out():
    # Flat plates, read to 0.1: the doubt at a screw must cover what rounding does there.
    rng = np.random.default_rng(3)
    inside = []
    for height, right, back in rng.uniform(-1, 1, (400, 3)) * [0.3, 2e-4, 1e-4]:
        read = np.round(plate(height, right, back) / 0.1) * 0.1
        result = insert(**PLACES, height=read, **SCREWS, graduation=0.1)
        for screw in result.screws:
            true = height + right * screw.x + back * screw.y
            inside.append(abs(screw.height.value - true) <= screw.height.reach)
    assert np.mean(inside) >= 0.93


def test_readings_in_a_plane_are_no_proof_without_a_graduation():
    for heights in (plate(0, 0, 0), plate(0.1, 0.003, 0.007)):
        result = insert(**PLACES, height=heights, **SCREWS, pitch=1)
        assert math.isnan(result.height.u)
        assert result.tilts is None
        assert "cannot be told" in result.remarks[-1]
        known = insert(**PLACES, height=heights, graduation=0.1, tolerance=0.1)
        assert result.to_dict().keys() == known.to_dict().keys()
        json.dumps(result.to_dict(), allow_nan=False)


def test_inches_and_millimetres_tell_the_same():
    heights = plate(0.1, 0.002, -0.001) + NOISE
    asked = PLACES | SCREWS | {"height": heights, "pitch": 1.27, "tolerance": 0.254}
    mm, inch = in_both(insert_level, **asked)
    assert inch.tilt.value == pytest.approx(mm.tilt.value, rel=1e-9)
    assert inch.tilt.u == pytest.approx(mm.tilt.u, rel=1e-9)
    assert inch.height.value * 25.4 == pytest.approx(mm.height.value)
    assert inch.residual_sd * 25.4 == pytest.approx(mm.residual_sd)
    assert inch.verdict == mm.verdict
    for one, other in zip(inch.screws, mm.screws, strict=True):
        assert one.turns.value == pytest.approx(other.turns.value)
        assert one.x * 25.4 == pytest.approx(other.x)


def test_words():
    shown = str(
        insert(**PLACES, height=plate(-0.3, 0, 0.001) + NOISE, **SCREWS, pitch=1, tolerance=0.1)
    )
    assert shown.startswith("Insert in the table: out")
    assert "0.300 mm low (95 %: 0.275 to 0.325)" in shown
    assert "highest at the back" in shown
    assert "Front left: raise by 7 sixteenths of a turn (0.44 mm)." in shown


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"x": ([0, 1, 2], "mm")}, "3 values"),
        ({"x": ([0, 1, 2, 3, 4], "mm")}, "not equally long: 5 of x, 4 of y"),
        ({"height": None}, "height is not given"),
        ({"height": ([0, 0, 0, math.nan], "mm")}, "value 4"),
        ({"x": ([0, 1, 2, 3], "mm"), "y": ([0, 1, 2, 3], "mm")}, "one line"),
        ({"x": ([0.1, 0.2, 0.3, 0.7], "mm"), "y": ([0.3, 0.6, 0.9, 2.1], "mm")}, "one line"),
        ({"x": ([5, 5, 5, 5], "mm"), "y": ([7, 7, 7, 7], "mm")}, "one line"),
        ({"screw_x": ([1], "mm")}, "screw_y is not"),
        ({"screw_y": ([1], "mm")}, "add screw_x"),
        ({"screw_x": ([1, 2], "mm"), "screw_y": ([1], "mm")}, "2 of screw_x, 1 of screw_y"),
        ({"pitch": (1, "mm")}, "where they stand"),
        ({"screw_x": ([1], "mm"), "screw_y": ([1], "mm"), "pitch": (0, "mm")}, "pitch is 0 mm"),
        ({"screw_x": ([1], "mm"), "screw_y": ([1], "mm"), "threads_per_inch": -20}, "-20"),
        (
            {
                "screw_x": ([1], "mm"),
                "screw_y": ([1], "mm"),
                "threads_per_inch": 20,
                "pitch": (1, "mm"),
            },
            "given twice",
        ),
        ({"tolerance": (-0.1, "mm")}, "tolerance is -0.1 mm"),
        ({"graduation": (math.inf, "mm")}, "inf"),
        ({"graduation": (True, "mm")}, "True"),
        ({"x": ([True, False, True, False], "mm")}, "no number"),
        ({"screw_x": ([1], "mm"), "screw_y": ([1], "mm"), "threads_per_inch": True}, "True"),
    ],
)
def test_what_cannot_be_used_is_refused(wrong, said):
    good = {
        "x": ([0, 80, 80, 0], "mm"),
        "y": ([0, 0, 300, 300], "mm"),
        "height": ([0.1, 0, 0, 0], "mm"),
    }
    with pytest.raises(RefusedError, match=said):
        insert_level(**(good | wrong))
