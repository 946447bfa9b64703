"""The drawing of a marking disc: its teeth, the line to draw along, and what holds for it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812
from functools import cached_property
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from bladegeom.blade import Blade
from bladegeom.draw._axes import BLACK, CHAIN, DASHED, GREY, Chart, sense
from bladegeom.draw._fonts import as_printed, line_width_mm
from bladegeom.draw._tiles import STRIP, Part, Plan, room_of, rulers
from bladegeom.draw.page import MARGIN, POINT, Page
from bladegeom.draw.printed import left_words
from bladegeom.faults import shown
from bladegeom.fit.marks import NeutralLine
from bladegeom.fit.wobble import WobbleFit

BEYOND = 4.0
"""Millimetres that are drawn beyond the rim."""

_TICK, _LONG, _WINDOW = 3.0, 4.5, 4.0
"""Millimetres: how long a tooth's line is, and that of one with a number; how wide a window is."""

_SIZES = ((14.0, False), (11.0, False), (9.0, False), (9.0, True), (7.0, True), (6.0, True))
"""Points of the tooth numbers, the first that have room, and whether they lie along the radius."""

_THICK = 2.2
"""Points of the ends of lines at the rim, which are no tooth's."""

_DIGIT, _STEP, _LEAST = 0.66, 1.35, 5.0
"""Width of a digit, and from line to line, in parts of their size; points of the smallest words
that can be read: what needs smaller ones stands on the page alone."""

_LINE_AT, _SLIT_AT, _CLEAR = -30.0, 15.0, 10.0
"""Degrees on the paper, clockwise from its top: of the neutral line, so that no seam runs along it,
and of the slit, as far from all that is marked as may be; how far it must be."""

_ABOUT, _WHERE = 120.0, 300.0
"""The same of what is written on the disc: whose it is, and on which side it lies."""

_BOX: dict[str, Any] = {"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none"}
_FRAME: dict[str, Any] = _BOX | {"edgecolor": BLACK, "linewidth": 1.0}


@dataclass(frozen=True)
class Disc:
    """The ring, its teeth and its marks; lengths in millimetres from the middle."""

    fit: WobbleFit
    marks: NeutralLine
    hole: float
    radius: float
    face: str
    day: Date

    @property
    def blade(self) -> Blade:
        return self.fit.readings.blade

    @property
    def reach(self) -> float:
        """How far it is drawn."""
        return self.radius + BEYOND

    @cached_property
    def numbers(self) -> tuple[float, bool, int]:
        """Points of the tooth numbers, whether they stand along the radius, every which has one."""
        least = float(np.diff(self.blade.angles_deg, append=360.0).min())
        digits = len(str(self.blade.teeth))
        sizes = [(size, radial, 1) for size, radial in _SIZES]
        sizes += [(7.0, True, every) for every in (2, 5, 10, 20, 50, 100)]
        for size, radial, every in sizes:
            wide, high = _DIGIT * digits * size * POINT + 0.8, 1.15 * size * POINT
            at = self.radius - _LONG - (wide if radial else high)
            if (high if radial else wide) <= math.radians(least) * at * every:
                break
        return size, radial, every

    @property
    def band(self) -> float:
        """Radius within which no tooth number stands."""
        size, radial, _ = self.numbers
        digits = _DIGIT * len(str(self.blade.teeth)) if radial else 1.0
        return self.radius - _LONG - digits * size * POINT - 2.0

    @property
    def slit_deg(self) -> float:
        """Blade angle of the slit: half-way between two teeth, if that is clear of the marks."""
        angles, gaps = self.blade.angles_deg, np.diff(self.blade.angles_deg, append=360.0)
        shares = np.repeat([1 / 2, 1 / 3, 2 / 3], len(angles))
        places = np.tile(angles, 3) + shares * np.tile(gaps, 3)
        away = self.turned(places) - _SLIT_AT
        from_best = np.abs((away + 180.0) % 360.0 - 180.0)
        clear = 45.0 - np.abs((away + 45.0) % 90.0 - 45.0) > _CLEAR
        return float(places[np.lexsort((from_best, shares != 1 / 2, ~clear))[0]])

    def turned(self, angle_deg: Any) -> Any:
        """Return where on the paper a blade angle points: degrees clockwise from its top."""
        way = sense(self.blade) * (1.0 if self.face == "toward" else -1.0)
        first = self.marks.marked[0].direction_deg if self.marks.marked else 0.0
        return way * (np.asarray(angle_deg) - first) + _LINE_AT

    def at(self, turned_deg: Any, radius: Any) -> tuple[Any, Any]:
        """Return where on the drawing a direction on the paper and a radius lie."""
        turn = np.radians(turned_deg)
        return radius * np.sin(turn), radius * np.cos(turn)

    def draw_on(self, page: Page, plan: Plan, which: int) -> Axes:
        """Draw a part of the disc onto a page, and the rulers."""
        part = plan.parts[which]
        wide, high = part.right - part.left, part.high - part.low
        left = MARGIN + STRIP + (page.inner - STRIP - wide) / 2
        ax = page.axes(left, page.top + (room_of(page)[1] - high) / 2, wide, high)
        ax.set_xlim(part.left, part.right)
        ax.set_ylim(part.low, part.high)
        ax.axis("off")
        drawing = _Drawing(self, part, ax)
        drawing.draw()
        drawing.seams(plan)
        rulers(page)
        return ax


class _Drawing(Chart):
    """A part of the disc on axes in millimetres."""

    def __init__(self, disc: Disc, part: Part, ax: Axes) -> None:
        super().__init__(ax)
        self.disc, self.part = disc, part

    def draw(self) -> None:
        disc = self.disc
        self.circle(disc.hole, 0.5)
        self.circle(disc.radius, 0.5)
        for ends in (([-3, 3], [0, 0]), ([0, 0], [-3, 3])):
            self.line(*ends, 0.4)
        slit = float(disc.turned(disc.slit_deg))
        self.ray(slit, disc.hole, disc.reach, 0.8, DASHED)
        self.along(slit, ["cut the slit"], 7.0, -1.0)
        self.teeth()
        self.marked()
        self.about()

    def ray(self, turned: float, start: float, end: float, width: float, style: Any = "-") -> None:
        """Draw a line along the radius."""
        how = {"solid_capstyle": "butt", "dash_capstyle": "butt"}
        self.line(*self.disc.at(turned, np.array([start, end])), width, style, **how)

    def teeth(self) -> None:
        """Draw a tick for every tooth, and as many numbers as have room."""
        disc, (size, radial, every) = self.disc, self.disc.numbers
        marked = {mark.tooth for mark in disc.marks.marked or ()}
        named = set(marked)
        if marked and disc.marks.near is not None and disc.marks.far is not None:
            named |= {disc.marks.near.tooth, disc.marks.far.tooth}
        width = min(0.9, 0.3 * 2 * math.pi * disc.radius / disc.blade.teeth / POINT)
        wide = _DIGIT * len(str(disc.blade.teeth)) * size * POINT if radial else size * POINT
        ticks: list[tuple[float, float]] = []
        for tooth, turned in enumerate(disc.turned(disc.blade.angles_deg), start=1):
            numbered = tooth % every == 0 or tooth == 1 or tooth in named
            start = disc.radius - (_LONG if numbered else _TICK)
            ends = disc.at(turned, np.array([start, disc.radius + 2.0]))
            ticks += [*zip(*ends, strict=True), (math.nan, math.nan)]
            others = named | {1} if tooth not in named and tooth != 1 else ()
            gaps = ((tooth - one) % disc.blade.teeth for one in others)
            if not numbered or any(min(gap, disc.blade.teeth - gap) < every / 2 for gap in gaps):
                continue
            x, y = disc.at(turned, disc.radius - _LONG - 0.8 - wide / 2)
            if self.part.holds(x, y):
                rotation = (90.0 if radial else 0.0) - turned
                how: dict[str, Any] = {"rotation": rotation, "clip_on": True}
                how |= {"weight": "bold"} if tooth in named or tooth == 1 else {}
                how |= {"bbox": _BOX} if tooth in named else {}
                how |= {"bbox": _FRAME} if tooth in marked else {}
                self.words(x, y, str(tooth), size, **how)
        x, y = np.transpose(ticks)
        self.line(x, y, width, name="teeth", solid_capstyle="butt")

    def marked(self) -> None:
        """Draw the neutral line with its windows, and where near and far are; or say why not."""
        disc, marks = self.disc, self.disc.marks
        if marks.marked is None or marks.near is None or marks.far is None:
            why = "read again first" if marks.mistake else "no direction known"
            why = "any rotation will do" if marks.any_rotation else why
            self.block(60.0, ["no line", why], 11.0)
            return
        start, end = disc.hole + 4.0, disc.band - 1.0
        for mark in marks.marked:
            turned = float(disc.turned(mark.direction_deg))
            self.ray(turned, disc.hole, disc.radius - _LONG, 1.4, CHAIN)
            self.ray(turned, disc.radius - _LONG, disc.radius + 3.0, _THICK)
            if end - start >= 3 * _WINDOW:
                self.window(turned, start, end)
            said = ["up: table, bevels", "level: miter gauge, knife"]
            self.along(turned, ["neutral line", *said], 8.0, 2.0)
        for mark, name in ((marks.near, "NEAR"), (marks.far, "FAR")):
            turned = float(disc.turned(mark.direction_deg))
            self.ray(turned, disc.hole, disc.radius - _LONG, 0.8)
            self.ray(turned, disc.radius - _LONG, disc.radius + 3.0, _THICK)
            self.block(turned, [name, f"tooth {mark.tooth}"], 13.0)

    def window(self, turned: float, start: float, end: float) -> None:
        """Draw what is cut out beside the neutral line, which is its fourth edge."""
        x, y = self.disc.at(turned, np.array([start, start, end, end]))
        aside = self.disc.at(turned - 90.0, np.array([0.0, _WINDOW, _WINDOW, 0.0]))
        self.line(x + aside[0], y + aside[1], 0.5)

    def about(self) -> None:
        """Write whose disc it is, on which side it lies, and what holds for it."""
        disc, side = self.disc, self.disc.fit.readings.side
        left = left_words(disc.marks)
        inner, outer = (f"{2 * one:.4g} mm" for one in (disc.hole, disc.radius))
        told = [disc.blade.name or "Blade", disc.day.isoformat()]
        told += [f"within {left} of square (95 %)"] if left else []
        self.block(_ABOUT, [*told, f"hole {inner}, rim {outer}"], 9.0)
        where = f"indicator's side{f' ({shown(side)})' if side else ''}"
        where = where if disc.face == "toward" else "side away from the indicator"
        told = [where, "print toward you", "felt-tip pen only", "this mounting only"]
        self.block(_WHERE, told, 9.0)

    def block(self, turned: float, lines: Sequence[str], size: float) -> None:
        """Write lines across a direction on the paper, as large as the ring leaves room."""
        outer = self.disc.band - 1.0
        inner = max(self.disc.hole + 2.0, 0.4 * outer)
        lines = lines[: int((outer - inner) / (_LEAST * _STEP * POINT))]
        size = min(size, (outer - inner) / (max(len(lines), 1) * _STEP * POINT))
        middle, below = (inner + outer) / 2, math.cos(math.radians(turned)) < 0
        for place, line in enumerate(as_printed(one) for one in lines):
            up = ((len(lines) - 1) / 2 - place) * size * _STEP * POINT
            radius = middle - up if below else middle + up
            reach = outer**2 - (radius + size * POINT / 2) ** 2
            room = 2 * min(0.4 * radius, math.sqrt(max(reach, 1.0)))
            fitted = min(size, 0.87 * size * room / max(line_width_mm(line, size), 1e-6))
            x, y = self.disc.at(turned, radius)
            if self.part.holds(x, y, 40.0) and fitted >= _LEAST:
                how: dict[str, Any] = {"rotation": 180.0 - turned if below else -turned}
                how |= {"clip_on": True, "bbox": _BOX, "weight": "normal" if place else "bold"}
                self.words(x, y, line, fitted, **how)

    def along(self, turned: float, lines: Sequence[str], size: float, aside: float) -> None:
        """Write lines along the radius, so far beside it."""
        inner, outer = self.disc.hole + 3.0, self.disc.band - 1.0
        longest = max(line_width_mm(line, size) for line in lines)
        size = min(size, 0.95 * size * (outer - inner) / longest)
        rotation = (90.0 - turned + 90.0) % 180.0 - 90.0
        for place, line in enumerate(lines):
            away = aside - math.copysign((place + 0.5) * size * _STEP * POINT, -aside)
            x, y = self.disc.at(turned, (inner + outer) / 2)
            more = self.disc.at(turned + 90.0, away)
            if self.part.holds(x, y, 40.0) and size >= _LEAST:
                self.words(x + more[0], y + more[1], line, size, rotation=rotation, clip_on=True)

    def seams(self, plan: Plan) -> None:
        """Draw where the pages meet, and lettered crosses that are brought together."""
        reach = plan.reach
        for x in plan.upright[1:-1]:
            self.line([x, x], [-reach, reach], 0.5, DASHED, color=GREY)
        for y in plan.level[1:-1]:
            self.line([-reach, reach], [y, y], 0.5, DASHED, color=GREY)
        for place, (x, y) in enumerate(plan.crosses):
            for ends in (([x - 4, x + 4], [y, y]), ([x, x], [y - 4, y + 4])):
                self.line(*ends, 0.6)
            if self.part.holds(x, y):
                letter, again = chr(ord("A") + place % 26), place // 26 or ""
                for one, other in ((-2.5, 2.5), (2.5, -2.5)):
                    self.words(x + one, y + other, f"{letter}{again}", 7, clip_on=True)
