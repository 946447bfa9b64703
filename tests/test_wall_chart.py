"""The page of the kerf's wall: what is drawn, in both units, black on white, nothing hidden."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from fits import check_fits, check_margins, line_of
from simulated import PER_MM, rng_for

import bladegeom as bg
from bladegeom.draw.cut import cut_wall_chart
from bladegeom.wall.wall import cut_wall

DAY = date(2026, 2, 3)
CUT = {"side_angle_deg": 1.0, "feed_per_turn": (1.5, "mm"), "height": (30.0, "mm")}


def wall_of(amplitude=0.05, teeth=24, unit="mm", name="demo", noise=0.003, blade=None, **asked):
    """The wall of an invented blade."""
    angles = 360.0 * np.arange(teeth) / teeth
    read = amplitude * np.cos(np.radians(angles - 50.0)) + rng_for(9).normal(0.0, noise, teeth)
    facts = {"diameter": "254 mm", "name": name} | (blade or {})
    readings = bg.Readings(
        bg.Blade(teeth, **facts),
        read * PER_MM[unit],
        unit=unit,
        ring_radius="110 mm",
        graduation="1e-06 mm",
    )
    return cut_wall(bg.fit_wobble(readings), **CUT | asked)


def words_on(ax):
    return [text.get_text() for text in ax.texts]


def paper_words(ax):
    return " ".join(text.get_text() for text in ax.get_figure(root=True).texts)


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_the_wall_is_drawn_in_millimetres_and_micrometres(unit):
    wall = wall_of(unit=unit)
    ax = cut_wall_chart(wall, date=DAY)
    along, height = line_of(ax, "wall").T
    turns = round(along.max() / 1.5)
    assert along.max() == pytest.approx(1.5 * turns)
    assert ax.get_xlim() == (0.0, pytest.approx(1.5 * turns))
    per = PER_MM[unit]
    assert np.ptp(height) == pytest.approx(wall.peak_to_valley.value / per * 1000)
    assert height.max() == pytest.approx(wall.out.value / per * 1000)
    low, high = ax.get_ylim()
    assert low < height.min() < height.max() < high
    mean = line_of(ax, "mean line")[0, 1]
    weights = np.diff(along)
    middles = (height[:-1] + height[1:]) / 2
    assert mean == pytest.approx(float(np.average(middles, weights=weights)))
    ra = np.average(np.abs(np.interp(np.linspace(0, 1.5 * turns, 200_001), along, height) - mean))
    assert ra == pytest.approx(wall.ra.value / per * 1000, rel=1e-3)
    figure = ax.get_figure(root=True)
    figure.draw_without_rendering()
    above, beside = ax.child_axes
    assert np.array(above.get_xlim()) * 25.4 == pytest.approx(ax.get_xlim())
    assert np.array(beside.get_ylim()) * 25.4 == pytest.approx(ax.get_ylim())


def test_the_wood_lies_above_the_wall():
    wall = wall_of()
    ax = cut_wall_chart(wall, date=DAY)
    (wood,) = ax.collections
    assert wood.get_hatch()
    assert wood.get_paths()[0].get_extents().y1 > line_of(ax, "wall")[:, 1].max()
    assert "up: into the wood" in ax.get_ylabel()


def test_each_piece_is_numbered_with_the_tooth_that_left_it():
    offsets = np.zeros(24)
    offsets[[3, 15]] = 0.3
    ax = cut_wall_chart(wall_of(0.0, lateral=(offsets, "mm")), date=DAY)
    numbers = [text for text in ax.texts if text.get_text().isdigit()]
    along, height = line_of(ax, "wall").T
    assert {text.get_text() for text in numbers} == {"4", "16"}
    ends = along[:-1][np.diff(height) < -0.5 * np.ptp(height)]
    # The profile ends at tooth 24's tip, so tooth 4's tip is 4 / 24 of the feed on from its start.
    assert ends % 1.5 / 1.5 == pytest.approx(np.tile([4 / 24, 16 / 24], 2))
    first = min(numbers, key=lambda text: text.get_position()[0])
    assert first.get_text() == "4"
    assert first.get_position()[0] == pytest.approx(1.5 * 2 / 24)
    assert "left by tooth" in words_on(ax)


def test_the_page_writes_marks_ra_and_peak_to_valley():
    wall = wall_of()
    words = paper_words(cut_wall_chart(wall, date=DAY))
    assert wall.headline in words
    assert f"Ra {wall.ra.value * 1000:.2f} \u00b5m (95 %:" in words
    assert "peak to valley" in words
    assert "feed 1.5 mm a turn, blade 30 mm high, side angle 1\u00b0, sharp corners" in words
    assert "wall toward the indicator" in words
    for caution in bg.CAUTIONS:
        assert caution.split(".")[0] in words.replace("\n", " ")
    for assumed in wall.assumed:
        assert assumed[:40] in words
    inches = paper_words(
        cut_wall_chart(wall_of(unit="in", corner=(0.254, "mm"), side="away"), date=DAY)
    )
    assert "thou (95 %:" in inches
    assert "feed 0.05906 in a turn" in inches
    assert "corners of 0.01 in" in inches
    assert "wall away from the indicator" in inches


def test_without_an_established_wobble_no_tooth_is_written():
    ax = cut_wall_chart(wall_of(0.0), date=DAY)
    assert not words_on(ax)
    (line,) = [line for line in ax.lines if "not established" in str(line.get_label())]
    assert line.get_linestyle() != "-"
    assert "at most" in paper_words(ax)


def busiest(name="demo"):
    """As many words as a page may have to carry: all assumptions, no way known, sharp marks."""
    return wall_of(0.02, 120, name=name, blade={"tooth_pattern": ("L", "R")}, noise=0.001)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(
    "wall",
    [
        wall_of(),
        wall_of(0.0, name="A name " * 12),
        busiest(),
        wall_of(0.05, 24, "in", side_angle_deg=20.0, corner=(1.0, "mm")),
        wall_of(0.0, 100, lateral=(np.zeros(100), "mm"), noise=0.0),
        wall_of(0.0, 24, lateral=(0.001 * np.arange(24), "mm")),
    ],
)
def test_no_words_meet_and_none_leave_the_page(wall, paper):
    ax = cut_wall_chart(wall, paper=paper, date=DAY)
    check_fits(ax)
    figure = ax.get_figure(root=True)
    check_margins(figure)
    (plot,) = [axes.get_tightbbox() for axes in figure.axes]
    assert not any(plot.overlaps(text.get_window_extent()) for text in figure.texts)
    numbers = [text.get_window_extent() for text in ax.texts]
    for place, one in enumerate(numbers):
        assert not any(one.overlaps(other) for other in numbers[place + 1 :])
    assert ax.get_window_extent().height > 40 / 25.4 * figure.dpi


def test_numbers_that_have_no_room_are_left_out_and_it_is_said():
    ax = cut_wall_chart(wall_of(0.0, 100, lateral=(np.zeros(100), "mm"), noise=0.0), date=DAY)
    numbers = [one for one in words_on(ax) if one.isdigit()]
    assert 20 < len(numbers) < 100
    assert "left by tooth (as far as there is room)" in words_on(ax)
