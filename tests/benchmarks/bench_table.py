"""From a CSV of readings to one of answers, beside pandas merely parsing and writing them.

    python tests/benchmarks/bench_table.py [BLADES] [GROWTH]

BLADES (100,000) invented blades of 40 readings, in a file of one row a reading and in one of one
row a blade. Beside `write_answers`, which the command ``bladegeom table`` calls: `pandas.read_csv`
with identifiers as text, then `DataFrame.to_csv` of the same answers. Medians of rounds in which
both take their turn. GROWTH blades at most (BLADES) are then read, answered and written in steps
of ten from 1,000 on, and `fit_table`'s memory beyond its frame is measured. Only the ratios mean
anything.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import tracemalloc
from pathlib import Path

import pandas as pd
from bench_many import TEETH, even, seconds

import bladegeom as bg
from bladegeom.draw.results import write_answers

BLADES = 100_000
ROUNDS = 3


def long_file(count: int, folder: Path) -> Path:
    """Write a file of one row a reading, to a micrometre."""
    path = folder / f"long_{count}.csv"
    even(count).round({"reading_mm": 3}).to_csv(path, index=False)
    return path


def wide_file(count: int, folder: Path) -> Path:
    """Write a file of one row a blade."""
    path = folder / f"wide_{count}.csv"
    frame = even(count)
    readings = frame["reading_mm"].round(3).to_numpy().reshape(count, TEETH)
    facts = frame.iloc[::TEETH].drop(columns=["tooth", "reading_mm"]).reset_index(drop=True)
    columns = pd.DataFrame(readings, columns=[f"t{tooth}_mm" for tooth in range(1, TEETH + 1)])
    pd.concat([facts, columns], axis=1).to_csv(path, index=False)
    return path


def ratio(path: Path, folder: Path) -> None:
    """Print how long both ways take, and their ratio."""
    answers = bg.fit_table(bg.read_table(path))
    taken: dict[str, list[float]] = {
        "pandas parses": [],
        "pandas writes": [],
        "read_table": [],
        "write_answers": [],
    }
    for _ in range(ROUNDS):
        parse = seconds(lambda: pd.read_csv(path, dtype={"blade": str}))
        whole = seconds(lambda: write_answers([path], folder / "own.csv"))
        write = seconds(lambda: answers.to_csv(folder / "pandas.csv", index=False))
        read = seconds(lambda: bg.read_table(path))
        for name, one in zip(taken, (parse, write, read, whole), strict=True):
            taken[name].append(one)
    middle = {name: statistics.median(found) for name, found in taken.items()}
    pairs = zip(taken["write_answers"], taken["pandas parses"], taken["pandas writes"], strict=True)
    print(f"{path.name}: {path.stat().st_size / 1e6:.0f} MB")
    print(" ".join(f"{name} {value:.2f} s;" for name, value in middle.items()))
    beside = statistics.median(whole / (parse + write) for whole, parse, write in pairs)
    print(f"whole way over parsing and writing: {beside:.2f}\n", flush=True)


def growth(most: int, folder: Path) -> None:
    """Print the time a blade from 1,000 blades on, and the memory of the fit alone."""
    print("| blades | file to file, microseconds a blade | fit_table | GiB beyond the frame |")
    print("|---|---|---|---|")
    count = 1_000
    while count <= most:
        path = long_file(count, folder)
        whole = seconds(lambda path=path: write_answers([path], folder / "own.csv"))
        frame = bg.read_table(path)
        path.unlink()
        fit = seconds(lambda frame=frame: bg.fit_table(frame))
        tracemalloc.start()
        bg.fit_table(frame)
        peak = tracemalloc.get_traced_memory()[1] / 2**30
        tracemalloc.stop()
        each = f"{whole / count * 1e6:.1f} | {fit / count * 1e6:.2f}"
        print(f"| {count:,} | {each} | {peak:.3f} |", flush=True)
        count *= 10


def main() -> None:
    """Measure and print."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else BLADES
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for path in (long_file(count, folder), wide_file(count, folder)):
            ratio(path, folder)
            path.unlink()
        growth(int(sys.argv[2]) if len(sys.argv) > 2 else count, folder)


if __name__ == "__main__":
    main()
