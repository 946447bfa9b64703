"""The columns a table may have, and what a header that is not quite right should have said."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from bladegeom.faults import Fault, RefusedError
from bladegeom.lengths import MM_PER

READING_COLUMNS = {f"reading_{unit}": unit for unit in MM_PER}
"""Column of the readings -> its unit."""

LENGTHS = (
    "diameter",
    "ring_radius",
    "ring_radius_u",
    "plate",
    "tooth_width",
    "gullet",
    "graduation",
    "end_float",
    "dial_turn",
)
"""Facts that are lengths; their columns carry the unit: ``diameter_mm``, ``diameter_in``, ..."""

LENGTH_COLUMNS = {f"{fact}_{unit}": (fact, unit) for fact in LENGTHS for unit in MM_PER}
"""Column of a length -> (fact, unit)."""

OTHER_FACTS = (
    "teeth",
    "numbered",
    "surface",
    "touch_deg",
    "stylus_deg",
    "pitch_pattern",
    "tooth_pattern",
    "side",
)
"""Facts whose column is their name."""

EYE = "eye"
"""Column of the table of facts: what the eye found, in words; ``none`` where it found nothing."""

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

FACT_COLUMNS = frozenset(LENGTH_COLUMNS) | frozenset(OTHER_FACTS)
ROW_COLUMNS = frozenset(READING_COLUMNS) | {"tooth", "turn", "order", "turned"}
KNOWN_COLUMNS = FACT_COLUMNS | ROW_COLUMNS | {"blade"}

NUMBER_COLUMNS = KNOWN_COLUMNS - {
    "blade",
    "numbered",
    "surface",
    "side",
    "turned",
    "tooth_pattern",
}
"""Columns whose cells hold numbers (`pitch_pattern` holds several)."""


_UNITS = frozenset(MM_PER) | {"deg"}
_FILLERS = frozenset({"name", "no", "nr", "num", "number", "id", "count", "index", "of", "the"})
_ANGLES = {"touch": "touch_deg", "pitch": "pitch_pattern"}


def unknown_columns(
    header: Sequence[str], row: int | None = 1, *, of_facts: bool = False
) -> list[Fault]:
    """Name the columns that look like a known one misspelt, lack a unit, or come twice.

    A column that resembles nothing known is nobody's mistake: notes, dates, an operator. What the
    eye found stands in a table of facts (`of_facts`), and is lost in any other.
    """
    faults = []
    for place, column in enumerate(header):
        if not column:
            continue
        if column in header[:place]:
            problem, cure = f"column {column} is there twice", "keep one of them"
        elif column in KNOWN_COLUMNS or (of_facts and column == EYE):
            continue
        elif not _OF_THE_EYE.isdisjoint(column.split("_")) or (of_facts and column in _FOUND):
            problem = f"column {column} is not known"
            cure = f"did you mean {EYE}, for what the eye found? rename it, or remove it"
            if not of_facts:
                problem = f"column {column} (what the eye found) is not read here"
                cure = f"put it into the table of facts, one row a blade, as column {EYE}"
        elif stem := _length_without_unit(column):
            names = _any_of(f"{stem}_{unit}" for unit in MM_PER)
            problem, cure = f"column {column} has no known unit", f"name it {names}"
        elif near := resembled(column, KNOWN_COLUMNS):
            problem = f"column {column} is not known"
            cure = f"did you mean {near}? rename it, or remove it"
        else:
            continue
        faults.append(Fault(problem, cure, row=row, column=column, value=column))
    return faults


def doubled_lengths(header: Sequence[str]) -> list[Fault]:
    """Name the lengths that are given twice, in two units."""
    found: dict[str, list[str]] = {}
    for column in header:
        if column in LENGTH_COLUMNS:
            found.setdefault(LENGTH_COLUMNS[column][0], []).append(column)
    return [
        Fault(
            f"{fact} is given twice: {' and '.join(columns)}",
            "keep one",
            column=columns[1],
            value=" and ".join(columns),
        )
        for fact, columns in found.items()
        if len(set(columns)) > 1
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
    for stem in (*LENGTHS, "reading"):
        if column == stem or column.startswith(f"{stem}_"):
            return stem
    return None


def _any_of(names: Iterable[str]) -> str:
    *most, last = names
    return f"{', '.join(most)} or {last}"


def resembled(column: str, names: Collection[str]) -> str | None:
    """Return the one of these names that a column, or a keyword, may have been meant to be."""
    from difflib import get_close_matches  # Seldom needed, and every start would wait for it.

    words = [word for word in column.split("_") if word not in _FILLERS]
    if words and words[0] in _ANGLES:  # touch_mm
        return _ANGLES[words[0]]
    if close := get_close_matches(column, sorted(names), n=1, cutoff=0.75):
        return close[0]
    if _UNITS.issuperset(words):
        return None
    for known in sorted(names):  # blade_name, number_of_teeth, ring, pattern, width_mm
        rest = iter(known.split("_"))
        if all(word in rest for word in words):
            return known
    return None
