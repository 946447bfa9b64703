"""The least-squares fit of a plate's shape and the doubt of its parameters."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bladegeom.kernel.harmonics import harmonic_columns, least_squares
from bladegeom.plate.plate_design import (
    PlateDesign,
    floor_of,
    hair_of,
    is_coarse,
    order_of,
    power_of,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Solved:
    """What the fit gives for the groups that are in it, whether the plan tells them or not.

    Attributes
    ----------
    names : list of str
    values : ndarray, shape (p,)
    covariance : ndarray, shape (p, p)
    residuals : ndarray, shape (n,)
    parts : dict
        Group -> its fitted part of each reading, shape (n,).
    dof : int
    residual_sd, reading_sd : float
        As those of `PlateFit`.
    """

    names: list[str]
    values: Floats
    covariance: Floats
    residuals: Floats
    parts: dict[str, Floats]
    dof: int
    residual_sd: float
    reading_sd: float


def solve_plate(design: PlateDesign, graduation: float | None) -> Solved:
    """Fit all readings at once by ordinary least squares.

    Parameters
    ----------
    design : PlateDesign
    graduation : float, optional
        The coarsest of the rings', in their unit.

    Returns
    -------
    Solved
    """
    groups = {group: design.columns(group) for group in design.kept}
    columns = np.concatenate([design.aside, *groups.values()], axis=1)
    zero = design.aside[:, : len(design.zeros)]
    middle = zero @ ((zero.T @ design.reading) / zero.sum(axis=0))
    for which in zero.T > 0:  # Readings that are all the same must leave nothing, not dust.
        if np.ptp(design.reading[which]) == 0:
            middle[which] = design.reading[which]
    read = design.reading - middle
    fit = least_squares(columns, read)
    residual_sd = math.sqrt(float(fit.rss) / fit.dof)
    reading_sd = max(residual_sd, floor_of(graduation), hair_of(design.reading))
    if not read.any() and graduation is None:
        reading_sd = math.nan
    first = design.aside.shape[1]
    values = fit.coefficients[first:]
    parts, start = {}, 0
    for group, own in groups.items():
        parts[group] = own @ values[start : start + own.shape[1]]
        start += own.shape[1]
    weight = (fit.unit_covariance @ columns.T)[first:]
    beside = _rounding(design, weight) * (
        graduation**2 / 12 if graduation and is_coarse(residual_sd, graduation) else 0.0
    ) + _of_radii(design, weight, parts)
    return Solved(
        names=[name for group in groups for name in design.groups[group]],
        values=values,
        covariance=reading_sd**2 * fit.unit_covariance[first:, first:] + beside,
        residuals=fit.residuals,
        parts=parts,
        dof=fit.dof,
        residual_sd=residual_sd,
        reading_sd=reading_sd,
    )


def _rounding(design: PlateDesign, weight: Floats) -> Floats:
    """Covariance from rounding that is the same all round a ring: its height and each wave.

    Each of them is off by up to half a graduation either way, anything between being as likely
    (GUM 4.3.7), and for each ring anew; in units of graduation^2 / 12.
    """
    orders = [order_of(group) for group in design.kept if order_of(group) > 1]
    waves = harmonic_columns(design.angle, [1, *orders])
    rings = (design.ring[:, np.newaxis] == np.arange(len(design.rings))).astype(np.float64)
    moved = np.concatenate([weight @ (rings * wave[:, np.newaxis]) for wave in waves.T], axis=1)
    covariance: Floats = moved @ moved.T
    return covariance


def _of_radii(design: PlateDesign, weight: Floats, parts: dict[str, Floats]) -> Floats:
    """Covariance from rings that were not read just where they were said to be."""
    slope = sum(
        (power_of(group) * part / design.radius for group, part in parts.items()),
        start=np.zeros(len(design.radius)),
    )
    u = np.array(
        [one.readings.in_unit(one.readings.ring_radius_u_mm or 0.0) for one in design.rings]
    )
    rings = (design.ring[:, np.newaxis] == np.arange(len(design.rings))) * u
    moved = weight @ (slope[:, np.newaxis] * rings)
    covariance: Floats = moved @ moved.T
    return covariance
