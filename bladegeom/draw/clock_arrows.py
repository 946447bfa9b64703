"""Blade and flange as arrows: where each brings the plate near, and what both come to."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Ellipse, FancyArrowPatch
from numpy.typing import ArrayLike, NDArray

from bladegeom.arbor.clock import ClockAdvice
from bladegeom.arbor.clock_places import new_mounting
from bladegeom.draw.fonts import FAMILY
from bladegeom.draw.page import BLACK, GREY, PALE
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]

_DASHED, _DOTTED, _CHAIN = (0, (5, 2)), (0, (1, 1.2)), (0, (9, 2, 2, 2))
_SIZE = 0.86
"""Of the drawing's half width, what the longest arrow may take."""


class Arrows:
    """Wobble vectors on square axes: as long as their TIR, pointing at what comes nearest."""

    def __init__(self, advice: ClockAdvice, ax: Axes) -> None:
        self.advice, self.ax = advice, ax
        arbor = advice.arbor
        # As on the wall chart, numbers grow clockwise unless the blade's run the other way.
        self.sense = -1.0 if arbor.blade.numbered == "counterclockwise" else 1.0
        clock = -arbor.blade.angle_of(advice.best_tooth)
        self.blade = 2 * arbor.blade_vector
        self.best = 2 * complex(arbor.at(clock))
        self.now = 2 * complex(arbor.measured[-1])
        self.expected_now = 2 * complex(arbor.at(float(arbor.clock_deg[-1])))
        most = abs(self.blade) + 2 * abs(arbor.flange_vector)
        self.reach = 1.05 * max(most, abs(self.now), 1e-300)
        self.step = _round_step(self.reach)

    def at(self, vector: ArrayLike) -> tuple[Floats, Floats]:
        """Return where on the drawing vectors end: tooth 1 is up."""
        value = np.asarray(vector, dtype=np.complex128) / self.reach * _SIZE
        return self.sense * value.imag, value.real

    def draw(self) -> None:
        """Draw rings and teeth, then the arrows with their doubt and what they mean."""
        ax = self.ax
        ax.set_aspect("equal")
        ax.set_xlim(-1, 1)
        ax.set_ylim(-1, 1)
        ax.axis("off")
        self._ground()
        circle = self.blade + 2 * abs(self.advice.arbor.flange_vector) * np.exp(
            1j * np.radians(np.arange(0.0, 361.0))
        )
        ax.plot(*self.at(circle), color=GREY, linewidth=0.8, label="both, any tooth")
        best = f"tooth {self.advice.best_tooth}"
        self._arrow(self.best, f"both, {best}", 7.0, color="0.65")
        self._ellipses()
        self._arrow(self.now, "both, now (measured)", 2.4, linestyle=_DOTTED)
        self._arrow(self.blade, "blade alone", 2.0)
        self._arrow(self.best - self.blade, f"flange, {best}", 2.0, linestyle=_DASHED)
        self._arrow(self.expected_now - self.blade, "flange, now", 1.0, linestyle=_CHAIN)
        ax.legend(
            loc="upper center",
            bbox_to_anchor=(0.5, 0.0),
            ncols=2,
            frameon=False,
            handlelength=3.0,
            columnspacing=1.0,
            prop={"family": FAMILY, "size": 9},
        )

    def scale_words(self) -> str:
        """Return how the arrows are to be read."""
        return (
            "Tooth: the one at the arbor's mark. Arrows are as long as the wobble TIR (rings "
            f"{self.step:g} {self.advice.arbor.unit} apart) and point at the tooth nearest the "
            "indicator. Ellipses: 95 %."
        )

    def _ground(self) -> None:
        """Draw rings of equal wobble, and the teeth at which the arrows point."""
        ax, blade = self.ax, self.advice.arbor.blade
        for ring in range(1, math.floor(self.reach / self.step + 1e-9) + 1):
            size = ring * self.step / self.reach * _SIZE
            ax.add_patch(Circle((0, 0), size, fill=False, color=PALE, linewidth=0.6))
        every = next(one for one in (1, 2, 3, 4, 5, 10, 20, 50, 100) if blade.teeth / one <= 16)
        for tooth in range(1, blade.teeth + 1, every):
            angle = blade.angle_of(tooth)
            if tooth > 1 and 360.0 - angle < 0.7 * 360.0 * every / blade.teeth:
                continue
            x, y = self.at(self.reach / _SIZE * 0.95 * np.exp(1j * math.radians(angle)))
            words = "tooth 1" if tooth == 1 else str(tooth)
            weight = "bold" if tooth == 1 else "normal"
            ax.text(
                float(x),
                float(y),
                words,
                fontsize=9,
                ha="center",
                va="center",
                weight=weight,
                fontfamily=FAMILY,
                usetex=False,
            )
        ax.plot(0, 0, marker="+", markersize=10, color=BLACK, linestyle="none")

    def _arrow(
        self,
        end: complex,
        words: str,
        linewidth: float,
        *,
        color: str = BLACK,
        linestyle: Any = "-",
    ) -> None:
        x, y = (float(one) for one in self.at(end))
        head = 8 + 3 * linewidth
        # Stops where the head begins, whose own point would be blunted by a broad line.
        short = 1 - min(1.0, 0.003 * head / max(math.hypot(x, y), 1e-300))
        self.ax.plot(
            [0, short * x],
            [0, short * y],
            label=words,
            linewidth=linewidth,
            color=color,
            linestyle=linestyle,
            solid_capstyle="butt",
        )
        if short == 0:
            self.ax.plot(x, y, marker="o", markersize=3 + linewidth, color=color, linestyle="none")
            return
        self.ax.add_patch(
            FancyArrowPatch(
                (0.99 * x, 0.99 * y),
                (x, y),
                arrowstyle="-|>",
                mutation_scale=head,
                shrinkA=0,
                shrinkB=0,
                linewidth=0.5,
                color=color,
            )
        )

    def _ellipses(self) -> None:
        """Draw where the tips of the blade's arrow and of the best sum may lie (95 %)."""
        advice, arbor = self.advice, self.advice.arbor
        self._ellipse(self.blade, arbor.blade_wobble, "-")
        if arbor.seating_sd is None:
            return
        clock = -arbor.blade.angle_of(advice.best_tooth)
        self._ellipse(self.best, new_mounting(arbor, clock), _DASHED)

    def _ellipse(self, centre: complex, vector: Wobble, style: Any) -> None:
        size, axes = np.linalg.eigh(vector.covariance)
        # F with 2 and dof degrees of freedom has its quantile in closed form.
        free = min(vector.dof, 1e7)
        factor = free * (0.05 ** (-2 / free) - 1)
        across, along = 2 * 2 * np.sqrt(np.maximum(size, 0.0) * factor) / self.reach * _SIZE
        x, y = self.at(centre)
        angle = math.degrees(math.atan2(axes[0, 1], self.sense * axes[1, 1]))
        self.ax.add_patch(
            Ellipse(
                (float(x), float(y)),
                along,
                across,
                angle=angle,
                fill=False,
                edgecolor=GREY,
                linewidth=1.2,
                linestyle=style,
            )
        )


def _round_step(largest: float) -> float:
    power = 10.0 ** math.floor(math.log10(largest))
    return next(one * power for one in (0.2, 0.5, 1, 2, 5) if largest <= 4.5 * one * power)
