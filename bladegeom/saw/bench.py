"""The steps of setting up a saw: what each says, and what earlier ones leave for later ones."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple, Protocol

from bladegeom.estimate import Estimate, Known
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.result import Result, derived, described, quantity
from bladegeom.saw._measure import side_needed, side_of, told
from bladegeom.saw._saw_file import SawFile
from bladegeom.saw.compare import Comparison

State = Literal["move", "wait", "leave", "read again"]

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
    remarks: tuple[str, ...] = ()
    result: Result | None = None

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
    def word(self) -> str | None:
        """The verdict, or that the step waits for another."""
        return self.verdict or ("wait" if self.state == "wait" else None)

    @property
    def summary(self) -> str:
        """The step in a line."""
        said = [self.stand, *self.found, *([self.word.upper()] if self.word else [])]
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
    moved: dict[tuple[str, float], str] = field(default_factory=dict)
    """What an earlier step moves, and at which angle -> its title."""

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
        self, what: str, predicted: Estimate | None, measured: Estimate, unit: str = "deg"
    ) -> None:
        """Hold what was measured against what is predicted, where that is known."""
        if predicted is not None:
            self.checks.append(Comparison(what, predicted, measured, unit))

    def step(
        self,
        part: str,
        title: str,
        result: Any,
        off: Estimate | Known | None,
        *,
        again: str,
        found: tuple[str, ...],
        moves: Sequence[tuple[str, float]] = (),
        same: str = "",
        state: State | None = None,
        verdict: str | None = None,
    ) -> Step:
        """Return the step of a part that is off by so much, with what to do about it.

        The result has a correction: one sentence, or several that belong together. Without a state
        it follows from error and verdict; an error that is not known waits. An error is corrected
        once: where an earlier step moves the same thing at the same angle (`moves`), this one
        waits. `again` is what to do where the part is to be read again, or waits; `same` where the
        earlier step, which stands for ``{}``, corrects the same error.
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
            do: tuple[str, ...] = ("Within the tolerance: leave it.",)
        elif state == "move":
            do = (*others, f"{last} Then read again.")
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
        )
