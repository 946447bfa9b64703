"""Conformity arithmetic, against the normal law, JCGM 106's formulas, and simulation.

The forms of JCGM 106:2012 (clause 7: probability up to an upper limit; clause 8: guard band
w = g U) and ISO 14253-1:2017 (zones) are from memory, and so are the few figures of its examples
that are used: they were not looked up. From memory too: the 2017 edition's own default is a
conformance probability of 95 %, which guard factor 1 on the two-sided U satisfies, being the
stricter.
"""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t as student
from simulated import rng_for, wave

import bladegeom as bg
from bladegeom.estimate import Known
from bladegeom.faults import RefusedError
from bladegeom.kernel.span import Scatter, span
from bladegeom.shop.batch import Repeats
from bladegeom.shop.verdict import CONFORMS, FAILS, UNDECIDED, judged, raw_span, wobble_span

sizes = st.floats(0.01, 10)


def acceptance_limit(limit, expanded, guard_factor=1.0):
    """JCGM 106:2012, clause 8, from memory: limit less guard factor times U."""
    return limit - guard_factor * expanded


DRAWN = 3 * math.sqrt(0.25 / 2000)
"""How far a chance told from 2,000 draws may be off."""


def conformance_probability(value, u, limit, dof=math.inf):
    """Return the chance that the law of the raw TIR tells, of one high and one low tooth.

    Far apart, their difference has the normal law, or Student's, with u^2 the sum of two variances.
    """
    read = np.array([0.0, 0.5, 1.0, 0.5]) * 1000 * u
    found = span(read, np.ones(4), Scatter(u / math.sqrt(2), dof), 0.0)
    return float(np.mean(found.ranges[0] <= limit - value + 1000 * u))


def measured(value, expanded):
    return Known(value, low=value - expanded, high=value + expanded)


def test_few_degrees_of_freedom_by_hand():
    # Student's t with 1 degree of freedom is Cauchy's law: 1/2 + atan(1)/pi = 3/4.
    assert conformance_probability(0.0, 1.0, 1.0, 1) == pytest.approx(0.75, abs=DRAWN)


@given(sizes, sizes, sizes)
def test_the_probability_up_to_an_upper_limit_by_the_error_function(value, u, limit):
    # p = Phi((T_U - y) / u), JCGM 106:2012 clause 7 (formula from memory); Phi by erf.
    expected = (1 + math.erf((limit - value) / u / math.sqrt(2))) / 2
    assert conformance_probability(value, u, limit) == pytest.approx(expected, abs=DRAWN)
    # What conforms and what does not are all there is.
    mirrored = conformance_probability(-value, u, -limit)
    assert conformance_probability(value, u, limit) + mirrored == pytest.approx(1, abs=2 * DRAWN)


def test_the_example_of_a_diodes_breakdown_voltage():
    """JCGM 106:2012, clause 7, one upper limit: -5.47 V, u 0.05 V, limit -5.40 V; from memory."""
    assert conformance_probability(-5.47, 0.05, -5.40) == pytest.approx(0.92, abs=DRAWN)


@pytest.mark.parametrize(
    ("within", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
)
def test_the_table_of_deviates_for_one_limit(within, z):
    """JCGM 106:2012, clause 7, table of z = (T_U - y) / u for a probability; from memory."""
    assert conformance_probability(10.0 - 0.3 * z, 0.3, 10.0) == pytest.approx(within, abs=DRAWN)


@given(sizes, sizes, sizes)
def test_the_probability_is_students_law_where_u_has_few_degrees_of_freedom(value, u, limit):
    """Closed forms of Student's law: 2 degrees of freedom, and 4 (by integrating its density)."""
    t = (limit - value) / u
    two = 0.5 + t / (2 * math.sqrt(2 + t * t))
    s = t / math.sqrt(4 + t * t)
    four = 0.5 + 0.75 * (s - s**3 / 3)
    assert conformance_probability(value, u, limit, 2) == pytest.approx(two, abs=DRAWN)
    assert conformance_probability(value, u, limit, 4) == pytest.approx(four, abs=DRAWN)


@pytest.mark.parametrize("dof", [3, 8, 30])
def test_of_all_values_on_students_guard_band_the_share_promised_conforms(dof):
    """Simulated: y = true + u z, u estimated; accepted where p is 90 % or more."""
    rng, trials = rng_for(17), 40_000
    z, s = rng.normal(size=trials), np.sqrt(rng.chisquare(dof, trials) / dof)
    # Of a value y with the doubt s the limit lies at the edge: how often is the true one below?
    edge = float(student.ppf(0.9, dof))
    share = np.mean(z + edge * s >= 0)
    assert share == pytest.approx(0.9, abs=3 * math.sqrt(0.09 / trials))
    chance = conformance_probability(0.0, 1.0, edge, dof)
    assert chance == pytest.approx(0.9, abs=DRAWN)


@pytest.mark.parametrize("guard", [-1.0, 0.0, 0.5, 1.0, 1.65])
@pytest.mark.parametrize("k", [1.0, 1.959964, 2.0])
def test_the_probability_on_the_acceptance_limit_follows_from_the_guard_factor(guard, k):
    # A = T_U - g U and U = k u (clause 8, from memory) put into clause 7: p = Phi(g k).
    u, limit = 0.02, 0.5
    value = acceptance_limit(limit, k * u, guard)
    expected = NormalDist().cdf(guard * k)
    assert conformance_probability(value, u, limit) == pytest.approx(expected, abs=DRAWN)
    if (guard, k) == (1.0, 1.959964):  # One-sided 97.5 % (two-sided 95 %, tables of the law).
        assert expected == pytest.approx(0.975, abs=1e-6)


def test_the_three_zones_and_their_edges():
    """ISO 14253-1 from memory: proven within at T - U and below, proven outside above T + U."""
    limit, expanded = 1.0, 0.25
    seen = [
        judged(measured(value, expanded), limit)
        for value in (0.0, 0.5, 0.75, 0.7500001, 1.0, 1.25, 1.2500001, 2.0)
    ]
    assert seen == [CONFORMS] * 3 + [UNDECIDED] * 3 + [FAILS] * 2


@given(sizes, st.floats(0.001, 1), sizes)
def test_the_zones_are_the_guard_bands(value, expanded, limit):
    outcome = judged(measured(value, expanded), limit)
    edge = abs(abs(value - limit) - expanded)
    if edge > 1e-9:
        assert (outcome == CONFORMS) == (value <= acceptance_limit(limit, expanded))
        assert (outcome == FAILS) == (value > acceptance_limit(limit, expanded, -1))


def test_simple_acceptance_and_unknown_doubt():
    assert judged(measured(0.99, 0.5), 1.0) == UNDECIDED
    assert judged(measured(0.99, 0.5), 1.0, "simple") == CONFORMS
    assert judged(measured(1.01, 0.5), 1.0, "simple") == FAILS
    assert judged(Known(0.1), 1.0) == UNDECIDED
    with pytest.raises(RefusedError, match="decision rule"):
        judged(Known(1.0), 1, "other")


@pytest.mark.parametrize("amplitude", [0.0, 0.001, 0.02, 0.05])
@pytest.mark.parametrize("graduation", [None, 0.001, 0.01])
def test_the_wobbles_probability_agrees_with_its_limits(amplitude, graduation):
    noise = rng_for(5).normal(0, 0.004, 40)
    fit = bg.fit_wobble(wave(40, amplitude, 77, noise, graduation=(graduation, "mm")))
    measured = wobble_span(fit, 0.1).measured
    low, high, *chances = (
        wobble_span(fit, limit)[1]
        for limit in (measured.low, measured.high, *np.linspace(0.001, 0.3, 50))
    )
    assert high == pytest.approx(0.975, abs=1e-6)
    if measured.low > 0:
        assert low == pytest.approx(0.025, abs=1e-6)
    assert all(np.diff(chances) >= -1e-9)


@pytest.mark.parametrize(("true", "wrong"), [(0.1001, CONFORMS), (0.0999, FAILS)])
def test_a_blade_on_the_limit_is_seldom_called_wrongly(true, wrong):
    rng, trials = rng_for(31), 800
    called = 0
    for _ in range(trials):
        noise = rng.normal(0, 0.01, 24)
        fit = bg.fit_wobble(wave(24, true / 2, float(rng.uniform(0, 360)), noise))
        measured = wobble_span(fit, 0.1).measured
        called += judged(measured, 0.1) == wrong
    # 2.5 % each way, and three standard deviations of a share of so many trials.
    assert 0.005 < called / trials < 0.025 + 3 * math.sqrt(0.025 * 0.975 / trials)


def test_what_the_doubt_of_a_raw_tir_rests_on():
    same = bg.fit_wobble(bg.Readings(bg.Blade(24), np.ones(24), unit="mm"))
    seen = raw_span(same, 0.2)
    assert math.isnan(seen.measured.low)
    assert math.isnan(seen.within)
    assert seen.rests_on.startswith("nothing")
    one = raw_span(bg.fit_wobble(wave(24, 0.05, 10, rng_for(1).normal(0, 0.003, 24))), 0.2)
    assert one.measured.low < one.measured.value < one.measured.high
    assert "one turn" in one.rests_on


def turns_of(rng, shape, turns, sd, step=None):
    """Return a fit of some turns of a plate, each with an offset of its own."""
    teeth = len(shape)
    read = np.concatenate([shape + rng.uniform(0, 1) for _ in range(turns)])
    read = read + rng.normal(0, sd, len(read))
    return bg.fit_wobble(
        bg.Readings(
            bg.Blade(teeth),
            read if step is None else np.round(read / step) * step,
            unit="mm",
            tooth=np.tile(np.arange(1, teeth + 1), turns),
            turn=np.repeat(np.arange(1, turns + 1), teeth),
            graduation=None if step is None else (step, "mm"),
        )
    )


def test_turns_show_how_well_a_reading_repeats():
    angles = np.radians(15.0 * np.arange(24))
    fit = turns_of(rng_for(8), 0.05 * np.cos(angles), 3, 0.004)
    assert "46 degrees of freedom" in raw_span(fit, 0.2).rests_on  # 72 - 24 - 2


SHAPES = {
    "flat": lambda at, _: 0 * at,
    "tilted": lambda at, _: 0.03 * np.cos(at),
    "saddled": lambda at, _: 0.02 * np.cos(at) + 0.03 * np.cos(2 * at + 1),
    "rough": lambda at, rng: 0.02 * np.cos(at) + rng.normal(0, 0.008, len(at)),
    "one tooth bent": lambda at, _: 0.02 * np.cos(at) + 0.05 * (at == at[7]),
}
BLADES = 100


@pytest.mark.parametrize("turns", [1, 2, 3])
@pytest.mark.parametrize("step", [None, 0.01])
@pytest.mark.parametrize("shape", SHAPES)
def test_the_limits_of_a_raw_tir_hold_the_plates_own(shape, step, turns):
    """Simulated: scatter of 0.3 of the dial's step; small here, in full by bench_span.py."""
    rng, held, sure, wrong = rng_for(61), 0, 0, 0
    at = np.radians(9.0 * np.arange(40))
    for _ in range(BLADES):
        plate = SHAPES[shape](at, rng)
        true = float(np.ptp(plate))
        seen = raw_span(turns_of(rng, plate, turns, 0.003, step), true * 1.0001 + 1e-9)
        held += seen.measured.low - 1e-9 <= true <= seen.measured.high + 1e-9
        # The limit is where the plate is: nothing should be sure of either side.
        sure += abs(seen.within - 0.5) > 0.475
        wrong += judged(seen.measured, true * 1.0001 + 1e-9) == FAILS
    assert held >= 0.93 * BLADES - 3 * math.sqrt(0.95 * 0.05 * BLADES)
    assert shape == "flat" or sure <= 0.05 * BLADES + 3 * math.sqrt(0.05 * 0.95 * BLADES)
    assert wrong <= 0.05 * BLADES


def test_of_many_readings_of_a_flat_plate_the_scatter_is_taken_off():
    """A flat plate shows 4.3 standard deviations with 40 readings (tables of the range)."""
    seen = [turns_of(rng_for(one), np.zeros(40), 2, 0.01) for one in range(30)]
    assert np.mean([fit.raw_tir for fit in seen]) > 0.04
    assert np.mean([raw_span(fit, 1.0).measured.value for fit in seen]) < 0.015


def test_what_other_blades_tell_narrows_the_limits_of_one_turn():
    fit = turns_of(rng_for(3), 0.05 * np.cos(np.radians(9.0 * np.arange(40))), 1, 0.004)
    alone, pooled = raw_span(fit, 0.1), raw_span(fit, 0.1, Scatter(0.004, 50))
    width = [one.measured.high - one.measured.low for one in (alone, pooled)]
    assert width[1] < 0.8 * width[0]
    assert "closing readings" in pooled.rests_on


def closed(rng, sd, unit="mm", graduation="0.001 mm", moved=0.0):
    """Return one turn of a plate, closed by its first tooth, on a stand that may have moved."""
    per = {"mm": 1.0, "um": 1000.0}[unit]
    read = 0.05 * np.cos(np.radians(9.0 * np.arange(41))) + rng.normal(0, sd, 41)
    read[-1] += moved
    tooth = [*range(1, 41), 1]
    return bg.Readings(bg.Blade(40), read * per, unit=unit, tooth=tooth, graduation=graduation)


def test_a_days_closing_readings_tell_how_well_a_reading_repeats():
    rng = rng_for(12)
    steady = [closed(rng, 0.004) for _ in range(40)]
    day = Repeats([*steady, *(closed(rng, 0.004, moved=0.2) for _ in range(3))])
    found = day.of(steady[0])
    assert found.sd == pytest.approx(0.004, rel=0.3)
    assert 30 <= found.dof <= 40
    assert day.of(closed(rng, 0.004, "um")).sd == pytest.approx(1000 * found.sd)
    # Another dial, and too few turns, tell nothing.
    assert day.of(closed(rng, 0.004, graduation="0.01 mm")) is None
    assert Repeats(steady[:9]).of(steady[0]) is None


def test_so_many_turns_as_are_told_decide():
    rng, at = rng_for(14), np.radians(9.0 * np.arange(40))
    plate = 0.02 * np.cos(at) + 0.02 * np.cos(2 * at)
    limits = bg.Limits((bg.Limit("raw_tir", (float(np.ptp(plate)) + 0.006, "mm"), "ours"),))
    few = [bg.assess(turns_of(rng, plate, 2, 0.004), limits).raw_tir for _ in range(15)]
    # The value scatters, and what is told with it: of many blades the middle one decides.
    turns = int(np.median([one.turns for one in few if one.outcome == UNDECIDED]))
    enough = [turns_of(rng, plate, turns, 0.004) for _ in range(20)]
    assert sum(bg.assess(fit, limits).raw_tir.outcome == CONFORMS for fit in enough) >= 15
