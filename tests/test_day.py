"""A day's file to print: the first page, whose sheets come when, and that they are those drawn."""

from __future__ import annotations

import io
import re
from datetime import date

import numpy as np
import pytest
from fits import check_fits, words_of
from matplotlib.figure import Figure
from pypdf import PdfReader
from shop_days import BAD, GOOD, LIMITS
from test_labels import LONG, TABLE, row_of
from written import run, save, sheet, wave

import bladegeom as bg
from bladegeom.draw._join import join, pages_in
from bladegeom.draw._pdf import write_pdf
from bladegeom.draw._style import own_style, standard_fonts
from bladegeom.draw.day import by_customer, day_pages
from bladegeom.draw.reading_table import reading_pages
from bladegeom.shop.condition import ACTIONS

DAY = date(2026, 11, 27)


def written(*figures: Figure):
    file = io.BytesIO()
    write_pdf(figures, file, {"Creator": "a test", "CreationDate": None})
    return file.getvalue()


def figure(words, size=(4, 3)):
    made = Figure(figsize=size)
    made.text(0.1, 0.5, words)
    ax = made.add_axes((0.1, 0.1, 0.3, 0.3))
    ax.plot([1, 2, 3], "o-", alpha=0.5)
    return made


# Joining


def test_joined_files_hold_the_same_pages_in_their_order():
    parts = [written(figure("one")), written(figure("two"), figure("three", (5, 2)))]
    with standard_fonts(), own_style():
        parts.append(written(figure("fo\u00fcr 5 0 R")))
    assert [*map(pages_in, parts)] == [1, 2, 1]
    file = io.BytesIO()
    join(parts, file)
    pages = PdfReader(file, strict=True).pages
    own = [page for part in parts for page in PdfReader(io.BytesIO(part)).pages]
    assert len(pages) == len(own) == 4
    for page, alone in zip(pages, own, strict=True):
        assert page.extract_text() == alone.extract_text()
        assert page.mediabox == alone.mediabox
        assert page.get_contents().get_data() == alone.get_contents().get_data()
        fonts, others = (one["/Resources"]["/Font"] for one in (page, alone))
        assert [font["/BaseFont"] for font in fonts.values()] == [
            font["/BaseFont"] for font in others.values()
        ]
    again = io.BytesIO()
    join(parts, again)
    assert again.getvalue() == file.getvalue()


# The first page


def rows_of_a_day():
    """Rows of a queue, the worst first, and one that was refused."""
    whose = ["Quay", "Birch", "", "birch & co", "Quay", "Birch"]
    how = [{}, {"size": 0.2}, {"minus": True}, {"eye": "crack at tooth 7"}, {"size": 0.15}, {}]
    rows = [
        row_of(name=f"A-{at}", customer=one, **stated)
        for at, (one, stated) in enumerate(zip(whose, how, strict=True))
    ]
    rows.sort(key=lambda row: ACTIONS.index(row["action"]))
    why = "day.csv, row 66: tooth 41 on a 40-tooth blade; check tooth and teeth."
    left = {"action": "refused", "outcome": "refused", "blade": "B-12", "reasons": why}
    return rows, [left | {"customer": "Birch", "date": "2026-11-27", "file": "day.csv"}]


def drawn(rows, left, lengths=None, **how):
    how = {"shop": "A shop", "paper": "a4", "date": DAY} | how
    return day_pages(rows, left, lengths or [1] * len(rows), **how)


def lines_of(ax):
    """The words of a page line by line, from left to right."""
    lines = {}
    for text in words_of(ax):
        x, y = text.get_position()
        lines.setdefault(round(y, 3), []).append((x, text.get_text()))
    return [" | ".join(words for _, words in sorted(lines[y])) for y in sorted(lines, reverse=True)]


def test_the_first_page_has_totals_and_what_must_not_go_back_first():
    rows, left = rows_of_a_day()
    (ax,) = drawn(rows, left, [1 + (row["blade"] == "A-5") for row in rows])
    lines = lines_of(ax)
    # Birch has pages 2 and 3 to 4, birch & co 5, Quay 6 and 7, nobody 8.
    table = [one for one in lines if re.match(r"(Birch|birch & co|Quay|no customer|all)\b", one)]
    assert table == [
        "Birch | 1 | 1 | 1 | 3 | 2",
        "birch & co | 1 | 1 | 5",
        "Quay | 1 | 1 | 2 | 6",
        "no customer stated | 1 | 1 | 8",
        "all | 1 | 1 | 2 | 1 | 2 | 7",
    ]
    said = " / ".join(lines)
    never, again = said.index("Must not go back on a saw"), said.index("read again")
    assert (
        "6 blades judged of 3 customers, 3 must not go back on a saw, 1 not decided, 1 not" in said
    )
    places = [
        said.index(one) for one in ("A-3 | birch & co | out of service: crack at", "A-1 | Birch")
    ]
    assert never < places[0] < places[1] < again
    assert re.search(r"A-1 \| Birch \| clean, remount.*wobble .* limit 0.1 mm", said)
    assert again < said.index("A-2") < said.index("B-12 | Birch | day.csv, row 66")
    assert "| p. 5" in next(one for one in lines if one.startswith("A-3"))
    assert "A-0" not in said  # Fit for use: its sheet follows.
    check_fits(ax)


def test_many_customers_and_blades_go_onto_more_pages_and_the_numbers_follow():
    row = row_of(0.2, customer=LONG, name="A" * 60)
    rows = [row | {"customer": f"{place:02} {LONG}"} for place in range(45)]
    reasons = " ".join([LONG] * 500)  # Every row of its table is wrong.
    left = [row | {"action": "refused", "outcome": "refused", "reasons": reasons, "customer": ""}]
    pages = drawn(rows, left, paper="letter")
    assert len(pages) > 2
    numbers = [text.get_text() for ax in pages for text in words_of(ax) if text.get_ha() == "right"]
    first = len(pages) + 1
    assert {str(first + place) for place in range(45)} <= {*numbers}
    assert {f"p. {first + place}" for place in range(45)} <= {*numbers}
    assert f"p. {first + 45}" not in numbers
    for ax in pages:
        check_fits(ax)
        assert all(
            caution in " ".join(" ".join(lines_of(ax)).split()) for caution in bg.CAUTIONS[:1]
        )


def test_a_day_without_customers_has_one_line_of_totals():
    rows = [row_of(customer=""), row_of(customer="")]
    said = lines_of(drawn(rows, [])[0])
    assert "all | 2 | 2 | 2" in said
    assert not [
        one
        for one in said
        if "no customer" in one or "must not go back on a saw" in one.split(" | ")
    ]


def test_sheets_go_by_customer_and_within_as_the_queue():
    rows, _ = rows_of_a_day()
    ordered = [(rows[place]["customer"], rows[place]["blade"]) for place in by_customer(rows)]
    assert [one for one, _ in ordered] == ["Birch", "Birch", "birch & co", "Quay", "Quay", ""]
    assert [one for _, one in ordered][:2] == ["A-1", "A-5"]


# The readings


def taken(teeth, turns, seed=1):
    rng = np.random.default_rng(seed)
    return bg.Readings(
        bg.Blade(teeth, name="A-40"),
        np.round(rng.normal(0, 0.1, (teeth + 1) * turns), 2),
        unit="mm",
        tooth=[*range(1, teeth + 1), 1] * turns,
        turn=np.repeat(np.arange(turns) + 1, teeth + 1),
    )


@pytest.mark.parametrize(
    ("teeth", "turns", "paper", "pages"),
    [
        (40, 2, "a4", 1),
        (120, 2, "letter", 1),
        (24, 9, "a4", 1),
        (240, 3, "a4", 2),
        (24, 20, "a4", 1),
    ],
)
def test_every_reading_stands_in_the_table_beside_its_tooth(teeth, turns, paper, pages):
    readings = taken(teeth, turns)
    made = reading_pages([("", readings)], paper=paper, date=DAY)
    assert len(made) <= pages
    found = {}
    for ax in made:
        if teeth * turns < 600:
            check_fits(ax)
        assert min(text.get_fontsize() for text in words_of(ax)) >= (7 if turns < 12 else 4.5)
        rows = {}
        for text in words_of(ax):
            if text.get_ha() == "right" and text.get_text() not in (DAY.isoformat(), "tooth"):
                x, y = text.get_position()
                rows.setdefault(round(y, 4), []).append((x, text.get_text()))
        for row in rows.values():
            words = [one for _, one in sorted(row)]
            if words[0].startswith(("turn", "readings")):
                continue
            for at in range(0, len(words), turns + 1):
                found[words[at]] = words[at + 1 : at + 1 + turns]
    by_turn = readings.reading.reshape(turns, teeth + 1).T
    assert len(found) == teeth + 1
    for tooth, read in enumerate(by_turn, start=1):
        key = str(tooth) if tooth <= teeth else "1 again"
        assert found[key] == [f"{one + 0.0:.2f}" for one in read]


def test_a_reading_that_was_not_taken_leaves_its_place_empty():
    read = bg.Readings(bg.Blade(6), [0.1, 0.25, -0.5, 1, 2], unit="thou", tooth=[1, 2, 3, 5, 6])
    said = " ".join(lines_of(reading_pages([("now", read)], paper="a4", date=DAY)[0]))
    assert "now, in thou" in said
    assert "2 | 0.25" in said
    assert "4 |" not in said


# A day's run


def batch(out, path, limits="", **how):
    how = {"date": DAY, "shop": "A shop"} | how
    return bg.run_batch(
        [path], bg.read_limits(save(out.parent / "shop.toml", LIMITS + limits)), out, **how
    )


def table_of(path, blades):
    """A table of readings of blades: name, customer, wobble in mm, and what was done."""
    tables = [
        sheet(wave(24, size), blade=name, customer=whose, done=done, **SIZES)
        for name, whose, size, done in blades
    ]
    return save(path, [tables[0][0], *(row for table in tables for row in table[1:])])


SIZES = {"ring_radius_mm": 100, "diameter_mm": 250}
BLADES = [
    ("good", "Quay", GOOD, "levelled"),
    ("bad", "Quay", BAD, "levelled"),
    ("own", "", GOOD, ""),
    ("fine", "Birch", GOOD, "cleaned"),
]


def words_in(path):
    return [" ".join(page.extract_text().split()) for page in PdfReader(path).pages]


def sheets_of(done, out):
    """What the pages of each blade's sheet say."""
    return {row["blade"]: words_in(out / row["sheet"]) for row in done.rows}


def test_one_run_prints_the_day_and_the_labels_and_the_same_run_the_same(tmp_path):
    table, out = table_of(tmp_path / "day.csv", BLADES), tmp_path / "out"
    done = batch(out, table, limits=TABLE, with_readings=True)
    assert [path.name for path in done.files[:2]] == ["day.pdf", "labels.pdf"]
    said = words_in(out / "day.pdf")
    assert len(said) == 1 + 2 * len(BLADES)
    for place, name in enumerate(["fine", "bad", "good", "own"]):
        sheets = sheets_of(done, out)[name]
        assert said[1 + 2 * place : 3 + 2 * place] == sheets
        assert "readings as written down" in sheets[1]
    assert "Must not go back on a saw bad Quay" in said[0]
    assert "p. 4" in said[0]
    (labels,) = words_in(out / "labels.pdf")
    assert labels.index("fine") < labels.index("bad") < labels.index("good") < labels.index("own")
    assert labels.count("DO NOT USE") == 1
    before = {path.name: path.read_bytes() for path in done.files[:2]}
    again = batch(out, table, limits=TABLE, with_readings=True)
    assert (again.drawn, again.kept) == (0, 4)
    assert {path.name: path.read_bytes() for path in again.files[:2]} == before
    assert not (out / "earlier").exists()
    batch(out, table)  # Without a sheet of labels, those of the run before are not left.
    assert not (out / "labels.pdf").exists()
    assert (out / "earlier" / "labels.pdf").read_bytes() == before["labels.pdf"]


def test_before_is_drawn_or_the_sheet_says_why_not_and_other_readings_make_another(tmp_path):
    table, out = table_of(tmp_path / "day.csv", BLADES[:2]), tmp_path / "out"
    first = table_of(tmp_path / "was.csv", [("good", "Quay", 0.1, ""), ("bad", "Quay", BAD, "")])
    text = first.read_text("utf-8")
    lines = [one.replace(",100,", ",90,") if "bad" in one else one for one in text.split("\n")]
    first.write_text("\n".join(lines), "utf-8")
    sheets = sheets_of(batch(out, table, before=[first], with_readings=True), out)
    good, bad = sheets["good"], sheets["bad"]
    assert "triangles: before" in good[0]
    assert "before, in mm" in good[1]
    assert "What was done levelled" in good[0]
    assert "Before and after: not compared" in bad[0]
    assert "the ring radius is 100 mm, not 90 mm" in bad[0]
    assert "triangles" not in bad[0]
    assert batch(out, table, before=[first], with_readings=True).drawn == 0
    moved = [f"{float(one) + 0.05:.3f}" for one in wave(24, 0.1)]  # The same change, other figures.
    save(first, sheet(moved, blade="good", customer="Quay", **SIZES))
    assert batch(out, table, before=[first], with_readings=True).drawn == 2
    assert batch(out, table, before=[first]).drawn == 2


def test_labels_that_do_not_fit_their_paper_stop_the_run_before_anything_is_drawn(tmp_path):
    table = table_of(tmp_path / "day.csv", BLADES)
    with pytest.raises(bg.RefusedError, match="mm wide"):
        batch(tmp_path / "out", table, limits=TABLE.replace("columns = 3", "columns = 30"))
    assert not (tmp_path / "out").exists()
    limits = save(tmp_path / "shop.toml", LIMITS)
    ran = run("batch", table, "--limits", limits, "--out", tmp_path / "out", "--first-label", "3")
    assert ran.status == 2
    assert "[labels]" in ran.err
    limits = save(tmp_path / "shop.toml", LIMITS + TABLE)
    options = ("--limits", limits, "--out", tmp_path / "out", "--first-label", "21")
    assert run("batch", table, *options).status == 0
    assert len(words_in(tmp_path / "out" / "labels.pdf")) == 2
