"""The best rotation in rows, words and remarks."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from bladegeom.angles import turn_between
from bladegeom.estimate import Estimate
from bladegeom.fit.marks import NO_MATTER_DEG
from bladegeom.lengths import convert
from bladegeom.result import Row, number

if TYPE_CHECKING:
    from bladegeom.plate.plate_line import PlateLine
    from bladegeom.plate.rotation import Rotation

SEES = (
    "The square sees the plate, not the cut: the cut is made at the rim and stays square to the "
    "arbor, whatever shape the plate has."
)
_NONE = Estimate(math.nan, math.nan)
_FAR = 0.1
"""Part of the reference radius by which a line may run past the rings without a remark."""


def headline(one: Rotation) -> str:
    """Return the answer in one line."""
    unsure = [f"{what} is not known" for what in one.missing]
    unsure += [] if one.fits else ["the rings do not fit one plate"]
    if one.best_tooth is None or one.left is None:
        if unsure:
            return f"No rotation is known to be better than another; {' and '.join(unsure)}"
        most = max(abs(one.worst.low), abs(one.worst.high))
        if not math.isfinite(most):
            return "The readings cannot tell one rotation from another: the doubt is not known"
        worst = f"{number(most, one.worst.u)} deg out of square"
        if most < (one.tolerance_deg or NO_MATTER_DEG):
            return f"Any rotation will do: at worst {worst}"
        return f"The readings cannot tell one rotation from another: each may be up to {worst}"
    stand, left = f"Stand tooth {one.best_tooth} uppermost", one.left
    if unsure:
        return f"{stand}, as far as can be told: {' and '.join(unsure)}"
    if left.low <= 0 <= left.high:
        return f"{stand}: square within {number(max(-left.low, left.high), left.u)} deg"
    least = f"{number(abs(left.value), left.u)} deg out of square is"
    return f"{stand}: {least} left" if one.zeros_deg else f"{stand}: {least} the least there is"


def line_words(line: PlateLine) -> str:
    """Return where a line stands or lies."""
    start, end, unit = line.start, line.end, line.unit
    axis = "above the arbor's axis"
    if line.kind == "upright":
        aside = start.imag
        words = f"upright from {start.real:.4g} to {end.real:.4g} {unit} {axis}"
    else:
        aside = (start.imag + end.imag) / 2
        words = f"level, {start.real:.4g} {unit} {axis}, {line.length:.4g} {unit} long"
    if abs(aside) < 1e-9 * line.length:
        return words
    way = "that follow the uppermost" if aside > 0 else "before the uppermost"
    return f"{words}, {abs(aside):.4g} {unit} from the centre toward the teeth {way}"


def remarks_of(one: Rotation) -> tuple[str, ...]:
    """Return what the reader should know, most important first."""
    said = [
        f"{what.capitalize()} is not in these slopes: this line feels it and the readings do not "
        f"tell it ({why})."
        for what, why in one.missing.items()
    ]
    if one.best_tooth is None:
        said.append(
            "No rotation is established as better than another: what differs between them is no "
            "more than the doubt."
        )
    dish, left = one.dish, one.left or one.worst
    outweighs = dish is not None and not one.zeros_deg and (dish.low > 0 or dish.high < 0)
    if outweighs and (left.low > 0 or left.high < 0):
        said.append(
            "A dish cannot be turned away: it leans the line at every rotation, here by more than "
            "the rest undoes. What is left is the plate's, not the cut's: set the square to show "
            "it, or judge by a test cut."
        )
    said += [f"{warning[0].upper()}{warning[1:]}." for warning in one.plate.warnings]
    said += [*_rocks(one), *_beyond(one), *one.line.notes]
    if any(ring.flipped for ring in one.plate.rings):
        said.append(
            "The tilt is that of the mounting before the blade was flipped. Mounted again it sits "
            "otherwise: measure again before you go by these teeth."
        )
    return (*said, SEES)


def _rocks(one: Rotation) -> list[str]:
    bow = one.bow
    if bow is None or not (bow.height.low > 0 or bow.height.high < 0):
        return []
    size, toward = number(abs(bow.height.value), bow.height.u), bow.height.value > 0
    rock, other = bow.rock_deg, bow.rock_other_deg
    held, better = "indicator's side", "other side"
    if not toward:
        rock, other, held, better = other, rock, better, held
    hold = f" Hold it against the {better}, where it touches at both ends."
    return [
        f"Along this line the plate bulges {'toward' if toward else 'away from'} the indicator by "
        f"{size} {one.plate.unit}: a square held against the {held} rocks by up to "
        f"{number(rock, rock / 5)} deg either way.{hold if other < rock / 100 else ''}"
    ]


def _beyond(one: Rotation) -> list[str]:
    """Say what of the shape is taken and not read: between the rings, and beyond them."""
    line = one.line
    outer = convert(max(ring.radius_mm for ring in one.plate.rings), "mm", line.unit)
    far = max(abs(line.start), abs(line.end))
    spare = _FAR * convert(one.plate.reference_radius, one.plate.unit, line.unit)
    said = []
    if "tilt_growth" in one.plate.not_identified:
        said.append(
            "All readings are at one distance from the axis: the plate is taken to be stiff, its "
            "tilt to grow with the distance."
        )
    if far > outer + spare:
        said.append(
            f"The line runs out to {far:.4g} {line.unit} from the axis, the plate was read out to "
            f"{outer:.4g} {line.unit}: beyond, its shape is taken to go on as it was fitted."
        )
    return said


def rows_of(one: Rotation) -> list[Row]:
    """Return all rows of the result."""
    line, teeth = one.line, one.neutral_teeth
    first, second = one.neutral_left or (None, None)
    ends = [f"neutral line {line.kind}, {tooth} uppermost" for tooth in teeth or ("", "")]
    return [
        Row("blade", one.blade.name),
        Row("unit", one.plate.unit),
        Row("line", line.kind),
        Row("line_unit", line.unit),
        Row("line_start_up", line.start.real),
        Row("line_start_aside", line.start.imag),
        Row("line_end_up", line.end.real),
        Row("line_end_aside", line.end.imag),
        Row("zeros_deg", list(one.zeros_deg), "slope is zero", _zeros(one)),
        Row("best_deg", one.best_deg),
        Row("best_tooth", one.best_tooth),
        *_slope(one, "left", one.left, f"tooth {one.best_tooth} uppermost"),
        Row("neutral_teeth", teeth and list(teeth)),
        *_slope(one, "neutral_1", first, ends[0]),
        *_slope(one, "neutral_2", second, ends[1]),
        Row("worst_top_deg", one.worst_deg),
        *_slope(one, "worst_slope", one.worst, "if ignored, at worst"),
        *_slope(one, "dish", one.dish, "dish, every rotation"),
        *_bow(one),
        Row("resolved", one.resolved),
        Row("p_value", one.p_value),
        Row("tolerance_deg", one.tolerance_deg),
        Row(
            "verdict",
            one.verdict,
            f"tolerance {one.tolerance_deg:g} deg" if one.tolerance_deg else "",
            one.verdict or "",
        ),
        Row("missing", list(one.missing)),
        Row("warnings", list(one.remarks)),
    ]


def _zeros(one: Rotation) -> str:
    if one.best_deg is None:
        return "not established where"
    if not one.zeros_deg:
        return f"nowhere; least {one.best_deg:.1f} deg from tooth 1"
    said = []
    for zero in one.zeros_deg:
        tooth = one.blade.nearest_tooth(zero)
        past = float(turn_between(one.blade.angle_of(tooth), zero))
        said.append(f"tooth {tooth}{f' {past:+.1f} deg' if abs(past) >= 0.05 else ''}")
    without = f" (without {' and '.join(one.missing)})" if one.missing else ""
    return f"at {', '.join(said)}{without}"


def _slope(one: Rotation, stem: str, slope: Estimate | None, label: str) -> list[Row]:
    if slope is None:
        return [Row(row.key, None) for row in _NONE.rows(stem, "_deg")]
    if slope.value == slope.u == 0:
        return slope.rows(stem, "_deg", label, "none: this line does not feel it")
    without = f" (without {' and '.join(one.missing)})" if one.missing and stem != "dish" else ""
    gap = f", {_gap(one, slope)} over the line" if stem == "left" else ""
    return slope.rows(stem, "_deg", label, f"{slope.text('deg')}{gap}{without}{_lean(one, slope)}")


def _gap(one: Rotation, slope: Estimate) -> str:
    """Return what a slope opens between the two ends of the line."""
    unit, per_deg = one.line.unit, math.radians(one.line.length)
    gap = math.tan(math.radians(slope.value)) * one.line.length
    return f"{number(abs(gap), slope.u * per_deg)} {unit}"


def _lean(one: Rotation, slope: Estimate) -> str:
    """Return which way a line leans, in words; nothing where nothing tells."""
    if not math.isfinite(slope.u):
        return ""
    end = "upper end" if one.line.kind == "upright" else "end beside the teeth that follow"
    if slope.low <= 0 <= slope.high:
        return f", {end} to a side that is not established"
    return f", {end} {'toward' if slope.value > 0 else 'from'} the indicator"


def _bow(one: Rotation) -> list[Row]:
    bow, label = one.bow, "plate along the line"
    if bow is None:
        rows = [Row(row.key, None) for row in _NONE.rows("bow", "")]
        rows[0] = rows[0]._replace(
            label=label, text="not known: a part of the shape that bends it is not told"
        )
    else:
        height = bow.height
        shape = "bulges toward the indicator" if height.value > 0 else "hollow toward the indicator"
        if not (height.low > 0 or height.high < 0):
            shape = "straight, as far as the doubt tells"
        rows = height.rows("bow", "", label, f"{height.text(one.plate.unit)}: {shape}")
    return [
        *rows,
        Row("rock_deg", bow and bow.rock_deg),
        Row("rock_other_deg", bow and bow.rock_other_deg),
    ]
