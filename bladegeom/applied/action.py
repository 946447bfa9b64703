"""What to do next with a blade, and why."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from bladegeom.applied.conformity import CONFORMS, UNDECIDED
from bladegeom.errors import RefusedError
from bladegeom.fitted.fit import fit_wobble
from bladegeom.fitted.mistakes import Finding, Findings
from bladegeom.fitted.shape import Bend, ResidualShape, residual_shape
from bladegeom.fitted.waves import Harmonic
from bladegeom.fitted.wobble import WobbleFit
from bladegeom.result import number

RETIRE = "out of service"
SAWSMITH = "to a sawsmith"
LEVEL = "level the plate"
REMOUNT = "clean, remount and measure again"
AGAIN = "measure again"
FIT = "fit for use"
ACTIONS = (RETIRE, SAWSMITH, LEVEL, REMOUNT, AGAIN, FIT)
"""Every action, in the order in which a queue lists them."""

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
    sound : bool
        Whether the readings can be relied on: no mistake was found, and the stand did not move.
    """

    name: str
    reasons: tuple[str, ...]
    bend: Bend | None = None
    wave: Harmonic | None = None
    sound: bool = True


def next_action(fit: WobbleFit, outcome: str, smallest: float, findings: Findings) -> Action:
    """Return what to do next, from the outcome and the shape of the plate.

    Mistakes come first (which a bend that explains more is not), then a stand that moved, then the
    outcome. Out of the limit, the largest part decides: a bend over a few teeth, waves round the
    whole blade, or the tilt.

    Parameters
    ----------
    fit : WobbleFit
    outcome : str
        One of `bladegeom.applied.conformity.OUTCOMES`.
    smallest : float
        The smallest limit that is not kept, in the unit of the readings.
    findings : Findings

    Returns
    -------
    Action
    """
    shape = residual_shape(fit)
    if len(findings):
        words = [_mistake(findings[0])]
        if shape.bends:
            bent = _bent(shape.bends[0], shape.sd, fit.unit)
            words.append(f"{bent}: if a second turn shows it again, it is the plate.")
        return Action(AGAIN, tuple(words), sound=False)
    low, high, _ = fit.amplitude_interval()
    bias, half = fit.closure_bias, (high - low) / 2
    if bias is not None and bias > half:
        return Action(AGAIN, (_moved(fit, bias, half),), sound=False)
    if outcome == CONFORMS:
        return Action(FIT, ("Every limit is kept.",))
    if outcome == UNDECIDED and math.isnan(high):
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
    return _out(fit, shape, smallest)


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


def _moved(fit: WobbleFit, bias: float, half: float) -> str:
    closure = abs(fit.readings.closure or 0.0)
    return (
        f"The turn does not close: tooth 1 read again differs by {number(closure, half)} "
        f"{fit.unit}, which may shift the wobble by more than its doubt "
        f"({number(2 * bias, 2 * half)} against {number(2 * half, 2 * half)} {fit.unit} TIR)."
    )
