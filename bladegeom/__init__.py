"""From dial-indicator readings of a saw blade to the teeth to mark.

    import bladegeom as bg

    readings = bg.read_blade("data_demo/forty_tooth.csv")
    fit = bg.fit_wobble(readings)
    marks = bg.neutral_line(fit)
    error = bg.squareness_error(fit, away_deg=30)
    ax = bg.polar_chart(fit)

Charts load Matplotlib, and frames load pandas, when they are first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from bladegeom.applied.answer import blade_answer
from bladegeom.applied.marks import Mark, NeutralLine, neutral_line, neutral_line_by_eye
from bladegeom.applied.squareness import (
    Squareness,
    chance_out,
    squareness,
    squareness_error,
    squareness_error_u,
)
from bladegeom.errors import BladegeomWarning, Fault, RefusedError
from bladegeom.fitted.budget import Budget
from bladegeom.fitted.doubt import Interval
from bladegeom.fitted.fit import fit_wobble
from bladegeom.fitted.shape import Bend, ResidualShape, Spike, residual_shape
from bladegeom.fitted.waves import Harmonic
from bladegeom.fitted.wobble import WobbleFit
from bladegeom.measured.blade import Blade
from bladegeom.measured.readings import Readings
from bladegeom.measured.tables import Batch, read_blade, read_blades, read_table
from bladegeom.shown.cautions import CAUTIONS

if TYPE_CHECKING:
    from bladegeom.shown.page import save_chart
    from bladegeom.shown.polar import polar_chart
    from bladegeom.shown.square import squareness_chart
    from bladegeom.shown.strip import strip_chart

__version__ = "0.1.0"

_DRAWN = {
    "polar_chart": "bladegeom.shown.polar",
    "save_chart": "bladegeom.shown.page",
    "squareness_chart": "bladegeom.shown.square",
    "strip_chart": "bladegeom.shown.strip",
}

__all__ = [
    "CAUTIONS",
    "Batch",
    "Bend",
    "Blade",
    "BladegeomWarning",
    "Budget",
    "Fault",
    "Harmonic",
    "Interval",
    "Mark",
    "NeutralLine",
    "Readings",
    "RefusedError",
    "ResidualShape",
    "Spike",
    "Squareness",
    "WobbleFit",
    "blade_answer",
    "chance_out",
    "fit_wobble",
    "neutral_line",
    "neutral_line_by_eye",
    "polar_chart",
    "read_blade",
    "read_blades",
    "read_table",
    "residual_shape",
    "save_chart",
    "squareness",
    "squareness_chart",
    "squareness_error",
    "squareness_error_u",
    "strip_chart",
]


def __getattr__(name: str) -> Any:
    if name in _DRAWN:
        return getattr(import_module(_DRAWN[name]), name)
    raise AttributeError(f"module 'bladegeom' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
