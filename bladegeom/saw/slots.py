"""The slots against the arbor: one marked tooth read in front, and, turned along, behind."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from numpy.typing import ArrayLike

from bladegeom.estimate import Estimate, Verdict
from bladegeom.faults import refuse
from bladegeom.fit.squareness import squareness
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import student_t
from bladegeom.lengths import MM_PER, lengths_mm, one_length_mm, one_unit
from bladegeom.result import Result, Row, number
from bladegeom.saw.taken import (
    DOUBT_UNKNOWN,
    angle_over,
    difference_of,
    needed_mm,
    one_of,
    size,
    told,
)


@dataclass(frozen=True, eq=False, repr=False)
class SlotAlignment(Result):
    """How far the slots are from square to the arbor's axis, and what to move.

    Attributes
    ----------
    unit : {"mm", "in"}
        In which front and back were read; of every length here.
    front, back : float
        Mean readings.
    separation : float
        From the one place of the tooth to the other.
    difference : Estimate
        Front less back, over the separation.
    angle : Estimate
        Degrees, ``atan(difference / separation)``. Positive, as the difference, when the tooth
        stands farther from the indicator at the back.
    graduation, end_float : float or None
    side : {"left", "right"} or None
        Of the blade, on which the indicator stands, as the operator sees it from the front.
    moved : {"table", "trunnion"}
    pivot : {"front", "back"}
    lever : float
        From the pivot bolt to where the movement is measured.
    move : Estimate
        How far the end away from the pivot is to be moved there; positive the way in which the
        indicator points.
    tolerance : float or None
        Of the difference.
    tolerance_deg : float or None
        Of the angle.
    verdict : {"within", "out", "cannot tell"} or None
        None without a tolerance.
    plate_worst_deg, plate_worst : float or None
        By how much the same check, read on the plate at two places of a blade that is not turned,
        would be wrong at the worst rotation: degrees, and over the separation. None without a fit;
        the upper 95 % limit where the wobble is not resolved.
    plate_rms_deg : float or None
        Root mean square of the same over all rotations.
    remarks : tuple of str
    """

    unit: str
    front: float
    back: float
    separation: float
    difference: Estimate
    angle: Estimate
    graduation: float | None
    end_float: float | None
    side: str | None
    moved: str
    pivot: str
    lever: float
    move: Estimate
    tolerance: float | None
    tolerance_deg: float | None
    verdict: Verdict | None
    plate_worst_deg: float | None
    plate_worst: float | None
    plate_rms_deg: float | None
    remarks: tuple[str, ...]

    @property
    def angle_deg(self) -> float:
        """Degrees from square to the arbor; positive when the tooth stands off at the back."""
        return self.angle.value

    @property
    def angle_u_deg(self) -> float:
        """Standard uncertainty (k = 1) of the angle in degrees; NaN where nothing tells it."""
        return self.angle.u

    @property
    def established(self) -> bool:
        """Whether the 95 % limits leave no doubt which end stands off, as far as doubt is known."""
        return told(self.difference)

    @property
    def stands_off(self) -> str:
        """Which end stands off, and what that says of the slot, in words."""
        if self.difference.value == 0:
            return "front and back read the same"
        if not self.established:
            return "which end stands off is not established: the limits include 0"
        end = "back" if self.difference.value > 0 else "front"
        return (
            f"at the {end} the tooth stands {size(self.difference, self.unit)} farther from the "
            f"indicator: the slot runs away from the blade toward the {end}"
        )

    @property
    def correction(self) -> str:
        """What to move, how far, and which way, in words."""
        if self.verdict == "within":
            return "Within the tolerance: nothing needs moving; what was read is what is left."
        if not self.established:
            return "No difference to correct is established: move nothing yet."
        end = "back" if self.pivot == "front" else "front"
        return (
            f"Leave the {self.pivot} bolt as the pivot. {self.lever:g} {self.unit} from it, move "
            f"the {end} of the {self.moved} {size(self.move, self.unit)} {self._way()}."
        )

    @property
    def in_the_wood(self) -> str:
        """What the difference does to a board, in words."""
        if self.difference.value == 0:
            return "the rear teeth follow the front teeth"
        return (
            f"a board is cut again by the rear teeth, on one face, by up to "
            f"{size(self.difference, self.unit)} over {self._over} of blade"
        )

    @property
    def _over(self) -> str:
        return f"{self.separation:g} {self.unit}"

    def _way(self) -> str:
        along = self.move.value > 0
        if self.moved == "table":
            seen = (
                "the way the indicator points, its slot toward the blade"
                if along
                else "against the way the indicator points, its slot away from the blade"
            )
        else:
            seen = "away from the indicator" if along else "toward the indicator"
        if self.side is None:
            return seen
        return f"to the {'right' if along == (self.side == 'left') else 'left'} ({seen})"

    def _title(self) -> str:
        return "Slots against the arbor"

    def _rows(self) -> Sequence[Row]:
        unit = self.unit
        allowed = ""
        if self.tolerance is not None:
            allowed = f"{self.tolerance:g} {unit} over {self._over}"
        elif self.tolerance_deg is not None:
            allowed = f"{self.tolerance_deg:g} deg"
        return [
            Row("unit", unit),
            Row("front", self.front),
            Row("back", self.back),
            Row("separation", self.separation),
            *self.angle.rows("angle", "_deg", "slot error", self.angle.text("deg")),
            *self.difference.rows(
                "difference",
                "",
                "front less back",
                f"{self.difference.text(unit)} over {self._over}",
            ),
            Row("stands_off", self.stands_off, "which end", self.stands_off),
            Row("graduation", self.graduation),
            Row("end_float", self.end_float),
            Row("tolerance", self.tolerance),
            Row("tolerance_deg", self.tolerance_deg),
            Row(
                "verdict",
                self.verdict,
                "verdict" if self.verdict else "",
                f"{self.verdict}: tolerance {allowed}",
            ),
            Row("side", self.side),
            Row("moved", self.moved),
            Row("pivot", self.pivot),
            Row("lever", self.lever),
            *self.move.rows("move", ""),
            Row("correction", self.correction, "correction", self.correction),
            Row("", None, "to be moved" if self.established else "", self._move_words()),
            Row("in_the_wood", self.in_the_wood, "in the wood", self.in_the_wood),
            Row("plate_worst_deg", self.plate_worst_deg, *self._plate()),
            Row("plate_worst", self.plate_worst),
            Row("plate_rms_deg", self.plate_rms_deg),
            Row("warnings", list(self.remarks)),
        ]

    def _move_words(self) -> str:
        size = self.move if self.move.value > 0 else self.move.times(-1.0)
        return f"{size.text(self.unit)} at {self.lever:g} {self.unit} from the pivot"

    def _plate(self) -> tuple[str, str]:
        if self.plate_worst_deg is None or self.plate_worst is None or self.plate_rms_deg is None:
            return "", ""
        if math.isnan(self.plate_worst_deg):
            return "on the plate", "wrong by an amount that is not known: no graduation is stated"
        worst, rms = self.plate_worst_deg, self.plate_rms_deg
        return (
            "on the plate",
            f"read at two places of the plate without turning the blade: wrong by up to "
            f"{worst:.2g} deg, {self.plate_worst:.2g} {self.unit} over {self._over} (rms over all "
            f"rotations {rms:.2g} deg)",
        )

    def _remarks(self) -> Sequence[str]:
        return self.remarks


def slot_alignment(
    *,
    front_mm: ArrayLike | None = None,
    front_in: ArrayLike | None = None,
    back_mm: ArrayLike | None = None,
    back_in: ArrayLike | None = None,
    separation_mm: float | None = None,
    separation_in: float | None = None,
    graduation_mm: float | None = None,
    graduation_in: float | None = None,
    end_float_mm: float | None = None,
    end_float_in: float | None = None,
    side: str | None = None,
    moved: str = "table",
    pivot: str = "front",
    lever_mm: float | None = None,
    lever_in: float | None = None,
    tolerance_mm: float | None = None,
    tolerance_in: float | None = None,
    tolerance_deg: float | None = None,
    fit: WobbleFit | None = None,
) -> SlotAlignment:
    """Return how far the slots are from square to the arbor's axis, and what to move.

    An indicator that rides in a slot reads one marked tooth in front of the axis; then the blade is
    turned until the same tooth stands behind it, and the indicator is slid along. The path of a
    tooth lies square to the axis however the blade wobbles, so ``angle = atan((front - back) /
    separation)`` is free of wobble. Readings grow as the tooth comes nearer the indicator: where
    they are smaller at the back, the tooth stands off there and the angle is positive.

    Turned by that angle, the two are parallel: the free end of the table goes ``lever tan(angle)``
    the way in which the indicator points (toward the blade) where the pivot is in front, and the
    other way where it is behind; the trunnion, which carries the blade, goes opposite to the table.

    Parameters
    ----------
    front_mm, front_in, back_mm, back_in : array_like, shape (n,)
        Readings at each end, as often as taken; all in one unit.
    separation_mm, separation_in : float
        From the one place of the tooth to the other.
    graduation_mm, graduation_in : float, optional
        Of the indicator; without it, only repeats tell the doubt.
    end_float_mm, end_float_in : float, optional
        How far the arbor can be pushed along its axis: at each end the tooth may stand anywhere in
        it (a rectangle, GUM 4.3.7).
    side : {"left", "right"}, optional
        Of the blade, on which the indicator stands, as seen by the operator from the front.
    moved : {"table", "trunnion"}
        What is turned to correct.
    pivot : {"front", "back"}
        The bolt that stays.
    lever_mm, lever_in : float, optional
        From the pivot bolt to where the movement is measured; the separation if not given.
    tolerance_mm, tolerance_in : float, optional
        Of the difference between front and back over the separation.
    tolerance_deg : float, optional
        Of the angle, instead.
    fit : WobbleFit, optional
        Of the blade on the saw: tells by how much the same check on its plate would be wrong.

    Returns
    -------
    SlotAlignment

    Raises
    ------
    RefusedError
        If something is missing, given twice, or cannot be; also for a fit without a ring radius.
    """
    front, front_unit = lengths_mm("front", {"mm": front_mm, "in": front_in})
    back, back_unit = lengths_mm("back", {"mm": back_mm, "in": back_in})
    unit = one_unit({"front": front_unit, "back": back_unit})
    per = 1 / MM_PER[unit]
    separation = needed_mm("separation", {"mm": separation_mm, "in": separation_in})
    graduation = one_length_mm("graduation", {"mm": graduation_mm, "in": graduation_in})
    end_float = one_length_mm("end_float", {"mm": end_float_mm, "in": end_float_in})
    lever = one_length_mm("lever", {"mm": lever_mm, "in": lever_in}) or separation
    tolerance = one_length_mm("tolerance", {"mm": tolerance_mm, "in": tolerance_in})
    if side is not None:
        one_of("side", side, ("left", "right"))
    one_of("moved", moved, ("table", "trunnion"))
    one_of("pivot", pivot, ("front", "back"))
    if tolerance is not None and tolerance_deg is not None:
        raise refuse("the tolerance is given twice", "give a length or degrees", column="tolerance")
    if tolerance_deg is not None and not 0 < tolerance_deg < 90:
        raise refuse(
            f"the tolerance is {tolerance_deg:g} deg", "give degrees above 0", value=tolerance_deg
        )

    # Counted from the first of each: equal readings then have no scatter, not binary dust.
    difference = difference_of(front - front[0], back - back[0], graduation).plus(
        Estimate(float(front[0] - back[0]), 0.0),
        Estimate(0.0, (end_float or 0.0) / math.sqrt(12)),
        Estimate(0.0, (end_float or 0.0) / math.sqrt(12)),
    )
    if abs(difference.value) >= separation:
        raise refuse(
            f"front and back differ by {abs(difference.value) * per:g} {unit}, and the separation "
            f"is only {separation * per:g} {unit}",
            "check the units and the decimal points",
            value=difference.value * per,
            column="separation",
        )
    along = (moved == "table") == (pivot == "front")
    allowed = tolerance
    if tolerance_deg is not None:
        allowed = separation * math.tan(math.radians(tolerance_deg))
    verdict = None if allowed is None else difference.verdict(allowed)
    remarks = _remarks(len(front) + len(back) > 2, math.isfinite(difference.u), end_float)
    if allowed is not None and verdict == "cannot tell" and math.isfinite(difference.u):
        remarks.insert(0, _what_would_tell(difference, end_float or 0.0, allowed, unit))
    worst = None if fit is None else squareness(fit, away_deg=0.0).worst.value
    return SlotAlignment(
        unit=unit,
        front=float(front.mean()) * per,
        back=float(back.mean()) * per,
        separation=separation * per,
        difference=difference.times(per),
        angle=angle_over(difference, separation),
        graduation=None if graduation is None else graduation * per,
        end_float=None if end_float is None else end_float * per,
        side=side,
        moved=moved,
        pivot=pivot,
        lever=lever * per,
        move=difference.times(per * lever / separation * (1 if along else -1)),
        tolerance=None if tolerance is None else tolerance * per,
        tolerance_deg=tolerance_deg,
        verdict=verdict,
        plate_worst_deg=worst,
        plate_worst=None if worst is None else separation * per * math.tan(math.radians(worst)),
        plate_rms_deg=None if worst is None else worst / math.sqrt(2),
        remarks=tuple(remarks),
    )


def _remarks(repeated: bool, known: bool, end_float: float | None) -> list[str]:
    remarks = ["Touch the same place of the same tooth: a relieved face reads otherwise elsewhere."]
    if not known:
        remarks.append(DOUBT_UNKNOWN)
    elif not repeated:
        remarks.append("Each end was read once: the doubt rests on the graduation, not on repeats.")
    if end_float is None:
        remarks.append(
            "End float of the arbor is not stated and not in the doubt: push the arbor the same "
            "way for every reading, or state end_float."
        )
    return remarks


def _what_would_tell(difference: Estimate, end_float: float, allowed: float, unit: str) -> str:
    """Say how far the doubt must come down, and whether repeats can bring it there."""
    needed = abs(allowed - abs(difference.value))
    floats = student_t(0.95, math.inf) * end_float / math.sqrt(6)
    reach, least, alone = (
        f"{number(one / MM_PER[unit], needed / MM_PER[unit])} {unit}"
        for one in (difference.reach, needed, floats)
    )
    said = f"Cannot tell: the 95 % doubt of the difference, {reach}, must come down to {least}."
    if floats < needed:
        return (
            f"{said} Repeat the readings at both ends; where the dial repeats itself, only a finer "
            "one helps."
        )
    return (
        f"{said} Repeats are not enough, the end float alone makes {alone}: push the arbor the "
        "same way for every reading."
    )
