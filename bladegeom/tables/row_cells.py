"""The cells of a blade's rows: numbers, facts and words, each refused where it stands."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

from bladegeom.faults import Fault, also_in
from bladegeom.lengths import NumberError, parse_number, parse_whole
from bladegeom.readings import WAYS
from bladegeom.tables.damage import damaged_number
from bladegeom.tables.facts import Fact, merge, parse_fact


def no_number(error: NumberError, name: str, row: int, column: str, cell: str, mark: str) -> Fault:
    """Return what is wrong with a cell that holds no number; a spreadsheet's doing by its name."""
    problem, cure = damaged_number(cell, mark) or (error.problem, error.cure)
    return Fault(f"{column}: {problem}", cure, name, row, column, cell.strip())


def facts_of_column(
    name: str,
    column: str,
    rows: list[tuple[int, list[str]]],
    place: int,
    mark: str,
    known: dict[str, Fact],
) -> list[Fault]:
    """Add what a constant column states to `known`; the same cell is read, and refused, once."""
    found: dict[str, list[int]] = {}
    for row, cells in rows:
        found.setdefault(cells[place].strip(), []).append(row)
    faults: list[Fault] = []
    for cell, (row, *others) in found.items():
        try:
            fact = parse_fact(column, cell, mark, f"row {row}", row)
            wrong = merge(known, dict([fact]), name) if fact else []
        except NumberError as error:
            wrong = [no_number(error, name, row, column, cell, mark)]
        faults += [replace(one, problem=f"{one.problem}{also_in(others)}") for one in wrong]
    return faults


def turned_words(
    name: str, rows: list[tuple[int, list[str]]], place: int
) -> tuple[list[str], list[Fault]]:
    """Read the column ``turned``; empty where nothing is stated."""
    words = [cells[place].strip().lower() for _, cells in rows]
    if not any(words):
        return [], []
    return words, [
        Fault(
            f"turned is {word!r}",
            "write forward or backward in every row",
            name,
            row,
            "turned",
            word,
        )
        for word, (row, _) in zip(words, rows, strict=True)
        if word not in WAYS
    ]


def numbers_of_row(
    name: str,
    row: int,
    cells: list[str],
    place: Mapping[str, int],
    column: str,
    mark: str,
    wanted: Iterable[str],
) -> tuple[list[Fault], dict[str, float]]:
    """Read the numbers of one row of a long table: what is wrong, and what is right."""
    faults: list[Fault] = []
    values: dict[str, float] = {}
    for one in wanted:
        cell = cells[place[one]]
        try:
            value = parse_number(cell, mark) if one == column else parse_whole(cell, mark)
        except NumberError as error:
            if one != column:
                error.cure = f"write the {one} as a whole number"
            faults.append(no_number(error, name, row, one, cell, mark))
            continue
        if value is None and one in ("turn", "order") and math.isnan(values.get(column, 0.0)):
            value = 0  # Nothing was read here, so nothing to place in a turn or an order.
        if value is None and one != column:
            faults.append(
                Fault(
                    f"{one} is blank",
                    f"say which {one} the reading is of",
                    name,
                    row,
                    one,
                    cell.strip(),
                )
            )
            continue
        values[one] = float("nan") if value is None else float(value)
    return faults, values
