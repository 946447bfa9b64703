"""Tables out: the columns of a tidy one, an empty one, and files whole or absent."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

import numpy as np

from bladegeom.columns import STATED, Length
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.lengths import with_unit
from bladegeom.readings import Readings
from bladegeom.tables.facts import blade_of, check_unit, stated_facts

UNFINISHED = ".unfinished-"
"""Beginning of the name of a file that is not whole yet."""


@contextmanager
def whole_file(path: str | os.PathLike[str]) -> Iterator[IO[bytes]]:
    """Open a file that takes its place, all at once, when everything is written.

    It is written beside its place and then renamed; a file of that name is replaced. Where
    anything goes wrong, nothing is left and what was there stays.

    Parameters
    ----------
    path : path

    Raises
    ------
    RefusedError
        If it cannot be written.
    """
    target = Path(path)
    try:
        handle, name = tempfile.mkstemp(prefix=UNFINISHED, suffix=target.suffix, dir=target.parent)
    except OSError as error:
        raise refuse(
            f"{target.parent} cannot be written: {error.strerror}",
            "choose another folder",
            value=target,
        ) from None
    try:
        with os.fdopen(handle, "wb") as file:
            yield file
        os.chmod(name, target.stat().st_mode & 0o7777 if target.exists() else 0o666 & ~_umask())
        os.replace(name, target)
    except BaseException as error:
        Path(name).unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise refuse(
                f"{target} cannot be written: {error.strerror}", "check the disk", value=target
            ) from None
        raise


def locked(folder: Path, *, wait: bool = False) -> int | None:
    """Keep other runs out of a folder until the handle is closed, also by the end of the process.

    None where the system knows no such lock.

    Raises
    ------
    BlockingIOError
        If another is in it, and it is not to be waited for.
    """
    try:
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):  # Windows; a folder that may not be read.
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        os.close(handle)
        raise
    except OSError:  # A drive without locks.
        pass
    return handle


def check_apart(
    outputs: Iterable[str | os.PathLike[str]], inputs: Iterable[str | os.PathLike[str]]
) -> None:
    """Refuse to write over what is to be read, under whatever name it goes: links are followed.

    Parameters
    ----------
    outputs, inputs : iterable of path

    Raises
    ------
    RefusedError
        Before anything is written.
    """
    there = [output for output in outputs if os.path.exists(output)]
    faults = [
        Fault(
            f"{os.fspath(output)} exists already and holds what is to be read"
            + ("" if Path(one) == Path(output) else f" ({os.fspath(one)})"),
            "write to another name or folder: nothing was written",
            value=os.fspath(output),
        )
        for one in inputs
        for output in there
        if os.path.exists(one) and os.path.samefile(one, output)
    ]
    if faults:
        raise RefusedError(faults)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def as_text(text: str) -> str:
    """Return a text that no spreadsheet runs as a formula: an apostrophe before what it would."""
    return f"'{text}" if text.lstrip("'").startswith(_FORMULA) else text


def from_text(cell: str) -> str:
    """Undo `as_text`."""
    guarded = cell.startswith("'") and cell.lstrip("'").startswith(_FORMULA)
    return cell[1:] if guarded else cell


MOST_TURNS = 20
_DIGITS = 16
"""Hexadecimal digits of a digest: no two of a shop's blades will ever share so many."""


def columns_of(readings: Readings) -> dict[str, Any]:
    """Return one blade's readings as the columns of a table, facts as single values."""
    columns: dict[str, Any] = {
        "blade": readings.blade.name,
        "tooth": readings.tooth,
        "turn": readings.turn,
    }
    if (readings.way < 0).any():
        columns["turned"] = np.where(readings.way > 0, "forward", "backward")
    columns[f"reading_{readings.unit}"] = readings.reading
    return columns | facts_in_columns(readings)


def facts_in_columns(readings: Readings) -> dict[str, Any]:
    """Return what is stated of one blade and its readings as columns of single values."""
    columns = {}
    for name, column in STATED.items():
        of = readings.blade if column.of == "blade" else readings
        columns[column.key] = column.cell(of.facts[name])
    return {column: value for column, value in columns.items() if value is not None}


def digest_of(readings: Readings, settings: Iterable[object] = ()) -> str:
    """Return the same digits for the same readings, facts and settings, and no others.

    The first 64 bits of SHA-256 (FIPS 180-4) over names and values in full precision.

    Parameters
    ----------
    readings : Readings
    settings : iterable, optional
        What else the answer depends on, each shown by its `repr`.

    Returns
    -------
    str
        16 hexadecimal digits.
    """
    made = hashlib.sha256()
    for column, value in sorted(columns_of(readings).items()):
        plain = value.tolist() if isinstance(value, np.ndarray) else value
        made.update(f"{column}={plain!r}\n".encode())
    for one in settings:
        made.update(f"{one!r}\n".encode())
    return made.hexdigest()[:_DIGITS]


def save_readings(readings: Readings, path: str | os.PathLike[str]) -> None:
    """Write the readings of one blade as a CSV that `read_blade` takes, whole or not at all.

    Lengths other than the readings are in millimetres; teeth that were not read have no row.

    Parameters
    ----------
    readings : Readings
    path : path
        Of a file that does not exist yet.

    Raises
    ------
    RefusedError
        If the file exists, or cannot be written.
    """
    columns = columns_of(readings)
    count = len(readings.reading)
    values = [
        one.tolist() if isinstance(one, np.ndarray) else [one] * count for one in columns.values()
    ]
    rows = [[*map(cell_text, row)] for row in zip(*values, strict=True)]
    write_new(path, table_text([[*columns], *rows]))


def check_turns(turns: int) -> None:
    """Refuse a number of turns that nobody reads."""
    if not 1 <= turns <= MOST_TURNS or int(turns) != turns:
        raise refuse(
            f"{turns} turns", f"give a whole number of turns from 1 to {MOST_TURNS}", value=turns
        )


def check_unit_stated(unit: str | None) -> None:
    """Refuse readings to come without a unit, or with one that is not known."""
    if unit is None:
        raise refuse(
            "the unit of the readings is not stated", "state it: mm, in, thou or um (--unit)"
        )
    check_unit(unit)


def blank_table(
    teeth: int, name: str, unit: str | None, turns: int, facts: Mapping[str, Any]
) -> str:
    """Return a CSV table that `read_blade` takes once its readings are filled in.

    Parameters
    ----------
    teeth : int
    name : str
        The blade's, in every row.
    unit : {"mm", "in", "thou", "um"}
        Of the readings to come.
    turns : int
        Each has a row a tooth, and one for tooth 1 again.
    facts : dict
        As for `stated_facts`: the same in every row.

    Raises
    ------
    RefusedError
        If the unit is not stated, or a fact cannot be true.
    """
    check_unit_stated(unit)
    check_turns(turns)
    blade_of(stated_facts({"teeth": teeth, **facts}), name)
    constant = stated_columns({"teeth": teeth, **facts})
    several = turns > 1
    rows = [["blade", *(["turn"] if several else []), "tooth", f"reading_{unit}", *constant]]
    for turn in range(1, turns + 1):
        for tooth in (*range(1, teeth + 1), 1):
            where = [turn, tooth] if several else [tooth]
            rows.append([name, *map(str, where), "", *constant.values()])
    return table_text(rows)


def stated_columns(facts: Mapping[str, Any]) -> dict[str, str]:
    """Return the columns of facts as they were given, and what stands in each."""
    return dict(_stated(*fact) for fact in facts.items())


def _stated(name: str, value: Any) -> tuple[str, str]:
    """Return the column of a fact as it was given, and what stands in it."""
    column = name
    if isinstance(STATED[name], Length):
        value, unit = with_unit(name, value)
        column = f"{name}_{unit}"
    several = isinstance(value, Iterable) and not isinstance(value, str)
    return column, " ".join(map(cell_text, value)) if several else cell_text(value)


def cell_text(value: object) -> str:
    """Return a value as it stands in a table."""
    # Twelve digits: no reading has more, and the dust of binary arithmetic is left behind.
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def table_text(rows: Iterable[Sequence[str]]) -> str:
    """Return rows of cells as CSV."""
    page = io.StringIO(newline="")
    csv.writer(page, lineterminator="\n").writerows(rows)
    return page.getvalue()


def check_new(path: str | os.PathLike[str]) -> Path:
    """Return the path of a file that is not there yet, in a folder that is.

    Raises
    ------
    RefusedError
    """
    target = Path(path)
    if not target.parent.is_dir():
        raise refuse(
            f"there is no folder {target.parent}",
            "make the folder first, or choose another",
            value=target,
        )
    if target.exists():
        raise refuse(
            f"{target} is there already, and is not written over",
            "choose another name, or move the old file away first",
            value=target,
        )
    return target


def write_new(path: str | os.PathLike[str], text: str) -> None:
    """Write a file that is not there yet, whole or not at all; see `check_new`."""
    with whole_file(check_new(path)) as file:
        file.write(text.encode())
