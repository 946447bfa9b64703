"""How sure: limits of amplitude and direction, detection, and the chance of naming right.

Throughout, an estimate (a, b) of the wobble's cosine and sine parts has the covariance C, which is
known up to a variance estimated with `dof` degrees of freedom (infinite where it is known).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]

_LARGE_DOF = 1e7
_GRID = np.linspace(0.0, 1.0, 301)


class Interval(NamedTuple):
    """Limits at a stated confidence level.

    Attributes
    ----------
    low, high : float
    confidence_level : float
    """

    low: float
    high: float
    confidence_level: float


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


def zero_amplitude_p(f: float, dof: float) -> float:
    """Return the probability of so large an F, with 2 and `dof` degrees of freedom, by chance.

    With two degrees of freedom above, the F distribution has the closed form
    ``(1 + 2 F / dof) ** (-dof / 2)``. This is the zero-amplitude test of cosinor analysis
    (Nelson et al. 1979, Chronobiologia 6(4):305-323).
    """
    dof = min(dof, _LARGE_DOF)
    return math.exp(-dof / 2 * math.log1p(2 * f / dof)) if math.isfinite(f) else 0.0


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

    Parameters
    ----------
    estimate, amplitude, dof : array_like
        Of shapes that broadcast to (...).

    Returns
    -------
    ndarray, shape (...)
    """
    x, centre, v = (
        np.asarray(one, dtype=np.float64)[..., np.newaxis]
        for one in (estimate, amplitude, np.minimum(dof, _LARGE_DOF))
    )
    reach = 38.0 + np.log1p(x)
    u = reach * _GRID
    tangent = np.sinh(u) / (1 + x)
    cosine_squared = 1 / (1 + tangent**2)
    sine_squared = tangent**2 * cosine_squared
    squared = np.maximum((x - centre) ** 2 + 4 * x * centre * sine_squared, 1e-300)
    mass = -np.expm1(-v / 2 * np.log1p(squared / v))
    angle = x * ((x - centre) + 2 * centre * sine_squared) / squared
    stretch = 2 * np.cosh(u) / (1 + x) * cosine_squared
    # The integrand is the same on either side of u = 0.
    inside = mass * angle * stretch
    half = np.sum(inside, axis=-1) - inside[..., 0] / 2
    total: Floats = half * reach[..., 0] / (len(_GRID) - 1) / math.pi
    return total


def amplitude_limits(
    estimate: float, sd: float, dof: float, confidence_level: float
) -> tuple[float, float]:
    """Return the limits of an amplitude from its estimate, exact for circular covariance.

    The limits are the amplitudes at which an estimate as large, or as small, as this one would be
    met with half of the remaining probability (see `amplitude_cdf`). At no amplitude they agree
    with the zero-amplitude test, at a large one with Student's t. The upper limit is never below
    that of an estimate at which F is 1, so that a lucky quiet turn promises nothing.

    Parameters
    ----------
    estimate : float
        Fitted amplitude.
    sd : float
        Its estimated standard deviation, along the fitted direction; above 0.
    dof : float
    confidence_level : float

    Returns
    -------
    low, high : float
    """
    alpha = 1 - confidence_level
    student_t(confidence_level, dof)
    x = estimate / sd
    low = 0.0
    if float(amplitude_cdf(x, 0.0, dof)) > 1 - alpha / 2:
        low = _amplitude_at(x, dof, 1 - alpha / 2, 0.0, x)
    x = max(x, math.sqrt(2))
    if float(amplitude_cdf(x, 0.0, dof)) <= alpha / 2:
        return low * sd, 0.0
    reach = 2 + student_t(confidence_level, dof)
    while float(amplitude_cdf(x, x + reach, dof)) > alpha / 2:
        reach *= 2
    return low * sd, _amplitude_at(x, dof, alpha / 2, 0.0, x + reach) * sd


def _amplitude_at(x: float, dof: float, probability: float, low: float, high: float) -> float:
    """Find the amplitude between `low` and `high` at which the estimate has that probability.

    Regula falsi in its Illinois form; importing a general root finder would double the start-up.
    """
    at_low = float(amplitude_cdf(x, low, dof)) - probability
    at_high = float(amplitude_cdf(x, high, dof)) - probability
    hair = max(1e-13, 4 * math.ulp(high))
    side = 0
    while high - low > hair and at_low != at_high:
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        at_middle = float(amplitude_cdf(x, middle, dof)) - probability
        if abs(at_middle) < 1e-13:
            return middle
        if at_middle > 0:
            low, at_low = middle, at_middle
            at_high = at_high / 2 if side == 1 else at_high
            side = 1
        else:
            high, at_high = middle, at_middle
            at_low = at_low / 2 if side == -1 else at_low
            side = -1
    return (low + high) / 2


def sd_toward(direction_deg: ArrayLike, covariance: Floats) -> Floats:
    """Return the standard deviation of the wobble's component toward directions in the blade."""
    angle = np.radians(np.asarray(direction_deg, dtype=np.float64))
    toward = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    variance: Floats = np.sum((toward @ covariance) * toward, axis=-1)
    return np.sqrt(variance)


def direction_limits(
    a: float, b: float, covariance: Floats, dof: float, confidence_level: float
) -> tuple[float, float]:
    """Return the limits of the direction of (a, b) in degrees, by Fieller's theorem.

    A direction is kept if the component of (a, b) at right angles to it does not differ from 0;
    of the two opposite fans of such directions the one with the fitted direction is returned.
    With circular covariance the half-width is asin(t sd / amplitude).

    Returns
    -------
    low, high : float
        Degrees, low <= fitted direction <= high; a full turn apart where no direction is
        excluded, as where the covariance is not known (NaN).
    """
    factor = student_t(confidence_level, dof)
    near = math.degrees(math.atan2(b, a))
    if not np.isfinite(covariance).all():
        return near - 180.0, near + 180.0
    estimate = np.array([a, b])
    size, axes = np.linalg.eigh(np.outer(estimate, estimate) - factor**2 * covariance)
    if size[1] <= 0:
        return near - 180.0, near + 180.0
    # Directions at right angles to those kept lie within this angle of the lower axis.
    half_width = math.degrees(math.atan(math.sqrt(max(0.0, -size[0]) / size[1])))
    axis = math.degrees(math.atan2(axes[1, 0], axes[0, 0])) - 90.0
    axis += 180.0 * round((near - axis) / 180.0)
    return axis - half_width, axis + half_width


def direction_probability(
    a: float, b: float, covariance: Floats, dof: float, from_deg: float, to_deg: float
) -> float:
    """Return how probable it is that the true direction lies between two directions.

    The confidence distribution that belongs to `direction_limits`: the component of (a, b) at
    right angles to the true direction, over its standard deviation, follows Student's t. The two
    directions lie less than half a turn apart, around the fitted direction or beside it.
    """

    def below(direction_deg: float) -> float:
        angle = math.radians(direction_deg)
        across = -a * math.sin(angle) + b * math.cos(angle)
        sd = float(sd_toward(direction_deg + 90.0, covariance))
        return float(special.stdtr(min(dof, _LARGE_DOF), across / sd))

    return max(0.0, below(from_deg) - below(to_deg))
