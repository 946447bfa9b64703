"""A day's queue: for people in few columns and one unit, the worst first; in full beside it."""

import csv
import json
from datetime import date

import openpyxl
import pytest
from shop_days import queue_rows
from written import save, sheet, wave

import bladegeom as bg
from bladegeom.draw import batch as batch_module
from bladegeom.draw.queue import write_queue
from bladegeom.faults import Fault
from bladegeom.shop.batch import REFUSED
from bladegeom.shop.condition import ACTIONS, AGAIN, FIT, REMOUNT, RETIRE
from bladegeom.shop.totals import URGENCY
from bladegeom.tables.out import whole_file

LIMIT = bg.Limits((bg.Limit("wobble_tir", "0.1 mm", "invented for a test"),))
MILL, SHED = "Nightjar Mill", "Alder Joinery"
FULL = ("queue.csv", "queue.json", "queue.xlsx", "answers.csv", "measure_again.csv")


def of_blade(name, size, customer, slip=None, unread=(), **facts):
    read = wave(24, size)
    if slip is not None:
        read[slip - 1] = f"{float(read[slip - 1]) + 0.3:.3f}"
    for tooth in unread:
        read[tooth - 1] = "?"
    sizes = {"ring_radius_mm": 100, "diameter_mm": 250, "graduation_mm": 0.005}
    return sheet(read, blade=name, customer=customer, **(sizes | facts))


def judge(out, path, limits=LIMIT, **how):
    return bg.run_batch([path], limits, out, date=date(2026, 11, 25), **how)


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    """A day's run: its folder and what it came to."""
    folder = tmp_path_factory.mktemp("day")
    tables = [
        of_blade("worst", 0.30, SHED),
        of_blade("over", 0.08, MILL),
        of_blade("worse", 0.20, MILL),
        of_blade("slip", 0.02, MILL, slip=7),
        of_blade("gap", 0.02, SHED, unread=range(5, 12)),
        of_blade("near", 0.045, MILL),
        of_blade("=1+1", 0.01, SHED),
        of_blade("cracked", 0.01, MILL),
        of_blade("spoilt", 0.01, MILL),
    ]
    tables[-1][4][tables[-1][0].index("reading_mm")] = "x"
    rows = [tables[0][0], *(row for table in tables for row in table[1:])]
    seen = "".join(f"{one}\n" for one in ("blade,eye", "cracked,crack at tooth 9"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(batch_module, "sheet_pages", lambda fit, *_, **__: [fit.blade])
        patch.setattr(batch_module, "write_printed", lambda *_: [])
        patch.setattr(batch_module, "save_charts", _plain_sheet)
        blades = save(folder / "seen.csv", seen)
        yield folder / "out", judge(folder / "out", save(folder / "d.csv", rows), blades=blades)


def _plain_sheet(names, place, _, keywords):
    with whole_file(place) as file:
        file.write(f"%PDF {names[0]} ({keywords}) %%EOF".encode())


def table(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return [*csv.reader(file)]


def test_the_worst_stands_first_in_every_form(day):
    out, done = day
    order = ["spoilt", "cracked", "worst", "worse", "over", "gap", "slip", "near", "=1+1"]
    assert [row["blade"] for row in [*done.left, *done.rows]] == order
    for name in ("queue.csv", "queue.json", "queue.xlsx", "answers.csv"):
        found = [one.lstrip("'") for one in queue_rows(out / name)]
        assert found == order, name
    actions = [row["action"] for row in queue_rows(out / "queue.csv").values()]
    wanted = [REFUSED, RETIRE, *[REMOUNT] * 3, *[AGAIN] * 2, *[FIT] * 2]
    assert actions == wanted
    assert (REFUSED, *ACTIONS) == URGENCY


def test_people_get_few_columns_and_short_numbers_in_one_unit(day):
    head, *rows = table(day[0] / "queue.csv")
    assert len(head) <= 20
    assert all(row["blade"] and row["action"] for row in queue_rows(day[0] / "queue.csv").values())
    lengths = [one for one in head if "TIR (" in one or one.startswith("limit (")]
    assert len(lengths) == 3
    assert all("(mm)" in one for one in lengths)
    for row in rows:
        for name, cell in zip(head, row, strict=True):
            if name.endswith(")") and cell:
                assert len(cell.lstrip("-0.").replace(".", "")) <= 4, (name, cell)
    worst = queue_rows(day[0] / "queue.csv")["worst"]
    assert worst["over the limit, - under (%)"] == "500"
    assert float(worst["wobble TIR (mm)"]) == pytest.approx(0.6, abs=0.002)


@pytest.mark.parametrize(("unit", "mm"), [("in", 25.4), ("thou", 0.0254)])
def test_the_same_numbers_in_another_unit(day, tmp_path, unit, mm):
    rows = [*day[1].left, *day[1].rows]
    queue, *_ = write_queue(rows, [], tmp_path, unit)
    found, was = queue_rows(queue), queue_rows(day[0] / "queue.csv")
    for name, one in found.items():
        for head in ("wobble TIR", "raw TIR", "limit"):
            there, before = one[f"{head} ({unit})"], was[name][f"{head} (mm)"]
            assert bool(there) == bool(before)
            if there:
                assert float(there) * mm == pytest.approx(float(before), rel=0.05, abs=0.0006)
    full = json.loads((tmp_path / "queue.json").read_text("utf-8"))["blades"]
    assert full == json.loads((day[0] / "queue.json").read_text("utf-8"))["blades"]


def test_what_cannot_be_relied_on_has_no_number_for_people(day):
    rows = queue_rows(day[0] / "queue.csv")
    for name in ("slip", "spoilt"):
        numbers = {head: cell for head, cell in rows[name].items() if head.endswith(")")}
        assert not any(numbers.values()), name
    assert "d.csv, row" in rows["spoilt"]["why"]
    assert "crack at tooth 9" in rows["cracked"]["why"]


def test_the_list_names_the_teeth_to_read_again(day):
    head, *rows = table(day[0] / "measure_again.csv")
    listed = {row[head.index("blade")]: dict(zip(head, row, strict=True)) for row in rows}
    teeth = {name: row["teeth to read again"] for name, row in listed.items()}
    assert teeth == dict.fromkeys(("worst", "worse", "over"), "all") | {
        "gap": "5 to 11",
        "slip": "7",
    }
    assert all(row["why"] for row in listed.values())
    assert {row["customer"] for row in listed.values()} == {MILL, SHED}
    assert len(rows) == 5
    assert f"{len(rows)} to read again" in day[1].text()


def test_the_answers_hold_everything_in_full(day):
    out, done = day
    rows = queue_rows(out / "answers.csv")
    held = json.loads((out / "queue.json").read_text("utf-8"))["blades"]
    assert list(rows["over"]) == list(held[0])
    for one in held:
        if one["wobble_tir"] is not None and one["blade"] != "=1+1":
            assert float(rows[one["blade"]]["wobble_tir"]) == one["wobble_tir"]
    assert rows["'=1+1"]["action"] == FIT
    assert {fault.blade for fault in done.refused} == {"spoilt"}


def test_the_workbook_can_be_worked_from(day):
    out, done = day
    book = openpyxl.load_workbook(out / "queue.xlsx")
    queue, counted, again = book.worksheets
    head = [cell.value for cell in queue[1]]
    assert head == table(out / "queue.csv")[0]
    assert queue.freeze_panes == "C2"
    assert queue.auto_filter.ref == queue.dimensions
    assert all("Unplug" in sheet.oddFooter.center.text for sheet in book)
    for cells in queue.iter_rows(min_row=2):
        link = cells[head.index("sheet")]
        assert (link.hyperlink is not None) == bool(link.value)
        assert not link.value or (out / link.value).is_file()
        for name, cell in zip(head, cells, strict=True):
            if name.endswith(")") and cell.value is not None:
                assert cell.data_type == "n"
                decimals = cell.number_format.partition(".")[2]
                assert round(cell.value, len(decimals)) == cell.value
        assert cells[1].data_type == "s"
    rows = [
        dict(zip([one.value for one in counted[1]], row, strict=True))
        for row in counted.iter_rows(min_row=2, values_only=True)
    ]
    assert [row["customer"] for row in rows] == [SHED, MILL, "all"]
    assert [row["all"] for row in rows] == [3, 6, 9]
    assert rows[1][REMOUNT] == 2
    listed = [[cell or "" for cell in row] for row in again.iter_rows(values_only=True)]
    assert listed == table(out / "measure_again.csv")
    assert len(done.files) == len(FULL)


def test_the_same_day_gives_the_same_files_and_no_workbook_without_its_library(
    day, tmp_path, monkeypatch
):
    rows, refused = [*day[1].left, *day[1].rows], day[1].refused
    for path in write_queue(rows, refused, tmp_path, "mm"):
        assert path.read_bytes() == (day[0] / path.name).read_bytes(), path.name
    monkeypatch.setattr("bladegeom.draw.queue.has_workbooks", lambda: False)
    (tmp_path / "b").mkdir()
    assert [path.name for path in write_queue(rows, refused, tmp_path / "b", "mm")] == [
        one for one in FULL if one != "queue.xlsx"
    ]


@pytest.mark.parametrize(
    ("limits", "units", "taken", "said"),
    [
        (["4 thou"], ["mm", "in"], "thou", False),
        (["4 thou", "0.2 mm"], ["in", "in"], "in", False),
        (["4 thou", "0.2 mm"], ["mm", "in", "in"], "in", True),
        (["100 um"], ["um"], "mm", True),
    ],
)
def test_the_unit_is_that_of_the_limits_or_else_of_the_readings_and_never_guessed(
    limits, units, taken, said
):
    from bladegeom.shop.queue import unit_for

    kinds = ("wobble_tir", "raw_tir")
    given = bg.Limits(
        tuple(bg.Limit(kind, one, "invented") for kind, one in zip(kinds, limits, strict=False))
    )
    unit, why = unit_for(given, [{"unit": one} for one in units])
    assert unit == taken
    assert bool(why) == said


def test_an_unknown_unit_is_refused_before_anything_is_written(tmp_path):
    path = save(tmp_path / "d.csv", of_blade("A", 0.01, MILL))
    with pytest.raises(bg.RefusedError):
        judge(tmp_path / "out", path, show_in="ell")
    assert not (tmp_path / "out").exists()


def test_an_empty_queue_is_a_queue(tmp_path):
    every, whole, *_ = write_queue([], [Fault("a", "b")], tmp_path, "mm")
    assert table(every) == [["blade"]]
    held = json.loads(whole.read_text("utf-8"))
    assert (held["blades"], len(held["refused"])) == ([], 1)
    assert openpyxl.load_workbook(tmp_path / "queue.xlsx")["queue"]["A1"].value == "blade"
