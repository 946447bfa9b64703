"""Commands about single blades: fit, doubt, squareness, next, marks, chart."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from typing import Any

import bladegeom as bg
from bladegeom.commands.common import (
    EVERY,
    answer,
    complain,
    facts_of,
    fits_of,
    print_json,
    status_of,
)
from bladegeom.draw import printed
from bladegeom.faults import as_letters
from bladegeom.tables.facts import blade_of, stated_facts


def run_fit(options: argparse.Namespace) -> int:
    """Print the answer for every blade."""

    def text(fit: bg.WobbleFit) -> str:
        return printed.answer_text(fit)

    return answer(options, bg.blade_answer, text)


def run_doubt(options: argparse.Namespace) -> int:
    """Print where the doubt comes from."""

    def as_dict(fit: bg.WobbleFit) -> dict[str, Any]:
        return {
            "blade": fit.readings.blade.name,
            "unit": fit.unit,
            "budget": fit.budget.to_dict(),
            "shape": bg.residual_shape(fit).to_dict(),
        }

    return answer(options, as_dict, printed.doubt_text)


def run_squareness(options: argparse.Namespace) -> int:
    """Print the squareness error at a rotation."""

    def result(fit: bg.WobbleFit) -> bg.Squareness:
        return bg.squareness(
            fit,
            away_deg=options.away,
            tooth=options.tooth,
            tolerance_deg=options.tolerance_deg,
            span=options.span,
        )

    return answer(options, lambda fit: result(fit).to_dict(), lambda fit: str(result(fit)))


def run_next(options: argparse.Namespace) -> int:
    """Print what to read next."""

    def result(fit: bg.WobbleFit) -> bg.NextReadings:
        return bg.next_readings(fit, options.n, probability=options.probability)

    return answer(options, lambda fit: result(fit).to_dict(), lambda fit: str(result(fit)))


def run_marks(options: argparse.Namespace) -> int:
    """Print the marks of a near tooth found by eye."""
    blade = blade_of(stated_facts(facts_of(options)), options.blade or "")
    marks = bg.neutral_line_by_eye(blade, options.near)
    if options.json:
        print_json([{"blade": blade.name, "teeth": blade.teeth, **marks.to_dict()}], ())
    else:
        print(f"{printed.marks_text(marks)}\n\n{printed.cautions_text()}")
    return EVERY


def run_chart(options: argparse.Namespace) -> int:
    """Draw a chart of every blade."""
    from bladegeom.draw.page import check_target, save_charts

    check_target(options.output)
    fits, refused, wanted = fits_of(options)
    if options.kind == "squareness":
        fits, refused = _kept(fits, refused, lambda fit: bg.squareness_error(fit, 0.0))
    if options.kind == "clearance":
        fits, refused = _kept(
            fits, refused, lambda fit: bg.rub_angle(fit.readings.blade, table="0 mm")
        )
    if not fits:
        raise bg.RefusedError(refused)
    kinds: dict[str, Callable[..., Any]] = {
        "polar": bg.polar_chart,
        "squareness": bg.squareness_chart,
        "strip": bg.strip_chart,
        "clearance": lambda fit, paper: bg.clearance_chart(fit.readings.blade, paper=paper),
    }
    draw = kinds[options.kind]
    more = {"tolerance_deg": options.tolerance_deg} if options.kind == "squareness" else {}
    save_charts((draw(fit, paper=options.paper, **more) for fit in fits), options.output, len(fits))
    print(f"wrote {as_letters(options.output)}")
    for fit in fits:
        for words in fit.doubted:
            name = f"blade {fit.readings.blade.name}: " * bool(fit.readings.blade.name)
            print(f"bladegeom: {name}not for the wall: {words}", file=sys.stderr)
    complain(refused)
    return status_of(len(fits), wanted)


def _kept(
    fits: list[bg.WobbleFit], refused: list[bg.Fault], ask: Callable[[bg.WobbleFit], Any]
) -> tuple[list[bg.WobbleFit], list[bg.Fault]]:
    """Leave out the blades of which nothing can be drawn, and say why."""
    kept = []
    for fit in fits:
        try:
            ask(fit)
        except bg.RefusedError as error:
            refused = [*refused, *error.faults]
        else:
            kept.append(fit)
    return kept, refused
