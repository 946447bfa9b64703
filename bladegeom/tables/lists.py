"""Plain readings in tooth order, typed or piped."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from typing import Any

from bladegeom.faults import Fault, RefusedError, Who, refuse
from bladegeom.lengths import NumberError, may_be_one, parse_number
from bladegeom.tables.blade_facts import read_blade_facts
from bladegeom.tables.blades import Beside, Path, T, not_read, read_each, some_of
from bladegeom.tables.facts import check_unit, need_teeth, stated_facts
from bladegeom.tables.sheets import decimal_mark, is_workbook
from bladegeom.tables.table import Written, written
from bladegeom.tables.text import decode


def looks_like_table(data: bytes, file: str = "the input") -> bool:
    """Return whether bytes are a table (names in the first line) or plain readings."""
    if is_workbook(data):
        return True
    text = decode(data, file, [])
    first = next((line for line in text.splitlines() if line.strip()), "")
    words = re.findall(r"[^\W\d_]{4,}", first.lower())
    return any(word != "infinity" for word in words)


def read_any(
    data: bytes,
    name: str,
    make: Callable[[Written], T],
    *,
    blade: str | None = None,
    listed: bool = True,
    blades: Path | None = None,
    unit: str | None = None,
    sheet: str | None = None,
    **facts: Any,
) -> tuple[list[T], list[Fault], list[str]]:
    """Read a table of blades, or the one that is asked for, or plain readings (where `listed`).

    Returns what is made of each, every fault of those of which nothing can be made, and notes.

    Raises
    ------
    RefusedError
        If the file as a whole is at fault, or there is no such blade.
    """
    if listed and not looks_like_table(data, name):
        notes: list[str] = []
        typed = written_list(
            data, name, blade=blade, blades=blades, unit=unit, notes=notes, **facts
        )
        return [make(typed)], [], notes
    given = {"blades": blades, "unit": unit, "sheet": sheet, **facts}
    made, refused, notes = read_each(data, name, lambda part: make(part.written()), **given)
    if blade is None:
        return [*made.values()], refused, notes
    own = [fault for fault in refused if fault.blade == blade]
    found = [one for who, one in made.items() if who.name == blade]
    if not found and not own:
        held = dict.fromkeys([*made, *(fault.who for fault in refused if fault.blade)])
        there = f"the table holds {some_of([*held]) or 'no blade with a name'}"
        raise refuse(f"there is no blade {blade}", there, blade=blade, value=blade)
    return found, own, notes


def written_list(
    data: bytes,
    file: str = "the input",
    *,
    blade: str | None = None,
    blades: Path | None = None,
    unit: str | None = None,
    notes: list[str] | None = None,
    **facts: Any,
) -> Written:
    """Read plain readings in tooth order, one a line or several on a line.

    Parameters
    ----------
    data : bytes
        Numbers; ``?`` where a tooth was not read. One reading more than the blade has teeth is
        tooth 1 read again. ``1 1/2`` is one reading where each has a line of its own, or
        semicolons or tabs between them; where blanks part them, it is refused.
    file : str, optional
        Where they stand, for messages.
    blade : str, optional
        The blade's name.
    notes : list of str, optional
        What is to be said of the second table is added to it.
    blades, unit, **facts
        As for `read_blade`.

    Raises
    ------
    RefusedError
    """
    check_unit(unit)
    if unit is None:
        raise refuse("the unit of the readings is not stated", "state it: mm, in, thou or um")
    pieces = _pieces(decode(data, file))
    while pieces and not pieces[-1][1]:
        pieces.pop()
    held = [(row, piece) for row, piece in pieces if piece]
    if not held:
        raise refuse("there are no readings", "give one reading a tooth, in tooth order")
    cells = held
    if not all(_is_one(piece) for _, piece in held):
        cells = [(row, word) for row, piece in held for word in piece.split()]
    mark = decimal_mark(cells, "\n")
    values: list[float] = []
    faults = [] if cells is held else _one_or_two(held, mark)
    for row, cell in cells:
        try:
            number = parse_number(cell, mark)
            values.append(float("nan") if number is None else number)
        except NumberError as error:
            faults.append(Fault(error.problem, _cure(cell, error.cure), row=row, value=cell))
    name = blade or "typed"
    second = None if blades is None else read_blade_facts(blades)
    if second is not None and notes is not None:
        notes += [*second.notes, *not_read(second, {Who(name)} if blade else second.rows)]
    known, wrong = Beside(stated_facts(facts), second).known(
        Who(name), named=blade is not None, alone=True
    )
    faults += wrong
    if faults:
        raise RefusedError(faults)
    need_teeth(known, name)
    blank = [row for row, piece in pieces[pieces.index(held[0]) :] if not piece]
    if cells is held and len(blank) == 1 and len(values) == known["teeth"].value:
        raise RefusedError(
            Fault(
                "nothing stands here between two readings: it may be a tooth that was not read",
                "write ? for a tooth that was not read, or close the gap",
                row=blank[0],
                value="",
            )
        )
    return written(name, known, {"readings": (values, unit)})


def _pieces(text: str) -> list[tuple[int, str]]:
    """Return what stands on each line, between semicolons and tabs, with the line's number."""
    return [
        (row, piece.strip())
        for row, line in enumerate(text.splitlines(), start=1)
        for piece in re.split("[;\t]", line.strip(" ;\t"))
    ]


def _is_one(piece: str) -> bool:
    try:
        parse_number(piece)
    except NumberError:
        return len(piece.split()) == 1
    return True


def _one_or_two(pieces: list[tuple[int, str]], mark: str) -> list[Fault]:
    """Return the faults of words that a blank parts, and that could be one reading."""
    pairs = [(row, *pair) for row, piece in pieces for pair in pairwise(["", *piece.split()])]
    # Whoever writes .5 elsewhere means it behind a whole number too.
    bare = any(
        word.lstrip("+-\u2212").startswith(mark) and not may_be_one(before, word, mark)
        for _, before, word in pairs
    )
    return [
        Fault(
            f"{before} {word} could be one reading or two",
            "write no blank in a reading, such as 1.5 for 1 1/2, or put each on a line of its own",
            row=row,
            value=f"{before} {word}",
        )
        for row, before, word in pairs
        if may_be_one(before, word, mark, bare=bare)
    ]


def _cure(word: str, otherwise: str) -> str:
    if "," in word:
        return "put blanks, not commas, between the readings, and none beside a decimal comma"
    if "/" in word or word in ("+", "-", "\u2212"):
        return "write a reading without blanks in it: -0.5, 1/2, and 1.5 for 1 1/2"
    return otherwise
