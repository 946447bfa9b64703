"""The marking disc: a paper ring at true size that lies on the plate and tells its teeth."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date as Date  # noqa: N812

from matplotlib.axes import Axes

from bladegeom.blade import Blade
from bladegeom.draw._disc import BEYOND, Disc
from bladegeom.draw._style import drawn
from bladegeom.draw._tiles import OVERLAP, Plan, map_of, room_of
from bladegeom.draw.page import MARGIN, Page
from bladegeom.faults import refuse, shown
from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.lengths import Length, length_mm
from bladegeom.readings import Readings

FACES = ("toward", "away")
"""Sides of the blade on which a disc may lie: toward the indicator, or away from it."""

_INSIDE, _NARROWEST = 1.0, 18.0
"""Millimetres: from the gullets in to the rim, and of the narrowest ring that can be read."""


@drawn
@checked
def blade_disc(
    fit: WobbleFit,
    *,
    bore: Length,
    face: str = "toward",
    paper: str = "a4",
    date: Date | None = None,
) -> list[Axes]:
    """Draw a paper ring at true size, to be cut out and laid on the plate: its teeth are numbered.

    Its rim lies within the gullets, where diameter and gullet are stated, else at the ring that
    was read on the plate, else it is as large as a sheet holds. What does not fit on one page goes
    onto several, behind one that says how they are joined.

    Parameters
    ----------
    fit : WobbleFit
        Of a blade whose numbers are known to run clockwise or counterclockwise: the disc of
        another could be a mirror image, and name wrong teeth.
    bore : length, such as ``"5/8 in"``
        Diameter of the hole: that of the flange where the blade is on the saw, that of the arbor's
        hole where it is off.
    face : {"toward", "away"}
        On which side of the blade it lies, print outward: toward the indicator or away from it.
    paper : {"a4", "letter"}
    date : datetime.date, optional
        Printed on the disc; today if not given.

    Returns
    -------
    list of matplotlib.axes.Axes
        One for each page, for `save_chart`: those of the disc in millimetres from its middle.

    Raises
    ------
    RefusedError
        If the way of the numbers is not stated, or the hole leaves no ring.
    """
    blade = fit.readings.blade
    if face not in FACES:
        raise refuse(f"face is {face!r}", "give toward or away", value=face)
    if blade.numbered is None:
        raise refuse(
            "it is not stated which way the teeth are numbered: the disc could be a mirror image "
            "and name wrong teeth",
            "state numbered, clockwise or counterclockwise as seen from the indicator's side",
            blade=blade.name,
            column="numbered",
        )
    hole, marks, day = length_mm("bore", bore) or 0.0, neutral_line(fit), date or Date.today()
    page = _headed(fit, marks, face, paper, day, 1)
    radius = _radius(fit.readings) or min(room_of(page)) / 2 - BEYOND
    radius = min(radius, blade.radius_mm or radius)
    if radius - hole / 2 < _NARROWEST:
        raise refuse(
            f"a hole {hole:.4g} mm across leaves no ring to read: its rim is {2 * radius:.4g} mm "
            "across",
            "bore is the diameter of the flange (blade on the saw) or of the arbor's hole (off it)",
            value=f"{hole:.4g} mm",
            blade=blade.name,
        )
    disc = Disc(fit, marks, hole / 2, radius, face, day)
    if 2 * disc.reach <= min(room_of(page)):
        return [disc.draw_on(page, Plan(disc.reach, 1, 1), 0)]
    plans = []
    for landscape in (False, True):
        wide, high = (
            1 if 2 * disc.reach <= room else math.ceil(2 * disc.reach / (room - OVERLAP))
            for room in room_of(_bare(blade, paper, landscape, ""))
        )
        plans.append((wide * high, landscape, wide, high))
    count, landscape, wide, high = min(plans)
    plan = Plan(disc.reach, wide, high)
    pages = [map_of(_headed(fit, marks, face, paper, day, count + 1), plan)]
    for at in range(count):
        page = _bare(blade, paper, landscape, f"page {at + 2} of {count + 1}")
        pages.append(disc.draw_on(page, plan, at))
    return pages


def _radius(readings: Readings) -> float | None:
    """Return the rim's radius that goes with what is stated; None where nothing tells it."""
    rim, gullet = readings.blade.radius_mm, readings.blade.gullet_mm
    if rim is not None and gullet is not None:
        return rim - gullet - _INSIDE
    return readings.ring_radius_mm if readings.surface == "plate" else None


def _bare(blade: Blade, paper: str, landscape: bool, what: str) -> Page:
    """Make a page with a name, the cautions, and nothing else."""
    page = Page(paper, landscape=landscape)
    page.cautions()
    words = f"{blade.name or 'Blade'}: disc to mark by, {what}"
    page.fitted_text(MARGIN, 8.0, words, 10, page.inner, 5.0, weight="bold")
    page.top = 13.0
    return page


def _headed(
    fit: WobbleFit, marks: NeutralLine, face: str, paper: str, day: Date, count: int
) -> Page:
    """Make the page that says what the disc tells and how it is used."""
    page = Page(paper)
    what = "disc to mark by" if count == 1 else f"disc to mark by, page 1 of {count}"
    page.head_of(fit, what, day)
    if marks.mistake is not None:
        page.not_for_the_wall(marks.instructions, page.top - 1.0)
    else:
        lines = page.wrapped(marks.instructions[0], 15, 0.87 * page.inner)
        page.top = 1.5 + page.lines(MARGIN, page.top, lines, 15, 6.5, weight="bold")
        for words in marks.either:
            page.line(words, 11, 6.0)
    page.warnings(fit.rest)
    for place, words in enumerate(_how(fit.readings, marks, face, joined=count > 2), start=1):
        lines = page.wrapped(f"{place}. {words}", 9, page.inner)
        page.top = 0.8 + page.lines(MARGIN, page.top, lines, 9, 3.9)
    return page


def _how(readings: Readings, marks: NeutralLine, face: str, *, joined: bool) -> Iterator[str]:
    """Say what to do with the disc, step by step."""
    yield (
        "Measure both rulers: 100 mm and 4 in. If they are not true, print again at 100 % (actual "
        "size), not fitted to the page."
    )
    if joined:
        yield (
            "Join the pages in their order, row by row: cut each along the dashed seams at its "
            "left and upper edge, lay it on the page before so that seams and lettered crosses "
            "meet, and tape it flat."
        )
    beyond = " (neither ring radius nor diameter and gullet are stated: cut it smaller if it hides "
    beyond = "" if _radius(readings) else f"{beyond}the teeth; the lines stay right)"
    yield (
        f"Cut out the rim{beyond} and the hole. The hole must fit what it lies round: the flange "
        "where the blade is on the saw, the arbor's hole where it is off. Cut the slit, so that "
        "the disc goes round the arbor."
    )
    side = f"the side where the indicator stood{f' ({shown(readings.side)})' * bool(readings.side)}"
    side = side if face == "toward" else f"the side away from the indicator, not {side}"
    yield (
        f"Lay it flat on {side}, print toward you, and turn it until line 1 points at tooth 1. "
        "Look at three more teeth round the blade: each must stand at its number."
    )
    if marks.marked:
        first, second = marks.marked
        yield (
            "Cut out the windows beside the neutral line, where there are any, and draw along "
            "their edges on it; or mark the plate where the line meets the rim, at teeth "
            f"{first.tooth} and {second.tooth}."
        )
    else:
        yield "The disc tells the number of every tooth. No line is drawn on it: see above."
