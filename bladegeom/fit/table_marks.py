"""The teeth to mark on many blades at once: the numbers of `neutral_line`."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import turn_between
from bladegeom.kernel.batch import Wobbles, wrap_360_all
from bladegeom.kernel.batch_limits import student_cdf

Floats = NDArray[np.float64]

_ENDS = ("near", "neutral_1", "far", "neutral_2")
"""The four marks, a quarter turn from one to the next."""


def marks_of(
    fit: Wobbles,
    cosine: Floats,
    sine: Floats,
    dof: int,
    tooth_deg: Floats,
    tilt_deg: Floats,
    radius_mm: Floats,
) -> dict[str, Floats]:
    """Return the marks of blades that have the same teeth; NaN where the wobble is not resolved.

    Parameters
    ----------
    fit : Wobbles
    cosine, sine : ndarray, shape (n,)
    dof : int
    tooth_deg : ndarray, shape (teeth,)
        Blade angle of each tooth.
    tilt_deg, radius_mm : ndarray, shape (n,)
        NaN where not known.

    Returns
    -------
    dict
        Under the names of the columns of `fit_table`; teeth are whole numbers as floats.
    """
    teeth = len(tooth_deg)
    gaps = np.diff(tooth_deg, append=360.0 + tooth_deg[0])
    found: dict[str, Floats] = {}
    past_of: dict[str, Floats] = {}
    tip: dict[str, Floats] = {}
    quarter_alike = np.array_equal(tooth_deg, 360.0 * np.arange(teeth) / teeth) and teeth % 4 == 0
    probability = np.zeros(0)
    none = np.isnan(fit.near_deg)
    for quarter, end in enumerate(_ENDS):
        toward = wrap_360_all(fit.near_deg + quarter * 90.0)
        place = _nearest(tooth_deg, toward)
        tip[end] = tooth_deg[place]
        past = turn_between(tip[end], toward)
        before, after = gaps[place - 1], gaps[place]
        if quarter == 0 or not quarter_alike:
            middle = fit.near_deg - past
            probability = _between(fit, cosine, sine, dof, middle - before / 2, middle + after / 2)
        name, _, number = end.partition("_")
        behind = f"_{number}" if number else ""
        found[f"{name}_tooth{behind}"] = np.where(none, np.nan, place + 1.0)
        found[f"{name}_probability{behind}"] = probability
        past_of[end] = past
        if number:
            found[f"neutral_deg_{number}"] = toward
            found[f"neutral_past_deg_{number}"] = past
            found[f"neutral_past_pitch_{number}"] = past / np.where(past > 0, after, before)
            found[f"neutral_past_mm_{number}"] = radius_mm * np.radians(past)
    first, second = "neutral_1", "neutral_2"
    closer = np.abs(past_of[first]) <= np.abs(past_of[second]) + 1e-9
    found["better_tooth"] = np.where(closer, found["neutral_tooth_1"], found["neutral_tooth_2"])
    chord = tip[first] + turn_between(tip[first], tip[second] + 180.0) / 2
    off = 180.0 - wrap_360_all(180.0 - (chord - (fit.near_deg + 90.0)))
    found["line_off_deg"] = off
    slope = np.tan(np.radians(tilt_deg)) * np.sin(np.radians(-off))
    found["left_deg"] = np.degrees(np.arctan(slope))
    return found


def _nearest(tooth_deg: Floats, toward_deg: Floats) -> NDArray[np.intp]:
    """Return the place of the tooth nearest to each direction, as `Blade.nearest_tooth` does."""
    teeth = len(tooth_deg)
    below = np.searchsorted(tooth_deg, toward_deg, side="right") - 1
    above = (below + 1) % teeth
    away = [np.abs(turn_between(tooth_deg[place], toward_deg)) for place in (below, above)]
    hair = np.minimum(*away) + 1e-9
    lower = np.minimum(below, above)
    both = (away[0] <= hair) & (away[1] <= hair)
    nearest: NDArray[np.intp] = np.where(both, lower, np.where(away[0] <= hair, below, above))
    return nearest


def _between(
    fit: Wobbles, cosine: Floats, sine: Floats, dof: int, from_deg: Floats, to_deg: Floats
) -> Floats:
    """Return how probable it is that the true direction lies between two directions."""

    def below(direction_deg: Floats) -> Floats:
        angle = np.radians(direction_deg)
        c, s = np.cos(angle), np.sin(angle)
        variance = fit.caa * s * s - 2 * fit.cab * s * c + fit.cbb * c * c
        return student_cdf((cosine * -s + sine * c) / np.sqrt(variance), dof)

    return np.maximum(0.0, below(from_deg) - below(to_deg))


def tilt_of(amplitude: Floats, ring_radius: Floats) -> Floats:
    """Return tilts in degrees; NaN without a ring radius."""
    tilt: Floats = np.degrees(np.arctan(amplitude / ring_radius))
    return tilt


def tilt_u_of(amplitude: Floats, amplitude_u: Floats, ring_radius: Floats) -> Floats:
    """Return the standard uncertainty (k = 1) of tilts in degrees."""
    doubt: Floats = amplitude_u / ring_radius / (1 + (amplitude / ring_radius) ** 2)
    return doubt * (180 / math.pi)
