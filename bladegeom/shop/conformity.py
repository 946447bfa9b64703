"""Whether a measured runout conforms to its limit, and how probable that is (JCGM 106:2012)."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy import special

from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import amplitude_cdf, student_t

CONFORMS, UNDECIDED, FAILS = OUTCOMES = ("conforms", "undecided", "does not conform")
"""From the best to the worst."""

NOT_JUDGED = "not judged"
"""Of a blade that is out of service whatever its runout."""

RULES = {
    "zones": "three outcomes by the zones of ISO 14253-1:2017 and JCGM 106:2012: conforms where "
    "the value with its expanded uncertainty U stays within the limit, does not conform where it "
    "is over the limit by more than U, else undecided; guard factor 1, coverage 95 %",
    "simple": "simple acceptance (JCGM 106:2012): the value alone against the limit, its "
    "uncertainty left out",
}
"""Decision rule -> how it is printed."""

COVERAGE = 0.95


class Span(NamedTuple):
    """A measured value with its 95 % limits, and the chance that the true one is within a limit.

    Attributes
    ----------
    value, low, high : float
        NaN limits where the doubt is not known.
    within : float
        Conformance probability; NaN where the doubt is not known.
    rests_on : str
        What the doubt rests on.
    """

    value: float
    low: float
    high: float
    within: float
    rests_on: str


def conformance_probability(value: float, u: float, limit: float, dof: float = math.inf) -> float:
    """Return the probability that the true value is at most an upper limit.

    JCGM 106:2012, clause 7: the normal law (Student's t with few degrees of freedom) about the
    measured value, up to the limit.

    Parameters
    ----------
    value, u, limit : float
        In one unit; `u` the standard uncertainty (k = 1).
    dof : float

    Returns
    -------
    float
    """
    if u == 0:
        return float(value <= limit)
    return float(special.stdtr(min(dof, 1e7), (limit - value) / u))


def acceptance_limit(limit: float, expanded: float, guard_factor: float = 1.0) -> float:
    """Return the largest value that is accepted: limit less guard factor times U.

    JCGM 106:2012, clause 8 (guarded acceptance; a negative factor is guarded rejection).
    """
    return limit - guard_factor * expanded


def judged(value: float, low: float, high: float, limit: float, rule: str = "zones") -> str:
    """Return the outcome under a rule.

    Parameters
    ----------
    value, low, high, limit : float
        The measured value, its 95 % limits (value less and plus U where they lie even), and the
        limit, in one unit.
    rule : {"zones", "simple"}

    Returns
    -------
    str
        One of `OUTCOMES`.

    Raises
    ------
    RefusedError
        If the rule is not known.
    """
    if rule not in RULES:
        raise refuse(f"{rule!r} is no decision rule", "use zones or simple", value=rule)
    if rule == "simple":
        return CONFORMS if value <= limit else FAILS
    if high <= limit:
        return CONFORMS
    return FAILS if low > limit else UNDECIDED


def wobble_span(fit: WobbleFit, limit: float) -> Span:
    """Return the wobble TIR with its limits and the chance that it is within a limit.

    The limits are those of the fit. The chance is the confidence distribution that belongs to
    them: how probable an estimate as large as this one, or larger, is at an amplitude of half the
    limit (`amplitude_cdf`), averaged over half a graduation either way where rounding does not
    average out (GUM 4.3.7).

    Parameters
    ----------
    fit : WobbleFit
    limit : float
        In the unit of the readings.

    Returns
    -------
    Span
    """
    low, high, _ = fit.amplitude_interval(COVERAGE)
    within = math.nan
    if math.isfinite(high) and fit.amplitude_u > 0:
        sd, margin = fit.amplitude_u, fit.rounding_margin
        at = limit / 2 + margin * np.linspace(-1, 1, 41 if margin else 1) * (margin > 0)
        estimate = max(fit.amplitude / sd, math.sqrt(2))
        below = 1 - amplitude_cdf(estimate, np.maximum(at, 0) / sd, fit.dof)
        within = float(np.clip(np.where(at > 0, below, 0.0).mean(), 0.0, 1.0))
    rests = f"the fit of {len(fit.residuals)} readings"
    return Span(fit.wobble_tir, 2 * low, 2 * high, within, rests)


def raw_span(fit: WobbleFit, limit: float) -> Span:
    """Return the raw TIR with its limits and the chance that it is within a limit.

    It is a difference of two readings, so its standard uncertainty is sqrt(2) times that of one:
    the repeatability from teeth that were read in several turns, at least the graduation's
    rounding (graduation / sqrt(12), GUM F.2.2.1). One turn shows no repeatability, and then the
    graduation is all there is. That scatter itself widens a range is not taken off.

    Parameters
    ----------
    fit : WobbleFit
    limit : float
        In the unit of the readings.

    Returns
    -------
    Span
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
    if not known:
        why = "nothing: no repeated turn shows a scatter and no graduation is stated"
        return Span(fit.raw_tir, math.nan, math.nan, math.nan, why)
    freedom = float(dof) if sd > floor else math.inf
    u = math.sqrt(2) * sd
    expanded = student_t(COVERAGE, freedom) * u
    within = conformance_probability(fit.raw_tir, u, limit, freedom)
    return Span(
        fit.raw_tir, max(0.0, fit.raw_tir - expanded), fit.raw_tir + expanded, within, rests
    )


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
