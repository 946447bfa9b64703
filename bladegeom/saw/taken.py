"""Measurements as they are taken on the saw: checked, compared, and told in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bladegeom.estimate import Estimate, combined, scatter_of
from bladegeom.faults import refuse
from bladegeom.lengths import MM_PER, one_length_mm
from bladegeom.result import number

Floats = NDArray[np.float64]
State = Literal["move", "wait", "leave", "read again"]

NOT_TOLD = "no error can be told from the doubt of the readings"
DOUBT_UNKNOWN = "How sure this is cannot be told: read again, or give the graduation of the gauge."


def told(estimate: Estimate) -> bool:
    """Return whether a value is more than its 95 % doubt; one without a doubt is taken as it is."""
    return estimate.value != 0 and not abs(estimate.value) <= estimate.reach


def state_of(estimate: Estimate, verdict: str | None) -> State:
    """Return what is to be done about a part that is off by so much.

    Nothing is moved where nothing tells the doubt. Where the verdict cannot be told, it is moved
    only if that brings it nearer for sure: if what is left, the doubt, is less than the least that
    it is off by now.
    """
    if not math.isfinite(estimate.u):
        return "read again"
    if verdict == "within":
        return "leave"
    if verdict == "cannot tell":
        return "move" if abs(estimate.value) > 2 * estimate.reach else "read again"
    return "move" if told(estimate) else "leave"


def size(estimate: Estimate, unit: str) -> str:
    """Return an amount without its sign, rounded to its doubt, for words that say the way."""
    return f"{number(abs(estimate.value), estimate.u)} {unit}"


def angle_over(rise: Estimate, run: float) -> Estimate:
    """Return ``atan(rise / run)`` in degrees, its doubt by the first derivative (GUM 5.1.2)."""
    slope = rise.value / run
    per_rise = math.degrees(1 / (run * (1 + slope**2)))
    return Estimate(math.degrees(math.atan(slope)), per_rise * rise.u, rise.dof)


def difference_of(first: Floats, second: Floats, graduation: float | None) -> Estimate:
    """Return the mean of repeats of one thing less that of another, read with the same gauge.

    The scatter is pooled over both; rounding is added to each as `mean_of` adds it to one.

    Parameters
    ----------
    first, second : ndarray, shape (n,), (m,)
    graduation : float, optional

    Returns
    -------
    Estimate
    """
    sd, dof = scatter_of(first, second)
    parts: list[tuple[float, float]] = []
    if dof:
        parts.append((sd * math.sqrt(1 / len(first) + 1 / len(second)), dof))
    if graduation is not None and not sd >= graduation / 2:
        parts.append((graduation / math.sqrt(6), math.inf))
    value = float(first.mean() - second.mean())
    if not parts or (graduation is None and sd == 0):
        return Estimate(value, math.nan)
    return Estimate(value, *combined(parts))


def needed_mm(what: str, given: Mapping[str, float | None]) -> float:
    """Return in millimetres a length that must be stated (unit -> value).

    Raises
    ------
    RefusedError
        If it is not stated once, or not a length above 0.
    """
    length = one_length_mm(what, given)
    if length is None:
        names = " or ".join(f"{what}_{unit}" for unit in given)
        raise refuse(f"{what} is not given", f"give {names}", column=what)
    return length


def none_below(what: str, values: Floats, unit: str, *, or_zero: bool = False) -> None:
    """Refuse lengths, in millimetres, that are not above 0 (or not 0 either).

    Raises
    ------
    RefusedError
    """
    for place, value in enumerate(values / MM_PER[unit], start=1):
        if value < 0 or (value == 0 and not or_zero):
            raise refuse(
                f"value {place} of {what}_{unit} is {value:g}",
                f"give a length above 0{', or 0' if or_zero else ''}",
                value=value,
                column=what,
            )


def one_of(what: str, value: object, known: Sequence[str]) -> None:
    """Refuse what is none of the words known.

    Raises
    ------
    RefusedError
    """
    if value not in known:
        problem = f"{what} is not given" if value is None else f"{what} is {value!r}"
        raise refuse(problem, f"give {' or '.join(known)}", value=value, column=what)
