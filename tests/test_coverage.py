"""Whether the doubt that is stated comes true: limits, false alarms and tooth probabilities.

Seeded simulations with normal noise. A share of n blades has the standard deviation
sqrt(p (1 - p) / n); every share here may stray by four of them.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from simulated import direction_limits, direction_probability, rng_for, turn_deg

import bladegeom as bg
from bladegeom.kernel.doubt import (
    amplitude_cdf,
    amplitude_limits,
    sd_toward,
    student_t,
    zero_amplitude_p,
)
from bladegeom.kernel.harmonics import LeastSquares, harmonic_columns, least_squares

Floats = NDArray[np.float64]

BLADES = 4000
EVEN = np.arange(24) * 15.0
ARC = np.arange(40) * 6.0
"""Two thirds of a 60-tooth blade: the covariance is an ellipse."""


def strayed(share: float, blades: int = BLADES) -> float:
    """Four standard deviations of a share that should be met in so many blades."""
    return 4 * math.sqrt(share * (1 - share) / blades)


def many(angle_deg: Floats, amplitude: float, near_deg: float, seed: int) -> LeastSquares:
    """Fits of many blades with the same wobble and noise of standard deviation 1."""
    angle = np.radians(angle_deg)
    noise = rng_for(seed).normal(0.0, 1.0, (BLADES, len(angle)))
    wobble = amplitude * np.cos(angle - math.radians(near_deg))
    return least_squares(harmonic_columns(angle), wobble + noise)


def each(fits: LeastSquares) -> list[tuple[float, float, Floats]]:
    """Cosine part, sine part and their covariance, blade by blade."""
    unit = fits.unit_covariance[1:, 1:]
    return [
        (float(a), float(b), rss / fits.dof * unit)
        for (_, a, b), rss in zip(fits.coefficients, fits.rss, strict=True)
    ]


def single_sd(angle_deg: Floats) -> float:
    """Standard deviation of one component in its worst direction, for noise of 1."""
    unit = least_squares(harmonic_columns(np.radians(angle_deg)), np.zeros(len(angle_deg)))
    return math.sqrt(np.linalg.eigvalsh(unit.unit_covariance[1:, 1:])[-1])


@pytest.mark.parametrize("angle_deg", [EVEN, EVEN[::4], ARC], ids=["even", "six", "arc"])
def test_five_percent_of_flat_blades_seem_to_wobble(angle_deg: Floats) -> None:
    fits = many(angle_deg, 0.0, 0.0, 101)
    alarms = 0
    for a, b, covariance in each(fits):
        f = np.array([a, b]) @ np.linalg.solve(covariance, [a, b]) / 2
        alarms += zero_amplitude_p(float(f), fits.dof) < 0.05
    assert_allclose(alarms / BLADES, 0.05, atol=strayed(0.05))


def test_the_whole_fit_raises_as_many_false_alarms() -> None:
    # The whole fit is slower than its kernel, so 1000 blades are asked.
    noise = rng_for(102).normal(0.0, 0.003, (1000, 12))
    blade = bg.Blade(12)
    alarms = sum(bg.fit_wobble(bg.Readings(blade, one, unit="mm")).resolved for one in noise)
    assert_allclose(alarms / 1000, 0.05, atol=strayed(0.05, 1000))


def amplitude_coverage(fits: LeastSquares, amplitude: float) -> tuple[float, float]:
    """Share of blades whose lower, and whose upper, limit of the amplitude holds.

    The lower limit lies above an amplitude exactly where the law of the estimate says so; that
    the limits are the roots of that law is checked in test_doubt.py and, here, on a few.
    """
    below = above = 0
    for place, (a, b, covariance) in enumerate(each(fits)):
        estimate = math.hypot(a, b)
        sd = float(sd_toward(math.degrees(math.atan2(b, a)), covariance))
        x, true = estimate / sd, amplitude / sd
        low_holds = float(amplitude_cdf(x, true, fits.dof)) <= 0.975
        high_holds = float(amplitude_cdf(max(x, math.sqrt(2)), true, fits.dof)) >= 0.025
        if place < 40:
            low, high = amplitude_limits(estimate, sd, fits.dof, 0.95)
            assert (low <= amplitude, high >= amplitude) == (low_holds, high_holds)
        below += low_holds
        above += high_holds
    return below / BLADES, above / BLADES


@pytest.mark.parametrize("angle_deg", [EVEN, ARC], ids=["even", "arc"])
@pytest.mark.parametrize("in_sds", [8.0, 25.0])
def test_limits_of_an_established_amplitude_hold_for_95_percent(
    angle_deg: Floats, in_sds: float
) -> None:
    amplitude = in_sds * single_sd(angle_deg)
    below, above = amplitude_coverage(many(angle_deg, amplitude, 120.0, 103), amplitude)
    assert_allclose([below, above], 0.975, atol=strayed(0.975))
    assert_allclose(below + above - 1, 0.95, atol=strayed(0.95))


@pytest.mark.parametrize("angle_deg", [EVEN, ARC], ids=["even", "arc"])
@pytest.mark.parametrize("in_sds", [0.5, 1.0, 2.0, 3.0])
def test_limits_of_a_doubtful_amplitude_hold_for_no_less(angle_deg: Floats, in_sds: float) -> None:
    amplitude = in_sds * single_sd(angle_deg)
    below, above = amplitude_coverage(many(angle_deg, amplitude, 120.0, 104), amplitude)
    assert below + above - 1 >= 0.95 - strayed(0.95)


def test_no_wobble_lies_within_the_limits_of_97_percent() -> None:
    # The upper limit cannot fail, the lower fails as often as the F test does at 2.5 %.
    below, above = amplitude_coverage(many(EVEN, 0.0, 0.0, 105), 0.0)
    assert above == 1.0
    assert_allclose(below, 0.975, atol=strayed(0.975))


@pytest.mark.parametrize("angle_deg", [EVEN, ARC], ids=["even", "arc"])
@pytest.mark.parametrize("in_sds", [5.0, 8.0, 25.0])
@pytest.mark.parametrize("near_deg", [10.0, 75.0])
def test_limits_of_the_direction_hold_for_95_percent(
    angle_deg: Floats, in_sds: float, near_deg: float
) -> None:
    fits = many(angle_deg, in_sds * single_sd(angle_deg), near_deg, 106)
    held = 0
    for a, b, covariance in each(fits):
        low, high = direction_limits(a, b, covariance, fits.dof, 0.95)
        held += float(turn_deg(low, near_deg)) % 360.0 <= high - low
    assert_allclose(held / BLADES, 0.95, atol=strayed(0.95))


def simulated_fits(blades: int, amplitude: float, near_deg: float, seed: int) -> list[bg.WobbleFit]:
    """Whole fits of a 24-tooth blade, noise of standard deviation 1, ring radius 1 m."""
    blade = bg.Blade(24)
    wobble = amplitude * np.cos(np.radians(blade.angles_deg - near_deg))
    noise = rng_for(seed).normal(0.0, 1.0, (blades, 24))
    return [
        bg.fit_wobble(bg.Readings(blade, wobble + one, unit="mm", ring_radius="1000 mm"))
        for one in noise
    ]


@pytest.mark.parametrize("amplitude", [1.0, 8.0])
def test_limits_of_the_squareness_error_hold_for_95_percent(amplitude: float) -> None:
    # At a tooth, whatever the wobble; and where the fitted neutral line stands upright, as it does
    # after marking: there the error is 0 and all of it is doubt.
    near_deg, tooth_deg = 100.0, 45.0
    at_tooth = on_line = 0
    for fit in simulated_fits(BLADES, amplitude, near_deg, 107):

        def holds(fit: bg.WobbleFit, away_deg: float, top_deg: float) -> bool:
            slope = amplitude / 1000.0 * math.cos(math.radians(top_deg - near_deg))
            miss = math.degrees(math.atan(slope)) - float(bg.squareness_error(fit, away_deg))
            reach = student_t(0.95, fit.dof) * float(bg.squareness_error_u(fit, away_deg))
            return abs(miss) <= reach

        at_tooth += holds(fit, fit.near_deg + 90.0 - tooth_deg, tooth_deg)
        on_line += holds(fit, 0.0, fit.near_deg + 90.0)
    assert_allclose(at_tooth / BLADES, 0.95, atol=strayed(0.95))
    if amplitude > 2:
        assert_allclose(on_line / BLADES, 0.95, atol=strayed(0.95))
    else:  # A wobble that is hardly there can do little harm.
        assert on_line / BLADES >= 0.95 - strayed(0.95)


def test_limits_of_squareness_are_those_counted_here() -> None:
    (fit,) = simulated_fits(1, 4.0, 100.0, 108)
    result = bg.squareness(fit, tooth=4)
    away = fit.near_deg + 90.0 - 45.0
    reach = student_t(0.95, fit.dof) * float(bg.squareness_error_u(fit, away))
    assert_allclose(result.error_high_deg - result.error_low_deg, 2 * reach)
    assert_allclose(result.error_deg, bg.squareness_error(fit, away))


def test_tooth_probabilities_come_true_as_often_as_they_claim() -> None:
    # Amplitudes from 1 to 30 times the noise, near anywhere; the near tooth of every blade whose
    # wobble is resolved. Of the claims in a bin their mean share comes true, within 0.03. The
    # lowest claims come true a little oftener (by 0.02): there only the luckier ones are resolved.
    rng = rng_for(109)
    blades = 20_000
    claims: list[float] = []
    came_true: list[bool] = []
    for teeth in (8, 23, 24, 40, 80):
        pitch = 360.0 / teeth
        amplitude, near_deg = 30.0 ** rng.uniform(size=blades), rng.uniform(0.0, 360.0, blades)
        angle = np.radians(pitch * np.arange(teeth))
        wobble = amplitude[:, None] * np.cos(angle - np.radians(near_deg)[:, None])
        fits = least_squares(
            harmonic_columns(angle), wobble + rng.normal(0.0, 1.0, (blades, teeth))
        )
        for (a, b, covariance), true_deg in zip(each(fits), near_deg, strict=True):
            f = (a**2 + b**2) / covariance[0, 0] / 2
            if zero_amplitude_p(f, fits.dof) < 0.05:
                tooth = round(math.degrees(math.atan2(b, a)) / pitch)
                edges = (tooth - 0.5) * pitch, (tooth + 0.5) * pitch
                claims.append(direction_probability(a, b, covariance, fits.dof, *edges))
                came_true.append((tooth - round(true_deg / pitch)) % teeth == 0)
    claimed, true = np.array(claims), np.array(came_true)
    edges = [0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.98]
    bins = np.digitize(claimed, edges)
    checked = [one for one in range(len(edges) + 1) if np.count_nonzero(bins == one) >= 1000]
    assert checked[-9:] == list(range(1, 10))
    for one in checked:
        assert_allclose(true[bins == one].mean(), claimed[bins == one].mean(), atol=0.03)
    assert_allclose(true.mean(), claimed.mean(), atol=0.01)


@pytest.mark.parametrize(
    ("teeth", "pattern", "unread"),
    [
        (8, [1.0], 0),
        (23, [1.0], 0),
        (80, [1.0], 0),
        (40, [1.0, 1.8], 0),
        (50, [1.0, 1.0, 1.0, 1.0, 2.6], 0),
        (60, [1.0, 1.5, 2.5], 8),
    ],
)
def test_marks_claim_the_mass_between_the_middles_of_their_own_gaps(
    teeth: int, pattern: list[float], unread: int
) -> None:
    # Uneven gaps and an arc not read: neither the window nor the doubt is alike on both sides.
    rng, blade = rng_for(110), bg.Blade(teeth, pitch_pattern=pattern)
    angle = blade.angles_deg
    around = np.concatenate([[angle[-1] - 360.0], angle, [360.0]])
    middles = (around[1:] + around[:-1]) / 2
    tooth = np.arange(1, teeth - unread + 1)
    compared = 0
    for _ in range(40):
        read = 3.0 * np.cos(np.radians(angle - rng.uniform(0.0, 360.0)))
        read = (read + rng.normal(0.0, 1.0, teeth))[tooth - 1]
        fit = bg.fit_wobble(bg.Readings(blade, read, tooth=tooth, unit="mm"))
        marks = bg.neutral_line(fit)
        if marks.near is None or marks.far is None or marks.neutral is None:
            continue
        four = (marks.near, marks.neutral[0], marks.far, marks.neutral[1])
        for mark, from_near_deg in zip(four, (0.0, 90.0, 180.0, 270.0), strict=True):
            edges = middles[mark.tooth - 1 : mark.tooth + 1] - from_near_deg
            expected = direction_probability(
                fit.cosine, fit.sine, fit.covariance, fit.dof - 2, edges[0], edges[1]
            )
            assert mark.probability is not None
            assert_allclose(mark.probability, expected, rtol=1e-9, atol=1e-12)
            compared += 1
    assert compared >= 60
