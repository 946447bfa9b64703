"""What charts share on their axes: marks, scales, legends, and the teeth named above an edge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.axes._secondary_axes import SecondaryAxis
from matplotlib.patches import FancyArrowPatch
from numpy.typing import ArrayLike

from bladegeom.draw.fonts import FAMILY, families_for

BLACK, GREY, PALE = "black", "0.45", "0.8"
CHAIN: Any = (0, (9, 2, 2, 2))
DASHED: Any = (0, (4, 3))
"""Ways to draw a line, which tell it from others without colour."""


def label(ax: Axes | SecondaryAxis, words: str, axis: Literal["x", "y"]) -> None:
    """Name an axis in the page's own letters."""
    write = ax.set_xlabel if axis == "x" else ax.set_ylabel
    write(words, fontsize=11, fontfamily=FAMILY, color=BLACK, usetex=False)


def plain_ticks(ax: Axes | SecondaryAxis) -> None:
    """Print the ticks black, in the page's own letters."""
    ax.tick_params(labelsize=10, labelfontfamily=FAMILY, colors=BLACK)


def named(ax: Axes, x: str, y: str) -> None:
    """Name both axes and print their ticks."""
    label(ax, x, "x")
    label(ax, y, "y")
    plain_ticks(ax)


def second_scale(ax: Axes, axis: Literal["x", "y"], size: float, words: str) -> None:
    """Add the scale in another unit above or on the right, `size` of the first to one of it."""

    def to(value: ArrayLike) -> Any:
        return np.asarray(value, dtype=np.float64) / size

    def back(value: ArrayLike) -> Any:
        return np.asarray(value, dtype=np.float64) * size

    if axis == "x":
        other = ax.secondary_xaxis("top", functions=(to, back))
    else:
        other = ax.secondary_yaxis("right", functions=(to, back))
    plain_ticks(other)
    label(other, words, axis)


def line(
    ax: Axes,
    x: ArrayLike,
    y: ArrayLike,
    width: float,
    style: Any = "-",
    name: str | None = None,
    color: str = BLACK,
) -> None:
    """Draw a line."""
    ax.plot(x, y, color=color, linewidth=width, linestyle=style, label=name)


def level(
    ax: Axes, y: float, width: float, style: Any = "-", name: str | None = None, color: str = BLACK
) -> None:
    """Draw a level line from edge to edge."""
    ax.axhline(y, color=color, linewidth=width, linestyle=style, label=name)


def words_at(ax: Axes, x: float, y: float, words: str, size: float, **how: Any) -> None:
    """Write words as they are, in letters that have them, about a place on the axes."""
    how = {"ha": "center", "va": "center", "color": BLACK} | how
    family = families_for(words)
    ax.text(x, y, words, fontsize=size, fontfamily=family, parse_math=False, usetex=False, **how)


def hollow(
    ax: Axes,
    x: ArrayLike,
    y: ArrayLike,
    size: float,
    name: str | None = None,
    marker: str = "o",
    edge: float | None = None,
) -> None:
    """Draw hollow marks, which hide no line that they lie on."""
    how: dict[str, Any] = {"markerfacecolor": "white", "markeredgecolor": BLACK}
    how |= {"markersize": size, "markeredgewidth": edge, "label": name}
    ax.plot(x, y, linestyle="none", marker=marker, **how)


def tooth_at(
    ax: Axes,
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
    ax.axvline(place, color=BLACK, linewidth=width, linestyle=style)
    ax.annotate(
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


def every_tooth(teeth: int, most: int, steps: Sequence[int] = (1, 2, 5, 10, 20, 50, 100)) -> int:
    """Return of how many teeth one is to be numbered, so that there are so many at most."""
    return next(one for one in steps if teeth / one <= most)


def arrow_head(
    ax: Axes, start: tuple[float, float], tip: tuple[float, float], size: float, **how: Any
) -> None:
    """Draw the head of an arrow that comes from a near start."""
    how |= {"arrowstyle": "-|>", "mutation_scale": size, "shrinkA": 0, "shrinkB": 0}
    ax.add_artist(FancyArrowPatch(start, tip, **how))


def round_step(largest: float, most: float, steps: Sequence[float]) -> float:
    """Return a round step, one of `steps` and a power of ten, of which few reach the largest."""
    power = 10.0 ** math.floor(math.log10(largest))
    return next(one * power for one in steps if largest <= most * one * power)


def legend(ax: Axes, place: Any, **how: Any) -> None:
    """Explain the lines in a frame on the axes."""
    letters = {"family": FAMILY, "size": 9}
    ax.legend(loc=place, prop=letters, framealpha=1.0, edgecolor=GREY, **how)


def legend_below(ax: Axes, down: float, size: float = 9, **how: Any) -> None:
    """Explain the lines below the axes."""
    letters = {"family": FAMILY, "size": size}
    how = {"ncols": 2, "frameon": False} | how
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -down), prop=letters, **how)
