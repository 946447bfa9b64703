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
    from bladegeom.applied.compare import Comparison, CutComparison, compare_test_cut
    from bladegeom.applied.condition import Condition, assess
    from bladegeom.applied.cut import FlipTest, RoundTest, flip_test, measured_length, round_test
    from bladegeom.applied.estimate import Estimate
    from bladegeom.applied.fence import FenceAlignment, fence_alignment
    from bladegeom.applied.insert import InsertLevel, insert_level
    from bladegeom.applied.kerf import Kerf, kerf
    from bladegeom.applied.many import fit_table
    from bladegeom.applied.marks import Mark, NeutralLine, neutral_line, neutral_line_by_eye
    from bladegeom.applied.next_readings import NextReadings, next_readings
    from bladegeom.applied.record import History, read_history, record
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
    from bladegeom.errors import BladegeomWarning, Fault, RefusedError
    from bladegeom.fitted.budget import Budget
    from bladegeom.fitted.doubt import Interval
    from bladegeom.fitted.fit import fit_wobble
    from bladegeom.fitted.mistakes import Evidence, Finding, Findings, check_readings
    from bladegeom.fitted.shape import Bend, ResidualShape, Spike, residual_shape
    from bladegeom.fitted.waves import Harmonic
    from bladegeom.fitted.wobble import WobbleFit
    from bladegeom.measured.blade import Blade
    from bladegeom.measured.invented import AnswerKey, Planted
    from bladegeom.measured.invented_sets import Simulated, SimulatedSet
    from bladegeom.measured.invented_shop import ShopVisit, SimulatedShop, simulate_shop
    from bladegeom.measured.limit import Limit
    from bladegeom.measured.limits import Limits, read_limits
    from bladegeom.measured.readings import Readings
    from bladegeom.measured.simulate import simulate
    from bladegeom.measured.tables import Batch, read_blade, read_blades, read_table
    from bladegeom.shown.batch import run_batch
    from bladegeom.shown.card import setup_card
    from bladegeom.shown.cautions import CAUTIONS
    from bladegeom.shown.clear import clearance_chart
    from bladegeom.shown.form import reading_sheet
    from bladegeom.shown.page import save_chart
    from bladegeom.shown.polar import polar_chart
    from bladegeom.shown.report import customer_sheet
    from bladegeom.shown.shelf_page import shelf_page
    from bladegeom.shown.square import squareness_chart
    from bladegeom.shown.strip import strip_chart
    from bladegeom.shown.trend import trend_chart

__version__ = "0.1.0"

_HOME = {
    "blade_answer": "bladegeom.applied.answer",
    "Change": "bladegeom.applied.change",
    "change": "bladegeom.applied.change",
    "SideClearance": "bladegeom.applied.clearance",
    "rub_angle": "bladegeom.applied.clearance",
    "side_clearance": "bladegeom.applied.clearance",
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
    "BladegeomWarning": "bladegeom.errors",
    "Fault": "bladegeom.errors",
    "RefusedError": "bladegeom.errors",
    "Budget": "bladegeom.fitted.budget",
    "Interval": "bladegeom.fitted.doubt",
    "fit_wobble": "bladegeom.fitted.fit",
    "Evidence": "bladegeom.fitted.mistakes",
    "Finding": "bladegeom.fitted.mistakes",
    "Findings": "bladegeom.fitted.mistakes",
    "check_readings": "bladegeom.fitted.mistakes",
    "Bend": "bladegeom.fitted.shape",
    "ResidualShape": "bladegeom.fitted.shape",
    "Spike": "bladegeom.fitted.shape",
    "residual_shape": "bladegeom.fitted.shape",
    "Harmonic": "bladegeom.fitted.waves",
    "WobbleFit": "bladegeom.fitted.wobble",
    "Blade": "bladegeom.measured.blade",
    "AnswerKey": "bladegeom.measured.invented",
    "Planted": "bladegeom.measured.invented",
    "Simulated": "bladegeom.measured.invented_sets",
    "SimulatedSet": "bladegeom.measured.invented_sets",
    "ShopVisit": "bladegeom.measured.invented_shop",
    "SimulatedShop": "bladegeom.measured.invented_shop",
    "simulate_shop": "bladegeom.measured.invented_shop",
    "Limit": "bladegeom.measured.limit",
    "Limits": "bladegeom.measured.limits",
    "read_limits": "bladegeom.measured.limits",
    "Readings": "bladegeom.measured.readings",
    "simulate": "bladegeom.measured.simulate",
    "Batch": "bladegeom.measured.tables",
    "read_blade": "bladegeom.measured.tables",
    "read_blades": "bladegeom.measured.tables",
    "read_table": "bladegeom.measured.tables",
    "run_batch": "bladegeom.shown.batch",
    "setup_card": "bladegeom.shown.card",
    "CAUTIONS": "bladegeom.shown.cautions",
    "clearance_chart": "bladegeom.shown.clear",
    "reading_sheet": "bladegeom.shown.form",
    "save_chart": "bladegeom.shown.page",
    "polar_chart": "bladegeom.shown.polar",
    "customer_sheet": "bladegeom.shown.report",
    "shelf_page": "bladegeom.shown.shelf_page",
    "squareness_chart": "bladegeom.shown.square",
    "strip_chart": "bladegeom.shown.strip",
    "trend_chart": "bladegeom.shown.trend",
}
"""Where each public name lives; it is loaded when it is first asked for."""

__all__ = [
    "CAUTIONS",
    "AnswerKey",
    "Batch",
    "Bend",
    "Blade",
    "BladegeomWarning",
    "Budget",
    "Change",
    "Comparison",
    "Condition",
    "CutComparison",
    "Estimate",
    "Evidence",
    "Fault",
    "FenceAlignment",
    "Finding",
    "Findings",
    "FlipTest",
    "Harmonic",
    "History",
    "InsertLevel",
    "Interval",
    "Kerf",
    "Limit",
    "Limits",
    "Mark",
    "NeutralLine",
    "NextReadings",
    "Planted",
    "Readings",
    "RefusedError",
    "ResidualShape",
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
    "assess",
    "blade_answer",
    "chance_out",
    "change",
    "check_readings",
    "clearance_chart",
    "compare_test_cut",
    "customer_sheet",
    "fence_alignment",
    "fit_table",
    "fit_wobble",
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
    "read_table",
    "reading_sheet",
    "record",
    "residual_shape",
    "round_test",
    "rub_angle",
    "run_batch",
    "save_chart",
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


def __getattr__(name: str) -> Any:
    if name in _HOME:
        value = globals()[name] = getattr(import_module(_HOME[name]), name)
        return value
    raise AttributeError(f"module 'bladegeom' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
