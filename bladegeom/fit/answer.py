"""The whole answer for one blade as plain values: what may be wrong, fit and marks together."""

from __future__ import annotations

from typing import Any

from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.wobble import WobbleFit


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
        Lengths in ``unit``; every ``_u`` is a standard uncertainty (k = 1), ``_low`` and
        ``_high`` are 95 % limits; None where something is not established. Where ``mistakes``
        is not empty, no tooth is to be marked before the first of them is cleared up; it is the
        first of the ``warnings`` too.
    """
    marks = neutral_line(fit) if marks is None else marks
    answer = fit_answer(fit, marks)
    answer.pop("warnings")
    return {
        **answer,
        "any_rotation": marks.any_rotation,
        "mistakes": [one.to_dict() for one in fit.findings],
        "warnings": list(fit.said),
    }


def fit_answer(fit: WobbleFit, marks: NeutralLine | None = None) -> dict[str, Any]:
    """Return the same of the fit and the marks alone, as `fit_table` does for many blades."""
    answer = fit.to_dict()
    warnings = answer.pop("warnings")
    marks = neutral_line(fit) if marks is None else marks
    return {**answer, **marks.to_dict(), "warnings": warnings}
