"""A blade on a flange on an arbor as rigid bodies: what the dial shows at a clock position.

Rotation matrices and a line that meets a plane; nothing is added up as vectors. The arbor's mark
stands at twelve o'clock; the blade is turned on the arbor, laid on the tilted flange, and arbor,
flange and blade turn under the stylus as one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from rigid_body import (
    TOWARD_INDICATOR,
    RigidBlade,
    blade_direction,
    clock_direction,
    line_meets_plane,
    plate_normal,
    rotation,
    sense,
    turn_onto,
)

import bladegeom as bg

Floats = NDArray[np.float64]


def mounted_mm(
    blade: RigidBlade,
    flange: RigidBlade,
    clock_deg: float,
    tooth_deg: ArrayLike,
    ring_radius_mm: float,
) -> Floats:
    """Return the readings of tooth after tooth.

    Parameters
    ----------
    blade : RigidBlade
        The plate on its own flat seat; `near_deg` from tooth 1.
    flange : RigidBlade
        The seat on the arbor; `near_deg` from the arbor's mark, counted as the blade's teeth are.
    clock_deg : float
        Where tooth 1 stands on the arbor, in the direction of numbering.
    tooth_deg : array_like, shape (n,)
    ring_radius_mm : float

    Returns
    -------
    ndarray, shape (n,)
    """
    near = blade_direction(flange, flange.near_deg)
    seat = rotation(np.cross(near, TOWARD_INDICATOR), flange.tilt_deg)
    on_arbor = seat @ rotation(TOWARD_INDICATOR, sense(blade) * clock_deg)
    normal = on_arbor @ plate_normal(blade)
    stylus = clock_direction(90.0)
    shown = []
    for angle in np.asarray(tooth_deg, dtype=np.float64):
        tooth = on_arbor @ blade_direction(blade, float(angle))
        square_to_arbor = tooth - (tooth @ TOWARD_INDICATOR) * TOWARD_INDICATOR
        turn = turn_onto(square_to_arbor, stylus)
        hit = line_meets_plane(ring_radius_mm * stylus, TOWARD_INDICATOR, turn @ normal)
        shown.append(hit @ TOWARD_INDICATOR)
    return np.array(shown)


def mounted_fit(
    blade: RigidBlade,
    flange: RigidBlade,
    clock_deg: float,
    *,
    teeth: int = 40,
    ring_mm: float = 110.0,
    name: str = "",
) -> bg.WobbleFit:
    """Fit what the dial shows; the graduation is stated so that there is a doubt."""
    angles = 360.0 * np.arange(teeth) / teeth
    return bg.fit_wobble(
        bg.Readings(
            bg.Blade(teeth, numbered=blade.numbered, name=name),
            mounted_mm(blade, flange, clock_deg, angles, ring_mm),
            unit="mm",
            ring_radius=(ring_mm, "mm"),
            graduation="0.0005 mm",
        )
    )


def flange_fit(flange: RigidBlade, ring_mm: float, spots: int = 12) -> bg.WobbleFit:
    """Fit the flange's own face, read without a blade, spot 1 at the arbor's mark."""
    bare = RigidBlade(0.0, 0.0, flange.numbered)
    return mounted_fit(bare, flange, 0.0, teeth=spots, ring_mm=ring_mm)


def tilted(blade: RigidBlade, ring_mm: float) -> complex:
    """Return the wobble of a plate alone on a true seat, as the fit would give it."""
    size = ring_mm * np.tan(np.radians(blade.tilt_deg))
    return complex(size * np.exp(1j * np.radians(blade.near_deg)))


def fit_of(
    wobble: complex,
    *,
    teeth: int = 24,
    bend: float = 0.004,
    unit: str = "mm",
    ring: float | None = 100.0,
    name: str = "",
    unread: Sequence[int] = (),
    **facts: object,
) -> bg.WobbleFit:
    """Return a fit with this wobble, in `unit`, and a doubt that bent teeth give it.

    The bend goes round three times, so that with all teeth read it leaves the wobble alone.
    """
    angle = 2 * np.pi * np.arange(teeth) / teeth
    read = np.real(wobble * np.exp(-1j * angle)) + bend * np.cos(3 * angle)
    read[np.asarray(unread, dtype=int)] = np.nan
    size = "in" if unit in ("in", "thou") else "mm"
    numbered = facts.pop("numbered", None)
    return bg.fit_wobble(
        bg.Readings(
            bg.Blade(teeth, name=name, numbered=numbered),
            read,
            unit=unit,
            ring_radius=None if ring is None else (ring, size),
            **facts,
        )
    )
