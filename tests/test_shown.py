"""What people read at a saw, on the simulated one of `rigid_saw.py`: does the move mend the error?

Every instrument is held to the saw on both sides of the blade, for both sides of the indicator,
both numberings of the teeth and both signs of the error. What is then left is the simulation's.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from rigid_saw import RigidSaw
from saw_files import BLADE, blade_table, faults, mm, part, set_up, slots_part, steps_of
from test_corrections import PER_SIDE, SIDES
from written import run

import bladegeom as bg
from bladegeom.saw._saw_file import PARTS
from bladegeom.saw.shown import KEYS

STEP_DEG, STEP_MM = 0.005, 0.005
OTHER = {"left": "right", "right": "left"}

signs = pytest.mark.parametrize("sign", [-1, 1])
sides = pytest.mark.parametrize("side", SIDES)
stands = pytest.mark.parametrize("stands", SIDES)
ways = pytest.mark.parametrize("numbered", ["clockwise", "counterclockwise"])
teeth = pytest.mark.parametrize("marked", [True, False], ids=["marked", "other tooth"])


@cache
def fit_of(side, numbered, tilt_deg=0.15):
    """The wobble of a simulated saw's blade as its indicator reads it."""
    saw = RigidSaw(side=side, numbered=numbered, plate_tilt_deg=tilt_deg, near_deg=77.0)
    blade = bg.Blade(40, diameter="254 mm", numbered=numbered)
    noise = 1e-4 * np.random.default_rng(3).standard_normal(40)
    how = {"unit": "mm", "ring_radius": "110 mm", "graduation": "0.0001 mm", "side": side}
    return saw, bg.fit_wobble(bg.Readings(blade, saw.wobble_readings_mm(110.0) + noise, **how))


def tooth_of(fit, marked):
    """The tooth that stands up or in front: a marked one, or one where the wobble leans most."""
    line = bg.neutral_line(fit)
    return line.neutral[0].tooth if marked else line.near.tooth


def gap_of(wide, ends, side, **over):
    """A gap as a feeler finds it; `wide` is above 0 where it opens at the first of the ends."""
    gap = f"{round(abs(wide) / STEP_MM) * STEP_MM:.4f} mm"
    said = {"gap": gap, "open": ends[0 if wide > 0 else 1], "side": side}
    return said | over | {"graduation": f"{STEP_MM} mm"}


def shows_of(degrees, **said):
    return said | {"shows": round(degrees / STEP_DEG) * STEP_DEG, "resolution": STEP_DEG}


def held(setting, before, by_number, by_words):
    """The error was far out, and is within the doubt once the move is made."""
    off = setting.read.judged
    assert abs(before) > 10 * off.reach
    assert abs(by_number) <= off.reach + 1e-3
    # Words are no finer than a hand can set.
    assert abs(by_words) <= off.reach + 0.006


def tilted(saw, setting):
    """Tilt by the number, and by the words."""
    way = re.search(
        r"Tilt the top of the blade to the (left|right) .*? by ([\d.]+) deg, ([\d.]+) mm over "
        r"([\d.]+) mm",
        setting.correction,
    )
    by_number = -PER_SIDE[saw.side] * setting.off_deg
    by_words = PER_SIDE[way[1]] * float(way[2])
    over = math.degrees(math.atan(float(way[3]) / float(way[4])))
    assert over == pytest.approx(float(way[2]), abs=0.012)
    return [
        replace(saw, tilt_to_right_deg=saw.tilt_to_right_deg + by) for by in (by_number, by_words)
    ]


@signs
@sides
@stands
@ways
@teeth
@pytest.mark.parametrize("by", ["square", "lean", "box", "unfolded box", "second look"])
def test_an_upright_blade(sign, side, stands, numbered, marked, by):
    saw, fit = fit_of(side, numbered)
    tooth = tooth_of(fit, marked)
    saw = replace(saw, tilt_to_right_deg=sign * 0.4)
    top = saw.turned(tooth, "top")
    lean = saw.square_lean_deg(top)  # Toward the indicator's side.
    toward = side if lean > 0 else OTHER[side]
    box = saw.box_turned_deg(top, stands)
    if by == "square":
        shown = gap_of(
            saw.square_gap_mm(top, stands, 90.0), ("top", "bottom"), stands, height="90 mm"
        )
    elif by == "lean":
        shown = shows_of(abs(lean), toward=toward)
    elif by == "second look":
        shown = shows_of(90 - abs(90 - box), toward=toward)
    elif by == "box" and box < 90:
        pytest.skip("it shows no more than one that folds")
    else:
        shown = shows_of(box, side=stands) | ({"folds": False} if by != "box" else {})
    setting = bg.setting_error(fit, "table", tooth=tooth, shown=shown)
    before = saw.cut_lean_deg(10.0)
    held(setting, before, *(one.cut_lean_deg(10.0) for one in tilted(saw, setting)))
    # The wobble's share at another tooth is taken out, and said.
    assert any("taken out" in line for line in setting.read.found) is not marked


@signs
@sides
@stands
@pytest.mark.parametrize("tilts", SIDES)
@teeth
@pytest.mark.parametrize("angle", [22.5, 45.0])
@pytest.mark.parametrize("by", ["square", "upright", "table"])
def test_a_bevel(sign, side, stands, tilts, marked, angle, by):
    saw, fit = fit_of(side, "clockwise")
    tooth = tooth_of(fit, marked)
    target = angle if tilts == side else -angle
    saw = replace(saw, arbor_depth_mm=60.0, tilt_to_right_deg=PER_SIDE[side] * target + sign * 0.4)
    top = saw.turned(tooth, "top")
    if by == "square":
        wide = saw.square_gap_mm(top, stands, 60.0, target)
        shown = gap_of(wide, ("top", "bottom"), stands, height="60 mm")
    else:
        lean = abs(saw.inclinometer_deg(top))
        shown = shows_of(lean if by == "upright" else 90 - lean) | {"from": by}
    setting = bg.setting_error(fit, "bevel", tooth=tooth, angle=angle, shown=shown, tilts=tilts)
    before = saw.cut_lean_deg(5.0) - target
    held(setting, before, *(one.cut_lean_deg(5.0) - target for one in tilted(saw, setting)))


def swung(saw, setting):
    """Swing the gauge by the number, and by the words."""
    way = re.search(
        r"Swing the (left|right) end of the gauge's fence (away from|toward) you by ([\d.]+) deg",
        setting.correction,
    )
    by_number = PER_SIDE[saw.side] * setting.to_slot_deg
    # Seen from above, the left end comes toward the operator as the face turns anticlockwise.
    by_words = float(way[3]) * (1 if (way[1] == "left") == (way[2] == "toward") else -1)
    return [replace(saw, gauge_deg=saw.gauge_deg + by) for by in (by_number, by_words)]


@signs
@sides
@stands
@pytest.mark.parametrize("rides", SIDES)
@teeth
@pytest.mark.parametrize("target", [0.0, 45.0, -30.0])
@pytest.mark.parametrize("against", ["bar", "plate"])
@pytest.mark.parametrize("by", ["square", "corner"])
def test_a_miter_gauge_gives_the_board_its_corner(
    sign, side, stands, rides, marked, target, against, by
):
    saw, fit = fit_of(side, "counterclockwise")
    tooth = tooth_of(fit, marked)
    saw = replace(saw, gauge_deg=target + sign * 0.5, arbor_deg=0.03, slot_deg=-0.05 * sign)
    line = saw.turned(tooth, "front") if against == "plate" else None
    if by == "square":
        wide = saw.gauge_gap_mm(line, stands, 150.0, target)
        shown = gap_of(wide, ("front", "back"), stands, length="150 mm")
    else:
        shown = shows_of(saw.gauge_corner_deg(line, stands), side=stands)
    slots = slots_of(saw, rides)
    setting = bg.setting_error(
        fit,
        "miter_gauge",
        tooth=tooth,
        angle=abs(target),
        shown=shown | {"against": against},
        slots=slots if against == "plate" else None,
    )
    after = [one.gauge_error_deg(target) for one in swung(saw, setting)]
    held(setting, saw.gauge_error_deg(target), *after)
    # The words name the board whose corner is wide: what is cut on that side.
    wide = re.search(r"a board (left|right) of the blade gets corners too wide", str(setting))[1]
    assert saw.corner_deg(wide) > replace(saw, gauge_deg=target).corner_deg(wide)


@cache
def slots_of(saw, rides):
    front, back = (saw.slot_reading_mm(9, at, 150.0, side=rides) for at in ("front", "back"))
    read = {"front": mm(front), "back": mm(back), "separation": "150 mm"}
    return bg.slot_alignment(**read, graduation="0.0001 mm", side=rides)


@signs
@sides
@stands
@pytest.mark.parametrize("rides", SIDES)
@teeth
@pytest.mark.parametrize("by", ["straightedge", "dial"])
def test_a_riving_knife(sign, side, stands, rides, marked, by):
    saw, fit = fit_of(side, "clockwise")
    tooth = tooth_of(fit, marked)
    saw = replace(saw, knife_toe_deg=sign * 0.5, arbor_deg=0.08, slot_deg=-0.05 * sign)
    if by == "straightedge":
        wide = -saw.knife_gap_mm(saw.turned(tooth, "front"), stands, 120.0)
        shown = gap_of(wide, ("front", "back"), stands, length="120 mm")
    else:
        front, back = (
            f"{round(saw.knife_reading_mm(at, 60.0, stands) / STEP_MM) * STEP_MM:.4f} mm"
            for at in ("front", "back")
        )
        shown = {"front": front, "back": back, "separation": "60 mm", "side": stands}
        shown["graduation"] = f"{STEP_MM} mm"
    slots = slots_of(saw, rides)
    setting = bg.setting_error(fit, "riving_knife", tooth=tooth, shown=shown, slots=slots)
    way = re.search(r"knife to the (left|right) .*? by ([\d.]+) deg", setting.correction)
    words = float(way[2]) * (1 if way[1] == side else -1)
    after = [saw.knife_toe_deg + by for by in (-setting.off_deg, words)]
    held(setting, saw.knife_toe_deg, *after)


# ------------------------------------------------------------------------------------ the doubt


def reach(shown, use="table", **how):
    return bg.setting_error(fit_of("left", "clockwise")[1], use, shown=shown, **how)


def test_step_and_accuracy_are_in_the_doubt():
    # By hand: one reading repeats to 0.7 steps, by caution; the accuracy is a rectangle.
    plain = reach({"shows": 0, "resolution": 0.1}).off_u_deg
    stated = reach({"shows": 0, "resolution": 0.1, "accuracy": "0.2 deg"}).off_u_deg
    assert plain == pytest.approx(0.07, rel=0.01)
    assert stated == pytest.approx(math.hypot(0.07, 0.2 / math.sqrt(3)), rel=0.01)
    square = {"gap": "0.2 mm", "open": "top", "height": "100 mm", "side": "left"}
    square["graduation"] = "0.05 mm"
    step = math.degrees(0.7 * 0.05 / 100)
    assert reach(square).off_u_deg == pytest.approx(step, rel=0.01)
    accuracy = math.degrees(0.03 / math.sqrt(3) / 100)
    for accurate in ("0.03 mm", (0.03, "mm")):
        told = reach(square | {"accuracy": accurate})
        assert told.off_u_deg == pytest.approx(math.hypot(step, accuracy), rel=0.01)
        assert "not stated" not in told.read.shown.words
    assert "not stated" in reach(square).read.shown.words


def test_where_another_tooth_stood_up_its_share_is_taken_out_to_the_number():
    saw, fit = fit_of("left", "clockwise")
    near = bg.neutral_line(fit).near.tooth
    lean = saw.square_lean_deg(saw.turned(near, "top"))
    shown = {"shows": lean, "toward": "left", "resolution": 0.001}
    told = bg.setting_error(fit, "table", tooth=near, shown=shown)
    assert lean == pytest.approx(0.15, abs=0.001)
    assert told.off_deg == pytest.approx(0.0, abs=0.001)
    ignored = bg.setting_error(fit, "table", shown=shown)
    assert ignored.off_deg > 0.13


@pytest.mark.parametrize(("off", "moved"), [(0.009, False), (0.011, True)])
def test_what_is_finer_than_a_hand_can_set_is_left(tmp_path, off, moved):
    saw, _ = fit_of("left", "clockwise")
    text = part("table", shows=off, toward="left", resolution=0.0001, accuracy=0.0)
    blade_table(replace(saw, plate_tilt_deg=0.0), tmp_path / "blade.csv", noise=1e-5)
    text = part("table", shows=off, toward="left", resolution=0.0001, accuracy=0)
    (table,) = (step for step in set_up(tmp_path, BLADE + text).steps if step.part == "table")
    assert table.state == ("move" if moved else "leave")
    # A gap below a hundredth of a millimetre is as small.
    text = part("table", gap="0.009 mm", open="top", height="20 mm", side="left", accuracy=0)
    text += 'graduation = "0.0001 mm"\n'
    (table,) = (step for step in set_up(tmp_path, BLADE + text).steps if step.part == "table")
    assert table.result.off_deg == pytest.approx(-0.0258, abs=0.001)
    assert table.state == "leave"


@sides
def test_no_number_has_a_sign_or_more_digits_than_a_hand_can_set(tmp_path, side):
    saw = RigidSaw(side=side, plate_tilt_deg=0.1, near_deg=77.0, slot_deg=0.02)
    for lean in (0.0, 0.1234):
        how = {"resolution": 0.0001, "toward": "left"}
        text = BLADE + slots_part(saw, 9, side="left") + part("table", shows=lean, **how)
        text += part("[bevel]", angle=30, shows=30 + lean, resolution=0.001, **{"from": "upright"})
        text += part("miter_gauge", shows=lean, **how) + part("riving_knife", shows=lean, **how)
        said = set_up(tmp_path, part("saw", tilts="left") + text, saw)
        for step in said.steps[1:]:
            words = " ".join(line for line in (*step.found, *step.do) if "shown" not in line)
            assert not re.search(r"-\d", words)
            assert not re.search(r"\d\.\d{3,} deg", words)
            assert not re.search(r"\d\.\d{3,} mm", words)


def test_file_and_argument_say_the_same(tmp_path):
    saw, fit = fit_of("left", "clockwise")
    shown = {"gap": "0.4 mm", "open": "bottom", "height": "100 mm", "side": "right"}
    shown |= {"graduation": "0.05 mm", "accuracy": "0.02 mm"}
    how = {"tooth": 7, "span": "20 mm", "tolerance": 0.1}
    text = BLADE + part("table", **shown, **how)
    table = steps_of(set_up(tmp_path, text, saw))["table"].to_dict()["result"]
    fit = bg.fit_wobble(bg.read_blade(tmp_path / "blade.csv"))
    assert bg.setting_error(fit, "table", shown=shown, **how).to_dict() == table


def test_a_gauge_read_against_its_bar_needs_neither_slots_nor_marks(tmp_path):
    saw, _ = fit_of("left", "clockwise")
    text = BLADE + part(
        "miter_gauge", against="bar", shows=90.2, side="right", resolution=0.01, tolerance=0.05
    )
    gauge = steps_of(set_up(tmp_path, text, saw))["miter_gauge"]
    assert (gauge.state, gauge.verdict, gauge.stand) == ("move", "out", "")
    assert gauge.result.to_slot_deg == pytest.approx(-0.2)
    assert gauge.result.off_deg is None


def test_a_knife_read_from_a_slot_waits_for_the_slots(tmp_path):
    saw, _ = fit_of("left", "clockwise")
    text = BLADE + part(
        "riving_knife",
        front="0.10 mm",
        back="0.50 mm",
        separation="60 mm",
        side="right",
        graduation="0.01 mm",
    )
    knife = steps_of(set_up(tmp_path, text, saw))["riving_knife"]
    assert (knife.state, knife.verdict) == ("read again", None)
    assert "[slots]" in knife.do[0]
    read = BLADE + slots_part(saw, 9, side="left") + text.removeprefix(BLADE)
    assert steps_of(set_up(tmp_path, read, saw))["riving_knife"].state == "move"


# ------------------------------------------------------------------------- what cannot be answered


@pytest.mark.parametrize(
    ("name", "read", "column", "cure"),
    [
        ("table", {"shows": 45}, "shows", "bevel"),
        ("table", {"shows": 45, "side": "left"}, "shows", "bevel"),
        ("table", {"shows": 44.5, "toward": "left"}, "shows", "bevel"),
        ("table", {"shows": -0.15}, "shows", "toward"),
        ("table", {"shows": 0.15}, "shows", "toward"),
        ("table", {"shows": 0.15, "side": "left"}, "shows", "toward"),
        ("table", {"shows": 89.85}, "shows", "side"),
        ("table", {"shows": 89.85, "side": "left"}, "shows", "square"),
        (
            "table",
            {"shows": 89.85, "side": "left", "folds": True},
            "shows",
            "tilt the top",
        ),
        ("table", {"shows": 90.15, "side": "left", "folds": True}, "shows", "folds = false"),
        ("table", {"shows": 90.15, "side": "left", "toward": "right"}, "shows", "its own side"),
        ("table", {"shows": 190, "toward": "left"}, "shows", "0 to 180"),
        ("table", {"gap": "0.3 mm"}, "gap", "height"),
        ("table", {"gap": "0.3 mm", "height": "90 mm"}, "gap", "open"),
        ("table", {"gap": "0.3 mm", "height": "90 mm", "open": "top"}, "gap", "side"),
        ("table", {"gap": "-0.3 mm", "height": "90 mm"}, "gap", "above 0"),
        (
            "table",
            {"gap": "30 mm", "height": "90 mm", "open": "top", "side": "left"},
            "gap",
            "bevel",
        ),
        ("table", {"gap": "0 mm", "height": "90 mm", "shows": 0}, None, "one of gap"),
        ("table", {"height": "90 mm", "side": "left"}, None, "gap"),
        ("table", {"shows": 0, "open": "top"}, "open", "leave it out"),
        ("table", {"shows": 0, "accuracy": "0.1 mm"}, "accuracy", "degrees"),
        ("[bevel]", {"angle": 30, "shows": 30.1}, "shows", "from"),
        ("[bevel]", {"angle": 30, "shows": 59.9, "from": "upright"}, "shows", 'from = "table"'),
        ("[bevel]", {"angle": 30, "shows": 30.1, "from": "table"}, "shows", 'from = "upright"'),
        ("[bevel]", {"angle": 30, "shows": -30.1, "from": "upright"}, "shows", "30.1"),
        ("[bevel]", {"angle": 30, "shows": 30, "from": "table", "side": "left"}, "side", "leave"),
        ("miter_gauge", {"shows": 90.1}, "shows", "side"),
        ("miter_gauge", {"shows": 0.1}, "shows", "toward"),
        ("miter_gauge", {"shows": 89.9, "toward": "left"}, "shows", "side"),
        ("miter_gauge", {"angle": 45, "shows": 60, "side": "left"}, "shows", "check"),
        ("miter_gauge", {"gap": "0.3 mm", "side": "left", "open": "front"}, "gap", "length"),
        ("riving_knife", {"shows": 0.2}, "shows", "toward"),
        ("riving_knife", {"shows": 89.9, "toward": "left"}, "shows", "check"),
        ("riving_knife", {"front": "1 mm"}, "front", "back"),
        ("riving_knife", {"front": "1 mm", "back": "1 mm"}, "front", "slid"),
        (
            "riving_knife",
            {"front": "1 mm", "back": "1 mm", "separation": "60 mm"},
            "front",
            "side",
        ),
    ],
)
def test_what_is_impossible_or_missing_is_refused_by_name(tmp_path, name, read, column, cure):
    text = part("saw", tilts="left") + BLADE
    text += part(name, **read, **({"resolution": 0.05} if "shows" in read else {}))
    (fault,) = faults(tmp_path, text, fit_of("left", "clockwise")[0])
    assert cure in fault.cure
    assert fault.column == column
    rows = text.splitlines()
    assert fault.row is not None
    if column in read:
        assert rows[fault.row - 1].startswith(f"{column} =")
    assert name.strip("[]") in fault.problem


@pytest.mark.parametrize(
    ("column", "how"),
    [
        ("shown", {"shown": "gap"}),
        ("shown", {"shown": 0.3}),
        ("1", {"shown": {1: 2}}),
        ("folds", {"shown": {"shows": 90.1, "side": "left", "resolution": 0.1, "folds": "no"}}),
        ("slots", {"shown": {"shows": 0, "resolution": 0.1}, "slots": "true"}),
        ("tilts", {"tilts": "up"}),
        ("tolerance", {"tolerance": "some"}),
        ("angle", {"angle": "steep"}),
    ],
)
def test_arguments_of_the_wrong_kind_are_named(column, how):
    use = "bevel" if column == "angle" else "table"
    with pytest.raises(bg.RefusedError) as refused:
        bg.setting_error(fit_of("left", "clockwise")[1], use, **how)
    assert refused.value.faults[0].column == column


@pytest.mark.parametrize(
    ("name", "read"),
    [
        ("table", {"shows": 0}),
        ("table", {"shows": 90}),
        ("table", {"shows": 90, "side": "left"}),
        ("table", {"shows": 90.15, "side": "left"}),
        ("table", {"shows": 0.9, "toward": "right"}),
        ("table", {"gap": "0 mm", "height": "90 mm"}),
        ("[bevel]", {"angle": 45, "shows": 45.3, "from": "upright"}),
        ("[bevel]", {"angle": 44.9, "shows": 45.05, "from": "table"}),
        ("miter_gauge", {"angle": 1, "shows": 0.7, "toward": "left"}),
        ("miter_gauge", {"angle": 45, "shows": 45}),
        ("riving_knife", {"shows": 0}),
    ],
)
def test_what_makes_sense_is_taken(tmp_path, name, read):
    text = part("saw", tilts="left") + BLADE
    text += part(name, **read, **({"resolution": 0.05} if "shows" in read else {}))
    assert set_up(tmp_path, text, fit_of("left", "clockwise")[0]).steps


@signs
@pytest.mark.parametrize("tilts", SIDES)
@stands
def test_the_second_look_at_a_folding_display_tells_the_side(sign, tilts, stands):
    saw, fit = fit_of("left", "clockwise")
    top = saw.turned(tooth_of(fit, True), "top")
    leaning, more = (
        replace(saw, tilt_to_right_deg=sign * 0.5 + off) for off in (0, PER_SIDE[tilts] * 0.1)
    )
    first, second = (90 - abs(90 - one.box_turned_deg(top, stands)) for one in (leaning, more))
    with pytest.raises(bg.RefusedError) as refused:
        bg.setting_error(fit, "table", shown=shows_of(first, side=stands), tilts=tilts)
    cure = refused.value.faults[0].cure
    # It is tilted to the side to which the saw is free, and the number then falls or grows.
    assert re.search(r"tilt the top a little to the (\w+)", cure)[1] == tilts
    found = re.search(rf'{"falls" if second < first else "grows"}.*? toward = "(\w+)"', cure)
    assert PER_SIDE[found[1]] == sign


@pytest.mark.parametrize("lean", [0, 0.2])
def test_a_lean_to_a_side_needs_the_indicators(tmp_path, lean):
    blade_table(fit_of("left", "clockwise")[0], tmp_path / "blade.csv")
    table = tmp_path / "blade.csv"
    table.write_text(table.read_text("utf-8").replace(",left", ","), "utf-8")
    text = BLADE + part("table", shows=lean, toward="left", resolution=0.05)
    if lean:
        (fault,) = faults(tmp_path, text)
        assert "side" in fault.cure
    else:
        assert set_up(tmp_path, text).steps


def test_every_key_is_told_in_the_help_and_every_part_takes_it():
    told = run("setup", "--help").out
    for use, keys in KEYS.items():
        assert f"[{use}]" in told
        assert not {key for key in keys.split() if not re.search(rf"\b{key}\b", told)}
        assert set(keys.split()) <= PARTS[use].kinds.keys()
