"""The teeth to mark: near, far, and the two ends of the neutral line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from bladegeom.angles import turn_between, wrap_180, wrap_360
from bladegeom.blade import Blade
from bladegeom.faults import RefusedError
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import direction_probability
from bladegeom.result import Result, Row, number, percent

if TYPE_CHECKING:
    from bladegeom.mistakes.check import Finding

NO_MATTER_DEG = 0.01
"""An error of squareness below which it does not matter, where no tolerance is stated."""

_PARTS = (
    (0.0, ""),
    (0.1, "a tenth"),
    (0.2, "a fifth"),
    (0.25, "a quarter"),
    (1 / 3, "a third"),
    (0.4, "two fifths"),
    (0.5, "half"),
)


_OF_PAIR = {
    "tooth": "teeth",
    "direction_deg": "deg",
    "probability": "probability",
    "past_deg": "past_deg",
    "past_pitch": "past_pitch",
    "past_mm": "past_mm",
}
"""What is told of both neutral marks: attribute of `Mark` -> key after ``neutral_``."""


@dataclass(frozen=True)
class Mark:
    """A direction in the blade and the tooth nearest to it.

    Attributes
    ----------
    direction_deg : float
        Blade angle of the true direction, from 0 to 360.
    tooth : int
        The tooth that stands nearest.
    past_deg : float
        From the tooth on to the direction; negative where the direction lies before the tooth.
    past_pitch : float
        The same as a part of the gap to the next tooth on that side, from -0.5 to 0.5.
    past_mm : float or None
        The same along the rim; None without a diameter.
    probability : float or None
        That this tooth is the nearest one to the true direction; None for a mark found by eye.
    words : str
        Such as "tooth 7, a third of the way to 8".
    """

    direction_deg: float
    tooth: int
    past_deg: float
    past_pitch: float
    past_mm: float | None
    probability: float | None
    words: str


@dataclass(frozen=True, eq=False, repr=False)
class NeutralLine(Result):
    """The teeth to mark on a blade.

    Attributes
    ----------
    blade : Blade
    fit : WobbleFit or None
        None for a near tooth found by eye.
    tolerance_deg : float
        The largest error of squareness that does not matter.
    near, far : Mark or None
        Nearest to the indicator, and farthest from it.
    neutral : tuple of two Mark, or None
        At near + 90 and near + 270 degrees. None, as near and far, where the wobble is not
        resolved.
    better_tooth : int or None
        The one of the two neutral teeth that lies closer to its direction.
    line_off_deg : float or None
        The line through the two marked teeth less the true neutral line, in degrees of blade.
    left_deg : float or None
        Squareness error left when the line through the two marked teeth stands for the neutral
        line, the first of them uppermost; positive when that end leans toward the indicator.
    worst_deg : float or None
        Squareness error at the worst rotation: the tilt where the wobble is resolved, else the
        tilt that belongs to the upper limit of its amplitude.
    withheld : str
        Why no teeth are named although the readings would name some; empty otherwise.
    """

    blade: Blade
    fit: WobbleFit | None
    tolerance_deg: float
    near: Mark | None
    far: Mark | None
    neutral: tuple[Mark, Mark] | None
    better_tooth: int | None
    line_off_deg: float | None
    left_deg: float | None
    worst_deg: float | None
    withheld: str = ""

    @property
    def mistake(self) -> Finding | None:
        """A likely mistake in the readings: until it is cleared up, no tooth is to be marked."""
        return None if self.fit is None else self.fit.mistake

    @property
    def marked(self) -> tuple[Mark, Mark] | None:
        """`neutral`, where these teeth are to be marked: no mistake seems likely."""
        return self.neutral if self.mistake is None else None

    @property
    def repaired(self) -> NeutralLine | None:
        """The teeth that the readings name once the likely mistake is repaired as proposed."""
        if self.mistake is None or self.mistake.repaired is None:
            return None
        try:
            return neutral_line(fit_wobble(self.mistake.repaired), tolerance_deg=self.tolerance_deg)
        except RefusedError:
            return None

    @property
    def _named(self) -> str:
        if self.neutral is None:
            return "no teeth"
        return f"teeth {self.neutral[0].tooth} and {self.neutral[1].tooth}"

    @property
    def any_rotation(self) -> bool:
        """Whether any rotation will do: no direction, and at worst within the tolerance.

        Without a direction and with more than that, the readings cannot tell.
        """
        within = self.worst_deg is not None and self.worst_deg < self.tolerance_deg
        return self.neutral is None and within and not self.withheld and self.mistake is None

    @property
    def instructions(self) -> tuple[str, ...]:
        """What to do, in words."""
        if self.mistake is not None:
            return (
                f"{self.mistake.again} before you mark any tooth: a mistake in the readings seems "
                "likely.",
                _sentence(self.mistake.words),
                f"As they stand, the readings name {self._named}; as repaired, "
                f"{self.repaired._named if self.repaired else 'nothing'}. Mark neither yet.",
            )
        if self.withheld:
            return (f"No teeth to mark: {self.withheld}.",)
        if self.near is None or self.far is None or self.neutral is None:
            return (_no_teeth(self),)
        return _instructions(self.blade, self.near, self.neutral[0], self.far, self.neutral[1])

    def _title(self) -> str:
        name = f"Blade {self.blade.name}" if self.blade.name else "Blade"
        return "\n".join([f"{name}: teeth to mark", *(f"  {line}" for line in self.instructions)])

    def _rows(self) -> Sequence[Row]:
        rows: list[Row] = []
        read = ", as read" if self.mistake is not None else ""
        for what, mark in (("near", self.near), ("far", self.far)):
            rows += [
                Row(f"{what}_tooth", mark and mark.tooth, *_shown(f"{what}{read}", mark)),
                Row(f"{what}_probability", mark and mark.probability),
            ]
        pair: dict[str, list[Any] | None] = {
            key: [getattr(end, key) for end in self.neutral] if self.neutral else None
            for key in _OF_PAIR
        }
        for name, values in zip(_OF_PAIR.values(), pair.values(), strict=True):
            known = values is not None and values[0] is not None
            rows.append(Row(f"neutral_{name}", values if known else None))
        rows += [Row("", None, *_shown(f"neutral{read}", end)) for end in self.neutral or ()]
        left = self.left_deg
        rows += [
            Row("better_tooth", self.better_tooth),
            Row("line_off_deg", self.line_off_deg),
            Row(
                "left_deg",
                left,
                "if marked" if left is not None else "",
                "" if left is None else f"{left:+z.4f} deg out of square {_off(self.line_off_deg)}",
            ),
            Row(
                "worst_squareness_deg",
                self.worst_deg,
                "if ignored" if self.worst_deg is not None else "",
                "" if self.worst_deg is None else f"up to {self.worst_deg:.4f} deg out of square",
            ),
        ]
        return rows


def neutral_line(fit: WobbleFit, *, tolerance_deg: float = NO_MATTER_DEG) -> NeutralLine:
    """Name the teeth to mark.

    Parameters
    ----------
    fit : WobbleFit
    tolerance_deg : float
        The largest error of squareness that does not matter: where no direction is established
        and the worst rotation is within it, any rotation will do.

    Returns
    -------
    NeutralLine
        Without teeth where the wobble is not resolved.
    """
    blade = fit.readings.blade
    if not fit.resolved:
        worst = fit.tilt_of(fit.amplitude_interval().high)
        return NeutralLine(
            blade=blade,
            fit=fit,
            tolerance_deg=tolerance_deg,
            near=None,
            far=None,
            neutral=None,
            better_tooth=None,
            line_off_deg=None,
            left_deg=None,
            worst_deg=worst if worst is not None and math.isfinite(worst) else None,
        )
    return _line(blade, fit.near_deg, fit, tolerance_deg)


def without_marks(line: NeutralLine, why: str, worst_deg: float | None) -> NeutralLine:
    """Return an answer that names no teeth, and says why."""
    return replace(
        line,
        near=None,
        far=None,
        neutral=None,
        better_tooth=None,
        line_off_deg=None,
        left_deg=None,
        worst_deg=worst_deg,
        withheld=why,
    )


def neutral_line_by_eye(blade: Blade, near_tooth: int) -> NeutralLine:
    """Name the teeth to mark for a near tooth that was found by eye.

    Parameters
    ----------
    blade : Blade
    near_tooth : int
        The tooth nearest to the indicator.

    Returns
    -------
    NeutralLine
        Without probabilities and without errors in degrees, which need readings.

    Raises
    ------
    RefusedError
        If the blade has no such tooth.
    """
    return _line(blade, blade.angle_of(near_tooth), None, NO_MATTER_DEG)


def _line(
    blade: Blade, near_deg: float, fit: WobbleFit | None, tolerance_deg: float
) -> NeutralLine:
    near, first, far, second = (
        _mark(blade, near_deg + quarter * 90.0, quarter * 90.0, fit) for quarter in range(4)
    )
    tip = [blade.angle_of(end.tooth) for end in (first, second)]
    # The chord from the second tooth's tip up to the first's points half-way between the first
    # tooth's direction and the opposite of the second's.
    chord = tip[0] + float(turn_between(tip[0], tip[1] + 180.0)) / 2
    off = wrap_180(chord - (near_deg + 90.0))
    tilt = None if fit is None else fit.tilt_deg
    left = None
    if tilt is not None:
        slope = math.tan(math.radians(tilt)) * math.sin(math.radians(-off))
        left = math.degrees(math.atan(slope))
    return NeutralLine(
        blade=blade,
        fit=fit,
        tolerance_deg=tolerance_deg,
        near=near,
        far=far,
        neutral=(first, second),
        better_tooth=_better(first, second).tooth,
        line_off_deg=off,
        left_deg=left,
        worst_deg=tilt,
    )


def _mark(blade: Blade, direction_deg: float, from_near_deg: float, fit: WobbleFit | None) -> Mark:
    direction = wrap_360(direction_deg)
    tooth = blade.nearest_tooth(direction)
    past = float(turn_between(blade.angle_of(tooth), direction))
    before, after = blade.gaps_deg(tooth)
    part = past / (after if past > 0 else before)
    radius = blade.radius_mm
    probability = None
    if fit is not None:
        middle = direction_deg - from_near_deg - past
        probability = direction_probability(
            fit.cosine,
            fit.sine,
            fit.covariance,
            fit.dof,
            middle - before / 2,
            middle + after / 2,
        )
    return Mark(
        direction_deg=direction,
        tooth=tooth,
        past_deg=past,
        past_pitch=part,
        past_mm=None if radius is None else radius * math.radians(past),
        probability=probability,
        words=_words(tooth, part, blade.teeth),
    )


def _words(tooth: int, part: float, teeth: int) -> str:
    share = min(_PARTS, key=lambda one: abs(one[0] - abs(part)))[1]
    toward = (tooth % teeth + 1) if part > 0 else ((tooth - 2) % teeth + 1)
    if not share:
        return f"tooth {tooth}"
    return f"tooth {tooth}, {share} {'way' if share == 'half' else 'of the way'} to {toward}"


def _sentence(words: str) -> str:
    words = words.strip()
    return f"{words[0].upper()}{words[1:]}{'' if words.endswith(('.', '?')) else '.'}"


def _no_teeth(line: NeutralLine) -> str:
    """Return what is to be done where no direction is established."""
    none = "No teeth to mark: no wobble is established."
    if line.worst_deg is None:
        return f"{none} The readings cannot tell how far a rotation may be out of square."
    worst = f"{number(line.worst_deg, line.worst_deg)} deg out of square"
    if line.any_rotation:
        return f"{none} Any rotation will do: at worst the plate is {worst}."
    return (
        f"{none} The readings cannot tell: the plate may be up to {worst}. Read another turn, or "
        "with a finer indicator."
    )


def _instructions(
    blade: Blade, near: Mark, first: Mark, far: Mark, second: Mark
) -> tuple[str, ...]:
    def count(to: Mark) -> str:
        steps = (to.tooth - near.tooth) % blade.teeth
        return f"{steps} to {to.tooth}"

    return (
        f"Mark teeth {first.tooth} and {second.tooth}: the neutral line.",
        f"From tooth {near.tooth} (near) count {(first.tooth - near.tooth) % blade.teeth} teeth to "
        f"{first.tooth}, {count(far)} (far), {count(second)}.",
        f"Stand teeth {first.tooth} and {second.tooth} one above the other to set the table and "
        "the bevels; level to set the miter gauge and the riving knife.",
    )


def _better(first: Mark, second: Mark) -> Mark:
    return first if abs(first.past_deg) <= abs(second.past_deg) + 1e-9 else second


def _shown(what: str, mark: Mark | None) -> tuple[str, str]:
    if mark is None:
        return "", ""
    text = mark.words
    if abs(mark.past_deg) > 1e-9:
        along = "" if mark.past_mm is None else f", {abs(mark.past_mm):.1f} mm along the rim"
        text += f" ({abs(mark.past_deg):.2f} deg{along})"
    return what, text if mark.probability is None else f"{text}, {percent(mark.probability)} sure"


def _off(line_off_deg: float | None) -> str:
    return f"(the line through the marks is {abs(line_off_deg or 0.0):.2f} deg of blade off)"
