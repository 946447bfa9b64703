"""Limits of amplitude and direction against laws worked out another way."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy import integrate, optimize, special, stats
from simulated import direction_limits, direction_probability, rng_for, turn_deg

from bladegeom.kernel.doubt import (
    amplitude_cdf,
    amplitude_limits,
    sd_toward,
    student_cdf,
    student_t,
    zero_amplitude_p,
)

Floats = NDArray[np.float64]

CIRCLE: Floats = np.diag([0.04, 0.04])
ELLIPSE: Floats = np.array([[0.09, 0.045], [0.045, 0.04]])
covariances = pytest.mark.parametrize("covariance", [CIRCLE, ELLIPSE], ids=["circle", "ellipse"])
dofs = pytest.mark.parametrize("dof", [1, 2, 5, 37])


def averaged_rice_cdf(estimate: float, amplitude: float, dof: float) -> float:
    """Rice's law, averaged over the chi-square law of the estimated variance by quadrature.

    Rice's law is that of the root of a noncentral chi-square with 2 degrees of freedom.
    """

    def given_variance(probability: float) -> float:
        precision = 2 * special.gammaincinv(dof / 2, probability) / dof
        return float(special.chndtr(estimate**2 * precision, 2, amplitude**2 * precision))

    edges = [0, 1e-8, 1e-6, 1e-4, 1e-3, 0.01, 0.05, 0.2, 0.5, 0.8, 0.95, 0.99, 0.999, 1 - 1e-5, 1]
    parts = (
        integrate.quad(given_variance, low, high, epsabs=1e-12, epsrel=1e-11)[0]
        for low, high in pairwise(edges)
    )
    return math.fsum(parts)


@dofs
@pytest.mark.parametrize("estimate", [0.05, 0.7, 2.0, 5.0, 30.0])
def test_amplitude_law_is_rices_averaged_over_the_variance(estimate: float, dof: int) -> None:
    # scipy.special.chndtr and gammaincinv (the chi-square law), scipy.integrate.quad.
    amplitudes = [0.3, 1.0, estimate, estimate + 2.0, 40.0]
    expected = [averaged_rice_cdf(estimate, one, dof) for one in amplitudes]
    assert_allclose(amplitude_cdf(estimate, amplitudes, dof), expected, atol=1e-11)


@pytest.mark.parametrize("dof", [1e9, math.inf])
@pytest.mark.parametrize("estimate", [0.5, 2.0, 5.0, 30.0])
def test_amplitude_law_is_rices_where_the_variance_is_known(estimate: float, dof: float) -> None:
    # scipy.special.chndtr and scipy.stats.ncx2, noncentral chi-square with 2 degrees of freedom.
    for amplitude in (0.1, 1.0, estimate, estimate + 3.0):
        found = amplitude_cdf(estimate, amplitude, dof)
        assert_allclose(found, special.chndtr(estimate**2, 2, amplitude**2), atol=1e-6)
        assert_allclose(found, stats.ncx2.cdf(estimate**2, 2, amplitude**2), atol=1e-6)


@pytest.mark.parametrize("dof", [1, 2, 5, 37, 1000])
def test_amplitude_law_without_wobble_has_a_closed_form(dof: int) -> None:
    # Half the square of the estimate follows F(2, dof), whose closed form is written out here.
    for estimate in (0.01, 0.5, 2.0, 10.0, 1000.0):
        expected = 1 - (1 + estimate**2 / dof) ** (-dof / 2)
        assert_allclose(amplitude_cdf(estimate, 0.0, dof), expected, atol=1e-14)


@dofs
def test_larger_wobbles_make_small_estimates_rarer(dof: int) -> None:
    law = amplitude_cdf(2.0, np.linspace(0.0, 6.0, 60).reshape(6, 10), dof)
    assert law.shape == (6, 10)
    assert np.all(np.diff(law.ravel()) < 0)
    assert np.all((law > 0) & (law < 1))


@pytest.mark.parametrize("confidence_level", [0.2, 0.8, 0.95, 0.999])
@dofs
@pytest.mark.parametrize("estimate", [0.3, 3.0, 9.0, 200.0])
def test_amplitude_limits_are_the_roots_of_the_law(
    estimate: float, dof: int, confidence_level: float
) -> None:
    # scipy.optimize.brentq on the law that is checked above.
    rest = (1 - confidence_level) / 2
    sd = 0.007
    low, high = amplitude_limits(estimate * sd, sd, dof, confidence_level)

    def root(x: float, probability: float) -> float:
        def beyond(amplitude: float) -> float:
            return float(amplitude_cdf(x, amplitude, dof)) - probability

        if beyond(0.0) <= 0:
            return 0.0
        end = x + 1.0
        while beyond(end) > 0:
            end *= 2
        return float(optimize.brentq(beyond, 0.0, end, xtol=1e-12, rtol=1e-14))

    assert_allclose(low / sd, root(estimate, 1 - rest), rtol=1e-9, atol=1e-9)
    # A quiet turn promises no less than one at which F is 1.
    assert_allclose(high / sd, root(max(estimate, math.sqrt(2)), rest), rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize(("estimate", "dof"), [(3.5, 1), (3.5, 5), (8.0, 37)])
def test_amplitude_limits_are_the_roots_of_the_independent_law(estimate: float, dof: int) -> None:
    # scipy.optimize.brentq on scipy.special.chndtr averaged by scipy.integrate.quad.
    low, high = amplitude_limits(estimate, 1.0, dof, 0.95)
    upper = optimize.brentq(
        lambda amplitude: averaged_rice_cdf(estimate, amplitude, dof) - 0.025, 0.0, 200.0
    )
    assert_allclose(high, upper, rtol=1e-8)
    if averaged_rice_cdf(estimate, 0.0, dof) > 0.975:
        lower = optimize.brentq(
            lambda amplitude: averaged_rice_cdf(estimate, amplitude, dof) - 0.975, 0.0, estimate
        )
        assert_allclose(low, lower, rtol=1e-8)
    else:
        assert low == 0.0


@dofs
@pytest.mark.parametrize("confidence_level", [0.5, 0.95, 0.99])
def test_limits_of_a_large_amplitude_are_students(dof: int, confidence_level: float) -> None:
    # scipy.stats.t, for a number as for one component.
    reach = stats.t.ppf(0.5 + confidence_level / 2, dof)
    low, high = amplitude_limits(2e7, 1.0, dof, confidence_level)
    assert_allclose([2e7 - low, high - 2e7], [reach, reach], rtol=3e-5)


@dofs
@pytest.mark.parametrize("confidence_level", [0.5, 0.95])
def test_the_lower_limit_leaves_zero_where_the_f_test_says(
    dof: int, confidence_level: float
) -> None:
    # scipy.stats.f: an estimate so large that chance gives it with half of what remains.
    edge = math.sqrt(2 * stats.f.isf((1 - confidence_level) / 2, 2, dof))
    below, _ = amplitude_limits(edge * (1 - 1e-6), 1.0, dof, confidence_level)
    above, _ = amplitude_limits(edge * (1 + 1e-6), 1.0, dof, confidence_level)
    assert below == 0.0
    assert 0.0 < above < 0.1 * edge


@pytest.mark.parametrize("dof", [1, 2, 3, 37])
def test_a_lucky_quiet_turn_promises_nothing(dof: int) -> None:
    quiet, usual = (amplitude_limits(one, 1.0, dof, 0.95)[1] for one in (0.001, math.sqrt(2)))
    assert quiet == usual
    assert usual > 3.0


@dofs
def test_limits_widen_with_confidence_and_never_cross(dof: int) -> None:
    levels = [0.001, 0.1, 0.3, 0.5, 0.9, 0.99, 0.9999]
    for estimate in (0.0, 0.5, 1.5, 4.0, 1e8):
        lows, highs = np.transpose([amplitude_limits(estimate, 1.0, dof, one) for one in levels])
        assert np.all(lows <= highs)
        assert np.all(np.diff(lows) <= 1e-12)
        assert np.all(np.diff(highs) >= -1e-12)


@pytest.mark.parametrize("confidence_level", [0.0, 1.0, 95.0, -0.5, math.nan])
def test_a_confidence_level_lies_between_0_and_1(confidence_level: float) -> None:
    for limits in (
        lambda: student_t(confidence_level, 5),
        lambda: amplitude_limits(3.0, 1.0, 5, confidence_level),
        lambda: direction_limits(3.0, 1.0, CIRCLE, 5, confidence_level),
    ):
        with pytest.raises(ValueError, match="confidence_level"):
            limits()


@pytest.mark.parametrize("dof", [1, 2, 5, 37, 1e4, math.inf])
def test_coverage_factor_is_students(dof: float) -> None:
    # scipy.stats.t and, where the variance is known, scipy.stats.norm.
    law = stats.norm if math.isinf(dof) else stats.t(dof)
    assert_allclose(student_t(0.95, dof), law.ppf(0.975), rtol=1e-6)
    assert_allclose(student_t(0.5, dof), law.ppf(0.75), rtol=1e-6)


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 5, 17, 37, 200, 400, 401, 997, 2.5, 1e9, math.inf])
def test_students_law_is_that_of_scipy(dof: float) -> None:
    # scipy.special.stdtr.
    t = np.concatenate([rng_for(7).normal(0, 4, 500), [-40.0, 0.0, 40.0]])
    expected = special.stdtr(min(dof, 1e7), t)
    assert_allclose(student_cdf(t, dof), expected, atol=3e-14)
    assert_allclose([student_cdf(float(one), dof) for one in t[:9]], expected[:9], atol=3e-14)


@pytest.mark.parametrize("dof", [1, 2, 3, 5, 17, 37, 77, 200, 997])
def test_limits_of_many_amplitudes_are_those_of_each_solved_by_itself(dof: int) -> None:
    # Those of whole degrees of freedom come from a table; a hair more than whole is solved.
    rng = rng_for(dof)
    x = np.concatenate([rng.uniform(0.01, 10, 60), 10.0 ** rng.uniform(0, 7, 36)]).reshape(8, 12)
    sd = 10.0 ** rng.uniform(-3, 3, x.shape)
    low, high = amplitude_limits(x * sd, sd, dof)
    assert low.shape == high.shape == x.shape
    solved = np.transpose(
        [
            amplitude_limits(*pair, dof * (1 + 1e-13))
            for pair in zip(x.ravel() * sd.ravel(), sd.ravel(), strict=True)
        ]
    )
    for found, expected in zip((low, high), solved, strict=True):
        off = np.abs(found.ravel() - expected) / sd.ravel()
        assert np.all(off <= 1e-9 * np.maximum(x.ravel(), 1))
    assert np.all(low.ravel()[solved[0] == 0] == 0)


def test_an_unknown_scatter_leaves_the_upper_limit_unknown() -> None:
    low, high = amplitude_limits(np.array([0.0, 3.0]), np.array([math.nan, 1.0]), 37)
    assert low[0] == 0.0
    assert math.isnan(high[0])
    assert high[1] > 3.0


@pytest.mark.parametrize("dof", [1, 2, 5, 37, 10_000])
def test_zero_amplitude_test_is_an_f_test(dof: int) -> None:
    # scipy.stats.f.
    for f in (0.0, 0.1, 1.0, 3.2, 40.0, 1e4, 1e12):
        assert_allclose(zero_amplitude_p(f, dof), stats.f.sf(f, 2, dof), rtol=1e-10)
    assert zero_amplitude_p(math.inf, dof) == 0.0


def test_zero_amplitude_test_with_known_variance_is_a_chi_square_test() -> None:
    # scipy.stats.chi2.
    assert_allclose(zero_amplitude_p(3.0, math.inf), stats.chi2.sf(6.0, 2), rtol=1e-5)


@covariances
def test_sd_toward_a_direction_is_that_of_the_component(covariance: Floats) -> None:
    draws = rng_for(5).multivariate_normal([0.0, 0.0], covariance, 200_000)
    for direction_deg in (0.0, 35.0, 90.0, 200.0):
        angle = math.radians(direction_deg)
        component = draws @ [math.cos(angle), math.sin(angle)]
        assert_allclose(sd_toward(direction_deg, covariance), component.std(), rtol=0.01)
    assert sd_toward([[0.0, 90.0, 5.0]], covariance).shape == (1, 3)


def fieller_scan(
    a: float, b: float, covariance: Floats, factor: float
) -> tuple[float, float] | None:
    """Walk away from the fitted direction, both ways, to the first that is excluded."""
    near = math.degrees(math.atan2(b, a))

    def excluded(direction_deg: float) -> float:
        angle = math.radians(direction_deg)
        across = np.array([-math.sin(angle), math.cos(angle)])
        return float((across @ [a, b]) ** 2 - factor**2 * across @ covariance @ across)

    ends = []
    for sign in (-1, 1):
        steps = near + sign * np.arange(0.0, 180.5, 0.5)
        first = next((i for i, step in enumerate(steps) if excluded(step) > 0), None)
        if first is None:
            return None
        ends.append(optimize.brentq(excluded, *sorted((steps[first - 1], steps[first]))))
    return ends[0], ends[1]


@covariances
@dofs
@pytest.mark.parametrize("near_deg", [-180.0, -100.0, 0.0, 37.0, 90.0, 179.9])
@pytest.mark.parametrize("amplitude", [0.2, 0.6, 1.5, 20.0])
def test_direction_limits_are_those_of_a_brute_force_scan(
    covariance: Floats, dof: int, near_deg: float, amplitude: float
) -> None:
    # scipy.stats.t and scipy.optimize.brentq, direction by direction.
    angle = math.radians(near_deg)
    a, b = amplitude * math.cos(angle), amplitude * math.sin(angle)
    low, high = direction_limits(a, b, covariance, dof, 0.95)
    expected = fieller_scan(a, b, covariance, float(stats.t.ppf(0.975, dof)))
    if expected is None:
        assert_allclose(high - low, 360.0)
        assert_allclose(turn_deg((low + high) / 2, near_deg), 0.0, atol=1e-9)
    else:
        assert_allclose(turn_deg(expected, [low, high]), 0.0, atol=1e-7)
        assert 0.0 < high - low < 180.0
        assert float(turn_deg(low, near_deg)) > 0.0
        assert float(turn_deg(near_deg, high)) > 0.0


@dofs
@pytest.mark.parametrize("amplitude", [0.45, 1.0, 3.0, 100.0])
def test_direction_limits_of_a_circle_are_an_arcsine(dof: int, amplitude: float) -> None:
    # Fieller's theorem for equal variances: sin of the half-width is t sd / amplitude.
    ratio = float(stats.t.ppf(0.975, dof)) * 0.2 / amplitude
    low, high = direction_limits(0.0, amplitude, CIRCLE, dof, 0.95)
    if ratio < 1:
        half_width = math.degrees(math.asin(ratio))
        assert_allclose([low, high], [90.0 - half_width, 90.0 + half_width], rtol=1e-9)
    else:
        assert (low, high) == (-90.0, 270.0)


def test_an_unknown_covariance_excludes_no_direction() -> None:
    unknown = np.full((2, 2), math.nan)
    assert direction_limits(1.0, 0.0, unknown, 5, 0.95) == (-180.0, 180.0)
    assert direction_limits(0.0, 0.0, CIRCLE, 5, 0.95) == (-180.0, 180.0)


@dofs
def test_directions_of_many_are_those_of_each(dof: int) -> None:
    rng = rng_for(dof)
    a, b = rng.normal(0, 2, (2, 50))
    spread, across = rng.uniform(0.2, 5, 50), rng.uniform(-0.9, 0.9, 50)
    covariance = np.array([[np.ones(50), across * spread], [across * spread, spread**2]])
    found = np.array([*direction_limits(a, b, covariance, dof)])
    chance = direction_probability(a, b, covariance, dof, found[0] + 1.0, found[0] + 5.0)
    for at in range(50):
        own = covariance[:, :, at]
        low, high = direction_limits(a[at], b[at], own, dof)
        assert_allclose(found[:, at], [low, high], rtol=1e-9)
        alone = direction_probability(a[at], b[at], own, dof, low + 1.0, low + 5.0)
        assert_allclose(chance[at], alone, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("size", [1e-100, 1.0, 1e9])
def test_the_size_of_the_numbers_does_not_matter_to_a_direction(size: float) -> None:
    low, high = direction_limits(3.0 * size, size, size**2 * ELLIPSE, 37)
    assert_allclose([low, high], direction_limits(3.0, 1.0, ELLIPSE, 37), rtol=1e-12)
    assert high - low < 90.0


@covariances
@dofs
def test_direction_limits_hold_their_share_of_the_probability(covariance: Floats, dof: int) -> None:
    for level in (0.5, 0.95):
        low, high = direction_limits(-3.0, 4.0, covariance, dof, level)
        for turns in (0.0, 360.0, -720.0):
            found = direction_probability(-3.0, 4.0, covariance, dof, low + turns, high + turns)
            assert_allclose(found, level, rtol=1e-9)


@dofs
def test_teeth_share_the_probability_of_the_half_turn(dof: int) -> None:
    # scipy.stats.t: what is left over is that the component toward near is not above 0 at all.
    edges = np.sort(rng_for(3).uniform(-60.0, 120.0, 7)).tolist()
    edges = [-60.0, *edges, 120.0]  # Half a turn about the fitted direction, 30 degrees.
    a, b = 0.7 * math.cos(math.radians(30.0)), 0.7 * math.sin(math.radians(30.0))
    shares = [direction_probability(a, b, CIRCLE, dof, low, high) for low, high in pairwise(edges)]
    assert min(shares) > 0.0
    assert_allclose(math.fsum(shares), 1 - 2 * stats.t.sf(0.7 / 0.2, dof), rtol=1e-12)


@covariances
@pytest.mark.parametrize("window_deg", [(-2.0, 3.0), (0.0, 4.5), (1.0, 5.5), (-9.0, -0.5)])
def test_direction_probability_is_the_mass_of_a_far_off_cloud(
    covariance: Floats, window_deg: tuple[float, float]
) -> None:
    # Far from the origin the directions of a normal cloud about the estimate are the
    # confidence distribution. 200 000 draws, 4 sigma, and 0.001 for the cloud's being no line.
    a, b = 5.0 * math.cos(math.radians(70.0)), 5.0 * math.sin(math.radians(70.0))
    cloud = rng_for(8).multivariate_normal([a, b], covariance, 200_000)
    turn = turn_deg(70.0, np.degrees(np.arctan2(cloud[:, 1], cloud[:, 0])))
    mass = np.mean((turn > window_deg[0]) & (turn < window_deg[1]))
    low, high = (70.0 + edge for edge in window_deg)
    found = direction_probability(a, b, covariance, math.inf, low, high)
    sigma = math.sqrt(mass * (1 - mass) / len(turn))
    assert_allclose(found, mass, atol=4 * sigma + 0.001)
