"""Readings rounded to a coarse graduation: one law of doubt for all that rests on them."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from simulated import rng_for

import bladegeom as bg
from bladegeom.fit.answer import fit_answer
from bladegeom.fit.many import fit_frame
from bladegeom.shop.history import visit_of

STEP = 0.01


def coarse(
    seed: int,
    teeth: int = 24,
    amplitude: float = 3.0,
    scatter: float = 0.1,
    turns: int = 1,
    **facts: object,
) -> bg.Readings:
    """Readings of a dial that moves in whole graduations, in which all sizes are given."""
    rng, angle = rng_for(seed), 2 * np.pi * np.arange(teeth) / teeth
    exact = rng.uniform() + amplitude * np.cos(angle - rng.uniform(0, 2 * np.pi))
    read = np.round(exact + rng.normal(0.0, scatter, (turns, teeth))).ravel() * STEP
    stated = {"graduation": (STEP, "mm"), "ring_radius": "100 mm", **facts}
    return bg.Readings(
        bg.Blade(teeth, diameter="254 mm"),
        read,
        unit="mm",
        tooth=np.tile(np.arange(1, teeth + 1), turns),
        turn=np.repeat(np.arange(1, turns + 1), teeth),
        **{key: value for key, value in stated.items() if value is not None},
    )


def again(readings: bg.Readings, zero: float = 0.0) -> bg.Readings:
    """The same turn read twice, the dial set to another zero in between."""
    teeth = readings.blade.teeth
    return bg.Readings(
        readings.blade,
        np.concatenate([readings.reading, readings.reading + zero]),
        unit="mm",
        tooth=np.tile(np.arange(1, teeth + 1), 2),
        turn=np.repeat([1, 2], teeth),
        graduation=(STEP, "mm"),
        ring_radius="100 mm",
    )


def doubts(fit: bg.WobbleFit) -> list[float]:
    return [*fit.amplitude_interval()[:2], *fit.near_interval()[:2], fit.p_value]


@pytest.mark.parametrize("scatter", [0.0, 0.15])
def test_all_that_is_said_of_the_doubt_follows_one_law(scatter: float) -> None:
    fit = bg.fit_wobble(coarse(1, amplitude=8.0, scatter=scatter))
    low, high, _ = fit.near_interval()
    # The chance of a direction within its limits is theirs.
    assert_allclose(fit.probability(low - fit.near_deg, high - fit.near_deg), 0.95, atol=0.002)
    ahead = bg.next_readings(fit, n=2)
    assert_allclose([fit.budget.near_u_deg, ahead.near_u_deg], fit.near_u_deg)
    assert_allclose(fit.budget.amplitude_u, fit.amplitude_u)
    # More than the scatter says, and what comes back in every turn is not read away.
    aside = [math.cos(math.radians(fit.near_deg + 90)), math.sin(math.radians(fit.near_deg + 90))]
    alone, kept = (math.sqrt(aside @ one @ aside) for one in (fit.covariance, fit.rounding))
    assert kept > 0.3 * alone > 0
    assert min(ahead.across_u_after) > math.hypot(kept, math.sqrt(0.8) * alone)
    at = bg.squareness_error_u(fit, 0.0)
    assert_allclose(at, math.degrees(math.hypot(alone, kept) / 100))


@pytest.mark.parametrize("scatter", [0.0, 0.1])
@pytest.mark.parametrize("zero", [0.0, 0.17])
@pytest.mark.parametrize("harmonics", [1, 3])
def test_turns_that_agree_exactly_are_counted_once(
    scatter: float, zero: float, harmonics: int
) -> None:
    once = coarse(2, scatter=scatter)
    one, two = (bg.fit_wobble(read, harmonics=harmonics) for read in (once, again(once, zero)))
    assert_allclose(doubts(two), doubts(one), rtol=1e-9)
    assert (two.dof, two.residual_sd) == (one.dof, pytest.approx(one.residual_sd))


def test_turns_that_differ_are_counted_each() -> None:
    one, two = (bg.fit_wobble(coarse(3, scatter=0.3, turns=turns)) for turns in (1, 2))
    assert two.dof == 2 * one.dof + 2
    assert two.amplitude_u < 0.85 * one.amplitude_u


@pytest.mark.parametrize("amplitude", [0.0, 0.3, 0.45, 0.7, 0.95])
@pytest.mark.parametrize("teeth", [8, 12, 24, 80])
def test_limits_reach_the_amplitudes_that_a_steady_needle_could_have_had(
    teeth: int, amplitude: float
) -> None:
    missed = 0
    for seed in range(40):
        fit = bg.fit_wobble(coarse(seed, teeth, amplitude, 0.0))
        low, high, _ = fit.amplitude_interval()
        held = low <= amplitude * STEP <= high
        missed += not held
        if np.ptp(fit.readings.reading) < 1.5 * STEP:  # On two neighbouring marks, or on one.
            assert held
            assert low == 0.0
            assert 0.5 * STEP <= high <= 1.5 * STEP
    assert missed <= 6  # Of 2 that are allowed, and three standard deviations.


def test_renumbering_the_teeth_turns_the_answer_and_nothing_else() -> None:
    read = coarse(5, scatter=0.1)
    on = bg.Readings(
        read.blade,
        np.roll(read.reading, 5),
        unit="mm",
        graduation=(STEP, "mm"),
        ring_radius="100 mm",
    )
    one, two = bg.fit_wobble(read), bg.fit_wobble(on)
    assert_allclose(two.amplitude_interval()[:2], one.amplitude_interval()[:2], rtol=1e-9)
    turned = np.subtract(two.near_interval()[:2], one.near_interval()[:2])
    assert_allclose((turned - 75.0 + 180.0) % 360.0, 180.0, atol=1e-6)


def test_a_graduation_that_is_not_stated_is_taken_from_the_readings() -> None:
    stated, found = (bg.fit_wobble(coarse(6, graduation=one)) for one in ((STEP, "mm"), None))
    assert_allclose(doubts(found), doubts(stated), rtol=1e-9)
    assert_allclose([stated.steps, found.steps], [0, STEP])
    assert [one for one in found.warnings if "steps of 0.01 mm" in one]
    assert not [one for one in stated.warnings if "steps" in one]


def test_few_teeth_do_not_tell_a_graduation() -> None:
    fit = bg.fit_wobble(coarse(7, teeth=8, scatter=0.0, graduation=None))
    assert (fit.graduation, fit.steps) == (0.0, pytest.approx(STEP))
    assert not np.any(fit.rounding)
    assert [one for one in fit.warnings if "too few" in one]


@pytest.mark.parametrize("rounded_to", [None, 0.0001])
def test_readings_on_no_coarse_steps_have_none(rounded_to: float | None) -> None:
    angle, rng = 2 * np.pi * np.arange(24) / 24, rng_for(8)
    read = 0.03 * np.cos(angle - 1) + rng.normal(0, 0.001, 24)
    if rounded_to is not None:
        read = np.round(read / rounded_to) * rounded_to
    for one in (read, 0.03 * np.cos(angle - 1)):  # The last without any scatter at all.
        fit = bg.fit_wobble(bg.Readings(bg.Blade(24), one, unit="mm"))
        assert (fit.graduation, fit.steps) == (0.0, 0.0)
        assert not np.any(fit.rounding)


def test_a_table_says_the_same_as_one_by_one() -> None:
    kinds = [
        coarse(11),
        coarse(12, teeth=40, scatter=0.0, amplitude=0.4),
        coarse(13, teeth=8, scatter=0.2),
        again(coarse(14, scatter=0.0)),
        coarse(15, turns=2, scatter=0.2),
        coarse(16, graduation=None),
        coarse(17, teeth=8, scatter=0.0, graduation=None),
        coarse(18, scatter=2.0),
    ]
    rows = []
    for number, read in enumerate(kinds):
        facts = {"teeth": read.blade.teeth, "diameter_mm": 254.0, "ring_radius_mm": 100.0}
        for tooth, turn, value in zip(read.tooth, read.turn, read.reading, strict=True):
            row = {"blade": f"B{number}", "turn": turn, "tooth": tooth, "reading_mm": value}
            rows.append({**row, **facts, "graduation_mm": read.graduation})
    table, _ = fit_frame(pd.DataFrame(rows))
    assert table is not None
    for (_, row), read in zip(table.iterrows(), kinds, strict=True):
        alone = fit_answer(bg.fit_wobble(read))
        for key in ("amplitude_u", "amplitude_low", "amplitude_high", "near_low_deg", "p_value"):
            assert_allclose(row[key], np.nan if alone[key] is None else alone[key], rtol=1e-8)
        assert (row["dof"], row["warnings"]) == (alone["dof"], "; ".join(alone["warnings"]))


@pytest.mark.parametrize("level", [0.5, 0.8, 0.95])
def test_a_wobble_that_is_not_resolved_may_be_none_at_all(level: float) -> None:
    seen = 0
    for seed in range(60):
        noise = rng_for(seed).normal(0, 0.01, 24)
        fit = bg.fit_wobble(bg.Readings(bg.Blade(24), noise, unit="mm", ring_radius="100 mm"))
        if not fit.resolved:
            seen += fit.amplitude > fit.amplitude_u
            assert fit.amplitude_interval(level).low == 0.0
    assert seen > 20  # Of which plain limits of 50 % would leave 0 out.


def test_a_history_keeps_what_rounding_adds_and_older_lines_keep_their_meaning() -> None:
    fit = bg.fit_wobble(coarse(21))
    kept = visit_of(fit)
    assert_allclose(kept.wobble.amplitude_u, fit.amplitude_u)
    assert_allclose(kept.wobble.amplitude_interval()[:2], fit.amplitude_interval()[:2])
    assert (kept.wobble.dof, kept.wobble.p_value) == (fit.dof, pytest.approx(fit.p_value))
    older = dataclasses.replace(kept, rounding_mm=STEP / 2).wobble  # Half a graduation either way.
    along = dataclasses.replace(fit, rounding=0.0).amplitude_u
    assert_allclose(older.amplitude_u, math.hypot(along, STEP / 2 / math.sqrt(3)))


def test_a_wobble_that_is_not_resolved_calls_no_part_of_the_saw_out() -> None:
    tried = 0
    for seed in range(150):
        noise = rng_for(seed).normal(0, 0.01, 24)
        fit = bg.fit_wobble(bg.Readings(bg.Blade(24), noise, unit="mm", ring_radius="100 mm"))
        error = bg.squareness(fit, tooth=1).error
        if fit.resolved or error.low <= 0 <= error.high:
            continue
        tried += 1  # What this tooth alone would say leaves 0 out.
        shown = {"shows": 0.0, "resolution": 1e-6}
        found = bg.setting_error(fit, "table", tooth=1, shown=shown, tolerance="1e-5 deg")
        assert found.read.verdict == "cannot tell"
    assert tried
