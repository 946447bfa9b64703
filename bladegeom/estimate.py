"""A value with its doubt, as the settings of a saw are measured: mean, reach, verdict."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any, Literal, NamedTuple

from bladegeom.kernel.doubt import student_t
from bladegeom.result import between, number

Answer = Literal["yes", "no", "cannot tell"]
Verdict = Literal["within", "out", "cannot tell"]

_VERDICTS: dict[Answer, Verdict] = {"yes": "within", "no": "out", "cannot tell": "cannot tell"}


class Cause(NamedTuple):
    """A cause of doubt that several estimates may share, such as the readings of one blade.

    Attributes
    ----------
    of : object
        What it is; the same object in every estimate that shares it.
    parts : tuple of float
        Standard uncertainties that its independent parts make, with the sign of their effect.
    dof : float
        Degrees of freedom.
    """

    of: object
    parts: tuple[float, ...]
    dof: float


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
    causes : tuple of Cause
        Of its doubt, those that other estimates may share.
    """

    value: float
    u: float
    dof: float = math.inf
    causes: tuple[Cause, ...] = field(default=(), repr=False, compare=False)

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
        return self.carried(self.value * factor, factor)

    def carried(self, value: float, factor: float) -> Estimate:
        """Return what is made of it, with so much of its doubt (GUM 5.1.2: a derivative)."""
        causes = (
            cause._replace(parts=tuple(factor * part for part in cause.parts))
            for cause in self.causes
        )
        return Estimate(value, self.u * abs(factor), self.dof, tuple(causes))

    def plus(self, *others: Estimate | Known) -> Estimate:
        """Return the sum of independent estimates, its degrees of freedom after Welch (GUM G.4)."""
        parts = (self, *others)
        u, dof = combined((part.u, part.dof) for part in parts)
        causes = (one for part in parts if isinstance(part, Estimate) for one in part.causes)
        return Estimate(math.fsum(part.value for part in parts), u, dof, tuple(causes))

    def caused_by(self, cause: object, *parts: float) -> Estimate:
        """Return it with a cause that others may share, and what each part of that makes."""
        return replace(self, causes=(Cause(cause, parts, self.dof),))

    @property
    def apart(self) -> tuple[float, float]:
        """Standard uncertainty of what is left beside its causes, and its degrees of freedom."""
        held = [(math.hypot(*one.parts) / self.u, one.dof) for one in self.causes if self.u]
        left = 1 - math.fsum(share**2 for share, _ in held)
        if left < 1e-9:
            return 0.0, math.inf
        # Welch-Satterthwaite, solved for the part that is not known.
        rest = 1 / self.dof - math.fsum(share**4 / dof for share, dof in held)
        return self.u * math.sqrt(left), left**2 / rest if rest > 0 else math.inf

    def verdict(self, tolerance: float | None) -> Verdict | None:
        """Return whether the size of the value, doubt and all, keeps to a tolerance, if any."""
        return None if tolerance is None else verdict_of(self, tolerance)

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

    @property
    def reach(self) -> float:
        """How far its limits lie from the value, the farther one."""
        return max(self.high - self.value, self.value - self.low)

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


def difference(one: Known, other: Known) -> Known:
    """Return one length less another, whose errors are independent, with 95 % limits.

    What either may be off toward the other is added as squares: the method of Zou and Donner
    (2008, Stat Med 27:1693-1702; cited from memory), which for symmetrical limits is the root of
    the sum of squares.
    """
    value = one.value - other.value
    down = math.hypot(one.value - one.low, other.high - other.value)
    up = math.hypot(one.high - one.value, other.value - other.low)
    return Known(value, low=value - down, high=value + up)


def judge(measured: Estimate | Known, limit: float) -> Answer:
    """Return whether the size of what was measured keeps to a limit; each trade words it itself.

    Yes if all that lies within the 95 % limits does, no if none of it does, else it cannot be told.
    """
    yes, no = keeps(measured.low, measured.high, limit)
    return "yes" if yes else "no" if no else "cannot tell"


def keeps(low: Any, high: Any, limit: Any) -> tuple[Any, Any]:
    """Return of one value or many whether its 95 % limits are within a limit, or beyond it."""
    return (abs(low) <= limit) & (abs(high) <= limit), (low > limit) | (high < -limit)


def verdict_of(measured: Estimate | Known, tolerance: float) -> Verdict:
    """Return whether the size of what was measured keeps to a tolerance."""
    return _VERDICTS[judge(measured, tolerance)]


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
