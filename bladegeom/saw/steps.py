"""The steps of setting up a saw: each from its part of the saw's file."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from bladegeom.estimate import Estimate, Verdict
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.fit.marks import neutral_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import MM_PER
from bladegeom.result import Result, number
from bladegeom.saw.clearance import rub_angle, side_clearance
from bladegeom.saw.compare import (
    AGREE,
    CANNOT_TELL,
    DO_NOT_AGREE,
    Comparison,
    CutComparison,
    compare_test_cut,
)
from bladegeom.saw.cut import FlipTest, RoundTest, flip_test, measured_length, round_test
from bladegeom.saw.fence import fence_alignment
from bladegeom.saw.insert import insert_level
from bladegeom.saw.kerf import kerf
from bladegeom.saw.plate_reading import PlateReading, read_from_plate
from bladegeom.saw.saw_file import SawFile, Section
from bladegeom.saw.setting import Setting, setting_error
from bladegeom.saw.slots import SlotAlignment, slot_alignment
from bladegeom.saw.taken import State, size, state_of, told
from bladegeom.saw.uses import USES, how_to_set

NOT_READ = "not_read"
"""The step that names all parts without a reading."""


@dataclass(frozen=True)
class Step:
    """One step of the work.

    Attributes
    ----------
    part : str
        The part of the file it comes from, such as ``slots``; or `NOT_READ`.
    title : str
    stand : str
        Which teeth stand where; empty where no tooth matters.
    do : tuple of str
        What to do.
    found : tuple of str
        What was measured, and what is left.
    verdict : str or None
        Against the tolerance in the file: within, out, cannot tell; None without one, and for what
        waits. Of the test cut: agree, do not agree, cannot tell.
    state : {"move", "wait", "leave", "read again"} or None
        What is to be done: an error is corrected once, so that a part whose error another step
        corrects, or may correct, waits. None where nothing is to be decided.
    remarks : tuple of str
    result : Result or None
        Every number.
    """

    part: str
    title: str
    stand: str = ""
    do: tuple[str, ...] = ()
    found: tuple[str, ...] = ()
    verdict: str | None = None
    state: State | None = None
    remarks: tuple[str, ...] = ()
    result: Result | None = None

    @property
    def word(self) -> str | None:
        """The verdict, or that the step waits for another."""
        return self.verdict or ("wait" if self.state == "wait" else None)

    @property
    def summary(self) -> str:
        """The step in a line."""
        said = [self.stand, *self.found, *([self.word.upper()] if self.word else [])]
        return "; ".join(one.rstrip(".") for one in said if one)

    def to_dict(self) -> dict[str, Any]:
        """Return the step as plain values.

        A result knows only what was read of its own part: but where the step is to be moved, the
        result's own correction is not to be made, and is left out.
        """
        result = None if self.result is None else self.result.to_dict()
        if result is not None and self.state != "move" and "correction" in result:
            result["correction"] = None
        return {
            "step": self.title,
            "state": self.state,
            "stand": self.stand or None,
            "do": list(self.do),
            "found": list(self.found),
            "verdict": self.verdict,
            "result": result,
        }


@dataclass
class Bench:
    """What is known while the steps are worked out: earlier ones serve later ones.

    Attributes
    ----------
    held : SawFile
    fit : WobbleFit or None
    tilts : {"left", "right"} or None
        Where the top of the blade goes when it is set to a bevel.
    corners : dict
        Angle of the miter gauge -> what it is off by against the slot; see `PlateReading`.
    unread : list of (str, Setting)
        Parts set from the plate of which no reading is stated.
    moved : dict
        What an earlier step moves, and at which angle -> its title.
    """

    held: SawFile
    fit: WobbleFit | None
    tilts: str | None
    slots: SlotAlignment | None = None
    slots_state: State | None = None
    square: Estimate | None = None
    corners: dict[float, Estimate] = field(default_factory=dict)
    comparison: CutComparison | None = None
    checks: list[Comparison] = field(default_factory=list)
    unread: list[tuple[str, Setting]] = field(default_factory=list)
    moved: dict[tuple[str, float], str] = field(default_factory=dict)

    @property
    def side(self) -> str | None:
        """The side of the blade on which its indicator stood, if it is left or right."""
        side = "" if self.fit is None else self.fit.readings.side.strip().lower()
        return side if side in ("left", "right") else None

    def needed(self, what: str) -> WobbleFit:
        """Return the fit, or say that it is needed."""
        if self.fit is None:
            raise refuse(
                f"{what} is set against the blade, of which nothing is stated",
                'add a part [blade] with readings = "FILE.csv"',
            )
        return self.fit

    def once(self, title: str, state: State, *settings: tuple[str, float]) -> tuple[State, str]:
        """Return the state of a step, and which earlier step corrects the same error, if any."""
        if state != "move":
            return state, ""
        first = next((self.moved[one] for one in settings if one in self.moved), "")
        if first:
            return "wait", first
        self.moved |= dict.fromkeys(settings, title)
        return state, ""

    def needed_side(self, what: str) -> str:
        """Return the indicator's side, or say that it is needed."""
        if self.side is None:
            raise refuse(
                f"{what} needs to know on which side of the blade its indicator stood",
                "write left or right in the column side of the blade's readings",
            )
        return self.side


def steps_of(bench: Bench) -> list[Step]:
    """Return the steps in the order of work.

    Raises
    ------
    RefusedError
        Listing what every part that cannot be used lacks.
    """
    steps: list[Step] = []
    if bench.fit is not None and bench.fit.mistake is not None:
        first, *others = neutral_line(bench.fit).instructions
        steps.append(Step("blade", "Blade", do=(first,), found=tuple(others), state="read again"))
    faults: list[Fault] = []
    for part, work in _WORK.items():
        sections = bench.held.parts.get(part, [])
        if not sections and part in _FROM_THE_BLADE and bench.fit is not None:
            sections = [Section(part, {})]
        for section in sections:
            try:
                step = work(bench, section)
                steps += [step] if step is not None else []
            except RefusedError as error:
                faults += section.located(error)
    if faults:
        raise RefusedError(faults)
    if bench.checks:
        bench.comparison = compare_test_cut(bench.checks)
        steps.append(_compared(bench.comparison))
    if bench.unread:
        steps.append(_unread(bench))
    return steps


def _slots(bench: Bench, section: Section) -> Step:
    result = slot_alignment(
        **section.lengths("front", "back", "separation", "graduation", "end_float", "lever"),
        **section.plain("moved", "pivot"),
        **_tolerance(section),
        side=section.get("indicator"),
        fit=bench.fit,
    )
    few = min(len(section.get(end)[0]) for end in ("front", "back")) < 3
    state = state_of(result.difference, result.verdict)
    if few and result.verdict == "cannot tell":
        state = "read again"
    bench.slots, bench.slots_state = result, state
    return Step(
        "slots",
        "Slots",
        stand="one marked tooth",
        do=_advice(
            state,
            result.verdict,
            result.correction,
            "Read the marked tooth three times at each end, or more: it cannot be told yet.",
        ),
        state=state,
        found=(
            f"{result.difference.text(result.unit)} from front to back; {result.stands_off}",
            *_rubbing(bench, result),
        ),
        verdict=result.verdict,
        remarks=result.remarks,
        result=result,
    )


def _rubbing(bench: Bench, slots: SlotAlignment) -> list[str]:
    """Say whether the plate rubs in the cut, where blade and height tell."""
    section = bench.held.one("blade")
    height = None if section is None else section.get("height")
    if bench.fit is None or height is None:
        return []
    blade = bench.fit.readings.blade
    if blade.plate_mm is None or blade.tooth_width_mm is None or blade.diameter_mm is None:
        return []
    limit = float(rub_angle(blade, **{f"height_{height[1]}": height[0]}))
    clear = side_clearance(blade)
    size = clear.mm if height[1] == "mm" else clear.inch
    rubs = {
        "within": "the plate does not rub",
        "out": "the plate rubs behind the front teeth",
        "cannot tell": "whether the plate rubs cannot be told",
    }[slots.angle.verdict(limit)]
    return [
        f"{height[0]:g} {height[1]} high with {size:.3g} {height[1]} of side clearance the plate "
        f"rubs from {limit:.2g} deg: {rubs}"
    ]


def _table(bench: Bench, section: Section) -> Step | None:
    result = setting_error(
        bench.needed("the table"),
        "table",
        **section.plain("tooth"),
        **section.lengths(span="thickness"),
    )
    bevels = "" if "bevel" in bench.held.parts else " and bevels"
    title = f"Table square{bevels}"
    read = _read(bench, section, result, title)
    if read is None:
        return None
    if read.setting.line.mistake is None:
        bench.square = read.off
    return _setting_step(bench, "table", title, read, ("blade", 0.0))


def _bevel(bench: Bench, section: Section) -> Step | None:
    fit = bench.needed("a bevel")
    angle = section.get("angle")
    result = setting_error(
        fit,
        "bevel",
        **section.plain("tooth", "sides"),
        angle_deg=angle,
        **section.lengths(span="thickness"),
    )
    if "shows" in section.values:
        if bench.tilts is None:
            raise refuse(
                "a bevel that was read needs to know which way the blade tilts on this saw",
                'add tilts = "left" or "right" to [saw]',
                column="shows",
            )
        bench.needed_side("a bevel that was read")
    title = f"Bevel {angle:g} deg"
    read = _read(bench, section, result, title)
    return None if read is None else _setting_step(bench, "bevel", title, read, ("blade", angle))


def _miter_gauge(bench: Bench, section: Section) -> Step | None:
    result = setting_error(
        bench.needed("the miter gauge"),
        "miter_gauge",
        **section.plain("tooth", "sides"),
        **({"angle_deg": section.get("angle")} if "angle" in section.values else {}),
        **section.lengths(span="width"),
    )
    angle = section.get("angle", 0.0)
    title = f"Miter gauge {angle:g} deg" if angle else "Miter gauge square"
    read = _read(bench, section, result, title)
    if read is None:
        return None
    if read.to_slot is not None and result.line.mistake is None:
        bench.corners[round(result.angle_deg, 3)] = read.to_slot
    # Whether it is swung to the left or to the right is not stated.
    both = [("gauge", round(sign * result.angle_deg, 3)) for sign in (1, -1)]
    step = _setting_step(bench, "miter_gauge", title, read, *both)
    if read.to_slot is None:
        do = (
            "The corner of a board is that of gauge and slot: read the slots, in [slots]."
            if bench.slots is None
            else "Say on which side of the blade each indicator stood: side in the blade's "
            "readings, indicator in [slots]."
        )
        return replace(step, state="read again", do=(do,))
    if step.state == "read again" and bench.slots_state != "leave":
        return replace(step, state="wait", do=("After the slots: read the gauge again.",))
    return step


def _riving_knife(bench: Bench, section: Section) -> Step | None:
    result = setting_error(
        bench.needed("the riving knife"),
        "riving_knife",
        **section.plain("tooth"),
        **section.lengths(span="distance"),
    )
    read = _read(bench, section, result, "Riving knife")
    if read is None:
        return None
    step = _setting_step(bench, "riving_knife", "Riving knife, toe", read)
    if result.line.mistake is not None:
        return step
    lean = how_to_set("riving_knife", result.line)[-1]
    return replace(step, do=(*step.do, f"Its lean was not read: {lean[0].lower()}{lean[1:]}"))


def _read(bench: Bench, section: Section, setting: Setting, title: str) -> PlateReading | None:
    """Return what was read of a part; one without a reading is set down as unread."""
    shows, step = section.get("shows"), section.get("resolution")
    if shows is None:
        bench.unread.append((title, setting))
        return None
    if step is None:
        raise refuse(
            "shows stands without a resolution",
            "add resolution = ..., the finest step that the square or inclinometer shows",
            column="shows",
        )
    return read_from_plate(
        setting,
        shows=shows,
        resolution=step,
        tilts=bench.tilts,
        slots=bench.slots,
        tolerance_deg=section.get("tolerance"),
    )


def _setting_step(
    bench: Bench, part: str, title: str, read: PlateReading, *settings: tuple[str, float]
) -> Step:
    if read.setting.line.mistake is not None:
        return Step(
            part,
            title,
            stand=_stand(read.setting),
            do=("After the blade is read again: set it against the plate anew.",),
            state="wait",
            result=read,
        )
    state: State = "wait"
    if read.judged is not None:
        state, _ = bench.once(title, state_of(read.judged, read.verdict), *settings)
    again = f"Read it again, in finer steps than {read.resolution:g} deg: it cannot be told yet."
    worst = read.setting.worst
    return Step(
        part,
        title,
        stand=_stand(read.setting),
        do=_advice(state, read.verdict, read.correction, again),
        found=(*read.found, f"marks ignored: up to {number(worst.value, worst.u)} deg"),
        verdict=read.verdict,
        state=state,
        result=read,
    )


def _unread(bench: Bench) -> Step:
    """Return the teeth to stand up for all parts of which nothing was read."""
    stands: dict[str, list[str]] = {}
    for title, setting in bench.unread:
        stands.setdefault(_stand(setting), []).append(title.lower())
    worst = bench.unread[0][1].worst
    said = [f"{stand}: {', '.join(titles)}" for stand, titles in stands.items()]
    said.append(f"marks ignored: up to {number(worst.value, worst.u)} deg")
    gauge = any(setting.use == "miter_gauge" for _, setting in bench.unread)
    remarks = []
    if gauge and bench.slots is not None and told(bench.slots.angle):
        remarks.append(
            "A miter gauge set square to the plate cuts corners out by what the slots are out "
            f"then: {size(bench.slots.angle, 'deg')} now."
        )
    return Step(
        NOT_READ,
        "Not read, so not judged",
        found=("; ".join(said),),
        do=("Set each against the plate, clear of the teeth, and write down what it then shows.",),
        remarks=tuple(remarks),
    )


def _stand(result: Setting) -> str:
    """Return which teeth stand where, in the fewest words."""
    if result.line.marked is None:
        return "any tooth" if result.line.any_rotation else "no teeth known yet"
    first, second = (end.tooth for end in result.line.marked)
    level = f"{first} in front, {second} behind"
    if result.use == "riving_knife":
        return f"toe: {level}; lean: {first} up, {second} down"
    return f"{first} up, {second} down" if USES[result.use].upright else level


def _fence(bench: Bench, section: Section) -> Step:
    result = fence_alignment(
        **section.lengths("along", "graduation", reading="readings"),
        **_tolerance(section),
        slot=bench.slots,
        fence_side=section.get("side"),
    )
    stay = bench.slots_state in (None, "leave")
    sides = bench.slots is None or result.toe_to_blade is not None
    if not (stay and sides):
        result = replace(result, waits=True)
    again = "Read it again, at more places: it cannot be told yet."
    do = _advice(
        result.state,
        result.verdict,
        result.correction,
        result.correction if result.waits else again,
    )
    state = result.state
    if stay and not sides:
        state = "read again"
        do = (
            "Say on which side of the blade indicator and fence stood: indicator in [slots], side "
            "in [fence].",
        )
    elif state == "leave" and result.judged.high > 0:
        high = result.read_length * math.tan(math.radians(result.judged.high))
        do = (
            f"{'No toe can be told' if result.verdict is None else 'Within the tolerance'}, but a "
            f"toe-in of up to {number(high, result.toe_over.u)} {result.unit} over "
            f"{result.read_length:g} {result.unit} is not excluded: do not close it further, and "
            "in doubt open its back end by a hair.",
        )
    return Step(
        "fence",
        "Fence",
        do=do,
        found=result.found,
        verdict=result.verdict,
        state=state,
        remarks=result.remarks,
        result=result,
    )


def _stop(bench: Bench, section: Section) -> Step:
    result = _strip(section)
    step = Step(
        "stop",
        f"Miter stop {section.get('name')}",
        found=(f"corner short by {result.error.text('deg')}, after {result.turns} turns",),
        verdict=_judged(result.error, section),
        remarks=result.remarks,
        result=result,
    )
    return _cut_step(bench, step, result, ("gauge", _head(result)))


def _head(result: RoundTest) -> float:
    """Return how far the gauge's fence was swung, counterclockwise from above."""
    return round(result.gauge_deg * (1.0 if result.piece == "left" else -1.0), 3)


def _cut_step(
    bench: Bench, step: Step, result: FlipTest | RoundTest, setting: tuple[str, float]
) -> Step:
    """Return the step of a test cut with what to do."""
    verdict = step.verdict
    state, first = bench.once(step.title, state_of(result.error, verdict), setting)
    again = "Cut and measure again: it cannot be told yet."
    if first:
        again = f"The same error as under {first}: make that move, then cut again."
    return replace(step, state=state, do=_advice(state, verdict, result.correction, again))


def _strip(section: Section) -> RoundTest:
    return round_test(
        **section.lengths("first", "last", "length", "graduation"),
        **section.plain("turns", "piece", "name"),
    )


def _judged(estimate: Estimate, section: Section | None) -> Verdict | None:
    tolerance = None if section is None else section.get("tolerance")
    return None if tolerance is None else estimate.verdict(tolerance)


def _advice(state: State, verdict: str | None, correction: str, again: str) -> tuple[str, ...]:
    """Return what to do, by the state of a part; `again` where it waits or is read again."""
    if state == "leave" and verdict == "within":
        return ("Within the tolerance: leave it.",)
    if state == "move":
        return (f"{correction} Then read again.",)
    return (correction if state == "leave" else again,)


def _insert(_: Bench, section: Section) -> Step:
    result = insert_level(
        **section.lengths("x", "y", "height", "screw_x", "screw_y", "pitch", "graduation"),
        **section.lengths("tolerance"),
    )
    state = state_of(result.worst, result.verdict)
    if result.verdict != "within" and any(told(screw.height) for screw in result.screws):
        state = "move"
    unknown = "State screw_x, screw_y and pitch to learn how far to turn each screw."
    *first, last = result.instructions or (unknown,)
    again = "Read it again, at more places: it cannot be told yet."
    do = _advice(state, result.verdict, last, again)
    return Step(
        "insert",
        "Insert",
        do=(*first, *do) if state == "move" else do,
        found=result.found,
        verdict=result.verdict,
        state=state,
        remarks=result.remarks,
        result=result,
    )


def _flip(bench: Bench, section: Section) -> Step:
    side = bench.needed_side("the flip test")
    result: FlipTest = flip_test(
        **section.lengths("gap", "height", "graduation"),
        open_at=section.get("open"),
        flipped="indicator" if section.get("flipped") == side else "other",
    )
    if bench.square is not None:
        bench.checks.append(Comparison("square of the cut", bench.square, result.error, "deg"))
    step = Step(
        "test_cut.flip",
        "Test cut: one piece flipped",
        found=(f"cut out of square by {result.error.text('deg')}",),
        verdict=_judged(result.error, bench.held.one("table")),
        remarks=result.remarks,
        result=result,
    )
    return _cut_step(bench, step, result, ("blade", 0.0))


def _round(bench: Bench, section: Section) -> Step:
    result = _strip(section)
    corner = bench.corners.get(abs(_head(result)))
    if corner is not None:
        # On the indicator's side the lean of the cut's front end toward it takes as much off.
        predicted = corner.times(-1.0 if bench.side == result.piece else 1.0)
        bench.checks.append(Comparison("corner of the board", predicted, result.error, "deg"))
    step = Step(
        "test_cut.round",
        "Test cut: round the board",
        found=(f"each corner short by {result.error.text('deg')}",),
        verdict=_judged(result.error, bench.held.one("miter_gauge")),
        remarks=result.remarks,
        result=result,
    )
    return _cut_step(bench, step, result, ("gauge", _head(result)))


def _kerf(bench: Bench, section: Section) -> Step:
    result = kerf(bench.needed("the kerf"))
    unit = section.get("width")[1]
    width = measured_length(**section.lengths("graduation", length="width"))
    predicted = result.width.times(MM_PER[result.fit.unit] / MM_PER[unit])
    heel = _heel(bench, unit)
    if heel is not None:
        predicted = predicted.plus(heel)
    if result.fit.mistake is None:
        bench.checks.append(Comparison("width of the kerf", predicted, width, unit))
    return Step(
        "test_cut.kerf",
        "Test cut: width of the kerf",
        found=(f"{width.text(unit)} wide; {predicted.text(unit)} predicted",),
        result=result,
    )


def _heel(bench: Bench, unit: str) -> Estimate | None:
    """Return what the slots' error adds to the kerf: the rear teeth cut beside the front ones.

    The angle times the chord of the teeth at the table, 2 sqrt(R^2 - y^2).
    """
    section = bench.held.one("blade")
    height = None if section is None else section.get("height")
    rim = None if bench.fit is None else bench.fit.readings.blade.radius_mm
    if bench.slots is None or height is None or rim is None:
        return None
    above = rim - height[0] * MM_PER[height[1]]
    chord = 2 * math.sqrt(max(0.0, rim**2 - above**2)) / MM_PER[unit]
    angle = bench.slots.angle
    return Estimate(abs(angle.value), angle.u, angle.dof).times(math.radians(chord))


def _compared(comparison: CutComparison) -> Step:
    return Step(
        "test_cut",
        "Test cut against what was predicted",
        found=comparison.lines,
        verdict=comparison.verdict.partition(":")[0],
        state=None if comparison.verdict == AGREE else "read again",
        do=_LOOK[comparison.verdict],
        result=comparison,
    )


def _tolerance(section: Section) -> dict[str, Any]:
    if "tolerance" not in section.values:
        return {}
    size, unit = section.get("tolerance")
    return {f"tolerance_{unit}": size}


_LOOK = {
    AGREE: (),
    DO_NOT_AGREE: (
        "Look for dish, the square, or a sign, and measure again, before you move anything.",
    ),
    CANNOT_TELL: ("Measure again, or state the graduations.",),
}
"""Verdict on the test cut -> what to do."""

_WORK: dict[str, Callable[[Bench, Section], Step | None]] = {
    "slots": _slots,
    "table": _table,
    "bevel": _bevel,
    "miter_gauge": _miter_gauge,
    "riving_knife": _riving_knife,
    "fence": _fence,
    "stop": _stop,
    "insert": _insert,
    "test_cut.flip": _flip,
    "test_cut.round": _round,
    "test_cut.kerf": _kerf,
}
"""Part of the file -> what works it out, in the order of work."""

_FROM_THE_BLADE = ("table", "miter_gauge", "riving_knife")
"""Steps whose teeth the blade alone tells."""
