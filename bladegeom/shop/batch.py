"""A day's files: the blades in them, the same blades before their service, and the queue's rows."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from datetime import date as Date  # noqa: N812
from pathlib import Path
from typing import Any, NamedTuple

from bladegeom.faults import NO_ROW, Fault, RefusedError, as_letters, refuse
from bladegeom.fit.answer import blade_answer
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import Length
from bladegeom.readings import Readings
from bladegeom.shop.change import Change, change
from bladegeom.shop.condition import Condition
from bladegeom.tables.blade_facts import BladeFacts, folded
from bladegeom.tables.blades import Batch, not_read
from bladegeom.tables.eye import eye_fault
from bladegeom.tables.read import parse_blades
from bladegeom.tables.text import read_bytes

_Path = str | os.PathLike[str]

REFUSED = "refused"
"""Action and outcome of what could not be judged."""

_RENAMED = {"verdict": "change_verdict", "warnings": "change_warnings"}
CHANGED = _RENAMED | {
    key: key
    for keys in Change.glossary()
    for key in keys
    if key not in (*_RENAMED, "blade", "unit")
}
"""Key of a `Change` -> its key in the queue."""


class Read(NamedTuple):
    """A blade of the day.

    Attributes
    ----------
    who : str
        A name of its own in the batch.
    file : str
    readings : Readings
    eye : str
        What the eye found, in words that say so; empty where it is not recorded.
    """

    who: str
    file: str
    readings: Readings
    eye: str


def read_day(inputs: Sequence[_Path], facts: BladeFacts | None, unit: str | None) -> Batch[Read]:
    """Read a day's files, each fault with its file; what is wrong with one stops no other."""
    day: Batch[Read] = Batch([], [], [])
    batches = [*_batches(inputs, facts, unit, day.refused)]
    names = {
        name
        for _, _, batch in batches
        for name in (
            *(readings.blade.name for readings in batch.readings),
            *(fault.blade for fault in batch.refused if fault.blade),
        )
    }
    # A row that no blade's name fits may be of one whose name is written otherwise.
    rest = set() if facts is None else {folded(one) for one in facts.rows.keys() - names}
    found: list[tuple[str, Readings, str]] = []
    for path, file, batch in batches:
        whole, bare = _with_bare(path, batch, rest, unit)
        for readings in whole.readings:
            name = readings.blade.name
            row = "" if facts is None or name in bare else facts.name_of(name)
            found.append((file, readings, row))
        day.refused.extend(fault.within(file) for fault in whole.refused)
        day.notes.extend(f"{file}: {note}" for note in whole.notes)
        if bare:
            said = f"no row of facts, judged by the readings alone: {', '.join(bare)}"
            day.notes.append(f"{file}: {said}")
    if facts is not None:
        used = names.union(row for _, _, row in found)
        day.notes.extend(facts.notes)
        day.notes.extend(f"{Path(facts.name).name}: {note}" for note in not_read(facts, used))
    times = Counter(readings.blade.name for _, readings, _ in found)
    of_row: dict[str, set[str]] = {}
    for _, readings, row in found:
        of_row.setdefault(row, set()).add(readings.blade.name)
    seen: Counter[str] = Counter()
    for file, readings, row in found:
        name = readings.blade.name
        eye, wrong = _seen(facts, row, name, of_row[row])
        if wrong:
            day.refused.append(wrong.within(file))
            continue
        who = name or Path(file).stem
        if times[name] > 1:
            seen[f"{who} {file}"] += 1
            who = f"{who} {file} {seen[f'{who} {file}']}"
        day.readings.append(Read(who, file, readings, eye))
    return day


def _seen(
    facts: BladeFacts | None, row: str, name: str, of_row: Collection[str]
) -> tuple[str, Fault | None]:
    """Return what the eye found of a blade, or why that cannot be told.

    The row of facts may be of several blades, none of which has its name.
    """
    eye = "" if facts is None else facts.eyes.get(row, "")
    if facts is None or not eye:
        return eye, None
    if row != name and len(of_row) > 1:
        problem = f"{facts.name} does not say of which blade the eye found {eye!r}"
        return eye, Fault(problem, "name the blade, there and in the readings", name or None)
    return eye, eye_fault(eye, name or None, f" in row {facts.places[row]} of {facts.name}")


def _batches(
    inputs: Sequence[_Path], facts: BladeFacts | None, unit: str | None, refused: list[Fault]
) -> Iterator[tuple[_Path, str, Batch[Readings]]]:
    """Read files one by one: each with its name and what it held, or its faults."""
    for path in inputs:
        try:
            yield path, as_letters(Path(path).name), _parsed(path, facts, unit)
        except RefusedError as error:
            refused.extend(fault.within(as_letters(Path(path).name)) for fault in error.faults)


def _parsed(path: _Path, facts: BladeFacts | None, unit: str | None) -> Batch[Readings]:
    return parse_blades(read_bytes(path), as_letters(Path(path).name), blades=facts, unit=unit)


def _with_bare(
    path: _Path, batch: Batch[Readings], rest: Collection[str], unit: str | None
) -> tuple[Batch[Readings], list[str]]:
    """Add the blades without a row of facts that go by what their readings say; name them.

    Those stay refused whose name, as `folded`, is that of a row of the rest.
    """
    lacking = {
        fault.blade
        for fault in batch.refused
        if fault.kind == NO_ROW and folded(fault.blade or "") not in rest
    }
    if not lacking:
        return batch, []
    plain = {one.blade.name: one for one in _parsed(path, None, unit).readings}
    bare = [name for name in plain if name in lacking]
    known = {one.blade.name: one for one in batch.readings} | {one: plain[one] for one in bare}
    order = dict.fromkeys([*(name for name in plain if name in known), *known])
    refused = [fault for fault in batch.refused if fault.blade not in bare]
    return Batch([known[name] for name in order], refused, batch.notes), bare


class Earlier:
    """The blades as they were before their service.

    Parameters
    ----------
    inputs, facts, unit
        As for `read_day`, of the readings before.
    tooth_1_marked, seating
        As for `change`.
    """

    def __init__(
        self,
        inputs: Sequence[_Path],
        facts: BladeFacts | None,
        unit: str | None,
        tooth_1_marked: bool,
        seating: Length | None,
    ) -> None:
        self._how: dict[str, Any] = {"tooth_1_marked": tooth_1_marked, "seating": seating}
        self.refused: list[Fault] = []
        self._read: dict[str, tuple[str, Readings]] = {}
        twice: set[str] = set()
        for path, file, found in _batches(inputs, facts, unit, self.refused):
            batch, _ = _with_bare(path, found, (), unit)
            self.refused += [fault.within(file) for fault in batch.refused]
            for readings in batch.readings:
                name = readings.blade.name
                twice |= {name} & self.names
                self._read[name] = (file, readings)
        cure = "give one set of readings before for each blade"
        self.refused += [
            Fault("its readings before come twice", cure, name, file=self._read.pop(name)[0])
            for name in sorted(twice)
        ]

    @property
    def names(self) -> set[str]:
        """The blades that were read before."""
        return {*self._read}

    def change_to(self, fit: WobbleFit) -> Change | None:
        """Return how a blade has changed; None where it cannot be told, which is refused."""
        if fit.readings.blade.name not in self._read:
            return None
        file, readings = self._read[fit.readings.blade.name]
        try:
            before = fit_wobble(readings)
            if before.mistake is not None:
                raise refuse(
                    "not compared, a mistake seems likely in the readings before: "
                    f"{before.mistake.words.rstrip('.')}",
                    f"see bladegeom check {file}; repair them, or leave them out",
                    blade=readings.blade.name,
                )
            return change(before, fit, **self._how)
        except RefusedError as error:
            self.refused += [fault.within(file) for fault in error.faults]
            return None


def queue_row(condition: Condition, changed: Change | None, day: Date) -> dict[str, Any]:
    """Return what the queue says of a blade that was judged."""
    said = condition.to_dict()
    del said["warnings"]  # Of the fit, which the answer has at its end.
    first = {"blade": said.pop("blade"), "action": said.pop("action")}
    first |= {"outcome": said.pop("outcome"), "date": day.isoformat()}
    since = changed.to_dict() if changed is not None else {}
    return (
        first
        | said
        | blade_answer(condition.fit, condition.marks)
        | {name: since.get(key) for key, name in CHANGED.items()}
    )


def left_rows(refused: Iterable[Fault], like: Iterable[str], day: Date) -> list[dict[str, Any]]:
    """Return what the queue says of what was refused: the reasons and no number."""
    why: dict[tuple[str, str], list[str]] = {}
    for fault in refused:
        file = fault.file or ""
        row = "" if fault.row is None else f", row {fault.row}"
        reason = f"{file}{row}: {fault.problem}; {fault.cure}."
        why.setdefault((fault.blade or "", file), []).append(reason)
    said = {"action": REFUSED, "outcome": REFUSED, "date": day.isoformat()}
    return [
        dict.fromkeys(like) | said | {"blade": blade, "file": file, "reasons": " ".join(reasons)}
        for (blade, file), reasons in sorted(why.items())
    ]
