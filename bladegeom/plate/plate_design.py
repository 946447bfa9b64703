"""The columns of a plate's shape over radius and angle, and which of them a plan can tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.kernel.design import beyond, design_of, worst_ratio
from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.tables.rings import Ring

Floats = NDArray[np.float64]

WORST_RATIO = 10.0
"""An order is fitted if a ring tells it with up to so many times the doubt of a full turn."""

_ALIKE = 1e-3
"""What is left of a column beyond the others, over its length, below which they are alike."""

_SHARED = 0.01


def group_names(harmonics: int, *, flipped: bool) -> dict[str, tuple[str, ...]]:
    """Return what is fitted of a plate -> the names of its parameters, in their order."""

    def pair(stem: str) -> tuple[str, str]:
        return f"{stem}_cos", f"{stem}_sin"

    groups: dict[str, tuple[str, ...]] = {"tilt": pair("tilt")}
    if flipped:
        groups["flipped_tilt"] = pair("flipped_tilt")
    groups["dish"] = ("dish",)
    for order in range(2, harmonics + 1):
        groups[group_of(order)] = pair(group_of(order))
    return groups | {"traverse": ("traverse",)}


def group_of(order: int) -> str:
    """Return the name of a wave of two and more a turn: two are the saddle."""
    return "saddle" if order == 2 else f"wave{order}"


def order_of(group: str) -> int:
    """Return how many waves a turn a part of the shape has."""
    if group in ("dish", "traverse"):
        return 0
    known = {"tilt": 1, "flipped_tilt": 1, "saddle": 2}
    return known[group] if group in known else int(group.removeprefix("wave"))


def power_of(group: str) -> int:
    """Return with which power of the radius a part of the shape grows."""
    return 2 if group == "dish" else max(1, order_of(group))


def shape_columns(
    group: str, radius: ArrayLike, angle_rad: ArrayLike, reference_radius: float
) -> Floats:
    """Return the height of one part of the plate's shape for parameters of 1.

    Parameters
    ----------
    group : str
        Such as "tilt" (slopes), "dish", "saddle", "wave3" (heights at the reference radius).
    radius, angle_rad : array_like, shape (n,)
    reference_radius : float

    Returns
    -------
    ndarray, shape (n, 1) or (n, 2)
    """
    r, angle = np.broadcast_arrays(
        np.asarray(radius, dtype=np.float64), np.asarray(angle_rad, dtype=np.float64)
    )
    order = order_of(group)
    reach = r if power_of(group) == 1 else (r / reference_radius) ** power_of(group)
    if order == 0:
        return reach[..., np.newaxis].copy()
    waves = harmonic_columns(angle, [order])[..., 1:]
    columns: Floats = waves * reach[..., np.newaxis]
    return columns


@dataclass(frozen=True, eq=False)
class PlateDesign:
    """The readings of all rings in one row, without the closing ones.

    Attributes
    ----------
    rings : tuple of Ring
    reference_radius : float
    ring : ndarray of int, shape (n,)
        Of which ring each reading is.
    radius, angle, reading : ndarray, shape (n,)
        Angles in radians.
    zeros : tuple of (bool, str)
        Flipped, and the word of the dial's zero.
    aside : ndarray, shape (n, q)
        What moves a reading beside the shape: an offset for each zero, and the play of the
        indicator where a ring was read both ways.
    groups : dict
        As `group_names` returns them.
    kept : tuple of str
        The groups that are in the fit.
    told : tuple of str
        The groups of `kept` that the plan tells apart from all others.
    alike : tuple of str
        Groups left out because others can stand in for them.
    orders : tuple of tuple of int
        The waves a turn that each ring tells by itself.
    few : dict
        Waves left out because no ring has teeth enough -> the most teeth read on a ring.
    """

    rings: tuple[Ring, ...]
    reference_radius: float
    ring: NDArray[np.int64]
    radius: Floats
    angle: Floats
    reading: Floats
    zeros: tuple[tuple[bool, str], ...]
    aside: Floats
    groups: dict[str, tuple[str, ...]]
    kept: tuple[str, ...]
    told: tuple[str, ...]
    alike: tuple[str, ...]
    orders: tuple[tuple[int, ...], ...]
    few: dict[str, int]

    def columns(self, group: str) -> Floats:
        """Return the columns of one group for these readings, shape (n, 1) or (n, 2)."""
        return _columns(
            group, self.rings, self.ring, self.radius, self.angle, self.reference_radius
        )


def _columns(
    group: str,
    rings: Sequence[Ring],
    ring: NDArray[np.int64],
    radius: Floats,
    angle: Floats,
    reference: float,
) -> Floats:
    flipped = np.array([one.flipped for one in rings])[ring]
    if group == "traverse":
        sign = np.array([1.0 if one.stand == "front" else -1.0 for one in rings])[ring]
    elif group in ("tilt", "flipped_tilt"):
        # Two mountings: how the second one seats has nothing to do with how the first did.
        sign = (flipped == (group == "flipped_tilt")).astype(np.float64)
        group = "tilt"
    else:
        sign = np.where(flipped, -1.0, 1.0)
    columns: Floats = shape_columns(group, radius, angle, reference) * sign[:, np.newaxis]
    return columns


def plate_design(rings: Sequence[Ring], reference_radius: float, harmonics: int) -> PlateDesign:
    """Put the readings of all rings in one row and find what the plan can tell.

    A group of columns is left out where the ones before it leave less than a thousandth of it,
    and whatever could stand in for it is then not told either.
    """
    designs = [design_of(one.readings, drift=False) for one in rings]
    ring = np.concatenate([np.full(len(one.angle), at) for at, one in enumerate(designs)])
    angle = np.concatenate([one.angle for one in designs])
    radius = np.array([one.readings.ring_radius for one in rings], dtype=np.float64)[ring]
    reading = np.concatenate(
        [one.readings.reading[design.in_fit] for one, design in zip(rings, designs, strict=True)]
    )
    zeros = tuple(dict.fromkeys((one.flipped, one.zero) for one in rings))
    which = np.array([zeros.index((one.flipped, one.zero)) for one in rings])[ring]
    aside = [(which[:, np.newaxis] == np.arange(len(zeros))).astype(np.float64)]
    for at, one in enumerate(designs):
        if one.play is not None:
            play = np.zeros((len(ring), 2))
            play[ring == at] = harmonic_columns(one.angle)[:, 1:] * one.play[:, np.newaxis]
            aside.append(play)
    fixed = np.concatenate(aside, axis=1)
    groups = group_names(harmonics, flipped=any(one.flipped for one in rings))
    orders = tuple(told_orders(one, harmonics) for one in rings)
    most = max(teeth_read(one) for one in rings)
    few = {
        group_of(order): most
        for order in range(2, harmonics + 1)
        if not any(order in one for one in orders)
    }

    def columns(group: str) -> Floats:
        return _columns(group, rings, ring, radius, angle, reference_radius)

    before, kept, alike = fixed, [], []
    # The traverse before the dish: with both left open, neither is claimed.
    for group in sorted(groups, key=lambda one: one not in ("tilt", "flipped_tilt", "traverse")):
        if group in few:
            continue
        own = _unit_length(columns(group))
        if _least(beyond(own, before)) < _ALIKE:
            alike.append(group)
            continue
        kept.append(group)
        before = np.concatenate([before, own], axis=1)
    kept = [group for group in groups if group in kept]
    shared = _shared(fixed, {group: columns(group) for group in kept}, list(map(columns, alike)))
    return PlateDesign(
        rings=tuple(rings),
        reference_radius=reference_radius,
        ring=ring,
        radius=radius,
        angle=angle,
        reading=reading,
        zeros=zeros,
        aside=fixed,
        groups=groups,
        kept=tuple(kept),
        told=tuple(group for group in kept if group not in shared),
        alike=tuple(alike),
        orders=orders,
        few=few,
    )


def _unit_length(columns: Floats) -> Floats:
    scaled: Floats = columns / np.linalg.norm(columns, axis=0)
    return scaled


def _least(columns: Floats) -> float:
    return float(np.linalg.svd(columns, compute_uv=False)[-1])


def _shared(fixed: Floats, kept: dict[str, Floats], alike: list[Floats]) -> set[str]:
    """Return the groups in the fit that hold a share of one that is left out."""
    if not alike:
        return set()
    scaled = {group: _unit_length(columns) for group, columns in kept.items()}
    within = np.concatenate([_unit_length(fixed), *scaled.values()], axis=1)
    out = _unit_length(np.concatenate(alike, axis=1))
    shares = np.abs(np.linalg.lstsq(within, out, rcond=None)[0]).max(axis=1)
    found, at = set(), fixed.shape[1]
    for group, columns in scaled.items():
        if shares[at : at + columns.shape[1]].max() > _SHARED:
            found.add(group)
        at += columns.shape[1]
    return found


def teeth_read(ring: Ring) -> int:
    """Return how many different teeth are read on a ring."""
    return len(np.unique(ring.readings.tooth[~ring.readings.closing]))


def told_orders(ring: Ring, most: int) -> tuple[int, ...]:
    """Return the waves a turn, up to `most`, that one ring tells by the angles of its teeth.

    Told apart from the ring's height and, where it was read both ways, the indicator's play. m
    teeth tell (m - 1) / 2 waves; that one wave grows otherwise with the radius than another is no
    help, since a plate need not be as the model has it.
    """
    design = design_of(ring.readings, drift=False)
    aside = np.ones((len(design.angle), 1))
    if design.play is not None:
        play = harmonic_columns(design.angle)[:, 1:] * design.play[:, np.newaxis]
        aside = np.concatenate([aside, play], axis=1)
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


def is_coarse(residual_sd: float, graduation: float | None) -> bool:
    """Return whether the readings scatter too little for rounding errors to average out."""
    return graduation is not None and residual_sd < graduation / 2


def hair_of(reading: Floats) -> float:
    """Return the rounding that numbers of this size carry; below it a residual means nothing."""
    return max(8 * float(np.finfo(np.float64).eps) * float(np.abs(reading).max()), 1e-150)


def floor_of(graduation: float | None) -> float:
    """Return the standard uncertainty of reading a graduation (GUM F.2.2.1)."""
    return (graduation or 0.0) / math.sqrt(12)
