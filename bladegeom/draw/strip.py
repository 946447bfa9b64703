"""The readings along the teeth, with the fitted curve and what it leaves."""

from __future__ import annotations

from datetime import date as Date  # noqa: N812

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from bladegeom.draw.page import BLACK, GREY, MARGIN, Page, label, plain_ticks
from bladegeom.fit.marks import neutral_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.result import between, number

_MARKERS = "osD^v"


def strip_chart(
    fit: WobbleFit, ax: Axes | None = None, *, paper: str = "a4", date: Date | None = None
) -> Axes:
    """Draw the readings along the teeth, the fitted curve, and the residuals.

    Parameters
    ----------
    fit : WobbleFit
    ax : matplotlib.axes.Axes, optional
        Draw on these axes, the residuals as lines from curve to reading; if not given, a page is
        made on which the residuals also have axes of their own.
    paper : {"a4", "letter"}
    date : datetime.date, optional
        Printed on the page; today if not given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes of the readings.
    """
    if ax is not None:
        _readings(fit, ax)
        label(ax, "tooth", "x")
        return ax
    page = Page(paper, landscape=True)
    top = page.head(fit, "readings", date)
    bottom = page.cautions()
    if fit.mistake is not None:
        top = page.not_for_the_wall(neutral_line(fit).instructions, top - 1.0) - 9.0
    else:
        page.fitted_text(MARGIN, top, _headline(fit), 15, page.inner, 8.0, weight="bold")
    tall = bottom - top - 36
    ax = page.axes(MARGIN + 26, top + 18, page.inner - 30, 0.66 * tall)
    low = page.axes(MARGIN + 26, top + 18 + 0.70 * tall, page.inner - 30, 0.30 * tall)
    _readings(fit, ax)
    ax.tick_params(labelbottom=False)
    _residuals(fit, low)
    label(low, "tooth", "x")
    return ax


def _readings(fit: WobbleFit, ax: Axes) -> None:
    readings = fit.readings
    kept = fit.in_fit
    at, read, turn = _places(fit)[kept], fit.levelled, readings.turn[kept]
    around = np.linspace(*_reach(fit), 721)
    ax.vlines(at, fit.fitted, read, colors=GREY, linewidths=0.9)
    ax.plot(
        around,
        fit.height_at(around),
        color=BLACK,
        linewidth=1.8 if fit.resolved else 0.9,
        linestyle="-" if fit.resolved else (0, (2, 2)),
        label="fitted wobble" if fit.resolved else "fitted wobble (not established)",
    )
    turns = np.unique(turn)
    for place, one in enumerate(turns):
        ax.plot(
            at[turn == one],
            read[turn == one],
            linestyle="none",
            marker=_MARKERS[place % len(_MARKERS)],
            markersize=5,
            markerfacecolor="white",
            markeredgecolor=BLACK,
            label="readings" if len(turns) == 1 else f"turn {one}",
        )
    if not kept.all():
        ax.plot(
            _places(fit)[~kept],
            readings.reading[~kept],
            linestyle="none",
            marker="x",
            markersize=7,
            color=BLACK,
            label="closing reading",
        )
    _directions(fit, ax)
    label(ax, f"reading, {fit.unit}", "y")
    _tooth_axis(fit, ax)
    ax.legend(loc="best", fontsize=9, framealpha=1.0, edgecolor=GREY)


def _residuals(fit: WobbleFit, ax: Axes) -> None:
    at = _places(fit)[fit.in_fit]
    ax.axhline(0.0, color=BLACK, linewidth=0.8)
    for side in (-2, 2):
        ax.axhline(side * fit.residual_sd, color=GREY, linewidth=0.8, linestyle=(0, (4, 3)))
    ax.vlines(at, 0.0, fit.residuals, colors=GREY, linewidths=0.9)
    ax.plot(
        at,
        fit.residuals,
        linestyle="none",
        marker="o",
        markersize=4,
        markerfacecolor="white",
        markeredgecolor=BLACK,
    )
    largest = max(float(np.abs(fit.residuals).max()), 2 * fit.residual_sd) or 1.0
    ax.set_ylim(-1.2 * largest, 1.2 * largest)
    label(ax, f"left over, {fit.unit}\n(dashed: 2 sd)", "y")
    _tooth_axis(fit, ax)


def _places(fit: WobbleFit) -> NDArray[np.float64]:
    """Return where on the tooth axis each reading was taken: the touched spot, near its tooth."""
    return fit.readings.angle_deg


def _reach(fit: WobbleFit) -> tuple[float, float]:
    blade, touch = fit.readings.blade, fit.readings.touch_deg
    gap = 360.0 / blade.teeth
    last = float(blade.angles_deg[-1])
    return min(0.0, touch) - gap / 2, max(last, last + touch) + gap / 2


def _tooth_axis(fit: WobbleFit, ax: Axes) -> None:
    blade = fit.readings.blade
    every = next(one for one in (1, 2, 5, 10, 20, 50, 100) if blade.teeth / one <= 40)
    shown = [tooth for tooth in range(1, blade.teeth + 1) if tooth % every == 0]
    ax.set_xticks([blade.angle_of(tooth) for tooth in shown], [str(tooth) for tooth in shown])
    ax.set_xlim(*_reach(fit))
    plain_ticks(ax)


def _directions(fit: WobbleFit, ax: Axes) -> None:
    marks = neutral_line(fit)
    if marks.near is None or marks.far is None or marks.marked is None:
        return
    first, second = marks.marked
    low, high = _reach(fit)
    for mark, word, style in (
        (marks.near, "near", (0, (1, 1.5))),
        (marks.far, "far", (0, (1, 1.5))),
        (first, "neutral", (0, (9, 2, 2, 2))),
        (second, "neutral", (0, (9, 2, 2, 2))),
    ):
        place = mark.direction_deg
        if not low <= place <= high:
            place += -360.0 if place > high else 360.0
        ax.axvline(place, color=BLACK, linewidth=1.1, linestyle=style)
        ax.annotate(
            f"{word}\n{mark.tooth}",
            (place, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 4),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=12,
            weight="bold",
            annotation_clip=False,
        )


def _headline(fit: WobbleFit) -> str:
    low, high, _ = fit.amplitude_interval()
    u = 2 * fit.amplitude_u
    limits = f" (95 %: {between(2 * low, 2 * high, u)})" if high == high else ""
    scatter = number(fit.residual_sd, fit.residual_sd / 4)
    return (
        f"Wobble TIR {number(fit.wobble_tir, u)} {fit.unit}{limits}; raw TIR "
        f"{round(fit.raw_tir, 9):g} {fit.unit}; scatter {scatter} {fit.unit}"
    )
