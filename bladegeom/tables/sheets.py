"""From a file's bytes, text or a spreadsheet's own, to its table of cells."""

from __future__ import annotations

from bladegeom.columns import KNOWN_COLUMNS
from bladegeom.tables.text import Sheet, Spoilt, decode, sheet_of_rows, split


def is_workbook(data: bytes) -> bool:
    """Return whether bytes are a spreadsheet's own file."""
    return data.startswith(b"PK\x03\x04")


def open_sheet(
    data: bytes,
    name: str,
    notes: list[str] | None = None,
    spoilt: list[Spoilt] | None = None,
) -> Sheet:
    """Split the bytes of the file called `name` into cells.

    Parameters
    ----------
    data : bytes
    name : str
    notes : list of str, optional
        As for `decode`.
    spoilt : list of Spoilt, optional
        As for `split`.

    Raises
    ------
    RefusedError
    """
    if is_workbook(data):
        from bladegeom.tables.workbook import workbook_rows  # Few tables are, and all would wait.

        # Its numbers cannot be mistaken; in its texts a point may mark thousands.
        return sheet_of_rows(workbook_rows(data, name), ";", spoilt)
    return split(decode(data, name, notes), name, KNOWN_COLUMNS, spoilt)
