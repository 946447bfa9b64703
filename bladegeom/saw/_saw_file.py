"""A saw's own text file (TOML): what was measured while it was set up."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date as Date  # noqa: N812
from datetime import datetime
from pathlib import Path
from typing import Any

from bladegeom.faults import Fault, RefusedError, refuse, unknown_name
from bladegeom.saw.shown import KEYS
from bladegeom.tables.text import decode, read_bytes
from bladegeom.tables.toml import (
    Kind,
    Part,
    Rows,
    Section,
    angle,
    fill,
    length,
    lengths,
    load,
    one_of,
    otherwise_as,
    read_parts,
    rows_of,
    section_of,
    text,
    whole,
    wrong,
)


def day_of(moment: Date) -> Date:
    """Return the day of a day, or of a day with its time."""
    return moment.date() if isinstance(moment, datetime) else moment


def _date(value: Any) -> Date:
    if not isinstance(value, Date):
        wrong(f"{value!r} is no date", "write year, month and day without quotes: 2026-11-25")
    return day_of(value)


def _moment(value: Any) -> datetime:
    if not isinstance(value, datetime) or value.tzinfo is not None:
        cure = "write day and time by your own clock, without quotes: 2026-11-27T09:12:00"
        wrong(f"{value if isinstance(value, Date) else repr(value)} is no day and time", cure)
    return value


def _tolerance(value: Any) -> tuple[float, str]:
    """Return a length with its unit, or degrees with the unit deg."""
    if isinstance(value, str) and value.strip().endswith("deg"):
        number, unit = angle(value), "deg"
    else:
        number, unit = length(value)
    if number <= 0:
        wrong(f"{value!r} is not above 0", "give the largest error that you accept")
    return number, unit


def _accuracy(value: Any) -> tuple[float, str]:
    """Return degrees, with or without the unit, or the length of a square's error."""
    is_length = isinstance(value, str) and not value.strip().endswith("deg")
    number, unit = length(value) if is_length else (angle(value), "deg")
    if number < 0:
        wrong(f"{value!r} is below 0", "give how true the instrument is said to be, either way")
    return number, unit


def _truth(value: Any) -> bool:
    if not isinstance(value, bool):
        wrong(f"{value!r} is neither true nor false", "write true or false, without quotes")
    return value


def _angles(value: Any) -> float | list[float]:
    """Return degrees that were read once, or several times in one text: ``"0.05 0.10 deg"``."""
    several = value.split()[:-1] if isinstance(value, str) and value.endswith(" deg") else ()
    return [angle(f"{one} deg") for one in several] if len(several) > 1 else angle(value)


def _above_0_deg(value: Any) -> float:
    number = angle(value)
    if not 0 < number < 90:
        wrong(f"{value!r} is not above 0", "give degrees above 0")
    return number


_READ_BY: dict[Kind, str] = {
    text: "name notes facts readings",
    _date: "date",
    one_of("left", "right"): "tilts indicator side piece flipped toward",
    one_of("upright", "table"): "from",
    one_of("plate", "bar"): "against",
    _truth: "folds",
    _accuracy: "accuracy",
    one_of("table", "trunnion"): "moved",
    one_of("front", "back"): "pivot",
    one_of("table", "insert"): "screws",
    one_of("top", "bottom"): "open",
    whole: "tooth sides turns",
    angle: "angle",
    _angles: "shows",
    _above_0_deg: "resolution tolerance",
    length: "height separation end_float lever graduation repeatability span thickness width "
    "distance length pitch",
    lengths: "front back along first last gap x y screw_x screw_y",
}
"""What reads a value -> keys of the file, as they are meant in most of its parts."""

_KINDS = {key: kind for kind, keys in _READ_BY.items() for key in keys.split()}


def _part(
    keys: str, needed: str = "", *, read: str = "", several: bool = False, **own: Kind
) -> Part:
    """Return what a part may say, ``key:its_name_in_the_program``, and what it reads otherwise."""
    named = {key: name or key for key, _, name in (one.partition(":") for one in keys.split())}
    kinds = {key: own.get(key, _KINDS[key]) for key in named}
    return Part(kinds, tuple(needed.split()), several, named, tuple(read.split()))


_PLATE = "tooth tolerance span"
_SHOWN = "shows toward gap open side front back"
_LEVEL = one_of("front", "back")
_STRIP = "first last length turns piece graduation repeatability"

PARTS = {
    "saw": _part("name date tilts notes"),
    "blade": _part("readings facts name height", "readings"),
    "slots": _part(
        "indicator:side front back separation graduation repeatability end_float tolerance moved "
        "pivot lever",
        "front back separation",
        read="front back",
        tolerance=_tolerance,
    ),
    "table": _part(
        f"{_PLATE} thickness:span {KEYS['table']}", read=_SHOWN, repeatability=_accuracy
    ),
    "bevel": _part(
        f"{_PLATE} thickness:span angle sides {KEYS['bevel']}",
        "angle",
        read=_SHOWN,
        several=True,
        repeatability=_accuracy,
    ),
    "miter_gauge": _part(
        f"{_PLATE} width:span angle sides {KEYS['miter_gauge']}",
        read=_SHOWN,
        open=_LEVEL,
        repeatability=_accuracy,
    ),
    "riving_knife": _part(
        f"{_PLATE} distance:span {KEYS['riving_knife']}",
        read=_SHOWN,
        open=_LEVEL,
        repeatability=_accuracy,
    ),
    "fence": _part(
        "side:fence_side along readings graduation repeatability tolerance",
        "along readings",
        read="readings",
        readings=lengths,
        tolerance=_tolerance,
    ),
    "stop": _part(
        f"{_STRIP} name tolerance", "name first last length", read="first last", several=True
    ),
    "insert": _part(
        "x y height screw_x screw_y pitch screws graduation repeatability tolerance",
        "x y height",
        read="height",
        height=lengths,
        tolerance=length,
    ),
    "test_cut.flip": _part(
        "gap height open:open_at flipped graduation repeatability",
        "gap height open flipped",
        read="gap open",
    ),
    "test_cut.round": _part(_STRIP, "first last length", read="first last"),
    "test_cut.kerf": _part(
        "width:length graduation repeatability", "width", read="width", width=lengths
    ),
}
"""What may stand in the file."""


LOG = "log"
"""The part that holds what was read later, reading after reading."""

_ENTRY = Part({"at": _moment, "part": text}, ("at", "part"))


@dataclass(frozen=True)
class SawFile:
    """What the file of a saw holds."""

    path: Path
    parts: dict[str, list[Section]]
    """Name of a part -> its sections, one but for those that may come several times."""
    log: tuple[Section, ...] = ()
    """Every reading of the log, in the order of time."""

    def one(self, part: str) -> Section | None:
        """Return the section of a part that comes once, or None."""
        return self.parts[part][0] if part in self.parts else None

    def after(self, place: int) -> SawFile:
        """Return the file as it stood after so many readings of its log."""

        def then(section: Section) -> Section:
            return next((one for one in section.later[::-1] if one.place <= place), section)

        parts = {part: [*map(then, sections)] for part, sections in self.parts.items()}
        return replace(self, parts=parts)


def read_saw(path: str | os.PathLike[str], data: bytes | None = None) -> SawFile:
    """Read the file of a saw, or what is to be written into it; see `set_up`.

    Raises
    ------
    RefusedError
        Listing everything that is wrong in the file, with its row.
    """
    name = os.fspath(path)
    said = decode(read_bytes(path) if data is None else data, name)
    held, rows = load(said, name), rows_of(said)
    entries = held.pop(LOG, [])
    parts, faults = read_parts(held, rows, PARTS)
    log: tuple[Section, ...] = ()
    if not faults:
        log, faults = _log(entries, rows, parts)
    if not parts and not faults:
        known = ", ".join(f"[{one}]" for one in PARTS)
        cure = f"write down what was measured, part by part: {known}"
        faults.append(Fault(f"{name} says nothing of a saw", cure))
    if faults:
        raise RefusedError(faults)
    return SawFile(Path(path), parts, log)


def section_named(title: str, parts: Mapping[str, list[Section]]) -> Section:
    """Return the section of a part that a reading is of, ``slots`` or ``bevel 2`` of several.

    Raises
    ------
    RefusedError
        If there is no such part, or not said which of several.
    """
    part = title.partition(" ")[0]
    known = [one for one in PARTS if PARTS[one].read or PARTS[one].needed]
    if part not in known:
        fault = unknown_name(part, known, "part of the log")
        raise RefusedError(replace(fault, column="part"))
    several = PARTS[part].several
    sections = parts.get(part) or ([] if several else [Section(part, {})])
    titles = [one.title for one in sections]
    if not titles:
        cure = f"begin it with [[{part}]], and say what does not change: {PARTS[part].needed[0]}"
        raise refuse(f"the file holds no {part}", cure, column="part", value=title)
    if title not in titles:
        many = f"there are {len(titles)}" if titles[1:] else "there is one"
        cure = f"write {' or '.join(titles)}, as they stand in the file from top to bottom"
        raise refuse(f"{title} is not clear: {many}", cure, column="part", value=title)
    return sections[titles.index(title)]


def _log(
    entries: Any, rows: Rows, parts: dict[str, list[Section]]
) -> tuple[tuple[Section, ...], list[Fault]]:
    """Return the readings of the log, with which the sections are also given theirs."""
    if not (isinstance(entries, list) and all(isinstance(one, dict) for one in entries)):
        row = rows.get((LOG, 0), {}).get("")
        cure = "begin each of its readings with [[log]]"
        return (), [Fault("log is no list of readings", cure, row=row)]
    read: list[Section] = []
    faults: list[Fault] = []
    for number, held in enumerate(entries):
        one, wrong = _entry(held, rows.get((LOG, number), {}), parts)
        faults += wrong
        read += [] if wrong else [one]
    # Equal times stand as they stand in the file.
    read = [
        replace(one, place=place)
        for place, one in enumerate(sorted(read, key=lambda one: one.at), start=1)
    ]
    for title in dict.fromkeys(one.title for one in read):
        section = section_named(title, parts)
        later = tuple(one for one in read if one.title == title)
        part = title.partition(" ")[0]
        sections = parts.setdefault(part, [section])
        sections[sections.index(section)] = replace(section, later=later)
    return tuple(read), faults


def _entry(
    held: Mapping[str, Any], rows: Mapping[str, int], parts: Mapping[str, list[Section]]
) -> tuple[Section, list[Fault]]:
    """Return one reading of the log, and what is wrong with it."""
    kinds = _ENTRY.kinds
    about = section_of(LOG, held, _ENTRY._replace(several=True), rows)
    faults = fill(about, {key: held[key] for key in kinds if key in held}, _ENTRY)
    if faults:
        return about, faults
    try:
        section = section_named(about.get("part"), parts)
    except RefusedError as error:
        return about, about.located(error)
    part = PARTS[section.title.partition(" ")[0]]
    said = {key: value for key, value in held.items() if key not in kinds}
    kept = section.values if part.read else {}
    needed = tuple(key for key in part.needed if key not in kept or key in part.read)
    one = replace(section_of(section.title, said, part, rows), place=1, at=about.values["at"])
    faults = fill(one, said, part._replace(needed=needed, read=()))
    if part.read and not one.read and not faults:
        cure = f"add what was read: {', '.join(part.read)}"
        faults = [Fault(f"{one.head} says nothing that was read", cure, row=one.row)]
    return otherwise_as(section, part, one), faults
