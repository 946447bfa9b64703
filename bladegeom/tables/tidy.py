"""The readings of one blade as the columns of a tidy table."""

from __future__ import annotations

from typing import Any

import numpy as np

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
    blade = readings.blade
    columns: dict[str, Any] = {
        "teeth": blade.teeth,
        "diameter_mm": blade.diameter_mm,
        "ring_radius_mm": readings.ring_radius_mm,
        "plate_mm": blade.plate_mm,
        "tooth_width_mm": blade.tooth_width_mm,
        "gullet_mm": blade.gullet_mm,
        "graduation_mm": readings.graduation_mm,
        "ring_radius_u_mm": readings.ring_radius_u_mm,
        "end_float_mm": readings.end_float_mm,
        "dial_turn_mm": readings.dial_turn_mm,
        "stylus_deg": readings.stylus_deg or None,
        "tooth_pattern": " ".join(blade.tooth_pattern or ()) or None,
        "numbered": blade.numbered,
        "surface": readings.surface,
        "touch_deg": readings.touch_deg,
        "pitch_pattern": " ".join(f"{gap!r}" for gap in blade.pitch_pattern or ()) or None,
        "side": readings.side or None,
    }
    return {column: value for column, value in columns.items() if value is not None}
