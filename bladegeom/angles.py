"""Degrees round a circle."""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Numbers = TypeVar("Numbers", float, NDArray[np.float64])


def wrap_360(degrees: Numbers) -> Numbers:
    """Return the same direction, or directions, from 0 (included) to 360 (not)."""
    turn = degrees - 360.0 * np.floor(degrees / 360.0)
    wrapped: Any = turn * ((turn >= 0.0) & (turn < 360.0))  # Rounding may lead a hair out.
    return wrapped if np.ndim(wrapped) else wrapped.item()  # type: ignore[no-any-return]


def wrap_180(degrees: float) -> float:
    """Return the same turn from -180 (not included) to 180."""
    return 180.0 - wrap_360(180.0 - float(degrees))


def turn_between(from_deg: ArrayLike, to_deg: ArrayLike) -> NDArray[np.float64]:
    """Return the shorter turn from one direction to another, from -180 to 180."""
    turn = np.asarray(to_deg, dtype=np.float64) - np.asarray(from_deg, dtype=np.float64)
    return 180.0 - np.mod(180.0 - turn, 360.0)
