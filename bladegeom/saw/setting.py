"""What each part of a saw is set wrong by when it is set from the plate of a wobbling blade."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from bladegeom.estimate import Estimate, Known
from bladegeom.faults import refuse
from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.squareness import squareness
from bladegeom.fit.wobble import OfBlade, WobbleFit
from bladegeom.kernel.doubt import student_t
from bladegeom.kinds import checked
from bladegeom.lengths import LARGEST, Length, convert, length
from bladegeom.result import derived, described, number, quantity
from bladegeom.saw._measure import (
    FINEST,
    SIDES,
    by_hand,
    known_to,
    one_of,
    rise_over,
    side_of,
    told,
)
from bladegeom.saw._plate_reading import OVER, PlateReading
from bladegeom.saw._uses import BELOW, USES, cut_text, how_to_set
from bladegeom.saw.bench import Slots
from bladegeom.saw.shown import above_0_deg, degrees, read_as

_MADE_OF = {
    "gap": ("what `{}` opens over `cut_length`, in `span_unit`", ""),
    "joints": ("all joints of the frame together: 2 sides times `{}`", "_deg"),
    "joint_gap": ("what the last joint of the frame then opens", ""),
}
"""What is made of an error: method of `Setting` -> what it means, and the ending of its keys."""


def _made_of(stem: str, method: str) -> Estimate | None:
    """Declare what is made of an error (`left`, `error`); None where that is not known."""
    meaning, ending = _MADE_OF[method]

    def get(one: Setting) -> Estimate | None:
        error: Estimate | None = getattr(one, stem)
        made: Estimate | None = error and getattr(one, method)(error)
        return made

    return derived(meaning.format(stem), ending=ending)(get)


def _made_of_worst(method: str) -> Known:
    """Declare what is made of the error at the worst rotation, and of its limits."""
    meaning, ending = _MADE_OF[method]

    def get(one: Setting) -> Known:
        sizes = (one.worst.value, one.worst.low, one.worst.high)
        made = [getattr(one, method)(Estimate(size, one.worst.u)) for size in sizes]
        value, low, high = (math.nan if each is None else each.value for each in made)
        return Known(value, low=low, high=high)

    meaning = f"{meaning.format('worst')}, with its 95 % limits"
    return derived(meaning, parts=("", "_low", "_high"), ending=ending)(get)


@described
class Setting(OfBlade):
    """What a part of the saw is set wrong by, and what that means in wood.

    The named end of the plate's line is its upper end (table, bevel) or its front end (miter
    gauge, riving knife, fence).

    Where all readings are the same and the graduation is not stated, the worst case and every
    uncertainty are not known: NaN here, None in `to_dict`.
    """

    fit: WobbleFit
    line: NeutralLine

    use: str = quantity(
        "what is set from the plate: table, bevel, miter_gauge, riving_knife or fence"
    )

    @derived("teeth nearest to the two ends of the neutral line")
    def neutral_teeth(self) -> list[int] | None:
        return [end.tooth for end in self.line.neutral] if self.line.neutral else None

    tooth: int | None = quantity("the tooth asked for: uppermost, or at the front")
    away_deg: float | None = quantity(
        "the rotation asked for as a turn from the neutral line; see `squareness_error`"
    )
    angle_deg: float = quantity("bevel from the upright, or miter from the square cut")
    span: float | None = quantity("thickness, width or length that was given, in `span_unit`")
    span_unit: str | None = quantity("its unit")
    cut_length: float | None = quantity("length along which the span is cut, span / cos(angle)")
    sides: int | None = quantity("sides of the mitred frame or box")
    left: Estimate | None = quantity(
        "degrees by which the line through the two marked teeth leans, its named end (the first of "
        "them) positive toward the indicator; none where no wobble is established",
        unit="deg",
        label="left after marking",
        text=lambda one: one._lines("left after marking", one.left),
    )
    left_gap = _made_of("left", "gap")
    left_joints = _made_of("left", "joints")
    left_joint_gap = _made_of("left", "joint_gap")

    @derived("lean of the true cut from the square so set, after marking: minus `left`", unit="deg")
    def cut(self) -> Estimate | None:
        return self.left and self.left.times(-1.0)

    error: Estimate | None = quantity(
        "the same lean of the line at the rotation asked for; none where none was",
        unit="deg",
        label="turned",
        text=lambda one: one._lines(one._turned(), one.error),
    )
    error_gap = _made_of("error", "gap")
    error_joints = _made_of("error", "joints")
    error_joint_gap = _made_of("error", "joint_gap")

    @derived(
        "lean of the true cut from the square set at the rotation asked for: minus `error`",
        unit="deg",
    )
    def cut_at_error(self) -> Estimate | None:
        return self.error and self.error.times(-1.0)

    @derived(
        "error at the worst rotation: the tilt, or its upper limit where unresolved",
        label="at the worst rotation",
        text=lambda one: (
            f"{known_to(one.worst, 'deg')} to either side"
            + one._wood(Estimate(one.worst.value, one.worst.u))
            if math.isfinite(one.worst.value)
            else BELOW
        ),
    )
    def worst_squareness_deg(self) -> float:
        return self.worst.value

    worst: Known = quantity(
        "doubt of the worst rotation: its limits are those of the tilt",
        parts=("_u", "_low", "_high"),
        ending="_deg",
    )
    worst_gap = _made_of_worst("gap")
    worst_joints = _made_of_worst("joints")
    worst_joint_gap = _made_of_worst("joint_gap")
    read: PlateReading = quantity("the part as it was read, and the move", inline=True)

    def joints(self, error: Estimate) -> Estimate | None:
        """Return what all joints of the frame are off by together: 2 sides error, in degrees.

        With the error's sign: whether the frame opens or overlaps depends on the stop's side.
        """
        return None if self.sides is None else error.times(2.0 * self.sides)

    def gap(self, error: Estimate) -> Estimate | None:
        """Return what an error in degrees opens over the length cut, in `span_unit`.

        None without a span, and from 90 degrees on, where nothing closes.
        """
        if self.cut_length is None or abs(error.value) >= 90:
            return None
        return rise_over(error, self.cut_length)

    def joint_gap(self, error: Estimate) -> Estimate | None:
        """Return what the frame's last joint opens by if all the others are closed."""
        together = self.joints(error)
        return None if together is None else self.gap(together)

    @property
    def instructions(self) -> tuple[str, ...]:
        """What to do, and what is left, in words."""
        said = [f"{label[0].upper()}{label[1:]}: {text}." for label, text in self.shown_rows()]
        return (*how_to_set(self.use, self.line), *said)

    def _title(self) -> str:
        angle = f" at {self.angle_deg:.4g} deg" if self.angle_deg else ""
        lines = (f"  {line}" for line in how_to_set(self.use, self.line))
        title = f"{self._named}: setting the {USES[self.use].title}{angle}"
        return "\n".join([title, *lines])

    @property
    def _line(self) -> Estimate:
        """What the plate's line makes of the cut, as the blade stood.

        Where no wobble is established any tooth may stand up, and the worst rotation is taken for
        the doubt of the line.
        """
        cut = self.cut if self.error is None else self.cut_at_error
        told = cut if self.fit.resolved else None
        return told or Estimate(0.0, self.worst.value / student_t(0.95, math.inf))

    @property
    def _over(self) -> tuple[float, str]:
        """The length over which a move is told, where that of an instrument does not serve."""
        unit = self.span_unit or self.fit.readings.unit
        shown = "mm" if unit in ("mm", "um") else "in"
        usual = OVER[shown][self.use == "miter_gauge"]
        return (convert(self.cut_length, unit, shown) if self.cut_length else usual), shown

    @property
    def _stood(self) -> str:
        if self.tooth is None:
            return f"the blade stood {self.away_deg or 0.0:g} deg from the neutral line"
        return f"tooth {self.tooth} stood {'up' if USES[self.use].upright else 'in front'}"

    def _lines(self, label: str, error: Estimate | None) -> list[tuple[str, str]]:
        """Return what people read; the riving knife's toe and its lean are off alike."""
        if error is None:
            return []
        cut, end = error.times(-1.0), USES[self.use].end
        text = cut_text(self.use, cut, end) + self._wood(error)
        if self.use != "riving_knife":
            return [(label, text)]
        return [(f"toe, {label}", text), (f"lean, {label}", cut_text(self.use, cut, "upper end"))]

    def _turned(self) -> str:
        if self.tooth is None:
            return f"turned {self.away_deg or 0.0:g} deg from the neutral line instead"
        first = "first " if self.use == "riving_knife" else ""
        place = "uppermost" if USES[self.use].upright else f"{first}at the front"
        return f"with tooth {self.tooth} {place} instead"

    @property
    def in_wood(self) -> tuple[str, ...]:
        """What the error that was read opens over the length cut, at most where no side is told."""
        off = self.read.judged
        if off is None or not math.isfinite(off.u):
            return ()
        most = off if told(off) else Estimate(max(abs(off.low), abs(off.high)), off.u)
        said = self._wood(most).removeprefix("; ")
        return (f"{'' if told(off) else 'at most: '}{said}",) if said else ()

    def _wood(self, error: Estimate) -> str:
        """Return what an error opens over the length cut, and at the last joint of a frame."""
        if self.cut_length is None or self.span_unit is None or not math.isfinite(error.u):
            return ""
        gap, joint_gap, unit = self.gap(error), self.joint_gap(error), self.span_unit
        opens = f"{_opens(gap, unit)} {unit}" if gap else "no cut at all"
        text = f"; over {self.cut_length:.4g} {unit} that is {opens}"
        if self.sides is None:
            return text
        if joint_gap is None:
            return f"{text}, and the frame of {self.sides} sides does not close"
        opens = _opens(joint_gap, unit)
        return f"{text}, and the last joint of {self.sides} opens {opens} {unit}"


@checked
def setting_error(
    fit: WobbleFit,
    use: str,
    *,
    tooth: int | None = None,
    away_deg: float | None = None,
    angle: float | str | None = None,
    span: Length | None = None,
    sides: int | None = None,
    shown: Mapping[str, Any] | None = None,
    tolerance: float | str | None = None,
    tilts: str | None = None,
    slots: Slots | None = None,
) -> Setting:
    """Return what a part of the saw is set wrong by when it is set from the plate.

    With `shown`, what an instrument showed of it, it is said what the part is off by, and what to
    move.

    For table and bevel the neutral line stands upright, for miter gauge, fence and riving knife
    (its toe) level; the knife's lean is set with the line upright, a quarter turn later, and is
    off by as much. Any line of the plate parallel to the neutral line will do.

    The end of a line at the blade angle theta leans toward the indicator by
    ``atan(tan(tilt) cos(theta - near))``, upright or level (`squareness_error`). Where the plate's
    line leans by e from the plane square to the arbor, in which the teeth cut, a square set to the
    line leans by e as well, and measured against the square the plane of the cut leans by -e. So
    `cut` is minus `left`, positive when the cut's upper or front end leans toward the indicator.

    A bevel is off by e whatever its angle: the plate's upright line lies in the plane across the
    saw that holds the arbor's axis, and tilting the arbor turns this plane in itself; so bevel and
    lean are turns about one axis, and add. Uppermost is then twelve o'clock of the tilted arbor.
    The same holds for the miter gauge's angle, in the plane of the table. The slots are taken to
    be true to the arbor.

    Parameters
    ----------
    fit : WobbleFit
    use : {"table", "bevel", "miter_gauge", "riving_knife", "fence"}
    tooth : int, optional
        A tooth that stands uppermost (table, bevel) or at the front (the others) instead, to
        learn what this would cost.
    away_deg : float, optional
        The same as a turn of the blade in degrees, positive in the direction in which the tooth
        numbers grow, from the position with the neutral end at near + 90 in that place.
    angle : degrees, such as ``45`` or ``"45 deg"``, optional
        Bevel from the upright or miter from the square cut, from 0 to 89; 0 if neither it nor
        `sides` is given.
    span : length, such as ``"6 in"`` or ``(6, "in")``, optional
        Thickness of the board (table, bevel), its width (miter gauge), from the arbor's axis to
        the knife's far end (riving knife), or the fence's length.
    sides : int, optional
        Of a frame (miter gauge) or box (bevel) with as many mitred corners, cut at
        180 / sides degrees. Each corner has two cuts made at the one setting, so all joints
        together are off by ``2 sides e``. (Cuts made half at one stop and half at its mirror
        image, both set from one line, would balance instead.)
    shown : mapping, optional
        What was read, in the words of the saw's file (notebooks/saw_file.md), such as
        ``{"gap": "0.3 mm", "open": "top", "height": "100 mm", "side": "left"}``. `tooth` or
        `away_deg` then tell how the blade stood, and what its wobble adds there is taken out.
    tolerance : degrees, optional
        The largest error accepted.
    tilts : {"left", "right"}, optional
        The way the top of the blade goes for a bevel on this saw.
    slots : SlotAlignment, optional
        For the miter gauge, which rides in a slot, and for a knife that was read from one.

    Returns
    -------
    Setting
        Limits of `left` and `error` are Student's with the fit's degrees of freedom.

    Raises
    ------
    RefusedError
    """
    if use not in tuple(USES):
        raise refuse(
            f"the use is {use!r}", f"write one of {', '.join(USES)}", value=use, column="use"
        )
    if tooth is not None and away_deg is not None:
        raise refuse(
            "tooth and away_deg are both given", "give one rotation", blade=fit.readings.blade.name
        )
    given = {"tooth": tooth, "away_deg": away_deg, "sides": sides}
    for name, value in given.items():
        if isinstance(value, bool) or (value is not None and abs(value) > LARGEST):
            raise refuse(f"{name} is {value}", "give a number", value=value, column=name)
    turn = _angle_of(use, None if angle is None else degrees("angle", angle), sides)
    size, unit = length("span", span) or (None, None)
    if tilts is not None:
        one_of("tilts", tilts, SIDES)
    asked = tooth is not None or away_deg is not None
    turned = squareness(fit, tooth=tooth, away_deg=away_deg if asked else 0.0)
    allowed = above_0_deg("tolerance", tolerance)
    line = neutral_line(fit) if allowed is None else neutral_line(fit, tolerance_deg=allowed)
    off = line.line_off_deg
    setting = Setting(
        fit=fit,
        use=use,
        line=line,
        tooth=tooth,
        away_deg=turned.away_deg if asked else None,
        angle_deg=turn,
        span=size,
        span_unit=unit,
        cut_length=None if size is None else size / math.cos(math.radians(turn)),
        sides=sides,
        left=None if off is None else squareness(fit, away_deg=-off).error,
        error=turned.error if asked else None,
        worst=turned.worst,
        read=PlateReading(),
    )
    if shown is None:
        return setting
    if use == "bevel" and tilts is None:
        raise refuse(
            "a bevel that was read needs to know which way the blade tilts on this saw",
            'add tilts = "left" or "right" to [saw]',
            column="shows" if "shows" in shown else "gap",
        )
    if slots is not None and not hasattr(slots, "angle"):
        cure = "align the slots first: slot_alignment(front, back, ...)"
        raise refuse(f"slots is {slots!r}", cure, column="slots")
    what = read_as(use, shown, fit, angle=turn, tilts=tilts)
    read = PlateReading(
        use=use,
        shown=what,
        line=setting._line,
        over=what.over or setting._over,
        share=None if tooth in {end.tooth for end in line.marked or ()} else setting.error,
        stood=setting._stood,
        slots=slots,
        side=side_of(fit),
        tilts=tilts,
        tolerance_deg=allowed,
    )
    return replace(setting, read=read)


def _opens(gap: Estimate, unit: str) -> str:
    """Return a gap; in mm or in, however the length was given."""
    return by_hand(gap.value, gap.u, unit) if unit in FINEST else number(abs(gap.value), gap.u)


def _angle_of(use: str, angle: float | None, sides: int | None) -> float:
    """Return the angle of a use in degrees, that of a frame of so many sides if not given."""
    for name, value in (("angle", angle), ("sides", sides)):
        if value is not None and not USES[use].angled:
            raise refuse(
                f"{name} is given for use {use}",
                "leave it out; only bevel and miter_gauge have an angle",
                value=value,
                column=name,
            )
    if angle is not None and not 0 <= angle <= 89:
        raise refuse(
            f"angle is {angle:g}",
            "give the bevel from the upright, or the miter from the square cut: 0 to 89",
            value=angle,
            column="angle",
        )
    if sides is None:
        return float(angle or 0.0)
    if not sides >= 3 or int(sides) != sides:
        raise refuse(f"a frame of {sides} sides", "give 3 or more", value=sides, column="sides")
    # As people write it: 25.71 for seven sides.
    if angle is not None and abs(angle - 180.0 / sides) > 0.01:
        raise refuse(
            f"{sides} sides are cut at {180.0 / sides:g} deg, and angle is {angle:g}",
            "give one of them, or check both",
            value=angle,
            column="angle",
        )
    return 180.0 / sides
