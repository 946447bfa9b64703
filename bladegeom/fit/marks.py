"""The teeth to mark: near, far, and the two ends of the neutral line."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import wrap_360
from bladegeom.blade import Blade
from bladegeom.faults import RefusedError
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.result import Result, described, number, percent, quantity
from bladegeom.wobble import Wobble

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


class End(NamedTuple):
    """A direction in a blade and the tooth nearest to it; of many blades alike, shape (...).

    Attributes
    ----------
    direction_deg : float or ndarray
        From 0 to 360.
    place : int or ndarray
        Of the nearest tooth, from 0.
    past_deg : float or ndarray
        From that tooth on to the direction.
    before_deg, after_deg : float or ndarray
        The gaps from that tooth to its neighbours.
    """

    direction_deg: Any
    place: Any
    past_deg: Any
    before_deg: Any
    after_deg: Any

    @property
    def past_pitch(self) -> Any:
        """`past_deg` as a part of the gap on that side."""
        return self.past_deg / np.where(self.past_deg > 0, self.after_deg, self.before_deg)

    def probability(self, wobble: Wobble) -> Any:
        """Return how probable it is that this tooth is the nearest to the true direction."""
        return wobble.probability(
            -self.past_deg - self.before_deg / 2, self.after_deg / 2 - self.past_deg
        )


def ends_of(tooth_deg: NDArray[np.float64], near_deg: Any) -> list[End]:
    """Return near, neutral, far and the other neutral end of blades with the same teeth.

    Half-way between two teeth rounding must not choose: the lower number of two within a hair is
    the nearest, as `Blade.nearest_tooth` has it.

    Parameters
    ----------
    tooth_deg : ndarray, shape (teeth,)
    near_deg : float or ndarray, shape (...)
        From 0 (included) to 360 (not).

    Returns
    -------
    list of four End
    """
    teeth = len(tooth_deg)
    even = bool(np.ptp(np.diff(tooth_deg, append=360.0)) < _HAIR)
    near, tie = _end(tooth_deg, even, near_deg)
    turned = [wrap_360(near_deg + quarter * 90.0) for quarter in (1, 2, 3)]
    if not even or teeth % 4 or tie:
        return [near, *(_end(tooth_deg, even, toward)[0] for toward in turned)]
    # Where teeth stand alike in every quarter, so do the directions.
    places = [(near.place + quarter * (teeth // 4)) % teeth for quarter in (1, 2, 3)]
    others = zip(turned, places, strict=True)
    return [near, *(near._replace(direction_deg=deg, place=place) for deg, place in others)]


def _end(tooth_deg: NDArray[np.float64], even: bool, toward: Any) -> tuple[End, bool]:
    """Return a direction with its nearest tooth, and whether any lies half-way between two."""
    teeth, gaps = len(tooth_deg), np.diff(tooth_deg, append=360.0)
    if even:  # Which of two teeth a hair apart from the direction does not matter here.
        below = np.minimum(np.asarray(toward * (teeth / 360.0), dtype=np.intp), teeth - 1)
    else:
        below = np.searchsorted(tooth_deg, toward, side="right") - 1
    past, gap = toward - tooth_deg[below], gaps[below]
    over = 2 * past - gap
    # The last tooth's upper neighbour has the lower number.
    above = (over > _HAIR) | ((over > -_HAIR) & (below == teeth - 1))
    place = np.where(above, (below + 1) % teeth, below)[()]
    past = np.where(above, past - gap, past)[()]
    end = End(toward, place, past, gaps[place - 1], gaps[place])
    return end, bool((np.abs(over) <= _HAIR).any())


def off_line(first: End, second: End, tilt_deg: Any) -> tuple[Any, Any]:
    """Return where the line through two teeth lies, and what it leaves when taken for neutral.

    The chord from the second tooth's tip up to the first's points half-way between the first
    tooth's direction and the opposite of the second's.

    Returns
    -------
    off, left : float or ndarray, shape (...)
        The line less the true neutral line, in degrees of blade; the squareness error.
    """
    off = -(first.past_deg + second.past_deg) / 2
    slope = np.tan(np.radians(tilt_deg)) * np.sin(np.radians(-off))
    return off, np.degrees(np.arctan(slope))


def first_better(first: End, second: End) -> Any:
    """Return whether the first of two teeth lies closer to its direction."""
    return np.abs(first.past_deg) <= np.abs(second.past_deg) + _HAIR


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
    """

    direction_deg: float
    tooth: int
    past_deg: float
    past_pitch: float
    past_mm: float | None
    probability: float | None
    words: str


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
    left_deg: float | None = quantity(
        "squareness error left when that line stands for the neutral line, the first tooth "
        "uppermost; positive when that end leans toward the indicator",
        label="if marked",
        text=lambda line: (
            ""
            if line.left_deg is None
            else f"{line.left_deg:+z.4f} deg out of square (the line through the marks is "
            f"{abs(line.line_off_deg or 0.0):.2f} deg of blade off)"
        ),
        default=None,
    )
    worst_deg: float | None = quantity(
        "error at the worst rotation: the tilt, or its upper limit where unresolved",
        key="worst_squareness_deg",
        label="if ignored",
        text=lambda line: (
            "" if line.worst_deg is None else f"up to {line.worst_deg:.4f} deg out of square"
        ),
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
        if self.fit is not None and self.mistake is not None:
            return (
                f"{self.mistake.again} before you mark any tooth: a mistake in the readings seems "
                "likely.",
                *(sentence(one) for one in self.fit.findings.explained),
                f"As they stand, the readings name {self._named}; as repaired, "
                f"{self.repaired._named if self.repaired else 'nothing'}. Mark neither yet.",
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
            f"From tooth {near} (near) count {steps[0]} teeth to {first}, {steps[1]} to "
            f"{self.far.tooth} (far), {steps[2]} to {second}.",
            f"Stand teeth {first} and {second} one above the other to set the table and the "
            "bevels; level to set the miter gauge and the riving knife.",
        )

    @property
    def _without(self) -> str:
        """What is to be done where no direction is established."""
        if self.worst_deg is None:
            return "The readings cannot tell how far a rotation may be out of square."
        worst = f"{number(self.worst_deg, self.worst_deg)} deg out of square"
        if self.any_rotation:
            return f"Any rotation will do: at worst the plate is {worst}."
        return (
            f"The readings cannot tell: the plate may be up to {worst}. Read another turn, or with "
            "a finer indicator."
        )

    def _remarks(self) -> Sequence[str]:
        return () if self.fit is None else self.fit.warnings

    def _title(self) -> str:
        name = f"Blade {self.blade.name}" if self.blade.name else "Blade"
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
    tilt = None if fit is None else fit.tilt_deg
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
        worst_deg=tilt,
    )


def _mark(blade: Blade, end: End, fit: WobbleFit | None) -> Mark:
    tooth, past, part = int(end.place) + 1, float(end.past_deg), float(end.past_pitch)
    radius = blade.radius_mm
    return Mark(
        direction_deg=float(end.direction_deg),
        tooth=tooth,
        past_deg=past,
        past_pitch=part,
        past_mm=None if radius is None else radius * math.radians(past),
        probability=None if fit is None else float(end.probability(fit)),
        words=_words(tooth, part, blade.teeth),
    )


def _words(tooth: int, part: float, teeth: int) -> str:
    share = min(_PARTS, key=lambda one: abs(one[0] - abs(part)))[1]
    toward = (tooth % teeth + 1) if part > 0 else ((tooth - 2) % teeth + 1)
    if not share:
        return f"tooth {tooth}"
    return f"tooth {tooth}, {share} {'way' if share == 'half' else 'of the way'} to {toward}"


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
