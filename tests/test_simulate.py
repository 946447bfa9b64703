"""The simulation kit: invented readings against rigid bodies, and its key against the readings.

The heights of a tilted blade on a tilted flange are found here with rotation matrices and a line
that meets a plane (`rigid_body`); dish and saddle from their surface in Cartesian coordinates.
"""

from __future__ import annotations

import cmath
import contextlib
import math
from typing import Any, Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rigid_body import (
    TOWARD_INDICATOR,
    RigidBlade,
    blade_direction,
    clock_direction,
    line_meets_plane,
    plate_normal,
    readings_mm,
    rotation,
    sense,
    turn_onto,
)
from simulated import turn_deg

import bladegeom as bg
from bladegeom.invented import (
    Bump,
    DecimalSlip,
    Dish,
    Doubled,
    Drift,
    Flange,
    Gum,
    LocalBend,
    LostMinus,
    Play,
    Saddle,
    Seating,
    Skipped,
    Swapped,
    Tilt,
    UnitSlip,
)
from bladegeom.invented.simulate import Simulated, simulate

Numbering = Literal["clockwise", "counterclockwise"]

EXACT: dict[str, Any] = {"noise_sd": "0 mm", "graduation": "0 mm"}
NO_TILT = Tilt("0 mm")
NUMBERINGS: tuple[Numbering, ...] = ("clockwise", "counterclockwise")


def blade_of(teeth: int = 40, numbered: Numbering = "clockwise", **facts: Any) -> bg.Blade:
    return bg.Blade(teeth, diameter="254 mm", numbered=numbered, **facts)


def exact(blade: bg.Blade | None = None, *faults: Any, **asked: Any) -> Simulated:
    """Without noise, rounding or a wobble that was not asked for."""
    if not any(isinstance(one, Tilt) for one in faults):
        faults = (*faults, NO_TILT)
    return simulate(blade, faults=faults, **({"rng": 1} | EXACT | asked))


# ---- against the rigid body ------------------------------------------------------------------


@pytest.mark.parametrize("numbered", NUMBERINGS)
@pytest.mark.parametrize("pattern", [None, (1, 1, 1, 1, 1.6)])
@pytest.mark.parametrize("touch_deg", [0.0, -3.5, 11.0])
def test_a_tilted_blade_reads_as_a_rigid_body(
    numbered: Numbering, pattern: tuple[float, ...] | None, touch_deg: float
) -> None:
    blade = blade_of(numbered=numbered, pitch_pattern=pattern)
    ring, tir, near = 110.0, 0.31, 123.0
    tilt = Tilt((tir, "mm"), near)
    made = exact(blade, tilt, ring_radius=(ring, "mm"), touch_deg=touch_deg, dial_zero="0.2 mm")
    truth = RigidBlade(math.degrees(math.atan(tir / 2 / ring)), near, numbered)
    teeth = [*blade.angles_deg, 0.0]
    rigid = readings_mm(truth, teeth, ring, touch_deg=touch_deg, dial_zero_mm=0.2)
    np.testing.assert_allclose(made.readings.reading, rigid, rtol=0, atol=1e-12)
    assert made.key.near_tooth == blade.nearest_tooth(near)


def on_a_flange(
    truth: RigidBlade,
    flange_deg: float,
    flange_near_deg: float,
    clock_deg: float,
    tooth_deg: list[float],
    ring: float,
) -> np.ndarray[Any, Any]:
    """Readings of a blade that is seated on a flange which is itself askew on its arbor."""
    way = sense(truth)
    # The arbor's frame counts its angles from its mark as the blade counts them from tooth 1.
    flange = RigidBlade(flange_deg, flange_near_deg, truth.numbered)
    near = blade_direction(flange, flange_near_deg)
    askew = rotation(np.cross(near, TOWARD_INDICATOR), flange_deg)
    put_on = rotation(TOWARD_INDICATOR, way * clock_deg)
    normal = askew @ put_on @ plate_normal(truth)
    stylus = clock_direction(90.0)
    read = []
    for angle in tooth_deg:
        tooth = put_on @ blade_direction(truth, angle)
        turned = turn_onto(tooth, stylus) @ normal
        hit = line_meets_plane(ring * stylus, TOWARD_INDICATOR, turned)
        read.append(hit @ TOWARD_INDICATOR)
    return np.array(read)


@pytest.mark.parametrize("numbered", NUMBERINGS)
@pytest.mark.parametrize("clock_deg", [0.0, 72.0, 180.0, 305.0])
def test_a_blade_on_an_askew_flange_reads_as_two_rigid_bodies(
    numbered: Numbering, clock_deg: float
) -> None:
    blade, ring = blade_of(numbered=numbered), 110.0
    made = exact(
        blade,
        Tilt("0.10 mm", near_deg=40.0),
        Flange("0.16 mm", near_deg=250.0),
        ring_radius=(ring, "mm"),
        clock_deg=clock_deg,
        closing=False,
    )
    truth = RigidBlade(math.degrees(math.atan(0.05 / ring)), 40.0, numbered)
    flange_deg = math.degrees(math.atan(0.08 / ring))
    rigid = on_a_flange(truth, flange_deg, 250.0, clock_deg, list(blade.angles_deg), ring)
    # Two tilts add up but for their product: a millionth of either here.
    np.testing.assert_allclose(made.readings.reading, rigid, rtol=0, atol=1e-7)
    key = made.key
    vector = key.blade_vector + key.flange_vector * cmath.exp(-1j * math.radians(clock_deg))
    assert key.wobble_vector == pytest.approx(vector, abs=1e-12)
    fit = bg.fit_wobble(made.readings)
    assert key.near_deg is not None
    assert abs(turn_deg(fit.near_deg, key.near_deg)) < 1e-6
    assert fit.wobble_tir == pytest.approx(key.wobble_tir, rel=1e-9)


def test_dish_and_saddle_are_the_surfaces_they_are_named_after() -> None:
    blade, dish, saddle, crest = blade_of(24), 0.1, 0.07, 35.0
    rings = [60.0, 90.0, 120.0]
    faults = Dish((dish, "mm")), Saddle((saddle, "mm"), crest_deg=crest)
    made = exact(blade, *faults, ring_radius=(rings, "mm"), closing=False)
    along = np.array([math.cos(math.radians(crest)), math.sin(math.radians(crest))])
    across = np.array([-along[1], along[0]])
    for ring, one in zip(rings, made.sets, strict=True):
        spot = ring / 127.0 * np.exp(1j * np.radians(blade.angles_deg))
        flat = np.stack([spot.real, spot.imag], axis=1)
        surface = dish * np.sum(flat**2, axis=1)
        surface += saddle * ((flat @ along) ** 2 - (flat @ across) ** 2)
        assert one.readings is not None
        np.testing.assert_allclose(one.readings.reading, surface, rtol=0, atol=1e-12)
        assert one.key.ring_radius == pytest.approx(ring)


def test_tilt_grows_with_the_radius_and_a_bend_with_its_square() -> None:
    rings = "50 100 mm"
    tilted = exact(None, Tilt("0.2 mm", near_deg=90.0), ring_radius=rings, closing=False)
    inner, outer = (one.written for one in tilted.sets)
    np.testing.assert_allclose(inner, outer / 2, atol=1e-12)
    assert outer.max() == pytest.approx(0.1)
    bent = exact(None, LocalBend(5, 9, "0.1 mm"), ring_radius=rings, closing=False)
    inner, outer = (one.written for one in bent.sets)
    np.testing.assert_allclose(inner, outer / 4, atol=1e-12)


# ---- the key against the readings ------------------------------------------------------------


@pytest.mark.parametrize(("first", "last"), [(11, 15), (38, 2), (7, 7)])
def test_a_bend_stands_over_its_teeth_and_over_no_other(first: int, last: int) -> None:
    made = exact(None, LocalBend(first, last, "-0.1 mm"), closing=False)
    run = [(first - 1 + step) % 40 + 1 for step in range((last - first) % 40 + 1)]
    off = np.flatnonzero(made.written) + 1
    assert sorted(off) == sorted(run)
    (bend,) = made.key.planted
    assert (bend.kind, list(bend.teeth), bend.size) == ("bend", run, -0.1)
    middle = run[len(run) // 2]
    assert made.written[middle - 1] == pytest.approx(-0.1)
    assert made.written.min() == made.written[middle - 1]


def test_gum_lifts_its_tooth_in_every_turn() -> None:
    made = exact(None, Gum(1, "0.05 mm"), turned=("forward", "backward"))
    (gum,) = made.key.planted
    assert (gum.kind, gum.teeth, gum.readings) == ("spike", (1,), (1, 41, 42, 82))
    assert np.flatnonzero(made.written).tolist() == [0, 40, 41, 81]
    assert set(made.readings.tooth[made.written != 0]) == {1}


def test_a_drift_is_what_the_turn_fails_to_close_by() -> None:
    made = exact(None, Drift("0.03 mm"), Tilt("0.1 mm"))
    assert made.readings.closure == pytest.approx(0.03)
    steps = np.diff(made.key.parts["drift"])
    np.testing.assert_allclose(steps, 0.03 / 40)


def test_a_bumped_base_lifts_all_readings_after_it() -> None:
    made = exact(None, Bump(17, "0.06 mm"), clock_deg=[0.0, 90.0])
    first, second = made.sets
    assert first.written.tolist() == [0.0] * 17 + [0.06] * 24
    assert not second.written.any()
    (bump,) = first.key.planted
    assert bump.readings == tuple(range(18, 42))
    assert second.key.planted == ()
    assert first.readings is not None
    assert first.readings.closure == pytest.approx(0.06)


def test_play_lags_behind_the_way_of_turning() -> None:
    """Phase lag of a dead band h: about 2h/(pi A), within 4 % for h up to 0.1 A."""
    amplitude, band = 0.1, 0.008
    faults = Tilt((2 * amplitude, "mm"), near_deg=100.0), Play((band, "mm"))
    made = exact(None, *faults, turned=("forward", "backward"), closing=False)
    forward, backward = made.written[:40], made.written[40:]
    angles = np.radians(made.readings.angle_deg[:40])
    shift = np.degrees(np.angle(np.sum(forward * np.exp(1j * angles)))) - 100.0
    assert shift == pytest.approx(math.degrees(2 * band / (math.pi * amplitude)), rel=0.04)
    at_tooth = dict(zip(made.readings.tooth[40:].tolist(), backward, strict=True))
    gap = np.array([at_tooth[tooth] for tooth in range(1, 41)]) - forward
    assert np.max(np.abs(gap)) == pytest.approx(band)
    # The plate rises at tooth 1: turned forward the hand is late and low, backward late and high.
    assert gap[0] == pytest.approx(band)


@pytest.mark.parametrize(
    ("miscount", "places", "labels", "planted"),
    [
        (Skipped(12), [*range(11), *range(12, 40)], range(1, 40), ()),
        (Doubled(12), [*range(12), 11, *range(12, 40)], range(1, 42), (12, 13)),
    ],
)
def test_a_miscount_leaves_a_number_too_few_or_too_many(miscount, places, labels, planted) -> None:
    tilt = Tilt("0.2 mm", near_deg=77.0)
    whole = exact(None, tilt, closing=False)
    made = exact(None, tilt, miscount, closing=False)
    np.testing.assert_array_equal(made.written, whole.written[places])
    (one,) = made.sets
    assert one.readings is None
    assert one.course.label.tolist() == [*labels]
    assert made.key.tooth.tolist() == [at + 1 for at in places]
    assert made.key.planted[0].readings == planted
    count = f"{len(places)} readings"
    with pytest.raises(bg.RefusedError, match=f"{count} were written for 40 teeth"):
        _ = made.readings
    if len(places) < 40:  # One too many may be the closing reading.
        with pytest.raises(bg.RefusedError, match=f"{count} for 40 teeth"):
            bg.Readings(blade_of(), made.written, unit="mm")


@pytest.mark.parametrize("kind", ["skipped", "doubled"])
@pytest.mark.parametrize("tooth", [9, 21, 33])
def test_check_readings_finds_the_miscount_in_what_was_written(
    kind: str, tooth: int, tmp_path: Any
) -> None:
    miscount = Skipped(tooth) if kind == "skipped" else Doubled(tooth)
    faults = [Tilt("0.4 mm", near_deg=50.0), miscount]
    made = simulate(blade_of(), rng=tooth, faults=faults, closing=kind == "doubled")
    path = tmp_path / "written"
    if kind == "doubled":
        made.to_frame().to_csv(path, index=False)
        found = bg.check_readings(path)[0]
    else:
        path.write_text("\n".join(f"{one:g}" for one in made.written), encoding="utf-8")
        found = bg.check_readings(path, unit="mm", teeth=40)[0]
    assert found.kind == kind
    assert {tooth, tooth + 1} & set(found.places)


@pytest.mark.parametrize(
    ("slip", "row", "times", "planted"),
    [
        (LostMinus(20), 19, -1, ("sign", (20,), (20,), None)),
        (DecimalSlip(3, 10), 2, 10, ("scale", (3,), (3,), 10.0)),
    ],
)
def test_a_slip_of_the_pen_changes_one_reading(slip, row, times, planted) -> None:
    whole = simulate(rng=5, faults=[Tilt(near_deg=0.0)])
    made = simulate(rng=5, faults=[Tilt(near_deg=0.0), slip])
    assert np.flatnonzero(made.written != whole.written).tolist() == [row]
    assert made.written[row] == pytest.approx(times * whole.written[row])
    assert made.key.planted == (planted,)


def test_two_readings_are_written_in_each_others_place() -> None:
    whole = simulate(rng=5, faults=[Tilt("0.3 mm", near_deg=0.0)])
    made = simulate(rng=5, faults=[Tilt("0.3 mm", near_deg=0.0), Swapped(40)])
    assert made.written[[39, 40]].tolist() == whole.written[[40, 39]].tolist()
    np.testing.assert_array_equal(made.written[:39], whole.written[:39])
    assert made.key.planted == (("swapped", (40, 1), (40, 41), None),)
    steep = simulate(rng=5, faults=[Tilt("0.3 mm", near_deg=0.0), Swapped(10)])
    one = bg.check_readings(steep.readings)[0]
    assert (one.kind, one.teeth) == steep.key.planted[0][:2]
    np.testing.assert_array_equal(one.repaired.reading, whole.written)


def test_a_changed_unit_shows_from_that_reading_on() -> None:
    whole = simulate(rng=5)
    made = simulate(rng=5, faults=[UnitSlip(30, "in")])
    np.testing.assert_array_equal(made.written[:30], whole.written[:30])
    after = np.round(whole.written[30:] / 25.4 / 0.0005) * 0.0005
    np.testing.assert_allclose(made.written[30:], after, atol=1e-12)
    planted = made.key.planted[0]
    assert planted.readings == tuple(range(31, 42))
    assert planted.size == pytest.approx(1 / 25.4)


def test_the_parts_add_up_to_what_the_dial_showed() -> None:
    made = simulate(
        blade_of(),
        rng=3,
        faults=[
            Dish("0.1 mm"),
            Saddle("0.02 mm"),
            LocalBend(3, 9, "0.1 mm"),
            Gum(20, "0.1 mm"),
            Flange("0.05 mm"),
            Seating("0.01 mm"),
            Drift("0.02 mm"),
            Play("0.004 mm"),
            Bump(12, "0.05 mm"),
        ],
        ring_radius="80 110 mm",
        clock_deg=[0, 120],
        dial_zero="0.1 0.3 mm",
    )
    assert len(made.sets) == 4
    for one in made.sets:
        shown = np.sum(list(one.key.parts.values()), axis=0)
        np.testing.assert_allclose(one.written, shown, atol=1e-12)
        steps = one.written / 0.01
        np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)
        assert np.max(np.abs(one.key.parts["rounding"])) <= 0.005 + 1e-12
    assert made.sets[0].key.seat == made.sets[1].key.seat != made.sets[2].key.seat
    assert [one.key.kinds.count("step") for one in made.sets] == [1, 0, 0, 0]


@pytest.mark.parametrize(
    ("unit", "graduation"), [("mm", 0.01), ("in", 0.0005), ("thou", 0.5), ("um", 10.0)]
)
def test_readings_stand_on_the_dials_graduation(unit: str, graduation: float) -> None:
    made = simulate(rng=2, unit=unit)
    assert made.readings.unit == unit
    assert made.readings.graduation == pytest.approx(graduation)
    assert made.key.wobble_tir == pytest.approx(8 * graduation)
    decimals = 4 if unit == "in" else 2
    for reading in made.written:
        assert reading == round(float(reading), decimals)
        assert str(float(reading)) != "-0.0"
    steps = made.written / graduation
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)


# ---- chance ----------------------------------------------------------------------------------


def as_bytes(made: Simulated) -> bytes:
    return b"".join(one.written.tobytes() + str(one.key).encode() for one in made.sets)


def test_the_same_seed_gives_the_same_bytes_and_another_does_not() -> None:
    faults = [Seating("0.01 mm"), Flange("0.1 mm")]
    asked: dict[str, Any] = {"clock_deg": [0, 90], "faults": faults}
    made = as_bytes(simulate(rng=11, **asked))
    assert made == as_bytes(simulate(rng=11, **asked))
    assert made == as_bytes(simulate(rng=np.random.default_rng(11), **asked))
    assert made != as_bytes(simulate(rng=12, **asked))


def test_a_generator_goes_on_from_call_to_call() -> None:
    rng = np.random.default_rng(11)
    assert as_bytes(simulate(rng=rng)) != as_bytes(simulate(rng=rng))


def test_one_more_fault_leaves_the_noise_as_it_was() -> None:
    faults = [Saddle("0.05 mm"), Gum(3, "0.1 mm"), Flange("0.04 mm")]
    plain, more = simulate(rng=4), simulate(rng=4, faults=faults)
    np.testing.assert_array_equal(plain.key.parts["noise"], more.key.parts["noise"])
    np.testing.assert_array_equal(plain.key.parts["tilt"], more.key.parts["tilt"])


def test_how_a_blade_sits_does_not_hang_on_what_is_read_of_it() -> None:
    seating = [Seating("0.01 mm")]
    asked: dict[str, Any] = {"rng": 4, "clock_deg": [0, 90], "faults": seating}
    one = simulate(ring_radius="100 mm", **asked)
    two = simulate(ring_radius="80 100 mm", turned=["forward", "forward"], **asked)
    assert [made.key.seat for made in one.sets] == [made.key.seat for made in two.sets[::2]]


def test_the_noise_and_the_seating_are_as_large_as_asked() -> None:
    faults = [Seating("0.03 mm")]
    made = simulate(rng=9, noise_sd="0.02 mm", faults=faults, clock_deg=[0.0] * 400)
    noise = np.concatenate([one.key.parts["noise"] for one in made.sets])
    seats = np.array([one.key.seating_vector for one in made.sets])
    assert noise.std() == pytest.approx(0.02, rel=0.03)
    for part in (seats.real, seats.imag):
        assert part.std() == pytest.approx(0.03, rel=0.15)
        assert abs(part.mean()) < 0.006
    assert abs(np.corrcoef(seats.real, seats.imag)[0, 1]) < 0.2


def test_the_key_lies_within_the_limits_of_the_fit_in_95_of_100() -> None:
    rng = np.random.default_rng(95)
    sizes = directions = 0
    count = 300
    for _ in range(count):
        tilt = Tilt("0.06 mm")
        made = simulate(rng=rng, graduation="0 mm", noise_sd="0.01 mm", faults=[tilt])
        fit = bg.fit_wobble(made.readings)
        low, high, _ = fit.amplitude_interval()
        sizes += bool(low <= made.key.wobble_tir / 2 <= high)
        start, end, _ = fit.near_interval()
        half = (end - start) / 2
        assert made.key.near_deg is not None
        directions += bool(abs(turn_deg(fit.near_deg, made.key.near_deg)) <= half)
    # Four standard deviations of a count of 95 % in 300 are 5 %.
    assert 0.90 <= sizes / count <= 0.997
    assert 0.90 <= directions / count <= 0.997


# ---- requests --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"rng": -1}, "rng is -1"),
        ({"rng": None}, "rng is None"),
        ({"rng": True}, "rng is True"),
        ({"unit": "cm"}, "unit is 'cm'"),
        ({"faults": Gum(3, "0.1 mm")}, "give a list of them"),
        ({"faults": "gum"}, "faults is 'gum'"),
        ({"faults": ["gum"]}, "'gum' is no fault; use LocalBend, Gum, "),
        ({"faults": [Gum]}, "is no fault"),
        ({"faults": [NO_TILT, Tilt()]}, "Tilt is there twice"),
        ({"faults": [UnitSlip(3, "in"), UnitSlip(9, "um")]}, "UnitSlip is there twice"),
        ({"faults": [Tilt("-0.1 mm")]}, "Tilt.tir is -0.1"),
        ({"faults": [Tilt("0.1")]}, "Tilt.tir: '0.1' has no unit"),
        ({"faults": [Tilt(0.1)]}, "Tilt.tir is 0.1, without a unit"),
        ({"faults": [Tilt((math.nan, "mm"))]}, "Tilt.tir is nan"),
        ({"faults": [Tilt(near_deg=math.inf)]}, "Tilt.near_deg is inf"),
        ({"faults": [Saddle("-1 mm")]}, "Saddle.crest is -1"),
        ({"faults": [Seating((True, "mm"))]}, "Seating.sd is True"),
        ({"faults": [Play("-0.1 mm")]}, "Play.band is -0.1"),
        ({"faults": [Flange("120 mm")]}, "Flange.tir is 120 mm, more than the ring's radius"),
        ({"faults": [Gum(3, "-115 mm")]}, "more than the ring's radius"),
        ({"faults": [Dish("5 in")]}, "Dish.height is 5 in, more than the ring's radius"),
        ({"faults": [LocalBend(3, 41, "0.1 mm")]}, "tooth 41 on a 40-tooth blade"),
        ({"faults": [Gum(0, "0.1 mm")]}, "tooth 0 on a 40-tooth blade"),
        ({"faults": [Bump(41, "0.1 mm")]}, "Bump.after is 41"),
        ({"faults": [Bump(0, "0.1 mm")]}, "Bump.after is 0"),
        ({"faults": [Skipped(1)]}, "tooth 1 cannot be skipped"),
        ({"faults": [Skipped(3), Doubled(4)]}, "both there"),
        ({"faults": [Doubled(41)]}, "tooth 41 on a 40-tooth blade"),
        ({"faults": [Skipped(3)], "turned": ["backward"]}, "first turn"),
        ({"faults": [Skipped(3), LostMinus(3)]}, "tooth 3 is skipped"),
        ({"faults": [Tilt(near_deg=0.0), LostMinus(1)]}, "no minus to lose"),
        ({"faults": [DecimalSlip(3, 5)]}, "factor of 5"),
        ({"faults": [DecimalSlip(3, 1)]}, "factor of 1"),
        ({"faults": [DecimalSlip(3, -10)]}, "factor of -10"),
        ({"faults": [NO_TILT, DecimalSlip(3, 10)], "noise_sd": "0 mm"}, "is 0"),
        ({"faults": [Swapped(40)], "closing": False}, "last of its turn"),
        ({"faults": [Swapped(41)]}, "tooth 41 on a 40-tooth blade"),
        ({"faults": [NO_TILT, Swapped(3)], "noise_sd": "0 mm"}, "read the same"),
        ({"faults": [UnitSlip(3, "mm")]}, "another unit than mm"),
        ({"faults": [UnitSlip(41, "in")]}, "UnitSlip.after is 41"),
        ({"noise_sd": "much"}, "noise_sd: 'much' has no unit"),
        ({"graduation": "-1 mm"}, "graduation is -1"),
        ({"ring_radius": "200 mm"}, "a ring radius of 200 mm"),
        ({"ring_radius": "100 0 mm"}, "a ring radius of 0 mm"),
        ({"ring_radius": 100}, "without a unit"),
        ({"ring_radius": "100 110 mm", "dial_zero": "0 0 0 mm"}, "dial_zero holds 3 numbers"),
        ({"dial_zero": "? mm"}, "dial_zero is None"),
        ({"blade": 40}, "give a blade"),
        ({"clock_deg": []}, "clock_deg holds 0 numbers"),
        ({"clock_deg": [0, math.nan]}, "clock_deg is nan"),
        ({"turned": ()}, "turned is"),
        ({"turned": "forward"}, "turned is 'forward'"),
        ({"turned": ["sideways"]}, "turned is 'sideways'"),
    ],
)
def test_what_is_not_possible_is_refused(asked: dict[str, Any], words: str) -> None:
    with pytest.raises(bg.RefusedError, match=words):
        simulate(**({"rng": 1} | asked))


def test_what_has_its_own_place_may_come_several_times() -> None:
    made = exact(None, Gum(3, "0.1 mm"), Gum(9, "-0.2 mm"), Bump(20, "1 thou"))
    assert made.written[[2, 8, 19, 20]] == pytest.approx([0.1, -0.2, 0.0, 0.0254])
    assert [one[:3] for one in made.key.planted[:2]] == [
        ("spike", (3,), (3,)), ("spike", (9,), (9,)),
    ]  # fmt: skip
    both = exact(None, LocalBend(5, 9, "0.1 mm"), LocalBend(20, 24, "0.2 mm"))
    assert both.written[[6, 21]] == pytest.approx([0.1, 0.2])
    assert [one.teeth[0] for one in both.key.planted] == [5, 20]


def test_a_length_in_another_unit_is_the_same_length() -> None:
    one = simulate(rng=3, unit="thou", faults=[Tilt("0.254 mm"), Drift((0.001, "in"))])
    other = simulate(rng=3, unit="thou", faults=[Tilt("10 thou"), Drift((1, "thou"))])
    np.testing.assert_allclose(one.written, other.written)


def test_a_blade_without_a_size_needs_a_ring() -> None:
    with pytest.raises(bg.RefusedError, match="neither ring_radius nor"):
        simulate(bg.Blade(40), rng=1)
    made = simulate(bg.Blade(40), rng=1, ring_radius="4.5 in", unit="thou")
    assert made.key.ring_radius == pytest.approx(4500)


def test_several_sets_are_taken_one_by_one() -> None:
    made = simulate(rng=1, clock_deg=[0, 180])
    for name in ("readings", "written", "key"):
        with pytest.raises(bg.RefusedError, match="2 sets"):
            getattr(made, name)
    assert [one.key.mount for one in made.sets] == [1, 2]
    assert made.keys_frame()["clock_deg"].tolist() == [0.0, 180.0]


@pytest.mark.parametrize("unit", ["mm", "thou"])
def test_the_table_reads_back_as_the_same_readings(unit: str, tmp_path: Any) -> None:
    blade = blade_of(50, pitch_pattern=(1, 1, 1, 1, 1.6), plate="2.2 mm", name="007")
    made = simulate(
        blade,
        rng=8,
        unit=unit,
        touch_deg=-2.5,
        turned=("forward", "backward"),
        faults=[Play((0.5, unit))],
    )
    path = tmp_path / "invented.csv"
    made.to_frame().to_csv(path, index=False)
    back = bg.read_blade(path)
    assert back.blade.name == "007"
    np.testing.assert_array_equal(back.reading, made.readings.reading)
    np.testing.assert_array_equal(back.way, made.readings.way)
    np.testing.assert_array_equal(back.closing, made.readings.closing)
    assert back.ring_radius_mm == pytest.approx(made.readings.ring_radius_mm)
    np.testing.assert_allclose(back.angle_deg, made.readings.angle_deg)


def test_a_table_does_not_lose_the_angles_of_the_teeth() -> None:
    made = simulate(bg.Blade(3, diameter="200 mm", tooth_deg=[0, 100, 200]), rng=1)
    with pytest.raises(bg.RefusedError, match="pitch_pattern"):
        made.to_frame()


def test_the_key_says_what_was_planted_in_plain_values() -> None:
    faults = [DecimalSlip(9, 10), Gum(3, "0.1 mm"), Tilt("0.1 mm", near_deg=93.0)]
    made = simulate(blade_of(name="K-1"), rng=1, faults=faults)
    said = made.key.to_dict()
    assert said["near_tooth"] == 11
    assert said["far_tooth"] == 31
    assert said["wobble_tir"] == pytest.approx(0.1)
    assert said["tilt_deg"] == pytest.approx(math.degrees(math.atan(0.05 / 114.3)))
    assert said["planted"] == [
        {"kind": "spike", "teeth": [3], "readings": [3], "size": 0.1},
        {"kind": "scale", "teeth": [9], "readings": [9], "size": 10.0},
    ]
    text = str(made.key)
    assert "invented" in text
    assert "spike, 0.1 mm at tooth 3, reading 3" in text
    assert "scale, times 10 at tooth 9" in text
    flat = exact().key
    assert flat.near_deg is None
    assert flat.near_tooth is None
    assert "not tilted" in str(flat)


@settings(max_examples=60, deadline=None)
@given(
    teeth=st.integers(2, 120),
    tir=st.floats(0, 5),
    near=st.floats(-720, 720),
    saddle=st.floats(0, 1),
    height=st.floats(-1, 1),
    ends=st.tuples(st.integers(-1, 130), st.integers(-1, 130)),
    inside=st.booleans(),
    clocks=st.lists(st.floats(-360, 720), min_size=1, max_size=3),
    closing=st.booleans(),
    miscount=st.sampled_from(["none", "skipped", "doubled"]),
    unit=st.sampled_from(["mm", "in", "thou", "um"]),
    seed=st.integers(0, 2**63),
)
def test_any_request_is_answered_whole_or_refused(
    teeth, tir, near, saddle, height, ends, inside, clocks, closing, miscount, unit, seed
) -> None:
    if inside:
        ends = ((ends[0] - 1) % teeth + 1, (ends[1] - 1) % teeth + 1)
    kinds: dict[str, Any] = {"skipped": Skipped, "doubled": Doubled}
    miscounts = [] if miscount == "none" else [kinds[miscount](ends[0])]
    possible = min(ends) >= 1 and max(ends) <= teeth and (miscount != "skipped" or ends[0] > 1)
    with contextlib.nullcontext() if possible else pytest.raises(bg.RefusedError):
        made = simulate(
            bg.Blade(teeth, diameter="300 mm"),
            rng=seed,
            unit=unit,
            faults=[
                Tilt((tir, unit), near),
                Saddle((saddle, unit)),
                LocalBend(*ends, (height, unit)),
                Gum(ends[1], (height, unit)),
                *miscounts,
            ],
            clock_deg=clocks,
            closing=closing,
        )
    if not possible:
        return
    assert len(made.sets) == len(clocks)
    for place, one in enumerate(made.sets):
        off = {"skipped": -1, "doubled": 1}.get(miscount, 0) if place == 0 else 0
        assert len(one.written) == teeth + closing + off == len(one.key.tooth)
        assert (one.readings is None) == (off != 0)
        assert np.isfinite(one.written).all()
        for planted in one.key.planted:
            assert all(1 <= at <= len(one.written) for at in planted.readings)
            read = one.key.tooth[np.asarray(planted.readings, dtype=int) - 1]
            assert set(read.tolist()) <= set(planted.teeth)
        assert one.key.to_dict()["unit"] == unit
