"""What was not read cannot pass: which unread teeth keep a blade from it, and which do not."""

from __future__ import annotations

import numpy as np
import pytest
from shop_days import NO_MISTAKE, queue_rows
from simulated import rng_for
from written import save

import bladegeom as bg
from bladegeom.live.order import reading_order

LIMIT = 0.1
RAW = bg.Limit("raw_tir", (LIMIT, "mm"), "invented for a test")
WOBBLE = bg.Limit("wobble_tir", (LIMIT, "mm"), "invented for a test")
BOTH = bg.Limits((RAW, WOBBLE))


def bump(teeth, first, count, height):
    """A bend of the plate over some teeth, half a sine long."""
    shape = np.zeros(teeth)
    shape[:count] = height * np.sin(np.pi * np.arange(1, count + 1) / (count + 1))
    return np.roll(shape, first - 1)


def plate(teeth, *, seed=1, bend=0.0):
    rng = rng_for(seed)
    angle = 2 * np.pi * np.arange(teeth) / teeth
    return 0.01 * np.cos(angle - 1) + bend + rng.normal(0, 0.0015, teeth)


def judged(heights, unread=(), *, listed=None, limits=BOTH, rule="zones", findings=None):
    teeth = len(heights)
    read = [tooth for tooth in range(1, teeth + 1) if tooth not in set(unread)]
    fit = fitted(listed or teeth, heights, read)
    return bg.assess(fit, limits, rule=rule, findings=findings)


def fitted(teeth, heights, read, **facts):
    """The fit of a blade of which those teeth were read."""
    facts = {"unit": "mm", "ring_radius": "100 mm", "graduation": "0.001 mm"} | facts
    values = [heights[tooth - 1] for tooth in read]
    return bg.fit_wobble(bg.Readings(bg.Blade(teeth, name="A"), values, tooth=read, **facts))


def run_of(first, count, teeth):
    return [(first - 1 + step) % teeth + 1 for step in range(count)]


@pytest.mark.parametrize("rule", ["zones", "simple"])
@pytest.mark.parametrize("limit", [RAW, WOBBLE])
@pytest.mark.parametrize("seed", range(5))
def test_a_bend_in_an_unread_arc_does_not_pass(seed, limit, rule):
    teeth, first = 60, int(rng_for(seed).integers(1, 61))
    hidden = run_of(first, 20, teeth)
    heights = plate(teeth, seed=seed, bend=bump(teeth, hidden[2], 16, 0.25))
    limits = bg.Limits((limit,))
    said = judged(heights, hidden, limits=limits, rule=rule)
    assert (said.outcome, said.action) == ("undecided", "measure again")
    assert said.teeth_to_read == tuple(sorted(hidden))
    assert said.sound
    row = said.to_dict()
    assert row["teeth_to_read"] == sorted(hidden)
    assert row["teeth_read"] == 40
    assert row[f"{limit.quantity}_outcome"] == "undecided"
    assert row["conformance_probability"] is None
    # The instruction followed: what was hidden is found, on the bent blade and on a true one.
    whole = judged(heights, limits=limits, rule=rule, findings=NO_MISTAKE)
    assert (whole.outcome, whole.teeth_to_read) == ("does not conform", ())
    assert judged(plate(teeth, seed=seed), limits=limits, rule=rule).action == "fit for use"


def test_a_blade_listed_with_more_teeth_than_it_has_does_not_pass():
    heights = np.append(plate(24), np.zeros(16))
    said = judged(heights, range(25, 41), listed=40)
    assert said.outcome == "undecided"
    assert said.teeth_to_read == tuple(range(25, 41))
    assert judged(plate(24)).action == "fit for use"


@pytest.mark.parametrize(
    ("teeth", "unread"),
    [
        (80, [17]),
        (80, [80]),
        (80, [1, 2, 40, 41, 79]),  # 79 and 1, 2 lie apart: 80 is read.
        (80, range(2, 81, 2)),
        (80, [tooth for tooth in range(1, 81) if tooth % 3 != 1]),
        (24, [7, 8]),
        (16, [5]),
    ],
)
def test_a_few_teeth_between_two_that_were_read_hide_nothing(teeth, unread):
    said = judged(plate(teeth), unread)
    assert (said.outcome, said.action, said.teeth_to_read) == ("conforms", "fit for use", ())


@pytest.mark.parametrize(
    ("teeth", "unread"),
    [
        (80, [79, 80, 1]),
        (40, [tooth for tooth in range(1, 41) if tooth % 5 != 1]),
        (40, [3, 10, 20, 21, 22]),
        (20, [7, 8]),
        (12, [4]),
    ],
)
def test_three_teeth_in_a_row_or_an_eighth_of_a_turn_may_hide_a_bend(teeth, unread):
    said = judged(plate(teeth), unread)
    assert said.outcome == "undecided"
    assert set(said.teeth_to_read) <= set(unread)
    named = set(said.teeth_to_read)
    assert judged(plate(teeth), set(unread) - named).action == "fit for use"


def test_every_third_of_a_long_run_is_enough():
    unread = set(range(41, 61))
    every_third = set(range(43, 61, 3))
    said = judged(plate(60), unread - every_third)
    assert said.action == "fit for use"


@pytest.mark.parametrize(("teeth", "every"), [(80, 2), (80, 3), (60, 2), (40, 3), (24, 2)])
def test_no_bend_over_the_limit_passes_between_the_teeth_that_were_read(teeth, every):
    """Bends of three teeth and more, anywhere, most of them just over the limit."""
    rng, over = rng_for(teeth + every), 0
    unread = [tooth for tooth in range(1, teeth + 1) if tooth % every != 1]
    for _ in range(60):
        count, first = int(rng.integers(3, teeth // 6 + 1)), int(rng.integers(1, teeth + 1))
        bend = bump(teeth, first, count, rng.choice([-1, 1]) * rng.uniform(0.09, 0.15))
        heights = plate(teeth, seed=int(rng.integers(1000)), bend=bend)
        if np.ptp(heights) > LIMIT:
            over += 1
            assert judged(heights, unread, limits=bg.Limits((RAW,))).outcome != "conforms"
    assert over > 30


def test_a_blade_that_fails_on_what_was_read_fails_and_the_rest_is_named():
    heights = plate(60, bend=bump(60, 5, 12, 0.3))
    said = judged(heights, range(41, 61), limits=bg.Limits((RAW,)))
    assert said.outcome == "does not conform"
    assert said.teeth_to_read == tuple(range(41, 61))


def test_turns_that_read_different_teeth_count_together():
    tooth = [*range(1, 22), *range(20, 41)]
    said = bg.assess(fitted(40, plate(40), tooth, turn=[1] * 21 + [2] * 21), BOTH)
    assert (said.teeth_read, said.teeth_to_read) == (40, ())


def test_the_teeth_to_read_stand_in_the_queue(tmp_path):
    rows = ["blade,teeth,tooth,reading_mm,ring_radius_mm,graduation_mm"]
    heights = plate(60)
    rows += [f"A,60,{tooth},{heights[tooth - 1]:.3f},100,0.001" for tooth in range(1, 41)]
    table = save(tmp_path / "day.csv", "\n".join(rows) + "\n")
    bg.run_batch([table], BOTH, tmp_path / "out")
    row = queue_rows(tmp_path / "out" / "queue.json")["A"]
    assert row["teeth_to_read"] == [*range(41, 61)]
    assert (row["teeth_read"], row["teeth"]) == (40, 60)
    assert (row["action"], row["outcome"]) == ("measure again", "undecided")


@pytest.mark.parametrize("size", [0.01, 0.3])
@pytest.mark.parametrize(("teeth", "count"), [(40, 11), (40, 17), (24, 8), (24, 13), (80, 8)])
def test_a_reading_that_was_stopped_early_neither_passes_nor_fails_a_blade(
    teeth, count, size, tmp_path
):
    """Far within both limits, or far over them: all that was read says so, and yet."""
    read = reading_order(teeth, spread=True)[:count]
    heights = plate(teeth) * size / 0.01
    rows = ["blade,teeth,tooth,reading_mm,ring_radius_mm,graduation_mm,finished"]
    rows += [f"A,{teeth},{tooth},{heights[tooth - 1]:.3f},100,0.001,no" for tooth in read]
    table = save(tmp_path / "day.csv", "\n".join(rows) + "\n")
    for limit in (RAW, WOBBLE):
        for rule in ("zones", "simple"):
            limits = bg.Limits((limit,))
            said = bg.assess(bg.fit_wobble(bg.read_blade(table)), limits, rule=rule)
            assert (said.outcome, said.action) == ("undecided", "measure again")
            assert set(said.teeth_to_read) == set(range(1, teeth + 1)) - set(read)
            assert said.to_dict()[f"{limit.quantity}_outcome"] == "undecided"
            assert said.marks.marked is None
    bg.run_batch([table], BOTH, tmp_path / "out")
    row = queue_rows(tmp_path / "out" / "queue.json")["A"]
    assert (row["action"], row["outcome"]) == ("measure again", "undecided")
    # Every tooth read in the same order, the blade is judged.
    whole = fitted(teeth, heights, reading_order(teeth, spread=True))
    assert bg.assess(whole, BOTH).outcome == ("conforms" if size < LIMIT else "does not conform")


def test_fewer_than_half_the_teeth_fail_no_blade_in_whatever_order_they_stand():
    heights = plate(40) * 30
    for read, outcome in (
        (sorted(reading_order(40, spread=True)[:11]), "undecided"),
        (range(1, 31), "does not conform"),
    ):
        assert bg.assess(fitted(40, heights, read), BOTH).outcome == outcome
