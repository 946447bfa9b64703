"""Facts of a blade: from columns, a second table and the call, agreeing or refused."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from written import (
    NUMBERS,
    TEETH,
    changed,
    save,
    sheet,
    two_blades,
    with_column,
)

import bladegeom as bg

# Facts: one column, blanks, disagreement


def test_every_fact_is_read(read):
    readings = read(
        sheet(
            diameter_in="10",
            ring_radius_in="4.5",
            plate_thou="87",
            tooth_width_mm="3.2",
            gullet_mm="12",
            graduation_um="10",
            numbered="Clockwise",
            surface="teeth",
            touch_deg="-3.5",
            pitch_pattern="1 1 1.6",
            side="left",
        )
    )
    blade = readings.blade
    assert blade.diameter_mm == pytest.approx(254)
    assert blade.plate_mm == pytest.approx(2.2098)
    assert (blade.tooth_width_mm, blade.gullet_mm) == (3.2, 12.0)
    assert (blade.numbered, blade.pitch_pattern) == ("clockwise", (1.0, 1.0, 1.6))
    assert readings.ring_radius_mm == pytest.approx(114.3)
    assert readings.graduation_mm == pytest.approx(0.01)
    assert (readings.surface, readings.touch_deg, readings.side) == ("teeth", -3.5, "left")


@pytest.mark.parametrize("blank", ["", " ", "?"], ids=["empty", "blank", "question mark"])
def test_a_fact_may_be_blank_in_some_rows(read, blank):
    rows = changed(sheet(ring_radius_mm=100), 2, "ring_radius_mm", blank)
    assert read(changed(rows, 2, "teeth", blank)).ring_radius_mm == 100


@pytest.mark.parametrize("column", ["ring_radius_mm", "numbered", "surface", "side", "touch_deg"])
def test_a_fact_that_is_a_question_mark_is_not_stated(read, column):
    assert_array_equal(read(sheet(**{column: "?"})).reading, NUMBERS)
    assert read(sheet(**{column: "?"})).side == ""


@pytest.mark.parametrize(
    ("column", "first", "other"),
    [
        ("ring_radius_mm", "100", "100.001"),
        ("numbered", "clockwise", "counterclockwise"),
        ("surface", "plate", "teeth"),
        ("side", "left", "right"),
        ("touch_deg", "3", "-3"),
        ("pitch_pattern", "1 2", "2 1"),
    ],
)
def test_a_fact_that_changes_within_a_blade_is_refused(faults, column, first, other):
    rows = with_column(sheet(), column, *[first] * 7, other)
    (fault,) = faults(rows)
    assert fault.row == 9
    assert f"here, but row 2 says {first}" in fault.problem
    assert "(also in rows 10, 11, 12, 13)" in fault.problem


def test_a_fact_wrong_in_every_row_is_one_fault_with_the_first_rows(faults):
    (fault,) = faults(sheet(ring_radius_mm=-1))
    assert fault.row == 2
    assert "(also in rows 3, 4, 5, 6, 7, 8, 9, 10 and 3 more)" in fault.problem


def test_a_fact_written_in_two_ways_agrees(read):
    rows = with_column(sheet(), "ring_radius_mm", "101.5", "101 1/2", "101.50", "1.015e2")
    assert read(rows).ring_radius_mm == 101.5


def test_facts_may_differ_from_blade_to_blade(tmp_path):
    rows = with_column(two_blades(), "ring_radius_mm", *["90"] * TEETH, "80")
    batch = bg.read_blades(save(tmp_path / "a.csv", rows))
    assert [one.ring_radius_mm for one in batch.readings] == [90.0, 80.0]


WRONG_FACTS = {
    "no teeth": ("teeth", "0", "from 2 to 1000"),
    "teeth without end": ("teeth", "1e9", "from 2 to 1000"),
    "teeth in a word": ("teeth", "twelve", "number"),
    "half a tooth": ("teeth", "12.5", "whole number"),
    "negative ring": ("ring_radius_mm", "-100", "above 0"),
    "no ring": ("ring_radius_mm", "0", "above 0"),
    "ring in a word": ("ring_radius_mm", "nan", "write ? for not read"),
    "ring beyond the blade": ("ring_radius_mm", "151", "axis to the stylus"),
    "way of numbers": ("numbered", "cw", "clockwise or counterclockwise"),
    "surface": ("surface", "rim", "plate or teeth"),
    "touch beyond the turn": ("touch_deg", "400", "from the indexed tooth"),
    "gap of nought": ("pitch_pattern", "1 0", "gaps above 0"),
    "gap and a half": ("pitch_pattern", "1 1 1/2", "1.5 for 1 1/2"),
    "gap not stated": ("pitch_pattern", "1 ?", "such as 1 1 1 1 1.6"),
    "gaps between commas": ("pitch_pattern", "1, 1", "blanks between them"),
    "pattern that does not fit": ("pitch_pattern", "1 1 1 1 1.6", "teeth and pitch_pattern"),
    "plate": ("plate_mm", "4", "plate and tooth_width"),
    "gullet": ("gullet_mm", "150", "gullet and diameter"),
}


@pytest.mark.parametrize(("column", "cell", "cure"), WRONG_FACTS.values(), ids=WRONG_FACTS.keys())
def test_a_fact_that_cannot_be_is_refused_in_its_row(faults, column, cell, cure):
    right = {"diameter_mm": "300", "tooth_width_mm": "3", "teeth": str(TEETH)} | {column: ""}
    rows = sheet(**right)
    for row in (4, 5):
        rows = changed(rows, row, column, cell)
    (fault,) = faults(rows)
    assert fault.row == 4
    assert fault.blade == "seven"
    assert column.startswith(fault.column)
    assert cure in fault.cure


def test_teeth_stated_nowhere_are_asked_for(faults):
    (fault,) = faults([row[:2] for row in sheet()])
    assert (fault.row, fault.column) == (2, "teeth")
    assert "the option --teeth" in fault.cure


# Facts from three places


@pytest.fixture
def shelf(tmp_path):
    """Save a second table and return its path."""
    return lambda content: save(tmp_path / "shelf.csv", content)


BARE = [row[:2] for row in sheet()]
NAMED = [row[:3] for row in sheet(blade="007")]


@pytest.mark.parametrize(
    "options",
    [{"teeth": 12}, {"teeth": 12.0}, {"teeth": "12"}, {"teeth": np.int64(12)}],
    ids=["int", "float", "text", "numpy"],
)
def test_facts_may_be_given_beside_the_file(read, options):
    assert read(BARE, ring_radius="4.5 in", **options).ring_radius_mm == pytest.approx(114.3)


@pytest.mark.parametrize("gaps", [[1, 2], (1.0, 2.0), np.array([1.0, 2.0]), "1 2"], ids=repr)
def test_a_pattern_beside_the_file_may_be_a_list_or_a_text(read, gaps):
    assert read(BARE, teeth=12, pitch_pattern=gaps).blade.pitch_pattern == (1.0, 2.0)


def test_facts_may_stand_in_a_second_table(read, shelf):
    second = shelf("blade;teeth;ring_radius_mm\n7;24;80\n007;12;101,5\n")
    readings = read(NAMED, blades=second)
    assert (readings.blade.teeth, readings.ring_radius_mm) == (12, 101.5)


def test_three_places_that_agree_are_one_fact(read, shelf):
    second = shelf("blade,teeth,ring_radius_in\n007,12,4\n")
    readings = read(
        sheet(blade="007", ring_radius_mm="101.6"), blades=second, ring_radius="101600 um"
    )
    assert readings.ring_radius_mm == pytest.approx(101.6)


def test_a_column_that_disagrees_with_what_is_stated_is_refused(faults):
    (fault,) = faults(sheet(), teeth=13)
    assert fault.row == 2
    assert "teeth is 12 here, but the option says 13" in fault.problem


def test_a_column_that_disagrees_with_the_second_table_is_refused(faults, shelf):
    second = shelf("blade,teeth\n007,13\n")
    (fault,) = faults(sheet(blade="007"), blades=second)
    assert fault.row == 2
    assert f"teeth is 12 here, but row 2 of {second} says 13" in fault.problem


def test_a_second_table_that_disagrees_with_what_is_stated_is_refused(faults, shelf):
    second = shelf("blade,teeth\n007,13\n")
    (fault,) = faults(NAMED, blades=second, teeth=12)
    assert fault.problem == f"teeth is 13 in row 2 of {second}, but the option says 12"


@pytest.mark.parametrize("value", [float("nan"), "x", -1, 0])
def test_a_fact_beside_the_file_is_checked_like_a_cell(faults, value):
    (fault,) = faults(BARE, teeth=12, ring_radius=(value, "mm"))
    assert fault.column == "ring_radius"


@pytest.mark.parametrize(
    ("fact", "cure"),
    [
        ("ring_radius", 'give it as "4.5 in" or (4.5, "in")'),
        ("ring_radius_mm", 'ring_radius="1 mm"'),
        ("ring_radis", "did you mean ring_radius?"),
        ("teth", "did you mean teeth"),
        ("colour", "use one of teeth, diameter"),
    ],
)
def test_a_fact_that_is_not_known_is_refused(faults, fact, cure):
    (fault,) = faults(BARE, teeth=12, **{fact: 1})
    assert cure in fault.cure


def test_a_blade_that_the_second_table_lacks_is_refused(faults, shelf):
    second = shelf("blade,teeth,ring_radius_mm\n7,12,100\n")
    (fault,) = faults(sheet(blade="007"), blades=second)
    assert (fault.blade, fault.row, fault.value) == ("007", 2, "007")
    assert fault.problem == f"{second} has no row for this blade"


def test_a_blade_of_the_second_table_that_was_not_read_is_noted(tmp_path, shelf):
    second = shelf("blade,teeth\n007,12\n8,40\n")
    batch = bg.read_blades(save(tmp_path / "a.csv", NAMED), blades=second)
    assert len(batch.readings) == 1
    assert batch.notes == ["no readings of: 8"]


def test_a_second_table_of_one_row_is_of_the_blade_without_a_name(read, shelf):
    assert read(BARE, blades=shelf("blade,teeth\n007,12\n")).blade.teeth == TEETH


def test_a_second_table_without_names_is_of_the_only_blade(read, shelf):
    assert read(NAMED, blades=shelf("teeth,ring_radius_mm\n12,90\n")).ring_radius_mm == 90


def test_a_wrong_cell_of_a_second_table_without_names_refuses_the_only_blade(faults, shelf):
    (fault,) = faults(NAMED, blades=shelf("teeth\ntwelve\n"))
    assert fault.blade == "007"


def test_a_second_table_without_names_is_refused_for_several_blades(tmp_path, shelf):
    second = shelf("teeth\n12\n")
    with pytest.raises(bg.RefusedError, match=r"shelf\.csv does not say of which blade it is"):
        bg.read_blades(save(tmp_path / "a.csv", two_blades()), blades=second)


def test_a_blade_twice_in_the_second_table_is_refused(faults, shelf):
    (fault,) = faults(NAMED, blades=shelf("blade,teeth\n007,12\n007,12\n"))
    assert fault.blade == "007"
    assert "more than one row for this blade (row 3 again)" in fault.problem


WRONG_SHELVES = {
    "empty": ("", "is empty"),
    "no rows": ("blade,teeth\n", "there is a header and no rows"),
    "no name in a row": ("blade,teeth\n007,12\n,12\n", "row 3: "),
    "no names": ("teeth\n12\n13\n", "there is no column blade; add it"),
    "readings in it": ("blade,tooth\n007,1\n", "column tooth belongs with the readings"),
    "column misspelt": ("blade,tteeth\n007,12\n", "did you mean teeth"),
    "cells too many": ("blade,teeth\n007,12,1\n", "3 cells under a header of 2"),
    "thousands": ("blade;diameter_mm\n007;1,234\n", "could be 1.234 or 1234"),
}


@pytest.mark.parametrize(("text", "problem"), WRONG_SHELVES.values(), ids=WRONG_SHELVES.keys())
def test_a_fault_of_the_second_table_names_it(faults, shelf, text, problem):
    (fault,) = faults(NAMED, blades=shelf(text))
    assert problem in str(fault)
    assert "shelf.csv" in fault.file
    assert fault.file in str(fault)


def test_a_wrong_cell_of_the_second_table_refuses_only_its_blade(tmp_path, shelf):
    second = shelf("blade,teeth\nA,12\nB,twelve\n")
    rows = [[*row[:3]] for row in two_blades()]
    batch = bg.read_blades(save(tmp_path / "a.csv", rows), blades=second)
    assert [one.blade.name for one in batch.readings] == ["A"]
    (fault,) = batch.refused
    assert fault.blade == "B"
    assert f"teeth in row 3 of {second}: 'twelve' is not a number" in fault.problem
