"""The flange's face read directly, without the blade: a second estimate of its wobble."""

from __future__ import annotations

import numpy as np

from bladegeom.arbor.mounted import check_doubt, check_same_way
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import zero_amplitude_p
from bladegeom.lengths import MM_PER
from bladegeom.readings import Readings
from bladegeom.wobble import Wobble


def flange_at_ring(flange: WobbleFit, blade: Readings, unit: str) -> Wobble:
    """Return the flange's wobble carried out to the blade's ring.

    Blade and flange share the tilt, so the wobble grows as the ring radius. The doubt of both
    radii, where stated, is in it.

    Parameters
    ----------
    flange : WobbleFit
        Of the flange's face, read from the same side as the blade and counted the same way, as
        of a "blade" whose tooth 1 stands at the arbor's mark.
    blade : Readings
    unit : str
        Of the result.

    Raises
    ------
    RefusedError
        If a ring radius or the doubt is not known, or sides or numberings differ.
    """
    read = flange.readings
    inner, outer = read.ring_radius_mm, blade.ring_radius_mm
    if inner is None or outer is None:
        raise refuse(
            "the flange's face and the blade are read at different rings, and not both ring radii "
            "are stated",
            "state ring_radius for the flange and for the blade",
            blade=blade.blade.name,
            column="ring_radius",
        )
    check_same_way(blade, read, "the blade", "the flange")
    check_doubt(flange, "the flange")
    factor = MM_PER[flange.unit] / MM_PER[unit] * outer / inner
    value = factor * complex(flange.cosine, flange.sine)
    radii = ((read.ring_radius_u_mm or 0) / inner) ** 2 + (
        (blade.ring_radius_u_mm or 0) / outer
    ) ** 2
    along = np.array([value.real, value.imag])
    covariance = factor**2 * flange.rounded_covariance + radii * np.outer(along, along)
    return Wobble(value, covariance, float(flange.dof))


def agreement_p(one: Wobble, other: Wobble) -> float:
    """Return the chance of so large a difference where both are right (Hotelling's T^2).

    The degrees of freedom are combined after Welch and Satterthwaite, by the traces.
    """
    apart = one.value - other.value
    parts = np.array([apart.real, apart.imag])
    covariance = one.covariance + other.covariance
    shares = [float(np.trace(of.covariance) / np.trace(covariance)) for of in (one, other)]
    dof = 1 / (shares[0] ** 2 / one.dof + shares[1] ** 2 / other.dof)
    return zero_amplitude_p(float(parts @ np.linalg.solve(covariance, parts)) / 2, dof)
