"""Readings out again: a table that reads back as the same readings."""

from __future__ import annotations

import csv
import io
import os
from pathlib import Path

import numpy as np

from bladegeom.faults import refuse
from bladegeom.readings import Readings
from bladegeom.tables.tidy import columns_of
from bladegeom.tables.whole import whole_file


def save_readings(readings: Readings, path: str | os.PathLike[str]) -> None:
    """Write the readings of one blade as a CSV that `read_blade` takes.

    Lengths other than the readings are in millimetres; teeth that were not read have no row. The
    file is whole or absent.

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
