"""What bends of the plate put into the wobble where teeth are not read.

With every tooth read, or every so manieth all round, bends of two and three waves a turn are square
to the wobble; through an arc that is not read they leak into it. How large they are is told by what
the fit leaves of the readings at the teeth that are read.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.kernel.stack import Fits, Stack

Floats = NDArray[np.float64]

BENDS = (2, 3)
"""Waves a turn of the bends that are reckoned with: those by which plates are usually bent."""

_WIDE_RATIO = 1.05
_FEW_SPOTS = 12
_UNSEEN = 1e-3


class Leak(NamedTuple):
    """What bends may put into the wobble: its covariance, shape (2, 2), and degrees of freedom."""

    covariance: Floats
    dof: int


def leak_of(
    columns: Floats, wobble: slice, bends: Floats, left: Floats, unit: Floats, floor: float
) -> Leak | None:
    """Return what bends leak into a fit; None where that is no more than its scatter says already.

    What is left of the readings is taken for bends of two waves, for bends of three, and for both
    alike in size all round; that which leaks most is held. Where scatter that is all bends would
    leak less than it makes as chance, the limits of the scatter alone hold, as simulation shows.

    Parameters
    ----------
    columns : ndarray, shape (n, p)
        Of the fit; those of the wobble are `wobble`.
    bends : ndarray, shape (n, q)
        Two columns for each of `BENDS` that is not in the fit.
    left : ndarray, shape (n,)
        What the fit leaves of the readings.
    unit : ndarray, shape (2, 2)
        Covariance of the wobble for readings of variance 1.
    floor : float
        Variance that rounding hides in what is left.
    """
    q, r = np.linalg.qr(columns)
    along = q.T @ bends
    into, beyond = np.linalg.solve(r, along)[wobble], bends - q @ along
    dof, most, found = len(left) - columns.shape[1], False, []
    for own in _kinds(bends.shape[1]):
        ways = into[:, own] @ into[:, own].T
        basis, size, _ = np.linalg.svd(beyond[:, own], full_matrices=False)
        basis = basis[:, size > _UNSEEN * math.sqrt(len(left) / 2)]
        if told := basis.shape[1]:
            share = float(np.sum(size**2))
            most |= bool(_more(ways, unit, share, dof))
            bent = (float(np.sum((basis.T @ left) ** 2)) + told * floor) / share
            found.append(Leak(bent * ways, min(told, dof)))
    return max(found, key=lambda one: float(np.trace(one.covariance))) if most else None


def _kinds(columns: int) -> list[slice]:
    """Return the columns of each order of bends, and of all of them."""
    each = [slice(at, at + 2) for at in range(0, columns, 2)]
    return [*each, slice(0, columns)] if len(each) > 1 else each


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
        for own in _kinds(2 * len(BENDS)):
            ways = into[:, :, own] @ np.swapaxes(into[:, :, own], 1, 2)
            share = np.trace(beyond[:, own, own], axis1=1, axis2=2)
            found[some] |= _more(ways, unit, share, plan.dof[some])
    return found


def _more(
    into: Floats, unit: Floats, share: float | Floats, dof: float | Floats
) -> NDArray[np.bool_]:
    """Return whether scatter that is all bends leaks more than scatter that is all chance."""
    leaks, chance = (np.linalg.eigvalsh(one)[..., -1] for one in (ways, unit))
    more: NDArray[np.bool_] = leaks * dof > chance * share
    return more
