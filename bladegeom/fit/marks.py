"""The teeth to mark: near, far, and the two ends of the neutral line."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from bladegeom.blade import Blade
from bladegeom.face import check_blade
from bladegeom.fit.ends import End, ends_of, first_better, most_left, off_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.result import Result, derived, described, named, number, percent, quantity

if TYPE_CHECKING:
    from bladegeom.mistakes.check import Finding

NO_MATTER_DEG = 0.01
"""An error of squareness below which it does not matter, where no tolerance is stated."""

_HAIR = 1e-9
_PARTS = (
    (0.0, ""),
    (0.1, "a tenth"),
    (0.2, "a fifth"),
    (0.25, "a quarter"),
    (1 / 3, "a third"),
    (0.4, "two fifths"),
    (0.5, "half"),
)


class Mark(NamedTuple):
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
    other : int or None
        The tooth on the other side of the direction, where that lies between the two and either
        will do.
    """

    direction_deg: float
    tooth: int
    past_deg: float
    past_pitch: float
    past_mm: float | None
    probability: float | None
    words: str
    other: int | None


def _of_both(what: str) -> Callable[[tuple[Mark, Mark]], list[Any] | None]:
    def of(ends: tuple[Mark, Mark]) -> list[Any] | None:
        pair = [getattr(end, what) for end in ends]
        return None if pair[0] is None else pair

    return of


@described
class NeutralLine(Result):
    """The teeth to mark on a blade."""

    blade: Blade = quantity("the blade", key="")
    fit: WobbleFit | None = quantity("None for a near tooth found by eye", key="")
    tolerance_deg: float = quantity("the largest error of squareness that does not matter", key="")
    left_deg: float | None = quantity(
        "squareness error left when the line through the two marked teeth stands for the neutral "
        "line, the first tooth uppermost; positive when that end leans toward the indicator",
        default=None,
    )
    left_most_deg: float | None = quantity(
        "95 % limit of its size, whichever tooth that will do is marked",
        label="if marked",
        text=lambda line: line._left_words,
        default=None,
    )
    worst_deg: float | None = quantity(
        "error at the worst rotation: the tilt, or its upper limit where unresolved",
        key="worst_squareness_deg",
        label=lambda line: f"if ignored{line._as_read}",
        text=lambda line: (
            "" if line.worst_deg is None else f"up to {line.worst_deg:.4f} deg out of square"
        ),
    )
    near: Mark | None = quantity(
        "tooth nearest to the near direction, and the chance that it is; None where the wobble is "
        "not resolved",
        parts=("_tooth", "_probability"),
        label=lambda line: f"near{line._as_read}",
        text=lambda line: _shown(line.near),
        default=None,
    )
    far: Mark | None = quantity(
        "the same for the far direction",
        parts=("_tooth", "_probability"),
        label=lambda line: f"far{line._as_read}",
        text=lambda line: _shown(line.far),
        default=None,
    )
    neutral: tuple[Mark, Mark] | None = quantity(
        "teeth nearest to near + 90 and near + 270 degrees, the two directions, the chance that "
        "each is the nearest, and how far from each tooth on the direction lies: in degrees, as a "
        "part of the gap to the next tooth on that side, and along the rim in mm",
        parts={
            "_teeth": _of_both("tooth"),
            "_deg": _of_both("direction_deg"),
            "_probability": _of_both("probability"),
            "_past_deg": _of_both("past_deg"),
            "_past_pitch": _of_both("past_pitch"),
            "_past_mm": _of_both("past_mm"),
        },
        label=lambda line: f"neutral{line._as_read}",
        text=lambda line: [_shown(end) for end in line.neutral or ()],
        default=None,
    )
    better_tooth: int | None = quantity(
        "the neutral tooth that lies closer to its direction", default=None
    )
    line_off_deg: float | None = quantity(
        "line through the two marked teeth less the true neutral line, degrees of blade",
        default=None,
    )
    withheld: str = quantity(
        "why no teeth are named although the readings would name some", key="", default=""
    )

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
        """The teeth that the readings name once all that seems wrong is repaired as proposed."""
        if self.fit is None or self.mistake is None or self.fit.repaired is None:
            return None
        return neutral_line(self.fit.repaired, tolerance_deg=self.tolerance_deg)

    @derived(
        "whether no direction is established and the error at worst is within the tolerance; "
        "without a direction and not flat, the readings cannot tell"
    )
    def flat(self) -> bool:
        within = self.worst_deg is not None and self.worst_deg < self.tolerance_deg
        return self.neutral is None and within

    @property
    def any_rotation(self) -> bool:
        """Whether any rotation will do: the blade is flat, and nothing speaks against it."""
        return self.flat and not self.withheld and self.mistake is None

    @property
    def instructions(self) -> tuple[str, ...]:
        """What to do, in words."""
        if self.fit is not None and self.mistake is not None:
            return (
                f"{self.mistake.again} before you mark any tooth: a mistake in the readings seems "
                "likely.",
                *(sentence(one) for one in (*self.fit.findings.explained, self.fit.at_stake)),
            )
        if self.withheld:
            return (f"No teeth to mark: {self.withheld}.",)
        if self.near is None or self.far is None or self.neutral is None:
            return (f"No teeth to mark: no wobble is established. {self._without}",)
        first, second = (end.tooth for end in self.neutral)
        near, teeth = self.near.tooth, self.blade.teeth
        steps = [(to - near) % teeth for to in (first, self.far.tooth, second)]
        return (
            f"Mark teeth {first} and {second}: the neutral line.",
            *self._how_good,
            f"From tooth {near} (near) count {steps[0]} teeth to {first}, {steps[1]} to "
            f"{self.far.tooth} (far), {steps[2]} to {second}.",
            f"Stand teeth {first} and {second} one above the other to set the table and the "
            "bevels; level to set the miter gauge and the riving knife.",
        )

    @property
    def _how_good(self) -> tuple[str, ...]:
        """What marking leaves, and which teeth will do as well."""
        said = []
        if self.left_most_deg is not None and math.isfinite(self.left_most_deg):
            most = number(self.left_most_deg, self.left_most_deg)
            said.append(f"The plate then stands within {most} deg of square (95 %).")
        return (*said, *self.either)

    @property
    def either(self) -> tuple[str, ...]:
        """Which teeth will do as well as those named, in a sentence, where there are any."""
        pairs = [sorted((end.tooth, end.other)) for end in self.marked or () if end.other]
        if not pairs:
            return ()
        said = ", and ".join(f"{one} or {other}" for one, other in pairs)
        return (f"{said}{',' * (len(pairs) > 1)} will do: the line falls between them.",)

    @property
    def _left_words(self) -> str:
        if self.left_deg is None or self.left_most_deg is None or self.mistake is not None:
            return ""
        off = f"the line through the marks is {abs(self.line_off_deg or 0.0):.2f} deg of blade off"
        if not math.isfinite(self.left_most_deg):
            return f"{self.left_deg:+z.4f} deg out of square ({off}); doubt not known"
        most = number(self.left_most_deg, self.left_most_deg)
        return f"within {most} deg of square (95 %); {self.left_deg:+z.4f} as fitted ({off})"

    @property
    def _without(self) -> str:
        """What is to be done where no direction is established."""
        if self.worst_deg is None:
            return "The readings cannot tell how far a rotation may be out of square."
        worst = f"{number(self.worst_deg, self.worst_deg)} deg out of square"
        if self.any_rotation:
            return (
                f"Any rotation will do: at worst the plate is {worst}, and up to "
                f"{self.tolerance_deg:g} deg is taken not to matter."
            )
        return (
            f"The readings cannot tell: the plate may be up to {worst}. Read another turn, or with "
            "a finer indicator."
        )

    def _remarks(self) -> Sequence[str]:
        return () if self.fit is None else self.fit.rest

    def _first(self) -> Sequence[str]:
        return () if self.fit is None else self.fit.asked  # A likely mistake is in the title.

    def _title(self) -> str:
        name = named(str(self.blade.who))
        return "\n".join([f"{name}: teeth to mark", *(f"  {line}" for line in self.instructions)])

    @property
    def _as_read(self) -> str:
        return ", as read" if self.mistake is not None else ""


@checked
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
    check_blade(fit.readings, "there are no teeth to name")
    blade = fit.readings.blade
    if not fit.resolved:
        worst = None if fit.tilt is None else fit.tilt.high
        return NeutralLine(
            blade=blade,
            fit=fit,
            tolerance_deg=tolerance_deg,
            worst_deg=worst if worst is not None and math.isfinite(worst) else None,
        )
    return _line(blade, fit.near_deg, fit, tolerance_deg)


@checked
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
    ends = ends_of(blade.angles_deg, near_deg)
    near, first, far, second = (_mark(blade, end, fit) for end in ends)
    tilt, most = (None if fit is None else fit.tilt_deg), None
    if fit is not None and fit.tilt is not None:
        near_low, near_high, _ = fit.near_interval()
        limits = (near_low - fit.near_deg, near_high - fit.near_deg)
        most = float(most_left(ends[1], ends[3], *limits, fit.tilt.high))
    off, left = off_line(ends[1], ends[3], tilt or 0.0)
    return NeutralLine(
        blade=blade,
        fit=fit,
        tolerance_deg=tolerance_deg,
        near=near,
        far=far,
        neutral=(first, second),
        better_tooth=(first if first_better(ends[1], ends[3]) else second).tooth,
        line_off_deg=float(off) + 0.0,  # No minus before a zero.
        left_deg=None if tilt is None else float(left),
        left_most_deg=most,
        worst_deg=tilt,
    )


def _mark(blade: Blade, end: End, fit: WobbleFit | None) -> Mark:
    chance = None if fit is None else float(end.probability(fit))
    tooth, past, part = int(end.place) + 1, float(end.past_deg), float(end.past_pitch)
    radius = blade.radius_mm
    return Mark(
        direction_deg=float(end.direction_deg),
        tooth=tooth,
        past_deg=past,
        past_pitch=part,
        past_mm=None if radius is None else radius * math.radians(past),
        probability=None if chance is None or math.isnan(chance) else chance,
        words=_words(tooth, part, blade.teeth),
        other=_beyond(tooth, part, blade.teeth) if end.between else None,
    )


def _beyond(tooth: int, part: float, teeth: int) -> int:
    """Return the tooth on the other side of a direction."""
    return tooth % teeth + 1 if part > 0 else (tooth - 2) % teeth + 1


def _words(tooth: int, part: float, teeth: int) -> str:
    share = min(_PARTS, key=lambda one: abs(one[0] - abs(part)))[1]
    if not share:
        return f"tooth {tooth}"
    way = "way" if share == "half" else "of the way"
    return f"tooth {tooth}, {share} {way} to {_beyond(tooth, part, teeth)}"


def sentence(words: str) -> str:
    """Return words with a capital and a stop."""
    words = words.strip()
    return f"{words[0].upper()}{words[1:]}{'' if words.endswith(('.', '?')) else '.'}"


def _shown(mark: Mark | None) -> str:
    if mark is None:
        return ""
    text = mark.words
    if abs(mark.past_deg) > _HAIR:
        along = "" if mark.past_mm is None else f", {abs(mark.past_mm):.1f} mm along the rim"
        text += f" ({abs(mark.past_deg):.2f} deg{along})"
    return text if mark.probability is None else f"{text}, {percent(mark.probability)} sure"
