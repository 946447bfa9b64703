"""A value with its doubt: sums, verdicts, against the GUM's own figures and GTC."""

from __future__ import annotations

import math

import GTC
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bladegeom.estimate import Estimate, Known, combined, judge

sizes = st.floats(1e-6, 1e6)
freedoms = st.floats(1, 1e4)


@given(st.lists(st.tuples(sizes, freedoms), min_size=2, max_size=5))
def test_sums_are_those_of_gtc(parts):
    total = sum((GTC.ureal(0.0, u, dof) for u, dof in parts), start=GTC.ureal(1.0, 0.0))
    mine = Estimate(1.0, 0.0).plus(*(Estimate(0.0, u, dof) for u, dof in parts))
    assert mine.u == pytest.approx(GTC.uncertainty(total), rel=1e-12)
    assert mine.dof == pytest.approx(GTC.dof(total), rel=1e-9)


def test_welch_satterthwaite_by_hand():
    # JCGM 100:2008, formula G.2b, by hand: u^2 = 9 + 16 = 25; dof = 625 / (81 / 3 + 256 / 8).
    u, dof = combined([(3.0, 3), (4.0, 8)])
    assert (u, dof) == (pytest.approx(5.0), pytest.approx(625 / 59))


def test_a_certain_part_adds_nothing():
    assert combined([(0.0, 3), (2.0, 5)]) == (2.0, pytest.approx(5))
    assert combined([]) == (0.0, math.inf)
    assert combined([(0.0, 4)]) == (0.0, math.inf)


@pytest.mark.parametrize(
    ("value", "u", "verdict"),
    [
        (0.0, 0.1, "within"),
        (-0.8, 0.1, "within"),
        (0.9, 0.1, "cannot tell"),
        (-1.1, 0.1, "cannot tell"),
        (1.3, 0.1, "out"),
        (-1.3, 0.1, "out"),
        (0.0, 10.0, "cannot tell"),
        (0.0, math.nan, "cannot tell"),
        (5.0, math.nan, "cannot tell"),
    ],
)
def test_there_are_three_verdicts(value, u, verdict):
    assert Estimate(value, u).verdict(1.0) == verdict


@pytest.mark.parametrize(
    ("low", "high", "answer"),
    [
        (0.2, 0.9, "yes"),
        (-0.9, 0.2, "yes"),
        (0.2, 1.1, "cannot tell"),
        (-1.1, 0.2, "cannot tell"),
        (1.1, 3.0, "no"),
        (-3.0, -1.1, "no"),
        (-3.0, 3.0, "cannot tell"),
        (math.nan, math.nan, "cannot tell"),
        (1.1, math.nan, "no"),
        (0.2, math.nan, "cannot tell"),
    ],
)
def test_limits_that_lie_unevenly_are_judged_alike(low, high, answer):
    assert judge(Known(0.5, 0.1, low, high), 1.0) == answer


def test_what_is_known_turns_its_limits_with_its_sign():
    assert Known(1.0, 0.1, 0.7, 1.5, 4).times(-2.0) == Known(-2.0, 0.2, -3.0, -1.4, 4)


def test_limits_are_students():
    # t for 95 % and 4 degrees of freedom is 2.776 (JCGM 100:2008, table G.2: 2.78).
    one = Estimate(10.0, 1.0, 4)
    assert (one.low, one.high) == (
        pytest.approx(7.2236, abs=1e-4),
        pytest.approx(12.7764, abs=1e-4),
    )
    assert one.times(-2.0) == Estimate(-20.0, 2.0, 4)
    assert one.text("deg") == "10.0 deg (95 %: 7.2 to 12.8)"
    assert Estimate(1.23456, math.nan).text("mm") == "1.235 mm (doubt not known)"
