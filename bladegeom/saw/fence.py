"""The fence along the slot: is it straight, and does it toe in."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from bladegeom.estimate import Estimate, Verdict
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import MM_PER, Length, Lengths, lengths_mm
from bladegeom.result import Result, derived, described, number, quantity
from bladegeom.saw._gauge import Gauge, gauge_of
from bladegeom.saw._measure import (
    SIDES,
    Plane,
    Side,
    Tolerance,
    again_at,
    angle_over,
    one_of,
    rise_over,
    sided,
    taken,
    to_set,
    told,
    tolerance_of,
    unknown,
)
from bladegeom.saw.bench import (
    SLOTS,
    Bench,
    Slots,
    State,
    Step,
    decided,
    state_of,
    with_slots,
)
from bladegeom.saw.slots import slots_to_tell
from bladegeom.tables.toml import Section

_TOES = ("of toe-in, nearer to the blade at the back", "of toe-out, open at the back")
"""How a fence stands: positive, negative."""

_CAUTION = "it closes on the blade at the back, where the board can be pinched and thrown back."
# Common practice, no source: a fence is set parallel or a hair open at the back, never closing.
_SET = "Set it parallel, or a hair open at the back."
_WAIT = "Cut nothing along it before the slots and the fence are set."


@described
class FenceAlignment(Result):
    """How a fence stands along the slot, and to the blade."""

    toe: Estimate = quantity(
        "toe-in of the fence to the slot, in degrees: it comes nearer to the blade toward the back",
        label="to the slot",
        unit="deg",
        text=lambda one: sided(one.toe, "deg", *_TOES),
    )
    toe_to_blade: Estimate | None = quantity(
        "the same to the plane square to the arbor; none where the slot is not known",
        label="to the blade",
        unit="deg",
        text=lambda one: sided(one.toe_to_blade, "deg", *_TOES) if one.toe_to_blade else "",
    )

    @derived(
        "the toe that counts, over the length that was read",
        parts=("", "_u"),
        label="over the read length",
        text=lambda one: one._toe(one.judged),
    )
    def toe_over(self) -> Estimate:
        return rise_over(self.judged, self.read_length)

    @derived(
        "how far to move the back end of the fence over the length that was read, positive away "
        "from the blade: by the most that it may toe in, so that none is left"
    )
    def move(self) -> float:
        return self.toe_over.high if math.isfinite(self.toe_over.u) else self.toe_over.value

    read_length: float = quantity("from the first to the last place along the slot, in `unit`")
    straightness: float | None = quantity(
        "highest less lowest reading about the line; none from two places",
        label="straightness",
        text=lambda one: f"{one._straight} about its line" if one._straight else "",
    )
    unit: str = quantity("mm or in, as the readings were given")
    tolerance_deg: float | None = quantity(
        "the largest toe accepted; that of a length is taken over `read_length`"
    )
    gauge: Gauge = quantity("of the indicator", inline=True)
    readings_needed: int | None = quantity(
        "how many readings at each end, or of each place, would decide where the verdict cannot be "
        "told, if they scatter alike; none where it is told, or more readings would not decide"
    )

    @derived("of the toe that counts; none without a tolerance, or where it waits for the slot")
    def verdict(self) -> Verdict | None:
        return None if self.waits else self.judged.verdict(self.tolerance_deg)

    @derived("which way to move the back end of the fence, and how far", label="what to do")
    def correction(self) -> str:
        if self.waits:
            return (
                "After the slots: read the fence again; slot and blade are one once they are true."
            )
        if not told(self.judged):
            return "Leave the fence: no toe can be told from the doubt of the readings."
        way = "away from" if self.judged.value > 0 else "toward"
        return (
            f"Move the back end of the fence {way} the blade by "
            f"{to_set(self.move, self.unit, self.gauge.graduation)} over {self.read_length:.6g} "
            f"{self.unit} of its length."
        )

    waits: bool = False
    """Whether the slot is moved, or read again, first. What the fence is off by against the blade
    is then corrected with the slot, and must not be corrected here too: no verdict, no move."""

    @property
    def judged(self) -> Estimate:
        """The toe that counts: to the blade where that is known, else to the slot."""
        return self.toe if self.toe_to_blade is None else self.toe_to_blade

    @property
    def state(self) -> State:
        """What is to be done; a toe-in is opened even where it is within the tolerance."""
        if self.waits:
            return "wait"
        toes_in = self.verdict == "within" and self.judged.value > 0 and told(self.judged)
        return "move" if toes_in else state_of(self.judged, self.verdict)

    @property
    def found(self) -> tuple[str, ...]:
        """What was found, in words."""
        said = [f"against the slot {self._toe(self.toe)}"]
        if self.toe_to_blade is not None:
            said.insert(0, f"against the blade {self._toe(self.toe_to_blade)}")
        return (*said, f"straight to {self._straight}") if self._straight else tuple(said)

    @property
    def _straight(self) -> str:
        if self.straightness is None:
            return ""
        return to_set(self.straightness, self.unit, self.gauge.graduation)

    def _toe(self, toe: Estimate) -> str:
        over = sided(rise_over(toe, self.read_length), self.unit, *_TOES)
        return f"{over}, over {self.read_length:.6g} {self.unit}"

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader should know."""
        said = []
        if self.judged.value > 0:
            doubt = "toes in" if told(self.judged) else "may toe in"
            then = _WAIT if self.waits else _SET
            said.append(f"Kickback: the fence {doubt}: {_CAUTION} {then}")
        if self.toe_to_blade is None:
            said.append(
                "Judged against the slot only: how the slot stands to the blade, or on which side "
                "of the blade indicator and fence stood, is not stated."
            )
        return (*said, *self.gauge.remarks, *unknown(self.judged))

    def _title(self) -> str:
        verdict = "" if self.verdict is None else f": {self.verdict}"
        return f"Fence along the slot{verdict}"


def fence_alignment(
    *,
    along: Lengths,
    readings: Lengths,
    graduation: Length | None = None,
    repeatability: Length | None = None,
    tolerance: Tolerance | None = None,
    slot: Slots | None = None,
    fence_side: Side | None = None,
    fit: WobbleFit | None = None,
) -> FenceAlignment:
    """Return how a fence stands along the slot, by the least squares line of its readings.

    An indicator carried in the slot stands on the blade's side of the fence and touches its face.
    The toe is ``atan`` of the slope of its readings. Its doubt rests on how well a reading repeats
    and on the scatter about the line, which holds the fence's own waves too. A fence read at two
    places is one reading each.

    Against the plane square to the arbor, a slot that runs away from the blade toward the back
    takes its angle off the toe of a fence on its own side of the blade, for there the indicator
    backs away from the blade and toward the fence; to a fence on the other side it adds it.

    Parameters
    ----------
    along : lengths, such as ``"-12 0 12 in"`` or ``([-12, 0, 12], "in")``
        Places along the slot, growing from front to back; two at least, three for the scatter.
    readings : lengths
        Growing as the fence comes nearer to the indicator.
    graduation : length, optional
        Of the indicator.
    repeatability : length, optional
        Of the indicator: standard deviation of a reading that is repeated. If not given, that of
        the blade's readings where `fit` has the same graduation, else a cautious one.
    tolerance : length or degrees, optional
        Largest toe accepted, either way: ``"3 thou"`` over the read length, or ``"0.01 deg"``.
    slot : SlotAlignment, optional
        Of the slot in which the indicator was carried.
    fence_side : {"left", "right"}, optional
        The side of the blade on which the fence stands.
    fit : WobbleFit, optional
        Of the blade on the saw: tells how well its indicator repeats.

    Raises
    ------
    RefusedError
        If places and readings do not go together, or all places are the same.
    """
    (read,), unit = taken({"readings": readings}, least=2)
    places = lengths_mm("along", along, least=2)[0] / MM_PER[unit]
    if len(places) != len(read):
        raise refuse(
            f"there are {len(places)} places along the slot and {len(read)} readings",
            "give one reading for each place",
            value=len(read),
            column="readings",
        )
    read_length = float(np.ptp(places))
    if read_length == 0:
        raise refuse(
            "all places along the slot are the same",
            "read the fence at its front and at its back at least",
            value=float(places[0]),
            column="along",
        )
    if fence_side is not None:
        one_of("fence_side", fence_side, SIDES)
    gauge = gauge_of(unit, graduation, repeatability, read, fit=fit)
    line = Plane(places[:, np.newaxis], read, gauge)
    allowed, allowed_deg = tolerance_of(unit, tolerance)
    if allowed is not None:
        allowed_deg = math.degrees(math.atan(allowed / read_length))

    def judged(line: Plane) -> tuple[Estimate, Estimate | None]:
        toe = angle_over(line.rise([1.0]), 1.0)
        return toe, with_slots(toe, fence_side, slot)

    def verdict(line: Plane) -> Verdict | None:
        toe, to_blade = judged(line)
        return decided(to_blade or toe, allowed_deg)

    toe, to_blade = judged(line)
    return FenceAlignment(
        toe=toe,
        toe_to_blade=to_blade,
        read_length=read_length,
        straightness=float(np.ptp(line.off)) if len(places) > 2 else None,
        unit=unit,
        tolerance_deg=allowed_deg,
        gauge=line.gauge,
        readings_needed=line.readings_needed(verdict),
    )


def fence_step(bench: Bench, section: Section) -> Step:
    """Return the step of the fence; it waits while the slots are to be moved or read again."""
    given = section.given() | {"slot": bench.slots, "fit": bench.fit}
    result = fence_alignment(**given)
    stay = bench.slots_state in (None, "leave")
    sides = bench.slots is None or result.toe_to_blade is not None
    if not (stay and sides):
        result = replace(result, waits=True)
    again, slots_again, finer = result.correction, "", False
    if result.state == "read again" and math.isfinite(result.judged.u):
        times = result.readings_needed
        if times is None:
            slots_again = slots_to_tell(
                bench, lambda slots: fence_alignment(**given | {"slot": slots}).state
            )
        finer = not (times or slots_again)
        again = slots_again or again_at("it", times)
    elif result.state == "read again":
        again = "Read it at three places or more, and state the graduation."
    step = bench.step(
        "fence",
        "Fence",
        result,
        result.judged,
        again=again,
        found=result.found,
        rests=(SLOTS,),
        state=result.state,
        verdict=result.verdict,
        finer=finer,
        reads=(SLOTS,) if slots_again else (),
    )
    if stay and not sides:
        do = (
            "Say on which side of the blade indicator and fence stood: indicator in [slots], side "
            "in [fence]."
        )
        return replace(step, state="read again", do=(do,))
    if step.state == "leave" and result.judged.high > 0:
        high = result.read_length * math.tan(math.radians(result.judged.high))
        do = (
            f"{'No toe can be told' if result.verdict is None else 'Within the tolerance'}, but a "
            f"toe-in of up to {number(high, result.toe_over.u)} {result.unit} over "
            f"{result.read_length:.6g} {result.unit} is not excluded: do not close it further, and "
            "in doubt open its back end by a hair."
        )
        return replace(step, do=(do,))
    return step
