"""What is taken at the bench: measurements checked and told in words, and the steps of the work."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from bladegeom.estimate import Estimate, Known, Verdict, of_readings, scatter_of
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import (
    MM_PER,
    Length,
    Lengths,
    NumberError,
    length_mm,
    lengths_mm,
    one_unit,
    parse_number,
)
from bladegeom.result import Result, derived, described, number, quantity
from bladegeom.saw._saw_file import SawFile
from bladegeom.saw.compare import Comparison

Floats = NDArray[np.float64]
State = Literal["move", "wait", "leave", "read again"]
Tolerance = str | tuple[float, str]
"""The largest error accepted: a length, or degrees as ``"0.05 deg"`` or ``(0.05, "deg")``."""

NOT_TOLD = "no error can be told from the doubt of the readings"
DOUBT_UNKNOWN = "How sure this is cannot be told: read again, or give the graduation of the gauge."

NOT_READ = "not_read"
"""The step that names all parts without a reading."""


def told(estimate: Estimate) -> bool:
    """Return whether a value is more than its 95 % doubt; one without a doubt is taken as it is."""
    return estimate.value != 0 and not abs(estimate.value) <= estimate.reach


def state_of(estimate: Estimate, verdict: str | None) -> State:
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


def size(estimate: Estimate, unit: str) -> str:
    """Return an amount without its sign, rounded to its doubt, for words that say the way."""
    return f"{number(abs(estimate.value), estimate.u)} {unit}"


def side_of(fit: WobbleFit) -> str | None:
    """Return the side of the blade on which its indicator stood, if it is left or right."""
    side = fit.readings.side.strip().lower()
    return side if side in ("left", "right") else None


def angle_over(rise: Estimate, run: float) -> Estimate:
    """Return ``atan(rise / run)`` in degrees, its doubt by the first derivative (GUM 5.1.2)."""
    slope = rise.value / run
    per_rise = math.degrees(1 / (run * (1 + slope**2)))
    return Estimate(math.degrees(math.atan(slope)), per_rise * rise.u, rise.dof)


def rise_over(angle: Estimate, run: float) -> Estimate:
    """Return ``run tan(angle)`` of an angle in degrees, its doubt by the first derivative."""
    slope = math.tan(math.radians(angle.value))
    return Estimate(run * slope, run * math.radians(1) * (1 + slope**2) * angle.u, angle.dof)


def difference_of(first: Floats, second: Floats, graduation: float | None) -> Estimate:
    """Return the mean of repeats of one thing less that of another, read with the same gauge.

    The scatter is pooled over both; rounding is added to each.
    """
    value = float(first.mean() - second.mean())
    spread = math.sqrt(1 / len(first) + 1 / len(second))
    return of_readings(value, *scatter_of(first, second), graduation, spread, 1 / math.sqrt(6))


def needed_mm(what: str, given: Length | None) -> float:
    """Return in millimetres a length that must be given."""
    length = length_mm(what, given)
    if length is None:
        raise refuse(f"{what} is not given", 'give it as "8 in" or (8, "in")', column=what)
    return length


def taken_mm(
    given: dict[str, Lengths | None], *, least: int = 1, signed: bool = True, zero: bool = True
) -> tuple[list[Floats], str]:
    """Return several lists of lengths in millimetres, and the unit in which all are shown.

    Thous are shown in inches, micrometres in millimetres.

    Parameters
    ----------
    given : dict
        Name -> lengths as they were given, all in one unit.
    least : int
        How many values there must be of each.
    signed, zero : bool
        Whether they may be below 0, and 0.
    """
    read, units = [], {}
    for what, one in given.items():
        values, unit = lengths_mm(what, one, least=least)
        for place, value in enumerate(values / MM_PER[unit], start=1):
            if (value < 0 and not signed) or (value == 0 and not zero):
                raise refuse(
                    f"value {place} of {what} is {value:g} {unit}",
                    f"give a length above 0{', or 0' if zero else ''}",
                    value=value,
                    column=what,
                )
        read.append(values)
        units[what] = {"thou": "in", "um": "mm"}.get(unit, unit)
    return read, one_unit(units)


def tolerance_of(given: Tolerance | None) -> tuple[float | None, float | None]:
    """Return a tolerance in millimetres, or else in degrees; two times None without one."""
    degrees: Any = None
    if isinstance(given, str) and given.strip().endswith("deg"):
        try:
            degrees = parse_number(given.strip().removesuffix("deg"))
        except NumberError as error:
            problem = f"tolerance: {error.problem}"
            raise refuse(problem, error.cure, value=given, column="tolerance") from None
    elif isinstance(given, tuple) and given[1:] == ("deg",):
        degrees = given[0]
    else:
        return length_mm("tolerance", given), None
    if isinstance(degrees, bool) or degrees is None or not 0 < degrees < 90:
        problem = f"the tolerance is {degrees} deg"
        raise refuse(problem, "give degrees above 0", value=degrees, column="tolerance")
    return None, degrees


def one_of(what: str, value: object, known: Sequence[str]) -> None:
    """Refuse what is none of the words known."""
    if value not in known:
        problem = f"{what} is not given" if value is None else f"{what} is {value!r}"
        raise refuse(problem, f"give {' or '.join(known)}", value=value, column=what)


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
    stand: str = ""
    """Which teeth stand where; empty where no tooth matters."""

    @derived("which teeth stand where; none where no tooth matters", key="stand", label="stand")
    def _teeth(self) -> str | None:
        return self.stand or None

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
        return held | (
            {"correction": None} if self.state != "move" and "correction" in held else {}
        )

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
    """What later steps need of the slots."""

    @property
    def angle(self) -> Estimate:
        """Their error in degrees, positive where they run away from the blade to the back."""

    @property
    def side(self) -> str | None:
        """The side of the blade on which the indicator rode."""


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
        if self.side is None:
            raise refuse(
                f"{what} needs to know on which side of the blade its indicator stood",
                "write left or right in the column side of the blade's readings",
            )
        return self.side

    def step(
        self,
        part: str,
        title: str,
        result: Any,
        off: Estimate | None,
        *,
        again: str,
        found: tuple[str, ...],
        moves: Sequence[tuple[str, float]] = (),
        same: str = "",
        state: State | None = None,
        verdict: str | None = None,
    ) -> Step:
        """Return the step of a part that is off by so much, with what to do about it.

        An error is corrected once: where an earlier step moves the same setting, this one waits.

        Parameters
        ----------
        part, title, found, verdict
            As of `Step`.
        result : Result
            With its correction.
        off : Estimate or None
            None where it is not known, and waits.
        again, same : str
            What to do where it is to be read again, or waits, and where an earlier step, which
            stands for ``{}``, corrects the same error.
        moves : sequence of (str, float)
            What the correction moves, and at which angle.
        state : str, optional
            If not given, it follows from error and verdict.
        """
        state = state or ("wait" if off is None else state_of(off, verdict))
        first = next((self.moved[one] for one in moves if one in self.moved), "")
        if state == "move" and first:
            state, again = "wait", same.format(first) or again
        if state == "move":
            self.moved |= dict.fromkeys(moves, title)
        return Step(
            part=part,
            title=title,
            state=state,
            do=advice(state, verdict, result.correction, again),
            found=found,
            verdict=verdict,
            remarks=getattr(result, "remarks", ()),
            result=result,
        )


def advice(state: State, verdict: str | None, correction: str, again: str) -> tuple[str, ...]:
    """Return what to do, by the state of a part; `again` where it waits or is read again."""
    if state == "leave" and verdict == "within":
        return ("Within the tolerance: leave it.",)
    if state == "move":
        return (f"{correction} Then read again.",)
    return (correction if state == "leave" else again,)


def judged(estimate: Estimate, tolerance: float | None) -> Verdict | None:
    """Return the verdict on an error; None without a tolerance."""
    return None if tolerance is None else estimate.verdict(tolerance)
