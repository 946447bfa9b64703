"""A saw set up step by step: what its file says, in the order in which a careful person works."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from datetime import date as Date  # noqa: N812
from pathlib import Path

from bladegeom.estimate import Answer
from bladegeom.faults import RefusedError, refuse
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.readings import Readings
from bladegeom.result import Result, derived, described, quantity
from bladegeom.saw._plate_steps import not_read_step
from bladegeom.saw._saw_file import SawFile, day_of, read_saw
from bladegeom.saw._work import worked
from bladegeom.saw.bench import NOT_READ, Step
from bladegeom.saw.compare import CutComparison, compare_test_cut
from bladegeom.tables.read import read_blades
from bladegeom.tables.toml import Section

_LOOK: dict[Answer, tuple[str, ...]] = {
    "yes": (),
    "no": ("Look for dish, the square, or a sign, and measure again, before you move anything.",),
    "cannot tell": ("Measure again, or state the graduations.",),
}
"""Whether the test cuts agree -> what to do."""


@described
class SetUp(Result):
    """A saw, step by step."""

    saw: str = quantity("name of the saw")

    @derived("the blade's name, as text")
    def blade(self) -> str | None:
        return None if self.fit is None else self.fit.readings.blade.name

    date: Date | None = quantity(
        "the day on which it was measured, last of all, as text",
        parts={"": lambda day: day.isoformat()},
    )

    @derived(
        "title of the one step to do now, none where no move is told",
        parts={"": lambda step: step.title},
        label="now",
        text=lambda one: one.do_now,
    )
    def now(self) -> Step | None:
        # Where the test cut was not as predicted, something that was read is wrong: that comes
        # before any move. Else it is the first step to move or to read again, in the order of work.
        asked = sorted((step for step in self.steps if step.asked), key=lambda step: step.turn)
        if self.test_cut is not None and self.test_cut.agree == "no":
            return next(step for step in asked if step.part == "test_cut")
        return asked[0] if asked else None

    @derived("teeth to mark")
    def neutral_teeth(self) -> list[int] | None:
        marked = self.marks.marked if self.marks else None
        return [end.tooth for end in marked] if marked else None

    steps: tuple[Step, ...] = quantity(
        "every step in the order of work; parts that the file leaves out are left out",
        label="steps",
        text=lambda one: [
            (f"{place} {step.title}", step.summary) for place, step in enumerate(one.steps, start=1)
        ],
    )
    test_cut: CutComparison | None = quantity(
        "predicted against measured, where the file holds test cuts and what predicts them"
    )
    warnings: tuple[str, ...] = quantity("what the reader should know")
    notes: str
    """What else its owner wrote."""
    fit: WobbleFit | None
    """Of the blade on it."""
    unit: str
    """In which its lengths are told, mm or in: that of most readings in the file."""
    marks: NeutralLine | None

    def _title(self) -> str:
        return self.title

    @property
    def title(self) -> str:
        """Saw, blade and date."""
        blade = self.fit.readings.blade.name if self.fit is not None else ""
        parts = [self.saw or "Table saw", *([f"blade {blade}"] if blade else [])]
        return ", ".join([*parts, *([self.date.isoformat()] if self.date else [])])

    @property
    def do_now(self) -> str:
        """The one thing to do now, in words."""
        if self.now is None:
            unread = next((at for at, step in enumerate(self.steps, 1) if step.part == NOT_READ), 0)
            said = "Do now: nothing. No move is told by what was read."
            return f"{said} Step {unread} names the parts that were not read." if unread else said
        place = self.steps.index(self.now) + 1
        return f"Do now: step {place}, {self.now.name}. {' '.join(self.now.told)}"

    @property
    def next(self) -> SetUp:
        """The same with the one step to do now; where there is none, with those left in doubt."""
        if self.now is None:
            return replace(self, steps=tuple(step for step in self.steps if step.doubtful))
        return replace(self, steps=(self.now,), warnings=_warnings(self.fit, [self.now]))

    def step_of(self, title: str) -> Step | None:
        """Return the step of a part of the file, ``slots`` or ``bevel 2``, if it has one."""
        return next((step for step in self.steps if step.of == title), None)

    def when(self, step: Step) -> str:
        """Say when a step was read, where that is not the day of the last reading of all."""
        day = self._day(step) if step.found else ""
        return f"read{day}" if day else ""

    def was(self, step: Step) -> str:
        """Say what was found in a step before, and when, likewise; empty where nothing was."""
        return f"before{self._day(step.before)}: {step.was}" if step.before else ""

    def _day(self, step: Step) -> str:
        if self.date is None or step.read_at is None or day_of(step.read_at) >= self.date:
            return ""
        return f" on {day_of(step.read_at).isoformat()}"

    def _remarks(self) -> Sequence[str]:
        return self.warnings


@checked
def set_up(path: str | os.PathLike[str]) -> SetUp:
    """Read the file of a saw and work out every step that it holds.

    Parameters
    ----------
    path : path
        A TOML file with the parts that notebooks/saw_file.md tells. Lengths are texts with their
        unit behind, ``"8 in"``, several readings of one thing one text, ``"12.0 12.5 12.0 thou"``.
        The blade's readings are looked for beside it.

    Raises
    ------
    RefusedError
        Listing everything in the file that cannot be used, with its row.
    """
    return set_up_from(read_saw(path))


def set_up_from(held: SawFile) -> SetUp:
    """Work out every step of a saw's file that was read; see `set_up`."""
    saw = held.one("saw") or Section("saw", {})
    fits: dict[int, WobbleFit | None] = {}

    def fit_of(then: SawFile) -> WobbleFit | None:
        blade = then.one("blade")
        place = blade.place if blade else 0
        if place not in fits:
            fits[place] = None if blade is None else _fit(then, blade)
        return fits[place]

    last = held.after(len(held.log))
    fit = fit_of(last)
    bench, steps = worked(held, fit_of, _unit(last, fit))
    compared = compare_test_cut(bench.checks) if bench.checks else None
    if compared is not None:
        steps.append(_compared(compared))
    if bench.unread:
        steps.append(not_read_step(bench))
    steps = [replace(step, read_again=_read_again(step, steps)) for step in steps]
    return SetUp(
        saw=saw.get("name", ""),
        notes=saw.get("notes", ""),
        date=day_of(held.log[-1].at) if held.log else saw.get("date"),
        fit=fit,
        unit=bench.unit,
        marks=None if fit is None else neutral_line(fit),
        steps=tuple(steps),
        test_cut=compared,
        warnings=_warnings(fit, steps),
    )


def _warnings(fit: WobbleFit | None, steps: Sequence[Step]) -> tuple[str, ...]:
    said = [f"blade: {one}" for one in (fit.said if fit else ())]
    said += [f"{step.title.lower()}: {one}" for step in steps for one in step.remarks]
    return tuple(said)


def _read_again(step: Step, steps: Sequence[Step]) -> tuple[str, ...]:
    """Return the entries that hold no more once a step is done, its own first."""
    others: list[Step] = []
    if step.state == "move":
        others = [one for one in steps if one is not step and {*one.rests} & {*step.moves}]
    elif step.asked:
        others = [one for one in steps if {*one.moves} & {*step.reads}]
    else:
        return ()
    return tuple(entry for one in (step, *others) for entry in one.entries)


def _unit(held: SawFile, fit: WobbleFit | None) -> str:
    """Return the unit in which all lengths are told: that of most readings, else of most lengths.

    Where no length is stated it is that of the blade's readings.
    """
    lengths = [
        (isinstance(value[0], list), value[1])
        for sections in held.parts.values()
        for section in sections
        for value in section.values.values()
        if isinstance(value, tuple) and value[1] in ("mm", "in")
    ]
    several = any(read for read, _ in lengths)
    units = [unit for read, unit in lengths if read is several]
    if fit is not None and not units:
        units = ["mm" if fit.unit in ("mm", "um") else "in"]
    return max(("mm", "in"), key=units.count)


def _compared(comparison: CutComparison) -> Step:
    return Step(
        part="test_cut",
        title="Test cut against what was predicted",
        found=comparison.lines,
        verdict=comparison.word,
        state=None if comparison.agree == "yes" else "read again",
        do=_LOOK[comparison.agree],
        result=comparison,
    )


def _fit(held: SawFile, section: Section) -> WobbleFit:
    try:
        return fit_wobble(_readings(held.path.parent, section))
    except RefusedError as error:
        here = []
        for fault in error.faults:
            row = "" if fault.row is None else f", row {fault.row}"
            file = fault.file or (section.get("readings") if row else "")
            problem = f"{file}{row}: {fault.problem}" if file else fault.problem
            here.append(replace(fault, problem=problem, column=fault.column or "readings"))
        raise RefusedError(section.located(RefusedError(here))) from None


def _readings(folder: Path, section: Section) -> Readings:
    file = folder / section.get("readings")
    facts = {"blades": folder / section.get("facts")} if "facts" in section.values else {}
    batch = read_blades(file, **facts)
    name = section.get("name")
    found = [one for one in batch.readings if name is None or one.blade.name == name]
    if len(found) == 1 and (name is not None or not batch.refused):
        return found[0]
    wrong = [fault for fault in batch.refused if name is None or fault.blade == name]
    if wrong and not found:
        raise RefusedError(wrong)
    names = ", ".join(
        dict.fromkeys(str(one.blade.who) or "one without a name" for one in batch.readings)
    )
    raise refuse(
        f"{file.name} holds {len(batch.readings)} blades: {names}"
        if name is None
        else f"{file.name} holds {'several blades' if found else 'no blade'} {name}, but {names}",
        "say which one is on the saw: name = ..."
        if not found or name is None
        else "take the others of that name out of the file",
        column="name",
        value=name,
    )
