"""What every chart and sheet has alike: paper, cautions, greys, true size, and its files."""

from __future__ import annotations

import inspect
from datetime import date
from functools import cache

import pytest
from fits import check_black_and_white, check_fits, size_mm
from matplotlib.figure import Figure
from test_trend import visits_of

import bladegeom as bg
from bladegeom.arbor.clock import advise
from bladegeom.draw.disc import blade_disc

DAY = date(2026, 2, 3)


@cache
def fit():
    return bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))


@cache
def rotation():
    plate = bg.fit_plate(bg.read_rings("data_demo/arbor/three_rings.csv"))
    return bg.best_rotation(plate, table_height="25 mm", tolerance_deg=0.05)


MADE = {
    bg.polar_chart: fit,
    bg.strip_chart: fit,
    bg.squareness_chart: fit,
    bg.customer_sheet: fit,
    bg.clearance_chart: lambda: fit().readings.blade,
    bg.cut_wall_chart: lambda: bg.cut_wall(
        fit(), side_angle_deg=1.0, feed_per_turn="1.5 mm", height="30 mm"
    ),
    bg.clock_chart: lambda: advise(bg.read_mounts("data_demo/arbor/clock_mounts.csv"))[0][0],
    bg.rotation_chart: rotation,
    bg.trend_chart: lambda: bg.trend(visits_of([0.10, 0.12, 0.141, 0.159])),
    bg.setup_card: lambda: bg.set_up("data_demo/shed_saw.toml"),
    bg.shelf_page: lambda: bg.shelf("data_demo"),
    bg.reading_sheet: lambda: 40,
    blade_disc: fit,
}
"""Function that draws -> what it is given."""

MORE = {blade_disc: {"bore": "5/8 in"}}
"""What else one must be told."""

SIZES = {"a4": [210.0, 297.0], "letter": [215.9, 279.4]}
every_page = pytest.mark.parametrize("draw", MADE, ids=lambda draw: draw.__name__)
on_axes = pytest.mark.parametrize(
    "draw",
    [draw for draw in MADE if "ax" in inspect.signature(draw).parameters],
    ids=lambda draw: draw.__name__,
)


def drawn(draw, **how):
    """The first page."""
    if "date" in inspect.signature(draw).parameters:
        how["date"] = DAY
    made = draw(MADE[draw](), **MORE.get(draw, {}), **how)
    return made[0] if isinstance(made, list) else made


@every_page
@pytest.mark.parametrize("paper", SIZES)
def test_words_fit_and_every_caution_stands_on_a_page_of_true_size(draw, paper, tmp_path):
    ax = drawn(draw, paper=paper)
    ax.figure.set_dpi(200)  # As a picture is saved.
    check_fits(ax)
    said = " ".join(" ".join(text.get_text() for text in ax.figure.texts).split())
    assert all(caution in said for caution in bg.CAUTIONS)
    bg.save_chart(ax, tmp_path / "page.pdf")
    assert sorted(size_mm(tmp_path / "page.pdf")) == pytest.approx(SIZES[paper], abs=0.05)


@every_page
def test_a_page_is_black_and_white_and_goes_into_a_picture_too(draw, tmp_path):
    ax = drawn(draw)
    check_black_and_white(ax.figure)
    for ending in ("svg", "png"):
        bg.save_chart(ax, tmp_path / f"page.{ending}")
        assert (tmp_path / f"page.{ending}").stat().st_size > 10_000


@every_page
def test_an_unknown_paper_is_refused(draw):
    with pytest.raises(bg.RefusedError, match="choose a4 or letter"):
        drawn(draw, paper="a3")


@on_axes
def test_a_chart_is_drawn_on_given_axes_and_nothing_else_is_made(draw):
    figure = Figure()
    ax = figure.add_subplot()
    assert draw(MADE[draw](), ax) is ax
    assert not figure.texts
    assert figure.axes == [ax]
    assert ax.has_data()
