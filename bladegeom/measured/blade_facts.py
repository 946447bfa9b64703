"""The second table: one row of facts a blade."""

from __future__ import annotations

import os
from dataclasses import replace
from typing import NamedTuple

from bladegeom.errors import Fault, RefusedError, as_letters, refuse
from bladegeom.measured.columns import (
    FACT_COLUMNS,
    ROW_COLUMNS,
    unknown_columns,
)
from bladegeom.measured.damage import damaged_number
from bladegeom.measured.decimals import sheet_mark
from bladegeom.measured.facts import Fact, merge, parse_fact
from bladegeom.measured.sheets import open_sheet
from bladegeom.measured.text import Sheet, read_bytes
from bladegeom.measured.unit_row import take_units
from bladegeom.units import NumberError

LACKING = "has no row for this blade"
"""End of the problem of a blade that the table does not know."""

EYE = "eye"
"""Column of what the eye found, in words; ``none`` where it found nothing."""


class BladeFacts(NamedTuple):
    """What a table says of each blade.

    Attributes
    ----------
    name : str
        Of the table.
    rows : dict
        Blade -> (facts, faults); the blade is "" where the table has no column ``blade``.
    eyes : dict
        Blade -> what the eye found, as it is written there.
    """

    name: str
    rows: dict[str, tuple[dict[str, Fact], list[Fault]]]
    eyes: dict[str, str]

    def find(
        self, blade: str, *, named: bool, alone: bool, row: int | None = None
    ) -> tuple[dict[str, Fact], list[Fault]]:
        """Return the facts of a blade, and the faults in them.

        Parameters
        ----------
        blade : str
        named : bool
            Whether the readings name their blade; where not, a table of one row is of this blade.
        alone : bool
            Whether the readings are of one blade only.
        row : int, optional
            First row of the blade's readings, to be named if the blade is not in the table.

        Raises
        ------
        RefusedError
            If the table does not name its blades, and there are several.
        """
        if "" in self.rows and not alone:
            raise refuse(f"{self.name} does not say of which blade it is", "add a column blade")
        if len(self.rows) == 1 and ("" in self.rows or not named):
            return next(iter(self.rows.values()))
        lacking = Fault(
            f"{self.name} {LACKING}",
            "add one, or correct the blade's name",
            blade,
            row,
            "blade",
            blade,
        )
        return self.rows.get(blade, ({}, [lacking]))


def read_blade_facts(path: str | os.PathLike[str], *, notes: list[str] | None = None) -> BladeFacts:
    """Read a table with one row of facts a blade.

    Parameters
    ----------
    path : path
    notes : list of str, optional
        As for `bladegeom.measured.text.decode`.

    Returns
    -------
    BladeFacts

    Raises
    ------
    RefusedError
        If the table as a whole is at fault.
    """
    name = as_letters(path)
    data = read_bytes(path)
    try:
        sheet, _ = take_units(open_sheet(data, name, notes))
        _check(sheet)
        mark = sheet_mark(sheet)
    except RefusedError as error:
        # Row numbers mean nothing until it is said of which of the two tables.
        raise RefusedError(
            fault if name in fault.problem else replace(fault, problem=f"{name}: {fault.problem}")
            for fault in error.faults
        ) from None
    found: dict[str, tuple[dict[str, Fact], list[Fault]]] = {}
    eyes: dict[str, str] = {}
    for row, cells in sheet.rows:
        stated = dict(zip(sheet.header, cells, strict=True))
        who = stated.pop("blade", "").strip()
        if words := " ".join(stated.get(EYE, "").split()):
            eyes[who] = words
        known: dict[str, Fact] = {}
        wrong: list[Fault] = []
        for column, cell in stated.items():
            if column not in FACT_COLUMNS:
                continue
            try:
                fact = parse_fact(column, cell, mark, f"row {row} of {name}", None)
            except NumberError as error:
                problem, cure = damaged_number(cell, mark) or (error.problem, error.cure)
                wrong.append(
                    Fault(
                        f"{column} in row {row} of {name}: {problem}",
                        cure,
                        who or None,
                        None,
                        column,
                        cell.strip(),
                    )
                )
                continue
            if fact:
                wrong += merge(known, dict([fact]), who or None)
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
    return BladeFacts(name, found, eyes)


def _check(sheet: Sheet) -> None:
    faults = unknown_columns(sheet.header, sheet.header_row)
    faults += [
        Fault(
            f"column {column} belongs with the readings, not here",
            "give one row a blade",
            row=sheet.header_row,
            column=column,
            value=column,
        )
        for column in sheet.header
        if column in ROW_COLUMNS
    ]
    if "blade" in sheet.header:
        place = sheet.header.index("blade")
        faults += [
            Fault("the blade's name is missing", "name it", row=row, column="blade", value="")
            for row, cells in sheet.rows
            if not cells[place].strip()
        ]
    elif len(sheet.rows) > 1:
        faults.append(
            Fault("there is no column blade", "add it", row=sheet.header_row, column="blade")
        )
    if not sheet.rows:
        faults.append(Fault("there is a header and no rows", "add one row a blade"))
    if faults:
        raise RefusedError(faults)
