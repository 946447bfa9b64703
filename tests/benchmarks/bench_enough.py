"""Whether reading live keeps its word: when it is enough, and which readings are questioned.

    nice python tests/benchmarks/bench_enough.py [BLADES]

Invents BLADES blades (5,000) for every case from a fixed seed, three tenths as many where they are
bent or questioned and a tenth for each slip, and reads them tooth by tooth.

*Enough*: in the spread order, `enough` is asked after every reading from the eighth on until it
is. Then the teeth named are marked, whichever of two that will do is worst, and what that leaves
out of square is held against what was told. To save time `fit_table` fits all blades at once, and
`enough` itself is asked where that would tell little enough.

*Questions*: blades without a mistake are read to the end in both orders, and the sessions counted
in which any reading is questioned. Then one slip is made in each, and told are the sessions in
which it is named at once (of the first seven, at the eighth), later, and in which another reading
is blamed first. Slips that move a reading by less than eight graduations are left out.

With 1,000 blades and more the tables are written to enough.md beside this file. A small part is in
`tests/test_live.py`.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import product
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

import bladegeom as bg
from bladegeom.fit.marks import Mark
from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.live import doubtful
from bladegeom.live.enough import Enough, enough, wanted_of
from bladegeom.live.order import reading_order

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

BLADES, WRITTEN_FROM, SEED, RING_MM = 5_000, 1_000, 20_261_127, 110.0
BENT, ASKED, SLIPPED = 0.3, 0.3, 0.1
TEETH = (24, 40, 80)
TILTS_DEG, FLAT_DEG = (0.01, 0.15), (0.0005, 0.005)
DIALS = ((0.001, 0.002), (0.003, 0.01), (0.005, 0.01), (0.001, 0.0127), (0.005, 0.0127))
"""Scatter of a reading before it is rounded, and the graduation, in mm."""

USUAL = (0.003, 0.01)
BENDS = ("saddle", "three waves", "mixed bends", "local bend", "gummed tooth", "seven waves")
WAVES = {"saddle": 2, "three waves": 3, "seven waves": 7}
SCATTERS = (0.1, 0.3, 0.6, 1.0)
SLIPS = ("lost minus", "shifted decimal", "one dial turn", "exchanged digits")
LEAST_MOVED, DIAL_TURN = 8, 100


class Case(NamedTuple):
    """Blades of one kind, lengths in mm; `kind` is one of `BENDS`, ``flat`` or ``none``."""

    kind: str
    teeth: int
    scatter: float
    step: float


class Stop(NamedTuple):
    """Where one session ended: teeth read, and limits and truth in degrees, NaN if never enough.

    `left` is what the worst of the marks that will do leaves.
    """

    read: int
    told: float = math.nan
    wanted: float = math.nan
    left: float = math.nan


def bends(kind: str, teeth: int, size: float, rng: np.random.Generator) -> Floats:
    """Return what stands out of the plane at every tooth of a blade of some amplitude.

    Waves are from 0.3 of the wobble to all of it; mixed ones fall off as the square of their
    number, up to ten a turn, and a local bend is as high over three teeth to a sixth of the blade.
    """
    angle = 2 * np.pi * np.arange(teeth) / teeth
    turned, share = rng.uniform(0, 2 * np.pi, 9), rng.uniform(0.3, 1.0)
    stands = np.zeros(teeth)
    if kind in WAVES:
        stands = size * share * np.cos(WAVES[kind] * angle - turned[0])
    elif kind == "mixed bends":
        orders = np.arange(2, 11)
        parts = share * size * np.abs(rng.normal(size=9)) * (2 / orders) ** 2
        stands = parts @ np.cos(orders[:, np.newaxis] * angle - turned[:, np.newaxis])
    elif kind == "gummed tooth":
        stands[rng.integers(teeth)] = rng.uniform(0.02, 0.1)
    elif kind == "local bend":
        wide = int(rng.integers(3, max(4, teeth // 6) + 1))
        half = np.sin(np.pi * np.arange(1, wide + 1) / (wide + 1))
        stands[:wide] = half * share * size * rng.choice([-1, 1])
        stands = np.roll(stands, rng.integers(teeth))
    return stands


def invented(
    case: Case, blades: int, rng: np.random.Generator
) -> tuple[Floats, NDArray[np.complex128]]:
    """Return the readings of every tooth, shape (blades, teeth), and the plates' wobbles."""
    angle = 2 * np.pi * np.arange(case.teeth) / case.teeth
    read, true = np.empty((blades, case.teeth)), np.empty(blades, dtype=np.complex128)
    for at in range(blades):
        tilt = math.exp(rng.uniform(*np.log(FLAT_DEG if case.kind == "flat" else TILTS_DEG)))
        size, near = RING_MM * math.tan(math.radians(tilt)), rng.uniform(0, 2 * math.pi)
        bent = bends(case.kind, case.teeth, size, rng)
        true[at] = size * np.exp(1j * near)
        if case.kind == "local bend":  # It is of the plate, and so is its part of the wobble.
            true[at] += 2 * np.mean(bent * np.exp(1j * angle))
        exact = size * np.cos(angle - near) + bent + rng.uniform(0, case.step)
        exact += case.scatter * rng.normal(size=case.teeth)
        read[at] = case.step * np.round(exact / case.step)
    return read, true


# Enough


def sessions(case: Case, blades: int) -> list[Stop]:
    """Read blades until it is enough."""
    rng = np.random.default_rng([SEED, *repr(case).encode()])
    read, true = invented(case, blades, rng)
    order = reading_order(case.teeth, spread=True)
    stops = [Stop(case.teeth)] * blades
    left = np.arange(blades)
    for count in range(doubtful.FIRST, case.teeth + 1):
        teeth = order[:count]
        done = []
        for at in near_enough(case, read[left], teeth):
            found = enough(readings_of(case, read[left[at]], teeth))
            if found.enough:
                done.append(at)
                stops[left[at]] = stop_of(found, complex(true[left[at]]))
        left = np.delete(left, done)
        if not len(left):
            break
    return stops


def near_enough(case: Case, read: Floats, teeth: Sequence[int]) -> list[int]:
    """Return the places of blades of which so many teeth would be enough by the limit alone."""
    of_blade = np.repeat(np.arange(len(read)), len(teeth))
    frame = pd.DataFrame(
        {
            "blade": of_blade.astype(str),
            "teeth": case.teeth,
            "tooth": np.tile(teeth, len(read)),
            "reading_mm": read[:, np.array(teeth) - 1].ravel(),
            "ring_radius_mm": RING_MM,
            "graduation_mm": case.step,
        }
    )
    told = bg.fit_table(frame)
    named = told["neutral_tooth_1"].notna()
    most = told["left_most_deg"].where(named, told["worst_squareness_deg"])
    wanted = [
        wanted_of(tilt, case.teeth if some else None)
        for tilt, some in zip(told["tilt_deg"], named, strict=True)
    ]
    return np.flatnonzero(most.to_numpy(float) <= np.array(wanted) * (1 + 1e-6)).tolist()


def readings_of(case: Case, read: Floats, teeth: Sequence[int]) -> bg.Readings:
    """Return some readings of a blade in the order in which they were taken."""
    values = read[np.array(teeth) - 1]
    facts = {"ring_radius": (RING_MM, "mm"), "graduation": (case.step, "mm")}
    return bg.Readings(bg.Blade(case.teeth), values, unit="mm", tooth=teeth, **facts)


def stop_of(found: Enough, true: complex) -> Stop:
    """Return what was told where it was enough, and what the worst of the marks leaves."""
    assert found.marks is not None
    assert found.left_most_deg is not None
    assert found.wanted_deg is not None
    slope, left = abs(true) / RING_MM, 1.0
    if found.marks.neutral is not None:
        across, blade = np.angle(true) + np.pi / 2, found.marks.blade
        pairs = product(*map(teeth_of, found.marks.neutral))
        left = max(abs(math.sin(line_of(blade, *pair) - across)) for pair in pairs)
    left = math.degrees(math.atan(slope * left))
    return Stop(found.read, found.left_most_deg, found.wanted_deg, left)


def teeth_of(mark: Mark) -> list[int]:
    """Return the teeth that will do."""
    return [mark.tooth] if mark.other is None else [mark.tooth, mark.other]


def line_of(blade: bg.Blade, first: int, second: int) -> float:
    """Return the direction of the line from the second tooth's tip up to the first's."""
    tips = np.exp(1j * np.radians([blade.angle_of(first), blade.angle_of(second)]))
    return float(np.angle(tips[0] - tips[1]))


def cases() -> Iterator[Case]:
    """Return every case."""
    for teeth in TEETH:
        yield from (Case("none", teeth, *dial) for dial in DIALS)
    for kind in ("flat", *BENDS):
        yield from (Case(kind, teeth, *USUAL) for teeth in TEETH)


def summed(case: Case, blades: int) -> list[str]:
    """Return a line of the table."""
    stops = sessions(case, blades)
    decided = [one for one in stops if not math.isnan(one.told)]
    early = [one for one in decided if one.read < case.teeth]
    return [
        case.kind,
        str(case.teeth),
        f"{case.scatter:g}",
        f"{case.step:g}",
        f"{np.mean([one.read for one in stops]):.1f}",
        f"{100 * len(decided) / blades:.1f}",
        f"{100 * len(early) / blades:.1f}",
        share([one.left <= one.told for one in early]),
        share([one.left <= one.wanted for one in early]),
    ]


def share(found: Sequence[bool] | NDArray[np.bool_]) -> str:
    """Return a share in percent; a stroke of too few."""
    return f"{100 * float(np.mean(found)):.1f}" if len(found) >= 50 else "-"


# Questions


class Asked(NamedTuple):
    """Session by session: at which reading the first question came (0: none), and about which."""

    at: Places
    about: Places


@lru_cache(maxsize=512)
def laws(teeth: int, spread: bool, count: int) -> list[doubtful.Law]:
    """Return the laws for the first readings."""
    order = np.array(reading_order(teeth, spread)[:count])
    waves = harmonic_columns(2 * np.pi * (order - 1) / teeth, (1, *doubtful.ORDERS))
    return doubtful.laws_of(waves[:, :3], waves[:, 3:])


def asked(read: Floats, spread: bool) -> Asked:
    """Return the first question of every session; readings in graduations, shape (n, blades)."""
    teeth, blades = read.shape
    at, about = np.zeros(blades, dtype=np.intp), np.full(blades, -1)
    for count in range(doubtful.FIRST, teeth + 1):
        chance, _ = doubtful.foretold(laws(teeth, spread, count), count - 4, read[:count], 1.0)
        worst = chance.argmin(axis=0)
        new = (at == 0) & doubtful.is_doubtful(chance.min(axis=0), teeth)
        at[new], about[new] = count, worst[new]
    return Asked(at, about)


def read_in(
    kind: str, teeth: int, scatter: float, spread: bool, blades: int, rng: np.random.Generator
) -> Floats:
    """Return readings in graduations in the order in which they are taken, shape (n, blades)."""
    angle = 2 * np.pi * np.arange(teeth) / teeth
    read = np.empty((teeth, blades))
    for at in range(blades):
        size = rng.uniform(0, 20)
        exact = size * np.cos(angle - rng.uniform(0, 2 * np.pi)) + rng.uniform(-20, 20)
        exact = exact + bends(kind, teeth, size, rng) + scatter * rng.normal(size=teeth)
        read[:, at] = np.round(exact)
    return read[np.array(reading_order(teeth, spread)) - 1]


def slipped(slip: str, value: Floats, rng: np.random.Generator) -> Floats:
    """Return readings as a slip makes them."""
    either, size = rng.random(len(value)) < 0.5, np.abs(value)
    if slip == "lost minus":
        return -value
    if slip == "shifted decimal":
        return np.where(either, value * 10, np.round(value / 10))
    if slip == "one dial turn":
        return value + np.where(either, DIAL_TURN, -DIAL_TURN)
    exchanged: Floats = np.sign(value) * (size % 10 * 10 + size // 10 % 10 + size // 100 * 100)
    return exchanged


def false_questions(kind: str, teeth: int, blades: int) -> list[str]:
    """Return in how many sessions without a mistake a reading is questioned."""
    rng, row = np.random.default_rng([SEED, teeth, *kind.encode()]), [kind, str(teeth)]
    for spread, scatter in product((True, False), SCATTERS):
        read = read_in(kind, teeth, scatter, spread, blades, rng)
        row.append(share(asked(read, spread).at > 0))
    return row


def power(slip: str, teeth: int, blades: int, early: bool) -> list[str]:
    """Return what comes of a slip among the first seven readings, or later."""
    rng = np.random.default_rng([SEED, teeth, early, *slip.encode()])
    row = [slip, str(teeth), "1 to 7" if early else f"8 to {teeth}"]
    for kind, scatter in product(("none", "mixed bends"), (0.3, 1.0)):
        read, of = read_in(kind, teeth, scatter, True, blades, rng), np.arange(blades)
        at = rng.integers(*((0, 7) if early else (7, teeth)), size=blades)
        before = read[at, of].copy()
        read[at, of] = slipped(slip, before, rng)
        first = asked(read, spread=True)
        some = (np.abs(read[at, of] - before) >= LEAST_MOVED) & (
            (first.at == 0) | (first.at > at)
        )  # What is asked before the slip is none of its doing.
        named, due = (first.about == at)[some], np.maximum(at + 1, doubtful.FIRST)[some]
        blamed = ((first.at[some] > 0) & ~named).mean()
        row.append(f"{share(named & (first.at[some] == due))}, {share(named)}, {100 * blamed:.1f}")
    return row


# Tables


def lines(head: Sequence[str], rows: Iterator[list[str]]) -> Iterator[str]:
    """Return a table in Markdown, line by line."""
    for row in (list(head), ["---"] * len(head)):
        yield f"| {' | '.join(row)} |"
    for row in rows:
        yield f"| {' | '.join(row)} |"


def tables(blades: int) -> Iterator[str]:
    """Return the whole page, line by line."""
    bent, still, slips = (round(part * blades) for part in (BENT, ASKED, SLIPPED))
    yield "Of invented blades: lengths in mm, shares in percent.\n"
    yield "## When it is enough\n"
    yield f"Of {blades:,} blades a case, and {bent:,} where the plate is bent, in spread order.\n"
    head = "plate, teeth, scatter, graduation, readings, decided, early, told held, wanted held"
    yield from lines(
        head.split(", "), (summed(case, bent if case.kind in BENDS else blades) for case in cases())
    )
    yield (
        "\n*Decided*: at some reading what was left was little enough; *early*: before every tooth "
        "was read. Of these: how often what the worst of the marks leaves was within what was "
        "told, and within what was wanted. Tilts are from 0.01 to 0.15 deg, of flat blades from "
        "0.0005 to 0.005; bends from 0.3 of the wobble to all of it. A stroke: fewer than 50. "
        "Seven waves pass for wobble where eight teeth are read: only every tooth shows them.\n"
    )
    yield "## Sessions without a mistake in which a reading is questioned\n"
    orders = [f"{order} {sd:g}" for order in ("spread", "in order") for sd in SCATTERS]
    kinds = product(("none", *BENDS[:3]), TEETH)
    rows = (false_questions(kind, teeth, still) for kind, teeth in kinds)
    yield from lines(["plate", "teeth", *orders], rows)
    yield f"\nOf {still:,} sessions a case, by the scatter of a reading in graduations.\n"
    yield "## Slips that are questioned\n"
    head = "slip, teeth, reading, no bends 0.3, no bends 1, mixed bends 0.3, mixed bends 1"
    made = product(SLIPS, TEETH, (True, False))
    rows = (power(slip, teeth, slips, early) for slip, teeth, early in made)
    yield from lines(head.split(", "), rows)
    yield (
        f"\nOf {slips:,} sessions a case in spread order: named at once, sooner or later, and "
        "another reading blamed first; by the scatter in graduations.\n"
    )
    yield "Made by `python tests/benchmarks/bench_enough.py`."


if __name__ == "__main__":
    n = int(sys.argv[1]) if len(sys.argv) > 1 else BLADES
    page = []
    for line in tables(n):
        print(line, flush=True)
        page.append(line)
    if n >= WRITTEN_FROM:
        Path(__file__).with_name("enough.md").write_text("\n".join(page) + "\n", "utf-8")
