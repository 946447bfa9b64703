"""A small part of the benchmark of claims: where few teeth are read, or an arc is not.

`tests/benchmarks/bench_claims.py` runs every plan over many blades. A share of n blades has the
standard deviation sqrt(p (1 - p) / n), and may fall short of what is claimed by four of them.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from benchmarks.bench_claims import Plan, claims_of, held, of_plan, plans, share

import bladegeom as bg

BLADES = 150


def plan_of(name: str) -> Plan:
    return next(plan for plan in plans() if plan.name == name)


@pytest.mark.parametrize(
    ("number", "name", "harmonics"),
    [
        (1, "half not read", 1),
        (2, "half not read", 2),
        (3, "half not read", 3),
        (4, "a quarter not read", 1),
        (5, "a quarter not read", 2),
        (6, "every 2nd, a quarter not read", 1),
        (7, "8 teeth, anyhow", 1),
        (8, "6 teeth, anyhow", 1),
        (9, "5 teeth, anyhow", 1),
        (10, "4 teeth, evenly", 1),
    ],
)
def test_limits_hold_where_bends_may_leak_and_no_chance_is_told_that_fails(
    number: int, name: str, harmonics: int
) -> None:
    found = of_plan(plan_of(name), harmonics, BLADES, 1000 + number)
    least = 0.95 - 4 * math.sqrt(0.95 * 0.05 / BLADES)
    assert min(share(found, what) for what in ("amplitude", "near")) >= least
    claims = claims_of(found)
    sure = claims[claims[:, 0] >= 0.8]
    if len(sure) >= 20:  # The two ends of one blade come true together.
        claimed, true = sure.mean(axis=0)
        assert true >= claimed - 4 * math.sqrt(2 * claimed * (1 - claimed) / len(sure)) - 0.02


def test_an_even_plan_keeps_the_limits_of_its_scatter() -> None:
    # Every fifth tooth: bends of two and three waves do not leak, and nothing is said of them.
    rng = np.random.default_rng(3)
    angle = np.radians(9.0 * np.arange(0, 40, 5))
    for _ in range(20):
        read = np.cos(angle) + 0.5 * np.cos(2 * angle) + rng.normal(0, 0.1, 8)
        tooth = np.arange(1, 41, 5)
        fit = bg.fit_wobble(bg.Readings(bg.Blade(40), read, unit="mm", tooth=tooth))
        assert fit.leak is None
        assert fit.dof == 5


def test_reading_the_arc_that_is_named_takes_the_leak_away() -> None:
    rng, blade = np.random.default_rng(5), bg.Blade(40)
    angle = np.radians(blade.angles_deg)
    read = 0.05 * np.cos(angle - 1) + 0.03 * np.cos(2 * angle) + rng.normal(0, 0.001, 40)
    some = np.arange(1, 31)
    part = bg.fit_wobble(bg.Readings(blade, read[:30], unit="mm", tooth=some))
    whole = bg.fit_wobble(bg.Readings(blade, read, unit="mm"))
    assert "from 31 to 40" in part.warnings[0]
    assert whole.leak is None
    assert abs(whole.value - 0.05 * np.exp(1j)) < abs(part.value - 0.05 * np.exp(1j)) / 10
    assert whole.amplitude_u < part.amplitude_u
    assert set(bg.next_readings(part, 4).teeth) & set(range(31, 41))


def test_too_few_teeth_tell_no_chance_and_that_is_said() -> None:
    one = held(plan_of("5 teeth, evenly"), 1, np.random.default_rng(9))
    assert one is not None
    assert one.claims == ()
    angle = np.radians(9.0 * np.arange(0, 40, 8))
    read = np.cos(angle) + 0.01 * np.cos(7 * angle)
    fit = bg.fit_wobble(bg.Readings(bg.Blade(40), read, unit="mm", tooth=np.arange(1, 41, 8)))
    line = bg.neutral_line(fit)
    assert fit.resolved
    assert line.neutral is not None
    assert line.neutral[0].probability is None
    assert any("how sure" in warning for warning in fit.warnings)
