"""Two customers' blades of one name: told apart in tables, facts, frames, pairs and the history."""

import csv
from datetime import date

import numpy as np
import pandas as pd
import pytest
from written import run, save, sheet, wave

import bladegeom as bg
from bladegeom.faults import Who
from bladegeom.shop.history import check_value
from bladegeom.tables.read import tidy_by_cells, tidy_table

MILL, SHED = "Nightjar Mill", "Alder Joinery"
A, B = Who("A-40", MILL), Who("A-40", SHED)
LIMIT = bg.Limits((bg.Limit("wobble_tir", "4 thou", "invented for a test"),))


def rows_of(size, customer=None, teeth=24, **facts):
    """Rows of blade A-40 with a wobble TIR of twice a size."""
    whose = {} if customer is None else {"customer": customer}
    facts = {"ring_radius_mm": 100, "diameter_mm": 250} | whose | facts
    return sheet(wave(teeth, size), blade="A-40", **facts)


def together(*tables: list):
    return [tables[0][0], *(row for table in tables for row in table[1:])]


@pytest.fixture
def both(tmp_path):
    return save(tmp_path / "day.csv", together(rows_of(0.02, MILL), rows_of(0.08, SHED)))


def tir_of(rows):
    return {Who(one["blade"], one["customer"]): one["wobble_tir"] for one in rows}


def blanked(rows, *kept: int):
    """The same rows with no customer but in those kept, counted from 1 behind the header."""
    at = rows[0].index("customer")
    return [
        row if not place or place in kept else [*row[:at], "", *row[at + 1 :]]
        for place, row in enumerate(rows)
    ]


def test_each_has_its_own_wobble_in_every_reader_and_in_frames(both):
    read = bg.read_blades(both).readings
    expected = {one.blade.who: bg.fit_wobble(one).wobble_tir for one in read}
    assert expected.keys() == {A, B}
    assert [bg.fit_wobble(one).to_dict()["customer"] for one in read] == [MILL, SHED]
    assert expected[B] > 2 * expected[A]
    table = bg.fit_table(bg.read_table(both))
    assert tir_of(table.to_dict("records")) == pytest.approx(expected)
    told = run("fit", both, "--json").json["blades"]
    assert tir_of(told) == pytest.approx(expected)
    mixed = bg.read_table(both).sample(frac=1, random_state=1)
    again = bg.fit_table(mixed.assign(order=mixed.index))
    assert tir_of(again.to_dict("records")) == pytest.approx(expected)


def test_by_columns_and_cell_by_cell_the_frame_is_the_same(both):
    data = both.read_bytes()
    by_columns, by_cells = tidy_table(data, "t.csv"), tidy_by_cells(data, "t.csv")
    pd.testing.assert_frame_equal(by_columns.frame, by_cells.frame)
    assert set(by_columns.frame["customer"]) == {MILL, SHED}


def test_one_is_chosen_by_its_customer_and_none_by_the_name_alone(both):
    assert bg.read_blade(both, blade="A-40", customer=SHED).blade.who == B
    with pytest.raises(bg.RefusedError) as error:
        bg.read_blade(both, blade="A-40")
    assert MILL in str(error.value)
    assert SHED in str(error.value)
    told = run("fit", both, "--customer", MILL, "--json").json["blades"]
    assert [one["customer"] for one in told] == [MILL]
    assert run("fit", both, "--customer", "nobody").status == 2


def test_rows_that_say_no_customer_are_of_the_only_one_of_their_name(tmp_path):
    path = save(tmp_path / "day.csv", blanked(rows_of(0.02, MILL), 1))
    (read,) = bg.read_blades(path).readings
    assert (read.blade.who, len(read.reading)) == (A, 24)
    frame = bg.read_table(path)
    assert len(frame) == 24
    assert set(frame["customer"]) == {MILL}
    frame.loc[3:, "customer"] = np.nan
    assert tir_of(bg.fit_table(frame).to_dict("records")).keys() == {A}


@pytest.mark.parametrize("note", [[], ["note"]])
def test_rows_that_may_be_of_either_customer_refuse_both(tmp_path, note):
    rows = together(blanked(rows_of(0.02, MILL), *range(1, 20)), rows_of(0.05, SHED))
    rows = [[*row, *(note if at == 0 else ["a, b"] * len(note))] for at, row in enumerate(rows)]
    path = tmp_path / "day.csv"
    with path.open("w", newline="") as file:
        csv.writer(file).writerows(rows)
    batch = bg.read_blades(path)
    assert not batch.readings
    assert {fault.who for fault in batch.refused} == {A, B, Who("A-40")}
    assert {fault.row for fault in batch.refused} == {21}
    with pytest.raises(bg.RefusedError, match="customer is blank"):
        bg.read_table(path)
    frame = bg.read_table(save(path, together(rows_of(0.02, MILL), rows_of(0.05, SHED))))
    frame.loc[5, "customer"] = None
    with pytest.raises(bg.RefusedError, match="customer is blank"):
        bg.fit_table(frame)


def test_a_customer_that_is_spelt_in_two_ways_is_asked_about(tmp_path):
    path = save(tmp_path / "day.csv", together(rows_of(0.02, MILL), rows_of(0.05, MILL.lower())))
    batch = bg.read_blades(path)
    assert not batch.readings
    assert all(fault.column == "customer" for fault in batch.refused)


def test_a_fault_says_whose_blade_it_is_of(both):
    text = both.read_text().replace("A-40,24,", "A-40,99,")
    both.write_text(text)
    faults = bg.read_blades(both).refused
    assert {fault.customer for fault in faults} == {MILL, SHED}
    assert f"blade A-40 of {MILL}" in str(faults[0])
    assert faults[0].to_dict()["customer"] == MILL


@pytest.mark.parametrize(
    ("facts", "teeth"),
    [
        ("blade,customer,graduation_mm\nA-40,{0},0.01\nA-40,{1},0.02\n", {MILL: 0.01, SHED: 0.02}),
        ("blade,graduation_mm\nA-40,0.01\n", {MILL: 0.01, SHED: 0.01}),
    ],
)
def test_a_row_of_facts_is_of_its_customer_or_of_all(tmp_path, both, facts, teeth):
    second = save(tmp_path / "facts.csv", facts.format(MILL, SHED))
    read = bg.read_blades(both, blades=second).readings
    assert {one.blade.customer: one.graduation_mm for one in read} == teeth
    frame = bg.read_table(both, blades=second)
    assert frame.groupby("customer")["graduation_mm"].first().to_dict() == teeth


def test_facts_say_whose_a_blade_is_where_there_is_no_choice(tmp_path):
    path = save(tmp_path / "day.csv", rows_of(0.02))
    one = save(tmp_path / "one.csv", f"blade,customer\nA-40,{MILL}\n")
    two = save(tmp_path / "two.csv", f"blade,customer\nA-40,{MILL}\nA-40,{SHED}\n")
    assert bg.read_blade(path, blades=one).blade.who == A
    assert bg.read_blade(path, blades=two, customer=SHED).blade.who == B
    assert {fault.column for fault in bg.read_blades(path, blades=two).refused} == {"customer"}
    of_shed = save(tmp_path / "shed.csv", rows_of(0.02, SHED))
    assert {fault.who for fault in bg.read_blades(of_shed, blades=one).refused} == {B}
    unsure = save(tmp_path / "unsure.csv", f"blade,customer\nA-40,{MILL}\nA-40,\n")
    assert bg.read_blades(path, blades=unsure).refused


def judged(tmp_path, *paths: object, **how):
    return bg.run_batch(paths, LIMIT, tmp_path / "out", date=date(2026, 11, 25), **how)


@pytest.mark.parametrize("at_once", [True, False])
def test_each_is_judged_and_has_its_sheet_in_one_file_or_in_two(tmp_path, both, at_once):
    paths = [both]
    if not at_once:
        paths = [
            save(tmp_path / "a.csv", rows_of(0.02, MILL)),
            save(tmp_path / "b.csv", rows_of(0.08, SHED)),
        ]
    done = judged(tmp_path, *paths)
    found = {row["customer"]: row["outcome"] for row in done.rows}
    assert found == {MILL: "conforms", SHED: "does not conform"}
    assert len({row["sheet"] for row in done.rows}) == 2
    assert not any("are called" in note for note in done.notes)
    assert all(row["customer"].split()[0] in row["sheet"] for row in done.rows)


def test_the_eye_sees_the_blade_of_the_customer_who_is_named(tmp_path, both):
    seen = save(tmp_path / "s.csv", f"blade,customer,eye\nA-40,{MILL},none\nA-40,{SHED},crack\n")
    actions = {row["customer"]: row["action"] for row in judged(tmp_path, both, blades=seen).rows}
    assert actions[MILL] == "fit for use"
    assert actions[SHED] == "out of service"
    save(seen, "blade,eye\nA-40,crack\n")
    with pytest.raises(bg.RefusedError, match="which blade"):
        judged(tmp_path, both, blades=seen)


def test_before_and_after_are_paired_by_customer(tmp_path, both):
    before = save(tmp_path / "b.csv", together(rows_of(0.3, MILL), rows_of(0.051, SHED)))
    done = judged(tmp_path, both, before=[before])
    was = {row["customer"]: row["before_tir"] for row in done.rows}
    assert was[MILL] == pytest.approx(0.6, rel=0.01)
    assert was[SHED] == pytest.approx(0.102, rel=0.02)
    save(before, rows_of(0.3))  # Whose?
    done = judged(tmp_path, both, before=[before])
    assert {row["before_tir"] for row in done.rows} == {None}
    assert {fault.who for fault in done.refused} == {A, B}
    alone = save(tmp_path / "one.csv", rows_of(0.02, MILL))
    assert judged(tmp_path, alone, before=[before]).rows[0]["before_tir"] is not None
    save(before, rows_of(0.3, SHED))
    done = judged(tmp_path, alone, before=[before])
    assert done.rows[0]["before_tir"] is None
    assert any(SHED in note for note in done.notes)


# The history


def recorded(path, folder, day):
    ran = run("record", path, "--history", folder, "--date", day)
    assert ran.status == 0, ran.err


def test_a_history_keeps_whose_they_are_and_a_trend_is_of_one(tmp_path, both):
    folder = tmp_path / "h"
    rows = together(rows_of(0.02, MILL, job="7", operator="Ona", done="honed"), [])
    recorded(save(tmp_path / "one.csv", rows), folder, "2026-11-24")
    for day in (25, 26, 27):
        recorded(both, folder, f"2026-11-{day}")
    history = bg.read_history(folder)
    assert not history.refused
    first = history.visits[0]
    assert (first.customer, first.job, first.operator, first.done) == (MILL, "7", "Ona", "honed")
    assert len(history.of("A-40", SHED)) == 3
    with pytest.raises(bg.RefusedError, match=SHED):
        history.of("A-40")
    ran = run("trend", "--history", folder, "--blade", "A-40", "--customer", MILL, "--json")
    assert (ran.json["customer"], ran.json["compared"]) == (MILL, 4)
    with pytest.raises(bg.RefusedError):
        bg.trend(history.visits)


def old_layout(folder):
    """Turn the lines of a history into those of a program that knew of no customers."""
    (path,) = folder.glob("*.csv")
    lines = list(csv.reader(path.read_text().splitlines()))
    kept = [line[:-4] for line in lines]
    kept[1:] = [[check_value(line[1:]), *line[1:]] for line in kept[1:]]
    with path.open("w", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(kept)
    return path


def test_a_history_from_before_is_read_and_goes_on_without_being_written_over(tmp_path):
    folder = tmp_path / "h"
    recorded(save(tmp_path / "one.csv", rows_of(0.02)), folder, "2026-11-24")
    path = old_layout(folder)
    before = path.read_bytes()
    assert len(bg.read_history(folder).visits) == 1
    recorded(save(tmp_path / "two.csv", rows_of(0.02, MILL)), folder, "2026-11-25")
    history = bg.read_history(folder)
    assert not history.refused
    assert path.read_bytes() == before
    # What said no customer is of the only one there is; of two, whose it was is not known.
    assert len(history.of("A-40")) == len(history.of("A-40", MILL)) == 2
    recorded(save(tmp_path / "three.csv", rows_of(0.05, SHED)), folder, "2026-11-26")
    assert len(bg.read_history(folder).of("A-40", MILL)) == 1
    torn = path.read_bytes()[:-3]
    path.write_bytes(torn)
    assert [fault.file for fault in bg.read_history(folder).refused] == [path.name]


def test_mountings_of_two_customers_are_two_blades_of_a_fleet(tmp_path):
    def mounted(customer, size):
        tables = []
        for mount, clock in (("a", 0), ("b", 180)):
            facts = {"mount": mount, "clock_deg": clock}
            tables.append(rows_of(size, customer, **facts))
        return together(*tables)

    path = save(tmp_path / "m.csv", together(mounted(MILL, 0.02), mounted(SHED, 0.08)))
    mounts = bg.read_mounts(path)
    assert [*mounts.blades] == [str(A), str(B)]
    (only,) = bg.read_mounts(path, customer=SHED).blades
    assert only == "A-40"
    told = run("clock", path, "--json").json["blades"]
    assert len(told) == 2
    fits = [
        ([bg.fit_wobble(one.readings) for one in own], [0, 180]) for own in mounts.blades.values()
    ]
    assert len(bg.fleet_arbor(fits).blades) == 2
