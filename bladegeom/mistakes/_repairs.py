"""The kinds of mistakes, each tried in every place at once."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from bladegeom.kernel.harmonics import Floats
from bladegeom.mistakes.trial import (
    DECADES,
    LONE,
    OWN_OFFSET,
    WHOLE_COUNT,
    Base,
    Candidate,
    Whole,
    by_markov,
    likely_places,
    mean_evidence,
    refit,
)


def single(base: Base) -> Iterator[Candidate]:
    """Try spike, lost minus and slipped decimal point of each reading; return the best of each."""
    read, e, norm = base.series.reading, base.e, np.diag(base.m)
    rows = np.arange(base.n)

    def made(kind: str, evidence: Floats, rss: Floats, size: Floats, new: Floats) -> Candidate:
        best = int(np.argmax(evidence))
        chance = float(base.chance(rss[best])) * base.n / base.shares["single"]
        mended = read.copy()
        mended[best] = new[best]
        return Candidate(
            kind,
            rows[best : best + 1],
            float(evidence[best]) - math.log(base.n),
            min(1.0, chance),
            float(rss[best]),
            reading=None if kind == "spike" else mended,
            kept=rows != best if kind == "spike" else None,
            size=float(size[best]),
        )

    base.tried += 8 * base.n
    evidence, rss, size = base.free(e, norm)
    evidence = np.where(np.abs(size) > base.least_change, evidence, -math.inf)
    yield made("spike", evidence, rss, size, read - size)
    rss = base.fixed(e, norm, -2 * read)
    big = np.abs(2 * read) > base.least_change
    yield made("sign", np.where(big, base.log_ratio(rss), -math.inf), rss, -2 * read, -read)
    for factor, common in DECADES.items():
        change = read * (factor - 1)
        rss = base.fixed(e, norm, change)
        evidence = base.log_ratio(rss) + base.stretched(factor) + math.log(common)
        big = (np.abs(change) > base.least_change) & base.on_grid(factor)
        yield made(
            "scale",
            np.where(big, evidence, -math.inf),
            rss,
            np.full(base.n, factor),
            read * factor,
        )


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
    mended = read.copy()
    mended[[first[best], second[best]]] = read[[second[best], first[best]]]
    yield Candidate(
        "swapped",
        np.array([first[best], second[best]]),
        mean_evidence(evidence),
        min(1.0, float(base.chance(rss[best])) * len(first) / base.shares["swapped"]),
        float(rss[best]),
        reading=mended,
        size=float(change[best]),
    )


def step(base: Base) -> Iterator[Candidate]:
    """Try a bump of the base: from some reading on, all lie higher or lower by the same."""
    starts, along, norm, groups = [], [], [], []
    for column in base.offsets.T:
        rows = np.flatnonzero(column)
        if len(rows) < 2 * OWN_OFFSET:
            continue
        block = base.m[np.ix_(rows, rows)][::-1, ::-1]
        corner = np.diag(np.cumsum(np.cumsum(block, axis=0), axis=1))[::-1]
        starts.append(rows[2:-1])
        along.append(np.cumsum(base.e[rows][::-1])[::-1][2:-1])
        norm.append(corner[2:-1])
        groups.append(np.full(len(rows) - 3, rows[-1]))
    if not starts:
        return
    start, end = np.concatenate(starts), np.concatenate(groups)
    evidence, rss, size = base.free(np.concatenate(along), np.concatenate(norm))
    evidence = np.where(np.abs(size) > base.least_change, evidence, -math.inf)
    best = int(np.argmax(evidence))
    base.tried += len(start)
    yield Candidate(
        "step",
        np.arange(start[best], end[best] + 1),
        mean_evidence(evidence),
        min(1.0, float(base.chance(rss[best])) * len(start) / base.shares["step"]),
        float(rss[best]),
        size=float(size[best]),
        places=start[likely_places(evidence)],
    )


def onward(base: Base, units: tuple[float, ...]) -> Iterator[Candidate]:
    """Try another unit, or decimal point, from each reading on; return the best of each."""
    read = base.series.reading
    # The column of M (d y) for each first row: sums from the right.
    moved = np.cumsum((base.m * read)[:, ::-1], axis=1)[:, ::-1][:, 1:]
    along, norm = base.e @ moved, np.sum(moved * moved, axis=0)
    start = np.arange(1, base.n)
    kinds = {
        "unit": dict.fromkeys(units, 1 / len(units)),
        "scale": {factor: common for factor, common in DECADES.items() if common > 0.01},
    }
    for kind, factors in kinds.items():
        base.tried += len(factors) * len(start)
        tables, left = [], []
        for factor, common in factors.items():
            rss = base.fixed(along, norm, factor - 1)
            if kind == "unit":
                stretched = base.on_another_dial(factor)[1:]
            else:
                stretched = np.cumsum(base.stretched(factor)[::-1])[::-1][1:]
            off = np.cumsum(~base.on_grid(factor)[::-1])[::-1][1:] if kind == "scale" else 0
            change = np.maximum.accumulate(np.abs(read * (factor - 1))[::-1])[::-1][1:]
            # A single reading is no run, and 0 tells no unit.
            several = np.cumsum((read != 0)[::-1])[::-1][1:] > 1
            known = (off == 0) & (change > base.least_change) & several
            likely = base.log_ratio(rss) + stretched + math.log(common)
            tables.append(np.where(known, likely, -math.inf))
            left.append(rss)
        evidence = np.array(tables)
        which, best = np.unravel_index(int(np.argmax(evidence)), evidence.shape)
        if evidence[which, best] == -math.inf:
            continue
        factor = [*factors][which]
        mended = read.copy()
        mended[start[best] :] *= factor
        mean = mean_evidence(evidence.ravel()) + math.log(len(factors))
        yield Candidate(
            kind,
            np.arange(start[best], base.n),
            mean,
            by_markov(mean, base.shares["unit"] / len(kinds)),
            float(left[which][best]),
            reading=mended,
            size=factor,
            places=start[likely_places(evidence[which])],
        )


def wrapped(base: Base, revolutions: tuple[float, ...]) -> Iterator[Candidate]:
    """Try to undo jumps of more than half a dial revolution from tooth to tooth."""
    read = base.series.reading
    base.tried += len(revolutions)
    best: Candidate | None = None
    for revolution in revolutions:
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


def shifted(base: Base) -> Iterator[Candidate]:
    """Try a tooth read twice or passed over: from some reading on, the count is one off."""
    series = base.series
    if base.by_tooth:
        return
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
        moved = np.zeros((len(rows) - 1, base.n), dtype=np.int64)
        moved[:, rows[1:]] = np.tri(len(rows) - 1, dtype=np.int64).T * stride
        labels["doubled"].append(series.label - moved)
        labels["skipped"].append(series.label + moved)
    if series.off_by < 0 and starts:
        # Of a value too few, the last tooth may be the one passed over: nothing is moved then.
        labels["skipped"].append(series.label[np.newaxis])
    kinds = 1 if series.extra else 2
    for kind, made in labels.items():
        if not made or (kind == "skipped" and series.extra):
            return
        table = np.concatenate(made)
        base.tried += len(table)
        rss, log_det, near = refit(base, table)
        beyond = len(table) - len(starts)
        first = np.array([*starts, *[base.n] * beyond])
        evidence = base.log_ratio(rss) - log_det / 2 + np.array([*priors, *[0.0] * beyond])
        best = int(np.argmax(evidence))
        places = likely_places(evidence)
        same = series.turn == series.turn[min(first[best], base.n - 1)]
        rows = np.flatnonzero(same & (np.arange(base.n) >= first[best]) & ~series.anchored)
        e_value = mean_evidence(base.dof / base.n * base.log_ratio(rss) - log_det / 2)
        turns = (near[places] - near[best] + 180.0) % 360.0 - 180.0
        yield Candidate(
            kind,
            rows,
            mean_evidence(evidence),
            by_markov(e_value, base.shares["shift"] / kinds),
            float(rss[best]),
            label=table[best],
            places=first[places],
            near_deg=(float(near[best] + turns.min()), float(near[best] + turns.max())),
        )


def mirrored(base: Base) -> Iterator[Candidate]:
    """Try each turn counted the other way; a single turn cannot tell."""
    series = base.series
    if base.by_tooth:
        return
    turns = np.unique(series.turn)
    if len(turns) < 2:
        return
    made = []
    for turn in turns:
        rows = np.flatnonzero(series.turn == turn)
        if len(rows) < OWN_OFFSET:
            continue
        label = series.label.copy()
        label[rows] = 2 * label[rows[0]] - label[rows] + 2 * series.blade.teeth
        made.append((rows, label))
    if not made:
        return
    base.tried += len(made)
    rss, log_det, _ = refit(base, np.array([label for _, label in made]))
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
