"""The slope of the line under a square, tooth after tooth uppermost, over a full turn."""

from __future__ import annotations

from datetime import date as Date  # noqa: N812

import numpy as np
from matplotlib.axes import Axes

from bladegeom.draw.fonts import FAMILY
from bladegeom.draw.page import BLACK, GREY, MARGIN, Page, label, plain_ticks
from bladegeom.kernel.doubt import student_t
from bladegeom.plate.line import part_of
from bladegeom.plate.rotation import Rotation

_NUMBERS = 25
"""So many tooth numbers are written along the axis at most."""

_APART_DEG = 22.0
"""Tooth names nearer to each other than this stand on two levels."""

_SIZES = (9.0, 8.0, 7.0)
"""Of the remarks: smaller where there are so many that the curves would have no room."""

_ROUND_MM, _LEAST_MM = 69.0, 45.0
"""What heading, names, axis and legend take of the height, and the least to leave for curves."""

_EDGE_DEG = 8.0
"""So near to the end, where tooth 1 comes again, no other number is written."""

_SIGN = {
    "upright": "the upper end of the line leans",
    "level": "the end of the line beside the teeth that follow leans",
}


def rotation_chart(
    rotation: Rotation,
    ax: Axes | None = None,
    *,
    paper: str = "a4",
    date: Date | None = None,
) -> Axes:
    """Draw how the line under a square leans, against the tooth that stands uppermost.

    The whole shape with its 95 % limits, the tilt alone by which the neutral line goes, the teeth
    at which the slope is zero, and the tolerance if one was given.

    Parameters
    ----------
    rotation : Rotation
    ax : matplotlib.axes.Axes, optional
        Draw on these axes; if not given, a page is made.
    paper : {"a4", "letter"}
    date : datetime.date, optional
        Printed on the page; today if not given.

    Returns
    -------
    matplotlib.axes.Axes
        Blade angle uppermost in degrees, slope in degrees.
    """
    if ax is not None:
        _draw(rotation, ax)
        return ax
    blade = rotation.blade
    page = Page(paper, landscape=True)
    facts = [f"{blade.teeth} teeth"]
    if blade.diameter_mm is not None:
        facts.append(f"{blade.diameter_mm:.4g} mm ({blade.diameter_in:.4g} in)")
    top = page.head_line(blade.name or "Blade", "best rotation", date, facts)
    bottom = page.cautions()
    page.fitted_text(MARGIN, top, rotation.headline, 15, page.inner, 8.0, weight="bold")
    about = (
        f"Square: {rotation.where}.",
        f"Slope above 0: {_SIGN[rotation.line.kind]} toward the indicator.",
    )
    for place, words in enumerate(about):
        page.fitted_text(MARGIN, top + 9.0 + 5.0 * place, words, 11, 0.95 * page.inner, 5.0)
    *remarks, sees = rotation.remarks
    for size in _SIZES:
        step = 0.49 * size
        lines = [
            line
            for remark in (sees, *remarks)
            for line in page.wrapped(f"\u2022 {remark}", size, page.inner)
        ]
        foot = bottom - step * len(lines)
        if foot - top - _ROUND_MM >= _LEAST_MM:
            break
    for place, line in enumerate(lines):
        page.text(MARGIN, foot + step * place, line, size)
    ax = page.axes(MARGIN + 20, top + 39, page.inner - 26, foot - top - _ROUND_MM)
    _draw(rotation, ax)
    return ax


def _draw(one: Rotation, ax: Axes) -> None:
    turn = np.linspace(0.0, 360.0, 721)
    slope = one.slope_deg(turn)
    reach = student_t(0.95, one.plate.dof) * one.slope_u_deg(turn)
    tilt = one.tilt_slope_deg(turn)
    ax.axhline(0.0, color=GREY, linewidth=0.8)
    if np.isfinite(reach).all():
        ax.fill_between(
            turn, slope - reach, slope + reach, color="0.85", label="95 % at each rotation"
        )
    ax.plot(turn, slope, color=BLACK, linewidth=2.2, label=_whole(one))
    ax.plot(turn, tilt, color=BLACK, linewidth=1.0, linestyle=(0, (6, 4)), label="tilt alone")
    tolerance = one.tolerance_deg
    for side in () if tolerance is None else (1, -1):
        words = f"tolerance \u00b1{tolerance:g}\u00b0" if side == 1 else None
        ax.axhline(
            side * (tolerance or 0.0), color=BLACK, linewidth=1.2, linestyle=":", label=words
        )
    largest = max(
        float(np.abs(slope).max() + np.nan_to_num(reach).max()),
        float(np.abs(tilt).max()),
        1.1 * (tolerance or 0.0),
    )
    ax.set_xlim(0.0, 360.0)
    ax.set_ylim(-1.15 * (largest or 1.0), 1.15 * (largest or 1.0))
    _teeth(one, ax)
    label(ax, "tooth uppermost", "x")
    label(ax, "slope, degrees", "y")
    plain_ticks(ax)
    ax.legend(
        loc="upper center",
        bbox_to_anchor=(0.5, 0.0),
        borderaxespad=4.2,
        ncols=3,
        frameon=False,
        prop={"family": FAMILY, "size": 10},
    )


def _whole(one: Rotation) -> str:
    """Name the parts of the shape that are drawn."""
    parts = list(dict.fromkeys(part_of(name)[0] for name in one.plate.names))
    known = [part for part in parts if part]
    said = f"{', '.join(known[:-1])} and {known[-1]}" if len(known) > 1 else known[0]
    return f"{said}, without {' and '.join(one.missing)}" if one.missing else said


def _teeth(one: Rotation, ax: Axes) -> None:
    """Write numbers along the axis, and above it name the teeth at which the slope is zero."""
    blade = one.blade
    every = next(step for step in (1, 2, 5, 10, 20, 50, 100) if blade.teeth / step <= _NUMBERS)
    numbers = {0.0: "1", 360.0: "1"} | {
        place: str(tooth)
        for tooth, place in enumerate(blade.angles_deg, start=1)
        if tooth % every == 0 and _EDGE_DEG < place < 360.0 - _EDGE_DEG
    }
    ax.set_xticks(list(numbers), list(numbers.values()))
    ax.plot(
        blade.angles_deg,
        one.slope_deg(blade.angles_deg),
        linestyle="none",
        marker="o",
        markersize=3.5,
        markerfacecolor="white",
        markeredgecolor=BLACK,
        label="a tooth uppermost",
    )
    if one.neutral_teeth is not None:
        neutral = [blade.angle_of(tooth) for tooth in one.neutral_teeth]
        ax.plot(
            neutral,
            one.slope_deg(neutral),
            linestyle="none",
            marker="^",
            markersize=9,
            markerfacecolor="white",
            markeredgecolor=BLACK,
            label="neutral line's teeth",
        )
    named = {blade.nearest_tooth(zero) for zero in one.zeros_deg}
    named |= set() if one.best_tooth is None else {one.best_tooth}
    low: list[float] = []
    # The best first, so that it is the others that give way.
    for tooth in sorted(named, key=lambda tooth: (tooth != one.best_tooth, tooth)):
        place, best = blade.angle_of(tooth), tooth == one.best_tooth
        raised = any(abs(place - other) < _APART_DEG for other in low)
        low += [] if raised else [place]
        ax.axvline(place, color=BLACK, linewidth=1.4 if best else 0.8, linestyle=(0, (9, 2, 2, 2)))
        ax.annotate(
            str(tooth),
            (place, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 34 if raised else 4),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=22 if best else 13,
            fontfamily=FAMILY,
            weight="bold" if best else "normal",
            annotation_clip=False,
        )
