"""Files out: whole or absent, and without what a spreadsheet would run."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from bladegeom.faults import Fault, RefusedError, refuse

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
        os.chmod(name, 0o666 & ~_umask())
        os.replace(name, target)
    except BaseException as error:
        Path(name).unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise refuse(
                f"{target} cannot be written: {error.strerror}", "check the disk", value=target
            ) from None
        raise


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
