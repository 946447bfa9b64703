"""Whether few readings are taken for few: false alarms, limits and power of what a saw shows.

    python tests/benchmarks/bench_few.py [SAWS]

Simulates SAWS saws (2,000) for every case from a fixed seed and prints tables in Markdown. Nothing
here is a test: `tests/test_few.py` runs some of the cases over fewer saws, and asks the public
functions on the rigid saw. Readings have normal scatter and are rounded to a graduation of 1 from a
dial zero that may stand anywhere; the scatter is given in graduations.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

import bladegeom as bg
from bladegeom.estimate import Estimate, judge
from bladegeom.saw._gauge import Gauge, known_gauge
from bladegeom.saw._measure import Plane, difference_of, told
from bladegeom.saw.compare import Comparison, compare_test_cut

Floats = NDArray[np.float64]

SAWS = 2_000
SEED = 20_261_127
SCATTERS = (0.1, 0.3, 0.5, 1.0)
KNOWN = ("nothing", "stated", "the blade", "the blade, half as much")
"""On what the doubt rests: a cautious guess; what is true; readings of the blade, which scatter as
the others do, or half as much."""
ENDS = (1, 2, 3, 5)
PLACES = (2, 3, 5, 7)
FITS = 40


class Case(NamedTuple):
    """Saws whose slots were read so often at each end, or whose fence at so many places.

    Attributes
    ----------
    known : str
        One of `KNOWN`.
    times : int
        Readings at each end of the slots, or places along the fence.
    scatter, off : float
        Standard deviation of a reading, and true difference of both ends, in graduations.
    """

    known: str
    times: int
    scatter: float
    off: float = 0.0


def gauges(known: str, scatter: float, rng: np.random.Generator) -> list[Gauge]:
    """Return what may be known of a dial beforehand."""
    if not known.startswith("the blade"):
        return [known_gauge("mm", 1.0, scatter if known == "stated" else None)]
    less = scatter / 2 if known.endswith("half as much") else scatter
    wave = 6 * np.cos(2 * np.pi * np.arange(40) / 40)
    how = {"unit": "mm", "graduation": "1 mm", "ring_radius": "1000 mm"}
    blades = (as_read(wave + 1e-9, less, rng) for _ in range(FITS))
    fits = [bg.fit_wobble(bg.Readings(bg.Blade(40), one, **how)) for one in blades]
    return [known_gauge("mm", 1.0, None, fit) for fit in fits if fit.mistake is None]


def as_read(true: ArrayLike, scatter: float, rng: np.random.Generator) -> Floats:
    """Return readings of what is true, from a dial zero that may stand anywhere."""
    exact = np.asarray(true) + rng.uniform(0.0, 1.0)
    read: Floats = np.round(exact + scatter * rng.normal(size=exact.shape))
    return read


def share(found: Iterable[bool]) -> float:
    """Return how many of all are so, in percent."""
    return 100 * float(np.mean([*found]))


def slots(case: Case, saws: int, rng: np.random.Generator) -> list[Estimate]:
    """Return the difference of both ends, saw by saw."""
    known = gauges(case.known, case.scatter, rng)
    true = np.repeat([case.off, 0.0], case.times)
    found = []
    for saw in range(saws):
        front, back = np.split(as_read(true, case.scatter, rng), 2)
        found.append(difference_of(front, back, known[saw % len(known)])[0])
    return found


def fences(case: Case, saws: int, rng: np.random.Generator) -> list[Estimate]:
    """Return the toe over the length of a fence, saw by saw."""
    known = gauges(case.known, case.scatter, rng)
    along = np.linspace(0.0, 1.0, case.times)
    return [
        Plane(
            along[:, np.newaxis],
            as_read(case.off * along, case.scatter, rng),
            known[saw % len(known)],
        ).rise([1.0])
        for saw in range(saws)
    ]


class Insert(NamedTuple):
    """What an insert came to.

    Attributes
    ----------
    held : bool
        Whether the limits of the worst height hold the true one.
    out, within : bool
        Whether it is called out, or within, with a tolerance of just the true worst height.
    """

    held: bool
    out: bool
    within: bool


def inserts(places: int, scatter: float, tilt: float, saws: int, seed: int) -> list[Insert]:
    """Judge inserts that are read once at so many places, in pairs from front to back."""
    rng = np.random.default_rng(seed)
    back = np.linspace(-1.0, 1.0, places // 2)
    at = np.array([(right, y) for right in (-0.3, 0.3) for y in back])
    found = []
    for _ in range(saws):
        turn = rng.uniform(0.0, 2 * np.pi)
        true = 3.0 + tilt * (at @ [np.cos(turn), np.sin(turn)])
        # The dial was set to zero on the table, so that it shows heights rounded alone.
        read = np.round(true + scatter * rng.normal(size=places))
        worst = Plane(at, read, known_gauge("mm", 1.0, None)).farthest()
        limit = float(np.abs(true).max())
        verdict = judge(worst, limit)
        held = abs(worst.low) <= limit <= abs(worst.high)
        found.append(Insert(held, verdict == "no", verdict == "yes"))
    return found


def cuts(checks: int, shared: float, dof: Sequence[int], saws: int, seed: int) -> Iterable[bool]:
    """Say whether predictions that are right are called wrong, saw by saw.

    All rest on one blade, which makes the share `shared` of each difference's variance; blade and
    measurements have so many degrees of freedom.
    """
    rng = np.random.default_rng(seed)
    of_blade, of_measured = dof
    for _ in range(saws):
        blade = rng.normal() * np.sqrt(shared)
        u = float(np.sqrt(shared * rng.chisquare(of_blade) / of_blade))
        cause, compared = object(), []
        for at in range(checks):
            sign = -1.0 if at % 2 else 1.0
            own_u = float(np.sqrt((1 - shared) * rng.chisquare(of_measured) / of_measured))
            measured = Estimate(rng.normal() * np.sqrt(1 - shared), own_u, of_measured)
            predicted = Estimate(sign * blade, u, of_blade).caused_by(cause, sign * u)
            compared.append(Comparison("check", predicted, measured, "mm"))
        yield compare_test_cut(compared).agree == "no"


def main(saws: int) -> None:
    """Print the tables."""
    print(f"Shares in percent of {saws} saws a case, seed {SEED}; scatter in graduations.\n")
    false = " | ".join(f"false at {scatter:g}" for scatter in SCATTERS)
    held = " | ".join(f"held at {scatter:g}" for scatter in SCATTERS)
    power = "told: 2 at 0.1 | 2 at 0.3 | 3 at 0.1"
    for title, ask, counts, what in (
        ("Slots: readings at each end", slots, ENDS, "readings"),
        ("A fence: places read once each", fences, PLACES, "places"),
    ):
        print(f"## {title}\n\n| known by | {what} | {false} | {held} | {power} |")
        print("|---" * 13 + "|")
        rng = np.random.default_rng(SEED)
        for known in KNOWN:
            for times in counts:
                true = [ask(Case(known, times, one), saws, rng) for one in SCATTERS]
                some = [ask(Case(known, times, one, 2.3), saws, rng) for one in SCATTERS]
                off = [Case(known, times, *one) for one in ((0.1, 2.0), (0.3, 2.0), (0.1, 3.0))]
                cells = [share(map(told, one)) for one in true]
                cells += [share(each.low <= 2.3 <= each.high for each in one) for one in some]
                cells += [share(map(told, ask(one, saws, rng))) for one in off]
                print(f"| {known} | {times} | {' | '.join(f'{one:.1f}' for one in cells)} |")
        print()
    print("## An insert read once at each place: limits of the worst height, and false verdicts\n")
    print(f"| places | tilt | {held} | called out at 0.3 | at 1 | called within at 0.3 | at 1 |")
    print("|---" * 10 + "|")
    for places in (4, 6, 10):
        for tilt in (0.0, 3.0):
            found = [inserts(places, one, tilt, saws, SEED) for one in SCATTERS]
            cells = [share(one.held for one in each) for each in found]
            cells += [share(one.out for one in found[at]) for at in (1, 3)]
            cells += [share(one.within for one in found[at]) for at in (1, 3)]
            print(f"| {places} | {tilt:g} | {' | '.join(f'{one:.1f}' for one in cells)} |")
    print("\n## Test cuts that came out as predicted, and are said not to agree (5 is meant)\n")
    print("| blade's share | dof of blade, of measured | 1 check | 2 | 3 | 5 |")
    print("|---" * 6 + "|")
    for shared in (0.0, 0.5, 0.9):
        for dof in ((37, 50), (37, 5), (37, 2), (5, 5)):
            cells = [share(cuts(count, shared, dof, saws, SEED)) for count in (1, 2, 3, 5)]
            line = " | ".join(f"{one:.1f}" for one in cells)
            print(f"| {shared:g} | {dof[0]}, {dof[1]} | {line} |")


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else SAWS)
