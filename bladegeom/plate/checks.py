"""Does the plate behave as the model says: each ring by itself against all rings together."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.kernel.design import design_of
from bladegeom.kernel.harmonics import harmonic_columns, least_squares
from bladegeom.plate.design import (
    PlateDesign,
    floor_of,
    group_of,
    hair_of,
    is_coarse,
)

Floats = NDArray[np.float64]

_NEGLECTED = 1e-5
"""Slopes squared, which the model leaves out: no disagreement below this share of the readings."""


class Checks(NamedTuple):
    """Chances of so much disagreement between rings; None where nothing is left to tell.

    Attributes
    ----------
    tilt, saddle : float or None
        Whether each grows with the radius as it should: the tilt as r, the saddle as r^2.
    heights : float or None
        Whether the rings' mean heights keep to one zero, a straight traverse and a dish.
    """

    tilt: float | None
    saddle: float | None
    heights: float | None


class _Alone(NamedTuple):
    """Each ring fitted by itself; all share one variance."""

    height: Floats
    height_variance: Floats
    waves: dict[int, tuple[list[int], Floats, Floats]]
    dof: int


def check_rings(
    design: PlateDesign, fitted: Mapping[str, Floats], graduation: float | None
) -> Checks:
    """Test what each ring says by itself against the model (F tests on weighted residuals).

    Parameters
    ----------
    design : PlateDesign
    fitted : mapping
        Group -> its fitted part of each reading, shape (n,).
    graduation : float, optional

    Returns
    -------
    Checks
    """
    alone = _each_alone(design, fitted, graduation)
    if alone is None:
        return Checks(None, None, None)
    return Checks(_growth(design, alone, 1), _growth(design, alone, 2), _heights(design, alone))


def _each_alone(
    design: PlateDesign, fitted: Mapping[str, Floats], graduation: float | None
) -> _Alone | None:
    heights, units, fits = [], [], []
    for at, ring in enumerate(design.rings):
        here = design.ring == at
        angle, read = design.angle[here], design.reading[here].copy()
        own = [one for one in design.orders[at] if one == 1 or one in design.waves]
        for order in design.waves:
            if order not in own:  # What its teeth cannot tell is taken from the other rings.
                read -= fitted[group_of(order)][here]
        columns = harmonic_columns(angle, own)
        play = design_of(ring.readings, drift=False).play
        if play is not None:
            columns = np.column_stack([columns, columns[:, 1:3] * play[:, np.newaxis]])
        fit = least_squares(columns, read - read.mean())
        heights.append(float(fit.coefficients[0] + read.mean()))
        units.append(float(fit.unit_covariance[0, 0]))
        fits.append((own, fit))
    dof = sum(max(fit.dof, 0) for _, fit in fits)
    if dof < 1:
        return None
    scatter = math.sqrt(math.fsum(float(fit.rss) for _, fit in fits if fit.dof > 0) / dof)
    spans = [float(np.ptp(design.reading[design.ring == at])) for at in range(len(design.rings))]
    hair = max(hair_of(design.reading), _NEGLECTED * max(spans))
    sd = max(scatter, floor_of(graduation), hair)
    rounding = (graduation or 0.0) ** 2 / 12 if is_coarse(scatter, graduation) else 0.0
    waves = {}
    for order in (1, 2):
        which = [at for at, (own, _) in enumerate(fits) if order in own]
        parts, covariance = np.zeros(2 * len(which)), np.zeros((2 * len(which), 2 * len(which)))
        for row, at in enumerate(which):
            own, fit = fits[at]
            first, here = 2 * own.index(order) + 1, slice(2 * row, 2 * row + 2)
            place, ring = slice(first, first + 2), design.rings[at]
            u = (ring.readings.ring_radius_u_mm or 0.0) / ring.radius_mm * order
            parts[here] = fit.coefficients[place]
            covariance[here, here] = (
                sd**2 * fit.unit_covariance[place, place]
                + rounding * np.eye(2)
                + u**2 * np.outer(parts[here], parts[here])
            )
        waves[order] = (which, parts, covariance)
    return _Alone(np.array(heights), sd**2 * np.array(units) + rounding, waves, dof)


def _growth(design: PlateDesign, alone: _Alone, order: int) -> float | None:
    """Return the chance that the rings' waves, each by itself, are as the radius makes them."""
    which, parts, covariance = alone.waves[order]
    radius = np.array([float(design.rings[at].readings.ring_radius or 0.0) for at in which])
    flipped = np.array([design.rings[at].flipped for at in which], dtype=np.bool_)
    shared = order > 1  # The blade's own shape turns over with it; how it is mounted does not.
    groups = [radius] if shared else [radius[flipped], radius[~flipped]]
    if not any(len(np.unique(one)) > 1 for one in groups):
        return None
    growth = (radius / design.reference_radius) ** order
    if shared:
        model = np.where(flipped, -growth, growth)[:, np.newaxis]
    else:
        model = np.stack([growth * ~flipped, growth * flipped], axis=1)
    both = np.kron(model, np.eye(2)).astype(np.float64)
    return _misfit(parts, covariance, both, alone.dof)


def _heights(design: PlateDesign, alone: _Alone) -> float | None:
    first = np.array([np.flatnonzero(design.ring == at)[0] for at in range(len(design.rings))])
    level = [design.aside[first][:, : len(design.zeros)]]
    level += [design.columns(one)[first] for one in ("traverse", "dish") if one in design.kept]
    model = np.concatenate(level, axis=1)
    return _misfit(alone.height, np.diag(alone.height_variance), model, alone.dof)


def _misfit(values: Floats, covariance: Floats, model: Floats, dof: int) -> float | None:
    """Return the chance of so large a weighted sum of squares about a linear model."""
    root = np.linalg.cholesky(covariance)
    white = np.linalg.solve(root, values)
    columns = np.linalg.solve(root, model[:, model.any(axis=0)])
    columns /= np.linalg.norm(columns, axis=0)
    weight, _, rank, _ = np.linalg.lstsq(columns, white, rcond=None)
    left = len(values) - int(rank)
    if left < 1:
        return None
    rest = white - columns @ weight
    return float(special.fdtrc(left, dof, float(rest @ rest) / left))
