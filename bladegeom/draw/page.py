"""A sheet of paper at true size: text placed in millimetres, and files that are whole or absent."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from datetime import date as Date  # noqa: N812
from pathlib import Path
from typing import IO, Any

from matplotlib.axes import Axes
from matplotlib.backend_bases import RendererBase
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from bladegeom.draw._axes import BLACK, GREY, Words
from bladegeom.draw._fonts import (
    SIMPLE,
    as_printed,
    escaped,
    fonts_with,
    has_bold,
    line_width_mm,
    unhinted,
)
from bladegeom.draw._style import own_style
from bladegeom.draw.printed import CAUTIONS, sizes
from bladegeom.faults import refuse
from bladegeom.fit.marks import neutral_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.tables.out import whole_file

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height in millimetres."""

FORMATS = (".pdf", ".svg", ".png")
MARGIN = 12.0
BOLD = 1.13
"""Bold letters run about an eighth wider than the plain ones that are measured."""

LINE = 25.4 / 72 * 1.25
"""Height of a line, in millimetres a point of its letters."""

_MM_PER_INCH = 25.4
POINT = _MM_PER_INCH / 72
"""Millimetres."""

_ASCENT = 0.76
"""Height of the tallest letters above the baseline, in parts of their size."""

_PNG_DPI = 200


def paper_size(paper: str) -> tuple[float, float]:
    """Return width and height of a paper in millimetres, if it is known."""
    if str(paper).lower() not in PAPERS:
        raise refuse(f"paper {paper!r} is not known", "choose a4 or letter", value=paper)
    return PAPERS[paper.lower()]


class Page:
    """A sheet; millimetres run from its left and from its top.

    Between `top` and `bottom`, below what heads the page and above its foot, is room for the rest.
    A `paper` that is neither a4 nor letter is refused.
    """

    sheet: Axes

    def __init__(self, paper: str, *, landscape: bool = False) -> None:
        size = paper_size(paper)
        self.width, self.height = size[::-1] if landscape else size
        self.top, self.bottom = MARGIN, self.height - MARGIN
        self.figure = Figure(figsize=(self.width / _MM_PER_INCH, self.height / _MM_PER_INCH))
        self._canvas = FigureCanvasAgg(self.figure)

    @property
    def inner(self) -> float:
        """Width between the margins."""
        return self.width - 2 * MARGIN

    def axes(self, left: float, top: float, width: float, height: float) -> Axes:
        """Make axes at a place on the sheet."""
        low, size = 1 - (top + height) / self.height, (width / self.width, height / self.height)
        return self.figure.add_axes((left / self.width, low, *size))

    def within(self, left: float, above: float, right: float, below: float) -> Axes:
        """Make axes in the room between heading and foot, so far from its edges."""
        wide, tall = self.inner - left - right, self.bottom - self.top - above - below
        return self.axes(MARGIN + left, self.top + above, wide, tall)

    @classmethod
    def blank(cls, paper: str, cautions: Sequence[str] = CAUTIONS) -> Page:
        """Make a page with the cautions, to be drawn on: `sheet` is in millimetres."""
        page = cls(paper)
        page.sheet = page.axes(0.0, 0.0, page.width, page.height)
        page.sheet.set_xlim(0.0, page.width)
        page.sheet.set_ylim(page.height, 0.0)
        page.sheet.axis("off")
        if cautions:
            page.cautions(cautions)
            page.bottom -= 1.0
        return page

    def rule(self, top: float, width: float, color: str) -> None:
        """Draw a line across a blank page, from margin to margin."""
        ends = [MARGIN, self.width - MARGIN]
        self.sheet.plot(ends, [top, top], color=color, linewidth=width)

    def box(self, left: float, top: float, wide: float, high: float, **how: Any) -> None:
        """Draw a box on a blank page, empty if no colour is given."""
        how = {"facecolor": "none", "edgecolor": BLACK} | how
        self.sheet.add_patch(Rectangle((left, top), wide, high, **how))

    def text(
        self, left: float, top: float, words: str, size: float, *, lines: bool = False, **how: Any
    ) -> Text:
        """Write words, of several lines or one, their upper left corner at a place on the sheet."""
        how = {"va": "top", "ha": "left"} | how
        words = as_printed(words, lines=lines)
        if how["va"] == "top" and "\n" not in words:
            # A line's box there is as high as its letters happen to be; its baseline is not.
            how["va"] = "baseline"
            top += _ASCENT * size * POINT
        if not has_bold(words):
            how.pop("weight", None)
        text = _Words(
            left / self.width,
            1 - top / self.height,
            words,
            size,
            transform=self.figure.transFigure,
            **how,
        )
        text.set_figure(self.figure)
        self.figure.texts.append(text)
        return text

    def fitted_text(
        self,
        left: float,
        top: float,
        words: str,
        size: float,
        width: float,
        height: float,
        **how: Any,
    ) -> Text:
        """Write words as large as `size`, or as fits the width and height."""
        text = self.text(left, top, words, 100, **how)
        wide, high = self._size_mm(text)
        # Nothing to print has no width; it fits at any size.
        fits = min(width / wide, height / high) if wide > 0 and high > 0 else 1.0
        text.set_fontsize(min(size, 100 * fits))
        if text.get_verticalalignment() == "baseline":
            text.set_y(1 - (top + _ASCENT * float(text.get_fontsize()) * POINT) / self.height)
        return text

    def lines(
        self, left: float, top: float, lines: Iterable[str], size: float, step: float, **how: Any
    ) -> float:
        """Write lines one below the other, and return where the next would stand."""
        for line in lines:
            self.text(left, top, line, size, **how)
            top += step
        return top

    def wrapped(self, words: str, size: float, width: float) -> list[str]:
        """Break words of the page's own letters into lines that fit a width; a longer word too."""
        space = line_width_mm(" ", size)
        lines: list[list[str]] = [[]]
        room = width
        for word in (part for one in words.split() for part in _parts(one, size, width)):
            wide = line_width_mm(escaped(word), size)
            if lines[-1] and space + wide > room:
                lines.append([])
                room = width
            room -= wide + (space if lines[-1] else 0.0)
            lines[-1].append(word)
        return [" ".join(line) for line in lines]

    def _size_mm(self, text: Text) -> tuple[float, float]:
        words, size = text.get_text(), float(text.get_fontsize())
        if SIMPLE.issuperset(words):
            # The page's own letters are wider than the standard ones.
            lines, bold = words.split("\n"), text.get_fontweight() == "bold"
            high = (1.0 if len(lines) == 1 else 1.2) * len(lines) * size * POINT
            return max(line_width_mm(line, size, bold=bold) for line in lines), high
        box = text.get_window_extent(self._canvas.get_renderer())  # type: ignore[no-untyped-call]
        per_dot = _MM_PER_INCH / self.figure.dpi
        return box.width * per_dot, box.height * per_dot

    @classmethod
    def of_fit(
        cls,
        fit: WobbleFit,
        what: str,
        paper: str,
        date: Date | None,
        said: Callable[[], str],
        *more: str,
        facts: Sequence[str] = (),
    ) -> Page:
        """Make the page of a chart that rests on one fit.

        Its headline, `said`, gives way to a likely mistake; `more` and the warnings stand below.
        """
        page = cls(paper, landscape=True)
        page.head_of(fit, what, date, facts)
        if fit.mistake is None:
            # Bold letters that fill the page come out a little wider than they are measured.
            page.line(said(), 15, 9.0, less=4.0 if facts else 0.0, bold=True)
        else:
            page.not_for_the_wall(neutral_line(fit).instructions, page.top - 1.0)
            page.top += 1.0 if more else 0.0
        for words in more:
            page.line(words, 12, 6.5)
        page.warnings(fit.rest)
        return page

    def warnings(self, words: Sequence[str], size: float = 9.0, **how: Any) -> None:
        """Write warnings below what heads the page."""
        step = size * 4 / 9
        # Bold letters run wider than those that `wrapped` measures.
        wide = self.inner * (0.87 if how else 1.0)
        lines = [line for one in words for line in self.wrapped(f"! {one}", size, wide)]
        self.lines(MARGIN, self.top + 1.0, lines, size, step, **how)
        self.top += step * len(lines) + (3.0 if lines else 0.0)

    def head_of(
        self,
        fit: WobbleFit,
        what: str,
        date: Date | None,
        facts: Sequence[str] = (),
        apart: str = "",
    ) -> None:
        """Head a page with a blade, as it is seen if no other facts are given; see `head`.

        Behind its name stands what tells it `apart` from another of that name.
        """
        blade, side = fit.readings.blade, fit.readings.side
        numbered = f"teeth numbered {blade.numbered}"
        seen = [
            *sizes(blade),
            f"seen from the indicator's side{f' ({side})' if side else ''}",
            numbered if blade.numbered else "way of the numbers not stated: drawn clockwise",
        ]
        called = str(blade.who)
        name = f"{called or 'Blade'} ({apart})" if apart else called
        self.head(name, what, date, facts or seen)
        self.warnings(fit.asked, 11.0, weight="bold")

    def head(self, name: str, what: str, date: Date | None, facts: Sequence[str]) -> None:
        """Write a blade's name, what the page is, the date, facts, and the cautions at its foot."""
        self.head_line(name or "Blade", what, date, facts)
        self.cautions()

    def head_line(self, name: str, what: str, date: Date | None, facts: Sequence[str]) -> None:
        """Write a name, what the page is, the date and facts along the top."""
        self.fitted_text(MARGIN, 9.0, name, 30, self.inner - 40, 13.0, weight="bold")
        day = date or Date.today()
        self.text(self.width - MARGIN, 10.0, day.isoformat(), 13, ha="right")
        right = self.width - MARGIN
        self.fitted_text(right, 16.0, what, 9, self.inner, 4.0, ha="right", color=GREY)
        self.fitted_text(MARGIN, 24.0, ", ".join(facts), 11, self.inner, 5.0)
        self.top = 33.0

    def line(
        self,
        words: str,
        size: float,
        room: float = 0.0,
        *,
        high: float | None = None,
        less: float = 0.0,
        bold: bool = False,
    ) -> None:
        """Write a line of the heading: it takes `room` downward, and leaves `less` of the width."""
        weight = {"weight": "bold"} if bold else {}
        wide, high = self.inner - less, 0.5 * size if high is None else high
        self.fitted_text(MARGIN, self.top, words, size, wide, high, **weight)
        self.top += room

    def remarks(
        self, words: Sequence[str], among: Sequence[float], spacing: float, leave: float = 0.0
    ) -> None:
        """Write remarks above the cautions, in the first of the sizes that leaves enough room."""
        for size in among:
            told = (self.wrapped(f"\u2022 {one}", size, self.inner) for one in words)
            lines = [line for one in told for line in one]
            foot = self.bottom - spacing * size * len(lines)
            if foot - self.top >= leave:
                break
        self.lines(MARGIN, foot, lines, size, spacing * size)
        self.bottom = foot

    def cells(
        self,
        cells: Sequence[tuple[str, str, str]],
        top: float,
        columns: int,
        sizes: tuple[float, float, float],
        down: tuple[float, float],
    ) -> None:
        """Write values side by side, each with its name above it and a note below it."""
        wide = self.inner / columns
        for place, (name, value, note) in enumerate(cells):
            left, room = MARGIN + place * wide, wide - 8
            self.text(left, top, name, sizes[0])
            high = 0.4 * sizes[1]
            self.fitted_text(left, top + down[0], value, sizes[1], room, high, weight="bold")
            self.fitted_text(left, top + down[1], note, sizes[2], room, 4.0)

    def not_for_the_wall(
        self, instructions: Sequence[str], top: float, big: float | None = None
    ) -> None:
        """Write in a frame what must be done before the page is followed, the first in a size."""
        left, wide = MARGIN + 3.0, self.inner - 6.0
        self.fitted_text(left, top + 1.5, "NOT FOR THE WALL", 26, wide, 9.5, weight="bold")
        first, *others = instructions
        if big is None:
            self.fitted_text(left, top + 11.0, first, 13, wide, 6.0, weight="bold")
            under = top + 17.0
        else:
            lines, step = self.wrapped(first, big, wide), 1.1 * big * POINT
            under = 1.0 + self.lines(left, top + 12.0, lines, big, step)
        for line in (line for words in others for line in self.wrapped(words, 9, wide)):
            self.fitted_text(left, under, line, 9, wide, 4.0)
            under += 4.0
        corner = (MARGIN / self.width, 1 - (under + 1.0) / self.height)
        size = (self.inner / self.width, (under + 1.0 - top) / self.height)
        frame = Rectangle(corner, *size, fill=False, edgecolor=BLACK, linewidth=2.5)
        self.figure.add_artist(frame)
        self.top = under + 2.5

    def cautions(self, cautions: Sequence[str] = CAUTIONS) -> None:
        """Write the cautions along the foot."""
        size = 8.0
        step = size * POINT * 1.22
        lines = self.wrapped("  \u2022 ".join(("", *cautions)).strip(), size, self.inner)
        top = self.height - MARGIN - step * len(lines) + 3.0
        self.text(MARGIN, top, "\n".join(lines), size, lines=True, linespacing=1.1)
        self.rule_across(top - 1.5)
        self.bottom = top - 3.0

    def rule_across(self, top: float) -> None:
        """Draw a line from margin to margin."""
        height = 1 - top / self.height
        ends = (MARGIN / self.width, 1 - MARGIN / self.width)
        self.figure.add_artist(Line2D(ends, (height, height), color=BLACK, linewidth=0.8))


def _parts(word: str, size: float, width: float) -> list[str]:
    """Cut a word into parts that fit a width."""
    if line_width_mm(escaped(word), size) <= width:
        return [word]
    parts = [word[:1]]
    for letter in word[1:]:
        if line_width_mm(escaped(parts[-1] + letter), size) > width:
            parts.append("")
        parts[-1] += letter
    return parts


class _Words(Words):
    """Words of a page, which know when the standard fonts will not do."""

    def draw(self, renderer: RendererBase) -> None:
        """Draw the words in fonts that have their letters."""
        with fonts_with(self.get_text()), unhinted():
            super().draw(renderer)

    def get_window_extent(
        self, renderer: RendererBase | None = None, dpi: float | None = None
    ) -> Bbox:
        """Return what the words take, at any resolution the same part of the page."""
        with unhinted():
            return super().get_window_extent(renderer, dpi)


@checked
def save_chart(axes: Axes | Sequence[Axes], path: str | os.PathLike[str]) -> None:
    """Save the page that holds the axes, at true size, as PDF, SVG or PNG by the path's ending.

    The file is whole or absent.

    Parameters
    ----------
    axes : matplotlib.axes.Axes, or a sequence of them
        What a chart function, or `reading_sheet`, returned; several become the pages of a PDF.
    path : path

    Raises
    ------
    RefusedError
        The ending is not known, the folder does not exist or may not be written, or several
        pages are to go into a file that holds one.
    """
    pages = [axes] if isinstance(axes, Axes) else list(axes)
    if not pages:
        raise refuse("there is no chart to save", "give what a chart function returned")
    save_charts(pages, path, len(pages))


def save_charts(
    charts: Iterable[Axes], path: str | os.PathLike[str], count: int, *, keywords: str = ""
) -> None:
    """Save `count` charts as the pages of one file; only a PDF has more than one page.

    The same page gives the same PDF: no time of writing is put into it. `keywords` go into its
    description.
    """
    target = check_target(path)
    if count > 1 and target.suffix.lower() != ".pdf":
        raise refuse(
            f"{count} pages do not fit into one {target.suffix} file",
            "name a .pdf file, or choose one blade or one turn",
            value=target,
        )
    with own_style(), whole_file(target) as file:
        if target.suffix.lower() != ".pdf":
            for axes in charts:
                _figure(axes).savefig(file, format=target.suffix[1:].lower(), dpi=_PNG_DPI)
            return
        save_pages(charts, file, keywords)


def save_pages(charts: Iterable[Axes], file: IO[bytes], keywords: str = "") -> None:
    """Write charts as the pages of a PDF."""
    from bladegeom.draw._pdf import write_pdf  # Matplotlib's PDF takes a while to come.

    about = {"Creator": "bladegeom", "CreationDate": None, "Keywords": keywords or None}
    write_pdf(map(_figure, charts), file, about)


_END = 1 << 16


def check_target(path: str | os.PathLike[str]) -> Path:
    """Return the path of a chart that can be written, before any work is done for it."""
    target = Path(path)
    if target.suffix.lower() not in FORMATS:
        cure = "let the name end in .pdf, .svg or .png"
        raise refuse(f"{target} does not say what to draw", cure, value=target)
    if not target.parent.is_dir():
        cure = "make the folder first, or choose another"
        raise refuse(f"there is no folder {target.parent}", cure, value=target)
    if target.is_dir():
        raise refuse(f"{target} is a folder", "name a file", value=target)
    if target.is_file() and target.stat().st_size and not _is_drawing(target):
        raise refuse(
            f"{target} is there already, and is no chart that could be drawn anew",
            "choose another name, or move the old file away first",
            value=target,
        )
    return target


def _is_drawing(path: Path) -> bool:
    """Return whether a file was drawn with Matplotlib, which says so near an end of its files."""
    with path.open("rb") as file:
        ends = file.read(_END)
        file.seek(max(0, path.stat().st_size - _END))
        return b"Matplotlib" in ends + file.read()


def _figure(axes: Axes) -> Figure:
    figure = axes.get_figure(root=True)
    if figure is None:
        raise refuse("these axes belong to no figure", "give what a chart function returned")
    return figure
