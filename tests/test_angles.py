"""Degrees round a circle."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from bladegeom.angles import turn_between, wrap_180, wrap_360

degrees = st.floats(-1e6, 1e6)


@pytest.mark.parametrize(
    ("given_deg", "expected"),
    [(0, 0), (359.5, 359.5), (360, 0), (-1, 359), (725, 5), (-720, 0), (-1e-20, 0), (-0.0, 0)],
)
def test_wrap_360_starts_at_0_and_ends_before_360(given_deg: float, expected: float) -> None:
    assert wrap_360(given_deg) == expected


@pytest.mark.parametrize(
    ("given_deg", "expected"),
    [(0, 0), (180, 180), (-180, 180), (181, -179), (-179, -179), (540, 180), (359, -1)],
)
def test_wrap_180_keeps_half_a_turn_positive(given_deg: float, expected: float) -> None:
    assert wrap_180(given_deg) == expected


@pytest.mark.parametrize(
    ("from_deg", "to_deg", "expected"),
    [(10, 30, 20), (30, 10, -20), (350, 10, 20), (10, 350, -20), (0, 180, 180), (720, 1, 1)],
)
def test_turn_between_is_the_shorter_way_with_its_sign(
    from_deg: float, to_deg: float, expected: float
) -> None:
    assert turn_between(from_deg, to_deg) == expected


def test_turn_between_takes_arrays() -> None:
    assert_allclose(turn_between([0.0, 350.0], 10.0), [10.0, 20.0])
    assert_allclose(turn_between(0.0, [[10.0], [200.0]]), [[10.0], [-160.0]])


@settings(deadline=None, derandomize=True)
@given(degrees)
def test_wrapped_directions_point_the_same_way(angle: float) -> None:
    same = np.exp(1j * np.radians(angle))
    assert 0.0 <= wrap_360(angle) < 360.0
    assert -180.0 < wrap_180(angle) <= 180.0
    assert_allclose(np.exp(1j * np.radians(wrap_360(angle))), same, atol=1e-8)
    assert_allclose(np.exp(1j * np.radians(wrap_180(angle))), same, atol=1e-8)


@settings(deadline=None, derandomize=True)
@given(degrees, degrees)
def test_turning_by_the_turn_between_arrives(from_deg: float, to_deg: float) -> None:
    turn = float(turn_between(from_deg, to_deg))
    assert -180.0 <= turn <= 180.0
    assert_allclose(
        np.exp(1j * np.radians(from_deg + turn)), np.exp(1j * np.radians(to_deg)), atol=1e-7
    )
