"""The order of work: every step of a saw's file, reading after reading of its log."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from bladegeom.faults import Fault, RefusedError
from bladegeom.fit.marks import neutral_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.saw._plate_steps import plate_step
from bladegeom.saw._saw_file import PARTS, SawFile
from bladegeom.saw.bench import MOUNTED, SLOTS, Bench, Moved, Step
from bladegeom.saw.cut import flip_step, kerf_step, round_step, stop_step
from bladegeom.saw.fence import fence_step
from bladegeom.saw.insert import insert_step
from bladegeom.saw.slots import slots_step
from bladegeom.tables.toml import Section

Work = Callable[[Bench, Section], Step | None]

_WORK: dict[str, Work] = {
    "slots": slots_step,
    "table": partial(plate_step, use="table"),
    "bevel": partial(plate_step, use="bevel"),
    "miter_gauge": partial(plate_step, use="miter_gauge"),
    "riving_knife": partial(plate_step, use="riving_knife"),
    "fence": fence_step,
    "stop": stop_step,
    "insert": insert_step,
    "test_cut.flip": flip_step,
    "test_cut.round": round_step,
    "test_cut.kerf": kerf_step,
}
"""Part of the file -> what works it out, in the order of work."""

_FROM_THE_BLADE = ("table", "miter_gauge", "riving_knife")
"""Steps whose teeth the blade alone tells."""


_UNREAD = {
    "slots": (
        "Slots",
        "Read one marked tooth in front and, turned along, behind, three times each.",
    ),
    "fence": ("Fence", "Read it along the slot, from front to back."),
    "stop": (
        "Miter stop {}",
        "Cut round a board, and measure the last strip three times at both ends.",
    ),
    "insert": ("Insert", "Read its height above the table, at six places or more."),
    "test_cut.flip": (
        "Test cut: one piece flipped",
        "Cut a piece in two, turn one of them over, and measure the gap three times.",
    ),
    "test_cut.round": (
        "Test cut: round the board",
        "Cut round a board, and measure the last strip three times at both ends.",
    ),
    "test_cut.kerf": (
        "Test cut: width of the kerf",
        "Cut a kerf, and measure its width three times.",
    ),
}
"""Part that stands in the file without a reading -> its title, and how it is read."""

_BEFORE = -1
"""Place of what stands under before: ahead of all readings of the log, which count from 1, and of
those in the parts themselves, which have 0."""

_MOUNTED = "The blade was read anew since, and its marks may be others. Read this again."

_Moved = dict[Moved, tuple[int, str]]
"""What was moved -> the reading of the log ahead of which it was last, and what that does to
earlier ones."""


def worked(
    held: SawFile, fit: Callable[[SawFile], WobbleFit | None], unit: str
) -> tuple[Bench, list[Step]]:
    """Return every step, in the order of work, and the bench with what they left on it.

    The file is worked out as it stood after each reading of its log, so that it is known what was
    told to be moved ahead of each. What was to be moved, and is then read again, was moved; what
    had been read earlier, and hangs on it, holds no more.

    Raises
    ------
    RefusedError
        Listing everything that cannot be used.
    """
    steps: dict[str, Step] = {}
    moved: _Moved = {}
    faults: list[Fault] = []
    slots = held.one("slots")
    if slots is not None and slots.before is not None:
        moved[SLOTS] = 0, ""
    for place in range(len(held.log) + 1):
        now = held.after(place)
        title = held.log[place - 1].title if place else ""
        was = steps.get(title)
        if title == "blade":
            moved[MOUNTED] = place, _MOUNTED
        elif was is not None and was.state == "move":
            why = f"It was read before the move under {was.title}, and does not hold any more."
            moved |= dict.fromkeys(was.moves, (place, f"{why} Read it again."))
        bench, steps = _steps(Bench(now, fit(now), unit=unit), steps, moved, faults)
    if faults:
        raise RefusedError(list(dict.fromkeys(faults)))
    return bench, [*steps.values()]


def _steps(
    bench: Bench, past: dict[str, Step], moved: _Moved, faults: list[Fault]
) -> tuple[Bench, dict[str, Step]]:
    """Return the bench, and the steps by the titles of their sections; add to the faults.

    `past` are those ahead of the last reading.
    """
    steps: dict[str, Step] = {}
    if bench.fit is not None and bench.fit.mistake is not None:
        first, *others = neutral_line(bench.fit).instructions
        steps["blade"] = Step(
            part="blade",
            title="Blade",
            do=(first,),
            found=tuple(others),
            state="read again",
            entries=("blade.readings",),
        )
    for part, work in _WORK.items():
        sections = bench.held.parts.get(part, [])
        if not sections and part in _FROM_THE_BLADE and bench.fit is not None:
            sections = [Section(part, {})]
        for section in sections:
            was = past.get(section.title)
            if was is None and section.before is not None:
                # As it was before: on a bench of its own, so that nothing rests on it.
                before = _worked(work, bench.copy(), section.before, faults)
                was = before and replace(before, place=_BEFORE)
            trial = bench.copy()
            step = _step(work, trial, section, part, faults)
            if step is not None:
                step = _since(step, was, moved)
                steps[section.title] = step
            if step is None or not step.void:
                bench = trial
            elif part == "slots":
                bench.slots_state = step.state
    return bench, steps


def _step(
    work: Work, bench: Bench, section: Section, part: str, faults: list[Fault]
) -> Step | None:
    """Return the step of a section as it was read, or, where nothing was, as it is to be read."""
    if PARTS[part].needs and not section.read:
        title, how = _UNREAD[part]
        title = title.format(section.get("name", section.title))
        step = Step(part=part, title=title, do=(how,), state="read again", void=how)
    else:
        worked = _worked(work, bench, section, faults)
        if worked is None:
            return None
        step = worked
    entries = tuple(f"{section.title}.{key}" for key in section.read or PARTS[part].needs)
    at = section.at if section.place else bench.stated("saw", "date")
    return replace(step, entries=entries, place=section.place, read_at=at)


def _since(step: Step, was: Step | None, moved: _Moved) -> Step:
    """Return a step beside what was found before, or only that, where what was read holds no more.

    `was` is the step as it stood ahead of the last reading of the log.
    """
    since, why = max((moved[one] for one in step.rests if one in moved), default=(0, ""))
    if since > step.place:
        step = step.voided(why)
    # What was found in a reading that holds no more is kept with it; so is what was before the
    # same reading.
    if was is not None and (was.void or (was.place == step.place and not step.void)):
        was = was.before
    if was is None or step.void:
        return replace(step, before=was)
    slots, _ = moved.get(SLOTS, (_BEFORE, ""))
    beside_the_same = step.part == "slots" or SLOTS not in step.rests or slots <= was.place
    return step.since(was, alike=beside_the_same)


def _worked(work: Work, bench: Bench, section: Section, faults: list[Fault]) -> Step | None:
    """Return the step of a part, or None, and add what is wrong in it to the faults."""
    try:
        told = section.in_unit(bench.unit)
        if told.values != section.values:
            # What is refused is said in the units in which it was written.
            work(bench.copy(), section)
        return work(bench, told)
    except RefusedError as error:
        faults += section.located(error)
        return None
