"""The day's queue as CSV, XLSX and JSON: a row a blade, every number in full."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, Any

from bladegeom.tables.whole import as_text, whole_file

_WIDEST = 60
"""So many letters stand on one line of a workbook's cell."""

_UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
"""What no workbook can hold."""


def write_queue(
    rows: Sequence[Mapping[str, Any]], refused: Sequence[Any], stem: Path
) -> list[Path]:
    """Write the queue beside each other as ``stem.csv``, ``stem.xlsx`` and ``stem.json``.

    Parameters
    ----------
    rows : sequence of dict
        One a blade, all with the same keys.
    refused : sequence of dict
        One a fault.
    stem : Path

    Returns
    -------
    list of Path
        Those that were written; the workbook is left out where openpyxl is not installed.

    Raises
    ------
    RefusedError
        If they cannot be written.
    """
    files = queue_files(stem)
    with whole_file(files[0]) as file, io.TextIOWrapper(file, "utf-8-sig", newline="") as text:
        writer = csv.writer(text, lineterminator="\r\n")
        writer.writerow(rows[0] if rows else ["blade"])
        writer.writerows([_cell(value) for value in row.values()] for row in rows)
    held = {"blades": list(rows), "refused": list(refused)}
    with whole_file(files[1]) as file:
        file.write(json.dumps(held, allow_nan=False, indent=1).encode())
    if not has_workbooks():
        return files[:-1]
    _workbook(rows, refused, files[-1])
    return files


def queue_files(stem: Path) -> list[Path]:
    """Return the files of a queue: CSV, JSON, and the workbook."""
    return [stem.with_suffix(ending) for ending in (".csv", ".json", ".xlsx")]


def has_workbooks() -> bool:
    """Return whether the library that writes workbooks is installed."""
    from importlib.util import find_spec

    return find_spec("openpyxl") is not None


def printable(text: str) -> str:
    """Return a text that a workbook can hold."""
    return _UNPRINTABLE.sub("\ufffd", text)


def _cell(value: Any) -> Any:
    if isinstance(value, str):
        return as_text(value)
    if isinstance(value, list):
        return as_text("; ".join(str(one) for one in value))
    return "" if value is None else value


def _workbook(rows: Sequence[Mapping[str, Any]], refused: Sequence[Any], path: Path) -> None:
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font

    book = Workbook()
    for title, held in (("queue", rows), ("refused", refused)):
        sheet = book.create_sheet(title)
        names = list(held[0]) if held else ["blade"]
        for row, values in enumerate([names, *(list(one.values()) for one in held)], start=1):
            for column, value in enumerate(values, start=1):
                plain = "; ".join(map(str, value)) if isinstance(value, list) else value
                cell = sheet.cell(row, column)
                cell.value = printable(plain) if isinstance(plain, str) else plain
                if isinstance(plain, str):
                    cell.data_type = "s"  # Not a formula, whatever it begins with.
                    cell.font = Font(bold=row == 1)
                    cell.alignment = Alignment(vertical="top", wrap_text=len(plain) > _WIDEST)
        for cells in sheet.columns:
            wide = max(len(cell.value) for cell in cells if isinstance(cell.value, str))
            sheet.column_dimensions[cells[0].column_letter].width = min(wide, _WIDEST) + 2
        sheet.freeze_panes = "B2"  # The blade stays in sight.
        sheet.auto_filter.ref = sheet.dimensions
    del book["Sheet"]
    made = io.BytesIO()
    book.save(made)
    with whole_file(path) as file:
        _without_times(made, file)


def _without_times(made: IO[bytes], file: IO[bytes]) -> None:
    """Copy a workbook without the times at which it was written: same queue, same file."""
    with zipfile.ZipFile(made) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            held = old.read(name)
            if name == "docProps/core.xml":
                held = re.sub(rb"(<dcterms:\w+[^>]*>)[^<]*", rb"\g<1>2000-01-01T00:00:00Z", held)
            new.writestr(zipfile.ZipInfo(name), held, zipfile.ZIP_DEFLATED)
