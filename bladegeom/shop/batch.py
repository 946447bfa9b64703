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

from bladegeom.faults import NO_ROW, Fault, RefusedError, Who, as_letters, refuse
from bladegeom.fit.answer import blade_answer
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.span import Scatter
from bladegeom.lengths import MM_PER, Length
from bladegeom.readings import Readings
from bladegeom.shop.again import in_short, over_limit, read_again
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
    if key not in (*_RENAMED, "blade", "customer", "unit")
}
"""Key of a `Change` -> its key in the queue."""


class Read(NamedTuple):
    """A blade of the day.

    Attributes
    ----------
    who : str
        A name of its own in the batch, with the customer's before it.
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

    `how` is as for `bladegeom.read_blades`: the unit, which sheet of a workbook, and facts.
    """
    day: Batch[Read] = Batch([], [], [])
    batches = [*_batches(inputs, facts, how, day.refused)]
    names = {
        who
        for one in batches
        for who in (
            *one.unread,
            *(readings.blade.who for readings in one.batch.readings),
            *(fault.who for fault in one.batch.refused if fault.blade),
        )
    }
    found: list[tuple[_Path, Readings, BladeFacts | None, Who | None]] = []
    for path, file, batch, own, _ in batches:
        rest: set[str] = set()
        if own is not None:
            # A row that no blade fits may be of one whose name, or customer, is written otherwise.
            served = {own.row_of(who) for who in names}
            rest = {folded(one.name) for one in own.rows.keys() - served}
        whole, bare = _with_bare(path, batch, rest, how)
        for readings in whole.readings:
            who = readings.blade.who
            row = None if own is None or who in bare else own.found_for(who)
            found.append((path, readings, own, row))
        day.refused.extend(fault.within(file) for fault in whole.refused)
        day.notes.extend(f"{file}: {note}" for note in whole.notes)
        if bare:
            said = f"no row of facts, judged by the readings alone: {', '.join(map(str, bare))}"
            day.notes.append(f"{file}: {said}")
        if own is not None and own is not facts:
            elsewhere = names if facts is None else names | facts.rows.keys()
            day.notes.extend(f"{file}: {note}" for note in not_read(own, elsewhere))
    if facts is not None:
        used = names.union(row for *_, row in found if row)
        day.notes.extend(facts.notes)
        day.notes.extend(f"{Path(facts.name).name}: {note}" for note in not_read(facts, used))
    times = Counter(readings.blade.who for _, readings, *_ in found)
    of_row: dict[Who | None, set[Who]] = {}
    for _, readings, _, row in found:
        of_row.setdefault(row, set()).add(readings.blade.who)
    several: dict[Who, list[str]] = {}
    files = Counter(as_letters(Path(path).name) for path in {*(os.fspath(one) for one in inputs)})
    for path, readings, own, row in found:
        blade, file, apart = readings.blade.who, as_letters(Path(path).name), ""
        eye, wrong = _seen(own, row, blade, of_row[row])
        if wrong:
            day.refused.append(wrong.within(file))
            continue
        called = " ".join(filter(None, (blade.customer, blade.name or Path(file).stem)))
        if times[blade] > 1:
            apart = file if files[file] == 1 else as_letters(Path(path).parent.name + f"/{file}")
            others = several.setdefault(blade, [])
            again = 1 + sum(one == apart or one.startswith(f"{apart}, ") for one in others)
            apart += f", {again}" if again > 1 else ""
            others.append(apart)
            called = f"{called} {apart}"
        day.readings.append(Read(called, file, readings, eye, apart))
    day.notes.extend(
        f"{len(places)} blades are called {who or 'nothing'} ({'; '.join(places)}): each has a "
        "sheet of its own, headed by its file; they are compared with none before, and not recorded"
        for who, places in several.items()
    )
    alike: dict[str, set[str]] = {}
    for blade in times:
        alike.setdefault(folded(blade.customer), set()).add(blade.customer)
    day.notes.extend(
        f"did you mean the same customer? {' and '.join(sorted(spelt))} count as two"
        for spelt in alike.values()
        if len(spelt) > 1
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
    unread: list[Who]


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
    facts: BladeFacts | None, row: Who | None, who: Who, of_row: Collection[Who]
) -> tuple[str, Fault | None]:
    """Return what the eye found of a blade, or why that cannot be told.

    The row of facts may be of several blades: it has none's name, or does not say whose.
    """
    eye = "" if facts is None or row is None else facts.eyes.get(row, "")
    if facts is None or row is None or not eye:
        return eye, None
    if len(of_row) > 1:
        problem = f"{facts.name} does not say of which blade the eye found {eye!r}"
        cure = "name the blade, and whose it is, there and in the readings"
        return eye, Fault(problem, cure).of(who)
    wrong = eye_fault(eye, who.name or None, f" in row {facts.places[row]} of {facts.name}")
    return eye, wrong and wrong.of(who)


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
            own = facts_beside(data, name, how.get("sheet"), facts)
            batch = parse_blades(data, name, blades=own, **how)
            if unread := [fault.who for fault in leave_unread(batch)]:
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
) -> tuple[Batch[Readings], list[Who]]:
    """Add the blades without a row of facts that go by what their readings say; name them.

    Those stay refused whose name, as `folded`, is that of a row of the rest.
    """
    lacking = {
        fault.who
        for fault in batch.refused
        if fault.kind == NO_ROW and folded(fault.blade or "") not in rest
    }
    if not lacking:
        return batch, []
    plain = {one.blade.who: one for one in _by_themselves(path, how).readings}
    bare = [who for who in plain if who in lacking]
    known = {one.blade.who: one for one in batch.readings} | {one: plain[one] for one in bare}
    order = dict.fromkeys([*(who for who in plain if who in known), *known])
    refused = [fault for fault in batch.refused if fault.who not in bare]
    return Batch([known[who] for who in order], refused, batch.notes), bare


class Earlier:
    """The blades as they were before their service.

    Parameters
    ----------
    inputs, facts, **how
        As for `read_day`, of the readings before.
    day : collection of Who
        The blades of the day, each to be known by its name and customer: where only one of the two
        readings states a customer, by its name, if that leaves no choice.
    tooth_1_marked, seating
        As for `change`.
    """

    def __init__(
        self,
        inputs: Sequence[_Path],
        facts: BladeFacts | None,
        day: Collection[Who],
        tooth_1_marked: bool,
        seating: Length | None,
        **how: Any,
    ) -> None:
        self._compared: dict[str, Any] = {"tooth_1_marked": tooth_1_marked, "seating": seating}
        self.refused: list[Fault] = []
        self._read: dict[Who, tuple[str, Readings]] = {}
        twice: set[Who] = set()
        for path, file, found, *_ in _batches(inputs, facts, how, self.refused):
            batch, _ = _with_bare(path, found, (), how)
            self.refused += [fault.within(file) for fault in batch.refused]
            for readings in batch.readings:
                who = readings.blade.who
                twice |= {who} & self._read.keys()
                self._read[who] = (file, readings)
        cure = "give one set of readings before for each blade"
        self.refused += [
            Fault("its readings before come twice", cure, file=self._read.pop(who)[0]).of(who)
            for who in sorted(twice)
        ]
        self._of: dict[Who, Who] = {}
        self._pair({*day})

    def _pair(self, day: set[Who]) -> None:
        """Find the readings before of each blade of the day; refuse where that leaves a choice."""
        may_be: dict[Who, list[Who]] = {}
        for who in sorted(day):
            for one in self._read:
                unsaid = who.name == one.name and not (who.customer and one.customer)
                if who == one or (unsaid and who not in self._read and one not in day):
                    may_be.setdefault(who, []).append(one)
        claims = Counter(one for fits in may_be.values() for one in fits)
        cure = "say in both readings whose it is (column customer)"
        for who, fits in may_be.items():
            if len(fits) == 1 and claims[fits[0]] == 1:
                self._of[who] = fits[0]
            else:
                said = "not compared: which of the readings before are this blade's is not said"
                self.refused.append(Fault(said, cure, file=self._read[fits[0]][0]).of(who))

    def __contains__(self, who: Who) -> bool:
        return who in self._of

    def alone(self, judged: Iterable[Who]) -> list[str]:
        """Return the blades that were read before, and are none of those judged."""
        return sorted(map(str, self._read.keys() - {self._of.get(who) for who in judged}))

    def change_to(self, fit: WobbleFit) -> Change | None:
        """Return how a blade has changed; None where it cannot be told, which is refused."""
        who = fit.readings.blade.who
        if who not in self._of:
            return None
        file, readings = self._read[self._of[who]]
        try:
            before = fit_wobble(readings)
            if before.mistake is not None:
                raise refuse(
                    "not compared, a mistake seems likely in the readings before: "
                    f"{before.mistake.words.rstrip('.')}",
                    f"see bladegeom check {file}; repair them, or leave them out",
                )
            return change(before, fit, **self._compared)
        except RefusedError as error:
            self.refused += [fault.within(file).of(who) for fault in error.faults]
            return None


def queue_row(condition: Condition, changed: Change | None, day: Date) -> dict[str, Any]:
    """Return what the queue says of a blade that was judged."""
    said = condition.to_dict()
    del said["warnings"]  # Of the fit, which the answer has at its end.
    readings = condition.fit.readings
    first = {name: said.pop(name) for name in ("blade", "customer")}
    first |= {name: readings.facts[name] for name in ("job", "operator", "done")}
    over, again = over_limit(condition), read_again(condition)
    first |= {"action": said.pop("action"), "outcome": said.pop("outcome")}
    first |= {"why": in_short(condition), "date": day.isoformat()}
    keys = ("over_limit", "over_limit_on", "over_limit_value")
    first |= zip(keys, over or (None, None, None), strict=True)
    first["measure_again"] = list(again.teeth) if again else None
    first["measure_again_first"] = list(again.first) if again else None
    first["measure_again_why"] = again.why if again else None
    since = changed.to_dict() if changed is not None else {}
    return (
        first
        | said
        | blade_answer(condition.fit, condition.marks)
        | {name: since.get(key) for key, name in CHANGED.items()}
    )


def left_rows(refused: Iterable[Fault], like: Iterable[str], day: Date) -> list[dict[str, Any]]:
    """Return what the queue says of what was refused: the reasons and no number."""
    why: dict[tuple[Who, str], list[str]] = {}
    for fault in refused:
        file = fault.file or ""
        row = "" if fault.row is None else f", row {fault.row}"
        reason = f"{file}{row}: {fault.problem}; {fault.cure}."
        why.setdefault((fault.who, file), []).append(reason)
    said = {"action": REFUSED, "outcome": REFUSED, "date": day.isoformat()}
    return [
        dict.fromkeys(like)
        | said
        | {"blade": who.name, "customer": who.customer, "job": "", "operator": "", "done": ""}
        | {"file": file, "reasons": " ".join(reasons)}
        | {"why": reasons[0] + (f" (and {len(reasons) - 1} more)" if len(reasons) > 1 else "")}
        for (who, file), reasons in sorted(why.items())
    ]
