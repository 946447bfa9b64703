"""The readings of one blade as the columns of a tidy table: in a frame, a file, or a digest."""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from bladegeom.columns import STATED
from bladegeom.faults import refuse
from bladegeom.readings import Readings
from bladegeom.tables.whole import whole_file

_DIGITS = 16
"""Hexadecimal digits of a digest: no two of a shop's blades will ever share so many."""


def columns_of(readings: Readings) -> dict[str, Any]:
    """Return one blade's readings as the columns of a table, facts as single values."""
    columns: dict[str, Any] = {
        "blade": readings.blade.name,
        "tooth": readings.tooth,
        "turn": readings.turn,
    }
    if (readings.way < 0).any():
        columns["turned"] = np.where(readings.way > 0, "forward", "backward")
    columns[f"reading_{readings.unit}"] = readings.reading
    return columns | facts_in_columns(readings)


def facts_in_columns(readings: Readings) -> dict[str, Any]:
    """Return what is stated of one blade and its readings as columns of single values."""
    columns = {}
    for name, column in STATED.items():
        of = readings.blade if column.of == "blade" else readings
        columns[column.key] = column.cell(of.facts[name])
    return {column: value for column, value in columns.items() if value is not None}


def digest_of(readings: Readings, settings: Iterable[object] = ()) -> str:
    """Return the same digits for the same readings, facts and settings, and no others.

    The first 64 bits of SHA-256 (FIPS 180-4) over names and values in full precision.

    Parameters
    ----------
    readings : Readings
    settings : iterable, optional
        What else the answer depends on, each shown by its `repr`.

    Returns
    -------
    str
        16 hexadecimal digits.
    """
    made = hashlib.sha256()
    for column, value in sorted(columns_of(readings).items()):
        plain = value.tolist() if isinstance(value, np.ndarray) else value
        made.update(f"{column}={plain!r}\n".encode())
    for one in settings:
        made.update(f"{one!r}\n".encode())
    return made.hexdigest()[:_DIGITS]


def save_readings(readings: Readings, path: str | os.PathLike[str]) -> None:
    """Write the readings of one blade as a CSV that `read_blade` takes, whole or not at all.

    Lengths other than the readings are in millimetres; teeth that were not read have no row.

    Parameters
    ----------
    readings : Readings
    path : path
        Of a file that does not exist yet.

    Raises
    ------
    RefusedError
        If the file exists, or cannot be written.
    """
    target = Path(path)
    if target.exists():
        raise refuse(
            f"{target} exists already", "name a new file: nothing is written over", value=target
        )
    columns = columns_of(readings)
    rows = zip(*(_cells(value, len(readings.reading)) for value in columns.values()), strict=True)
    with whole_file(target) as file, io.TextIOWrapper(file, "utf-8", newline="") as text:
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(rows)


def _cells(value: object, count: int) -> list[str]:
    given = value.tolist() if isinstance(value, np.ndarray) else [value] * count
    # Twelve digits: no reading has more, and the dust of binary arithmetic is left behind.
    return [f"{one:.12g}" if isinstance(one, float) else str(one) for one in given]
