"""The order of work: every step of a saw's file, reading after reading of its log."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
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

_Moved = dict[Moved, tuple[int, str]]
"""What was moved -> the reading of the log ahead of which it was last, and what that was."""


def worked(
    held: SawFile, fit: Callable[[SawFile], WobbleFit | None], unit: str
) -> tuple[Bench, list[Step]]:
    """Return every step, in the order of work, and the bench with what they left on it.

    The file is worked out as it stood ahead of the readings of its log, as far as needed to know
    what was told to be moved then. What was to be moved, and is then read again, was moved; what
    had been read earlier, and hangs on it, holds no more.

    Raises
    ------
    RefusedError
        Listing everything that cannot be used.
    """
    order = _Order(held, fit, unit)
    for place, entry in enumerate(held.log):
        _, steps = order.worked(place, entry.title)
        was = steps.get(entry.title)
        moved: tuple[Moved, ...] = ()
        if entry.title == "blade":
            moved, how = (MOUNTED,), "the blade was mounted or read anew"
        elif was is not None and was.state == "move":
            moved, how = was.moves, f"the move under {was.title}"
        if moved:
            order.worked(place)  # What is lost by it is kept as it was found.
            order.moved |= dict.fromkeys(moved, (place + 1, how))
    bench, steps = order.worked(len(held.log))
    if order.faults:
        raise RefusedError(list(dict.fromkeys(order.faults)))
    return bench, [*steps.values()]


@dataclass
class _Done:
    """A section as it was worked out: which reading of it and of the blade, and what came of it."""

    of: tuple[str, int, int]
    step: Step | None
    bench: Bench
    void: bool = False


class _Order:
    """Works out the sections of a file in the order of work, as they stood at any time.

    A section hangs on what stands ahead of it, on the blade and on nothing else: so what was worked
    out serves until something ahead of it has changed.
    """

    def __init__(
        self, held: SawFile, fit: Callable[[SawFile], WobbleFit | None], unit: str
    ) -> None:
        self._held, self._fit, self._unit = held, fit, unit
        self._done: list[_Done] = []
        self._past: dict[str, Step] = {}
        self.moved: _Moved = {}
        self.faults: list[Fault] = []
        slots = held.one("slots")
        if slots is not None and slots.before is not None:
            self.moved[SLOTS] = 0, ""

    def worked(self, place: int, until: str = "") -> tuple[Bench, dict[str, Step]]:
        """Return the bench after so many readings, and the steps by the titles of their sections.

        All of them, or those up to one.
        """
        held = self._held.after(place)
        bench = Bench(held, self._fit(held), unit=self._unit)
        steps: dict[str, Step] = {}
        if bench.fit is not None and bench.fit.mistake is not None:
            steps["blade"] = _of_blade(bench.fit)
        for at, (part, section) in enumerate(_sections(bench)):
            done = self._section(at, bench, part, section)
            step = done.step and _since(done.step, self._past.get(section.title), self.moved)
            void = step is not None and step.void != ""
            if void != done.void:
                done.void = void
                del self._done[at + 1 :]
            if step is not None:
                steps[section.title] = self._past[section.title] = step
            if not void:
                bench = replace(done.bench, held=held)
            elif part == "slots":
                bench.slots_state = "read again"
            if section.title == until:
                break
        return bench, steps

    def _section(self, at: int, bench: Bench, part: str, section: Section) -> _Done:
        """Return a section as it was worked out, now or earlier."""
        blade = bench.held.one("blade")
        of = section.title, section.place, blade.place if blade else 0
        if self._done[at:] and self._done[at].of == of:
            return self._done[at]
        del self._done[at:]
        work = _WORK[part]
        if section.before is not None and section.title not in self._past:
            # As it was before: on a bench of its own, so that nothing rests on it.
            before = _worked(work, bench.copy(), section.before, self.faults)
            if before is not None:
                self._past[section.title] = replace(before, place=_BEFORE)
        trial = bench.copy()
        step = _step(work, trial, section, part, self.faults)
        self._done.append(_Done(of, step, trial))
        return self._done[at]


def _sections(bench: Bench) -> Iterator[tuple[str, Section]]:
    """Yield the sections of a file with their parts, in the order of work."""
    for part in _WORK:
        sections = bench.held.parts.get(part, [])
        if not sections and part in _FROM_THE_BLADE and bench.fit is not None:
            sections = [Section(part, {})]
        for section in sections:
            yield part, section


def _of_blade(fit: WobbleFit) -> Step:
    """Return the step of a blade in whose readings a mistake seems likely."""
    first, *others = neutral_line(fit).instructions
    return Step(
        part="blade",
        title="Blade",
        do=(first,),
        found=tuple(others),
        state="read again",
        entries=("blade.readings",),
    )


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
    since, cause = max((moved[one] for one in step.rests if one in moved), default=(0, ""))
    if since > step.place:
        done = "cut" if step.part.startswith(("stop", "test_cut")) else "read"
        again = f"{done.title()} it again."
        step = step.voided(f"It was {done} before {cause}, and does not hold any more. {again}")
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
