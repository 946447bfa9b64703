"""Commands about readings themselves: check, and the sheet to write them on."""

from __future__ import annotations

import argparse
import sys

import bladegeom as bg
from bladegeom.commands.common import (
    EVERY,
    complain,
    data_of,
    facts_of,
    print_json,
    status_of,
)
from bladegeom.draw import printed
from bladegeom.faults import as_letters
from bladegeom.mistakes.check import check_counted
from bladegeom.tables.counted import count_blades


def run_check(options: argparse.Namespace) -> int:
    """Look for mistakes in the readings; write them repaired where that is asked for."""
    if (options.repair is None) != (options.output is None):
        raise bg.RefusedError(
            bg.Fault("--repair and -o belong together", "give both, or neither of them")
        )
    counts, batch = count_blades(
        *data_of(options),
        blade=options.blade,
        blades=options.blades,
        unit=options.unit,
        **facts_of(options),
    )
    for note in batch.notes:
        print(f"bladegeom: note: {note}", file=sys.stderr)
    if not counts and not batch.refused:
        raise bg.RefusedError(bg.Fault(f"there is no blade {options.blade}", "check the name"))
    checked = [check_counted(count) for count in counts]
    if options.repair is not None:
        if len(checked) != 1:
            raise bg.RefusedError(
                batch.refused
                or [bg.Fault(f"{len(checked)} blades to repair", "choose one with --blade")]
            )
        from bladegeom.tables.save import save_readings

        save_readings(_repaired(checked[0], options.repair), options.output)
    if options.json:
        print_json([findings.to_dict() for findings in checked], batch.refused)
    elif checked:
        print("\n\n".join(printed.findings_text(findings) for findings in checked))
        if options.repair is not None:
            print(f"\nwrote {as_letters(options.output)} with repair {options.repair}")
    complain(batch.refused)
    return status_of(len(checked), len(checked) + len({fault.blade for fault in batch.refused}))


def _repaired(findings: bg.Findings, number: int) -> bg.Readings:
    if not 1 <= number <= len(findings):
        raise bg.RefusedError(
            bg.Fault(
                f"there is no repair {number}",
                f"give one from 1 to {len(findings)}" if findings else "nothing was found",
                findings.blade or None,
                value=str(number),
            )
        )
    finding: bg.Finding = findings[number - 1]
    if finding.repaired is None:
        raise bg.RefusedError(
            bg.Fault(
                f"finding {number} ({finding.kind}) has no repair",
                "read the blade again",
                findings.blade or None,
                value=str(number),
            )
        )
    return finding.repaired


def run_sheet(options: argparse.Namespace) -> int:
    """Draw a blank form, and write the table that goes with it."""
    from bladegeom.draw.page import check_target
    from bladegeom.tables.blank import blank_table, check_new, write_new

    target = check_new(check_target(options.output))
    facts = facts_of(options)
    teeth, name = facts.pop("teeth"), options.name or ""
    table = text = None
    if options.csv is not None:
        table = check_new(options.csv or target.with_suffix(".csv"))
        text = blank_table(
            teeth, name or as_letters(table.stem), options.unit, options.turns, facts
        )
    pages = bg.reading_sheet(
        teeth, name=name, turns=options.turns, unit=options.unit, paper=options.paper, **facts
    )
    bg.save_chart(pages, target)
    print(f"wrote {as_letters(target)}")
    if table is not None and text is not None:
        write_new(table, text)
        print(f"wrote {as_letters(table)}")
    return EVERY
