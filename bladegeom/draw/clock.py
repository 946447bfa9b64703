"""What each clock position of the blade leaves of the wobble, and whether that pays."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date as Date  # noqa: N812
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from bladegeom.arbor.clock import KEEP_MARK, ClockAdvice, tir_limits
from bladegeom.arbor.mounted import places_of
from bladegeom.draw.clock_arrows import Arrows
from bladegeom.draw.fonts import FAMILY, as_printed, escaped, families_for
from bladegeom.draw.page import BLACK, MARGIN, PALE, Page, label, plain_ticks
from bladegeom.lengths import convert
from bladegeom.result import number

Floats = NDArray[np.float64]

_DASHED, _CHAIN = (0, (5, 2)), (0, (9, 2, 2, 2))
_STEP_DEG = 5.0
_LONGEST = 12
"""Letters of a mounting's name that have room beside its mark."""


def clock_chart(
    advice: ClockAdvice,
    ax: Axes | None = None,
    *,
    paper: str = "a4",
    date: Date | None = None,
) -> Axes:
    """Draw what each tooth at the arbor's mark leaves of the wobble, and how it comes about.

    Parameters
    ----------
    advice : ClockAdvice
    ax : matplotlib.axes.Axes, optional
        Draw the wobble against the tooth at the mark on these axes; if not given, a whole page is
        made, with the arrows of blade and flange beside it.
    paper : {"a4", "letter"}
    date : datetime.date, optional
        Printed on the page; today if not given.

    Returns
    -------
    matplotlib.axes.Axes
        Those of the wobble against the tooth.
    """
    if ax is not None:
        _draw_turn(advice, ax)
        return ax
    page = Page(paper, landscape=True)
    arbor = advice.arbor
    top = page.head_line(arbor.blade.name or "Blade", "clock position", date, _facts(advice))
    bottom = page.cautions() - 5.0
    page.fitted_text(MARGIN, top, _headline(advice), 20, page.inner, 9.0, weight="bold")
    page.fitted_text(MARGIN, top + 10.0, _numbers(advice), 11, 0.97 * page.inner, 5.0)
    page.fitted_text(MARGIN, bottom, f"{KEEP_MARK[0].upper()}{KEEP_MARK[1:]}.", 9, page.inner, 4.0)
    top += 18.0
    column = 0.43 * page.inner
    side = min(column, bottom - top - 32.0)
    drawing = Arrows(advice, page.axes(MARGIN + (column - side) / 2, top, side, side))
    drawing.draw()
    words = "\n".join(page.wrapped(drawing.scale_words(), 9, column))
    page.text(MARGIN, bottom - 13.5, words, 9)
    left = MARGIN + column + 22.0
    ax = page.axes(left, top + 10.0, page.width - MARGIN - left - 2.0, bottom - top - 37.0)
    _draw_turn(advice, ax)
    return ax


def _draw_turn(advice: ClockAdvice, ax: Axes) -> None:
    arbor = advice.arbor
    blade, unit = arbor.blade, arbor.unit
    turn = np.linspace(0.0, 360.0, round(360.0 / _STEP_DEG) + 1)
    low, high = tir_limits(arbor, -turn)
    fine = np.linspace(0.0, 360.0, 361)
    expected = 2 * np.abs(arbor.at(-fine))
    if np.isfinite(high).all():
        ax.fill_between(turn, low, high, facecolor="0.92", edgecolor="none")
        ax.plot(turn, low, color=BLACK, linewidth=0.8, linestyle=_DASHED)
        words = "95 %, one new seating included"
        ax.plot(turn, high, color=BLACK, linewidth=0.8, linestyle=_DASHED, label=words)
    ax.plot(fine, expected, color=BLACK, linewidth=2.0, label="blade and flange together")
    at_teeth = 2 * np.abs(arbor.at(-blade.angles_deg))
    ax.plot(
        blade.angles_deg,
        at_teeth,
        linestyle="none",
        marker="o",
        markersize=3.5,
        markerfacecolor="white",
        markeredgecolor=BLACK,
    )
    largest = max(
        float(np.nanmax(np.append(high, expected))), 2 * float(np.abs(arbor.measured).max())
    )
    _mounts(advice, ax)
    best = blade.angle_of(advice.best_tooth)
    ax.axvline(best, color=BLACK, linewidth=1.2, linestyle=_CHAIN)
    ax.annotate(
        str(advice.best_tooth),
        (best, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(0, 4),
        textcoords="offset points",
        ha="center",
        va="bottom",
        fontsize=20,
        weight="bold",
        fontfamily=FAMILY,
        annotation_clip=False,
    )
    ax.set_xlim(-6, 366)
    ax.set_ylim(0, 1.22 * largest)
    every = next(one for one in (1, 2, 3, 4, 5, 10, 20, 50, 100) if blade.teeth / one <= 13)
    ticks = [(blade.angle_of(tooth), str(tooth)) for tooth in range(1, blade.teeth + 1, every)]
    if 360.0 - ticks[-1][0] < 0.7 * 360.0 * every / blade.teeth:
        ticks.pop()
    ticks.append((360.0, "1"))
    ax.set_xticks([place for place, _ in ticks], [words for _, words in ticks])
    label(ax, "tooth at the arbor's mark", "x")
    label(ax, f"wobble TIR at the ring, {unit}", "y")
    plain_ticks(ax)
    ax.grid(axis="y", color=PALE, linewidth=0.5)
    ax.legend(
        loc="upper center",
        bbox_to_anchor=(0.5, -0.15),
        ncols=2,
        frameon=False,
        prop={"family": FAMILY, "size": 9},
    )


def _mounts(advice: ClockAdvice, ax: Axes) -> None:
    """Mark what was measured, the mountings at one position named together."""
    arbor = advice.arbor
    turn = np.mod(-arbor.clock_deg, 360.0)
    tir = 2 * np.abs(arbor.measured)
    how: dict[str, Any] = {"linestyle": "none", "marker": "s", "markeredgecolor": BLACK}
    ax.plot(turn[:-1], tir[:-1], markersize=7, markerfacecolor="white", label="as measured", **how)
    ax.plot(turn[-1:], tir[-1:], markersize=9, markerfacecolor=BLACK, label="now", **how)
    places, short = places_of(arbor.clock_deg), _short(arbor.mount)
    for place in range(int(places.max()) + 1):
        there = np.flatnonzero(places == place)
        names = ", ".join(short[at] for at in there)
        names = as_printed(names) if len(names) <= 2 * _LONGEST else f"{len(there)} mountings"
        x, over = float(turn[there[0]]), tir[there].mean() > 2 * abs(arbor.fitted[there[0]])
        y = float(tir[there].max() if over else tir[there].min())
        ax.annotate(
            names,
            (x, y),
            xytext=(0, 8 if over else -8),
            textcoords="offset points",
            ha="left" if x < 30 else "right" if x > 330 else "center",
            va="bottom" if over else "top",
            fontsize=10,
            fontfamily=families_for(names),
            parse_math=False,
            usetex=False,
            bbox={"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none"},
        )


def _short(names: Sequence[str]) -> list[str]:
    """Cut names to the room there is; a number stands for one that could then be another's."""
    cut = [name if len(name) <= _LONGEST else f"{name[: _LONGEST - 1]}\u2026" for name in names]
    return [
        f"mounting {number}" if cut.count(name) > 1 or len(escaped(name)) > 2 * _LONGEST else name
        for number, name in enumerate(cut, start=1)
    ]


def _facts(advice: ClockAdvice) -> list[str]:
    arbor = advice.arbor
    blade = arbor.blade
    facts = [f"{blade.teeth} teeth"]
    if blade.diameter_mm is not None:
        facts.append(f"{blade.diameter_mm:.4g} mm ({blade.diameter_in:.4g} in)")
    if arbor.ring_radius is not None:
        mm = convert(arbor.ring_radius, arbor.unit, "mm")
        facts.append(f"read {mm:.4g} mm ({convert(mm, 'mm', 'in'):.4g} in) from the axis")
    places = int(places_of(arbor.clock_deg).max()) + 1
    facts.append(f"{len(arbor.mount)} mountings at {places} clock positions")
    way = f"numbered {blade.numbered}" if blade.numbered else "drawn clockwise"
    facts.append(f"{way} from the indicator's side")
    return facts


def _headline(advice: ClockAdvice) -> str:
    answer = f"{advice.answer[0].upper()}{advice.answer[1:]}"
    if not advice.recommended:
        return answer
    doubt = (advice.best.high - advice.best.low) / 4
    now, left = (number(one.value, doubt) for one in (advice.now, advice.best))
    return f"{answer}: wobble TIR {now} \u2192 {left} {advice.arbor.unit}"


def _numbers(advice: ClockAdvice) -> str:
    shown = dict(advice.shown_rows())
    arbor, unit = advice.arbor, advice.arbor.unit
    alone = [
        f"{name} alone {number(one.tir, 2 * one.amplitude_u)} {unit}"
        for name, one in (("blade", arbor.blade_wobble), ("flange", arbor.flange_wobble))
    ]
    return f"Gain {shown['gain']}. Wobble TIR: {', '.join(alone)}."
