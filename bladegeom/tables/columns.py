"""The columns a table may have, and what a header that is not quite right should have said."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from bladegeom.columns import EYE, FACT_COLUMNS, KNOWN_COLUMNS, READING_COLUMNS, resembled
from bladegeom.faults import Fault, RefusedError
from bladegeom.lengths import MM_PER

_OF_THE_EYE = frozenset(
    {"eye", "eyes", "eey", "yee", "visual", "visuals", "visually", "crack", "cracks", "cracked"}
)
_FOUND = frozenset(
    {
        *("seen", "found", "finding", "findings", "inspection", "inspected"),
        *("damage", "damaged", "defect", "defects", "fault", "faults"),
    }
)
"""A column means `EYE` with one of the former words in its name; in a table of facts, also where
one of the latter is its name."""


def unknown_columns(
    header: Sequence[str], row: int | None = 1, *, own: Collection[str] = ()
) -> list[Fault]:
    """Name the columns that look like a known one misspelt, lack a unit, or come twice.

    A column that resembles nothing known is nobody's mistake: notes, dates, an operator. Columns
    that only this kind of table has are its `own`; so what the eye found is lost in any other.
    """
    of_facts, faults = EYE in own, []
    for place, column in enumerate(header):
        kind = ""
        if not column:
            continue
        beginning = [one for one in own if column[:4] == one[:4]]
        if column in header[:place]:
            problem, cure = f"column {column} is there twice", "keep one of them"
            kind = "reading" if column in READING_COLUMNS else column
        elif column in KNOWN_COLUMNS or column in own:
            continue
        elif not _OF_THE_EYE.isdisjoint(column.split("_")) or (of_facts and column in _FOUND):
            problem = f"column {column} is not known"
            cure = f"did you mean {EYE}, for what the eye found? rename it, or remove it"
            if not of_facts:
                problem = f"column {column} (what the eye found) is not read here"
                cure = f"put it into the table of facts, one row a blade, as column {EYE}"
        elif beginning:
            problem = f"column {column} is not known"
            cure = f"did you mean {' or '.join(beginning)}? rename it, or remove it"
        elif stem := _length_without_unit(column):
            names = _any_of(f"{stem}_{unit}" for unit in MM_PER)
            problem, cure = f"column {column} has no known unit", f"name it {names}"
            kind = stem
        elif near := resembled(column, KNOWN_COLUMNS):
            problem = f"column {column} is not known"
            cure = f"did you mean {near}? rename it, or remove it"
            kind = "reading" if near in READING_COLUMNS else near
        else:
            continue
        faults.append(Fault(problem, cure, row=row, column=column, value=column, kind=kind))
    return faults


def doubled_lengths(header: Sequence[str]) -> list[Fault]:
    """Name the lengths that are given twice, in two units."""
    found: dict[str, list[str]] = {}
    for one in dict.fromkeys(header):
        if one in FACT_COLUMNS:
            found.setdefault(FACT_COLUMNS[one][0].name, []).append(one)
    return [
        Fault(
            f"{fact} is given twice: {' and '.join(columns)}",
            "keep one",
            column=columns[1],
            value=" and ".join(columns),
        )
        for fact, columns in found.items()
        if len(columns) > 1
    ]


def ignored_columns(header: Iterable[str]) -> list[str]:
    """Return the columns that are not used."""
    return [column for column in header if column and column not in KNOWN_COLUMNS]


def one_reading_column(header: Sequence[str], unit: str | None) -> tuple[str, str]:
    """Return the column of the readings and its unit; `unit` is what the user stated, if at all.

    Raises
    ------
    RefusedError
        No such column, two of them, no unit, or another unit than stated.
    """
    found = [column for column in header if column in READING_COLUMNS]
    names = _any_of(READING_COLUMNS)
    if len(found) > 1 or (found and "reading" in header):
        found += ["reading"] if "reading" in header else []
        raise RefusedError(
            Fault(
                f"the readings are there twice: {' and '.join(found)}",
                "keep one of them, in one unit",
                row=1,
                column=found[-1],
                value=" and ".join(found),
            )
        )
    if found:
        own = READING_COLUMNS[found[0]]
        if unit is not None and unit != own:
            raise RefusedError(
                Fault(
                    f"the column is {found[0]}, the unit was given as {unit}",
                    "let them agree",
                    row=1,
                    column=found[0],
                    value=unit,
                )
            )
        return found[0], own
    if "reading" in header:
        if unit is not None:
            return "reading", unit
        raise RefusedError(
            Fault(
                "column reading has no unit",
                f"name it {names}",
                row=1,
                column="reading",
                value="reading",
            )
        )
    held = ", ".join(filter(None, header))[:80]
    raise RefusedError(
        Fault(
            f"there is no column of readings, only {held or 'blanks'}",
            f"name it {names}, and put commas, semicolons or tabs between the cells",
            row=1,
            value=held,
        )
    )


def _length_without_unit(column: str) -> str | None:
    for stem in dict.fromkeys(one.name for one, unit in KNOWN_COLUMNS.values() if unit):
        if column == stem or column.startswith(f"{stem}_"):
            return stem
    return None


def _any_of(names: Iterable[str]) -> str:
    *most, last = names
    return f"{', '.join(most)} or {last}"
