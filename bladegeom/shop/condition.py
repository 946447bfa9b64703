"""A blade judged by the shop's limits: outcome, its probability, and what to do next and why."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from bladegeom.faults import RefusedError, refuse
from bladegeom.fit.answer import OfFit
from bladegeom.fit.closing import Closing, closing_of, without_drift
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.marks import NeutralLine, neutral_line, sentence, without_marks
from bladegeom.fit.shape import Bend, ResidualShape, residual_shape
from bladegeom.fit.waves import Harmonic
from bladegeom.fit.wobble import WobbleFit
from bladegeom.mistakes.check import Finding, Findings
from bladegeom.readings import same_ring
from bladegeom.result import derived, described, number, quantity
from bladegeom.shop.conformity import (
    CONFORMS,
    FAILS,
    NOT_JUDGED,
    OUTCOMES,
    RULES,
    UNDECIDED,
    UNREAD_RULE,
    Verdict,
    hiding,
    in_ranges,
    judged,
    raw_span,
    teeth_read,
    unread_words,
    wobble_span,
)
from bladegeom.shop.limits import Limit, Limits, said_length
from bladegeom.tables.eye import BLANK, FAULT, NOTHING, eye_fault, eye_says

_CLEAR = "looked at, nothing found"
_NOT_SEEN = "not recorded: look for cracks, missing tips, heat marks, wrong bore or speed rating"

RETIRE = "out of service"
SAWSMITH = "to a sawsmith"
LEVEL = "level the plate"
REMOUNT = "clean, remount and measure again"
AGAIN = "measure again"
FIT = "fit for use"
ACTIONS = (RETIRE, SAWSMITH, LEVEL, REMOUNT, AGAIN, FIT)
"""Every action, in the order in which a queue lists them."""

MATTERS = 0.05
"""Chance at which a steady stand is taken to have moved, where that would change the outcome."""

_WAVES = 4
_FEWEST = 8
_MOST_BENDS = 2


class Action(NamedTuple):
    """The next action.

    Attributes
    ----------
    name : str
        One of `ACTIONS`.
    reasons : tuple of str
    bend : Bend or None
        What to level.
    wave : Harmonic or None
        The wave that sends the blade to a sawsmith.
    unread : tuple of int
        Teeth to read, where they are why it is measured again.
    sound : bool
        Whether the readings can be relied on: no mistake was found, and the stand did not move.
    """

    name: str
    reasons: tuple[str, ...]
    bend: Bend | None = None
    wave: Harmonic | None = None
    unread: tuple[int, ...] = ()
    sound: bool = True


_OF_VERDICT: dict[str, Callable[[Verdict], Any]] = {
    "_outcome": lambda one: one.outcome,
    "_limit": lambda one: one.largest,
    "_low": lambda one: one.span.measured.low,
    "_high": lambda one: one.span.measured.high,
    "_probability": lambda one: one.span.within,
    "_source": lambda one: one.limit.source,
    "_rests_on": lambda one: one.span.rests_on,
}


@described
class Condition(OfFit):
    """What the limits say of a blade.

    Undecided where a mistake is likely, the stand moved or unread teeth may hide a fault; not
    judged where the blade is out of service. `verdicts` are those on each limit, `next` the action
    with the bend or the wave behind it.
    """

    fit: WobbleFit
    verdicts: tuple[Verdict, ...]
    next: Action
    remarks: tuple[str, ...]

    @derived("the blade's name, as text", key="blade")
    def name(self) -> str:
        return self.fit.readings.blade.name

    @derived("unit of the readings and of all lengths without one in their name")
    def unit(self) -> str:
        return self.fit.unit

    @derived("the worst outcome of all limits: one of `OUTCOMES`", label="outcome")
    def outcome(self) -> str:
        return _worst(self.verdicts)

    @derived("what to do next: one of `ACTIONS`", label="next")
    def action(self) -> str:
        return self.next.name

    @derived("why", key="reasons", label="because")
    def because(self) -> str:
        return " ".join(self.reasons)

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
        known = [one.span.within for one in self.verdicts]
        return math.nan if any(map(math.isnan, known)) else min(known)

    @derived(
        "first and last tooth of the bend to level, and on which side it is high",
        parts=("_first", "_last", "_side"),
    )
    def level(self) -> Bend | None:
        return self.next.bend

    @derived("how high it is")
    def level_height(self) -> float | None:
        return None if self.level is None else abs(self.level.height)

    @derived("waves a turn of a plate to be sent to a sawsmith")
    def saddle_waves(self) -> int | None:
        wave = self.next.wave
        return None if wave is None else wave.order

    @derived("by how much they move the plate")
    def saddle_tir(self) -> float | None:
        wave = self.next.wave
        return None if wave is None else 2 * (wave.amplitude or 0.0)

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

    @derived("what else to know", key="remarks")
    def remarks_line(self) -> str:
        return " ".join(self.remarks)

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why, sentence by sentence."""
        return self.next.reasons

    @property
    def sound(self) -> bool:
        """Whether the readings can be relied on: no mistake was found, the stand did not move."""
        return self.next.sound

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
    def read_words(self) -> str:
        """How many teeth were read, and which are to be."""
        read = f"{self.teeth_read} of {self.fit.readings.blade.teeth}"
        to_read = self.teeth_to_read
        return f"{read}; to be read: {in_ranges(to_read)}" if to_read else read

    @property
    def eye_line(self) -> str:
        """What the eye found, or what it should look for."""
        seen = self.eye or ""
        return {NOTHING: _CLEAR, BLANK: _NOT_SEEN}.get(eye_says(seen), seen)

    def _on(self, quantity: str) -> Verdict | None:
        return next((one for one in self.verdicts if one.limit.quantity == quantity), None)

    def _title(self) -> str:
        return f"{f'Blade {self.name}' if self.name else 'Blade'}: {self.outcome}; {self.action}"


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
    return Condition(
        fit=fit,
        verdicts=verdicts,
        rule=rule,
        next=step,
        eye=seen or None,
        remarks=_told(fit, verdicts, step),
    )


def _verdicts(fit: WobbleFit, limits: Limits, rule: str) -> tuple[Verdict, ...]:
    blade = fit.readings.blade
    return tuple(_verdict(fit, one, rule) for one in limits.of(blade.diameter_mm, blade.name))


def _worst(verdicts: Sequence[Verdict]) -> str:
    return max((one.outcome for one in verdicts), key=OUTCOMES.index)


def _unread(verdicts: Sequence[Verdict]) -> tuple[int, ...]:
    return tuple(sorted({tooth for one in verdicts for tooth in one.unread}))


def _verdict(fit: WobbleFit, limit: Limit, rule: str) -> Verdict:
    _check_ring(fit, limit)
    largest = limit.in_unit(fit.unit)
    raw = limit.quantity == "raw_tir"
    span = (raw_span if raw else wobble_span)(fit, largest)
    measured = span.measured
    outcome = judged(measured, largest, rule)
    passes = outcome == CONFORMS
    reach = measured.value if rule == "simple" else measured.high
    unread = hiding(fit, largest - reach if raw and passes else math.inf)
    verdict = Verdict(limit, largest, span, outcome, unread)
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
    ring, its = fit.readings.ring_radius_mm, limit.ring_mm
    if limit.ring is None or same_ring(ring, its):
        return
    read = "not stated" if ring is None else f"{ring:.4g} mm"
    where = said_length(limit.ring)
    raise refuse(
        f"the limit holds at a ring radius of {where}; the ring radius of this blade is {read}",
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


def next_action(
    fit: WobbleFit,
    outcome: str,
    smallest: float,
    findings: Findings,
    *,
    moved: Closing | None = None,
    unread: Sequence[int] = (),
) -> Action:
    """Return what to do next, from the outcome and the shape of the plate.

    Mistakes come first (which a bend that explains more is not), then a stand that `moved` where
    that matters to the outcome, then the outcome. A mistake in the closing reading alone touches
    no number; what it shows of the stand is judged as such. Out of the limit (`smallest` of those
    not kept), the largest part decides: a bend over a few teeth, waves round the whole blade, or
    the tilt. `unread` teeth must be read before the blade can pass.
    """
    if mistake := next((one for one in findings if _touches(one, fit)), None):
        words, shape = [_mistake(mistake)], residual_shape(fit)
        if shape.bends:
            bent = _bent(shape.bends[0], shape.sd, fit.unit)
            words.append(f"{bent}: if a second turn shows it again, it is the plate.")
        return Action(AGAIN, tuple(words), sound=False)
    if moved is not None:
        return Action(AGAIN, (_moved_words(moved, fit.unit),), sound=False)
    if outcome == CONFORMS:
        return Action(FIT, ("Every limit is kept.",))
    if outcome == UNDECIDED and unread:
        return Action(AGAIN, (unread_words(fit.readings, unread),), unread=tuple(unread))
    if outcome == UNDECIDED and math.isnan(fit.amplitude_interval().high):
        said = "No reading differs and no graduation is stated: state it, and the doubt is known."
        return Action(AGAIN, (said,))
    if outcome == UNDECIDED:
        count = len(fit.residuals)
        said = (
            "The limit lies within the doubt: read another turn, or with a finer indicator, to "
            f"decide (there are {count} readings)."
        )
        return Action(AGAIN, (said,))
    teeth = len(np.unique(fit.readings.tooth[fit.in_fit]))
    if teeth < _FEWEST:
        said = f"{teeth} teeth cannot tell a bend from a tilt: read every tooth."
        return Action(AGAIN, (said,))
    return _out(fit, residual_shape(fit), smallest)


def _out(fit: WobbleFit, shape: ResidualShape, smallest: float) -> Action:
    """Return the action for a blade that is over a limit."""
    wave, waves_sd = None, math.inf
    try:
        waved = fit_wobble(fit.readings, harmonics=_WAVES)
    except RefusedError:
        pass  # Too few readings for waves; the bends are searched all the same.
    else:
        waves_sd = waved.residual_sd
        higher = [one for one in waved.harmonics if one.order > 1 and one.resolved]
        wave = max(higher, key=lambda one: one.amplitude or 0.0, default=None)
    unit, u = fit.unit, fit.amplitude_u
    bend = max(shape.bends, key=lambda one: abs(one.height), default=None)
    few = 0 < len(shape.bends) <= _MOST_BENDS
    if bend is not None and few and shape.sd <= waves_sd and abs(bend.height) > fit.amplitude:
        said = f"{_bent(bend, shape.sd, unit)}: a local bend, high on that side."
        return Action(LEVEL, (said,), bend=bend)
    if wave is not None and 2 * (wave.amplitude_low or 0.0) > smallest:
        size = number(2 * (wave.amplitude or 0.0), 2 * u)
        kind = "a saddle" if wave.order == 2 else "a plate bent in waves"
        said = f"{wave.order} waves a turn move the plate by {size} {unit} in all: {kind}."
        return Action(SAWSMITH, (said,), wave=wave)
    if fit.resolved and fit.wobble_tir >= fit.raw_tir / 2:
        said = (
            f"Most of it is one tilt a turn ({number(fit.wobble_tir, 2 * u)} {unit}): a seat to "
            "clean first, not a plate to hammer. Clean arbor, flanges and bore, turn the blade "
            "on the arbor and measure again."
        )
        return Action(REMOUNT, (said,))
    said = (
        "Over the limit, but neither a tilt nor a bend nor waves account for most of it: clean "
        "the plate where it is touched and measure again, two turns."
    )
    return Action(AGAIN, (said,))


def _bent(bend: Bend, sd: float, unit: str) -> str:
    return (
        f"Teeth {bend.first} to {bend.last} stand {number(abs(bend.height), sd)} {unit} {bend.side}"
    )


def _mistake(found: Finding) -> str:
    return sentence(f"a mistake in the readings seems likely: {found.words}")


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
