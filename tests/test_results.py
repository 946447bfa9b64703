"""Tables of answers: their files, what is refused, and nothing that a spreadsheet runs."""

from __future__ import annotations

import csv

import openpyxl
import pandas as pd
import pytest
from simulated import rng_for
from written import changed, run, save, sheet, two_blades, wave, written

import bladegeom as bg
from bladegeom.draw import results
from bladegeom.draw.results import as_text


@pytest.fixture
def rough():
    """Rows of blades A and B that wobble and scatter."""
    rng = rng_for(11)
    first, second = (
        sheet(
            [f"{float(text) + rng.normal(0, 0.004):.3f}" for text in wave(24)],
            blade=name,
            ring_radius_mm=100,
            diameter_mm=254,
        )
        for name in "AB"
    )
    return [*first, *second[1:]]


def rows_of(path):
    with open(path, encoding="utf-8-sig", newline="") as file:
        return [*csv.DictReader(file)]


def test_every_number_is_the_one_of_the_fit_and_comes_back_from_the_file(tmp_path, rough):
    path = save(tmp_path / "day.csv", rough)
    ran = run("table", path, "-o", tmp_path / "out.csv")
    assert (ran.status, ran.err) == (0, "")
    assert ran.out == f"wrote {tmp_path / 'out.csv'}: 2 answered\n"
    rows = rows_of(tmp_path / "out.csv")
    expected = bg.fit_table(bg.read_table(path))
    assert list(rows[0]) == [*expected.columns, "read_again", "file", "refused"]
    for column in expected:
        for row, value in zip(rows, expected[column].tolist(), strict=True):
            assert row[column] == ("" if pd.isna(value) else str(value)), column
    assert {row["file"] for row in rows} == {"day.csv"}
    assert {row["refused"] for row in rows} == {""}


def test_the_columns_are_the_keys_of_the_fit(tmp_path, rough):
    path = save(tmp_path / "day.csv", rough)
    run("table", path, "-o", tmp_path / "out.csv")
    (_, answer) = run("fit", path, "--json").json["blades"]
    (_, row) = rows_of(tmp_path / "out.csv")
    for key, value in answer.items():
        if isinstance(value, float):
            assert float(row[key]) == pytest.approx(value, rel=1e-9), key
    assert row["blade"] == answer["blade"] == "B"
    assert row["resolved"] == str(answer["resolved"])


def test_refused_blades_are_told_and_stand_at_the_end_and_the_others_go_on(tmp_path, rough):
    good = save(tmp_path / "good.csv", rough)
    bad = save(tmp_path / "bad.csv", changed(changed(rough, 4, "reading_mm", "x"), 5, "tooth", ""))
    ran = run("table", good, bad, "-o", tmp_path / "out.csv")
    assert ran.status == 1
    assert ran.out.endswith(": 3 answered, 1 refused\n")
    assert "bad.csv: blade A, row 4: reading_mm: 'x' is not a number; write a number" in ran.err
    assert "bad.csv: blade A, row 5: tooth is blank" in ran.err
    rows = rows_of(tmp_path / "out.csv")
    assert [(row["blade"], row["file"], bool(row["refused"])) for row in rows] == [
        ("A", "good.csv", False),
        ("B", "good.csv", False),
        ("B", "bad.csv", False),
        ("A", "bad.csv", True),
    ]
    assert "row 4: reading_mm: 'x' is not a number" in rows[-1]["refused"]
    assert "row 5: tooth is blank" in rows[-1]["refused"]
    assert rows[-1]["amplitude"] == ""


@pytest.mark.parametrize("note", ["", '"a, b"'], ids=["plain", "cell by cell"])
@pytest.mark.parametrize("blank", ["", "?"])
def test_a_blade_of_which_nothing_was_read_is_not_passed_over(tmp_path, rough, note, blank):
    rows = [[*row, note] for row in rough]
    rows[0][-1] = "note"
    rows[25:] = [[cell if at != 2 else blank for at, cell in enumerate(row)] for row in rows[25:]]
    path = tmp_path / "day.csv"
    save(path, "".join(",".join(row) + "\n" for row in rows))
    ran = run("table", path, "-o", tmp_path / "out.csv")
    assert ran.status == 1
    assert "blade B: " in ran.err
    good, bad = rows_of(tmp_path / "out.csv")
    assert (good["blade"], bad["blade"]) == ("A", "B")
    assert bad["refused"]
    with pytest.warns(bg.BladegeomWarning, match="blade B"):
        frame = bg.read_table(path)
    assert set(frame["blade"]) == {"A"}
    assert [fault.blade for fault in frame.attrs["refused"]] == ["B"]


def test_a_blade_with_too_few_teeth_is_refused_without_the_row_of_another_table(tmp_path, rough):
    path = save(tmp_path / "day.csv", rough[:29])
    ran = run("table", path, "-o", tmp_path / "out.csv")
    assert ran.status == 1
    assert "blade B" in ran.err
    assert "row" not in ran.err


def test_where_no_blade_is_answered_nothing_is_written(tmp_path):
    path = save(tmp_path / "day.csv", changed(sheet(blade="A"), 4, "reading_mm", "x"))
    ran = run("table", path, tmp_path / "not there.csv", "-o", tmp_path / "out.csv")
    assert ran.status == 2
    assert "not there.csv" in ran.err
    assert "day.csv: blade A, row 4: reading_mm: 'x'" in ran.err
    assert not (tmp_path / "out.csv").exists()


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@x", "a,b", 'say "so"', "a\nb", "007", "é"])
def test_names_are_written_as_text_that_no_spreadsheet_runs(tmp_path, name):
    path = save(tmp_path / "day.csv", sheet(blade=name, ring_radius_mm=100))
    assert run("table", path, "-o", tmp_path / "out.csv").status == 0
    assert run("table", path, "-o", tmp_path / "out.xlsx").status == 0
    (row,) = rows_of(tmp_path / "out.csv")
    assert row["blade"] == (f"'{name}" if name[0] in "=+-@" else name)
    book = openpyxl.load_workbook(tmp_path / "out.xlsx")
    cell = book.active["A2"]
    assert (cell.value, cell.data_type) == (name, "s")


def test_a_workbook_holds_what_the_csv_holds(tmp_path, rough):
    path = save(tmp_path / "day.csv", changed(rough, 4, "reading_mm", "x"))
    for ending in ("csv", "xlsx"):
        assert run("table", path, "-o", tmp_path / f"out.{ending}").status == 1
    texts = rows_of(tmp_path / "out.csv")
    head, *rows = openpyxl.load_workbook(tmp_path / "out.xlsx").active.values
    assert list(texts[0]) == list(head)
    for text, row in zip(texts, rows, strict=True):
        for written_so, value in zip(text.values(), row, strict=True):
            if isinstance(value, float):  # Of which a workbook is given sixteen digits.
                assert float(written_so) == pytest.approx(value, rel=1e-14)
            else:
                assert written_so == ("" if value is None else str(value))


def test_what_a_reading_repeats_is_told_as_the_fit_tells_it(tmp_path, rough):
    path = save(tmp_path / "day.csv", [*rough[:9], rough[5], *rough[9:]])
    run("table", path, "-o", tmp_path / "out.csv")
    (answer, _) = run("fit", path, "--json").json["blades"]
    (row, _) = rows_of(tmp_path / "out.csv")
    assert "row 10 repeats row 6" in row["warnings"]
    assert row["warnings"] == "; ".join(answer["warnings"])


@pytest.mark.parametrize(
    ("output", "says"),
    [
        ("out.txt", "neither .csv nor .xlsx"),
        ("no folder/out.csv", "cannot be written"),
        ("day.csv", "holds what is to be read"),
    ],
)
def test_a_file_that_cannot_be_written_is_refused(tmp_path, rough, output, says):
    path = save(tmp_path / "day.csv", rough)
    before = path.read_bytes()
    ran = run("table", path, "-o", tmp_path / output)
    assert ran.status == 2
    assert says in ran.err
    assert path.read_bytes() == before


def test_without_openpyxl_a_workbook_is_refused_and_a_csv_written(tmp_path, rough, monkeypatch):
    monkeypatch.setattr(results, "has_workbooks", lambda: False)
    path = save(tmp_path / "day.csv", rough)
    assert "openpyxl" in run("table", path, "-o", tmp_path / "out.xlsx").err
    assert run("table", path, "-o", tmp_path / "out.csv").status == 0


def test_a_second_table_and_a_unit_are_used(tmp_path):
    rows = [["blade", *(f"t{tooth}" for tooth in range(1, 13))], *(["A", *wave()], ["B", *wave()])]
    path = save(tmp_path / "day.csv", rows)
    facts = save(tmp_path / "facts.csv", "blade,teeth,ring_radius_in\nA,12,4\nB,12,5\n")
    ran = run("table", path, "-o", tmp_path / "o.csv", "--blades", facts, "--unit", "thou")
    assert ran.status == 0
    assert [row["unit"] for row in rows_of(tmp_path / "o.csv")] == ["thou", "thou"]
    assert run("table", path, "-o", tmp_path / "o.csv", "--blades", facts).status == 2


def test_the_progress_ends_with_every_blade(tmp_path, rough):
    told = []
    path = save(tmp_path / "day.csv", changed(rough, 4, "reading_mm", "x"))
    results.write_answers([path], tmp_path / "out.csv", progress=lambda *one: told.append(one))
    assert {what for what, _, _ in told} == {"reading day.csv", "fitting day.csv", "writing"}
    assert told[-1] == ("writing", 1, 1)
    seen = []
    bg.fit_table(bg.read_table(save(path, two_blades())), progress=lambda *one: seen.append(one))
    assert seen[-1] == (2, 2)
    assert all(0 <= done <= count == 2 for done, count in seen)


def test_the_answers_are_the_same_whichever_way_the_file_was_read(tmp_path, rough):
    plain = save(tmp_path / "day.csv", rough)
    run("table", plain, "-o", tmp_path / "plain.csv")
    save(plain, written(rough).replace("A,", '"A",', 1))
    run("table", plain, "-o", tmp_path / "quoted.csv")
    assert (tmp_path / "plain.csv").read_bytes() == (tmp_path / "quoted.csv").read_bytes()


@pytest.mark.parametrize("text", ["=1", "+1", "-1", "@a", "\t1", "\r1"])
def test_what_a_spreadsheet_would_run_begins_with_an_apostrophe(text):
    assert as_text(text) == f"'{text}"


def test_other_text_stays():
    assert [as_text(text) for text in ("a=1", "", "007")] == ["a=1", "", "007"]
