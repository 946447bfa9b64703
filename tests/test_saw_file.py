"""The text file of a saw: what it says, and what is wrong in it, with the row."""

from __future__ import annotations

from datetime import date

import pytest

from bladegeom.faults import RefusedError
from bladegeom.saw._saw_file import PARTS, read_saw

WHOLE = """\
# invented
[saw]
name = "Bench saw"
date = 2026-11-25
tilts = "left"

[slots]
indicator = "left"
front = "12.0 12.5 12.0 thou"
back = "11.0, 11.5, 11.0 thou"
separation = "8 1/2 in"
tolerance = "1 thou"

[table]
span = "50mm"
tolerance = 0.05

[[bevel]]
angle = "45 deg"

[[bevel]]
angle = 22.5
tooth = 7

[test_cut.kerf]
width = "3.21 3.22 mm"
"""


def written(tmp_path, text):
    path = tmp_path / "saw.toml"
    path.write_text(text, "utf-8")
    return path


def faults(tmp_path, text):
    with pytest.raises(RefusedError) as caught:
        read_saw(written(tmp_path, text))
    return caught.value.faults


def test_a_file_is_read_part_by_part(tmp_path):
    held = read_saw(written(tmp_path, WHOLE))
    saw, slots = held.one("saw"), held.one("slots")
    assert saw.values == {"name": "Bench saw", "date": date(2026, 11, 25), "tilts": "left"}
    assert slots.get("front") == ([0.012, 0.0125, 0.012], "in")
    assert slots.get("back") == ([0.011, 0.0115, 0.011], "in")
    assert slots.get("separation") == (8.5, "in")
    assert slots.get("tolerance") == (0.001, "in")
    assert held.one("table").values == {"span": (50.0, "mm"), "tolerance": 0.05}
    assert [one.get("angle") for one in held.parts["bevel"]] == [45.0, 22.5]
    assert [one.title for one in held.parts["bevel"]] == ["bevel 1", "bevel 2"]
    assert held.one("test_cut.kerf").get("width") == ([3.21, 3.22], "mm")
    assert held.one("fence") is None


def test_values_become_arguments(tmp_path):
    slots = read_saw(written(tmp_path, WHOLE)).one("slots")
    separation = {"separation": (8.5, "in")}
    assert slots.given("separation", "lever") == separation
    given = slots.given()
    assert given.items() >= (separation | {"side": "left", "tolerance": (0.001, "in")}).items()
    assert "indicator" not in given


def test_rows_are_those_of_the_file(tmp_path):
    held = read_saw(written(tmp_path, WHOLE))
    lines = WHOLE.splitlines()
    for sections in held.parts.values():
        for section in sections:
            assert lines[section.row - 1].strip("[]").startswith(section.title.split(" ")[0])
            for key, row in section.rows.items():
                assert lines[row - 1].startswith(f"{key} =")


def test_a_fault_of_a_value_is_put_in_its_row(tmp_path):
    slots = read_saw(written(tmp_path, WHOLE)).one("slots")
    try:
        from bladegeom.faults import refuse

        raise refuse("front holds 0", "read it", column="front", value="0")
    except RefusedError as error:
        (fault,) = slots.located(error)
    assert (fault.row, fault.problem) == (9, "[slots] front holds 0")


@pytest.mark.parametrize(
    ("text", "row", "words"),
    [
        ('[slot]\nfront = "1 mm"\n', 1, "slot is not a known part; did you mean slots?"),
        ("[table]\ntoleranse = 0.1\n", 2, "toleranse is not a known key in [table]; did you mean"),
        ("[table]\nzzz = 0.1\n", 2, "zzz is not a known key in [table]; use one of tooth"),
        ("[table]\ntolerance = 0\n", 2, "[table] tolerance: 0 is not above 0"),
        ("[table]\ntolerance = true\n", 2, "[table] tolerance: True is no angle"),
        ("[table]\ntolerance = nan\n", 2, "is not a number"),
        ("[table]\nspan = 50\n", 2, "50 has no unit; write the unit behind it, in quotes"),
        ('[table]\nspan = "50"\n', 2, "'50' has no unit"),
        ("[table]\ntooth = 7.5\n", 2, "7.5 is no whole number"),
        ('[saw]\ntilts = "up"\n', 2, "'up' is not known; write left or right"),
        ('[saw]\ndate = "yesterday"\n', 2, "is no date; write year, month and day"),
        ("[saw]\nname = 7\n", 2, "7 is no text; write it in quotes"),
        ('[fence]\nreadings = "0 1 mm"\n', 1, "[fence] says no along; add along = ..."),
        ("[bevel]\n", 1, "[[bevel]] says no angle"),
        ("[[table]]\ntooth = 1\n[[table]]\ntooth = 2\n", 1, "[[table]] can come only once"),
        ('slots = "8 in"\n', 1, "slots is '8 in'; begin a part of its own: [slots]"),
        (
            '[insert]\nx = "1 1/2 in"\ny = "0 in"\nheight = "0 in"\n',
            2,
            "could be read in two ways; write decimals",
        ),
        ('[insert]\nx = "1 \u00bd in"\ny = "0 in"\nheight = "0 in"\n', 2, "1.5 for 1 1/2"),
        ('[insert]\nx = "1 2"\ny = "0 in"\nheight = "0 in"\n', 2, "'1 2' has no unit"),
        ('[insert]\nx = "1 2"\ny = "0 in"\nheight = "0 in"\n', 2, 'in quotes: "12.0 12.5'),
        ('[insert]\nx = "left"\ny = "0 in"\nheight = "0 in"\n', 2, "'left' has no number"),
        ('[insert]\nx = "in"\ny = "0 in"\nheight = "0 in"\n', 2, "'in' has no number"),
        ('[insert]\nx = "1,5 2 mm"\ny = "0 in"\nheight = "0 in"\n', 2, "'1,5' is not a number"),
        ("[saw]\nname = Bench saw\n", 2, "is not in order"),
        ('[saw]\nname = "Bench saw\n', 2, "is not in order"),
    ],
)
def test_what_is_wrong_is_said_with_its_row_and_its_cure(tmp_path, text, row, words):
    (fault,) = faults(tmp_path, text)
    assert words in str(fault)
    assert fault.row == row


def test_every_fault_is_listed(tmp_path):
    found = faults(tmp_path, '[table]\ntooth = "x"\nspan = 5\n[slots]\nfront = "1 mm"\n')
    assert [fault.row for fault in found] == [2, 3, 4, 4]


def test_an_empty_file_says_what_may_stand_in_it(tmp_path):
    (fault,) = faults(tmp_path, "# nothing yet\n")
    assert all(f"[{part}]" in fault.cure for part in PARTS)


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    with pytest.raises(RefusedError, match="there is no file"):
        read_saw(tmp_path / "none.toml")
    with pytest.raises(RefusedError, match="is a folder"):
        read_saw(tmp_path)


def test_a_length_glued_to_its_unit_is_read(tmp_path):
    text = '[insert]\nx = "1 2.5mm"\ny = "3in"\nheight = "1 um"\n'
    insert = read_saw(written(tmp_path, text)).one("insert")
    assert insert.get("x") == ([1.0, 2.5], "mm")
    assert insert.get("y") == ([3.0], "in")
    assert insert.get("height") == ([0.001], "mm")
