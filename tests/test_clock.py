"""Where to put a blade on its arbor: signs by rigid bodies, limits and decision by simulation."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import GTC
import numpy as np
import pytest
from benchmarks.bench_clock import outcomes
from hypothesis import given, settings
from hypothesis import strategies as st
from mounted_body import fit_of, mounted_mm
from numpy.testing import assert_allclose
from rigid_body import UP, RigidBlade, blade_direction, tooth_angles_deg, turn_onto
from scipy import stats
from simulated import rng_for

import bladegeom as bg
from bladegeom.arbor._mountings import Mounted, Mountings, arbor_design
from bladegeom.arbor.arbor import separate_arbor
from bladegeom.arbor.clock import clock_advice, difference, next_limits
from bladegeom.estimate import Known

BLADE, FLANGE = 0.05 * np.exp(0.5j), 0.03 * np.exp(2j)
RING = 110.0


def vectors(rng, count):
    return rng.normal(size=count) + 1j * rng.normal(size=count)


def arbor_of(clocks, *, blade=BLADE, flange=FLANGE, seating=0.001, seed=1, **how):
    """Fits of mountings whose seating scatters by a stated standard deviation."""
    truth = blade + flange * np.exp(-1j * np.radians(clocks))
    seated = truth + seating * vectors(rng_for(seed), len(clocks))
    return separate_arbor([fit_of(complex(one), **how) for one in seated], [*map(float, clocks)])


def advice_of(clocks=(0, 180, 90, 0), **how):
    return clock_advice(arbor_of(clocks, **how))


# Signs


def tir_with_tooth_at_mark(blade, flange, angles, tooth):
    """Turn the blade until the tooth stands at the mark, clamp it, and read all round."""
    tooth_1 = turn_onto(blade_direction(blade, angles[tooth - 1]), UP) @ UP
    right_handed = math.degrees(math.atan2(-tooth_1[0], tooth_1[1]))
    clock = right_handed if blade.numbered == "counterclockwise" else -right_handed
    return np.ptp(mounted_mm(blade, flange, clock, np.arange(0.0, 360.0, 3.0), RING))


@pytest.mark.parametrize("numbered", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("pattern", ["1", "1 1 1 1.7"])
@pytest.mark.parametrize(("near", "seat"), [(35.0, 290.0), (200.0, 130.0)])
def test_the_tooth_named_is_the_one_that_leaves_least_on_a_rigid_body(
    numbered, pattern, near, seat
):
    blade, flange = RigidBlade(0.03, near, numbered), RigidBlade(0.02, seat, numbered)
    angles = tooth_angles_deg(16, pattern)
    made = bg.Blade(16, numbered=numbered, pitch_pattern=[float(one) for one in pattern.split()])
    clocks = [10.0, 130.0, 250.0]
    fits = [
        bg.fit_wobble(
            bg.Readings(
                made,
                mounted_mm(blade, flange, clock, angles, RING),
                unit="mm",
                ring_radius=(RING, "mm"),
                graduation="0.0005 mm",
            )
        )
        for clock in clocks
    ]
    advice = clock_advice(separate_arbor(fits, clocks))
    tried = [tir_with_tooth_at_mark(blade, flange, angles, tooth) for tooth in range(1, 17)]
    assert advice.best_tooth == int(np.argmin(tried)) + 1
    assert advice.worst_tooth == int(np.argmax(tried)) + 1
    assert advice.best.value == pytest.approx(min(tried), abs=6e-5)
    assert advice.worst.value == pytest.approx(max(tried), abs=6e-5)
    assert advice.average_tir == pytest.approx(np.mean(tried), abs=6e-5)


def test_the_mounting_in_use_is_the_last_and_its_tooth_is_named():
    advice = advice_of((0, 180, 90, 345))
    assert advice.now_mount == "4"
    assert advice.now.value == 2 * abs(advice.arbor.measured[-1])
    assert "mount 4" in str(advice)
    shown = dict(advice.shown_rows())
    assert shown["mount 2"].startswith("tooth 13 at the mark: wobble TIR ")
    assert shown["mount 3"].startswith("tooth 19 at the mark")
    assert shown["mount 4"].startswith("tooth 2 at the mark")


def test_a_mounting_between_teeth_is_told_by_its_angle():
    shown = dict(advice_of((0, 180, 97)).shown_rows())
    assert shown["mount 3"].startswith("tooth 1 97 deg past the mark")


def test_inch_and_mm_give_the_same_advice():
    mm = advice_of()
    inch = advice_of(
        blade=BLADE / 25.4, flange=FLANGE / 25.4, seating=0.001 / 25.4, bend=0.004 / 25.4,
        unit="in", ring=100 / 25.4,
    )  # fmt: skip
    assert (mm.best_tooth, mm.recommended, mm.next_teeth) == (
        inch.best_tooth,
        inch.recommended,
        inch.next_teeth,
    )
    for name in ("best", "worst", "now", "gain"):
        here, there = getattr(mm, name), getattr(inch, name)
        assert_allclose(here, np.array(there) * 25.4, rtol=1e-9)


# The decision, and its words


def test_a_gain_beyond_its_doubt_is_recommended():
    advice = advice_of()
    assert advice.recommended
    assert advice.gain.low > 0
    assert advice.title == f"Blade: put tooth {advice.best_tooth} at the arbor's mark"
    shown = dict(advice.shown_rows())["gain"]
    assert "expanded uncertainty" in shown
    assert "one new seating included" in shown


def test_a_gain_within_its_doubt_is_not():
    advice = advice_of(seating=0.03)
    assert not advice.recommended
    assert advice.gain.low <= 0
    assert "not shown to be worth it" in advice.title


def test_an_arbor_without_wobble_gives_no_reason_to_turn_the_blade():
    advice = advice_of(flange=0j)
    assert not advice.recommended
    assert any("no wobble of the flange is established" in one for one in advice.remarks)
    assert not any("no wobble of the flange" in one for one in advice_of().remarks)


def test_where_the_best_tooth_stands_there_already_it_stays():
    best = advice_of().best_tooth
    clock = -bg.Blade(24).angle_of(best) % 360.0
    arbor = arbor_of((0, 180, 90, clock))
    # Seated so badly that any new mounting would gain: even so there is no better place.
    badly = replace(arbor, measured=np.append(arbor.measured[:-1], 0.2))
    advice = clock_advice(badly)
    assert advice.best_tooth == best
    assert advice.gain.low > 0
    assert advice.there_already
    assert not advice.recommended
    assert advice.answer == f"leave it, the best tooth ({best}) stands at the arbor's mark now"


def test_without_a_seating_nothing_is_recommended_and_it_is_said_why():
    advice = advice_of((0, 180), bend=0.0002)
    assert advice.arbor.seating_sd is None
    assert advice.gain.value > 0.01
    assert not advice.recommended
    assert "the doubt in the gain is not known" in advice.title
    assert math.isnan(advice.gain.low)
    assert math.isnan(advice.best.high)
    assert math.isfinite(advice.now.high)
    assert any("how well the blade seats is not known" in one for one in advice.remarks)
    assert any("nothing is left over to check" in one for one in advice.all_remarks)


def test_mountings_that_were_not_repeated_say_so():
    said = "no clock position was used twice"
    assert any(said in one for one in advice_of((0, 120, 240)).remarks)
    assert not any(said in one for one in advice_of((0, 180, 90, 360)).remarks)


def test_keys_are_stable_and_values_plain():
    with_seating, without = advice_of().to_dict(), advice_of((0, 180)).to_dict()
    assert [*with_seating] == [*without]
    assert len(with_seating) == len({*with_seating})
    for held in (with_seating, without):
        assert json.loads(json.dumps(held, allow_nan=False)) == held
    assert without["gain_tir_low"] is None
    assert len(with_seating["mountings"]) == 4
    assert {*advice_of().arbor.to_dict()} <= {*with_seating}
    assert with_seating["warnings"] == list(advice_of().all_remarks)


# What to measure next, against the complex design by itself


def doubt_by_complex_design(clocks):
    """Sum of the variances of B and F, for one and the same doubt in every mounting."""
    design = np.stack([np.ones(len(clocks)), np.exp(-1j * np.radians(clocks))], axis=1)
    return float(np.trace(np.linalg.inv(design.conj().T @ design)).real)


@pytest.mark.parametrize("clocks", [(0, 90), (0, 180, 90), (10, 40, 200, 215), (0, 120, 240)])
def test_the_next_mountings_are_those_that_shrink_the_doubt_most(clocks):
    advice = advice_of(clocks)
    held = list(clocks)
    today = doubt_by_complex_design(held)
    for tooth, share in zip(advice.next_teeth, advice.next_shares, strict=True):
        tried = [doubt_by_complex_design([*held, -15.0 * at]) for at in range(24)]
        assert tried[tooth - 1] == pytest.approx(min(tried), rel=1e-6)
        assert share == pytest.approx(math.sqrt(min(tried) / today), rel=1e-6)
        held.append(-15.0 * (tooth - 1))
    assert list(advice.next_shares) == sorted(advice.next_shares, reverse=True)


def test_among_places_that_tell_the_same_the_best_tooth_is_tried():
    advice = advice_of((0, 180))
    assert advice.next_teeth[0] in (advice.best_tooth, (advice.best_tooth + 11) % 24 + 1)


# Limits


def test_limits_are_those_of_rices_law_where_the_doubt_is_known():
    # scipy.stats.rice, an implementation of its own.
    for estimate in (0.3, 1.0, 2.9, 7.0):
        low, high = next_limits(estimate * 0.02, 0.02, np.inf)
        assert high / 0.02 == pytest.approx(stats.rice.ppf(0.975, estimate), rel=1e-6)
        if stats.rice.cdf(estimate, 0.0) > 0.975:
            assert stats.rice.cdf(estimate, low / 0.02) == pytest.approx(0.975, abs=1e-6)
        else:
            assert low == 0


def test_limits_of_a_large_amplitude_are_students():
    low, high = next_limits(1.0, 0.002, 5)
    reach = stats.t.ppf(0.975, 5) * 0.002
    assert_allclose([1 - low, high - 1], reach, rtol=0.01)


@settings(max_examples=30, deadline=None)
@given(st.floats(0, 1e3), st.floats(1e-6, 1e3), st.floats(1, 100))
def test_limits_hold_the_estimate_and_scale_with_the_unit(estimate, sd, dof):
    low, high = next_limits(estimate, sd, dof)
    assert 0 <= low <= estimate * (1 + 1e-9)
    assert high >= estimate
    assert_allclose(
        next_limits(25.4 * estimate, 25.4 * sd, dof), (25.4 * low, 25.4 * high), rtol=1e-6
    )


def test_the_limits_at_a_tooth_are_those_of_gum_propagation():
    # GTC propagates the uncertain vectors; far from zero the amplitude is linear in them.
    arbor = arbor_of((0, 200, 90, 0, 290), blade=0.4 * np.exp(1j), seating=0.003)
    advice = clock_advice(arbor)
    u = np.sqrt(np.diag(arbor.covariance))
    parts = (arbor.blade_vector, arbor.flange_vector)
    x = GTC.multiple_ureal([one for v in parts for one in (v.real, v.imag)], u, np.inf)
    for i in range(4):
        for j in range(i):
            r = arbor.covariance[i, j] / (u[i] * u[j])
            GTC.set_correlation(r, x[i], x[j])
    angle = math.radians(15.0 * (advice.worst_tooth - 1))
    real = x[0] + x[2] * math.cos(angle) - x[3] * math.sin(angle)
    imag = x[1] + x[2] * math.sin(angle) + x[3] * math.cos(angle)
    total = GTC.sqrt(real**2 + imag**2)
    assert 2 * GTC.value(total) == pytest.approx(advice.worst.value, rel=1e-9)
    alike = np.linalg.inv(
        sum(h.T @ h for h in arbor_design(arbor.clock_deg, np.zeros(5, int)).reshape(5, 2, 4))
    )
    one = float(np.trace(arbor.covariance) / np.trace(alike))
    assert one > arbor.seating_sd**2
    reach = 2 * stats.t.ppf(0.975, arbor.dof) * math.hypot(GTC.uncertainty(total), math.sqrt(one))
    assert (advice.worst.high - advice.worst.low) / 2 == pytest.approx(reach, rel=0.02)


@given(*[st.tuples(st.floats(0, 10), st.floats(0, 3), st.floats(0, 3))] * 2)
def test_a_difference_turns_its_limits_with_its_sign(one, other):
    first, second = (Known(v, low=v - down, high=v + up) for v, down, up in (one, other))
    there, back = difference(first, second), difference(second, first)
    assert_allclose([there.value, there.low, there.high], [-back.value, -back.high, -back.low])
    assert there.low <= there.value <= there.high


def test_symmetrical_limits_of_a_difference_add_as_squares():
    found = difference(Known(5.0, low=2.0, high=8.0), Known(1.0, low=-3.0, high=5.0))
    assert (found.value, found.low, found.high) == (4.0, -1.0, 9.0)


# Simulation: do the limits cover, and do recommended changes gain?


def simulated_mountings(clocks, blade, flange, seating, reading, cases, rng):
    """Mountings of many blades: what was measured, what is there, and what a new one would show.

    Returns the share of new mountings at the best tooth below the lower and above the upper limit,
    of changes recommended, and of changes recommended that do not gain.
    """
    clocks, fit_dof = np.asarray(clocks, float), 21
    truth = blade + flange * np.exp(-1j * np.radians(clocks))
    scatter = vectors(rng, (cases, len(clocks)))
    there = truth + seating * scatter
    measured = there + reading * vectors(rng, (cases, len(clocks)))
    stated = reading**2 * rng.chisquare(fit_dof, (cases, len(clocks))) / fit_dof
    covariance = stated[..., None, None] * np.eye(2)
    design = arbor_design(clocks, np.zeros(len(clocks), int))
    given = Mounted(measured, covariance, np.full(len(clocks), float(fit_dof)))
    model = Mountings(given, design)
    variance = model.seating_variance(model.dof)
    solved = model.solved(variance)
    dof = model.dof_of(variance, solved.share)
    own, arbor = (solved.values[:, at] + 1j * solved.values[:, at + 1] for at in (0, 2))
    teeth = np.exp(2j * np.pi * np.arange(24) / 24)
    expected = np.abs(own[:, None] + arbor[:, None] * teeth)
    turn = teeth[expected.argmin(axis=1)]
    left = np.abs(own + arbor * turn)
    seen = np.zeros((cases, 2, 4))
    seen[:, 0, 0] = seen[:, 1, 1] = 1
    seen[:, 0, 2] = seen[:, 1, 3] = turn.real
    seen[:, 0, 3], seen[:, 1, 2] = -turn.imag, turn.imag
    doubt = np.linalg.eigvalsh(seen @ solved.covariance @ np.swapaxes(seen, 1, 2))[:, -1]
    one = np.trace(solved.covariance, axis1=1, axis2=2) / np.trace(np.linalg.inv(design.T @ design))
    low, high = next_limits(left, np.sqrt(doubt + one), dof)
    now = np.abs(measured[:, -1])
    now_low, _ = next_limits(now, np.sqrt(np.maximum(0, one - variance)), dof)
    recommended = now - left > np.hypot(now - now_low, high - left)
    new = np.abs(blade + flange * turn + seating * vectors(rng, cases))
    gains = np.abs(there[:, -1]) > new
    return np.array(
        [np.mean(new < low), np.mean(new > high), recommended.mean(), np.mean(recommended & ~gains)]
    )


@pytest.mark.parametrize(
    ("clocks", "flange", "seating", "reading"),
    [
        ((0, 180, 90), 0.6, 0.1, 0.03),
        ((0, 120, 240, 0), 0.1, 0.1, 0.1),
        ((0, 90, 180, 270, 0, 180), 0.3, 0.1, 0.1),
        ((0, 90, 180, 270, 0, 180), 0.05, 0.1, 0.02),
    ],
)
def test_limits_cover_and_few_changes_are_recommended_in_vain(clocks, flange, seating, reading):
    # 95 % limits: 2.5 % at either end, and of all cases no more than 2.5 % recommended in vain.
    cases = 250
    below, above, _, vain = simulated_mountings(
        clocks, 1.0, flange * np.exp(1j), seating, reading, cases, rng_for(3)
    )
    most = 0.025 + 3 * math.sqrt(0.025 * 0.975 / cases)
    assert below <= most
    assert above <= most
    assert vain <= most


def test_of_the_changes_recommended_95_percent_gain():
    """120 of the blades of `tests/benchmarks/bench_clock.py`, which runs 20,000."""
    found = [*outcomes(120, rng_for(2))]
    told = [one.gains for one in found if one.recommended]
    assert len(told) > 20
    assert sum(told) >= len(told) * 0.95 - 2 * math.sqrt(len(told) * 0.95 * 0.05)
    # At most 2.5 % each way, and three standard deviations of 120 blades.
    assert sum(one.below for one in found) <= 8
    assert sum(one.above for one in found) <= 8
