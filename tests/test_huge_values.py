"""A barcode among the cells: refused with its row, within bounded memory, and no other blade."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from written import ROOT, changed, run, run_apart, save, sheet, two_blades, with_column

import bladegeom as bg
from bladegeom.tables.read import tidy_by_cells, tidy_table

pytest.importorskip("resource", reason="memory cannot be bounded here")

BARCODE, SERIAL = "4006381333931", "999999999"
FACTS = {
    "ring_radius_mm": "100",
    "diameter_mm": "254",
    "plate_mm": "2",
    "tooth_width_mm": "3",
    "gullet_mm": "10",
    "graduation_mm": "0.001",
    "dial_turn_mm": "1",
    "end_float_mm": "0.01",
    "ring_radius_u_mm": "0.5",
    "touch_deg": "0",
    "stylus_deg": "0",
    "pitch_pattern": "1",
}
LIMITS = ROOT / "data_demo/shed_limits.toml"
BOUNDED = """
import contextlib, io, json, resource, sys, traceback
resource.setrlimit(resource.RLIMIT_AS, (2 << 30, 2 << 30))
from bladegeom.__main__ import main
done = []
for arguments in json.load(sys.stdin):
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = main(arguments)
        except BaseException:
            status = traceback.format_exc()
    done.append((arguments, status, err.getvalue()))
json.dump(done, sys.stdout)
"""


def bounded(commands):
    """Run commands one after another in a process of 2 GiB; return what each ended with."""
    every = [[str(one) for one in arguments] for arguments in commands]
    ran = run_apart(code=BOUNDED, stdin=json.dumps(every).encode())
    assert ran.status == 0, ran.err
    return ran.json


def ordered():
    """Two blades with every number that a table may hold; A stands in rows 2 to 13."""
    rows = two_blades(**FACTS)
    rows = with_column(rows, "turn", "1")
    return with_column(rows, "order", *map(str, range(len(rows) - 1)))


def plain_commands(path, folder):
    good = ROOT / "data_demo/forty_tooth.csv"
    return [
        ["fit", path, "--json"],
        ["check", path],
        ["doubt", path],
        ["next", path],
        ["squareness", path, "--away", "30"],
        ["cut-wall", path, "--feed", "1mm", "--height", "40mm", "--side-angle", "2"],
        ["table", path, "-o", folder / "answers.csv"],
        ["record", path, "--history", folder / "history"],
        ["change", path, path, "--blade", "A"],
        ["change", good, good],
    ]


def test_whatever_number_a_cell_holds_the_commands_go_on(tmp_path):
    commands = []
    for column in ("tooth", "reading_mm", "teeth", "turn", "order", *FACTS):
        for value in (BARCODE, SERIAL):
            path = tmp_path / f"{column}_{value}.csv"
            save(path, changed(ordered(), 5, column, value))
            commands += plain_commands(path, tmp_path)
    for arguments, status, said in bounded(commands):
        assert status in (0, 1, 2), (arguments, status)
        assert status == 0 or said.startswith("bladegeom: "), (arguments, said)
        if BARCODE in arguments[1]:
            wanted = 2 if arguments[0] == "change" else 1
            assert status == wanted, (arguments, said)
            assert "row 5" in said


@pytest.mark.parametrize("column", ["reading_mm", "tooth"])
def test_one_barcode_stops_no_sheet_or_page_of_another_blade(tmp_path, column):
    folder = tmp_path / "shop"
    folder.mkdir()
    bad = save(folder / "bad.csv", changed(two_blades(**FACTS), 5, column, BARCODE))
    saw = (ROOT / "data_demo/shed_saw.toml").read_text(encoding="utf-8")
    saw = saw.replace('"forty_tooth.csv"', f'"{bad}"\nname = "A"')
    commands = [
        ["chart", bad, "-o", tmp_path / "chart.pdf"],
        ["batch", bad, "--limits", LIMITS, "--out", tmp_path / "day", "--history", tmp_path / "h"],
        ["shelf", folder, "-o", tmp_path / "shelf.pdf"],
        ["setup", save(tmp_path / "saw.toml", saw)],
        ["trend", "--history", tmp_path / "h", "--blade", "B"],
    ]
    ended = bounded(commands)
    assert [status for _, status, _ in ended] == [1, 1, 1, 2, 0], ended
    assert all("row 5" in said for _, _, said in ended[:-1])
    assert [one.name for one in (tmp_path / "day/sheets").iterdir()] == ["B.pdf"]
    assert (tmp_path / "shelf.pdf").exists()


def test_a_barcode_among_rings_and_mountings_is_refused(tmp_path):
    rings = sheet(blade="A", ring_radius_mm="60")
    mounts = with_column(with_column(sheet(blade="A"), "mount", "1"), "clock_deg", "0")
    commands = []
    for rows, column, command in (
        (rings, "reading_mm", "plate"),
        (rings, "ring_radius_mm", "plate"),
        (mounts, "reading_mm", "clock"),
        (mounts, "clock_deg", "clock"),
    ):
        for value in (BARCODE, SERIAL):
            path = tmp_path / f"{command}_{column}_{value}.csv"
            commands.append([command, save(path, changed(rows, 5, column, value))])
    for arguments, status, said in bounded(commands):
        assert status == 2 if BARCODE in arguments[1] else status in (0, 2), (arguments, status)
        assert status == 0 or "A" in said


def test_a_barcode_is_no_reading_whoever_reads_the_table(tmp_path):
    rows = changed(two_blades(), 5, "reading_mm", BARCODE)
    path = save(tmp_path / "t.csv", rows)
    for found in (
        bg.read_blades(path),
        tidy_table(path.read_bytes(), "t.csv"),
        tidy_by_cells(path.read_bytes(), "t.csv"),
    ):
        ((blade, row, value),) = [(one.blade, one.row, one.value) for one in found.refused]
        assert (blade, row, value) == ("A", 5, BARCODE)
    wide = [["blade", "t1_mm", "t2_mm", "t3_mm", "t4_mm"], ["A", *"0010"], ["B", BARCODE, *"010"]]
    found = tidy_table(save(tmp_path / "w.csv", wide).read_bytes(), "w.csv", teeth=4)
    assert [(one.blade, one.row) for one in found.refused] == [("B", 3)]


def test_a_serial_number_among_the_readings_is_found_by_the_check(tmp_path):
    rows = sheet([f"{0.1 * np.cos(at * np.pi / 10):.3f}" for at in range(20)], blade="A")
    ran = run("check", save(tmp_path / "t.csv", changed(rows, 7, "reading_mm", SERIAL)), "--json")
    (found,) = ran.json["blades"]
    assert found["findings"][0]["teeth"] == [6]
    assert ran.status == 0


def test_readings_in_a_list_may_be_no_barcode():
    options = ("--teeth", "12", "--unit", "mm")
    for command in ("fit", "check"):
        ran = run(command, "-", *options, stdin=" ".join([BARCODE, *["0.1", "0.2"] * 5, "0.3"]))
        assert (ran.status, ran.out) == (2, "")
        assert BARCODE in ran.err


def test_a_cell_at_the_far_end_of_a_workbook_takes_no_memory(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for row in sheet(blade="A"):
        book.active.append([float(cell) if cell[:1] in "-0123456789" else cell for cell in row])
    book.active.cell(20_000, 16_384).value = "x"
    path = Path(tmp_path / "far.xlsx")
    book.save(path)
    ((_, status, said),) = bounded([["fit", path]])
    assert status == 2, status
    assert "16384 cells" in said
