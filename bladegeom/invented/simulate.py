"""Invented readings with hidden faults and an answer key, for teaching and for tests."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from bladegeom.blade import Blade
from bladegeom.columns import STATED
from bladegeom.faults import refuse
from bladegeom.invented import Dish, Doubled, Flange, LocalBend, Saddle, Seating, Skipped, Tilt
from bladegeom.invented._key import AnswerKey, Floats, Hidden, Hump
from bladegeom.invented._taken import DIAL, Asked, Course, course, number, numbers, streams, take
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER, Length, Lengths, convert, lengths_mm, with_unit
from bladegeom.readings import Readings

if TYPE_CHECKING:
    import pandas as pd

_ORDINARY_TIR = 8.0
_ORDINARY_NOISE = 0.3
_ORDINARY_RING = 0.9


@dataclass(frozen=True, eq=False)
class SimulatedSet:
    """One ring in one mounting: what was written down, and the truth behind it.

    Attributes
    ----------
    written : ndarray, shape (n,)
        The numbers as they were written down, slips included, in `unit` of the key.
    course : Course
        Which tooth each was of, and to which it was booked.
    readings : Readings or None
        None where a tooth was skipped or read twice: the count does not come out.
    key : AnswerKey
    """

    written: Floats
    course: Course
    readings: Readings | None
    key: AnswerKey

    def to_frame(self) -> pd.DataFrame:
        """Return what was written as a table that `read_blade` takes, one row a reading.

        The columns ``mount`` and ``clock_deg`` say how the blade was mounted.

        Raises
        ------
        RefusedError
            If the teeth stand at angles that no pitch pattern gives: a table cannot hold them.
        """
        import pandas as pd

        key, blade = self.key, self.key.blade
        if blade.pitch_pattern is None and blade.tooth_deg != Blade(blade.teeth).tooth_deg:
            raise refuse(
                "a table cannot hold the angle of every tooth",
                "give the blade a pitch_pattern instead of tooth_deg",
                blade=blade.name,
            )
        stated = ((one, blade.facts[name]) for name, one in STATED.items() if one.of == "blade")
        facts = {"blade": blade.name} | {one.key: one.cell(kept) for one, kept in stated}
        facts["ring_radius_mm"] = key.ring_radius * MM_PER[key.unit]
        facts |= {"touch_deg": key.touch_deg, f"graduation_{key.unit}": key.graduation}
        columns = {name: _plain(fact) for name, fact in facts.items() if fact} | {
            "mount": key.mount,
            "clock_deg": key.clock_deg,
            "turn": self.course.turn,
            "turned": self.course.words,
            "tooth": self.course.label,
            f"reading_{key.unit}": self.written,
        }
        return pd.DataFrame(columns)


@dataclass(frozen=True, eq=False)
class Simulated:
    """Invented readings and their answer key.

    Attributes
    ----------
    sets : tuple of SimulatedSet
        One for each ring of each mounting, all rings of the first mounting first.
    """

    sets: tuple[SimulatedSet, ...]

    @property
    def readings(self) -> Readings:
        """The readings of the only set.

        Raises
        ------
        RefusedError
            If there are several sets, or a miscount leaves no readings that can stand.
        """
        one = self._only()
        if one.readings is not None:
            return one.readings
        blade = one.key.blade
        raise refuse(
            f"{len(one.written)} readings were written for {blade.teeth} teeth: they cannot stand",
            "take the plain list, .written, or the table, .to_frame()",
            blade=blade.name,
        )

    @property
    def written(self) -> Floats:
        """What was written down in the only set, shape (n,)."""
        return self._only().written

    @property
    def key(self) -> AnswerKey:
        """The answer key of the only set."""
        return self._only().key

    def _only(self) -> SimulatedSet:
        if len(self.sets) == 1:
            return self.sets[0]
        raise refuse(f"there are {len(self.sets)} sets of readings", "take one of .sets")

    def to_frame(self) -> pd.DataFrame:
        """Return what was written in all sets as one table."""
        import pandas as pd

        return pd.concat([one.to_frame() for one in self.sets], ignore_index=True)

    def keys_frame(self) -> pd.DataFrame:
        """Return the answer keys as a table, one row a set."""
        import pandas as pd

        return pd.DataFrame([one.key.to_dict() for one in self.sets])


def _plain(fact: Any) -> Any:
    return float(f"{fact:.12g}") if isinstance(fact, float) else fact


@checked
def simulate(
    blade: Blade | None = None,
    *,
    rng: np.random.Generator | int,
    faults: Sequence[Any] = (),
    unit: str = "mm",
    ring_radius: Lengths | None = None,
    clock_deg: ArrayLike = 0.0,
    graduation: Length | None = None,
    noise_sd: Length | None = None,
    dial_zero: Lengths = (0.0, "mm"),
    turned: Sequence[str] = ("forward",),
    closing: bool = True,
    touch_deg: float = 0.0,
) -> Simulated:
    """Invent the readings of a blade with hidden faults, and their answer key.

    Nothing is measured: blade, arbor, stand and person are invented, and so are the defaults (a
    blade of 40 teeth and 254 mm, read at 0.9 of its radius on an ordinary dial, with a wobble of
    eight graduations and a noise of 0.3 of one). Heights are positive toward the indicator.
    Several rings or clock positions give several sets; a bump and the slips of the person go into
    the first set, everything else into all.

    Parameters
    ----------
    blade : Blade, optional
        Its name, its pitch and its sizes are used.
    rng : numpy.random.Generator or int
        Where chance comes from. The same seed gives the same readings; one more fault leaves the
        noise of the others as it was (but for a miscount).
    faults : sequence
        What is wrong, in any order: of the blade `Tilt`, `Dish`, `Saddle`, `LocalBend`, `Gum`; of
        the arbor `Flange`, `Seating`; of the stand `Play`, `Drift`, `Bump`; of the person
        `Skipped`, `Doubled`, `LostMinus`, `DecimalSlip`, `Swapped`, `UnitSlip`.
    unit : {"mm", "in", "thou", "um"}
        Of the readings.
    ring_radius : str or (array_like, str), optional
        One ring or several, ``"80 110 mm"``. Heights hold at the outermost, unless said otherwise.
    clock_deg : float or sequence of float
        One mounting for each: where tooth 1 stands from the arbor's mark, in the direction of
        numbering.
    graduation : str or (float, str), optional
        To which readings are rounded; ``"0 mm"`` for not at all.
    noise_sd : str or (float, str), optional
        Repeatability of a reading before it is rounded.
    dial_zero : str or (array_like, str)
        What the dial shows where the plate has no height; one, or one for each ring.
    turned : sequence of {"forward", "backward"}
        One turn each way named.
    closing : bool
        Whether tooth 1 is read again at the end of each turn.
    touch_deg : float
        Degrees of blade from the indexed tooth to the touched spot, positive with the numbering.

    Returns
    -------
    Simulated

    Raises
    ------
    RefusedError
        If such a blade or such a fault is not possible.
    """
    if unit not in MM_PER:
        raise refuse(f"unit is {unit!r}", f"write one of {', '.join(MM_PER)}", column="unit")
    blade = Blade(40, diameter="254 mm") if blade is None else blade
    if not isinstance(blade, Blade):
        raise refuse(f"blade is {blade!r}", "give it as Blade(teeth, ...)", value=blade)
    draw, seating, noise = streams(rng)
    rings = _rings(blade, unit, ring_radius)
    asked = Asked(faults, unit, max(rings))
    step = DIAL[unit] if graduation is None else asked.length("graduation", graduation, least=0)
    ordinary = step or DIAL[unit]
    noisy = _ORDINARY_NOISE * ordinary
    if noise_sd is not None:
        noisy = asked.length("noise_sd", noise_sd, least=0)
    hidden = _hidden(blade, asked, max(rings), 360.0 * draw.random(3), _ORDINARY_TIR * ordinary)
    zero, its = with_unit("dial_zero", dial_zero, several=True)
    zeros = [convert(one, its, unit) for one in numbers("dial_zero", zero, len(rings))]
    touch = number("touch_deg", touch_deg)
    scatter = asked.size(asked.one(Seating), "sd", least=0)
    miscounts: list[Skipped | Doubled] = [*asked.of(Skipped), *asked.of(Doubled)]
    sets: list[SimulatedSet] = []
    for mount, clock in enumerate(numbers("clock_deg", clock_deg), start=1):
        seat = complex(*(scatter * seating.standard_normal(2)))
        for ring, zero in zip(rings, zeros, strict=True):
            first = not sets
            run = course(blade, turned, closing, miscounts if first else ())
            key = AnswerKey(
                hidden=hidden,
                unit=unit,
                mount=mount,
                clock_deg=clock,
                ring_radius=ring,
                seat=seat,
                touch_deg=touch,
                noise_sd=noisy,
                graduation=step or None,
                tooth=run.tooth,
            )
            chance = noisy * noise.standard_normal(len(run.tooth))
            key, written = take(key, asked, run, zero, chance, first)
            sets.append(SimulatedSet(written, run, _readings(key, written, run), key))
    return Simulated(tuple(sets))


def _rings(blade: Blade, unit: str, given: Lengths | None) -> list[float]:
    if given is None:
        if blade.radius_mm is None:
            raise refuse(
                "neither ring_radius nor the blade's diameter is given", "give one of them"
            )
        return [convert(_ORDINARY_RING * blade.radius_mm, "mm", unit)]
    given_mm, _ = lengths_mm("ring_radius", given)
    for length in given_mm:
        if not 0 < length <= (blade.radius_mm or math.inf) * (1 + 1e-9):
            raise refuse(
                f"a ring radius of {length:g} mm",
                "give one above 0 that is no larger than the blade's radius",
                value=length,
                column="ring_radius",
            )
    return [convert(float(length), "mm", unit) for length in given_mm]


def _hidden(blade: Blade, asked: Asked, outer: float, any_deg: Floats, tir: float) -> Hidden:
    """Return what is hidden in the blade and its arbor; what is not said is drawn or ordinary."""

    def runout(one: Tilt | Flange | None, drawn: float, tir: float) -> complex:
        near = drawn
        if one is not None:
            tir = tir if one.tir is None else asked.size(one, "tir", least=0)
            near = (
                drawn
                if one.near_deg is None
                else number(f"{type(one).__name__}.near_deg", one.near_deg)
            )
        return cmath.rect(tir / 2, math.radians(near))

    saddle = asked.one(Saddle)
    crest_deg = None if saddle is None else saddle.crest_deg
    bends = []
    for one in asked.of(LocalBend):
        blade.angle_of(one.first)
        blade.angle_of(one.last)
        bends.append(Hump(one.first, one.last, asked.size(one, "height")))
    return Hidden(
        blade,
        rim=outer if blade.radius_mm is None else convert(blade.radius_mm, "mm", asked.unit),
        outer_ring=outer,
        tilt=runout(asked.one(Tilt), any_deg[0], tir),
        flange=runout(asked.one(Flange), any_deg[1], 0.0),
        dish=asked.size(asked.one(Dish), "height"),
        saddle=asked.size(saddle, "crest", least=0),
        saddle_deg=any_deg[2] / 2 if crest_deg is None else number("Saddle.crest_deg", crest_deg),
        bends=tuple(bends),
    )


def _readings(key: AnswerKey, written: Floats, run: Course) -> Readings | None:
    """Return what was written as readings; None where the count does not come out."""
    if run.planted:
        return None
    return Readings(
        key.blade,
        written,
        unit=key.unit,
        graduation=(key.graduation, key.unit) if key.graduation else None,
        tooth=run.label,
        turn=run.turn,
        turned=run.words,
        ring_radius=(key.ring_radius * MM_PER[key.unit], "mm"),
        touch_deg=key.touch_deg,
    )
