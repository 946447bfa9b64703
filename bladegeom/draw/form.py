"""The reading sheet: a blank form for pencil readings, at true size."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from bladegeom.blade import Blade
from bladegeom.draw.fonts import line_width_mm
from bladegeom.draw.page import BLACK, GREY, MARGIN, Page
from bladegeom.faults import refuse
from bladegeom.lengths import MM_PER, convert
from bladegeom.readings import Readings
from bladegeom.tables.blank import check_turns
from bladegeom.tables.facts import (
    BLADE_FACTS,
    Fact,
    blade_of,
    check_unit,
    reading_facts,
    stated_facts,
)

COLUMNS = 6
BOX_HEIGHT, _ROW, _NUMBER, _GAP = 7.3, 8.3, 8.5, 2.5
"""Millimetres: a box, from one row to the next, the tooth number, and the gap behind a box."""

_LINE, _HEADING, _TICK, _SIZE = 7.6, 8.0, 3.4, 9.5
_FEWEST_ROWS = 4
_OF_BLADE = ("teeth", "numbered", "pitch_pattern", "tooth_pattern")
_HOW = (
    "Number the teeth with a felt-tip pen. Set the dial to zero at tooth 1, then leave dial and "
    "stand alone. Turn the blade by hand, always the same way round, and write what the indicator "
    "shows at each tooth: more as the plate comes toward it, less (or minus) as it goes away; ? "
    "for not read. End each turn with tooth 1 again."
)


def reading_sheet(
    blade_or_teeth: Blade | int,
    *,
    name: str = "",
    turns: int = 1,
    unit: str | None = None,
    paper: str = "a4",
    **facts: Any,
) -> list[Axes]:
    """Draw a blank form for the readings of one blade, to be filled in with a pencil.

    Parameters
    ----------
    blade_or_teeth : Blade or int
        The blade, or how many teeth it has. What is known of it is printed; the rest is left to
        be written or ticked.
    name : str
        The blade's, where its teeth are given.
    turns : int
        How many turns of the blade are to be read; each has a box a tooth, and one for tooth 1
        again.
    unit : {"mm", "in", "thou", "um"}, optional
        Ticked, if it is given.
    paper : {"a4", "letter"}
    **facts
        What else is known: ``ring_radius="110 mm"``; facts of the blade itself only where its
        teeth are given.

    Returns
    -------
    list of matplotlib.axes.Axes
        One for each page, as large as the page, in millimetres from its upper left corner.
        `save_chart` takes them all.

    Raises
    ------
    RefusedError
        If a value cannot be true, or the paper is not known.
    """
    check_turns(turns)
    check_unit(unit)
    known = stated_facts(facts)
    if isinstance(blade_or_teeth, Blade):
        blade = blade_or_teeth
        _check_of_readings(known, name, blade)
    else:
        known |= stated_facts({"teeth": blade_or_teeth})
        blade = blade_of(known, name)
    keywords = reading_facts(known)
    # What cannot be true is refused before it is printed, as if the readings had been taken.
    Readings(blade, [math.nan] * blade.teeth, unit="mm", **keywords)
    form = _Form(blade, turns, unit, keywords, paper)
    form.draw()
    return [sheet.ax for sheet in form.sheets]


def _check_of_readings(known: dict[str, Fact], name: str, blade: Blade) -> None:
    given = {fact: known[fact].text for fact in (*BLADE_FACTS, *_OF_BLADE) if fact in known}
    if name:
        given["name"] = name
    for fact, text in given.items():
        raise refuse(
            f"{fact} is given beside a Blade",
            "state it in the Blade",
            value=text,
            blade=blade.name,
            column=fact,
        )


@dataclass
class _Sheet:
    """One page of the form and how far it is filled, in millimetres."""

    page: Page
    ax: Axes
    top: float
    bottom: float
    fresh: bool = field(default=True)

    def text(self, left: float, top: float, words: str, size: float = _SIZE, **how: Any) -> float:
        """Write words and return where they end."""
        written = self.page.text(left, top, words, size, **how)
        return left + line_width_mm(written.get_text(), size)

    def box(self, left: float, top: float, wide: float, high: float, **how: Any) -> None:
        """Draw the outline of a box."""
        how = {"linewidth": 0.9} | how
        self.ax.add_patch(Rectangle((left, top), wide, high, fill=False, edgecolor=BLACK, **how))

    def blank(self, left: float, right: float, label: str, known: str = "") -> None:
        """Draw a label and a line to write on, with what is known already on it."""
        start = self.text(left, self.top, label) + 1.5 if label else left
        self.ax.plot([start, right], [self.top + 4.6] * 2, color=GREY, linewidth=0.7, label=label)
        if known:
            wide = right - start - 2
            self.page.fitted_text(start + 1, self.top - 0.6, known, 12, wide, 5.0, weight="bold")

    def ticks(
        self, left: float, label: str, choices: Sequence[str], known: str | None = None
    ) -> float:
        """Draw a label and a box to tick for each choice; return where they end."""
        at = self.text(left, self.top, label) + 2.0 if label else left
        for choice in choices:
            self.box(at, self.top, _TICK, _TICK, gid=f"tick {choice}")
            if choice == known:
                ends = ([at, at + _TICK], [self.top, self.top + _TICK])
                for down in (ends[1], ends[1][::-1]):
                    self.ax.plot(ends[0], down, color=BLACK, linewidth=1.4, label="ticked")
            at = self.text(at + _TICK + 1.3, self.top, choice) + 3.0
        return at


class _Form:
    def __init__(
        self, blade: Blade, turns: int, unit: str | None, known: dict[str, Any], paper: str
    ) -> None:
        self.blade, self.turns, self.unit, self.known, self.paper = blade, turns, unit, known, paper
        self.sheets: list[_Sheet] = []

    def draw(self) -> None:
        sheet = self._new_sheet()
        self._facts(sheet)
        for turn in range(1, self.turns + 1):
            sheet = self._turn(sheet, turn)
        _notes(sheet)
        for number, one in enumerate(self.sheets, start=1):
            right = one.page.width - MARGIN
            words = f"page {number} of {len(self.sheets)}"
            one.text(right, 11.0, words, 9, ha="right", color=GREY)

    def _new_sheet(self) -> _Sheet:
        page = Page(self.paper)
        ax = page.sheet()
        sheet = _Sheet(page, ax, 22.0, page.cautions() - 1.0)
        sheet.text(MARGIN, 9.0, "Reading sheet", 20, weight="bold")
        left, right = MARGIN, page.width - MARGIN
        middle = left + 0.5 * page.inner
        sheet.blank(left, middle, "blade", self.blade.name)
        sheet.blank(middle + 4, middle + 30, "teeth", str(self.blade.teeth))
        sheet.blank(middle + 34, right, "date")
        sheet.top += _LINE
        self.sheets.append(sheet)
        return sheet

    def _facts(self, sheet: _Sheet) -> None:
        left, right = MARGIN, sheet.page.width - MARGIN
        middle = left + 0.5 * sheet.page.inner
        known, none = self.known, (None, "")
        sheet.blank(left, middle, "saw, arbor")
        sheet.blank(middle + 4, right, "read by")
        sheet.top += _LINE
        self._length(sheet, left, middle - 8, "diameter", self.blade.diameter_mm, ("mm", "in"))
        self._length(
            sheet,
            middle - 2,
            right,
            "ring radius, axis to stylus",
            known.get("ring_radius", none)[0],
            ("mm", "in"),
        )
        sheet.top += _LINE
        graduation = known.get("graduation", none)[0]
        self._length(sheet, left, middle + 8, "graduation of the dial", graduation, tuple(MM_PER))
        touch = known.get("touch_deg")
        words = "" if touch is None else f"{touch:g}"
        sheet.blank(middle + 14, right, "touched spot past tooth, deg", words)
        sheet.top += _LINE
        at = sheet.ticks(left, "readings in", tuple(MM_PER), self.unit)
        sheet.ticks(at + 6, "stylus on the", ("plate", "teeth"), known.get("surface"))
        sheet.top += _LINE
        side = known.get("side", "")
        sides = ("left", "right")
        at = sheet.ticks(left, "indicator on the blade's side:", sides, side)
        sheet.blank(at, right, "or", side if side not in sides else "")
        sheet.top += _LINE
        ways = ("clockwise", "counterclockwise")
        words = "seen from the indicator, the tooth numbers run"
        sheet.ticks(left, words, ways, self.blade.numbered)
        sheet.top += _LINE
        for line in sheet.page.wrapped(_HOW, 9, sheet.page.inner):
            sheet.text(left, sheet.top, line, 9)
            sheet.top += 4.0
        sheet.top += 1.5

    def _length(
        self,
        sheet: _Sheet,
        left: float,
        right: float,
        label: str,
        mm: float | None,
        units: tuple[str, ...],
    ) -> None:
        if mm is not None:
            own = self.unit if self.unit in units else None
            both = f"{mm:.4g} mm ({convert(mm, 'mm', 'in'):.4g} in)"
            known = f"{convert(mm, 'mm', own):.4g} {own}" if own else both
            sheet.blank(left, right, label, known)
            return
        wide = sum(_TICK + 4.3 + line_width_mm(unit, _SIZE) for unit in units)
        sheet.blank(left, right - wide - 2.0, label)
        sheet.ticks(right - wide, "", units)

    def _turn(self, sheet: _Sheet, turn: int) -> _Sheet:
        boxes = [*range(1, self.blade.teeth + 1), 0]  # 0: tooth 1 again
        start = True
        while boxes:
            needed = math.ceil(len(boxes) / COLUMNS)
            room = _rows_on(sheet)
            if (not sheet.fresh and room < needed) or room < _FEWEST_ROWS:
                sheet = self._new_sheet()
                room = _rows_on(sheet)
            rows = min(needed, room)
            self._heading(sheet, turn, start)
            for tooth, left, top in _places(sheet, boxes[: rows * COLUMNS], rows):
                self._box(sheet, turn, tooth, left, top)
            sheet.top += rows * _ROW + 2.0
            sheet.fresh = False
            boxes, start = boxes[rows * COLUMNS :], False
        return sheet

    def _heading(self, sheet: _Sheet, turn: int, start: bool) -> None:
        sheet.top += 1.0
        words = f"Turn {turn}" if start else f"Turn {turn}, continued"
        at = sheet.text(MARGIN, sheet.top, words, 12, weight="bold") + 8.0
        if start:
            sheet.ticks(at, "blade turned", ("forward", "backward"))
        sheet.top += _HEADING - 1.0

    def _box(self, sheet: _Sheet, turn: int, tooth: int, left: float, top: float) -> None:
        wide = sheet.page.inner / COLUMNS - _NUMBER - _GAP
        name = f"turn {turn} tooth {tooth}" if tooth else f"turn {turn} tooth 1 again"
        sheet.box(left, top, wide, BOX_HEIGHT, gid=name, linewidth=1.0 if tooth else 1.8)
        how = {"ha": "right", "weight": "bold"}
        if tooth:
            size = 11 if tooth < 1000 else 8
            sheet.text(left - 1.2, top + BOX_HEIGHT / 2, str(tooth), size, va="center", **how)
        else:
            sheet.text(left - 1.2, top + 0.2, "1", 11, **how)
            sheet.text(left - 1.2, top + 4.4, "again", 7, ha="right")


def _rows_on(sheet: _Sheet) -> int:
    return math.floor((sheet.bottom - sheet.top - _HEADING) / _ROW)


def _places(sheet: _Sheet, teeth: list[int], rows: int) -> Iterator[tuple[int, float, float]]:
    """Return where the boxes stand: down the columns, from left to right."""
    wide = sheet.page.inner / COLUMNS
    for place, tooth in enumerate(teeth):
        column, row = divmod(place, rows)
        yield tooth, MARGIN + column * wide + _NUMBER, sheet.top + row * _ROW


def _notes(sheet: _Sheet) -> None:
    """Draw lines for notes where the last page has room for them."""
    lines = math.floor((sheet.bottom - sheet.top - 4.0) / _ROW)
    if lines < 2:
        return
    sheet.top += 2.0
    for line in range(min(lines, 5)):
        sheet.blank(MARGIN, sheet.page.width - MARGIN, "notes" if line == 0 else "")
        sheet.top += _ROW
