"""Blades of a table: named, refused, chosen, and made into a frame."""

from __future__ import annotations

import warnings
from pathlib import PurePath

import pytest
from numpy.testing import assert_array_equal
from written import (
    NUMBERS,
    ROOT,
    TEETH,
    changed,
    save,
    sheet,
    two_blades,
    wave,
    with_column,
)

import bladegeom as bg

# Names of blades


@pytest.mark.parametrize(
    "name",
    [
        *("007", "1.0", "1e3", "-", "nan", "?"),
        *("$x_1^2$", "50 % & more", "<b>", "A;B", "a,b", '10" blade', "a\nb"),
        *("\u92f8 3", "\u00e9", "e\u0301", "\u05d0\u05d1"),
    ],
    ids=ascii,
)
def test_a_name_stays_as_it_is_written(read, name):
    assert read(sheet(blade=name)).blade.name == name


def test_a_name_loses_the_blanks_around_it(read):
    assert read(sheet(blade="  7 ")).blade.name == "7"


def test_without_a_name_the_blade_is_called_as_the_file(read):
    assert read(sheet()).blade.name == "seven"


def test_rows_without_a_name_are_refused_and_named_blades_go_on(tmp_path):
    rows = changed(changed(two_blades(), 3, "blade", ""), 5, "blade", " ")
    batch = bg.read_blades(save(tmp_path / "a.csv", rows))
    assert [one.blade.name for one in batch.readings] == ["A", "B"]
    (fault,) = batch.refused
    assert (fault.row, fault.column, fault.blade) == (3, "blade", None)
    assert fault.problem == "the blade's name is missing (also in row 5)"


# One blade's faults, and the others


def test_a_fault_in_one_blade_leaves_the_others(tmp_path):
    rows = changed(two_blades(), 15, "reading_mm", "x")
    batch = bg.read_blades(save(tmp_path / "a.csv", rows))
    assert [one.blade.name for one in batch.readings] == ["A"]
    assert [(fault.blade, fault.row, fault.value) for fault in batch.refused] == [("B", 15, "x")]


def test_the_rows_of_blades_may_be_mixed(tmp_path):
    head, *rows = two_blades()
    mixed = [head, *(row for pair in zip(rows[:TEETH], rows[TEETH:], strict=True) for row in pair)]
    first, second = bg.read_blades(save(tmp_path / "a.csv", mixed)).readings
    assert_array_equal(first.reading, NUMBERS)
    assert_array_equal(second.reading, [float(text) for text in wave(amplitude=0.2)])


def test_every_fault_of_a_blade_is_named_at_once_in_the_order_of_the_rows(faults):
    rows = changed(sheet(ring_radius_mm=100), 9, "ring_radius_mm", "-1")
    rows = changed(changed(rows, 3, "tooth", "3.5"), 3, "reading_mm", "nan")
    rows = changed(changed(rows, 6, "tooth", ""), 12, "reading_mm", "1.2.3")
    found = faults(rows)
    assert [(fault.row, fault.column) for fault in found] == [
        (3, "reading_mm"),
        (3, "tooth"),
        (6, "tooth"),
        (9, "ring_radius_mm"),
        (12, "reading_mm"),
    ]


@pytest.mark.parametrize("column", ["tooth", "turn", "order"])
@pytest.mark.parametrize("cell", ["", "?", "x", "1.5"], ids=["empty", "?", "word", "half"])
def test_a_row_read_must_say_of_what(faults, column, cell):
    rows = with_column(with_column(sheet(), "turn", "1"), "order", *map(str, range(TEETH)))
    (fault,) = faults(changed(rows, 4, column, cell))
    assert (fault.row, fault.column, fault.value) == (4, column, cell)
    assert column in fault.cure


# read_blade and read_table


def test_one_of_several_blades_is_chosen_by_name(read):
    assert read(two_blades(), blade="B").reading[0] == 0.2


def test_several_blades_without_a_choice_are_refused(faults):
    (fault,) = faults(two_blades())
    assert "holds 2 blades: A, B" in fault.problem


def test_a_blade_that_is_not_there_is_refused_with_those_that_are(faults):
    (fault,) = faults(changed(two_blades(), 15, "reading_mm", "x"), blade="C")
    assert fault.problem.endswith("holds no blade C")
    assert fault.cure == "it holds A, B"


def test_the_chosen_blade_does_not_suffer_from_the_others(read, faults):
    rows = changed(two_blades(), 15, "reading_mm", "x")
    assert_array_equal(read(rows, blade="A").reading, NUMBERS)
    (fault,) = faults(rows, blade="B")
    assert fault.row == 15


def test_without_a_choice_a_refused_blade_is_not_passed_over(faults):
    (fault,) = faults(changed(two_blades(), 15, "reading_mm", "x"))
    assert fault.blade == "B"


def test_a_path_may_be_text_or_a_path(tmp_path):
    path = save(tmp_path / "a.csv", sheet())
    assert_array_equal(bg.read_blade(str(path)).reading, NUMBERS)
    assert_array_equal(bg.read_blade(PurePath(path)).reading, NUMBERS)


def test_a_table_becomes_a_tidy_frame(tmp_path):
    frame = bg.read_table(save(tmp_path / "a.csv", two_blades(ring_radius_in="4", side="left")))
    assert list(frame.columns) == [
        *("blade", "tooth", "turn", "reading_mm", "teeth"),
        *("ring_radius_mm", "surface", "touch_deg", "side"),
    ]
    assert len(frame) == 2 * TEETH
    assert list(frame.loc[frame["blade"] == "A", "reading_mm"]) == NUMBERS
    assert set(frame["ring_radius_mm"]) == {101.6}
    assert frame.attrs["refused"] == []


@pytest.mark.parametrize("name", ["007", "1.0", "1e3", "nan"])
def test_a_name_stays_text_in_the_frame(tmp_path, name):
    assert set(bg.read_table(save(tmp_path / "a.csv", sheet(blade=name)))["blade"]) == {name}


def test_teeth_not_read_have_no_row_in_the_frame(tmp_path):
    path = save(tmp_path / "a.csv", changed(sheet(), 4, "reading_mm", "?"))
    assert list(bg.read_table(path)["tooth"]) == [1, 2, *range(4, TEETH + 1)]


def test_blades_refused_are_listed_with_the_frame_and_warned_of(tmp_path):
    path = save(tmp_path / "a.csv", changed(two_blades(), 15, "reading_mm", "x"))
    with pytest.warns(bg.BladegeomWarning, match="left out:\n  blade B, row 15: reading_mm: 'x'"):
        frame = bg.read_table(path)
    assert set(frame["blade"]) == {"A"}
    assert [fault.row for fault in frame.attrs["refused"]] == [15]


def test_a_table_without_any_blade_to_answer_is_refused(tmp_path):
    path = save(tmp_path / "a.csv", changed(sheet(), 4, "reading_mm", "x"))
    with pytest.raises(bg.RefusedError, match=r"row 4: reading_mm: 'x' is not a number"):
        bg.read_table(path)


def test_a_frame_written_out_is_read_back_the_same(tmp_path):
    rows = with_column(two_blades(pitch_pattern="1 1 1.6"), "side", *["left"] * TEETH, "")
    frame = bg.read_table(save(tmp_path / "a.csv", rows))
    frame.to_csv(tmp_path / "back.csv", index=False)
    assert bg.read_table(tmp_path / "back.csv").equals(frame)


DEMO = sorted(path for path in (ROOT / "data_demo").glob("*.csv") if path.stem != "shelf_blades")


@pytest.mark.parametrize("path", DEMO, ids=lambda one: one.stem)
def test_the_demo_data_can_be_read(path):
    second = path.with_name("shelf_blades.csv") if path.stem == "shelf_readings" else None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", bg.BladegeomWarning)  # One demo blade is refused by design.
        frame = bg.read_table(path, blades=second)
    assert len(frame) > 20
