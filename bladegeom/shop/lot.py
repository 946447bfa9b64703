"""The blades of a frame against the shop's limits, all at once, by bounds on what each comes to."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.faults import RefusedError
from bladegeom.fit._frame import numbers
from bladegeom.fit._plain import Blades, plain_answers
from bladegeom.fit.many import Opened, open_frame
from bladegeom.fit.shape import shape_of, shape_shown
from bladegeom.kernel.span import Scatter, rough, rounded_away
from bladegeom.kernel.stack import Fits, Stack
from bladegeom.lengths import MM_PER
from bladegeom.readings import same_ring
from bladegeom.shop.condition import (
    AGAIN,
    FEWEST,
    KEPT,
    OVER,
    WAVES,
    also_told,
    in_doubt,
    remounted,
    turns_words,
)
from bladegeom.shop.limits import QUANTITIES, Limits
from bladegeom.shop.verdict import (
    A_TURN,
    CONFORMS,
    FAILS,
    NOT_TOLD,
    OUTCOMES,
    UNDECIDED,
    left_out_alone,
    outcomes,
    raw_outcomes,
    turns_to_decide,
)

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = NDArray[np.intp]

_NO_LIMIT = -2
_PASSES, _OPEN, _FAILS = (OUTCOMES.index(one) for one in (CONFORMS, UNDECIDED, FAILS))
_FEWEST_WAVED = 16
"""Fewer teeth may not tell all waves apart."""


def _read_ones(values: Floats, read: Bools, which: Any) -> Floats:
    """Return the values of the teeth that were read, as many of each blade; shape (read, n)."""
    some = read[:, which]
    order = np.argsort(~some, axis=0, kind="stable")[: np.count_nonzero(some[:, 0])]
    found: Floats = np.take_along_axis(values[:, which], order, axis=0)
    return found


def _wave_tir(angle: Floats, left: Floats) -> Any:
    """Return by how much the largest of a plate's waves, but the wobble, moves it; shape (n,)."""
    orders = np.arange(1, WAVES + 1)[:, np.newaxis, np.newaxis] * angle
    columns = np.concatenate([np.ones((1, *angle.shape)), np.cos(orders), np.sin(orders)])
    products = np.einsum("pib,qib->bpq", columns, columns)
    found = np.linalg.solve(products, np.einsum("pib,ib->bp", columns, left)[..., np.newaxis])
    cosine, sine = found[:, 2 : WAVES + 1, 0], found[:, WAVES + 2 :, 0]
    return 2 * np.hypot(cosine, sine).max(axis=1)


class Lot:
    """The blades of a frame against limits; `alone` are those to be judged one by one.

    In the readings of those `doubted` a mistake is found, and the plates of those `bent` may be:
    of these only what to do next is not known yet, unless the mistakes are `told` of. `code` holds
    a place in `OUTCOMES` for each quantity and blade, and `turns` how many would decide.
    """

    def __init__(self, limits: Limits, rule: str, pooled: Scatter | None, opened: Opened) -> None:
        count = len(opened.groups.start)
        self.limits, self.rule, self.pooled, self.opened = limits, rule, pooled, opened
        self.alone = np.ones(count, dtype=np.bool_)
        self.shaped = np.ones(count, dtype=np.bool_)
        self.whole, self.doubted, self.bent = (np.zeros(count, dtype=np.bool_) for _ in range(3))
        self.limit = {one: np.full(count, np.nan) for one in QUANTITIES}
        self.code = {one: np.full(count, _NO_LIMIT) for one in QUANTITIES}
        self.a_turn = np.full(count, np.nan)
        self.wave_tir = np.full(count, np.inf)
        self.read, self.turns_read = np.zeros(count), np.ones(count, dtype=np.int64)

    def judge(self, *, looked_through: bool) -> None:
        """Judge the blades; where `looked_through`, for mistakes and a stand that moved as well."""
        frame, place, column, unit, groups = self.opened
        answers = plain_answers(
            frame, place, column, unit, groups, checked=looked_through, look=self._look
        )
        columns = answers.columns
        self.columns = columns
        self.alone |= ~answers.plain
        self.doubted, self.mistakes = answers.doubted & self.whole, answers.mistakes
        self.told = self.doubted.copy()
        self.told[[at for at, (_, words) in answers.mistakes.items() if not words]] = False
        self.alone |= answers.doubted & ~self.whole
        if "amplitude_high" not in columns:
            return
        self.raw_tir, value = columns["raw_tir"], columns["wobble_tir"]
        low, high = 2 * columns["amplitude_low"], 2 * columns["amplitude_high"]
        self.alone |= ~np.isfinite(high) | ~np.isfinite(columns["residual_sd"])
        limit = self.limit["wobble_tir"]
        found = outcomes(value, low, high, limit, self.rule)
        self.code["wobble_tir"] = np.where(np.isnan(limit), _NO_LIMIT, found)
        for code in self.code.values():
            self.alone |= code == NOT_TOLD
        self.turns: dict[str, Floats] = {}
        reach = np.where(limit > value, high - value, value - low) * np.sqrt(self.turns_read)
        hidden = rounded_away(columns["residual_sd"], self.graduation)
        self._count_turns("wobble_tir", np.where(hidden, np.inf, reach), value)
        self._count_turns("raw_tir", self.a_turn, self.raw_tir)
        self.worst = np.maximum(*self.code.values())
        if not looked_through:
            return
        over = [np.where(self.code[one] == _FAILS, self.limit[one], np.inf) for one in QUANTITIES]
        self.smallest = np.minimum(*over)
        waved = self.wave_tir > self.smallest * (1 - 1e-9)
        self.alone |= (self.worst == _FAILS) & ~self.whole & (self.shaped | waved)
        self.bent = (self.worst == _FAILS) & (self.shaped | waved)
        if self.closed:
            self._look_at_closings()

    def _count_turns(self, quantity: str, a_turn: Floats, value: Floats) -> None:
        away = np.abs(self.limit[quantity] - value)
        turns = turns_to_decide(a_turn, away, self.turns_read)
        self.turns[quantity] = np.where(self.code[quantity] == _OPEN, turns, 0.0)

    def step(self, group: int) -> tuple[str, tuple[str, ...]]:
        """Return the next action for a blade that is neither bent nor doubted untold, and why."""
        if self.doubted[group]:
            return self._mistaken(group)
        if self.worst[group] == _PASSES:
            return KEPT.action, KEPT.reasons
        if self.worst[group] == _OPEN:
            turns = max(float(one[group]) for one in self.turns.values())
            return AGAIN, (turns_words(turns, int(self.turns_read[group])),)
        tir, u = (float(self.columns[one][group]) for one in ("wobble_tir", "amplitude_u"))
        tilted = self.columns["resolved"][group] and tir >= self.raw_tir[group] / 2
        found = remounted(tir, u, self.opened.unit) if tilted else OVER
        return found.action, found.reasons

    def _mistaken(self, group: int) -> tuple[str, tuple[str, ...]]:
        """Return the next action for a blade in whose readings a mistake is told of, and why."""
        count, words = self.mistakes[group]
        turns = int(self.turns_read[group])
        size = len(count.label) - (
            turns == 1 and len(count.label) > 1 and count.tooth[0] == count.tooth[-1]
        )
        teeth = count.tooth[: size // turns]
        read = count.reading[:size].reshape(turns, -1)
        heights = (read - read.mean(axis=1, keepdims=True)).mean(axis=0) + read.mean()
        angles = np.radians(count.blade.angles_deg[teeth - 1] + count.touch_deg)
        shape = shape_of(count.unit, teeth, heights, angles, count.length("graduation"))
        step = in_doubt(words, shape)
        return step.action, step.reasons

    def row(self, group: int, action: str, words: tuple[str, ...]) -> dict[str, Any]:
        """Return what is said of one blade, every tooth of which was read or may be left out."""
        worst = _OPEN if self.doubted[group] else int(self.worst[group])
        raw = bool(self.code["raw_tir"][group] != _NO_LIMIT)
        count, turns_read = int(self.columns["readings"][group]), int(self.turns_read[group])
        row: dict[str, Any] = {
            "outcome": OUTCOMES[worst],
            "action": action,
            "reasons": " ".join(words),
            "teeth_to_read": "",
            "remarks": " ".join(also_told(action, count, turns_read, raw=raw)),
        }
        for quantity, code in self.code.items():
            if code[group] != _NO_LIMIT:
                row[f"{quantity}_outcome"] = OUTCOMES[_OPEN if self.doubted[group] else code[group]]
                row[f"{quantity}_limit"] = float(self.limit[quantity][group])
        return row

    def _look(self, blades: Blades, some: Places, blade: Blade, stack: Stack, fits: Fits) -> None:
        """Keep what the readings of some blades tell beside their fits."""
        self.closed, self.graduation = blades.closed, blades.graduation
        turns, teeth, n = stack.reading.shape
        alone = np.zeros(n, dtype=np.bool_)
        read = np.ones((teeth, n), dtype=np.bool_)
        if stack.there is not None:
            read = stack.there.max(axis=0) > 0
            count = read.sum(axis=0)
            few = (2 * count < teeth) | ~left_out_alone(blade, read)
            alone |= (count < teeth) & few
            alone |= (turns > 1) & (stack.there.sum(axis=(0, 1)) < turns * teeth)
        self.turns_read[some], self.whole[some] = turns, read.all(axis=0)
        alone |= self._set_limits(blades, some)
        self.alone[some] = alone
        raw = ~np.isnan(self.limit["raw_tir"][some]) & ~alone
        if raw.any():
            self._raw(some, stack, fits, read, raw)
        stated = np.nan_to_num(blades.facts.graduation[some] / MM_PER[self.opened.unit])
        hair = np.maximum(8 * float(np.finfo(np.float64).eps) * fits.largest, 1e-150)
        angles = np.broadcast_to(stack.spots.angle[:, np.newaxis], read.shape)
        left, count = fits.left.mean(axis=0), read.sum(axis=0)
        tir = 2 * np.hypot(blades.found["a"][some], blades.found["b"][some])
        over = tir > self.limit["wobble_tir"][some] * (1 - 1e-9)
        over = ~alone & (over | (self.code["raw_tir"][some] == _FAILS))
        for size in np.unique(count[over]).tolist():
            if size < max(FEWEST, _FEWEST_WAVED):
                continue
            here = over & (count == size)
            angle, off = (_read_ones(values, read, here) for values in (angles, left))
            self.shaped[some[here]] = shape_shown(angle, off, hair[here], stated[here])
            self.wave_tir[some[here]] = _wave_tir(angle, off)

    def _set_limits(self, blades: Blades, some: Places) -> Bools:
        """Set the limits of some blades; return for which that cannot be done."""
        wrong = np.zeros(len(some), dtype=np.bool_)
        diameter, ring = blades.facts.diameter[some], blades.facts.ring[some]
        for size in np.unique(diameter):
            here = np.isnan(diameter) if np.isnan(size) else diameter == size
            try:
                held = self.limits.of(None if np.isnan(size) else float(size))
            except RefusedError:
                wrong |= here
                continue
            for one in held:
                self.limit[one.quantity][some[here]] = one.in_unit(self.opened.unit)
                for radius in np.unique(ring[here]) if one.ring_mm is not None else ():
                    known = None if np.isnan(radius) else float(radius)
                    if not same_ring(known, one.ring_mm):
                        wrong |= here & (np.isnan(ring) if known is None else ring == radius)
        return wrong

    def _raw(self, some: Places, stack: Stack, fits: Fits, read: Bools, raw: Bools) -> None:
        """Hold the raw TIR of some blades, those that are told, against their limits."""
        turns, teeth, _ = stack.reading.shape
        count = read.sum(axis=0)
        means, known = stack.reading[0], [] if self.pooled is None else [self.pooled]
        for size in np.unique(count[raw]).tolist():
            which = np.flatnonzero(raw & (count == size))
            at, parts = some[which], [*known]
            if turns > 1:
                left = fits.left[:, :, which]
                curve = stack.spots.waves @ np.stack([fits.a, fits.b])[:, which]
                own = left.mean(axis=0) + curve + fits.offset[which]
                dof = (turns - 1) * (teeth - 1)
                off = left - left.mean(axis=0)
                sd: Any = np.sqrt(np.einsum("ijk,ijk->k", off, off) / dof)
                parts.insert(0, Scatter(sd, dof))
            else:
                own = _read_ones(means, read, which)
            step, limit = self.graduation[at], self.limit["raw_tir"][at]
            code = raw_outcomes(own, turns, parts, step, limit, self.rule)
            if parts:  # How many turns would decide hangs on the range without its scatter.
                code[code == _OPEN] = NOT_TOLD
            else:
                upper: Any = rough(own).sd
                self.a_turn[at] = np.where(rounded_away(upper, step), np.inf, A_TURN * upper)
            if size < teeth:
                beside = read[:, which] & ~(
                    np.roll(read[:, which], 1, axis=0) & np.roll(read[:, which], -1, axis=0)
                )
                stands = np.max(np.abs(fits.left[0][:, which]) * beside, axis=0)
                # A tooth left out may stand out as far, and is to be within the limit then.
                at_risk = np.flatnonzero(code == _PASSES)
                least = (limit - stands)[at_risk]
                still = raw_outcomes(own[:, at_risk], 1, parts, step[at_risk], least, self.rule)
                code[at_risk[still != _PASSES]] = NOT_TOLD
            self.code["raw_tir"][at] = code

    def _look_at_closings(self) -> None:
        """Judge by themselves the blades whose outcome hangs on whether the stand moved."""
        some = np.array([one for one in self.closed if not self.alone[one]], dtype=np.intp)
        if not some.size:
            return
        steady = Lot(self.limits, self.rule, self.pooled, open_frame(self._without_drift(some)))
        steady.judge(looked_through=False)
        self.alone[some] |= steady.alone
        for group, other in zip(some[~steady.alone], steady.worst[~steady.alone], strict=True):
            contrary = {int(other), int(self.worst[group])} == {_PASSES, _FAILS}
            other_one = other != self.worst[group] and self.closed[int(group)].moved()
            self.alone[group] |= contrary or other_one

    def _without_drift(self, some: Places) -> pd.DataFrame:
        """Return the readings of some blades less a steady drift, their closing ones left out."""
        frame, place, column, _, groups = self.opened
        rows, of = groups.rows(some), np.repeat(np.arange(len(some)), groups.size[some])
        reading = numbers(frame.iloc[rows, place[column]]).astype(np.float64)
        read = ~np.isnan(reading)
        rows, of, reading = rows[read], of[read], reading[read]
        size = np.bincount(of)
        time = (np.arange(len(of)) - (np.cumsum(size) - size)[of]) / (size - 1)[of]
        drift = np.array([self.closed[int(one)].difference for one in some])
        kept = time < 1
        steady = frame.iloc[rows[kept]].copy()
        steady[steady.columns[place[column]]] = (reading - drift[of] * time)[kept]
        return steady
