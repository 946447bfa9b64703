"""What a run leaves in its folder: verdicts of that run alone, whatever came before or stops it."""

from __future__ import annotations

import json
import os
from datetime import date
from pathlib import Path

import pytest
from pypdf import PdfReader
from shop_days import BAD, GOOD, LIMITS, held, queue_rows
from shop_days import day as readings
from written import run, save, sheet, wave

import bladegeom as bg
from bladegeom.draw import batch as batch_module
from bladegeom.draw.made import ASIDE, LIST
from bladegeom.tables.out import whole_file

LIMIT = bg.Limits((bg.Limit("wobble_tir", (4, "thou"), "invented for a test"),))
QUEUES = ("queue.csv", "queue.json", "queue.xlsx", "answers.csv")


def judge(out, path, day=25):
    return bg.run_batch([path], LIMIT, out, date=date(2026, 11, day))


def of_today(files):
    return {name: data for name, data in files.items() if not name.startswith(f"{ASIDE}/")}


def queue_as(name, out):
    """Action of every blade, as each form of the queue tells it."""
    return {blade: row["action"] for blade, row in queue_rows(out / name).items()}


@pytest.fixture
def quick(monkeypatch):
    """Draw sheets that hold nothing but what they were made of."""

    def kept(names: list[str], place: Path, _: int, keywords: str) -> None:
        with whole_file(place) as file:
            file.write(f"%PDF {names[0]} ({keywords}) %%EOF".encode())

    monkeypatch.setattr(batch_module, "sheet_pages", lambda fit, *_, **__: [fit.blade])
    monkeypatch.setattr(batch_module, "write_printed", lambda *_: [])
    monkeypatch.setattr(batch_module, "save_charts", kept)


def test_a_spoilt_reading_leaves_no_verdict_of_the_run_before(tmp_path):
    out = tmp_path / "out"
    judge(out, readings(tmp_path / "day.csv", A=GOOD, B=GOOD))
    before = held(out)
    found = judge(out, readings(tmp_path / "day.csv", A=GOOD, B=None))
    assert (found.drawn, found.kept) == (0, 1)
    for name in QUEUES:
        assert queue_as(name, out)["A"] == "fit for use"
        assert queue_as(name, out)["B"] == "refused"
        assert (out / ASIDE / name).read_bytes() == before[name]
    assert not (out / "sheets" / "B.pdf").exists()
    assert (out / ASIDE / "sheets" / "B.pdf").read_bytes() == before["sheets/B.pdf"]
    assert not (out / ASIDE / "sheets" / "A.pdf").exists()
    assert any("sheets/B.pdf" in note and "queue.csv" in note for note in found.notes)


@pytest.mark.usefixtures("quick")
def test_a_refused_blade_has_its_reasons_and_no_number_in_the_queue(tmp_path):
    path = readings(tmp_path / "day.csv", A=GOOD, B=None)
    found = bg.run_batch([path, tmp_path / "none.csv"], LIMIT, tmp_path / "out")
    left = {(row["blade"], row["file"]): row for row in found.left}
    assert left.keys() == {("B", "day.csv"), ("", "none.csv")}
    row = left["B", "day.csv"]
    assert "spoilt" in row["reasons"]
    assert row["date"] == date.today().isoformat()
    assert row["sheet"] is row["wobble_tir"] is row["unit"] is None
    assert all(row.keys() == one.keys() for one in found.rows)
    assert "no file" in left["", "none.csv"]["reasons"]


@pytest.mark.usefixtures("quick")
def test_a_blade_that_only_cannot_be_compared_is_not_refused_in_the_queue(tmp_path):
    path = readings(tmp_path / "day.csv", A=GOOD)
    before = save(tmp_path / "before.csv", sheet(wave(24), blade="A", ring_radius_mm=80))
    found = bg.run_batch([path], LIMIT, tmp_path / "out", before=[before, tmp_path / "none.csv"])
    assert found.refused
    assert not found.left
    assert queue_as("queue.csv", tmp_path / "out") == {"A": "fit for use"}


def test_where_everything_is_refused_no_earlier_verdict_is_left(tmp_path):
    limits = save(tmp_path / "shop.toml", LIMITS)
    out = tmp_path / "out"
    path = readings(tmp_path / "day.csv", A=GOOD)
    options = ("--limits", limits, "--out", out, "--date", "2026-11-25")
    assert run("batch", path, *options).status == 0
    before = held(out)
    for bad in (readings(tmp_path / "bad.csv", A=None), tmp_path / "none.csv"):
        ran = run("batch", bad, *options)
        assert ran.status == 2
        assert of_today(held(out)).keys() == {LIST}
        assert {name: data for name, data in held(out).items() if name != LIST} == {
            f"{ASIDE}/{name}": data for name, data in before.items() if name != LIST
        }
        if bad.exists():
            assert "sheets/A.pdf" in ran.err
    assert run("batch", path, *options).status == 0
    assert held(out) == before


def test_the_queue_and_the_sheets_bear_the_day(tmp_path):
    out = tmp_path / "out"
    judge(out, readings(tmp_path / "day.csv", A=GOOD), 25)
    judge(out, tmp_path / "day.csv", 26)
    row = json.loads((out / "queue.json").read_text("utf-8"))["blades"][0]
    assert row["date"] == "2026-11-26"
    assert "2026-11-26" in PdfReader(out / "sheets" / "A.pdf").pages[0].extract_text()
    assert "2026-11-25" in PdfReader(out / ASIDE / "sheets" / "A.pdf").pages[0].extract_text()


@pytest.mark.usefixtures("quick")
def test_nothing_that_runs_made_is_ever_lost(tmp_path):
    """Days come and go, with blades whose sheets would take each other's names when set aside."""
    out, seen = tmp_path / "out", set()
    days = [
        {"A": GOOD, "A-2": GOOD},
        {"A": BAD, "A-2": GOOD},
        {"A": GOOD, "A-2": BAD, "A-3": GOOD},
        {"A-3": BAD},
        {"A": GOOD, "A-2": GOOD},
        {"A": None, "A-2": GOOD},
        {"A": BAD, "A-2": GOOD},
    ]
    for day in days:
        judge(out, readings(tmp_path / "day.csv", **day))
        files = held(out)
        lists = files.pop(LIST)
        seen |= {*files.values()}
        assert {*files.values()} == seen
        assert len(files) == len(seen)
        assert [*map(str, sorted(files))] == lists.decode().splitlines()[1:]


@pytest.mark.usefixtures("quick")
def test_a_file_that_no_run_made_is_never_touched(tmp_path):
    out = tmp_path / "out"
    own = {
        "sheets/A.pdf": b"my own",
        "sheets/A-2.pdf": b"%PDF my own",
        "sheets/notes.txt": b"x",
        "earlier/queue.csv": b"mine",
        "earlier/sheets/B.pdf": b"mine",
        "note.csv": b"a",
    }
    for name, data in own.items():
        (out / name).parent.mkdir(parents=True, exist_ok=True)
        (out / name).write_bytes(data)
    for size in (GOOD, GOOD, BAD, None, GOOD):
        found = judge(out, readings(tmp_path / "day.csv", A=GOOD, B=size))
        assert {name: held(out)[name] for name in own} == own
        (row,) = (row for row in found.rows if row["blade"] == "A")
        assert row["sheet"] == "sheets/A-3.pdf"
        assert (out / row["sheet"]).exists()
        assert any("sheets/A.pdf" in note for note in found.notes)
    assert len([*(out / ASIDE).glob("queue-*.csv")]) == 2


@pytest.mark.usefixtures("quick")
def test_another_name_takes_no_other_sheet(tmp_path):
    out = tmp_path / "out"
    (out / "sheets").mkdir(parents=True)
    (out / "sheets" / "A.pdf").write_bytes(b"my own")
    path = readings(tmp_path / "day.csv", **dict.fromkeys(("A", "A-2", "a-3"), GOOD))
    found = judge(out, path)
    assert len({row["sheet"].casefold() for row in found.rows}) == 3
    for row in found.rows:
        assert f"%PDF {row['blade']} " in (out / row["sheet"]).read_text("utf-8")


@pytest.mark.parametrize("name", [*QUEUES, LIST])
def test_what_stands_in_the_way_of_the_queue_is_refused_before_anything_is_written(tmp_path, name):
    out = tmp_path / "out"
    judge(out, readings(tmp_path / "day.csv", A=GOOD))
    (out / LIST).unlink()
    for one in {*QUEUES, LIST} - {name}:
        (out / one).unlink(missing_ok=True)
    (out / name).write_bytes(b"my own")
    before = held(out)
    with pytest.raises(bg.RefusedError, match=name):
        judge(out, tmp_path / "day.csv")
    assert held(out) == before


@pytest.mark.usefixtures("quick")
def test_a_list_that_was_tampered_with_leads_nowhere_else(tmp_path):
    out = tmp_path / "out"
    judge(out, readings(tmp_path / "day.csv", A=GOOD))
    others = ["../day.csv", "sheets/../../other.pdf", "note.csv", str(tmp_path / "other.pdf")]
    save(tmp_path / "other.pdf", "mine")
    save(out / "note.csv", "mine")
    with (out / LIST).open("a", encoding="utf-8") as file:
        file.writelines(f"{one}\n" for one in others)
    judge(out, tmp_path / "day.csv", 26)
    assert (tmp_path / "other.pdf").read_text() == (out / "note.csv").read_text() == "mine"


class Killed(BaseException):
    """What stops a run at once."""


def killed_at(step, monkeypatch, go):
    """Run, and stop before the given step that changes a file; return whether it came so far."""
    left = step

    def stopping(real):
        def change(*args: object, **how: object) -> object:
            nonlocal left
            if left == 0:
                raise Killed
            left -= 1
            return real(*args, **how)

        return change

    with monkeypatch.context() as patch:
        for name in ("replace", "unlink", "rmdir"):
            patch.setattr(os, name, stopping(getattr(os, name)))
        try:
            go()
        except Killed:
            return True
        except bg.RefusedError:
            pass
    return False


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize(
    ("was", "now", "day"),
    [
        (None, {"A": GOOD, "B": BAD}, 25),
        ({"A": GOOD, "B": GOOD}, {"A": GOOD, "B": GOOD}, 25),
        ({"A": GOOD, "B": GOOD}, {"A": GOOD, "B": None}, 25),
        ({"A": GOOD, "B": GOOD}, {"A": GOOD, "C": BAD}, 26),
        ({"A": GOOD, "B": GOOD}, {"A": None}, 25),
    ],
    ids=["first run", "the same again", "one spoilt", "the next day", "all refused"],
)
def test_a_run_killed_anywhere_and_run_again_ends_with_the_same_files(
    tmp_path, monkeypatch, was, now, day
):
    def begin(name):
        out = tmp_path / name
        if was is not None:
            judge(out, readings(tmp_path / "was.csv", **was))
        return out

    def again(out):
        try:
            judge(out, readings(tmp_path / "now.csv", **now), day)
        except bg.RefusedError:
            assert now == {"A": None}

    whole = begin("whole")
    yesterday = set(held(whole).values()) if was is not None else set()
    again(whole)
    wanted = held(whole)
    fresh = {data for name, data in of_today(wanted).items() if name != LIST}
    step = 0
    while True:
        out = begin(f"killed {step}")
        if not killed_at(step, monkeypatch, lambda out=out: again(out)):
            break
        there = {name: data for name, data in of_today(held(out)).items() if name != LIST}
        made, stale = {*there.values()} & fresh, {*there.values()} & (yesterday - fresh)
        assert not (made - yesterday and stale), step
        if step >= 2:  # The list is written, and the old queue is moved.
            assert there.get("queue.csv") in (None, wanted.get("queue.csv")), step
        again(out)
        assert held(out) == wanted, step
        step += 1
    assert step > 5
