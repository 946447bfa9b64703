"""What the reader of a fit should know."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bladegeom.fit.closing import closing_of
from bladegeom.kernel.plan import bend_leaks, plan_remarks
from bladegeom.result import grain, number

if TYPE_CHECKING:
    from bladegeom.fit.wobble import WobbleFit

_ODD_TILT_DEG = 1.0
_DUST = 1e-9


def remarks_of(fit: WobbleFit) -> tuple[str, ...]:
    """Return the warnings of a fit, most important first."""
    readings = fit.readings
    found: list[str] = []
    if fit.raw_tir == 0:
        found.append(
            "all readings are the same: the runout is below the indicator's graduation"
            + ("" if readings.graduation else "; state the graduation to learn the bound")
        )
    elif not fit.resolved:
        found.append("the wobble is not told apart from the scatter: no direction is established")
    elif not readings.graduation and fit.residual_sd < _DUST * fit.raw_tir:
        found.append(
            "the readings lie on the curve without any scatter, so nothing tells how sure they "
            "are: state the graduation"
        )
    if readings.ring_radius_mm is None:
        found.append(
            "the ring radius is not stated: no tilt and no squareness error; give ring_radius"
        )
    elif (fit.tilt_deg or 0) > _ODD_TILT_DEG:
        found.append(
            f"a tilt of {fit.tilt_deg:.1f} deg is far more than usable blades show: check the "
            "unit of the readings and the ring radius"
        )
    if fit.flagged:
        teeth = ", ".join(str(tooth) for tooth in fit.flagged)
        one = len(fit.flagged) == 1
        found.append(
            f"{'tooth' if one else 'teeth'} {teeth} {'stands' if one else 'stand'} off the curve "
            f"and {'counts' if one else 'count'} less: clean, and read again"
        )
    if not fit.harmonics and bend_leaks(readings):
        found.append(
            "the plate looks bent and an arc of it was not read, so the bend leaks into the wobble "
            "and the limits are too narrow: read the other teeth, or fit with harmonics 3"
        )
    found += plan_remarks(readings)
    found += _of_closure(fit)
    if fit.drift_per_turn is not None:
        found.append(
            f"a drift of {number(fit.drift_per_turn, fit.drift_u_per_turn)} {fit.unit} a turn is "
            f"taken out; that multiplies the variance of the wobble by {fit.drift_cost:.1f}"
        )
    return tuple(found)


def _of_closure(fit: WobbleFit) -> list[str]:
    closing = closing_of(fit.readings)
    if closing is None or fit.closure_bias is None or not closing.moved():
        return []
    most = closing.allowed()
    return [
        f"the closing reading differs from the first by {grain(closing.difference)} {fit.unit}, "
        f"and on a steady stand by at most {number(most, most)} (99 %): look for a drifting stand "
        "or a bumped base and read again; a steady drift of that would shift the wobble by "
        f"{number(fit.closure_bias)} {fit.unit}"
    ]
