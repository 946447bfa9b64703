"""A day of a sharpening service, simulated: no bad blade is passed, no good one condemned.

Plates are made here from their own shapes, read in two turns on ordinary dials that repeat to 0.3
of a step, and judged by `assess`; nothing of the package's own simulation takes part.
"""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

import numpy as np
import pytest
from simulated import rng_for

import bladegeom as bg

BLADES = 120
SLIPS = ("a lost minus", "a slipped point", "one tooth off", "another unit", "a bumped base")
KINDS = (
    *["good"] * 6,
    *["tilted", "saddled", "bent", "one tooth bent", "an arc unread", "a bend in the arc"],
    *["a drifting stand", *SLIPS],
)


class Judged(NamedTuple):
    """A blade of the day, what it truly is, and what was decided."""

    kind: str
    within: bool
    clear: bool
    outcome: str
    action: str


def shape(kind: str, teeth: int, limit: float, rng: np.random.Generator) -> np.ndarray:
    """Return the heights of a plate's rim."""
    at = 2 * np.pi * np.arange(teeth) / teeth
    plate = rng.uniform(0, 0.35) * limit * np.cos(at - rng.uniform(0, 2 * np.pi))
    if kind == "tilted":
        return rng.uniform(0.55, 1.2) * limit * np.cos(at - 1)
    if kind == "saddled":
        return plate / 2 + rng.uniform(0.45, 0.9) * limit * np.cos(2 * at + 1)
    if kind in ("bent", "a bend in the arc"):
        wide = max(4, teeth // 8) if kind == "bent" else teeth // 4
        bump = np.sin(np.pi * np.arange(1, wide + 1) / (wide + 1))
        plate[4 : 4 + wide] += rng.uniform(1.2, 2) * limit * bump
    if kind == "one tooth bent":
        plate[7] += rng.uniform(1.3, 2) * limit
    return plate


def slip(kind: str, read: np.ndarray, limit: float, step: float, rng: np.random.Generator) -> None:
    """Make a slip in one turn's readings."""
    teeth, far = len(read) - 1, int(np.abs(read[:-1]).argmax())
    if kind == "a lost minus":
        read[far] *= -1
    if kind == "a slipped point":
        read[far] *= 10
    if kind == "one tooth off":
        read[rng.integers(1, teeth)] += rng.choice([-1, 1]) * max(8 * step, 0.6 * limit)
    if kind == "another unit":
        read[teeth // 2 :] = np.round(read[teeth // 2 :] / 25.4, 4)
    if kind == "a bumped base":
        read[teeth // 2 :] += 0.8 * limit


def judged(kind: str, rng: np.random.Generator) -> Judged:
    """Read and judge a blade."""
    teeth, step = int(rng.integers(24, 97)), float(rng.choice([0.01, 0.0254]))
    limit = 8 * step * rng.uniform(1, 2)
    plate = shape(kind, teeth, limit, rng)
    drift = limit * rng.uniform(0.5, 1.2) if kind == "a drifting stand" else 0.0
    turns = [
        np.append(plate, plate[0])
        + rng.uniform(0, 0.3)
        + drift * np.arange(teeth + 1) / teeth
        + rng.normal(0, 0.3 * step, teeth + 1)
        for _ in (1, 2)
    ]
    turns = [np.round(turn / step) * step for turn in turns]
    slip(kind, turns[rng.integers(2)], limit, step, rng)
    tooth = np.tile(np.append(np.arange(1, teeth + 1), 1), 2)
    kept = np.ones(len(tooth), dtype=bool)
    if kind in ("an arc unread", "a bend in the arc"):
        kept = ~np.isin(tooth, np.arange(5, 5 + teeth // 4))
    readings = bg.Readings(
        bg.Blade(teeth, diameter="254 mm"),
        np.concatenate(turns)[kept],
        unit="mm",
        tooth=tooth[kept],
        turn=np.repeat([1, 2], teeth + 1)[kept],
        ring_radius="110 mm",
        graduation=(step, "mm"),
    )
    most = {"raw_tir": limit, "wobble_tir": 0.9 * limit}
    limits = bg.Limits(tuple(bg.Limit(what, (one, "mm"), "ours") for what, one in most.items()))
    said = bg.assess(bg.fit_wobble(readings), limits)
    at = np.exp(2j * np.pi * np.arange(teeth) / teeth)
    true = {"raw_tir": np.ptp(plate), "wobble_tir": 4 / teeth * abs(plate @ at)}
    shares = [true[what] / most[what] for what in most]
    return Judged(kind, max(shares) <= 1, max(shares) <= 0.75, said.outcome, said.action)


@pytest.fixture(scope="module")
def day() -> list[Judged]:
    rng = rng_for(20261127)
    return [judged(KINDS[place % len(KINDS)], rng) for place in range(BLADES)]


def test_no_bad_blade_is_passed_and_no_good_one_condemned(day):
    assert not [one for one in day if one.action == "fit for use" and not one.within]
    assert not [one for one in day if one.outcome == "does not conform" and one.within]


def test_every_slip_is_sent_back(day):
    slips = [one for one in day if one.kind in SLIPS]
    assert Counter(one.action for one in slips) == {"measure again": len(slips)}


def test_what_was_not_read_does_not_pass(day):
    assert not [one for one in day if "arc" in one.kind and one.action == "fit for use"]


def test_good_blades_that_were_read_whole_are_decided(day):
    good = [one for one in day if one.kind == "good" and one.clear]
    assert len(good) > BLADES / 5
    assert sum(one.action != "fit for use" for one in good) <= 0.1 * len(good)


def test_bad_plates_are_sent_where_they_are_mended(day):
    bent = [one.action for one in day if one.kind in ("bent", "one tooth bent")]
    assert set(bent) == {"level the plate"}
    saddled = Counter(one.action for one in day if one.kind == "saddled" and not one.within)
    assert saddled["to a sawsmith"] >= 0.7 * saddled.total()
