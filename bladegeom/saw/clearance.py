"""Side clearance of a blade, and how far out the slots may be before the board rubs the plate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.lengths import MM_PER
from bladegeom.result import Result, Row

Floats = NDArray[np.float64]

NO_GULLET = "Gullet depth not stated: taken as 0, the cautious side."


@dataclass(frozen=True, eq=False, repr=False)
class SideClearance(Result):
    """By how much the teeth stand out beyond the plate on each side.

    Attributes
    ----------
    blade : Blade
    mm : float
    """

    blade: Blade
    mm: float

    @property
    def inch(self) -> float:
        """The clearance in inches."""
        return self.mm / MM_PER["in"]

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader should know."""
        if self.mm == 0:
            return (
                "The plate is as thick as the teeth are wide: it rubs at any error of the slots.",
            )
        return () if self.blade.gullet_mm is not None else (NO_GULLET,)

    def _title(self) -> str:
        return f"Blade {self.blade.name}: side clearance" if self.blade.name else "Side clearance"

    def _rows(self) -> Sequence[Row]:
        blade = self.blade
        return [
            Row("blade", blade.name),
            Row("tooth_width_mm", blade.tooth_width_mm, "tooth width", _both(blade.tooth_width_mm)),
            Row("plate_mm", blade.plate_mm, "plate", _both(blade.plate_mm)),
            Row("clearance_mm", self.mm, "on each side", _both(self.mm)),
            Row("clearance_in", self.inch),
            Row("gullet_mm", blade.gullet_mm),
            Row("warnings", list(self.remarks)),
        ]

    def _remarks(self) -> Sequence[str]:
        return self.remarks


def side_clearance(blade: Blade) -> SideClearance:
    """Return the side clearance, ``(tooth width - plate) / 2``.

    Parameters
    ----------
    blade : Blade

    Returns
    -------
    SideClearance

    Raises
    ------
    RefusedError
        If the tooth width or the thickness of the plate is not known.
    """
    width, plate = blade.tooth_width_mm, blade.plate_mm
    if width is None or plate is None:
        missing = [
            name for name, size in (("tooth_width", width), ("plate", plate)) if size is None
        ]
        raise refuse(
            f"side clearance needs the blade's {' and '.join(missing)}",
            f"give {' and '.join(missing)}",
            blade=blade.name,
            column=missing[0],
        )
    return SideClearance(blade, (width - plate) / 2)


def rub_angle(
    blade: Blade,
    *,
    height_mm: ArrayLike | None = None,
    height_in: ArrayLike | None = None,
    table_mm: ArrayLike | None = None,
    table_in: ArrayLike | None = None,
) -> float | Floats:
    """Return the slot error at which the board begins to rub the plate.

    The front teeth cut the kerf at ``sqrt(R^2 - y^2)`` in front of the axis, at the height y of the
    table above it; the plate leaves the board at ``sqrt(rb^2 - y^2)`` behind it, rb its radius at
    the bottom of the gullets. A board fed at an angle has gone sideways by the angle's tangent
    times that length, so it rubs beyond ``atan(s / (sqrt(R^2 - y^2) + sqrt(rb^2 - y^2)))`` (own
    derivation), s the side clearance. Higher up in the board the blade is shorter, so the table's
    height decides.

    Without a gullet depth rb = R, the cautious side: more plate to rub, a smaller angle. Where the
    gullets do not reach down to the table, no solid plate is left behind the axis to rub; the front
    half of the chord is counted all the same, which again can only make the angle smaller. What is
    left between the gullets, below the tooth tips, does not count as plate once their depth is
    known.

    The limit depends on how high the blade stands. A clearance of 0.010 in goes with the common
    quarter of a degree for 2.29 in of blade in the cut, which is a 10 in blade standing about
    1/8 in high; standing 1 in high it has 6 in in the cut, and the limit is 0.0955 degrees. Rear
    teeth recut one face by the sideways movement, whatever the clearance.

    Parameters
    ----------
    blade : Blade
        With diameter, tooth width and plate.
    height_mm, height_in : float or array_like, shape (...)
        Height of the blade above the table, above 0 and at most the radius.
    table_mm, table_in : float or array_like, shape (...)
        Height of the table above the arbor's axis instead, from 0 to less than the radius.

    Returns
    -------
    float or ndarray, shape (...)
        Degrees, either way.

    Raises
    ------
    RefusedError
        If a size of the blade is missing, or the height is not given once, or is not one the blade
        can have.
    """
    clearance = side_clearance(blade).mm
    rim = blade.radius_mm
    if rim is None:
        raise refuse(
            "how much blade is in the cut needs the blade's diameter",
            "give diameter",
            blade=blade.name,
            column="diameter",
        )
    given = {
        "height_mm": height_mm,
        "height_in": height_in,
        "table_mm": table_mm,
        "table_in": table_in,
    }
    stated = [(name, value) for name, value in given.items() if value is not None]
    if len(stated) != 1:
        names = " and ".join(name for name, _ in stated)
        raise refuse(
            f"the height is given as {names}" if stated else "the height is not given",
            "give the height of the blade above the table, or of the table above the arbor's axis",
            blade=blade.name,
            column="height",
        )
    ((name, value),) = stated
    table = _table_mm(name, value, rim, blade.name)
    plate = rim - (blade.gullet_mm or 0.0)
    # Roots of the factors, so that no square is lost.
    front = np.sqrt(rim - table) * np.sqrt(rim + table)
    behind = np.sqrt(np.maximum(plate - table, 0.0)) * np.sqrt(plate + table)
    angle = np.degrees(np.arctan(clearance / (front + behind)))
    return float(angle) if angle.ndim == 0 else angle


def _table_mm(name: str, value: ArrayLike, rim: float, blade: str) -> Floats:
    what, unit = name.split("_")
    asked = np.asarray(value)
    whole = asked.dtype.kind in "iuf"
    size = asked.astype(np.float64) * MM_PER[unit] if whole else np.full(asked.shape, np.nan)
    fits = (size > 0) & (size <= rim) if what == "height" else (size >= 0) & (size < rim)
    if not fits.all():
        wrong = asked[~fits].ravel()[0]
        limit = f"{rim / MM_PER[unit]:.4g} {unit}"
        raise refuse(
            f"{name} is {wrong}",
            f"give a height above 0 and up to the blade's radius, {limit}"
            if what == "height"
            else f"give a height from 0 to less than the blade's radius, {limit}",
            value=wrong,
            blade=blade,
            column=what,
        )
    return rim - size if what == "height" else size


def _both(size: float | None) -> str:
    return "" if size is None else f"{size:.4g} mm ({size / MM_PER['in']:.3g} in)"
