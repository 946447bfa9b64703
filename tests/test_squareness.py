"""What a square is wrong by: signs, exactness, doubt, and the odds over all rotations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import integrate, stats
from simulated import rng_for, wave

import bladegeom as bg
from bladegeom.fit.squareness import chance_out

NOISE = rng_for(42).normal(0.0, 0.003, 40)


def noisy(amplitude: float = 0.05, near_deg: float = 50.0, **facts: object) -> bg.WobbleFit:
    """Fit of a 40-tooth blade, ring radius 100 mm, with the same noise every time."""
    return bg.fit_wobble(wave(40, amplitude, near_deg, NOISE, **facts))


def exact(tilt_deg: float, near_deg: float = 50.0) -> bg.WobbleFit:
    """Fit of a 40-tooth blade without noise."""
    return bg.fit_wobble(wave(40, 100.0 * math.tan(math.radians(tilt_deg)), near_deg))


@pytest.mark.parametrize(
    ("away_deg", "expected"),
    [
        # At 30 degrees half the slope, tan 10 deg / 2 = 0.0881635; at a quarter turn the tilt.
        (0.0, 0.0),
        (30.0, math.degrees(math.atan(0.0881634903542325))),
        (90.0, 10.0),
        (150.0, math.degrees(math.atan(0.0881634903542325))),
        (180.0, 0.0),
        (-30.0, -math.degrees(math.atan(0.0881634903542325))),
        (270.0, -10.0),
    ],
)
def test_errors_of_a_ten_degree_model_by_hand(away_deg: float, expected: float) -> None:
    assert_allclose(bg.squareness_error(exact(10.0), away_deg), expected, atol=1e-12)


def test_a_number_gives_a_number_and_an_array_an_array() -> None:
    fit = noisy()
    for one in (bg.squareness_error, bg.squareness_error_u):
        assert type(one(fit, 30)) is float
        assert type(one(fit, np.float64(30.0))) is float
        several = one(fit, [[0.0, 30.0, 60.0]])
        assert isinstance(several, np.ndarray)
        assert several.shape == (1, 3)
        assert several[0, 1] == one(fit, 30.0)


def test_doubt_of_the_error_is_that_of_the_slope_toward_the_upper_end() -> None:
    # Unequal covariance: half the teeth are missing.
    whole = noisy()
    fit = bg.fit_wobble(
        bg.Readings(
            whole.readings.blade,
            whole.readings.reading[:20],
            tooth=whole.readings.tooth[:20],
            unit="mm",
            ring_radius="100 mm",
        )
    )
    for away in (0.0, 25.0, 90.0, 200.0):
        top = math.radians(fit.near_deg + 90.0 - away)
        toward = np.array([math.cos(top), math.sin(top)])
        slope = toward @ [fit.cosine, fit.sine] / 100.0
        slope_u = math.sqrt(toward @ fit.covariance @ toward) / 100.0
        assert_allclose(math.tan(math.radians(bg.squareness_error(fit, away))), slope, atol=1e-15)
        expected = math.degrees(math.atan(slope + slope_u) - math.atan(slope - slope_u)) / 2
        assert_allclose(bg.squareness_error_u(fit, away), expected, rtol=1e-5)
    assert bg.squareness_error_u(fit, 0.0) > 0.0
    assert_allclose(bg.squareness_error_u(fit, 90.0), fit.tilt_u_deg, rtol=1e-12)


@pytest.mark.parametrize("tooth", [1, 6, 16, 17, 40])
def test_a_tooth_uppermost_stands_away_by_its_distance_from_the_neutral_end(tooth: int) -> None:
    fit = noisy(near_deg=50.0)
    result = bg.squareness(fit, tooth=tooth)
    assert -180.0 < result.away_deg <= 180.0
    assert_allclose(
        (result.away_deg - (fit.near_deg + 90.0 - 9.0 * (tooth - 1)) + 1.0) % 360.0, 1.0
    )
    same = bg.squareness(fit, away_deg=result.away_deg)
    assert same.error_deg == result.error_deg == bg.squareness_error(fit, result.away_deg)
    assert same.error_u_deg == result.error_u_deg == bg.squareness_error_u(fit, result.away_deg)
    # Near leans toward the indicator, far from it.
    assert (result.error_deg > 0) == (math.cos(math.radians(fit.near_deg - 9.0 * (tooth - 1))) > 0)


def test_limits_are_students_about_the_error() -> None:
    # scipy.stats.t.
    fit = noisy()
    result = bg.squareness(fit, away_deg=20.0)
    reach = float(stats.t.ppf(0.975, 37)) * result.error_u_deg
    assert_allclose(result.error_high_deg - result.error_deg, reach)
    assert_allclose(result.error_deg - result.error_low_deg, reach)


@pytest.mark.parametrize("tilt_deg", [0.03, 10.0])
def test_gap_is_what_opens_over_the_span(tilt_deg: float) -> None:
    fit = exact(tilt_deg)
    result = bg.squareness(fit, away_deg=90.0, span=(150.0, "mm"))
    assert result.gap is not None
    assert_allclose(result.gap.value, 150.0 * math.tan(math.radians(tilt_deg)))
    assert (result.span, result.span_unit) == (150.0, "mm")
    inches = bg.squareness(fit, away_deg=-90.0, span=(6.0, "in"))
    assert inches.gap is not None
    assert_allclose(inches.gap.value, -6.0 * math.tan(math.radians(tilt_deg)))
    assert inches.span_unit == "in"


def test_doubt_of_the_gap_is_that_of_the_slope_over_the_span() -> None:
    fit = noisy(amplitude=17.0)
    result = bg.squareness(fit, away_deg=90.0, span=(150.0, "mm"))
    assert result.gap_u is not None
    assert_allclose(result.gap_u, 150.0 * fit.amplitude_u / 100.0)
    assert bg.squareness(fit, away_deg=90.0).gap is None


@pytest.mark.parametrize("tilt_deg", [0.001, 0.2, 10.0])
def test_rms_over_all_rotations_is_that_of_the_exact_error(tilt_deg: float) -> None:
    # scipy.integrate.quad; for a small tilt alpha it is alpha / sqrt 2.
    slope = math.tan(math.radians(tilt_deg))
    mean_square, _ = integrate.quad(
        lambda turn: math.atan(slope * math.sin(turn)) ** 2, 0.0, 2 * math.pi, epsabs=1e-15
    )
    result = bg.squareness(exact(tilt_deg), away_deg=0.0)
    assert_allclose(result.rms_deg, math.degrees(math.sqrt(mean_square / (2 * math.pi))))
    if tilt_deg < 1:
        assert_allclose(result.rms_deg, tilt_deg / math.sqrt(2), rtol=1e-5)


@pytest.mark.parametrize("amplitude", [0.05, 17.0])
def test_doubt_of_the_rms_is_its_change_with_the_amplitude(amplitude: float) -> None:
    fit = noisy(amplitude)
    result = bg.squareness(fit, away_deg=0.0)
    more, less = (
        bg.squareness(exact(math.degrees(math.atan((fit.amplitude + u) / 100.0))), away_deg=0.0)
        for u in (fit.amplitude_u, -fit.amplitude_u)
    )
    assert_allclose(result.rms_u_deg, (more.rms_deg - less.rms_deg) / 2, rtol=1e-4)


def test_rms_of_no_wobble_is_nought_and_its_doubt_is_not() -> None:
    fit = bg.fit_wobble(wave(40, 0.0, 0.0, graduation="0.01 mm"))
    result = bg.squareness(fit, tooth=1)
    assert result.rms_deg == 0.0
    assert_allclose(result.rms_u_deg, math.degrees(fit.amplitude_u / 100.0) / math.sqrt(2))


@pytest.mark.parametrize("tilt_deg", [0.05, 10.0])
@pytest.mark.parametrize("part", [0.1, 0.5, 0.99])
def test_chance_of_being_out_is_the_share_of_rotations(tilt_deg: float, part: float) -> None:
    turns = np.arange(0.0, 360.0, 0.001)
    error = np.degrees(np.arctan(np.tan(np.radians(tilt_deg)) * np.sin(np.radians(turns))))
    share = np.mean(np.abs(error) > part * tilt_deg)
    assert_allclose(chance_out(tilt_deg, part * tilt_deg), share, atol=2e-5)


def test_no_rotation_is_out_by_more_than_the_tilt() -> None:
    assert chance_out(0.05, 0.05) == 0.0
    assert chance_out(0.05, 0.06) == 0.0
    assert chance_out(0.0, 0.01) == 0.0
    assert math.isnan(chance_out(math.nan, 0.01))


def test_odds_carry_the_limits_of_the_amplitude() -> None:
    fit = noisy()
    result = bg.squareness(fit, away_deg=0.0, tolerance_deg=0.02)
    low, high, _ = fit.amplitude_interval()
    for found, amplitude in (
        (result.chance_out_low, low),
        (result.chance_out.value, fit.amplitude),
        (result.chance_out_high, high),
    ):
        tilt = math.degrees(math.atan(amplitude / fit.readings.ring_radius))
        assert found == pytest.approx(chance_out(tilt, 0.02))
    assert "of random rotations" in str(result)
    assert bg.squareness(fit, away_deg=0.0).chance_out is None


def test_worst_case_is_the_tilt_where_wobble_is_resolved_and_else_its_upper_limit() -> None:
    sure, unsure = noisy(), noisy(amplitude=0.0)
    assert bg.squareness(sure, away_deg=0.0).worst.value == pytest.approx(sure.tilt_deg)
    assert not unsure.resolved
    result = bg.squareness(unsure, tooth=3)
    assert result.worst.value == result.worst_high_deg
    assert result.worst.value == pytest.approx(unsure.tilt.high)
    assert result.to_dict()["worst_squareness_deg"] == result.worst.value
    assert result.worst.value == bg.neutral_line(unsure).worst_deg


@pytest.mark.parametrize(
    ("away_deg", "words"),
    [
        (30.0, "upper end leans toward the indicator"),
        (-30.0, "upper end leans from the indicator"),
        (0.0, "to which side cannot be told"),
    ],
)
def test_the_answer_says_which_way_the_line_leans(away_deg: float, words: str) -> None:
    text = str(bg.squareness(noisy(), away_deg=away_deg))
    assert words in text
    assert f"{away_deg:g} deg away from the neutral line" in text
    assert "with tooth 7 uppermost" in str(bg.squareness(noisy(), tooth=7))


def test_a_still_dial_without_a_graduation_leaves_the_doubt_unknown() -> None:
    fit = bg.fit_wobble(wave(40, 0.0, 0.0))
    result = bg.squareness(fit, tooth=3, span=(150.0, "mm"), tolerance_deg=0.01)
    values = result.to_dict()
    for key in ("error_u_deg", "error_high_deg", "gap_u", "rms_u_deg", "worst_squareness_deg"):
        assert values[key] is None
    assert values["chance_out_high"] is None
    text = str(result)
    assert "nan" not in text
    assert text.count("below the graduation, which is not stated") == 5


@pytest.mark.parametrize(
    ("asked", "problem"),
    [
        ({}, "the rotation is not stated once"),
        ({"away_deg": 3.0, "tooth": 4}, "the rotation is not stated once"),
        ({"tooth": 41}, "tooth 41 on a 40-tooth blade"),
        ({"away_deg": math.inf}, "away_deg is inf"),
        ({"away_deg": math.nan}, "away_deg is nan"),
        ({"away_deg": 0.0, "tolerance_deg": 0.0}, "the tolerance is 0 deg"),
        ({"away_deg": 0.0, "tolerance_deg": math.nan}, "the tolerance is nan deg"),
        ({"away_deg": 0.0, "tolerance_deg": 90.0}, "the tolerance is 90 deg"),
        ({"away_deg": 0.0, "span": (0.0, "mm")}, "span is 0 mm"),
        ({"away_deg": 0.0, "span": (math.inf, "in")}, "span is inf in"),
        ({"away_deg": 0.0, "span": 1.0}, "without a unit"),
    ],
)
def test_what_cannot_be_answered_is_refused(asked: dict[str, float], problem: str) -> None:
    with pytest.raises(bg.RefusedError, match=problem):
        bg.squareness(noisy(), **asked)  # type: ignore[arg-type]


def test_without_a_ring_radius_there_is_no_angle() -> None:
    fit = noisy(ring_radius=None)
    for ask in (
        lambda: bg.squareness_error(fit, 30.0),
        lambda: bg.squareness_error_u(fit, [30.0]),
        lambda: bg.squareness(fit, away_deg=30.0),
    ):
        with pytest.raises(bg.RefusedError, match="ring radius is not stated"):
            ask()


def test_the_worst_rotation_stands_beside_its_doubt() -> None:
    keys = [*bg.squareness(noisy(), away_deg=30.0).to_dict()]
    at = keys.index("worst_squareness_deg")
    assert keys[at + 1 : at + 4] == ["worst_u_deg", "worst_low_deg", "worst_high_deg"]
