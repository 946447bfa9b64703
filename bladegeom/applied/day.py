"""A day's files: the blades in them, and the same blades before their service."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from bladegeom.applied.change import Change, change
from bladegeom.errors import Fault, RefusedError, as_letters
from bladegeom.fitted.fit import fit_wobble
from bladegeom.fitted.wobble import WobbleFit
from bladegeom.measured.blade_facts import LACKING
from bladegeom.measured.blades import Batch
from bladegeom.measured.readings import Readings
from bladegeom.measured.tables import read_blades


def read_day(
    inputs: Sequence[str | os.PathLike[str]],
    blades: str | os.PathLike[str] | None,
    unit: str | None,
) -> tuple[list[tuple[str, str, Readings]], list[Fault], list[str]]:
    """Return each blade with a name of its own and its file, every fault, and notes."""
    read: list[tuple[str, Readings]] = []
    refused: list[Fault] = []
    notes: list[str] = []
    for one in inputs:
        file = as_letters(Path(one).name)
        try:
            batch = _blades_of(one, blades, unit)
        except RefusedError as error:
            refused += [placed(fault, file) for fault in error.faults]
            continue
        read += [(file, readings) for readings in batch.readings]
        refused += [placed(fault, file) for fault in batch.refused]
        notes += [f"{file}: {note}" for note in batch.notes]
    if not read:
        raise RefusedError(refused)
    times = Counter(readings.blade.name for _, readings in read)
    seen: Counter[str] = Counter()
    named = []
    for file, readings in read:
        who = readings.blade.name or Path(file).stem
        if times[readings.blade.name] > 1:
            seen[f"{who} {file}"] += 1
            who = f"{who} {file} {seen[f'{who} {file}']}"
        named.append((who, file, readings))
    return named, refused, notes


def _blades_of(
    path: str | os.PathLike[str], blades: str | os.PathLike[str] | None, unit: str | None
) -> Batch:
    """Read a table; a blade without a row in the table of facts goes by what its readings say."""
    batch = read_blades(path, blades=blades, unit=unit)
    lacking = {one.blade for one in batch.refused if one.problem.endswith(LACKING)}
    if not lacking:
        return batch
    plain = {one.blade.name: one for one in read_blades(path, unit=unit).readings}
    saved = {name: one for name, one in plain.items() if name in lacking}
    known = {one.blade.name: one for one in batch.readings} | saved
    notes = list(batch.notes)
    if saved:
        notes.append(f"no row of facts, judged by the readings alone: {', '.join(saved)}")
    return Batch(
        [known[name] for name in plain if name in known]
        + [one for name, one in known.items() if name not in plain],
        [fault for fault in batch.refused if fault.blade not in saved],
        notes,
    )


class Earlier:
    """The blades as they were before their service.

    Parameters
    ----------
    inputs, blades, unit
        As for `run_batch`, of the readings before.
    tooth_1_marked, seating_sd_mm
        As for `change`.
    """

    def __init__(
        self,
        inputs: Sequence[str | os.PathLike[str]],
        blades: str | os.PathLike[str] | None,
        unit: str | None,
        tooth_1_marked: bool,
        seating_sd_mm: float | None,
    ) -> None:
        self.marked, self.seating_sd_mm = tooth_1_marked, seating_sd_mm
        self.refused: list[Fault] = []
        self.read: dict[str, tuple[str, Readings]] = {}
        twice: set[str] = set()
        for one in inputs:
            file = as_letters(Path(one).name)
            try:
                batch = _blades_of(one, blades, unit)
            except RefusedError as error:
                self.refused += [placed(fault, file) for fault in error.faults]
                continue
            self.refused += [placed(fault, file) for fault in batch.refused]
            for readings in batch.readings:
                name = readings.blade.name
                twice |= {name} & self.read.keys()
                self.read[name] = (file, readings)
        for name in sorted(twice):
            self.refused.append(
                Fault(
                    f"{self.read.pop(name)[0]}: its readings before come twice",
                    "give one set of readings before for each blade",
                    blade=name,
                )
            )

    @property
    def names(self) -> set[str]:
        """The blades that were read before."""
        return {*self.read}

    def change_to(self, fit: WobbleFit, refused: list[Fault]) -> Change | None:
        """Return how a blade has changed; None where it cannot be told, which is added."""
        if fit.readings.blade.name not in self.read:
            return None
        file, readings = self.read[fit.readings.blade.name]
        try:
            return change(
                fit_wobble(readings),
                fit,
                tooth_1_marked=self.marked,
                seating_sd_mm=self.seating_sd_mm,
            )
        except RefusedError as error:
            refused += [placed(fault, file) for fault in error.faults]
            return None


def placed(fault: Fault, file: str) -> Fault:
    """Return a fault that says in which file it is."""
    return (
        fault
        if fault.problem.startswith(f"{file}: ")
        else replace(fault, problem=f"{file}: {fault.problem}")
    )
