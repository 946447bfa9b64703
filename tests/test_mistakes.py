"""What went wrong with readings is found, named and mended, and nothing is changed unasked.

Planted mistakes are read off a plate that is turned by rotation matrices (tests/rigid_body.py), not
off the sinusoid that is fitted. The shares at the end are a small seeded part of
tests/benchmarks/bench_mistakes.py; a share of n trials may stray by three of its standard
deviations, sqrt(p (1 - p) / n), to the bad side of its aim.
"""

from __future__ import annotations

import csv
import math
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rigid_body import RigidBlade, readings_mm, tooth_angles_deg
from simulated import rng_for
from written import run, save, written

import bladegeom as bg
from bladegeom.mistakes._said import SAID
from bladegeom.mistakes.trial import FALSE_ALARMS

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))
import bench_mistakes as bench

TEETH = 40
NOISE_MM = 0.001
ARRAYS = ("tooth", "reading", "turn", "closing", "way")


def read_mm(physical, *, amplitude_mm=0.05, offset_mm=0.02, seed=11, teeth=TEETH):
    """Readings of teeth in the order in which the stylus really met them."""
    ring = 100.0
    truth = RigidBlade(tilt_deg=math.degrees(math.atan(amplitude_mm / ring)), near_deg=77.0)
    angles = np.asarray(tooth_angles_deg(teeth))[(np.asarray(physical) - 1) % teeth]
    exact = readings_mm(truth, angles, ring, dial_zero_mm=-offset_mm)
    return exact + rng_for(seed).normal(0.0, NOISE_MM, len(exact))


def whole(physical=None, **more):
    """One reading a tooth and the closing reading: what should have been met, unless stated."""
    return read_mm([*range(1, TEETH + 1), 1] if physical is None else physical, **more)


def readings(values, **facts):
    return bg.Readings(bg.Blade(TEETH, name="X"), values, unit="mm", ring_radius="100 mm", **facts)


def first(values, **facts):
    found = bg.check_readings(readings(values, **facts))
    assert len(found) > 0
    return found[0]


def near_of(one):
    return bg.fit_wobble(one).near_deg


TRUE_NEAR = near_of(readings(whole()))


# Each kind, by an example


def test_nothing_is_found_in_readings_without_a_mistake():
    found = bg.check_readings(readings(whole()))
    assert len(found) == 0
    assert str(found) == "Blade X: no mistake found"


def test_a_lost_minus():
    values = whole(offset_mm=0.0)
    values[29] = abs(values[29])
    assert whole(offset_mm=0.0)[29] < -0.01
    one = first(values)
    assert (one.kind, one.teeth) == ("sign", (30,))
    assert "tooth 30" in one.words
    assert "lost minus" in one.words
    assert_allclose(one.repaired.reading, whole(offset_mm=0.0))


@pytest.mark.parametrize("slip", [0.01, 0.1, 10.0, 100.0, 1000.0])
def test_a_slipped_decimal_point(slip):
    values = whole()
    values[11] *= slip
    one = first(values)
    assert (one.kind, one.teeth) == ("scale", (12,))
    assert_allclose(one.repaired.reading, whole())


def test_a_slipped_decimal_point_from_some_reading_on():
    values = whole()
    values[22:] /= 10
    one = first(values)
    assert (one.kind, one.teeth[0]) == ("scale", 23)
    assert_allclose(one.repaired.reading, whole())


@pytest.mark.parametrize(("factor", "unit"), [(25.4, "in"), (0.0254, "thou"), (0.001, "um")])
def test_another_unit_from_some_reading_on(factor, unit):
    values = whole()
    values[15:] /= factor
    one = first(values)
    assert (one.kind, one.teeth[0]) == ("unit", 16)
    assert f"written in {unit}" in one.words
    assert_allclose(one.repaired.reading, whole())


@pytest.mark.parametrize("revolution", [1.0, 0.5, 0.2, 2.54, 1.27, 0.508])
def test_a_dial_that_passed_zero(revolution):
    true = whole(offset_mm=0.01)
    one = first(np.where(true < 0, true + revolution, true))
    assert one.kind == "wrap"
    assert set(one.teeth) == set((np.flatnonzero(true < 0) % TEETH + 1).tolist())
    assert_allclose(one.repaired.reading, true)


def test_a_dial_that_passed_zero_more_than_once():
    true = whole(amplitude_mm=0.35)
    one = first(np.mod(true, 0.2))
    assert one.kind == "wrap"
    assert_allclose(np.ptp(one.repaired.reading - true), 0.0, atol=1e-12)


def test_the_stated_revolution_is_tried_alone():
    true = whole(offset_mm=0.01)
    values = np.where(true < 0, true + 0.25, true)
    assert first(values, dial_turn="0.25 mm").kind == "wrap"
    assert all(
        one.kind != "wrap" for one in bg.check_readings(readings(values, dial_turn="0.1 in"))
    )
    assert readings(values, dial_turn="0.1 in").dial_turn_mm == pytest.approx(2.54)


@pytest.mark.parametrize("at", [2, 13, 27, 38])
def test_a_tooth_passed_over_or_read_twice_in_a_whole_count(at):
    order = list(range(1, TEETH + 1))
    skipped = [*order[: at - 1], *order[at:], 1]
    one = first(whole(skipped, amplitude_mm=0.2))
    assert one.kind == "skipped"
    assert at in one.places
    twice = [*order[:at], *order[at - 1 : -1]]
    one = first(whole(twice, amplitude_mm=0.2))
    assert one.kind == "doubled"
    assert at + 1 in one.places


def test_the_repaired_count_gives_the_direction_and_what_remains_in_doubt():
    order = [*range(1, 15), *range(16, TEETH + 1), 1, 2]
    values = whole(order, amplitude_mm=0.2)[:TEETH]
    as_read = near_of(readings(values))
    one = first(values)
    assert one.repaired.tooth[14] == 16
    assert abs(as_read - TRUE_NEAR) > 2
    assert abs(near_of(one.repaired) - TRUE_NEAR) < 0.5
    # The check fits the closing reading too, which moves the direction by a hair.
    assert one.near_deg[0] - 0.1 <= near_of(one.repaired) <= one.near_deg[1] + 0.1
    assert one.near_deg[1] - one.near_deg[0] < 2


def test_a_closing_reading_known_by_its_mark_stays_where_it_is():
    order = [*range(1, 15), *range(16, TEETH + 1), 1]
    values = whole(order, amplitude_mm=0.2)
    given = bg.Readings(bg.Blade(TEETH), values, unit="mm", tooth=[*range(1, TEETH), 1])
    one = bg.check_readings(given)[0]
    assert one.kind == "skipped"
    assert 15 in one.places
    assert one.repaired.closing[-1]
    assert one.repaired.tooth[-1] == 1
    assert 15 not in one.repaired.tooth


def test_a_plain_list_that_ends_on_the_last_tooth_read_twice_has_no_closing_reading():
    values = whole([*range(1, 15), *range(14, TEETH + 1)], amplitude_mm=0.2)
    given = readings(values)
    assert given.closing[-1]
    one = bg.check_readings(given)[0]
    assert one.kind == "doubled"
    assert 15 in one.places
    assert one.repaired.tooth.tolist() == [*range(1, TEETH + 1)]
    assert abs(near_of(one.repaired) - TRUE_NEAR) < 0.5


@pytest.mark.parametrize("at", [3, 19, 38])
def test_two_neighbours_exchanged_are_named_and_exchanged_back(at):
    values = whole()
    assert abs(values[at] - values[at - 1]) > 0.004
    values[[at - 1, at]] = values[[at, at - 1]]
    one = first(values)
    assert (one.kind, one.teeth) == ("swapped", (at, at + 1))
    assert_allclose(one.repaired.reading, whole())
    assert str(at) in one.again
    assert str(at + 1) in one.again


def test_the_last_of_one_turn_and_the_first_of_the_next_are_no_neighbours():
    given = two_turns([11, *range(12, TEETH + 1), *range(1, 11)])
    values, tooth = given.reading.copy(), [*range(1, TEETH + 1), *range(11, 41), *range(1, 11)]
    values[[39, 40]] = values[[40, 39]]
    slipped = bg.Readings(bg.Blade(TEETH), values, unit="mm", tooth=tooth, turn=given.turn)
    assert not any(one.kind == "swapped" for one in bg.check_readings(slipped))


def test_gum_on_one_tooth_leaves_its_reading_out():
    values = whole()
    values[6] += 0.0123
    one = first(values)
    assert (one.kind, one.teeth) == ("spike", (7,))
    assert "read it again" in one.words
    assert 7 not in one.repaired.tooth
    assert len(one.repaired.tooth) == TEETH


@pytest.mark.parametrize("by", [-0.006, 0.006])
def test_a_bumped_base_can_only_be_read_again(by):
    values = whole()
    values[25:] += by
    one = first(values)
    assert (one.kind, one.teeth[0]) == ("step", 26)
    assert one.repaired is None
    assert ("higher" in one.words) == (by > 0)


def test_gum_on_a_tooth_is_named_beside_a_bumped_base():
    values = whole(amplitude_mm=0.02)
    values[25:] += 0.012
    values[33] -= 0.012
    values[4] += 0.011
    found = bg.check_readings(readings(values))
    assert (found[0].kind, found[0].teeth[0]) == ("step", 26)
    beside = [one for one in found if one.besides]
    assert {one.teeth for one in beside} == {(5,), (34,)}
    assert all(one.kind == "spike" and one.repaired is None for one in beside)
    assert f"({values[33]:.3g}" in next(one.words for one in beside if one.teeth == (34,))


def two_turns(second, **more):
    tooth = [*range(1, TEETH + 1)] * 2
    physical = [*range(1, TEETH + 1), *second]
    turn = [1] * TEETH + [2] * TEETH
    values = read_mm(physical, **more)
    return bg.Readings(bg.Blade(TEETH), values, unit="mm", tooth=tooth, turn=turn)


def test_a_turn_counted_the_wrong_way():
    assert len(bg.check_readings(two_turns(range(1, TEETH + 1)))) == 0
    found = bg.check_readings(two_turns([1, *range(TEETH, 1, -1)]))
    assert [one.kind for one in found] == ["mirrored", "mirrored"]
    assert {one.words.split()[1] for one in found} == {"1", "2"}
    right = next(one for one in found if one.words.startswith("turn 2"))
    # The true direction: all teeth that were met, under the numbers of the first turn.
    assert abs(near_of(right.repaired) - TRUE_NEAR) < 0.5


def test_one_check_reading_shows_a_turn_counted_the_wrong_way():
    physical = [1, *range(TEETH, 1, -1), 11]
    values = read_mm(physical)
    tooth = [*range(1, TEETH + 1), 11]
    given = bg.Readings(bg.Blade(TEETH), values, unit="mm", tooth=tooth, turn=[1] * TEETH + [2])
    one = bg.check_readings(given)[0]
    assert one.kind == "mirrored"
    assert abs(near_of(one.repaired) - TRUE_NEAR) < 0.5


def test_two_lost_signs_are_found_one_after_the_other():
    values = whole(offset_mm=0.0)
    values[[3, 29]] *= -1
    found = [one for one in bg.check_readings(readings(values)) if one.kind == "sign"]
    assert {one.teeth for one in found} == {(4,), (30,)}
    assert found[-1].words.startswith("besides, ")
    assert_allclose(found[-1].repaired.reading, whole(offset_mm=0.0))


def test_a_bent_plate_is_no_mistake_but_gum_on_it_is():
    angle = np.radians(np.asarray(tooth_angles_deg(TEETH)))
    bent = whole()[:TEETH] + 0.02 * np.cos(2 * angle - 1) + 0.01 * np.cos(3 * angle)
    assert len(bg.check_readings(readings(bent))) == 0
    bent[18] += 0.012
    one = first(bent)
    assert (one.kind, one.teeth) == ("spike", (19,))


@pytest.mark.parametrize("kind", ["sign", "scale", "swapped", "unit", "wrap", "step", "spike"])
def test_the_unit_of_the_readings_does_not_matter(kind):
    values = whole(offset_mm=0.01)
    plant = {
        "sign": lambda v: np.where(np.arange(len(v)) == 29, -v, v),
        "scale": lambda v: np.where(np.arange(len(v)) == 12, 10 * v, v),
        "swapped": lambda v: v[[*range(19), 20, 19, *range(21, len(v))]],
        "unit": lambda v: np.where(np.arange(len(v)) > 19, v / 25.4, v),
        "wrap": lambda v: np.where(v < 0, v + 0.5, v),
        "step": lambda v: np.where(np.arange(len(v)) > 19, v + 0.01, v),
        "spike": lambda v: np.where(np.arange(len(v)) == 9, v + 0.0123, v),
    }[kind](values)
    blade = bg.Blade(TEETH)
    given = {"mm": plant, "in": plant / 25.4, "thou": plant / 0.0254, "um": plant * 1000}
    tops = [
        bg.check_readings(bg.Readings(blade, read, unit=unit))[0] for unit, read in given.items()
    ]
    assert {one.kind for one in tops} == {kind}
    assert len({one.teeth for one in tops}) == 1


# What is told


def test_the_readings_are_never_changed():
    values = whole(offset_mm=0.0)
    values[29] *= -1
    given = readings(values)
    before = {name: getattr(given, name).copy() for name in ARRAYS}
    found = bg.check_readings(given)
    assert found.readings is given
    for name, array in before.items():
        assert (getattr(given, name) == array).all()
        assert not getattr(given, name).flags.writeable
    assert all(one.repaired is not given for one in found)


def test_the_repair_keeps_every_fact():
    values = whole(offset_mm=0.0)
    values[29] *= -1
    facts = {
        "graduation": "0.0001 mm",
        "dial_turn": "1 mm",
        "dial": "left alone",
        "end_float": "0.01 mm",
        "ring_radius_u": "0.5 mm",
        "touch_deg": 3.0,
        "stylus_deg": 2.0,
        "side": "left",
        "surface": "teeth",
    }
    repaired = first(values, **facts).repaired
    lengths = ("graduation", "dial_turn", "end_float", "ring_radius_u")
    kept = {name: f"{getattr(repaired, f'{name}_mm'):g} mm" for name in lengths}
    kept |= {name: getattr(repaired, name) for name in facts if name not in lengths}
    assert kept == facts
    assert repaired.ring_radius_mm == 100
    assert repaired.blade.name == "X"


def test_findings_show_themselves():
    values = whole(offset_mm=0.0)
    values[29] *= -1
    found = bg.check_readings(readings(values))
    plain = found.to_dict()
    assert plain["findings"][0]["kind"] == "sign"
    assert plain["findings"][0]["teeth"] == [30]
    assert plain["findings"][0]["p_value"] < FALSE_ALARMS
    frame = found.to_frame()
    assert len(frame) == len(found)
    assert list(frame["kind"]) == [one.kind for one in found]
    assert "1 sign" in str(found)
    assert "tooth 30" in found._repr_html_()
    assert all(one.kind in SAID for one in found)
    assert len(bg.check_readings(readings(whole())).to_frame()) == 0


@pytest.mark.parametrize("values", [np.full(TEETH, 0.01), [*whole()[:5], *[np.nan] * 35]])
def test_where_nothing_can_be_told_it_is_said(values):
    found = bg.check_readings(readings(values))
    assert len(found) == 0
    assert len(found.remarks) == 1


def test_one_count_of_the_dial_is_no_mistake():
    values = np.zeros(TEETH)
    values[5] = 0.01
    assert len(bg.check_readings(readings(values, graduation="0.01 mm"))) == 0
    step = np.where(np.arange(TEETH) < 20, 0.0, 0.01)
    assert len(bg.check_readings(readings(step, graduation="0.01 mm"))) == 0
    values[5] = 0.05
    assert first(values, graduation="0.01 mm").teeth == (6,)


# Files that are refused because of their count


def table(labels, values, **facts):
    facts = {"teeth": TEETH, **facts}
    rows = [
        [label, f"{value:.6f}", *facts.values()]
        for label, value in zip(labels, values, strict=True)
    ]
    return written([["tooth", "reading_mm", *facts], *rows])


def twice(at=14, amplitude_mm=0.2):
    """A table whose count runs to tooth 41: one tooth was read twice."""
    physical = [*range(1, at + 1), *range(at, TEETH + 1)]
    return table(range(1, TEETH + 2), whole(physical, amplitude_mm=amplitude_mm))


def test_a_tooth_too_many_is_refused_and_the_refusal_names_the_check(tmp_path):
    path = save(tmp_path / "a.csv", twice())
    with pytest.raises(bg.RefusedError, match=r"bladegeom check FILE\.csv"):
        bg.read_blade(path)
    found = bg.check_readings(path)
    assert found.readings is None
    assert found[0].kind == "doubled"
    assert 15 in found[0].places
    assert abs(near_of(found[0].repaired) - TRUE_NEAR) < 0.5
    assert len(found[0].repaired.tooth) == TEETH


def test_a_tooth_beyond_the_last_that_is_the_closing_one_is_said_to_be_so(tmp_path):
    path = save(tmp_path / "a.csv", table(range(1, TEETH + 2), whole(amplitude_mm=0.2)))
    found = bg.check_readings(path)
    assert len(found) == 0
    assert "fits as the closing reading" in found.remarks[0]
    flat = save(tmp_path / "b.csv", table(range(1, TEETH + 2), whole(amplitude_mm=0.001)))
    assert "do not tell which" in bg.check_readings(flat).remarks[0]


@pytest.mark.parametrize("closing", [1, TEETH + 2])
def test_a_tooth_too_many_before_a_closing_reading_is_found_however_that_is_numbered(
    tmp_path, closing
):
    values = whole([*range(1, 15), *range(14, TEETH + 1), 1], amplitude_mm=0.2)
    path = save(tmp_path / "a.csv", table([*range(1, TEETH + 2), closing], values))
    typed = bg.check_readings(
        save(tmp_path / "typed.txt", "\n".join(f"{one:.6f}" for one in values)),
        unit="mm",
        teeth=TEETH,
    )
    found = bg.check_readings(path)
    assert [one.kind for one in found] == [one.kind for one in typed] == ["doubled"]
    assert found[0].places == typed[0].places
    assert 15 in found[0].places
    assert found[0].repaired.closing[-1]
    assert abs(near_of(found[0].repaired) - TRUE_NEAR) < 0.5


def test_a_list_with_a_value_too_few_or_too_many(tmp_path):
    order = [*range(1, TEETH + 1)]
    few = whole([*order[:19], *order[20:]], amplitude_mm=0.2)
    path = save(tmp_path / "few.txt", "\n".join(f"{value:.5f}" for value in few))
    assert (
        "bladegeom check"
        in run("fit", "-", "--teeth", "40", "--unit", "mm", stdin=path.read_bytes()).err
    )
    found = bg.check_readings(path, unit="mm", teeth=TEETH)
    assert found[0].kind == "skipped"
    assert 20 in found[0].places
    assert 20 not in found[0].repaired.tooth
    many = whole([*order[:20], *order[19:], 1], amplitude_mm=0.2)
    path = save(tmp_path / "many.txt", "\n".join(f"{value:.5f}" for value in many))
    found = bg.check_readings(path, unit="mm", teeth=TEETH)
    assert found[0].kind == "doubled"
    assert found[0].repaired.closing[-1]
    assert abs(near_of(found[0].repaired) - TRUE_NEAR) < 0.5


def test_a_value_too_few_on_a_flat_blade_is_reported_without_a_place(tmp_path):
    few = whole(range(1, TEETH), amplitude_mm=0.0005)
    path = save(tmp_path / "few.txt", "\n".join(f"{value:.5f}" for value in few))
    found = bg.check_readings(path, unit="mm", teeth=TEETH)
    assert found[0].kind == "skipped"
    assert "39 readings of 40 teeth" in found[0].words
    assert len(found[0].places) > 30
    assert TEETH in found[0].places
    assert "not established" in str(found[0].evidence)


@pytest.mark.parametrize(
    "labels", [[*range(1, 42), 50], [*range(1, 40), 41, 41], [*range(41)], [*range(1, 40), 42, 41]]
)
def test_other_faults_of_a_file_are_refused_as_ever(tmp_path, labels):
    path = save(tmp_path / "a.csv", table(labels, whole([*range(1, len(labels) + 1)])))
    with pytest.raises(bg.RefusedError):
        bg.check_readings(path)


def test_one_blade_of_several_is_chosen(tmp_path):
    rows = [["blade", "tooth", "reading_mm", "teeth"]]
    for name, offset in (("A", 0.0), ("B", 0.01)):
        values = whole(offset_mm=offset)
        rows += [[name, at + 1 if at < 40 else 1, f"{v:.5f}", 40] for at, v in enumerate(values)]
    path = save(tmp_path / "two.csv", rows)
    assert bg.check_readings(path, blade="B").blade == "B"
    with pytest.raises(bg.RefusedError, match="2 blades"):
        bg.check_readings(path)
    with pytest.raises(bg.RefusedError, match="no blade C"):
        bg.check_readings(path, blade="C")
    assert len(run("check", path, "--json").json["blades"]) == 2


# The command


def slip(tmp_path):
    values = whole(offset_mm=0.0)
    values[29] *= -1
    return save(tmp_path / "slip.csv", table([*range(1, TEETH + 1), 1], values, blade="X"))


def test_the_command_prints_the_findings(tmp_path):
    path = slip(tmp_path)
    ran = run("check", path)
    assert ran.status == 0
    assert "1 sign" in ran.out
    assert "tooth 30" in ran.out
    found = run("check", path, "--json").json["blades"][0]
    assert found["findings"][0]["kind"] == "sign"
    assert found["blade"] == "X"


def test_the_command_writes_the_repair_into_a_new_file_that_fit_takes(tmp_path):
    path, new = slip(tmp_path), tmp_path / "new.csv"
    before = path.read_bytes()
    ran = run("check", path, "--repair", "1", "-o", new)
    assert (ran.status, path.read_bytes()) == (0, before)
    assert f"wrote {new}" in ran.out
    assert_allclose(bg.read_blade(new).reading, whole(offset_mm=0.0), atol=1e-6)
    assert run("fit", new).status == 0
    assert len(bg.check_readings(new)) == 0
    with new.open(encoding="utf-8") as file:
        assert next(csv.reader(file))[:4] == ["blade", "tooth", "turn", "reading_mm"]
    assert [one.name for one in tmp_path.iterdir() if one.name.startswith(".")] == []


def test_a_file_refused_for_its_count_is_mended_by_the_command(tmp_path):
    path, new = save(tmp_path / "a.csv", twice()), tmp_path / "new.csv"
    assert run("fit", path).status == 2
    assert run("check", path, "--repair", 1, "-o", new).status == 0
    assert run("fit", new).status == 0


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--repair", "1"], "belong together"),
        (["-o", "NEW"], "belong together"),
        (["--repair", "9", "-o", "NEW"], "no repair 9"),
        (["--repair", "0", "-o", "NEW"], "no repair 0"),
        (["--repair", "1", "-o", "OLD"], "exists already"),
        (["--repair", "1", "-o", "NOWHERE/new.csv"], "there is no folder"),
        (["--blade", "Z"], "no blade Z"),
    ],
)
def test_the_command_refuses_and_writes_nothing(tmp_path, more, says):
    path = slip(tmp_path)
    before = path.read_bytes()
    places = {
        "NEW": tmp_path / "new.csv",
        "OLD": path,
        "NOWHERE/new.csv": tmp_path / "no" / "n.csv",
    }
    ran = run("check", path, *(places.get(one, one) for one in more))
    assert ran.status == 2
    assert says in ran.err
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


def test_a_step_has_no_repair_to_write(tmp_path):
    values = whole()
    values[25:] += 0.006
    path = save(tmp_path / "a.csv", table([*range(1, TEETH + 1), 1], values))
    ran = run("check", path, "--repair", "1", "-o", tmp_path / "new.csv")
    assert ran.status == 2
    assert "has no repair" in ran.err


def test_what_cannot_be_written_in_full_is_not_written(tmp_path, monkeypatch):
    def fail(*_: object):
        raise OSError(28, "No space left on device")

    path = slip(tmp_path)
    monkeypatch.setattr("os.replace", fail)
    ran = run("check", path, "--repair", "1", "-o", tmp_path / "new.csv")
    assert ran.status == 2
    assert "cannot be written" in ran.err
    assert list(tmp_path.iterdir()) == [path]


def test_the_demo_blades_show_no_mistake_but_the_planted_one():
    for path in sorted(Path("data_demo").glob("*.csv")):
        if path.stem not in ("shelf_blades", "shelf_readings"):
            assert len(bg.check_readings(path)) == 0, path


# Shares


def below(aim, trials):
    """Three standard deviations below an aim that should be reached in so many trials."""
    return aim - 3 * math.sqrt(aim * (1 - aim) / trials)


@pytest.mark.parametrize("make", bench.CLEAN, ids=[name.replace(" ", "_") for name in bench.CLEAN])
def test_at_most_five_percent_of_blades_without_a_mistake_get_a_finding(make):
    trials = 150
    share = np.mean(
        [bench.alarms(bench.CLEAN[make], teeth, trials // 3, 3) for teeth in bench.TEETH]
    )
    assert share <= FALSE_ALARMS + 3 * math.sqrt(FALSE_ALARMS * (1 - FALSE_ALARMS) / trials)


AIMED = [case for case in bench.CASES if case.kind_aim or case.tooth_aim]


@pytest.mark.parametrize("case", AIMED, ids=[case.name for case in AIMED])
def test_planted_mistakes_are_found_as_often_as_aimed_at(case):
    trials = 90
    scores = [bench.score(case, teeth, trials // 3, 4) for teeth in bench.TEETH]
    if case.kind_aim:
        assert np.mean([one.kind for one in scores]) >= below(case.kind_aim, trials)
    if case.tooth_aim:
        assert np.mean([one.tooth for one in scores]) >= below(case.tooth_aim, trials)


# A bend of a few teeth is no mistake


def hump(kind, count):
    """The form of a bend over some teeth, of height 1: none of them is a form that is tried."""
    at = np.arange(1, count + 1) / (count + 1)
    if kind == "triangle":
        return 1 - np.abs(2 * at - 1)
    if kind == "skew":
        return np.where(at < 0.4, at / 0.4, (1 - at) / 0.6) ** 0.8
    return np.exp(-0.5 * ((2 * at - 1) / 0.55) ** 2)


def bent_there(first_tooth, count, height_mm, *, kind="bell", turns=1, offset_mm=0.0, seed=5):
    """Readings of a plate that is bent over some teeth, the first of them again at the end."""
    plate = np.zeros(TEETH)
    plate[(first_tooth - 1 + np.arange(count)) % TEETH] = height_mm * hump(kind, count)
    met = np.tile([*range(1, TEETH + 1), 1], turns)
    values = read_mm(met, amplitude_mm=0.008, offset_mm=offset_mm, seed=seed) + plate[met - 1]
    turn = np.repeat(np.arange(1, turns + 1), TEETH + 1)
    return bg.Readings(
        bg.Blade(TEETH, name="X"), values, unit="mm", tooth=met, turn=turn, ring_radius="100 mm"
    )


BENDS = [
    (first_tooth, count, height)
    for first_tooth in (1, 6, 13, 22, 29, 36, 39)
    for count in (4, 6, 8)
    for height in (0.02, -0.04)
]


@pytest.mark.parametrize(("kind", "gum"), [("triangle", 0.15), ("skew", 0.3), ("bell", 0.15)])
def test_a_bend_of_a_few_teeth_is_hardly_ever_taken_for_a_slip(kind, gum):
    """Where its top is as sharp as one tooth, one turn cannot tell it from gum on that tooth."""
    found = [
        bg.check_readings(bent_there(*bend, kind=kind, seed=seed))
        for seed, bend in enumerate(BENDS)
    ]
    called = [one[0].kind for one in found if len(one)]
    slips = [one for one in called if one != "spike"]
    assert len(slips) <= 0.1 * len(BENDS), slips  # 70 % without the bend as a rival
    assert len(called) - len(slips) <= gum * len(BENDS)


@pytest.mark.parametrize("kind", ["triangle", "skew", "bell"])
@pytest.mark.parametrize("height", [0.02, -0.1, 0.3])
def test_two_turns_that_agree_show_that_it_is_a_bend(kind, height):
    trials = [(first, count) for first in (1, 6, 13, 22, 29, 36, 39) for count in (4, 6, 8)]
    alarms = sum(
        len(bg.check_readings(bent_there(*one, height, kind=kind, turns=2, seed=seed))) > 0
        for seed, one in enumerate(trials)
    )
    assert alarms <= 2  # 5 % of 21 blades, and a deviation of its count


def test_a_sharp_top_that_two_turns_repeat_is_not_taken_for_gum():
    """What no form that is tried follows is held against what the turns show alike."""
    trials = [(first, count) for first in range(1, 41, 4) for count in (3, 4)]
    alarms = sum(
        len(bg.check_readings(bent_there(*one, 0.03, kind="skew", turns=2, seed=one[0]))) > 0
        for one in trials
    )
    assert alarms <= 1  # 5 % of 20


@pytest.mark.parametrize("off", [0.05, 0.2, 1.0])
def test_one_tooth_far_off_on_a_saddle_is_no_bend(off):
    """Bends that lie upon each other, to either side, would follow any single tooth."""
    angle = np.radians(np.asarray(tooth_angles_deg(TEETH)))
    for seed in range(12):
        rng = rng_for(seed)
        tilt, crest, at = *rng.uniform(0, 2 * np.pi, 2), int(rng.integers(TEETH))
        values = 0.03 * np.cos(angle - tilt) + 0.02 * np.cos(2 * angle - crest)
        values = np.round((values + rng.normal(0, 0.002, TEETH)) / 0.002) * 0.002
        values[at] += off
        assert at + 1 in first(values, graduation="0.002 mm").teeth, seed


@pytest.mark.parametrize("start", [8, 20, 33])
def test_a_slip_on_a_bent_plate_is_found_all_the_same(start):
    given = bent_there(14, 6, 0.05, offset_mm=0.05)
    values = given.reading.copy()
    values[start:] /= 25.4
    one = first(values)
    assert (one.kind, one.teeth[0]) == ("unit", start + 1)


def test_a_slip_in_one_of_two_turns_of_a_bent_plate_is_found():
    given = bent_there(14, 6, 0.05, turns=2)
    values = given.reading.copy()
    row = int(np.flatnonzero((given.tooth == 17) & (given.turn == 2))[0])
    values[row] *= -1
    slipped = bg.Readings(
        given.blade, values, unit="mm", tooth=given.tooth, turn=given.turn, ring_radius="100 mm"
    )
    found = bg.check_readings(slipped)
    assert found[0].teeth == (17,)
    assert any(one.kind == "sign" and one.teeth == (17,) for one in found)


def test_where_a_bend_would_explain_it_nearly_as_well_both_are_named():
    """The last four teeth stand off, and there is no closing reading: a step or a bend."""
    values = whole(range(1, TEETH + 1), amplitude_mm=0.01)
    values[-4:] += 0.008
    found = bg.check_readings(readings(values))
    assert found[0].kind == "step"
    assert any("a bend of the plate at teeth" in one for one in found.remarks)
    assert "read a second turn" in " ".join(found.remarks)
    assert any("a bend of the plate at teeth" in one for one in found.doubted)
