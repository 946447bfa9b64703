"""What is stated of a blade: in columns, in a second table, in options. All must agree."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from bladegeom.blade import Blade
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.lengths import MM_PER, NumberError, may_be_one, parse_number, parse_whole
from bladegeom.tables.columns import (
    FACT_COLUMNS,
    LENGTH_COLUMNS,
    LENGTHS,
    OTHER_FACTS,
    unknown_columns,
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
        f"{fact}_mm": facts[fact].value for fact in BLADE_FACTS if fact in facts
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
        f"{fact}_mm": facts[fact].value for fact in READING_FACTS if fact in facts
    }
    keywords |= {
        fact: facts[fact].value
        for fact in ("surface", "touch_deg", "stylus_deg", "side")
        if fact in facts
    }
    return keywords


def stated_facts(facts: Mapping[str, Any]) -> dict[str, Fact]:
    """Turn keywords named as columns (``teeth=40, ring_radius_in=4.5``) into facts.

    Raises
    ------
    RefusedError
    """
    known: dict[str, Fact] = {}
    faults: list[Fault] = unknown_columns([*facts], row=None)
    for column, value in facts.items():
        if value is None:
            continue
        if column not in FACT_COLUMNS:
            if not any(fault.column == column for fault in faults):
                faults.append(
                    Fault(
                        f"{column} is not a known fact",
                        f"the facts are {', '.join(OTHER_FACTS)}, and with a unit behind them "
                        f"{', '.join(LENGTHS)}",
                        column=column,
                        value=str(value),
                    )
                )
            continue
        listed = isinstance(value, Iterable) and not isinstance(value, str)
        text = " ".join(str(gap) for gap in value) if listed else str(value)
        try:
            parsed = parse_fact(column, text, ".", "the option", None)
        except NumberError as error:
            faults.append(
                Fault(f"{column}: {error.problem}", error.cure, column=column, value=text)
            )
            continue
        if parsed:
            faults += merge(known, dict([parsed]), None)
    if faults:
        raise RefusedError(faults)
    return known


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
