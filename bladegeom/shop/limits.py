"""The shop's own limits on runout, each with its source in words; none is built in."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from bladegeom.faults import Fault, RefusedError, as_letters, refuse, unknown_name
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER, Length, NumberError, convert, length, parse_number
from bladegeom.shop.label_sheet import PART, LabelSheet
from bladegeom.tables import toml
from bladegeom.tables.text import Sheet, decode, read_bytes, split

QUANTITIES = ("raw_tir", "wobble_tir")

_LENGTHS = {"value": "value", "first": "from", "last": "to", "ring": "ring"}
"""Lengths of a limit -> what people call them."""

_HAIR = 1e-9


@checked
@dataclass(frozen=True)
class Limit:
    """The largest runout that is accepted.

    Attributes
    ----------
    quantity : {"raw_tir", "wobble_tir"}
    value : str or (float, str)
        With its unit, as all lengths here: ``"4 thou"`` or ``(0.1, "mm")``.
    source : str
        Where it comes from, in words.
    first, last : str or (float, str), optional
        Diameters from which and up to which it holds, both included.
    ring : str or (float, str), optional
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
        if faults := list(self._faults()):
            raise RefusedError(replace(fault, row=self.row) for fault in faults)

    def _faults(self) -> Iterable[Fault]:
        if not isinstance(self.quantity, str) or self.quantity not in QUANTITIES:
            problem = f"{self.quantity!r} is not a quantity that can be limited"
            cure = "write raw_tir (all readings) or wobble_tir (the wobble alone)"
            yield Fault(problem, cure, column="quantity", value=str(self.quantity))
        if not isinstance(self.source, str) or not self.source.strip():
            cure = "say in words where the limit comes from"
            yield Fault("the limit has no source", cure, column="source")
        faults: list[Fault] = []
        for name, column in _LENGTHS.items():
            try:
                given = length(column, getattr(self, name))
                if given is None and name == "value":
                    raise refuse("value is not given", 'give it as "4 thou"', column=column)
                # Kept as a number with its unit, however it was given.
                object.__setattr__(self, name, given)
            except RefusedError as error:
                faults += error.faults
        yield from faults
        if not faults and self.first and self.last and _mm(self.first) > _mm(self.last):
            problem = f"the range runs from {said_length(self.first)} to {said_length(self.last)}"
            cure = "put the smaller diameter first"
            yield Fault(problem, cure, column="from", value=said_length(self.first))

    @property
    def ranged(self) -> bool:
        """Whether it holds for some diameters only."""
        return self.first is not None or self.last is not None

    def holds(self, diameter_mm: float | None) -> bool:
        """Tell whether a blade of this diameter is judged by it."""
        if not self.ranged or diameter_mm is None:
            return not self.ranged
        above = self.first is None or diameter_mm >= _mm(self.first) * (1 - _HAIR)
        return above and (self.last is None or diameter_mm <= _mm(self.last) * (1 + _HAIR))

    def in_unit(self, unit: str) -> float:
        """Return its value in a unit."""
        return convert(*_parts(self.value), unit)

    @property
    def ring_mm(self) -> float | None:
        """Ring radius at which it holds, in millimetres."""
        return None if self.ring is None else _mm(self.ring)

    def __str__(self) -> str:
        places = {"from": self.first, "to": self.last, "at ring": self.ring}
        where = [f"{word} {said_length(one)}" for word, one in places.items() if one]
        return " ".join([self.quantity, said_length(self.value), *where])


def _parts(given: Length) -> tuple[float, str]:
    assert isinstance(given, tuple)  # Every length was read when the limit was made.
    return given


def _mm(given: Length) -> float:
    return convert(*_parts(given), "mm")


def said_length(given: Length) -> str:
    """Return a length as text."""
    value, unit = _parts(given)
    return f"{value:g} {unit}"


@checked
@dataclass(frozen=True)
class Limits:
    """All limits of a shop.

    Attributes
    ----------
    limits : tuple of Limit
    labels : LabelSheet, optional
        The labels that the shop sticks on its blades.
    """

    limits: tuple[Limit, ...]
    labels: LabelSheet | None = None

    def with_labels_from(self, first: int) -> Limits:
        """Return the same with labels that begin there on their sheet, counted row by row."""
        if self.labels is None:
            raise refuse(
                "no sheet of labels is known", "describe it in a part [labels] of the limits' file"
            )
        return replace(self, labels=replace(self.labels, first=first))

    def of(self, diameter_mm: float | None, blade: str = "") -> tuple[Limit, ...]:
        """Return the limits that a blade is judged by: at most one on each quantity.

        Parameters
        ----------
        diameter_mm : float or None
        blade : str
            Its name, for messages.

        Returns
        -------
        tuple of Limit

        Raises
        ------
        RefusedError
            If none holds, two on the same quantity do, or the diameter is needed and not known.
        """
        held = []
        size = None if diameter_mm is None else f"{diameter_mm:g} mm"
        for quantity in QUANTITIES:
            on = [one for one in self.limits if one.quantity == quantity]
            if diameter_mm is None and any(one.ranged for one in on):
                problem = f"the limits on {quantity} go by diameter, and the blade's is not stated"
                cure = "give the blade's diameter"
                raise refuse(problem, cure, blade=blade, column="diameter")
            here = [one for one in on if one.holds(diameter_mm)]
            if len(here) > 1:
                problem = f"{len(here)} limits hold for this blade: " + "; ".join(map(str, here))
                cure = "leave one of them out, or end its range before the other begins"
                raise refuse(problem, cure, blade=blade, value=size)
            held += here
        if not held:
            problem = "no limit for this blade" + (f" of {size}" if size else "")
            cure = "add a limit whose range holds its diameter"
            raise refuse(problem, cure, blade=blade, value=size)
        return tuple(held)


@checked
def read_limits(path: str | os.PathLike[str]) -> Limits:
    """Read a shop's limits.

    Parameters
    ----------
    path : path
        TOML, one ``[[limit]]`` each with the keys `quantity`, `value`, `source` and, if wanted,
        `from`, `to` (diameters) and `ring`; and, if wanted, one ``[labels]`` with the keys of a
        `LabelSheet`. Or, where the name ends in ``.csv``, a table with the
        columns ``quantity``, ``limit_mm``, ``source`` and ``diameter_from_mm``,
        ``diameter_to_mm``, ``ring_radius_mm``, or the same with another unit.

    Returns
    -------
    Limits

    Raises
    ------
    RefusedError
        Listing everything that is wrong in the file, with its row.
    """
    name = as_letters(path)
    text = decode(read_bytes(path), name)
    read = _from_csv if name.lower().endswith(".csv") else _from_toml
    try:
        limits, labels, faults = read(text)
        if not limits and not faults:
            cure = "write down the shop's own, with its source"
            faults.append(Fault("it holds no limit", cure))
        if faults:
            raise RefusedError(faults)
    except RefusedError as error:  # Rows of what, where tables are read too?
        raise RefusedError(fault.within(name) for fault in error.faults) from None
    return Limits(tuple(limits), labels)


_PART = toml.Part(
    {
        "quantity": toml.one_of(*QUANTITIES),
        "value": toml.length,
        "source": toml.text,
        "from": toml.length,
        "to": toml.length,
        "ring": toml.length,
    },
    needed=("quantity", "value", "source"),
    several=True,
)
_PLAIN = ("quantity", "source")
_COLUMN = {
    f"{stem}_{unit}": (stem, key, unit)
    for stem, key in {
        "limit": "value",
        "diameter_from": "from",
        "diameter_to": "to",
        "ring_radius": "ring",
    }.items()
    for unit in MM_PER
}
"""Column of a table -> its name without the unit, its key in a TOML file, the unit."""


_Read = tuple[list[Limit], LabelSheet | None, list[Fault]]


def _from_toml(text: str) -> _Read:
    known = {"limit": _PART, "labels": PART}
    parts, faults = toml.read_parts(toml.load(text, "it"), toml.rows_of(text), known)
    limits: list[Limit] = []
    for one in parts.get("limit", []):
        _add(limits, faults, one.values, one.row)
    labels = None
    for one in parts.get("labels", []):
        try:
            labels = LabelSheet(**one.values)
        except RefusedError as error:
            faults += one.located(error)
    return limits, labels, faults


def _from_csv(text: str) -> _Read:
    sheet = split(text, "", frozenset(_COLUMN) | set(_PLAIN))
    if faults := _of_header(sheet):
        return [], None, faults
    limits: list[Limit] = []
    for row, cells in sheet.rows:
        values: dict[str, Any] = {}
        wrong: list[Fault] = []
        for column, cell in zip(sheet.header, cells, strict=True):
            if column in _PLAIN:
                values[column] = cell.strip()
            elif column:
                _, key, unit = _COLUMN[column]
                try:
                    values[key] = (parse_number(cell), unit)
                except NumberError as error:
                    problem, cure = (
                        f"{column}: {error.problem}",
                        "write a number with a decimal point",
                    )
                    wrong.append(Fault(problem, cure, row=row, column=column, value=cell))
        if values.get("value", ("", ""))[0] is None:
            wrong.append(Fault("the limit is not given", "write its value", row=row))
        faults += wrong
        if not wrong:
            _add(limits, faults, values, row)
    return limits, None, faults


def _of_header(sheet: Sheet) -> list[Fault]:
    row, header = sheet.header_row, [one for one in sheet.header if one]
    stems = [_COLUMN[one][0] if one in _COLUMN else one for one in header]
    faults = [
        unknown_name(one, [*_PLAIN, *_COLUMN], "column", row=row)
        for one in header
        if one not in _COLUMN and one not in _PLAIN
    ]
    for stem in (*_PLAIN, *dict.fromkeys(one for one, _, _ in _COLUMN.values())):
        names = [one for one, its in zip(header, stems, strict=True) if its == stem]
        if len(names) > 1:
            problem = f"{' and '.join(names)} are both given"
            faults.append(Fault(problem, "keep one of them", row=row, column=names[1]))
        if not names and stem in (*_PLAIN, "limit"):
            cure = "add it with its unit, such as limit_mm" if stem == "limit" else "add it"
            faults.append(Fault(f"there is no column {stem}", cure, row=row, column=stem))
    return faults


def _add(limits: list[Limit], faults: list[Fault], values: dict[str, Any], row: int | None) -> None:
    """Add a limit, or what is wrong with it."""
    named = {"from": "first", "to": "last"}
    try:
        limits.append(Limit(**{named.get(key, key): one for key, one in values.items()}, row=row))
    except RefusedError as error:
        faults += error.faults
