"""Whether a measured runout conforms to its limit, how probable that is, and what was not read.

JCGM 106:2012 and ISO 14253-1:2017.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from scipy import special

from bladegeom.estimate import Known, judge
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import amplitude_cdf, student_t
from bladegeom.readings import Readings
from bladegeom.result import between, number, percent
from bladegeom.shop.limits import Limit

CONFORMS, UNDECIDED, FAILS = "conforms", "undecided", "does not conform"
NOT_JUDGED = "not judged"
"""Of a blade that is out of service whatever its runout."""

OUTCOMES = (CONFORMS, UNDECIDED, FAILS, NOT_JUDGED)
"""From the best to the worst."""

_OUTCOME = {"yes": CONFORMS, "cannot tell": UNDECIDED, "no": FAILS}

RULES = {
    "zones": "three outcomes by the zones of ISO 14253-1:2017 and JCGM 106:2012: conforms where "
    "the value with its expanded uncertainty U stays within the limit, does not conform where it "
    "is over the limit by more than U, else undecided; guard factor 1, coverage 95 %",
    "simple": "simple acceptance (JCGM 106:2012): the value alone against the limit, its "
    "uncertainty left out",
}
"""Decision rule -> how it is printed."""

COVERAGE = 0.95

_MOST = 2
_WIDEST_DEG = 45.0

UNREAD_RULE = (
    "What was not read cannot pass: at most two neighbouring teeth may be left out, and at most an "
    "eighth of a turn between two that are read. For a limit on the raw TIR, a tooth left out may "
    "also stand off the curve twice as far as its neighbours."
)
"""The rule as it is printed. A bend of the plate runs over three teeth or more, so that a run of
two unread ones shows it on one side at least; eight teeth are the fewest that show a shape."""


class Span(NamedTuple):
    """A measured value with its 95 % limits, and the chance that the true one is within a limit.

    Attributes
    ----------
    measured : Known
        NaN limits where the doubt is not known.
    within : float
        Conformance probability; NaN where the doubt is not known or the outcome is withheld.
    rests_on : str
        What the doubt rests on.
    """

    measured: Known
    within: float
    rests_on: str


@dataclass(frozen=True)
class Verdict:
    """The outcome on one limit; lengths in the unit of the readings.

    Attributes
    ----------
    limit : Limit
    largest : float
        Its value.
    span : Span
        What was measured.
    outcome : str
        One of `OUTCOMES`.
    unread : tuple of int
        Teeth not read that keep the blade from passing.
    withheld_for : str
        In words, why the numbers alone do not decide; empty where they do.
    """

    limit: Limit
    largest: float
    span: Span
    outcome: str
    unread: tuple[int, ...] = ()
    withheld_for: str = ""

    def withheld(self, outcome: str, why: str) -> Verdict:
        """Return the numbers with an outcome that rests on something else than they."""
        span = self.span._replace(within=math.nan)
        return replace(self, outcome=outcome, span=span, withheld_for=why)

    def said(self, unit: str) -> str:
        """Return the verdict in words."""
        measured, within, rests_on = self.span
        value, low, high = measured.value, measured.low, measured.high
        doubt = (high - low) / 2
        limits = "doubt not known"
        chance = f" ({self.withheld_for})" if self.withheld_for else ""
        if math.isfinite(doubt):
            limits = f"95 %: {between(low, high, doubt)}"
        if math.isfinite(within):
            chance = f" (probability to be within it: {percent(within)})"
        name = self.limit.quantity.replace("_tir", " TIR")
        return (
            f"{name} {number(value, doubt)} {unit} ({limits}) against {self.largest:.4g} {unit}: "
            f"{self.outcome}{chance}; doubt from {rests_on}; source: {self.limit.source}"
        )


def conformance_probability(value: float, u: float, limit: float, dof: float = math.inf) -> float:
    """Return the probability that the true value is at most an upper limit, all in one unit.

    JCGM 106:2012, clause 7: the normal law (Student's t with few degrees of freedom) about the
    measured value, up to the limit.
    """
    if u == 0:
        return float(value <= limit)
    return float(special.stdtr(min(dof, 1e7), (limit - value) / u))


def judged(measured: Known, limit: float, rule: str = "zones") -> str:
    """Return which of `OUTCOMES` a value has under a rule, zones or simple, in the limit's unit."""
    if rule not in RULES:
        raise refuse(f"{rule!r} is no decision rule", "use zones or simple", value=rule)
    if rule == "simple":
        return CONFORMS if measured.value <= limit else FAILS
    return _OUTCOME[judge(measured, limit)]


def wobble_span(fit: WobbleFit, limit: float) -> Span:
    """Return the wobble TIR with its limits and the chance that it is within a limit.

    The limits are those of the fit. The chance is the confidence distribution that belongs to
    them: how probable an estimate as large as this one, or larger, is at an amplitude of half the
    limit (`amplitude_cdf`), averaged over half a graduation either way where rounding does not
    average out (GUM 4.3.7).
    """
    low, high, _ = fit.amplitude_interval(COVERAGE)
    within = math.nan
    if math.isfinite(high) and fit.amplitude_u > 0:
        sd, margin = fit.amplitude_u, fit.rounding_margin
        at = limit / 2 + margin * np.linspace(-1, 1, 41 if margin else 1) * (margin > 0)
        estimate = max(fit.amplitude / sd, math.sqrt(2))
        below = 1 - amplitude_cdf(estimate, np.maximum(at, 0) / sd, fit.dof)
        within = float(np.clip(np.where(at > 0, below, 0.0).mean(), 0.0, 1.0))
    measured = Known(fit.wobble_tir, 2 * fit.amplitude_u, 2 * low, 2 * high)
    return Span(measured, within, f"the fit of {len(fit.residuals)} readings")


def raw_span(fit: WobbleFit, limit: float) -> Span:
    """Return the raw TIR with its limits and the chance that it is within a limit.

    It is a difference of two readings, so its standard uncertainty is sqrt(2) times that of one:
    the repeatability from teeth that were read in several turns, at least the graduation's
    rounding (graduation / sqrt(12), GUM F.2.2.1). One turn shows no repeatability, and then the
    graduation is all there is. That scatter itself widens a range is not taken off.
    """
    sd, dof = _repeatability(fit)
    floor = (fit.readings.graduation or 0.0) / math.sqrt(12)
    if dof > 0:
        rests = f"the repeatability of teeth read in several turns ({dof} degrees of freedom)"
        if floor >= sd:
            rests, sd = "the graduation: the readings repeat within it", floor
        known = sd > 0
    else:
        sd, known = floor, floor > 0
        rests = "the graduation alone: one turn does not show how well a reading repeats"
    tir = fit.raw_tir
    if not known:
        why = "nothing: no repeated turn shows a scatter and no graduation is stated"
        return Span(Known(tir), math.nan, why)
    freedom = float(dof) if sd > floor else math.inf
    u = math.sqrt(2) * sd
    expanded = student_t(COVERAGE, freedom) * u
    within = conformance_probability(tir, u, limit, freedom)
    return Span(Known(tir, u, max(0.0, tir - expanded), tir + expanded), within, rests)


def _repeatability(fit: WobbleFit) -> tuple[float, int]:
    """Return the scatter of a tooth's readings over several turns, and its degrees of freedom."""
    tooth, turn = fit.readings.tooth[fit.in_fit], fit.readings.turn[fit.in_fit]
    _, which, counts = np.unique(tooth, return_inverse=True, return_counts=True)
    dof = len(tooth) - len(counts) - (len(np.unique(turn)) - 1)
    if dof < 1:
        return 0.0, 0
    means = np.bincount(which, weights=fit.levelled) / counts
    off = fit.levelled - means[which]
    return math.sqrt(float(off @ off) / dof), dof


def teeth_read(readings: Readings) -> int:
    """Return how many different teeth were read, closing readings aside."""
    return len(np.unique(readings.tooth[~readings.closing]))


def hiding(fit: WobbleFit, spare: float = math.inf) -> tuple[int, ...]:
    """Return the unread teeth at which a fault may hide, in order round the blade.

    A tooth may stand out by `spare` farther than those that were read.
    """
    readings, blade = fit.readings, fit.readings.blade
    stands = np.zeros(blade.teeth)
    tooth, which = np.unique(readings.tooth[fit.in_fit], return_inverse=True)
    stands[tooth - 1] = np.abs(np.bincount(which, weights=fit.residuals) / np.bincount(which))
    found: list[int] = []
    for run in _runs(readings):
        before, after = (run[0] - 2) % blade.teeth, run[-1] % blade.teeth
        gap = (blade.angles_deg[after] - blade.angles_deg[before]) % 360.0
        long = len(run) > _MOST or gap > _WIDEST_DEG * (1 + 1e-9)
        if long or max(stands[before], stands[after]) > spare:
            found += run
    return tuple(found)


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
    if apart > 1 and len(teeth) > apart:
        said += f", at least every {'third' if apart > 2 else 'second'} one"
    if set(teeth) == set(range(read + 1, count + 1)):
        said += f"; or, if the blade has only {read} teeth, correct their number"
    return f"{said}."


def in_ranges(teeth: Sequence[int]) -> str:
    """Return teeth as text: ``3, 41 to 60``."""
    runs: list[list[int]] = []
    for tooth in teeth:
        if runs and tooth == runs[-1][-1] + 1:
            runs[-1].append(tooth)
        else:
            runs.append([tooth])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)


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
