"""A single tooth that is bent shows in every turn: it is named, left out, and given its action."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from rigid_body import RigidBlade, readings_mm, tooth_angles_deg
from simulated import rng_for

import bladegeom as bg
from bladegeom.fit.many import fit_frame

TEETH, TOOTH, RING_MM, SD_MM = 40, 17, 110.0, 0.003
RAW = bg.Limits((bg.Limit("raw_tir", (0.22, "mm"), "invented for a test"),))


def read_mm(height_mm, turns=2, *, seed=1, tooth=TOOTH, only=None):
    """Readings of a tilted plate, one tooth of which stands off in every turn, or in one only."""
    plate = readings_mm(RigidBlade(tilt_deg=0.05, near_deg=140.0), tooth_angles_deg(TEETH), RING_MM)
    read = np.tile(plate, (turns, 1)) + rng_for(seed).normal(0, SD_MM, (turns, TEETH))
    read[slice(None) if only is None else only, tooth - 1] += height_mm
    return read


def readings(read, **facts):
    turns = len(read)
    return bg.Readings(
        bg.Blade(TEETH, name="X", diameter="254 mm"),
        read.ravel(),
        unit="mm",
        tooth=np.tile(np.arange(1, TEETH + 1), turns),
        turn=np.repeat(np.arange(1, turns + 1), TEETH),
        ring_radius=(RING_MM, "mm"),
        graduation="0.001 mm",
        **facts,
    )


def fit_of(height_mm, turns=2, surface="teeth", **more):
    return bg.fit_wobble(readings(read_mm(height_mm, turns, **more), surface=surface))


@pytest.mark.parametrize("height", [0.1, -0.05])
@pytest.mark.parametrize("turns", [2, 6])
def test_a_bent_tooth_is_named_with_its_side_and_height(height, turns):
    fit = fit_of(height, turns)
    (one,) = fit.standing
    assert (one.tooth, one.turns) == (TOOTH, turns)
    assert_allclose(one.height, height, atol=0.005)
    assert one.side == ("toward the indicator" if height > 0 else "away from the indicator")
    assert fit.mistake is None
    assert fit.warnings[0] in bg.blade_answer(fit)["warnings"]
    assert str(TOOTH) in fit.warnings[0]
    assert one.side in fit.warnings[0]


@pytest.mark.parametrize("tooth", [1, 17, 40])
def test_wobble_and_marks_are_found_without_it(tooth):
    """Left in, it would pull six turns by more than three times their doubt."""
    bent, straight = fit_of(0.1, 6, tooth=tooth), fit_of(0.0, 6, tooth=tooth)
    assert abs(bent.value - straight.value) < straight.amplitude_u
    assert bent.amplitude_u < 1.1 * straight.amplitude_u
    assert bent.raw_tir > straight.raw_tir or tooth != TOOTH
    assert bg.neutral_line(bent).neutral_teeth == bg.neutral_line(straight).neutral_teeth
    assert len(bent.residuals) == bent.in_fit.sum() == 6 * (TEETH - 1)


def test_what_only_one_turn_shows_is_a_slip_and_not_a_bent_tooth():
    fit = fit_of(0.1, 2, only=1)
    assert fit.standing == ()
    assert fit.mistake.teeth == (TOOTH,)


def test_a_bend_over_three_teeth_is_none_of_a_single_tooth():
    read = read_mm(0.0)
    read[:, TOOTH - 2 : TOOTH + 1] += np.array([0.06, 0.1, 0.06])
    assert bg.fit_wobble(readings(read)).standing == ()


def test_straight_teeth_are_hardly_ever_named():
    assert sum(bool(fit_of(0.0, seed=seed).standing) for seed in range(200)) <= 2


def test_an_uneven_plate_that_repeats_from_turn_to_turn_has_no_bent_tooth():
    named = 0
    for seed in range(200):
        uneven = rng_for(seed).normal(0, 0.02, TEETH)
        named += bool(bg.fit_wobble(readings(read_mm(0.0, 6, seed=seed) + uneven)).standing)
    assert named <= 2


def test_a_second_reading_of_that_tooth_alone_shows_it_too():
    once = readings(read_mm(0.1, 1))
    again = bg.Readings(
        once.blade,
        [*once.reading, once.reading[TOOTH - 1] + 0.002],
        unit="mm",
        tooth=[*once.tooth, TOOTH],
        turn=[*once.turn, 2],
        ring_radius=(RING_MM, "mm"),
        graduation="0.001 mm",
    )
    assert bg.fit_wobble(once).mistake.kind == "spike"
    fit = bg.fit_wobble(again)
    assert fit.mistake is None
    assert [one.tooth for one in fit.standing] == [TOOTH]


@pytest.mark.parametrize(
    ("surface", "action"),
    [("teeth", "straighten or replace the tooth"), ("plate", "level the plate")],
)
@pytest.mark.parametrize("turns", [2, 6])
def test_the_service_is_told_to_mend_it_and_not_to_measure_for_ever(surface, action, turns):
    said = bg.assess(fit_of(0.1, turns, surface), RAW)
    assert (said.action, said.outcome) == (action, "does not conform")
    assert (said.bend.first, said.bend.last) == (TOOTH, TOOTH)
    assert bg.assess(fit_of(0.0, turns, surface), RAW).action == "fit for use"


def test_a_bent_tooth_on_a_blade_that_is_tilted_too_far_is_no_reason_not_to_remount_it():
    tight = bg.Limits((*RAW.limits, bg.Limit("wobble_tir", (0.1, "mm"), "invented for a test")))
    assert bg.assess(fit_of(0.1), tight).action != "straighten or replace the tooth"


def test_a_table_of_many_blades_says_the_same():
    parts = []
    for at in range(30):
        one = readings(read_mm(0.02 if at % 3 == 0 else 0.0, seed=at))
        cells = {"blade": f"b{at}", "teeth": TEETH, "tooth": one.tooth, "turn": one.turn}
        parts.append(pd.DataFrame({**cells, "reading_mm": one.reading, "graduation_mm": 0.001}))
    table, refused = fit_frame(pd.concat(parts, ignore_index=True))
    assert not refused
    for at, amplitude in enumerate(table["amplitude"]):
        one = readings(read_mm(0.02 if at % 3 == 0 else 0.0, seed=at))
        assert_allclose(amplitude, bg.fit_wobble(one).amplitude, rtol=1e-9)
    named = table["warnings"].str.contains(f"tooth {TOOTH} ")
    assert named.tolist() == [at % 3 == 0 for at in range(30)]
