"""Files that are whole or absent."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from bladegeom.errors import refuse

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


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
