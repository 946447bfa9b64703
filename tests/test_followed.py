"""A saw set up by doing what its set-up says, on the simulated saw of `rigid_saw.py`.

What is asked for is done in the order in which it is printed, from the result's data, and a part
is read again where that is asked. What is then left is the simulation's, not bladegeom's.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from rigid_body import planes_meet
from rigid_saw import TO_BACK, UPWARD, RigidSaw
from saw_files import (
    BLADE,
    blade_table,
    flip_part,
    mm,
    part,
    round_part,
    set_up,
    slots_part,
    states_of,
    steps_of,
)
from test_corrections import PER_SIDE, SIDES, toe_in_deg

import bladegeom as bg
from bladegeom.saw.bench import state_of

ALONG = np.linspace(-300.0, 300.0, 7)
PARTS = ("slots", "table", "miter_gauge", "riving_knife", "fence")
TOLERANCE = 0.02
"""Of every part, degrees."""


def askew(**faults) -> RigidSaw:
    """A saw with a blade that wobbles more than any part may be off."""
    return RigidSaw(**({"plate_tilt_deg": 0.1, "near_deg": 77.0, "numbered": "clockwise"} | faults))


def leaning(lean: float, side: str) -> dict[str, object]:
    """What shows a lean in degrees, above 0 toward a side of the blade."""
    toward = side if lean > 0 else "left" if side == "right" else "right"
    return {"shows": round(abs(lean), 6), "toward": toward}


class Bench:
    """A simulated saw, and the person who reads it and does what is asked.

    `rides` is the side of the blade on which the indicator rides in a slot.
    """

    def __init__(
        self, saw, tmp_path, rides="left", tilts="left", moved="table", pivot="front"
    ) -> None:
        self.saw, self.path = saw, tmp_path / "saw.toml"
        self.rides, self.tilts, self.moved, self.pivot = rides, tilts, moved, pivot
        blade_table(saw, tmp_path / "blade.csv")
        fit = bg.fit_wobble(bg.read_blade(tmp_path / "blade.csv"))
        self.first = bg.neutral_line(fit).neutral[0].tooth

    def read(self, parts=PARTS, shown=None):
        """Read the parts and return what the set-up says of them."""
        saw, sign = self.saw, PER_SIDE[self.saw.side]
        top, level = saw.turned(self.first, "top"), saw.turned(self.first, "front")
        knife = saw.knife_toe_deg - saw.set_knife(level, top).knife_toe_deg
        shows = {
            "table": saw.square_lean_deg(top),
            "miter_gauge": -sign * saw.gauge_against_plate_deg(level),
            "riving_knife": knife,
        }
        how = {"tolerance": f"{TOLERANCE} deg", "moved": self.moved, "pivot": self.pivot}
        fence = {"along": f"{' '.join(map(str, ALONG))} mm", "graduation": "0.0001 mm"}
        fence |= {"readings": mm(*saw.fence_readings_mm(ALONG)), "tolerance": f"{TOLERANCE} deg"}
        texts = {
            "slots": slots_part(saw, self.first, side=self.rides, times=3, lever="400 mm", **how),
            "fence": part("fence", side="right" if saw.fence_mm > 0 else "left", **fence),
        } | {
            name: part(name, **leaning(one, saw.side), resolution=0.0001, tolerance=TOLERANCE)
            for name, one in shows.items()
        }
        text = part("saw", tilts=self.tilts) + BLADE
        text += "".join(texts[name] for name in PARTS if name in parts) + (shown or "")
        self.path.write_text(text, "utf-8")
        return bg.set_up(self.path)

    def move(self, name, held):
        """Do on the saw what a step's numbers ask for."""
        saw, sign = self.saw, PER_SIDE[self.saw.side]
        if name == "slots":
            way = 1 if self.pivot == "front" else -1
            places = {"pivot_y_mm": -200.0 * way, "lever_y_mm": 200.0 * way}
            turn = saw.turn_table if held["moved"] == "table" else saw.turn_trunnion
            # Positive the way in which the indicator points.
            self.saw = turn(-PER_SIDE[self.rides] * held["move"], **places)
        elif name == "fence":
            outward = math.copysign(1.0, saw.fence_mm) * held["toe_over"]
            self.saw = saw.turn_fence(outward, pivot_y_mm=ALONG[0], lever_y_mm=ALONG[-1])
        elif name in ("table", "bevel"):
            tilt = saw.tilt_to_right_deg - sign * held["off_deg"]
            self.saw = replace(saw, tilt_to_right_deg=tilt)
        elif name == "miter_gauge":
            self.saw = replace(saw, gauge_deg=saw.gauge_deg + sign * held["to_slot_deg"])
        else:
            self.saw = replace(saw, knife_toe_deg=saw.knife_toe_deg - held["off_deg"])

    def fence_to_blade(self):
        return toe_in_deg(self.saw, planes_meet(self.saw.cut_plane().normal, UPWARD, TO_BACK))

    def errors(self):
        """What each part is off by: gauge and fence against the slot, beside which they stay."""
        return {
            "slots": abs(self.saw.slot_error_deg()),
            "table": abs(self.saw.tilt_to_right_deg),
            "miter_gauge": abs(self.saw.gauge_error_deg()),
            "riving_knife": abs(self.saw.knife_toe_deg),
            "fence": abs(self.saw.fence_deg),
        }

    def follow(self, parts=PARTS):
        """Go through a whole card, then read what is to be read again, until nothing is asked."""
        asked = []
        for _ in range(4):
            said = self.read(parts)
            steps = [(step.part, step.to_dict()) for step in said.steps]
            if all(held["state"] in ("leave", None) for _, held in steps):
                return asked
            for name, held in steps:
                asked.append((name, held["state"]))
                if held["state"] == "move":
                    before, fence = self.errors(), abs(self.fence_to_blade())
                    self.move(name, held["result"])
                    after = self.errors()
                    if name == "fence":
                        assert abs(self.fence_to_blade()) < 0.1 * fence
                    else:
                        assert after[name] < 0.1 * before[name]
                    for other in set(after) - {name}:
                        assert after[other] < before[other] + 1e-3, (name, other)
        raise AssertionError(f"it never ends: {asked}")


signs = pytest.mark.parametrize("sign", [-1, 1])
sides = pytest.mark.parametrize("side", SIDES)
rides = pytest.mark.parametrize("rides", SIDES)


@signs
@sides
@rides
@pytest.mark.parametrize("fence_side", SIDES)
def test_a_saw_is_brought_true_and_no_error_grows(tmp_path, sign, side, rides, fence_side):
    moved, pivot = ("table", "front") if side == rides else ("trunnion", "back")
    saw = askew(
        side=side,
        slot_deg=sign * 0.08,
        arbor_deg=0.01,
        tilt_to_right_deg=-sign * 0.15,
        gauge_deg=0.05,
        knife_toe_deg=sign * 0.2,
        fence_mm=PER_SIDE[fence_side] * 150.0,
    )
    bench = Bench(saw, tmp_path, rides, "left", moved, pivot)
    asked = bench.follow()
    # The fence stands along the slot, so that truing the slots is all that it needs.
    assert [state for name, state in asked if name == "fence"] == ["wait"]
    assert max(bench.errors().values()) < TOLERANCE / 4
    assert abs(bench.fence_to_blade()) < TOLERANCE / 4


@signs
@pytest.mark.parametrize("fence_side", SIDES)
def test_every_move_that_is_printed_made_once_leaves_the_fence_true(tmp_path, sign, fence_side):
    saw = askew(slot_deg=sign * 0.08, fence_mm=PER_SIDE[fence_side] * 150.0)
    bench = Bench(saw, tmp_path)
    for step in bench.read(("slots", "fence")).steps:
        words = " ".join(step.do)
        if slots := re.search(r"move the \w+ of the table ([\d.]+) mm to the (left|right)", words):
            to_right = PER_SIDE[slots[2]] * float(slots[1])
            bench.saw = bench.saw.turn_table(to_right, pivot_y_mm=-200.0, lever_y_mm=200.0)
        if fence := re.search(r"fence (away from|toward) the blade by ([\d.]+) mm", words):
            outward = PER_SIDE[fence_side] * float(fence[2]) * (1 if "away" in fence[1] else -1)
            bench.saw = bench.saw.turn_fence(outward, pivot_y_mm=ALONG[0], lever_y_mm=ALONG[-1])
    assert abs(bench.saw.slot_error_deg()) < TOLERANCE / 4
    assert abs(bench.fence_to_blade()) < TOLERANCE / 4


@signs
@pytest.mark.parametrize("toe", [-0.3, 0.3])
def test_a_fence_that_is_out_too_is_moved_once_after_the_slots(tmp_path, sign, toe):
    bench = Bench(askew(slot_deg=sign * 0.08, fence_deg=toe), tmp_path)
    asked = [state for name, state in bench.follow() if name == "fence"]
    assert asked == ["wait", "move"]
    assert -TOLERANCE / 4 < bench.fence_to_blade() < TOLERANCE / 4


@signs
@pytest.mark.parametrize("fence_side", SIDES)
def test_a_fence_beside_slots_that_stay_is_judged_against_the_blade(tmp_path, sign, fence_side):
    # Slots off by three quarters of their tolerance stay; the fence stands along them.
    saw = askew(slot_deg=sign * 0.015, fence_mm=PER_SIDE[fence_side] * 150.0)
    bench = Bench(saw, tmp_path)
    said = steps_of(bench.read())
    true = bench.fence_to_blade()
    slots, fence = said["slots"], said["fence"]
    held = fence.to_dict()["result"]
    assert (slots.state, slots.verdict, fence.verdict) == ("leave", "within", "within")
    assert held["toe_to_blade_deg"] == pytest.approx(true, abs=1e-3)
    assert held["toe_deg"] == pytest.approx(0.0, abs=1e-4)
    assert fence.result.judged.u > fence.result.toe.u  # The slots' doubt is in it.
    # A toe-in is opened though it is within the tolerance; a toe-out may stay.
    assert fence.state == ("move" if true > 0 else "leave")
    bench.follow()
    assert -TOLERANCE < bench.fence_to_blade() < 1e-3


def test_a_toe_in_that_cannot_be_excluded_is_told(tmp_path):
    fence = steps_of(Bench(askew(), tmp_path).read())["fence"]
    assert (fence.verdict, fence.state) == ("within", "leave")
    assert fence.result.judged.high > 0
    # The most that it may toe in by is named.
    told = fence.result.read_length * math.tan(math.radians(fence.result.judged.high))
    assert any(
        float(one) == pytest.approx(told, rel=0.1) for one in re.findall(r"\d+\.\d+", fence.do[0])
    )


def test_what_waits_carries_no_verdict_and_no_correction_in_its_data(tmp_path):
    said = Bench(askew(slot_deg=0.08), tmp_path).read()
    fence = steps_of(said)["fence"].to_dict()
    assert (fence["state"], fence["verdict"], fence["result"]["verdict"]) == ("wait", None, None)
    held = said.to_dict()["steps"]
    for step in held:
        assert bool(step["result"]["correction"]) is (step["state"] == "move"), step["step"]
    assert {step["state"] for step in held} == {"move", "wait", "leave"}
    assert said.to_dict()["now"] == said.steps[0].title == "Slots"
    assert said.now is said.steps[0]


@signs
@sides
@pytest.mark.parametrize("tilts", SIDES)
@pytest.mark.parametrize("bevel", [0.0, 22.5, 45.0])
def test_a_tilt_goes_the_way_the_words_say(tmp_path, sign, side, tilts, bevel):
    saw = askew(side=side, arbor_depth_mm=60.0)
    target = bevel * (1.0 if tilts == side else -1.0)
    top = saw.turned(Bench(saw, tmp_path).first, "top")
    bench = Bench(saw.set_tilt(top, target, error_deg=sign * 0.3), tmp_path, tilts=tilts)
    name, asked = ("bevel", ()) if bevel else ("table", ("table",))
    shown = round(abs(bench.saw.square_lean_deg(top)), 6)
    read = {"angle": bevel, "shows": shown, "resolution": 0.001, "tolerance": 0.05}
    read["from"] = "upright"
    said = bench.read(asked, part("[bevel]", **read) if bevel else None)
    step = steps_of(said)[name]
    assert (step.verdict, step.state) == ("out", "move")
    assert said.now is step

    def lean(one):
        return one.cut_lean_deg(10.0) - target

    before = lean(bench.saw)
    by_words = re.search(r"to the (left|right) .*? by ([\d.]+) deg", step.do[0])
    way = PER_SIDE[by_words[1]]
    words = replace(
        bench.saw, tilt_to_right_deg=bench.saw.tilt_to_right_deg + way * float(by_words[2])
    )
    bench.move(name, step.to_dict()["result"])
    assert abs(before) > 0.2
    assert abs(lean(bench.saw)) < 0.01
    assert abs(lean(words)) < 0.01
    # Away from the side to which the saw tilts, an upright blade meets its stop.
    if not bevel:
        assert ("Back off the upright stop first" in step.do[0]) is (by_words[1] != tilts)
        if by_words[1] != tilts:  # Before the tilt, and why.
            said = step.do[0]
            assert said.index(f"tilts {tilts}") < said.index("Tilt the top")
    # The same lean is told in what was found: the blade's top stands where it is moved from.
    leans = next(line for line in step.found if "leans" in line)
    if bevel:
        assert ("past the bevel" in leans) is (by_words[1] != tilts)
    else:
        assert f"to the {'left' if way > 0 else 'right'} " in leans


@sides
@signs
def test_gauge_and_knife_go_the_way_the_words_say(tmp_path, side, sign):
    bench = Bench(askew(side=side, gauge_deg=sign * 0.2, knife_toe_deg=-sign * 0.3), tmp_path)
    said = steps_of(bench.read())
    gauge = re.search(
        r"the (left|right) end .*? (away from|toward) you by ([\d.]+)", said["miter_gauge"].do[0]
    )
    # Seen from above, the left end comes toward the operator as the face turns anticlockwise.
    turn = float(gauge[3]) * (1 if (gauge[1] == "left") == (gauge[2] == "toward") else -1)
    assert bench.saw.gauge_deg + turn == pytest.approx(0.0, abs=2e-3)
    knife = re.search(r"to the (left|right) .*? by ([\d.]+)", said["riving_knife"].do[0])
    toward = float(knife[2]) * (1 if knife[1] == side else -1)
    assert bench.saw.knife_toe_deg + toward == pytest.approx(0.0, abs=2e-3)


@signs
@sides
@rides
def test_a_gauge_square_to_the_plate_is_out_by_what_the_slots_are(tmp_path, sign, side, rides):
    saw = askew(side=side, slot_deg=sign * 0.08)
    first = Bench(saw, tmp_path).first
    saw = saw.set_gauge(saw.turned(first, "front"))
    bench = Bench(saw, tmp_path, rides)
    gauge = steps_of(bench.read())["miter_gauge"]
    held = gauge.to_dict()["result"]
    assert held["shown_deg"] == pytest.approx(0.0, abs=1e-6)
    assert abs(held["off_deg"]) < 0.01  # What is left at the marked tooth.
    assert held["to_slot_deg"] == pytest.approx(-PER_SIDE[side] * saw.gauge_deg, abs=1e-3)
    assert abs(held["to_slot_deg"]) == pytest.approx(0.08, abs=0.01)
    assert gauge.verdict == "out"
    # What it says of the corner is what a board cut round shows.
    cut = saw.round_test(4, kept=side)
    corner = math.degrees(math.atan((cut.cut_first_mm - cut.cut_last_mm) / cut.length_mm)) / 4
    assert -held["to_slot_deg"] == pytest.approx(corner, abs=1e-3)


def test_an_unread_part_gets_no_finding_and_no_verdict(tmp_path):
    text = part("miter_gauge", tolerance=0.03, resolution=0.02) + part(
        "riving_knife", tolerance=0.05
    )
    said = Bench(askew(slot_deg=0.08), tmp_path).read(("slots",), text)
    assert [step.part for step in said.steps] == ["slots", "not_read"]
    assert [step.verdict for step in said.steps] == ["out", None]
    held = said.steps[-1].to_dict()
    assert (held["state"], held["result"]) == (None, None)
    # The teeth to stand up for all of them stay, the marked line's.
    teeth = {str(tooth) for tooth in said.to_dict()["neutral_teeth"]}
    assert teeth <= set(re.findall(r"\d+", " ".join(held["found"])))
    # What the slots are out by, a gauge that is set by the plate would be out by too.
    assert re.search(r"\b0\.08", " ".join(said.steps[-1].remarks))
    # And nothing is predicted from what was not read.
    assert said.test_cut is None


def test_a_gauge_beside_slots_that_were_not_read_is_not_judged(tmp_path):
    gauge = Bench(askew(), tmp_path).read(("miter_gauge",)).steps[0]
    assert (gauge.part, gauge.verdict, gauge.state) == ("miter_gauge", None, "read again")
    assert gauge.to_dict()["result"]["to_slot_deg"] is None


def slots_read(front, back, **said):
    said = said or {"indicator": "left", "graduation": "0.01 mm", "tolerance": "0.03 mm"}
    return part("slots", front=front, back=back, separation="150 mm", **said)


@pytest.mark.parametrize(
    ("front", "back", "state"),
    [
        ("1.00 mm", "1.03 mm", "read again"),
        ("1.00 1.01 0.99 mm", "1.03 1.02 1.04 mm", "read again"),
        ("1.00 1.05 mm", "1.03 1.02 mm", "read again"),
        ("1.00 1.00 1.00 mm", "1.00 1.00 1.00 mm", "leave"),
        ("1.00 1.00 1.00 mm", "1.20 1.20 1.21 mm", "move"),
    ],
)
def test_where_the_slots_cannot_be_told_the_rest_still_gets_its_move(tmp_path, front, back, state):
    saw = askew(tilt_to_right_deg=0.2, knife_toe_deg=0.2, fence_deg=0.3)
    asked = ("table", "riving_knife", "fence")
    said = Bench(saw, tmp_path).read(asked, slots_read(front, back))
    states = states_of(said)
    assert states["slots"] == state
    assert states["fence"] == ("move" if state == "leave" else "wait")
    assert (states["table"], states["riving_knife"]) == ("move", "move")
    assert said.now.part == ("table" if state == "leave" else "slots")
    if state == "read again":
        # So many readings that scatter alike tell what to do.
        often = int(re.search(r"(\d+) times", said.now.do[0])[1])
        more = (f"{one.removesuffix(' mm')} " * often for one in (front, back))
        text = slots_read(*(f"{' '.join(one.split()[:often])} mm" for one in more))
        again = Bench(saw, tmp_path).read((), text).steps[0]
        assert again.state != "read again"
        assert said.now.read_again == ("slots.front", "slots.back")


def test_a_gauge_waits_where_only_the_doubt_of_the_slots_hides_its_error(tmp_path):
    text = slots_read("1.00 1.05 mm", "1.03 1.02 mm")
    gauge = steps_of(Bench(askew(), tmp_path).read(("miter_gauge",), text))["miter_gauge"]
    assert (gauge.verdict, gauge.state) == ("cannot tell", "wait")


@pytest.mark.parametrize(
    ("value", "u", "tolerance", "state"),
    [
        (1.0, 0.1, 0.5, "move"),
        (0.3, 0.1, 0.6, "leave"),
        (0.3, 0.1, 0.4, "read again"),  # It may be off by less than is left after a move.
        (0.5, 0.1, 0.4, "move"),  # Whether it is out cannot be told, but it is moved nearer.
        (0.3, 0.1, None, "move"),
        (0.1, 0.1, None, "leave"),
        (9.0, math.nan, None, "read again"),
        (9.0, math.nan, 0.1, "read again"),
    ],
)
def test_a_part_is_moved_only_where_that_brings_it_nearer(value, u, tolerance, state):
    for sign in (-1, 1):
        off = bg.Estimate(sign * value, u)
        assert state_of(off, None if tolerance is None else off.verdict(tolerance)) == state


def test_slots_read_once_without_a_graduation_are_not_moved(tmp_path):
    text = slots_read("1.0 mm", "1.2 mm", indicator="left")
    assert Bench(askew(), tmp_path).read((), text).steps[0].state == "read again"


def test_a_fence_on_an_unstated_side_is_not_judged_against_the_blade(tmp_path):
    fence = Bench(askew(), tmp_path)
    fence.read()
    text = re.sub(r'side = "right"\n', "", fence.path.read_text("utf-8"))
    fence.path.write_text(text, "utf-8")
    step = steps_of(bg.set_up(fence.path))["fence"]
    assert (step.verdict, step.state) == (None, "read again")


@pytest.mark.parametrize(("angle", "predicted"), [(0, 1), (45, 0)])
def test_a_corner_is_predicted_from_the_gauge_at_its_own_angle_only(tmp_path, angle, predicted):
    saw = askew()
    text = part("miter_gauge", shows=0, resolution=0.01, angle=angle)
    said = Bench(saw, tmp_path).read(("slots",), text + round_part(saw.round_test(4)))
    assert (said.test_cut is not None) is bool(predicted)


@signs
def test_an_error_seen_in_the_part_and_in_its_test_cut_is_corrected_once(tmp_path, sign):
    saw = askew(tilt_to_right_deg=sign * 0.3, gauge_deg=sign * 0.3)
    bench = Bench(saw, tmp_path)
    cut = saw.round_test(4)
    text = flip_part(saw.flip_gap_mm(25.0), 25.0, "left") + round_part(cut)
    text += round_part(cut, "[stop]", name="square", tolerance=0.01)
    said = bench.read(("slots", "table", "miter_gauge"), text)
    states = states_of(said)
    assert states["table"] == states["miter_gauge"] == "move"
    assert states["test_cut.flip"] == states["test_cut.round"] == states["stop"] == "wait"
    # Where the part itself was not read, the cut's own move is made, and once.
    states = states_of(bench.read(("slots",), text))
    assert (states["test_cut.flip"], states["stop"]) == ("move", "move")
    assert states["test_cut.round"] == "wait"


def test_a_test_cut_that_does_not_agree_comes_before_every_move(tmp_path):
    saw = askew(tilt_to_right_deg=0.3)
    text = flip_part(-saw.flip_gap_mm(25.0), 25.0, "left")
    said = Bench(saw, tmp_path).read(("slots", "table"), text)
    assert said.test_cut.verdict.startswith("do not agree")
    assert said.now.part == "test_cut"


def test_a_blade_without_a_wobble_does_not_hide_what_the_square_showed(tmp_path):
    blade_table(RigidSaw(tilt_to_right_deg=0.5), tmp_path / "blade.csv", noise=0.01)
    for shows, verdict, state in ((0.5, "out", "move"), (0.0, "within", "leave")):
        read = part("table", resolution=0.02, tolerance=0.1, shows=shows, toward="left")
        said = set_up(tmp_path, BLADE + read)
        assert not said.fit.resolved
        assert (said.steps[0].verdict, said.steps[0].state) == (verdict, state)
