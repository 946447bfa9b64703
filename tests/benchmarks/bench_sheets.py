"""How long customers' sheets take, and a day of them; makes sheets.md.

    python tests/benchmarks/bench_sheets.py [BLADES [EARLIER]]

One sheet is held against a fresh polar figure of a minimal Matplotlib script, in turn in one
process, each saved as a PDF in a temporary folder. A day of BLADES (250 if not given) is read,
judged and drawn by the command, on one core and on two, and by the checkout EARLIER on one, if one
is given. Only ratios count. Processor time is told where others may be at work on the machine;
what waits for cores is told by the clock.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

import bladegeom as bg
from bladegeom.draw._style import own_style, standard_fonts
from bladegeom.shop.batch import Repeats, queue_row, read_day

ROUNDS, EACH, DAYS = 9, 3, 3
TEETH = 40
DAY = date(2026, 11, 25)
PAGE = Path(__file__).with_name("sheets.md")
LIMITS = """[[limit]]
quantity = "{}_tir"
value = "{} mm"
source = "invented for a benchmark"
"""


def fresh_polar(fit: bg.WobbleFit, path: Path) -> None:
    """Draw the readings as anybody would, with a label a tooth."""
    figure = Figure(figsize=(8.27, 11.69))
    ax = figure.add_subplot(projection="polar")
    ax.plot(np.radians(fit.readings.angle_deg), fit.readings.reading)
    teeth = range(1, fit.readings.blade.teeth + 1)
    ax.set_xticks(np.radians(fit.readings.blade.angles_deg), [str(tooth) for tooth in teeth])
    figure.savefig(path, format="pdf")


def processor_s(work: Callable[[], object], times: int = 1) -> float:
    """Return the processor time of a piece of work."""
    start = time.process_time()
    for _ in range(times):
        work()
    return (time.process_time() - start) / times


def one_sheet(folder: Path) -> dict[str, list[float]]:
    """Return the time of a sheet over that of a fresh polar figure, some rounds of each kind."""
    fit = bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))
    limits = bg.Limits((bg.Limit("wobble_tir", (4.0, "thou"), "invented for a benchmark"),))
    condition, path = bg.assess(fit, limits), folder / "sheet.pdf"

    def own() -> None:
        bg.save_chart(bg.customer_sheet(fit, condition, date=DAY), path)

    def standard() -> None:
        with standard_fonts(), own_style():
            own()

    kinds = {"in standard fonts": standard, "in embedded fonts": own}
    for work in (*kinds.values(), lambda: fresh_polar(fit, path)):
        work()
    ratios: dict[str, list[float]] = {name: [] for name in kinds}
    for _ in range(ROUNDS):
        base = processor_s(lambda: fresh_polar(fit, path), EACH)
        for name, work in kinds.items():
            ratios[name].append(processor_s(work, EACH) / base)
    return ratios


def invented_day(folder: Path, blades: int) -> tuple[Path, Path]:
    """Write a day of blades, each read once round and closed, and limits for them."""
    rng = np.random.default_rng(20_261_125)
    rows = ["blade,tooth,reading_mm,teeth,graduation_mm,ring_radius_mm,diameter_mm"]
    turn = 2 * np.pi * np.arange(TEETH + 1) / TEETH
    for blade in range(blades):
        read = rng.uniform(0.005, 0.06) * np.cos(turn - rng.uniform(0, 2 * np.pi))
        read = np.round((read + rng.normal(0, 0.006, len(turn))) / 0.01) * 0.01
        rows += [
            f"B-{blade},{tooth % TEETH + 1},{one:.2f},{TEETH},0.01,114.3,254"
            for tooth, one in enumerate(read)
        ]
    table, limits = folder / "day.csv", folder / "limits.toml"
    table.write_text("\n".join(rows))
    limits.write_text(LIMITS.format("wobble", 0.1) + LIMITS.format("raw", 0.12))
    return table, limits


def judging(table: Path, limits: Path, folder: Path) -> list[float]:
    """Return the time of reading, fitting and judging a day over that of its sheets, one core."""
    bounds = bg.read_limits(limits)
    ratios = []
    for _ in range(DAYS):
        conditions: list[bg.Condition] = []

        def judge(conditions: list[bg.Condition] = conditions) -> None:
            day = read_day([table], None)
            repeats = Repeats(one.readings for one in day.readings)
            for one in day.readings:
                fit = bg.fit_wobble(one.readings)
                conditions.append(bg.assess(fit, bounds, pooled=repeats.of(one.readings)))
                queue_row(conditions[-1], None, DAY)

        def draw(conditions: list[bg.Condition] = conditions) -> None:
            for one in conditions:
                with standard_fonts(), own_style():
                    page = bg.customer_sheet(one.fit, one, date=DAY)
                    bg.save_chart(page, folder / "sheet.pdf")

        ratios.append(processor_s(judge) / processor_s(draw))
    return ratios


def whole_day(code: Path, words: list[str | Path], out: Path, cores: int) -> tuple[float, float]:
    """Run the command on so many cores; return the time by the clock and of the processor."""
    use = [*os.sched_getaffinity(0)][:cores]
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "bladegeom", "batch", *words, "--out", out],
        env=os.environ | {"PYTHONPATH": str(code)},
        cwd=code,
        preexec_fn=lambda: os.sched_setaffinity(0, use),
        stdout=subprocess.DEVNULL,
        check=True,
    )
    spent = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return spent, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def days(words: list[str | Path], folder: Path, earlier: Path | None) -> dict[str, list[float]]:
    """Return how many times faster a day is on two cores than on one, and than it was."""
    here = Path(__file__).resolve().parents[2]
    ratios: dict[str, list[float]] = {}
    for place in range(DAYS):
        times = {
            "one": whole_day(here, words, folder / f"one-{place}", 1),
            "two": whole_day(here, words, folder / f"two-{place}", 2),
        }
        if earlier is not None:
            times["earlier"] = whole_day(earlier, words, folder / f"earlier-{place}", 2)
        one, two = times["one"], times["two"]
        found = {"one core over two, by the clock": one[0] / two[0]}
        if earlier is not None:
            clock, processor = times["earlier"]
            found |= {
                "an earlier edition over this one, two cores, by the clock": clock / two[0],
                "an earlier edition over this one, one core, processor time": processor / one[1],
            }
        for name, ratio in found.items():
            ratios.setdefault(name, []).append(ratio)
    return ratios


def row(name: str, ratios: list[float]) -> str:
    least, middle, most = min(ratios), statistics.median(ratios), max(ratios)
    return f"| {name} | {middle:.2f} | {least:.2f} to {most:.2f} |"


def main(blades: int, earlier: Path | None) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sheets = one_sheet(folder)
        table, limits = invented_day(folder, blades)
        judged = judging(table, limits, folder)
        day = days([table, "--limits", limits], folder, earlier)
    lines = [
        "# How long a day's sheets take",
        "",
        f"Made by `bench_sheets.py` with {blades} blades of {TEETH} teeth. Ratios only: medians,",
        "and the least and most of some rounds in one run.",
        "",
        "| a sheet over a fresh polar figure, processor time | median | rounds |",
        "|---|---|---|",
        *(row(name, ratios) for name, ratios in sheets.items()),
        "",
        "| a day | median | rounds |",
        "|---|---|---|",
        row("reading, fitting and judging over the sheets, processor time", judged),
        *(row(name, ratios) for name, ratios in day.items()),
        "",
    ]
    PAGE.write_text("\n".join(lines), "utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    given = sys.argv[1:]
    main(int(given[0]) if given else 250, Path(given[1]).resolve() if given[1:] else None)
