"""What is stated of the set-up and makes the wobble doubtful beside the scatter of its readings."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bladegeom.estimate import Known, combined
from bladegeom.kernel.doubt import sd_toward
from bladegeom.wobble import Wobble


def float_covariance(end_float: Any) -> NDArray[np.float64]:
    """Return the covariance of the wobble's parts that an arbor's float makes, shape (2, 2, ...).

    The arbor may ride anywhere in its float, in step with the rotation: each part is off by up to
    half of it either way, anything between being as likely (GUM 4.3.7). NaN: none is stated.
    """
    variance = np.square(np.nan_to_num(end_float) / 2) / 3
    covariance: NDArray[np.float64] = np.multiply.outer(np.eye(2), variance)
    return covariance


def rides_most(end_float: Any, amplitude_u: Any) -> Any:
    """Return whether the arbor's float makes more than half of an amplitude's variance."""
    return np.sqrt(float_covariance(end_float)[0, 0]) > amplitude_u / math.sqrt(2)


def stylus_scale_u(stylus_deg: Any) -> Any:
    """Return the relative standard uncertainty of sizes read out of the arbor's direction.

    A plunger that stands out of it by an angle shows 1 / cos of it too much. It stands so through
    all readings, so the whole of what is stated is taken: then the limits hold there too.
    """
    return 1 - np.cos(np.radians(np.nan_to_num(stylus_deg)))


def size_of(wobble: Wobble) -> Known:
    """Return the amplitude of a wobble with all its doubt: its scatter, its rounding, its scale."""
    low, high, _ = wobble.amplitude_interval()
    along = sd_toward(wobble.near_deg, replace(wobble, scale_u=0.0).rounded_covariance)
    u, dof = combined([(along, wobble.dof), (wobble.amplitude * wobble.scale_u, math.inf)])
    return Known(wobble.amplitude, u, low, high, dof)
