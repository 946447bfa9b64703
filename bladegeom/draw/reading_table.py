"""The raw readings of a blade as a table, for the back of its sheet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date as Date  # noqa: N812
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from bladegeom.draw._axes import BLACK, GREY
from bladegeom.draw._style import drawn
from bladegeom.draw.page import LINE, MARGIN, Page
from bladegeom.draw.printed import sizes
from bladegeom.draw.report import customer_sheet
from bladegeom.fit.wobble import WobbleFit
from bladegeom.readings import Readings
from bladegeom.shop.change import Change
from bladegeom.shop.condition import Condition

_SIZES = (9.0, 8.5, 8.0, 7.5, 7.0)
_TOOTH, _CELL, _BETWEEN = 1.5, 1.9, 0.9
"""Width of the columns of teeth and of readings, and from block to block, in mm a point."""

_Rows = list[tuple[str, ...]]


def sheet_pages(
    fit: WobbleFit, condition: Condition, *, with_readings: bool, **how: Any
) -> list[Axes]:
    """Draw a blade's sheet, and its readings for the back where they are wanted."""
    made = [customer_sheet(fit, condition, **how)]
    if with_readings:
        taken = [("now", fit.readings)]
        before: Change | None = how.get("before")
        if before is not None and before.earlier is not None:
            taken.append(("before", before.earlier.readings))
        made += reading_pages(taken, paper=how["paper"], date=how["date"])
    return made


@drawn
def reading_pages(
    taken: Sequence[tuple[str, Readings]], *, paper: str, date: Date | None = None
) -> list[Axes]:
    """Draw readings as they were written down, each set under its name, a row a tooth."""
    page = _page(taken[0][1], paper, date)
    made = [page]
    for name, readings in taken:
        heads, rows = _table(readings)
        title = f"{name}, in {readings.unit}".strip(" ,")
        size = next((one for one in _SIZES if _fits(page, one, len(heads), len(rows))), _SIZES[-1])
        size = min(size, page.inner / (_TOOTH + _CELL * len(heads[1:])))
        wide = size * (_TOOTH + _CELL * len(heads[1:]) + _BETWEEN)
        across = max(1, math.floor((page.inner + size * _BETWEEN) / wide))
        while rows:
            step = size * LINE
            down = math.floor((page.bottom - page.top - 12.0 - step) / step)
            if down < min(8, len(rows)):
                page = _page(readings, paper, date)
                made.append(page)
                continue
            down = min(down, math.ceil(len(rows) / across))
            page.text(MARGIN, page.top + 2.0, title, 11, weight="bold")
            page.top += 8.0
            for block in range(across):
                part = rows[block * down : (block + 1) * down]
                if part:
                    _block(page, MARGIN + block * wide, heads, part, size)
            page.top += (down + 1) * step + 2.0
            rows = rows[across * down :]
            title = f"{name}, continued".strip(" ,")
    return [one.sheet for one in made]


def _page(readings: Readings, paper: str, date: Date | None) -> Page:
    page = Page.blank(paper)
    blade = readings.blade
    whose = [f"for {blade.customer}"] if blade.customer else []
    facts = [*whose, *sizes(blade)]
    page.head_line(blade.name or "Blade", "readings as written down", date, facts)
    return page


def _fits(page: Page, size: float, columns: int, rows: int) -> bool:
    """Return whether a table fits on what is left of a page at a size."""
    wide = size * (_TOOTH + _CELL * (columns - 1) + _BETWEEN)
    across = math.floor((page.inner + size * _BETWEEN) / wide)
    down = math.floor((page.bottom - page.top - 14.0) / (size * LINE)) - 1
    return across * down >= rows


def _table(readings: Readings) -> tuple[tuple[str, ...], _Rows]:
    """Return the heads and the rows: a tooth, and what was read there in each turn.

    A tooth that was read more often in a turn, such as when the turn was closed, has a row for
    each time.
    """
    turns = np.unique(readings.turn).tolist()
    decimals = _decimals(readings)
    cells: dict[tuple[int, int], dict[int, str]] = {}
    times: dict[tuple[int, int], int] = {}
    for tooth, turn, read in zip(
        readings.tooth.tolist(), readings.turn.tolist(), readings.reading.tolist(), strict=True
    ):
        again = times[tooth, turn] = times.get((tooth, turn), -1) + 1
        cells.setdefault((again, tooth), {})[turn] = f"{read + 0.0:.{decimals}f}"
    rows = [
        (f"{tooth} again" if again else str(tooth), *(held.get(turn, "") for turn in turns))
        for (again, tooth), held in sorted(cells.items())
    ]
    return ("tooth", *(f"turn {turn}" for turn in turns)), rows


def _decimals(readings: Readings) -> int:
    """Return the fewest decimals that tell every reading as it was written down."""
    return max(len(f"{one:.9g}".partition(".")[2]) for one in readings.reading.tolist())


def _block(page: Page, left: float, heads: tuple[str, ...], rows: _Rows, size: float) -> None:
    step = size * LINE
    for place, line in enumerate([heads, *rows]):
        right, down = left + size * _TOOTH, page.top + place * step
        for words in line:
            color = GREY if place == 0 or right == left + size * _TOOTH else BLACK
            page.text(right, down, words, size, ha="right", color=color)
            right += size * _CELL
