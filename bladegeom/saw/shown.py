"""What an instrument showed of a part: a square's gap, degrees, or a dial at both of its ends."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple, NoReturn

import numpy as np

from bladegeom.estimate import Estimate
from bladegeom.faults import RefusedError, refuse, unknown_name
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import LARGEST, NumberError, parse_number, plain_number
from bladegeom.saw._gauge import Gauge, gauge_of, known_gauge
from bladegeom.saw._measure import (
    SIDES,
    Floats,
    Plane,
    angle_over,
    difference_of,
    mean_of,
    named_side,
    needed,
    one_of,
    side_needed,
    side_of,
    taken,
)

_SHOWS, _GAP = "shows resolution accuracy", "gap open side graduation repeatability"
KEYS = {
    "table": f"{_SHOWS} toward folds {_GAP} height",
    "bevel": f"{_SHOWS} from {_GAP} height",
    "miter_gauge": f"against {_SHOWS} toward {_GAP} length",
    "riving_knife": f"{_SHOWS} toward {_GAP} length front back separation",
}
"""Use -> what may be told of a reading, in the saw's file and in `setting_error`."""

_WITH = {
    "gap": "open height length side graduation repeatability accuracy against",
    "shows": "resolution repeatability toward side folds from accuracy against",
    "front": "back separation side graduation repeatability accuracy",
}
"""What was read -> what goes with it."""

_HELD = ("from", "height", "length", "separation")
ALONE = frozenset(
    ["resolution", "accuracy", "graduation", "repeatability", "against", "folds", *_HELD]
)
"""What tells of the instrument and how it is held, and may stand where nothing was read."""

_MEANT = {
    "height": 'the height over which the square stands beside the plate, such as "100 mm"',
    "length": 'the length over which the gap opens, such as "100 mm"',
    "open": "{}: the end at which the gap is open",
    "side": "left or right: the side of the blade on which the instrument stood",
    "toward": "left or right: the side toward which {}",
    "resolution": "the finest step that it shows, in degrees",
    "from": '"upright" or "table": from where its degrees are counted',
    "front": "what the indicator showed at the front end of the knife",
    "back": "what it showed at the back end",
    "separation": 'how far it was slid from the one to the other, such as "80 mm"',
}
_ENDS = {"table": ("top", "bottom"), "bevel": ("top", "bottom")}
"""Ends of a gap; front and back where it lies level."""

_STANDS = {
    "table": "the top of the blade leans",
    "miter_gauge": "the front end of plate or bar leans off the gauge's square",
    "riving_knife": "the back end of the knife stands",
}
_MOST_DEG = 5.0
"""No part is left farther from where it is to be: what shows more is something else."""

_FOLDED = (
    "many displays fold at 90 and show as much for a lean to the other side. Take a square, or "
    'look again: tilt the top a little to the {0}. Where the number falls, write toward = "{0}"; '
    'where it grows, write toward = "{1}". For a display that goes on beyond 90 write folds = false'
)
"""What to do; a blade that stands at its upright stop is free only to the side to which it tilts.
"""


class Shown(NamedTuple):
    """What was shown.

    Attributes
    ----------
    read : Plane
        The readings: a level line, or one through those at both ends.
    lean_of : callable
        What makes the lean of them.
    words : str
    against : str
        ``plate``; or what is free of wobble: ``bar``, in its slot, or ``slot``.
    over : (float, str), optional
        The length over which it was read.
    """

    read: Plane
    lean_of: Callable[[Plane], Estimate]
    words: str
    against: str
    over: tuple[float, str] | None

    @property
    def lean(self) -> Estimate:
        """In degrees, positive where what stands off does so toward the indicator's side.

        That is the top (table, bevel), the front end of plate or bar (miter gauge) or the back end
        of the knife.
        """
        return self.lean_of(self.read)


def degrees(what: str, given: object) -> float:
    """Return degrees, given as a number, ``"45 deg"`` or ``(45, "deg")``."""
    value: object = given
    if isinstance(given, str):
        try:
            value = parse_number(given.strip().removesuffix("deg"))
        except NumberError:
            value = None
    elif isinstance(given, tuple) and given[1:] == ("deg",):
        value = given[0]
    number = plain_number(value)
    if number is None or not abs(number) <= LARGEST:
        cure = 'give degrees: 45, or "45 deg"'
        raise refuse(f"{what} is {given}", cure, value=given, column=what)
    return number


def _each_degrees(what: str, given: object) -> list[float]:
    """Return degrees that were read once, or several times: ``"0.05 0.10 deg"``."""
    each: object = given
    if isinstance(given, str):
        each = given.strip().removesuffix("deg").split()
    elif isinstance(given, tuple) and given[1:] == ("deg",):
        each = given[0]
    if not isinstance(each, (list, tuple, np.ndarray)) or not len(each):
        each = [given]
    return [degrees(what, one) for one in each]


def above_0_deg(what: str, given: object) -> float | None:
    """Return degrees above 0, or None where none are given."""
    value = None if given is None else degrees(what, given)
    if value is not None and not 0 < value < 90:
        raise refuse(f"{what} is {value:g} deg", "give degrees above 0", value=value, column=what)
    return value


def read_as(
    use: str, shown: Mapping[str, Any], fit: WobbleFit, *, angle: float, tilts: str | None
) -> Shown:
    """Return what was shown of a part that is set from the plate.

    Parameters
    ----------
    use : str
    shown : mapping
        As in the part of the saw's file of that name; `KEYS` holds what it may say.
    fit : WobbleFit
        Of the blade: on which side of it the indicator stood, and how well that repeats.
    angle : float
        Of bevel or miter, in degrees.
    tilts : str or None
        The way the top of the blade goes for a bevel.

    Raises
    ------
    RefusedError
    """
    if use not in KEYS:
        raise refuse(f"shown is given for use {use}", "read the fence along the slot", column="use")
    known = KEYS[use].split()
    if not isinstance(shown, Mapping):
        cure = 'give what was read by its names: {"shows": 0, "resolution": 0.05}'
        raise refuse(f"shown is {shown!r}", cure, column="shown")
    for key in map(str, shown):
        if key not in known:
            raise RefusedError(unknown_name(key, known, f"key of what was shown of the {use}"))
    if shown.get("folds") not in (None, True, False):
        raise refuse(f"folds is {shown['folds']!r}", "give True or False", column="folds")
    given = {key: value for key, value in shown.items() if value is not None}
    what = {"back": "front"}
    read = sorted({what.get(one, one) for one in given if what.get(one, one) in _WITH})
    if len(read) != 1:
        said = f"{' and '.join(read)} are both given" if read else "nothing that was read is given"
        raise refuse(said, f"give one of {', '.join(one for one in _WITH if one in known)}")
    for key in given:
        if key != read[0] and key not in _WITH[read[0]].split():
            raise refuse(f"{key} does not go with {read[0]}", "leave it out", column=key)
    one_of("against", given.setdefault("against", "plate"), ("plate", "bar"))
    for key in ("side", "toward"):
        if key in given:
            one_of(key, given[key], SIDES)
    reader = _Reader(use, given, fit, angle, tilts)
    made = {"gap": reader.gap, "shows": reader.shows, "front": reader.dial}[read[0]]()
    if not abs(made.lean.value) <= _MOST_DEG:
        reader.too_far(made.lean.value, read[0])
    return made


class _Reader(NamedTuple):
    """Reads what was given."""

    use: str
    given: dict[str, Any]
    fit: WobbleFit
    angle: float
    tilts: str | None

    @property
    def ends(self) -> tuple[str, str]:
        return _ENDS.get(self.use, ("front", "back"))

    def asked(self, key: str, where: str) -> Any:
        """Return what must be given, or ask for it by its name."""
        if key in self.given:
            return self.given[key]
        words = _MEANT[key].format({"open": " or ".join(self.ends)}.get(key, _STANDS.get(self.use)))
        raise refuse(f"{where} is given without {key}", f"add {key}, {words}", column=where)

    def sign(self, side: str) -> float:
        """Return 1 for the indicator's side of the blade, and -1 for the other."""
        its = side_needed(side_of(self.fit), f"the {self.use} that was read")
        return 1.0 if its == side else -1.0

    def accuracy(self, over: tuple[float, str] | None = None) -> Estimate:
        """Return the doubt of an instrument that is right to so much: degrees, or over a length."""
        stated = self.given.get("accuracy", 0.0)
        text = stated if isinstance(stated, str) else ""
        in_degrees = not isinstance(stated, tuple | list | str) or text.strip().endswith("deg")
        if in_degrees or (isinstance(stated, tuple | list) and stated[-1] == "deg"):
            value = degrees("accuracy", stated)
        elif over is None:
            raise refuse("accuracy is no angle", 'give degrees, "0.1 deg"', column="accuracy")
        else:
            value = math.degrees(math.atan(needed(over[1], "accuracy", stated) / over[0]))
        if not 0 <= value < 90:
            raise refuse(f"accuracy is {value:g}", "give degrees above 0", column="accuracy")
        return Estimate(0.0, value / math.sqrt(3))

    def gauge(self, unit: str, *read: Floats, fit: WobbleFit | None = None) -> Gauge:
        """Return how well the gauge of a gap, or a dial, repeats."""
        graduation, repeatability = map(self.given.get, ("graduation", "repeatability"))
        return gauge_of(unit, graduation, repeatability, *read, fit=fit)

    def shown(
        self,
        read: Plane,
        lean_of: Callable[[Plane], Estimate],
        words: str,
        over: tuple[float, str] | None = None,
    ) -> Shown:
        # How true the instrument is goes into the doubt only where it is stated.
        words += "" if "accuracy" in self.given else ", accuracy not stated"
        return Shown(read, lean_of, words, self.given["against"], over)

    def gap(self) -> Shown:
        """Read a square or straightedge, beside which a gap opens at one end."""
        (gaps,), unit = taken({"gap": self.given["gap"]}, signed=False)
        key = "height" if self.use in _ENDS else "length"
        over = needed(unit, key, self.asked(key, "gap"))
        mean, level = mean_of(gaps, self.gauge(unit, gaps))
        way = 1.0
        words = f"no gap over {over:g} {unit}"
        if mean.value:
            end, side = self.asked("open", "gap"), self.asked("side", "gap")
            one_of("open", end, self.ends)
            # That end stands away from the square; signs speak of the knife's back end, and of the
            # first end of all others.
            away = end == self.ends[1 if self.use == "riving_knife" else 0]
            way = self.sign(side) * (-1.0 if away else 1.0)
            what = "straightedge" if self.use == "riving_knife" else "square"
            words = f"a gap of {abs(mean.value):.4g} {unit} at the {end} over {over:g} {unit}, "
            words += f"{what} on the {side}"
        accuracy = self.accuracy((over, unit))

        def lean(read: Plane) -> Estimate:
            return angle_over(read.at(read.centre).times(way), over).plus(accuracy)

        return self.shown(level, lean, words, (over, unit))

    def dial(self) -> Shown:
        """Read an indicator that rides in a slot, at both ends of the knife."""
        ends = {key: self.asked(key, "back" if key == "front" else "front") for key in self.ends}
        (front, back), unit = taken(ends)
        apart = needed(unit, "separation", self.asked("separation", "front"))
        side = self.asked("side", "front")
        nearer, line = difference_of(back, front, self.gauge(unit, back, front, fit=self.fit))
        sign, accuracy = self.sign(side), self.accuracy()

        def lean(read: Plane) -> Estimate:
            return angle_over(read.rise([1.0]).times(sign), apart).plus(accuracy)

        words = f"the dial {'grows' if nearer.value > 0 else 'falls'} by {abs(nearer.value):.4g} "
        words += f"{unit} from front to back over {apart:g} {unit}, indicator on the {side}"
        return self.shown(line, lean, words, (apart, unit))._replace(against="slot")

    def shows(self) -> Shown:
        """Read degrees, once or several times."""
        numbers = _each_degrees("shows", self.given["shows"])
        step = above_0_deg("resolution", self.asked("resolution", "shows"))
        stated = above_0_deg("repeatability", self.given.get("repeatability"))
        told = [self._replace(given=self.given | {"shows": one})._lean(one) for one in numbers]
        accuracy = self.accuracy()

        def lean(read: Plane) -> Estimate:
            return read.at(read.centre).plus(accuracy)

        leans = np.array([one for one, _ in told])
        _, level = mean_of(leans, known_gauge("deg", step, stated))
        said = " ".join(f"{one:g}" for one in numbers)
        return self.shown(level, lean, f"{said} deg{told[0][1]}, in steps of {step:g} deg")

    def _lean(self, number: float) -> tuple[float, str]:
        """Return the lean that a number of degrees means, and in words from where it counts."""
        if number < 0:
            cure = f"write {-number:g}"
            if "toward" in KEYS[self.use].split():
                cure += f" and toward, left or right: the side toward which {_STANDS[self.use]}"
            self._wrong(f"shows is {number:g}, and a sign tells no side", cure)
        if number > 180:
            self._wrong(f"shows is {number:g}", "give degrees from 0 to 180")
        if self.use == "bevel":
            return self._bevel(number)
        if "toward" in self.given:
            return self._toward(number)
        if "side" in self.given:
            return self._corner(number)
        if number == 0 or (self.use != "riving_knife" and abs(number - 90) == self.angle):
            return 0.0, ""
        return self._no_side(number)

    def _bevel(self, number: float) -> tuple[float, str]:
        if "side" in self.given:
            cure = "leave it out: the blade leans the way it tilts for a bevel"
            raise refuse("side does not go with the degrees of a bevel", cure, column="side")
        start = self.asked("from", "shows")
        one_of("from", start, ("upright", "table"))
        lean = number if start == "upright" else abs(90.0 - number)
        off = lean - self.angle
        return off and self.sign(self.tilts or "") * off, f" from the {start}"

    def _toward(self, number: float) -> tuple[float, str]:
        toward = self.given["toward"]
        of_box = self.use == "table" and 45 < number < 135
        lean = abs(90.0 - number) if of_box else number
        box = self.given.get("side")
        if box is not None and (not of_box or (number > 90 and box != toward)):
            self._wrong(
                f"shows is {number:g}, side is {box} and toward is {toward}, which is no lean",
                "give side for an angle box, turned from the table to the plate; a box that shows "
                "more than 90 leans toward its own side",
            )
        start = " from the table" if of_box else ""
        if not lean:
            return 0.0, start
        return self.sign(toward) * lean, f"{start} toward the {toward}"

    def _corner(self, number: float) -> tuple[float, str]:
        """Read what stands between table and plate, or between the gauge's fence and plate or bar.

        It is more than 90 where the plate leans toward the side on which it stood.
        """
        side = self.given["side"]
        if self.use == "riving_knife" or number < 45 - self.angle:
            self._wrong(
                f"shows is {number:g}, and side does not tell which way that is",
                f"write toward, left or right: the side toward which {_STANDS[self.use]}",
            )
        nominal = min((90.0 - self.angle, 90.0 + self.angle), key=lambda one: abs(one - number))
        lean, folds = number - nominal, self.given.get("folds")
        if self.use == "table" and 90 - _MOST_DEG <= number != 90 and folds is not False:
            if folds and number > 90:
                self._wrong(
                    f"shows is {number:g}, and a display that folds at 90 shows no more",
                    "write folds = false",
                )
            if number < 90:
                problem = f"shows is {number:g}: this does not tell to which side the blade leans"
                free = self.tilts or "left"
                self._wrong(problem, _FOLDED.format(free, named_side(free, False)))
        sign = self.sign(side) if lean else 1.0
        if self.use == "table":
            return sign * lean, f" from table to plate, box on the {side}"
        return (
            sign * lean,
            f" between fence of the gauge and {self.given['against']}, on the {side}",
        )

    def _no_side(self, number: float) -> NoReturn:
        cure = f"write toward, left or right: the side toward which {_STANDS[self.use]}"
        if self.use == "table" and number > 45:
            cure = "write side, left or right, on which the angle box sat: it turns from the table "
            cure += "to the plate 90 deg and the lean toward its own side"
        elif self.use == "miter_gauge" and number > _MOST_DEG:
            cure = "write side, left or right: on which the corner between the gauge's fence and "
            cure += "plate or bar was read"
        off = min(number, abs(90.0 - number)) if self.use == "table" else number
        if off > _MOST_DEG and self.use != "miter_gauge":
            self.too_far(off, "shows")
        self._wrong(f"shows is {number:g} without a side", cure)

    def too_far(self, lean: float, key: str) -> NoReturn:
        """Refuse what no part is off by, with what it seems to be."""
        said = f"{key} is {self.given[key]}" if key == "shows" else f"{key} is given"
        said = f"{said}: that is {abs(lean):.3g} deg off, and no part is set so far off"
        if self.use == "table":
            cure = "stand the blade upright; a blade that leans for a bevel belongs in [[bevel]]"
        elif self.use == "bevel" and key == "shows":
            number = _each_degrees("shows", self.given["shows"])[0]
            start, other = self.given["from"], abs(90.0 - number)
            said = f"shows is {number:g} from the {start}: that is no bevel of {self.angle:g} deg"
            cure = "check shows and angle"
            if start == "upright" and abs(other - self.angle) <= _MOST_DEG:
                cure = f'counted from the table it is {other:g}: write from = "table"'
            elif start == "table" and abs(number - self.angle) <= _MOST_DEG:
                cure = 'write from = "upright", if it is counted from there'
        elif self.use == "miter_gauge" and "toward" in self.given:
            cure = "write side instead of toward, if it is the corner between fence and plate or "
            cure += "bar: left or right, where it was read"
        else:
            cure = "check the number, and its unit"
        self._wrong(said, cure, key)

    def _wrong(self, problem: str, cure: str, key: str = "shows") -> NoReturn:
        raise refuse(problem, cure, value=self.given[key], column=key)
