"""What the command understands: its options and their help."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from datetime import date as Date  # noqa: N812
from typing import TypeVar

from bladegeom import __version__
from bladegeom.units import MM_PER, NumberError, parse_length, parse_number, parse_whole

T = TypeVar("T")

BLADE_LENGTHS = {
    "diameter": "across the tooth tips",
    "plate": "thickness of the plate",
    "tooth-width": "width that the teeth cut",
    "gullet": "depth of the gullets",
}
READING_LENGTHS = {
    "ring-radius": "from the arbor's axis to the stylus",
    "graduation": "finest step to which the indicator was read",
    "ring-radius-u": "standard uncertainty of the ring radius",
    "end-float": "change of a reading when the arbor is pushed and pulled",
    "dial-turn": "one revolution of the dial's hand, for the check of readings",
}


def _typed(parse: Callable[[str], T | None], cure: str) -> Callable[[str], T]:
    """Return the reader of an option's value, as careful as that of a table's cell."""

    def read(text: str) -> T:
        try:
            value = parse(text)
        except NumberError as error:
            raise argparse.ArgumentTypeError(f"{error.problem}; {cure}") from None
        if value is None:
            raise argparse.ArgumentTypeError(f"{text!r} is not a number; {cure}")
        return value

    return read


_length = _typed(parse_length, "write it like 254mm or 4.5in")
_number = _typed(parse_number, "write a number")
_whole = _typed(parse_whole, "write a whole number")


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command; `run` names what is to be done."""
    whole = argparse.ArgumentParser(
        prog="bladegeom",
        description="From dial-indicator readings of a saw blade, one a tooth, to the teeth to "
        "mark: the neutral line, which stands upright to set the table and the bevels, and level "
        "to set the miter gauge and the riving knife.",
        epilog="Unplug the saw before you touch the blade. The saw's manual comes first.",
    )
    whole.add_argument("--version", action="version", version=f"bladegeom {__version__}")
    commands = whole.add_subparsers(required=True, metavar="COMMAND")
    blade = _blade_options(teeth_needed=False)
    read = _reading_options()

    fit = commands.add_parser(
        "fit", parents=[read, blade], help="print the teeth to mark, and how sure they are"
    )
    fit.add_argument("--json", action="store_true", help="print one JSON object and nothing else")
    fit.set_defaults(run="fit")

    check = commands.add_parser(
        "check", parents=[read, blade], help="look for mistakes in the readings; propose repairs"
    )
    check.add_argument(
        "--repair", type=_whole, metavar="N", help="write the readings with finding N repaired"
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
        parents=[_blade_options(teeth_needed=True)],
        help="the teeth to mark for a near tooth found by eye",
    )
    marks.add_argument("--near", type=_whole, required=True, help="the tooth nearest the indicator")
    marks.add_argument("--blade", metavar="NAME", help="the blade's name")
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
        "--tolerance-deg", type=_number, metavar="DEG", help="band to draw on a squareness chart"
    )
    chart.set_defaults(run="chart")

    further = commands.add_parser(
        "next",
        parents=[read, blade],
        help="which teeth to read next, and how many turns would do",
    )
    further.add_argument(
        "-n", type=_whole, default=4, metavar="COUNT", help="how many teeth; default 4"
    )
    further.add_argument(
        "--probability",
        type=_number,
        default=0.95,
        metavar="P",
        help="wanted of the neutral tooth, such as 0.95 (the default)",
    )
    further.add_argument("--json", action="store_true", help="print one JSON object")
    further.set_defaults(run="next")

    sheet = commands.add_parser(
        "sheet",
        parents=[_blade_options(teeth_needed=True)],
        help="draw a blank form for readings taken with a pencil",
    )
    sheet.add_argument(
        "-o", "--output", required=True, metavar="OUT", help="a new .pdf, .svg or .png file"
    )
    sheet.add_argument("--turns", type=_whole, default=1, help="turns to be read; default 1")
    sheet.add_argument("--paper", choices=("a4", "letter"), default="a4", help="default a4")
    sheet.add_argument("--name", help="the blade's name")
    sheet.add_argument(
        "--csv",
        nargs="?",
        const="",
        metavar="FILE",
        help="write the matching empty CSV too, beside OUT or into FILE; needs --unit",
    )
    _add_reading_facts(sheet)
    sheet.set_defaults(run="sheet")

    square = commands.add_parser(
        "squareness", parents=[read, blade], help="the squareness error at a rotation"
    )
    turn = square.add_mutually_exclusive_group(required=True)
    turn.add_argument(
        "--away",
        type=_number,
        metavar="DEG",
        help="turn from the neutral line, positive in the direction in which tooth numbers grow",
    )
    turn.add_argument("--tooth", type=_whole, help="the tooth that stands uppermost")
    square.add_argument(
        "--span", type=_length, metavar="LENGTH", help="length of the square's blade, such as 150mm"
    )
    square.add_argument(
        "--tolerance-deg", type=_number, metavar="DEG", help="for the chance of being out by more"
    )
    square.add_argument("--json", action="store_true", help="print one JSON object")
    square.set_defaults(run="squareness")
    setup = commands.add_parser(
        "setup", help="set up a saw step by step, from its own text file; draw its card"
    )
    setup.add_argument("file", metavar="SAW.toml", help="what was measured, part by part")
    _add_page(setup, "write the card into this .pdf, .svg or .png file")
    setup.add_argument("--json", action="store_true", help="print one JSON object")
    setup.set_defaults(run="setup")

    batch = commands.add_parser(
        "batch", help="judge a day's blades: a sheet each for its owner, and the queue"
    )
    batch.add_argument("inputs", nargs="+", metavar="INPUT", help="CSV or XLSX of readings")
    batch.add_argument("--limits", required=True, metavar="FILE", help="the shop's own limits")
    batch.add_argument("--out", required=True, metavar="FOLDER", help="made if it is not there")
    batch.add_argument(
        "--blades",
        metavar="FILE",
        help="CSV with one row of facts a blade, and what the eye found in a column eye",
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
        type=_length,
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
    batch.add_argument("--shop", default="", help="who measured, for the sheets")
    batch.add_argument("--arbor", default="", help="on what the blades were measured")
    batch.add_argument("--date", type=_date, help="for the sheets, such as 2026-11-25; today's")
    batch.add_argument("--paper", choices=("a4", "letter"), default="a4", help="default a4")
    batch.set_defaults(run="batch")

    table = commands.add_parser(
        "table", help="answer any number of blades into one table, a row a blade"
    )
    table.add_argument("inputs", nargs="+", metavar="FILE", help="CSV or XLSX of readings")
    table.add_argument(
        "-o", "--output", required=True, metavar="OUT", help="a .csv or .xlsx file, replaced whole"
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
    _add_page(clock, "draw a chart into this .pdf, .svg or .png file")
    clock.add_argument("--json", action="store_true", help="print one JSON object")
    _add_fit_options(clock)
    _add_reading_facts(clock)
    clock.set_defaults(run="clock")

    shelf = commands.add_parser(
        "shelf", help="list every blade of a shop with its marks, the worst first"
    )
    shelf.add_argument(
        "folder", metavar="FOLDER", help="folder with CSV and XLSX files of readings"
    )
    _add_page(shelf, "write the list into this .pdf, .svg or .png file")
    shelf.add_argument("--json", action="store_true", help="print one JSON object")
    shelf.set_defaults(run="shelf")
    _add_years(commands)
    _add_plate(commands, blade, read)
    return whole


def _add_plate(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    blade: argparse.ArgumentParser,
    read: argparse.ArgumentParser,
) -> None:
    """Add the commands about the plate's shape and the wall it cuts."""
    plate = commands.add_parser(
        "plate",
        parents=[blade],
        help="tilted or bent? the plate's shape from several rings, and its best rotation",
    )
    plate.add_argument(
        "file",
        metavar="FILE",
        help="CSV of readings at several ring radii; columns stand, flipped, zero where needed",
    )
    plate.add_argument("--blade", metavar="NAME", help="which blade, where the file holds several")
    plate.add_argument(
        "--harmonics",
        type=_whole,
        default=2,
        metavar="N",
        help="waves a turn to fit: 1 tilt and dish, 2 (the default) the saddle too",
    )
    square = plate.add_argument_group("the line that the square touches: gives the best rotation")
    square.add_argument(
        "--table-height", type=_length, metavar="LENGTH", help="of the table above the arbor's axis"
    )
    square.add_argument("--reach", type=_length, metavar="LENGTH", help="of the square's blade")
    square.add_argument(
        "--away-from-centre",
        type=_length,
        metavar="LENGTH",
        help="from straight above the axis, toward the teeth that follow the uppermost one",
    )
    square.add_argument(
        "--line",
        choices=("upright", "level"),
        default="upright",
        help="upright (the default) for table and bevels, level for miter gauge and knife",
    )
    square.add_argument("--tolerance-deg", type=_number, metavar="DEG", help="largest slope")
    _add_page(plate, "draw the slope against the rotation into this .pdf, .svg or .png file")
    plate.add_argument("--json", action="store_true", help="print one JSON object")
    _add_reading_facts(plate)
    plate.set_defaults(run="plate")

    wall = commands.add_parser(
        "wall", parents=[read, blade], help="the wall that the teeth leave: marks, height, Ra"
    )
    wall.add_argument(
        "--feed", type=_length, required=True, metavar="LENGTH", help="of the board in one turn"
    )
    wall.add_argument(
        "--height", type=_length, required=True, metavar="LENGTH", help="of the blade above table"
    )
    wall.add_argument(
        "--side-angle",
        type=_number,
        required=True,
        metavar="DEG",
        help="radial side angle of the teeth",
    )
    wall.add_argument("--corner", type=_length, metavar="LENGTH", help="radius of the corners")
    wall.add_argument(
        "--wall",
        choices=("toward", "away"),
        default="toward",
        help="the wall on the indicator's side (the default), or the other",
    )
    _add_page(wall, "draw the wall into this .pdf, .svg or .png file")
    wall.add_argument("--json", action="store_true", help="print one JSON object")
    wall.set_defaults(run="wall")


def _add_years(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands that look back."""
    change = commands.add_parser(
        "change", help="before and after: has the wobble of a blade improved?"
    )
    change.add_argument("before", metavar="BEFORE.csv", help="readings before the service")
    change.add_argument("after", metavar="AFTER.csv", help="readings after it")
    change.add_argument("--blade", metavar="NAME", help="which blade, where a file holds several")
    _add_marked(change)
    change.add_argument(
        "--seating",
        type=_length,
        metavar="LENGTH",
        help="standard deviation by which the wobble changes when a blade is mounted anew, such "
        "as 0.5thou",
    )
    change.add_argument("--json", action="store_true", help="print one JSON object")
    change.set_defaults(run="change")

    record = commands.add_parser(
        "record", help="append the measurements of a table to the shop's history"
    )
    record.add_argument("file", metavar="FILE", help="CSV or XLSX of readings")
    _add_history(record)
    _add_marked(record)
    record.add_argument("--date", type=_date, help="of the measurement, 2026-11-25; today's")
    record.add_argument("--arbor", default="", help="on what the blades were measured")
    record.add_argument(
        "--service", choices=("before", "after"), help="measured before or after a service"
    )
    record.add_argument("--note", default="", help="kept with each measurement")
    record.set_defaults(run="record")

    trend = commands.add_parser("trend", help="show how a blade changes over the years")
    _add_history(trend)
    trend.add_argument("--blade", required=True, metavar="NAME", help="which blade")
    trend.add_argument(
        "--of",
        choices=("wobble_tir", "two_wave_tir", "three_wave_tir", "diameter", "tooth_width"),
        default="wobble_tir",
        help="wobble (the default), bends of two or three waves a turn, diameter, tooth width",
    )
    _add_page(trend, "write the chart into this .pdf, .svg or .png file")
    trend.add_argument("--json", action="store_true", help="print one JSON object")
    trend.set_defaults(run="trend")


def _add_history(options: argparse.ArgumentParser) -> None:
    options.add_argument(
        "--history", required=True, metavar="FOLDER", help="of CSV files, one a year"
    )


def _add_marked(options: argparse.ArgumentParser) -> None:
    options.add_argument("--blades", metavar="FILE", help="CSV with one row of facts a blade")
    options.add_argument(
        "--unit", choices=tuple(MM_PER), help="unit of readings whose columns do not say"
    )
    options.add_argument(
        "--tooth-1-marked",
        action="store_true",
        help="tooth 1 is marked for good: compare directions too",
    )


def _date(text: str) -> Date:
    try:
        return Date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no date; write year, month and day: 2026-11-25"
        ) from None


def _add_page(options: argparse.ArgumentParser, meaning: str) -> None:
    options.add_argument("-o", "--output", metavar="OUT", help=meaning)
    options.add_argument("--paper", choices=("a4", "letter"), default="a4", help="default a4")


def _blade_options(*, teeth_needed: bool) -> argparse.ArgumentParser:
    options = argparse.ArgumentParser(add_help=False)
    group = options.add_argument_group(
        "what the file does not say of the blade (lengths: 254mm, 10in)"
    )
    group.add_argument("--teeth", type=_whole, required=teeth_needed, help="number of teeth")
    for name, meaning in BLADE_LENGTHS.items():
        group.add_argument(f"--{name}", type=_length, metavar="LENGTH", help=meaning)
    group.add_argument(
        "--numbered",
        choices=("clockwise", "counterclockwise"),
        help="way of the tooth numbers, seen from the indicator's side",
    )
    group.add_argument(
        "--tooth-pattern",
        type=str.split,
        metavar="KINDS",
        help='kinds of teeth repeated round the blade, such as "L R"',
    )
    group.add_argument(
        "--pitch-pattern",
        metavar="GAPS",
        help='relative gaps repeated round the blade, such as "1 1 1 1 1.6"',
    )
    return options


def _reading_options() -> argparse.ArgumentParser:
    options = argparse.ArgumentParser(add_help=False)
    options.add_argument(
        "file", metavar="FILE", help="CSV of readings; - for readings typed or piped in tooth order"
    )
    options.add_argument("--blades", metavar="FILE", help="CSV with one row of facts a blade")
    options.add_argument("--blade", metavar="NAME", help="only this blade; or its name, with -")
    _add_fit_options(options)
    _add_reading_facts(options)
    return options


def _add_fit_options(options: argparse.ArgumentParser) -> None:
    options.add_argument(
        "--harmonics",
        type=_whole,
        default=1,
        metavar="N",
        help="fit bends of up to N waves a turn as well",
    )
    options.add_argument(
        "--drift", action="store_true", help="take out a steady drift of the stand, if it is shown"
    )
    options.add_argument(
        "--robust", action="store_true", help="let wild readings count less, and list their teeth"
    )


def _add_reading_facts(options: argparse.ArgumentParser) -> None:
    options.add_argument(
        "--unit", choices=tuple(MM_PER), help="unit of readings whose column does not say"
    )
    options.add_argument("--surface", choices=("plate", "teeth"), help="what the stylus touched")
    options.add_argument(
        "--touch-deg",
        type=_number,
        metavar="DEG",
        help="degrees of blade from the indexed tooth to the touched spot, positive with the "
        "numbering",
    )
    options.add_argument(
        "--stylus-deg",
        type=_number,
        metavar="DEG",
        help="how far the plunger may stand out of the arbor's direction",
    )
    options.add_argument("--side", help="side of the blade with the indicator, in your words")
    for name, meaning in READING_LENGTHS.items():
        options.add_argument(f"--{name}", type=_length, metavar="LENGTH", help=meaning)
