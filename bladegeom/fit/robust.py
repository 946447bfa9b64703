"""A fit that lets a few wild readings count less."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.kernel.harmonics import LeastSquares, least_squares

Floats = NDArray[np.float64]

BEND = 1.345
"""Where Huber's function bends, in standard deviations: 95 % efficient for normal scatter."""

_MAD = 1.4826
_MOST_ROUNDS = 200
_SHARE = 0.75


class RobustFit(NamedTuple):
    """A Huber fit.

    Attributes
    ----------
    fit : LeastSquares
        Coefficients, unit covariance and residuals (``rss`` is that of the residuals as they are).
    sd : float
        What stands for the residual standard deviation in the covariance (Huber 1981, Robust
        Statistics, section 7.6).
    dof : int
        Degrees of freedom of `sd`: three quarters of those of the plain fit, as simulation shows.
    scale : float
        Standard deviation of the readings that fit, from the median absolute residual.
    """

    fit: LeastSquares
    sd: float
    dof: int
    scale: float


def huber_fit(columns: Floats, readings: Floats) -> RobustFit:
    """Fit by Huber's M-estimate, weighted anew until nothing moves.

    Parameters
    ----------
    columns : ndarray, shape (n, p)
    readings : ndarray, shape (n,)

    Returns
    -------
    RobustFit
    """
    plain = least_squares(columns, readings)
    n, p = columns.shape
    fit, scale = plain, 0.0
    for _ in range(_MOST_ROUNDS):
        scale = _scale(fit.residuals, p)
        if scale == 0.0:
            return RobustFit(plain, math.sqrt(float(plain.rss) / plain.dof), plain.dof, 0.0)
        size = np.maximum(np.abs(fit.residuals), 1e-300)
        root = np.sqrt(np.minimum(1.0, BEND * scale / size))
        weighted = least_squares(columns * root[:, np.newaxis], readings * root)
        moved = float(np.abs(weighted.coefficients - fit.coefficients).max())
        residuals = readings - columns @ weighted.coefficients
        fit = plain._replace(
            coefficients=weighted.coefficients,
            residuals=residuals,
            rss=np.asarray(np.sum(residuals * residuals)),
        )
        if moved < 1e-10 * scale:
            break
    scale = _scale(fit.residuals, p)
    clipped = np.clip(fit.residuals, -BEND * scale, BEND * scale)
    inside = float(np.mean(np.abs(fit.residuals) < BEND * scale))
    correction = 1 + p / n * (1 - inside) / inside
    sd = correction * math.sqrt(float(np.sum(clipped**2)) / (n - p)) / inside
    return RobustFit(fit, sd, max(1, round(_SHARE * plain.dof)), scale)


def _scale(residuals: Floats, p: int) -> float:
    # The p smallest residuals are made small by the fit itself.
    ranked = np.sort(np.abs(residuals))[p - 1 :]
    return _MAD * float(np.median(ranked))
