"""A saw's own text file (TOML): what was measured while it was set up."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812
from datetime import datetime
from pathlib import Path
from typing import Any

from bladegeom.faults import Fault, RefusedError
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

CALLED = {
    "span": ("thickness", "width", "distance"),
    "open_at": ("open",),
    "side": ("indicator",),
    "fence_side": ("side",),
    "angle_deg": ("angle",),
    "tolerance_deg": ("tolerance",),
}
"""Name in the program -> names in the file, where they differ."""


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


def _above_0_deg(value: Any) -> float:
    number = angle(value)
    if not 0 < number < 90:
        wrong(f"{value!r} is not above 0", "give degrees above 0")
    return number


_SIDE = one_of("left", "right")
_SETTING: dict[str, Kind] = {
    "tooth": whole,
    "tolerance": _above_0_deg,
    "shows": angle,
    "resolution": _above_0_deg,
}
_STRIP: dict[str, Kind] = {
    "first": lengths,
    "last": lengths,
    "length": length,
    "turns": whole,
    "piece": _SIDE,
    "graduation": length,
}

PARTS = {
    "saw": Part({"name": text, "date": _date, "tilts": _SIDE, "notes": text}),
    "blade": Part(
        {"readings": text, "facts": text, "name": text, "height": length}, needed=("readings",)
    ),
    "slots": Part(
        {
            "indicator": _SIDE,
            "front": lengths,
            "back": lengths,
            "separation": length,
            "graduation": length,
            "end_float": length,
            "tolerance": _tolerance,
            "moved": one_of("table", "trunnion"),
            "pivot": one_of("front", "back"),
            "lever": length,
        },
        needed=("front", "back", "separation"),
    ),
    "table": Part(_SETTING | {"thickness": length}),
    "bevel": Part(
        _SETTING | {"angle": angle, "thickness": length, "sides": whole},
        needed=("angle",),
        several=True,
    ),
    "miter_gauge": Part(_SETTING | {"width": length, "angle": angle, "sides": whole}),
    "riving_knife": Part(_SETTING | {"distance": length}),
    "fence": Part(
        {
            "side": _SIDE,
            "along": lengths,
            "readings": lengths,
            "graduation": length,
            "tolerance": _tolerance,
        },
        needed=("along", "readings"),
    ),
    "stop": Part(
        _STRIP | {"name": text, "tolerance": _above_0_deg},
        needed=("name", "first", "last", "length"),
        several=True,
    ),
    "insert": Part(
        {
            "x": lengths,
            "y": lengths,
            "height": lengths,
            "screw_x": lengths,
            "screw_y": lengths,
            "pitch": length,
            "graduation": length,
            "tolerance": length,
        },
        needed=("x", "y", "height"),
    ),
    "test_cut.flip": Part(
        {
            "gap": lengths,
            "height": length,
            "open": one_of("top", "bottom"),
            "flipped": _SIDE,
            "graduation": length,
        },
        needed=("gap", "height", "open", "flipped"),
    ),
    "test_cut.round": Part(_STRIP, needed=("first", "last", "length")),
    "test_cut.kerf": Part({"width": lengths, "graduation": length}, needed=("width",)),
}
"""What may stand in the file."""


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
    parts, faults = read_parts(decode(read_bytes(path), name), name, PARTS)
    if not parts and not faults:
        said = ", ".join(f"[{one}]" for one in PARTS)
        cure = f"write down what was measured, part by part: {said}"
        faults.append(Fault(f"{name} says nothing of a saw", cure))
    if faults:
        raise RefusedError(faults)
    return SawFile(Path(path), parts)
