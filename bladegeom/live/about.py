"""What is asked of a blade before its first reading: what must be known, what would tell more."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from bladegeom.columns import STATED
from bladegeom.faults import RefusedError, as_letters
from bladegeom.lengths import NumberError
from bladegeom.live.taken import Taken, begun
from bladegeom.tables.facts import check_unit


class _Fact(NamedTuple):
    """A thing to ask: its name, how it is asked, what it tells, and whether it must be said."""

    name: str
    asked: str
    tells: str
    must: bool = False


_FACTS = (
    _Fact("unit", "unit of the readings: mm, in, thou or um", "", must=True),
    _Fact("teeth", "how many teeth", "", must=True),
    _Fact("ring_radius", "ring radius, axis to stylus, like 4.5in", "for angles, to stop early"),
    _Fact("graduation", "finest step of the dial, like 0.5thou", "for the doubt"),
    _Fact("diameter", "diameter, like 10in", "for lengths along the rim"),
    _Fact(
        "numbered", "numbered clockwise or counterclockwise, seen from the dial", "for the chart"
    ),
    _Fact("name", "name of the blade", "for every page"),
)
"""In the order in which they are asked."""


class About:
    """What is stated of a blade, asked for a line at a time.

    Parameters
    ----------
    path : Path
        Of the file that is to come.
    stated : dict
        What is known: facts by name, with ``unit`` and ``name`` among them; None where not.
    """

    def __init__(self, path: Path, stated: Mapping[str, Any]) -> None:
        self._path = path
        self._known = {name: value for name, value in stated.items() if value is not None}
        self._left = [fact for fact in _FACTS if fact.name not in self._known]
        self._past: list[_Fact] = []
        self._asked: list[str] = []
        self.stopped = False
        if not any(fact.must for fact in self._left):
            self.begin()  # What is stated may be wrong: it is said before anything is asked.

    @property
    def ended(self) -> bool:
        """Whether nothing more is asked."""
        return self.stopped or not self._left

    waits = False
    """Whether only what is typed from now on is an answer; see `Session`."""

    @property
    def prompt(self) -> str:
        """What is asked now."""
        fact = self._left[0]
        return f"{fact.asked}: " if fact.must else f"{fact.asked} ({fact.tells}): "

    def opening(self) -> list[str]:
        """Return what is said before the first question."""
        return [] if self.ended else ["Enter leaves blank what is not known; u asks again."]

    def begin(self) -> Taken:
        """Return what is known of the blade, with no reading yet.

        Raises
        ------
        RefusedError
            If it cannot be true.
        """
        known = dict(self._known)
        return begun(self._path, known.pop("unit"), known.pop("name", ""), known)

    def take(self, line: str, *, typed: bool = True) -> list[str]:
        """Take a line of the keyboard, and return what is to be said."""
        text, fact = as_letters(line.strip()), self._left[0]
        if not typed:
            return ["no reading is asked for yet"]
        if text.lower() in _WORDS:
            return _WORDS[text.lower()](self)
        if not text and fact.must:
            return ["it must be known before the first reading"]
        before = self._known
        try:
            if text:
                self._known = {**before, fact.name: _READ.get(fact.name, _fact)(fact.name, text)}
            odd = self._odd() if {"unit", "teeth"} <= self._known.keys() else []
        except NumberError as error:
            self._known = before
            return [f"{error.problem}; {error.cure}"]
        except RefusedError as error:
            self._known = before
            return [f"{fault.problem}; {fault.cure}" for fault in error.faults]
        self._past.append(self._left.pop(0))
        new = [words for words in odd if words not in self._asked]
        self._asked = odd
        return [f"{words} (u asks again)" for words in new]

    def _odd(self) -> list[str]:
        """Return what is to be asked about unusual sizes."""
        return self.begin().readings().asked

    def _back(self) -> list[str]:
        if not self._past:
            return ["there is nothing to take back"]
        fact = self._past.pop()
        self._left.insert(0, fact)
        self._known = {name: one for name, one in self._known.items() if name != fact.name}
        return []

    def _quit(self) -> list[str]:
        self.stopped = True
        return []


def _fact(name: str, text: str) -> Any:
    return STATED[name].option_value(text)


def _unit(_: str, text: str) -> str:
    check_unit(text.lower())
    return text.lower()


_READ: dict[str, Callable[[str, str], Any]] = {"unit": _unit, "name": lambda _, text: text}
_WORDS: dict[str, Callable[[About], list[str]]] = {"u": About._back, "q": About._quit}
