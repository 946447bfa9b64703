"""Published numbers to hold results against; each file names its source."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

REFERENCE = Path(__file__).parent / "reference"


def reference_columns(name: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Both columns of a reference table."""
    table = pd.read_csv(REFERENCE / name, comment="#")
    first, second = (table[column].to_numpy(dtype=np.float64) for column in table)
    return first, second
