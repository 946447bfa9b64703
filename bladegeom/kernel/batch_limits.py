"""Limits of many amplitudes at once: one table per degrees of freedom serves a batch.

Divided by its standard deviation, an amplitude's limit depends only on the estimate, divided
likewise, and on the degrees of freedom (see `bladegeom.kernel.doubt.amplitude_limits`). Where few
blades share their degrees of freedom, their limits are found one by one, all at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray
from scipy import special

from bladegeom.kernel.doubt import amplitude_cdf, student_t

Floats = NDArray[np.float64]

_LEVEL = 0.95
_TAIL = (1 - _LEVEL) / 2
TABLE_PAYS = 64
"""A table costs about as much as the limits of so many blades."""
_DEGREES = (31, 63)
_CLOSE = 2e-11
_MOST_TERMS = 400
_AT_ONCE = 512


def many_amplitude_limits(
    estimate: Floats, sd: Floats, dof: int, *, tabled: bool
) -> tuple[Floats, Floats]:
    """Return the 95 % limits of amplitudes, as `amplitude_limits` gives them one by one.

    Parameters
    ----------
    estimate, sd : ndarray, shape (n,)
        Fitted amplitudes and their standard deviations along the fitted directions; above 0.
    dof : int
        The same for all.
    tabled : bool
        Take them from a table, to 1e-10 of the estimate; it pays from `TABLE_PAYS` blades on.

    Returns
    -------
    low, high : ndarray, shape (n,)
    """
    x = estimate / sd
    table = _table(dof) if tabled else None
    if table is None:
        low, high = _exact(x, dof)
    else:
        low, high = table.low(x), table.high(x)
    return low * sd, high * sd


def student_cdf(t: Floats, dof: int) -> Floats:
    """Return the probability of less than `t` under Student's law of whole degrees of freedom.

    The finite series in cos^2(atan(t / sqrt(dof))) (Abramowitz and Stegun 1964, 26.7.3 and
    26.7.4, from memory; tested against SciPy), a tenth of the work of the general function.

    Parameters
    ----------
    t : ndarray, shape (n,)
    dof : int

    Returns
    -------
    ndarray, shape (n,)
    """
    if dof > _MOST_TERMS:
        return np.asarray(special.stdtr(float(dof), t), dtype=np.float64)
    squared = 1 / (1 + t * t / dof)
    sine = t * np.sqrt(squared / dof)
    series = np.ones_like(t)
    for term in range(dof - 2, 1, -2):
        series *= squared * ((term - 1) / term)
        series += 1
    if dof % 2 == 0:
        half: Floats = sine * series / 2
    else:
        beside = sine * np.sqrt(squared) * series if dof > 1 else 0.0
        half = (np.arctan(t / math.sqrt(dof)) + beside) / math.pi
    return 0.5 + half


class _Table(NamedTuple):
    """Both limits over x = estimate / sd, as smooth functions of 1 / x.

    Below `least` the lower limit is 0; its square grows from there in proportion, so that
    (low / x)^2 / (1 - least / x) is smooth. `scale` is where the upper limit begins to bend.
    """

    least: float
    scale: float
    lower: Floats
    upper: Floats

    def low(self, x: Floats) -> Floats:
        part = self.least / np.maximum(x, self.least)
        size = _series(self.lower, 2 * _inverse(x, self.least, self.scale) - 1)
        found: Floats = x * np.sqrt(np.maximum(size * (1 - part), 0.0))
        return found

    def high(self, x: Floats) -> Floats:
        least = math.sqrt(2)
        part = _inverse(x, least, self.scale)
        found: Floats = np.maximum(x, least) * _series(self.upper, 2 * part - 1)
        return found


def _inverse(x: Floats, least: float, scale: float) -> Floats:
    """Return 1 at the least x and 0 at an infinite one."""
    found: Floats = scale / (scale + np.maximum(x - least, 0.0))
    return found


def _back(part: Floats, least: float, scale: float) -> Floats:
    found: Floats = least + scale * (1 / part - 1)
    return found


def _series(coefficients: Floats, at: Floats) -> Floats:
    """Sum a Chebyshev series by Clenshaw's rule, in place."""
    twice = 2 * at
    before = np.zeros_like(at)
    last = np.full_like(at, coefficients[-1])
    for coefficient in coefficients[-2:0:-1]:
        np.subtract(coefficient, before, out=before)
        before += twice * last
        before, last = last, before
    found: Floats = at * last - before + coefficients[0]
    return found


@lru_cache(maxsize=512)
def _table(dof: int) -> _Table | None:
    """Return the table of some degrees of freedom; None where none is close enough."""
    if dof == 1:
        return None  # Its limits are not smooth where x is large.
    least = _least(dof)
    scale = student_t(_LEVEL, dof)

    def lower(part: Floats) -> Floats:
        x = _back(part, least, scale)
        found: Floats = (_lower(x, dof) / x) ** 2 / (1 - least / x)
        return found

    def upper(part: Floats) -> Floats:
        x = _back(part, math.sqrt(2), scale)
        return _upper(x, dof) / x

    def lower_error(part: Floats, value: Floats, true: Floats) -> Floats:
        """Return the error of low / x."""
        past = 1 - least / _back(part, least, scale)
        error: Floats = np.sqrt(past) * (np.sqrt(np.maximum(value, 0.0)) - np.sqrt(true))
        return error

    def upper_error(_: Floats, value: Floats, true: Floats) -> Floats:
        return value / true - 1

    below, above = _fitted(lower, lower_error), _fitted(upper, upper_error)
    return None if below is None or above is None else _Table(least, scale, below, above)


def _fitted(
    exact: Callable[[Floats], Floats], error: Callable[[Floats, Floats, Floats], Floats]
) -> Floats | None:
    """Return the shortest series that agrees with the exact function between its own nodes."""
    for degree in _DEGREES:
        nodes = np.cos(math.pi * (np.arange(degree + 1) + 0.5) / (degree + 1))
        values = exact((nodes + 1) / 2)
        size = (
            2
            / (degree + 1)
            * np.cos(
                math.pi
                * np.outer(np.arange(degree + 1), np.arange(degree + 1) + 0.5)
                / (degree + 1)
            )
        )
        series: Floats = size @ values
        series[0] /= 2
        between = np.cos(math.pi * np.arange(1, degree + 1, 2) / (degree + 1))
        part: Floats = (between + 1) / 2
        value = np.asarray(chebyshev.chebval(between, series), dtype=np.float64)
        off = error(part, value, exact(part))
        if np.abs(off).max() < _CLOSE:
            return series
    return None


def _least(dof: int) -> float:
    """Return the x at which the lower limit leaves 0: there the zero-amplitude test says 2.5 %."""
    return math.sqrt(dof * math.expm1(-2 / dof * math.log(_TAIL)))


def _exact(x: Floats, dof: int) -> tuple[Floats, Floats]:
    low = np.zeros_like(x)
    above = x > _least(dof)
    low[above] = _lower(x[above], dof)
    return low, _upper(np.maximum(x, math.sqrt(2)), dof)


def _lower(x: Floats, dof: int) -> Floats:
    return _amplitudes_at(x, dof, 1 - _TAIL, np.zeros_like(x), x.copy())


def _upper(x: Floats, dof: int) -> Floats:
    reach = np.full_like(x, 2 + student_t(_LEVEL, dof))
    short = np.arange(len(x))
    while len(short):
        short = short[_cdf(x[short], x[short] + reach[short], dof) > _TAIL]
        reach[short] *= 2
    return _amplitudes_at(x, dof, _TAIL, x.copy(), x + reach)


def _cdf(x: Floats, amplitude: Floats, dof: int) -> Floats:
    """Return `amplitude_cdf` in parts, since it needs room for 301 numbers each."""
    parts = [
        amplitude_cdf(x[at : at + _AT_ONCE], amplitude[at : at + _AT_ONCE], dof)
        for at in range(0, len(x), _AT_ONCE)
    ]
    return np.concatenate(parts) if parts else np.zeros(0)


def _amplitudes_at(x: Floats, dof: int, probability: float, low: Floats, high: Floats) -> Floats:
    """Find the amplitudes between `low` and `high` at which the estimates have that probability.

    Regula falsi in its Illinois form, for all that are not yet found.
    """
    found = np.empty_like(x)
    at_low = _cdf(x, low, dof) - probability
    at_high = _cdf(x, high, dof) - probability
    hair = np.maximum(1e-13, 4 * np.spacing(high))
    side = np.zeros(len(x))
    here = np.arange(len(x))
    while len(here):
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        at_middle = _cdf(x[here], middle, dof) - probability
        above = at_middle > 0
        at_high = np.where(above & (side == 1), at_high / 2, np.where(above, at_high, at_middle))
        at_low = np.where(~above & (side == -1), at_low / 2, np.where(above, at_middle, at_low))
        low, high = np.where(above, middle, low), np.where(above, high, middle)
        side = np.where(above, 1.0, -1.0)
        close = np.abs(at_middle) < 1e-13
        done = close | ~(high - low > hair) | (at_low == at_high)
        found[here[done]] = np.where(close, middle, (low + high) / 2)[done]
        left = ~done
        here, low, high, at_low, at_high = (one[left] for one in (here, low, high, at_low, at_high))
        side, hair = side[left], hair[left]
    return found
