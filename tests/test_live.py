"""What a reading says the moment it is taken: the order, the question, and when it is enough."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from benchmarks import bench_enough as bench
from hypothesis import given
from hypothesis import strategies as st
from simulated import rng_for

import bladegeom as bg
from bladegeom.live.doubtful import questioned
from bladegeom.live.enough import enough
from bladegeom.live.order import reading_order


@given(st.integers(2, 1000), st.booleans())
def test_every_tooth_is_read_once_and_none_is_passed_backwards(teeth, spread):
    order = reading_order(teeth, spread)
    assert sorted(order) == list(range(1, teeth + 1))
    turns = 1 + sum(later < earlier for earlier, later in pairwise(order))
    assert turns == (1 if not spread else -(-teeth // min(8, teeth)))


@pytest.mark.parametrize("teeth", [8, 24, 40, 41, 60, 77, 80, 1000])
def test_spread_begins_evenly_and_goes_on_between(teeth):
    order = reading_order(teeth, spread=True)
    assert order[0] == 1
    for octets in (1, 2, 4):
        if teeth % (8 * octets) == 0:
            assert sorted(order[: 8 * octets]) == list(range(1, teeth + 1, teeth // (8 * octets)))
    gaps = np.diff([*order[:8], teeth + 1])
    assert gaps.max() - gaps.min() <= 1
    wide = np.diff([*sorted(order[:16]), teeth + 1])
    assert wide.max() <= gaps.max() - gaps.max() // 2 + 1


# Questions


def taken(teeth, count, *, slips=(), spread=True, scatter=0.3, size=9.0, seed=1, **facts):
    """The first readings of a blade in thou, read to one of them, some of them slipped."""
    order = reading_order(teeth, spread)[:count]
    rng = rng_for(seed)
    exact = size * np.cos(2 * np.pi * np.arange(teeth) / teeth - 1) + 3
    read = np.round(exact + scatter * rng.normal(size=teeth))
    for tooth, off in dict(slips).items():
        read[tooth - 1] += off
    facts = {"unit": "thou", "graduation": "1 thou", "ring_radius": "4.5 in"} | facts
    values = [read[tooth - 1] for tooth in order]
    return bg.Readings(bg.Blade(teeth), values, tooth=order, **facts)


@pytest.mark.parametrize("spread", [True, False])
@pytest.mark.parametrize("teeth", [24, 40, 80])
def test_the_last_reading_is_questioned_where_it_does_not_fit(teeth, spread):
    for count in (8, 9, 13, teeth):
        last = reading_order(teeth, spread)[count - 1]
        assert questioned(taken(teeth, count, spread=spread)) is None
        for off in (-30, 30):
            asked = questioned(taken(teeth, count, spread=spread, slips={last: off}))
            assert asked is not None
            assert asked.tooth == last
            assert asked.off == pytest.approx(off, abs=6)
            assert f"tooth {last} stands" in asked.words
            assert not asked.closing


@pytest.mark.parametrize("early", range(7))
def test_a_slip_among_the_first_seven_is_named_at_the_eighth(early):
    tooth = reading_order(40, spread=True)[early]
    asked = questioned(taken(40, 8, slips={tooth: 30}))
    assert asked is not None
    assert asked.tooth == tooth
    assert questioned(taken(40, 7, slips={tooth: 30})) is None


def test_a_reading_that_stands_is_not_questioned_again_nor_believed():
    read = taken(40, 30, slips={11: 30, 21: 30})
    first = questioned(read)
    assert first is not None
    assert first.tooth in (11, 21)
    second = questioned(read, {first.tooth})
    assert second is not None
    assert {first.tooth, second.tooth} == {11, 21}
    assert questioned(read, {11, 21}) is None


def test_the_closing_reading_is_judged_as_such():
    order = [*reading_order(24, spread=False), 1]
    whole = taken(24, 24, spread=False)
    for differs, asked in ((0, False), (1, False), (6, True)):
        values = [*whole.reading, whole.reading[0] + differs]
        facts = {"graduation": "1 thou"}
        closed = bg.Readings(whole.blade, values, tooth=order, unit="thou", **facts)
        found = questioned(closed)
        assert (found is not None) == asked
        if found is not None:
            assert (found.tooth, found.off, found.closing) == (1, 6, True)


def test_few_or_equal_readings_question_nothing():
    for count in (1, 4, 8, 12):
        assert questioned(taken(40, count, size=0.0, scatter=0.0)) is None


@pytest.mark.parametrize("kind", ["none", "mixed bends"])
@pytest.mark.parametrize("spread", [True, False])
def test_false_questions_are_few(kind, spread):
    """At most one session in twenty; of 200 it may be three standard deviations more."""
    rng = rng_for(3)
    for scatter in (0.3, 1.0):
        read = bench.read_in(kind, 24, scatter, spread, 200, rng)
        assert np.mean(bench.asked(read, spread).at > 0) <= 0.05 + 3 * np.sqrt(0.05 / 200)


@pytest.mark.parametrize("slip", bench.SLIPS)
def test_most_slips_are_named(slip):
    for early in (True, False):
        for bent, told in zip("nnyy", bench.power(slip, 24, 100, early)[3:], strict=True):
            at_once, ever, blamed = map(float, told.split(", "))
            assert at_once > (10 if early else 70) + (25 if bent == "n" else 0)
            assert ever > (95 if bent == "n" else 80)
            assert blamed < 10


# Enough


def test_few_readings_are_enough_and_what_is_told_holds():
    """60 of the blades of `tests/benchmarks/bench_enough.py`."""
    for case in (bench.Case("none", 40, 0.003, 0.01), bench.Case("mixed bends", 24, 0.001, 0.002)):
        stops = bench.sessions(case, 60)
        decided = [one for one in stops if one.told > 0]
        assert np.mean([one.left <= one.told for one in decided]) > 0.9
        assert np.mean([one.left <= one.wanted for one in decided]) > 0.95
        assert all(one.told <= one.wanted for one in decided)
        if case.kind == "none":
            assert len(decided) > 57
            assert np.mean([one.read for one in stops]) < 10


def enough_at(read, teeth=40, wanted=None, **facts):
    """What is known after each reading from the first on."""
    order = reading_order(teeth, spread=True)
    facts = {"unit": "mm", "ring_radius": "100 mm", "graduation": "0.01 mm"} | facts
    for count in range(4, teeth + 1):
        values = [read[tooth - 1] for tooth in order[:count]]
        yield enough(bg.Readings(bg.Blade(teeth), values, tooth=order[:count], **facts), wanted)


def plate(size, near_deg, *, teeth=40, scatter=0.002, seed=4):
    angle = 360.0 * np.arange(teeth) / teeth
    exact = size * np.cos(np.radians(angle - near_deg)) + scatter * rng_for(seed).normal(size=teeth)
    return np.round(exact, 3 if scatter == 0 else 2)


def test_it_is_enough_at_the_eighth_at_soonest_and_says_which_teeth_will_do():
    found = list(enough_at(plate(0.1, 90.0)))
    first = next(one for one in found if one.enough)
    assert first.read == 8
    assert first.marks is not None
    assert {end.tooth for end in first.marks.neutral or ()} == {1, 21}
    assert first.left_most_deg is not None
    assert first.left_most_deg <= first.wanted_deg
    assert "8 of 40" in first.words
    assert "21" in first.words
    assert "bends" in first.unknown
    assert found[-1].unknown == ""
    assert not any(one.enough for one in found if one.read < 8)


def test_where_the_line_falls_between_two_teeth_both_are_named():
    found = next(
        one for one in enough_at(plate(0.1, 94.5, scatter=0.0), graduation="0.001 mm") if one.enough
    )
    assert found.marks is not None
    for end, both in zip(found.marks.neutral or (), ("21 or 22", "1 or 2"), strict=True):
        assert end.other is not None
        assert both in found.words


def test_less_wanted_takes_more_readings_and_none_is_stopped_for_nothing():
    read = plate(0.03, 30.0, scatter=0.004)
    counts = []
    for wanted in (0.01, 0.004, 0.0001):
        found = [
            enough(
                bg.Readings(
                    bg.Blade(40),
                    [read[tooth - 1] for tooth in order],
                    tooth=order,
                    unit="mm",
                    ring_radius="100 mm",
                    graduation="0.01 mm",
                ),
                wanted,
            )
            for count in range(8, 41)
            if (order := reading_order(40, spread=True)[:count])
        ]
        assert all(one.wanted_deg == wanted for one in found)
        assert all((one.left_most_deg or 1) <= wanted for one in found if one.enough)
        counts.append(next((one.read for one in found if one.enough), 99))
    assert counts == sorted(counts)
    assert counts[0] < 12
    assert counts[-1] == 99


@pytest.mark.parametrize(
    ("size", "teeth", "wanted"), [(0.1, 40, 0.00674), (0.1, 24, 0.0112), (0.03, 40, 0.005)]
)
def test_what_is_wanted_is_never_finer_than_the_teeth_stand(size, teeth, wanted):
    """For tilts of 0.0573 and 0.0172 degrees: 1.5 times the tilt times the sine of half a pitch."""
    known = list(enough_at(plate(size, 90.0, teeth=teeth, scatter=0.0), teeth))[4]
    assert known.wanted_deg == pytest.approx(wanted, rel=0.02)


def test_a_flat_blade_may_stand_as_it_likes_once_that_is_known():
    found = next(one for one in enough_at(plate(0.0, 0.0)) if one.enough)
    assert found.marks is not None
    assert found.marks.neutral is None
    assert found.read < 16
    assert 0 < (found.left_most_deg or 0) <= 0.005
    assert "any rotation" in found.words


def test_a_doubtful_reading_is_not_enough():
    for off, stops in ((0.04, False), (0.0, True)):
        read = plate(0.2, 90.0, scatter=0.0)
        read[15] += off  # Tooth 16 is the fourth to be read.
        eight = list(enough_at(read, wanted=0.1, graduation="0.001 mm"))[4]
        assert eight.read == 8
        assert eight.enough == stops
        assert (eight.left_most_deg or 1) < 0.1
        assert ("doubtful" in eight.words) != stops


def test_without_a_ring_radius_the_direction_alone_decides():
    facts = {"ring_radius": None}
    found = next(one for one in enough_at(plate(0.1, 90.0), **facts) if one.enough)
    assert (found.left_most_deg, found.wanted_deg) == (None, None)
    assert "deg of blade" in found.words
    assert not any(one.enough for one in enough_at(plate(0.0, 0.0, scatter=0.004), **facts))
    few = bg.Readings(bg.Blade(40), [1.0, 2.0, 3.0], tooth=[1, 2, 3], unit="mm")
    assert not enough(few).enough
    assert enough(few).fit is None
    order = reading_order(40, spread=True)[:12]
    values = plate(0.1, 90.0)[np.array(order) - 1]
    assert not enough(bg.Readings(bg.Blade(40), values, tooth=order, unit="mm"), 0.5).enough
