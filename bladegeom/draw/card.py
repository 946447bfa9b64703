"""Pages to keep beside the saw: the card of its set-up, and the shelf of its blades."""

from __future__ import annotations

import math
import textwrap
from collections import Counter
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812

from matplotlib.axes import Axes
from matplotlib.patches import Circle

from bladegeom.draw._axes import BLACK, CHAIN, GREY
from bladegeom.draw._style import drawn
from bladegeom.draw.page import BOLD, LINE, MARGIN, Page
from bladegeom.faults import shown
from bladegeom.fit.marks import NO_MATTER_DEG
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER
from bladegeom.saw.bench import Step
from bladegeom.saw.setup import SetUp
from bladegeom.shop.shelf import Shelf, ShelfRow

_ACTION = 14.0
"""Points of what to do: legible at arm's length. What is to be done now is never smaller."""

_TITLE, _STAND, _WARNED, _NUMBERS = 10.5, 12.0, 8.5, 7.5
"""Points of titles, teeth to stand, warnings and numbers; at most those of what to do."""

_LEFT, _RIGHT = 44.0, 25.0
"""Width of the columns of titles and verdicts, in millimetres."""

_BLADE = 15.0
"""Radius of the blades drawn at the head, in millimetres."""


_Lines = tuple[list[str], float]


@dataclass(frozen=True)
class _Laid:
    """A step broken into lines."""

    step: Step
    size: float
    """Points of what to do."""
    title: list[str]
    stand: list[str]
    when: list[str]
    do: list[str]
    warned: list[str]
    was: list[str]
    """What was found before, and what now, of what was read anew."""
    numbers: list[str]

    def parts(self, *, numbers: bool) -> tuple[list[_Lines], list[_Lines]]:
        """Return lines and points of the left column and of the middle one."""
        left = [(self.title, _TITLE), (self.stand, _STAND), (self.when, _NUMBERS)]
        middle = [(self.do, self.size), (self.warned, _WARNED), (self.was, _NUMBERS)]
        middle += [(self.numbers, _NUMBERS)] if numbers else []
        left, middle = (
            [(one, min(size, self.size)) for one, size in each] for each in (left, middle)
        )
        return left, middle

    def height(self, *, numbers: bool) -> float:
        """Return how much room it needs."""
        columns = self.parts(numbers=numbers)
        tall = max(sum(len(lines) * size for lines, size in column) for column in columns)
        return max(tall * LINE, 7.0 * self.size / _ACTION) + 0.1 * self.size


@drawn
@checked
def setup_card(setup: SetUp, *, paper: str = "a4") -> list[Axes]:
    """Draw the set-up card of a saw on one page: what to do large, the numbers behind it.

    Where not all fits, numbers are left out; what is to be done, what was found before and now of
    what was read anew, warnings and cautions never.

    Parameters
    ----------
    setup : SetUp
    paper : {"a4", "letter"}

    Returns
    -------
    list of matplotlib.axes.Axes
        The page, in millimetres from its upper left corner, for `save_chart`.

    Raises
    ------
    RefusedError
        If the paper is not known.
    """
    page = Page.blank(paper)
    _head(page, setup)
    _now(page, setup.do_now)
    _steps(page, setup)
    return [page.sheet]


def _head(page: Page, setup: SetUp) -> None:
    marked = setup.marks.marked if setup.marks else None
    pictures = 2 * (2 * _BLADE + 12.0) if marked else 0.0
    wide = page.inner - pictures - 4.0
    page.fitted_text(MARGIN, 9.0, setup.saw or "Table saw", 26, wide, 11.0, weight="bold")
    blade = None if setup.fit is None else setup.fit.readings.blade
    facts = []
    if blade is not None:
        # A word stands between name and number, which letters from right to left would swap.
        facts = [f"Blade {blade.name or 'without a name,'} with {blade.teeth} teeth"]
        if blade.diameter_mm is not None:
            facts.append(f"{blade.diameter_mm / MM_PER[setup.unit]:.4g} {setup.unit}")
    when = setup.date.isoformat() if setup.date else "____________"
    lines = [", ".join(facts), f"Set-up card. Measured {when}"]
    if setup.notes:
        lines += page.wrapped(setup.notes, 9, wide)[:2]
    page.top = 22.0
    for line in filter(None, lines):
        page.line(line, 11 if page.top < 30 else 9, 5.5, high=5.0, less=page.inner - wide)
    if marked:
        first, second = (end.tooth for end in marked)
        side = "" if setup.fit is None else setup.fit.readings.side.strip().lower()
        left = page.width - MARGIN - pictures + 6.0 + _BLADE
        _blade(page, left, (first, second), upright=True)
        _blade(page, left + 2 * _BLADE + 12.0, (first, second), upright=False, side=side)
        page.top = max(page.top, 12.0 + 2 * _BLADE + 11.0)


def _now(page: Page, words: str) -> None:
    """Write the one thing to do now in a box."""
    top, wide, inset = page.top + 1.0, page.inner, 3.0
    lines = page.wrapped(words, _ACTION * BOLD, wide - 2 * inset)
    high = len(lines) * _ACTION * LINE + inset
    page.box(MARGIN, top, wide, high, linewidth=1.6)
    page.lines(MARGIN + inset, top + inset / 2, lines, _ACTION, _ACTION * LINE, weight="bold")
    page.top = top + high + 3.0


def _blade(page: Page, x: float, teeth: tuple[int, int], *, upright: bool, side: str = "") -> None:
    """Draw how the neutral line stands, with the teeth at its ends.

    Level, the first tooth is in front: to the right, where the blade is seen from its left side.
    """
    y = 13.5 + _BLADE
    page.sheet.add_patch(Circle((x, y), _BLADE, fill=False, edgecolor=BLACK, linewidth=1.2))
    page.sheet.add_patch(Circle((x, y), 1.2, fill=False, edgecolor=BLACK, linewidth=0.8))
    reach = (0.0, _BLADE) if upright else (_BLADE, 0.0)
    ends = ([x - reach[0], x + reach[0]], [y - reach[1], y + reach[1]])
    page.sheet.plot(*ends, color=BLACK, linewidth=1.6, linestyle=CHAIN)
    inset = 0.62
    first = 1 if side == "left" and not upright else -1
    for tooth, end in zip(teeth, (first, -first), strict=True):
        place = (x + end * inset * reach[0], y + end * inset * reach[1])
        box = {"facecolor": "white", "edgecolor": "none", "pad": 1.2}
        page.text(*place, str(tooth), 14, ha="center", va="center", weight="bold", bbox=box)
    words = "upright: table, bevels" if upright else "level: miter gauge, knife"
    if side in ("left", "right"):
        words += f"\nseen from the blade's {side} side"
    page.text(x, y + _BLADE + 1.5, words, 8, lines=True, ha="center")


def _lay(page: Page, setup: SetUp, place: int, step: Step, size: float) -> _Laid:
    wide, left = page.inner - _LEFT - _RIGHT - 4.0, _LEFT - 2.0
    title, stand = min(size, _TITLE) * BOLD, min(size, _STAND) * BOLD
    warned, small = min(size, _WARNED), min(size, _NUMBERS)
    # Once it is its turn it stands above, with the entries that are then to be filled anew.
    do = " ".join(step.more)
    do = (
        "As told above."
        if step is setup.now
        else f"{do} Then read again."
        if step.state == "move"
        else do
    )
    was, when = setup.was(step), setup.when(step)
    numbers = [*step.found]
    if was and step.found:
        was = f"{was}; now: {step.found[0]}"
        numbers.remove(step.found[0])
    remarks = step.remarks
    if step.part == "blade":
        # What seems wrong in its readings is a warning.
        numbers, remarks = [], (*step.found, *remarks)
    said = "; ".join(one.rstrip(".") for one in numbers)
    return _Laid(
        step,
        size,
        page.wrapped(f"{place or ''} {step.title}", title, left),
        page.wrapped(step.stand, stand, left) if step.stand else [],
        [when] if when else [],
        page.wrapped(do, size, wide) if do else [],
        [line for one in remarks for line in page.wrapped(f"! {one}", warned, wide)],
        page.wrapped(was, small, wide) if was else [],
        page.wrapped(said, small, wide) if said else [],
    )


def _steps(page: Page, setup: SetUp) -> None:
    """Write the steps as large as all that is to be done fits, and numbers where room is left."""
    room, size = page.bottom - page.top, _ACTION
    while True:
        laid = [_lay(page, setup, 0, step, size) for step in _warned(setup)]
        laid += [
            _lay(page, setup, place, step, size) for place, step in enumerate(setup.steps, start=1)
        ]
        spare = room - sum(one.height(numbers=False) for one in laid)
        if spare >= 0:
            break
        size *= 0.97
    told = set()
    # What is to be moved or read shows its numbers first.
    for one in sorted(laid, key=lambda one: not one.step.asked):
        more = one.height(numbers=True) - one.height(numbers=False)
        if more <= spare:
            told.add(id(one))
            spare -= more
    for one in laid:
        _step(page, one, numbers=id(one) in told)
        page.top += one.height(numbers=id(one) in told) + max(0.0, min(spare / len(laid), 4.0))


def _warned(setup: SetUp) -> list[Step]:
    """Return what the blade's readings warn of, to stand above the steps without a number."""
    said = setup.fit.warnings if setup.fit else ()
    return [Step(part="blade", title="Blade", remarks=said)] if said else []


def _step(page: Page, one: _Laid, *, numbers: bool) -> None:
    page.rule(page.top, 0.6, GREY)
    for at, column in zip((MARGIN, MARGIN + _LEFT), one.parts(numbers=numbers), strict=True):
        weight = {"weight": "bold"} if at == MARGIN else {}
        below = page.top + 0.05 * one.size
        for lines, size in column:
            below = page.lines(at, below, lines, size, size * LINE, **weight)
    if one.step.word:
        scale = one.size / _ACTION
        _verdict(page, one.step.word, page.width - MARGIN - _RIGHT, page.top + 0.8 * scale, scale)


def _verdict(page: Page, verdict: str, left: float, top: float, scale: float) -> None:
    """Draw the verdict in a box: white within, black where out, dashed where there is none yet."""
    out = verdict in ("out", "do not agree")
    style = "--" if verdict in ("cannot tell", "wait", "read again") else "-"
    fill = BLACK if out else "white"
    page.box(left, top, _RIGHT, 6.0 * scale, facecolor=fill, linewidth=1.0, linestyle=style)
    words = verdict if verdict in ("cannot tell", "do not agree") else verdict.upper()
    color, size = "white" if out else BLACK, 10 * min(1.0, scale)
    middle = (left + _RIGHT / 2, top + 3.0 * scale)
    page.text(*middle, words, size, ha="center", va="center", weight="bold", color=color)


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


@drawn
@checked
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
    sheets = [Page.blank(paper)]
    tall = sheets[0].bottom - _TOP
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
    doubled = {name for name, times in Counter(row.called for row in rows).items() if times > 1}
    sheets += [Page.blank(paper) for _ in range(count - 1)]
    for number, page in enumerate(sheets):
        page.head_line(title, f"page {number + 1} of {count}", date, [_HOW])
        if number < len(tables):
            _table(page, tables[number], high, doubled, shelf.unit)
        if number >= len(tables) - 1:
            for line in ends[number - len(tables) + 1]:
                page.line(line, _SMALL, _LINE, high=_LINE)
    return [page.sheet for page in sheets]


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


def _table(page: Page, rows: list[ShelfRow], high: float, doubled: set[str], unit: str) -> None:
    """Draw a table."""
    scale = page.inner / 186.0
    for head, at, wide in _COLUMNS:
        left = MARGIN + at * scale
        page.fitted_text(left, _TOP + 3.0, head, 10, wide * scale, 5.0, color=GREY)
    top = _TOP + _HEAD
    page.rule(top, 1.2, BLACK)
    for row in rows:
        sizes = (17, 13, 26 if row.marked_pair else 15, 12, 13, 15)
        cells = zip(_COLUMNS, _words(row, doubled, unit), sizes, strict=True)
        for (head, at, wide), words, size in cells:
            bold = head == "blade" or (row.marked_pair and head.startswith("mark"))
            page.fitted_text(
                MARGIN + at * scale,
                top + high / 2,
                # A long name is broken into lines, so that it can be read.
                textwrap.fill(words, max(_LONG, math.ceil(len(words) / 3))),
                size * min(1.15, high / _ROW),
                wide * scale,
                high - 1.0,
                lines=True,
                va="center_baseline",
                weight="bold" if bold else "normal",
            )
        top += high
        page.rule(top, 0.5, GREY)
    page.top = top + _LINE


def _words(row: ShelfRow, doubled: set[str], unit: str) -> tuple[str, ...]:
    name = f"{row.called} ({row.file})" if row.called in doubled else row.called
    name = shown(name) if "\n" in name else name
    pair = row.marked_pair
    return (
        name + _star(row),
        str(row.answer["teeth"]),
        f"{pair[0]}  {pair[1]}" if pair else row.marks,
        row.sure,
        row.wobble_in(unit),
        row.ignored,
    )


def _star(row: ShelfRow) -> str:
    return " *" if row.answer["resolved"] and row.answer["warnings"] else ""
