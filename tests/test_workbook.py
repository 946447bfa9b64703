"""A spreadsheet's own file gives the numbers that it shows, or is refused in plain words."""

from __future__ import annotations

import datetime
import io
import re
import sys
import zipfile
from unittest.mock import patch

import openpyxl
import pytest
from numpy.testing import assert_array_equal
from written import NUMBERS, TEETH, changed, run, save, sheet, two_blades, wave

import bladegeom as bg
from bladegeom.tables.read import parse_blades


def cells_of(rows):
    """Return rows with numbers in place of the texts of numbers, but for the blades' names."""
    named = [column == "blade" for column in rows[0]]

    def typed(text, name):
        try:
            return text if name else float(text)
        except ValueError:
            return text or None

    return [
        rows[0],
        *([typed(*pair) for pair in zip(row, named, strict=True)] for row in rows[1:]),
    ]


def book(rows, **more_sheets):
    """Return the bytes of a workbook; a cell is a value, or a value and its format."""
    whole = openpyxl.Workbook()
    for title, lines in {"Sheet": rows, **more_sheets}.items():
        page = whole.active if title == "Sheet" else whole.create_sheet(title)
        for at, line in enumerate(lines, 1):
            for place, cell in enumerate(line, 1):
                value, shown = cell if isinstance(cell, tuple) else (cell, None)
                one = page.cell(at, place, value)
                if shown:
                    one.number_format = shown
    stream = io.BytesIO()
    whole.save(stream)
    return stream.getvalue()


def batch(rows, **more):
    return parse_blades(book(rows), "book.xlsx", **more)


def refusal(data):
    with pytest.raises(bg.RefusedError) as refused:
        parse_blades(data, "book.xlsx")
    (fault,) = refused.value.faults
    return fault


def test_a_workbook_gives_the_numbers_of_its_csv():
    got = batch(cells_of(two_blades(ring_radius_mm="104.5")))
    assert [one.blade.name for one in got.readings] == ["A", "B"]
    assert_array_equal(got.readings[0].reading, NUMBERS)
    assert got.readings[0].ring_radius_mm == 104.5


def test_a_wide_workbook_is_read():
    head = ["blade", "teeth", *range(1, TEETH + 1)]
    (got,) = batch([head, [None] * 2 + ["mm"] * TEETH, ["A", TEETH, *NUMBERS]]).readings
    assert_array_equal(got.reading, NUMBERS)


def test_numbers_that_look_like_thousands_are_what_they_are():
    cells = [f"1.23{at}" for at in range(1, 9)]
    (got,) = batch(cells_of(sheet(cells))).readings
    assert_array_equal(got.reading, [float(cell) for cell in cells])


def test_texts_that_look_like_thousands_are_refused():
    assert "could be" in refusal(book(sheet([f"1.23{at}" for at in range(8)]))).problem


def test_texts_with_decimal_commas_are_read():
    (got,) = batch([[cell.replace(".", ",") for cell in row] for row in sheet()]).readings
    assert_array_equal(got.reading, NUMBERS)


@pytest.mark.parametrize(
    ("cell", "name"),
    [
        ("0042", "0042"),
        ((42, "0000"), "0042"),
        (42, "42"),
        (123456789012, "123456789012"),
        (1.234, "1.234"),
    ],
)
def test_names_keep_their_noughts(cell, name):
    rows = cells_of(sheet(blade="A"))
    (one,) = batch([rows[0], *([cell, *row[1:]] for row in rows[1:])]).readings
    assert one.blade.name == name


DAY = datetime.datetime(2026, 1, 2)


@pytest.mark.parametrize(
    ("cell", "value", "says"),
    [
        (DAY, "2026-01-02", "is a date"),
        (DAY.date(), "2026-01-02", "is a date"),
        ("#VALUE!", "#VALUE!", "formula that failed"),
        ("=B3+1", "=B3+1", "formula without a value"),
        (True, "TRUE", "not a number"),
    ],
)
def test_a_damaged_reading_refuses_its_blade_only(cell, value, says):
    rows = cells_of(two_blades())
    rows[3][2] = cell
    got = batch(rows)
    (fault,) = got.refused
    assert (fault.blade, fault.row, fault.column, fault.value) == ("A", 4, "reading_mm", value)
    assert says in fault.problem
    assert [one.blade.name for one in got.readings] == ["B"]


@pytest.mark.parametrize(
    ("cell", "says"), [(DAY, "is a date"), (12345678901234567, "power of ten")]
)
def test_a_damaged_name_refuses_its_blade_only(cell, says):
    rows = cells_of(two_blades())
    for row in rows[1:13]:
        row[0] = cell
    got = batch(rows)
    assert [says in fault.problem for fault in got.refused] == [True]
    assert [one.blade.name for one in got.readings] == ["B"]


def test_a_formula_for_a_name_is_refused():
    rows = cells_of(two_blades())
    rows[3][0] = "=A2"
    fault = refusal(book(rows))
    assert (fault.row, fault.column, fault.value) == (4, "blade", "=A2")


def test_a_formula_is_its_stored_value():
    rows = cells_of(sheet(blade="A"))
    rows[3][2] = "=0.02+0.03"
    data = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book(rows))) as old, zipfile.ZipFile(data, "w") as new:
        for part in old.namelist():
            text = old.read(part)
            new.writestr(part, re.sub(rb"</f><v ?/>|</f><v></v>", b"</f><v>0.05</v>", text))
    (got,) = parse_blades(data.getvalue(), "book.xlsx").readings
    assert_array_equal(got.reading, NUMBERS)


def test_blank_rows_and_columns_are_left_out_and_counted():
    rows = [[], *(line for row in cells_of(sheet()) for line in (row, [None]))]
    assert_array_equal(batch(rows).readings[0].reading, NUMBERS)
    rows[3][1] = "x"
    assert batch(rows).refused[0].row == 4


def test_the_only_sheet_with_cells_is_read():
    data = book([], Readings=cells_of(sheet()), Empty=[])
    assert_array_equal(parse_blades(data, "book.xlsx").readings[0].reading, NUMBERS)


def test_two_sheets_with_cells_are_refused_by_their_names():
    fault = refusal(book(cells_of(sheet()), Monday=[["x"]]))
    assert "2 sheets with cells: Sheet, Monday" in fault.problem


def test_an_empty_workbook_is_refused():
    assert "is empty" in refusal(book([])).problem


@pytest.mark.parametrize("cut", [10, 100, 1000, 3000])
def test_a_damaged_workbook_is_refused(cut):
    fault = refusal(book(cells_of(sheet()))[:cut])
    assert "is a spreadsheet file that cannot be read" in fault.problem


def test_without_openpyxl_the_cure_is_named():
    held = book(cells_of(sheet()))
    with patch.dict(sys.modules, openpyxl=None):
        fault = refusal(held)
    assert 'pip install "bladegeom[xlsx]"' in fault.cure


def test_an_old_workbook_is_refused_by_its_kind():
    with pytest.raises(bg.RefusedError, match="spreadsheet file of an old kind"):
        parse_blades(b"\xd0\xcf\x11\xe0" + bytes(90), "book.xls")


def test_the_command_reads_it_from_a_file_and_from_a_pipe(tmp_path):
    data = book(cells_of(sheet(blade="A")))
    path = save(tmp_path / "a.xlsx", data)
    plain = run("fit", save(tmp_path / "a.csv", sheet(blade="A")), "--json").json
    assert run("fit", path, "--json").json == plain
    assert run("fit", "-", "--json", stdin=data).json == plain
    assert run("check", path).status == run("check", tmp_path / "a.csv").status


def test_a_row_longer_than_its_header_is_refused():
    rows = cells_of(changed(two_blades(), 5, "teeth", "12"))
    rows[4] = [*rows[4], "note"]
    got = batch(rows)
    assert [(one.blade, one.row, one.value) for one in got.refused] == [("A", 5, "note")]
    assert [len(one.reading) for one in got.readings] == [len(wave())]
