"""Tables as people make them: read rightly where there is one way, else refused with the cure."""

from __future__ import annotations

import io

import openpyxl
import pandas as pd
import pytest
from numpy.testing import assert_array_equal
from written import (
    NUMBERS,
    TEETH,
    changed,
    run,
    save,
    sheet,
    two_blades,
    wave,
    with_column,
    written,
)

import bladegeom as bg
from bladegeom.tables.read import parse_blades, tidy_by_cells, tidy_table

TITLES = {
    "one title": [["Spring batch"]],
    "padded": [["Spring batch, 2026", "", "", ""], ["", "", "", ""]],
    "several": [["Shop"], [], ["Read by", "an invented hand"], ["1", "2", "3"]],
}


def both_ways(rows, **more):
    """Read a table by its columns and cell by cell, which must say the same."""
    data = rows if isinstance(rows, bytes) else written(rows).encode()
    one, other = tidy_table(data, "a.csv", **more), tidy_by_cells(data, "a.csv", **more)
    assert [str(fault) for fault in one.refused] == [str(fault) for fault in other.refused]
    assert one.notes == other.notes
    if one.frame is not None:
        pd.testing.assert_frame_equal(one.frame, other.frame)
    return other


def wide(**blades):
    head = ["blade", "teeth", *(f"t{at}_mm" for at in range(1, TEETH + 1))]
    return [head, *([name, str(TEETH), *cells] for name, cells in blades.items())]


# What stands above the header, and below the rows


@pytest.mark.parametrize("title", TITLES.values(), ids=TITLES.keys())
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("table", [two_blades(), wide(A=wave(), B=wave(amplitude=0.2))])
def test_a_title_above_the_header_is_no_header(title, separator, table):
    got = parse_blades(written([*title, *table], separator).encode(), "a.csv")
    assert [one.blade.name for one in got.readings] == ["A", "B"]
    assert_array_equal(got.readings[0].reading, NUMBERS)
    (note,) = got.notes
    assert "above the header" in note
    assert title[0][0] in note


def test_rows_below_a_title_keep_their_numbers(tmp_path):
    rows = [["Spring batch"], [], *changed(two_blades(), 4, "reading_mm", "x")]
    path = save(tmp_path / "a.csv", rows)
    assert [(fault.blade, fault.row) for fault in bg.read_blades(path).refused] == [("A", 6)]
    assert both_ways(rows).refused[0].row == 6


def test_a_header_that_is_only_misspelt_is_not_passed_over(faults):
    rows = with_column(sheet(), "surface", "teeth")
    rows[0] = ["tooht", "raeding_mm", "teeeth", "surfaec"]
    assert {fault.row for fault in faults(rows)} == {1}


@pytest.mark.parametrize("word", ["Mean", "TOTAL", "average:", "Max."])
@pytest.mark.parametrize("named", [True, False], ids=["in the name", "in the tooth"])
def test_a_row_of_figures_at_the_end_is_left_out_with_a_note(word, named):
    rows = [*two_blades(), [word, "", "0.05", ""] if named else ["", word, "0.05", "12"]]
    got = both_ways(rows)
    assert not got.refused
    assert len(got.frame) == 2 * TEETH
    (note,) = got.notes
    assert "row 26" in note
    assert word in note


def test_a_row_of_figures_among_the_others_is_refused_with_its_cure():
    head, *rows = two_blades()
    for place in (TEETH, 3):
        got = both_ways([head, *rows[:place], ["A", "Mean", "0.05", "12"], *rows[place:]])
        (fault,) = got.refused
        assert (fault.blade, fault.row, fault.cure) == ("A", place + 2, "remove it")
        assert {*got.frame["blade"]} == {"B"}


def test_a_wide_row_of_figures_could_be_a_blade_and_is_refused():
    got = both_ways(wide(A=wave(), Mean=wave(amplitude=0.05)))
    assert {*got.frame["blade"]} == {"A"}
    (fault,) = got.refused
    assert (fault.blade, fault.row) == ("Mean", 3)
    assert "another name" in fault.cure


def test_blades_of_a_long_table_may_have_such_names():
    got = both_ways([*sheet(blade="Max"), *sheet(blade="Mean")[1:]])
    assert {*got.frame["blade"]} == {"Max", "Mean"}
    assert not got.notes


@pytest.mark.parametrize(
    ("head", "unit"),
    [
        ("Reading (thou)", "thou"),
        ("reading [mm]", "mm"),
        ("Reading (\u00b5m)", "um"),
        ("READING(in)", "in"),
    ],
)
def test_a_unit_in_brackets_is_the_columns_unit(read, head, unit):
    rows = [["Tooth", head, "Teeth", "Ring radius (in)"], *sheet(ring_radius_in="4")[1:]]
    readings = read(rows)
    assert (readings.unit, readings.ring_radius_mm) == (unit, pytest.approx(101.6))


@pytest.mark.parametrize("unit", ["(mm)", "[mm]", " mm "])
def test_a_row_of_units_may_have_them_in_brackets(read, unit):
    head, *rows = sheet()
    assert read([["tooth", "reading", "teeth"], ["", unit, ""], *rows]).unit == "mm"
    assert head[1] == "reading_mm"


# Workbooks


def book(*pages: object, merged=(), hidden=()):
    """Return the bytes of a workbook with some pages, laid out on the first."""
    whole = openpyxl.Workbook()
    for at, rows in enumerate(pages):
        page = whole.active if at == 0 else whole.create_sheet(f"Page {at + 1}")
        for row in rows:
            page.append([_typed(cell) for cell in row])
    for cells in merged:
        whole.worksheets[0].merge_cells(cells)
    for row in hidden:
        whole.worksheets[0].row_dimensions[row].hidden = True
    held = io.BytesIO()
    whole.save(held)
    return held.getvalue()


def _typed(cell):
    try:
        return float(cell)
    except ValueError:
        return cell or None


def parsed(data, **more):
    return parse_blades(data, "book.xlsx", **more)


def test_the_sheet_that_is_meant_is_named(tmp_path):
    data = book(two_blades(), sheet(blade="C"))
    path = save(tmp_path / "book.xlsx", data)
    with pytest.raises(bg.RefusedError) as refused:
        bg.read_blade(path)
    (fault,) = refused.value.faults
    assert "Sheet, Page 2" in fault.problem
    assert "--sheet" in fault.cure
    assert bg.read_blade(path, sheet="Page 2").blade.name == "C"
    assert {*bg.read_table(path, sheet="Sheet")["blade"]} == {"A", "B"}
    with pytest.raises(bg.RefusedError, match="no sheet Tuesday with cells; name one of Sheet, Pa"):
        bg.read_blades(path, sheet="Tuesday")


def test_the_sheet_is_named_to_every_command_that_reads_readings(tmp_path):
    path = save(tmp_path / "book.xlsx", book(sheet(blade="C", ring_radius_mm=100), two_blades()))
    limits = save(
        tmp_path / "limits.toml",
        '[[limit]]\nquantity = "raw_tir"\nvalue = "1 mm"\nsource = "invented"\n',
    )
    out = tmp_path / "out"
    for words in (
        *((name, path) for name in ("fit", "check", "doubt", "next")),
        ("squareness", path, "--away", "3"),
        ("chart", path, "-o", tmp_path / "c.svg"),
        ("change", path, path),
        ("record", path, "--history", tmp_path / "kept"),
        ("table", path, "-o", tmp_path / "t.csv"),
        ("batch", path, "--limits", limits, "--out", out),
    ):
        bare = run(*words)
        assert (bare.status, "--sheet NAME" in bare.err) == (2, True)
        assert run(*words, "--sheet", "Sheet").status == 0, words


def test_what_is_merged_down_a_column_stands_in_every_row():
    rows = two_blades(ring_radius_mm=100)
    for at in range(2, 2 * TEETH + 1):
        if at != TEETH + 1:
            rows[at][0] = ""
    for at in range(2, 2 * TEETH + 1):
        rows[at][4] = ""
    data = book([["Spring batch"], *rows], merged=["A1:E1", "A3:A14", "A15:A26", "E3:E26"])
    got = parsed(data)
    assert [one.blade.name for one in got.readings] == ["A", "B"]
    assert [one.ring_radius_mm for one in got.readings] == [100, 100]
    assert not got.refused


@pytest.mark.parametrize("cells", ["C3:C5", "B3:B4", "B3:C3"], ids=["readings", "teeth", "across"])
def test_merged_readings_are_refused(cells):
    with pytest.raises(bg.RefusedError) as refused:
        parsed(book(two_blades(), merged=[cells]))
    (fault,) = refused.value.faults
    assert fault.row == 3
    assert "unmerge" in fault.cure
    rows = wide(A=wave(), B=wave())
    with pytest.raises(bg.RefusedError, match="cells D2 to D3 are merged"):
        parsed(book(rows, merged=["D2:D3"]))


def test_hidden_rows_are_refused_and_named():
    with pytest.raises(bg.RefusedError) as refused:
        parsed(book(two_blades(), hidden=[4, 5, 9]))
    (fault,) = refused.value.faults
    assert fault.row == 4
    assert "also in rows 5, 9" in fault.problem
    assert "unhide" in fault.cure
    assert len(parsed(book([["title"], *two_blades()], hidden=[1, 40])).readings) == 2


# A limits file


def test_every_fault_of_a_limits_file_names_it(tmp_path):
    table = save(tmp_path / "day.csv", sheet(blade="A"))
    for name, text, says in (
        ("a.toml", "[limit]\nquantity = 'raw_tir'\n", "row 1: [[limit]] says no value"),
        ("b.toml", "[[limit]]\nvalue = 3\n", "row 2: [[limit]] value: "),
        ("c.toml", "[[limit]]\nlimt = 3\n", "row 2: limt is not a known key in [[limit]]"),
        ("d.toml", "[[limit\n", "row 1: it is not in order"),
        ("e.toml", "", "it holds no limit"),
        ("f.csv", "quantity,limit_mm\nraw_tir,1\n", "row 1: there is no column source"),
        ("g.csv", "", "it is empty"),
    ):
        limits = save(tmp_path / name, text)
        ran = run("batch", table, "--limits", limits, "--out", tmp_path / "out")
        assert ran.status == 2
        lines = ran.err.splitlines()
        assert all(line.startswith(f"bladegeom: {limits}: ") for line in lines), lines
        assert any(says in line for line in lines), lines
