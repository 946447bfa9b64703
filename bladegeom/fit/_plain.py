"""The plain blades of a frame, answered all at once: `fit_wobble` answers one as a stack of one.

Plain are blades whose readings and facts have no fault, read forward, each tooth at most once a
turn, with a closing reading or without in a single turn, and with nothing to be fitted beside an
offset a turn and the wobble; not said to be read in several turns with the dial left alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.columns import MOST_TEETH
from bladegeom.fit._frame import Bools, Facts, Floats, Groups, Places, facts_of, numbers, spread
from bladegeom.fit._screen import may_stand_off, worth_a_look
from bladegeom.fit.closing import MATTERS, Closing, closing, steady_drift
from bladegeom.fit.ends import End, ends_of, first_better, most_left, off_line
from bladegeom.fit.marks import NO_MATTER_DEG
from bladegeom.fit.remarks import Remark, Seen, joined, remarks_on
from bladegeom.fit.stated import float_covariance, rides_most, stylus_scale_u
from bladegeom.kernel.design import FEWEST_TEETH, REFUSED_RATIO
from bladegeom.kernel.doubt import student_t
from bladegeom.kernel.leak import leaks_of
from bladegeom.kernel.rounding import GRID_TEETH, grids_of_stack, rounded
from bladegeom.kernel.stack import (
    Fits,
    Plan,
    Stack,
    believed,
    fit_stack,
    spots_of,
    unit_covariance,
)
from bladegeom.lengths import LARGEST, LEAST, MM_PER
from bladegeom.mistakes.check import REVOLUTIONS_MM, suspected
from bladegeom.readings import least_step
from bladegeom.tables.counted import Counted
from bladegeom.wobble import Wobble

if TYPE_CHECKING:
    import pandas as pd

_CELLS_AT_ONCE = 40_000
"""Few enough to stay in the cache, and for the products not to be handed to threads."""
_BLADES_AT_ONCE = 16_384
_MOST_TURNS = 99


class Answers(NamedTuple):
    """The answers to plain blades; arrays of shape (groups,)."""

    plain: Bools
    doubted: Bools  # Where a mistake is found in the readings of a plain blade.
    columns: dict[str, Floats]  # Of `fit_table`; NaN where not established.
    which: NDArray[np.int64]  # Place of each blade's warnings among the texts.
    texts: list[str]
    mistakes: dict[int, tuple[Counted, str]]  # The readings that are doubted, and `suspected`.


class Closed(NamedTuple):
    """Closing readings in a stack."""

    at: Places  # Which blades of the stack have one, shape (k,).
    difference: Floats  # It less the first reading.
    time: Floats  # When the others were taken, in turns, shape (turns, teeth, k).


Look = Callable[["Blades", Places, Blade, Stack, Fits], None]


def plain_answers(
    frame: pd.DataFrame,
    place: Mapping[str, int],
    column: str,
    unit: str,
    groups: Groups,
    *,
    checked: bool = False,
    look: Look | None = None,
) -> Answers:
    """Answer the plain blades of a frame, whose columns have a place each.

    `column` and `unit` are those of the readings. Where `checked`, the blades in whose readings a
    mistake is found are doubted, and those of several turns are not plain. What is wanted else is
    looked at while readings and fits are at hand.
    """
    blades = Blades(frame, place, column, unit, groups, in_order=checked)
    plain, found = blades.plain, blades.found
    mistakes: dict[int, tuple[Counted, str]] = {}
    stated = float(np.nanmin(np.append(blades.facts.dial_turn, min(REVOLUTIONS_MM))))
    if checked and look is None:
        plain &= blades.turns == 1
    with np.errstate(all="ignore"):
        for some, blade in blades.alike():
            stack, closed = blades.stack(some, blade)
            fits = fit_stack(stack)
            blades.keep(some, stack, fits, closed)
            if len(stack.reading) > 1:
                plain[some[may_stand_off(stack, fits)]] = False
            if look is not None:
                look(blades, some, blade, stack, fits)
            if checked:
                looked = np.ones(len(some), dtype=np.bool_)
                if len(stack.reading) == 1:
                    jump = stated / 2 / MM_PER[unit]
                    whole, left_out = _with_closing(stack, closed, blade)
                    looked = worth_a_look(
                        whole,
                        fits if whole is stack else fit_stack(whole),
                        jump,
                        closed is not None,
                    )
                    looked[left_out] = True
                for at in np.flatnonzero(looked).tolist():
                    count = blades.counted(int(some[at]), stack, closed, at, blade)
                    if (words := suspected(count)) is not None:
                        mistakes[int(some[at])] = count, words
        if checked and look is None:
            plain[[*blades.moved]] = False
        plain &= (found["spots_read"] >= FEWEST_TEETH) & (found["dof"] >= 1)
        plain &= found["ratio"] <= REFUSED_RATIO
        if "mount" in place:
            _all_mounts_alike(blades.facts, groups, plain)
        columns = blades.columns()
    doubted = np.zeros_like(plain)
    doubted[[*mistakes]] = True
    said = joined(blades.remarks(columns), len(plain))
    return Answers(plain, doubted & plain, columns, *said, mistakes)


_KEPT = (*Plan._fields[3:], *Fits._fields[1:-1], "closure", "closure_bias")


class Blades:
    """The blades of a frame: their readings, blade after blade, and what is found of each.

    `plain` are those not yet taken out. `turn` is the place of a row's turn among its blade's, None
    where each has one; `turns` is how many these are. `found` holds arrays of `Plan` and `Fits`,
    and what closing readings say; for `moved` see `bladegeom.fit.remarks.Seen`, and `closed` holds
    the closing readings that show as much at the chance at which that may matter.
    """

    def __init__(
        self,
        frame: pd.DataFrame,
        place: Mapping[str, int],
        column: str,
        unit: str,
        groups: Groups,
        *,
        in_order: bool,
    ) -> None:
        def ordered(name: str) -> NDArray[Any]:
            return groups.ordered(numbers(frame.iloc[:, place[name]]))

        count = len(groups.start)
        self.unit, self.groups, self.in_order = unit, groups, in_order
        self.plain = np.ones(count, dtype=np.bool_)
        for name, texts in (("blade", groups.name), ("mount", groups.mount)):
            if name in place:
                self.plain &= np.asarray(texts != "")
        self.facts = facts_of(frame, place, groups, self.plain)
        self.graduation = np.nan_to_num(self.facts.graduation / MM_PER[unit])
        self.steps = np.zeros(count)
        self.rounding = np.zeros((2, 2, count))
        self.turn: NDArray[np.int64] | None = None
        self.turns = np.ones(count, dtype=np.int64)
        if "order" in place:
            self._steps(ordered("order"), always=True)
        if "turn" in place:
            self._count_turns(self._steps(ordered("turn"), always=False))
        self.reading, tooth = ordered(column), ordered("tooth")
        if tooth.dtype.kind == "f":
            tooth = np.where((np.abs(tooth) <= MOST_TEETH) & (tooth == np.floor(tooth)), tooth, 0)
        self.tooth = tooth.astype(np.int64, copy=False)
        self.found = {name: np.full(count, np.nan) for name in _KEPT}
        self.moved: dict[int, tuple[Closing, float]] = {}
        self.closed: dict[int, Closing] = {}

    def _steps(self, values: NDArray[Any], *, always: bool) -> Bools:
        """Return where a column grows within a blade; take out those in which it does not.

        It may stay the same, unless it is `always` to grow.
        """
        first = np.zeros(len(values), dtype=np.bool_)
        first[self.groups.start] = True
        grows = np.append(False, values[1:] > values[:-1])
        wrong = ~first & ~grows
        if not always:
            wrong &= np.append(False, values[1:] != values[:-1])
        wrong |= ~(np.abs(values) <= LARGEST) | (values != np.floor(values))
        self.plain[self.groups.of(np.flatnonzero(wrong))] = False
        return grows & ~first

    def _count_turns(self, steps: Bools) -> None:
        if steps.any():
            start, size = self.groups.start, self.groups.size
            turn = np.cumsum(steps, dtype=np.int64)
            self.turn = turn - np.repeat(turn[start], size)
            self.turns = self.turn[start + size - 1] + 1
            self.plain[self.turns > _MOST_TURNS] = False
            # A stand that moved is told from every tooth then: one by one.
            self.plain[self.facts.left_alone & (self.turns > 1)] = False

    def alike(self) -> Iterator[tuple[Places, Blade]]:
        """Return some plain blades at a time, of one kind, touched spot and number of turns."""
        import pandas as pd

        which = np.flatnonzero(self.plain)
        spot, spots = pd.factorize(self.facts.touch[which])
        kind = self.facts.blade[which] * max(1, len(spots)) + spot
        for alike in _together(which, kind * (_MOST_TURNS + 1) + self.turns[which]):
            blade = self.facts.blades[self.facts.blade[alike[0]]]
            if blade is None:
                self.plain[alike] = False
                continue
            step = max(1, _CELLS_AT_ONCE // (blade.teeth * int(self.turns[alike[0]])))
            for at in range(0, len(alike), step):
                yield alike[at : at + step], blade

    def stack(self, some: Places, blade: Blade) -> tuple[Stack, Closed | None]:
        """Return the readings of some blades as a stack, and what closing readings say.

        Blades with a fault in them, or a tooth twice in a turn, are taken out of the plain ones.
        """
        spots = spots_of(blade.tooth_deg, float(self.facts.touch[some[0]]))
        teeth, turns, n = blade.teeth, int(self.turns[some[0]]), len(some)
        start, size = self.groups.start[some], self.groups.size[some]
        rows: Any = slice(start[0], start[-1] + size[-1])
        if rows.stop - rows.start != size.sum():
            rows = spread(start, size)
        reading, tooth = self.reading[rows].astype(np.float64, copy=False), self.tooth[rows]
        turn = self.turn[rows] if self.turn is not None and turns > 1 else None
        shape = (turns, teeth, n)
        if (size == turns * teeth).all() and _every_tooth(tooth, turn, turns, teeth):
            whole = np.ascontiguousarray(reading.reshape(n, -1).T).reshape(shape)
            if not np.isnan(whole.sum()):
                self.plain[some[_odd(whole).any(axis=(0, 1))]] = False
                return Stack(spots, whole, None), None
        of = np.repeat(np.arange(n), size)
        known = (tooth >= 1) & (tooth <= teeth)
        wrong = ~known | _odd(reading)
        if wrong.any():
            self.plain[some[of[wrong]]] = False
        spot = tooth - 1 + (0 if turn is None else turn * teeth)
        read = known & ~np.isnan(reading)
        if not read.all():
            reading, spot, of = reading[read], spot[read], of[read]
            size = np.bincount(of, minlength=n)
        begin = np.cumsum(size) - size
        closes = np.flatnonzero(size > (1 if turns == 1 else len(spot)))
        last = (begin + size - 1)[closes]
        again = spot[begin[closes]] == spot[last]
        closes, last = closes[again], last[again]
        difference, when = reading[last] - reading[begin[closes]], np.zeros(0)
        if len(closes):
            size[closes] -= 1
            when = np.delete((np.arange(len(of)) - begin[of]) / size[of], last)
            reading, spot, of = (np.delete(one, last) for one in (reading, spot, of))
        if self.in_order:
            back = (np.diff(spot) < 0) & (np.diff(of) == 0)
            self.plain[some[of[1:][back]]] = False
        slot = spot * n + of
        made = np.full(turns * teeth * n, np.nan)
        made[slot] = reading
        made = made.reshape(shape)
        there = (~np.isnan(made)).astype(np.float64)
        self.plain[some[there.sum(axis=(0, 1)) != size]] = False  # A tooth twice in a turn.
        stack = Stack(spots, made, there)
        if not len(closes):
            return stack, None
        time = np.full(made.size, np.nan)
        time[slot] = when
        return stack, Closed(closes, difference, time.reshape(shape)[:, :, closes])

    def counted(
        self, group: int, stack: Stack, closed: Closed | None, at: int, blade: Blade
    ) -> Counted:
        """Return the readings of one blade of a stack, the closing reading of one turn too."""
        turn, label = np.nonzero(~np.isnan(stack.reading[:, :, at]))
        read = stack.reading[turn, label, at]
        label = label + 1
        again: Any = [] if closed is None else np.flatnonzero(closed.at == at)
        if len(again):
            assert closed is not None
            label, turn = np.append(label, label[0]), np.append(turn, turn[-1])
            read = np.append(read, read[0] + closed.difference[again[0]])
        ones = np.ones(len(label), dtype=np.int64)
        anchored = np.zeros(len(label), dtype=np.bool_)
        anchored[-1] = len(again) > 0 and len(label) <= blade.teeth
        facts: dict[str, Any] = {"touch_deg": float(self.facts.touch[group])}
        for name in ("graduation", "dial_turn"):
            if not np.isnan(length := getattr(self.facts, name)[group]):
                facts[name] = (float(length), "mm")
        whole = (blade, self.unit, label, read, turn + 1, ones, anchored, facts)
        return Counted(*whole, readings=None, off_by=0)

    def keep(self, some: Places, stack: Stack, fits: Fits, closed: Closed | None) -> None:
        """Keep what is found of some blades."""
        here = _here(some)
        graduation = self.graduation[here]
        self.steps[here] = grids_of_stack(stack, fits, graduation == 0)
        told = np.where(fits.plan.spots_read >= GRID_TEETH, self.steps[here], 0.0)
        self.graduation[here] = graduation = np.maximum(graduation, told)
        once, self.rounding[:, :, here] = rounded(stack, fits, graduation)
        for name, values in (once.plan._asdict() | once._asdict()).items():
            if name in self.found:
                self.found[name][here] = values
        if stack.there is None:
            return
        self.plain[some[leaks_of(stack, fits)]] = False
        if closed is None:
            return
        at, difference = closed.at, closed.difference
        reading, there = stack.reading[:, :, at], stack.there[:, :, at]
        drift = steady_drift(stack._replace(there=there), closed.time, fits.left[:, :, at])
        bias = np.abs(difference) * drift.shift
        self.found["closure"][some[at]], self.found["closure_bias"][some[at]] = difference, bias
        rss, dof = fits.rss[at] - drift.taken, fits.plan.dof[at] - drift.told
        least = np.sqrt(np.maximum(rss, 0.0) / dof) * (math.sqrt(2) * (1 - 1e-9))
        for free in np.unique(dof):
            least[dof == free] *= student_t(1 - MATTERS, free) if free >= 1 else np.inf
        for one in np.flatnonzero(np.abs(difference) > least):
            step = float(self.graduation[some[at[one]]])
            step = step or least_step(reading[:, :, one][there[:, :, one] > 0])
            shown = closing(float(difference[one]), 1, float(rss[one]), int(dof[one]), step)
            if shown.moved(MATTERS):
                self.closed[int(some[at[one]])] = shown
            if shown.moved():
                self.moved[int(some[at[one]])] = shown, float(bias[one])

    def columns(self) -> dict[str, Floats]:
        """Return the columns of the table."""
        facts, found, count = self.facts, self.found, len(self.plain)
        kept = ("readings", "dof", "offset", "raw_tir", "closure", "closure_bias")
        columns = {"teeth": facts.teeth.astype(np.float64), **{name: found[name] for name in kept}}
        which = np.flatnonzero(self.plain)
        kind = facts.blade[which] * (MOST_TEETH * _MOST_TURNS) + found["dof"][which].astype(
            np.int64
        )
        for alike in _together(which, kind):
            blade = facts.blades[facts.blade[alike[0]]]
            assert blade is not None
            for at in range(0, len(alike), _BLADES_AT_ONCE):
                some = alike[at : at + _BLADES_AT_ONCE]
                here = _here(some)
                own = {name: values[here] for name, values in found.items()}
                rounding = self.rounding[:, :, here]
                made = _of_some(own, self.graduation[here], rounding, facts, here, self.unit, blade)
                for name, values in made.items():
                    if name not in columns:
                        columns[name] = np.empty(count)  # The others are answered one by one.
                    columns[name][here] = values
        return columns

    def remarks(self, columns: Mapping[str, Floats]) -> list[Remark]:
        """Return what is to be said of the plain blades."""
        blank = np.full(len(self.plain), np.nan)
        seen = Seen(
            unit=self.unit,
            raw_tir=self.found["raw_tir"],
            residual_sd=columns.get("residual_sd", blank),
            graduation=self.graduation,
            steps=self.steps,
            ring_radius=self.facts.ring,
            wobble_tir=columns.get("wobble_tir", blank),
            tilt_deg=columns.get("tilt_deg", blank),
            resolved=columns.get("resolved", blank) == 1,
            dof=self.found["dof"],
            rides=rides_most(
                self.facts.end_float / MM_PER[self.unit], columns.get("amplitude_u", blank)
            ),
            spots=self.found["spots_read"],
            bare=self.facts.on_teeth,
            moved=self.moved,
        )
        return [one._replace(of=one.of & self.plain) for one in remarks_on(seen)]


def _with_closing(stack: Stack, closed: Closed | None, blade: Blade) -> tuple[Stack, Places]:
    """Return a stack of one turn with the closing readings as those of one spot more.

    And which blades have one that is not of the first tooth: it is left out.
    """
    if closed is None:
        return stack, np.zeros(0, dtype=np.intp)
    assert stack.there is not None
    first = stack.reading[:, 0, closed.at] + closed.difference
    again = np.full((1, 1, stack.reading.shape[2]), np.nan)
    again[0, :, closed.at] = first.T
    reading = np.concatenate([stack.reading, again], axis=1)
    there = np.concatenate([stack.there, (~np.isnan(again)).astype(np.float64)], axis=1)
    degrees = blade.tooth_deg
    spots = spots_of((*degrees, degrees[0]), math.degrees(stack.spots.angle[0]) - degrees[0])
    return Stack(spots, reading, there), closed.at[np.isnan(first[0])]


def _together(which: Places, kind: NDArray[np.int64]) -> Iterator[Places]:
    """Return places of the same kind together, in order."""
    import pandas as pd

    code = pd.factorize(kind)[0]
    if not code.any():
        yield from [which] if len(which) else []
        return
    order = np.argsort(code.astype(np.min_scalar_type(int(code.max()))), kind="stable")
    yield from np.split(which[order], np.cumsum(np.bincount(code))[:-1])


def _here(some: Places) -> Any:
    """Return places as a slice where they follow each other."""
    return slice(some[0], some[-1] + 1) if some[-1] - some[0] == len(some) - 1 else some


def _every_tooth(
    tooth: NDArray[Any], turn: NDArray[np.int64] | None, turns: int, teeth: int
) -> bool:
    """Return whether every tooth of each blade was read, once a turn and in order."""
    in_order = (tooth.reshape(-1, teeth) == np.arange(1, teeth + 1)).all()
    if turn is not None:
        in_order &= (turn.reshape(-1, turns, teeth) == np.arange(turns)[:, np.newaxis]).all()
    return bool(in_order)


def _odd(reading: Floats) -> Bools:
    """Return which readings have no usual size."""
    size = np.abs(reading)
    odd: Bools = size > LARGEST
    small = size < LEAST
    if small.any():
        odd |= small & (reading != 0)
    return odd


def _all_mounts_alike(facts: Facts, groups: Groups, plain: Bools) -> None:
    """Take out blades of which one mounting is not plain or says what another one does not."""
    import pandas as pd

    name, names = pd.factorize(groups.name)
    first = np.zeros(len(names), dtype=np.intp)
    first[name[::-1]] = np.arange(len(name))[::-1]
    earlier = first[name]
    wrong = ~plain | (facts.blade != facts.blade[earlier])
    for fact in facts.sizes:
        wrong |= ~((fact == fact[earlier]) | (np.isnan(fact) & np.isnan(fact[earlier])))
    plain &= ~np.isin(name, name[wrong])


def _of_some(
    fits: Mapping[str, Floats],
    graduation: Floats,
    rounding: Floats,
    facts: Facts,
    here: Any,
    unit: str,
    blade: Blade,
) -> dict[str, Any]:
    """Return the columns of blades with the same teeth and as many degrees of freedom."""
    ring_mm, radius_mm = facts.ring[here], facts.diameter[here] / 2
    residual_sd = np.sqrt(fits["rss"] / fits["dof"])
    reading_sd = believed(residual_sd, graduation, fits["largest"], fits["raw_tir"])
    covariance = reading_sd**2 * unit_covariance(fits["cc"], fits["cs"], fits["ss"])
    covariance = covariance + float_covariance(facts.end_float[here] / MM_PER[unit])
    value, dof, scale_u = fits["a"] + 1j * fits["b"], float(fits["dof"][0]), facts.stylus[here]
    wobble: Any = Wobble(value, covariance, dof, rounding, stylus_scale_u(scale_u))
    ring_u = np.nan_to_num(facts.ring_u[here])
    slope: Any = wobble.over(ring_mm / MM_PER[unit], ring_u / MM_PER[unit])
    resolved, amplitude, tilt = wobble.resolved, wobble.amplitude, _lean(slope.amplitude)
    low, high, _ = wobble.amplitude_interval()
    tilt_high = _lean(slope.amplitude_interval().high)
    worst = np.where(resolved, tilt, tilt_high)
    near_low, near_high, _ = wobble.near_interval()
    directed = {
        "near_deg": wobble.near_deg,
        "near_u_deg": wobble.near_u_deg,
        "near_low_deg": near_low,
        "near_high_deg": near_high,
        **_marks(wobble, blade, tilt, (near_low, near_high, tilt_high), radius_mm),
    }
    if not resolved.all():
        directed = {name: np.where(resolved, one, np.nan) for name, one in directed.items()}
    return {
        "wobble_tir": wobble.tir,
        "amplitude": amplitude,
        "amplitude_corrected": wobble.amplitude_corrected,
        "amplitude_u": wobble.amplitude_u,
        "amplitude_low": low,
        "amplitude_high": high,
        "rim_amplitude": amplitude * radius_mm / ring_mm,
        "tilt_deg": tilt,
        "tilt_u_deg": np.degrees(slope.amplitude_u / (1 + slope.amplitude**2)),
        "resolved": resolved,
        "p_value": wobble.p_value,
        "residual_sd": residual_sd,
        "worst_squareness_deg": worst,
        "flat": ~resolved & (worst < NO_MATTER_DEG),
        **directed,
    }


def _lean(slope: Floats) -> Floats:
    return np.degrees(np.arctan(slope))


def _marks(
    wobble: Wobble, blade: Blade, tilt_deg: Floats, limits: tuple[Any, Any, Any], radius_mm: Floats
) -> dict[str, Any]:
    """Return the columns of the teeth to mark; limits are of the direction and the tilt."""
    ends = ends_of(blade.angles_deg, wobble.near_deg)
    near, first, far, second = ends
    of_near = near.probability(wobble)

    def chance(end: End) -> Any:
        # Where teeth stand alike in every quarter, so do the chances.
        return of_near if end.past_deg is near.past_deg else end.probability(wobble)

    off, left = off_line(first, second, tilt_deg)
    near_low, near_high, tilt_high = limits
    near_low, near_high = near_low - wobble.near_deg, near_high - wobble.near_deg
    better = first_better(first, second)
    found = {
        "near_tooth": near.place + 1.0,
        "near_probability": chance(near),
        "far_tooth": far.place + 1.0,
        "far_probability": chance(far),
        "better_tooth": np.where(better, first.place, second.place) + 1.0,
        "line_off_deg": off,
        "left_deg": left,
        "left_most_deg": most_left(first, second, near_low, near_high, tilt_high),
    }
    for number, end in enumerate((first, second), start=1):
        found |= {
            f"neutral_tooth_{number}": end.place + 1.0,
            f"neutral_deg_{number}": end.direction_deg,
            f"neutral_probability_{number}": chance(end),
            f"neutral_past_deg_{number}": end.past_deg,
            f"neutral_past_pitch_{number}": end.past_pitch,
            f"neutral_past_mm_{number}": radius_mm * np.radians(end.past_deg),
        }
    return found
