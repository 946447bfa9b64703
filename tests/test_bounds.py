"""Inputs without end, or far too large: refused in a sentence, in bounded time and memory."""

from __future__ import annotations

import io
import os
import threading
import time
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from written import NUMBERS, TEETH, run, save, sheet, written

import bladegeom as bg
from bladegeom.tables import _workbook, text
from bladegeom.tables.toml import LONGEST_LINE, MOST

SOON_S = 20
"""Seconds of computing, many times what is needed: what was mended took minutes, or for ever."""


@pytest.fixture(autouse=True)
def _soon():
    begun = time.process_time()
    yield
    assert time.process_time() - begun < SOON_S


def refusal(*arguments: object, **more):
    """Run the command, which must answer nothing, and return the one line that it says."""
    ran = run(*arguments, **more)
    assert (ran.status, ran.out) == (2, "")
    (line,) = ran.err.splitlines()
    return line


def many_turns(turns, teeth=40):
    angle = np.tile(2 * np.pi * np.arange(teeth) / teeth, turns)
    noise = np.random.default_rng(5).normal(0, 0.01, turns * teeth)
    return bg.Readings(
        bg.Blade(teeth),
        0.02 * np.cos(angle) + noise,
        unit="mm",
        tooth=np.tile(np.arange(1, teeth + 1), turns),
        turn=np.repeat(np.arange(turns), teeth),
    )


def test_what_to_read_next_is_told_after_many_turns_as_after_few():
    for turns in (3, 100):
        asked = bg.next_readings(bg.fit_wobble(many_turns(turns)), 4)
        assert len({*asked.teeth}) == 4
        assert all(np.diff([asked.across_u, *asked.across_u_after[1:]]) < 0)
    with pytest.raises(bg.RefusedError, match="101 turns"):
        bg.next_readings(bg.fit_wobble(many_turns(101)), 4)


def test_a_cell_in_the_far_corner_of_a_workbook_costs_no_more_than_its_rows():
    book = openpyxl.Workbook()
    for cells in sheet():
        book.active.append(cells)
    book.active.cell(1_048_576, 16_384, " ")
    held = io.BytesIO()
    book.save(held)
    ran = run("fit", "-", "--json", stdin=held.getvalue())
    assert ran.status == 0
    assert len(ran.json["blades"]) == 1


def test_a_workbook_that_unpacks_without_end_is_refused(monkeypatch):
    book = openpyxl.Workbook()
    for cells in sheet():
        book.active.append([*cells, "0" * 30_000])
    held = io.BytesIO()
    book.save(held)
    monkeypatch.setattr(_workbook, "MOST_UNPACKED", 100_000)
    assert len(held.getvalue()) < 50_000
    assert "would unpack to" in refusal("fit", "-", stdin=held.getvalue())


@pytest.mark.parametrize(
    "column", ["t{}_mm", "x", "note {} of it", ""], ids=["teeth", "twice", "notes", "nameless"]
)
@pytest.mark.parametrize("command", ["fit", "table"])
def test_a_hundred_thousand_columns_are_refused(tmp_path, column, command):
    rows = [[*row, *([""] * 100_000)] for row in sheet()[:2]]
    rows[0][3:] = [column.format(at) for at in range(100_000)]
    path = save(tmp_path / "wide.csv", written(rows))
    more = ("-o", tmp_path / "out.csv") if command == "table" else ()
    assert "100003 cells" in refusal(command, path, *more)


ENDLESS = {
    "deep": "a = " + "[" * (LONGEST_LINE // 2),
    "deep tables": "a = " + "{a = " * 1500,
    "deep names": ".".join(["a"] * LONGEST_LINE) + " = 1",
    "a long line": f'a = "{"x" * LONGEST_LINE}"',
    "long": "[slots]\n" + "# x\n" * (MOST // 3),
    "many parts": "[[limit]]\nquantity = 1\n" * (MOST // 30),
    "a long number": "a = " + "9" * 5000,
}


@pytest.mark.parametrize("text", ENDLESS.values(), ids=ENDLESS.keys())
@pytest.mark.parametrize("command", ["setup", "batch"])
def test_a_text_file_without_end_is_refused(tmp_path, text, command):
    file = save(tmp_path / "it.toml", text)
    table = save(tmp_path / "a.csv", sheet())
    words = ("batch", table, "--limits", file, "--out", tmp_path / "out")
    ran = run(*(words if command == "batch" else ("setup", file)))
    assert (ran.status, ran.out) == (2, "")
    assert all(line.startswith("bladegeom: ") for line in ran.err.splitlines())


devices = pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no /dev/zero here")


@devices
@pytest.mark.parametrize("device", ["/dev/zero", "/dev/urandom", "/dev/null"])
@pytest.mark.parametrize("command", ["fit", "check", "setup", "clock"])
def test_a_device_is_no_file(device, command):
    assert "is a device, not a file" in refusal(command, device)


def test_what_is_piped_in_without_end_is_refused(monkeypatch):
    monkeypatch.setattr(text, "MOST_PIPED", 1000)
    assert "does not end" in refusal("fit", "-", stdin=b"0.1\n" * 1000)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_read_once_somebody_writes_into_it_and_refused_otherwise(tmp_path, monkeypatch):
    monkeypatch.setattr(text, "WAIT_S", 0.5)
    pipe, held = tmp_path / "pipe.csv", written(sheet(blade="A"))
    os.mkfifo(pipe)
    assert "pipe into which nothing is written" in refusal("fit", pipe)

    def slowly():
        with pipe.open("w", encoding="utf-8") as file:
            time.sleep(1)  # Longer than is waited for somebody to begin.
            file.write(held)

    writer = threading.Thread(target=slowly)
    writer.start()
    assert bg.read_blade(pipe).reading.tolist() == NUMBERS
    writer.join()


def test_a_name_with_half_a_letter_is_told_with_its_code():
    names = pd.Series(["a\udc80"] * TEETH, dtype=object)
    frame = pd.DataFrame({"blade": names, "tooth": range(1, TEETH + 1), "reading_mm": NUMBERS})
    assert bg.fit_table(frame.assign(teeth=TEETH))["blade"].tolist() == ["a\\x80"]
