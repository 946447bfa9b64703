"""The steps of setting up a saw: each from its part of the saw's file."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from bladegeom.applied.clearance import rub_angle, side_clearance
from bladegeom.applied.compare import Comparison, CutComparison, compare_test_cut
from bladegeom.applied.cut import FlipTest, RoundTest, flip_test, measured_length, round_test
from bladegeom.applied.estimate import Estimate, Verdict
from bladegeom.applied.fence import fence_alignment
from bladegeom.applied.insert import insert_level
from bladegeom.applied.kerf import kerf
from bladegeom.applied.setting import Setting, setting_error
from bladegeom.applied.slots import SlotAlignment, slot_alignment
from bladegeom.applied.uses import USES, how_to_set
from bladegeom.errors import Fault, RefusedError, refuse
from bladegeom.fitted.wobble import WobbleFit
from bladegeom.measured.saw_file import SawFile, Section
from bladegeom.result import Result, number
from bladegeom.units import MM_PER


@dataclass(frozen=True)
class Step:
    """One step of the work.

    Attributes
    ----------
    part : str
        The part of the file it comes from, such as ``slots``.
    title : str
    stand : str
        Which teeth stand where; empty where no tooth matters.
    do : tuple of str
        What to do.
    found : tuple of str
        What was measured, and what is left.
    verdict : str or None
        Against the tolerance in the file: within, out, cannot tell; None without one. Of the test
        cut: agree, do not agree, cannot tell.
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
    remarks: tuple[str, ...] = ()
    result: Result | None = None

    @property
    def summary(self) -> str:
        """The step in a line."""
        said = [self.stand, *self.found, *([self.verdict.upper()] if self.verdict else [])]
        return "; ".join(one.rstrip(".") for one in said if one)

    def to_dict(self) -> dict[str, Any]:
        """Return the step as plain values."""
        return {
            "step": self.title,
            "stand": self.stand or None,
            "do": list(self.do),
            "found": list(self.found),
            "verdict": self.verdict,
            "result": None if self.result is None else self.result.to_dict(),
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
    """

    held: SawFile
    fit: WobbleFit | None
    tilts: str | None
    slots: SlotAlignment | None = None
    square: Estimate | None = None
    corner: Estimate | None = None
    comparison: CutComparison | None = None
    checks: list[Comparison] = field(default_factory=list)

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
    faults: list[Fault] = []
    for part, work in _WORK.items():
        sections = bench.held.parts.get(part, [])
        if not sections and part in _FROM_THE_BLADE and bench.fit is not None:
            sections = [Section(part, {})]
        for section in sections:
            try:
                steps.append(work(bench, section))
            except RefusedError as error:
                faults += section.located(error)
    if faults:
        raise RefusedError(faults)
    if bench.checks:
        bench.comparison = compare_test_cut(bench.checks)
        steps.append(_compared(bench.comparison))
    return steps


def _slots(bench: Bench, section: Section) -> Step:
    result = slot_alignment(
        **section.lengths("front", "back", "separation", "graduation", "end_float", "lever"),
        **section.plain("moved", "pivot"),
        **_tolerance(section),
        side=section.get("indicator"),
        fit=bench.fit,
    )
    bench.slots = result
    return Step(
        "slots",
        "Slots",
        stand="one marked tooth",
        do=_unless_within(result.verdict, result.correction),
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


def _table(bench: Bench, section: Section) -> Step:
    fit = bench.needed("the table")
    result = setting_error(
        fit, "table", **section.plain("tooth"), **section.lengths(span="thickness")
    )
    cut, found = _shown(section, result, 1.0, 0.0)
    bench.square = cut
    bevels = "" if "bevel" in bench.held.parts else " and bevels"
    return _setting_step("table", f"Table square{bevels}", section, result, cut, found)


def _bevel(bench: Bench, section: Section) -> Step:
    fit = bench.needed("a bevel")
    angle = section.get("angle")
    result = setting_error(
        fit,
        "bevel",
        **section.plain("tooth", "sides"),
        angle_deg=angle,
        **section.lengths(span="thickness"),
    )
    toward = 1.0
    if "shows" in section.values:
        if bench.tilts is None:
            raise refuse(
                "a bevel that was read needs to know which way the blade tilts on this saw",
                'add tilts = "left" or "right" to [saw]',
                column="shows",
            )
        toward = 1.0 if bench.tilts == bench.needed_side("a bevel that was read") else -1.0
    cut, found = _shown(section, result, toward, angle)
    return _setting_step("bevel", f"Bevel {angle:g} deg", section, result, cut, found)


def _miter_gauge(bench: Bench, section: Section) -> Step:
    result = setting_error(
        bench.needed("the miter gauge"),
        "miter_gauge",
        **section.plain("tooth", "sides"),
        **({"angle_deg": section.get("angle")} if "angle" in section.values else {}),
        **section.lengths(span="width"),
    )
    angle = section.get("angle", 0.0)
    title = f"Miter gauge {angle:g} deg" if angle else "Miter gauge square"
    cut, found = _shown(section, result, 1.0, 0.0)
    bench.corner = cut
    return _setting_step("miter_gauge", title, section, result, cut, found)


def _riving_knife(bench: Bench, section: Section) -> Step:
    result = setting_error(
        bench.needed("the riving knife"),
        "riving_knife",
        **section.plain("tooth"),
        **section.lengths(span="distance"),
    )
    cut, found = _shown(section, result, 1.0, 0.0)
    return _setting_step("riving_knife", "Riving knife", section, result, cut, found)


def _cut(result: Setting) -> Estimate | None:
    return result.cut if result.error is None else result.cut_at_error


def _shown(
    section: Section, result: Setting, toward: float, target: float
) -> tuple[Estimate | None, list[str]]:
    """Return how far the cut is off, and what was read, from what the square showed.

    The plate's line leans by the setting's error from the plane of the cut, so that of what is
    shown against the plate this much is not the cut's.
    """
    cut = _cut(result)
    shows, step = section.get("shows"), section.get("resolution")
    if shows is None and step is None:
        return cut, []
    if step is None:
        raise refuse(
            "shows stands without a resolution",
            "add resolution = ..., the finest step that the square or inclinometer shows",
            column="shows",
        )
    shown = f"{target if shows is None else shows:g} deg shown, in steps of {step:g} deg"
    if cut is None:
        return None, [shown]
    # Anything within half a step either way is shown as the same (GUM F.2.2.1).
    off = 0.0 if shows is None else toward * (shows - target)
    return cut.plus(Estimate(off, step / 12**0.5)), [shown]


def _setting_step(
    part: str,
    title: str,
    section: Section,
    result: Setting,
    cut: Estimate | None,
    found: Iterable[str],
) -> Step:
    lines = [*found]
    if cut is not None:
        lines.append(f"{_OFF[result.use]} by {cut.text('deg')}")
    worst = result.worst
    lines.append(f"marks ignored: up to {number(worst.value, worst.u)} deg")
    tolerance = section.get("tolerance")
    judged = cut if cut is not None else worst
    return Step(
        part,
        title,
        stand=_stand(result),
        do=how_to_set(result.use, result.line)[1:],
        found=tuple(lines),
        verdict=None if tolerance is None else judged.verdict(tolerance),
        result=result,
    )


def _stand(result: Setting) -> str:
    """Return which teeth stand where, in the fewest words."""
    if result.line.neutral is None:
        return "any tooth"
    first, second = (end.tooth for end in result.line.neutral)
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
    return Step(
        "fence",
        "Fence",
        do=_unless_within(result.verdict, result.correction),
        found=result.found,
        verdict=result.verdict,
        remarks=result.remarks,
        result=result,
    )


def _stop(_: Bench, section: Section) -> Step:
    result = _strip(section)
    verdict = _judged(result.error, section)
    return Step(
        "stop",
        f"Miter stop {section.get('name')}",
        do=_unless_within(verdict, result.correction),
        found=(f"corner short by {result.error.text('deg')}, after {result.turns} turns",),
        verdict=verdict,
        remarks=result.remarks,
        result=result,
    )


def _strip(section: Section) -> RoundTest:
    return round_test(
        **section.lengths("first", "last", "length", "graduation"),
        **section.plain("turns", "piece", "name"),
    )


def _judged(estimate: Estimate, section: Section | None) -> Verdict | None:
    tolerance = None if section is None else section.get("tolerance")
    return None if tolerance is None else estimate.verdict(tolerance)


def _unless_within(verdict: Verdict | None, correction: str) -> tuple[str, ...]:
    return ("Within the tolerance: leave it.",) if verdict == "within" else (correction,)


def _insert(_: Bench, section: Section) -> Step:
    result = insert_level(
        **section.lengths("x", "y", "height", "screw_x", "screw_y", "pitch", "graduation"),
        **section.lengths("tolerance"),
    )
    return Step(
        "insert",
        "Insert",
        do=result.instructions,
        found=result.found,
        verdict=result.verdict,
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
    verdict = _judged(result.error, bench.held.one("table"))
    return Step(
        "test_cut.flip",
        "Test cut: one piece flipped",
        do=_unless_within(verdict, result.correction),
        found=(f"cut out of square by {result.error.text('deg')}",),
        verdict=verdict,
        remarks=result.remarks,
        result=result,
    )


def _round(bench: Bench, section: Section) -> Step:
    result = _strip(section)
    predicted = _corner(bench, section.get("piece", "left"))
    if predicted is not None:
        bench.checks.append(Comparison("corner of the board", predicted, result.error, "deg"))
    verdict = _judged(result.error, bench.held.one("miter_gauge"))
    return Step(
        "test_cut.round",
        "Test cut: round the board",
        do=_unless_within(verdict, result.correction),
        found=(f"each corner short by {result.error.text('deg')}",),
        verdict=verdict,
        remarks=result.remarks,
        result=result,
    )


def _corner(bench: Bench, piece: str) -> Estimate | None:
    """Return the error of a corner cut on the miter gauge, as the round test counts it.

    The gauge stands square to the plate's line, and the board is fed along the slot. Of the
    corner on the indicator's side, the lean of the line's front end toward the indicator takes as
    much off, and so does a slot that runs away from the blade on that side; on the other side
    both add.
    """
    if bench.corner is None or bench.side is None:
        return None
    parts = [bench.corner.times(-1.0 if bench.side == piece else 1.0)]
    if bench.slots is not None:
        if bench.slots.side is None:
            return None
        parts.append(bench.slots.angle.times(1.0 if bench.slots.side == piece else -1.0))
    return parts[0].plus(*parts[1:])


def _kerf(bench: Bench, section: Section) -> Step:
    result = kerf(bench.needed("the kerf"))
    unit = section.get("width")[1]
    width = measured_length(**section.lengths("graduation", length="width"))
    predicted = result.width.times(MM_PER[result.fit.unit] / MM_PER[unit])
    heel = _heel(bench, unit)
    if heel is not None:
        predicted = predicted.plus(heel)
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
        result=comparison,
    )


def _tolerance(section: Section) -> dict[str, Any]:
    if "tolerance" not in section.values:
        return {}
    size, unit = section.get("tolerance")
    return {f"tolerance_{unit}": size}


_WORK: dict[str, Callable[[Bench, Section], Step]] = {
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

_OFF = {
    "table": "cut out of square",
    "bevel": "bevel off",
    "miter_gauge": "cut off the angle",
    "riving_knife": "knife out of line",
}
"""What the error of each setting is."""

_FROM_THE_BLADE = ("table", "miter_gauge", "riving_knife")
"""Steps whose teeth the blade alone tells."""
