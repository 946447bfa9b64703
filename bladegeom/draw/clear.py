"""How far out of true the slots may be before the board rubs the plate, against blade height."""

from __future__ import annotations

from datetime import date as Date  # noqa: N812

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike, NDArray

from bladegeom.blade import Blade
from bladegeom.draw.page import BLACK, GREY, MARGIN, Page, label, plain_ticks
from bladegeom.faults import refuse
from bladegeom.lengths import MM_PER
from bladegeom.result import number
from bladegeom.saw.clearance import NO_GULLET, SideClearance, rub_angle, side_clearance
from bladegeom.saw.slots import SlotAlignment

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
    ax : matplotlib.axes.Axes, optional
        Draw on these axes; if not given, a page is made.
    slot : SlotAlignment, optional
        Drawn as a line with its 95 % limits, its size without the sign.
    paper : {"a4", "letter"}
    date : datetime.date, optional
        Printed on the page; today if not given.

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
    if ax is not None:
        _draw(blade, ax, slot)
        return ax
    page = Page(paper, landscape=True)
    top = page.head_line(blade.name or "Blade", "side clearance", date, _facts(blade, clear))
    bottom = page.cautions()
    page.fitted_text(MARGIN, top, _headline(blade), 15, page.inner, 8.0, weight="bold")
    page.fitted_text(MARGIN, bottom - 6.0, _foot(blade), 9, page.inner, 4.0)
    ax = page.axes(MARGIN + 20, top + 25, page.inner - 30 - _TABLE, bottom - top - 49)
    _draw(blade, ax, slot)
    _table(page, blade, top + 13, bottom - 10)
    return ax


def _draw(blade: Blade, ax: Axes, slot: SlotAlignment | None) -> None:
    rim = blade.radius_mm or 0.0
    # Close together where the limit falls fast.
    height = rim * np.linspace(np.sqrt(_LEAST), np.sqrt(_MOST), 301) ** 2
    limit = np.asarray(rub_angle(blade, (height, "mm")))
    largest = float(limit.max())
    ax.plot(
        height, limit, color=BLACK, linewidth=2.0, label="the board rubs the plate from here up"
    )
    marked = np.array(list(_heights(blade, "in").values()))
    ax.plot(
        marked,
        np.asarray(rub_angle(blade, (marked, "mm"))),
        linestyle="none",
        marker="o",
        markersize=6,
        markerfacecolor="white",
        markeredgecolor=BLACK,
        label="round heights in inches",
    )
    if slot is not None:
        largest = max(largest, _slot(ax, slot))
    ax.set_xlim(0, rim * _MOST)
    ax.set_ylim(0, 1.05 * largest)
    label(ax, "height of the blade above the table, mm", "x")
    label(ax, "slot error, degrees either way", "y")
    plain_ticks(ax)
    above = ax.secondary_xaxis("top", functions=(_inches, _millimetres))
    plain_ticks(above)
    label(above, "height of the blade above the table, in", "x")
    ax.grid(color="0.8", linewidth=0.5)
    ax.legend(loc="upper right", fontsize=9, framealpha=1.0, edgecolor=GREY)


def _inches(mm: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(mm, dtype=np.float64) / MM_PER["in"]


def _millimetres(inch: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(inch, dtype=np.float64) * MM_PER["in"]


def _slot(ax: Axes, slot: SlotAlignment) -> float:
    """Draw the size of a slot error with its limits; return how high that reaches."""
    size, reach = abs(slot.angle.value), slot.angle.reach
    if not np.isfinite(reach):
        words = f"slots: {size:.3f}\u00b0, doubt not known"
        ax.axhline(size, color=BLACK, linewidth=1.2, linestyle=(0, (9, 2, 2, 2)), label=words)
        return size
    low, high = max(0.0, size - reach), size + reach
    ax.axhspan(low, high, facecolor="none", edgecolor=GREY, hatch="////", linewidth=0.8)
    words = f"slots: {size:.3f}\u00b0 (95 %: {low:.3f} to {high:.3f})"
    ax.axhline(size, color=BLACK, linewidth=1.2, linestyle=(0, (9, 2, 2, 2)), label=words)
    return high


def _heights(blade: Blade, unit: str) -> dict[str, float]:
    """Return round heights that fit the blade: as they are named -> in millimetres."""
    rim = blade.radius_mm or 0.0
    sizes = {name: one * MM_PER[unit] for name, one in _HEIGHTS[unit].items()}
    fitting = [(name, mm) for name, mm in sizes.items() if rim * _LEAST <= mm <= rim * _MOST]
    return dict(fitting[-_SHOWN:])


def _table(page: Page, blade: Blade, top: float, bottom: float) -> None:
    """Write limits at round heights in large type beside the chart."""
    left = page.width - MARGIN - _TABLE + 6.0
    heights = [held for unit in _HEIGHTS if (held := _heights(blade, unit))]
    page.text(left, top, "blade high", 10)
    page.text(left + 34, top, "slots within", 10)
    top += 6.0
    step = (bottom - top) / max(1.0, sum(len(held) + 0.5 for held in heights))
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


def _headline(blade: Blade) -> str:
    fifth = (blade.radius_mm or 0.0) / 5
    low = [(name, mm) for name, mm in _heights(blade, "in").items() if mm <= fifth * (1 + 1e-9)]
    name, mm = low[-1] if low else (f"{fifth:.3g} mm", fifth)
    return f"Slots within {_limit(blade, mm)}\u00b0 of the blade at {name} high, or the board rubs"


def _facts(blade: Blade, clear: SideClearance) -> list[str]:
    facts = [f"{blade.diameter_mm:.4g} mm ({blade.diameter_in:.4g} in)"]
    facts.append(f"teeth {blade.tooth_width_mm:.4g} mm wide")
    facts.append(f"plate {blade.plate_mm:.4g} mm")
    facts.append(f"side clearance {clear.mm:.3g} mm ({clear.inch:.3g} in)")
    if blade.gullet_mm is not None:
        facts.append(f"gullets {blade.gullet_mm:.3g} mm deep")
    return facts


def _foot(blade: Blade) -> str:
    gullet = f"{NO_GULLET} " if blade.gullet_mm is None else ""
    return (
        f"{gullet}The rear teeth cut a board again, on one face, at any slot error: this limit is "
        "about the plate alone."
    )
