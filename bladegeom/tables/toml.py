"""Text files that people write by hand (TOML): parts with keys, and every fault with its row."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, NamedTuple, NoReturn

from bladegeom.faults import Fault, RefusedError, unknown_name
from bladegeom.lengths import (
    MM_PER,
    WRITE_SEVERAL,
    NumberError,
    parse_length,
    parse_lengths,
    parse_number,
)

_KEPT = {"mm": ("mm", 1.0), "in": ("in", 1.0), "thou": ("in", 0.001), "um": ("mm", 0.001)}
"""Unit in the file -> the unit in which it is passed on, and how many of that it is."""

MOST, LONGEST_LINE = 1_000_000, 10_000
"""Letters of a file, and of one of its lines."""

Kind = Callable[[Any], Any]
"""Reads one value of a file, or raises NumberError."""


class Part(NamedTuple):
    """What a part of a file may say.

    Attributes
    ----------
    kinds : dict
        Key -> what reads its value.
    needed : tuple of str
        Keys that it cannot do without.
    several : bool
        Whether it may come several times: ``[[bevel]]``.
    called : dict, optional
        Key -> the name in the program of what it says, where they differ.
    read : tuple of str
        Keys of what is read anew each time. Such a part may hold what was read before as a part of
        its own, ``[slots.before]``; what that does not say is as in the part itself. One that
        needs some of them, and gives none, was not read yet, and needs nothing.
    """

    kinds: Mapping[str, Kind]
    needed: tuple[str, ...] = ()
    several: bool = False
    called: Mapping[str, str] | None = None
    read: tuple[str, ...] = ()

    @property
    def needs(self) -> tuple[str, ...]:
        """Keys of what is read anew that it cannot do without."""
        return tuple(key for key in self.needed if key in self.read)


Rows = Mapping[tuple[str, int], Mapping[str, int]]
"""Part, and which of that name -> its keys' rows, its own under ""."""


@dataclass(frozen=True)
class Section:
    """One part of a file, as it was read.

    Attributes
    ----------
    title : str
        As it stands in the file: ``slots``, ``test_cut.flip``, or ``bevel 2`` of several.
    values : dict
        Key -> value. A length is ``(value, unit)``, several are ``(list, unit)``, the unit mm or
        in; a tolerance may also have the unit deg.
    rows : dict
        Key -> row in the file, as far as it was found.
    row : int or None
        Where the part begins.
    called, several
        As of its `Part`.
    before : Section or None
        The same part as it was read before.
    read : tuple of str
        Keys that are given of those that are read anew each time.
    later : tuple of Section
        The same part as it was read later, by the file's log, the last one last.
    place : int
        Which one it is of all readings in the log, from 1; 0 where it is none of them.
    at : datetime
        When it was read, of those in the log.
    """

    title: str
    values: dict[str, Any]
    rows: dict[str, int] = field(default_factory=dict)
    row: int | None = None
    called: Mapping[str, str] = field(default_factory=dict)
    several: bool = False
    before: Section | None = None
    read: tuple[str, ...] = ()
    later: tuple[Section, ...] = ()
    place: int = 0
    at: datetime = datetime.min

    @property
    def head(self) -> str:
        """How it begins in the file, for messages."""
        if self.place:
            return f"[[log]] {self.title}"
        part, _, number = self.title.partition(" ")
        return f"[[{part}]] {number}".rstrip() if self.several else f"[{part}]"

    def get(self, key: str, otherwise: Any = None) -> Any:
        """Return a value, or what stands for one that is not given."""
        return self.values.get(key, otherwise)

    def given(self, *names: str) -> dict[str, Any]:
        """Return what is given as arguments, by their names in the program: all, or these."""
        named = {self.called.get(key, key): value for key, value in self.values.items()}
        return {name: value for name, value in named.items() if name in names or not names}

    def in_unit(self, unit: str) -> Section:
        """Return it with its lengths in mm or in, where they are told in the other."""

        def turned(value: Any) -> Any:
            if not (isinstance(value, tuple) and value[1] in MM_PER) or value[1] == unit:
                return value
            factor = MM_PER[value[1]] / MM_PER[unit]
            if isinstance(value[0], list):
                return [one * factor for one in value[0]], unit
            return value[0] * factor, unit

        values = {key: turned(value) for key, value in self.values.items()}
        return replace(self, values=values, before=self.before and self.before.in_unit(unit))

    def located(self, error: RefusedError) -> list[Fault]:
        """Return the faults of an error with the place in the file where they can be mended."""
        rows = {self.called.get(key, key): row for key, row in self.rows.items()} | self.rows

        def row_of(fault: Fault) -> int | None:
            return rows.get(fault.column or "", self.row)

        return [
            replace(one, problem=f"{self.head} {one.problem}", row=row_of(one))
            for one in error.faults
        ]


def load(text: str, name: str) -> dict[str, Any]:
    """Return what a text holds, or raise RefusedError where it is no TOML; `name` is its file's."""
    if max(len(text) - MOST, *(len(line) - LONGEST_LINE for line in text.splitlines() or [""])) > 0:
        problem = f"{name} is no such file: it has more letters than anybody writes by hand"
        cure = f"give a text of {MOST} letters at most, and of {LONGEST_LINE} a line"
        raise RefusedError(Fault(problem, cure, value=str(len(text))))
    try:
        return tomllib.loads(text)
    except RecursionError:
        problem = f"{name} is not in order: brackets stand within brackets without end"
        raise RefusedError(Fault(problem, "close each bracket before the next opens")) from None
    except ValueError as error:  # No TOML, or a number that is none.
        raise RefusedError(_not_toml(error, text, name)) from None


def read_parts(
    held: Mapping[str, Any], rows: Rows, parts: Mapping[str, Part]
) -> tuple[dict[str, list[Section]], list[Fault]]:
    """Return the sections of a file that are in order, by part, and everything that is wrong.

    `held` and `rows` are from `load` and `rows_of`; `parts` says what may stand in it,
    ``test_cut.flip`` being a part of a part.
    """
    faults: list[Fault] = []
    read: dict[str, list[Section]] = {}
    for part, value in _flat(held, parts).items():
        row = rows.get((part, 0), {}).get("")
        if part not in parts:
            faults.append(unknown_name(part, parts, "part", row=row))
            continue
        several = isinstance(value, list)
        if several and not parts[part].several:
            faults.append(Fault(f"[[{part}]] can come only once", f"write [{part}]", row=row))
            continue
        sections = value if several else [value]
        for place, one in enumerate(sections):
            title = f"{part} {place + 1}" if len(sections) > 1 else part
            here = rows.get((part, place), {})
            start = here.get("")
            if not isinstance(one, dict):
                cure = f"begin a part of its own: [{part}]"
                faults.append(Fault(f"{part} is {one!r}", cure, row=start, value=str(one)))
                continue
            section = section_of(title, one, parts[part], here)
            before = one.get("before") if parts[part].read else None
            wrong = fill(section, one, parts[part])
            if before is not None and not wrong:
                here = rows.get((f"{part}.before", place), {})
                section, wrong = _with_before(section, before, parts[part], here)
            faults += wrong
            if not wrong:
                read.setdefault(part, []).append(section)
    return read, faults


def section_of(title: str, held: Mapping[str, Any], part: Part, rows: Mapping[str, int]) -> Section:
    """Return a section without its values; `rows` has its own under no key."""
    keys = {key: row for key, row in rows.items() if key}
    read = tuple(key for key in part.read if key in held)
    return Section(title, {}, keys, rows.get(""), part.called or {}, part.several, read=read)


def _with_before(
    section: Section, earlier: Any, part: Part, rows: Mapping[str, int]
) -> tuple[Section, list[Fault]]:
    """Return a section with what was read before, and what is wrong in that."""
    rows = {"": section.rows.get("before", section.row or 0), **rows}
    title = f"{section.title.partition(' ')[0]}.before"
    if not isinstance(earlier, dict):
        cure = f"begin a part of its own: [{title}]"
        return section, [Fault(f"{title} is {earlier!r}", cure, row=rows[""], value=str(earlier))]
    # What is read anew is as it says itself; the rest is as in the part.
    needed = part.needs or section.read[:1]
    if any(key in part.read for key in earlier):
        needed = tuple(key for key in needed if key in part.needed)
    whole = part._replace(needed=needed, several=False, read=())
    before = section_of(title, earlier, whole, rows)
    wrong = fill(before, earlier, whole)
    return replace(section, before=otherwise_as(section, part, before)), wrong


def otherwise_as(section: Section, part: Part, read: Section) -> Section:
    """Return what was read of a part at another time: the rest of it is as in the part itself."""
    kept = {key: one for key, one in section.values.items() if key not in part.read}
    return replace(read, values=kept | read.values, rows=section.rows | read.rows)


def _flat(held: Mapping[str, Any], parts: Mapping[str, Part]) -> dict[str, Any]:
    """Return the parts by name, those of a part one by one."""
    flat: dict[str, Any] = {}
    for part, value in held.items():
        if isinstance(value, dict) and any(known.startswith(f"{part}.") for known in parts):
            flat |= {f"{part}.{name}": one for name, one in value.items()}
        else:
            flat[part] = value
    return flat


def fill(section: Section, held: Mapping[str, Any], part: Part) -> list[Fault]:
    """Read what a section holds into its values, and return everything that is wrong with it."""
    faults = []
    unread = part.needs and not any(key in held for key in part.read)
    head = section.head
    for key, value in held.items():
        row = section.rows.get(key, section.row)
        if key == "before" and part.read:
            continue
        if key not in part.kinds:
            what = f"key in {head.partition(' ')[0]}"
            known = [*part.kinds, *(["before"] if part.read else [])]
            faults.append(unknown_name(key, known, what, row=row))
            continue
        try:
            section.values[key] = part.kinds[key](value)
        except NumberError as error:
            problem = f"{head} {key}: {error.problem}"
            faults.append(Fault(problem, error.cure, row=row, column=key, value=str(value)))
    faults += [
        Fault(f"{head} says no {key}", f"add {key} = ...", row=section.row, column=key)
        for key in (() if unread else part.needed)
        if key not in held
    ]
    return faults


def _not_toml(error: ValueError, text: str, name: str) -> Fault:
    """Return the fault of a file that is no TOML, with its row."""
    said = str(error)
    match = re.search(r"\(at line (\d+), column \d+\)", said)
    row = int(match[1]) if match else len(text.splitlines())
    problem = re.sub(r"\s*\(at .*\)", "", said)
    cure = 'check the quotes, brackets and equals signs there; lengths stand in quotes, "8 in"'
    return Fault(f"{name} is not in order: {problem}", cure, row=row)


def rows_of(text: str) -> dict[tuple[str, int], dict[str, int]]:
    """Return the rows of the keys of each part, itself under "": (part, which of them) -> rows.

    What stands above all parts, and is thus a part without keys, is the first of its name.
    """
    rows: dict[tuple[str, int], dict[str, int]] = {}
    times: Counter[str] = Counter()
    here: dict[str, int] | None = None
    for row, line in enumerate(text.splitlines(), start=1):
        if match := re.match(r"\s*\[\[?\s*([\w.-]+)\s*\]", line):
            part = match[1]
            # What was read before belongs to the last one of the part.
            whole = part.removesuffix(".before")
            place = times[part] if whole == part else times[whole] - 1
            here = rows.setdefault((part, place), {"": row})
            times[part] += 1
        elif match := re.match(r"\s*([\w-]+)\s*=", line):
            if here is None:
                rows.setdefault((match[1], 0), {"": row})
            else:
                here.setdefault(match[1], row)
    return rows


def wrong(problem: str, cure: str) -> NoReturn:
    """Raise the error of a value that cannot be read."""
    raise NumberError(problem, cure)


def text(value: Any) -> str:
    """Return a text of the file, or raise NumberError."""
    if not isinstance(value, str) or not value.strip():
        wrong(f"{value!r} is no text", 'write it in quotes, "like this"')
    return value.strip()


def one_of(*choices: str) -> Kind:
    """Return what reads one of some words, or raises NumberError."""

    def read(value: Any) -> str:
        if value not in choices:
            wrong(f"{value!r} is not known", f"write {' or '.join(choices)}, in quotes")
        return str(value)

    return read


def whole(value: Any) -> int:
    """Return a whole number, or raise NumberError."""
    if not isinstance(value, int) or isinstance(value, bool):
        wrong(f"{value!r} is no whole number", "write a whole number without quotes")
    return value


def angle(value: Any) -> float:
    """Return degrees, or raise NumberError."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return _number(repr(value))
    if isinstance(value, str) and (match := re.fullmatch(r"(.*?)\s*deg", value.strip())):
        return _number(match[1])
    return wrong(f"{value!r} is no angle", 'write degrees: 45, or "45 deg"')


def _number(text: str) -> float:
    number = parse_number(text)
    if number is None:
        wrong("no number", "write one")
    return number


def length(value: Any) -> tuple[float, str]:
    """Return a length with its unit, mm or in, or raise NumberError."""
    if not isinstance(value, str):
        wrong(f"{value!r} has no unit", 'write the unit behind it, in quotes: "8 in", "200 mm"')
    number, unit = parse_length(value)
    named, per = _KEPT[unit]
    return (number if per == 1.0 else number * per), named


def lengths(value: Any) -> tuple[list[float], str]:
    """Return several lengths with their unit, mm or in, or raise NumberError."""
    if not isinstance(value, str):
        wrong(f"{value!r} has no unit", WRITE_SEVERAL)
    read, unit = parse_lengths(value)
    if None in read:
        wrong("no number", "write one")
    named, per = _KEPT[unit]
    return [one if per == 1.0 else one * per for one in read if one is not None], named
