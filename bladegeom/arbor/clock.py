"""The clock position at which a blade goes on its arbor: what it leaves, and whether it pays."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bladegeom.arbor.arbor import ArborFit
from bladegeom.arbor.clock_limits import Limited, difference
from bladegeom.arbor.clock_places import (
    measured_tir,
    next_teeth,
    place_words,
    tir_limits,
    tooth_at_mark,
)
from bladegeom.arbor.mounted import places_of
from bladegeom.result import Result, Row, number, percent

KEEP_MARK = (
    "the arbor's mark must turn with the inner flange: where the flange can be turned on the "
    "arbor, make the mark (felt-tip) on the flange"
)


@dataclass(frozen=True, eq=False, repr=False)
class ClockAdvice(Result):
    """Where to put a blade on its arbor, and whether that is worth loosening the nut.

    Lengths are total indicator readings of the wobble (twice its amplitude) at the ring, in the
    unit of the readings. Limits of a mounting yet to be made are those of what will be read of it:
    the scatter of its seating and of its readings are in them.

    Attributes
    ----------
    arbor : ArborFit
    best_tooth, worst_tooth : int
        The teeth that leave least and most wobble when they are put at the arbor's mark.
    best, worst : Limited
        What one new mounting there is expected to leave.
    average_tir : float
        Mean of what is expected over all teeth: a blade mounted anyhow.
    now : Limited
        The mounting in use, the last one: as it was measured, its seating as it is.
    gain : Limited
        `now` less `best`.
    recommended : bool
        Whether the gain exceeds its own expanded uncertainty (95 %), seating included.
    next_teeth : tuple of int
        The teeth to put at the mark in further mountings that tell most of blade and flange.
    next_shares : tuple of float
        What is left of the doubt in both after each of them, as a share of today's.
    remarks : tuple of str
    """

    arbor: ArborFit
    best_tooth: int
    worst_tooth: int
    best: Limited
    worst: Limited
    average_tir: float
    now: Limited
    gain: Limited
    recommended: bool
    next_teeth: tuple[int, ...]
    next_shares: tuple[float, ...]
    remarks: tuple[str, ...]

    @property
    def now_mount(self) -> str:
        """Name of the mounting in use."""
        return self.arbor.mount[-1]

    @property
    def there_already(self) -> bool:
        """Whether the best tooth stands at the mark now."""
        return tooth_at_mark(self.arbor, -1) == self.best_tooth

    @property
    def title(self) -> str:
        """The answer in one line."""
        name = f"Blade {self.arbor.blade.name}" if self.arbor.blade.name else "Blade"
        return f"{name}: {self.answer}"

    @property
    def answer(self) -> str:
        """What to do, in words."""
        if self.recommended:
            return f"put tooth {self.best_tooth} at the arbor's mark"
        if self.there_already:
            return f"leave it, the best tooth ({self.best_tooth}) stands at the arbor's mark now"
        if math.isnan(self.gain.low):
            return "no clock position is recommended, as the doubt in the gain is not known"
        return "leave it, another clock position is not shown to be worth it"

    def _title(self) -> str:
        return self.title

    def _rows(self) -> Sequence[Row]:
        unit, arbor = self.arbor.unit, self.arbor
        own = [
            Row("blade", arbor.blade.name),
            Row("unit", unit),
            Row("recommended", self.recommended),
            Row("best_tooth", self.best_tooth),
            *self.best.rows(
                "best_tir",
                f"tooth {self.best_tooth} at the mark",
                f"wobble TIR {self.best.text(unit)}, the least",
            ),
            Row("worst_tooth", self.worst_tooth),
            *self.worst.rows(
                "worst_tir",
                f"tooth {self.worst_tooth} at the mark",
                f"wobble TIR {self.worst.text(unit)}, the most",
            ),
            Row(
                "average_tir",
                self.average_tir,
                "mounted anyhow",
                f"wobble TIR {number(self.average_tir, self._doubt)} {unit} on average",
            ),
            Row("now_mount", self.now_mount),
            *self.now.rows(
                "now_tir", "now", f"wobble TIR {self.now.text(unit)}, mount {self.now_mount}"
            ),
            *self.gain.rows("gain_tir", "gain", self._gain()),
            *self._mounts(),
            Row("next_mount_teeth", list(self.next_teeth), "measure next", self._next()),
            Row("next_mount_shares", list(self.next_shares)),
        ]
        taken = {row.key for row in own if row.key} | {"warnings"}
        rest = [row for row in arbor._rows() if row.key not in taken]
        return [*own, *rest, Row("warnings", list(self.all_remarks))]

    @property
    def _doubt(self) -> float:
        return (self.best.high - self.best.low) / 4

    def _gain(self) -> str:
        unit, gain = self.arbor.unit, self.gain
        if math.isnan(gain.low):
            return f"{number(gain.value)} {unit}; its doubt is not known, as the seating is not"
        reach = gain.value - gain.low
        return (
            f"{number(gain.value, reach)} {unit}, expanded uncertainty {number(reach, reach)} "
            f"{unit} (95 %, one new seating included)"
        )

    def _mounts(self) -> list[Row]:
        arbor, doubt = self.arbor, self._doubt
        rows = []
        for at, name in enumerate(arbor.mount):
            measured, fitted = (
                number(2 * abs(one[at]), doubt) for one in (arbor.measured, arbor.fitted)
            )
            text = f"{place_words(arbor, at)}: wobble TIR {measured} {arbor.unit}"
            rows.append(Row("", None, f"mount {name}", f"{text}, by blade and flange {fitted}"))
        return rows

    def _next(self) -> str:
        named: list[str] = []
        for tooth in self.next_teeth:
            again = " again" if f"tooth {tooth}" in named else ""
            named.append(f"tooth {tooth}{again}")
        shares = ", ".join(percent(share) for share in self.next_shares)
        return (
            f"{', then '.join(named)} at the mark: the doubt in blade and flange falls to {shares} "
            "of today's"
        )

    @property
    def all_remarks(self) -> tuple[str, ...]:
        """Those of the arbor, and those of the advice."""
        return (*self.arbor.warnings, *self.remarks)

    def _remarks(self) -> Sequence[str]:
        return self.all_remarks


def clock_advice(arbor: ArborFit) -> ClockAdvice:
    """Choose the tooth to put at the arbor's mark, and judge whether that is worth it.

    With tooth k there, tooth 1 stands at a clock position of minus that tooth's angle, so that the
    wobble is ``B + F exp(i angle_k)``. What will be read of a new mounting differs from that by
    the doubt in B and F, by its own seating and by its readings. Recommended is a change from the
    mounting now in use, the last one, whose wobble was measured as it sits: the gain is that
    wobble less the one expected at the best tooth, and must exceed its own expanded uncertainty
    at 95 %.

    Parameters
    ----------
    arbor : ArborFit

    Returns
    -------
    ClockAdvice
        Without a recommendation where the seating is not known.
    """
    angles = arbor.blade.angles_deg
    expected = np.abs(arbor.at(-angles))
    ends = np.array([np.argmin(expected), np.argmax(expected)])
    low, high = tir_limits(arbor, -angles[ends])
    best, worst = int(ends[0]) + 1, int(ends[1]) + 1
    least, most = (
        Limited(2 * float(expected[at]), float(low[place]), float(high[place]))
        for place, at in enumerate(ends)
    )
    used = measured_tir(arbor)
    gain = difference(used, least)
    chosen, shares = next_teeth(arbor, best)
    advice = ClockAdvice(
        arbor=arbor,
        best_tooth=best,
        worst_tooth=worst,
        best=least,
        worst=most,
        average_tir=2 * float(expected.mean()),
        now=used,
        gain=gain,
        recommended=False,
        next_teeth=chosen,
        next_shares=shares,
        remarks=tuple(_remarks_of(arbor)),
    )
    return replace(advice, recommended=gain.low > 0 and not advice.there_already)


def _remarks_of(arbor: ArborFit) -> list[str]:
    remarks = []
    places = places_of(arbor.clock_deg)
    if arbor.seating_sd is None:
        remarks.append(
            "how well the blade seats is not known, so neither is the doubt in the gain: mount it "
            "once more, at any of these positions"
        )
    elif len(np.unique(places)) == len(places):
        remarks.append(
            "no clock position was used twice: the seating is told only by how well blade and "
            "flange explain the mountings"
        )
    if not arbor.flange_wobble.resolved:
        remarks.append("no wobble of the flange is established: any clock position may do as well")
    return [*remarks, KEEP_MARK]
