"""The command line: parses, calls, and ends with the right status."""

from __future__ import annotations

import argparse
import os
import sys
import warnings
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import bladegeom as bg
from bladegeom.commands.common import NONE, check_outputs, complain, print_json
from bladegeom.options import parser

HOME = {
    "fit": "blade",
    "doubt": "blade",
    "squareness": "blade",
    "next": "blade",
    "marks": "blade",
    "chart": "blade",
    "check": "readings",
    "sheet": "readings",
    "setup": "shop",
    "shelf": "shop",
    "batch": "shop",
    "table": "table",
    "change": "years",
    "record": "years",
    "trend": "years",
    "clock": "clock",
    "plate": "plate",
    "wall": "plate",
}
"""Name of the command -> the module whose ``run_<name>`` does it; loaded when it is asked for."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command and return its exit status."""
    options = parser().parse_args(argv)
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a letter of a blade's name must not end the run.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    warnings.showwarning = _note
    try:
        status = _run(options)
        if sys.stdout is not None:
            sys.stdout.flush()
    except OSError as error:
        if not isinstance(error, BrokenPipeError):
            print(f"bladegeom: the answer cannot be written: {error.strerror}", file=sys.stderr)
        _forget_unwritten()
        return NONE
    except KeyboardInterrupt:
        return 130
    return status


def _run(options: argparse.Namespace) -> int:
    try:
        check_outputs(options)
        home = import_module(f"bladegeom.commands.{HOME[options.run]}")
        status: int = getattr(home, f"run_{options.run}")(options)
    except bg.RefusedError as error:
        if getattr(options, "json", False):
            print_json([], error.faults)
        for note in getattr(error, "__notes__", ()):
            _note(note)
        complain(error.faults)
        return NONE
    return status


def _forget_unwritten() -> None:
    """Keep Python from trying, and failing, to write the rest when it ends."""
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _note(message: Warning | str, *_: Any, **__: Any) -> None:
    print(f"bladegeom: note: {message}", file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())
