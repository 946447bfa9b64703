"""A blade judged by the shop's limits: outcome, its probability, and what to do next and why.

Conformity is that of JCGM 106:2012 and ISO 14253-1:2017.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import NamedTuple

import numpy as np
from scipy import special

from bladegeom.estimate import Known, judge
from bladegeom.faults import RefusedError, refuse
from bladegeom.fit.closing import Closing, closing_of, without_drift
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.marks import NeutralLine, neutral_line, sentence
from bladegeom.fit.shape import Bend, ResidualShape, residual_shape
from bladegeom.fit.waves import Harmonic
from bladegeom.fit.wobble import OfBlade, WobbleFit
from bladegeom.kernel.doubt import amplitude_cdf, student_t
from bladegeom.kinds import checked
from bladegeom.mistakes.check import Finding, Findings
from bladegeom.readings import Readings, same_ring
from bladegeom.result import between, derived, described, number, percent, quantity
from bladegeom.shop.limits import Limit, Limits, said_length
from bladegeom.tables.eye import BLANK, FAULT, NOTHING, eye_fault, eye_says

CONFORMS, UNDECIDED, FAILS = "conforms", "undecided", "does not conform"
NOT_JUDGED = "not judged"
"""Of a blade that is out of service whatever its runout."""

OUTCOMES = (CONFORMS, UNDECIDED, FAILS, NOT_JUDGED)
"""From the best to the worst."""

RETIRE = "out of service"
SAWSMITH = "to a sawsmith"
LEVEL = "level the plate"
REMOUNT = "clean, remount and measure again"
AGAIN = "measure again"
FIT = "fit for use"
ACTIONS = (RETIRE, SAWSMITH, LEVEL, REMOUNT, AGAIN, FIT)
"""Every action, in the order in which a queue lists them."""

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
    "also stand off the curve twice as far as its neighbours."
)
"""The rule as it is printed. A bend of the plate runs over three teeth or more, so that a run of
two unread ones shows it on one side at least; eight teeth are the fewest that show a shape."""

_MOST, _WIDEST_DEG = 2, 45.0
"""That rule in numbers."""

MATTERS = 0.05
"""Chance at which a steady stand is taken to have moved, where that would change the outcome."""

_OUTCOME = {"yes": CONFORMS, "cannot tell": UNDECIDED, "no": FAILS}
_CLEAR = "looked at, nothing found"
_NOT_SEEN = "not recorded: look for cracks, missing tips, heat marks, wrong bore or speed rating"
_WAVES, _FEWEST, _MOST_BENDS = 4, 8, 2


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
    """

    on: Limit
    limit: float
    outcome: str
    measured: Known
    probability: float
    rests_on: str
    unread: tuple[int, ...] = ()
    withheld_for: str = ""

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


_OF_VERDICT = {
    "_outcome": attrgetter("outcome"),
    "_limit": attrgetter("limit"),
    "_low": attrgetter("measured.low"),
    "_high": attrgetter("measured.high"),
    "_probability": attrgetter("probability"),
    "_source": attrgetter("on.source"),
    "_rests_on": attrgetter("rests_on"),
}


class _Next(NamedTuple):
    """The next action: those fields of a `Condition` that tell it."""

    action: str
    reasons: tuple[str, ...]
    bend: Bend | None = None
    wave: Harmonic | None = None
    sound: bool = True


@described
class Condition(OfBlade):
    """What the limits say of a blade.

    Undecided where a mistake is likely, the stand moved or unread teeth may hide a fault; not
    judged where the blade is out of service. `verdicts` are those on each limit; `sound` is
    whether the readings can be relied on: no mistake was found, and the stand did not move.
    """

    fit: WobbleFit
    verdicts: tuple[Verdict, ...]
    sound: bool

    @derived("unit of the readings and of all lengths without one in their name")
    def unit(self) -> str:
        return self.fit.unit

    @derived("the worst outcome of all limits: one of `OUTCOMES`", label="outcome")
    def outcome(self) -> str:
        return _worst(self.verdicts)

    action: str = quantity("what to do next: one of `ACTIONS`", label="next")
    reasons: tuple[str, ...] = quantity(
        "why", parts={"": " ".join}, label="because", text=lambda one: " ".join(one.reasons)
    )

    @derived(
        "how many different teeth were read", label="teeth read", text=lambda one: one.read_words
    )
    def teeth_read(self) -> int:
        return teeth_read(self.fit.readings)

    @derived("teeth to be read before the blade can pass; empty for one out of service")
    def teeth_to_read(self) -> tuple[int, ...]:
        return () if self.action == RETIRE else _unread(self.verdicts)

    rule: str = quantity(
        "decision rule: zones, simple", label="decision rule", text=lambda one: one.rule_line
    )

    @derived("lowest conformance probability of all limits", key="conformance_probability")
    def probability(self) -> float:
        known = [one.probability for one in self.verdicts]
        return math.nan if any(map(math.isnan, known)) else min(known)

    bend: Bend | None = quantity(
        "first and last tooth of the bend to level, on which side it is high, and how high",
        key="level",
        parts={
            "_first": attrgetter("first"),
            "_last": attrgetter("last"),
            "_side": attrgetter("side"),
            "_height": lambda bend: abs(bend.height),
        },
    )
    wave: Harmonic | None = quantity(
        "waves a turn of a plate to be sent to a sawsmith, and by how much they move the plate",
        key="saddle",
        parts={"_waves": attrgetter("order"), "_tir": lambda wave: 2 * (wave.amplitude or 0.0)},
    )
    eye: str | None = quantity(
        "what the eye found; none where it is not recorded",
        label="seen by eye",
        text=lambda one: one.eye_line,
    )

    @derived(
        "outcome on a limit of the raw TIR",
        parts=_OF_VERDICT,
        label="raw TIR",
        text=lambda one: one.raw_tir.said(one.unit) if one.raw_tir else "",
    )
    def raw_tir(self) -> Verdict | None:
        return self._on("raw_tir")

    @derived(
        "outcome on a limit of the wobble TIR",
        parts=_OF_VERDICT,
        label="wobble TIR",
        text=lambda one: one.wobble_tir.said(one.unit) if one.wobble_tir else "",
    )
    def wobble_tir(self) -> Verdict | None:
        return self._on("wobble_tir")

    remarks: tuple[str, ...] = quantity("what else to know", parts={"": " ".join})

    @property
    def marks(self) -> NeutralLine:
        """The teeth to mark: none but on a blade that is fit for use as it stands.

        Marks hold for one mounting of one plate, and rest on readings that can be relied on.
        """
        marks = neutral_line(self.fit)
        if self.action == FIT:
            return marks
        return NeutralLine(
            blade=marks.blade,
            fit=self.fit,
            tolerance_deg=marks.tolerance_deg,
            worst_deg=marks.worst_deg if self.sound else None,
            withheld=self.action,
        )

    @property
    def rule_line(self) -> str:
        """The decision rule in words."""
        return f"{RULES[self.rule]}. {UNREAD_RULE}"

    @property
    def read_words(self) -> str:
        """How many teeth were read, and which are to be."""
        read = f"{self.teeth_read} of {self.fit.readings.blade.teeth}"
        to_read = self.teeth_to_read
        return f"{read}; to be read: {_in_ranges(to_read)}" if to_read else read

    @property
    def eye_line(self) -> str:
        """What the eye found, or what it should look for."""
        seen = self.eye or ""
        return {NOTHING: _CLEAR, BLANK: _NOT_SEEN}.get(eye_says(seen), seen)

    def _on(self, quantity: str) -> Verdict | None:
        return next((one for one in self.verdicts if one.on.quantity == quantity), None)

    def _title(self) -> str:
        return f"{self._named}: {self.outcome}; {self.action}"


@checked
def assess(
    fit: WobbleFit,
    limits: Limits,
    *,
    rule: str = "zones",
    findings: Findings | None = None,
    eye: str | None = None,
) -> Condition:
    """Judge a blade by the shop's limits and say what to do next.

    Scrap is never decided from runout: only what the eye found puts a blade out of service.

    Parameters
    ----------
    fit : WobbleFit
    limits : Limits
    rule : {"zones", "simple"}
        Three outcomes by the zones of ISO 14253-1, or the value alone against the limit.
    findings : Findings, optional
        Of `check_readings`; looked for here if not given.
    eye : str, optional
        What the eye found, in words; ``none`` where it found nothing (see `eye_says`).

    Returns
    -------
    Condition

    Raises
    ------
    RefusedError
        If no limit or more than one on a quantity holds for this blade, the limit holds at
        another ring, the rule is not known, or the eye's words do not say what it found.
    """
    verdicts = _verdicts(fit, limits, rule)
    seen, withheld = (eye or "").strip(), None
    if wrong := eye_fault(seen, fit.readings.blade.name or None):
        raise RefusedError(wrong)
    found = fit.findings if findings is None else findings
    step = _next(fit, verdicts, found, _moved(fit, limits, rule, _worst(verdicts)))
    if eye_says(seen) == FAULT:
        why = f"The eye found: {seen}. This is not decided from the runout."
        step = _Next(RETIRE, (why,), sound=step.sound)
        withheld = NOT_JUDGED, "the blade is out of service"
    elif not step.sound:
        withheld = UNDECIDED, "the readings cannot be relied on"
    if withheld:
        verdicts = tuple(one.withheld(*withheld) for one in verdicts)
    return Condition(
        fit=fit,
        verdicts=verdicts,
        rule=rule,
        eye=seen or None,
        remarks=_told(fit, verdicts, step),
        **step._asdict(),
    )


# The verdicts


def _verdicts(fit: WobbleFit, limits: Limits, rule: str) -> tuple[Verdict, ...]:
    blade = fit.readings.blade
    return tuple(_verdict(fit, one, rule) for one in limits.of(blade.diameter_mm, blade.name))


def _worst(verdicts: Sequence[Verdict]) -> str:
    return max((one.outcome for one in verdicts), key=OUTCOMES.index)


def _unread(verdicts: Sequence[Verdict]) -> tuple[int, ...]:
    return tuple(sorted({tooth for one in verdicts for tooth in one.unread}))


def _verdict(fit: WobbleFit, on: Limit, rule: str) -> Verdict:
    _check_ring(fit, on)
    limit, raw = on.in_unit(fit.unit), on.quantity == "raw_tir"
    measured, within, rests_on = (raw_span if raw else wobble_span)(fit, limit)
    outcome = judged(measured, limit, rule)
    passes = outcome == CONFORMS
    reach = measured.value if rule == "simple" else measured.high
    unread = _hiding(fit, limit - reach if raw and passes else math.inf)
    verdict = Verdict(on, limit, outcome, measured, within, rests_on, unread)
    if passes and unread:
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


def judged(measured: Known, limit: float, rule: str = "zones") -> str:
    """Return which of `OUTCOMES` a value has under a rule, zones or simple, in the limit's unit."""
    if rule not in RULES:
        raise refuse(f"{rule!r} is no decision rule", "use zones or simple", value=rule)
    if rule == "simple":
        return CONFORMS if measured.value <= limit else FAILS
    return _OUTCOME[judge(measured, limit)]


def conformance_probability(value: float, u: float, limit: float, dof: float = math.inf) -> float:
    """Return the probability that the true value is at most an upper limit, all in one unit.

    JCGM 106:2012, clause 7: the normal law (Student's t with few degrees of freedom) about the
    measured value, up to the limit.
    """
    if u == 0:
        return float(value <= limit)
    return float(special.stdtr(min(dof, 1e7), (limit - value) / u))


def wobble_span(fit: WobbleFit, limit: float) -> tuple[Known, float, str]:
    """Return the wobble TIR with its limits, the chance that it is within a limit, and why.

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
    return measured, within, f"the fit of {len(fit.residuals)} readings"


def raw_span(fit: WobbleFit, limit: float) -> tuple[Known, float, str]:
    """Return the raw TIR with its limits, the chance that it is within a limit, and why.

    It is a difference of two readings, so its standard uncertainty is sqrt(2) times that of one:
    the repeatability from teeth that were read in several turns, at least the graduation's
    rounding (graduation / sqrt(12), GUM F.2.2.1). One turn shows no repeatability, and then the
    graduation is all there is. That scatter itself widens a range is not taken off.
    """
    sd, dof = _repeatability(fit)
    floor, tir = (fit.readings.graduation or 0.0) / math.sqrt(12), fit.raw_tir
    if not max(sd, floor) > 0:
        why = "nothing: no repeated turn shows a scatter and no graduation is stated"
        return Known(tir), math.nan, why
    if sd > floor:
        rests = f"the repeatability of teeth read in several turns ({dof} degrees of freedom)"
    elif dof:
        rests = "the graduation: the readings repeat within it"
    else:
        rests = "the graduation alone: one turn does not show how well a reading repeats"
    u, freedom = math.sqrt(2) * max(sd, floor), float(dof) if sd > floor else math.inf
    expanded = student_t(0.95, freedom) * u
    within = conformance_probability(tir, u, limit, freedom)
    return Known(tir, u, max(0.0, tir - expanded), tir + expanded), within, rests


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


# What was not read


def teeth_read(readings: Readings) -> int:
    """Return how many different teeth were read, closing readings aside."""
    return len(np.unique(readings.tooth[~readings.closing]))


def _hiding(fit: WobbleFit, spare: float) -> tuple[int, ...]:
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


def _unread_words(readings: Readings, teeth: Sequence[int]) -> str:
    """Return in words that teeth were not read, and the cure."""
    blade = readings.blade
    count, read = blade.teeth, teeth_read(readings)
    said = (
        f"{'Tooth' if len(teeth) == 1 else 'Teeth'} {_in_ranges(teeth)} "
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


def _in_ranges(teeth: Sequence[int]) -> str:
    """Return teeth as text: ``3, 41 to 60``."""
    firsts = [one for one in teeth if one - 1 not in teeth]
    lasts = [one for one in teeth if one + 1 not in teeth]
    ends = zip(firsts, lasts, strict=True)
    return ", ".join(str(one) if one == last else f"{one} to {last}" for one, last in ends)


# The next action


def _moved(fit: WobbleFit, limits: Limits, rule: str, outcome: str) -> Closing | None:
    """Return what shows that the stand moved, if without that the outcome would be another.

    Where it would be the contrary, less is enough to go by than where one of both is undecided.
    """
    closing = closing_of(fit.readings)
    if closing is None or fit.in_fit.all() or not closing.moved(MATTERS):
        return None
    steady = fit_wobble(
        without_drift(fit.readings, closing.difference),
        harmonics=max((one.order for one in fit.harmonics), default=1),
        robust=fit.robust,
    )
    other = _worst(_verdicts(steady, limits, rule))
    contrary = {other, outcome} == {CONFORMS, FAILS}
    return closing if contrary or (other != outcome and closing.moved()) else None


def _next(
    fit: WobbleFit, verdicts: Sequence[Verdict], findings: Findings, moved: Closing | None
) -> _Next:
    """Return what to do next, from the verdicts and the shape of the plate.

    Mistakes come first (which a bend that explains more is not), then a stand that `moved` where
    that matters to the outcome, then the outcome. A mistake in the closing reading alone touches
    no number; what it shows of the stand is judged as such. Out of a limit, the largest part
    decides: a bend over a few teeth, waves round the whole blade, or the tilt.
    """
    outcome, unread = _worst(verdicts), _unread(verdicts)
    if mistake := next((one for one in findings if _touches(one, fit)), None):
        why = [sentence(f"a mistake in the readings seems likely: {mistake.words}")]
        shape = residual_shape(fit)
        if shape.bends:
            bent = _bent(shape.bends[0], shape.sd, fit.unit)
            why.append(f"{bent}: if a second turn shows it again, it is the plate.")
        return _Next(AGAIN, tuple(why), sound=False)
    if moved is not None:
        return _Next(AGAIN, (_moved_words(moved, fit.unit),), sound=False)
    if outcome == CONFORMS:
        return _Next(FIT, ("Every limit is kept.",))
    if outcome == UNDECIDED:
        if unread:
            said = _unread_words(fit.readings, unread)
        elif math.isnan(fit.amplitude_interval().high):
            said = (
                "No reading differs and no graduation is stated: state it, and the doubt is known."
            )
        else:
            said = (
                "The limit lies within the doubt: read another turn, or with a finer indicator, to "
                f"decide (there are {len(fit.residuals)} readings)."
            )
        return _Next(AGAIN, (said,))
    teeth = len(np.unique(fit.readings.tooth[fit.in_fit]))
    if teeth < _FEWEST:
        said = f"{teeth} teeth cannot tell a bend from a tilt: read every tooth."
        return _Next(AGAIN, (said,))
    smallest = min(one.limit for one in verdicts if one.outcome == FAILS)
    return _out(fit, residual_shape(fit), smallest)


def _out(fit: WobbleFit, shape: ResidualShape, smallest: float) -> _Next:
    """Return the action for a blade that is over a limit, of which this is the smallest."""
    unit, u = fit.unit, fit.amplitude_u
    waved = fit_wobble(fit.readings, harmonics=_WAVES)
    higher = [one for one in waved.harmonics if one.order > 1 and one.resolved]
    wave = max(higher, key=lambda one: one.amplitude or 0.0, default=None)
    bend = max(shape.bends, key=lambda one: abs(one.height), default=None)
    few = len(shape.bends) <= _MOST_BENDS and shape.sd <= waved.residual_sd
    if bend is not None and few and abs(bend.height) > fit.amplitude:
        said = f"{_bent(bend, shape.sd, unit)}: a local bend, high on that side."
        return _Next(LEVEL, (said,), bend=bend)
    if wave is not None and 2 * (wave.amplitude_low or 0.0) > smallest:
        size = number(2 * (wave.amplitude or 0.0), 2 * u)
        kind = "a saddle" if wave.order == 2 else "a plate bent in waves"
        said = f"{wave.order} waves a turn move the plate by {size} {unit} in all: {kind}."
        return _Next(SAWSMITH, (said,), wave=wave)
    if fit.resolved and fit.wobble_tir >= fit.raw_tir / 2:
        said = (
            f"Most of it is one tilt a turn ({number(fit.wobble_tir, 2 * u)} {unit}): a seat to "
            "clean first, not a plate to hammer. Clean arbor, flanges and bore, turn the blade "
            "on the arbor and measure again."
        )
        return _Next(REMOUNT, (said,))
    said = (
        "Over the limit, but neither a tilt nor a bend nor waves account for most of it: clean "
        "the plate where it is touched and measure again, two turns."
    )
    return _Next(AGAIN, (said,))


def _bent(bend: Bend, sd: float, unit: str) -> str:
    return (
        f"Teeth {bend.first} to {bend.last} stand {number(abs(bend.height), sd)} {unit} {bend.side}"
    )


def _touches(found: Finding, fit: WobbleFit) -> bool:
    """Return whether a repair changes what is in the fit."""
    before, after = fit.readings, found.repaired
    if after is None or fit.in_fit.all():
        return True
    kept, was = ~after.closing, ~before.closing
    return not (
        np.array_equal(after.reading[kept], before.reading[was])
        and np.array_equal(after.tooth[kept], before.tooth[was])
    )


def _moved_words(closing: Closing, unit: str) -> str:
    most = closing.allowed(MATTERS)
    return (
        "The turn does not close: the first tooth read again differs by "
        f"{number(abs(closing.difference), most)} {unit}, on a steady stand by at most "
        f"{number(most, most)} {unit} (95 %). With a steady drift of that taken out, the outcome "
        "would be another. Look for a loose stand or a bumped base, and read the blade again."
    )


def _told(fit: WobbleFit, verdicts: Sequence[Verdict], step: _Next) -> tuple[str, ...]:
    """Return what else to know."""
    said = []
    if step.action != RETIRE and (unread := _unread(verdicts)):
        words = _unread_words(fit.readings, unread)
        said += [] if words in step.reasons else [words]
    if any(one.on.quantity == "raw_tir" for one in verdicts):
        turns = len(set(fit.readings.turn[fit.in_fit].tolist()))
        count = f"{len(fit.residuals)} in {turns} turn{'' if turns == 1 else 's'}"
        said.append(
            f"A raw TIR grows with the number of readings, here {count}: compare it only with one "
            "of as many, and see that the limit means as many."
        )
    if step.action not in (FIT, RETIRE):
        said.append("A dish does not show from one ring: lay a straightedge across the plate.")
    return tuple(said)
