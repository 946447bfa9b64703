"""What is stated of a blade: in columns, in a second table, in options. All must agree."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from bladegeom.blade import Blade
from bladegeom.columns import FACT_COLUMNS, STATED, Length, no_fact
from bladegeom.faults import Fault, RefusedError, also_in, refuse
from bladegeom.lengths import MM_PER, NumberError, with_unit
from bladegeom.sizes import misfit
from bladegeom.tables._damage import damaged_number


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
    """Read one cell of a fact's column; None where nothing is stated, or raise NumberError."""
    text = cell.strip()
    if text in ("", "?"):
        return None
    fact, unit = FACT_COLUMNS[column]
    value, said = fact.read(text, decimal_mark), text
    if value is None:
        return None
    if unit:
        if (wrong := misfit(fact.name, value, unit)) is not None:
            raise NumberError(wrong.problem, wrong.cure)
        value, said = value * MM_PER[unit], f"{text} {unit}"
    return fact.name, Fact(value, said, place, row)


def no_number(
    error: NumberError,
    name: str,
    row: int | None,
    column: str,
    cell: str,
    mark: str,
    where: str = "",
) -> Fault:
    """Return what is wrong with a cell that holds no number; a spreadsheet's doing by its name."""
    problem, cure = damaged_number(cell, mark) or (error.problem, error.cure)
    return Fault(f"{column}{where}: {problem}", cure, name or None, row, column, cell.strip())


def facts_of_column(
    name: str,
    column: str,
    rows: list[tuple[int, list[str]]],
    place: int,
    mark: str,
    known: dict[str, Fact],
    of: str = "",
) -> list[Fault]:
    """Add what a constant column states to `known`; the same cell is read, and refused, once.

    The rows are `of` a second table where its name is given.
    """
    found: dict[str, list[int]] = {}
    for row, cells in rows:
        found.setdefault(cells[place].strip(), []).append(row)
    faults: list[Fault] = []
    for cell, (row, *others) in found.items():
        said, own = (f"row {row} of {of}", None) if of else (f"row {row}", row)
        try:
            fact = parse_fact(column, cell, mark, said, own)
            wrong = merge(known, dict([fact]), name or None) if fact else []
        except NumberError as error:
            wrong = [no_number(error, name, own, column, cell, mark, f" in {said}" * bool(of))]
        faults += [replace(one, problem=f"{one.problem}{also_in(others)}") for one in wrong]
    return faults


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
    """Make the blade that the facts describe, or raise RefusedError."""
    return Blade(name=name, **_arguments(facts, of_blade=True))


def reading_facts(facts: Mapping[str, Fact]) -> dict[str, Any]:
    """Return what the facts say of the readings, as keywords of `Readings`."""
    return _arguments(facts, of_blade=False)


def _arguments(facts: Mapping[str, Fact], *, of_blade: bool) -> dict[str, Any]:
    return {
        name: STATED[name].argument(fact.value)
        for name, fact in facts.items()
        if (STATED[name].of == "blade") == of_blade
    }


def stated_facts(facts: Mapping[str, Any]) -> dict[str, Fact]:
    """Turn keywords (``teeth=40, ring_radius="4.5 in"``) into facts.

    Raises
    ------
    RefusedError
    """
    known: dict[str, Fact] = {}
    faults: list[Fault] = []
    for name, value in facts.items():
        try:
            if value is not None and (fact := _stated(name, value)):
                known[name] = fact
        except NumberError as error:
            problem = f"{name}: {error.problem}"
            faults.append(Fault(problem, error.cure, column=name, value=_words(value)))
        except RefusedError as error:
            faults += error.faults
    if faults:
        raise RefusedError(faults)
    return known


def _stated(name: str, value: object) -> Fact | None:
    column = STATED.get(name)
    if column is None:
        raise RefusedError(no_fact(name, value))
    if isinstance(column, Length):
        size, unit = with_unit(name, value)
        if size is None:
            return None
        return Fact(column.taken((size, unit), ""), f"{size} {unit}", "the option")
    read = parse_fact(name, _words(value), ".", "the option", None)
    return read[1] if read else None


def _words(value: Any) -> str:
    listed = isinstance(value, Iterable) and not isinstance(value, str)
    return " ".join(str(one) for one in value) if listed else str(value)


def need_teeth(known: Mapping[str, Fact], name: str, row: int | None = None) -> None:
    """Refuse a blade whose number of teeth is stated nowhere."""
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
    """Refuse a unit of readings that is not known."""
    if unit is not None and unit not in MM_PER:
        raise refuse(f"the unit is {unit!r}", "write mm, in, thou or um", value=unit)
