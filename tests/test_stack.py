"""Blades stacked and fitted all at once, against QR of each by itself."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal
from simulated import rng_for

import bladegeom as bg
from bladegeom.kernel.harmonics import harmonic_columns, least_squares
from bladegeom.kernel.leak import leak_of, leaks_of
from bladegeom.kernel.stack import (
    Stack,
    fit_stack,
    spots_of,
    stack_of,
    unit_covariance,
)


def drawn(seed, turns, teeth, gaps, offset):
    """A stack of five blades at uneven angles, and the angles."""
    rng = rng_for(seed)
    tooth_deg = np.sort(rng.uniform(0, 360, teeth))
    spots = spots_of(tuple(tooth_deg), 2.5)
    reading = rng.normal(0, 1, (turns, teeth, 5)) + offset * rng.normal(0, 1, (turns, 1, 1))
    there = np.ones_like(reading)
    if gaps:
        there[rng.random(there.shape) < 0.2] = 0.0
        there[:, :6] = 1.0
    read = np.where(there > 0, reading, np.nan)
    return Stack(spots, read, there if gaps else None), np.radians(tooth_deg + 2.5)


def by_columns(stack, angle, blade, orders=(1,)):
    """One blade's readings, their places, and the columns of offsets and waves."""
    there = np.ones_like(stack.reading) if stack.there is None else stack.there
    turn, tooth = np.nonzero(there[:, :, blade])
    read = stack.reading[turn, tooth, blade]
    offsets = (turn[:, np.newaxis] == np.unique(turn)).astype(float)
    return read, (turn, tooth), np.hstack([offsets, harmonic_columns(angle[tooth], orders)[:, 1:]])


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    turns=st.integers(1, 3),
    teeth=st.integers(6, 60),
    gaps=st.booleans(),
    offset=st.sampled_from([0.0, 10.0, 1e6]),
)
def test_blades_are_fitted_as_by_qr(seed, turns, teeth, gaps, offset):
    stack, angle = drawn(seed, turns, teeth, gaps, offset)
    fits = fit_stack(stack)
    plan = fits.plan._make(np.broadcast_to(one, (*one.shape[:-1], 5)) for one in fits.plan)
    for blade in range(5):
        read, (turn, tooth), columns = by_columns(stack, angle, blade)
        fit = least_squares(columns, read - read.mean())
        worst = plan.ratio[blade] ** 2
        near = {"rel": 1e-11 * worst, "abs": 1e-10 * worst + 1e-15 * offset * worst}
        assert [fits.a[blade], fits.b[blade]] == pytest.approx(fit.coefficients[-2:], **near)
        offsets = columns[:, :-2] @ fit.coefficients[:-2]
        assert fits.offset[blade] == pytest.approx(read.mean() + offsets.mean(), **near)
        assert fits.rss[blade] == pytest.approx(float(fit.rss), rel=1e-9 * worst)
        left = fits.left[turn, tooth, blade]
        assert left == pytest.approx(fit.residuals, rel=1e-9 * worst, abs=1e-9 * worst)
        own = unit_covariance(plan.cc, plan.cs, plan.ss)[:, :, blade]
        assert own == pytest.approx(fit.unit_covariance[-2:, -2:], rel=1e-9 * worst, abs=1e-9)
        assert (plan.readings[blade], plan.dof[blade]) == (len(read), fit.dof)
        assert plan.spots_read[blade] == len(np.unique(tooth))
        within = [np.ptp(read[turn == one]) for one in np.unique(turn)]
        assert fits.raw_tir[blade] == pytest.approx(max(within))
        assert fits.largest[blade] == pytest.approx(np.abs(read).max())


@pytest.mark.parametrize("turns", [1, 2])
@pytest.mark.parametrize("read", [range(14), range(30), range(38), [0, 1, 7, 8, 20, 33], "fifth"])
def test_what_bends_leak_through_a_gap_is_found_of_many_as_of_one(turns, read):
    at = range(0, 40, 5) if read == "fifth" else read
    angle = np.radians(9.0 * np.arange(40))
    reading = rng_for(turns).normal(0, 1, (turns, 40, 1))
    there = np.zeros_like(reading)
    there[:, at] = 1.0
    stack = Stack(
        spots_of(tuple(9.0 * np.arange(40)), 0.0), np.where(there > 0, reading, np.nan), there
    )
    _, (_, tooth), columns = by_columns(stack, angle, 0)
    read_all, last = least_squares(columns, stack.reading[there > 0]), columns.shape[1]
    own = read_all.unit_covariance[-2:, -2:]
    one = leak_of(columns, slice(last - 2, last), angle[tooth], [1], read_all.residuals, own, 0.0)
    assert leaks_of(stack, fit_stack(stack)).tolist() == [one is not None]
    assert (one is not None) == (read not in (range(38), "fifth"))


def test_with_every_tooth_read_no_bend_leaks():
    stack, _ = drawn(1, 1, 40, False, 0.0)
    bend = np.cos(np.radians(18.0 * np.arange(40)))[:, np.newaxis]
    whole = Stack(spots_of(tuple(9.0 * np.arange(40)), 0.0), stack.reading + 50 * bend, None)
    assert not leaks_of(whole, fit_stack(whole)).any()


def test_readings_are_stacked_by_turn_and_tooth_closing_readings_aside():
    blade = bg.Blade(4)
    readings = bg.Readings(
        blade, [4, 1, 3, 4.5, 7, 8], unit="mm", tooth=[4, 1, 3, 4, 2, 3], turn=[5, 5, 5, 5, 9, 9]
    )
    stack, place = stack_of(readings)
    nan = np.nan
    assert_array_equal(stack.reading[:, :, 0], [[1, nan, 3, 4], [nan, 7, 8, nan]])
    assert stack.there is not None
    assert stack.there[:, :, 0].tolist() == [[1, 0, 1, 1], [0, 1, 1, 0]]
    assert place.tolist() == [3, 0, 2, 5, 6]
