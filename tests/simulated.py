"""Readings of invented blades: from the rigid-body simulation, and from plain noise."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from rigid_body import RigidBlade, readings_mm

import bladegeom as bg
from bladegeom.kernel import doubt

Floats = NDArray[np.float64]

PER_MM = {"mm": 1.0, "in": 1 / 25.4, "thou": 1000 / 25.4, "um": 1000.0}
"""How many of each unit make a millimetre."""


def turn_deg(from_deg: ArrayLike, to_deg: ArrayLike) -> Floats:
    """Shorter turn from one direction to another, positive with growing angles."""
    across = np.exp(1j * np.radians(np.subtract(to_deg, from_deg)))
    return np.degrees(np.angle(across))


def simulated(
    truth: RigidBlade,
    blade: bg.Blade,
    tooth_deg: ArrayLike,
    *,
    ring_mm: float = 110.0,
    touch_deg: float = 0.0,
    unit: str = "mm",
    unread: Sequence[int] = (),
    noise_mm: ArrayLike = 0.0,
    dial_zero_mm: float = 0.0,
    **facts: Any,
) -> bg.Readings:
    """Read every tooth of a rigid plate once, in order, but those left unread.

    `tooth_deg` comes from `rigid_body.tooth_angles_deg`, so that the blade's own angles are under
    test too.
    """
    exact = readings_mm(truth, tooth_deg, ring_mm, touch_deg=touch_deg, dial_zero_mm=dial_zero_mm)
    shown = (exact + noise_mm) * PER_MM[unit]
    shown[np.asarray(unread, dtype=int) - 1] = np.nan
    inches = unit in ("in", "thou")
    ring = (ring_mm / 25.4, "in") if inches else (ring_mm, "mm")
    return bg.Readings(blade, shown, unit=unit, ring_radius=ring, touch_deg=touch_deg, **facts)


def wave(
    teeth: int, amplitude: float, near_deg: float, noise: ArrayLike = 0.0, **facts: Any
) -> bg.Readings:
    """One reading in mm a tooth of an evenly pitched blade, ring radius 100 mm."""
    angles = 360.0 * np.arange(teeth) / teeth
    read = amplitude * np.cos(np.radians(angles - near_deg)) + noise
    facts = {"ring_radius": "100 mm"} | facts
    return bg.Readings(bg.Blade(teeth, diameter="254 mm"), read, unit="mm", **facts)


def rng_for(seed: int) -> np.random.Generator:
    """A generator whose stream NumPy keeps from version to version."""
    return np.random.Generator(np.random.PCG64(seed))


def direction_limits(a, b, covariance, dof, confidence_level=0.95):
    """Limits of the direction of (a, b) in degrees of blade, either side of -180 to 180."""
    near = np.degrees(np.arctan2(b, a))
    low, high = doubt.direction_limits(doubt.facing(a, b, covariance), dof, confidence_level)
    return near + low, near + high


def direction_probability(a, b, covariance, dof, from_deg, to_deg):
    """How probable the true direction is between two, in degrees of blade."""
    near = np.degrees(np.arctan2(b, a))
    edges = from_deg - near, to_deg - near
    return doubt.direction_probability(doubt.facing(a, b, covariance), dof, *edges)
