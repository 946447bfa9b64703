"""Readings as they were counted, whole or with a tooth too many or too few."""

from __future__ import annotations

import os
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.columns import STATED
from bladegeom.faults import RefusedError
from bladegeom.lengths import convert, length
from bladegeom.readings import WAYS, Readings
from bladegeom.tables.blades import Path, chosen
from bladegeom.tables.lists import read_any
from bladegeom.tables.table import Written
from bladegeom.tables.text import read_bytes

_WORDS = {sign: word for word, sign in WAYS.items()}


class Counted(NamedTuple):
    """The readings of one blade in the order in which they were taken, closing readings too.

    Attributes
    ----------
    blade : Blade
    unit : str
    label : ndarray, shape (n,)
        The tooth as it was counted; one more than the blade has is counted on past the last.
    reading : ndarray, shape (n,)
    turn, way : ndarray, shape (n,)
        As in `Readings`.
    anchored : ndarray of bool, shape (n,)
        Closing readings whose tooth was known by its mark, not by counting on from the last.
    facts : dict
        What else was stated, as keywords of `Readings`.
    readings : Readings or None
        None where the count is off, so that they cannot be taken as they stand.
    off_by : int
        1 or -1 where the count alone says that a tooth was read twice or passed over.
    """

    blade: Blade
    unit: str
    label: NDArray[np.int64]
    reading: NDArray[np.float64]
    turn: NDArray[np.int64]
    way: NDArray[np.int64]
    anchored: NDArray[np.bool_]
    facts: dict[str, Any]
    readings: Readings | None
    off_by: int

    @property
    def extra(self) -> bool:
        """Whether a reading after the last tooth may or may not be the closing reading."""
        beyond = self.label.max(initial=0) > self.blade.teeth
        return self.readings is None and self.off_by == 0 and bool(beyond)

    @property
    def tooth(self) -> NDArray[np.int64]:
        """The tooth of each reading, 1 to the blade's teeth."""
        return (self.label - 1) % self.blade.teeth + 1

    @property
    def touch_deg(self) -> float:
        """Degrees of blade from the indexed tooth to the touched spot."""
        return float(self.facts.get("touch_deg", 0.0))

    def length(self, fact: str) -> float | None:
        """Return a stated length, such as ``graduation``, in `unit`."""
        found = length(fact, self.facts.get(fact))
        return None if found is None else convert(*found, self.unit)

    def only(self, kept: NDArray[np.bool_]) -> Counted:
        """Return some of the readings."""
        return self._replace(
            label=self.label[kept],
            reading=self.reading[kept],
            turn=self.turn[kept],
            way=self.way[kept],
            anchored=self.anchored[kept],
        )

    def as_readings(self) -> Readings | None:
        """Return new readings; of a tooth that comes twice in a turn the first reading stays.

        None where they cannot stand.
        """
        tooth = self.tooth
        stays = np.ones(len(tooth), dtype=np.bool_)
        for turn in np.unique(self.turn):
            rows = np.flatnonzero(self.turn == turn)
            for place, row in enumerate(rows):
                closes = place == len(rows) - 1 and tooth[row] == tooth[rows[0]]
                stays[row] = closes or tooth[row] not in tooth[rows[:place]]
        try:
            return Readings(
                self.blade,
                self.reading[stays],
                unit=self.unit,
                **self.facts,
                tooth=tooth[stays],
                turn=self.turn[stays],
                turned=[_WORDS[int(way)] for way in self.way[stays]],
            )
        except RefusedError:
            return None


def counted(readings: Readings) -> Counted:
    """Return readings that stand as they were counted."""
    anchored = readings.closing.copy()
    for row in np.flatnonzero(readings.closing):
        same = (readings.turn == readings.turn[row]) & ~readings.closing
        # After the last tooth of a whole turn, counting on leads to the first one as well.
        anchored[row] = len(np.unique(readings.tooth[same])) < readings.blade.teeth
    facts = {name: STATED[name].argument(kept) for name, kept in readings.facts.items()}
    return Counted(
        readings.blade,
        readings.unit,
        readings.tooth,
        readings.reading,
        readings.turn,
        readings.way,
        anchored,
        facts,
        readings,
        0,
    )


def count_blade(
    path: Path,
    *,
    blade: str | None = None,
    blades: Path | None = None,
    unit: str | None = None,
    **facts: Any,
) -> Counted:
    """Read one blade's readings from a table or a list, also where the count is one off.

    Parameters
    ----------
    path, blade, blades, unit, **facts
        As for `read_blade`; the file may also hold plain readings in tooth order.

    Raises
    ------
    RefusedError
    """
    given = {"blade": blade, "blades": blades, "unit": unit} | facts
    counts, refused, _ = read_any(read_bytes(path), os.fspath(path), counted_as_written, **given)
    return chosen({one.blade.who: one for one in counts}, refused, blade, path)


def counted_as_written(written: Written) -> Counted:
    """Return what was written as it was counted, also where the count is one off.

    Raises
    ------
    RefusedError
        If something else is wrong with it.
    """
    try:
        return counted(written.readings())
    except RefusedError:
        if (count := _off_by_one(written)) is None:
            raise
        return count


def _off_by_one(written: Written) -> Counted | None:
    """Return readings whose only fault is a tooth too many or too few, else None."""
    blade, teeth = written.blade, written.blade.teeth
    given = {key: value for key, value in written.keywords.items() if value is not None}
    values, unit = given.pop("readings")
    reading = np.asarray(values, dtype=np.float64)
    count = len(reading)
    turn = np.asarray(given.pop("turn", np.ones(count)), dtype=np.int64)
    way = np.array([WAYS[word] for word in given.pop("turned", ["forward"] * count)])
    order = np.asarray(given.pop("order", np.arange(count)), dtype=np.float64)
    tooth = given.pop("tooth", None)
    given.pop("rows", None)
    anchored = np.zeros(count, dtype=np.bool_)
    if tooth is None:
        if count not in (teeth - 1, teeth + 2):
            return None
        label = np.arange(1, count + 1, dtype=np.int64)
        anchored[-1] = count > teeth
        label[anchored] = 1
    else:
        label = np.asarray(tooth, dtype=np.int64)
        if label.max(initial=0) not in (teeth + 1, teeth + 2) or label.min(initial=1) < 1:
            return None
    read = np.flatnonzero(~np.isnan(reading))
    read = read[np.lexsort((order[read], turn[read]))]
    label, reading, turn = label[read], reading[read], turn[read]
    way, anchored = way[read], anchored[read]
    sure = False
    for one in np.unique(turn):
        rows = np.flatnonzero(turn == one)
        if label[rows[-1]] == teeth + 2:  # The closing reading too was counted on.
            label[rows[-1]] = label[rows[0]]
        again = label[rows] == label[rows[0]]
        anchored[rows[-1]] |= again[-1]
        sure |= bool(label[rows[-1]] <= teeth and (label[rows] > teeth).any())
        places = label[rows[~again]]
        if (
            places.max(initial=0) > teeth + 1
            or again[1:-1].any()
            or len(np.unique(places)) < len(places)
        ):
            return None
    off_by = -1 if tooth is None and count < teeth else int(sure)
    return Counted(blade, unit, label, reading, turn, way, anchored, given, None, off_by)
