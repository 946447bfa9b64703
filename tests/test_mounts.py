"""Tables of mountings: read, refused by blade, mounting and row, and the sign of clock_tooth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mounted_body import mounted_mm
from rigid_body import UP, RigidBlade, blade_direction, tooth_angles_deg, turn_onto
from written import TEETH, changed, save, sheet, wave, with_column

import bladegeom as bg
from bladegeom.arbor.arbor import separate_arbor
from bladegeom.tables.several import read_mounts


def mounts_of(blade, clocks, column="clock_deg", **facts):
    """Rows of one blade; mounting n is called m1, m2, ...; header first."""
    rows = []
    for at, clock in enumerate(clocks, start=1):
        own = with_column(sheet(wave(amplitude=0.1 * at), blade=blade, **facts), "mount", f"m{at}")
        if column:
            own = with_column(own, column, str(clock))
        rows += own if not rows else own[1:]
    return rows


@pytest.fixture
def read(tmp_path):
    """Save a table and read its mountings."""

    def saved(rows, **more):
        return read_mounts(save(tmp_path / "seven.csv", rows), **more)

    return saved


def clocks(mounts, blade):
    return [(one.name, one.clock_deg) for one in mounts.blades[blade]]


def test_every_mounting_is_read_with_its_place_in_the_order_of_the_file(read):
    mounts = read(mounts_of("A", [0, 180, "90.5", 0]))
    assert clocks(mounts, "A") == [("m1", 0.0), ("m2", 180.0), ("m3", 90.5), ("m4", 0.0)]
    peaks = [one.readings.reading.max() for one in mounts.blades["A"]]
    assert peaks == pytest.approx([0.1, 0.2, 0.3, 0.4], abs=1e-3)
    assert all(len(one.readings.reading) == TEETH for one in mounts.blades["A"])
    assert (mounts.refused, mounts.notes) == ([], [])


def test_several_blades_are_read_and_one_without_a_name_is_called_as_the_file(read):
    mounts = read(mounts_of("A", [0, 90]) + mounts_of("B", [45])[1:])
    assert clocks(mounts, "B") == [("m1", 45.0)]
    assert [*mounts.blades] == ["A", "B"]
    rows = [row[1:] for row in mounts_of("A", [0, 90])]
    assert [*read(rows).blades] == ["seven"]


@pytest.mark.parametrize(
    ("cell", "clock"), [("-90", 270.0), ("360", 0.0), ("", None), ("?", None), ("1/2", 0.5)]
)
def test_a_clock_position_is_brought_into_one_turn_and_blank_is_not_kept(read, cell, clock):
    assert clocks(read(mounts_of("A", [cell])), "A") == [("m1", clock)]


def test_one_row_may_state_the_place_for_the_whole_mounting(read):
    rows = changed(mounts_of("A", [""]), 5, "clock_deg", "30")
    assert clocks(read(rows), "A") == [("m1", 30.0)]


def test_without_a_column_no_place_was_kept(read):
    assert clocks(read(mounts_of("A", [0, 0], column="")), "A") == [("m1", None), ("m2", None)]


@pytest.mark.parametrize("numbered", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("tooth", [1, 4, 11])
def test_the_tooth_at_the_mark_is_the_clock_position_that_a_rigid_body_has(read, numbered, tooth):
    pattern = "1 1 1.6"
    rows = mounts_of("A", [tooth], "clock_tooth", numbered=numbered, pitch_pattern=pattern)
    ((_, clock),) = clocks(read(rows), "A")
    body = RigidBlade(0.0, 0.0, numbered)
    # Turned until the tooth stands at the mark (twelve o'clock): where is tooth 1 then?
    angle = tooth_angles_deg(TEETH, pattern)[tooth - 1]
    tooth_1 = turn_onto(blade_direction(body, angle), UP) @ UP
    np.testing.assert_allclose(blade_direction(body, clock), tooth_1, atol=1e-12)


def test_both_ways_of_stating_the_place_come_to_the_same_wobbles(read):
    blade, flange = RigidBlade(0.03, 40.0, "clockwise"), RigidBlade(0.02, 110.0, "clockwise")
    angles = tooth_angles_deg(TEETH)

    def separated(column, cells):
        rows = []
        for at, tooth in enumerate((1, 5, 8)):
            place = turn_onto(blade_direction(blade, angles[tooth - 1]), UP) @ UP
            clock = np.degrees(np.arctan2(place[0], place[1]))
            shown = mounted_mm(blade, flange, float(clock), angles, 100.0)
            own = sheet([f"{one:.6f}" for one in shown], blade="A", graduation_mm="0.0001")
            own = with_column(with_column(own, "mount", str(at)), column, cells[at])
            rows += own if not rows else own[1:]
        mounts = read(rows).blades["A"]
        fits = [bg.fit_wobble(one.readings) for one in mounts]
        return separate_arbor(fits, [one.clock_deg for one in mounts])

    by_tooth = separated("clock_tooth", ["1", "5", "8"])
    by_angle = separated("clock_deg", ["0", "-120", "150"])
    assert by_tooth.flange_vector == pytest.approx(by_angle.flange_vector, rel=1e-9)
    for vector, body in ((by_tooth.blade_vector, blade), (by_tooth.flange_vector, flange)):
        assert np.degrees(np.angle(vector)) == pytest.approx(body.near_deg, abs=0.05)


def test_wide_tables_have_one_row_a_mounting(read):
    head = ["blade", "mount", "clock_deg", "teeth", *(f"t{at}_mm" for at in range(1, TEETH + 1))]
    rows = [head, ["A", "1", "0", "12", *wave()], ["A", "2", "180", "12", *wave(amplitude=0.2)]]
    mounts = read(rows)
    assert clocks(mounts, "A") == [("1", 0.0), ("2", 180.0)]
    assert mounts.blades["A"][1].readings.reading[0] == 0.2


def test_decimal_commas_hold_for_the_clock_position_too(tmp_path):
    rows = mounts_of("A", ["22,5"])
    text = "\n".join(";".join(cell.replace(".", ",") for cell in row) for row in rows)
    mounts = read_mounts(save(tmp_path / "a.csv", text))
    assert clocks(mounts, "A") == [("m1", 22.5)]


def test_what_is_stated_of_a_blade_once_holds_in_all_its_mountings(read):
    rows = mounts_of("A", [0, 90], diameter_mm="")
    rows = changed(rows, 14, "diameter_mm", "250")
    for row in range(3, 26):
        rows = changed(rows, row, "teeth", "")
    assert [one.readings.blade.diameter_mm for one in read(rows).blades["A"]] == [250, 250]


def test_facts_and_units_may_be_stated_from_outside(read):
    rows = [[cell.replace("reading_mm", "reading") for cell in row] for row in mounts_of("A", [0])]
    (mount,) = read(rows, unit="in", ring_radius="4 in").blades["A"]
    assert (mount.readings.unit, mount.readings.ring_radius) == ("in", pytest.approx(4))


def test_unused_columns_are_named_but_not_those_of_the_mountings(read):
    rows = with_column(mounts_of("A", [0]), "weather", "rain")
    assert read(rows).notes == ["columns not used: weather"]


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.text(st.characters(exclude_categories=("C", "Z")), max_size=8))
@pytest.mark.parametrize("column", ["clock_deg", "clock_tooth", "mount"])
def test_whatever_stands_in_a_cell_is_read_or_refused_by_its_row(read, column, cell):
    rows = mounts_of("A", [1, 2, 3], "clock_tooth" if column == "mount" else column)
    mounts = read(changed(rows, 15, column, cell))
    assert all(fault.blade == "A" and fault.row for fault in mounts.refused)
    held = mounts.blades.get("A", [])
    assert all(one.clock_deg is None or 0 <= one.clock_deg < 360 for one in held)
    assert len(held) + len({fault.problem[:9] for fault in mounts.refused}) >= 3


# Faults: where, what, and the cure; the good mountings go on


@pytest.mark.parametrize(
    ("row", "column", "cell", "problem", "cure"),
    [
        (15, "reading_mm", "x", "mount m2: reading_mm: 'x' is not a number", "write a number"),
        (15, "clock_deg", "90", "mount m2: clock_deg is 90 here, but row 14 says 180", "one clock"),
        (15, "clock_deg", "far", "mount m2: clock_deg: 'far' is not a number", "write a number"),
        (14, "clock_deg", "1800", "mount m2: clock_deg: 1800 is more than a turn", "0 to 360"),
        (15, "teeth", "60", "mount m2: teeth is 60 here, but row 2 says 12", "agree"),
        (15, "tooth", "13", "mount m2: tooth 13 on a 12-tooth blade", "1 to 12"),
        (15, "mount", "", "the mounting is missing", "fill in mount"),
        (15, "mount", "m1", "mount m1: tooth 2 reads 0.173 here and 0.087 in row 3", "correct"),
    ],
)
def test_a_fault_names_blade_mounting_and_row(read, row, column, cell, problem, cure):
    mounts = read(changed(mounts_of("A", [0, 180, 90]), row, column, cell))
    assert problem in [fault.problem[: len(problem)] for fault in mounts.refused]
    fault = next(one for one in mounts.refused if one.problem.startswith(problem))
    assert (fault.blade, fault.row) == ("A", row)
    assert cure in fault.cure
    left = [one.name for one in mounts.blades["A"]]
    assert "m3" in left
    assert (fault.problem.split(":")[0].removeprefix("mount ") in left) is False


def test_rows_that_lack_their_mounting_are_told_once(read):
    rows = changed(changed(mounts_of("A", [0, 180]), 4, "mount", ""), 6, "mount", " ")
    (fault,) = read(rows).refused
    assert fault.problem == "the mounting is missing (also in row 6)"


@pytest.mark.parametrize(("tooth", "row"), [("0", 2), ("13", 2), ("1.5", 2)])
def test_a_tooth_at_the_mark_that_is_not_there_is_refused(read, tooth, row):
    (fault,) = read(mounts_of("A", [tooth], "clock_tooth")).refused
    assert (fault.row, fault.column, fault.value) == (row, "clock_tooth", tooth)


def test_a_blade_at_fault_stops_no_other(read):
    rows = changed(mounts_of("A", [0]) + mounts_of("B", [0])[1:], 3, "reading_mm", "x")
    mounts = read(rows)
    assert [*mounts.blades] == ["B"]
    assert [fault.blade for fault in mounts.refused] == ["A"]


def test_a_row_that_does_not_fit_the_header_speaks_against_all_mountings_of_its_blade(read):
    rows = mounts_of("A", [0, 180]) + mounts_of("B", [0])[1:]
    mounts = read([row[:-1] if at == 3 else row for at, row in enumerate(rows)])
    assert [*mounts.blades] == ["B"]
    assert [(fault.blade, fault.row) for fault in mounts.refused] == [("A", 4)]


def test_a_row_without_a_blade_is_refused(read):
    mounts = read(changed(mounts_of("A", [0, 180]), 4, "blade", ""))
    assert mounts.refused[0].problem == "the blade's name is missing"


def renamed(rows, old, new):
    return [[new if cell == old else cell for cell in rows[0]], *rows[1:]]


@pytest.mark.parametrize(
    ("rows", "problem", "cure"),
    [
        (sheet(blade="A"), "there is no column mount", "add it"),
        (
            renamed(mounts_of("A", [0]), "mount", "mounting"),
            "column mounting is not known",
            "mount",
        ),
        (
            renamed(mounts_of("A", [0]), "clock_deg", "clock"),
            "column clock is not known",
            "clock_deg",
        ),
        (
            with_column(mounts_of("A", [0]), "clock_tooth", "1"),
            "the clock position is there twice",
            "keep one",
        ),
        (
            renamed(mounts_of("A", [0]), "reading_mm", "reading"),
            "column reading has no known unit",
            "name",
        ),
    ],
)
def test_a_header_at_fault_refuses_the_whole_file(read, rows, problem, cure):
    with pytest.raises(bg.RefusedError) as refused:
        read(rows)
    (fault,) = refused.value.faults
    assert fault.problem.startswith(problem)
    assert cure in fault.cure


def test_a_unit_that_is_none_and_a_fact_that_is_none_are_refused(read):
    with pytest.raises(bg.RefusedError, match="the unit is"):
        read(mounts_of("A", [0]), unit="cm")
    with pytest.raises(bg.RefusedError, match="colour is not a known fact"):
        read(mounts_of("A", [0]), colour="red")


@pytest.mark.parametrize("turns", [False, True])
def test_several_mountings_are_never_averaged_as_one(tmp_path, turns):
    rows = ["blade,tooth,reading_mm,teeth,mount" + ",turn" * turns]
    for place, mount in enumerate(("a", "b")):
        rows += [f"K,{k},{0.01 * k + place},12,{mount}" + f",{place}" * turns for k in range(1, 13)]
    table = tmp_path / "mounts.csv"
    table.write_text("\n".join(rows) + "\n")
    with pytest.raises(bg.RefusedError) as refused:
        bg.read_blade(table)
    (fault,) = refused.value.faults
    assert (fault.row, fault.column, fault.value) == (14, "mount", "b")
    assert "bladegeom clock" in fault.cure
    with pytest.raises(bg.RefusedError, match="mount is 'b' here"):
        bg.read_table(table)
    one = tmp_path / "one.csv"
    one.write_text("\n".join(rows[:13]) + "\n")
    assert len(bg.read_blade(one).reading) == 12
