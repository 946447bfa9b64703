"""What went wrong with the readings: findings, ranked, each with its repair; nothing is changed."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from bladegeom.columns import FLANGE
from bladegeom.face import named_face, of_face
from bladegeom.faults import Who
from bladegeom.kernel.design import REFUSED_RATIO, worst_ratio
from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER, convert
from bladegeom.mistakes._bent import KNOWN, bent_plates
from bladegeom.mistakes._design import Whole, design_of
from bladegeom.mistakes._repairs import mirrored, onward, shifted, single, step, swapped, wrapped
from bladegeom.mistakes._said import SAID, label_at
from bladegeom.mistakes.trial import FALSE_ALARMS, FEWEST, Base, Candidate
from bladegeom.readings import Readings
from bladegeom.result import Result, derived, described, named, quantity
from bladegeom.tables.counted import Counted, count_blade, counted

if TYPE_CHECKING:
    import pandas as pd

REVOLUTIONS_MM = (1.0, 0.5, 0.2, 2.54, 1.27, 0.508)
"""One revolution of common dials: 1, 0.5 and 0.2 mm; 0.1, 0.05 and 0.02 in (common practice, no
source)."""

_RIVAL = math.log(1000.0)
_MOST_MISTAKES = 5
_MOST_READINGS = 2000
"""What is tried on more takes too much memory: it grows with their square."""

_WHOLE_BLADE = frozenset({"doubled", "skipped", "mirrored", "step", "unit"})
"""Kinds after which no tooth alone can be read again."""


@described
class Finding(Result):
    """One mistake that would explain the readings better."""

    kind: str = quantity("what kind of mistake, a key of `SAID`")
    teeth: tuple[int, ...] = quantity(
        "the teeth concerned, as they were counted, in the order in which they were read; of a "
        "tooth read twice or passed over: the first tooth that is counted wrong"
    )
    p_value: float = quantity(
        "at most how probable so good a repair is on readings without a mistake, all repairs that "
        "were tried taken into account"
    )
    scatter: float = quantity("standard deviation about the curve, in the unit of the readings")
    repaired_scatter: float = quantity("the same with the repair")
    tried: int = quantity("how many repairs were tried")
    words: str = quantity("what seems to have happened, and the cure")

    @property
    def teeth_again(self) -> tuple[int, ...]:
        """The teeth to read again; empty where the whole blade is."""
        alone = self.kind not in _WHOLE_BLADE and len(self.teeth) <= 4
        return tuple(sorted({*self.teeth})) if alone else ()

    @property
    def teeth_above(self) -> tuple[int, ...]:
        """The teeth that matter most, where the whole blade is to be read again for their sake."""
        known = self.kind not in _WHOLE_BLADE and not self.teeth_again
        return tuple(sorted({*self.teeth})) if known else ()

    @derived("what to read again, as an instruction")
    def again(self) -> str:
        return of_face(self._again) if self.face else self._again

    @property
    def _again(self) -> str:
        first, last = self.teeth[0], self.teeth[-1]
        if self.kind in _WHOLE_BLADE:
            return "Read the blade again"
        if len(self.teeth) == 1:
            return f"Read tooth {first} again"
        if len(self.teeth) <= 4:
            return f"Read teeth {', '.join(map(str, self.teeth[:-1]))} and {last} again"
        return f"Read the blade again, teeth {first} to {last} above all"

    @derived("whether more than reading again helps")
    def repairable(self) -> bool:
        return self.repaired is not None

    repaired: Readings | None = quantity(
        "new readings with the repair; None where only reading again helps", key=""
    )
    places: tuple[int, ...] = quantity(
        "teeth at which the mistake may as well have begun (95 %), where it has a beginning"
    )
    near_deg: tuple[float, float] | None = quantity(
        "lowest and highest near direction that belong to `places`, where the repair moves teeth: "
        "what remains in doubt beside the doubt of the fit"
    )
    besides: bool = quantity(
        "whether it was found with the likeliest one repaired, and does not explain the same",
        key="",
    )
    face: bool = quantity("whether the face of a flange was read", key="", default=False)

    @property
    def evidence(self) -> str:
        """How much better the repair fits, in words."""
        p = "under 0.0001" if self.p_value < 0.0001 else f"at most {self.p_value:.1g}"
        chance = f"by chance {p}" if self.p_value < FALSE_ALARMS else "the place is not established"
        return (
            f"scatter {self.scatter:.2g} before, {self.repaired_scatter:.2g} after; {chance} "
            f"({self.tried} repairs tried)"
        )

    def _title(self) -> str:
        return f"{self.kind}: {self.words}"


@described
class Findings(Result, Sequence[Finding]):
    """The findings on one blade, the likeliest first; empty where nothing is found."""

    blade: str = quantity("the blade's name, as text")
    customer: str = quantity("whose blade it is; empty where not stated", default="")
    unit: str = quantity("unit of the readings")
    found: tuple[Finding, ...] = quantity(
        "likely mistakes, the likeliest first",
        key="findings",
        label="findings",
        text=lambda one: [
            line
            for place, each in enumerate(one.found, start=1)
            for line in ((f"{place} {each.kind}", each.words), (" ", each.evidence))
        ],
    )
    readings: Readings | None = quantity(
        "the readings as they stand; None where they cannot be taken as they stand", key=""
    )
    rival: tuple[str, ...] = quantity("a bend that explains them nearly as well", key="")
    face: bool = quantity("whether the face of a flange was read", key="", default=False)
    remarks: tuple[str, ...] = quantity("what the reader should know", key="warnings")

    def __len__(self) -> int:
        return len(self.found)

    def __getitem__(self, index: Any) -> Any:
        return self.found[index]

    @property
    def explained(self) -> tuple[str, ...]:
        """Every finding in words: the likeliest, what else would explain the same, what more."""
        said = [
            one.words if one.besides or not place else f"or else {one.words}"
            for place, one in enumerate(self.found)
        ]
        return (*said, *self.rival)

    @property
    def doubted(self) -> tuple[str, ...]:
        """The same, after what to read again before anything is followed."""
        if not self.found:
            return ()
        first, *others = self.explained
        return (f"{self.found[0].again}, a mistake seems likely: {first}", *others)

    def _title(self) -> str:
        name = str(Who(self.blade, self.customer))
        name = named_face(name) if self.face else named(name)
        count = len(self.found)
        what = {0: "no mistake found", 1: "1 finding"}.get(count, f"{count} findings")
        return f"{name}: {what}"

    def to_frame(self) -> pd.DataFrame:
        """Return a frame of one row a finding."""
        import pandas as pd

        columns = ["kind", "teeth", "p_value", "scatter", "repaired_scatter", "words", "repairable"]
        frame = pd.DataFrame([one.to_dict() for one in self.found], columns=columns)
        frame.insert(0, "blade", self.blade)
        return frame


@checked
def check_readings(
    readings: Readings | str | os.PathLike[str],
    *,
    blade: str | None = None,
    blades: str | os.PathLike[str] | None = None,
    unit: str | None = None,
    **facts: Any,
) -> Findings:
    """Look for what may have gone wrong with the readings of one blade.

    Looked for are a lost minus (`sign`), a slipped decimal point (`scale`), another unit from some
    reading on (`unit`), a dial read one revolution off (`wrap`), a tooth read twice (`doubled`) or
    passed over (`skipped`), two neighbouring readings written in each other's place (`swapped`),
    gum or a burr on one tooth (`spike`), a turn counted against another turn (`mirrored`), and a
    bumped base (`step`). The readings themselves are never changed: each
    finding holds new ones to accept or to leave. A plate bent in two or three waves or over a few
    teeth is no mistake, and what it explains better is not reported; what two turns show alike is
    the plate.

    Parameters
    ----------
    readings : Readings or path
        A path may lead to a table or a list that `read_blade` refuses because it holds one tooth
        too many or too few.
    blade, blades, unit, **facts
        As for `read_blade`, with a path.

    Returns
    -------
    Findings
        The likeliest first. With a chance of 99 % or more, there is none where no mistake was
        made.

    Raises
    ------
    RefusedError
        The file cannot be read, for other reasons than these.
    """
    if isinstance(readings, Readings):
        return check_counted(counted(readings))
    return check_counted(count_blade(readings, blade=blade, blades=blades, unit=unit, **facts))


def suspected(count: Counted) -> str | None:
    """Return in words what `check_counted` would find first in readings that stand, or None.

    Empty where that may be of the closing reading alone.
    """
    ranked = [] if _cannot_tell(count) else _tried(count, "")[1]
    if not ranked:
        return None
    one, last = ranked[0], len(count.label) - 1
    closing = count.tooth[0] == count.tooth[last]
    return "" if closing and one.rows.tolist() == [last] else SAID[one.kind](count, one)


def check_counted(count: Counted) -> Findings:
    """Do the work of `check_readings` on readings as they were counted."""
    remarks = _cannot_tell(count)
    found: list[Finding] = []
    rival: tuple[str, ...] = ()
    expected = {1: "doubled", -1: "skipped"}.get(count.off_by, "")
    now: Counted | None = None if remarks else count
    while now is not None and len(found) < _MOST_MISTAKES:
        base, ranked, bend = _tried(now, "" if found else expected)
        if not ranked:
            break
        if bend and not found:
            rival = (
                f"a bend of the plate at teeth {bend[0]} to {bend[-1]} explains the readings "
                "nearly as well: read a second turn, which shows a bend again, and a slip hardly",
            )
        after = [_applied(now, one) for one in ranked]
        made = [
            _finding(base, one, then, besides=bool(found))
            for one, then in zip(ranked, after, strict=True)
        ]
        found += made[:1] if found else made
        if ranked[0].kind == "step":
            found += _beside_a_step(now, ranked[0])[: _MOST_MISTAKES - len(found)]
        now = None if after[0] is None or _cannot_tell(after[0]) else after[0]
    if count.extra and not any(one.kind == "doubled" for one in found):
        remarks.append(_of_extra(count))
    if found:
        remarks.append("look at the blade first; accept one repair, then check again")
    face = count.facts.get("surface") == FLANGE
    if face:
        found = [replace(one, words=of_face(one.words), face=True) for one in found]
        rival, remarks = tuple(map(of_face, rival)), [of_face(one) for one in remarks]
    return Findings(
        blade=count.blade.name,
        customer=count.blade.customer,
        unit=count.unit,
        found=tuple(found),
        readings=count.readings,
        rival=rival,
        remarks=(*rival, *remarks),
        face=face,
    )


def _beside_a_step(count: Counted, step: Candidate) -> list[Finding]:
    """Return the teeth that stand off by themselves in readings with a bumped base.

    Who reads the blade again should clean them first. They are looked for as if the base had not
    been bumped; what was read then is no reading, so that none of them has a repair.
    """
    levelled = count.reading.copy()
    levelled[step.rows] -= step.size
    now, found = count._replace(reading=levelled), list[Finding]()
    while len(found) < _MOST_MISTAKES and not _cannot_tell(now):
        base, ranked, _ = _tried(now, "")
        spike = next((one for one in ranked if one.kind == "spike"), None)
        if spike is None or spike.kept is None:
            break
        one, now = replace(spike, kept=None), now.only(spike.kept)
        made = _finding(base, one, None, besides=True)
        found.append(replace(made, words=f"besides, {SAID['spike'](count, one)}"))
        count = count.only(spike.kept)
    return found


def _of_extra(count: Counted) -> str:
    """Return what is to be said of a reading after the last tooth where none shows as doubled."""
    first, last = int(count.tooth[0]), count.blade.teeth
    twice = math.inf if _cannot_tell(count) else next(shifted(Base(count))).evidence
    if twice > -KNOWN:
        return (
            f"the reading after tooth {last} may be the closing reading or come from a tooth read "
            f"twice, the readings do not tell which: if it is of tooth {first}, write {first} in "
            "its row, else read again"
        )
    return (
        f"the reading after tooth {last} fits as the closing reading, not as if a tooth had been "
        f"read twice: write tooth {first} in its row"
    )


def _cannot_tell(count: Counted) -> list[str]:
    read = count.reading
    if len(read) > _MOST_READINGS:
        return [
            f"{len(read)} readings are too many to be looked through for mistakes at once: give "
            f"{_MOST_READINGS} at most, some turns at a time"
        ]
    design = design_of(count, (1,)) if len(read) else None
    if design is None or len(read) < FEWEST + len(design.turns) or design.spots < FEWEST:
        return [f"{len(read)} readings are too few to show a mistake"]
    if read.max() == read.min():
        return ["all readings are the same: no mistake would show"]
    if design.once("ratio", partial(_ratio, count)) > REFUSED_RATIO:
        return ["the teeth read lie on too short an arc to show a mistake"]
    return []


def _ratio(count: Counted) -> float:
    angle = np.radians(count.blade.angles_deg[count.tooth - 1])
    return worst_ratio(harmonic_columns(angle)[:, 1:], np.ones((len(angle), 1)))


def _tried(count: Counted, expected: str) -> tuple[Base, list[Candidate], tuple[int, ...]]:
    """Return the fit, the repairs that are established, and a bend that may be it instead.

    The likeliest comes first. A bent plate is the rival of every mistake: where it explains more
    than any of them, only what stands out from the bent plate is reported.
    """
    base = Base(count)
    ranked, reached, rival = _established(base, expected), 0.0, None
    for plate in bent_plates(base):
        most = reached + (ranked[0].evidence if ranked else 0.0)
        if plate.evidence > most:
            base, reached, rival = plate.base, plate.evidence, None
            ranked = _established(base, expected)
        elif rival is None and plate.teeth and plate.evidence > most - _RIVAL:
            rival = plate
    return base, ranked, rival.teeth if rival is not None and ranked else ()


def _established(base: Base, expected: str) -> list[Candidate]:
    """Try every repair on one fit; return those that are established, the likeliest first."""
    count = base.series
    stated = count.length("dial_turn")
    usual = (convert(one, "mm", count.unit) for one in REVOLUTIONS_MM)
    revolutions = tuple(usual) if stated is None else (stated,)
    units = {MM_PER[other] / MM_PER[count.unit] for other in MM_PER if other != count.unit}
    made = [
        *single(base),
        *swapped(base),
        *onward(base, (*(units | {25.4, 1 / 25.4}),)),
        *wrapped(base, revolutions),
        *step(base),
        *shifted(base),
        *mirrored(base),
    ]
    best: dict[tuple[str, tuple[int, ...]], Candidate] = {}
    for one in sorted(made, key=lambda one: -one.evidence):
        if one.chance < FALSE_ALARMS or one.kind == expected:
            best.setdefault((one.kind, tuple(one.rows.tolist())), one)
    ranked = sorted(best.values(), key=lambda one: (one.kind != expected, -one.evidence))
    return [one for one in ranked if one.evidence > ranked[0].evidence - _RIVAL]


def _applied(count: Counted, one: Candidate) -> Counted | None:
    """Return the readings as repaired; None where only reading again helps."""
    if one.reading is not None:
        return count._replace(reading=one.reading)
    if one.label is not None:
        after = count._replace(label=one.label, off_by=0)
        return after._replace(readings=after.as_readings())
    return None if one.kept is None else count.only(one.kept)


def _finding(base: Base, one: Candidate, after: Counted | None, *, besides: bool) -> Finding:
    count = base.series
    # Readings that are left out, or a size that is chosen, cost one.
    dof = base.dof - (after is None or one.kept is not None)
    return Finding(
        kind=one.kind,
        teeth=tuple(dict.fromkeys(count.tooth[one.rows].tolist())) or _teeth(count, one.places),
        p_value=one.chance,
        scatter=math.sqrt(base.rss / base.dof),
        repaired_scatter=math.sqrt(one.rss / max(1, dof)),
        tried=base.tried,
        words=("besides, " if besides else "") + SAID[one.kind](count, one),
        repaired=None if after is None else after.as_readings(),
        places=_teeth(count, one.places),
        near_deg=one.near_deg,
        besides=besides,
    )


def _teeth(count: Counted, rows: Whole) -> tuple[int, ...]:
    labels = np.array([label_at(count, int(row)) for row in rows], dtype=np.int64)
    return tuple(dict.fromkeys(((labels - 1) % count.blade.teeth + 1).tolist()))
