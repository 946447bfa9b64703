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
from bladegeom.lengths import MM_PER, Length, Lengths, NumberError, length_mm, lengths_mm, one_unit
from bladegeom.lengths import parse_number as number_in
from bladegeom.result import Result, number
from bladegeom.saw.compare import Comparison
from bladegeom.saw.saw_file import SawFile

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

    Parameters
    ----------
    first, second : ndarray, shape (n,), (m,)
    graduation : float, optional

    Returns
    -------
    Estimate
    """
    spread = math.sqrt(1 / len(first) + 1 / len(second))
    value = float(first.mean() - second.mean())
    return of_readings(
        value, *scatter_of(first, second), graduation, spread, rounding=1 / math.sqrt(6)
    )


def needed_mm(what: str, given: Length | None) -> float:
    """Return in millimetres a length that must be given.

    Raises
    ------
    RefusedError
        If it is not, or is no length above 0.
    """
    length = length_mm(what, given)
    if length is None:
        raise refuse(f"{what} is not given", 'give it as "8 in" or (8, "in")', column=what)
    return length


def taken_mm(
    given: dict[str, Lengths | None], *, least: int = 1, signed: bool = True, zero: bool = True
) -> tuple[list[Floats], str]:
    """Return several lists of lengths in millimetres, and the unit in which all are shown.

    Parameters
    ----------
    given : dict
        Name -> lengths as they were given.
    least : int
        How many values there must be of each.
    signed, zero : bool
        Whether they may be below 0, and 0.

    Returns
    -------
    values : list of ndarray, shape (n,)
    unit : {"mm", "in"}
        Thous are shown in inches, micrometres in millimetres.

    Raises
    ------
    RefusedError
        If a list is not given, is too short, or holds what it cannot, or two are in two units.
    """
    read, units = [], {}
    for what, one in given.items():
        values, unit = lengths_mm(what, one, least=least)
        for place, value in enumerate(values, start=1):
            if (value < 0 and not signed) or (value == 0 and not zero):
                raise refuse(
                    f"value {place} of {what} is {value / MM_PER[unit]:g} {unit}",
                    f"give a length above 0{', or 0' if zero else ''}",
                    value=value / MM_PER[unit],
                    column=what,
                )
        read.append(values)
        units[what] = {"thou": "in", "um": "mm"}.get(unit, unit)
    return read, one_unit(units)


def tolerance_of(given: Tolerance | None) -> tuple[float | None, float | None]:
    """Return a tolerance in millimetres, or else in degrees; two times None without one.

    Raises
    ------
    RefusedError
        If it is neither a length above 0 nor degrees from 0 to 90.
    """
    degrees: Any = None
    if isinstance(given, str) and given.strip().endswith("deg"):
        try:
            degrees = number_in(given.strip().removesuffix("deg"))
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
    """Refuse what is none of the words known.

    Raises
    ------
    RefusedError
    """
    if value not in known:
        problem = f"{what} is not given" if value is None else f"{what} is {value!r}"
        raise refuse(problem, f"give {' or '.join(known)}", value=value, column=what)


@dataclass(frozen=True)
class Step:
    """One step of the work.

    Attributes
    ----------
    part : str
        The part of the file it comes from, such as ``slots``; or `NOT_READ`.
    title : str
    stand : str
        Which teeth stand where; empty where no tooth matters.
    do : tuple of str
        What to do.
    found : tuple of str
        What was measured, and what is left.
    verdict : str or None
        Against the tolerance in the file: within, out, cannot tell; None without one, and for what
        waits. Of the test cut: agree, do not agree, cannot tell.
    state : {"move", "wait", "leave", "read again"} or None
        What is to be done: an error is corrected once, so that a part whose error another step
        corrects, or may correct, waits. None where nothing is to be decided.
    remarks : tuple of str
    result : Result or None
        Every number.
    """

    part: str
    title: str
    stand: str = ""
    do: tuple[str, ...] = ()
    found: tuple[str, ...] = ()
    verdict: str | None = None
    state: State | None = None
    remarks: tuple[str, ...] = ()
    result: Result | None = None

    @property
    def word(self) -> str | None:
        """The verdict, or that the step waits for another."""
        return self.verdict or ("wait" if self.state == "wait" else None)

    @property
    def summary(self) -> str:
        """The step in a line."""
        said = [self.stand, *self.found, *([self.word.upper()] if self.word else [])]
        return "; ".join(one.rstrip(".") for one in said if one)

    def to_dict(self) -> dict[str, Any]:
        """Return the step as plain values.

        A result knows only what was read of its own part: but where the step is to be moved, the
        result's own correction is not to be made, and is left out.
        """
        result = None if self.result is None else self.result.to_dict()
        if result is not None and self.state != "move" and "correction" in result:
            result["correction"] = None
        return {
            "step": self.title,
            "state": self.state,
            "stand": self.stand or None,
            "do": list(self.do),
            "found": list(self.found),
            "verdict": self.verdict,
            "result": result,
        }


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
    """What is known while the steps are worked out: earlier ones serve later ones.

    Attributes
    ----------
    held : SawFile
    fit : WobbleFit or None
    slots : Slots or None
    slots_state : State or None
    square : Estimate or None
        Lean of the blade's cut from the table, as read.
    corners : dict
        Angle of the miter gauge -> what it is off by against the slot; see `PlateReading`.
    checks : list of Comparison
        Predicted and measured of every test cut.
    unread : list of Unread
    moved : dict
        What an earlier step moves, and at which angle -> its title.
    """

    held: SawFile
    fit: WobbleFit | None
    slots: Slots | None = None
    slots_state: State | None = None
    square: Estimate | None = None
    corners: dict[float, Estimate] = field(default_factory=dict)
    checks: list[Comparison] = field(default_factory=list)
    unread: list[Unread] = field(default_factory=list)
    moved: dict[tuple[str, float], str] = field(default_factory=dict)

    def stated(self, part: str, key: str) -> Any:
        """Return a value of a part that comes once; None where it is not stated."""
        section = self.held.one(part)
        return None if section is None else section.get(key)

    @property
    def side(self) -> str | None:
        """The side of the blade on which its indicator stood, if it is left or right."""
        side = "" if self.fit is None else self.fit.readings.side.strip().lower()
        return side if side in ("left", "right") else None

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

    def once(self, title: str, state: State, *settings: tuple[str, float]) -> tuple[State, str]:
        """Return the state of a step, and which earlier step corrects the same error, if any."""
        if state != "move":
            return state, ""
        first = next((self.moved[one] for one in settings if one in self.moved), "")
        if first:
            return "wait", first
        self.moved |= dict.fromkeys(settings, title)
        return state, ""


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
