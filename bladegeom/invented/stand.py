"""An invented stand: what its dial shows of an invented blade."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from bladegeom.invented.asked import count, parts_of, size
from bladegeom.invented.course import Course, lag
from bladegeom.invented.key import AnswerKey, Floats, Hidden, Planted, total
from bladegeom.invented.slips import on_the_dial


class Stand(NamedTuple):
    """How the readings are taken; lengths in `unit`.

    Attributes
    ----------
    unit : {"mm", "in", "thou", "um"}
    noise_sd, graduation : float
        Repeatability before a reading is rounded; 0 where nothing is rounded.
    touch_deg, play, drift : float
        As `simulate` takes them.
    gum : (tooth, height) or None
        Of the plate where that tooth is touched.
    """

    unit: str
    noise_sd: float
    graduation: float
    touch_deg: float
    play: float
    drift: float
    gum: tuple[int, float] | None


def on_the_stand(
    hidden: Hidden,
    stand: Stand,
    run: Course,
    place: tuple[int, float, float, complex],
    zero: float,
    bump: tuple[int, float] | None,
    noise: np.random.Generator,
) -> tuple[AnswerKey, Floats]:
    """Return the key to one set, and what the dial showed.

    Parameters
    ----------
    hidden : Hidden
    stand : Stand
    run : Course
    place : tuple
        Number of the mounting, clock position, ring radius, and how the blade sits.
    zero : float
        What the dial shows where the plate has no height.
    bump : (reading, height) or None
    noise : numpy.random.Generator

    Returns
    -------
    key : AnswerKey
        Without what the person may do to the numbers.
    dial : ndarray, shape (n,)

    Raises
    ------
    RefusedError
    """
    mount, clock, ring, seat = place
    n, blade = len(run.tooth), hidden.blade

    def height_at(at_deg: Floats) -> Floats:
        heights = hidden.heights(ring, at_deg + stand.touch_deg, clock, seat)
        return total(heights)

    parts = {"dial_zero": np.full(n, zero)}
    parts |= hidden.heights(ring, run.at_deg + stand.touch_deg, clock, seat)
    planted = [*run.planted, *_standing(hidden, seat)]
    if hidden.bend is not None:
        rows = np.flatnonzero(parts["bend"])
        bend = _touching("bend", run, rows, hidden.bend.height)
        first = hidden.bend.first
        along = sorted(bend.teeth, key=lambda tooth: (tooth - first) % blade.teeth)
        planted.append(bend._replace(teeth=tuple(along)))
    if stand.gum is not None:
        tooth, height = stand.gum
        rows = np.flatnonzero(run.tooth == tooth)
        parts["spike"] = np.where(run.tooth == tooth, height, 0.0)
        planted.append(_touching("spike", run, rows, height))
    if stand.play:
        parts["play"] = lag(run, height_at, stand.play)
        planted.append(Planted("play", (), (), stand.play))
    if stand.drift:
        parts["drift"] = stand.drift * np.arange(n) / blade.teeth
        planted.append(Planted("drift", (), (), stand.drift))
    if bump is not None:
        after, height = parts_of("bump", bump, "reading, height")
        after, height = count("bump", after, 1, n - 1), size("bump", height)
        parts["step"] = np.where(np.arange(n) >= after, height, 0.0)
        planted.append(_touching("step", run, np.arange(after, n), height))
    parts["noise"] = stand.noise_sd * noise.standard_normal(n)
    exact = total(parts)
    dial = on_the_dial(exact, stand.graduation)
    parts["rounding"] = dial - exact
    key = AnswerKey(
        hidden,
        stand.unit,
        mount,
        clock,
        ring,
        seat,
        stand.touch_deg,
        stand.noise_sd,
        stand.graduation,
        tuple(planted),
        parts,
        run.tooth,
    )
    return key, dial


def _standing(hidden: Hidden, seat: complex) -> list[Planted]:
    """Return the planted faults that touch every reading."""
    heights = {
        "dish": hidden.dish,
        "saddle": hidden.saddle,
        "flange": 2 * abs(hidden.flange),
        "seating": 2 * abs(seat),
    }
    return [Planted(kind, (), (), height) for kind, height in heights.items() if height]


def _touching(kind: str, run: Course, rows: Any, height: float) -> Planted:
    teeth = tuple(dict.fromkeys(run.tooth[rows].tolist()))
    return Planted(kind, teeth, tuple((rows + 1).tolist()), height)
