"""The command that says where to put a blade on its arbor: what it prints, writes and refuses."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from make_demo_data import CLOCKED, FLANGE
from pypdf import PdfReader
from simulated import rng_for
from test_mounts import mounts_of
from written import changed, run, run_apart, save, sheet

import bladegeom as bg
from bladegeom.arbor.clock import advise
from bladegeom.tables.several import read_mounts

DEMO = "data_demo/arbor/clock_mounts.csv"
FACTS = {"ring_radius_mm": 100, "graduation_mm": 0.001}


@pytest.fixture
def table(tmp_path):
    """Save a table and return its path."""
    return lambda rows: save(tmp_path / "table.csv", rows)


def test_the_demo_is_answered_with_its_hidden_truth_within_the_limits():
    (advice,), refused = advise(read_mounts(DEMO))
    assert not refused
    arbor = advice.arbor
    for wobble, truth in ((arbor.blade_wobble, CLOCKED), (arbor.flange_wobble, FLANGE)):
        low, high, _ = wobble.near_interval()
        assert low <= truth.near_deg <= high
    assert 2 * arbor.blade_wobble.amplitude_interval().low < CLOCKED.wobble_tir_mm
    assert 2 * arbor.blade_wobble.amplitude_interval().high > CLOCKED.wobble_tir_mm
    # Flange's near at blade angle 72 + a, a the angle of the tooth at the mark: opposite to the
    # blade's near at 205 for a = 313, which is a quarter past tooth 21.
    assert advice.best_tooth in (21, 22)
    assert advice.recommended


def test_a_likely_mistake_in_a_mounting_comes_first_on_all_that_is_told(tmp_path):
    (advice,), _ = advise(read_mounts(slipped_demo(tmp_path)))
    told = advice.to_dict()["warnings"][0]
    assert told.startswith("mount 2: ")
    assert "tooth 7" in told
    assert told in str(advice).splitlines()[1]
    drawn = run("clock", tmp_path / "slip.csv", "-o", tmp_path / "clock.pdf")
    assert drawn.status == 0
    page = PdfReader(tmp_path / "clock.pdf").pages[0].extract_text()
    assert told[1:] in " ".join(page.split())  # There it begins a sentence.


def slipped_demo(tmp_path):
    """The demo with a dial read one revolution off in the second mounting."""
    head, *rows = (line.split(",") for line in Path(DEMO).read_text("utf-8").splitlines())
    mount, tooth = head.index("mount"), head.index("tooth")
    read = next(at for at, name in enumerate(head) if name.startswith("reading"))
    for row in rows:
        if (row[mount], row[tooth]) == ("2", "7"):
            row[read] = f"{float(row[read]) + 1:.2f}"
    return save(tmp_path / "slip.csv", [head, *rows])


def test_the_answer_comes_first_and_the_cautions_last():
    done = run("clock", DEMO)
    assert (done.status, done.err) == (0, "")
    lines = done.out.splitlines()
    assert lines[0] == "Blade M-24: put tooth 22 at the arbor's mark"
    assert done.out.rstrip().endswith(bg.CAUTIONS[-1])
    assert max(map(len, lines)) <= 100
    for words in (
        "blade alone",
        "flange alone",
        "seating",
        "gain",
        "measure next",
        "mount 1 again",
    ):
        assert any(line.strip().startswith(words) for line in lines), words


def test_it_is_a_command_of_the_installed_program():
    done = run_apart("clock", DEMO)
    assert done.status == 0
    assert "put tooth 22 at the arbor's mark" in done.out


def test_the_chart_is_written_and_named(tmp_path):
    out = tmp_path / "clock.pdf"
    done = run("clock", DEMO, "-o", out, "--paper", "letter")
    assert done.status == 0
    assert done.out.rstrip().endswith(f"wrote {out}")
    (page,) = PdfReader(out).pages
    assert float(page.mediabox.width) == pytest.approx(11 * 72, abs=0.5)
    assert "Put tooth 22 at the arbor's mark" in page.extract_text()
    assert [path.name for path in tmp_path.iterdir()] == ["clock.pdf"]


def test_json_is_one_object_and_nothing_else(tmp_path):
    done = run("clock", DEMO, "--json", "-o", tmp_path / "clock.png")
    assert done.json.keys() == {"blades", "refused"}
    (answer,) = done.json["blades"]
    (advice,), _ = advise(read_mounts(DEMO))
    assert answer == json.loads(json.dumps(advice.to_dict()))
    assert (tmp_path / "clock.png").exists()


def test_several_blades_are_answered_each_on_a_page_of_its_own(table, tmp_path):
    rows = mounts_of("A", [0, 180, 90], **FACTS) + mounts_of("B", [0, 120, 240], **FACTS)[1:]
    done = run("clock", table(rows), "-o", tmp_path / "c.pdf")
    assert done.status == 0
    assert [line.split(":")[0] for line in done.out.splitlines() if line.startswith("Blade ")] == [
        "Blade A",
        "Blade B",
    ]
    assert len(PdfReader(tmp_path / "c.pdf").pages) == 2


@pytest.mark.parametrize("json_too", [[], ["--json"]])
def test_a_blade_or_a_mounting_left_out_makes_the_status_1(table, json_too):
    rows = mounts_of("A", [0, 180, 90], **FACTS) + mounts_of("B", [0, 120], **FACTS)[1:]
    for row, blade in ((4, "A"), (40, "B")):
        done = run("clock", table(changed(rows, row, "reading_mm", "x")), *json_too)
        assert done.status == 1
        assert f"bladegeom: blade {blade}, row {row}: mount m1: reading_mm: 'x'" in done.err
        if json_too:
            assert done.json["refused"][0]["row"] == row


def test_a_blade_with_too_few_mountings_left_is_refused_with_the_reason_too(table):
    rows = changed(mounts_of("A", [0, 180], **FACTS), 4, "reading_mm", "x")
    done = run("clock", table(rows))
    assert (done.status, done.out) == (2, "")
    first, second = done.err.splitlines()
    assert first.startswith("bladegeom: blade A, row 4: mount m1: reading_mm: 'x'")
    assert second.startswith("bladegeom: blade A: 1 mounting with a clock position; one mounting")


@pytest.mark.parametrize(
    ("clocks", "words", "cure"),
    [
        (["0", ""], "mount m2: its clock position was not kept", "clock_tooth"),
        (["", ""], "0 mountings with a clock position", "two or more"),
        (["0"], "1 mounting with a clock position", "two or more"),
        (["90", "90"], "mount", "clock"),
    ],
)
def test_mountings_that_cannot_part_blade_and_arbor_are_refused(
    table, tmp_path, clocks, words, cure
):
    done = run("clock", table(mounts_of("A", clocks, **FACTS)), "-o", tmp_path / "c.pdf")
    assert (done.status, done.out) == (2, "")
    assert words in done.err
    assert cure in done.err
    assert not (tmp_path / "c.pdf").exists()


def test_a_mounting_whose_place_was_not_kept_leaves_the_others(table):
    done = run("clock", table(mounts_of("A", ["0", "", "180", "90"], **FACTS)))
    assert done.status == 1
    assert "mount m3" in done.out
    assert "mount m2: its clock position was not kept" in done.err


def test_a_file_without_mountings_is_refused_in_json_too():
    done = run("clock", "data_demo/forty_tooth.csv", "--json")
    assert done.status == 2
    (fault,) = done.json["refused"]
    assert fault["problem"] == "there is no column mount"


@pytest.mark.parametrize("name", ["card.txt", "none/card.pdf"])
def test_a_chart_that_cannot_be_written_is_refused_before_any_work(tmp_path, name):
    done = run("clock", "data_demo/nothing.csv", "-o", tmp_path / name)
    assert done.status == 2
    assert str(tmp_path / name) in done.err or str(tmp_path / "none") in done.err


def test_facts_may_be_stated_as_options(table):
    rows = [row[:3] + row[4:] for row in mounts_of("A", [0, 180, 90])]
    assert "teeth" not in rows[0]
    assert run("clock", table(rows)).status == 2
    done = run("clock", table(rows), "--teeth", "12", "--ring-radius", "100mm", "--json")
    assert done.status == 0
    assert done.json["blades"][0]["ring_radius"] == 100


def test_options_of_the_fit_reach_it(table):
    rows = mounts_of("A", [0, 180, 90], **FACTS)
    for at, row in enumerate(rows[1:]):  # Bent once in three teeth.
        row[2] = str(float(row[2]) + (0.01 if at % 3 else -0.02))
    plain, more = (
        run("clock", table(rows), "--json", *options).json["blades"][0]
        for options in ([], ["--harmonics", "4"])
    )
    assert more["blade_amplitude"] == pytest.approx(plain["blade_amplitude"])
    assert more["now_tir_high"] < plain["now_tir_high"]


@pytest.mark.parametrize(("turned_by", "agrees"), [(0.0, True), (120.0, False)])
def test_the_flanges_face_read_alone_is_compared(tmp_path, turned_by, agrees):
    near, spots = FLANGE.near_deg + turned_by, 12
    amplitude = 30.0 * math.tan(math.radians(FLANGE.tilt_deg))
    rng = rng_for(3)
    rows = [["tooth", "reading_mm", "teeth", "ring_radius_mm", "numbered"]]
    for spot in range(spots):
        height = amplitude * math.cos(math.radians(360 * spot / spots - near))
        shown = f"{height + rng.normal(0, 0.0005):.4f}"
        rows.append([str(spot + 1), shown, str(spots), "30", "clockwise"])
    face = save(tmp_path / "face.csv", rows)
    done = run("clock", DEMO, "--flange", face, "--json")
    assert done.status == 0
    (held,) = json.loads(done.out)["blades"]
    assert held["flange_agrees"] is agrees
    assert held["flange_read_tir"] == pytest.approx(2 * amplitude * 110 / 30, rel=0.15)
    said = run("clock", DEMO, "--flange", face).out
    assert "flange read" in said


def test_a_flange_without_its_ring_is_refused(tmp_path):
    face = save(tmp_path / "face.csv", sheet(numbered="clockwise"))
    done = run("clock", DEMO, "--flange", face)
    assert done.status == 2
    assert "state ring_radius for the flange" in done.err
