"""A blade over the years, drawn: what can be compared, the line through it, and the rest apart."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date as Date  # noqa: N812
from datetime import timedelta
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

from bladegeom.draw._axes import BLACK, DASHED, GREY, PALE, Chart
from bladegeom.draw._style import drawn
from bladegeom.draw.page import MARGIN, Page
from bladegeom.faults import Who
from bladegeom.kinds import checked
from bladegeom.shop.trend import QUANTITIES, Point, Trend

_MOST_REASONS = 8
_LETTERS = "abcdefghijklmnopqrstuvwxyz"


@drawn
@checked
def trend_chart(trend: Trend, *, paper: str = "a4", date: Date | None = None) -> Axes:
    """Draw the measurements of a blade over the years, with the line through those that compare.

    Parameters
    ----------
    trend : Trend
    paper, date
        See `polar_chart`.

    Returns
    -------
    matplotlib.axes.Axes
    """
    page = Page(paper, landscape=True)
    what = QUANTITIES[trend.quantity]
    facts = [f"{what}, from {len(trend.points)} measurements"]
    page.head(str(Who(trend.blade, trend.customer)), "over the years", date, facts)
    page.line(_headline(trend), 15, bold=True)
    reasons = _reasons(trend.apart)
    _write_reasons(page, reasons)
    ax = page.within(22, 12, 4, 16)
    _line(trend, Chart(ax))
    _points(trend.compared, Chart(ax), "compared", BLACK)
    _points(trend.apart, Chart(ax), "apart", "white")
    for point in trend.apart:
        place = (_number(point.visit.date), point.value)
        offset: dict[str, Any] = {"xytext": (5, 5), "textcoords": "offset points"}
        ax.annotate(reasons.get(point.apart, ""), place, fontsize=10, **offset)
    _services(trend.points, Chart(ax))
    _axes(trend, Chart(ax), what)
    return ax


def _headline(trend: Trend) -> str:
    if trend.per_year is None:
        return trend.verdict.capitalize()
    return f"{trend.verdict.capitalize()}: {trend.per_year.text(f'{trend.unit} a year')}"


def _reasons(apart: Sequence[Point]) -> dict[str, str]:
    """Return a letter for each reason, in the order in which they are met."""
    found = list(dict.fromkeys(one.apart for one in apart))[:_MOST_REASONS]
    return {reason: _LETTERS[place] for place, reason in enumerate(found)}


def _write_reasons(page: Page, reasons: dict[str, str]) -> None:
    if not reasons:
        return
    said = "; ".join(f"{letter}: {reason}" for reason, letter in reasons.items())
    lines = page.wrapped(f"Apart (hollow), not in the line: {said}.", 9, page.inner)
    page.bottom -= 4.2 * len(lines) + 1.0
    page.text(MARGIN, page.bottom, "\n".join(lines), 9, lines=True)
    page.bottom -= 1.0


def _line(trend: Trend, on: Chart) -> None:
    compared = trend.compared
    if trend.per_year is None:
        return
    first, last = compared[0].visit.date, compared[-1].visit.date
    step = max(1, (last - first).days // 100)
    days = [*(first + timedelta(one) for one in range(0, (last - first).days, step)), last]
    heights = [found for one in days if (found := trend.at(one)) is not None]
    at = [_number(one) for one in days]
    low, high = [one.low for one in heights], [one.high for one in heights]
    on.ax.fill_between(at, low, high, color=PALE, linewidth=0, label="95 % of the line")
    on.line(at, [one.value for one in heights], 1.8, name="line")


def _number(day: Date) -> float:
    """Return a day as Matplotlib counts it."""
    return float((day - Date(1970, 1, 1)).days)


def _points(points: Sequence[Point], on: Chart, name: str, fill: str) -> None:
    if not points:
        return
    reach = np.array([1.96 * one.u for one in points])
    on.ax.errorbar(
        [_number(one.visit.date) for one in points],
        [one.value for one in points],
        yerr=np.where(np.isfinite(reach), reach, 0.0),
        fmt="o",
        markersize=6,
        markerfacecolor=fill,
        markeredgecolor=BLACK,
        ecolor=BLACK if fill == BLACK else GREY,
        elinewidth=1.0,
        capsize=3,
        label=f"{name} (bars: 95 %)" if np.isfinite(reach).any() else name,
    )


def _services(points: Sequence[Point], on: Chart) -> None:
    days = sorted({one.visit.date for one in points if one.visit.service == "after"})
    for place, day in enumerate(days):
        how: dict[str, Any] = {"color": GREY, "linewidth": 1.0, "linestyle": DASHED, "zorder": 0}
        on.ax.axvline(_number(day), label=None if place else "serviced", **how)


def _axes(trend: Trend, on: Chart, what: str) -> None:
    # Zero is the aim of a wobble or a bend, and nothing to a diameter.
    if trend.quantity.endswith("_tir"):
        on.ax.set_ylim(bottom=0.0)
    on.ax.ticklabel_format(axis="y", useOffset=False)
    locator = AutoDateLocator(minticks=3, maxticks=9)  # type: ignore[no-untyped-call]
    on.ax.xaxis.set_major_locator(locator)
    formatter = ConciseDateFormatter(locator, show_offset=False)  # type: ignore[no-untyped-call]
    on.ax.xaxis.set_major_formatter(formatter)
    on.names()
    on.names(y=f"{what}, {trend.unit}")
    on.ax.grid(axis="y", color=PALE, linewidth=0.6)
    on.ax.set_axisbelow(True)
    on.legend("best")
