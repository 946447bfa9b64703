"""The blade chart, for the wall: the blade as it is seen, its readings, and the teeth to mark."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date as Date  # noqa: N812
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike, NDArray

from bladegeom.draw._axes import BLACK, CHAIN, DASHED, GREY, PALE, Chart, round_step, sense
from bladegeom.draw._style import drawn
from bladegeom.draw.page import MARGIN, POINT, Page
from bladegeom.draw.printed import NOT_RELIED_ON, left_words, sure_words, tir_limits, tir_words
from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER, convert

Floats = NDArray[np.float64]

# The drawing's own measures: the tooth tips lie at radius 1.
_RIM, _ROOT, _ZERO, _SWING, _HUB, _NUMBER, _EDGE = 1.0, 0.95, 0.6, 0.22, 0.06, 1.07, 1.2
_NUMBER_PT, _NAMED_PT, _MARK_PT = 9.0, 15.0, 20.0
_DO_PT = 28.0
"""Of what is to be done: capitals 7 mm high, which are read from two metres."""

_DIGITS_MM = 4.0
"""From middle to middle of the digits that show the way of the numbers, at least."""

_DIGIT, _CLEAR_MM = 0.70, 1.2
"""Width of a bold digit in parts of its size, and what is left between two numbers."""

_PAD = 0.18
_BOX: dict[str, Any] = {
    "boxstyle": f"round,pad={_PAD}",
    "facecolor": "white",
    "edgecolor": "none",
}
_FRAME: dict[str, Any] = _BOX | {"edgecolor": BLACK, "linewidth": 1.6}
"""About words: white, so that no line runs through them; with an edge."""


@drawn
@checked
def polar_chart(
    fit: WobbleFit, ax: Axes | None = None, *, paper: str = "a4", date: Date | None = None
) -> Axes:
    """Draw the blade as seen from the indicator's side, the neutral line upright.

    Parameters
    ----------
    fit : WobbleFit
    ax : matplotlib.axes.Axes, optional
        Draw the blade on these ordinary axes; if not given, a whole page is made, with the teeth
        to mark, the key numbers and the cautions.
    paper : {"a4", "letter"}
    date : datetime.date, optional
        Printed on the page; today if not given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes of the blade; ``ax.figure`` is the page.
    """
    marks = neutral_line(fit)
    if ax is not None:
        side = ax.get_window_extent().width / ax.get_figure(root=True).dpi * 25.4  # type: ignore[union-attr]
        BladeDrawing(fit, marks, ax, side).draw()
        return ax
    page = Page(paper)
    page.head_of(fit, "blade chart", date)
    _answer(page, marks)
    page.warnings(fit.rest)
    _numbers(page, fit, marks)
    page.bottom -= 13.0
    side = min(page.inner, page.bottom - page.top)
    down = (page.bottom - page.top - side) / 2
    ax = page.axes((page.width - side) / 2, page.top + down, side, side)
    drawing = BladeDrawing(fit, marks, ax, side)
    drawing.draw()
    _scale(page, drawing.scale_words(), page.bottom + 2.0)
    return ax


class BladeDrawing(Chart):
    """The blade on square axes `side` millimetres wide.

    `before` is how it was read earlier, drawn at the same scale and turned by `turned_deg`.
    """

    def __init__(
        self,
        fit: WobbleFit,
        marks: NeutralLine,
        ax: Axes,
        side: float,
        before: WobbleFit | None = None,
        turned_deg: float = 0.0,
    ) -> None:
        super().__init__(ax)
        self.before, self.turned_deg = before, turned_deg
        self.fit, self.marks, self.side = fit, marks, side
        self.blade = fit.readings.blade
        self.sense = sense(self.blade)
        self.top_deg = marks.neutral[0].direction_deg if marks.neutral else 0.0
        self.mm_per_radius = side / (2 * _EDGE)
        drawn = [
            fit.levelled - fit.offset,
            np.array([fit.amplitude, *(fit.amplitude + abs(one) for one in _heights(fit))]),
        ]
        if before is not None:
            own = np.append(before.levelled - before.offset, before.amplitude)
            drawn.append(self._of_before(own) - fit.offset)
        largest = float(np.abs(np.concatenate(drawn)).max())
        # A flat blade is not to look wild: the drawing's swing is two graduations at least.
        largest = max(largest, 2 * (fit.readings.graduation or 0.0)) or 1.0
        self.step = round_step(largest, 3, (0.5, 1, 2, 5, 10))
        self.rings = max(1, math.ceil(largest / self.step - 1e-9))
        self.gain = _SWING / (self.rings * self.step)

    def at(self, angle_deg: ArrayLike, radius: ArrayLike) -> tuple[Floats, Floats]:
        """Return where on the drawing a blade angle and a radius lie."""
        turn = np.radians(self.sense * (np.asarray(angle_deg, np.float64) - self.top_deg))
        length = np.asarray(radius, dtype=np.float64)
        return length * np.sin(turn), length * np.cos(turn)

    def height(self, reading: ArrayLike) -> Floats:
        """Return the radius at which a reading is drawn: outward is toward the indicator."""
        return _ZERO + self.gain * (np.asarray(reading, np.float64) - self.fit.offset)

    def draw(self) -> None:
        """Draw the blade, its readings and its marks."""
        self.square(_EDGE)
        # Limits are set: circles and arrows are added as artists, which measures none of them.
        self._blade()
        self._readings()
        self._marks()
        self._tooth_numbers()
        self._way_of_numbers()

    def _blade(self) -> None:
        angles = self.blade.angles_deg
        gaps = np.diff(angles, append=360.0)
        # Teeth without a hook: which way the blade cuts is not known here.
        flank = np.minimum(0.25 * np.minimum(gaps, np.roll(gaps, 1)), 4.0)
        root = np.linspace(angles + flank, angles + gaps - np.roll(flank, -1), 12, axis=-1)
        outline = np.concatenate([angles[:, np.newaxis], root], axis=-1).ravel()
        reach = np.tile([_RIM] + [_ROOT] * 12, len(angles))
        self.line(*self.at(np.append(outline, angles[0] + 360.0), np.append(reach, _RIM)), 1.0)
        self.circle(_HUB, 1.0)
        for ring in range(-self.rings, self.rings + 1):
            height = _ZERO + self.gain * ring * self.step
            self.circle(height, *((0.6, PALE, DASHED) if ring else (0.9, GREY)))

    def _of_before(self, height: Floats) -> Floats:
        """Return readings as they would be now that stood so high over the mean before."""
        assert self.before is not None
        return self.fit.offset + height * convert(1.0, self.before.unit, self.fit.unit)

    def _readings(self) -> None:
        fit, before = self.fit, self.before
        around = np.linspace(0.0, 360.0, 361)
        if before is not None:
            was = self._of_before(before.height_at(around) - before.offset)
            where = before.readings.angle_deg[before.in_fit] + self.turned_deg
            own = self.height(self._of_before(before.levelled - before.offset))
            self.hollow(*self.at(where, own), 3.4, "before", "^", markeredgecolor=GREY)
            self.line(*self.at(around + self.turned_deg, self.height(was)), 1.3, DASHED, "before")
        width, style = (1.8, "-") if fit.resolved else (0.9, (0, (2, 2)))
        curve = self.at(around, self.height(fit.height_at(around)))
        self.line(*curve, width, style, "fitted wobble")
        read = self.at(fit.readings.angle_deg[fit.in_fit], self.height(fit.levelled))
        self.hollow(*read, 4.0, "readings", markeredgewidth=0.9)
        if fit.standing:
            where = np.array([self.blade.angle_of(one.tooth) for one in fit.standing])
            where += fit.readings.touch_deg
            stands = self.at(where, self.height(fit.height_at(where) + _heights(fit)))
            self.hollow(*stands, 6.0, "stands off", "D", markerfacecolor=BLACK)

    def _marks(self) -> None:
        marks = self.marks
        if marks.mistake is not None:
            self.words(0.0, 0.2, "read again first", 13, weight="bold")
            return
        if marks.near is None or marks.far is None or marks.neutral is None:
            what = "any rotation will do" if marks.any_rotation else "the readings cannot tell"
            none = "no teeth to mark" if marks.withheld else f"no direction established:\n{what}"
            self.words(0.0, 0.2, none, 10.5, bbox=_BOX)
            return
        first, second = marks.neutral
        ends = [self.at(end.direction_deg, _RIM) for end in (first, second)]
        x, y = zip(*ends, strict=True)
        self.line(x, y, 2.6, CHAIN, "neutral line")
        for mark, name in ((marks.near, "NEAR"), (marks.far, "FAR")):
            self.line(*self.at(mark.direction_deg, np.array([_HUB, _ZERO - _SWING])), 1.0)
            at = self.at(mark.direction_deg, 0.24)
            self.words(*at, name, 13, weight="bold", bbox=_BOX)
        self.words(0.0, -0.2, "neutral line", 10, bbox=_BOX)

    def _tooth_numbers(self) -> None:
        """Write the numbers of teeth, large where one is named, in a frame where it is marked."""
        marks = self.marks
        named: dict[int, tuple[float, dict[str, Any] | None]] = {}
        if marks.near is not None and marks.far is not None and marks.marked is not None:
            named = {mark.tooth: (_MARK_PT, _FRAME) for mark in marks.marked}
            named |= {mark.tooth: (_NAMED_PT, None) for mark in (marks.near, marks.far)}
        if marks.mistake is not None:
            named = dict.fromkeys(marks.mistake.teeth[:1], (_NAMED_PT, None))
        for tooth in self._numbered_teeth(named):
            size, frame = named.get(tooth, (_NUMBER_PT, None))
            weight = "bold" if tooth in named or tooth == 1 else "normal"
            self.words(*self._place(tooth, size), str(tooth), size, weight=weight, bbox=frame)

    def _numbered_teeth(self, named: dict[int, tuple[float, Any]]) -> list[int]:
        """Return the teeth whose numbers have room: all, or every 2nd, 5th, 10th ... one."""
        teeth = self.blade.teeth
        angles = self.blade.angles_deg
        digits = len(str(teeth))
        room = (digits + 0.6) * 0.6 * _NUMBER_PT * POINT / (self.mm_per_radius * _NUMBER)
        gaps = np.diff(angles, append=360.0)
        most = math.degrees(room) / float(gaps.min()) * (1 - 1e-9)
        every = next((one for one in (1, 2, 5, 10, 20, 50, 100) if one >= most), teeth)
        shown = {
            tooth: self._box_mm(tooth, size, framed) for tooth, (size, framed) in named.items()
        }
        for tooth in (1, *range(every, teeth + 1, every)):
            box = self._box_mm(tooth, _NUMBER_PT, None)
            if tooth not in shown and all(_apart(box, other) for other in shown.values()):
                shown[tooth] = box
        return sorted(shown)

    def _place(self, tooth: int, size: float) -> tuple[Floats, Floats]:
        """Return the middle of a tooth's number."""
        return self.at(self.blade.angle_of(tooth), _NUMBER + 0.05 * (size > _NUMBER_PT))

    def _box_mm(self, tooth: int, size: float, frame: Any) -> tuple[float, float, float, float]:
        """Return the middle of a tooth's number in mm, and half its width and height."""
        x, y = (self.mm_per_radius * float(one) for one in self._place(tooth, size))
        pad = _PAD * size * POINT if frame else 0.0
        wide, high = _DIGIT * len(str(tooth)) * size * POINT, size * POINT
        return x, y, wide / 2 + pad, high / 2 + pad

    def _way_of_numbers(self) -> None:
        """Draw 1, 2, 3 and an arrow: the way in which the tooth numbers grow."""
        step = max(5.0, math.degrees(_DIGITS_MM / (0.885 * self.mm_per_radius)))
        start = self.top_deg + self.sense * 135.0 - 14.0
        for place in range(3):
            self.words(*self.at(start + step * (place - 2) + 10.0, 0.885), str(place + 1), 9)
        arc = np.linspace(start + 14.0, start + 27.0, 20)
        x, y = self.at(arc, 0.885)
        self.line(x, y, 1.4)
        self.arrow_head((x[-2], y[-2]), (x[-1], y[-1]), 14, color=BLACK)

    def scale_words(self) -> str:
        """Return the scale and the exaggeration in words."""
        unit = self.fit.unit
        times = self.gain * self.mm_per_radius / MM_PER[unit]
        return (
            f"Outward is toward the indicator. Rings {self.step:g} {unit} apart. Wobble drawn "
            f"{_two_digits(times)} times life size."
        )


def _heights(fit: WobbleFit) -> list[float]:
    """Return how far each tooth that stands off alike in every turn stands off the curve."""
    return [one.height for one in fit.standing]


def _answer(page: Page, marks: NeutralLine) -> None:
    """Write the teeth to mark in the largest type of the page."""
    top = page.top
    if marks.mistake is not None:
        said = (f"{marks.mistake.again}.", *marks.instructions)
        page.not_for_the_wall(said, top, _DO_PT)
        page.top += 1.0
        return
    if marks.neutral is None or marks.near is None or marks.far is None:
        worst = "" if marks.worst_deg is None else f"{_two_digits(marks.worst_deg)}\u00b0"
        head, do, told = "direction not known", "Read another turn, or with a finer indicator.", ""
        if marks.any_rotation:
            head, do = "any rotation will do", f"At worst {worst} out of square."
        elif worst:
            told = f"The plate may be up to {worst} out of square."
        page.top += 2.0
        page.line(head, 40, 18.0, high=16.0, bold=True)
        _do(page, page.wrapped(do, _DO_PT, page.inner))
        if told:
            page.line(told, 13, 8.0)
        return
    first, second = marks.neutral
    third = page.inner / 3
    for at, wide, name, teeth in (
        (0.0, 1.15, "neutral line", f"{first.tooth} \u2013 {second.tooth}"),
        (1.45, 0.7, "near", str(marks.near.tooth)),
        (2.3, 0.7, "far", str(marks.far.tooth)),
    ):
        left = MARGIN + at * third
        page.text(left, top, name, 12)
        page.fitted_text(left, top + 5, teeth, 48, wide * third, 17.0, weight="bold")
    page.top += 23.0
    _do(page, ("Marks upright: set table, bevels.", "Marks level: miter gauge, knife."))
    for words in marks.either:
        page.line(words, 12, 6.0)


def _do(page: Page, lines: Sequence[str]) -> None:
    """Write what is to be done, legible from two metres."""
    page.top = 2.0 + page.lines(MARGIN, page.top, lines, _DO_PT, 1.1 * _DO_PT * POINT)


def _numbers(page: Page, fit: WobbleFit, marks: NeutralLine) -> None:
    """Write the key numbers above the cautions."""
    limits, fitted, high = tir_limits(fit), tir_words(fit), fit.amplitude_interval()[1]
    cells = []
    if marks.marked is not None:
        left, sure = left_words(marks), sure_words(marks)
        within = ("out of square, marked", f"within {left}", f"95 %; teeth {sure} sure")
        cells.append(within if left else ("sure of these teeth", sure, ""))
    if marks.worst_deg is not None:
        slope = math.tan(math.radians(marks.worst_deg))
        inches = fit.unit in ("in", "thou")
        gap = f"{6 * slope:.4f} in over 6 in" if inches else f"{150 * slope:.2f} mm over 150 mm"
        cells.append(("out of square, marks ignored", f"up to {marks.worst_deg:.3f}\u00b0", gap))
    if not limits:
        cells.append(("wobble TIR", "below graduation", "graduation not stated"))
    elif fit.resolved:
        cells.append(("wobble TIR", fitted, limits))
    else:
        most = f"under {_two_digits(2 * high)} {fit.unit}"
        cells.append(("wobble TIR", most, f"fitted {fitted}"))
    if fit.mistake is not None:
        cells = [(head, value, NOT_RELIED_ON) for head, value, _ in cells]
    page.bottom -= 21.0
    page.cells(cells, page.bottom, len(cells), (10, 24, 9), (4.6, 15.0))


def _scale(page: Page, words: str, top: float) -> None:
    """Write the scale, with a bar that shows whether the page was printed at true size."""
    page.fitted_text(MARGIN, top, words, 9, page.inner - 62, 4.0)
    ax = page.axes(page.width - MARGIN - 50.0, top, 50.0, 3.0)
    ax.set_xlim(0, 50)
    ax.set_ylim(0, 3)
    ax.axis("off")
    Chart(ax).line([0, 0, 0, 50, 50, 50], [0.3, 2.7, 1.5, 1.5, 0.3, 2.7], 1.0)
    page.text(page.width - MARGIN - 25.0, top + 3.2, "50 mm on paper", 8, ha="center")


def _apart(one: tuple[float, float, float, float], other: tuple[float, ...]) -> bool:
    """Return whether two boxes, of middle and half size, leave room between them."""
    beside = abs(one[0] - other[0]) - one[2] - other[2]
    return max(beside, abs(one[1] - other[1]) - one[3] - other[3]) >= _CLEAR_MM


def _two_digits(value: float) -> str:
    digits = 1 - math.floor(math.log10(value))
    return f"{value:.{max(0, digits)}f}" if value < 10 else f"{round(value, digits):,.0f}"
