"""Whether the limits of a raw TIR hold the plate's own highest less lowest.

    python tests/benchmarks/bench_span.py [BLADES]

Simulates BLADES plates (1,000) for every case from a fixed seed and prints a table in Markdown;
`span.md` is what it printed. `tests/test_conformity.py` runs some of the cases over fewer plates.
Scatter is 1 and normal; where readings are rounded, the dial's step is 1 / 0.3, as common dials
have it. Every turn has an offset of its own.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

import bladegeom as bg
from bladegeom.shop.verdict import FAILS, judged, raw_span

Floats = NDArray[np.float64]

BLADES = 1_000
SEED = 20_261_127
STEP = 1 / 0.3
SHAPES: dict[str, Callable[[Floats, np.random.Generator], Floats]] = {
    "flat": lambda at, _: 0 * at,
    "tilted": lambda at, _: 8 * np.cos(at - 1),
    "saddled": lambda at, _: 3 * np.cos(at) + 4 * np.cos(2 * at + 1),
    "rough": lambda at, rng: 3 * np.cos(at) + 2 * rng.normal(size=len(at)),
    "one tooth bent": lambda at, _: 3 * np.cos(at) + 10.0 * (at == at[7]),
}


def read(plate: Floats, turns: int, step: float, rng: np.random.Generator) -> bg.WobbleFit:
    """Read a plate so often."""
    teeth = len(plate)
    heights = plate + rng.uniform(-3, 3, (turns, 1)) + rng.normal(size=(turns, teeth))
    if step:
        heights = np.round(heights / step) * step
    return bg.fit_wobble(
        bg.Readings(
            bg.Blade(teeth),
            heights.ravel() / 1000,
            unit="mm",
            tooth=np.tile(np.arange(1, teeth + 1), turns),
            turn=np.repeat(np.arange(1, turns + 1), teeth),
            graduation=(step / 1000, "mm") if step else None,
        )
    )


def case(name: str, teeth: int, turns: int, step: float, blades: int) -> list[float]:
    """Return the share held and condemned on the limit, in percent, the width and the bias."""
    rng = np.random.default_rng(SEED)
    at = 2 * np.pi * np.arange(teeth) / teeth
    found = []
    for _ in range(blades):
        plate = SHAPES[name](at, rng)
        true = float(np.ptp(plate)) / 1000
        known = raw_span(read(plate, turns, step, rng), true).measured
        held = known.low - 1e-9 <= true <= known.high + 1e-9
        out = judged(known, true * 1.0001 + 1e-9) == FAILS
        found.append((100 * held, 100 * out, (known.high - known.low) * 1000, known.value - true))
    held, out, width, bias = np.mean(found, axis=0)
    return [held, out, width, 1000 * bias]


def main(blades: int) -> None:
    """Print the table."""
    print(
        f"Raw TIR of {blades} plates a case, seed {SEED}: how often the 95 % limits hold the "
        "plate's own, how often a plate just within its limit is condemned (percent); width of the "
        "limits and bias of the value, in standard deviations of one reading.\n"
    )
    print("| plate | teeth | turns | step | held | condemned | width | bias |\n" + "|---" * 8 + "|")
    for name in SHAPES:
        for teeth in (24, 40, 80):
            for turns in (1, 2, 3):
                for step in (0.0, STEP):
                    one = " | ".join(
                        f"{each:.1f}" for each in case(name, teeth, turns, step, blades)
                    )
                    print(f"| {name} | {teeth} | {turns} | {step:.1f} | {one} |", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else BLADES)
