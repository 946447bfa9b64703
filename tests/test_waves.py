"""Waves of higher order, what they pass for, and what is left when the wobble is gone."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from numpy.testing import assert_allclose

import bladegeom as bg


def fit_of(read, tooth=None, teeth=None, **how):
    blade = bg.Blade(teeth or len(read))
    return bg.fit_wobble(bg.Readings(blade, read, unit="mm", tooth=tooth), **how)


def angles(teeth):
    return np.radians(bg.Blade(teeth).angles_deg)


def test_each_order_is_found_where_it_was_planted():
    at = angles(40)
    read = 0.05 * np.cos(at - 1) + 0.02 * np.cos(2 * (at - 0.7)) + 0.01 * np.cos(3 * (at - 2.0))
    read += np.random.default_rng(1).normal(0, 0.0005, 40)
    one, two, three = fit_of(read, harmonics=3).harmonics
    assert [wave.order for wave in (one, two, three)] == [1, 2, 3]
    for wave, size, crest in ((two, 0.02, 0.7), (three, 0.01, 2.0)):
        assert wave.amplitude_low < size < wave.amplitude_high
        assert wave.resolved
        first_crest = np.degrees(crest) % (360 / wave.order)
        assert wave.crest_low_deg < first_crest < wave.crest_high_deg


def test_higher_orders_cost_nothing_but_freedom_where_every_tooth_is_read():
    read = np.random.default_rng(2).normal(0, 1, 40)
    plain, more = fit_of(read), fit_of(read, harmonics=4)
    assert_allclose(more.amplitude, plain.amplitude, rtol=1e-12)
    assert more.dof == plain.dof - 6
    assert plain.harmonics == ()


@pytest.mark.parametrize("spots", [5, 6, 7, 8, 10, 12])
def test_orders_above_half_the_spots_are_not_identifiable_and_say_what_they_pass_for(spots):
    # m evenly spaced spots alias order k and m - k.
    teeth = spots * 4
    tooth = np.arange(1, teeth + 1, 4)
    read = np.tile(np.random.default_rng(3).normal(0, 1, spots), 3)
    turn = np.repeat([1, 2, 3], spots)
    fit = bg.fit_wobble(
        bg.Readings(bg.Blade(teeth), read, unit="mm", tooth=np.tile(tooth, 3), turn=turn),
        harmonics=spots - 1,
    )
    for wave in fit.harmonics:
        if wave.order <= (spots - 1) / 2:
            assert wave.identifiable
            continue
        assert not wave.identifiable
        assert wave.amplitude is None
        other = spots - wave.order
        if other == wave.order:
            assert wave.why_not == "passes for itself at another place"
        else:
            assert wave.why_not == f"passes for {'wobble' if other == 1 else f'order {other}'}"
        assert f"not identifiable: {wave.why_not}" in str(fit)


def test_too_few_readings_are_said_to_be_so():
    fit = fit_of(np.random.default_rng(4).normal(0, 1, 6), harmonics=3)
    assert fit.harmonics[1].identifiable
    assert fit.dof == 1
    assert fit.harmonics[2].why_not == "too few readings"


@pytest.mark.parametrize("harmonics", [0, 13, 1.5])
def test_a_number_of_harmonics_that_makes_no_sense_is_refused(harmonics):
    with pytest.raises(bg.RefusedError, match="whole number from 1 to 12"):
        fit_of(np.arange(40.0), harmonics=harmonics)


def test_a_robust_fit_agrees_with_statsmodels():
    # statsmodels RLM, Huber's T, scale by the median absolute deviation, on the same readings.
    # It centres the residuals' median at 0 and does not correct for the parameters, so its scale,
    # and with it the bend, is a little smaller; the coefficients agree to a part of their doubt.
    rng = np.random.default_rng(5)
    at = angles(60)
    read = 0.05 * np.cos(at - 1) + rng.normal(0, 0.003, 60)
    read[[7, 30]] += [0.1, -0.06]
    fit = fit_of(read, robust=True)
    x = np.column_stack([np.ones(60), np.cos(at), np.sin(at)])
    theirs = sm.RLM(read, x, M=sm.robust.norms.HuberT()).fit()
    own = np.array([fit.offset, fit.cosine, fit.sine])
    assert_allclose(own, theirs.params, atol=0.15 * theirs.bse.max())
    assert_allclose(np.sqrt(np.diag(fit.covariance)), theirs.bse[1:], rtol=0.1)


def test_a_robust_fit_is_hardly_moved_by_a_wild_reading_and_names_its_tooth():
    rng = np.random.default_rng(6)
    at = angles(40)
    read = 0.05 * np.cos(at - 1) + rng.normal(0, 0.003, 40)
    wild = read.copy()
    wild[16] += 0.2
    clean, plain, robust = fit_of(read), fit_of(wild), fit_of(wild, robust=True)
    assert robust.flagged == (17,)
    assert any("tooth 17 stands off the curve" in warning for warning in robust.warnings)
    off = [np.hypot(f.cosine - clean.cosine, f.sine - clean.sine) for f in (plain, robust)]
    assert off[1] < 0.15 * off[0]
    assert len(robust.residuals) == 40  # Nothing is deleted.


def test_a_robust_fit_of_readings_that_all_fit_is_the_plain_one():
    read = 0.05 * np.cos(angles(40) - 1)
    assert_allclose(fit_of(read, robust=True).amplitude, 0.05, rtol=1e-9)


@pytest.mark.parametrize("side", [1, -1])
def test_a_bend_is_located_apart_from_a_spike(side):
    rng = np.random.default_rng(7)
    read = 0.05 * np.cos(angles(60) - 1) + rng.normal(0, 0.002, 60)
    read[[57, 58, 59, 0, 1, 2]] += side * 0.02
    read[30] += 0.03
    shape = bg.residual_shape(fit_of(read))
    (bend,), (spike,) = shape.bends, shape.spikes
    assert abs((bend.first - 58 + 30) % 60 - 30) <= 1
    assert abs((bend.last - 3 + 30) % 60 - 30) <= 1
    assert_allclose(bend.height, side * 0.02, atol=0.004)
    assert bend.side == ("toward the indicator" if side > 0 else "away from the indicator")
    assert spike.tooth == 31
    assert_allclose(spike.height, 0.03, atol=0.008)
    assert f"teeth {bend.first} to {bend.last} stand" in str(shape)


def test_a_clean_blade_seldom_shows_a_bend_or_a_spike():
    rng = np.random.default_rng(8)
    at = angles(40)
    found = 0
    for _ in range(200):
        shape = bg.residual_shape(fit_of(np.cos(at) + rng.normal(0, 1, 40)))
        found += bool(shape.bends or shape.spikes)
    assert found <= 10 + 4 * np.sqrt(10)  # At most 5 %, four binomial standard deviations.


@pytest.mark.parametrize(
    ("read", "harmonics", "warned"), [(27, 1, True), (40, 1, False), (27, 3, False)]
)
def test_a_bend_that_leaks_through_an_arc_not_read_is_in_the_limits(read, harmonics, warned):
    at = angles(40)[:read]
    bent = 0.05 * np.cos(at) + 0.02 * np.cos(2 * at - 1)
    bent += np.random.default_rng(9).normal(0, 0.003, read)
    fit = fit_of(bent, tooth=np.arange(1, read + 1), teeth=40, harmonics=harmonics)
    assert any("no tooth from 28 to 40 is read" in one for one in fit.warnings) == warned
    off = np.hypot(fit.cosine - 0.05, fit.sine)
    assert off < 2.5 * fit.amplitude_u
    assert (off > 0.02) == warned


def test_rounding_that_does_not_average_out_widens_the_limits_of_squareness():
    at = angles(40)
    read = np.round((0.05 * np.cos(at - 1)) / 0.01) * 0.01
    fits = [
        bg.fit_wobble(
            bg.Readings(
                bg.Blade(40), read, unit="mm", ring_radius="100 mm", graduation=(step, "mm")
            )
        )
        for step in (0.001, 0.01)
    ]
    widths = []
    for fit in fits:
        one = bg.squareness(fit, away_deg=0)
        reach = bg.squareness_error_u(fit, 0) * 2.0262  # Student's t for 37 degrees of freedom.
        widths.append(one.error_high_deg - one.error_low_deg - 2 * reach)
    assert_allclose(widths, [0, 0], atol=1e-6)
    fine, coarse = (bg.squareness_error_u(fit, 0) for fit in fits)
    # No more than half a graduation either way, anything between being as likely (GUM 4.3.7).
    assert 1.05 * fine < coarse < np.hypot(fine, np.degrees(0.005 / 100 / np.sqrt(3)))
