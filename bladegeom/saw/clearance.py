"""Side clearance of a blade, and how far out the slots may be before the board rubs the plate."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.lengths import MM_PER, with_unit
from bladegeom.result import Result, derived, described, quantity

Floats = NDArray[np.float64]

NO_GULLET = "Gullet depth not stated: taken as 0, the cautious side."


@described
class SideClearance(Result):
    """By how much the teeth stand out beyond the plate on each side."""

    blade: Blade

    @derived("the blade's name, as text", key="blade")
    def _name(self) -> str:
        return self.blade.name

    @derived(
        "width that the teeth cut",
        label="tooth width",
        text=lambda one: _both(one.blade.tooth_width_mm),
    )
    def tooth_width_mm(self) -> float | None:
        return self.blade.tooth_width_mm

    @derived("thickness of the plate", label="plate", text=lambda one: _both(one.blade.plate_mm))
    def plate_mm(self) -> float | None:
        return self.blade.plate_mm

    mm: float = quantity(
        "side clearance, (tooth width - plate) / 2, in millimetres",
        key="clearance_mm",
        label="on each side",
        text=lambda one: _both(one.mm),
    )

    @derived("the same in inches", key="clearance_in")
    def inch(self) -> float:
        return self.mm / MM_PER["in"]

    @derived("depth of the gullets")
    def gullet_mm(self) -> float | None:
        return self.blade.gullet_mm

    @derived("what the reader should know", key="warnings")
    def remarks(self) -> tuple[str, ...]:
        if self.mm == 0:
            return (
                "The plate is as thick as the teeth are wide: it rubs at any error of the slots.",
            )
        return () if self.blade.gullet_mm is not None else (NO_GULLET,)

    def _title(self) -> str:
        return f"Blade {self.blade.name}: side clearance" if self.blade.name else "Side clearance"


def _both(size: float | None) -> str:
    return "" if size is None else f"{size:.4g} mm ({size / MM_PER['in']:.3g} in)"


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
        sizes = {"tooth_width": width, "plate": plate}
        missing = [name for name, size in sizes.items() if size is None]
        raise refuse(
            f"side clearance needs the blade's {' and '.join(missing)}",
            f"give {' and '.join(missing)}",
            blade=blade.name,
            column=missing[0],
        )
    return SideClearance(blade=blade, mm=(width - plate) / 2)


def rub_angle(
    blade: Blade,
    height: str | tuple[ArrayLike, str] | None = None,
    *,
    table: str | tuple[ArrayLike, str] | None = None,
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
    height : length, such as ``"1 in"``, or array with its unit, shape (...)
        Height of the blade above the table, above 0 and at most the radius.
    table : length, or array with its unit, shape (...)
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
    if (height is None) == (table is None):
        raise refuse(
            "the height is not given" if height is None else "the height is given twice",
            "give the height of the blade above the table, or of the table above the arbor's axis",
            blade=blade.name,
            column="height",
        )
    if table is None:
        above = rim - _height_mm("height", height, rim, blade.name)
    else:
        above = _height_mm("table", table, rim, blade.name)
    plate = rim - (blade.gullet_mm or 0.0)
    # Roots of the factors, so that no square is lost.
    front = np.sqrt(rim - above) * np.sqrt(rim + above)
    behind = np.sqrt(np.maximum(plate - above, 0.0)) * np.sqrt(plate + above)
    angle = np.degrees(np.arctan(clearance / (front + behind)))
    return float(angle) if angle.ndim == 0 else angle


def _height_mm(what: str, given: object, rim: float, blade: str) -> Floats:
    value, unit = with_unit(what, given)
    asked = np.asarray(value)
    plain = asked.dtype.kind in "iuf"
    size = asked.astype(np.float64) * MM_PER[unit] if plain else np.full(asked.shape, np.nan)
    fits = (size > 0) & (size <= rim) if what == "height" else (size >= 0) & (size < rim)
    if not fits.all():
        wrong = asked[~fits].ravel()[0]
        limit = f"{rim / MM_PER[unit]:.4g} {unit}"
        raise refuse(
            f"{what} is {wrong} {unit}",
            f"give a height above 0 and up to the blade's radius, {limit}"
            if what == "height"
            else f"give a height from 0 to less than the blade's radius, {limit}",
            value=wrong,
            blade=blade,
            column=what,
        )
    return size
