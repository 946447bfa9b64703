"""The face of a flange or an arbor: words of its own, and never a tooth to mark."""

from __future__ import annotations

import csv
import inspect
import json
import re
from datetime import date

import numpy as np
import pytest
from live_session import AtSaw
from pypdf import PdfReader
from rigid_body import RigidBlade, readings_mm
from simulated import rng_for
from written import run, save, sheet

import bladegeom as bg
from bladegeom.cli import CHARTS, COMMANDS
from bladegeom.draw.disc import blade_disc
from bladegeom.draw.printed import face_text
from bladegeom.fit.face import flange_face
from bladegeom.live.enough import enough
from bladegeom.shop.remount import remounted

DAY = date(2026, 11, 27)
PLACES, RING = 24, 28.0
EVERY = 15.0 * np.arange(PLACES)
ELSEWHERE = re.compile(r"heat marks?|arbor's mark|at the mark|bladegeom marks", re.IGNORECASE)
"""Marks that are no teeth's: of heat, and that of the arbor, where a blade's mountings are told."""


def marks_in(said):
    return re.findall(r".{0,30}\bmark.{0,30}", ELSEWHERE.sub("", said), re.IGNORECASE)


def rows(near_deg=77.0, tilt_deg=0.03, slip=None, unread=(), turns=1, stands=None):
    """A table of a rigid face that is read at places round it."""
    body = RigidBlade(tilt_deg, near_deg, "clockwise")
    read = readings_mm(body, EVERY, RING)
    cells = []
    for turn in range(turns):
        noisy = np.round(read + rng_for(turn + 3).normal(0, 4e-4, PLACES), 4)
        if slip is not None and turn == 0:
            noisy[slip - 1] += 1.0
        if stands is not None:
            noisy[stands - 1] += 0.05
        cells += [
            (turn + 1, place, value)
            for place, value in enumerate(noisy, start=1)
            if place not in unread
        ]
    facts = {"teeth": PLACES, "ring_radius_mm": RING, "graduation_mm": 0.0005}
    facts |= {"surface": "flange", "side": "left", "numbered": "clockwise"}
    head = ["blade", "turn", "tooth", "reading_mm", *facts]
    return [
        head,
        *(
            ["inner", str(one), str(two), f"{three:.4f}", *facts.values()]
            for one, two, three in cells
        ),
    ]


FACES = {
    "plain": {},
    "true": {"tilt_deg": 0.0},
    "slip": {"slip": 9},
    "part unread": {"unread": range(10, 19)},
    "stands off": {"turns": 2, "stands": 7},
}
each_face = pytest.mark.parametrize("how", FACES.values(), ids=FACES)


def face_of(tmp_path, **how):
    return bg.fit_wobble(bg.read_blade(save(tmp_path / "face.csv", rows(**how))))


@pytest.mark.parametrize("near_deg", [3.0, 118.0, 244.0])
def test_it_tells_how_far_the_face_runs_out_and_where_it_stands_highest(tmp_path, near_deg):
    face = flange_face(face_of(tmp_path, near_deg=near_deg))
    true = 2 * RING * np.tan(np.radians(0.03))
    assert face.runout.low < true < face.runout.high
    assert face.runout.value == pytest.approx(true, rel=0.02)
    assert face.tilt.low < 0.03 < face.tilt.high
    assert face.highest.low < near_deg < face.highest.high
    assert abs((EVERY[face.highest_place - 1] - near_deg + 180) % 360 - 180) <= 7.5
    assert f"place {face.highest_place}" in face_text(face)


@each_face
def test_its_own_words_name_places_and_no_teeth(tmp_path, how):
    fit = face_of(tmp_path, **how)
    ran, told = run("fit", tmp_path / "face.csv"), run("fit", tmp_path / "face.csv", "--json")
    assert (ran.status, told.status, ran.err, told.err) == (0, 0, "", "")
    (answer,) = told.json["blades"]
    assert not [key for key in answer if "tooth" in key or "teeth" in key or "neutral" in key]
    own = ran.out.split("Cautions")[0]
    said = [own, str(fit), str(flange_face(fit)), flange_face(fit)._repr_html_(), *fit.warnings]
    said += [str(bg.check_readings(fit.readings)), run("check", tmp_path / "face.csv").out]
    for one in (*said, ran.out, json.dumps(answer)):
        assert not marks_in(one)
    for one in (own, *answer["warnings"]):
        assert not re.search(r"\b(tooth|teeth)\b", one)
    for words in fit.said:
        assert " ".join(words.split()) in " ".join(own.replace("\n", " ").split())
    if fit.mistake:
        assert answer["highest_place"] is None
        assert "place 9 again" in ran.out
        assert "stands highest at" not in ran.out
    assert (answer["highest_place"] is None) == (not fit.resolved or bool(fit.mistake))


MORE = {
    "squareness": {"away_deg": 30},
    "setting_error": {"use": "table", "away_deg": 30},
    "cut_wall": {"side_angle_deg": 2.0, "feed_per_turn": "1 mm", "height": "20 mm"},
    "squareness_error": {"away_deg": 30},
    "squareness_error_u": {"away_deg": 30},
    "assess": {"limits": bg.Limits((bg.Limit("wobble_tir", (0.3, "mm"), "invented"),))},
    "blade_disc": {"bore": "10 mm"},
}


def takes_a_fit(function):
    """Whether the first thing that a function asks for is a fit."""
    try:
        first = next(iter(inspect.signature(function).parameters.values()), None)
    except (TypeError, ValueError):
        return False
    return first is not None and "WobbleFit" in str(first.annotation)


OF_FITS = [getattr(bg, name) for name in bg.__all__ if name[0].islower() and name != "invented"]
OF_FITS = [*filter(takes_a_fit, OF_FITS), blade_disc]
ANGLES_ALONE = ("squareness_error", "squareness_error_u")
"""What returns plain numbers of a tilted plane, whatever was read."""


@pytest.mark.parametrize("function", OF_FITS, ids=lambda one: one.__name__)
def test_what_needs_a_blade_refuses_a_face_and_says_what_to_do(tmp_path, function):
    fit, name = face_of(tmp_path), function.__name__
    if name in ANGLES_ALONE:
        return
    given = {"after": fit} if name in ("change",) else {}
    fits = [[fit, fit], [0.0, 180.0]] if name == "separate_arbor" else [fit]
    with pytest.raises(bg.RefusedError) as refused:
        function(*fits, **given, **MORE.get(name, {}))
    (fault,) = refused.value.faults
    assert fault.column == "surface"
    assert "bladegeom fit" in fault.cure
    assert not marks_in(str(fault))


def test_so_do_old_marks_and_a_session_at_the_saw(tmp_path):
    fit = face_of(tmp_path)
    for ask in (lambda: remounted(fit, fit), lambda: enough(fit.readings)):
        with pytest.raises(bg.RefusedError, match="no blade was read"):
            ask()
    with pytest.raises(bg.RefusedError, match="surface as flange"):
        flange_face(bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv")))


def commands(tmp_path):
    """Word of the command -> what it is given of a face, as often as it can be given."""
    face, out = tmp_path / "face.csv", tmp_path / "out"
    folder, limits, saw = tmp_path / "shop", tmp_path / "limits.toml", tmp_path / "saw.toml"
    folder.mkdir()
    save(folder / "face.csv", rows())
    limit = 'quantity = "wobble_tir"\nvalue = "0.3 mm"\nsource = "invented"\n'
    limits.write_text(f"[[limit]]\n{limit}", "utf-8")
    saw.write_text('[blade]\nreadings = "face.csv"\n', "utf-8")
    mounts, rings = rows(), rows()
    for row, cells in enumerate(mounts):
        cells += ["mount", "clock_deg"] if row == 0 else ["one", "0"]
    mounts += [[*cells[:-2], "two", "180"] for cells in mounts[1:]]
    rings += [[*cells[:5], "40", *cells[6:]] for cells in rings[1:]]
    save(tmp_path / "mounts.csv", mounts)
    save(tmp_path / "rings.csv", rings)
    page = f"{out}.pdf"
    return {
        "fit": [[face], [face, "--was", face]],
        "check": [[face]],
        "doubt": [[face]],
        "marks": [["--teeth", "24", "--near", "3", "--fact", "surface=flange"]],
        "chart": [[face, "-o", page, "--kind", kind] for kind in CHARTS],
        "disc": [[face, "-o", page, "--bore", "10mm"]],
        "next": [[face]],
        "sheet": [["--teeth", "24", "--fact", "surface=flange", "-o", tmp_path / "form.pdf"]],
        "squareness": [[face, "--away", "30"]],
        "setup": [[saw]],
        "shelf": [[folder]],
        "batch": [[face, "--limits", limits, "--out", tmp_path / "made"]],
        "table": [[face, "-o", f"{out}.csv"]],
        "clock": [[tmp_path / "mounts.csv"]],
        "plate": [[tmp_path / "rings.csv"]],
        "cut-wall": [[face, "--feed", "1mm", "--height", "9mm", "--side-angle", "2"]],
        "change": [[face, face]],
        "record": [[face, "--history", tmp_path / "history"]],
        "read": [],  # At a terminal: see below.
        "trend": [],  # Of what was recorded, which no face is.
    }


ANSWERED = {"fit", "check", "sheet"}


def test_no_command_says_of_a_face_what_to_mark(tmp_path):
    save(tmp_path / "face.csv", rows())
    given = commands(tmp_path)
    assert {row.name for row in COMMANDS} <= {*given, "totals"}
    for word, ways in given.items():
        for way, arguments in enumerate(ways):
            done = run(word, *arguments)
            answered = word in ANSWERED and way == 0
            assert done.status == (0 if answered else 2), (word, way, done)
            assert not marks_in(done.out + done.err), (word, way)
            if not answered:
                assert "surface" in done.err, (word, way, done.err)
    assert not [*tmp_path.glob("out*")]
    form = " ".join(page.extract_text() for page in PdfReader(tmp_path / "form.pdf").pages)
    assert not marks_in(form)
    assert "Number the places" in form


def test_a_face_among_blades_stops_none_of_them(tmp_path):
    both = [[*row] for row in rows()]
    blade = sheet([f"{0.1 * np.cos(one):.4f}" for one in np.radians(EVERY)], blade="B")
    names = both[0]
    facts = {"teeth": "24", "ring_radius_mm": "110", "graduation_mm": "0.001", "surface": "plate"}
    for cells in blade[1:]:
        told = facts | {"blade": "B", "turn": "1", "tooth": cells[1], "reading_mm": cells[2]}
        both.append([told.get(name, "") for name in names])
    file = save(tmp_path / "both.csv", both)
    done = run("fit", file)
    assert done.status == 0
    assert "Flange inner" in done.out
    assert "Blade B" in done.out
    assert "felt-tip pen only" in done.out  # For the blade, with all cautions.
    assert run("table", file, "-o", tmp_path / "out.csv").status == 1
    with (tmp_path / "out.csv").open(newline="", encoding="utf-8-sig") as table:
        answers = {row["blade"]: row for row in csv.DictReader(table)}
    assert answers["B"]["neutral_tooth_1"]
    assert not answers["inner"]["neutral_tooth_1"]
    assert not answers["inner"]["near_tooth"]


def test_the_face_is_held_against_what_the_mountings_show(tmp_path):
    face = save(tmp_path / "face.csv", rows())
    mounts = "data_demo/arbor/clock_mounts.csv"
    told = run("clock", mounts, "--flange", face)
    alone = run("clock", mounts)
    assert told.status == alone.status == 0, told.err
    assert told.out != alone.out
    legacy = [[("plate" if cell == "flange" else cell) for cell in row] for row in rows()]
    assert run("clock", mounts, "--flange", save(tmp_path / "old.csv", legacy)).out == told.out


def test_no_session_at_the_saw_asks_for_the_teeth_of_a_face(tmp_path):
    with AtSaw(tmp_path / "new.csv", "--fact", "surface=flange", "--teeth", "24") as saw:
        assert saw.end() == 2
    assert not (tmp_path / "new.csv").exists()
