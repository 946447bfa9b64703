"""Whether reading live keeps its word: when it is enough, and which readings are questioned.

    nice python tests/benchmarks/bench_enough.py [BLADES]

Invents BLADES blades (5,000) for every case from a fixed seed, reads them tooth by tooth in the
spread order, and asks `enough` after every reading from the eighth on until it is. Then the teeth
named are marked, whichever of two that will do is worst, and what that leaves out of square is held
against what was told. Sessions are questioned by the same law as `questioned`, all at once. Tables
in Markdown are printed as they come; with the full number they are written to enough.md beside this
file. `tests/test_live.py` holds a small part.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

import bladegeom as bg
from bladegeom.fit.marks import Mark
from bladegeom.live.doubtful import FIRST
from bladegeom.live.enough import Enough, enough
from bladegeom.live.order import reading_order

Floats = NDArray[np.float64]

BLADES, SEED, RING_MM = 5_000, 20_261_127, 110.0
TEETH = (24, 40, 80)
TILTS_DEG = (0.01, 0.15)
DIALS = ((0.001, 0.002), (0.001, 0.01), (0.003, 0.01), (0.005, 0.01), (0.001, 0.0127))
DIALS = (*DIALS, (0.003, 0.0127), (0.005, 0.0127))
"""Scatter of a reading before it is rounded, and the graduation, in mm."""

BENDS = ("saddle", "three waves", "mixed bends", "local bend", "gummed tooth")
USUAL = (0.003, 0.01)


class Case(NamedTuple):
    """Blades of one kind; `bent` is one of `BENDS`, or empty, `flat` without a wobble."""

    teeth: int
    scatter: float
    step: float
    bent: str = ""


class Stop(NamedTuple):
    """Where one blade's session ended: teeth read, whether it was enough, what was told and true.

    `told` and `wanted` are limits in degrees, `left` what the worst of the marks that will do
    leaves.
    """

    read: int
    enough: bool
    told: float
    wanted: float
    left: float


def plate(case: Case, size: float, rng: np.random.Generator) -> Floats:
    """Return what stands out of the plane at every tooth, for a wobble of some amplitude."""
    angle = 2 * np.pi * np.arange(case.teeth) / case.teeth
    turned, share = rng.uniform(0, 2 * np.pi, 12), rng.uniform(0.3, 1.0)
    if case.bent in ("saddle", "three waves"):
        waves = 2 if case.bent == "saddle" else 3
        return size * share * np.cos(waves * angle - turned[0])
    if case.bent == "mixed bends":
        orders = np.arange(2, 11)
        parts = share * size * np.abs(rng.normal(size=9)) * (2 / orders) ** 2
        bends: Floats = parts @ np.cos(orders[:, np.newaxis] * angle - turned[:9, np.newaxis])
        return bends
    stands = np.zeros(case.teeth)
    at = rng.integers(case.teeth)
    if case.bent == "gummed tooth":
        stands[at] = rng.uniform(0.02, 0.1)
    elif case.bent == "local bend":
        wide = int(rng.integers(3, max(4, case.teeth // 6) + 1))
        half = np.sin(np.pi * np.arange(1, wide + 1) / (wide + 1))
        stands[:wide] = half * share * size * rng.choice([-1, 1])
        stands = np.roll(stands, at)
    return stands


def wobble_of(stands: Floats) -> complex:
    """Return the once-per-turn part of what stands out of the plane: it is the wobble's too."""
    angle = 2 * np.pi * np.arange(len(stands)) / len(stands)
    return complex(2 * np.mean(stands * np.exp(1j * angle)))


def session(case: Case, rng: np.random.Generator) -> Stop:
    """Read one blade until it is enough."""
    blade, order = bg.Blade(case.teeth), reading_order(case.teeth, spread=True)
    tilt = math.exp(rng.uniform(*np.log(TILTS_DEG)))
    size, near = RING_MM * math.tan(math.radians(tilt)), rng.uniform(0, 2 * math.pi)
    bent = plate(case, size, rng)
    true = size * np.exp(1j * near)
    if case.bent == "local bend":  # Gum is no part of the plate, a bend is.
        true = true + wobble_of(bent)
    heights = size * np.cos(np.radians(blade.angles_deg) - near) + bent + rng.uniform(0, case.step)
    exact = heights + case.scatter * rng.normal(size=case.teeth)
    read = case.step * np.round(exact / case.step)
    facts = {"ring_radius": (RING_MM, "mm"), "graduation": (case.step, "mm")}
    for count in range(FIRST, case.teeth + 1):
        teeth = order[:count]
        values = read[np.array(teeth) - 1]
        found = enough(bg.Readings(blade, values, unit="mm", tooth=teeth, **facts))
        if found.enough:
            return Stop(count, True, *told(found), left_by(found, complex(true)))
    return Stop(case.teeth, False, math.nan, math.nan, math.nan)


def told(found: Enough) -> tuple[float, float]:
    """Return the limit that was told, and the one that was wanted."""
    assert found.left_most_deg is not None
    assert found.wanted_deg is not None
    return found.left_most_deg, found.wanted_deg


def left_by(found: Enough, true: complex) -> float:
    """Return the squareness error in degrees that the worst of the marks that will do leaves."""
    assert found.marks is not None
    tilt = abs(true) / RING_MM
    if found.marks.neutral is None:
        return math.degrees(math.atan(tilt))
    near = math.degrees(np.angle(true))
    pairs = product(*map(teeth_of, found.marks.neutral))
    return max(left(pair, found.marks.blade, near, tilt) for pair in pairs)


def teeth_of(mark: Mark) -> list[int]:
    """Return the teeth that will do."""
    return [mark.tooth] if mark.other is None else [mark.tooth, mark.other]


def left(pair: tuple[int, int], blade: bg.Blade, near_deg: float, slope: float) -> float:
    """Return the error that the line through two teeth leaves: from one tip to the other."""
    tips = np.exp(1j * np.radians([blade.angle_of(tooth) for tooth in pair]))
    line = math.degrees(np.angle(tips[0] - tips[1]))
    off = math.radians(line - near_deg - 90.0)
    return math.degrees(math.atan(slope * abs(math.sin(off))))


def cases() -> Iterator[Case]:
    """Return every case."""
    for teeth in TEETH:
        yield from (Case(teeth, *dial) for dial in DIALS)
    for bent in BENDS:
        yield from (Case(teeth, *USUAL, bent) for teeth in TEETH)


def row(case: Case, blades: int) -> str:
    """Return a line of the table."""
    seed = [SEED, case.teeth, round(1e4 * case.scatter), round(1e4 * case.step)]
    rng = np.random.default_rng([*seed, *case.bent.encode()])
    stops = [session(case, rng) for _ in range(blades)]
    early = [one for one in stops if one.enough and one.read < case.teeth]
    decided = np.mean([one.enough for one in stops])
    held, wanted = (
        share([one.left <= limit(one) for one in early])
        for limit in (lambda one: one.told, lambda one: one.wanted)
    )
    mean = np.mean([one.read for one in stops])
    return (
        f"| {case.bent or 'none'} | {case.teeth} | {case.scatter:g} | {case.step:g} | {mean:.1f} "
        f"| {100 * decided:.1f} | {100 * len(early) / blades:.1f} | {held} | {wanted} |"
    )


def share(found: list[bool]) -> str:
    """Return a share in percent; a stroke of too few."""
    return f"{100 * np.mean(found):.1f}" if len(found) >= 50 else "-"


if __name__ == "__main__":
    n = int(sys.argv[1]) if len(sys.argv) > 1 else BLADES
    for one in cases():
        print(row(one, n), flush=True)
