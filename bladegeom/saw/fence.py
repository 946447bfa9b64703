"""The fence along the slot: is it straight, and does it toe in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.estimate import Estimate, Verdict, combined
from bladegeom.faults import refuse
from bladegeom.lengths import MM_PER, lengths_mm, one_length_mm
from bladegeom.result import Result, Row, number
from bladegeom.saw.taken import (
    DOUBT_UNKNOWN,
    State,
    angle_over,
    one_of,
    size,
    state_of,
    told,
)

if TYPE_CHECKING:
    from bladegeom.saw.slots import SlotAlignment

Floats = NDArray[np.float64]
Side = Literal["left", "right"]

_CAUTION = "it closes on the blade at the back, where the board can be pinched and thrown back."
# Common practice, no source: a fence is set parallel or a hair open at the back, never closing.
_SET = "Set it parallel, or a hair open at the back."
_WAIT = "Cut nothing along it before the slots and the fence are set."


@dataclass(frozen=True, eq=False, repr=False)
class FenceAlignment(Result):
    """How a fence stands along the slot, and to the blade.

    Attributes
    ----------
    toe : Estimate
        Against the slot, in degrees; positive for toe-in: the fence comes nearer to the blade
        toward the back.
    toe_to_blade : Estimate or None
        The same against the plane square to the arbor; None where the slot is not known.
    read_length : float
        From the first to the last place along the slot, in `unit`.
    straightness : float or None
        Highest less lowest residual from the straight line, in `unit`; None from two places.
    unit : {"mm", "in"}
    tolerance_deg : float or None
        That of a length is taken over `read_length`.
    waits : bool
        Whether the slot is moved, or read again, first. What the fence is off by against the blade
        is then corrected with the slot, and must not be corrected here too: no verdict, no move.
    """

    toe: Estimate
    toe_to_blade: Estimate | None
    read_length: float
    straightness: float | None
    unit: str
    tolerance_deg: float | None
    waits: bool = False

    @property
    def judged(self) -> Estimate:
        """The toe that counts: to the blade where that is known, else to the slot."""
        return self.toe if self.toe_to_blade is None else self.toe_to_blade

    @property
    def toe_over(self) -> Estimate:
        """The toe over the read length, in `unit`."""
        return self._over_length(self.judged)

    def _over_length(self, toe: Estimate) -> Estimate:
        slope = math.tan(math.radians(toe.value))
        per_deg = math.radians(1) * (1 + slope**2)
        return Estimate(self.read_length * slope, self.read_length * per_deg * toe.u, toe.dof)

    @property
    def verdict(self) -> Verdict | None:
        """Of the toe that counts; None without a tolerance, or where it waits for the slot."""
        if self.waits or self.tolerance_deg is None:
            return None
        return self.judged.verdict(self.tolerance_deg)

    @property
    def state(self) -> State:
        """What is to be done; a toe-in is opened even where it is within the tolerance."""
        if self.waits:
            return "wait"
        toes_in = self.verdict == "within" and self.judged.value > 0 and told(self.judged)
        return "move" if toes_in else state_of(self.judged, self.verdict)

    @property
    def correction(self) -> str:
        """Which way to move the back end of the fence, and how far."""
        if self.waits:
            return (
                "After the slots: read the fence again; slot and blade are one once they are true."
            )
        if not told(self.judged):
            return "Leave the fence: no toe can be told from the doubt of the readings."
        way = "away from" if self.judged.value > 0 else "toward"
        return (
            f"Move the back end of the fence {way} the blade by {size(self.toe_over, self.unit)} "
            f"over {self.read_length:g} {self.unit} of its length."
        )

    @property
    def found(self) -> tuple[str, ...]:
        """What was found, in words."""
        which = "the slot" if self.toe_to_blade is None else "the blade"
        said = [f"{self._toe(self.judged)} against {which}: {self.judged.text('deg')}"]
        if self.toe_to_blade is not None:
            said.append(f"{self._toe(self.toe)} against the slot")
        if self.straightness is not None:
            said.append(f"straight to {number(self.straightness)} {self.unit}")
        return tuple(said)

    def _toe(self, toe: Estimate) -> str:
        over = self._over_length(toe)
        way = "toe-in of" if toe.value > 0 else "toe-out of" if toe.value < 0 else "no toe,"
        return f"{way} {size(over, self.unit)} over {self.read_length:g} {self.unit}"

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader should know."""
        said = []
        if self.judged.value > 0:
            doubt = "toes in" if told(self.judged) else "may toe in"
            then = _WAIT if self.waits else _SET
            said.append(f"Kickback: the fence {doubt}: {_CAUTION} {then}")
        if self.toe_to_blade is None:
            said.append(
                "Judged against the slot only: how the slot stands to the blade, or on which side "
                "of the blade indicator and fence stood, is not stated."
            )
        if not math.isfinite(self.judged.u):
            said.append(DOUBT_UNKNOWN)
        return tuple(said)

    def _title(self) -> str:
        verdict = "" if self.verdict is None else f": {self.verdict}"
        return f"Fence along the slot{verdict}"

    def _rows(self) -> Sequence[Row]:
        to_blade = self.toe_to_blade
        known = to_blade if to_blade is not None else Estimate(math.nan, math.nan)
        text = "" if to_blade is None else to_blade.text("deg")
        straight = self.straightness
        return [
            *self.toe.rows("toe", "_deg", "toe-in to the slot", self.toe.text("deg")),
            *known.rows("toe_to_blade", "_deg", "toe-in to the blade" if text else "", text),
            Row("toe_over", self.toe_over.value, "over the read length", self._over()),
            Row("toe_over_u", self.toe_over.u),
            Row("read_length", self.read_length),
            Row(
                "straightness",
                straight,
                "" if straight is None else "straightness",
                "" if straight is None else f"{number(straight)} {self.unit} about its line",
            ),
            Row("unit", self.unit),
            Row("tolerance_deg", self.tolerance_deg),
            Row("verdict", self.verdict),
            Row("correction", self.correction, "what to do", self.correction),
        ]

    def _over(self) -> str:
        return f"{self.toe_over.text(self.unit)} in {self.read_length:g} {self.unit}"

    def _remarks(self) -> Sequence[str]:
        return self.remarks


def fence_alignment(
    *,
    along_mm: ArrayLike | None = None,
    along_in: ArrayLike | None = None,
    reading_mm: ArrayLike | None = None,
    reading_in: ArrayLike | None = None,
    graduation_mm: float | None = None,
    graduation_in: float | None = None,
    tolerance_mm: float | None = None,
    tolerance_in: float | None = None,
    tolerance_deg: float | None = None,
    slot: SlotAlignment | None = None,
    fence_side: Side | None = None,
) -> FenceAlignment:
    """Return how a fence stands along the slot, by the least squares line of its readings.

    An indicator carried in the slot stands on the blade's side of the fence and touches its face.
    The toe is ``atan`` of the slope of its readings. Its doubt rests on the scatter about the
    line, which holds the fence's own waves too. Where that is less than half a graduation, or two
    places were read, ``graduation / (sqrt(6) read length)`` is added: rounding at the two ends.

    Against the plane square to the arbor, a slot that runs away from the blade toward the back
    takes its angle off the toe of a fence on its own side of the blade, for there the indicator
    backs away from the blade and toward the fence; to a fence on the other side it adds it.

    Parameters
    ----------
    along_mm, along_in : array_like, shape (n,)
        Places along the slot, growing from front to back; two at least, three for the scatter.
    reading_mm, reading_in : array_like, shape (n,)
        Growing as the fence comes nearer to the indicator.
    graduation_mm, graduation_in : float, optional
        Of the indicator.
    tolerance_mm, tolerance_in, tolerance_deg : float, optional
        Largest toe accepted, either way; a length is meant over the read length.
    slot : SlotAlignment, optional
        Of the slot in which the indicator was carried.
    fence_side : {"left", "right"}, optional
        The side of the blade on which the fence stands.

    Returns
    -------
    FenceAlignment

    Raises
    ------
    RefusedError
        If places and readings do not go together, or all places are the same.
    """
    along, _ = lengths_mm("along", {"mm": along_mm, "in": along_in}, least=2)
    reading, unit = lengths_mm("reading", {"mm": reading_mm, "in": reading_in}, least=2)
    if len(along) != len(reading):
        raise refuse(
            f"there are {len(along)} places along the slot and {len(reading)} readings",
            "give one reading for each place",
            value=len(reading),
            column="reading",
        )
    read_length = float(np.ptp(along))
    if read_length == 0:
        raise refuse(
            "all places along the slot are the same",
            "read the fence at its front and at its back at least",
            value=float(along[0] / MM_PER[unit]),
            column="along",
        )
    if fence_side is not None:
        one_of("fence_side", fence_side, ("left", "right"))
    graduation = one_length_mm("graduation", {"mm": graduation_mm, "in": graduation_in})
    slope, off = _line(along, reading, graduation)
    toe = angle_over(slope, 1.0)
    return FenceAlignment(
        toe=toe,
        toe_to_blade=_to_blade(toe, slot, fence_side),
        read_length=read_length / MM_PER[unit],
        straightness=float(np.ptp(off)) / MM_PER[unit] if len(along) > 2 else None,
        unit=unit,
        tolerance_deg=_tolerance(tolerance_mm, tolerance_in, tolerance_deg, read_length),
    )


def _line(along: Floats, reading: Floats, graduation: float | None) -> tuple[Estimate, Floats]:
    """Return the slope of the least squares line, and the residuals from it."""
    away = along - along.mean()
    squares = float(away @ away)
    slope = float(away @ (reading - reading.mean())) / squares
    off = reading - reading.mean() - slope * away
    dof = len(along) - 2
    sd = math.sqrt(float(off @ off) / dof) if dof else math.nan
    # Readings in a straight line leave no more than the dust of binary arithmetic.
    if sd <= 1e-12 * float(np.abs(reading).max()):
        sd, off = 0.0, np.zeros_like(off)
    parts: list[tuple[float, float]] = []
    if dof:
        parts.append((sd / math.sqrt(squares), dof))
    if graduation is not None and not sd >= graduation / 2:
        parts.append((graduation / math.sqrt(6) / float(np.ptp(along)), math.inf))
    if not parts or (graduation is None and sd == 0):
        return Estimate(slope, math.nan), off
    return Estimate(slope, *combined(parts)), off


def _to_blade(toe: Estimate, slot: SlotAlignment | None, fence_side: str | None) -> Estimate | None:
    if slot is None or slot.side is None or fence_side is None:
        return None
    return toe.plus(slot.angle.times(-1.0 if slot.side == fence_side else 1.0))


def _tolerance(
    mm: float | None, inch: float | None, deg: float | None, read_length: float
) -> float | None:
    length = one_length_mm("tolerance", {"mm": mm, "in": inch})
    if deg is None:
        return None if length is None else math.degrees(math.atan(length / read_length))
    if length is not None:
        raise refuse(
            "the tolerance is given as a length and as an angle", "give one", column="tolerance"
        )
    if isinstance(deg, bool) or not 0 < deg < 90:
        raise refuse(
            f"tolerance_deg is {deg}", "give degrees above 0", value=deg, column="tolerance"
        )
    return deg
