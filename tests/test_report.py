"""The sheet that goes back with a blade: what it says, for every kind of blade."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest
from fits import check_fits, words_of
from pypdf import PdfReader

import bladegeom as bg
from bladegeom.draw._style import standard_fonts
from bladegeom.lengths import MM_PER
from bladegeom.shop.change import change
from bladegeom.shop.condition import FIT
from bladegeom.shop.plain import decision, next_step

DAY = date(2026, 11, 25)
LIMITS = bg.Limits((bg.Limit("wobble_tir", (0.05, "mm"), "invented for a test"),))
papers = pytest.mark.parametrize("paper", ["a4", "letter"])


def fit_of(name):
    return bg.fit_wobble(bg.read_blade(f"data_demo/{name}.csv"))


def said_by(ax):
    return " ".join(" ".join(text.get_text() for text in words_of(ax)).split())


@pytest.mark.parametrize(
    ("name", "paper"),
    [
        ("forty_tooth", "a4"),
        ("fifty_tooth_groups", "letter"),
        ("flat_blade", "letter"),
        ("missing_arc", "letter"),
        ("eighty_tooth_two_turns", "a4"),
    ],
)
def test_every_sheet_fits_and_says_what_to_do(name, paper):
    fit = fit_of(name)
    condition = bg.assess(fit, LIMITS)
    ax = bg.customer_sheet(
        fit, condition, shop="An invented shop", arbor="bench arbor 1", paper=paper, date=DAY
    )
    said = said_by(ax)
    assert decision(condition) in said
    assert next_step(condition) in said
    assert "invented for a test" in said
    assert "Your own arbor and flanges add their own wobble" in said
    assert "Not recorded: look for cracks" in said
    assert bg.CAUTIONS[0][:40] in said
    check_fits(ax)


def test_a_sheet_without_limits_gives_numbers_and_no_verdict():
    ax = bg.customer_sheet(fit_of("forty_tooth"), date=DAY)
    said = said_by(ax)
    assert "Wobble found." in said
    assert "Limit" not in said
    assert "33 and 13" in said
    flat = said_by(bg.customer_sheet(fit_of("flat_blade"), date=DAY))
    assert "No direction is established" in flat


@papers
@pytest.mark.parametrize("what", ["eye", "mistake", "unread"])
def test_a_sheet_has_no_marks_and_no_pass_under_such_a_headline(what, paper):
    read = [0.1 * math.sin(one / 40 * 2 * math.pi) + 0.002 * (one % 3) for one in range(40)]
    tooth = list(range(1, 41))
    if what == "mistake":
        read[7] = -read[7]
    if what == "unread":
        read, tooth = read[:28], tooth[:28]
    readings = bg.Readings(
        bg.Blade(40, diameter="250 mm"),
        read,
        unit="thou",
        tooth=tooth,
        ring_radius="100 mm",
        graduation="1e-05 mm",
    )
    fit = bg.fit_wobble(readings)
    marks = bg.neutral_line(fit).neutral
    assert marks is not None
    condition = bg.assess(fit, LIMITS, eye="two tips lost" if what == "eye" else "none")
    ax = bg.customer_sheet(fit, condition, paper=paper, date=DAY)
    said = said_by(ax)
    assert condition.action == ("out of service" if what == "eye" else "measure again")
    assert f"Teeth {marks[0].tooth} and {marks[1].tooth}" not in said
    assert "conforms (" not in said
    drawn = [line.get_label() for line in ax.lines]
    assert "neutral line" not in drawn
    assert "fitted wobble" in drawn
    numbers = [text.get_text() for text in ax.texts]
    assert "NEAR" not in numbers
    assert f"{len(tooth)} of 40 teeth" in said
    check_fits(ax)


@papers
def test_every_warning_of_the_fit_stands_on_the_sheet(paper):
    read = [0.02 * math.sin(one / 40 * 2 * math.pi) for one in range(24)]
    bend = [0.02 * math.sin(one / 20 * 2 * math.pi) + 0.001 * (one % 2) for one in range(24)]
    readings = bg.Readings(
        bg.Blade(40, diameter="250 mm"),
        [*(a + b for a, b in zip(read, bend, strict=True)), read[0] + 0.3],
        unit="mm",
        tooth=[*range(1, 25), 1],
        surface="teeth",
    )
    fit = bg.fit_wobble(readings)
    assert len(fit.warnings) >= 4
    for condition in (None, bg.assess(fit, LIMITS)):
        ax = bg.customer_sheet(fit, condition, paper=paper, date=DAY)
        said = said_by(ax)
        for warning in fit.warnings:
            assert warning[1:] in said
        assert "24 of 40 teeth" in said
        check_fits(ax)


def test_before_and_after_are_told_with_their_verdict():
    after = fit_of("forty_tooth")
    readings = after.readings
    before = bg.fit_wobble(
        bg.Readings(
            readings.blade,
            3 * readings.reading * 0.0254,
            unit="mm",
            tooth=readings.tooth,
            turn=readings.turn,
            ring_radius=(readings.ring_radius_mm, "mm"),
            side=readings.side,
        )
    )
    done = change(before, after)
    ax = bg.customer_sheet(after, bg.assess(after, LIMITS), before=done, date=DAY)
    said = said_by(ax)
    assert done.verdict == "improved"
    assert "Better than before" in said
    assert done.words in said
    assert f"is {after.wobble_tir:.2f}" in said
    assert "How differently the blade seats" in said
    check_fits(ax)
    seated = change(before, after, seating="0.001 mm")
    assert "How differently" not in said_by(bg.customer_sheet(after, before=seated, date=DAY))


@pytest.mark.parametrize("shop", ["An invented shop", "\u0160kolka \u2013 \u0153uvre \u20ac5"])
def test_standard_fonts_put_no_font_into_the_file(shop, tmp_path):
    fit = fit_of("forty_tooth")
    bg.save_chart(bg.customer_sheet(fit, shop=shop, date=DAY), tmp_path / "own.pdf")
    with standard_fonts():
        bg.save_chart(bg.customer_sheet(fit, shop=shop, date=DAY), tmp_path / "standard.pdf")
    own, standard = (PdfReader(tmp_path / name).pages[0] for name in ("own.pdf", "standard.pdf"))
    fonts = [font["/BaseFont"] for font in standard["/Resources"]["/Font"].values()]
    assert {font.strip("/").split("-")[0] for font in fonts} == {"Helvetica"}
    assert own["/Resources"]["/Font"]
    words = " ".join(standard.extract_text().split())
    assert "4.58 thou" in words
    assert shop in words
    assert (tmp_path / "standard.pdf").stat().st_size < (tmp_path / "own.pdf").stat().st_size / 2


def test_the_same_input_gives_the_same_sheet(tmp_path):
    for name in ("one.pdf", "two.pdf"):
        bg.save_chart(bg.customer_sheet(fit_of("forty_tooth"), date=DAY), tmp_path / name)
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


# Above the line, for the owner

LONG = "Joinery, Stairs and Fittings of the Hollow-by-the-Old-Harbour, branch at the mill " * 2
TRADE = ("TIR", "ISO", "JCGM", "standard deviation", "degrees of freedom", "uncertainty")


def taken(teeth=40, size=0.03, near=100.0, bump=0.0, minus=False, unit="mm", **stated):
    """A blade of a size in millimetres, read in two turns."""
    at = 2 * np.pi * np.arange(teeth) / teeth
    rng = np.random.default_rng(teeth)
    read = []
    for _ in (1, 2):
        turn = size * np.cos(at - np.radians(near)) + rng.normal(0, 0.003, teeth)
        turn[16] += bump
        read.append(np.append(turn, turn[0]))
    read = np.round(np.concatenate(read), 3)
    if minus:
        read[9] *= -1
    facts = {"diameter": "254 mm", "name": "A-40", "customer": "Hollin"}
    blade = bg.Blade(teeth, **{one: stated.pop(one, own) for one, own in facts.items()})
    stated = {
        "job": "week 48",
        "operator": "Ann",
        "done": "levelled",
        "ring_radius": "110 mm",
        "graduation": "0.001 mm",
    } | stated
    return bg.fit_wobble(
        bg.Readings(
            blade,
            read / MM_PER[unit],
            unit=unit,
            tooth=[*range(1, teeth + 1), 1] * 2,
            turn=np.repeat([1, 2], teeth + 1),
            **stated,
        )
    )


BOTH = bg.Limits((*LIMITS.limits, bg.Limit("raw_tir", (0.15, "mm"), "invented for a test")))
OFF = {"size": 0.01, "bump": 0.3, "surface": "teeth"}
DAYS = {
    "good, letter, before": ({"size": 0.01}, {}),
    "undecided": ({"size": 0.0251}, {}),
    "misread, letter": ({"minus": True}, {}),
    "stands off, letter, before": (OFF, {}),
    "cracked, before": ({}, {"eye": "crack at tooth 7"}),
    "thousand": ({"teeth": 1000, "size": 0.02}, {}),
    "long, letter, before": (
        dict.fromkeys(["name", "customer", "job", "operator", "done"], LONG),
        {},
    ),
}


@pytest.mark.parametrize("case", DAYS)
def test_the_owner_reads_whose_it_is_what_to_do_and_what_was_done(case):
    stated, how = DAYS[case]
    paper, read_before = "letter" if "letter" in case else "a4", "before" in case
    fit, was = taken(**stated), taken(**{**stated, "size": 0.08, "done": ""})
    condition = bg.assess(fit, BOTH, **how)
    compared = change(was, fit) if read_before else None
    made = {"shop": stated.get("name", "A shop"), "arbor": stated.get("name", "an arbor")}
    ax = bg.customer_sheet(fit, condition, before=compared, paper=paper, date=DAY, **made)
    check_fits(ax, inside=True)
    (foot, line) = sorted(one.get_ydata()[0] for one in ax.figure.artists)[:2]
    assert foot < line < 0.5
    above = [text for text in words_of(ax) if text.get_position()[1] > line]
    said = " ".join(" ".join(text.get_text() for text in above).split())
    assert decision(condition) in said
    assert next_step(condition) in said
    own = (fit.readings.blade.customer, fit.readings.job, fit.readings.operator, fit.readings.done)
    for one in own:
        assert "".join(one.split()) in "".join(said.split())
    assert not [word for word in TRADE if word in said]
    if "long" not in case:
        under = ax.get_position()
        own = [
            one
            for one in above
            if one.get_position() > (under.x1, 0) or one.get_position()[1] > under.y0
        ]
        assert min(one.get_fontsize() for one in own) >= 7.5  # At arm's length.
    marks = condition.marks.marked
    assert (marks is not None) == (condition.action == FIT)
    if marks:
        assert f"Teeth {marks[0].tooth} and {marks[1].tooth}" in said


def drawn_from(ax, name):
    """Radii and directions on the page of a line, or of the marks of its name."""
    x, y = [one for one in ax.lines if one.get_label() == name][-1].get_data()
    return np.hypot(x, y), np.degrees(np.arctan2(x, y)) % 360


@pytest.mark.parametrize("marked", [False, True])
def test_before_and_after_are_two_curves_of_one_scale(marked):
    was, now = taken(size=0.09, near=160.0, unit="thou"), taken(size=0.03)
    compared = change(was, now, tooth_1_marked=marked)
    ax = bg.customer_sheet(now, before=compared, date=DAY)
    (old, old_way), (new, new_way) = (drawn_from(ax, one) for one in ("before", "fitted wobble"))
    swing = np.ptp(old) / np.ptp(new)
    assert swing == pytest.approx(was.amplitude * 0.0254 / now.amplitude, rel=1e-3)
    turned = (old_way[old.argmax()] - new_way[new.argmax()] + 180) % 360 - 180
    # Numbers grow clockwise; where tooth 1 may have been another, no direction is told.
    assert turned == pytest.approx(was.near_deg - now.near_deg if marked else 0.0, abs=1.5)
    assert sum(one.get_label() == "before" for one in ax.lines) == 2
    styles = {
        one.get_linestyle() for one in ax.lines if one.get_label() in ("before", "fitted wobble")
    }
    assert len(styles - {"None"}) == 2


def test_what_is_not_compared_is_not_drawn_and_the_sheet_says_why():
    now = taken()
    of_a_misread = change(taken(minus=True), now)
    for how in ({"before": of_a_misread}, {"not_compared": "the ring is another"}, {}):
        ax = bg.customer_sheet(now, date=DAY, **how)
        assert "before" not in [one.get_label() for one in ax.lines]
        assert ("The ring is another." in said_by(ax)) == ("not_compared" in how)


def test_a_worse_blade_is_not_called_better():
    worse = change(taken(size=0.03), taken(size=0.09))
    same = change(taken(size=0.03), taken(size=0.03))
    said = [said_by(bg.customer_sheet(taken(), before=one, date=DAY)) for one in (worse, same)]
    assert "Worse than before" in said[0]
    assert "mm more (95 %)" in said[0]
    assert "Not shown to be better" in said[1]
    assert not any("Better than before" in one for one in said)


def test_a_tooth_that_stands_off_is_drawn_where_it_stands():
    fit = taken(size=0.01, bump=0.3, surface="teeth")
    ax = bg.customer_sheet(fit, date=DAY)
    radius, way = drawn_from(ax, "stands off")
    assert way == pytest.approx([(fit.readings.blade.angle_of(17) - ax_top(fit)) % 360], abs=0.01)
    assert radius[0] > drawn_from(ax, "readings")[0].max()


def ax_top(fit):
    """The direction that a sheet shows uppermost."""
    line = bg.neutral_line(fit)
    return line.neutral[0].direction_deg if line.neutral else 0.0
