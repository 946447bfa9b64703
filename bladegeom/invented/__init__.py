"""Invented readings with hidden faults and an answer key; here are the faults to ask for.

bg.simulate(rng=7, faults=[bg.invented.Gum(7, "2 thou")])
"""

from __future__ import annotations

from dataclasses import dataclass

from bladegeom.lengths import Length


@dataclass(frozen=True)
class Tilt:
    """The blade's own tilt; without one it wobbles by eight graduations of an ordinary dial.

    `tir` is the runout that it shows alone (the ordinary one if not given), `near_deg` the blade
    angle of its nearest spot (drawn if not given).
    """

    tir: Length | None = None
    near_deg: float | None = None


@dataclass(frozen=True)
class Flange:
    """A flange that runs out by `tir`, nearest at `near_deg` from the arbor's mark, or drawn."""

    tir: Length
    near_deg: float | None = None


@dataclass(frozen=True)
class Seating:
    """Scatter from mounting to mounting: standard deviation of each of the two components."""

    sd: Length


@dataclass(frozen=True)
class Dish:
    """A dish, the rim so high over the centre. It shows between rings only."""

    height: Length


@dataclass(frozen=True)
class Saddle:
    """A saddle, so high at the rim where it is highest: at blade angle `crest_deg`, or drawn."""

    crest: Length
    crest_deg: float | None = None


@dataclass(frozen=True)
class LocalBend:
    """A smooth hump over a run of teeth, `height` in the middle, growing with the radius squared.

    The run goes from `first` in the direction of the numbering to `last`, so that `first` may be
    the larger. The height is that at the outermost ring.
    """

    first: int
    last: int
    height: Length


@dataclass(frozen=True)
class Gum:
    """Gum or a burr where that tooth is touched."""

    tooth: int
    height: Length


@dataclass(frozen=True)
class Play:
    """Play of the indicator: its dead band, forward less backward."""

    band: Length


@dataclass(frozen=True)
class Drift:
    """A steady drift in as many readings as the blade has teeth, anew in each set."""

    per_turn: Length


@dataclass(frozen=True)
class Bump:
    """A base that is bumped `after` so many readings: all others of the first set are off."""

    after: int
    height: Length


@dataclass(frozen=True)
class Skipped:
    """A tooth passed over in the first turn. The person stops at tooth 1: a number is missing."""

    tooth: int


@dataclass(frozen=True)
class Doubled:
    """A tooth read twice in the first turn. The person stops at tooth 1: a number too many."""

    tooth: int


@dataclass(frozen=True)
class LostMinus:
    """A tooth whose first reading is written without its minus."""

    tooth: int


@dataclass(frozen=True)
class DecimalSlip:
    """A tooth whose first reading is written `factor` (10, 0.1, 100 ...) times too large."""

    tooth: int
    factor: float


@dataclass(frozen=True)
class Swapped:
    """A tooth whose first reading and the next one are written in each other's place."""

    tooth: int


@dataclass(frozen=True)
class UnitSlip:
    """Numbers of the first set that are written in another unit, `after` so many readings."""

    after: int
    unit: str


SEVERAL = (LocalBend, Gum, Bump, LostMinus, DecimalSlip, Swapped)
"""What has a place of its own, so that there may be several."""

ONCE = (Tilt, Flange, Seating, Dish, Saddle, Play, Drift, Skipped, Doubled, UnitSlip)
