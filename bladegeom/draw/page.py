"""A sheet of paper at true size: text placed in millimetres, and files that are whole or absent."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from datetime import date as Date  # noqa: N812
from pathlib import Path
from typing import IO, Any, Literal

from matplotlib.axes import Axes
from matplotlib.axes._secondary_axes import SecondaryAxis
from matplotlib.backend_bases import RendererBase
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from bladegeom.draw.cautions import CAUTIONS
from bladegeom.draw.fonts import (
    FAMILY,
    as_printed,
    escaped,
    families_for,
    fonts_with,
    has_bold,
    has_standard_letters,
    line_width_mm,
)
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.tables.whole import whole_file

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height in millimetres."""

FORMATS = (".pdf", ".svg", ".png")
MARGIN = 12.0
BLACK, GREY, PALE = "black", "0.45", "0.8"
_MM_PER_INCH = 25.4
_POINT = _MM_PER_INCH / 72
_ASCENT = 0.76
"""Height of the tallest letters above the baseline, in parts of their size."""

_PNG_DPI = 200


class Page:
    """A sheet; millimetres run from its left and from its top.

    Parameters
    ----------
    paper : {"a4", "letter"}
    landscape : bool

    Raises
    ------
    RefusedError
        If the paper is not known.
    """

    def __init__(self, paper: str, *, landscape: bool = False) -> None:
        if paper.lower() not in PAPERS:
            raise refuse(f"paper {paper!r} is not known", "choose a4 or letter", value=paper)
        size = PAPERS[paper.lower()]
        self.width, self.height = size[::-1] if landscape else size
        self.figure = Figure(figsize=(self.width / _MM_PER_INCH, self.height / _MM_PER_INCH))
        canvas = FigureCanvasAgg(self.figure)
        self._measure: RendererAgg = canvas.get_renderer()  # type: ignore[no-untyped-call]

    @property
    def inner(self) -> float:
        """Width between the margins."""
        return self.width - 2 * MARGIN

    def axes(self, left: float, top: float, width: float, height: float) -> Axes:
        """Make axes at a place on the sheet."""
        return self.figure.add_axes(
            (
                left / self.width,
                1 - (top + height) / self.height,
                width / self.width,
                height / self.height,
            )
        )

    def sheet(self) -> Axes:
        """Make axes as large as the page, in millimetres from its upper left corner."""
        ax = self.axes(0.0, 0.0, self.width, self.height)
        ax.set_xlim(0.0, self.width)
        ax.set_ylim(self.height, 0.0)
        ax.axis("off")
        return ax

    def text(self, left: float, top: float, words: str, size: float, **how: Any) -> Text:
        """Write words, their upper left corner at a place on the sheet."""
        how = {"va": "top", "ha": "left", "color": BLACK} | how
        words = as_printed(words)
        if how["va"] == "top" and has_standard_letters(words) and "\n" not in words:
            # A line's box there is as high as its letters happen to be; its baseline is not.
            how["va"] = "baseline"
            top += _ASCENT * size * _POINT
        if not has_bold(words):
            how.pop("weight", None)
        text = _Words(
            left / self.width,
            1 - top / self.height,
            words,
            transform=self.figure.transFigure,
            fontsize=size,
            parse_math=False,
            usetex=False,
            fontfamily=families_for(words),
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
            text.set_y(1 - (top + _ASCENT * float(text.get_fontsize()) * _POINT) / self.height)
        return text

    def wrapped(self, words: str, size: float, width: float) -> list[str]:
        """Break words of the page's own letters into lines that fit a width."""
        lines: list[str] = []
        line = ""
        for word in words.split():
            longer = f"{line} {word}".strip()
            if line and line_width_mm(escaped(longer), size) > width:
                lines.append(line)
                line = word
            else:
                line = longer
        return [*lines, line]

    def _size_mm(self, text: Text) -> tuple[float, float]:
        words, size = text.get_text(), float(text.get_fontsize())
        if has_standard_letters(words):
            # The page's own letters are wider than the standard ones, bold ones by an eighth more.
            lines = words.split("\n")
            wide = max(line_width_mm(line, size) for line in lines)
            bold = 1.13 if text.get_fontweight() == "bold" else 1.0
            return wide * bold, len(lines) * size * _POINT * 1.2
        box = text.get_window_extent(self._measure)
        per_dot = _MM_PER_INCH / self.figure.dpi
        return box.width * per_dot, box.height * per_dot

    def head(self, fit: WobbleFit, what: str, date: Date | None) -> float:
        """Write the blade's name, how it is seen, and the date; return where the rest may begin."""
        blade, side = fit.readings.blade, fit.readings.side
        facts = [f"{blade.teeth} teeth"]
        if blade.diameter_mm is not None:
            facts.append(f"{blade.diameter_mm:.4g} mm ({blade.diameter_in:.4g} in)")
        facts.append(f"seen from the indicator's side{f' ({side})' if side else ''}")
        facts.append(
            f"teeth numbered {blade.numbered}"
            if blade.numbered
            else "way of the numbers not stated: drawn clockwise"
        )
        return self.head_line(blade.name or "Blade", what, date, facts)

    def head_line(self, name: str, what: str, date: Date | None, facts: Sequence[str]) -> float:
        """Write a name, what the page is, the date and facts; return where the rest may begin."""
        self.fitted_text(MARGIN, 9.0, name, 30, self.inner - 40, 13.0, weight="bold")
        day = date or Date.today()
        self.text(self.width - MARGIN, 10.0, day.isoformat(), 13, ha="right")
        self.text(self.width - MARGIN, 16.0, what, 9, ha="right", color=GREY)
        self.fitted_text(MARGIN, 24.0, ", ".join(facts), 11, self.inner, 5.0)
        return 33.0

    def not_for_the_wall(self, instructions: Sequence[str], top: float) -> float:
        """Write in a frame what must be done before the page is followed; return where it ends."""
        left, wide = MARGIN + 3.0, self.inner - 6.0
        self.fitted_text(left, top + 1.5, "NOT FOR THE WALL", 26, wide, 9.5, weight="bold")
        first, *others = instructions
        self.fitted_text(left, top + 11.0, first, 13, wide, 6.0, weight="bold")
        under = top + 17.0
        for line in (line for words in others for line in self.wrapped(words, 9, wide)):
            self.fitted_text(left, under, line, 9, wide, 4.0)
            under += 4.0
        corner = (MARGIN / self.width, 1 - (under + 1.0) / self.height)
        size = (self.inner / self.width, (under + 1.0 - top) / self.height)
        frame = Rectangle(corner, *size, fill=False, edgecolor=BLACK, linewidth=2.5)
        self.figure.add_artist(frame)
        return under + 1.0

    def cautions(self) -> float:
        """Write the cautions along the foot; return how far down the rest may reach."""
        size = 8.0
        step = size * _POINT * 1.22
        lines = self.wrapped("  \u2022 ".join(("", *CAUTIONS)).strip(), size, self.inner)
        top = self.height - MARGIN - step * len(lines) + 3.0
        self.text(MARGIN, top, "\n".join(lines), size, linespacing=1.1)
        self.figure.add_artist(_rule(self, top - 1.5))
        return top - 3.0


class _Words(Text):
    """Words of a page, which know when the standard fonts will not do."""

    def draw(self, renderer: RendererBase) -> None:
        """Draw the words in fonts that have their letters."""
        with fonts_with(self.get_text()):
            super().draw(renderer)


def _rule(page: Page, top: float) -> Line2D:
    height = 1 - top / page.height
    ends = (MARGIN / page.width, 1 - MARGIN / page.width)
    return Line2D(ends, (height, height), color=BLACK, linewidth=0.8)


def label(axes: Axes | SecondaryAxis, words: str, axis: Literal["x", "y"]) -> None:
    """Name an axis in the page's own letters."""
    write = axes.set_xlabel if axis == "x" else axes.set_ylabel
    write(words, fontsize=11, fontfamily=FAMILY, color=BLACK, usetex=False)


def plain_ticks(axes: Axes | SecondaryAxis) -> None:
    """Print the ticks black, in the page's own letters."""
    axes.tick_params(labelsize=10, labelfontfamily=FAMILY, colors=BLACK)


def save_chart(axes: Axes | Sequence[Axes], path: str | os.PathLike[str]) -> None:
    """Save the page that holds the axes, at true size, as PDF, SVG or PNG by the path's ending.

    The file is written beside its place and then renamed, so that it is whole or absent.

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
    save_charts(pages, path, len(pages))


def save_charts(
    charts: Iterable[Axes], path: str | os.PathLike[str], count: int, *, keywords: str = ""
) -> None:
    """Save `count` charts as the pages of one file; only a PDF has more than one page.

    The same page gives the same PDF: no time of writing is put into it. `keywords` go into its
    description.

    Raises
    ------
    RefusedError
    """
    target = check_target(path)
    if count > 1 and target.suffix.lower() != ".pdf":
        raise refuse(
            f"{count} pages do not fit into one {target.suffix} file",
            "name a .pdf file, or choose one blade or one turn",
            value=target,
        )
    with whole_file(target) as file:
        _write(charts, file, target.suffix.lower(), keywords)


def check_target(path: str | os.PathLike[str]) -> Path:
    """Return the path of a chart that can be written, before any work is done for it.

    Raises
    ------
    RefusedError
    """
    target = Path(path)
    if target.suffix.lower() not in FORMATS:
        raise refuse(
            f"{target} does not say what to draw",
            "let the name end in .pdf, .svg or .png",
            value=target,
        )
    if not target.parent.is_dir():
        raise refuse(
            f"there is no folder {target.parent}",
            "make the folder first, or choose another",
            value=target,
        )
    if target.is_dir():
        raise refuse(f"{target} is a folder", "name a file", value=target)
    return target


def _write(charts: Iterable[Axes], file: IO[bytes], suffix: str, keywords: str) -> None:
    if suffix == ".pdf":
        from matplotlib.backends.backend_pdf import PdfPages

        about = {"Creator": "bladegeom", "CreationDate": None, "Keywords": keywords or None}
        with PdfPages(file, metadata=about) as pages:
            for axes in charts:
                pages.savefig(_figure(axes))
    else:
        for axes in charts:
            _figure(axes).savefig(file, format=suffix[1:], dpi=_PNG_DPI)


def _figure(axes: Axes) -> Figure:
    figure = axes.get_figure(root=True)
    if figure is None:
        raise refuse("these axes belong to no figure", "give what a chart function returned")
    return figure
