"""Where to put the blade on its arbor: what each clock position leaves of the wobble, and why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date as Date  # noqa: N812
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Ellipse
from numpy.typing import ArrayLike, NDArray

from bladegeom.arbor.clock import KEEP_MARK, ClockAdvice, new_mounting, tir_limits
from bladegeom.arbor.mounted import places_of
from bladegeom.blade import Blade
from bladegeom.draw._axes import BLACK, CHAIN, GREY, PALE, Chart, every_tooth, round_step, sense
from bladegeom.draw._fonts import as_printed, escaped, families_for
from bladegeom.draw._style import drawn
from bladegeom.draw.page import MARGIN, Page
from bladegeom.draw.printed import sizes
from bladegeom.fit.marks import sentence
from bladegeom.kinds import checked
from bladegeom.lengths import convert
from bladegeom.result import number
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]

_DASHED, _DOTTED = (0, (5, 2)), (0, (1, 1.2))
_STEP_DEG = 5.0
_LONGEST = 12
"""Letters of a mounting's name that have room beside its mark."""

_SIZE = 0.86
"""Of the drawing's half width, what the longest arrow may take."""


@drawn
@checked
def clock_chart(
    advice: ClockAdvice, ax: Axes | None = None, *, paper: str = "a4", date: Date | None = None
) -> Axes:
    """Draw what each tooth at the arbor's mark leaves of the wobble, and how it comes about.

    Parameters
    ----------
    advice : ClockAdvice
    ax, paper, date
        See `polar_chart`. On a page the arrows of blade and flange stand beside the chart.

    Returns
    -------
    matplotlib.axes.Axes
        Those of the wobble against the tooth.
    """
    if ax is None:
        page = Page(paper, landscape=True)
        page.head(str(advice.arbor.blade.who), "clock position", date, _facts(advice))
        page.bottom -= 5.0
        if advice.arbor.again:
            said = (sentence(advice.answer), *map(sentence, advice.arbor.first))
            page.not_for_the_wall(said, page.top - 1.0)
        else:
            page.line(_headline(advice), 20, 10.0, bold=True)
            page.line(_numbers(advice), 11, 6.0, less=0.03 * page.inner)
        mark = f"{KEEP_MARK[0].upper()}{KEEP_MARK[1:]}."
        page.fitted_text(MARGIN, page.bottom, mark, 9, page.inner, 4.0)
        first = () if advice.arbor.again else advice.arbor.first  # Which stand above then.
        page.warnings([*first, *advice.arbor.warnings])
        page.top += 2.0
        column = 0.43 * page.inner
        side = min(column, page.bottom - page.top - 32.0)
        arrows = Arrows(advice, page.axes(MARGIN + (column - side) / 2, page.top, side, side))
        arrows.draw()
        words = "\n".join(page.wrapped(arrows.scale_words(), 9, column))
        page.text(MARGIN, page.bottom - 13.5, words, 9, lines=True)
        ax = page.within(column + 22.0, 10.0, 2.0, 27.0)
    _turn(advice, Chart(ax))
    return ax


def _turn(advice: ClockAdvice, on: Chart) -> None:
    arbor = advice.arbor
    blade, unit = arbor.blade, arbor.unit
    turn = np.linspace(0.0, 360.0, round(360.0 / _STEP_DEG) + 1)
    low, high = tir_limits(arbor, -turn)
    fine = np.linspace(0.0, 360.0, 361)
    expected = 2 * np.abs(arbor.at(-fine))
    if np.isfinite(high).all():
        on.ax.fill_between(turn, low, high, facecolor="0.92", edgecolor="none")
        on.line(turn, low, 0.8, _DASHED)
        on.line(turn, high, 0.8, _DASHED, "95 %, one new seating included")
    on.line(fine, expected, 2.0, name="blade and flange together")
    on.hollow(blade.angles_deg, 2 * np.abs(arbor.at(-blade.angles_deg)), 3.5)
    largest = max(
        float(np.nanmax(np.append(high, expected))), 2 * float(np.abs(arbor.measured).max())
    )
    _mounts(advice, on)
    if not arbor.again:
        on.tooth(blade.angle_of(advice.best_tooth), str(advice.best_tooth), 20)
    on.ax.set_xlim(-6, 366)
    on.ax.set_ylim(0, 1.22 * largest)
    ticks = [(angle, str(tooth)) for tooth, angle in _numbered(blade, 13)]
    ticks.append((360.0, "1"))
    on.ax.set_xticks([place for place, _ in ticks], [words for _, words in ticks])
    on.names("tooth at the arbor's mark", f"wobble TIR at the ring, {unit}")
    on.ax.grid(axis="y", color=PALE, linewidth=0.5)
    on.legend_below(0.15)


def _numbered(blade: Blade, most: int) -> list[tuple[int, float]]:
    """Return teeth to number and their angles, the last none so near to tooth 1 that they touch."""
    every = every_tooth(blade.teeth, most, (1, 2, 3, 4, 5, 10, 20, 50, 100))
    angles = [(tooth, blade.angle_of(tooth)) for tooth in range(1, blade.teeth + 1, every)]
    room = 0.7 * 360.0 * every / blade.teeth
    return [(tooth, angle) for tooth, angle in angles if tooth == 1 or 360.0 - angle >= room]


def _mounts(advice: ClockAdvice, on: Chart) -> None:
    """Mark what was measured, the mountings at one position named together."""
    arbor = advice.arbor
    turn = np.mod(-arbor.clock_deg, 360.0)
    tir = 2 * np.abs(arbor.measured)
    on.hollow(turn[:-1], tir[:-1], 7, "as measured", "s")
    full: dict[str, Any] = {"markerfacecolor": BLACK, "markeredgecolor": BLACK, "markersize": 9}
    on.ax.plot(turn[-1:], tir[-1:], linestyle="none", marker="s", label="now", **full)
    places, short = places_of(arbor.clock_deg), _short(arbor.mount)
    for place in range(int(places.max()) + 1):
        there = np.flatnonzero(places == place)
        names = ", ".join(short[at] for at in there)
        names = as_printed(names) if len(names) <= 2 * _LONGEST else f"{len(there)} mountings"
        x, over = float(turn[there[0]]), tir[there].mean() > 2 * abs(arbor.fitted[there[0]])
        y = float(tir[there].max() if over else tir[there].min())
        on.ax.annotate(
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
    facts = sizes(arbor.blade)
    if arbor.ring_radius is not None:
        mm = convert(arbor.ring_radius, arbor.unit, "mm")
        facts.append(f"read {mm:.4g} mm ({convert(mm, 'mm', 'in'):.4g} in) from the axis")
    places = int(places_of(arbor.clock_deg).max()) + 1
    way = arbor.blade.numbered
    return [
        *facts,
        f"{len(arbor.mount)} mountings at {places} clock positions",
        f"{f'numbered {way}' if way else 'drawn clockwise'} from the indicator's side",
    ]


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


class Arrows(Chart):
    """Wobble vectors on square axes: as long as their TIR, pointing at what comes nearest."""

    def __init__(self, advice: ClockAdvice, ax: Axes) -> None:
        super().__init__(ax)
        self.advice = advice
        arbor = advice.arbor
        self.sense = sense(arbor.blade)
        clock = -arbor.blade.angle_of(advice.best_tooth)
        self.blade = 2 * arbor.blade_vector
        self.best = 2 * complex(arbor.at(clock))
        self.now = 2 * complex(arbor.measured[-1])
        self.expected_now = 2 * complex(arbor.at(float(arbor.clock_deg[-1])))
        most = abs(self.blade) + 2 * abs(arbor.flange_vector)
        self.reach = 1.05 * max(most, abs(self.now), 1e-300)
        self.step = round_step(self.reach, 4.5, (0.2, 0.5, 1, 2, 5))

    def at(self, vector: ArrayLike) -> tuple[Floats, Floats]:
        """Return where on the drawing vectors end: tooth 1 is up."""
        value = np.asarray(vector, dtype=np.complex128) / self.reach * _SIZE
        return self.sense * value.imag, value.real

    def draw(self) -> None:
        """Draw rings and teeth, then the arrows with their doubt and what they mean."""
        self.square(1)
        self._ground()
        circle = self.blade + 2 * abs(self.advice.arbor.flange_vector) * np.exp(
            1j * np.radians(np.arange(0.0, 361.0))
        )
        self.line(*self.at(circle), 0.8, name="both, any tooth", color=GREY)
        best = f"tooth {self.advice.best_tooth}"
        self._arrow(self.best, f"both, {best}", 7.0, color="0.65")
        self._ellipses()
        self._arrow(self.now, "both, now (measured)", 2.4, _DOTTED)
        self._arrow(self.blade, "blade alone", 2.0)
        self._arrow(self.best - self.blade, f"flange, {best}", 2.0, _DASHED)
        self._arrow(self.expected_now - self.blade, "flange, now", 1.0, CHAIN)
        self.legend_below(0.0, handlelength=3.0, columnspacing=1.0)

    def scale_words(self) -> str:
        """Return how the arrows are to be read."""
        return (
            "Tooth: the one at the arbor's mark. Arrows are as long as the wobble TIR (rings "
            f"{self.step:g} {self.advice.arbor.unit} apart) and point at the tooth nearest the "
            "indicator. Ellipses: 95 %."
        )

    def _ground(self) -> None:
        """Draw rings of equal wobble, and the teeth at which the arrows point."""
        for ring in range(1, math.floor(self.reach / self.step + 1e-9) + 1):
            size = ring * self.step / self.reach * _SIZE
            self.circle(size, 0.6, PALE)
        for tooth, angle in _numbered(self.advice.arbor.blade, 16):
            x, y = self.at(self.reach / _SIZE * 0.95 * np.exp(1j * math.radians(angle)))
            words, weight = ("tooth 1", "bold") if tooth == 1 else (str(tooth), "normal")
            self.words(float(x), float(y), words, 9, weight=weight)
        self.ax.plot(0, 0, marker="+", markersize=10, color=BLACK, linestyle="none")

    def _arrow(
        self,
        end: complex,
        words: str,
        width: float,
        style: Any = "-",
        color: str = BLACK,
    ) -> None:
        x, y = (float(one) for one in self.at(end))
        head = 8 + 3 * width
        # Stops where the head begins, whose own point would be blunted by a broad line.
        short = 1 - min(1.0, 0.003 * head / max(math.hypot(x, y), 1e-300))
        ends = ([0, short * x], [0, short * y])
        self.line(*ends, width, style, words, color, solid_capstyle="butt")
        if short == 0:
            self.ax.plot(x, y, marker="o", markersize=3 + width, color=color, linestyle="none")
            return
        self.arrow_head((0.99 * x, 0.99 * y), (x, y), head, linewidth=0.5, color=color)

    def _ellipses(self) -> None:
        """Draw where the tips of the blade's arrow and of the best sum may lie (95 %)."""
        advice, arbor = self.advice, self.advice.arbor
        self._ellipse(self.blade, arbor.blade_wobble, "-")
        if arbor.left.seating_sd is None:
            return
        clock = -arbor.blade.angle_of(advice.best_tooth)
        self._ellipse(self.best, new_mounting(arbor, clock), _DASHED)

    def _ellipse(self, centre: complex, vector: Wobble, style: Any) -> None:
        size, axes = np.linalg.eigh(vector.covariance)
        # F with 2 and dof degrees of freedom has its quantile in closed form.
        free = min(vector.dof, 1e7)
        factor = free * (0.05 ** (-2 / free) - 1)
        across, along = 2 * 2 * np.sqrt(np.maximum(size, 0.0) * factor) / self.reach * _SIZE
        x, y = (float(one) for one in self.at(centre))
        angle = math.degrees(math.atan2(axes[0, 1], self.sense * axes[1, 1]))
        how: dict[str, Any] = {"edgecolor": GREY, "linewidth": 1.2, "linestyle": style}
        self.ax.add_patch(Ellipse((x, y), along, across, angle=angle, fill=False, **how))
