"""Mounted anew: whether the old marks still serve, against rigid bodies and many readings."""

from __future__ import annotations

import json
import math
import re

import numpy as np
import pytest
from rigid_body import RigidBlade, chord_lean_deg, readings_mm, tooth_angles_deg
from simulated import rng_for
from written import run, save, sheet

import bladegeom as bg
from bladegeom.shop.remount import CANNOT_TELL, SERVE, SERVE_NOT, remounted

RING = 110.0


def taken(body, teeth=40, pattern="1", ring_mm=RING, sd_mm=0.003, seed=1, slip=None, **facts):
    """Read a rigid blade with a dial that scatters."""
    blade_facts = {"name": "A", "numbered": body.numbered, **facts.pop("blade", {})}
    if pattern != "1":
        blade_facts["pitch_pattern"] = pattern
    blade = bg.Blade(teeth, **blade_facts)
    read = readings_mm(body, tooth_angles_deg(teeth, pattern), ring_mm)
    read = read + rng_for(seed).normal(0, sd_mm, teeth) if sd_mm else read
    if slip is not None:
        read[slip - 1] += 1.0
    facts = {"ring_radius": f"{ring_mm} mm", "graduation": "0.0005 mm", **facts}
    return bg.fit_wobble(bg.Readings(blade, np.round(read, 5), unit="mm", **facts))


@pytest.mark.parametrize("numbered", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize(("teeth", "pattern"), [(40, "1"), (37, "1"), (50, "1 1 1 1 1.6")])
@pytest.mark.parametrize("ring_mm", [RING, 90.0])
def test_what_the_old_marks_leave_is_the_lean_of_the_line_through_their_tips(
    numbered, teeth, pattern, ring_mm
):
    before, after = RigidBlade(0.05, 63.0, numbered), RigidBlade(0.08, 121.0, numbered)
    was = taken(before, teeth, pattern, sd_mm=1e-4)
    now = taken(after, teeth, pattern, ring_mm, sd_mm=1e-4, seed=2)
    found = remounted(now, was)
    angles = tooth_angles_deg(teeth, pattern)
    marks = bg.neutral_line(was).marked
    choices = [[one.tooth, one.other or one.tooth] for one in marks]
    lean = [
        chord_lean_deg(after, angles[one - 1], angles[other - 1], 127.0)
        for one in choices[0]
        for other in choices[1]
    ]
    worst = max(lean, key=abs)
    assert found.left.value == pytest.approx(worst, abs=2e-4)
    assert found.left.low < worst < found.left.high
    assert found.turned.value == pytest.approx(58.0, abs=0.5)
    # As vectors of slope the two are as far apart as the planes are tilted otherwise.
    slopes = [one.tilt_deg * np.exp(1j * np.radians(one.near_deg)) for one in (before, after)]
    assert found.moved_deg == pytest.approx(abs(slopes[1] - slopes[0]), rel=0.01)
    assert found.moved.resolved
    assert any("different rings" in one for one in found.warnings) == (ring_mm != RING)


def test_the_limits_of_what_they_leave_hold():
    rng, inside, moved_inside, shown = rng_for(5), 0, 0, 0
    cases = 100
    for case in range(cases):
        before = RigidBlade(0.03, float(rng.uniform(0, 360)))
        turn = float(rng.uniform(-30, 30)) if case % 2 else 0.0
        after = RigidBlade(0.03, before.near_deg + turn)
        was = taken(before, 24, sd_mm=0.008, seed=2 * case)
        now = taken(after, 24, sd_mm=0.008, seed=2 * case + 1)
        found = remounted(now, was)
        if found.left is None or found.turned is None:
            inside, moved_inside = inside + 1, moved_inside + 1
            continue
        angles = tooth_angles_deg(24)
        first, second = found.old_teeth
        true = chord_lean_deg(after, angles[first - 1], angles[second - 1], 127.0)
        named = all(mark.other is None for mark in found.was.marks.marked)
        inside += found.left.low <= true <= found.left.high or not named
        moved_inside += found.turned.low <= turn <= found.turned.high
        shown += not case % 2 and found.moved.resolved
    assert 0.9 * cases < inside
    assert 0.9 * cases < moved_inside
    assert shown < 0.12 * cases / 2  # No movement is told where there is none, but 1 time in 20.


@pytest.mark.parametrize(
    ("turn", "tolerance", "verdict"),
    [(0.0, 0.01, SERVE), (40.0, 0.01, SERVE_NOT), (40.0, 0.1, SERVE), (11.5, 0.01, CANNOT_TELL)],
)
def test_they_serve_where_all_of_the_limits_keep_to_the_tolerance(turn, tolerance, verdict):
    was = taken(RigidBlade(0.05, 63.0), sd_mm=0.005)
    now = taken(RigidBlade(0.05, 63.0 + turn), sd_mm=0.005, seed=7)
    found = remounted(now, was, tolerance_deg=tolerance)
    assert found.verdict == verdict
    low, high = sorted(abs(one) for one in (found.left.low, found.left.high))
    high = max(high, abs(found.left.value))
    straddles = found.left.low < tolerance < found.left.high
    straddles |= found.left.low < -tolerance < found.left.high
    assert straddles == (verdict == CANNOT_TELL)
    assert (low > tolerance) == (verdict == SERVE_NOT)
    said = " ".join(found.instructions)
    new = found.new_teeth
    assert (f"mark teeth {new[0]} and {new[1]}" in said) == (verdict != SERVE)
    assert "seat" in str(found)


def test_the_worst_of_the_teeth_that_would_do_is_taken():
    was = taken(RigidBlade(0.06, 67.2), sd_mm=1e-4)  # Nearly half-way between two teeth.
    assert all(mark.other for mark in bg.neutral_line(was).marked)
    found = remounted(was, was)
    # The line through the named teeth lies 4.2 degrees of blade off, through the others 4.8.
    assert abs(found.left.value) == pytest.approx(0.06 * math.sin(math.radians(4.8)), rel=0.02)


@pytest.mark.parametrize("slipped", ["old", "new"])
def test_a_likely_mistake_in_either_comes_first_and_nothing_is_told(slipped):
    slips = {slipped: 9}
    was = taken(RigidBlade(0.05, 63.0), slip=slips.get("old"))
    now = taken(RigidBlade(0.05, 93.0), slip=slips.get("new"), seed=3)
    found = remounted(now, was)
    assert found.verdict is None
    assert found.left is found.turned is found.moved is None
    assert found.warnings[0].startswith(f"{slipped} readings: Read tooth 9 again")
    assert (found.old_teeth is None) == (slipped == "old")
    assert (found.new_teeth is None) == (slipped == "new")
    assert not re.search(r"\bmark (the )?teeth \d", " ".join(found.instructions), re.IGNORECASE)


def test_without_a_direction_old_or_new_only_what_is_known_is_told():
    flat, tilted = RigidBlade(0.0, 0.0), RigidBlade(0.05, 63.0)
    found = remounted(taken(flat, seed=4), taken(tilted))
    assert found.new_teeth is None
    assert found.turned is None
    assert found.verdict == SERVE  # The plate is flat now: any line on it stands square.
    found = remounted(taken(tilted), taken(flat, seed=4))
    assert found.old_teeth is found.verdict is None
    no_ring = remounted(taken(tilted, ring_radius=None), taken(tilted))
    assert no_ring.verdict is None
    assert no_ring.turned is not None
    stuck = bg.fit_wobble(
        bg.Readings(bg.Blade(40, name="A"), [0.0] * 40, unit="mm", ring_radius="110 mm")
    )
    assert remounted(stuck, taken(tilted)).verdict == CANNOT_TELL


def test_nothing_is_said_of_a_better_or_worse_wobble():
    for amount in (0.02, 0.05, 0.2):
        found = remounted(taken(RigidBlade(amount, 99.0)), taken(RigidBlade(0.05, 63.0)))
        said = str(found) + json.dumps(found.to_dict())
        assert not re.search(r"improv|worse|better|wobble", said, re.IGNORECASE)


@pytest.mark.parametrize(
    ("facts", "word"),
    [
        ({"blade": {"name": "B"}}, "blade"),
        ({"teeth": 36}, "teeth"),
        ({"blade": {"numbered": "clockwise"}}, "numbered"),
        ({"side": "right"}, "side"),
        ({"surface": "teeth"}, "surface"),
        ({"pattern": "1 1 1 1 1.6"}, "pitch_pattern"),
    ],
)
def test_what_cannot_be_compared_is_refused(facts, word):
    body = RigidBlade(0.05, 63.0)
    was, now = taken(body, side="left"), taken(body, **{"side": "left"} | facts)
    with pytest.raises(bg.RefusedError) as refused:
        remounted(now, was)
    assert refused.value.faults[0].column == word
    with pytest.raises(bg.RefusedError, match="above 0"):
        remounted(was, was, tolerance_deg=0.0)


def table(path, blades):
    """Write blades: name -> near direction."""
    rows = []
    for name, near in blades.items():
        read = [f"{0.1 * math.cos(math.radians(15 * at - near)):.4f}" for at in range(24)]
        own = sheet(read, blade=name, ring_radius_mm=110, graduation_mm=0.001)
        rows += own[1:] if rows else own
    return save(path, rows)


def test_the_command_tells_every_blade_by_its_name(tmp_path):
    old = table(tmp_path / "old.csv", {"A": 10, "B": 100, "C": 20})
    new = table(tmp_path / "new.csv", {"B": 160, "A": 10, "D": 50})
    done = run("fit", new, "--was", old, "--json")
    assert done.status == 1
    answers = {one["blade"]: one for one in done.json["blades"]}
    assert sorted(answers) == ["A", "B"]
    told = {name: one["remounted"] for name, one in answers.items()}
    assert told["A"]["verdict"] == SERVE
    assert told["B"]["verdict"] == SERVE_NOT
    assert told["B"]["near_moved_deg"] == pytest.approx(60.0, abs=0.5)
    assert told["B"]["new_teeth"] == answers["B"]["neutral_teeth"]
    assert told["A"]["tolerance_deg"] == 0.01
    (fault,) = done.json["refused"]
    assert fault["blade"] == "D"
    wide = run("fit", new, "--was", old, "--blade", "B", "--tolerance-deg", "0.2")
    assert wide.status == 0
    assert "still serve" in wide.out
    assert wide.out.index("still serve") < wide.out.index("Mark teeth")
    one = table(tmp_path / "one.csv", {"A": 10})
    other = table(tmp_path / "other.csv", {"B": 10})
    refused = run("fit", one, "--was", other)
    assert refused.status == 2
    assert "blade is A now and was B" in refused.err
    assert run("fit", one, "--was", tmp_path / "none.csv").status == 2
