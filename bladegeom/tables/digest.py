"""A short number that stands for everything an answer was made from."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import numpy as np

from bladegeom.readings import Readings
from bladegeom.tables.tidy import columns_of

DIGITS = 16
"""Hexadecimal digits printed: no two of a shop's blades will ever share so many."""


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
    return made.hexdigest()[:DIGITS]
