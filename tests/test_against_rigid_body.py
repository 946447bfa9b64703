"""Fit, marks and squareness against a plate turned with rotation matrices.

The simulation never uses the sinusoid nor the closed form of the squareness error, so every sign
and direction here is checked by geometry alone, to rounding error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rigid_body import (
    TOWARD_INDICATOR,
    UP,
    Numbering,
    RigidBlade,
    blade_angle_deg,
    blade_direction,
    chord_lean_deg,
    level_lean_deg,
    line_meets_plane,
    plate_normal,
    readings_mm,
    rotation,
    tooth_angles_deg,
    top_after_turning_deg,
    upright_lean_deg,
)
from simulated import PER_MM, simulated, turn_deg

import bladegeom as bg

RIM_MM = 127.0


@dataclass(frozen=True)
class Setup:
    """A plate on its arbor and how it is read."""

    teeth: int = 40
    pattern: str = "1"
    tilt_deg: float = 0.03
    near_deg: float = 199.83
    numbered: Numbering = "counterclockwise"
    ring_mm: float = 110.0
    touch_deg: float = 0.0
    unread: tuple[int, ...] = ()
    unit: str = "mm"

    @property
    def truth(self) -> RigidBlade:
        return RigidBlade(self.tilt_deg, self.near_deg, self.numbered)

    @property
    def tooth_deg(self) -> np.ndarray:
        return tooth_angles_deg(self.teeth, self.pattern)

    def __str__(self) -> str:
        """Name of the case: what differs from the usual setup."""
        usual = Setup()
        unusual = ", ".join(
            f"{one.name}={getattr(self, one.name)}"
            for one in fields(self)
            if getattr(self, one.name) != getattr(usual, one.name)
        )
        return unusual or "usual"

    def fit(self, **facts: Any) -> bg.WobbleFit:
        blade = bg.Blade(
            self.teeth,
            diameter=(2 * RIM_MM, "mm"),
            pitch_pattern=[float(gap) for gap in self.pattern.split()],
            numbered=self.numbered,
        )
        return bg.fit_wobble(
            simulated(
                self.truth,
                blade,
                self.tooth_deg,
                ring_mm=self.ring_mm,
                touch_deg=self.touch_deg,
                unit=self.unit,
                unread=self.unread,
                dial_zero_mm=0.3,
                **facts,
            )
        )


PITCHES = [
    (5, "1"),
    (8, "1"),
    (24, "1"),
    (40, "1"),
    (41, "1"),
    (43, "1"),
    (96, "1"),
    (24, "1 1.3"),
    (30, "1 0.8"),
    (50, "1 1 1 1 1.6"),
    (36, "1 1.1 1.2"),
    (7, "1 1.4 0.9 1 1.2 0.8 1.1"),
    (21, "1 1.4 0.9 1 1.2 0.8 1.1"),
]
SETUPS = [
    *(Setup(teeth, pattern) for teeth, pattern in PITCHES),
    *(
        Setup(teeth, pattern, tilt, near, numbered)
        for teeth, pattern in ((40, "1"), (43, "1"), (50, "1 1 1 1 1.6"))
        for tilt, near in ((0.001, 0.3), (0.2, 359.9), (1.0, 88.7), (10.0, 271.2))
        for numbered in ("clockwise", "counterclockwise")
    ),
    *(Setup(ring_mm=ring, tilt_deg=tilt) for ring in (20.0, 127.0) for tilt in (0.1, 10.0)),
    *(
        Setup(50, "1 1 1 1 1.6", near_deg=77.0, touch_deg=touch, numbered=numbered)
        for touch in (-3.5, 4.0, 181.0)
        for numbered in ("clockwise", "counterclockwise")
    ),
    *(
        Setup(teeth, pattern, unread=unread, touch_deg=2.0)
        for teeth, pattern, unread in (
            (40, "1", (1, 2, 17)),
            (41, "1", tuple(range(12, 30))),
            (50, "1 1 1 1 1.6", tuple(range(3, 26))),
        )
    ),
    *(Setup(43, unit=unit, tilt_deg=tilt) for unit in ("in", "thou") for tilt in (0.03, 10.0)),
    Setup(43, unit="um"),
]
setups = pytest.mark.parametrize("setup", SETUPS, ids=str)


@setups
def test_fit_finds_amplitude_direction_and_tilt(setup: Setup) -> None:
    fit = setup.fit()
    spots = [setup.near_deg, setup.near_deg + 180.0]
    millimetre = PER_MM[setup.unit]
    near, far = readings_mm(setup.truth, spots, setup.ring_mm) * millimetre
    rim, _ = readings_mm(setup.truth, spots, RIM_MM) * millimetre
    loose = max(1.0, 0.01 / setup.tilt_deg)  # A small wobble has lost digits to the offset.
    assert fit.resolved
    assert fit.unit == setup.unit
    assert_allclose(fit.amplitude, (near - far) / 2, rtol=1e-11 * loose)
    assert_allclose(fit.wobble_tir, near - far, rtol=1e-11 * loose)
    assert_allclose(fit.rim_amplitude, rim, rtol=1e-11 * loose)
    assert_allclose(fit.tilt_deg, setup.tilt_deg, rtol=1e-11 * loose)
    assert_allclose(turn_deg(setup.near_deg, fit.near_deg), 0.0, atol=1e-9 * loose)
    assert 0.0 <= fit.near_deg < 360.0
    assert_allclose(fit.offset, 0.3 * millimetre, rtol=1e-11)
    assert_allclose(fit.residuals, 0.0, atol=1e-12 * millimetre)


@setups
def test_fitted_curve_is_what_any_other_spot_would_read(setup: Setup) -> None:
    fit = setup.fit()
    spots = np.arange(-10.0, 400.0, 36.7)
    expected = readings_mm(setup.truth, spots, setup.ring_mm) + 0.3
    millimetre = PER_MM[setup.unit]
    assert_allclose(fit.height_at(spots), expected * millimetre, rtol=1e-11)


@setups
def test_marks_are_the_teeth_nearest_to_where_the_plate_stands_near_far_and_neutral(
    setup: Setup,
) -> None:
    fit = setup.fit()
    marks = bg.neutral_line(fit)
    assert marks.near is not None
    assert marks.far is not None
    assert marks.neutral is not None
    # Towards near the tilted plate's lines lean most; where they do not lean, it is neutral.
    first, second = marks.neutral
    assert_allclose(upright_lean_deg(setup.truth, marks.near.direction_deg), setup.tilt_deg)
    assert_allclose(upright_lean_deg(setup.truth, marks.far.direction_deg), -setup.tilt_deg)
    for end in marks.neutral:
        assert_allclose(upright_lean_deg(setup.truth, end.direction_deg), 0.0, atol=1e-9)
    # The first end comes a quarter turn after near in the direction in which the numbers grow.
    assert_allclose(turn_deg(marks.near.direction_deg, first.direction_deg), 90.0)
    assert_allclose(turn_deg(marks.near.direction_deg, second.direction_deg), -90.0)

    tips = [blade_direction(setup.truth, angle) for angle in setup.tooth_deg]
    for mark in (marks.near, marks.far, first, second):
        toward = blade_direction(setup.truth, mark.direction_deg)
        along = [float(tip @ toward) for tip in tips]
        assert mark.tooth == 1 + int(np.argmax(along))
        past = float(turn_deg(setup.tooth_deg[mark.tooth - 1], mark.direction_deg))
        assert_allclose(mark.past_deg, past, atol=1e-9)
        assert mark.past_mm is not None
        assert_allclose(mark.past_mm, math.radians(past) * RIM_MM, atol=1e-9)
        ahead = setup.tooth_deg[(mark.tooth - (0 if past > 0 else 2)) % setup.teeth]
        gap = abs(float(turn_deg(setup.tooth_deg[mark.tooth - 1], ahead)))
        assert_allclose(mark.past_pitch, past / gap, atol=1e-9)
        assert abs(mark.past_pitch) <= 0.5
        # Not told where so few are read, or so long an arc is not, that no scatter can be.
        if mark.probability is not None:
            assert_allclose(mark.probability, 1.0, rtol=1e-11)
    better = [end for end in marks.neutral if end.tooth == marks.better_tooth]
    assert abs(better[0].past_deg) <= min(abs(end.past_deg) for end in marks.neutral) + 1e-9


@setups
def test_line_through_the_marks_leans_as_stated(setup: Setup) -> None:
    fit = setup.fit()
    marks = bg.neutral_line(fit)
    assert marks.neutral is not None
    first, second = (float(setup.tooth_deg[end.tooth - 1]) for end in marks.neutral)
    lean = chord_lean_deg(setup.truth, first, second, RIM_MM)
    loose = max(1.0, 0.01 / setup.tilt_deg)
    assert marks.left_deg is not None
    assert_allclose(marks.left_deg, lean, rtol=1e-8, atol=1e-11 * setup.tilt_deg * loose)
    assert abs(lean) > 1e-7  # None of these blades is so even that signs would not show.

    tips = [
        line_meets_plane(RIM_MM * blade_direction(setup.truth, angle), TOWARD_INDICATOR, normal)
        for normal in [plate_normal(setup.truth)]
        for angle in (first, second)
    ]
    chord = blade_angle_deg(setup.truth, tips[0] - tips[1])
    assert marks.line_off_deg is not None
    assert_allclose(marks.line_off_deg, turn_deg(setup.near_deg + 90.0, chord), atol=1e-9 * loose)


@setups
def test_squareness_error_is_the_lean_of_the_turned_plate(setup: Setup) -> None:
    fit = setup.fit()
    away = np.array([-720.0, -180.0, -91.0, -30.0, -0.5, 0.0, 0.5, 12.0, 90.0, 135.0, 179.0, 400.0])
    expected = []
    for turn in away:
        top = top_after_turning_deg(setup.truth, setup.near_deg + 90.0, float(turn))
        expected.append(upright_lean_deg(setup.truth, top))
        assert_allclose(level_lean_deg(setup.truth, top), expected[-1], atol=1e-11)
    found = bg.squareness_error(fit, away)
    loose = max(1.0, 0.01 / setup.tilt_deg)
    assert_allclose(found, expected, rtol=1e-9, atol=1e-11 * setup.tilt_deg * loose)
    assert bg.squareness_error(fit, 30.0) > 0.0
    assert bg.squareness_error(fit, -30.0) < 0.0


@setups
def test_squareness_with_a_tooth_uppermost_is_the_lean_of_the_plate_standing_so(
    setup: Setup,
) -> None:
    fit = setup.fit()
    for tooth in {1, 2, setup.teeth // 3, setup.teeth}:
        result = bg.squareness(fit, tooth=tooth, span=(150.0, "mm"))
        lean = upright_lean_deg(setup.truth, float(setup.tooth_deg[tooth - 1]))
        assert_allclose(result.error_deg, lean, rtol=1e-8, atol=1e-9 * setup.tilt_deg)
        assert_allclose(
            result.gap.value, 150.0 * math.tan(math.radians(lean)), rtol=1e-8, atol=1e-10
        )
        top = top_after_turning_deg(setup.truth, setup.near_deg + 90.0, result.away_deg)
        assert_allclose(turn_deg(setup.tooth_deg[tooth - 1], top), 0.0, atol=1e-8)


@pytest.mark.parametrize("tilt_deg", [0.03, 1.0, 10.0])
def test_worst_rms_and_odds_are_those_of_the_plate_turned_all_round(tilt_deg: float) -> None:
    setup = Setup(43, tilt_deg=tilt_deg, near_deg=17.3)
    tolerance_deg = 0.4 * tilt_deg
    leans = np.array(
        [upright_lean_deg(setup.truth, float(top)) for top in np.arange(17.3, 377.3, 0.1)]
    )
    result = bg.squareness(setup.fit(), away_deg=5.0, tolerance_deg=tolerance_deg)
    assert_allclose(result.worst.value, np.abs(leans).max(), rtol=1e-9)
    assert_allclose(result.rms_deg, np.sqrt(np.mean(leans**2)), rtol=1e-9)
    # Counted on a grid of 3600 rotations, with four edges that may fall to either side.
    chance_out = np.mean(np.abs(leans) > tolerance_deg)
    assert_allclose(result.chance_out.value, chance_out, atol=4 / 3600)


@pytest.mark.parametrize("pitch", PITCHES, ids=str)
@pytest.mark.parametrize("tilt_deg", [0.03, 10.0])
def test_marking_leaves_no_more_than_the_coarser_neutral_tooth(
    pitch: tuple[int, str], tilt_deg: float
) -> None:
    for near_deg in (3.1, 100.7, 251.9, 333.3):
        setup = replace(Setup(*pitch), tilt_deg=tilt_deg, near_deg=near_deg)
        marks = bg.neutral_line(setup.fit())
        assert marks.neutral is not None
        assert marks.left_deg is not None
        worst_end = max(abs(end.past_deg) for end in marks.neutral)
        lean = upright_lean_deg(setup.truth, near_deg + 90.0 - worst_end)
        assert abs(marks.left_deg) <= lean * (1 + 1e-9)


def test_an_indicator_on_the_other_face_turns_every_lean_about_but_not_the_line() -> None:
    # Walk round to the other side of the same plate: half a turn about the vertical, and its normal
    # on that side is the other one. The numbers run the other way, near and far change places.
    front = RigidBlade(0.5, 199.83, "clockwise")
    behind = RigidBlade(0.5, 19.83, "counterclockwise")
    assert_allclose(plate_normal(behind), rotation(UP, 180.0) @ -plate_normal(front), atol=1e-12)
    setup = Setup(41, tilt_deg=0.5)
    marks = bg.neutral_line(replace(setup, numbered="clockwise").fit())
    seen_behind = bg.neutral_line(replace(setup, near_deg=19.83).fit())
    assert marks.near is not None
    assert marks.neutral is not None
    assert seen_behind.far is not None
    assert seen_behind.neutral is not None
    assert seen_behind.far.tooth == marks.near.tooth
    assert [end.tooth for end in seen_behind.neutral] == [
        end.tooth for end in reversed(marks.neutral)
    ]
