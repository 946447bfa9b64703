"""A day's sheets in one file to print: who has how many blades, what must wait, then the sheets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date as Date  # noqa: N812
from itertools import accumulate
from typing import Any, Literal, NamedTuple

from matplotlib.axes import Axes

from bladegeom.draw._axes import BLACK, GREY
from bladegeom.draw._style import drawn
from bladegeom.draw.page import LINE, MARGIN, Page
from bladegeom.shop.condition import RETIRE
from bladegeom.shop.plain import NEVER, NOT_YET, not_for_use, row_action, row_over
from bladegeom.shop.totals import NOBODY, Totals, totals

Row = Mapping[str, Any]

_SIZE, _TITLE, _ROOM = 9.5, 13.0, 1.4
"""Points of the rows and of the head of a list; millimetres between two rows."""

_HEADS = (7.5, 7.0, 6.5, 6.0, 5.5)
"""Points of the heads of columns: the first in which no word is broken."""

_WIDE = {"blade": 36.0, "customer": 42.0, "page": 12.0}
"""Width of the columns of the lists; what to do has the rest."""

_CUSTOMER, _ALL, _PAGE = 46.0, 11.0, 11.0
"""Width of the columns of the totals that stand beside the actions."""


class _Cell(NamedTuple):
    """Lines of words at a place."""

    left: float
    wide: float
    lines: Sequence[str]
    ha: Literal["left", "right"] = "left"


class _Row(NamedTuple):
    """Cells side by side, in one style; `head` where it goes onto the page of what follows."""

    cells: Sequence[_Cell]
    size: float = _SIZE
    bold: bool = False
    above: float = 0.0
    head: bool = False

    @property
    def height(self) -> float:
        tall = max(len(cell.lines) for cell in self.cells)
        return self.above + tall * self.size * LINE + _ROOM


def by_customer(rows: Iterable[Row]) -> list[Row]:
    """Sort rows by customer, those of none last; each customer's stay as they are."""
    return sorted(rows, key=lambda row: (not row["customer"], row["customer"].casefold()))


@drawn
def day_pages(
    rows: Sequence[Row],
    left: Sequence[Row],
    lengths: Sequence[int],
    *,
    shop: str,
    paper: str,
    date: Date,
) -> list[Axes]:
    """Draw what stands before a day's sheets: totals, then what must not go back to a saw.

    `rows` are those of the blades that were judged, the worst first, `left` those of what was not;
    `lengths` is how many pages the sheet of each of `rows` has, in the order of `by_customer`.
    """
    counted = totals([*left, *rows])
    made: list[Page] = []
    while True:  # The pages of the sheets begin behind these, however many they are.
        first = len(made) + 1 if made else 2
        starts = [*accumulate(lengths, initial=first)]
        page_of = {id(row): at for row, at in zip(by_customer(rows), starts, strict=False)}
        told = _told(Page(paper).inner, counted, rows, left, page_of)
        before, made = len(made), _laid(told, paper)
        if before == len(made) or (not before and len(made) == 1):
            break
    facts = _facts(counted, rows, left)
    for at, page in enumerate(made, start=1):
        many = f"the day's blades, page {at} of {len(made)}" if made[1:] else "the day's blades"
        page.head_line(shop or "The day's blades", many, date, facts)
    return [page.sheet for page in made]


def _facts(counted: Totals, rows: Sequence[Row], left: Sequence[Row]) -> list[str]:
    many = len({row["customer"] for row in rows if row["customer"]})
    blades = "1 blade" if len(rows) == 1 else f"{len(rows)} blades"
    whose = f" of {many} customer{'' if many == 1 else 's'}" if many else ""
    never = sum(not_for_use(row["action"], row["outcome"]) == NEVER for row in rows)
    return [
        f"{blades} judged{whose}",
        f"{never} must not go back on a saw",
        f"{counted.of() - len(left) - never - sum(map(_fit, rows))} undecided",
        f"{len(left)} not judged",
    ]


def _fit(row: Row) -> bool:
    return not not_for_use(row["action"], row["outcome"])


def _told(
    inner: float,
    counted: Totals,
    rows: Sequence[Row],
    left: Sequence[Row],
    page_of: Mapping[int, int],
) -> list[_Row]:
    """Return all rows of the tables."""
    waits: dict[str, list[Row]] = {NEVER: [], NOT_YET: [], "": []}
    for row in rows:
        waits[not_for_use(row["action"], row["outcome"])].append(row)
    first: dict[str, int] = {}
    for row in rows:
        page = page_of[id(row)]
        first[row["customer"]] = min(page, first.get(row["customer"], page))
    told = _totals(inner, counted, first)
    told += _list(inner, "Must not go back on a saw", waits[NEVER], page_of)
    told += _list(inner, "Not decided or not judged: read again", [*waits[NOT_YET], *left], page_of)
    return told


def _totals(inner: float, counted: Totals, first: Mapping[str, int]) -> list[_Row]:
    """Return the table of customers and actions, each customer's first page behind."""
    wide = (inner - _CUSTOMER - _ALL - _PAGE) / len(counted.actions)
    places = [MARGIN + _CUSTOMER + wide * at for at in range(len(counted.actions))]
    ends = (MARGIN + inner - _PAGE - _ALL, MARGIN + inner - _PAGE)

    def row(name: str, cells: Sequence[Sequence[str]], **how: Any) -> _Row:
        sizes = [wide] * len(places) + [_ALL, _PAGE]
        numbers = [
            _Cell(left, size - 2.0, lines, "right")
            for left, size, lines in zip([*places, *ends], sizes, cells, strict=True)
        ]
        return _Row([_Cell(MARGIN, _CUSTOMER - 2.0, [name]), *numbers], **how)

    page = Page("a4")
    for size in _HEADS:
        heads = [page.wrapped(one, size, wide - 2.0) for one in counted.actions]
        if " ".join(map(" ".join, heads)) == " ".join(counted.actions):
            break  # No word is broken.
    told = [row("customer", [*heads, ["all"], ["first", "page"]], size=size, head=True)]
    for customer in counted.customers if counted.named else ():
        many = [str(counted.of(customer, one) or "") for one in counted.actions]
        start = str(first.get(customer, ""))
        cells = [[one] for one in (*many, str(counted.of(customer)), start)]
        told.append(row(customer or NOBODY, cells))
    many = [str(counted.of(None, one)) for one in counted.actions]
    start = "" if counted.named else str(min(first.values(), default=""))
    told.append(row("all", [[one] for one in (*many, str(counted.of()), start)], bold=True))
    return told


def _list(inner: float, title: str, rows: Sequence[Row], page_of: Mapping[int, int]) -> list[_Row]:
    """Return a list of blades, with what is to be done and the page of its sheet."""
    if not rows:
        return []
    rest = inner - sum(_WIDE.values())
    told = [_Row([_Cell(MARGIN, inner, [title])], _TITLE, True, above=5.0, head=True)]
    page = Page("a4")
    for row in rows:
        start = page_of.get(id(row))
        words = page.wrapped(_what(row), _SIZE, rest - 3.0)
        left, cells = MARGIN, []
        for wide, lines in (
            (_WIDE["blade"], [row["blade"] or row.get("file") or "Blade"]),
            (_WIDE["customer"], [row["customer"]]),
            (rest, words),
        ):
            cells.append(_Cell(left, wide - 2.0, lines))
            left += wide
        number = "" if start is None else f"p. {start}"
        told.append(_Row([*cells, _Cell(left, _WIDE["page"], [number], "right")]))
    return told


def _what(row: Row) -> str:
    """Return what is to be done with a blade, and why."""
    if not_for_use(row["action"], row["outcome"]) != NEVER:
        return str(row["reasons"])
    seen = f": {row['eye']}" if row["action"] == RETIRE and row.get("eye") else ""
    return "; ".join(filter(None, (f"{row_action(row)}{seen}", row_over(row))))


def _laid(told: Sequence[_Row], paper: str) -> list[Page]:
    """Write rows onto as many pages as they need."""
    made = [Page.blank(paper)]
    made[0].top = 36.0
    for at, row in enumerate(told):
        needed = row.height + (told[at + 1].height if row.head else 0.0)
        if made[-1].top + needed > made[-1].bottom:
            made.append(Page.blank(paper))
            made[-1].top = 36.0
        page = made[-1]
        page.top += row.above
        for left, wide, lines, ha in row.cells:
            how: dict[str, Any] = {"weight": "bold"} if row.bold else {}
            for place, words in enumerate(lines):
                x = left + (wide if ha == "right" else 0.0)
                down = page.top + place * row.size * LINE
                page.fitted_text(x, down, words, row.size, wide, 6.0, ha=ha, **how)
        page.top += row.height - row.above
        page.rule(page.top - 0.7, 0.9 if row.head else 0.4, BLACK if row.head else GREY)
    return made
