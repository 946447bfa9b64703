"""Quote marks in tables: a row is read, or refused with its number, and never swallowed."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal
from written import (
    NUMBERS,
    TEETH,
    changed,
    faults_of,
    read_back,
    run,
    save,
    sheet,
    two_blades,
    wave,
    with_column,
    written,
)

import bladegeom as bg
from bladegeom.shop.limits import read_limits
from bladegeom.tables.read import tidy_by_cells, tidy_table
from bladegeom.tables.several import read_mounts, read_rings

DITTO = '"'
BY_HAND = {"comma": ",", "semicolon": ";", "tab": "\t"}
ENDINGS = {"lf": "\n", "crlf": "\r\n", "cr": "\r"}
every_ending = pytest.mark.parametrize("ending", ENDINGS.values(), ids=ENDINGS.keys())
every_separator = pytest.mark.parametrize("separator", BY_HAND.values(), ids=BY_HAND.keys())


def typed(rows, separator=",", ending="\n"):
    """Write rows as a hand does: nothing is quoted."""
    return "".join(separator.join(row) + ending for row in rows)


def noted(notes, blade=None):
    return with_column(sheet(blade=blade), "note", *notes)


@every_separator
@every_ending
@pytest.mark.parametrize("dittos", [2, 3, TEETH - 1])
def test_ditto_marks_swallow_no_row(tmp_path, separator, ending, dittos):
    rows = noted(["gum", *[DITTO] * dittos, ""][:TEETH])
    (fault,) = faults_of(tmp_path, typed(rows, separator, ending))
    assert fault.row == 3
    assert fault.value
    assert "ditto" in fault.cure


@pytest.mark.parametrize("ended", [True, False])
def test_a_single_ditto_mark_is_refused_where_it_stands(tmp_path, ended):
    rows = noted([*["ok"] * (TEETH - 1), DITTO])
    text = typed(rows)
    (fault,) = faults_of(tmp_path, text if ended else text.rstrip("\n"))
    assert (fault.row, fault.value) == (TEETH + 1, ",".join(rows[-1]))


@pytest.mark.parametrize("column", ["tooth", "reading_mm", "teeth"])
def test_ditto_marks_for_a_number_are_refused(tmp_path, column):
    rows = noted(["x"])
    for row in range(4, 8):
        rows = changed(rows, row, column, DITTO)
    assert faults_of(tmp_path, typed(rows))[0].row == 4


def test_dittos_that_make_one_cell_of_a_row_are_refused_with_the_rows(tmp_path):
    rows = with_column(with_column(sheet(), "note", "a", DITTO), "who", "b", DITTO)
    rows = [[row[-1], *row[:-1]] for row in rows]
    found = faults_of(tmp_path, typed(rows))
    assert found[0].row == 3
    assert "ditto" in found[0].cure


def test_ditto_marks_of_one_blade_lose_no_row_of_another(tmp_path):
    """The two quotes stand at the end of one blade's row and in the name of the next."""
    head = ["blade", *(f"t{at}_mm" for at in range(1, TEETH + 1)), "note"]
    names = ["A", 'B 10"', "C"]
    rows = [head, *([name, *wave(), DITTO if name == "A" else ""] for name in names)]
    path = save(tmp_path / "wide.csv", typed(rows))
    with pytest.raises(bg.RefusedError) as refused:
        bg.read_blades(path)
    assert [fault.row for fault in refused.value.faults] == [2]


@pytest.mark.parametrize("mark", [DITTO, "''", "\u201d", "\u3003", '-"-'])
def test_a_ditto_mark_is_no_blades_name(tmp_path, mark):
    rows = sheet(blade="A")
    for row in range(3, TEETH + 2):
        rows = changed(rows, row, "blade", mark)
    path = save(tmp_path / "t.csv", rows)
    for found in (bg.read_blades(path), tidy_table(path.read_bytes(), "t.csv")):
        assert (3, mark) in [(fault.row, fault.value) for fault in found.refused]


SWALLOWED = typed([["blade", "teeth", "note"], ["A", "12", "x"], *[["B", "12", DITTO]] * 2])
LIMITS = typed(
    [
        ["quantity", "limit_mm", "source"],
        ["wobble_tir", "0.1", "ours"],
        *[["raw_tir", "0.2", DITTO]] * 2,
    ]
)


def test_every_table_refuses_a_swallowed_row(tmp_path):
    readings = save(tmp_path / "good.csv", sheet(blade="A"))
    facts = save(tmp_path / "facts.csv", SWALLOWED)
    limits = save(tmp_path / "limits.csv", LIMITS)
    noted_rows = noted(["gum", DITTO], blade="A")
    mounts = save(tmp_path / "mounts.csv", typed(with_column(noted_rows, "mount", "1")))
    rings = save(tmp_path / "rings.csv", typed(with_column(noted_rows, "ring_radius_mm", "90")))
    wrong = save(tmp_path / "wrong.csv", typed(noted_rows))
    for read in (
        lambda: bg.read_blade(readings, blades=facts),
        lambda: bg.read_table(readings, blades=facts),
        lambda: read_limits(limits),
        lambda: read_mounts(mounts),
        lambda: read_rings(rings),
        lambda: bg.read_table(wrong),
    ):
        with pytest.raises(bg.RefusedError) as refused:
            read()
        (fault,) = refused.value.faults
        assert fault.row == 3


@pytest.mark.parametrize("command", ["fit", "check", "table", "shelf"])
def test_the_command_does_not_answer_from_what_is_left(tmp_path, command):
    folder = tmp_path / "in"
    folder.mkdir()
    path = save(folder / "ditto.csv", typed(noted(["gum", *[DITTO] * 8, ""])))
    what = folder if command == "shelf" else path
    more = ["-o", tmp_path / "out.csv"] if command == "table" else []
    ran = run(command, what, *more)
    assert (ran.status, ran.out) == (2, "")
    assert "row 3" in ran.err


# What quotes are for


@every_separator
@every_ending
@pytest.mark.parametrize(
    "cell",
    ["B-12, 40T", "a;b", "a\tb", '10" blade', '"', '""', "two\nlines", "two\r\nlines\n", "\n"],
)
def test_a_cell_quoted_as_spreadsheets_do_is_read(tmp_path, separator, ending, cell):
    quoted = '"' + cell.replace('"', '""') + '"'
    text = typed(noted([quoted, "", quoted]), separator, ending)
    assert_array_equal(read_back(tmp_path, text).reading, NUMBERS)


def test_inch_marks_in_a_cell_without_quotes_are_read(tmp_path):
    readings = read_back(tmp_path, typed(noted(['10"', '10" x 40T', 'a "b" c'])))
    assert_array_equal(readings.reading, NUMBERS)


def test_a_quoted_name_with_a_separator_is_the_blades_name(tmp_path):
    assert read_back(tmp_path, written(sheet(blade="B-12, 40T"))).blade.name == "B-12, 40T"


@every_ending
def test_rows_count_as_in_a_spreadsheet_behind_notes_of_several_lines(tmp_path, ending):
    rows = changed(noted(["one\ntwo\n\nthree", "", "four\nfive"]), 9, "reading_mm", "x")
    (fault,) = faults_of(tmp_path, written(rows).replace("\n", ending))
    assert (fault.row, fault.value) == (9, "x")


@pytest.mark.parametrize("separator", ["", "sep=,\n"], ids=["plain", "stated"])
@every_ending
def test_a_broken_letter_is_refused_in_its_row_behind_notes_of_several_lines(
    tmp_path, ending, separator
):
    rows = changed(noted(["one\ntwo\n\nthree", "", "four\nfive"]), 9, "note", "?\u00e9")
    data = (separator + written(rows)).replace("\n", ending).encode().replace(b"\xc3\xa9", b"\x81")
    (fault,) = faults_of(tmp_path, data)
    assert (fault.row, fault.value) == (9, "byte 0x81")


def test_a_note_of_several_lines_with_separators_could_be_rows(tmp_path):
    (fault,) = faults_of(tmp_path, written(noted(["", "gum,\nwiped"])))
    assert (fault.row, fault.value) == (3, "gum,\nwiped")


@pytest.mark.parametrize(
    ("cell", "row"), [('"open', 5), ('"10" blade"', 5), ('"shut" ', 5)], ids=["open", "in", "blank"]
)
def test_a_quote_that_does_not_end_its_cell_is_refused_in_its_row(tmp_path, cell, row):
    rows = changed(noted(["two\nlines", ""]), row, "note", "WRONG")
    (fault,) = faults_of(tmp_path, written(rows).replace("WRONG", cell))
    assert fault.row == row
    assert cell in f"{fault.value} "


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.too_slow])
@given(
    cells=st.lists(
        st.sampled_from(["", "ok", DITTO, '""', '"a"', '10"', '"a', 'a"', '","', '"\n"']),
        min_size=2 * TEETH,
        max_size=2 * TEETH,
    ),
    first=st.booleans(),
)
def test_whatever_the_quotes_every_row_is_read_or_something_is_refused(cells, first):
    head, *body = two_blades()
    rows = [[*head, "note"], *([*row, cell] for row, cell in zip(body, cells, strict=True))]
    if first:
        rows = [[row[-1], *row[:-1]] for row in rows]
    data = typed(rows).encode()
    found = []
    for read in (tidy_table, tidy_by_cells):
        try:
            tidy = read(data, "t.csv")
        except bg.RefusedError as error:
            found.append([str(fault) for fault in error.faults])
            continue
        found.append([str(fault) for fault in tidy.refused])
        kept = 0 if tidy.frame is None else len(tidy.frame)
        lost = {fault.blade for fault in tidy.refused}
        assert kept + TEETH * len(lost) == 2 * TEETH
    assert found[0] == found[1]
