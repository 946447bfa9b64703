"""A stranger's saw comes true by doing what its set-up says first, and reading again.

The saw is one of rigid bodies (`rigid_saw.py`), off in every part, and so is what happens to it:
nothing here shares a formula with bladegeom. Its owner reads it with scatter on graduated
instruments, writes the file, does the one thing to do now, from the words as printed or from the
numbers, reads again what is asked for into the entries that are named, and goes on until nothing
is left. Slots, table and knife are counted to the blade, gauge and fence to the slot.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from rigid_body import planes_meet
from rigid_saw import TO_BACK, UPWARD, RigidSaw, as_read
from saw_files import BLADE, blade_table, part
from simulated import rng_for
from test_corrections import PER_SIDE, SIDES, toe_in_deg, turns_in

import bladegeom as bg

SD, DIAL = 0.003, 0.01
"""How well the dial repeats, and its graduation, in mm."""

BOX_SD, BOX = 0.004, 0.02
"""The same of the angle box, in degrees."""

PITCH, SEPARATION, BOARD = 0.8, 150.0, 40.0
TOLERANCE = {"slots": 0.06, "fence": 0.15, "insert": 0.08, "shown": 0.08}
"""The tolerances in the file: of slots, fence and insert in mm, of all else in degrees."""

SLACK = {"insert": PITCH / 32}
"""By how much an error may seem to grow: what a hand cannot set finer; else 0.003 degrees."""


class Stranger:
    """A saw, its file, and the person between them."""

    def __init__(self, seed: int, folder, *, cuts: str, tight: float = 1.0) -> None:
        self.tolerance = {name: round(one * tight, 4) for name, one in TOLERANCE.items()}
        self.rng, self.path = rng_for(7000 + seed), folder / "saw.toml"
        rng = self.rng

        def off(least: float, most: float) -> float:
            return float(rng.choice([-1, 1]) * rng.uniform(least, most))

        self.rides, self.tilts, fence, blade_side = (str(one) for one in rng.choice(SIDES, 4))
        self.moved, self.pivot = str(rng.choice(["table", "trunnion"])), "front"
        self.pivot = str(rng.choice(["front", "back"]))
        self.screws = str(rng.choice(["table", "insert"]))
        saw = RigidSaw(
            side=blade_side,
            numbered=str(rng.choice(["clockwise", "counterclockwise"])),
            plate_tilt_deg=rng.uniform(0.03, 0.12),
            near_deg=rng.uniform(0, 360),
            arbor_deg=off(0.0, 0.05),
            slot_deg=off(0.04, 0.15),
            tilt_to_right_deg=off(0.1, 0.5),
            gauge_deg=off(0.1, 0.4),
            knife_toe_deg=off(0.1, 0.4),
            fence_deg=off(0.03, 0.3),
            fence_mm=PER_SIDE[fence] * 150.0,
            insert_heights_mm=tuple(rng.uniform(-0.4, 0.4) + np.array((0.1, -0.1, -0.15, 0.05))),
        )
        self.saw, self.cuts = saw, cuts
        blade_table(saw, folder / "blade.csv", noise=0.002)
        fit = bg.fit_wobble(bg.read_blade(folder / "blade.csv"))
        self.first = bg.neutral_line(fit).neutral[0].tooth
        self.often = {"slots": 4, "test_cut.flip": 4, "test_cut.round": 4}
        self.held: dict[str, dict[str, object]] = {}
        for name in self.parts:
            self.held[name] = self.read(name)
        self.before: dict[str, dict[str, object]] = {}

    @property
    def parts(self) -> list[str]:
        shown = ["table", "miter_gauge"] if self.cuts != "cut" else []
        cuts = ["test_cut.flip", "test_cut.round"] if self.cuts != "read" else []
        return ["slots", *shown, "riving_knife", "fence", "insert", *cuts]

    # ---------------------------------------------------------------- reading and writing

    def dial(self, exact: object) -> str:
        shown = as_read(np.atleast_1d(exact), SD, DIAL, self.rng)
        return f"{' '.join(f'{one:.2f}' for one in shown)} mm"

    def box(self, lean: float, times: int) -> dict[str, object]:
        """A lean toward the indicator's side, as the angle box shows it."""
        shown = as_read(np.full(times, lean), BOX_SD, BOX, self.rng)
        side = self.saw.side
        other = "left" if side == "right" else "right"
        read = " ".join(f"{abs(one):.2f}" for one in shown)
        return {"shows": f"{read} deg", "toward": side if shown.sum() > 0 else other}

    def read(self, name: str) -> dict[str, object]:
        """What is read of a part, by its keys in the file."""
        saw, times, sign = self.saw, self.often.get(name, 1), PER_SIDE[self.saw.side]
        top, level = saw.turned(self.first, "top"), saw.turned(self.first, "front")
        if name == "slots":
            return {
                at: self.dial(
                    [saw.slot_reading_mm(self.first, at, SEPARATION, side=self.rides)] * times
                )
                for at in ("front", "back")
            }
        if name == "table":
            return self.box(saw.square_lean_deg(top), times)
        if name == "miter_gauge":
            return self.box(-sign * saw.gauge_against_plate_deg(level), times)
        if name == "riving_knife":
            return self.box(saw.knife_toe_deg - saw.set_knife(level, top).knife_toe_deg, times)
        if name == "fence":
            along = np.repeat(np.linspace(-300.0, 300.0, 9), times)
            places = f"{' '.join(f'{one:.1f}' for one in along)} mm"
            return {"along": places, "readings": self.dial(saw.fence_readings_mm(along))}
        if name == "insert":
            places = np.array([(x, y) for y in (-150, 0, 150) for x in (-35, 35)] * times)
            x, y = (f"{' '.join(f'{one:.1f}' for one in each)} mm" for each in places.T)
            return {"x": x, "y": y, "height": self.dial(saw.insert_readings_mm(places))}
        if name == "test_cut.flip":
            gap = saw.flip_gap_mm(BOARD, flipped="left")
            shown = self.dial([abs(gap)] * times).replace("-", "")
            return {"gap": shown, "open": "top" if gap > 0 else "bottom"}
        cut = saw.round_test(4, kept="left")
        widths = (cut.cut_first_mm, cut.cut_last_mm)
        first, last = (self.dial([one] * times) for one in widths)
        return {"first": first, "last": last, "length": f"{cut.length_mm:.2f} mm"}

    def set_up(self) -> bg.SetUp:
        """Write the file, and what was read before into it, and set the saw up from it."""
        shown = self.tolerance["shown"]
        dial, box = {"graduation": f"{DIAL} mm"}, {"resolution": BOX, "accuracy": 0}
        x, y = zip(*self.saw.insert_screws_mm, strict=True)
        stated = {
            "slots": {
                "indicator": self.rides,
                "separation": f"{SEPARATION} mm",
                "tolerance": f"{self.tolerance['slots']} mm",
                "moved": self.moved,
                "pivot": self.pivot,
                "lever": "400 mm",
                **dial,
            },
            "table": {"tolerance": shown, **box},
            "miter_gauge": {"tolerance": shown, **box},
            "riving_knife": {"tolerance": shown, **box},
            "fence": {
                "side": "right" if self.saw.fence_mm > 0 else "left",
                "tolerance": f"{self.tolerance['fence']} mm",
                **dial,
            },
            "insert": {
                "screw_x": f"{' '.join(map(str, x))} mm",
                "screw_y": f"{' '.join(map(str, y))} mm",
                "pitch": f"{PITCH} mm",
                "screws": self.screws,
                "tolerance": f"{self.tolerance['insert']} mm",
                **dial,
            },
            "test_cut.flip": {"height": f"{BOARD} mm", "flipped": "left", **dial},
            "test_cut.round": {"turns": 4, "piece": "left", **dial},
        }
        text = part("saw", tilts=self.tilts) + BLADE
        if self.cuts == "cut":
            text += part("table", tolerance=shown) + part("miter_gauge", tolerance=shown)
        for name, read in self.held.items():
            text += part(name, **stated[name], **read)
            if name in self.before:
                text += part(f"{name}.before", **self.before[name])
        self.path.write_text(text, "utf-8")
        return bg.set_up(self.path)

    # ------------------------------------------------------------------- doing what is said

    def errors(self) -> dict[str, float]:
        return {
            "slots": abs(self.saw.slot_error_deg()),
            "table": abs(self.saw.tilt_to_right_deg),
            "miter_gauge": abs(self.saw.gauge_deg),
            "riving_knife": abs(self.saw.knife_toe_deg),
            "fence": abs(self.saw.fence_deg),
            "insert": max(map(abs, self.saw.insert_heights_mm)),
        }

    @property
    def allowed(self) -> dict[str, float]:
        """The tolerances in degrees; of the insert in mm."""
        over = {"slots": SEPARATION, "fence": 600.0}
        return dict.fromkeys(self.errors(), self.tolerance["shown"]) | {
            "insert": self.tolerance["insert"],
            **{name: math.degrees(math.atan(self.tolerance[name] / over[name])) for name in over},
        }

    @property
    def toe_in(self) -> float:
        cut = planes_meet(self.saw.cut_plane().normal, UPWARD, TO_BACK)
        return toe_in_deg(self.saw, cut)

    def out(self) -> list[str]:
        """What is left out of its tolerance."""
        left, allowed = self.errors(), self.allowed
        # Beside slots that are within their tolerance, and stay, a fence is set true to the blade.
        true_to_blade = {**allowed, "fence": allowed["fence"] + left["slots"]}
        out = [name for name, off in left.items() if off > true_to_blade[name]]
        # True to the blade as well, and not closing on it at the back.
        return out if -allowed["fence"] <= self.toe_in <= 0.004 else [*out, "toe"]

    def do(self, step: bg.Step, words: str | None) -> None:
        """Move what is to be moved: by the words, or where there are none by the numbers."""
        held = step.to_dict()["result"]
        if step.part == "slots":
            self._slots(held, words)
        elif step.part == "fence":
            self._fence(held, words)
        elif step.part == "insert":
            self._insert(held, words)
        elif step.part == "test_cut.round":
            self._round(held, words)
        else:
            self._turned(step.part, held, words)

    def _slots(self, held, words) -> None:
        to_right, lever, moved, pivot = held["move"] * -PER_SIDE[self.rides], 400.0, None, None
        if words:
            pivot, lever_, moved, size, way = re.search(
                r"Leave the (\w+) bolt as the pivot\. ([\d.]+) mm from it, move the \w+ of the "
                r"(\w+) ([\d.]+) mm to the (left|right)",
                words,
            ).groups()
            to_right, lever = PER_SIDE[way] * float(size), float(lever_)
        way = 1 if (pivot or self.pivot) == "front" else -1
        turn = getattr(self.saw, f"turn_{moved or self.moved}")
        self.saw = turn(to_right, pivot_y_mm=-200.0 * way, lever_y_mm=(lever - 200.0) * way)

    def _fence(self, held, words) -> None:
        outward = held["move"]
        if words:
            said = re.search(r"end of the fence (away from|toward) the blade by ([\d.]+) mm", words)
            outward = float(said[2]) * (1 if said[1] == "away from" else -1)
        outward *= math.copysign(1.0, self.saw.fence_mm)
        self.saw = self.saw.turn_fence(outward, pivot_y_mm=-300.0, lever_y_mm=300.0)

    def _insert(self, held, words) -> None:
        """Turn each screw; one turned clockwise goes down, and so does the insert on it."""
        turns = [one["turns"] or 0.0 for one in held["screws"]]
        if words:
            places = ("Front left", "Front right", "Back right", "Back left")
            said = [re.search(rf"{one}: (.*?)\.", words)[1] for one in places]
            turns = [self._screw(one) for one in said]
        self.saw = self.saw.turn_insert_screws(turns, PITCH)

    def _screw(self, said: str) -> float:
        if said == "leave it":
            return 0.0
        # In its own thread a screw that is turned clockwise goes down; what holds it goes up.
        down = ("counterclockwise" not in said) is (self.screws == "table")
        assert said.startswith("lower" if down else "raise")
        return turns_in(said.partition(" by ")[2]) * (-1 if down else 1)

    def _round(self, held, words) -> None:
        swing = held["swing"]
        if words:
            said = re.search(r"swing the gauge's fence (toward|away from) you by ([\d.]+)", words)
            swing = float(said[2]) * (1 if said[1] == "toward" else -1)
        # The board lay left: its far end comes toward the operator anticlockwise.
        turn = math.degrees(math.atan(swing / 300.0))
        self.saw = replace(self.saw, gauge_deg=self.saw.gauge_deg + turn)

    def _turned(self, name, held, words) -> None:
        saw, sign = self.saw, PER_SIDE[self.saw.side]
        if name in ("table", "test_cut.flip"):
            to_right = -sign * held.get("off_deg", held.get("error_deg"))
            if words:
                said = re.search(r"top of the blade to the (left|right) .*? by ([\d.]+) deg", words)
                to_right = PER_SIDE[said[1]] * float(said[2])
            self.saw = replace(saw, tilt_to_right_deg=saw.tilt_to_right_deg + to_right)
        elif name == "miter_gauge":
            turn = sign * held["to_slot_deg"]
            if words:
                said = re.search(
                    r"the (left|right) end of the gauge's fence (away from|toward) you by ([\d.]+)",
                    words,
                )
                turn = float(said[3]) * (1 if (said[1] == "left") == (said[2] == "toward") else -1)
            self.saw = replace(saw, gauge_deg=saw.gauge_deg + turn)
        else:
            turn = -held["off_deg"]
            if words:
                said = re.search(r"end of the knife to the (left|right) .*? by ([\d.]+)", words)
                turn = float(said[2]) * (1 if said[1] == saw.side else -1)
            self.saw = replace(saw, knife_toe_deg=saw.knife_toe_deg + turn)

    def read_again(self, step: bg.Step) -> None:
        """Read the entries that are named; what stood there is kept as before."""
        names = {entry.rpartition(".")[0] for entry in step.read_again}
        assert names
        for name in sorted(names, key=self.parts.index):
            if step.state == "move":
                self.before[name] = self.held[name]
            self.held[name] = self.read(name)

    def follow(self, *, by_words: bool, card=None) -> list[tuple[str, str]]:
        """Do the one thing to do now until nothing is left, and say what was done."""
        done: list[tuple[str, str]] = []
        for _ in range(30):
            said = self.set_up()
            if card is not None:
                card(said)
            if said.now is None:
                return done
            step, before = said.now, self.errors()
            done.append((step.part, step.state))
            if step.state == "move":
                self.do(step, said.do_now if by_words else None)
            else:
                # So often that it can be told: what is said belongs to the last that is named.
                often = re.search(r"(\d+) times", said.do_now)
                assert often, said.do_now
                self.often[step.read_again[-1].rpartition(".")[0]] = int(often[1])
            now = self.errors()
            for name, off in now.items():
                slack = SLACK.get(name, 0.003)
                slack += now["slots"] if name == "fence" and step.part == "fence" else 0.0
                assert off <= before[name] + slack, (name, before[name], off, done)
            self.read_again(step)
        raise AssertionError(f"it never ends: {done}")


@pytest.mark.parametrize("cuts", ["read", "cut", "both"])
@pytest.mark.parametrize("by_words", [False, True], ids=["numbers", "words"])
@pytest.mark.parametrize("seed", range(6))
def test_a_strangers_saw_comes_true(tmp_path, seed, by_words, cuts):
    person = Stranger(seed + 100 * by_words + 1000 * len(cuts), tmp_path, cuts=cuts)
    done = person.follow(by_words=by_words)
    assert not person.out(), done


@pytest.mark.parametrize("seed", range(6))
def test_it_does_where_what_is_read_hardly_tells(tmp_path, seed):
    """Tolerances about as fine as the instruments are: it is said how often to read."""
    person = Stranger(9000 + seed, tmp_path, cuts="read", tight=0.5)
    done = person.follow(by_words=True)
    assert not person.out(), done
