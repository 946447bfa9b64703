"""Measurements kept for years: plain CSV files in a folder, one a year, a line a measurement.

Plain files and no database: they can be read, printed, copied and mended with anything, in thirty
years too. A line is appended by one write to a file opened for appending, which the systems of
local disks do as a whole, so that several stations can write into one folder and a copy of a whole
file never takes the place of another's line. Where that does not hold (network drives, a plug
pulled), the line shows it: its first cell is a check value of all others.
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
import os
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date as Date  # noqa: N812
from functools import cached_property
from operator import attrgetter
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import numpy as np

from bladegeom.columns import MOST_TEETH
from bladegeom.estimate import Estimate
from bladegeom.face import check_blade
from bladegeom.faults import Fault, RefusedError, Who, as_letters, refuse, shown
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import sd_toward
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER, NumberError, parse_number, parse_whole
from bladegeom.readings import differing
from bladegeom.result import Result, derived, described, named, number, quantity
from bladegeom.shop.verdict import teeth_read
from bladegeom.tables.blade_facts import folded
from bladegeom.tables.out import as_text, digest_of, from_text
from bladegeom.wobble import Wobble

SERVICES = ("", "before", "after")

_WAVE = {"_amplitude_mm": attrgetter("value"), "_u_mm": attrgetter("u")}

T = TypeVar("T")


@described
class Visit(Result):
    """One measurement of a blade, with everything that decides what it may be compared with.

    Its values, in this order, are the columns of a history.
    """

    date: Date = quantity(
        "day of the measurement, as text",
        parts={"": lambda day: day.isoformat()},
        label="measured",
        default=Date.min,
    )
    blade: str = quantity("the blade's name, as text")
    service: str = quantity("before or after the blade was serviced; empty: neither", default="")
    arbor: str = quantity(
        "on what it was measured, in the shop's own words", label="arbor", default=""
    )
    teeth: int = quantity("number of teeth")
    diameter_mm: float | None = quantity("diameter of the blade")
    tooth_width_mm: float | None = quantity("width of its teeth")
    surface: str = quantity("what the stylus touched: plate or teeth")
    side: str = quantity("on which side the indicator stood")
    ring_radius_mm: float | None = quantity("radius of the ring that the stylus followed")
    read: int = quantity("how many teeth were read", label="read", text=lambda one: one.plan)
    turns: int = quantity("in how many turns")
    tooth_1_marked: bool = quantity(
        "whether tooth 1 is marked for good, and directions compare", default=False
    )
    unit: str = quantity("in which it was read")

    @derived("wobble TIR", label="wobble TIR", text=lambda one: f"{number(one.wobble_tir_mm)} mm")
    def wobble_tir_mm(self) -> float:
        return self.wobble.tir

    raw_tir_mm: float = quantity("highest less lowest reading of a turn")
    cosine_mm: float = quantity("cosine part of the wobble")
    sine_mm: float = quantity("sine part of the wobble")
    variance_cosine_mm2: float = quantity("variance of the cosine part")
    variance_sine_mm2: float = quantity("variance of the sine part")
    covariance_mm2: float = quantity("covariance of the two")
    dof: int = quantity("its degrees of freedom")
    rounding_mm: float = quantity(
        "half the width over which rounding errors that do not average out spread the wobble's "
        "parts, evenly; 0 where they average out"
    )
    waves_2: Estimate | None = quantity("bend of two waves a turn", parts=_WAVE, default=None)
    waves_3: Estimate | None = quantity("bend of three waves a turn", parts=_WAVE, default=None)
    note: str = quantity("a note", label="note", default="")
    digest: str = quantity("of the readings: the same readings have the same one")
    customer: str = quantity("whose blade it is", label="customer", default="")
    job: str = quantity("the customer's order, or the day's", label="job", default="")
    operator: str = quantity("who read the blade", label="read by", default="")
    done: str = quantity(
        "what was done to the blade before it was read", label="done before", default=""
    )

    @property
    def who(self) -> Who:
        """The blade's name, and whose it is."""
        return Who(self.blade, self.customer)

    @cached_property
    def wobble(self) -> Wobble:
        """The wobble in millimetres."""
        both, shared = (self.variance_cosine_mm2, self.variance_sine_mm2), self.covariance_mm2
        spread = np.array([[both[0], shared], [shared, both[1]]])
        rounding = self.rounding_mm**2 / 3 * np.eye(2)  # Of an even spread (GUM 4.3.7).
        return Wobble(complex(self.cosine_mm, self.sine_mm), spread, self.dof, rounding)

    @property
    def plan(self) -> str:
        """What was read, in words."""
        return f"{self.read} teeth in {self.turns} turn{'' if self.turns == 1 else 's'}"

    def _title(self) -> str:
        when = f", {self.service} its service" if self.service else ""
        return f"{named(str(self.who))}{when}"


CHECK = "check"
COLUMNS = tuple(key for keys in Visit.glossary() for key in keys)
"""Columns of a history, behind the check."""

_HEADER = [CHECK, *COLUMNS]
_OLD_HEADER = _HEADER[: _HEADER.index("customer")]
"""Of the files that were begun before a measurement said whose blade it is."""

_BLADE = _HEADER.index("blade")
_DIGITS = 8
_RESTORE = "restore the line from a copy"


@checked
def visit(
    fit: WobbleFit,
    *,
    date: Date | None = None,
    arbor: str = "",
    service: str = "",
    tooth_1_marked: bool = False,
    note: str = "",
) -> Visit:
    """Return what is kept of a measurement.

    Parameters
    ----------
    fit : WobbleFit
    date : datetime.date, optional
        Of the measurement; today if not given.
    arbor : str
        On what it was measured.
    service : {"", "before", "after"}
    tooth_1_marked : bool
        Whether tooth 1 is marked for good, so that it is the same tooth next time.
    note : str

    Returns
    -------
    Visit

    Raises
    ------
    RefusedError
        If `service` is not known.
    """
    if service not in SERVICES:
        raise refuse(f"service is {service!r}", "give before, after, or nothing", value=service)
    mm = 1 / fit.readings.in_unit(1.0)
    # Bends are those that the readings can tell, fitted beside the wobble.
    bent = fit_wobble(fit.readings, harmonics=3)
    waves = {
        one.order: Estimate(one.amplitude, one.amplitude_u).times(mm)
        for one in bent.harmonics
        if one.amplitude is not None and one.amplitude_u is not None
    }
    return replace(
        visit_of(fit),
        date=date or Date.today(),
        service=service,
        arbor=arbor,
        tooth_1_marked=tooth_1_marked,
        waves_2=waves.get(2),
        waves_3=waves.get(3),
        note=note,
    )


def visit_of(fit: WobbleFit) -> Visit:
    """Return a measurement without its bends, and without what only the shop knows of it."""
    readings, blade = fit.readings, fit.readings.blade
    check_blade(readings, "it is no measurement of a blade to keep or compare")
    mm = 1 / readings.in_unit(1.0)
    (cosine, shared), (_, sine) = ((fit.rounded_covariance - fit.rounding) * mm**2).tolist()
    return Visit(
        blade=shown(blade.name),
        teeth=blade.teeth,
        diameter_mm=blade.diameter_mm,
        tooth_width_mm=blade.tooth_width_mm,
        surface=readings.surface,
        side=readings.side,
        ring_radius_mm=readings.ring_radius_mm,
        read=teeth_read(readings),
        turns=len(np.unique(readings.turn[~readings.closing])),
        unit=fit.unit,
        raw_tir_mm=fit.raw_tir * mm,
        cosine_mm=fit.cosine * mm,
        sine_mm=fit.sine * mm,
        variance_cosine_mm2=cosine,
        variance_sine_mm2=sine,
        covariance_mm2=shared,
        dof=fit.dof,
        rounding_mm=math.sqrt(3) * sd_toward(fit.near_deg, fit.rounding * np.ones((2, 2))) * mm,
        digest=digest_of(readings),
        customer=shown(blade.customer),
        job=shown(readings.job),
        operator=shown(readings.operator),
        done=shown(readings.done),
    )


def differs(one: Visit, other: Visit) -> str:
    """Return in words why the wobbles of two measurements cannot be compared; empty if they can.

    The number of readings does not matter here: the doubt of each takes it in.
    """
    if one.blade and other.blade and one.blade != other.blade:
        return f"it is of blade {one.blade}, not {other.blade}"
    if one.customer and other.customer and one.customer != other.customer:
        return f"it is a blade of {one.customer}, not of {other.customer}"
    if one.teeth != other.teeth:
        return f"the blade has {one.teeth} teeth, not {other.teeth}"
    what = next(iter(differing(one, other)), "")
    if what == "surface":
        return f"it was read on the {one.surface}, not on the {other.surface}"
    if what == "ring_radius":
        sizes = (one.ring_radius_mm, other.ring_radius_mm)
        return _unlike("ring radius", *("" if one is None else f"{one:.4g} mm" for one in sizes))
    return _unlike(what, getattr(one, what), getattr(other, what)) if what else ""


def _unlike(what: str, one: str, other: str) -> str:
    if one and other:
        return f"the {what} is {one}, not {other}"
    return f"the {what} is {one}, and not stated of the other" if one else f"no {what} is stated"


def differs_in_plan(one: Visit, other: Visit) -> str:
    """Return in words how the plans of two measurements differ; empty if they do not."""
    same = (one.read, one.turns) == (other.read, other.turns)
    return "" if same else f"{one.plan} were read, not {other.plan}"


@dataclass(frozen=True)
class History:
    """Every measurement of a shop.

    Attributes
    ----------
    visits : list of Visit
        In the order of their days.
    refused : list of Fault
        Lines that are torn, were changed or cannot be read, and files that are no history.
    notes : list of str
    """

    visits: list[Visit]
    refused: list[Fault]
    notes: list[str]

    @property
    def blades(self) -> list[str]:
        """Names of the blades."""
        return sorted({one.blade for one in self.visits})

    def of(self, blade: str, customer: str | None = None) -> list[Visit]:
        """Return the measurements of one blade, of a customer where several have one of its name.

        Those that state no customer are of the only one who has a blade of this name; where there
        are several, whose they are is not known, and they are left out.

        Raises
        ------
        RefusedError
            If there are none, with the lines of it that cannot be used, or if several customers
            have such a blade and none is given.
        """
        found = [one for one in self.visits if one.blade == shown(blade)]
        whose = sorted({one.customer for one in found if one.customer})
        if found and customer is None and len(whose) > 1:
            problem = f"the history holds a blade {blade} of each of {', '.join(whose)}"
            cure = "say whose (customer=..., --customer)"
            raise refuse(problem, cure, blade=blade, column="customer")
        if customer is not None:
            rest = ("",) if len(whose) <= 1 else ()
            own = shown(customer) in whose
            found = [one for one in found if own and one.customer in (shown(customer), *rest)]
        if found:
            return found
        if customer is not None and whose:
            problem = f"the history holds no blade {blade} of {customer}"
            raise refuse(problem, f"it is of {', '.join(whose)}", value=customer, blade=blade)
        if lost := [one for one in self.refused if one.blade == shown(blade)]:
            raise RefusedError(lost)
        known = ", ".join(self.blades[:8]) + (", ..." if len(self.blades) > 8 else "")
        raise refuse(
            f"the history holds no blade {blade}", f"it holds {known or 'none'}", value=blade
        )


# Writing


@checked
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
        If a blade has no name, a file of the folder has other columns, or cannot be written.
    """
    return record_and_ask(visits, folder)[0]


def record_and_ask(
    visits: Iterable[Visit], folder: str | os.PathLike[str]
) -> tuple[list[Visit], list[str]]:
    """Do as `record`; return those added, and what is asked about the spelling of their arbors."""
    new = list(visits)
    if any(not one.blade for one in new):
        raise refuse(
            "a blade without a name cannot be found again", "name it (column blade)", column="blade"
        )
    old = read_history(folder).visits if os.path.isdir(folder) else []
    there, added = {_key(one) for one in old}, []
    for one in new:
        if _key(one) not in there:
            _append(Path(folder), one.date.year, map(_cell, one.to_dict().values()))
            there.add(_key(one))
            added.append(one)
    known = {one.arbor for one in old}
    arbors = dict.fromkeys(_plain(one.arbor) for one in added)
    return added, [said for arbor in arbors if (said := _asked(arbor, known))]


def _asked(arbor: str, known: Iterable[str]) -> str:
    """Return the question that an arbor asks for which is known by another spelling, if any."""
    near = sorted(one for one in known if spelt_otherwise(one, arbor))
    if not near:
        return ""
    other = " or ".join(f'"{one}"' for one in near)
    return (
        f'the arbor is recorded as "{arbor}", and the history knows {other}: did you mean the '
        "same? Measurements are compared only where it is spelt alike. If it is the same, correct "
        f"the arbor in the history's lines, and empty the cell {CHECK} of each that you correct"
    )


def spelt_otherwise(one: str, other: str) -> bool:
    """Return whether two names differ, but only by what differs by mistake (see `folded`)."""
    return one != other and folded(one) == folded(other)


def _key(one: Visit) -> tuple[Date, str, str, str]:
    return one.date, one.blade, one.service, one.digest


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else repr(value) if isinstance(value, float) else str(value)


def _plain(cell: str) -> str:
    return shown(as_letters(cell)).strip()


def check_value(cells: Sequence[str]) -> str:
    """Return eight digits that stand for the cells of a line: the first of their SHA-256."""
    return hashlib.sha256("\x1f".join(cells).encode()).hexdigest()[:_DIGITS]


def _append(folder: Path, year: int, cells: Iterable[str]) -> None:
    """Append one line with its check value before it; in a new file, the header before that.

    A file that was begun with fewer columns stays as it is, and another is begun for the year.
    """
    plain, path = [*map(_plain, cells)], folder / f"{year}.csv"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        header, ended = _ends_of(path)
        if header == _OLD_HEADER:
            path = folder / f"{year}-2.csv"
            header, ended = _ends_of(path)
        if header not in (None, _HEADER) and not _holds_lines(path):
            raise refuse(
                f"{path} has other columns than a history",
                "move it out of the folder, or choose another folder",
                value=", ".join(header)[:80],
            )
        lead = _as_line(_HEADER) if header is None else "" if ended else "\n"
        text = lead + _as_line([check_value(plain), *map(_guarded, plain)])
        _write_at_once(path, text.encode())
    except OSError as error:
        raise refuse(
            f"{path} cannot be written: {error.strerror}",
            "check the folder and the disk",
            value=path,
        ) from None


def _holds_lines(path: Path) -> bool:
    """Return whether a file is a history by its lines, though its header is not whole."""
    lines = path.read_bytes().decode("utf-8-sig", "replace").split("\n")
    return any(_is_whole(_unguarded(line)) for line in lines)


def _unguarded(line: str) -> list[str]:
    return [from_text(cell) for cell in _cells(line)]


def _is_whole(cells: Sequence[str]) -> bool:
    """Return whether cells are those of a line, by the check value before them."""
    return _fits(cells) and cells[0] == check_value(cells[1:])


def _fits(cells: Sequence[str]) -> bool:
    return len(cells) in (len(_HEADER), len(_OLD_HEADER))


def _ends_of(path: Path) -> tuple[list[str] | None, bool]:
    """Return the header of a file, None of an empty one, and whether its last line is ended."""
    try:
        with path.open("rb") as file:
            first = file.readline()
            if not first.strip():
                return None, True
            file.seek(-1, os.SEEK_END)
            return _cells(first.decode("utf-8-sig", "replace")), file.read(1) == b"\n"
    except FileNotFoundError:
        return None, True


def _write_at_once(path: Path, data: bytes) -> None:
    flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags, 0o666)
    try:
        if os.write(handle, data) != len(data):
            raise OSError(0, "the line was not written whole")
        os.fsync(handle)
    finally:
        os.close(handle)


def _as_line(cells: Sequence[str]) -> str:
    written = io.StringIO()
    csv.writer(written, lineterminator="\n").writerow(cells)
    return written.getvalue()


def _guarded(cell: str) -> str:
    try:
        float(cell)
    except ValueError:
        return as_text(cell)
    return cell  # A number below 0 is no formula.


# Reading


@checked
def read_history(folder: str | os.PathLike[str]) -> History:
    """Read every measurement of a history; a file or line that cannot be used stops no other.

    A line without a check value was written by hand and is taken as it stands.

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
    place = Path(folder)
    if not place.is_dir():
        raise refuse(f"there is no folder {place}", "give the folder of a history", value=place)
    visits: dict[tuple[Date, str, str, str], Visit] = {}
    refused: list[Fault] = []
    notes: list[str] = []
    twice = 0
    for path in sorted(place.glob("*.csv")):
        try:
            lines = _read_file(path, refused, notes)
        except (OSError, UnicodeDecodeError):
            cure = "restore it from a copy"
            refused.append(Fault("it cannot be read as text", cure, file=path.name))
            continue
        for line in lines:
            try:
                one = Visit(
                    **{each.name: _READ[str(each.type)](line, each.name) for each in fields(Visit)}
                )
            except RefusedError as error:
                refused += error.faults
                continue
            twice += _key(one) in visits
            visits.setdefault(_key(one), one)
    if twice:
        measurements = "measurement is" if twice == 1 else "measurements are"
        notes.append(f"{twice} {measurements} there twice, and counted once")
    in_order = sorted(visits.values(), key=lambda one: (one.date, SERVICES.index(one.service)))
    return History(in_order, refused, notes)


class _Line(NamedTuple):
    """A line of a history: its file without the folder, its row, and column -> cell."""

    file: str
    row: int
    cells: dict[str, str]

    def wrong(self, column: str, problem: str, cure: str = _RESTORE) -> RefusedError:
        where = (self.cells["blade"] or None, self.row, column, self.cells[column], self.file)
        return RefusedError(Fault(f"{column}: {problem}", cure, *where))


def _read_file(path: Path, refused: list[Fault], notes: list[str]) -> list[_Line]:
    """Return the whole lines of a file, and add what is to be said of the others."""
    file = as_letters(path.name)
    lines = path.read_bytes().decode("utf-8-sig").split("\n")

    def refuse_line(row: int, problem: str, cure: str, column: str | None = None) -> None:
        value = lines[row - 1].strip()[:80]
        blade = next(iter(_unguarded(lines[row - 1])[_BLADE:]), None) if row > 1 else None
        refused.append(Fault(problem, cure, blade, row, column, value, file))

    headed = _cells(lines[0]) in (_HEADER, _OLD_HEADER)
    if not headed and not any(_is_whole(_unguarded(line)) for line in lines):
        refuse_line(1, "it has other columns than a history", "move it out of the folder")
        return []
    if not headed:
        refuse_line(1, "the header is not whole: its lines are taken all the same", _RESTORE)
    whole, by_hand = [], 0
    for row, line in enumerate(lines[1:], start=2):
        cells = _unguarded(line)
        # Two stations that both found the file empty have both written its header.
        if not any(cells) or cells in (_HEADER, _OLD_HEADER):
            continue
        if not _fits(cells):
            refuse_line(
                row,
                "the line is not whole: its writing was stopped",
                "record the measurement again, and remove the line",
            )
        elif not _is_whole(cells) and (cells[0] or not headed):
            refuse_line(
                row,
                "the line does not agree with its check value: it was changed, or torn",
                f"restore it from a copy; or, if it is right as it stands, empty its cell {CHECK}",
                CHECK,
            )
        else:
            by_hand += cells[0] == ""
            said = dict.fromkeys(COLUMNS, "") | dict(zip(COLUMNS, cells[1:], strict=False))
            whole.append(_Line(file, row, said))
    if by_hand:
        lines_are = "line has" if by_hand == 1 else "lines have"
        notes.append(f"{file}: {by_hand} {lines_are} no check value, taken as it stands")
    return whole


def _cells(line: str) -> list[str]:
    try:
        return next(csv.reader([line.rstrip("\r\n")], strict=True), [])
    except csv.Error:
        return [line]


_WORDS: dict[str, Collection[str]] = {
    "service": SERVICES,
    "tooth_1_marked": ("yes", "no"),
    "unit": MM_PER,
}


def _text(line: _Line, column: str) -> str:
    text = line.cells[column]
    if text not in (known := _WORDS.get(column, (text,))):
        named = ", ".join(filter(None, known))
        raise line.wrong(column, f"{text!r} is not known", f"write one of {named}")
    return text


def _day(line: _Line, column: str) -> Date:
    try:
        return Date.fromisoformat(line.cells[column])
    except ValueError:
        problem = f"{line.cells[column]!r} is no date"
        raise line.wrong(column, problem, "write year, month and day: 2026-11-25") from None


def _parsed(line: _Line, column: str, parse: Callable[[str], T | None]) -> T | None:
    try:
        return parse(line.cells[column])
    except NumberError as error:
        raise line.wrong(column, error.problem) from None


def _number(line: _Line, column: str) -> float | None:
    return _parsed(line, column, parse_number)


def _needed(line: _Line, column: str) -> float:
    value = _number(line, column)
    # What the readings do not tell of the doubt is blank.
    if value is None and not column.endswith("_mm2"):
        raise line.wrong(column, "it is blank")
    return math.nan if value is None else value


def _count(line: _Line, column: str) -> int:
    value = _parsed(line, column, parse_whole)
    if value is None or not 1 <= value <= MOST_TEETH**2:
        raise line.wrong(column, "it is no count")
    return value


def _wave(line: _Line, column: str) -> Estimate | None:
    amplitude, u = (_number(line, f"{column}{part}") for part in _WAVE)
    return None if amplitude is None or u is None else Estimate(amplitude, u)


_READ: dict[str, Callable[[_Line, str], Any]] = {
    "Date": _day,
    "str": _text,
    "bool": lambda line, column: _text(line, column) == "yes",
    "int": _count,
    "float": _needed,
    "float | None": _number,
    "Estimate | None": _wave,
}
"""Kind of a visit's field -> what reads its cells."""
