"""How many blades a second `fit_table` answers, beside a loop of other fits in the same run.

    python tests/benchmarks/bench_many.py [BLADES]

BLADES (100,000) invented blades of 40 readings; as many of which a tenth was not read, as many of
23, 24, 40 and 60 teeth, as many read in two turns, and as many to a coarse
graduation. Every answer is whole: wobble, intervals, detection, marks, probabilities, warnings.
Beside them, one blade at a time: statsmodels OLS with
standard errors and intervals, SciPy's curve_fit, `fit_wobble` alone, with both limits and p, and
with `blade_answer`; the table of the command, which looks for mistakes too; and one copy of the
memory of the readings. Medians of rounds in which everything takes its turn. Only the ratios mean
anything.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable

import numpy as np
import pandas as pd
import statsmodels.api as sm
from scipy.optimize import curve_fit

import bladegeom as bg
from bladegeom.fit.many import fit_frame

BLADES = 100_000
LOOPED = 300
OWN_LOOPED = 300
SLOW_LOOPED = 30
SCREENED = 4_000
ROUNDS = 5
TEETH = 40
MIXED = (23, 24, 40, 60)
UNREAD = 0.1
GRADUATION = 0.03
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
    """Return blades of several tooth counts, all teeth read."""
    rng = np.random.default_rng(SEED)
    return blades_of(rng.choice(MIXED, count), rng)


def gaps(whole: pd.DataFrame) -> pd.DataFrame:
    """Return the same blades with a tenth of the teeth not read."""
    read = np.random.default_rng(SEED).random(len(whole)) >= UNREAD
    return whole[read].reset_index(drop=True)


def two_turns(whole: pd.DataFrame) -> pd.DataFrame:
    """Return the same blades with every turn read again, the scatter anew."""
    again = whole.copy()
    again["reading_mm"] += np.random.default_rng(SEED).normal(0, 0.005, len(whole))
    both = pd.concat([whole.assign(turn=1), again.assign(turn=2)])
    return both.sort_values(["blade", "turn", "tooth"], kind="stable").reset_index(drop=True)


def coarse(whole: pd.DataFrame) -> pd.DataFrame:
    """Return the same blades read to a graduation of three times their scatter."""
    read = np.round(whole["reading_mm"] / GRADUATION) * GRADUATION
    return whole.assign(reading_mm=read, graduation_mm=GRADUATION)


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


def by_fit_wobble(readings: list[bg.Readings]) -> None:
    """Fit one after the other."""
    for one in readings:
        bg.fit_wobble(one)


def with_limits(readings: list[bg.Readings]) -> None:
    """Fit one after the other, and ask for both limits and p."""
    for one in readings:
        fit = bg.fit_wobble(one)
        _ = fit.amplitude_interval(), fit.near_interval(), fit.p_value


def whole_answers(readings: list[bg.Readings]) -> None:
    """Answer one after the other."""
    for one in readings:
        bg.blade_answer(bg.fit_wobble(one))


def seconds(work: Callable[[], object]) -> float:
    """Return how long one call takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main() -> None:
    """Measure and print the tables."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else BLADES
    whole = even(count)
    readings = whole["reading_mm"].to_numpy().reshape(count, TEETH)
    blade = bg.Blade(TEETH, diameter="254 mm")
    ones = [
        bg.Readings(blade, row, unit="mm", ring_radius="110 mm") for row in readings[:OWN_LOOPED]
    ]
    rounded = np.round(readings[:OWN_LOOPED] / GRADUATION) * GRADUATION
    coarse_ones = [
        bg.Readings(blade, row, unit="mm", ring_radius="110 mm", graduation=(GRADUATION, "mm"))
        for row in rounded
    ]
    frames = {
        "complete": whole,
        "a tenth unread": gaps(whole),
        "mixed tooth counts": mixed(count),
        "two turns": two_turns(whole),
        "coarse graduation": coarse(whole),
        "shuffled rows": whole.sample(frac=1.0, random_state=1),
    }
    work: dict[str, tuple[int, Callable[[], object]]] = {
        "statsmodels OLS": (LOOPED, lambda: by_statsmodels(readings[:LOOPED])),
        "curve_fit": (LOOPED, lambda: by_curve_fit(readings[:LOOPED])),
        "fit_wobble": (OWN_LOOPED, lambda: by_fit_wobble(ones)),
        "fit_wobble, both limits and p": (OWN_LOOPED, lambda: with_limits(ones)),
        "the same of coarse readings": (OWN_LOOPED, lambda: with_limits(coarse_ones)),
        "fit_wobble, blade_answer": (SLOW_LOOPED, lambda: whole_answers(ones[:SLOW_LOOPED])),
        "one copy of the readings": (count, readings.copy),
    }
    first = {}
    for name, frame in frames.items():
        first[f"{name}, first call"] = count / seconds(lambda frame=frame: bg.fit_table(frame))
        work[f"fit_table, {name}"] = (count, lambda frame=frame: bg.fit_table(frame))
    some = even(SCREENED)
    work["fit_table, so few"] = (SCREENED, lambda: bg.fit_table(some))
    work["the same looked through for mistakes"] = (
        SCREENED,
        lambda: fit_frame(some, checked=True),
    )
    taken: dict[str, list[float]] = {name: [] for name in work}
    for _ in range(ROUNDS):
        for name, (blades, call) in work.items():
            taken[name].append(blades / seconds(call))
    rates = {name: statistics.median(found) for name, found in taken.items()} | first
    base = rates["statsmodels OLS"]
    print(
        f"{count:,} blades\n\n| | blades/s | microseconds | times statsmodels |\n|---|---|---|---|"
    )
    for name, rate in rates.items():
        print(f"| {name} | {rate:,.0f} | {1e6 / rate:,.2f} | {rate / base:,.2f} |")


if __name__ == "__main__":
    main()
