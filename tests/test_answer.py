"""The whole answer for one blade: the keys that others build on."""

from __future__ import annotations

import json
import math

import pytest
from numpy.testing import assert_allclose
from simulated import rng_for, wave

import bladegeom as bg

NOISE = rng_for(43).normal(0.0, 0.003, 40)

STATED_KEYS = {
    "blade": str,
    "teeth": int,
    "unit": str,
    "readings": int,
    "offset": float,
    "amplitude": float,
    "amplitude_u": float,
    "amplitude_low": float,
    "amplitude_high": float,
    "near_deg": float,
    "near_u_deg": float,
    "wobble_tir": float,
    "raw_tir": float,
    "tilt_deg": float,
    "resolved": bool,
    "p_value": float,
    "near_tooth": int,
    "far_tooth": int,
    "neutral_teeth": list,
    "neutral_probability": list,
    "worst_squareness_deg": float,
    "warnings": list,
}
"""Promised keys -> type of the value where everything is established."""

DIRECTIONS = (
    "near_deg",
    "near_u_deg",
    "near_low_deg",
    "near_high_deg",
    "near_tooth",
    "near_probability",
    "far_tooth",
    "far_probability",
    "neutral_teeth",
    "neutral_deg",
    "neutral_probability",
    "neutral_past_deg",
    "neutral_past_pitch",
    "neutral_past_mm",
    "better_tooth",
    "line_off_deg",
    "left_deg",
)
"""What is None where no direction is established."""


def fitted(amplitude: float, **facts: object) -> bg.WobbleFit:
    return bg.fit_wobble(wave(40, amplitude, 56.0, NOISE, **facts))


def test_every_promised_key_is_there_with_its_type() -> None:
    answer = bg.blade_answer(fitted(0.02))
    for key, kind in STATED_KEYS.items():
        assert type(answer[key]) is kind, key
    assert [type(one) for one in answer["neutral_teeth"]] == [int, int]
    assert [type(one) for one in answer["neutral_probability"]] == [float, float]


def test_answer_is_plain_enough_for_json() -> None:
    for amplitude in (0.02, 0.0):
        answer = bg.blade_answer(fitted(amplitude))
        assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    still = bg.blade_answer(bg.fit_wobble(wave(40, 0.0, 0.0)))
    assert json.loads(json.dumps(still, allow_nan=False)) == still
    assert still["amplitude_u"] is still["amplitude_high"] is None
    assert still["worst_squareness_deg"] is None


def test_neutral_pair_is_the_quarter_turn_after_near_and_then_the_one_before() -> None:
    fit = fitted(0.02)
    answer = bg.blade_answer(fit)
    blade = fit.readings.blade
    assert answer["near_tooth"] == blade.nearest_tooth(fit.near_deg)
    assert answer["far_tooth"] == blade.nearest_tooth(fit.near_deg + 180.0)
    assert answer["neutral_teeth"] == [
        blade.nearest_tooth(fit.near_deg + 90.0),
        blade.nearest_tooth(fit.near_deg + 270.0),
    ]
    assert_allclose(
        answer["neutral_deg"], [(fit.near_deg + 90.0) % 360.0, (fit.near_deg + 270.0) % 360.0]
    )
    marks = bg.neutral_line(fit)
    assert marks.neutral is not None
    assert answer["neutral_probability"] == [end.probability for end in marks.neutral]
    assert answer["neutral_past_mm"] == [end.past_mm for end in marks.neutral]


def test_limits_and_uncertainties_are_those_of_the_fit() -> None:
    fit = fitted(0.02)
    answer = bg.blade_answer(fit)
    low, high, _ = fit.amplitude_interval(0.95)
    assert (answer["amplitude_low"], answer["amplitude_high"]) == (low, high)
    near_low, near_high, _ = fit.near_interval(0.95)
    assert (answer["near_low_deg"], answer["near_high_deg"]) == (near_low, near_high)
    assert answer["amplitude_u"] == fit.amplitude_u
    assert answer["near_u_deg"] == fit.near_u_deg
    assert answer["wobble_tir"] == 2 * answer["amplitude"]
    assert answer["worst_squareness_deg"] == answer["tilt_deg"] == fit.tilt_deg


def test_nothing_that_needs_a_direction_is_answered_without_one() -> None:
    fit = fitted(0.0)
    assert not fit.resolved
    answer = bg.blade_answer(fit)
    for key in DIRECTIONS:
        assert answer[key] is None, key
    assert answer["resolved"] is False
    assert answer["amplitude"] > 0.0
    assert answer["amplitude_low"] == 0.0
    assert answer["tilt_deg"] == fit.tilt_deg
    worst = math.degrees(math.atan(answer["amplitude_high"] / 100.0))
    assert_allclose(answer["worst_squareness_deg"], worst)
    assert worst > answer["tilt_deg"]


def test_resolved_and_unresolved_blades_answer_under_the_same_keys_in_the_same_order() -> None:
    sure, unsure = bg.blade_answer(fitted(0.02)), bg.blade_answer(fitted(0.0))
    bare = bg.blade_answer(fitted(0.02, ring_radius=None))
    assert list(sure) == list(unsure) == list(bare)
    assert list(sure)[-1] == "warnings"
    for key in DIRECTIONS:
        assert sure[key] is not None, key


def test_angles_of_the_plate_need_a_ring_radius() -> None:
    answer = bg.blade_answer(fitted(0.02, ring_radius=None))
    for key in ("tilt_deg", "tilt_u_deg", "left_deg", "worst_squareness_deg", "rim_amplitude"):
        assert answer[key] is None, key
    assert answer["neutral_teeth"] is not None


@pytest.mark.parametrize("amplitude", [0.02, 0.0])
def test_frames_hold_what_the_dicts_hold_with_pairs_as_two_columns(amplitude: float) -> None:
    fit = fitted(amplitude)
    for result in (fit, bg.neutral_line(fit), bg.squareness(fit, tooth=7, span=(100.0, "mm"))):
        frame, values = result.to_frame(), result.to_dict()
        assert len(frame) == 1
        columns = {name: frame[name].tolist()[0] for name in frame}
        for key, value in values.items():
            if key.startswith("neutral_"):
                name = "neutral_tooth" if key == "neutral_teeth" else key
                pair = [columns.pop(f"{name}_1"), columns.pop(f"{name}_2")]
                assert pair == (value or [None, None]), key
            elif key == "warnings":
                assert columns.pop(key) == "; ".join(value)
            else:
                assert columns.pop(key) == value, key
        assert not columns


def test_warnings_are_a_list_of_texts() -> None:
    assert bg.blade_answer(fitted(0.02))["warnings"] == []
    (said,) = bg.blade_answer(fitted(0.0))["warnings"]
    assert "no direction is established" in said
