"""Options of the commands about the plate and about the years."""

from __future__ import annotations

import argparse

from bladegeom.faults import as_letters
from bladegeom.options.shared import (
    add_history,
    add_marked,
    add_page,
    add_reading_facts,
    day,
    length,
    number,
    whole,
)


def add_plate(
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
    plate.add_argument(
        "--blade", type=as_letters, metavar="NAME", help="which blade, where the file holds several"
    )
    plate.add_argument(
        "--harmonics",
        type=whole,
        default=2,
        metavar="N",
        help="waves a turn to fit: 1 tilt and dish, 2 (the default) the saddle too",
    )
    square = plate.add_argument_group("the line that the square touches: gives the best rotation")
    square.add_argument(
        "--table-height", type=length, metavar="LENGTH", help="of the table above the arbor's axis"
    )
    square.add_argument("--reach", type=length, metavar="LENGTH", help="of the square's blade")
    square.add_argument(
        "--away-from-centre",
        type=length,
        metavar="LENGTH",
        help="from straight above the axis, toward the teeth that follow the uppermost one",
    )
    square.add_argument(
        "--line",
        choices=("upright", "level"),
        default="upright",
        help="upright (the default) for table and bevels, level for miter gauge and knife",
    )
    square.add_argument("--tolerance-deg", type=number, metavar="DEG", help="largest slope")
    add_page(plate, "draw the slope against the rotation into this .pdf, .svg or .png file")
    plate.add_argument("--json", action="store_true", help="print one JSON object")
    add_reading_facts(plate)
    plate.set_defaults(run="plate")

    wall = commands.add_parser(
        "wall", parents=[read, blade], help="the wall that the teeth leave: marks, height, Ra"
    )
    wall.add_argument(
        "--feed", type=length, required=True, metavar="LENGTH", help="of the board in one turn"
    )
    wall.add_argument(
        "--height", type=length, required=True, metavar="LENGTH", help="of the blade above table"
    )
    wall.add_argument(
        "--side-angle",
        type=number,
        required=True,
        metavar="DEG",
        help="radial side angle of the teeth",
    )
    wall.add_argument("--corner", type=length, metavar="LENGTH", help="radius of the corners")
    wall.add_argument(
        "--wall",
        choices=("toward", "away"),
        default="toward",
        help="the wall on the indicator's side (the default), or the other",
    )
    add_page(wall, "draw the wall into this .pdf, .svg or .png file")
    wall.add_argument("--json", action="store_true", help="print one JSON object")
    wall.set_defaults(run="wall")


def add_years(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands that look back."""
    change = commands.add_parser(
        "change", help="before and after: has the wobble of a blade improved?"
    )
    change.add_argument("before", metavar="BEFORE.csv", help="readings before the service")
    change.add_argument("after", metavar="AFTER.csv", help="readings after it")
    change.add_argument(
        "--blade", type=as_letters, metavar="NAME", help="which blade, where a file holds several"
    )
    add_marked(change)
    change.add_argument(
        "--seating",
        type=length,
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
    add_history(record)
    add_marked(record)
    record.add_argument("--date", type=day, help="of the measurement, 2026-11-25; today's")
    record.add_argument(
        "--arbor", type=as_letters, default="", help="on what the blades were measured"
    )
    record.add_argument(
        "--service", choices=("before", "after"), help="measured before or after a service"
    )
    record.add_argument("--note", type=as_letters, default="", help="kept with each measurement")
    record.set_defaults(run="record")

    trend = commands.add_parser("trend", help="show how a blade changes over the years")
    add_history(trend)
    trend.add_argument(
        "--blade", type=as_letters, required=True, metavar="NAME", help="which blade"
    )
    trend.add_argument(
        "--of",
        choices=("wobble_tir", "two_wave_tir", "three_wave_tir", "diameter", "tooth_width"),
        default="wobble_tir",
        help="wobble (the default), bends of two or three waves a turn, diameter, tooth width",
    )
    add_page(trend, "write the chart into this .pdf, .svg or .png file")
    trend.add_argument("--json", action="store_true", help="print one JSON object")
    trend.set_defaults(run="trend")
