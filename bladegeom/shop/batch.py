"""A day's files: the blades in them, the same blades before their service, and the queue's rows."""

from __future__ import annotations

import math
import os
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date as Date  # noqa: N812
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.faults import NO_ROW, Fault, RefusedError, as_letters, refuse
from bladegeom.fit.answer import blade_answer
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.span import Scatter
from bladegeom.lengths import MM_PER, Length
from bladegeom.readings import Readings
from bladegeom.shop.change import Change, change
from bladegeom.shop.condition import Condition
from bladegeom.tables.blade_facts import BladeFacts, facts_beside, folded
from bladegeom.tables.blades import Batch, leave_unread, not_read, some_of
from bladegeom.tables.eye import eye_fault
from bladegeom.tables.read import parse_blades
from bladegeom.tables.text import read_bytes

_Path = str | os.PathLike[str]
_How = Mapping[str, Any]

_FEWEST_CLOSED, _FAR = 10, 2.5
"""Turns closed that tell how well a reading repeats; the standard deviations it may be off."""

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
    apart : str
        What tells it from another blade of its name, such as its file; empty where none has it.
    """

    who: str
    file: str
    readings: Readings
    eye: str
    apart: str


def read_day(inputs: Sequence[_Path], facts: BladeFacts | None, **how: Any) -> Batch[Read]:
    """Read a day's files, each fault with its file; what is wrong with one stops no other.

    `how` is as for `bladegeom.read_blades`: the unit, and which sheet of a workbook.
    """
    day: Batch[Read] = Batch([], [], [])
    batches = [*_batches(inputs, facts, how, day.refused)]
    names = {
        name
        for _, _, batch, _, unread in batches
        for name in (
            *unread,
            *(readings.blade.name for readings in batch.readings),
            *(fault.blade for fault in batch.refused if fault.blade),
        )
    }
    # A row that no blade's name fits may be of one whose name is written otherwise.
    rest = set() if facts is None else {folded(one) for one in facts.rows.keys() - names}
    found: list[tuple[_Path, Readings, BladeFacts | None, str]] = []
    for path, file, batch, own, _ in batches:
        whole, bare = _with_bare(path, batch, rest, how)
        for readings in whole.readings:
            name = readings.blade.name
            row = "" if own is None or name in bare else own.name_of(name)
            found.append((path, readings, own, row))
        day.refused.extend(fault.within(file) for fault in whole.refused)
        day.notes.extend(f"{file}: {note}" for note in whole.notes)
        if bare:
            said = f"no row of facts, judged by the readings alone: {', '.join(bare)}"
            day.notes.append(f"{file}: {said}")
        if own is not None and own is not facts:
            elsewhere = names if facts is None else names | facts.rows.keys()
            day.notes.extend(f"{file}: {note}" for note in not_read(own, elsewhere))
    if facts is not None:
        used = names.union(row for _, _, _, row in found)
        day.notes.extend(facts.notes)
        day.notes.extend(f"{Path(facts.name).name}: {note}" for note in not_read(facts, used))
    times = Counter(readings.blade.name for _, readings, _, _ in found)
    of_row: dict[str, set[str]] = {}
    for _, readings, _, row in found:
        of_row.setdefault(row, set()).add(readings.blade.name)
    several: dict[str, list[str]] = {}
    files = Counter(as_letters(Path(path).name) for path in {*(os.fspath(one) for one in inputs)})
    for path, readings, own, row in found:
        name, file, apart = readings.blade.name, as_letters(Path(path).name), ""
        eye, wrong = _seen(own, row, name, of_row[row])
        if wrong:
            day.refused.append(wrong.within(file))
            continue
        who = name or Path(file).stem
        if times[name] > 1:
            apart = file if files[file] == 1 else as_letters(Path(path).parent.name + f"/{file}")
            others = several.setdefault(who, [])
            again = 1 + sum(one == apart or one.startswith(f"{apart}, ") for one in others)
            apart += f", {again}" if again > 1 else ""
            others.append(apart)
            who = f"{who} {apart}"
        day.readings.append(Read(who, file, readings, eye, apart))
    day.notes.extend(
        f"{len(places)} blades are called {name} ({'; '.join(places)}): each has a sheet of its "
        "own, headed by its file; they are compared with none before, and not recorded"
        for name, places in several.items()
    )
    if not day.readings and not day.refused:
        day.refused.append(
            Fault("no blade is read yet", "write down the readings, and run it again")
        )
    return day


class _File(NamedTuple):
    """A file of the day: what it held, what is stated beside that, and the blades left blank."""

    path: _Path
    name: str
    batch: Batch[Readings]
    facts: BladeFacts | None
    unread: list[str]


class Repeats:
    """How well a day's readings repeat, by the step of the dial, from its closing readings.

    A closing reading differs from the first of its tooth by sqrt(2) times the scatter of one,
    where the stand stood still. Those that differ by far more are left out: a stand that moved, or
    a slip.
    """

    def __init__(self, day: Iterable[Readings]) -> None:
        found: dict[float, list[float]] = {}
        for one in day:
            if not one.graduation:
                continue  # Nothing says which blades were read with one indicator.
            to_mm = MM_PER[one.unit]
            found.setdefault(_step_mm(one), []).extend(one.closures * to_mm)
        self._of_step = {step: _scatter(np.array(all_), step) for step, all_ in found.items()}

    def of(self, readings: Readings) -> Scatter | None:
        """Return that of a blade's indicator, in the unit of its readings; None from too few."""
        found = self._of_step.get(_step_mm(readings))
        return found and Scatter(found.sd / MM_PER[readings.unit], found.dof)


def _step_mm(readings: Readings) -> float:
    return round((readings.graduation or 0.0) * MM_PER[readings.unit], 9)


def _scatter(closures: NDArray[np.float64], step: float) -> Scatter | None:
    """Return the scatter of one reading; None where too few turns were closed."""
    kept = closures[np.isfinite(closures)]
    while len(kept) >= _FEWEST_CLOSED:
        sd = max(math.sqrt(float(np.mean(kept**2)) / 2), step / math.sqrt(12))
        inside = kept[np.abs(kept) <= _FAR * math.sqrt(2) * sd]
        if len(inside) == len(kept):
            return Scatter(sd, len(kept))
        kept = inside
    return None


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
    inputs: Sequence[_Path], facts: BladeFacts | None, how: _How, refused: list[Fault]
) -> Iterator[_File]:
    """Read files one by one; what is wrong with a whole one is added to what is refused.

    Blades of which nothing was read are left out, with a note.
    """
    for path in inputs:
        name = as_letters(Path(path).name)
        try:
            data = read_bytes(path)
            own = facts_beside(data, name, how["sheet"], facts)
            batch = parse_blades(data, name, blades=own, **how)
            if unread := [fault.blade or name for fault in leave_unread(batch)]:
                batch.notes.append(f"not read: {some_of(unread)}")
            yield _File(path, name, batch, own, unread)
        except RefusedError as error:
            refused.extend(fault.within(name) for fault in error.faults)


def _by_themselves(path: _Path, how: _How) -> Batch[Readings]:
    """Read a file without what is stated beside its readings."""
    none = BladeFacts("", {}, {}, {}, [], of_some=True)
    return parse_blades(read_bytes(path), as_letters(Path(path).name), blades=none, **how)


def _with_bare(
    path: _Path, batch: Batch[Readings], rest: Collection[str], how: _How
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
    plain = {one.blade.name: one for one in _by_themselves(path, how).readings}
    bare = [name for name in plain if name in lacking]
    known = {one.blade.name: one for one in batch.readings} | {one: plain[one] for one in bare}
    order = dict.fromkeys([*(name for name in plain if name in known), *known])
    refused = [fault for fault in batch.refused if fault.blade not in bare]
    return Batch([known[name] for name in order], refused, batch.notes), bare


class Earlier:
    """The blades as they were before their service.

    Parameters
    ----------
    inputs, facts, **how
        As for `read_day`, of the readings before.
    tooth_1_marked, seating
        As for `change`.
    """

    def __init__(
        self,
        inputs: Sequence[_Path],
        facts: BladeFacts | None,
        tooth_1_marked: bool,
        seating: Length | None,
        **how: Any,
    ) -> None:
        self._compared: dict[str, Any] = {"tooth_1_marked": tooth_1_marked, "seating": seating}
        self.refused: list[Fault] = []
        self._read: dict[str, tuple[str, Readings]] = {}
        twice: set[str] = set()
        for path, file, found, *_ in _batches(inputs, facts, how, self.refused):
            batch, _ = _with_bare(path, found, (), how)
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
            return change(before, fit, **self._compared)
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
