"""The marking disc: true to a tenth of a millimetre, never a mirror image, and never too sure."""

from __future__ import annotations

from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from fits import check_fits
from matplotlib.backends.backend_agg import FigureCanvasAgg
from pypdf import PdfReader
from rigid_body import (
    RIGHT,
    TOWARD_INDICATOR,
    UP,
    RigidBlade,
    blade_direction,
    plate_normal,
    readings_mm,
    rotation,
    tooth_angles_deg,
)
from simulated import rng_for
from written import run, save, sheet, two_blades

import bladegeom as bg
from bladegeom.draw.disc import blade_disc

DAY = date(2026, 11, 27)
DPI = 600
TRUE_MM = 0.1
PATTERN = "1 1 1 1 1.6"


def taken(teeth=40, ring_mm=60.0, pattern=None, wobble_mm=0.1, near_deg=77.0, slip=None, **facts):
    """A blade that was read, its near direction and its faults known."""
    stated = {"numbered": "clockwise", **facts.pop("blade", {})}
    blade = bg.Blade(teeth, name="X", pitch_pattern=pattern, **stated)
    read = wobble_mm * np.cos(np.radians(blade.angles_deg - near_deg))
    read = np.round(read + rng_for(teeth).normal(0, 0.003, teeth), 4)
    if slip is not None:
        read[slip - 1] *= -1
    facts = {"ring_radius": f"{ring_mm} mm", "graduation": "0.002 mm", **facts}
    return bg.fit_wobble(bg.Readings(blade, read, unit="mm", **facts))


# True size


class Picture:
    """A page as a printer at 600 dots to the inch gets it: which dots are black."""

    def __init__(self, ax) -> None:
        figure, self.ax = ax.figure, ax
        figure.set_dpi(DPI)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        self.black = np.asarray(canvas.buffer_rgba())[::-1, :, 0] < 128

    def box(self, axes):
        """The black dots within some axes: right and up, in millimetres from their lower left."""
        box = axes.bbox
        x0, y0, x1, y1 = (round(one) for one in (box.x0, box.y0, box.x1, box.y1))
        up, right = np.nonzero(self.black[y0:y1, x0:x1])
        return (right + x0 + 0.5) * 25.4 / DPI, (up + y0 + 0.5) * 25.4 / DPI

    @property
    def dots(self):
        """Those of the disc in millimetres from the sheet's lower left."""
        return self.box(self.ax)

    def place(self, x, y):
        """About where a place of the disc lies on the sheet, in millimetres."""
        return self.ax.transData.transform((x, y)) / DPI * 25.4

    def circle(self, radius, wide=0.5):
        """Fit a circle to the dots that lie about one: its middle and its radius."""
        x, y = self.dots
        middle = self.place(0, 0)
        ring = np.abs(np.hypot(x - middle[0], y - middle[1]) - radius) < wide
        x, y = x[ring], y[ring]
        columns = np.column_stack([x, y, np.ones_like(x)])
        found = np.linalg.lstsq(columns, x**2 + y**2, rcond=None)[0]
        return found[:2] / 2, float(np.sqrt(found[2] + np.sum(found[:2] ** 2) / 4))

    def directions(self, middle, radius):
        """Where the lines are that cross a circle, in degrees clockwise from its top."""
        x, y = self.dots
        x, y = x - middle[0], y - middle[1]
        at = np.sort(np.degrees(np.arctan2(x, y))[np.abs(np.hypot(x, y) - radius) < 0.1] % 360.0)
        ends = np.flatnonzero(np.diff(at) > np.degrees(0.3 / radius)) + 1
        return np.array([one.mean() for one in np.split(at, ends)])

    def cross(self, x, y):
        """Where the two lines of a cross meet that stands about there."""
        right, up = self.dots
        about = self.place(x, y)
        right, up = right - about[0], up - about[1]
        found = []
        for along, aside in ((up, right), (right, up)):
            near = (np.abs(aside) < 0.6) & (np.abs(along) > 1.5) & (np.abs(along) < 3.5)
            found.append(float(np.median(aside[near])))
        return about + found


def check_rulers(one):
    for axes in one.ax.figure.axes:
        if axes is one.ax:
            continue
        box = axes.bbox
        black = one.black[round(box.y0) : round(box.y1), round(box.x0) : round(box.x1)]
        # Turned back, inches hang down from the line and millimetres stand on it.
        black = black if box.width > box.height else black.T[::-1]
        line = int(np.argmax(black.sum(axis=1)))
        for aside, long_mm in ((45, 100.0), (-45, 101.6)):
            dots = np.flatnonzero(black[line + aside])
            ticks = [run.mean() for run in np.split(dots, np.flatnonzero(np.diff(dots) > 1) + 1)]
            ticks = [at - ticks[0] for at in ticks if at - ticks[0] < (long_mm + 0.8) / 25.4 * DPI]
            assert ticks[-1] * 25.4 / DPI == pytest.approx(long_mm, abs=TRUE_MM)


def test_a_disc_on_one_page_is_true_to_a_tenth_of_a_millimetre():
    fit = taken(50, pattern=PATTERN)
    (one,) = map(Picture, blade_disc(fit, bore="5/8 in", date=DAY))
    middle, hole = one.circle(7.9375)
    other, rim = one.circle(60.0)
    assert hole == pytest.approx(7.9375, abs=TRUE_MM / 2)
    assert rim == pytest.approx(60.0, abs=TRUE_MM / 2)
    assert np.hypot(*(middle - other)) < TRUE_MM / 2
    # Beyond the rim stand the teeth's lines, the slit, and the ends of four marks.
    seen = one.directions(other, 61.2)
    first = next(text for text in one.ax.texts if text.get_text() == "1").get_position()
    start = seen[np.argmin(np.abs(seen - np.degrees(np.arctan2(*first)) % 360.0))]
    for angle in tooth_angles_deg(50, PATTERN):
        off = (seen - start - angle + 180.0) % 360.0 - 180.0
        assert np.radians(np.abs(off).min()) * 60.0 < TRUE_MM
    assert len(seen) == 50 + 1 + 4
    check_rulers(one)


def test_a_disc_on_several_pages_is_as_true_once_they_are_joined():
    fit = taken(40, ring_mm=110.0, blade={"diameter": "254 mm"})
    _, *tiles = map(Picture, blade_disc(fit, bore="80 mm", date=DAY))
    assert len(tiles) == 2
    found = []
    for one in tiles:
        check_rulers(one)
        middle, rim = one.circle(110.0)
        hole_at, hole = one.circle(40.0)
        assert rim == pytest.approx(110.0, abs=TRUE_MM)
        assert hole == pytest.approx(40.0, abs=TRUE_MM)
        assert np.hypot(*(middle - hole_at)) < TRUE_MM
        letters = {text.get_text(): text.get_position() for text in one.ax.texts}
        crosses = [one.cross(0.0, letters[letter][1] + 2.5) for letter in "AB"]
        found.append([cross - middle for cross in crosses])
    for left, right in zip(*found, strict=True):  # The same cross from either page.
        assert np.hypot(*(left - right)) < TRUE_MM


def test_nothing_of_a_page_runs_into_its_margin():
    fit = taken(40, ring_mm=110.0, blade={"diameter": "254 mm"})
    pages = blade_disc(fit, bore="80 mm", face="away", paper="letter", date=DAY)[1:]
    for ax in pages:  # All that is drawn of the disc ends where its part does.
        drawn = [*ax.lines, *ax.texts, *ax.patches]
        kept = [(one.get_clip_box(), one.get_clip_path()) for one in drawn if one.get_clip_on()]
        assert len(kept) == len(drawn)
        assert all(box is not None or path is not None for box, path in kept)


@pytest.mark.parametrize(
    ("blade", "ring_mm", "radius"),
    [
        ({"diameter": "254 mm", "gullet": "12 mm"}, 110.0, 127.0 - 12.0 - 1.0),
        ({"diameter": "254 mm"}, 110.0, 110.0),
        ({}, 75.0, 75.0),
    ],
)
def test_the_rim_is_as_large_as_what_is_stated_allows(blade, ring_mm, radius):
    pages = blade_disc(taken(24, ring_mm=ring_mm, blade=blade), bore="30 mm")
    rims = {round(one.radius, 6) for ax in pages for one in ax.patches if hasattr(one, "radius")}
    assert radius in rims


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_without_a_size_it_is_as_large_as_a_sheet_holds(paper):
    fit = taken(24, ring_radius=None)
    (ax,) = blade_disc(fit, bore="30 mm", paper=paper)
    rim = max(one.radius for one in ax.patches if hasattr(one, "radius"))
    assert 60.0 < rim < 95.0
    small = taken(24, ring_radius=None, blade={"diameter": "90 mm"})
    (ax,) = blade_disc(small, bore="20 mm", paper=paper)
    assert max(one.radius for one in ax.patches if hasattr(one, "radius")) == 45.0


@pytest.mark.parametrize(
    ("ring_mm", "paper"), [(60.0, "a4"), (110.0, "a4"), (110.0, "letter"), (180.0, "letter")]
)
def test_every_part_is_on_a_page_with_what_lies_next_to_it(ring_mm, paper):
    pages = blade_disc(taken(60, ring_mm=ring_mm), bore="50 mm", paper=paper)
    held = np.zeros(60, dtype=int)
    places = {}
    for ax in pages if len(pages) == 1 else pages[1:]:
        check_fits(ax)
        for text in ax.texts:
            if text.get_text().isdigit():
                places[int(text.get_text())] = text.get_position()
        (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
        size = ax.bbox.width / ax.figure.dpi * 25.4, ax.bbox.height / ax.figure.dpi * 25.4
        assert size == pytest.approx((right - left, high - low), abs=1e-6)
        box = ax.get_position()
        assert 0.03 < box.x0 < box.x1 < 0.97
        for tooth, (x, y) in places.items():
            held[tooth - 1] += left + 5 < x < right - 5 and low + 5 < y < high - 5
    assert sorted(places) == [*range(1, 61)]
    assert held.min() >= 1


# Which way round


def laid(ax, blade, tooth_1_deg, face):
    """Lay a disc on a blade, line 1 at tooth 1: where its words then are in the world.

    It lies print outward, so whoever looks at the print looks along the arbor from that side. The
    paper is only turned, and where it is seen from the other side right is left.
    """
    right = RIGHT if face == "toward" else -RIGHT
    sees = TOWARD_INDICATOR if face == "toward" else -TOWARD_INDICATOR
    places = {}
    for text in ax.texts:
        x, y = text.get_position()
        places[text.get_text()] = x * right + y * UP
    tooth_1 = blade_direction(blade, tooth_1_deg)
    unit = places["1"] / np.linalg.norm(places["1"])
    turn = np.degrees(np.arctan2(np.cross(unit, tooth_1) @ sees, unit @ tooth_1))
    return {words: rotation(sees, turn) @ place for words, place in places.items()}


@pytest.mark.parametrize(
    ("face", "side"), [("toward", "left"), ("away", "left"), ("toward", "right")]
)
@pytest.mark.parametrize("numbered", ["clockwise", "counterclockwise"])
def test_laid_on_the_plate_it_points_at_what_is_truly_nearest(numbered, side, face):
    body = RigidBlade(0.08, 205.0, numbered)
    angles = tooth_angles_deg(50, PATTERN)
    read = readings_mm(body, angles, 70.0, touch_deg=30.0)
    blade = bg.Blade(50, pitch_pattern=PATTERN, numbered=numbered)
    facts = {"side": side, "touch_deg": 30.0, "graduation": "0.001 mm"}
    noise = rng_for(4).normal(0, 1e-4, 50)
    fit = bg.fit_wobble(bg.Readings(blade, read + noise, unit="mm", ring_radius="70 mm", **facts))
    (ax,) = blade_disc(fit, bore="20 mm", face=face)
    places = laid(ax, body, 0.0, face)
    for tooth, angle in enumerate(angles, start=1):
        there = places[str(tooth)] / np.linalg.norm(places[str(tooth)])
        assert there @ blade_direction(body, angle) > np.cos(np.radians(0.01))
    normal = plate_normal(body)
    around = [blade_direction(body, angle) for angle in range(360)]
    height = [-(one @ normal) / (normal @ TOWARD_INDICATOR) for one in around]
    for words, true in (("NEAR", np.argmax(height)), ("FAR", np.argmin(height))):
        unit = places[words] / np.linalg.norm(places[words])
        assert unit @ around[true] > np.cos(np.radians(1.0))
    said = " ".join(text.get_text() for text in ax.figure.texts)
    assert ("away from the indicator" in said) == (face == "away")
    assert side in said


# What it says, and what it does not


def shown(ax):
    return [text.get_text() for text in ax.texts]


def ticks(ax, radius):
    """The outer ends of the lines of teeth."""
    (line,) = [line for line in ax.lines if line.get_label() == "teeth"]
    return [end for end in line.get_xydata() if abs(np.hypot(*end) - radius - 2.0) < 1e-6]


@pytest.mark.parametrize("teeth", [5, 60, 120, 300])
def test_every_tooth_has_a_line_and_as_many_as_can_be_read_a_number(teeth):
    fit = taken(teeth, ring_mm=70.0)
    (ax,) = blade_disc(fit, bore="25 mm")
    assert len(ticks(ax, 70.0)) == teeth
    numbers = sorted(int(one) for one in shown(ax) if one.isdigit())
    if teeth <= 120:
        assert numbers == [*range(1, teeth + 1)]
    marks = bg.neutral_line(fit)
    named = {1, marks.near.tooth, marks.far.tooth, *(mark.tooth for mark in marks.marked)}
    assert named <= set(numbers)
    assert len(numbers) == len(set(numbers)) >= 24 or teeth == 5
    places = sorted(
        np.degrees(np.arctan2(*text.get_position())) % 360.0
        for text in ax.texts
        if text.get_text().isdigit()
    )
    gaps = [second - first for first, second in pairwise([*places, places[0] + 360.0])]
    assert np.radians(min(gaps)) * 60.0 > 1.5  # No number stands on another.


def test_the_neutral_line_is_drawn_through_the_middle_where_it_is():
    fit = taken(40)
    (ax,) = blade_disc(fit, bore="25 mm")
    marks = bg.neutral_line(fit)
    places = {text.get_text(): text.get_position() for text in ax.texts}
    near, first = (np.degrees(np.arctan2(*places[one])) for one in ("NEAR", "1"))
    assert (near - first - fit.near_deg + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-6)
    thick = [line.get_xydata() for line in ax.lines if line.get_linewidth() > 2]
    turned = sorted(np.degrees(np.arctan2(*ends[-1])) % 360.0 for ends in thick)
    wanted = sorted((near + quarter) % 360.0 for quarter in (0, 90, 180, 270))
    assert turned == pytest.approx(wanted)
    # The slit runs clear of what is marked, and between two teeth.
    dashed = [line.get_xydata() for line in ax.lines if line.get_linestyle() == "--"]
    (slit,) = [ends for ends in dashed if np.hypot(*ends[-1]) == pytest.approx(64.0)]
    cut = np.degrees(np.arctan2(*slit[-1]))
    assert np.hypot(*slit[0]) == pytest.approx(12.5)
    assert abs((cut - near + 45.0) % 90.0 - 45.0) > 20.0
    assert abs((cut - first) % 9.0 - 4.5) < 1e-6
    said = " ".join(text.get_text() for text in ax.figure.texts)
    assert marks.instructions[0] in said


def test_what_an_answer_withholds_no_disc_draws():
    slip = taken(24, slip=7)
    flat = taken(24, wobble_mm=0.0)
    assert slip.mistake is not None
    assert not flat.resolved
    for fit in (slip, flat):
        pages = blade_disc(fit, bore="25 mm")
        told = [one for ax in pages for one in shown(ax)]
        assert not {"NEAR", "FAR", "neutral line"} & set(told)
        assert not [line for ax in pages for line in ax.lines if line.get_linewidth() > 2]
        assert [one for one in told if one.startswith("no line")]
        assert {str(tooth) for tooth in range(1, 25)} <= set(told)
        said = " ".join(text.get_text() for text in pages[0].figure.texts)
        assert (fit.mistake is not None) == ("NOT FOR THE WALL" in said)
        assert "windows" not in said


def test_it_is_refused_where_it_could_name_wrong_teeth_or_cannot_be():
    fit = taken(24)
    with pytest.raises(bg.RefusedError, match="state numbered"):
        blade_disc(taken(24, blade={"numbered": None}), bore="25 mm")
    with pytest.raises(bg.RefusedError, match="toward or away"):
        blade_disc(fit, bore="25 mm", face="left")
    for bore in ("100 mm", "130 mm"):
        with pytest.raises(bg.RefusedError, match="leaves no ring"):
            blade_disc(fit, bore=bore)


def test_the_command_draws_a_disc_of_every_blade_or_says_why_not(tmp_path):
    out = tmp_path / "disc.pdf"
    facts = {"ring_radius_mm": 70, "numbered": "clockwise"}
    file = save(tmp_path / "two.csv", two_blades(**facts))
    done = run("disc", file, "-o", out, "--bore", "5/8in")
    assert done.status == 0
    pages = PdfReader(out).pages
    assert len(pages) == 2
    assert ["disc to mark by" in page.extract_text() for page in pages] == [True, True]
    rows = two_blades(**facts)
    for row in rows[13:]:
        row[-1] = ""
    done = run("disc", save(tmp_path / "two.csv", rows), "-o", out, "--bore", "5/8in")
    assert done.status == 1
    assert "numbered" in done.err
    assert len(PdfReader(out).pages) == 1
    out.unlink()
    done = run("disc", save(tmp_path / "no.csv", sheet()), "-o", out, "--bore", "5/8in")
    assert done.status == 2
    assert not out.exists()
    assert run("disc", file, "-o", out).status == 2  # A hole is needed.


def test_a_slip_is_told_where_the_disc_is_drawn(tmp_path):
    read = [f"{0.1 * np.cos(2 * np.pi * (at - 3) / 24):.3f}" for at in range(24)]
    read[5] = f"-{read[5]}"
    rows = sheet(read, ring_radius_mm=70, numbered="counterclockwise", graduation_mm=0.002)
    file = tmp_path / "slip.csv"
    file.write_text("\n".join(",".join(row) for row in rows), "utf-8")
    done = run("disc", file, "-o", tmp_path / "disc.pdf", "--bore", "1in")
    assert done.status == 0
    assert "not for the wall" in done.err
