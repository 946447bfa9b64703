"""The kinds of mistakes, each tried in every place at once."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial
from typing import Any, NamedTuple

import numpy as np

from bladegeom.kernel.harmonics import Floats
from bladegeom.mistakes._design import OWN_OFFSET, Whole
from bladegeom.mistakes.trial import (
    DECADES,
    FALSE_ALARMS,
    LONE,
    WHOLE_COUNT,
    Base,
    Candidate,
    by_markov,
    from_each_on,
    likely_places,
    mean_evidence,
    refit,
)
from bladegeom.tables.counted import Counted

Found = Iterator[Candidate]


def single(base: Base) -> Iterator[Candidate]:
    """Try spike, lost minus and slipped decimal point of each reading; return the best of each."""
    read, e, norm = base.series.reading, base.e, np.diag(base.m)
    rows, least = np.arange(base.n), base.least_change

    def made(kind: str, evidence: Floats, rss: Floats, size: Floats, new: Floats | None) -> Found:
        best = int(np.argmax(evidence))
        chance = float(base.chance(rss[best])) * base.n / base.shares["single"]
        if not chance < FALSE_ALARMS:
            return
        mended = None
        if new is not None:
            mended = read.copy()
            mended[best] = new[best]
        yield Candidate(
            kind,
            rows[best : best + 1],
            float(evidence[best]) - math.log(base.n),
            chance,
            float(rss[best]),
            reading=mended,
            kept=rows != best if new is None else None,
            size=float(size[best]),
        )

    base.tried += 8 * base.n
    evidence, rss, size = base.free(e, norm)
    evidence = np.where(np.abs(size) > least, evidence, -math.inf)
    yield from made("spike", evidence, rss, size, None)
    rss = base.fixed(e, norm, -2 * read)
    evidence = np.where(np.abs(2 * read) > least, base.log_ratio(rss), -math.inf)
    yield from made("sign", evidence, rss, -2 * read, -read)
    factors, common = np.array([*DECADES.items()]).T[:, :, np.newaxis]
    change = read * (factors - 1)
    left = base.fixed(e, norm, change)
    likely = base.log_ratio(left) + np.where(base.counted, 0.0, np.log(factors)) + np.log(common)
    likely = np.where((np.abs(change) > least) & base.slipped, likely, -math.inf)
    for factor, evidence, rss in zip(DECADES, likely, left, strict=True):
        yield from made("scale", evidence, rss, np.full(base.n, factor), read * factor)


def swapped(base: Base) -> Iterator[Candidate]:
    """Try two readings that follow each other in a turn, each written in the other's place."""
    read, turn = base.series.reading, base.series.turn
    first = np.flatnonzero(turn[1:] == turn[:-1])
    if not len(first):
        return
    second = first + 1
    change = read[second] - read[first]
    norm = base.m[first, first] + base.m[second, second] - 2 * base.m[first, second]
    rss = base.fixed(base.e[first] - base.e[second], norm, change)
    base.tried += len(first)
    evidence = np.where(np.abs(change) > base.least_change, base.log_ratio(rss), -math.inf)
    best = int(np.argmax(evidence))
    chance = float(base.chance(rss[best])) * len(first) / base.shares["swapped"]
    if not chance < FALSE_ALARMS:
        return
    mended = read.copy()
    mended[[first[best], second[best]]] = read[[second[best], first[best]]]
    yield Candidate(
        "swapped",
        np.array([first[best], second[best]]),
        mean_evidence(evidence),
        chance,
        float(rss[best]),
        reading=mended,
        size=float(change[best]),
    )


def step(base: Base) -> Iterator[Candidate]:
    """Try a bump of the base: from some reading on, all lie higher or lower by the same."""
    runs = base.once("runs", partial(runs_of, base))
    if not runs:
        return
    along = [np.cumsum(base.e[rows][::-1])[::-1][2:-1] for rows, _ in runs]
    starts = [rows[2:-1] for rows, _ in runs]
    norm = [corner for _, corner in runs]
    groups = [np.full(len(rows) - 3, rows[-1]) for rows, _ in runs]
    start, end = np.concatenate(starts), np.concatenate(groups)
    evidence, rss, size = base.free(np.concatenate(along), np.concatenate(norm))
    evidence = np.where(np.abs(size) > base.least_change, evidence, -math.inf)
    best = int(np.argmax(evidence))
    base.tried += len(start)
    chance = float(base.chance(rss[best])) * len(start) / base.shares["step"]
    if not chance < FALSE_ALARMS:
        return
    yield Candidate(
        "step",
        np.arange(start[best], end[best] + 1),
        mean_evidence(evidence),
        chance,
        float(rss[best]),
        size=float(size[best]),
        places=start[likely_places(evidence)],
    )


def runs_of(base: Base) -> list[tuple[Whole, Floats]]:
    """Return the rows of each offset of enough, and c'Mc of all from the third on to the end."""
    runs = []
    for column in base.offsets.T:
        rows = np.flatnonzero(column)
        if len(rows) >= 2 * OWN_OFFSET:
            block = base.m[np.ix_(rows, rows)][::-1, ::-1]
            corner = np.diag(np.cumsum(np.cumsum(block, axis=0), axis=1))[::-1]
            runs.append((rows, corner[2:-1]))
    return runs


def otherwise(
    base: Base, units: tuple[float, ...], along: Floats, norm: Floats
) -> dict[str, tuple[Floats, Floats, Floats]]:
    """Return for another unit and decimal point the factors, sums of squares and evidence.

    These have the shape (factors, ..., n - 1), for each reading but the first from which on it
    may be so. `along` is c'e and `norm` is c'Mc of the readings from there on.
    """

    def first(values: Floats) -> Floats:
        return values.reshape(-1, *[1] * read.ndim)

    read = base.reading
    largest = np.maximum.accumulate(np.abs(read)[..., ::-1], axis=-1)[..., ::-1][..., 1:]
    # A single reading is no run, and 0 tells no unit.
    several = from_each_on(read != 0)[..., 1:] > 1
    usual = [place for place, common in enumerate(DECADES.values()) if common > 0.01]
    decades, common = np.array([*DECADES.items()])[usual].T
    of_units = np.array(units)
    tried: dict[str, tuple[Floats, Any, Any, Any]] = {
        "unit": (of_units, base.on_another_dial(of_units), -math.log(len(units)), True),
        "scale": (
            decades,
            from_each_on(~base.counted) * first(np.log(decades)),
            first(np.log(common)),
            from_each_on(~base.slipped[usual])[..., 1:] == 0,
        ),
    }
    found = {}
    for kind, (factors, stretched, prior, allowed) in tried.items():
        change = first(factors) - 1
        rss = base.fixed(along, norm, change)
        known = allowed & (largest * np.abs(change) > base.least_change) & several
        likely = base.log_ratio(rss) + stretched[..., 1:] + prior
        found[kind] = factors, rss, np.where(known, likely, -math.inf)
    return found


def onward(base: Base, units: tuple[float, ...]) -> Iterator[Candidate]:
    """Try another unit, or decimal point, from each reading on; return the best of each."""
    read = base.series.reading
    # The column of M (d y) for each first row: sums from the right.
    moved = from_each_on(base.m * read)[:, 1:]
    along, norm = base.e @ moved, np.sum(moved * moved, axis=0)
    start = np.arange(1, base.n)
    tried = otherwise(base, units, along, norm)
    for kind, (factors, rss, evidence) in tried.items():
        base.tried += len(factors) * len(start)
        which, best = np.unravel_index(int(np.argmax(evidence)), evidence.shape)
        mean = mean_evidence(evidence.ravel()) + math.log(len(factors))
        chance = by_markov(mean, base.shares["unit"] / len(tried))
        if not chance < FALSE_ALARMS:
            continue
        mended = read.copy()
        mended[start[best] :] *= factors[which]
        yield Candidate(
            kind,
            np.arange(start[best], base.n),
            mean,
            chance,
            float(rss[which, best]),
            reading=mended,
            size=float(factors[which]),
            places=start[likely_places(evidence[which])],
        )


def wrapped(base: Base, revolutions: tuple[float, ...]) -> Iterator[Candidate]:
    """Try to undo jumps of more than half a dial revolution from tooth to tooth."""
    read = base.series.reading
    base.tried += len(revolutions)
    best: Candidate | None = None
    largest = max(
        float(np.abs(np.diff(read[group])).max(initial=0.0)) for group in base.offsets.T > 0
    )
    for revolution in revolutions:
        if largest <= revolution / 2:
            continue
        mended = read.copy()
        jumps: list[int] = []
        times = 0.0
        for group in base.offsets.T > 0:
            smooth = np.unwrap(read[group], period=revolution)
            turns = np.round((smooth - read[group]) / revolution)
            if not turns.any():
                continue
            # The dial's setting is free: what leaves the smallest readings stays as it was read.
            settings = np.unique(turns)
            unwrapped = smooth - settings[:, np.newaxis] * revolution
            turns -= settings[np.argmin(np.abs(unwrapped).sum(axis=1))]
            mended[group] = read[group] + turns * revolution
            steps = np.abs(np.diff(turns))
            times += float(steps.sum())
            jumps += np.flatnonzero(group)[1:][steps > 0].tolist()
        rows = np.flatnonzero(mended != read)
        if not jumps:
            continue
        e = base.m @ (mended - base.middle)
        rss = float(e @ e) + base.floor
        lone = times == len(jumps) == 2 and jumps[1] == jumps[0] + 1
        evidence = (
            float(base.log_ratio(np.asarray(rss)))
            - math.log(2 * len(revolutions))
            # A jump of two revolutions is as rare as two jumps.
            - (math.log(base.n / LONE) if lone else times * math.log(base.n))
        )
        if best is None or evidence > best.evidence:
            best = Candidate(
                "wrap",
                rows,
                evidence,
                by_markov(evidence, base.shares["wrap"]),
                rss,
                reading=mended,
                size=float(np.sign(mended[rows[0]] - read[rows[0]])) * revolution,
            )
    if best is not None:
        yield best


class Shifts(NamedTuple):
    """All ways to count one tooth more or less from some reading on."""

    first: Whole  # From which reading on.
    prior: Floats
    labels: dict[str, Whole]  # Kind -> the teeth, one row each.


def shifts_of(series: Counted) -> Shifts:
    starts: list[int] = []
    labels: dict[str, list[Whole]] = {"doubled": [], "skipped": []}
    priors: list[float] = []
    for turn in np.unique(series.turn):
        rows = np.flatnonzero((series.turn == turn) & ~series.anchored)
        if len(rows) < 2 * OWN_OFFSET:
            continue
        strides = np.diff(series.label[rows]) % series.blade.teeth
        stride = int(strides[0]) if strides.min() == strides.max() else 1
        starts += rows[1:].tolist()
        whole = len(rows) >= series.blade.teeth and not series.extra
        priors += [math.log(WHOLE_COUNT) if whole else 0.0] * (len(rows) - 1)
        moved = np.zeros((len(rows) - 1, len(series.label)), dtype=np.int64)
        moved[:, rows[1:]] = np.tri(len(rows) - 1, dtype=np.int64).T * stride
        labels["doubled"].append(series.label - moved)
        labels["skipped"].append(series.label + moved)
    if series.off_by < 0 and starts:
        # Of a value too few, the last tooth may be the one passed over: nothing is moved then.
        labels["skipped"].append(series.label[np.newaxis])
    made = {kind: np.concatenate(several) for kind, several in labels.items() if several}
    return Shifts(np.array(starts, dtype=np.int64), np.array(priors), made)


def shifted(base: Base) -> Iterator[Candidate]:
    """Try a tooth read twice or passed over: from some reading on, the count is one off."""
    series = base.series
    if base.by_tooth:
        return
    key = (series.anchored.tobytes(), series.extra, series.off_by)
    shifts = base.design.once(("shifts", *key), partial(shifts_of, series))
    kinds = 1 if series.extra else 2
    for kind, table in shifts.labels.items():
        if kind == "skipped" and series.extra:
            return
        base.tried += len(table)
        rss, log_det, near = refit(base, table, (kind, *key))
        beyond = len(table) - len(shifts.first)
        first = np.append(shifts.first, np.full(beyond, base.n))
        ratio = base.log_ratio(rss)
        evidence = ratio - log_det / 2 + np.append(shifts.prior, np.zeros(beyond))
        best = int(np.argmax(evidence))
        e_value = mean_evidence(base.dof / base.n * ratio - log_det / 2)
        chance = by_markov(e_value, base.shares["shift"] / kinds)
        if not (chance < FALSE_ALARMS or series.off_by or series.extra):
            continue
        places = likely_places(evidence)
        same = series.turn == series.turn[min(first[best], base.n - 1)]
        rows = np.flatnonzero(same & (np.arange(base.n) >= first[best]) & ~series.anchored)
        turns = (near[places] - near[best] + 180.0) % 360.0 - 180.0
        yield Candidate(
            kind,
            rows,
            mean_evidence(evidence),
            chance,
            float(rss[best]),
            label=table[best],
            places=first[places],
            near_deg=(float(near[best] + turns.min()), float(near[best] + turns.max())),
        )


def counted_back(series: Counted) -> list[tuple[Whole, Whole]]:
    """Return the rows of each turn of several, and the labels with that one counted back."""
    turns, made = np.unique(series.turn), []
    for turn in turns if len(turns) > 1 else ():
        rows = np.flatnonzero(series.turn == turn)
        if len(rows) < OWN_OFFSET:
            continue
        label = series.label.copy()
        label[rows] = 2 * label[rows[0]] - label[rows] + 2 * series.blade.teeth
        made.append((rows, label))
    return made


def mirrored(base: Base) -> Iterator[Candidate]:
    """Try each turn counted the other way; a single turn cannot tell."""
    series = base.series
    made = [] if base.by_tooth else counted_back(series)
    if not made:
        return
    base.tried += len(made)
    rss, log_det, _ = refit(base, np.array([label for _, label in made]), "mirrored")
    for (rows, label), one, det in zip(made, rss, log_det, strict=True):
        ratio = float(base.log_ratio(one))
        e_value = base.dof / base.n * ratio - float(det) / 2 - math.log(len(made))
        yield Candidate(
            "mirrored",
            rows,
            ratio - float(det) / 2 - math.log(len(made)),
            by_markov(e_value, base.shares["mirrored"]),
            float(one),
            label=label,
        )
