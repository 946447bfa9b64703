"""What moves beside the blade: turns set anew, drift, a dial with play, kinds of teeth."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

import bladegeom as bg


def wave(blade, amplitude, near_deg, tooth):
    return amplitude * np.cos(np.radians(blade.angles_deg[np.asarray(tooth) - 1] - near_deg))


def every_tooth(turns, teeth=40):
    return np.tile(np.arange(1, teeth + 1), turns), np.repeat(np.arange(1, turns + 1), teeth)


def test_a_dial_set_anew_between_turns_costs_nothing():
    blade = bg.Blade(40)
    tooth, turn = every_tooth(2)
    rng = np.random.default_rng(1)
    read = wave(blade, 0.05, 70, tooth) + rng.normal(0, 0.003, 80)
    same = bg.fit_wobble(bg.Readings(blade, read, unit="mm", tooth=tooth, turn=turn))
    anew = bg.fit_wobble(
        bg.Readings(blade, read + 0.7 * (turn == 2), unit="mm", tooth=tooth, turn=turn)
    )
    assert same.dof == 80 - 2 - 2
    assert_allclose(anew.amplitude, same.amplitude, rtol=1e-12)
    assert_allclose(anew.near_deg, same.near_deg, rtol=1e-12)
    assert_allclose(anew.residual_sd, same.residual_sd, rtol=1e-10)
    assert_allclose(anew.raw_tir, same.raw_tir, rtol=1e-12)


def test_half_a_blade_in_each_of_two_turns_is_as_doubtful_as_two_half_arcs():
    # Each half has an offset of its own, so the halves do not tell which is higher.
    blade = bg.Blade(40)
    tooth = np.arange(1, 41)
    read = wave(blade, 0.05, 70, tooth) + np.random.default_rng(2).normal(0, 0.003, 40)
    turn = 1 + (tooth > 20)
    halves = bg.fit_wobble(bg.Readings(blade, read, unit="mm", tooth=tooth, turn=turn))
    whole = bg.fit_wobble(bg.Readings(blade, read, unit="mm", tooth=tooth))
    assert halves.warnings[0].startswith("the teeth that were read")
    scatter = [halves.covariance - halves.leak.covariance, whole.covariance]
    sds = halves.reading_sd, whole.reading_sd
    worst = [np.linalg.eigvalsh(one)[-1] / sd**2 for one, sd in zip(scatter, sds, strict=True)]
    # By brute force: the inverse of the normal equations with a column for each half.
    angle = np.radians(blade.angles_deg)
    x = np.column_stack([turn == 1, turn == 2, np.cos(angle), np.sin(angle)]).astype(float)
    assert_allclose(worst[0], np.linalg.eigvalsh(np.linalg.inv(x.T @ x)[2:, 2:])[-1])
    assert worst[0] > 4 * worst[1]


@pytest.mark.parametrize("teeth", [24, 40, 41, 96])
def test_a_closing_error_biases_the_wobble_as_a_ramp_does(teeth):
    # An unmodelled drift with closure D: -D/pi in the sine part, -D/N in the cosine part, to
    # within the step from tooth to tooth.
    blade = bg.Blade(teeth)
    slip = 0.02
    tooth = np.append(np.arange(1, teeth + 1), 1)
    ramp = slip * np.arange(teeth + 1) / teeth
    read = wave(blade, 0.05, 130, tooth)
    clean = bg.fit_wobble(bg.Readings(blade, read, unit="mm"))
    drifted = bg.fit_wobble(bg.Readings(blade, read + ramp, unit="mm"))
    moved = np.array([drifted.cosine - clean.cosine, drifted.sine - clean.sine])
    assert_allclose(moved[0], -slip / teeth, rtol=1e-9)
    assert_allclose(moved[1], -slip / math.pi, rtol=5 / teeth**2)
    assert_allclose(drifted.closure_bias, np.hypot(*moved), rtol=1e-9)
    assert_allclose(drifted.readings.closure, slip)


def test_a_fitted_drift_is_taken_out_exactly():
    blade = bg.Blade(40)
    tooth = np.append(np.arange(1, 41), 1)
    rng = np.random.default_rng(3)
    read = wave(blade, 0.05, 130, tooth) + 0.03 * np.arange(41) / 40 + rng.normal(0, 0.001, 41)
    fit = bg.fit_wobble(bg.Readings(blade, read, unit="mm"), drift=True)
    assert abs(fit.drift_per_turn - 0.03) < 4 * fit.drift_u_per_turn
    assert abs(fit.amplitude - 0.05) < 4 * fit.amplitude_u
    assert any("drift of" in warning for warning in fit.warnings)
    # The closing reading makes it cost 2.1 to 2.4 times the variance, not 2.55.
    assert 2.1 < fit.drift_cost < 2.4


def test_two_turns_make_a_drift_cheap():
    blade = bg.Blade(40)
    tooth, turn = every_tooth(2)
    read = wave(blade, 0.05, 130, tooth) + 0.03 * np.arange(80) / 40
    fit = bg.fit_wobble(bg.Readings(blade, read, unit="mm", tooth=tooth, turn=turn), drift=True)
    assert_allclose(fit.drift_per_turn, 0.03, rtol=1e-9)
    assert_allclose(fit.amplitude, 0.05, rtol=1e-9)
    assert_allclose(fit.drift_cost, 1.2, atol=0.05)


@pytest.mark.parametrize("closing", [None, 0.001])
def test_a_drift_that_is_not_shown_is_refused(closing):
    blade = bg.Blade(40)
    rng = np.random.default_rng(4)
    read = wave(blade, 0.05, 130, np.arange(1, 41)) + rng.normal(0, 0.003, 40)
    if closing is not None:
        read = np.append(read, read[0] + closing)
    with pytest.raises(bg.RefusedError, match="closing reading"):
        bg.fit_wobble(bg.Readings(blade, read, unit="mm"), drift=True)


def with_play(read, dead_band):
    """Return what an indicator shows whose follower hangs back within its dead band."""
    shown, held = [], read[0]
    for height in np.tile(read, 3):
        held = min(max(held, height - dead_band / 2), height + dead_band / 2)
        shown.append(held)
    return np.array(shown[-len(read) :])


@pytest.mark.parametrize("share", [0.02, 0.05, 0.1, 0.3])
def test_turns_both_ways_show_the_play_and_cancel_it(share):
    # The lag of 2 h / (pi A) holds within 4 % up to h = 0.1 A.
    teeth, amplitude = 96, 0.1
    blade = bg.Blade(teeth)
    tooth = np.arange(1, teeth + 1)
    true = wave(blade, amplitude, 100, tooth)
    forward = with_play(true, share * amplitude)
    backward = with_play(true[::-1], share * amplitude)[::-1]
    fit = bg.fit_wobble(
        bg.Readings(
            blade,
            np.concatenate([forward, backward]),
            unit="mm",
            tooth=np.tile(tooth, 2),
            turn=np.repeat([1, 2], teeth),
            turned=["forward"] * teeth + ["backward"] * teeth,
        )
    )
    assert_allclose(fit.near_deg, 100, atol=0.02)
    if share <= 0.1:
        assert_allclose(fit.lag_deg, np.degrees(2 * share / np.pi), rtol=0.04)
    # The curve is flatter too, by up to a tenth here: that is put back.
    assert_allclose(fit.play, share * amplitude, rtol=0.02)
    assert_allclose(fit.amplitude, amplitude, rtol=0.002)
    assert fit.lag_deg > 0
    one_way = bg.fit_wobble(bg.Readings(blade, forward, unit="mm"))
    assert_allclose(one_way.near_deg - 100, fit.lag_deg, rtol=0.02)
    assert one_way.play is None


@pytest.mark.parametrize("share", [0.0, 0.1, 0.4])
def test_the_limits_hold_the_amplitude_whatever_the_play_takes_off(share):
    blade, rng, held = bg.Blade(40), np.random.default_rng(17), []
    tooth = np.arange(1, 41)
    for _ in range(300):
        near = rng.uniform(0, 360)
        fine = with_play(0.05 * np.cos(np.radians(np.arange(0, 360, 3) - near)), share * 0.05)
        back = with_play(0.05 * np.cos(np.radians(np.arange(360, 0, -3) - near)), share * 0.05)
        read = np.concatenate([fine[::3], np.roll(back[::3][::-1], 1)]) + rng.normal(0, 0.002, 80)
        turned = ["forward"] * 40 + ["backward"] * 40
        turn = np.repeat([1, 2], 40)
        readings = bg.Readings(
            blade, read, unit="mm", tooth=np.tile(tooth, 2), turn=turn, turned=turned
        )
        low, high, _ = bg.fit_wobble(readings).amplitude_interval()
        held.append(low <= 0.05 <= high)
    assert np.mean(held) >= 0.95 - 4 * np.sqrt(0.95 * 0.05 / 300)


def test_a_csv_says_which_way_the_blade_was_turned(tmp_path):
    path = tmp_path / "both.csv"
    blade = bg.Blade(12)
    true = wave(blade, 0.1, 50, np.arange(1, 13))
    rows = [f"{k + 1},1,forward,{true[k] + 0.001 * (k % 3)}" for k in range(12)]
    rows += [f"{k + 1},2,backward,{true[k]}" for k in range(12)]
    path.write_text("tooth,turn,turned,reading_mm\n" + "\n".join(rows))
    assert bg.fit_wobble(bg.read_blade(path, teeth=12)).lag_deg is not None
    path.write_text("tooth,turn,turned,reading_mm\n" + "\n".join(rows).replace("backward", "back"))
    with pytest.raises(bg.RefusedError, match="row 14: turned is 'back'; write forward or") as got:
        bg.read_blade(path, teeth=12)
    assert [fault.row for fault in got.value.faults] == list(range(14, 26))


def test_kinds_of_teeth_are_told_from_the_wobble():
    blade = bg.Blade(40, tooth_pattern=["L", "R"])
    tooth = np.arange(1, 41)
    rng = np.random.default_rng(5)
    ground = np.where(tooth % 2, 0.08, -0.03)
    read = wave(blade, 0.04, 200, tooth) + ground + rng.normal(0, 0.002, 40)
    plain = bg.fit_wobble(bg.Readings(bg.Blade(40), read, unit="mm", surface="teeth"))
    told = bg.fit_wobble(bg.Readings(blade, read, unit="mm", surface="teeth"))
    assert told.residual_sd < 0.003 < 0.05 < plain.residual_sd
    assert told.dof == 40 - 2 - 2
    assert abs(told.amplitude - 0.04) < 4 * told.amplitude_u
    assert any("tooth_pattern" in warning for warning in plain.warnings)
    assert not any("tooth_pattern" in warning for warning in told.warnings)


def test_kinds_that_go_with_the_wobble_are_refused_and_other_teeth_named():
    blade = bg.Blade(40, tooth_pattern=["L", "R"])
    half = [*range(1, 20, 2), *range(22, 41, 2)]  # Left teeth on one half, right ones on the other.
    read = np.random.default_rng(6).normal(0, 0.01, 40)
    fine = bg.Readings(blade, read[: len(half)], unit="mm", tooth=half, surface="teeth")
    assert bg.fit_wobble(fine).residual_dof == len(half) - 4
    spots = [1, 3, 5, 22, 24, 26]
    with pytest.raises(bg.RefusedError, match="read teeth of one kind all round, such as 1, 3, 5"):
        bg.fit_wobble(bg.Readings(blade, read[:6], unit="mm", tooth=spots, surface="teeth"))


def test_kinds_do_not_matter_where_the_plate_was_read():
    blade = bg.Blade(40, tooth_pattern=["L", "R"])
    read = np.random.default_rng(7).normal(0, 0.01, 40)
    assert bg.fit_wobble(bg.Readings(blade, read, unit="mm")).dof == 37


def test_a_pattern_that_does_not_fit_the_teeth_is_refused():
    with pytest.raises(bg.RefusedError, match="tooth pattern of 3"):
        bg.Blade(40, tooth_pattern=["L", "R", "F"])
