"""The frame of a plain table: the rows of the plain blades, and of the others between them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from bladegeom.readings import Readings
from bladegeom.tables.bulk_kinds import Kinds
from bladegeom.tables.bulk_rows import Bools, Rows
from bladegeom.tables.scan import Floats
from bladegeom.tables.tidy import columns_of

if TYPE_CHECKING:
    import pandas as pd


def frame_of(
    rows: Rows,
    read: Bools,
    kinds: Kinds,
    plain: Bools,
    others: Mapping[int, Readings],
    unit: str,
) -> pd.DataFrame:
    """Return the tidy frame of all blades that can be answered.

    Parameters
    ----------
    rows : Rows
    read : ndarray of bool, shape (readings,)
    kinds : Kinds
    plain : ndarray of bool, shape (blades,)
    others : dict of int to Readings
        The answered ones of the blades that are not plain.
    unit : str
        Of the readings.

    """
    import pandas as pd

    reading = f"reading_{unit}"
    own = ("blade", "tooth", "turn", reading)
    kept = read & plain[rows.of]
    count = np.bincount(rows.of[kept], minlength=len(plain))
    code = np.where(plain, kinds.code, -1)
    columns = [dict.fromkeys(own) | one for one in kinds.columns]
    for blade, readings in others.items():
        count[blade] = len(readings.reading)
        code[blade] = len(columns)
        columns.append(columns_of(readings))
    answered = code >= 0
    held = [columns[kind] for kind in pd.unique(code[answered]).tolist()]
    beside = np.repeat(~plain, count)

    def filled(values: Floats, key: str, kind: type[np.generic]) -> NDArray[Any]:
        """Put the readings of the other blades between those of the plain ones."""
        whole = np.empty(len(beside), dtype=kind)
        whole[~beside] = values[kept]
        if others:
            whole[beside] = np.concatenate([columns[code[blade]][key] for blade in others])
        return whole

    turn = np.ones_like(rows.tooth) if rows.turn is None else rows.turn
    which = np.repeat(code, count)
    table: dict[str, Any] = {}
    for key in dict.fromkeys(key for one in held for key in one):
        if key == "blade":
            table[key] = pd.Series(rows.names).array.take(np.repeat(np.arange(len(count)), count))
        elif key == "tooth":
            table[key] = filled(rows.tooth, key, np.int64)
        elif key == "turn":
            table[key] = filled(turn, key, np.int64)
        elif key == reading:
            table[key] = filled(rows.reading, key, np.float64)
        elif key == "turned":
            words: list[Any] = [np.nan] * len(beside)
            ends = np.cumsum(count).tolist()
            for blade in others:
                if (way := columns[code[blade]].get(key)) is not None:
                    words[ends[blade] - len(way) : ends[blade]] = way.tolist()
            table[key] = pd.Series(words)
        else:
            values = pd.Series([one.get(key, np.nan) for one in columns])
            table[key] = values.array.take(which)
    return pd.DataFrame(table, copy=False)
