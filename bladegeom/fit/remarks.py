"""What the reader of a fit should know: which blades each remark is said of, and its words.

The same remarks are made on one blade, as arrays of one, and on all blades of a table.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.fit._fitted import Fitted
from bladegeom.fit.closing import Closing, closing_of
from bladegeom.kernel.design import arc_deg, bend_leaks, design_of
from bladegeom.kernel.stack import fit_stack, leaks_of, plain, stack_of
from bladegeom.readings import Readings
from bladegeom.result import grain, number

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

WARNED_RATIO = 3.0
_FEW_SPOTS = 8
_ODD_TILT_DEG = 1.0
_DUST = 1e-9


class Remark(NamedTuple):
    """What is said of some blades."""

    of: Bools  # Of which it is said.
    words: str | Callable[[int], str]  # Those for the blade at a place, where they hold numbers.

    def on(self, at: int) -> str:
        """Return the words for the blade at a place."""
        return self.words if isinstance(self.words, str) else self.words(at)


class Seen(NamedTuple):
    """What remarks on fits rest on; arrays of shape (n,), lengths in `unit`.

    `graduation` is 0 and `ring_radius` NaN where not stated; `arc` gives the arc in degrees that
    the blade at a place was read on; `bare` tells where teeth were touched whose kinds are not
    stated, `leaks` where a bend leaks into the wobble. `moved` holds the closing readings that
    show that a stand moved, by place, and how far a steady drift of that would shift the wobble.
    `standing`, `notes`, `flagged` and `drift` are of one blade alone: which teeth stand off
    alike in several turns, the notes of its readings, the teeth that count less, its fitted drift
    in words.
    """

    unit: str
    raw_tir: Floats
    residual_sd: Floats
    graduation: Floats
    ring_radius: Floats
    tilt_deg: Floats
    resolved: Bools
    plan_ratio: Floats
    spots: NDArray[Any]
    bare: Bools
    arc: Callable[[int], float]
    leaks: Bools
    moved: Mapping[int, tuple[Closing, float]]
    standing: Sequence[str] = ()
    notes: Sequence[str] = ()
    flagged: Sequence[int] = ()
    drift: str = ""


def remarks_on(seen: Seen) -> list[Remark]:
    """Return all that is to be said of fits, the most important first."""
    every = np.ones(len(seen.raw_tir), dtype=np.bool_)
    same = seen.raw_tir == 0
    stated = seen.graduation > 0
    closed = np.zeros_like(every)
    closed[[*seen.moved]] = True
    below = "all readings are the same: the runout is below the indicator's graduation"
    return [
        *(Remark(every, words) for words in seen.standing),
        Remark(same & stated, below),
        Remark(same & ~stated, f"{below}; state the graduation to learn the bound"),
        Remark(
            ~same & ~seen.resolved,
            "the wobble is not told apart from the scatter: no direction is established",
        ),
        Remark(
            ~same & seen.resolved & ~stated & (seen.residual_sd < _DUST * seen.raw_tir),
            "the readings lie on the curve without any scatter, so nothing tells how sure they "
            "are: state the graduation",
        ),
        Remark(
            np.isnan(seen.ring_radius),
            "the ring radius is not stated: no tilt and no squareness error; give ring_radius",
        ),
        Remark(
            seen.tilt_deg > _ODD_TILT_DEG,
            lambda at: (
                f"a tilt of {seen.tilt_deg[at]:.1f} deg is far more than usable blades show: check "
                "the unit of the readings and the ring radius"
            ),
        ),
        Remark(every & bool(seen.flagged), lambda _: _flagged(seen.flagged)),
        Remark(
            seen.leaks,
            "the plate looks bent and an arc of it was not read, so the bend leaks into the wobble "
            "and the limits are too narrow: read the other teeth, or fit with harmonics 3",
        ),
        *_on_plan(seen.plan_ratio, seen.spots, seen.bare, seen.arc),
        *(Remark(every, note) for note in seen.notes),
        Remark(closed, lambda at: _moved(*seen.moved[at], seen.unit)),
        Remark(every & bool(seen.drift), seen.drift),
    ]


def _on_plan(
    plan_ratio: Floats, spots: NDArray[Any], bare: Bools, arc: Callable[[int], float]
) -> list[Remark]:
    """Return what is to be said of where blades were read; see `Seen`."""
    return [
        Remark(
            plan_ratio > WARNED_RATIO,
            lambda at: (
                f"the teeth read cover an arc of {arc(at):.0f} deg only: the wobble is "
                f"{plan_ratio[at]:.1f} times as uncertain in its worst direction as from teeth all "
                "round"
            ),
        ),
        Remark(
            spots < _FEW_SPOTS,
            lambda at: (
                f"only {spots[at]:.0f} teeth are read: a plate bent in {spots[at] - 1:.0f} waves "
                "would pass for wobble"
            ),
        ),
        Remark(
            bare,
            "read on the teeth: how each tooth is ground adds to the scatter; state tooth_pattern "
            "(such as L R) to take that out, or read the plate",
        ),
    ]


def remarks_of(fit: Fitted) -> tuple[str, ...]:
    """Return the warnings of a fit."""
    readings = fit.readings
    closing = closing_of(readings)
    moved = {}
    if closing is not None and fit.closure_bias is not None and closing.moved():
        moved = {0: (closing, fit.closure_bias)}
    drift = ""
    if fit.drift_per_turn is not None and fit.drift_cost is not None:
        drift = (
            f"a drift of {number(fit.drift_per_turn, fit.drift_u_per_turn)} {fit.unit} a turn is "
            f"taken out; that multiplies the variance of the wobble by {fit.drift_cost:.1f}"
        )
    seen = Seen(
        unit=fit.unit,
        raw_tir=np.array([fit.raw_tir]),
        residual_sd=np.array([fit.residual_sd]),
        graduation=np.array([readings.graduation or 0.0]),
        ring_radius=np.array([readings.ring_radius or np.nan]),
        tilt_deg=np.array([np.nan if fit.tilt_deg is None else fit.tilt_deg]),
        resolved=np.array([fit.resolved]),
        leaks=np.array([not fit.harmonics and _leaks(readings)]),
        moved=moved,
        standing=[one.words(fit.unit, fit.residual_sd) for one in fit.standing],
        notes=readings.notes,
        flagged=fit.flagged,
        drift=drift,
        **_plan(readings, fit.plan_ratio),
    )
    return _said(remarks_on(seen))


def plan_remarks(readings: Readings) -> list[str]:
    """Return what the reader should know of where a blade was read."""
    ratio = design_of(readings, drift=False).ratio
    return [*_said(_on_plan(**_plan(readings, ratio))), *readings.notes]


def _plan(readings: Readings, ratio: float) -> dict[str, Any]:
    read = ~readings.closing
    bare = readings.surface == "teeth" and readings.blade.tooth_pattern is None
    return {
        "plan_ratio": np.array([ratio]),
        "spots": np.array([len(np.unique(readings.tooth[read]))]),
        "bare": np.array([bare]),
        "arc": lambda _: arc_deg(readings.angle_deg[read]),
    }


def _said(remarks: Sequence[Remark]) -> tuple[str, ...]:
    """Return what is said of the one blade."""
    return tuple(one.on(0) for one in remarks if one.of[0])


def joined(remarks: Sequence[Remark], count: int) -> tuple[NDArray[np.int64], list[str]]:
    """Return all that is said of each of `count` blades as one text: its place, and the texts."""
    which = np.zeros(count, dtype=np.int64)
    places, texts = {"": 0}, [""]

    def longer(place: int, words: str) -> int:
        text = f"{texts[place]}; {words}" if place else words
        if text not in places:
            places[text] = len(texts)
            texts.append(text)
        return places[text]

    for one in remarks:
        some = np.flatnonzero(one.of)
        if isinstance(one.words, str):
            before, of = np.unique(which[some], return_inverse=True)
            after = [longer(place, one.words) for place in before.tolist()]
            which[some] = np.array(after, dtype=np.int64)[of]
        else:
            for at in some.tolist():
                which[at] = longer(int(which[at]), one.on(at))
    return which, texts


def _leaks(readings: Readings) -> bool:
    """Return whether a bend leaks into the wobble of one blade."""
    if not plain(readings):
        return bend_leaks(readings)
    stack, _ = stack_of(readings)
    return bool(leaks_of(stack, fit_stack(stack))[0])


def _flagged(teeth: Sequence[int]) -> str:
    listed, one = ", ".join(str(tooth) for tooth in teeth), len(teeth) == 1
    return (
        f"{'tooth' if one else 'teeth'} {listed} {'stands' if one else 'stand'} off the curve "
        f"and {'counts' if one else 'count'} less: clean, and read again"
    )


def _moved(closing: Closing, bias: float, unit: str) -> str:
    most = closing.allowed()
    return (
        f"the closing reading differs from the first by {grain(closing.difference)} {unit}, "
        f"and on a steady stand by at most {number(most, most)} (99 %): look for a drifting stand "
        "or a bumped base and read again; a steady drift of that would shift the wobble by "
        f"{number(bias)} {unit}"
    )
