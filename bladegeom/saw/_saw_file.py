"""A saw's own text file (TOML): what was measured while it was set up."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812
from datetime import datetime
from pathlib import Path
from typing import Any

from bladegeom.faults import Fault, RefusedError
from bladegeom.saw.shown import KEYS
from bladegeom.tables.text import decode, read_bytes
from bladegeom.tables.toml import (
    Kind,
    Part,
    Section,
    angle,
    length,
    lengths,
    one_of,
    read_parts,
    text,
    whole,
    wrong,
)


def _date(value: Any) -> Date:
    if isinstance(value, datetime):
        return value.date()
    if not isinstance(value, Date):
        wrong(f"{value!r} is no date", "write year, month and day without quotes: 2026-11-25")
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


@dataclass(frozen=True)
class SawFile:
    """What the file of a saw holds."""

    path: Path
    parts: dict[str, list[Section]]
    """Name of a part -> its sections, one but for those that may come several times."""

    def one(self, part: str) -> Section | None:
        """Return the section of a part that comes once, or None."""
        return self.parts[part][0] if part in self.parts else None


def read_saw(path: str | os.PathLike[str]) -> SawFile:
    """Read the file of a saw; see `set_up`.

    Raises
    ------
    RefusedError
        Listing everything that is wrong in the file, with its row.
    """
    name = os.fspath(path)
    parts, faults = read_parts(decode(read_bytes(path), name), name, PARTS)
    if not parts and not faults:
        said = ", ".join(f"[{one}]" for one in PARTS)
        cure = f"write down what was measured, part by part: {said}"
        faults.append(Fault(f"{name} says nothing of a saw", cure))
    if faults:
        raise RefusedError(faults)
    return SawFile(Path(path), parts)
