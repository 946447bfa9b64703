"""Fit the wobble: exact linear least squares on the real angles."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.faults import refuse
from bladegeom.fit.closing import closing_of, drift_of
from bladegeom.fit.waves import Harmonic, harmonic, identifiable_orders
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.design import Design, beyond, design_of, drift_time
from bladegeom.kernel.harmonics import harmonic_columns, least_squares
from bladegeom.kernel.plan import FEWEST_TEETH, REFUSED_RATIO, check_plan, plan_ratio
from bladegeom.kernel.stack import believed, fit_stack, plain, stack_of
from bladegeom.readings import Readings

Floats = NDArray[np.float64]

MOST_HARMONICS = 12
_FLAG_SD = 3.0


def fit_wobble(
    readings: Readings, *, harmonics: int = 1, drift: bool = False, robust: bool = False
) -> WobbleFit:
    """Fit the once-per-turn wobble.

    A rigid tilted plate read parallel to the arbor moves the indicator as an exact sinusoid of
    the blade angle, so the fit is linear least squares on the real tooth angles, without
    iteration or starting guess. Each turn has an offset of its own; where teeth were read and
    their kinds are stated, so has each kind; where turns went both ways, the wobble is the mean
    of the two ways and their difference is the play.

    Parameters
    ----------
    readings : Readings
    harmonics : int
        Fit waves of 1, 2, ... up to this many a turn, as far as the readings can tell them apart.
    drift : bool
        Fit a steady movement of the stand through all readings, the closing ones included. It
        costs doubt (`drift_cost`), so it is refused where the closing reading does not show it.
    robust : bool
        Let wild readings count less (Huber's M-estimate); the teeth are listed in `flagged`.

    Returns
    -------
    WobbleFit

    Raises
    ------
    RefusedError
        Fewer than four distinct teeth were read, or they lie on too short an arc, or a drift was
        asked for that the readings do not show.
    """
    if harmonics == 1 and not drift and not robust and plain(readings):
        return _stacked(readings)
    check_plan(readings)
    if int(harmonics) != harmonics or not 1 <= harmonics <= MOST_HARMONICS:
        raise refuse(
            f"harmonics is {harmonics}",
            f"give a whole number from 1 to {MOST_HARMONICS}",
            value=harmonics,
            blade=readings.blade.name,
        )
    if drift:
        _check_drift(readings)
    return _by_columns(readings, int(harmonics), drift, robust)


def _stacked(readings: Readings) -> WobbleFit:
    """Fit a blade as one of a stack."""
    stack, place = stack_of(readings)
    fits = fit_stack(stack)
    if not (fits.spots_read[0] >= FEWEST_TEETH and fits.ratio[0] <= REFUSED_RATIO):
        check_plan(readings)
    _check_room(readings, len(place), len(place) - int(fits.dof[0]))
    residual_sd = np.sqrt(fits.rss / fits.dof)
    graduation = np.array([readings.graduation or 0.0])
    reading_sd, margin = believed(residual_sd, graduation, fits.largest, fits.raw_tir)
    covariance = reading_sd**2 * fits.unit_covariance()
    bias = None
    if readings.closing.any():
        drift = drift_of(readings, stack, place, fits.left)
        bias = float(abs(readings.closures[-1]) * drift.shift[0])
    a, b, left = fits.a[0], fits.b[0], fits.left.ravel()[place]
    waves = stack.spots.waves[place % readings.blade.teeth]
    return WobbleFit(
        readings=readings,
        value=complex(a, b),
        covariance=covariance[:, :, 0],
        dof=int(fits.dof[0]),
        rounding_margin=float(margin[0]),
        in_fit=~readings.closing,
        fitted=fits.offset[0] + a * waves[:, 0] + b * waves[:, 1],
        residuals=left,
        offset=float(fits.offset[0]),
        residual_sd=float(residual_sd[0]),
        reading_sd=float(reading_sd[0]),
        plan_ratio=float(fits.ratio[0]),
        harmonics=(),
        closure_bias=bias,
        drift_per_turn=None,
        drift_u_per_turn=None,
        drift_cost=None,
        lag_deg=None,
        lag_u_deg=None,
        robust=False,
        flagged=(),
    )


def _by_columns(readings: Readings, harmonics: int, drift: bool, robust: bool) -> WobbleFit:
    """Fit a blade by QR, whatever columns there are beside the wobble's."""
    design = design_of(readings, drift=drift)
    orders, aliases = identifiable_orders(design, harmonics)
    columns = design.columns(orders)
    read = readings.reading[design.in_fit]
    _check_room(readings, len(read), columns.shape[1])
    middle = float(read.mean()) if read.max() > read.min() else float(read[0])
    solved = _solve(columns, read - middle, robust)
    reading_sd, margin = believed(
        solved.residual_sd,
        readings.graduation or 0.0,
        np.abs(readings.reading).max(),
        np.ptp(read),
    )
    covariance = reading_sd**2 * solved.unit_covariance
    first = design.aside.shape[1]
    wobble = slice(first, first + 2)
    a, b = solved.coefficients[wobble]
    beside = design.aside @ solved.coefficients[:first]
    offset = float(beside.mean())
    lag, lag_u = _lag(design, a, b, solved.coefficients, covariance)
    unit = solved.unit_covariance[wobble, wobble]
    return WobbleFit(
        readings=readings,
        value=complex(a, b),
        covariance=covariance[wobble, wobble],
        dof=solved.dof,
        rounding_margin=float(margin),
        in_fit=design.in_fit,
        fitted=read - (beside - offset) - solved.residuals,
        residuals=solved.residuals,
        offset=middle + offset,
        residual_sd=solved.residual_sd,
        reading_sd=float(reading_sd),
        plan_ratio=plan_ratio(readings),
        harmonics=_harmonics(orders, aliases, solved, covariance, first, float(margin)),
        closure_bias=_closure_bias(readings, design),
        drift_per_turn=float(solved.coefficients[1]) if drift else None,
        drift_u_per_turn=math.sqrt(float(covariance[1, 1])) if drift else None,
        drift_cost=_drift_cost(readings, unit) if drift else None,
        lag_deg=lag,
        lag_u_deg=lag_u,
        robust=robust,
        flagged=_flagged(readings, design, solved) if robust else (),
    )


def _check_room(readings: Readings, count: int, unknowns: int) -> None:
    if count - unknowns < 1:
        raise refuse(
            f"{count} readings for {unknowns} unknowns",
            "read more teeth",
            value=count,
            blade=readings.blade.name,
        )


class _Solved(NamedTuple):
    """A fit by columns; `scale` is the scatter of the readings that fit."""

    coefficients: Floats
    unit_covariance: Floats
    residuals: Floats
    dof: int
    residual_sd: float
    scale: float


def _solve(columns: Floats, read: Floats, robust: bool) -> _Solved:
    if robust:
        from bladegeom.fit.robust import huber_fit

        huber = huber_fit(columns, read)
        fit = huber.fit
        return _Solved(
            fit.coefficients, fit.unit_covariance, fit.residuals, huber.dof, huber.sd, huber.scale
        )
    fit = least_squares(columns, read)
    sd = math.sqrt(float(fit.rss) / fit.dof)
    return _Solved(fit.coefficients, fit.unit_covariance, fit.residuals, fit.dof, sd, sd)


def _harmonics(
    orders: list[int],
    aliases: dict[int, str],
    solved: _Solved,
    covariance: Floats,
    first: int,
    margin: float,
) -> tuple[Harmonic, ...]:
    if orders == [1] and not aliases:
        return ()
    found = {order: Harmonic(order, False, alias) for order, alias in aliases.items()}
    for place, order in enumerate(orders):
        at = slice(first + 2 * place, first + 2 * place + 2)
        a, b = (float(part) for part in solved.coefficients[at])
        found[order] = harmonic(order, a, b, covariance[at, at], solved.dof, margin)
    return tuple(found[order] for order in sorted(found))


def _lag(
    design: Design, cosine: float, sine: float, coefficients: Floats, covariance: Floats
) -> tuple[float | None, float | None]:
    """Return the lag of each way behind the mean of both, in degrees of blade, and its doubt."""
    if design.play is None:
        return None, None
    c, d = (float(part) for part in coefficients[-2:])
    amplitude = math.hypot(cosine, sine)
    if amplitude == 0:
        return 0.0, math.inf
    forward = math.atan2(sine + d, cosine + c)
    backward = math.atan2(sine - d, cosine - c)
    lag = math.remainder(forward - backward, 2 * math.pi) / 2
    across = np.array([-sine, cosine]) / amplitude
    sd = math.sqrt(float(across @ covariance[-2:, -2:] @ across))
    return math.degrees(lag), math.degrees(sd / amplitude)


def _closure_bias(readings: Readings, design: Design) -> float | None:
    """Return how far a steady drift with this closure would shift the wobble's parts.

    In one even turn that is closure / pi in the sine part and closure / teeth in the cosine part.
    """
    closure = readings.closure
    if closure is None or design.in_fit.all():
        return None
    drift = closure * drift_time(readings)[design.in_fit]
    columns = np.concatenate([design.aside, harmonic_columns(design.angle)[:, 1:]], axis=1)
    moved = least_squares(columns, drift).coefficients[-2:]
    return float(np.hypot(*moved))


def _check_drift(readings: Readings) -> None:
    """Refuse a drift that a person could not defend from these readings."""
    blade = readings.blade.name
    turns = len(np.unique(readings.turn[~readings.closing]))
    if turns > 1:
        return
    closing = closing_of(readings)
    if closing is None:
        raise refuse(
            "one turn without a closing reading cannot tell a drift from the wobble (it would "
            "multiply a variance by 2.5)",
            "read tooth 1 again at the end, or read a second turn",
            blade=blade,
        )
    if not closing.moved():
        raise refuse(
            f"the closing reading differs from the first by {closing.difference:.3g} "
            f"{readings.unit}, no more than on a steady stand: a drift is not shown, and "
            "fitting it would only double the doubt",
            "fit without drift",
            value=f"{closing.difference:.3g}",
            blade=blade,
        )


def _drift_cost(readings: Readings, unit_covariance: Floats) -> float:
    design = design_of(readings, drift=False)
    rest = beyond(harmonic_columns(design.angle)[:, 1:], np.ones((len(design.angle), 1)))
    without = np.linalg.inv(rest.T @ rest)
    worst = [float(np.linalg.eigvalsh(one)[-1]) for one in (unit_covariance, without)]
    return worst[0] / worst[1]


def _flagged(readings: Readings, design: Design, solved: _Solved) -> tuple[int, ...]:
    wild = np.abs(solved.residuals) > _FLAG_SD * max(solved.scale, 1e-300)
    teeth = readings.tooth[design.in_fit][wild]
    return tuple(int(tooth) for tooth in np.unique(teeth))
