"""A closing reading: a steady stand is let alone, a stand that moved is told where it matters.

Readings are made of a wobble, noise, a steady drift of the stand, and the dial's rounding. The
check for mistakes has an error rate of its own and is left out, but where it is what is tested.
"""

from __future__ import annotations

import numpy as np
import pytest
from simulated import rng_for

import bladegeom as bg

SD, TIR = 0.003, 0.1


def read(teeth, turns, step, rng, *, drift=0.0, near=None, stated=True, closed=True):
    """Readings in mm, every turn closed; the stand drifts by so many mm in a turn."""
    tooth = np.append(np.arange(1, teeth + 1), [1] if closed else [])
    near = rng.uniform(0, 2 * np.pi) if near is None else near
    plate = TIR / 2 * np.cos(2 * np.pi * (tooth - 1) / teeth - near) + rng.uniform(0, step)
    ramp = drift * np.arange(len(tooth)) / teeth
    values = np.tile(plate + ramp, turns) + rng.normal(0, SD, turns * len(tooth))
    return bg.Readings(
        bg.Blade(teeth),
        reading_mm=np.round(values / step) * step,
        tooth=np.tile(tooth, turns),
        turn=np.repeat(np.arange(1, turns + 1), len(tooth)),
        ring_radius_mm=100.0,
        graduation_mm=step if stated else None,
    )


def test_one_step_of_a_dial_is_no_evidence_though_the_step_is_not_stated():
    read = np.zeros(40)
    read[20] = 0.01

    def warned(closing):
        given = bg.Readings(bg.Blade(40), reading_mm=[*read, closing])
        return any("closing reading differs" in one for one in bg.fit_wobble(given).warnings)

    assert not warned(0.01)
    assert warned(0.03)


@pytest.mark.parametrize("drift", np.linspace(-0.03, 0.03, 13))
def test_a_drift_is_fitted_where_and_only_where_it_is_warned_of(drift):
    readings = read(40, 1, 0.0005, rng_for(75), drift=drift)
    warned = any("closing reading differs" in one for one in bg.fit_wobble(readings).warnings)
    if warned:
        assert bg.fit_wobble(readings, drift=True).drift_per_turn == pytest.approx(drift, abs=0.012)
    else:
        with pytest.raises(bg.RefusedError, match="drift is not shown"):
            bg.fit_wobble(readings, drift=True)


def test_every_closed_turn_counts():
    """Two turns that miss by as much, each alone within the scatter, show it together."""
    size = 3.2 * SD  # Allowed in one turn: 2.7 sqrt 2 = 3.8; of the mean of two: 2.7.

    def warned(first, second):
        readings = read(80, 2, 0.0001, rng_for(77), closed=False)
        heights = readings.reading.reshape(2, 80)
        closed = [
            np.append(turn, turn[0] + by) for turn, by in zip(heights, (first, second), strict=True)
        ]
        both = bg.Readings(
            bg.Blade(80),
            reading_mm=np.concatenate(closed),
            tooth=np.tile(np.append(np.arange(1, 81), 1), 2),
            turn=np.repeat([1, 2], 81),
        )
        return any("closing reading differs" in one for one in bg.fit_wobble(both).warnings)

    assert warned(size, size)
    assert not warned(size, -size)
