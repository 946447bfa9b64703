"""Test cuts from which the errors of a saw are read: one piece turned over, round a board."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Literal, get_args

from bladegeom.estimate import Estimate, Verdict
from bladegeom.faults import refuse
from bladegeom.lengths import MM_PER, Length, Lengths
from bladegeom.result import Result, derived, described, quantity
from bladegeom.saw._gauge import Gauge, gauge_of
from bladegeom.saw._measure import (
    NOT_TOLD,
    SIDES,
    Plane,
    Side,
    angle_over,
    difference_of,
    mean_of,
    needed,
    one_of,
    rise_over,
    sided,
    taken,
    to_set,
    told,
    unknown,
    way_to,
)
from bladegeom.saw.bench import MOUNTED, SLOTS, Bench, Step, decided
from bladegeom.saw.kerf import kerf
from bladegeom.tables.toml import Section

OpenAt = Literal["top", "bottom"]
Flipped = Literal["indicator", "other"]

_LEANS = ("toward the indicator's side", "away from the indicator's side")
"""How the upper end of a cut leans: positive, negative."""

SWING_OVER = {"mm": 300.0, "in": 12.0}
"""Unit -> the length of fence over which a swing is told in words."""


@described
class FlipTest(Result):
    """How far a cut is out of square, from the gap between its two faces with one turned over."""

    error: Estimate = quantity(
        "degrees that the cut is out of square; positive when the upper end of the blade's cut "
        "leans toward the indicator",
        label="cut out of square",
        unit="deg",
        text=lambda one: sided(one.error, "deg", *_LEANS),
    )
    gap: Estimate = quantity(
        "between the two faces",
        parts=("", "_u"),
        label="gap",
        text=lambda one: (
            one.gap.text(one.unit)
            + (f", open at the {one.open_at}" if one.open_at and one.gap.value else "")
        ),
    )
    height: float = quantity(
        "height of the cut",
        key="cut_height",
        label="height of the cut",
        text=lambda one: f"{one.height:g} {one.unit}",
    )
    unit: str = quantity("mm or in, as the gap was given")
    open_at: OpenAt | None = quantity("top or bottom: where the gap is open")
    flipped: Flipped = quantity(
        "indicator or other: the side of the blade from which the piece came that was turned over"
    )
    side: str | None = None
    """The indicator's side of the blade, left or right, where it is known."""

    @derived("which way to tilt the blade, and how far", label="what to do")
    def correction(self) -> str:
        if not told(self.error):
            return f"Leave the blade's tilt: {NOT_TOLD}."
        seen = f"{'away from' if self.error.value > 0 else 'toward'} the indicator's side"
        half = to_set(self.gap.value / 2, self.unit, self.gauge.graduation)
        return (
            f"Tilt the top of the blade {way_to(self.side, self.error.value < 0, seen)} by "
            f"{to_set(self.error.value, 'deg')}: half the gap, {half} over {self.height:.6g} "
            f"{self.unit} of height."
        )

    gauge: Gauge = quantity("of the gap", inline=True)
    read: Plane
    """The readings of the gap, a level line."""

    def readings_needed(self, tolerance: float | None) -> int | None:
        """Return how many readings of the gap would decide; none where it is told."""

        def verdict(read: Plane) -> Verdict | None:
            return decided(angle_over(read.at(read.centre), 2 * self.height), tolerance)

        return self.read.readings_needed(verdict)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader should know."""
        return (*self.gauge.remarks, *unknown(self.error))

    def _title(self) -> str:
        return "Flip test: the two faces of one cut, one piece turned over"


def flip_test(
    gap: Lengths,
    *,
    height: Length,
    open_at: OpenAt | None = None,
    flipped: Flipped,
    graduation: Length | None = None,
    repeatability: Length | None = None,
) -> FlipTest:
    """Return how far a cut is out of square, from the gap that doubles it.

    Cut a board in two, turn one piece upside down, lay both on the flat and push the faces of the
    cut together. Both faces now lean the same way from each other, so that
    ``gap = 2 height tan(error)``. Where the blade's top leans toward the piece that lies still,
    that piece and the one turned over are both shorter at the top, and the gap is open there;
    where it leans toward the piece that was turned over, at the bottom.

    Parameters
    ----------
    gap : lengths, such as ``"0.5 0.5 thou"`` or ``([0.5, 0.5], "thou")``
        As often as measured, at the open edge; 0 where no light shows.
    height : length
        Of the cut: the thickness of the board.
    open_at : {"top", "bottom"}, optional
        Where the gap is open; not needed where it is 0.
    flipped : {"indicator", "other"}
        The side of the blade from which the piece came that was turned over.
    graduation : length, optional
        The finest step of the gap's gauge.
    repeatability : length, optional
        Standard deviation of a reading that is repeated; a cautious one if not given.

    Raises
    ------
    RefusedError
    """
    (gaps,), unit = taken({"gap": gap}, signed=False)
    high = needed(unit, "height", height)
    one_of("flipped", flipped, get_args(Flipped))
    if open_at is not None or gaps.any():
        one_of("open_at", open_at, get_args(OpenAt))
    mean, read = mean_of(gaps, gauge_of(unit, graduation, repeatability, gaps))
    toward = -1.0 if mean.value and (open_at == "top") == (flipped == "indicator") else 1.0
    return FlipTest(
        error=angle_over(mean.times(toward), 2 * high),
        gap=mean,
        height=high,
        unit=unit,
        open_at=open_at,
        flipped=flipped,
        gauge=read.gauge,
        read=read,
    )


@described
class RoundTest(Result):
    """How far each corner cut round a board is off."""

    name: str = quantity("of the gauge's stop; may be empty")
    error: Estimate = quantity(
        "degrees by which the corner of the board between the edge on the fence and the cut is "
        "less than `corner_deg`",
        label="each corner",
        unit="deg",
        text=lambda one: one.corner,
    )

    @property
    def corner(self) -> str:
        """What each corner is off by, in words."""
        ways = (f"{way} than {self.corner_deg:.6g} deg" for way in ("narrower", "wider"))
        return sided(self.error, "deg", *ways)

    @derived("the corner that closes the round: 180 - 360 / turns")
    def corner_deg(self) -> float:
        return 180 - 360 / self.turns

    @derived(
        "the fence's turn from square for it, positive where the end farther from the blade is "
        "swung toward the operator"
    )
    def gauge_deg(self) -> float:
        return self.corner_deg - 90

    taper: Estimate = quantity(
        "width of the last strip at the end cut first less that at the end cut last",
        parts=("", "_u"),
        label="taper of the strip",
        text=lambda one: (
            sided(one.taper, one.unit, "wider at the end cut first", "wider at the end cut last")
            + f", over {one.length:.6g} {one.unit}"
        ),
    )
    length: float = quantity("length of the strip", key="strip_length")
    unit: str = quantity("mm or in, as the widths were given")
    turns: int = quantity("turns of the board")
    piece: Side = quantity("left or right: the side of the blade on which the board lay")
    gauge: Gauge = quantity("of the calliper", inline=True)
    read: Plane
    """The readings of the strip, a line from its end cut last (0) to that cut first (1)."""

    def readings_needed(self, tolerance: float | None) -> int | None:
        """Return how many readings at each end would decide; none where it is told."""

        def verdict(read: Plane) -> Verdict | None:
            return decided(_corner(read.rise([1.0]), self.length, self.turns), tolerance)

        return self.read.readings_needed(verdict)

    @derived(
        "how far to move the end of the gauge's fence over `swing_over` of its length, positive "
        "the end farther from the blade toward the operator",
        parts=("", "_u"),
    )
    def swing(self) -> Estimate:
        return rise_over(self.error, self.swing_over)

    @derived("the length of fence over which the swing is told")
    def swing_over(self) -> float:
        return SWING_OVER[self.unit]

    @derived("which end of the fence to move, which way, and how far", label="what to do")
    def correction(self) -> str:
        if not told(self.error):
            return f"Leave the gauge's fence: {NOT_TOLD}."
        way = "toward you" if self.error.value > 0 else "away from you"
        by = to_set(self.swing.value, self.unit, self.gauge.graduation)
        return (
            f"At its end farther from the blade, swing the gauge's fence {way} by {by} over "
            f"{self.swing_over:g} {self.unit} of its length."
        )

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader should know."""
        way = "clockwise" if self.piece == "left" else "counterclockwise"
        return (
            f"It holds if the board was turned {way}, seen from above: the edge just cut went "
            "against the gauge's fence every time.",
            *self.gauge.remarks,
            *unknown(self.error),
        )

    def _title(self) -> str:
        name = f" of the stop {self.name}" if self.name else ""
        return f"Test cut{name} round a board {self.piece} of the blade, {self.turns} turns"


def round_test(
    first: Lengths,
    last: Lengths,
    *,
    length: Length,
    turns: int = 4,
    piece: Side = "left",
    name: str = "",
    graduation: Length | None = None,
    repeatability: Length | None = None,
) -> RoundTest:
    """Return how far each corner cut round a board is off, from the taper of the last strip.

    Stand the board before the fence of the gauge or sled, the fence between operator and board.
    Cut an edge; turn the board so that the edge just cut lies on the fence, and cut the next one,
    and so on. A board left of the blade turns clockwise, seen from above, one right of it
    counterclockwise. After `turns` turns the cut runs beside the first one and takes off a strip
    whose faces meet at `turns` times the error, ``tan(turns error) = (first - last) / length``.
    Turned the other way the errors do not add up, and this formula is wrong.

    Parameters
    ----------
    first : lengths, such as ``"316.0 315.5 thou"`` or ``([316.0, 315.5], "thou")``
        Width of the last strip at the end that was cut first (away from the fence), as often as
        measured.
    last : lengths
        The same at the end that was cut last (at the fence).
    length : length
        Of the strip, between the places where its width was measured.
    turns : int
        4 for a board with right angles, 8 for an octagon and the stops at 45 degrees.
    piece : {"left", "right"}
        The side of the blade on which the board lies.
    name : str
        Of the stop that is tested.
    graduation : length, optional
        The finest step of the calliper.
    repeatability : length, optional
        Standard deviation of a reading that is repeated; a cautious one if not given.

    Raises
    ------
    RefusedError
    """
    (widths, other_widths), unit = taken({"first": first, "last": last}, signed=False, zero=False)
    long = needed(unit, "length", length)
    one_of("piece", piece, SIDES)
    if isinstance(turns, bool) or not isinstance(turns, int) or turns < 3:
        raise refuse(
            f"turns is {turns}",
            "give how often the board was turned, a whole number of 3 or more",
            value=turns,
            column="turns",
        )
    gauge = gauge_of(unit, graduation, repeatability, widths, other_widths)
    taper, read = difference_of(widths, other_widths, gauge)
    return RoundTest(
        error=_corner(taper, long, turns),
        taper=taper,
        length=long,
        unit=unit,
        turns=turns,
        piece=piece,
        name=name,
        gauge=read.gauge,
        read=read,
    )


def _corner(taper: Estimate, length: float, turns: int) -> Estimate:
    """Return what each corner is off by, from the taper of the last strip."""
    return angle_over(taper, length).times(1 / turns)


def measured_length(
    length: Lengths, *, graduation: Length | None = None, repeatability: Length | None = None
) -> Estimate:
    """Return a length, such as a kerf, as often as it was measured, ``"3.21 3.22 mm"``.

    In mm or in, as it was given; its `u` is NaN where neither repeats nor a graduation (of the
    calliper) tell it. `repeatability` is the standard deviation of a reading that is repeated; a
    cautious one if not given.

    Raises
    ------
    RefusedError
        If a length is not above 0.
    """
    (read,), unit = taken({"length": length}, signed=False, zero=False)
    return mean_of(read, gauge_of(unit, graduation, repeatability, read))[0]


def flip_step(bench: Bench, section: Section) -> Step:
    """Return the step of the flip test, and hold it against what the table predicts."""
    side = bench.needed_side("the flip test")
    flipped: Flipped = "indicator" if section.get("flipped") == side else "other"
    given = section.given() | {"flipped": flipped}
    result = replace(flip_test(**given), side=side)
    plus = "the top of the cut toward the indicator's side"
    bench.check("square of the cut", bench.square, result.error, plus=plus)
    leans = (way_to(side, toward, seen) for toward, seen in zip((True, False), _LEANS, strict=True))
    found = f"the top of the cut leans {sided(result.error, 'deg', *leans)}"
    title, tolerance = "Test cut: one piece flipped", bench.stated("table", "tolerance")
    return bench.step(
        "test_cut.flip",
        title,
        result,
        result.error,
        found=(found,),
        moves=(("blade", 0.0),),
        **_judged(result, tolerance),
    )


def round_step(bench: Bench, section: Section) -> Step:
    """Return the step of a cut round a board, and hold it against what the gauge predicts."""
    title, tolerance = "Test cut: round the board", bench.stated("miter_gauge", "tolerance")
    result, head, step = _round(bench, "test_cut.round", title, section, tolerance)
    corner = bench.corners.get(abs(head))
    # On the indicator's side the lean of the cut's front end toward it takes as much off.
    sign = -1.0 if bench.side == result.piece else 1.0
    bench.check("corner of the board", corner and corner.times(sign), result.error, plus="narrower")
    return step


def stop_step(bench: Bench, section: Section) -> Step:
    """Return the step of a stop of the miter gauge."""
    title = f"Miter stop {section.get('name')}"
    return _round(bench, "stop", title, section, section.get("tolerance"))[-1]


def _round(
    bench: Bench, part: str, title: str, section: Section, tolerance: float | None
) -> tuple[RoundTest, float, Step]:
    """Return a test, how far the gauge was swung, counterclockwise from above, and its step."""
    given = section.given()
    given.pop("tolerance", None)  # Of a stop.
    result = round_test(**given)
    head = round(result.gauge_deg * (1.0 if result.piece == "left" else -1.0), 3)
    step = bench.step(
        part,
        title,
        result,
        result.error,
        found=(f"each corner {result.corner}, after {result.turns} turns",),
        moves=(("gauge", head),),
        **_judged(result, tolerance, " at each end"),
    )
    return result, head, step


def _judged(
    result: FlipTest | RoundTest, tolerance: float | None, ends: str = ""
) -> dict[str, Any]:
    """Return verdict and words of a test cut, and how often to measure it until it can be told."""
    times, known = result.readings_needed(tolerance), math.isfinite(result.error.u)
    again = "It cannot be told by this cut: measure it with a finer gauge, or cut a longer one."
    if times or not known:
        again = f"Measure it {times or 3} times{ends}: then it can be told."
    return {
        "again": again if known else f"{again} State the graduation, too.",
        "same": "The same error as under {}: make that move, then cut again.",
        "verdict": result.error.verdict(tolerance),
        "finer": known and times is None,
    }


def kerf_step(bench: Bench, section: Section) -> Step:
    """Return the step of the kerf, and hold it against what wobble and slots predict."""
    result = kerf(bench.needed("the kerf"))
    unit = section.get("width")[1]
    width = measured_length(**section.given())
    predicted = result.width.times(MM_PER[result.unit] / MM_PER[unit])
    predicted = predicted.plus(*_heel(bench, unit))
    if result.fit.mistake is None:
        bench.check("width of the kerf", predicted, width, unit)
    return Step(
        part="test_cut.kerf",
        title="Test cut: width of the kerf",
        found=(f"{width.text(unit)} wide; {predicted.text(unit)} predicted",),
        result=result,
        rests=(SLOTS, MOUNTED),
    )


def _heel(bench: Bench, unit: str) -> list[Estimate]:
    """Return what the slots' error adds to the kerf: the rear teeth cut beside the front ones.

    The angle times the chord of the teeth at the table, 2 sqrt(R^2 - y^2).
    """
    height = bench.stated("blade", "height")
    rim = None if bench.fit is None else bench.fit.readings.blade.radius_mm
    if bench.slots is None or height is None or rim is None:
        return []
    above = rim - height[0] * MM_PER[height[1]]
    chord = 2 * math.sqrt(max(0.0, rim**2 - above**2)) / MM_PER[unit]
    angle = bench.slots.angle
    return [angle.times(math.copysign(math.radians(chord), angle.value))]
