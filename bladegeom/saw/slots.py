"""The slots against the arbor: one marked tooth read in front, and, turned along, behind."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from bladegeom.estimate import Answer, Estimate, Verdict, judge
from bladegeom.faults import refuse
from bladegeom.fit.squareness import squareness
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import student_t
from bladegeom.lengths import MM_PER, Length, Lengths
from bladegeom.result import Result, derived, described, number, quantity
from bladegeom.saw._gauge import Gauge, gauge_of
from bladegeom.saw._measure import (
    SIDES,
    Tolerance,
    angle_over,
    difference_of,
    in_unit,
    needed,
    one_of,
    sided,
    size,
    taken,
    to_set,
    told,
    tolerance_of,
    unknown,
    way_to,
)
from bladegeom.saw.bench import SLOTS, Bench, State, Step, decided
from bladegeom.saw.kerf import rub_angle, side_clearance
from bladegeom.tables.toml import Section

_RUNS = ("away from the blade toward the back", "away from the blade toward the front")
"""How a slot runs: positive, negative."""


@described
class SlotAlignment(Result):
    """How far the slots are from square to the arbor's axis, and what to move."""

    unit: str = quantity("mm or in, as front and back were read; of every length here")
    front: float = quantity("mean reading of the marked tooth in front of the axis")
    back: float = quantity("mean reading of the same tooth behind the axis")
    separation: float = quantity("from the one place of the tooth to the other")
    angle: Estimate = quantity(
        "error of the slots in degrees, atan(difference / separation): positive, as the "
        "difference, when the tooth stands farther from the indicator at the back",
        label="slot error",
        unit="deg",
        text=lambda one: sided(one.angle, "deg", *_RUNS),
    )
    difference: Estimate = quantity(
        "front less back, over the separation",
        label="front to back",
        text=lambda one: one.runs,
    )

    @derived("which end stands off, and what that says of the slot, in words", label="which end")
    def stands_off(self) -> str:
        if self.difference.value == 0:
            return "front and back read the same"
        if not self.established:
            return "which end stands off is not established"
        end = "back" if self.difference.value > 0 else "front"
        return (
            f"at the {end} the tooth stands {size(self.difference, self.unit)} farther from the "
            f"indicator: the slot runs away from the blade toward the {end}"
        )

    @property
    def runs(self) -> str:
        """How the slot runs beside the blade, in words."""
        return f"{sided(self.difference, self.unit, *_RUNS)}, over {self._over}"

    gauge: Gauge = quantity("of the indicator", inline=True)
    end_float: float | None = quantity("how far the arbor can be pushed along its axis")
    tolerance: float | None = quantity("of the difference")
    tolerance_deg: float | None = quantity("of the angle")
    verdict: Verdict | None = quantity(
        "within, out or cannot tell; none without a tolerance",
        label="verdict",
        text=lambda one: f"{one.verdict}: tolerance {one._allowed}" if one.verdict else "",
    )
    readings_needed: int | None = quantity(
        "how many readings at each end, or of each place, would decide where the verdict cannot be "
        "told, if they scatter alike; none where it is told, or more readings would not decide"
    )
    side: str | None = quantity(
        "left or right: side of the blade with the indicator, as the operator sees it"
    )
    moved: str = quantity("table or trunnion: what is turned to correct")
    pivot: str = quantity("front or back: the bolt that stays")
    lever: float = quantity("from the pivot bolt to where the movement is measured")
    move: Estimate = quantity(
        "how far the end away from the pivot is to be moved there, positive the way in which the "
        "indicator points"
    )

    @derived("what to move, how far, and which way, in words", label="correction")
    def correction(self) -> str:
        if self.verdict == "within":
            return "Within the tolerance: nothing needs moving; what was read is what is left."
        if not self.established:
            return "No difference to correct is established: move nothing yet."
        end = "back" if self.pivot == "front" else "front"
        by = to_set(self.move.value, self.unit, self.gauge.graduation)
        return (
            f"Leave the {self.pivot} bolt as the pivot. {self.lever:.6g} {self.unit} from it, move "
            f"the {end} of the {self.moved} {by} {self._way()}."
        )

    @derived("how far to move, with its doubt", key="", label="to be moved")
    def _to_be_moved(self) -> str:
        if not self.established:
            return ""
        by = self.move.times(math.copysign(1.0, self.move.value))
        return f"{by.text(self.unit)} at {self.lever:.6g} {self.unit} from the pivot"

    @derived("what the difference does to a board, in words", label="in the wood")
    def in_the_wood(self) -> str:
        if not self.established:
            return "the rear teeth follow the front teeth, as far as the readings tell"
        return (
            f"a board is cut again by the rear teeth, on one face, by up to "
            f"{size(self.difference, self.unit)} over {self._over} of blade"
        )

    plate_worst_deg: float | None = quantity(
        "by how much the same check, read on the plate at two places of a blade that is not "
        "turned, would be wrong at the worst rotation, in degrees; none without a fit, the upper "
        "95 % limit where the wobble is not resolved",
        label="on the plate",
        text=lambda one: _on_the_plate(one),
    )
    plate_worst: float | None = quantity("the same over the separation")
    plate_rms_deg: float | None = quantity("root mean square of the same over all rotations")
    remarks: tuple[str, ...] = quantity("what the reader should know", key="warnings")

    @property
    def established(self) -> bool:
        """Whether the 95 % limits leave no doubt which end stands off."""
        return told(self.difference)

    @property
    def _over(self) -> str:
        return f"{self.separation:g} {self.unit}"

    @property
    def _allowed(self) -> str:
        if self.tolerance is None:
            return f"{self.tolerance_deg:g} deg"
        return f"{self.tolerance:g} {self.unit} over {self._over}"

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
        return way_to(self.side, not along, seen)

    def _title(self) -> str:
        return "Slots against the arbor"


def _on_the_plate(one: SlotAlignment) -> str:
    if one.plate_worst_deg is None:
        return ""
    if math.isnan(one.plate_worst_deg):
        return "wrong by an amount that is not known: no graduation is stated"
    return (
        f"read at two places of the plate without turning the blade: wrong by up to "
        f"{one.plate_worst_deg:.2g} deg, {one.plate_worst:.2g} {one.unit} over {one._over} (rms "
        f"over all rotations {one.plate_rms_deg:.2g} deg)"
    )


def slot_alignment(
    front: Lengths,
    back: Lengths,
    *,
    separation: Length,
    graduation: Length | None = None,
    repeatability: Length | None = None,
    end_float: Length | None = None,
    side: str | None = None,
    moved: str = "table",
    pivot: str = "front",
    lever: Length | None = None,
    tolerance: Tolerance | None = None,
    fit: WobbleFit | None = None,
) -> SlotAlignment:
    """Return how far the slots are from square to the arbor's axis, and what to move.

    An indicator that rides in a slot reads one marked tooth in front of the axis; then the blade is
    turned until the same tooth stands behind it, and the indicator is slid along. The path of a
    tooth lies square to the axis however the blade wobbles, so ``angle = atan((front - back) /
    separation)`` is free of wobble; it is positive where the tooth stands off at the back.

    Turned by that angle, the two are parallel: the free end of the table goes ``lever tan(angle)``
    the way in which the indicator points where the pivot is in front, and the other way where it is
    behind; the trunnion, which carries the blade, goes opposite to the table.

    Parameters
    ----------
    front, back : lengths, such as ``"12.0 12.5 thou"`` or ``([12.0, 12.5], "thou")``
        Readings at each end, as often as taken; both in one unit.
    separation : length, such as ``"8 in"`` or ``(8, "in")``
    graduation : length, optional
        Of the indicator; without it, only repeats tell the doubt.
    repeatability : length, optional
        Of the indicator: standard deviation of a reading that is repeated. If not given, that of
        the blade's readings where `fit` has the same graduation, else a cautious one.
    end_float : length, optional
        How far the arbor can be pushed along its axis: at each end the tooth may stand anywhere in
        it (a rectangle, GUM 4.3.7).
    side : {"left", "right"}, optional
        Of the blade, on which the indicator stands, as seen by the operator from the front.
    moved : {"table", "trunnion"}
        What is turned to correct, about the `pivot`: the bolt in ``front`` or at the ``back``.
    lever : length, optional
        From the pivot bolt to where the movement is measured; the separation if not given.
    tolerance : length or degrees, optional
        Of the difference between front and back over the separation, ``"1 thou"``; or of the angle,
        ``"0.02 deg"``.
    fit : WobbleFit, optional
        Of the blade on the saw: tells how well its indicator repeats, and by how much the same
        check on its plate would be wrong.

    Raises
    ------
    RefusedError
        If something is missing or cannot be; also for a fit without a ring radius.
    """
    (at_front, at_back), unit = taken({"front": front, "back": back})
    apart = needed(unit, "separation", separation)
    end_play = in_unit(unit, "end_float", end_float)
    arm = in_unit(unit, "lever", lever) or apart
    gauge = gauge_of(unit, graduation, repeatability, at_front, at_back, fit=fit)
    if side is not None:
        one_of("side", side, SIDES)
    one_of("moved", moved, ("table", "trunnion"))
    one_of("pivot", pivot, ("front", "back"))
    allowed, allowed_deg = tolerance_of(unit, tolerance)

    at_each_end = Estimate(0.0, (end_play or 0.0) / math.sqrt(12))

    def with_float(read: Estimate) -> Estimate:
        return read.plus(at_each_end, at_each_end)

    read, line = difference_of(at_front, at_back, gauge)
    difference = with_float(read)
    if abs(difference.value) >= apart:
        raise refuse(
            f"front and back differ by {abs(difference.value):g} {unit}, and the separation "
            f"is only {apart:g} {unit}",
            "check the units and the decimal points",
            value=difference.value,
            column="separation",
        )
    largest = allowed
    if allowed_deg is not None:
        largest = apart * math.tan(math.radians(allowed_deg))
    needed_readings = line.readings_needed(
        lambda again: decided(with_float(again.rise([1.0])), largest)
    )
    verdict = difference.verdict(largest)
    remarks = [*line.gauge.remarks, *_remarks(difference, end_play)]
    if largest is not None and verdict == "cannot tell" and math.isfinite(difference.u):
        remarks.insert(0, _what_would_tell(difference, largest, unit, needed_readings, end_play))
    # Whatever else is judged against the slots shares their doubt.
    angle = angle_over(difference, apart)
    angle = angle.caused_by(line, angle.u)
    along = (moved == "table") == (pivot == "front")
    worst = None if fit is None else squareness(fit, away_deg=0.0).worst.value
    return SlotAlignment(
        unit=unit,
        front=float(at_front.mean()),
        back=float(at_back.mean()),
        separation=apart,
        difference=difference,
        angle=angle,
        gauge=line.gauge,
        readings_needed=needed_readings,
        end_float=end_play,
        side=side,
        moved=moved,
        pivot=pivot,
        lever=arm,
        move=difference.times(arm / apart * (1 if along else -1)),
        tolerance=allowed,
        tolerance_deg=allowed_deg,
        verdict=verdict,
        plate_worst_deg=worst,
        plate_worst=None if worst is None else apart * math.tan(math.radians(worst)),
        plate_rms_deg=None if worst is None else worst / math.sqrt(2),
        remarks=tuple(remarks),
    )


def _remarks(difference: Estimate, end_float: float | None) -> list[str]:
    remarks = ["Touch the same place of the same tooth: a relieved face reads otherwise elsewhere."]
    remarks += unknown(difference)
    if end_float is None:
        remarks.append(
            "End float of the arbor is not stated and not in the doubt: push the arbor the same "
            "way for every reading, or state end_float."
        )
    return remarks


def _what_would_tell(
    difference: Estimate, allowed: float, unit: str, times: int | None, end_float: float | None
) -> str:
    """Say how far the doubt must come down, and how many readings bring it there."""
    least = abs(allowed - abs(difference.value))
    reach, limit = (f"{number(one, least)} {unit}" for one in (difference.reach, least))
    said = f"Cannot tell: the 95 % doubt of the difference, {reach}, must come down to {limit}."
    if least < difference.u / 100:
        said = "Cannot tell: the difference is just the tolerance."
    if times is not None:
        again = f"{times} readings at each end"
        return f"{said} {again} would tell what to do, if they scatter alike."
    alone = student_t(0.95, math.inf) * (end_float or 0.0) / math.sqrt(6)
    if alone < least:
        return f"{said} More readings hardly bring it there: read with a finer dial."
    makes = f"{number(alone, difference.u)} {unit}"
    return (
        f"{said} Repeats are not enough, the end float alone makes {makes}: "
        "push the arbor the same way for every reading."
    )


def slots_step(bench: Bench, section: Section) -> Step:
    """Return the step of the slots, and leave what they are out by on the bench."""
    result = slot_alignment(**section.given(), fit=bench.fit)
    few = min(len(section.get(end)[0]) for end in ("front", "back")) < 3
    unsure = few and result.verdict == "cannot tell"
    times, known = result.readings_needed, math.isfinite(result.difference.u)
    step = bench.step(
        "slots",
        "Slots",
        result,
        result.difference,
        again=_again(known, max(times or 3, 3) if few or times else None),
        found=(result.runs, *_rubbing(bench, result)),
        moves=(SLOTS,),
        state="read again" if unsure else None,
        verdict=result.verdict,
        finer=known and times is None and not few,
    )
    bench.slots, bench.slots_state = result, step.state
    return replace(step, stand="one marked tooth")


def _again(known: bool, times: int | None) -> str:
    """Say how often to read the slots until it can be told what to do."""
    if not known:
        return "Read the marked tooth three times at each end, and state the graduation."
    if times is None:
        return (
            "It cannot be told so, however often the tooth is read: push the arbor one way every "
            "time, and use a finer indicator."
        )
    return f"Read the marked tooth {times} times at each end: then it can be told."


def slots_to_tell(bench: Bench, state: Callable[[SlotAlignment], State]) -> str:
    """Say how often to read the slots for a part whose state hangs on them; empty if in vain."""
    section = bench.held.one("slots")
    if section is None or not section.read:
        return ""
    given = section.in_unit(bench.unit).given() | {"fit": bench.fit}
    for times in (2, 3, 4, 5):
        read = {end: (list(given[end][0]) * times, given[end][1]) for end in section.read}
        if state(slot_alignment(**given | read)) != "read again":
            often = max(3, times * min(len(given[end][0]) for end in section.read))
            return (
                f"The doubt of the slots hides it: read their marked tooth {often} times at each "
                "end, then this again."
            )
    return ""


_RUBS: dict[Answer, str] = {
    "yes": "the plate does not rub",
    "no": "the plate rubs behind the front teeth",
    "cannot tell": "whether the plate rubs cannot be told",
}


def _rubbing(bench: Bench, slots: SlotAlignment) -> list[str]:
    """Say whether the plate rubs in the cut, where blade and height tell."""
    height = bench.stated("blade", "height")
    blade = None if bench.fit is None else bench.fit.readings.blade
    if height is None or blade is None:
        return []
    if blade.plate_mm is None or blade.tooth_width_mm is None or blade.diameter_mm is None:
        return []
    limit = float(rub_angle(blade, height))
    unit, clear = height[1], side_clearance(blade).mm / MM_PER[height[1]]
    return [
        f"{height[0]:g} {unit} high with {clear:.3g} {unit} of side clearance the plate "
        f"rubs from {limit:.2g} deg: {_RUBS[judge(slots.angle, limit)]}"
    ]
