"""What bends of the plate put into the wobble where teeth are not read.

With every tooth read, or every so manieth all round, bends of two and three waves a turn are square
to the wobble; through an arc that is not read they leak into it. How large they are is told by what
the fit leaves of the readings at the teeth that are read.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.kernel.stack import Fits, Stack

Floats = NDArray[np.float64]

BENDS = (2, 3)
"""Waves a turn of the bends that are reckoned with: those by which plates are usually bent."""

_MATTERS = 1.5
"""A leak of less, over what the scatter makes as chance, leaves its limits true: 95 % and more."""

_WIDE_RATIO = 1.02
_FEW_SPOTS = 12
_UNSEEN = 1e-3


class Leak(NamedTuple):
    """What bends of some orders may put into the wobble.

    Its covariance has the shape (2, 2); `variance` is that of the bends' parts, at the crest.
    """

    covariance: Floats
    dof: int
    variance: float
    orders: tuple[int, ...]


def leak_of(
    columns: Floats,
    wobble: slice,
    angle: Floats,
    orders: Sequence[int],
    left: Floats,
    unit: Floats,
    floor: float,
) -> Leak | None:
    """Return what bends leak into a fit; None where that is no more than its scatter says already.

    What is left of the readings is taken for bends of two waves, for bends of three, and for both
    alike in size all round; that which leaks most is held. Where scatter that is all bends would
    leak hardly more than it makes as chance, the limits of the scatter alone hold, as simulation
    shows.

    Parameters
    ----------
    columns : ndarray, shape (n, p)
        Of the fit; those of the wobble are `wobble`.
    angle : ndarray, shape (n,)
        Blade angles in radians.
    orders : sequence of int
        Waves that are in the fit.
    left : ndarray, shape (n,)
        What the fit leaves of the readings.
    unit : ndarray, shape (2, 2)
        Covariance of the wobble for readings of variance 1.
    floor : float
        Variance that rounding hides in what is left.
    """
    dof, most, found = len(left) - columns.shape[1], False, []
    for waves in _kinds([one for one in BENDS if one not in orders]):
        into, beyond = _into(columns, wobble, angle, waves)
        ways = into @ into.T
        basis, size, _ = np.linalg.svd(beyond, full_matrices=False)
        basis = basis[:, size > _UNSEEN * math.sqrt(len(left) / 2)]
        if told := basis.shape[1]:
            share = float(np.sum(size**2))
            most |= bool(_more(ways, unit, share, dof))
            bent = (float(np.sum((basis.T @ left) ** 2)) + told * floor) / share
            found.append(Leak(bent * ways, min(told, dof), bent, tuple(waves)))
    return max(found, key=lambda one: float(np.trace(one.covariance))) if most else None


def leaked(leak: Leak, columns: Floats, wobble: slice, angle: Floats) -> Leak:
    """Return what the same bends leak into a fit of other readings."""
    into, _ = _into(columns, wobble, angle, leak.orders)
    return leak._replace(covariance=leak.variance * (into @ into.T))


def _into(
    columns: Floats, wobble: slice, angle: Floats, orders: Sequence[int]
) -> tuple[Floats, Floats]:
    """Return what bends of size 1 put into the wobble, and what the columns leave of them."""
    bends = harmonic_columns(angle, orders)[:, 1:]
    q, r = np.linalg.qr(columns)
    along = q.T @ bends
    return np.linalg.solve(r, along)[wobble], bends - q @ along


def _kinds(orders: Sequence[int]) -> list[Sequence[int]]:
    """Return each order of bends, and all of them."""
    return [[one] for one in orders] + ([orders] if len(orders) > 1 else [])


def with_leak(covariance: Floats, dof: int, leak: Leak | None) -> tuple[Floats, int]:
    """Return the covariance of scatter and leak together, and its degrees of freedom.

    These are Welch's for the sum of both parts' variances, rounded down (GUM G.4.1).
    """
    if leak is None or not np.isfinite(covariance).all():
        return covariance, dof
    scatter, bent = float(np.trace(covariance)), float(np.trace(leak.covariance))
    whole = (scatter + bent) ** 2 / (scatter**2 / dof + bent**2 / leak.dof)
    return covariance + leak.covariance, max(1, int(whole + 1e-9))


def leaks_of(stack: Stack, fits: Fits) -> NDArray[np.bool_]:
    """Return for which blades of a stack bends leak more than the scatter says, shape (n,)."""
    plan = fits.plan
    found = np.zeros(len(fits.a), dtype=np.bool_)
    if stack.there is None:
        return found
    wide = (plan.ratio > _WIDE_RATIO) | (plan.spots_read < _FEW_SPOTS)
    some = np.flatnonzero(wide & (plan.dof >= 1) & np.isfinite(plan.ratio))
    if len(some):
        there = stack.there[:, :, some]
        waves = harmonic_columns(stack.spots.angle, (1, *BENDS)).T[1:]
        means = np.einsum("it,ktn->kin", waves, there)
        squares = np.einsum("it,jt,ktn->nij", waves, waves, there)
        squares -= np.einsum("kin,kjn,kn->nij", means, means, 1 / plan.in_turn[:, some])
        unit = np.linalg.inv(squares[:, :2, :2])
        into = unit @ squares[:, :2, 2:]
        beyond = squares[:, 2:, 2:] - np.swapaxes(squares[:, :2, 2:], 1, 2) @ into
        for orders in _kinds(BENDS):
            own = slice(2 * BENDS.index(orders[0]), 2 * BENDS.index(orders[-1]) + 2)
            ways = into[:, :, own] @ np.swapaxes(into[:, :, own], 1, 2)
            share = np.trace(beyond[:, own, own], axis1=1, axis2=2)
            seen = share > _UNSEEN**2 * plan.readings[some] / 2
            found[some] |= seen & _more(ways, unit, share, plan.dof[some])
    return found


def _more(ways: Floats, unit: Floats, share: Any, dof: Any) -> NDArray[np.bool_]:
    """Return whether scatter that is all bends leaks more variance than such chance, and a half."""
    leaks, chance = (
        (one[..., 0, 0] + one[..., 1, 1]) / 2
        + np.hypot((one[..., 0, 0] - one[..., 1, 1]) / 2, one[..., 0, 1])
        for one in (ways, unit)
    )
    more: NDArray[np.bool_] = leaks * dof > _MATTERS * chance * share
    return more
