"""Numbers and lengths as people write them."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from bladegeom.faults import RefusedError
from bladegeom.lengths import (
    MM_PER,
    NumberError,
    convert,
    length,
    length_mm,
    lengths_mm,
    one_unit,
    parse_length,
    parse_lengths,
    parse_number,
    parse_whole,
)

UNITS = tuple(MM_PER)
numbers = st.floats(-1e9, 1e9).filter(lambda value: value == 0 or abs(value) > 1e-90)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0.5", 0.5),
        ("-.5", -0.5),
        ("+3", 3.0),
        ("5.", 5.0),
        ("007", 7.0),
        ("1e-3", 0.001),
        ("1E5", 100000.0),
        (" 2 ", 2.0),
        ("\t2\n", 2.0),
        ("1/2", 0.5),
        ("1 1/2", 1.5),
        ("-1 1/2", -1.5),
        ("-0", 0.0),
    ],
)
def test_a_number_is_read_as_it_is_written(text, value):
    assert parse_number(text) == value


@pytest.mark.parametrize(
    ("text", "value"),
    [
        pytest.param("½", 0.5, id="half"),
        pytest.param("1½", 1.5, id="one and a half"),
        pytest.param("1 ½", 1.5, id="one and a half with a blank"),
        pytest.param("-2¾", -2.75, id="the sign covers the whole"),
        pytest.param("⅛", 0.125, id="an eighth"),
        pytest.param("\u22120.5", -0.5, id="unicode minus"),
        pytest.param("0.5\u00a0", 0.5, id="no-break blank behind"),
    ],
)
def test_letters_that_mean_a_number_are_read(text, value):
    assert parse_number(text) == value


@pytest.mark.parametrize("text", ["", " ", "\t", "?", " ? "], ids=repr)
@pytest.mark.parametrize("mark", [".", ","])
def test_blank_or_question_mark_is_not_read(text, mark):
    assert parse_number(text, mark) is None
    assert parse_whole(text, mark) is None


NO_NUMBERS = {
    "word": "x",
    "two numbers": "1 2",
    "blank between thousands": "1 234",
    "two points": "1.2.3",
    "thousands and decimals": "1,234.5",
    "comma": "1,5",
    "trailing comma": "1,",
    "underscore": "1_000",
    "hexadecimal": "0x10",
    "unit behind": "0.1mm",
    "percent": "5%",
    "bare sign": "-",
    "bare point": ".",
    "two signs": "--1",
    "en dash for minus": "–1",
    "bare exponent": "1e",
    "true": "TRUE",
    "spreadsheet fault": "#N/A",
    "formula": "=A1",
    "arabic digit": "٣",
    "fullwidth digit": "１",
    "raised nought": "5\u2070",
    "circled nought": "\u24ea",
    "raised two": "5²",
    "roman twelve": "Ⅻ",
    "two fractions": "1/2 1/2",
    "fraction of decimals": "0.5/2",
    "fraction without an end": "1/",
    "fraction without a start": "/2",
    "date": "1/2/2024",
    "quotes": '"',
}


@pytest.mark.parametrize("text", NO_NUMBERS.values(), ids=NO_NUMBERS.keys())
def test_anything_else_is_refused_with_its_text(text):
    with pytest.raises(NumberError, match="is not a number; write a number") as refused:
        parse_number(text)
    assert repr(text) in refused.value.problem


@pytest.mark.parametrize("text", ["nan", "NaN", "inf", "-inf", "+Infinity", "INF"])
@pytest.mark.parametrize("mark", [".", ","])
def test_the_words_nan_and_inf_are_refused_with_what_to_write_instead(text, mark):
    with pytest.raises(NumberError, match=r"leave the cell blank or write \?"):
        parse_number(text, mark)


@pytest.mark.parametrize("text", ["1e999", "-1e308", "9" * 400, "1e101"], ids=lambda text: text[:6])
def test_a_number_beyond_all_sizes_is_refused(text):
    with pytest.raises(NumberError, match="too large"):
        parse_number(text)


@pytest.mark.parametrize("text", ["1e-400", "-1e-101", "0." + "0" * 400 + "1"])
def test_a_number_that_would_vanish_is_refused(text):
    with pytest.raises(NumberError, match="too small"):
        parse_number(text)


@pytest.mark.parametrize("text", ["0", "-0.000", "0e0", "0e-500", "0.0e999"])
def test_nought_is_not_too_small(text):
    assert parse_number(text) == 0.0


@pytest.mark.parametrize(
    "text", ["9" * 50_000 + "/2", "1/" + "9" * 50_000, "9" * 50_000 + "½", "x" * 50_000]
)
def test_a_text_without_end_is_refused_in_a_short_message(text):
    with pytest.raises(NumberError) as refused:
        parse_number(text)
    assert len(str(refused.value)) < 150


def test_a_fraction_of_nothing_is_refused():
    with pytest.raises(NumberError, match="'1/0' divides by nothing"):
        parse_number("1/0")


@given(numbers)
def test_a_number_comes_back_from_its_text_bit_for_bit(value):
    assert parse_number(repr(value)) == value


@given(numbers)
def test_a_decimal_comma_gives_the_same_number(value):
    assert parse_number(repr(value).replace(".", ","), ",") == value


@given(numbers.filter(lambda value: "." in repr(value)), st.sampled_from([".", ","]))
def test_the_other_decimal_mark_is_never_taken_for_the_own(value, mark):
    written = repr(value).replace(".", "," if mark == "." else ".")
    with pytest.raises(NumberError):
        parse_number(written, mark)


@given(st.text(max_size=12))
def test_any_text_is_a_finite_number_or_nothing_or_refused(text):
    try:
        value = parse_number(text)
    except NumberError:
        return
    assert value is None or math.isfinite(value)


@pytest.mark.parametrize(("text", "value"), [("3", 3), ("3.0", 3), ("-1", -1), ("1e2", 100)])
def test_a_whole_number_may_be_written_with_a_decimal_nought(text, value):
    assert parse_whole(text) == value


def test_a_whole_number_may_have_a_decimal_comma():
    assert parse_whole("3,0", ",") == 3


@pytest.mark.parametrize("text", ["3.5", "1/2", "1e-3"])
def test_a_number_that_is_not_whole_is_refused_as_such(text):
    with pytest.raises(NumberError, match="is not a whole number"):
        parse_whole(text)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("4.5in", 4.5, "in"),
        ("254 mm", 254.0, "mm"),
        (" 0.5thou ", 0.5, "thou"),
        ("2um", 2.0, "um"),
        ("4 1/2 in", 4.5, "in"),
        ("4½in", 4.5, "in"),
    ],
)
def test_a_length_is_read_with_its_unit(text, value, unit):
    assert parse_length(text) == (value, unit)


@pytest.mark.parametrize("text", ["4.5", "4.5 cm", '4.5"', "4.5 inches", "in 4.5", ""])
def test_a_length_without_a_known_unit_is_refused(text):
    with pytest.raises(NumberError, match="has no unit; write the unit behind it: mm, in, thou"):
        parse_length(text)


@pytest.mark.parametrize("text", ["mm", "?mm", "x mm", "4,5mm", "nan in", "1e999in"])
def test_a_length_without_a_number_is_refused(text):
    with pytest.raises(NumberError, match=r"write it like 254mm or 4\.5in"):
        parse_length(text)


def test_an_inch_is_25_4_mm():
    # The international inch, exact by definition (from memory: agreement of 1959).
    assert MM_PER == {"mm": 1.0, "in": 25.4, "thou": 0.0254, "um": 0.001}


@pytest.mark.parametrize("unit", UNITS)
@given(value=numbers)
def test_the_same_unit_gives_the_same_number_bit_for_bit(unit, value):
    assert convert(value, unit, unit) == value


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("to", UNITS)
@given(value=st.floats(1e-6, 1e6))
def test_a_length_comes_back_from_another_unit(unit, to, value):
    assert convert(convert(value, unit, to), to, unit) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        (1, "in", "thou", 1000),
        (1, "thou", "um", 25.4),
        (1, "mm", "um", 1000),
        (254, "mm", "in", 10),
    ],
)
def test_lengths_convert_as_on_the_rule(value, unit, to, expected):
    assert convert(value, unit, to) == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize(
    "stated", ["4.5 in", "4.5in", (4.5, "in"), [4.5, "in"], "4 1/2 in", (np.float64(4.5), "in")]
)
def test_one_length_carries_its_unit(stated):
    assert length("ring_radius", stated) == (4.5, "in")
    assert length_mm("ring_radius", stated) == 4.5 * 25.4
    assert length_mm("ring_radius", None) is length_mm("ring_radius", (None, "in")) is None


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (4.5, "without a unit"),
        ("4.5", "has no unit"),
        ("in", "has no number"),
        ((4.5, "cm"), "the unit of ring_radius is 'cm'"),
        (("4.5", "in"), "give a length above 0"),
        ((True, "in"), "give a length above 0"),
        ((1e101, "in"), "give a length above 0"),
        ((math.nan, "in"), "give a length above 0"),
        ("0 mm", "give a length above 0"),
        ("-3 mm", "give a length above 0"),
        ([4.5, 4.5], "without a unit"),
        (object(), "without a unit"),
    ],
)
def test_what_is_no_length_is_refused(given, words):
    with pytest.raises(RefusedError, match=words) as refused:
        length("ring_radius", given)
    assert "ring_radius" in str(refused.value)
    assert refused.value.faults[0].column == "ring_radius"


def test_several_lengths_have_one_unit():
    for stated in ("0.001 -0.002 in", "0.001, -0.002in", ([0.001, -0.002], "in")):
        values, unit = lengths_mm("front", stated)
        assert unit == "in"
        assert_allclose(values, [0.0254, -0.0508])
    assert lengths_mm("front", (3, "mm"))[0].tolist() == [3.0]


@pytest.mark.parametrize(
    ("text", "lacks"), [("right", "number"), ("", "number"), ("12 13", "unit"), ("12.0 cm", "unit")]
)
def test_several_lengths_are_told_what_they_lack(text, lacks):
    with pytest.raises(NumberError) as refused:
        parse_lengths(text)
    assert f"has no {lacks}" in refused.value.problem


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (None, "front is not given; give it as"),
        (([], "mm"), "front holds 0 values; give a plain list of at least 1 value"),
        (([[1, 2]], "mm"), "front holds 2 values; give a plain list"),
        (([1, math.nan], "mm"), "value 2 of front is nan; give the length"),
        (([math.inf], "mm"), "value 1 of front is inf"),
        ((np.ma.MaskedArray([1, 2], mask=[0, 1]), "mm"), "value 2 of front is nan"),
        (([*np.ma.MaskedArray([1, 2], mask=[0, 1])], "mm"), "value 2 of front is"),
        (([True], "mm"), "front holds what is no number; give plain numbers"),
        (("1 2", "mm"), "front holds what is no number"),
        (([1.0, None], "mm"), "value 2 of front is nan"),
        (3, "front is 3, without a unit"),
        ("1 2", "front: '1 2' has no unit"),
        ("1 ? mm", "value 2 of front is nan; give the length that was read"),
        ("1 1/2 mm", "front: '1 1/2 mm' could be read in two ways"),
        ("mm", "front: 'mm' has no number"),
    ],
)
def test_what_is_no_list_of_lengths_is_refused(given, words):
    with pytest.raises(RefusedError, match=re.escape(words)):
        lengths_mm("front", given)


def test_too_short_a_list_is_refused():
    with pytest.raises(RefusedError, match="holds 1 value; give a plain list of at least 3 values"):
        lengths_mm("along", ([1.0], "mm"), least=3)


def test_two_units_in_one_call_are_refused():
    assert one_unit({"front": "mm", "back": "mm", "lever": None}) == "mm"
    with pytest.raises(RefusedError, match="front in mm, back in in"):
        one_unit({"front": "mm", "back": "in"})
