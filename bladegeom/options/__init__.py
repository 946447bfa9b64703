"""What the command understands: its options and their help."""

from __future__ import annotations

import argparse

from bladegeom import __version__
from bladegeom.faults import as_letters
from bladegeom.lengths import MM_PER
from bladegeom.options.later import add_plate, add_years
from bladegeom.options.shared import (
    BLADE_LENGTHS,
    READING_LENGTHS,
    add_fit_options,
    add_page,
    add_reading_facts,
    blade_options,
    day,
    length,
    number,
    reading_options,
    whole,
)

__all__ = ["BLADE_LENGTHS", "READING_LENGTHS", "parser"]


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command; `run` names what is to be done."""
    command = argparse.ArgumentParser(
        prog="bladegeom",
        description="From dial-indicator readings of a saw blade, one a tooth, to the teeth to "
        "mark: the neutral line, which stands upright to set the table and the bevels, and level "
        "to set the miter gauge and the riving knife.",
        epilog="Unplug the saw before you touch the blade. The saw's manual comes first.",
    )
    command.add_argument("--version", action="version", version=f"bladegeom {__version__}")
    commands = command.add_subparsers(required=True, metavar="COMMAND")
    blade = blade_options(teeth_needed=False)
    read = reading_options()

    fit = commands.add_parser(
        "fit", parents=[read, blade], help="print the teeth to mark, and how sure they are"
    )
    fit.add_argument("--json", action="store_true", help="print one JSON object and nothing else")
    fit.set_defaults(run="fit")

    check = commands.add_parser(
        "check", parents=[read, blade], help="look for mistakes in the readings; propose repairs"
    )
    check.add_argument(
        "--repair", type=whole, metavar="N", help="write the readings with finding N repaired"
    )
    check.add_argument("-o", "--output", metavar="NEW.csv", help="new file; none is overwritten")
    check.add_argument("--json", action="store_true", help="print one JSON object")
    check.set_defaults(run="check")

    doubt = commands.add_parser(
        "doubt", parents=[read, blade], help="where the doubt comes from; bends and single teeth"
    )
    doubt.add_argument("--json", action="store_true", help="print one JSON object")
    doubt.set_defaults(run="doubt")

    marks = commands.add_parser(
        "marks",
        parents=[blade_options(teeth_needed=True)],
        help="the teeth to mark for a near tooth found by eye",
    )
    marks.add_argument("--near", type=whole, required=True, help="the tooth nearest the indicator")
    marks.add_argument("--blade", type=as_letters, metavar="NAME", help="the blade's name")
    marks.add_argument("--json", action="store_true", help="print one JSON object")
    marks.set_defaults(run="marks")

    chart = commands.add_parser(
        "chart", parents=[read, blade], help="draw a chart to tape to the wall"
    )
    chart.add_argument(
        "-o", "--output", required=True, metavar="OUT", help="a .pdf, .svg or .png file"
    )
    chart.add_argument(
        "--kind",
        choices=("polar", "squareness", "strip", "clearance"),
        default="polar",
        help="the blade with its marks (polar, the default), the error against rotation "
        "(squareness), the readings along the teeth (strip), or the slot error at which the "
        "plate rubs in the cut (clearance)",
    )
    chart.add_argument("--paper", choices=("a4", "letter"), default="a4", help="default a4")
    chart.add_argument(
        "--tolerance-deg", type=number, metavar="DEG", help="band to draw on a squareness chart"
    )
    chart.set_defaults(run="chart")

    further = commands.add_parser(
        "next",
        parents=[read, blade],
        help="which teeth to read next, and how many turns would do",
    )
    further.add_argument(
        "-n", type=whole, default=4, metavar="COUNT", help="how many teeth; default 4"
    )
    further.add_argument(
        "--probability",
        type=number,
        default=0.95,
        metavar="P",
        help="wanted of the neutral tooth, such as 0.95 (the default)",
    )
    further.add_argument("--json", action="store_true", help="print one JSON object")
    further.set_defaults(run="next")

    sheet = commands.add_parser(
        "sheet",
        parents=[blade_options(teeth_needed=True)],
        help="draw a blank form for readings taken with a pencil",
    )
    sheet.add_argument(
        "-o", "--output", required=True, metavar="OUT", help="a new .pdf, .svg or .png file"
    )
    sheet.add_argument("--turns", type=whole, default=1, help="turns to be read; default 1")
    sheet.add_argument("--paper", choices=("a4", "letter"), default="a4", help="default a4")
    sheet.add_argument("--name", type=as_letters, help="the blade's name")
    sheet.add_argument(
        "--csv",
        nargs="?",
        const="",
        metavar="FILE",
        help="write the matching empty CSV too, beside OUT or into FILE; needs --unit",
    )
    add_reading_facts(sheet)
    sheet.set_defaults(run="sheet")

    square = commands.add_parser(
        "squareness", parents=[read, blade], help="the squareness error at a rotation"
    )
    turn = square.add_mutually_exclusive_group(required=True)
    turn.add_argument(
        "--away",
        type=number,
        metavar="DEG",
        help="turn from the neutral line, positive in the direction in which tooth numbers grow",
    )
    turn.add_argument("--tooth", type=whole, help="the tooth that stands uppermost")
    square.add_argument(
        "--span", type=length, metavar="LENGTH", help="length of the square's blade, such as 150mm"
    )
    square.add_argument(
        "--tolerance-deg", type=number, metavar="DEG", help="for the chance of being out by more"
    )
    square.add_argument("--json", action="store_true", help="print one JSON object")
    square.set_defaults(run="squareness")
    setup = commands.add_parser(
        "setup",
        help="set up a saw step by step, from its own text file; draw its card",
        epilog="What shows means in the file, in degrees. [table]: the lean of the plate from the "
        "upright, plus where its top leans toward the side of the blade on which the blade's "
        "indicator stood, minus where it leans away, 0 for square. [[bevel]]: the bevel from the "
        "upright. Not what a box zeroed on the table shows: it counts from the table. "
        "[miter_gauge]: how far the plate's front end leans off the gauge's square. "
        "[riving_knife]: how far the knife's back end stands off the plate. Both plus toward the "
        "same side, 0 for none.",
    )
    setup.add_argument("file", metavar="SAW.toml", help="what was measured, part by part")
    add_page(setup, "write the card into this .pdf, .svg or .png file")
    setup.add_argument("--json", action="store_true", help="print one JSON object")
    setup.set_defaults(run="setup")

    batch = commands.add_parser(
        "batch", help="judge a day's blades: a sheet each for its owner, and the queue"
    )
    batch.add_argument("inputs", nargs="+", metavar="INPUT", help="CSV or XLSX of readings")
    batch.add_argument("--limits", required=True, metavar="FILE", help="the shop's own limits")
    batch.add_argument(
        "--out",
        required=True,
        metavar="FOLDER",
        help="made if it is not there; what an earlier run left in it is moved aside",
    )
    batch.add_argument(
        "--blades",
        metavar="FILE",
        help="CSV with one row of facts a blade, and what the eye found in a column eye: none, or "
        "the fault",
    )
    batch.add_argument(
        "--before",
        nargs="+",
        action="extend",
        default=[],
        metavar="INPUT",
        help="readings before the service",
    )
    batch.add_argument(
        "--tooth-1-marked",
        action="store_true",
        help="tooth 1 is marked for good: compare directions too",
    )
    batch.add_argument(
        "--seating",
        type=length,
        metavar="LENGTH",
        help="standard deviation by which the wobble changes when a blade is mounted anew",
    )
    batch.add_argument(
        "--history",
        metavar="FOLDER",
        help="add the measurements to this history, but those in which a mistake was found",
    )
    batch.add_argument(
        "--unit", choices=tuple(MM_PER), help="unit of readings whose columns do not say"
    )
    batch.add_argument(
        "--simple",
        action="store_true",
        help="accept what is measured within the limit, whatever its doubt; printed on the sheets",
    )
    batch.add_argument("--shop", type=as_letters, default="", help="who measured, for the sheets")
    batch.add_argument(
        "--arbor", type=as_letters, default="", help="on what the blades were measured"
    )
    batch.add_argument("--date", type=day, help="for the sheets, such as 2026-11-25; today's")
    batch.add_argument("--paper", choices=("a4", "letter"), default="a4", help="default a4")
    batch.set_defaults(run="batch")

    table = commands.add_parser(
        "table", help="answer any number of blades into one table, a row a blade"
    )
    table.add_argument("inputs", nargs="+", metavar="FILE", help="CSV or XLSX of readings")
    table.add_argument(
        "-o",
        "--output",
        required=True,
        metavar="OUT",
        help="a new .csv or .xlsx file, or an older table of answers",
    )
    table.add_argument("--blades", metavar="FACTS", help="CSV with one row of facts a blade")
    table.add_argument(
        "--unit", choices=tuple(MM_PER), help="unit of readings whose columns do not say"
    )
    table.set_defaults(run="table")

    clock = commands.add_parser(
        "clock", parents=[blade], help="arbor or blade? and the tooth to put at the arbor's mark"
    )
    clock.add_argument(
        "file",
        metavar="FILE",
        help="CSV of readings with a column mount, and clock_deg (where tooth 1 stands from the "
        "arbor's mark) or clock_tooth (the tooth at the mark)",
    )
    clock.add_argument(
        "--flange",
        metavar="FILE",
        help="CSV of the flange's face read without the blade, from the same side: as many teeth "
        "as spots, the first at the arbor's mark, with their ring radius; it is compared",
    )
    add_page(clock, "draw a chart into this .pdf, .svg or .png file")
    clock.add_argument("--json", action="store_true", help="print one JSON object")
    add_fit_options(clock)
    add_reading_facts(clock)
    clock.set_defaults(run="clock")

    shelf = commands.add_parser(
        "shelf", help="list every blade of a shop with its marks, the worst first"
    )
    shelf.add_argument(
        "folder", metavar="FOLDER", help="folder with CSV and XLSX files of readings"
    )
    add_page(shelf, "write the list into this .pdf, .svg or .png file")
    shelf.add_argument("--json", action="store_true", help="print one JSON object")
    shelf.set_defaults(run="shelf")
    add_years(commands)
    add_plate(commands, blade, read)
    return command
