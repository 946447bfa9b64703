"""What several commands' options share: readers of values, and groups of options."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from datetime import date as Date  # noqa: N812
from typing import TypeVar

from bladegeom.faults import as_letters
from bladegeom.lengths import MM_PER, NumberError, parse_length, parse_number, parse_whole

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


length = _typed(parse_length, "write it like 254mm or 4.5in")
number = _typed(parse_number, "write a number")
whole = _typed(parse_whole, "write a whole number")


def day(text: str) -> Date:
    """Read a date."""
    try:
        return Date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no date; write year, month and day: 2026-11-25"
        ) from None


def add_page(options: argparse.ArgumentParser, meaning: str) -> None:
    """Add where the page goes, and on what paper."""
    options.add_argument("-o", "--output", metavar="OUT", help=meaning)
    options.add_argument("--paper", choices=("a4", "letter"), default="a4", help="default a4")


def blade_options(*, teeth_needed: bool) -> argparse.ArgumentParser:
    """Return the options of what is stated of a blade."""
    options = argparse.ArgumentParser(add_help=False)
    group = options.add_argument_group(
        "what the file does not say of the blade (lengths: 254mm, 10in)"
    )
    group.add_argument("--teeth", type=whole, required=teeth_needed, help="number of teeth")
    for name, meaning in BLADE_LENGTHS.items():
        group.add_argument(f"--{name}", type=length, metavar="LENGTH", help=meaning)
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


def reading_options() -> argparse.ArgumentParser:
    """Return the options of a command that reads and fits blades."""
    options = argparse.ArgumentParser(add_help=False)
    options.add_argument(
        "file", metavar="FILE", help="CSV of readings; - for readings typed or piped in tooth order"
    )
    options.add_argument("--blades", metavar="FILE", help="CSV with one row of facts a blade")
    options.add_argument(
        "--blade", type=as_letters, metavar="NAME", help="only this blade; or its name, with -"
    )
    add_fit_options(options)
    add_reading_facts(options)
    return options


def add_fit_options(options: argparse.ArgumentParser) -> None:
    """Add how readings are fitted."""
    options.add_argument(
        "--harmonics",
        type=whole,
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


def add_reading_facts(options: argparse.ArgumentParser) -> None:
    """Add what is stated of the readings."""
    options.add_argument(
        "--unit", choices=tuple(MM_PER), help="unit of readings whose column does not say"
    )
    options.add_argument("--surface", choices=("plate", "teeth"), help="what the stylus touched")
    options.add_argument(
        "--touch-deg",
        type=number,
        metavar="DEG",
        help="degrees of blade from the indexed tooth to the touched spot, positive with the "
        "numbering",
    )
    options.add_argument(
        "--stylus-deg",
        type=number,
        metavar="DEG",
        help="how far the plunger may stand out of the arbor's direction",
    )
    options.add_argument(
        "--side", type=as_letters, help="side of the blade with the indicator, in your words"
    )
    for name, meaning in READING_LENGTHS.items():
        options.add_argument(f"--{name}", type=length, metavar="LENGTH", help=meaning)


def add_history(options: argparse.ArgumentParser) -> None:
    """Add the folder of a history."""
    options.add_argument(
        "--history", required=True, metavar="FOLDER", help="of CSV files, one a year"
    )


def add_marked(options: argparse.ArgumentParser) -> None:
    """Add what two measurements of a blade are compared by."""
    options.add_argument("--blades", metavar="FILE", help="CSV with one row of facts a blade")
    options.add_argument(
        "--unit", choices=tuple(MM_PER), help="unit of readings whose columns do not say"
    )
    options.add_argument(
        "--tooth-1-marked",
        action="store_true",
        help="tooth 1 is marked for good: compare directions too",
    )
