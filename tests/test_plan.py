"""Which spots were read, and what they can and cannot tell apart."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

import bladegeom as bg
from bladegeom.fit.remarks import plan_remarks
from bladegeom.kernel import design
from bladegeom.kernel.design import check_plan
from bladegeom.kernel.harmonics import harmonic_columns


def worst_ratio(angle_deg):
    columns = harmonic_columns(np.radians(angle_deg))
    return design.worst_ratio(columns[:, 1:], columns[:, :1])


def read(teeth: int, spots: list[int], **facts: Any) -> bg.Readings:
    """Readings of some teeth of an evenly pitched blade."""
    angles = np.radians(360.0 / teeth * (np.array(spots) - 1))
    return bg.Readings(bg.Blade(teeth, name="Q"), np.cos(angles), tooth=spots, unit="mm", **facts)


def scanned_ratio(angle_deg: np.ndarray) -> float:
    """The same by scanning directions with the inverse of the normal equations."""
    angle = np.radians(angle_deg)
    columns = np.column_stack([np.ones_like(angle), np.cos(angle), np.sin(angle)])
    covariance = np.linalg.inv(columns.T @ columns)[1:, 1:]
    toward = np.radians(np.arange(0.0, 180.0, 0.01))
    axes = np.column_stack([np.cos(toward), np.sin(toward)])
    worst = np.sqrt(np.einsum("ij,jk,ik->i", axes, covariance, axes).max())
    return float(worst / math.sqrt(2 / len(angle)))


@pytest.mark.parametrize("teeth", [4, 5, 24, 41, 96])
def test_teeth_spread_evenly_tell_all_directions_alike(teeth: int) -> None:
    assert_allclose(worst_ratio(np.arange(teeth) * 360.0 / teeth), 1.0, rtol=1e-12)


@pytest.mark.parametrize(
    "angle_deg",
    [
        np.arange(0.0, 240.0, 6.0),
        np.arange(100.0, 280.0, 9.0),
        np.arange(-40.0, 40.0, 9.0),
        np.array([0.0, 10.0, 90.0, 200.0, 210.0, 211.0]),
    ],
)
def test_worst_ratio_is_that_of_the_worst_direction(angle_deg: np.ndarray) -> None:
    assert_allclose(worst_ratio(angle_deg), scanned_ratio(angle_deg), rtol=1e-6)
    assert_allclose(worst_ratio(angle_deg + 77.7), worst_ratio(angle_deg), rtol=1e-9)
    assert_allclose(worst_ratio(np.tile(angle_deg, 3)), worst_ratio(angle_deg), rtol=1e-9)


def test_two_spots_tell_nothing() -> None:
    assert worst_ratio(np.array([0.0, 90.0, 0.0, 90.0])) == math.inf


@pytest.mark.parametrize(
    ("spots", "problem"),
    [
        ([], "no tooth is read"),
        ([7], "only 1 different tooth is read"),
        ([1, 10, 20], "only 3 different teeth are read"),
    ],
)
def test_fewer_than_four_teeth_are_refused(spots: list[int], problem: str) -> None:
    with pytest.raises(bg.RefusedError, match=f"blade Q: {problem}; read at least 4") as caught:
        bg.fit_wobble(read(40, spots))
    assert caught.value.faults[0].value == str(len(spots))


def test_four_teeth_are_enough_and_more_turns_of_three_are_not() -> None:
    assert bg.fit_wobble(read(40, [1, 11, 21, 31])).dof == 1
    with pytest.raises(bg.RefusedError, match="only 3 different"):
        bg.fit_wobble(read(40, [1, 11, 21] * 5, turn=np.repeat(np.arange(5), 3)))


def test_the_closing_reading_is_no_further_tooth() -> None:
    with pytest.raises(bg.RefusedError, match="only 3 different"):
        bg.fit_wobble(read(40, [1, 11, 21, 1]))


@pytest.mark.parametrize(
    ("last", "refused", "warned"),
    [(70, False, False), (57, False, True), (23, False, True), (12, True, True)],
)
def test_a_short_arc_is_warned_of_and_a_very_short_one_refused(
    last: int, refused: bool, warned: bool
) -> None:
    spots = list(range(1, last + 1))
    readings = read(72, spots)
    ratio = scanned_ratio(readings.angle_deg)
    assert (ratio > 10) is refused
    if refused:
        with pytest.raises(bg.RefusedError, match=f"short an arc.* {ratio:.0f} times") as caught:
            check_plan(readings)
        assert caught.value.faults[0].value == f"{5 * (last - 1)} deg"
    else:
        check_plan(readings)
        said = [one for one in plan_remarks(readings) if f"from {last + 1} to 72 is read" in one]
        assert len(said) == warned
        assert all(f"{5 * (72 - last)} deg" in remark for remark in said)


def test_an_arc_may_pass_tooth_one_and_be_touched_beside_the_teeth() -> None:
    spots = [*range(61, 73), *range(1, 12)]
    for touch_deg in (0.0, -3.5, 200.0):
        (said,) = plan_remarks(read(72, spots, touch_deg=touch_deg))
        assert "no tooth from 12 to 60 is read (245 deg of the blade)" in said


def test_few_teeth_could_be_a_bent_plate() -> None:
    (said,) = plan_remarks(read(40, [1, 11, 21, 31]))
    assert said == "only 4 teeth are read: a plate bent in 3 waves would pass for wobble"
    # It would: a plate bent in three waves, and nothing else, read on four teeth.
    blade = bg.Blade(40)
    spots = np.array([1, 11, 21, 31])
    bent = np.cos(3 * np.radians(blade.angles_deg[spots - 1]))
    assert bg.fit_wobble(bg.Readings(blade, bent, tooth=spots, unit="mm")).amplitude > 0.99
    assert plan_remarks(read(40, list(range(1, 41, 5)))) == []


def test_teeth_instead_of_the_plate_are_remarked() -> None:
    every = list(range(1, 25))
    assert plan_remarks(read(24, every)) == []
    (said,) = plan_remarks(read(24, every, surface="teeth"))
    assert said.startswith("read on the teeth")


def test_what_was_done_with_the_rows_is_handed_on() -> None:
    readings = bg.Readings(
        bg.Blade(24), [*np.arange(24.0), 23.0], tooth=[*range(1, 25), 24], unit="mm"
    )
    assert readings.notes
    assert plan_remarks(readings) == list(readings.notes)
    assert bg.fit_wobble(readings).warnings[-1] == readings.notes[0]
