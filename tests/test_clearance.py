"""Side clearance, the angle at which the board rubs, and the chart of it."""

from __future__ import annotations

import math
import re
from datetime import date

import numpy as np
import pytest
from fits import check_margins, line_of
from hypothesis import given
from hypothesis import strategies as st

import bladegeom as bg
from bladegeom.draw.cut import clearance_chart
from bladegeom.saw.kerf import NO_GULLET, rub_angle, side_clearance
from bladegeom.saw.slots import slot_alignment

DAY = date(2026, 2, 3)


def ten_inch(**sizes):
    """An invented 10 in blade with 0.010 in of clearance on each side."""
    facts = {"diameter": "10 in", "tooth_width": "0.098 in", "plate": "0.078 in", "name": "demo"}
    return bg.Blade(40, **(facts | sizes))


def slots(**facts):
    given_facts = {
        "front": ([0.52], "mm"),
        "back": ([0.40], "mm"),
        "separation": (250, "mm"),
    } | facts
    return slot_alignment(**given_facts)


def twelve_inch(gullet=None):
    """An invented 300 mm blade with 0.5 mm of clearance; where it rubs: test_corrections.py."""
    sizes = {"diameter": "300 mm", "tooth_width": "3.2 mm", "plate": "2.2 mm"}
    return bg.Blade(60, **sizes, gullet=(gullet, "mm"))


@pytest.mark.parametrize("height", [2.0, 8.0, 9.9])
def test_gullets_that_do_not_reach_the_table_leave_the_limit_on_the_cautious_side(height):
    front = math.sqrt(150.0**2 - (150.0 - height) ** 2)
    limit = rub_angle(twelve_inch(10), height=(height, "mm"))
    assert limit == pytest.approx(math.degrees(math.atan(0.5 / front)))


@given(st.floats(0.1, 149.0), st.floats(1, 50))
def test_not_knowing_the_gullets_only_lowers_the_limit(height, gullet):
    known, unknown = (rub_angle(twelve_inch(one), (height, "mm")) for one in (gullet, None))
    assert unknown <= known


@given(st.floats(0.1, 126.0), st.floats(0.1, 0.9))
def test_the_higher_the_blade_the_less_is_allowed(height, part):
    blade = ten_inch()
    assert rub_angle(blade, height=(part * height, "mm")) > rub_angle(blade, height=(height, "mm"))


@given(st.floats(0.1, 149.9), st.sampled_from([None, 9.0]))
def test_all_ways_of_stating_the_height_agree(height, gullet):
    blade = twelve_inch(gullet)
    limit = rub_angle(blade, height=(height, "mm"))
    assert rub_angle(blade, height=(height / 25.4, "in")) == pytest.approx(limit, rel=1e-9)
    # Near the gullets' bottom the root is steep: what is subtracted twice is felt.
    assert rub_angle(blade, table=(150 - height, "mm")) == pytest.approx(limit, rel=1e-5)
    assert rub_angle(blade, table=((150 - height) / 25.4, "in")) == pytest.approx(limit, rel=1e-5)


def test_clearance_is_half_of_what_the_teeth_stand_out():
    # Common practice, no source: tooth width less plate thickness, halved.
    clear = side_clearance(ten_inch())
    assert clear.inch == pytest.approx(0.010)
    assert clear.mm == pytest.approx(0.254)
    assert "0.254 mm (0.01 in)" in str(clear)
    assert clear.to_dict()["clearance_in"] == clear.inch


def test_a_quarter_of_a_degree_goes_with_ten_thousandths_for_a_short_length_of_blade():
    # Common practice, no source: 0.010 in of clearance, a limit of about a quarter of a degree.
    length = 0.010 / math.tan(math.radians(0.25))
    assert length == pytest.approx(2.29, abs=0.005)
    assert rub_angle(ten_inch(), height=(0.125, "in")) == pytest.approx(0.25, abs=0.01)
    # By hand: 1 in high a 10 in blade has a chord of 2 sqrt(1 (10 - 1)) = 6 in in the cut.
    limit = rub_angle(ten_inch(), height=(1, "in"))
    assert limit == pytest.approx(math.degrees(math.atan(0.010 / 6)))
    assert limit == pytest.approx(0.096, abs=0.001)


@pytest.mark.parametrize(("height", "chord"), [(0.5, 4.3589), (1.0, 6.0), (2.0, 8.0), (5.0, 10.0)])
def test_without_gullets_the_length_is_the_chord_of_the_circle(height, chord):
    # Chord of a circle, c = 2 sqrt(h (2 R - h)): handbook formula, from memory; values by hand.
    length = 0.010 / math.tan(math.radians(rub_angle(ten_inch(), height=(height, "in"))))
    assert length == pytest.approx(chord, rel=1e-4)
    assert length == pytest.approx(2 * math.sqrt(height * (10 - height)))


def test_a_number_gives_a_number_and_an_array_an_array():
    blade = ten_inch()
    assert type(rub_angle(blade, height=(30, "mm"))) is float
    several = rub_angle(blade, height=([[10.0, 30.0, 60.0]], "mm"))
    assert several.shape == (1, 3)
    assert several[0, 1] == rub_angle(blade, height=(30, "mm"))
    assert rub_angle(blade, height=(127, "mm")) == rub_angle(blade, table=(0, "mm"))


def test_what_is_not_known_of_the_gullets_is_said():
    assert side_clearance(ten_inch()).remarks == (NO_GULLET,)
    assert "cautious side" in str(side_clearance(ten_inch()))
    assert side_clearance(ten_inch(gullet="9 mm")).remarks == ()
    words = " ".join(text.get_text() for text in chart_of(ten_inch()).texts)
    assert NO_GULLET in words
    words = " ".join(text.get_text() for text in chart_of(ten_inch(gullet="9 mm")).texts)
    assert NO_GULLET not in words
    assert "gullets 9 mm deep" in words


def test_teeth_no_wider_than_the_plate_leave_nothing():
    blade = ten_inch(tooth_width="0.078 in")
    assert side_clearance(blade).mm == 0
    assert "it rubs at any error" in str(side_clearance(blade))
    assert rub_angle(blade, height=(1, "in")) == 0
    with pytest.raises(bg.RefusedError, match="rubs at any error"):
        clearance_chart(blade)


@pytest.mark.parametrize(
    ("missing", "problem"),
    [
        ({"plate": None}, "needs the blade's plate; give plate"),
        ({"tooth_width": None}, "needs the blade's tooth_width; give"),
        ({"plate": None, "tooth_width": None}, "needs the blade's tooth_width and plate"),
    ],
)
def test_a_missing_size_is_named(missing, problem):
    for ask in (side_clearance, clearance_chart, lambda blade: rub_angle(blade, height=(9, "mm"))):
        with pytest.raises(bg.RefusedError, match=re.escape(problem)):
            ask(ten_inch(**missing))


def test_without_a_diameter_there_is_no_angle():
    blade = ten_inch(diameter=None)
    assert side_clearance(blade).inch == pytest.approx(0.010)
    for ask in (clearance_chart, lambda blade: rub_angle(blade, height=(9, "mm"))):
        with pytest.raises(bg.RefusedError, match="give diameter"):
            ask(blade)


@pytest.mark.parametrize(
    ("asked", "problem"),
    [
        ({}, "the height is not given"),
        ({"height": 20}, "height is 20, without a unit"),
        ({"height": (20, "mm"), "table": (1, "mm")}, "the height is given twice"),
        ({"height": (0, "mm")}, "height is 0 mm; give a height above 0 and up to"),
        ({"height": (-1.5, "mm")}, "height is -1.5 mm"),
        (
            {"height": (127.1, "mm")},
            "height is 127.1 mm; give a height above 0 and up to the blade's",
        ),
        ({"height": (5.01, "in")}, "radius, 5 in"),
        ({"height": (math.nan, "mm")}, "height is nan mm"),
        ({"height": ([3, math.inf, 4], "mm")}, "height is inf mm"),
        ({"height": (True, "mm")}, "height is True mm"),
        ({"height": ("high", "mm")}, "height is high mm"),
        ({"table": (-0.1, "mm")}, "table is -0.1 mm"),
        ({"table": (127, "mm")}, "table is 127 mm; give a height from 0 to less than"),
        ({"table": (math.nan, "in")}, "table is nan in"),
    ],
)
def test_what_no_blade_can_do_is_refused(asked, problem):
    with pytest.raises(bg.RefusedError, match=re.escape(problem)):
        rub_angle(ten_inch(), **asked)


def chart_of(blade, **facts):
    return clearance_chart(blade, date=DAY, **facts).get_figure(root=True)


@pytest.mark.parametrize("gullet", [None, 9])
def test_the_chart_draws_the_limit_in_both_units(gullet):
    blade = ten_inch(gullet=(gullet, "mm"))
    ax = clearance_chart(blade, date=DAY)
    height, limit = line_of(ax, "the board rubs").T
    assert limit == pytest.approx(rub_angle(blade, height=(height, "mm")))
    assert ax.get_xlim()[1] == pytest.approx(height.max())
    marked, at = line_of(ax, "round heights").T
    assert 25.4 in marked
    assert at == pytest.approx(rub_angle(blade, height=(marked, "mm")))
    figure = ax.get_figure(root=True)
    figure.draw_without_rendering()
    (above,) = ax.child_axes
    assert np.array(above.get_xlim()) * 25.4 == pytest.approx(ax.get_xlim())


def test_the_page_tells_the_limit_at_round_heights():
    blade = ten_inch()
    words = [text.get_text() for text in chart_of(blade).texts]
    assert "Slots within 0.095\u00b0 of the blade at 1 in high, or the board rubs" in words
    for name, height in (("1 in", 25.4), ("3 in", 76.2), ("25 mm", 25.0), ("1/2 in", 12.7)):
        beside = words[words.index(name) + 1]
        assert beside == f"{rub_angle(blade, height=(height, 'mm')):.3f}\u00b0"


def test_a_slot_error_is_drawn_with_its_limits():
    slot = slots(graduation="0.01 mm", end_float="0.02 mm")
    ax = clearance_chart(ten_inch(), slot=slot, date=DAY)
    assert line_of(ax, "slots: 0.028")[:, 1] == pytest.approx(slot.angle_deg)
    (band,) = [patch for patch in ax.patches if patch.get_hatch()]
    low, high = ax.transData.inverted().transform(band.get_window_extent())[:, 1]
    assert (low, high) == (pytest.approx(slot.angle.low), pytest.approx(slot.angle.high))
    other = slots(front="0.40 mm", back="0.52 mm", graduation="0.01 mm", end_float="0.02 mm")
    assert line_of(clearance_chart(ten_inch(), slot=other), "slots: 0.028")[0, 1] > 0
    unknown = clearance_chart(ten_inch(), slot=slots(), date=DAY)
    assert len(line_of(unknown, "slots: 0.028\u00b0, doubt not known"))
    assert not [patch for patch in unknown.patches if patch.get_hatch()]


def test_a_large_slot_error_stays_on_the_chart():
    slot = slots(front="3.0 mm", back="0.0 mm", graduation="0.01 mm")
    ax = clearance_chart(ten_inch(), slot=slot)
    assert ax.get_ylim()[1] > slot.angle.high > 0.6


@pytest.mark.parametrize("diameter_mm", [50, 85, 160, 254, 305, 900])
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_words_meet_and_none_leave_the_page(diameter_mm, paper):
    blade = bg.Blade(
        24, diameter=(diameter_mm, "mm"), plate="1.2 mm", tooth_width="1.8 mm", name="A name " * 12
    )
    boxes = check_margins(chart_of(blade, paper=paper, slot=slots()))
    for place, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[place + 1 :])
