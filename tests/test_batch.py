"""A day's blades: sheets and queue, stopped and gone on with, and what stops nothing."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from datetime import date

import pytest
from pypdf import PdfReader
from shop_days import LIMITS, day, held, of_blades, queue_rows
from written import run, save, sheet, two_blades, wave, with_column

import bladegeom as bg
from bladegeom.faults import RefusedError
from bladegeom.shop.batch import CHANGED
from bladegeom.shop.change import change
from bladegeom.shop.plain import OF_CHANGE
from bladegeom.tables.out import UNFINISHED

DAY = date(2026, 11, 25)
SHELF = ["data_demo/shelf_readings.csv"]
FACTS = "data_demo/shelf_blades.csv"


@pytest.fixture(scope="module")
def limits(tmp_path_factory):
    return save(tmp_path_factory.mktemp("limits") / "shop.toml", LIMITS)


def batch(out, limits, inputs=SHELF, **how):
    how = {"blades": FACTS, "date": DAY} | how
    return bg.run_batch(inputs, bg.read_limits(limits), out, **how)


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
    assert rows == json.loads(json.dumps([*result.left, *result.rows]))
    actions = [row["action"] for row in rows]
    assert actions == sorted(actions, key=actions.index)
    assert actions[-1] == "fit for use"
    fits = {
        one.blade.name: bg.fit_wobble(one)
        for one in bg.read_blades(SHELF[0], blades=FACTS).readings
    }
    fit = next(row for row in rows if row["action"] == "fit for use" and row["resolved"])
    answer = bg.blade_answer(fits[fit["blade"]])
    assert {key: fit[key] for key in answer} == json.loads(json.dumps(answer))
    assert fit["neutral_teeth"]
    row = next(row for row in rows if row["blade"] == "B-13")
    answer = fits["B-13"].to_dict()
    assert {key: row[key] for key in answer} == json.loads(json.dumps(answer))
    assert row["action"] == "clean, remount and measure again"
    assert row["neutral_teeth"] is None
    assert row["wobble_tir_limit"] == pytest.approx(0.1016)


def test_no_form_of_the_queue_has_marks_or_a_pass_beside_another_action(tmp_path, limits):
    slip = wave(24, 0.02)
    slip[3] = "0.141"
    rows = of_blades({"A": wave(24, 0.02), "B": slip, "C": wave(24, 0.02)})
    table = save(tmp_path / "a.csv", rows)
    seen = save(tmp_path / "seen.csv", "blade,eye\nA,crack at tooth 7\nB,none\nC,none\n")
    batch(tmp_path / "out", limits, [table], blades=seen, before=[table])
    actions = ["out of service", "measure again", "fit for use"]
    for form in ("csv", "xlsx"):
        queue = queue_rows(tmp_path / "out" / f"queue.{form}")
        assert [queue[name]["action"] for name in "ABC"] == actions
        assert [bool(queue[name]["teeth to mark"]) for name in "ABC"] == [False, False, True]
        assert [bool(queue[name]["since before"]) for name in "ABC"] == [True, False, True]
    marks = ("neutral_teeth", "near_tooth", "far_tooth", "better_tooth", "left_deg")
    for form in ("answers.csv", "queue.json"):
        queue = queue_rows(tmp_path / "out" / form)
        assert [queue[name]["action"] for name in "ABC"] == actions
        assert [queue[name]["outcome"] for name in "ABC"] == ["not judged", "undecided", "conforms"]
        for name in "AB":
            assert not any(queue[name][key] for key in marks)
            ends = {cell for key, cell in queue[name].items() if key.endswith("outcome")}
            assert "conforms" not in ends
        assert all(queue["C"][key] is not None and queue["C"][key] != "" for key in marks)
        assert queue["B"]["change_verdict"] in (None, "")  # Nothing to compare with is misread.
        assert queue["C"]["change_verdict"]


def test_the_queue_as_csv_keeps_identifiers_as_text(done):
    names = {"0031", "007", "19", "B-12", "B-13", "K 5"}
    assert queue_rows(done[0] / "queue.csv").keys() == names


def test_a_sheet_says_what_it_rests_on(done):
    words = PdfReader(done[0] / "sheets" / "B-13.pdf").pages[0].extract_text()
    said = " ".join(words.split())
    for part in (
        "Next: clean, remount and measure again",
        "invented for a test",
        "How it is decided",
    ):
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
    (out / "sheets" / f"{UNFINISHED}0a1b_2c3.pdf").write_bytes(b"half")
    again = batch(out, limits)
    assert again.drawn == 2
    # Nobody knows whose the damaged one is: it lies aside, until somebody takes it away.
    (out / "earlier" / "sheets" / "007.pdf").unlink()
    assert batch(out, limits).drawn == 0
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
    assert "simple acceptance" in " ".join(said.split()).casefold()


# What the eye found, and the blade before its service


def words_of_sheet(out, row):
    return " ".join(PdfReader(out / row["sheet"]).pages[0].extract_text().split())


def test_what_the_eye_found_decides_and_is_printed(tmp_path, limits):
    path = day(tmp_path / "a.csv", A=0.02, B=0.02, C=0.02)
    seen = save(tmp_path / "seen.csv", "blade,eye\nA,crack at tooth 7\nB,none\n")
    result = batch(tmp_path / "out", limits, [path], blades=seen)
    rows = {row["blade"]: row for row in result.rows}
    assert not result.refused
    assert [rows[name]["action"] for name in "ABC"] == [
        "out of service",
        "fit for use",
        "fit for use",
    ]
    assert [rows[name]["eye"] for name in "ABC"] == ["crack at tooth 7", "none", None]
    assert "crack at tooth 7" in words_of_sheet(tmp_path / "out", rows["A"])
    assert "Not recorded" not in words_of_sheet(tmp_path / "out", rows["B"])
    assert "Not recorded" in words_of_sheet(tmp_path / "out", rows["C"])
    assert result.notes == ["a.csv: no row of facts, judged by the readings alone: C"]


def test_a_blade_that_needs_its_row_of_facts_is_refused_without_it(tmp_path, limits):
    bare = [[*row[:3], *row[4:]] for row in two_blades(diameter_mm=250)]
    path = save(tmp_path / "a.csv", bare)
    facts = save(tmp_path / "facts.csv", "blade,teeth\nA,12\n")
    result = batch(tmp_path / "out", limits, [path], blades=facts)
    assert [row["blade"] for row in result.rows] == ["A"]
    assert {fault.blade for fault in result.refused} == {"B"}
    assert "has no row for this blade" in str(result.refused[0])


def test_a_blade_whose_row_of_facts_is_wrong_stays_refused(tmp_path, limits):
    path = day(tmp_path / "a.csv", A=0.02, B=0.02)
    facts = save(tmp_path / "facts.csv", "blade,teeth\nA,40\n")
    result = batch(tmp_path / "out", limits, [path], blades=facts)
    assert [row["blade"] for row in result.rows] == ["B"]
    assert {fault.blade for fault in result.refused} == {"A"}


def test_a_later_find_makes_another_sheet(tmp_path, limits):
    path = day(tmp_path / "a.csv", A=0.02, B=0.02)
    seen = save(tmp_path / "seen.csv", "blade,eye\nA,none\nB,none\n")
    batch(tmp_path / "out", limits, [path], blades=seen)
    save(tmp_path / "seen.csv", "blade,eye\nA,none\nB,two tips lost\n")
    assert batch(tmp_path / "out", limits, [path], blades=seen).drawn == 1


def test_before_and_after_have_a_verdict(tmp_path, limits):
    before = day(tmp_path / "before.csv", A=0.2, B=0.02, C=0.02, E=0.1)
    after = day(tmp_path / "after.csv", A=0.02, B=0.02, C=0.2, D=0.02)
    result = batch(tmp_path / "out", limits, [after], blades=None, before=[before])
    rows = {row["blade"]: row for row in result.rows}
    said = ["improved", "not shown to have improved", "worse", None]
    assert [rows[name]["change_verdict"] for name in "ABCD"] == said
    for name in "ABC":
        sheet_says = words_of_sheet(tmp_path / "out", rows[name])
        assert OF_CHANGE[rows[name]["change_verdict"]] in sheet_says
        assert "Dashed line, triangles: before" in sheet_says
    assert "triangles: before" not in words_of_sheet(tmp_path / "out", rows["D"])
    assert rows["A"]["before_tir"] == pytest.approx(0.4, abs=0.001)
    assert rows["A"]["tir_change"] == pytest.approx(-0.36, abs=0.001)
    assert result.notes == ["read before only: E"]
    again = batch(tmp_path / "out", limits, [after], blades=None, before=[before])
    assert again.drawn == 0
    assert batch(tmp_path / "out", limits, [after], blades=None).drawn == 3


def test_the_queue_has_the_keys_of_a_change_whether_one_is_told_or_not(done):
    fit = bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))
    keys = change(fit, fit).to_dict().keys() - {"blade", "customer", "unit"}
    assert keys == CHANGED.keys()
    assert set(CHANGED.values()) <= done[1].rows[0].keys()
    assert all(done[1].rows[0][name] is None for name in CHANGED.values())
    own = set(bg.assess(fit, bg.Limits((bg.Limit("wobble_tir", (1, "mm"), "x"),))).to_dict())
    assert not set(CHANGED.values()) & (own | bg.blade_answer(fit).keys())


def test_a_blade_that_cannot_be_compared_is_judged_all_the_same(tmp_path, limits):
    head, *rows = sheet(wave(24), blade="A", ring_radius_mm=80, diameter_mm=250)
    before = save(tmp_path / "before.csv", [head, *rows])
    twice = day(tmp_path / "twice.csv", B=0.1)
    after = day(tmp_path / "after.csv", A=0.02, B=0.02)
    earlier = [before, twice, twice, tmp_path / "none.csv"]
    result = batch(tmp_path / "out", limits, [after], blades=None, before=earlier)
    assert [row["change_verdict"] for row in result.rows] == [None, None]
    said = "\n".join(map(str, result.refused))
    for part in ("cannot be compared", "come twice", "there is no file"):
        assert part in said


def test_readings_before_with_a_likely_mistake_are_no_ground_for_a_verdict(tmp_path, limits):
    before, after = day(tmp_path / "b.csv", A=0.2), day(tmp_path / "a.csv", A=0.02)
    first = next(one for one in before.read_text("utf-8").split(",") if one.startswith("0.1"))
    save(before, before.read_text("utf-8").replace(first, f"-{first}", 1))
    assert bg.check_readings(before).found
    result = batch(tmp_path / "out", limits, [after], blades=None, before=[before])
    assert [row["change_verdict"] for row in result.rows] == [None]
    (fault,) = result.refused
    assert (fault.blade, fault.file) == ("A", "b.csv")


def test_the_command_takes_readings_before(tmp_path, limits):
    before, after = day(tmp_path / "b.csv", A=0.2), day(tmp_path / "a.csv", A=0.02)
    options = ("--limits", limits, "--out", tmp_path / "out", "--date", "2026-11-25")
    more = ("--before", before, "--tooth-1-marked", "--seating", "0.01mm")
    assert run("batch", after, *options, *more).status == 0
    (row,) = json.loads((tmp_path / "out" / "queue.json").read_text("utf-8"))["blades"]
    assert (row["change_verdict"], row["tooth_1_marked"]) == ("improved", True)
    assert row["seating_sd"] == pytest.approx(0.01)
    assert row["change_deg"] == pytest.approx(180, abs=1)


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cannot_be_written_is_told(tmp_path, limits):
    tmp_path.chmod(0o500)
    with pytest.raises(RefusedError, match="cannot be made"):
        batch(tmp_path / "out", limits)


def test_measurements_are_recorded_once(limits, tmp_path):
    kept = tmp_path / "kept"
    table = save(tmp_path / "day.csv", two_blades())
    first = batch(tmp_path / "out", limits, [table], blades=None, history=kept, arbor="bench")
    visits = bg.read_history(kept).visits
    sound = {one["blade"] for one in first.rows}
    assert {one.blade for one in visits} == sound
    assert {(one.date, one.arbor, one.service) for one in visits} == {(DAY, "bench", "")}
    assert f"{len(sound)} of {len(sound)} measurements recorded" in first.notes[-1]
    again = batch(tmp_path / "out", limits, [table], blades=None, history=kept, arbor="bench")
    assert f"0 of {len(sound)} measurements recorded" in again.notes[-1]
    assert len(bg.read_history(kept).visits) == len(sound)


def test_a_measurement_with_a_mistake_in_it_is_not_recorded(limits, tmp_path):
    faults = [bg.invented.Tilt("0.1 mm"), bg.invented.Gum(9, "0.2 mm")]
    made = bg.simulate(bg.Blade(40, diameter="254 mm", name="K-7"), rng=5, faults=faults)
    table = tmp_path / "day.csv"
    made.to_frame().to_csv(table, index=False)
    done = batch(tmp_path / "out", limits, [table], blades=None, history=tmp_path / "kept")
    assert done.rows[0]["action"] == "measure again"
    assert "0 of 1 measurements recorded" in done.notes[-1]
    assert not (tmp_path / "kept").exists()
