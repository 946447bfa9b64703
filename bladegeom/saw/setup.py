"""A saw set up step by step: what its file says, in the order in which a careful person works."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date as Date  # noqa: N812
from functools import partial
from pathlib import Path

from bladegeom.estimate import Answer
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.readings import Readings
from bladegeom.result import Result, derived, described, quantity
from bladegeom.saw._plate_steps import not_read_step, plate_step
from bladegeom.saw._saw_file import SawFile, read_saw
from bladegeom.saw.bench import NOT_READ, Bench, Step
from bladegeom.saw.compare import CutComparison, compare_test_cut
from bladegeom.saw.cut import flip_step, kerf_step, round_step, stop_step
from bladegeom.saw.fence import fence_step
from bladegeom.saw.insert import insert_step
from bladegeom.saw.slots import slots_step
from bladegeom.tables.read import read_blades
from bladegeom.tables.toml import Section

_WORK: dict[str, Callable[[Bench, Section], Step | None]] = {
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
        "the day on which it was measured, as text", parts={"": lambda day: day.isoformat()}
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
        asked = [step for step in self.steps if step.state in ("move", "read again")]
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
        return f"Do now: step {place}, {self.now.title}. {' '.join(self.now.do)}"

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
    held = read_saw(path)
    saw = held.one("saw") or Section("saw", {})
    fit = _fit(held)
    bench = Bench(held, fit)
    steps = _steps(bench)
    compared = compare_test_cut(bench.checks) if bench.checks else None
    if compared is not None:
        steps.append(_compared(compared))
    if bench.unread:
        steps.append(not_read_step(bench))
    remarks = [f"blade: {one}" for one in (fit.said if fit else ())]
    remarks += [f"{step.title.lower()}: {one}" for step in steps for one in step.remarks]
    return SetUp(
        saw=saw.get("name", ""),
        notes=saw.get("notes", ""),
        date=saw.get("date"),
        fit=fit,
        marks=None if fit is None else neutral_line(fit),
        steps=tuple(steps),
        test_cut=compared,
        warnings=tuple(remarks),
    )


def _steps(bench: Bench) -> list[Step]:
    """Return the steps that stand in the file, in the order of work, or refuse all that cannot."""
    steps: list[Step] = []
    if bench.fit is not None and bench.fit.mistake is not None:
        first, *others = neutral_line(bench.fit).instructions
        steps.append(
            Step(part="blade", title="Blade", do=(first,), found=tuple(others), state="read again")
        )
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
    return steps


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


def _fit(held: SawFile) -> WobbleFit | None:
    section = held.one("blade")
    if section is None:
        return None
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
        dict.fromkeys(one.blade.name or "one without a name" for one in batch.readings)
    )
    raise refuse(
        f"{file.name} holds {len(batch.readings)} blades: {names}"
        if name is None
        else f"{file.name} holds no blade {name}, but {names}",
        "say which one is on the saw: name = ...",
        column="name",
        value=name,
    )
