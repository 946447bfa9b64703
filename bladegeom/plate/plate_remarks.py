"""What the reader of a plate's shape should know."""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from bladegeom.fit.closing import closing_of
from bladegeom.kernel.design import design_of
from bladegeom.kernel.plan import plan_remarks
from bladegeom.plate.plate_design import PlateDesign, hair_of
from bladegeom.plate.plate_plan import same_readings
from bladegeom.result import grain
from bladegeom.tables.rings import Ring

if TYPE_CHECKING:
    from bladegeom.plate.plate import PlateFit

_ODD_TILT_DEG = 1.0
_STEPPED = 0.001


def remarks_of_plate(fit: PlateFit, design: PlateDesign) -> tuple[str, ...]:
    """Return the warnings of a fitted plate, most important first."""
    found = [*_of_rings(fit), *_of_scatter(fit, design), *_of_zeros(fit, design)]
    told = fit.value("dish") is not None
    one_way = {(one.stand, one.flipped) for one in fit.rings}
    if told and len(one_way) == 1:
        found.append(
            "the dish rests on the curve through rings read from one side: a guide that is itself "
            "bent would look the same; front and back, or the blade flipped, would tell"
        )
    if told and not any(one.zero for one in fit.rings):
        found.append(
            "no zero is named, so dial and stand are taken as untouched from the first ring to the "
            "last; if they were not, name the zeros apart: then the dish is not told"
        )
    saddle = fit.wave("saddle")
    if saddle is not None and saddle.resolved and "saddle_growth" in fit.not_identified:
        found.append(
            "the saddle is read at one distance only; its height is carried from there with the "
            "radius squared"
        )
    found += [
        f"{one.words} and {other.words} hold the very same readings: was one copied?"
        for one, other in combinations(fit.rings, 2)
        if same_readings(one, other)
    ]
    for one in fit.rings:
        found += [f"{one.words}: {remark}" for remark in plan_remarks(one.readings)]
    return tuple(dict.fromkeys(found))


def _of_rings(fit: PlateFit) -> list[str]:
    found = []
    if fit.tilt_grows is False:
        found.append(
            f"the wobble does not grow in proportion to the radius (chance {_chance(fit, 'tilt')}):"
            " the rim is bent, or a ring's radius is wrong, or its teeth were counted from another "
            "tooth; check the radii and carry no amplitude to the rim"
        )
    if fit.saddle_grows is False:
        found.append(
            f"the saddle does not grow with the radius squared (chance {_chance(fit, 'saddle')}): "
            "the bend is local, so its height at the rim is not to be trusted"
        )
    if fit.heights_fit is False:
        found.append(
            "the rings' mean heights do not fit one zero of the dial, a straight traverse and a "
            f"dish (chance {_chance(fit, 'heights')}): dial or stand moved between the rings, or "
            "the guide is bent; do not trust the dish, and read again, the first ring once more "
            "at the end"
        )
    return found


def _chance(fit: PlateFit, which: str) -> str:
    p = float(getattr(fit.checks, which))
    return "under 0.0001" if p < 0.0001 else f"{p:.1g}"


def _of_scatter(fit: PlateFit, design: PlateDesign) -> list[str]:
    graduated = any(one.readings.graduation for one in fit.rings)
    tilt = fit.wave("tilt")
    if math.isnan(fit.reading_sd):
        return [
            "all readings with one zero are the same: what there is lies below the indicator's "
            "graduation; state the graduation to learn the bound"
        ]
    found = []
    if tilt is not None and not tilt.resolved:
        found.append("the tilt is not told apart from the scatter: no direction is established")
    if not graduated and fit.residual_sd <= hair_of(design.reading):
        found.append(
            "the readings lie on the shape without any scatter, so nothing tells how sure it is: "
            "state the graduation"
        )
    if tilt is not None and (tilt.amplitude or 0.0) > math.tan(math.radians(_ODD_TILT_DEG)):
        found.append(
            "so large a tilt is far more than usable blades show: check the unit of the readings "
            "and the ring radii"
        )
    return found


def _of_zeros(fit: PlateFit, design: PlateDesign) -> list[str]:
    """Return the signs that dial or stand moved within a ring, where the rings share its zero."""
    found = []
    shared = [(one.flipped, one.zero) for one in fit.rings]
    for at, one in enumerate(fit.rings):
        if shared.count((one.flipped, one.zero)) < 2:
            continue
        residuals = fit.residuals[design.ring == at]
        if _stepped(one, residuals, fit.reading_sd, fit.dof):
            found.append(
                f"{one.words}: its turns stand at different heights, so dial or stand moved "
                "between them; give each turn as a ring with a zero of its own, or read again"
            )
        closing = closing_of(one.readings)
        # The scatter is that of all rings: a ring of few readings hardly shows its own.
        if closing is not None and closing._replace(sd=fit.reading_sd, dof=fit.dof).moved():
            found.append(
                f"{one.words}: the closing reading differs from the first by "
                f"{grain(closing.difference)} {fit.unit}, more than the readings scatter: the zero "
                "that the rings share moved, "
                "and the dish rests on it; look for a drifting stand and read again"
            )
    return found


def _stepped(ring: Ring, residuals: np.ndarray, sd: float, dof: int) -> bool:
    turns = ring.readings.turn[design_of(ring.readings, drift=False).in_fit]
    names = np.unique(turns)
    if len(names) < 2 or math.isnan(sd):
        return False
    means = residuals.mean()
    square = sum(
        (turns == one).sum() * (residuals[turns == one].mean() - means) ** 2 for one in names
    )
    f = float(square) / (len(names) - 1) / sd**2
    return float(special.fdtrc(len(names) - 1, dof, f)) < _STEPPED
