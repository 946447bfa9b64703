"""An invented stretch of a sharpening shop's records, with planted faults and an answer key."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.invented import (
    Bump,
    DecimalSlip,
    Doubled,
    Gum,
    LocalBend,
    LostMinus,
    Saddle,
    Skipped,
    Tilt,
    UnitSlip,
)
from bladegeom.invented._taken import DIAL, count, number, streams
from bladegeom.invented.simulate import Simulated, SimulatedSet, simulate
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER

if TYPE_CHECKING:
    import pandas as pd

SHARES = {
    "seat": 0.12,
    "bend": 0.08,
    "saddle": 0.05,
    "gum": 0.03,
    "bump": 0.02,
    "skipped": 0.03,
    "doubled": 0.03,
    "lost minus": 0.04,
    "decimal slip": 0.02,
    "wrong unit": 0.02,
}
"""Invented shares of the blades that come in with each fault; the others have none."""

SERVICED = ("seat", "bend", "saddle")
"""Faults of the blade, which service takes away; the others are mistakes, read again."""

_SIZES = ((24, 250), (40, 254), (48, 216), (54, 160), (60, 300), (72, 254), (80, 300), (96, 350))
_TIRS = {"seat": (15, 40), "lost minus": (8, 12), "decimal slip": (8, 12)}
_LAST = 10_000
_NONE = "none"


@dataclass(frozen=True, eq=False)
class ShopVisit:
    """One blade measured on one day.

    Attributes
    ----------
    day : int
        Working day, from 1.
    job : {"in", "out"}
        As it came in, or after service (after a mistake: read again).
    fault : str
        What was planted, a key of `SHARES`; ``none`` otherwise.
    marked : bool
        Whether tooth 1 is marked for good. If not, another tooth is the first after service.
    made : SimulatedSet
    """

    day: int
    job: str
    fault: str
    marked: bool
    made: SimulatedSet

    @property
    def blade(self) -> str:
        """Name of the blade."""
        return self.made.key.blade.name


@dataclass(frozen=True, eq=False)
class SimulatedShop:
    """Records of an invented shop; no two visits of a day are of the same blade.

    Attributes
    ----------
    visits : tuple of ShopVisit
        Day by day.
    """

    visits: tuple[ShopVisit, ...]

    def to_frame(self, day: int | None = None) -> pd.DataFrame:
        """Return what was written, of one day or of all, one row a reading.

        A table that `read_blades` takes if it is of one day; ``day`` and ``came`` (in
        or out) are notes.
        """
        import pandas as pd

        chosen = [one for one in self.visits if day is None or one.day == day]
        if not chosen:
            raise refuse(f"no blade was measured on day {day}", "name another day", value=day)
        frames = []
        for visit in chosen:
            frame = visit.made.to_frame()
            frame.insert(1, "day", visit.day)
            frame.insert(2, "came", visit.job)
            frames.append(frame)
        return pd.concat(frames, ignore_index=True)

    def keys_frame(self) -> pd.DataFrame:
        """Return the answer key, one row a visit."""
        import pandas as pd

        return pd.DataFrame(
            [
                {"day": one.day, "job": one.job, "fault": one.fault, "marked": one.marked}
                | one.made.key.to_dict()
                for one in self.visits
            ]
        )


@checked
def simulate_shop(
    days: int = 22,
    blades_a_day: int = 12,
    *,
    rng: np.random.Generator | int,
    unit: str = "mm",
    shares: Mapping[str, float] | None = None,
    back: float = 0.6,
) -> SimulatedShop:
    """Invent the records of a sharpening shop: blades, faults, slips, and visits after service.

    Sizes, shares and heights are invented; nothing is measured. A blade without a fault wobbles by
    2 to 6 graduations of the dial (8 to 12 where a minus or a point is lost); a dirty seat makes it
    15 to 40; a bend, a saddle, gum and a bump are 6 to 20 high. Service leaves a tenth of a bend or
    a saddle, and a wobble of 1 to 4.

    Parameters
    ----------
    days : int
    blades_a_day : int
        How many come in each day; those measured again are added to it.
    rng : numpy.random.Generator or int
    unit : {"mm", "in", "thou", "um"}
        Of the readings.
    shares : dict of str to float, optional
        Fault -> share of the blades that come in with it; `SHARES` if not given.
    back : float
        Share of the blades with a fault that are measured again one to three days later, if there
        are so many days.

    Returns
    -------
    SimulatedShop

    Raises
    ------
    RefusedError
        If such a shop is not possible.
    """
    days = count("days", days, 1, 1000)
    incoming = count("blades_a_day", blades_a_day, 1, 1000)
    if days * incoming > _LAST:
        raise refuse(
            f"{days * incoming} blades come in", f"ask for {_LAST} at most", value=days * incoming
        )
    if unit not in MM_PER:
        raise refuse(f"unit is {unit!r}", f"write one of {', '.join(MM_PER)}", column="unit")
    if number("back", back, least=0) > 1:
        raise refuse(f"back is {back:g}", "give a share from 0 to 1", value=back, column="back")
    faults, weights = _weights(SHARES if shares is None else shares)
    draw = streams(rng)[0]
    names = [f"K-{drawn:04d}" for drawn in draw.permutation(_LAST)[: days * incoming]]
    visits: list[ShopVisit] = []
    for place, name in enumerate(names):
        day = place // incoming + 1
        fault = faults[int(draw.choice(len(faults), p=weights))]
        teeth, diameter = _SIZES[int(draw.integers(len(_SIZES)))]
        blade = Blade(teeth, diameter=(float(diameter), "mm"), name=name)
        marked = bool(draw.random() < 0.5)
        hidden = _drawn(fault, blade, unit, draw)
        visits.append(ShopVisit(day, "in", fault, marked, _read(blade, unit, hidden, fault, draw)))
        later = day + int(draw.integers(1, 4))
        if draw.random() < back and fault != _NONE and later <= days:
            if fault in SERVICED:
                hidden = _serviced(hidden, unit, draw)
            first = 1 if marked else int(draw.integers(1, teeth + 1))
            again = _read(blade, unit, _renumbered(hidden, blade, first), _NONE, draw)
            visits.append(ShopVisit(later, "out", _NONE, marked, again))
    return SimulatedShop(tuple(sorted(visits, key=lambda one: one.day)))


def _weights(shares: Mapping[str, float]) -> tuple[list[str], list[float]]:
    if unknown := [fault for fault in shares if fault not in SHARES]:
        raise refuse(f"shares names {unknown[0]!r}", f"name {', '.join(SHARES)}", column="shares")
    given = {fault: number(f"share of {fault}", share, least=0) for fault, share in shares.items()}
    whole = math.fsum(given.values())
    if whole > 1 + 1e-9:
        raise refuse(f"the shares add up to {whole:g}", "let them add up to 1 at most")
    return [_NONE, *given], [max(0.0, 1 - whole), *given.values()]


def _drawn(fault: str, blade: Blade, unit: str, draw: np.random.Generator) -> list[Any]:
    """Return what is hidden in a blade."""
    step = DIAL[unit]
    tir = draw.uniform(*_TIRS.get(fault, (2, 6))) * step
    hidden: list[Any] = [Tilt((tir, unit), 360 * draw.random())]
    height = draw.uniform(6, 20) * step
    if fault == "bend":
        first, run = int(draw.integers(1, blade.teeth + 1)), int(draw.integers(5, 9))
        last = (first + run - 2) % blade.teeth + 1
        up = draw.random() < 0.5
        hidden.append(LocalBend(first, last, (height if up else -height, unit)))
    if fault == "saddle":
        hidden.append(Saddle((height, unit), 180 * draw.random()))
    return hidden


def _serviced(hidden: list[Any], unit: str, draw: np.random.Generator) -> list[Any]:
    # Cleaned and mounted again, the blade sits as it happens to sit.
    after: list[Any] = [Tilt((draw.uniform(1, 4) * DIAL[unit], unit), 360 * draw.random())]
    for one in hidden:
        match one:
            case LocalBend(first, last, (height, _)):
                after.append(LocalBend(first, last, (height / 10, unit)))
            case Saddle((height, _), crest_deg):
                after.append(Saddle((height / 10, unit), crest_deg))
    return after


def _renumbered(hidden: list[Any], blade: Blade, first: int) -> list[Any]:
    """Return the same blade with another tooth counted as the first."""
    back, after = blade.angle_of(first), list[Any]()
    for one in hidden:
        match one:
            case Tilt(tir, near_deg) if near_deg is not None:
                after.append(Tilt(tir, near_deg - back))
            case LocalBend(start, end, height):
                ends = [(tooth - first) % blade.teeth + 1 for tooth in (start, end)]
                after.append(LocalBend(ends[0], ends[1], height))
            case Saddle(crest, crest_deg) if crest_deg is not None:
                after.append(Saddle(crest, crest_deg - back))
    return after


def _read(
    blade: Blade, unit: str, hidden: list[Any], fault: str, draw: np.random.Generator
) -> SimulatedSet:
    seed = int(draw.integers(2**32))
    step, teeth = DIAL[unit], blade.teeth

    def made(*slip: Any) -> Simulated:
        # The seed alone decides noise and seat, so that the slip is all that is added.
        return simulate(blade, rng=seed, unit=unit, faults=[*hidden, *slip])

    def low_tooth() -> int:
        """Return a tooth of the lowest quarter: there is a minus to lose."""
        lowest = np.argsort(made().written[:teeth], kind="stable")[: teeth // 4]
        return int(draw.choice(lowest)) + 1

    at, height = int(draw.integers(2, teeth + 1)), (draw.uniform(6, 20) * step, unit)
    slips: dict[str, Callable[[], Any]] = {
        "gum": lambda: Gum(at, height),
        "bump": lambda: Bump(int(draw.integers(teeth // 4, 3 * teeth // 4)), height),
        "skipped": lambda: Skipped(at),
        "doubled": lambda: Doubled(at),
        "lost minus": lambda: LostMinus(low_tooth()),
        "decimal slip": lambda: DecimalSlip(low_tooth(), 10.0 if draw.random() < 0.5 else 0.1),
        "wrong unit": lambda: UnitSlip(0, "mm" if unit in ("in", "thou") else "in"),
    }
    return made(*([slips[fault]()] if fault in slips else [])).sets[0]
