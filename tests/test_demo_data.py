"""The demo data: made as stated, and answered within the doubt that each answer states."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from make_demo_data import (
    CLOCK_MOUNTS,
    LIMITS,
    LIVE,
    MM_PER,
    SHELF_BLADES,
    SHELF_READINGS,
    THREE_RINGS,
    Truth,
    truths,
    write_demo_data,
)
from make_saw_demo import SAW_FILE, STORY
from numpy.testing import assert_allclose
from scipy import stats
from simulated import turn_deg

import bladegeom as bg

DEMO = Path(__file__).parents[1] / "data_demo"
FLAT = ("R-24", "K 5")
every_truth = pytest.mark.parametrize("truth", truths(), ids=lambda truth: truth.blade)


def fit_of(truth: Truth) -> bg.WobbleFit:
    blades = DEMO / SHELF_BLADES if truth.file == SHELF_READINGS else None
    batch = bg.read_blades(DEMO / truth.file, blades=blades)
    (readings,) = (one for one in batch.readings if one.blade.name == truth.blade)
    return bg.fit_wobble(readings)


def true_parts(truth: Truth) -> np.ndarray:
    """Cosine and sine part of the true wobble, in the unit of the readings."""
    amplitude = truth.wobble_tir_mm / 2 / MM_PER[truth.reading_unit]
    near = np.radians(truth.near_deg)
    return amplitude * np.array([np.cos(near), np.sin(near)])


def distance(truth: Truth, fit: bg.WobbleFit) -> float:
    """The F statistic of the truth in the joint region of both parts."""
    miss = np.array([fit.cosine, fit.sine]) - true_parts(truth)
    return float(miss @ np.linalg.inv(fit.covariance) @ miss) / 2


def test_files_are_those_that_the_script_writes(tmp_path: Path) -> None:
    write_demo_data(tmp_path)
    files = [path for path in tmp_path.rglob("*") if path.is_file()]
    written = sorted(path.relative_to(tmp_path).as_posix() for path in files)
    assert {truth.file for truth in truths()} | {
        CLOCK_MOUNTS,
        THREE_RINGS,
        SHELF_BLADES,
        SAW_FILE,
        STORY,
        LIMITS,
        LIVE,
        "README.md",
    } == set(written)
    for name in written:
        assert (DEMO / name).read_bytes() == (tmp_path / name).read_bytes(), name
    assert {path.relative_to(DEMO).as_posix() for path in DEMO.rglob("*.csv")} == {
        name for name in written if name.endswith(".csv")
    }


def test_there_are_ten_blades_to_answer() -> None:
    assert len(truths()) == 10


@every_truth
def test_the_truth_lies_in_the_joint_region_of_the_fit(truth: Truth) -> None:
    # 99.5 % for each blade, which is 95 % for all ten together; scipy.stats.f.
    fit = fit_of(truth)
    assert distance(truth, fit) < stats.f.ppf(0.995, 2, fit.dof)


@every_truth
def test_amplitude_and_direction_lie_within_their_own_limits(truth: Truth) -> None:
    fit = fit_of(truth)
    low, high, _ = fit.amplitude_interval(confidence_level=0.995)
    assert low <= np.hypot(*true_parts(truth)) <= high
    near_low, near_high, _ = fit.near_interval(confidence_level=0.995)
    past = float(turn_deg(near_low, truth.near_deg)) % 360.0
    assert past <= near_high - near_low
    assert fit.tilt_deg is not None
    assert_allclose(fit.tilt_deg, truth.tilt_deg, atol=0.01)


@every_truth
def test_wobble_is_resolved_on_all_but_the_flat_ones(truth: Truth) -> None:
    fit = fit_of(truth)
    marks = bg.neutral_line(fit)
    assert fit.resolved is (truth.blade not in FLAT)
    if truth.blade in FLAT:
        assert marks.neutral is None
        assert marks.worst_deg is not None
        assert marks.worst_deg > truth.tilt_deg
    else:
        assert marks.neutral is not None
        for end in marks.neutral:
            away = abs(float(turn_deg(fit.readings.blade.angle_of(end.tooth), truth.near_deg)))
            assert_allclose(away, 90.0, atol=15.0)


@every_truth
def test_blades_are_read_as_they_were_made(truth: Truth) -> None:
    readings = fit_of(truth).readings
    blade = readings.blade
    assert (blade.teeth, blade.numbered, readings.side) == (
        truth.teeth,
        truth.numbered,
        truth.side,
    )
    assert readings.unit == truth.reading_unit
    assert readings.touch_deg == truth.touch_deg
    assert readings.ring_radius_mm is not None
    assert readings.graduation_mm is not None
    assert_allclose(readings.ring_radius_mm, truth.ring_radius_mm)
    assert_allclose(readings.graduation_mm, truth.graduation_mm)
    assert np.count_nonzero(~readings.closing) == truth.turns * truth.teeth - len(truth.unread)
    assert readings.closing.any() == truth.closes


def test_readme_says_which_blades_miss_their_95_percent_region() -> None:
    def missed(level: float) -> set[str]:
        """Blades outside the joint region of a plain fit, without the graduation's floor."""
        found = set()
        for truth in truths():
            fit = fit_of(truth)
            plain = distance(truth, fit) * (fit.reading_sd / fit.residual_sd) ** 2
            if plain > stats.f.ppf(level, 2, fit.dof):
                found.add(truth.blade)
        return found

    text = " ".join((DEMO / "README.md").read_text(encoding="utf-8").split())
    assert "the true wobble of `C-50` and, by a hair, that of `0031` lie outside" in text
    assert missed(0.95) == {"C-50", "0031"}
    assert missed(0.99) == set()


def test_the_blade_with_the_slip_is_refused_and_the_other_five_are_answered() -> None:
    batch = bg.read_blades(DEMO / SHELF_READINGS, blades=DEMO / SHELF_BLADES)
    assert {fault.blade for fault in batch.refused} == {"B-12"}
    assert "tooth 41 on a 40-tooth blade" in batch.refused[0].problem
    assert [one.blade.name for one in batch.readings] == ["007", "B-13", "19", "K 5", "0031"]
