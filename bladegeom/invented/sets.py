"""What comes out of a simulation: written numbers, readings, and the truth behind them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.invented.course import Course
from bladegeom.invented.key import AnswerKey, Floats
from bladegeom.lengths import MM_PER
from bladegeom.readings import Readings

if TYPE_CHECKING:
    import pandas as pd


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
        facts: dict[str, Any] = {"blade": blade.name} if blade.name else {}
        facts["teeth"] = blade.teeth
        for name in ("diameter", "plate", "tooth_width", "gullet"):
            if (length := getattr(blade, f"{name}_mm")) is not None:
                facts[f"{name}_mm"] = _plain(length)
        if blade.pitch_pattern is not None:
            facts["pitch_pattern"] = " ".join(f"{gap:.12g}" for gap in blade.pitch_pattern)
        elif blade.tooth_deg != Blade(blade.teeth).tooth_deg:
            raise refuse(
                "a table cannot hold the angle of every tooth",
                "give the blade a pitch_pattern instead of tooth_deg",
                blade=blade.name,
            )
        if blade.tooth_pattern is not None:
            facts["tooth_pattern"] = " ".join(blade.tooth_pattern)
        if blade.numbered is not None:
            facts["numbered"] = blade.numbered
        facts["ring_radius_mm"] = _plain(key.ring_radius * MM_PER[key.unit])
        if key.touch_deg:
            facts["touch_deg"] = key.touch_deg
        if key.graduation:
            facts[f"graduation_{key.unit}"] = key.graduation
        return pd.DataFrame(
            {
                **facts,
                "mount": key.mount,
                "clock_deg": key.clock_deg,
                "turn": self.course.turn,
                "turned": self.course.words,
                "tooth": self.course.label,
                f"reading_{key.unit}": self.written,
            }
        )


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


def _plain(length: float) -> float:
    return float(f"{length:.12g}")
