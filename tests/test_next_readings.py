"""What to read next, against actually reading on: rows appended, and the whole fitted again."""

from __future__ import annotations

import json
import math
from itertools import combinations

import numpy as np
import pytest
from benchmarks.bench_claims import turns_told
from simulated import rng_for
from written import run, run_apart, save, sheet, two_blades

import bladegeom as bg

NOISE = 0.004


def made(
    teeth=16,
    amplitude=0.05,
    near_deg=33.0,
    unread=(),
    turns=1,
    closing=False,
    ways=("forward",),
    seed=5,
    blade=None,
    offsets=(0.0, 0.3, -0.2),
    climb=0.0,
    **facts,
):
    """Readings in mm of an invented blade, turn by turn, each with an offset of its own."""
    blade = blade or bg.Blade(teeth, name="made")
    rng = rng_for(seed)
    tooth, turn, turned, read = [], [], [], []
    for number in range(1, turns + 1):
        order = [one for one in range(1, blade.teeth + 1) if one not in unread]
        for one in [*order, *(order[:1] if closing else [])]:
            angle = math.radians(blade.angle_of(one) - near_deg)
            tooth.append(one)
            turn.append(number)
            turned.append(ways[(number - 1) % len(ways)])
            read.append(
                amplitude * math.cos(angle)
                + offsets[number - 1]
                + climb * len(read) / blade.teeth
                + rng.normal(0, NOISE)
            )
    return bg.Readings(
        blade,
        read,
        unit="mm",
        tooth=tooth,
        turn=turn,
        turned=turned,
        ring_radius="100 mm",
        **facts,
    )


def read_on(readings, teeth, turn=None):
    """The same readings and some teeth more; what they read does not matter to the design."""
    count = len(teeth)
    kept = readings
    names = {1: "forward", -1: "backward"}
    number = int(kept.turn.max()) + 1 if turn is None else turn
    return bg.Readings(
        kept.blade,
        [*kept.reading, *(0.01 * np.arange(count))],
        unit="mm",
        tooth=[*kept.tooth, *teeth],
        turn=[*kept.turn, *[number] * count],
        turned=[*(names[way] for way in kept.way), *["forward"] * count],
        ring_radius="100 mm",
        surface=kept.surface,
        touch_deg=kept.touch_deg,
    )


def unit_covariance(fit):
    """Covariance for readings of variance 1, without what bends leak."""
    leak = 0.0 if fit.leak is None else fit.leak.covariance
    return (fit.covariance - leak) / fit.reading_sd**2


def with_leak(fit, angle_deg, turn):
    """Covariance for readings of variance 1 at other places, with what the same bends leak."""
    angle = np.radians(angle_deg)
    offsets = (turn[:, np.newaxis] == np.unique(turn)).astype(float)
    columns = np.column_stack([offsets, np.cos(angle), np.sin(angle)])
    unit = np.linalg.inv(columns.T @ columns)[-2:, -2:]
    if fit.leak is None:
        return unit
    waves = [f(k * angle) for k in fit.leak.orders for f in (np.cos, np.sin)]
    into = np.linalg.lstsq(columns, np.column_stack(waves), rcond=None)[0][-2:]
    return unit + fit.leak.variance / fit.reading_sd**2 * into @ into.T


def across(fit, covariance):
    """Standard uncertainty across the fitted direction, or in the worst one."""
    if not fit.resolved:
        return fit.reading_sd * math.sqrt(np.linalg.eigvalsh(covariance)[-1])
    at = math.radians(fit.near_deg + 90.0)
    toward = np.array([math.cos(at), math.sin(at)])
    return fit.reading_sd * math.sqrt(toward @ covariance @ toward)


def after(fit, teeth, **more):
    """Doubt after actually reading on and fitting again, for readings that scatter as before."""
    on = read_on(fit.readings, teeth)
    if fit.leak is None:
        return across(fit, unit_covariance(bg.fit_wobble(on, **more)))
    return across(fit, with_leak(fit, on.angle_deg, on.turn))


GROUPS = bg.Blade(20, pitch_pattern=(1, 1, 1, 1, 1.6), name="groups")
KINDS = bg.Blade(16, tooth_pattern=("L", "R"), name="kinds")
PLANS = {
    "every tooth": (made(), {}),
    "teeth missing": (made(unread=(2, 3, 4, 5, 11)), {}),
    "an arc missing": (made(unread=range(1, 7)), {}),
    "two turns": (made(turns=2), {}),
    "closing reading": (made(closing=True), {}),
    "uneven pitch": (made(blade=GROUPS), {}),
    "touched beside the tooth": (made(touch_deg=-7.0), {}),
    "kinds of teeth": (made(blade=KINDS, surface="teeth"), {}),
    "turned both ways": (made(turns=2, ways=("forward", "backward")), {}),
    "harmonics": (made(), {"harmonics": 3}),
    "drift": (made(closing=True, climb=0.08), {"drift": True}),
    "robust": (made(), {"robust": True}),
    "no wobble": (made(amplitude=0.0, seed=1), {}),
    "no wobble, an arc missing": (made(amplitude=0.0, unread=range(1, 7)), {}),
}


@pytest.mark.parametrize("plan", PLANS)
def test_the_doubt_promised_is_that_of_reading_on_and_fitting_again(plan):
    readings, more = PLANS[plan]
    fit = bg.fit_wobble(readings, **more)
    ahead = bg.next_readings(fit, n=4)
    more = {key: value for key, value in more.items() if key != "robust"}
    assert ahead.across_u == pytest.approx(
        across(fit, fit.covariance / fit.reading_sd**2), rel=1e-9
    )
    assert len(set(ahead.teeth)) == len(ahead.across_u_after) == 4
    for count, promised in enumerate(ahead.across_u_after, start=1):
        assert promised == pytest.approx(after(fit, ahead.teeth[:count], **more), rel=1e-9)
    assert ahead.across_u_after[-1] < ahead.across_u
    if fit.resolved:
        assert ahead.near_u_deg == pytest.approx(fit.near_u_deg)
        assert ahead.near_u_after_deg[-1] == pytest.approx(
            math.degrees(ahead.across_u_after[-1] / fit.amplitude)
        )
    else:
        assert ahead.near_u_deg is None
        assert ahead.near_u_after_deg is None


@pytest.mark.parametrize(
    ("plan", "n"),
    [
        *((plan, 2) for plan in PLANS if plan not in ("drift", "robust")),
        ("teeth missing", 3),
        ("no wobble, an arc missing", 3),
    ],
)
def test_no_other_choice_is_better(plan, n):
    # By exhaustive search; in the worst direction two readings can tie, and then do.
    readings, more = PLANS[plan]
    fit = bg.fit_wobble(readings, **more)
    promised = bg.next_readings(fit, n=n).across_u_after[-1]
    teeth = range(1, readings.blade.teeth + 1)
    others = [after(fit, chosen, **more) for chosen in combinations(teeth, n)]
    assert promised == pytest.approx(min(others), rel=1e-6)
    assert max(others) > 1.001 * promised or not fit.resolved


def test_one_reading_in_a_turn_of_its_own_tells_nothing_and_that_is_said():
    fit = bg.fit_wobble(PLANS["teeth missing"][0])
    ahead = bg.next_readings(fit, n=1)
    assert ahead.across_u_after == pytest.approx((ahead.across_u,))
    assert "read two at least" in str(ahead)
    assert "read two at least" not in str(bg.next_readings(fit, n=2))


@pytest.mark.parametrize("near_deg", [33.0, 80.0, 120.0])
@pytest.mark.parametrize("unread", [(2, 3, 4, 5, 6, 11, 12), (2, 3, 4, 5, 6, 7, 8)])
def test_one_reading_is_the_best_one_if_the_last_turn_goes_on(unread, near_deg):
    # A tooth not read yet can join the last turn; it shares that turn's offset.
    readings = made(unread=unread, near_deg=near_deg)
    fit = bg.fit_wobble(readings)
    ahead = bg.next_readings(fit, n=1)

    def joined(tooth):
        angle_deg = np.append(readings.angle_deg, readings.blade.angle_of(tooth))
        return across(fit, with_leak(fit, angle_deg, np.ones(len(angle_deg))))

    values = {tooth: joined(tooth) for tooth in range(1, 17)}
    assert values[ahead.teeth[0]] == pytest.approx(min(values.values()), rel=1e-6)
    assert max(values.values()) > 1.02 * min(values.values())


def test_one_reading_under_a_drift_beats_every_other():
    readings, more = PLANS["drift"]
    fit = bg.fit_wobble(readings, **more)
    ahead = bg.next_readings(fit, n=1)
    others = [after(fit, (tooth,), **more) for tooth in range(1, 17)]
    assert ahead.across_u_after[0] == pytest.approx(min(others), rel=1e-12)
    assert ahead.across_u_after[0] < 0.999 * ahead.across_u


def test_on_an_even_blade_it_names_the_teeth_at_both_ends_of_the_neutral_line():
    # By hand: 16 teeth of 22.5 deg, near at 22.5 deg (tooth 2): neutral at teeth 6 and 14.
    fit = bg.fit_wobble(made(near_deg=22.5))
    assert set(bg.next_readings(fit, n=2).teeth) == {6, 14}
    assert {end.tooth for end in bg.neutral_line(fit).neutral} == {6, 14}


def test_teeth_not_read_yet_take_part_and_fill_an_arc():
    fit = bg.fit_wobble(made(unread=range(1, 7), amplitude=0.0, seed=3))
    assert not fit.resolved
    assert set(bg.next_readings(fit, n=4).teeth) & set(range(1, 7))


def test_teeth_of_a_kind_that_was_never_read_are_not_proposed():
    readings = made(blade=KINDS, surface="teeth", unread=range(2, 17, 2))
    fit = bg.fit_wobble(readings)
    ahead = bg.next_readings(fit, n=4)
    assert all(tooth % 2 == 1 for tooth in ahead.teeth)
    assert ahead.across_u_after[-1] == pytest.approx(after(fit, ahead.teeth))


# How many turns


def test_so_many_turns_as_are_told_do_in_nine_cases_of_ten():
    # Turns that are read, fitted anew, and asked again: four standard deviations of a share.
    _, told, came = turns_told(100)
    assert told > 15
    assert came > 0.9 - 4 * math.sqrt(0.9 * 0.1 / told)


def test_turns_that_were_read_may_be_enough():
    ahead = bg.next_readings(bg.fit_wobble(made(near_deg=22.5)))
    assert ahead.turns_needed == ahead.turns == 1
    assert ahead.probability > 0.95
    assert "is reached" in str(ahead)


def test_a_direction_in_the_middle_between_two_teeth_is_never_sure():
    # Even noise with nothing once a turn: the fitted direction is the true one, half-way.
    blade = bg.Blade(16)
    angle = np.radians(blade.angles_deg)
    read = 0.05 * np.cos(angle - np.radians(11.2)) + 0.002 * np.cos(5 * angle)
    fit = bg.fit_wobble(bg.Readings(blade, read, unit="mm", ring_radius="100 mm"))
    ahead = bg.next_readings(fit)
    assert ahead.turns_needed is None
    assert "half way to" in " ".join(ahead.remarks)
    assert ahead.to_dict()["turns_needed"] is None
    assert bg.next_readings(fit, probability=0.5).turns_needed == 1


def test_nothing_is_promised_where_no_direction_is_established():
    ahead = bg.next_readings(bg.fit_wobble(PLANS["no wobble"][0]))
    assert (ahead.tooth, ahead.probability, ahead.turns_needed) == (None, None, None)
    assert "no direction is established" in str(ahead)


def test_identical_readings_without_a_graduation_leave_the_doubt_unknown():
    fit = bg.fit_wobble(bg.Readings(bg.Blade(12), [0.1] * 12, unit="mm"))
    ahead = bg.next_readings(fit, n=2)
    assert math.isnan(ahead.across_u)
    assert ahead.to_dict()["across_u"] is None
    assert "not known" in str(ahead)


def test_rounding_that_does_not_average_out_is_said():
    blade = bg.Blade(12)
    read = np.round(0.05 * np.cos(np.radians(blade.angles_deg)), 1)
    coarse = bg.fit_wobble(bg.Readings(blade, read, unit="mm", graduation="0.1 mm"))
    assert "finer indicator" in str(bg.next_readings(coarse))


@pytest.mark.parametrize("n", [0, -1, 17, 2.5])
def test_an_impossible_number_of_readings_is_refused(n):
    with pytest.raises(bg.RefusedError, match="whole number of readings from 1 to 16"):
        bg.next_readings(bg.fit_wobble(made()), n=n)


@pytest.mark.parametrize("probability", [0.0, 1.0, 95, math.nan])
def test_an_impossible_probability_is_refused(probability):
    with pytest.raises(bg.RefusedError, match="between 0 and 1"):
        bg.next_readings(bg.fit_wobble(made()), probability=probability)


def test_a_large_blade_is_answered_too():
    fit = bg.fit_wobble(made(teeth=400))
    ahead = bg.next_readings(fit, n=12)
    assert len(set(ahead.teeth)) == 12
    assert list(ahead.across_u_after[1:]) == sorted(ahead.across_u_after[1:], reverse=True)


# The command


def test_the_command_says_what_the_library_says(tmp_path):
    path = save(tmp_path / "t.csv", sheet(blade="A", ring_radius_mm=100))
    ran = run("next", path, "-n", "2", "--probability", "0.9", "--json")
    assert (ran.status, ran.err) == (0, "")
    ahead = bg.next_readings(bg.fit_wobble(bg.read_blade(path)), 2, probability=0.9)
    assert ran.json == {"blades": [json.loads(json.dumps(ahead.to_dict()))], "refused": []}
    shown = run("next", path, "-n", "2", "--probability", "0.9").out
    assert shown.startswith(str(ahead))
    assert "Unplug the saw" in shown


def test_the_command_answers_every_blade(tmp_path):
    path = save(tmp_path / "t.csv", two_blades(ring_radius_mm=100))
    assert [one["blade"] for one in run("next", path, "--json").json["blades"]] == ["A", "B"]


@pytest.mark.parametrize("option", [["-n", "0"], ["--probability", "1"]])
def test_the_command_refuses_in_words(tmp_path, option):
    path = save(tmp_path / "t.csv", sheet(blade="A"))
    ran = run("next", path, *option)
    assert ran.status == 2
    assert ran.err.startswith("bladegeom: blade A: ")


def test_the_command_explains_itself_and_loads_neither_matplotlib_nor_pandas(tmp_path):
    assert "usage: bladegeom next" in run("next", "--help").out
    path = save(tmp_path / "t.csv", sheet(blade="A"))
    code = (
        "import sys, bladegeom.__main__ as command; command.main(sys.argv[1:])\n"
        "assert not {'matplotlib', 'pandas', 'scipy.stats'} & sys.modules.keys()"
    )
    ran = run_apart("next", path, code=code)
    assert (ran.status, ran.err) == (0, "")
