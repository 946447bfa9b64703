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
    from bladegeom.applied.answer import blade_answer
    from bladegeom.applied.change import Change, change
    from bladegeom.applied.clearance import SideClearance, rub_angle, side_clearance
    from bladegeom.applied.clock import ClockAdvice, clock_advice
    from bladegeom.applied.compare import Comparison, CutComparison, compare_test_cut
    from bladegeom.applied.condition import Condition, assess
    from bladegeom.applied.cut import FlipTest, RoundTest, flip_test, measured_length, round_test
    from bladegeom.applied.cut_surface import CutWall
    from bladegeom.applied.estimate import Estimate
    from bladegeom.applied.fence import FenceAlignment, fence_alignment
    from bladegeom.applied.insert import InsertLevel, insert_level
    from bladegeom.applied.kerf import Kerf, kerf
    from bladegeom.applied.many import fit_table
    from bladegeom.applied.marks import Mark, NeutralLine, neutral_line, neutral_line_by_eye
    from bladegeom.applied.next_readings import NextReadings, next_readings
    from bladegeom.applied.record import History, read_history, record
    from bladegeom.applied.rotation import Rotation, best_rotation
    from bladegeom.applied.setting import Setting, setting_error
    from bladegeom.applied.setup import SetUp, set_up
    from bladegeom.applied.shelf import Shelf, shelf
    from bladegeom.applied.slots import SlotAlignment, slot_alignment
    from bladegeom.applied.squareness import (
        Squareness,
        chance_out,
        squareness,
        squareness_error,
        squareness_error_u,
    )
    from bladegeom.applied.steps import Step
    from bladegeom.applied.trend import Trend, trend
    from bladegeom.applied.visit import Visit, visit
    from bladegeom.applied.wall import cut_wall
    from bladegeom.errors import BladegeomWarning, Fault, RefusedError
    from bladegeom.fitted.arbor import ArborFit, separate_arbor
    from bladegeom.fitted.budget import Budget
    from bladegeom.fitted.doubt import Interval
    from bladegeom.fitted.fit import fit_wobble
    from bladegeom.fitted.fleet import FleetFit, fleet_arbor
    from bladegeom.fitted.mistakes import Evidence, Finding, Findings, check_readings
    from bladegeom.fitted.plate import PlateFit, fit_plate
    from bladegeom.fitted.shape import Bend, ResidualShape, Spike, residual_shape
    from bladegeom.fitted.vector import WobbleVector
    from bladegeom.fitted.waves import Harmonic
    from bladegeom.fitted.wobble import WobbleFit
    from bladegeom.invented.key import AnswerKey, Planted
    from bladegeom.invented.sets import Simulated, SimulatedSet
    from bladegeom.invented.shop import ShopVisit, SimulatedShop, simulate_shop
    from bladegeom.invented.simulate import simulate
    from bladegeom.measured.blade import Blade
    from bladegeom.measured.blades import Batch
    from bladegeom.measured.limit import Limit
    from bladegeom.measured.limits import Limits, read_limits
    from bladegeom.measured.mounts import Mount, Mounts, read_mounts
    from bladegeom.measured.readings import Readings
    from bladegeom.measured.rings import Ring, read_rings
    from bladegeom.measured.tables import read_blade, read_blades, read_table
    from bladegeom.shown.batch import run_batch
    from bladegeom.shown.card import setup_card
    from bladegeom.shown.cautions import CAUTIONS
    from bladegeom.shown.clear import clearance_chart
    from bladegeom.shown.clock import clock_chart
    from bladegeom.shown.form import reading_sheet
    from bladegeom.shown.page import save_chart
    from bladegeom.shown.polar import polar_chart
    from bladegeom.shown.report import customer_sheet
    from bladegeom.shown.rotation import rotation_chart
    from bladegeom.shown.shelf_page import shelf_page
    from bladegeom.shown.square import squareness_chart
    from bladegeom.shown.strip import strip_chart
    from bladegeom.shown.trend import trend_chart
    from bladegeom.shown.wall import wall_chart

__version__ = "0.1.0"

_HOME = {
    "blade_answer": "bladegeom.applied.answer",
    "Change": "bladegeom.applied.change",
    "change": "bladegeom.applied.change",
    "SideClearance": "bladegeom.applied.clearance",
    "rub_angle": "bladegeom.applied.clearance",
    "side_clearance": "bladegeom.applied.clearance",
    "ClockAdvice": "bladegeom.applied.clock",
    "clock_advice": "bladegeom.applied.clock",
    "Comparison": "bladegeom.applied.compare",
    "CutComparison": "bladegeom.applied.compare",
    "compare_test_cut": "bladegeom.applied.compare",
    "Condition": "bladegeom.applied.condition",
    "assess": "bladegeom.applied.condition",
    "FlipTest": "bladegeom.applied.cut",
    "RoundTest": "bladegeom.applied.cut",
    "flip_test": "bladegeom.applied.cut",
    "measured_length": "bladegeom.applied.cut",
    "round_test": "bladegeom.applied.cut",
    "CutWall": "bladegeom.applied.cut_surface",
    "Estimate": "bladegeom.applied.estimate",
    "FenceAlignment": "bladegeom.applied.fence",
    "fence_alignment": "bladegeom.applied.fence",
    "InsertLevel": "bladegeom.applied.insert",
    "insert_level": "bladegeom.applied.insert",
    "Kerf": "bladegeom.applied.kerf",
    "kerf": "bladegeom.applied.kerf",
    "fit_table": "bladegeom.applied.many",
    "Mark": "bladegeom.applied.marks",
    "NeutralLine": "bladegeom.applied.marks",
    "neutral_line": "bladegeom.applied.marks",
    "neutral_line_by_eye": "bladegeom.applied.marks",
    "NextReadings": "bladegeom.applied.next_readings",
    "next_readings": "bladegeom.applied.next_readings",
    "History": "bladegeom.applied.record",
    "read_history": "bladegeom.applied.record",
    "record": "bladegeom.applied.record",
    "Rotation": "bladegeom.applied.rotation",
    "best_rotation": "bladegeom.applied.rotation",
    "Setting": "bladegeom.applied.setting",
    "setting_error": "bladegeom.applied.setting",
    "SetUp": "bladegeom.applied.setup",
    "set_up": "bladegeom.applied.setup",
    "Shelf": "bladegeom.applied.shelf",
    "shelf": "bladegeom.applied.shelf",
    "SlotAlignment": "bladegeom.applied.slots",
    "slot_alignment": "bladegeom.applied.slots",
    "Squareness": "bladegeom.applied.squareness",
    "chance_out": "bladegeom.applied.squareness",
    "squareness": "bladegeom.applied.squareness",
    "squareness_error": "bladegeom.applied.squareness",
    "squareness_error_u": "bladegeom.applied.squareness",
    "Step": "bladegeom.applied.steps",
    "Trend": "bladegeom.applied.trend",
    "trend": "bladegeom.applied.trend",
    "Visit": "bladegeom.applied.visit",
    "visit": "bladegeom.applied.visit",
    "cut_wall": "bladegeom.applied.wall",
    "BladegeomWarning": "bladegeom.errors",
    "Fault": "bladegeom.errors",
    "RefusedError": "bladegeom.errors",
    "ArborFit": "bladegeom.fitted.arbor",
    "separate_arbor": "bladegeom.fitted.arbor",
    "Budget": "bladegeom.fitted.budget",
    "Interval": "bladegeom.fitted.doubt",
    "fit_wobble": "bladegeom.fitted.fit",
    "FleetFit": "bladegeom.fitted.fleet",
    "fleet_arbor": "bladegeom.fitted.fleet",
    "Evidence": "bladegeom.fitted.mistakes",
    "Finding": "bladegeom.fitted.mistakes",
    "Findings": "bladegeom.fitted.mistakes",
    "check_readings": "bladegeom.fitted.mistakes",
    "PlateFit": "bladegeom.fitted.plate",
    "fit_plate": "bladegeom.fitted.plate",
    "Bend": "bladegeom.fitted.shape",
    "ResidualShape": "bladegeom.fitted.shape",
    "Spike": "bladegeom.fitted.shape",
    "residual_shape": "bladegeom.fitted.shape",
    "WobbleVector": "bladegeom.fitted.vector",
    "Harmonic": "bladegeom.fitted.waves",
    "WobbleFit": "bladegeom.fitted.wobble",
    "AnswerKey": "bladegeom.invented.key",
    "Planted": "bladegeom.invented.key",
    "Simulated": "bladegeom.invented.sets",
    "SimulatedSet": "bladegeom.invented.sets",
    "ShopVisit": "bladegeom.invented.shop",
    "SimulatedShop": "bladegeom.invented.shop",
    "simulate_shop": "bladegeom.invented.shop",
    "simulate": "bladegeom.invented.simulate",
    "Blade": "bladegeom.measured.blade",
    "Batch": "bladegeom.measured.blades",
    "Limit": "bladegeom.measured.limit",
    "Limits": "bladegeom.measured.limits",
    "read_limits": "bladegeom.measured.limits",
    "Mount": "bladegeom.measured.mounts",
    "Mounts": "bladegeom.measured.mounts",
    "read_mounts": "bladegeom.measured.mounts",
    "Readings": "bladegeom.measured.readings",
    "Ring": "bladegeom.measured.rings",
    "read_rings": "bladegeom.measured.rings",
    "read_blade": "bladegeom.measured.tables",
    "read_blades": "bladegeom.measured.tables",
    "read_table": "bladegeom.measured.tables",
    "run_batch": "bladegeom.shown.batch",
    "setup_card": "bladegeom.shown.card",
    "CAUTIONS": "bladegeom.shown.cautions",
    "clearance_chart": "bladegeom.shown.clear",
    "clock_chart": "bladegeom.shown.clock",
    "reading_sheet": "bladegeom.shown.form",
    "save_chart": "bladegeom.shown.page",
    "polar_chart": "bladegeom.shown.polar",
    "customer_sheet": "bladegeom.shown.report",
    "rotation_chart": "bladegeom.shown.rotation",
    "shelf_page": "bladegeom.shown.shelf_page",
    "squareness_chart": "bladegeom.shown.square",
    "strip_chart": "bladegeom.shown.strip",
    "trend_chart": "bladegeom.shown.trend",
    "wall_chart": "bladegeom.shown.wall",
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
    "Change",
    "ClockAdvice",
    "Comparison",
    "Condition",
    "CutComparison",
    "CutWall",
    "Estimate",
    "Evidence",
    "Fault",
    "FenceAlignment",
    "Finding",
    "Findings",
    "FleetFit",
    "FlipTest",
    "Harmonic",
    "History",
    "InsertLevel",
    "Interval",
    "Kerf",
    "Limit",
    "Limits",
    "Mark",
    "Mount",
    "Mounts",
    "NeutralLine",
    "NextReadings",
    "Planted",
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
    "ShopVisit",
    "SideClearance",
    "Simulated",
    "SimulatedSet",
    "SimulatedShop",
    "SlotAlignment",
    "Spike",
    "Squareness",
    "Step",
    "Trend",
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
