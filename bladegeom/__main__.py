"""``python -m bladegeom``: the command."""

from __future__ import annotations

import sys

from bladegeom.cli import main

if __name__ == "__main__":
    sys.exit(main())
