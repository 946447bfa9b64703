"""What the reader of a fit should know: which blades each remark is said of, and its words.

The same remarks are made on one blade, as arrays of one, and on all blades of a table.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.fit._fitted import Fitted
from bladegeom.fit.closing import Closing, closing_of
from bladegeom.fit.stated import rides_most
from bladegeom.kernel.doubt import sd_toward, student_t
from bladegeom.kernel.leak import leaks_of
from bladegeom.kernel.stack import fit_stack, stack_of
from bladegeom.readings import Readings
from bladegeom.result import number
from bladegeom.sizes import odd_wobble, odd_words
from bladegeom.wobble import FEWEST_DOF

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_FEW_SPOTS = 8
_NO_ARC_DEG = 18.0
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

    `graduation` is 0 and `ring_radius` NaN where not known; `steps` are those on which coarse
    readings without a stated graduation lie, 0 for none, which are taken for the graduation of
    teeth enough; `bare` tells where teeth were touched whose kinds are not stated, `rides` where
    the arbor's float makes most of the doubt. `moved` holds the closing readings that show that a
    stand moved, by place, and how far a steady drift of that would shift the wobble. The rest is of
    one blade alone: which teeth stand off alike in several turns, the notes of its readings, the
    teeth that count less, and in words the arc that was not read and the fitted drift.
    """

    unit: str
    raw_tir: Floats
    residual_sd: Floats
    graduation: Floats
    steps: Floats
    ring_radius: Floats
    wobble_tir: Floats
    tilt_deg: Floats
    resolved: Bools
    dof: Floats
    rides: Bools
    spots: NDArray[Any]
    bare: Bools
    moved: Mapping[int, tuple[Closing, float]]
    standing: Sequence[str] = ()
    notes: Sequence[str] = ()
    flagged: Sequence[int] = ()
    unread: str = ""
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
        Remark(
            odd_wobble(seen.wobble_tir, seen.unit, seen.tilt_deg),
            lambda at: odd_words(seen.wobble_tir[at], seen.unit, seen.tilt_deg[at]),
        ),
        Remark(every & bool(seen.unread), seen.unread),
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
        *_on_steps(seen),
        Remark(
            np.isnan(seen.ring_radius),
            "the ring radius is not stated: no tilt and no squareness error; give ring_radius",
        ),
        Remark(every & bool(seen.flagged), lambda _: _flagged(seen.flagged)),
        Remark(
            seen.rides,
            "the end float of the arbor makes most of the doubt: push the arbor the same way for "
            "every reading, and leave end_float out",
        ),
        Remark(
            seen.resolved & (seen.dof < FEWEST_DOF),
            "too few teeth are read to tell how sure each named tooth is: read the others",
        ),
        *_on_plan(seen.spots, seen.bare),
        *(Remark(every, note) for note in seen.notes),
        Remark(closed, lambda at: _moved(*seen.moved[at], seen.unit)),
        Remark(every & bool(seen.drift), seen.drift),
    ]


def _on_steps(seen: Seen) -> list[Remark]:
    """Return what is to be said of coarse readings whose graduation is not stated."""
    lie = "no graduation is stated, and the readings lie on steps of"
    taken = seen.graduation > 0
    return [
        Remark(
            (seen.steps > 0) & taken,
            lambda at: (
                f"{lie} {seen.steps[at]:.4g} {seen.unit}: that is taken for the graduation; state "
                "the graduation if it is another"
            ),
        ),
        Remark(
            (seen.steps > 0) & ~taken,
            lambda at: (
                f"{lie} {seen.steps[at]:.4g} {seen.unit}, too few to take that for the graduation: "
                "the limits may be too narrow; state the graduation"
            ),
        ),
    ]


def _on_plan(spots: NDArray[Any], bare: Bools) -> list[Remark]:
    """Return what is to be said of where blades were read; see `Seen`."""
    return [
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
        graduation=np.array([fit.graduation]),
        steps=np.array([fit.steps]),
        ring_radius=np.array([readings.ring_radius or np.nan]),
        wobble_tir=np.array([fit.wobble_tir]),
        tilt_deg=np.array([np.nan if fit.tilt_deg is None else fit.tilt_deg]),
        resolved=np.array([fit.resolved]),
        dof=np.array([fit.dof]),
        rides=np.array([rides_most(readings.end_float, fit.amplitude_u)]),
        moved=moved,
        standing=[one.words(fit.unit, fit.residual_sd) for one in fit.standing],
        notes=readings.notes,
        flagged=fit.flagged,
        unread=_rests_on_unread(fit),
        drift=drift,
        **_plan(readings),
    )
    return _said(remarks_on(seen))


def plan_remarks(readings: Readings) -> list[str]:
    """Return what the reader should know of where a blade was read."""
    stack, _ = stack_of(readings)
    why, cure = unread_arc(readings)
    unread = [f"{why}: a bend would pass for wobble; {cure}"]
    leaks = bool(leaks_of(stack, fit_stack(stack))[0])
    return [*(unread if leaks else []), *_said(_on_plan(**_plan(readings))), *readings.notes]


def _plan(readings: Readings) -> dict[str, Any]:
    read = ~readings.closing
    bare = readings.surface == "teeth" and readings.blade.tooth_pattern is None
    return {"spots": np.array([len(np.unique(readings.tooth[read]))]), "bare": np.array([bare])}


def _rests_on_unread(fit: Fitted) -> str:
    """Return in words which arc the answer rests on without its having been read, if any."""
    if fit.leak is None:
        return ""
    factor = student_t(0.95, fit.leak.dof)
    along, across = (
        factor * float(sd_toward(fit.near_deg + turn, fit.leak.covariance)) for turn in (0.0, 90.0)
    )
    size = f"the wobble TIR by {number(2 * along, 2 * along)} {fit.unit}"
    turned = math.degrees(math.atan2(across, max(fit.amplitude - along, 0.0)))
    if fit.resolved:
        size += f" and its direction by {number(turned, turned)} deg"
    why, cure = unread_arc(fit.readings)
    return (
        f"{why}: a bend of the plate, as large as the scatter allows, may change {size} "
        f"(the limits hold that); {cure}"
    )


def unread_arc(readings: Readings) -> tuple[str, str]:
    """Return in words why bends pass for wobble, such as an arc that is not read, and the cure."""
    blade = readings.blade
    read = np.unique(readings.tooth[~readings.closing])
    gaps = np.diff(blade.angles_deg[read - 1], append=blade.angles_deg[read[0] - 1] + 360.0)
    at = int(np.argmax(gaps))
    arc = gaps[at] - 360.0 / blade.teeth
    if arc < _NO_ARC_DEG:
        why = "the teeth that were read one way, in one turn or of one kind do not go all round"
        return why, "read every tooth in one turn"
    before, after = int(read[at]), int(read[(at + 1) % len(read)])
    first, last = before % blade.teeth + 1, (after - 2) % blade.teeth + 1
    return (
        f"no tooth from {first} to {last} is read ({arc:.0f} deg of the blade)",
        "read these teeth",
    )


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


def _flagged(teeth: Sequence[int]) -> str:
    listed, one = ", ".join(str(tooth) for tooth in teeth), len(teeth) == 1
    return (
        f"{'tooth' if one else 'teeth'} {listed} {'stands' if one else 'stand'} off the curve "
        f"and {'counts' if one else 'count'} less: clean, and read again"
    )


def _moved(closing: Closing, bias: float, unit: str) -> str:
    most = closing.allowed()
    return (
        f"{closing.words(unit)}, and on a steady stand by at most {number(most, most)} (99 %): "
        "look for a drifting stand or a bumped base and read again; a steady drift of that would "
        "shift the wobble by "
        f"{number(bias)} {unit}"
    )
