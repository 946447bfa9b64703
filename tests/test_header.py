"""The header of a table: columns misspelt, doubled, without a unit, or nobody's."""

from __future__ import annotations

import pytest
from numpy.testing import assert_array_equal
from written import NUMBERS, save, sheet, with_column

import bladegeom as bg

# The header


@pytest.mark.parametrize(
    ("wrong", "meant"),
    [
        ("raeding_mm", "reading_mm"),
        ("reading_m", "reading_mm"),
        ("tooht", "tooth"),
        ("tteeth", "teeth"),
        ("turns", "turn"),
        ("rign_radius_mm", "ring_radius_mm"),
        ("diametre_mm", "diameter_mm"),
        ("diam_mm", "diameter_mm"),
        ("radius_mm", "ring_radius_mm"),
        ("toothwidth_mm", "tooth_width_mm"),
        ("surfaces", "surface"),
        ("blades", "blade"),
        ("blade_name", "blade"),
        ("blade_no", "blade"),
        ("turn_number", "turn"),
        ("tooth_number", "tooth"),
        ("width_mm", "tooth_width_mm"),
        ("number_of_teeth", "teeth"),
        ("touch", "touch_deg"),
        ("touch_mm", "touch_deg"),
        ("pitch", "pitch_pattern"),
        ("pattern", "pitch_pattern"),
    ],
)
def test_a_column_misspelt_is_refused_with_the_known_name(faults, wrong, meant):
    found = faults(with_column(sheet(), wrong, "1"))
    (fault,) = [fault for fault in found if fault.column == wrong]
    assert meant in fault.cure
    assert fault.row == 1


@pytest.mark.parametrize("stem", ["reading", "diameter", "ring_radius", "plate", "graduation"])
@pytest.mark.parametrize("unit", ["", "_cm", "_inch"], ids=["none", "cm", "inch"])
def test_a_length_without_a_known_unit_is_refused(faults, stem, unit):
    (fault,) = faults(with_column(sheet(), stem + unit, "10"))
    assert "has no known unit" in fault.problem
    assert f"{stem}_mm, {stem}_in, {stem}_thou or {stem}_um" in fault.cure


@pytest.mark.parametrize(
    "column", ["note", "date", "weather", "id", "temperature_c", "blade_maker", "mm"]
)
def test_a_column_of_something_else_is_left_alone_and_named(tmp_path, column):
    path = save(tmp_path / "a.csv", with_column(sheet(), column, "x"))
    batch = bg.read_blades(path)
    assert_array_equal(batch.readings[0].reading, NUMBERS)
    assert batch.notes == [f"columns not used: {column}"]


@pytest.mark.parametrize("column", ["reading_mm", "teeth", "tooth", "note"])
def test_a_column_there_twice_is_refused(faults, column):
    rows = with_column(with_column(sheet(), "note", "x"), column, "1")
    (fault,) = faults(rows)
    assert (fault.row, fault.column) == (1, column)
    assert fault.problem == f"column {column} is there twice"


def test_readings_in_two_units_are_refused(faults):
    (fault,) = faults(with_column(sheet(), "reading_thou", "1"))
    assert fault.problem == "the readings are there twice: reading_mm and reading_thou"


def test_a_length_in_two_units_is_refused(faults):
    (fault,) = faults(sheet(ring_radius_mm=100, ring_radius_in=4))
    assert fault.problem == "ring_radius is given twice: ring_radius_mm and ring_radius_in"
    assert fault.row == 1


def test_readings_without_a_unit_take_the_unit_stated(read):
    rows = [["tooth", "reading", "teeth"], *sheet()[1:]]
    assert read(rows, unit="thou").unit == "thou"


def test_a_unit_stated_must_be_the_columns(read, faults):
    assert read(sheet(), unit="mm").unit == "mm"
    (fault,) = faults(sheet(), unit="in")
    assert fault.problem == "the column is reading_mm, the unit was given as in"


def test_a_unit_stated_does_not_hide_a_second_column_of_readings(faults):
    (fault,) = faults(with_column(sheet(), "reading", "1"), unit="mm")
    assert "the readings are there twice" in fault.problem


def test_a_unit_that_is_not_known_is_refused(faults):
    (fault,) = faults(sheet(), unit="cm")
    assert fault.cure == "write mm, in, thou or um"


def test_all_that_is_wrong_with_the_header_is_said_at_once(faults):
    found = faults([["tooht", "raeding_mm", "plate", "note", "note"], ["1"] * 5])
    assert [fault.column for fault in found] == ["tooht", "raeding_mm", "plate", "note"]


def test_a_table_of_something_else_is_refused_with_what_it_holds(faults):
    found = faults("hello world\nmore\n")
    assert "no column of readings, only hello_world" in found[0].problem
    assert "there is no column tooth" in found[1].problem


@pytest.mark.parametrize("unit", ["mm", "in", "thou", "um"])
def test_every_unit_of_readings_is_kept(read, unit):
    assert read(sheet(unit=unit)).unit == unit
