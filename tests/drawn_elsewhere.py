"""What other processes are asked to draw in the tests: nothing that takes long to start."""

from __future__ import annotations

import os
import time
from pathlib import Path

from bladegeom.faults import refuse


def refused(path):
    raise refuse(f"{path} cannot be written: locked", "check the disk")


def ended(_):
    os._exit(9)


def printed(path):
    print("a word in between", flush=True)
    Path(path).write_text("drawn")


def slow(path):
    Path(f"{path}.begun").touch()
    time.sleep(0.3)
    Path(path).touch()
