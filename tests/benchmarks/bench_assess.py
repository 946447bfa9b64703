"""A table of blades judged at once beside one by one: whether they agree, and how much faster.

    python tests/benchmarks/bench_assess.py [BLADES]

BLADES (1,500) invented blades of each lot, of 24 and 40 teeth: wobbles of all sizes up to the
limit's, a fifth of them up to twice that, read with a scatter of a thirtieth of it. In a *sound*
lot no plate is bent and no reading wrong; in a *good* one a blade in two hundred is bent and one in
two hundred has a wrong reading; a *bad* lot has twenty times as many of each. Both ways
begin with the readings as a table holds them and end with outcome, action, reasons and remarks.
The lots are judged whole, some hundred of their blades one by one, in one process, taking turns.
Only the ratios mean anything. Writes assess.md beside this file where BLADES is not given.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

import bladegeom as bg

BLADES, SINGLY, SEED = 1_500, 300, 20_261_127
SCATTER, LIMIT = 0.003, 0.1


def lot(count: int, faults: float, *, turns: int = 1, closed: bool = False, gaps: float = 0.0):
    """Return a frame of invented blades."""
    rng, frames = np.random.default_rng(SEED), []
    for number in range(count):
        teeth = int(rng.choice([24, 40]))
        angle = 2 * np.pi * np.arange(teeth) / teeth
        shape = rng.uniform(0, LIMIT / 2) * np.cos(angle - rng.uniform(0, 6)) + rng.normal(0, 0.1)
        if rng.random() < 0.2:
            shape *= 1 + rng.random()
        if rng.random() < faults:
            shape[(int(rng.integers(teeth)) + np.arange(6)) % teeth] += rng.uniform(0.02, LIMIT)
        wrong = rng.random() < faults
        for turn in range(1, turns + 1):
            tooth = np.arange(teeth + closed) % teeth + 1
            read = shape[tooth - 1] + rng.normal(0, SCATTER, len(tooth))
            if wrong and turn == 1:
                read[int(rng.integers(teeth))] += LIMIT
            there = rng.random(len(tooth)) >= gaps
            facts = {"teeth": teeth, "ring_radius_mm": 110.0, "diameter_mm": 254.0}
            name = f"B{number}"
            frame = {"blade": name, "tooth": tooth, "turn": turn, "reading_mm": read, **facts}
            frames.append(pd.DataFrame(frame)[there])
    return pd.concat(frames, ignore_index=True)


def readings_of(frame: pd.DataFrame) -> list[bg.Readings]:
    """Return the readings of each blade of a frame."""
    found = []
    for name, rows in frame.groupby("blade", sort=False):
        blade = bg.Blade(int(rows["teeth"].iloc[0]), name=str(name), diameter="254 mm")
        turn = rows["turn"].to_numpy()
        read = rows["reading_mm"].to_numpy()
        about = {"unit": "mm", "ring_radius": "110 mm", "turn": turn}
        found.append(bg.Readings(blade, read, tooth=rows["tooth"].to_numpy(), **about))
    return found


def main() -> None:
    """Judge the lots both ways and print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else BLADES
    wobble = bg.Limit("wobble_tir", (LIMIT, "mm"), "invented")
    raw = bg.Limit("raw_tir", (1.2 * LIMIT, "mm"), "invented")
    both, alone = bg.Limits((wobble, raw)), bg.Limits((wobble,))
    cases = {
        "sound": (lot(count, 0.0), both),
        "good": (lot(count, 0.005), both),
        "good, against the wobble TIR alone": (lot(count, 0.005), alone),
        "good, closed turns": (lot(count, 0.005, closed=True), both),
        "good, a fiftieth unread": (lot(count, 0.005, gaps=0.02), both),
        "good, two turns": (lot(count // 3, 0.005, turns=2), both),
        "bad": (lot(count, 0.1), both),
    }
    lines = [
        "| lot | blades | pass, undecided, fail | judged alike | times as fast |",
        "|---|---|---|---|---|",
    ]
    for name, (frame, limits) in cases.items():
        first = frame[frame["blade"].isin(frame["blade"].unique()[:SINGLY])]
        bg.assess(bg.fit_table(frame), limits)  # What is made once is made.
        start = time.process_time()
        table = bg.assess(bg.fit_table(frame), limits)
        middle = time.process_time()
        singly = [bg.assess(bg.fit_wobble(one), limits) for one in readings_of(first)]
        end = time.process_time()
        same = sum(
            (one.outcome, one.action, " ".join(one.reasons), " ".join(one.remarks))
            == tuple(table.loc[at, ["outcome", "action", "reasons", "remarks"]])
            for at, one in enumerate(singly)
        )
        ratio = (end - middle) / len(singly) / ((middle - start) / len(table))
        met = table["outcome"].value_counts()
        shares = ", ".join(
            str(met.get(one, 0)) for one in ("conforms", "undecided", "does not conform")
        )
        line = f"| {name} | {len(table):,} | {shares} | {same} of {len(singly)} | {ratio:.0f} |"
        lines.append(line)
        print(line, flush=True)
    if len(sys.argv) < 2:
        page = Path(__file__).with_name("assess.md")
        title = "# A table judged at once, beside one by one\n\nMade by `bench_assess.py`.\n\n"
        page.write_text(title + "\n".join(lines) + "\n", "utf-8")


if __name__ == "__main__":
    main()
