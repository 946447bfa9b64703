"""The wobble of many blades at once: arrays in, arrays out, the numbers of `fit_wobble`.

For blades read in one turn, each tooth once, with nothing to be fitted beside an offset and the
wobble. `fit_wobble` solves any design by QR; here the two unknowns that are left once the offset
is taken out are solved in closed form, with exact residuals.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.kernel.batch_limits import many_amplitude_limits
from bladegeom.kernel.doubt import student_t

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_LEAKY_RATIO = 1.2
_BEND_LEVEL = 0.01
_BEND_ORDERS = (2, 3)
_FEWEST_FOR_BENDS = 10


class Sums(NamedTuple):
    """What a least-squares fit makes of many rows of readings; every array has shape (n,).

    Attributes
    ----------
    readings : ndarray
        How many are in the fit.
    offset, cosine, sine : ndarray
    cc, cs, ss : ndarray
        Sums of squares and products of the waves about their means: the inverse of the unit
        covariance.
    rss : ndarray
        Sum of the squared residuals.
    total, largest : ndarray
        Highest less lowest reading, and the reading farthest from 0 (its size).
    ratio : ndarray
        See `bladegeom.kernel.design.worst_ratio`.
    leaks : ndarray
        1 where a bend leaks into the wobble, else 0: see `bladegeom.kernel.plan.bend_leaks`.
    """

    readings: Floats
    offset: Floats
    cosine: Floats
    sine: Floats
    cc: Floats
    cs: Floats
    ss: Floats
    rss: Floats
    total: Floats
    largest: Floats
    ratio: Floats
    leaks: Floats


def fit_rows(reading: Floats, angle_rad: Floats) -> Sums:
    """Fit an offset and the wobble to every row.

    Parameters
    ----------
    reading : ndarray, shape (n, m)
        NaN where nothing was read.
    angle_rad : ndarray, shape (m,)
        The same for all rows.

    Returns
    -------
    Sums
        Not finite where a row has too few readings.
    """
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    columns = np.stack(
        [np.ones_like(cosine), cosine, sine, cosine * cosine, cosine * sine, sine * sine], axis=1
    )
    missing = np.isnan(reading)
    if gaps := bool(missing.any()):
        there = (~missing).astype(np.float64)
        sums = there @ columns
        middle = np.where(missing, 0.0, reading).sum(axis=1) / sums[:, 0]
        left = np.where(missing, 0.0, reading - middle[:, np.newaxis])
    else:
        sums = np.broadcast_to(columns.sum(axis=0), (len(reading), 6))
        middle = reading.mean(axis=1)
        left = reading - middle[:, np.newaxis]
    count, c, s = sums[:, 0], sums[:, 1] / sums[:, 0], sums[:, 2] / sums[:, 0]
    cc, cs, ss = sums[:, 3] - count * c * c, sums[:, 4] - count * c * s, sums[:, 5] - count * s * s
    highest, lowest = left.max(axis=1), left.min(axis=1)
    largest = np.maximum(np.abs(middle + highest), np.abs(middle + lowest))
    along = left @ columns[:, :3]
    along_c, along_s = along[:, 1] - c * along[:, 0], along[:, 2] - s * along[:, 0]
    size = cc * ss - cs * cs
    a, b = (ss * along_c - cs * along_s) / size, (cc * along_s - cs * along_c) / size
    beside = along[:, 0] / count - a * c - b * s
    left -= np.stack([beside, a, b], axis=1) @ columns[:, :3].T
    if gaps:
        left *= there
    rss = np.einsum("ij,ij->i", left, left)
    least = (cc + ss) / 2 - np.hypot((cc - ss) / 2, cs)
    ratio = np.sqrt(count / 2 / least)
    leaks = np.zeros(len(reading))
    bent = np.flatnonzero((ratio >= _LEAKY_RATIO) & (count >= _FEWEST_FOR_BENDS))
    if len(bent):
        weights = there[bent] if gaps else np.ones((len(bent), len(angle_rad)))
        leaks[bent] = _bends_show(left[bent], weights, angle_rad, rss[bent])
    return Sums(
        count, middle + beside, a, b, cc, cs, ss, rss, highest - lowest, largest, ratio, leaks
    )


def _bends_show(residual: Floats, weight: Floats, angle_rad: Floats, rss: Floats) -> Bools:
    """Return whether waves of two and three a turn take up more than chance would.

    The residuals are square to the columns of the plain fit, so what the further ones take up is
    found from all columns together.
    """
    waves = [np.ones_like(angle_rad)]
    for order in (1, *_BEND_ORDERS):
        waves += [np.cos(order * angle_rad), np.sin(order * angle_rad)]
    columns = np.stack(waves, axis=1)
    products = (columns[:, :, np.newaxis] * columns[:, np.newaxis, :]).reshape(len(angle_rad), -1)
    normal = (weight @ products).reshape(-1, columns.shape[1], columns.shape[1])
    along = residual @ columns
    taken = np.einsum("ij,ij->i", along, np.linalg.solve(normal, along[..., np.newaxis])[..., 0])
    more, dof = 2 * len(_BEND_ORDERS), weight.sum(axis=1) - columns.shape[1]
    with np.errstate(all="ignore"):
        f = taken / more / ((rss - taken) / dof)
    shown: Bools = (special.fdtrc(more, dof, np.maximum(f, 0.0)) < _BEND_LEVEL) & (rss > taken)
    return shown


class Wobbles(NamedTuple):
    """The wobble of many blades with its doubt; every array has shape (n,).

    Named as the attributes of `WobbleFit`; `caa`, `cab`, `cbb` are the covariance of (cosine,
    sine). What belongs to a direction is NaN where the wobble is not resolved.
    """

    amplitude: Floats
    amplitude_corrected: Floats
    amplitude_u: Floats
    amplitude_low: Floats
    amplitude_high: Floats
    near_deg: Floats
    near_u_deg: Floats
    near_low_deg: Floats
    near_high_deg: Floats
    resolved: Bools
    p_value: Floats
    residual_sd: Floats
    reading_sd: Floats
    caa: Floats
    cab: Floats
    cbb: Floats


def wobbles(sums: Sums, dof: int, graduation: Floats, level: float, *, tabled: bool) -> Wobbles:
    """Return what the fits say, as `WobbleFit` says it of one.

    Parameters
    ----------
    sums : Sums
        Readings that scatter, in rows from which a wobble can be fitted.
    dof : int
        The same for all: readings in the fit less 3.
    graduation : ndarray, shape (n,)
        In the unit of the readings; NaN where it is not stated.
    level : float
        A wobble is resolved where its p-value is below 1 - level.
    tabled : bool
        Take the limits from a table: see `many_amplitude_limits`.

    Returns
    -------
    Wobbles
    """
    a, b = sums.cosine, sums.sine
    residual_sd = np.sqrt(sums.rss / dof)
    step = np.nan_to_num(graduation)
    reading_sd = np.maximum(residual_sd, step / math.sqrt(12))
    variance = reading_sd**2
    size = sums.cc * sums.ss - sums.cs**2
    caa, cab, cbb = (variance * one / size for one in (sums.ss, -sums.cs, sums.cc))
    f = (sums.cc * a * a + 2 * sums.cs * a * b + sums.ss * b * b) / 2 / variance
    p_value = np.exp(-dof / 2 * np.log1p(2 * f / dof))
    amplitude = np.hypot(a, b)
    sd = np.sqrt(caa * a * a + 2 * cab * a * b + cbb * b * b) / amplitude
    across = np.sqrt(caa * b * b - 2 * cab * a * b + cbb * a * a) / amplitude
    margin = np.where(residual_sd < step / 2, step / 2, 0.0)
    low, high = many_amplitude_limits(amplitude, sd, dof, tabled=tabled)
    resolved = p_value < 1 - level
    toward = np.degrees(np.arctan2(b, a))
    near = np.where(resolved, wrap_360_all(toward), np.nan)
    rounded = margin**2 / 3
    near_low, near_high = many_direction_limits(
        a, b, (caa + rounded, cab, cbb + rounded), dof, toward
    )
    turns = 360 * np.rint((near - (near_low + near_high) / 2) / 360)
    return Wobbles(
        amplitude,
        np.sqrt(np.maximum(0.0, amplitude**2 - (caa + cbb))),
        sd,
        np.maximum(0.0, low - margin),
        high + margin,
        near,
        np.where(resolved, np.degrees(across / amplitude), np.nan),
        near_low + turns,
        near_high + turns,
        resolved,
        p_value,
        residual_sd,
        reading_sd,
        caa,
        cab,
        cbb,
    )


def many_direction_limits(
    a: Floats,
    b: Floats,
    covariance: tuple[Floats, Floats, Floats],
    dof: int,
    toward_deg: Floats,
) -> tuple[Floats, Floats]:
    """Return the 95 % limits of directions, as `direction_limits` gives them one by one.

    The same theorem, with the two eigenvalues written out.

    Parameters
    ----------
    a, b : ndarray, shape (n,)
    covariance : tuple of ndarray, shape (n,)
        Var(a), cov(a, b), var(b).
    dof : int
    toward_deg : ndarray, shape (n,)
        Direction of (a, b), from -180 to 180 degrees.

    Returns
    -------
    low, high : ndarray, shape (n,)
    """
    square = student_t(0.95, dof) ** 2
    caa, cab, cbb = covariance
    aa, ab, bb = a * a - square * caa, a * b - square * cab, b * b - square * cbb
    larger = (aa + bb) / 2 + np.hypot((aa - bb) / 2, ab)
    # The product of both, without the difference of large numbers that aa bb - ab^2 is.
    product = square * (
        square * (caa * cbb - cab * cab) - (caa * b * b - 2 * cab * a * b + cbb * a * a)
    )
    open_to_all = larger <= 0
    size = np.where(open_to_all, 1.0, larger)
    half = np.degrees(np.arctan(np.sqrt(np.maximum(0.0, -product)) / size))
    axis = np.degrees(np.arctan2(2 * ab, aa - bb)) / 2
    axis += 180 * np.rint((toward_deg - axis) / 180)
    half = np.where(open_to_all, 180.0, half)
    axis = np.where(open_to_all, toward_deg, axis)
    return axis - half, axis + half


def wrap_360_all(degrees: Floats) -> Floats:
    """Return the same directions from 0 (included) to 360 (not)."""
    wrapped: Floats = np.mod(degrees, 360.0)
    wrapped[wrapped == 360.0] = 0.0
    return wrapped
