"""The shape of a plate over radius and angle: what a plan of rings can tell of it, and the fit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.faults import refuse
from bladegeom.fit.stated import stylus_scale_u
from bladegeom.kernel.design import Design, beyond, design_of, worst_ratio
from bladegeom.kernel.harmonics import harmonic_columns, least_squares
from bladegeom.tables.several import Ring

Floats = NDArray[np.float64]

WORST_RATIO = 10.0
"""An order is fitted if a ring tells it with up to so many times the doubt of a full turn."""

_ALIKE = 1e-3
"""What is left of a column beyond the others, over its length, below which they are alike."""

_SHARED = 0.01


def group_of(order: int) -> str:
    """Return the name of a wave of two and more a turn: two are the saddle."""
    return "saddle" if order == 2 else f"wave{order}"


def order_of(group: str) -> int:
    """Return how many waves a turn a part of the shape has."""
    known = {"dish": 0, "traverse": 0, "tilt": 1, "flipped_tilt": 1, "saddle": 2}
    return known[group] if group in known else int(group.removeprefix("wave"))


def names_of(group: str) -> tuple[str, ...]:
    """Return the names of the parameters of a part of the shape."""
    return (group,) if group in ("dish", "traverse") else (f"{group}_cos", f"{group}_sin")


def power_of(group: str) -> int:
    """Return with which power of the radius a part of the shape grows."""
    return 2 if group == "dish" else max(1, order_of(group))


def shape_columns(
    group: str, radius: ArrayLike, angle_rad: ArrayLike, reference_radius: float
) -> Floats:
    """Return the height of one part of the plate's shape for parameters of 1, shape (..., 1 or 2).

    They are slopes of the tilt, and heights of dish, saddle and waves at the reference radius.
    """
    r, angle = np.broadcast_arrays(
        np.asarray(radius, dtype=np.float64), np.asarray(angle_rad, dtype=np.float64)
    )
    order = order_of(group)
    reach = r if power_of(group) == 1 else (r / reference_radius) ** power_of(group)
    waves = harmonic_columns(angle, [order])[..., 1:] if order else 1.0
    columns: Floats = waves * reach[..., np.newaxis]
    return columns


def play_columns(one: Design) -> Floats:
    """Return the columns of the indicator's play, none where a ring was read one way only."""
    if one.play is None:
        return np.zeros((len(one.angle), 0))
    columns: Floats = harmonic_columns(one.angle)[:, 1:] * one.play[:, np.newaxis]
    return columns


@dataclass(frozen=True, eq=False)
class PlateDesign:
    """The readings of all rings in one row, shape (n,), without the closing ones."""

    rings: tuple[Ring, ...]
    reference_radius: float
    # Of each reading: its ring, and where it was taken, the angle in radians.
    ring: NDArray[np.int64]
    radius: Floats
    angle: Floats
    reading: Floats
    # Flipped, and the word of the dial's zero.
    zeros: tuple[tuple[bool, str], ...]
    # What moves a reading beside the shape: an offset for each zero, and the play of the indicator
    # where a ring was read both ways; shape (n, q).
    aside: Floats
    # The parts of the shape that are asked for, and the waves that each ring tells by itself.
    groups: tuple[str, ...]
    orders: tuple[tuple[int, ...], ...]
    # Waves left out because no ring has teeth enough -> the most teeth read on a ring.
    few: dict[str, int]
    # The groups that are in the fit, and those of them that the plan tells apart from all others.
    kept: tuple[str, ...] = ()
    told: tuple[str, ...] = ()

    def columns(self, group: str) -> Floats:
        """Return the columns of one group for these readings, shape (n, 1) or (n, 2)."""
        flipped = np.array([one.flipped for one in self.rings])[self.ring]
        if group == "traverse":
            front = np.array([one.stand == "front" for one in self.rings])[self.ring]
            sign = np.where(front, 1.0, -1.0)
        elif group in ("tilt", "flipped_tilt"):
            # Two mountings: how the second one seats has nothing to do with how the first did.
            sign = (flipped == (group == "flipped_tilt")).astype(np.float64)
            group = "tilt"
        else:
            sign = np.where(flipped, -1.0, 1.0)
        columns = shape_columns(group, self.radius, self.angle, self.reference_radius)
        signed: Floats = columns * sign[:, np.newaxis]
        return signed

    @property
    def waves(self) -> list[int]:
        """The waves of two and more a turn that are in the fit."""
        return [order_of(group) for group in self.kept if order_of(group) > 1]

    def each_ring(self, values: ArrayLike = 1.0) -> Floats:
        """Return a column for each ring, its value where a reading is of it, else 0."""
        mine = self.ring[:, np.newaxis] == np.arange(len(self.rings))
        return np.asarray(mine * np.asarray(values, dtype=np.float64))


def plate_design(rings: Sequence[Ring], reference_radius: float, harmonics: int) -> PlateDesign:
    """Put the readings of all rings in one row and find what the plan can tell.

    A group of columns is left out where the ones before it leave less than a thousandth of it,
    and whatever could stand in for it is then not told either.
    """
    designs = [design_of(one.readings, drift=False) for one in rings]
    ring = np.concatenate([np.full(len(one.angle), at) for at, one in enumerate(designs)])
    zeros = tuple(dict.fromkeys((one.flipped, one.zero) for one in rings))
    which = np.array([zeros.index((one.flipped, one.zero)) for one in rings])[ring]
    aside = [(which[:, np.newaxis] == np.arange(len(zeros))).astype(np.float64)]
    for at, one in enumerate(designs):
        own = play_columns(one)
        play = np.zeros((len(ring), own.shape[1]))
        play[ring == at] = own
        aside.append(play)
    orders = tuple(told_orders(one, harmonics) for one in rings)
    most = max(len(np.unique(one.readings.tooth[~one.readings.closing])) for one in rings)
    waves = [group_of(order) for order in range(2, harmonics + 1)]
    over = ["flipped_tilt"] if any(one.flipped for one in rings) else []
    plan = PlateDesign(
        rings=tuple(rings),
        reference_radius=reference_radius,
        ring=ring,
        radius=np.array([one.readings.ring_radius for one in rings], dtype=np.float64)[ring],
        angle=np.concatenate([one.angle for one in designs]),
        reading=np.concatenate(
            [one.readings.reading[own.in_fit] for one, own in zip(rings, designs, strict=True)]
        ),
        zeros=zeros,
        aside=np.concatenate(aside, axis=1),
        groups=("tilt", *over, "dish", *waves, "traverse"),
        orders=orders,
        few={one: most for one in waves if not any(order_of(one) in told for told in orders)},
    )
    before, kept, alike = plan.aside, [], []
    # The traverse before the dish: with both left open, neither is claimed.
    for group in sorted(plan.groups, key=lambda one: order_of(one) != 1 and one != "traverse"):
        if group in plan.few:
            continue
        own = _unit_length(plan.columns(group))
        if float(np.linalg.svd(beyond(own, before), compute_uv=False)[-1]) < _ALIKE:
            alike.append(group)
            continue
        kept.append(group)
        before = np.concatenate([before, own], axis=1)
    kept = [group for group in plan.groups if group in kept]
    shared = _shared(plan, kept, alike)
    told = tuple(group for group in kept if group not in shared)
    return replace(plan, kept=tuple(kept), told=told)


def _unit_length(columns: Floats) -> Floats:
    scaled: Floats = columns / np.linalg.norm(columns, axis=0)
    return scaled


def _shared(plan: PlateDesign, kept: list[str], alike: list[str]) -> set[str]:
    """Return the groups in the fit that hold a share of one that is left out."""
    if not alike:
        return set()
    columns = {group: _unit_length(plan.columns(group)) for group in kept}
    within = np.concatenate([_unit_length(plan.aside), *columns.values()], axis=1)
    out = np.concatenate([_unit_length(plan.columns(group)) for group in alike], axis=1)
    shares = np.abs(np.linalg.lstsq(within, out, rcond=None)[0]).max(axis=1)
    found, at = set(), plan.aside.shape[1]
    for group, own in columns.items():
        if shares[at : at + own.shape[1]].max() > _SHARED:
            found.add(group)
        at += own.shape[1]
    return found


def told_orders(ring: Ring, most: int) -> tuple[int, ...]:
    """Return the waves a turn, up to `most`, that one ring tells by the angles of its teeth.

    Told apart from the ring's height and, where it was read both ways, the indicator's play. m
    teeth tell (m - 1) / 2 waves; that one wave grows otherwise with the radius than another is no
    help, since a plate need not be as the model has it.
    """
    design = design_of(ring.readings, drift=False)
    aside = np.column_stack([np.ones(len(design.angle)), play_columns(design)])
    if np.linalg.matrix_rank(aside) < aside.shape[1]:
        return ()
    orders: list[int] = []
    for order in range(1, most + 1):
        waves = harmonic_columns(design.angle, [order])[:, 1:]
        if not worst_ratio(waves, aside) <= WORST_RATIO:
            break
        orders.append(order)
        aside = np.concatenate([aside, waves], axis=1)
    return tuple(orders)


def not_told(design: PlateDesign, harmonics: int) -> dict[str, str]:
    """Return what the plan cannot tell -> why, and what to read; refused without one to spare."""
    unknowns = design.aside.shape[1] + sum(len(names_of(one)) for one in design.kept)
    if len(design.reading) <= unknowns:
        raise refuse(
            f"{len(design.reading)} readings for {unknowns} unknowns",
            "read more teeth" + (", or fit with harmonics=1" if harmonics > 1 else ""),
            value=len(design.reading),
            blade=design.rings[0].readings.blade.name,
        )
    found: dict[str, str] = {}
    if "dish" not in design.told:
        found["dish"] = _why_no_dish(design)
    if "traverse" not in design.told:
        found["traverse"] = _why_no_traverse(design)
    if harmonics < 2:
        found["saddle"] = "it was not asked for (harmonics=1)"
    for group in design.groups:
        if order_of(group) > 1 and group not in design.told:
            found[group] = _why_no_wave(order_of(group), design.few.get(group))
    once = "all rings of a mounting lie at one distance from the arbor; read a second, well away"
    if all(_distances(design, flipped) < 2 for flipped in (False, True)):
        found["tilt_growth"] = once
    if _distances(design) < 2:
        found["saddle_growth"] = once
    return found


def _distances(design: PlateDesign, flipped: bool | None = None) -> int:
    """Return at how many distances from the arbor was read, in all or in one mounting."""
    rings = [one for one in design.rings if flipped in (None, one.flipped)]
    return len({round(one.radius_mm, 9) for one in rings})


def _why_no_dish(design: PlateDesign) -> str:
    if _distances(design) < 2:
        return (
            "all readings are at one distance from the arbor, where a dish passes for the dial's "
            "zero; read a second ring without touching dial or stand's base"
        )
    kept = {(one.flipped, one.zero, round(one.radius_mm, 9)) for one in design.rings}
    if len(kept) == len(design.zeros):
        return (
            "the dial was set anew between the rings, and a dish passes for its zero; read the "
            "rings without setting the dial in between"
        )
    others = [design.aside, *(design.columns(one) for one in design.kept if one != "traverse")]
    left = beyond(_unit_length(design.columns("dish")), np.concatenate(others, axis=1))
    if float(np.linalg.norm(left)) < 1e-2:
        return "the rings lie too close together; read one nearer the flange and one near the rim"
    return (
        "a dish and a traverse that is not square to the arbor look the same in these rings; read "
        "the same rings at the back of the arbor too, or a third ring well away from both, or the "
        "blade flipped"
    )


def _why_no_traverse(design: PlateDesign) -> str:
    places = {(one.flipped, one.zero, one.stand, round(one.radius_mm, 9)) for one in design.rings}
    if len(places) == len(design.zeros):
        return "it takes two rings with one zero of the dial, or one ring at front and back"
    return "in these rings it cannot be told from a dish"


def _why_no_wave(order: int, most: int | None) -> str:
    if most is not None and most < 2 * order + 1:
        return (
            f"{order} waves a turn take at least {2 * order + 1} teeth on a ring, {most} are read; "
            "read more teeth"
        )
    return f"the teeth read do not tell {order} waves a turn; read teeth all round the blade"


class Solved(NamedTuple):
    """What the fit gives for the groups that are in it, whether the plan tells them or not.

    `parts` is what each group adds to each reading, shape (n,); the others are as in `PlateFit`.
    """

    names: list[str]
    values: Floats
    covariance: Floats
    residuals: Floats
    parts: dict[str, Floats]
    dof: int
    residual_sd: float
    reading_sd: float


def solve_plate(design: PlateDesign, graduation: float | None) -> Solved:
    """Fit all readings at once by ordinary least squares; the graduation is the coarsest one."""
    groups = {group: design.columns(group) for group in design.kept}
    columns = np.concatenate([design.aside, *groups.values()], axis=1)
    zero = design.aside[:, : len(design.zeros)]
    middle = zero @ ((zero.T @ design.reading) / zero.sum(axis=0))
    for which in zero.T > 0:  # Readings that are all the same must leave nothing, not dust.
        if np.ptp(design.reading[which]) == 0:
            middle[which] = design.reading[which]
    read = design.reading - middle
    fit = least_squares(columns, read)
    residual_sd = math.sqrt(float(fit.rss) / fit.dof)
    reading_sd = max(residual_sd, floor_of(graduation), hair_of(design.reading))
    if not read.any() and graduation is None:
        reading_sd = math.nan
    first = design.aside.shape[1]
    values = fit.coefficients[first:]
    parts, start = {}, 0
    for group, own in groups.items():
        parts[group] = own @ values[start : start + own.shape[1]]
        start += own.shape[1]
    weight = (fit.unit_covariance @ columns.T)[first:]
    beside = _rounding(design, weight) * (
        graduation**2 / 12 if graduation and is_coarse(residual_sd, graduation) else 0.0
    )
    beside += _of_radii(design, weight, parts) + _of_set_up(design, weight, parts)
    return Solved(
        names=[name for group in groups for name in names_of(group)],
        values=values,
        covariance=reading_sd**2 * fit.unit_covariance[first:, first:] + beside,
        residuals=fit.residuals,
        parts=parts,
        dof=fit.dof,
        residual_sd=residual_sd,
        reading_sd=reading_sd,
    )


def _rounding(design: PlateDesign, weight: Floats) -> Floats:
    """Covariance from rounding that is the same all round a ring: its height and each wave.

    Each of them is off by up to half a graduation either way, anything between being as likely
    (GUM 4.3.7), and for each ring anew; in units of graduation^2 / 12.
    """
    waves = harmonic_columns(design.angle, [1, *design.waves])
    rings = design.each_ring()
    moved = np.concatenate([weight @ (rings * wave[:, np.newaxis]) for wave in waves.T], axis=1)
    covariance: Floats = moved @ moved.T
    return covariance


def _of_radii(design: PlateDesign, weight: Floats, parts: dict[str, Floats]) -> Floats:
    """Covariance from rings that were not read just where they were said to be."""
    moved = weight @ (slope_u(design, parts)[:, np.newaxis] * design.each_ring())
    covariance: Floats = moved @ moved.T
    return covariance


def _of_set_up(design: PlateDesign, weight: Floats, parts: dict[str, Floats]) -> Floats:
    """Covariance from the arbor's float, and from a stylus that did not stand along the arbor.

    The arbor may ride in its float, in step with the rotation or from ring to ring, anew for each.
    """
    rides = [math.sqrt(one.readings.end_float**2 / 12) for one in design.rings]
    scale_u = [float(stylus_scale_u(one.readings.stylus_deg)) for one in design.rings]
    shape = sum(parts.values(), start=np.zeros(len(design.radius)))
    scaled = shape[:, np.newaxis] * design.each_ring(scale_u)
    ridden = [
        design.each_ring(rides) * wave[:, np.newaxis] for wave in harmonic_columns(design.angle).T
    ]
    moved = weight @ np.concatenate([scaled, *ridden], axis=1)
    covariance: Floats = moved @ moved.T
    return covariance


def slope_u(design: PlateDesign, parts: dict[str, Floats]) -> Floats:
    """Return how far each reading is off for a radius that is off by its own doubt."""
    slope = sum(
        (power_of(group) * part / design.radius for group, part in parts.items()),
        start=np.zeros(len(design.radius)),
    )
    off: Floats = (
        slope * np.array([one.readings.ring_radius_u for one in design.rings])[design.ring]
    )
    return off


def is_coarse(residual_sd: float, graduation: float | None) -> bool:
    """Return whether the readings scatter too little for rounding errors to average out."""
    return graduation is not None and residual_sd < graduation / 2


def hair_of(reading: Floats) -> float:
    """Return the rounding that numbers of this size carry; below it a residual means nothing."""
    return max(8 * float(np.finfo(np.float64).eps) * float(np.abs(reading).max()), 1e-150)


def floor_of(graduation: float | None) -> float:
    """Return the standard uncertainty of reading a graduation (GUM F.2.2.1)."""
    return (graduation or 0.0) / math.sqrt(12)
