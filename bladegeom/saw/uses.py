"""The uses of the neutral line: how the blade stands, what is set from it, what is left."""

from __future__ import annotations

import math
from typing import NamedTuple

from bladegeom.estimate import Estimate
from bladegeom.faults import refuse
from bladegeom.fit.marks import NeutralLine
from bladegeom.result import between, number

BELOW = "below the graduation, which is not stated"


class Use(NamedTuple):
    """A use of the neutral line.

    Attributes
    ----------
    title : str
    upright : bool
        Whether the line stands upright; else it lies level.
    angled : bool
        Whether it is set at an angle, and cuts mitred joints.
    do : str
        What to set once the blade stands right.
    off : str
        What the cut then is by the error.
    """

    title: str
    upright: bool
    angled: bool
    do: str
    off: str

    @property
    def end(self) -> str:
        """The end of the line that signs speak of."""
        return "upper end" if self.upright else "front end"


USES = {
    "table": Use(
        "table square to the blade",
        True,
        False,
        "Set the square on the table against the plate, clear of the teeth.",
        "out of square",
    ),
    "bevel": Use(
        "bevel",
        True,
        True,
        "Set the bevel square or inclinometer upright along the plate, clear of the teeth.",
        "off the bevel",
    ),
    "miter_gauge": Use(
        "miter gauge",
        False,
        True,
        "Set the gauge's square level along the plate, clear of the teeth.",
        "off the angle",
    ),
    "riving_knife": Use(
        "riving knife",
        False,
        False,
        "Set the knife's toe in line with the plate by a level straightedge, clear of the teeth.",
        "out of line with the knife",
    ),
    "fence": Use(
        "fence",
        False,
        False,
        "Set the fence as far from the plate at the back as at the front, clear of the teeth.",
        "out of line with the fence",
    ),
}


def checked_angle(use: str, angle_deg: float | None, sides: int | None) -> float:
    """Return the angle of a use in degrees, that of a frame of so many sides if not given.

    Raises
    ------
    RefusedError
        If the use has none, or angle or sides cannot be true or contradict each other.
    """
    for name, value in (("angle_deg", angle_deg), ("sides", sides)):
        if value is not None and not USES[use].angled:
            raise refuse(
                f"{name} is given for use {use}",
                "leave it out; only bevel and miter_gauge have an angle",
                value=value,
                column=name,
            )
    if angle_deg is not None and not 0 <= angle_deg <= 89:
        raise refuse(
            f"angle_deg is {angle_deg:g}",
            "give the bevel from the upright, or the miter from the square cut: 0 to 89",
            value=angle_deg,
            column="angle_deg",
        )
    if sides is None:
        return float(angle_deg or 0.0)
    if not sides >= 3 or int(sides) != sides:
        raise refuse(f"a frame of {sides} sides", "give 3 or more", value=sides, column="sides")
    # As people write it: 25.71 for seven sides.
    if angle_deg is not None and abs(angle_deg - 180.0 / sides) > 0.01:
        raise refuse(
            f"{sides} sides are cut at {180.0 / sides:g} deg, and angle_deg is {angle_deg:g}",
            "give one of them, or check both",
            value=angle_deg,
            column="angle_deg",
        )
    return 180.0 / sides


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
    return (stand, USES[use].do, *([lean] if use == "riving_knife" else []))


def cut_text(use: str, cut: Estimate, end: str) -> str:
    """Return what the cut is off by and to which side; `end` is the one that signs speak of."""
    if not math.isfinite(cut.u):
        return f"not known: {BELOW}"
    text = f"{cut.text('deg')} {USES[use].off}, {end} "
    if cut.low <= 0 <= cut.high:
        return f"{text}to a side that is not established"
    return f"{text}{'toward' if cut.value > 0 else 'from'} the indicator"


def worst_text(worst: Estimate, low: float, high: float) -> str:
    """Return the error at the worst rotation, to whichever side."""
    if not math.isfinite(worst.value):
        return BELOW
    limits = between(low, high, worst.u)
    return f"{number(worst.value, worst.u)} deg to either side (95 %: {limits})"


def wood_text(
    unit: str | None,
    length: float,
    gap: Estimate | None,
    sides: int | None,
    joint_gap: Estimate | None,
) -> str:
    """Return what an error opens over the length cut, and at the last joint of a frame."""
    opens = f"{number(abs(gap.value), gap.u)} {unit}" if gap else "no cut at all"
    text = f"; over {length:.4g} {unit} that is {opens}"
    if sides is None:
        return text
    if joint_gap is None:
        return f"{text}, and the frame of {sides} sides does not close"
    opens = number(abs(joint_gap.value), joint_gap.u)
    return f"{text}, and the last joint of {sides} opens {opens} {unit}"
