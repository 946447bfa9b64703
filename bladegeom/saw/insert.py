"""The insert in the table: how high it stands, how it tilts, and how to turn its screws."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.estimate import Estimate, Verdict
from bladegeom.faults import refuse
from bladegeom.lengths import MM_PER, lengths_mm, one_length_mm
from bladegeom.result import Result, Row, number
from bladegeom.saw.plane import Plane
from bladegeom.saw.taken import DOUBT_UNKNOWN, size, told

Floats = NDArray[np.float64]

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


@dataclass(frozen=True)
class Screw:
    """A levelling screw.

    Attributes
    ----------
    x, y : float
        Where it stands, in the unit of the result.
    height : Estimate
        Of the insert there, in the same unit; positive above the table.
    turns : Estimate or None
        Positive raises the insert; None without a pitch.
    """

    x: float
    y: float
    height: Estimate
    turns: Estimate | None

    def to_dict(self) -> dict[str, Any]:
        """Return the screw as plain values."""
        return {
            "x": self.x,
            "y": self.y,
            "height": self.height.value,
            "height_u": self.height.u,
            "turns": None if self.turns is None else self.turns.value,
            "turns_u": None if self.turns is None else self.turns.u,
        }


@dataclass(frozen=True, eq=False, repr=False)
class InsertLevel(Result):
    """How an insert lies in the table.

    Attributes
    ----------
    height : Estimate
        Of the plane through the readings, at their centre; positive above the table. In `unit`.
    tilt : Estimate
        Degrees; never negative.
    highest_deg : float
        Direction in which the insert rises: 0 is to the right, 90 to the back.
    tilts : bool or None
        Whether a tilt is established at 95 %; None where the doubt is not known.
    heights : tuple of Estimate
        Of the plane at each place that was read.
    farthest : float
        The reading farthest from the table's height.
    residual_sd : float
        Of the readings about the plane.
    screws : tuple of Screw
    unit : {"mm", "in"}
    tolerance : float or None
    """

    height: Estimate
    tilt: Estimate
    highest_deg: float
    tilts: bool | None
    heights: tuple[Estimate, ...]
    farthest: float
    residual_sd: float
    screws: tuple[Screw, ...]
    unit: str
    tolerance: float | None

    @property
    def worst(self) -> Estimate:
        """Height of the plane at the read place where it is farthest from the table's."""
        return max(self.heights, key=lambda one: abs(one.value))

    @property
    def highest(self) -> str:
        """Where the insert stands highest, in words."""
        return _EIGHTHS[round(self.highest_deg / 45) % 8] if self.tilt.value else "nowhere"

    @property
    def verdict(self) -> Verdict | None:
        """Whether the insert is flush all over; None without a tolerance."""
        if self.tolerance is None:
            return None
        each = {one.verdict(self.tolerance) for one in self.heights}
        if "out" in each:
            return "out"
        flat = abs(self.farthest) <= self.tolerance
        return "within" if flat and each == {"within"} else "cannot tell"

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

    def _rows(self) -> Sequence[Row]:
        return [
            *self.height.rows("height", "", "height at the centre", self.height.text(self.unit)),
            *self.tilt.rows("tilt", "_deg", "tilt", self._tilted()),
            Row("highest_deg", self.highest_deg),
            *self.worst.rows("worst_height", "", "farthest off", self.worst.text(self.unit)),
            Row("farthest_reading", self.farthest),
            Row("residual_sd", self.residual_sd, "scatter", self._scatter()),
            Row("points", len(self.heights)),
            *(Row("", None, "what to do", one) for one in self.instructions),
            Row("screws", [one.to_dict() for one in self.screws]),
            Row("unit", self.unit),
            Row("tolerance", self.tolerance),
            Row("verdict", self.verdict),
        ]

    def _scatter(self) -> str:
        return f"{number(self.residual_sd)} {self.unit} about the plane"

    def _remarks(self) -> Sequence[str]:
        return self.remarks


def insert_level(
    *,
    x_mm: ArrayLike | None = None,
    x_in: ArrayLike | None = None,
    y_mm: ArrayLike | None = None,
    y_in: ArrayLike | None = None,
    height_mm: ArrayLike | None = None,
    height_in: ArrayLike | None = None,
    screw_x_mm: ArrayLike | None = None,
    screw_x_in: ArrayLike | None = None,
    screw_y_mm: ArrayLike | None = None,
    screw_y_in: ArrayLike | None = None,
    pitch_mm: float | None = None,
    pitch_in: float | None = None,
    threads_per_inch: float | None = None,
    graduation_mm: float | None = None,
    graduation_in: float | None = None,
    tolerance_mm: float | None = None,
    tolerance_in: float | None = None,
) -> InsertLevel:
    """Return how an insert lies in the table, by the least squares plane of its readings.

    The doubt rests on the scatter about the plane. Where that is less than half a graduation q,
    rounding is added, which does not average out: ``q / sqrt(12)`` to the height, and to the slope
    each way ``q / (sqrt(6) length)``, the length being that over which it was read.

    Parameters
    ----------
    x_mm, x_in, y_mm, y_in : array_like, shape (n,)
        Places read, at least four and not all in one line; x grows to the right and y to the back.
    height_mm, height_in : array_like, shape (n,)
        Of the insert above the table at each place, negative where it lies lower.
    screw_x_mm, screw_x_in, screw_y_mm, screw_y_in : array_like, shape (m,), optional
        Places of the levelling screws.
    pitch_mm, pitch_in, threads_per_inch : float, optional
        How far a screw moves in a turn.
    graduation_mm, graduation_in : float, optional
        Of the indicator.
    tolerance_mm, tolerance_in : float, optional
        How far from the table's height the insert may lie anywhere.

    Returns
    -------
    InsertLevel

    Raises
    ------
    RefusedError
        If places and heights do not go together, or the places lie in one line.
    """
    height, unit = lengths_mm("height", {"mm": height_mm, "in": height_in}, least=4)
    x, _ = lengths_mm("x", {"mm": x_mm, "in": x_in}, least=4)
    y, _ = lengths_mm("y", {"mm": y_mm, "in": y_in}, least=4)
    _same_count({"x": x, "y": y, "height": height})
    pitch = _pitch(pitch_mm, pitch_in, threads_per_inch)
    stands = _screws({"mm": screw_x_mm, "in": screw_x_in}, {"mm": screw_y_mm, "in": screw_y_in})
    if pitch is not None and not len(stands):
        raise refuse(
            "the pitch of the screws is given and not where they stand",
            "give screw_x and screw_y, or leave the pitch out",
            column="pitch",
        )
    tolerance = one_length_mm("tolerance", {"mm": tolerance_mm, "in": tolerance_in})
    graduation = one_length_mm("graduation", {"mm": graduation_mm, "in": graduation_in})
    places = np.column_stack([x, y])
    plane = Plane(places, height, graduation)
    per = 1 / MM_PER[unit]
    tilt, highest = plane.tilt()
    return InsertLevel(
        height=plane.at(plane.centre).times(per),
        tilt=tilt,
        highest_deg=highest,
        tilts=plane.tilts(),
        heights=tuple(plane.at(place).times(per) for place in places),
        farthest=float(height[np.abs(height).argmax()]) * per,
        residual_sd=plane.sd * per,
        screws=tuple(_screw(place, plane.at(place), pitch, per) for place in stands),
        unit=unit,
        tolerance=None if tolerance is None else tolerance * per,
    )


def _screw(place: Floats, height: Estimate, pitch: float | None, per: float) -> Screw:
    turns = None if pitch is None else height.times(-1 / pitch)
    return Screw(float(place[0]) * per, float(place[1]) * per, height.times(per), turns)


def _screws(x: dict[str, ArrayLike | None], y: dict[str, ArrayLike | None]) -> Floats:
    """Return the places of the screws, one a row; none where none are stated."""
    if all(given is None for given in (*x.values(), *y.values())):
        return np.empty((0, 2))
    across, _ = lengths_mm("screw_x", x)
    back, _ = lengths_mm("screw_y", y)
    _same_count({"screw_x": across, "screw_y": back})
    return np.column_stack([across, back])


def _same_count(lists: dict[str, Floats]) -> None:
    counts = {len(one) for one in lists.values()}
    if len(counts) > 1:
        said = ", ".join(f"{len(one)} of {what}" for what, one in lists.items())
        raise refuse(
            f"the lists are not equally long: {said}", "give one of each", column=list(lists)[-1]
        )


def _pitch(mm: float | None, inch: float | None, threads: float | None) -> float | None:
    """Return in millimetres how far a screw moves in a turn."""
    pitch = one_length_mm("pitch", {"mm": mm, "in": inch})
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
