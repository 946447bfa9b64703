"""Labels for the blades of a day: where they lie on the sheet, what they say, and that all fits."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from fits import boxes_of, check_fits
from matplotlib.backends.backend_agg import FigureCanvasAgg
from pypdf import PdfReader
from shop_days import LIMITS
from written import save

import bladegeom as bg
from bladegeom.draw._style import standard_fonts
from bladegeom.draw.labels import label_pages
from bladegeom.draw.page import PAPERS, save_charts
from bladegeom.shop.batch import queue_row
from bladegeom.shop.label_sheet import LabelSheet

DAY = date(2026, 11, 27)
TABLE = """
[labels]
rows = 7
columns = 3
top = "15.1 mm"
left = "0.283 in"
gap_across = "2.5 mm"
"""
SHEET = LabelSheet(7, 3, "15.1 mm", "7.2 mm", gap_across="2.5 mm")
SMALL = LabelSheet(13, 5, "11 mm", "10 mm", gap_across="2.5 mm", gap_down="0 mm")
LONG = "Joinery, Stairs and Fittings of the Hollow-by-the-Old-Harbour, branch at the mill"


def row_of(size=0.02, eye=None, minus=False, **facts):
    """The row of a blade in a queue."""
    at = 2 * np.pi * np.arange(40) / 40
    read = np.round(size * np.cos(at - 1) + np.random.default_rng(1).normal(0, 0.002, 40), 3)
    if minus:
        read[5] *= -1
    blade = bg.Blade(40, **{"name": "A-40", "customer": "Hollin", "diameter": "250 mm"} | facts)
    fit = bg.fit_wobble(bg.Readings(blade, read, unit="mm", ring_radius="100 mm"))
    limits = bg.Limits((bg.Limit("wobble_tir", (0.1, "mm"), "invented for a test"),))
    return queue_row(bg.assess(fit, limits, eye=eye), None, DAY) | {"file": "day.csv"}


def labels_of(rows, sheet=SHEET, paper="a4"):
    """What each label says, by its place on the sheet, on each page."""
    pages = []
    for ax in label_pages(rows, sheet, paper):
        high = ax.figure.bbox.height
        held = {}
        for words, box in boxes_of(ax):
            left, top = box.x0 / ax.figure.dpi * 25.4, (high - box.y1) / ax.figure.dpi * 25.4
            for place, (x, y, wide, tall) in enumerate(sheet.places(*PAPERS[paper])):
                if x <= left < x + wide and y <= top < y + tall:
                    held.setdefault(place, []).append(words)
                    right = box.x1 / ax.figure.dpi * 25.4
                    below = (high - box.y0) / ax.figure.dpi * 25.4
                    assert x <= left <= right <= x + wide, words
                    assert y <= top <= below <= y + tall, words
        pages.append({place: " ".join(words) for place, words in held.items()})
    return pages


def test_labels_lie_where_margins_and_gaps_put_them():
    places = SHEET.places(210.0, 297.0)
    assert len(places) == 21
    assert places[0] == pytest.approx((7.2, 15.1, 63.5333, 38.1143), abs=1e-3)
    assert places[-1][0] + places[-1][2] == pytest.approx(210 - 7.2)
    assert places[-1][1] + places[-1][3] == pytest.approx(297 - 15.1)
    assert places[1][0] - places[0][0] - places[0][2] == pytest.approx(2.5)
    own = LabelSheet(2, 2, "10 mm", "10 mm", "30 mm", "50 mm", gap_down="7 mm").places(210, 297)
    assert own[0] == pytest.approx((10, 10, 75, 125))
    assert own[3] == pytest.approx((85, 142, 75, 125))


@pytest.mark.parametrize(("sheet", "paper"), [(SHEET, "a4"), (SMALL, "letter")])
def test_ink_lies_where_the_label_is_to_a_tenth_of_a_millimetre(sheet, paper, tmp_path):
    rows = [row_of()] * len(sheet.places(*PAPERS[paper]))
    (ax,) = label_pages(rows, sheet, paper)
    assert len(labels_of(rows, sheet, paper)[0]) == len(rows)
    ax.figure.set_dpi(254)  # Ten dots a millimetre.
    canvas = FigureCanvasAgg(ax.figure)
    canvas.draw()
    ink = np.asarray(canvas.buffer_rgba())[..., 0] < 128
    first, *_, last = sheet.places(*PAPERS[paper])
    corner = np.argwhere(ink).min(axis=0)
    again = np.argwhere(ink[round(last[1] * 10) :, round(last[0] * 10) :]).min(axis=0)
    # All labels alike: from the first to the last is as far as from label to label.
    apart = (np.round([last[1] * 10, last[0] * 10]) + again - corner) / 10
    assert apart == pytest.approx([last[1] - first[1], last[0] - first[0]], abs=0.1)
    assert corner[1] / 10 == pytest.approx(first[0] + 2.0, abs=0.5)  # The letter's own margin.
    with standard_fonts():
        save_charts(label_pages(rows, sheet, paper), tmp_path / "labels.pdf", 1)
    (page,) = PdfReader(tmp_path / "labels.pdf").pages
    size = [float(one) / 72 * 25.4 for one in (page.mediabox.width, page.mediabox.height)]
    assert size == pytest.approx(PAPERS[paper], abs=0.05)


def test_a_label_names_teeth_only_of_a_blade_that_may_be_used():
    good = row_of()
    refused = {"action": "refused", "outcome": "refused", "blade": "B-12", "date": "2026-11-27"}
    rows = [good, row_of(0.2), row_of(eye="crack at tooth 7"), row_of(minus=True), refused]
    (held,) = labels_of(rows)
    first, second = good["neutral_teeth"]
    assert f"{first} \u2013 {second}" in held[0]
    assert "fit for use" in held[0]
    assert "again on yours" in held[0]
    assert f"wobble {good['wobble_tir']:.5f} mm" in held[0]
    for place, never in enumerate(["DO NOT USE"] * 2 + ["DO NOT USE YET"] * 2, start=1):
        assert never in held[place]
        assert ("YET" in held[place]) == ("YET" in never)
        assert "\u2013" not in held[place]
    assert "clean, remount" in held[1]
    assert "wobble" not in held[2] + held[3] + held[4]  # Not where it is not relied on.
    assert "not judged" in held[4]
    assert all("2026-11-27" in one for one in held.values())


@pytest.mark.parametrize("sheet", [SHEET, SMALL], ids=["large", "small"])
def test_long_names_are_made_smaller_and_none_is_cut(sheet):
    rows = [row_of(name=LONG, customer=LONG * 2)] * 5
    (held,) = labels_of(rows, sheet)
    assert all(LONG in one and LONG * 2 in one for one in held.values())
    check_fits(label_pages(rows, sheet, "a4")[0])


def test_a_sheet_that_was_used_in_part_is_gone_on_with():
    first, second = labels_of([row_of()] * 22, replace(SHEET, first=5))
    assert [*first] == [*range(4, 21)]
    assert [*second] == [*range(5)]


def test_labels_that_cannot_be_printed_are_refused():
    with pytest.raises(bg.RefusedError, match="mm wide"):
        LabelSheet(7, 12, "10 mm", "10 mm").places(210, 297)
    for wrong in (
        {"rows": 0},
        {"columns": 2.5},
        {"top": "10"},
        {"gap_down": "-1 mm"},
        {"left": None},
        {"first": 22},
    ):
        with pytest.raises(bg.RefusedError):
            LabelSheet(**{"rows": 7, "columns": 3, "top": "10 mm", "left": "7 mm"} | wrong)


def test_the_file_of_the_limits_tells_the_sheet_of_labels_and_its_faults_with_their_row(tmp_path):
    read = bg.read_limits(save(tmp_path / "shop.toml", LIMITS + TABLE)).labels
    assert read.places(210, 297) == pytest.approx(
        np.array(LabelSheet(7, 3, "15.1 mm", "7.1882 mm", gap_across="2.5 mm").places(210, 297))
    )
    wrong = save(tmp_path / "wrong.toml", LIMITS + TABLE.replace("rows = 7", "rows = 70"))
    with pytest.raises(bg.RefusedError) as refused:
        bg.read_limits(wrong)
    (fault,) = refused.value.faults
    assert fault.row == (LIMITS + TABLE).split("\n").index("rows = 7") + 1
    assert "70" in str(fault)
    assert bg.read_limits(save(tmp_path / "none.toml", LIMITS)).labels is None
