"""Physics that holds whatever the blade: numbering, zero, sense and unit of the indicator."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from simulated import rng_for, turn_deg

import bladegeom as bg

Floats = NDArray[np.float64]

every_blade = settings(deadline=None, derandomize=True, max_examples=60)


@dataclass(frozen=True)
class Blade:
    """An invented blade: tooth angles in degrees, and one reading in mm of some of its teeth."""

    tooth_deg: tuple[float, ...]
    read: tuple[bool, ...]
    reading: Floats

    def fit(self, **change: Any) -> bg.WobbleFit:
        """Fit of the teeth read, in tooth order."""
        return fit_of(self.tooth_deg, self.rows(), **change)

    def rows(self) -> list[tuple[int, float]]:
        """Tooth and reading."""
        teeth = [tooth for tooth, was in enumerate(self.read, start=1) if was]
        return [(tooth, float(self.reading[tooth - 1])) for tooth in teeth]


def fit_of(
    tooth_deg: tuple[float, ...], rows: list[tuple[int, float]], **facts: Any
) -> bg.WobbleFit:
    blade = bg.Blade(len(tooth_deg), tooth_deg=tooth_deg, diameter="254 mm")
    tooth, reading = zip(*rows, strict=True)
    stated = {"ring_radius": "100 mm", "readings": reading, "unit": "mm"} | facts
    return bg.fit_wobble(bg.Readings(blade, tooth=tooth, **stated))


@st.composite
def blades(draw: st.DrawFn) -> Blade:
    """Blades of 8 to 60 teeth, even or not, a few teeth unread, wobble above a little noise."""
    teeth = draw(st.integers(8, 60))
    gap = st.floats(0.5, 2.0)
    gaps = np.array(draw(st.one_of(st.just([1.0]), st.lists(gap, min_size=teeth, max_size=teeth))))
    gaps = np.resize(gaps, teeth)
    tooth_deg = np.concatenate([[0.0], np.cumsum(gaps)[:-1]]) * 360.0 / gaps.sum()
    near_deg = draw(st.floats(0.0, 360.0, exclude_max=True))
    amplitude = draw(st.floats(0.01, 2.0))
    noise = rng_for(draw(st.integers(0, 2**32))).normal(0.0, 0.003, teeth)
    unread = draw(st.sets(st.integers(0, teeth - 1), max_size=teeth // 4))
    reading = amplitude * np.cos(np.radians(tooth_deg - near_deg)) + noise
    return Blade(
        tuple(tooth_deg.tolist()),
        tuple(place not in unread for place in range(teeth)),
        reading,
    )


def named(fit: bg.WobbleFit) -> list[int]:
    """Near, first neutral, far and second neutral tooth; skip ties, which a hair decides."""
    marks = bg.neutral_line(fit)
    assume(marks.near is not None and marks.far is not None and marks.neutral is not None)
    four = [marks.near, marks.neutral[0], marks.far, marks.neutral[1]]
    assume(all(abs(abs(mark.past_pitch) - 0.5) > 1e-6 for mark in four))
    return [mark.tooth for mark in four]


def assert_same_doubt(fit: bg.WobbleFit, other: bg.WobbleFit) -> None:
    assert_allclose(other.amplitude_u, fit.amplitude_u, rtol=1e-6)
    assert_allclose(other.p_value, fit.p_value, rtol=1e-6, atol=1e-300)
    assert_allclose(other.residual_sd, fit.residual_sd, rtol=1e-7)


@every_blade
@given(blades(), st.integers(1, 59))
def test_renumbered_by_k_the_marks_move_by_k(blade: Blade, k: int) -> None:
    k %= len(blade.tooth_deg)
    fit = blade.fit()
    turned = np.mod(np.array(blade.tooth_deg) - blade.tooth_deg[k], 360.0)
    renumbered = Blade(
        tuple(np.roll(turned, -k).tolist()),
        tuple(np.roll(blade.read, -k).tolist()),
        np.roll(blade.reading, -k),
    ).fit()
    assert_allclose(renumbered.amplitude, fit.amplitude, rtol=1e-9)
    assert_allclose(
        turn_deg(fit.near_deg - blade.tooth_deg[k], renumbered.near_deg), 0.0, atol=1e-7
    )
    teeth = len(blade.tooth_deg)
    assert named(renumbered) == [(tooth - 1 - k) % teeth + 1 for tooth in named(fit)]
    assert_same_doubt(fit, renumbered)


@every_blade
@given(blades(), st.floats(-5.0, 5.0))
def test_a_constant_moves_only_the_offset(blade: Blade, constant: float) -> None:
    fit = blade.fit()
    moved = Blade(blade.tooth_deg, blade.read, blade.reading + constant).fit()
    assert_allclose(moved.offset - fit.offset, constant, atol=1e-12)
    assert_allclose([moved.cosine, moved.sine], [fit.cosine, fit.sine], atol=1e-12)
    assert_allclose(moved.residuals, fit.residuals, atol=1e-12)
    assert named(moved) == named(fit)
    assert_same_doubt(fit, moved)


@every_blade
@given(blades())
def test_a_reversed_indicator_swaps_near_and_far_and_leaves_the_neutral_line(blade: Blade) -> None:
    fit, reversed_fit = blade.fit(), Blade(blade.tooth_deg, blade.read, -blade.reading).fit()
    assert reversed_fit.amplitude == fit.amplitude
    assert_allclose(turn_deg(fit.near_deg + 180.0, reversed_fit.near_deg), 0.0, atol=1e-9)
    near, first, far, second = named(fit)
    assert named(reversed_fit) == [far, second, near, first]
    assert bg.neutral_line(reversed_fit).worst_deg == bg.neutral_line(fit).worst_deg
    assert_same_doubt(fit, reversed_fit)
    # The same tooth uppermost leans as much the other way.
    lean, other = (bg.squareness(one, tooth=3).error_deg for one in (fit, reversed_fit))
    assert_allclose(other, -lean, atol=1e-12)


@every_blade
@given(blades())
def test_inches_answer_as_millimetres_do(blade: Blade) -> None:
    fit = blade.fit(graduation="0.0254 mm")
    inches = blade.fit(
        readings=[reading / 25.4 for _, reading in blade.rows()],
        unit="in",
        ring_radius=(100.0 / 25.4, "in"),
        graduation="0.001 in",
    )
    assert_allclose(inches.amplitude * 25.4, fit.amplitude, rtol=1e-9)
    assert_allclose(inches.amplitude_u * 25.4, fit.amplitude_u, rtol=1e-9)
    assert_allclose(inches.tilt_deg, fit.tilt_deg, rtol=1e-9)
    assert_allclose(inches.tilt_u_deg, fit.tilt_u_deg, rtol=1e-9)
    assert_allclose(turn_deg(fit.near_deg, inches.near_deg), 0.0, atol=1e-7)
    assert_allclose(inches.rim_amplitude * 25.4, fit.rim_amplitude, rtol=1e-9)
    if fit.resolved:
        assert named(inches) == named(fit)
    assert_allclose(
        bg.squareness(inches, tooth=2).error_deg,
        bg.squareness(fit, tooth=2).error_deg,
        rtol=1e-6,
        atol=1e-12,
    )


@every_blade
@given(blades(), st.randoms(use_true_random=False))
def test_the_order_of_the_rows_does_not_matter(blade: Blade, shuffle: Any) -> None:
    fit, rows = blade.fit(), blade.rows()
    shuffle.shuffle(rows)
    shuffled = fit_of(blade.tooth_deg, rows)
    assert_allclose([shuffled.cosine, shuffled.sine], [fit.cosine, fit.sine], atol=1e-12)
    assert_allclose(shuffled.offset, fit.offset, atol=1e-12)
    assert named(shuffled) == named(fit)
    assert_same_doubt(fit, shuffled)


@every_blade
@given(blades(), st.floats(-180.0, 180.0))
def test_squareness_is_nought_on_the_line_and_odd_about_it(blade: Blade, away: float) -> None:
    fit = blade.fit()
    assert bg.squareness_error(fit, 0.0) == 0.0
    assert abs(bg.squareness_error(fit, 180.0)) < 1e-14
    error = float(bg.squareness_error(fit, away))
    assert bg.squareness_error(fit, -away) == -error
    assert_allclose(bg.squareness_error(fit, away + 180.0), -error, atol=1e-13)
    assert_allclose(bg.squareness_error(fit, 180.0 - away), error, atol=1e-13)
    assert abs(error) <= fit.tilt_deg * (1 + 1e-12)
    u, same_u = (bg.squareness_error_u(fit, turn) for turn in (away, away + 360.0))
    assert_allclose(u, same_u, rtol=1e-9)
    # The teeth that come up as the blade turns with its numbers lean toward the indicator.
    assert float(bg.squareness_error(fit, 1.0)) > 0.0


@every_blade
@given(blades(), st.floats(-180.0, 180.0))
def test_touching_further_on_moves_near_further_on(blade: Blade, touch_deg: float) -> None:
    fit, touched = blade.fit(), blade.fit(touch_deg=touch_deg)
    assert_allclose(turn_deg(fit.near_deg + touch_deg, touched.near_deg), 0.0, atol=1e-7)
    assert_allclose(touched.amplitude, fit.amplitude, rtol=1e-9)
    assert_same_doubt(fit, touched)


@every_blade
@given(blades(), st.floats(1e-3, 1e3))
def test_a_scale_scales_lengths_and_nothing_else(blade: Blade, scale: float) -> None:
    fit, scaled = blade.fit(), Blade(blade.tooth_deg, blade.read, scale * blade.reading).fit()
    assert_allclose(scaled.amplitude, scale * fit.amplitude, rtol=1e-9)
    assert_allclose(scaled.amplitude_u, scale * fit.amplitude_u, rtol=1e-6)
    assert_allclose(turn_deg(fit.near_deg, scaled.near_deg), 0.0, atol=1e-7)
    assert_allclose(scaled.near_u_deg, fit.near_u_deg, rtol=1e-6)
    assert_allclose(scaled.p_value, fit.p_value, rtol=1e-6, atol=1e-300)


@every_blade
@given(blades())
def test_limits_enclose_what_they_bound(blade: Blade) -> None:
    fit = blade.fit()
    low, high, _ = fit.amplitude_interval()
    assert 0.0 <= low <= fit.amplitude <= high
    near_low, near_high, _ = fit.near_interval()
    assert near_low <= fit.near_deg <= near_high
    assert near_high - near_low <= 360.0
    for mark in (bg.neutral_line(fit).near, bg.neutral_line(fit).far):
        if mark is not None:
            assert mark.probability is not None
            assert 0.0 <= mark.probability <= 1.0
            assert abs(mark.past_pitch) <= 0.5 + 1e-9
