"""The reading sheet: what is on the paper, where, and the table that belongs to it."""

from __future__ import annotations

import csv
import io
import math
import re
from functools import cache
from itertools import combinations

import numpy as np
import pypdf
import pytest
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.patches import Rectangle
from written import run, save

import bladegeom as bg
from bladegeom.draw.page import PAPERS

SIZES = [(24, 1), (40, 2), (96, 2), (7, 3), (250, 1)]
EVERYTHING = {
    "unit": "thou",
    "ring_radius": "4.5 in",
    "graduation": "0.5 thou",
    "surface": "teeth",
    "side": "left",
    "touch_deg": -3.5,
}


@cache
def blank(teeth, turns, paper):
    return bg.reading_sheet(teeth, turns=turns, paper=paper)


def full_sheet(paper="a4", **more):
    blade = bg.Blade(
        96,
        name="an invented blade with quite a long name, the third of its kind",
        diameter="12 in",
        numbered="counterclockwise",
    )
    return bg.reading_sheet(blade, turns=2, paper=paper, **(EVERYTHING | more))


def boxes_of(ax):
    """Name -> (left, top, right, bottom) in mm, of the boxes on a page to write or tick in."""
    found = {}
    for patch in ax.patches:
        assert isinstance(patch, Rectangle)
        (left, top), wide, high = patch.get_xy(), patch.get_width(), patch.get_height()
        name = patch.get_gid()
        while name in found:
            name += "'"
        found[name] = (left, top, left + wide, top + high)
    return found


def reading_boxes(pages):
    """Name -> (page, box) of the boxes for readings, in the order in which they were drawn."""
    return {
        name: (number, box)
        for number, ax in enumerate(pages)
        for name, box in boxes_of(ax).items()
        if name.startswith("turn")
    }


def texts_of(ax):
    figure = ax.get_figure(root=True)
    return [text for text in (*figure.texts, *ax.texts) if text.get_text()]


def words_of(pages):
    return " ".join(text.get_text() for ax in pages for text in texts_of(ax))


def text_boxes(ax):
    """(words, left, top, right, bottom) in mm of every text on a page."""
    figure = ax.get_figure(root=True)
    figure.dpi = 1000  # At the screen's own size its grid would round every letter.
    renderer = RendererAgg(1, 1, figure.dpi)
    per_dot = 25.4 / figure.dpi
    high = figure.get_figheight() * 25.4
    found = []
    for text in texts_of(ax):
        box = text.get_window_extent(renderer)
        left, right = box.x0 * per_dot, box.x1 * per_dot
        found.append(
            (text.get_text(), left, high - box.y1 * per_dot, right, high - box.y0 * per_dot)
        )
    return found


def overlap(one, other, slack=0.0):
    return (
        one[0] < other[2] - slack
        and other[0] < one[2] - slack
        and one[1] < other[3] - slack
        and other[1] < one[3] - slack
    )


def ticked(pages):
    """What is ticked: the boxes on which crosses are drawn."""
    crossed = set()
    for ax in pages:
        boxes = boxes_of(ax)
        for line in ax.lines:
            if line.get_label() == "ticked":
                x, y = float(np.mean(line.get_xdata())), float(np.mean(line.get_ydata()))
                crossed |= {
                    name
                    for name, (left, top, right, bottom) in boxes.items()
                    if left < x < right and top < y < bottom
                }
    return crossed


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(("teeth", "turns"), SIZES)
def test_every_tooth_has_a_box_in_writing_order_and_tooth_1_has_one_more(teeth, turns, paper):
    pages = blank(teeth, turns, paper)
    boxes = reading_boxes(pages)
    expected = [
        f"turn {turn} tooth {tooth}"
        for turn in range(1, turns + 1)
        for tooth in (*range(1, teeth + 1), "1 again")
    ]
    assert list(boxes) == expected
    # Writing order: down a column, then the next to the right; then on to the next page.
    for turn in range(1, turns + 1):
        places = [
            (number, box[0], box[1])
            for name, (number, box) in boxes.items()
            if name.startswith(f"turn {turn} ")
        ]
        assert places == sorted(places)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(("teeth", "turns"), SIZES)
def test_boxes_are_large_enough_for_a_pencil_and_overlap_nothing(teeth, turns, paper):
    for ax in blank(teeth, turns, paper):
        boxes = boxes_of(ax)
        for name, (left, top, right, bottom) in boxes.items():
            if name.startswith("turn"):
                assert right - left >= 18
                assert bottom - top >= 7
        for (_, one), (_, other) in combinations(boxes.items(), 2):
            assert not overlap(one, other)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(
    "pages", [full_sheet, lambda paper: bg.reading_sheet(101, turns=2, paper=paper)]
)
def test_nothing_leaves_the_paper_or_lies_upon_anything_else(pages, paper):
    wide, high = PAPERS[paper]
    for ax in pages(paper=paper):
        boxes = boxes_of(ax)
        texts = text_boxes(ax)
        for left, top, right, bottom in [*boxes.values(), *(box for _, *box in texts)]:
            assert left >= 11.5
            assert top >= 8
            assert right <= wide - 11.5
            assert bottom <= high - 9
        for line in ax.lines:
            assert min(line.get_xdata()) >= 11.9
            assert max(line.get_xdata()) <= wide - 11.9
        for words, *box in texts:
            for name, other in boxes.items():
                assert not overlap(box, other, 0.05), (words, name)
        for (words, *one), (others, *other) in combinations(texts, 2):
            assert not overlap(one, other, 0.4), (words, others)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_axes_are_millimetres_on_the_paper(paper):
    (ax,) = bg.reading_sheet(24, paper=paper)
    size = ax.get_figure(root=True).get_size_inches() * 25.4
    assert size == pytest.approx(PAPERS[paper])
    assert ax.get_window_extent().size / ax.get_figure(root=True).dpi * 25.4 == pytest.approx(size)
    corners = ax.transData.transform([(0, 0), PAPERS[paper]])
    assert np.abs(np.diff(corners, axis=0)[0]) / ax.get_figure(
        root=True
    ).dpi * 25.4 == pytest.approx(size)


def test_the_number_beside_a_box_is_that_of_its_tooth():
    (ax,) = bg.reading_sheet(24)
    texts = text_boxes(ax)
    for name, (left, top, _, bottom) in boxes_of(ax).items():
        if not name.startswith("turn"):
            continue
        beside = [
            words
            for words, _, text_top, right, text_bottom in texts
            if 0 < left - right < 3 and text_top < (top + bottom) / 2 + 2 and text_bottom > top + 1
        ]
        tooth = name.removeprefix("turn 1 tooth ")
        assert " ".join(beside) == tooth


def test_it_asks_for_what_the_fit_needs_to_know():
    pages = bg.reading_sheet(40, turns=2)
    words = words_of(pages)
    for asked in (
        *("blade", "teeth", "date", "saw, arbor", "read by", "diameter", "ring radius"),
        *("graduation", "readings in", "stylus on the", "side", "touched spot"),
        *("tooth numbers run", "Turn 1", "Turn 2", "blade turned", "notes", "tooth 1 again"),
    ):
        assert asked in words, asked
    ticks = {name.rstrip("'").removeprefix("tick ") for ax in pages for name in boxes_of(ax)}
    assert ticks >= {
        *("mm", "in", "thou", "um", "plate", "teeth", "left", "right"),
        *("clockwise", "counterclockwise", "forward", "backward"),
    }
    assert not ticked(pages)


def test_what_is_known_is_printed_and_ticked():
    pages = full_sheet()
    assert {name.rstrip("'") for name in ticked(pages)} == {
        *("tick thou", "tick teeth", "tick left", "tick counterclockwise"),
    }
    words = words_of(pages)
    for known in ("long name", "304.8 mm (12 in)", "114.3 mm (4.5 in)", "0.5 thou", "-3.5"):
        assert known in words, known


def test_a_side_in_words_of_ones_own_is_written_on_its_line():
    pages = bg.reading_sheet(24, side="toward the fence")
    assert "toward the fence" in words_of(pages)
    assert not ticked(pages)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(("teeth", "turns", "count"), [(40, 2, 1), (96, 1, 1), (96, 2, 2)])
def test_there_are_as_many_pages_as_are_needed(teeth, turns, count, paper):
    assert len(blank(teeth, turns, paper)) == count


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_each_page_has_true_size_name_number_and_cautions(paper, tmp_path):
    pages, count = bg.reading_sheet(96, name="R-7", turns=2, paper=paper), 2
    bg.save_chart(pages, tmp_path / "s.pdf")
    made = pypdf.PdfReader(tmp_path / "s.pdf").pages
    assert len(made) == count
    for number, page in enumerate(made, start=1):
        box = page.mediabox
        assert [float(side) / 72 * 25.4 for side in (box.width, box.height)] == pytest.approx(
            PAPERS[paper], abs=0.05
        )
        text = page.extract_text()
        assert f"page {number} of {count}" in text
        assert "R-7" in text
        assert "Unplug the saw" in text
        assert "licensed practice" in text


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: bg.reading_sheet(1), "whole number of teeth from 2 to 1000"),
        (lambda: bg.reading_sheet(40, turns=0), "turns from 1 to 20"),
        (lambda: bg.reading_sheet(40, turns=1.5), "turns from 1 to 20"),
        (lambda: bg.reading_sheet(40, paper="a3"), "choose a4 or letter"),
        (lambda: bg.reading_sheet(40, unit="cm"), "write mm, in, thou or um"),
        (lambda: bg.reading_sheet(40, colour="red"), "colour is not a known fact"),
        (lambda: bg.reading_sheet(40, surface="wood"), "write plate or teeth"),
        (lambda: bg.reading_sheet(bg.Blade(40), diameter="250 mm"), "state it in the Blade"),
        (lambda: bg.reading_sheet(bg.Blade(40), name="A"), "state it in the Blade"),
        (
            lambda: bg.reading_sheet(40, diameter="200 mm", ring_radius="110 mm"),
            "is larger than the blade's",
        ),
    ],
)
def test_what_cannot_be_is_refused(make, says):
    with pytest.raises(bg.RefusedError, match=re.escape(says)):
        make()


# The command


@pytest.mark.parametrize("ending", ["pdf", "svg", "png"])
def test_the_command_draws_it(tmp_path, ending):
    target = tmp_path / f"sheet.{ending}"
    ran = run("sheet", "--teeth", "40", "--turns", "2", "--paper", "letter", "-o", target)
    assert (ran.status, ran.out, ran.err) == (0, f"wrote {target}\n", "")
    assert target.stat().st_size > 5000
    assert [one.name for one in tmp_path.iterdir()] == [target.name]


def filled(path, read, *, last=True):
    """Fill the empty table as a careful person would, and return the readings by turn."""
    rows = list(csv.DictReader(io.StringIO(path.read_text("utf-8"))))
    (column,) = [name for name in rows[0] if name.startswith("reading_")]
    for row in rows:
        assert row[column] == ""
        row[column] = f"{read(int(row.get('turn', 1)), int(row['tooth'])):.4f}"
    if not last:
        rows[-1][column] = ""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, rows[0].keys(), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    save(path, out.getvalue())
    return rows


@pytest.mark.parametrize("turns", [1, 2])
@pytest.mark.parametrize("last", [True, False])
def test_the_empty_table_is_taken_by_fit_once_it_is_filled_in(tmp_path, turns, last):
    target = tmp_path / "R-7.pdf"
    facts = [
        *("--diameter", "10in", "--ring-radius", "4.125in", "--graduation", "0.5thou"),
        *("--fact", "numbered=clockwise", "--fact", "surface=plate"),
        *("--fact", "side=left, by the fence", "--fact", "pitch_pattern=1 1 1 1.5"),
        *("--fact", "touch_deg=-2.5", "--unit", "thou"),
    ]
    ran = run("sheet", "--teeth", "40", "--turns", str(turns), *facts, "-o", target, "--csv")
    table = tmp_path / "R-7.csv"
    assert (ran.status, ran.out) == (0, f"wrote {target}\nwrote {table}\n")

    def read(turn, tooth):
        return 3 * math.cos(2 * math.pi * (tooth - 8) / 40) + turn + 0.2 * (tooth % 3)

    rows = filled(table, read, last=last)
    assert len(rows) == 41 * turns
    fit = run("fit", table, "--json")
    assert (fit.status, fit.err) == (0, "")
    (answer,) = fit.json["blades"]
    assert (answer["blade"], answer["teeth"], answer["unit"]) == ("R-7", 40, "thou")
    assert answer["readings"] == 40 * turns
    readings = bg.read_blade(table)
    assert readings.closing.sum() == turns - (not last)
    assert readings.blade == bg.Blade(
        40,
        diameter="10 in",
        numbered="clockwise",
        pitch_pattern=(1, 1, 1, 1.5),
        name="R-7",
    )
    assert readings.ring_radius_mm == pytest.approx(4.125 * 25.4)
    assert readings.graduation == pytest.approx(0.5)
    assert (readings.touch_deg, readings.side) == (-2.5, "left, by the fence")
    first = readings.reading[readings.turn == 1][:40]
    assert first == pytest.approx([read(1, tooth) for tooth in range(1, 41)], abs=1e-4)


def test_the_table_goes_where_it_is_told_and_bears_the_blade_s_name(tmp_path):
    table = tmp_path / "other.csv"
    ran = run(
        *("sheet", "--teeth", "12", "--unit", "mm", "--name", "Ü, 7"),
        *("-o", tmp_path / "s.pdf", "--csv", table),
    )
    assert ran.status == 0
    filled(table, lambda _, tooth: 0.1 * math.cos(tooth))
    assert bg.read_blade(table).blade.name == "Ü, 7"


def test_existing_files_are_not_written_over(tmp_path):
    sheet, table = tmp_path / "s.pdf", tmp_path / "s.csv"
    options = ["sheet", "--teeth", "12", "--unit", "mm", "-o", sheet, "--csv"]
    for old in (sheet, table):
        old.write_bytes(b"months of work")
        ran = run(*options)
        assert (ran.status, ran.out) == (2, "")
        assert f"{old} is there already, and is n" in ran.err
        assert [one.read_bytes() for one in tmp_path.iterdir()] == [b"months of work"]
        old.unlink()
    assert run(*options).status == 0


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--csv"], "the unit of the readings is not stated"),
        (["--csv", "no/such/t.csv", "--unit", "mm"], "there is no folder no/such"),
        (["--turns", "99"], "give a whole number of turns from 1 to 20"),
        (["--fact", "pitch_pattern=1 2 3 4 5"], "does not fit"),
        (["--ring-radius", "5in", "--diameter", "200mm"], "is larger than the blade's"),
    ],
)
def test_what_cannot_be_drawn_leaves_no_file(tmp_path, options, says):
    ran = run("sheet", "--teeth", "12", "-o", tmp_path / "s.pdf", *options)
    assert (ran.status, ran.out) == (2, "")
    assert says in ran.err
    assert not list(tmp_path.iterdir())


def test_several_pages_need_a_pdf(tmp_path):
    ran = run("sheet", "--teeth", "96", "--turns", "2", "-o", tmp_path / "s.svg")
    assert ran.status == 2
    assert "2 pages do not fit into one .svg file; name a .pdf file" in ran.err
    assert not list(tmp_path.iterdir())


def test_the_command_explains_itself():
    ran = run("sheet", "--help")
    assert ran.out.startswith("usage: bladegeom sheet")
    assert "needs --unit" in ran.out
    assert "None" not in ran.out
