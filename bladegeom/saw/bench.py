"""The steps of setting up a saw: what each says, and what earlier ones leave for later ones."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date as Date  # noqa: N812
from typing import Any, Literal, NamedTuple, Protocol

from bladegeom.estimate import Estimate, Known, Verdict
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.result import Result, derived, described, quantity
from bladegeom.saw._measure import side_needed, side_of, told
from bladegeom.saw._saw_file import PARTS, SawFile
from bladegeom.saw.compare import Comparison

State = Literal["move", "wait", "leave", "read again"]

Moved = tuple[str, float]
"""A thing that a step moves, and at which angle."""

SLOTS: Moved = ("slots", 0.0)

MOUNTED: Moved = ("mounted", 0.0)
"""The blade as it sits on the arbor, on which its marks rest."""

_GROWN = (
    "It is off by more than before. Look whether it was moved the other way, and whether every "
    "side is stated right, before it is moved again."
)

LEAVE = "Within the tolerance: leave it."

NOT_READ = "not_read"
"""The step that names all parts without a reading."""


def state_of(estimate: Estimate | Known, verdict: str | None) -> State:
    """Return what is to be done about a part that is off by so much.

    Nothing is moved where nothing tells the doubt. Where the verdict cannot be told, it is moved
    only if that brings it nearer for sure: if what is left, the doubt, is less than the least that
    it is off by now.
    """
    if not math.isfinite(estimate.u):
        return "read again"
    if verdict == "within":
        return "leave"
    if verdict == "cannot tell":
        return "move" if abs(estimate.value) > 2 * estimate.reach else "read again"
    return "move" if told(estimate) else "leave"


def _head(title: str) -> str:
    """Return how a section begins in the file."""
    part, _, number = title.partition(" ")
    return f"[[{part}]] {number}".rstrip() if PARTS[part].several else f"[{part}]"


def decided(off: Estimate, tolerance: float | None) -> Verdict | None:
    """Return the verdict; cannot tell only where it is not known either what is to be done."""
    verdict = off.verdict(tolerance)
    return "out" if verdict == "cannot tell" and state_of(off, verdict) == "move" else verdict


@described
class Step(Result):
    """One step of the work."""

    part: str
    """The part of the file it comes from, such as ``slots``; or `NOT_READ`."""
    title: str = quantity("title of the step", key="step")
    state: State | None = quantity(
        "what is to be done: move, wait, leave or read again; an error is corrected once, so that "
        "a part whose error another step corrects, or may correct, waits; none where nothing is to "
        "be decided",
        default=None,
    )
    stand: str = quantity(
        "which teeth stand where; none where no tooth matters",
        parts={"": lambda teeth: teeth or None},
        label="stand",
        default="",
    )
    do: tuple[str, ...] = quantity("what to do", label="do", text=lambda one: one.do, default=())
    found: tuple[str, ...] = quantity(
        "what was measured, and what is left", label="found", text=lambda one: one.found, default=()
    )
    verdict: str | None = quantity(
        "against the tolerance in the file: within, out, cannot tell; none without one, and for "
        "what waits; of the test cut: agree, do not agree, cannot tell",
        label="verdict",
        default=None,
    )
    read_again: tuple[str, ...] = quantity(
        "entries of the file that do not hold any more once it is done, and are to be read anew: "
        "part and key, such as slots.front",
        default=(),
    )
    before: Step | None = quantity(
        "what was found, the verdict and all numbers as it was read before; none where the file "
        "does not say it",
        parts={"": lambda step: step.as_before},
        label="before",
        text=lambda one: one.was,
        default=None,
    )
    read_at: Date | None = quantity(
        "day, or day and time, at which it was read, as text; none where the file does not say it",
        parts={"": lambda day: day.isoformat()},
        default=None,
    )
    remarks: tuple[str, ...] = ()
    result: Result | None = None
    off: Estimate | Known | None = None
    """What it is off by, where that is known."""
    entries: tuple[str, ...] = ()
    """What of it was read: entries of the file."""
    moves: tuple[Moved, ...] = ()
    """What its move changes."""
    rests: tuple[Moved, ...] = ()
    """What its readings hang on: moved, they hold no more."""
    reads: tuple[Moved, ...] = ()
    """Whose readings, other than its own, are too few for it to be told."""
    finer: bool = False
    """Whether only a finer gauge can tell, and no further readings."""
    place: int = 0
    """Which reading of the file's log it is of; see `Section`."""
    void: str = ""
    """Why what was read holds no more, or how to read what was not read yet; empty: it holds."""

    @derived("all numbers; a correction only where it is to be moved", key="result")
    def _numbers(self) -> dict[str, Any] | None:
        # A result knows only what was read of its own part: but where the step is to be moved, the
        # result's own correction is not to be made.
        if self.result is None:
            return None
        held = self.result.to_dict()
        kept = self.state == "move" or "correction" not in held
        return held if kept else held | {"correction": None}

    @property
    def name(self) -> str:
        """What it is called where it is told to be done."""
        return "what was not read" if self.part == NOT_READ else self.title

    @property
    def of(self) -> str:
        """Which part of the file it is of, such as ``bevel 2``; empty of what is of none."""
        return self.entries[0].rpartition(".")[0] if self.entries else ""

    @property
    def doubtful(self) -> bool:
        """Whether it is not shown to be within its tolerance: it has none, or was not read."""
        return self.verdict not in ("within", "agree")

    @property
    def more(self) -> tuple[str, ...]:
        """What to do but to leave it."""
        return tuple(one for one in self.do if one != LEAVE)

    @property
    def asked(self) -> bool:
        """Whether something is to be moved or read."""
        return self.state in ("move", "read again") or (self.part == NOT_READ and self.of != "")

    @property
    def turn(self) -> int:
        """When it is its turn, of those asked: the least first, then in the order of work.

        What only a finer gauge can tell holds up nothing else, and a cut is made when all that can
        be read was read.
        """
        if self.finer:
            return 3
        if self.part == NOT_READ:
            return 1
        return 2 if self.void and self.part.startswith(("stop", "test_cut")) else 0

    @property
    def told(self) -> tuple[str, ...]:
        """What to do, and which entries of the file then to fill anew."""
        if not self.read_again:
            return self.do
        said = "; ".join(f"{' and '.join(keys)} in {_head(at)}" for at, keys in self.anew.items())
        if self.state != "move":
            return (*self.do, f"Write down: {said}.")
        return (*self.do, f"Then read again, for the log: {said}.")

    @property
    def anew(self) -> dict[str, list[str]]:
        """What is to be read anew: part, such as ``bevel 2`` -> its keys."""
        places: dict[str, list[str]] = {}
        for entry in self.read_again:
            title, _, key = entry.rpartition(".")
            places.setdefault(title, []).append(key)
        return places

    @property
    def was(self) -> str:
        """What was found before, and the verdict then, in a line."""
        if self.before is None:
            return ""
        verdict = f" ({self.before.verdict})" if self.before.verdict else ""
        return f"{self.before.found[0]}{verdict}"

    @property
    def as_before(self) -> dict[str, Any]:
        """What is kept of it where it was read anew."""
        held = self.to_dict()
        return {key: held[key] for key in ("found", "verdict", "result", "read_at")}

    def since(self, before: Step, *, alike: bool) -> Step:
        """Return it with what was read before.

        An error that has grown since is warned of, where both were found beside the same slots.
        """
        step = replace(self, before=before)
        if self.off is None or before.off is None or not alike:
            return step
        now, then = (abs(one.value) for one in (self.off, before.off))
        grown = Estimate(now - then, math.hypot(self.off.u, before.off.u))
        if not (math.isfinite(grown.u) and grown.value > grown.reach):
            return step
        return replace(step, remarks=(_GROWN, *step.remarks))

    def voided(self, why: str) -> Step:
        """Return it without what was read, which holds no more."""
        return replace(
            self,
            state="read again",
            verdict=None,
            do=(why,),
            found=(),
            remarks=(),
            result=None,
            off=None,
            reads=(),
            finer=False,
            void=why,
        )

    @property
    def word(self) -> str:
        """The verdict, or that the step waits for another, or is to be read before there is one."""
        return self.verdict or ("wait" if self.state == "wait" else self.void and "read again")

    @property
    def summary(self) -> str:
        """The step in a line."""
        said = [self.stand, *self.found, *([self.word.upper()] if self.word else [])]
        said += [f"before: {self.was}"] if self.before else []
        return "; ".join(one.rstrip(".") for one in said if one)

    def _title(self) -> str:
        return self.title


class Slots(Protocol):
    """What other parts need of the slots: their error in degrees, and the indicator's side."""

    @property
    def angle(self) -> Estimate:
        """Positive where they run away from the blade to the back."""

    @property
    def side(self) -> str | None:
        """The side of the blade on which the indicator rode."""


def with_slots(off: Estimate, side: str | None, slots: Slots | None) -> Estimate | None:
    """Turn what a part on a side of the blade is off by from slot to blade, or the other way round.

    A slot that runs away from the blade toward the back takes its angle off on its own side of the
    blade, and adds it on the other. None where slots or sides are not known.
    """
    if slots is None or slots.side is None or side is None:
        return None
    return off.plus(slots.angle.times(-1.0 if slots.side == side else 1.0))


class Unread(NamedTuple):
    """A part that is set from the plate, of which no reading is stated."""

    title: str
    stand: str
    worst: Known
    gauge: bool
    entries: tuple[str, ...]
    """What is to be written down of it, where it stands in the file and no cut tells of it."""


@dataclass
class Bench:
    """What is known while the steps are worked out: earlier ones serve later ones."""

    held: SawFile
    fit: WobbleFit | None
    slots: Slots | None = None
    slots_state: State | None = None
    square: Estimate | None = None
    """Lean of the blade's cut from the table, as read."""
    corners: dict[float, Estimate] = field(default_factory=dict)
    """Angle of the miter gauge -> what it is off by against the slot; see `PlateReading`."""
    checks: list[Comparison] = field(default_factory=list)
    """Predicted and measured of every test cut."""
    unread: list[Unread] = field(default_factory=list)
    unit: str = "mm"
    """In which all lengths are told."""
    moved: dict[Moved, str] = field(default_factory=dict)
    """What an earlier step moves, and at which angle -> its title."""

    def copy(self) -> Bench:
        """Return another bench that knows as much, to be written on."""
        return replace(
            self,
            corners={**self.corners},
            checks=[*self.checks],
            unread=[*self.unread],
            moved={**self.moved},
        )

    def stated(self, part: str, key: str) -> Any:
        """Return a value of a part that comes once; None where it is not stated."""
        section = self.held.one(part)
        return None if section is None else section.get(key)

    @property
    def side(self) -> str | None:
        """The side of the blade on which its indicator stood, if it is left or right."""
        return None if self.fit is None else side_of(self.fit)

    def needed(self, what: str) -> WobbleFit:
        """Return the fit, or say that it is needed."""
        if self.fit is None:
            raise refuse(
                f"{what} is set against the blade, of which nothing is stated",
                'add a part [blade] with readings = "FILE.csv"',
            )
        return self.fit

    def needed_side(self, what: str) -> str:
        """Return the indicator's side, or say that it is needed."""
        return side_needed(self.side, what)

    def check(
        self,
        what: str,
        predicted: Estimate | None,
        measured: Estimate,
        unit: str = "deg",
        *,
        plus: str = "",
    ) -> None:
        """Hold what was measured against what is predicted, where that is known."""
        if predicted is not None:
            self.checks.append(Comparison(what, predicted, measured, unit, plus))

    def step(
        self,
        part: str,
        title: str,
        result: Any,
        off: Estimate | Known | None,
        *,
        again: str,
        found: tuple[str, ...],
        moves: Sequence[Moved] = (),
        rests: Sequence[Moved] = (),
        same: str = "",
        state: State | None = None,
        verdict: str | None = None,
        reads: Sequence[Moved] = (),
        finer: bool = False,
    ) -> Step:
        """Return the step of a part that is off by so much, with what to do about it.

        The result has a correction: one sentence, or several that belong together. Without a state
        it follows from error and verdict; an error that is not known waits. An error is corrected
        once: where an earlier step moves the same thing at the same angle (`moves`), this one
        waits. `again` is what to do where the part is to be read again, or waits; `same` where the
        earlier step, which stands for ``{}``, corrects the same error. What was read holds until
        one of `moves` or `rests` is moved.
        """
        state = state or ("wait" if off is None else state_of(off, verdict))
        first = next((self.moved[one] for one in moves if one in self.moved), "")
        if state == "move" and first:
            state, again = "wait", same.format(first) or again
        if state == "move":
            self.moved |= dict.fromkeys(moves, title)
        correction = result.correction
        *others, last = (correction,) if isinstance(correction, str) else correction
        if state == "leave" and verdict == "within":
            do: tuple[str, ...] = (LEAVE,)
        elif state == "move":
            do = (*others, last)
        else:
            do = (last if state == "leave" else again,)
        return Step(
            part=part,
            title=title,
            state=state,
            do=do,
            found=found,
            verdict=verdict,
            remarks=getattr(result, "remarks", ()),
            result=result,
            off=off,
            moves=tuple(moves),
            rests=(*moves, *rests),
            reads=tuple(reads),
            finer=finer and state == "read again",
        )
