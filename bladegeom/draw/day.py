"""A day's sheets in one file to print: who has how many blades, what must wait, then the sheets."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date as Date  # noqa: N812
from itertools import accumulate, chain
from pathlib import Path
from typing import Any, Literal, NamedTuple

from matplotlib.axes import Axes

from bladegeom.draw._axes import BLACK, GREY
from bladegeom.draw._fonts import escaped
from bladegeom.draw._join import join, pages_in
from bladegeom.draw._style import drawn, own_style, standard_fonts
from bladegeom.draw.labels import label_pages
from bladegeom.draw.page import LINE, MARGIN, Page, save_charts, save_pages
from bladegeom.shop.condition import RETIRE
from bladegeom.shop.label_sheet import LabelSheet
from bladegeom.shop.plain import NEVER, NOT_YET, not_for_use, row_action, row_over
from bladegeom.shop.totals import NOBODY, Totals, totals
from bladegeom.tables.out import whole_file

Row = Mapping[str, Any]

DAY, LABELS = "day.pdf", "labels.pdf"

_SIZE, _TITLE, _ROOM = 9.5, 13.0, 1.4
"""Points of the rows and of the head of a list; millimetres between two rows."""

_HEADS = (7.5, 7.0, 6.5, 6.0, 5.5)
"""Points of the heads of columns: the first in which no word is broken."""

_WIDE = {"blade": 36.0, "customer": 42.0, "page": 12.0}
"""Width of the columns of the lists; what to do has the rest."""

_MOST = 6
"""Lines of what to do with a blade: a table may be wrong in every row."""

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


_Paged = tuple[Row, int | None]
"""A row, and the page of its sheet; none of one that was not judged."""


def by_customer(rows: Sequence[Row]) -> list[int]:
    """Return the places of rows, sorted by customer, those of none last; else as they stand."""

    def whose(place: int) -> tuple[bool, str]:
        customer = rows[place]["customer"]
        return not customer, customer.casefold()

    return sorted(range(len(rows)), key=whose)


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
    `lengths` is how many pages the sheet of each of `rows` has.
    """
    counted, order = totals([*left, *rows]), by_customer(rows)
    count, made = 0, [Page.blank(paper)]
    while count != len(made):  # The sheets begin behind these pages, however many they are.
        count = len(made)
        starts = accumulate((lengths[place] for place in order), initial=count + 1)
        page_of = dict(zip(order, starts, strict=False))
        paged = [(row, page_of[place]) for place, row in enumerate(rows)]
        made = _laid(_told(made[0].inner, counted, paged, left), paper)
    facts = _facts(rows, left)
    for at, page in enumerate(made, start=1):
        many = f"the day's blades, page {at} of {len(made)}" if made[1:] else "the day's blades"
        page.head_line(shop or "The day's blades", many, date, facts)
    return [page.sheet for page in made]


def _facts(rows: Sequence[Row], left: Sequence[Row]) -> list[str]:
    many = len({row["customer"] for row in rows if row["customer"]})
    blades = "1 blade" if len(rows) == 1 else f"{len(rows)} blades"
    whose = f" of {many} customer{'' if many == 1 else 's'}" if many else ""
    waits = Counter(not_for_use(row["action"], row["outcome"]) for row in rows)
    told = {
        "must not go back on a saw": waits[NEVER],
        "not decided": waits[NOT_YET],
        "not judged": len(left),
    }
    return [
        f"{blades} judged{whose}",
        *(f"{count} {what}" for what, count in told.items() if count),
    ]


def _told(
    inner: float, counted: Totals, paged: Sequence[tuple[Row, int]], left: Sequence[Row]
) -> list[_Row]:
    """Return all rows of the tables."""
    waits: dict[str, list[_Paged]] = {NEVER: [], NOT_YET: [], "": []}
    first: dict[str, int] = {}
    for row, page in paged:
        waits[not_for_use(row["action"], row["outcome"])].append((row, page))
        first[row["customer"]] = min(page, first.get(row["customer"], page))
    again = [*waits[NOT_YET], *((row, None) for row in left)]
    return [
        *_totals(inner, counted, first),
        *_list(inner, "Must not go back on a saw", waits[NEVER]),
        *_list(inner, "Not decided or not judged: read again", again),
    ]


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


def _list(inner: float, title: str, paged: Sequence[_Paged]) -> list[_Row]:
    """Return a list of blades, with what is to be done and the page of its sheet."""
    if not paged:
        return []
    rest = inner - sum(_WIDE.values())
    told = [_Row([_Cell(MARGIN, inner, [title])], _TITLE, True, above=5.0, head=True)]
    page = Page("a4")
    for row, start in paged:
        words = page.wrapped(_what(row), _SIZE, rest - 3.0)
        if len(words) > _MOST:
            words[_MOST - 1 :] = ["... the rest in the queue"]
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
        return escaped(str(row["reasons"]))  # Told elsewhere; no letter of it is asked about here.
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


def write_printed(
    rows: Sequence[Row],
    left: Sequence[Row],
    folder: Path,
    labels: LabelSheet | None,
    shop: str,
    paper: str,
    date: Date,
) -> list[Path]:
    """Write what a day prints: all sheets of a folder in one file, and the labels."""
    sheets = [folder / row["sheet"] for row in rows]
    lengths = [pages_in(one.read_bytes()) for one in sheets]
    first, target = io.BytesIO(), folder / DAY
    with standard_fonts(), own_style():
        save_pages(day_pages(rows, left, lengths, shop=shop, paper=paper, date=date), first)
    in_order = (sheets[place].read_bytes() for place in by_customer(rows))
    with whole_file(target) as file:
        join(chain([first.getvalue()], in_order), file)
    if labels is None:
        return [target]
    named = [*(row for row in left if row["blade"]), *rows]
    with standard_fonts(), own_style():
        pages = label_pages([named[place] for place in by_customer(named)], labels, paper)
        save_charts(pages, folder / LABELS, len(pages))
    return [target, folder / LABELS]
