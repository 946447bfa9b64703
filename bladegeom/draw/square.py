"""The squareness error against the rotation of the blade."""

from __future__ import annotations

import math
from datetime import date as Date  # noqa: N812

import numpy as np
from matplotlib.axes import Axes

from bladegeom.draw.page import BLACK, GREY, MARGIN, Page, label, plain_ticks
from bladegeom.faults import refuse
from bladegeom.fit.marks import NO_MATTER_DEG, neutral_line
from bladegeom.fit.squareness import chance_out, squareness_error, squareness_error_u
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import student_t
from bladegeom.result import percent


def squareness_chart(
    fit: WobbleFit,
    ax: Axes | None = None,
    *,
    tolerance_deg: float | None = None,
    paper: str = "a4",
    date: Date | None = None,
) -> Axes:
    """Draw the squareness error against the turn of the blade from its neutral line.

    Parameters
    ----------
    fit : WobbleFit
    ax : matplotlib.axes.Axes, optional
        Draw on these axes; if not given, a page is made.
    tolerance_deg : float, optional
        Draws the band of errors that are allowed.
    paper : {"a4", "letter"}
    date : datetime.date, optional
        Printed on the page; today if not given.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    RefusedError
        If the ring radius is not known, or the tolerance is not above 0.
    """
    if tolerance_deg is not None and not 0 < tolerance_deg < 90:
        raise refuse(
            f"the tolerance is {tolerance_deg:g} deg", "give degrees above 0", value=tolerance_deg
        )
    if ax is not None:
        _draw(fit, ax, tolerance_deg)
        return ax
    squareness_error(fit, 0.0)
    page = Page(paper, landscape=True)
    top = page.head(fit, "squareness", date)
    bottom = page.cautions()
    if fit.mistake is not None:
        top = page.not_for_the_wall(neutral_line(fit).instructions, top - 1.0) - 9.0
    else:
        words = _headline(fit, tolerance_deg)
        page.fitted_text(MARGIN, top, words, 15, page.inner, 8.0, weight="bold")
    ax = page.axes(MARGIN + 20, top + 31, page.inner - 24, bottom - top - 49)
    _draw(fit, ax, tolerance_deg)
    return ax


def _draw(fit: WobbleFit, ax: Axes, tolerance_deg: float | None) -> None:
    away = np.linspace(-180.0, 180.0, 361)
    error = np.asarray(squareness_error(fit, away))
    reach = student_t(0.95, fit.dof) * np.asarray(squareness_error_u(fit, away))
    ax.axhline(0.0, color=GREY, linewidth=0.8)
    if tolerance_deg is not None:
        ax.axhspan(
            -tolerance_deg,
            tolerance_deg,
            facecolor="0.92",
            edgecolor=GREY,
            linewidth=0.6,
            label=f"tolerance \u00b1{tolerance_deg:g}\u00b0",
        )
    ax.plot(away, error, color=BLACK, linewidth=2.0, label="squareness error")
    ax.plot(away, error + reach, color=BLACK, linewidth=0.8, linestyle=(0, (4, 3)), label="95 %")
    ax.plot(away, error - reach, color=BLACK, linewidth=0.8, linestyle=(0, (4, 3)))
    worst = neutral_line(fit).worst_deg or 0.0
    if not fit.resolved and worst:
        for side, words in ((1, "worst case, direction not known"), (-1, None)):
            ax.axhline(side * worst, color=BLACK, linewidth=1.2, linestyle=":", label=words)
    largest = max(worst, float(np.abs(error).max() + reach.max()), 1.1 * (tolerance_deg or 0.0))
    ax.set_xlim(-180, 180)
    ax.set_ylim(-1.15 * largest, 1.15 * largest)
    ax.set_xticks(np.arange(-180, 181, 30))
    label(
        ax, "turn of the blade from the neutral line, degrees (positive: as the numbers grow)", "x"
    )
    label(ax, "error, degrees (positive: upper end toward the indicator)", "y")
    plain_ticks(ax)
    _teeth(fit, ax)
    ax.legend(loc="lower right", fontsize=9, framealpha=1.0, edgecolor=GREY)


def _teeth(fit: WobbleFit, ax: Axes) -> None:
    """Mark along the top edge which tooth stands uppermost at each turn."""
    blade = fit.readings.blade
    turn = (fit.near_deg + 90.0 - blade.angles_deg + 180.0) % 360.0 - 180.0
    marks = neutral_line(fit)
    named = [end.tooth for end in marks.marked or ()]
    ax.plot(
        turn,
        np.asarray(squareness_error(fit, turn)),
        linestyle="none",
        marker="o",
        markersize=3.5,
        markerfacecolor="white",
        markeredgecolor=BLACK,
        label="a tooth uppermost",
    )
    every = next(one for one in (1, 2, 5, 10, 20, 50, 100) if blade.teeth / one <= 25)
    above = ax.secondary_xaxis("top")
    ticks = [
        (turn[tooth - 1], str(tooth))
        for tooth in range(1, blade.teeth + 1)
        if tooth % every == 0 and tooth not in named
    ]
    above.set_xticks([place for place, _ in ticks], [number for _, number in ticks])
    plain_ticks(above)
    label(above, "tooth uppermost", "x")
    above.xaxis.labelpad = 32
    for tooth in named:
        place = float(turn[tooth - 1])
        ax.axvline(place, color=BLACK, linewidth=1.2, linestyle=(0, (9, 2, 2, 2)))
        ax.annotate(
            str(tooth),
            (place, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 18),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=18,
            weight="bold",
            annotation_clip=False,
        )


def _headline(fit: WobbleFit, tolerance_deg: float | None) -> str:
    marks = neutral_line(fit, tolerance_deg=tolerance_deg or NO_MATTER_DEG)
    if marks.neutral is None:
        return marks.instructions[0]
    first, second = marks.neutral
    words = (
        f"Square with tooth {first.tooth} or {second.tooth} uppermost; at worst "
        f"{marks.worst_deg:.3f}\u00b0 out"
    )
    if tolerance_deg is not None:
        chance = chance_out(marks.worst_deg or 0.0, tolerance_deg)
        never = math.isclose(chance, 0.0)
        odds = "no rotation is" if never else f"{percent(chance)} of random rotations are"
        words += f"; {odds} out by over {tolerance_deg:g}\u00b0"
    return words
