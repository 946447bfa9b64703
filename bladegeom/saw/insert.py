"""The insert in the table: how high it stands, how it tilts, and how to turn its screws."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from bladegeom.estimate import Estimate, Verdict, of_readings
from bladegeom.faults import refuse
from bladegeom.kernel.doubt import zero_amplitude_p
from bladegeom.lengths import MM_PER, Length, Lengths, length_mm, lengths_mm
from bladegeom.result import Result, derived, described, number, quantity
from bladegeom.saw.bench import (
    DOUBT_UNKNOWN,
    Bench,
    Floats,
    Step,
    advice,
    angle_over,
    size,
    state_of,
    taken_mm,
    told,
)
from bladegeom.tables.toml import Section

_EIGHTHS = (
    "the right",
    "the back right",
    "the back",
    "the back left",
    "the left",
    "the front left",
    "the front",
    "the front right",
)


class Plane:
    """A plane through heights, in the axes in which its two slopes are independent.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        At least four.
    heights : ndarray, shape (n,)
    graduation : float or None
        In the unit of the heights; where the scatter is less than half of it, rounding is added:
        ``graduation / sqrt(12)`` to the height, and to each slope ``graduation / (sqrt(6)
        length)`` over the length read in its direction.

    Attributes
    ----------
    centre : ndarray, shape (2,)
        Of the places.
    sd : float
        Of the heights about the plane.

    Raises
    ------
    RefusedError
        If the places lie in one line.
    """

    def __init__(self, places: Floats, heights: Floats, graduation: float | None) -> None:
        self.centre: Floats = places.mean(axis=0)
        away = places - self.centre
        _, long, axes = np.linalg.svd(away, full_matrices=False)
        if not long[1] > 1e-9 * max(long[0], float(np.abs(places).max())):
            raise refuse(
                f"all {len(places)} places lie in one line, so there is no plane",
                "read the insert on both sides of the blade, at the front and at the back",
                column="x",
            )
        self._axes: Floats = axes
        along = away @ axes.T
        self._slopes: Floats = along.T @ heights / long**2
        self._height = float(heights.mean())
        off = heights - self._height - along @ self._slopes
        self._dof = len(heights) - 3
        sd = math.sqrt(float(off @ off) / self._dof)
        # Heights in a plane leave no more than the dust of binary arithmetic.
        self.sd = sd if sd > 1e-12 * float(np.abs(heights).max()) else 0.0
        read: Floats = np.ptp(along, axis=0)
        self._graduation = graduation
        # Of the height and of both slopes, for a scatter of 1 and for a graduation of 1.
        self._spread: Floats = 1 / np.array([math.sqrt(len(heights)), *long])
        self._rounding: Floats = 1 / np.array([math.sqrt(12), *(math.sqrt(6) * read)])

    def at(self, place: Floats) -> Estimate:
        """Return the height of the plane at a place."""
        along = self._axes @ (place - self.centre)
        return self._estimate(self._height + float(along @ self._slopes), [1.0, *along])

    def tilt(self) -> tuple[Estimate, float]:
        """Return the tilt and the direction in which the plane rises, both in degrees.

        The direction is counted from the first coordinate toward the second. The doubt is that of
        the slope in its direction; of a level plane, the larger one of the two axes.
        """
        slope = float(np.hypot(*self._slopes))
        if slope:
            steepest = self._estimate(slope, [0.0, *(self._slopes / slope)])
        else:
            steepest = max(self._each_way(), key=lambda one: one.u)
        x, y = self._slopes @ self._axes
        return angle_over(steepest, 1.0), math.degrees(math.atan2(y, x)) % 360

    def tilts(self) -> bool | None:
        """Return whether a tilt is established at 95 %; None where the doubt is not known.

        By the test that both slopes are 0, as for the wobble of a blade.
        """
        ways = self._each_way()
        if math.isnan(ways[0].u):
            return None
        f = sum((one.value / one.u) ** 2 for one in ways) / 2
        return zero_amplitude_p(float(f), min(one.dof for one in ways)) < 0.05

    def _each_way(self) -> list[Estimate]:
        return [
            self._estimate(float(slope), way)
            for slope, way in zip(self._slopes, np.eye(3)[1:], strict=True)
        ]

    def _estimate(self, value: float, weights: Sequence[float] | Floats) -> Estimate:
        """Return what is made of height and slopes with these weights."""
        spread, rounding = (
            float(np.linalg.norm(np.asarray(weights) * each))
            for each in (self._spread, self._rounding)
        )
        return of_readings(value, self.sd, self._dof, self._graduation, spread, rounding)


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
    unit: str
    """Of the lengths."""

    def _title(self) -> str:
        return f"Screw at {self.x:g}, {self.y:g} {self.unit}"


@described
class InsertLevel(Result):
    """How an insert lies in the table."""

    height: Estimate = quantity(
        "of the plane through the readings, at their centre; positive above the table",
        label="height at the centre",
    )
    tilt: Estimate = quantity(
        "of the insert, in degrees; never negative",
        unit="deg",
        label="tilt",
        text=lambda one: one._tilted(),
    )
    highest_deg: float = quantity("direction in which it rises: 0 to the right, 90 to the back")

    @derived(
        "of the plane at the read place where it is farthest from the table's height",
        key="worst_height",
        label="farthest off",
    )
    def worst(self) -> Estimate:
        return max(self.heights, key=lambda one: abs(one.value))

    farthest: float = quantity(
        "the reading farthest from the table's height", key="farthest_reading"
    )
    residual_sd: float = quantity(
        "standard deviation of the readings about the plane",
        label="scatter",
        text=lambda one: f"{number(one.residual_sd)} {one.unit} about the plane",
    )

    @derived("how many readings")
    def points(self) -> int:
        return len(self.heights)

    screws: tuple[Screw, ...] = quantity(
        "every levelling screw", label="what to do", text=lambda one: one.instructions
    )
    unit: str = quantity("mm or in, as the heights were given")
    tolerance: float | None = quantity("how far from the table's height it may lie anywhere")

    @derived("whether the insert is flush all over; none without a tolerance")
    def verdict(self) -> Verdict | None:
        if self.tolerance is None:
            return None
        each = {one.verdict(self.tolerance) for one in self.heights}
        if "out" in each:
            return "out"
        flat = abs(self.farthest) <= self.tolerance
        return "within" if flat and each == {"within"} else "cannot tell"

    tilts: bool | None
    """Whether a tilt is established at 95 %; None where the doubt is not known."""
    heights: tuple[Estimate, ...]
    """Of the plane at each place that was read."""

    @property
    def highest(self) -> str:
        """Where the insert stands highest, in words."""
        return _EIGHTHS[round(self.highest_deg / 45) % 8] if self.tilt.value else "nowhere"

    @property
    def instructions(self) -> tuple[str, ...]:
        """How to turn each screw."""
        return tuple(self._turn(place, one) for place, one in enumerate(self.screws, start=1))

    def _turn(self, place: int, screw: Screw) -> str:
        if not told(screw.height):
            return f"Screw {place}: leave it, it is level as far as the readings tell."
        way = "lower" if screw.height.value > 0 else "raise"
        if screw.turns is None:
            return f"Screw {place}: {way} by {size(screw.height, self.unit)}."
        return f"Screw {place}: {way} by {size(screw.turns, 'turn')}."

    @property
    def found(self) -> tuple[str, ...]:
        """What was found, in words."""
        return (
            f"{self._stands()} at the centre: {self.height.text(self.unit)}",
            f"tilt: {self._tilted()}",
        )

    def _stands(self) -> str:
        if not told(self.height):
            return "flush as far as the readings tell"
        return "proud" if self.height.value > 0 else "low"

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
                f"One reading is {number(self.farthest)} {self.unit} from the table's height and "
                "the plane through all is not: the insert is bent, or the reading is; screws "
                "cannot level that."
            )
        if not math.isfinite(self.height.u):
            said.append(DOUBT_UNKNOWN)
        elif len(self.heights) < 6 and self.residual_sd:
            said.append(
                f"A plane through {len(self.heights)} readings hardly shows how they scatter: read "
                "six places or more to be surer."
            )
        return tuple(said)

    def _title(self) -> str:
        verdict = "" if self.verdict is None else f": {self.verdict}"
        return f"Insert in the table{verdict}"


def insert_level(
    *,
    x: Lengths,
    y: Lengths,
    height: Lengths,
    screw_x: Lengths | None = None,
    screw_y: Lengths | None = None,
    pitch: Length | None = None,
    threads_per_inch: float | None = None,
    graduation: Length | None = None,
    tolerance: Length | None = None,
) -> InsertLevel:
    """Return how an insert lies in the table, by the least squares plane of its readings.

    The doubt rests on the scatter about the plane. Where that is less than half a graduation q,
    rounding is added, which does not average out: ``q / sqrt(12)`` to the height, and to the slope
    each way ``q / (sqrt(6) length)``, the length being that over which it was read.

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
    graduation : length, optional
        Of the indicator.
    tolerance : length, optional
        How far from the table's height the insert may lie anywhere.

    Returns
    -------
    InsertLevel

    Raises
    ------
    RefusedError
        If places and heights do not go together, or the places lie in one line.
    """
    (read,), unit = taken_mm({"height": height}, least=4)
    places = _places({"x": x, "y": y}, read)
    per_turn = _pitch(pitch, threads_per_inch)
    stands = np.empty((0, 2))
    if screw_x is not None or screw_y is not None:
        stands = _places({"screw_x": screw_x, "screw_y": screw_y})
    if per_turn is not None and not len(stands):
        raise refuse(
            "the pitch of the screws is given and not where they stand",
            "give screw_x and screw_y, or leave the pitch out",
            column="pitch",
        )
    allowed = length_mm("tolerance", tolerance)
    plane = Plane(places, read, length_mm("graduation", graduation))
    per = 1 / MM_PER[unit]
    tilt, highest = plane.tilt()
    return InsertLevel(
        height=plane.at(plane.centre).times(per),
        tilt=tilt,
        highest_deg=highest,
        tilts=plane.tilts(),
        heights=tuple(plane.at(place).times(per) for place in places),
        farthest=float(read[np.abs(read).argmax()]) * per,
        residual_sd=plane.sd * per,
        screws=tuple(
            Screw(
                x=float(place[0]) * per,
                y=float(place[1]) * per,
                height=plane.at(place).times(per),
                turns=None if per_turn is None else plane.at(place).times(-1 / per_turn),
                unit=unit,
            )
            for place in stands
        ),
        unit=unit,
        tolerance=None if allowed is None else allowed * per,
    )


def _places(given: dict[str, Lengths | None], heights: Floats | None = None) -> Floats:
    """Return places in millimetres, one a row; there are as many as heights, where those are."""
    least = 1 if heights is None else 4
    read = {what: lengths_mm(what, one, least=least)[0] for what, one in given.items()}
    lists = read if heights is None else read | {"height": heights}
    if len({len(one) for one in lists.values()}) > 1:
        said = ", ".join(f"{len(one)} of {what}" for what, one in lists.items())
        raise refuse(
            f"the lists are not equally long: {said}", "give one of each", column=list(lists)[-1]
        )
    return np.column_stack([*read.values()])


def _pitch(given: Length | None, threads: float | None) -> float | None:
    """Return in millimetres how far a screw moves in a turn."""
    pitch = length_mm("pitch", given)
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
    return MM_PER["in"] / threads


def insert_step(_: Bench, section: Section) -> Step:
    """Return the step of the insert."""
    result = insert_level(
        **section.given("x", "y", "height", "screw_x", "screw_y", "pitch"),
        **section.given("graduation", "tolerance"),
    )
    state = state_of(result.worst, result.verdict)
    if result.verdict != "within" and any(told(screw.height) for screw in result.screws):
        state = "move"
    unknown = "State screw_x, screw_y and pitch to learn how far to turn each screw."
    *first, last = result.instructions or (unknown,)
    again = "Read it again, at more places: it cannot be told yet."
    do = advice(state, result.verdict, last, again)
    return Step(
        part="insert",
        title="Insert",
        do=(*first, *do) if state == "move" else do,
        found=result.found,
        verdict=result.verdict,
        state=state,
        remarks=result.remarks,
        result=result,
    )
