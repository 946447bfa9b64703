"""The test cut against what was predicted: do they agree, and where to look if not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.estimate import Answer, Estimate
from bladegeom.faults import refuse
from bladegeom.kinds import checked
from bladegeom.result import Result, Row, between, derived, described, number, quantity

_WORDS: dict[Answer, str] = {"yes": "agree", "no": "do not agree", "cannot tell": "cannot tell"}
_LOOK_FOR = ": look for dish, the square, or a sign"

_LEAST_P = 0.05

_MOST_STEPS, _CLOSE = 1000, 1e-7
_LARGE_DOF = 1e7

Floats = NDArray[np.float64]


@checked
@dataclass(frozen=True, repr=False)
class Comparison(Result):
    """One thing that was predicted and measured, each independent of the other.

    Predictions of several things may share some of their doubt; see `Estimate.causes`.
    """

    what: str = quantity("such as width of the kerf")
    predicted: Estimate = quantity("as predicted", parts=("", "_u"))  # noqa: RUF009
    measured: Estimate = quantity("as measured", parts=("", "_u"))  # noqa: RUF009
    unit: str = quantity("of both, such as mm, in or deg")
    plus: str = ""
    """Which way a value with a plus lies, in words."""

    @derived(
        "measured less predicted, its doubt from both (GUM 5.1.2, G.4.1)", parts=("", "_u", "_dof")
    )
    def difference(self) -> Estimate:
        return self.measured.plus(self.predicted.times(-1.0))

    @derived(
        "the difference over its doubt, as a normal deviate: with few degrees of freedom the one "
        "with the probability of Student's t; NaN where a doubt is not known"
    )
    def z(self) -> float:
        off = self.difference
        return float(_deviates(off.value / off.u, off.dof)) if self.known else math.nan

    @derived("chance of a difference at least as large where both are right")
    def p_value(self) -> float:
        return float(special.chdtrc(1, self.z**2))

    @property
    def agrees_turned(self) -> bool:
        """Whether it would agree with the sign of the measured value turned."""
        return replace(self, measured=self.measured.times(-1.0)).p_value >= _LEAST_P

    @property
    def known(self) -> bool:
        """Whether both doubts are known."""
        return math.isfinite(self.difference.u)

    @property
    def line(self) -> str:
        """Predicted, measured and their difference in words."""
        one, other, off = self.predicted, self.measured, self.difference
        limits = f"95 %: {between(off.low, off.high, off.u)}" if self.known else "doubt not known"
        return (
            f"predicted {number(one.value, one.u)}, measured {number(other.value, other.u)}, "
            f"difference {number(off.value, off.u)} {self.unit} ({limits})"
            + (f"; plus: {self.plus}" if self.plus else "")
        )

    def _rows(self, *, told: bool = True) -> Sequence[Row]:
        # What it is and its unit stand first, though they are given as first and last.
        return sorted(super()._rows(told=told), key=lambda row: row.key not in ("what", "unit"))

    def _title(self) -> str:
        return f"{self.what}: {self.line}"


@described
class CutComparison(Result):
    """Whether the test cuts came out as predicted."""

    @derived("agree, do not agree (and where to look) or cannot tell")
    def verdict(self) -> str:
        return self.word + (_LOOK_FOR if self.agree == "no" else "")

    chi_square: float = quantity(
        "of the checks whose doubt is known, what they share of it counted once"
    )
    dof: int = quantity("how many those are")
    p_value: float = quantity("chance of so large a sum where all is right; none without a doubt")
    checks: tuple[Comparison, ...] = quantity(
        "every check", label="checks", text=lambda one: [(a.what, a.line) for a in one.checks]
    )

    @property
    def agree(self) -> Answer:
        """Whether predicted and measured agree.

        Checks whose doubt is known and that do not agree are not excused by one that cannot be
        told.
        """
        if self.p_value < _LEAST_P:
            return "no"
        return "yes" if self.dof == len(self.checks) else "cannot tell"

    @property
    def word(self) -> str:
        """The verdict without where to look."""
        return _WORDS[self.agree]

    @property
    def hints(self) -> tuple[str, ...]:
        """Where to look."""
        said = [
            f"{one.what}: its doubt is not known; measure it again, or state the graduation"
            for one in self.checks
            if not one.known
        ]
        if self.agree != "no":
            return tuple(said)
        off = [one for one in self.checks if one.p_value < _LEAST_P]
        lengths_agree = any(one.unit != "deg" and one.p_value >= _LEAST_P for one in self.checks)
        for one in off:
            if one.agrees_turned:
                said.append(f"a sign: {one.what} would agree with the sign turned")
            elif one.unit == "deg" and lengths_agree:
                said.append(
                    f"dish, the square, or another tooth than the marked one: {one.what} disagrees "
                    "and the width agrees"
                )
        return tuple(said)

    @property
    def lines(self) -> tuple[str, ...]:
        """The verdict, every check and the hints in words."""
        checks = (f"{one.what}: {one.line}" for one in self.checks)
        return (*checks, f"{self._said()}.", *(f"{hint}." for hint in self.hints))

    def _said(self) -> str:
        if not self.dof:
            return f"predicted and measured: {self.verdict}"
        return (
            f"predicted and measured: {self.verdict} (chi-square {self.chi_square:.2f} for "
            f"{self.dof} check{'' if self.dof == 1 else 's'}, p = {self.p_value:.2g})"
        )

    def _title(self) -> str:
        return f"Test cut, {self._said()}"

    def _remarks(self) -> Sequence[str]:
        return self.hints


@checked
def compare_test_cut(checks: Sequence[Comparison]) -> CutComparison:
    """Hold what test cuts measured against what was predicted, by a chi-square of all of them.

    Predictions that rest on one blade or on the same slots are off together (`Estimate.causes`), so
    the chi-square is that of the joint covariance. Every source of doubt, shared or not, has its
    own degrees of freedom: of all ways to share the differences out over the sources, the likeliest
    is found, and what each then contributes, over its standard uncertainty, is turned from
    Student's t into the normal deviate of the same probability. Their squares add up to a
    chi-square with as many degrees of freedom as there are checks. They agree where chance alone
    gives so large a sum at least once in 20.

    Raises
    ------
    RefusedError
        If there is no check, a value is no number, or no doubt is left at all.
    """
    if not checks:
        raise refuse("no test cut is given", "give at least one Comparison", column="checks")
    for one in checks:
        _usable(one)
    known = [one for one in checks if one.known]
    chi_square = _chi_square(known) if known else 0.0
    return CutComparison(
        checks=tuple(checks),
        chi_square=chi_square,
        dof=len(known),
        p_value=float(special.chdtrc(len(known), chi_square)) if known else math.nan,
    )


def _chi_square(checks: Sequence[Comparison]) -> float:
    """Return the chi-square of differences that share sources of doubt; see `compare_test_cut`.

    A source of Student's t is worked out as a normal one whose variance is larger in the ratio of
    ``t^2`` to the squared deviate of the same probability, step by step until that fits.
    """
    u = np.array([one.difference.u for one in checks])
    off = np.array([one.difference.value for one in checks]) / u
    sources, dof = _sources(checks)
    sources /= u[:, np.newaxis]
    weight = np.ones_like(dof)
    for _ in range(_MOST_STEPS):
        wide = sources / np.sqrt(weight)
        t = wide.T @ np.linalg.solve(wide @ wide.T, off) / np.sqrt(weight)
        deviates = _deviates(t, dof)
        fits = np.divide(deviates, t, out=np.ones_like(t), where=np.abs(t) > 1e-6) ** 2
        if np.abs(fits - weight).max() < _CLOSE:
            break
        weight = (weight + fits) / 2
    return float(deviates @ deviates)


def _sources(checks: Sequence[Comparison]) -> tuple[Floats, Floats]:
    """Return what every source adds to every difference, shape (checks, sources), and its dof."""
    columns: dict[tuple[int, int], Floats] = {}
    dof: dict[tuple[int, int], float] = {}
    for at, one in enumerate(checks):
        # No check is so sure that it could contradict another by less than a millionth.
        own = [one.predicted.apart, one.measured.apart, (1e-6 * one.difference.u, math.inf)]
        sources = [(-1 - at, place, *part) for place, part in enumerate(own)]
        for cause in one.difference.causes:
            parts = enumerate(cause.parts)
            sources += [(id(cause.of), place, part, cause.dof) for place, part in parts]
        for source, place, part, freedom in sources:
            key = (source, place)
            columns.setdefault(key, np.zeros(len(checks)))[at] += part
            dof[key] = freedom
    return np.column_stack([*columns.values()]), np.array([*dof.values()])


def _deviates(t: Any, dof: Any) -> Floats:
    """Return the normal deviates with the probability of Student's t."""
    # With many degrees of freedom a tail can be smaller than the smallest number there is.
    tail = special.stdtr(np.minimum(dof, _LARGE_DOF), -np.abs(t))
    normal = np.isinf(dof) | (tail == 0)
    size = np.where(normal, np.abs(t), -special.ndtri(np.where(normal, 0.5, tail)))
    deviates: Floats = np.copysign(size, t)
    return deviates


def _usable(one: Comparison) -> None:
    for which, estimate in (("predicted", one.predicted), ("measured", one.measured)):
        if not math.isfinite(estimate.value):
            problem = f"{one.what}: the {which} value is {estimate.value:g}"
            raise refuse(problem, "give a number", value=estimate.value, column=which)
        if estimate.u < 0 or not (estimate.dof > 0 or math.isnan(estimate.u)):
            raise refuse(
                f"{one.what}: the {which} doubt is {estimate.u:g} with {estimate.dof:g} degrees "
                "of freedom",
                "give a standard uncertainty above 0, or NaN where it is not known",
                value=estimate.u,
                column=which,
            )
    if one.difference.u == 0:
        raise refuse(
            f"{one.what}: neither value has any doubt",
            "give the standard uncertainty of one of them at least",
            value=0,
            column=one.what,
        )
