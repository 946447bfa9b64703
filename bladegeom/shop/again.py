"""What of a judged blade is to be read again, tooth by tooth, and what is to be done in short."""

from __future__ import annotations

from typing import NamedTuple

from bladegeom.fit.next_readings import next_readings
from bladegeom.shop.condition import (
    AGAIN,
    FIT,
    LEVEL,
    REMOUNT,
    RETIRE,
    SAWSMITH,
    Condition,
)
from bladegeom.shop.verdict import in_ranges


class Again(NamedTuple):
    """What to read again.

    Attributes
    ----------
    teeth : tuple of int
        Empty for every tooth.
    why : str
    first : tuple of int
        The teeth that matter most, where every tooth is to be read.
    """

    teeth: tuple[int, ...]
    why: str
    first: tuple[int, ...] = ()

    @property
    def words(self) -> str:
        """The teeth in words."""
        return in_ranges(self.teeth) or ", ".join(filter(None, ("all", self._most)))

    @property
    def _most(self) -> str:
        return f"{in_ranges(self.first)} first" if self.first else ""


def read_again(condition: Condition) -> Again | None:
    """Return which teeth of a blade are to be read again, and why; None where none are."""
    fit, action = condition.fit, condition.action
    if action == RETIRE:
        return None
    found = [one for at, one in enumerate(fit.findings.found) if at == 0 or one.besides]
    # What seems to have happened; how to go about it stands on the sheet.
    parts = [
        Again(one.teeth_again, one.words.split("? ")[0].rstrip(".?") + "?", one.teeth_above)
        for one in found
    ]
    if not found and not condition.sound:
        parts.append(Again((), "the stand moved while the blade was read"))
    if condition.teeth_to_read and action != REMOUNT:
        parts.append(Again(condition.teeth_to_read, "not read: a fault there would not show"))
    if action == REMOUNT:
        parts.append(Again((), "once arbor, flanges and bore are clean and it is mounted anew"))
    if action == AGAIN and not parts:
        parts.append(Again((), " ".join(condition.reasons).rstrip(".")))
    if action == FIT and not parts and not fit.resolved and not condition.marks.flat:
        next_ = next_readings(fit)
        parts.append(Again(next_.teeth, "as one more turn: no neutral line is established yet"))
    if not parts:
        return None
    teeth: tuple[int, ...] = ()
    if all(one.teeth for one in parts):
        teeth = tuple(sorted({tooth for one in parts for tooth in one.teeth}))
    first = tuple(sorted({tooth for one in parts for tooth in one.first})) if not teeth else ()
    why = [f"{one.words}: {one.why}" if one.teeth != teeth else one.why for one in parts]
    return Again(teeth, "; ".join(why), first)


def in_short(condition: Condition) -> str:
    """Return in a few words, and without a length, why a blade is to be treated as it is."""
    action, bend, wave = condition.action, condition.bend, condition.wave
    if action == RETIRE:
        return f"the eye found: {condition.eye}"
    if action == AGAIN and (mistake := condition.fit.mistake):
        return f"a mistake seems likely: {mistake.again[0].lower()}{mistake.again[1:]}"
    if action == AGAIN:
        again = read_again(condition)
        return again.why if again else ""
    if action == REMOUNT:
        return "mostly one tilt: a seat to clean first"
    if action == SAWSMITH and wave is not None:
        return f"{wave.order} waves a turn: {'a saddle' if wave.order == 2 else 'bent in waves'}"
    if bend is not None:
        which = f"tooth {bend.first}" if bend.first == bend.last else ""
        which = which or f"teeth {bend.first} to {bend.last}"
        return f"{which} {'stands' if bend.first == bend.last else 'stand'} {bend.side}"
    return "a bend" if action == LEVEL else "within every limit"


def over_limit(condition: Condition) -> tuple[float, str, float] | None:
    """Return by what share of a limit a blade is over it, of which quantity, and that limit.

    The limit is the one that it is farthest over, or nearest to (the share is below 0 then). None
    where the readings cannot be relied on.
    """
    shares = [
        (one.measured.value / one.limit - 1, one.on.quantity, one.limit)
        for one in condition.verdicts
    ]
    return max(shares) if shares and condition.sound else None
