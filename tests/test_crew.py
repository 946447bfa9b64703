"""Sheets drawn by several processes: nothing shows it but the time."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
import warnings
from datetime import date
from pathlib import Path

import pytest
from drawn_elsewhere import ended, printed, refused
from written import save, sheet, wave

import bladegeom as bg
from bladegeom.draw import _crew

LIMITS = bg.Limits((bg.Limit("raw_tir", "1 mm", "invented"),))


@pytest.fixture
def day(tmp_path):
    """Return a table of three blades, one of which no font can name."""
    facts = {"ring_radius_mm": 100, "diameter_mm": 250, "graduation_mm": 0.001}
    rows = [sheet(wave(24, 0.05), blade=name, **facts) for name in ("A", "\U000e0041 B", "C")]
    return save(tmp_path / "day.csv", [*rows[0], *(row for one in rows[1:] for row in one[1:])])


def several(monkeypatch):
    """Let there be two cores, and let each sheet be worth a process."""
    monkeypatch.setattr(_crew, "cores", lambda: 2)
    monkeypatch.setattr(_crew, "_WORTH", 1)


def judged(day, out, **how):
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        done = bg.run_batch([day], LIMITS, out, date=date(2026, 2, 3), **how)
    files = {one.relative_to(out): one.read_bytes() for one in out.rglob("*") if one.is_file()}
    return files, done, {str(one.message) for one in caught}


def test_two_processes_make_the_same_files_and_say_the_same(day, tmp_path, monkeypatch):
    told, begun = [], []
    alone = judged(day, tmp_path / "one", progress=lambda *one: told.append(one))
    several(monkeypatch)

    def begin(words, **how):
        begun.append(subprocess.Popen(words, **how))
        return begun[-1]

    monkeypatch.setattr(_crew, "Popen", begin)
    both = judged(day, tmp_path / "two", progress=lambda *one: told.append(one))
    assert len(begun) == 2
    assert [one.poll() for one in begun] == [0, 0]
    assert both[0] == alone[0]
    assert both[2] == alone[2] != set()
    assert (both[1].drawn, both[1].rows, both[1].notes) == (
        alone[1].drawn,
        alone[1].rows,
        alone[1].notes,
    )
    assert [told.count((done, 3)) > 0 for done in (0, 3)] == [True, True]


def test_what_one_refuses_comes_back_and_one_that_is_ended_is_a_plain_fault(
    monkeypatch, tmp_path, capfd
):
    several(monkeypatch)
    drawn = []

    def draw():
        with _crew.crew() as drawers:
            sheets = [drawers.start(9, one, tmp_path / "x") for one in (refused, printed)]
            with pytest.raises(bg.RefusedError, match="check the disk"):
                sheets[0].wait()
            sheets[1].wait()
            drawn.append((tmp_path / "x").read_text())
            drawers.start(9, ended, tmp_path).wait()

    with pytest.raises(bg.RefusedError, match="run it again: the sheets that are drawn are kept"):
        draw()
    assert drawn == ["drawn"]
    assert capfd.readouterr().out == ""


def test_few_sheets_need_no_other_process(monkeypatch):
    monkeypatch.setattr(_crew, "cores", lambda: 64)
    monkeypatch.setattr(_crew, "Popen", None)
    done = []
    with _crew.crew() as drawers:
        drawers.start(63, done.append, 1).wait()
    assert done == [1]


def test_a_container_with_a_share_of_the_cores_has_no_more(monkeypatch, tmp_path):
    monkeypatch.setattr(_crew, "_QUOTA", tmp_path / "none")
    all_of_them = _crew.cores()
    for share, most in (("100000 100000", 1), ("50000 100000", 1), ("max 100000", all_of_them)):
        monkeypatch.setattr(_crew, "_QUOTA", save(tmp_path / "cpu.max", f"{share}\n"))
        assert _crew.cores() == min(all_of_them, most)


SCRIPT = """
from pathlib import Path
from bladegeom.draw import _crew
from drawn_elsewhere import slow
_crew.cores, _crew._WORTH = lambda: 2, 1
with _crew.crew() as drawers:
    sheets = [drawers.start(9, slow, Path({place!r}) / str(one)) for one in range(6)]
    print("begun", flush=True)
    for one in sheets:
        one.wait()
"""


@pytest.mark.skipif(os.name == "nt", reason="no such signals here")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_where_the_first_is_ended_the_others_finish_what_they_began(how, tmp_path):
    path = os.pathsep.join([str(Path(__file__).parent), *sys.path])
    place = tmp_path / "out"
    place.mkdir()
    script = save(tmp_path / "unguarded.py", SCRIPT.format(place=str(place)))
    with subprocess.Popen(
        [sys.executable, str(script)],
        env=os.environ | {"PYTHONPATH": path},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        text=True,
    ) as first:
        while len([*place.glob("*.begun")]) < 2:
            time.sleep(0.02)
        # As Ctrl-C does, to all of them at once; as no care can be taken for, to the first alone.
        (os.killpg if how == signal.SIGINT else os.kill)(first.pid, how)
        said, complaint = first.communicate(timeout=30)  # Ends when no other holds the pipe.
    assert said == "begun\n"
    assert complaint.count("Traceback") == (how == signal.SIGINT)
    whole = {one.stem for one in place.glob("*.begun")}
    assert {one.name for one in place.iterdir() if not one.suffix} == whole
    assert len(whole) < 6
