"""How long a customer's sheet takes, against a fresh polar figure of a minimal Matplotlib script.

    python tests/benchmarks/bench_sheets.py [SHEETS]

Both are drawn in turn in one process, each saved as a PDF in a temporary
folder; only the ratio counts. Prints where a sheet's time goes as well.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

import bladegeom as bg
from bladegeom.draw._style import standard_fonts

ROUND = 5


def fresh_polar(fit: bg.WobbleFit, path: Path) -> None:
    """Draw the readings as anybody would, with a label a tooth."""
    figure = Figure(figsize=(8.27, 11.69))
    ax = figure.add_subplot(projection="polar")
    ax.plot(np.radians(fit.readings.angle_deg), fit.readings.reading)
    teeth = range(1, fit.readings.blade.teeth + 1)
    ax.set_xticks(np.radians(fit.readings.blade.angles_deg), [str(tooth) for tooth in teeth])
    figure.savefig(path, format="pdf")


def timed(work: Callable[[], object], times: int) -> float:
    start = time.perf_counter()
    for _ in range(times):
        work()
    return (time.perf_counter() - start) / times


def main(sheets: int) -> None:
    fit = bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))
    limits = bg.Limits((bg.Limit("wobble_tir", (4.0, "thou"), "invented for a benchmark"),))
    condition = bg.assess(fit, limits)
    day = date(2026, 11, 25)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.pdf"

        def drawn() -> object:
            return bg.customer_sheet(fit, condition, date=day)

        def sheet() -> None:
            bg.save_chart(bg.customer_sheet(fit, condition, date=day), path)

        fresh_polar(fit, path)
        ratios: dict[str, list[float]] = {"standard fonts": [], "own letters": [], "drawing": []}
        for _ in range(max(1, sheets // ROUND)):
            base = timed(lambda: fresh_polar(fit, path), ROUND)
            ratios["own letters"].append(timed(sheet, ROUND) / base)
            with standard_fonts():
                sheet()
                ratios["standard fonts"].append(timed(sheet, ROUND) / base)
                ratios["drawing"].append(timed(drawn, ROUND) / base)
        judged = timed(lambda: bg.assess(fit, limits), ROUND) / base
        fitted = timed(lambda: bg.fit_wobble(fit.readings), ROUND) / base
    print(f"one sheet over a fresh polar figure, median of {len(ratios['drawing'])} rounds")
    for name, values in ratios.items():
        what = "of it, drawing before saving (standard fonts)" if name == "drawing" else name
        print(f"  {what:<48} {statistics.median(values):.2f}")
    print(f"  {'the fit':<48} {fitted:.2f}")
    print(f"  {'the judging, with the check for mistakes':<48} {judged:.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else 100)
