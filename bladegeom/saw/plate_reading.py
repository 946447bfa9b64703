"""A part of the saw as a square showed it against the plate: what it is off by, and the move."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bladegeom.estimate import Estimate, Verdict
from bladegeom.faults import RefusedError, refuse
from bladegeom.kernel.doubt import student_t
from bladegeom.result import Result, Row
from bladegeom.saw.setting import Setting
from bladegeom.saw.taken import size, told

if TYPE_CHECKING:
    from bladegeom.saw.slots import SlotAlignment

_MEANT = {
    "table": ("the lean from the upright", "plus where the plate's top leans"),
    "bevel": ("the bevel from the upright", ""),
    "miter_gauge": ("what it is off its angle", "plus where the plate's front end leans"),
    "riving_knife": ("what it is off the plate", "plus where the knife's back end stands"),
}
"""Use -> what is meant by what it shows, and the sign of it."""


@dataclass(frozen=True, eq=False, repr=False)
class PlateReading(Result):
    """A part set from the plate, as it was read.

    Attributes
    ----------
    setting : Setting
        What the plate itself adds.
    shows, resolution : float
        In degrees, as `read_from_plate` takes them.
    off : Estimate
        What the part is off by against the blade, in degrees. Positive when the upper end of the
        cut (table, bevel), its front end (miter gauge) or the back end of the knife stands toward
        the indicator's side.
    to_slot : Estimate or None
        Of the miter gauge, the same against the slot, in which it rides: what a corner is out by.
        None where the slots, or the sides of the blade they were read on, are not known.
    side, tilts : {"left", "right"} or None
        The indicator's side of the blade; the way in which the top of the blade goes for a bevel.
    tolerance_deg : float or None
    """

    setting: Setting
    shows: float
    resolution: float
    off: Estimate
    to_slot: Estimate | None
    side: str | None
    tilts: str | None
    tolerance_deg: float | None

    @property
    def judged(self) -> Estimate | None:
        """What counts: of the miter gauge against the slot, of all others against the blade."""
        return self.to_slot if self.setting.use == "miter_gauge" else self.off

    @property
    def verdict(self) -> Verdict | None:
        """Of what counts; None without a tolerance, or where it is not known."""
        if self.tolerance_deg is None or self.judged is None:
            return None
        return self.judged.verdict(self.tolerance_deg)

    @property
    def correction(self) -> str:
        """What to move, which way and how far."""
        off = self.judged
        if off is None:
            return "What the miter gauge is off by against the slot is not known."
        if not told(off):
            return "Leave it: no error can be told from the doubt of the reading."
        gap = self.setting.gap(off)
        by = size(off, "deg")
        if gap is not None:
            by += f", {size(gap, f'{self.setting.span_unit}')} over {self._over}"
        if self.setting.use == "miter_gauge":
            end = "end on the indicator's side" if self.side is None else f"{self.side} end"
            way = "away from you" if off.value > 0 else "toward you"
            return f"Swing the {end} of the gauge's fence {way} by {by}."
        if self.setting.use == "riving_knife":
            return f"Turn the back end of the knife {self._way(off.value < 0)} by {by}."
        said = f"Tilt the top of the blade {self._way(off.value < 0)} by {by}."
        return f"{said} {self._stop(off.value < 0)}".rstrip()

    @property
    def _over(self) -> str:
        return f"{self.setting.cut_length:.4g} {self.setting.span_unit}"

    def _way(self, toward: bool) -> str:
        seen = f"{'toward' if toward else 'away from'} the indicator's side"
        return seen if self.side is None else f"to the {self._named(toward)} ({seen})"

    def _named(self, toward: bool) -> str | None:
        """Return which side is toward the indicator, or away from it."""
        if self.side is None or toward:
            return self.side
        return "right" if self.side == "left" else "left"

    def _stop(self, toward: bool) -> str:
        """Say which stop is in the way of a tilt."""
        free = None if None in (self.side, self.tilts) else self._named(toward) == self.tilts
        if self.setting.use == "bevel":
            # Back toward the upright nothing is in the way.
            return "Back off the bevel stop first if it is in the way." if free else ""
        if free is None:
            return "Back off the upright stop first if the saw tilts the other way for bevels."
        if free:
            return "The saw tilts that way: then set the upright stop to it."
        return f"Back off the upright stop first, for the saw tilts {self.tilts}; then set it."

    @property
    def found(self) -> tuple[str, ...]:
        """What was read, and what it means."""
        upright = " from the upright" if self.setting.use in ("table", "bevel") else ""
        toe = "toe: " if self.setting.use == "riving_knife" else ""
        said = [f"{toe}{self.shows:g} deg{upright} shown, in steps of {self.resolution:g} deg"]
        said.append(self._stands())
        if self.to_slot is not None:
            said.append(f"against the slot, and so every corner, by {self.to_slot.text('deg')}")
        return tuple(said)

    def _stands(self) -> str:
        off, use = self.off, self.setting.use
        if not (told(off) and math.isfinite(off.u)):
            what = "out of square" if use == "table" else "off"
            return f"{what} by {off.text('deg')}, no side told"
        by = off.times(math.copysign(1.0, off.value)).text("deg")
        way = self._way(off.value > 0)
        if use == "bevel" and self.tilts is not None:
            past = "past" if self._named(off.value > 0) == self.tilts else "short of"
            return f"the blade leans {by} {past} the bevel"
        if use == "miter_gauge":
            return f"against the gauge's square the blade's front end stands {way} by {by}"
        if use == "riving_knife":
            return f"the knife's back end stands {way} by {by}"
        return f"the top of the blade leans {way} by {by}"

    def _title(self) -> str:
        return self.setting._title()

    def _rows(self) -> Sequence[Row]:
        slot = self.to_slot or Estimate(math.nan, math.nan)
        label = "against the slot" if self.to_slot is not None else ""
        return [
            *self.setting._rows(),
            Row("shows", self.shows, "shown", f"{self.shows:g} deg"),
            Row("resolution", self.resolution),
            *self.off.rows("off", "_deg", "off by", self.off.text("deg")),
            *slot.rows("to_slot", "_deg", label, slot.text("deg")),
            Row("tolerance_deg", self.tolerance_deg),
            Row("verdict", self.verdict, "verdict" if self.verdict else "", f"{self.verdict}"),
            Row("correction", self.correction, "what to do", self.correction),
        ]

    def _remarks(self) -> Sequence[str]:
        return self.setting._remarks()


def read_from_plate(
    setting: Setting,
    *,
    shows: float,
    resolution: float,
    tilts: str | None = None,
    slots: SlotAlignment | None = None,
    tolerance_deg: float | None = None,
) -> PlateReading:
    """Return what a part is off by, from what a square or inclinometer showed against the plate.

    The plate's line leans by the setting's own error from the plane of the cut, so that of what is
    shown this much is not the cut's. Where no wobble is established any tooth may stand up, and
    the worst rotation is taken for the doubt of the line.

    The miter gauge rides in the slot, and so does the board. Where the slot runs away from the
    blade toward the back, on the indicator's side, the blade's front end stands nearer to that
    side against the slot than it seems against the gauge: the slots' angle is taken off (on the
    other side of the blade added).

    Parameters
    ----------
    setting : Setting
    shows : float
        Degrees. Of the table, the lean of the plate from the upright, of the miter gauge, the lean
        of the plate's front end from the gauge's square (or angle), of the riving knife, how its
        back end stands to the plate: 0 for none, positive toward the indicator's side of the
        blade. Of a bevel, the bevel itself, from the upright.
    resolution : float
        The finest step shown.
    tilts : {"left", "right"}, optional
        The way in which the top of the blade goes for a bevel; needed of a bevel.
    slots : SlotAlignment, optional
        As they stand; of the miter gauge only.
    tolerance_deg : float, optional

    Returns
    -------
    PlateReading

    Raises
    ------
    RefusedError
        If what is shown is counted from elsewhere, such as from the table and not the upright.
    """
    use, target = setting.use, setting.angle_deg if setting.use == "bevel" else 0.0
    side = setting.fit.readings.side.strip().lower()
    known = side if side in ("left", "right") else None
    if error := _miscounted(setting, shows, target):
        raise error
    toward = 1.0 if use != "bevel" or tilts == known else -1.0
    line = setting.cut if setting.error is None else setting.cut_at_error
    if line is None:
        line = Estimate(0.0, setting.worst.value / student_t(0.95, math.inf))
    # Anything within half a step either way is shown as the same (GUM F.2.2.1).
    off = line.plus(Estimate(toward * (shows - target), resolution / math.sqrt(12)))
    to_slot = None
    if use == "miter_gauge" and slots is not None and slots.side is not None and known is not None:
        to_slot = off.plus(slots.angle.times(-1.0 if slots.side == known else 1.0))
    return PlateReading(setting, shows, resolution, off, to_slot, known, tilts, tolerance_deg)


def _miscounted(setting: Setting, shows: float, target: float) -> RefusedError | None:
    """Return what is wrong where a reading makes sense only if counted from elsewhere."""
    table, angle = abs(90.0 - abs(shows)), setting.angle_deg
    others = {"bevel": [-shows, table], "miter_gauge": [table, abs(shows) - angle, table - angle]}
    best = min(map(abs, others.get(setting.use, [table])), key=lambda one: abs(one - target))
    # Within a degree nothing is refused: at 45 deg a bevel is as far from the upright as from the
    # table, and the number alone cannot tell.
    if abs(shows - target) <= 1.0 or abs(best - target) >= abs(shows - target):
        return None
    meant, sign = _MEANT[setting.use]
    cure = f"write {round(best, 9):g}"
    if sign:
        cure += f" or -{round(best, 9):g}: {sign} toward the indicator's side of the blade"
    if setting.use in ("table", "bevel"):
        cure += "; a box zeroed on the table counts from the table"
    return refuse(
        f"shows is {shows:g}, and {meant} is meant, {target:g} where it is right",
        cure,
        value=f"{shows:g}",
        column="shows",
    )
