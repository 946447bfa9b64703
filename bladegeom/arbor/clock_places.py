"""Clock positions of a blade on its arbor: as teeth at its mark, and those to measure next."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.angles import wrap_180
from bladegeom.arbor.arbor import ArborFit
from bladegeom.arbor.clock_limits import Limited, next_limits
from bladegeom.arbor.mountings import arbor_design
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]

_NEXT = 3
_AT_THE_MARK_DEG = 0.5


def tooth_at_mark(arbor: ArborFit, at: int) -> int | None:
    """Return the tooth at the arbor's mark in a mounting; None where it is between teeth."""
    away = -float(arbor.clock_deg[at])
    tooth = arbor.blade.nearest_tooth(away)
    off = wrap_180(arbor.blade.angle_of(tooth) - away)
    return tooth if abs(off) < _AT_THE_MARK_DEG else None


def place_words(arbor: ArborFit, at: int) -> str:
    """Return in words how a mounting stood on the arbor."""
    tooth = tooth_at_mark(arbor, at)
    if tooth is None:
        return f"tooth 1 {arbor.clock_deg[at]:.4g} deg past the mark"
    return f"tooth {tooth} at the mark"


def tir_limits(arbor: ArborFit, clock_deg: ArrayLike) -> tuple[Floats, Floats]:
    """Return the 95 % limits of the wobble TIR that one new mounting will show.

    Its seating scatter and the scatter of its readings are counted together, as one mounting's
    variance: the seating alone, where it is no larger than the other, is too little known.

    Parameters
    ----------
    arbor : ArborFit
    clock_deg : array_like, shape (n,)

    Returns
    -------
    low, high : ndarray, shape (n,)
        NaN where the seating is not known.
    """
    clock = np.atleast_1d(np.asarray(clock_deg, dtype=np.float64))
    sd = np.sqrt(np.linalg.eigvalsh(_doubt_of_sum(arbor, clock))[..., -1] + _new_variance(arbor))
    low, high = next_limits(np.abs(arbor.at(clock)), sd, arbor.dof)
    return 2 * low, 2 * high


def new_mounting(arbor: ArborFit, clock_deg: float) -> Wobble:
    """Return the wobble to expect of one new mounting, with the doubt of its own seating.

    See `tir_limits`.
    """
    doubt = _doubt_of_sum(arbor, np.array([clock_deg]))[0] + _new_variance(arbor) * np.eye(2)
    return Wobble(complex(arbor.at(clock_deg)), doubt, arbor.dof)


def measured_tir(arbor: ArborFit) -> Limited:
    """Return the wobble TIR of the last mounting as it sits: only its readings are in doubt."""
    reading = math.sqrt(max(0.0, _variance(arbor) - (arbor.seating_sd or 0.0) ** 2))
    amplitude = float(abs(arbor.measured[-1]))
    low, high = next_limits(amplitude, reading, arbor.dof)
    return Limited(2 * amplitude, 2 * float(low), 2 * float(high))


def _new_variance(arbor: ArborFit) -> float:
    return math.nan if arbor.seating_sd is None else _variance(arbor)


def _variance(arbor: ArborFit) -> float:
    """Return the variance of either component of one mounting, its readings and its seating.

    Least squares of mountings that are equally well known has the covariance
    ``variance (X'X)^-1``.
    """
    return float(np.trace(arbor.covariance) / np.trace(_inverse(_information(arbor))))


def _doubt_of_sum(arbor: ArborFit, clock_deg: Floats) -> Floats:
    """Return the covariance of blade and flange together at clock positions, shape (n, 2, 2)."""
    seen = _seen(clock_deg)
    doubt: Floats = seen @ arbor.covariance @ np.swapaxes(seen, -1, -2)
    return doubt


def _seen(clock_deg: Floats) -> Floats:
    """Return what blade and flange add to the wobble at clock positions, shape (n, 2, 4)."""
    return arbor_design(clock_deg, np.zeros(len(clock_deg), dtype=np.int64)).reshape(-1, 2, 4)


def _information(arbor: ArborFit) -> Floats:
    seen = _seen(arbor.clock_deg)
    total: Floats = np.einsum("nij,nik->jk", seen, seen)
    return total


def _inverse(information: Floats) -> Floats:
    return np.asarray(np.linalg.inv(information), dtype=np.float64)


def next_teeth(arbor: ArborFit, best: int) -> tuple[tuple[int, ...], tuple[float, ...]]:
    """Choose teeth for further mountings, one after the other, as well known as those made.

    Minimised is the summed variance of blade and flange; among equals that of the wobble at the
    best tooth.
    """
    seen = _seen(-arbor.blade.angles_deg)
    each = np.swapaxes(seen, -1, -2) @ seen
    held = _information(arbor)
    today = float(np.trace(_inverse(held)))
    chosen, shares = [], []
    for _ in range(_NEXT):
        covariance = _inverse(held + each)
        total = np.trace(covariance, axis1=-2, axis2=-1)
        left = seen[best - 1] @ covariance @ seen[best - 1].T
        goal = total + 1e-6 * np.trace(left, axis1=-2, axis2=-1)
        at = int(np.flatnonzero(goal <= goal.min() * (1 + 1e-9))[0])
        chosen.append(at + 1)
        shares.append(math.sqrt(float(total[at]) / today))
        held = held + each[at]
    return tuple(chosen), tuple(shares)
