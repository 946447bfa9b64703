"""What each part of a saw is set wrong by when it is set from the plate of a wobbling blade."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from bladegeom.angles import wrap_180
from bladegeom.estimate import Estimate
from bladegeom.faults import refuse
from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.squareness import squareness, squareness_error, squareness_error_u
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import LARGEST, one_length_mm
from bladegeom.result import Result, Row
from bladegeom.saw.uses import (
    USES,
    checked_angle,
    cut_text,
    how_to_set,
    wood_text,
    worst_text,
)


@dataclass(frozen=True, eq=False, repr=False)
class Setting(Result):
    """What a part of the saw is set wrong by, and what that means in wood.

    The named end of the plate's line is its upper end (table, bevel) or its front end (miter
    gauge, riving knife, fence).

    Attributes
    ----------
    fit : WobbleFit
    use : {"table", "bevel", "miter_gauge", "riving_knife", "fence"}
    line : NeutralLine
        The teeth.
    tooth : int or None
        The tooth asked for: uppermost, or at the front.
    away_deg : float or None
        The rotation asked for as a turn from the neutral line; see `squareness_error`.
    angle_deg : float
        Bevel from the upright, or miter from the square cut.
    span : float or None
        In `span_unit`: what `setting_error` was given.
    span_unit : {"mm", "in"} or None
    cut_length : float or None
        Length along which the span is cut, ``span / cos(angle)``.
    sides : int or None
    left : Estimate or None
        Degrees by which the line through the two marked teeth leans, its named end (the first of
        them) positive toward the indicator; None where no wobble is established.
    error : Estimate or None
        The same at the rotation asked for; None where none was.
    worst : Estimate
        The tilt, at the worst rotation; where the wobble is not resolved its upper limit. Its
        limits are `worst_low_deg` and `worst_high_deg`, those of the tilt.
    worst_low_deg, worst_high_deg : float

    Notes
    -----
    Where all readings are the same and the graduation is not stated, the worst case and every
    uncertainty are not known: NaN here, None in `to_dict`.
    """

    fit: WobbleFit
    use: str
    line: NeutralLine
    tooth: int | None
    away_deg: float | None
    angle_deg: float
    span: float | None
    span_unit: str | None
    cut_length: float | None
    sides: int | None
    left: Estimate | None
    error: Estimate | None
    worst: Estimate
    worst_low_deg: float
    worst_high_deg: float

    @property
    def cut(self) -> Estimate | None:
        """Lean of the true cut from the square so set, after marking: -left."""
        return self.left and self.left.times(-1.0)

    @property
    def cut_at_error(self) -> Estimate | None:
        """Lean of the true cut from the square set at the rotation asked for: -error."""
        return self.error and self.error.times(-1.0)

    def joints(self, error: Estimate) -> Estimate | None:
        """Return what all joints of the frame are off by together: 2 sides error, in degrees.

        With the error's sign: whether the frame opens or overlaps depends on the stop's side.
        """
        return None if self.sides is None else error.times(2.0 * self.sides)

    def gap(self, error: Estimate) -> Estimate | None:
        """Return what an error in degrees opens over the length cut, in `span_unit`.

        ``length tan(error)``, its uncertainty ``length u(error) / cos(error)^2``. None without a
        span, and from 90 degrees on, where nothing closes.
        """
        if self.cut_length is None or abs(error.value) >= 90:
            return None
        angle = math.radians(error.value)
        u = self.cut_length * math.radians(error.u) / math.cos(angle) ** 2
        return Estimate(self.cut_length * math.tan(angle), u, error.dof)

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
        name = self.fit.readings.blade.name
        what = f"{f'Blade {name}' if name else 'Blade'}: setting the {USES[self.use].title}"
        angle = f" at {self.angle_deg:.4g} deg" if self.angle_deg else ""
        lines = (f"  {line}" for line in how_to_set(self.use, self.line))
        return "\n".join([what + angle, *lines])

    def _rows(self) -> Sequence[Row]:
        ends = self.line.neutral
        worst = worst_text(self.worst, self.worst_low_deg, self.worst_high_deg)
        worst += self._wood(self.worst)
        return [
            Row("blade", self.fit.readings.blade.name),
            Row("use", self.use),
            Row("neutral_teeth", [end.tooth for end in ends] if ends else None),
            Row("tooth", self.tooth),
            Row("away_deg", self.away_deg),
            Row("angle_deg", self.angle_deg),
            Row("span", self.span),
            Row("span_unit", self.span_unit),
            Row("cut_length", self.cut_length),
            Row("sides", self.sides),
            *self._shown("left after marking", self.left),
            *self._values("left", self.left),
            *_of("cut", "_deg", self.cut),
            *self._shown(self._turned(), self.error),
            *self._values("error", self.error),
            *_of("cut_at_error", "_deg", self.cut_at_error),
            Row("worst_squareness_deg", self.worst.value, "at the worst rotation", worst),
            Row("worst_u_deg", self.worst.u),
            *self._worst_rows(),
            Row("warnings", list(self.fit.said)),
        ]

    def _shown(self, label: str, error: Estimate | None) -> list[Row]:
        """Return the rows for people; the riving knife's toe and its lean are off alike."""
        if error is None:
            return []
        cut, end = error.times(-1.0), USES[self.use].end
        text = cut_text(self.use, cut, end) + self._wood(error)
        if self.use != "riving_knife":
            return [Row("", None, label, text)]
        lean = cut_text(self.use, cut, "upper end")
        return [Row("", None, f"toe, {label}", text), Row("", None, f"lean, {label}", lean)]

    def _turned(self) -> str:
        if self.tooth is None:
            return f"turned {self.away_deg or 0.0:g} deg from the neutral line instead"
        first = "first " if self.use == "riving_knife" else ""
        place = "uppermost" if USES[self.use].upright else f"{first}at the front"
        return f"with tooth {self.tooth} {place} instead"

    def _wood(self, error: Estimate) -> str:
        if self.cut_length is None or not math.isfinite(error.u):
            return ""
        gap, joint_gap = self.gap(error), self.joint_gap(error)
        return wood_text(self.span_unit, self.cut_length, gap, self.sides, joint_gap)

    def _values(self, stem: str, error: Estimate | None) -> list[Row]:
        return [
            *_of(stem, "_deg", error),
            *_of(f"{stem}_gap", "", error and self.gap(error)),
            *_of(f"{stem}_joints", "_deg", error and self.joints(error)),
            *_of(f"{stem}_joint_gap", "", error and self.joint_gap(error)),
        ]

    def _worst_rows(self) -> list[Row]:
        rows = [
            Row("worst_low_deg", self.worst_low_deg),
            Row("worst_high_deg", self.worst_high_deg),
        ]
        sizes = {"": self.worst.value, "_low": self.worst_low_deg, "_high": self.worst_high_deg}
        for part, size in sizes.items():
            error = Estimate(size, self.worst.u)
            gap, joints, joint_gap = self.gap(error), self.joints(error), self.joint_gap(error)
            rows += [
                Row(f"worst_gap{part}", gap and gap.value),
                Row(f"worst_joints{part}_deg", joints and joints.value),
                Row(f"worst_joint_gap{part}", joint_gap and joint_gap.value),
            ]
        return rows

    def _first(self) -> Sequence[str]:
        return self.fit.doubted

    def _remarks(self) -> Sequence[str]:
        return self.fit.warnings


def setting_error(
    fit: WobbleFit,
    use: str,
    *,
    tooth: int | None = None,
    away_deg: float | None = None,
    angle_deg: float | None = None,
    span_mm: float | None = None,
    span_in: float | None = None,
    sides: int | None = None,
) -> Setting:
    """Return what a part of the saw is set wrong by when it is set from the plate.

    For table and bevel the neutral line stands upright, for miter gauge, fence and riving knife
    (its toe) level; the knife's lean is set with the line upright, a quarter turn later, and is
    off by as much. Any line of the plate parallel to the neutral line will do.

    The end of a line at the blade angle theta leans toward the indicator by
    ``atan(tan(tilt) cos(theta - near))``, upright or level (`squareness_error`). Setting to it
    turns the cut the other way: where the plate's line leans by e from the plane square to the
    arbor, in which the teeth cut, a square set to the line leans by e as well, and measured
    against the square the plane of the cut leans by -e. So `cut` is minus `left`, positive when
    the cut's upper or front end leans toward the indicator.

    A bevel is off by e whatever its angle: the plate's upright line lies in the plane across the
    saw that holds the arbor's axis. Tilting the arbor turns this plane in itself, the line with
    it, and a bevel square or inclinometer measures its angle in the same plane; so bevel and lean
    are turns about one axis, and add. Uppermost is then twelve o'clock of the tilted arbor. The
    same holds for the miter gauge's angle, in the plane of the table. The slots are taken to be
    true to the arbor.

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
    angle_deg : float, optional
        Bevel from the upright or miter from the square cut, from 0 to 89; 0 if neither it nor
        `sides` is given.
    span_mm, span_in : float, optional
        Thickness of the board (table, bevel), its width (miter gauge), from the arbor's axis to
        the knife's far end (riving knife), or the fence's length.
    sides : int, optional
        Of a frame (miter gauge) or box (bevel) with as many mitred corners, cut at
        180 / sides degrees. Each corner has two cuts made at the one setting, so all joints
        together are off by ``2 sides e``. (Cuts made half at one stop and half at its mirror
        image, both set from one line, would balance instead.)

    Returns
    -------
    Setting
        Limits of `left` and `error` are Student's with the fit's degrees of freedom.

    Raises
    ------
    RefusedError
        If the use is unknown, the rotation is given twice, the ring radius is not known, or a
        number cannot be true.
    """
    blade = fit.readings.blade
    if use not in tuple(USES):
        raise refuse(
            f"the use is {use!r}", f"write one of {', '.join(USES)}", value=use, column="use"
        )
    if tooth is not None and away_deg is not None:
        raise refuse("tooth and away_deg are both given", "give one rotation", blade=blade.name)
    given = {"tooth": tooth, "away_deg": away_deg, "angle_deg": angle_deg, "sides": sides}
    for name, value in (given | {"span_mm": span_mm, "span_in": span_in}).items():
        if isinstance(value, bool) or (value is not None and abs(value) > LARGEST):
            raise refuse(f"{name} is {value}", "give a number", value=value, column=name)
    angle = checked_angle(use, angle_deg, sides)
    one_length_mm("span", {"mm": span_mm, "in": span_in})
    span = span_mm if span_mm is not None else span_in
    away = away_deg if tooth is None else wrap_180(fit.near_deg + 90.0 - blade.angle_of(tooth))
    plain = squareness(fit, away_deg=away or 0.0)
    line = neutral_line(fit)
    off = line.line_off_deg
    return Setting(
        fit=fit,
        use=use,
        line=line,
        tooth=tooth,
        away_deg=away,
        angle_deg=angle,
        span=span,
        span_unit=None if span is None else "mm" if span_mm is not None else "in",
        cut_length=None if span is None else span / math.cos(math.radians(angle)),
        sides=sides,
        left=None if off is None else _at(fit, -off),
        error=None if away is None else _at(fit, away),
        worst=Estimate(plain.worst.value, plain.worst.u, fit.dof),
        worst_low_deg=plain.worst.low,
        worst_high_deg=plain.worst.high,
    )


def _at(fit: WobbleFit, away: float) -> Estimate:
    error, u = squareness_error(fit, away), squareness_error_u(fit, away)
    return Estimate(float(error), float(u), fit.dof)


def _of(stem: str, ending: str, one: Estimate | None) -> list[Row]:
    return [Row(row.key, one and row.value) for row in (one or _NONE).rows(stem, ending)]


_NONE = Estimate(math.nan, math.nan)
