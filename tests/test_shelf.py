"""The blade shelf: a folder of tables in, a sorted list and a page for the wall out."""

from __future__ import annotations

import codecs
import io
import json
import math
import re
import warnings
from datetime import date

import openpyxl
import pypdf
import pytest
from fits import check_fits

import bladegeom as bg
from bladegeom.draw._fonts import escaped
from bladegeom.draw.card import shelf_page
from bladegeom.draw.printed import CAUTIONS
from bladegeom.fit.answer import blade_answer
from bladegeom.shop.shelf import _HEADS, shelf
from bladegeom.tables.folder import read_folder

DITHER = (0.004, -0.003, 0.001, -0.005, 0.003, 0.002, -0.004, 0.002)
"""Millimetres added to the readings, so that they scatter as readings do."""


def rows(amplitude, *, teeth=24, near=5, name=None, facts=()):
    """Rows of one blade; without amplitude only the scatter is left."""
    lines = []
    for tooth in range(1, teeth + 1):
        height = amplitude * math.cos(2 * math.pi * (tooth - near) / teeth)
        cell = f"{height + DITHER[(tooth * tooth) % 8]:.3f}"
        lines.append([*([name] if name else []), str(tooth), cell, *facts])
    return lines


def table(*blades: list[list[str]], head="blade,tooth,reading_mm,teeth,ring_radius_mm"):
    return "\n".join([head, *(",".join(cells) for blade in blades for cells in blade)]) + "\n"


def whole(amplitude, name, ring="100", **how):
    return rows(amplitude, name=name, facts=("24", ring), **how)


def in_inches(amplitude, name, **how):
    cells = whole(amplitude, name, **how)
    head = "blade,tooth,reading_in,teeth,ring_radius_mm"
    return table([[*c[:2], f"{float(c[2]) / 25.4:.5f}", *c[3:]] for c in cells], head=head)


def workbook(*lines: list[object]):
    book, held = openpyxl.Workbook(), io.BytesIO()
    for line in lines:
        book.active.append(line)
    book.save(held)
    return held.getvalue()


@pytest.fixture
def put(tmp_path):
    folder = tmp_path / "shop"
    folder.mkdir()

    def write(**files):
        for name, held in files.items():
            data = held if isinstance(held, bytes) else held.encode()
            (folder / name.replace("__", ".")).write_bytes(data)
        return folder

    return write


def names(listed):
    return [row.name for row in listed.rows]


def check_pages(drawn):
    for ax in drawn:
        check_fits(ax)


def texts(ax):
    return [text.get_text() for text in ax.figure.texts]


# The folder


def test_the_demo_folder_lists_every_sound_blade():
    listed = shelf("data_demo")
    assert {"A-40", "C-50", "R-24", "X-80", "F-60", "007", "B-13", "19", "K 5", "0031"} <= set(
        names(listed)
    )
    [fault] = [one for one in listed.refused if one.blade == "B-12"]
    assert (fault.file, fault.row, fault.value) == ("shelf_readings.csv", 66, "41")
    assert fault.cure
    assert "shelf_readings.csv: blade B-12, row 66" in str(listed)


def test_the_numbers_are_those_of_the_blade_alone():
    listed = {row.name: row for row in shelf("data_demo").rows}
    alone = bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))
    answer = listed["A-40"].answer
    assert {key: answer[key] for key in blade_answer(alone)} == blade_answer(alone)
    assert answer["file"] == "forty_tooth.csv"
    assert answer["diameter_mm"] == pytest.approx(254)
    assert answer["wobble_tir_low"] == 2 * alone.amplitude_interval().low
    assert answer["wobble_tir_high"] == 2 * alone.amplitude_interval().high
    assert answer["kerf_widening"] == 2 * answer["rim_amplitude"]
    second = bg.read_blades("data_demo/shelf_readings.csv", blades="data_demo/shelf_blades.csv")
    [other] = [one for one in second.readings if one.blade.name == "B-13"]
    assert listed["B-13"].answer["near_deg"] == bg.fit_wobble(other).near_deg


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda at: at / "none", "there is no folder .*; check the name"),
        (lambda at: at, "holds no CSV or XLSX file; put the readings there"),
        (lambda at: (at / "a.csv", (at / "a.csv").write_text("x"))[0], "is a file, not a folder"),
        (lambda at: (at, (at / "b.ods").write_bytes(b"PK"))[0], "b.ods is a spreadsheet.*XLSX"),
        (
            lambda at: (at, (at / "f.csv").write_text("blade,teeth\nA,24\n"))[0],
            "holds no readings of a blade; add a CSV file",
        ),
    ],
    ids=["no folder", "empty", "file", "only a spreadsheet", "only facts"],
)
def test_a_folder_without_blades_is_refused_with_its_cure(make, says, tmp_path):
    with pytest.raises(bg.RefusedError, match=says):
        shelf(make(tmp_path))


def test_where_no_blade_can_be_answered_every_fault_is_said(put):
    folder = put(a__csv="", b__csv=b"tooth,reading_mm\n1,\x81\n")
    with pytest.raises(bg.RefusedError) as refused:
        shelf(folder)
    assert [fault.file for fault in refused.value.faults] == ["a.csv", "b.csv"]
    assert all(str(folder) not in str(fault) for fault in refused.value.faults)


def test_a_bad_file_or_blade_stops_no_other(put):
    folder = put(
        bad__csv=b"tooth,reading_mm\n1,\x81\n",
        money__csv="item,cost\nsaw,3\n",
        ragged__csv="tooth,reading_mm\n1\n",
        shop__csv=table(whole(0.1, "A"), [*whole(0.1, "B")[:1], ["B", "2", "x", "24", "100"]]),
        unnamed__csv=table(whole(0.1, " ")),
    )
    listed = shelf(folder)
    assert names(listed) == ["A"]
    said = {(fault.file, fault.blade, fault.row, fault.value) for fault in listed.refused}
    assert ("bad.csv", None, 2, "byte 0x81") in said
    assert ("money.csv", None, None, "item, cost") in said
    assert ("ragged.csv", None, 2, "1") in said
    assert ("shop.csv", "B", 26 + 1, "x") in said
    assert ("unnamed.csv", None, 2, "") in said
    assert all(fault.cure for fault in listed.refused)


def test_what_cannot_be_fitted_is_listed_with_its_file(put):
    listed = shelf(put(a__csv=table(whole(0.1, "A"), whole(0.1, "few")[:2])))
    assert names(listed) == ["A"]
    assert {(fault.file, fault.blade) for fault in listed.refused} == {("a.csv", "few")}


def test_other_files_and_folders_are_let_be(put):
    folder = put(a__csv=table(whole(0.1, "A")), saw__toml="x", p__png=b"\x89", b__ods=b"PK")
    (folder / ".b.csv").write_text("nothing")
    (folder / "~$open.xlsx").write_bytes(b"nothing")
    (folder / "old.csv").mkdir()
    listed = shelf(folder)
    assert (names(listed), listed.refused) == (["A"], ())
    (note,) = listed.notes
    assert note.startswith("b.ods is a spreadsheet file of another kind and was not read: save it")
    assert "b.ods" in str(listed)


def test_workbooks_and_western_text_are_read_as_files_of_their_own_are(put):
    """What `read_blades` reads of one file, the folder reads too, wide tables included."""
    folder = put(
        a__xlsx=workbook(
            ["blade", "teeth", *[f"t{at}_mm" for at in range(1, 25)]],
            ["W", 24, *[float(cells[1]) for cells in rows(0.1)]],
        ),
        b__csv=table(whole(0.1, "S\u00e4ge")).encode("cp1252"),
        c__csv=table(whole(0.2, "U")).encode("utf-16"),
    )
    found = read_folder(folder)
    assert not found.refused
    for file, readings in found.readings:
        (alone,) = bg.read_blades(folder / file).readings
        assert alone.blade.name == readings.blade.name
        assert alone.reading.tolist() == readings.reading.tolist()
    assert [one.readings.blade.name for one in found.readings] == ["W", "S\u00e4ge", "U"]
    (note,) = found.notes
    assert "b.csv is not UTF-8 text; it was read as cp1252" in note


def test_facts_may_stand_in_a_workbook_or_in_western_text(put):
    facts = "blade,diameter_mm\nS\u00e4ge,300\n".encode("cp1252")
    folder = put(
        a__csv=table(whole(0.1, "A"), whole(0.1, "S\u00e4ge")),
        facts__xlsx=workbook(["blade", "diameter_mm"], ["A", 250]),
        more__csv=facts,
    )
    found = read_folder(folder)
    assert [one.readings.blade.diameter_mm for one in found.readings] == [250, 300]
    assert not found.refused
    (note,) = found.notes
    assert note.startswith("more.csv is not UTF-8")


def test_a_damaged_workbook_stops_no_other(put):
    listed = shelf(put(a__csv=table(whole(0.1, "A")), b__xlsx=b"PK\x03\x04 half"))
    assert names(listed) == ["A"]
    assert [fault.file for fault in listed.refused] == ["b.xlsx"]


def test_a_blade_without_a_name_is_called_as_its_file(put):
    head = "tooth,reading_mm,teeth,ring_radius_mm"
    listed = shelf(put(Nr_7__CSV=table(rows(0.1, facts=("24", "100")), head=head)))
    assert names(listed) == ["Nr_7"]
    assert listed.rows[0].file == "Nr_7.CSV"


def test_the_same_blade_in_two_files_is_listed_twice(put):
    listed = shelf(put(a__csv=table(whole(0.1, "A")), b__csv=table(whole(0.2, "A"))))
    assert [(row.name, row.file) for row in listed.rows] == [("A", "b.csv"), ("A", "a.csv")]
    assert {"A (a.csv)", "A (b.csv)"} <= set(texts(shelf_page(listed)[0]))


@pytest.mark.parametrize("mark", [b"", codecs.BOM_UTF8])
def test_semicolons_and_decimal_commas_are_read(put, mark):
    plain = table(whole(0.1, "A"))
    other = mark + plain.replace(",", ";").replace(".", ",").encode()
    first, second = shelf(put(a__csv=plain, b__csv=other)).rows
    assert first.answer | {"file": ""} == second.answer | {"file": ""}


# Facts in a file apart

BARE = "blade,tooth,reading_mm"


def bare(*blades: str):
    return table(*(rows(0.1, name=name) for name in blades), head=BARE)


def test_a_facts_file_serves_the_readings_beside_it_and_breaks_no_other(put):
    folder = put(
        facts__csv="blade;teeth;ring_radius_mm\nA;24;100\nC;24;101,5\nnone;24;90\n",
        bare__csv=bare("A"),
        C__csv=table(rows(0.1), head="tooth,reading_mm"),
        own__csv=table(whole(0.1, "B")),
    )
    listed = shelf(folder)
    assert listed.refused == ()
    found = {row.name: row.fit.readings.ring_radius_mm for row in listed.rows}
    assert found == {"A": 100, "B": 100, "C": 101.5}
    assert listed.notes == ("facts.csv: no readings of: none",)


def test_facts_in_two_files_add_up(put):
    folder = put(
        a__csv=bare("A"), f__csv="blade,teeth\nA,24\n", g__csv="blade,ring_radius_in\nA,4\n"
    )
    assert shelf(folder).rows[0].fit.readings.ring_radius_mm == pytest.approx(101.6)


@pytest.mark.parametrize(
    ("files", "says"),
    [
        (
            {"f__csv": "blade,teeth\nA,24\n", "g__csv": "blade,teeth\nA,30\n"},
            "teeth is 30 in row 2 of g.csv, but row 2 of f.csv says 24",
        ),
        ({"f__csv": "blade,teeth\nA,24\nA,24\n"}, "f.csv has more than one row for this blade"),
        ({"f__csv": "blade,teeth\nA,many\n"}, "teeth in row 2 of f.csv: 'many' is not a number"),
        ({"f__csv": "blade,teeth\nX,24\n"}, "the number of teeth is not stated"),
    ],
)
def test_facts_that_disagree_or_lack_refuse_their_blade_alone(put, files, says):
    listed = shelf(put(a__csv=bare("A"), b__csv=table(whole(0.1, "B")), **files))
    assert names(listed) == ["B"]
    assert any(says in fault.problem and fault.blade == "A" for fault in listed.refused)
    assert {fault.file for fault in listed.refused} == {"a.csv"}


def test_readings_that_deny_the_facts_file_are_refused(put):
    listed = shelf(
        put(a__csv=table(whole(0.1, "A"), whole(0.1, "B")), f__csv="blade,teeth\nA,30\n")
    )
    assert names(listed) == ["B"]
    assert "row 2 of f.csv says 30" in str(listed.refused[0])


@pytest.mark.parametrize("held", ["blade,teeth,tooth_width\nA,24,3\n", "blade,teeth\n,24\n"])
def test_a_facts_file_at_fault_is_named(put, held):
    listed = shelf(put(b__csv=table(whole(0.1, "B")), f__csv=held))
    assert names(listed) == ["B"]
    assert [fault.file for fault in listed.refused] == ["f.csv"]


def test_a_fault_in_the_facts_of_a_blade_not_read_is_not_lost(put):
    listed = shelf(put(b__csv=table(whole(0.1, "B")), f__csv="blade,teeth\nZ,many\n"))
    assert [(fault.file, fault.blade) for fault in listed.refused] == [("f.csv", "Z")]


# Order


def test_the_worst_is_first_and_what_has_no_angle_last(put):
    loose = table(
        whole(0.05, "small"), whole(0.0, "flat"), whole(0.2, "large"), whole(0.005, "near flat")
    )
    no_ring = table(*(whole(size, f"no ring {size}", ring="") for size in (0.1, 0.3, 0.0, 0.2)))
    listed = shelf(put(a__csv=no_ring, b__csv=loose, c__csv=in_inches(0.15, "inch")))
    assert names(listed)[:3] == ["large", "inch", "small"]
    assert names(listed)[-4:] == ["no ring 0.3", "no ring 0.2", "no ring 0.1", "no ring 0.0"]
    worst = [row.answer["worst_squareness_deg"] for row in listed.rows]
    assert worst[:-4] == sorted(worst[:-4], reverse=True)
    assert worst[-4:] == [None] * 4
    assert {row.answer["unit"] for row in listed.rows} == {"mm", "in"}


def test_people_see_the_lengths_of_a_shelf_in_one_unit(put):
    def shown(words):
        return [re.findall(r"([\d.]+) (mm|in)\b", one) for one in words]

    for few, many, unit in ((0.1, 0.2, "in"), (0.2, 0.1, "mm")):
        inch, mm = in_inches(0.15, "inch"), table(whole(few, "mm"))
        more = in_inches(many, "more") if unit == "in" else table(whole(many, "more"))
        listed = shelf(put(a__csv=inch, b__csv=mm, c__csv=more))
        told = [row[4] for row in listed._table()[1]]
        for row, ((size, its_unit),) in zip(listed.rows, shown(told), strict=True):
            assert its_unit == unit
            true = row.answer["wobble_tir"] * (25.4 if row.answer["unit"] == "in" else 1.0)
            assert float(size) * (25.4 if unit == "in" else 1.0) == pytest.approx(true, rel=0.01)
        (page,) = bg.shelf_page(listed)
        assert set(told) <= {text.get_text() for text in page.figure.texts}


def test_wobbles_in_different_units_are_compared_as_lengths(put):
    no_ring = table(*(whole(size, f"mm {size}", ring="") for size in (0.1, 0.3)))
    listed = shelf(put(a__csv=no_ring, b__csv=in_inches(0.2, "inch", ring="")))
    assert names(listed) == ["mm 0.3", "inch", "mm 0.1"]


def test_an_unresolved_blade_keeps_its_place_and_shows_no_teeth(put):
    tiny = table(
        [[*cells[:2], f"{float(cells[2]) / 100:.5f}", *cells[3:]] for cells in whole(0.1, "tiny")]
    )
    listed = shelf(put(a__csv=table(whole(0.0, "flat")), b__csv=tiny))
    assert names(listed) == ["flat", "tiny"]
    flat = listed.rows[0]
    assert not flat.answer["resolved"]
    assert flat.marks == "any rotation"
    assert flat.ignored == f"< {flat.answer['worst_squareness_deg']:.4f}"
    assert flat.marked == ""


# What it shows


def test_the_table_is_aligned_and_fits_a_terminal(put):
    long = "a blade with a name that goes on and on \u5203\u5203\u5203\u5203\u5203\u5203"
    held = table(whole(0.1, long), whole(0.0, "\u5203 1"), whole(0.2, "B"))
    listed = shelf(put(a_file_with_a_name_that_is_as_long_as_that_of_the_blade__csv=held))
    lines = str(listed).splitlines()
    assert max(map(len, lines)) <= 110
    body = lines[2:6]
    assert body[0].split() == [word for head in _HEADS for word in head.split()]
    # A terminal gives this Han character two columns.
    starts = {at + line[:at].count("\u5203") for line in body[1:] for at in [line.index("a_file")]}
    assert starts == {body[0].index("file")}


def test_warnings_are_counted_and_told_once_with_the_blades_that_they_are_of(put):
    listed = shelf(put(a__csv=table(whole(0.0, "flat")), b__csv=table(whole(0.0, "even"))))
    (words,) = listed.rows[0].fit.warnings
    assert {row.cells("mm")[-2] for row in listed.rows} == {"1"}
    (told,) = listed.warned
    assert told.endswith(words)
    assert all(row.name in told for row in listed.rows)
    good = {"a__csv": table(whole(0.2, "A")), "b__csv": table(whole(0.2, "B"))}
    assert not shelf(put(**good)).warned


def plain(value):
    if isinstance(value, dict):
        return all(type(key) is str and plain(one) for key, one in value.items())
    if isinstance(value, list):
        return all(map(plain, value))
    return value is None or type(value) in (bool, int, float, str)


def test_values_are_plain_and_their_keys_stable():
    held = shelf("data_demo").to_dict()
    assert [*held] == ["blades", "refused"]
    assert plain(held)
    assert json.loads(json.dumps(held, allow_nan=False)) == held
    assert len({tuple(blade) for blade in held["blades"]}) == 1
    assert [*held["refused"][0]] == ["file", "blade", "row", "column", "value", "problem", "cure"]


def test_a_frame_has_one_row_a_blade():
    listed = shelf("data_demo")
    frame = listed.to_frame()
    assert frame["blade"].tolist() == names(listed)
    assert frame["file"].tolist() == [row.file for row in listed.rows]
    assert str(frame["neutral_tooth_1"].dtype) == "Int64"
    assert frame["neutral_tooth_1"].isna().sum() == sum(
        not row.answer["resolved"] for row in listed.rows
    )


def test_html_escapes_names(put):
    shown = shelf(put(a__csv=table(whole(0.1, "<b>&")), z__csv="<i>,x\n1,2\n"))._repr_html_()
    assert "&lt;b&gt;&amp;" in shown
    assert "<b>" not in shown
    assert "<i>" not in shown
    assert shown.count("<tr>") == 2


def test_its_keys_are_those_of_one_blade_and_five_of_its_own():
    known = set(blade_answer(bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))))
    own = {"file", "diameter_mm", "wobble_tir_low", "wobble_tir_high", "kerf_widening"}
    assert set(shelf("data_demo").rows[0].answer) == known | own


# The page


def test_the_page_shows_marks_in_bold_cautions_date_and_what_is_not_listed():
    listed = shelf("data_demo")
    [ax] = shelf_page(listed, title="The shed", date=date(2026, 3, 1))
    drawn = texts(ax)
    assert {"The shed", "2026-03-01", "page 1 of 1", "18  48", "any rotation"} <= set(drawn)
    assert all(row.name in drawn or f"{row.name} *" in drawn for row in listed.rows)
    said = " ".join(" ".join(drawn).split())
    assert "not listed: shelf_readings.csv: blade B-12, row 66" in said
    assert all(caution[:30] in said for caution in CAUTIONS)
    [marks] = [text for text in ax.figure.texts if text.get_text() == "18  48"]
    assert marks.get_weight() == "bold"
    others = [text.get_fontsize() for text in ax.figure.texts if text.get_text() != "The shed"]
    assert marks.get_fontsize() == max(others) > 24


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(("count", "pages"), [(1, 1), (3, 1), (20, 1), (45, 3)])
def test_pages_hold_every_blade_once_and_nothing_is_off_the_paper(
    put, tmp_path, paper, count, pages
):
    held = table(*(whole(0.1 + at / 1000, f"blade {at}") for at in range(count)))
    drawn = shelf_page(shelf(put(a__csv=held)), paper=paper)
    assert len(drawn) == (pages if paper == "letter" or count < 45 else 2)
    shown = [words for ax in drawn for words in texts(ax) if re.fullmatch(r"blade \d+", words)]
    assert sorted(shown) == sorted(f"blade {at}" for at in range(count))
    assert [words for ax in drawn for words in texts(ax) if words.startswith("page ")] == [
        f"page {at} of {len(drawn)}" for at in range(1, len(drawn) + 1)
    ]
    check_pages(drawn)
    bg.save_chart(drawn, tmp_path / "p.pdf")
    assert len(pypdf.PdfReader(tmp_path / "p.pdf").pages) == len(drawn)


def test_much_that_is_refused_goes_on_on_further_pages(put):
    bad = "\n".join(["blade,tooth,reading_mm,teeth", *(f"bad {at},1,x,24" for at in range(60))])
    drawn = shelf_page(shelf(put(a__csv=table(whole(0.1, "A")), b__csv=bad)))
    said = " ".join(" ".join(words) for words in map(texts, drawn))
    assert len(drawn) > 1
    assert all(f"blade bad {at}, row" in said for at in range(60))
    check_pages(drawn)


def test_long_and_foreign_names_fit(put):
    long = "a very long name of a blade that nobody would print on a label 12345"
    held = table(whole(0.1, long), whole(0.2, "\u03a9-\u5203 \u4e94"), whole(0.3, "x" * 80))
    bad = "blade,tooth,reading_mm,teeth\n\u5203\u5203,1,x,24\n"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Some machines have no font with these letters.
        drawn = shelf_page(shelf(put(a__csv=held, b__csv=bad)))
        check_pages(drawn)
    said = " ".join(" ".join(texts(drawn[0])).split())
    assert long in said
    assert escaped("blade \u5203\u5203, row 2") in said


def test_a_folder_is_read_in_the_order_of_names(put):
    found = read_folder(put(b__csv=table(whole(0.1, "B")), a__csv=table(whole(0.1, "A"))))
    assert [one.file for one in found.readings] == ["a.csv", "b.csv"]
