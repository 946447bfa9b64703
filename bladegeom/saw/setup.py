"""A saw set up step by step: what its file says, in the order in which a careful person works."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date as Date  # noqa: N812
from pathlib import Path
from typing import Any

from bladegeom.faults import RefusedError, refuse
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.readings import Readings
from bladegeom.result import Result, Row
from bladegeom.saw.compare import DO_NOT_AGREE, CutComparison
from bladegeom.saw.saw_file import SawFile, Section, read_saw
from bladegeom.saw.steps import NOT_READ, Bench, Step, steps_of
from bladegeom.tables.read import read_blades


@dataclass(frozen=True, eq=False, repr=False)
class SetUp(Result):
    """A saw, step by step.

    Attributes
    ----------
    saw, notes : str
        Name of the saw, and what else its owner wrote.
    date : datetime.date or None
        When it was measured.
    fit : WobbleFit or None
        Of the blade on it.
    marks : NeutralLine or None
    steps : tuple of Step
        In the order of work; parts that the file leaves out are left out.
    test_cut : CutComparison or None
        Predicted against measured, where the file holds test cuts and what predicts them.
    warnings : tuple of str
    """

    saw: str
    notes: str
    date: Date | None
    fit: WobbleFit | None
    marks: NeutralLine | None
    steps: tuple[Step, ...]
    test_cut: CutComparison | None
    warnings: tuple[str, ...]

    def _title(self) -> str:
        return self.title

    @property
    def title(self) -> str:
        """Saw, blade and date."""
        blade = self.fit.readings.blade.name if self.fit is not None else ""
        parts = [self.saw or "Table saw", *([f"blade {blade}"] if blade else [])]
        return ", ".join([*parts, *([self.date.isoformat()] if self.date else [])])

    @property
    def now(self) -> Step | None:
        """The one step to do now; None where nothing that was read asks for one.

        Where the test cut was not as predicted, something that was read is wrong: that comes
        before any move. Else it is the first step, in the order of work, to move or to read again.
        """
        asked = [step for step in self.steps if step.state in ("move", "read again")]
        if self.test_cut is not None and self.test_cut.verdict == DO_NOT_AGREE:
            return next(step for step in asked if step.part == "test_cut")
        return asked[0] if asked else None

    @property
    def do_now(self) -> str:
        """The one thing to do now, in words."""
        if self.now is None:
            unread = next((at for at, step in enumerate(self.steps, 1) if step.part == NOT_READ), 0)
            said = "Do now: nothing. No move is told by what was read."
            return f"{said} Step {unread} names the parts that were not read." if unread else said
        place = self.steps.index(self.now) + 1
        return f"Do now: step {place}, {self.now.title}. {' '.join(self.now.do)}"

    def _rows(self) -> Sequence[Row]:
        blade = None if self.fit is None else self.fit.readings.blade.name
        marked = self.marks.marked if self.marks else None
        return [
            Row("saw", self.saw),
            Row("blade", blade),
            Row("date", self.date.isoformat() if self.date else None),
            Row("now", self.now and self.now.title, "now", self.do_now),
            Row("neutral_teeth", [end.tooth for end in marked] if marked else None),
            *(
                Row("", None, f"{place} {step.title}", step.summary)
                for place, step in enumerate(self.steps, start=1)
            ),
            Row("steps", [step.to_dict() for step in self.steps]),
            Row("test_cut", self.test_cut.to_dict() if self.test_cut else None),
            Row("warnings", list(self.warnings)),
        ]

    def _remarks(self) -> Sequence[str]:
        return self.warnings


def set_up(path: str | os.PathLike[str]) -> SetUp:
    """Read the file of a saw and work out every step that it holds.

    Parameters
    ----------
    path : path
        A TOML file; see `bladegeom.saw.saw_file.read_saw`. The blade's readings are looked
        for beside it.

    Returns
    -------
    SetUp

    Raises
    ------
    RefusedError
        Listing everything in the file that cannot be used, with its row.
    """
    held = read_saw(path)
    saw = held.one("saw") or Section("saw", {})
    fit = _fit(held)
    bench = Bench(held, fit, saw.get("tilts"))
    steps = steps_of(bench)
    remarks = [f"blade: {one}" for one in (fit.said if fit else ())]
    remarks += [f"{step.title.lower()}: {one}" for step in steps for one in step.remarks]
    return SetUp(
        saw=saw.get("name", ""),
        notes=saw.get("notes", ""),
        date=saw.get("date"),
        fit=fit,
        marks=None if fit is None else neutral_line(fit),
        steps=tuple(steps),
        test_cut=bench.comparison,
        warnings=tuple(remarks),
    )


def _fit(held: SawFile) -> WobbleFit | None:
    section = held.one("blade")
    if section is None:
        return None
    file = section.get("readings")
    try:
        return fit_wobble(_readings(held.path.parent, section))
    except RefusedError as error:
        here = [
            replace(
                fault,
                problem=fault.problem
                if fault.row is None
                else f"{file}, row {fault.row}: {fault.problem}",
                column=fault.column or "readings",
            )
            for fault in error.faults
        ]
        raise RefusedError(section.located(RefusedError(here))) from None


def _readings(folder: Path, section: Section) -> Readings:
    file = folder / section.get("readings")
    facts: dict[str, Any] = {}
    if "facts" in section.values:
        facts["blades"] = folder / section.get("facts")
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
