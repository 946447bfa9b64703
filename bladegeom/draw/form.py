"""The reading sheet: a blank form for pencil readings, at true size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes

from bladegeom.blade import Blade
from bladegeom.columns import FLANGE, STATED, Length
from bladegeom.draw._axes import BLACK, GREY
from bladegeom.draw._fonts import line_width_mm
from bladegeom.draw._style import drawn
from bladegeom.draw.page import MARGIN, Page
from bladegeom.draw.printed import CAUTIONS, FACE_CAUTIONS
from bladegeom.face import of_face
from bladegeom.faults import refuse
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER, convert
from bladegeom.readings import Readings
from bladegeom.tables.facts import Fact, blade_of, check_unit, reading_facts, stated_facts
from bladegeom.tables.out import check_turns

COLUMNS = 6
BOX_HEIGHT, _ROW, _NUMBER, _GAP = 7.3, 8.3, 8.5, 2.5
"""Millimetres: a box, from one row to the next, the tooth number, and the gap behind a box."""

_LINE, _HEADING, _TICK, _SIZE = 7.6, 8.0, 3.4, 9.5
_FEWEST_ROWS = 4
_WITH_A_LINE = frozenset(
    ["teeth", "diameter", "ring_radius", "graduation", "touch_deg", "surface", "side", "numbered"]
)
"""Facts with a line of their own on the form; what else is stated is written out."""
HOW = (
    "Number the teeth with a felt-tip pen. Set the dial to zero at tooth 1, then leave dial and "
    "stand alone. Turn the blade by hand, always the same way round, and write what the indicator "
    "shows at each tooth: more as the plate comes toward it, less (or minus) as it goes away; ? "
    "for not read. End each turn with tooth 1 again."
)


@drawn
@checked
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
    return [page.sheet for page in form.pages]


def _check_of_readings(known: dict[str, Fact], name: str, blade: Blade) -> None:
    given = {fact: known[fact].text for fact in known if STATED[fact].of == "blade"}
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


class _Form:
    """The form as far as it is drawn; what is drawn goes onto its last page."""

    def __init__(
        self, blade: Blade, turns: int, unit: str | None, known: dict[str, Any], paper: str
    ) -> None:
        self.blade, self.turns, self.unit, self.known, self.paper = blade, turns, unit, known, paper
        self.pages: list[Page] = []
        self.fresh = True
        self.face = known.get("surface") == FLANGE

    @property
    def page(self) -> Page:
        return self.pages[-1]

    @property
    def middle(self) -> float:
        return MARGIN + 0.5 * self.page.inner

    @property
    def right(self) -> float:
        return self.page.width - MARGIN

    def draw(self) -> None:
        self._new_page()
        self._facts()
        for turn in range(1, self.turns + 1):
            self._turn(turn)
        self._notes()
        for number, page in enumerate(self.pages, start=1):
            words = f"page {number} of {len(self.pages)}"
            page.text(page.width - MARGIN, 11.0, words, 9, ha="right", color=GREY)

    def said(self, words: str) -> str:
        """Return words of a blade's teeth as they are said of what is read here."""
        return of_face(words) if self.face else words

    # Words, boxes, lines to write on, and choices to tick

    def text(self, left: float, down: float, words: str, size: float = _SIZE, **how: Any) -> float:
        """Write words so far below what is drawn, and return where they end."""
        written = self.page.text(left, self.page.top + down, words, size, **how)
        return left + line_width_mm(written.get_text(), size)

    def blank(self, left: float, right: float, label: str, known: str = "") -> None:
        """Draw a label and a line to write on, with what is known already on it."""
        label = self.said(label)
        start = self.text(left, 0.0, label) + 1.5 if label else left
        top = self.page.top
        self.page.sheet.plot(
            [start, right], [top + 4.6] * 2, color=GREY, linewidth=0.7, label=label
        )
        if known:
            wide = right - start - 2
            self.page.fitted_text(start + 1, top - 0.6, known, 12, wide, 5.0, weight="bold")

    def ticks(
        self, left: float, label: str, choices: Sequence[str], known: str | None = None
    ) -> float:
        """Draw a label and a box to tick for each choice; return where they end."""
        at, top = self.text(left, 0.0, self.said(label)) + 2.0 if label else left, self.page.top
        for choice in choices:
            self.page.box(at, top, _TICK, _TICK, linewidth=0.9, gid=f"tick {choice}")
            if choice == known:
                across, down = [at, at + _TICK], [top, top + _TICK]
                for way in (down, down[::-1]):
                    self.page.sheet.plot(across, way, color=BLACK, linewidth=1.4, label="ticked")
            at = self.text(at + _TICK + 1.3, 0.0, choice) + 3.0
        return at

    # The form's parts

    def _new_page(self) -> None:
        page = Page.blank(self.paper, FACE_CAUTIONS if self.face else CAUTIONS)
        self.pages.append(page)
        page.text(MARGIN, 9.0, "Reading sheet", 20, weight="bold")
        page.top = 22.0
        self.fresh = True
        self.blank(MARGIN, self.middle, "blade", self.blade.name)
        self.blank(self.middle + 4, self.middle + 30, "teeth", str(self.blade.teeth))
        self.blank(self.middle + 34, self.right, "date")
        page.top += _LINE

    def _facts(self) -> None:
        page, known, left, middle, right = self.page, self.known, MARGIN, self.middle, self.right
        self.blank(left, middle, "saw, arbor")
        self.blank(middle + 4, right, "read by")
        page.top += _LINE
        self._length(left, middle - 8, "diameter", self.blade.diameter_mm)
        ring = known.get("ring_radius", (None, ""))[0]
        self._length(middle - 2, right, "ring radius, axis to stylus", ring)
        page.top += _LINE
        grain = known.get("graduation", (None, ""))[0]
        self._length(left, middle + 8, "graduation of the dial", grain, tuple(MM_PER))
        touch = known.get("touch_deg")
        words = "" if touch is None else f"{touch:g}"
        self.blank(middle + 14, right, "touched spot past tooth, deg", words)
        page.top += _LINE
        at = self.ticks(left, "readings in", tuple(MM_PER), self.unit)
        self.ticks(at + 6, "stylus on the", ("plate", "teeth", FLANGE), known.get("surface"))
        page.top += _LINE
        side, sides = known.get("side", ""), ("left", "right")
        at = self.ticks(left, "indicator on the blade's side:", sides, side)
        self.blank(at, right, "or", side if side not in sides else "")
        page.top += _LINE
        words = "seen from the indicator, the tooth numbers run"
        self.ticks(left, words, ("clockwise", "counterclockwise"), self.blade.numbered)
        page.top += _LINE
        others = page.wrapped("; ".join(self._others()), 9, page.inner)
        page.top = page.lines(left, page.top, filter(None, others), 9, 4.0, weight="bold")
        how = page.wrapped(self.said(HOW), 9, page.inner)
        page.top = 1.5 + page.lines(left, page.top, how, 9, 4.0)

    def _others(self) -> list[str]:
        """Return in words the facts that have no line of their own."""
        of_readings = {name: STATED[name].taken(one, "") for name, one in self.known.items()}
        said = []
        for name, kept in {**self.blade.facts, **of_readings}.items():
            value = STATED[name].cell(kept)
            if name not in _WITH_A_LINE and value is not None:
                words = f"{value:.4g} mm" if isinstance(STATED[name], Length) else value
                said.append(f"{name.replace('_', ' ')} {words}")
        return said

    def _length(
        self,
        left: float,
        right: float,
        label: str,
        mm: float | None,
        units: tuple[str, ...] = ("mm", "in"),
    ) -> None:
        if mm is not None:
            own = self.unit if self.unit in units else None
            both = f"{mm:.4g} mm ({convert(mm, 'mm', 'in'):.4g} in)"
            self.blank(left, right, label, f"{convert(mm, 'mm', own):.4g} {own}" if own else both)
            return
        wide = sum(_TICK + 4.3 + line_width_mm(unit, _SIZE) for unit in units)
        self.blank(left, right - wide - 2.0, label)
        self.ticks(right - wide, "", units)

    def _turn(self, turn: int) -> None:
        boxes, start = [*range(1, self.blade.teeth + 1), 0], True  # 0: tooth 1 again
        while boxes:
            needed = math.ceil(len(boxes) / COLUMNS)
            if self._rows_left() < (_FEWEST_ROWS if self.fresh else max(needed, _FEWEST_ROWS)):
                self._new_page()
            rows = min(needed, self._rows_left())
            self.page.top += 1.0
            words = f"Turn {turn}" if start else f"Turn {turn}, continued"
            at = self.text(MARGIN, 0.0, words, 12, weight="bold") + 8.0
            if start:
                self.ticks(at, "blade turned", ("forward", "backward"))
            self.page.top += _HEADING - 1.0
            # Down the columns, from left to right.
            for place, tooth in enumerate(boxes[: rows * COLUMNS]):
                column, row = divmod(place, rows)
                left = MARGIN + column * self.page.inner / COLUMNS + _NUMBER
                self._box(turn, tooth, left, row * _ROW)
            self.page.top += rows * _ROW + 2.0
            self.fresh = False
            boxes, start = boxes[rows * COLUMNS :], False

    def _rows_left(self) -> int:
        return math.floor((self.page.bottom - self.page.top - _HEADING) / _ROW)

    def _box(self, turn: int, tooth: int, left: float, down: float) -> None:
        wide = self.page.inner / COLUMNS - _NUMBER - _GAP
        name = f"turn {turn} tooth {tooth}" if tooth else f"turn {turn} tooth 1 again"
        line = 1.0 if tooth else 1.8
        self.page.box(left, self.page.top + down, wide, BOX_HEIGHT, gid=name, linewidth=line)
        how = {"ha": "right", "weight": "bold"}
        if tooth:
            size = 11 if tooth < 1000 else 8
            self.text(left - 1.2, down + BOX_HEIGHT / 2, str(tooth), size, va="center", **how)
        else:
            self.text(left - 1.2, down + 0.2, "1", 11, **how)
            self.text(left - 1.2, down + 4.4, "again", 7, ha="right")

    def _notes(self) -> None:
        """Draw lines for notes where the last page has room for them."""
        lines = math.floor((self.page.bottom - self.page.top - 4.0) / _ROW)
        if lines < 2:
            return
        self.page.top += 2.0
        for line in range(min(lines, 5)):
            self.blank(MARGIN, self.right, "notes" if line == 0 else "")
            self.page.top += _ROW
