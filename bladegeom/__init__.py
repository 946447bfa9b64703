"""From dial-indicator readings of a saw blade to the teeth to mark.

    import bladegeom as bg

    readings = bg.read_blade("data_demo/forty_tooth.csv")
    fit = bg.fit_wobble(readings)
    marks = bg.neutral_line(fit)
    error = bg.squareness_error(fit, away_deg=30)
    ax = bg.polar_chart(fit)

Every name is loaded when it is first asked for, so that nobody waits for what is not used: charts
load Matplotlib, frames load pandas, and nothing else does.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bladegeom.arbor.arbor import fleet_arbor, separate_arbor
    from bladegeom.arbor.clock import ClockAdvice, clock_advice
    from bladegeom.arbor.parted import ArborFit, FleetFit
    from bladegeom.blade import Blade
    from bladegeom.draw.batch import run_batch
    from bladegeom.draw.card import setup_card
    from bladegeom.draw.cautions import CAUTIONS
    from bladegeom.draw.clear import clearance_chart
    from bladegeom.draw.clock import clock_chart
    from bladegeom.draw.form import reading_sheet
    from bladegeom.draw.page import save_chart
    from bladegeom.draw.polar import polar_chart
    from bladegeom.draw.report import customer_sheet
    from bladegeom.draw.rotation import rotation_chart
    from bladegeom.draw.shelf_page import shelf_page
    from bladegeom.draw.square import squareness_chart
    from bladegeom.draw.strip import strip_chart
    from bladegeom.draw.trend import trend_chart
    from bladegeom.draw.wall import wall_chart
    from bladegeom.estimate import Estimate
    from bladegeom.faults import BladegeomWarning, Fault, RefusedError
    from bladegeom.fit.answer import blade_answer
    from bladegeom.fit.budget import Budget
    from bladegeom.fit.fit import fit_wobble
    from bladegeom.fit.many import fit_table
    from bladegeom.fit.marks import Mark, NeutralLine, neutral_line, neutral_line_by_eye
    from bladegeom.fit.next_readings import NextReadings, next_readings
    from bladegeom.fit.shape import Bend, ResidualShape, Spike, residual_shape
    from bladegeom.fit.squareness import (
        Squareness,
        chance_out,
        squareness,
        squareness_error,
        squareness_error_u,
    )
    from bladegeom.fit.vector import WobbleVector
    from bladegeom.fit.waves import Harmonic
    from bladegeom.fit.wobble import WobbleFit
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
    from bladegeom.invented.key import AnswerKey, Planted
    from bladegeom.invented.shop import ShopVisit, SimulatedShop, simulate_shop
    from bladegeom.invented.simulate import Simulated, SimulatedSet, simulate
    from bladegeom.kernel.doubt import Interval
    from bladegeom.mistakes.check import Evidence, Finding, Findings, check_readings
    from bladegeom.plate.plate import PlateFit, fit_plate
    from bladegeom.plate.rotation import Rotation, best_rotation
    from bladegeom.readings import Readings
    from bladegeom.saw.bench import Step
    from bladegeom.saw.clearance import SideClearance, rub_angle, side_clearance
    from bladegeom.saw.compare import Comparison, CutComparison, compare_test_cut
    from bladegeom.saw.cut import FlipTest, RoundTest, flip_test, measured_length, round_test
    from bladegeom.saw.fence import FenceAlignment, fence_alignment
    from bladegeom.saw.insert import InsertLevel, insert_level
    from bladegeom.saw.kerf import Kerf, kerf
    from bladegeom.saw.setting import Setting, setting_error
    from bladegeom.saw.setup import SetUp, set_up
    from bladegeom.saw.slots import SlotAlignment, slot_alignment
    from bladegeom.shop.change import Change, change
    from bladegeom.shop.condition import Condition, assess
    from bladegeom.shop.history import History, read_history, record
    from bladegeom.shop.limits import Limit, Limits, read_limits
    from bladegeom.shop.shelf import Shelf, shelf
    from bladegeom.shop.trend import Trend, trend
    from bladegeom.shop.visit import Visit, visit
    from bladegeom.tables.blades import Batch
    from bladegeom.tables.mounts import Mount, Mounts, read_mounts
    from bladegeom.tables.read import read_blade, read_blades, read_table
    from bladegeom.tables.rings import Ring, read_rings
    from bladegeom.wall.wall import CutWall, cut_wall

__version__ = "0.1.0"

_HOME = {
    "blade_answer": "bladegeom.fit.answer",
    "Change": "bladegeom.shop.change",
    "change": "bladegeom.shop.change",
    "SideClearance": "bladegeom.saw.clearance",
    "rub_angle": "bladegeom.saw.clearance",
    "side_clearance": "bladegeom.saw.clearance",
    "ClockAdvice": "bladegeom.arbor.clock",
    "clock_advice": "bladegeom.arbor.clock",
    "Comparison": "bladegeom.saw.compare",
    "CutComparison": "bladegeom.saw.compare",
    "compare_test_cut": "bladegeom.saw.compare",
    "Condition": "bladegeom.shop.condition",
    "assess": "bladegeom.shop.condition",
    "FlipTest": "bladegeom.saw.cut",
    "RoundTest": "bladegeom.saw.cut",
    "flip_test": "bladegeom.saw.cut",
    "measured_length": "bladegeom.saw.cut",
    "round_test": "bladegeom.saw.cut",
    "CutWall": "bladegeom.wall.wall",
    "Estimate": "bladegeom.estimate",
    "FenceAlignment": "bladegeom.saw.fence",
    "fence_alignment": "bladegeom.saw.fence",
    "InsertLevel": "bladegeom.saw.insert",
    "insert_level": "bladegeom.saw.insert",
    "Kerf": "bladegeom.saw.kerf",
    "kerf": "bladegeom.saw.kerf",
    "fit_table": "bladegeom.fit.many",
    "Mark": "bladegeom.fit.marks",
    "NeutralLine": "bladegeom.fit.marks",
    "neutral_line": "bladegeom.fit.marks",
    "neutral_line_by_eye": "bladegeom.fit.marks",
    "NextReadings": "bladegeom.fit.next_readings",
    "next_readings": "bladegeom.fit.next_readings",
    "History": "bladegeom.shop.history",
    "read_history": "bladegeom.shop.history",
    "record": "bladegeom.shop.history",
    "Rotation": "bladegeom.plate.rotation",
    "best_rotation": "bladegeom.plate.rotation",
    "Setting": "bladegeom.saw.setting",
    "setting_error": "bladegeom.saw.setting",
    "SetUp": "bladegeom.saw.setup",
    "set_up": "bladegeom.saw.setup",
    "Shelf": "bladegeom.shop.shelf",
    "shelf": "bladegeom.shop.shelf",
    "SlotAlignment": "bladegeom.saw.slots",
    "slot_alignment": "bladegeom.saw.slots",
    "Squareness": "bladegeom.fit.squareness",
    "chance_out": "bladegeom.fit.squareness",
    "squareness": "bladegeom.fit.squareness",
    "squareness_error": "bladegeom.fit.squareness",
    "squareness_error_u": "bladegeom.fit.squareness",
    "Step": "bladegeom.saw.bench",
    "Trend": "bladegeom.shop.trend",
    "trend": "bladegeom.shop.trend",
    "Visit": "bladegeom.shop.visit",
    "visit": "bladegeom.shop.visit",
    "cut_wall": "bladegeom.wall.wall",
    "BladegeomWarning": "bladegeom.faults",
    "Fault": "bladegeom.faults",
    "RefusedError": "bladegeom.faults",
    "ArborFit": "bladegeom.arbor.parted",
    "separate_arbor": "bladegeom.arbor.arbor",
    "Budget": "bladegeom.fit.budget",
    "Interval": "bladegeom.kernel.doubt",
    "fit_wobble": "bladegeom.fit.fit",
    "FleetFit": "bladegeom.arbor.parted",
    "fleet_arbor": "bladegeom.arbor.arbor",
    "Evidence": "bladegeom.mistakes.check",
    "Finding": "bladegeom.mistakes.check",
    "Findings": "bladegeom.mistakes.check",
    "check_readings": "bladegeom.mistakes.check",
    "PlateFit": "bladegeom.plate.plate",
    "fit_plate": "bladegeom.plate.plate",
    "Bend": "bladegeom.fit.shape",
    "ResidualShape": "bladegeom.fit.shape",
    "Spike": "bladegeom.fit.shape",
    "residual_shape": "bladegeom.fit.shape",
    "WobbleVector": "bladegeom.fit.vector",
    "Harmonic": "bladegeom.fit.waves",
    "WobbleFit": "bladegeom.fit.wobble",
    "Bump": "bladegeom.invented.asked",
    "DecimalSlip": "bladegeom.invented.asked",
    "Dish": "bladegeom.invented.asked",
    "Doubled": "bladegeom.invented.asked",
    "Drift": "bladegeom.invented.asked",
    "Flange": "bladegeom.invented.asked",
    "Gum": "bladegeom.invented.asked",
    "LocalBend": "bladegeom.invented.asked",
    "LostMinus": "bladegeom.invented.asked",
    "Play": "bladegeom.invented.asked",
    "Saddle": "bladegeom.invented.asked",
    "Seating": "bladegeom.invented.asked",
    "Skipped": "bladegeom.invented.asked",
    "Tilt": "bladegeom.invented.asked",
    "UnitSlip": "bladegeom.invented.asked",
    "AnswerKey": "bladegeom.invented.key",
    "Planted": "bladegeom.invented.key",
    "Simulated": "bladegeom.invented.simulate",
    "SimulatedSet": "bladegeom.invented.simulate",
    "ShopVisit": "bladegeom.invented.shop",
    "SimulatedShop": "bladegeom.invented.shop",
    "simulate_shop": "bladegeom.invented.shop",
    "simulate": "bladegeom.invented.simulate",
    "Blade": "bladegeom.blade",
    "Batch": "bladegeom.tables.blades",
    "Limit": "bladegeom.shop.limits",
    "Limits": "bladegeom.shop.limits",
    "read_limits": "bladegeom.shop.limits",
    "Mount": "bladegeom.tables.mounts",
    "Mounts": "bladegeom.tables.mounts",
    "read_mounts": "bladegeom.tables.mounts",
    "Readings": "bladegeom.readings",
    "Ring": "bladegeom.tables.rings",
    "read_rings": "bladegeom.tables.rings",
    "read_blade": "bladegeom.tables.read",
    "read_blades": "bladegeom.tables.read",
    "read_table": "bladegeom.tables.read",
    "run_batch": "bladegeom.draw.batch",
    "setup_card": "bladegeom.draw.card",
    "CAUTIONS": "bladegeom.draw.cautions",
    "clearance_chart": "bladegeom.draw.clear",
    "clock_chart": "bladegeom.draw.clock",
    "reading_sheet": "bladegeom.draw.form",
    "save_chart": "bladegeom.draw.page",
    "polar_chart": "bladegeom.draw.polar",
    "customer_sheet": "bladegeom.draw.report",
    "rotation_chart": "bladegeom.draw.rotation",
    "shelf_page": "bladegeom.draw.shelf_page",
    "squareness_chart": "bladegeom.draw.square",
    "strip_chart": "bladegeom.draw.strip",
    "trend_chart": "bladegeom.draw.trend",
    "wall_chart": "bladegeom.draw.wall",
}
"""Where each public name lives; it is loaded when it is first asked for."""

__all__ = [
    "CAUTIONS",
    "AnswerKey",
    "ArborFit",
    "Batch",
    "Bend",
    "Blade",
    "BladegeomWarning",
    "Budget",
    "Bump",
    "Change",
    "ClockAdvice",
    "Comparison",
    "Condition",
    "CutComparison",
    "CutWall",
    "DecimalSlip",
    "Dish",
    "Doubled",
    "Drift",
    "Estimate",
    "Evidence",
    "Fault",
    "FenceAlignment",
    "Finding",
    "Findings",
    "Flange",
    "FleetFit",
    "FlipTest",
    "Gum",
    "Harmonic",
    "History",
    "InsertLevel",
    "Interval",
    "Kerf",
    "Limit",
    "Limits",
    "LocalBend",
    "LostMinus",
    "Mark",
    "Mount",
    "Mounts",
    "NeutralLine",
    "NextReadings",
    "Planted",
    "PlateFit",
    "Play",
    "Readings",
    "RefusedError",
    "ResidualShape",
    "Ring",
    "Rotation",
    "RoundTest",
    "Saddle",
    "Seating",
    "SetUp",
    "Setting",
    "Shelf",
    "ShopVisit",
    "SideClearance",
    "Simulated",
    "SimulatedSet",
    "SimulatedShop",
    "Skipped",
    "SlotAlignment",
    "Spike",
    "Squareness",
    "Step",
    "Tilt",
    "Trend",
    "UnitSlip",
    "Visit",
    "WobbleFit",
    "WobbleVector",
    "assess",
    "best_rotation",
    "blade_answer",
    "chance_out",
    "change",
    "check_readings",
    "clearance_chart",
    "clock_advice",
    "clock_chart",
    "compare_test_cut",
    "customer_sheet",
    "cut_wall",
    "fence_alignment",
    "fit_plate",
    "fit_table",
    "fit_wobble",
    "fleet_arbor",
    "flip_test",
    "insert_level",
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
    "wall_chart",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        value = globals()[name] = getattr(import_module(_HOME[name]), name)
        return value
    raise AttributeError(f"module 'bladegeom' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
