"""A blade judged by the shop's limits: outcome, its probability, and what to do next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from bladegeom.faults import RefusedError, refuse
from bladegeom.fit.closing import Closing, closing_of, without_drift
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.marks import NeutralLine, neutral_line, without_marks
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import MM_PER
from bladegeom.mistakes.check import Findings
from bladegeom.result import Result, Row, between, number, percent
from bladegeom.shop.action import ACTIONS, FIT, MATTERS, RETIRE, Action, next_action
from bladegeom.shop.conformity import (
    CONFORMS,
    FAILS,
    NOT_JUDGED,
    OUTCOMES,
    RULES,
    UNDECIDED,
    judged,
    raw_span,
    wobble_span,
)
from bladegeom.shop.limit import QUANTITIES, Limit
from bladegeom.shop.limits import Limits
from bladegeom.shop.unread import UNREAD_RULE, hiding, in_ranges, teeth_read, unread_words
from bladegeom.tables.eye import BLANK, FAULT, NOTHING, eye_fault, eye_says

__all__ = ["ACTIONS", "Condition", "Verdict", "assess"]

_SAME_RING = 0.01
_CLEAR = "looked at, nothing found"
_NOT_SEEN = "not recorded: look for cracks, missing tips, heat marks, wrong bore or speed rating"


@dataclass(frozen=True)
class Verdict:
    """The outcome on one limit; lengths in the unit of the readings.

    Attributes
    ----------
    limit : Limit
    largest : float
        The limit's value.
    value, low, high : float
        What was measured, with 95 % limits; NaN where the doubt is not known.
    within : float
        Conformance probability; NaN where the doubt is not known or the outcome is withheld.
    outcome : str
    rests_on : str
        What the doubt rests on.
    unread : tuple of int
        Teeth not read that keep the blade from passing.
    withheld_for : str
        In words, why the numbers alone do not decide; empty where they do.
    """

    limit: Limit
    largest: float
    value: float
    low: float
    high: float
    within: float
    outcome: str
    rests_on: str
    unread: tuple[int, ...] = ()
    withheld_for: str = ""

    def withheld(self, outcome: str, why: str) -> Verdict:
        """Return the numbers with an outcome that rests on something else than they."""
        return replace(self, outcome=outcome, within=math.nan, withheld_for=why)

    def said(self, unit: str) -> str:
        """Return the verdict in words."""
        doubt = (self.high - self.low) / 2
        limits = "doubt not known"
        chance = f" ({self.withheld_for})" if self.withheld_for else ""
        if math.isfinite(doubt):
            limits = f"95 %: {between(self.low, self.high, doubt)}"
        if math.isfinite(self.within):
            chance = f" (probability to be within it: {percent(self.within)})"
        name = self.limit.quantity.replace("_tir", " TIR")
        return (
            f"{name} {number(self.value, doubt)} {unit} ({limits}) against {self.largest:.4g} "
            f"{unit}: {self.outcome}{chance}; doubt from {self.rests_on}; "
            f"source: {self.limit.source}"
        )


@dataclass(frozen=True, eq=False, repr=False)
class Condition(Result):
    """What the limits say of a blade.

    Attributes
    ----------
    fit : WobbleFit
    outcome : {"conforms", "undecided", "does not conform", "not judged"}
        The worst of all verdicts. Undecided where a mistake is likely, the stand moved or unread
        teeth may hide a fault; not judged where the blade is out of service.
    verdicts : tuple of Verdict
    rule : {"zones", "simple"}
    next : Action
        With the bend or the wave behind it.
    eye : str
        What the eye found; empty where it is not recorded.
    remarks : tuple of str
    """

    fit: WobbleFit
    outcome: str
    verdicts: tuple[Verdict, ...]
    rule: str
    next: Action
    eye: str
    remarks: tuple[str, ...]

    @property
    def action(self) -> str:
        """What to do next: one of `ACTIONS`."""
        return self.next.name

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why."""
        return self.next.reasons

    @property
    def sound(self) -> bool:
        """Whether the readings can be relied on: no mistake was found, the stand did not move."""
        return self.next.sound

    @property
    def teeth_to_read(self) -> tuple[int, ...]:
        """Teeth that must be read before the blade can pass; empty for one out of service."""
        return () if self.action == RETIRE else _unread(self.verdicts)

    @property
    def teeth_read(self) -> int:
        """How many different teeth were read."""
        return teeth_read(self.fit.readings)

    @property
    def marks(self) -> NeutralLine:
        """The teeth to mark: none but on a blade that is fit for use as it stands.

        Marks hold for one mounting of one plate, and rest on readings that can be relied on.
        """
        marks = neutral_line(self.fit)
        if self.action == FIT:
            return marks
        worst = marks.worst_deg if self.sound else None
        return without_marks(marks, self.action, worst)

    @property
    def rule_line(self) -> str:
        """The decision rule in words."""
        return f"{RULES[self.rule]}. {UNREAD_RULE}"

    @property
    def limit_lines(self) -> tuple[str, ...]:
        """Each verdict in words, and the decision rule."""
        said = [verdict.said(self.fit.unit) for verdict in self.verdicts]
        return (*said, f"Decision rule: {self.rule_line}")

    @property
    def eye_line(self) -> str:
        """What the eye found, or what it should look for."""
        said = eye_says(self.eye)
        return {NOTHING: _CLEAR, BLANK: _NOT_SEEN}.get(said, self.eye)

    @property
    def probability(self) -> float:
        """Lowest conformance probability of all verdicts; NaN where one is not known."""
        known = [one.within for one in self.verdicts]
        return math.nan if any(map(math.isnan, known)) else min(known)

    def _title(self) -> str:
        name = self.fit.readings.blade.name
        return f"{f'Blade {name}' if name else 'Blade'}: {self.outcome}; {self.action}"

    def _rows(self) -> Sequence[Row]:
        bend, wave = self.next.bend, self.next.wave
        read = f"{self.teeth_read} of {self.fit.readings.blade.teeth}"
        if self.teeth_to_read:
            read += f"; to be read: {in_ranges(self.teeth_to_read)}"
        rows = [
            Row("blade", self.fit.readings.blade.name),
            Row("unit", self.fit.unit),
            Row("outcome", self.outcome, "outcome", self.outcome),
            Row("action", self.action, "next", self.action),
            Row("reasons", " ".join(self.reasons), "because", " ".join(self.reasons)),
            Row("teeth_read", self.teeth_read, "teeth read", read),
            Row("teeth_to_read", self.teeth_to_read),
            Row("rule", self.rule, "decision rule", self.rule_line),
            Row("conformance_probability", self.probability),
            Row("level_first", bend.first if bend else None),
            Row("level_last", bend.last if bend else None),
            Row("level_side", bend.side if bend else None),
            Row("level_height", abs(bend.height) if bend else None),
            Row("saddle_waves", wave.order if wave else None),
            Row("saddle_tir", 2 * (wave.amplitude or 0.0) if wave else None),
            Row("eye", self.eye or None, "seen by eye", self.eye_line),
        ]
        by = {one.limit.quantity: one for one in self.verdicts}
        for quantity in QUANTITIES:
            rows += _rows_of(quantity, by.get(quantity), self.fit.unit)
        return [*rows, Row("remarks", " ".join(self.remarks))]

    def _remarks(self) -> Sequence[str]:
        return (*self.fit.said, *self.remarks)


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
    if rule not in RULES:
        raise refuse(f"{rule!r} is no decision rule", "use zones or simple", value=rule)
    verdicts = _verdicts(fit, limits, rule)
    outcome = _worst(verdicts)
    seen, withheld = (eye or "").strip(), None
    if wrong := eye_fault(seen, fit.readings.blade.name or None):
        raise RefusedError(wrong)
    found = fit.findings if findings is None else findings
    step = next_action(
        fit,
        outcome,
        min((one.largest for one in verdicts if one.outcome == FAILS), default=math.inf),
        found,
        moved=_moved(fit, limits, rule, outcome),
        unread=_unread(verdicts),
    )
    if eye_says(seen) == FAULT:
        why = f"The eye found: {seen}. This is not decided from the runout."
        step = Action(RETIRE, (why,), sound=step.sound)
        withheld = NOT_JUDGED, "the blade is out of service"
    elif not step.sound:
        withheld = UNDECIDED, "the readings cannot be relied on"
    if withheld:
        verdicts = tuple(one.withheld(*withheld) for one in verdicts)
    remarks = _told(fit, verdicts, step)
    return Condition(fit, _worst(verdicts), verdicts, rule, step, seen, remarks)


def _verdicts(fit: WobbleFit, limits: Limits, rule: str) -> tuple[Verdict, ...]:
    blade = fit.readings.blade
    return tuple(_verdict(fit, one, rule) for one in limits.of(blade.diameter_mm, blade.name))


def _worst(verdicts: Sequence[Verdict]) -> str:
    order = (*OUTCOMES, NOT_JUDGED)
    return max((one.outcome for one in verdicts), key=order.index)


def _unread(verdicts: Sequence[Verdict]) -> tuple[int, ...]:
    return tuple(sorted({tooth for one in verdicts for tooth in one.unread}))


def _verdict(fit: WobbleFit, limit: Limit, rule: str) -> Verdict:
    _check_ring(fit, limit)
    largest = limit.in_unit(fit.unit)
    raw = limit.quantity == "raw_tir"
    span = (raw_span if raw else wobble_span)(fit, largest)
    outcome = judged(span.value, span.low, span.high, largest, rule)
    passes = outcome == CONFORMS
    reach = span.value if rule == "simple" else span.high
    unread = hiding(fit, largest - reach if raw and passes else math.inf)
    verdict = Verdict(
        limit, largest, span.value, span.low, span.high, span.within, outcome, span.rests_on, unread
    )
    if passes and unread:
        return verdict.withheld(UNDECIDED, "until the unread teeth are read")
    return verdict


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


def _check_ring(fit: WobbleFit, limit: Limit) -> None:
    """Refuse a limit that holds at a ring more than 1 % away: the runout differs by as much."""
    if limit.ring is None:
        return
    value, unit = limit.ring
    ring = fit.readings.ring_radius_mm
    if ring is None or abs(ring / (value * MM_PER[unit]) - 1) > _SAME_RING:
        read = "not stated" if ring is None else f"{ring:.4g} mm"
        raise refuse(
            f"the limit holds at a ring radius of {value:g} {unit}; the ring radius of this blade "
            f"is {read}",
            "read the blade at the limit's ring, or state the ring radius",
            blade=fit.readings.blade.name,
            column="ring_radius",
            value=read,
        )


def _told(fit: WobbleFit, verdicts: Sequence[Verdict], step: Action) -> tuple[str, ...]:
    said = []
    unread = _unread(verdicts)
    if unread and not step.unread and step.name != RETIRE:
        said.append(unread_words(fit.readings, unread))
    if any(one.limit.quantity == "raw_tir" for one in verdicts):
        turns = len(set(fit.readings.turn[fit.in_fit].tolist()))
        count = f"{len(fit.residuals)} in {turns} turn{'' if turns == 1 else 's'}"
        said.append(
            f"A raw TIR grows with the number of readings, here {count}: compare it only with one "
            "of as many, and see that the limit means as many."
        )
    if step.name not in (FIT, RETIRE):
        said.append("A dish does not show from one ring: lay a straightedge across the plate.")
    return tuple(said)


def _rows_of(quantity: str, one: Verdict | None, unit: str) -> list[Row]:
    label, text = ("", "") if one is None else (quantity.replace("_tir", " TIR"), one.said(unit))
    return [
        Row(f"{quantity}_outcome", one.outcome if one else None, label, text),
        Row(f"{quantity}_limit", one.largest if one else None),
        Row(f"{quantity}_low", one.low if one else None),
        Row(f"{quantity}_high", one.high if one else None),
        Row(f"{quantity}_probability", one.within if one else None),
        Row(f"{quantity}_source", one.limit.source if one else None),
        Row(f"{quantity}_rests_on", one.rests_on if one else None),
    ]
