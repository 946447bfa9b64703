"""What can be wrong, said so that it can be mended: where, what, and the cure."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, fields, replace
from typing import NamedTuple


class BladegeomWarning(UserWarning):
    """Something the reader of a result should know; the result itself stands."""


def as_letters(text: str | os.PathLike[str]) -> str:
    r"""Return a text that can be printed and kept: what is no letter in it stands as ``\xe4``.

    The name of a file may hold bytes that are no UTF-8; they come in as halves of letters, which
    no terminal, table or sheet takes.
    """
    given = os.fspath(text)
    try:
        given.encode()
        return given
    except UnicodeEncodeError:
        try:
            raw = given.encode("utf-8", "surrogateescape")
        except UnicodeEncodeError:  # A half that stands for no byte.
            raw = given.encode("utf-8", "backslashreplace")
        return raw.decode("utf-8", "backslashreplace")


_TURNS_ROUND = frozenset(
    "\u061c\u200e\u200f\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
)
"""Signs that turn the order of letters round, or end a line."""


def shown(text: str) -> str:
    r"""Return a text as one line for people: what would break it or turn it is ``\u000a``.

    So no name ends a line, moves a terminal's cursor, or makes the letters beside it run the
    other way.
    """
    odd = {one for one in {*text} if one < " " or "\x7f" <= one < "\xa0" or one in _TURNS_ROUND}
    return "".join(f"\\u{ord(one):04x}" if one in odd else one for one in text) if odd else text


def lines_shown(text: str) -> str:
    """Return a text of several lines, each as `shown`."""
    return "\n".join(map(shown, text.split("\n")))


class Who(NamedTuple):
    """Which blade: two customers may each have one of a name."""

    name: str
    customer: str = ""

    def __str__(self) -> str:
        return f"{self.name or 'a blade'} of {self.customer}" if self.customer else self.name


NO_ROW = "no row"
"""A blade of which the table of facts has no row."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong with the input.

    Attributes
    ----------
    problem : str
        What is wrong, in plain words, with the value in question.
    cure : str
        What the reader can do about it.
    blade : str or None
        The blade concerned; None when the whole file is.
    row : int or None
        The row as a spreadsheet shows it (the header is row 1).
    column : str or None
    value : str or None
        The value as it was found.
    file : str or None
        The file, where it has to be said which.
    kind : str
        What a program may go by: `NO_ROW`, or the column that another seems to be meant for; empty
        for most.
    customer : str or None
        Whose blade it is, where that is stated.
    """

    problem: str
    cure: str
    blade: str | None = None
    row: int | None = None
    column: str | None = None
    value: str | None = None
    file: str | None = None
    kind: str = ""
    customer: str | None = None

    def __post_init__(self) -> None:
        for one in fields(self):
            if isinstance(text := getattr(self, one.name), str):
                object.__setattr__(self, one.name, as_letters(text))

    def __str__(self) -> str:
        where = [f"blade {self.who}"] if any(self.who) else []
        where += [f"row {self.row}"] if self.row is not None else []
        head = [self.file] if self.file else []
        head += [", ".join(where)] if where else []
        return shown(": ".join([*head, f"{self.problem}; {self.cure}"]))

    @property
    def who(self) -> Who:
        """The blade concerned; without a name when the whole file is."""
        return Who(self.blade or "", self.customer or "")

    def of(self, who: Who) -> Fault:
        """Return the fault as one of this blade, where it is not said to be of another."""
        if self.blade not in (None, "", who.name):
            return self
        name, customer = self.blade or who.name or None, self.customer or who.customer or None
        return replace(self, blade=name, customer=customer)

    def within(self, file: str) -> Fault:
        """Return the fault as one of this file, where it is not said to be of another."""
        return self if self.file else replace(self, file=file)

    def to_dict(self) -> dict[str, str | int | None]:
        """Return the fault as plain values, the keys of ``refused`` in the command's JSON."""
        file: dict[str, str | int | None] = {"file": self.file} if self.file else {}
        whose = {"customer": self.customer} if self.customer else {}
        return (
            file
            | whose
            | {
                "blade": self.blade,
                "row": self.row,
                "column": self.column,
                "value": self.value,
                "problem": self.problem,
                "cure": self.cure,
            }
        )


def also_in(rows: Sequence[int], most: int = 8) -> str:
    """Return in words in which other rows the same fault stands; empty where in none."""
    if not rows:
        return ""
    more = f" and {len(rows) - most} more" if len(rows) > most else ""
    listed = ", ".join(str(row) for row in rows[:most])
    return f" (also in row{'s' if len(rows) > 1 else ''} {listed}{more})"


def meant(name: str, known: Collection[str], cutoff: float = 0.6) -> str | None:
    """Return the one of the known names that is most like a name that is none of them, if any."""
    from difflib import get_close_matches  # Seldom needed, and every start would wait for it.

    close = get_close_matches(name, sorted(known), n=1, cutoff=cutoff)
    return close[0] if close else None


def unknown_name(
    name: str,
    known: Collection[str],
    what: str,
    *,
    near: str | None = None,
    row: int | None = None,
    value: object = None,
) -> Fault:
    """Return the fault of a name that is none of those known, with the one that is alike."""
    close = near or meant(name, known)
    cure = f"did you mean {close}?" if close else f"use one of {', '.join(known)}"
    said = name if value is None else str(value)
    return Fault(f"{name} is not a known {what}", cure, row=row, column=name, value=said)


class RefusedError(ValueError):
    """The input cannot be answered; every fault found is listed.

    Attributes
    ----------
    faults : tuple of Fault
    """

    def __init__(self, faults: Iterable[Fault] | Fault) -> None:
        self.faults = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[type[RefusedError], tuple[tuple[Fault, ...]]]:
        return type(self), (self.faults,)


def refuse(
    problem: str,
    cure: str,
    *,
    value: object = None,
    blade: str | None = None,
    column: str | None = None,
    file: str | None = None,
) -> RefusedError:
    """Return the error for a single fault that has no row of its own."""
    text = None if value is None else str(value)
    return RefusedError(
        Fault(problem, cure, blade=blade or None, column=column, value=text, file=file)
    )
