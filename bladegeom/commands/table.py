"""The command that answers whole tables of blades: a row a blade."""

from __future__ import annotations

import argparse
import sys

from bladegeom.commands.common import EVERY, SOME, complain
from bladegeom.faults import as_letters


def run_table(options: argparse.Namespace) -> int:
    """Fit every blade of the tables and write one row each."""
    from bladegeom.draw.results import write_answers

    shown = sys.stderr is not None and sys.stderr.isatty()
    try:
        found = write_answers(
            options.inputs,
            options.output,
            blades=options.blades,
            unit=options.unit,
            progress=_progress if shown else None,
        )
    finally:
        if shown:
            print(file=sys.stderr)
    for note in found.notes:
        print(f"bladegeom: note: {note}", file=sys.stderr)
    refused = f", {found.left_out} refused" if found.left_out else ""
    print(f"wrote {as_letters(options.output)}: {found.answered} answered{refused}")
    complain(found.refused)
    return SOME if found.refused else EVERY


def _progress(what: str, done: int, count: int) -> None:
    if done % max(1, count // 200) and done < count:
        return
    bar = "#" * round(30 * done / count)
    print(f"\r[{bar:<30}] {what}: {done} of {count} blades\033[K", end="", file=sys.stderr)
