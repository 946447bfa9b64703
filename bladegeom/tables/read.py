"""Tables of readings in: CSV in its dialects and XLSX, long or wide, one blade or many."""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from bladegeom.faults import BladegeomWarning, RefusedError, as_letters
from bladegeom.kinds import checked
from bladegeom.readings import Readings
from bladegeom.tables.blades import Batch, Path, chosen, leave_unread, read_each
from bladegeom.tables.facts import check_unit, stated_facts
from bladegeom.tables.out import columns_of
from bladegeom.tables.table import Part
from bladegeom.tables.text import read_bytes

if TYPE_CHECKING:
    import pandas as pd

    from bladegeom.tables._plain import Tidy


@checked
def read_blade(
    path: Path,
    *,
    blade: str | None = None,
    blades: Path | None = None,
    unit: str | None = None,
    sheet: str | None = None,
    **facts: Any,
) -> Readings:
    """Read the readings of one blade from a CSV or XLSX file.

    Parameters
    ----------
    path : path
        One row a reading: columns ``tooth`` and one of ``reading_mm``, ``reading_in``,
        ``reading_thou``, ``reading_um``; optional ``blade``, ``turn``, ``order`` and the blade's
        facts. Or one row a blade, with a column for each tooth, named by its number (``1``,
        ``t1``, ``tooth_1_mm``). Units may stand in a row of their own under the header.
    blade : str, optional
        Which blade, where the file holds several.
    blades : path, optional
        A second CSV with one row of facts a blade.
    unit : {"mm", "in", "thou", "um"}, optional
        Unit of a column named only ``reading``, or of columns named only by their teeth.
    sheet : str, optional
        Which sheet, where a workbook has several with cells.
    **facts
        Facts, lengths with their unit: ``teeth=40, ring_radius="4.5 in"``. A ``customer`` leaves
        the blades of all others out, also where two blades have one name.

    Returns
    -------
    Readings

    Raises
    ------
    RefusedError
        With every fault found, each with its row and cure.
    """
    batch = read_blades(path, blades=blades, unit=unit, sheet=sheet, **facts)
    made = {readings.blade.who: readings for readings in batch.readings}
    return chosen(made, batch.refused, blade, path, ", or read them all with read_table")


@checked
def read_table(
    path: Path,
    *,
    blades: Path | None = None,
    unit: str | None = None,
    sheet: str | None = None,
    **facts: Any,
) -> pd.DataFrame:
    """Read many blades into a tidy frame, one row a reading.

    Parameters
    ----------
    path, blades, unit, sheet, **facts
        As for `read_blade`.

    Returns
    -------
    pandas.DataFrame
        Columns ``blade``, ``tooth``, ``turn``, ``reading_<unit>`` and every fact that is stated
        (lengths in mm). Teeth not read have no row. What was refused is listed, as `Fault`, in
        ``frame.attrs["refused"]``, and a `BladegeomWarning` says so.

    Raises
    ------
    RefusedError
        If the file as a whole is at fault, or no blade in it can be answered.
    """
    how = {"blades": blades, "unit": unit, "sheet": sheet, **facts}
    tidy = tidy_table(read_bytes(path), os.fspath(path), **how)
    if tidy.frame is None:
        raise RefusedError(tidy.refused)
    if tidy.refused:
        lines = "\n".join(f"  {fault}" for fault in tidy.refused)
        warnings.warn(f"left out:\n{lines}", BladegeomWarning, stacklevel=2)
    return tidy.frame


def tidy_table(
    data: bytes,
    name: str,
    *,
    blades: Path | None = None,
    unit: str | None = None,
    sheet: str | None = None,
    progress: Callable[[int, int], None] | None = None,
    **facts: Any,
) -> Tidy:
    """Do the work of `read_table` on the bytes of a table called `name`; nothing is warned of.

    Where blades have to be read cell by cell, `progress` is told how many of how many are.

    Raises
    ------
    RefusedError
        If the file as a whole is at fault.
    """
    from bladegeom.tables._plain import plain_table  # The command for one blade does not wait.

    check_unit(unit)
    name = as_letters(name)
    found = plain_table(data, name, stated_facts(facts), blades, unit, progress)
    if found is not None:
        return found
    how = {"blades": blades, "unit": unit, "sheet": sheet, "progress": progress, **facts}
    return tidy_by_cells(data, name, **how)


def tidy_by_cells(data: bytes, name: str, **how: Any) -> Tidy:
    """Do the work of `tidy_table` cell by cell, whatever the table is like.

    Raises
    ------
    RefusedError
        If the file as a whole is at fault.
    """
    import pandas as pd

    from bladegeom.tables._plain import Tidy, remarks_of

    batch = parse_blades(data, name, **how)
    batch.refused.extend(leave_unread(batch))
    frame = None
    if batch.readings:
        frame = pd.concat(
            [pd.DataFrame(columns_of(one)) for one in batch.readings], ignore_index=True
        )
        frame.attrs["refused"] = list(batch.refused)
    return Tidy(frame, batch.refused, batch.notes, remarks_of(batch.readings))


@checked
def read_blades(
    path: Path,
    *,
    blades: Path | None = None,
    unit: str | None = None,
    sheet: str | None = None,
    **facts: Any,
) -> Batch[Readings]:
    """Read every blade of a CSV or XLSX file; a fault in one blade's rows stops no other.

    Parameters
    ----------
    path, blades, unit, sheet, **facts
        As for `read_blade`.

    Returns
    -------
    Batch

    Raises
    ------
    RefusedError
        If the file as a whole is at fault (header, unit, encoding, unequal cells).
    """
    how = {"blades": blades, "unit": unit, "sheet": sheet, **facts}
    return parse_blades(read_bytes(path), os.fspath(path), **how)


def parse_blades(data: bytes, name: str, **how: Any) -> Batch[Readings]:
    """Do the work of `read_blades` on the bytes of a table called `name`; see `read_each`."""
    made, refused, notes = read_each(data, name, Part.readings, **how)
    return Batch([*made.values()], refused, notes)
