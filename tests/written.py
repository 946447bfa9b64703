"""Tables as people write them, and the command run on them."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import math
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple
from unittest.mock import patch

import pytest

import bladegeom as bg
import bladegeom.__main__

ROOT = Path(__file__).parent.parent
TEETH = 12
SURROUNDINGS = {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1", "PYTHONUNBUFFERED": ""}


def wave(teeth: int = TEETH, amplitude: float = 0.1) -> list[str]:
    """Return readings of a wobbling blade as text with three decimals, tooth 1 nearest."""
    return [f"{amplitude * math.cos(2 * math.pi * at / teeth):.3f}" for at in range(teeth)]


NUMBERS = [float(text) for text in wave()]


def written(rows: Sequence[Sequence[Any]], separator: str = ",", ending: str = "\n") -> str:
    """Write rows of cells as text, quoted where they must be."""
    page = io.StringIO(newline="")
    csv.writer(page, delimiter=separator, lineterminator=ending).writerows(rows)
    return page.getvalue()


def sheet(
    readings: Sequence[str] | None = None, unit: str = "mm", blade: str | None = None, **facts: Any
) -> list[list[str]]:
    """Return the rows of one blade's table, header first; facts are constant columns."""
    read = wave() if readings is None else list(readings)
    facts = {"teeth": str(len(read)), **facts}
    named = [] if blade is None else [blade]
    head = [*(["blade"] if named else []), "tooth", f"reading_{unit}", *facts]
    return [
        head,
        *([*named, str(at), cell, *map(str, facts.values())] for at, cell in enumerate(read, 1)),
    ]


def changed(rows: Sequence[Sequence[str]], row: int, column: str, cell: str) -> list[list[str]]:
    """Return the rows with one cell changed; rows count as a spreadsheet counts them."""
    new = [list(cells) for cells in rows]
    new[row - 1][new[0].index(column)] = cell
    return new


def with_column(rows: Sequence[Sequence[str]], column: str, *cells: str) -> list[list[str]]:
    """Return the rows with one more column; its last cell fills the rest of it."""
    body = [*cells, *[cells[-1]] * (len(rows) - 1 - len(cells))]
    return [[*row, cell] for row, cell in zip(rows, [column, *body], strict=True)]


def save(path: Path, content: Sequence[Sequence[str]] | str | bytes) -> Path:
    """Write rows, text or bytes into a file."""
    if isinstance(content, bytes):
        path.write_bytes(content)
    else:
        text = content if isinstance(content, str) else written(content)
        path.write_bytes(text.encode())
    return path


def two_blades(**facts: Any) -> list[list[str]]:
    """Return the rows of blades A and B; A stands in rows 2 to 13, B in rows 14 to 25."""
    first, second = sheet(blade="A", **facts), sheet(wave(amplitude=0.2), blade="B", **facts)
    return [*first, *second[1:]]


def read_back(folder: Path, content: Sequence[Sequence[str]] | str | bytes, **more: Any) -> Any:
    """Save a table as seven.csv and read its only blade."""
    return bg.read_blade(save(folder / "seven.csv", content), **more)


def faults_of(folder: Path, content: Sequence[Sequence[str]] | str | bytes, **more: Any) -> Any:
    """Save a table that cannot be read, and return what is wrong with it."""
    with pytest.raises(bg.RefusedError) as refused:
        read_back(folder, content, **more)
    return refused.value.faults


class Ran(NamedTuple):
    """What the command did."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        """What stands on standard output, which must be one JSON object and nothing else."""
        answer: dict[str, Any] = json.loads(self.out)
        return answer


def run(*arguments: str | Path, stdin: str | bytes = b"") -> Ran:
    """Run the command in this process."""
    data = stdin.encode() if isinstance(stdin, str) else stdin
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO(data))),
    ):
        try:
            status = bladegeom.__main__.main([str(one) for one in arguments])
        except SystemExit as left:  # What argparse does with --help and with a wrong option.
            status = int(left.code or 0)
    return Ran(status, out.getvalue(), err.getvalue())


def run_apart(*arguments: str | Path, stdin: bytes = b"", code: str = "") -> Ran:
    """Run the command, or some code, in a process of its own."""
    what = ["-c", code] if code else ["-m", "bladegeom"]
    done = subprocess.run(
        [sys.executable, "-W", "error", *what, *map(str, arguments)],
        input=stdin,
        capture_output=True,
        timeout=600,
        check=False,
        env={**os.environ, **SURROUNDINGS},
    )
    return Ran(done.returncode, done.stdout.decode(), done.stderr.decode())
