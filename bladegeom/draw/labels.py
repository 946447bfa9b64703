"""Labels to stick on the blades of a day: at true size, on the sheets that the shop uses."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes

from bladegeom.draw._style import drawn
from bladegeom.draw.page import LINE, Page, paper_size
from bladegeom.shop.label_sheet import LabelSheet
from bladegeom.shop.plain import label_words

_PAD = 2.0
"""Left free along the edges of a label, in millimetres: a printer is out by as much."""

_LINES = (
    ("name", 0.23, 22, 1),
    ("whose", 0.13, 11, 1),
    ("head", 0.26, 24, 1),
    ("note", 0.24, 9.5, 2),
    ("foot", 0.14, 9, 1),
)
"""Lines of a label: part of its height, points at most, and on how many lines it may go."""

_BOLD, _LEAST = ("name", "head"), 6.0
"""What is bold; points below which nothing is broken into lines."""


@drawn
def label_pages(rows: Sequence[Mapping[str, Any]], sheet: LabelSheet, paper: str) -> list[Axes]:
    """Draw a label for each row of a queue."""
    places = sheet.places(*paper_size(paper))
    made: list[Axes] = []
    page = Page.blank(paper, cautions=())
    for at, row in enumerate(rows, start=sheet.first - 1):
        if at % len(places) == 0 or not made:
            page = Page.blank(paper, cautions=()) if made else page
            made.append(page.sheet)
        _label(page, label_words(row), *places[at % len(places)])
    return made


def _label(
    page: Page, words: Mapping[str, str], left: float, top: float, wide: float, high: float
) -> None:
    room, tall = wide - 2 * _PAD, high - 2 * _PAD
    down = top + _PAD
    for name, part, most, lines in _LINES:
        step = part * tall / lines
        size = min(most, step / LINE)
        how: dict[str, Any] = {"weight": "bold"} if name in _BOLD else {}
        broken = page.wrapped(words[name], size, room)
        while len(broken) > lines and size > _LEAST:
            size -= 0.25
            broken = page.wrapped(words[name], size, room)
        # A line that fits at no size that can be read is made smaller still: none is cut.
        for at, line in enumerate(broken if len(broken) <= lines else [words[name]]):
            page.fitted_text(left + _PAD, down + at * step, line, size, room, step, **how)
        down += part * tall
