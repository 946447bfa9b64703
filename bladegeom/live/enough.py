"""Whether the teeth that are read are enough to mark by, and what stopping leaves unknown.

What marking leaves out of square has a 95 % limit (`NeutralLine.left_most_deg`): the tilt at its
upper limit, times the sine of the farthest that the line through the marks may lie from the neutral
line. Two limits are taken at once and only one side of the tilt counts, so that it holds more often
than it says; the benchmark shows that this pays for looking after every reading.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from bladegeom.faults import RefusedError
from bladegeom.fit.ends import ends_of, farthest_off
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.marks import Mark, NeutralLine, neutral_line, sentence
from bladegeom.fit.wobble import WobbleFit
from bladegeom.live.doubtful import FIRST, questioned
from bladegeom.readings import Readings, ended_words
from bladegeom.result import number

WANTED_DEG = 0.005
"""What may be left out of square where nothing else is stated."""

_SPACING = 1.5
"""So many times what the spacing of the teeth leaves anyway is as good as can be had."""


@dataclass(frozen=True)
class Enough:
    """What would be left if the teeth that are named now were marked.

    Attributes
    ----------
    enough : bool
        Whether that is as little as is wanted, and nothing speaks against it.
    read, teeth : int
        How many teeth are read, and how many there are.
    fit, marks : WobbleFit, NeutralLine or None
        None while too few teeth are read for a wobble.
    left_most_deg : float or None
        95 % limit of what would be left out of square: whichever of the teeth that will do is
        marked, or at any rotation where none is named. None without a ring radius.
    wanted_deg : float or None
        The limit at which it is enough. None where no degrees can be told: then it is enough when
        the line through the marks is as near to the neutral line as the spacing of the teeth lets
        it be, one and a half times.
    words : str
        All this in a line.
    unknown : str
        What stopping now leaves unknown; empty once every tooth is read.
    """

    enough: bool
    read: int
    teeth: int
    fit: WobbleFit | None
    marks: NeutralLine | None
    left_most_deg: float | None
    wanted_deg: float | None
    words: str
    unknown: str


def enough(
    readings: Readings, wanted_deg: float | None = None, kept: Collection[int] = ()
) -> Enough:
    """Return whether the readings so far are enough to mark by.

    Never before the eighth, nor while one is doubtful or a mistake seems likely.

    Parameters
    ----------
    readings : Readings
        In the order in which they were taken.
    wanted_deg : float, optional
        The squareness error that may be left; if not given, 0.005 degrees or one and a half times
        what the spacing of the teeth leaves anyway, whichever is more.
    kept : collection of int, optional
        Teeth whose reading stands, as for `questioned`.
    """
    read, teeth = len(np.unique(readings.tooth)), readings.blade.teeth
    count = f"; {read} of {teeth} read"
    unknown = "" if read == teeth else sentence(ended_words(read, teeth))
    try:
        fit = fit_wobble(readings)
    except RefusedError:
        words = f"the teeth read so far tell no wobble{count}"
        return Enough(False, read, teeth, None, None, None, wanted_deg, words, unknown)
    marks = neutral_line(fit)
    most = marks.left_most_deg if marks.neutral else marks.worst_deg
    wanted = wanted_deg
    if wanted is None and fit.tilt_deg is not None:
        wanted = wanted_of(fit.tilt_deg, teeth if marks.neutral else None)
    apart = _apart(fit) if marks.neutral else math.inf
    if most is not None and wanted is not None:
        within, told = most <= wanted, f"at most {number(most, most)} deg left"
        short = f"{told}, {number(wanted, wanted)} wanted"
    else:
        within = wanted is None and bool(marks.neutral) and _as_near_as_can_be(fit, apart)
        told = short = f"at most {apart:.2g} deg of blade from the neutral line"
        if marks.neutral is None:
            told = short = "without a ring radius nothing tells how far out of square that may be"
    within = within and read >= min(FIRST, teeth)
    against = _against(readings, fit, kept) if within else ""
    if done := within and not against:
        words = f"{_named(marks) or 'any rotation'} will do: {told}{count}"
    else:
        so_far = " so far" if marks.neutral and read < teeth else ""
        words = f"{_named(marks) or 'no direction is established'}{so_far}: {short}{count}"
        words += f", but {against}" if against else ""
    return Enough(done, read, teeth, fit, marks, most, wanted, words, unknown)


def wanted_of(tilt_deg: float, teeth: int | None) -> float:
    """Return the limit at which it is enough; of no teeth where none are named."""
    spacing = 0.0 if teeth is None else tilt_deg * math.sin(math.pi / teeth)
    return max(WANTED_DEG, _SPACING * spacing)


def _apart(fit: WobbleFit) -> float:
    """Return how far from the neutral line the line through the marks may lie (95 %)."""
    ends = ends_of(fit.readings.blade.angles_deg, fit.near_deg)
    low, high, _ = fit.near_interval()
    return float(farthest_off(ends[1], ends[3], low - fit.near_deg, high - fit.near_deg))


def _as_near_as_can_be(fit: WobbleFit, apart_deg: float) -> bool:
    """Return whether the same rule holds with the tilt left out of both its sides."""
    _, high, _ = fit.amplitude_interval()
    left = high / fit.amplitude * math.sin(math.radians(min(apart_deg, 90.0)))
    return left <= _SPACING * math.sin(math.pi / fit.teeth)


def _against(readings: Readings, fit: WobbleFit, kept: Collection[int]) -> str:
    if questioned(readings, kept) is not None:
        return "a reading is doubtful"
    return "" if fit.mistake is None else "a mistake in the readings seems likely"


def _named(marks: NeutralLine) -> str:
    if marks.neutral is None:
        return ""
    first, second = map(_either, marks.neutral)
    comma = "," if "or" in first + second else ""
    return f"teeth {first}{comma} and {second}{comma}"


def _either(mark: Mark) -> str:
    both = [mark.tooth] if mark.other is None else sorted((mark.tooth, mark.other))
    return " or ".join(map(str, both))
