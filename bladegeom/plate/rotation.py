"""Which tooth to stand uppermost for the line that a square truly touches."""

from __future__ import annotations

import math
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.angles import turn_between
from bladegeom.blade import Blade
from bladegeom.estimate import Estimate, Verdict
from bladegeom.faults import refuse
from bladegeom.fit.marks import NO_MATTER_DEG, sentence
from bladegeom.kinds import checked
from bladegeom.lengths import Length, convert, length, lengths_mm, with_unit
from bladegeom.plate.line import LINES, PlateLine, PlateSlopes, line_of
from bladegeom.plate.shape import PlateFit
from bladegeom.result import Result, derived, described, named, number, quantity
from bladegeom.wobble import DETECTION_LEVEL

Floats = NDArray[np.float64]

SEES = (
    "The square sees the plate, not the cut: the cut is made at the rim and stays square to the "
    "arbor, whatever shape the plate has."
)
_SAME = 1e-10
"""Degrees that only binary arithmetic tells apart."""

_FAR = 0.1
"""Part of the reference radius by which a line may run past the rings without a remark."""


def _slope_of(name: str, meaning: str, label: Any, key: str | None = None) -> Any:
    """Declare a slope of the line."""
    return quantity(
        meaning,
        key=key,
        unit="deg",
        label=label,
        text=lambda one: _slope_words(one, name),
    )


def _neutral(at: int) -> Any:
    def label(one: Rotation) -> str:
        return f"neutral line {one.line.kind}, {(one.neutral_teeth or ('', ''))[at]} uppermost"

    meaning = f"slope of the whole shape with the {('first', 'second')[at]} of them uppermost"
    return _slope_of(f"neutral_{at + 1}", meaning, label)


@described
class Rotation(Result):
    """How the line under a square leans at each rotation of the blade, and the best of them.

    Every slope is that of the straight line through the two ends that the square touches, in
    degrees from square to the arbor; positive when its upper end (of a level line the end on the
    side of the teeth that follow the uppermost) leans toward the indicator. Limits of `left` and
    `worst`, which were picked for their slopes, are Student's where the curve stands clear above
    its doubt, and else hold at all rotations at once.
    """

    plate: PlateFit = quantity("the plate's shape", key="")
    _name = derived("the blade's name, as text", key="blade")(lambda one: one.blade.name)
    _unit = derived("unit of the plate's lengths", key="unit")(lambda one: one.plate.unit)
    line: PlateLine = quantity(
        "the line that the square touches, upright or level, the unit of its ends, how far each is "
        "above the axis, and how far aside of it toward the teeth that follow the uppermost",
        parts={
            "": lambda line: line.kind,
            "_unit": lambda line: line.unit,
            "_start_up": lambda line: line.start.real,
            "_start_aside": lambda line: line.start.imag,
            "_end_up": lambda line: line.end.real,
            "_end_aside": lambda line: line.end.imag,
        },
    )
    zeros_deg: tuple[float, ...] = quantity(
        "blade angles that, uppermost, bring the slope to zero; none where dish outweighs the rest",
        label="slope is zero",
        text=lambda one: _zeros(one),
    )
    best_deg: float | None = quantity(
        "the one of them that `best_tooth` stands nearest to, or, where there is none, the blade "
        "angle with the least slope; None where turning the blade makes no established difference"
    )
    best_tooth: int | None = quantity("tooth to stand uppermost")
    left: Estimate | None = _slope_of(
        "left", "slope with it uppermost", lambda one: f"tooth {one.best_tooth} uppermost"
    )
    neutral_teeth: tuple[int, int] | None = quantity(
        "teeth nearest to the two rotations at which the tilt alone would leave nothing; None "
        "where no tilt is established"
    )
    neutral_1: Estimate | None = _neutral(0)
    neutral_2: Estimate | None = _neutral(1)
    worst_deg: float = quantity(
        "blade angle uppermost with the slope farthest out to either side, its doubt included",
        key="worst_top_deg",
    )
    worst: Estimate = _slope_of("worst", "that slope", "if ignored, at worst", "worst_slope")
    dish: Estimate | None = _slope_of(
        "dish",
        "the dish's share, the same at every rotation; None where the dish is not identified",
        "dish, every rotation",
    )
    bow: Estimate | None = quantity(
        "farthest that the plate stands off the straight line, positive toward the indicator, with "
        "`best_tooth` (else `worst_deg`) uppermost, in the plate's unit; None where a part of the "
        "shape that bends it is not identified",
        label="plate along the line",
        text=lambda one: _bow_words(one),
    )
    rock_deg: float | None = quantity(
        "by how much a square rocks to either side, held against the indicator's side of the plate"
    )
    rock_other_deg: float | None = quantity("the same, held against the other side")

    @derived("whether it is established (95 %) that some rotations leave less than others")
    def resolved(self) -> bool:
        return self.p_value < 1 - DETECTION_LEVEL

    p_value: float = quantity(
        "chance of so large a difference between rotations on a plate that has none"
    )
    tolerance_deg: float | None = quantity("the largest slope accepted")

    @derived(
        "whether the slope at the best tooth (any rotation will do: the worst) keeps to it",
        label=lambda one: f"tolerance {one.tolerance_deg:g} deg" if one.tolerance_deg else "",
    )
    def verdict(self) -> Verdict | None:
        if self.tolerance_deg is None:
            return None
        if self.missing or not self.fits:
            return "cannot tell"
        return (self.left or self.worst).verdict(self.tolerance_deg)

    missing: dict[str, str] = quantity(
        "what of the shape leans this line and is not identified, and why", key=""
    )
    _missing = derived("what it is", key="missing")(lambda one: list(one.missing))

    @derived("what the reader should know, most important first", key="warnings")
    def remarks(self) -> tuple[str, ...]:
        return (*map(sentence, self.plate.first), *_of_slopes(self), *_of_shape(self), SEES)

    @property
    def blade(self) -> Blade:
        """The blade."""
        return self.plate.blade

    @property
    def fits(self) -> bool:
        """Whether nothing shows that the plate is of another shape than the fitted one."""
        return False not in (self.plate.tilt_grows, self.plate.saddle_grows, self.plate.heights_fit)

    def slope_deg(self, top_deg: ArrayLike) -> Floats:
        """Return the slope in degrees with blade angles uppermost, shape (m,)."""
        return PlateSlopes(self.plate, self.line).deg(top_deg)

    def slope_u_deg(self, top_deg: ArrayLike) -> Floats:
        """Return its standard uncertainty (k = 1) in degrees, shape (m,)."""
        return PlateSlopes(self.plate, self.line).u_deg(top_deg)

    def tilt_slope_deg(self, top_deg: ArrayLike) -> Floats:
        """Return the slope that the tilt alone would make, by which the neutral line goes."""
        return PlateSlopes(self.plate, self.line, only="tilt").deg(top_deg)

    @property
    def where(self) -> str:
        """The line in words."""
        return self.line.words

    @property
    def headline(self) -> str:
        """The answer in one line."""
        if self.plate.again:
            return f"Read again first: {'; '.join(self.plate.again)}"
        unsure = [f"{what} is not known" for what in self.missing]
        unsure += [] if self.fits else ["the rings do not fit one plate"]
        if self.best_tooth is None or self.left is None:
            if unsure:
                return f"No rotation is known to be better than another; {' and '.join(unsure)}"
            most = max(abs(self.worst.low), abs(self.worst.high))
            if not math.isfinite(most):
                return "The readings cannot tell one rotation from another: the doubt is not known"
            worst = f"{number(most, self.worst.u)} deg out of square"
            if most < (self.tolerance_deg or NO_MATTER_DEG):
                return f"Any rotation will do: at worst {worst}"
            return f"The readings cannot tell one rotation from another: each may be up to {worst}"
        stand, left = f"Stand tooth {self.best_tooth} uppermost", self.left
        if unsure:
            return f"{stand}, as far as can be told: {' and '.join(unsure)}"
        if left.low <= 0 <= left.high:
            return f"{stand}: square within {number(max(-left.low, left.high), left.u)} deg"
        least = f"{number(abs(left.value), left.u)} deg out of square is"
        return (
            f"{stand}: {least} left" if self.zeros_deg else f"{stand}: {least} the least there is"
        )

    def _title(self) -> str:
        name = named(str(self.blade.who))
        return f"{name}: the best rotation for a square\n  {self.headline}.\n  Line: {self.where}."

    def _remarks(self) -> tuple[str, ...]:
        return self.remarks


@checked
def best_rotation(
    plate: PlateFit,
    *,
    table_height: Length,
    reach: Length | None = None,
    away_from_centre: Length | None = None,
    line: Literal["upright", "level"] = "upright",
    tolerance_deg: float | None = None,
) -> Rotation:
    """Return the tooth to stand uppermost for the line that a square truly touches.

    A square, or straightedge, is held against the plate and touches it at the line's two ends (or
    rocks on what stands out between them). Tilt, dish, saddle and waves each lift the two ends by
    their own share, so the slope between them, rise over length, is linear in the plate's
    parameters; its doubt follows from their covariance, and the limits are Student's with the fit's
    degrees of freedom. The line's own lengths are taken as exact.

    From h above the axis to the rim R an upright line on a dish D slopes by ``D (R + h) / R^2`` at
    every rotation, on a saddle by ``S cos(2 theta) (R + h) / R^2``, theta from the saddle's crest
    to the top (own derivation; outside the centre see `shape_columns`). A level line with its
    middle straight above the axis does not feel a dish at all.

    Parameters
    ----------
    plate : PlateFit
    table_height : str or tuple
        Height of the table's top above the arbor's axis, ``"25 mm"`` or ``(25, "mm")``: where an
        upright line begins, and a level one lies.
    reach : str or tuple, optional
        Length of the square's blade. If not given, the line runs as far as the plate does, to the
        bottom of the gullets, or to the tooth tips where their depth is not known.
    away_from_centre : str or tuple, optional
        From straight above the axis to an upright line, or to the middle of a level one; 0 if not
        given. Positive toward the teeth that follow the uppermost one.
    line : {"upright", "level"}
        Upright for table and bevels, level for miter gauge, fence and riving knife.
    tolerance_deg : float, optional
        Largest slope accepted, for the verdict.

    Returns
    -------
    Rotation

    Raises
    ------
    RefusedError
        If a length is not given once or cannot be true, or no plate stands there.
    """
    if line not in LINES:
        raise refuse(f"line is {line!r}", f"write {' or '.join(LINES)}", value=line, column="line")
    if isinstance(tolerance_deg, bool) or (
        tolerance_deg is not None and not 0 < tolerance_deg < 90
    ):
        raise refuse(
            f"the tolerance is {tolerance_deg} deg", "give degrees above 0", value=tolerance_deg
        )
    table, unit = _signed("table_height", table_height)
    if table < 0:
        raise refuse(
            f"table_height is {table:g} {unit}",
            "the table lies above the arbor: give the height of its top above the arbor's axis",
            value=table,
            column="table_height",
        )
    aside = (
        (0.0, unit) if away_from_centre is None else _signed("away_from_centre", away_from_centre)
    )
    far = length("reach", reach)
    touched = line_of(
        plate.blade,
        line,
        table=table,
        reach=None if far is None else convert(*far, unit),
        away=convert(*aside, unit),
        unit=unit,
    )
    return _rotation(plate, touched, tolerance_deg)


def _rotation(plate: PlateFit, line: PlateLine, tolerance_deg: float | None) -> Rotation:
    slopes, blade = PlateSlopes(plate, line), plate.blade

    def at(tooth: int) -> Estimate:
        return slopes.at(blade.angle_of(tooth))

    chance = slopes.chance()
    zeros: tuple[float, ...] = ()
    best = tooth = None
    if chance < 1 - DETECTION_LEVEL:
        zeros = slopes.zeros()
        left = {one: abs(at(blade.nearest_tooth(one)).value) for one in zeros or (slopes.least(),)}
        # Of two that leave the same, rounding must not choose.
        best = next(one for one in left if left[one] <= min(left.values()) + _SAME)
        tooth = blade.nearest_tooth(best)
    worst_deg = slopes.worst()
    neutral = _neutral_teeth(plate, 90.0 if line.kind == "upright" else 0.0)
    first, second = map(at, neutral) if neutral else (None, None)
    dish = PlateSlopes(plate, line, only="dish")
    shown_deg = worst_deg if tooth is None else blade.angle_of(tooth)
    bow, rock, other = slopes.bow(shown_deg) or (None, None, None)
    return Rotation(
        plate=plate,
        line=line,
        tolerance_deg=tolerance_deg,
        zeros_deg=zeros,
        best_deg=best,
        best_tooth=tooth,
        left=None if tooth is None else slopes.picked(shown_deg),
        neutral_teeth=neutral,
        neutral_1=first,
        neutral_2=second,
        worst_deg=worst_deg,
        worst=slopes.picked(worst_deg),
        dish=dish.at(0.0) if dish.names else None,
        bow=bow,
        rock_deg=rock,
        rock_other_deg=other,
        missing=slopes.missing(),
        p_value=chance,
    )


def _neutral_teeth(plate: PlateFit, quarter_deg: float) -> tuple[int, int] | None:
    """Return the teeth to stand uppermost for the neutral line, upright or level."""
    tilt = plate.wave("tilt")
    if tilt is None or not tilt.resolved:
        return None
    sine, cosine = (plate.value(name) or 0.0 for name in ("tilt_sin", "tilt_cos"))
    first = math.degrees(math.atan2(sine, cosine)) + quarter_deg
    return plate.blade.nearest_tooth(first), plate.blade.nearest_tooth(first + 180.0)


def _signed(what: str, given: Length) -> tuple[float, str]:
    """Return a length, its sign free, in millimetres or inches."""
    value, unit = with_unit(what, given)
    if np.ndim(value):
        raise refuse(f"{what} is a list", "give one length", value=value, column=what)
    lengths_mm(what, (value, unit))
    whole = "in" if unit in ("in", "thou") else "mm"
    return convert(float(value), unit, whole), whole


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
    return f"at {', '.join(said)}{_without(one)}"


def _without(one: Rotation) -> str:
    return f" (without {' and '.join(one.missing)})" if one.missing else ""


def _slope_words(one: Rotation, name: str) -> str:
    """Return a slope with its doubt, what it opens over the line, and which way that leans."""
    slope: Estimate | None = getattr(one, name)
    if slope is None:
        return ""
    if slope.value == slope.u == 0:
        return "none: this line does not feel it"
    said = slope.text("deg")
    if name == "left":
        gap = math.tan(math.radians(slope.value)) * one.line.length
        u = slope.u * math.radians(one.line.length)
        said += f", {number(abs(gap), u)} {one.line.unit} over the line"
    said += "" if name == "dish" else _without(one)
    if not math.isfinite(slope.u):
        return said
    end = "upper end" if one.line.kind == "upright" else "end beside the teeth that follow"
    if slope.low <= 0 <= slope.high:
        return f"{said}, {end} to a side that is not established"
    return f"{said}, {end} {'toward' if slope.value > 0 else 'from'} the indicator"


def _bow_words(one: Rotation) -> str:
    if one.bow is None:
        return "not known: a part of the shape that bends it is not told"
    shape = f"{'bulges' if one.bow.value > 0 else 'hollow'} toward the indicator"
    if not (one.bow.low > 0 or one.bow.high < 0):
        shape = "straight, as far as the doubt tells"
    return f"{one.bow.text(one.plate.unit)}: {shape}"


def _of_slopes(one: Rotation) -> list[str]:
    """Return what the slopes do not tell, or cannot undo."""
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
    return said + [sentence(one) for one in one.plate.remarks]


def _of_shape(one: Rotation) -> list[str]:
    """Return what of the shape bends the line, or is taken and not read."""
    said: list[str] = []
    bow, rock, other = one.bow, one.rock_deg or 0.0, one.rock_other_deg or 0.0
    if bow is not None and (bow.low > 0 or bow.high < 0):
        held, better, way = "indicator's side", "other side", "toward"
        if bow.value < 0:
            rock, other, held, better, way = other, rock, better, held, "away from"
        hold = f" Hold it against the {better}, where it touches at both ends."
        said.append(
            f"Along this line the plate bulges {way} the indicator by "
            f"{number(abs(bow.value), bow.u)} {one.plate.unit}: a square held against the {held} "
            f"rocks by up to {number(rock, rock / 5)} deg either way."
            f"{hold if other < rock / 100 else ''}"
        )
    if "tilt_growth" in one.plate.not_identified:
        said.append(
            "All readings are at one distance from the axis: the plate is taken to be stiff, its "
            "tilt to grow with the distance."
        )
    line = one.line
    outer = convert(max(ring.radius_mm for ring in one.plate.rings), "mm", line.unit)
    far = max(abs(line.start), abs(line.end))
    if far > outer + _FAR * convert(one.plate.reference_radius, one.plate.unit, line.unit):
        said.append(
            f"The line runs out to {far:.4g} {line.unit} from the axis, the plate was read out to "
            f"{outer:.4g} {line.unit}: beyond, its shape is taken to go on as it was fitted."
        )
    said += line.notes
    if any(ring.flipped for ring in one.plate.rings):
        said.append(
            "The tilt is that of the mounting before the blade was flipped. Mounted again it sits "
            "otherwise: measure again before you go by these teeth."
        )
    return said
