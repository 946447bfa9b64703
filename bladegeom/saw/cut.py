"""Test cuts from which the errors of a saw are read: one piece turned over, round a board."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from numpy.typing import ArrayLike

from bladegeom.estimate import Estimate, mean_of, scatter_of
from bladegeom.faults import refuse
from bladegeom.lengths import MM_PER, lengths_mm, one_length_mm, one_unit
from bladegeom.result import Result, Row
from bladegeom.saw.taken import (
    DOUBT_UNKNOWN,
    NOT_TOLD,
    angle_over,
    difference_of,
    needed_mm,
    none_below,
    one_of,
    size,
    told,
)

OpenAt = Literal["top", "bottom"]
Flipped = Literal["indicator", "other"]
Side = Literal["left", "right"]

SWING_OVER = {"mm": 300.0, "in": 12.0}
"""Unit -> the length of fence over which a swing is told in words."""


@dataclass(frozen=True, eq=False, repr=False)
class FlipTest(Result):
    """How far a cut is out of square, from the gap between its two faces with one turned over.

    Attributes
    ----------
    error : Estimate
        Degrees; positive when the upper end of the blade's cut leans toward the indicator.
    gap : Estimate
        In `unit`.
    height : float
        Of the cut, in `unit`.
    unit : {"mm", "in"}
    open_at : {"top", "bottom"} or None
    flipped : {"indicator", "other"}
        The side of the blade from which the piece came that was turned over.
    """

    error: Estimate
    gap: Estimate
    height: float
    unit: str
    open_at: OpenAt | None
    flipped: Flipped

    @property
    def correction(self) -> str:
        """Which way to tilt the blade, and how far."""
        if not told(self.error):
            return f"Leave the blade's tilt: {NOT_TOLD}."
        away = "away from" if self.error.value > 0 else "toward"
        half = self.gap.times(0.5)
        return (
            f"Tilt the top of the blade {away} the indicator's side by {size(self.error, 'deg')}: "
            f"half the gap, {size(half, self.unit)} over {self.height:g} {self.unit} of height."
        )

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader should know."""
        return () if math.isfinite(self.error.u) else (DOUBT_UNKNOWN,)

    def _title(self) -> str:
        return "Flip test: the two faces of one cut, one piece turned over"

    def _rows(self) -> Sequence[Row]:
        where = f", open at the {self.open_at}" if self.open_at and self.gap.value else ""
        return [
            *self.error.rows("error", "_deg", "cut out of square", self.error.text("deg")),
            Row("gap", self.gap.value, "gap", f"{self.gap.text(self.unit)}{where}"),
            Row("gap_u", self.gap.u),
            Row("cut_height", self.height, "height of the cut", f"{self.height:g} {self.unit}"),
            Row("unit", self.unit),
            Row("open_at", self.open_at),
            Row("flipped", self.flipped),
            Row("correction", self.correction, "what to do", self.correction),
        ]

    def _remarks(self) -> Sequence[str]:
        return self.remarks


def flip_test(
    *,
    gap_mm: ArrayLike | None = None,
    gap_in: ArrayLike | None = None,
    height_mm: float | None = None,
    height_in: float | None = None,
    open_at: OpenAt | None = None,
    flipped: Flipped,
    graduation_mm: float | None = None,
    graduation_in: float | None = None,
) -> FlipTest:
    """Return how far a cut is out of square, from the gap that doubles it.

    Cut a board in two, turn one piece upside down, lay both on the flat and push the faces of the
    cut together. Both faces now lean the same way from each other, so that
    ``gap = 2 height tan(error)``. Where the blade's top leans toward the piece that lies still,
    that piece and the one turned over are both shorter at the top, and the gap is open there;
    where it leans toward the piece that was turned over, at the bottom.

    Parameters
    ----------
    gap_mm, gap_in : float or array_like, shape (n,)
        As often as measured, at the open edge; 0 where no light shows.
    height_mm, height_in : float
        Of the cut: the thickness of the board.
    open_at : {"top", "bottom"}, optional
        Where the gap is open; not needed where it is 0.
    flipped : {"indicator", "other"}
        The piece that was turned over is the one from the indicator's side of the blade, or from
        the other.
    graduation_mm, graduation_in : float, optional
        The finest step of the gap's gauge.

    Returns
    -------
    FlipTest

    Raises
    ------
    RefusedError
        If a gap is below 0, the height is missing, or it is not stated where the gap is open.
    """
    gaps, unit = lengths_mm("gap", {"mm": gap_mm, "in": gap_in})
    none_below("gap", gaps, unit, or_zero=True)
    height = needed_mm("height", {"mm": height_mm, "in": height_in})
    graduation = one_length_mm("graduation", {"mm": graduation_mm, "in": graduation_in})
    one_of("flipped", flipped, get_args(Flipped))
    if open_at is not None or gaps.any():
        one_of("open_at", open_at, get_args(OpenAt))
    gap = mean_of(gaps, *scatter_of(gaps), graduation)
    toward = -1.0 if gap.value and (open_at == "top") == (flipped == "indicator") else 1.0
    return FlipTest(
        error=angle_over(gap.times(toward), 2 * height),
        gap=gap.times(1 / MM_PER[unit]),
        height=height / MM_PER[unit],
        unit=unit,
        open_at=open_at,
        flipped=flipped,
    )


@dataclass(frozen=True, eq=False, repr=False)
class RoundTest(Result):
    """How far each corner cut round a board is off.

    Attributes
    ----------
    error : Estimate
        Degrees, positive when the corner of the board between the edge on the fence and the cut
        is less than `corner_deg`.
    taper : Estimate
        Width of the strip at the end cut first less that at the end cut last, in `unit`.
    length : float
        Of the strip, in `unit`.
    unit : {"mm", "in"}
    turns : int
    piece : {"left", "right"}
        The side of the blade on which the board lay.
    name : str
        Of the gauge's stop; may be empty.
    """

    error: Estimate
    taper: Estimate
    length: float
    unit: str
    turns: int
    piece: Side
    name: str

    @property
    def corner_deg(self) -> float:
        """The corner that would close the round: 180 - 360 / turns."""
        return 180 - 360 / self.turns

    @property
    def gauge_deg(self) -> float:
        """How far the fence stands from square to the cut for it.

        Positive where the end farther from the blade is swung toward the operator.
        """
        return self.corner_deg - 90

    @property
    def swing(self) -> Estimate:
        """How far to move the end of the fence over `SWING_OVER` of its length, in `unit`.

        Positive: the end farther from the blade toward the operator.
        """
        tangent = math.tan(math.radians(self.error.value))
        per_deg = math.radians(1) * (1 + tangent**2)
        over = SWING_OVER[self.unit]
        return Estimate(over * tangent, over * per_deg * self.error.u, self.error.dof)

    @property
    def correction(self) -> str:
        """Which end of the fence to move, which way, and how far."""
        if not told(self.error):
            return f"Leave the fence of the gauge: {NOT_TOLD}."
        way = "toward you" if self.error.value > 0 else "away from you"
        return (
            f"Swing the end of the fence farther from the blade {way} by "
            f"{size(self.swing, self.unit)} per {SWING_OVER[self.unit]:g} {self.unit}."
        )

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader should know."""
        way = "clockwise" if self.piece == "left" else "counterclockwise"
        return (
            f"It holds if the board was turned {way}, seen from above: the edge just cut went "
            "against the fence every time.",
            *(() if math.isfinite(self.error.u) else (DOUBT_UNKNOWN,)),
        )

    def _title(self) -> str:
        name = f" of the stop {self.name}" if self.name else ""
        return f"Test cut{name} round a board {self.piece} of the blade, {self.turns} turns"

    def _rows(self) -> Sequence[Row]:
        label = f"corner short of {self.corner_deg:g} deg by"
        return [
            Row("name", self.name),
            *self.error.rows("error", "_deg", label, self.error.text("deg")),
            Row("corner_deg", self.corner_deg),
            Row("gauge_deg", self.gauge_deg),
            Row("taper", self.taper.value, "taper of the strip", self._taper()),
            Row("taper_u", self.taper.u),
            Row("strip_length", self.length),
            Row("unit", self.unit),
            Row("turns", self.turns),
            Row("piece", self.piece),
            Row("swing", self.swing.value),
            Row("swing_u", self.swing.u),
            Row("swing_over", SWING_OVER[self.unit]),
            Row("correction", self.correction, "what to do", self.correction),
        ]

    def _taper(self) -> str:
        wider = "first" if self.taper.value > 0 else "last"
        return (
            f"{size(self.taper, self.unit)} over {self.length:g} {self.unit}, wider at the end "
            f"cut {wider}"
        )

    def _remarks(self) -> Sequence[str]:
        return self.remarks


def round_test(
    *,
    first_mm: ArrayLike | None = None,
    first_in: ArrayLike | None = None,
    last_mm: ArrayLike | None = None,
    last_in: ArrayLike | None = None,
    length_mm: float | None = None,
    length_in: float | None = None,
    turns: int = 4,
    piece: Side = "left",
    name: str = "",
    graduation_mm: float | None = None,
    graduation_in: float | None = None,
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
    first_mm, first_in : float or array_like, shape (n,)
        Width of the last strip at the end that was cut first (away from the fence), as often as
        measured.
    last_mm, last_in : float or array_like, shape (m,)
        The same at the end that was cut last (at the fence).
    length_mm, length_in : float
        Of the strip, between the places where its width was measured.
    turns : int
        4 for a board with right angles, 8 for an octagon and the stops at 45 degrees.
    piece : {"left", "right"}
        The side of the blade on which the board lies.
    name : str
        Of the stop of the gauge that is tested, for the record.
    graduation_mm, graduation_in : float, optional
        The finest step of the calliper.

    Returns
    -------
    RoundTest

    Raises
    ------
    RefusedError
        If a width is not above 0, the length is missing, or there are fewer than 3 turns.
    """
    first, unit = lengths_mm("first", {"mm": first_mm, "in": first_in})
    last, other = lengths_mm("last", {"mm": last_mm, "in": last_in})
    one_unit({"first": unit, "last": other})
    for what, widths in (("first", first), ("last", last)):
        none_below(what, widths, unit)
    length = needed_mm("length", {"mm": length_mm, "in": length_in})
    graduation = one_length_mm("graduation", {"mm": graduation_mm, "in": graduation_in})
    one_of("piece", piece, get_args(Side))
    if isinstance(turns, bool) or not isinstance(turns, int) or turns < 3:
        raise refuse(
            f"turns is {turns}",
            "give how often the board was turned, a whole number of 3 or more",
            value=turns,
            column="turns",
        )
    taper = difference_of(first, last, graduation)
    return RoundTest(
        error=angle_over(taper, length).times(1 / turns),
        taper=taper.times(1 / MM_PER[unit]),
        length=length / MM_PER[unit],
        unit=unit,
        turns=turns,
        piece=piece,
        name=name,
    )


def measured_length(
    *,
    length_mm: ArrayLike | None = None,
    length_in: ArrayLike | None = None,
    graduation_mm: float | None = None,
    graduation_in: float | None = None,
) -> Estimate:
    """Return a measured length, such as a kerf or the distance of its wall from the fence.

    Parameters
    ----------
    length_mm, length_in : float or array_like, shape (n,)
        As often as measured.
    graduation_mm, graduation_in : float, optional
        The finest step of the calliper.

    Returns
    -------
    Estimate
        In the unit of the length; its `u` is NaN where neither repeats nor a graduation tell it.

    Raises
    ------
    RefusedError
        If a length is not above 0.
    """
    lengths, unit = lengths_mm("length", {"mm": length_mm, "in": length_in})
    none_below("length", lengths, unit)
    graduation = one_length_mm("graduation", {"mm": graduation_mm, "in": graduation_in})
    return mean_of(lengths, *scatter_of(lengths), graduation).times(1 / MM_PER[unit])
