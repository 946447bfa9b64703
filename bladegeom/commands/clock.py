"""The command that parts arbor and blade and says where to put the blade."""

from __future__ import annotations

import argparse
import sys

import bladegeom as bg
from bladegeom.arbor.clock import ClockAdvice, advise
from bladegeom.commands.common import EVERY, SOME, complain, facts_of, print_json
from bladegeom.draw import printed
from bladegeom.faults import as_letters
from bladegeom.tables.mounts import read_mounts


def run_clock(options: argparse.Namespace) -> int:
    """Advise on the clock position of every blade of a table of mountings."""
    if options.output is not None:
        from bladegeom.draw.page import check_target

        check_target(options.output)
    mounts = read_mounts(options.file, unit=options.unit, **facts_of(options))
    for note in mounts.notes:
        print(f"bladegeom: note: {note}", file=sys.stderr)
    flange = None
    if options.flange is not None:
        flange = bg.fit_wobble(bg.read_blade(options.flange, unit=options.unit))
    answers, refused = advise(
        mounts,
        flange=flange,
        harmonics=options.harmonics,
        drift=options.drift,
        robust=options.robust,
    )
    if not answers:
        raise bg.RefusedError(refused)
    if options.output is not None:
        from bladegeom.draw.clock import clock_chart
        from bladegeom.draw.page import save_charts

        charts = (clock_chart(one, paper=options.paper) for one in answers)
        save_charts(charts, options.output, len(answers))
    if options.json:
        print_json([one.to_dict() for one in answers], refused)
    else:
        end = "" if options.output is None else f"\n\nwrote {as_letters(options.output)}"
        texts = "\n\n".join(_text(one) for one in answers)
        print(f"{texts}\n\n{printed.cautions_text()}{end}")
    complain(refused)
    return SOME if refused else EVERY


def _text(advice: ClockAdvice) -> str:
    lines = [advice.title, *printed.table_lines(advice)]
    return "\n".join([*lines, *printed.warning_lines(advice.all_remarks)])
