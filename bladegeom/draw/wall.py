"""The wall of the kerf along the feed, and which tooth leaves each piece of it."""

from __future__ import annotations

from datetime import date as Date  # noqa: N812

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike, NDArray

from bladegeom.draw.fonts import FAMILY
from bladegeom.draw.page import BLACK, GREY, MARGIN, Page, label, plain_ticks
from bladegeom.lengths import MM_PER, convert
from bladegeom.wall.wall import CutWall

_TWICE = 14
"""Up to so many teeth that take turns, two turns of the feed are drawn."""

_MANY = 40
"""More pieces than this are drawn with a thin line."""

_LEVEL, _UPRIGHT = 0.027, 0.012
"""Part of the chart's width that a tooth's number needs, written level and upright."""

_STEP_MM = 4.2


def wall_chart(
    wall: CutWall, ax: Axes | None = None, *, paper: str = "a4", date: Date | None = None
) -> Axes:
    """Draw the wall along the feed, much exaggerated in height, with the tooth that left each part.

    Parameters
    ----------
    wall : CutWall
    ax : matplotlib.axes.Axes, optional
        Draw on these axes; if not given, a page is made.
    paper : {"a4", "letter"}
    date : datetime.date, optional
        Printed on the page; today if not given.

    Returns
    -------
    matplotlib.axes.Axes
        Along the feed in millimetres, height in micrometres, the wood above.
    """
    if ax is not None:
        _draw(wall, ax)
        return ax
    page = Page(paper, landscape=True)
    name = wall.fit.readings.blade.name or "Blade"
    top = page.head_line(name, "wall of the kerf", date, _facts(wall))
    bottom = page.cautions()
    page.fitted_text(MARGIN, top, wall.headline, 15, page.inner - 4, 8.0, weight="bold")
    page.fitted_text(MARGIN, top + 8.5, _heights(wall), 12, page.inner, 6.0)
    lines = [
        line
        for remark in wall.assumed
        for line in page.wrapped(f"\u2022 {remark}", 8.0, page.inner)
    ]
    foot = bottom - _STEP_MM * len(lines)
    for place, line in enumerate(lines):
        page.text(MARGIN, foot + _STEP_MM * place, line, 8.0)
    ax = page.axes(MARGIN + 20, top + 32, page.inner - 42, foot - top - 51)
    _draw(wall, ax)
    return ax


def _draw(wall: CutWall, ax: Axes) -> None:
    to_mm, to_um = MM_PER[wall.fit.unit], MM_PER[wall.fit.unit] / MM_PER["um"]
    one = wall.profile
    first = one.start[0] * to_mm
    feed = one.feed * to_mm
    along = np.column_stack([one.start, one.end]).ravel() * to_mm - first
    height = np.column_stack([one.start_height, one.end_height]).ravel() * to_um
    runs = _runs(wall)
    turns = 2 if len(runs) <= _TWICE else 1
    along = np.concatenate([along + turn * feed for turn in range(turns)])
    height = np.tile(height, turns)
    low, high = float(height.min()), float(height.max())
    tall = high - low
    ax.set_xlim(0.0, turns * feed)
    ax.set_ylim(low - 0.3 * tall, high + 0.35 * tall)
    ax.fill_between(
        along,
        height,
        high + tall,
        facecolor="none",
        edgecolor="0.75",
        hatch="//",
        linewidth=0.0,
        label="wood",
    )
    ax.plot(
        along,
        height,
        color=BLACK,
        linewidth=1.8 if len(runs) <= _MANY else 0.8,
        linestyle="-" if wall.named else (0, (3, 2)),
        label="wall" if wall.named else "wall, were the fitted wobble true: not established",
    )
    lengths = one.lengths * (one.start_height + one.end_height) / 2
    mean = float(lengths.sum()) / one.feed * to_um
    ax.axhline(mean, color=GREY, linewidth=0.9, linestyle=(0, (9, 2, 2, 2)), label="mean line")
    if wall.named:
        _numbers(ax, runs, feed, turns)
    label(ax, "along the feed, mm", "x")
    label(ax, "height, \u00b5m (up: into the wood)", "y")
    plain_ticks(ax)
    above = ax.secondary_xaxis("top", functions=(_inches, _millimetres))
    label(above, "along the feed, in", "x")
    beside = ax.secondary_yaxis("right", functions=(_thousandths, _micrometres))
    label(beside, "height, 0.001 in", "y")
    for axis in (above, beside):
        plain_ticks(axis)
    ax.legend(loc="upper right", fontsize=9, framealpha=1.0, edgecolor=GREY, ncols=3)


def _runs(wall: CutWall) -> list[tuple[float, float, int]]:
    """Return where each tooth's part of the wall begins and ends, in mm, and the tooth."""
    one, to_mm = wall.profile, MM_PER[wall.fit.unit]
    changes = np.flatnonzero(np.diff(one.tooth)) + 1
    first, last = np.concatenate([[0], changes]), np.concatenate([changes, [len(one.tooth)]]) - 1
    zero = one.start[0]
    return [
        (float(one.start[i] - zero) * to_mm, float(one.end[j] - zero) * to_mm, int(one.tooth[i]))
        for i, j in zip(first, last, strict=True)
    ]


def _numbers(ax: Axes, runs: list[tuple[float, float, int]], feed: float, turns: int) -> None:
    """Write along the foot which tooth left what stands above it, as far as there is room."""
    foot, wide = ax.get_xaxis_transform(), turns * feed
    pieces = [
        ((start + turn * feed) / wide, (end + turn * feed) / wide, tooth)
        for turn in range(turns)
        for start, end, tooth in runs
    ]
    taken, skipped = -_UPRIGHT, False
    for left, right, tooth in pieces:
        upright = right - left < _LEVEL
        tick = [0.08 if upright else 0.0, 0.1]
        ax.plot([left * wide] * 2, tick, transform=foot, color=BLACK, linewidth=0.8)
        middle = (left + right) / 2
        if min(middle - taken, 2 * middle, 2 * (1 - middle)) < _UPRIGHT:
            skipped = True
            continue
        taken = middle if upright else right - _UPRIGHT / 2
        ax.text(
            middle * wide,
            0.05,
            str(tooth),
            transform=foot,
            ha="center",
            va="center",
            fontsize=8 if upright else 11,
            rotation=90 if upright else 0,
            fontfamily=FAMILY,
        )
    words = "left by tooth (as far as there is room)" if skipped else "left by tooth"
    ax.text(0.005, 0.11, words, transform=ax.transAxes, fontsize=9, fontfamily=FAMILY)


def _heights(wall: CutWall) -> str:
    unit = "um" if wall.fit.unit in ("mm", "um") else "thou"
    ra, high = (wall.limits_words(one, unit) for one in (wall.ra, wall.peak_to_valley))
    return f"Ra {ra}; peak to valley {high}".replace(" um", " \u00b5m")


def _facts(wall: CutWall) -> list[str]:
    blade, unit = wall.fit.readings.blade, "mm" if wall.fit.unit in ("mm", "um") else "in"

    def said(length: float) -> str:
        return f"{convert(length, wall.fit.unit, unit):.4g} {unit}"

    return [
        f"{blade.teeth} teeth",
        f"{blade.diameter_mm:.4g} mm ({blade.diameter_in:.4g} in)",
        f"wall {wall.side_words}",
        f"feed {said(wall.feed)} a turn",
        f"blade {said(wall.height)} high",
        f"side angle {wall.side_angle_deg:.4g}\u00b0",
        f"corners of {said(wall.corner)}" if wall.corner else "sharp corners",
    ]


def _inches(mm: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(mm, dtype=np.float64) / MM_PER["in"]


def _millimetres(inch: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(inch, dtype=np.float64) * MM_PER["in"]


def _thousandths(um: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(um, dtype=np.float64) * MM_PER["um"] / MM_PER["thou"]


def _micrometres(thou: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(thou, dtype=np.float64) * MM_PER["thou"] / MM_PER["um"]
