"""The readings of one blade as the columns of a tidy table."""

from __future__ import annotations

from typing import Any

import numpy as np

from bladegeom.columns import STATED
from bladegeom.readings import Readings


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
