"""The documents say what the program does."""

from __future__ import annotations

import re
import shlex
from datetime import date
from pathlib import Path

import pytest
from make_readme import OTHERS, PICTURE, filled, pieces, results

import bladegeom as bg
from bladegeom.cli import COMMANDS, parser
from bladegeom.result import Result
from bladegeom.saw._saw_file import PARTS
from bladegeom.shop.batch import queue_row

README, DEVELOPERS = Path("README.md"), Path("DEVELOPERS.md")
DOCUMENTS = [
    *map(Path, ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "data_demo/README.md")),
    *sorted(Path("notebooks").glob("*.md")),
    *sorted(Path("tests/benchmarks").glob("*.md")),
]


def test_what_the_documents_show_is_what_the_program_makes():
    for document, made in pieces().items():
        text = document.read_text("utf-8")
        assert filled(text, made) == text, document
    assert PICTURE.exists()


@pytest.mark.parametrize("document", [README, DEVELOPERS])
def test_a_document_is_of_one_sitting(document):
    assert len(document.read_text("utf-8").splitlines()) <= 250


@pytest.mark.parametrize("document", DOCUMENTS, ids=str)
def test_what_is_linked_is_there(document):
    for link in re.findall(r"\]\(([^)#]+)", document.read_text("utf-8")):
        assert (document.parent / link).exists(), link


def test_the_readme_leads_to_every_document_and_notebook():
    text = README.read_text("utf-8")
    here = [*Path("notebooks").iterdir(), DEVELOPERS, Path("tests/benchmarks/README.md")]
    assert not [one for one in here if one.suffix in (".md", ".ipynb") and str(one) not in text]


def commands_of(document):
    """Return the words of the command lines in the blocks of a document."""
    blocks = re.findall(r"```sh\n(.*?)```", document.read_text("utf-8"), re.DOTALL)
    lines = "\n".join(blocks).replace("\\\n", " ").splitlines()
    return [shlex.split(one, comments=True)[1:] for one in lines if one.startswith("bladegeom ")]


@pytest.mark.parametrize("document", DOCUMENTS, ids=str)
def test_every_command_that_is_told_is_understood(document):
    for words in commands_of(document):
        parser(words[0]).parse_args(words)


def test_the_readme_tells_every_command():
    assert {one.name for one in COMMANDS} == {words[0] for words in commands_of(README)}


def test_the_map_has_every_room():
    told = DEVELOPERS.read_text("utf-8").split("## Conventions")[0]
    rooms = {one.name for one in Path("bladegeom").iterdir()} - {
        "__main__.py",
        "__pycache__",
        "py.typed",
    }
    assert not {one for one in rooms if one not in told}


def test_every_part_of_the_saw_file_is_told_with_its_keys():
    rows = Path("notebooks/saw_file.md").read_text("utf-8")
    for part, (kinds, *_) in PARTS.items():
        row = next(one for one in rows.splitlines() if f"[{part}]" in one)
        # A part that is said to be like another has the other's keys.
        said = rows if "as `[" in row or "the same, with" in row else row
        assert not {key for key in kinds if f"`{key}`" not in said}, part


def keys_of_a_saw():
    done = bg.set_up("data_demo/shed_saw.toml")
    keys = {*done.to_dict(), *done.test_cut.checks[0].to_dict()}
    for step in done.steps:
        keys |= {*step.to_dict(), *(step.result.to_dict() if step.result else ())}
    return keys


def keys_of_a_shop(fit):
    held = bg.shelf("data_demo").to_dict()
    limit = bg.Limit("wobble_tir", (1.0, "mm"), "invented for a test")
    seen = bg.visit(fit)
    condition, changed = bg.assess(fit, bg.Limits((limit,))), bg.change(fit, fit)
    queue = {*queue_row(condition, changed, date(2026, 11, 27)), "sheet", "digest", "read_again"}
    found = (condition, changed, bg.trend([seen]))
    return {*held, *held["blades"][0], *queue}.union(*(one.to_dict() for one in found))


def keys_of_arbor_and_plate(fit):
    made = bg.simulate(rng=1, faults=[bg.invented.Flange("0.05 mm")], clock_deg=[0, 90, 180])
    fits = [bg.fit_wobble(one.readings) for one in made.sets]
    advice = bg.clock_advice(bg.separate_arbor(fits, [0, 90, 180])).to_dict()
    fleet = bg.fleet_arbor([(fits, [0, 90, 180])]).to_dict()
    plate = bg.fit_plate(bg.read_rings("data_demo/arbor/three_rings.csv"))
    wall = bg.cut_wall(fit, side_angle_deg=2, feed_per_turn="1 mm", height="40 mm").to_dict()
    lists = (advice["mountings"], fleet["blades"], wall["finishing"])
    keys = {*advice, *fleet, *wall}.union(*(one[0] for one in lists))
    return keys.union(*(one.to_dict() for one in (made.sets[0].key, plate, _turned(plate))))


def _turned(plate):
    return bg.best_rotation(plate, table_height="25 mm")


def test_the_glossary_has_every_key_and_the_list_behind_it_no_other():
    fit = bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))
    answers = (bg.squareness(fit, away_deg=1), bg.next_readings(fit))
    keys = {*bg.blade_answer(fit), *bg.side_clearance(fit.readings.blade).to_dict()}
    keys = keys.union(*(one.to_dict() for one in answers))
    keys |= keys_of_a_saw() | keys_of_a_shop(fit) | keys_of_arbor_and_plate(fit)
    told = DEVELOPERS.read_text("utf-8").split("## Glossary")[1]
    assert not {key for key in keys if f"`{key}`" not in told}
    assert {*" ".join(OTHERS).split()} <= keys


def test_every_public_name_is_there_and_says_what_it_is():
    for name in bg.__all__:
        public = getattr(bg, name)
        if callable(public):
            assert public.__doc__, name


def test_every_result_shows_its_own_text():
    assert not [one for one in results() if one.__repr__ is not Result.__repr__]
