"""The blade: its teeth, where they stand, and its sizes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import turn_between
from bladegeom.columns import STATED, kept_facts, several_numbers, told
from bladegeom.faults import Who, as_letters, refuse
from bladegeom.lengths import LARGEST, LEAST, MM_PER, is_missing

MOST_UNEVEN = 1000.0
"""No gap between teeth is so many times another: such a pattern is a slip."""


@dataclass(frozen=True, init=False, repr=False)
class Blade:
    """A circular saw blade.

    Teeth count from 1. Blade angles are in degrees: tooth 1 stands at 0 and the angle grows with
    the tooth number, whichever way the numbers run as seen by an observer.

    Parameters
    ----------
    teeth : int
        Number of teeth, from 2 to 1000.
    name : str, optional
    tooth_deg : sequence of float, optional
        The angle of every tooth instead of a pattern; the first is 0 and they grow.
    **facts
        What else is stated, all optional. A length has its unit, ``"10 in"`` or ``(254, "mm")``,
        and is kept in millimetres, as ``diameter_mm``; a pattern is a list, or a text with blanks.

    Raises
    ------
    RefusedError
        If a value cannot be true of a blade.

    Notes
    -----
    The facts:

    FACTS
    """

    name: str
    tooth_deg: tuple[float, ...]
    facts: Mapping[str, Any] = field(hash=False)
    """Every fact of a blade by name, as it is kept; each is an attribute too."""

    if TYPE_CHECKING:  # Made from the table of columns, as are all others.
        teeth: int
        diameter_mm: float | None
        plate_mm: float | None
        tooth_width_mm: float | None
        gullet_mm: float | None
        pitch_pattern: tuple[float, ...] | None
        tooth_pattern: tuple[str, ...] | None
        numbered: str | None
        customer: str

    def __init__(
        self,
        teeth: int,
        *,
        name: str = "",
        tooth_deg: Sequence[float] | None = None,
        **facts: Any,
    ) -> None:
        name = "" if is_missing(name) or name != name else as_letters(str(name))
        whole = STATED["teeth"].taken(teeth, name)
        kept = kept_facts(True, {**facts, "teeth": whole}, name)
        pattern = kept["pitch_pattern"]
        if tooth_deg is None:
            angles = _angles_from_pattern(whole, pattern, name)
        elif pattern is None:
            angles = _checked_angles(whole, tooth_deg, name)
        else:
            problem = "pitch_pattern and tooth_deg are both given"
            raise refuse(problem, "give one of them", blade=name)
        _check_kinds(whole, kept["tooth_pattern"], name)
        _check_sizes(kept, name)
        vars(self).update({STATED[fact].key: value for fact, value in kept.items()})
        vars(self).update(name=name, tooth_deg=angles, facts=kept)

    def __repr__(self) -> str:
        said = {STATED[fact].key: value for fact, value in self.facts.items()}
        said["name"] = self.name
        return f"Blade({', '.join(f'{key}={value!r}' for key, value in said.items())})"

    @property
    def who(self) -> Who:
        """Its name and whose it is, which tell it from other blades."""
        return Who(self.name, self.customer)

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


def _angles_from_pattern(
    teeth: int, pattern: tuple[float, ...] | None, name: str
) -> tuple[float, ...]:
    if pattern is None:
        return tuple(360.0 * index / teeth for index in range(teeth))
    many, text = len(pattern), " ".join(f"{gap:g}" for gap in pattern)
    widest = min(LARGEST, MOST_UNEVEN * min(pattern, default=0.0))
    problem = cure = ""
    if not pattern or not all(LEAST <= gap <= widest for gap in pattern):
        problem, cure = f"pitch_pattern is {text!r}", "write gaps above 0, such as 1 1 1 1 1.6"
    elif teeth % many:
        problem = f"a pitch pattern of {many} gaps does not fit a whole number of times into "
        problem, cure = f"{problem}{teeth} teeth", "check teeth and pitch_pattern"
    if problem:
        raise refuse(problem, cure, value=text, blade=name, column="pitch_pattern")
    turn, repeats = math.fsum(pattern), teeth // many
    starts = [360.0 * math.fsum(pattern[:index]) / turn for index in range(many)]
    return tuple((360.0 * group + start) / repeats for group in range(repeats) for start in starts)


def _check_kinds(teeth: int, kinds: tuple[str, ...] | None, name: str) -> None:
    if kinds is not None and (not kinds or teeth % len(kinds)):
        problem = f"a tooth pattern of {len(kinds)} does not fit a whole number of times into "
        cure, said = "check teeth and tooth_pattern", " ".join(kinds)
        raise refuse(
            f"{problem}{teeth} teeth", cure, value=said, blade=name, column="tooth_pattern"
        )


def _check_sizes(kept: Mapping[str, Any], name: str) -> None:
    plate, width = kept["plate"], kept["tooth_width"]
    if plate and width and plate > width:
        problem = f"the plate ({plate:g} mm) is thicker than the teeth are wide ({width:g} mm)"
        cure, said = "check plate and tooth_width", f"{plate:g} mm"
        raise refuse(problem, cure, value=said, blade=name, column="plate")
    diameter, gullet = kept["diameter"], kept["gullet"]
    if diameter and gullet and gullet >= diameter / 2:
        problem = f"the gullets ({gullet:g} mm) are deeper than the blade's radius "
        cure, said = "check gullet and diameter", f"{gullet:g} mm"
        problem += f"({diameter / 2:g} mm)"
        raise refuse(problem, cure, value=said, blade=name, column="gullet")


def _checked_angles(teeth: int, tooth_deg: Sequence[float], name: str) -> tuple[float, ...]:
    angles = several_numbers(tooth_deg, "tooth_deg", "the angle of each tooth", name)
    growing = all(before < after for before, after in pairwise(angles))
    if len(angles) != teeth or angles[0] != 0 or not growing or not angles[-1] < 360:
        problem = f"tooth_deg does not give {teeth} teeth their places"
        cure = f"give {teeth} angles that grow from 0 and stay below 360"
        raise refuse(problem, cure, blade=name)
    return angles


Blade.__doc__ = (Blade.__doc__ or "").replace("    FACTS", told(of_blade=True))
