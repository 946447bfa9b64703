"""Names of blades that would break a line, turn its letters round, or are another's too."""

from __future__ import annotations

import json
import re
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader
from written import run, save, sheet, wave, with_column

import bladegeom as bg
from bladegeom.cli import COMMANDS
from bladegeom.faults import shown

pytestmark = pytest.mark.filterwarnings("always::bladegeom.faults.BladegeomWarning")

ODD = "a\nb\r\x1b[31m\u202e\u2028--\x7f\x9b x"
LIMITS = '[[limit]]\nquantity = "raw_tir"\nvalue = "1 mm"\nsource = "invented"\n'
FACTS = {"ring_radius_mm": 100, "diameter_mm": 250, "graduation_mm": 0.001}


def table(path, name, **facts):
    return save(path, sheet(wave(24), blade=name, **(FACTS | facts)))


@pytest.fixture
def words(tmp_path):
    """Return what every command is told of the blade with the odd name, and of odd words."""
    (tmp_path / "in").mkdir()
    rows = sheet(wave(24), blade=ODD, side=ODD, tooth_width_mm=3.2, plate_mm=2.2, **FACTS)
    path = save(tmp_path / "in" / "day.csv", rows)
    mounts = with_column(with_column(rows, "mount", ODD), "clock_deg", "0")
    mounts += with_column(with_column(rows, "mount", "2"), "clock_deg", "90")[1:]
    head, *body = [row[:5] for row in sheet(wave(24), blade=ODD, ring_radius_mm=100)]
    rings = [head, *body, *([*row[:4], "80"] for row in body)]
    limits = save(tmp_path / "limits.toml", LIMITS)
    saw = save(
        tmp_path / "saw.toml", f'[blade]\nreadings = "in/day.csv"\nname = {json.dumps(ODD)}\n'
    )
    mounted, ringed = save(tmp_path / "m.csv", mounts), save(tmp_path / "r.csv", rings)
    out, kept = tmp_path / "out", tmp_path / "kept"
    bg.record([bg.visit(bg.fit_wobble(bg.read_blade(path)))], kept)
    drawn = ("-o", tmp_path / "page.svg")
    return {
        "check": (path,),
        "doubt": (path,),
        "fit": (path,),
        "next": (path,),
        "table": (path, "-o", tmp_path / "answers.csv"),
        "squareness": (path, "--away", "3"),
        "chart": (path, *drawn),
        "shelf": (tmp_path / "in", *drawn),
        "batch": (path, "--limits", limits, "--out", out, "--before", path, "--shop", ODD),
        "clock": (mounted, *drawn),
        "disc": (path, "--bore", "30mm", "--fact", "numbered=clockwise", "-o", tmp_path / "d.pdf"),
        "plate": (ringed, "--table-height", "30mm", "--reach", "80mm", *drawn),
        "change": (path, path),
        "record": (path, "--history", kept, "--note", ODD, "--arbor", ODD),
        "trend": ("--history", kept, "--blade", ODD, *drawn),
        "marks": ("--teeth", "40", "--near", "3", "--blade", ODD),
        "sheet": ("--teeth", "40", "--name", ODD, *drawn),
        "setup": (saw, *drawn),
        "cut-wall": (path, "--feed", "1mm", "--height", "60mm", "--side-angle", "3", *drawn),
    }


# What is read at a terminal is tried at one.
@pytest.mark.parametrize("command", [row.name for row in COMMANDS if row.name != "read"])
def test_no_name_breaks_a_line_or_turns_it_round(command, words, tmp_path):
    ran = run(command, *words[command])
    said = ran.out + ran.err
    assert {one for one in said if not one.isprintable()} <= {"\n"}
    assert "Traceback" not in said
    assert ran.status in (0, 1)
    assert not re.search(r"\ba\nb", said)
    page = tmp_path / "page.svg"
    if page.exists():
        text = page.read_text("utf-8")
        ElementTree.fromstring(text)
        assert {one for one in text if not one.isprintable()} <= {"\n"}
        assert "a\nb" not in text
    refused = run(command, *words[command], "--json")
    if refused.status < 2:
        assert refused.json


def test_a_fault_is_one_line_whatever_stands_in_it(tmp_path):
    rows = sheet(blade=ODD)
    rows[3][2] = f"x{ODD}"
    ran = run("fit", save(tmp_path / "a.csv", rows))
    (line,) = ran.err.splitlines()
    assert line.isprintable()
    assert run("fit", tmp_path / "a.csv", "--json").json["refused"][0]["blade"] == ODD


def test_letters_of_every_kind_are_shown_as_they_are_and_nothing_twice():
    for text in ("S\u00e4ge \u92f8 \U0001f600 x\u0302 \u05d0\u05d1 a  b", shown(ODD), "a\u200db"):
        assert shown(text) == text
    assert shown(ODD).isprintable()


def test_blanks_inside_a_name_are_kept_everywhere(tmp_path):
    names = ["K 7", "K  7", "K\u00a07"]
    head, *rows = sheet(wave(24), blade="", **FACTS)
    rows = [head, *([name, *row[1:]] for name in names for row in rows)]
    path, kept = save(tmp_path / "a.csv", rows), tmp_path / "kept"
    assert [one["blade"] for one in run("fit", path, "--json").json["blades"]] == names
    assert all(f"Blade {name}: " in run("fit", path).out for name in names)
    assert run("record", path, "--history", kept).out.startswith("recorded 3")
    assert run("record", path, "--history", kept).out.startswith("recorded 0")
    assert bg.read_history(kept).blades == sorted(names)
    for name in names:
        assert run("trend", "--history", kept, "--blade", name).status == 0
    assert bg.read_table(path)["blade"].unique().tolist() == names


# Two blades of one name


@pytest.fixture
def customers(tmp_path):
    """Return the tables of two customers who both number their blades from 1."""
    for who, near in (("one", 1.0), ("other", 1.4)):
        (tmp_path / who).mkdir()
        cells = [f"{near * float(cell):.3f}" for cell in wave(24)]
        for name in ("day.csv", f"{who}.csv"):
            save(tmp_path / who / name, sheet(cells, blade="1", **FACTS))
    return tmp_path


@pytest.mark.parametrize("files", [("one.csv", "other.csv"), ("day.csv", "day.csv")])
def test_two_customers_blades_of_one_name_have_sheets_that_can_be_told_apart(customers, files):
    paths = [customers / who / file for who, file in zip(("one", "other"), files, strict=True)]
    limits = save(customers / "limits.toml", LIMITS)
    options = ("--limits", limits, "--out", customers / "out", "--history", customers / "kept")
    ran = run("batch", *paths, *options, "--before", paths[0])
    assert ran.status == 0
    (note,) = [line for line in ran.err.splitlines() if "are called 1" in line]
    rows = json.loads((customers / "out" / "queue.json").read_text("utf-8"))["blades"]
    heads = []
    for row in rows:
        text = PdfReader(customers / "out" / row["sheet"]).pages[0].extract_text()
        (head,) = re.findall(r"1 \(([^)]*)\)", " ".join(text.split()))
        heads.append(head)
        assert head in note
        # What came before was of one of them, and nobody knows of which.
        assert row["change_verdict"] is None
    assert len({*heads}) == len({row["sheet"] for row in rows}) == 2
    assert not (customers / "kept").exists() or not bg.read_history(customers / "kept").visits
    again = run("batch", *paths, *options)
    assert "2 kept as they were" in again.out


def test_a_blade_of_its_own_name_is_headed_by_it_alone(tmp_path):
    limits = save(tmp_path / "limits.toml", LIMITS)
    paths = [table(tmp_path / f"{name}.csv", name) for name in "12"]
    run("batch", *paths, "--limits", limits, "--out", tmp_path / "out")
    for name in "12":
        words = PdfReader(tmp_path / "out" / "sheets" / f"{name}.pdf").pages[0].extract_text()
        assert f"{name} (" not in words
