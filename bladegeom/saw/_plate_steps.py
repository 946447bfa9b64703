"""The steps of parts that are set from the plate, and of those of which nothing was read."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from bladegeom.estimate import Known
from bladegeom.faults import refuse
from bladegeom.saw._measure import UNKNOWN, by_hand, told
from bladegeom.saw._plate_reading import OVER, PlateReading
from bladegeom.saw._uses import BELOW, USES
from bladegeom.saw.bench import (
    MOUNTED,
    NOT_READ,
    SLOTS,
    Bench,
    Slots,
    Step,
    Unread,
)
from bladegeom.saw.setting import Setting, setting_error
from bladegeom.saw.shown import ALONE, KEYS
from bladegeom.saw.slots import slots_to_tell
from bladegeom.tables.toml import Section

_CALLED = {
    "table": "the table",
    "bevel": "a bevel",
    "miter_gauge": "the miter gauge",
    "riving_knife": "the riving knife",
}

_CUT = {"table": "test_cut.flip", "miter_gauge": "test_cut.round"}
"""Use -> the cut that tells what is off."""


def plate_step(bench: Bench, section: Section, use: str) -> Step | None:
    """Return the step of a part that is set from the plate; one not read is noted as unread."""
    shown = {key: one for key, one in section.values.items() if key in KEYS[use].split()}
    read = bool(shown.keys() - ALONE)
    fit, tilts = bench.needed(_CALLED[use]), bench.stated("saw", "tilts")
    stated = {key: one for key, one in section.given().items() if key not in shown}
    if len(stated) + len(shown) < len(section.values):
        said = "span is given twice, under two names"
        raise refuse(said, "leave one of them out", column="span")

    def made(slots: Slots | None) -> Setting:
        made = setting_error(
            fit, use, **stated, shown=shown if read else None, tilts=tilts, slots=slots
        )
        if made.span is not None or made.read.shown is None or made.read.shown.over is not None:
            return made
        over = OVER[bench.unit][use == "miter_gauge"], bench.unit
        return replace(made, read=replace(made.read, over=over))

    setting = made(bench.slots)
    angle = section.get("angle", setting.angle_deg)
    title = {
        "table": "Table square" if "bevel" in bench.held.parts else "Table square and bevels",
        "bevel": f"Bevel {angle:g} deg",
        "miter_gauge": f"Miter gauge {f'{angle:g} deg' if angle else 'square'}",
        "riving_knife": "Riving knife",
    }[use]
    if not read:
        entries = _to_read(bench, section, use)
        unread = (title, _stand(setting), setting.worst, use == "miter_gauge", entries)
        bench.unread.append(Unread(*unread))
        return None
    title += ", toe" if use == "riving_knife" else ""
    found = setting.read
    if setting.line.mistake is not None and found.against_plate:
        anew = "After the blade is read again: set it against the plate anew."
        return Step(
            part=use, title=title, stand=_stand(setting), do=(anew,), state="wait", result=setting
        )
    # Whether a gauge is swung to the left or to the right is not stated.
    gauge = [("gauge", round(sign * setting.angle_deg, 3)) for sign in (1, -1)]
    moves = {"table": [("blade", 0.0)], "bevel": [("blade", angle)], "miter_gauge": gauge}
    ignored = [_ignored(setting.worst)] if found.against_plate else []
    again, by_slots, finer = "", False, False
    if found.state == "read again":
        again, by_slots, finer = _again(bench, found, made)
    step = bench.step(
        use,
        title,
        setting,
        found.judged,
        again=again,
        found=(*found.found, *setting.in_wood, *ignored),
        moves=moves.get(use, ()),
        rests=[SLOTS] * found.by_slots + [MOUNTED] * found.against_plate,
        state=found.state,
        verdict=found.verdict,
        reads=(SLOTS,) if by_slots else (),
        finer=finer,
    )
    if use == "table":
        bench.square = found.off
    if use == "miter_gauge" and found.to_slot is not None:
        bench.corners[round(setting.angle_deg, 3)] = found.to_slot
    if use == "riving_knife":
        up = f"stand {_up(setting)}, and " if setting.line.marked else ""
        lean = f"Its lean was not read: {up}set it against the plate."
        step = replace(step, do=(*step.do, lean))
    if found.against_plate:
        step = replace(step, stand=_stand(setting))
    return _waiting(bench, step, setting)


def _to_read(bench: Bench, section: Section, use: str) -> tuple[str, ...]:
    """Return what is to be written down of a part that was not read, if its file asks for it.

    That is where it stands in the file, and no cut that stands there tells as much.
    """
    if section.row is None or _CUT.get(use) in bench.held.parts:
        return ()
    square = {"graduation", "height", "length"} & section.values.keys()
    shown = ("shows", "from" if use == "bevel" else "toward")
    return tuple(f"{section.title}.{key}" for key in (("gap", "open", "side") if square else shown))


def _again(
    bench: Bench, read: PlateReading, made: Callable[[Slots], Setting]
) -> tuple[str, bool, bool]:
    """Say how to read a part so that it can be told what to do.

    Also whether the slots are to be read oftener first, and whether only something finer can tell.
    """
    if read.correction == UNKNOWN:
        return UNKNOWN, False, False
    if read.readings_needed:
        return f"Read it {read.readings_needed} times: then it can be told.", False, False
    if read.by_slots:
        said = slots_to_tell(bench, lambda slots: made(slots).read.state or "wait")
        if said:
            return said, True, False
    said = "It cannot be told so, however often it is read: use what shows finer steps."
    return said, False, True


def _waiting(bench: Bench, step: Step, setting: Setting) -> Step:
    """Return the step; what is judged by way of the slots needs them, or waits for them."""
    by_slots = setting.read.by_slots
    if by_slots and setting.read.judged is None:
        what = (
            "The corner of a board is that of gauge and slot"
            if setting.use == "miter_gauge"
            else "What an indicator in a slot shows of the knife holds the slot's own error"
        )
        do = (
            f"{what}: read the slots, in [slots]."
            if bench.slots is None
            else "Say on which side of the blade each indicator stood: side in the blade's "
            "readings, indicator in [slots].",
        )
        # Slots that stand in the file are read first.
        first = bench.slots is None and bench.slots_state is not None
        return replace(step, state="wait" if first else "read again", do=do)
    if by_slots and step.state == "read again" and bench.slots_state != "leave":
        name = "gauge" if setting.use == "miter_gauge" else "knife"
        return replace(step, state="wait", do=(f"After the slots: read the {name} again.",))
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
        out = bench.slots.angle
        remarks.append(
            "A miter gauge set square to the plate cuts corners out by what the slots are out "
            f"then: {by_hand(out.value, out.u, 'deg')} deg now."
        )
    return Step(
        part=NOT_READ,
        title="Not read, so not judged",
        found=("; ".join(said),),
        do=(
            "Set each against the plate, clear of the teeth, and write down what it then shows and "
            "on which side.",
        ),
        remarks=tuple(remarks),
        entries=tuple(entry for one in bench.unread for entry in one.entries),
    )


def _ignored(worst: Known) -> str:
    if not math.isfinite(worst.value):
        return f"marks ignored: not known, {BELOW}"
    return f"marks ignored: up to {by_hand(worst.value, worst.u, 'deg')} deg"


def _stand(result: Setting) -> str:
    """Return which teeth stand where, in the fewest words: the one that the file names, if any."""
    if result.tooth is not None:
        stood = "up" if USES[result.use].upright else "in front"
        toe = "toe: " if result.use == "riving_knife" else ""
        return f"{toe}tooth {result.tooth} {stood}"
    if result.line.marked is None:
        return "any tooth" if result.line.any_rotation else "no teeth known yet"
    first, second = (end.tooth for end in result.line.marked)
    level = f"{first} in front, {second} behind"
    if result.use == "riving_knife":
        return f"toe: {level}; lean: {_up(result)}"
    return _up(result) if USES[result.use].upright else level


def _up(result: Setting) -> str:
    first, second = (end.tooth for end in result.line.marked or ())
    return f"{first} up, {second} down"
