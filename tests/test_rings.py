"""Rings from tables: rows parted by radius, stand, face and zero; faults where they stand."""

from __future__ import annotations

import pytest
from numpy.testing import assert_allclose
from written import changed, save, written

import bladegeom as bg
from bladegeom.faults import RefusedError
from bladegeom.plate.plate import fit_plate
from bladegeom.tables.several import Ring, read_rings

HEAD = ["blade", "tooth", "reading_mm", "ring_radius_mm", "stand", "flipped", "zero", "teeth"]


def body(radius, stand="front", flipped="no", zero="a", blade="A", start=0.0, teeth=8):
    return [
        [blade, str(tooth), f"{start + tooth / 100:.2f}", radius, stand, flipped, zero, str(teeth)]
        for tooth in range(1, teeth + 1)
    ]


def table(*parts: list):
    return [[*HEAD], *(row for part in parts for row in part)]


def without(rows, *columns: str):
    places = [place for place, name in enumerate(rows[0]) if name not in columns]
    return [[row[place] for place in places] for row in rows]


PLAN = table(
    body("60"),
    body("100"),
    body("60", "back"),
    body("100", "back", start=1.0),
    body("60", "front", "yes"),
)


def read(tmp_path, rows, **how):
    return read_rings(save(tmp_path / "rings.csv", rows), **how)


def refused(tmp_path, rows, **how):
    with pytest.raises(RefusedError) as caught:
        read(tmp_path, rows, **how)
    return caught.value.faults


def test_rows_are_parted_into_rings_in_the_order_of_the_file(tmp_path):
    rings = read(tmp_path, PLAN)
    assert [(one.radius_mm, one.stand, one.flipped, one.zero) for one in rings] == [
        (60.0, "front", False, "a"),
        (100.0, "front", False, "a"),
        (60.0, "back", False, "a"),
        (100.0, "back", False, "a"),
        (60.0, "front", True, "a"),
    ]
    assert all(one.readings.blade == rings[0].readings.blade for one in rings)
    assert_allclose(rings[3].readings.reading, [1.01 + tooth / 100 for tooth in range(8)])


def test_what_is_read_can_be_fitted(tmp_path):
    assert "dish" in fit_plate(read(tmp_path, PLAN)).names


def test_rows_may_be_mixed(tmp_path):
    mixed = [HEAD, *(row for rows in zip(body("60"), body("100"), strict=True) for row in rows)]
    rings = read(tmp_path, mixed)
    assert [one.radius_mm for one in rings] == [60.0, 100.0]
    assert [len(one.readings.reading) for one in rings] == [8, 8]


def test_the_same_radius_written_otherwise_is_the_same_ring(tmp_path):
    rows = table(body("60")[:4], body("60.0")[4:])
    (ring,) = read(tmp_path, rows)
    assert len(ring.readings.reading) == 8


def test_columns_left_out_are_front_not_flipped_and_one_zero(tmp_path):
    rings = read(tmp_path, without(table(body("60"), body("100")), "stand", "flipped", "zero"))
    assert [(one.stand, one.flipped, one.zero) for one in rings] == [("front", False, "")] * 2


def test_words_in_any_case_and_inches(tmp_path):
    rows = table(body("2.5", "Front", "No"), body("4 1/2", "BACK", "YES"))
    rows[0][3] = "ring_radius_in"
    one, other = read(tmp_path, rows)
    assert_allclose([one.radius_mm, other.radius_mm], [63.5, 114.3])
    assert (other.stand, other.flipped) == ("back", True)


def test_decimal_commas(tmp_path):
    rows = [[cell.replace(".", ",") for cell in row] for row in table(body("60.5"), body("100"))]
    path = save(tmp_path / "komma.csv", written(rows, separator=";"))
    assert [one.radius_mm for one in read_rings(path)] == [60.5, 100.0]


def test_a_wide_table_has_a_row_for_each_ring(tmp_path):
    head = ["blade", "ring_radius_mm", "stand", *(f"t{tooth}_mm" for tooth in range(1, 9)), "teeth"]
    rows = [head]
    for radius, stand in (("60", "front"), ("100", "back")):
        rows.append(["A", radius, stand, *(f"0.0{tooth}" for tooth in range(1, 9)), "8"])
    one, other = read(tmp_path, rows)
    assert (one.radius_mm, one.stand) == (60.0, "front")
    assert (other.radius_mm, other.stand) == (100.0, "back")
    assert_allclose(other.readings.reading, [tooth / 100 for tooth in range(1, 9)])


def test_a_workbook(tmp_path):
    import pandas as pd

    path = tmp_path / "rings.xlsx"
    frame = pd.DataFrame(PLAN[1:], columns=PLAN[0])
    for column in ("tooth", "reading_mm", "ring_radius_mm", "teeth"):
        frame[column] = frame[column].astype(float)
    frame.to_excel(path, index=False)
    assert [one.words for one in read_rings(path)] == [one.words for one in read(tmp_path, PLAN)]


def test_what_one_row_says_of_the_blade_holds_for_all_rings(tmp_path):
    rows = [[*row, ""] for row in PLAN]
    rows[0][-1] = "graduation_mm"
    rows[1][-1] = "0.01"
    for row in rows[2:]:
        row[rows[0].index("teeth")] = ""
    rings = read(tmp_path, rows, diameter="254 mm")
    assert {one.readings.graduation_mm for one in rings} == {0.01}
    assert {one.readings.blade.diameter_mm for one in rings} == {254.0}


def test_where_the_stylus_touches_belongs_to_its_ring(tmp_path):
    rows = [[*row, "180" if row[4] == "back" else "0"] for row in PLAN]
    rows[0][-1] = "touch_deg"
    rings = read(tmp_path, rows)
    assert [one.readings.touch_deg for one in rings] == [0.0, 0.0, 180.0, 180.0, 0.0]


def test_the_radius_may_be_an_option(tmp_path):
    rows = without(table(body("60")), "ring_radius_mm")
    (ring,) = read(tmp_path, rows, ring_radius="70 mm")
    assert ring.radius_mm == 70.0
    (fault,) = refused(tmp_path, rows)
    assert "without its radius" in fault.problem
    assert fault.blade == "A"
    assert fault.cure


# Refused


@pytest.mark.parametrize(
    ("column", "cell", "problem"),
    [
        ("stand", "left", "stand is 'left'"),
        ("stand", "", "stand is blank"),
        ("flipped", "maybe", "flipped is 'maybe'"),
        ("flipped", "", "flipped is blank"),
        ("zero", "", "zero is blank"),
        ("ring_radius_mm", "", "ring_radius_mm is blank"),
        ("ring_radius_mm", "?", "ring_radius_mm is blank"),
        ("ring_radius_mm", "near", "'near' is not a number"),
        ("ring_radius_mm", "-4", "is not above 0"),
        ("reading_mm", "O.02", "is not a number"),
        ("teeth", "9", "teeth is 9 here, but row 2 says 8"),
        ("tooth", "", "tooth is blank"),
    ],
)
def test_a_bad_cell_is_named_with_row_column_and_cure(tmp_path, column, cell, problem):
    faults = refused(tmp_path, changed(PLAN, 13, column, cell))
    (fault,) = [one for one in faults if problem in one.problem]
    assert fault.row == 13
    assert fault.column == column
    assert fault.blade == "A"
    assert fault.value == cell or cell == "?"
    assert fault.cure


def test_faults_of_all_rings_come_together_and_each_once(tmp_path):
    rows = changed(changed(PLAN, 3, "reading_mm", "x"), 30, "reading_mm", "y")
    rows = changed(rows, 20, "stand", "top")
    assert [(one.row, one.column) for one in refused(tmp_path, rows)] == [
        (3, "reading_mm"),
        (20, "stand"),
        (30, "reading_mm"),
    ]
    bare = without(PLAN, "teeth")
    (fault,) = refused(tmp_path, bare)
    assert fault.column == "teeth"


def test_the_same_wrong_word_is_said_once(tmp_path):
    rows = [["left" if cell == "front" else cell for cell in row] for row in PLAN]
    (fault,) = refused(tmp_path, rows)
    assert "also in rows 3, 4" in fault.problem


@pytest.mark.parametrize(
    ("name", "meant"), [("stands", "stand"), ("flip", "flipped"), ("zero_word", "zero")]
)
def test_a_column_with_nearly_the_right_name_is_not_passed_over(tmp_path, name, meant):
    rows = [[*row, "front"] for row in without(PLAN, meant)]
    rows[0][-1] = name
    (fault,) = refused(tmp_path, rows)
    assert fault.column == name
    assert meant in fault.cure
    assert fault.row == 1


def test_several_blades_are_refused_with_their_names_unless_one_is_chosen(tmp_path):
    rows = table(body("60"), body("60", blade="B"), body("90", blade="B"))
    (fault,) = refused(tmp_path, rows)
    assert "2 blades: A, B" in fault.problem
    assert "blade=" in fault.cure
    assert [one.radius_mm for one in read(tmp_path, rows, blade="B")] == [60.0, 90.0]
    (fault,) = refused(tmp_path, rows, blade="C")
    assert "no blade C" in fault.problem
    assert "A, B" in fault.cure


def test_a_missing_name_is_refused(tmp_path):
    (fault,) = refused(tmp_path, changed(PLAN, 5, "blade", ""))
    assert fault.row == 5
    assert "name is missing" in fault.problem


def test_a_fault_in_another_blade_does_not_matter(tmp_path):
    rows = changed(table(body("60"), body("90", blade="B")), 12, "reading_mm", "x")
    assert len(read(tmp_path, rows, blade="A")) == 1


def test_a_tooth_read_twice_on_one_ring_is_refused_where_it_stands(tmp_path):
    rows = table(body("60"), body("60", start=0.5))
    faults = refused(tmp_path, rows)
    assert faults[0].row == 10
    assert "turn" in faults[0].cure


@pytest.mark.parametrize(
    ("how", "column"),
    [
        ({"stand": "left"}, "stand"),
        ({"stand": None}, "stand"),
        ({"flipped": "yes"}, "flipped"),
        ({"flipped": 1}, "flipped"),
        ({"zero": 3}, "zero"),
        ({"zero": None}, "zero"),
    ],
)
def test_a_ring_is_checked_when_it_is_made(how, column):
    readings = bg.Readings(bg.Blade(8), range(8), unit="mm", ring_radius="60 mm")
    with pytest.raises(RefusedError) as caught:
        Ring(readings, **how)
    assert caught.value.faults[0].column == column


def test_a_ring_needs_a_radius_and_says_itself_in_words():
    with pytest.raises(RefusedError, match="ring_radius"):
        Ring(bg.Readings(bg.Blade(8), range(8), unit="mm"))
    inches = bg.Readings(bg.Blade(8), range(8), unit="in", ring_radius="4.5 in")
    assert Ring(inches, "back", True, "b").words == "ring 4.5 in, back, flipped, zero b"
