"""Wide tables, one row a blade, and rows of units: the same readings as the long form."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal
from written import NUMBERS, TEETH, changed, save, sheet, two_blades, wave, written

import bladegeom as bg
from bladegeom.tables.folder import read_folder
from bladegeom.tables.read import parse_blades

MM = {"unit": "mm"}


def wide(prefix="t", suffix="", **blades):
    """Return a wide table: blade, teeth, a column a tooth."""
    blades = blades or {"A": wave(), "B": wave(amplitude=0.2)}
    most = max(map(len, blades.values()))
    head = ["blade", "teeth", *(f"{prefix}{at}{suffix}" for at in range(1, most + 1))]
    rows = [
        [name, str(len(cells)), *cells, *[""] * (most - len(cells))]
        for name, cells in blades.items()
    ]
    return [head, *rows]


def batch(rows, separator=",", **more):
    text = rows if isinstance(rows, str) else written(rows, separator)
    return parse_blades(text.encode(), "wide.csv", **more)


def whole_fault(rows, separator=",", **more):
    with pytest.raises(bg.RefusedError) as refused:
        batch(rows, separator, **more)
    (fault,) = refused.value.faults
    return fault


@pytest.mark.parametrize("prefix", ["", "t", "tooth_", "reading ", "Tooth-", "side 2 no. "])
def test_any_common_prefix_is_read_as_the_long_form(prefix):
    got = batch(wide(prefix), **MM)
    long = parse_blades(written(two_blades()).encode(), "long.csv").readings
    assert not got.refused
    assert got.notes == []
    for one, other in zip(got.readings, long, strict=True):
        assert (one.blade, one.unit) == (other.blade, "mm")
        assert_array_equal(one.reading, other.reading)
        assert_array_equal(one.tooth, other.tooth)


@pytest.mark.parametrize("prefix", ["", "t", "reading "])
@pytest.mark.parametrize("suffix", ["_mm", "_in", "_thou", "_um"])
def test_the_unit_may_stand_in_every_name(prefix, suffix):
    readings = batch(wide(prefix, suffix)).readings
    assert [one.unit for one in readings] == [suffix[1:]] * 2


@pytest.mark.parametrize("unit", ["mm", "in", "thou", "um"])
def test_the_unit_may_stand_in_a_row_of_units(unit):
    head, *rows = wide()
    got = batch([head, ["", "", *[unit.upper()] * TEETH], *rows])
    assert [one.unit for one in got.readings] == [unit] * 2
    assert_array_equal(got.readings[0].reading, NUMBERS)


def test_without_a_unit_it_is_refused():
    fault = whole_fault(wide())
    assert (fault.row, fault.column) == (1, "t1")
    assert "have no unit" in fault.problem
    assert "--unit" in fault.cure


def units_row(cells):
    head, *rows = wide("t", "_mm")
    return [head, ["", "", *cells], *rows]


@pytest.mark.parametrize(
    ("rows", "more", "says"),
    [
        (wide("t", "_in"), MM, "no one unit"),
        (units_row(["in"] * TEETH), {}, "the row of units says under t1_mm in"),
        (units_row([*["mm"] * 11, "in"]), {}, "no one unit"),
        (units_row(["deg"] * TEETH), {}, "no one unit of length"),
        ([["t1_mm", "t2_in", "t3_mm"], ["1", "2", "3"]], {}, "t1_mm says mm, column t2_in says in"),
        ([["t1_mm", "t2", "t3_mm"], ["1", "2", "3"]], {}, "t2 has no unit, others have mm"),
        ([["t1", "t2", "t4"], ["1", "2", "3"]], MM, "no column for tooth 3"),
        ([["t1", "t2", "t999999"], ["1", "2", "3"]], MM, "tooth 3, 4, 5, 6, 7, 8, 9, 10, ..."),
        ([["t0", "t1", "t2"], ["1", "2", "3"]], MM, "teeth count from 1"),
        ([["t1", "t2", "t02", "t3"], ["1"] * 4], MM, "tooth 2 has two columns: t2 and t02"),
        ([["t1", "t2", "t3", "r1", "r2", "r3"], ["1"] * 6], MM, "2 sets of numbered columns"),
        ([["order", "t1", "t2", "t3"], ["1"] * 4], MM, "column order"),
        ([["t1", "t2", "t3"]], MM, "a header and no rows"),
        ([["tooth", "t1", "t2", "t3"], ["1"] * 4], MM, "no column of readings"),
    ],
)
def test_a_header_that_can_be_understood_in_two_ways_is_refused(rows, more, says):
    assert says in whole_fault(rows, **more).problem


def test_numbered_columns_beside_the_long_form_are_no_readings():
    rows = [[*row, "9", "9", "9"] for row in sheet()]
    rows[0][-3:] = ["n1", "n2", "n3"]
    got = batch(rows)
    assert_array_equal(got.readings[0].reading, NUMBERS)
    assert got.notes == ["columns not used: n1, n2, n3"]


def test_blades_of_several_tooth_counts_lie_in_one_table():
    got = batch(wide(A=wave(12), B=wave(24), C=wave(10)), **MM)
    assert [len(one.reading) for one in got.readings] == [12, 24, 10]
    assert not got.refused


def test_a_reading_beyond_the_teeth_refuses_its_blade():
    rows = changed(wide(A=wave(12), B=wave(24), C=wave(10)), 2, "t20", "0.1")
    got = batch(rows, **MM)
    (fault,) = got.refused
    assert (fault.blade, fault.row, fault.column, fault.value) == ("A", 2, "t20", "0.1")
    assert "12 teeth" in fault.problem
    assert [one.blade.name for one in got.readings] == ["B", "C"]


def test_a_blade_of_more_teeth_than_columns_is_refused():
    got = batch(changed(wide(), 2, "teeth", "13"), **MM)
    (fault,) = got.refused
    assert (fault.blade, fault.row, fault.column, fault.value) == ("A", 2, "teeth", "13")


@pytest.mark.parametrize("cell", ["", "?"])
def test_a_tooth_not_read_is_blank(cell):
    got = batch(changed(wide(), 2, "t3", cell), **MM)
    assert_array_equal(got.readings[0].tooth, [1, 2, *range(4, TEETH + 1)])


def test_every_bad_cell_is_told_with_its_row_and_column():
    rows = changed(changed(wide(), 2, "t3", "x"), 2, "t5", "2-Jan")
    got = batch(rows, **MM)
    assert [(one.blade, one.row, one.column, one.value) for one in got.refused] == [
        ("A", 2, "t3", "x"),
        ("A", 2, "t5", "2-Jan"),
    ]
    assert "is a date" in got.refused[1].problem
    assert [one.blade.name for one in got.readings] == ["B"]


def test_turns_stand_in_rows_of_their_own():
    head, first, second = wide(A=wave(), B=wave())
    rows = [[*head, "turn"], [*first, "2"], ["A", *second[1:], "1"]]
    (got,) = batch(rows, **MM).readings
    assert sorted(got.turn.tolist()) == [1] * TEETH + [2] * TEETH
    again = batch(changed(rows, 3, "turn", "2"), **MM)
    assert "turn 2 is in row 2 already" in again.refused[0].problem
    (fault,) = batch([row[:-1] for row in rows], **MM).refused
    assert (fault.row, fault.value) == (2, "A")
    assert "the blade has 2 rows (also in row 3)" in fault.problem


def test_the_teeth_must_be_stated():
    rows = [[row[0], *row[2:]] for row in wide()]
    assert {one.column for one in batch(rows, **MM).refused} == {"teeth"}
    assert len(batch(rows, **MM, teeth=TEETH).readings) == 2


def test_a_row_that_does_not_fit_refuses_its_blade_only():
    rows = wide(A=wave(), B=wave(), C=wave())
    got = batch([rows[0], rows[1], rows[2][:-1], rows[3]], **MM)
    assert [one.blade.name for one in got.readings] == ["A", "C"]
    assert [(one.blade, one.row) for one in got.refused] == [("B", 3)]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("mark", [".", ","])
def test_every_dialect_gives_the_same_numbers(encoding, separator, mark):
    cells = [[cell.replace(".", mark) for cell in row] for row in wide(Säge=wave())]
    data = written(cells, separator).encode(encoding)
    (got,) = parse_blades(data, "wide.csv", **MM).readings
    assert got.blade.name == "Säge"
    assert_array_equal(got.reading, NUMBERS)


def test_numbers_that_could_be_thousands_are_refused():
    fault = whole_fault(wide(A=["1,234"] * 9), ";", unit="um")
    assert "1,234 could be 1.234 or 1234" in fault.problem


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.data())
def test_a_wide_table_says_what_the_long_one_says(data):
    numbers = st.decimals(-9, 9, places=3).map(str)
    blades = data.draw(
        st.dictionaries(
            st.sampled_from(["007", "B", "1-2"]),
            st.lists(st.one_of(numbers, st.just("")), min_size=8, max_size=30),
            min_size=1,
        )
    )
    long = [["blade", "teeth", "tooth", "reading_mm"]]
    for name, cells in blades.items():
        long += [[name, str(len(cells)), str(at), cell] for at, cell in enumerate(cells, 1)]
    got, said = batch(wide(**blades), **MM), batch(long)
    assert [one.blade.name for one in got.readings] == [one.blade.name for one in said.readings]
    for one, other in zip(got.readings, said.readings, strict=True):
        assert_array_equal(one.reading, other.reading)
        assert_array_equal(one.tooth, other.tooth)


# The row of units


HEAD = ["tooth", "reading", "teeth", "ring_radius", "touch"]


def with_units(units, head=HEAD):
    body = [[str(at), cell, "12", "4.5", "90"] for at, cell in enumerate(wave(), 1)]
    return [head, [*units], *body]


def test_a_row_of_units_names_the_units_of_a_long_table():
    (got,) = batch(with_units(["", "thou", "", "in", "deg"])).readings
    assert (got.unit, got.ring_radius_mm, got.touch_deg) == ("thou", 4.5 * 25.4, 90.0)
    assert_array_equal(got.reading, NUMBERS)


def test_a_row_of_units_counts_as_a_row():
    rows = with_units(["", "mm", "", "mm", "deg"])
    rows[4][1] = "x"
    (fault,) = batch(rows).refused
    assert fault.row == 5


@pytest.mark.parametrize(
    ("units", "head", "column"),
    [
        (["", "in", "", "mm", "deg"], ["tooth", "reading_mm", *HEAD[2:]], "reading_mm"),
        (["", "mm", "", "mm", "deg"], [*HEAD[:3], "ring_radius_in", "touch"], "ring_radius_in"),
        (["", "mm", "", "mm", "mm"], [*HEAD[:4], "touch_deg"], "touch_deg"),
        (["mm", "mm", "", "mm", "deg"], HEAD, "tooth"),
        (["", "deg", "", "mm", "deg"], HEAD, "reading"),
        (["", "mm", "", "mm", "in"], HEAD, "touch"),
    ],
)
def test_a_unit_that_contradicts_its_column_is_refused(units, head, column):
    fault = whole_fault(with_units(units, head=head))
    assert (fault.row, fault.column) == (2, column)


def test_units_that_agree_with_the_names_do_no_harm():
    rows = with_units(
        ["", "mm", "", "in", ""],
        head=["tooth", "reading_mm", "teeth", "ring_radius_in", "touch_deg"],
    )
    assert batch(rows).readings[0].unit == "mm"


def test_a_unit_stated_otherwise_beside_the_file_is_refused():
    assert (
        "unit was given as in"
        in whole_fault(with_units(["", "mm", "", "mm", "deg"]), unit="in").problem
    )


def test_a_blade_may_be_called_in(tmp_path):
    rows = changed(wide(), 2, "blade", "in")
    rows = changed(rows, 3, "blade", "mm")
    frame = bg.read_table(save(tmp_path / "a.csv", rows), unit="mm")
    assert frame["blade"].unique().tolist() == ["in", "mm"]


def test_a_second_table_may_have_a_row_of_units(tmp_path):
    facts = save(tmp_path / "facts.csv", "blade,teeth,ring_radius\n,,in\nA,12,4.5\nB,12,4\n")
    rows = [[row[0], *row[2:]] for row in wide()]
    got = batch(rows, **MM, blades=facts)
    assert [one.ring_radius_mm for one in got.readings] == [4.5 * 25.4, 4 * 25.4]


def test_a_wide_table_lies_in_a_folder_as_any_other(tmp_path):
    save(tmp_path / "wide.csv", changed(wide(suffix="_mm"), 3, "t4_mm", "#REF!"))
    filed = read_folder(tmp_path)
    assert [one.readings.blade.name for one in filed.readings] == ["A"]
    assert [(one.file, one.blade, one.column) for one in filed.refused] == [
        ("wide.csv", "B", "t4_mm")
    ]


def test_a_row_that_does_not_fit_stops_no_other_blade_of_a_folder(tmp_path):
    save(tmp_path / "wide.csv", [*two_blades(), ["B", "1"]])
    filed = read_folder(tmp_path)
    assert [one.readings.blade.name for one in filed.readings] == ["A"]
    assert {(one.blade, one.row) for one in filed.refused} == {("B", 26)}
