"""The teeth to mark: names, ties, words, and what is said where no wobble is established."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from simulated import rng_for, wave

import bladegeom as bg

NOISE = rng_for(41).normal(0.0, 0.003, 40)


def marks_at(near_deg: float, teeth: int = 40, **facts: object) -> bg.NeutralLine:
    """Teeth to mark of a blade read without noise."""
    return bg.neutral_line(bg.fit_wobble(wave(teeth, 0.02, near_deg, **facts)))


def named(marks: bg.NeutralLine) -> list[int]:
    """Near, first neutral, far and second neutral tooth."""
    assert marks.near is not None
    assert marks.far is not None
    assert marks.neutral is not None
    return [marks.near.tooth, marks.neutral[0].tooth, marks.far.tooth, marks.neutral[1].tooth]


@pytest.mark.parametrize(
    ("near_deg", "teeth", "expected"),
    [
        # 40 teeth, 9 degrees apart, a quarter turn is ten of them.
        (0.0, 40, [1, 11, 21, 31]),
        (54.0, 40, [7, 17, 27, 37]),
        (57.0, 40, [7, 17, 27, 37]),
        (59.0, 40, [8, 18, 28, 38]),
        (355.0, 40, [40, 10, 20, 30]),
        (359.9, 40, [1, 11, 21, 31]),
        # 5 teeth, 72 degrees apart: 10, 100, 190, 280 degrees.
        (10.0, 5, [1, 2, 4, 5]),
        # 41 teeth, 8.78 degrees apart: 100, 190, 280, 10 degrees are 11.4, 21.6, 31.9, 1.1 gaps.
        (100.0, 41, [12, 23, 33, 2]),
    ],
)
def test_marks_by_hand(near_deg: float, teeth: int, expected: list[int]) -> None:
    assert named(marks_at(near_deg, teeth)) == expected


@pytest.mark.parametrize("turns", [-360.0, 360.0])
def test_a_whole_turn_more_marks_the_same_teeth(turns: float) -> None:
    assert named(marks_at(123.4 + turns)) == named(marks_at(123.4))


@pytest.mark.parametrize(
    ("near_tooth", "expected"),
    [
        # 6 teeth, 60 degrees apart: a quarter turn lands half-way between two; the lower is named.
        (1, [1, 2, 4, 5]),
        (2, [2, 3, 5, 1]),
        (3, [3, 4, 6, 1]),
        (6, [6, 1, 3, 4]),
    ],
)
def test_half_way_between_two_teeth_the_lower_number_is_named(
    near_tooth: int, expected: list[int]
) -> None:
    marks = bg.neutral_line_by_eye(bg.Blade(6), near_tooth)
    assert named(marks) == expected
    assert marks.neutral is not None
    for end in marks.neutral:
        assert_allclose(abs(end.past_pitch), 0.5)
        assert "half way to" in end.words


def test_rounding_does_not_choose_between_two_teeth() -> None:
    # 22 teeth: near on a tooth, the neutral directions half-way between two, but for rounding.
    for tooth in range(1, 23):
        near_deg = 360.0 * (tooth - 1) / 22
        by_eye = bg.neutral_line_by_eye(bg.Blade(22), tooth)
        for noise in (0.0, 1e-14):
            assert named(marks_at(near_deg + noise, 22)) == named(by_eye)


def test_past_is_counted_with_the_numbers_and_as_part_of_its_own_gap() -> None:
    # Gaps of 60, 80, 100 and 120 degrees.
    blade = bg.Blade(4, pitch_pattern=[3, 4, 5, 6], diameter="200 mm")
    marks = bg.neutral_line_by_eye(blade, 1)
    assert named(marks) == [1, 2, 3, 4]  # At 0, 60, 140 and 240 degrees.
    assert marks.neutral is not None
    assert marks.far is not None
    first, second = marks.neutral
    assert_allclose([first.past_deg, marks.far.past_deg, second.past_deg], [30.0, 40.0, 30.0])
    assert_allclose(
        [first.past_pitch, marks.far.past_pitch, second.past_pitch], [30 / 80, 0.4, 0.25]
    )
    assert first.past_mm is not None
    assert_allclose(first.past_mm, 100.0 * math.radians(30.0))
    assert marks.better_tooth == 2


def test_a_direction_before_its_tooth_counts_back_on_the_gap_before() -> None:
    blade = bg.Blade(4, pitch_pattern=[3, 4, 5, 6])
    marks = bg.neutral_line_by_eye(blade, 2)  # 60, 150, 240 and 330 degrees.
    assert named(marks) == [2, 3, 4, 1]
    assert marks.neutral is not None
    assert_allclose([end.past_deg for end in marks.neutral], [10.0, -30.0])
    assert_allclose([end.past_pitch for end in marks.neutral], [0.1, -0.25])
    assert [end.words for end in marks.neutral] == [
        "tooth 3, a tenth of the way to 4",
        "tooth 1, a quarter of the way to 4",
    ]
    assert marks.better_tooth == 3
    assert marks.neutral[0].past_mm is None


@pytest.mark.parametrize(
    ("part", "words"),
    [
        (0.0, "tooth 40"),
        (0.04, "tooth 40"),
        (0.1, "tooth 40, a tenth of the way to 1"),
        (0.19, "tooth 40, a fifth of the way to 1"),
        (0.26, "tooth 40, a quarter of the way to 1"),
        (0.34, "tooth 40, a third of the way to 1"),
        (0.41, "tooth 40, two fifths of the way to 1"),
        (0.49, "tooth 40, half way to 1"),
        (-0.34, "tooth 40, a third of the way to 39"),
        (0.66, "tooth 1, a third of the way to 40"),
        (1.34, "tooth 1, a third of the way to 2"),
    ],
)
def test_words_for_how_far_past_a_tooth(part: float, words: str) -> None:
    near = marks_at(9.0 * (39 + part)).near
    assert near is not None
    assert near.words == words


def test_instructions_count_teeth_the_way_the_numbers_grow() -> None:
    marks = marks_at(9.0 * 35)
    assert marks.instructions[0] == "Mark teeth 6 and 26: the neutral line."
    assert "From tooth 36 (near) count 10 teeth to 6, 20 to 16 (far), 30 to 26." in (
        marks.instructions
    )
    assert any("teeth 6 and 26 one above the other" in one for one in marks.instructions)
    assert str(marks).startswith("Blade: teeth to mark\n  Mark teeth 6 and 26")


def test_the_line_through_opposite_marks_is_off_by_what_lies_past_them() -> None:
    marks = marks_at(2.0)
    # The first mark lies 2 degrees before its direction, against the numbers.
    assert marks.line_off_deg is not None
    assert marks.left_deg is not None
    assert marks.worst_deg is not None
    assert_allclose(marks.line_off_deg, -2.0)
    # So the blade stands as if turned 2 degrees with the numbers: its upper end leans near.
    assert_allclose(
        math.tan(math.radians(marks.left_deg)),
        math.tan(math.radians(marks.worst_deg)) * math.sin(math.radians(2.0)),
    )


def test_the_line_through_marks_that_are_not_opposite_runs_half_way() -> None:
    # Tooth tips at 120 and 240 of three: their chord stands at right angles to tooth 1.
    marks = bg.neutral_line_by_eye(bg.Blade(3), 1)
    assert named(marks)[1::2] == [2, 3]
    assert marks.line_off_deg is not None
    assert_allclose(marks.line_off_deg, 0.0, atol=1e-12)


def test_a_line_that_is_not_off_is_not_off_by_minus_zero() -> None:
    assert "-0.0000" not in str(marks_at(54.0))


def test_marks_by_eye_claim_no_certainty_and_no_degrees() -> None:
    marks = bg.neutral_line_by_eye(bg.Blade(40, name="A-40"), 7)
    values = marks.to_dict()
    assert values["near_tooth"] == 7
    assert values["neutral_teeth"] == [17, 37]
    for key in (
        "near_probability",
        "neutral_probability",
        "left_deg",
        "worst_squareness_deg",
        "neutral_past_mm",
    ):
        assert values[key] is None
    assert values["neutral_past_deg"] == [0.0, 0.0]
    assert "sure" not in str(marks)
    assert str(marks).startswith("Blade A-40: teeth to mark")


@pytest.mark.parametrize("tooth", [0, 41, 3.5])
def test_a_near_tooth_that_the_blade_does_not_have_is_refused(tooth: float) -> None:
    with pytest.raises(bg.RefusedError, match=f"tooth {tooth} on a 40-tooth blade"):
        bg.neutral_line_by_eye(bg.Blade(40), tooth)  # type: ignore[arg-type]


def test_without_a_ring_radius_teeth_are_named_without_degrees() -> None:
    marks = marks_at(54.0, ring_radius=None)
    assert named(marks) == [7, 17, 27, 37]
    assert marks.left_deg is marks.worst_deg is None
    assert "out of square" not in str(marks)


@pytest.mark.parametrize("ring", [None, 100.0])
def test_no_teeth_are_named_where_no_wobble_is_established(ring: float | None) -> None:
    fit = bg.fit_wobble(wave(40, 0.0, 0.0, NOISE, ring_radius=(ring, "mm")))
    marks = bg.neutral_line(fit)
    assert not fit.resolved
    assert marks.near is marks.far is marks.neutral is marks.better_tooth is None
    assert marks.line_off_deg is marks.left_deg is None
    (said,) = marks.instructions
    assert said.startswith("No teeth to mark: no wobble is established.")
    assert marks.any_rotation is (ring is not None)
    if ring is None:
        assert marks.worst_deg is None
        assert "cannot tell" in said
    else:
        worst = math.degrees(math.atan(fit.amplitude_interval().high / ring))
        assert marks.worst_deg is not None
        assert_allclose(marks.worst_deg, worst)
        assert f"at worst the plate is {worst:.2g} deg out of square" in said


def test_a_worst_case_is_never_printed_as_zero() -> None:
    noise = rng_for(6).normal(0.0, 1e-6, 40)
    marks = bg.neutral_line(bg.fit_wobble(wave(40, 0.0, 0.0, noise)))
    assert marks.worst_deg is not None
    assert 0 < marks.worst_deg < 1e-5
    assert " 0.000 deg" not in marks.instructions[0]


def test_a_still_dial_without_a_graduation_promises_no_worst_case() -> None:
    marks = bg.neutral_line(bg.fit_wobble(wave(40, 0.0, 0.0)))
    assert marks.worst_deg is None
    assert not marks.any_rotation
    assert "cannot tell" in marks.instructions[0]


def test_a_tooth_is_surer_the_nearer_it_stands_and_the_less_the_readings_scatter() -> None:
    def sure(near_deg: float, amplitude: float) -> float:
        near = bg.neutral_line(bg.fit_wobble(wave(40, amplitude, near_deg, NOISE))).near
        assert near is not None
        assert near.probability is not None
        return near.probability

    middle = bg.fit_wobble(wave(40, 0.02, 54.0, NOISE)).near_deg - 54.0
    assert sure(54.0 - middle, 0.02) > sure(55.5 - middle, 0.02) > 0.5
    assert sure(54.0 - middle, 0.1) > sure(54.0 - middle, 0.02)
    # At the edge of its half of the gap a tooth is as likely as its neighbour.
    edge = bg.fit_wobble(wave(40, 0.1, 58.4999, NOISE)).near_deg - 58.4999
    assert 0.48 < sure(58.4999 - edge, 0.1) < 0.52


def test_all_four_marks_of_an_even_blade_are_equally_sure() -> None:
    marks = bg.neutral_line(bg.fit_wobble(wave(40, 0.01, 56.0, NOISE)))
    assert marks.near is not None
    assert marks.far is not None
    assert marks.neutral is not None
    sure = [marks.near.probability, marks.far.probability]
    sure += [end.probability for end in marks.neutral]
    assert sure[0] is not None
    assert 0.3 < sure[0] < 0.99
    assert_allclose(sure, sure[0], rtol=1e-9)  # type: ignore[arg-type]


def test_a_tooth_between_wide_gaps_is_surer() -> None:
    def sure(pattern: list[float]) -> float:
        blade = bg.Blade(30, pitch_pattern=pattern)
        read = 0.02 * np.cos(np.radians(blade.angles_deg)) + NOISE[:30]
        near = bg.neutral_line(bg.fit_wobble(bg.Readings(blade, read, unit="mm"))).near
        assert near is not None
        assert near.tooth == 1
        assert near.probability is not None
        return near.probability

    assert sure([4, 1, 1, 1, 4]) > sure([1]) > sure([1, 4, 1, 4, 1])


def lean_deg(tilt_deg: float, near_deg: float, first_deg: float, second_deg: float) -> float:
    """How far a plane turned by rotation matrices leans along the chord between two teeth."""
    radius = 127.0
    tips = [
        np.array([np.cos(np.radians(at)), np.sin(np.radians(at)), 0.0]) * radius
        for at in (first_deg, second_deg)
    ]
    slope = math.tan(math.radians(tilt_deg))
    toward = np.array([np.cos(np.radians(near_deg)), np.sin(np.radians(near_deg)), 0.0])
    up = tips[0] - tips[1]
    return math.degrees(math.atan(slope * float(up @ toward) / float(np.linalg.norm(up))))


@pytest.mark.parametrize("teeth", [24, 40, 41])
@pytest.mark.parametrize(("tilt_deg", "noise_mm"), [(0.01, 0.005), (0.03, 0.02), (0.1, 0.002)])
def test_what_marking_leaves_keeps_to_its_limit(
    teeth: int, tilt_deg: float, noise_mm: float
) -> None:
    blades, ring_mm, rng = 250, 110.0, rng_for(teeth)
    near, at = rng.uniform(0.0, 360.0, blades), 360.0 * np.arange(teeth) / teeth
    height = ring_mm * math.tan(math.radians(tilt_deg))
    read = height * np.cos(np.radians(at - near[:, np.newaxis]))
    read += rng.normal(0.0, noise_mm, read.shape)
    frame = pd.DataFrame(
        {
            "blade": np.repeat([f"b{one}" for one in range(blades)], teeth),
            "tooth": np.tile(np.arange(1, teeth + 1), blades),
            "reading_mm": np.round(read.ravel(), 4),
            "teeth": teeth,
            "ring_radius_mm": ring_mm,
        }
    )
    table = bg.fit_table(frame)
    known = table[table["resolved"]]
    kept = useful = 0
    for one in known.itertuples():
        ends = (one.neutral_tooth_1, one.neutral_tooth_2)
        pasts = (one.neutral_past_pitch_1, one.neutral_past_pitch_2)
        # Where the direction falls between two teeth, either may be taken.
        chosen = [
            (end, end + np.sign(past)) if abs(past) >= 0.45 else (end,)
            for end, past in zip(ends, pasts, strict=True)
        ]
        left = max(
            abs(lean_deg(tilt_deg, near[one.Index], 360 / teeth * (a - 1), 360 / teeth * (b - 1)))
            for a in chosen[0]
            for b in chosen[1]
        )
        kept += left <= one.left_most_deg
        useful += one.left_most_deg < one.worst_squareness_deg
    assert len(known) > 0.5 * blades
    assert kept >= 0.95 * len(known)
    assert useful > 0.5 * len(known)


def test_where_the_line_falls_between_two_teeth_the_answer_names_both() -> None:
    between, on = marks_at(9.0 * 0.48, ring_radius="110 mm"), marks_at(0.5, ring_radius="110 mm")
    assert [end.other for end in between.neutral or ()] == [12, 32]
    assert [end.other for end in on.neutral or ()] == [None, None]
    told = " ".join(between.instructions)
    assert "11 or 12" in told
    assert "31 or 32" in told
    assert " or " not in " ".join(on.instructions)
    # The other two leave no more than the limit allows.
    assert between.left_most_deg is not None
    assert between.fit is not None
    tilt = between.fit.tilt_deg or 0.0
    assert abs(lean_deg(tilt, 9.0 * 0.48, 9.0 * 11, 9.0 * 31)) <= between.left_most_deg
    assert "within" in str(between).split("if marked")[1].splitlines()[0]
