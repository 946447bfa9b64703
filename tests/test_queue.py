"""The day's queue on disk: the same numbers in every form, and nothing a spreadsheet would run."""

from __future__ import annotations

import csv
import json

import openpyxl
import pytest

from bladegeom.draw.queue import as_text, write_queue

ROWS = [
    {"blade": "=1+1", "wobble_tir": 0.123456789012345, "resolved": True, "warnings": ["a", "b"]},
    {"blade": "007", "wobble_tir": None, "resolved": False, "warnings": []},
    {"blade": "-3", "wobble_tir": -1.5, "resolved": False, "warnings": ["@x"]},
    {"blade": "b\x07ell", "wobble_tir": 1e-9, "resolved": False, "warnings": []},
]
REFUSED = [{"blade": "B-12", "row": 66, "problem": "tooth 41"}]


@pytest.fixture
def files(tmp_path):
    return {path.suffix: path for path in write_queue(ROWS, REFUSED, tmp_path / "queue")}


def test_json_holds_every_number_in_full(files):
    assert json.loads(files[".json"].read_text("utf-8")) == {"blades": ROWS, "refused": REFUSED}


def test_csv_holds_the_same_and_no_formula(files):
    with files[".csv"].open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["blade"] for row in rows] == ["'=1+1", "007", "'-3", "b\x07ell"]
    assert float(rows[0]["wobble_tir"]) == ROWS[0]["wobble_tir"]
    assert rows[1]["wobble_tir"] == ""
    assert float(rows[2]["wobble_tir"]) == -1.5
    assert rows[0]["warnings"] == "a; b"
    assert rows[2]["warnings"] == "'@x"


def test_a_workbook_holds_text_as_text_and_numbers_as_numbers(files):
    book = openpyxl.load_workbook(files[".xlsx"])
    assert book.sheetnames == ["queue", "refused"]
    cells = list(book["queue"].iter_rows(min_row=2))
    assert [row[0].value for row in cells] == ["=1+1", "007", "-3", "b\ufffdell"]
    assert {row[0].data_type for row in cells} == {"s"}
    assert cells[0][1].value == ROWS[0]["wobble_tir"]
    assert next(book["refused"].iter_rows(min_row=2, values_only=True)) == ("B-12", 66, "tooth 41")


def test_the_same_queue_gives_the_same_files(files, tmp_path):
    (tmp_path / "again").mkdir()
    for path in write_queue(ROWS, REFUSED, tmp_path / "again" / "queue"):
        assert path.read_bytes() == files[path.suffix].read_bytes()


def test_an_empty_queue_is_a_queue(tmp_path):
    csv_file, json_file, book = write_queue([], [], tmp_path / "queue")
    assert csv_file.read_text("utf-8-sig").strip() == "blade"
    assert json.loads(json_file.read_text("utf-8")) == {"blades": [], "refused": []}
    assert openpyxl.load_workbook(book)["queue"]["A1"].value == "blade"


@pytest.mark.parametrize("text", ["=1", "+1", "-1", "@a", "\t1", "\r1"])
def test_what_a_spreadsheet_would_run_begins_with_an_apostrophe(text):
    assert as_text(text) == f"'{text}"


def test_other_text_stays():
    assert [as_text(text) for text in ("a=1", "", "007")] == ["a=1", "", "007"]
