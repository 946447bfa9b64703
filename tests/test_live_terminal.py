"""The command at a real pseudo-terminal: whole sessions, slips, ends of all kinds, a device."""

from __future__ import annotations

import os
import random
import sys
import time

import pytest
from live_session import OPTIONS, TEETH, AtSaw, reading_of
from written import run

import bladegeom as bg

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminal there")

GIVEN = [*OPTIONS, "--diameter", "10in", "--fact", "numbered=clockwise", "--name", "A-40"]


def is_careful(path, teeth: int = TEETH) -> None:
    """The file holds what the dial showed, each tooth once, and fit answers it."""
    readings = bg.read_blade(path)
    assert sorted(readings.tooth[~readings.closing]) == [*range(1, teeth + 1)]
    assert [*readings.reading] == [float(reading_of(tooth)) for tooth in readings.tooth]
    assert readings.closing[-1]
    assert bg.neutral_line(bg.fit_wobble(readings)).near_tooth == 23
    assert [one for one in os.listdir(path.parent) if one.startswith(".")] == []


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


def test_killed_at_any_moment_at_most_the_line_being_typed_is_lost(tmp_path):
    path = tmp_path / "blade.csv"
    chance, typed, ended = random.Random(1), 0, False
    while not ended:
        with AtSaw(path, *GIVEN) as saw:
            for _ in range(chance.randint(12, 20)):
                tooth = saw.prompt()
                held = path.read_text().splitlines()[1:]
                assert len([one for one in held if one.split(",")[2]]) == typed
                saw.type(f"{reading_of(tooth)}\n")
                typed += 1
                if ended := typed == TEETH + 1:
                    assert saw.end() == 0
                    break
            else:
                tooth = saw.prompt()
                saw.type("99")  # Half of a line, and then the power is cut.
                saw.kill()
    is_careful(path)


def test_killed_while_it_writes_the_file_is_whole(tmp_path):
    path = tmp_path / "blade.csv"
    for wait_ms in (0.5, 3):
        with AtSaw(path, *GIVEN) as saw:
            asked = [saw.prompt()]
            for _ in range(2):
                saw.type(f"{reading_of(asked[-1])}\n")
                asked.append(saw.prompt())
            saw.type(f"{reading_of(asked[-1])}\n")
            time.sleep(wait_ms / 1000)
            saw.kill()
        readings = bg.read_blade(path)
        assert [*readings.tooth] in ([*range(1, asked[-1])], [*range(1, asked[-1] + 1)])
        assert [*readings.reading] == [float(reading_of(tooth)) for tooth in readings.tooth]


@pytest.mark.parametrize(
    ("key", "status"), [("q\n", 1), ("\x04", 1), ("\x03", 130)], ids=["q", "Ctrl-D", "Ctrl-C"]
)
def test_every_way_to_stop_keeps_and_says_so(tmp_path, key, status):
    path = tmp_path / "blade.csv"
    with AtSaw(path, *GIVEN) as saw:
        for _ in range(2):
            saw.type(f"{reading_of(saw.prompt())}\n")
        saw.prompt()
        saw.type(key)
        assert saw.end() == status
    assert "2 of 40 teeth are kept" in saw.screen
    assert [*bg.read_blade(path).tooth] == [1, 2]


def test_a_closed_lid_keeps(tmp_path):
    path = tmp_path / "blade.csv"
    with AtSaw(path, *GIVEN) as saw:
        saw.type(f"{reading_of(saw.prompt())}\n")
        saw.prompt()
        saw.hang_up()
    assert [*bg.read_blade(path).tooth] == [1]


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
        saw.type("q\n")
        saw.end()
    readings = bg.read_blade(path)
    assert [*readings.tooth] == [*range(1, 11)]
    assert [*readings.reading] == [float(reading_of(tooth)) for tooth in range(1, 11)]


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
            if tooth == 16:
                saw.type(f"{text}\n")
            elif text.startswith("-"):
                os.write(hand, f"{text}\n".encode())
            else:
                os.write(hand, sends[tooth % 3] % text.encode())
        os.write(hand, f"{reading_of(tooth)}\n".encode())
        assert saw.end() == 0
    assert "no number" in saw.screen
    readings = bg.read_blade(path)
    assert [*readings.reading] == [float(reading_of(tooth)) for tooth in readings.tooth]
    assert readings.finished == "no"
    os.close(hand)
    os.close(port)


@pytest.mark.parametrize("kind", ["pipe", "file"])
def test_what_came_before_a_tooth_was_asked_for_is_not_taken_for_it(tmp_path, kind):
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
        saw.type("q\n")
        assert saw.end() == 1
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


def test_a_device_that_is_not_there_and_a_finished_file_are_refused(tmp_path):
    path = tmp_path / "blade.csv"
    with AtSaw(path, *GIVEN, "--from", tmp_path / "none") as saw:
        assert saw.end() == 2
    assert "--from" in saw.screen
    lines = [f"{tooth},{reading_of(tooth)},40" for tooth in (*range(1, 41), 1)]
    path.write_text("\n".join(["tooth,reading_thou,teeth", *lines, ""]))
    with AtSaw(path) as saw:
        assert saw.end() == 2
    assert "is finished" in saw.screen
