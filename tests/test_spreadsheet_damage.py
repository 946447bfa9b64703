"""What spreadsheets do to cells is refused by its name; the other blades go on."""

from __future__ import annotations

import csv

import pytest
from written import changed, run, save, sheet, two_blades, wave, with_column, written

import bladegeom as bg
from bladegeom.tables._damage import damaged_name
from bladegeom.tables.read import parse_blades

DATES = [
    *("2-Jan", "02.Jan", "02. Jan", "2026-01-02", "Jan-02", "2-Jan-26", "1/2/2026", "02.01.2026"),
    *("01.02.26", "2026-01-02 00:00:00", "2-Mrz", "3. Mai", "1-févr"),
]
ERRORS = ["#VALUE!", "#REF!", "#N/A", "#DIV/0!", "#NAME?", "#NUM!", "########", "#WERT!"]


def batch(rows, **more):
    return parse_blades(written(rows).encode(), "damaged.csv", **more)


@pytest.mark.parametrize("column", ["reading_mm", "ring_radius_mm"])
@pytest.mark.parametrize(
    ("cell", "says"),
    [*((cell, "is a date") for cell in DATES), *((cell, "spreadsheet") for cell in ERRORS)],
)
def test_a_damaged_number_is_named_and_the_other_blade_goes_on(column, cell, says):
    got = batch(changed(two_blades(ring_radius_mm="100"), 4, column, cell))
    (fault,) = got.refused
    assert (fault.blade, fault.row, fault.column, fault.value) == ("A", 4, column, cell)
    assert says in fault.problem
    assert fault.cure
    assert [one.blade.name for one in got.readings] == ["B"]


def test_a_formula_is_named():
    (fault,) = batch(changed(sheet(blade="A"), 4, "reading_mm", "=A1+1")).refused
    assert "formula without a value" in fault.problem


@pytest.mark.parametrize(
    ("name", "says"),
    [
        *((name, "power of ten") for name in ("1.23E+11", "4,5E+12", "1E+15")),
        *((name, "is a date") for name in ("3-Apr", "04.Mrz", "03. Apr", "2026-04-03", "Mar-12")),
        *((name, "spreadsheet") for name in ERRORS),
    ],
)
def test_a_damaged_name_is_refused_once_and_the_other_blade_goes_on(name, says):
    got = batch([*sheet(blade=name), *sheet(wave(amplitude=0.2), blade="B")[1:]])
    (fault,) = got.refused
    assert (fault.blade, fault.row, fault.column, fault.value) == (name, 2, "blade", name)
    assert says in fault.problem
    assert "also in rows 3" in fault.problem
    assert [one.blade.name for one in got.readings] == ["B"]


@pytest.mark.parametrize(
    "name",
    [
        *("007", "0012.50", "3-4", "12-34", "12-34-56", "1/2", "12E5", "1e11", "SET-3", "GEN 2"),
        *("MAR12", "MAYER-60", "Marlin 3", "#7", "#12", "Dec", "2026", "1.234", "=7", "A#N/A"),
    ],
)
def test_names_as_shops_give_them_are_kept(name):
    assert damaged_name(name) is None
    (one,) = batch(sheet(blade=name)).readings
    assert one.blade.name == name


def test_fractions_are_still_numbers():
    (one,) = batch(changed(sheet(blade="A"), 4, "reading_mm", "1/2")).readings
    assert one.reading[2] == 0.5


# Rows that do not fit


def test_two_thousand_blades_with_bad_rows_lose_no_good_one():
    head = ["blade", "teeth", "tooth", "reading_mm"]
    rows, bad = [head], {}
    for at in range(2000):
        own = [[f"{at:05d}", "12", str(tooth), cell] for tooth, cell in enumerate(wave(), 1)]
        if at % 20 == 7:
            way = at // 20 % 5
            own[3] = [
                [*own[3], "9"],
                own[3][:-1],
                [*own[3][:3], "0,05"],
                [*own[3][:3], "2-Jan"],
                [*own[3][:2], "x", "0.1"],
            ][way]
            bad[f"{at:05d}"] = len(rows) + 4
        rows += own
    got = batch(rows)
    assert {fault.blade: fault.row for fault in got.refused} == bad
    assert len(got.refused) == 100
    assert [one.blade.name for one in got.readings] == [
        f"{at:05d}" for at in range(2000) if f"{at:05d}" not in bad
    ]


def test_a_row_that_lost_its_name_speaks_against_its_neighbours():
    rows = two_blades()
    rows[5] = rows[5][1:]
    got = batch(rows)
    assert {fault.blade for fault in got.refused} == {"A", "5"}
    assert [one.blade.name for one in got.readings] == ["B"]


def test_a_row_that_kept_its_name_speaks_for_itself_in_any_order_of_rows():
    head, *rows = [*two_blades(), *sheet(blade="C")[1:]]
    rows.sort(key=lambda row: int(row[1]))
    got = batch([head, *rows[:4], rows[4][:-1], *rows[5:]])
    assert {(fault.blade, fault.row) for fault in got.refused} == {(rows[4][0], 6)}
    assert len(got.readings) == 2


def test_a_cell_in_a_column_without_a_name_refuses_its_blade_only():
    got = batch(changed(with_column(two_blades(), "", ""), 5, "", "9"))
    assert [(fault.blade, fault.row, fault.value) for fault in got.refused] == [("A", 5, "9")]
    assert [one.blade.name for one in got.readings] == ["B"]


def test_many_unequal_rows_are_told_together():
    rows = [[*row, "9"] for row in two_blades()]
    rows[0] = rows[0][:-1]
    with pytest.raises(bg.RefusedError) as refused:
        batch(rows)
    (fault,) = refused.value.faults
    assert fault.row == 2
    assert "also in rows 3, 4, 5, 6, 7, 8, 9, 10 and 15 more" in fault.problem


# Encodings and separators


def test_cp1252_is_read_with_a_note():
    got = parse_blades(written(sheet(blade="Säge ½")).encode("cp1252"), "old.csv")
    assert got.readings[0].blade.name == "Säge ½"
    (note,) = got.notes
    assert "old.csv is not UTF-8 text; it was read as cp1252" in note


def test_utf8_is_never_taken_for_cp1252():
    data = written(sheet(blade="Säge")).encode()
    assert parse_blades(data, "a.csv").notes == []
    for broken in (data + b"\xe4", b"\xef\xbb\xbf" + data.replace(b"\xc3\xa4", b"\xe4")):
        with pytest.raises(bg.RefusedError, match="is not UTF-8 text"):
            parse_blades(broken, "a.csv")


def test_bytes_that_cp1252_lacks_are_refused():
    with pytest.raises(bg.RefusedError, match="is not UTF-8 text"):
        parse_blades(written(sheet(blade="x")).encode().replace(b"x", b"\x81"), "a.csv")


@pytest.mark.parametrize("line", ["sep=;", '"sep=;"', "SEP=;", "sep=;;;"])
def test_a_first_line_may_name_the_separator(line):
    text = f"{line}\r\n{written(changed(sheet(), 4, 'reading_mm', 'x'), ';')}"
    (fault,) = parse_blades(text.encode(), "a.csv").refused
    assert fault.row == 4  # A spreadsheet does not show that line.


def test_the_separator_named_is_the_one_used(tmp_path):
    path = save(tmp_path / "a.csv", "sep=,\n" + written(sheet()))
    assert bg.read_blade(path).unit == "mm"
    with pytest.raises(bg.RefusedError):
        bg.read_blade(save(tmp_path / "b.csv", "sep=\t\n" + written(sheet())))


def test_one_cell_with_another_decimal_mark_refuses_its_blade_only():
    rows = [*two_blades(), *sheet(blade="C")[1:]]
    got = parse_blades(written(changed(rows, 4, "reading_mm", "0,05"), ";").encode(), "a.csv")
    (fault,) = got.refused
    assert (fault.blade, fault.row, fault.value) == ("A", 4, "0,05")
    assert "decimal comma" in fault.problem
    assert len(got.readings) == 2


def test_a_second_table_in_cp1252_is_read_with_a_note(tmp_path):
    facts = tmp_path / "facts.csv"
    facts.write_bytes("blade,teeth,side\nSäge,12,links außen\n".encode("cp1252"))
    rows = [row[:3] for row in sheet(blade="Säge")]
    batch = parse_blades(written(rows).encode(), "day.csv", blades=facts)
    assert batch.readings[0].side == "links außen"
    assert any("facts.csv is not UTF-8 text" in note for note in batch.notes)


@pytest.mark.parametrize("row", [2, 8])
def test_a_slip_in_the_name_of_one_row_stops_no_other_blade(row, tmp_path):
    table = save(tmp_path / "shop.csv", changed(two_blades(), row, "blade", "a"))
    ran = run("table", table, "-o", tmp_path / "answers.csv")
    assert ran.status == 1
    assert "blade a" in ran.err
    with (tmp_path / "answers.csv").open(encoding="utf-8-sig", newline="") as file:
        answers = {one["blade"]: one["amplitude"] for one in csv.DictReader(file)}
    assert answers["A"]
    assert answers["B"]
    assert not answers["a"]
