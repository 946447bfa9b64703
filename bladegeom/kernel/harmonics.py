"""The least-squares kernel: plain arrays in, plain arrays out.

Knows no teeth, degrees or units. One blade is a row of readings, many blades that share the same
angles are many rows; the design is solved once for all of them.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


class LeastSquares(NamedTuple):
    """What a linear least-squares fit of ``n`` readings by ``p`` columns gives."""

    coefficients: Floats  # Shape (..., p).
    unit_covariance: Floats  # For readings of variance 1: the inverse of X'X, shape (p, p).
    residuals: Floats  # Reading less fitted value, shape (..., n).
    rss: Floats  # Sum of their squares, shape (...).
    dof: int  # n - p.


def harmonic_columns(angle_rad: ArrayLike, orders: ArrayLike = (1,)) -> Floats:
    """Return columns ``1, cos(k t), sin(k t), ...`` for each order ``k``, shape (n, 1 + 2 m)."""
    angle = np.asarray(angle_rad, dtype=np.float64)
    columns = [np.ones_like(angle)]
    for order in np.atleast_1d(np.asarray(orders, dtype=np.float64)):
        columns += [np.cos(order * angle), np.sin(order * angle)]
    return np.stack(columns, axis=-1)


def least_squares(columns: ArrayLike, readings: ArrayLike) -> LeastSquares:
    """Fit each row of `readings` by the same `columns`, without iteration.

    Solved by QR, so that neither a large offset nor an unlucky spacing of the angles costs the
    digits that the normal equations would lose; `numpy.linalg.LinAlgError` if the columns, shape
    (n, p), do not tell the coefficients of readings, shape (..., n), apart.
    """
    x = np.asarray(columns, dtype=np.float64)
    y = np.asarray(readings, dtype=np.float64)
    q, r = np.linalg.qr(x)
    r_inverse = np.linalg.inv(r)
    coefficients = (y @ q) @ r_inverse.T
    residuals = y - coefficients @ x.T
    return LeastSquares(
        coefficients=coefficients,
        unit_covariance=r_inverse @ r_inverse.T,
        residuals=residuals,
        rss=np.sum(residuals * residuals, axis=-1),
        dof=x.shape[0] - x.shape[1],
    )
