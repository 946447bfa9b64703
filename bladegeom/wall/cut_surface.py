"""What is said of the wall of the kerf: its marks, its roughness, the teeth that finish it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, astuple, dataclass

from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import convert
from bladegeom.result import Result, Row, between, number, percent
from bladegeom.wall.envelope import Profile

_HELPS = 0.8
"""What brings the height of the marks below this part of it is worth naming."""

_MOST_NAMED = 6


@dataclass(frozen=True)
class Finisher:
    """A tooth that leaves a part of the wall.

    Attributes
    ----------
    tooth : int
    share, share_low, share_high : float
        Of the wall, from 0 to 1, with its 95 % limits; NaN where they are not known.
    """

    tooth: int
    share: float
    share_low: float
    share_high: float


@dataclass(frozen=True)
class Limited:
    """A value with 95 % limits that need not lie evenly about it; NaN where they are not known."""

    value: float
    low: float
    high: float

    @property
    def doubt(self) -> float:
        """What to round to: no finer than a twentieth, since much is not in the limits."""
        spread = 0.0 if math.isnan(self.high) else (self.high - self.low) / 4
        return max(spread, abs(self.value) / 20)

    def rows(self, stem: str, label: str, text: str) -> list[Row]:
        """Return the rows of a result."""
        return [
            Row(stem, self.value, label, text),
            Row(f"{stem}_low", self.low),
            Row(f"{stem}_high", self.high),
        ]


@dataclass(frozen=True, eq=False, repr=False)
class CutWall(Result):
    """The simulated wall of the kerf. Lengths are in the unit of the readings.

    Attributes
    ----------
    fit : WobbleFit
    wall : {"toward", "away"}
        The wall on the indicator's side of the blade, or the other one.
    feed : float
        How far the board moves in one turn of the blade.
    height : float
        Of the blade above the table. The wall is taken at the table, where its marks are deepest.
    side_angle_deg, corner : float
        Radial side angle of the teeth; radius of their outer corners, 0 where sharp.
    lateral : tuple of float or None
        Side offset of each tooth, positive toward the indicator.
    passing : {"growing", "falling"} or None
        In which order of their numbers the teeth pass; None where it is not known, and growing
        was taken.
    profile : Profile
        One turn of the feed.
    peak_to_valley, ra, out : Limited
        Height of the profile; mean deviation from its mean line; farthest place of the wall,
        outward from where that of a blade without wobble and offsets lies.
    finishing : tuple of Finisher
        The teeth that leave a part of the wall, the largest share first.
    marks_low, marks_high : int or None
        Fewest and most marks in one turn of the feed that the readings allow; None where nothing
        tells the doubt.
    half_feed, no_wobble : float
        Peak to valley at half the feed, and of the same teeth on a blade that does not wobble.
    """

    fit: WobbleFit
    wall: str
    feed: float
    height: float
    side_angle_deg: float
    corner: float
    lateral: tuple[float, ...] | None
    passing: str | None
    profile: Profile
    peak_to_valley: Limited
    ra: Limited
    out: Limited
    finishing: tuple[Finisher, ...]
    marks_low: int | None
    marks_high: int | None
    half_feed: float
    no_wobble: float

    @property
    def marks(self) -> int | None:
        """Marks in one turn of the feed, where all that the readings allow agree."""
        return self.marks_low if self.marks_low == self.marks_high else None

    @property
    def mark_pitch(self) -> float | None:
        """From mark to mark along the feed; None where it is not established."""
        return None if self.marks is None else self.feed / self.marks

    @property
    def named(self) -> bool:
        """Whether there is ground to name the finishing teeth: a wobble, or offsets given."""
        return self.fit.resolved or self.lateral is not None

    @property
    def side_words(self) -> str:
        """Which wall it is, in words."""
        return f"{'toward' if self.wall == 'toward' else 'away from'} the indicator"

    @property
    def headline(self) -> str:
        """Marks, their pitch and the teeth that finish, in words."""
        words = f"{self._marks_words()}: {self._finishing_words()}"
        return words[0].upper() + words[1:]

    def limits_words(self, value: Limited, unit: str) -> str:
        """Return a height with its limits, or its upper limit where no wobble is established."""
        value = Limited(*(convert(one, self.fit.unit, unit) for one in astuple(value)))
        if math.isnan(value.high):
            said = number(value.value, value.doubt)
            return f"{said} {unit} (its limits hang on the graduation, which is not stated)"
        if not self.named:
            return f"at most {number(value.high, value.doubt)} {unit}: no wobble is established"
        limits = between(value.low, value.high, value.doubt)
        return f"{number(value.value, value.doubt)} {unit} (95 %: {limits})"

    def _title(self) -> str:
        name = self.fit.readings.blade.name
        blade = f"Blade {name}" if name else "Blade"
        return f"{blade}: wall of the kerf {self.side_words}, in {self.fit.unit}"

    def _rows(self) -> Sequence[Row]:
        unit = self.fit.unit
        teeth = [asdict(one) for one in self.finishing] if self.named else None
        corner = f", corners of {self.corner:.4g} {unit}" if self.corner else ", sharp corners"
        cut = (
            f"{self.feed:.4g} {unit} a turn, blade {self.height:.4g} {unit} high, side angle "
            f"{self.side_angle_deg:.4g} deg{corner}"
        )
        return [
            Row("blade", self.fit.readings.blade.name),
            Row("unit", unit),
            Row("wall", self.wall),
            Row("feed_per_turn", self.feed, "feed", cut),
            Row("blade_height", self.height),
            Row("side_angle_deg", self.side_angle_deg),
            Row("corner", self.corner),
            Row("lateral", None if self.lateral is None else list(self.lateral)),
            Row("passing", self.passing),
            Row("marks_per_turn", self.marks, "marks", self._marks_words()),
            Row("marks_per_turn_low", self.marks_low),
            Row("marks_per_turn_high", self.marks_high),
            Row("mark_pitch", self.mark_pitch),
            Row("finishing", teeth, "finished by", self._finishing_words()),
            *self._height("peak_to_valley", self.peak_to_valley, "peak to valley"),
            *self._height("ra", self.ra, "Ra"),
            *self._height("wall_out", self.out, "wall out by"),
            Row("half_feed_peak_to_valley", self.half_feed, "what would help", self._help_words()),
            Row("no_wobble_peak_to_valley", self.no_wobble),
            Row("resolved", self.fit.resolved),
            Row("warnings", list(self.fit.said)),
        ]

    def _height(self, stem: str, value: Limited, label: str) -> list[Row]:
        return value.rows(stem, label, self.limits_words(value, self.fit.unit))

    def _marks_words(self) -> str:
        teeth, unit = self.fit.readings.blade.teeth, self.fit.unit
        if self.marks is None or self.mark_pitch is None:
            if self.marks_low is None:
                return "how many marks a turn cannot be told"
            return f"from {self.marks_low} to {self.marks_high} marks a turn"
        apart = f"{self.mark_pitch:.3g} {unit} apart"
        if self.marks == 1:
            return f"one mark a turn, {apart}"
        if self.marks == teeth:
            return f"marks of every tooth, {apart}"
        return f"{self.marks} marks a turn, {apart}"

    def _finishing_words(self) -> str:
        if not self.named:
            return "no wobble is established, so no tooth is named"
        first = self.finishing[0]
        teeth = self.fit.readings.blade.teeth
        if len(self.finishing) == 1:
            return f"tooth {first.tooth} alone finishes this wall"
        if len(self.finishing) == teeth and first.share < 1.5 / teeth:
            return "all teeth finish it alike"
        said = [f"{one.tooth} ({percent(one.share)})" for one in self.finishing]
        if len(said) > _MOST_NAMED:
            most = f"tooth {first.tooth} the largest part ({percent(first.share)})"
            return f"{len(said)} of the teeth finish this wall, {most}"
        return f"teeth {', '.join(said[:-1])} and {said[-1]} finish this wall"

    def _help_words(self) -> str:
        if not self.named:
            return "no wobble is established: nothing to name"
        high, unit = self.peak_to_valley.value, self.fit.unit
        ways = []
        if self.fit.resolved and self.no_wobble < _HELPS * high:
            ways.append(
                f"a clean seat and a remount: with no wobble {self.no_wobble:.2g} {unit} from peak "
                "to valley would be left"
            )
        if self.half_feed < _HELPS * high:
            ways.append(f"half the feed: {self.half_feed:.2g} {unit}, where the manual allows it")
        return "; ".join(ways) or "neither half the feed nor a truer seat, as far as this can tell"

    def _first(self) -> Sequence[str]:
        return self.fit.doubted

    def _remarks(self) -> Sequence[str]:
        return [*self.assumed, *self.fit.warnings]

    @property
    def assumed(self) -> tuple[str, ...]:
        """What the numbers rest on, in words."""
        said = [
            "Taken as given: feed, side angle, corners and offsets; a thin rigid plate that stands "
            "parallel to the feed. The limits hold the doubt in the readings and nothing else: "
            "no vibration, no grain or spring of the wood, no worn teeth.",
            "Only teeth that enter the wood are counted. Those that leave it can only lower the "
            "ridges while the blade is parallel; with heel they mark one wall anew.",
            "At the table, where the marks are deepest. Ra over one turn of the feed, without a "
            "filter: an instrument's own filter shows another figure.",
        ]
        if self.lateral is None:
            said.append("All teeth are taken to be ground alike: no lateral offsets were given.")
        if self.passing is None:
            said.append(
                "Which way the teeth pass is not known (blade numbered clockwise or "
                "counterclockwise, indicator on the left or right side): in growing order here."
            )
        if self.fit.readings.blade.tooth_pattern is not None:
            said.append(
                "The blade has teeth of several kinds: each is taken to have its corner on this "
                "wall at the full radius, but for the offsets."
            )
        said.append("How a wall looks says nothing about safety: the saw's manual comes first.")
        return tuple(said)
