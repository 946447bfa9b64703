"""The files of a day's queue: a table and a workbook for people, everything in full beside them."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any
from urllib.parse import quote

from bladegeom.draw.printed import CAUTIONS
from bladegeom.draw.results import has_workbooks, put
from bladegeom.faults import Fault
from bladegeom.shop.queue import Cell, Number, for_people, to_read_again
from bladegeom.shop.totals import NOBODY, totals
from bladegeom.tables.out import as_text, whole_file

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

QUEUE, ANSWERS, AGAIN = "queue", "answers", "measure_again"
ENDINGS = {QUEUE: ("csv", "json", "xlsx"), ANSWERS: ("csv",), AGAIN: ("csv",)}
"""Name of a file -> its endings."""

_FOOT = " ".join((CAUTIONS[0].split(". ")[0] + ".", *CAUTIONS[1:3]))
"""Of each printed page: a workbook has room for so many cautions; the sheets carry them all."""

_WIDEST, _LINE = 48, 15
"""Letters that stand on one line of a workbook's cell at most, and points that one takes."""


def queue_files(folder: Path) -> list[Path]:
    """Return the files of a queue: for people, in full, and what is to be read again."""
    return [folder / f"{name}.{one}" for name, endings in ENDINGS.items() for one in endings]


def write_queue(
    rows: Sequence[dict[str, Any]], refused: Sequence[Fault], folder: Path, unit: str
) -> list[Path]:
    """Write the rows of a queue, all with the same keys, and faults; return the files.

    Parameters
    ----------
    rows : sequence of dict
        In the order of the queue.
    refused : sequence of Fault
        For the JSON.
    folder : Path
        What goes into it: see `queue_files`; no workbook where openpyxl is not installed.
    unit : {"mm", "in", "thou"}
        Of what is for people.
    """
    people, again = for_people(rows, unit), to_read_again(rows)
    every, whole, book, answers, listed = queue_files(folder)
    _table(people, every, ["blade"])
    held = {"blades": list(rows), "refused": [fault.to_dict() for fault in refused]}
    with whole_file(whole) as file:
        file.write(json.dumps(held, allow_nan=False, indent=1).encode())
    _table(rows, answers, ["blade"])
    _table(again, listed, ["customer", "blade"])
    if not has_workbooks():
        return [every, whole, answers, listed]
    _workbook(people, rows, again, book)
    return [every, whole, book, answers, listed]


def _table(rows: Sequence[Mapping[str, Any]], path: Path, otherwise: Sequence[str]) -> None:
    """Write a CSV; of no rows, a header that is otherwise theirs."""
    with whole_file(path) as file, io.TextIOWrapper(file, "utf-8-sig", newline="") as text:
        writer = csv.writer(text, lineterminator="\r\n")
        writer.writerow(rows[0] if rows else otherwise)
        for row in rows:
            plain = map(_plain, row.values())
            writer.writerow(as_text(one) if isinstance(one, str) else one for one in plain)


def _plain(value: Any) -> Any:
    """Return a value of a queue as one cell holds it: a list as one text."""
    return "; ".join(map(str, value)) if isinstance(value, list) else value


# The workbook


def _workbook(
    people: Sequence[Mapping[str, Cell]],
    rows: Sequence[Mapping[str, Any]],
    again: Sequence[Mapping[str, Cell]],
    path: Path,
) -> None:
    from openpyxl import Workbook

    book = Workbook()
    del book["Sheet"]
    _filled(book.create_sheet("queue"), people or [{"blade": None}], "C2")
    _filled(book.create_sheet("totals"), _counted(rows), "B2")
    _filled(book.create_sheet("measure again"), again or [{"customer": None}], "C2")
    made = io.BytesIO()
    book.save(made)
    with whole_file(path) as file:
        without_times(made, file)


def _counted(rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Cell]]:
    """Return the totals as a table: a row a customer, a column an action, all at the end."""
    found = totals(rows)
    whose: list[tuple[str, str | None]] = [(one or NOBODY, one) for one in found.customers]
    made: list[dict[str, Cell]] = []
    for name, customer in [*(whose if found.named else []), ("all", None)]:
        row: dict[str, Cell] = {"customer": name}
        row |= {action: found.of(customer, action) or None for action in found.actions}
        made.append(row | {"all": found.of(customer)})
    return made


def _filled(sheet: Worksheet, rows: Sequence[Mapping[str, Cell]], frozen: str) -> None:
    """Fill a sheet: header in sight, a filter, widths, a link to each blade's own sheet."""
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.properties import PageSetupProperties

    plain, broken = Alignment(vertical="top"), Alignment(vertical="top", wrap_text=True)
    bold, link = Font(bold=True), Font(color="0563C1", underline="single")
    heads = list(rows[0])
    wide = [0] * len(heads)
    filled: list[Sequence[Cell]] = [heads, *(list(one.values()) for one in rows)]
    for at, values in enumerate(filled, start=1):
        lines = 1
        for place, value in enumerate(values):
            cell, text = sheet.cell(at, place + 1), "" if value is None else str(value)
            number = isinstance(value, Number)
            held = round(value.value, value.decimals) if isinstance(value, Number) else value
            put(cell, None if held == "" else held)
            if isinstance(value, Number):
                cell.number_format = f"0.{'0' * value.decimals}".rstrip(".")
            cell.alignment = plain if number or (len(text) <= _WIDEST and at > 1) else broken
            if at == 1:
                cell.font = bold
            if at > 1 and heads[place] == "sheet" and text:
                cell.hyperlink = quote(text)  # Relative: the folder may be moved.
                cell.font = link
            # A header is broken between its words; a long text is too.
            words = text.split(" ") if at == 1 else [text]
            wide[place] = max([wide[place], *(min(len(one), _WIDEST) for one in words)])
            lines = max(lines, 3 if at == 1 else -(-len(text) // _WIDEST))
        sheet.row_dimensions[at].height = lines * _LINE
    for place, letters in enumerate(wide, start=1):
        sheet.column_dimensions[get_column_letter(place)].width = letters + 3
    sheet.freeze_panes = frozen  # Header, and whose blade it is, stay in sight.
    sheet.auto_filter.ref = sheet.dimensions
    sheet.page_setup.orientation = "landscape"
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.page_setup.fitToHeight = 0
    sheet.print_title_rows = "1:1"
    foot = sheet.oddFooter
    if foot is not None and foot.center is not None:
        foot.center.text, foot.center.size = _FOOT, 7


def without_times(made: IO[bytes], file: IO[bytes]) -> None:
    """Copy a workbook without the times at which it was written: same queue, same file."""
    with zipfile.ZipFile(made) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            held = old.read(name)
            if name == "docProps/core.xml":
                held = re.sub(rb"(<dcterms:\w+[^>]*>)[^<]*", rb"\g<1>2000-01-01T00:00:00Z", held)
            new.writestr(zipfile.ZipInfo(name), held, zipfile.ZIP_DEFLATED)
