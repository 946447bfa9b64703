"""What to do next with a blade, and why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from bladegeom.faults import RefusedError
from bladegeom.fit.closing import Closing
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.shape import Bend, ResidualShape, residual_shape
from bladegeom.fit.waves import Harmonic
from bladegeom.fit.wobble import WobbleFit
from bladegeom.mistakes.check import Finding, Findings
from bladegeom.result import number
from bladegeom.shop.conformity import CONFORMS, UNDECIDED
from bladegeom.shop.unread import unread_words

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

    Mistakes come first (which a bend that explains more is not), then a stand that moved, then the
    outcome. A mistake in the closing reading alone touches no number; what it shows of the stand
    is judged as such. Out of the limit, the largest part decides: a bend over a few teeth, waves
    round the whole blade, or the tilt.

    Parameters
    ----------
    fit : WobbleFit
    outcome : str
        One of `bladegeom.shop.conformity.OUTCOMES`.
    smallest : float
        The smallest limit that is not kept, in the unit of the readings.
    findings : Findings
    moved : Closing, optional
        What shows that the stand moved, where it matters to the outcome.
    unread : sequence of int
        Teeth that must be read before the blade can pass.

    Returns
    -------
    Action
    """
    if mistake := next((one for one in findings if _touches(one, fit)), None):
        words, shape = [_mistake(mistake)], residual_shape(fit)
        if shape.bends:
            bent = _bent(shape.bends[0], shape.sd, fit.unit)
            words.append(f"{bent}: if a second turn shows it again, it is the plate.")
        return Action(AGAIN, tuple(words), sound=False)
    if moved is not None:
        return Action(AGAIN, (_moved(moved, fit.unit),), sound=False)
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
    words = found.words.strip()
    end = "" if words.endswith((".", "?")) else "."
    return f"A mistake in the readings seems likely: {words}{end}"


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


def _moved(closing: Closing, unit: str) -> str:
    most = closing.allowed(MATTERS)
    return (
        "The turn does not close: the first tooth read again differs by "
        f"{number(abs(closing.difference), most)} {unit}, on a steady stand by at most "
        f"{number(most, most)} {unit} (95 %). With a steady drift of that taken out, the outcome "
        "would be another. Look for a loose stand or a bumped base, and read the blade again."
    )
