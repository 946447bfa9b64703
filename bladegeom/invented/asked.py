"""What a simulation is asked for: faults as small objects; checked, and refused in plain words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

from bladegeom.faults import refuse
from bladegeom.lengths import LARGEST, Length, convert, with_unit

T = TypeVar("T")


@dataclass(frozen=True)
class Tilt:
    """The blade's own tilt; without one it wobbles by eight graduations of an ordinary dial.

    `tir` is the runout that it shows alone (the ordinary one if not given), `near_deg` the blade
    angle of its nearest spot (drawn if not given).
    """

    tir: Length | None = None
    near_deg: float | None = None


@dataclass(frozen=True)
class Flange:
    """A flange that runs out by `tir`, nearest at `near_deg` from the arbor's mark, or drawn."""

    tir: Length
    near_deg: float | None = None


@dataclass(frozen=True)
class Seating:
    """Scatter from mounting to mounting: standard deviation of each of the two components."""

    sd: Length


@dataclass(frozen=True)
class Dish:
    """A dish, the rim so high over the centre. It shows between rings only."""

    height: Length


@dataclass(frozen=True)
class Saddle:
    """A saddle, so high at the rim where it is highest: at blade angle `crest_deg`, or drawn."""

    crest: Length
    crest_deg: float | None = None


@dataclass(frozen=True)
class LocalBend:
    """A smooth hump over a run of teeth, `height` in the middle, growing with the radius squared.

    The run goes from `first` in the direction of the numbering to `last`, so that `first` may be
    the larger. The height is that at the outermost ring.
    """

    first: int
    last: int
    height: Length


@dataclass(frozen=True)
class Gum:
    """Gum or a burr where that tooth is touched."""

    tooth: int
    height: Length


@dataclass(frozen=True)
class Play:
    """Play of the indicator: its dead band, forward less backward."""

    band: Length


@dataclass(frozen=True)
class Drift:
    """A steady drift in as many readings as the blade has teeth, anew in each set."""

    per_turn: Length


@dataclass(frozen=True)
class Bump:
    """A base that is bumped `after` so many readings: all others of the first set are off."""

    after: int
    height: Length


@dataclass(frozen=True)
class Skipped:
    """A tooth passed over in the first turn. The person stops at tooth 1: a number is missing."""

    tooth: int


@dataclass(frozen=True)
class Doubled:
    """A tooth read twice in the first turn. The person stops at tooth 1: a number too many."""

    tooth: int


@dataclass(frozen=True)
class LostMinus:
    """A tooth whose first reading is written without its minus."""

    tooth: int


@dataclass(frozen=True)
class DecimalSlip:
    """A tooth whose first reading is written `factor` (10, 0.1, 100 ...) times too large."""

    tooth: int
    factor: float


@dataclass(frozen=True)
class UnitSlip:
    """Numbers of the first set that are written in another unit, `after` so many readings."""

    after: int
    unit: str


SEVERAL = (LocalBend, Gum, Bump, LostMinus, DecimalSlip)
"""What has a place of its own, so that there may be several."""

ONCE = (Tilt, Flange, Seating, Dish, Saddle, Play, Drift, Skipped, Doubled, UnitSlip)


class Asked:
    """The faults that were asked for.

    Parameters
    ----------
    faults : sequence
        Of the objects above.
    unit : {"mm", "in", "thou", "um"}
        Of the readings.
    most : float
        In that unit: no height is larger.

    Raises
    ------
    RefusedError
        If one is something else, or is there twice.
    """

    def __init__(self, faults: Sequence[Any], unit: str, most: float) -> None:
        self._faults, self.unit, self._most = faults, unit, most
        known = (*SEVERAL, *ONCE)
        if not isinstance(faults, (list, tuple)):
            raise refuse(f"faults is {faults!r}", "give a list of them", column="faults")
        for one in faults:
            if not isinstance(one, known):
                names = ", ".join(kind.__name__ for kind in known)
                raise refuse(f"{one!r} is no fault", f"use {names}", value=one, column="faults")
        for kind in ONCE:
            if len(self.of(kind)) > 1:
                name = kind.__name__
                raise refuse(f"{name} is there twice", "plant it once", column="faults")

    def of(self, kind: type[T]) -> list[T]:
        """Return the faults of a kind."""
        return [one for one in self._faults if isinstance(one, kind)]

    def one(self, kind: type[T]) -> T | None:
        """Return the fault of a kind of which there is one; None where it is not asked for."""
        return next(iter(self.of(kind)), None)

    def length(self, what: str, given: Any, least: float = -math.inf) -> float:
        """Return a length in the unit of the readings.

        Raises
        ------
        RefusedError
            If it is none, below `least`, or larger than the ring.
        """
        value, unit = with_unit(what, given)
        size = convert(number(what, value, least), unit, self.unit)
        if abs(size) > self._most:
            raise refuse(
                f"{what} is {value:g} {unit}, more than the ring's radius "
                f"({self._most:g} {self.unit})",
                "give a smaller one, and check its unit",
                value=given,
                column=what,
            )
        return size


def streams(rng: np.random.Generator | int) -> list[np.random.Generator]:
    """Return three independent streams of chance: for the blade, its seat and the noise.

    Raises
    ------
    RefusedError
        If `rng` is neither a seed nor a generator.
    """
    seed = isinstance(rng, (int, np.integer)) and not isinstance(rng, bool) and rng >= 0
    if not seed and not isinstance(rng, np.random.Generator):
        raise refuse(
            f"rng is {rng!r}",
            "give a whole number of 0 or more, or numpy.random.default_rng(...)",
            value=rng,
            column="rng",
        )
    return np.random.default_rng(rng).spawn(3)


def number(what: str, value: Any, least: float = -math.inf) -> float:
    """Return a number that was asked for.

    Raises
    ------
    RefusedError
        If it is no number, or below `least`.
    """
    cure = "give a plain number" if least == -math.inf else f"give a number of {least:g} or more"
    fits = isinstance(value, (int, float, np.number)) and not isinstance(value, bool)
    if not fits or not (least <= value and abs(value) <= LARGEST):
        raise refuse(f"{what} is {value!r}", cure, value=value, column=what)
    return float(value)


def numbers(what: str, values: Any, count_of: int | None = None) -> list[float]:
    """Return a list of numbers that was asked for; one number stands for each of `count_of`.

    Raises
    ------
    RefusedError
    """
    single = np.ndim(values) == 0
    given: list[Any] = [values] if single else list(np.asarray(values, dtype=object))
    if count_of is not None and len(given) == 1:
        given *= count_of
    if not given or (count_of is not None and len(given) != count_of):
        needed = "one number at least" if count_of is None else f"one number, or {count_of}"
        raise refuse(
            f"{what} holds {len(given)} numbers", f"give {needed}", value=len(given), column=what
        )
    return [number(what, value) for value in given]


def count(what: str, value: Any, least: int, most: int) -> int:
    """Return a whole number that was asked for.

    Raises
    ------
    RefusedError
    """
    fits = isinstance(value, (int, np.integer)) and not isinstance(value, bool)
    if not fits or not least <= value <= most:
        raise refuse(
            f"{what} is {value!r}",
            f"give a whole number from {least} to {most}",
            value=value,
            column=what,
        )
    return int(value)
