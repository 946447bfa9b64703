"""The empty table that belongs to a reading sheet."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from bladegeom.columns import STATED, Length
from bladegeom.faults import refuse
from bladegeom.lengths import with_unit
from bladegeom.tables.facts import blade_of, check_unit, stated_facts
from bladegeom.tables.whole import whole_file

MOST_TURNS = 20


def check_turns(turns: int) -> None:
    """Refuse a number of turns that nobody reads.

    Raises
    ------
    RefusedError
    """
    if not 1 <= turns <= MOST_TURNS or int(turns) != turns:
        raise refuse(
            f"{turns} turns", f"give a whole number of turns from 1 to {MOST_TURNS}", value=turns
        )


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
    if unit is None:
        raise refuse(
            "the unit of the readings is not stated", "state it: mm, in, thou or um (--unit)"
        )
    check_unit(unit)
    check_turns(turns)
    blade_of(stated_facts({"teeth": teeth, **facts}), name)
    constant = dict(_cell(*fact) for fact in {"teeth": teeth, **facts}.items())
    several = turns > 1
    page = io.StringIO(newline="")
    writer = csv.writer(page, lineterminator="\n")
    writer.writerow(
        ["blade", *(["turn"] if several else []), "tooth", f"reading_{unit}", *constant]
    )
    for turn in range(1, turns + 1):
        for tooth in (*range(1, teeth + 1), 1):
            where = [turn, tooth] if several else [tooth]
            writer.writerow([name, *where, "", *constant.values()])
    return page.getvalue()


def _cell(name: str, value: Any) -> tuple[str, str]:
    """Return the column of a fact as it was given, and what stands in it."""
    column = name
    if isinstance(STATED[name], Length):
        value, unit = with_unit(name, value)
        column = f"{name}_{unit}"
    words = [value] if isinstance(value, str) or not isinstance(value, Iterable) else value
    cell = " ".join(f"{one:.12g}" if isinstance(one, float) else str(one) for one in words)
    return column, cell


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


def write_new(path: Path, text: str) -> None:
    """Write a file that is not there yet, whole or not at all; see `check_new`."""
    with whole_file(check_new(path)) as file:
        file.write(text.encode())
