"""Invented readings with hidden faults and an answer key, for teaching and for tests."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.invented.asked import numbers, parts_of, size, streams
from bladegeom.invented.course import course
from bladegeom.invented.key import Hidden, LocalBend
from bladegeom.invented.sets import Simulated, SimulatedSet
from bladegeom.invented.slips import DIAL, written_down
from bladegeom.invented.stand import Stand, on_the_stand
from bladegeom.lengths import MM_PER, Lengths, convert, lengths_mm

_ORDINARY_TIR = 8.0
_ORDINARY_NOISE = 0.3
_ORDINARY_RING = 0.9


def simulate(
    blade: Blade | None = None,
    *,
    rng: np.random.Generator | int,
    unit: str = "mm",
    ring_radius: Lengths | None = None,
    tilt_tir: float | None = None,
    near_deg: float | None = None,
    dish: float = 0.0,
    saddle: float = 0.0,
    saddle_deg: float | None = None,
    bend: tuple[int, int, float] | None = None,
    gum: tuple[int, float] | None = None,
    clock_deg: ArrayLike = 0.0,
    flange_tir: float = 0.0,
    flange_deg: float | None = None,
    seating_sd: float = 0.0,
    graduation: float | None = None,
    noise_sd: float | None = None,
    dial_zero: ArrayLike = 0.0,
    drift_per_turn: float = 0.0,
    play: float = 0.0,
    bump: tuple[int, float] | None = None,
    turned: Sequence[str] = ("forward",),
    closing: bool = True,
    touch_deg: float = 0.0,
    skipped: int | None = None,
    doubled: int | None = None,
    lost_minus: int | None = None,
    decimal_slip: tuple[int, float] | None = None,
    unit_slip: tuple[int, str] | None = None,
) -> Simulated:
    """Invent the readings of a blade with hidden faults, and their answer key.

    Nothing is measured: blade, arbor, stand and person are invented, and so are the defaults (a
    blade of 40 teeth and 254 mm, read at 0.9 of its radius on an ordinary dial, with a wobble of
    eight graduations and a noise of 0.3 of one). All heights are in `unit`, positive toward the
    indicator. Several rings or clock positions give several sets; `bump` and the slips of the
    person go into the first set, everything else into all.

    Parameters
    ----------
    blade : Blade, optional
        Its name, its pitch and its sizes are used.
    rng : numpy.random.Generator or int
        Where chance comes from. The same seed gives the same readings; one more fault leaves the
        noise of the others as it was (but for a miscount).
    unit : {"mm", "in", "thou", "um"}
        Of the readings and of all heights.
    ring_radius : str or tuple, optional
        One ring or several, with their unit: ``"4.5 in"``, ``([60, 110], "mm")``.
        Heights hold at the outermost, unless said otherwise.
    tilt_tir : float, optional
        Runout from the blade's own tilt.
    near_deg : float, optional
        Blade angle of its nearest spot; drawn if not given.
    dish : float
        Height of the rim over the centre. It shows between rings only.
    saddle : float
        Greatest height of the saddle at the rim.
    saddle_deg : float, optional
        Blade angle of a crest of the saddle; drawn if not given.
    bend : (first tooth, last tooth, height), optional
        Local bend: a smooth hump, its height in the middle, that grows with the square of the
        radius.
    gum : (tooth, height), optional
        Gum or a burr where that tooth is touched.
    clock_deg : float or sequence of float
        One mounting for each: where tooth 1 stands from the arbor's mark, in the direction of
        numbering.
    flange_tir : float
        Runout from the arbor's flange.
    flange_deg : float, optional
        Arbor angle of the flange's nearest spot; drawn if not given.
    seating_sd : float
        Scatter from mounting to mounting, as a standard deviation of each of the two components.
    graduation : float, optional
        To which readings are rounded; 0 for not at all.
    noise_sd : float, optional
        Repeatability of a reading before it is rounded.
    dial_zero : float or sequence of float
        What the dial shows where the plate has no height; one number, or one for each ring.
    drift_per_turn : float
        Steady drift in as many readings as the blade has teeth, anew in each set.
    play : float
        Dead band of the indicator, forward less backward.
    bump : (reading, height), optional
        After that reading the base is bumped, and all others stand off by the height.
    turned : sequence of {"forward", "backward"}
        One turn each way named.
    closing : bool
        Whether tooth 1 is read again at the end of each turn.
    touch_deg : float
        Degrees of blade from the indexed tooth to the touched spot, positive with the numbering.
    skipped, doubled : int, optional
        Tooth that was passed over, or read twice, in the first turn. The person stops at the mark
        on tooth 1, so that there is a number too few or too many.
    lost_minus : int, optional
        Tooth whose first reading is written without its minus.
    decimal_slip : (tooth, factor), optional
        Tooth whose first reading is written so many times too large: 10, 0.1, 100, ...
    unit_slip : (reading, unit), optional
        After that reading the numbers are written in that unit; 0 for all of them.

    Returns
    -------
    Simulated

    Raises
    ------
    RefusedError
        If such a blade or such a slip is not possible.
    """
    if unit not in MM_PER:
        raise refuse(f"unit is {unit!r}", f"write one of {', '.join(MM_PER)}", column="unit")
    blade = Blade(40, diameter="254 mm") if blade is None else blade
    if not isinstance(blade, Blade):
        raise refuse(f"blade is {blade!r}", "give it as Blade(teeth, ...)", value=blade)
    draw, seating, noise = streams(rng)
    any_deg = 360.0 * draw.random(3)
    rings = _rings(blade, unit, ring_radius)
    outer = max(rings)
    step = DIAL[unit] if graduation is None else size("graduation", graduation, least=0)
    ordinary = step or DIAL[unit]
    tir = _ORDINARY_TIR * ordinary if tilt_tir is None else size("tilt_tir", tilt_tir, least=0)
    hidden = Hidden(
        blade,
        outer if blade.radius_mm is None else convert(blade.radius_mm, "mm", unit),
        outer,
        _vector("near_deg", tir, near_deg, any_deg[0]),
        _vector("flange_deg", size("flange_tir", flange_tir, least=0), flange_deg, any_deg[1]),
        size("dish", dish),
        size("saddle", saddle, least=0),
        float(any_deg[2] / 2) if saddle_deg is None else size("saddle_deg", saddle_deg),
        _bend(blade, bend),
    )
    stand = Stand(
        unit,
        _ORDINARY_NOISE * ordinary if noise_sd is None else size("noise_sd", noise_sd, least=0),
        step,
        size("touch_deg", touch_deg),
        size("play", play, least=0),
        size("drift_per_turn", drift_per_turn),
        _gum(blade, gum),
    )
    _check_heights(hidden, stand, unit)
    zeros = numbers("dial_zero", dial_zero, len(rings))
    scatter = size("seating_sd", seating_sd, least=0)
    sets: list[SimulatedSet] = []
    for mount, clock in enumerate(numbers("clock_deg", clock_deg), start=1):
        seat = complex(*(scatter * seating.standard_normal(2)))
        for ring, zero in zip(rings, zeros, strict=True):
            first = not sets
            run = course(blade, turned, closing, *((skipped, doubled) if first else ()))
            key, dial = on_the_stand(
                hidden, stand, run, (mount, clock, ring, seat), zero, bump if first else None, noise
            )
            slips = (lost_minus, decimal_slip, unit_slip) if first else (None, None, None)
            sets.append(written_down(key, dial, run, slips))
    return Simulated(tuple(sets))


def _rings(blade: Blade, unit: str, given: Lengths | None) -> list[float]:
    if given is None:
        if blade.radius_mm is None:
            raise refuse(
                "neither ring_radius nor the blade's diameter is given", "give one of them"
            )
        return [convert(_ORDINARY_RING * blade.radius_mm, "mm", unit)]
    given_mm, _ = lengths_mm("ring_radius", given)
    for length in given_mm:
        if not 0 < length <= (blade.radius_mm or math.inf) * (1 + 1e-9):
            raise refuse(
                f"a ring radius of {length:g} mm",
                "give one above 0 that is no larger than the blade's radius",
                value=length,
                column="ring_radius",
            )
    return [convert(float(length), "mm", unit) for length in given_mm]


def _vector(what: str, tir: float, near: float | None, drawn: float) -> complex:
    return cmath.rect(tir / 2, math.radians(drawn if near is None else size(what, near)))


def _bend(blade: Blade, given: tuple[int, int, float] | None) -> LocalBend | None:
    if given is None:
        return None
    first, last, height = parts_of("bend", given, "first tooth, last tooth, height")
    blade.angle_of(first)
    blade.angle_of(last)
    return LocalBend(first, last, size("bend", height))


def _gum(blade: Blade, given: tuple[int, float] | None) -> tuple[int, float] | None:
    if given is None:
        return None
    tooth, height = parts_of("gum", given, "tooth, height")
    blade.angle_of(tooth)
    return tooth, size("gum", height)


def _check_heights(hidden: Hidden, stand: Stand, unit: str) -> None:
    heights = {
        "tilt_tir": 2 * abs(hidden.tilt),
        "flange_tir": 2 * abs(hidden.flange),
        "dish": abs(hidden.dish),
        "saddle": hidden.saddle,
        "bend": 0.0 if hidden.bend is None else abs(hidden.bend.height),
        "gum": 0.0 if stand.gum is None else abs(stand.gum[1]),
    }
    for what, height in heights.items():
        if height > hidden.outer_ring:
            raise refuse(
                f"{what} is {height:g} {unit}, more than the ring's radius "
                f"({hidden.outer_ring:g} {unit})",
                f"give heights in {unit}, the unit of the readings",
                value=height,
                column=what,
            )
