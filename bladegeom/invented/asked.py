"""What a simulation is asked for: checked, and refused in plain words."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from bladegeom.faults import refuse
from bladegeom.lengths import LARGEST


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


def size(what: str, value: Any, least: float = -math.inf) -> float:
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


def numbers(what: str, values: ArrayLike, count_of: int | None = None) -> list[float]:
    """Return a list of numbers that was asked for; one number stands for each of `count_of`.

    Raises
    ------
    RefusedError
    """
    single = np.ndim(values) == 0
    given: list[Any] = [values] if single else list(np.asarray(values, dtype=object))
    if count_of is not None and single:
        given *= count_of
    if not given or (count_of is not None and len(given) != count_of):
        needed = "one number at least" if count_of is None else f"one number, or {count_of}"
        raise refuse(
            f"{what} holds {len(given)} numbers", f"give {needed}", value=len(given), column=what
        )
    return [size(what, value) for value in given]


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


def parts_of(what: str, given: Any, names: str) -> tuple[Any, ...]:
    """Return a request of several values, such as (tooth, height).

    Raises
    ------
    RefusedError
    """
    if not isinstance(given, (tuple, list)) or len(given) != len(names.split(", ")):
        raise refuse(f"{what} is {given!r}", f"give {what}=({names})", value=given, column=what)
    return tuple(given)
