"""What a fit says: what it has found, its remarks, and the likely mistakes in the readings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property
from typing import TYPE_CHECKING

from bladegeom.face import check_blade, is_face, named_face, of_face
from bladegeom.faults import RefusedError
from bladegeom.fit._fitted import Fitted
from bladegeom.fit.ends import ends_of
from bladegeom.fit.remarks import remarks_of
from bladegeom.fit.standing import without
from bladegeom.readings import Readings
from bladegeom.result import Result, derived, described, named
from bladegeom.sizes import odd_wobble

if TYPE_CHECKING:
    from bladegeom.fit._budget import Budget
    from bladegeom.mistakes.check import Finding, Findings


@described
class WobbleFit(Fitted):
    """The wobble of a blade, with all that is to be said of it.

    A `Fitted`, and so a `Wobble`, with all that these tell. `refit` fits other readings in the
    same way.
    """

    refit: Callable[[Readings], WobbleFit]

    @derived("what the reader should know; the result itself stands", key="warnings")
    def _warnings(self) -> list[str]:
        return list(self.warnings)

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """What the reader should know of the fit, the most important first."""
        said = (*self.readings.asked, *remarks_of(self))
        return tuple(map(of_face, said)) if is_face(self.readings) else said

    @property
    def asked(self) -> tuple[str, ...]:
        """Those of `warnings` that come first: whether a size is meant, what was not read."""
        odd = odd_wobble(self.wobble_tir, self.unit, self.tilt_deg or 0.0)
        return self.warnings[: len(self.readings.asked) + bool(odd) + (self.leak is not None)]

    @property
    def rest(self) -> tuple[str, ...]:
        """The other `warnings`."""
        return self.warnings[len(self.asked) :]

    @cached_property
    def findings(self) -> Findings:
        """What may have gone wrong in the reading: `check_readings`, when first asked."""
        from bladegeom.mistakes.check import check_readings  # Loops over many blades do not ask.

        return check_readings(self.readings)

    @property
    def mistake(self) -> Finding | None:
        """The likeliest mistake in the readings, where one seems likely: read again first."""
        return self.findings.found[0] if self.findings.found else None

    @cached_property
    def repaired(self) -> WobbleFit | None:
        """The fit with all that seems wrong repaired as proposed; None where it cannot be."""
        found = self.findings.found
        # What was found besides was found in readings with the mistakes before it repaired.
        made = [one.repaired for one in found if one is found[0] or one.besides]
        for readings in filter(None, reversed(made)):
            try:
                return self.refit(readings)
            except RefusedError:
                continue
        return None

    @cached_property
    def of_others(self) -> WobbleFit:
        """The same fit of nothing but what is in it: without the readings of `standing`."""
        kept = without(self.readings, self.standing) if self.standing else None
        return self if kept is None else self.refit(kept)

    @cached_property
    def named_teeth(self) -> list[int] | None:
        """The teeth nearest to the neutral line; None where no direction is established."""
        if not self.resolved:
            return None
        ends = ends_of(self.readings.blade.angles_deg, self.near_deg)
        return [int(end.place) + 1 for end in (ends[1], ends[3])]

    @cached_property
    def at_stake(self) -> str:
        """Which teeth hang on a likely mistake, in words: those as read, and those as repaired."""
        read, repaired = (
            one.named_teeth and f"teeth {one.named_teeth[0]} and {one.named_teeth[1]}"
            for one in (self, self.repaired or self)
        )
        if self.repaired is None:
            told = f"as they stand, the readings name {read or 'no teeth'}, and no repair is known"
        elif read == repaired:
            told = f"as they stand and as repaired, the readings name {read or 'no teeth'} alike"
        else:
            told = f"as they stand, the readings name {read or 'no teeth'}; "
            told += f"as repaired, {repaired or 'none'}"
        return f"{told}: mark none yet"

    @property
    def doubted(self) -> tuple[str, ...]:
        """What to read again before anything is followed, and which teeth hang on it, in words."""
        said = self.findings.doubted
        stake = () if is_face(self.readings) else (self.at_stake,)
        return (*said, *stake) if said else ()

    @property
    def first(self) -> tuple[str, ...]:
        """What comes before everything: the likely mistakes, then what all else rests on."""
        return (*self.doubted, *self.asked)

    @property
    def said(self) -> tuple[str, ...]:
        """All that the reader should know: the likely mistakes first, then `warnings`."""
        return (*self.doubted, *self.warnings)

    @property
    def budget(self) -> Budget:
        """Where the doubt comes from: see `Budget`."""
        from bladegeom.fit._budget import budget_of  # Few ask, and every start would wait.

        return budget_of(self.of_others)

    def _title(self) -> str:
        if not is_face(self.readings):
            return super()._title()
        return f"{named_face(self.blade)}: {self.teeth} places"

    def _first(self) -> Sequence[str]:
        return self.first

    def _remarks(self) -> Sequence[str]:
        return self.rest


class OfBlade(Result):
    """What rests on the fit of a blade: whatever is made of it says all that is said of the fit.

    A likely mistake comes first, the warnings last, behind the `remarks` of its own.
    """

    fit: WobbleFit
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_blade(self.fit.readings, "nothing can be told of a blade")

    def __init_subclass__(cls) -> None:
        super().__init_subclass__()
        cls._quantities["_warnings"] = cls._quantities.pop("_warnings")  # Behind the numbers.

    @derived("the blade's name, as text")
    def blade(self) -> str:
        return self.fit.readings.blade.name

    @derived("whose blade it is; empty where not stated")
    def customer(self) -> str:
        return self.fit.readings.blade.customer

    @derived("what the reader should know, a likely mistake first", key="warnings")
    def _warnings(self) -> list[str]:
        return [*self.fit.first, *self.remarks, *self.fit.rest]

    @property
    def _named(self) -> str:
        return named(str(self.fit.readings.blade.who))

    def _first(self) -> Sequence[str]:
        return self.fit.first

    def _remarks(self) -> Sequence[str]:
        return (*self.remarks, *self.fit.rest)
