"""Numbers of every kind that libraries have: read as they are, or refused in a sentence."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from written import NUMBERS, TEETH

import bladegeom as bg

BLADE = bg.Blade(TEETH)
DAYS = np.arange(TEETH).astype("datetime64[D]")
GAP = [None, *NUMBERS[1:]]


def read(values, **facts):
    return bg.Readings(BLADE, values, unit="mm", **facts)


NO_NUMBERS = {
    "bool": [True, False] * (TEETH // 2),
    "bool among numbers": [True, *NUMBERS[1:]],
    "array of bool": np.array([True] * TEETH),
    "series of bool": pd.Series([True] * TEETH),
    "boolean with gaps": pd.Series([None] + [True] * (TEETH - 1), dtype="boolean"),
    "dates": DAYS,
    "dates of pandas": pd.Series(DAYS),
    "spans of time": DAYS - DAYS[0],
    "spans one by one": [*(DAYS - DAYS[0])],
    "structured": np.array([(one,) for one in NUMBERS], dtype=[("reading", float)]),
    "complex": np.array(NUMBERS, dtype=complex),
    "bytes": [b"1"] * TEETH,
    "words": ["nan"] * TEETH,
    "ragged": [[1.0, 2.0], [3.0]],
    "set": {*range(TEETH)},
    "NaT": [pd.NaT, *NUMBERS[1:]],
}


@pytest.mark.parametrize("values", NO_NUMBERS.values(), ids=NO_NUMBERS.keys())
@pytest.mark.parametrize("what", ["readings", "tooth"])
def test_what_is_no_number_is_refused_in_one_sentence(values, what):
    with pytest.raises(bg.RefusedError) as refused:
        read(values) if what == "readings" else read(NUMBERS, tooth=values)
    (fault,) = refused.value.faults
    assert fault.problem == f"{what} holds what is no number"


NUMBERS_OF_A_KIND = {
    "big-endian": np.array(NUMBERS, dtype=">f8"),
    "Decimal": [Decimal(repr(one)) for one in NUMBERS],
    "Fraction": [Fraction(one) for one in NUMBERS],
    "generator": (one for one in NUMBERS),
    "iterator": iter(NUMBERS),
    "texts": [str(one) for one in NUMBERS],
    "array of texts": np.array([str(one) for one in NUMBERS]),
    "series with an index of its own": pd.Series(NUMBERS, index=range(7, 7 + TEETH)),
}


@pytest.mark.parametrize("values", NUMBERS_OF_A_KIND.values(), ids=NUMBERS_OF_A_KIND.keys())
def test_numbers_of_another_kind_are_the_same_numbers(values):
    assert read(values).reading.tolist() == NUMBERS


@pytest.mark.parametrize("kind", ["f2", "f4", "i1", "u4", "longdouble"])
def test_numbers_of_another_size_are_what_they_are(kind):
    values = (np.array(NUMBERS) * 100 + 20).astype(kind)
    assert read(values).reading.tolist() == [float(one) for one in values]


@pytest.mark.parametrize(
    "values",
    [
        [pd.NA, *NUMBERS[1:]],
        ["?", *NUMBERS[1:]],
        pd.Series(GAP, dtype="Float64"),
        pd.Series(GAP, dtype=object),
        np.ma.MaskedArray(NUMBERS, mask=[1] + [0] * (TEETH - 1)),
        [np.nan, *NUMBERS[1:]],
    ],
    ids=["NA", "?", "Float64", "object", "masked", "nan"],
)
def test_what_is_missing_was_not_read(values):
    assert read(values).tooth.tolist() == [*range(2, TEETH + 1)]


@pytest.mark.parametrize(
    "hundred",
    [np.float32(100), np.int16(100), Decimal(100), Fraction(100), np.array(100.0)],
    ids=repr,
)
def test_a_fact_may_be_a_number_of_any_kind(hundred):
    readings = read(NUMBERS, ring_radius=(hundred, "mm"), touch_deg=hundred)
    assert (readings.ring_radius_mm, readings.touch_deg) == (100.0, 100.0)
    assert bg.Blade(hundred).teeth == 100
    made = bg.simulate(bg.Blade(40, diameter="254 mm"), rng=1, ring_radius=(hundred, "mm"))
    assert made.key.ring_radius == 100.0


NO_NUMBER = [
    *(True, np.bool_(True), np.datetime64(3, "D"), np.timedelta64(3, "D")),
    *(np.array([3.0]), float("nan")),
]


@pytest.mark.parametrize("wrong", NO_NUMBER, ids=repr)
@pytest.mark.parametrize(
    ("fact", "make"),
    [
        ("teeth", bg.Blade),
        ("touch_deg", lambda wrong: read(NUMBERS, touch_deg=wrong)),
        ("ring_radius", lambda wrong: read(NUMBERS, ring_radius=(wrong, "mm"))),
    ],
)
def test_a_fact_that_is_no_number_is_refused_by_its_name(wrong, fact, make):
    with pytest.raises(bg.RefusedError) as refused:
        make(wrong)
    assert [one.column for one in refused.value.faults] == [fact]


@pytest.mark.parametrize("missing", [None, pd.NA], ids=["None", "NA"])
def test_a_fact_that_is_missing_is_not_stated(missing):
    facts = dict.fromkeys(("ring_radius", "side", "surface", "touch_deg", "graduation"), missing)
    assert read(NUMBERS, **facts).facts == read(NUMBERS).facts
    assert bg.Blade(TEETH, name=missing, diameter=missing) == bg.Blade(TEETH)


def test_words_that_are_nan_are_refused_and_such_a_name_is_none():
    with pytest.raises(bg.RefusedError, match="side is nan"):
        read(NUMBERS, side=float("nan"))
    assert bg.Blade(TEETH, name=float("nan")).name == ""


def test_a_frame_from_another_machine_gives_the_same_answers():
    frame = pd.DataFrame({"blade": "A", "tooth": range(1, TEETH + 1), "reading_mm": NUMBERS})
    frame["teeth"], frame["ring_radius_mm"] = TEETH, np.float32(100)
    foreign = frame.astype(
        {"tooth": ">i4", "reading_mm": ">f8", "teeth": ">i8", "ring_radius_mm": ">f4"}
    )
    assert bg.fit_table(foreign).equals(bg.fit_table(frame))


@pytest.mark.parametrize("column", ["tooth", "reading_mm", "teeth"])
def test_a_frame_of_no_numbers_is_refused(column):
    frame = pd.DataFrame({"blade": "A", "tooth": range(1, TEETH + 1), "reading_mm": NUMBERS})
    frame["teeth"] = TEETH
    for wrong in ([True] * TEETH, DAYS, DAYS - DAYS[0]):
        with pytest.raises(bg.RefusedError) as refused:
            bg.fit_table(frame.assign(**{column: wrong}))
        assert {one.column for one in refused.value.faults} == {column}


def test_lengths_may_be_of_any_kind():
    plain = bg.slot_alignment("12 13 mm", "12 mm", separation="200 mm").to_dict()
    for front in (
        [Decimal(12), Fraction(13)],
        (one for one in (12, 13)),
        np.array([12, 13], ">i2"),
    ):
        given = bg.slot_alignment((front, "mm"), (12, "mm"), separation=(np.float32(200), "mm"))
        assert_allclose(given.to_dict()["angle_deg"], plain["angle_deg"], rtol=1e-12)
