"""A small part of the calibration benchmark: what it counts, and that it counts it rightly.

`tests/benchmarks/bench_doubt.py` runs every case over 20,000 blades; here some of its cases run
over 2,000. A share of n blades has the standard deviation sqrt(p (1 - p) / n); where the model's
assumptions hold every share may stray by four of them, elsewhere it may only be the larger one.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from benchmarks import bench_coarse as coarse
from benchmarks.bench_doubt import (
    ASSUMED,
    NOISE_MM,
    RING_MM,
    Case,
    Shares,
    binned,
    claims,
    compare,
    fit_many,
    interval_cases,
    judge,
    run_case,
    simulate,
    true_lean_deg,
)
from numpy.testing import assert_allclose
from rigid_body import RigidBlade, upright_lean_deg
from simulated import rng_for

BLADES = 2000


def strayed(share: float, count: int = BLADES) -> float:
    """Four standard deviations of a share that should be met among so many."""
    return 4 * math.sqrt(share * (1 - share) / count)


def counted(case: Case, number: int) -> Shares:
    """Shares of one case, with a seed of its own."""
    return run_case(case, BLADES, np.random.SeedSequence([20_261_126, number]))


@pytest.mark.parametrize(
    ("number", "case"),
    [
        (1, Case("", 23, 30.0, every=2)),
        (3, Case("", 40, 3.0, pitch=(1.0, 1.0, 1.0, 1.0, 1.6))),
        (4, Case("", 24, 3.0, graduation=0.5)),
    ],
    ids=["every 2nd", "uneven pitch", "fine graduation"],
)
def test_where_the_assumptions_hold_so_do_95_percent(number: int, case: Case) -> None:
    found = counted(case, number)
    held = [found.amplitude, found.near, found.squareness]
    assert_allclose(held, 0.95, atol=strayed(0.95))


def test_every_4th_tooth_read_raises_5_percent_false_alarms() -> None:
    found = counted(Case("", 40, 0.0, every=4), 5)
    assert_allclose(found.resolved, 0.05, atol=strayed(0.05))
    assert math.isnan(found.near)
    assert found.squareness == 1.0  # A plate without wobble stands square wherever it is turned.


def test_coarse_readings_widen_the_amplitude_and_the_direction() -> None:
    found = counted(Case("", 24, 3.0, graduation=10.0), 6)
    assert found.amplitude >= 0.95 - strayed(0.95)
    assert found.near >= 0.95 - strayed(0.95)


def test_bends_only_widen() -> None:
    found = counted(Case("", 40, 3.0, every=4, bend=1.0), 7)
    least = 0.95 - strayed(0.95)
    assert min(found.amplitude, found.near, found.squareness) >= least


@pytest.mark.parametrize(
    "case",
    [
        coarse.Case(24, 0.0, 8.0),
        coarse.Case(40, 0.1, 0.7),
        coarse.Case(24, 0.3, 3.0),
        coarse.Case(80, 0.3, 1.0),
        coarse.Case(12, 0.0, 8.0, turns=2),
        coarse.Case(24, 0.3, 3.0, stated=False),
    ],
    ids=str,
)
def test_limits_of_coarse_readings_hold_and_are_no_wider_than_need_be(case: coarse.Case) -> None:
    blades = 600
    found = coarse.found(case, blades, np.random.SeedSequence(20_261_127))
    least = 0.95 - strayed(0.95, blades)
    assert min(found.amplitude, found.near) >= least
    if case.scatter >= 0.3:  # As common dials repeat.
        assert max(found.width, found.near_width) <= 1.15
        assert max(found.amplitude, found.near) <= 0.975 + strayed(0.975, blades)
        assert_allclose(found.claimed.mean(), found.true.mean(), atol=strayed(0.5, blades))


def test_among_resolved_blades_near_the_noise_the_limits_fall_short() -> None:
    found = counted(Case("", 8, 1.0), 8)
    assert found.near >= 0.95 - strayed(0.95)
    assert found.near_resolved < 0.95 - strayed(0.95, round(found.resolved * BLADES))


def test_tooth_probabilities_come_true_on_an_uneven_pitch() -> None:
    case = Case("", 40, math.nan, pitch=(1.0, 1.0, 1.0, 1.0, 1.6))
    found = claims(case, 3 * BLADES, np.random.SeedSequence([20_261_126, 9]))
    doubtful = (found.claimed > 0.3) & (found.claimed < 0.95)
    true, claimed = found.true[doubtful].mean(), found.claimed[doubtful].mean()
    # Four teeth of one blade may come true together, so the blades are what counts.
    assert_allclose(true, claimed, atol=strayed(0.5, np.count_nonzero(doubtful) // 4))
    for one in binned([found], fewest=1000):
        # The lowest claims come true a little oftener: only the luckier blades are resolved.
        assert_allclose(one.true, one.claimed, atol=0.02 + strayed(one.claimed, one.count // 4))


def test_a_verdict_that_differs_from_the_public_one_is_caught() -> None:
    case = Case("", 24, 3.0)
    made = simulate(case, 10, rng_for(10))
    verdicts = judge(fit_many(case, made.reading), made)
    compare(case, made, verdicts)
    for place, name in enumerate(verdicts._fields):
        wrong = list(verdicts)
        wrong[place] = ~wrong[place]
        with pytest.raises(AssertionError, match="in public"):
            compare(case, made, verdicts._replace(**{name: wrong[place]}))


@pytest.mark.parametrize("top_deg", [0.0, 77.0, 250.0])
def test_the_true_lean_is_that_of_a_rigid_plate(top_deg: float) -> None:
    amplitude, near_deg = 30 * NOISE_MM, 130.0
    tilt = math.degrees(math.atan(amplitude / RING_MM))
    expected = upright_lean_deg(RigidBlade(tilt, near_deg), top_deg)
    found = true_lean_deg(np.array(amplitude), np.array(near_deg), np.array(top_deg))
    assert_allclose(found, expected, rtol=1e-9, atol=1e-12)


def test_the_benchmark_has_every_case_that_is_asked_for() -> None:
    cases = interval_cases()
    assert len(set(cases)) == len(cases)
    assert {(one.teeth, one.amplitude) for one in cases if one.group == "all teeth read"} == {
        (teeth, amplitude) for teeth in (8, 23, 24, 40, 80) for amplitude in (0.0, 1.0, 3.0, 30.0)
    }
    sparse = [one for one in cases if one.every > 1]
    assert {(one.every, one.teeth) for one in sparse} == {
        *((2, teeth) for teeth in (23, 24, 40, 80)),
        *((4, teeth) for teeth in (40, 80)),
    }
    assert all(len(one.read_teeth) >= 8 for one in sparse)
    assert {one.graduation for one in cases} == {0.0, 0.5, 2.0, 10.0}
    assert {one.group for one in cases if one.group in ASSUMED} == set(ASSUMED)
