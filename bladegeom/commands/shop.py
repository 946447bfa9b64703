"""Commands about a saw or a shop: setup, shelf, batch."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from typing import Any

import bladegeom as bg
from bladegeom.commands.common import EVERY, SOME, complain, show_progress, told
from bladegeom.draw import printed
from bladegeom.tables.whole import check_apart


def run_setup(options: argparse.Namespace) -> int:
    """Set up a saw from its file."""

    def draw(setup: bg.SetUp) -> Sequence[Any]:
        return bg.setup_card(setup, paper=options.paper)

    told(options, lambda: bg.set_up(options.file), draw, printed.setup_text)
    return EVERY


def run_shelf(options: argparse.Namespace) -> int:
    """List the blades of a folder."""

    def draw(shelf: bg.Shelf) -> Sequence[Any]:
        return bg.shelf_page(shelf, paper=options.paper)

    shelf = told(options, lambda: bg.shelf(options.folder), draw, str)
    complain(shelf.refused)
    return SOME if shelf.refused else EVERY


def run_batch(options: argparse.Namespace) -> int:
    """Judge a day's blades."""
    from bladegeom.draw.batch import run_batch
    from bladegeom.draw.made import files_of

    check_apart(files_of(options.out), [options.limits])
    limits = bg.read_limits(options.limits)
    done = run_batch(
        options.inputs,
        limits,
        options.out,
        blades=options.blades,
        before=options.before,
        tooth_1_marked=options.tooth_1_marked,
        seating=options.seating,
        history=options.history,
        unit=options.unit,
        rule="simple" if options.simple else "zones",
        shop=options.shop,
        arbor=options.arbor,
        paper=options.paper,
        date=options.date,
        progress=show_progress if sys.stderr is not None and sys.stderr.isatty() else None,
    )
    for note in done.notes:
        print(f"bladegeom: note: {note}", file=sys.stderr)
    print(printed.batch_text(done))
    complain(done.refused)
    return SOME if done.refused else EVERY
