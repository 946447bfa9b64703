"""A closing reading: a steady stand is let alone, a stand that moved is told where it matters.

Readings are made of a wobble, noise, a steady drift of the stand, and the dial's rounding. The
check for mistakes has an error rate of its own and is left out, but where it is what is tested.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from shop_days import NO_MISTAKE
from simulated import rng_for

import bladegeom as bg
from bladegeom.fit.closing import closing_of, without_drift
from bladegeom.shop.condition import assess

SD, TIR = 0.003, 0.1


def limits(wobble_mm):
    return bg.Limits((bg.Limit("wobble_tir", (wobble_mm, "mm"), "invented for a test"),))


def read(teeth, turns, step, rng, *, drift=0.0, near=None, stated=True, closed=True, dial=None):
    """Readings in mm, every turn closed; the stand drifts by so many mm in a turn.

    It drifts on from turn to turn where the dial was left alone.
    """
    tooth = np.append(np.arange(1, teeth + 1), [1] if closed else [])
    near = rng.uniform(0, 2 * np.pi) if near is None else near
    plate = TIR / 2 * np.cos(2 * np.pi * (tooth - 1) / teeth - near) + rng.uniform(0, step)
    ramp = drift * np.arange(turns * len(tooth)) / teeth
    if dial != "left alone":
        ramp = np.tile(ramp[: len(tooth)], turns)
    values = np.tile(plate, turns) + ramp + rng.normal(0, SD, turns * len(tooth))
    return bg.Readings(
        bg.Blade(teeth),
        np.round(values / step) * step,
        unit="mm",
        tooth=np.tile(tooth, turns),
        turn=np.repeat(np.arange(1, turns + 1), len(tooth)),
        ring_radius="100 mm",
        graduation=(step if stated else None, "mm"),
        dial=dial,
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


# The dial left alone between turns


@pytest.mark.parametrize("turns", [2, 3])
@pytest.mark.parametrize(("step", "stated"), [(0.0005, True), (0.01, True), (0.01, False)])
@pytest.mark.parametrize("closed", [True, False])
def test_with_the_dial_left_alone_a_small_drift_is_told_and_a_steady_stand_is_not(
    turns, step, stated, closed
):
    rng, trials = rng_for(79), 250
    given = {"stated": stated, "closed": closed, "dial": "left alone"}
    steady = [closing_of(read(40, turns, step, rng, **given)).moved() for _ in range(trials)]
    assert sum(steady) < trials * 0.01 + 3 * np.sqrt(trials * 0.01 * 0.99)
    for way in (1, -1):
        drift = 2 * SD * way
        found = [closing_of(read(40, turns, step, rng, drift=drift, **given)) for _ in range(15)]
        assert all(one.moved() for one in found)
        mean = np.mean([one.difference for one in found])
        # A step adds step**2 / 12 to the variance of a reading.
        sd = np.hypot(SD, step / np.sqrt(12)) * np.sqrt(2 / 40 / len(found))
        assert mean == pytest.approx(drift, abs=4 * sd)


def test_the_teeth_read_again_differ_by_as_much_as_the_law_says():
    """Over many blades, closed and not, read all round or every second tooth, both ways or one."""
    rng = rng_for(80)
    for closed, every, back in [(1, 1, False), (0, 1, False), (1, 2, False), (0, 1, True)]:
        found = []
        for _ in range(300):
            one = read(40, 3, 1e-6, rng, drift=SD, closed=bool(closed), dial="left alone")
            kept = (one.tooth - 1) % every == 0
            ways = np.where(back & (one.turn == 3), "backward", "forward")[kept]
            # The stylus drags: what is read backward stands lower throughout.
            heights = one.reading[kept] - SD * 5 * (ways == "backward")
            again = bg.Readings(
                one.blade,
                heights,
                unit="mm",
                tooth=one.tooth[kept],
                turn=one.turn[kept],
                turned=ways,
                dial="left alone",
            )
            found.append(closing_of(again))
        off = np.array([one.difference for one in found]) - SD
        scatter = SD * np.sqrt(2 / found[0].turns)
        assert abs(off.mean()) < 4 * scatter / np.sqrt(len(found))
        assert off.std() == pytest.approx(scatter, rel=0.17)


@pytest.mark.parametrize("dial", [None, "set anew"])
def test_a_dial_set_anew_or_not_stated_shows_nothing_between_turns(dial):
    readings = read(40, 2, 0.0005, rng_for(81), closed=False, dial=dial)
    values = readings.reading + 0.05 * (readings.turn == 2)
    given = {"unit": "mm", "tooth": readings.tooth, "turn": readings.turn}
    moved = bg.Readings(readings.blade, values, **given, dial=dial)
    assert closing_of(moved) is None
    plain = bg.fit_wobble(moved)
    left = bg.fit_wobble(bg.Readings(readings.blade, values, **given, dial="left alone"))
    assert left.turn_drift == pytest.approx(0.05, abs=4 * SD * np.sqrt(2 / 40))
    assert left.wobble_tir == plain.wobble_tir
    assert len(left.warnings) == len(plain.warnings) + 1


def test_one_slip_in_one_turn_is_no_moved_stand():
    readings = read(40, 2, 0.0005, rng_for(82), closed=False, dial="left alone")
    values = readings.reading.copy()
    values[55] += 0.1
    slipped = bg.Readings(
        *(readings.blade, values),
        unit="mm",
        tooth=readings.tooth,
        turn=readings.turn,
        dial="left alone",
    )
    assert not closing_of(slipped).moved()


@pytest.mark.parametrize("way", [1, -1])
def test_with_the_dial_left_alone_a_drift_that_would_turn_the_outcome_sends_the_blade_back(way):
    """Two turns that no closing reading ends; without the fact nothing can show the drift."""
    drift, near = 4 * SD, np.pi / 2 * (1 if way > 0 else 3)
    limit, sent, unseen = limits(TIR - way * drift / np.pi), 0, 0
    rng = rng_for(83)
    for _ in range(12):
        moved = read(80, 2, 0.0005, rng, drift=drift, near=near, closed=False, dial="left alone")
        fit = bg.fit_wobble(moved)
        low, high, _ = fit.amplitude_interval()
        plain = limit.limits[0].in_unit("mm")
        if not (2 * high <= plain if way > 0 else 2 * low > plain):
            continue  # The drift has made no wrong call.
        said = assess(fit, limit, findings=NO_MISTAKE)
        sent += (said.action, said.outcome, said.sound) == ("measure again", "undecided", False)
        unseen += 1
        steady = bg.fit_wobble(without_drift(moved, closing_of(moved).difference))
        assert abs(steady.wobble_tir - TIR) < abs(fit.wobble_tir - TIR)
        assert abs(fit.value - steady.value) == pytest.approx(fit.closure_bias)
    assert sent == unseen > 3


def test_the_table_says_what_the_fit_says_of_a_dial_left_alone():
    rng, given = rng_for(84), {"drift": 3 * SD, "closed": False, "dial": "left alone"}
    every = {name: read(40, 2, 0.0005, rng, **given) for name in "ABCDEF"}
    frame = pd.concat(
        pd.DataFrame(
            {"blade": name, "teeth": 40, "tooth": one.tooth, "turn": one.turn}
            | {"reading_mm": one.reading, "ring_radius_mm": 100.0, "graduation_mm": 0.0005}
        )
        for name, one in every.items()
    )
    left = bg.fit_table(frame.assign(dial="Left alone")).to_dict("records")
    for row, one in zip(left, every.values(), strict=True):
        fit = bg.fit_wobble(one)
        assert row["closure_bias"] == pytest.approx(fit.closure_bias)
        assert row["warnings"] == "; ".join(fit.warnings) != ""
    assert bg.fit_table(frame)["closure_bias"].isna().all()


def test_a_drift_through_turns_is_fitted_but_not_where_the_dial_was_set_anew():
    made = {"drift": 5 * SD, "closed": False}
    left = read(40, 2, 0.0005, rng_for(85), **made, dial="left alone")
    fit = bg.fit_wobble(left, drift=True)
    assert fit.drift_per_turn == pytest.approx(fit.turn_drift, abs=SD)
    assert fit.closure_bias is None
    assert assess(fit, limits(5 * TIR), findings=NO_MISTAKE).sound
    anew = read(40, 2, 0.0005, rng_for(85), **made, dial="set anew")
    with pytest.raises(bg.RefusedError) as refused:
        bg.fit_wobble(anew, drift=True)
    assert refused.value.faults[0].column == "dial"


def test_a_turn_of_every_second_tooth_drifts_by_as_much_as_its_closing_reading_shows():
    plate = 0.05 * np.cos(2 * np.pi * np.arange(0, 40, 2) / 40)
    tooth, ramp = [*range(1, 41, 2), 1], 0.02 * np.arange(21) / 20
    given = {"unit": "mm", "tooth": tooth, "graduation": "1e-6 mm"}
    drifted = bg.Readings(bg.Blade(40), np.append(plate, plate[0]) + ramp, **given)
    fit = bg.fit_wobble(drifted)
    assert fit.closure_bias == pytest.approx(abs(fit.value - 0.05), rel=1e-3)
    steady = without_drift(drifted, closing_of(drifted).difference)
    assert bg.fit_wobble(steady).value == pytest.approx(0.05, abs=1e-6)
    frame = pd.DataFrame({"blade": "A", "teeth": 40, "tooth": tooth, "reading_mm": drifted.reading})
    assert bg.fit_table(frame)["closure_bias"][0] == pytest.approx(fit.closure_bias)
