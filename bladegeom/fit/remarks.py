"""What the reader of a fit should know: the same remarks on one blade and on many."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.fit.closing import Closing, closing_of
from bladegeom.kernel.plan import arc_deg, bare_teeth, bend_leaks, remarks_on_plan
from bladegeom.kernel.remarks import Remark, said_of
from bladegeom.kernel.stack import bends_leak, fit_stack, plain, stack_of
from bladegeom.result import grain, number

if TYPE_CHECKING:
    from bladegeom.fit.wobble import WobbleFit

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

ODD_TILT_DEG = 1.0
_DUST = 1e-9


class Seen(NamedTuple):
    """What remarks on fits rest on; arrays of shape (n,), lengths in `unit`.

    Attributes
    ----------
    unit : str
    raw_tir, residual_sd : ndarray
    graduation, ring_radius : ndarray
        0 and NaN where not stated.
    tilt_deg : ndarray
    resolved : ndarray of bool
    plan_ratio, spots : ndarray
        See `bladegeom.kernel.plan.remarks_on_plan`.
    bare : ndarray of bool
    arc : callable
    leaks : ndarray of bool
        Where a bend leaks into the wobble.
    moved : dict of int to (Closing, float)
        The closing readings by which a stand is shown to have moved, by place, and how far a
        steady drift of that would shift the wobble.
    notes, flagged, drift
        Of one blade alone: the notes of its readings, the teeth that count less, and its fitted
        drift in words.
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
            seen.tilt_deg > ODD_TILT_DEG,
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
        *remarks_on_plan(seen.plan_ratio, seen.spots, seen.bare, seen.arc),
        *(Remark(every, note) for note in seen.notes),
        Remark(closed, lambda at: _moved(*seen.moved[at], seen.unit)),
        Remark(every & bool(seen.drift), seen.drift),
    ]


def remarks_of(fit: WobbleFit) -> tuple[str, ...]:
    """Return the warnings of a fit."""
    readings = fit.readings
    read = ~readings.closing
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
        plan_ratio=np.array([fit.plan_ratio]),
        spots=np.array([len(np.unique(readings.tooth[read]))]),
        bare=np.array([bare_teeth(readings)]),
        arc=lambda _: arc_deg(readings.angle_deg[read]),
        leaks=np.array([not fit.harmonics and _leaks(fit)]),
        moved=moved,
        notes=readings.notes,
        flagged=fit.flagged,
        drift=drift,
    )
    return said_of(remarks_on(seen), 0)


def _leaks(fit: WobbleFit) -> bool:
    """Return whether a bend leaks into the wobble of one blade."""
    if not plain(fit.readings):
        return bend_leaks(fit.readings)
    stack, _ = stack_of(fit.readings)
    return bool(bends_leak(stack, fit_stack(stack))[0])


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
