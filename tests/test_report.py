"""The sheet that goes back with a blade: what it says, for every kind of blade."""

from __future__ import annotations

import math
from datetime import date

import pytest
from fits import check_fits, words_of
from pypdf import PdfReader

import bladegeom as bg
from bladegeom.draw._style import standard_fonts
from bladegeom.shop.change import change

DAY = date(2026, 11, 25)
LIMITS = bg.Limits((bg.Limit("wobble_tir", (0.05, "mm"), "invented for a test"),))
papers = pytest.mark.parametrize("paper", ["a4", "letter"])


def fit_of(name):
    return bg.fit_wobble(bg.read_blade(f"data_demo/{name}.csv"))


def said_by(ax):
    return " ".join(" ".join(text.get_text() for text in words_of(ax)).split())


@papers
@pytest.mark.parametrize(
    "name",
    ["forty_tooth", "fifty_tooth_groups", "flat_blade", "missing_arc", "eighty_tooth_two_turns"],
)
def test_every_sheet_fits_and_says_what_to_do(name, paper):
    fit = fit_of(name)
    condition = bg.assess(fit, LIMITS)
    ax = bg.customer_sheet(
        fit, condition, shop="An invented shop", arbor="bench arbor 1", paper=paper, date=DAY
    )
    said = said_by(ax)
    assert condition.action[1:] in said
    assert "invented for a test" in said
    assert "Your own arbor and flanges add their own wobble" in said
    assert "not recorded: look for cracks" in said
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
    assert "Before and after: improved" in said
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
