"""Tables in every dialect: separators, decimal marks, encodings, blanks."""

from __future__ import annotations

import pytest
from numpy.testing import assert_array_equal
from written import NUMBERS, TEETH, changed, sheet, wave, with_column, written

# Dialects


def test_a_plain_table_is_read(read):
    readings = read(sheet(ring_radius_mm=100))
    assert_array_equal(readings.reading, NUMBERS)
    assert_array_equal(readings.tooth, range(1, TEETH + 1))
    assert (readings.unit, readings.blade.teeth, readings.ring_radius_mm) == ("mm", TEETH, 100.0)


@pytest.mark.parametrize("separator", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
@pytest.mark.parametrize("mark", [".", ","], ids=["point", "decimal comma"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"], ids=["lf", "crlf", "cr"])
def test_every_dialect_gives_the_same_numbers(read, separator, mark, ending):
    cells = [[cell.replace(".", mark) for cell in row] for row in sheet(ring_radius_mm="104.5")]
    readings = read(written(cells, separator, ending))
    assert_array_equal(readings.reading, NUMBERS)
    assert readings.ring_radius_mm == 104.5


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_every_encoding_gives_the_same_names_and_numbers(read, encoding):
    mark = "\ufeff" if encoding in ("utf-16-le", "utf-16-be") else ""
    readings = read((mark + written(sheet(blade="Säge Ω 鋸"))).encode(encoding))
    assert readings.blade.name == "Säge Ω 鋸"
    assert_array_equal(readings.reading, NUMBERS)


def test_a_byte_order_mark_written_twice_does_no_harm(read):
    assert_array_equal(read("\ufeff\ufeff" + written(sheet())).reading, NUMBERS)


def test_quoted_cells_are_read(read):
    quoted = "\n".join(",".join(f'"{cell}"' for cell in row) for row in sheet())
    assert_array_equal(read(quoted).reading, NUMBERS)


def test_no_line_end_at_the_end_is_needed(read):
    assert_array_equal(read(written(sheet()).rstrip("\n")).reading, NUMBERS)


def test_blank_rows_are_left_out_and_counted(read, faults):
    spaced = [row for one in sheet() for row in (one, [""] * 3)]
    assert_array_equal(read(spaced).reading, NUMBERS)
    (fault,) = faults(changed(spaced, 5, "reading_mm", "x"))
    assert fault.row == 5


def test_blank_rows_above_the_header_are_counted(faults):
    (fault,) = faults("\n\n" + written(sheet()).replace("tooth", "tooht"))
    assert (fault.row, fault.column) == (3, "tooht")


def test_a_cell_of_two_lines_is_one_row(faults):
    rows = with_column(sheet(), "note", "two\nlines")
    (fault,) = faults(changed(rows, 5, "reading_mm", "x"))
    assert fault.row == 5


def test_an_empty_last_column_is_nobodys_mistake(read):
    assert_array_equal(read(with_column(sheet(), "", "")).reading, NUMBERS)


def test_header_names_may_differ_in_case_blanks_and_hyphens(read):
    head = [" Tooth", "READING-MM ", "Teeth", "ring radius mm"]
    assert read([head, *sheet(ring_radius_mm=100)[1:]]).ring_radius_mm == 100


def test_columns_stand_in_any_order(read):
    assert_array_equal(read([row[::-1] for row in sheet(ring_radius_mm=100)]).reading, NUMBERS)


@pytest.mark.parametrize("cell", ["", " ", "?"], ids=["empty", "blank", "question mark"])
def test_a_tooth_not_read_is_left_out(read, cell):
    readings = read(changed(sheet(), 4, "reading_mm", cell))
    assert_array_equal(readings.tooth, [1, 2, *range(4, TEETH + 1)])


def test_a_tooth_not_read_needs_neither_turn_nor_order(read):
    rows = with_column(with_column(sheet(), "turn", "1"), "order", *map(str, range(TEETH)))
    rows = changed(changed(changed(rows, 4, "reading_mm", "?"), 4, "turn", ""), 4, "order", "")
    assert_array_equal(read(rows).tooth, [1, 2, *range(4, TEETH + 1)])


def test_three_point_nought_is_tooth_3(read):
    assert_array_equal(read(changed(sheet(), 4, "tooth", "3.0")).tooth, range(1, TEETH + 1))


def test_turn_and_order_are_read(read):
    rows = sheet([*wave(), *wave()], teeth=TEETH)
    for at in range(TEETH):
        rows = changed(rows, at + TEETH + 2, "tooth", str(at + 1))
    turned = with_column(rows, "turn", *["1"] * TEETH, "2")
    ordered = with_column(rows, "order", *map(str, range(2 * TEETH)))
    for readings in (read(turned), read(ordered)):
        assert_array_equal(readings.turn, [1] * TEETH + [2] * TEETH)


# Decimal marks and thousands


def test_a_file_that_mixes_decimal_marks_is_refused(faults):
    rows = changed(sheet(), 4, "reading_mm", "0,05")
    (fault,) = faults(written(rows, ";"))
    assert (fault.row, fault.value) == (4, "0,05")
    assert "decimal points and decimal commas are mixed: 0,05 here, 0.100 in row 2" in fault.problem


@pytest.mark.parametrize("mark", [".", ","], ids=["point", "comma"])
def test_numbers_that_could_be_thousands_are_refused(faults, mark):
    rows = sheet([f"1{mark}{at}00" for at in range(1, 10)], unit="um")
    (fault,) = faults(written(rows, ";"))
    assert f"1{mark}100 could be 1.100 or 1100" in fault.problem
    assert fault.row == 2
    assert f"such as 1{mark}1000" in fault.cure


@pytest.mark.parametrize("plain", ["0,5", "1,5", "12,3456", "1,2345e-1", ",5"])
def test_one_plain_number_tells_the_decimal_comma(read, plain):
    cells = ["1,234", "1,235", "1,236", "1,237", "1,238", plain]
    readings = read(written(sheet(cells), ";"))
    assert readings.reading[0] == 1.234


def test_a_plain_number_in_a_fact_tells_the_decimal_comma(read):
    rows = sheet([f"1,23{at}" for at in range(8)], ring_radius_mm="101,5")
    assert read(written(rows, ";")).reading[3] == 1.233


def test_decimal_commas_are_told_where_the_unit_is_stated_beside_the_file(read):
    text = written(sheet(), ";").replace(".", ",").replace("reading_mm", "reading")
    assert_array_equal(read(text, unit="mm").reading, NUMBERS)


def test_between_commas_a_point_is_a_decimal_point(read):
    assert read(sheet([f"1.23{at}" for at in range(8)])).reading[3] == 1.233


def test_quoted_thousands_between_commas_are_refused(faults):
    (fault,) = faults(sheet([f"1,23{at}" for at in range(8)], unit="um"))
    assert "1,230 could be 1.230 or 1230" in fault.problem


@pytest.mark.parametrize(
    "head", ["tooth,reading_mm", "tooth,reading_mm,"], ids=["short header", "blank column"]
)
def test_decimal_commas_between_commas_are_refused_not_cut_off(faults, head):
    body = "".join(f"{at},0,{at}\n" for at in range(1, 10))
    found = faults(f"{head}\n{body}", teeth=9)
    assert found[0].row == 2
    assert "where numbers have decimal commas, put semicolons between the cells" in found[0].cure
