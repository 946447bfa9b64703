"""Whether claims come true where few teeth are read, or an arc is not, and the plate is bent.

    python tests/benchmarks/bench_claims.py [BLADES]

For every plan of reading and every number of waves fitted, BLADES blades (400) are invented from
one fixed seed and read as a user would: `fit_wobble`, `neutral_line`, `next_readings`. The plate is
bent in two and in three waves a turn, each up to as much as it wobbles or less, and the noise is
from a thirtieth of the wobble up to all of it. Run with the full number it writes claims.md beside
this file. `tests/test_claims.py` holds a small part of it.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

import bladegeom as bg

Floats = NDArray[np.float64]

BLADES, TURNS_BLADES, SEED = 400, 400, 20_261_127
TEETH, RING_MM, AMPLITUDE_MM = 40, 110.0, 0.05
BLADE = bg.Blade(TEETH)
BENDS = (0.0, 0.1, 0.3, 1.0)
"""The most by which the plate is bent in each order, as parts of the wobble; one for each blade."""

BINS = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0)


class Plan(NamedTuple):
    """Which teeth are read."""

    name: str
    teeth: tuple[int, ...]


class Held(NamedTuple):
    """Blade by blade: whether the limits hold, and the chances told of both neutral teeth."""

    amplitude: bool
    near: bool
    resolved: bool
    claims: tuple[tuple[float, bool], ...]


def plans() -> list[Plan]:
    """Return the plans of reading."""
    rng = np.random.default_rng(SEED)
    found = [
        Plan(
            f"{count} teeth, evenly", tuple(np.round(np.arange(count) * TEETH / count).astype(int))
        )
        for count in (4, 5, 6, 8)
    ]
    for count in (5, 6, 7, 8):
        found += [
            Plan(f"{count} teeth, anyhow", tuple(np.sort(rng.choice(TEETH, count, replace=False))))
            for _ in range(3)
        ]
    found += [
        Plan("every 5th, two left out", tuple(range(0, 30, 5))),
        Plan("45 deg not read", tuple(range(35))),
        Plan("a quarter not read", tuple(range(30))),
        Plan("half not read", tuple(range(20))),
        Plan("every 2nd, a quarter not read", tuple(range(0, 30, 2))),
    ]
    return [Plan(name, tuple(int(at) + 1 for at in teeth)) for name, teeth in found]


def invented(plan: Plan, rng: np.random.Generator) -> tuple[Floats, float]:
    """Return readings in millimetres of a bent plate, and the near direction."""
    near, angle = rng.uniform(0, 360), np.radians(BLADE.angles_deg[np.array(plan.teeth) - 1])
    read = np.cos(angle - math.radians(near))
    most = rng.choice(BENDS)
    for order in (2, 3):
        bend = most * rng.uniform()
        read += bend * np.cos(order * angle - rng.uniform(0, 2 * math.pi))
    read += 30.0 ** -rng.uniform() * rng.normal(size=len(angle))
    return AMPLITUDE_MM * read, near


def held(plan: Plan, harmonics: int, rng: np.random.Generator) -> Held | None:
    """Return what comes true of one blade; None where it is refused."""
    read, near = invented(plan, rng)
    readings = bg.Readings(BLADE, read, unit="mm", tooth=plan.teeth, ring_radius=(RING_MM, "mm"))
    try:
        fit = bg.fit_wobble(readings, harmonics=harmonics)
    except bg.RefusedError:
        return None
    low, high, _ = fit.amplitude_interval()
    start, end, _ = fit.near_interval()
    ends = bg.neutral_line(fit).neutral or ()
    claims = [
        (mark.probability, mark.tooth == BLADE.nearest_tooth(near + turn))
        for mark, turn in zip(ends, (90.0, 270.0), strict=False)
        if mark.probability is not None
    ]
    within = (near - start) % 360.0 <= end - start
    return Held(low <= AMPLITUDE_MM <= high, within, fit.resolved, tuple(claims))


def of_plan(plan: Plan, harmonics: int, blades: int, seed: int) -> list[Held]:
    """Return what comes true of many blades."""
    rng = np.random.default_rng([SEED, seed])
    found = (held(plan, harmonics, rng) for _ in range(blades))
    return [one for one in found if one is not None]


def share(found: Sequence[Held], what: str) -> float:
    """Return how many of some blades it is true of."""
    return float(np.mean([getattr(one, what) for one in found]))


def claims_of(found: Sequence[Held]) -> Floats:
    """Return what is claimed of teeth and whether it is true, shape (n, 2)."""
    return np.array([one for blade in found for one in blade.claims], dtype=float).reshape(-1, 2)


def binned(claims: Floats) -> Iterator[tuple[float, float, int, float, float]]:
    """Return claims of about the same size: their span, number, mean, and how many came true."""
    for low, high in pairwise(BINS):
        here = claims[(claims[:, 0] >= low) & (claims[:, 0] <= high)]
        if len(here) >= 50:
            yield low, high, len(here), float(here[:, 0].mean()), float(here[:, 1].mean())


def turns_told(blades: int) -> tuple[int, int, float]:
    """Return of how many blades, and of how many of them a number of turns is told that does."""
    rng, told, came = np.random.default_rng([SEED, 999]), 0, []
    for _ in range(blades):
        blade = bg.Blade(int(rng.choice([24, 40])))
        angle, near = np.radians(blade.angles_deg), rng.uniform(0, 2 * math.pi)
        noise = float(rng.choice([0.004, 0.01, 0.02]))

        def turn() -> Floats:
            true = AMPLITUDE_MM * np.cos(angle - near)  # noqa: B023
            return true + rng.normal(0, noise, len(angle))  # noqa: B023

        first = turn()
        fit = bg.fit_wobble(bg.Readings(blade, first, unit="mm"))
        ahead = bg.next_readings(fit, 2)
        count = ahead.turns_needed
        if count is None or count == 1:
            continue
        told += 1
        teeth = np.tile(np.arange(1, blade.teeth + 1), count)
        read = np.concatenate([first, *(turn() for _ in range(count - 1))])
        turns = np.repeat(np.arange(1, count + 1), blade.teeth)
        whole = bg.fit_wobble(bg.Readings(blade, read, unit="mm", tooth=teeth, turn=turns))
        ends = bg.neutral_line(fit).neutral or ()
        at = [mark.tooth for mark in ends].index(ahead.tooth or 0)
        then = bg.neutral_line(whole).neutral
        came.append(then is not None and (then[at].probability or 0.0) >= 0.95)
    return blades, told, float(np.mean(came)) if came else math.nan


def table(blades: int, turns_blades: int) -> Iterator[str]:
    """Return what was found, in Markdown."""
    yield (
        "Of blades of 40 teeth bent in two and three waves a turn: how many of the 95 % limits of "
        "amplitude and direction hold the truth, how many are resolved, and in how many a chance "
        f"is told of the named teeth, in percent ({blades:,} blades a line, invented). Fitted are "
        "the wobble alone and with waves up to 2 and 3, as far as the teeth tell these."
    )
    yield ""
    yield "| read | waves | amplitude | direction | resolved | chance told |"
    yield "|---|---|---|---|---|---|"
    every = []
    for at, plan in enumerate(plans()):
        for harmonics in (1, 2, 3):
            found = of_plan(plan, harmonics, blades, 3 * at + harmonics)
            if not found:
                continue
            every.append(claims_of(found))
            told = float(np.mean([bool(one.claims) for one in found]))
            shares = [share(found, what) for what in ("amplitude", "near", "resolved")]
            cells = " | ".join(f"{100 * one:.1f}" for one in (*shares, told))
            yield f"| {plan.name} | {harmonics} | {cells} |"
    yield ""
    yield "| chance claimed of a tooth | claims | mean claim | came true |"
    yield "|---|---|---|---|"
    for low, high, count, claimed, true in binned(np.concatenate(every)):
        span = f"{low:.0%} to {high:.0%}".replace("%", " %")
        yield f"| {span} | {count:,} | {100 * claimed:.1f} % | {100 * true:.1f} % |"
    blades, told, came = turns_told(turns_blades)
    yield ""
    yield (
        f"Of {blades} blades of 24 and 40 teeth read once, {told} were told how many turns in all "
        f"make a tooth 95 % sure in nine cases of ten; so many turns did for {100 * came:.0f} %."
    )


def main() -> None:
    """Print what was found; with the full number of blades, write it down."""
    blades = int(sys.argv[1]) if len(sys.argv) > 1 else BLADES
    text = "\n".join(table(blades, min(TURNS_BLADES, blades)))
    print(text)
    if blades == BLADES:
        made = "Made by `python tests/benchmarks/bench_claims.py`."
        Path(__file__).with_name("claims.md").write_text(f"{text}\n\n{made}\n", "utf-8")


if __name__ == "__main__":
    main()
