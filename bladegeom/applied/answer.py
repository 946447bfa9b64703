"""The whole answer for one blade as plain values: fit and marks together."""

from __future__ import annotations

from typing import Any

from bladegeom.applied.marks import NeutralLine, neutral_line
from bladegeom.fitted.wobble import WobbleFit


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
        ``_high`` are 95 % limits; None where something is not established.
    """
    answer = fit.to_dict()
    warnings = answer.pop("warnings")
    marks = neutral_line(fit) if marks is None else marks
    return {**answer, **marks.to_dict(), "warnings": warnings}
