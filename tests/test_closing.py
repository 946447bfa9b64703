"""A closing reading: a steady stand is let alone, a stand that moved is told where it matters.

Readings are made of a wobble, noise, a steady drift of the stand, and the dial's rounding. The
check for mistakes has an error rate of its own and is left out, but where it is what is tested.
"""

from __future__ import annotations

import numpy as np
import pytest
from shop_days import NO_MISTAKE
from simulated import rng_for

import bladegeom as bg
from bladegeom.shop.condition import assess

SD, TIR = 0.003, 0.1


def limits(wobble_mm):
    return bg.Limits((bg.Limit("wobble_tir", (wobble_mm, "mm"), "invented for a test"),))


def read(teeth, turns, step, rng, *, drift=0.0, near=None, stated=True, closed=True):
    """Readings in mm, every turn closed; the stand drifts by so many mm in a turn."""
    tooth = np.append(np.arange(1, teeth + 1), [1] if closed else [])
    near = rng.uniform(0, 2 * np.pi) if near is None else near
    plate = TIR / 2 * np.cos(2 * np.pi * (tooth - 1) / teeth - near) + rng.uniform(0, step)
    ramp = drift * np.arange(len(tooth)) / teeth
    values = np.tile(plate + ramp, turns) + rng.normal(0, SD, turns * len(tooth))
    return bg.Readings(
        bg.Blade(teeth),
        np.round(values / step) * step,
        unit="mm",
        tooth=np.tile(tooth, turns),
        turn=np.repeat(np.arange(1, turns + 1), len(tooth)),
        ring_radius="100 mm",
        graduation=(step if stated else None, "mm"),
    )


@pytest.mark.parametrize("turns", [1, 2])
@pytest.mark.parametrize("teeth", [24, 40, 80])
def test_at_most_one_steady_stand_in_a_hundred_is_sent_back(teeth, turns):
    """Fine dials, 0.3 steps of scatter, and a step not stated; limits far off and on the edge."""
    rng, sent, warned, trials = rng_for(71), 0, 0, 0
    doubt = 4 * SD * np.sqrt(2 / teeth / turns)  # Of the TIR, twice its standard uncertainty.
    for step, stated in ((0.0005, True), (0.01, True), (0.01, False)):
        for edge in [0.0, 1.5, 20.0] * 40:
            fit = bg.fit_wobble(read(teeth, turns, step, rng, stated=stated))
            warned += any("closing reading differs" in one for one in fit.warnings)
            said = assess(fit, limits(TIR + edge * doubt), findings=NO_MISTAKE)
            sent += not said.sound
            trials += 1
    # 1 %, and three standard deviations of a share of so many blades.
    most = trials * 0.01 + 3 * np.sqrt(trials * 0.01 * 0.99)
    assert sent < most
    assert warned < most


@pytest.mark.parametrize("edge", [0.5, 1.5])
def test_not_even_on_the_edge_of_the_limit_is_a_steady_stand_sent_back(edge):
    """With 80 teeth a closing reading that stands out shifts the wobble by more than its doubt."""
    teeth, trials, sent = 80, 1000, 0
    limit = limits(TIR + edge * 4 * SD * np.sqrt(2 / teeth))
    rng = rng_for(78)
    for _ in range(trials):
        readings = read(teeth, 1, 0.0005, rng)
        # Only to save time: what closes well within one sd of a difference is sent back by no law.
        if abs(readings.closure) > np.sqrt(2) * SD * 1.5:
            sent += not assess(bg.fit_wobble(readings), limit, findings=NO_MISTAKE).sound
    assert sent / trials < 0.01 + 2 * np.sqrt(0.01 * 0.99 / trials)


def test_one_step_of_a_dial_is_no_evidence_though_the_step_is_not_stated():
    read = np.zeros(40)
    read[20] = 0.01

    def warned(closing):
        given = bg.Readings(bg.Blade(40), [*read, closing], unit="mm")
        return any("closing reading differs" in one for one in bg.fit_wobble(given).warnings)

    assert not warned(0.01)
    assert warned(0.03)


@pytest.mark.parametrize("turns", [1, 2])
@pytest.mark.parametrize("teeth", [24, 40, 80])
@pytest.mark.parametrize("way", [1, -1])
def test_a_stand_that_plainly_moved_is_caught_where_the_outcome_would_be_the_contrary(
    teeth, turns, way
):
    rng, wrong = rng_for(72), 0
    # The drift of 10 sd in a turn moves the sine part by drift / pi: near at 90 or 270 degrees.
    for _ in range(12):
        near = np.pi / 2 * (1 if way > 0 else 3)
        moved = read(teeth, turns, 0.0005, rng, drift=10 * SD, near=near)
        fit = bg.fit_wobble(moved)
        limit = limits(TIR - way * 10 * SD / np.pi)
        plain = limit.limits[0].in_unit("mm")
        low, high, _ = fit.amplitude_interval()
        if not (2 * high <= plain if way > 0 else 2 * low > plain):
            continue  # The drift has made no wrong call.
        wrong += 1
        said = assess(fit, limit, findings=NO_MISTAKE)
        assert (said.action, said.outcome, said.sound) == ("measure again", "undecided", False)
    assert wrong > 5


def test_a_stand_that_moved_without_matter_is_warned_of_and_the_blade_passes():
    readings = read(40, 1, 0.0005, rng_for(73), drift=10 * SD)
    fit = bg.fit_wobble(readings)
    said = assess(fit, limits(5 * TIR), findings=NO_MISTAKE)
    assert (said.action, said.outcome, said.sound) == ("fit for use", "conforms", True)
    assert any("closing reading differs" in one for one in fit.warnings)
    assert "closing reading differs" in str(said)


def test_a_slip_in_the_closing_reading_alone_sends_no_blade_back():
    readings = read(40, 1, 0.0005, rng_for(74), near=0.0)
    values = readings.reading.copy()
    values[-1] = -values[-1]  # A lost minus: 0.1 mm off.
    facts = {"unit": "mm", "ring_radius": "100 mm", "graduation": "0.0005 mm"}
    slipped = bg.Readings(readings.blade, values, **facts)
    found = bg.check_readings(slipped)
    assert {one.teeth for one in found} == {(1,)}
    fit = bg.fit_wobble(slipped)
    said = assess(fit, limits(5 * TIR), findings=found)
    assert said.action == "fit for use"
    assert any("closing reading differs" in one for one in fit.warnings)
    values[:-1], values[-1] = readings.reading[:-1], readings.reading[-1]
    values[0] = -values[0]
    first = bg.fit_wobble(bg.Readings(readings.blade, values, **facts))
    assert assess(first, limits(5 * TIR)).action == "measure again"


@pytest.mark.parametrize("drift", np.linspace(-0.03, 0.03, 13))
def test_a_drift_is_fitted_where_and_only_where_it_is_warned_of(drift):
    readings = read(40, 1, 0.0005, rng_for(75), drift=drift)
    warned = any("closing reading differs" in one for one in bg.fit_wobble(readings).warnings)
    if warned:
        assert bg.fit_wobble(readings, drift=True).drift_per_turn == pytest.approx(drift, abs=0.012)
    else:
        with pytest.raises(bg.RefusedError, match="drift is not shown"):
            bg.fit_wobble(readings, drift=True)


def test_every_closed_turn_counts():
    """Two turns that miss by as much, each alone within the scatter, show it together."""
    size = 3.2 * SD  # Allowed in one turn: 2.7 sqrt 2 = 3.8; of the mean of two: 2.7.

    def warned(first, second):
        readings = read(80, 2, 0.0001, rng_for(77), closed=False)
        heights = readings.reading.reshape(2, 80)
        closed = [
            np.append(turn, turn[0] + by) for turn, by in zip(heights, (first, second), strict=True)
        ]
        both = bg.Readings(
            bg.Blade(80),
            np.concatenate(closed),
            unit="mm",
            tooth=np.tile(np.append(np.arange(1, 81), 1), 2),
            turn=np.repeat([1, 2], 81),
        )
        return any("closing reading differs" in one for one in bg.fit_wobble(both).warnings)

    assert warned(size, size)
    assert not warned(size, -size)
