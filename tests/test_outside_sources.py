"""The least-squares kernel against published numbers and independent libraries."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from astropy.timeseries import LombScargle
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from rigid_body import RigidBlade, readings_mm, tooth_angles_deg

from bladegeom.fitted.harmonics import harmonic_columns, least_squares

Floats = NDArray[np.float64]

REFERENCE = Path(__file__).parent / "reference"


def reference_columns(name: str) -> tuple[Floats, Floats]:
    """Both columns of a reference table."""
    table = pd.read_csv(REFERENCE / name, comment="#")
    first, second = (table[column].to_numpy(dtype=np.float64) for column in table)
    return first, second


def gappy_blade() -> tuple[Floats, Floats]:
    """Angles in turns and readings in mm of an unevenly pitched blade with teeth left out."""
    angles = tooth_angles_deg(50, "1 1 1 1 1.6")
    angles = np.delete(angles, [3, 4, 17, *range(24, 38), 44])
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
