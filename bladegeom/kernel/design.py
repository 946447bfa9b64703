"""The columns of one blade's fit, whatever is in it, and what its readings can tell apart.

The columns are the waves and what else moves a reading beside the wobble.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.faults import refuse
from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.readings import Readings

Floats = NDArray[np.float64]

FEWEST_TEETH = 4
REFUSED_RATIO = 10.0


class Design(NamedTuple):
    """Columns of the fit for the readings that are in it."""

    in_fit: NDArray[np.bool_]  # Shape (all readings,).
    angle: Floats  # Blade angles in radians, shape (n,).
    aside: Floats  # Beside the wobble: offsets of the turns, kinds of teeth, drift, shape (n, q).
    play: Floats | None  # 1 in forward turns, -1 in backward ones; None where all went one way.

    @property
    def ratio(self) -> float:
        """How many times as uncertain the wobble is as from teeth all round; see `worst_ratio`."""
        return worst_ratio(harmonic_columns(self.angle)[:, 1:], self.aside)

    def columns(self, orders: list[int]) -> Floats:
        """Return all columns: those aside, cosine and sine of each order, then the play."""
        waves = harmonic_columns(self.angle, orders)[:, 1:]
        parts = [self.aside, waves]
        if self.play is not None:
            parts.append(harmonic_columns(self.angle)[:, 1:] * self.play[:, np.newaxis])
        return np.concatenate(parts, axis=1)


def design_of(readings: Readings, *, drift: bool) -> Design:
    """Return the columns for one blade's readings.

    Each turn has an offset of its own, so that a dial set to zero between turns, or a stand that
    moved, costs nothing. With `drift` the stand is taken to move steadily through all turns
    instead, and the closing readings, which show it, are in the fit.
    """
    in_fit = np.ones_like(readings.closing) if drift else ~readings.closing
    angle = np.radians(readings.angle_deg[in_fit])
    if drift:
        time = drift_time(readings)[in_fit]
        aside = np.stack([np.ones_like(time), time - time.mean()], axis=1)
    else:
        turns, which = np.unique(readings.turn[in_fit], return_inverse=True)
        aside = (which[:, np.newaxis] == np.arange(len(turns))).astype(np.float64)
    way = readings.way[in_fit]
    play = way.astype(np.float64) if way.min() < way.max() else None
    kinds = readings.blade.tooth_pattern
    if kinds is not None and readings.surface == "teeth":
        each = np.asarray(kinds)[(readings.tooth[in_fit] - 1) % len(kinds)]
        _, *others = np.unique(each)
        marks = [(each == kind).astype(np.float64) for kind in others]
        aside = np.column_stack([aside, *marks])
    return Design(in_fit, angle, aside, play)


def drift_time(readings: Readings) -> Floats:
    """Return when each reading was taken, in turns: its place over how many a turn has."""
    kept, turns = np.count_nonzero(~readings.closing), len(np.unique(readings.turn))
    return np.arange(len(readings.reading), dtype=np.float64) / (kept / turns)


def beyond(columns: Floats, aside: Floats) -> Floats:
    """Return what of the columns the ones aside cannot explain."""
    q, _ = np.linalg.qr(aside)
    rest: Floats = columns - q @ (q.T @ columns)
    return rest


def worst_ratio(waves: Floats, aside: Floats) -> float:
    """Return the standard deviation of a wave in its worst direction, over an even full turn's.

    1 for readings spread evenly round the blade; infinite where the wave, of shape (n, 2), cannot
    be told from what else is fitted, of shape (n, q).
    """
    if len(waves) < 2:
        return math.inf
    least = float(np.linalg.svd(beyond(waves, aside), compute_uv=False)[-1])
    even = math.sqrt(len(waves) / 2)
    return even / least if least > 1e-9 * even else math.inf


def _check_kinds(readings: Readings, design: Design) -> None:
    """Refuse readings on teeth in which the kind of tooth and the wobble go together."""
    kinds = readings.blade.tooth_pattern
    if kinds is None or readings.surface != "teeth":
        return
    told = np.linalg.matrix_rank(design.aside) == design.aside.shape[1]
    if told and design.ratio <= REFUSED_RATIO:
        return
    every = range(1, readings.blade.teeth + 1)
    one_kind = [str(tooth) for tooth in every if kinds[(tooth - 1) % len(kinds)] == kinds[0]]
    listed = ", ".join(one_kind[:6])
    raise refuse(
        "in the teeth that were read, the kind of tooth and the wobble go together and cannot be "
        "told apart",
        f"read teeth of one kind all round, such as {listed} ...",
        value=" ".join(kinds),
        blade=readings.blade.name,
    )


def check_plan(readings: Readings) -> None:
    """Refuse readings from which no wobble can be fitted."""
    kept = ~readings.closing
    distinct = len(np.unique(readings.tooth[kept]))
    if distinct < FEWEST_TEETH:
        raise refuse(
            f"only {distinct} different {'tooth is' if distinct == 1 else 'teeth are'} read"
            if distinct
            else "no tooth is read",
            f"read at least {FEWEST_TEETH}, better every tooth",
            value=distinct,
            blade=readings.blade.name,
        )
    design = design_of(readings, drift=False)
    _check_kinds(readings, design)
    ratio = design.ratio
    if ratio > REFUSED_RATIO:
        turns = len(np.unique(readings.turn[kept]))
        raise refuse(
            "the teeth read lie on too short an arc: the wobble would be "
            + (f"{ratio:.0f} times as uncertain" if ratio < 1e6 else "wholly uncertain")
            + " as from teeth all round",
            "read teeth all round the blade" + (" in one of the turns" if turns > 1 else ""),
            value=f"{arc_deg(readings.angle_deg[kept]):.0f} deg",
            blade=readings.blade.name,
        )


def arc_deg(angle_deg: Floats) -> float:
    """Return the arc that holds all of some spots, in degrees."""
    spots = np.unique(np.mod(angle_deg, 360.0))
    gaps = np.diff(spots, append=spots[0] + 360.0)
    return 360.0 - float(gaps.max())
