"""From dial-indicator readings of a saw blade to the teeth to mark.

    import bladegeom as bg

    readings = bg.read_blade("data_demo/forty_tooth.csv")
    fit = bg.fit_wobble(readings)
    marks = bg.neutral_line(fit)
    error = bg.squareness_error(fit, away_deg=30)
    ax = bg.polar_chart(fit)

What a person calls or makes is here, and the kind of each answer; parts of an answer are reached
as its attributes. A blade's fit is loaded at once. The rest is loaded when it is first asked for,
so that nobody at a terminal waits for what is not used; Matplotlib and pandas come with what draws
and what makes frames.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from bladegeom._version import __version__ as __version__
from bladegeom.blade import Blade
from bladegeom.draw.printed import CAUTIONS
from bladegeom.estimate import Estimate
from bladegeom.faults import BladegeomWarning, Fault, RefusedError
from bladegeom.fit.answer import blade_answer
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.marks import NeutralLine, neutral_line, neutral_line_by_eye
from bladegeom.fit.squareness import Squareness, squareness, squareness_error, squareness_error_u
from bladegeom.fit.wobble import WobbleFit
from bladegeom.mistakes.check import Findings, check_readings
from bladegeom.readings import Readings
from bladegeom.tables.read import read_blade, read_blades, read_table

if TYPE_CHECKING:
    from bladegeom import invented
    from bladegeom.arbor.arbor import fleet_arbor, separate_arbor
    from bladegeom.arbor.clock import ClockAdvice, clock_advice
    from bladegeom.arbor.parted import ArborFit, FleetFit
    from bladegeom.draw.batch import run_batch
    from bladegeom.draw.card import setup_card, shelf_page
    from bladegeom.draw.clock import clock_chart
    from bladegeom.draw.cut import clearance_chart, cut_wall_chart
    from bladegeom.draw.form import reading_sheet
    from bladegeom.draw.page import save_chart
    from bladegeom.draw.polar import polar_chart
    from bladegeom.draw.report import customer_sheet
    from bladegeom.draw.trend import trend_chart
    from bladegeom.draw.turn import rotation_chart, squareness_chart, strip_chart
    from bladegeom.fit.many import fit_table
    from bladegeom.fit.next_readings import NextReadings, next_readings
    from bladegeom.fit.shape import ResidualShape, residual_shape
    from bladegeom.invented.shop import SimulatedShop, simulate_shop
    from bladegeom.invented.simulate import Simulated, simulate
    from bladegeom.plate.plate import fit_plate
    from bladegeom.plate.rotation import Rotation, best_rotation
    from bladegeom.plate.shape import PlateFit
    from bladegeom.saw.compare import Comparison, CutComparison, compare_test_cut
    from bladegeom.saw.cut import FlipTest, RoundTest, flip_test, measured_length, round_test
    from bladegeom.saw.fence import FenceAlignment, fence_alignment
    from bladegeom.saw.insert import InsertLevel, insert_level
    from bladegeom.saw.kerf import Kerf, SideClearance, kerf, rub_angle, side_clearance
    from bladegeom.saw.setting import Setting, setting_error
    from bladegeom.saw.setup import SetUp, set_up
    from bladegeom.saw.slots import SlotAlignment, slot_alignment
    from bladegeom.shop.change import Change, change
    from bladegeom.shop.condition import Condition
    from bladegeom.shop.history import History, Visit, read_history, record, visit
    from bladegeom.shop.limits import Limit, Limits, read_limits
    from bladegeom.shop.many import assess
    from bladegeom.shop.shelf import Shelf, shelf
    from bladegeom.shop.trend import Trend, trend
    from bladegeom.tables.several import Ring, read_mounts, read_rings
    from bladegeom.wall.wall import CutWall, cut_wall

# fmt: off
__all__ = [
    "CAUTIONS",
    "ArborFit",
    "Blade",
    "BladegeomWarning",
    "Change",
    "ClockAdvice",
    "Comparison",
    "Condition",
    "CutComparison",
    "CutWall",
    "Estimate",
    "Fault",
    "FenceAlignment",
    "Findings",
    "FleetFit",
    "FlipTest",
    "History",
    "InsertLevel",
    "Kerf",
    "Limit",
    "Limits",
    "NeutralLine",
    "NextReadings",
    "PlateFit",
    "Readings",
    "RefusedError",
    "ResidualShape",
    "Ring",
    "Rotation",
    "RoundTest",
    "SetUp",
    "Setting",
    "Shelf",
    "SideClearance",
    "Simulated",
    "SimulatedShop",
    "SlotAlignment",
    "Squareness",
    "Trend",
    "Visit",
    "WobbleFit",
    "assess",
    "best_rotation",
    "blade_answer",
    "change",
    "check_readings",
    "clearance_chart",
    "clock_advice",
    "clock_chart",
    "compare_test_cut",
    "customer_sheet",
    "cut_wall",
    "cut_wall_chart",
    "fence_alignment",
    "fit_plate",
    "fit_table",
    "fit_wobble",
    "fleet_arbor",
    "flip_test",
    "insert_level",
    "invented",
    "kerf",
    "measured_length",
    "neutral_line",
    "neutral_line_by_eye",
    "next_readings",
    "polar_chart",
    "read_blade",
    "read_blades",
    "read_history",
    "read_limits",
    "read_mounts",
    "read_rings",
    "read_table",
    "reading_sheet",
    "record",
    "residual_shape",
    "rotation_chart",
    "round_test",
    "rub_angle",
    "run_batch",
    "save_chart",
    "separate_arbor",
    "set_up",
    "setting_error",
    "setup_card",
    "shelf",
    "shelf_page",
    "side_clearance",
    "simulate",
    "simulate_shop",
    "slot_alignment",
    "squareness",
    "squareness_chart",
    "squareness_error",
    "squareness_error_u",
    "strip_chart",
    "trend",
    "trend_chart",
    "visit",
]
# fmt: on


_LATER = {
    "arbor.arbor": "fleet_arbor separate_arbor",
    "arbor.clock": "ClockAdvice clock_advice",
    "arbor.parted": "ArborFit FleetFit",
    "draw.batch": "run_batch",
    "draw.card": "setup_card shelf_page",
    "draw.clock": "clock_chart",
    "draw.cut": "clearance_chart cut_wall_chart",
    "draw.form": "reading_sheet",
    "draw.page": "save_chart",
    "draw.polar": "polar_chart",
    "draw.report": "customer_sheet",
    "draw.trend": "trend_chart",
    "draw.turn": "rotation_chart squareness_chart strip_chart",
    "fit.many": "fit_table",
    "fit.next_readings": "NextReadings next_readings",
    "fit.shape": "ResidualShape residual_shape",
    "invented.shop": "SimulatedShop simulate_shop",
    "invented.simulate": "Simulated simulate",
    "plate.plate": "fit_plate",
    "plate.rotation": "Rotation best_rotation",
    "plate.shape": "PlateFit",
    "saw.compare": "Comparison CutComparison compare_test_cut",
    "saw.cut": "FlipTest RoundTest flip_test measured_length round_test",
    "saw.fence": "FenceAlignment fence_alignment",
    "saw.insert": "InsertLevel insert_level",
    "saw.kerf": "Kerf SideClearance kerf rub_angle side_clearance",
    "saw.setting": "Setting setting_error",
    "saw.setup": "SetUp set_up",
    "saw.slots": "SlotAlignment slot_alignment",
    "shop.change": "Change change",
    "shop.condition": "Condition",
    "shop.history": "History Visit read_history record visit",
    "shop.limits": "Limit Limits read_limits",
    "shop.many": "assess",
    "shop.shelf": "Shelf shelf",
    "shop.trend": "Trend trend",
    "tables.several": "Ring read_mounts read_rings",
    "wall.wall": "CutWall cut_wall",
}
"""Where the names are that are not loaded at once."""


if not TYPE_CHECKING:  # A name that does not exist is then found by who checks types.

    def __getattr__(name: str) -> Any:
        """Load what is not loaded yet."""
        if name == "invented":
            return import_module("bladegeom.invented")
        for home, names in _LATER.items():
            if name in names.split():
                value = globals()[name] = getattr(import_module(f"bladegeom.{home}"), name)
                return value
        raise AttributeError(f"module 'bladegeom' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
