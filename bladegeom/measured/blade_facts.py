"""The second table: one row of facts a blade."""

from __future__ import annotations

import os

from bladegeom.errors import Fault, RefusedError
from bladegeom.measured.columns import (
    FACT_COLUMNS,
    KNOWN_COLUMNS,
    ROW_COLUMNS,
    unknown_columns,
)
from bladegeom.measured.decimals import sheet_mark
from bladegeom.measured.facts import Fact, merge, parse_fact
from bladegeom.measured.text import decode, read_bytes, split
from bladegeom.units import NumberError

BladeFacts = dict[str, tuple[dict[str, Fact], list[Fault]]]


def read_blade_facts(path: str | os.PathLike[str]) -> BladeFacts:
    """Read a table with one row of facts a blade.

    Returns
    -------
    dict
        Blade -> (facts, faults); the blade is "" where the table has no column ``blade``.

    Raises
    ------
    RefusedError
        If the table as a whole is at fault.
    """
    name = os.fspath(path)
    sheet = split(decode(read_bytes(path), name), name, KNOWN_COLUMNS)
    faults = unknown_columns(sheet.header)
    for column in sheet.header:
        if column in ROW_COLUMNS:
            faults.append(
                Fault(
                    f"column {column} belongs with the readings, not in {name}",
                    "give one row a blade here",
                    row=1,
                    column=column,
                    value=column,
                )
            )
    if faults:
        raise RefusedError(faults)
    mark = sheet_mark(sheet)
    found: BladeFacts = {}
    for row, cells in sheet.rows:
        stated = dict(zip(sheet.header, cells, strict=True))
        who = stated.pop("blade", "").strip()
        known: dict[str, Fact] = {}
        wrong: list[Fault] = []
        for column, cell in stated.items():
            if column not in FACT_COLUMNS:
                continue
            try:
                fact = parse_fact(column, cell, mark, f"row {row} of {name}", None)
            except NumberError as error:
                wrong.append(
                    Fault(
                        f"{column} in row {row} of {name}: {error.problem}",
                        error.cure,
                        who,
                        None,
                        column,
                        cell,
                    )
                )
                continue
            if fact:
                wrong += merge(known, dict([fact]), who)
        if who in found:
            wrong.append(
                Fault(
                    f"{name} has more than one row for this blade (row {row} again)",
                    "keep one row a blade",
                    blade=who or None,
                    column="blade",
                    value=who,
                )
            )
        found[who] = (known, wrong)
    return found
