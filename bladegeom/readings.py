"""Readings of one blade in one mounting."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.blade import Blade
from bladegeom.columns import NOT_FINISHED, STATED, kept_facts, told
from bladegeom.face import check_blade
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.lengths import LARGEST, LEAST, MM_PER, Lengths, convert, plain_numbers, with_unit
from bladegeom.sequence import in_sequence
from bladegeom.sizes import LEAST_OF_DIAMETER, SIZES, questions

WAYS = {"forward": 1, "backward": -1}

SAME_RING = 0.01
"""Rings within so much of one another are one."""


@dataclass(frozen=True, init=False, eq=False, repr=False)
class Readings:
    """Dial-indicator readings of one blade in one mounting.

    A reading grows as the plate comes toward the indicator.

    Parameters
    ----------
    blade : Blade
    readings : sequence of float or None, shape (n,), str or tuple
        None, NaN, masked or ``?`` where a tooth was not read. With their unit in `unit`, or behind
        the last in a text, ``"12.0 ? 12.5 thou"``, or in a pair, ``([12.0, None, 12.5], "thou")``.
    unit : {"mm", "in", "thou", "um"}, optional
        ``thou`` are thousandths of an inch.
    tooth : sequence of int, shape (n,), optional
        The indexed teeth. If not given, the readings are of tooth 1, 2, ... in order, and one
        more than the blade has teeth is tooth 1 read again.
    turn : sequence of int, shape (n,), optional
        In which turn of the blade each was read.
    order : sequence of int, shape (n,), optional
        In which order they were read; the order of the rows if not given.
    turned : sequence of {"forward", "backward"}, shape (n,), optional
        Which way the blade was being turned; forward if not given. Turns both ways show the play.
    rows : sequence of int, shape (n,), optional
        Where each reading stood in a table, for messages.
    **facts
        What else is stated, all optional. A length has its unit, ``"4.5 in"`` or ``(110, "mm")``,
        and is kept in millimetres, as ``ring_radius_mm``.

    Attributes
    ----------
    tooth, reading, turn, closing : ndarray, shape (n,)
        What was read, in order; `closing` marks the closing readings, kept out of the fit.
    way : ndarray, shape (n,)
        1 where the blade was being turned forward, -1 backward.
    unit : {"mm", "in", "thou", "um"}
        Unit of `reading`.
    notes : tuple of str
        What was done with the readings that the reader should know.
    facts : dict
        Every fact of the readings by name, as it is kept; each is an attribute too.

    Raises
    ------
    RefusedError
        With every fault found.

    Notes
    -----
    The facts:

    FACTS
    """

    blade: Blade
    tooth: NDArray[np.int64]
    reading: NDArray[np.float64]
    turn: NDArray[np.int64]
    closing: NDArray[np.bool_]
    way: NDArray[np.int64]
    unit: str
    notes: tuple[str, ...]
    facts: Mapping[str, Any]

    if TYPE_CHECKING:  # Made from the table of columns, as are all others.
        ring_radius_mm: float | None
        ring_radius_u_mm: float | None
        graduation_mm: float | None
        end_float_mm: float | None
        dial_turn_mm: float | None
        dial: str | None
        finished: str | None
        surface: str
        touch_deg: float
        stylus_deg: float
        side: str
        job: str
        operator: str
        done: str

    def __init__(
        self,
        blade: Blade,
        readings: Sequence[float | None] | ArrayLike | Lengths,
        *,
        unit: str | None = None,
        tooth: Sequence[int] | ArrayLike | None = None,
        turn: Sequence[int] | ArrayLike | None = None,
        order: Sequence[int] | ArrayLike | None = None,
        turned: Sequence[str] | None = None,
        rows: Sequence[int] | None = None,
        **facts: Any,
    ) -> None:
        if not isinstance(blade, Blade):
            raise refuse(f"blade is {blade!r}", "give it as Blade(teeth, ...)", value=blade)
        name = blade.name
        reading, unit = _readings(readings, unit, name)
        count = len(reading)
        if tooth is None:
            teeth = _in_tooth_order(count, blade)
        else:
            teeth = _whole(tooth, "tooth", count, name)
        place, turns, closing, notes = in_sequence(
            teeth,
            reading,
            None if turn is None else _whole(turn, "turn", count, name),
            None if order is None else _whole(order, "order", count, name),
            blade=name,
            teeth=blade.teeth,
            rows=rows,
        )
        way = _ways(turned, count, name)
        kept = kept_facts(False, facts, name)
        if kept["finished"] == NOT_FINISHED:
            notes = (*notes, ended_words(len(np.unique(teeth[place])), blade.teeth))
        _check_ring(kept["ring_radius"], blade)
        vars(self).update({STATED[fact].key: value for fact, value in kept.items()})
        vars(self).update(
            blade=blade,
            tooth=_sealed(teeth[place]),
            reading=_sealed(reading[place]),
            turn=_sealed(turns),
            closing=_sealed(closing),
            way=_sealed(way[place]),
            unit=unit,
            notes=notes,
            facts=kept,
        )

    def __repr__(self) -> str:
        name = f" {self.blade.name}" if self.blade.name else ""
        return (
            f"Readings of blade{name}: {len(self.reading)} in {self.unit}, "
            f"{len(np.unique(self.tooth))} of {self.blade.teeth} teeth"
        )

    @property
    def angle_deg(self) -> NDArray[np.float64]:
        """Blade angle of each touched spot in degrees, shape (n,)."""
        return self.blade.angles_deg[self.tooth - 1] + self.touch_deg

    def in_unit(self, length_mm: float) -> float:
        """Return a length in `unit`."""
        return convert(length_mm, "mm", self.unit)

    @property
    def graduation(self) -> float | None:
        """Graduation of the indicator in `unit`."""
        return None if self.graduation_mm is None else self.in_unit(self.graduation_mm)

    @property
    def ring_radius(self) -> float | None:
        """Ring radius in `unit`."""
        return None if self.ring_radius_mm is None else self.in_unit(self.ring_radius_mm)

    @property
    def asked(self) -> list[str]:
        """What is to be asked about sizes that are unusual."""
        facts = {**self.blade.facts, **self.facts}
        return questions({name: facts[name] for name, one in STATED.items() if one.lengths})

    @property
    def ring_radius_u(self) -> float:
        """Standard uncertainty (k = 1) of the ring radius in `unit`, 0 where not stated."""
        return self.in_unit(self.ring_radius_u_mm or 0.0)

    @property
    def end_float(self) -> float:
        """End float of the arbor in `unit`, 0 where not stated."""
        return self.in_unit(self.end_float_mm or 0.0)

    @property
    def closures(self) -> NDArray[np.float64]:
        """Each closing reading less the first reading of that tooth in that turn, in `unit`."""
        first = [
            np.flatnonzero((self.tooth == self.tooth[last]) & (self.turn == self.turn[last]))[0]
            for last in np.flatnonzero(self.closing)
        ]
        return self.reading[self.closing] - self.reading[np.asarray(first, dtype=np.intp)]

    @property
    def closure(self) -> float | None:
        """The last of `closures`; None without a closing reading."""
        return float(self.closures[-1]) if self.closing.any() else None


def _check_ring(ring_mm: float | None, blade: Blade) -> None:
    radius = blade.radius_mm
    if not ring_mm or not radius:
        return
    # Where the diameter is unusual, that is asked about.
    if ring_mm < 2 * radius * LEAST_OF_DIAMETER and SIZES["diameter"].usual(2 * radius):
        problem = f"the ring's radius ({ring_mm:g} mm) lies inside the bore or the flange of a "
        problem += f"blade {2 * radius:g} mm across"
        cure = f"check its unit, from the arbor's axis to the stylus: is it {ring_mm:g} in?"
        if not ring_mm * MM_PER["in"] <= radius:
            cure = "ring_radius: from the arbor's axis to the stylus; diameter: across the teeth"
        raise refuse(problem, cure, value=f"{ring_mm:g} mm", blade=blade.name, column="ring_radius")
    # A hair of play, so that a ring given as half the diameter in another unit is not refused.
    if ring_mm > radius * (1 + 1e-9):
        problem = f"the ring's radius ({ring_mm:g} mm) is larger than the blade's ({radius:g} mm)"
        cure = "ring_radius: from the arbor's axis to the stylus; diameter: across the teeth"
        said = f"{ring_mm:g} mm"
        raise refuse(problem, cure, value=said, blade=blade.name, column="ring_radius")


def ended_words(read: int, teeth: int) -> str:
    """Return in words what a reading that ended early leaves unknown."""
    return (
        f"the reading ended early, with {read} of {teeth} teeth: bends of the plate and single "
        "teeth that stand off are not known, and the blade is not judged; bladegeom read FILE.csv "
        "goes on"
    )


def same_ring(one_mm: float | None, other_mm: float | None) -> bool:
    """Return whether two rings are one: runout grows with the radius, 1 % is no matter."""
    if one_mm is None or other_mm is None:
        return one_mm is other_mm
    return abs(one_mm / other_mm - 1) <= SAME_RING


def differing(one: Any, other: Any) -> list[str]:
    """Return in what two `Readings`, or measurements made of some, are not alike.

    Empty where they can be compared; of ``surface``, ``side``, ``arbor`` (where they have one) and
    ``ring_radius``.
    """
    alike = ("surface", "side", "arbor")
    differ = [what for what in alike if getattr(one, what, "") != getattr(other, what, "")]
    ring = same_ring(one.ring_radius_mm, other.ring_radius_mm)
    return differ if ring else [*differ, "ring_radius"]


def needed_sizes(readings: Readings, so: str, *names: str) -> list[float]:
    """Return tooth width, radius (of ``diameter``) or ring radius in the unit of the readings.

    Raises
    ------
    RefusedError
        Naming every one that is not stated, `so` being what cannot be told then.
    """
    check_blade(readings, so)
    blade = readings.blade
    sizes = {
        "tooth_width": (blade.tooth_width_mm, "tooth width", "give the width that the teeth cut"),
        "diameter": (blade.radius_mm, "blade's diameter", "give it across the tooth tips"),
        "ring_radius": (
            readings.ring_radius_mm,
            "ring radius",
            "give it from the arbor's axis to the stylus",
        ),
    }
    wanted = {name: sizes[name] for name in names}
    if faults := [
        Fault(f"the {what} is not stated, so {so}", cure, blade=blade.name or None, column=name)
        for name, (size, what, cure) in wanted.items()
        if size is None
    ]:
        raise RefusedError(faults)
    return [readings.in_unit(size) for size, _, _ in wanted.values() if size is not None]


def least_step(reading: NDArray[np.float64]) -> float:
    """Return the least difference between readings: no dial shows less where none is stated."""
    steps = np.diff(np.unique(reading))
    return float(steps.min()) if steps.size else 0.0


def _readings(given: object, unit: str | None, name: str) -> tuple[NDArray[np.float64], str]:
    """Return the readings in an array of their own, and the one unit that is stated of them."""
    values, own = given, None
    if isinstance(given, str):
        text = given.strip()
        bare = unit is not None and not text.endswith(tuple(MM_PER))
        values, own = with_unit("readings", f"{text} {unit}" if bare else text, several=True)
        own = None if bare else own
    elif isinstance(given, (tuple, list)) and len(given) == 2 and isinstance(given[1], str):
        values, own = with_unit("readings", given, several=True)
    if own is not None and unit is not None:
        problem = f"the unit of the readings is stated twice: {own} and {unit}"
        raise refuse(problem, "state it once", value=unit, blade=name)
    unit = own or unit
    if unit not in MM_PER:
        problem = f"the unit is {unit!r}" if unit else "the unit of the readings is not stated"
        cure = 'give unit="mm", "in", "thou" or "um"'
        raise refuse(problem, cure, value=unit, blade=name)
    reading = _numbers(values, "readings", name)
    if reading.ndim != 1:
        problem = "the readings are not a plain list"
        raise refuse(problem, "give one number a reading", blade=name)
    size = np.abs(reading)
    cure = "give a number of a usual size, or None for not read"
    if faults := [
        Fault(f"reading {at + 1} is {reading[at]:g}", cure, name or None, value=f"{reading[at]:g}")
        for at in np.flatnonzero((size > LARGEST) | ((size > 0) & (size < LEAST)))
    ]:
        raise RefusedError(faults)
    return reading, unit


def _numbers(values: object, what: str, name: str) -> NDArray[np.float64]:
    """Return values as numbers, in an array of their own; NaN where one is None or masked."""
    try:
        return plain_numbers(values)
    except ValueError:
        cure = "give plain numbers, and None for a tooth that was not read"
        problem = f"{what} holds what is no number"
        raise refuse(problem, cure, blade=name, column=what) from None


def _in_tooth_order(count: int, blade: Blade) -> NDArray[np.int64]:
    if count not in (blade.teeth, blade.teeth + 1):
        cure = (
            "give one reading a tooth in order (not read: ? or None), and at most tooth 1 again "
            "at the end; or say which tooth each reading is of. Where a tooth was missed or read "
            "twice: bladegeom check FILE.csv"
        )
        problem = f"{count} readings for {blade.teeth} teeth"
        raise refuse(problem, cure, value=count, blade=blade.name)
    return np.arange(count, dtype=np.int64) % blade.teeth + 1


def _whole(
    values: Sequence[int] | ArrayLike, what: str, count: int, name: str
) -> NDArray[np.int64]:
    given = _numbers(values, what, name)
    if given.shape != (count,):
        problem = f"{given.size} values of {what} for {count} readings"
        raise refuse(problem, f"give one {what} a reading", blade=name)
    faults = []
    for at in np.flatnonzero(~(np.abs(given) <= LARGEST) | (given != np.floor(given))):
        large = np.isfinite(given[at]) and abs(given[at]) > LARGEST
        problem = f"{what} {given[at]:g} (reading {at + 1}) is "
        problem += "too large" if large else "not a whole number"
        said = f"{given[at]:g}"
        faults.append(Fault(problem, f"check {what}", name or None, column=what, value=said))
    if faults:
        raise RefusedError(faults)
    return given.astype(np.int64)


def _sealed(array: NDArray[Any]) -> NDArray[Any]:
    array.flags.writeable = False
    return array


def _ways(turned: Sequence[str] | None, count: int, name: str) -> NDArray[np.int64]:
    if turned is None:
        return np.ones(count, dtype=np.int64)
    if isinstance(turned, str) or not isinstance(turned, Iterable):
        turned = [str(turned)]
    words = [str(word).strip().lower() for word in turned]
    if len(words) != count:
        problem = f"{len(words)} values of turned for {count} readings"
        raise refuse(problem, "give one turned a reading", blade=name)
    for word in words:
        if word not in WAYS:
            problem, cure = f"turned is {word!r}", "write forward or backward"
            raise refuse(problem, cure, value=word, blade=name, column="turned")
    return np.asarray([WAYS[word] for word in words], dtype=np.int64)


Readings.__doc__ = (Readings.__doc__ or "").replace("    FACTS", told(of_blade=False))
