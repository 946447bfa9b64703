"""Plain tables read by their columns: the same frame and refusals as cell by cell."""

from __future__ import annotations

import codecs
import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal
from simulated import rng_for
from written import changed, save, sheet, two_blades, with_column, written

import bladegeom as bg
from bladegeom.tables import _plain as by_columns
from bladegeom.tables.facts import stated_facts
from bladegeom.tables.read import tidy_by_cells, tidy_table

patient = settings(deadline=None, max_examples=150)

WORDS = [
    *("", " ", "?", "NA", "nan", "x", "007", "A", "B", "C", "3-4", "1E+12", "#VALUE!"),
    *("''", "\u3003", "-'-"),
    *("Ä", "é\u00a0"),
]
NUMBERS = [
    *("0", "-0", "5", "12", "13", "0.25", "-.5", "5.", "+3", "1e3", "1e-3", " 5", "5 ", "1/2"),
    *("1½", "\u22125", "--5", "1.2.3", "-", ".", "1e999", "1e-400", "inf", "1,5", "0x10", "٣"),
    *(
        "4006381333931",
        "999999999",
        "1000000001",
        "1.250",
        "0.1234567890123456",
        "123456789012345",
        "99999999999999999999",
        "1_0",
    ),
]
CELLS = st.one_of(
    st.sampled_from(WORDS + NUMBERS),
    st.text("0123456789.,+-eE/ ½\u2212_xA?", max_size=7),
    st.decimals(-20, 20, places=3).map(str),
    st.text(max_size=6),
)
FACTS = {
    "ring_radius_mm": ["100", "100.0", "4", "0", "130"],
    "ring_radius_in": ["4", "3 15/16", "4.0"],
    "diameter_mm": ["254", "254", "200", "?"],
    "surface": ["plate", "teeth", "Plate", "rim"],
    "side": ["left", "right "],
    "dial": ["left alone", "Set anew", "loose"],
    "numbered": ["clockwise", "counterclockwise", ""],
    "touch_deg": ["0", "2.5"],
    "pitch_pattern": ["1 1 1.6", "1", "1 2"],
    "tooth_pattern": ["L R", "l r"],
    "note": ["gum", "", "dusty day"],
}


def both_ways(data, **more):
    """Read both ways; return whether the table was plain."""
    unit, blades = more.pop("unit", None), more.pop("blades", None)
    found = by_columns.plain_table(data, "t.csv", stated_facts(more), blades, unit)
    try:
        expected = tidy_by_cells(data, "t.csv", unit=unit, blades=blades, **more)
    except bg.RefusedError:
        assert found is None
        return False
    if found is None:
        return False
    assert found.refused == expected.refused
    assert found.notes == expected.notes
    if expected.frame is None:
        assert found.frame is None
    else:
        assert_frame_equal(found.frame, expected.frame, check_exact=True)
        assert found.frame.attrs == expected.frame.attrs
        values = found.frame.select_dtypes("float")
        assert np.array_equal(np.signbit(values), np.signbit(expected.frame[values.columns]))
    return True


@st.composite
def long_tables(draw):
    """Rows of a long table: blades, turns, closing readings, facts stated or not."""
    turns = draw(st.integers(1, 2))
    further = st.sampled_from([*FACTS, "turn", "order", "turned"])
    extra = draw(st.lists(further, unique=True, max_size=5))
    names = st.sampled_from(["A", "B", "007", " A", "é", "C"])
    rows = []
    for name in draw(st.lists(names, min_size=1, max_size=4)):
        teeth = draw(st.sampled_from([4, 6, 6, 12]))
        own = {fact: draw(st.sampled_from(FACTS[fact])) for fact in extra if fact in FACTS}
        count = 0
        for turn in range(1, turns + 1):
            closing = draw(st.booleans())
            for tooth in [*range(1, teeth + 1), *([1] if closing else [])]:
                count += 1
                text = f"{0.1 * math.cos(tooth) + 0.01 * count:.3f}"
                own |= {"turn": str(turn), "order": str(count), "turned": "forward"}
                rows.append([name, str(tooth), text, str(teeth), *(own[one] for one in extra)])
    return [["blade", "tooth", "reading_mm", "teeth", *extra], *rows]


@st.composite
def wide_tables(draw):
    """Rows of a wide table."""
    teeth = draw(st.sampled_from([4, 6, 12]))
    extra = draw(st.lists(st.sampled_from([*FACTS, "turn", "turned"]), unique=True, max_size=4))
    names = st.sampled_from(["A", "B", "007", "C", "D "])
    rows = []
    for at, name in enumerate(draw(st.lists(names, min_size=1, max_size=6))):
        own = {fact: draw(st.sampled_from(FACTS[fact])) for fact in extra if fact in FACTS}
        own |= {"turn": str(at), "turned": "forward"}
        has = draw(st.sampled_from([teeth, teeth, teeth - 1]))
        read = [f"{0.1 * math.cos(tooth):.3f}" for tooth in range(1, has + 1)]
        blank = [""] * (teeth - has)
        rows.append([name, str(has), *(own[one] for one in extra), *read, *blank])
    columns = [f"t{tooth}_mm" for tooth in range(1, teeth + 1)]
    return [["blade", "teeth", *extra, *columns], *rows]


@st.composite
def damaged(draw, tables):
    """Bytes of a table with cells, rows and strokes out of order."""
    head, *body = draw(tables)
    for _ in range(draw(st.integers(0, 4))):
        row = head if draw(st.integers(0, 19)) == 0 else draw(st.sampled_from(body))
        row[draw(st.integers(0, len(row) - 1))] = draw(CELLS)
    at = draw(st.integers(0, len(body) - 1))
    match draw(st.sampled_from(["as they are", "shuffled", "blank rows", "moved", "uneven"])):
        case "shuffled":
            body = draw(st.permutations(body))
        case "blank rows":
            blank = st.sampled_from([[], [""], [""] * len(head), [" "] * len(head)])
            for row in draw(st.lists(blank, max_size=4)):
                body.insert(draw(st.integers(0, len(body))), row)
        case "moved":
            body.insert(draw(st.integers(0, len(body) - 1)), body.pop(at))
        case "uneven":
            row = body[at]
            body[at] = draw(st.sampled_from([row[:-1], [*row, ""], [*row, "9"], row[1:]]))
    separator = draw(st.sampled_from([",", ",", ";", "\t"]))
    ending = draw(st.sampled_from(["\n", "\n", "\r\n"]))
    text = ending.join(separator.join(row) for row in [head, *body])
    text += draw(st.sampled_from(["", ending, ending * 2]))
    if draw(st.integers(0, 9)) == 0:
        at = draw(st.integers(0, len(text)))
        stroke = draw(st.sampled_from(['"', "\n", "\r", ",", ";", ".", "\0", "5"]))
        text = f"{text[:at]}{stroke}{text[at:]}"
    return text.encode(draw(st.sampled_from(["utf-8", "utf-8", "utf-8-sig", "utf-16"])), "replace")


@patient
@given(damaged(st.one_of(long_tables(), wide_tables())))
def test_a_damaged_table_is_read_the_same_both_ways(data):
    both_ways(data)


def test_most_damaged_tables_are_plain_enough_to_be_read_by_columns():
    seen = Counter()

    @settings(deadline=None, derandomize=True, max_examples=60, database=None)
    @given(damaged(st.one_of(long_tables(), wide_tables())))
    def count(data):
        seen[both_ways(data)] += 1

    count()
    assert seen[True] > seen[False]


@patient
@given(
    long_tables(),
    st.lists(st.sampled_from(["A,12,100", "B,6,?", "007,6,", "C,4,x", "A,6,100", "é,4,90"])),
)
def test_a_second_table_says_the_same_both_ways(tmp_path_factory, rows, facts):
    path = save(
        tmp_path_factory.mktemp("facts") / "facts.csv",
        "\n".join(["blade,teeth,ring_radius_mm", *facts]),
    )
    rows[0][3] = "note_of_teeth"
    both_ways(written(rows).encode(), blades=path)


def plain(rows, **more):
    """Read rows that must be plain, both ways; return the frame."""
    data = rows if isinstance(rows, bytes) else written(rows).encode()
    assert both_ways(data, **more)
    return tidy_table(data, "t.csv", **more).frame


@pytest.mark.parametrize("name", ["007", "1.0", "1e3", "NA", "nan", "?", "-", "é", "\u92f8 3"])
def test_a_name_stays_text(name):
    assert set(plain(sheet(blade=name))["blade"]) == {name}


@pytest.mark.parametrize(
    "cell", ["", "?", " ", "1e-3", " 0.5", "0.5 ", "+3", "-.5", "5.", "1/2", "1½", "\u22125"]
)
def test_a_number_in_any_manner_leaves_a_table_plain(cell):
    plain(changed(two_blades(), 4, "reading_mm", cell))


@pytest.mark.parametrize("digits", [20, 31, 32, 33, 60])
def test_a_number_of_many_digits_is_read_whole(digits):
    cells = [f"{value:0{digits}d}" for value in range(3, 15)]
    frame = plain(sheet(cells, blade="A"))
    assert frame["reading_mm"].tolist() == [*range(3, 15)]


def test_a_row_too_short_and_one_too_long_are_found_though_together_they_are_even():
    rows = with_column(two_blades(), "note", "")
    rows[3] = rows[3][:-1]
    rows[20] = [*rows[20], ""]
    rows += [["C", *row[1:]] for row in with_column(two_blades(), "note", "")[1:13]]
    frame = plain(rows)
    assert set(frame["blade"]) == {"C"}
    assert {fault.row for fault in frame.attrs["refused"]} == {4, 21}


def test_a_line_too_long_for_a_cell_is_refused_both_ways():
    head, *body = with_column(two_blades(), "note", "")
    rows = [head, *body * 1000, [*body[-1][:-1], "x" * 200_000]]
    assert not both_ways(written(rows).encode())


@pytest.mark.parametrize("cell", ["x", "1.2.3", "--5", "-", ".", "1e999", "inf", "nan"])
def test_a_reading_that_is_none_refuses_its_blade_alone(cell):
    frame = plain(changed(two_blades(), 4, "reading_mm", cell))
    assert set(frame["blade"]) == {"B"}
    (fault,) = frame.attrs["refused"]
    assert (fault.blade, fault.row, fault.column, fault.value) == ("A", 4, "reading_mm", cell)


@patient
@given(
    st.lists(st.one_of(CELLS, st.floats().map(repr), st.from_regex(r"[-+0-9.]{0,40}\Z"))),
    st.booleans(),
)
def test_numbers_are_those_that_are_read_one_by_one(cells, again):
    cells = [one for one in cells if not set(one) & set('\n\r,"\0') and one.isprintable()]
    rows = [[f"B{at}", "1", cell] for at, cell in enumerate(["0", *cells])]
    rows += [["C", str(1 + tooth % 99), "0"] for tooth in range(2 * len(rows) * again)]
    text = written([["blade", "tooth", "reading_mm"], *rows])
    both_ways(text.encode("utf-8", "replace"), teeth=100)


def test_numbers_and_names_are_found_wherever_the_pieces_of_a_file_end(monkeypatch):
    rng = rng_for(5)
    rows = [["blade", "tooth", "reading_mm", "teeth", "note"]]
    for at in range(30):
        name = "blade of a long name " * int(rng.integers(0, 3)) + str(at)
        note = "x" * int(at % 11)
        read = [f"{value:.{at % 9}f}" for value in rng.normal(size=6)]
        rows += [[name, str(tooth), text, "6", note] for tooth, text in enumerate(read, start=1)]
        rows.append([[], [""] * 5, ["spoilt"]][at % 3] if at % 4 == 0 else rows.pop())
    data = written(rows).encode()
    expected = plain(data)
    for size in (1, 7, 100):
        monkeypatch.setattr(by_columns, "_AT_ONCE", size)
        assert_frame_equal(plain(data), expected, check_exact=True)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("mark", [b"", codecs.BOM_UTF8])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_dialects_with_decimal_points_are_plain(separator, mark, ending):
    rows = with_column(two_blades(ring_radius_mm="100.5"), "note", "gum")
    assert both_ways(mark + written(rows, separator, ending).encode())


def test_points_that_may_be_thousands_are_left_to_the_judge():
    rows = sheet(["1.250"] * 12, blade="A")
    assert not both_ways(written(rows, ";").encode())
    assert both_ways(written(changed(rows, 3, "reading_mm", "0.25"), ";").encode())


def test_a_row_of_units_leaves_a_table_plain():
    rows = [["blade", "t1", "t2", "t3", "t4", "teeth", "ring_radius"]]
    rows += [["", *["thou"] * 4, "", "in"], *([f"B{at}", *"1234", "4", "4.5"] for at in range(3))]
    frame = plain(rows)
    assert frame["reading_thou"].tolist() == [1.0, 2.0, 3.0, 4.0] * 3
    assert frame["ring_radius_mm"].unique().tolist() == [114.3]


def test_one_bad_blade_does_not_send_the_others_cell_by_cell(monkeypatch):
    sent = []
    whole = by_columns.answered
    monkeypatch.setattr(
        by_columns,
        "answered",
        lambda table, who, *rest: sent.append(who) or whole(table, who, *rest),
    )
    frame = tidy_table(written(changed(two_blades(), 4, "tooth", "x")).encode(), "t.csv").frame
    assert [*map(str, sent)] == ["A"]
    assert set(frame["blade"]) == {"B"}
    assert np.array_equal(frame.index, range(12))


@pytest.mark.filterwarnings("ignore::bladegeom.BladegeomWarning")
def test_of_two_thousand_blades_every_bad_one_is_named_and_no_good_one_lost(tmp_path):
    damage = ("x1", "#VALUE!", "0.1.2", "nan", "--3", "1e999")
    teeth, bad = 12, {f"K-{number:04d}" for number in range(7, 2000, 20)}
    rows = ["blade,tooth,reading_mm,teeth,ring_radius_mm"]
    for number in range(2000):
        name = f"K-{number:04d}"
        for tooth in range(1, teeth + 1):
            cell = f"{0.05 * np.cos(2 * np.pi * (tooth - 1) / teeth + number):.3f}"
            if name in bad and tooth == 1 + number % teeth:
                cell = damage[number // 20 % len(damage)]
            rows.append(f"{name},{tooth},{cell},{teeth},100")
    table = tmp_path / "day.csv"
    table.write_text("\n".join(rows) + "\n")
    batch = bg.read_blades(table)
    assert {fault.blade for fault in batch.refused} == bad
    assert all(fault.row and fault.column and fault.value for fault in batch.refused)
    assert len(batch.readings) == 1900
    frame = bg.read_table(table)
    assert frame.attrs["refused"] == batch.refused
    answers = bg.fit_table(frame)
    assert set(answers["blade"]) == {f"K-{number:04d}" for number in range(2000)} - bad
