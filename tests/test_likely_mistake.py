"""A likely mistake comes first in every answer, and nothing hangs on the wall until it is cleared.

Slips are planted in readings of plates turned by rotation matrices (tests/rigid_body.py); every
output that names teeth to mark must withhold them.
"""

from __future__ import annotations

import csv
import json
import math

import numpy as np
import pandas as pd
import pytest
from benchmarks import bench_mistakes as bench
from rigid_body import RigidBlade, readings_mm, tooth_angles_deg
from simulated import rng_for
from written import run, save

import bladegeom as bg
from bladegeom.draw.printed import NOT_RELIED_ON
from bladegeom.fit.many import fit_frame
from bladegeom.fit.marks import NO_MATTER_DEG
from bladegeom.result import in_columns

TEETH, SLIP = 40, 17
DIAL_TURN_MM = 1.0
RING_MM = 110.0
COLUMNS = {"ring_radius_mm": RING_MM, "graduation_mm": 0.002}
FACTS = {"ring_radius": (RING_MM, "mm"), "graduation": "0.002 mm"}


def read_mm(*, teeth=TEETH, tilt_deg=0.05, noise_mm=0.002, seed=3):
    truth = RigidBlade(tilt_deg=tilt_deg, near_deg=140.0)
    exact = readings_mm(truth, tooth_angles_deg(teeth), RING_MM)
    return np.round(exact + rng_for(seed).normal(0.0, noise_mm, teeth), 3)


def slipped(kind):
    """Readings with one slip: a dial revolution off, a point slipped, a sign lost."""
    read = read_mm()
    assert abs(read[SLIP - 1]) > 0.02
    read[SLIP - 1] = {
        "wrap": read[SLIP - 1] + DIAL_TURN_MM,
        "scale": 10 * read[SLIP - 1],
        "sign": -read[SLIP - 1],
    }[kind]
    return read


def table(read, name="X", teeth=TEETH, path=None):
    rows = [["blade", "tooth", "reading_mm", "teeth", *COLUMNS]]
    rows += [[name, k + 1, one, teeth, *COLUMNS.values()] for k, one in enumerate(read)]
    text = "\n".join(",".join(map(str, row)) for row in rows) + "\n"
    return text if path is None else save(path, text)


def fit_of(read, **more):
    return bg.fit_wobble(bg.Readings(bg.Blade(TEETH, name="X"), read, unit="mm", **FACTS, **more))


@pytest.fixture(params=["wrap", "scale", "sign"])
def doubtful(request):
    """A fit of readings with one slip."""
    return fit_of(slipped(request.param))


def test_the_answer_names_the_tooth_to_read_again_first_and_no_teeth_to_mark(doubtful):
    true = bg.neutral_line(fit_of(read_mm()))
    answer = bg.blade_answer(doubtful)
    assert answer["mistakes"][0]["teeth"] == [SLIP]
    assert answer["warnings"][0].startswith(answer["mistakes"][0]["again"])
    marks = bg.neutral_line(doubtful)
    assert str(SLIP) in marks.instructions[0]
    assert not any(line.startswith(("Mark", "Stand")) for line in marks.instructions)
    # What the readings would name once repaired is what was planted.
    assert marks.repaired is not None
    named = {end.tooth for end in marks.repaired.neutral or ()}
    assert named == {end.tooth for end in true.neutral or ()}
    assert answer["neutral_teeth"] is answer["near_tooth"] is answer["better_tooth"] is None
    assert set(answer["repaired_teeth"]) == named
    assert answer["read_teeth"] == [end.tooth for end in marks.neutral or ()]
    for shown in (str(doubtful), str(bg.squareness(doubtful, away_deg=30))):
        assert f"tooth {SLIP}" in shown.splitlines()[1]


def test_no_chart_shows_teeth_to_mark(doubtful):
    for draw in (bg.polar_chart, bg.squareness_chart, bg.strip_chart):
        clear, ax = draw(fit_of(read_mm())), draw(doubtful)
        said, before = words(ax), words(clear)
        assert "NOT FOR THE WALL" in said
        assert "NOT FOR THE WALL" not in before
        assert f"tooth {SLIP}" in said
        assert not any("neutral" in str(line.get_label()) for line in ax.lines)


def test_the_wall_chart_stands_behind_no_number_of_such_readings(doubtful):
    assert words(bg.polar_chart(doubtful)).count(NOT_RELIED_ON) == 2
    assert NOT_RELIED_ON not in words(bg.polar_chart(fit_of(read_mm())))


def test_a_chart_that_rests_on_no_reading_is_not_kept_from_the_wall(tmp_path, doubtful):
    file = table(doubtful.readings.reading, path=tmp_path / "one.csv")
    facts = ("plate=2.2mm", "tooth_width=3.2mm", "gullet=10mm")
    stated = [word for fact in facts for word in ("--fact", fact)]
    out = tmp_path / "out.pdf"
    drawn = run("chart", file, "--kind", "clearance", "--diameter", "254mm", *stated, "-o", out)
    assert (drawn.status, drawn.err) == (0, "")


def test_what_names_an_axis_is_no_longer_than_it_though_a_mistake_takes_its_room(doubtful):
    for draw in (bg.squareness_chart, bg.strip_chart):
        ax = draw(doubtful)
        ax.figure.canvas.draw()
        label = ax.yaxis.label.get_window_extent()
        assert label.height <= 1.05 * ax.get_window_extent().height
        assert label.x0 >= 0


def words(ax):
    return " ".join(text.get_text() for text in [*ax.figure.texts, *ax.texts])


def test_no_shelf_table_or_command_names_teeth(tmp_path, doubtful):
    file = table(doubtful.readings.reading, path=tmp_path / "one.csv")
    row = bg.shelf(tmp_path).rows[0]
    assert row.marked_pair is None
    assert str(SLIP) in row.marks
    assert str(SLIP) in words(bg.shelf_page(bg.shelf(tmp_path))[0])
    out = tmp_path / "out.csv"
    assert run("table", file, "-o", out).status == 0
    answer = next(csv.DictReader(out.read_text("utf-8-sig").splitlines()))
    assert str(SLIP) in answer["read_again"]
    assert answer["neutral_tooth_1"] == answer["near_tooth"] == ""
    assert json.loads(run("fit", file, "--json").out)["blades"][0]["mistakes"]
    drawn = run("chart", file, "-o", tmp_path / "chart.pdf")
    assert drawn.status == 0
    assert f"tooth {SLIP}" in drawn.err


def test_a_saw_is_set_up_from_nothing_that_rests_on_doubtful_readings(tmp_path, doubtful):
    table(doubtful.readings.reading, path=tmp_path / "one.csv")
    parts = [
        '[blade]\nreadings = "one.csv"',
        '[slots]\nfront = "0.50 0.50 0.50 mm"\nback = "0.90 0.90 0.90 mm"\n'
        'separation = "200 mm"\ngraduation = "0.01 mm"\ntolerance = "0.03 mm"',
        "[table]\nshows = 0\nresolution = 0.05\ntolerance = 0.05",
    ]
    made = bg.set_up(save(tmp_path / "saw.toml", "\n".join(parts)))
    assert made.now is made.steps[0]
    assert str(SLIP) in made.do_now
    assert made.to_dict()["neutral_teeth"] is None
    by_part = {step.part: step for step in made.steps}
    # The slots are read from one tooth: they hang on no wobble.
    assert by_part["slots"].state == "move"
    assert by_part["table"].state == "wait"
    assert by_part["table"].verdict is None
    named = {end.tooth for end in bg.neutral_line(doubtful).repaired.neutral}
    on_card = words(bg.setup_card(made)[0])
    assert not [step for step in made.steps if any(f"{tooth} up" in step.stand for tooth in named)]
    assert f"tooth {SLIP}" in on_card


def test_readings_without_a_mistake_are_released(tmp_path):
    fit = fit_of(read_mm())
    assert fit.mistake is None
    assert not bg.blade_answer(fit)["mistakes"]
    assert "NOT FOR THE WALL" not in words(bg.polar_chart(fit))
    table(read_mm(), path=tmp_path / "one.csv")
    assert bg.shelf(tmp_path).rows[0].marked_pair is not None


@pytest.mark.parametrize("size_sd", [6.0, 10.0, 40.0])
def test_a_bent_tooth_is_asked_about_and_released_once_a_turn_reads_it_the_same(size_sd):
    asked, released, sd = 0, 0, 0.002
    for seed in range(30):
        read, again = read_mm(seed=seed), read_mm(seed=100 + seed)
        read[SLIP - 1] += size_sd * sd
        tooth, turn = [*range(1, TEETH + 1)], [1] * TEETH
        blade = bg.Blade(TEETH, name="X")
        once = bg.Readings(blade, read, unit="mm", tooth=tooth, turn=turn, **FACTS)
        found = bg.check_readings(once).found
        asked += bool(found) and found[0].teeth == (SLIP,)
        more = [*read, again[SLIP - 1] + size_sd * sd]
        twice = bg.Readings(blade, more, unit="mm", tooth=[*tooth, SLIP], turn=[*turn, 2], **FACTS)
        released += bg.fit_wobble(twice).mistake is None
    assert asked >= (20 if size_sd < 8 else 29)
    assert released >= 29


# False alarms


def waved(rng, teeth):
    return bench.bent(rng, teeth)


def bent(rng, teeth):
    """A plate bent over a few teeth, by 3 to 30 standard deviations."""
    blade, (tooth, turn) = bench.blade_of(rng, teeth), bench.round_of(teeth)
    long = int(rng.integers(3, max(4, teeth // 4)))
    bend = np.zeros(teeth)
    bend[:long] = np.sin(np.pi * np.arange(1, long + 1) / (long + 1)) ** rng.choice([0.7, 1.0, 1.5])
    bend *= math.exp(rng.uniform(math.log(3), math.log(30))) * rng.choice([-1.0, 1.0])
    curve = blade.curve + np.roll(bend, int(rng.integers(teeth)))
    return bench.readings_of(teeth, tooth, blade._replace(curve=curve).read(tooth), turn)


@pytest.mark.parametrize("make", [bench.clean, waved, bent])
def test_at_most_three_in_a_hundred_blades_without_a_mistake_get_a_remark(make):
    blades = 200
    alarms = sum(
        len(bg.check_readings(make(rng_for(1000 * teeth + at), teeth))) > 0
        for teeth in (24, 40)
        for at in range(blades // 2)
    )
    assert alarms <= 0.03 * blades


@pytest.mark.parametrize("closing", [False, True])
def test_a_row_of_a_table_says_of_a_doubtful_blade_what_its_own_answer_says(closing):
    frames, answers = [], {}
    for kind in ("wrap", "scale", "sign", "none"):
        read = read_mm() if kind == "none" else slipped(kind)
        tooth = np.arange(1, TEETH + 1)
        if closing:
            read, tooth = np.append(read, read[0] + 0.001), np.append(tooth, 1)
        one = bg.Readings(bg.Blade(TEETH, name=kind), read, unit="mm", tooth=tooth, **FACTS)
        answers[kind] = bg.blade_answer(bg.fit_wobble(one))
        cells = {"blade": kind, "teeth": TEETH, "tooth": tooth, "reading_mm": read}
        frames.append(pd.DataFrame({**cells, **COLUMNS}))
    table, refused = fit_frame(pd.concat(frames, ignore_index=True), checked=True)
    assert not refused
    for kind, answer in answers.items():
        row = table.set_index("blade").loc[kind]
        expected = {}
        for key, value in answer.items():
            expected |= in_columns(key, value)
        for key, value in row.items():
            if key == "read_again":
                assert (value == "") == (kind == "none")
            elif key in ("warnings", "unit"):
                assert value == expected[key]
            elif expected[key] is None:
                assert pd.isna(value) or value is False or not value
            else:
                assert value == pytest.approx(expected[key], rel=1e-6, abs=1e-9), key


def test_the_screen_of_a_table_loses_next_to_nothing_that_the_check_finds():
    frames, found = [], []
    planted = [
        *((make, (8.0, bench.FAR)) for make in (bench.sign, bench.scale, bench.spike)),
        (bench.swapped, (4.0, bench.FAR)),
        (bench.step, (4.0, 6.0)),
        (bench.wrap, (0.0, 999.0)),
        (bench.unit, (10.0, 100.0)),
        (bench.unfinished, (60.0, 60.0)),
    ]
    for teeth in (24, 40):
        for at in range(8):
            rng = rng_for(1000 * teeth + at)
            made = [plant(rng, teeth, size).readings for plant, size in planted]
            for one in [*made, bench.clean(rng, teeth), bent(rng, teeth)]:
                read = np.round(one.reading, 1)
                facts = {"graduation": (one.graduation, "um")} if one.graduation else {}
                again = bg.Readings(one.blade, read, tooth=one.tooth, unit="um", **facts)
                found.append(len(bg.check_readings(again)) > 0)
                cells = {"blade": f"b{len(frames)}", "tooth": one.tooth, "reading_um": read}
                frames.append(pd.DataFrame({**cells, "teeth": teeth}))
    table, refused = fit_frame(pd.concat(frames, ignore_index=True), checked=True)
    assert not refused
    told = (
        (table.set_index("blade").loc[[f"b{at}" for at in range(len(found))], "read_again"]) != ""
    )
    assert sum(found) > 80
    lost = [at for at, one in enumerate(found) if one and not told.iloc[at]]
    assert len(lost) <= 2
    assert not [at for at, one in enumerate(found) if not one and told.iloc[at]]


# Any rotation, or not known


@pytest.mark.parametrize(
    ("tilt_deg", "noise_mm", "tolerance_deg", "any_rotation"),
    [
        (0.0, 0.001, NO_MATTER_DEG, True),
        (0.0, 0.05, NO_MATTER_DEG, False),
        (0.0, 0.05, 0.2, True),
        (0.05, 0.001, 0.2, False),
    ],
)
def test_any_rotation_will_do_only_where_the_worst_is_within_what_matters(
    tilt_deg, noise_mm, tolerance_deg, any_rotation
):
    fit = fit_of(read_mm(tilt_deg=tilt_deg, noise_mm=noise_mm))
    line = bg.neutral_line(fit, tolerance_deg=tolerance_deg)
    assert line.any_rotation is any_rotation
    assert ("ny rotation will do" in " ".join(line.instructions)) is any_rotation
    if line.neutral is None:
        assert line.worst_deg is not None
        assert (line.worst_deg < tolerance_deg) is any_rotation


@pytest.mark.parametrize("noise_mm", [0.001, 0.05])
def test_a_table_and_the_command_tell_flat_blades_from_those_not_known(tmp_path, noise_mm):
    file = table(read_mm(tilt_deg=0.0, noise_mm=noise_mm), path=tmp_path / "one.csv")
    flat, worst = noise_mm < 0.01, bg.fit_table(bg.read_table(file))["worst_squareness_deg"][0]
    assert bg.fit_table(bg.read_table(file))["flat"].tolist() == [flat]
    for use, will_do in (("", flat), (f"{2 * worst:.6f}", True), (f"{worst / 2:.6f}", False)):
        stated = ["--tolerance-deg", use] if use else []
        answer = run("fit", file, *stated, "--json").json["blades"][0]
        assert answer["any_rotation"] is will_do
        saw = '[blade]\nreadings = "one.csv"\n[table]\nshows = 0\nresolution = 0.001\n'
        saw += f"tolerance = {use}\n" if use else ""
        made = bg.set_up(save(tmp_path / "saw.toml", saw))
        assert ("any tooth" in made.steps[0].stand) is will_do


def test_readings_that_fit_better_once_repaired_name_what_was_planted_with_two_slips_too():
    read, true = slipped("sign"), bg.neutral_line(fit_of(read_mm()))
    read[SLIP + 9] *= 10
    fit = fit_of(read)
    assert any(one.besides for one in fit.findings)
    assert fit.repaired is not None
    assert not fit.repaired.findings.found
    assert fit.repaired.named_teeth == [end.tooth for end in true.neutral or ()]
    assert fit.repaired.named_teeth != fit.named_teeth


def test_without_a_ring_radius_nothing_says_that_any_rotation_will_do():
    flat = bg.Readings(bg.Blade(TEETH), read_mm(tilt_deg=0.0), unit="mm", graduation="0.002 mm")
    assert not bg.neutral_line(bg.fit_wobble(flat)).any_rotation


# Several readings of one blade


def rings_of(read):
    """The same plate read nearer to its axis too."""
    inner = np.round(0.6 * read_mm(seed=5), 3)
    for radius, reading in ((RING_MM, read), (0.6 * RING_MM, inner)):
        blade = bg.Blade(TEETH, name="X", diameter="254 mm")
        facts = {"ring_radius": (radius, "mm"), "graduation": "0.002 mm"}
        yield bg.Ring(bg.Readings(blade, reading, unit="mm", **facts))


def rotation_of(read):
    plate = bg.fit_plate([*rings_of(read)])
    return bg.best_rotation(plate, table_height="30 mm", tolerance_deg=0.01)


def advice_of(read):
    fits = [fit_of(one) for one in (read, read_mm(seed=4), -read_mm(seed=5))]
    return bg.clock_advice(bg.separate_arbor(fits, [0.0, 0.0, 180.0]))


@pytest.mark.parametrize(
    ("make", "draw"), [(rotation_of, bg.rotation_chart), (advice_of, bg.clock_chart)]
)
def test_charts_of_several_readings_say_first_and_large_what_to_read_again(make, draw, doubtful):
    clear, result = make(read_mm()), make(doubtful.readings.reading)
    before, ax = words(draw(clear)), draw(result)
    told = [one for one in ax.figure.texts if f"tooth {SLIP} again" in one.get_text()]
    assert "NOT FOR THE WALL" in words(ax)
    assert "NOT FOR THE WALL" not in before
    largest = max(told, key=lambda one: one.get_fontsize())
    assert largest.get_fontsize() >= 12
    # No tooth is put anywhere before that, in the picture's heading or in print.
    assert not any(one.get_text().startswith(("Stand", "Put")) for one in ax.figure.texts)
    named, named_before = (
        [text for text in one.texts if text.get_text().isdigit() and text.get_fontsize() >= 12]
        for one in (ax, draw(clear))
    )
    assert named_before
    assert not named
    first = str(result).splitlines()
    assert any(f"tooth {SLIP} again" in line.replace("Read", "read") for line in first[:3])
    assert not any("tooth " in line and "uppermost:" in line for line in first[:2])
