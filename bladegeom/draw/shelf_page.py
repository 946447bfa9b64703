"""The blade shelf on paper: a large table to tape to the wall."""

from __future__ import annotations

import math
import textwrap
from collections import Counter
from datetime import date as Date  # noqa: N812

from matplotlib.axes import Axes

from bladegeom.draw.axes import BLACK, GREY
from bladegeom.draw.page import MARGIN, Page
from bladegeom.fit.marks import NO_MATTER_DEG
from bladegeom.shop.shelf import Shelf, ShelfRow

_ROW, _TALLEST = 9.0, 13.0
"""Height of a blade's row in millimetres: the least, and the most where there are few."""

_HEAD, _TOP = 9.0, 33.0
_COLUMNS = (
    ("blade", 0.0, 44.0),
    ("teeth", 46.0, 13.0),
    ("mark these two teeth", 62.0, 44.0),
    ("sure", 109.0, 20.0),
    ("wobble TIR", 133.0, 26.0),
    ("if ignored, deg", 162.0, 24.0),
)
"""Heading, left edge and width in millimetres, for a page of 186 mm between its margins."""

_SMALL, _LINE, _LETTERS, _LONG = 8.0, 3.7, 120, 20
"""Words at the end: points, millimetres, letters a line; letters a line of a name."""

_HOW = "The two teeth upright: table, bevels. Level: miter gauge, riving knife. Worst blade first."


def shelf_page(
    shelf: Shelf, *, title: str = "Blade shelf", paper: str = "a4", date: Date | None = None
) -> list[Axes]:
    """Draw the shelf's blades as a large table, with as many pages as they need.

    Parameters
    ----------
    shelf : Shelf
    title : str
        Heads each page: the shop's name, for instance.
    paper : {"a4", "letter"}
    date : datetime.date, optional
        Today if not given.

    Returns
    -------
    list of matplotlib.axes.Axes
        One for each page, as large as the page, in millimetres from its upper left corner.
        `save_chart` takes them all.

    Raises
    ------
    RefusedError
        If the paper is not known.
    """
    first = _sheet(paper)
    tall = first.bottom - _TOP
    room = int((tall - _HEAD) / _ROW)
    rows = list(shelf.rows)
    tables = [rows[at : at + room] for at in range(0, len(rows), room)]
    small = [line for words in _at_the_end(shelf) for line in textwrap.wrap(words, _LETTERS)]
    # The words at the end stand below the last table, and go on on pages of their own.
    high = min(_TALLEST, (tall - _HEAD - _LINE * (len(small) + 1)) / len(tables[-1]))
    if len(tables) > 1 or high < _ROW:
        high = _ROW
    fit = max(0, int((tall - _HEAD - high * len(tables[-1]) - _LINE) / _LINE))
    more = int(tall / _LINE)
    ends = [small[:fit]] + [small[at : at + more] for at in range(fit, len(small), more)]
    count = len(tables) + len(ends) - 1
    doubled = {name for name, times in Counter(row.name for row in rows).items() if times > 1}
    pages: list[Axes] = []
    for number in range(count):
        page = first if number == 0 else _sheet(paper)
        ax = page.sheet()
        page.head_line(title, f"page {number + 1} of {count}", date, [_HOW])
        if number < len(tables):
            _table(page, ax, tables[number], high, doubled)
        if number >= len(tables) - 1:
            for line in ends[number - len(tables) + 1]:
                page.fitted_text(MARGIN, page.top, line, _SMALL, page.inner, _LINE)
                page.top += _LINE
        pages.append(ax)
    return pages


def _sheet(paper: str) -> Page:
    page = Page(paper)
    page.cautions()
    page.bottom -= 1.0
    return page


def _at_the_end(shelf: Shelf) -> list[str]:
    said = shelf.warned
    if any(row.marks == "any rotation" for row in shelf.rows):
        said.append(
            f"any rotation: no wobble is established, and at worst it is below {NO_MATTER_DEG:g} "
            "deg."
        )
    if any(row.marks == "cannot tell" for row in shelf.rows):
        said.append(
            "cannot tell: no wobble is told apart from the scatter; read another turn, or with a "
            "finer indicator."
        )
    if any(row.answer["worst_squareness_deg"] is None for row in shelf.rows):
        said.append("no degrees: they need the ring radius, or more readings.")
    if any(map(_star, shelf.rows)):
        said.append("* see the warnings above.")
    said += [f"not listed: {fault}" for fault in shelf.refused]
    return [*said, *shelf.notes]


def _table(page: Page, ax: Axes, rows: list[ShelfRow], high: float, doubled: set[str]) -> None:
    """Draw a table."""
    scale = page.inner / 186.0
    left, right = MARGIN, page.width - MARGIN
    for head, at, wide in _COLUMNS:
        page.fitted_text(left + at * scale, _TOP + 3.0, head, 10, wide * scale, 5.0, color=GREY)
    top = _TOP + _HEAD
    ax.plot([left, right], [top, top], color=BLACK, linewidth=1.2)
    for row in rows:
        sizes = (17, 13, 26 if row.marked_pair else 15, 12, 13, 15)
        shown = zip(_COLUMNS, _words(row, doubled), sizes, strict=True)
        for (head, at, wide), words, size in shown:
            bold = head == "blade" or (row.marked_pair and head.startswith("mark"))
            page.fitted_text(
                left + at * scale,
                top + high / 2,
                _broken(words),
                size * min(1.15, high / _ROW),
                wide * scale,
                high - 1.0,
                va="center_baseline",
                weight="bold" if bold else "normal",
            )
        top += high
        ax.plot([left, right], [top, top], color=GREY, linewidth=0.5)
    page.top = top + _LINE


def _words(row: ShelfRow, doubled: set[str]) -> tuple[str, ...]:
    name = f"{row.name} ({row.file})" if row.name in doubled else row.name
    pair = row.marked_pair
    return (
        name + _star(row),
        str(row.answer["teeth"]),
        f"{pair[0]}  {pair[1]}" if pair else row.marks,
        row.sure,
        row.wobble,
        row.ignored,
    )


def _star(row: ShelfRow) -> str:
    return " *" if row.answer["resolved"] and row.answer["warnings"] else ""


def _broken(words: str) -> str:
    """Break a long name into lines, so that it can be read."""
    return textwrap.fill(words, max(_LONG, math.ceil(len(words) / 3)))
