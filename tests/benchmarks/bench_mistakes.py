"""How often the check for mistakes raises a false alarm, and how often it finds what was planted.

    python tests/benchmarks/bench_mistakes.py [BLADES [PLANTED]]

Simulated blades of 24, 40 and 80 teeth with normal scatter, the unit of everything below. The
wobble's amplitude is spread evenly on a log scale from 1 to 100, its direction over the circle;
half of the dials are set to zero at tooth 1 and the others stand anywhere up to one amplitude away.
Every tooth is read once and the first again at the end, unless the line says otherwise. The table
goes to mistakes.md. Seeded; nothing here is a test, but tests/test_mistakes.py runs a small part of
it against the same aims.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

import bladegeom as bg
from bladegeom.mistakes.check import Finding, check_counted
from bladegeom.tables.counted import Counted

Floats = NDArray[np.float64]
Rng = np.random.Generator

TEETH = (24, 40, 80)
SCATTER_UM = 3.0
"""Standard deviation of a reading about the curve, in micrometres."""


class Blade(NamedTuple):
    """A simulated blade: what its teeth are, and what is read at each (in units of the scatter)."""

    teeth: int
    curve: Floats
    rng: Rng

    def read(self, tooth: NDArray[np.int64]) -> Floats:
        """Read teeth, in order; counting past the last goes on to the first."""
        return self.curve[(tooth - 1) % self.teeth] + self.rng.normal(size=len(tooth))


FAR = 1000.0
"""No limit to a size."""


class Planted(NamedTuple):
    """Readings with a mistake, and where it is: a tooth, or the only teeth that are right."""

    readings: bg.Readings | Counted
    tooth: int
    teeth: tuple[int, ...] = ()

    def named_by(self, found: Finding) -> bool:
        """Whether a finding names the right place."""
        if self.teeth:
            return found.teeth == self.teeth
        return self.tooth in (found.places or found.teeth)


def blade_of(rng: Rng, teeth: int, amplitude: tuple[float, float] = (1.0, 100.0)) -> Blade:
    """Draw a blade."""
    size = math.exp(rng.uniform(*np.log(amplitude)))
    angle = 2 * math.pi * np.arange(teeth) / teeth
    curve = size * np.cos(angle - rng.uniform(0, 2 * math.pi))
    offset = -curve[0] if rng.random() < 0.5 else rng.uniform(-size, size)
    return Blade(teeth, curve + offset, rng)


def round_of(teeth: int, turns: int = 1) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return teeth and turns: every tooth once a turn, and the first again at the end of each."""
    once = np.append(np.arange(1, teeth + 1), 1)
    return np.tile(once, turns), np.repeat(np.arange(1, turns + 1), teeth + 1)


def readings_of(
    teeth: int,
    tooth: NDArray[np.int64],
    read: Floats,
    turn: NDArray[np.int64] | None = None,
    graduation: float = 0.0,
) -> bg.Readings:
    """Make readings; `graduation` is in units of the scatter, 0 for none."""
    facts = {"graduation": (graduation * SCATTER_UM, "um")} if graduation else {}
    shown = np.round(read / graduation) * graduation if graduation else read
    return bg.Readings(
        bg.Blade(teeth), shown * SCATTER_UM, tooth=tooth, turn=turn, unit="um", **facts
    )


def clean(rng: Rng, teeth: int, turns: int = 1, graduation: float = 0.0) -> bg.Readings:
    """Readings without a mistake."""
    tooth, turn = round_of(teeth, turns)
    return readings_of(teeth, tooth, blade_of(rng, teeth).read(tooth), turn, graduation)


def coarse(rng: Rng, teeth: int) -> bg.Readings:
    """Readings without a mistake of a fine dial, to the nearest ten of its counts."""
    fine = clean(rng, teeth, graduation=2.0)
    facts = {"graduation": (0.2 * SCATTER_UM, "um")}
    return bg.Readings(fine.blade, fine.reading, tooth=fine.tooth, unit="um", **facts)


def bent(rng: Rng, teeth: int) -> bg.Readings:
    """Readings without a mistake of a plate bent in two and three waves, up to 10 high."""
    blade, (tooth, turn) = blade_of(rng, teeth), round_of(teeth)
    angle = 2 * math.pi * np.arange(teeth) / teeth
    waves = sum(
        rng.uniform(0, 10) * np.cos(order * angle - rng.uniform(0, 2 * math.pi)) for order in (2, 3)
    )
    return readings_of(teeth, tooth, blade._replace(curve=blade.curve + waves).read(tooth), turn)


def changed(
    rng: Rng,
    teeth: int,
    change: Callable[[Floats], Floats],
    size: tuple[float, float],
    graduation: float,
) -> Planted:
    """Readings one of which, wherever that changes it by a size within limits, is changed."""
    while True:
        tooth, _ = round_of(teeth)
        read = blade_of(rng, teeth).read(tooth)
        if graduation:
            read = np.round(read / graduation) * graduation
        new = change(read)
        moved = np.abs(new - read)
        rows = np.flatnonzero((moved >= size[0]) & (moved < size[1]))
        if rows.size:
            row = int(rng.choice(rows))
            read[row] = new[row]
            facts = {"graduation": (graduation * SCATTER_UM, "um")} if graduation else {}
            given = bg.Readings(bg.Blade(teeth), read * SCATTER_UM, tooth=tooth, unit="um", **facts)
            return Planted(given, int(tooth[row]))


def sign(rng: Rng, teeth: int, size: tuple[float, float], graduation: float = 0.0) -> Planted:
    """One sign is lost."""
    return changed(rng, teeth, np.negative, size, graduation)


def scale(rng: Rng, teeth: int, size: tuple[float, float], graduation: float = 0.0) -> Planted:
    """One decimal point is a place off."""
    factor = rng.choice([10.0, 0.1])
    return changed(rng, teeth, lambda read: read * factor, size, graduation)


def spike(rng: Rng, teeth: int, size: tuple[float, float], graduation: float = 0.0) -> Planted:
    """One reading stands off, by a size spread evenly on a log scale up to 100."""
    low, high = size[0], min(size[1], 100.0)
    height = math.exp(rng.uniform(math.log(low), math.log(high))) * rng.choice([-1.0, 1.0])
    if graduation:
        height = round(height / graduation) * graduation
    return changed(rng, teeth, lambda read: read + height, (0.0, math.inf), graduation)


def swapped(rng: Rng, teeth: int, size: tuple[float, float]) -> Planted:
    """The readings of two neighbours are exchanged, which stand apart by a size within limits."""
    while True:
        tooth, turn = round_of(teeth)
        blade = blade_of(rng, teeth)
        apart = np.abs(np.diff(blade.curve[tooth - 1]))
        rows = np.flatnonzero((apart >= size[0]) & (apart < size[1]))
        if rows.size:
            read = blade.read(tooth)
            pair = int(rng.choice(rows)) + np.arange(2)
            read[pair] = read[pair[::-1]]
            named = tuple(tooth[pair].tolist())
            return Planted(readings_of(teeth, tooth, read, turn), named[0], named)


def step(rng: Rng, teeth: int, size: tuple[float, float]) -> Planted:
    """The base is bumped between the third and the third last tooth."""
    tooth, turn = round_of(teeth)
    read = blade_of(rng, teeth).read(tooth)
    start = int(rng.integers(2, teeth - 1))
    read[start:] += rng.uniform(*size) * rng.choice([-1.0, 1.0])
    return Planted(readings_of(teeth, tooth, read, turn), start + 1)


def wrap(rng: Rng, teeth: int, size: tuple[float, float]) -> Planted:
    """The hand passes zero, and what lies below it is read a revolution too high."""
    while True:
        tooth, turn = round_of(teeth)
        blade = blade_of(rng, teeth, (3.0, 100.0))
        read = blade.read(tooth)
        revolution = rng.choice([0.2, 0.5, 1.0]) * 1000 / SCATTER_UM
        below = read < 0
        possible = size[0] <= revolution < size[1] and read.min() > -revolution
        if possible and below.any() and not below.all():
            first = int(tooth[np.flatnonzero(below)[0]])
            return Planted(readings_of(teeth, tooth, read + revolution * below, turn), first)


def unit(rng: Rng, teeth: int, size: tuple[float, float]) -> Planted:
    """From some tooth on the readings are written in thousandths of an inch."""
    tooth, turn = round_of(teeth)
    read = blade_of(rng, teeth, size).read(tooth)
    start = int(rng.integers(1, teeth))
    read[start:] /= 25.4
    return Planted(readings_of(teeth, tooth, read, turn), start + 1)


def inches(rng: Rng, teeth: int, size: tuple[float, float]) -> Planted:
    """From some tooth on the readings of a fine dial in mm are those of one in inches."""
    tooth, _ = round_of(teeth)
    read = blade_of(rng, teeth, size).read(tooth) * SCATTER_UM / 1000
    start = int(rng.integers(1, teeth))
    shown = np.append(np.round(read[:start], 3), np.round(read[start:] / 25.4 / 0.0005) * 0.0005)
    return Planted(bg.Readings(bg.Blade(teeth), shown, tooth=tooth, unit="mm"), start + 1)


def millimetres(rng: Rng, teeth: int, size: tuple[float, float]) -> Planted:
    """From some tooth on the readings of a dial in inches are those of one in hundredths of mm."""
    tooth, _ = round_of(teeth)
    read = blade_of(rng, teeth, size).read(tooth) * SCATTER_UM / 1000
    start = int(rng.integers(1, teeth))
    shown = np.append(np.round(read[:start] / 25.4 / 0.0005) * 0.0005, np.round(read[start:], 2))
    return Planted(bg.Readings(bg.Blade(teeth), shown, tooth=tooth, unit="in"), start + 1)


def skipped(rng: Rng, teeth: int, size: tuple[float, float]) -> Planted:
    """One tooth but the last is passed over: a value too few; amplitude of `size`."""
    start = int(rng.integers(2, teeth))
    physical = np.delete(np.arange(1, teeth + 1), start - 1)
    read = blade_of(rng, teeth, size).read(physical)
    return Planted(_counted(teeth, np.arange(1, teeth), read, off_by=-1), start)


def unfinished(rng: Rng, teeth: int, size: tuple[float, float]) -> Planted:
    """One tooth but the last is passed over, as a table in which the last tooth seems unread."""
    start = int(rng.integers(2, teeth))
    physical = np.delete(np.arange(1, teeth + 1), start - 1)
    read = blade_of(rng, teeth, size).read(physical)
    return Planted(readings_of(teeth, np.arange(1, teeth), read), start)


def doubled(rng: Rng, teeth: int, size: tuple[float, float]) -> Planted:
    """One tooth is read twice: a value too many, which could be the closing one."""
    start = int(rng.integers(1, teeth + 1))
    physical = np.insert(np.arange(1, teeth + 1), start, start)
    read = blade_of(rng, teeth, size).read(physical)
    return Planted(_counted(teeth, np.arange(1, teeth + 2), read, off_by=0), start + 1)


def mirrored(rng: Rng, teeth: int, size: tuple[float, float]) -> Planted:
    """The second of two turns is counted the other way; amplitude of `size`."""
    tooth, turn = round_of(teeth, 2)
    physical = np.where(turn == 2, 2 - tooth, tooth)
    return Planted(readings_of(teeth, tooth, blade_of(rng, teeth, size).read(physical), turn), 1)


def checked_reading(rng: Rng, teeth: int, size: tuple[float, float]) -> Planted:
    """All teeth are counted the wrong way; one check reading a quarter of a turn on."""
    physical = np.append(2 - np.arange(1, teeth + 1), 1 + teeth // 4)
    tooth = np.append(np.arange(1, teeth + 1), 1 + teeth // 4)
    turn = np.append(np.ones(teeth, dtype=np.int64), 2)
    return Planted(readings_of(teeth, tooth, blade_of(rng, teeth, size).read(physical), turn), 1)


def _counted(teeth: int, label: NDArray[np.int64], read: Floats, off_by: int) -> Counted:
    ones = np.ones(len(label), dtype=np.int64)
    return Counted(
        bg.Blade(teeth), "um", label, read * SCATTER_UM, ones, ones, ones == 0, {}, None, off_by
    )


def _sizes(low: float, high: float) -> str:
    return f"{low:g} sd and more" if high == FAR else f"{low:g} to {high:g} sd"


class Case(NamedTuple):
    """One line of the table."""

    name: str
    kind: str
    plant: Callable[[Rng, int, tuple[float, float]], Planted]
    size: tuple[float, float]
    tooth_aim: float | None = None
    kind_aim: float | None = None


SINGLE = (
    *(((low, high), 0.0, None) for low, high in ((4, 6), (6, 8), (8, 16), (16, FAR))),
    ((8, 16), 0.5, None),
    ((8, FAR), 0.0, (0.95, 0.85)),
)
"""Sizes of one changed reading, graduation, aims for tooth and kind."""

CASES = (
    *(
        Case(
            f"{plant.__name__}, {_sizes(*size)}" + (f", graduation {grain:g} sd" if grain else ""),
            plant.__name__,
            partial(plant, graduation=grain),
            size,
            *(aims or ()),
        )
        for plant in (sign, scale, spike)
        for size, grain, aims in SINGLE
    ),
    *(
        Case(f"swapped, {_sizes(*size)} apart", "swapped", swapped, size, aim)
        for size, aim in (((4, 6), None), ((6, FAR), None), ((4, FAR), 2 / 3))
    ),
    *(
        Case(f"step, {size:g} sd", "step", step, (size, size), None, aim)
        for size, aim in ((2, None), (3, None), (4, None), (5, 0.95), (8, 0.95))
    ),
    *(
        Case(f"wrap, {words} revolution", "wrap", wrap, size, None, 0.95)
        for words, size in (("0.2 mm", (0, 100)), ("0.5 mm", (100, 200)), ("1 mm", (200, 999)))
    ),
    *(
        Case(f"unit, amplitude {low:g} to {high:g} sd", "unit", unit, (low, high), None, aim)
        for low, high, aim in ((1, 3, None), (3, 10, None), (10, 100, 0.93))
    ),
    *(
        Case(f"{name}, amplitude 10 to 100 sd", "unit", plant, (10, 100), None, 0.93)
        for name, plant in (("0.0005 in among mm", inches), ("0.01 mm among in", millimetres))
    ),
    *(
        Case(f"{plant.__name__}, amplitude {size:g} sd", kind, plant, (size, size), None, aim)
        for plant, kind, low in (
            (skipped, "skipped", None),
            (unfinished, "skipped", None),
            (doubled, "doubled", None),
        )
        for size, aim in ((10, low), (30, low), (60, None if plant is unfinished else 0.95))
    ),
    *(
        Case(f"mirrored, amplitude {size:g} sd", "mirrored", mirrored, (size, size))
        for size in (1, 3, 10)
    ),
    *(
        Case(f"one check reading, amplitude {size:g} sd", "mirrored", checked_reading, (size, size))
        for size in (3, 10, 30)
    ),
)


class Score(NamedTuple):
    """Shares of the planted mistakes: right kind first, right tooth first, right kind at all."""

    kind: float
    tooth: float
    listed: float


def score(case: Case, teeth: int, blades: int, seed: int) -> Score:
    """Plant a mistake in each of many blades, and count what is found."""
    rng = np.random.Generator(np.random.PCG64([seed, teeth, CASES.index(case)]))
    kind = tooth = listed = 0
    for _ in range(blades):
        planted = case.plant(rng, teeth, case.size)
        found = found_in(planted.readings)
        if found:
            kind += found[0].kind == case.kind
            tooth += planted.named_by(found[0])
            listed += any(one.kind == case.kind for one in found)
    return Score(kind / blades, tooth / blades, listed / blades)


def found_in(readings: bg.Readings | Counted) -> bg.Findings:
    """Check readings, also such as a file would hold with a tooth too many or too few."""
    return check_counted(readings) if isinstance(readings, Counted) else bg.check_readings(readings)


def alarms(make: Callable[[Rng, int], bg.Readings], teeth: int, blades: int, seed: int) -> float:
    """Return the share of blades without a mistake that get any finding."""
    rng = np.random.Generator(np.random.PCG64([seed, teeth]))
    return sum(len(bg.check_readings(make(rng, teeth))) > 0 for _ in range(blades)) / blades


CLEAN: dict[str, Callable[[Rng, int], bg.Readings]] = {
    "as above": clean,
    "two turns": lambda rng, teeth: clean(rng, teeth, turns=2),
    "graduation 0.5 sd": lambda rng, teeth: clean(rng, teeth, graduation=0.5),
    "graduation 2 sd": lambda rng, teeth: clean(rng, teeth, graduation=2.0),
    "graduation 10 sd": lambda rng, teeth: clean(rng, teeth, graduation=10.0),
    "0.2 sd, read to 2 sd": coarse,
    "bent in 2 and 3 waves": bent,
}


TITLE = """\
# How often the look for mistakes errs

Made by `bench_mistakes.py`, which says how the blades are simulated; sd: the scatter of a reading.
"""


def lines(blades: int, planted: int) -> Iterator[str]:
    """Return the report, line by line."""
    head = " | ".join(f"{teeth} teeth" for teeth in TEETH)
    rule = "|---" * (len(TEETH) + 1) + "|"
    yield f"Blades without a mistake that get any finding, of {blades} in all (others of {planted} "
    yield "each); aim: at most 3 %\n"
    yield f"| blades | {head} |"
    yield rule
    for name, make in CLEAN.items():
        each = math.ceil(blades / len(TEETH)) if make is clean else planted
        shares = [f"{100 * alarms(make, teeth, each, 1):.2f} %" for teeth in TEETH]
        yield f"| {name} | {' | '.join(shares)} |"
    yield f"\nPlanted mistakes, {planted} each: right kind first / right tooth first / right kind "
    yield "listed at all\n"
    yield f"| mistake | {head} | aims |"
    yield f"{rule}---|"
    for case in CASES:
        cells = []
        for teeth in TEETH:
            got = score(case, teeth, planted, 2)
            cells.append(f"{100 * got.kind:.1f} / {100 * got.tooth:.1f} / {100 * got.listed:.1f} %")
        aims = [
            f"{what} {100 * aim:.0f} %"
            for what, aim in (("kind", case.kind_aim), ("tooth", case.tooth_aim))
            if aim is not None
        ]
        yield f"| {case.name} | {' | '.join(cells)} | {', '.join(aims)} |"


def main() -> None:
    """Print the report."""
    blades, planted = (
        (*map(int, sys.argv[1:]), 20_000, 400)[:2]
        if len(sys.argv) != 2
        else (
            int(sys.argv[1]),
            400,
        )
    )
    start = time.perf_counter()
    table = []
    for line in lines(blades, planted):
        print(line, flush=True)
        table.append(line)
    Path(__file__).with_name("mistakes.md").write_text("\n".join([TITLE, *table]) + "\n", "utf-8")
    print(f"\n{time.perf_counter() - start:.0f} s", file=sys.stderr)


if __name__ == "__main__":
    main()
