"""The command: exit statuses, JSON, options and columns, help, and what it does not load."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest
from written import (
    TEETH,
    changed,
    run,
    run_apart,
    save,
    sheet,
    two_blades,
    wave,
    with_column,
    written,
)

import bladegeom as bg
from bladegeom.cli import COMMANDS
from bladegeom.columns import FACT_COLUMNS, STATED

ANSWER_KEYS = {
    *("blade", "teeth", "unit", "readings", "offset", "amplitude", "amplitude_u"),
    *("amplitude_low", "amplitude_high", "near_deg", "near_u_deg", "wobble_tir", "raw_tir"),
    *("tilt_deg", "resolved", "p_value", "near_tooth", "far_tooth", "neutral_teeth"),
    *("neutral_probability", "worst_squareness_deg", "warnings"),
}
FLAT = [["0.00", "0.01"][at % 2] for at in range(TEETH)]


@pytest.fixture
def table(tmp_path):
    """Save a table and return its path."""
    return lambda content: save(tmp_path / "table.csv", content)


@pytest.fixture
def good(table):
    """Path of a table of one blade that can be answered."""
    return table(sheet(blade="A", ring_radius_mm=100))


# Exit status


def test_status_0_when_every_blade_is_answered(table):
    assert run("fit", table(two_blades())).status == 0


def test_status_1_when_some_are(table):
    assert run("fit", table(changed(two_blades(), 3, "reading_mm", "x"))).status == 1


def test_status_2_when_none_is(table):
    assert run("fit", table(changed(sheet(), 3, "reading_mm", "x"))).status == 2


def test_the_status_counts_only_the_blade_asked_for(table):
    path = table(changed(two_blades(), 3, "reading_mm", "x"))
    assert run("fit", path, "--blade", "B").status == 0
    assert run("fit", path, "--blade", "A").status == 2


def test_the_process_ends_with_the_status(table):
    assert run_apart("fit", table(changed(two_blades(), 3, "reading_mm", "x"))).status == 1


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["fit"],
        ["measure"],
        ["fit", "TABLE", "--colour", "red"],
        ["fit", "TABLE", "--unit", "cm"],
        ["fit", "TABLE", "--teeth", "many"],
        ["fit", "TABLE", "--teeth", "1_2"],
        ["fit", "TABLE", "--teeth", "١٢"],
        ["fit", "TABLE", "--teeth", "12.5"],
        ["fit", "TABLE", "--ring-radius", "100"],
        ["fit", "TABLE", "--ring-radius", "4,5in"],
        ["squareness", "TABLE"],
        ["squareness", "TABLE", "--away", "30", "--tooth", "3"],
        ["squareness", "TABLE", "--away", "inf"],
        ["chart", "TABLE"],
        ["chart", "TABLE", "-o", "x.pdf", "--paper", "a3"],
        ["marks", "--near", "7"],
        ["marks", "--teeth", "40"],
    ],
    ids=lambda arguments: " ".join(arguments) or "nothing",
)
def test_a_wrong_option_is_refused_with_the_usage(good, arguments):
    ran = run(*(str(good) if one == "TABLE" else one for one in arguments))
    assert (ran.status, ran.out) == (2, "")
    assert ran.err.startswith("usage: bladegeom")


def test_an_option_that_is_no_length_is_told_how_to_write_one(good):
    assert (
        "'100' has no unit; write it like 254mm or 4.5in"
        in run("fit", good, "--ring-radius", "100").err
    )


# fit --json


def test_json_is_one_object_with_every_key(good):
    ran = run("fit", good, "--json")
    assert ran.err == ""
    assert ran.json.keys() == {"blades", "refused"}
    assert ran.json["refused"] == []
    (answer,) = ran.json["blades"]
    assert answer.keys() >= ANSWER_KEYS


def test_json_is_the_same_from_a_process_of_its_own(good):
    assert run_apart("fit", good, "--json").json == run("fit", good, "--json").json


def test_json_holds_the_answer_of_the_library(good):
    fit = bg.fit_wobble(bg.read_blade(good))
    (answer,) = run("fit", good, "--json").json["blades"]
    assert answer == bg.blade_answer(fit)
    assert answer["amplitude"] == fit.amplitude
    assert answer["worst_squareness_deg"] == answer["tilt_deg"]


def test_json_of_a_wave_from_tooth_1_names_its_teeth(good):
    # By hand: 12 teeth, tooth 1 nearest; a quarter turn is three teeth.
    (answer,) = run("fit", good, "--json").json["blades"]
    assert (answer["near_tooth"], answer["far_tooth"]) == (1, 7)
    assert answer["neutral_teeth"] == [4, 10]
    assert answer["amplitude"] == pytest.approx(0.1, rel=0.01)
    assert answer["raw_tir"] == pytest.approx(0.2)


def test_json_has_nulls_where_no_direction_is_established(table):
    path = table(sheet(FLAT, ring_radius_mm=100, graduation_mm=0.01))
    (answer,) = run("fit", path, "--json").json["blades"]
    assert answer["resolved"] is False
    for key in ("near_deg", "near_u_deg", "near_tooth", "far_tooth", "neutral_teeth"):
        assert answer[key] is None
    assert answer["neutral_probability"] is None
    high = math.degrees(math.atan(answer["amplitude_high"] / 100))
    assert answer["worst_squareness_deg"] == pytest.approx(high)


@pytest.mark.parametrize("cell", ["0", "0.0", "0.5"])
def test_readings_all_alike_are_answered_in_valid_json(table, cell):
    (answer,) = run("fit", table(sheet([cell] * TEETH)), "--json").json["blades"]
    assert answer["raw_tir"] == 0
    assert answer["resolved"] is False
    assert answer["amplitude_high"] is None


def test_readings_counts_those_in_the_fit(table):
    rows = [*sheet(["?", *wave()[1:]]), ["2", "0.09", str(TEETH)]]
    (answer,) = run("fit", table(rows), "--json").json["blades"]
    assert answer["readings"] == TEETH - 1


@pytest.mark.parametrize("unit", ["mm", "in", "thou", "um"])
def test_lengths_are_in_the_unit_of_the_column(table, unit):
    (answer,) = run("fit", table(sheet(unit=unit)), "--json").json["blades"]
    assert answer["unit"] == unit
    assert answer["raw_tir"] == pytest.approx(0.2)


def test_blades_come_in_the_order_of_the_file(table):
    head, *rows = two_blades()
    answers = run("fit", table([head, *rows[::-1]]), "--json").json["blades"]
    assert [answer["blade"] for answer in answers] == ["B", "A"]


def test_a_column_not_used_is_noted_on_standard_error_only(table):
    ran = run("fit", table(with_column(sheet(), "note", "gummy")), "--json")
    assert ran.err == "bladegeom: note: columns not used: note\n"
    assert len(ran.json["blades"]) == 1


@pytest.mark.parametrize("name", ["a\nb $x_1$", "\u92f8 \U0001f600"], ids=ascii)
def test_a_name_comes_through_json_as_it_is_written(table, name):
    ran = run_apart("fit", table(sheet(blade=name)), "--json")
    assert ran.json["blades"][0]["blade"] == name


# fit as text


def test_the_teeth_to_mark_come_first_and_the_cautions_last(good):
    ran = run("fit", good)
    lines = ran.out.splitlines()
    assert lines[0].startswith("Blade A: 12 teeth")
    first = next(at for at, line in enumerate(lines) if "Mark teeth 4 and 10" in line)
    numbers = next(at for at, line in enumerate(lines) if "wobble TIR" in line)
    cautions = lines.index("Cautions")
    assert first < numbers < cautions
    assert ran.out.count("Unplug the saw") == 1


def test_the_cautions_are_printed_once_for_many_blades(table):
    ran = run("fit", table(two_blades()))
    assert ran.out.count("Cautions\n") == 1
    assert ran.out.index("Blade A") < ran.out.index("Blade B") < ran.out.index("Cautions\n")


def test_a_letter_that_the_terminal_lacks_does_not_end_the_run(table):
    code = (
        "import sys, bladegeom.__main__ as command\n"
        "sys.stdout.reconfigure(encoding='ascii')\n"
        "sys.exit(command.main(sys.argv[1:]))"
    )
    ran = run_apart("fit", table(sheet(blade="S\u00e4ge")), code=code)
    assert ran.status == 0
    assert ran.out.startswith("Blade S\\xe4ge: 12 teeth")


@pytest.mark.parametrize("option", ["--json", "--fact=side=left"])
def test_a_pipe_closed_early_is_no_fault(table, option):
    code = (
        "import subprocess, sys\n"
        "run = subprocess.Popen([sys.executable, '-m', 'bladegeom', *sys.argv[1:]],\n"
        "                       stdout=subprocess.PIPE, stderr=subprocess.PIPE)\n"
        "run.stdout.close()\n"
        "sys.stdout.write(run.stderr.read().decode())\n"
        "run.stderr.close()\n"
        "sys.exit(run.wait())"
    )
    ran = run_apart("fit", table(two_blades()), option, code=code)
    assert (ran.status, ran.out) == (2, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_a_full_disk_is_told_in_plain_words(table):
    code = (
        "import subprocess, sys\n"
        "with open('/dev/full', 'wb') as full:\n"
        "    sys.exit(subprocess.run([sys.executable, '-m', 'bladegeom', *sys.argv[1:]],\n"
        "                            stdout=full).returncode)"
    )
    ran = run_apart("fit", table(sheet()), code=code)
    assert ran.status == 2
    assert ran.err.startswith("bladegeom: the answer cannot be written: ")
    assert len(ran.err.splitlines()) == 1


def test_nothing_to_read_from_is_said_so():
    code = "import sys, bladegeom.__main__ as command; sys.stdin = None; command.main(['fit', '-'])"
    ran = run_apart(code=code)
    assert ran.err == "bladegeom: nothing is typed or piped in; name a file instead\n"


# Options and columns


AGREEING = {
    "teeth": ["--teeth", "12"],
    "ring radius": ["--ring-radius", "100mm"],
    "ring radius in another unit": ["--ring-radius", "100000 um"],
    "unit": ["--unit", "mm"],
    "surface": ["--fact", "surface=plate"],
    "nothing new": ["--fact", "side=left"],
}


@pytest.mark.parametrize("options", AGREEING.values(), ids=AGREEING.keys())
def test_an_option_may_repeat_what_a_column_says(table, options):
    path = table(sheet(ring_radius_mm=100, surface="plate", side="left"))
    assert run("fit", path, *options, "--json").json == run("fit", path, "--json").json


DISAGREEING = {
    "teeth": (["--teeth", "13"], "teeth is 12 here, but the option says 13"),
    "ring radius": (["--ring-radius", "4in"], "ring_radius is 100 mm here, but the option says"),
    "unit": (["--unit", "thou"], "the column is reading_mm, the unit was given as thou"),
    "surface": (["--fact", "surface=teeth"], "surface is plate here, but the option says teeth"),
    "side": (["--fact", "side=right"], "side is left here, but the option says right"),
}


@pytest.mark.parametrize(("options", "says"), DISAGREEING.values(), ids=DISAGREEING.keys())
def test_an_option_that_disagrees_with_a_column_is_refused(table, options, says):
    ran = run("fit", table(sheet(ring_radius_mm=100, surface="plate", side="left")), *options)
    assert (ran.status, ran.out) == (2, "")
    assert says in ran.err
    assert len(ran.err.splitlines()) == 1


def test_every_fact_does_what_its_column_does(table):
    facts = {
        "diameter_in": "10",
        "ring_radius_in": "4.5",
        "plate_mm": "2.2",
        "tooth_width_mm": "3.2",
        "gullet_mm": "12",
        "graduation_thou": "0.5",
        "numbered": "counterclockwise",
        "surface": "teeth",
        "touch_deg": "-3.5",
        "side": "left",
        "pitch_pattern": "1 1 1.6",
        "ring_radius_u_mm": "0.5",
        "end_float_um": "4",
        "dial_turn_mm": "1",
        "dial": "left alone",
        "stylus_deg": "2",
        "tooth_pattern": "L R",
        "customer": "Mr Hedge",
        "job": "J 7",
        "operator": "me",
        "done": "cleaned",
        "finished": "no",
    }
    by_column = run("fit", table(sheet(**facts)))
    said, own = [], []
    for column, value in facts.items():
        known, unit = FACT_COLUMNS[column]
        said += ["--fact", f"{known.name}={value}{unit}"]
        own += [f"--{known.name}={value}{unit}".replace("_", "-")] if known.option else said[-2:]
    for options in (said, own):
        by_option = run("fit", table(sheet()), *options)
        assert by_option.status == 0
        assert by_option.out == by_column.out
    assert {FACT_COLUMNS[one][0].name for one in facts} | {"teeth"} == {*STATED}


@pytest.mark.parametrize(
    ("said", "says"),
    [
        (["plate"], "--fact plate has no =; write it like plate=2.2mm"),
        (["platte=2mm"], "did you mean plate?"),
        (["colour=red"], "use one of teeth, diameter"),
        (["plate=2"], "plate: '2' has no unit"),
        (["plate=0mm"], "give a length above 0"),
        (["plate_mm=2"], 'plate="2 mm"'),
        (["surface=rim"], "surface is 'rim'; write plate or teeth"),
        (["touch_deg=nan"], "touch_deg: 'nan' is not a number; write a number"),
        (["stylus_deg=90"], "stylus_deg is 90; give how far"),
        (["teeth=12.5"], "not a whole number; write a whole number"),
        (["side="], "says nothing"),
        (["side=left", "side=right"], "side is stated twice"),
    ],
    ids=lambda one: " ".join(one) if isinstance(one, list) else "",
)
def test_a_fact_that_cannot_be_is_refused_with_its_cure(good, said, says):
    options = [word for one in said for word in ("--fact", one)]
    ran = run("fit", good, *options, "--json")
    assert ran.status == 2
    assert ran.json["blades"] == []
    assert says in ran.err
    both = run("fit", good, "--fact", "plate", *options)
    assert len(both.err.splitlines()) == 2


def test_the_help_names_every_fact():
    told = run("fit", "--help").out
    assert all(name.replace("_", "-") in told or name in told for name in STATED)


def test_the_same_blade_in_mm_inches_thou_and_um_gives_the_same_tilt(table):
    per_mm = {"mm": 1, "in": 1 / 25.4, "thou": 1000 / 25.4, "um": 1000}
    answers = []
    for unit, factor in per_mm.items():
        cells = [repr(float(cell) * factor) for cell in wave()]
        path = table(sheet(cells, unit=unit, ring_radius_in="4"))
        (answer,) = run("fit", path, "--json").json["blades"]
        answers.append(answer)
        assert answer["amplitude"] == pytest.approx(answers[0]["amplitude"] * factor, rel=1e-12)
        assert answer["tilt_deg"] == pytest.approx(answers[0]["tilt_deg"], rel=1e-12)
        assert answer["neutral_teeth"] == answers[0]["neutral_teeth"]


def test_the_second_table_gives_the_facts(table, tmp_path):
    shelf = save(tmp_path / "shelf.csv", "blade,teeth,ring_radius_mm\nA,12,100\nB,12,90\n")
    path = table([row[:3] for row in two_blades()])
    ran = run("fit", path, "--blades", shelf, "--json")
    tilts = [math.tan(math.radians(answer["tilt_deg"])) for answer in ran.json["blades"]]
    assert tilts == pytest.approx([0.1 / 100, 0.2 / 90], rel=0.01)


def test_a_blade_that_is_not_in_the_table_is_refused_with_those_that_are(table):
    ran = run("fit", table(changed(two_blades(), 3, "reading_mm", "x")), "--blade", "C")
    assert ran.status == 2
    assert ran.err == "bladegeom: blade C: there is no blade C; the table holds B, A\n"


# marks


def test_marks_counts_from_a_near_tooth_found_by_eye():
    # By hand: 40 teeth, a quarter turn is ten teeth.
    ran = run("marks", "--teeth", "40", "--near", "7")
    assert ran.status == 0
    assert "Mark teeth 17 and 37" in ran.out
    assert "From tooth 7 (near) count 10 teeth to 17, 20 to 27 (far), 30 to 37." in ran.out
    assert "Unplug the saw" in ran.out


def test_marks_in_json():
    ran = run("marks", "--teeth", "40", "--near", "7", "--blade", "007", "--json")
    (answer,) = ran.json["blades"]
    assert (answer["blade"], answer["near_tooth"], answer["far_tooth"]) == ("007", 7, 27)
    assert answer["neutral_teeth"] == [17, 37]
    assert answer["neutral_probability"] is None


def test_marks_uses_the_real_pitch():
    options = ("--teeth", "10", "--near", "1", "--fact", "pitch_pattern=1 1 1 1 6")
    (answer,) = run("marks", *options, "--json").json["blades"]
    # By hand: teeth at 0, 18, 36, 54, 72 and again from 180.
    assert (answer["far_tooth"], answer["neutral_teeth"]) == (6, [5, 10])


@pytest.mark.parametrize("length", ["10in", "254mm", "10000thou", "254000um"])
def test_marks_tells_the_way_along_the_rim_in_any_unit(length):
    options = ("--teeth", "7", "--near", "1", "--diameter", length)
    (answer,) = run("marks", *options, "--json").json["blades"]
    past_deg = 90 - 360 / 7 * 2
    assert answer["neutral_past_mm"][0] == pytest.approx(127 * math.radians(past_deg))


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ("--teeth 40 --near 41", "tooth 41 on a 40-tooth blade; give a tooth from 1 to 40"),
        ("--teeth 40 --near 0", "tooth 0 on a 40-tooth blade"),
        ("--teeth 1000000000 --near 1", "a blade of 1000000000 teeth"),
        ("--teeth 40 --near 1 --diameter 0in", "give a length above 0"),
        ("--teeth 40 --near 1 --fact pitch_pattern=1,1", "blanks between them"),
        ("--teeth 41 --near 1 --fact pitch_pattern=1\t2", "does not fit"),
    ],
)
def test_marks_that_cannot_be_are_refused(options, says):
    ran = run("marks", *options.split(" "), "--json")
    assert ran.status == 2
    assert says in ran.err
    assert ran.json["blades"] == []
    assert len(ran.json["refused"]) == 1


# squareness


@pytest.mark.parametrize(
    ("away", "turn"), [("30", 30.0), ("-30", -30.0), ("0", 0.0), ("90", 90.0), ("1/2", 0.5)]
)
def test_squareness_at_a_turn_away(good, away, turn):
    ran = run("squareness", good, f"--away={away}", "--json")
    (answer,) = ran.json["blades"]
    slope = math.tan(math.radians(answer["worst_squareness_deg"])) * math.sin(math.radians(turn))
    assert answer["error_deg"] == pytest.approx(math.degrees(math.atan(slope)), abs=1e-12)
    assert (answer["blade"], answer["away_deg"]) == ("A", turn)


def test_squareness_with_a_tooth_uppermost(good):
    # Tooth 1 is nearest: with it uppermost the line leans toward the indicator by the whole tilt.
    (answer,) = run("squareness", good, "--tooth", "1", "--json").json["blades"]
    assert answer["error_deg"] == pytest.approx(answer["worst_squareness_deg"], rel=1e-3)


def test_squareness_over_a_span(good):
    (answer,) = run("squareness", good, "--away", "90", "--span", "150mm", "--json").json["blades"]
    assert (answer["span"], answer["span_unit"]) == (150, "mm")
    assert answer["gap"] == pytest.approx(150 * 0.1 / 100, rel=0.01)


def test_squareness_prints_words_and_cautions(good):
    ran = run("squareness", good, "--away", "30")
    assert ran.status == 0
    assert "leans toward the indicator" in ran.out
    assert "Unplug the saw" in ran.out


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--tooth", "13"], "tooth 13 on a 12-tooth blade"),
        (["--away", "30", "--span", "0mm"], "give a length above 0"),
        (["--away", "30", "--tolerance-deg", "0"], "give degrees above 0"),
    ],
)
def test_squareness_that_cannot_be_is_refused(good, options, says):
    ran = run("squareness", good, *options, "--json")
    assert (ran.status, ran.json["blades"]) == (2, [])
    assert says in ran.err


def test_squareness_of_a_blade_without_a_ring_does_not_stop_the_others(table):
    rows = with_column(two_blades(), "ring_radius_mm", *["100"] * TEETH, "")
    ran = run("squareness", table(rows), "--away", "30", "--json")
    assert ran.status == 1
    assert [answer["blade"] for answer in ran.json["blades"]] == ["A"]
    assert "blade B: the ring radius is not stated" in ran.err


# Help


@pytest.mark.parametrize("command", [row.name for row in COMMANDS])
def test_every_command_explains_itself(command):
    ran = run(command, "--help")
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith(f"usage: bladegeom {command}")
    assert "None" not in ran.out
    # What people use first comes first, and is no more than can be taken in at a glance.
    first = ran.out.split("\nmore (")[0]
    assert len(re.findall(r"^  (?!-h)\S", first, re.MULTILINE)) <= 10


def test_the_help_names_every_command_and_the_first_caution():
    ran = run("--help")
    assert ran.status == 0
    for command in ("fit", "marks", "chart", "squareness", "setup", "shelf"):
        assert re.search(rf"^ +{command}\b", ran.out, re.MULTILINE)
    assert "Unplug the saw" in ran.out


def test_the_version_is_told():
    assert run("--version").out == f"bladegeom {bg.__version__}\n"


# What is not loaded


def loaded(code: str, *arguments: object, stdin: bytes = b""):
    """Return which of the slow packages are loaded after some code, run apart."""
    after = "import sys, json; names = ('matplotlib', 'pandas')\n"
    after += "sys.stderr.write(json.dumps([name for name in names if name in sys.modules]))"
    ran = run_apart(*arguments, stdin=stdin, code=f"{code}\n{after}")
    assert ran.status == 0
    return json.loads(ran.err)


def test_import_loads_neither_matplotlib_nor_pandas():
    assert loaded("import bladegeom") == []


def test_this_check_sees_what_is_loaded():
    assert loaded("import pandas, matplotlib") == ["matplotlib", "pandas"]


COMMAND = "import sys, bladegeom.__main__ as command; command.main(sys.argv[1:])"


@pytest.mark.parametrize("command", ["fit", "fit --json", "squareness --away 30"])
def test_one_blade_is_answered_without_matplotlib_or_pandas(good, command):
    name, *options = command.split()
    assert loaded(COMMAND, name, good, *options) == []


def test_a_saw_is_set_up_without_matplotlib_or_pandas():
    assert loaded(COMMAND, "setup", "data_demo/shed_saw.toml") == []


def test_a_shelf_is_listed_without_matplotlib_or_pandas(good):
    assert loaded(COMMAND, "shelf", Path(good).parent) == []


def test_readings_piped_in_are_answered_without_matplotlib_or_pandas():
    assert loaded(COMMAND, "fit", "-", stdin=written(sheet()).encode()) == []


def test_one_blade_is_read_without_pandas_in_the_library_too(good):
    code = "import sys, bladegeom as bg; str(bg.fit_wobble(bg.read_blade(sys.argv[1])))"
    assert loaded(code, good) == []
