"""A saw set up from its file: the steps, their order, what they say, and what they predict."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
from rigid_saw import RigidSaw
from saw_files import BLADE, faults, flip_part, mm, part, round_part, set_up, slots_part

import bladegeom as bg
from bladegeom.draw.printed import setup_text

DEMO = "data_demo/shed_saw.toml"


@pytest.fixture(scope="module")
def demo():
    return bg.set_up(DEMO)


def test_the_steps_come_in_the_order_of_work(demo):
    assert [step.part for step in demo.steps] == [
        "slots",
        "table",
        "bevel",
        "miter_gauge",
        "riving_knife",
        "fence",
        "stop",
        "insert",
        "test_cut.flip",
        "test_cut.round",
        "test_cut.kerf",
        "test_cut",
    ]
    assert (demo.saw, demo.date.isoformat()) == ("Bench by the north window", "2026-11-21")


def test_the_demo_saw_is_answered_within_its_own_doubt(demo):
    # What was planted (tests/make_saw_demo.py): within, but for the stop.
    found = {step.part: step for step in demo.steps}
    truth = {"slots": -0.002, "stop": 0.03, "fence": -0.004 - 0.002}
    assert abs(found["slots"].result.angle.value) < found["slots"].result.angle.reach + 0.002
    stop = found["stop"].result.error
    assert stop.low - 0.001 < -truth["stop"] < stop.high + 0.001
    assert found["stop"].verdict == "out"
    assert demo.test_cut.verdict == "agree"


def test_numbers_are_plain_and_none_is_nan(demo):
    held = json.loads(json.dumps(demo.to_dict(), allow_nan=False))
    assert held["neutral_teeth"] == [33, 13]
    assert [step["step"] for step in held["steps"]][:2] == ["Slots", "Table square"]
    assert held["steps"][0]["result"]["verdict"] == "within"
    assert held["test_cut"]["verdict"] == "agree"


def test_a_blade_alone_gives_the_teeth_of_each_setting(tmp_path):
    done = set_up(tmp_path, BLADE, RigidSaw(plate_tilt_deg=0.05, near_deg=90.0))
    (step,) = done.steps
    assert (step.part, step.verdict, step.state) == ("not_read", None, None)
    (line,) = step.found
    assert line.startswith("21 up, 1 down: table square and bevels; 21 in front, 1 behind: miter")
    assert "; toe: 21 in front, 1 behind; lean: 21 up, 1 down: riving knife" in line
    assert done.test_cut is None
    assert done.now is None
    assert done.date is None


def test_slots_alone_need_no_blade(tmp_path):
    done = set_up(tmp_path, part("slots", front="1 1.1 mm", back="1 1.1 mm", separation="200 mm"))
    assert [step.part for step in done.steps] == ["slots"]
    assert done.fit is None
    assert done.steps[0].verdict is None


def test_a_flat_blade_has_no_teeth_and_its_worst_is_in_the_doubt(tmp_path):
    blade = part("blade", readings=str(Path("data_demo/flat_blade.csv").resolve()))
    done = set_up(tmp_path, blade + part("table", shows=0, resolution=0.0001, tolerance=0.1))
    table = done.steps[0]
    assert table.stand == "any tooth"
    assert table.verdict == "within"
    assert table.result.read.off.reach == pytest.approx(table.result.worst.value, rel=0.05)
    assert done.to_dict()["neutral_teeth"] is None


@pytest.mark.parametrize(
    ("text", "row", "words"),
    [
        ("[table]\ntolerance = 0.1\n", 1, "[table] the table is set against the blade, of which"),
        ('[blade]\nreadings = "none.csv"\n', 2, "there is no file"),
        (
            '[slots]\nfront = "1 mm"\nback = "1 in"\nseparation = "8 in"\n',
            1,
            "[slots] the lengths are in two units: front in mm, back in in",
        ),
        (
            '[fence]\nalong = "0 1 2 in"\nreadings = "0 1 thou"\n',
            3,
            "[fence] there are 3 places along the slot and 2 readings",
        ),
        (
            '[stop]\nname = "45"\nfirst = "1 in"\nlast = "1 in"\nlength = "8 in"\nturns = 2\n',
            6,
            "turns is 2",
        ),
        (
            '[insert]\nx = "0 9 0 9 mm"\ny = "0 0 9 9 mm"\nheight = "0 0 0 1 mm"\n'
            'screw_y = "0 9 mm"\n',
            5,
            "screw_y is given and screw_x is not",
        ),
    ],
)
def test_what_cannot_be_used_is_said_with_its_row(tmp_path, text, row, words):
    (fault,) = faults(tmp_path, text)
    assert words in fault.problem
    assert fault.row == row


def test_every_part_that_cannot_be_used_is_listed(tmp_path):
    text = "[table]\n[miter_gauge]\n[[bevel]]\nangle = 30\n"
    assert sorted(fault.row for fault in faults(tmp_path, text)) == [1, 2, 3]


def test_a_bevel_that_was_read_needs_the_way_the_blade_tilts(tmp_path):
    text = BLADE + part("[bevel]", angle=45, shows=45.1, **{"from": "upright"}, resolution=0.1)
    (fault,) = faults(tmp_path, text, RigidSaw(plate_tilt_deg=0.05))
    assert (fault.row, fault.column) == (5, "shows")
    assert 'tilts = "left" or "right"' in fault.cure


def test_what_was_shown_needs_a_resolution(tmp_path):
    text = BLADE + part("table", shows=0.1)
    (fault,) = faults(tmp_path, text, RigidSaw(plate_tilt_deg=0.05))
    assert (fault.row, fault.column) == (4, "shows")
    assert "resolution" in fault.cure


def test_a_table_of_several_blades_needs_a_name(tmp_path):
    demo = Path("data_demo").resolve()
    tables = [str(demo / f"shelf_{one}.csv") for one in ("readings", "blades")]
    text = part("blade", readings=tables[0], facts=tables[1])
    (fault,) = faults(tmp_path, text)
    assert "holds 5 blades: 007, B-13" in fault.problem
    assert "name = ..." in fault.cure
    done = set_up(tmp_path, text + 'name = "B-13"\n')
    assert done.fit.readings.blade.name == "B-13"
    (fault,) = faults(tmp_path, text + 'name = "B-12"\n')
    assert "tooth 41" in fault.problem
    (fault,) = faults(tmp_path, text + 'name = "none"\n')
    assert "holds no blade none" in fault.problem


sides = pytest.mark.parametrize("side", ["left", "right"])
others = pytest.mark.parametrize("other", ["left", "right"])
ways = pytest.mark.parametrize("numbered", ["clockwise", "counterclockwise"])


def hidden(side, numbered):
    return RigidSaw(
        side=side,
        numbered=numbered,
        plate_tilt_deg=0.2,
        near_deg=77.0,
        arbor_deg=0.03,
        slot_deg=-0.02,
    )


@sides
@others
@ways
@pytest.mark.parametrize("rides", ["left", "right"])
def test_the_corner_predicted_is_the_one_that_is_cut(tmp_path, side, other, numbered, rides):
    saw = hidden(side, numbered)
    saw = saw.set_gauge(saw.turned(5, "front"))
    text = BLADE + slots_part(saw, 9, side=rides)
    text += part("miter_gauge", tooth=5, shows=0, resolution=0.0001)
    text += round_part(saw.round_test(4, kept=other), piece=other)
    (check,) = set_up(tmp_path, text, saw).test_cut.checks
    assert abs(check.measured.value) > 0.05
    assert check.predicted.value == pytest.approx(check.measured.value, abs=1e-4)


@sides
@others
@ways
def test_the_square_predicted_is_the_one_that_is_cut(tmp_path, side, other, numbered):
    saw = replace(hidden(side, numbered), slot_deg=0.03)
    saw = saw.set_tilt(saw.turned(5, "top"), error_deg=0.04)
    lean = round(saw.square_lean_deg(saw.turned(5, "top")), 6)
    toward = side if lean > 0 else ({"left", "right"} - {side}).pop()
    text = BLADE + part("table", tooth=5, shows=abs(lean), toward=toward, resolution=0.0001)
    text += flip_part(saw.flip_gap_mm(30.0, flipped=other), 30.0, other)
    text += part("test_cut.kerf", width=mm(saw.fed_kerf_mm()), graduation="0.001 mm")
    square, kerf = set_up(tmp_path, text, saw).test_cut.checks
    assert abs(square.measured.value) > 0.02
    assert square.predicted.value == pytest.approx(square.measured.value, abs=2e-4)
    assert kerf.predicted.value == pytest.approx(kerf.measured.value, abs=0.005)


@sides
@ways
@pytest.mark.parametrize("tilts", ["left", "right"])
def test_a_bevel_as_read_tells_the_bevel_as_cut(tmp_path, side, numbered, tilts):
    saw = replace(hidden(side, numbered), slot_deg=0.03, arbor_depth_mm=40.0)
    top = saw.turned(5, "top")
    sign = 1.0 if tilts == side else -1.0
    saw = saw.set_tilt(top, sign * 45.0, error_deg=0.05)
    shows = round(abs(saw.square_lean_deg(top)), 6)
    read = {"angle": 45, "tooth": 5, "shows": shows, "resolution": 0.0001, "tolerance": 0.001}
    read["from"] = "upright"
    text = part("saw", tilts=tilts) + BLADE + part("[bevel]", **read)
    (bevel,) = (one for one in set_up(tmp_path, text, saw).steps if one.part == "bevel")
    true = saw.cut_lean_deg(10.0) - sign * 45.0
    off = bevel.to_dict()["result"]["off_deg"]
    assert off == pytest.approx(true, abs=2e-4)
    assert math.copysign(1, off) == math.copysign(1, true)
    assert bevel.verdict == "out"


def test_heel_widens_the_kerf_that_is_predicted(tmp_path):
    saw = replace(hidden("left", "clockwise"), arbor_deg=0.2)
    text = part("blade", readings="blade.csv", height="50 mm") + slots_part(saw, 9)
    text += part("test_cut.kerf", width=mm(saw.fed_kerf_mm()), graduation="0.001 mm")
    (check,) = set_up(tmp_path, text, saw).test_cut.checks
    assert saw.fed_kerf_mm() - saw.kerf_mm() > 0.5
    assert check.predicted.value == pytest.approx(check.measured.value, abs=0.02)


def test_a_part_read_anew_shows_before_and_after(tmp_path):
    saw = RigidSaw(plate_tilt_deg=0.05, near_deg=90.0)
    text = part("saw", tilts="left") + BLADE
    text += part("table", shows=0.02, toward="right", resolution=0.01, tolerance=0.1)
    text += part("table.before", shows=0.3, toward="left")
    for angle, then in ((30, 30.4), (45, 44.8)):
        how = {"angle": angle, "from": "upright", "tolerance": 0.1}
        text += part("[bevel]", shows=angle, resolution=0.01, **how)
        text += part("bevel.before", shows=then, resolution=0.05)
    done = set_up(tmp_path, text, saw)
    for step, off in zip(done.steps, (0.3, 0.4, -0.2), strict=False):
        held = step.to_dict()
        assert (held["verdict"], held["before"]["verdict"]) == ("within", "out")
        assert held["before"]["result"]["off_deg"] == pytest.approx(off, abs=0.002)
        assert f"{abs(off):.2f}" in step.was
        assert step.was in str(step)
        assert step.was.rstrip(")") in setup_text(done).replace("\n  ", " ")
        # What it was before serves nothing but to be shown.
        assert held["read_again"] == []
    assert done.now is None
    assert not any("more than before" in one for one in done.warnings)


def test_an_error_that_has_grown_is_warned_of(tmp_path):
    read = {"front": "1.00 1.00 1.00 mm", "separation": "150 mm", "graduation": "0.01 mm"}
    for now, grown in (("1.80 1.80 1.81 mm", True), ("0.90 0.90 0.90 mm", False)):
        text = part("slots", **read, back=now)
        text += part("slots.before", front=read["front"], back="1.40 1.40 1.40 mm")
        step = set_up(tmp_path, text).steps[0]
        assert any("more than before" in one for one in step.remarks) is grown


@pytest.mark.parametrize(
    ("text", "row", "words"),
    [
        ("[table]\nshows = 0\n[table.before]\n", 3, "[table.before] says no shows"),
        ("[table]\nshows = 0\n[table.before]\nshow = 1\n", 4, "show is not a known key"),
        ("[table]\nshows = 0.1\ntoward = 'left'\n[table.before]\nresolution = 1\n", 4, "shows"),
        ("[table]\nshows = 0\nbefore = 0.3\n", 3, "table.before is 0.3"),
        ('[blade]\nreadings = "a.csv"\n[blade.before]\n', 1, "before is not a known key"),
        (
            "[table]\nshows = 0\nresolution = 0.1\n[table.before]\nshows = 0.4\n",
            5,
            "without a side",
        ),
    ],
)
def test_what_cannot_be_used_of_what_was_read_before_is_said_with_its_row(
    tmp_path, text, row, words
):
    blade = "" if "blade" in text else BLADE
    (fault, *_) = faults(tmp_path, text + blade, RigidSaw(plate_tilt_deg=0.05))
    assert words in fault.problem
    assert fault.row == row


def test_a_move_names_every_entry_that_holds_no_more(tmp_path):
    saw = RigidSaw(plate_tilt_deg=0.1, near_deg=77.0, slot_deg=0.2, tilt_to_right_deg=0.3)
    saw = replace(saw, gauge_deg=0.3)
    text = BLADE + slots_part(saw, 9, side="left", times=3)
    read = {"toward": "left", "resolution": 0.01, "tolerance": 0.02}
    text += part("table", shows=0.3, **read) + part("miter_gauge", shows=0.3, **read)
    text += part("riving_knife", shows=0.2, **read)
    text += part("fence", side="right", along="0 100 200 mm", readings="0 0 0 mm")
    text += flip_part(saw.flip_gap_mm(30.0), 30.0, "left") + round_part(saw.round_test(4))
    text += part("test_cut.kerf", width="3.5 mm", graduation="0.01 mm")
    said = {step.part: step.to_dict()["read_again"] for step in set_up(tmp_path, text, saw).steps}
    assert said["slots"] == [
        *("slots.front", "slots.back", "miter_gauge.shows", "miter_gauge.toward"),
        *("fence.readings", "test_cut.kerf.width"),
    ]
    shown = ["table.shows", "table.toward"]
    assert said["table"] == [*shown, "test_cut.flip.gap", "test_cut.flip.open"]
    around = ["test_cut.round.first", "test_cut.round.last"]
    assert said["miter_gauge"] == ["miter_gauge.shows", "miter_gauge.toward", *around]
    assert said["riving_knife"] == ["riving_knife.shows", "riving_knife.toward"]
    assert said["fence"] == said["test_cut.round"] == []  # They wait.


@pytest.mark.parametrize("lean", [0.0, 0.4])
def test_the_board_of_the_file_tells_what_the_error_opens_in_it(tmp_path, lean):
    read = {"angle": 30, "from": "upright", "shows": 30 + lean, "resolution": 0.01}
    saw = RigidSaw(plate_tilt_deg=0.05, near_deg=90.0)
    said = []
    for board in ({}, {"span": "20 mm"}, {"span": "40 mm"}, {"span": "20 mm", "sides": 6}):
        text = part("saw", tilts="left") + BLADE + part("[bevel]", **(read | board))
        step = set_up(tmp_path, text, saw).steps[0]
        opens = [float(one) for one in re.findall(r"([\d.]+) mm", " ".join(step.found))]
        off = step.off if lean else max(abs(step.off.low), abs(step.off.high))
        off = math.tan(math.radians(off.value if lean else off))
        said.append(opens)
        if board:
            cut = float(board["span"].split()[0]) / math.cos(math.radians(30))
            assert opens[0] == pytest.approx(cut, rel=1e-3)
            assert opens[1] == pytest.approx(cut * off, abs=0.006)
        if "sides" in board:
            assert opens[2] == pytest.approx(12 * cut * off, rel=0.1, abs=0.006)
    assert [len(one) for one in said[1:]] == [2, 2, 3]


def test_the_board_may_be_named_by_what_of_it_is_measured(tmp_path):
    saw = RigidSaw(plate_tilt_deg=0.05, near_deg=90.0)
    names = {"table": "thickness", "miter_gauge": "width", "riving_knife": "distance"}
    for name, key in names.items():
        read = {"shows": 0, "resolution": 0.01}
        found = [
            set_up(tmp_path, BLADE + part(name, **read, **{one: "50 mm"}), saw).steps[0].found
            for one in (key, "span")
        ]
        assert found[0] == found[1]
        (fault,) = faults(tmp_path, BLADE + part(name, **read, span="50 mm", **{key: "60 mm"}))
        assert "twice" in fault.problem


@pytest.mark.parametrize("name", ["table", "miter_gauge", "riving_knife"])
def test_the_tooth_that_the_file_names_stands_at_the_head_of_its_step(tmp_path, name):
    saw = RigidSaw(plate_tilt_deg=0.05, near_deg=90.0)
    text = BLADE + slots_part(saw, 9, side="left", times=3)
    for tooth in (5, None):
        read = {"shows": 0, "resolution": 0.01} | ({"tooth": tooth} if tooth else {})
        step = set_up(tmp_path, text + part(name, **read), saw).steps[1]
        named = {int(one) for one in re.findall(r"\d+", step.stand)}
        assert named == ({tooth} if tooth else {1, 21})


def test_an_insert_off_by_less_than_a_screw_can_be_turned_is_left(tmp_path):
    places = {"x": "-35 35 -35 35 -35 35 mm", "y": "-150 -150 0 0 150 150 mm"}
    screws = {"screw_x": "-40 40 40 -40 mm", "screw_y": "-150 -150 150 150 mm", "pitch": "1 mm"}
    how = {"graduation": "0.001 mm", "tolerance": "0.01 mm"}
    for height, state in (("0.02", "leave"), ("0.05", "move")):
        read = {"height": f"{' '.join([height] * 6)} mm"}
        step = set_up(tmp_path, part("insert", **places, **read, **screws, **how)).steps[0]
        assert (step.verdict, step.state) == ("out", state)
        assert bool(re.search(r"a sixteenth of a turn", " ".join(step.do))) is (state == "move")
