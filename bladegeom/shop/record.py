"""Measurements into the shop's history and out of it again."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812
from typing import Any, TypeVar

import numpy as np

from bladegeom.blade import MOST_TEETH
from bladegeom.faults import Fault, refuse
from bladegeom.lengths import MM_PER, NumberError, parse_number, parse_whole
from bladegeom.shop.history import Line, append_line, read_lines
from bladegeom.shop.visit import SERVICES, WAVES, Visit, Wave

T = TypeVar("T")

_TEXTS = ("date", "blade", "arbor", "surface", "side", "service", "unit", "note", "digest")
_WHOLE = ("teeth", "read", "turns", "dof")
_SIZES = ("ring_radius_mm", "diameter_mm", "tooth_width_mm")
_NUMBERS = ("cosine_mm", "sine_mm", "rounding_mm", "raw_tir_mm")
_SPREAD = ("variance_cosine_mm2", "variance_sine_mm2", "covariance_mm2")
_BENDS = tuple(f"waves_{order}_{what}_mm" for order in WAVES for what in ("amplitude", "u"))

COLUMNS = (
    *("date", "blade", "service", "arbor", "teeth", "diameter_mm", "tooth_width_mm"),
    *("surface", "side", "ring_radius_mm", "read", "turns", "tooth_1_marked", "unit"),
    *("wobble_tir_mm", "raw_tir_mm", "cosine_mm", "sine_mm", *_SPREAD, "dof", "rounding_mm"),
    *(*_BENDS, "note", "digest"),
)
"""Columns of a history, behind the check."""


@dataclass(frozen=True)
class History:
    """Every measurement of a shop.

    Attributes
    ----------
    visits : list of Visit
        In the order of their days.
    refused : list of Fault
        Lines that cannot be used.
    notes : list of str
    """

    visits: list[Visit]
    refused: list[Fault]
    notes: list[str]

    @property
    def blades(self) -> list[str]:
        """Names of the blades."""
        return sorted({one.blade for one in self.visits})

    def of(self, blade: str) -> list[Visit]:
        """Return the measurements of one blade.

        Raises
        ------
        RefusedError
            If there are none.
        """
        if found := [one for one in self.visits if one.blade == blade]:
            return found
        known = ", ".join(self.blades[:8]) + (", ..." if len(self.blades) > 8 else "")
        raise refuse(
            f"the history holds no blade {blade}", f"it holds {known or 'none'}", value=blade
        )


def record(visits: Iterable[Visit], folder: str | os.PathLike[str]) -> list[Visit]:
    """Append measurements to a history; those that are in it already are left out.

    Each goes, as one line, into the file of its year. Several programs may write at once.

    Parameters
    ----------
    visits : iterable of Visit
    folder : path
        Made if it is not there.

    Returns
    -------
    list of Visit
        Those that were added.

    Raises
    ------
    RefusedError
        If a blade has no name, or the folder cannot be written.
    """
    new = list(visits)
    for one in new:
        if not one.blade:
            raise refuse(
                "a blade without a name cannot be found again",
                "name it (column blade)",
                column="blade",
            )
    there = set()
    if os.path.isdir(folder):
        there = {_key(one) for one in read_history(folder).visits}
    added = []
    for one in new:
        if _key(one) in there:
            continue
        cells = _cells_of(one)
        append_line(folder, one.date.year, COLUMNS, [cells[column] for column in COLUMNS])
        there.add(_key(one))
        added.append(one)
    return added


def read_history(folder: str | os.PathLike[str]) -> History:
    """Read every measurement of a history; a line that cannot be used stops no other.

    Parameters
    ----------
    folder : path

    Returns
    -------
    History

    Raises
    ------
    RefusedError
        If there is no such folder.
    """
    lines, refused, notes = read_lines(folder, COLUMNS)
    visits: dict[tuple[Date, str, str, str], Visit] = {}
    twice = 0
    for line in lines:
        try:
            one = _visit_of(line)
        except _CellError as error:
            refused.append(error.fault)
            continue
        twice += _key(one) in visits
        visits.setdefault(_key(one), one)
    if twice:
        measurements = "measurement is" if twice == 1 else "measurements are"
        notes.append(f"{twice} {measurements} there twice, and counted once")
    in_order = sorted(visits.values(), key=lambda one: (one.date, SERVICES.index(one.service)))
    return History(in_order, refused, notes)


def _key(one: Visit) -> tuple[Date, str, str, str]:
    return one.date, one.blade, one.service, one.digest


def _cells_of(one: Visit) -> dict[str, str]:
    spread = one.covariance_mm2
    values: dict[str, Any] = {
        name: getattr(one, name) for name in (*_TEXTS, *_WHOLE, *_SIZES, *_NUMBERS)
    }
    values["date"] = one.date.isoformat()
    values["tooth_1_marked"] = "yes" if one.tooth_1_marked else "no"
    values["wobble_tir_mm"] = 2 * one.amplitude_mm
    values |= dict(
        zip(_SPREAD, (float(spread[0, 0]), float(spread[1, 1]), float(spread[0, 1])), strict=True)
    )
    values |= dict.fromkeys(_BENDS)
    for order, wave in one.waves.items():
        values[f"waves_{order}_amplitude_mm"], values[f"waves_{order}_u_mm"] = wave
    return {name: _cell(value) for name, value in values.items()}


def _cell(value: Any) -> str:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    return repr(value) if isinstance(value, float) else str(value)


class _CellError(Exception):
    def __init__(self, line: Line, column: str, problem: str, cure: str) -> None:
        super().__init__(problem)
        value = line.cells[column]
        self.fault = Fault(
            f"{column}: {problem}", cure, line.cells["blade"] or None, line.row, column, value,
            line.file,
        )  # fmt: skip


def _visit_of(line: Line) -> Visit:
    """Read one line.

    Raises
    ------
    _CellError
    """

    def needed(column: str) -> float:
        value = number(column)
        if value is None:
            raise _CellError(line, column, "it is blank", "restore the line from a copy")
        return value

    def number(column: str) -> float | None:
        return _parsed(line, column, parse_number)

    def word(column: str, known: Iterable[str]) -> str:
        text = line.cells[column]
        if text not in known:
            named = ", ".join(filter(None, known))
            raise _CellError(line, column, f"{text!r} is not known", f"write one of {named}")
        return text

    try:
        day = Date.fromisoformat(line.cells["date"])
    except ValueError:
        text = line.cells["date"]
        cure = "write year, month and day: 2026-11-25"
        raise _CellError(line, "date", f"{text!r} is no date", cure) from None
    whole = {column: _parsed(line, column, parse_whole) for column in _WHOLE}
    for column, value in whole.items():
        if value is None or not 1 <= value <= MOST_TEETH**2:
            raise _CellError(line, column, "it is no count", "restore the line from a copy")
    spread = [math.nan if (one := number(column)) is None else one for column in _SPREAD]
    waves = {}
    for order in WAVES:
        pair = [number(f"waves_{order}_{what}_mm") for what in ("amplitude", "u")]
        if pair[0] is not None and pair[1] is not None:
            waves[order] = Wave(pair[0], pair[1])
    plain: dict[str, Any] = dict(whole)
    plain |= {one: line.cells[one] for one in ("blade", "arbor", "surface", "side")}
    plain |= {one: line.cells[one] for one in ("note", "digest")}
    plain |= {one: needed(one) for one in _NUMBERS}
    plain |= {one: number(one) for one in _SIZES}
    return Visit(
        date=day,
        unit=word("unit", MM_PER),
        service=word("service", SERVICES),
        tooth_1_marked=word("tooth_1_marked", ("yes", "no")) == "yes",
        covariance_mm2=np.array([[spread[0], spread[2]], [spread[2], spread[1]]]),
        waves=waves,
        **plain,
    )


def _parsed(line: Line, column: str, parse: Callable[[str], T | None]) -> T | None:
    try:
        return parse(line.cells[column])
    except NumberError as error:
        raise _CellError(line, column, error.problem, "restore the line from a copy") from None
