"""Letters of a PDF: all are there, as wide as Matplotlib sets them, in few fonts."""

from __future__ import annotations

from datetime import date

import numpy as np
import pypdf
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

import bladegeom as bg
from bladegeom.draw._axes import Chart
from bladegeom.draw._fonts import SIMPLE
from bladegeom.draw._pdf import _face, _standard_width
from bladegeom.draw._style import own_style, standard_fonts
from bladegeom.draw.page import Page, save_charts

LETTERS = "".join(sorted(one for one in SIMPLE if one.isprintable() and one != " "))
LINES = [LETTERS[at : at + 30] for at in range(0, len(LETTERS), 30)]


def written(path, lines, standard):
    """Write lines on a page, and return what the file says and which fonts it has."""
    with standard_fonts() if standard else own_style():
        page = Page.blank("a4")
        page.lines(20.0, 40.0, lines, 10.0, 6.0, weight="bold")
        page.lines(20.0, 120.0, lines, 10.0, 6.0)
        with own_style():
            save_charts([page.sheet], path, 1)
    read = pypdf.PdfReader(path).pages[0]
    fonts = [one.get_object() for one in read["/Resources"]["/Font"].values()]
    return read.extract_text(), fonts


@pytest.mark.parametrize("standard", [False, True])
def test_every_letter_is_there_and_no_font_more_than_two(standard, tmp_path):
    said, fonts = written(tmp_path / "page.pdf", LINES, standard)
    assert [said.count(line) for line in LINES] == [2] * len(LINES)
    assert len(fonts) == 2
    assert [one["/Subtype"] for one in fonts] == ["/Type1" if standard else "/TrueType"] * 2
    assert ["/FontDescriptor" in one for one in fonts] == [not standard] * 2


def test_letters_that_the_own_ones_lack_are_set_by_matplotlib_beside_them(tmp_path):
    said, fonts = written(tmp_path / "page.pdf", ["Пила 40", "Saw (fi) \\ 40"], False)
    assert said.count("Пила 40") == said.count("Saw (fi) \\ 40") == 2
    assert {one["/Subtype"] for one in fonts} == {"/TrueType", "/Type3"}


@pytest.mark.parametrize("weight", ["normal", "bold"])
def test_a_line_is_as_wide_as_matplotlib_sets_it(weight):
    figure = Figure(dpi=72)
    drawn = FigureCanvasAgg(figure).get_renderer()
    for line in ("Teeth 33 and 13, the neutral line", "AVAToTeVer. 1/7", "Wobble TIR 4.58 thou"):
        how = {"fontsize": 100, "fontfamily": "DejaVu Sans", "weight": weight}
        box = figure.text(0.1, 0.5, line, **how).get_window_extent(drawn)
        assert _face(weight == "bold").width(line) / 10 == pytest.approx(box.width, rel=0.01)


def test_the_standard_letters_have_their_published_widths():
    with standard_fonts(), own_style():
        assert _standard_width("i.W ", False) == pytest.approx(222 + 278 + 944 + 278)
        assert _standard_width("i.W ", True) == pytest.approx(278 + 278 + 944 + 278)


def test_words_about_a_place_stand_about_it_and_turned_ones_are_there(tmp_path):
    page = Page.blank("a4")
    chart = Chart(page.sheet)
    for ha in ("left", "center", "right"):
        chart.words(105.0, 100.0, f"middle{ha}", 12.0, ha=ha)
    chart.words(50.0, 150.0, "turned", 12.0, rotation=90)
    bg.save_chart(page.sheet, tmp_path / "page.pdf")
    place = {}

    def visit(text, _, matrix, __, ___):
        place[text.strip()] = matrix

    pypdf.PdfReader(tmp_path / "page.pdf").pages[0].extract_text(visitor_text=visit)
    for part, ha in enumerate(("left", "center", "right")):
        words = f"middle{ha}"
        start = 105 / 25.4 * 72 - part / 2 * _face(False).width(words) * 12 / 1000
        assert place[words][4] == pytest.approx(start, abs=0.1)
    assert np.allclose(place["turned"][:4], [0, 1, -1, 0], atol=1e-6)


def test_a_figure_of_others_keeps_its_canvas_and_its_size_in_dots(tmp_path):
    figure = Figure(dpi=130)
    ax, canvas = figure.add_subplot(), FigureCanvasAgg(figure)
    ax.plot([1, 2], rasterized=True)
    bg.save_chart(ax, tmp_path / "page.pdf")
    assert (figure.dpi, figure.canvas) == (130, canvas)
    assert len(pypdf.PdfReader(tmp_path / "page.pdf").pages[0].images) == 1


def test_hardly_a_line_of_a_sheet_is_measured_on_its_way_to_the_page(tmp_path, monkeypatch):
    measured = []
    drawn = Text.draw
    monkeypatch.setattr(Text, "draw", lambda one, to: measured.append(one) or drawn(one, to))
    sheet = bg.customer_sheet(bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv")))
    bg.save_chart(sheet, tmp_path / "page.pdf")
    assert len(sheet.texts) + len(sheet.figure.texts) > 60
    assert len(measured) < 10  # Those in boxes, and the cautions.


def test_the_same_sheet_is_the_same_file(tmp_path):
    fit = bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))
    for name in ("a", "b"):
        sheet = bg.customer_sheet(fit, date=date(2026, 2, 3))
        bg.save_chart(sheet, tmp_path / f"{name}.pdf")
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
