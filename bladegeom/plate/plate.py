"""The shape of the plate from several rings: the fit, its checks, and what to know of both."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.face import check_blade
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.fit.closing import closing_of
from bladegeom.fit.remarks import plan_remarks
from bladegeom.kernel.design import check_plan, design_of
from bladegeom.kernel.harmonics import harmonic_columns, least_squares
from bladegeom.kinds import checked
from bladegeom.lengths import convert
from bladegeom.plate._design import (
    PlateDesign,
    floor_of,
    group_of,
    hair_of,
    is_coarse,
    names_of,
    not_told,
    plate_design,
    play_columns,
    slope_u,
    solve_plate,
    told_orders,
)
from bladegeom.plate.shape import Checks, PlateFit
from bladegeom.tables.several import Ring

Floats = NDArray[np.float64]

MOST_HARMONICS = 12

_BLADE_FACTS = (
    *("name", "teeth", "tooth_deg", "tooth_pattern"),
    *("diameter_mm", "plate_mm", "tooth_width_mm", "gullet_mm"),
)
_SAME_FACTS = ("graduation_mm", "touch_deg", "stylus_deg", "ring_radius_u_mm")

_NEGLECTED = 1e-5
"""Slopes squared, which the model leaves out: no disagreement below this share of the readings."""

_ODD_TILT_DEG = 1.0
_STEPPED = 0.001


@checked
def fit_plate(rings: Sequence[Ring], *, harmonics: int = 2) -> PlateFit:
    """Fit the shape of the plate over radius and angle by ordinary least squares.

    Rings that share the dial's zero share one offset, all their turns included: that is what
    makes a dish tell. A turn for which the dial was set anew is a ring of its own, with a word of
    its own for the zero. The traverse is taken for one straight line through the arbor's axis; its
    slope is fitted wherever rings with one zero lie at two places along it, and a dish that could
    as well be that slope is not claimed. Closing readings are left out.

    Parameters
    ----------
    rings : sequence of Ring
        Of one blade, in one mounting, or in one mounting and flipped in another.
    harmonics : int
        Waves a turn up to which the plate is fitted: 1 is tilt and dish, 2 the saddle too.

    Returns
    -------
    PlateFit

    Raises
    ------
    RefusedError
        The rings do not belong together, or one of them has fewer than four teeth, or they lie
        on too short an arc.
    """
    rings, harmonics = _rings_given(rings, harmonics)
    blade = next(ring.readings.blade for ring in rings if not ring.flipped)
    unit = rings[0].readings.unit
    rim = blade.radius_mm
    reference = convert(rim or max(ring.radius_mm for ring in rings), "mm", unit)
    design = plate_design(rings, reference, harmonics)
    missing = not_told(design, harmonics)
    graduation = max((one.readings.graduation or 0.0 for one in rings), default=0.0) or None
    solved = solve_plate(design, graduation)
    checks = Checks(None, None, None)
    if not math.isnan(solved.reading_sd):
        checks = check_rings(design, solved.parts, graduation)
    names = tuple(name for group in design.told for name in names_of(group))
    at = [solved.names.index(name) for name in names]
    found = PlateFit(
        rings=tuple(rings),
        unit=unit,
        reference_radius=reference,
        at_rim=rim is not None,
        harmonics=harmonics,
        names=names,
        values=solved.values[at],
        covariance=solved.covariance[np.ix_(at, at)],
        dof=solved.dof,
        residual_sd=solved.residual_sd,
        reading_sd=solved.reading_sd,
        not_identified=missing,
        checks=checks,
        fitted=design.reading - solved.residuals,
        residuals=solved.residuals,
    )
    return replace(found, remarks=_remarks_of(found, design))


def _rings_given(rings: Sequence[Ring], harmonics: int) -> tuple[list[Ring], int]:
    """Refuse rings that are not of one plate, or from which none can be fitted."""
    given = list(rings)
    if wrong := [one for one in given if not isinstance(one, Ring)]:
        cure = "give each ring as Ring(readings), with stand, flipped and zero where they matter"
        raise refuse(f"a {type(wrong[0]).__name__} stands among the rings", cure)
    if not given:
        raise refuse("no ring is given", "give at least one, better three or front and back")
    name = given[0].readings.blade.name
    whole = not isinstance(harmonics, bool) and isinstance(harmonics, (int, np.integer))
    if not whole or not 1 <= harmonics <= MOST_HARMONICS:
        cure = f"give a whole number from 1 to {MOST_HARMONICS}"
        raise refuse(f"harmonics is {harmonics}", cure, value=harmonics, blade=name)
    if all(one.flipped for one in given):
        cure = "flipped is against the blade's other rings: leave it out where there are none"
        raise refuse("all rings are flipped", cure, blade=name, column="flipped")
    faults = [*_strangers(given), *_twice(given), *_plans(given)]
    if faults:
        raise RefusedError(faults)
    return given, int(harmonics)


def _strangers(rings: list[Ring]) -> list[Fault]:
    """Return what shows that rings are not of one plate."""
    first = rings[0]
    blade = first.readings.blade
    faults: list[Fault] = []

    def fault(problem: str, cure: str, value: str, column: str | None = None) -> None:
        faults.append(Fault(problem, cure, blade.name or None, column=column, value=value))

    for one in rings[1:]:
        before = next(other for other in rings if other.flipped == one.flipped)
        own, held = one.readings, before.readings
        if own.unit != first.readings.unit:
            fault(
                f"{one.words}: read in {own.unit}, {first.words} in {first.readings.unit}",
                "give all rings in one unit",
                own.unit,
            )
        other, same = own.blade.name, own.blade == held.blade
        # A flipped blade keeps all but which way its numbers run.
        same &= all(getattr(own.blade, fact) == getattr(blade, fact) for fact in _BLADE_FACTS)
        if not same:
            fault(
                f"{one.words}: of blade {other or 'without a name'}"
                if other != blade.name
                else f"{one.words}: the blade has other sizes or teeth than at {before.words}",
                "give the rings of one blade, its facts the same in all",
                other,
                "blade",
            )
        if own.side != held.side:
            fault(
                f"{one.words}: side is {own.side!r}, at {before.words} {held.side!r}",
                "give rings of one side; a blade mounted the other way round is flipped",
                own.side,
                "side",
            )
    return faults


def _twice(rings: list[Ring]) -> list[Fault]:
    """Return rings given twice: the same readings, or at one place with other facts."""
    name = rings[0].readings.blade.name or None
    faults = []
    for one, other in combinations(rings, 2):
        own, held = other.readings, one.readings
        if _place(one) != _place(other):
            continue
        if _same_readings(one, other):
            problem = f"{one.words} is given twice, with the very same readings"
            faults.append(Fault(problem, "leave one of them out", name))
        differ = [fact for fact in _SAME_FACTS if getattr(own, fact) != getattr(held, fact)]
        if differ:
            fact = differ[0].removesuffix("_mm")
            problem = f"{one.words} is given twice and its {fact} differs"
            cure = "let it agree, or name the zeros apart if the dial was set anew"
            faults.append(Fault(problem, cure, name, column=fact))
    return faults


def _place(ring: Ring) -> tuple[object, ...]:
    return round(ring.radius_mm, 6), ring.stand, ring.flipped, ring.zero


def _same_readings(one: Ring, other: Ring) -> bool:
    """Return whether two rings hold the same numbers, and not all of them alike."""
    own, held = one.readings, other.readings
    return bool(
        np.array_equal(own.tooth, held.tooth)
        and np.array_equal(own.reading, held.reading)
        and np.ptp(own.reading) > 0
    )


def _plans(rings: list[Ring]) -> list[Fault]:
    faults: list[Fault] = []
    for one in rings:
        try:
            check_blade(one.readings, "there is no plate to tell the shape of")
            if one.readings.surface != "plate":
                raise refuse(
                    "read on the teeth, which stand proud of the plate",
                    "read the plate; the teeth tell nothing of its dish",
                    value=one.readings.surface,
                    blade=one.readings.blade.name,
                    column="surface",
                )
            check_plan(one.readings)
            if not told_orders(one, 1):
                raise refuse(
                    "the tilt cannot be told from the play of the indicator",
                    "read every tooth both ways, or all of them one way",
                    blade=one.readings.blade.name,
                    column="turned",
                )
        except RefusedError as error:
            faults += [
                replace(fault, problem=f"{one.words}: {fault.problem}") for fault in error.faults
            ]
    return faults


class _Alone(NamedTuple):
    """Each ring fitted by itself; all share one variance."""

    height: Floats
    height_variance: Floats
    waves: dict[int, tuple[list[int], Floats, Floats]]
    dof: int


def check_rings(
    design: PlateDesign, fitted: Mapping[str, Floats], graduation: float | None
) -> Checks:
    """Test what each ring says by itself against the model (F tests on weighted residuals)."""
    alone = _each_alone(design, fitted, graduation)
    if alone is None:
        return Checks(None, None, None)
    return Checks(_growth(design, alone, 1), _growth(design, alone, 2), _heights(design, alone))


def _each_alone(
    design: PlateDesign, fitted: Mapping[str, Floats], graduation: float | None
) -> _Alone | None:
    heights, units, beside, fits = [], [], [], []
    off = slope_u(design, {one: fitted[one] for one in ("traverse", "dish") if one in fitted})
    for at, ring in enumerate(design.rings):
        here = design.ring == at
        angle, read = design.angle[here], design.reading[here].copy()
        own = [one for one in design.orders[at] if one == 1 or one in design.waves]
        for order in design.waves:
            if order not in own:  # What its teeth cannot tell is taken from the other rings.
                read -= fitted[group_of(order)][here]
        play = play_columns(design_of(ring.readings, drift=False))
        columns = np.column_stack([harmonic_columns(angle, own), play])
        fit = least_squares(columns, read - read.mean())
        heights.append(float(fit.coefficients[0] + read.mean()))
        units.append(float(fit.unit_covariance[0, 0]))
        beside.append(float(off[here].mean()) ** 2 + ring.readings.end_float**2 / 12)
        fits.append((own, fit))
    dof = sum(max(fit.dof, 0) for _, fit in fits)
    if dof < 1:
        return None
    scatter = math.sqrt(math.fsum(float(fit.rss) for _, fit in fits if fit.dof > 0) / dof)
    spans = [float(np.ptp(design.reading[design.ring == at])) for at in range(len(design.rings))]
    hair = max(hair_of(design.reading), _NEGLECTED * max(spans))
    sd = max(scatter, floor_of(graduation), hair)
    rounding = (graduation or 0.0) ** 2 / 12 if is_coarse(scatter, graduation) else 0.0
    waves = {}
    for order in (1, 2):
        which = [at for at, (own, _) in enumerate(fits) if order in own]
        parts, covariance = np.zeros(2 * len(which)), np.zeros((2 * len(which), 2 * len(which)))
        for row, at in enumerate(which):
            own, fit = fits[at]
            first, here = 2 * own.index(order) + 1, slice(2 * row, 2 * row + 2)
            place, ring = slice(first, first + 2), design.rings[at]
            u = (ring.readings.ring_radius_u_mm or 0.0) / ring.radius_mm * order
            parts[here] = fit.coefficients[place]
            covariance[here, here] = (
                sd**2 * fit.unit_covariance[place, place]
                + rounding * np.eye(2)
                + u**2 * np.outer(parts[here], parts[here])
            )
        waves[order] = (which, parts, covariance)
    return _Alone(np.array(heights), sd**2 * np.array(units) + rounding + beside, waves, dof)


def _growth(design: PlateDesign, alone: _Alone, order: int) -> float | None:
    """Return the chance that the rings' waves, each by itself, are as the radius makes them."""
    which, parts, covariance = alone.waves[order]
    radius = np.array([float(design.rings[at].readings.ring_radius or 0.0) for at in which])
    flipped = np.array([design.rings[at].flipped for at in which], dtype=np.bool_)
    shared = order > 1  # The blade's own shape turns over with it; how it is mounted does not.
    groups = [radius] if shared else [radius[flipped], radius[~flipped]]
    if not any(len(np.unique(one)) > 1 for one in groups):
        return None
    growth = (radius / design.reference_radius) ** order
    if shared:
        model = np.where(flipped, -growth, growth)[:, np.newaxis]
    else:
        model = np.stack([growth * ~flipped, growth * flipped], axis=1)
    both = np.kron(model, np.eye(2)).astype(np.float64)
    return _misfit(parts, covariance, both, alone.dof)


def _heights(design: PlateDesign, alone: _Alone) -> float | None:
    first = np.array([np.flatnonzero(design.ring == at)[0] for at in range(len(design.rings))])
    level = [design.aside[first][:, : len(design.zeros)]]
    level += [design.columns(one)[first] for one in ("traverse", "dish") if one in design.kept]
    model = np.concatenate(level, axis=1)
    return _misfit(alone.height, np.diag(alone.height_variance), model, alone.dof)


def _misfit(values: Floats, covariance: Floats, model: Floats, dof: int) -> float | None:
    """Return the chance of so large a weighted sum of squares about a linear model."""
    root = np.linalg.cholesky(covariance)
    white = np.linalg.solve(root, values)
    columns = np.linalg.solve(root, model[:, model.any(axis=0)])
    columns /= np.linalg.norm(columns, axis=0)
    weight, _, rank, _ = np.linalg.lstsq(columns, white, rcond=None)
    left = len(values) - int(rank)
    if left < 1:
        return None
    rest = white - columns @ weight
    return float(special.fdtrc(left, dof, float(rest @ rest) / left))


def _remarks_of(fit: PlateFit, design: PlateDesign) -> tuple[str, ...]:
    """Return the warnings of a fitted plate, most important first."""
    found = [*_of_rings(fit), *_of_scatter(fit, design), *_of_zeros(fit, design)]
    one_way = {(one.stand, one.flipped) for one in fit.rings}
    if fit.dish is not None and len(one_way) == 1:
        found.append(
            "the dish rests on the curve through rings read from one side: a guide that is itself "
            "bent would look the same; front and back, or the blade flipped, would tell"
        )
    if fit.dish is not None and not any(one.zero for one in fit.rings):
        found.append(
            "no zero is named, so dial and stand are taken as untouched from the first ring to the "
            "last; if they were not, name the zeros apart: then the dish is not told"
        )
    if fit.saddle_crest is not None and "saddle_growth" in fit.not_identified:
        found.append(
            "the saddle is read at one distance only; its height is carried from there with the "
            "radius squared"
        )
    found += [
        f"{one.words} and {other.words} hold the very same readings: was one copied?"
        for one, other in combinations(fit.rings, 2)
        if _same_readings(one, other)
    ]
    for one in fit.rings:
        found += [f"{one.words}: {remark}" for remark in plan_remarks(one.readings)]
    return tuple(dict.fromkeys(found))


def _of_rings(fit: PlateFit) -> list[str]:
    def chance(p: float | None) -> str:
        return "chance under 0.0001" if p is None or p < 0.0001 else f"chance {p:.1g}"

    found = []
    if fit.tilt_grows is False:
        found.append(
            f"the wobble does not grow in proportion to the radius ({chance(fit.checks.tilt)}): "
            "the rim is bent, or a ring's radius is wrong, or its teeth were counted from another "
            "tooth; check the radii and carry no amplitude to the rim"
        )
    if fit.saddle_grows is False:
        found.append(
            f"the saddle does not grow with the radius squared ({chance(fit.checks.saddle)}): "
            "the bend is local, so its height at the rim is not to be trusted"
        )
    if fit.heights_fit is False:
        found.append(
            "the rings' mean heights do not fit one zero of the dial, a straight traverse and a "
            f"dish ({chance(fit.checks.heights)}): dial or stand moved between the rings, or "
            "the guide is bent; do not trust the dish, and read again, the first ring once more "
            "at the end"
        )
    return found


def _of_scatter(fit: PlateFit, design: PlateDesign) -> list[str]:
    if math.isnan(fit.reading_sd):
        return [
            "all readings with one zero are the same: what there is lies below the indicator's "
            "graduation; state the graduation to learn the bound"
        ]
    found = []
    tilt = fit.wave("tilt")
    if tilt is not None and not tilt.resolved:
        found.append("the tilt is not told apart from the scatter: no direction is established")
    graduated = any(one.readings.graduation for one in fit.rings)
    if not graduated and fit.residual_sd <= hair_of(design.reading):
        found.append(
            "the readings lie on the shape without any scatter, so nothing tells how sure it is: "
            "state the graduation"
        )
    if tilt is not None and (tilt.amplitude or 0.0) > math.tan(math.radians(_ODD_TILT_DEG)):
        found.append(
            "so large a tilt is far more than usable blades show: check the unit of the readings "
            "and the ring radii"
        )
    return found


def _of_zeros(fit: PlateFit, design: PlateDesign) -> list[str]:
    """Return the signs that dial or stand moved within a ring, where the rings share its zero."""
    found = []
    shared = [(one.flipped, one.zero) for one in fit.rings]
    for at, one in enumerate(fit.rings):
        if shared.count((one.flipped, one.zero)) < 2:
            continue
        if _stepped(one, fit.residuals[design.ring == at], fit.reading_sd, fit.dof):
            found.append(
                f"{one.words}: its turns stand at different heights, so dial or stand moved "
                "between them; give each turn as a ring with a zero of its own, or read again"
            )
        closing = closing_of(one.readings)
        # The scatter is that of all rings: a ring of few readings hardly shows its own.
        if closing is not None and closing._replace(sd=fit.reading_sd, dof=fit.dof).moved():
            found.append(
                f"{one.words}: {closing.words(fit.unit)}, more than the readings scatter: the zero "
                "that the rings share moved, "
                "and the dish rests on it; look for a drifting stand and read again"
            )
    return found


def _stepped(ring: Ring, residuals: Floats, sd: float, dof: int) -> bool:
    turns = ring.readings.turn[design_of(ring.readings, drift=False).in_fit]
    groups = [residuals[turns == one] for one in np.unique(turns)]
    if len(groups) < 2 or math.isnan(sd):
        return False
    square = sum(len(one) * (one.mean() - residuals.mean()) ** 2 for one in groups)
    f = float(square) / (len(groups) - 1) / sd**2
    return float(special.fdtrc(len(groups) - 1, dof, f)) < _STEPPED
