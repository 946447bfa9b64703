"""Mountings of blades on one arbor: what was measured, and the least squares that parts it."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

_MOST_STEPS = 200


class Mounted(NamedTuple):
    """Fits of n mountings in one unit, with leading dimensions (...) for cases.

    Attributes
    ----------
    measured : complex ndarray, shape (..., n)
        One wobble vector a mounting.
    covariance : ndarray, shape (..., n, 2, 2)
        Of the real and the imaginary part of each, with the rounding that does not average out.
    dof : ndarray, shape (n,)
    """

    measured: Complexes
    covariance: Floats
    dof: Floats = np.asarray(np.inf)


class Solved(NamedTuple):
    """What weighted least squares makes of n mountings.

    Attributes
    ----------
    values : ndarray, shape (..., p)
    covariance : ndarray, shape (..., p, p)
        The doubt of the fits and the seating variance together.
    share : ndarray, shape (..., p, 2 n)
        What each part of each mounting adds to each value.
    left : complex ndarray, shape (..., n)
        What the values do not explain.
    """

    values: Floats
    covariance: Floats
    share: Floats
    left: Complexes


class Mountings:
    """Wobble vectors, and the unknowns that should explain them.

    Parameters
    ----------
    given : Mounted
    design : ndarray, shape (2 n, p)
        What each unknown adds to the two parts of each mounting.
    """

    def __init__(self, given: Mounted, design: Floats) -> None:
        measured, covariance, _ = self.given = given
        # Whatever the unit, the squares of squares below stay within what a number can hold.
        self._scale = float(np.sqrt(np.trace(covariance, axis1=-2, axis2=-1).max()))
        size, self._axes = np.linalg.eigh(covariance / self._scale**2)
        self._size = np.maximum(size, 1e-12).reshape(*size.shape[:-2], -1)
        self.count, self.unknowns = len(design) // 2, int(design.shape[1])
        back = np.swapaxes(self._axes, -1, -2)
        turned = back @ design.reshape(self.count, 2, self.unknowns)
        self._design = turned.reshape(*turned.shape[:-3], *design.shape)
        parts = np.stack([measured.real, measured.imag], axis=-1)[..., np.newaxis] / self._scale
        self._parts: Floats = (back @ parts).reshape(*measured.shape[:-1], -1)

    @property
    def dof(self) -> int:
        """How many parts are measured beyond those that the unknowns need."""
        return 2 * self.count - self.unknowns

    def chi_square(self, seating_variance: Floats | float = 0.0) -> Floats:
        """Return what is left, squared, over the fits' own variance and that of the seating."""
        weight = self._weight(seating_variance)
        total: Floats = np.sum(weight * self._left(weight) ** 2, axis=-1)
        return total

    def seating_variance(self, chi_square: float) -> Floats:
        """Return the seating variance that brings `chi_square` down to a value; 0 where it is.

        With the degrees of freedom as the value this is the moment estimate of Paule and Mandel
        (1982, J. Res. NBS 87:377-385); with quantiles of the chi-square law, its confidence
        limits. The reciprocal of chi-square is a concave function of the variance, so that
        Newton's steps from 0 never overshoot.

        Returns
        -------
        ndarray, shape (...)
            Of one component.
        """
        variance = np.zeros(self._parts.shape[:-1])
        for _ in range(_MOST_STEPS):
            weight = 1 / (self._size + variance[..., np.newaxis])
            left = self._left(weight)
            found = np.sum(weight * left**2, axis=-1)
            slope = np.sum((weight * left) ** 2, axis=-1)
            step = found * (found / chi_square - 1) / np.maximum(slope, 1e-300)
            step = np.where(found > chi_square, step, 0.0)
            variance = variance + step
            if np.all(step <= 1e-12 * variance):
                break
        scaled: Floats = variance * self._scale**2
        return scaled

    def solved(self, seating_variance: Floats | float) -> Solved:
        """Return the unknowns with their covariance, the seating's variance being given."""
        weight = self._weight(seating_variance)
        weighed = self._weighed(weight)
        share = np.asarray(np.linalg.solve(weighed @ self._design, weighed), dtype=np.float64)
        values = (share @ self._parts[..., np.newaxis])[..., 0]
        apart = self._parts - (self._design @ values[..., np.newaxis])[..., 0]
        covariance = (share / weight[..., np.newaxis, :]) @ np.swapaxes(share, -1, -2)
        pairs = share.reshape(*share.shape[:-1], self.count, 1, 2)
        back = pairs @ np.swapaxes(self._axes, -1, -2)[..., np.newaxis, :, :, :]
        turned = self._axes @ apart.reshape(*apart.shape[:-1], self.count, 2, 1)
        parts = turned[..., 0] * self._scale
        left: Complexes = parts[..., 0] + 1j * parts[..., 1]
        return Solved(
            values=values * self._scale,
            covariance=(covariance + np.swapaxes(covariance, -1, -2)) / 2 * self._scale**2,
            share=back.reshape(share.shape),
            left=left,
        )

    def seating(self) -> tuple[float, float, float] | None:
        """Return how a blade seats from one mounting to the next: one component's scatter.

        With its 95 % limits, by the quantiles of chi-square: Viechtbauer's Q profile (2007, Stat.
        Med. 26:37-52, from memory). None where nothing is left over to show it.
        """
        if not self.dof:
            return None
        sd, low, high = (
            math.sqrt(float(self.seating_variance(float(one))))
            for one in (self.dof, *special.chdtri(self.dof, [0.025, 0.975]))
        )
        return sd, low, high

    def dof_of(self, seating_variance: Floats, share: Floats) -> Floats:
        """Return the degrees of freedom that Student's t needs for limits with the stated coverage.

        Where what is left over shows a seating scatter, its own. Where it shows none, the doubt of
        the fits stands as a floor, and n degrees left over count as n^2 / 2 + 1: found numerically,
        the most with which no seating scatter, hidden by luck or not, lets limits of one or of two
        components cover less than 94.9 % (n = 2 to 40, fits of equal circular doubt). Where nothing
        is left over, those of the fits, after Welch and Satterthwaite (GUM G.4.1).

        The share, shape (..., q, 2 n), is of the values whose doubt is asked for; see `Solved`.
        """
        pairs = share.reshape(*share.shape[:-1], self.count, 2)
        parts = np.einsum("...qnj,...njk,...qnk->...n", pairs, self.given.covariance, pairs)
        parts = parts / parts.sum(axis=-1, keepdims=True)
        of_fits: Floats = np.asarray(1 / np.sum(parts**2 / self.given.dof, axis=-1))
        if not self.dof:
            return of_fits
        floor = np.minimum(self.dof**2 / 2 + 1, np.maximum(self.dof, of_fits))
        found: Floats = np.where(seating_variance > 0, self.dof, floor)
        return found

    def lack_of_fit(self, repeats: Mountings) -> tuple[Floats, Floats]:
        """Return chi-square of what the model leaves beyond the repeats, and its chance.

        The repeats are the same mountings with a wobble of its own for every place.
        """
        seating = repeats.seating_variance(repeats.dof) if repeats.dof else np.zeros(())
        chi_square = self.chi_square(seating) - repeats.chi_square(seating)
        sure = repeats.dof_of(seating, repeats.solved(seating).share)
        free = self.dof - repeats.dof
        p_value = np.asarray(special.fdtrc(free, sure, chi_square / free), dtype=np.float64)
        return chi_square, p_value

    def _weight(self, seating_variance: Floats | float) -> Floats:
        variance = np.asarray(seating_variance, dtype=np.float64) / self._scale**2
        weight: Floats = 1 / (self._size + variance[..., np.newaxis])
        return weight

    def _weighed(self, weight: Floats) -> Floats:
        return np.swapaxes(self._design * weight[..., np.newaxis], -1, -2)

    def _left(self, weight: Floats) -> Floats:
        """Return what weighted least squares leaves of the parts."""
        weighed = self._weighed(weight)
        values = np.linalg.solve(weighed @ self._design, weighed @ self._parts[..., np.newaxis])
        left: Floats = self._parts - (self._design @ values)[..., 0]
        return left


def arbor_design(
    clock_deg: Floats, blade: NDArray[np.int64], reach: Floats | float = 1.0
) -> Floats:
    """Return the design of blades on one arbor: M = B + reach F exp(-i clock).

    For each mounting, which blade it is of, from 0, and its ring radius over the one for which F is
    asked. Unknowns are real and imaginary part of each blade's wobble, then of the flange's: shape
    (2 n, 2 blades + 2).
    """
    count = int(blade.max()) + 1
    cosine, sine = reach * np.cos(np.radians(clock_deg)), reach * np.sin(np.radians(clock_deg))
    design = np.zeros((len(blade), 2, 2 * count + 2))
    at = np.arange(len(blade))
    design[at, 0, 2 * blade] = 1.0
    design[at, 1, 2 * blade + 1] = 1.0
    design[:, 0, -2], design[:, 0, -1] = cosine, sine
    design[:, 1, -2], design[:, 1, -1] = -sine, cosine
    return design.reshape(2 * len(blade), -1)


def repeats_design(place: NDArray[np.int64]) -> Floats:
    """Return the design in which every place (blade and clock position) has a wobble of its own."""
    return np.asarray(np.kron(np.eye(int(place.max()) + 1)[place], np.eye(2)), dtype=np.float64)
