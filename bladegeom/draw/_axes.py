"""How charts are drawn: axes with lines, marks, words and scales, in black on white."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Any, Literal, SupportsFloat

import numpy as np
from matplotlib.axes import Axes
from matplotlib.axes._secondary_axes import SecondaryAxis
from matplotlib.backend_bases import RendererBase
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Circle, FancyArrowPatch
from matplotlib.text import Text
from matplotlib.transforms import Transform, TransformedPath
from numpy.typing import ArrayLike

from bladegeom.blade import Blade
from bladegeom.draw._fonts import FAMILY, SIMPLE, families_for

BLACK, GREY, PALE = "black", "0.45", "0.8"
CHAIN: Any = (0, (9, 2, 2, 2))
DASHED: Any = (0, (4, 3))
"""Ways to draw a line, which tell it from others without colour."""

_BESIDE = {"left": 0.0, "center": 0.5, "right": 1.0}
_MIDDLE = {"baseline": 0.0, "center": 0.26}
"""How far the baseline is below a place, in parts of the size: half of ascent less descent."""


class Words(Text):
    """Words as they are, in letters that have them; a line on a page of PDF is not measured."""

    def __init__(
        self,
        x: float,
        y: float,
        words: str,
        size: float,
        *,
        ha: Literal["left", "center", "right"] = "center",
        va: Literal["top", "center", "baseline", "bottom"] = "center",
        color: str = BLACK,
        weight: str = "normal",
        linespacing: float | None = None,
        transform: Transform | None = None,
        clip_on: bool = False,
        **how: Any,
    ) -> None:
        super().__init__(
            x,
            y,
            words,
            horizontalalignment=ha,
            verticalalignment=va,
            color=color,
            fontproperties=_letters((*families_for(words),), weight, size),
            linespacing=linespacing,
            parse_math=False,
            usetex=False,
            **how,
        )
        # As arguments they would be looked up among all that a text may have.
        self.set_transform(transform)
        self.set_clip_on(clip_on)

    def draw(self, renderer: RendererBase) -> None:
        """Draw the words."""
        words, beside = self.get_text(), self.get_horizontalalignment()
        width_of = getattr(renderer, "width_of", None)
        if (
            width_of is None
            or self.get_verticalalignment() not in _MIDDLE
            or "\n" in words
            or self.get_rotation()
            or self.get_clip_on()
            or self.get_bbox_patch() is not None
            or not SIMPLE.issuperset(words)
        ):
            super().draw(renderer)
            return
        letters = self.get_fontproperties()
        x, y = self.get_transform().transform(self.get_position())
        if beside != "left":
            x -= _BESIDE[beside] * width_of(words, letters)
        y -= _MIDDLE[self.get_verticalalignment()] * letters.get_size_in_points()
        drawn = renderer.new_gc()
        drawn.set_foreground(self.get_color())
        renderer.draw_text(drawn, x, y, words, letters, 0.0)
        drawn.restore()


@lru_cache(maxsize=1024)
def _letters(families: tuple[str, ...], weight: str, size: float) -> FontProperties:
    return FontProperties(family=[*families], weight=weight, size=size)


class Chart:
    """Axes of Matplotlib, and how this package draws on them.

    Every line has its width in points, a style, and the name by which the legend explains it.
    """

    def __init__(self, ax: Axes) -> None:
        self.ax = ax
        self._edge = TransformedPath(ax.patch.get_path(), ax.patch.get_transform())

    def line(
        self,
        x: ArrayLike,
        y: ArrayLike,
        width: float,
        style: Any = "-",
        name: str | None = None,
        color: str = BLACK,
        **how: Any,
    ) -> None:
        """Draw a line."""
        how |= {"color": color, "linewidth": width, "linestyle": style, "label": name}
        self.ax.plot(x, y, **how)

    def level(
        self,
        y: float,
        width: float,
        style: Any = "-",
        name: str | None = None,
        color: str = BLACK,
    ) -> None:
        """Draw a level line from edge to edge."""
        self.ax.axhline(y, color=color, linewidth=width, linestyle=style, label=name)

    def hollow(
        self,
        x: ArrayLike,
        y: ArrayLike,
        size: float,
        name: str | None = None,
        marker: str = "o",
        **how: Any,
    ) -> None:
        """Draw hollow marks, which hide no line that they lie on."""
        how = {"markerfacecolor": "white", "markeredgecolor": BLACK, "label": name} | how
        self.ax.plot(x, y, linestyle="none", marker=marker, markersize=size, **how)

    def words(
        self, x: SupportsFloat, y: SupportsFloat, words: str, size: float, **how: Any
    ) -> None:
        """Write words as they are, in letters that have them, about a place."""
        text = Words(float(x), float(y), words, size, **({"transform": self.ax.transData} | how))
        if not text.get_clip_on():
            text.set_clip_path(self._edge)  # It cuts nothing off; axes would make one for each.
        self.ax.add_artist(text)

    def tooth(
        self,
        place: float,
        words: str,
        size: float,
        *,
        up: float = 4,
        width: float = 1.2,
        style: Any = CHAIN,
        bold: bool = True,
    ) -> None:
        """Draw a line where a tooth stands, with its number above the upper edge."""
        self.ax.axvline(place, color=BLACK, linewidth=width, linestyle=style)
        self.ax.annotate(
            words,
            (place, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, up),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=size,
            fontfamily=FAMILY,
            weight="bold" if bold else "normal",
            annotation_clip=False,
        )

    def arrow_head(
        self, start: tuple[float, float], tip: tuple[float, float], size: float, **how: Any
    ) -> None:
        """Draw the head of an arrow that comes from a near start."""
        how |= {"arrowstyle": "-|>", "mutation_scale": size, "shrinkA": 0, "shrinkB": 0}
        self.ax.add_artist(FancyArrowPatch(start, tip, **how))

    def circle(self, radius: float, width: float, color: str = BLACK, style: Any = "-") -> None:
        """Draw a circle about the middle."""
        how: dict[str, Any] = {"color": color, "linewidth": width, "linestyle": style}
        # An artist, not a patch, which would be measured: the limits are set.
        self.ax.add_artist(Circle((0, 0), radius, fill=False, **how))

    def square(self, reach: float) -> None:
        """Show no axes, only what is drawn, as far as `reach` either way."""
        self.ax.set_aspect("equal")
        self.ax.set_xlim(-reach, reach)
        self.ax.set_ylim(-reach, reach)
        self.ax.axis("off")

    def names(self, x: str = "", y: str = "") -> None:
        """Name the axes and print their ticks."""
        if x:
            label(self.ax, x, "x")
        if y:
            label(self.ax, y, "y")
        plain_ticks(self.ax)

    def second_scale(self, axis: Literal["x", "y"], size: float, words: str) -> None:
        """Add the scale in another unit, above or right; `size` of the first to one of it."""

        def to(value: ArrayLike) -> Any:
            return np.asarray(value, dtype=np.float64) / size

        def back(value: ArrayLike) -> Any:
            return np.asarray(value, dtype=np.float64) * size

        if axis == "x":
            other = self.ax.secondary_xaxis("top", functions=(to, back))
        else:
            other = self.ax.secondary_yaxis("right", functions=(to, back))
        plain_ticks(other)
        label(other, words, axis)

    def legend(self, place: Any, **how: Any) -> None:
        """Explain the lines in a frame on the axes."""
        letters = {"family": FAMILY, "size": 9}
        self.ax.legend(loc=place, prop=letters, framealpha=1.0, edgecolor=GREY, **how)

    def legend_below(self, down: float, size: float = 9, **how: Any) -> None:
        """Explain the lines below the axes."""
        how = {"ncols": 2, "frameon": False, "prop": {"family": FAMILY, "size": size}} | how
        self.ax.legend(loc="upper center", bbox_to_anchor=(0.5, -down), **how)


def label(ax: Axes | SecondaryAxis, words: str, axis: Literal["x", "y"]) -> None:
    """Name an axis in the page's own letters."""
    write = ax.set_xlabel if axis == "x" else ax.set_ylabel
    write(words, fontsize=11, fontfamily=FAMILY, color=BLACK, usetex=False)


def plain_ticks(ax: Axes | SecondaryAxis) -> None:
    """Print the ticks black, in the page's own letters."""
    ax.tick_params(labelsize=10, labelfontfamily=FAMILY, colors=BLACK)


def sense(blade: Blade) -> float:
    """Return 1, or -1 where a blade's numbers are said to grow counterclockwise on the paper."""
    return -1.0 if blade.numbered == "counterclockwise" else 1.0


def every_tooth(teeth: int, most: int, steps: Sequence[int] = (1, 2, 5, 10, 20, 50, 100)) -> int:
    """Return of how many teeth one is to be numbered, so that there are so many at most."""
    return next(one for one in steps if teeth / one <= most)


def round_step(largest: float, most: float, steps: Sequence[float]) -> float:
    """Return a round step, one of `steps` and a power of ten, of which few reach the largest."""
    power = 10.0 ** math.floor(math.log10(largest))
    return next(one * power for one in steps if largest <= most * one * power)
