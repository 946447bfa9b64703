"""What the command understands: every option, described once, and how its value is read."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Iterable, Mapping
from datetime import date as Date  # noqa: N812
from typing import Any, TypeVar

from bladegeom.columns import STATED, no_fact
from bladegeom.faults import Fault, RefusedError, as_letters, refuse
from bladegeom.lengths import MM_PER, NumberError, parse_length, parse_number, parse_whole

T = TypeVar("T")


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


def facts_of(options: argparse.Namespace) -> dict[str, Any]:
    """Return the facts that options state: name -> what `Blade` or `Readings` take.

    Raises
    ------
    RefusedError
        With everything that is wrong with them.
    """
    own = {name: getattr(options, name, None) for name in STATED}
    facts = {name: value for name, value in own.items() if value is not None}
    faults: list[Fault] = []
    for text in options.fact:
        name, sign, said = text.partition("=")
        name = name.strip().replace("-", "_")
        try:
            if not sign:
                raise refuse(f"--fact {text} has no =", "write it like plate=2.2mm", value=text)
            if name not in STATED:
                raise RefusedError(no_fact(name, said))
            value = STATED[name].option_value(said)
            if facts.setdefault(name, value) != value:
                problem = f"{name} is stated twice, and not the same"
                raise refuse(problem, "state it once", column=name, value=said)
        except NumberError as error:
            faults.append(Fault(f"{name}: {error.problem}", error.cure, column=name, value=said))
        except RefusedError as error:
            faults += error.faults
    if faults:
        raise RefusedError(faults)
    return facts


def _flag(meaning: str) -> dict[str, Any]:
    return {"action": "store_true", "help": meaning}


def _length(meaning: str) -> dict[str, Any]:
    return {"type": length, "metavar": "LENGTH", "help": meaning}


def _degrees(meaning: str) -> dict[str, Any]:
    return {"type": number, "metavar": "DEG", "help": meaning}


def _count(meaning: str, **how: Any) -> dict[str, Any]:
    return {"type": whole, "metavar": "N", "help": meaning, **how}


def _words(meaning: str, metavar: str = "WORDS", **how: Any) -> dict[str, Any]:
    return {"type": as_letters, "metavar": metavar, "help": meaning, **how}


def _path(meaning: str, metavar: str = "FILE", **how: Any) -> dict[str, Any]:
    return {"metavar": metavar, "help": meaning, **how}


def _one_of(choices: Iterable[str], meaning: str, default: str | None = None) -> dict[str, Any]:
    return {"choices": tuple(choices), "default": default, "help": meaning}


OPTIONS: dict[str, dict[str, Any]] = {
    # What is read and written
    "file": _path("CSV of readings; - for readings typed or piped in tooth order"),
    "inputs": _path("CSV or XLSX of readings", nargs="+"),
    "folder": _path("folder with CSV and XLSX files of readings", "FOLDER"),
    "before": _path("readings before the service", "BEFORE.csv"),
    "after": _path("readings after it", "AFTER.csv"),
    "--blades": _path("CSV with one row of facts a blade"),
    "--blade": _words("only this blade; or its name, with -", "NAME"),
    "--customer": _words("whose blade: only those of this customer are answered", "NAME"),
    "--output": _path("draw it into this .pdf, .svg or .png file", "OUT"),
    "--paper": _one_of(("a4", "letter"), "default a4", "a4"),
    "--json": _flag("print one JSON object and nothing else"),
    # How it is fitted
    "--harmonics": _count("fit bends of up to N waves a turn as well", default=1),
    "--drift": _flag("take out a steady drift of the stand, if it is shown"),
    "--robust": _flag("let wild readings count less, and list their teeth"),
    # Facts; those with an option of their own are added below
    "--sheet": _words("which sheet of a workbook that has several", "NAME"),
    "--unit": _one_of(MM_PER, "unit of readings whose columns do not say"),
    "--show-in": _one_of(
        ("mm", "in", "thou"), "unit of the queue for people; that of the limits, or of the readings"
    ),
    "--fact": {"metavar": "NAME=VALUE", "action": "append", "default": []},
    # How it is read
    "--order": _one_of(
        ("teeth", "spread"),
        "which teeth are asked for: one after another (the default), or all round first, which "
        "tells soonest that enough is read",
        "teeth",
    ),
    "--enough": _degrees(
        "the squareness error that may be left, to stop early; with --order spread 0.005, or one "
        "and a half times what the spacing of the teeth leaves, whichever is more"
    ),
    "--from": _path(
        "a serial port, pipe or growing file that sends a line a reading, beside the keyboard",
        "PATH",
        dest="device",
    ),
    # Of one blade
    "--next": _flag("print the one thing to do now, and what to read and record then"),
    "--record": _words(
        'add what was read to the log at the end of the file, such as "slots front=12.0 12.5 thou '
        'back=11.0 thou", and print what it changes and what to do next; a length without a unit '
        "has that which the file has for it; may come several times",
        "READING",
        action="append",
    ),
    "--repair": _count("write the readings with finding N repaired"),
    "--was": _path(
        "readings before the blade was mounted anew: do its old marks still serve?", "OLD.csv"
    ),
    "--near": _count("the tooth nearest the indicator"),
    "--tolerance-deg": _degrees("the largest error that is accepted"),
    "--kind": _one_of(
        ("polar", "squareness", "strip", "clearance"),
        "the blade with its marks (polar, the default), the error against rotation (squareness), "
        "the readings along the teeth (strip), or the slot error at which the plate rubs in the "
        "cut (clearance)",
        "polar",
    ),
    "--bore": _length(
        "diameter of the disc's hole: the flange's where the blade is on the saw, the arbor hole's "
        "where it is off"
    ),
    "--face": _one_of(
        ("toward", "away"),
        "the side of the blade on which the disc lies: toward the indicator (the default), or "
        "away from it",
        "toward",
    ),
    "-n": _count("how many teeth; default 4", default=4),
    "--probability": {
        "type": number,
        "default": 0.95,
        "metavar": "P",
        "help": "wanted of the neutral tooth, such as 0.95 (the default)",
    },
    "--turns": _count("turns to be read; default 1", default=1),
    "--name": _words("the blade's name", "NAME"),
    "--list": _path("a form for each blade of this table, one row of facts a blade", "BLADES.csv"),
    "--xlsx": _flag("write one workbook to be filled in; needs --list and --unit"),
    "--csv": _path(
        "write the matching empty CSV too, beside OUT or into FILE; needs --unit",
        nargs="?",
        const="",
    ),
    "--away": _degrees("turn from the neutral line, positive as the tooth numbers grow"),
    "--tooth": _count("the tooth that stands uppermost"),
    "--span": _length("length of the square's blade, such as 150mm"),
    # Of a shop
    "--limits": _path("the shop's own limits"),
    "--out": _path(
        "made if it is not there; what an earlier run left in it is moved aside", "FOLDER"
    ),
    "--before": _path(
        "readings before the service", "INPUT", nargs="+", action="extend", default=[]
    ),
    "--history": _path("the shop's history: CSV files, one a year", "FOLDER"),
    "--tooth-1-marked": _flag("tooth 1 is marked for good: compare directions too"),
    "--seating": _length(
        "standard deviation by which the wobble changes when a blade is mounted anew, such as "
        "0.5thou"
    ),
    "--simple": _flag(
        "accept what is measured within the limit, whatever its doubt; printed on the sheets"
    ),
    "--with-readings": _flag("print the readings too, on the back of each sheet"),
    "--first-label": _count(
        "print labels from the Nth of a sheet that was used in part, counted row by row"
    ),
    "--shop": _words("who measured, for the sheets", default=""),
    "--arbor": _words("on what the blades were measured", default=""),
    "--service": _one_of(("before", "after"), "measured before or after a service"),
    "--note": _words("kept with each measurement", default=""),
    "--date": {
        "type": day,
        "metavar": "DAY",
        "help": "of the measurement, such as 2026-11-25; today's",
    },
    "--of": _one_of(
        ("wobble_tir", "two_wave_tir", "three_wave_tir", "diameter", "tooth_width"),
        "wobble (the default), bends of two or three waves a turn, diameter, tooth width",
        "wobble_tir",
    ),
    # Of the arbor, the plate and the wall of the cut
    "--flange": _path(
        "CSV of the flange's face read without the blade (surface: flange), from the same side: as "
        "many teeth as places, the first at the arbor's mark, with their ring radius; it is "
        "compared"
    ),
    "--table-height": _length(
        "of the table above the arbor's axis: gives the best rotation of the line that the square "
        "touches"
    ),
    "--reach": _length("of the square's blade"),
    "--away-from-centre": _length(
        "of the square, from straight above the axis, toward the teeth that follow the uppermost"
    ),
    "--line": _one_of(
        ("upright", "level"),
        "upright (the default) for table and bevels, level for miter gauge and knife",
        "upright",
    ),
    "--feed": _length("of the board in one turn"),
    "--height": _length("of the blade above table"),
    "--side-angle": _degrees("radial side angle of the teeth"),
    "--corner": _length("radius of the corners"),
    "--wall": _one_of(
        ("toward", "away"),
        "the wall on the indicator's side (the default), or the other",
        "toward",
    ),
}
"""Name of an option -> what argparse is told of it. A command may tell some of it otherwise."""

OPTIONS |= {
    f"--{name.replace('_', '-')}": (_count if name == "teeth" else _length)(column.meaning)
    for name, column in STATED.items()
    if column.option
}

FITTED = "--harmonics --drift --robust"
FACTS = "--customer --unit --teeth --diameter --ring-radius --graduation --fact"

Told = Mapping[str, "str | dict[str, Any]"]


def fill(command: argparse.ArgumentParser, first: str, more: str, told: Told) -> None:
    """Give a command its options.

    Parameters
    ----------
    command : argparse.ArgumentParser
    first : str
        Names of those that people use first, as in a line of usage: ``!`` behind one that must be
        given, ``|`` between two of which one must be.
    more : str
        Names of the others; what is among the first is passed over.
    told : dict
        Name -> what is told otherwise here, or only the help.
    """
    said = [command.prog]
    for words in first.split():
        either = words.split("|")
        needed = words[0] != "-" or words[-1] == "!" or len(either) > 1
        group: Any = command.add_mutually_exclusive_group(required=True) if either[1:] else command
        shown = [_add(group, name, told, must=words[-1] == "!") for name in either]
        if needed:
            said.append(f"({' | '.join(shown)})" if either[1:] else shown[0])
    command.usage = " ".join([*said, "[options]"])
    if others := [name for name in more.split() if name not in re.split(r"[!| ]+", first)]:
        rest = command.add_argument_group("more (lengths are written like 254mm or 4.5in)")
        for name in others:
            _add(rest, name, told)


def _add(to: Any, name: str, told: Told, *, must: bool = False) -> str:
    """Add an option and return how it stands in a line of usage."""
    name = name.rstrip("!")
    other = told.get(name, {})
    how = OPTIONS[name] | ({"help": other} if isinstance(other, str) else other)
    if name == "--fact":
        rest = ", ".join(one for one, column in STATED.items() if not column.option)
        how["help"] = f"one more fact, such as plate=2.2mm, and again for another: {rest}"
    if must:
        how |= {"required": True}
    names = ["-o", name] if name == "--output" else [name]
    to.add_argument(*names, **how)
    value = (
        f"{how['metavar']}{'...' if how.get('nargs') == '+' else ''}" if "metavar" in how else ""
    )
    return f"{names[0]} {value}" if name[0] == "-" else value
