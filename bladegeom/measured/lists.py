"""Plain readings in tooth order, typed or piped."""

from __future__ import annotations

import os
import re
from typing import Any

from bladegeom.errors import Fault, RefusedError, refuse
from bladegeom.measured.blade_facts import read_blade_facts
from bladegeom.measured.blades import not_read
from bladegeom.measured.decimals import decimal_mark
from bladegeom.measured.facts import (
    blade_of,
    check_unit,
    merge,
    need_teeth,
    reading_facts,
    stated_facts,
)
from bladegeom.measured.readings import Readings
from bladegeom.measured.sheets import is_workbook
from bladegeom.measured.table import Written
from bladegeom.measured.text import decode
from bladegeom.units import NumberError, parse_number


def looks_like_table(data: bytes) -> bool:
    """Return whether bytes are a table (names in the first line) or plain readings."""
    if is_workbook(data):
        return True
    text = decode(data, "the input", [])
    first = next((line for line in text.splitlines() if line.strip()), "")
    words = re.findall(r"[^\W\d_]{4,}", first.lower())
    return any(word != "infinity" for word in words)


def parse_list(
    data: bytes,
    *,
    blade: str | None = None,
    blades: str | os.PathLike[str] | None = None,
    unit: str | None = None,
    written: list[Written] | None = None,
    notes: list[str] | None = None,
    **facts: Any,
) -> Readings:
    """Read plain readings in tooth order, one a line or several on a line.

    Parameters
    ----------
    data : bytes
        Numbers; ``?`` where a tooth was not read. One reading more than the blade has teeth is
        tooth 1 read again.
    blade : str, optional
        The blade's name.
    written : list, optional
        What was written is added to it, also where it is refused.
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
    cells = _list_cells(decode(data, "the input"))
    if not cells:
        raise refuse("there are no readings", "give one reading a tooth, in tooth order")
    mark = decimal_mark(cells, "\n")
    values: list[float] = []
    faults: list[Fault] = []
    for row, cell in cells:
        try:
            number = parse_number(cell, mark)
            values.append(float("nan") if number is None else number)
        except NumberError as error:
            cure = "put blanks, not commas, between the readings" if "," in cell else error.cure
            faults.append(Fault(error.problem, cure, row=row, value=cell))
    known = stated_facts(facts)
    name = blade or "typed"
    if blades is not None:
        second = read_blade_facts(blades)
        if notes is not None:
            notes += [*second.notes, *not_read(second, {name} if blade else second.rows)]
        facts_of, wrong = second.find(name, named=blade is not None, alone=True)
        faults += [*wrong, *merge(known, facts_of, name)]
    if faults:
        raise RefusedError(faults)
    need_teeth(known, name)
    keywords: dict[str, Any] = {f"reading_{unit}": values}
    keywords |= reading_facts(known)
    made = blade_of(known, name)
    if written is not None:
        written.append(Written(made, keywords))
    return Readings(made, **keywords)


def _list_cells(text: str) -> list[tuple[int, str]]:
    cells: list[tuple[int, str]] = []
    for row, line in enumerate(text.splitlines(), start=1):
        words = line.replace(";", " ").replace("\t", " ").split()
        try:
            single = parse_number(line) is not None
        except NumberError:
            single = False
        cells += [(row, line.strip())] if single and words else [(row, word) for word in words]
    return cells
