"""Where readings were taken, and what that alone decides: made once for all blades read alike."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from bladegeom.kernel.harmonics import Floats, harmonic_columns
from bladegeom.tables.counted import Counted

Whole = NDArray[np.int64]
T = TypeVar("T")

OWN_OFFSET = 4
_KEPT_READINGS = 200
"""More than so many are seldom read alike, and take too much memory to be kept."""


class Design:
    """The columns of a fit: an offset for each turn, the wobble, kinds of teeth, play.

    Parameters
    ----------
    tooth_deg : tuple of float
    touch_deg : float
    kinds : tuple of str
        Of the teeth, where they are fitted; else empty.
    orders : tuple of int
        Waves a turn.
    label, turn, way : ndarray, shape (n,)
        As in `Counted`.
    """

    def __init__(
        self,
        tooth_deg: tuple[float, ...],
        touch_deg: float,
        kinds: tuple[str, ...],
        orders: tuple[int, ...],
        label: Whole,
        turn: Whole,
        way: Whole,
    ) -> None:
        self.turn, self.way, self.teeth = turn, way, len(tooth_deg)
        self.turns = np.unique(turn)
        self.spots = len(np.unique((label - 1) % self.teeth))
        spots = harmonic_columns(np.radians(np.asarray(tooth_deg) + touch_deg), orders)[:, 1:]
        self.both_ways = bool(way.min() < way.max())
        self._each = [spots]
        if kinds:
            which = np.unique(kinds, return_inverse=True)[1]
            each = which[np.arange(self.teeth) % len(which)]
            self._each.append((each[:, np.newaxis] == np.arange(1, which.max() + 1)).astype(float))
        self.offsets = _offsets(turn)
        self.mean = self.offsets / self.offsets.sum(axis=0)
        self.q, self.m = self.taken_up(self.columns(label))
        self._kept: dict[Any, Any] = {}

    def columns(self, label: Whole, shapes: Floats | None = None) -> Floats:
        """Return the columns of the fit for teeth as labelled, shape (n, p)."""
        return np.concatenate([self.offsets, self.waves(label, shapes)], axis=1)

    def waves(self, label: Whole, shapes: Floats | None = None) -> Floats:
        """Return the columns that hang on the tooth, shape (..., n, q): wobble, kinds, play."""
        place = (label - 1) % self.teeth
        parts = [one[place] for one in self._each]
        if shapes is not None:
            parts.append(shapes[place])
        if self.both_ways:
            parts.append(parts[0][..., :2] * self.way[:, np.newaxis])
        return parts[0] if len(parts) == 1 else np.concatenate(parts, axis=-1)

    @staticmethod
    def taken_up(columns: Floats) -> tuple[Floats, Floats]:
        """Return an orthonormal basis of columns, and the matrix that takes their fit away."""
        q, _ = np.linalg.qr(columns)
        return q, np.eye(len(q)) - q @ q.T

    def once(self, key: Any, make: Callable[[], T]) -> T:
        """Return what is made of the design alone: at once where it was made before."""
        if len(self.turn) > _KEPT_READINGS:
            return make()
        if key not in self._kept:
            self._kept[key] = make()
        made: T = self._kept[key]
        return made


def design_of(series: Counted, orders: tuple[int, ...]) -> Design:
    """Return the design of readings with waves of these orders."""
    blade = series.blade
    kinds = blade.tooth_pattern if series.facts.get("surface") == "teeth" else None
    where = (series.label, series.turn, series.way)
    build = _design if len(series.label) <= _KEPT_READINGS else _design.__wrapped__
    return build(
        blade.tooth_deg,
        series.touch_deg,
        tuple(kinds or ()),
        orders,
        *(np.asarray(one, dtype=np.int64).tobytes() for one in where),
    )


@lru_cache(maxsize=16)
def _design(
    tooth_deg: tuple[float, ...],
    touch_deg: float,
    kinds: tuple[str, ...],
    orders: tuple[int, ...],
    *where: bytes,
) -> Design:
    label, turn, way = (np.frombuffer(one, dtype=np.int64) for one in where)
    return Design(tooth_deg, touch_deg, kinds, orders, label, turn, way)


def _offsets(turn: Whole) -> Floats:
    """One column a turn; a turn of a few readings shares the dial's setting with the first."""
    turns, place, count = np.unique(turn, return_inverse=True, return_counts=True)
    own = np.flatnonzero(count >= OWN_OFFSET)
    first = int(own[0]) if own.size else 0
    group = np.where(count >= OWN_OFFSET, np.arange(len(turns)), first)[place]
    columns: Floats = (group[:, np.newaxis] == np.unique(group)).astype(np.float64)
    return columns
