"""A blade judged by the shop's limits: outcome, its probability, and what to do next and why.

Conformity is that of JCGM 106:2012 and ISO 14253-1:2017.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from operator import attrgetter
from typing import NamedTuple

import numpy as np

from bladegeom.faults import RefusedError
from bladegeom.fit.closing import MATTERS, Closing, closing_of, without_drift
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.marks import NeutralLine, neutral_line, sentence
from bladegeom.fit.shape import Bend, ResidualShape, residual_shape
from bladegeom.fit.waves import Harmonic
from bladegeom.fit.wobble import OfBlade, WobbleFit
from bladegeom.kernel.span import Scatter
from bladegeom.kinds import checked
from bladegeom.mistakes.check import Finding, Findings
from bladegeom.result import derived, described, grain, number, quantity
from bladegeom.shop.limits import Limits
from bladegeom.shop.verdict import (
    CONFORMS,
    FAILS,
    NOT_JUDGED,
    RULES,
    UNDECIDED,
    UNREAD_RULE,
    Verdict,
    evidence,
    in_ranges,
    teeth_read,
    turns_read,
    unread_of,
    unread_words,
    verdicts_on,
    worst_of,
)
from bladegeom.tables.eye import BLANK, FAULT, NOTHING, eye_fault, eye_says

RETIRE = "out of service"
SAWSMITH = "to a sawsmith"
LEVEL = "level the plate"
STRAIGHTEN = "straighten or replace the tooth"
REMOUNT = "clean, remount and measure again"
AGAIN = "measure again"
FIT = "fit for use"
ACTIONS = (RETIRE, SAWSMITH, LEVEL, STRAIGHTEN, REMOUNT, AGAIN, FIT)
"""Every action, in the order in which a queue lists them."""

_CLEAR = "looked at, nothing found"
_NOT_SEEN = "not recorded: look for cracks, missing tips, heat marks, wrong bore or speed rating"
WAVES, FEWEST, _MOST_BENDS = 4, 8, 2
_MOST_TURNS = 6
"""More turns nobody reads."""


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


KEPT = _Next(FIT, ("Every limit is kept.",))
OVER = _Next(
    AGAIN,
    (
        "Over the limit, but neither a tilt nor a bend nor waves account for most of it: clean "
        "the plate where it is touched and measure again, two turns.",
    ),
)


@described
class Condition(OfBlade):
    """What the limits say of a blade.

    Undecided where a mistake is likely, the stand moved, the reading ended early or unread teeth
    may hide a fault; not judged where the blade is out of service. `verdicts` are those on each
    limit; `sound` is whether the readings can be relied on: no mistake was found, and the stand did
    not move.
    """

    fit: WobbleFit
    verdicts: tuple[Verdict, ...]
    sound: bool

    @derived("unit of the readings and of all lengths without one in their name")
    def unit(self) -> str:
        return self.fit.unit

    @derived("the worst outcome of all limits: one of `OUTCOMES`", label="outcome")
    def outcome(self) -> str:
        return worst_of(self.verdicts)

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
        return () if self.action == RETIRE else unread_of(self.verdicts)

    rule: str = quantity(
        "decision rule: zones, simple", label="decision rule", text=lambda one: one.rule_line
    )

    @derived("lowest conformance probability of all limits", key="conformance_probability")
    def probability(self) -> float:
        known = [one.probability for one in self.verdicts]
        return math.nan if any(map(math.isnan, known)) else min(known)

    bend: Bend | None = quantity(
        "first and last tooth of the bend to level (or the tooth to straighten, as both), on which "
        "side it is high, and how high",
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
        """What the readings are, and which teeth are to be read."""
        to_read = self.teeth_to_read
        said = evidence(self.fit)
        return f"{said}; to be read: {in_ranges(to_read)}" if to_read else said

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
    pooled: Scatter | None = None,
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
    pooled : Scatter, optional
        How well a reading repeats with this indicator, in the unit of the readings and with its
        degrees of freedom, from other blades: one turn does not tell it.

    Returns
    -------
    Condition

    Raises
    ------
    RefusedError
        If no limit or more than one on a quantity holds for this blade, the limit holds at
        another ring, the rule is not known, or the eye's words do not say what it found.
    """
    judge = partial(verdicts_on, limits=limits, rule=rule, pooled=pooled)
    verdicts = judge(fit)
    seen, withheld = (eye or "").strip(), None
    if wrong := eye_fault(seen, fit.readings.blade.name or None):
        raise RefusedError(wrong)
    step = _next(fit, verdicts, findings, _moved(fit, judge, worst_of(verdicts)))
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


# The next action


def _moved(
    fit: WobbleFit, judge: Callable[[WobbleFit], tuple[Verdict, ...]], outcome: str
) -> Closing | None:
    """Return what shows that the stand moved, if without that the outcome would be another.

    Where it would be the contrary, less is enough to go by than where one of both is undecided.
    """
    closing = closing_of(fit.readings)
    if closing is None or fit.drift_per_turn is not None or not closing.moved(MATTERS):
        return None
    steady = fit_wobble(
        without_drift(fit.readings, closing.difference),
        harmonics=max((one.order for one in fit.harmonics), default=1),
        robust=fit.robust,
    )
    other = worst_of(judge(steady))
    contrary = {other, outcome} == {CONFORMS, FAILS}
    return closing if contrary or (other != outcome and closing.moved()) else None


def _next(
    fit: WobbleFit,
    verdicts: Sequence[Verdict],
    findings: Findings | None,
    moved: Closing | None,
) -> _Next:
    """Return what to do next, from the verdicts and the shape of the plate.

    Mistakes come first (which a bend that explains more is not), then a stand that `moved` where
    that matters to the outcome, then a single tooth that alone is over a limit, turn after
    turn, then the outcome. A mistake in the closing reading alone touches no number; what it shows
    of the stand is judged as such. Out of a limit, the largest part
    decides: a bend over a few teeth, waves round the whole blade, or the tilt.
    """
    outcome, unread = worst_of(verdicts), unread_of(verdicts)
    if (again := mistaken(fit, findings)) is not None:
        return again
    if moved is not None:
        return _Next(AGAIN, (_moved_words(moved, fit.unit),), sound=False)
    if tooth := _to_straighten(fit, verdicts):
        return tooth
    if outcome == CONFORMS:
        return KEPT
    if outcome == UNDECIDED:
        if unread:
            said = unread_words(fit.readings, unread)
        elif math.isnan(fit.amplitude_interval().high):
            said = (
                "No reading differs and no graduation is stated: state it, and the doubt is known."
            )
        else:
            turns = max(one.turns for one in verdicts if one.outcome == UNDECIDED)
            said = turns_words(turns, turns_read(fit))
        return _Next(AGAIN, (said,))
    teeth = len(np.unique(fit.readings.tooth[fit.in_fit]))
    if teeth < FEWEST:
        said = f"{teeth} teeth cannot tell a bend from a tilt: read every tooth."
        return _Next(AGAIN, (said,))
    return out(fit, min(one.limit for one in verdicts if one.outcome == FAILS))


def turns_words(turns: float, read: int) -> str:
    """Return what would decide where the limit lies within the doubt."""
    there = f"there {'is 1' if read == 1 else f'are {read}'}"
    if turns <= _MOST_TURNS:
        return (
            f"The limit lies within the doubt: about {turns:.0f} turns in all would decide "
            f"({there})."
        )
    return (
        f"The limit lies within the doubt, and so near that {_MOST_TURNS} turns with this "
        f"indicator would not decide ({there}): read with a finer one, or make the blade truer."
    )


def _to_straighten(fit: WobbleFit, verdicts: Sequence[Verdict]) -> _Next | None:
    """Return the action for a tooth that stands off in every turn, if it alone is over a limit."""
    raw = next((one for one in verdicts if one.on.quantity == "raw_tir"), None)
    if not fit.standing or raw is None or raw.outcome == CONFORMS:
        return None
    turn, read = fit.readings.turn[fit.in_fit], fit.readings.reading[fit.in_fit]
    rest = max(float(np.ptp(read[turn == one])) for one in np.unique(turn))
    if rest > raw.limit or any(one.outcome == FAILS for one in verdicts if one is not raw):
        return None
    tooth = max(fit.standing, key=lambda one: abs(one.height))
    why = [sentence(one.words(fit.unit, fit.residual_sd)) for one in fit.standing]
    why.append(
        f"Without it the readings differ by {grain(rest)} {fit.unit} at most, within the limit."
    )
    return _Next(
        STRAIGHTEN if tooth.surface == "teeth" else LEVEL,
        tuple(why),
        bend=Bend(tooth.tooth, tooth.tooth, tooth.height, tooth.p_value),
    )


def mistaken(fit: WobbleFit, findings: Findings | None = None) -> _Next | None:
    """Return the action for readings in which a mistake seems likely, if one does."""
    found = fit.findings if findings is None else findings
    mistake = next((one for one in found if _touches(one, fit)), None)
    if mistake is None:
        return None
    return in_doubt(mistake.words, residual_shape(fit))


def in_doubt(words: str, shape: ResidualShape) -> _Next:
    """Return the action for readings in which a mistake seems likely, from what it is in words."""
    why = [sentence(f"a mistake in the readings seems likely: {words}")]
    if shape.bends:
        bent = _bent(shape.bends[0], shape.sd, shape.unit)
        why.append(f"{bent}: if a second turn shows it again, it is the plate.")
    return _Next(AGAIN, tuple(why), sound=False)


def out(fit: WobbleFit, smallest: float) -> _Next:
    """Return the action for a blade that is over a limit, of which this is the smallest."""
    unit, u, shape = fit.unit, fit.amplitude_u, residual_shape(fit)
    waved = fit_wobble(fit.readings, harmonics=WAVES)
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
    tilted = fit.resolved and fit.wobble_tir >= fit.raw_tir / 2
    return remounted(fit.wobble_tir, u, unit) if tilted else OVER


def remounted(wobble_tir: float, u: float, unit: str) -> _Next:
    """Return the action for a blade that is over a limit for its tilt."""
    said = (
        f"Most of it is one tilt a turn ({number(wobble_tir, 2 * u)} {unit}): a seat to "
        "clean first, not a plate to hammer. Clean arbor, flanges and bore, turn the blade "
        "on the arbor and measure again."
    )
    return _Next(REMOUNT, (said,))


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
    by = number(abs(closing.difference), most)
    said = f"The turn does not close: the first tooth read again differs by {by} {unit}"
    if closing.every_tooth:
        said = f"The stand moved: {closing.words(unit)}"
    return (
        f"{said}, on a steady stand by at most {number(most, most)} {unit} (95 %). With a steady "
        "drift of that taken out, the outcome would be another. Look for a loose stand or a bumped "
        "base, and read the blade again."
    )


def _told(fit: WobbleFit, verdicts: Sequence[Verdict], step: _Next) -> tuple[str, ...]:
    """Return what else to know."""
    said = []
    if step.action != RETIRE and (unread := unread_of(verdicts)):
        words = unread_words(fit.readings, unread)
        said += [] if words in step.reasons else [words]
    raw = any(one.on.quantity == "raw_tir" for one in verdicts)
    return (*said, *also_told(step.action, len(fit.residuals), turns_read(fit), raw=raw))


def also_told(action: str, count: int, turns: int, *, raw: bool) -> tuple[str, ...]:
    """Return what else to know of so many readings, with a limit on the raw TIR or without."""
    said = []
    if raw:
        said.append(
            f"A raw TIR grows with the number of readings, here {count} in {turns} "
            f"turn{'' if turns == 1 else 's'}: compare it only with one of as many, and see that "
            "the limit means as many."
        )
    if action not in (FIT, RETIRE):
        said.append("A dish does not show from one ring: lay a straightedge across the plate.")
    return tuple(said)
