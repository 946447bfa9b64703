"""The law of doubt: limits of amplitude and direction, detection, and the chance of naming right.

Throughout, an estimate (a, b) of the wobble's cosine and sine parts has the covariance C, which is
known up to a variance estimated with `dof` degrees of freedom (infinite where it is known). For one
or many alike: a, b and what follows have any shape (...), and C has the shape (2, 2, ...).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.polynomial.chebyshev import chebval
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]
Numbers = TypeVar("Numbers", float, Floats)

_LEVEL = 0.95
_LARGE_DOF = 1e7
_MOST_TERMS = 400
_GRID = np.linspace(0.0, 1.0, 301)
_LEAST_HIGH = math.sqrt(2)
"""The estimate at which F is 1: no upper limit is below the one that belongs to it."""
_MOST_STEPS = 100
_DEGREES = (31, 63)
_CLOSE = 2e-11
_AT_ONCE = 512


class Interval(NamedTuple):
    """Limits at a stated confidence level."""

    low: float
    high: float
    confidence_level: float


def one_or_many(values: Any) -> Any:
    """Return an array as it is, and of a single number the plain one: NumPy's own is no bool."""
    return values if np.ndim(values) else np.asarray(values).item()


@lru_cache(maxsize=1024)
def student_t(confidence_level: float, dof: float) -> float:
    """Return the two-sided Student factor, also known as the coverage factor k.

    Raises
    ------
    ValueError
        If the confidence level does not lie between 0 and 1.
    """
    if not 0 < confidence_level < 1:
        raise ValueError(f"confidence_level is {confidence_level}; give one between 0 and 1")
    return float(special.stdtrit(min(dof, _LARGE_DOF), 0.5 + confidence_level / 2))


def student_cdf(t: Numbers, dof: float) -> Numbers:
    """Return the probability of less than `t` under Student's law.

    For whole degrees of freedom by the finite series in cos^2(atan(t / sqrt(dof))) (Abramowitz
    and Stegun 1964, 26.7.3 and 26.7.4, from memory; tested against SciPy), a tenth of the work of
    the general function.
    """
    if dof > _MOST_TERMS or dof != int(dof):
        general: Numbers = one_or_many(special.stdtr(min(dof, _LARGE_DOF), t))
        return general
    squared = 1 / (1 + t * t / dof)
    sine = t * np.sqrt(squared / dof)
    series: Any = np.ones_like(t)
    for term in range(int(dof) - 2, 1, -2):
        series *= squared * ((term - 1) / term)
        series += 1
    if dof % 2 == 0:
        half = sine * series / 2
    else:
        beside = sine * np.sqrt(squared) * series if dof > 1 else 0.0
        half = (np.arctan(t / math.sqrt(dof)) + beside) / math.pi
    p: Numbers = one_or_many(0.5 + half)
    return p


def zero_amplitude_p(f: Numbers, dof: float) -> Numbers:
    """Return the probability of so large an F, with 2 and `dof` degrees of freedom, by chance.

    With two degrees of freedom above, the F distribution has the closed form
    ``(1 + 2 F / dof) ** (-dof / 2)``. This is the zero-amplitude test of cosinor analysis
    (Nelson et al. 1979, Chronobiologia 6(4):305-323).
    """
    dof = min(dof, _LARGE_DOF)
    p: Numbers = one_or_many(np.exp(-dof / 2 * np.log1p(f * (2 / dof))))
    return p


def amplitude_cdf(estimate: ArrayLike, amplitude: ArrayLike, dof: ArrayLike) -> Floats:
    """Return the probability of an estimated amplitude of at most `estimate`.

    Both are in units of the estimated standard deviation of one component of the wobble, so the
    law is that of Rice averaged over the chi-square law of the estimated variance. It is the mass
    of a bivariate Student distribution, centred on the origin, inside the disc of radius
    `estimate` about a point `amplitude` away. A rotationally symmetric law that holds the mass
    F(r) inside radius r holds inside any closed curve the integral of F(r) over the angle seen
    from the origin, divided by a turn; here F(r) = 1 - (1 + r^2 / dof)^(-dof / 2), and the angle
    from the centre of the disc is stretched by tan(half of it) = sinh(u) / (1 + estimate), which
    makes the integrand smooth and the plain sum over u exact to rounding error.
    """
    return _law(estimate, dof)(amplitude)[0]


def _law(estimate: ArrayLike, dof: ArrayLike) -> Callable[[ArrayLike], tuple[Floats, Floats]]:
    """Return `amplitude_cdf` of estimates as a function of amplitudes, with its slope in these.

    A disc that moves away from the origin gains mass at one side and loses it at the other: the
    slope is the integral of the law's density along its rim.
    """
    x = np.asarray(estimate, dtype=np.float64)[..., np.newaxis]
    v = np.minimum(dof, _LARGE_DOF)[..., np.newaxis]
    reach = 38.0 + np.log1p(x)
    u = reach * _GRID
    tangent = np.sinh(u) / (1 + x)
    cosine_squared = 1 / (1 + tangent**2)
    sine_squared = tangent**2 * cosine_squared
    # The integrand is the same on either side of u = 0.
    step = np.where(u == 0, 0.5, 1.0) * reach / (len(_GRID) - 1) / math.pi
    weight = step * 2 * np.cosh(u) / (1 + x) * cosine_squared * x
    toward = weight * (1 - 2 * sine_squared)

    def at(amplitude: ArrayLike) -> tuple[Floats, Floats]:
        centre = np.asarray(amplitude, dtype=np.float64)[..., np.newaxis]
        apart = x - centre
        squared = np.maximum(apart**2 + 4 * x * centre * sine_squared, 1e-300)
        outside = np.log1p(squared / v) * (-v / 2)
        angle = (apart + 2 * centre * sine_squared) / squared
        inside: Floats = np.sum(-np.expm1(outside) * angle * weight, axis=-1)
        slope: Floats = -np.sum(np.exp(outside) / (1 + squared / v) * toward, axis=-1)
        return inside, slope

    return at


def amplitude_limits(
    estimate: Numbers, sd: Numbers, dof: float, confidence_level: float = _LEVEL
) -> tuple[Numbers, Numbers]:
    """Return the limits of amplitudes from their estimates, exact for circular covariance.

    The limits are the amplitudes at which an estimate as large, or as small, as this one would be
    met with half of the remaining probability (see `amplitude_cdf`). At no amplitude they agree
    with the zero-amplitude test, at a large one with Student's t. The upper limit is never below
    that of an estimate at which F is 1, so that a lucky quiet turn promises nothing.

    Divided by the standard deviation, a limit depends on the estimate and the degrees of freedom
    alone: at 95 % a table for these, as good as 1e-9 standard deviations, serves all blades.

    The standard deviations are those along the fitted directions; above 0, or NaN where nothing
    tells them: then the upper limit is NaN.
    """
    student_t(confidence_level, dof)
    tail, dof = (1 - confidence_level) / 2, min(dof, _LARGE_DOF)
    x = np.asarray(estimate / sd)
    whole = confidence_level == _LEVEL and dof == int(dof)
    table = _table(dof, tail) if whole else None
    low, high = _solved(x.ravel(), dof, tail) if table is None else table.limits(x.ravel())
    low, high = (one.reshape(x.shape) * sd for one in (low, high))
    return one_or_many(np.fmax(low, 0.0)), one_or_many(high)


def _solved(x: Floats, dof: float, tail: float) -> tuple[Floats, Floats]:
    """Return both limits of estimates, shape (n,), in standard deviations."""
    low, high = np.zeros_like(x), np.maximum(x, _LEAST_HIGH)
    for at in range(0, len(x), _AT_ONCE):
        part = slice(at, at + _AT_ONCE)
        some = at + np.flatnonzero(x[part] > least_above_zero(dof, tail))
        low[some] = _amplitudes_at(x[some], dof, 1 - tail)
        some = at + np.flatnonzero(np.isfinite(x[part]))
        high[some] = _amplitudes_at(high[some], dof, tail)
    return low, high


def least_above_zero(dof: float, tail: float = (1 - _LEVEL) / 2) -> float:
    """Return the estimate at which the lower limit leaves 0: there the F test says the same."""
    return math.sqrt(dof * math.expm1(-2 / dof * math.log(tail)))


def _amplitudes_at(x: Floats, dof: float, probability: float) -> Floats:
    """Find the amplitudes at which estimates have a probability; 0 where none is so small.

    By Newton's steps on the squares of the amplitudes, the law made all but straight by log odds,
    and by halving where a step would lead out of what is known to be too small or too large.
    """
    law = _law(x, dof)
    target = special.logit(probability)
    small, large = np.zeros_like(x), np.full_like(x, np.inf)
    large[law(small)[0] <= probability] = 0.0
    now = np.maximum(x - special.stdtrit(dof, probability), x / 8)
    for _ in range(_MOST_STEPS):
        inside, slope = law(now)
        large = np.where(inside < probability, np.minimum(now, large), large)
        small = np.minimum(np.where(inside < probability, small, now), large)
        with np.errstate(all="ignore"):
            step = (special.logit(inside) - target) * inside * (1 - inside) / slope
            new = np.sqrt(now * now - 2 * now * step)
        between = np.where(np.isinf(large), 2 * now + 1, (small + large) / 2)
        new = np.where((new >= small) & (new <= large), new, between)
        moved, now = np.abs(new - now), new
        if np.all(moved <= 1e-7 * np.minimum(now, 1) + 4 * np.spacing(now)):
            break  # The next step would be of the square of that.
    return now


class _Table(NamedTuple):
    """Both limits over the estimate x, as smooth functions of a part that falls as 1 / x.

    The upper limit less x is smooth, and bends where x is about `scale`. Below `least` the lower
    limit is 0, and its square grows from there in proportion: smooth is what `lower` holds,
    (low^2 / (x (x - least)) - 1) / part.
    """

    least: float
    scale: float
    lower: Floats
    upper: Floats

    def limits(self, x: Floats) -> tuple[Floats, Floats]:
        """Return both limits of estimates."""
        above, upper = np.maximum(x, self.least), np.maximum(x, _LEAST_HIGH)
        part = self.scale / (self.scale + (above - self.least))
        more = above * part * _series(self.lower, part)
        low = np.sqrt(np.maximum((above - self.least) * (above + more), 0.0))
        part = self.scale / (self.scale + (upper - _LEAST_HIGH))
        return low, upper + _series(self.upper, part)


@lru_cache(maxsize=512)
def _table(dof: float, tail: float) -> _Table | None:
    """Return the table of some degrees of freedom; None where none is close enough."""
    least, scale = least_above_zero(dof, tail), float(special.stdtrit(dof, 1 - tail))

    def lower(part: Floats) -> Floats:
        x = least + scale * (1 / part - 1)
        found: Floats = (_amplitudes_at(x, dof, 1 - tail) ** 2 / x / (x - least) - 1) / part
        return found

    def upper(part: Floats) -> Floats:
        x = _LEAST_HIGH + scale * (1 / part - 1)
        return _amplitudes_at(x, dof, tail) - x

    below, above = _fitted(lower), _fitted(upper)
    return None if below is None or above is None else _Table(least, scale, below, above)


def _fitted(exact: Callable[[Floats], Floats]) -> Floats | None:
    """Return the shortest Chebyshev series that agrees with a function between its own nodes."""
    for degree in _DEGREES:
        turn = math.pi * (np.arange(degree + 1) + 0.5) / (degree + 1)
        waves = np.cos(np.outer(np.arange(degree + 1), turn))
        series: Floats = 2 / (degree + 1) * (waves @ exact((np.cos(turn) + 1) / 2))
        series[0] /= 2
        between = (np.cos(math.pi * np.arange(1, degree + 1, 2) / (degree + 1)) + 1) / 2
        if np.abs(_series(series, between) - exact(between)).max() < _CLOSE:
            return series
    return None


def _series(coefficients: Floats, part: Floats) -> Floats:
    """Sum a Chebyshev series from 0 to 1: of a few by cosines, which for many would be slow."""
    at = 2 * part - 1
    if len(at) < 32:
        waves = np.cos(np.arccos(at)[:, np.newaxis] * np.arange(len(coefficients)))
        return np.asarray(waves @ coefficients, dtype=np.float64)
    return np.asarray(chebval(at, coefficients), dtype=np.float64)


def sd_toward(direction_deg: ArrayLike, covariance: Floats) -> Any:
    """Return the standard deviation of the wobble's component toward directions in the blade."""
    angle = np.radians(np.asarray(direction_deg, dtype=np.float64))[()]
    c, s = np.cos(angle), np.sin(angle)
    (caa, cab), (_, cbb) = covariance
    return one_or_many(np.sqrt(caa * c * c + 2 * cab * c * s + cbb * s * s))


class Facing(NamedTuple):
    """An estimate and its doubt as seen along the fitted direction; each of any shape (...).

    Attributes
    ----------
    amplitude, sd, across : float or ndarray
        Its length, and the standard deviations along the fitted direction and square to it.
    tie : float or ndarray
        The correlation of the two.
    """

    amplitude: Any
    sd: Any
    across: Any
    tie: Any


@np.errstate(divide="ignore", invalid="ignore")
def facing(a: Any, b: Any, covariance: Floats) -> Facing:
    """Return estimates as seen along their own directions; toward 0 where there is none."""
    (caa, cab), (_, cbb) = covariance
    amplitude = np.hypot(a, b)
    none = amplitude == 0
    size = amplitude + none
    c, s = a / size + none, b / size
    cc, cs, ss = c * c, c * s, s * s
    sd = np.sqrt(caa * cc + 2 * cab * cs + cbb * ss)
    across = np.sqrt(caa * ss - 2 * cab * cs + cbb * cc)
    return Facing(amplitude, sd, across, ((cbb - caa) * cs + cab * (cc - ss)) / sd / across)


def direction_limits(seen: Facing, dof: float, confidence_level: float = _LEVEL) -> tuple[Any, Any]:
    """Return the limits of the direction, in degrees from the fitted one, by Fieller's theorem.

    A direction is kept if the component of (a, b) at right angles to it does not differ from 0;
    of the two opposite fans of such directions the one with the fitted direction is returned.
    With circular covariance the half-width is asin(t sd / amplitude). Half a turn either way
    where no direction is excluded, as where the covariance is not known (NaN).
    """
    t = student_t(confidence_level, dof)
    sds, tie = seen.amplitude / seen.sd, seen.tie
    square = sds * sds - t * t * (1 - tie * tie)
    some = square >= 0
    reach, wide = np.sqrt(np.where(some, square, 0.0)), t * seen.across / seen.sd
    low, high = (
        np.where(some, np.degrees(np.arctan2(wide, reach + side * t * tie)), 180.0)
        for side in (-1, 1)
    )
    return one_or_many(-low), one_or_many(high)


def direction_probability(seen: Facing, dof: float, from_deg: Any, to_deg: Any) -> Any:
    """Return how probable it is that the true direction lies between two, from the fitted one.

    The confidence distribution that belongs to `direction_limits`: the component of (a, b) at
    right angles to the true direction, over its standard deviation, follows Student's t. The two
    directions lie less than half a turn apart, around the fitted direction or beside it.
    """
    sds, wide = seen.amplitude / seen.sd, seen.across / seen.sd

    def above(deg: Any) -> Any:
        angle = np.radians(deg)
        c, s = wide * np.cos(angle), np.sin(angle)
        return student_cdf(sds * s / np.sqrt(c * c - 2 * seen.tie * c * s + s * s), dof)

    return one_or_many(np.maximum(0.0, above(to_deg) - above(from_deg)))
