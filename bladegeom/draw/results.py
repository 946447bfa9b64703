"""What is written of many blades: a table of answers, every number in full."""

from __future__ import annotations

import csv
import io
import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, NamedTuple

from bladegeom.faults import Fault, RefusedError, Who, as_letters, refuse
from bladegeom.fit.many import fit_frame
from bladegeom.tables.out import as_text, check_apart, whole_file
from bladegeom.tables.read import tidy_table
from bladegeom.tables.sheets import open_sheet
from bladegeom.tables.text import read_bytes

if TYPE_CHECKING:
    import pandas as pd

    from bladegeom.tables._plain import Tidy

Progress = Callable[[str, int, int], None]

_AT_ONCE = 8192
_ROWS_OF_A_WORKBOOK = 1_048_576
_LONGEST_HEADER = 1 << 16
_UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
"""What no workbook can hold."""


class Answered(NamedTuple):
    """What came of tables of readings: how many blades were answered, and how many left out."""

    answered: int
    left_out: int
    refused: list[Fault]
    notes: list[str]


def write_answers(
    inputs: Sequence[str | os.PathLike[str]],
    output: str | os.PathLike[str],
    *,
    blades: str | os.PathLike[str] | None = None,
    unit: str | None = None,
    sheet: str | None = None,
    progress: Progress = lambda *_: None,
) -> Answered:
    """Fit every blade of some tables and write the answers into one, a row a blade.

    The columns are those of `bladegeom.fit_table`, then ``read_again`` (what to read again before
    anything is marked, where a mistake in the readings seems likely; no teeth are named then),
    ``file`` and ``refused``. Blades that cannot be answered stand at the end, with nothing but
    their name and the reason.

    `output` is a .csv file, or .xlsx where openpyxl is installed: a new one, or an older table of
    answers, which is replaced whole or not at all. `blades` is a table with one row of facts a
    blade, `unit` that of readings whose column does not say, `sheet` which one of a workbook is
    meant; `progress` is told what is being done,
    and how much of how much is.

    Raises
    ------
    RefusedError
        If no blade can be answered, or the file cannot be written.
    """
    import pandas as pd

    target = _target(output, [*inputs, *([blades] if blades is not None else [])])
    tables: list[pd.DataFrame] = []
    refused: list[Fault] = []
    notes: list[str] = []
    for one in inputs:
        file = as_letters(Path(one).name)
        try:
            how = {"blades": blades, "unit": unit, "sheet": sheet}
            found, faults, said = _answers(one, file, how, progress)
        except RefusedError as error:
            refused += [fault.within(file) for fault in error.faults]
            continue
        tables += [table.assign(file=file) for table in found]
        refused += [fault.within(file) for fault in faults]
        notes += [f"{file}: {note}" for note in said]
    if not tables:
        raise RefusedError(refused)
    whole = tables[0] if len(tables) == 1 else pd.concat(tables, ignore_index=True)
    if "customer" in whole or any(fault.customer for fault in refused):
        whole.insert(1, "customer", whole.pop("customer") if "customer" in whole else None)
    reasons: dict[tuple[str, str, str], list[str]] = {}
    for fault in refused:
        row = "" if fault.row is None else f"row {fault.row}: "
        reason = f"{row}{fault.problem}; {fault.cure}"
        reasons.setdefault((*fault.who, fault.file or ""), []).append(reason)
    left = pd.DataFrame(
        [(*which, ". ".join(said)) for which, said in reasons.items()],
        columns=["blade", "customer", "file", "refused"],
    ).reindex(columns=[*whole.columns, "refused"])
    rows = len(whole) + len(left)
    workbook = target.suffix.lower() == ".xlsx"
    if workbook and rows >= _ROWS_OF_A_WORKBOOK:
        raise refuse(f"{rows} rows are more than a workbook holds", "write a .csv file")
    with whole_file(target) as out:
        parts = _parts(whole.assign(refused=None), left, progress)
        (_write_workbook if workbook else _write_csv)(parts, out)
    return Answered(len(whole), len(left), refused, notes)


def _target(output: str | os.PathLike[str], inputs: Sequence[str | os.PathLike[str]]) -> Path:
    target = Path(output)
    kind = target.suffix.lower()
    if kind not in (".csv", ".xlsx"):
        problem, cure = f"{target} is neither .csv nor .xlsx", "give the file one of these endings"
        raise refuse(problem, cure, value=target)
    if kind == ".xlsx":
        need_workbooks(target, "write a .csv file")
    check_apart([target], inputs)
    if target.is_file() and target.stat().st_size and not _holds_answers(target):
        raise refuse(
            f"{target} is there already and is no table of answers",
            "write the answers to a new file: only an older table of answers is replaced",
            value=target,
        )
    return target


def _holds_answers(path: Path) -> bool:
    """Return whether a file is a table that was written here, by its columns."""
    header: list[Any]
    try:
        if path.suffix.lower() == ".csv":
            with path.open("rb") as file:
                header = open_sheet(file.readline(_LONGEST_HEADER), path.name).header
        else:
            from openpyxl import load_workbook

            (first, *_) = load_workbook(path, read_only=True).worksheets
            header = [cell for row in first.iter_rows(max_row=1, values_only=True) for cell in row]
    except Exception:  # A damaged archive fails in any way.
        return False
    return header[:1] == ["blade"] and header[-2:] == ["file", "refused"]


def _answers(
    path: str | os.PathLike[str],
    file: str,
    how: Mapping[str, Any],
    progress: Progress,
) -> tuple[list[pd.DataFrame], list[Fault], list[str]]:
    """Answer the blades of a file, a giant one some blades at a time: tables, faults, notes."""
    from bladegeom.tables import _pieces
    from bladegeom.tables._plain import NotPlainError

    data = read_bytes(path)
    fitting = partial(progress, f"fitting {file}")
    if len(data) > 2 * _pieces.PIECE:
        with suppress(NotPlainError):
            parts = _pieces.tidy_pieces(data, file, {}, how["blades"], how["unit"])
            return _each_fitted(parts, fitting)
    tidy = tidy_table(data, file, progress=partial(progress, f"reading {file}"), **how)
    table, refused = _fitted(tidy, fitting)
    return [] if table is None else [table], refused, tidy.notes


def _each_fitted(
    parts: Iterable[tuple[Tidy, float]], progress: Callable[[int, int], None]
) -> tuple[list[pd.DataFrame], list[Fault], list[str]]:
    """Fit the parts of a table one after the other, each of which tells the share read so far."""
    tables: list[pd.DataFrame] = []
    refused: list[Fault] = []
    notes: list[str] = []
    done = 0
    for tidy, share in parts:
        table, wrong = _fitted(tidy, lambda *_: None)
        if table is not None:
            tables.append(table)
            done += len(table)
        progress(done, round(done / share))
        refused += wrong
        notes += tidy.notes
    return tables, refused, notes


def _fitted(
    tidy: Tidy, progress: Callable[[int, int], None]
) -> tuple[pd.DataFrame | None, list[Fault]]:
    """Fit what a table held, or a part of it; return the faults of both."""
    if tidy.frame is None:
        return None, tidy.refused
    table, wrong = fit_frame(tidy.frame, progress, checked=True)
    # What was wrong with a row of the file was found before; these are rows of the frame.
    refused = [*tidy.refused, *(replace(fault, row=None) for fault in wrong)]
    if table is not None and tidy.remarks:
        words = table["warnings"].astype(object).to_numpy(copy=True)
        customers = table["customer"].fillna("") if "customer" in table else [""] * len(table)
        for at, who in enumerate(map(Who, table["blade"], customers)):
            if who in tidy.remarks:
                words[at] = "; ".join(filter(None, [words[at], *tidy.remarks[who]]))
        table["warnings"] = words
    return table, refused


def _parts(table: pd.DataFrame, left: pd.DataFrame, progress: Progress) -> Iterator[pd.DataFrame]:
    """Yield the rows that are written, some at a time, the refused ones last."""
    for at in range(0, len(table), _AT_ONCE):
        progress("writing", at, len(table))
        yield table.iloc[at : at + _AT_ONCE]
    if len(left):
        yield left
    progress("writing", len(table), len(table))


def _write_csv(parts: Iterator[pd.DataFrame], out: IO[bytes]) -> None:
    # In half the time that a frame's own writer takes, with the same text.
    letters = io.TextIOWrapper(out, "utf-8", "backslashreplace", newline="")
    letters.write("\ufeff")
    lines = csv.writer(letters)
    for place, part in enumerate(parts):
        if place == 0:
            lines.writerow(part.columns)
        lines.writerows(zip(*(_cells(part[name]) for name in part), strict=True))
    letters.detach()


def _cells(column: pd.Series[Any]) -> list[Any]:
    """Return what is written of a column: nothing where missing, no text that would be run."""
    values: list[Any] = column.tolist()
    if column.dtype.kind == "O":
        guarded = {text: as_text(text) for text in {*values} if isinstance(text, str)}
        values = [guarded.get(value, value) for value in values]
    if (missing := column.isna().to_numpy()).any():
        return [None if gone else value for value, gone in zip(values, missing, strict=True)]
    return values


def _write_workbook(parts: Iterator[pd.DataFrame], out: IO[bytes]) -> None:
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell

    book = Workbook(write_only=True)
    sheet = book.create_sheet("blades")
    sheet.freeze_panes = "A2"

    def cell(value: Any) -> Any:
        if not isinstance(value, str):
            return value
        held = WriteOnlyCell(sheet)
        put(held, value)
        return held

    for place, part in enumerate(parts):
        if place == 0:
            sheet.append([*part.columns])
        values = part.astype(object).where(part.notna(), None)
        for row in values.itertuples(index=False):
            sheet.append([cell(value) for value in row])
    book.save(out)


def has_workbooks() -> bool:
    """Return whether the library that writes workbooks is installed."""
    return find_spec("openpyxl") is not None


def need_workbooks(target: Path, otherwise: str) -> None:
    """Refuse to write a workbook where openpyxl is not installed; the cure says what else to do."""
    if not has_workbooks():
        raise refuse(
            "openpyxl, which writes .xlsx, is not installed",
            f'install it (pip install "bladegeom[xlsx]"), or {otherwise}',
            value=target,
        )


def put(cell: Any, value: Any) -> None:
    """Put a value into a workbook's cell."""
    words = isinstance(value, str)
    cell.value = _UNPRINTABLE.sub("\ufffd", value) if words else value
    if words:
        cell.data_type = "s"  # Not a formula, whatever it begins with.
