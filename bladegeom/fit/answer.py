"""The answer of one blade: fit, marks, likely mistakes and warnings, and what rests on them."""

from __future__ import annotations

from typing import Any

from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.wobble import OfBlade, WobbleFit
from bladegeom.kinds import checked
from bladegeom.mistakes.check import Finding
from bladegeom.result import derived, described, quantity


@described
class Answer(OfBlade):
    """All that is known of one blade.

    Lengths are in ``unit``; every ``_u`` is a standard uncertainty (k = 1), ``_low`` and ``_high``
    are 95 % limits; None where something is not established. Where ``mistakes`` is not empty, no
    tooth is to be marked before they are cleared up.
    """

    fit: WobbleFit = quantity("the wobble", inline=True)
    marks: NeutralLine = quantity("the teeth to mark", inline=True)

    @derived("whether any rotation will do: no direction, and at worst within the tolerance")
    def any_rotation(self) -> bool:
        return self.marks.any_rotation

    @derived("likely mistakes in the readings, the likeliest first")
    def mistakes(self) -> tuple[Finding, ...]:
        return self.fit.findings.found

    def _title(self) -> str:
        return self.marks._title()


def answer_of(fit: WobbleFit, marks: NeutralLine | None = None) -> Answer:
    """Return the answer of a blade; its marks are those of the fit if not given."""
    return Answer(fit=fit, marks=neutral_line(fit) if marks is None else marks)


@checked
def blade_answer(fit: WobbleFit, marks: NeutralLine | None = None) -> dict[str, Any]:
    """Return everything that is known of one blade, under the keys of the command's JSON.

    Parameters
    ----------
    fit : WobbleFit
    marks : NeutralLine, optional
        Those of the fit if not given.

    Returns
    -------
    dict
        See `Answer`.
    """
    return answer_of(fit, marks).to_dict()


def fit_answer(fit: WobbleFit) -> dict[str, Any]:
    """Return the same of fit and marks alone, as `fit_table` does for many blades."""
    answer = fit.to_dict()
    warnings = answer.pop("warnings")
    return answer | neutral_line(fit).to_dict() | {"warnings": warnings}
