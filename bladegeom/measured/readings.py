"""Readings of one blade in one mounting."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.errors import Fault, RefusedError, refuse
from bladegeom.measured.blade import Blade
from bladegeom.measured.sequence import in_sequence
from bladegeom.units import LARGEST, LEAST, convert, one_length_mm

SURFACES = ("plate", "teeth")


@dataclass(frozen=True, init=False, eq=False, repr=False)
class Readings:
    """Dial-indicator readings of one blade in one mounting.

    A reading grows as the plate comes toward the indicator. Give them with their unit in one of
    ``reading_mm``, ``reading_in``, ``reading_thou`` (thousandths of an inch) or ``reading_um``.

    Parameters
    ----------
    blade : Blade
    reading_mm, reading_in, reading_thou, reading_um : sequence of float or None, shape (n,)
        None or NaN where a tooth was not read.
    tooth : sequence of int, shape (n,), optional
        The indexed teeth. If not given, the readings are of tooth 1, 2, ... in order, and one
        more than the blade has teeth is tooth 1 read again.
    turn : sequence of int, shape (n,), optional
        In which turn of the blade each was read.
    order : sequence of int, shape (n,), optional
        In which order they were read; the order of the rows if not given.
    ring_radius_mm, ring_radius_in : float, optional
        From the arbor's axis to the stylus. Without it there is a wobble but no tilt.
    graduation_mm, graduation_in, graduation_thou, graduation_um : float, optional
        Finest step to which the indicator was read.
    surface : {"plate", "teeth"}
        What the stylus touched.
    touch_deg : float
        Degrees of blade from the indexed tooth to the touched spot, positive with the numbering.
    side : str
        The side of the blade on which the indicator stands, in words of your own.
    rows : sequence of int, shape (n,), optional
        Where each reading stood in a table, for messages.

    Attributes
    ----------
    tooth, reading, turn, closing : ndarray, shape (n,)
        What was read, in order; `closing` marks the closing readings, kept out of the fit.
    unit : {"mm", "in", "thou", "um"}
        Unit of `reading`.
    notes : tuple of str
        What was done with the readings that the reader should know.

    Raises
    ------
    RefusedError
        With every fault found.
    """

    blade: Blade
    tooth: NDArray[np.int64]
    reading: NDArray[np.float64]
    turn: NDArray[np.int64]
    closing: NDArray[np.bool_]
    unit: str
    ring_radius_mm: float | None
    graduation_mm: float | None
    surface: str
    touch_deg: float
    side: str
    notes: tuple[str, ...]

    def __init__(
        self,
        blade: Blade,
        *,
        reading_mm: Sequence[float | None] | ArrayLike | None = None,
        reading_in: Sequence[float | None] | ArrayLike | None = None,
        reading_thou: Sequence[float | None] | ArrayLike | None = None,
        reading_um: Sequence[float | None] | ArrayLike | None = None,
        tooth: Sequence[int] | ArrayLike | None = None,
        turn: Sequence[int] | ArrayLike | None = None,
        order: Sequence[int] | ArrayLike | None = None,
        ring_radius_mm: float | None = None,
        ring_radius_in: float | None = None,
        graduation_mm: float | None = None,
        graduation_in: float | None = None,
        graduation_thou: float | None = None,
        graduation_um: float | None = None,
        surface: str = "plate",
        touch_deg: float = 0.0,
        side: str = "",
        rows: Sequence[int] | None = None,
    ) -> None:
        unit, reading = _one_unit(
            {"mm": reading_mm, "in": reading_in, "thou": reading_thou, "um": reading_um}, blade
        )
        if tooth is None:
            teeth = _in_tooth_order(len(reading), blade)
        else:
            teeth = _whole(tooth, "tooth", len(reading), blade)
        turns = None if turn is None else _whole(turn, "turn", len(reading), blade)
        orders = None if order is None else _whole(order, "order", len(reading), blade)
        sequence = in_sequence(
            teeth, reading, turns, orders, blade=blade.name, teeth=blade.teeth, rows=rows
        )
        put = object.__setattr__
        put(self, "blade", blade)
        put(self, "unit", unit)
        put(self, "tooth", _sealed(teeth[sequence.place]))
        put(self, "reading", _sealed(reading[sequence.place]))
        put(self, "turn", _sealed(sequence.turn))
        put(self, "closing", _sealed(sequence.closing))
        put(self, "notes", sequence.notes)
        put(
            self,
            "ring_radius_mm",
            one_length_mm("ring_radius", {"mm": ring_radius_mm, "in": ring_radius_in}),
        )
        graduations = {
            "mm": graduation_mm,
            "in": graduation_in,
            "thou": graduation_thou,
            "um": graduation_um,
        }
        put(self, "graduation_mm", one_length_mm("graduation", graduations))
        put(self, "surface", surface)
        put(self, "touch_deg", float(touch_deg))
        put(self, "side", str(side))
        self._check()

    def _check(self) -> None:
        name = self.blade.name
        if self.surface not in SURFACES:
            raise refuse(
                f"surface is {self.surface!r}",
                "write plate or teeth",
                value=self.surface,
                blade=name,
                column="surface",
            )
        if not math.isfinite(self.touch_deg) or abs(self.touch_deg) > 360:
            raise refuse(
                f"touch_deg is {self.touch_deg:g}",
                "give the degrees from the indexed tooth to the touched spot",
                value=self.touch_deg,
                blade=name,
                column="touch_deg",
            )
        radius = self.blade.radius_mm
        # A hair of play, so that a ring given as half the diameter in another unit is not refused.
        if self.ring_radius_mm and radius and self.ring_radius_mm > radius * (1 + 1e-9):
            raise refuse(
                f"the ring's radius ({self.ring_radius_mm:g} mm) is larger than the blade's "
                f"({radius:g} mm)",
                "ring_radius: from the arbor's axis to the stylus; diameter: across the teeth",
                value=f"{self.ring_radius_mm:g} mm",
                blade=name,
                column="ring_radius",
            )

    def __repr__(self) -> str:
        name = f" {self.blade.name}" if self.blade.name else ""
        return (
            f"Readings of blade{name}: {len(self.reading)} in {self.unit}, "
            f"{len(np.unique(self.tooth))} of {self.blade.teeth} teeth"
        )

    @property
    def angle_deg(self) -> NDArray[np.float64]:
        """Blade angle of each touched spot in degrees, shape (n,)."""
        return self.blade.angles_deg[self.tooth - 1] + self.touch_deg

    @property
    def graduation(self) -> float | None:
        """Graduation of the indicator in `unit`."""
        mm = self.graduation_mm
        return None if mm is None else convert(mm, "mm", self.unit)

    @property
    def ring_radius(self) -> float | None:
        """Ring radius in `unit`."""
        mm = self.ring_radius_mm
        return None if mm is None else convert(mm, "mm", self.unit)

    @property
    def closure(self) -> float | None:
        """Last closing reading less the first reading of that tooth in that turn, in `unit`."""
        if not self.closing.any():
            return None
        last = int(np.flatnonzero(self.closing)[-1])
        same = (self.tooth == self.tooth[last]) & (self.turn == self.turn[last])
        return float(self.reading[last] - self.reading[np.flatnonzero(same)[0]])


def _one_unit(
    given: dict[str, Sequence[float | None] | ArrayLike | None], blade: Blade
) -> tuple[str, NDArray[np.float64]]:
    stated = [(unit, values) for unit, values in given.items() if values is not None]
    if len(stated) != 1:
        both = " and ".join(f"reading_{unit}" for unit, _ in stated)
        raise refuse(
            f"{both} are both given" if stated else "no readings are given",
            "give the readings in one unit: reading_mm, reading_in, reading_thou or reading_um",
            blade=blade.name,
        )
    unit, values = stated[0]
    reading = np.array(values, dtype=np.float64)
    if reading.ndim != 1:
        raise refuse(
            "the readings are not a plain list", "give one number a reading", blade=blade.name
        )
    size = np.abs(reading)
    wrong = np.flatnonzero((size > LARGEST) | ((size > 0) & (size < LEAST)))
    if wrong.size:
        raise RefusedError(
            Fault(
                f"reading {place + 1} is {reading[place]:g}",
                "give a number of a usual size, or None for not read",
                blade=blade.name or None,
                value=f"{reading[place]:g}",
            )
            for place in wrong
        )
    return unit, reading


def _in_tooth_order(count: int, blade: Blade) -> NDArray[np.int64]:
    if count not in (blade.teeth, blade.teeth + 1):
        raise refuse(
            f"{count} readings for {blade.teeth} teeth",
            "give one reading a tooth in order (not read: ? or None), and at most tooth 1 again "
            "at the end; or say which tooth each reading is of",
            value=count,
            blade=blade.name,
        )
    return np.arange(count, dtype=np.int64) % blade.teeth + 1


def _whole(
    values: Sequence[int] | ArrayLike, what: str, count: int, blade: Blade
) -> NDArray[np.int64]:
    given = np.asarray(values, dtype=np.float64)
    if given.shape != (count,):
        raise refuse(
            f"{given.size} values of {what} for {count} readings",
            f"give one {what} a reading",
            blade=blade.name,
        )
    wrong = np.flatnonzero(~(np.isfinite(given) & (given == np.floor(given))))
    if wrong.size:
        raise RefusedError(
            Fault(
                f"{what} {given[place]:g} (reading {place + 1}) is not a whole number",
                f"check {what}",
                blade=blade.name or None,
                column=what,
                value=f"{given[place]:g}",
            )
            for place in wrong
        )
    return given.astype(np.int64)


def _sealed(array: NDArray[Any]) -> NDArray[Any]:
    array.flags.writeable = False
    return array
