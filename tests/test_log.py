"""The log of a saw's file: readings that came later, what they replace, and what holds no more."""

from __future__ import annotations

import shutil
from dataclasses import replace

import pytest
from rigid_saw import RigidSaw
from saw_files import BLADE, blade_table, faults, flip_part, part, set_up, slots_part, steps_of

SAW = RigidSaw(plate_tilt_deg=0.1, near_deg=77.0, slot_deg=0.2, tilt_to_right_deg=0.3)
READ = {"toward": "left", "resolution": 0.01, "tolerance": 0.05}
SLOTS = {"front": "1.00 1.00 1.00 mm", "back": "1.00 1.00 1.00 mm"}


def log(at: str, name: str, /, **said: object) -> str:
    """One reading of the log; times are written without quotes."""
    entry = part("[log]", part=name, **said)
    return entry.replace("]]\n", f"]]\nat = 2026-11-{at}\n", 1)


def off(**more: object) -> str:
    """A saw whose slots, table and gauge are out, each read once."""
    text = part("saw", tilts="left", date="?").replace('"?"', "2026-11-24") + BLADE
    text += slots_part(SAW, 9, side="left", times=3, tolerance="0.05 mm", **more)
    text += part("table", shows=0.3, **READ) + part("miter_gauge", shows=0.3, **READ)
    return text + part("fence", side="right", along="0 100 200 mm", readings="0 0 0 mm")


def test_the_last_reading_counts_whatever_its_place_in_the_file(tmp_path):
    later = log("26T08:00:00", "table", shows=0.02, toward="right")
    sooner = log("25T08:00:00", "table", shows=0.2, toward="left")
    for text in (sooner + later, later + sooner):
        table = steps_of(set_up(tmp_path, off() + text, SAW))["table"]
        held = table.to_dict()
        assert held["result"]["shown_deg"] == pytest.approx(-0.02, abs=1e-9)
        assert (held["verdict"], held["before"]["verdict"]) == ("within", "out")
        assert held["before"]["result"]["shown_deg"] == pytest.approx(0.2, abs=1e-9)
        assert (held["read_at"], held["before"]["read_at"]) == (
            "2026-11-26T08:00:00",
            "2026-11-25T08:00:00",
        )
        # The rest is as in the part itself.
        assert held["result"]["tolerance_deg"] == 0.05


def test_what_was_read_in_the_part_itself_is_the_earliest_reading(tmp_path):
    text = off() + part("table.before", shows=0.6, toward="left")
    done = set_up(tmp_path, text + log("25T08:00:00", "table", shows=0), SAW)
    before = steps_of(done)["table"].before.to_dict()
    assert before["result"]["shown_deg"] == pytest.approx(0.3, abs=1e-9)
    assert before["read_at"] == "2026-11-24"
    done = set_up(tmp_path, text, SAW)
    before = steps_of(done)["table"].before.to_dict()
    assert before["result"]["shown_deg"] == pytest.approx(0.6, abs=1e-9)
    # Nothing but under before and in the log: the first is before the second.
    text = text.replace("shows = 0.3\ntoward", "toward", 1).replace('toward = "left"\n', "", 1)
    done = set_up(tmp_path, text + log("25T08:00:00", "table", shows=0), SAW)
    before = steps_of(done)["table"].before.to_dict()
    assert before["result"]["shown_deg"] == pytest.approx(0.6, abs=1e-9)


def test_what_hangs_on_what_was_moved_since_is_read_again_and_not_judged(tmp_path):
    first = steps_of(set_up(tmp_path, off(), SAW))
    assert (first["slots"].state, first["miter_gauge"].state) == ("move", "move")
    text = off() + log("25T08:00:00", "slots", **SLOTS)
    done = set_up(tmp_path, text, SAW)
    said = steps_of(done)
    assert said["slots"].state == "leave"
    for name in ("miter_gauge", "fence"):
        held = said[name].to_dict()
        assert (held["state"], held["verdict"], held["result"]) == ("read again", None, None)
        assert (held["found"], held["before"]["found"]) == ([], list(first[name].found))
        assert "Slots" in held["do"][0]
    assert said["table"].to_dict() == first["table"].to_dict()  # It does not hang on the slots.
    # Read after it, it holds; read again though nothing was moved, it stays judged.
    text += log("25T08:10:00", "miter_gauge", shows=0) + log("25T08:20:00", "slots", **SLOTS)
    gauge = steps_of(set_up(tmp_path, text, SAW))["miter_gauge"]
    assert (gauge.verdict, gauge.before.found) == ("within", first["miter_gauge"].found)


def test_slots_that_were_only_read_oftener_void_nothing(tmp_path):
    few = off().replace(slots_part(SAW, 9, side="left", times=3, tolerance="0.05 mm"), "")
    few += part(
        "slots",
        front="1.00 1.05 mm",
        back="1.03 1.02 mm",
        separation="150 mm",
        indicator="left",
        graduation="0.01 mm",
        tolerance="0.03 mm",
    )
    assert steps_of(set_up(tmp_path, few, SAW))["slots"].state == "read again"
    said = steps_of(set_up(tmp_path, few + log("25T08:00:00", "slots", **SLOTS), SAW))
    assert said["slots"].verdict == "within"
    assert said["miter_gauge"].verdict == "out"


def test_an_error_that_has_grown_is_warned_of_but_not_beside_other_slots(tmp_path):
    grown = log("25T09:00:00", "miter_gauge", shows=0.9, toward="left")
    for text, warned in (
        (grown, True),
        (log("25T08:00:00", "slots", **SLOTS) + grown, False),
        (grown + log("25T09:30:00", "table", shows=0), True),  # Also after what came later.
    ):
        said = steps_of(set_up(tmp_path, off() + text, SAW))
        assert any("more than before" in one for one in said["miter_gauge"].remarks) is warned


def test_a_cut_made_before_the_blade_was_tilted_is_made_again(tmp_path):
    text = off() + flip_part(SAW.flip_gap_mm(30.0), 30.0, "left")
    assert steps_of(set_up(tmp_path, text, SAW))["test_cut.flip"].state == "wait"
    text += log("25T08:00:00", "table", shows=0)
    done = set_up(tmp_path, text, SAW)
    flip = steps_of(done)["test_cut.flip"]
    assert (flip.state, flip.result) == ("read again", None)
    assert done.test_cut is None  # Nothing is held against what holds no more.
    text += log("25T09:00:00", "test_cut.flip", gap="0 mm", open="top")
    said = steps_of(set_up(tmp_path, text, SAW))
    assert (said["table"].verdict, said["test_cut.flip"].verdict) == ("within", "within")


def test_what_holds_no_more_predicts_no_cut(tmp_path):
    text = off().replace("shows = 0.3", "shows = 0.01", 1)
    text += flip_part(SAW.flip_gap_mm(30.0), 30.0, "left")
    done = set_up(tmp_path, text, SAW)
    assert (done.test_cut.agree, steps_of(done)["test_cut.flip"].state) == ("no", "move")
    # The blade was tilted by what the cut told: of the table nothing is known any more.
    text += log("25T08:00:00", "test_cut.flip", gap="0 mm", open="top")
    done = set_up(tmp_path, text, SAW)
    assert steps_of(done)["table"].state == "read again"
    assert done.test_cut is None


def test_a_blade_read_anew_voids_what_rests_on_its_marks_and_nothing_else(tmp_path):
    text = off() + part("riving_knife", shows=0, **{**READ, "toward": "left"})
    before = steps_of(set_up(tmp_path, text, SAW))
    blade_table(replace(SAW, near_deg=200.0), tmp_path / "second.csv")
    text += log("25T08:00:00", "blade", readings="second.csv")
    done = set_up(tmp_path, text)
    said = steps_of(done)
    assert done.neutral_teeth != set_up(tmp_path, off()).neutral_teeth
    for name in ("table", "miter_gauge", "riving_knife"):
        assert (said[name].state, said[name].verdict) == ("read again", None)
        assert str(done.neutral_teeth[0]) in said[name].stand
        assert said[name].before.found == before[name].found
    assert said["slots"].to_dict()["verdict"] == before["slots"].verdict
    text += log("25T09:00:00", "table", shows=0)
    assert steps_of(set_up(tmp_path, text))["table"].verdict == "within"
    # The same file read anew counts as well.
    shutil.copy(tmp_path / "second.csv", tmp_path / "blade.csv")
    text += log("25T10:00:00", "blade", readings="blade.csv")
    assert steps_of(set_up(tmp_path, text))["table"].state == "read again"


def test_a_part_without_a_reading_leads_to_it_in_the_order_of_work(tmp_path):
    stated = {"separation": "150 mm", "graduation": "0.01 mm", "tolerance": "0.05 mm"}
    text = part("saw", tilts="left") + BLADE + part("slots", indicator="left", **stated)
    text += part("miter_gauge", shows=0.3, **READ)
    text += part("fence", side="right", along="0 100 200 mm", graduation="0.01 mm")
    done = set_up(tmp_path, text, SAW)
    said = steps_of(done)
    assert done.now.part == "slots"
    assert done.now.read_again == ("slots.front", "slots.back")
    assert (said["miter_gauge"].state, said["fence"].read_again) == ("wait", ("fence.readings",))
    text += log("25T08:00:00", "slots", **SLOTS)
    done = set_up(tmp_path, text)
    assert (done.now.part, done.now.state) == ("miter_gauge", "move")
    text += log("25T09:00:00", "miter_gauge", shows=0)
    assert set_up(tmp_path, text).now.part == "fence"


def test_a_cut_comes_after_all_that_can_be_read(tmp_path):
    text = part("saw", tilts="left") + BLADE + part("table", resolution=0.01, tolerance=0.05)
    text += part("test_cut.round", turns=4, piece="left")
    done = set_up(tmp_path, text, SAW)
    assert done.now.read_again == ("table.shows", "table.toward")
    text += log("25T08:00:00", "table", shows=0)
    assert set_up(tmp_path, text).now.part == "test_cut.round"


def test_one_of_several_bevels_is_named_by_its_place(tmp_path):
    text = part("saw", tilts="left") + BLADE
    for angle in (30, 45):
        how = {"angle": angle, "from": "upright", "tolerance": 0.1, "resolution": 0.01}
        text += part("[bevel]", shows=angle + 0.5, **how)
    text += log("25T08:00:00", "bevel 2", shows=45, **{"from": "upright"})
    _, first, second, *_ = (
        set_up(tmp_path, text, SAW).steps
        if False
        else (
            None,
            *(one for one in set_up(tmp_path, text, SAW).steps if one.part == "bevel"),
        )
    )
    assert (first.verdict, second.verdict) == ("out", "within")


@pytest.mark.parametrize(
    ("text", "row", "words"),
    [
        (log("25T08:00:00", "slot", front="1 mm"), 3, "did you mean slots"),
        (log("25T08:00:00", "saw", name="x"), 3, "saw is not a known part of the log"),
        (log("25T08:00:00", "bevel 2", shows=45), 3, "the file holds no bevel"),
        (log("25T08:00:00", "fence 2", readings="0 mm"), 3, "there is one; write fence,"),
        (log("25T08:00:00", "table", tolerance=1), 1, "says nothing that was read"),
        (log("25T08:00:00", "table", shows="x"), 4, "[[log]] table shows: 'x' is no angle"),
        (log("25T08:00:00", "table", shown=1), 4, "shown is not a known key in [[log]]"),
        (log("25T08:00:00", "table", shows=0.1), 4, "without a side"),
        (log("25T08:00:00", "slots", front="1 mm"), 1, "[[log]] slots says no back"),
        (log("25T08:00:00", "insert", height="1 mm"), 1, "[[log]] insert says no x"),
        (log("25", "table", shows=0), 2, "2026-11-25 is no day and time"),
        (log("25T08:00:00+01:00", "table", shows=0), 2, "by your own clock"),
        (log("25T08:00:00", "table", shows=0).replace("at =", "on ="), 1, "says no at"),
        ('[log]\npart = "slots"\n', 1, "begin each of its readings with [[log]]"),
    ],
)
def test_what_cannot_be_used_of_the_log_is_said_with_its_row(tmp_path, text, row, words):
    (fault, *_) = faults(tmp_path, off() + text, SAW)
    assert words in str(fault)
    assert fault.row == row + off().count("\n")
