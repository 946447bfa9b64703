"""The README and the glossary say what the program does."""

from __future__ import annotations

import re
from pathlib import Path

from make_readme import PICTURE, filled, pieces

import bladegeom as bg
from bladegeom.columns import KNOWN_COLUMNS
from bladegeom.saw._saw_file import PARTS

README = Path("README.md")
GLOSSARY = Path("DEVELOPERS.md")


def test_what_the_readme_shows_is_what_the_program_prints():
    text = README.read_text("utf-8")
    assert filled(text, pieces()) == text
    assert PICTURE.exists()


def test_the_readme_names_every_column():
    text = README.read_text("utf-8")
    stems = {re.sub(r"_(mm|in|thou|um)$", "", column) for column in KNOWN_COLUMNS}
    assert not {stem for stem in stems if f"`{stem}" not in text}


def test_the_readme_names_every_part_of_the_saw_file_and_its_keys():
    rows = README.read_text("utf-8").split("The file has these parts.")[1].split("\n\n")[1]
    for part, (kinds, *_) in PARTS.items():
        row = next(one for one in rows.splitlines() if f"[{part}]" in one)
        # A part that is said to be like another has the other's keys.
        said = rows if "as `[[" in row or "the same, with" in row else row
        assert not {key for key in kinds if f"`{key}`" not in said}, part


def glossary():
    table = GLOSSARY.read_text("utf-8").split("## Glossary")[1].split("\n## ")[0]
    rows = [row.split("|")[1] for row in table.splitlines() if row.startswith("| `")]
    return {name for row in rows for name in re.findall(r"`(\w+)`", row)}


def keys_of_a_saw():
    done = bg.set_up("data_demo/shed_saw.toml")
    keys = {*done.to_dict(), *done.test_cut.checks[0].to_dict()}
    for step in done.steps:
        keys |= {*step.to_dict(), *(step.result.to_dict() if step.result else ())}
    return keys


def keys_of_a_shelf():
    held = bg.shelf("data_demo").to_dict()
    return {*held, *held["blades"][0]}


def keys_over_the_years(fit):
    seen = bg.visit(fit)
    return {*bg.change(fit, fit).to_dict(), *bg.trend([seen]).to_dict()}


def keys_of_arbor_and_plate(fit):
    made = bg.simulate(rng=1, faults=[bg.invented.Flange("0.05 mm")], clock_deg=[0, 90, 180])
    fits = [bg.fit_wobble(one.readings) for one in made.sets]
    advice = bg.clock_advice(bg.separate_arbor(fits, [0, 90, 180])).to_dict()
    fleet = bg.fleet_arbor([(fits, [0, 90, 180])]).to_dict()
    plate = bg.fit_plate(bg.read_rings("data_demo/arbor/three_rings.csv"))
    wall = bg.cut_wall(fit, side_angle_deg=2, feed_per_turn="1 mm", height="40 mm").to_dict()
    keys = {
        *advice,
        *advice["mountings"][0],
        *fleet,
        *fleet["blades"][0],
        *made.sets[0].key.to_dict(),
    }
    keys |= {*plate.to_dict(), *bg.best_rotation(plate, table_height="25 mm").to_dict()}
    return keys | {*wall, *wall["finishing"][0]}


def keys_of_a_day():
    return {"change_verdict", "change_warnings"}


def test_the_glossary_has_every_key_and_no_other():
    fit = bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))
    keys = {*bg.blade_answer(fit), *bg.squareness(fit, away_deg=1).to_dict()}
    keys |= {*bg.next_readings(fit).to_dict(), *bg.side_clearance(fit.readings.blade).to_dict()}
    keys |= keys_of_a_saw() | keys_of_a_shelf()
    limit = bg.Limit("wobble_tir", (1.0, "mm"), "invented for a test")
    keys |= {*bg.assess(fit, bg.Limits((limit,))).to_dict(), "sheet", "digest"}
    keys.add("read_again")  # Of tables.
    keys |= keys_over_the_years(fit) | keys_of_arbor_and_plate(fit) | keys_of_a_day()
    assert glossary() == keys


def test_every_public_name_is_there_and_says_what_it_is():
    for name in bg.__all__:
        public = getattr(bg, name)
        if callable(public):
            assert public.__doc__, name
