"""The answer of one blade: fit, marks, likely mistakes and warnings, and what rests on them."""

from __future__ import annotations

from typing import Any

from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.standing import Standing
from bladegeom.fit.wobble import OfBlade, WobbleFit
from bladegeom.kinds import checked
from bladegeom.mistakes.check import Finding
from bladegeom.result import derived, described, quantity


def _of_marks(key: str, meaning: str) -> Any:
    """Declare a tooth of the marks; None where a mistake seems likely."""

    def get(one: Answer) -> Any:
        return None if one.fit.mistake else getattr(one.marks, key)

    return derived(f"{meaning}; None where a mistake seems likely")(get)


@described
class Answer(OfBlade):
    """All that is known of one blade.

    Lengths are in ``unit``; every ``_u`` is a standard uncertainty (k = 1), ``_low`` and ``_high``
    are 95 % limits; None where something is not established. Where ``mistakes`` is not empty, no
    tooth is named to be marked before they are cleared up.
    """

    fit: WobbleFit = quantity("the wobble", inline=True)
    marks: NeutralLine = quantity("the teeth to mark", inline=True)

    near_tooth = _of_marks("near_tooth", "tooth nearest to the near direction")
    far_tooth = _of_marks("far_tooth", "the same for the far direction")
    neutral_teeth = _of_marks("neutral_teeth", "teeth to mark: the neutral line")
    flat = _of_marks("flat", "whether no direction is established and none matters")
    better_tooth = _of_marks("better_tooth", "the neutral tooth that lies closer to its direction")

    @derived("whether any rotation will do: the blade is flat, and no mistake seems likely")
    def any_rotation(self) -> bool:
        return self.marks.any_rotation

    @derived("neutral teeth as read, where a mistake seems likely: not to be marked")
    def read_teeth(self) -> list[int] | None:
        return self.fit.named_teeth if self.fit.mistake else None

    @derived("the same with all that seems wrong repaired as proposed")
    def repaired_teeth(self) -> list[int] | None:
        return self.fit.repaired.named_teeth if self.fit.repaired else None

    @derived("likely mistakes in the readings, the likeliest first")
    def mistakes(self) -> tuple[Finding, ...]:
        return self.fit.findings.found

    @derived("teeth that stand off alike in several turns, and are not in the fit")
    def standing(self) -> tuple[Standing, ...]:
        return self.fit.standing

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
