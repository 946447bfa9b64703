"""The set-up card: what stands on it, that it fits, and that nothing overlaps."""

from __future__ import annotations

import copy
import re
import warnings
from dataclasses import replace
from pathlib import Path

import pytest
from fits import check_fits, words_of
from matplotlib.patches import Rectangle

import bladegeom as bg
from bladegeom.draw._fonts import escaped
from bladegeom.faults import BladegeomWarning, RefusedError

DEMO = "data_demo/shed_saw.toml"
papers = pytest.mark.parametrize("paper", ["a4", "letter"])


@pytest.fixture(scope="module")
def demo():
    return bg.set_up(DEMO)


@papers
def test_the_demo_card_is_one_page_with_every_step_and_verdict(demo, paper):
    (ax,) = bg.setup_card(demo, paper=paper)
    said = " ".join(text.get_text() for text in words_of(ax))
    assert "Bench by the north window" in said
    assert "Measured 2026-11-21" in said
    assert "33 up, 13 down" in said
    for place, step in enumerate(demo.steps, start=1):
        assert f"{place} {step.title.split()[0]}" in said
    boxes = [text.get_text() for text in words_of(ax)]
    assert boxes.count("OUT") == sum(step.verdict == "out" for step in demo.steps)
    assert boxes.count("WITHIN") == sum(step.verdict == "within" for step in demo.steps)
    assert boxes.count("AGREE") == 1
    assert bg.CAUTIONS[0][:40] in said


@papers
def test_everything_on_the_card_fits_and_nothing_overlaps(demo, paper):
    (ax,) = bg.setup_card(demo, paper=paper)
    check_fits(ax)


@papers
def test_the_card_begins_with_the_one_thing_to_do_now(demo, paper):
    (ax,) = bg.setup_card(demo, paper=paper)
    words = words_of(ax)
    height = {text.get_text(): text.get_position()[1] for text in words}
    said = " ".join(text.get_text() for text in words)
    assert demo.do_now in said
    now = next(text for text in height if demo.do_now.startswith(text))
    first = next(text for text in height if text.startswith(f"1 {demo.steps[0].title}"))
    assert height[now] > height[first]


def said_on(ax):
    return " ".join(" ".join(text.get_text() for text in words_of(ax)).split())


def off_in_everything(demo):
    """The demo saw with every part out, a likely mistake's warning, and more to say than fits."""
    worse = " ".join(["It is off by more than before."] * 3)
    far = " ".join(["Move it a long way to the left, and look at it twice."] * 3)
    steps = [
        replace(
            step,
            state="move",
            verdict="out",
            do=(f"Part {place}: {far}",),
            remarks=(*step.remarks, f"Part {place}: {worse}"),
            read_again=step.entries,
        )
        for place, step in enumerate(demo.steps, start=1)
    ]
    return replace(demo, steps=tuple(steps))


@papers
@pytest.mark.parametrize("times", [1, 3])
def test_one_page_holds_whatever_is_to_be_done_and_the_numbers_give_way(demo, paper, times):
    full = off_in_everything(demo)
    (ax,) = bg.setup_card(replace(full, steps=full.steps * times), paper=paper)
    check_fits(ax)
    said = said_on(ax)
    for step in full.steps[1:]:
        assert " ".join(step.do) in said
        for one in step.remarks:
            assert one in said
    assert full.do_now in said
    assert all(caution[:40] in said for caution in bg.CAUTIONS)
    numbers = sum(said.count(step.found[0][:30]) for step in full.steps)
    assert numbers < times * len(full.steps)


@papers
def test_what_is_to_be_done_now_is_legible_at_arms_length(demo, paper):
    for one in (demo, off_in_everything(demo)):
        (ax,) = bg.setup_card(one, paper=paper)
        words = words_of(ax)
        (first,) = (at for at, text in enumerate(words) if one.do_now.startswith(text.get_text()))
        said = ""
        while said != one.do_now:
            said = f"{said} {words[first].get_text()}".strip()
            assert words[first].get_fontsize() >= 14.0
            first += 1


def in_mm(read):
    """Readings in thou of a file, as one who has a metric dial wrote them."""
    return f'"{" ".join(f"{float(one) * 0.0254:.4f}" for one in read[1].split())} mm"'


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_card_tells_lengths_in_one_unit(tmp_path, unit):
    blade = str(Path(DEMO).resolve().parent / "forty_tooth.csv")
    text = Path(DEMO).read_text("utf-8").replace("forty_tooth.csv", blade)
    # One part of many was read in the other unit; or nearly all.
    fence = re.search(r"\[fence\].*?\[\[stop", text, re.DOTALL)[0] if unit == "in" else text
    text = text.replace(fence, re.sub(r'"([-\d. ]+) thou"', in_mm, fence))
    path = tmp_path / "saw.toml"
    path.write_text(text, "utf-8")
    done, plain = bg.set_up(path), bg.set_up(DEMO)
    assert done.unit == unit
    told = re.findall(r"[\d.]+ (mm|in|thou|um)\b(?! front)", said_on(bg.setup_card(done)[0]))
    assert set(told) == {unit}
    # What was read is the same, and so is what is to be done.
    for one, same in zip(done.steps, plain.steps, strict=True):
        assert (one.state, one.verdict) == (same.state, same.verdict)


def test_what_is_refused_is_told_in_the_unit_in_which_it_was_written(tmp_path):
    path = tmp_path / "saw.toml"
    path.write_text(
        '[slots]\nfront = "1 mm"\nback = "61 mm"\nseparation = "50 mm"\n'
        '[fence]\nalong = "0 12 in"\nreadings = "1 2 thou"\n'
        '[test_cut.kerf]\nwidth = "0.13 in"\n',
        "utf-8",
    )
    with pytest.raises(RefusedError, match="differ by 60 mm"):
        bg.set_up(path)


def test_the_card_shows_before_and_after(tmp_path):
    path = tmp_path / "saw.toml"
    read = 'front = "1.00 1.00 1.00 mm"\n'
    path.write_text(
        f'[slots]\n{read}back = "1.01 1.01 1.01 mm"\nseparation = "150 mm"\n'
        f'graduation = "0.01 mm"\n[slots.before]\n{read}back = "1.40 1.40 1.41 mm"\n'
    )
    said = said_on(bg.setup_card(bg.set_up(path))[0])
    assert "before: 0.40" in said
    assert "at most 0.021 mm" in said


@papers
def test_a_long_name_and_long_notes_fit(demo, paper):
    long = replace(demo, saw="The " + "very " * 20 + "long bench", notes="much to say " * 60)
    (ax,) = bg.setup_card(long, paper=paper)
    check_fits(ax)


def test_letters_that_no_font_has_stop_nothing(demo):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", BladegeomWarning)
        named = replace(
            demo, saw="\u6728\u5de5", notes="\u4e38\u92f8 \u0e40\u0e25\u0e37\u0e48\u0e2d\u0e22"
        )
        (ax,) = bg.setup_card(named)
    assert escaped("\u6728\u5de5") in [text.get_text() for text in words_of(ax)]
    check_fits(ax)


def test_a_saw_without_a_blade_or_a_date_leaves_room_for_the_date(tmp_path):
    path = tmp_path / "saw.toml"
    path.write_text('[slots]\nfront = "1 mm"\nback = "1 mm"\nseparation = "90 mm"\n', "utf-8")
    (ax,) = bg.setup_card(bg.set_up(path))
    said = [text.get_text() for text in words_of(ax)]
    assert "Table saw" in said
    assert any(line.endswith("Measured ____________") for line in said)
    assert not any("upright: table" in line for line in said)
    check_fits(ax)


def test_cautions_of_a_step_are_on_the_card(tmp_path):
    path = tmp_path / "saw.toml"
    path.write_text('[fence]\nalong = "0 100 200 mm"\nreadings = "0 1 2.01 mm"\n', "utf-8")
    (ax,) = bg.setup_card(bg.set_up(path))
    said = " ".join(text.get_text() for text in words_of(ax))
    assert "! Kickback: the fence toes in" in said


def place_of(ax, words, which):
    """Where a text stands in millimetres from the left and the top: the first such, or the next."""
    found = [text for text in words_of(ax) if text.get_text() == words][which]
    x, y = found.get_position()
    return x * ax.get_xlim()[1], (1 - y) * ax.get_ylim()[0]


@pytest.mark.parametrize("side", ["left", "right", "west"])
def test_the_first_tooth_is_drawn_above_and_in_front(demo, side):
    readings = replace_side(demo.fit.readings, side)
    (ax,) = bg.setup_card(replace(demo, fit=replace(demo.fit, readings=readings)))
    assert place_of(ax, "33", 0)[1] < place_of(ax, "13", 0)[1]
    # From the left side of the blade its front is seen on the right.
    in_front_right = bool(place_of(ax, "33", 1)[0] > place_of(ax, "13", 1)[0])
    assert in_front_right is (side == "left")


def replace_side(readings, side):
    copied = copy.copy(readings)
    object.__setattr__(copied, "side", side)
    return copied


def test_verdicts_are_told_apart_without_colours(demo):
    (ax,) = bg.setup_card(demo)
    # The first is round the one thing to do now.
    _, *boxes = [patch for patch in ax.patches if isinstance(patch, Rectangle)]
    verdicts = [step.verdict for step in demo.steps if step.verdict]
    assert len(boxes) == len(verdicts)
    for box, verdict in zip(boxes, verdicts, strict=True):
        dark = box.get_facecolor()[:3] == (0.0, 0.0, 0.0)
        assert dark is (verdict in ("out", "do not agree"))
        assert (box.get_linestyle() == "--") is (verdict == "cannot tell")
