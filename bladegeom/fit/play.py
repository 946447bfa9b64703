"""What play in the indicator takes off a wobble that was read both ways.

The hand follows the plate at the near or the far end of a dead band. Of a wobble it shows, beside
the lag that turns it against each way, a little less than its amplitude: the first harmonic of that
movement, from its integrals over a turn.
"""

from __future__ import annotations

import math

import numpy as np

_BAND = np.linspace(0.0, 1.0, 401)
"""Dead bands as parts of the amplitude; a wider one hides more than half of the wobble."""

_TOP = 1 - _BAND
_HELD = (math.pi / 2 + np.arcsin(_TOP) + _TOP * np.sqrt(1 - _TOP**2)) / math.pi
_BEHIND = 2 * _BAND / math.pi * (1 - _BAND / 2)
_LAG_DEG = np.degrees(np.arctan2(_BEHIND, _HELD))


def held_of(lag_deg: float) -> float:
    """Return which part of the amplitude is shown where each way lags by so much; 1 for none."""
    return float(np.interp(lag_deg, _LAG_DEG, _HELD))


def band_of(lag_deg: float) -> float:
    """Return the dead band that makes such a lag, as a part of the amplitude, with its sign."""
    return math.copysign(float(np.interp(abs(lag_deg), _LAG_DEG, _BAND)), lag_deg)


def taken_out(lag_deg: float, lag_u_deg: float) -> tuple[float, float]:
    """Return by what to multiply the amplitude that is shown, and its relative doubt (k = 1).

    A lag within its own doubt is no play that is found: then what it may take off is doubt alone.
    """
    most = held_of(max(lag_deg, 0.0) + 2 * lag_u_deg)
    held = held_of(lag_deg) if lag_deg > 2 * lag_u_deg else 1.0
    return 1 / held, (held - most) / held / 2
