"""A saw is led through its set-up by `--next` and `--record` alone, and its file stays its own."""

from __future__ import annotations

import json
import os
import re
import threading
import tomllib
from datetime import datetime, timedelta
from unittest.mock import patch

import pytest
from fits import words_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rigid_saw import RigidSaw
from saw_files import blade_table
from test_stranger import SLACK, Stranger
from written import run

import bladegeom as bg
from bladegeom.draw import printed
from bladegeom.draw.printed import next_text
from bladegeom.saw import record as recording
from bladegeom.saw.record import record
from bladegeom.tables.out import locked
from bladegeom.tables.text import read_bytes

NIGHT = timedelta(hours=23)


class Clock(datetime):
    """The clock on the wall: every look at it is a minute later."""

    shows = datetime(2026, 11, 26, 9, 0, 0)

    @classmethod
    def now(cls) -> datetime:
        Clock.shows += timedelta(minutes=1)
        return cls.shows


@pytest.fixture(autouse=True)
def wall_clock():
    Clock.shows = datetime(2026, 11, 26, 9, 0, 0)
    with patch.object(recording, "datetime", Clock):
        yield


class Led(Stranger):
    """One who does what is said, and answers only by recording what is read.

    `blank`: at first the file says only what does not change. Else all was read beforehand, and of
    what is to be read again after a move only the part that was moved is recorded: whatever else
    holds no more, the next words must say.
    """

    def __init__(self, seed, folder, *, blank) -> None:
        super().__init__(seed, folder, cuts="read" if blank else "both")
        self.blank, places = blank, ("along", "x", "y")
        if blank:
            held = self.held.items()
            self.held = {
                name: {key: one for key, one in read.items() if key in places}
                for name, read in held
            }
        super().set_up()
        self.text = self.path.read_text("utf-8") + "# my own last line, without an end"
        self.path.write_text(self.text, "utf-8")

    def ask(self, words):
        def listened(setup, file):
            self.said = setup
            return next_text(setup, file)

        with patch.object(printed, "next_text", listened):
            done = run("setup", str(self.path), *words)
        assert done.status == 0, done.err
        return done.out.partition("\nCautions")[0]

    def recorded(self, name):
        return " ".join([name, *(f"{key}={one}" for key, one in self.read(name).items())])

    def lead(self):
        """Follow until nothing is left to do; return what was printed at each turn."""
        turns = [self.ask(["--next"])]
        for turn in range(60):
            told = re.findall(r'--record "(\S+) (.*?)"', turns[-1])
            now = self.said.now
            assert bool(told) is (now is not None)
            if now is None:
                return turns
            before, words = self.errors(), " ".join(turns[-1].split())
            if now.state == "move":
                self.do(now, words)
            for name, off in self.errors().items():
                slack = SLACK.get(name, 0.003)
                slack += before["slots"] if name == "fence" == now.part else 0.0
                assert off <= before[name] + slack, (name, turns[-1])
            parts = [name for name, _ in told]
            if now.state == "move" and not self.blank:
                parts = parts[:1]
            if often := re.search(r"(\d+) times", words.partition("Record what")[0]):
                self.often[parts[-1]] = int(often[1])
            Clock.shows += NIGHT * (turn == 3)
            given = [word for name in parts for word in ("--record", self.recorded(name))]
            turns.append(self.ask(given))
            assert self.path.read_text("utf-8").startswith(self.text)
        raise AssertionError("it never ends")


@pytest.mark.parametrize("blank", [False, True])
def test_a_stranger_who_is_only_led_brings_the_saw_true(tmp_path, blank):
    person = Led(5 + blank, tmp_path, blank=blank)
    turns = person.lead()
    assert not person.out(), turns
    entries = tomllib.loads(person.path.read_text("utf-8"))["log"]
    assert len({one["at"].date() for one in entries}) == 2
    # At the end it is said what stands within, and what was read on the day before.
    within = turns[-1].partition("Within the tolerance: ")[2].partition("\n\n")[0]
    for title in ("Slots", "Fence", "Insert"):
        assert title in within


FILE = b"""\
# my saw: nothing here is to be touched
[saw]
name = "W\xc3\xa4rmerunde"
tilts = "left"

[blade]
readings = "blade.csv"

[slots]   # of the old table
front = "12 12 12.5 thou"   # as found
back = '4 4 4.5 thou'
separation = "200 mm"
graduation = "0.5 thou"
tolerance = "1 thou"

[table]
resolution = 0.02
tolerance = 0.05

[[bevel]]
angle = 30

[[bevel]]
angle = 45
from = "upright"
resolution = 0.05
"""


@pytest.fixture
def saw(tmp_path):
    blade_table(RigidSaw(plate_tilt_deg=0.1, near_deg=77.0), tmp_path / "blade.csv")
    (tmp_path / "saw.toml").write_bytes(FILE)
    return tmp_path / "saw.toml"


def added(path, text=FILE):
    """What stands in the log, where all else is as it was."""
    assert path.read_bytes().startswith(text)
    held = tomllib.loads(path.read_text("utf-8-sig"))["log"]
    return [{key: one for key, one in entry.items() if key != "at"} for entry in held]


@pytest.mark.parametrize(
    ("words", "stands"),
    [
        ("slots front=12 12.5 back=11", {"front": "12 12.5 thou", "back": "11 thou"}),
        ("slots front = 12, 12.5 back =11thou", {"front": "12, 12.5 thou", "back": "11thou"}),
        ('slots front="1 1 mm" back="1.1 mm"', {"front": "1 1 mm", "back": "1.1 mm"}),
        ("slots front=1/2 in back=1/2 in", {"front": "1/2 in", "back": "1/2 in"}),
        ("table shows=0.05 toward=left", {"shows": 0.05, "toward": "left"}),
        ("table shows=0 0.02 0 toward=left", {"shows": "0 0.02 0 deg", "toward": "left"}),
        ("table shows=89.9 folds=false side=left", {"shows": 89.9, "folds": False, "side": "left"}),
        ("table shows=0 tooth=7 accuracy=0.1", {"shows": 0, "tooth": 7, "accuracy": 0.1}),
        ("bevel 2 shows=45", {"shows": 45}),
        ("blade readings=blade.csv", {"readings": "blade.csv"}),
    ],
)
def test_words_from_a_shell_stand_in_the_file_as_its_owner_would_write_them(saw, words, stands):
    done = run("setup", str(saw), "--record", words)
    assert done.status == 0, done.err
    title = "bevel 2" if words.startswith("bevel") else words.split()[0]
    assert added(saw) == [{"part": title} | stands]


@pytest.mark.parametrize(
    ("words", "cure"),
    [
        ("slot front=1 mm back=1 mm", "did you mean slots"),
        ("slots front=1 mm", "add back"),
        ("slots fornt=1 mm back=1 mm", "did you mean front"),
        ("slots front=1 mm back=nan mm", "is not a number"),
        ("slots front=1 mm back=1 in", "two units"),
        ("slots front=1 mm front=2 mm back=1 mm", "front twice"),
        ("slots front=1 x back=1", "'1 x' has no unit"),
        ('slots front="1 mm back=1 mm', "close it"),
        ("slots", "names no value"),
        ("front=1 mm", "names no part"),
        ("", "names no part"),
        ("table shows=0.1", "toward"),
        ("table shows=0.1 toward=up", "write left or right"),
        ("table tolerance=0.1", "add what was read"),
        ("table gap=0.1 height=100 mm open=top side=left", "'0.1' has no unit"),
        ("bevel shows=30", "write bevel 1 or bevel 2"),
        ("stop first=1 mm last=1 mm", "begin it with [[stop]]"),
        ("blade readings=none.csv", "there is no file"),
        ("saw name=x", "use one of blade, slots"),
        ("table at=2026-11-25 shows=0", "at is not a known key"),
    ],
)
def test_what_cannot_be_recorded_is_refused_and_the_file_stays(saw, words, cure):
    done = run("setup", str(saw), "--record", "slots front=1 mm back=1 mm", "--record", words)
    assert (done.status, done.out) == (2, "")
    assert cure in done.err
    assert "row" not in done.err.replace("arrow", "")  # It stands in no row yet.
    assert saw.read_bytes() == FILE
    assert sorted(os.listdir(saw.parent)) == ["blade.csv", "saw.toml"]


@pytest.mark.parametrize("end", ["", "\n", "# no end"])
@pytest.mark.parametrize(
    ("mark", "encoding", "line"),
    [(b"", "utf-8", "\n"), (b"\xef\xbb\xbf", "utf-8", "\r\n"), (b"\xff\xfe", "utf-16-le", "\r\n")],
)
def test_encoding_and_line_ends_stay_those_of_the_file(saw, mark, encoding, line, end):
    text = FILE.decode().rstrip("\n").replace("\n", line) + end.replace("\n", line)
    data = mark + text.encode(encoding)
    saw.write_bytes(data)
    record(saw, ["slots front=12 back=11"])
    record(saw, ["table shows=0"])
    written = saw.read_bytes()
    assert written.startswith(data)
    more = written[len(mark) :].decode(encoding)
    assert more.count("\n") == more.count(line)
    assert [one["part"] for one in tomllib.loads(more)["log"]] == ["slots", "table"]


def test_mode_and_link_of_the_file_stay(saw):
    saw.chmod(0o600)
    link = saw.parent / "link.toml"
    link.symlink_to(saw.name)
    record(link, ["table shows=0"])
    assert link.is_symlink()
    assert saw.stat().st_mode & 0o777 == 0o600
    assert added(saw) == [{"part": "table", "shows": 0}]


def test_windows_that_record_at_once_lose_nothing(saw):
    said = [f"slots front=12 12.{at} back=11 11.{at}" for at in range(1, 7)]
    windows = [threading.Thread(target=record, args=(saw, [one])) for one in said]
    for one in windows:
        one.start()
    for one in windows:
        one.join()
    assert sorted(one["front"] for one in added(saw)) == [f"12 12.{at} thou" for at in range(1, 7)]
    times = [one["at"] for one in tomllib.loads(saw.read_text("utf-8"))["log"]]
    assert times == sorted(times)


def test_who_records_waits_while_another_does(saw):
    handle, begun = locked(saw.parent), threading.Event()

    def read(path):
        begun.set()
        return read_bytes(path)

    with patch.object(recording, "read_bytes", read):
        window = threading.Thread(target=record, args=(saw, ["table shows=0"]))
        window.start()
        assert not begun.wait(0.5)
        os.close(handle)
        window.join()
    assert added(saw) == [{"part": "table", "shows": 0}]


def test_what_an_editor_saves_meanwhile_is_kept(saw):
    work, saved = recording.set_up_from, []

    def slowly(held):
        if not saved:
            saved.append(FILE.replace(b"old table", b"new table"))
            saw.write_bytes(saved[0])
        return work(held)

    with patch.object(recording, "set_up_from", slowly):
        record(saw, ["table shows=0"])
    assert added(saw, saved[0]) == [{"part": "table", "shows": 0}]


def test_a_clock_that_was_put_back_records_nothing(saw):
    record(saw, ["table shows=0"])
    then = saw.read_bytes()
    with pytest.raises(bg.RefusedError, match="set the clock right"):
        record(saw, ["table shows=0"], at=datetime(2026, 11, 26, 8, 0, 0))
    assert saw.read_bytes() == then


def test_next_in_json_is_the_one_step_and_all_that_is_left_at_the_end(saw, tmp_path):
    held = json.loads(run("setup", str(saw), "--next", "--json").out)
    (step,) = held["steps"]
    assert (held["now"], step["step"], step["state"]) == ("Slots", "Slots", "move")
    assert step["read_again"] == ["slots.front", "slots.back"]
    card = tmp_path / "card.pdf"
    words = ("--record", "slots front=12 12 12.5 back=12 12 12.5", "--json", "-o", str(card))
    held = json.loads(run("setup", str(saw), *words).out)
    assert held["now"] == held["steps"][0]["step"] == "Not read, so not judged"
    assert held["steps"][0]["read_again"] == [
        "table.shows",
        "table.toward",
        "bevel 1.shows",
        "bevel 1.from",
        "bevel 2.shows",
        "bevel 2.from",
    ]
    assert card.stat().st_size > 1000
    words = ("table shows=0", "bevel 1 shows=30 from=upright resolution=0.05", "bevel 2 shows=45")
    record(saw, words)
    held = json.loads(run("setup", str(saw), "--next", "--json").out)
    assert held["now"] is None
    # Without a tolerance no bevel is within it; neither is what was not read.
    assert [one["step"] for one in held["steps"]] == [
        "Bevel 30 deg",
        "Bevel 45 deg",
        "Not read, so not judged",
    ]


def test_the_card_shows_before_and_after_and_what_was_read_on_an_earlier_day(saw):
    record(saw, ["slots front=12 12 12.5 back=12 12 12.5"])
    record(saw, ["table shows=0.1 0.1 0.1 toward=left"])
    record(saw, ["table shows=0 0 0"], at=Clock.shows + NIGHT)
    done = bg.set_up(saw)
    (page,) = bg.setup_card(done)
    said = " ".join(" ".join(text.get_text() for text in words_of(page)).split())
    slots, table = done.steps[:2]
    assert f"before: {slots.before.found[0]}" in said
    assert "Measured 2026-11-27" in said
    assert f"before on 2026-11-26: {table.before.found[0]}" in said
    assert said.count("read on 2026-11-26") == 1  # The slots.


def test_a_blade_mounted_anew_is_recorded_and_tells_its_new_marks(saw):
    record(saw, ["table shows=0"])
    blade_table(RigidSaw(plate_tilt_deg=0.1, near_deg=200.0), saw.parent / "second.csv")
    said = run("setup", str(saw), "--record", "blade readings=second.csv").out
    marks = bg.neutral_line(bg.fit_wobble(bg.read_blade(saw.parent / "second.csv")))
    assert marks.instructions[0] in said
    table = next(step for step in bg.set_up(saw).steps if step.part == "table")
    assert (table.state, table.verdict) == ("read again", None)


PARTS = ["slots", "table", "bevel 1", "bevel 2", "fence", "insert", "none"]
KEYS = st.sampled_from(["front", "back", "shows", "toward", "from", "resolution", "readings", "no"])
VALUES = st.sampled_from(["12", "12 12.5 thou", "1 mm", "0", "45", "left", "upright", "", "0.02"])
READING = st.tuples(st.sampled_from(PARTS), st.dictionaries(KEYS, VALUES, max_size=3))
GOOD = st.sampled_from(
    [
        ("slots", {"front": "12 12.5", "back": "11"}),
        ("table", {"shows": "0 0.02"}),
        ("bevel 2", {"shows": "45.1"}),
        ("blade", {"readings": "blade.csv"}),
    ]
)


@settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.one_of(GOOD, READING), max_size=4))
def test_any_sequence_of_readings_leaves_a_file_that_is_read_with_all_that_was_in_it(saw, readings):
    saw.write_bytes(FILE)
    bg.set_up(saw)
    for part_, values in readings:
        then, log = saw.read_bytes(), len(tomllib.loads(saw.read_text("utf-8")).get("log", []))
        words = " ".join([part_, *(f"{key}={one}" for key, one in values.items())])
        done = run("setup", str(saw), "--record", words)
        now = saw.read_bytes()
        assert now.startswith(then)
        assert (now == then) is (done.status == 2)
        held = tomllib.loads(now.decode())
        assert len(held.get("log", [])) == log + (done.status == 0)
        bg.set_up(saw)
