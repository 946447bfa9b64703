"""Whether a recommended clock position keeps its promise, over blades, arbors, seats and plans.

    python tests/benchmarks/bench_clock.py [BLADES]

Simulates BLADES blades (20,000) from a fixed seed, each with a blade and a flange of its own, three
to five mountings, seating and reading scatter drawn anew, through the public functions, and prints
a table in Markdown. Nothing here is a test: `tests/test_clock.py` runs fewer blades of the same.
Lengths are in millimetres; the blade has 12 teeth, so that a tooth is a coarse choice.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

import bladegeom as bg

BLADES = 20_000
SEED = 20_261_127
TEETH = 12
CLOCKS_DEG = (0.0, 0.0, 90.0, 180.0, 270.0)


class Outcome(NamedTuple):
    """What became of one piece of advice.

    Attributes
    ----------
    recommended : bool
    gains : bool
        Whether the next mounting, at the best tooth, truly wobbles less than the one in use.
    below, above : bool
        Whether its true gain lies below or above the limits of the gain.
    """

    recommended: bool
    gains: bool
    below: bool
    above: bool


def outcomes(count: int, rng: np.random.Generator) -> Iterator[Outcome]:
    """Advise on `count` blades, and look what another mounting at the best tooth comes to."""
    angle = 2 * np.pi * np.arange(TEETH) / TEETH
    while count:
        clocks = rng.permutation(CLOCKS_DEG)[: rng.integers(3, 6)]
        blade, flange = 0.06 * rng.random(2) * np.exp(2j * np.pi * rng.random(2))
        seating, noise = 0.001 + 0.009 * rng.random(), 0.006 * rng.random()
        there = blade + flange * np.exp(-1j * np.radians(clocks))
        there = there + seating * scatter(rng, len(clocks))
        fits = [
            bg.fit_wobble(
                bg.Readings(
                    bg.Blade(TEETH),
                    (one * np.exp(-1j * angle)).real + noise * rng.normal(size=TEETH),
                    unit="mm",
                )
            )
            for one in there
        ]
        advice = bg.clock_advice(bg.separate_arbor(fits, clocks.tolist()))
        turn = np.exp(1j * angle[advice.best_tooth - 1])
        new = abs(blade + flange * turn + seating * scatter(rng, 1)[0])
        gain = 2 * (abs(there[-1]) - new)
        low, high = advice.gain.low, advice.gain.high
        yield Outcome(advice.recommended, gain > 0, bool(gain < low), bool(gain > high))
        count -= 1


def scatter(rng: np.random.Generator, count: int) -> NDArray[np.complex128]:
    """Draw vectors whose two components have the standard deviation 1."""
    return rng.normal(size=count) + 1j * rng.normal(size=count)


def main(blades: int) -> None:
    """Print the table."""
    rng = np.random.Generator(np.random.PCG64(SEED))
    found = np.array([*outcomes(blades, rng)], dtype=np.float64)
    told = found[:, 0] == 1
    print(f"Of {blades} blades (seed {SEED}), each read in three to five mountings:\n")
    print("| share | % |\n|---|---|")
    print(f"| a change is recommended | {100 * told.mean():.1f} |")
    print(f"| of those, the next mounting truly wobbles less | {100 * found[told, 1].mean():.2f} |")
    print(f"| recommended in vain, of all | {100 * np.mean(told & (found[:, 1] == 0)):.2f} |")
    print(f"| true gain below its 95 % limits (at most 2.5) | {100 * found[:, 2].mean():.2f} |")
    print(f"| true gain above its 95 % limits (at most 2.5) | {100 * found[:, 3].mean():.2f} |")


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else BLADES)
