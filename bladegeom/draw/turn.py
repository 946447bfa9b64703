"""Charts along a turn of the blade: readings, squareness error, slope under a square."""

from __future__ import annotations

import math
from datetime import date as Date  # noqa: N812
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from bladegeom.draw._axes import BLACK, CHAIN, DASHED, GREY, Chart, every_tooth, label, plain_ticks
from bladegeom.draw._style import drawn
from bladegeom.draw.page import Page
from bladegeom.draw.printed import left_words, sizes, tir_limits, tir_words
from bladegeom.faults import refuse
from bladegeom.fit.marks import NO_MATTER_DEG, neutral_line, sentence
from bladegeom.fit.squareness import chance_out, squareness_error, squareness_error_u
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import student_t
from bladegeom.kinds import checked
from bladegeom.plate.line import part_of
from bladegeom.plate.rotation import Rotation
from bladegeom.result import number, percent

_MARKERS = "osD^v"
"""Of the turns that were read."""


@drawn
@checked
def strip_chart(
    fit: WobbleFit, ax: Axes | None = None, *, paper: str = "a4", date: Date | None = None
) -> Axes:
    """Draw the readings along the teeth, the fitted curve, and the residuals.

    Parameters
    ----------
    fit : WobbleFit
    ax, paper, date
        See `polar_chart`. On given axes the residuals are the lines from curve to reading; on a
        page they have axes of their own as well.

    Returns
    -------
    matplotlib.axes.Axes
        The axes of the readings.
    """
    if ax is not None:
        _readings(fit, Chart(ax))
        Chart(ax).names(x="tooth")
        return ax
    page = Page.of_fit(fit, "readings", paper, date, lambda: _strip_headline(fit))
    tall = page.bottom - page.top - 27
    ax = page.within(26, 9, 4, 18 + 0.34 * tall)
    low = page.within(26, 9 + 0.70 * tall, 4, 18)
    _readings(fit, Chart(ax))
    ax.tick_params(labelbottom=False)
    _residuals(fit, Chart(low))
    label(low, "tooth", "x")
    return ax


def _readings(fit: WobbleFit, on: Chart) -> None:
    readings, kept = fit.readings, fit.in_fit
    # A reading stands where the stylus touched, which may be beside its tooth.
    at, read, turn = readings.angle_deg[kept], fit.levelled, readings.turn[kept]
    around = np.linspace(*_reach(fit), 721)
    on.ax.vlines(at, fit.fitted, read, colors=GREY, linewidths=0.9)
    how: tuple[float, Any, str] = (1.8, "-", "fitted wobble")
    if not fit.resolved:
        how = (0.9, (0, (2, 2)), "fitted wobble (not established)")
    on.line(around, fit.height_at(around), *how)
    turns = np.unique(turn)
    for place, one in enumerate(turns):
        name = "readings" if len(turns) == 1 else f"turn {one}"
        on.hollow(at[turn == one], read[turn == one], 5, name, _MARKERS[place % len(_MARKERS)])
    closing = readings.closing
    for some, marker, name in ((closing, "x", "closing reading"), (~closing, "*", "not fitted")):
        out = ~kept & some
        if out.any():
            at, read = readings.angle_deg[out], readings.reading[out]
            on.ax.plot(at, read, marker, markersize=7, color=BLACK, label=name, linestyle="")
    _directions(fit, on)
    on.names(y=f"reading, {fit.unit}")
    _tooth_axis(fit, on)
    on.legend("best")


def _directions(fit: WobbleFit, on: Chart) -> None:
    marks = neutral_line(fit)
    if marks.near is None or marks.far is None or marks.marked is None:
        return
    low, high = _reach(fit)
    ends = [(mark, "neutral", CHAIN) for mark in marks.marked]
    for mark, word, style in (
        (marks.near, "near", (0, (1, 1.5))),
        (marks.far, "far", (0, (1, 1.5))),
        *ends,
    ):
        place = mark.direction_deg
        if not low <= place <= high:
            place += -360.0 if place > high else 360.0
        on.tooth(place, f"{word}\n{mark.tooth}", 12, width=1.1, style=style)


def _residuals(fit: WobbleFit, on: Chart) -> None:
    at = fit.readings.angle_deg[fit.in_fit]
    on.level(0.0, 0.8)
    for side in (-2, 2):
        on.level(side * fit.residual_sd, 0.8, DASHED, color=GREY)
    on.ax.vlines(at, 0.0, fit.residuals, colors=GREY, linewidths=0.9)
    on.hollow(at, fit.residuals, 4)
    largest = max(float(np.abs(fit.residuals).max()), 2 * fit.residual_sd) or 1.0
    on.ax.set_ylim(-1.2 * largest, 1.2 * largest)
    on.names(y=f"left over, {fit.unit}\n(dashed: 2 sd)")
    _tooth_axis(fit, on)


def _reach(fit: WobbleFit) -> tuple[float, float]:
    blade, touch = fit.readings.blade, fit.readings.touch_deg
    gap = 360.0 / blade.teeth
    last = float(blade.angles_deg[-1])
    return min(0.0, touch) - gap / 2, max(last, last + touch) + gap / 2


def _tooth_axis(fit: WobbleFit, on: Chart) -> None:
    blade = fit.readings.blade
    every = every_tooth(blade.teeth, 40)
    shown = range(every, blade.teeth + 1, every)
    on.ax.set_xticks([blade.angle_of(tooth) for tooth in shown], [str(tooth) for tooth in shown])
    on.ax.set_xlim(*_reach(fit))
    on.names()


def _strip_headline(fit: WobbleFit) -> str:
    limits = f" ({words})" if (words := tir_limits(fit)) else ""
    scatter = number(fit.residual_sd, fit.residual_sd / 4)
    return (
        f"Wobble TIR {tir_words(fit)}{limits}; raw TIR "
        f"{round(fit.raw_tir, 9):g} {fit.unit}; scatter {scatter} {fit.unit}"
    )


@drawn
@checked
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
    ax, paper, date
        See `polar_chart`.
    tolerance_deg : float, optional
        Draws the band of errors that are allowed.

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
    if ax is None:
        squareness_error(fit, 0.0)
        page = Page.of_fit(
            fit, "squareness", paper, date, lambda: _square_headline(fit, tolerance_deg)
        )
        ax = page.within(24, 22, 4, 18)
    _errors(fit, Chart(ax), tolerance_deg)
    return ax


def _errors(fit: WobbleFit, on: Chart, tolerance_deg: float | None) -> None:
    away = np.linspace(-180.0, 180.0, 361)
    error = np.asarray(squareness_error(fit, away))
    reach = student_t(0.95, fit.dof) * np.asarray(squareness_error_u(fit, away))
    on.level(0.0, 0.8, color=GREY)
    if tolerance_deg is not None:
        words = f"tolerance \u00b1{tolerance_deg:g}\u00b0"
        band: dict[str, Any] = {
            "facecolor": "0.92",
            "edgecolor": GREY,
            "linewidth": 0.6,
            "label": words,
        }
        on.ax.axhspan(-tolerance_deg, tolerance_deg, **band)
    on.line(away, error, 2.0, name="squareness error")
    on.line(away, error + reach, 0.8, DASHED, "95 %")
    on.line(away, error - reach, 0.8, DASHED)
    worst = neutral_line(fit).worst_deg or 0.0
    if not fit.resolved and worst:
        on.level(worst, 1.2, ":", "worst case, direction not known")
        on.level(-worst, 1.2, ":")
    largest = (
        max(worst, float(np.abs(error).max() + reach.max()), 1.1 * (tolerance_deg or 0.0)) or 1.0
    )
    on.ax.set_xlim(-180, 180)
    on.ax.set_ylim(-1.15 * largest, 1.15 * largest)
    on.ax.set_xticks(np.arange(-180, 181, 30))
    on.names(
        "turn of the blade from the neutral line, degrees (positive: as the numbers grow)",
        "error, degrees (positive:\nupper end toward the indicator)",
    )
    _uppermost(fit, on)
    on.legend("lower right")


def _uppermost(fit: WobbleFit, on: Chart) -> None:
    """Mark along the top edge which tooth stands uppermost at each turn."""
    blade = fit.readings.blade
    turn = (fit.near_deg + 90.0 - blade.angles_deg + 180.0) % 360.0 - 180.0
    marked = [end.tooth for end in neutral_line(fit).marked or ()]
    on.hollow(turn, np.asarray(squareness_error(fit, turn)), 3.5, "a tooth uppermost")
    every = every_tooth(blade.teeth, 25)
    above = on.ax.secondary_xaxis("top")
    shown = [one for one in range(every, blade.teeth + 1, every) if one not in marked]
    above.set_xticks([turn[tooth - 1] for tooth in shown], [str(tooth) for tooth in shown])
    plain_ticks(above)
    label(above, "tooth uppermost", "x")
    above.xaxis.labelpad = 32
    for tooth in marked:
        on.tooth(float(turn[tooth - 1]), str(tooth), 18, up=18)


def _square_headline(fit: WobbleFit, tolerance_deg: float | None) -> str:
    marks = neutral_line(fit, tolerance_deg=tolerance_deg or NO_MATTER_DEG)
    if marks.neutral is None:
        return marks.instructions[0]
    first, second = marks.neutral
    within = f"within {left} (95 %) " if (left := left_words(marks)) else ""
    words = (
        f"Square {within}with tooth {first.tooth} or {second.tooth} uppermost; at worst "
        f"{marks.worst_deg:.3f}\u00b0 out"
    )
    if tolerance_deg is not None:
        chance = chance_out(marks.worst_deg or 0.0, tolerance_deg)
        never = math.isclose(chance, 0.0)
        odds = "no rotation is" if never else f"{percent(chance)} of random rotations are"
        words += f"; {odds} out by over {tolerance_deg:g}\u00b0"
    return words


_APART_DEG = 22.0
"""Tooth names nearer to each other than this stand on two levels."""

_SIZES = (9.0, 8.0, 7.0)
"""Of the remarks: smaller where there are so many that the curves would have no room."""

_ROUND_MM, _LEAST_MM = 55.0, 45.0
"""What names, axis and legend take of the height, and the least to leave for curves."""

_EDGE_DEG = 8.0
"""So near to the end, where tooth 1 comes again, no other number is written."""

_SIGN = {
    "upright": "the upper end of the line leans",
    "level": "the end of the line beside the teeth that follow leans",
}


@drawn
@checked
def rotation_chart(
    rotation: Rotation, ax: Axes | None = None, *, paper: str = "a4", date: Date | None = None
) -> Axes:
    """Draw how the line under a square leans, against the tooth that stands uppermost.

    The whole shape with its 95 % limits, the tilt alone by which the neutral line goes, the teeth
    at which the slope is zero, and the tolerance if one was given.

    Parameters
    ----------
    rotation : Rotation
    ax, paper, date
        See `polar_chart`.

    Returns
    -------
    matplotlib.axes.Axes
        Blade angle uppermost in degrees, slope in degrees.
    """
    if ax is None:
        page = Page(paper, landscape=True)
        page.head(str(rotation.blade.who), "best rotation", date, sizes(rotation.blade))
        first = [*map(sentence, rotation.plate.first)] if rotation.plate.again else []
        if first:
            page.not_for_the_wall((sentence(rotation.headline), *first), page.top - 1.0)
            page.top += 1.0
        else:
            page.line(rotation.headline, 15, 9.0, bold=True)
        less = 0.05 * page.inner
        page.line(f"Square: {rotation.where}.", 11, 5.0, less=less)
        sign = f"Slope above 0: {_SIGN[rotation.line.kind]} toward the indicator."
        page.line(sign, 11, less=less)
        *remarks, sees = (one for one in rotation.remarks if one not in first)
        page.remarks([sees, *remarks], _SIZES, 0.49, leave=_ROUND_MM + _LEAST_MM)
        ax = page.within(20, 25, 6, 30)
    _slopes(rotation, Chart(ax))
    return ax


def _slopes(one: Rotation, on: Chart) -> None:
    turn = np.linspace(0.0, 360.0, 721)
    slope = one.slope_deg(turn)
    reach = student_t(0.95, one.plate.dof) * one.slope_u_deg(turn)
    tilt = one.tilt_slope_deg(turn)
    on.level(0.0, 0.8, color=GREY)
    if np.isfinite(reach).all():
        words = "95 % at each rotation"
        on.ax.fill_between(turn, slope - reach, slope + reach, color="0.85", label=words)
    on.line(turn, slope, 2.2, name=_whole(one))
    on.line(turn, tilt, 1.0, (0, (6, 4)), "tilt alone")
    most = one.tolerance_deg
    if most is not None:
        on.level(most, 1.2, ":", f"tolerance \u00b1{most:g}\u00b0")
        on.level(-most, 1.2, ":")
    largest = max(
        float(np.abs(slope).max() + np.nan_to_num(reach).max()),
        float(np.abs(tilt).max()),
        1.1 * (most or 0.0),
    )
    on.ax.set_xlim(0.0, 360.0)
    on.ax.set_ylim(-1.15 * (largest or 1.0), 1.15 * (largest or 1.0))
    _teeth(one, on)
    on.names("tooth uppermost", "slope, degrees")
    on.legend_below(0.0, 10, borderaxespad=4.2, ncols=3)


def _whole(one: Rotation) -> str:
    """Name the parts of the shape that are drawn."""
    parts = list(dict.fromkeys(part_of(name)[0] for name in one.plate.names))
    known = [part for part in parts if part]
    said = f"{', '.join(known[:-1])} and {known[-1]}" if len(known) > 1 else known[0]
    return f"{said}, without {' and '.join(one.missing)}" if one.missing else said


def _teeth(one: Rotation, on: Chart) -> None:
    """Write numbers along the axis, and above it name the teeth at which the slope is zero."""
    blade = one.blade
    every = every_tooth(blade.teeth, 25)
    numbers = {0.0: "1", 360.0: "1"} | {
        place: str(tooth)
        for tooth, place in enumerate(blade.angles_deg, start=1)
        if tooth % every == 0 and _EDGE_DEG < place < 360.0 - _EDGE_DEG
    }
    on.ax.set_xticks(list(numbers), list(numbers.values()))
    on.hollow(blade.angles_deg, one.slope_deg(blade.angles_deg), 3.5, "a tooth uppermost")
    if one.neutral_teeth is not None:
        neutral = [blade.angle_of(tooth) for tooth in one.neutral_teeth]
        on.hollow(neutral, one.slope_deg(neutral), 9, "neutral line's teeth", "^")
    if one.plate.again:
        return  # No tooth is named before the rings are read again.
    zero = {blade.nearest_tooth(zero) for zero in one.zeros_deg}
    zero |= set() if one.best_tooth is None else {one.best_tooth}
    low: list[float] = []
    # The best first, so that it is the others that give way.
    for tooth in sorted(zero, key=lambda tooth: (tooth != one.best_tooth, tooth)):
        place, best = blade.angle_of(tooth), tooth == one.best_tooth
        raised = any(abs(place - other) < _APART_DEG for other in low)
        low += [] if raised else [place]
        on.tooth(
            place,
            str(tooth),
            22 if best else 13,
            up=34 if raised else 4,
            width=1.4 if best else 0.8,
            bold=best,
        )
