"""The whole answer for one blade as plain values: fit and marks together."""

from __future__ import annotations

from typing import Any

from bladegeom.applied.marks import neutral_line
from bladegeom.fitted.wobble import WobbleFit


def blade_answer(fit: WobbleFit) -> dict[str, Any]:
    """Return everything that is known of one blade, under the keys of the command's JSON.

    Parameters
    ----------
    fit : WobbleFit

    Returns
    -------
    dict
        Lengths in ``unit``; every ``_u`` is a standard uncertainty (k = 1), ``_low`` and
        ``_high`` are 95 % limits; None where something is not established.
    """
    answer = fit.to_dict()
    warnings = answer.pop("warnings")
    return {**answer, **neutral_line(fit).to_dict(), "warnings": warnings}
