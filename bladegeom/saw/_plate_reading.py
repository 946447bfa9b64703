"""A part of the saw as an instrument showed it: what it is off by, and the move."""

from __future__ import annotations

import math
from dataclasses import replace

from bladegeom.estimate import Estimate, Verdict
from bladegeom.result import Result, derived, described, quantity
from bladegeom.saw._gauge import Gauge
from bladegeom.saw._measure import (
    FINEST,
    UNKNOWN,
    Plane,
    at_most,
    by_hand,
    known_to,
    named_side,
    rise_over,
    told,
    way_to,
)
from bladegeom.saw.bench import Slots, State, decided, state_of, with_slots
from bladegeom.saw.shown import Shown

OVER = {"mm": (100.0, 300.0), "in": (4.0, 12.0)}
"""Lengths over which a move is told where no other is stated: of a square, and of a fence."""

_WHAT = {
    "table": ("the top of the blade leans", "the blade stands upright"),
    "bevel": ("the top of the blade leans", "the blade stands at the bevel"),
    "miter_gauge": ("against the gauge's square the front end stands", "the gauge is true"),
    "riving_knife": ("the back end of the knife stands", "the knife is in line"),
}
"""Use -> what stands off to a side, and what is so where no side can be told."""


@described
class PlateReading(Result):
    """A part set from the plate, as it was read."""

    shown: Shown | None = quantity(
        "degrees by which the top of the plate (table, bevel), its front end (miter gauge) or the "
        "knife's back end was shown to stand off, positive toward the indicator's side of the "
        "blade; none where nothing was read",
        parts={
            "_deg": lambda shown: shown.lean.value,
            "_u_deg": lambda shown: shown.lean.u,
        },
        label="shown",
        text=lambda one: one.shown.words if one.shown else "",
        default=None,
    )

    @derived(
        "what the part is off by against the blade, in degrees: positive when the upper end of the "
        "cut (table, bevel), its front end (miter gauge) or the back end of the knife stands "
        "toward the indicator's side; none of a gauge that was read against its bar, or a knife "
        "where the slots in which it was read are not known",
        label="against the blade",
        unit="deg",
        text=lambda one: one._stands(),
    )
    def off(self) -> Estimate | None:
        # The plate's line leans by its own error from the plane of the cut, so that of what is
        # shown this much is not the cut's.
        if self.shown is None or self.shown.against == "bar":
            return None
        if self.shown.against == "plate":
            return self.line.plus(self.shown.lean)
        # A slot that runs away from the blade toward the back adds as much to the knife's back end
        # as it takes off the front end of a gauge.
        front = with_slots(self.shown.lean.times(-1.0), self.side, self.slots)
        return front and front.times(-1.0)

    @derived(
        "of the miter gauge, the same against the slot, in which it rides: what a corner is out "
        "by; none where the slots, or the sides of the blade they were read on, are not known",
        label="corners",
        unit="deg",
        text=lambda one: one._corners(),
    )
    def to_slot(self) -> Estimate | None:
        # Gauge and board both ride in the slot: what that is out by comes on top of what the gauge
        # is off the blade. Read against its bar it needs neither blade nor slots.
        if self.shown is None or self.use != "miter_gauge":
            return None
        if self.off is None:
            return self.shown.lean
        return with_slots(self.off, self.side, self.slots)

    tolerance_deg: float | None = quantity("the largest error accepted", default=None)

    @derived("of what counts; none without a tolerance, or where it is not known", label="verdict")
    def verdict(self) -> Verdict | None:
        return None if self.judged is None else self.judged.verdict(self.tolerance_deg)

    @derived(
        "how many readings at each end, or of each place, would decide where the verdict cannot be "
        "told, if they scatter alike; none where it is told, or more readings would not decide"
    )
    def readings_needed(self) -> int | None:
        shown = self.shown
        if shown is None:
            return None

        def verdict(again: Plane) -> Verdict | None:
            off = replace(self, shown=shown._replace(read=again)).judged
            return None if off is None else decided(off, self.tolerance_deg)

        return shown.read.readings_needed(verdict)

    @derived("of what was read with", inline=True)
    def gauge(self) -> Gauge:
        return Gauge(graduation=None, unit="") if self.shown is None else self.shown.read.gauge

    use: str = ""
    line: Estimate = Estimate(0.0, 0.0)
    """What the plate's line makes of the cut, as the blade stood."""
    side: str | None = None
    """The indicator's side of the blade: left, right, or not known."""
    tilts: str | None = None
    """The way in which the top of the blade goes for a bevel."""
    slots: Slots | None = None
    over: tuple[float, str] = (OVER["mm"][0], "mm")
    """The length over which the move is told."""
    share: Estimate | None = None
    """How the wobble leans the plate at another tooth than the marked one."""
    stood: str = ""
    """How that tooth stood."""

    @property
    def against_plate(self) -> bool:
        """Whether it was read against the plate, which wobbles."""
        return self.shown is not None and self.shown.against == "plate"

    @property
    def by_slots(self) -> bool:
        """Whether the slots' error is in what counts."""
        gauge = self.use == "miter_gauge" and self.against_plate
        return gauge or (self.shown is not None and self.shown.against == "slot")

    @property
    def judged(self) -> Estimate | None:
        """What counts: of the miter gauge against the slot, of all others against the blade."""
        return self.to_slot if self.use == "miter_gauge" else self.off

    @property
    def state(self) -> State | None:
        """What is to be done; None where what counts is not known."""
        if self.judged is None:
            return None
        state = state_of(self.judged, self.verdict)
        return "leave" if state == "move" and self._fine(self.judged) else state

    def _fine(self, off: Estimate) -> bool:
        """Return whether a hand can set it no better."""
        length, unit = self.over
        small = abs(off.value) < FINEST["deg"]
        return small or abs(rise_over(off, length).value) < FINEST[unit]

    @derived("what to move, which way and how far", label="what to do")
    def correction(self) -> str | None:
        off = self.judged
        if self.shown is None:
            return None
        if off is None:
            what = "miter gauge" if self.use == "miter_gauge" else "knife"
            return f"What the {what} is off by is not known before the slots are read."
        if not math.isfinite(off.u):
            return UNKNOWN
        if not told(off):
            return "Leave it: no error can be told from the doubt of the reading."
        if self._fine(off):
            return "Leave it: it is as good as a hand can set."
        length, unit = self.over
        gap = rise_over(off, length)
        by = f"{by_hand(off.value, off.u, 'deg')} deg, "
        by += f"{by_hand(gap.value, gap.u, unit)} {unit} over {length:.4g} {unit}"
        if self.use == "miter_gauge":
            end = "end on the indicator's side" if self.side is None else f"{self.side} end"
            way = "away from you" if off.value > 0 else "toward you"
            return f"Swing the {end} of the gauge's fence {way} by {by}."
        if self.use == "riving_knife":
            return f"Turn the back end of the knife {self._way(off.value < 0)} by {by}."
        before, after = self._stop(off.value < 0)
        tilt = f"Tilt the top of the blade {self._way(off.value < 0)} by {by}."
        return " ".join(filter(None, (before, tilt, after)))

    def _way(self, toward: bool) -> str:
        seen = f"{'toward' if toward else 'away from'} the indicator's side"
        return way_to(self.side, toward, seen)

    def _to(self, toward: bool) -> str:
        """Return the same in the fewest words."""
        side = named_side(self.side, toward)
        return self._way(toward) if side is None else f"to the {side}"

    def _tilted(self, toward: bool) -> bool | None:
        """Return whether the saw tilts toward the indicator for bevels, or away from it."""
        known = self.side is not None and self.tilts is not None
        return named_side(self.side, toward) == self.tilts if known else None

    def _stop(self, toward: bool) -> tuple[str, str]:
        """Say before a tilt which stop is in its way, and after it what to set."""
        free = self._tilted(toward)
        if self.use == "bevel":
            # Back toward the upright nothing is in the way.
            return ("Back off the bevel stop first if it is in the way." if free else "", "")
        if free:
            return "", "The saw tilts to that side for bevels: then set the upright stop."
        why = "if the saw tilts the other way for bevels"
        if free is False:
            why = f"for the saw tilts {self.tilts} for bevels"
        return f"Back off the upright stop first, {why}.", "Then set the stop."

    @property
    def found(self) -> tuple[str, ...]:
        """What it stands off by, and what was read."""
        said = [] if self.shown is None else [f"shown: {self.shown.words}"]
        known = self.to_slot is not None and self.off is not None and not told(self.off)
        stands = "" if known else self._stands()  # The corners tell as much.
        return tuple(filter(None, (stands, self._corners(), *said, self._taken_out())))

    def _taken_out(self) -> str:
        if self.share is None or not self.against_plate:
            return ""
        end = "front end" if self.use in ("miter_gauge", "riving_knife") else "top"
        share = "no more than can be told"
        if told(self.share) and math.isfinite(self.share.u):
            share = f"{self._to(self.share.value > 0)} by {known_to(self.share, 'deg')}"
        return f"{self.stood}: there the wobble leans the plate's {end} {share}; it is taken out"

    def _stands(self) -> str:
        """Return how the part stands to the blade."""
        off = self.off
        if off is None:
            return ""
        stands, true = _WHAT[self.use]
        if not told(off):
            return f"{true}, as far as can be told: off {at_most(off, 'deg')} either way"
        by = known_to(off, "deg")
        if self.use == "bevel" and self.tilts is not None and self.side is not None:
            past = "past" if self._tilted(off.value > 0) else "short of"
            return f"the blade leans {by} {past} the bevel"
        return f"{stands} {self._to(off.value > 0)} by {by}"

    def _corners(self) -> str:
        """Return what the corners of a board are out by."""
        off = self.to_slot
        if off is None:
            return ""
        if not told(off):
            return f"corners are true, as far as can be told: off {at_most(off, 'deg')} either way"
        wide = named_side(self.side, off.value > 0)
        narrow, by = named_side(wide, False), known_to(off, "deg")
        return (
            f"a board {wide} of the blade gets corners too wide by {by}, {narrow} of it too narrow"
        )
