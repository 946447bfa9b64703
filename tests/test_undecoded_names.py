"""Names of files that are no UTF-8 stop no blade, and stand as letters wherever they are shown."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys

import openpyxl
import pypdf
import pytest
from shop_days import queue_rows
from written import ROOT, SURROUNDINGS, changed, run, save, sheet

import bladegeom as bg
from bladegeom.faults import Fault, as_letters

NAME, SHOWN = os.fsdecode(b"bl\xe4tt.csv"), r"bl\xe4tt"
LIMITS = ROOT / "data_demo/shed_limits.toml"


@pytest.fixture
def folder(tmp_path):
    """A folder of a good and a bad table with names of another encoding, and a plain one."""
    try:
        save(tmp_path / NAME, sheet(ring_radius_mm="100", diameter_mm="250"))
    except OSError:
        pytest.skip("no such names can be written here")
    save(tmp_path / os.fsdecode(b"b\xff.csv"), changed(sheet(), 5, "reading_mm", "x"))
    save(tmp_path / "plain.csv", sheet(blade="A", ring_radius_mm="100", diameter_mm="250"))
    return tmp_path


def every(folder):
    return [folder / NAME, folder / os.fsdecode(b"b\xff.csv"), folder / "plain.csv"]


@pytest.mark.parametrize(
    "command",
    [
        ("fit",),
        ("fit", "--json"),
        ("check", "--json"),
        ("doubt",),
        ("next",),
        ("squareness", "--away", "30"),
        ("chart", "-o", "OUT.pdf"),
        ("chart", "--kind", "strip", "-o", "OUT.svg"),
        ("record", "--history", "OUT", "--note", os.fsdecode(b"n\xff")),
        ("table", "-o", "OUT.csv"),
        ("cut-wall", "--feed", "1mm", "--height", "40mm", "--side-angle", "2", "-o", "OUT.png"),
    ],
    ids=lambda command: command[0],
)
def test_every_command_answers_in_letters(folder, command):
    name, *more = command
    out = os.fsdecode(b"o\xff")
    more = [one.replace("OUT", f"{folder}/{out}") for one in more]
    ran = run(name, folder / NAME, *more)
    assert ran.status == 0, ran.err
    assert (ran.out + ran.err).encode()
    if "--json" in command:
        assert [one["blade"] for one in ran.json["blades"]] == [SHOWN]
    else:
        assert SHOWN in ran.out or r"o\xff" in ran.out


def test_a_file_that_is_not_there_is_named_in_letters(tmp_path):
    ran = run("fit", tmp_path / NAME, "--json")
    assert ran.status == 2
    assert rf"{SHOWN}.csv" in ran.json["refused"][0]["problem"]


def test_a_batch_draws_and_lists_every_blade(folder):
    out, before = folder / "day", folder / NAME
    ran = run(
        *("batch", *every(folder), "--limits", LIMITS, "--out", out, "--before", before),
        *("--history", folder / os.fsdecode(b"h\xff"), "--shop", os.fsdecode(b"s\xff")),
    )
    assert ran.status == 1, ran.err
    assert (ran.out + ran.err).encode()
    assert r"b\xff.csv" in ran.err
    assert len([*(out / "sheets").iterdir()]) == 2
    with (out / "queue.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = {row["blade"]: row for row in csv.DictReader(file)}
    assert rows.keys() == {SHOWN, "A", r"b\xff"}
    assert rows[r"b\xff"]["action"] == "refused"
    assert f"{SHOWN}.csv" in {row["file"] for row in queue_rows(out / "answers.csv").values()}
    held = json.loads((out / "queue.json").read_text(encoding="utf-8"))
    assert [one["blade"] for one in held["blades"]] == [row["blade"] for row in rows.values()]
    assert json.dumps(held, ensure_ascii=False).encode()
    queue = openpyxl.load_workbook(out / "queue.xlsx")["queue"]
    assert {row[0].value for row in queue.iter_rows(min_row=2)} == rows.keys()
    page = pypdf.PdfReader(out / rows[SHOWN]["sheet"]).pages[0].extract_text()
    assert SHOWN in page
    assert r"s\xff" in page


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_a_table_of_answers_holds_every_blade(folder, ending):
    out = folder / f"answers.{ending}"
    ran = run("table", *every(folder), "-o", out)
    assert ran.status == 1, ran.err
    if ending == "csv":
        with out.open(encoding="utf-8-sig", newline="") as file:
            rows = [*csv.reader(file)]
    else:
        rows = [*openpyxl.load_workbook(out).active.iter_rows(values_only=True)]
    assert {row[0] for row in rows[1:]} == {SHOWN, r"b\xff", "A"}


def test_what_is_recorded_is_found_again_by_the_name_that_is_shown(folder):
    history = folder / "history"
    assert run("record", folder / NAME, "--history", history).status == 0
    for name in (SHOWN, NAME.removesuffix(".csv")):  # As it is shown, and as a terminal passes it.
        ran = run("trend", "--history", history, "--blade", name, "--json")
        assert ran.status == 0, ran.err
        assert ran.json["blade"] == SHOWN


def test_a_shelf_lists_the_blades_of_such_a_folder(folder):
    place = folder / os.fsdecode(b"f\xe4ch")
    place.mkdir()
    for one in every(folder):
        one.rename(place / one.name)
    ran = run("shelf", place, "--json", "-o", folder / "shelf.pdf")
    assert ran.status == 1, ran.err
    assert {row["blade"] for row in ran.json["blades"]} == {SHOWN, "A"}
    assert [(one["file"], one["row"]) for one in ran.json["refused"]] == [(r"b\xff.csv", 5)]
    assert os.fspath(place) not in ran.json["refused"][0]["problem"]


def test_a_sheet_and_its_table_take_such_a_name(tmp_path):
    target = tmp_path / os.fsdecode(b"s\xff.pdf")
    ran = run("sheet", "--teeth", "12", "--unit", "mm", "-o", target, "--csv")
    assert ran.status == 0, ran.err
    assert r"s\xff" in target.with_suffix(".csv").read_text(encoding="utf-8")


@pytest.mark.parametrize("utf8", ["1", "0"], ids=["UTF-8", "ASCII"])
def test_a_terminal_of_any_encoding_shows_them(folder, utf8):
    plain = {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": utf8}
    umlaut = folder / "s\u00e4ge.csv"
    save(umlaut, changed(sheet(), 5, "reading_mm", "\u00e4"))
    for file, shown in ((folder / NAME, SHOWN), (umlaut, "s\u00e4ge")):
        done = subprocess.run(
            [sys.executable, "-W", "error", "-m", "bladegeom", "fit", os.fsencode(file)],
            capture_output=True,
            check=False,
            env={**os.environ, **SURROUNDINGS, **plain},
        )
        said = done.stdout + done.stderr
        assert b"Traceback" not in said
        assert done.returncode == (0 if file.name == NAME else 2)
        expected = shown.encode() if utf8 == "1" else shown.encode("ascii", "backslashreplace")
        assert expected in said


def test_names_from_elsewhere_are_shown_in_letters_too():
    half = "a\ud800b"
    assert as_letters(half) == r"a\ud800b"
    assert as_letters("s\u00e4ge \u92f8") == "s\u00e4ge \u92f8"
    assert bg.Blade(12, name=half).name == r"a\ud800b"
    assert Fault(half, half, value=half).to_dict()["value"] == r"a\ud800b"
