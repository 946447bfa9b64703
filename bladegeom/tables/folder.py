"""A folder of tables: the readings of many blades, and the facts that go with them."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from bladegeom.columns import EYE, FACT_COLUMNS, READING_COLUMNS, ROW_COLUMNS
from bladegeom.faults import Fault, RefusedError, Who, as_letters, refuse
from bladegeom.readings import Readings
from bladegeom.tables.blade_facts import BladeFacts, facts_of_sheet
from bladegeom.tables.blades import Batch, Beside, each_of, not_read, notes_of
from bladegeom.tables.facts import Fact, merge
from bladegeom.tables.header import tooth_columns
from bladegeom.tables.sheets import open_sheet
from bladegeom.tables.table import Part, open_table
from bladegeom.tables.text import Sheet, read_bytes

_TABLES = (".csv", ".xlsx")
_SPREADSHEETS = (".xls", ".xlsm", ".xlsb", ".ods")
_NOBODY = Who("")


class Filed(NamedTuple):
    """The readings of one blade, and the name of the file they are from."""

    file: str
    readings: Readings


def read_folder(folder: str | os.PathLike[str]) -> Batch[Filed]:
    """Read all CSV and XLSX files of a folder; what is wrong with one stops no other.

    A file with a column ``blade`` and facts, but no readings, states the facts of the blades in
    the other files. Facts of other blades are let be. What two files say of one blade must agree.

    Parameters
    ----------
    folder : path
        Its subfolders, hidden files and files of other kinds are not read.

    Returns
    -------
    Batch of Filed
        In the order of the files' names, and of their rows.

    Raises
    ------
    RefusedError
        If there is no such folder, or no CSV or XLSX file in it.
    """
    place = Path(folder)
    tables, notes = _tables(place)
    refused: list[Fault] = []
    sheets: list[tuple[str, Sheet]] = []
    tables_of_facts: list[BladeFacts] = []
    for path in tables:
        file = as_letters(path.name)
        try:
            sheet = open_sheet(read_bytes(path, file), file)
            kind = _kind(sheet)
            if kind == "readings":
                sheets.append((file, sheet))
            elif kind == "facts":
                tables_of_facts.append(facts_of_sheet(sheet, file))
            else:
                raise refuse(
                    "it holds neither readings nor facts of a blade",
                    "give it columns tooth and reading_mm (or _in, _thou, _um), or a column blade "
                    "and columns of facts such as teeth; or move it out of the folder",
                    value=", ".join(filter(None, sheet.header))[:80],
                )
        except RefusedError as error:
            refused += _filed(error.faults, file)
    beside = Beside({}, _together(tables_of_facts))
    found: list[Filed] = []
    named: set[Who] = set()
    for file, sheet in sheets:
        try:
            table = open_table(sheet, file, None)
        except RefusedError as error:
            refused += _filed(error.faults, file)
            continue
        made, faults = each_of(table, file, beside, Part.readings)
        named |= {*made, *(fault.who for fault in faults)}
        found += [Filed(file, readings) for readings in made.values()]
        refused += _filed(faults, file)
        notes += [*sheet.notes, *(f"{file}: {one}" for one in notes_of(table))]
    for facts in tables_of_facts:
        notes += facts.notes
        notes += [f"{facts.name}: {note}" for note in not_read(facts, named)]
        used = {facts.row_of(who) for who in named}
        for who in sorted(facts.rows.keys() - used):
            refused += _filed(facts.rows[who][1], facts.name, who)
    return Batch(found, refused, notes)


def _tables(folder: Path) -> tuple[list[Path], list[str]]:
    """Return the tables of a folder by name, and a note for each spreadsheet of another kind."""
    shown = os.fspath(folder)
    if folder.is_file():
        raise refuse(
            f"{shown} is a file, not a folder",
            "name the folder it lies in; one file is answered by: bladegeom fit FILE",
            value=shown,
        )
    try:
        files = sorted(path for path in folder.iterdir() if path.is_file())
    except (FileNotFoundError, NotADirectoryError):
        raise refuse(f"there is no folder {shown}", "check the name", value=shown) from None
    except (OSError, ValueError) as error:
        raise refuse(f"{shown} cannot be read: {error}", "check the folder", value=shown) from None
    # What begins with ~$ is a spreadsheet program's own mark on a file that is open.
    files = [path for path in files if not path.name.startswith((".", "~$"))]
    notes = [
        f"{as_letters(path.name)} is a spreadsheet file of another kind and was not read: save it "
        "as XLSX or as CSV UTF-8"
        for path in files
        if path.suffix.lower() in _SPREADSHEETS
    ]
    tables = [path for path in files if path.suffix.lower() in _TABLES]
    if not tables:
        said = f" ({'; '.join(notes)})" if notes else ""
        raise refuse(
            f"{shown} holds no CSV or XLSX file{said}",
            "put the readings there, one file a blade or many blades in one file",
            value=shown,
        )
    return tables, notes


def _kind(sheet: Sheet) -> str:
    header = set(sheet.header)
    if tooth_columns(sheet.header) or header & (READING_COLUMNS.keys() | {"tooth", "reading"}):
        return "readings"
    if "blade" in header and header & {*FACT_COLUMNS, EYE} and not header & ROW_COLUMNS:
        return "facts"
    return ""


def _together(tables: Iterable[BladeFacts]) -> BladeFacts:
    """Return what several tables of facts say, and where two of them disagree."""
    rows: dict[Who, tuple[dict[str, Fact], list[Fault]]] = {}
    for table in tables:
        for who, (stated, wrong) in table.rows.items():
            known, faults = rows.setdefault(who, ({}, []))
            faults += [*wrong, *merge(known, stated, who.name)]
    return BladeFacts("", rows, {}, {}, [], of_some=True)


def _filed(faults: Iterable[Fault], file: str, who: Who = _NOBODY) -> list[Fault]:
    """Say of faults in which file they are, and of which blade."""
    return [one.within(file).of(who) for one in faults]
