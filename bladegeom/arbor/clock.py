"""The clock position at which a blade goes on its arbor: what it leaves, and whether it pays."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.angles import wrap_180
from bladegeom.arbor._mountings import arbor_design
from bladegeom.arbor.arbor import separate_arbor
from bladegeom.arbor.mounted import places_of
from bladegeom.arbor.parted import ArborFit
from bladegeom.estimate import Known, difference
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import amplitude_cdf
from bladegeom.kinds import checked
from bladegeom.result import Result, derived, described, named, number, percent, quantity
from bladegeom.tables.several import Mounts
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]

KEEP_MARK = (
    "the arbor's mark must turn with the inner flange: where the flange can be turned on the "
    "arbor, make the mark (felt-tip) on the flange"
)
_TAIL = 0.025
_STEPS = 40
"""Halvings that find a limit to the last digits that matter."""

_NEXT = 3
_AT_THE_MARK_DEG = 0.5


def _tir(which: str, meaning: str, label: Any, words: Callable[[ClockAdvice], str]) -> Any:
    """Declare a wobble TIR with its 95 % limits."""
    return quantity(
        meaning, key=f"{which}_tir", parts=("", "_low", "_high"), label=label, text=words
    )


@described
class ClockAdvice(Result):
    """Where to put a blade on its arbor, and whether that is worth loosening the nut.

    Lengths are total indicator readings of the wobble (twice its amplitude) at the ring, in the
    unit of the readings. Limits of a mounting yet to be made are those of what will be read of it:
    the scatter of its seating and of its readings are in them; NaN where the seating is not known.
    """

    _name = derived("the blade's name, as text", key="blade")(lambda one: one.arbor.blade.name)

    @derived("of all lengths")
    def unit(self) -> str:
        return self.arbor.unit

    recommended: bool = quantity(
        "whether the gain exceeds its own expanded uncertainty (95 %), seating included"
    )
    best_tooth: int = quantity("the tooth that leaves least wobble at the arbor's mark")
    best: Known = _tir(
        "best",
        "what one new mounting there is expected to leave",
        lambda one: f"tooth {one.best_tooth} at the mark",
        lambda one: f"wobble TIR {one.best.text(one.unit)}, the least",
    )
    worst_tooth: int = quantity("the tooth that leaves most")
    worst: Known = _tir(
        "worst",
        "what one new mounting there is expected to leave",
        lambda one: f"tooth {one.worst_tooth} at the mark",
        lambda one: f"wobble TIR {one.worst.text(one.unit)}, the most",
    )
    average_tir: float = quantity(
        "mean of what is expected over all teeth: a blade mounted anyhow",
        label="mounted anyhow",
        text=lambda one: f"wobble TIR {one.rounded(one.average_tir)} {one.unit} on average",
    )

    @derived("name of the mounting in use, the last one")
    def now_mount(self) -> str:
        return self.arbor.mount[-1]

    now: Known = _tir(
        "now",
        "that mounting as it was measured, its seating as it is",
        "now",
        lambda one: f"wobble TIR {one.now.text(one.unit)}, mount {one.now_mount}",
    )
    gain: Known = _tir("gain", "`now` less `best`", "gain", lambda one: one.gain_words)
    _mounts = derived(
        "every mounting in words", key="", label="mount", text=lambda one: one._mount_words()
    )(lambda one: one.arbor.mount)
    next_teeth: tuple[int, ...] = quantity(
        "the teeth to put at the mark in further mountings that tell most of blade and flange",
        key="next_mount_teeth",
        label="measure next",
        text=lambda one: one._next_words(),
    )
    next_shares: tuple[float, ...] = quantity(
        "what is left of the doubt in both after each of them, as a share of today's",
        key="next_mount_shares",
    )
    arbor: ArborFit = quantity("what is the blade's own wobble and what the flange's", inline=True)
    remarks: tuple[str, ...] = quantity("what the reader should know of the advice", key="")

    @derived("that of the arbor, and that of the advice", key="warnings")
    def all_remarks(self) -> tuple[str, ...]:
        return (*self.arbor.first, *self._remarks())

    @property
    def there_already(self) -> bool:
        """Whether the best tooth stands at the mark now."""
        return tooth_at_mark(self.arbor, -1) == self.best_tooth

    @property
    def title(self) -> str:
        """The answer in one line."""
        name = named(str(self.arbor.blade.who))
        return f"{name}: {self.answer}"

    @property
    def answer(self) -> str:
        """What to do, in words."""
        if self.arbor.again:
            return f"read again first: {'; '.join(self.arbor.again)}"
        if self.recommended:
            return f"put tooth {self.best_tooth} at the arbor's mark"
        if self.there_already:
            return f"leave it, the best tooth ({self.best_tooth}) stands at the arbor's mark now"
        if math.isnan(self.gain.low):
            return "no clock position is recommended, as the doubt in the gain is not known"
        return "leave it, another clock position is not shown to be worth it"

    @property
    def gain_words(self) -> str:
        """The gain and its doubt, in words."""
        unit, gain = self.unit, self.gain
        if math.isnan(gain.low):
            return f"{number(gain.value)} {unit}; its doubt is not known, as the seating is not"
        reach = gain.value - gain.low
        return (
            f"{number(gain.value, reach)} {unit}, expanded uncertainty {number(reach, reach)} "
            f"{unit} (95 %, one new seating included)"
        )

    def rounded(self, tir: float) -> str:
        """Return a wobble TIR as text, rounded as the best one."""
        return number(tir, (self.best.high - self.best.low) / 4)

    def _title(self) -> str:
        return self.title

    def _first(self) -> Sequence[str]:
        return self.arbor.first

    def _remarks(self) -> Sequence[str]:
        return (*self.arbor.warnings, *self.remarks)

    def _mount_words(self) -> list[tuple[str, str]]:
        arbor, said = self.arbor, []
        for at, name in enumerate(arbor.mount):
            measured, fitted = (
                self.rounded(2 * abs(one[at])) for one in (arbor.measured, arbor.fitted)
            )
            tooth = tooth_at_mark(arbor, at)
            place = f"tooth {tooth} at the mark"
            if tooth is None:
                place = f"tooth 1 {arbor.clock_deg[at]:.4g} deg past the mark"
            tir = f"wobble TIR {measured} {arbor.unit}, by blade and flange {fitted}"
            said.append((f"mount {name}", f"{place}: {tir}"))
        return said

    def _next_words(self) -> str:
        named: list[str] = []
        for tooth in self.next_teeth:
            again = " again" if f"tooth {tooth}" in named else ""
            named.append(f"tooth {tooth}{again}")
        shares = ", ".join(percent(share) for share in self.next_shares)
        return (
            f"{', then '.join(named)} at the mark: the doubt in blade and flange falls to {shares} "
            "of today's"
        )


@checked
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
    least, most = (
        Known(2 * float(expected[at]), low=float(low), high=float(high))
        for at, low, high in zip(ends, *tir_limits(arbor, -angles[ends]), strict=True)
    )
    best, used = int(ends[0]) + 1, measured_tir(arbor)
    gain = difference(used, least)
    chosen, shares = next_teeth(arbor, best)
    return ClockAdvice(
        arbor=arbor,
        recommended=gain.low > 0 and tooth_at_mark(arbor, -1) != best,
        best_tooth=best,
        best=least,
        worst_tooth=int(ends[1]) + 1,
        worst=most,
        average_tir=2 * float(expected.mean()),
        now=used,
        gain=gain,
        next_teeth=chosen,
        next_shares=shares,
        remarks=tuple(_remarks_of(arbor)),
    )


def _remarks_of(arbor: ArborFit) -> list[str]:
    remarks = []
    places = places_of(arbor.clock_deg)
    if arbor.left.seating_sd is None:
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
        # The best position and the worst differ by twice the flange's own TIR.
        most = 4 * arbor.flange_wobble.amplitude_interval().high
        told = f"by up to {number(most, most)} {arbor.unit} of wobble TIR"
        told = told if math.isfinite(most) else "by as much as the doubt, which is not known"
        remarks.append(
            "no wobble of the flange is established, so the readings cannot tell one clock "
            f"position from another: they may differ {told}"
        )
    return [*remarks, KEEP_MARK]


def advise(
    mounts: Mounts,
    *,
    flange: WobbleFit | None = None,
    harmonics: int = 1,
    drift: bool = False,
    robust: bool = False,
) -> tuple[list[ClockAdvice], list[Fault]]:
    """Advise on every blade of a table of mountings; a fault stops no other.

    Parameters
    ----------
    mounts : Mounts
    flange : WobbleFit, optional
        As for `separate_arbor`.
    harmonics, drift, robust
        As for `fit_wobble`.

    Returns
    -------
    advice : list of ClockAdvice
    refused : list of Fault
        Those of the table, and of mountings and blades that cannot be answered.
    """
    found: list[ClockAdvice] = []
    refused = list(mounts.refused)
    how: dict[str, Any] = {"harmonics": harmonics, "drift": drift, "robust": robust}
    for name, own in mounts.blades.items():
        fits: dict[str, WobbleFit] = {}
        clock: list[float] = []
        for mount in own:
            try:
                if mount.clock_deg is None:
                    raise refuse(
                        "its clock position was not kept, so it says nothing of the arbor",
                        "note at every mounting clock_tooth, the tooth at the arbor's mark, or "
                        "clock_deg, where tooth 1 stands from that mark",
                        blade=name,
                        column="clock_deg",
                    )
                fits[mount.name] = fit_wobble(mount.readings, **how)
                clock.append(mount.clock_deg)
            except RefusedError as error:
                refused += [
                    replace(fault, problem=f"mount {mount.name}: {fault.problem}")
                    for fault in error.faults
                ]
        try:
            if len(fits) < 2:
                raise refuse(
                    f"{len(fits)} mounting{'' if len(fits) == 1 else 's'} with a clock position",
                    "one mounting cannot tell arbor from blade: mount the blade at two or more "
                    "clock positions, best half a turn apart",
                    value=len(fits),
                    blade=name,
                    column="mount",
                )
            arbor = separate_arbor([*fits.values()], clock, mounts=[*fits], flange=flange)
            found.append(clock_advice(arbor))
        except RefusedError as error:
            refused += error.faults
    return found, refused


def tooth_at_mark(arbor: ArborFit, at: int) -> int | None:
    """Return the tooth at the arbor's mark in a mounting; None where it is between teeth."""
    away = -float(arbor.clock_deg[at])
    tooth = arbor.blade.nearest_tooth(away)
    off = wrap_180(arbor.blade.angle_of(tooth) - away)
    return tooth if abs(off) < _AT_THE_MARK_DEG else None


def new_mounting(arbor: ArborFit, clock_deg: ArrayLike) -> Wobble:
    """Return the wobble to expect of one new mounting at each clock position.

    Its seating scatter and the scatter of its readings are in its doubt, counted together as one
    mounting's variance: the seating alone, where it is no larger than the other, is too little
    known. NaN where it is not known at all.
    """
    seen = _seen(np.asarray(clock_deg, dtype=np.float64))
    own = math.nan if arbor.left.seating_sd is None else _variance(arbor)
    doubt = seen @ arbor.covariance @ np.swapaxes(seen, -1, -2) + own * np.eye(2)
    return Wobble(arbor.at(clock_deg), np.moveaxis(doubt, (-2, -1), (0, 1)), arbor.left.dof)


def tir_limits(arbor: ArborFit, clock_deg: ArrayLike) -> tuple[Floats, Floats]:
    """Return the 95 % limits of the wobble TIR that one new mounting will show, NaN if unknown."""
    new = new_mounting(arbor, clock_deg)
    variance = np.linalg.eigvalsh(np.moveaxis(new.covariance, (0, 1), (-2, -1)))[..., -1]
    low, high = next_limits(new.amplitude, np.sqrt(variance), new.dof)
    return 2 * low, 2 * high


def measured_tir(arbor: ArborFit) -> Known:
    """Return the wobble TIR of the last mounting as it sits: only its readings are in doubt."""
    reading = math.sqrt(max(0.0, _variance(arbor) - (arbor.left.seating_sd or 0.0) ** 2))
    amplitude = float(abs(arbor.measured[-1]))
    low, high = next_limits(amplitude, reading, arbor.left.dof)
    return Known(2 * amplitude, low=2 * float(low), high=2 * float(high))


def _variance(arbor: ArborFit) -> float:
    """Return the variance of either component of one mounting, its readings and its seating.

    Least squares of mountings that are equally well known has the covariance
    ``variance (X'X)^-1``.
    """
    return float(np.trace(arbor.covariance) / np.trace(np.linalg.inv(_information(arbor))))


def _seen(clock_deg: Floats) -> Floats:
    """Return what blade and flange add to the wobble at clock positions, shape (..., 2, 4)."""
    each = arbor_design(clock_deg.ravel(), np.zeros(clock_deg.size, dtype=np.int64))
    return each.reshape(*clock_deg.shape, 2, 4)


def _information(arbor: ArborFit) -> Floats:
    seen = _seen(arbor.clock_deg)
    total: Floats = np.einsum("nij,nik->jk", seen, seen)
    return total


def next_teeth(arbor: ArborFit, best: int) -> tuple[tuple[int, ...], tuple[float, ...]]:
    """Choose teeth for further mountings, one after the other, as well known as those made.

    Minimised is the summed variance of blade and flange; among equals that of the wobble at the
    best tooth.
    """
    seen = _seen(-arbor.blade.angles_deg)
    each = np.swapaxes(seen, -1, -2) @ seen
    held = _information(arbor)
    today = float(np.trace(np.linalg.inv(held)))
    chosen, shares = [], []
    for _ in range(_NEXT):
        covariance = np.linalg.inv(held + each)
        total = np.trace(covariance, axis1=-2, axis2=-1)
        left = seen[best - 1] @ covariance @ seen[best - 1].T
        goal = total + 1e-6 * np.trace(left, axis1=-2, axis2=-1)
        at = int(np.flatnonzero(goal <= goal.min() * (1 + 1e-9))[0])
        chosen.append(at + 1)
        shares.append(math.sqrt(float(total[at]) / today))
        held = held + each[at]
    return tuple(chosen), tuple(shares)


def next_limits(estimate: ArrayLike, sd: ArrayLike, dof: ArrayLike) -> tuple[Floats, Floats]:
    """Return 95 % limits of the amplitude of a vector that is known up to a doubt.

    Either end is the safe one of two laws. The lower is the least amplitude that would not show
    so large an estimate in 97.5 % of cases (see `bladegeom.kernel.doubt.amplitude_limits`): 0
    where no wobble would. The upper is the radius about 0 inside which 97.5 % of the places lie
    where the vector may be, its errors being Student's.

    The estimate is an amplitude, `sd` the standard deviation of one component of its error, and
    `dof` the degrees of freedom of that, of shapes that broadcast to (...). A zero `sd` counts as
    the smallest that matters.
    """
    given, doubt, free = np.broadcast_arrays(
        *(np.asarray(one, dtype=np.float64) for one in (estimate, sd, dof))
    )
    doubt = np.maximum(doubt, np.maximum(1e-9 * given, 1e-300))
    x = given / doubt
    shown = amplitude_cdf(x, 0.0, free) > 1 - _TAIL
    low = _halved(lambda at: amplitude_cdf(x, at, free) > 1 - _TAIL, np.zeros(x.shape), x)
    reach = np.full(x.shape, 4.0)
    while np.any(short := amplitude_cdf(x + reach, x, free) < 1 - _TAIL):
        reach = np.where(short, 2 * reach, reach)
    high = _halved(lambda at: amplitude_cdf(at, x, free) < 1 - _TAIL, x, x + reach)
    return np.where(shown, low, 0.0 * x) * doubt, high * doubt


def _halved(above: Callable[[Floats], NDArray[np.bool_]], low: Floats, high: Floats) -> Floats:
    """Find where `above`, true at `low` and not at `high`, changes."""
    for _ in range(_STEPS):
        middle = (low + high) / 2
        further = above(middle)
        low, high = np.where(further, middle, low), np.where(further, high, middle)
    found: Floats = (low + high) / 2
    return found
