"""A folder of tables: the readings of many blades, and the facts that go with them."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from bladegeom.columns import EYE, FACT_COLUMNS, READING_COLUMNS, ROW_COLUMNS
from bladegeom.faults import Fault, RefusedError, as_letters, refuse
from bladegeom.readings import Readings
from bladegeom.tables.blade_facts import BladeFacts, read_blade_facts
from bladegeom.tables.blades import Beside, answered, faults_of_spoilt, not_read
from bladegeom.tables.facts import Fact, merge
from bladegeom.tables.header import tooth_columns
from bladegeom.tables.sheets import open_sheet
from bladegeom.tables.table import Part, open_table
from bladegeom.tables.text import Sheet, Spoilt, read_bytes

_TABLES = (".csv", ".xlsx")
_SPREADSHEETS = (".xls", ".xlsm", ".xlsb", ".ods")


class Filed(NamedTuple):
    """The readings of one blade, and the name of the file they are from."""

    file: str
    readings: Readings


class FolderBatch(NamedTuple):
    """What the tables of a folder held.

    Attributes
    ----------
    readings : list of Filed
        In the order of the files' names, and of their rows.
    refused : list of Fault
        Every fault of the others.
    notes : list of str
        What else the reader should know of the folder.
    """

    readings: list[Filed]
    refused: list[Fault]
    notes: list[str]


def read_folder(folder: str | os.PathLike[str]) -> FolderBatch:
    """Read all CSV and XLSX files of a folder; what is wrong with one stops no other.

    A file with a column ``blade`` and facts, but no readings, states the facts of the blades in
    the other files. Facts of other blades are let be. What two files say of one blade must agree.

    Parameters
    ----------
    folder : path
        Its subfolders, hidden files and files of other kinds are not read.

    Returns
    -------
    FolderBatch

    Raises
    ------
    RefusedError
        If there is no such folder, or no CSV or XLSX file in it.
    """
    place = Path(folder)
    tables, notes = _tables(place)
    refused: list[Fault] = []
    sheets: list[tuple[str, Sheet, list[Spoilt]]] = []
    facts: list[BladeFacts] = []
    for path in tables:
        file = as_letters(path.name)
        try:
            spoilt: list[Spoilt] = []
            said: list[str] = []
            sheet = open_sheet(read_bytes(path, file), file, said, spoilt)
            notes += said
            kind = _kind(sheet)
            if kind == "readings":
                sheets.append((file, sheet, spoilt))
            elif kind == "facts":
                facts.append(read_blade_facts(path, name=file, notes=[]))
            else:
                raise refuse(
                    "it holds neither readings nor facts of a blade",
                    "give it columns tooth and reading_mm (or _in, _thou, _um), or a column blade "
                    "and columns of facts such as teeth; or move it out of the folder",
                    value=", ".join(filter(None, sheet.header))[:80],
                )
        except RefusedError as error:
            refused += _filed(error.faults, file)
    found: list[Filed] = []
    named: set[str] = set()
    for name, sheet, spoilt in sheets:
        try:
            table = open_table(sheet, name, None)
        except RefusedError as error:
            refused += _filed(error.faults, name)
            continue
        if ignored := table.ignored():
            notes.append(f"{name}: columns not used: {', '.join(ignored)}")
        groups = table.groups(Path(name).stem)
        faulty = faults_of_spoilt(spoilt, table)
        for who in {**groups, **faulty}:
            named.add(who)
            known, wrong = _facts_of(who, facts)
            wrong = [*faulty.get(who, []), *wrong]
            faults: list[Fault] = []
            rows = groups.get(who, [])
            made = answered(table, who, rows, Beside(known), wrong, False, Part.readings, faults)
            if made is not None:
                found.append(Filed(name, made))
            refused += _filed(faults, name)
    for stated in facts:
        notes += stated.notes
        notes += [f"{stated.name}: {note}" for note in not_read(stated, named)]
        for who in sorted(stated.rows.keys() - named):
            refused += _filed(stated.rows[who][1], stated.name, who)
    return FolderBatch(found, refused, notes)


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


def _facts_of(blade: str, tables: Iterable[BladeFacts]) -> tuple[dict[str, Fact], list[Fault]]:
    known: dict[str, Fact] = {}
    faults: list[Fault] = []
    for table in tables:
        if blade in table.rows:
            stated, wrong = table.rows[blade]
            faults += [*wrong, *merge(known, stated, blade)]
    return known, faults


def _filed(faults: Iterable[Fault], file: str, blade: str | None = None) -> list[Fault]:
    """Say of faults in which file they are, and of which blade."""
    return [replace(one.within(file), blade=one.blade or blade or None) for one in faults]
