"""A day's blades: a sheet each, and the queue."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date as Date  # noqa: N812
from pathlib import Path
from typing import Any

from bladegeom.applied.answer import blade_answer
from bladegeom.applied.condition import ACTIONS, Condition, assess
from bladegeom.errors import Fault, RefusedError, refuse
from bladegeom.fitted.fit import fit_wobble
from bladegeom.fitted.wobble import WobbleFit
from bladegeom.measured.digest import digest_of
from bladegeom.measured.limits import Limits
from bladegeom.measured.readings import Readings
from bladegeom.measured.tables import read_blades
from bladegeom.measured.whole import UNFINISHED
from bladegeom.shown.fonts import standard_fonts
from bladegeom.shown.names import file_names
from bladegeom.shown.page import save_charts
from bladegeom.shown.queue import write_queue
from bladegeom.shown.report import customer_sheet

SHEETS, QUEUE = "sheets", "queue"


@dataclass(frozen=True)
class Done:
    """What a batch came to.

    Attributes
    ----------
    rows : list of dict
        The queue: one a blade, sorted by what is to be done.
    refused : list of Fault
    drawn, kept : int
        Sheets that were drawn, and sheets that were there already.
    files : list of Path
        Of the queue.
    notes : list of str
    """

    rows: list[dict[str, Any]]
    refused: list[Fault]
    drawn: int
    kept: int
    files: list[Path]
    notes: list[str]


def run_batch(
    inputs: Sequence[str | os.PathLike[str]],
    limits: Limits,
    out: str | os.PathLike[str],
    *,
    blades: str | os.PathLike[str] | None = None,
    unit: str | None = None,
    rule: str = "zones",
    shop: str = "",
    arbor: str = "",
    paper: str = "a4",
    date: Date | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Done:
    """Fit and judge every blade, draw its sheet, and write the queue.

    A sheet that is there already and was made from the same readings, limits and settings is kept,
    so that a batch that was stopped goes on where it was and ends with the same files.

    Parameters
    ----------
    inputs : sequence of path
        Tables of readings.
    limits : Limits
    out : path
        A folder, made if it is not there: ``sheets/`` and the queue in it.
    blades : path, optional
        A table with one row of facts a blade.
    unit : {"mm", "in", "thou", "um"}, optional
        Of readings whose column does not say.
    rule : {"zones", "simple"}
        See `assess`.
    shop, arbor : str
        Printed on the sheets.
    paper : {"a4", "letter"}
    date : datetime.date, optional
        Printed on the sheets; today if not given.
    progress : callable, optional
        Told how many blades of how many are done.

    Returns
    -------
    Done

    Raises
    ------
    RefusedError
        If no blade can be answered, or the folder cannot be written.
    """
    folder, day = Path(out), date or Date.today()
    read, refused, notes = _read(inputs, blades, unit)
    try:
        (folder / SHEETS).mkdir(parents=True, exist_ok=True)
        for left in folder.rglob(f"{UNFINISHED}*"):
            left.unlink()  # Of a batch that was killed.
    except OSError as error:
        raise refuse(
            f"{folder} cannot be made: {error.strerror}", "choose another folder", value=folder
        ) from None
    names = file_names([who for who, _, _ in read])
    rows: list[dict[str, Any]] = []
    drawn = 0
    for place, (name, (_, file, readings)) in enumerate(zip(names, read, strict=True)):
        if progress is not None:
            progress(place, len(read))
        try:
            fit = fit_wobble(readings)
            condition = assess(fit, limits, rule=rule)
        except RefusedError as error:
            refused += [_placed(fault, file) for fault in error.faults]
            continue
        digest = digest_of(readings, (condition.to_dict(), shop, arbor, paper, day.isoformat()))
        sheet = folder / SHEETS / f"{name}.pdf"
        if not _made_from(sheet, digest):
            _draw(fit, condition, sheet, digest, shop, arbor, paper, day)
            drawn += 1
        rows.append(_row(fit, condition, file, f"{SHEETS}/{sheet.name}", digest))
    if progress is not None:
        progress(len(read), len(read))
    if not rows:
        raise RefusedError(refused)
    rows.sort(key=lambda row: (ACTIONS.index(row["action"]), row["blade"], row["file"]))
    files = write_queue(rows, [fault.to_dict() for fault in refused], folder / QUEUE)
    return Done(rows, refused, drawn, len(rows) - drawn, files, notes)


def _read(
    inputs: Sequence[str | os.PathLike[str]],
    blades: str | os.PathLike[str] | None,
    unit: str | None,
) -> tuple[list[tuple[str, str, Readings]], list[Fault], list[str]]:
    """Return each blade with a name of its own and its file, every fault, and notes."""
    read: list[tuple[str, Readings]] = []
    refused: list[Fault] = []
    notes: list[str] = []
    for one in inputs:
        file = Path(one).name
        try:
            batch = read_blades(one, blades=blades, unit=unit)
        except RefusedError as error:
            refused += [_placed(fault, file) for fault in error.faults]
            continue
        read += [(file, readings) for readings in batch.readings]
        refused += [_placed(fault, file) for fault in batch.refused]
        notes += [f"{file}: {note}" for note in batch.notes]
    if not read:
        raise RefusedError(refused)
    times = Counter(readings.blade.name for _, readings in read)
    seen: Counter[str] = Counter()
    named = []
    for file, readings in read:
        who = readings.blade.name or Path(file).stem
        if times[readings.blade.name] > 1:
            seen[f"{who} {file}"] += 1
            who = f"{who} {file} {seen[f'{who} {file}']}"
        named.append((who, file, readings))
    return named, refused, notes


def _placed(fault: Fault, file: str) -> Fault:
    return (
        fault
        if fault.problem.startswith(f"{file}: ")
        else replace(fault, problem=f"{file}: {fault.problem}")
    )


def _made_from(sheet: Path, digest: str) -> bool:
    try:
        return f"(digest {digest})".encode() in sheet.read_bytes()
    except OSError:
        return False


def _draw(
    fit: WobbleFit,
    condition: Condition,
    sheet: Path,
    digest: str,
    shop: str,
    arbor: str,
    paper: str,
    day: Date,
) -> None:
    with standard_fonts():
        ax = customer_sheet(fit, condition, shop=shop, arbor=arbor, paper=paper, date=day)
        save_charts([ax], sheet, 1, keywords=f"digest {digest}")


def _row(
    fit: WobbleFit, condition: Condition, file: str, sheet: str, digest: str
) -> dict[str, Any]:
    said = condition.to_dict()
    row = {
        "blade": fit.readings.blade.name,
        "action": said.pop("action"),
        "outcome": said.pop("outcome"),
    }
    row |= {key: value for key, value in said.items() if key != "blade"}
    row |= blade_answer(fit)
    return row | {"file": file, "sheet": sheet, "digest": digest}
