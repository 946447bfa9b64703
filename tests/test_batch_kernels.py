"""The kernels for many blades, each held against its sibling for one or against SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import special
from simulated import rng_for

from bladegeom.kernel.batch import fit_rows, many_direction_limits
from bladegeom.kernel.batch_limits import many_amplitude_limits, student_cdf
from bladegeom.kernel.doubt import amplitude_limits, direction_limits
from bladegeom.kernel.harmonics import harmonic_columns, least_squares

DOFS = [1, 2, 3, 5, 17, 37, 77, 200, 997]


@pytest.mark.parametrize("dof", [*DOFS, 4, 400, 401])
def test_students_law_is_that_of_scipy(dof):
    t = np.concatenate([rng_for(dof).normal(0, 4, 500), [-40.0, 0.0, 40.0]])
    np.testing.assert_allclose(student_cdf(t, dof), special.stdtr(float(dof), t), atol=3e-14)


@pytest.mark.parametrize("tabled", [True, False])
@pytest.mark.parametrize("dof", DOFS)
def test_limits_of_many_amplitudes_are_those_of_each(dof, tabled):
    rng = rng_for(dof)
    x = np.concatenate([rng.uniform(0.01, 10, 40), 10.0 ** rng.uniform(0, 7, 30)])
    sd = 10.0 ** rng.uniform(-3, 3, len(x))
    low, high = many_amplitude_limits(x * sd, sd, dof, tabled=tabled)
    each = np.array([amplitude_limits(*pair, dof, 0.95) for pair in zip(x * sd, sd, strict=True)])
    for found, expected in ((low, each[:, 0]), (high, each[:, 1])):
        assert (np.abs(found - expected) <= 1e-9 * np.maximum(x * sd, expected)).all()
    assert (low[each[:, 0] == 0] == 0).all()


@settings(max_examples=200, deadline=None)
@given(
    near=st.floats(-180, 180),
    size=st.floats(0.01, 100),
    spread=st.floats(0.2, 5),
    across=st.floats(-0.9, 0.9),
    dof=st.sampled_from(DOFS),
)
def test_limits_of_many_directions_are_those_of_each(near, size, spread, across, dof):
    a, b = size * np.cos(np.radians(near)), size * np.sin(np.radians(near))
    covariance = np.array([[1.0, across * spread], [across * spread, spread**2]])
    toward = np.degrees(np.arctan2(b, a))
    parts = tuple(np.array([one]) for one in (1.0, across * spread, spread**2))
    found = many_direction_limits(np.array([a]), np.array([b]), parts, dof, np.array([toward]))
    expected = direction_limits(a, b, covariance, dof, 0.95)
    width = expected[1] - expected[0]
    # Where next to nothing is known a hair decides whether any direction is excluded.
    assume(width < 179 or width == 360)
    assert np.concatenate(found) == pytest.approx(expected, abs=1e-7)


@settings(max_examples=50, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), gaps=st.booleans(), spots=st.integers(6, 60))
def test_rows_are_fitted_as_by_qr(seed, gaps, spots):
    rng = rng_for(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, spots))
    reading = rng.normal(rng.choice([0.0, 10.0]), 1.0, (5, spots))
    if gaps:
        reading[rng.random(reading.shape) < 0.2] = np.nan
        reading[:, :5] = rng.normal(size=(5, 5))
    sums = fit_rows(reading, angle)
    for row in range(5):
        there = ~np.isnan(reading[row])
        fit = least_squares(harmonic_columns(angle[there]), reading[row, there])
        reach = 1e-11 * sums.ratio[row] ** 2
        found = [sums.offset[row], sums.cosine[row], sums.sine[row]]
        assert found == pytest.approx(fit.coefficients, rel=reach, abs=10 * reach)
        assert sums.rss[row] == pytest.approx(float(fit.rss), rel=1e-10 * sums.ratio[row] ** 2)
        inverse = np.linalg.inv(fit.unit_covariance[1:, 1:])
        held = [sums.cc[row], sums.cs[row], sums.ss[row]]
        expected = [inverse[0, 0], inverse[0, 1], inverse[1, 1]]
        assert held == pytest.approx(expected, rel=1e-9, abs=1e-9)
        assert sums.readings[row] == there.sum()
        assert sums.total[row] == pytest.approx(np.ptp(reading[row, there]))
        assert sums.largest[row] == pytest.approx(np.abs(reading[row, there]).max())
