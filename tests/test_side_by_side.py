"""Files of others beside ours: none is lost, no lock stops a day, damage is named by its line."""

from __future__ import annotations

import errno
import json
import os

import pytest
from written import run, save, sheet, wave

import bladegeom as bg
from bladegeom.draw import batch, made
from bladegeom.faults import refuse
from bladegeom.tables import out
from bladegeom.tables.out import UNFINISHED

LIMITS = '[[limit]]\nquantity = "raw_tir"\nvalue = "1 mm"\nsource = "invented"\n'
NAMES = ("A", "B", "C")


@pytest.fixture
def day(tmp_path):
    """Return the words of a batch of three blades into the folder out."""
    facts = {"ring_radius_mm": 100, "diameter_mm": 250, "graduation_mm": 0.001}
    rows = [sheet(wave(24, 0.05), blade=name, **facts) for name in NAMES]
    table = save(tmp_path / "day.csv", [*rows[0], *(row for one in rows[1:] for row in one[1:])])
    limits = save(tmp_path / "limits.toml", LIMITS)
    return ["batch", table, "--limits", limits, "--out", tmp_path / "out"]


def judged(folder):
    blades = json.loads((folder / "out" / "queue.json").read_text("utf-8"))["blades"]
    return {row["blade"]: row["sheet"] for row in blades if row["action"] != "refused"}


# Files that no run made


def test_only_what_a_killed_run_left_unfinished_is_removed(day, tmp_path):
    run(*day)
    foreign = [f"{UNFINISHED}notes.txt", f"{UNFINISHED}x.pdf", ".unfinished", f"{UNFINISHED}ab"]
    kept = [save(tmp_path / "out" / "sheets" / name, b"an owner's") for name in foreign]
    left = save(tmp_path / "out" / f"{UNFINISHED}0a1b_2c3.csv", b"half")
    assert run(*day).status == 0
    assert [one.read_bytes() for one in kept] == [b"an owner's"] * len(kept)
    assert not left.exists()


@pytest.mark.parametrize("held", [b"%PDF an owner's half", b"notes", b"%PDF whole %%EOF"])
def test_an_owners_file_in_the_place_of_a_sheet_is_never_lost(day, tmp_path, held):
    run(*day)
    own = save(tmp_path / "out" / "sheets" / "A.pdf", held)
    assert run(*day).status == 0
    everywhere = [one.read_bytes() for one in (tmp_path / "out").rglob("*") if one.is_file()]
    assert held in everywhere
    assert own.read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize("ending", ["pdf", "svg", "png"])
def test_a_chart_takes_the_place_of_a_chart_and_of_nothing_else(day, tmp_path, ending):
    page = save(tmp_path / f"page.{ending}", b"months of work")
    words = ("chart", day[1], "--blade", "A", "-o", page)
    ran = run(*words)
    assert (ran.status, ran.out, page.read_bytes()) == (2, "", b"months of work")
    assert "choose another name" in ran.err
    page.unlink()
    assert [run(*words).status for _ in range(2)] == [0, 0]
    assert page.stat().st_size > 5000


def test_a_file_that_stood_there_before_any_run_stays(day, tmp_path):
    (tmp_path / "out" / "sheets").mkdir(parents=True)
    own = save(tmp_path / "out" / "sheets" / "A.pdf", b"an owner's")
    for _ in range(2):
        assert run(*day).status == 0
        assert own.read_bytes() == b"an owner's"
        assert judged(tmp_path)["A"] == "sheets/A-2.pdf"


def test_an_empty_table_that_cannot_be_written_leaves_no_form_without_it(tmp_path, monkeypatch):
    def full(path, _):
        raise refuse(f"{path} cannot be written: {os.strerror(errno.ENOSPC)}", "check the disk")

    monkeypatch.setattr(out, "write_new", full)
    ran = run("sheet", "--teeth", "40", "--unit", "mm", "-o", tmp_path / "s.pdf", "--csv")
    assert (ran.status, ran.out) == (2, "")
    assert "check the disk" in ran.err
    assert not list(tmp_path.iterdir())


# Two at once, and what is open elsewhere


@pytest.mark.skipif(os.name == "nt", reason="no lock of a folder here")
def test_a_second_batch_into_the_same_folder_is_refused_until_the_first_is_done(day, tmp_path):
    others = []

    def meanwhile(done, _):
        if done == 1:
            others.append(run(*day))

    limits = bg.read_limits(day[3])
    bg.run_batch([day[1]], limits, tmp_path / "out", progress=meanwhile)
    (other,) = others
    assert (other.status, other.out) == (2, "")
    (line,) = other.err.splitlines()
    assert "another batch is at work in" in line
    assert judged(tmp_path).keys() == {*NAMES}
    assert run(*day).status == 0


def test_a_batch_that_is_refused_lets_the_next_one_in(day, tmp_path):
    assert run("batch", tmp_path / "none.csv", *day[2:]).status == 2
    assert run(*day).status == 0


def test_a_sheet_that_is_open_elsewhere_does_not_stop_the_day(day, tmp_path, monkeypatch):
    run(*day)
    locked, replaced = tmp_path / "out" / "sheets" / "B.pdf", os.replace
    before = locked.read_bytes()

    def replace(old, new):
        if locked in (old, new):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(locked))
        replaced(old, new)

    monkeypatch.setattr(made.os, "replace", replace)
    ran = run(*day, "--shop", "another")
    assert ran.status == 0
    assert judged(tmp_path) == {"A": "sheets/A.pdf", "B": "sheets/B-2.pdf", "C": "sheets/C.pdf"}
    assert locked.read_bytes() == before
    assert "open elsewhere" in ran.err
    assert "sheets/B-2.pdf" in ran.err


def test_a_sheet_that_cannot_be_drawn_is_refused_and_the_others_go_on(day, tmp_path, monkeypatch):
    saved = batch.save_charts

    def save_charts(pages, path, *more: object, **how):
        if path.name == "B.pdf":
            raise refuse(f"{path} cannot be written: locked", "check the disk")
        saved(pages, path, *more, **how)

    monkeypatch.setattr(batch, "save_charts", save_charts)
    ran = run(*day)
    assert ran.status == 1
    assert judged(tmp_path).keys() == {"A", "C"}
    (line,) = [one for one in ran.err.splitlines() if "cannot be written" in one]
    assert "blade B" in line


# A damaged history


@pytest.fixture
def history(tmp_path):
    """Return a history of two blades, three measurements each."""
    kept = tmp_path / "kept"
    for day in (1, 2, 3):
        for name in ("A", "B"):
            cells = wave(24, 0.05 + 0.001 * day)
            table = save(tmp_path / "t.csv", sheet(cells, blade=name, graduation_mm=0.001))
            run("record", table, "--history", kept, "--date", f"2026-01-0{day}")
    return kept


def asked(history, blade="A", **more):
    return run("trend", "--history", history, "--blade", blade, *more)


@pytest.mark.parametrize("damage", ["torn", "changed"])
def test_the_damaged_line_of_a_blade_is_named_where_nothing_of_it_is_left(history, damage):
    path = history / "2026.csv"
    lines = path.read_text("utf-8").splitlines()
    for row in (1, 3, 5):
        lines[row] = lines[row][:60] if damage == "torn" else lines[row].replace("plate", "teeth")
    path.write_text("\n".join(lines) + "\n", "utf-8")
    ran = asked(history)
    assert (ran.status, ran.out) == (2, "")
    assert [line.split(": ")[1:3] for line in ran.err.splitlines()] == [
        ["2026.csv", f"blade A, row {row}"] for row in (2, 4, 6)
    ]
    assert asked(history, "B").out.startswith("Blade B")
    assert "holds no blade Z" in asked(history, "Z").err


TORN = {"end": lambda head: head[:40], "all": lambda _: "x", "start": lambda head: head[9:]}


@pytest.mark.parametrize("damage", TORN.values(), ids=TORN.keys())
def test_a_torn_header_costs_the_header_and_not_the_year(history, damage, tmp_path):
    path = history / "2026.csv"
    head, *lines = path.read_text("utf-8").splitlines()
    path.write_text("\n".join([damage(head), *lines]) + "\n", "utf-8")
    read = bg.read_history(history)
    assert len(read.visits) == 6
    assert [(fault.file, fault.row) for fault in read.refused] == [("2026.csv", 1)]
    ran = asked(history)
    assert ran.status == 1
    assert "measurements compared  3" in ran.out
    table = save(tmp_path / "t.csv", sheet(wave(24, 0.06), blade="A", graduation_mm=0.001))
    assert run("record", table, "--history", history, "--date", "2026-01-09").status == 0
    assert len(bg.read_history(history).visits) == 7


def test_a_table_of_something_else_is_no_history(history, tmp_path):
    save(history / "2025.csv", "a,b\n1,2\n")
    assert [fault.file for fault in bg.read_history(history).refused] == ["2025.csv"]
    table = save(tmp_path / "t.csv", sheet(wave(24), blade="A", graduation_mm=0.001))
    assert run("record", table, "--history", history, "--date", "2025-01-09").status == 2
