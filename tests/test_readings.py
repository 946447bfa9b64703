"""Readings of one blade: units, teeth, and the order in which they were taken."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

import bladegeom as bg

BLADE = bg.Blade(8, name="B")
FIRST = [0.10, 0.07, 0.00, -0.07, -0.10, -0.07, 0.01, 0.08]
SECOND = [0.11, 0.08, 0.01, -0.06, -0.09, -0.08, 0.02, 0.09]


def readings(values=FIRST, **more):
    return bg.Readings(more.pop("blade", BLADE), values, unit="mm", **more)


def refusal(values=FIRST, **kwargs):
    with pytest.raises(bg.RefusedError) as refused:
        readings(values, **kwargs)
    return refused.value


# In tooth order


def test_without_teeth_the_readings_are_of_tooth_1_and_on():
    assert_array_equal(readings().tooth, range(1, 9))
    assert_array_equal(readings().reading, FIRST)
    assert not readings().closing.any()


def test_one_reading_more_than_teeth_closes_the_turn():
    closed = readings([*FIRST, 0.13])
    assert_array_equal(closed.tooth, [*range(1, 9), 1])
    assert_array_equal(closed.closing, [False] * 8 + [True])


@pytest.mark.parametrize("count", [0, 7, 10, 16])
def test_any_other_number_of_readings_is_refused(count):
    error = refusal([0.1] * count)
    assert f"blade B: {count} readings for 8 teeth" in str(error)


# The closing reading


def test_the_closing_reading_tells_the_closure():
    assert readings([*FIRST, 0.13]).closure == pytest.approx(0.03)
    assert readings().closure is None


def test_the_closing_reading_stays_out_of_the_fit():
    open_fit, closed_fit = bg.fit_wobble(readings()), bg.fit_wobble(readings([*FIRST, 0.9]))
    assert closed_fit.amplitude == open_fit.amplitude
    assert closed_fit.near_deg == open_fit.near_deg
    assert len(closed_fit.residuals) == 8


def test_a_turn_may_start_at_any_tooth():
    closed = readings([*FIRST, 0.2], tooth=[5, 6, 7, 8, 1, 2, 3, 4, 5])
    assert_array_equal(np.flatnonzero(closed.closing), [8])
    assert closed.closure == pytest.approx(0.1)


def test_a_closing_reading_that_agrees_is_a_closing_reading_still():
    closed = readings([*FIRST, FIRST[0]])
    assert closed.closing.sum() == 1
    assert closed.closure == 0
    assert closed.notes == ()


def test_rows_not_read_do_not_hide_the_closing_reading():
    closed = readings([*FIRST[:7], None, 0.2], tooth=[1, 2, 3, 4, 5, 6, 7, 8, 1])
    assert_array_equal(closed.closing, [False] * 7 + [True])


# Repeats


@pytest.mark.parametrize(
    ("tooth", "wrong"),
    [
        ([1, 2, 3, 4, 5, 6, 3, 8], 7),
        ([1, 2, 3, 4, 5, 6, 7, 2], 8),
        ([1, 2, 3, 1, 5, 6, 7, 8], 4),
        ([1, 2, 3, 4, 5, 6, 7, 7], 8),
    ],
    ids=["in the middle", "the second tooth at the end", "the first too early", "twice running"],
)
def test_any_other_repeat_with_a_different_reading_is_refused(tooth, wrong):
    (fault,) = refusal(tooth=tooth, rows=range(2, 10)).faults
    assert fault.row == wrong + 1
    assert fault.blade == "B"
    assert fault.value == str(tooth[wrong - 1])
    assert "in row" in fault.problem
    assert "number the turns in a turn column" in fault.cure


def test_two_closing_readings_are_refused():
    (fault,) = refusal([*FIRST, 0.12, 0.13], tooth=[*range(1, 9), 1, 1], rows=range(2, 12)).faults
    assert fault.row == 10
    assert fault.problem == "tooth 1 reads 0.12 here and 0.1 in row 2"


def test_a_second_turn_without_turn_or_order_is_refused_tooth_by_tooth():
    error = refusal([*FIRST, *SECOND], tooth=[*range(1, 9)] * 2, rows=range(2, 18))
    assert [fault.row for fault in error.faults] == [*range(10, 18)]


def test_without_rows_a_refusal_counts_the_readings():
    assert "tooth 3 reads 0.01 here and 0 in reading 3 (reading 7)" in str(
        refusal(tooth=[1, 2, 3, 4, 5, 6, 3, 8])
    )


def test_the_same_reading_given_twice_counts_once():
    once = readings([*FIRST[:4], FIRST[2], *FIRST[4:]], tooth=[1, 2, 3, 4, 3, 5, 6, 7, 8])
    assert_array_equal(once.tooth, range(1, 9))
    assert_array_equal(once.reading, FIRST)
    assert once.notes == ("reading 5 repeats reading 3 (tooth 3, the same reading): counted once",)


# Turns and order


def test_turns_are_read_apart():
    two = readings([*FIRST, *SECOND], tooth=[*range(1, 9)] * 2, turn=[1] * 8 + [2] * 8)
    assert_array_equal(two.turn, [1] * 8 + [2] * 8)
    assert_array_equal(two.reading, [*FIRST, *SECOND])
    assert not two.closing.any()


def test_each_turn_has_its_own_closing_reading():
    teeth = [*range(1, 9), 1]
    two = readings([*FIRST, 0.12, *SECOND, 0.16], tooth=teeth * 2, turn=[1] * 9 + [2] * 9)
    assert_array_equal(np.flatnonzero(two.closing), [8, 17])
    assert two.closure == pytest.approx(0.05), "of the last turn"


def test_a_repeat_within_a_turn_is_refused():
    error = refusal(
        [*FIRST, *SECOND], tooth=[*range(1, 9), 1, 2, 3, 3, 5, 6, 7, 8], turn=[1] * 8 + [2] * 8
    )
    assert len(error.faults) == 1
    assert "tooth 3 reads -0.06 here and 0.01" in str(error)


def test_turns_need_not_stand_in_order():
    two = readings([*SECOND, *FIRST], tooth=[*range(1, 9)] * 2, turn=[2] * 8 + [1] * 8)
    assert_array_equal(two.reading, [*FIRST, *SECOND])


def test_order_alone_makes_of_a_second_reading_a_second_turn():
    two = readings([*FIRST, *SECOND], tooth=[*range(1, 9)] * 2, order=range(16))
    assert_array_equal(two.turn, [1] * 8 + [2] * 8)
    assert not two.closing.any()


def test_order_finds_the_closing_reading_in_any_row():
    closed = readings([0.13, *FIRST], tooth=[1, *range(1, 9)], order=[9, 1, 2, 3, 4, 5, 6, 7, 8])
    assert closed.closure == pytest.approx(0.03)
    assert_array_equal(closed.tooth, [*range(1, 9), 1])


def test_an_order_given_twice_is_refused():
    (fault,) = refusal(order=[1, 2, 3, 4, 4, 6, 7, 8], rows=range(2, 10)).faults
    assert (fault.row, fault.column, fault.value) == (6, "order", "4")
    assert fault.problem == "order 4 is given twice (row 5 has it too)"


def test_each_turn_counts_its_own_order():
    two = readings(
        [*FIRST, *SECOND],
        tooth=[*range(1, 9)] * 2,
        turn=[1] * 8 + [2] * 8,
        order=[*range(8)] * 2,
    )
    assert_array_equal(two.reading, [*FIRST, *SECOND])


@given(st.permutations(range(17)))
def test_with_an_order_the_order_of_the_rows_does_not_matter(rows):
    tooth = [*range(1, 9), *range(1, 9), 1]
    values = np.array([*FIRST, *SECOND, 0.5])
    straight = readings(values, tooth=tooth, turn=[1] * 8 + [2] * 9, order=range(17))
    mixed = readings(
        values[list(rows)],
        tooth=np.array(tooth)[list(rows)],
        turn=np.array([1] * 8 + [2] * 9)[list(rows)],
        order=list(rows),
    )
    for what in ("tooth", "reading", "turn", "closing"):
        assert_array_equal(getattr(mixed, what), getattr(straight, what))


# What was read


@pytest.mark.parametrize("gap", [None, math.nan])
def test_teeth_not_read_are_left_out(gap):
    some = readings([gap, *FIRST[1:5], gap, *FIRST[6:]])
    assert_array_equal(some.tooth, [2, 3, 4, 5, 7, 8])
    assert_array_equal(some.reading, [*FIRST[1:5], *FIRST[6:]])


@pytest.mark.parametrize("unit", ["mm", "in", "thou", "um"])
def test_readings_keep_their_unit_and_their_numbers(unit):
    read = bg.Readings(BLADE, FIRST, unit=unit)
    assert read.unit == unit
    assert_array_equal(read.reading, FIRST)


def test_graduation_and_ring_come_in_the_unit_of_the_readings():
    read = bg.Readings(BLADE, FIRST, unit="thou", graduation="0.0127 mm", ring_radius="4.5 in")
    assert read.graduation == pytest.approx(0.5)
    assert read.ring_radius == pytest.approx(4500)
    assert readings().graduation is readings().ring_radius is None


def test_all_ways_of_giving_readings_with_their_unit_agree():
    words = " ".join(map(str, FIRST))
    for read in (
        bg.Readings(BLADE, f"{words} thou"),
        bg.Readings(BLADE, f" {words}thou "),
        bg.Readings(BLADE, words, unit="thou"),
        bg.Readings(BLADE, (FIRST, "thou")),
        bg.Readings(BLADE, (np.array(FIRST), "thou")),
        bg.Readings(BLADE, readings=np.array(FIRST), unit="thou"),
    ):
        assert read.unit == "thou"
        assert_array_equal(read.reading, FIRST)
    some = bg.Readings(BLADE, "0.1 ? 0 0.5 -0.1 -0.07 0.01 0.08 mm")
    assert_array_equal(some.tooth, [1, 3, 4, 5, 6, 7, 8])


@pytest.mark.parametrize(
    ("given", "unit", "words"),
    [
        (FIRST, None, "the unit of the readings is not stated"),
        ("1 2 3 4 5 6 7 8", None, "has no unit"),
        ((FIRST, "mm"), "mm", "stated twice"),
        ("1 2 3 4 5 6 7 8 mm", "thou", "stated twice: mm and thou"),
        (FIRST, "cm", "the unit is 'cm'"),
        ((FIRST, "cm"), None, "the unit of readings is 'cm'"),
        ("1 1/2 2 3 4 5 6 7 8 mm", None, "two ways"),
        ("one 2 3 4 5 6 7 8 mm", None, "'one' is not a number"),
        (None, "mm", "not a plain list"),
        (object(), "mm", "what is no number"),
        ({}, "mm", "what is no number"),
    ],
)
def test_readings_without_one_unit_are_refused(given, unit, words):
    with pytest.raises(bg.RefusedError, match=words):
        bg.Readings(BLADE, given, unit=unit)


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"blade": 8}, "blade is 8"),
        ({"tooth": 3}, "values of tooth"),
        ({"tooth": object()}, "no number"),
        ({"turned": 3}, "turned"),
        ({"turned": "forward"}, "turned"),
        ({"touch_deg": "left"}, "touch_deg is 'left'"),
        ({"stylus_deg": "up"}, "stylus_deg is 'up'"),
        ({"surface": []}, "surface"),
        ({"ring_radius": 110}, "ring_radius is 110, without a unit"),
        ({"graduation": object()}, "graduation"),
    ],
)
def test_what_is_of_the_wrong_kind_is_refused_in_a_sentence(facts, words):
    with pytest.raises(bg.RefusedError, match=words):
        readings(**facts)


@pytest.mark.parametrize("value", [math.inf, -math.inf, 1e300, 1e-300])
def test_a_reading_of_no_size_is_refused_by_its_place(value):
    error = refusal([*FIRST[:2], value, *FIRST[3:]])
    assert [fault.problem for fault in error.faults] == [f"reading 3 is {value:g}"]


def test_a_table_of_readings_is_refused():
    assert "not a plain list" in str(refusal([FIRST, SECOND]))


@pytest.mark.parametrize("what", ["tooth", "turn", "order"])
def test_every_reading_needs_its_own_value(what):
    assert f"7 values of {what} for 8 readings" in str(refusal(**{what: range(1, 8)}))


@pytest.mark.parametrize("what", ["tooth", "turn", "order"])
@pytest.mark.parametrize("value", [3.5, math.nan, math.inf])
def test_a_value_that_is_not_whole_is_refused_by_its_place(what, value):
    error = refusal(**{what: [1, 2, value, 4, 5, 6, 7, 8]})
    assert f"{what} {value:g} (reading 3) is not a whole number; check {what}" in str(error)
    assert error.faults[0].column == what


@pytest.mark.parametrize("what", ["tooth", "turn", "order"])
@pytest.mark.parametrize("value", [4006381333931, 1e300])
def test_a_value_of_no_usual_size_is_refused_by_its_place(what, value):
    error = refusal(**{what: [1, 2, value, 4, 5, 6, 7, 8]})
    assert [fault.column for fault in error.faults] == [what]
    assert "(reading 3) is too large" in str(error)


HIDDEN = [False, False, True, False, False, False, False, False]


@pytest.mark.parametrize("kind", [float, int])
@pytest.mark.parametrize("listed", [np.ma.asarray, list], ids=["array", "list"])
def test_a_masked_reading_is_not_read(kind, listed):
    values = np.array(FIRST) if kind is float else np.arange(8)
    masked = listed(np.ma.MaskedArray(values, mask=HIDDEN))
    read = readings(masked)
    assert_array_equal(read.tooth, [1, 2, 4, 5, 6, 7, 8])
    assert_array_equal(read.reading, values[~np.array(HIDDEN)])
    plain = bg.fit_wobble(
        readings([None if out else one for one, out in zip(values, HIDDEN, strict=True)])
    )
    assert bg.fit_wobble(read).to_dict() == plain.to_dict()


def test_a_masked_array_without_a_masked_value_is_read_as_it_is():
    assert_array_equal(readings(np.ma.MaskedArray(FIRST)).reading, FIRST)
    assert_array_equal(readings(np.ma.MaskedArray(FIRST, mask=[False] * 8)).reading, FIRST)


@pytest.mark.parametrize("what", ["tooth", "turn", "order"])
def test_a_masked_value_that_is_needed_is_refused_by_its_place(what):
    error = refusal(**{what: np.ma.MaskedArray(range(1, 9), mask=HIDDEN)})
    assert [fault.column for fault in error.faults] == [what]
    assert "(reading 3)" in str(error)


@pytest.mark.parametrize("value", ["x", 1j, [1]], ids=["word", "complex", "list"])
def test_what_is_no_number_is_refused_as_a_reading(value):
    assert "no number" in str(refusal([*FIRST[:7], value]))


def test_teeth_that_the_blade_has_not_are_all_named():
    error = refusal(tooth=[0, 2, 3, 9, 5, -6, 7, 8], rows=range(2, 10))
    assert [(fault.row, fault.value) for fault in error.faults] == [(2, "0"), (5, "9"), (7, "-6")]
    assert "tooth 9 on a 8-tooth blade; teeth count from 1 to 8: check tooth and teeth" in str(
        error
    )


# What is stated of the readings


def test_the_touched_spot_lies_from_the_tooth_along_the_numbering():
    uneven = bg.Blade(8, pitch_pattern=[1, 2])
    assert_allclose(readings(blade=uneven, touch_deg=-5).angle_deg, np.array(uneven.tooth_deg) - 5)


@pytest.mark.parametrize("touch_deg", [math.nan, math.inf, 361, -400])
def test_a_touch_beyond_the_turn_is_refused(touch_deg):
    (fault,) = refusal(touch_deg=touch_deg).faults
    assert fault.column == "touch_deg"
    assert "give the degrees from the indexed tooth" in fault.cure


def test_a_surface_that_is_not_known_is_refused():
    (fault,) = refusal(surface="rim").faults
    assert (
        str(fault)
        == "blade B: surface is 'rim'; write plate or teeth, or flange where no blade was read"
    )


def test_a_ring_larger_than_the_blade_is_refused():
    (fault,) = refusal(blade=bg.Blade(8, diameter="10 in"), ring_radius="130 mm").faults
    assert "the ring's radius (130 mm) is larger than the blade's (127 mm)" in fault.problem
    assert fault.column == "ring_radius"


@given(st.floats(30, 1000))
def test_a_ring_at_the_very_rim_is_accepted_in_either_unit(diameter_mm):
    metric = bg.Blade(8, diameter=(diameter_mm, "mm"))
    assert (
        readings(blade=metric, ring_radius=(diameter_mm / 2 / 25.4, "in")).ring_radius is not None
    )
    inches = bg.Blade(8, diameter=(diameter_mm / 25.4, "in"))
    assert readings(blade=inches, ring_radius=(diameter_mm / 2, "mm")).ring_radius is not None


def test_readings_do_not_change():
    given_values = np.array(FIRST)
    read = readings(given_values)
    given_values[0] = 9.0
    assert read.reading[0] == FIRST[0]
    with pytest.raises(ValueError, match="read-only"):
        read.reading[0] = 9.0
