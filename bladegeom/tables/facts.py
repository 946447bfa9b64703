"""What is stated of a blade: in columns, in a second table, in options. All must agree."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from bladegeom.blade import Blade
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.lengths import (
    MM_PER,
    NumberError,
    length,
    may_be_one,
    parse_number,
    parse_whole,
    with_unit,
)
from bladegeom.tables.columns import (
    LENGTH_COLUMNS,
    LENGTHS,
    OTHER_FACTS,
    resembled,
)

BLADE_FACTS = ("diameter", "plate", "tooth_width", "gullet")
READING_FACTS = ("ring_radius", "ring_radius_u", "graduation", "end_float", "dial_turn")


@dataclass(frozen=True)
class Fact:
    """One thing stated of a blade.

    Attributes
    ----------
    value : int, float, str or tuple of float
        Lengths in millimetres.
    text : str
        As it was written, with its unit.
    place : str
        Where: ``row 14``, ``row 3 of shelf.csv`` or ``the option``.
    row : int or None
    """

    value: Any
    text: str
    place: str
    row: int | None = None

    def agrees(self, other: Fact) -> bool:
        """Return whether both say the same, whatever the unit."""
        if isinstance(self.value, float) and isinstance(other.value, float):
            return math.isclose(self.value, other.value, rel_tol=1e-9)
        return bool(self.value == other.value)


def parse_fact(
    column: str, cell: str, decimal_mark: str, place: str, row: int | None
) -> tuple[str, Fact] | None:
    """Read one cell of a fact's column; None where nothing is stated.

    Raises
    ------
    NumberError
    """
    text = cell.strip()
    if text in ("", "?"):
        return None
    if column in LENGTH_COLUMNS:
        name, unit = LENGTH_COLUMNS[column]
        number = parse_number(text, decimal_mark)
        if number is None:
            return None
        if number <= 0:
            raise NumberError(f"{text!r} is not above 0", "give a length above 0")
        return name, Fact(number * MM_PER[unit], f"{text} {unit}", place, row)
    if column == "pitch_pattern":
        cure = "write gaps with blanks between them, such as 1 1 1 1 1.6"
        try:
            gaps = [parse_number(gap, decimal_mark) for gap in text.split()]
        except NumberError as error:
            raise NumberError(error.problem, cure) from None
        if None in gaps:
            raise NumberError(f"{text!r} lacks a gap", cure)
        if any(may_be_one(before, gap, decimal_mark) for before, gap in pairwise(text.split())):
            raise NumberError(
                f"{text!r} could be read in two ways", "write decimals: 1.5 for 1 1/2"
            )
        return column, Fact(tuple(gaps), text, place, row)
    if column in ("numbered", "surface"):
        return column, Fact(text.lower(), text, place, row)
    if column == "tooth_pattern":
        return column, Fact(tuple(text.upper().split()), text, place, row)
    if column == "side":
        return column, Fact(text, text, place, row)
    value = (
        parse_whole(text, decimal_mark) if column == "teeth" else parse_number(text, decimal_mark)
    )
    return None if value is None else (column, Fact(value, text, place, row))


def merge(into: dict[str, Fact], new: Mapping[str, Fact], blade: str | None) -> list[Fault]:
    """Add facts to those already known; return what disagrees."""
    faults = []
    for name, fact in new.items():
        known = into.setdefault(name, fact)
        if not known.agrees(fact):
            here = "here" if fact.row is not None else f"in {fact.place}"
            also = "; for several rings of a plate: bladegeom plate" * (name == "ring_radius")
            faults.append(
                Fault(
                    f"{name} is {fact.text} {here}, but {known.place} says {known.text}",
                    f"let {name} agree everywhere, or state it once{also}",
                    blade=blade,
                    row=fact.row,
                    column=name,
                    value=fact.text,
                )
            )
    return faults


def blade_of(facts: Mapping[str, Fact], name: str) -> Blade:
    """Make the blade that the facts describe.

    Raises
    ------
    RefusedError
    """
    sizes: dict[str, Any] = {
        fact: (facts[fact].value, "mm") for fact in BLADE_FACTS if fact in facts
    }
    stated: dict[str, Any] = {
        fact: facts[fact].value
        for fact in ("pitch_pattern", "numbered", "tooth_pattern")
        if fact in facts
    }
    return Blade(teeth=int(facts["teeth"].value), name=name, **sizes, **stated)


def reading_facts(facts: Mapping[str, Fact]) -> dict[str, Any]:
    """Return what the facts say of the readings, as keywords of `Readings`."""
    keywords: dict[str, Any] = {
        fact: (facts[fact].value, "mm") for fact in READING_FACTS if fact in facts
    }
    keywords |= {
        fact: facts[fact].value
        for fact in ("surface", "touch_deg", "stylus_deg", "side")
        if fact in facts
    }
    return keywords


def stated_facts(facts: Mapping[str, Any]) -> dict[str, Fact]:
    """Turn keywords (``teeth=40, ring_radius="4.5 in"``) into facts.

    Raises
    ------
    RefusedError
    """
    known: dict[str, Fact] = {}
    faults: list[Fault] = []
    for name, value in facts.items():
        if value is None:
            continue
        if name in LENGTHS:
            try:
                known[name] = _stated_length(name, value)
            except RefusedError as error:
                faults += error.faults
            continue
        if name not in OTHER_FACTS:
            faults.append(_no_fact(name, value))
            continue
        listed = isinstance(value, Iterable) and not isinstance(value, str)
        text = " ".join(str(gap) for gap in value) if listed else str(value)
        try:
            parsed = parse_fact(name, text, ".", "the option", None)
        except NumberError as error:
            faults.append(Fault(f"{name}: {error.problem}", error.cure, column=name, value=text))
            continue
        if parsed:
            faults += merge(known, dict([parsed]), None)
    if faults:
        raise RefusedError(faults)
    return known


def _no_fact(name: str, value: object) -> Fault:
    if name in LENGTH_COLUMNS:
        fact, unit = LENGTH_COLUMNS[name]
        cure = f'a length carries its unit: {fact}="{value} {unit}"'
    elif near := resembled(name, {*OTHER_FACTS, *LENGTHS}):
        cure = f"did you mean {near}?"
    else:
        cure = f"the facts are {', '.join((*OTHER_FACTS, *LENGTHS))}"
    return Fault(f"{name} is not a known fact", cure, column=name, value=str(value))


def _stated_length(name: str, given: object) -> Fact:
    value, unit = with_unit(name, given)
    size = length(name, (value, unit))
    assert size is not None
    return Fact(size[0] * MM_PER[unit], f"{value} {unit}", "the option")


def length_columns(facts: Mapping[str, Any]) -> dict[str, Any]:
    """Return facts as `stated_facts` takes them under the names of their columns."""
    columns: dict[str, Any] = {}
    for name, value in facts.items():
        if name in LENGTHS and value is not None:
            size, unit = with_unit(name, value)
            columns[f"{name}_{unit}"] = size
        else:
            columns[name] = value
    return columns


def need_teeth(known: Mapping[str, Fact], name: str, row: int | None = None) -> None:
    """Refuse a blade whose number of teeth is stated nowhere.

    Raises
    ------
    RefusedError
    """
    if "teeth" not in known:
        raise RefusedError(
            Fault(
                "the number of teeth is not stated",
                "add a column teeth, a second table with it, or the option --teeth (teeth=...)",
                name or None,
                row,
                "teeth",
            )
        )


def check_unit(unit: str | None) -> None:
    """Refuse a unit of readings that is not known.

    Raises
    ------
    RefusedError
    """
    if unit is not None and unit not in MM_PER:
        raise refuse(f"the unit is {unit!r}", "write mm, in, thou or um", value=unit)
