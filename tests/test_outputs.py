"""No output goes over an input, whatever the command and whatever the file is called."""

from __future__ import annotations

import os
from pathlib import Path
from shutil import copy

import openpyxl
import pytest
from written import ROOT, run, save, sheet, two_blades

LIMITS = """\
[[limit]]
quantity = "wobble_tir"
value = "4 thou"
source = "invented for a test"
"""


def linked(target: Path, name: Path, how: str) -> Path:
    """Return another name of a file: the same, a way round, a symbolic link, a hard link."""
    if how == "way round":
        return target.parent / ".." / target.parent.name / target.name
    if how in ("symbolic", "hard"):
        (os.symlink if how == "symbolic" else os.link)(target, name)
        return name
    return target


@pytest.fixture
def held(tmp_path):
    """A folder with a file of every kind that is read; and what they held."""
    save(tmp_path / "day.csv", sheet(blade="A", ring_radius_mm=100, diameter_mm=250))
    save(tmp_path / "facts.csv", "blade,teeth\nA,12\n")
    save(tmp_path / "shop.toml", LIMITS)
    copy(ROOT / "data_demo" / "shed_saw.toml", tmp_path / "saw.toml")
    copy(ROOT / "data_demo" / "arbor" / "clock_mounts.csv", tmp_path / "mounts.csv")
    copy(ROOT / "data_demo" / "arbor" / "three_rings.csv", tmp_path / "rings.csv")
    return tmp_path


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


WALL = ("--feed", "1mm", "--height", "40mm", "--side-angle", "2")
DRAWN = {
    "chart": ("day.csv", "chart", "day.csv"),
    "chart of the facts": ("facts.csv", "chart", "day.csv", "--blades", "facts.csv"),
    "wall": ("day.csv", "cut-wall", "day.csv", *WALL),
    "clock": ("mounts.csv", "clock", "mounts.csv"),
    "flange": ("day.csv", "clock", "mounts.csv", "--flange", "day.csv"),
    "plate": ("rings.csv", "plate", "rings.csv", "--table-height", "25mm", "--reach", "90mm"),
    "setup": ("saw.toml", "setup", "saw.toml"),
    "shelf": ("day.csv", "shelf", "."),
}


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
@pytest.mark.parametrize("how", ["symbolic", "hard"])
@pytest.mark.parametrize("case", DRAWN)
def test_a_drawing_goes_over_no_input_under_another_name(held, monkeypatch, how, case):
    monkeypatch.chdir(held)
    target, *command = DRAWN[case]
    link = linked(held / target, held / "page.pdf", how)
    before = contents(held)
    ran = run(*command, "-o", link)
    assert ran.status == 2
    assert target in ran.err
    assert contents(held) == before
    assert link.is_symlink() == (how == "symbolic")


@pytest.mark.parametrize("how", ["same", "way round", "symbolic", "hard"])
@pytest.mark.parametrize("target", ["day.csv", "facts.csv"])
def test_a_table_goes_over_no_input(held, how, target):
    if how in ("symbolic", "hard") and os.name == "nt":
        pytest.skip("links need rights there")
    output = linked(held / target, held / "out.csv", how)
    before = contents(held)
    ran = run("table", held / "day.csv", "--blades", held / "facts.csv", "-o", output)
    assert ran.status == 2
    assert contents(held) == before


def test_a_table_of_readings_that_is_no_input_is_not_replaced_by_answers(held):
    """A star that the shell has filled in puts the first readings behind -o."""
    save(held / "first.csv", two_blades())
    before = contents(held)
    assert run("table", "-o", held / "first.csv", held / "day.csv").status == 2
    assert contents(held) == before
    book = openpyxl.Workbook()
    book.active.append(["blade", "tooth", "reading_mm"])
    book.save(held / "first.xlsx")
    (held / "half.xlsx").write_bytes(b"PK\x03\x04half")
    before = contents(held)
    for name in ("first.xlsx", "half.xlsx"):
        assert run("table", "-o", held / name, held / "day.csv").status == 2
    assert contents(held) == before


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_an_older_table_of_answers_is_replaced(held, ending):
    output = held / f"out.{ending}"
    run("table", save(held / "two.csv", two_blades()), "-o", output)
    assert run("table", held / "day.csv", "-o", output).status == 0
    run("table", held / "day.csv", "-o", held / f"new.{ending}")
    one, other = (
        openpyxl.load_workbook(path).active.values if ending == "xlsx" else [path.read_bytes()]
        for path in (output, held / f"new.{ending}")
    )
    assert [*one] == [*other]


def test_an_empty_file_may_be_filled(held):
    output = save(held / "out.csv", "")
    assert run("table", held / "day.csv", "-o", output).status == 0


@pytest.mark.parametrize("role", ["readings", "facts", "before", "limits"])
@pytest.mark.parametrize("name", ["queue.csv", "queue.json", "queue.xlsx"])
def test_a_batch_goes_over_nothing_that_it_reads(held, role, name):
    out = held / "out"
    out.mkdir()
    roles = {"readings": "day.csv", "facts": "facts.csv", "before": "day.csv"}
    roles["limits"] = "shop.toml"
    given = {which: held / file for which, file in roles.items()}
    (out / name).write_bytes(given[role].read_bytes())
    given[role] = out / name
    before = contents(held)
    ran = run(
        *("batch", given["readings"], "--blades", given["facts"], "--before", given["before"]),
        *("--limits", given["limits"], "--out", out),
    )
    assert ran.status == 2
    assert name in ran.err
    assert contents(held) == before


@pytest.mark.parametrize("command", ["batch", "record"])
def test_a_history_is_not_written_into_the_readings(held, command):
    save(held / "2026.csv", two_blades())
    before = contents(held)
    more = ("--limits", held / "shop.toml", "--out", held / "out") if command == "batch" else ()
    ran = run(*(command, held / "2026.csv", "--history", held, "--date", "2026-11-25"), *more)
    assert ran.status == 2
    assert contents(held) == before


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_trend_is_not_drawn_over_its_history(held):
    save(held / "two.csv", two_blades())
    assert run("record", held / "two.csv", "--history", held / "kept").status < 2
    (kept,) = (held / "kept").iterdir()
    link = linked(kept, held / "page.pdf", "hard")
    before = contents(held)
    blade = kept.read_text("utf-8").splitlines()[1].split(",")[2]
    assert run("trend", "--history", held / "kept", "--blade", blade, "-o", link).status == 2
    assert contents(held) == before


def test_a_blank_table_and_a_repair_go_over_nothing(held):
    save(held / "twice.csv", sheet(["0", "0.1", "0", "-0.1"] * 10))
    before = contents(held)
    blank = ("sheet", "--teeth", "24", "--unit", "mm", "-o", held / "form.pdf")
    assert run(*blank, "--csv", held / "day.csv").status == 2
    assert run("check", held / "twice.csv", "--repair", "1", "-o", held / "day.csv").status == 2
    assert contents(held) == before
