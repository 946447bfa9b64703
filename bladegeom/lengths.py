"""Lengths and numbers as people write them. No unit is ever guessed."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from itertools import pairwise
from numbers import Real
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.faults import RefusedError, refuse
from bladegeom.sizes import MM_PER as MM_PER
from bladegeom.sizes import misfit

LARGEST, LEAST = 1e9, 1e-100
"""A number beyond these is a slip: a barcode among the readings, or so small that its square is
lost."""

Length = str | tuple[float, str]
"""``"4.5 in"`` or ``(4.5, "in")``."""

Lengths = str | tuple[ArrayLike, str]
"""Several of one thing: ``"12.0 12.5 thou"`` or ``([12.0, 12.5], "thou")``."""

_DECIMAL = re.compile(r"[+-]?([0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_FRACTION = re.compile(r"([+-]?)(?:([0-9]{1,9})[ ]+)?([0-9]{1,9})/([0-9]{1,9})")
_VULGAR = re.compile(r"([+-]?)([0-9]{0,9})[ ]*(\D)")
_LENGTH = re.compile(r"(.*?)\s*(mm|in|thou|um)")


class NumberError(ValueError):
    """A text that is not a number; `problem` and `cure` say why and what to write."""

    def __init__(self, problem: str, cure: str) -> None:
        super().__init__(f"{problem}; {cure}")
        self.problem = problem
        self.cure = cure


def parse_number(text: str, decimal_mark: str = ".") -> float | None:
    """Read a number as people type it.

    Accepts ``0.5``, ``-.5``, ``+3``, ``1e-3``, fractions (``1/2``, ``1 1/2``, ``1½``; the sign
    covers the whole), the Unicode minus, and surrounding blanks.

    Parameters
    ----------
    text : str
    decimal_mark : {".", ","}

    Returns
    -------
    float or None
        None where nothing was read: a blank or ``?``.

    Raises
    ------
    NumberError
        For anything else, the words nan and inf included.
    """
    plain = text.strip().replace("\u2212", "-")
    if plain in ("", "?"):
        return None
    pointed = plain if decimal_mark == "." else plain.replace(".", "\0").replace(",", ".")
    if match := _DECIMAL.fullmatch(pointed):
        value = float(pointed)
        if abs(value) < LEAST and match[1].strip("0."):
            raise NumberError(f"{_short(text)} is too small", "check the number")
        return _usual(value, text)
    if match := _FRACTION.fullmatch(plain):
        sign, whole, top, bottom = match.groups()
        if int(bottom) == 0:
            raise NumberError(f"{_short(text)} divides by nothing", "check the fraction")
        value = int(whole or 0) + int(top) / int(bottom)
        return _usual(-value if sign == "-" else value, text)
    if match := _VULGAR.fullmatch(plain):
        sign, whole, fraction = match.groups()
        part = unicodedata.numeric(fraction, 0.0)
        # Raised and circled noughts count as numbers too, and are none of ours.
        if unicodedata.category(fraction) == "No" and 0 < part < 1:
            return (-1.0 if sign == "-" else 1.0) * (int(whole or 0) + part)
    if re.fullmatch(r"[+-]?(nan|inf|infinity)", plain, re.IGNORECASE):
        raise NumberError(
            f"{_short(text)} is not a number", "leave the cell blank or write ? for not read"
        )
    raise NumberError(f"{_short(text)} is not a number", "write a number, or ? for not read")


def _usual(value: float, text: str) -> float:
    if abs(value) > LARGEST:
        raise NumberError(f"{_short(text)} is too large", "check the number")
    return value


def _short(text: str) -> str:
    plain = text.strip()
    return repr(plain if len(plain) <= 40 else f"{plain[:40]}...")


def may_be_one(before: str, word: str, decimal_mark: str = ".", *, bare: bool = False) -> bool:
    """Return whether two words with a blank between them may be one number: ``1 1/2``, ``0. 5``.

    Parameters
    ----------
    before, word : str
    decimal_mark : {".", ","}
    bare : bool
        Whether ``.5`` is known to be a number of its own.
    """
    whole, part = r"[+\-\u2212]?[0-9]+", r"[0-9]+/[0-9]+|[\u00bc-\u00be\u2150-\u215e]"
    kinds = [f"{whole} (?:{part})", f"{whole}[{decimal_mark}] [0-9]+"]
    kinds += ["[1-9][0-9]{0,2} 0[0-9]{2}"]  # 1 005 for 1005
    kinds += [] if bare else [f"{whole} [{decimal_mark}][0-9]+"]
    return re.fullmatch("|".join(kinds), f"{before} {word}") is not None


def parse_whole(text: str, decimal_mark: str = ".") -> int | None:
    """Read a whole number; ``3.0`` is 3, ``3.5`` is refused, blank or ``?`` is None.

    Raises
    ------
    NumberError
    """
    value = parse_number(text, decimal_mark)
    if value is None:
        return None
    if value != math.floor(value):
        raise NumberError(f"{_short(text)} is not a whole number", "write a whole number")
    return int(value)


def parse_length(text: str) -> tuple[float, str]:
    """Read a length with its unit, such as ``4.5in``, ``254 mm`` or ``0.5thou``.

    Returns
    -------
    value : float
    unit : {"mm", "in", "thou", "um"}

    Raises
    ------
    NumberError
    """
    match = _LENGTH.fullmatch(text.strip())
    if not match:
        raise NumberError(
            f"{_short(text)} has no unit", "write the unit behind it: mm, in, thou or um"
        )
    cure = "write it like 254mm or 4.5in"
    try:
        value = parse_number(match[1])
    except NumberError as error:
        raise NumberError(error.problem, cure) from None
    if value is None:
        raise NumberError(f"{_short(text)} has no number", cure)
    return value, match[2]


WRITE_SEVERAL = 'write the unit behind the last one, in quotes: "12.0 12.5 12.0 thou"'
"""The cure for several lengths that cannot be read."""


def parse_lengths(text: str) -> tuple[list[float | None], str]:
    """Read several lengths with one unit behind the last, such as ``12.0 ? 12.5 thou``.

    Returns
    -------
    values : list of float or None
        None where ``?`` stands for not read.
    unit : {"mm", "in", "thou", "um"}

    Raises
    ------
    NumberError
    """
    *written, last = text.replace(", ", " ").split() or [""]
    if match := re.fullmatch(r"(.*?[\d.])(mm|in|thou|um)", last):
        written, last = [*written, match[1]], match[2]
    if last not in MM_PER:
        missing = "unit" if any(map(str.isnumeric, text)) else "number"
        raise NumberError(f"{_short(text)} has no {missing}", WRITE_SEVERAL)
    if not written:
        raise NumberError(f"{_short(text)} has no number", WRITE_SEVERAL)
    if any(may_be_one(before, one) for before, one in pairwise(written)):
        raise NumberError(
            f"{_short(text)} could be read in two ways", "write decimals: 1.5 for 1 1/2"
        )
    return [parse_number(one) for one in written], last


def is_missing(value: object) -> bool:
    """Return whether a value says nothing: None, or what frames have for missing."""
    return value is None or type(value).__name__ == "NAType"  # Of pandas, which is not loaded.


def plain_number(value: object) -> float | None:
    """Return a number of whatever kind (NumPy's, Decimal, Fraction); None where it is none.

    True is no number, nor is a text, a date or a span of time.
    """
    if isinstance(value, np.ndarray) and value.ndim == 0:
        value = value[()]
    if isinstance(value, (bool, np.bool_, np.timedelta64, str)):
        return None
    if not isinstance(value, Real):
        from decimal import Decimal  # Seldom given, and every start would wait for it.

        if not isinstance(value, Decimal):
            return None
    try:
        return float(value)
    except OverflowError:
        return math.inf


def plain_numbers(values: object) -> NDArray[np.float64]:
    """Return values as numbers in an array of their own, NaN where masked, missing or ``?``.

    Raises
    ------
    ValueError
        If one is no number.
    """
    if isinstance(values, np.ma.MaskedArray):
        values = values.tolist()  # None where masked.
    if isinstance(values, (Sequence, Iterator)) and not isinstance(values, str):
        values = list(values)
        if {*map(type, values)} <= {int, float}:  # As most are; others are looked at one by one.
            with suppress(OverflowError):
                return np.array(values, dtype=np.float64)
        listed = [None if one is np.ma.masked else one for one in values]
        values = np.asarray(listed, dtype=object)
    given = np.asarray(values)
    if given.dtype.kind in "iuf":
        return given.astype(np.float64)
    if given.dtype.kind not in "OU":
        raise ValueError(f"{given.dtype} is no kind of number")
    read = np.empty(given.shape)
    for place, one in np.ndenumerate(given):
        value = parse_number(one) if isinstance(one, str) else plain_number(one)
        if value is None and not (is_missing(one) or isinstance(one, str)):
            raise ValueError(f"{one!r} is no number")
        read[place] = math.nan if value is None else value
    return read


def convert(value: float, unit: str, to: str) -> float:
    """Convert a length; the same unit gives the same number, bit for bit."""
    return value if unit == to else value * MM_PER[unit] / MM_PER[to]


def with_unit(what: str, given: object, *, several: bool = False) -> tuple[Any, str]:
    """Return what was given as a text with its unit, or as a pair: ``"8 in"``, ``(8, "in")``.

    Parameters
    ----------
    what : str
        The name of the argument, for messages.
    given : str or tuple
    several : bool
        Whether several lengths may be given, ``"12.0 12.5 thou"`` or ``([12.0, 12.5], "thou")``.

    Returns
    -------
    value : object
        The number, or the list, of a text; of a pair whatever it holds.
    unit : {"mm", "in", "thou", "um"}

    Raises
    ------
    RefusedError
        Where there is no unit, or a text that cannot be read.
    """
    if isinstance(given, str):
        try:
            return parse_lengths(given) if several else parse_length(given)
        except NumberError as error:
            raise refuse(f"{what}: {error.problem}", error.cure, value=given, column=what) from None
    if isinstance(given, (tuple, list)) and len(given) == 2 and isinstance(given[1], str):
        value, unit = given
        if unit not in MM_PER:
            cure = "write mm, in, thou or um"
            raise refuse(f"the unit of {what} is {unit!r}", cure, value=unit, column=what)
        return value, unit
    said = " ".join(repr(given).split())
    said = said if len(said) <= 40 else f"{said[:40]}..."
    problem = f"{what} is not given" if given is None else f"{what} is {said}, without a unit"
    example = '"12.0 12.5 thou" or (values, "thou")' if several else '"4.5 in" or (4.5, "in")'
    raise refuse(problem, f"give it as {example}", value=given, column=what)


def length(what: str, given: object) -> tuple[float, str] | None:
    """Return the length that was given, and its unit; None where none, or ``(None, unit)``, was.

    Parameters
    ----------
    what : str
        The name of the argument, for messages.
    given : str, tuple or None
        As for `with_unit`.

    Raises
    ------
    RefusedError
        If it has no unit, is not a positive finite number, or no saw has that size.
    """
    if is_missing(given):
        return None
    value, unit = with_unit(what, given)
    if is_missing(value):
        return None
    number = plain_number(value)
    if number is None or not 0 < number <= LARGEST:
        cure = f"give a length above 0 and up to {LARGEST:g}"
        said = value if number is None else f"{number:g}"
        raise refuse(f"{what} is {said} {unit}", cure, value=said, column=what)
    if (wrong := misfit(what, number, unit)) is not None:
        raise RefusedError(wrong)
    return number, unit


def length_mm(what: str, given: object) -> float | None:
    """Return in millimetres what `length` returns."""
    found = length(what, given)
    return None if found is None else found[0] * MM_PER[found[1]]


def lengths_mm(what: str, given: object, *, least: int = 1) -> tuple[NDArray[np.float64], str]:
    """Return in millimetres the lengths that were given.

    Parameters
    ----------
    what : str
        The name of the argument, for messages.
    given : str or tuple
        As for `with_unit`. A single number counts as a list of one; signs are free.
    least : int
        How many values there must be.

    Returns
    -------
    values : ndarray, shape (n,)
    unit : str
        The one in which they were given.

    Raises
    ------
    RefusedError
        If none are given, or they are too few or hold what is no length.
    """
    values, unit = with_unit(what, given, several=True)
    try:
        read = np.atleast_1d(plain_numbers(values))
    except ValueError:
        problem = f"{what} holds what is no number"
        raise refuse(problem, "give plain numbers", value=values, column=what) from None
    if read.ndim != 1 or len(read) < least:
        needed = f"give a plain list of at least {least} value{'s' if least > 1 else ''}"
        problem = f"{what} holds {read.size} value{'' if read.size == 1 else 's'}"
        raise refuse(problem, needed, value=read.size, column=what)
    for place, value in enumerate(read, start=1):
        if not (math.isfinite(value) and abs(value) <= LARGEST):
            raise refuse(
                f"value {place} of {what} is {value:g}",
                "give the length that was read, or leave the value out",
                value=value,
                column=what,
            )
    return read * MM_PER[unit], unit


def one_unit(units: Mapping[str, str | None]) -> str:
    """Return the one unit in which all of several things were given (name -> unit, None: not).

    Raises
    ------
    RefusedError
        If they were given in two.
    """
    stated = {name: unit for name, unit in units.items() if unit is not None}
    if len(set(stated.values())) > 1:
        said = ", ".join(f"{name} in {unit}" for name, unit in stated.items())
        raise refuse(f"the lengths are in two units: {said}", "give all of them in one")
    return next(iter(stated.values()))
