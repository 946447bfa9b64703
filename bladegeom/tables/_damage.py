"""What a spreadsheet did to a cell (dates, powers of ten, error words), and ditto marks.

Named, never repaired.
"""

from __future__ import annotations

import re

_ERROR = re.compile(r"#(?:[^\W\d_]{2,}(?:/0)?[!?]|N/A|#{2,})", re.IGNORECASE)
_POWER = re.compile(r"[0-9](?:[.,][0-9]+)?E\+[0-9]{2,}")
_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|mrz|mär|mai|okt|dez"
_ANY_MONTH = (
    f"sept|janv|févr|mars|avr|juin|juil|août|{_MONTHS}|jän|fév|déc|ene|abr|ago|dic|gen|mag|giu|lug"
    "|set|ott|mrt|mei|fev|out"
)
_TITLED = _MONTHS.title()
_LONG_DATE = (
    r"(?:19|20)[0-9]{2}[-./][0-9]{1,2}[-./][0-9]{1,2}(?:[T ][0-9:.]+)?"
    r"|[0-9]{1,2}[-./][0-9]{1,2}[-./](?:19|20)[0-9]{2}(?: [0-9:.]+)?"
)
_DATE = re.compile(
    rf"[0-9]{{1,4}}[-./ ]{{1,2}}(?:{_ANY_MONTH})\.?(?:[-./ ]{{1,2}}[0-9]{{2,4}})?"
    rf"|(?:{_ANY_MONTH})\.?[-./ ]{{1,2}}[0-9]{{1,4}}"
    rf"|{_LONG_DATE}|[0-9]{{1,2}}[-./][0-9]{{1,2}}[-./][0-9]{{2}}",
    re.IGNORECASE,
)
_DATED_NAME = re.compile(
    rf"[0-9]{{1,2}}(?:-|\. ?)(?:{_TITLED}|{_ANY_MONTH})\.?(?:[-. ][0-9]{{2,4}})?"
    rf"|(?:{_TITLED})[- ][0-9]{{2}}|{_LONG_DATE}"
)
"""Narrower, as a blade may well be called SET-3 or MAR12."""
_BEGINNINGS = frozenset(
    "#0123456789-\"\u201c\u201d\u201e\u2033\u3003'\u2018\u2019\u2032`,\u00b4dtisaDTISA"
    + "".join(month[0] for month in _TITLED.split("|"))
)
"""Of names that one of these, or a ditto, may be; most begin otherwise."""

_COMMA = re.compile(r"[+\-\u2212]?[0-9]*,[0-9]+")
_POINT = re.compile(r"[+\-\u2212]?[0-9]*\.[0-9]+")
_DITTO = re.compile(
    r"[-\s]*(?:[\"\u201c\u201d\u201e\u2033\u3003]|['\u2018\u2019\u2032`,\u00b4]{2})+[-\s]*"
    r"|ditto\.?|dto\.?|do\.|idem|(?:the )?same(?: as above)?|(?:as|see) above",
    re.IGNORECASE,
)


def is_ditto(cell: str) -> bool:
    """Return whether a cell stands for the one above it, by a mark or a word."""
    return _DITTO.fullmatch(cell.strip()) is not None


def damaged_number(cell: str, mark: str = ".") -> tuple[str, str] | None:
    """Say what happened to a cell that holds no number.

    Parameters
    ----------
    cell : str
    mark : {".", ","}
        Decimal mark of the table.

    Returns
    -------
    (problem, cure) or None
        None where it looks like nothing that a spreadsheet does.
    """
    text = cell.strip()
    if _ERROR.fullmatch(text):
        return _error(text, "measure again, or leave the cell blank for not read")
    if _DATE.fullmatch(text):
        return (
            f"{text!r} is a date: a spreadsheet makes dates of fractions such as 1/2",
            "write the number that was read as a decimal, such as 0.5, or format the cells as "
            "text before fractions are typed",
        )
    if text.startswith("="):
        return (
            f"{text[:40]!r} is a formula without a value",
            "save the file in the spreadsheet once more, or paste the values in place of formulas",
        )
    other, found, used = (_COMMA, "comma", "point") if mark == "." else (_POINT, "point", "comma")
    if other.fullmatch(text):
        return (
            f"{text!r} is not a number: it has a decimal {found}, the table has decimal {used}s",
            f"write it with a {used}, as the others",
        )
    return None


def damaged_name(cell: str) -> tuple[str, str] | None:
    """Say what happened to a blade's name, as `damaged_number` does of numbers."""
    text = cell.strip()
    if text[:1] not in _BEGINNINGS:
        return None
    if is_ditto(text):
        return f"{text} stands for the name above it", "write the name in every row"
    if _ERROR.fullmatch(text):
        return _error(text, "write the blade's name")
    if _POWER.fullmatch(text):
        return (
            f"{text!r} is a power of ten: a spreadsheet makes them of long numbers, and the other "
            "digits of the name are lost",
            "write the whole name again, in cells formatted as text",
        )
    if _DATED_NAME.fullmatch(text):
        return (
            f"{text!r} is a date: a spreadsheet makes dates of names such as 3-4",
            "write the name again, in cells formatted as text; where the name is a date, put a "
            "letter before it",
        )
    return None


def _error(text: str, cure: str) -> tuple[str, str]:
    if set(text) == {"#"}:
        return (
            f"{text!r} stands where a column of a spreadsheet was too narrow for its number",
            "widen the column and save again",
        )
    return f"{text!r} is a spreadsheet's word for a formula that failed", f"mend it: {cure}"
