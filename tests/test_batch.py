"""A day's blades: sheets and queue, stopped and gone on with, and what stops nothing."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from datetime import date

import pytest
from pypdf import PdfReader
from written import run, save, sheet, two_blades, with_column

import bladegeom as bg
from bladegeom.errors import RefusedError
from bladegeom.measured.whole import UNFINISHED

DAY = date(2026, 11, 25)
LIMITS = """\
[[limit]]
quantity = "wobble_tir"
value = "4 thou"
source = "invented for a test"
"""
SHELF = ["data_demo/shelf_readings.csv"]
FACTS = "data_demo/shelf_blades.csv"


@pytest.fixture(scope="module")
def limits(tmp_path_factory):
    path = tmp_path_factory.mktemp("limits") / "shop.toml"
    path.write_text(LIMITS, "utf-8")
    return path


def batch(out, limits, inputs=SHELF, **how):
    how = {"blades": FACTS, "date": DAY} | how
    return bg.run_batch(inputs, bg.read_limits(limits), out, **how)


def held(folder):
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def done(tmp_path_factory, limits):
    out = tmp_path_factory.mktemp("done")
    return out, batch(out, limits)


def test_every_blade_that_can_be_judged_has_its_sheet(done):
    out, result = done
    assert sorted(path.name for path in (out / "sheets").iterdir()) == [
        "0031.pdf",
        "007.pdf",
        "19.pdf",
        "B-13.pdf",
        "K_5-efacd4cc.pdf",
    ]
    assert (result.drawn, result.kept) == (5, 0)
    assert [fault.blade for fault in result.refused] == ["B-12"]
    assert "shelf_readings.csv" in str(result.refused[0])


def test_the_queue_is_sorted_by_action_and_has_every_number(done):
    out, result = done
    rows = json.loads((out / "queue.json").read_text("utf-8"))["blades"]
    assert rows == json.loads(json.dumps(result.rows))
    actions = [row["action"] for row in rows]
    assert actions == sorted(actions, key=actions.index)
    assert actions[-1] == "fit for use"
    row = next(row for row in rows if row["blade"] == "B-13")
    (readings,) = (
        one for one in bg.read_blades(SHELF[0], blades=FACTS).readings if one.blade.name == "B-13"
    )
    answer = bg.blade_answer(bg.fit_wobble(readings))
    assert {key: row[key] for key in answer} == json.loads(json.dumps(answer))
    assert row["action"] == "clean, remount and measure again"
    assert row["wobble_tir_limit"] == pytest.approx(0.1016)


def test_the_queue_as_csv_keeps_identifiers_as_text(done):
    with (done[0] / "queue.csv").open(encoding="utf-8-sig", newline="") as file:
        names = {row["blade"] for row in csv.DictReader(file)}
    assert names == {"0031", "007", "19", "B-13", "K 5"}


def test_a_sheet_says_what_it_rests_on(done):
    words = PdfReader(done[0] / "sheets" / "B-13.pdf").pages[0].extract_text()
    said = " ".join(words.split())
    for part in ("Clean, remount and measure again", "invented for a test", "Decision rule"):
        assert part in said
    assert "0.1939 mm" in said
    assert "out of service" in said
    assert f"bladegeom {bg.__version__}" in said
    assert "digest of the input" in said


def test_the_same_batch_again_keeps_everything(done, limits):
    out, _ = done
    before = held(out)
    again = batch(out, limits)
    assert (again.drawn, again.kept) == (0, 5)
    assert held(out) == before


def test_a_lost_or_damaged_sheet_is_drawn_again(done, limits):
    out, _ = done
    before = held(out)
    (out / "sheets" / "19.pdf").unlink()
    (out / "sheets" / "007.pdf").write_bytes(b"%PDF half")
    (out / "sheets" / f"{UNFINISHED}x.pdf").write_bytes(b"half")
    again = batch(out, limits)
    assert again.drawn == 2
    assert held(out) == before


@pytest.mark.parametrize("change", [{"shop": "another"}, {"date": date(2026, 11, 26)}])
def test_other_settings_make_other_sheets(done, limits, tmp_path, change):
    batch(tmp_path, limits)
    before = held(tmp_path)
    assert before == held(done[0])
    assert batch(tmp_path, limits, **change).drawn == 5
    assert held(tmp_path) != before


def test_a_killed_batch_goes_on_and_ends_with_the_same_files(done, limits, tmp_path):
    command = [
        *(sys.executable, "-m", "bladegeom", "batch", *SHELF, "--limits", str(limits)),
        *("--out", str(tmp_path), "--blades", FACTS, "--date", DAY.isoformat()),
    ]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for _ in range(3000):
        if len([*tmp_path.glob("sheets/[!.]*.pdf")]) >= 2 or process.poll() is not None:
            break
        time.sleep(0.01)
    process.send_signal(getattr(signal, "SIGKILL", signal.SIGTERM))
    process.wait()
    assert batch(tmp_path, limits).kept >= 2
    assert held(tmp_path) == held(done[0])


def test_unsafe_and_alike_names_keep_their_files_apart(tmp_path, limits):
    rows = [sheet(blade=name, ring_radius_mm=100, diameter_mm=250) for name in ("a/../b", "A", "a")]
    paths = [save(tmp_path / f"{place}.csv", one) for place, one in enumerate(rows)]
    batch(tmp_path / "out", limits, paths, blades=None)
    files = [path.name for path in (tmp_path / "out" / "sheets").iterdir()]
    assert len(files) == 3
    assert len({name.casefold() for name in files}) == 3
    assert not [*tmp_path.glob("*.pdf")]


def test_the_same_blade_from_two_files_has_two_sheets(tmp_path, limits):
    for name in ("before.csv", "after.csv"):
        save(tmp_path / name, sheet(blade="A", ring_radius_mm=100, diameter_mm=250))
    result = batch(
        tmp_path / "out", limits, [tmp_path / "before.csv", tmp_path / "after.csv"], blades=None
    )
    assert len({row["sheet"] for row in result.rows}) == 2


def test_a_missing_file_stops_no_other(tmp_path, limits):
    path = save(tmp_path / "a.csv", sheet(blade="A", ring_radius_mm=100, diameter_mm=250))
    result = batch(tmp_path / "out", limits, [tmp_path / "none.csv", path], blades=None)
    assert [row["blade"] for row in result.rows] == ["A"]
    assert "there is no file" in str(result.refused[0])


def test_nothing_that_can_be_judged_is_refused(tmp_path, limits):
    with pytest.raises(RefusedError, match="there is no file"):
        batch(tmp_path / "out", limits, [tmp_path / "none.csv"], blades=None)
    assert not (tmp_path / "out" / "queue.csv").exists()


def test_the_command_tells_exceptions_from_success(tmp_path, limits):
    table = with_column(two_blades(), "diameter_mm", "250")
    path = save(tmp_path / "two.csv", table)
    options = ("--limits", str(limits), "--out", str(tmp_path / "out"))
    whole = run("batch", path, *options)
    assert whole.status == 0
    assert whole.out.startswith("2 blades, 2 sheets drawn, 0 kept as they were\n")
    assert not whole.err
    some = run("batch", path, str(tmp_path / "none.csv"), *options)
    assert some.status == 1
    assert "there is no file" in some.err
    assert run("batch", str(tmp_path / "none.csv"), *options).status == 2
    assert run("batch", path, "--limits", str(tmp_path / "no.toml"), *options[2:]).status == 2


def test_simple_acceptance_is_printed_where_it_is_asked_for(tmp_path, limits):
    path = save(tmp_path / "a.csv", sheet(blade="A", ring_radius_mm=100, diameter_mm=250))
    options = ("--limits", str(limits), "--out", str(tmp_path / "out"), "--simple")
    assert run("batch", path, *options).status == 0
    said = PdfReader(tmp_path / "out" / "sheets" / "A.pdf").pages[0].extract_text()
    assert "simple acceptance" in " ".join(said.split())


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cannot_be_written_is_told(tmp_path, limits):
    tmp_path.chmod(0o500)
    with pytest.raises(RefusedError, match="cannot be made"):
        batch(tmp_path / "out", limits)
