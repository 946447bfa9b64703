"""What to read next: the teeth that say most of the direction, and how many turns would do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import chain, combinations
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from bladegeom.faults import refuse
from bladegeom.fit.ends import ends_of
from bladegeom.fit.marks import neutral_line
from bladegeom.fit.stated import float_covariance
from bladegeom.fit.wobble import OfBlade, WobbleFit
from bladegeom.kernel.design import Design, design_of
from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.kernel.leak import leaked, with_leak
from bladegeom.kinds import checked
from bladegeom.result import derived, described, number, percent, quantity
from bladegeom.tables.counted import counted
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]
Places = NDArray[np.int64]

MOST_READINGS, MOST_TURNS = 24, 100
"""Nobody picks out more teeth, or reads more turns, than this."""

PROMISED = 0.9
"""How often a number of turns that is told is to do, wherever the direction then shows."""

_CASES = 200

MOST_CHOICES = 100_000
"""Up to so many choices are all looked at: four of forty teeth are."""

_HAIR = 1e-9


@described
class NextReadings(OfBlade):
    """Which teeth to read next in the same mounting, and what that would do to the doubt."""

    fit: WobbleFit = quantity("of what was read so far", key="")

    @derived("unit of the readings")
    def unit(self) -> str:
        return self.fit.unit

    teeth: tuple[int, ...] = quantity(
        "the most telling first; each is to be read once, all of them as one more turn",
        key="next_teeth",
        label="read",
        text=lambda one: _read(one.teeth),
    )
    near_u_deg: float | None = quantity(
        "standard uncertainty of the direction now; None where none is established"
    )
    near_u_after_deg: tuple[float, ...] | None = quantity("the same after each of `teeth`")
    across_u: float = quantity(
        "standard uncertainty of the wobble's component at right angles to the fitted direction "
        "now; where the wobble is not resolved, of its component in the worst direction; NaN where "
        "the scatter is not known",
        label="doubt now",
        text=lambda one: one._doubt(None),
    )
    across_u_after: tuple[float, ...] = quantity(
        "the same after each of `teeth`",
        label="after",
        text=lambda one: [
            (f"after tooth {tooth}", one._doubt(place)) for place, tooth in enumerate(one.teeth)
        ],
    )
    tooth: int | None = quantity(
        "the neutral tooth to rely on, which lies closer to its direction", key="better_tooth"
    )
    probability: float | None = quantity(
        "that it is the nearest one to its end of the neutral line, now", key="better_probability"
    )
    wanted_probability: float = quantity("the probability that is wanted of it")
    turns: int = quantity("turns read so far")
    turns_needed: int | None = quantity(
        "turns in all with which, in nine cases of ten, a tooth at that end would have the wanted "
        "probability; None where no direction is established, or `MOST_TURNS` would not do",
        label="full turns",
        text=lambda one: one._turns(),
    )
    remarks: tuple[str, ...]

    def _title(self) -> str:
        return f"{f'{self._named}: w' if self.blade else 'W'}hat to read next, in this mounting"

    def _doubt(self, place: int | None) -> str:
        """Return the doubt as text: now, or after the reading at a place."""
        if self.near_u_deg is not None and self.near_u_after_deg is not None:
            u = self.near_u_deg if place is None else self.near_u_after_deg[place]
            return f"direction {number(u, u / 10)} deg (standard uncertainty)"
        u = self.across_u if place is None else self.across_u_after[place]
        if math.isnan(u):
            return "not known: no reading differs and no graduation is stated"
        return f"{number(u, u / 10)} {self.fit.unit} in the worst direction (standard uncertainty)"

    def _turns(self) -> str:
        if self.tooth is None:
            return ""
        now = f"how sure tooth {self.tooth} is, {self.turns} cannot tell"
        if self.probability is not None:
            now = f"tooth {self.tooth} is {percent(self.probability)} sure with {self.turns}"
        wanted = percent(self.wanted_probability)
        if self.turns_needed is None:
            return f"{now}; no number of turns that can be read promises {wanted}"
        if self.turns_needed == self.turns:
            return f"{now}: {wanted} is reached"
        return f"{now}; {self.turns_needed} in all make a tooth there {wanted} sure, 9 times in 10"


def _read(teeth: Sequence[int]) -> str:
    listed = ", ".join(str(tooth) for tooth in teeth)
    return f"{'teeth' if len(teeth) > 1 else 'tooth'} {listed}, as one more turn"


@checked
def next_readings(fit: WobbleFit, n: int = 4, *, probability: float = 0.95) -> NextReadings:
    """Name the teeth that, read next, shrink the doubt in the neutral line most.

    The readings are taken as one more turn in the same mounting, forward, with an offset of its
    own, as `fit_wobble` will treat them; the doubt after them follows from the design matrix
    alone, exactly, for readings that scatter as those that were taken. Minimised is the variance
    of the wobble's component at right angles to the fitted direction, or, where the wobble is not
    resolved, that in the worst direction. Teeth not read so far take part. Up to 100,000 choices
    (four of forty teeth) are all compared; beyond, teeth are exchanged one by one as long as that
    helps.

    Parameters
    ----------
    fit : WobbleFit
    n : int
        How many teeth, from 1 to 24.
    probability : float
        Wanted of the better neutral tooth: how many full turns would bring a tooth there, wherever
        within its doubt they then show the direction, in nine cases of ten.

    Returns
    -------
    NextReadings

    Raises
    ------
    RefusedError
        If `n` or `probability` is out of range.
    """
    whole, fit = fit, fit.of_others
    blade = fit.readings.blade
    most = min(MOST_READINGS, len(_candidates(fit, 2).tooth))
    if int(n) != n or not 1 <= n <= most:
        raise refuse(
            f"n is {n}",
            f"give a whole number of readings from 1 to {most}, or read a full turn",
            value=n,
            blade=blade.name,
        )
    if (turns := len(np.unique(fit.readings.turn[fit.in_fit]))) > MOST_TURNS:
        raise refuse(
            f"the blade was read in {turns} turns, and more would tell nothing new",
            f"give {MOST_TURNS} turns at most to ask what else to read",
            value=turns,
            blade=blade.name,
        )
    if not 0 < probability < 1:
        raise refuse(
            f"the probability is {probability:g}",
            "give one between 0 and 1, such as 0.95",
            value=probability,
            blade=blade.name,
        )
    teeth = _in_order(fit, _choose(fit, int(n)))
    after = [_covariance(fit, teeth[: place + 1]) for place in range(len(teeth))]
    across = _across(fit, fit.rounded_covariance)
    across_after = [_across(fit, one) for one in after]
    degrees = math.degrees(1 / fit.amplitude) if fit.resolved else None
    now, needed, named = _turns_needed(fit, probability)
    return NextReadings(
        fit=whole,
        teeth=tuple(teeth),
        near_u_deg=None if degrees is None else degrees * across,
        near_u_after_deg=None if degrees is None else tuple(degrees * u for u in across_after),
        across_u=across,
        across_u_after=tuple(across_after),
        tooth=named[0],
        probability=named[1],
        wanted_probability=float(probability),
        turns=now,
        turns_needed=needed,
        remarks=tuple(_remarks(fit, len(teeth), probability, needed)),
    )


class _Candidates(NamedTuple):
    """Rows that may be added to the design, one a tooth; the wobble's columns are the two last.

    `information` is X'X of the readings in the fit. With an `own_offset`, which taking their mean
    off accounts for, the added rows are of a turn that no reading is of yet.
    """

    tooth: NDArray[np.int64]
    rows: Floats
    information: Floats
    own_offset: bool


def _candidates(fit: WobbleFit, count: int) -> _Candidates:
    """Return of what to read `count` teeth: all, but those of a kind of which none was read.

    A single reading with an offset of its own would say nothing else, so it is looked for as if
    the last turn were going on.
    """
    tooth = np.arange(1, fit.readings.blade.teeth + 1)
    columns = _columns(fit, _read_on(fit, tooth), bent=True)
    before = len(fit.residuals)
    new_offset = fit.drift_per_turn is None
    if new_offset:
        turns = len(np.unique(fit.readings.turn[fit.in_fit]))
        first = 0 if fit.leak is None else 2 * len(fit.leak.orders)
        if count == 1:
            columns[before:, first + turns - 1] = 1.0
        columns = np.delete(columns, first + turns, axis=1)
    else:
        # They will follow each other: each has the time of the middle one.
        time = 1 if fit.leak is None else 1 + 2 * len(fit.leak.orders)
        columns[before:, time] = columns[before, time] + (count - 1) / 2 / fit.readings.blade.teeth
    told = columns[:before].any(axis=0)
    kept = ~columns[before:, ~told].any(axis=1)
    columns = columns[:, told]
    information = columns[:before].T @ columns[:before]
    rows = columns[before:][kept]
    # What no added row is of (the offsets of earlier turns) is taken out, however many they are.
    added = rows.any(axis=0)
    across = information[np.ix_(added, ~added)]
    apart = across @ np.linalg.solve(information[np.ix_(~added, ~added)], across.T)
    information = information[np.ix_(added, added)] - apart
    return _Candidates(tooth[kept], rows[:, added], information, new_offset and count > 1)


def _choose(fit: WobbleFit, n: int) -> list[int]:
    """Choose the teeth: the best of all choices, or, where those are too many, by exchange."""
    given = _candidates(fit, n)
    places = np.arange(len(given.rows))
    if math.comb(len(places), n) <= MOST_CHOICES:
        choices = np.fromiter(chain.from_iterable(combinations(places, n)), dtype=np.int64)
        choices = choices.reshape(-1, n)
        best = choices[int(np.argmin(_left(fit, given, choices)))]
    else:
        found = [_exchanged(fit, given, start) for start in _starts(fit, given.rows, n)]
        best = min(found, key=lambda chosen: float(_left(fit, given, chosen)))
    return [int(one) for one in np.sort(given.tooth[best])]


def _left(fit: WobbleFit, given: _Candidates, chosen: Places) -> Floats:
    """Return what choices of places, shape (..., n), leave of the doubt."""
    x = given.rows[chosen]
    return _goal_of(fit, given, np.swapaxes(x, -1, -2) @ x, x.sum(axis=-2), chosen.shape[-1])


def _goal_of(
    fit: WobbleFit, given: _Candidates, squares: Floats, total: Floats, count: int
) -> Floats:
    """Return what is to be small, from the sums of the added rows' squares and of the rows."""
    whole = given.information + squares
    if given.own_offset:
        whole = whole - total[..., :, np.newaxis] * total[..., np.newaxis, :] / count
    first, bent = 0, 0.0
    if fit.leak is not None and fit.reading_sd > 0:
        first, bent = 2 * len(fit.leak.orders), fit.leak.variance / fit.reading_sd**2
    inverse = np.asarray(np.linalg.inv(whole[..., first:, first:]), dtype=np.float64)
    into = inverse[..., -2:, :] @ whole[..., first:, :first]
    covariance = inverse[..., -2:, -2:] + bent * into @ np.swapaxes(into, -1, -2)
    main: Floats = _across_squared(fit, covariance)
    # Where that ties, the other direction decides.
    rest: Floats = 1e-6 * np.trace(covariance, axis1=-2, axis2=-1)
    return main + rest


def _exchanged(fit: WobbleFit, given: _Candidates, start: Places) -> Places:
    """Exchange one tooth after the other, always for the best, as long as that helps."""
    rows, chosen, n = given.rows, start, len(start)
    squares = rows[:, :, np.newaxis] * rows[:, np.newaxis, :]
    here = float(_left(fit, given, chosen))
    while True:
        outside = np.setdiff1d(np.arange(len(rows)), chosen)
        out, into = np.repeat(chosen, len(outside)), np.tile(outside, n)
        values = _goal_of(
            fit,
            given,
            squares[chosen].sum(axis=0) - squares[out] + squares[into],
            rows[chosen].sum(axis=0) - rows[out] + rows[into],
            n,
        )
        if not outside.size or values.min() >= here * (1 - _HAIR):
            return chosen
        at = int(np.argmin(values))
        chosen, here = np.append(chosen[chosen != out[at]], into[at]), float(values[at])


def _starts(fit: WobbleFit, rows: Floats, n: int) -> list[Places]:
    """Return choices to begin with: half of the teeth at either end of some directions."""
    starts = []
    for turn in range(0, 180, 45):
        direction = math.radians(fit.near_deg + 90.0 + turn)
        toward = rows[:, -2:] @ np.array([math.cos(direction), math.sin(direction)])
        ranked = np.argsort(toward, kind="stable")
        starts.append(np.concatenate([ranked[: n // 2], ranked[len(ranked) - (n - n // 2) :]]))
    return starts


def _read_on(fit: WobbleFit, teeth: Sequence[int] | Places, turns: int = 1) -> Design:
    """Return the design with teeth read forward in more turns of the same mounting."""
    read, count = counted(fit.readings), turns * len(teeth)
    more = read._replace(
        label=np.append(read.label, np.tile(teeth, turns)),
        reading=np.append(read.reading, np.zeros(count)),
        turn=np.append(read.turn, read.turn.max() + 1 + np.arange(count) // len(teeth)),
        way=np.append(read.way, np.ones(count, dtype=np.int64)),
    ).as_readings()
    assert more is not None  # Every tooth of a turn once.
    return design_of(more, drift=fit.drift_per_turn is not None)


def _columns(fit: WobbleFit, design: Design, *, bent: bool = False) -> Floats:
    """Return the columns of the fit, the wobble's two put last; first what leaks, where `bent`."""
    orders = [wave.order for wave in fit.harmonics if wave.identifiable and wave.order > 1]
    columns = design.columns([1, *orders])
    first = design.aside.shape[1]
    kept = [at for at in range(columns.shape[1]) if at not in (first, first + 1)]
    columns = columns[:, [*kept, first, first + 1]]
    if bent and fit.leak is not None:
        bends = harmonic_columns(design.angle, fit.leak.orders)[:, 1:]
        columns = np.concatenate([bends, columns], axis=1)
    return columns


def _covariance(fit: WobbleFit, teeth: Sequence[int]) -> Floats:
    """Return the covariance of the wobble's parts once teeth are read as one more turn."""
    return _ahead(fit, _read_on(fit, teeth)).rounded_covariance


def _ahead(fit: WobbleFit, design: Design) -> Wobble:
    """Return the wobble as a design would show it; what rounding adds comes back in every turn."""
    columns = _columns(fit, design)
    _, r = np.linalg.qr(columns)
    inverse = np.linalg.inv(r)[-2:]
    leak, last = None, columns.shape[1]
    if fit.leak is not None:
        leak = leaked(fit.leak, columns, slice(last - 2, last), design.angle)
    now = _columns(fit, design_of(fit.readings, drift=fit.drift_per_turn is not None))
    dof = fit.residual_dof + (len(columns) - last) - (len(now) - now.shape[1])
    covariance, dof = with_leak(fit.reading_sd**2 * (inverse @ inverse.T), dof, leak)
    covariance = covariance + float_covariance(fit.readings.end_float)
    return Wobble(fit.value, covariance, dof, fit.rounding)


def _across_squared(fit: WobbleFit, covariance: Floats) -> Floats:
    """Return the variance across the fitted direction, or in the worst one."""
    if not fit.resolved:
        return np.asarray(np.linalg.eigvalsh(covariance), dtype=np.float64)[..., -1]
    across = math.radians(fit.near_deg + 90.0)
    toward = np.array([math.cos(across), math.sin(across)])
    variance: Floats = (covariance @ toward) @ toward
    return variance


def _across(fit: WobbleFit, covariance: Floats) -> float:
    """Return the standard uncertainty there; NaN where nothing tells it."""
    told = np.isfinite(covariance).all()
    return math.sqrt(float(_across_squared(fit, covariance))) if told else math.nan


def _in_order(fit: WobbleFit, teeth: list[int]) -> list[int]:
    """Put the teeth in the order in which each step leaves least doubt."""
    given = _candidates(fit, len(teeth))
    ordered: list[int] = []
    rest = [int(place) for place in np.flatnonzero(np.isin(given.tooth, teeth))]
    while rest:
        # The first reading of a turn only sets its offset, so two are looked for together.
        step = 1 if ordered or len(rest) == 1 else 2
        steps = [list(one) for one in combinations(rest, step)]
        left = [round(float(_left(fit, given, np.array([*ordered, *one]))), 12) for one in steps]
        best = steps[left.index(min(left))]
        ordered += best
        rest = [place for place in rest if place not in best]
    return [int(given.tooth[place]) for place in ordered]


def _turns_needed(
    fit: WobbleFit, wanted: float
) -> tuple[int, int | None, tuple[int | None, float | None]]:
    """Return the turns so far, those needed in all, and the tooth with its probability now."""
    now = len(np.unique(fit.readings.turn[fit.in_fit]))
    marks = neutral_line(fit)
    if marks.neutral is None or marks.better_tooth is None:
        return now, None, (None, None)
    end = [mark.tooth for mark in marks.neutral].index(marks.better_tooth)

    mark = marks.neutral[end]
    if (mark.probability or 0.0) >= wanted:
        return now, now, (mark.tooth, mark.probability)
    low, high = 0, max(1, MOST_TURNS - now)
    if _promise(fit, end, wanted, high) < PROMISED:
        return now, None, (mark.tooth, mark.probability)
    while high - low > 1:
        middle = (low + high) // 2
        promised = _promise(fit, end, wanted, middle) >= PROMISED
        low, high = (low, middle) if promised else (middle, high)
    return now, now + high, (mark.tooth, mark.probability)


def _promise(fit: WobbleFit, end: int, wanted: float, more: int) -> float:
    """Return how probable it is that more full turns show a tooth with the wanted probability.

    They will move the direction: by as much as they take off its doubt.
    """
    ahead = _after_turns(fit, more)
    gained = math.sqrt(
        max(0.0, _across(fit, fit.covariance) ** 2 - _across(fit, ahead.covariance) ** 2)
    )
    off = gained * special.stdtrit(fit.dof, (np.arange(_CASES) + 0.5) / _CASES)
    value: Any = fit.value * (1 + 1j * off / fit.amplitude)
    many = Wobble(value, ahead.rounded_covariance[..., np.newaxis], ahead.dof)
    reached = ends_of(fit.readings.blade.angles_deg, many.near_deg)[2 * end + 1]
    return float(np.mean(reached.probability(many) >= wanted))


def _after_turns(fit: WobbleFit, more: int) -> Wobble:
    """Return the wobble as it would stand after more full turns that say the same."""
    tooth, rows, information, own_offset = _candidates(fit, 2)
    if not own_offset or fit.leak is not None:
        # Each turn is later than the one before, which a drift tells.
        return _ahead(fit, _read_on(fit, tooth, more))
    rows = rows - rows.mean(axis=0)
    whole = information + more * (rows.T @ rows)
    covariance = fit.reading_sd**2 * np.linalg.inv(whole)[-2:, -2:]
    covariance = covariance + float_covariance(fit.readings.end_float)
    return Wobble(fit.value, covariance, fit.dof + more * (len(rows) - 1), fit.rounding)


def _remarks(fit: WobbleFit, count: int, wanted: float, needed: int | None) -> list[str]:
    remarks = []
    if count == 1 and fit.drift_per_turn is None:
        remarks.append(
            "one reading in a turn of its own only sets that turn's offset: read two at least"
        )
    if not fit.resolved:
        remarks.append(
            "no direction is established: these teeth shrink the doubt in its worst direction, "
            "and no number of turns is promised"
        )
    elif needed is None:
        marks = neutral_line(fit)
        ends = marks.neutral or ()
        words = [mark.words for mark in ends if mark.tooth == marks.better_tooth]
        why = "rounding comes back in every turn, and " if np.any(fit.rounding) else ""
        remarks.append(
            f"{MOST_TURNS} turns would not promise {percent(wanted)}: {why}the direction may lie "
            f"near the middle between two teeth ({', '.join(words)}); work with the direction "
            "itself"
        )
    if np.any(fit.rounding):
        remarks.append(
            "the readings scatter by less than half a graduation: reading on repeats the same "
            "rounding, and a finer indicator would help more"
        )
    return remarks
