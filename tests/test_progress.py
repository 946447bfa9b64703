"""How far a long run has come: a line on a terminal with the time that is left, else nothing."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import warnings

import pytest
from written import run, save, sheet, wave

from bladegeom.draw.progress import Progress, left_words, progress


class Terminal(io.StringIO):
    """Of 100 columns; keeps what is written."""

    def isatty(self):
        return True

    def screen(self):
        """Return the lines as they stand in the end."""
        shown = []
        for line in self.getvalue().split("\n"):
            letters = []
            for part in line.split("\r"):
                letters[: len(part)] = part
            shown.append("".join(letters).rstrip())
        return shown


@pytest.fixture
def line(monkeypatch):
    """Return a line on a terminal, and what sets its clock."""
    monkeypatch.setenv("COLUMNS", "100")
    clock = [0.0]
    return Progress(Terminal(), lambda: clock[0]), clock


def test_the_time_that_is_left_comes_true_within_a_quarter(line):
    told, clock = line
    for done in range(1, 200):
        clock[0] += 0.5 + 0.3 * (done % 3 == 0)
        told("", done, 250)
    (shown,) = told._stream.screen()
    assert shown.startswith("[#######################       ] 199 of 250 blades, about ")
    assert 0.75 < int(shown.split("about ")[1].split(" s")[0]) / (51 * 0.6) < 1.25
    told("", 250, 250)
    assert told._stream.screen() == [f"[{30 * '#'}] 250 of 250 blades"]


def test_one_blade_that_lags_does_not_double_what_is_left(line):
    told, clock = line
    left = []
    for done in range(1, 150):
        clock[0] += 0.3 if done != 148 else 3.0
        told("", done, 1000)
        left.append(told._stream.screen()[0].split("blades")[1])
    assert left[:5] == [""] * 5  # Not before it settles.
    assert left[146] == ", about 5 min left"
    assert left[147] in (", about 5 min left", ", about 6 min left", ", about 7 min left")


def test_processes_that_are_slow_to_start_make_no_long_day(line):
    told, clock = line
    for done in (0, 0, 1, 2):
        clock[0] += 9.0
        told("", done, 100)
    assert told._stream.screen()[0].endswith("2 of 100 blades")


def test_each_part_of_the_work_is_timed_by_itself(line):
    told, clock = line
    for done in range(20):
        clock[0] += 5.0
        told("reading day.csv", done, 100)
    assert "min left" in told._stream.screen()[0]
    for done in range(25, 40):
        clock[0] += 0.25
        told("fitting day.csv", done, 99)
    assert told._stream.screen()[0].endswith("fitting day.csv: 39 of 99 blades, about 15 s left")


def test_a_name_that_is_wide_or_odd_stays_on_its_line(line, monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    told, clock = line
    for done in (0, 1, 2):
        clock[0] += 1
        told("reading a\nb" + 100 * "w", done, 2)
    (shown,) = told._stream.screen()
    assert "reading a\\u000ab" in shown
    assert len(shown) == 59


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (3, "a few seconds left"),
        (31, "about 35 s left"),
        (56, "about 1 min left"),
        (100, "about 2 min left"),
        (3541, "about 1 h left"),
        (4000, "about 1 h 7 min left"),
    ],
)
def test_time_is_told_as_roughly_as_it_is_known(seconds, words):
    assert left_words(seconds) == words


def test_a_warning_stands_on_a_line_of_its_own(monkeypatch):
    terminal = Terminal()
    say = lambda message, *_, **__: print(f"note: {message}", file=terminal)  # noqa: E731
    monkeypatch.setattr(warnings, "showwarning", say)
    with progress(terminal) as told:
        told("", 1, 3)
        with warnings.catch_warnings():
            warnings.simplefilter("always")
            warnings.showwarning("first", UserWarning, "x", 1)
        told("", 3, 3)
    assert warnings.showwarning is say
    assert terminal.screen() == ["note: first", f"[{30 * '#'}] 3 of 3 blades", ""]


@pytest.mark.parametrize("stream", [io.StringIO(), None])
def test_nothing_is_drawn_where_nobody_looks(stream):
    with progress(stream) as told:
        told("", 1, 3)
    assert stream is None or stream.getvalue() == ""


def test_the_command_draws_the_line_on_a_terminal_and_none_in_a_pipe(tmp_path):
    pty = pytest.importorskip("pty")
    table = save(tmp_path / "day.csv", sheet(wave(24, 0.05), blade="A", graduation_mm=0.001))
    words = [sys.executable, "-m", "bladegeom", "table", table, "-o", tmp_path / "a.csv"]
    hand, terminal = pty.openpty()
    subprocess.run(words, stderr=terminal, stdout=terminal, check=True)
    said = os.read(hand, 4096).decode()
    os.close(terminal)
    os.close(hand)
    assert f"\r[{30 * '#'}] writing: 1 of 1 blade " in said
    assert said.endswith(": 1 answered\r\n")
    ran = run("table", table, "-o", tmp_path / "b.csv")
    assert (ran.status, ran.err) == (0, "")
