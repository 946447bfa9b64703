"""Fit the wobble: exact linear least squares on the real angles."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.columns import SET_ANEW
from bladegeom.faults import refuse
from bladegeom.fit.closing import closing_of, drift_of, drift_shown
from bladegeom.fit.play import taken_out
from bladegeom.fit.standing import others, standing_in, without
from bladegeom.fit.stated import float_covariance, stylus_scale_u
from bladegeom.fit.waves import Harmonic, harmonic, identifiable_orders
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.design import (
    FEWEST_TEETH,
    REFUSED_RATIO,
    Design,
    beyond,
    check_plan,
    design_of,
    drift_time,
)
from bladegeom.kernel.doubt import sd_toward
from bladegeom.kernel.harmonics import LeastSquares, harmonic_columns, least_squares
from bladegeom.kernel.leak import leak_of, leaks_of, with_leak
from bladegeom.kernel.rounding import (
    GRID_TEETH,
    copies_of,
    grid_of,
    is_coarse,
    rounded,
    rounding_covariance,
)
from bladegeom.kernel.stack import believed, fit_stack, plain, stack_of, unit_covariance
from bladegeom.kinds import checked
from bladegeom.readings import Readings
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]

MOST_HARMONICS = 12
BEND = 1.345
"""Where Huber's function bends, in standard deviations: 95 % efficient for normal scatter."""

_FLAG_SD = 3.0
_MAD = 1.4826
_MOST_ROUNDS = 200
_SHARE = 0.75


@checked
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
    standing = () if drift or robust else standing_in(readings)
    kept = without(readings, standing) if standing else None
    if kept is None:
        return _fit(readings, harmonics, drift, robust)
    return replace(
        _fit(kept, harmonics, drift, robust),
        readings=readings,
        in_fit=~readings.closing & others(readings, standing),
        standing=standing,
    )


def _fit(readings: Readings, harmonics: int, drift: bool, robust: bool) -> WobbleFit:
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
    plan, dof = fits.plan, int(fits.plan.dof[0])
    if not (plan.spots_read[0] >= FEWEST_TEETH and plan.ratio[0] <= REFUSED_RATIO):
        check_plan(readings)
    _check_room(readings, len(place), len(place) - dof)
    if leaks_of(stack, fits)[0]:
        return _by_columns(readings, 1, drift=False, robust=False)
    residual_sd = math.sqrt(fits.rss[0] / dof)
    graduation, steps = _graduation(readings, residual_sd)
    rounding: Any = 0.0
    if is_coarse(residual_sd, graduation):
        fits, added = rounded(stack, fits, np.array([graduation]))
        plan, dof, rounding = fits.plan, int(fits.plan.dof[0]), added[:, :, 0]
        residual_sd = math.sqrt(fits.rss[0] / dof)
    reading_sd = believed(residual_sd, graduation, float(fits.largest[0]), float(fits.raw_tir[0]))
    bias = None
    if (shown := drift_shown(readings)) is not None:
        bias = float(abs(shown) * drift_of(readings, stack, place, fits.left).shift[0])
    residuals = fits.left.ravel()[place]
    offset, a, b = float(fits.offset[0]), float(fits.a[0]), float(fits.b[0])
    return WobbleFit(
        readings=readings,
        value=complex(a, b),
        covariance=reading_sd**2 * unit_covariance(plan.cc, plan.cs, plan.ss)[:, :, 0]
        + float_covariance(readings.end_float),
        scale_u=stylus_scale_u(readings.stylus_deg),
        dof=dof,
        residual_dof=dof,
        rounding=rounding,
        in_fit=~readings.closing,
        fitted=offset + (stack.spots.waves @ (a, b))[place % readings.blade.teeth],
        residuals=residuals,
        offset=offset,
        residual_sd=residual_sd,
        graduation=graduation,
        steps=steps,
        reading_sd=reading_sd,
        plan_ratio=float(plan.ratio[0]),
        closure_bias=bias,
        refit=fit_wobble,
    )


def _by_columns(readings: Readings, harmonics: int, drift: bool, robust: bool) -> WobbleFit:
    """Fit a blade by QR, whatever columns there are beside the wobble's."""
    design = design_of(readings, drift=drift)
    orders, aliases = identifiable_orders(design, harmonics)
    columns = design.columns(orders)
    read = readings.reading[design.in_fit]
    _check_room(readings, len(read), columns.shape[1])
    middle = float(read.mean()) if read.max() > read.min() else float(read[0])
    solved = (huber_fit if robust else _least_squares)(columns, read - middle)
    largest, range_ = float(np.abs(readings.reading).max()), float(np.ptp(read))
    graduation, steps = _graduation(readings, solved.sd)
    coarse, copies = is_coarse(solved.sd, graduation), 1.0
    if coarse:
        copies = float(copies_of(stack_of(readings)[0].reading, graduation)[0])
        solved = _once(solved, 0 if drift else len(np.unique(readings.turn)), copies)
    found, unit = solved.fit.coefficients, solved.fit.unit_covariance
    reading_sd = believed(solved.sd, graduation, largest, range_)
    covariance = reading_sd**2 * unit
    first = design.aside.shape[1]
    wobble = slice(first, first + 2)
    value = complex(*found[wobble])
    leak = leak_of(
        columns,
        wobble,
        design.angle,
        orders,
        solved.fit.residuals,
        unit[wobble, wobble],
        max(0.0, reading_sd**2 - solved.sd**2),
    )
    doubt, dof = with_leak(covariance[wobble, wobble], solved.dof, leak)
    beside = design.aside @ found[:first]
    offset = float(beside.mean())
    lag, lag_u, play_u = None, None, 0.0
    if design.play is not None:
        lag, lag_u = _lag(value, found[-2:], covariance[-2:, -2:])
        more, play_u = taken_out(lag, lag_u)
        value = value * more
    wild = np.abs(solved.fit.residuals) > _FLAG_SD * max(solved.scale, 1e-300)
    flagged = np.unique(readings.tooth[design.in_fit][wild]) if robust else ()
    waves = {order: Harmonic(order, False, alias) for order, alias in aliases.items()}
    rounding: dict[int, Any] = dict.fromkeys(orders, 0.0)
    for order, at in zip(orders, range(first, len(found), 2), strict=False):
        own = slice(at, at + 2)
        if is_coarse(solved.sd, graduation):
            rounding[order] = _rounding(readings, design, columns, own, solved, graduation, copies)
        wave = Wobble(complex(*found[own]), covariance[own, own], solved.dof, rounding[order])
        waves[order] = harmonic(order, wave)
    return WobbleFit(
        readings=readings,
        value=value,
        covariance=doubt + float_covariance(readings.end_float),
        scale_u=math.hypot(stylus_scale_u(readings.stylus_deg), play_u),
        dof=dof,
        residual_dof=solved.dof,
        leak=leak,
        rounding=rounding[1],
        in_fit=design.in_fit,
        fitted=read - (beside - offset) - solved.fit.residuals,
        residuals=solved.fit.residuals,
        offset=middle + offset,
        residual_sd=solved.sd,
        graduation=graduation,
        steps=steps,
        reading_sd=reading_sd,
        plan_ratio=design_of(readings, drift=False).ratio,
        harmonics=tuple(waves[order] for order in sorted(waves)) if len(waves) > 1 else (),
        closure_bias=None if drift else _closure_bias(readings, design),
        drift_per_turn=float(found[1]) if drift else None,
        drift_u_per_turn=math.sqrt(float(covariance[1, 1])) if drift else None,
        drift_cost=_drift_cost(readings, unit[wobble, wobble]) if drift else None,
        lag_deg=lag,
        lag_u_deg=lag_u,
        robust=robust,
        refit=partial(fit_wobble, harmonics=harmonics, drift=drift, robust=robust),
        flagged=tuple(int(tooth) for tooth in flagged),
    )


def _graduation(readings: Readings, residual_sd: float) -> tuple[float, float]:
    """Return the graduation that is believed and the steps that stand for one not stated."""
    if readings.graduation is not None:
        return readings.graduation, 0.0
    read = ~readings.closing
    steps = grid_of(readings.reading[read], residual_sd)
    enough = steps > 0 and len(np.unique(readings.tooth[read])) >= GRID_TEETH
    return steps if enough else 0.0, steps


def _rounding(
    readings: Readings,
    design: Design,
    columns: Floats,
    own: slice,
    solved: _Solved,
    graduation: float,
    copies: float,
) -> Floats:
    """Return what rounding adds to the covariance of a wave, whose columns these are."""
    unit = solved.fit.unit_covariance
    takes, left = unit[own] @ columns.T / copies, solved.fit.residuals
    read, turn = readings.reading[design.in_fit], readings.turn[design.in_fit]
    spots = len(np.unique(readings.tooth[design.in_fit]))
    span = max(float(np.ptp(read[turn == one])) for one in np.unique(turn))
    found = rounding_covariance(
        ((read - left) / graduation)[:, np.newaxis],
        columns[:, own],
        lambda values: (takes @ values.reshape(len(read), -1)).reshape(2, *values.shape[1:]),
        solved.fit.coefficients[own, np.newaxis] / graduation,
        unit[own, own, np.newaxis],
        np.array([(solved.sd / graduation) ** 2]),
        np.array([solved.dof]),
        np.array([span / graduation]),
        np.array([len(read) / spots / copies]),
    )
    return graduation**2 * found[:, :, 0]


def _once(solved: _Solved, turns: int, copies: float) -> _Solved:
    """Return a fit in which so many turns, each with an offset of its own, count as one."""
    if copies == 1:
        return solved
    fit, count = solved.fit, len(solved.fit.residuals)
    dof = count / copies - (count - fit.dof - turns * (1 - 1 / copies))
    return solved._replace(
        fit=fit._replace(unit_covariance=fit.unit_covariance * copies),
        sd=solved.sd * math.sqrt(fit.dof / (copies * dof)),
        dof=max(1, int(solved.dof * dof / fit.dof)),
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
    """A fit by columns: coefficients, unit covariance and residuals, and how sure they are."""

    fit: LeastSquares
    sd: float  # What stands for the residual standard deviation in the covariance.
    dof: int  # Of `sd`.
    scale: float  # Standard deviation of the readings that fit.


def _least_squares(columns: Floats, read: Floats) -> _Solved:
    fit = least_squares(columns, read)
    sd = math.sqrt(float(fit.rss) / fit.dof)
    return _Solved(fit, sd, fit.dof, sd)


def huber_fit(columns: Floats, read: Floats) -> _Solved:
    """Fit by Huber's M-estimate, weighted anew until nothing moves.

    The standard deviation is that of Huber 1981, Robust Statistics, section 7.6, its degrees of
    freedom three quarters of those of the plain fit, as simulation shows. The scale is that of the
    median absolute residual.
    """
    plain = _least_squares(columns, read)
    n, p = columns.shape
    fit, scale = plain.fit, 0.0
    for _ in range(_MOST_ROUNDS):
        scale = _scale(fit.residuals, p)
        if scale == 0.0:
            return plain._replace(scale=0.0)
        size = np.maximum(np.abs(fit.residuals), 1e-300)
        root = np.sqrt(np.minimum(1.0, BEND * scale / size))
        found = least_squares(columns * root[:, np.newaxis], read * root).coefficients
        moved = float(np.abs(found - fit.coefficients).max())
        left = read - columns @ found
        fit = plain.fit._replace(coefficients=found, residuals=left)
        if moved < 1e-10 * scale:
            break
    scale = _scale(fit.residuals, p)
    clipped = np.clip(fit.residuals, -BEND * scale, BEND * scale)
    inside = float(np.mean(np.abs(fit.residuals) < BEND * scale))
    correction = 1 + p / n * (1 - inside) / inside
    sd = correction * math.sqrt(float(np.sum(clipped**2)) / (n - p)) / inside
    return _Solved(fit, sd, max(1, round(_SHARE * fit.dof)), scale)


def _scale(residuals: Floats, p: int) -> float:
    # The p smallest residuals are made small by the fit itself.
    ranked = np.sort(np.abs(residuals))[p - 1 :]
    return _MAD * float(np.median(ranked))


def _lag(value: complex, play: Floats, covariance: Floats) -> tuple[float, float]:
    """Return the lag of each way behind the mean of both, in degrees of blade, and its doubt."""
    if value == 0:
        return 0.0, math.inf
    half = complex(*play)
    lag = cmath.phase((value + half) * (value - half).conjugate()) / 2
    across = sd_toward(math.degrees(cmath.phase(value)) + 90.0, covariance)
    return math.degrees(lag), math.degrees(across / abs(value))


def _closure_bias(readings: Readings, design: Design) -> float | None:
    """Return how far a steady drift as it is shown would shift the wobble's parts.

    In one even turn that is closure / pi in the sine part and closure / teeth in the cosine part.
    """
    shown = drift_shown(readings)
    if shown is None:
        return None
    drift = shown * drift_time(readings)[design.in_fit]
    columns = np.concatenate([design.aside, harmonic_columns(design.angle)[:, 1:]], axis=1)
    moved = least_squares(columns, drift).coefficients[-2:]
    return float(np.hypot(*moved))


def _check_drift(readings: Readings) -> None:
    """Refuse a drift that a person could not defend from these readings."""
    blade = readings.blade.name
    turns = len(np.unique(readings.turn[~readings.closing]))
    if turns > 1 and readings.dial == SET_ANEW:
        raise refuse(
            "the dial was set anew between the turns, so no drift runs on from one to the next",
            "fit without drift",
            value=readings.dial,
            blade=blade,
            column="dial",
        )
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
