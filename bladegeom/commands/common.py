"""What the commands share: reading, refusing, printing, exit status."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import bladegeom as bg
from bladegeom.draw import printed
from bladegeom.faults import as_letters
from bladegeom.lengths import convert
from bladegeom.options import BLADE_LENGTHS, READING_LENGTHS
from bladegeom.result import Result
from bladegeom.tables.columns import OTHER_FACTS
from bladegeom.tables.lists import looks_like_table, parse_list
from bladegeom.tables.read import parse_blades
from bladegeom.tables.text import read_bytes
from bladegeom.tables.whole import check_apart

R = TypeVar("R", bound=Result)

EVERY, SOME, NONE = 0, 1, 2
"""Exit status: every blade answered, some of them, none."""

READ = ("file", "inputs", "blades", "before", "after", "flange", "limits")
"""Options that name what is read: a file, or several."""


def check_outputs(options: argparse.Namespace) -> None:
    """Refuse options by which an output would go over an input, before anything is done.

    Raises
    ------
    RefusedError
    """
    given = vars(options)
    read: list[str | Path] = []
    for name in READ:
        one = given.get(name)
        read += [one] if isinstance(one, str) else one or []
    written: list[str | Path] = [one for one in (given.get("output"), given.get("csv")) if one]
    if given.get("csv") == "":
        written.append(Path(given["output"]).with_suffix(".csv"))
    if (folder := given.get("folder")) is not None:
        read += Path(folder).glob("*")
    if (history := given.get("history")) is not None:
        # A trend is drawn from the history; the other commands add to it.
        (read if options.run == "trend" else written).extend(Path(history).glob("*.csv"))
    check_apart(written, read)


def told(
    options: argparse.Namespace,
    make: Callable[[], R],
    draw: Callable[[R], Sequence[Any]],
    text: Callable[[R], str],
) -> R:
    """Make a result, save its pages where they are wanted, and print it."""
    wanted = options.output is not None
    if wanted:
        from bladegeom.draw.page import check_target

        check_target(options.output)
    result = make()
    if wanted:
        bg.save_chart(draw(result), options.output)
    if options.json:
        print_object(result.to_dict())
    else:
        end = f"\n\nwrote {as_letters(options.output)}" if wanted else ""
        print(f"{text(result)}\n\n{printed.cautions_text()}{end}")
    return result


def answer(
    options: argparse.Namespace,
    as_dict: Callable[[bg.WobbleFit], dict[str, Any]],
    as_text: Callable[[bg.WobbleFit], str],
) -> int:
    """Print one answer a blade; a blade that cannot be answered stops no other."""
    fits, refused, wanted = fits_of(options)
    answers: list[Any] = []
    for fit in fits:
        try:
            answers.append(as_dict(fit) if options.json else as_text(fit))
        except bg.RefusedError as error:
            refused += error.faults
    if options.json:
        print_json(answers, refused)
    elif answers:
        print("\n\n".join([*answers, printed.cautions_text()]))
    complain(refused)
    return status_of(len(answers), wanted)


def fits_of(options: argparse.Namespace) -> tuple[list[bg.WobbleFit], list[bg.Fault], int]:
    """Read and fit; return the fits, what was refused, and how many blades there were."""
    batch = _read(options)
    for note in batch.notes:
        print(f"bladegeom: note: {note}", file=sys.stderr)
    refused = list(batch.refused)
    fits = []
    for readings in batch.readings:
        try:
            fits.append(
                bg.fit_wobble(
                    readings,
                    harmonics=options.harmonics,
                    drift=options.drift,
                    robust=options.robust,
                )
            )
        except bg.RefusedError as error:
            refused += error.faults
    names = {readings.blade.name for readings in batch.readings}
    return fits, refused, len(names | {fault.blade or "" for fault in refused})


def _read(options: argparse.Namespace) -> bg.Batch:
    facts = facts_of(options)
    if options.file != "-":
        batch = bg.read_blades(options.file, blades=options.blades, unit=options.unit, **facts)
    else:
        data = _typed_in()
        if not looks_like_table(data):
            notes: list[str] = []
            readings = parse_list(
                data,
                blade=options.blade,
                blades=options.blades,
                unit=options.unit,
                notes=notes,
                **facts,
            )
            return bg.Batch([readings], [], notes)
        batch = parse_blades(data, "piped", blades=options.blades, unit=options.unit, **facts)
    if options.blade is None:
        return batch
    return bg.Batch(
        [one for one in batch.readings if one.blade.name == options.blade]
        or _no_such_blade(batch, options.blade),
        [fault for fault in batch.refused if fault.blade == options.blade],
        batch.notes,
    )


def data_of(options: argparse.Namespace) -> tuple[bytes, str]:
    """Return what the file, or standard input, holds, and its name."""
    if options.file == "-":
        return _typed_in(), "piped"
    return read_bytes(options.file), options.file


def _typed_in() -> bytes:
    if sys.stdin is None:
        raise bg.RefusedError(bg.Fault("nothing is typed or piped in", "name a file instead"))
    if sys.stdin.isatty():
        print(
            "Type the readings in tooth order, ? for not read; end with Ctrl-D (Ctrl-Z on "
            "Windows).",
            file=sys.stderr,
        )
    return sys.stdin.buffer.read()


def _no_such_blade(batch: bg.Batch, name: str) -> list[bg.Readings]:
    if any(fault.blade == name for fault in batch.refused):
        return []
    held = dict.fromkeys(
        [readings.blade.name for readings in batch.readings]
        + [fault.blade for fault in batch.refused if fault.blade]
    )
    some = ", ".join([*held][:8]) + (f" and {len(held) - 8} more" if len(held) > 8 else "")
    raise bg.RefusedError(
        bg.Fault(
            f"there is no blade {name}",
            f"the table holds {some or 'no blade with a name'}",
            blade=name or None,
            value=name,
        )
    )


def facts_of(options: argparse.Namespace) -> dict[str, Any]:
    """Return the facts stated by options."""
    facts: dict[str, Any] = {}
    for option in (*BLADE_LENGTHS, *READING_LENGTHS):
        name = option.replace("-", "_")
        if length := getattr(options, name, None):
            facts[name] = length
    for name in OTHER_FACTS:
        if (value := getattr(options, name, None)) is not None:
            facts[name] = value
    return facts


def seating_mm(options: argparse.Namespace) -> float | None:
    """Return in millimetres how far mountings scatter, where that is stated."""
    if options.seating is None:
        return None
    size, unit = options.seating
    return convert(size, unit, "mm")


def status_of(answered: int, wanted: int) -> int:
    """Return the exit status for so many blades answered of so many wanted."""
    if answered == 0:
        return NONE
    return EVERY if answered == wanted else SOME


def print_json(blades: list[Any], refused: Iterable[bg.Fault]) -> None:
    """Print the answers of blades, and what was refused, as one JSON object."""
    print_object({"blades": blades, "refused": [fault.to_dict() for fault in refused]})


def print_object(held: dict[str, Any]) -> None:
    """Print one JSON object."""
    import json

    print(json.dumps(held, allow_nan=False))


def complain(faults: Iterable[bg.Fault]) -> None:
    """Say what is wrong, a line a fault."""
    for fault in faults:
        print(f"bladegeom: {fault}", file=sys.stderr)


def show_progress(done: int, count: int) -> None:
    """Draw a bar on a terminal."""
    bar = "#" * round(30 * done / count)
    end = "\n" if done == count else ""
    print(f"\r[{bar:<30}] {done} of {count} blades", end=end, file=sys.stderr, flush=True)
