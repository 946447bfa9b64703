"""A value with its doubt, as the settings of a saw are measured: mean, reach, verdict."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.kernel.doubt import student_t
from bladegeom.result import between, number

Answer = Literal["yes", "no", "cannot tell"]
Verdict = Literal["within", "out", "cannot tell"]

_VERDICTS: dict[Answer, Verdict] = {"yes": "within", "no": "out", "cannot tell": "cannot tell"}


@dataclass(frozen=True)
class Estimate:
    """A value and how well it is known.

    Attributes
    ----------
    value : float
    u : float
        Standard uncertainty (k = 1); NaN where nothing tells it.
    dof : float
        Degrees of freedom; infinite where `u` is stated and not estimated.
    """

    value: float
    u: float
    dof: float = math.inf

    @property
    def reach(self) -> float:
        """Half the width of the 95 % limits (Student's t times `u`, GUM annex G)."""
        return student_t(0.95, self.dof) * self.u

    @property
    def low(self) -> float:
        """Lower 95 % limit."""
        return self.value - self.reach

    @property
    def high(self) -> float:
        """Upper 95 % limit."""
        return self.value + self.reach

    def times(self, factor: float) -> Estimate:
        """Return the estimate in another unit, or of what is proportional to it."""
        return Estimate(self.value * factor, self.u * abs(factor), self.dof)

    def plus(self, *others: Estimate | Known) -> Estimate:
        """Return the sum of independent estimates, its degrees of freedom after Welch (GUM G.4)."""
        parts = (self, *others)
        u, dof = combined((part.u, part.dof) for part in parts)
        return Estimate(math.fsum(part.value for part in parts), u, dof)

    def verdict(self, tolerance: float | None) -> Verdict | None:
        """Return whether the size of the value, doubt and all, keeps to a tolerance, if any."""
        return None if tolerance is None else _VERDICTS[judge(self, tolerance)]

    def text(self, unit: str) -> str:
        """Return value, unit and 95 % limits in words, rounded to two digits of the doubt."""
        if not math.isfinite(self.u):
            return f"{number(self.value)} {unit} (doubt not known)"
        limits = between(self.low, self.high, self.u)
        return f"{number(self.value, self.u)} {unit} (95 %: {limits})"


class Known(NamedTuple):
    """A value with limits that need not lie evenly about it; NaN for what nothing tells.

    Attributes
    ----------
    value, u : float
        The value and its standard uncertainty (k = 1).
    low, high : float
        Its 95 % limits.
    dof : float
        Degrees of freedom of `u`, for sums.
    """

    value: float
    u: float = math.nan
    low: float = math.nan
    high: float = math.nan
    dof: float = math.inf

    def times(self, factor: float) -> Known:
        """Return it in another unit, or of what is proportional to it."""
        low, high = self.low * factor + 0.0, self.high * factor + 0.0  # There is no minus nothing.
        if factor < 0:
            low, high = high, low
        return Known(self.value * factor + 0.0, self.u * abs(factor), low, high, self.dof)

    def text(self, unit: str) -> str:
        """Return value, unit and 95 % limits in words, rounded to two digits of the doubt."""
        doubt = (self.high - self.low) / 4 if math.isnan(self.u) else self.u
        said = f"{number(self.value, doubt)} {unit}"
        if math.isnan(self.high):
            return f"{said} (doubt not known)"
        return f"{said} (95 %: {between(self.low, self.high, doubt)})"


def judge(measured: Estimate | Known, limit: float) -> Answer:
    """Return whether the size of what was measured keeps to a limit; each trade words it itself.

    Yes if all that lies within the 95 % limits does, no if none of it does, else it cannot be told.
    """
    if abs(measured.low) <= limit and abs(measured.high) <= limit:
        return "yes"
    return "no" if measured.low > limit or measured.high < -limit else "cannot tell"


def combined(parts: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """Return the root of the sum of squares, and its degrees of freedom after Welch-Satterthwaite.

    Parameters
    ----------
    parts : iterable of (float, float)
        Standard uncertainty and degrees of freedom of each independent part.

    Returns
    -------
    u, dof : float
        As GUM 5.1.2 and G.4.1 make them.
    """
    known = [(u, dof) for u, dof in parts if u != 0]
    u = math.hypot(*(one for one, _ in known))
    # As shares of the sum, so that no square is lost to the smallest number there is.
    shares = math.fsum((one / u) ** 4 / dof for one, dof in known)
    return u, 1 / shares if shares else math.inf


def scatter_of(*groups: NDArray[np.float64]) -> tuple[float, int]:
    """Return the pooled standard deviation of repeats and its degrees of freedom.

    Parameters
    ----------
    *groups : ndarray, shape (n,)
        Readings of the same thing, each group about its own mean.

    Returns
    -------
    sd : float
        NaN where nothing was read twice.
    dof : int
    """
    dof = sum(len(group) - 1 for group in groups)
    if dof and all(np.ptp(group) == 0 for group in groups):
        return 0.0, dof  # Not the dust that the means' binary arithmetic would leave.
    squares = math.fsum(float(((group - group.mean()) ** 2).sum()) for group in groups)
    return (math.sqrt(squares / dof), dof) if dof else (math.nan, 0)


def of_readings(
    value: float, sd: float, dof: float, graduation: float | None, spread: float, rounding: float
) -> Estimate:
    """Return what was worked out from readings, with its doubt.

    Where the readings scatter by less than half a graduation, or none was repeated, rounding
    errors are the same every time and do not average out: they are added (GUM F.2.2.1).

    Parameters
    ----------
    value : float
    sd, dof : float
        Scatter of one reading; NaN and 0 where nothing was repeated.
    graduation : float, optional
    spread, rounding : float
        Standard uncertainty of the value for a scatter of 1, and for a graduation of 1.

    Returns
    -------
    Estimate
        Its `u` is NaN where neither repeats nor a graduation tell it.
    """
    parts: list[tuple[float, float]] = []
    if dof:
        parts.append((sd * spread, dof))
    if graduation is not None and not sd >= graduation / 2:
        parts.append((graduation * rounding, math.inf))
    if not parts or (graduation is None and sd == 0):
        return Estimate(value, math.nan)
    return Estimate(value, *combined(parts))


def mean_of(readings: NDArray[np.float64], graduation: float | None) -> Estimate:
    """Return the mean of repeated readings of one thing."""
    count = len(readings)
    mean = float(readings.mean())
    scatter = scatter_of(readings)
    return of_readings(mean, *scatter, graduation, 1 / math.sqrt(count), 1 / math.sqrt(12))
