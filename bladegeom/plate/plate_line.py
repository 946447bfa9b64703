"""The line on a plate that a square truly touches, and what each part of the shape does to it.

Places are complex numbers: real upward from the arbor's axis, imaginary toward the teeth that
follow the uppermost one. So no side of the blade and no way of numbering is needed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.lengths import convert
from bladegeom.plate.plate_design import shape_columns

Floats = NDArray[np.float64]

LINES = ("upright", "level")


class PlateLine(NamedTuple):
    """A straight line in front of the plate, between the two ends that a square touches.

    Attributes
    ----------
    kind : {"upright", "level"}
    start, end : complex
        The end is the upper one, or the one on the side of the teeth that follow the uppermost.
    unit : str
        Of both.
    notes : tuple of str
        What was done with the lengths that were given.
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

    def in_unit(self, unit: str) -> PlateLine:
        """Return the same line in another unit."""
        per = convert(1.0, self.unit, unit)
        return self._replace(start=self.start * per, end=self.end * per, unit=unit)

    def slopes(self, names: Sequence[str], radius: float, top_deg: ArrayLike) -> Floats:
        """Return what one of each parameter adds to the slope between the two ends.

        Parameters
        ----------
        names : sequence of str, length p
            As in `PlateFit.names`.
        radius : float
            The fit's reference radius.
        top_deg : array_like, shape (m,)
            Blade angle uppermost.

        Returns
        -------
        ndarray, shape (m, p)
            Rise toward the indicator over length.
        """
        ends = heights(names, radius, [self.start, self.end], top_deg)
        rise: Floats = (ends[:, 1] - ends[:, 0]) / self.length
        return rise

    def bows(self, names: Sequence[str], radius: float, top_deg: float, part: Floats) -> Floats:
        """Return by how much one of each parameter lifts the plate above the line's two ends.

        Parameters
        ----------
        names, radius
            As in `slopes`.
        top_deg : float
        part : ndarray, shape (k,)
            Places on the line, from 0 at its start to 1 at its end.

        Returns
        -------
        ndarray, shape (k, p)
        """
        places = self.start + np.array([0.0, 1.0, *part]) * (self.end - self.start)
        start, end, *between = heights(names, radius, places, [top_deg])[0]
        share = part[:, np.newaxis]
        lift: Floats = np.asarray(between) - (1 - share) * start - share * end
        return lift


def part_of(name: str) -> tuple[str, int]:
    """Return of which part of the shape a parameter is, and which of its columns.

    Empty for what is no shape of the plate as it is mounted: the slope of the traverse, how the
    flipped blade sat, whether a part of the shape grows as it should.
    """
    group = name.removesuffix("_cos").removesuffix("_sin")
    if group in ("traverse", "flipped_tilt") or group.endswith("_growth"):
        return "", 0
    return group, int(name.endswith("_sin"))


def heights(names: Sequence[str], radius: float, places: ArrayLike, top_deg: ArrayLike) -> Floats:
    """Return the height toward the indicator that one of each parameter makes, place by place.

    Parameters
    ----------
    names : sequence of str, length p
    radius : float
        The fit's reference radius.
    places : array_like of complex, shape (k,)
    top_deg : array_like, shape (m,)
        Blade angle uppermost.

    Returns
    -------
    ndarray, shape (m, k, p)
    """
    place = np.asarray(places, dtype=np.complex128)
    angle = np.radians(np.asarray(top_deg, dtype=np.float64))[:, np.newaxis] + np.angle(place)
    made = np.zeros((*angle.shape, len(names)))
    for at, (group, column) in enumerate(map(part_of, names)):
        if group:
            made[..., at] = shape_columns(group, np.abs(place), angle, radius)[..., column]
    return made


def line_of(
    blade: Blade, kind: str, *, table: float, reach: float | None, away: float, unit: str
) -> PlateLine:
    """Return the line that a square touches, cut off where the plate ends.

    Parameters
    ----------
    blade : Blade
    kind : {"upright", "level"}
    table : float
        Height of the table's top above the arbor's axis: where an upright line begins, and a level
        one lies.
    reach : float, optional
        Length of the square's blade. If not given, the line runs as far as the plate does.
    away : float
        From straight above the axis to an upright line, or to the middle of a level one, positive
        toward the teeth that follow the uppermost.
    unit : {"mm", "in"}
        Of all lengths.

    Returns
    -------
    PlateLine

    Raises
    ------
    RefusedError
        If no plate stands there, or neither reach nor diameter is known.
    """
    edge = math.inf
    if blade.radius_mm is not None:
        edge = convert(blade.radius_mm - (blade.gullet_mm or 0.0), "mm", unit)
    elif reach is None:
        raise refuse(
            "neither the square's reach nor the blade's diameter is stated",
            "give reach_mm or reach_in, the length of the square's blade",
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
