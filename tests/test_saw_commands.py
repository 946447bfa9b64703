"""The commands that set up a saw and list a shelf: what they print, write and refuse."""

from __future__ import annotations

import json
import shutil

import pytest
from pypdf import PdfReader
from written import run, save, sheet

import bladegeom as bg

SAW = "data_demo/shed_saw.toml"
SLOTS = (
    '[slots]\nfront = "1.00 mm"\nback = "1.00 mm"\nseparation = "200 mm"\ngraduation = "0.01 mm"\n'
)


@pytest.fixture
def saw(tmp_path):
    """Write a saw's file and return its path."""

    def write(text):
        path = tmp_path / "saw.toml"
        path.write_text(text, "utf-8")
        return str(path)

    return write


def test_setup_prints_the_steps_in_order_and_the_cautions():
    done = run("setup", SAW)
    assert done.status == 0
    heads = [line for line in done.out.splitlines() if line[:1].isdigit()]
    assert [head.split(".")[0] for head in heads] == [str(one) for one in range(1, 13)]
    assert heads[0] == "1. Slots: WITHIN"
    assert heads[6] == "7. Miter stop 45 left: OUT"
    assert done.out.rstrip().endswith(bg.CAUTIONS[-1])
    assert not done.err


def test_setup_writes_the_card(tmp_path):
    card = tmp_path / "card.pdf"
    done = run("setup", SAW, "-o", str(card), "--paper", "letter")
    assert done.out.rstrip().endswith(f"wrote {card}")
    (page,) = PdfReader(card).pages
    assert float(page.mediabox.width) == pytest.approx(612, abs=0.5)
    assert [path.name for path in tmp_path.iterdir()] == ["card.pdf"]


def test_setup_in_json_is_one_object_and_nothing_else(tmp_path):
    done = run("setup", SAW, "--json", "-o", str(tmp_path / "card.png"))
    held = json.loads(done.out)
    assert held == json.loads(json.dumps(bg.set_up(SAW).to_dict()))
    assert (tmp_path / "card.png").stat().st_size > 1000


def test_setup_of_a_saw_without_a_blade(saw):
    done = run("setup", saw(SLOTS))
    assert done.status == 0
    assert "1. Slots" in done.out
    assert "2." not in done.out.split("Cautions")[0]


def test_what_is_wrong_in_the_file_is_listed_with_rows_and_nothing_is_written(saw, tmp_path):
    text = SLOTS.replace('"200 mm"', "200") + "[tabel]\nspan = 3\n"
    done = run("setup", saw(text), "-o", str(tmp_path / "card.pdf"))
    assert done.status == 2
    assert not done.out
    lines = done.err.splitlines()
    assert lines[0].startswith("bladegeom: row 4: [slots] separation: 200 has no unit; write")
    assert lines[1] == "bladegeom: row 6: tabel is not a known part; did you mean table?"
    assert not (tmp_path / "card.pdf").exists()


def test_refusals_come_in_json_too(saw):
    done = run("setup", saw("[table]\n"), "--json")
    assert done.status == 2
    assert json.loads(done.out)["refused"][0]["row"] == 1


@pytest.mark.parametrize("command", ["setup", "shelf"])
@pytest.mark.parametrize("name", ["card.txt", "none/card.pdf"])
def test_a_card_that_cannot_be_written_is_refused_before_any_work(tmp_path, command, name):
    done = run(command, "data_demo/nothing", "-o", str(tmp_path / name))
    assert done.status == 2
    assert str(tmp_path / name) in done.err or str(tmp_path / "none") in done.err


def test_shelf_lists_every_blade_and_tells_what_it_could_not_answer():
    done = run("shelf", "data_demo")
    assert done.status == 1
    names = [line.split()[0] for line in done.out.splitlines()[3:13]]
    assert names[0] == "B-13"
    assert "B-12, row 66" in done.err
    assert done.out.rstrip().endswith(bg.CAUTIONS[-1])


def test_shelf_of_sound_blades_ends_with_0_and_writes_its_page(tmp_path):
    (tmp_path / "shop").mkdir()
    shutil.copy("data_demo/forty_tooth.csv", tmp_path / "shop")
    done = run("shelf", str(tmp_path / "shop"), "-o", str(tmp_path / "shelf.pdf"))
    assert done.status == 0
    (page,) = PdfReader(tmp_path / "shelf.pdf").pages
    assert "A-40" in page.extract_text()


def test_shelf_in_json_is_one_object(tmp_path):
    save(tmp_path / "a.csv", sheet(blade="A", ring_radius_mm=100))
    held = json.loads(run("shelf", str(tmp_path), "--json").out)
    assert [row["blade"] for row in held["blades"]] == ["A"]
    assert held["refused"] == []


def test_shelf_of_an_empty_folder_is_refused(tmp_path):
    done = run("shelf", str(tmp_path))
    assert done.status == 2
    assert "CSV" in done.err


def test_the_clearance_chart_is_drawn_from_the_facts_of_the_blade(tmp_path):
    out = tmp_path / "clear.pdf"
    done = run("chart", "data_demo/forty_tooth.csv", "--kind", "clearance", "-o", str(out))
    assert done.status == 0
    (page,) = PdfReader(out).pages
    assert "0.216" in page.extract_text()


def test_a_blade_without_its_thickness_has_no_clearance_and_stops_no_other(tmp_path):
    out = tmp_path / "clear.pdf"
    path = save(tmp_path / "a.csv", sheet(blade="A", ring_radius_mm=100))
    done = run("chart", path, "--kind", "clearance", "-o", str(out))
    assert done.status == 2
    assert "plate" in done.err
    assert not out.exists()
