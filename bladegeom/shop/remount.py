"""Mounted anew: the old marks beside the new, and whether they still serve."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import product
from typing import Any

import numpy as np

from bladegeom.angles import wrap_180
from bladegeom.estimate import Estimate, Known, difference, verdict_of
from bladegeom.faults import Who, refuse
from bladegeom.fit.answer import Answer, answer_of
from bladegeom.fit.marks import NO_MATTER_DEG, NeutralLine, neutral_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import sd_toward
from bladegeom.kinds import checked
from bladegeom.readings import same_ring
from bladegeom.result import Result, derived, described, named, number, quantity
from bladegeom.shop.change import moved_by
from bladegeom.tables.blades import some_of
from bladegeom.wobble import Wobble

SERVE, SERVE_NOT, CANNOT_TELL = "serve", "do not serve", "cannot tell"
_VERDICTS = {"within": SERVE, "out": SERVE_NOT, "cannot tell": CANNOT_TELL}


@described
class Remounted(Result):
    """The marks of one blade before and after it was mounted anew.

    Nothing is said of how large the wobble was and is: see `change` for that.
    """

    now: Answer = quantity("all that is known of it as it is mounted now", key="")
    was: Answer = quantity("all that was known of it before", key="")
    tolerance_deg: float = quantity("the largest squareness error that does not matter")

    @derived("the blade's name, as text")
    def blade(self) -> str:
        return self.now.blade or self.was.blade

    @derived("whose blade it is; empty where not stated")
    def customer(self) -> str:
        return self.now.customer or self.was.customer

    @derived(
        "teeth that were marked: as their readings name them, none where a mistake seems likely or "
        "no direction is established",
        label="old marks",
        text=lambda one: _of_line(one.was.marks),
    )
    def old_teeth(self) -> list[int] | None:
        return _teeth(self.was.marks)

    @derived("teeth to mark now, none likewise", label="new marks", text=lambda one: one._new)
    def new_teeth(self) -> list[int] | None:
        return _teeth(self.now.marks)

    turned: Known | None = quantity(
        "by how much the near direction moved, positive as the tooth numbers grow, with 95 % "
        "limits; None where either is not established, or a mistake seems likely",
        key="near_moved",
        parts=("", "_low", "_high"),
        ending="_deg",
        label="near moved",
        text=lambda one: one._turned_words,
    )
    moved: Wobble | None = quantity(
        "by how much the plate stands otherwise: the change of its slope as a vector, in degrees; "
        "how probable so large a one is where there is none, and whether that is below 5 %",
        parts={
            "_deg": lambda moved: _degrees(moved.amplitude),
            "_p": lambda moved: math.nan if math.isnan(moved.amplitude_u) else moved.p_value,
            "_shown": lambda moved: moved.resolved,
        },
        label="plate moved",
        text=lambda one: one._moved_words,
    )
    left: Estimate | None = quantity(
        "squareness error that the old marks leave now, the first of them uppermost, whichever of "
        "those that would do was marked; positive when that end leans toward the indicator; None "
        "without old marks or ring radius, or where a mistake seems likely",
        key="old_left",
        unit="deg",
        label="old marks leave",
    )

    @derived(
        "serve where the whole of the 95 % limits of what they leave is within the tolerance, do "
        "not serve where none of it is, else cannot tell; none where nothing tells it"
    )
    def verdict(self) -> str | None:
        return None if self.left is None else _VERDICTS[verdict_of(self.left, self.tolerance_deg)]

    @derived("what the reader should know, a likely mistake first")
    def warnings(self) -> list[str]:
        return [*self._first(), *self._remarks()]

    @property
    def instructions(self) -> tuple[str, ...]:
        """What to do, in words."""
        old, new = self.old_teeth, self.new_teeth
        if self.doubted:
            return ("Leave the old marks, and make no new ones, before that is cleared up.",)
        if old is None:
            return ("The old readings name no teeth, so there are no old marks to judge.",)
        said = f"The old marks, teeth {old[0]} and {old[1]},"
        do = "Read another turn."
        if new is not None and set(new) != set(old):
            do = f"Wipe them off and mark teeth {new[0]} and {new[1]}."
        if self.left is None:
            return (f"{said} cannot be judged: without a ring radius there are no degrees.", do)
        sizes = abs(self.left.low), abs(self.left.high)
        least, most = (number(one, one) for one in (min(sizes), max(sizes)))
        accepted = f"(95 %); {self.tolerance_deg:g} deg is taken not to matter."
        if self.verdict == SERVE:
            return (f"{said} still serve: the plate stands within {most} deg of square {accepted}",)
        if self.verdict == SERVE_NOT:
            off = f"the plate stands at least {least} deg out of square"
            return (f"{said} serve no longer: {off} {accepted}", do)
        if not math.isfinite(sizes[1]):
            return (f"{said} cannot be judged: state the graduation of the dial.", do)
        off = f"the plate may stand up to {most} deg out of square"
        return (f"{said} cannot be told to serve: {off} {accepted}", do)

    @property
    def doubted(self) -> tuple[str, ...]:
        """The likely mistakes in either measurement, each with the one that it is in."""
        return tuple(
            f"{when}: {words}"
            for when, one in (("old readings", self.was), ("new readings", self.now))
            for words in one.fit.doubted
        )

    def _title(self) -> str:
        name = named(str(Who(self.blade, self.customer)))
        lines = [f"{name}, mounted anew", *(f"  {one}" for one in self.instructions)]
        return "\n".join(lines)

    def _first(self) -> Sequence[str]:
        asked = [f"old readings: {one}" for one in self.was.fit.asked]
        asked += [f"new readings: {one}" for one in self.now.fit.asked]
        return (*self.doubted, *asked)

    def _remarks(self) -> Sequence[str]:
        said = [f"old readings: {one}" for one in self.was.fit.rest]
        if self.moved is not None and self.moved.resolved:
            said.append(
                "the seat moved it: a blade that is mounted anew does not lie on its flange the "
                "same again. Dirt or a burr between them, another flange or arbor, or a plate bent "
                "since would look the same: clean both faces, mount the blade once more and read it"
            )
        elif self.moved is not None:
            said.append(
                "no movement is told apart from the doubt of the two readings; yet a blade that is "
                "mounted anew seldom seats itself the same, so marks hold for one mounting only"
            )
        rings = [one.fit.readings.ring_radius_mm for one in (self.was, self.now)]
        if None not in rings and not same_ring(*rings):
            said.append("the two were read at different rings: they are compared as angles")
        return [
            *said,
            "tooth 1 is taken to be the same tooth both times: if the teeth were numbered anew, "
            "only the new marks hold",
        ]

    @property
    def _new(self) -> str:
        return "any rotation will do" if self.now.any_rotation else _of_line(self.now.marks)

    @property
    def _turned_words(self) -> str:
        if self.turned is None:
            return ""
        with_them = self.turned.value > 0
        way = f"deg of blade {'with' if with_them else 'against'} the numbers"
        return self.turned.times(1.0 if with_them else -1.0).text(way)

    @property
    def _moved_words(self) -> str:
        if self.moved is None:
            return ""
        size = f"{number(_degrees(self.moved.amplitude), _degrees(self.moved.amplitude_u))} deg"
        return size if self.moved.resolved else f"{size}, not told apart from none"


def _teeth(marks: NeutralLine) -> list[int] | None:
    return None if marks.marked is None else [mark.tooth for mark in marks.marked]


def _of_line(marks: NeutralLine) -> str:
    if marks.marked is None or marks.near is None:
        why = "a mistake seems likely" if marks.mistake else "no direction is established"
        return f"none: {marks.withheld or why}"
    first, second = (mark.tooth for mark in marks.marked)
    return f"teeth {first} and {second}, near tooth {marks.near.tooth}"


def _degrees(slope: float) -> float:
    return math.degrees(math.atan(slope))


@checked
def remounted(now: WobbleFit, was: WobbleFit, *, tolerance_deg: float = NO_MATTER_DEG) -> Remounted:
    """Say whether marks that were made before a blade was mounted anew still serve.

    What the line through the old teeth leaves is the slope of the plate along it as it was read
    now, whose doubt is that of these readings alone. How far near moved puts together the limits of
    both directions.

    Parameters
    ----------
    now, was : WobbleFit
        Of the same blade, tooth 1 being the same tooth; the rings may differ.
    tolerance_deg : float
        The largest squareness error that does not matter.

    Returns
    -------
    Remounted

    Raises
    ------
    RefusedError
        If the two are of different blades, or were read in different ways.
    """
    _check_alike(now, was)
    if not 0 < tolerance_deg < 90:
        problem = f"the tolerance is {tolerance_deg:g} deg"
        raise refuse(problem, "give degrees above 0", value=tolerance_deg)
    new, old = (
        answer_of(one, neutral_line(one, tolerance_deg=tolerance_deg)) for one in (now, was)
    )
    turned = moved = left = None
    if now.mistake is None and was.mistake is None:
        if now.resolved and was.resolved:
            turned = _turned(now, was)
        if now.slope is not None and was.slope is not None:
            moved = moved_by(was.slope, now.slope, None, "mm")  # Slopes have no unit.
        if now.slope is not None and old.marks.marked is not None:
            left = _left(now.slope, old.marks)
    return Remounted(
        now=new, was=old, tolerance_deg=tolerance_deg, turned=turned, moved=moved, left=left
    )


def remounted_of(now: WobbleFit, old: Mapping[Who, WobbleFit], tolerance_deg: float) -> Remounted:
    """Return the same with the one of several old measurements that is of the blade."""
    name, customer = now.readings.blade.who
    may_be = [
        who
        for who in old
        if who.name == name and (not who.customer or not customer or who.customer == customer)
    ]
    may_be = [now.readings.blade.who] if now.readings.blade.who in old else may_be or [*old]
    if len(may_be) == 1:
        was = old[may_be[0]]
    else:
        raise refuse(
            f"the old readings hold no blade {name or 'without a name'}",
            f"give its old readings; these are of {some_of([str(who) for who in old]) or 'none'}",
            blade=name,
            column="blade",
        )
    return remounted(now, was, tolerance_deg=tolerance_deg)


def _check_alike(now: WobbleFit, was: WobbleFit) -> None:
    """Refuse measurements of different blades, or from different sides."""
    here, there = now.readings, was.readings
    compared: list[tuple[str, Any, Any, str]] = [
        ("blade", here.blade.name, there.blade.name, "give old readings of the same blade"),
        (
            "customer",
            here.blade.customer,
            there.blade.customer,
            "give old readings of the same one",
        ),
        ("teeth", here.blade.teeth, there.blade.teeth, "give old readings of the same blade"),
        ("numbered", here.blade.numbered, there.blade.numbered, "number it the same way round"),
        ("side", here.side, there.side, "read it from the same side both times"),
        ("surface", here.surface, there.surface, "read the same surface both times"),
    ]
    for column, new, old, cure in compared:
        if new and old and new != old:
            problem = f"{column} is {new} now and was {old}: the marks cannot be compared"
            raise refuse(problem, cure, value=new, blade=here.blade.name, column=column)
    if not np.allclose(here.blade.angles_deg, there.blade.angles_deg, rtol=0, atol=1e-6):
        raise refuse(
            "the teeth do not stand where those of the old readings do",
            "give old readings of the same blade, with the same pitch_pattern",
            blade=here.blade.name,
            column="pitch_pattern",
        )


def _turned(now: WobbleFit, was: WobbleFit) -> Known:
    """Return by how much the near direction moved, in degrees of blade."""
    ends = []
    for one in (now, was):
        low, high, _ = one.near_interval()
        ends.append(Known(one.near_deg, low=low, high=high))
    moved = difference(*ends)
    short = float(wrap_180(moved.value))
    by = short - moved.value
    return Known(short, low=moved.low + by, high=moved.high + by)


def _left(slope: Wobble, old: NeutralLine) -> Estimate:
    """Return what the line through the old teeth leaves, of those that would do the worst pair."""
    found = []
    choices = [[mark.tooth, mark.other or mark.tooth] for mark in old.marked or ()]
    for first, second in product(*choices):
        one, other = (math.radians(old.blade.angle_of(tooth)) for tooth in (first, second))
        # From the second tooth's tip up to the first's.
        along = math.atan2(math.sin(one) - math.sin(other), math.cos(one) - math.cos(other))
        value = slope.cosine * math.cos(along) + slope.sine * math.sin(along)
        u = sd_toward(math.degrees(along), slope.rounded_covariance)
        found.append(Estimate(_degrees(value), math.degrees(u / (1 + value**2)), slope.dof))
    return max(found, key=lambda one: abs(one.value) + one.reach)
