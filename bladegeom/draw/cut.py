"""Charts of the cut: when the board rubs the plate, and the wall that the teeth leave."""

from __future__ import annotations

from datetime import date as Date  # noqa: N812
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from bladegeom.blade import Blade
from bladegeom.draw._axes import BLACK, CHAIN, GREY, PALE, Chart
from bladegeom.draw._style import drawn
from bladegeom.draw.page import MARGIN, Page
from bladegeom.draw.printed import across, sizes
from bladegeom.faults import refuse
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER, convert
from bladegeom.result import number
from bladegeom.saw.kerf import NO_GULLET, SideClearance, rub_angle, side_clearance
from bladegeom.saw.slots import SlotAlignment
from bladegeom.wall.wall import CutWall

# Parts of the radius: lower, the limit grows beyond all use; higher, the flanges are in the way.
_LEAST, _MOST = 0.02, 0.7
_HEIGHTS = {
    "in": {
        "1/8 in": 0.125,
        "1/4 in": 0.25,
        "1/2 in": 0.5,
        "3/4 in": 0.75,
        **{f"{inch:g} in": float(inch) for inch in (1, 1.5, 2, 3, 4, 6, 8, 12)},
    },
    "mm": {f"{mm} mm": float(mm) for mm in (3, 6, 12, 20, 25, 40, 50, 75, 100, 150, 200, 300)},
}
_SHOWN = 6
_TABLE = 68.0


@drawn
@checked
def clearance_chart(
    blade: Blade,
    ax: Axes | None = None,
    *,
    slot: SlotAlignment | None = None,
    paper: str = "a4",
    date: Date | None = None,
) -> Axes:
    """Draw the slot error at which the board begins to rub the plate, against blade height.

    Parameters
    ----------
    blade : Blade
        With diameter, tooth width and plate.
    ax, paper, date
        See `polar_chart`.
    slot : SlotAlignment, optional
        Drawn as a line with its 95 % limits, its size without the sign.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    RefusedError
        If a size of the blade is missing, or the plate is as thick as the teeth are wide.
    """
    clear = side_clearance(blade)
    if clear.mm == 0:
        raise refuse(
            "the plate is as thick as the teeth are wide: it rubs at any error",
            "check plate and tooth_width",
            blade=blade.name,
            column="plate",
        )
    rub_angle(blade, table=(0.0, "mm"))
    if ax is None:
        page = Page(paper, landscape=True)
        page.head(str(blade.who), "side clearance", date, _sizes(blade, clear))
        page.line(_rubs(blade), 15, bold=True)
        gullet = f"{NO_GULLET} " if blade.gullet_mm is None else ""
        foot = (
            f"{gullet}The rear teeth cut a board again, on one face, at any slot error: this limit "
            "is about the plate alone."
        )
        page.fitted_text(MARGIN, page.bottom - 6.0, foot, 9, page.inner, 4.0)
        ax = page.within(20, 25, 10 + _TABLE, 24)
        _table(page, blade)
    _limits(blade, Chart(ax), slot)
    return ax


def _limits(blade: Blade, on: Chart, slot: SlotAlignment | None) -> None:
    rim = blade.radius_mm or 0.0
    # Close together where the limit falls fast.
    height = rim * np.linspace(np.sqrt(_LEAST), np.sqrt(_MOST), 301) ** 2
    limit = np.asarray(rub_angle(blade, (height, "mm")))
    largest = float(limit.max())
    on.line(height, limit, 2.0, name="the board rubs the plate from here up")
    round_heights = np.array(list(_heights(blade, "in").values()))
    at = np.asarray(rub_angle(blade, (round_heights, "mm")))
    on.hollow(round_heights, at, 6, "round heights in inches")
    if slot is not None:
        largest = max(largest, _slot(on, slot))
    on.ax.set_xlim(0, rim * _MOST)
    on.ax.set_ylim(0, 1.05 * largest)
    on.names("height of the blade above the table, mm", "slot error, degrees either way")
    on.second_scale("x", MM_PER["in"], "height of the blade above the table, in")
    on.ax.grid(color=PALE, linewidth=0.5)
    on.legend("upper right")


def _slot(on: Chart, slot: SlotAlignment) -> float:
    """Draw the size of a slot error with its limits; return how high that reaches."""
    size, reach = abs(slot.angle.value), slot.angle.reach
    high, words = size, f"slots: {size:.3f}\u00b0, doubt not known"
    if np.isfinite(reach):
        low, high = max(0.0, size - reach), size + reach
        words = f"slots: {size:.3f}\u00b0 (95 %: {low:.3f} to {high:.3f})"
        on.ax.axhspan(low, high, facecolor="none", edgecolor=GREY, hatch="////", linewidth=0.8)
    on.level(size, 1.2, CHAIN, words)
    return high


def _heights(blade: Blade, unit: str) -> dict[str, float]:
    """Return round heights that fit the blade: as they are named -> in millimetres."""
    rim = blade.radius_mm or 0.0
    heights = {name: one * MM_PER[unit] for name, one in _HEIGHTS[unit].items()}
    fitting = [(name, mm) for name, mm in heights.items() if rim * _LEAST <= mm <= rim * _MOST]
    return dict(fitting[-_SHOWN:])


def _table(page: Page, blade: Blade) -> None:
    """Write limits at round heights in large type beside the chart."""
    left, top = page.width - MARGIN - _TABLE + 6.0, page.top + 13
    heights = [held for unit in _HEIGHTS if (held := _heights(blade, unit))]
    page.text(left, top, "blade high", 10)
    page.text(left + 34, top, "slots within", 10)
    top += 6.0
    room = page.bottom - 10 - top
    step = room / max(1.0, sum(len(held) + 0.5 for held in heights))
    size = min(20.0, 0.75 * step / 25.4 * 72)
    for held in heights:
        for name, mm in held.items():
            page.text(left, top, name, size)
            page.text(left + 34, top, f"{_limit(blade, mm)}\u00b0", size, weight="bold")
            top += step
        top += step / 2


def _limit(blade: Blade, height_mm: float) -> str:
    limit = float(rub_angle(blade, (height_mm, "mm")))
    return f"{limit:.3f}" if limit >= 0.01 else number(limit, limit)


def _rubs(blade: Blade) -> str:
    fifth = (blade.radius_mm or 0.0) / 5
    low = [(name, mm) for name, mm in _heights(blade, "in").items() if mm <= fifth * (1 + 1e-9)]
    name, mm = low[-1] if low else (f"{fifth:.3g} mm", fifth)
    return f"Slots within {_limit(blade, mm)}\u00b0 of the blade at {name} high, or the board rubs"


def _sizes(blade: Blade, clear: SideClearance) -> list[str]:
    said = [
        across(blade),
        f"teeth {blade.tooth_width_mm:.4g} mm wide",
        f"plate {blade.plate_mm:.4g} mm",
        f"side clearance {clear.mm:.3g} mm ({clear.inch:.3g} in)",
    ]
    gullet = blade.gullet_mm
    return said if gullet is None else [*said, f"gullets {gullet:.3g} mm deep"]


_TWICE = 14
"""Up to so many teeth that take turns, two turns of the feed are drawn."""

_MANY = 40
"""More pieces than this are drawn with a thin line."""

_LEVEL, _UPRIGHT = 0.027, 0.012
"""Part of the chart's width that a tooth's number needs, written level and upright."""


@drawn
@checked
def cut_wall_chart(
    wall: CutWall, ax: Axes | None = None, *, paper: str = "a4", date: Date | None = None
) -> Axes:
    """Draw the wall along the feed, much exaggerated in height, with the tooth that left each part.

    Parameters
    ----------
    wall : CutWall
    ax, paper, date
        See `polar_chart`.

    Returns
    -------
    matplotlib.axes.Axes
        Along the feed in millimetres, height in micrometres, the wood above.
    """
    if ax is None:
        said, facts = (lambda: wall.headline, _roughness(wall)), _settings(wall)
        page = Page.of_fit(wall.fit, "wall of the kerf", paper, date, *said, facts=facts)
        page.remarks(wall.assumed, (8.0,), 0.525)
        ax = page.within(20, 16.5, 22, 19)
    _profile(wall, Chart(ax))
    return ax


def _profile(wall: CutWall, on: Chart) -> None:
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
    tall = (high - low) or 1.0
    on.ax.set_xlim(0.0, turns * feed)
    on.ax.set_ylim(low - 0.3 * tall, high + 0.35 * tall)
    wood: dict[str, Any] = {"facecolor": "none", "edgecolor": "0.75", "hatch": "//"}
    on.ax.fill_between(along, height, high + tall, linewidth=0.0, label="wood", **wood)
    style: Any = "-"
    name = "wall"
    if not wall.named:
        style, name = (0, (3, 2)), "wall, were the fitted wobble true: not established"
    on.line(along, height, 1.8 if len(runs) <= _MANY else 0.8, style, name)
    lengths = one.lengths * (one.start_height + one.end_height) / 2
    mean = float(lengths.sum()) / one.feed * to_um
    on.level(mean, 0.9, CHAIN, "mean line", GREY)
    if wall.named:
        _numbers(on, runs, feed, turns)
    on.names("along the feed, mm", "height, \u00b5m (up: into the wood)")
    on.second_scale("x", MM_PER["in"], "along the feed, in")
    on.second_scale("y", MM_PER["thou"] / MM_PER["um"], "height, 0.001 in")
    on.legend("upper right", ncols=3)


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


def _numbers(on: Chart, runs: list[tuple[float, float, int]], feed: float, turns: int) -> None:
    """Write along the foot which tooth left what stands above it, as far as there is room."""
    foot, wide = on.ax.get_xaxis_transform(), turns * feed
    pieces = [
        ((start + turn * feed) / wide, (end + turn * feed) / wide, tooth)
        for turn in range(turns)
        for start, end, tooth in runs
    ]
    taken, skipped = -_UPRIGHT, False
    for left, right, tooth in pieces:
        upright = right - left < _LEVEL
        tick = [0.08 if upright else 0.0, 0.1]
        on.ax.plot([left * wide] * 2, tick, transform=foot, color=BLACK, linewidth=0.8)
        middle = (left + right) / 2
        if min(middle - taken, 2 * middle, 2 * (1 - middle)) < _UPRIGHT:
            skipped = True
            continue
        taken = middle if upright else right - _UPRIGHT / 2
        size, turned = (8, 90) if upright else (11, 0)
        on.words(middle * wide, 0.05, str(tooth), size, transform=foot, rotation=turned)
    words = "left by tooth (as far as there is room)" if skipped else "left by tooth"
    on.words(0.005, 0.11, words, 9, transform=on.ax.transAxes, ha="left", va="baseline")


def _roughness(wall: CutWall) -> str:
    unit = "um" if wall.fit.unit in ("mm", "um") else "thou"
    ra, high = (wall.limits_words(one, unit) for one in (wall.ra, wall.peak_to_valley))
    return f"Ra {ra}; peak to valley {high}".replace(" um", " \u00b5m")


def _settings(wall: CutWall) -> list[str]:
    unit = "mm" if wall.fit.unit in ("mm", "um") else "in"

    def said(length: float) -> str:
        return f"{convert(length, wall.fit.unit, unit):.4g} {unit}"

    return [
        *sizes(wall.fit.readings.blade),
        f"wall {wall.side_words}",
        f"feed {said(wall.feed)} a turn",
        f"blade {said(wall.height)} high",
        f"side angle {wall.side_angle_deg:.4g}\u00b0",
        f"corners of {said(wall.corner)}" if wall.corner else "sharp corners",
    ]
