"""The line on a plate that a square truly touches, and how the plate leans and bends it.

Places are complex numbers: real upward from the arbor's axis, imaginary toward the teeth that
follow the uppermost one. So no side of the blade and no way of numbering is needed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from bladegeom.angles import wrap_360
from bladegeom.blade import Blade
from bladegeom.estimate import Estimate
from bladegeom.faults import refuse
from bladegeom.lengths import convert
from bladegeom.plate._design import names_of, shape_columns
from bladegeom.plate.shape import PlateFit
from bladegeom.wobble import DETECTION_LEVEL

Floats = NDArray[np.float64]

LINES = ("upright", "level")
TURN = np.linspace(0.0, 360.0, 1441)
_LARGE_DOF = 1e7
_CLEAR = 10.0
"""Times its doubt, the swing from which on a curve's rotations are told by more than scatter."""

# Close together at the ends, about which a square rocks.
_PARTS = (1 - np.cos(np.linspace(0.0, math.pi, 401)[1:-1])) / 2


class PlateLine(NamedTuple):
    """A straight line in front of the plate, upright or level, between the ends a square touches.

    The end is the upper one, or the one on the side of the teeth that follow the uppermost; notes
    say what was done with the lengths that were given.
    """

    kind: str
    start: complex
    end: complex
    unit: str
    notes: tuple[str, ...]

    @property
    def length(self) -> float:
        """Between the two ends."""
        return abs(self.end - self.start)

    @property
    def words(self) -> str:
        """Where it stands or lies."""
        start, end, unit = self.start, self.end, self.unit
        axis = "above the arbor's axis"
        if self.kind == "upright":
            aside = start.imag
            words = f"upright from {start.real:.4g} to {end.real:.4g} {unit} {axis}"
        else:
            aside = (start.imag + end.imag) / 2
            words = f"level, {start.real:.4g} {unit} {axis}, {self.length:.4g} {unit} long"
        if abs(aside) < 1e-9 * self.length:
            return words
        way = "that follow the uppermost" if aside > 0 else "before the uppermost"
        return f"{words}, {abs(aside):.4g} {unit} from the centre toward the teeth {way}"

    def in_unit(self, unit: str) -> PlateLine:
        """Return the same line in another unit."""
        per = convert(1.0, self.unit, unit)
        return self._replace(start=self.start * per, end=self.end * per, unit=unit)


def part_of(name: str) -> tuple[str, int]:
    """Return of which part of the shape a parameter is, and which of its columns.

    Empty for what is no shape of the plate as it is mounted: the slope of the traverse, how the
    flipped blade sat, whether a part of the shape grows as it should.
    """
    group = name.removesuffix("_cos").removesuffix("_sin")
    if group in ("traverse", "flipped_tilt") or group.endswith("_growth"):
        return "", 0
    return group, int(name.endswith("_sin"))


def line_of(
    blade: Blade, kind: str, *, table: float, reach: float | None, away: float, unit: str
) -> PlateLine:
    """Return the line that a square touches, cut off where the plate ends; see `best_rotation`.

    Refused where no plate stands there, or neither reach nor diameter is known.
    """
    edge = math.inf
    if blade.radius_mm is not None:
        edge = convert(blade.radius_mm - (blade.gullet_mm or 0.0), "mm", unit)
    elif reach is None:
        raise refuse(
            "neither the square's reach nor the blade's diameter is stated",
            "give reach, the length of the square's blade",
            blade=blade.name,
            column="reach",
        )
    fixed, along = (away, table) if kind == "upright" else (table, away)
    if math.hypot(fixed, along) >= edge:
        beside = f" and {abs(away):.4g} {unit} beside it" if away else ""
        raise refuse(
            f"{table:.4g} {unit} above the arbor's axis{beside} there is no plate: it ends "
            f"{edge:.4g} {unit} from the axis",
            "check table_height, away_from_centre, and the blade's diameter and gullets",
            value=table,
            blade=blade.name,
            column="table_height",
        )
    half = math.sqrt((edge - abs(fixed)) * (edge + abs(fixed)))
    if kind == "upright":
        asked = (along, half if reach is None else along + reach)
    else:
        # Without a reach, as long as there is plate on both sides of its middle.
        each = half - abs(along) if reach is None else reach / 2
        asked = (along - each, along + each)
    ends = (max(asked[0], -half), min(asked[1], half))
    notes: list[str] = []
    if max(-asked[0], asked[1]) > half * (1 + 1e-9):
        notes.append(
            f"The square reaches past the plate; the line ends where the plate does, {edge:.4g} "
            f"{unit} from the arbor's axis."
        )
    if blade.gullet_mm is None and half in (-ends[0], ends[1]):
        notes.append(
            "Gullet depth not stated: the line is taken as far as the tooth tips. Keep the square "
            "clear of the teeth."
        )
    start, end = (complex(one, fixed) if kind == "upright" else complex(fixed, one) for one in ends)
    return PlateLine(kind, start, end, unit, tuple(notes))


@dataclass(frozen=True)
class Picked(Estimate):
    """A slope picked from those at all rotations, its limits good for any of them."""

    factor: float = math.nan

    @property
    def reach(self) -> float:
        """Half the width of the 95 % limits, `factor` in the place of Student's."""
        return self.factor * self.u


class PlateSlopes:
    """Slopes of one line on one plate: linear in the plate's parameters, and so is their doubt.

    What of the plate's shape is not told counts as nothing; `only` is one part of it alone, such as
    ``tilt``. Rotations are blade angles uppermost, shape (m,).
    """

    def __init__(self, plate: PlateFit, line: PlateLine, *, only: str = "") -> None:
        parts = [part_of(name)[0] for name in plate.names]
        kept = [at for at, part in enumerate(parts) if part and only in ("", part)]
        self.plate, self.line = plate, line.in_unit(plate.unit)
        self.names = [plate.names[at] for at in kept]
        self.values = plate.values[kept]
        self.covariance = plate.covariance[np.ix_(kept, kept)]

    def rise(self, top_deg: ArrayLike) -> Floats:
        """Return rise toward the indicator over length."""
        rise: Floats = self._columns(top_deg) @ self.values
        return rise

    def deg(self, top_deg: ArrayLike) -> Floats:
        """Return the slopes in degrees."""
        return np.degrees(np.arctan(self.rise(top_deg)))

    def u_deg(self, top_deg: ArrayLike) -> Floats:
        """Return their standard uncertainty (k = 1) in degrees."""
        columns = self._columns(top_deg)
        u: Floats = np.degrees(_sd(columns, self.covariance) / (1 + self.rise(top_deg) ** 2))
        return u

    def at(self, top_deg: float) -> Estimate:
        """Return the slope in degrees at one rotation."""
        deg, u = self.deg([top_deg]), self.u_deg([top_deg])
        return Estimate(float(deg[0]), float(u[0]), self.plate.dof)

    def zeros(self) -> tuple[float, ...]:
        """Return where the slope is zero: where it changes its sign, in ever smaller steps."""
        rises = self._round @ self.values >= 0
        rises[-1] = rises[0]
        (steps,) = np.nonzero(rises[1:] != rises[:-1])
        low, high = TURN[steps], TURN[steps + 1]
        for _ in range(10):
            middle = (low + high) / 2
            same = (self.rise(middle) >= 0) == rises[steps]
            low, high = np.where(same, middle, low), np.where(same, high, middle)
        # What is left of each step is straight to rounding.
        before, after = self.rise(low), self.rise(high)
        return tuple(
            sorted(wrap_360(one) for one in low - before * (high - low) / (after - before))
        )

    def least(self) -> float:
        """Return the blade angle with the least slope to either side, where none is zero."""
        size = np.abs(self._round[:-1] @ self.values)
        place = int(size.argmin())
        before, here, after = size[np.arange(place - 1, place + 2) % len(size)]
        bend = before - 2 * here + after
        step = (before - after) / (2 * bend) if bend > 0 else 0.0
        return wrap_360(float(TURN[place] + step * TURN[1]))

    def worst(self) -> float:
        """Return the blade angle with the slope farthest out, doubt and all."""
        reach = self._everywhere * _sd(self._round, self.covariance)
        size = np.abs(self._round @ self.values) + np.nan_to_num(reach)
        return float(TURN[size[:-1].argmax()])

    def picked(self, top_deg: float) -> Estimate:
        """Return the slope at a rotation that was picked for its slope.

        Where the curve does not stand clear above its doubt, scatter has a hand in the picking, and
        Student's limits would be too narrow: these then hold at all rotations at once (Scheffe).
        """
        slope = self.at(top_deg)
        swing = float(np.ptp(self._round @ self.values)) / 2
        if swing > _CLEAR * float(_sd(self._round, self.covariance).max()):
            return slope
        return Picked(slope.value, slope.u, slope.dof, factor=self._everywhere)

    @property
    def _everywhere(self) -> float:
        """Times the doubt of a rise, what it keeps to at all rotations at once (95 %)."""
        felt = int((np.abs(self._round).max(axis=0) > self._felt).sum())
        dof = min(self.plate.dof, _LARGE_DOF)
        return math.sqrt(felt * float(special.fdtri(felt, dof, DETECTION_LEVEL)))

    def chance(self) -> float:
        """Return the chance of so large a difference between rotations by scatter alone.

        The F test of all parameters whose share changes as the blade turns, against their joint
        covariance: the test of the largest difference between any two rotations (Scheffe).
        """
        turning = np.ptp(self._round, axis=0) > self._felt
        values, covariance = self.values[turning], self.covariance[np.ix_(turning, turning)]
        if not np.isfinite(covariance).all():
            return math.nan
        if not values.any() or not covariance.any():
            return 0.0 if values.any() else 1.0
        f = float(values @ np.linalg.solve(covariance, values)) / len(values)
        return float(special.fdtrc(len(values), min(self.plate.dof, _LARGE_DOF), f))

    def missing(self) -> dict[str, str]:
        """Return what of the shape leans this line but is not identified, and why."""
        return {
            what: why
            for what, why in self.plate.not_identified.items()
            if np.abs(self._slopes(names_of(what), TURN)).max() > self._felt
        }

    def bow(self, top_deg: float) -> tuple[Estimate, float, float] | None:
        """Return how the plate bends along the line; None where part of that is not identified.

        Farthest that it stands off the straight line, positive toward the indicator, and by how
        many degrees a square rocks, held against the indicator's side of the plate and the other.
        """
        if any(part_of(name)[0] for what in self.plate.not_identified for name in names_of(what)):
            return None
        line, share = self.line, _PARTS[:, np.newaxis]
        places = line.start + np.array([0.0, 1.0, *_PARTS]) * (line.end - line.start)
        start, end, *along = self._heights(self.names, places, [top_deg])[0]
        columns = np.asarray(along) - (1 - share) * start - share * end
        height = columns @ self.values
        place = int(np.abs(height).argmax())
        u = float(_sd(columns[place], self.covariance))
        # About its start a square turns up, about its end down, until it lies on the plate.
        per = np.minimum(_PARTS, 1 - _PARTS) * line.length
        rock, other = (
            math.degrees(math.atan(max(0.0, float((side * height / per).max()))))
            for side in (1, -1)
        )
        return Estimate(float(height[place]), u, self.plate.dof), rock, other

    @cached_property
    def _round(self) -> Floats:
        return self._columns(TURN)

    def _columns(self, top_deg: ArrayLike) -> Floats:
        return self._slopes(self.names, top_deg)

    def _slopes(self, names: Sequence[str], top_deg: ArrayLike) -> Floats:
        """Return what one of each parameter adds to the slope between the ends, shape (m, p)."""
        ends = self._heights(names, [self.line.start, self.line.end], top_deg)
        rise: Floats = (ends[:, 1] - ends[:, 0]) / self.line.length
        return rise

    def _heights(self, names: Sequence[str], places: ArrayLike, top_deg: ArrayLike) -> Floats:
        """Return the height that one of each parameter makes, place by place, shape (m, k, p)."""
        place = np.asarray(places, dtype=np.complex128)
        angle = np.radians(np.asarray(top_deg, dtype=np.float64))[:, np.newaxis] + np.angle(place)
        made = np.zeros((*angle.shape, len(names)))
        for at, (group, column) in enumerate(map(part_of, names)):
            if group:
                columns = shape_columns(group, np.abs(place), angle, self._radius)
                made[..., at] = columns[..., column]
        return made

    @property
    def _felt(self) -> float:
        """What a height of 1 at the rim must slope a line by to be more than binary dust."""
        return 1e-9 / self._radius

    @property
    def _radius(self) -> float:
        return self.plate.reference_radius


def _sd(columns: Floats, covariance: Floats) -> Floats:
    sd: Floats = np.sqrt(np.sum((columns @ covariance) * columns, axis=-1))
    return sd
