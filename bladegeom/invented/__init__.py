"""Invented readings with hidden faults and an answer key; here are the faults to ask for.

bg.simulate(rng=7, faults=[bg.invented.Gum(7, "2 thou")])
"""

from bladegeom.invented.asked import (
    Bump,
    DecimalSlip,
    Dish,
    Doubled,
    Drift,
    Flange,
    Gum,
    LocalBend,
    LostMinus,
    Play,
    Saddle,
    Seating,
    Skipped,
    Tilt,
    UnitSlip,
)

__all__ = [
    "Bump",
    "DecimalSlip",
    "Dish",
    "Doubled",
    "Drift",
    "Flange",
    "Gum",
    "LocalBend",
    "LostMinus",
    "Play",
    "Saddle",
    "Seating",
    "Skipped",
    "Tilt",
    "UnitSlip",
]
