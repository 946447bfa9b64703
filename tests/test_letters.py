"""Names on paper: as written, whatever the letters, and no two of them alike."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import warnings
from pathlib import Path

import numpy as np
import pypdf
import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from matplotlib import font_manager, get_data_path
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image
from written import run, save

import bladegeom as bg
from bladegeom.draw import _fonts as fonts
from bladegeom.draw._fonts import as_printed, escaped, line_width_mm
from bladegeom.draw._style import standard_fonts
from bladegeom.draw.page import Page
from bladegeom.faults import shown

pytestmark = pytest.mark.filterwarnings("always::bladegeom.faults.BladegeomWarning")

NAMES = {
    "Polish": "\u017b\u00f3\u0142\u0107-3",
    "Czech": "\u017d\u010f\u00e1r-3",
    "Greek": "\u039b\u03b5\u03c0\u03af\u03b4\u03b1-3",
    "Cyrillic": "\u041f\u0438\u043b\u0430-3",
    "joined accents": "Cafe\u0301-3",
    "accents of no one letter": "x\u0302-3",
    "Hebrew": "\u05dc\u05d4\u05d1-3",
    "Arabic": "\u0645\u0646\u0634\u0627\u0631-3",
}
ESCAPED = {
    "\u6728\u5de5-3": r"\u6728\u5de5-3",
    "\U0001fa9a-3": r"\U0001fa9a-3",
    "K\u200b-3": r"K\u200b-3",
    "K\u00a0-3": r"K\u00a0-3",
    "K\u00ad-3": r"K\u00ad-3",
    "K\ue000-3": r"K\ue000-3",
    "K\t-3": r"K\u0009-3",
    "\u2699\ufe0f-3": "\u2699\\ufe0f-3",
    r"\u6728\u5de5-3": r"\\u6728\\u5de5-3",
}
"""With no fonts but Matplotlib's own."""

MIXED = "K\u0142\u03bb\u0416\u5203\U0001fa9ax\u0302\u05d1\u0645 3"
PRINTED = "K\u0142\u03bb\u0416\\u5203\\U0001fa9ax\u0302"


def forget():
    fonts._family_with.cache_clear()
    fonts._installed_since.cache_clear()


@pytest.fixture
def own_fonts(monkeypatch):
    """No fonts on the machine but those that come with Matplotlib."""
    manager = font_manager.fontManager
    kept = [one for one in manager.ttflist if one.fname.startswith(get_data_path())]
    monkeypatch.setattr(manager, "ttflist", kept)
    monkeypatch.setattr(font_manager, "findSystemFonts", list)
    forget()
    yield manager
    forget()


@pytest.fixture
def a_font(tmp_path):
    """Make a font that has a tree for one letter, and nothing for another."""

    def make(letter, blank):
        pen = TTGlyphPen(None)
        for at in ((100, 0), (100, 700), (900, 700), (900, 0)):
            (pen.moveTo if at == (100, 0) else pen.lineTo)(at)
        pen.closePath()
        nothing = TTGlyphPen(None).glyph()
        made = FontBuilder(1000)
        made.setupGlyphOrder([".notdef", "tree", "blank"])
        made.setupCharacterMap({ord(letter): "tree", ord(blank): "blank"})
        made.setupGlyf({".notdef": nothing, "tree": pen.glyph(), "blank": nothing})
        made.setupHorizontalMetrics(dict.fromkeys((".notdef", "tree", "blank"), (1000, 0)))
        made.setupHorizontalHeader(ascent=800, descent=-200)
        made.setupNameTable({"familyName": "Invented, Sans: one", "styleName": "Regular"})
        made.setupOS2()
        made.setupPost()
        made.save(tmp_path / "invented.ttf")
        return str(tmp_path / "invented.ttf")

    return make


def readings_of(name, near=2.0, teeth=24):
    return [
        (name, tooth, f"{0.1 * math.cos(2 * math.pi * (tooth - near) / teeth):.3f}")
        for tooth in range(1, teeth + 1)
    ]


FACTS = {"teeth": 24, "diameter_mm": 250, "ring_radius_mm": 100, "graduation_mm": 0.001}
FACTS |= {"plate_mm": 2.2, "tooth_width_mm": 3.2, "gullet_mm": 14}


def table(path, names):
    page = io.StringIO()
    rows = csv.writer(page)
    rows.writerow(["blade", "tooth", "reading_mm", *FACTS])
    rows.writerows([*row, *FACTS.values()] for name in names for row in readings_of(name))
    return save(path, page.getvalue())


def renamed(source, name, path):
    """Copy a demo table with another name for its blade."""
    old = Path(source).read_text("utf-8")
    blade = old.splitlines()[1].split(",")[0]
    return save(path, old.replace(f"\n{blade},", f"\n{name},"))


def fit_of(name):
    read = [float(cell) for _, _, cell in readings_of(name)]
    blade = bg.Blade(24, name=name, diameter="250 mm")
    return bg.fit_wobble(bg.Readings(blade, read, unit="mm", ring_radius="100 mm"))


def words_in(path):
    words = "\n".join(page.extract_text() for page in pypdf.PdfReader(path).pages)
    # An accent that is a letter of its own in the font is told together with what it stands on.
    return words.replace("x\u0302x\u0302", "x\u0302")


def chart(kind):
    def draw(folder, name):
        file = table(folder / "t.csv", [name])
        return ["chart", file, "--kind", kind]

    return draw


def shelf(folder, name):
    (folder / "shelf").mkdir()
    table(folder / "shelf" / "t.csv", [name])
    return ["shelf", folder / "shelf"]


def card(folder, name):
    renamed("data_demo/forty_tooth.csv", name, folder / "forty_tooth.csv")
    saw = save(folder / "saw.toml", Path("data_demo/shed_saw.toml").read_text("utf-8"))
    return ["setup", saw]


def trend(folder, name):
    file, kept = table(folder / "t.csv", [name]), folder / "kept"
    for year in (2023, 2024):
        assert run("record", file, "--history", kept, "--date", f"{year}-02-03").status == 0
    return ["trend", "--history", kept, "--blade", name]


def clock(folder, name):
    return ["clock", renamed("data_demo/arbor/clock_mounts.csv", name, folder / "t.csv")]


def rings(folder, name):
    file = renamed("data_demo/arbor/three_rings.csv", name, folder / "t.csv")
    return ["plate", file, "--table-height", "25mm", "--reach", "90mm"]


def wall(folder, name):
    file = table(folder / "t.csv", [name])
    return ["cut-wall", file, "--feed", "1.2mm", "--height", "40mm", "--side-angle", "2"]


def form(_, name):
    return ["sheet", "--teeth", "24", "--name", name]


OUTPUTS = {
    **{kind: chart(kind) for kind in ("polar", "squareness", "strip", "clearance")},
    **{one.__name__: one for one in (shelf, card, trend, clock, rings, wall, form)},
}


def drawn(output, name, folder, ending="pdf"):
    """Draw an output for a blade of a name; return the file and what was said of it."""
    folder.mkdir()
    target = folder / f"out.{ending}"
    ran = run(*OUTPUTS[output](folder, name), "-o", target)
    assert ran.status == 0, ran.err
    return target, ran.err


@pytest.mark.usefixtures("own_fonts")
@pytest.mark.parametrize("output", OUTPUTS)
def test_every_output_prints_names_as_written_or_escaped_and_says_so(output, tmp_path):
    file, said = drawn(output, MIXED, tmp_path / "out")
    words = words_in(file)
    assert PRINTED in words
    assert "\u05d1" in words
    assert "\u0645" in words
    (note, *_) = [line for line in said.splitlines() if MIXED in line]
    assert PRINTED in note
    assert "\u5203 \U0001fa9a" in note
    assert "Glyph" not in said


@pytest.mark.usefixtures("own_fonts")
def test_sheets_of_a_day_print_every_name_and_no_two_alike(tmp_path):
    file = table(tmp_path / "day.csv", [*NAMES.values(), *ESCAPED])
    limits = "data_demo/shed_limits.toml"
    ran = run("batch", file, "--limits", limits, "--out", tmp_path / "day")
    assert ran.status == 0, ran.err
    heads = {}
    queue = json.loads((tmp_path / "day" / "queue.json").read_text("utf-8"))
    for row in queue["blades"]:
        sheet = tmp_path / "day" / row["sheet"]
        heads[row["blade"]] = words_in(sheet).split("blade report")[0]
        (page,) = pypdf.PdfReader(sheet).pages
        inside = {one.get("/BaseFont", "") for one in page["/Resources"]["/Font"].values()}
        assert "/Helvetica" in inside
        own = {one for one in inside if "DejaVu" in one}
        assert bool(own) == (not ESCAPED.get(row["blade"], "\u017b").isascii())
    assert len({*heads.values()}) == len(NAMES) + len(ESCAPED)
    assert not any("?" in head for head in heads.values())
    for name, printed in ({name: name for name in NAMES.values()} | ESCAPED).items():
        first, _, _ = printed.partition("-")  # Read from right to left, the number comes first.
        assert first in heads[name]
    notes = [line for line in ran.err.splitlines() if "is printed as" in line]
    assert len(notes) == len(ESCAPED) - 1
    for name, printed in ESCAPED.items():
        said = any(f'"{shown(name)}"' in note and f'"{printed}"' in note for note in notes)
        assert said == (not name.startswith("\\"))


@pytest.mark.usefixtures("own_fonts")
@pytest.mark.parametrize("ending", ["png", "svg"])
def test_pictures_of_two_names_differ(ending, tmp_path):
    made = {}
    for name in ("K\u5203", "K\u5200", "K\u200b"):
        file, said = drawn("polar", name, tmp_path / f"{len(made)}", ending)
        assert "Glyph" not in said
        if ending == "png":
            made[name] = np.asarray(Image.open(file).convert("L"))[:180].tobytes()
        else:
            made[name] = tuple(re.findall(r' d="([^"]*)"', file.read_text("utf-8")))
    assert len({*made.values()}) == len(made)


def test_a_name_from_right_to_left_begins_at_the_right():
    page = Page("a4")
    page.text(20.0, 20.0, "\u05d0" + 8 * "\u05d9", 60)  # One wide letter, and short ones.
    canvas = FigureCanvasAgg(page.figure)
    canvas.draw()
    ink = 255.0 - np.asarray(canvas.buffer_rgba())[..., 0]
    rows, columns = np.nonzero(ink.sum(axis=1))[0], np.nonzero(ink.sum(axis=0))[0]
    foot = ink[(rows[0] + rows[-1]) // 2 + 2 :].sum(axis=0)
    assert np.average(np.arange(ink.shape[1]), weights=foot) > columns.mean()


LETTERS = st.text(
    st.one_of(
        st.characters(),
        st.sampled_from("Ka0 \\u\u0301\u0302\u0141\u05d0\u0628\u0645\u200d\ufe0f\u5203\ud800"),
        st.sampled_from("\\u5203"),
    ),
    max_size=12,
)


@pytest.mark.usefixtures("own_fonts")
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(LETTERS, LETTERS, st.booleans())
@example("\\u5203", "\u5203", True)
@example("\\\u5203", "\\u5203", True)
@example("\\\\u5203", "\\u5203", True)
def test_whatever_is_printed_has_a_font_and_no_two_texts_print_alike(one, other, bold):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", bg.BladegeomWarning)
        assert (as_printed(one) == as_printed(other)) == (one == other)
        page = Page("a4")
        page.text(20.0, 20.0, one, 12, weight="bold" if bold else "normal")
    FigureCanvasAgg(page.figure).draw()  # Letters without a font would be told of, and fail.


@pytest.mark.parametrize("new", [False, True], ids=["listed", "installed since"])
def test_a_font_of_the_machine_is_used_where_it_has_the_letter(
    new, own_fonts, a_font, tmp_path, monkeypatch
):
    file = a_font("\u6728", "\u5de5")
    if new:
        monkeypatch.setattr(font_manager, "findSystemFonts", lambda: [file])
    else:
        own_fonts.addfont(file)
    forget()
    with standard_fonts(), pytest.warns(bg.BladegeomWarning, match="shows \u5de5;"):
        bg.save_chart(bg.customer_sheet(fit_of("\u6728\u5de5 7")), tmp_path / "sheet.pdf")
    assert "\u6728\\u5de5 7" in words_in(tmp_path / "sheet.pdf")


@pytest.mark.usefixtures("own_fonts")
def test_a_name_is_measured_as_it_is_printed():
    page = Page("a4")
    name = 40 * "\u5203"
    with pytest.warns(bg.BladegeomWarning, match=name):
        text = page.fitted_text(12.0, 9.0, name, 30, page.inner, 13.0)
    box = text.get_window_extent(FigureCanvasAgg(page.figure).get_renderer())
    assert 0.9 * page.inner < box.width / page.figure.dpi * 25.4 <= page.inner
    lines = page.wrapped(f"{name} {name}", 10, page.inner)
    assert "".join(lines) == 2 * name
    assert all(line_width_mm(escaped(one), 10) <= page.inner for one in lines)
