"""The day's workbook: made from a list of blades, filled in by a person, and judged as it is."""

from __future__ import annotations

import json
import re
from unittest.mock import patch

import numpy as np
import openpyxl
import pypdf
import pytest
from simulated import rng_for
from written import changed, run, save, written

import bladegeom as bg
from bladegeom.tables.read import parse_blades

LIST = [
    ["blade", "customer", "teeth", "diameter_in", "ring_radius_in", "graduation_thou", "eye"],
    ["007", "Invented & Sons", "24", "10", "4.5", "0.5", "none"],
    ["=1+1", "Invented & Sons", "10", "7.25", "3", "0.5", ""],
    ["B", "Another", "30", "10", "4.5", "0.5", ""],
]
TEETH = {row[0]: int(row[2]) for row in LIST[1:]}
LIMITS = '[[limit]]\nquantity = "wobble_tir"\nvalue = "6 thou"\nsource = "invented"\n'


@pytest.fixture
def limits(tmp_path):
    return save(tmp_path / "limits.toml", LIMITS)


def blank(tmp_path, *more: object, rows=LIST):
    """Make the workbook of a list with the command."""
    listed = save(tmp_path / "list.csv", written(rows))
    path = tmp_path / "blank.xlsx"
    made = run("sheet", "--list", listed, "--xlsx", "--unit", "thou", "-o", path, *more)
    return made, path


def read_of(name, seed=1):
    """Readings of a turn, the first tooth again at its end, in halves of a thousandth."""
    teeth = TEETH[name]
    angle = 2 * np.pi * np.arange(teeth + 1) / teeth
    read = 2 + 2 * np.cos(angle - 1.0) + rng_for(seed).normal(0, 0.2, teeth + 1)
    return (np.round(2 * read) / 2).tolist()


def rows_of(page):
    """The row of each blade and turn, the first two being heads: name -> cells."""
    heads = [cell.value for cell in page[1]]
    found = {}
    for row in page.iter_rows(min_row=3):
        found.setdefault(row[0].value, []).append(dict(zip(heads, row, strict=True)))
    return found


def fill(row, name, read):
    """Write a turn into the cells of its row."""
    for at, value in enumerate(read):
        row[at + 1 if at < TEETH[name] else "1 again"].value = value


def queue(folder):
    rows = json.loads((folder / "queue.json").read_text())["blades"]
    apart = ("file", "sheet", "digest")
    return {row["blade"]: {k: v for k, v in row.items() if k not in apart} for row in rows}


def test_filled_in_as_a_person_does_it_is_judged_as_the_same_readings_in_a_csv(tmp_path, limits):
    made, path = blank(tmp_path)
    assert made.status == 0
    book = openpyxl.load_workbook(path)
    rows = rows_of(book["readings"])
    assert [*rows] == ["007", "=1+1", "B"]
    long = [["blade", "tooth", "reading_thou", *LIST[0][1:-1]]]
    for name in ("=1+1", "007"):
        read = read_of(name)
        cells = list(read)
        if name == "007":
            cells[2], cells[4], cells[7] = "?", f"{read[4]}".replace(".", ","), None
            read[2] = read[7] = "?"
        fill(rows[name][0], name, cells)
        facts = next(row for row in LIST if row[0] == name)[1:-1]
        long += [[name, at % TEETH[name] + 1, one, *facts] for at, one in enumerate(read)]
    filled = tmp_path / "filled.xlsx"
    book.save(filled)
    csv = save(tmp_path / "same.csv", written(long))
    eyes = save(tmp_path / "eyes.csv", "blade,eye\n007,none\n")
    how = ("--limits", limits, "--date", "2026-01-01", "--out")
    judged = run("batch", filled, *how, tmp_path / "out")
    assert judged.status == 0
    assert "not read: B of Another" in judged.err
    assert run("batch", csv, "--blades", eyes, *how, tmp_path / "csv").status == 0
    got = queue(tmp_path / "out")
    assert got == queue(tmp_path / "csv")
    assert got["007"]["readings"] == 22
    assert got["007"]["closure"] is not None
    assert got["007"]["eye"] == "none"


def allowed(page, cell):
    """What the workbook lets a person write into a cell: the Python of its own rule."""
    rules = page.data_validations.dataValidation
    (rule,) = (one for one in rules if cell.coordinate in one.sqref)
    assert rule.type == "custom"
    (first,) = rule.sqref.ranges
    teeth = next(one for one in page[cell.row] if page.cell(1, one.column).value == "teeth")
    assert page.cell(first.min_row, first.min_col).coordinate in rule.formula1
    formula = re.sub(r"\b[A-Z]+\$1\b", str(page.cell(1, cell.column).value), rule.formula1)
    formula = re.sub(r"\$[A-Z]+[0-9]+", str(teeth.value), formula)
    formula = re.sub(r"\b[A-Z]+[0-9]+\b", "value", formula).replace('="', '=="')
    functions = {
        "AND": lambda *all_: all(all_),
        "OR": lambda *any_: any(any_),
        "ISNUMBER": lambda one: isinstance(one, (int, float)),
        "TRIM": lambda one: str(one).strip(),
    }
    return lambda value: eval(formula, functions, {"value": value})


def test_it_refuses_what_is_no_reading_and_what_is_beyond_the_last_tooth(tmp_path):
    _, path = blank(tmp_path)
    page = openpyxl.load_workbook(path)["readings"]
    rows = rows_of(page)
    for name, teeth in TEETH.items():
        for tooth in (1, teeth, "1 again"):
            lets = allowed(page, rows[name][0][tooth])
            assert [lets(one) for one in (-1.5, 0, "?", " ? ")] == [True] * 4
            assert [lets(one) for one in ("1,5", "half", "2-Jan")] == [False] * 3
        beyond = [*range(teeth + 1, 31)]
        assert not any(allowed(page, rows[name][0][tooth])(1.0) for tooth in beyond)
    assert {page.cell(2, at + 1).value for at, one in enumerate(page[1]) if one.value == 1} == {
        "thou"
    }
    assert page.freeze_panes == rows["007"][0][1].coordinate
    assert page.page_setup.orientation == "landscape"


def test_names_stay_what_they_are_when_they_are_typed_again(tmp_path):
    _, path = blank(tmp_path)
    book = openpyxl.load_workbook(path)
    for page in (book["readings"], book["facts"]):
        names = [row[0] for row in page.iter_rows(min_row=2) if row[0].value in TEETH]
        assert [(one.value, one.data_type, one.number_format) for one in names] == [
            (name, "s", "@") for name in TEETH
        ]


def test_every_turn_has_a_row_and_closes(tmp_path):
    _, path = blank(tmp_path, "--turns", "2")
    book = openpyxl.load_workbook(path)
    rows = rows_of(book["readings"])
    assert [row["turn"].value for row in rows["B"]] == [1, 2]
    turns = [read_of("B", 1), read_of("B", 2)]
    for row, read in zip(rows["B"], turns, strict=True):
        fill(row, "B", read)
    book.save(path)
    (readings,) = (one for one in bg.read_blades(path).readings if len(one.reading))
    assert readings.closures == pytest.approx([read[-1] - read[0] for read in turns])
    assert readings.unit == "thou"
    assert readings.graduation == 0.5


def test_the_cautions_and_how_to_read_are_in_it(tmp_path):
    _, path = blank(tmp_path)
    words = [cell.value for (cell,) in openpyxl.load_workbook(path)["how to read"].iter_rows()]
    assert {*bg.CAUTIONS} <= {*words}


def test_what_options_state_holds_for_all_of_them(tmp_path):
    rows = [row[:4] for row in LIST]
    made, path = blank(tmp_path, "--ring-radius", "3in", "--fact", "plate=2.2mm", rows=rows)
    assert made.status == 0
    blades = bg.read_blades(path).readings
    assert [one.ring_radius_mm for one in blades] == pytest.approx([3 * 25.4] * 3)
    assert [one.blade.plate_mm for one in blades] == pytest.approx([2.2] * 3)


def with_turn(path, name="007"):
    book = openpyxl.load_workbook(path)
    fill(rows_of(book["readings"])[name][0], name, read_of(name))
    book.save(path)


def test_what_a_table_beside_it_says_holds_too_and_must_agree(tmp_path, limits):
    _, path = blank(tmp_path, rows=changed(LIST, 2, "eye", ""))
    with_turn(path)
    how = ("--limits", limits, "--out", tmp_path / "out", "--blades")
    cracked = save(tmp_path / "cracked.csv", "blade,eye\n007,crack at tooth 7\n")
    assert run("batch", path, *how, cracked).status == 0
    assert queue(tmp_path / "out")["007"]["action"] == "out of service"
    other = save(tmp_path / "other.csv", "blade,teeth\n007,25\n")
    refused = run("batch", path, *how, other)
    assert refused.status == 2
    assert "teeth" in refused.err
    book = openpyxl.load_workbook(path)
    book["facts"]["G2"] = "none"
    book.save(path)
    assert run("batch", path, *how, cracked).status == 2


def test_two_customers_blades_of_one_name_stay_apart(tmp_path, limits):
    rows = [*LIST, ["007", "Another", "24", "10", "4.5", "0.5", "crack at tooth 3"]]
    _, path = blank(tmp_path, rows=rows)
    book = openpyxl.load_workbook(path)
    for at, row in enumerate(rows_of(book["readings"])["007"]):
        fill(row, "007", read_of("007", at))
    book.save(path)
    assert run("batch", path, "--limits", limits, "--out", tmp_path / "out").status == 0
    judged = json.loads((tmp_path / "out" / "queue.json").read_text())["blades"]
    assert {one["customer"]: one["action"] for one in judged} == {
        "Another": "out of service",
        "Invented & Sons": "fit for use",
    }


def test_left_blank_altogether_it_is_said_so(tmp_path, limits):
    _, path = blank(tmp_path)
    ran = run("batch", path, "--limits", limits, "--out", tmp_path / "out")
    assert ran.status == 2
    assert "not read: 007 of Invented & Sons, =1+1 of Invented & Sons, B of Another" in ran.err
    assert "no blade is read" in ran.err


@pytest.mark.parametrize(
    ("rows", "options", "says"),
    [
        (changed(LIST, 3, "teeth", ""), [], "row 3"),
        (changed(LIST, 3, "teeth", "x"), [], "row 3"),
        (changed(LIST, 3, "ring_radius_in", "9"), [], "ring_radius"),
        ([row[1:] for row in LIST[:2]], [], "no column blade"),
        (LIST, ["--fact", "teeth=40"], "teeth"),
        (LIST, ["--turns", "0"], "0 turns"),
        (LIST, ["--name", "A"], "--teeth"),
    ],
)
def test_what_is_wrong_leaves_no_workbook(tmp_path, rows, options, says):
    made, path = blank(tmp_path, *options, rows=rows)
    assert made.status == 2
    assert says in made.err
    assert not path.exists()


def test_it_needs_a_unit_a_name_and_the_library_that_writes_it(tmp_path):
    listed = save(tmp_path / "list.csv", written(LIST))
    path = tmp_path / "blank.xlsx"
    whole = ("sheet", "--list", listed, "--xlsx", "-o")
    assert "--unit" in run(*whole, path).err
    assert ".xlsx" in run(*whole, tmp_path / "blank.pdf", "--unit", "mm").err
    with patch("bladegeom.draw.results.find_spec", return_value=None):
        ran = run(*whole, path, "--unit", "mm")
    assert (ran.status, path.exists()) == (2, False)
    assert 'pip install "bladegeom[xlsx]"' in ran.err
    assert run(*whole, path, "--unit", "mm").status == 0
    assert run(*whole, path, "--unit", "mm").status == 2  # It is not written over.


def test_without_a_workbook_every_blade_has_its_form(tmp_path):
    listed = save(tmp_path / "list.csv", written(LIST))
    path = tmp_path / "forms.pdf"
    assert run("sheet", "--list", listed, "-o", path).status == 0
    pages = pypdf.PdfReader(path).pages
    assert len(pages) == len(TEETH)
    for page, name in zip(pages, TEETH, strict=True):
        assert name in page.extract_text()


def test_a_wide_table_may_have_the_first_tooth_again_at_its_end():
    rows = [
        ["blade", "teeth", *range(1, 9), "1 again"],
        ["A", 8, *range(8), 0.5],
        ["B", 6, *range(6), "", "", 1],
        ["C", 8, *range(8), ""],
        ["D", 8, "?", *range(1, 8), 3],
    ]
    got = parse_blades(written(rows).encode(), "wide.csv", unit="mm")
    assert not got.refused
    assert [one.closure for one in got.readings] == [0.5, 1.0, None, None]
    assert got.readings[3].tooth.tolist() == [*range(2, 9), 1]


def test_a_giant_wide_table_has_it_too(tmp_path):
    rows = [["blade", "teeth", *range(1, 9), "1 again"]]
    rows += [
        [f"B{at}", 8, *np.cos(np.arange(8) + at).round(3), round(at / 9, 3)] for at in range(9)
    ]
    path = save(tmp_path / "wide.csv", written(rows))
    frame = bg.fit_table(bg.read_table(path, unit="mm"))
    closures = [one.closure for one in bg.read_blades(path, unit="mm").readings]
    assert frame["closure"].tolist() == pytest.approx(closures)
