"""Plain readings in tooth order, typed or piped."""

from __future__ import annotations

from typing import Any

from bladegeom.errors import Fault, RefusedError, refuse
from bladegeom.measured.decimals import decimal_mark
from bladegeom.measured.facts import blade_of, check_unit, need_teeth, reading_facts, stated_facts
from bladegeom.measured.readings import Readings
from bladegeom.measured.text import decode
from bladegeom.units import NumberError, parse_number


def looks_like_table(data: bytes) -> bool:
    """Return whether bytes are a table (names in the first line) or plain readings."""
    first = next((line for line in decode(data, "the input").splitlines() if line.strip()), "")
    return "tooth" in first.lower() or "reading" in first.lower()


def parse_list(data: bytes, name: str, *, unit: str | None = None, **facts: Any) -> Readings:
    """Read plain readings in tooth order, one a line or several on a line.

    Parameters
    ----------
    data : bytes
        Numbers; ``?`` where a tooth was not read. One reading more than the blade has teeth is
        tooth 1 read again.
    name : str
        The blade's name.
    unit, **facts
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
            faults.append(Fault(error.problem, error.cure, row=row, value=cell))
    if faults:
        raise RefusedError(faults)
    known = stated_facts(facts)
    need_teeth(known, name)
    keywords: dict[str, Any] = {f"reading_{unit}": values}
    return Readings(blade_of(known, name), **keywords, **reading_facts(known))


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
