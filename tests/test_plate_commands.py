"""The commands about the plate's shape and the wall it cuts, as they are typed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from written import save

import bladegeom as bg
from bladegeom.__main__ import main

RINGS = "data_demo/arbor/three_rings.csv"
FORTY = "data_demo/forty_tooth.csv"


def test_plate_finds_what_was_put_into_the_demo(capsys):
    """Tilt 0.10 mm TIR at 110 mm near at 30 deg, dish 0.08 mm, saddle 0.04 mm (its generator)."""
    assert main(["plate", RINGS, "--json"]) == 0
    held = json.loads(capsys.readouterr().out)
    assert held["dish_low"] <= 0.08 <= held["dish_high"]
    assert held["saddle_low"] <= 0.04 <= held["saddle_high"]
    assert held["tilt_near_low_deg"] <= 30.0 <= held["tilt_near_high_deg"]
    assert held["tilt_tir_low"] <= 0.10 * 127 / 110 <= held["tilt_tir_high"]
    assert held["blade"] == "R-40"


def test_plate_names_the_best_rotation_and_draws_it(tmp_path, capsys):
    chart = tmp_path / "rotation.pdf"
    typed = ["plate", RINGS, "--table-height", "25mm", "--reach", "90mm"]
    assert main([*typed, "-o", str(chart)]) == 0
    said = capsys.readouterr().out
    assert "shape of the plate from 6 rings" in said
    assert "Stand tooth 20 uppermost" in said
    assert "Unplug the saw" in said
    assert chart.read_bytes().startswith(b"%PDF")
    assert main([*typed, "--json"]) == 0
    best = json.loads(capsys.readouterr().out)
    rings = bg.read_rings(RINGS)
    same = bg.best_rotation(bg.fit_plate(rings), table_height=(25.0, "mm"), reach=(90.0, "mm"))
    assert best == json.loads(json.dumps(same.to_dict()))


def test_a_likely_mistake_at_a_ring_comes_first_on_all_that_is_told(tmp_path, capsys):
    rows = [row.split(",") for row in Path(RINGS).read_text("utf-8").splitlines()]
    for row in rows[17:22]:  # Teeth 17 to 21 of the first ring, one revolution of the dial off.
        row[2] = f"{float(row[2]) + 1:.3f}"
    path, chart = save(tmp_path / "slip.csv", rows), tmp_path / "rotation.svg"
    typed = ["plate", str(path), "--table-height", "25mm", "--reach", "90mm"]
    assert main([*typed, "-o", str(chart)]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[1].startswith("  ! ring 60 mm")
    assert "tooth 17 to tooth 21" in said[1]
    assert main([*typed, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["warnings"][0].casefold()
    assert told.startswith("ring 60 mm")
    assert "tooth 17 to tooth 21" in told
    fit = bg.fit_plate(bg.read_rings(path))
    drawn = bg.rotation_chart(bg.best_rotation(fit, table_height="25 mm", reach="90 mm"))
    assert "tooth 17 to tooth 21" in " ".join(text.get_text() for text in drawn.figure.texts)


def test_lengths_in_any_unit_are_the_same_lengths(capsys):
    answers = []
    for height, reach in (("25.4mm", "88.9mm"), ("1in", "3.5in"), ("1000thou", "3500thou")):
        assert main(["plate", RINGS, "--table-height", height, "--reach", reach, "--json"]) == 0
        answers.append(json.loads(capsys.readouterr().out)["left_deg"])
    assert answers[1:] == pytest.approx([answers[0]] * 2, rel=1e-9)


@pytest.mark.parametrize("more", [["--reach", "90mm"], ["-o", "x.pdf"], ["--tolerance-deg", "0.1"]])
def test_a_rotation_without_the_tables_height_is_refused(more, capsys):
    assert main(["plate", RINGS, *more]) == 2
    assert "give --table-height" in capsys.readouterr().err


def test_a_plate_read_at_one_ring_says_what_stays_open(capsys):
    assert main(["plate", FORTY]) == 0
    said = capsys.readouterr().out
    assert "dish" in said
    assert "not told by this plan" in said


def test_wall_prints_and_draws(tmp_path, capsys):
    chart = tmp_path / "wall.png"
    typed = ["cut-wall", FORTY, "--feed", "40thou", "--height", "1.5in", "--side-angle", "2"]
    assert main([*typed, "-o", str(chart)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Blade A-40: wall of the kerf toward the indicator, in thou")
    assert "Unplug the saw" in said
    assert chart.read_bytes().startswith(b"\x89PNG")
    assert main([*typed, "--wall", "away", "--corner", "2thou", "--json"]) == 0
    (held,) = json.loads(capsys.readouterr().out)["blades"]
    assert main([*typed, "--wall", "away", "--corner", "2thou", "--json", "-o", str(chart)]) == 0
    assert json.loads(capsys.readouterr().out)["blades"] == [held]
    assert held["wall"] == "away"
    assert held["corner"] == pytest.approx(2.0)
    fit = bg.fit_wobble(bg.read_blade(FORTY))
    same = bg.cut_wall(
        fit,
        side_angle_deg=2.0,
        feed_per_turn=(0.04, "in"),
        height=(1.5, "in"),
        corner=(0.002, "in"),
        side="away",
    )
    assert held["ra"] == pytest.approx(same.to_dict()["ra"])


def test_a_wall_that_cannot_be_is_refused(tmp_path, capsys):
    typed = ["cut-wall", FORTY, "--feed", "40thou", "--height", "9in", "--side-angle", "2"]
    assert main(typed) == 2
    assert "height" in capsys.readouterr().err
    assert main([*typed, "-o", str(tmp_path / "wall.pdf")]) == 2
    assert not (tmp_path / "wall.pdf").exists()


def test_nothing_is_printed_of_an_answer_that_is_refused(capsys, tmp_path):
    chart = tmp_path / "rotation.pdf"
    assert main(["plate", RINGS, "--table-height", "200mm", "-o", str(chart)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "bladegeom: " in told.err
    assert not chart.exists()
