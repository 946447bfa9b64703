"""The blade shelf: many blades of one shop, the worst first."""

from __future__ import annotations

import os
import textwrap
import unicodedata
from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bladegeom.faults import Fault, RefusedError, as_letters, lines_shown, refuse, shown
from bladegeom.fit.answer import Answer, answer_of
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import Interval
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER, convert
from bladegeom.result import (
    Result,
    derived,
    described,
    in_columns,
    number,
    percent,
    quantity,
)
from bladegeom.tables.folder import read_folder

if TYPE_CHECKING:
    import pandas as pd

_WIDTH, _NAME = 110, 20
"""Columns of a terminal that the table, and a blade's name in it, take at most."""

_TEETH = ("near_tooth", "far_tooth", "neutral_tooth_1", "neutral_tooth_2", "better_tooth")
"""Columns of whole numbers that are blank where no direction is established."""

_HEADS = ("blade", "teeth", "mark", "sure", "wobble TIR", "if ignored", "if marked", "!", "file")
_RIGHT = frozenset({"teeth", "sure", "wobble TIR", "if ignored", "if marked", "!"})


@described
class ShelfRow(Result):
    """One blade of the shelf."""

    known: Answer = quantity("all that is known of it", inline=True)
    file: str = quantity("where it was read")

    @derived("its diameter")
    def diameter_mm(self) -> float | None:
        return self.fit.readings.blade.diameter_mm

    @derived(
        "95 % limits of the wobble TIR",
        key="wobble_tir",
        parts={"_low": lambda limits: 2 * limits.low, "_high": lambda limits: 2 * limits.high},
    )
    def limits(self) -> Interval:
        return self.fit.amplitude_interval()

    @derived("twice the rim amplitude")
    def kerf_widening(self) -> float | None:
        rim = self.fit.rim_amplitude
        return None if rim is None else 2 * rim

    @derived("what the reader should know, a likely mistake first")
    def warnings(self) -> list[str]:
        return list(self.fit.said)

    @property
    def fit(self) -> WobbleFit:
        """The fit of the blade."""
        return self.known.fit

    @cached_property
    def answer(self) -> dict[str, Any]:
        """Its values; lengths without a unit in their name in ``unit``."""
        return self.to_dict()

    @property
    def name(self) -> str:
        """The blade's name."""
        return self.known.blade

    @property
    def called(self) -> str:
        """The blade's name, and whose it is."""
        return str(self.fit.readings.blade.who)

    @property
    def marks(self) -> str:
        """The neutral teeth for people, or why there are none to mark."""
        if mistake := self.fit.mistake:
            return mistake.again.lower()
        if self.marked_pair:
            return " and ".join(map(str, self.marked_pair))
        return "any rotation" if self.answer["any_rotation"] else "cannot tell"

    @property
    def marked_pair(self) -> tuple[int, int] | None:
        """The neutral teeth; None where there are none to mark."""
        pair = self.answer["neutral_teeth"]
        return None if pair is None else (pair[0], pair[1])

    @property
    def sure(self) -> str:
        """The chance that the less sure of the two neutral teeth is the nearest one."""
        pair = self.answer["neutral_probability"]
        return percent(min(pair)) if pair and self.marked_pair else ""

    def wobble_in(self, unit: str) -> str:
        """Return the wobble TIR in a unit; where unresolved, what it stays under."""
        held = self.answer
        if held["resolved"]:
            tir, u = (
                convert(held[key], held["unit"], unit) for key in ("wobble_tir", "amplitude_u")
            )
            return f"{number(tir, 2 * u)} {unit}"
        if held["wobble_tir_high"] is None:
            return "not bounded"
        high = convert(held["wobble_tir_high"], held["unit"], unit)
        return f"< {number(high, high)} {unit}"

    @property
    def ignored(self) -> str:
        """The error of ignoring the marks, in degrees; blank without a ring radius."""
        worst = self.answer["worst_squareness_deg"]
        if worst is None:
            return ""
        return f"{'' if self.answer['resolved'] else '< '}{worst:.4f}"

    @property
    def marked(self) -> str:
        """The upper limit of the error that is left after marking, in degrees."""
        most = self.answer["left_most_deg"]
        return "" if most is None or self.marked_pair is None else f"< {number(most, most)}"

    def cells(self, unit: str) -> tuple[str, ...]:
        """Return what the table for people shows, in the order of its heads."""
        count = len(self.answer["warnings"])
        return (
            shown(self.called),
            str(self.answer["teeth"]),
            self.marks,
            self.sure,
            self.wobble_in(unit),
            self.ignored,
            self.marked,
            str(count) if count else "",
            self.file,
        )

    def _title(self) -> str:
        return f"{self.known._named} of {self.file}: {self.marks}"


@described
class Shelf(Result):
    """The blades of a shop, the worst error of ignoring the marks first.

    Blades without an angle (no ring radius) stand behind the others, the largest wobble first; a
    blade without an established wobble stands by its upper limit. `name` is that of the folder,
    `notes` are what else the reader should know of it.
    """

    name: str
    notes: tuple[str, ...]
    rows: tuple[ShelfRow, ...] = quantity("a row a blade", key="blades")
    refused: tuple[Fault, ...] = quantity("what is not listed, and why")

    def to_frame(self) -> pd.DataFrame:
        """Return a frame of one row a blade; pairs become two columns, ``..._1`` and ``..._2``."""
        import pandas as pd

        answers = [
            {
                column: cell
                for key, value in row.answer.items()
                for column, cell in in_columns(key, value).items()
            }
            for row in self.rows
        ]
        table = pd.DataFrame(answers)
        empty = table.columns[table.isna().all()]
        return table.astype(dict.fromkeys(empty, "float64") | dict.fromkeys(_TEETH, "Int64"))

    @property
    def unit(self) -> str:
        """The unit in which most blades were read: people see all lengths in it."""
        units: list[str] = [row.answer["unit"] for row in self.rows]
        return max(units, key=units.count)

    def _title(self) -> str:
        count = len(self.rows)
        return f"Blade shelf {self.name}: {count} blade{'' if count == 1 else 's'}, worst first"

    @property
    def warned(self) -> list[str]:
        """All that is warned of, likely mistakes first, each once with the blades that it is of."""
        rows = sorted(self.rows, key=lambda row: row.fit.mistake is None)
        named: dict[str, list[str]] = {}
        for row in rows:
            for words in row.fit.said:
                named.setdefault(words, []).append(shown(row.called or row.file))
        return [f"{', '.join(names)}: {words}" for words, names in named.items()]

    def _remarks(self) -> Sequence[str]:
        said = [
            *self.warned,
            "mark: the teeth of the neutral line; if ignored, if marked: degrees out of square",
        ]
        if any(row.marks == "cannot tell" for row in self.rows):
            said.append(
                "cannot tell: no wobble is told apart from the scatter, and it may be as large as "
                "if ignored says; read another turn, or with a finer indicator"
            )
        if any(row.answer["warnings"] for row in self.rows):
            said.append("column !: how many warnings, told above")
        if any(row.answer["worst_squareness_deg"] is None for row in self.rows):
            said.append("no degrees: they need the ring radius (or more readings)")
        said += [f"not listed: {fault}" for fault in self.refused]
        return [*said, *self.notes]

    def __str__(self) -> str:
        heads, rows = self._table()
        columns: list[list[str]] = []
        room = _WIDTH - 2
        for head, cells in zip(heads, zip(heads, *rows, strict=True), strict=True):
            most = {"blade": _NAME, "file": room}.get(head, _WIDTH)
            short = [_shortened(cell, most) for cell in cells]
            wide = max(map(_columns, short))
            columns.append([_padded(cell, wide, right=head in _RIGHT) for cell in short])
            room -= wide + 2
        lines = [f"  {'  '.join(cells)}".rstrip() for cells in zip(*columns, strict=True)]
        remarks = [
            line
            for remark in self._remarks()
            for line in textwrap.wrap(f"  - {remark}", _WIDTH, subsequent_indent="    ")
        ]
        return lines_shown("\n".join([self._title(), "", *lines, "", *remarks]))

    def _table(self) -> tuple[Sequence[str], Sequence[Sequence[str]]]:
        return _HEADS, [row.cells(self.unit) for row in self.rows]


@checked
def shelf(folder: str | os.PathLike[str]) -> Shelf:
    """List the blades of a folder with their marks, and what ignoring the marks would cost.

    Parameters
    ----------
    folder : path
        CSV files of readings, one blade or many in each, and files with one row of facts a
        blade; see `bladegeom.tables.folder.read_folder`.

    Returns
    -------
    Shelf

    Raises
    ------
    RefusedError
        If there is no such folder, nothing to read in it, or no blade that can be answered.
    """
    batch = read_folder(folder)
    refused = list(batch.refused)
    rows: list[ShelfRow] = []
    for file, readings in batch.readings:
        try:
            rows.append(ShelfRow(known=answer_of(fit_wobble(readings)), file=file))
        except RefusedError as error:
            refused += [fault.within(file).of(readings.blade.who) for fault in error.faults]
    if not rows:
        if refused:
            raise RefusedError(refused)
        raise refuse(
            f"{os.fspath(folder)} holds no readings of a blade",
            "add a CSV file with columns blade, tooth and reading_mm (or _in, _thou, _um)",
            value=os.fspath(folder),
        )
    return Shelf(
        name=as_letters(Path(folder).resolve().name),
        rows=tuple(sorted(rows, key=_order)),
        refused=tuple(refused),
        notes=tuple(batch.notes),
    )


def _order(row: ShelfRow) -> tuple[bool, float, str, str]:
    worst = row.answer["worst_squareness_deg"]
    if worst is None:
        wobble = row.answer["wobble_tir" if row.answer["resolved"] else "wobble_tir_high"]
        worst = float("inf") if wobble is None else wobble * MM_PER[row.answer["unit"]]
        return True, -worst, row.name, row.file
    return False, -worst, row.name, row.file


def _columns(text: str) -> int:
    """Return how many columns of a terminal a text takes: some letters take two, some none."""
    return sum(
        0 if unicodedata.combining(letter) else 1 + (unicodedata.east_asian_width(letter) in "WF")
        for letter in text
    )


def _shortened(text: str, most: int) -> str:
    if _columns(text) <= most:
        return text
    while _columns(text) > most - 3:
        text = text[:-1]
    return f"{text}..."


def _padded(text: str, wide: int, *, right: bool) -> str:
    blanks = " " * (wide - _columns(text))
    return blanks + text if right else text + blanks
