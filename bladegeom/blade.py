"""The blade: its teeth, where they stand, and its sizes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import turn_between
from bladegeom.faults import as_letters, refuse
from bladegeom.lengths import LARGEST, LEAST, MM_PER, Length, length_mm

MOST_TEETH = 1000
MOST_UNEVEN = 1000.0
"""No gap between teeth is so many times another: such a pattern is a slip."""

NUMBERED = ("clockwise", "counterclockwise")


@dataclass(frozen=True, init=False)
class Blade:
    """A circular saw blade.

    Teeth count from 1. Blade angles are in degrees: tooth 1 stands at 0 and the angle grows with
    the tooth number, whichever way the numbers run as seen by an observer.

    Parameters
    ----------
    teeth : int
        Number of teeth, from 2 to 1000.
    diameter : str or tuple, optional
        Across the tooth tips; a length with its unit, ``"10 in"`` or ``(254, "mm")``.
    plate : str or tuple, optional
        Thickness of the plate.
    tooth_width : str or tuple, optional
        Width that the teeth cut.
    gullet : str or tuple, optional
        Depth of the gullets below the tooth tips.
    pitch_pattern : sequence of float, optional
        Relative gaps from tooth 1 on, repeated round the blade; ``(1, 1, 1, 1, 1.6)`` is a blade
        of groups of five with a wider gap behind each. Even pitch if not given.
    tooth_pattern : sequence of str, optional
        Kinds of teeth from tooth 1 on, repeated round the blade; ``("L", "R")`` is a blade whose
        teeth are bevelled left and right in turn. Matters where the teeth are read.
    tooth_deg : sequence of float, optional
        The angle of every tooth instead of a pattern; the first is 0 and they grow.
    numbered : {"clockwise", "counterclockwise"}, optional
        Which way the tooth numbers run as seen from the indicator's side.
    name : str, optional

    Raises
    ------
    RefusedError
        If a value cannot be true of a blade.
    """

    teeth: int
    diameter_mm: float | None
    plate_mm: float | None
    tooth_width_mm: float | None
    gullet_mm: float | None
    pitch_pattern: tuple[float, ...] | None
    tooth_pattern: tuple[str, ...] | None
    tooth_deg: tuple[float, ...] = field(repr=False)
    numbered: str | None
    name: str

    def __init__(
        self,
        teeth: int,
        *,
        diameter: Length | None = None,
        plate: Length | None = None,
        tooth_width: Length | None = None,
        gullet: Length | None = None,
        pitch_pattern: Sequence[float] | None = None,
        tooth_pattern: Sequence[str] | None = None,
        tooth_deg: Sequence[float] | None = None,
        numbered: str | None = None,
        name: str = "",
    ) -> None:
        whole = isinstance(teeth, (int, float, np.number)) and not isinstance(teeth, bool)
        if not whole or not 2 <= teeth <= MOST_TEETH or int(teeth) != teeth:
            raise refuse(
                f"a blade of {teeth} teeth" if whole else f"teeth is {teeth!r}",
                f"give a whole number of teeth from 2 to {MOST_TEETH}",
                value=teeth,
                blade=name,
                column="teeth",
            )
        if numbered is not None and numbered not in NUMBERED:
            raise refuse(
                f"numbered is {numbered!r}",
                "write clockwise or counterclockwise, as seen from the indicator's side",
                value=numbered,
                blade=name,
                column="numbered",
            )
        pattern = None
        if pitch_pattern is not None:
            pattern = _numbers(pitch_pattern, "pitch_pattern", "such as (1, 1, 1, 1, 1.6)", name)
        if tooth_deg is None:
            angles = _angles_from_pattern(int(teeth), pattern, name)
        else:
            if pattern is not None:
                raise refuse(
                    "pitch_pattern and tooth_deg are both given", "give one of them", blade=name
                )
            angles = _checked_angles(int(teeth), tooth_deg, name)
        put = object.__setattr__
        put(self, "teeth", int(teeth))
        put(self, "diameter_mm", length_mm("diameter", diameter))
        put(self, "plate_mm", length_mm("plate", plate))
        put(self, "tooth_width_mm", length_mm("tooth_width", tooth_width))
        put(self, "gullet_mm", length_mm("gullet", gullet))
        put(self, "pitch_pattern", pattern)
        put(self, "tooth_pattern", _checked_kinds(int(teeth), tooth_pattern, name))
        put(self, "tooth_deg", angles)
        put(self, "numbered", numbered)
        put(self, "name", as_letters(str(name)))
        self._check_sizes()

    def _check_sizes(self) -> None:
        if self.plate_mm and self.tooth_width_mm and self.plate_mm > self.tooth_width_mm:
            raise refuse(
                f"the plate ({self.plate_mm:g} mm) is thicker than the teeth are wide "
                f"({self.tooth_width_mm:g} mm)",
                "check plate and tooth_width",
                value=f"{self.plate_mm:g} mm",
                blade=self.name,
                column="plate",
            )
        if self.diameter_mm and self.gullet_mm and self.gullet_mm >= self.diameter_mm / 2:
            raise refuse(
                f"the gullets ({self.gullet_mm:g} mm) are deeper than the blade's radius "
                f"({self.diameter_mm / 2:g} mm)",
                "check gullet and diameter",
                value=f"{self.gullet_mm:g} mm",
                blade=self.name,
                column="gullet",
            )

    @property
    def diameter_in(self) -> float | None:
        """Diameter in inches."""
        return None if self.diameter_mm is None else self.diameter_mm / MM_PER["in"]

    @property
    def radius_mm(self) -> float | None:
        """Radius at the tooth tips (the rim) in millimetres."""
        return None if self.diameter_mm is None else self.diameter_mm / 2

    @cached_property
    def angles_deg(self) -> NDArray[np.float64]:
        """Angle of each tooth in degrees, shape (teeth,), tooth 1 first."""
        return np.asarray(self.tooth_deg)

    def angle_of(self, tooth: int) -> float:
        """Angle of a tooth in degrees; teeth count from 1.

        Raises
        ------
        RefusedError
            If the blade has no such tooth.
        """
        if not 1 <= tooth <= self.teeth or int(tooth) != tooth:
            raise refuse(
                f"tooth {tooth} on a {self.teeth}-tooth blade",
                f"give a tooth from 1 to {self.teeth}",
                value=tooth,
                blade=self.name,
            )
        return self.tooth_deg[int(tooth) - 1]

    def nearest_tooth(self, direction_deg: float) -> int:
        """Return the tooth that stands nearest to a direction (the lower number if two do)."""
        away = np.abs(turn_between(self.angles_deg, direction_deg))
        # Half-way between two teeth, rounding must not choose: take the first within a hair.
        return int(np.flatnonzero(away <= away.min() + 1e-9)[0]) + 1

    def gaps_deg(self, tooth: int) -> tuple[float, float]:
        """Return the gaps in degrees from a tooth back to the one before and on to the next."""
        index = int(tooth) - 1
        here = self.tooth_deg[index]
        before = here - self.tooth_deg[index - 1]
        after = self.tooth_deg[(index + 1) % self.teeth] - here
        return before % 360.0, after % 360.0


def _numbers(given: Sequence[float], what: str, such_as: str, name: str) -> tuple[float, ...]:
    try:
        return tuple(map(float, given.split() if isinstance(given, str) else given))
    except (TypeError, ValueError):
        raise refuse(
            f"{what} is {given!r}", f"give numbers, {such_as}", value=given, blade=name, column=what
        ) from None


def _angles_from_pattern(
    teeth: int, pattern: tuple[float, ...] | None, name: str
) -> tuple[float, ...]:
    if pattern is None:
        return tuple(360.0 * index / teeth for index in range(teeth))
    text = " ".join(f"{gap:g}" for gap in pattern)
    widest = min(LARGEST, MOST_UNEVEN * min(pattern, default=0.0))
    if not pattern or not all(LEAST <= gap <= widest for gap in pattern):
        raise refuse(
            f"pitch_pattern is {text!r}",
            "write gaps above 0, such as 1 1 1 1 1.6",
            value=text,
            blade=name,
            column="pitch_pattern",
        )
    if teeth % len(pattern):
        raise refuse(
            f"a pitch pattern of {len(pattern)} gaps does not fit a whole number of times into "
            f"{teeth} teeth",
            "check teeth and pitch_pattern",
            value=text,
            blade=name,
            column="pitch_pattern",
        )
    turn = math.fsum(pattern)
    repeats = teeth // len(pattern)
    starts = [360.0 * math.fsum(pattern[:index]) / turn for index in range(len(pattern))]
    return tuple((360.0 * group + start) / repeats for group in range(repeats) for start in starts)


def _checked_kinds(
    teeth: int, tooth_pattern: Sequence[str] | None, name: str
) -> tuple[str, ...] | None:
    if tooth_pattern is None:
        return None
    given = tooth_pattern.split() if isinstance(tooth_pattern, str) else tooth_pattern
    try:
        kinds = tuple(map(str, given))
    except TypeError:
        kinds = ()
    if not kinds or teeth % len(kinds):
        raise refuse(
            f"a tooth pattern of {len(kinds)} does not fit a whole number of times into {teeth} "
            "teeth",
            "check teeth and tooth_pattern",
            value=" ".join(kinds),
            blade=name,
            column="tooth_pattern",
        )
    return kinds


def _checked_angles(teeth: int, tooth_deg: Sequence[float], name: str) -> tuple[float, ...]:
    angles = _numbers(tooth_deg, "tooth_deg", "the angle of each tooth", name)
    growing = all(before < after for before, after in pairwise(angles))
    if len(angles) != teeth or angles[0] != 0 or not growing or not angles[-1] < 360:
        raise refuse(
            f"tooth_deg does not give {teeth} teeth their places",
            f"give {teeth} angles that grow from 0 and stay below 360",
            blade=name,
        )
    return angles
