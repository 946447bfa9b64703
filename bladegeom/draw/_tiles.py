"""Pages at true size of what is larger than the paper: how it is cut, joined and measured."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes

from bladegeom.draw._axes import DASHED, Chart
from bladegeom.draw.page import MARGIN, Page

OVERLAP = 10.0
"""By how many millimetres two pages overlap."""

STRIP = 10.0
_RULER, _INCHES = 100.0, 4
"""Millimetres: room for a ruler, and how long it is."""


class Part(NamedTuple):
    """What of the disc is on a page: its edges in millimetres right of and above the middle."""

    left: float
    right: float
    low: float
    high: float

    def holds(self, x: float, y: float, more: float = OVERLAP) -> bool:
        """Return whether a word that stands there, and reaches so far, may be seen on it."""
        return self.left - more < x < self.right + more and self.low - more < y < self.high + more


@dataclass(frozen=True)
class Plan:
    """How the square that holds the disc is cut into pages, from the upper left one on."""

    reach: float
    wide: int
    high: int

    @property
    def upright(self) -> list[float]:
        """Seams that run up and down, and both edges."""
        return [float(one) for one in np.linspace(-self.reach, self.reach, self.wide + 1)]

    @property
    def level(self) -> list[float]:
        """Seams that run across, and both edges."""
        return [float(one) for one in np.linspace(self.reach, -self.reach, self.high + 1)]

    @property
    def parts(self) -> list[Part]:
        """What is on each page, with its overlap."""
        across, down, more = self.upright, self.level, OVERLAP / 2
        return [
            Part(
                across[at] - more * (at > 0),
                across[at + 1] + more * (at + 1 < self.wide),
                down[row + 1] - more * (row + 1 < self.high),
                down[row] + more * (row > 0),
            )
            for row in range(self.high)
            for at in range(self.wide)
        ]

    @property
    def crosses(self) -> list[tuple[float, float]]:
        """Where two pages are brought together: two places on each seam of two pages."""
        across, down, found = self.upright, self.level, []
        for share in (0.14, 0.86):
            for one, other in pairwise(down):
                found += [(x, one + share * (other - one)) for x in across[1:-1]]
            for one, other in pairwise(across):
                found += [(one + share * (other - one), y) for y in down[1:-1]]
        return found


def room_of(page: Page) -> tuple[float, float]:
    """Return the width and height that a page leaves beside its rulers."""
    return page.inner - STRIP, page.bottom - page.top - STRIP


def map_of(page: Page, plan: Plan) -> Axes:
    """Draw how the pages lie."""
    side = min(page.inner, page.bottom - page.top) - 10.0
    ax = page.axes((page.width - side) / 2, page.top + 5.0, side, side)
    chart = Chart(ax)
    chart.square(1.05 * plan.reach)
    chart.circle(plan.reach, 1.2)
    for x in plan.upright:
        chart.line([x, x], [-plan.reach, plan.reach], 0.9, DASHED)
    for y in plan.level:
        chart.line([-plan.reach, plan.reach], [y, y], 0.9, DASHED)
    down, across = plan.level, plan.upright
    for at in range(plan.wide * plan.high):
        row, column = divmod(at, plan.wide)
        x, y = (across[column] + across[column + 1]) / 2, (down[row] + down[row + 1]) / 2
        chart.words(x, y, f"page {at + 2}", 16, weight="bold")
    return ax


def rulers(page: Page) -> None:
    """Draw a ruler across and one up, in millimetres and inches."""
    long, thick = _RULER + 10.0, STRIP - 2.0
    left, low = MARGIN + STRIP, page.bottom
    tens, inches = np.arange(0.0, _RULER + 1.0, 5.0), 25.4 * np.arange(0.0, _INCHES + 0.1, 0.5)
    ticks = [[at, 0.0, at, 2.6 if at % 10 == 0 else 1.4] for at in tens]
    ticks += [[at, 0.0, at, -1.4 if place % 2 else -2.6] for place, at in enumerate(inches)]
    ticks.append([0.0, 0.0, _INCHES * 25.4, 0.0])
    gap = np.full((len(ticks), 1), np.nan)
    along, aside = (np.hstack([np.array(ticks)[:, one::2], gap]).ravel() for one in (0, 1))
    for upright, place in (
        (False, (left, low - thick, long, thick)),
        (True, (MARGIN, low - STRIP - long, thick, long)),
    ):
        ax, middle = page.axes(*place), thick / 2
        ends = [(-1.0, long - 1.0), (-middle, middle)]
        across, up = ends[::-1] if upright else ends
        ax.set_xlim(*across)
        ax.set_ylim(*up)
        ax.axis("off")
        chart = Chart(ax)
        lines = (-aside, along) if upright else (along, aside)
        chart.line(*lines, 0.6, solid_capstyle="butt")
        for beside, said in ((2.0, "100 mm"), (-2.0, "4 in")):
            at = (-beside, _RULER + 5.0) if upright else (_RULER + 5.0, beside)
            chart.words(*at, said, 6, rotation=90.0 if upright else 0.0)
    told = "Both rulers must be true: else print again at 100 % (actual size)."
    words = page.wrapped(told, 7, page.inner - long - 16.0)
    page.lines(left + long + 4.0, low - 7.0, words, 7, 3.2)
