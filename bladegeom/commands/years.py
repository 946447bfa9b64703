"""Commands that look back: change, record, trend."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from typing import Any

import bladegeom as bg
from bladegeom.commands.common import EVERY, SOME, complain, print_object, told
from bladegeom.draw import printed
from bladegeom.faults import as_letters


def run_change(options: argparse.Namespace) -> int:
    """Compare two measurements of one blade."""
    before, after = (
        bg.fit_wobble(
            bg.read_blade(one, blade=options.blade, blades=options.blades, unit=options.unit)
        )
        for one in (options.before, options.after)
    )
    change = bg.change(
        before,
        after,
        tooth_1_marked=options.tooth_1_marked,
        seating=options.seating,
    )
    doubted = [
        f"{when}: {words}"
        for when, fit in (("before", before), ("after", after))
        for words in fit.doubted
    ]
    if options.json:
        found = change.to_dict()
        print_object(found | {"warnings": [*doubted, *found["warnings"]]})
    else:
        first = "".join(f"! {words}\n" for words in doubted)
        print(f"{first}{change}\n\n{printed.cautions_text()}")
    return EVERY


def run_record(options: argparse.Namespace) -> int:
    """Append the measurements of a table to a history."""
    batch = bg.read_blades(options.file, blades=options.blades, unit=options.unit)
    refused = list(batch.refused)
    visits = []
    for readings in batch.readings:
        try:
            fit = bg.fit_wobble(readings)
            if fit.mistake is not None:
                raise _doubtful(fit.findings, options.file)
            visits.append(
                bg.visit(
                    fit,
                    date=options.date,
                    arbor=options.arbor,
                    service=options.service or "",
                    tooth_1_marked=options.tooth_1_marked,
                    note=options.note,
                )
            )
        except bg.RefusedError as error:
            refused += error.faults
    if not visits:
        raise bg.RefusedError(refused)
    added = bg.record(visits, options.history)
    there = len(visits) - len(added)
    print(
        f"recorded {len(added)} in {as_letters(options.history)}"
        + (f", {there} there already" * bool(there))
    )
    for note in batch.notes:
        print(f"bladegeom: note: {note}", file=sys.stderr)
    complain(refused)
    return SOME if refused else EVERY


def _doubtful(found: bg.Findings, file: str) -> bg.RefusedError:
    """Return why readings in which a mistake may be are not kept for years."""
    return bg.RefusedError(
        bg.Fault(
            f"not recorded, a mistake may be in the readings: {found[0].words.rstrip('.')}",
            f"see bladegeom check {file}; repair the readings, or read the blade again",
            found.blade or None,
        )
    )


def run_trend(options: argparse.Namespace) -> int:
    """Show how one blade changes over the years."""
    history = bg.read_history(options.history)

    def draw(trend: bg.Trend) -> Sequence[Any]:
        return [bg.trend_chart(trend, paper=options.paper)]

    told(options, lambda: bg.trend(history.of(options.blade), options.of), draw, str)
    for note in history.notes:
        print(f"bladegeom: note: {note}", file=sys.stderr)
    complain(history.refused)
    return SOME if history.refused else EVERY
