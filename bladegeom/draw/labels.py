"""Labels to stick on the blades of a day: at true size, on the sheets that the shop uses."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes

from bladegeom.draw._style import drawn
from bladegeom.draw.page import LINE, Page
from bladegeom.faults import refuse
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


def check_labels(sheet: LabelSheet, paper: str, first: int) -> None:
    """Refuse labels that cannot be printed, before anything is."""
    places = sheet.places(*_size(paper))
    if not 1 <= first <= len(places):
        raise refuse(
            f"the first label is {first}, of {len(places)} on a sheet",
            f"give one from 1 to {len(places)}, counted row by row",
            value=first,
        )


@drawn
def label_pages(
    rows: Sequence[Mapping[str, Any]], sheet: LabelSheet, paper: str, first: int = 1
) -> list[Axes]:
    """Draw a label for each row of a queue, beginning at one of a sheet that is used in part."""
    places = sheet.places(*_size(paper))
    made: list[Axes] = []
    page = Page.blank(paper, cautioned=False)
    for at, row in enumerate(rows, start=first - 1):
        if at % len(places) == 0 or not made:
            page = Page.blank(paper, cautioned=False) if made else page
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


def _size(paper: str) -> tuple[float, float]:
    page = Page(paper)
    return page.width, page.height
