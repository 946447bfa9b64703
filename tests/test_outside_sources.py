"""Kernel and fit against published numbers, independent libraries and facts of the trade."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
import statsmodels.api as sm
from astropy.timeseries import LombScargle
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from published import REFERENCE, reference_columns
from rigid_body import RigidBlade, readings_mm, tooth_angles_deg
from simulated import rng_for, turn_deg, wave

import bladegeom as bg
from bladegeom.kernel.harmonics import harmonic_columns, least_squares

Floats = NDArray[np.float64]


def gappy_blade() -> tuple[Floats, Floats]:
    """Angles in turns and readings in mm of an unevenly pitched blade with teeth left out."""
    angles = tooth_angles_deg(50, "1 1 1 1 1.6")
    angles = np.delete(angles, [3, 4, 17, *range(24, 29), 33, 34, 44])
    noise = np.random.Generator(np.random.PCG64(11)).normal(0.0, 0.003, len(angles))
    return angles / 360.0, readings_mm(RigidBlade(0.03, 77.0), angles, 115.0) + 0.5 + noise


def test_nist_enso() -> None:
    # NIST StRD, nonlinear regression, ENSO: the certified values stand in the file. With the two
    # fitted periods b4 and b7 held at them the model is linear in the other seven.
    text = (REFERENCE / "enso.dat").read_text(encoding="ascii")
    certified = {
        line.split()[0]: float(line.split()[4])
        for line in text.splitlines()
        if line.startswith("  b")
    }
    rss = float(text.split("Residual Sum of Squares:")[1].split()[0])
    data = text.split("Data:   y          x")[1].split()
    y, x = np.array(data, dtype=np.float64).reshape(-1, 2).T
    assert len(y) == 168
    assert len(certified) == 9

    orders = 1.0 / np.array([12.0, certified["b4"], certified["b7"]])
    fit = least_squares(harmonic_columns(2.0 * np.pi * x, orders), y)

    names = ("b1", "b2", "b3", "b5", "b6", "b8", "b9")
    # Half a unit in the last digit of the certified periods moves the coefficients by up to 3e-9.
    assert_allclose(fit.coefficients, [certified[name] for name in names], rtol=3e-9)
    assert_allclose(fit.rss, rss, rtol=1e-10)


def test_nist_norris() -> None:
    # NIST StRD, linear regression, Norris: certified values.
    y, x = reference_columns("norris.csv")
    fit = least_squares(np.column_stack([np.ones_like(x), x]), y)
    residual_sd = np.sqrt(fit.rss / fit.dof)
    assert fit.dof == 34
    assert_allclose(fit.coefficients, [-0.262323073774029, 1.00211681802045], rtol=1e-12)
    assert_allclose(residual_sd, 0.884796396144373, rtol=1e-12)
    assert_allclose(
        residual_sd * np.sqrt(np.diag(fit.unit_covariance)),
        [0.232818234301152, 0.429796848199937e-03],
        rtol=1e-12,
    )


def test_gum_thermometer() -> None:
    # JCGM 100:2008 (GUM), H.3: the printed results, to the printed digits (from memory).
    t_c, b_c = reference_columns("gum_h3.csv")
    fit = least_squares(np.column_stack([np.ones_like(t_c), t_c - 20.0]), b_c)
    residual_sd = float(np.sqrt(fit.rss / fit.dof))
    covariance = residual_sd**2 * fit.unit_covariance
    u = np.sqrt(np.diag(covariance))
    assert fit.dof == 9
    assert f"{fit.coefficients[0]:.4f}" == "-0.1712"
    assert f"{u[0]:.4f}" == "0.0029"
    assert f"{fit.coefficients[1]:.5f}" == "0.00218"
    assert f"{u[1]:.5f}" == "0.00067"
    assert f"{covariance[0, 1] / (u[0] * u[1]):.3f}" == "-0.930"
    assert f"{residual_sd:.4f}" == "0.0035"
    # H.3.4 (from memory): at 30 degrees the correction is -0.1494, its standard uncertainty 0.0041.
    at_30_c = np.array([1.0, 10.0])
    assert f"{fit.coefficients @ at_30_c:.4f}" == "-0.1494"
    assert f"{np.sqrt(at_30_c @ covariance @ at_30_c):.4f}" == "0.0041"


@pytest.mark.parametrize("orders", [(1,), (1, 2, 3)])
def test_statsmodels_ordinary_least_squares(orders: tuple[int, ...]) -> None:
    # statsmodels.api.OLS on columns written out here.
    turns, readings = gappy_blade()
    columns = [np.ones_like(turns)]
    for order in orders:
        columns += [np.cos(2.0 * np.pi * order * turns), np.sin(2.0 * np.pi * order * turns)]
    theirs = sm.OLS(readings, np.column_stack(columns)).fit()

    fit = least_squares(harmonic_columns(2.0 * np.pi * turns, orders), readings)
    variance = fit.rss / fit.dof
    assert fit.dof == theirs.df_resid
    assert_allclose(fit.coefficients, theirs.params, rtol=1e-9, atol=1e-15)
    assert_allclose(fit.residuals, theirs.resid, rtol=1e-9, atol=1e-14)
    assert_allclose(fit.rss, theirs.ssr, rtol=1e-10)
    assert_allclose(variance * fit.unit_covariance, theirs.cov_params(), rtol=1e-9, atol=1e-18)
    assert_allclose(np.sqrt(variance * np.diag(fit.unit_covariance)), theirs.bse, rtol=1e-10)


def test_astropy_lomb_scargle() -> None:
    # astropy.timeseries.LombScargle, the floating-mean periodogram (Zechmeister and Kuerster 2009),
    # at one wave per turn. Its standard power is the part of the scatter that the wave explains.
    turns, readings = gappy_blade()
    theirs = LombScargle(turns, readings, fit_mean=True, nterms=1)
    offset, sine, cosine = theirs.model_parameters(1.0)

    fit = least_squares(harmonic_columns(2.0 * np.pi * turns), readings)
    tss = np.sum((readings - readings.mean()) ** 2)
    assert_allclose(fit.coefficients, [theirs.offset() + offset, cosine, sine], rtol=1e-10)
    power = theirs.power(1.0, normalization="standard", method="slow")
    assert 0.5 < power < 0.9999
    assert_allclose(1.0 - fit.rss / tss, power, rtol=1e-10)


def test_rows_of_many_blades_are_fitted_each_for_itself() -> None:
    # statsmodels.api.OLS, one blade at a time.
    turns, readings = gappy_blade()
    blades = np.stack([readings, 2.0 * readings[::-1], readings - readings.mean()])
    columns = harmonic_columns(2.0 * np.pi * turns)
    fit = least_squares(columns, blades)
    theirs = [sm.OLS(blade, columns).fit() for blade in blades]
    assert_allclose(fit.coefficients, [one.params for one in theirs], rtol=1e-9, atol=1e-15)
    assert_allclose(fit.rss, [one.ssr for one in theirs], rtol=1e-10)


def gappy_fit() -> bg.WobbleFit:
    """Fit of the readings of `gappy_blade`; the dial's steps are finer than the scatter."""
    turns, readings = gappy_blade()
    blade = bg.Blade(50, pitch_pattern=[1, 1, 1, 1, 1.6], diameter="254 mm")
    tooth = [1 + int(np.argmin(np.abs(blade.angles_deg - 360.0 * turn))) for turn in turns]
    return bg.fit_wobble(
        bg.Readings(
            blade, readings, tooth=tooth, unit="mm", ring_radius="115 mm", graduation="0.001 mm"
        )
    )


def test_fit_is_that_of_statsmodels() -> None:
    # statsmodels.api.OLS on columns written out here, and its joint F test of no wobble.
    turns, readings = gappy_blade()
    columns = np.column_stack(
        [np.ones_like(turns), np.cos(2.0 * np.pi * turns), np.sin(2.0 * np.pi * turns)]
    )
    theirs = sm.OLS(readings, columns).fit()
    fit = gappy_fit()
    assert fit.dof == theirs.df_resid == len(turns) - 3
    assert_allclose([fit.offset, fit.cosine, fit.sine], theirs.params, rtol=1e-9)
    assert_allclose(fit.covariance, theirs.cov_params()[1:, 1:], rtol=1e-9)
    assert abs(fit.covariance[0, 1]) > 1e-8  # Gaps: the parts are not independent.
    assert_allclose(fit.residual_sd, np.sqrt(theirs.mse_resid), rtol=1e-10)
    assert_allclose(fit.residuals, theirs.resid, atol=1e-13)
    assert_allclose(fit.fitted, theirs.fittedvalues, rtol=1e-12)


@pytest.mark.parametrize("amplitude", [0.0, 0.0005, 0.001, 0.002])
def test_chance_without_wobble_is_that_of_statsmodels(amplitude: float) -> None:
    # statsmodels: F test of both wobble columns at once.
    readings = wave(40, amplitude, 75.0, rng_for(9).normal(0.0, 0.003, 40))
    kept = np.delete(np.arange(40), [2, 3, 9, 17, 18, 19, 30, 36])
    gappy = bg.Readings(
        readings.blade, readings.reading[kept], tooth=readings.tooth[kept], unit="mm"
    )
    angle = np.radians(9.0 * kept)
    columns = np.column_stack([np.ones_like(angle), np.cos(angle), np.sin(angle)])
    theirs = sm.OLS(gappy.reading, columns).fit().f_test(np.eye(3)[1:])
    fit = bg.fit_wobble(gappy)
    assert_allclose(fit.p_value, float(theirs.pvalue), rtol=1e-8)
    assert fit.resolved == (float(theirs.pvalue) < 0.05)


def test_fit_is_that_of_astropy() -> None:
    # astropy.timeseries.LombScargle, floating mean, at one wave per turn.
    turns, readings = gappy_blade()
    theirs = LombScargle(turns, readings, fit_mean=True, nterms=1)
    offset, sine, cosine = theirs.model_parameters(1.0)
    fit = gappy_fit()
    assert_allclose(fit.amplitude, np.hypot(cosine, sine), rtol=1e-10)
    assert_allclose(fit.near_deg, np.degrees(np.arctan2(sine, cosine)) % 360.0, rtol=1e-10)
    assert_allclose(fit.offset, theirs.offset() + offset, rtol=1e-10)
    spots = np.linspace(0.0, 1.0, 37)
    assert_allclose(fit.height_at(360.0 * spots), theirs.model(spots, 1.0), rtol=1e-10)


def test_standard_uncertainties_are_those_that_gtc_propagates() -> None:
    # GTC, the law of propagation with correlation (JCGM 100:2008, GUM, 5.2) by differentiation.
    fit = gappy_fit()
    sd = np.sqrt(np.diag(fit.covariance))
    cosine = GTC.ureal(fit.cosine, sd[0], independent=False)
    sine = GTC.ureal(fit.sine, sd[1], independent=False)
    GTC.set_correlation(fit.covariance[0, 1] / (sd[0] * sd[1]), cosine, sine)
    amplitude = GTC.sqrt(cosine**2 + sine**2)
    tilt = GTC.atan(amplitude / 115.0)
    near = GTC.atan2(sine, cosine)
    assert_allclose(fit.amplitude, GTC.value(amplitude), rtol=1e-12)
    assert_allclose(fit.amplitude_u, GTC.uncertainty(amplitude), rtol=1e-8)
    assert_allclose(fit.tilt_deg, math.degrees(GTC.value(tilt)), rtol=1e-8)
    assert_allclose(fit.tilt_u_deg, math.degrees(GTC.uncertainty(tilt)), rtol=1e-8)
    assert_allclose(turn_deg(fit.near_deg, math.degrees(GTC.value(near))), 0.0, atol=1e-9)
    assert_allclose(fit.near_u_deg, math.degrees(GTC.uncertainty(near)), rtol=1e-8)
    for away_deg in (0.0, 30.0, 90.0, 200.0):
        top = math.radians(fit.near_deg + 90.0 - away_deg)
        error = GTC.atan((cosine * math.cos(top) + sine * math.sin(top)) / 115.0)
        lean, lean_u = (math.degrees(one(error)) for one in (GTC.value, GTC.uncertainty))
        assert_allclose(bg.squareness_error(fit, away_deg), lean, atol=1e-14)
        assert_allclose(bg.squareness_error_u(fit, away_deg), lean_u, rtol=1e-8)


@pytest.mark.parametrize("near_deg", [0.0, 77.0, 199.8, 350.0])
def test_near_and_far_lie_opposite_and_the_neutral_line_square_to_them(near_deg: float) -> None:
    # Common practice, no source.
    marks = bg.neutral_line(bg.fit_wobble(wave(40, 0.05, near_deg)))
    assert marks.near is not None
    assert marks.far is not None
    assert marks.neutral is not None
    first, second = (end.direction_deg for end in marks.neutral)
    assert_allclose(turn_deg(marks.near.direction_deg, near_deg), 0.0, atol=1e-9)
    assert_allclose(abs(turn_deg(marks.near.direction_deg, marks.far.direction_deg)), 180.0)
    assert_allclose(abs(turn_deg(first, second)), 180.0)
    assert_allclose(abs(turn_deg(near_deg, [first, second])), 90.0)


@pytest.mark.parametrize("tilt_deg", [0.1, 0.2])
def test_a_usable_blade_wobbles_about_one_or_two_tenths_of_a_degree(tilt_deg: float) -> None:
    # Common practice, no source: such a blade is answered without a word about its tilt.
    noise = rng_for(4).normal(0.0, 0.01, 40)
    fit = bg.fit_wobble(wave(40, 100.0 * math.tan(math.radians(tilt_deg)), 50.0, noise))
    assert fit.tilt_deg is not None
    assert fit.tilt_u_deg is not None
    assert abs(fit.tilt_deg - tilt_deg) < 4 * fit.tilt_u_deg < 0.02
    assert fit.resolved
    assert fit.warnings == ()


def test_a_teaching_model_tilted_by_ten_degrees_is_answered_exactly() -> None:
    # Common practice, no source: a disc cocked by 10 degrees shows what a blade does by a tenth.
    # tan 10 deg = 0.17632698...; a quarter of the way round the error is the whole tilt, at
    # 30 degrees away it is atan(tan(10 deg) / 2) = 5.0384 deg, more than half of it.
    truth = RigidBlade(10.0, 50.0, "clockwise")
    read = readings_mm(truth, tooth_angles_deg(12), 100.0)
    fit = bg.fit_wobble(bg.Readings(bg.Blade(12), read, unit="mm", ring_radius="100 mm"))
    assert_allclose([fit.amplitude, fit.near_deg], [17.632698070846498, 50.0], rtol=1e-12)
    assert_allclose(fit.tilt_deg, 10.0, rtol=1e-12)
    assert_allclose(bg.squareness_error(fit, [0.0, 90.0]), [0.0, 10.0], atol=1e-12)
    half = float(bg.squareness_error(fit, 30.0))
    assert f"{half:.4f}" == "5.0384"
    assert any("is it" in one for one in fit.asked)
