"""Whether two vectors explain the mountings: chi-square of the model, and where to look if not."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.arbor.mounted import LEAST_ARC_DEG, Mounted, arc_deg
from bladegeom.arbor.mountings import Mountings, arbor_design, dof_of, repeats_design

Floats = NDArray[np.float64]
Places = NDArray[np.int64]

_LEAST_P = 0.05
_WIDE = 2.0


class Check(NamedTuple):
    """The model against the doubt of the fits and the seating scatter of repeats.

    Attributes
    ----------
    chi_square : float or None
        None where nothing is left over to check the model.
    dof : int
    p_value : float or None
    repeats_dof : int
        Degrees of freedom of the seating scatter in it; 0 where nothing was remounted.
    """

    chi_square: float | None
    dof: int
    p_value: float | None
    repeats_dof: int

    @property
    def fails(self) -> bool:
        """Whether chance alone would leave so much in fewer than 5 % of cases."""
        return self.p_value is not None and self.p_value < _LEAST_P


def check_of(given: Mounted, model: Mountings, places: Places) -> Check:
    """Return the test of lack of fit.

    What the mean of every place (blade and clock position) leaves is the seating's scatter; what
    the model leaves beyond that, divided by the degrees of freedom, follows the F law where the
    model holds (chi-square where the denominator is sure).

    Parameters
    ----------
    given : Mounted
    model : Mountings
    places : ndarray of int, shape (n,)
        Mountings of one blade at one clock position have the same number.
    """
    repeats = Mountings(given.measured, given.covariance, repeats_design(places))
    if model.dof == repeats.dof:
        return Check(None, 0, None, repeats.dof)
    chi_square, p_value = lack_of_fit(model, repeats, given.covariance, given.dof)
    dof = model.dof - repeats.dof
    return Check(float(chi_square), dof, float(p_value), repeats.dof)


def lack_of_fit(
    model: Mountings, repeats: Mountings, covariance: Floats, dof: Floats
) -> tuple[Floats, Floats]:
    """Return chi-square of what the model leaves beyond the repeats, and its chance.

    Parameters
    ----------
    model, repeats : Mountings
        The same mountings, the latter with a wobble of its own for every place.
    covariance : ndarray, shape (..., n, 2, 2)
        Of the fits.
    dof : ndarray, shape (n,)
        Of the fits.

    Returns
    -------
    chi_square, p_value : ndarray, shape (...)
    """
    seating = repeats.seating_variance(repeats.dof) if repeats.dof else np.zeros(())
    chi_square = model.chi_square(seating) - repeats.chi_square(seating)
    share = repeats.solved(seating).share
    sure = dof_of(repeats, seating, covariance, share, dof)
    free = model.dof - repeats.dof
    p_value = np.asarray(special.fdtrc(free, sure, chi_square / free), dtype=np.float64)
    return chi_square, p_value


def remarks_of(
    check: Check, given: Mounted, clock_deg: Floats, places: Places, names: tuple[str, ...]
) -> tuple[str, ...]:
    """Return what the reader of the mountings of one blade should know."""
    count, kinds = len(places), int(places.max()) + 1
    found = []
    if kinds == 2 and count == 2:
        found.append(
            "two mountings for two unknowns: nothing is left over to check them, and how the blade "
            "seats from one mounting to the next, usually the larger doubt, is not in the limits; "
            "mount again at a third clock position"
        )
    elif kinds == 2:
        found.append(
            "two clock positions: the repeats show how the blade seats, but nothing checks the "
            "clock positions themselves; mount again at a third one"
        )
    middle = complex(np.mean(np.exp(1j * np.radians(clock_deg))))
    spread = math.sqrt(max(0.0, 1 - abs(middle) ** 2))
    if spread < 1 / _WIDE:
        found.append(
            f"the clock positions lie within {arc_deg(clock_deg):.0f} deg: the doubt is "
            f"{1 / spread:.1f} times that of mountings all round; mount again half a turn on"
        )
    if check.fails:
        found.append(failure(check))
        found += _suspects(given, clock_deg, names)
    return tuple(found)


def failure(check: Check) -> str:
    """Return in words that the model does not hold, and where to look."""
    said = f"(chi-square {check.chi_square:.1f} for {check.dof}, p = {check.p_value:.2g})"
    if check.repeats_dof:
        return (
            f"blade and flange do not explain the mountings {said}: look whether the arbor's mark "
            "was kept, the blade slipped as the nut was tightened, or a clock position was counted "
            "the wrong way; do not rely on the limits"
        )
    return (
        f"the mountings differ by more than their readings do {said}: the blade seats otherwise "
        "each time (that is in the limits), or a clock position is wrong; a remount at the same "
        "clock position tells which"
    )


def _suspects(given: Mounted, clock_deg: Floats, names: tuple[str, ...]) -> list[str]:
    one_blade = np.zeros(len(clock_deg), dtype=np.int64)

    def left(which: NDArray[np.intp], sign: float = 1.0) -> float:
        clock = sign * clock_deg[which]
        model = Mountings(
            given.measured[which], given.covariance[which], arbor_design(clock, one_blade[which])
        )
        return max(float(model.chi_square()), model.dof)

    every = np.arange(len(clock_deg))
    dof = 2 * len(every) - 4
    as_stated, turned = left(every), left(every, -1.0)
    if as_stated / turned > special.fdtri(dof, dof, 0.99):
        return [
            "counted the other way round, the clock positions would explain the mountings far "
            "better: clock_deg grows in the direction in which the teeth are numbered"
        ]
    # One out of so many is bound to stand out a little (Bonferroni).
    limit = special.fdtri(2, dof - 2, 1 - 0.05 / len(every)) if dof > 2 else math.inf
    without = [
        left(rest) if arc_deg(clock_deg[rest]) >= LEAST_ARC_DEG else math.inf
        for rest in (np.delete(every, place) for place in every)
    ]
    best = int(np.argmin(without))
    if (as_stated - without[best]) / 2 > limit * without[best] / max(dof - 2, 1):
        return [
            f"mounting {names[best]} stands alone, the others agree: look at its clock position, "
            "clean the seat, and mount it again"
        ]
    return []
