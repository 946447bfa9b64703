"""How many blades a second `fit_table` answers, beside a loop of other fits in the same run.

    python tests/benchmarks/bench_many.py [BLADES]

BLADES (20,000) invented blades of 40 readings; then as many with 24 to 60 teeth of which some
were not read. Every answer is whole: wobble, intervals, detection, marks, probabilities, warnings.
Beside them, one blade at a time: statsmodels OLS with standard errors and intervals, SciPy's
curve_fit, lmfit and CosinorPy where they are installed, and `fit_wobble` with `blade_answer`; and
one copy of the memory of the readings. Medians of rounds in which everything takes its turn. Only
the ratios mean anything.
"""

from __future__ import annotations

import statistics
import sys
import time
import warnings
from collections.abc import Callable
from importlib.util import find_spec

import numpy as np
import pandas as pd
import statsmodels.api as sm
from scipy.optimize import curve_fit

import bladegeom as bg

BLADES = 20_000
LOOPED = 300
OWN_LOOPED = 100
SLOW_LOOPED = 30
ROUNDS = 5
TEETH = 40
MIXED = (24, 32, 40, 48, 60)
UNREAD = 0.08
SEED = 20_261_125


def blades_of(teeth: np.ndarray, rng: np.random.Generator) -> pd.DataFrame:
    """Return a tidy frame of invented blades; names are shared texts, as `pandas.read_csv` makes.

    Parameters
    ----------
    teeth : ndarray of int, shape (blades,)
    rng : Generator
    """
    count = len(teeth)
    which = np.repeat(np.arange(count), teeth)
    tooth = np.arange(len(which)) - np.repeat(np.cumsum(teeth) - teeth, teeth) + 1
    angle = 2 * np.pi * (tooth - 1) / teeth[which]
    near = rng.uniform(0, 2 * np.pi, count)[which]
    read = rng.uniform(0.005, 0.1, count)[which] * np.cos(angle - near)
    read += rng.normal(0, 0.01, len(which))
    names = np.array([f"B-{number:07d}" for number in range(count)], dtype=object)
    return pd.DataFrame(
        {
            "blade": names[which],
            "tooth": tooth,
            "reading_mm": read,
            "teeth": teeth[which],
            "ring_radius_mm": 110.0,
            "diameter_mm": 254.0,
        }
    )


def even(count: int) -> pd.DataFrame:
    """Return blades of 40 teeth, all read."""
    return blades_of(np.full(count, TEETH), np.random.default_rng(SEED))


def mixed(count: int) -> pd.DataFrame:
    """Return blades of 24 to 60 teeth, some of which were not read."""
    rng = np.random.default_rng(SEED)
    frame = blades_of(rng.choice(MIXED, count), rng)
    return frame[rng.random(len(frame)) >= UNREAD].reset_index(drop=True)


def by_statsmodels(readings: np.ndarray) -> None:
    """Fit row by row, with standard errors and 95 % intervals."""
    angle = 2 * np.pi * np.arange(TEETH) / TEETH
    columns = np.stack([np.ones(TEETH), np.cos(angle), np.sin(angle)], axis=1)
    for row in readings:
        fit = sm.OLS(row, columns).fit()
        _ = fit.params, fit.bse, fit.conf_int()


def by_curve_fit(readings: np.ndarray) -> None:
    """Fit amplitude and phase row by row, with their covariance."""
    angle = 2 * np.pi * np.arange(TEETH) / TEETH

    def curve(at: np.ndarray, offset: float, amplitude: float, near: float) -> np.ndarray:
        return offset + amplitude * np.cos(at - near)

    for row in readings:
        curve_fit(curve, angle, row, p0=(0.0, 0.05, angle[int(np.argmax(row))]))


def by_lmfit(readings: np.ndarray) -> None:
    """Fit the same curve row by row with lmfit."""
    from lmfit import Model

    angle = 2 * np.pi * np.arange(TEETH) / TEETH

    def curve(at: np.ndarray, offset: float, amplitude: float, near: float) -> np.ndarray:
        return offset + amplitude * np.cos(at - near)

    model = Model(curve)
    for row in readings:
        model.fit(row, at=angle, offset=0.0, amplitude=0.05, near=angle[int(np.argmax(row))])


def by_cosinor(readings: np.ndarray) -> None:
    """Fit row by row with CosinorPy, with standard errors, intervals and p."""
    from CosinorPy import cosinor1

    at = np.arange(TEETH, dtype=np.float64)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for row in readings:
            cosinor1.fit_cosinor(at, row, period=TEETH, plot_on=False)


def by_fit_wobble(readings: np.ndarray) -> None:
    """Answer row by row."""
    for row in readings:
        blade = bg.Blade(TEETH, diameter="254 mm")
        bg.blade_answer(bg.fit_wobble(bg.Readings(blade, row, unit="mm", ring_radius="110 mm")))


def seconds(work: Callable[[], object]) -> float:
    """Return how long one call takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main() -> None:
    """Measure and print the tables."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else BLADES
    whole, gaps = even(count), mixed(count)
    first = {
        "fit_table, first call": count / seconds(lambda: bg.fit_table(whole)),
        "fit_table, gaps and mixed, first call": count / seconds(lambda: bg.fit_table(gaps)),
    }
    readings = whole["reading_mm"].to_numpy().reshape(count, TEETH)
    shuffled = whole.sample(frac=1.0, random_state=1)
    work: dict[str, tuple[int, Callable[[], object]]] = {
        "statsmodels OLS": (LOOPED, lambda: by_statsmodels(readings[:LOOPED])),
        "curve_fit": (LOOPED, lambda: by_curve_fit(readings[:LOOPED])),
        "lmfit": (SLOW_LOOPED, lambda: by_lmfit(readings[:SLOW_LOOPED])),
        "CosinorPy": (SLOW_LOOPED, lambda: by_cosinor(readings[:SLOW_LOOPED])),
        "fit_wobble": (OWN_LOOPED, lambda: by_fit_wobble(readings[:OWN_LOOPED])),
        "one copy of the readings": (count, readings.copy),
        "fit_table": (count, lambda: bg.fit_table(whole)),
        "fit_table, gaps and mixed": (count, lambda: bg.fit_table(gaps)),
        "fit_table, shuffled rows": (count, lambda: bg.fit_table(shuffled)),
    }
    for name in ("lmfit", "CosinorPy"):
        if find_spec(name) is None:
            print(f"{name}: not installed")
            del work[name]
    taken: dict[str, list[float]] = {name: [] for name in work}
    for _ in range(ROUNDS):
        for name, (blades, call) in work.items():
            taken[name].append(blades / seconds(call))
    rates = {name: statistics.median(found) for name, found in taken.items()} | first
    base = rates["statsmodels OLS"]
    print(f"{count:,} blades\n\n| | blades/s | times statsmodels |\n|---|---|---|")
    for name, rate in rates.items():
        print(f"| {name} | {rate:,.0f} | {rate / base:,.1f} |")
    print("\n| blades | seconds | microseconds a blade |\n|---|---|---|")
    for size in (1_000, 10_000, 100_000):
        frame = even(size)
        took = statistics.median(seconds(lambda frame=frame: bg.fit_table(frame)) for _ in range(3))
        print(f"| {size:,} | {took:.3f} | {took / size * 1e6:.2f} |")


if __name__ == "__main__":
    main()
