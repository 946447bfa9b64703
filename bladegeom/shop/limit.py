"""One limit on a blade's runout, with its source in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bladegeom.faults import Fault, RefusedError
from bladegeom.lengths import MM_PER, convert

QUANTITIES = ("raw_tir", "wobble_tir")

_HAIR = 1e-9

Length = tuple[float, str]


@dataclass(frozen=True)
class Limit:
    """The largest runout that is accepted.

    Attributes
    ----------
    quantity : {"raw_tir", "wobble_tir"}
    value : (float, str)
        With its unit, as all lengths here.
    source : str
        Where it comes from, in words.
    first, last : (float, str) or None
        Diameters from which and up to which it holds, both included.
    ring : (float, str) or None
        Ring radius at which it holds.
    row : int or None
        Where it stands in its file.
    """

    quantity: str
    value: Length
    source: str
    first: Length | None = None
    last: Length | None = None
    ring: Length | None = None
    row: int | None = None

    def __post_init__(self) -> None:
        faults = list(self._faults())
        if faults:
            raise RefusedError(faults)

    def _faults(self) -> Iterable[Fault]:
        if self.quantity not in QUANTITIES:
            yield Fault(
                f"{self.quantity!r} is not a quantity that can be limited",
                "write raw_tir (all readings) or wobble_tir (the wobble alone)",
                row=self.row,
                column="quantity",
                value=str(self.quantity),
            )
        if not self.source.strip():
            cure = "say in words where the limit comes from"
            yield Fault("the limit has no source", cure, row=self.row, column="source")
        lengths = {"value": self.value, "from": self.first, "to": self.last, "ring": self.ring}
        for name, length in lengths.items():
            if length is not None and not 0 < length[0] < float("inf"):
                yield Fault(
                    f"{name} is {length[0]:g} {length[1]}",
                    "give a length above 0",
                    row=self.row,
                    column=name,
                    value=f"{length[0]:g}",
                )
        if self.first and self.last and _mm(self.first) > _mm(self.last):
            yield Fault(
                f"the range runs from {_said(self.first)} to {_said(self.last)}",
                "put the smaller diameter first",
                row=self.row,
                column="from",
                value=_said(self.first),
            )

    @property
    def ranged(self) -> bool:
        """Whether it holds for some diameters only."""
        return self.first is not None or self.last is not None

    def holds(self, diameter_mm: float | None) -> bool:
        """Tell whether a blade of this diameter is judged by it."""
        if not self.ranged:
            return True
        if diameter_mm is None:
            return False
        above = self.first is None or diameter_mm >= _mm(self.first) * (1 - _HAIR)
        return above and (self.last is None or diameter_mm <= _mm(self.last) * (1 + _HAIR))

    def in_unit(self, unit: str) -> float:
        """Return its value in a unit."""
        return convert(*self.value, unit)

    def __str__(self) -> str:
        words = f"{self.quantity} {_said(self.value)}"
        if self.first:
            words += f" from {_said(self.first)}"
        if self.last:
            words += f" to {_said(self.last)}"
        return words + (f" at ring {_said(self.ring)}" if self.ring else "")


def _mm(length: Length) -> float:
    return length[0] * MM_PER[length[1]]


def _said(length: Length) -> str:
    return f"{length[0]:g} {length[1]}"
