"""What the charts draw: places and words, not pixels."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest
from fits import check_fits, check_margins, line_of
from matplotlib.textpath import TextPath
from rigid_body import RigidBlade, readings_mm, tooth_angles_deg

import bladegeom as bg

DAY = date(2026, 2, 3)


def fit_of(
    teeth=40,
    numbered="clockwise",
    near_deg=77.0,
    tilt_deg=0.03,
    name="demo",
    noise_mm=0.001,
    **blade,
):
    made = bg.Blade(teeth, diameter="254 mm", numbered=numbered, name=name, **blade)
    body = RigidBlade(tilt_deg, near_deg, numbered or "clockwise")
    read = readings_mm(body, tooth_angles_deg(teeth), 115.0)
    rng = np.random.default_rng(7)
    return bg.fit_wobble(
        bg.Readings(
            made,
            read + rng.normal(0, noise_mm, teeth),
            unit="mm",
            ring_radius="115 mm",
            graduation="0.001 mm",
            side="left",
        )
    )


def flat_fit(teeth=24):
    blade = bg.Blade(teeth, diameter="250 mm", numbered="clockwise", name="flat")
    rng = np.random.default_rng(11)
    read = np.round(rng.normal(0, 0.004, teeth), 2)
    return bg.fit_wobble(
        bg.Readings(blade, read, unit="mm", ring_radius="110 mm", graduation="0.01 mm")
    )


def words_of(ax):
    figure = ax.get_figure(root=True)
    texts = [text for one in (figure, *figure.axes) for text in one.texts]
    return [text.get_text() for text in texts]


def place_of(ax, words):
    (text,) = [text for text in ax.texts if text.get_text() == words]
    return np.array(text.get_position())


@pytest.mark.parametrize("numbered", ["clockwise", "counterclockwise", None])
def test_tooth_numbers_run_round_the_blade_as_it_is_seen(numbered):
    ax = bg.polar_chart(fit_of(numbered=numbered), date=DAY)
    before, after = (place_of(ax, str(tooth)) for tooth in (6, 7))
    # Going clockwise, as a clock's hand does, the cross product of successive places is negative.
    turns_left = before[0] * after[1] - before[1] * after[0]
    assert (turns_left > 0) == (numbered == "counterclockwise")


def test_the_neutral_line_stands_upright_with_its_first_tooth_uppermost():
    fit = fit_of()
    ax = bg.polar_chart(fit, date=DAY)
    line = line_of(ax, "neutral line")
    assert line[:, 0] == pytest.approx([0, 0], abs=1e-12)
    assert line[0, 1] > 0 > line[1, 1]
    first, second = bg.neutral_line(fit).neutral
    assert place_of(ax, str(first.tooth))[1] > 1 > -1 > place_of(ax, str(second.tooth))[1]


@pytest.mark.parametrize(("numbered", "near_is_left"), [("clockwise", 1), ("counterclockwise", 0)])
def test_near_lies_a_quarter_turn_from_the_uppermost_end(numbered, near_is_left):
    # near + 90 stands uppermost. Where numbers grow clockwise, near, the smaller angle, is left.
    ax = bg.polar_chart(fit_of(numbered=numbered), date=DAY)
    near, far = place_of(ax, "NEAR"), place_of(ax, "FAR")
    assert (near[0] < 0) == bool(near_is_left)
    assert near == pytest.approx(-far)
    assert near[1] == pytest.approx(0, abs=1e-12)


def test_every_reading_and_the_curve_lie_at_their_heights():
    fit = fit_of()
    ax = bg.polar_chart(fit, date=DAY)
    drawn, curve = line_of(ax, "readings"), line_of(ax, "fitted wobble")
    read = fit.readings.reading
    gain = np.diff(np.hypot(*drawn.T)[[0, 5]])[0] / (read[5] - read[0])
    radius = np.hypot(*drawn.T)
    assert radius - radius[0] == pytest.approx(gain * (read - read[0]))
    assert gain > 0
    spread = np.ptp(np.hypot(*curve.T))
    assert spread == pytest.approx(gain * fit.wobble_tir, rel=1e-4)


def test_readings_lie_beside_their_own_teeth():
    fit = fit_of()
    ax = bg.polar_chart(fit, date=DAY)
    for tooth in (5, 16, 30):
        reading = line_of(ax, "readings")[tooth - 1]
        number = place_of(ax, str(tooth))
        assert np.cross([*reading, 0], [*number, 0])[2] == pytest.approx(0, abs=1e-9)
        assert reading @ number > 0


def test_the_exaggeration_holds_on_paper():
    fit = fit_of()
    ax = bg.polar_chart(fit, date=DAY)
    figure = ax.get_figure(root=True)
    figure.draw_without_rendering()
    curve = line_of(ax, "fitted wobble")
    ends = ax.transData.transform([[0, 0], [0, np.ptp(np.hypot(*curve.T))]])
    paper_mm = np.diff(ends[:, 1])[0] / figure.dpi * 25.4
    (words,) = [one for one in words_of(ax) if "times life size" in one]
    stated = float(words.split("drawn ")[1].split(" times")[0].replace(",", ""))
    assert stated == pytest.approx(paper_mm / fit.wobble_tir, rel=0.06)


def test_the_bar_of_fifty_millimetres_is_fifty_millimetres_long():
    ax = bg.polar_chart(fit_of(), paper="letter", date=DAY)
    figure = ax.get_figure(root=True)
    (bar,) = [one for one in figure.axes if one is not ax]
    figure.draw_without_rendering()
    left, right = bar.transData.transform([[0, 0], [50, 0]])
    assert (right[0] - left[0]) / figure.dpi * 25.4 == pytest.approx(50)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("teeth", [4, 7, 24, 40, 50, 60, 72, 80, 96, 100, 120, 200])
def test_no_two_tooth_numbers_touch_framed_or_not(teeth, paper):
    ax = bg.polar_chart(fit_of(teeth, near_deg=77.0 + teeth), paper=paper, date=DAY)
    figure = ax.get_figure(root=True)
    figure.draw_without_rendering()
    apart = 0.5 / 25.4 * figure.dpi
    boxes = [
        (text.get_bbox_patch() or text).get_window_extent()
        for text in ax.texts
        if text.get_text().isdigit() and np.hypot(*text.get_position()) > 1
    ]
    assert len(boxes) >= min(teeth, 20)
    for place, box in enumerate(boxes):
        assert not any(box.padded(apart).overlaps(other) for other in boxes[place + 1 :])


def test_a_blade_of_forty_teeth_has_every_tooth_numbered():
    ax = bg.polar_chart(fit_of(40), date=DAY)
    assert {str(tooth) for tooth in range(1, 41)} <= set(words_of(ax))


def test_the_teeth_to_mark_can_be_read_from_two_metres():
    fit = fit_of()
    figure = bg.polar_chart(fit, date=DAY).get_figure(root=True)
    first, second = bg.neutral_line(fit).neutral
    (largest,) = [t for t in figure.texts if t.get_text() == f"{first.tooth} \u2013 {second.tooth}"]
    # Letters a 250th of the distance high are read without effort: common practice, no source.
    assert capital_mm(largest) > 2000 / 250


def capital_mm(text):
    """Height of the capitals of a text, by its own font."""
    capital = TextPath((0, 0), "H", size=text.get_fontsize(), prop=text.get_fontproperties())
    return capital.get_extents().height / 72 * 25.4


def slipped(near_deg=77.0):
    fit = fit_of(near_deg=near_deg)
    read = fit.readings.reading.copy()
    read[int(np.argmax(np.abs(read)))] *= -1
    facts = {"ring_radius": "115 mm", "graduation": "0.001 mm"}
    return bg.fit_wobble(bg.Readings(fit.readings.blade, read, unit="mm", **facts))


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (fit_of, "upright"),
        (flat_fit, "out of square"),
        (lambda: fit_of(tilt_deg=0.0, noise_mm=0.1), "another turn"),
        (slipped, "again"),
    ],
)
def test_what_is_to_be_done_can_be_read_from_two_metres(make, sentence, paper):
    figure = bg.polar_chart(make(), paper=paper, date=DAY).get_figure(root=True)
    figure.draw_without_rendering()
    largest = [text for text in figure.texts if capital_mm(text) >= 7.0]
    assert any(sentence in text.get_text() for text in largest)
    for text in largest:
        assert text.get_window_extent().x1 <= figure.bbox.width - 10 / 25.4 * figure.dpi


@pytest.mark.parametrize("chart", [bg.polar_chart, bg.squareness_chart, bg.strip_chart])
def test_a_long_name_stays_on_the_paper(chart):
    ax = chart(fit_of(name="a rather long name of a blade that was never made" * 2))
    check_fits(ax)


@pytest.mark.parametrize("chart", [bg.polar_chart, bg.squareness_chart, bg.strip_chart])
def test_a_page_says_the_date_the_blade_and_the_side_it_is_seen_from(chart):
    words = words_of(chart(fit_of(), date=DAY))
    assert "2026-02-03" in words
    assert "demo" in words
    assert any("seen from the indicator's side (left)" in one for one in words)


def test_a_way_of_numbering_that_is_not_stated_is_said_to_be_so():
    words = words_of(bg.polar_chart(fit_of(numbered=None), date=DAY))
    assert any("not stated: drawn clockwise" in one for one in words)


def test_no_tooth_is_named_where_no_direction_is_established():
    fit = flat_fit()
    assert not fit.resolved
    words = words_of(bg.polar_chart(fit, date=DAY))
    assert "any rotation will do" in words
    assert not {"NEAR", "FAR", "neutral line"} & set(words)


@pytest.mark.parametrize("name", ["$a_b^2$", "50 % & more", "two\nlines", "Тупая №3", "a\\b{c}"])
@pytest.mark.parametrize("chart", [bg.polar_chart, bg.squareness_chart, bg.strip_chart])
def test_a_name_prints_as_written(chart, name, tmp_path):
    ax = chart(fit_of(name=name), date=DAY)
    shown = name.replace("\n", "\\u000a")  # On one line.
    (text,) = [t for t in ax.get_figure(root=True).texts if t.get_text() == shown]
    assert not text.get_parse_math()
    assert not text.get_usetex()
    bg.save_chart(ax, tmp_path / "name.pdf")


def test_the_squareness_curve_is_the_squareness_error():
    fit = fit_of()
    ax = bg.squareness_chart(fit, tolerance_deg=0.02, date=DAY)
    away, error = line_of(ax, "squareness error").T
    assert error == pytest.approx(bg.squareness_error(fit, away))
    turn, drawn = line_of(ax, "a tooth uppermost").T
    for tooth in (1, 9, 31):
        one = bg.squareness(fit, tooth=tooth)
        assert turn[tooth - 1] == pytest.approx(one.away_deg)
        assert drawn[tooth - 1] == pytest.approx(one.error_deg)


def test_the_marked_teeth_stand_on_the_squareness_chart_where_the_error_is_least():
    fit = fit_of()
    ax = bg.squareness_chart(fit, date=DAY)
    for mark in bg.neutral_line(fit).neutral:
        (text,) = [one for one in ax.texts if one.get_text() == str(mark.tooth)]
        assert abs(bg.squareness_error(fit, text.xy[0])) < fit.tilt_deg * math.sin(math.pi / 40)


def test_a_squareness_chart_needs_the_ring_radius():
    blade = bg.Blade(8)
    fit = bg.fit_wobble(bg.Readings(blade, np.sin(np.arange(8)), unit="mm"))
    with pytest.raises(bg.RefusedError, match="ring_radius"):
        bg.squareness_chart(fit)


def test_the_strip_shows_readings_curve_and_residuals():
    fit = fit_of()
    ax = bg.strip_chart(fit, date=DAY)
    at, read = line_of(ax, "readings").T
    assert at == pytest.approx(fit.readings.angle_deg)
    assert read == pytest.approx(fit.readings.reading)
    around, curve = line_of(ax, "fitted wobble").T
    assert curve == pytest.approx(fit.height_at(around))
    (low,) = [one for one in ax.get_figure(root=True).axes if one is not ax]
    assert any(
        np.allclose(line.get_ydata(), fit.residuals)
        for line in low.lines
        if len(line.get_ydata()) == len(fit.residuals)
    )


def test_the_closing_reading_is_drawn_apart():
    fit = bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))
    ax = bg.strip_chart(fit, date=DAY)
    assert line_of(ax, "closing reading") == pytest.approx(np.array([[0.0, 0.5]]))
    assert len(line_of(ax, "readings")) == 40


@pytest.mark.parametrize("name", ["eighty_tooth_two_turns", "flat_blade", "missing_arc"])
@pytest.mark.parametrize("chart", [bg.squareness_chart, bg.strip_chart])
def test_axes_and_their_words_stay_where_a_printer_can_print(chart, name):
    ax = chart(bg.fit_wobble(bg.read_blade(f"data_demo/{name}.csv")), date=DAY)
    check_margins(ax.figure)
