"""What a blade's numbers come to: outcome, next action, reasons, on planted cases.

The tilt is read off a plate turned by rotation matrices (tests/rigid_body.py), not off the
sinusoid that is fitted; bends, waves, and mistakes are added to those readings.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from rigid_body import RigidBlade, readings_mm, tooth_angles_deg
from shop_days import NO_MISTAKE
from simulated import rng_for

import bladegeom as bg
from bladegeom.faults import RefusedError
from bladegeom.shop.condition import ACTIONS, assess
from bladegeom.shop.limits import Limit, Limits

TEETH, RING = 40, 100.0
WOBBLE = Limit("wobble_tir", (0.10, "mm"), "invented shop rule")
RAW = Limit("raw_tir", (0.10, "mm"), "invented customer's wish")


def limits(*given: Limit):
    return Limits(given or (WOBBLE,))


def plate(amplitude=0.02, *, bump=None, order=None, noise=0.002, seed=3, met=None):
    """Readings in mm of a tilted plate, with a bend or waves of its own."""
    truth = RigidBlade(math.degrees(math.atan(amplitude / RING)), 77.0)
    angles = np.asarray(tooth_angles_deg(TEETH))
    read = np.asarray(readings_mm(truth, angles, RING), dtype=float)
    if bump is not None:
        first, count, height = bump
        read[first - 1 : first - 1 + count] += height * np.sin(
            np.pi * np.arange(1, count + 1) / (count + 1)
        )
    if order is not None:
        waves, size = order
        read += size * np.cos(waves * np.radians(angles - 20))
    if met is not None:
        read = read[np.asarray(met) - 1]
    return read + rng_for(seed).normal(0, noise, len(read))


def fitted(read, **facts):
    facts = {"ring_radius": (RING, "mm"), "graduation": "0.001 mm"} | facts
    blade = bg.Blade(TEETH, diameter="254 mm", name="X")
    return bg.fit_wobble(bg.Readings(blade, read, unit="mm", **facts))


def moved_stand():
    """A fit whose turn does not close: the drift takes 0.025 mm off the wobble; and a near limit.

    Just below the limit that matters, far below it does not.
    """
    read = plate(0.045) + np.linspace(0, 0.04, TEETH)
    fit = fitted(np.append(read, read[0] + 0.04))
    return fit, Limit("wobble_tir", (round(fit.wobble_tir, 3) + 0.01, "mm"), "invented")


def a_slip():
    read = plate(0.03)
    read[20] *= -5
    return fitted(read)


def test_a_quiet_blade_is_fit_for_use():
    said = assess(fitted(plate(0.02)), limits())
    assert (said.outcome, said.action) == ("conforms", "fit for use")
    assert said.probability > 0.999


@pytest.mark.parametrize("seed", range(5))
def test_a_tilt_is_first_a_seat_to_clean(seed):
    said = assess(fitted(plate(0.08, seed=seed)), limits(WOBBLE, RAW))
    assert said.outcome == "does not conform"
    assert said.action == "clean, remount and measure again"
    assert "a seat to clean first, not a plate to hammer" in said.reasons[0]


@pytest.mark.parametrize("height", [0.15, -0.15])
@pytest.mark.parametrize("first", [5, 14, 25])
def test_a_local_bend_is_named_by_teeth_side_and_height(first, height):
    fit = fitted(plate(0.01, bump=(first, 8, height), noise=0.001))
    said = assess(fit, limits(RAW), findings=NO_MISTAKE)
    assert said.action == "level the plate"
    row = said.to_dict()
    assert abs(row["level_first"] - first) <= 1
    assert abs(row["level_last"] - (first + 7)) <= 1
    assert row["level_height"] == pytest.approx(0.15, abs=0.02)
    toward = "toward the indicator" if height > 0 else "away from the indicator"
    assert row["level_side"] == toward
    assert f"Teeth {row['level_first']} to {row['level_last']}" in said.reasons[0]
    assert toward in said.reasons[0]


@pytest.mark.parametrize("first", range(3, 30, 4))
def test_a_bend_that_may_be_a_mistake_is_read_again_and_named(first):
    said = assess(fitted(plate(0.01, bump=(first, 8, 0.15))), limits(RAW))
    assert said.action in ("level the plate", "measure again")
    assert f"Teeth {first}" in " ".join(said.reasons) or f"Teeth {first + 1}" in " ".join(
        said.reasons
    )


@pytest.mark.parametrize("size", [0.06, -0.2])
@pytest.mark.parametrize("start", [20, 28, 34])
def test_a_bumped_base_is_never_taken_for_a_bend(start, size):
    read = plate(0.02)
    read[start:] += size
    for limit in (limits(), limits(WOBBLE, RAW)):
        said = assess(fitted(read), limit)
        assert said.action == "measure again"
        assert "mistake" in said.reasons[0].lower()


@pytest.mark.parametrize("order", [2, 3])
@pytest.mark.parametrize("seed", range(3))
def test_waves_round_the_blade_go_to_a_sawsmith(order, seed):
    said = assess(fitted(plate(0.01, order=(order, 0.1), seed=seed)), limits(RAW))
    assert said.action == "to a sawsmith"
    assert said.to_dict()["saddle_waves"] == order
    assert said.to_dict()["saddle_tir"] == pytest.approx(0.2, abs=0.01)
    assert ("saddle" in said.reasons[0]) == (order == 2)
    assert any("dish" in one for one in said.remarks)


def test_on_the_limit_more_readings_are_asked_for():
    said = assess(fitted(plate(0.0502, noise=0.01)), limits())
    assert (said.outcome, said.action) == ("undecided", "measure again")
    assert assess(fitted(plate(0.0502, noise=0.01)), limits(), rule="simple").outcome != "undecided"


def test_a_tooth_read_twice_is_measured_again():
    met = [*range(1, 15), *range(14, 40)]
    fit = fitted(plate(0.2, met=met))
    found = bg.check_readings(fit.readings)
    assert [one.kind for one in found][:1] == ["doubled"]
    assert assess(fit, limits(), findings=found).action == "measure again"
    assert assess(fit, limits()).reasons == assess(fit, limits(), findings=found).reasons


def test_a_turn_that_does_not_close_is_measured_again():
    fit, near = moved_stand()
    far = Limit("wobble_tir", (0.3, "mm"), "invented")
    said = assess(fit, limits(near), findings=NO_MISTAKE)
    assert (said.outcome, said.action, said.sound) == ("undecided", "measure again", False)
    assert assess(fit, limits(far), findings=NO_MISTAKE).action == "fit for use"


def test_the_worse_of_two_limits_counts():
    loose = Limit("wobble_tir", (0.3, "mm"), "invented")
    said = assess(fitted(plate(0.01, bump=(10, 7, 0.15))), limits(loose, RAW))
    row = said.to_dict()
    assert row["wobble_tir_outcome"] == "conforms"
    assert row["raw_tir_outcome"] == said.outcome == "does not conform"
    assert said.probability == min(row["wobble_tir_probability"], row["raw_tir_probability"])
    assert any("number of readings" in one for one in said.remarks)


def test_only_the_eye_puts_a_blade_out_of_service():
    for amplitude in (0.02, 5.0):
        fit = fitted(plate(amplitude))
        assert assess(fit, limits()).action != "out of service"
        said = assess(fit, limits(), eye="crack at tooth 7")
        assert said.action == "out of service"
        assert "The eye found: crack at tooth 7." in said.reasons[0]
        assert said.outcome == said.to_dict()["wobble_tir_outcome"] == "not judged"
        assert said.to_dict()["conformance_probability"] is None
    quiet = fitted(plate())
    assert "look for cracks" in assess(quiet, limits()).eye_line
    assert assess(quiet, limits(), eye="None.").eye_line == "looked at, nothing found"
    assert assess(quiet, limits(), eye="a chipped tip").eye_line == "a chipped tip"
    assert assess(quiet, limits(), eye="None").action == "fit for use"


def withheld():
    """Blades that are not fit for use as they stand, and why."""
    moved, edge = moved_stand()
    return {
        "eye": assess(fitted(plate(0.03)), limits(WOBBLE, RAW), eye="crack at tooth 7"),
        "mistake": assess(a_slip(), limits(WOBBLE, Limit("raw_tir", (1, "mm"), "invented"))),
        "moved": assess(moved, limits(edge), findings=NO_MISTAKE),
        "near the limit": assess(fitted(plate(0.0502, noise=0.01)), limits()),
        "seat": assess(fitted(plate(0.08)), limits(WOBBLE, RAW)),
        "bend": assess(fitted(plate(0.02, bump=(14, 8, 0.2), noise=0.001)), limits(RAW)),
    }


def test_no_teeth_are_marked_but_on_a_blade_that_is_fit_as_it_stands():
    fit = assess(fitted(plate(0.03)), limits())
    assert fit.action == "fit for use"
    assert fit.marks.neutral is not None
    assert fit.marks.to_dict() == bg.neutral_line(fit.fit).to_dict()
    cases = withheld()
    assert {said.action for said in cases.values()} >= {
        "out of service",
        "measure again",
        "clean, remount and measure again",
    }
    for why, said in cases.items():
        assert said.fit.resolved, why
        marks = said.marks.to_dict()
        assert marks["neutral_teeth"] is marks["near_tooth"] is marks["better_tooth"] is None, why
        assert said.marks.left_deg is None, why


@pytest.mark.parametrize("why", ["eye", "mistake", "moved"])
def test_nothing_passes_that_is_out_of_service_or_misread(why):
    said = withheld()[why]
    row = said.to_dict()
    assert said.outcome == ("not judged" if why == "eye" else "undecided")
    assert {one.outcome for one in said.verdicts} == {said.outcome}
    assert row["conformance_probability"] is None
    assert row["wobble_tir_probability"] is None
    assert "conforms" not in {value for key, value in row.items() if key.endswith("outcome")}
    assert "conforms (" not in str(said)
    assert said.sound == (why == "eye")


def test_readings_with_a_mistake_do_not_become_sound_by_what_the_eye_finds():
    said = assess(a_slip(), limits(), eye="crack at tooth 7")
    assert (said.action, said.sound) == ("out of service", False)


def test_the_rule_and_the_source_are_printed():
    text = str(assess(fitted(plate()), limits()))
    for word in ("JCGM 106:2012", "ISO 14253-1:2017", "guard factor 1", "95 %", "invented shop"):
        assert word in text
    assert "simple acceptance" in str(assess(fitted(plate()), limits(), rule="simple"))
    with pytest.raises(RefusedError, match="decision rule"):
        assess(fitted(plate()), limits(), rule="three")


def test_a_limit_at_another_ring_is_refused():
    at = Limit("wobble_tir", (0.1, "mm"), "invented", ring=(120, "mm"))
    with pytest.raises(RefusedError, match="ring radius"):
        assess(fitted(plate()), limits(at))
    with pytest.raises(RefusedError, match="not stated"):
        assess(fitted(plate(), ring_radius=None), limits(at))
    here = Limit("wobble_tir", (0.1, "mm"), "invented", ring=(100, "mm"))
    assert assess(fitted(plate()), limits(here)).outcome == "conforms"
    inch = Limit("wobble_tir", (0.1, "mm"), "invented", ring=(100 / 25.4, "in"))
    assert assess(fitted(plate()), limits(inch)).outcome == "conforms"


def test_an_unknown_doubt_decides_nothing():
    said = assess(fitted(np.zeros(TEETH), graduation=None), limits(WOBBLE, RAW))
    assert (said.outcome, said.action) == ("undecided", "measure again")
    assert "no graduation is stated" in said.reasons[0]
    assert said.to_dict()["conformance_probability"] is None


@pytest.mark.parametrize("read", [plate(0.02), plate(0.08), plate(0.01, bump=(9, 6, 0.15))])
def test_inches_say_the_same(read):
    mm = assess(fitted(read), limits(WOBBLE, RAW)).to_dict()
    blade = bg.Blade(TEETH, diameter="10 in", name="X")
    inch = bg.Readings(
        blade,
        read / 25.4,
        unit="in",
        ring_radius=(RING / 25.4, "in"),
        graduation=(0.001 / 25.4, "in"),
    )
    other = assess(bg.fit_wobble(inch), limits(WOBBLE, RAW)).to_dict()
    assert mm.keys() == other.keys()
    for key, value in mm.items():
        if isinstance(value, float) and "probability" not in key:
            assert other[key] * 25.4 == pytest.approx(value, rel=1e-9), key
        elif isinstance(value, float):
            assert other[key] == pytest.approx(value, abs=1e-9), key
        elif key not in ("unit", "reasons"):
            assert other[key] == value, key


def test_keys_do_not_depend_on_the_blade():
    rows = [assess(fitted(plate(a)), limits(one)) for a in (0.02, 0.08) for one in (WOBBLE, RAW)]
    assert len({tuple(row.to_dict()) for row in rows}) == 1
    assert all(row.action in ACTIONS for row in rows)
