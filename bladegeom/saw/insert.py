"""The insert in the table: how high it stands, how it tilts, and how to turn its screws."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal, get_args

import numpy as np

from bladegeom.estimate import Estimate, Known, Verdict, verdict_of
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import MM_PER, Length, Lengths, lengths_mm
from bladegeom.result import Result, derived, described, number, quantity
from bladegeom.saw._gauge import Gauge, gauge_of
from bladegeom.saw._measure import (
    Floats,
    Plane,
    again_at,
    in_unit,
    one_of,
    sided,
    taken,
    to_set,
    told,
    unknown,
)
from bladegeom.saw.bench import Bench, State, Step, state_of
from bladegeom.tables.toml import Section

_EIGHTHS = [
    "right",
    "back right",
    "back",
    "back left",
    "left",
    "front left",
    "front",
    "front right",
]

_SIXTEENTHS = {
    1: "a sixteenth of a turn",
    2: "an eighth of a turn",
    3: "three sixteenths of a turn",
    4: "a quarter turn",
    6: "three eighths of a turn",
    8: "half a turn",
    12: "three quarters of a turn",
    16: "one turn",
}
"""As people say a turn of a screw; others are told as so many sixteenths."""

ScrewsIn = Literal["table", "insert"]


@described
class Screw(Result):
    """A levelling screw."""

    x: float = quantity("where it stands, to the right")
    y: float = quantity("where it stands, to the back")
    height: Estimate = quantity(
        "of the insert there; positive above the table", parts=("", "_u"), label="height"
    )
    turns: Estimate | None = quantity(
        "how far to turn it, positive raises the insert; none without a pitch",
        parts=("", "_u"),
        label="turns",
        unit="turn",
    )
    place: str = quantity("which of them it is, such as front left")
    unit: str
    """Of the lengths."""

    @property
    def sixteenths(self) -> int | None:
        """How far to turn it, as finely as a hand can; None without a pitch."""
        return None if self.turns is None else round(abs(self.turns.value) * 16)

    def _title(self) -> str:
        return f"Screw at the {self.place}"


@described
class InsertLevel(Result):
    """How an insert lies in the table."""

    height: Estimate = quantity(
        "of the plane through the readings, at their centre; positive above the table",
        label="at the centre",
        text=lambda one: sided(one.height, one.unit, "proud", "low"),
    )
    tilt: Estimate = quantity(
        "of the insert, in degrees; never negative",
        unit="deg",
        label="tilt",
        text=lambda one: one._tilted(),
    )
    highest_deg: float = quantity("direction in which it rises: 0 to the right, 90 to the back")

    worst: Known = quantity(
        "of the plane at the read place where it is farthest from the table's height; the limits "
        "allow for its having been picked among all places",
        key="worst_height",
        label="farthest off",
        text=lambda one: sided(one.worst, one.unit, "proud", "low"),
    )
    farthest: float = quantity(
        "the reading farthest from the table's height", key="farthest_reading"
    )
    residual_sd: float = quantity(
        "standard deviation of the readings about the plane",
        label="scatter",
        text=lambda one: f"{number(one.residual_sd)} {one.unit} about the plane",
    )

    points: int = quantity("how many readings")
    screws: tuple[Screw, ...] = quantity(
        "every levelling screw", label="what to do", text=lambda one: one.instructions
    )
    unit: str = quantity("mm or in, as the heights were given")
    screws_in: ScrewsIn | None = quantity(
        "table or insert: in which the screws' threads are; none where it is not stated"
    )
    tolerance: float | None = quantity("how far from the table's height it may lie anywhere")

    @derived("whether the insert is flush all over; none without a tolerance")
    def verdict(self) -> Verdict | None:
        return _flush(self.worst, self.farthest, self.tolerance)

    gauge: Gauge = quantity("of the dial", inline=True)
    readings_needed: int | None = quantity(
        "how many readings at each end, or of each place, would decide where the verdict cannot be "
        "told, if they scatter alike; none where it is told, or more readings would not decide"
    )

    tilts: bool | None
    """Whether a tilt is established at 95 %; None where the doubt is not known."""

    @property
    def highest(self) -> str:
        """Where the insert stands highest, in words."""
        place = _EIGHTHS[round(self.highest_deg / 45) % 8]
        return f"the {place}" if self.tilt.value else "nowhere"

    @property
    def instructions(self) -> tuple[str, ...]:
        """How to turn each screw."""
        return tuple(map(self._turn, self.screws))

    @property
    def correction(self) -> tuple[str, ...]:
        """The same, or what is to be stated to learn it."""
        needed = "State screw_x, screw_y and pitch to learn how far to turn each screw."
        return self.instructions or (needed,)

    def turned(self, screw: Screw) -> bool:
        """Return whether a screw is to be turned: it is off, and by as much as a hand can turn.

        Of several screws one seems off by scatter alone; so the insert must be shown to be off.
        """
        flush = self.worst.low <= 0 <= self.worst.high
        return told(screw.height) and not flush and screw.sixteenths != 0

    def _turn(self, screw: Screw) -> str:
        place = f"{screw.place[0].upper()}{screw.place[1:]}"
        if not self.turned(screw):
            return f"{place}: leave it."
        way = "lower" if screw.height.value > 0 else "raise"
        by = to_set(screw.height.value, self.unit, self.gauge.graduation)
        if screw.sixteenths is None:
            return f"{place}: {way} by {by}."
        return f"{place}: {way} by {_turns(screw.sixteenths)}{self._clock(screw)} ({by})."

    def _clock(self, screw: Screw) -> str:
        """Say which way the clock runs, where it is known in what the screws sit.

        A screw of the common right-hand thread goes down when it is turned clockwise, as seen from
        above: one that stands in the table lowers the insert, one in the insert lifts it.
        """
        if self.screws_in is None:
            return ""
        down = screw.height.value > 0
        return " clockwise" if down is (self.screws_in == "table") else " counterclockwise"

    @property
    def found(self) -> tuple[str, ...]:
        """What was found, in words."""
        return (
            f"at the centre {sided(self.height, self.unit, 'proud', 'low')}",
            f"tilt: {self._tilted()}",
        )

    def _tilted(self) -> str:
        if self.tilts is False or not self.tilt.value:
            return "none that the readings tell"
        return f"{self.tilt.text('deg')}, highest at {self.highest}"

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader should know."""
        said = []
        if self.tolerance is not None and abs(self.farthest) > self.tolerance >= abs(
            self.worst.value
        ):
            said.append(
                f"One reading is {to_set(self.farthest, self.unit, self.gauge.graduation)} "
                f"{'above' if self.farthest > 0 else 'below'} the table and "
                "the plane through all is not: the insert is bent, or the reading is; screws "
                "cannot level that."
            )
        return (*said, *self.gauge.remarks, *unknown(self.height))

    def _title(self) -> str:
        verdict = "" if self.verdict is None else f": {self.verdict}"
        return f"Insert in the table{verdict}"


def _flush(worst: Known, farthest: float, tolerance: float | None) -> Verdict | None:
    """Return whether the insert is flush all over: its plane, and every reading."""
    if tolerance is None:
        return None
    verdict = verdict_of(worst, tolerance)
    return "cannot tell" if verdict == "within" and abs(farthest) > tolerance else verdict


def insert_level(
    *,
    x: Lengths,
    y: Lengths,
    height: Lengths,
    screw_x: Lengths | None = None,
    screw_y: Lengths | None = None,
    pitch: Length | None = None,
    threads_per_inch: float | None = None,
    screws: ScrewsIn | None = None,
    graduation: Length | None = None,
    repeatability: Length | None = None,
    tolerance: Length | None = None,
    fit: WobbleFit | None = None,
) -> InsertLevel:
    """Return how an insert lies in the table, by the least squares plane of its readings.

    The doubt rests on how well a reading repeats and on the scatter about the plane.

    Parameters
    ----------
    x, y : lengths, such as ``"-1.5 1.5 0 0 in"`` or ``([-1.5, 1.5, 0, 0], "in")``
        Places read, at least four and not all in one line; x grows to the right and y to the back.
    height : lengths
        Of the insert above the table at each place, negative where it lies lower.
    screw_x, screw_y : lengths, optional
        Places of the levelling screws.
    pitch : length, such as ``"1/32 in"`` or ``(0.8, "mm")``, optional
        How far a screw moves in a turn.
    threads_per_inch : float, optional
        The same for a screw that is named so.
    screws : {"table", "insert"}, optional
        In which their threads are: it tells which way to turn a right-hand screw.
    graduation : length, optional
    repeatability : length, optional
        Standard deviation of a reading that is repeated. If not given, that of the blade's readings
        where `fit` has the same graduation, else a cautious one.
    tolerance : length, optional
        How far from the table's height the insert may lie anywhere.
    fit : WobbleFit, optional
        Of the blade on the saw: tells how well its indicator repeats.

    Raises
    ------
    RefusedError
        If places and heights do not go together, or the places lie in one line.
    """
    (read,), unit = taken({"height": height}, least=4)
    places = _places(unit, {"x": x, "y": y}, read)
    per_turn = _pitch(unit, pitch, threads_per_inch)
    stands = np.empty((0, 2))
    if screw_x is not None or screw_y is not None:
        if screw_x is None or screw_y is None:
            there, lacks = ("screw_y", "screw_x") if screw_x is None else ("screw_x", "screw_y")
            problem = f"{there} is given and {lacks} is not"
            cure = f'add {lacks}, one place for each screw: "-1.5 1.5 in"'
            raise refuse(problem, cure, column=there)
        stands = _places(unit, {"screw_x": screw_x, "screw_y": screw_y})
    if per_turn is not None and not len(stands):
        raise refuse(
            "the pitch of the screws is given and not where they stand",
            "give screw_x and screw_y, or leave the pitch out",
            column="pitch",
        )
    if screws is not None:
        one_of("screws", screws, get_args(ScrewsIn))
    allowed = in_unit(unit, "tolerance", tolerance)
    plane = Plane(places, read, gauge_of(unit, graduation, repeatability, read, fit=fit))
    tilt, highest = plane.tilt()
    farthest = float(read[np.abs(read).argmax()])
    return InsertLevel(
        height=plane.at(plane.centre),
        tilt=tilt,
        highest_deg=highest,
        tilts=plane.tilts(),
        worst=plane.farthest(),
        points=len(read),
        farthest=farthest,
        gauge=plane.gauge,
        readings_needed=plane.readings_needed(
            lambda again: _flush(again.farthest(), farthest, allowed)
        ),
        residual_sd=plane.sd,
        screws=tuple(
            Screw(
                x=float(place[0]),
                y=float(place[1]),
                height=plane.at(place),
                turns=None if per_turn is None else plane.at(place).times(-1 / per_turn),
                place=name,
                unit=unit,
            )
            for place, name in zip(stands, _named(stands, unit), strict=True)
        ),
        unit=unit,
        screws_in=screws,
        tolerance=allowed,
    )


def _places(unit: str, given: dict[str, Lengths | None], heights: Floats | None = None) -> Floats:
    """Return places in a unit, one a row; with heights as many, and not all in one line."""
    least = 1 if heights is None else 4
    read = {what: lengths_mm(what, one, least=least)[0] for what, one in given.items()}
    lists = read if heights is None else read | {"height": heights}
    if len({len(one) for one in lists.values()}) > 1:
        said = ", ".join(f"{len(one)} of {what}" for what, one in lists.items())
        raise refuse(
            f"the lists are not equally long: {said}", "give one of each", column=list(lists)[-1]
        )
    places = np.column_stack([*read.values()]) / MM_PER[unit]
    if heights is not None:
        long = np.linalg.svd(places - places.mean(axis=0), compute_uv=False)
        if not long[1] > 1e-9 * max(long[0], float(np.abs(places).max())):
            raise refuse(
                f"all {len(places)} places lie in one line, so there is no plane",
                "read the insert on both sides of the blade, at the front and at the back",
                column="x",
            )
    return places


def _named(stands: Floats, unit: str) -> list[str]:
    """Return where each screw stands among all, in words."""
    names = []
    for x, y in stands - (stands.max(axis=0) + stands.min(axis=0)) / 2 if len(stands) else ():
        wide, long = np.ptp(stands, axis=0) / 8
        back = "back" if y > long else "front" if y < -long else ""
        right = "right" if x > wide else "left" if x < -wide else ""
        names.append(f"{back} {right}".strip() or "middle")
    return [
        name if names.count(name) == 1 else f"{name} at x {x:g}, y {y:g} {unit}"
        for name, (x, y) in zip(names, stands, strict=True)
    ]


def _turns(sixteenths: int) -> str:
    whole, part = divmod(sixteenths, 16)
    if not whole or not part:
        many = f"{whole} turns" if whole else f"{part} sixteenths of a turn"
        return _SIXTEENTHS.get(sixteenths, many)
    return f"{_turns(16 * whole)} and {_turns(part)}"


def _pitch(unit: str, given: Length | None, threads: float | None) -> float | None:
    """Return in a unit how far a screw moves in a turn."""
    pitch = in_unit(unit, "pitch", given)
    if threads is None:
        return pitch
    if pitch is not None:
        raise refuse("the screw's thread is given twice", "give one pitch", column="pitch")
    if isinstance(threads, bool) or not (math.isfinite(threads) and threads > 0):
        raise refuse(
            f"threads_per_inch is {threads}",
            "give how many threads the screw has in an inch",
            value=threads,
            column="pitch",
        )
    return MM_PER["in"] / MM_PER[unit] / threads


def insert_step(bench: Bench, section: Section) -> Step:
    """Return the step of the insert."""
    result = insert_level(**section.given(), fit=bench.fit)
    known = math.isfinite(result.worst.u)
    step = bench.step(
        "insert",
        "Insert",
        result,
        result.worst,
        again=again_at("it", result.readings_needed)
        if known
        else "Read it at six places or more, and state the graduation.",
        found=result.found,
        state=_state(result),
        verdict=result.verdict,
        finer=known and result.readings_needed is None,
    )
    if step.state == "leave" and result.verdict not in (None, "within"):
        return replace(step, do=("Leave it: it is off by less than a hand can turn its screws.",))
    return step


def _state(insert: InsertLevel) -> State:
    """Return what is to be done about an insert."""
    if insert.verdict != "within" and any(map(insert.turned, insert.screws)):
        return "move"
    state = state_of(insert.worst, insert.verdict)
    # What is off by less than a screw can be turned is left.
    return "leave" if state == "move" and insert.screws else state
