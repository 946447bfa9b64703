"""A part of the saw as a square showed it against the plate: what it is off by, and the move."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from bladegeom.estimate import Estimate, Known, Verdict
from bladegeom.faults import refuse
from bladegeom.kernel.doubt import student_t
from bladegeom.result import Result, derived, described, number, quantity
from bladegeom.saw._measure import named_side, size, told, way_to
from bladegeom.saw.bench import NOT_READ, SLOTS, Bench, Step, Unread, with_slots
from bladegeom.saw.setting import USES, Setting, how_to_set, setting_error
from bladegeom.tables.toml import Section


class _Part(NamedTuple):
    """A part of the file that is set from the plate."""

    called: str
    meant: str
    """What is meant by what it shows."""
    plus: str = ""
    """What stands toward the indicator's side where that has a plus."""


_PARTS = {
    "table": _Part("the table", "the lean from the upright", "the plate's top leans"),
    "bevel": _Part("a bevel", "the bevel from the upright"),
    "miter_gauge": _Part(
        "the miter gauge", "what it is off its angle", "the plate's front end leans"
    ),
    "riving_knife": _Part(
        "the riving knife", "what it is off the plate", "the knife's back end stands"
    ),
}


@described
class PlateReading(Result):
    """A part set from the plate, as it was read."""

    setting: Setting = quantity("what the plate itself adds", inline=True)
    shows: float = quantity(
        "degrees that were shown: of the table, the lean of the plate from the upright; of a "
        "bevel, the bevel itself; of the miter gauge, the lean of the plate's front end from the "
        "gauge's square; of the knife, how its back end stands to the plate; positive toward the "
        "indicator's side of the blade",
        label="shown",
        text=lambda one: f"{one.shows:g} deg",
    )
    resolution: float = quantity("the finest step shown, in degrees")
    off: Estimate = quantity(
        "what the part is off by against the blade, in degrees: positive when the upper end of the "
        "cut (table, bevel), its front end (miter gauge) or the back end of the knife stands "
        "toward the indicator's side",
        label="off by",
        unit="deg",
    )
    to_slot: Estimate | None = quantity(
        "of the miter gauge, the same against the slot, in which it rides: what a corner is out "
        "by; none where the slots, or the sides of the blade they were read on, are not known",
        label="against the slot",
        unit="deg",
    )
    tolerance_deg: float | None = quantity("the largest error accepted")

    @derived("of what counts; none without a tolerance, or where it is not known", label="verdict")
    def verdict(self) -> Verdict | None:
        return None if self.judged is None else self.judged.verdict(self.tolerance_deg)

    side: str | None
    """The indicator's side of the blade: left, right, or not known."""
    tilts: str | None
    """The way in which the top of the blade goes for a bevel."""

    @property
    def judged(self) -> Estimate | None:
        """What counts: of the miter gauge against the slot, of all others against the blade."""
        return self.to_slot if self.setting.use == "miter_gauge" else self.off

    @derived("what to move, which way and how far", label="what to do")
    def correction(self) -> str:
        off = self.judged
        if off is None:
            return "What the miter gauge is off by against the slot is not known."
        if not told(off):
            return "Leave it: no error can be told from the doubt of the reading."
        gap = self.setting.gap(off)
        by = size(off, "deg")
        if gap is not None:
            unit = self.setting.span_unit or ""
            by += f", {size(gap, unit)} over {self.setting.cut_length:.4g} {unit}"
        if self.setting.use == "miter_gauge":
            end = "end on the indicator's side" if self.side is None else f"{self.side} end"
            way = "away from you" if off.value > 0 else "toward you"
            return f"Swing the {end} of the gauge's fence {way} by {by}."
        if self.setting.use == "riving_knife":
            return f"Turn the back end of the knife {self._way(off.value < 0)} by {by}."
        said = f"Tilt the top of the blade {self._way(off.value < 0)} by {by}."
        return f"{said} {self._stop(off.value < 0)}".rstrip()

    def _way(self, toward: bool) -> str:
        seen = f"{'toward' if toward else 'away from'} the indicator's side"
        return way_to(self.side, toward, seen)

    def _tilted(self, toward: bool) -> bool | None:
        """Return whether the saw tilts toward the indicator for bevels, or away from it."""
        known = self.side is not None and self.tilts is not None
        return named_side(self.side, toward) == self.tilts if known else None

    def _stop(self, toward: bool) -> str:
        """Say which stop is in the way of a tilt."""
        free = self._tilted(toward)
        if self.setting.use == "bevel":
            # Back toward the upright nothing is in the way.
            return "Back off the bevel stop first if it is in the way." if free else ""
        if free is None:
            return "Back off the upright stop first if the saw tilts the other way for bevels."
        if free:
            return "The saw tilts that way: then set the upright stop to it."
        return f"Back off the upright stop first, for the saw tilts {self.tilts}; then set it."

    @property
    def found(self) -> tuple[str, ...]:
        """What was read, and what it means."""
        upright = " from the upright" if self.setting.use in ("table", "bevel") else ""
        toe = "toe: " if self.setting.use == "riving_knife" else ""
        said = [f"{toe}{self.shows:g} deg{upright} shown, in steps of {self.resolution:g} deg"]
        said.append(self._stands())
        if self.to_slot is not None:
            said.append(f"against the slot, and so every corner, by {self.to_slot.text('deg')}")
        return tuple(said)

    def _stands(self) -> str:
        off, use = self.off, self.setting.use
        if not (told(off) and math.isfinite(off.u)):
            what = "out of square" if use == "table" else "off"
            return f"{what} by {off.text('deg')}, no side told"
        by = off.times(math.copysign(1.0, off.value)).text("deg")
        way = self._way(off.value > 0)
        if use == "bevel" and self.tilts is not None:
            past = "past" if self._tilted(off.value > 0) else "short of"
            return f"the blade leans {by} {past} the bevel"
        if use == "miter_gauge":
            return f"against the gauge's square the blade's front end stands {way} by {by}"
        if use == "riving_knife":
            return f"the knife's back end stands {way} by {by}"
        return f"the top of the blade leans {way} by {by}"

    def _title(self) -> str:
        return self.setting._title()

    def _first(self) -> Sequence[str]:
        return self.setting._first()

    def _remarks(self) -> Sequence[str]:
        return self.setting._remarks()


def _read(bench: Bench, section: Section, setting: Setting) -> PlateReading:
    """Return what a part is off by, from what a square or inclinometer showed against the plate.

    The plate's line leans by the setting's own error from the plane of the cut, so that of what is
    shown this much is not the cut's. Where no wobble is established any tooth may stand up, and
    the worst rotation is taken for the doubt of the line. The miter gauge rides in the slot, and so
    does the board: what the slots are out by comes on top of what it is off the blade.
    """
    use, tilts, side = setting.use, bench.stated("saw", "tilts"), bench.side
    if use == "bevel":
        if tilts is None:
            raise refuse(
                "a bevel that was read needs to know which way the blade tilts on this saw",
                'add tilts = "left" or "right" to [saw]',
                column="shows",
            )
        bench.needed_side("a bevel that was read")
    if "resolution" not in section.values:
        raise refuse(
            "shows stands without a resolution",
            "add resolution = ..., the finest step that the square or inclinometer shows",
            column="shows",
        )
    shows, resolution = section.get("shows"), section.get("resolution")
    target = setting.angle_deg if use == "bevel" else 0.0
    _counted(setting, shows, target)
    toward = 1.0 if use != "bevel" or tilts == side else -1.0
    line = setting.cut if setting.error is None else setting.cut_at_error
    if line is None:
        line = Estimate(0.0, setting.worst.value / student_t(0.95, math.inf))
    # Anything within half a step either way is shown as the same (GUM F.2.2.1).
    off = line.plus(Estimate(toward * (shows - target), resolution / math.sqrt(12)))
    return PlateReading(
        setting=setting,
        shows=shows,
        resolution=resolution,
        off=off,
        to_slot=with_slots(off, side, bench.slots) if use == "miter_gauge" else None,
        tolerance_deg=section.get("tolerance"),
        side=side,
        tilts=tilts,
    )


def _counted(setting: Setting, shows: float, target: float) -> None:
    """Refuse a reading that makes sense only if it is counted from elsewhere."""
    table, angle = abs(90.0 - abs(shows)), setting.angle_deg
    others = {"bevel": [-shows, table], "miter_gauge": [table, abs(shows) - angle, table - angle]}
    best = min(map(abs, others.get(setting.use, [table])), key=lambda one: abs(one - target))
    # Within a degree nothing is refused: at 45 deg a bevel is as far from the upright as from the
    # table, and the number alone cannot tell.
    if abs(shows - target) <= 1.0 or abs(best - target) >= abs(shows - target):
        return
    part = _PARTS[setting.use]
    cure = f"write {round(best, 9):g}"
    if part.plus:
        cure += f" or -{round(best, 9):g}: plus where {part.plus} toward the indicator's side of "
        cure += "the blade"
    if USES[setting.use].upright:
        cure += "; a box zeroed on the table counts from the table"
    raise refuse(
        f"shows is {shows:g}, and {part.meant} is meant, {target:g} where it is right",
        cure,
        value=f"{shows:g}",
        column="shows",
    )


def plate_step(bench: Bench, section: Section, use: str) -> Step | None:
    """Return the step of a part that is set from the plate; one not read is noted as unread."""
    part = _PARTS[use]
    fit, asked = bench.needed(part.called), ("tooth", "sides", "angle_deg", "span")
    setting = setting_error(fit, use, **section.given(*asked))
    angle = section.get("angle", setting.angle_deg)
    title = {
        "table": "Table square" if "bevel" in bench.held.parts else "Table square and bevels",
        "bevel": f"Bevel {angle:g} deg",
        "miter_gauge": f"Miter gauge {f'{angle:g} deg' if angle else 'square'}",
        "riving_knife": "Riving knife",
    }[use]
    if "shows" not in section.values:
        bench.unread.append(Unread(title, _stand(setting), setting.worst, use == "miter_gauge"))
        return None
    read = _read(bench, section, setting)
    title += ", toe" if use == "riving_knife" else ""
    if setting.line.mistake is not None:
        anew = "After the blade is read again: set it against the plate anew."
        step = Step(part=use, title=title, do=(anew,), state="wait", result=read)
    else:
        # Whether a gauge is swung to the left or to the right is not stated.
        gauge = [("gauge", round(sign * setting.angle_deg, 3)) for sign in (1, -1)]
        moves = {"table": [("blade", 0.0)], "bevel": [("blade", angle)], "miter_gauge": gauge}
        step = bench.step(
            use,
            title,
            read,
            read.judged,
            again=f"Read it again, in finer steps than {read.resolution:g} deg: it cannot be told "
            "yet.",
            found=(*read.found, _ignored(setting.worst)),
            moves=moves.get(use, ()),
            rests=(SLOTS,) if use == "miter_gauge" else (),
            verdict=read.verdict,
        )
        if use == "table":
            bench.square = read.off
        if use == "miter_gauge" and read.to_slot is not None:
            bench.corners[round(setting.angle_deg, 3)] = read.to_slot
        if use == "riving_knife":
            lean = how_to_set(use, setting.line)[-1]
            do = (*step.do, f"Its lean was not read: {lean[0].lower()}{lean[1:]}")
            step = replace(step, do=do)
    step = replace(step, stand=_stand(setting))
    if use != "miter_gauge":
        return step
    # The corners of a board are those of gauge and slot together.
    if read.to_slot is None:
        do = (
            "The corner of a board is that of gauge and slot: read the slots, in [slots]."
            if bench.slots is None
            else "Say on which side of the blade each indicator stood: side in the blade's "
            "readings, indicator in [slots].",
        )
        return replace(step, state="read again", do=do)
    if step.state == "read again" and bench.slots_state != "leave":
        return replace(step, state="wait", do=("After the slots: read the gauge again.",))
    return step


def not_read_step(bench: Bench) -> Step:
    """Return the teeth to stand up for all parts of which nothing was read."""
    stands: dict[str, list[str]] = {}
    for one in bench.unread:
        stands.setdefault(one.stand, []).append(one.title.lower())
    said = [f"{stand}: {', '.join(titles)}" for stand, titles in stands.items()]
    said.append(_ignored(bench.unread[0].worst))
    remarks = []
    gauge = any(one.gauge for one in bench.unread)
    if gauge and bench.slots is not None and told(bench.slots.angle):
        remarks.append(
            "A miter gauge set square to the plate cuts corners out by what the slots are out "
            f"then: {size(bench.slots.angle, 'deg')} now."
        )
    return Step(
        part=NOT_READ,
        title="Not read, so not judged",
        found=("; ".join(said),),
        do=("Set each against the plate, clear of the teeth, and write down what it then shows.",),
        remarks=tuple(remarks),
    )


def _ignored(worst: Known) -> str:
    return f"marks ignored: up to {number(worst.value, worst.u)} deg"


def _stand(result: Setting) -> str:
    """Return which teeth stand where, in the fewest words."""
    if result.line.marked is None:
        return "any tooth" if result.line.any_rotation else "no teeth known yet"
    first, second = (end.tooth for end in result.line.marked)
    level = f"{first} in front, {second} behind"
    if result.use == "riving_knife":
        return f"toe: {level}; lean: {first} up, {second} down"
    return f"{first} up, {second} down" if USES[result.use].upright else level
