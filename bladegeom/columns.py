"""The one table of columns: what can be read and stated of a reading, turn, ring, mounting, blade.

Made from it are the parser and its header check, `Blade` and `Readings`, the tidy frame, the
digest, the empty table and the reading sheet, the command's options and the table of the
documents. Another fact is one line of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, ClassVar

import numpy as np

from bladegeom.faults import Fault, RefusedError, as_letters, meant, refuse, unknown_name
from bladegeom.lengths import (
    MM_PER,
    NumberError,
    is_missing,
    length,
    length_mm,
    may_be_one,
    parse_length,
    parse_number,
    parse_whole,
    plain_number,
    plain_numbers,
)

MOST_TEETH = 1000
NOT_FINISHED = "no"
"""What is stated of readings that ended before every tooth was asked for."""

FLANGE = "flange"
"""What was touched where no blade was on the arbor."""

LEFT_ALONE, SET_ANEW = "left alone", "set anew"
"""What may be stated of the dial between turns."""


@dataclass(frozen=True)
class Column:
    """A column, and how its cells are read: words of one's own.

    Attributes
    ----------
    name : str
        In Python; in a header too, with the unit behind it where it is a length.
    of : {"reading", "turn", "ring", "mount", "blade"}
        What it belongs to. `Blade` keeps what is of the blade, `Readings` what is of the ring and
        the mounting.
    meaning : str
    cure : str
        What to write, for messages.
    among : tuple
        The words that there are, or the least and the largest number.
    default : object
        What holds where nothing is stated.
    always : bool
        Whether the default stands in tidy tables too.
    differs : str
        What it may differ between on one blade: ``rings``, ``mounts``, both or neither.
    doubt : bool
        Whether the doubt uses it.
    option : bool
        Whether the command has an option of its name; the others are stated by ``--fact``.
    """

    name: str
    of: str
    meaning: str
    cure: str = ""
    among: tuple[Any, ...] = ()
    default: Any = None
    always: bool = False
    differs: str = ""
    doubt: bool = False
    option: bool = False

    kind: ClassVar[str] = "words"
    lengths: ClassVar[bool] = False
    numbers: ClassVar[bool] = False
    """Whether cells hold numbers, which tell the decimal mark."""

    @property
    def key(self) -> str:
        """Name of what `Blade` or `Readings` keeps, and of the column of a tidy table."""
        return f"{self.name}_mm" if self.lengths else self.name

    @property
    def headers(self) -> dict[str, str]:
        """Names in a header -> unit."""
        return {f"{self.name}_{one}": one for one in MM_PER} if self.lengths else {self.name: ""}

    def read(self, text: str, mark: str = ".") -> Any:
        """Read a cell that is not blank, or raise NumberError; None where no number stands."""
        return text

    def option_value(self, text: str) -> Any:
        """Read what an option says, as an argument of `Blade` or `Readings`, or raise an error."""
        value = self.read(text.strip())
        if value is None or not text.strip():
            raise NumberError(f"{text!r} says nothing", "leave it out where it is not known")
        self.taken(value, "")
        return value

    def taken(self, given: Any, blade: str) -> Any:
        """Return an argument as it is kept, or raise RefusedError; `blade` is for the message."""
        if given != given:  # NaN, as frames have it for missing.
            raise self.refused(given, blade, "say it in words, or leave it out")
        return as_letters(str(given))

    def argument(self, kept: Any) -> Any:
        """Return what is kept as it is given."""
        return (kept, "mm") if self.lengths else kept

    def cell(self, kept: Any) -> Any:
        """Return what is kept as a tidy table holds it; None where nothing is stated."""
        return None if kept == self.default and not self.always else kept

    def refused(self, given: object, blade: str, cure: str = "") -> RefusedError:
        """Return the error of an argument that cannot be true."""
        return refuse(
            f"{self.name} is {given!r}",
            cure or self.cure,
            value=given,
            blade=blade,
            column=self.name,
        )


class Length(Column):
    """A length, kept in millimetres."""

    kind = "length"
    lengths = numbers = True

    def read(self, text: str, mark: str = ".") -> float | None:
        number = parse_number(text, mark)
        if number is not None and number <= 0:
            raise NumberError(f"{text!r} is not above 0", "give a length above 0")
        return number

    def option_value(self, text: str) -> tuple[float, str]:
        read = parse_length(text)
        length(self.name, read)
        return read

    def taken(self, given: Any, blade: str) -> float | None:
        return length_mm(self.name, given)


class _OneNumber(Column):
    """One number."""

    numbers = True

    def option_value(self, text: str) -> Any:
        try:
            return super().option_value(text)
        except NumberError as error:  # Whose cure is that of a cell.
            raise NumberError(error.problem, f"write a {self.kind}") from None


class Number(_OneNumber):
    """A number between a least and a largest; degrees."""

    kind = "number"

    def read(self, text: str, mark: str = ".") -> float | None:
        return parse_number(text, mark)

    def taken(self, given: Any, blade: str) -> float:
        try:
            number = parse_number(given) if isinstance(given, str) else plain_number(given)
        except NumberError:
            number = None
        if number is None:
            raise self.refused(given, blade, "give degrees")
        least, largest = self.among
        if not least <= number <= largest:
            problem = f"{self.name} is {number:g}"
            raise refuse(problem, self.cure, value=number, blade=blade, column=self.name)
        return number


class Whole(_OneNumber):
    """A whole number between a least and a largest."""

    kind = "whole number"

    def read(self, text: str, mark: str = ".") -> int | None:
        return parse_whole(text, mark)

    def taken(self, given: Any, blade: str) -> int:
        least, largest = self.among
        number = plain_number(given)
        if number is not None and least <= number <= largest and int(number) == number:
            return int(number)
        known = number is not None
        problem = f"a blade of {given} {self.name}" if known else f"{self.name} is {given!r}"
        cure = f"give a whole number of {self.name} from {least} to {largest}"
        raise refuse(problem, cure, value=given, blade=blade, column=self.name)


class OneOf(Column):
    """One of some words."""

    kind = "word"

    def read(self, text: str, mark: str = ".") -> str:
        return text.lower()

    def taken(self, given: Any, blade: str) -> str:
        if given not in self.among:
            raise self.refused(given, blade)
        return str(given)


class Gaps(Column):
    """Several numbers, with blanks between them."""

    kind = "numbers"
    numbers = True

    def read(self, text: str, mark: str = ".") -> tuple[float, ...]:
        cure = "write gaps with blanks between them, such as 1 1 1 1 1.6"
        words = text.split()
        try:
            gaps = [parse_number(gap, mark) for gap in words]
        except NumberError as error:
            raise NumberError(error.problem, cure) from None
        read = tuple(gap for gap in gaps if gap is not None)
        if len(read) < len(gaps):
            raise NumberError(f"{text!r} lacks a gap", cure)
        if any(may_be_one(before, gap, mark) for before, gap in pairwise(words)):
            cure = "write decimals: 1.5 for 1 1/2"
            raise NumberError(f"{text!r} could be read in two ways", cure)
        return read

    def taken(self, given: Any, blade: str) -> tuple[float, ...]:
        return several_numbers(given, self.name, self.cure, blade)

    def cell(self, kept: Any) -> str | None:
        return " ".join(f"{gap!r}" for gap in kept or ()) or None


class Kinds(Column):
    """Several words, with blanks between them."""

    kind = "words of a pattern"

    def read(self, text: str, mark: str = ".") -> tuple[str, ...]:
        return tuple(text.upper().split())

    def taken(self, given: Any, blade: str) -> tuple[str, ...]:
        try:
            return tuple(map(str, given.split() if isinstance(given, str) else given))
        except TypeError:
            return ()

    def cell(self, kept: Any) -> str | None:
        return " ".join(kept or ()) or None


def several_numbers(given: Any, what: str, such_as: str, blade: str) -> tuple[float, ...]:
    """Return several numbers, given as a list or in a text, or raise RefusedError."""
    try:
        read = plain_numbers(given.split() if isinstance(given, str) else given)
        if read.ndim != 1:
            raise ValueError
        return tuple(read.tolist())
    except ValueError:
        problem, cure = f"{what} is {given!r}", f"give numbers, {such_as}"
        raise refuse(problem, cure, value=given, blade=blade, column=what) from None


STATED: dict[str, Column] = {}
"""Facts by name, in the order in which tidy tables have them."""

FACT_COLUMNS: dict[str, tuple[Column, str]] = {}
"""What a fact is called in a header -> the fact and the unit."""

KNOWN_COLUMNS: dict[str, tuple[Column, str]] = {}
"""Every name in the header of a table of readings -> its column and unit."""


def add_column(column: Column) -> None:
    """Let a fact be stated everywhere."""
    STATED[column.name] = column
    FACT_COLUMNS.update({header: (column, unit) for header, unit in column.headers.items()})
    KNOWN_COLUMNS.update(FACT_COLUMNS)


IN_ROWS = (
    Whole("tooth", "reading", "the indexed tooth, from 1"),
    Length(
        "reading", "reading", "the reading; blank or `?` for not read. The unit is never guessed"
    ),
    Column("blade", "blade", "the blade's name, as text (optional for a single blade)"),
    OneOf(
        "turned",
        "turn",
        "`forward` or `backward`: which way the blade was being turned; both ways show the play "
        "(optional)",
        among=("forward", "backward"),
    ),
    Whole(
        "turn",
        "turn",
        "which turn (optional; without it only the first tooth may come twice, as the closing "
        "reading in the last row)",
    ),
    Whole("order", "reading", "in what order the rows were read (optional)"),
)
"""Columns of the rows themselves."""

KNOWN_COLUMNS |= {header: (one, unit) for one in IN_ROWS for header, unit in one.headers.items()}
ROW_COLUMNS = frozenset(KNOWN_COLUMNS) - {"blade"}
READING_COLUMNS = {f"reading_{unit}": unit for unit in MM_PER}
"""Column of the readings -> its unit."""

for _one in (
    Whole("teeth", "blade", "number of teeth", among=(2, MOST_TEETH), option=True),
    Length("diameter", "blade", "across the tooth tips", option=True),
    Length(
        "ring_radius",
        "ring",
        "from the arbor's axis to the stylus; without it there are no angles",
        differs="rings",
        doubt=True,
        option=True,
    ),
    Length("plate", "blade", "thickness of the plate"),
    Length("tooth_width", "blade", "width that the teeth cut"),
    Length("gullet", "blade", "depth of the gullets below the tooth tips"),
    Length(
        "graduation",
        "mount",
        "finest step to which the indicator was read",
        differs="mounts",
        doubt=True,
        option=True,
    ),
    Length(
        "ring_radius_u",
        "ring",
        "standard uncertainty (k = 1) of the ring radius",
        differs="rings mounts",
        doubt=True,
    ),
    Length(
        "end_float",
        "mount",
        "how much one tooth's reading changed when the arbor was pushed and pulled along its axis",
        differs="mounts",
        doubt=True,
    ),
    Length(
        "dial_turn",
        "mount",
        "one revolution of the dial's hand, to look for readings so much off",
        differs="mounts",
    ),
    OneOf(
        "dial",
        "mount",
        "`left alone` or `set anew`: whether the dial was left as it was from one turn to the "
        "next; left alone, every tooth read again shows whether the stand moved",
        "write left alone, or set anew where its zero was moved between turns",
        (LEFT_ALONE, SET_ANEW),
        differs="rings mounts",
    ),
    Number(
        "stylus_deg",
        "ring",
        "how far the plunger may have stood out of the arbor's direction, in degrees",
        "give how far the plunger may stand out of the arbor's direction, 0 to 90",
        (0, np.nextafter(90, 0)),
        default=0.0,
        differs="rings mounts",
        doubt=True,
    ),
    Kinds(
        "tooth_pattern",
        "blade",
        "kinds of teeth from tooth 1 on, repeated round the blade, such as `L R` for teeth "
        "bevelled left and right in turn; used where the teeth were read",
    ),
    OneOf(
        "numbered",
        "blade",
        "`clockwise` or `counterclockwise`: way of the tooth numbers, as seen from the "
        "indicator's side",
        "write clockwise or counterclockwise, as seen from the indicator's side",
        ("clockwise", "counterclockwise"),
        differs="rings",
    ),
    OneOf(
        "surface",
        "mount",
        "`plate` or `teeth`: what the stylus touched; or `flange`: the face of a flange or an "
        "arbor, without a blade, whose places are counted as teeth are",
        "write plate or teeth, or flange where no blade was read",
        ("plate", "teeth", FLANGE),
        default="plate",
        always=True,
    ),
    Number(
        "touch_deg",
        "ring",
        "degrees of blade from the indexed tooth to the touched spot, positive with the numbering",
        "give the degrees from the indexed tooth to the touched spot",
        (-360, 360),
        default=0.0,
        always=True,
        differs="rings mounts",
    ),
    Gaps(
        "pitch_pattern",
        "blade",
        "relative gaps from tooth 1 on, repeated round the blade, such as `1 1 1 1 1.6`; even "
        "pitch if not stated",
        "such as (1, 1, 1, 1, 1.6)",
    ),
    Column(
        "side",
        "mount",
        "the side of the blade on which the indicator stands, in your own words",
        default="",
        differs="rings",
    ),
    Column("customer", "blade", "whose blade it is", default=""),
    Column("job", "mount", "the customer's order, or the day's", default=""),
    Column("operator", "mount", "who read the blade", default="", differs="rings mounts"),
    Column("done", "mount", "what was done to the blade before it was read", default=""),
    OneOf(
        "finished",
        "mount",
        "`no` while `bladegeom read` has not asked for every tooth: bends and single teeth are not "
        "known, and no verdict on the blade is made",
        "write no where not every tooth was asked for, else leave it out",
        (NOT_FINISHED, "yes"),
    ),
):
    add_column(_one)

OF_MOUNTS = ("mount", "clock_deg", "clock_tooth")
"""Columns that only a table of mountings has."""

OF_RINGS = ("stand", "flipped", "zero")
"""Columns that only a table of rings has."""

EYE = "eye"
"""Column of the table of facts: what the eye found, in words; ``none`` where it found nothing."""


def kept_facts(of_blade: bool, given: Mapping[str, Any], blade: str) -> dict[str, Any]:
    """Return the facts of a blade, or of its readings, as they are kept: name -> value.

    Raises
    ------
    RefusedError
        If one is not known here, or cannot be true.
    """
    own = {name: one for name, one in STATED.items() if (one.of == "blade") == of_blade}
    if strange := [name for name in given if name not in own]:
        raise RefusedError(no_fact(name, given[name], own) for name in strange)
    kept = {}
    for name, column in own.items():
        value = given.get(name)
        kept[name] = column.default if is_missing(value) else column.taken(value, blade)
    return kept


def no_fact(name: str, value: object, known: Mapping[str, Column] = STATED) -> Fault:
    """Return the fault of a fact that is not known, or not here."""
    if name in STATED:  # And is given to the wrong one of two.
        of, to = ("blade", "Blade") if STATED[name].of == "blade" else ("readings", "Readings")
        problem, cure = f"{name} is a fact of the {of}", f"give it to {to}"
        return Fault(problem, cure, column=name, value=str(value))
    if name in FACT_COLUMNS:
        column, unit = FACT_COLUMNS[name]
        cure = f'a length carries its unit: {column.name}="{value} {unit}"'
        return Fault(f"{name} is not a known fact", cure, column=name, value=str(value))
    return unknown_name(name, known, "fact", near=resembled(name, known), value=value)


def told(of_blade: bool) -> str:
    """Return the facts of `Blade` or `Readings` as lines of a docstring."""
    lines = []
    for column in STATED.values():
        if (column.of == "blade") == of_blade and column.name != "teeth":
            default = f"; {column.default} if not stated" * (column.default not in (None, ""))
            lines.append(f"    ``{column.name}``, {column.kind}: {column.meaning}{default}")
    return "\n".join(lines)


_UNITS = frozenset(MM_PER) | {"deg"}
_FILLERS = frozenset({"name", "no", "nr", "num", "number", "id", "count", "index", "of", "the"})
_ANGLES = {"touch": "touch_deg", "pitch": "pitch_pattern"}


def resembled(name: str, known: Iterable[str]) -> str | None:
    """Return the one of the known names that a column, or a keyword, may have been meant to be."""
    known = sorted(known)
    words = [word for word in name.split("_") if word not in _FILLERS]
    if words and _ANGLES.get(words[0]) in known:  # touch_mm
        return _ANGLES[words[0]]
    if close := meant(name, known, 0.75):
        return close
    if _UNITS.issuperset(words):
        return None
    for one in known:  # blade_name, number_of_teeth, ring, pattern, width_mm
        rest = iter(one.split("_"))
        if all(word in rest for word in words):
            return one
    return None
