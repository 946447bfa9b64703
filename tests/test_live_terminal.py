"""The command at a real pseudo-terminal: whole sessions, slips, ends of all kinds, a device."""

from __future__ import annotations

import os
import random
import select
import sys
import time

import pytest
from live_session import OPTIONS, TEETH, AtSaw, reading_of
from test_odd_names import ODD
from written import run

import bladegeom as bg
from bladegeom.live.terminal import read_at_saw

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminal there")

GIVEN = [*OPTIONS, "--diameter", "10in", "--fact", "numbered=clockwise", "--name", "A-40"]


def is_careful(path, teeth: int = TEETH) -> None:
    """The file holds what the dial showed, each tooth once, and fit answers it."""
    readings = bg.read_blade(path)
    assert sorted(readings.tooth[~readings.closing]) == [*range(1, teeth + 1)]
    assert [*readings.reading] == [float(reading_of(tooth)) for tooth in readings.tooth]
    assert readings.closing[-1]
    assert bg.neutral_line(bg.fit_wobble(readings)).near_tooth == 23


def test_a_whole_session_with_slips_ends_with_the_right_file_and_the_answer(tmp_path):
    path = tmp_path / "blade.csv"
    slips = {
        3: ["12,,5", "u", reading_of(2)],
        7: ["tooth 9", ""],
        12: ["?", "u"],
        20: ["44"],
        25: ["s"],
        30: ["g 33", "g 30"],
    }
    with AtSaw(path, "--unit", "thou") as saw:
        assert "Unplug" in saw.until("how many teeth: ")
        saw.type("forty\n")
        saw.until("how many teeth: ")
        saw.type("40\n")
        for line in ("4.5in", "0.5thou", "10in", "clockwise", "A-40"):
            saw.until("): ")
            saw.type(f"{line}\n")
        while True:
            tooth = saw.prompt()
            for line in slips.pop(tooth, []):
                saw.type(f"{line}\n")
                tooth = saw.prompt()
            saw.type(f"{reading_of(tooth)}\n")
            if tooth == TEETH:
                break
        assert saw.prompt() == 1
        saw.type(f"{reading_of(1)}\n")
        assert saw.end() == 0
    is_careful(path)
    assert "Mark teeth 33 and 13" in saw.screen
    assert saw.screen.count("Unplug the saw") == 2  # First, and with the cautions of the answer.
    fitted = run("fit", path).out
    assert fitted in saw.screen


def stops(saw: AtSaw, key: str, status: int, count: int) -> None:
    """A key stops the session, which says how many teeth it keeps."""
    saw.type(key)
    assert saw.end() == status
    assert f"{count} of 40 teeth are kept" in saw.screen


def test_ended_at_any_moment_at_most_the_line_being_typed_is_lost(tmp_path):
    path, chance = tmp_path / "blade.csv", random.Random(1)
    for end in ("power cut in a line", "lid", "power cut at Enter", ""):
        with AtSaw(path, *GIVEN) as saw:
            tooth, last = saw.prompt(), chance.randint(2, 12)
            for _ in range(last if end else TEETH):
                saw.type(f"{reading_of(tooth)}\n")
                if tooth == 1 and "again" in saw.screen[-12:]:
                    assert saw.end() == 0
                    break
                before, tooth = tooth, saw.prompt()
                held = bg.read_blade(path)
                assert (held.tooth[-1], held.reading[-1]) == (before, float(reading_of(before)))
            if end == "lid":
                saw.hang_up()
            elif end:
                saw.type(reading_of(tooth) + "\n" * ("Enter" in end))
                time.sleep(chance.uniform(0, 0.005))
                saw.kill()
        if end:
            count = len(bg.read_blade(path).tooth)
            assert count == tooth - 1 or ("Enter" in end and count == tooth)
    is_careful(path)


def test_what_another_program_writes_meanwhile_is_not_written_over(tmp_path):
    path = tmp_path / "blade.csv"
    with AtSaw(path, *GIVEN) as saw:
        saw.type(f"{reading_of(saw.prompt())}\n")
        assert saw.prompt() == 2
        path.write_text(other := path.read_text().replace("A-40", "A-41"))
        saw.type(f"{reading_of(2)}\n")
        assert "changed" in saw.until("not kept") + saw.until("goes on")
        assert saw.prompt() == 2
    assert path.read_text() == other


def test_lines_pasted_at_once_are_taken_in_turn_but_answer_no_question(tmp_path):
    path = tmp_path / "blade.csv"
    with AtSaw(path, *GIVEN) as saw:
        saw.prompt()
        saw.type("".join(f"{reading_of(tooth)}\n" for tooth in range(1, 10)))
        while saw.prompt() != 10:
            pass
        saw.type("\n".join(["40", reading_of(11), reading_of(12), ""]))
        for _ in range(2):
            saw.until("not taken")
        assert saw.prompt() == 10
        saw.type(f"{reading_of(10)}\n")
        assert saw.prompt() == 11
        stops(saw, "\x03", 130, count=10)
    readings = bg.read_blade(path)
    assert [*readings.tooth] == [*range(1, 11)]
    assert [*readings.reading] == [float(reading_of(tooth)) for tooth in range(1, 11)]


def test_an_odd_name_breaks_no_line(tmp_path):
    path = tmp_path / "blade.csv"
    with AtSaw(path, *GIVEN[:-1], ODD) as saw:
        saw.type(f"{reading_of(saw.prompt())}\n")
        assert saw.prompt() == 2
        stops(saw, "q\n", 1, count=1)
    assert bg.read_blade(path).blade.name == ODD.strip()
    with AtSaw(path, "--name", "another") as saw:
        assert saw.end() == 2
    assert {one for one in saw.screen if not one.isprintable()} <= {"\n"}


# A device beside the keyboard


def test_a_dial_at_a_serial_port_and_the_keyboard_go_together(tmp_path):
    import pty

    path = tmp_path / "blade.csv"
    hand, port = pty.openpty()
    with AtSaw(path, *GIVEN, "--order", "spread", "--from", os.ttyname(port)) as saw:
        sends = [b"%s\r\n", b"%s thou\n", b"+%s\r"]
        while (tooth := saw.prompt()) and "again" not in saw.screen[-12:]:
            text = reading_of(tooth)
            if tooth == 11:
                os.write(hand, b"N+00.0125\n")
                assert saw.prompt() == 11
                saw.type("9")  # Begun, and then the dial's button is pressed.
            if tooth == 16:
                saw.type(f"{text}\n")
            elif text.startswith("-"):
                os.write(hand, f"{text}\n".encode())
            else:
                os.write(hand, sends[tooth % 3] % text.encode())
        os.write(hand, f"{reading_of(tooth)}\n".encode())
        assert saw.end() == 0
    assert "no number" in saw.screen
    assert select.select([hand], [], [], 0)[0] == []  # Nothing is echoed to the dial.
    readings = bg.read_blade(path)
    assert [*readings.reading] == [float(reading_of(tooth)) for tooth in readings.tooth]
    assert readings.finished == "no"
    os.close(hand)
    os.close(port)


@pytest.mark.parametrize(("kind", "key"), [("pipe", "\x04"), ("file", "q\n")])
def test_what_came_before_a_tooth_was_asked_for_is_not_taken_for_it(tmp_path, kind, key):
    path, device = tmp_path / "blade.csv", tmp_path / "dial"
    if kind == "pipe":
        os.mkfifo(device)
        hand = os.open(device, os.O_RDWR)
    else:
        hand = os.open(device, os.O_RDWR | os.O_CREAT)
    os.write(hand, b"77\n")
    with AtSaw(path, *GIVEN, "--from", device) as saw:
        assert "not taken" in saw.until("tooth 1: ")
        os.write(hand, b"0.5\n88\n")  # Pressed twice.
        assert "88" in saw.until("not taken")
        assert saw.prompt() == 2
        os.write(hand, b"1")
        time.sleep(0.1)
        os.write(hand, b".5\n")
        assert saw.prompt() == 3
        stops(saw, key, 1, count=2)
    os.close(hand)
    assert [*bg.read_blade(path).reading] == [0.5, 1.5]


def test_a_dial_that_is_unplugged_is_said_and_the_keyboard_goes_on(tmp_path):
    import pty

    path = tmp_path / "blade.csv"
    hand, port = pty.openpty()
    with AtSaw(path, *GIVEN, "--from", os.ttyname(port)) as saw:
        saw.prompt()
        os.close(port)
        os.close(hand)
        assert "has ended" in saw.until("type the readings")
        assert saw.prompt() == 1
        saw.type("1\nq\n")
        assert saw.end() == 1
    assert [*bg.read_blade(path).reading] == [1.0]


# Refused before anything is asked


def test_where_there_is_no_terminal_it_is_refused_with_a_cure(tmp_path):
    ran = run("read", tmp_path / "blade.csv", *GIVEN, stdin="1\n2\n")
    assert (ran.status, ran.out) == (2, "")
    assert "bladegeom fit -" in ran.err
    assert not (tmp_path / "blade.csv").exists()


def test_what_is_of_no_use_is_refused_before_anything_is_asked(tmp_path, monkeypatch):
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    stated = {"unit": None, "name": None}
    how = {"spread": False, "wanted_deg": None, "caution": ""}
    path = tmp_path / "blade.csv"
    with pytest.raises(bg.RefusedError, match="--from"):
        read_at_saw(str(path), stated, device=str(tmp_path / "none"), **how)
    lines = [f"{tooth},{reading_of(tooth)},40" for tooth in (*range(1, 41), 1)]
    path.write_text("\n".join(["tooth,reading_thou,teeth", *lines, ""]))
    with pytest.raises(bg.RefusedError, match="is finished"):
        read_at_saw(str(path), stated, device=None, **how)
    with pytest.raises(bg.RefusedError, match="teeth is 40 here"):
        read_at_saw(str(path), {**stated, "teeth": 24}, device=None, **how)
