"""The budget of the doubt, held against general GUM libraries and hand-made sums."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
from numpy.testing import assert_allclose

import bladegeom as bg
from bladegeom.kernel.doubt import student_t


def fit_of(turns=1, noise=0.003, texture=0.0, **readings):
    blade = bg.Blade(40, diameter="254 mm")
    rng = np.random.default_rng(1)
    tooth = np.tile(np.arange(1, 41), turns)
    bends = np.tile(rng.normal(0, texture or 1e-30, 40), turns)
    angle = np.radians(blade.angles_deg[tooth - 1])
    read = 0.05 * np.cos(angle - 1) + bends + rng.normal(0, noise, len(tooth))
    if turns == 1:
        return bg.fit_wobble(
            bg.Readings(blade, read, unit="mm", tooth=tooth, ring_radius="115 mm", **readings)
        )
    turn = np.repeat(np.arange(1, turns + 1), 40)
    return bg.fit_wobble(
        bg.Readings(
            blade, read, unit="mm", tooth=tooth, turn=turn, ring_radius="115 mm", **readings
        )
    )


def causes(fit):
    return {cause.name: cause for cause in fit.budget.causes}


def test_the_sum_is_the_one_that_gtc_makes():
    # GTC, uncertain real numbers with degrees of freedom: the same causes added.
    fit = fit_of(
        graduation="0.01 mm", end_float="0.004 mm", stylus_deg=5, ring_radius_u="1 mm", turns=2
    )
    budget = fit.budget
    parts = [
        GTC.ureal(0, cause.amplitude_u, cause.dof) for cause in budget.causes if cause.amplitude_u
    ]
    total = sum(parts[1:], parts[0])
    assert_allclose(budget.amplitude_u, GTC.uncertainty(total), rtol=1e-12)
    assert_allclose(budget.dof, GTC.dof(total), rtol=1e-9)
    assert_allclose(budget.coverage_factor, student_t(0.95, GTC.dof(total)), rtol=1e-9)


def test_the_tilt_s_doubt_is_the_one_that_gtc_propagates():
    # GTC: tilt = atan(amplitude / ring radius) from uncertain amplitude and radius.
    fit = fit_of(ring_radius_u="2 mm")
    amplitude = GTC.ureal(fit.amplitude, fit.amplitude_u, fit.dof)
    tilt = GTC.atan(amplitude / GTC.ureal(115, 2.0))
    assert_allclose(fit.budget.tilt_u_deg, math.degrees(GTC.uncertainty(tilt)), rtol=1e-9)


def test_four_unit_normals_add_up_to_two():
    # JCGM 101:2008, 9.2.2: the sum of four standard normals has u = 2 (and +-3.92 at 95 %).
    whole = math.sqrt(math.fsum([1.0] * 4))
    assert whole == 2
    assert_allclose(student_t(0.95, math.inf) * whole, 3.92, atol=0.005)


def test_without_repeats_scatter_stands_for_both_and_the_rest_is_named():
    fit = fit_of()
    assert list(causes(fit)) == ["scatter"]
    assert_allclose(causes(fit)["scatter"].amplitude_u, fit.amplitude_u)
    said = " ".join(fit.budget.unknown)
    for word in ("repeatability", "graduation", "drift", "end float", "stylus", "ring radius"):
        assert word in said


def test_repeats_part_repeatability_from_texture():
    # Pure error by hand: each tooth's two readings about their mean, less the turns' offsets.
    fit = fit_of(turns=2, noise=0.003, texture=0.01)
    read = fit.readings.reading.reshape(2, 40)
    half = (read[0] - read[1]) / 2
    left = 2 * np.sum((half - half.mean()) ** 2)
    repeats = fit.budget.repeats
    assert repeats.dof == 39
    assert_allclose(repeats.sd, math.sqrt(left / 39), rtol=1e-9)
    assert repeats.lack_of_fit_p < 1e-6
    # Every tooth was read: bends are square to the wobble and add nothing.
    assert causes(fit)["texture"].amplitude_u == 0
    assert causes(fit)["repeatability"].amplitude_u < 0.5 * fit.amplitude_u


def test_texture_is_not_shown_where_there_is_none():
    chances = [
        bg.fit_wobble(
            bg.Readings(
                bg.Blade(24),
                np.random.default_rng(seed).normal(0, 1, 48),
                unit="mm",
                tooth=np.tile(np.arange(1, 25), 2),
                turn=np.repeat([1, 2], 24),
            )
        ).budget.repeats.lack_of_fit_p
        for seed in range(400)
    ]
    # Evenly spread from 0 to 1 if the test is exact: mean 1/2, sd 1/sqrt(12 * 400).
    assert abs(np.mean(chances) - 0.5) < 4 / math.sqrt(12 * 400)
    assert abs(np.mean(np.array(chances) < 0.05) - 0.05) < 4 * math.sqrt(0.05 * 0.95 / 400)


def test_texture_is_sampling_error_where_only_some_teeth_are_read_twice():
    blade = bg.Blade(40)
    tooth = np.tile(np.arange(1, 41, 3), 2)
    rng = np.random.default_rng(3)
    bends = np.tile(rng.normal(0, 0.01, 14), 2)
    read = bends + rng.normal(0, 0.001, 28)
    fit = bg.fit_wobble(
        bg.Readings(blade, read, unit="mm", tooth=tooth, turn=np.repeat([1, 2], 14))
    )
    assert causes(fit)["texture"].amplitude_u > 3 * causes(fit)["repeatability"].amplitude_u


def test_rounding_that_does_not_average_out_is_a_cause():
    fit = fit_of(noise=0.0005, graduation="0.01 mm")
    found = causes(fit)
    for of in ("amplitude_u", "near_u_deg"):
        parts = [getattr(found[name], of) for name in ("scatter", "graduation")]
        assert_allclose(math.hypot(*parts), getattr(fit, of))
        assert parts[1] > 0
    assert "graduation" not in causes(fit_of(noise=0.02, graduation="0.01 mm"))


def test_a_stylus_out_of_line_makes_a_scale_error_and_turns_nothing():
    cause = causes(fit_of(stylus_deg=10))["stylus angle"]
    fit = fit_of()
    # It stands so through all readings: the limits hold even at the angle that is stated.
    assert_allclose(cause.amplitude_u, fit.amplitude * (1 - math.cos(math.radians(10))))
    assert cause.near_u_deg == 0


def test_the_budget_shows_itself():
    text = str(fit_of(turns=2, end_float="0.01 mm").budget)
    for words in ("repeatability", "end float", "together", "expanded, 95 %", "k = "):
        assert words in text


def test_identical_readings_give_a_bound_and_no_zero():
    fit = bg.fit_wobble(
        bg.Readings(bg.Blade(24), np.full(24, 0.1), unit="mm", graduation="0.01 mm")
    )
    low, high, _ = fit.amplitude_interval()
    assert low == 0
    assert 0.005 < high < 0.01
    assert "below the indicator's graduation" in fit.warnings[0]
    assert "the graduation" in str(fit)


@pytest.mark.parametrize(("readings", "d2"), [(24, 3.895), (25, 3.931), (20, 3.735), (10, 3.078)])
def test_raw_tir_of_a_flat_blade_is_a_range_statistic(readings, d2):
    # Mean range of n normals in standard deviations: control-chart constant d2, from memory.
    rng = np.random.default_rng(9)
    ranges = np.ptp(rng.standard_normal((40_000, readings)), axis=1)
    assert_allclose(ranges.mean(), d2, atol=4 * ranges.std() / 200)
    blade = bg.Blade(readings)
    one = rng.standard_normal(readings)
    assert_allclose(bg.fit_wobble(bg.Readings(blade, one, unit="mm")).raw_tir, np.ptp(one))
