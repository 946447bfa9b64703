"""Bad input through the whole command: what is wrong, in which row, and the cure."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest
from written import (
    TEETH,
    changed,
    run,
    run_apart,
    save,
    sheet,
    two_blades,
    wave,
    with_column,
    written,
)

KEYS = {"blade", "row", "column", "value", "problem", "cure"}


class Bad(NamedTuple):
    """A table that cannot be answered, and what must be said of it."""

    content: list[list[str]] | str | bytes
    row: int | None
    value: str | None
    says: str
    cure: str


def reading(cell):
    return changed(sheet(blade="A"), 5, "reading_mm", cell)


def tooth(cell):
    return changed(sheet(blade="A"), 5, "tooth", cell)


def arc(teeth, of):
    """Rows of the first few teeth of a blade."""
    return sheet(wave(of)[:teeth], blade="A", teeth=of)


GOOD = sheet(blade="A")
THOUSANDS = [f"1,{at:03}" for at in range(100, 100 + TEETH)]
BAD = {
    "empty file": Bad("", None, None, "is empty", "a header row and one row a reading"),
    "blank file": Bad("\n , ,\n\n", None, None, "is empty", "one row a reading"),
    "only a byte order mark": Bad(b"\xef\xbb\xbf", None, None, "is empty", "a header row"),
    "header only": Bad(GOOD[:1], None, None, "has a header and no rows", "one row a reading"),
    "no unit": Bad(
        written(GOOD).replace("reading_mm", "reading"),
        1,
        "reading",
        "column reading has no known unit",
        "reading_mm, reading_in, reading_thou or reading_um",
    ),
    "two units": Bad(
        with_column(GOOD, "reading_in", "0.1"),
        1,
        "reading_mm and reading_in",
        "the readings are there twice",
        "keep one of them",
    ),
    "text in a reading": Bad(reading("abc"), 5, "abc", "'abc' is not a number", "or ? for not"),
    "NaN in a reading": Bad(reading("NaN"), 5, "NaN", "'NaN' is not a number", "leave the cell"),
    "infinity in a reading": Bad(reading("-inf"), 5, "-inf", "'-inf' is not", "leave the cell"),
    "a reading without end": Bad(reading("1e999"), 5, "1e999", "too large", "check the number"),
    "a unit in a reading": Bad(reading("0.1mm"), 5, "0.1mm", "'0.1mm' is not a number", "a number"),
    "tooth 0": Bad(tooth("0"), 5, "0", f"tooth 0 on a {TEETH}-tooth blade", "count from 1 to 12"),
    "tooth above N": Bad(tooth("13"), 5, "13", "tooth 13 on a 12-tooth", "check tooth and teeth"),
    "tooth 3.5": Bad(tooth("3.5"), 5, "3.5", "not a whole number", "tooth as a whole number"),
    "tooth blank": Bad(tooth(""), 5, "", "tooth is blank", "which tooth the reading is of"),
    "same tooth, other reading": Bad(
        tooth("2"), 5, "2", "tooth 2 reads 0 here and 0.087 in row 3", "a turn column"
    ),
    "three teeth": Bad(arc(3, 12), None, "3", "only 3 different teeth are read", "read at least 4"),
    "no tooth read": Bad(
        sheet(["?"] * TEETH, blade="A"), None, "0", "no tooth is read", "read at least 4"
    ),
    "short arc": Bad(
        arc(7, 96), None, "22 deg", "too short an arc", "read teeth all round the blade"
    ),
    "teeth not stated": Bad(
        [row[:3] for row in GOOD], 2, None, "the number of teeth is not stated", "--teeth"
    ),
    "ring beyond the blade": Bad(
        sheet(blade="A", diameter_in=10, ring_radius_in=5.5),
        2,
        "139.7 mm",
        "the ring's radius (139.7 mm) is larger than the blade's (127 mm)",
        "from the arbor's axis to the stylus",
    ),
    "column misspelt": Bad(
        with_column(GOOD, "diametre_mm", "254"), 1, "diametre_mm", "is not known", "diameter_mm"
    ),
    "fewer cells": Bad(
        [*GOOD[:5], ["A", "5"], *GOOD[6:]], 6, "A,5", "2 cells under", "a cell blank"
    ),
    "more cells": Bad(
        [*GOOD[:5], [*GOOD[5], "9"]], 6, None, "5 cells under a header of 4", "put semi"
    ),
    "decimal commas between commas": Bad(
        "tooth,reading_mm,teeth\n1,0,1,9\n2,0,9\n3,0,9\n",
        2,
        "1,0,1,9",
        "4 cells under a header of 3",
        "put semicolons between the cells",
    ),
    "commas that could be thousands": Bad(
        written(sheet(THOUSANDS, unit="um", blade="A"), ";"),
        2,
        "1,100",
        "1,100 could be 1.100 or 1100",
        "write one number so that it is plain",
    ),
    "points and commas": Bad(
        written(reading("0,5"), ";"), 5, "0,5", "points and decimal commas are mixed", "one of the"
    ),
    "teeth that disagree": Bad(
        changed(GOOD, 5, "teeth", "13"), 5, "13", "teeth is 13 here, but row 2 says 12", "agree"
    ),
    "ring of nought": Bad(
        sheet(blade="A", ring_radius_mm=0), 2, "0", "not above 0", "length above"
    ),
    "blade without a name": Bad(
        [GOOD[0], *(["", *row[1:]] for row in GOOD[1:])], 2, "", "name is missing", "in every row"
    ),
    "quote left open": Bad(
        written(GOOD).replace("0.050", '"0.050', 1), 4, None, "cannot be split", "close every quote"
    ),
    "letters of no encoding": Bad(
        written(sheet(blade="S\x81ge")).encode("latin-1"),
        2,
        "byte 0x81",
        "is not UTF-8",
        "CSV UTF-8",
    ),
    "UTF-16 without its mark": Bad(
        written(GOOD).encode("utf-16-le"), None, None, "is not plain text", "CSV UTF-8"
    ),
    "a spreadsheet's own file": Bad(
        b"PK\x03\x04" + bytes(60), None, None, "is a spreadsheet file", "save it as CSV UTF-8"
    ),
    "bytes": Bad(bytes(range(256)), None, None, "is not", "save it as CSV UTF-8"),
}


def check_refused(ran, bad):
    assert ran.status == 2
    assert "Traceback" not in ran.err
    lines = ran.err.splitlines()
    assert all(line.startswith("bladegeom: ") for line in lines)
    (line,) = [line for line in lines if bad.says in line]
    assert bad.cure in line
    if bad.row is not None:
        assert f"row {bad.row}: " in line


@pytest.fixture
def table(tmp_path):
    """Save a table in a folder of its own and return its path."""
    folder = tmp_path / "read"
    folder.mkdir()
    return lambda content: save(folder / "bad.csv", content)


bad_input = pytest.mark.parametrize("bad", BAD.values(), ids=BAD.keys())


@bad_input
@pytest.mark.parametrize(
    "command", [("fit",), ("squareness", "--away", "30")], ids=lambda one: one[0]
)
def test_bad_input_is_refused_in_plain_words(table, bad, command):
    name, *more = command
    ran = run(name, table(bad.content), *more)
    check_refused(ran, bad)
    assert ran.out == ""


@bad_input
def test_bad_input_leaves_one_json_object_on_standard_output(table, bad):
    ran = run("fit", table(bad.content), "--json")
    check_refused(ran, bad)
    assert ran.json["blades"] == []
    refused = [fault for fault in ran.json["refused"] if bad.says in fault["problem"]]
    assert refused[0].keys() - {"file"} == KEYS
    assert refused[0]["row"] == (bad.row if bad.row is not None else refused[0]["row"])
    assert bad.cure in refused[0]["cure"]
    assert bad.value is None or refused[0]["value"] == bad.value


@bad_input
def test_bad_input_makes_no_chart(table, tmp_path, bad):
    ran = run("chart", table(bad.content), "-o", tmp_path / "chart.pdf")
    check_refused(ran, bad)
    assert ran.out == ""
    assert [path.name for path in tmp_path.iterdir()] == ["read"]


@bad_input
def test_bad_input_piped_in_is_refused_as_well(bad):
    data = bad.content if isinstance(bad.content, (str, bytes)) else written(bad.content)
    ran = run("fit", "-", stdin=data)
    assert ran.status == 2
    assert ran.out == ""
    assert all(line.startswith("bladegeom: ") for line in ran.err.splitlines())


@pytest.mark.parametrize("name", ["empty file", "NaN in a reading", "bytes"])
def test_bad_input_is_refused_by_the_installed_command_without_a_traceback(table, name):
    bad = BAD[name]
    ran = run_apart("fit", table(bad.content), "--json")
    check_refused(ran, bad)
    assert ran.json["blades"] == []


def test_a_chart_that_is_there_already_stays_when_the_input_is_bad(table, tmp_path):
    old = save(tmp_path / "chart.pdf", b"the old chart")
    run("chart", table(reading("x")), "-o", old)
    assert old.read_bytes() == b"the old chart"


# Files and folders


@pytest.mark.parametrize("command", ["fit", "chart"])
@pytest.mark.parametrize(
    ("name", "says"),
    [
        pytest.param("none.csv", "there is no file", id="missing file"),
        pytest.param("", "is a folder; name the CSV file in it", id="folder"),
        pytest.param("none/none.csv", "there is no file", id="missing folder"),
        pytest.param("bad.csv/none", "cannot be read", id="file for a folder"),
        pytest.param("a\0b", "cannot be read", id="impossible name"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused(table, tmp_path, command, name, says):
    folder = table(GOOD).parent
    more = ["-o", tmp_path / "chart.pdf"] if command == "chart" else []
    ran = run(command, f"{folder}/{name}".rstrip("/"), *more)
    assert (ran.status, ran.out) == (2, "")
    assert says in ran.err
    assert len(ran.err.splitlines()) == 1


@pytest.mark.parametrize(
    ("output", "says"),
    [
        ("none/chart.pdf", "there is no folder"),
        ("chart", "let the name end in .pdf, .svg or .png"),
        ("chart.jpeg", "let the name end in .pdf, .svg or .png"),
        ("read/bad.csv", "let the name end in .pdf, .svg or .png"),
    ],
    ids=["folder missing", "no ending", "another ending", "the readings themselves"],
)
def test_an_output_that_cannot_be_written_is_refused_before_any_work(table, tmp_path, output, says):
    table(GOOD)
    ran = run("chart", tmp_path / "none.csv", "-o", tmp_path / output)
    assert (ran.status, ran.out) == (2, "")
    assert says in ran.err
    assert "none.csv" not in ran.err
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["bad.csv", "read"]


# What must be accepted


ACCEPTED = {
    "UTF-8": written(GOOD).encode(),
    "UTF-8 with its mark": written(GOOD).encode("utf-8-sig"),
    "UTF-16": written(GOOD).encode("utf-16"),
    "UTF-16, the other way": ("\ufeff" + written(GOOD)).encode("utf-16-be"),
    "semicolons and decimal commas": written(GOOD, ";").replace(".", ",").encode(),
    "semicolons and points": written(GOOD, ";").encode(),
    "tabs": written(GOOD, "\t").encode(),
    "line ends of another system": written(GOOD, ending="\r\n").encode(),
}


@pytest.mark.parametrize("data", ACCEPTED.values(), ids=ACCEPTED.keys())
def test_every_accepted_form_gives_the_same_answer(table, data):
    ran = run("fit", table(data), "--json")
    assert (ran.status, ran.err) == (0, "")
    assert ran.json == run("fit", table(GOOD), "--json").json


@pytest.mark.parametrize(("read", "warned"), [(41, True), (80, False)])
def test_an_arc_a_little_short_is_answered_with_a_warning(table, read, warned):
    ran = run("fit", table(arc(read, 96)), "--json")
    warnings = " ".join(ran.json["blades"][0]["warnings"])
    assert ran.status == 0
    assert ("no tooth from 42 to 96 is read (206 deg of the blade)" in warnings) is warned


def test_the_closing_reading_is_no_repeat(table):
    rows = [*GOOD, ["A", "1", "0.105", "12"]]
    (answer,) = run("fit", table(rows), "--json").json["blades"]
    assert answer["readings"] == TEETH
    assert answer["closure"] == pytest.approx(0.005)


# One blade at fault among several


def test_the_other_blades_go_on(table):
    path = table(changed(two_blades(), 15, "reading_mm", "x"))
    ran = run("fit", path, "--json")
    assert ran.status == 1
    assert [answer["blade"] for answer in ran.json["blades"]] == ["A"]
    (fault,) = ran.json["refused"]
    assert (fault["blade"], fault["row"], fault["value"]) == ("B", 15, "x")
    assert "bladegeom: blade B, row 15: reading_mm: 'x' is not a number; write" in ran.err


def test_a_blade_that_cannot_be_fitted_does_not_stop_the_others(table):
    rows = [row for row in two_blades() if row[0] != "A" or int(row[1]) < 4]
    ran = run("fit", table(rows), "--json")
    assert ran.status == 1
    assert [answer["blade"] for answer in ran.json["blades"]] == ["B"]
    assert "blade A: only 3 different teeth are read" in ran.err


def test_the_chart_of_the_other_blades_is_drawn(table, tmp_path):
    rows, chart = two_blades(ring_radius_mm=100), tmp_path / "chart.pdf"
    ran = run("chart", table(changed(rows, 15, "reading_mm", "x")), "-o", chart)
    assert ran.status == 1
    assert ran.out == f"wrote {chart}\n"
    assert "blade B, row 15" in ran.err
    assert chart.read_bytes().startswith(b"%PDF")


def test_all_faults_are_told_at_once(table):
    rows = changed(changed(two_blades(), 3, "reading_mm", "x"), 20, "tooth", "0")
    ran = run("fit", table(rows))
    assert ran.status == 2
    assert [line.split(": ")[1] for line in ran.err.splitlines()] == [
        "blade A, row 3",
        "blade B, row 20",
    ]


def test_a_fault_of_the_file_refuses_every_blade(table):
    ran = run("fit", table(written(two_blades()) + '"B,'), "--json")
    assert (ran.status, ran.json["blades"]) == (2, [])
    assert ran.json["refused"][0]["row"] == 26


def test_a_row_that_does_not_fit_refuses_its_blade_only(table):
    ran = run("fit", table([*two_blades(), ["B"]]), "--json")
    assert (ran.status, [one["blade"] for one in ran.json["blades"]]) == (1, ["A"])
    assert [(one["blade"], one["row"]) for one in ran.json["refused"]] == [("B", 26)]


def test_a_wrong_second_table_is_refused_by_its_name(table, tmp_path):
    shelf = save(tmp_path / "shelf.csv", "blade,teeth\nA,twelve\n")
    ran = run("fit", table([row[:3] for row in GOOD]), "--blades", shelf)
    assert ran.status == 2
    assert f"teeth in row 2 of {shelf}: 'twelve' is not a number" in ran.err


def test_a_missing_second_table_is_refused(table):
    ran = run("fit", table(GOOD), "--blades", Path("none.csv"))
    assert (ran.status, ran.err) == (
        2,
        "bladegeom: there is no file none.csv; check the name and the folder\n",
    )
