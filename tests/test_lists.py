"""Plain readings in tooth order, typed or piped."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from written import NUMBERS, TEETH, run, save, sheet, wave, written

import bladegeom as bg
from bladegeom.tables.lists import looks_like_table, written_list


def listed(text, **more):
    data = text if isinstance(text, bytes) else text.encode()
    return written_list(data, **({"unit": "mm", "teeth": TEETH} | more)).readings()


def faults(text, **more):
    with pytest.raises(bg.RefusedError) as refused:
        listed(text, **more)
    return refused.value.faults


COMMAS = [text.replace(".", ",") for text in wave()]
LISTS = {
    "one a line": "\n".join(wave()),
    "one a line from another system": "\r\n".join(wave()) + "\r\n",
    "on one line": " ".join(wave()),
    "several a line": "\n".join([" ".join(wave()[:5]), "\t".join(wave()[5:])]),
    "semicolons": ";".join(wave()),
    "decimal commas": "\n".join(COMMAS),
    "decimal commas between semicolons": "; ".join(COMMAS),
    "blank lines between": "\n\n".join(wave()),
    "utf-8 with a mark": "\ufeff" + "\n".join(wave()),
    "utf-16": "\n".join(wave()).encode("utf-16"),
}


@pytest.mark.parametrize("text", LISTS.values(), ids=LISTS.keys())
def test_readings_are_of_tooth_1_and_on_however_they_are_spaced(text):
    readings = listed(text)
    assert_array_equal(readings.reading, NUMBERS)
    assert_array_equal(readings.tooth, range(1, TEETH + 1))


def test_a_question_mark_is_a_tooth_not_read():
    assert_array_equal(listed(" ".join(["?", *wave()[1:]])).tooth, range(2, TEETH + 1))


def test_one_more_reading_closes_the_turn():
    readings = listed(" ".join([*wave(), "0.15"]))
    assert readings.closing.sum() == 1
    assert readings.closure == pytest.approx(0.05)


@pytest.mark.parametrize("text", ["1 1/2", "1½", "1 ½"])
def test_a_fraction_on_a_line_of_its_own_is_one_reading(text):
    assert listed("\n".join([text, *wave()[1:]])).reading[0] == 1.5


def test_a_fraction_on_a_line_of_its_own_is_one_reading_beside_a_tooth_not_read():
    readings = listed("\n".join(["1 1/2", "?", *wave()[2:]]))
    assert_array_equal(readings.tooth, [1, *range(3, TEETH + 1)])
    assert readings.reading[0] == 1.5


@pytest.mark.parametrize("separator", [";", "; ", "\t"], ids=["semicolon", "and blank", "tab"])
def test_a_fraction_between_separators_is_one_reading(separator):
    assert_array_equal(listed(separator.join(["1 1/2", *wave()[1:]])).reading[:1], [1.5])


SPLIT = ["1 1/2", "-1 1/2", "1 \u00bd", "1\u00a01/2", "0. 5", "1 005", "0 .5"]
HALVES = ["1/2 1/2", "? 1/2", "1.5 1/2", "98 100", "1 -1/2", "1 -.5"]


@pytest.mark.parametrize("text", SPLIT)
@pytest.mark.parametrize("ends", [("", " "), ("0.1\n", "\n0.2 ")], ids=["one line", "lines"])
def test_a_reading_that_a_blank_may_have_split_is_refused(text, ends):
    """Split into two, it would stand for two teeth, and the last reading for the closing one."""
    before, after = ends
    found = faults(f"{before}{text}{after}" + " ".join(wave()[1 : TEETH - len(before) // 4]))
    assert [fault.row for fault in found] == [1 + before.count("\n")]
    assert found[0].value.split() == text.split()


@pytest.mark.parametrize("text", HALVES)
def test_two_readings_that_can_only_be_two_are_two(text):
    read = listed(" ".join([text, *wave()[2:]]))
    assert read.tooth[-1] == TEETH


@pytest.mark.parametrize("style", [".25 1 .5 0 -.5", "1 -.25 1 .5 0"])
def test_points_without_a_nought_are_read_where_that_is_how_they_are_written(style):
    expected = [float(word) for word in [*style.split(), *wave()[5:]]]
    assert_array_equal(listed(" ".join([style, *wave()[5:]])).reading, expected)


def test_points_behind_a_whole_number_are_read():
    words = ["2.", "2.5", "3.", *wave()[3:]]
    assert_array_equal(listed(" ".join(words)).reading, [float(word) for word in words])


@pytest.mark.parametrize("text", ["0, 5", "0 ,5"])
def test_a_decimal_comma_with_a_blank_beside_it_is_refused(text):
    assert faults(" ".join([text, *COMMAS[1:]]))[0].row == 1


@pytest.mark.parametrize("text", ["1 / 2", "1/ 2", "1 /2", "- 0.5", "1-1/2", "1 - 1/2"])
def test_blanks_within_a_reading_are_refused_with_how_to_write_it(text):
    found = faults(" ".join([text, *wave()[1:]]))
    assert any("1.5 for 1 1/2" in fault.cure for fault in found)


@pytest.mark.parametrize("separator", [";", "\t", "\n"], ids=["semicolon", "tab", "line"])
def test_a_gap_that_may_be_a_tooth_not_read_shifts_no_reading(separator):
    """Twelve readings and a gap: a tooth not read and the closing reading, or the twelve teeth."""
    (fault,) = faults(separator.join([*wave()[:4], "", *wave()[4:]]))
    assert fault.row == (5 if separator == "\n" else 1)
    assert "?" in fault.cure


@pytest.mark.parametrize("ends", ["\n", ";", "\t"])
def test_blanks_before_and_behind_all_readings_are_none(ends):
    assert_array_equal(listed(f"{ends}{';'.join(wave())}{ends}").reading, NUMBERS)


def test_a_blank_line_between_lines_of_several_readings_is_none():
    assert_array_equal(listed(f"{' '.join(wave()[:6])}\n\n{' '.join(wave()[6:])}").reading, NUMBERS)


def test_the_command_names_no_teeth_from_a_split_fraction():
    text = " ".join(["1 1/2", *wave()[1:]])
    ran = run("fit", "-", "--teeth", str(TEETH), "--unit", "mm", stdin=text)
    assert (ran.status, ran.out) == (2, "")
    assert "1 1/2 could be one reading or two" in ran.err


@pytest.mark.parametrize("count", [TEETH - 1, TEETH + 2])
def test_another_number_of_readings_is_never_shifted_into_place(count):
    (fault,) = faults(" ".join([*wave(), *wave()][:count]))
    assert fault.problem == f"{count} readings for {TEETH} teeth"
    assert "not read: ?" in fault.cure


def test_every_word_that_is_no_number_is_named_with_its_line():
    found = faults("\n".join(["nan", *wave()[1:-1], "x"]))
    assert [(fault.row, fault.value) for fault in found] == [(1, "nan"), (TEETH, "x")]


@pytest.mark.parametrize("between", [",", ", "], ids=["comma", "comma and blank"])
@pytest.mark.parametrize("numbers", [wave(), [*"123456543212"]], ids=["decimals", "whole"])
def test_commas_between_readings_are_refused_with_what_to_write(between, numbers):
    found = faults(between.join(numbers))
    assert all("put blanks, not commas, between the readings" in fault.cure for fault in found)


def test_pairs_between_commas_are_not_taken_for_decimals():
    assert "6 readings for 12 teeth" in str(faults("1,2\n" * 6)[0])


def test_readings_that_could_be_thousands_are_refused():
    (fault,) = faults("\n".join(["1,234"] * TEETH))
    assert "1,234 could be 1.234 or 1234" in fault.problem


def test_the_unit_is_asked_for():
    (fault,) = faults(LISTS["one a line"], unit=None)
    assert fault.cure == "state it: mm, in, thou or um"


def test_the_teeth_are_asked_for():
    (fault,) = faults(LISTS["one a line"], teeth=None)
    assert "the number of teeth is not stated" in fault.problem


@pytest.mark.parametrize("text", ["", " \n", "\ufeff"], ids=["empty", "blank", "only a mark"])
def test_no_readings_are_refused(text):
    (fault,) = faults(text)
    assert fault.problem == "there are no readings"


def test_facts_may_stand_in_a_second_table(tmp_path):
    shelf = save(tmp_path / "shelf.csv", "blade,teeth,ring_radius_mm\n007,12,90\n8,24,80\n")
    readings = listed(LISTS["one a line"], teeth=None, blade="007", blades=shelf)
    assert (readings.blade.name, readings.ring_radius_mm) == ("007", 90.0)


def test_a_second_table_that_lacks_the_blade_is_refused(tmp_path):
    shelf = save(tmp_path / "shelf.csv", "blade,teeth\n8,12\n")
    (fault,) = faults(LISTS["one a line"], blade="007", blades=shelf)
    assert "has no row for this blade" in fault.problem


def test_facts_in_the_second_table_and_beside_it_must_agree(tmp_path):
    shelf = save(tmp_path / "shelf.csv", "blade,teeth\n007,24\n")
    (fault,) = faults(LISTS["one a line"], blade="007", blades=shelf)
    assert "but the option says 12" in fault.problem


@pytest.mark.parametrize("text", [text for text in LISTS.values() if isinstance(text, str)])
def test_a_list_is_not_taken_for_a_table(text):
    assert not looks_like_table(text.encode())


@pytest.mark.parametrize("word", ["nan", "inf", "Infinity", "?", "1e-3", "x"])
def test_a_word_that_is_no_reading_makes_no_table(word):
    assert not looks_like_table(f"{word}\n0.1\n".encode())


@pytest.mark.parametrize(
    "head", ["tooth,reading_mm", "reading;Tooth", "blade,teeth", "tooht,raeding_mm", "Zahn;Wert"]
)
def test_a_line_of_names_makes_a_table(head):
    assert looks_like_table(f"\n{head}\n1,2\n".encode())


def test_the_command_takes_a_list(tmp_path):
    options = ("--teeth", TEETH, "--unit", "thou", "--ring-radius", "4.5in")
    ran = run("fit", "-", *map(str, options), "--json", stdin=LISTS["one a line"])
    (answer,) = ran.json["blades"]
    assert ran.status == 0
    assert (answer["blade"], answer["unit"], answer["readings"]) == ("typed", "thou", TEETH)
    table = save(tmp_path / "typed.csv", sheet(unit="thou", ring_radius_in="4.5"))
    assert run("fit", table, "--json").json["blades"] == [answer]


def test_the_command_names_a_list():
    options = ("--teeth", str(TEETH), "--unit", "mm", "--blade", "007")
    ran = run("fit", "-", *options, "--json", stdin=LISTS["one a line"])
    assert ran.json["blades"][0]["blade"] == "007"


def test_the_command_takes_the_facts_of_a_list_from_a_second_table(tmp_path):
    shelf = save(tmp_path / "shelf.csv", "blade,teeth,ring_radius_mm\n007,12,90\n8,24,80\n")
    options = ("--unit", "mm", "--blade", "007", "--blades", str(shelf), "--json")
    (answer,) = run("fit", "-", *options, stdin=LISTS["one a line"]).json["blades"]
    assert (answer["blade"], answer["teeth"]) == ("007", TEETH)


@pytest.mark.parametrize("separator", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
def test_the_command_takes_a_table_piped_in(separator):
    ran = run("fit", "-", "--json", stdin=written(sheet(blade="A"), separator))
    (answer,) = ran.json["blades"]
    assert answer["blade"] == "A"
    assert answer["offset"] == pytest.approx(np.mean(NUMBERS), abs=1e-12)


def test_a_misspelt_header_piped_in_is_named():
    ran = run("fit", "-", stdin=written(sheet()).replace("tooth", "tooht"))
    assert ran.status == 2
    assert "did you mean tooth?" in ran.err


@pytest.mark.parametrize("command", ["check", "fit"])
@pytest.mark.parametrize("data", [b"0.1\n\x00\n", b"tooth,reading_mm\n1,\x00\n"])
def test_what_is_no_text_is_told_with_its_file(command, data, tmp_path):
    file = save(tmp_path / "damaged.csv", data)
    (fault,) = run(command, file, "--unit", "mm", "--json").json["refused"]
    assert fault["file"] == str(file)
