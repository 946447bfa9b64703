"""Labels to stick on the blades of a day: at true size, on the sheets that the shop uses."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes

from bladegeom.draw._style import drawn
from bladegeom.draw.page import POINT, Page
from bladegeom.faults import refuse
from bladegeom.shop.label_sheet import LabelSheet
from bladegeom.shop.plain import label_words

_PAD = 2.0
"""Left free along the edges of a label, in millimetres: a printer is out by as much."""

_LINES = (
    ("name", 0.26, 22, True),
    ("whose", 0.14, 11, False),
    ("head", 0.28, 22, True),
    ("note", 0.17, 10, False),
    ("foot", 0.15, 9, False),
)
"""Lines of a label: part of its height, points at most, whether bold."""


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
    for name, part, most, bold in _LINES:
        line = part * tall
        if words[name]:
            how = {"weight": "bold"} if bold else {}
            size = min(most, line / (1.25 * POINT))
            page.fitted_text(left + _PAD, down, words[name], size, room, line, **how)
        down += line


def _size(paper: str) -> tuple[float, float]:
    page = Page(paper)
    return page.width, page.height
