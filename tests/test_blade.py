"""The blade: where its teeth stand, and what cannot be true of it."""

from __future__ import annotations

import dataclasses
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

import bladegeom as bg

GROUPS = (1, 1, 1, 1, 1.6)
gaps = st.lists(st.floats(0.05, 20), min_size=1, max_size=8)


@pytest.mark.parametrize("teeth", [2, 7, 40, 61, 1000])
def test_evenly_pitched_teeth_divide_the_turn(teeth):
    assert_allclose(bg.Blade(teeth).angles_deg, np.arange(teeth) * 360 / teeth, rtol=1e-15)


def test_a_pitch_pattern_is_repeated_round_the_blade():
    # By hand: ten groups of 36 degrees, each of 4 + 1.6 = 5.6 parts.
    part = 36 / 5.6
    first = [0, part, 2 * part, 3 * part, 4 * part]
    angles = bg.Blade(50, pitch_pattern=GROUPS).angles_deg
    assert_allclose(angles[:5], first, rtol=1e-14)
    assert_allclose(angles[5:10], np.add(36, first), rtol=1e-14)
    assert_allclose(angles[-1], 324 + 4 * part, rtol=1e-14)


@given(gaps, st.integers(2, 6))
def test_the_gaps_are_in_the_ratio_of_the_pattern_and_close_the_turn(pattern, groups):
    blade = bg.Blade(len(pattern) * groups, pitch_pattern=pattern)
    found = np.diff(blade.angles_deg, append=360.0)
    assert_allclose(found / found.sum(), np.tile(pattern, groups) / (sum(pattern) * groups), 1e-9)
    assert found.sum() == pytest.approx(360)


def test_a_pattern_of_equal_gaps_is_an_even_pitch():
    assert bg.Blade(40, pitch_pattern=[3, 3]).tooth_deg == pytest.approx(bg.Blade(40).tooth_deg)


def test_the_angles_of_the_teeth_can_be_given():
    blade = bg.Blade(3, tooth_deg=[0, 100, 250])
    assert blade.tooth_deg == (0.0, 100.0, 250.0)
    assert blade.gaps_deg(1) == (110.0, 100.0)
    assert blade.gaps_deg(3) == (150.0, 110.0)


WRONG_ANGLES = {
    "too few": [0, 100],
    "too many": [0, 100, 200, 300],
    "not from nought": [1, 100, 200],
    "not growing": [0, 200, 100],
    "two alike": [0, 100, 100],
    "a whole turn": [0, 100, 360],
    "not a number": [0, 100, math.nan],
}


@pytest.mark.parametrize("angles", WRONG_ANGLES.values(), ids=WRONG_ANGLES.keys())
def test_angles_that_cannot_be_a_blades_are_refused(angles):
    with pytest.raises(bg.RefusedError, match="give 3 angles that grow from 0 and stay below 360"):
        bg.Blade(3, tooth_deg=angles)


def test_pattern_and_angles_together_are_refused():
    with pytest.raises(bg.RefusedError, match="pitch_pattern and tooth_deg are both given"):
        bg.Blade(3, tooth_deg=[0, 100, 200], pitch_pattern=[1])


@pytest.mark.parametrize("teeth", [0, 1, 1001, 10**9, -40, 39.5, math.nan, math.inf])
def test_a_count_that_is_no_blades_is_refused(teeth):
    with pytest.raises(bg.RefusedError, match="give a whole number of teeth from 2 to 1000"):
        bg.Blade(teeth)


WRONG_PATTERNS = {
    "none": [],
    "nought": [1, 0],
    "negative": [1, -1],
    "not a number": [1, math.nan],
    "infinite": [math.inf, math.inf],
    "overflowing": [1e308, 1e308],
    "vanishing": [1e-300, 1e-300],
    "two teeth in one place": [1, 1e-20],
    "a gap a million times another": [1, 1e6],
}


@pytest.mark.parametrize("pattern", WRONG_PATTERNS.values(), ids=WRONG_PATTERNS.keys())
def test_gaps_that_no_blade_has_are_refused(pattern):
    with pytest.raises(bg.RefusedError, match="write gaps above 0"):
        bg.Blade(40, pitch_pattern=pattern)


def test_a_pattern_must_fit_a_whole_number_of_times():
    with pytest.raises(
        bg.RefusedError, match="5 gaps does not fit a whole number of times into 41"
    ):
        bg.Blade(41, pitch_pattern=GROUPS)


@pytest.mark.parametrize("size", ["diameter", "plate", "tooth_width", "gullet"])
def test_a_size_in_inches_is_the_size_in_millimetres(size):
    inch, metric = bg.Blade(40, **{size: "1 in"}), bg.Blade(40, **{size: (25.4, "mm")})
    assert getattr(inch, f"{size}_mm") == pytest.approx(getattr(metric, f"{size}_mm"), rel=1e-15)


@pytest.mark.parametrize("size", ["diameter", "plate", "tooth_width", "gullet"])
def test_a_size_without_its_unit_is_refused(size):
    for wrong in (2.54, "2.54", [2.54], (2.54, "cm")):
        with pytest.raises(
            bg.RefusedError, match=f"{size}.* has no unit|without a unit|unit of {size}"
        ):
            bg.Blade(40, **{size: wrong})


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"teeth": "40"}, "teeth is '40'; give a whole number"),
        ({"teeth": None}, "teeth is None"),
        ({"teeth": True}, "teeth is True"),
        ({"teeth": [40]}, "give a whole number of teeth"),
        ({"pitch_pattern": 1}, "pitch_pattern is 1"),
        ({"pitch_pattern": "1 one"}, "pitch_pattern is '1 one'"),
        ({"tooth_deg": 3}, "tooth_deg is 3"),
        ({"tooth_deg": [[0.0]]}, "tooth_deg"),
        ({"tooth_pattern": 3}, "tooth pattern"),
        ({"numbered": 1}, "numbered is 1"),
        ({"diameter": object()}, "diameter"),
    ],
)
def test_what_is_of_the_wrong_kind_is_refused_in_a_sentence(given, words):
    with pytest.raises(bg.RefusedError, match=words):
        bg.Blade(**({"teeth": 2} | given))


def test_a_pattern_may_be_a_text():
    assert bg.Blade(4, pitch_pattern="1 2").tooth_deg == bg.Blade(4, pitch_pattern=(1, 2)).tooth_deg
    assert bg.Blade(4, tooth_pattern="L R").tooth_pattern == ("L", "R")


@pytest.mark.parametrize("value", [0, -1, math.nan, math.inf])
def test_a_size_that_is_none_is_refused(value):
    with pytest.raises(bg.RefusedError, match="give a length above 0"):
        bg.Blade(40, diameter=(value, "mm"))


def test_the_rim_stands_at_half_the_diameter():
    blade = bg.Blade(40, diameter="10 in")
    assert blade.diameter_in == pytest.approx(10)
    assert blade.radius_mm == pytest.approx(127)
    assert bg.Blade(40).radius_mm is bg.Blade(40).diameter_in is None


def test_a_plate_thicker_than_its_teeth_is_refused():
    with pytest.raises(bg.RefusedError, match=r"the plate \(3 mm\) is thicker than the teeth"):
        bg.Blade(40, plate="3 mm", tooth_width="2.8 mm")


def test_gullets_that_reach_the_arbor_are_refused():
    with pytest.raises(bg.RefusedError, match=r"the gullets \(130 mm\) are deeper than"):
        bg.Blade(40, diameter="254 mm", gullet="130 mm")


@pytest.mark.parametrize("numbered", ["cw", "counter-clockwise", "Clockwise", ""])
def test_a_way_of_numbering_that_is_not_known_is_refused(numbered):
    with pytest.raises(bg.RefusedError, match="write clockwise or counterclockwise, as seen from"):
        bg.Blade(40, numbered=numbered)


def test_a_refusal_names_the_blade_and_what_is_wrong():
    with pytest.raises(bg.RefusedError, match=r"^blade B-12: numbered is 'cw'") as refused:
        bg.Blade(40, numbered="cw", name="B-12")
    (fault,) = refused.value.faults
    assert (fault.blade, fault.column, fault.value) == ("B-12", "numbered", "cw")


def test_teeth_count_from_one():
    blade = bg.Blade(40)
    assert blade.angle_of(1) == 0
    assert blade.angle_of(40) == 351


@pytest.mark.parametrize("tooth", [0, 41, -1, 3.5, math.nan, math.inf])
def test_a_tooth_that_the_blade_has_not_is_refused(tooth):
    with pytest.raises(bg.RefusedError, match="give a tooth from 1 to 40"):
        bg.Blade(40).angle_of(tooth)


@pytest.mark.parametrize(
    ("direction", "tooth"),
    [(0, 1), (4.4, 1), (4.6, 2), (9, 2), (355.4, 40), (355.6, 1), (-9, 40), (729, 2)],
)
def test_the_nearest_tooth_is_found_round_the_turn(direction, tooth):
    assert bg.Blade(40).nearest_tooth(direction) == tooth


@pytest.mark.parametrize("teeth", [3, 7, 40, 44, 61])
def test_half_way_between_two_teeth_the_lower_number_is_taken(teeth):
    blade = bg.Blade(teeth)
    half_way = [before + 180 / teeth for before in blade.tooth_deg]
    assert [blade.nearest_tooth(one) for one in half_way] == [*range(1, teeth), 1]


@given(gaps, st.integers(2, 6), st.floats(0, 360))
def test_no_tooth_is_nearer_than_the_nearest(pattern, groups, direction):
    blade = bg.Blade(len(pattern) * groups, pitch_pattern=pattern)
    away = [abs((direction - at + 180) % 360 - 180) for at in blade.tooth_deg]
    assert away[blade.nearest_tooth(direction) - 1] <= min(away) + 1e-9


@given(gaps, st.integers(2, 6))
def test_the_gap_after_a_tooth_is_the_gap_before_the_next(pattern, groups):
    blade = bg.Blade(len(pattern) * groups, pitch_pattern=pattern)
    both = [blade.gaps_deg(tooth) for tooth in [*range(1, blade.teeth + 1), 1]]
    for (_, after), (before, _) in pairwise(both):
        assert after == pytest.approx(before)
    assert sum(after for _, after in both[:-1]) == pytest.approx(360)


def test_a_blade_does_not_change():
    with pytest.raises(dataclasses.FrozenInstanceError):
        bg.Blade(40).teeth = 41


def test_blades_of_the_same_facts_are_equal():
    assert bg.Blade(40, diameter="10 in", name="a") == bg.Blade(40, diameter="254 mm", name="a")
    assert bg.Blade(40, name="a") != bg.Blade(40, name="b")
