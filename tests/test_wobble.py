"""The fit of one blade: estimates, doubt, detection, warnings, and how it shows itself."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from simulated import rng_for, turn_deg, wave

import bladegeom as bg

NOISE = rng_for(40).normal(0.0, 0.003, 40)


def noisy(amplitude: float = 0.02, near_deg: float = 75.0, **facts: object) -> bg.WobbleFit:
    """Fit of a 40-tooth blade with the same noise every time."""
    return bg.fit_wobble(wave(40, amplitude, near_deg, NOISE, **facts))


def test_all_teeth_of_an_even_blade_give_the_textbook_sums() -> None:
    # Orthogonal columns: offset = mean, parts = 2/N sum y cos and 2/N sum y sin.
    fit = noisy()
    angle, read = np.radians(fit.readings.angle_deg), fit.readings.reading
    assert_allclose(fit.offset, read.mean(), rtol=1e-12)
    assert_allclose(fit.cosine, 2 / 40 * np.sum(read * np.cos(angle)), rtol=1e-11)
    assert_allclose(fit.sine, 2 / 40 * np.sum(read * np.sin(angle)), rtol=1e-11)
    assert_allclose(fit.residuals, read - fit.fitted, atol=1e-15)
    assert_allclose(fit.fitted, fit.height_at(fit.readings.angle_deg), rtol=1e-12)
    assert fit.dof == 37
    assert_allclose(fit.residual_sd, math.sqrt(np.sum(fit.residuals**2) / 37), rtol=1e-12)
    assert fit.reading_sd == fit.residual_sd
    variance = fit.residual_sd**2 / 20
    assert_allclose(fit.covariance, [[variance, 0], [0, variance]], atol=1e-9 * variance)


def test_gaps_are_not_fitted_by_the_sums_for_even_spacing() -> None:
    readings = wave(40, 0.02, 75.0)
    kept = np.r_[0:13, 22:40]
    gappy = bg.Readings(
        readings.blade, readings.reading[kept] + 0.7, tooth=readings.tooth[kept], unit="mm"
    )
    fit = bg.fit_wobble(gappy)
    angle = np.radians(gappy.angle_deg)
    shortcut = 2 / len(kept) * np.sum((gappy.reading - gappy.reading.mean()) * np.exp(1j * angle))
    assert_allclose([fit.amplitude, fit.near_deg, fit.offset], [0.02, 75.0, 0.7], rtol=1e-11)
    assert abs(abs(shortcut) - 0.02) > 0.001
    # A missing arc makes the two parts lean on each other.
    assert abs(np.linalg.eigvalsh(gappy_covariance(gappy))).max() > 1.2 * (2 / len(kept))


def gappy_covariance(readings: bg.Readings) -> np.ndarray:
    """Covariance of the parts per variance of one reading, from a fit with a known floor."""
    fit = bg.fit_wobble(
        bg.Readings(
            readings.blade,
            readings.reading,
            tooth=readings.tooth,
            unit="mm",
            graduation=(math.sqrt(12), "mm"),
        )
    )
    return fit.covariance


def test_views_of_the_fit_agree_with_its_parts() -> None:
    fit = noisy()
    assert_allclose(fit.amplitude, math.hypot(fit.cosine, fit.sine))
    assert_allclose(fit.amplitude * np.cos(np.radians(fit.near_deg)), fit.cosine)
    assert_allclose(fit.amplitude * np.sin(np.radians(fit.near_deg)), fit.sine)
    assert fit.wobble_tir == 2 * fit.amplitude
    assert_allclose(fit.raw_tir, np.ptp(fit.readings.reading))
    assert fit.tilt_deg is not None
    assert_allclose(math.tan(math.radians(fit.tilt_deg)), fit.amplitude / 100.0)
    assert_allclose(fit.rim_amplitude, fit.amplitude * 127.0 / 100.0)
    toward = np.array([fit.cosine, fit.sine]) / fit.amplitude
    assert_allclose(fit.amplitude_u**2, toward @ fit.covariance @ toward)
    assert_allclose(fit.near_u_deg, math.degrees(fit.amplitude_u / fit.amplitude), rtol=1e-9)


@pytest.mark.parametrize("near_deg", [0.0, 0.01, 45.0, 90.0, 180.0, 269.9, 270.0, 359.99])
def test_directions_are_found_in_every_quadrant_and_wrapped(near_deg: float) -> None:
    fit = bg.fit_wobble(wave(24, 0.05, near_deg))
    assert 0.0 <= fit.near_deg < 360.0
    assert_allclose(turn_deg(near_deg, fit.near_deg), 0.0, atol=1e-9)


@pytest.mark.parametrize("near_deg", [0.05, 120.0, 180.0, 359.95])
def test_near_interval_encloses_near_and_may_pass_0_or_360(near_deg: float) -> None:
    fit = noisy(near_deg=near_deg)
    low, high, level = fit.near_interval()
    assert level == 0.95
    assert low < fit.near_deg < high
    factor = float(stats.t.ppf(0.975, 37))
    half_width = math.degrees(math.asin(factor * fit.amplitude_u / fit.amplitude))
    assert_allclose([fit.near_deg - low, high - fit.near_deg], half_width, rtol=1e-6)
    narrow = fit.near_interval(0.5)
    assert low < narrow.low < narrow.high < high


def test_a_direction_that_is_not_established_may_be_any() -> None:
    low, high, _ = noisy(amplitude=0.0).near_interval()
    assert_allclose(high - low, 360.0)


def test_amplitude_interval_encloses_the_amplitude_and_widens_with_confidence() -> None:
    fit = noisy()
    low, high, level = fit.amplitude_interval()
    assert level == 0.95
    assert low < fit.amplitude < high
    wide = fit.amplitude_interval(confidence_level=0.99)
    assert wide.low < low < high < wide.high
    assert wide.confidence_level == 0.99


def test_p_value_is_that_of_the_joint_f_test() -> None:
    # scipy.stats.f on the drop in the sum of squares.
    for amplitude in (0.0, 0.001, 0.003):
        fit = noisy(amplitude)
        read = fit.readings.reading
        rss = np.sum(fit.residuals**2)
        f = (np.sum((read - read.mean()) ** 2) - rss) / 2 / (rss / 37)
        assert_allclose(fit.p_value, stats.f.sf(f, 2, 37), rtol=1e-9)
        assert fit.resolved == (fit.p_value < 0.05)
    assert noisy(0.003).resolved
    assert not noisy(0.0).resolved


def test_graduation_is_a_floor_under_the_scatter() -> None:
    plain, fine, coarse = noisy(), noisy(graduation="0.001 mm"), noisy(graduation="0.02 mm")
    assert fine.reading_sd == plain.reading_sd
    assert_allclose(coarse.reading_sd, 0.02 / math.sqrt(12))
    assert coarse.residual_sd == plain.residual_sd
    ratio = (coarse.reading_sd / plain.reading_sd) ** 2
    assert_allclose(coarse.covariance, plain.covariance * ratio, rtol=1e-9, atol=1e-20)
    assert coarse.p_value > plain.p_value


def test_rounding_widens_the_limits_of_quiet_readings_only() -> None:
    # Scatter 0.003: more than half of 0.005 but less than half of 0.02.
    plain, fine, coarse = noisy(), noisy(graduation="0.005 mm"), noisy(graduation="0.02 mm")
    assert fine.amplitude_interval() == plain.amplitude_interval()
    low, high, _ = coarse.amplitude_interval()
    reach = float(stats.t.ppf(0.975, 37)) * coarse.amplitude_u
    assert_allclose([coarse.amplitude - low, high - coarse.amplitude], reach, rtol=0.05)
    # Rounding by half a graduation either way, the same all round, would be the most.
    scatter = 0.02 / math.sqrt(12 * 20)
    assert scatter < coarse.amplitude_u < math.hypot(scatter, 0.01 / math.sqrt(3))
    assert noisy(amplitude=0.004, graduation="0.02 mm").amplitude_interval().low == 0.0


@pytest.mark.parametrize("noise_in_graduations", [0.02, 0.1, 0.3])
@pytest.mark.parametrize("amplitude_in_graduations", [0.1, 0.25, 0.5, 1.0])
def test_limits_hold_on_a_dial_much_coarser_than_the_wobble(
    noise_in_graduations: float, amplitude_in_graduations: float
) -> None:
    # Rounding errors of a quiet signal are coherent. 100 blades; 4 sigma below 95 % is 86 %.
    rng = rng_for(12)
    covered = 0
    for _ in range(100):
        near_deg, start = rng.uniform(0.0, 360.0), rng.uniform(0.0, 1.0)
        exact = wave(40, amplitude_in_graduations, near_deg).reading + start
        shown = np.round(exact + rng.normal(0.0, noise_in_graduations, 40))
        fit = bg.fit_wobble(bg.Readings(bg.Blade(40), shown, unit="um", graduation="1 um"))
        low, high, _ = fit.amplitude_interval()
        covered += low <= amplitude_in_graduations <= high
    assert covered >= 86


@pytest.mark.parametrize("level", [0.0, 0.3, -7.25])
def test_identical_readings_bound_the_wobble_by_the_graduation(level: float) -> None:
    same = [level] * 24
    fit = bg.fit_wobble(
        bg.Readings(bg.Blade(24), same, unit="mm", graduation="0.01 mm", ring_radius="100 mm")
    )
    low, high, _ = fit.amplitude_interval()
    assert (fit.amplitude, fit.raw_tir, fit.p_value) == (0.0, 0.0, 1.0)
    assert not fit.resolved
    assert fit.amplitude_u > 0.0
    assert low == 0.0
    assert 0.005 < high < 0.01
    assert fit.warnings[0] == (
        "all readings are the same: the runout is below the indicator's graduation"
    )


@pytest.mark.parametrize("level", [0.0, 0.3, -7.25])
def test_identical_readings_without_a_graduation_bound_nothing(level: float) -> None:
    fit = bg.fit_wobble(
        bg.Readings(bg.Blade(24, diameter="254 mm"), [level] * 24, unit="mm", ring_radius="100 mm")
    )
    assert not fit.resolved
    assert fit.offset == level
    for unknown in (fit.amplitude_u, fit.tilt_u_deg, fit.reading_sd, fit.amplitude_interval().high):
        assert unknown is not None
        assert math.isnan(unknown)
    low, high, _ = fit.near_interval()
    assert high - low == 360.0
    values = fit.to_dict()
    assert values["amplitude_u"] is values["amplitude_high"] is values["tilt_u_deg"] is None
    assert values["amplitude"] == 0.0
    assert "state the graduation" in fit.warnings[0]
    text = str(fit)
    assert "nan" not in text
    assert "below the graduation, which is not stated" in text


def test_exact_readings_leave_the_rounding_of_numbers_as_doubt() -> None:
    fit = bg.fit_wobble(wave(40, 0.02, 75.0))
    assert fit.resolved
    assert 0.0 < fit.amplitude_u < 1e-15
    low, high, _ = fit.amplitude_interval()
    dust = 5e-17
    assert low < fit.amplitude < high
    assert low - dust < 0.02 < high + dust
    assert high - low < 1e-16


def test_a_large_offset_costs_only_the_digits_that_the_readings_lost() -> None:
    readings = wave(40, 0.02, 75.0, 1e6)
    fit = bg.fit_wobble(readings)
    assert_allclose(fit.offset, 1e6, rtol=1e-15)
    assert abs(fit.amplitude - 0.02) < 1e-10
    low, high, _ = fit.amplitude_interval()
    assert low < 0.02 < high
    flat = bg.fit_wobble(wave(40, 0.0, 0.0, 1e6 + rng_for(1).normal(0.0, 1e-10, 40)))
    assert not flat.resolved


def test_one_degree_of_freedom_is_very_doubtful() -> None:
    readings = bg.Readings(bg.Blade(4), [0.03, 0.01, -0.02, -0.02], unit="mm")
    fit = bg.fit_wobble(readings)
    assert fit.dof == 1
    assert not fit.resolved
    low, high, _ = fit.amplitude_interval()
    assert low == 0.0
    assert high > 7 * fit.amplitude_u


def test_closing_readings_stay_out_of_the_fit() -> None:
    read = wave(40, 0.02, 75.0, NOISE).reading
    plain = noisy()
    closed = bg.fit_wobble(
        bg.Readings(plain.readings.blade, [*read, 9.0], unit="mm", ring_radius="100 mm")
    )
    assert closed.cosine == plain.cosine
    assert closed.raw_tir == plain.raw_tir
    assert len(closed.residuals) == len(closed.fitted) == 40
    assert len(closed.residual_frame()) == 40
    assert closed.to_dict()["readings"] == 40
    assert_allclose(closed.to_dict()["closure"], 9.0 - read[0])


@pytest.mark.parametrize(
    ("slip", "graduation", "warned"),
    [
        (0.0, None, False),
        (0.006, None, False),  # Less than 2 sqrt 2 of a scatter of 0.003.
        (-0.02, None, True),
        (0.02, 0.02, False),  # One graduation is no slip.
        (0.04, 0.02, True),
    ],
)
def test_a_closing_reading_that_does_not_close_is_warned_of(
    slip: float, graduation: float | None, warned: bool
) -> None:
    read = wave(40, 0.02, 75.0, NOISE).reading
    fit = bg.fit_wobble(
        bg.Readings(bg.Blade(40), [*read, read[0] + slip], unit="mm", graduation=(graduation, "mm"))
    )
    assert any("closing reading differs" in one for one in fit.warnings) is warned
    if warned:
        assert any(f"by {slip:g} mm" in one for one in fit.warnings)


def test_a_closing_reading_that_does_not_close_is_warned_of_on_a_still_dial() -> None:
    fit = bg.fit_wobble(bg.Readings(bg.Blade(24), [0.3] * 24 + [0.5], unit="mm"))
    assert any("differs from the first by 0.2 mm" in one for one in fit.warnings)
    still = bg.fit_wobble(bg.Readings(bg.Blade(24), [0.3] * 25, unit="mm"))
    assert not any("differs" in one for one in still.warnings)


def test_without_a_ring_radius_there_is_wobble_but_no_tilt() -> None:
    fit = noisy(ring_radius=None)
    assert fit.resolved
    assert fit.tilt_deg is fit.tilt_u_deg is fit.rim_amplitude is None
    assert fit.tilt is None
    assert any("ring radius is not stated" in one for one in fit.warnings)
    assert fit.to_dict()["tilt_deg"] is None
    assert "tilt" not in [label for label, _ in fit.shown_rows()]


def test_without_a_diameter_there_is_tilt_but_no_rim() -> None:
    read = wave(40, 0.02, 75.0, NOISE).reading
    fit = bg.fit_wobble(bg.Readings(bg.Blade(40), read, unit="mm", ring_radius="100 mm"))
    assert fit.tilt_deg is not None
    assert fit.rim_amplitude is None
    assert fit.warnings == ()


def test_warnings_say_what_the_reader_should_know() -> None:
    assert noisy().warnings == ()
    (said,) = noisy(amplitude=0.0).warnings
    assert "no direction is established" in said
    (said,) = noisy(amplitude=3.0).warnings
    assert "a wobble (TIR) of 6 mm, far more than usable blades do" in said
    (said,) = noisy(surface="teeth").warnings
    assert said.startswith("read on the teeth")


def test_residual_frame_holds_what_the_charts_draw() -> None:
    fit = noisy()
    frame = fit.residual_frame()
    names = ["tooth", "turn", "angle_deg", "reading", "levelled", "fitted", "residual"]
    assert list(frame.columns) == names
    assert frame["tooth"].tolist() == list(range(1, 41))
    assert set(frame["turn"]) == {1}
    assert_allclose(frame["reading"] - frame["fitted"], frame["residual"], atol=1e-15)
    assert_allclose(frame["angle_deg"], 9.0 * np.arange(40))


def test_fit_shows_itself_and_cannot_be_changed() -> None:
    fit = noisy()
    text = str(fit)
    assert text.startswith("Blade: 40 teeth, 40 readings in mm\n")
    assert "wobble TIR" in text
    assert "raw TIR" in text
    assert "deg from tooth 1" in text
    assert "wobble resolved        yes" in text
    assert "<table>" in fit._repr_html_()
    with pytest.raises(dataclasses.FrozenInstanceError):
        fit.cosine = 0.0  # type: ignore[misc]
    assert "not established" in str(noisy(amplitude=0.0))


def test_a_direction_that_is_not_established_is_not_handed_out() -> None:
    values = noisy(amplitude=0.0).to_dict()
    assert not values["resolved"]
    for key in ("near_deg", "near_u_deg", "near_low_deg", "near_high_deg"):
        assert values[key] is None
    assert values["amplitude"] > 0.0
    assert noisy().to_dict()["near_deg"] == noisy().near_deg


def test_readings_without_any_scatter_are_not_trusted_in_silence() -> None:
    few = bg.Readings(bg.Blade(4), [0.0, 0.01, 0.0, -0.01], unit="mm")
    assert any("without any scatter" in warning for warning in bg.fit_wobble(few).warnings)
    stated = bg.Readings(bg.Blade(4), [0.0, 0.01, 0.0, -0.01], unit="mm", graduation="0.01 mm")
    fit = bg.fit_wobble(stated)
    assert not any("without any scatter" in warning for warning in fit.warnings)
    assert not fit.resolved


@pytest.mark.parametrize("shown", ["amplitude_interval", "near_interval"])
def test_limits_are_shown_as_plain_numbers(shown: str) -> None:
    assert "np." not in repr(getattr(noisy(), shown)())
