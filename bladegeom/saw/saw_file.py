"""A saw's own text file (TOML): what was measured while it was set up."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date as Date  # noqa: N812
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any, NoReturn

from bladegeom.faults import Fault, RefusedError
from bladegeom.lengths import MM_PER, NumberError, may_be_one, parse_length, parse_number
from bladegeom.tables.text import decode, read_bytes

_BEHIND = {"mm": ("mm", 1.0), "in": ("in", 1.0), "thou": ("in", 0.001), "um": ("mm", 0.001)}
"""Unit in the file -> the unit in which it is passed on, and how many of that it is."""

Kind = Callable[[Any], Any]
"""Reads one value of the file, or raises NumberError."""


@dataclass(frozen=True)
class Section:
    """One part of the file.

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
    """

    title: str
    values: dict[str, Any]
    rows: dict[str, int] = field(default_factory=dict)
    row: int | None = None

    def get(self, key: str, otherwise: Any = None) -> Any:
        """Return a value, or what stands for one that is not given."""
        return self.values.get(key, otherwise)

    def lengths(self, *keys: str, **renamed: str) -> dict[str, Any]:
        """Return those lengths that are given as keyword arguments such as ``front_mm``.

        Parameters
        ----------
        *keys : str
        **renamed : str
            Name of the argument -> key in the file.
        """
        named = {key: key for key in keys} | renamed
        return {
            f"{name}_{self.values[key][1]}": self.values[key][0]
            for name, key in named.items()
            if key in self.values
        }

    def plain(self, *keys: str) -> dict[str, Any]:
        """Return those values that are given as keyword arguments of the same name."""
        return {key: self.values[key] for key in keys if key in self.values}

    def located(self, error: RefusedError) -> list[Fault]:
        """Return the faults of an error with the place in the file where they can be mended."""
        return [
            Fault(
                f"[{self.title}] {fault.problem}",
                fault.cure,
                fault.blade,
                self._row_of(fault.column or ""),
                fault.column,
                fault.value,
            )
            for fault in error.faults
        ]

    def _row_of(self, name: str) -> int | None:
        """Return the row of what the program calls so, or where the part begins."""
        keys = (name, *_CALLED.get(name, ()))
        return next((self.rows[key] for key in keys if key in self.rows), self.row)


_CALLED = {
    "reading": ("readings",),
    "span": ("thickness", "width", "distance"),
    "open_at": ("open",),
    "side": ("indicator",),
    "fence_side": ("side",),
    "angle_deg": ("angle",),
    "tolerance_deg": ("tolerance",),
}
"""Name in the program -> names in the file, where they differ."""


@dataclass(frozen=True)
class SawFile:
    """What the file of a saw holds.

    Attributes
    ----------
    path : Path
    parts : dict
        Name of a part -> its sections, one but for those that may come several times.
    """

    path: Path
    parts: dict[str, list[Section]]

    def one(self, part: str) -> Section | None:
        """Return the section of a part that comes once, or None."""
        return self.parts[part][0] if part in self.parts else None


def read_saw(path: str | os.PathLike[str]) -> SawFile:
    """Read the file of a saw.

    Parameters
    ----------
    path : path
        A TOML file. Lengths are texts with their unit behind, ``"8 in"``; several readings of one
        thing stand in one text, ``"12.0 12.5 12.0 thou"``.

    Returns
    -------
    SawFile

    Raises
    ------
    RefusedError
        Listing everything that is wrong in the file, with its row.
    """
    name = os.fspath(path)
    text = decode(read_bytes(path), name)
    try:
        held = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise RefusedError(not_toml(error, text, name)) from None
    rows = rows_of(text)
    faults: list[Fault] = []
    parts: dict[str, list[Section]] = {}
    for part, value in _flat(held).items():
        if part not in PARTS:
            faults.append(unknown_name(part, list(PARTS), rows.get((part, 0, "")), "part"))
            continue
        several = isinstance(value, list)
        if several and part not in SEVERAL:
            row = rows.get((part, 0, ""))
            faults.append(Fault(f"[[{part}]] can come only once", f"write [{part}]", row=row))
            continue
        sections = value if several else [value]
        for place, one in enumerate(sections):
            title = f"{part} {place + 1}" if len(sections) > 1 else part
            if not isinstance(one, dict):
                faults.append(
                    Fault(
                        f"{part} is {one!r}",
                        f"begin a part of its own: [{part}]",
                        row=rows.get((part, place, "")),
                        value=str(one),
                    )
                )
                continue
            section, wrong = _section(part, title, place, one, rows)
            parts.setdefault(part, []).append(section)
            faults += wrong
    if not parts and not faults:
        cure = "write down what was measured, part by part: " + ", ".join(
            f"[{one}]" for one in PARTS
        )
        faults.append(Fault(f"{name} says nothing of a saw", cure))
    if faults:
        raise RefusedError(faults)
    return SawFile(Path(path), parts)


def _flat(held: Mapping[str, Any]) -> dict[str, Any]:
    """Return the parts by name, those of the test cut one by one."""
    flat: dict[str, Any] = {}
    for part, value in held.items():
        if part == "test_cut" and isinstance(value, dict):
            flat |= {f"test_cut.{name}": one for name, one in value.items()}
        else:
            flat[part] = value
    return flat


def _section(
    part: str, title: str, place: int, held: Mapping[str, Any], rows: Mapping[Any, int]
) -> tuple[Section, list[Fault]]:
    kinds, needed = PARTS[part]
    here = {key: row for (one, at, key), row in rows.items() if (one, at) == (part, place) and key}
    start = rows.get((part, place, ""))
    values: dict[str, Any] = {}
    faults = []
    for key, value in held.items():
        row = here.get(key, start)
        if key not in kinds:
            faults.append(unknown_name(key, list(kinds), row, f"key in [{part}]"))
            continue
        try:
            values[key] = kinds[key](value)
        except NumberError as error:
            problem = f"[{title}] {key}: {error.problem}"
            faults.append(Fault(problem, error.cure, row=row, column=key, value=str(value)))
    faults += [
        Fault(f"[{title}] says no {key}", f"add {key} = ...", row=start, column=key)
        for key in needed
        if key not in held
    ]
    return Section(title, values, here, start), faults


def unknown_name(name: str, known: list[str], row: int | None, what: str) -> Fault:
    """Return the fault of a name that is none of those known, with the one that is alike."""
    from difflib import get_close_matches  # Seldom needed, and every start would wait for it.

    close = get_close_matches(name, known, n=1, cutoff=0.6)
    cure = f"did you mean {close[0]}?" if close else f"use one of {', '.join(known)}"
    return Fault(f"{name} is not a known {what}", cure, row=row, column=name, value=name)


def not_toml(error: tomllib.TOMLDecodeError, text: str, name: str) -> Fault:
    """Return the fault of a file that is no TOML, with its row."""
    said = str(error)
    match = re.search(r"\(at line (\d+), column \d+\)", said)
    row = int(match[1]) if match else len(text.splitlines())
    problem = re.sub(r"\s*\(at .*\)", "", said)
    cure = 'check the quotes, brackets and equals signs there; lengths stand in quotes, "8 in"'
    return Fault(f"{name} is not in order: {problem}", cure, row=row)


def rows_of(text: str) -> dict[tuple[str, int, str], int]:
    """Return the rows of the parts (key: empty) and keys: (part, which of them, key) -> row."""
    rows: dict[tuple[str, int, str], int] = {}
    part, place = "", 0
    for row, line in enumerate(text.splitlines(), start=1):
        if match := re.match(r"\s*(\[\[?)\s*([\w.-]+)\s*\]", line):
            part = match[2]
            place = sum(one == part and not key for one, _, key in rows)
            rows[part, place, ""] = row
        elif match := re.match(r"\s*([\w-]+)\s*=", line):
            rows.setdefault((part, place, match[1]) if part else (match[1], 0, ""), row)
    return rows


def _refuse(problem: str, cure: str) -> NoReturn:
    raise NumberError(problem, cure)


def read_text(value: Any) -> str:
    """Return a text of the file, or raise NumberError."""
    if not isinstance(value, str) or not value.strip():
        _refuse(f"{value!r} is no text", 'write it in quotes, "like this"')
    return value.strip()


def _date(value: Any) -> Date:
    if isinstance(value, datetime):
        return value.date()
    if not isinstance(value, Date):
        _refuse(f"{value!r} is no date", "write year, month and day without quotes: 2026-11-25")
    return value


def _whole(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool):
        _refuse(f"{value!r} is no whole number", "write a whole number without quotes")
    return value


def _angle(value: Any) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return _number(repr(value))
    if isinstance(value, str) and (match := re.fullmatch(r"(.*?)\s*deg", value.strip())):
        return _number(match[1])
    return _refuse(f"{value!r} is no angle", 'write degrees: 45, or "45 deg"')


def _number(text: str) -> float:
    number = parse_number(text)
    if number is None:
        _refuse("no number", "write one")
    return number


def read_length(value: Any) -> tuple[float, str]:
    """Return a length of the file with its unit, mm or in, or raise NumberError."""
    if not isinstance(value, str):
        _refuse(f"{value!r} has no unit", 'write the unit behind it, in quotes: "8 in", "200 mm"')
    number, unit = parse_length(value)
    named, per = _BEHIND[unit]
    return (number if per == 1.0 else number * per), named


def _lengths(value: Any) -> tuple[list[float], str]:
    cure = 'write the unit behind the last one, in quotes: "12.0 12.5 12.0 thou"'
    if not isinstance(value, str):
        _refuse(f"{value!r} has no unit", cure)
    *written, last = value.replace(", ", " ").split() or [""]
    if match := re.fullmatch(r"(.*?[\d.])(mm|in|thou|um)", last):
        written, last = [*written, match[1]], match[2]
    if last not in MM_PER or not written:
        _refuse(f"{value!r} has no unit" if written else f"{value!r} has no number", cure)
    if any(may_be_one(before, one) for before, one in pairwise(written)):
        _refuse(f"{value!r} could be read in two ways", "write decimals: 1.5 for 1 1/2")
    named, per = _BEHIND[last]
    numbers = [_number(one) for one in written]
    return [one if per == 1.0 else one * per for one in numbers], named


def _tolerance(value: Any) -> tuple[float, str]:
    if isinstance(value, str) and value.strip().endswith("deg"):
        number, unit = _angle(value), "deg"
    else:
        number, unit = read_length(value)
    if number <= 0:
        _refuse(f"{value!r} is not above 0", "give the largest error that you accept")
    return number, unit


def _above_0_deg(value: Any) -> float:
    number = _angle(value)
    if not 0 < number < 90:
        _refuse(f"{value!r} is not above 0", "give degrees above 0")
    return number


def one_of(*choices: str) -> Kind:
    """Return what reads one of some words, or raises NumberError."""

    def read(value: Any) -> str:
        if value not in choices:
            _refuse(f"{value!r} is not known", f"write {' or '.join(choices)}, in quotes")
        return str(value)

    return read


_SIDE = one_of("left", "right")
_SETTING: dict[str, Kind] = {"tooth": _whole, "tolerance": _above_0_deg}
_SHOWN: dict[str, Kind] = {"shows": _angle, "resolution": _above_0_deg}
_STRIP: dict[str, Kind] = {
    "first": _lengths,
    "last": _lengths,
    "length": read_length,
    "turns": _whole,
    "piece": _SIDE,
    "graduation": read_length,
}

PARTS: dict[str, tuple[dict[str, Kind], tuple[str, ...]]] = {
    "saw": ({"name": read_text, "date": _date, "tilts": _SIDE, "notes": read_text}, ()),
    "blade": (
        {"readings": read_text, "facts": read_text, "name": read_text, "height": read_length},
        ("readings",),
    ),
    "slots": (
        {
            "indicator": _SIDE,
            "front": _lengths,
            "back": _lengths,
            "separation": read_length,
            "graduation": read_length,
            "end_float": read_length,
            "tolerance": _tolerance,
            "moved": one_of("table", "trunnion"),
            "pivot": one_of("front", "back"),
            "lever": read_length,
        },
        ("front", "back", "separation"),
    ),
    "table": (_SETTING | _SHOWN | {"thickness": read_length}, ()),
    "bevel": (
        _SETTING | _SHOWN | {"angle": _angle, "thickness": read_length, "sides": _whole},
        ("angle",),
    ),
    "miter_gauge": (
        _SETTING | _SHOWN | {"width": read_length, "angle": _angle, "sides": _whole},
        (),
    ),
    "riving_knife": (_SETTING | _SHOWN | {"distance": read_length}, ()),
    "fence": (
        {
            "side": _SIDE,
            "along": _lengths,
            "readings": _lengths,
            "graduation": read_length,
            "tolerance": _tolerance,
        },
        ("along", "readings"),
    ),
    "stop": (
        _STRIP | {"name": read_text, "tolerance": _above_0_deg},
        ("name", "first", "last", "length"),
    ),
    "insert": (
        {
            "x": _lengths,
            "y": _lengths,
            "height": _lengths,
            "screw_x": _lengths,
            "screw_y": _lengths,
            "pitch": read_length,
            "graduation": read_length,
            "tolerance": read_length,
        },
        ("x", "y", "height"),
    ),
    "test_cut.flip": (
        {
            "gap": _lengths,
            "height": read_length,
            "open": one_of("top", "bottom"),
            "flipped": _SIDE,
            "graduation": read_length,
        },
        ("gap", "height", "open", "flipped"),
    ),
    "test_cut.round": (_STRIP, ("first", "last", "length")),
    "test_cut.kerf": ({"width": _lengths, "graduation": read_length}, ("width",)),
}
"""Part -> its keys with what reads them, and the keys that it cannot do without."""

SEVERAL = ("bevel", "stop")
"""Parts that may come several times: ``[[bevel]]``."""
