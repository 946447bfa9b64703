"""The verdict on one limit: what was measured with its doubt, the outcome, and what keeps it back.

Conformity is that of JCGM 106:2012 and ISO 14253-1:2017.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.columns import NOT_FINISHED
from bladegeom.estimate import Known, judge, keeps
from bladegeom.faults import refuse
from bladegeom.fit.closing import closing_of
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import amplitude_cdf, student_t
from bladegeom.kernel.span import (
    HIGH,
    LOW,
    MANY,
    MIDDLE,
    Scatter,
    against,
    farthest_limits,
    may_scatter,
    quantile_within,
    rough,
    rounded_away,
    span,
    span_of_one_turn,
)
from bladegeom.readings import Readings, same_ring
from bladegeom.result import between, number, percent
from bladegeom.shop.limits import Limit, Limits, said_length

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = NDArray[np.intp]

CONFORMS, UNDECIDED, FAILS = "conforms", "undecided", "does not conform"
NOT_JUDGED = "not judged"
"""Of a blade that is out of service whatever its runout."""

OUTCOMES = (CONFORMS, UNDECIDED, FAILS, NOT_JUDGED)
"""From the best to the worst."""

RULES = {
    "zones": "three outcomes by the zones of ISO 14253-1:2017 and JCGM 106:2012: conforms where "
    "the value with its expanded uncertainty U stays within the limit, does not conform where it "
    "is over the limit by more than U, else undecided; guard factor 1, coverage 95 %",
    "simple": "simple acceptance (JCGM 106:2012): the value alone against the limit, its "
    "uncertainty left out",
}
"""Decision rule -> how it is printed."""

UNREAD_RULE = (
    "What was not read cannot pass: at most two neighbouring teeth may be left out, and at most an "
    "eighth of a turn between two that are read. For a limit on the raw TIR, a tooth left out may "
    "also stand off the curve twice as far as its neighbours. A reading that ended early "
    "neither passes nor fails a blade, nor do fewer than half its teeth fail it."
)
"""The rule as it is printed. A bend of the plate runs over three teeth or more, so that a run of
two unread ones shows it on one side at least; eight teeth are the fewest that show a shape. The
readings so far choose the moment at which one is stopped early, so that it proves nothing."""

_MOST, _WIDEST_DEG = 2, 45.0
"""That rule in numbers."""

A_TURN = 3.5
"""Standard deviations of one reading that the limits of a raw TIR reach from it, after one turn."""

_OUTCOME = {"yes": CONFORMS, "cannot tell": UNDECIDED, "no": FAILS}


@dataclass(frozen=True)
class Verdict:
    """The outcome on one limit; lengths in the unit of the readings.

    Attributes
    ----------
    on : Limit
    limit : float
        Its value.
    outcome : str
        One of `OUTCOMES`.
    measured : Known
        NaN limits where the doubt is not known.
    probability : float
        That the true value is within the limit; NaN where the doubt is not known or the outcome is
        withheld.
    rests_on : str
        What the doubt rests on.
    unread : tuple of int
        Teeth not read that keep the blade from passing.
    withheld_for : str
        In words, why the numbers alone do not decide; empty where they do.
    turns : float
        About how many turns in all would decide; infinite where turns cannot, NaN if not known.
    """

    on: Limit
    limit: float
    outcome: str
    measured: Known
    probability: float
    rests_on: str
    unread: tuple[int, ...] = ()
    withheld_for: str = ""
    turns: float = math.nan

    def withheld(self, outcome: str, why: str) -> Verdict:
        """Return the numbers with an outcome that rests on something else than they."""
        return replace(self, outcome=outcome, probability=math.nan, withheld_for=why)

    def said(self, unit: str) -> str:
        """Return the verdict in words."""
        value, _, low, high, _ = self.measured
        doubt = (high - low) / 2
        limits = f"95 %: {between(low, high, doubt)}"
        if math.isnan(doubt):
            limits = "doubt not known"
        chance = f" ({self.withheld_for})" if self.withheld_for else ""
        if math.isfinite(self.probability):
            chance = f" (probability to be within it: {percent(self.probability)})"
        name = self.on.quantity.replace("_tir", " TIR")
        return (
            f"{name} {number(value, doubt)} {unit} ({limits}) against {self.limit:.4g} {unit}: "
            f"{self.outcome}{chance}; doubt from {self.rests_on}; source: {self.on.source}"
        )


class Seen(NamedTuple):
    """What the readings say of a runout and a limit, in the unit of the readings.

    Attributes
    ----------
    measured : Known
    within : float
        Chance that the true value is within the limit.
    rests_on : str
        In words, what the doubt rests on.
    a_turn : float
        How near to the limit one turn decides; more of them by the root of their number. Infinite
        where the dial's step hides the scatter, so that another turn reads the same again.
    """

    measured: Known
    within: float
    rests_on: str
    a_turn: float = math.nan


def verdicts_on(
    fit: WobbleFit, limits: Limits, rule: str, pooled: Scatter | None = None
) -> tuple[Verdict, ...]:
    """Return the verdict on each limit that holds for a blade; see `assess`."""
    blade = fit.readings.blade
    holding = limits.of(blade.diameter_mm, blade.name)
    return tuple(_verdict(fit, one, rule, pooled) for one in holding)


def worst_of(verdicts: Sequence[Verdict]) -> str:
    """Return the worst outcome."""
    return max((one.outcome for one in verdicts), key=OUTCOMES.index)


def unread_of(verdicts: Sequence[Verdict]) -> tuple[int, ...]:
    """Return the teeth that keep a blade from passing."""
    return tuple(sorted({tooth for one in verdicts for tooth in one.unread}))


def _verdict(fit: WobbleFit, on: Limit, rule: str, pooled: Scatter | None) -> Verdict:
    _check_ring(fit, on)
    limit, raw = on.in_unit(fit.unit), on.quantity == "raw_tir"
    seen = raw_span(fit, limit, pooled) if raw else wobble_span(fit, limit)
    measured, within, rests_on, a_turn = seen
    outcome = judged(measured, limit, rule)
    passes, readings = outcome == CONFORMS, fit.readings
    reach = measured.value if rule == "simple" else measured.high
    unread = _hiding(fit, limit - reach if raw and passes else math.inf)
    early = readings.finished == NOT_FINISHED
    if early:
        unread = tuple(tooth for run in _runs(readings) for tooth in run)
    turns = turns_to_decide(a_turn, abs(limit - measured.value), turns_read(fit))
    verdict = Verdict(
        on,
        limit,
        outcome,
        measured,
        within,
        rests_on,
        unread,
        turns=float(turns),
    )
    few = 2 * teeth_read(readings) < readings.blade.teeth
    if unread and (passes or early or few):
        return verdict.withheld(UNDECIDED, "until the unread teeth are read")
    return verdict


def _check_ring(fit: WobbleFit, limit: Limit) -> None:
    """Refuse a limit that holds at a ring more than 1 % away: the runout differs by as much."""
    ring = fit.readings.ring_radius_mm
    if limit.ring is None or same_ring(ring, limit.ring_mm):
        return
    read = "not stated" if ring is None else f"{ring:.4g} mm"
    raise refuse(
        f"the limit holds at a ring radius of {said_length(limit.ring)}; the ring radius of this "
        f"blade is {read}",
        "read the blade at the limit's ring, or state the ring radius",
        blade=fit.readings.blade.name,
        column="ring_radius",
        value=read,
    )


def turns_read(fit: WobbleFit) -> int:
    """Return in how many turns a blade was read."""
    return len(np.unique(fit.readings.turn[fit.in_fit]))


def judged(measured: Known, limit: float, rule: str = "zones") -> str:
    """Return which of `OUTCOMES` a value has under a rule, zones or simple, in the limit's unit."""
    if rule not in RULES:
        raise refuse(f"{rule!r} is no decision rule", "use zones or simple", value=rule)
    if rule == "simple":
        return CONFORMS if measured.value <= limit else FAILS
    return _OUTCOME[judge(measured, limit)]


def wobble_span(fit: WobbleFit, limit: float) -> Seen:
    """Return the wobble TIR with its limits and the chance that it is within a limit.

    The limits are those of the fit. The chance is the confidence distribution that belongs to
    them: how probable an estimate as large as this one, or larger, is at an amplitude of half the
    limit (`amplitude_cdf`).
    """
    low, high, _ = fit.amplitude_interval()
    within = math.nan
    if math.isfinite(high) and fit.amplitude_u > 0:
        sd = fit.amplitude_u
        estimate = max(fit.amplitude / sd, math.sqrt(2))
        within = float(np.clip(1 - amplitude_cdf(estimate, limit / 2 / sd, fit.dof), 0.0, 1.0))
    measured = Known(fit.wobble_tir, 2 * fit.amplitude_u, 2 * low, 2 * high)
    reach = (
        measured.high - measured.value if limit > measured.value else measured.value - measured.low
    )
    hidden = rounded_away(fit.residual_sd, fit.graduation)
    a_turn = math.inf if hidden else reach * math.sqrt(turns_read(fit))
    return Seen(measured, within, f"the fit of {len(fit.residuals)} readings", a_turn)


def raw_span(fit: WobbleFit, limit: float, pooled: Scatter | None = None) -> Seen:
    """Return the plate's own raw TIR with its limits and the chance that it is within a limit.

    That is the highest less the lowest of the plate at the teeth read, less what scatter adds
    (`bladegeom.kernel.span`). Its scatter is that of teeth read in several turns, with what is
    pooled of other blades; of one turn alone it may be anything from none to all that neighbouring
    teeth differ by.
    """
    step, means, counts = fit.graduation, *_tooth_means(fit)
    floor = step / math.sqrt(12)
    own = _repeatability(fit, means, counts)
    of_teeth, known = means[counts > 0], counts[counts > 0].astype(np.float64)
    if own is None and pooled is None:
        if rough(of_teeth).sd == 0 and floor == 0:
            why = "nothing: no reading differs and no graduation is stated"
            return Seen(Known(fit.raw_tir), math.nan, why)
        scatter, found = rough(of_teeth), span_of_one_turn(of_teeth, step)
        rests = (
            "one turn, which does not tell scatter from the plate's texture: whatever share of "
            "what neighbouring teeth differ by is scatter"
        )
    else:
        scatter = pooled_from([one for one in (own, pooled) if one is not None], floor)
        dof, found = scatter.dof, span(of_teeth, known, scatter, step)
        rests = " and ".join(
            ["the repeatability of teeth read in several turns"] * (own is not None)
            + ["that of the day's closing readings"] * (pooled is not None)
        )
        rests += f" ({dof:.0f} degrees of freedom)"
    u = (found.high - found.low) / (2 * student_t(0.95, math.inf))
    a_turn = math.inf if rounded_away(scatter.sd, step) else A_TURN * scatter.sd
    return Seen(Known(found.value, u, found.low, found.high), found.within(limit), rests, a_turn)


def pooled_from(parts: Sequence[Scatter], floor: Any) -> Scatter:
    """Return what several say of one scatter."""
    dof = sum(one.dof for one in parts)
    sd = np.sqrt(sum(one.dof * one.sd**2 for one in parts) / dof)
    return Scatter(np.maximum(sd, floor), dof)


# Of many blades

NOT_TOLD = -1
"""Of a blade that is to be judged by itself; else a place in `OUTCOMES`."""


def outcomes(value: Floats, low: Floats, high: Floats, limit: Floats, rule: str) -> Places:
    """Return what `judged` says of many values."""
    if rule == "simple":
        return np.where(value <= limit, 0, OUTCOMES.index(FAILS))
    yes, no = keeps(low, high, limit)
    return np.where(yes, 0, np.where(no, OUTCOMES.index(FAILS), OUTCOMES.index(UNDECIDED)))


def raw_outcomes(
    means: Floats,
    turns: int,
    parts: Sequence[Scatter],
    graduation: Floats,
    limit: Floats,
    rule: str,
) -> Places:
    """Return what `judged` says of the raw TIR of blades of which as many teeth were read.

    Parameters
    ----------
    means : ndarray, shape (teeth read, n)
    turns : int
    parts : sequence of Scatter
        What is known of the scatter of one reading, beside these; none of one turn.
    graduation, limit : ndarray, shape (n,)
    rule : {"zones", "simple"}

    Returns
    -------
    ndarray of int, shape (n,)
        Where the limit is farther than any scatter reaches, that tells; else it is held against
        the draws of the span.
    """
    read, floor = np.ptp(means, axis=0), graduation / math.sqrt(12)
    if rule == "simple" and not parts:
        return outcomes(read, read, read, limit, rule)
    upper: Any = rough(means)
    widest = pooled_from(parts or [upper], floor)
    low, high = farthest_limits(read, turns, len(means), widest, graduation)
    found = outcomes(read, low, high, limit, "zones")
    found[(upper.sd == 0) & (floor == 0)] = NOT_TOLD
    for at in np.flatnonzero(found == OUTCOMES.index(UNDECIDED)).tolist():
        step, own = float(graduation[at]), Scatter(float(upper.sd[at]), upper.dof)
        may_be = may_scatter(own, step)
        if parts:
            may_be = [Scatter(float(np.broadcast_to(widest.sd, read.shape)[at]), widest.dof)]
        found[at] = _by_draws(means[:, at], turns, may_be, step, float(limit[at]), rule)
    return found


def _by_draws(
    means: Floats,
    turns: int,
    may_be: Sequence[Scatter],
    graduation: float,
    limit: float,
    rule: str,
) -> int:
    """Return the outcome for one blade, whose scatter may be one of several."""
    fails, read = OUTCOMES.index(FAILS), np.asarray(np.ptp(means))
    high: list[bool | None] = []
    low: list[bool | None] = []
    for one in reversed(may_be):
        least, most = farthest_limits(read, turns, len(means), one, graduation)
        if least > limit or most <= limit:
            counts = (0, 0) if least > limit else (MANY, MANY)
        else:
            counts = against(means, turns, one, graduation, limit)
        if rule == "simple":
            within = quantile_within(counts, MIDDLE)
            return NOT_TOLD if within is None else 0 if within else fails
        high.append(quantile_within(counts, HIGH))
        low.append(quantile_within(counts, LOW))
        if False in high and True in low:
            return OUTCOMES.index(UNDECIDED)
    if None in high or None in low:
        return NOT_TOLD
    return 0 if all(high) else fails


def turns_to_decide(a_turn: Any, away: Any, read: Any) -> Any:
    """Return about how many turns would decide; see `Verdict`."""
    with np.errstate(divide="ignore", invalid="ignore"):
        turns = np.ceil(np.divide(a_turn, away) ** 2)
    return np.maximum(np.where(np.isfinite(a_turn) & (away > 0), turns, np.inf), read + 1)


def left_out_alone(blade: Blade, read: Bools) -> Bools:
    """Return of which blades only teeth are not read that may be left out, shape (n,).

    `read` is which teeth were, shape (teeth, n). What a raw TIR asks beside that is not looked at.
    """
    gone, angle = ~read, np.asarray(blade.angles_deg)
    after, before = (np.roll(gone, by, axis=0) for by in (-1, 1))
    wide = _WIDEST_DEG * (1 + 1e-9)
    one, two = ((np.roll(angle, -by) - np.roll(angle, 1)) % 360.0 > wide for by in (1, 2))
    long: Any = gone & after & before
    long |= gone & one[:, np.newaxis] | gone & after & two[:, np.newaxis]
    fine: Bools = ~long.any(axis=0)
    return fine


def _tooth_means(fit: WobbleFit) -> tuple[Floats, NDArray[np.intp]]:
    """Return the mean of each tooth's readings, and how many there are, in order of the teeth."""
    tooth, height = _levelled(fit)
    counts = np.bincount(tooth - 1, minlength=fit.readings.blade.teeth)
    sums = np.bincount(tooth - 1, weights=height, minlength=len(counts))
    return sums / np.maximum(counts, 1), counts


def _levelled(fit: WobbleFit) -> tuple[NDArray[np.intp], Floats]:
    """Return the tooth and the height of each reading but those closing, brought to one offset.

    Teeth that stand off are in no fit, but they are of the plate: their turn's offset is taken.
    """
    readings, turn = fit.readings, fit.readings.turn
    height = readings.reading.astype(np.float64)
    height[fit.in_fit] = fit.levelled
    for one in np.unique(turn[~readings.closing & ~fit.in_fit]):
        inside = fit.in_fit & (turn == one)
        shift = float((readings.reading[inside] - height[inside]).mean())
        height[~fit.in_fit & (turn == one)] -= shift
    return readings.tooth[~readings.closing], height[~readings.closing]


def _repeatability(fit: WobbleFit, means: Floats, counts: NDArray[np.intp]) -> Scatter | None:
    """Return the scatter of a tooth's readings over several turns; None where none was repeated."""
    dof = int(counts.sum()) - int(np.count_nonzero(counts)) - (turns_read(fit) - 1)
    if dof < 1:
        return None
    tooth, height = _levelled(fit)
    off = height - means[tooth - 1]
    return Scatter(math.sqrt(float(off @ off) / dof), dof)


# What was not read


def teeth_read(readings: Readings) -> int:
    """Return how many different teeth were read, closing readings aside."""
    return len(np.unique(readings.tooth[~readings.closing]))


def evidence(fit: WobbleFit) -> str:
    """Return in a line what the readings are: teeth, turns, and whether they close."""
    readings, turns = fit.readings, turns_read(fit)
    said = f"{teeth_read(readings)} of {readings.blade.teeth} teeth in {turns} turn"
    said += "" if turns == 1 else "s"
    closing = closing_of(readings)
    if closing is None:
        return f"{said}, none closed"
    by = number(abs(closing.difference), closing.allowed())
    return f"{said}, closed within {by} {fit.unit}"


def _hiding(fit: WobbleFit, spare: float) -> tuple[int, ...]:
    """Return the unread teeth at which a fault may hide, in order round the blade.

    A tooth may stand out by `spare` farther than those that were read.
    """
    readings, blade = fit.readings, fit.readings.blade
    stands = np.zeros(blade.teeth)
    tooth, which = np.unique(readings.tooth[fit.in_fit], return_inverse=True)
    stands[tooth - 1] = np.abs(np.bincount(which, weights=fit.residuals) / np.bincount(which))
    for one in fit.standing:
        stands[one.tooth - 1] = abs(one.height)
    found: list[int] = []
    for run in _runs(readings):
        before, after = (run[0] - 2) % blade.teeth, run[-1] % blade.teeth
        gap = (blade.angles_deg[after] - blade.angles_deg[before]) % 360.0
        long = len(run) > _MOST or gap > _WIDEST_DEG * (1 + 1e-9)
        if long or max(stands[before], stands[after]) > spare:
            found += run
    return tuple(found)


def _runs(readings: Readings) -> list[list[int]]:
    """Return the runs of neighbouring teeth that were not read, each in the order of numbering."""
    teeth = readings.blade.teeth
    read = np.unique(readings.tooth[~readings.closing])
    ends = np.append(read[1:], read[0] + teeth)
    return [
        [(tooth - 1) % teeth + 1 for tooth in range(first + 1, end)]
        for first, end in zip(read.tolist(), ends.tolist(), strict=True)
        if end - first > 1
    ]


def unread_words(readings: Readings, teeth: Sequence[int]) -> str:
    """Return in words that teeth were not read, and the cure."""
    blade = readings.blade
    count, read = blade.teeth, teeth_read(readings)
    said = (
        f"{'Tooth' if len(teeth) == 1 else 'Teeth'} {in_ranges(teeth)} "
        f"{'was' if len(teeth) == 1 else 'were'} not read ({read} of {count} were), and a fault "
        "there would not show: read them"
    )
    pitch = float(np.diff(blade.angles_deg, append=360.0).max())
    apart = min(_MOST + 1, int(_WIDEST_DEG / pitch * (1 + 1e-9)))
    if apart > 1 and len(teeth) > apart and readings.finished != NOT_FINISHED:
        said += f", at least every {'third' if apart > 2 else 'second'} one"
    if set(teeth) == set(range(read + 1, count + 1)):
        said += f"; or, if the blade has only {read} teeth, correct their number"
    return f"{said}."


def in_ranges(teeth: Sequence[int]) -> str:
    """Return teeth as text: ``3, 41 to 60``."""
    firsts = [one for one in teeth if one - 1 not in teeth]
    lasts = [one for one in teeth if one + 1 not in teeth]
    ends = zip(firsts, lasts, strict=True)
    return ", ".join(str(one) if one == last else f"{one} to {last}" for one, last in ends)
