"""The uses of the neutral line: how the blade stands for each, and what is set from it."""

from __future__ import annotations

import math
from typing import NamedTuple

from bladegeom.estimate import Estimate
from bladegeom.fit.marks import NeutralLine
from bladegeom.saw._measure import at_most, known_to, told

BELOW = "below the graduation, which is not stated"


class Use(NamedTuple):
    """A use of the neutral line."""

    title: str
    off: str
    """What the cut is by the error."""
    do: str
    """What to set along the plate once the blade stands right."""
    upright: bool = False
    """Whether the line stands upright; else it lies level."""
    angled: bool = False
    """Whether it is set at an angle, and cuts mitred joints."""

    @property
    def end(self) -> str:
        """The end of the line that signs speak of."""
        return "upper end" if self.upright else "front end"


USES = {
    "table": Use(
        "table square to the blade",
        "out of square",
        "Set the square on the table against the plate",
        upright=True,
    ),
    "bevel": Use(
        "bevel",
        "off the bevel",
        "Set the bevel square or inclinometer upright along the plate",
        upright=True,
        angled=True,
    ),
    "miter_gauge": Use(
        "miter gauge", "off the angle", "Set the gauge's square level along the plate", angled=True
    ),
    "riving_knife": Use(
        "riving knife",
        "out of line with the knife",
        "Set the knife's toe in line with the plate by a level straightedge",
    ),
    "fence": Use(
        "fence",
        "out of line with the fence",
        "Set the fence as far from the plate at the back as at the front",
    ),
}


def how_to_set(use: str, line: NeutralLine) -> tuple[str, ...]:
    """Return how the blade stands and what to set from it, a sentence each."""
    lean = "Then set its lean against the plate."
    if line.marked is None:
        stand = line.instructions[0]
    else:
        first, second = (end.tooth for end in line.marked)
        swapped = "as well; what is left then changes its sign)."
        if USES[use].upright:
            stand = f"Stand teeth {first} and {second} one above the other, {first} uppermost "
            stand += f"({second} uppermost does {swapped}"
        else:
            stand = f"Turn tooth {first} to the front and {second} to the back, both level "
            stand += f"({second} to the front does {swapped}"
        lean = (
            f"Then turn the blade a quarter turn, {first} uppermost and {second} below, and set "
            "the knife's lean against the plate."
        )
    do = f"{USES[use].do}, clear of the teeth."
    return (stand, do, *([lean] if use == "riving_knife" else []))


def cut_text(use: str, cut: Estimate, end: str) -> str:
    """Return what the cut is off by and to which side; `end` is the one that signs speak of."""
    if not math.isfinite(cut.u):
        return f"not known: {BELOW}"
    if not told(cut):
        return f"{USES[use].off} {at_most(cut, 'deg')} (95 %), to which side cannot be told"
    way = "toward" if cut.value > 0 else "away from"
    return f"{known_to(cut, 'deg')} {USES[use].off}, {end} {way} the indicator"
