"""Which tooth to stand uppermost for the line that a square truly touches."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.blade import Blade
from bladegeom.estimate import Estimate, Verdict
from bladegeom.faults import refuse
from bladegeom.lengths import convert, lengths_mm, one_length_mm
from bladegeom.plate.plate import PlateFit
from bladegeom.plate.plate_line import LINES, PlateLine, line_of
from bladegeom.plate.plate_slopes import Bow, PlateSlopes
from bladegeom.plate.rotation_words import headline, line_words, remarks_of, rows_of
from bladegeom.result import Result, Row
from bladegeom.wobble import DETECTION_LEVEL

Floats = NDArray[np.float64]

_SAME = 1e-10
"""Degrees that only binary arithmetic tells apart."""


@dataclass(frozen=True, eq=False, repr=False)
class Rotation(Result):
    """How the line under a square leans at each rotation of the blade, and the best of them.

    Every slope is that of the straight line through the two ends that the square touches, in
    degrees from square to the arbor; positive when its upper end (of a level line the end on the
    side of the teeth that follow the uppermost) leans toward the indicator.

    Attributes
    ----------
    plate : PlateFit
    line : PlateLine
    tolerance_deg : float or None
    zeros_deg : tuple of float
        Blade angles that, uppermost, bring the slope to zero; none where dish outweighs the rest.
    best_deg : float or None
        The one of them that `best_tooth` stands nearest to, or, where there is none, the blade
        angle with the least slope. None where turning the blade makes no established difference.
    best_tooth : int or None
    left : Estimate or None
        Slope with this tooth uppermost.
    neutral_teeth : tuple of two int, or None
        Teeth nearest to the two rotations at which the tilt alone would leave nothing; None where
        no tilt is established.
    neutral_left : tuple of two Estimate, or None
        Slope of the whole shape with each of them uppermost.
    worst_deg : float
        Blade angle uppermost with the slope farthest out to either side, its doubt included.
    worst : Estimate
        That slope. Limits of `left` and `worst`, which were picked for their slopes, are Student's
        where the curve stands clear above its doubt, and else hold at all rotations at once.
    dish : Estimate or None
        The dish's share, the same at every rotation; None where the dish is not identified.
    bow : Bow or None
        How the plate bends along the line with `best_tooth` (else `worst_deg`) uppermost, in the
        plate's unit; None where a part of the shape that bends it is not identified.
    missing : dict
        What of the shape leans this line and is not identified, and why.
    p_value : float
        Chance of so large a difference between rotations on a plate that has none.
    """

    plate: PlateFit
    line: PlateLine
    tolerance_deg: float | None
    zeros_deg: tuple[float, ...]
    best_deg: float | None
    best_tooth: int | None
    left: Estimate | None
    neutral_teeth: tuple[int, int] | None
    neutral_left: tuple[Estimate, Estimate] | None
    worst_deg: float
    worst: Estimate
    dish: Estimate | None
    bow: Bow | None
    missing: dict[str, str]
    p_value: float

    @property
    def blade(self) -> Blade:
        """The blade."""
        return self.plate.blade

    @property
    def resolved(self) -> bool:
        """Whether it is established (95 %) that some rotations leave less than others."""
        return self.p_value < 1 - DETECTION_LEVEL

    @property
    def fits(self) -> bool:
        """Whether nothing shows that the plate is of another shape than the fitted one."""
        return False not in (self.plate.tilt_grows, self.plate.saddle_grows, self.plate.heights_fit)

    @property
    def verdict(self) -> Verdict | None:
        """Whether the slope at the best tooth (any rotation will do: the worst) keeps to it."""
        if self.tolerance_deg is None:
            return None
        if self.missing or not self.fits:
            return "cannot tell"
        return (self.left or self.worst).verdict(self.tolerance_deg)

    def slope_deg(self, top_deg: ArrayLike) -> Floats:
        """Return the slope in degrees with blade angles uppermost, shape (m,)."""
        return PlateSlopes(self.plate, self.line).deg(top_deg)

    def slope_u_deg(self, top_deg: ArrayLike) -> Floats:
        """Return its standard uncertainty (k = 1) in degrees, shape (m,)."""
        return PlateSlopes(self.plate, self.line).u_deg(top_deg)

    def tilt_slope_deg(self, top_deg: ArrayLike) -> Floats:
        """Return the slope that the tilt alone would make, by which the neutral line goes."""
        return PlateSlopes(self.plate, self.line, only="tilt").deg(top_deg)

    @property
    def headline(self) -> str:
        """The answer in one line."""
        return headline(self)

    @property
    def where(self) -> str:
        """The line in words."""
        return line_words(self.line)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader should know."""
        return remarks_of(self)

    def _title(self) -> str:
        name = f"Blade {self.blade.name}" if self.blade.name else "Blade"
        return f"{name}: the best rotation for a square\n  {self.headline}.\n  Line: {self.where}."

    def _rows(self) -> Sequence[Row]:
        return rows_of(self)

    def _remarks(self) -> Sequence[str]:
        return self.remarks


def best_rotation(
    plate: PlateFit,
    *,
    table_height_mm: float | None = None,
    table_height_in: float | None = None,
    reach_mm: float | None = None,
    reach_in: float | None = None,
    away_from_centre_mm: float | None = None,
    away_from_centre_in: float | None = None,
    line: Literal["upright", "level"] = "upright",
    tolerance_deg: float | None = None,
) -> Rotation:
    """Return the tooth to stand uppermost for the line that a square truly touches.

    A square, or straightedge, is held against the plate and touches it at the line's two ends (or
    rocks on what stands out between them). Tilt, dish, saddle and waves each lift the two ends by
    their own share, so the slope between them, rise over length, is linear in the plate's
    parameters; its doubt follows from their covariance, and the limits are Student's with the fit's
    degrees of freedom. The line's own lengths are taken as exact.

    From h above the axis to the rim R an upright line on a dish D slopes by ``D (R + h) / R^2`` at
    every rotation, on a saddle by ``S cos(2 theta) (R + h) / R^2``, theta from the saddle's crest
    to the top (own derivation; outside the centre see `shape_columns`). A level line with its
    middle straight above the axis does not feel a dish at all.

    Parameters
    ----------
    plate : PlateFit
    table_height_mm, table_height_in : float
        Height of the table's top above the arbor's axis: where an upright line begins, and a level
        one lies.
    reach_mm, reach_in : float, optional
        Length of the square's blade. If not given, the line runs as far as the plate does, to the
        bottom of the gullets, or to the tooth tips where their depth is not known.
    away_from_centre_mm, away_from_centre_in : float, optional
        From straight above the axis to an upright line, or to the middle of a level one; 0 if not
        given. Positive toward the teeth that follow the uppermost one.
    line : {"upright", "level"}
        Upright for table and bevels, level for miter gauge, fence and riving knife.
    tolerance_deg : float, optional
        Largest slope accepted, for the verdict.

    Returns
    -------
    Rotation

    Raises
    ------
    RefusedError
        If a length is not given once or cannot be true, or no plate stands there.
    """
    if line not in LINES:
        raise refuse(f"line is {line!r}", f"write {' or '.join(LINES)}", value=line, column="line")
    if isinstance(tolerance_deg, bool) or (
        tolerance_deg is not None and not 0 < tolerance_deg < 90
    ):
        raise refuse(
            f"the tolerance is {tolerance_deg} deg", "give degrees above 0", value=tolerance_deg
        )
    table, unit = _one("table_height", {"mm": table_height_mm, "in": table_height_in})
    if table < 0:
        raise refuse(
            f"table_height_{unit} is {table:g}",
            "the table lies above the arbor: give the height of its top above the arbor's axis",
            value=table,
            column="table_height",
        )
    reaches = {"mm": reach_mm, "in": reach_in}
    asides = {"mm": away_from_centre_mm, "in": away_from_centre_in}
    no_reach = one_length_mm("reach", reaches) is None
    no_aside = all(one is None for one in asides.values())
    touched = line_of(
        plate.blade,
        line,
        table=table,
        reach=None if no_reach else convert(*_one("reach", reaches), unit),
        away=0.0 if no_aside else convert(*_one("away_from_centre", asides), unit),
        unit=unit,
    )
    return _rotation(plate, touched, tolerance_deg)


def _rotation(plate: PlateFit, line: PlateLine, tolerance_deg: float | None) -> Rotation:
    slopes, blade = PlateSlopes(plate, line), plate.blade

    def at(tooth: int) -> Estimate:
        return slopes.at(blade.angle_of(tooth))

    chance = slopes.chance()
    zeros: tuple[float, ...] = ()
    best = tooth = None
    if chance < 1 - DETECTION_LEVEL:
        zeros = slopes.zeros()
        left = {one: abs(at(blade.nearest_tooth(one)).value) for one in zeros or (slopes.least(),)}
        # Of two that leave the same, rounding must not choose.
        best = next(one for one in left if left[one] <= min(left.values()) + _SAME)
        tooth = blade.nearest_tooth(best)
    worst_deg = slopes.worst()
    neutral = _neutral_teeth(plate, 90.0 if line.kind == "upright" else 0.0)
    dish = PlateSlopes(plate, line, only="dish")
    return Rotation(
        plate=plate,
        line=line,
        tolerance_deg=tolerance_deg,
        zeros_deg=zeros,
        best_deg=best,
        best_tooth=tooth,
        left=None if tooth is None else slopes.picked(blade.angle_of(tooth)),
        neutral_teeth=neutral,
        neutral_left=neutral and (at(neutral[0]), at(neutral[1])),
        worst_deg=worst_deg,
        worst=slopes.picked(worst_deg),
        dish=dish.at(0.0) if dish.names else None,
        bow=slopes.bow(worst_deg if tooth is None else blade.angle_of(tooth)),
        missing=slopes.missing(),
        p_value=chance,
    )


def _neutral_teeth(plate: PlateFit, quarter_deg: float) -> tuple[int, int] | None:
    """Return the teeth to stand uppermost for the neutral line, upright or level."""
    tilt = plate.wave("tilt")
    if tilt is None or not tilt.resolved:
        return None
    sine, cosine = (plate.value(name) or 0.0 for name in ("tilt_sin", "tilt_cos"))
    first = math.degrees(math.atan2(sine, cosine)) + quarter_deg
    return plate.blade.nearest_tooth(first), plate.blade.nearest_tooth(first + 180.0)


def _one(what: str, given: Mapping[str, float | None]) -> tuple[float, str]:
    """Return the one length stated among `given`, its sign free, and its unit."""
    values, unit = lengths_mm(what, given)
    if np.ndim(given[unit] or 0.0):
        raise refuse(
            f"{what}_{unit} is a list", "give one length", value=values.tolist(), column=what
        )
    return float(given[unit] or 0.0), unit
