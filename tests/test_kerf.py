"""The kerf and the fence's scale: teeth of a rigid plate turned all the way round, GTC, by hand."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from rigid_saw import RigidSaw
from scipy import stats
from simulated import PER_MM, rng_for, wave

import bladegeom as bg
from bladegeom.saw.kerf import kerf

RIM, RING, WIDTH = 127.0, 110.0, 3.2
few = settings(max_examples=30, deadline=None)

saws = st.builds(
    RigidSaw,
    teeth=st.sampled_from([12, 13, 24, 40, 45]),
    plate_tilt_deg=st.floats(0.005, 1.0),
    near_deg=st.floats(0.0, 360.0),
    numbered=st.sampled_from(["clockwise", "counterclockwise"]),
    side=st.sampled_from(["left", "right"]),
    fence_mm=st.sampled_from([-100.0, 100.0]),
)


def fit_of(saw, unit="mm"):
    blade = bg.Blade(saw.teeth, diameter=(2 * RIM, "mm"), tooth_width=(WIDTH, "mm"))
    read = (saw.wobble_readings_mm(RING) * PER_MM[unit], unit)
    return bg.fit_wobble(bg.Readings(blade, read, ring_radius=(RING, "mm")))


def noisy(amplitude=0.05, noise=0.003, width=WIDTH, **facts):
    angles = 9.0 * np.arange(40)
    read = amplitude * np.cos(np.radians(angles - 50.0)) + rng_for(9).normal(0.0, noise, 40)
    blade = bg.Blade(40, diameter=(2 * RIM, "mm"), tooth_width=(width, "mm"), name="ash")
    facts = {"ring_radius": (RING, "mm")} | facts
    return bg.fit_wobble(bg.Readings(blade, read, unit="mm", **facts))


@given(saws)
@few
def test_the_kerf_is_what_the_teeth_of_a_rigid_plate_sweep(saw):
    found, pitch = kerf(fit_of(saw)), math.pi / saw.teeth
    tilt = math.radians(saw.plate_tilt_deg)
    rim = RIM * math.tan(tilt)
    assert_allclose(found.wall_shift.value, rim, rtol=1e-9)
    assert_allclose(found.width.value, WIDTH + 2 * rim, rtol=1e-12)
    # The corners stand off along the plate's normal, which is shorter along the arbor.
    least = WIDTH * math.cos(tilt) + 2 * RIM * math.sin(tilt) * math.cos(pitch)
    assert least - 1e-9 <= saw.kerf_mm() <= found.width.value + 1e-9


@given(saws, st.floats(20.0, 300.0))
@few
def test_a_fence_zeroed_at_a_tooth_is_off_by_what_that_tip_falls_short(saw, wanted):
    toward = (saw.fence_mm > 0) == (saw.side == "right")
    found = kerf(fit_of(saw), fence="indicator" if toward else "other")
    line, pitch, rim = found.line, math.pi / saw.teeth, found.wall_shift.value
    nearest, farthest = (line.near, line.far) if toward else (line.far, line.near)

    def wide(end):
        return saw.set_fence_distance(end.tooth, wanted).wall_to_fence_mm() - wanted

    # Turned to the top a tip stands as far from the fence as everywhere: it runs round the arbor.
    assert_allclose(wide(nearest), 0.0, atol=1e-9)
    # The plate's own foreshortening is of the second order in the tilt.
    short = math.radians(saw.plate_tilt_deg) ** 2
    atol = rim * (math.sin(pitch) + 1 - math.cos(pitch) + short)
    assert_allclose(wide(line.neutral[0]), found.board_at_neutral.value, atol=atol)
    atol = 2 * rim * (1 - math.cos(pitch) + short) + 1e-9
    assert_allclose(wide(farthest), found.board_at_far.value, atol=atol)
    said = next(text for label, text in found.shown_rows() if label.startswith("fence"))
    assert f"touching tooth {nearest.tooth}, nearest the fence: right" in said
    assert f"touching {farthest.tooth}, farthest from the fence" in said


def test_kerf_by_hand():
    # 0.05 mm at 100 mm is 0.0635 mm at the rim of a 254 mm blade: 3.2 + 0.127.
    angles = 9.0 * np.arange(40)
    blade = bg.Blade(40, diameter="254 mm", tooth_width="3.2 mm")
    read = 0.05 * np.cos(np.radians(angles))
    fit = bg.fit_wobble(bg.Readings(blade, read, unit="mm", ring_radius="100 mm"))
    values = kerf(fit).to_dict()
    assert values["kerf"] == pytest.approx(3.327)
    assert values["wall_shift"] == pytest.approx(0.0635)
    assert values["board_at_neutral"] == pytest.approx(-0.0635)
    assert values["board_at_far"] == pytest.approx(-0.127)


@pytest.mark.parametrize("width_u", [None, 0.02])
@pytest.mark.parametrize("ring_u", [None, 0.5])
def test_doubt_is_propagated_as_gtc_does(width_u, ring_u):
    # GTC: kerf = W + 2 sqrt(a^2 + b^2) R / r, half of the teeth unread.
    whole = noisy().readings
    half = bg.Readings(
        whole.blade,
        whole.reading[:20],
        tooth=whole.tooth[:20],
        unit="mm",
        ring_radius=(RING, "mm"),
        ring_radius_u=(ring_u, "mm"),
    )
    fit = bg.fit_wobble(half)
    found = kerf(fit, tooth_width_u=width_u and (width_u, "mm"))
    u = np.sqrt(np.diag(fit.covariance))
    a, b = GTC.multiple_ureal([fit.cosine, fit.sine], list(u), fit.dof)
    GTC.set_correlation(float(fit.covariance[0, 1] / u[0] / u[1]), a, b)
    ring, width = GTC.ureal(RING, ring_u or 0.0), GTC.ureal(WIDTH, width_u or 0.0)
    shift = GTC.sqrt(a * a + b * b) * RIM / ring
    for mine, theirs in ((found.wall_shift, shift), (found.width, width + 2 * shift)):
        assert_allclose(mine.value, GTC.value(theirs), rtol=1e-12)
        assert_allclose(mine.u, GTC.uncertainty(theirs), rtol=1e-9)
        assert mine.dof == pytest.approx(GTC.dof(theirs), rel=1e-6)


def test_limits_are_those_of_the_amplitude_at_the_rim():
    fit = noisy()
    low, high, _ = fit.amplitude_interval()
    found = kerf(fit)
    assert_allclose(
        (found.wall_shift.low, found.wall_shift.high), np.array([low, high]) * RIM / RING
    )
    assert_allclose(
        (found.kerf.low, found.kerf.high), WIDTH + 2 * np.array([low, high]) * RIM / RING
    )
    assert found.kerf.low < found.width.value < found.kerf.high
    values = found.to_dict()
    for stem, times in (("board_at_neutral", -1), ("board_at_far", -2)):
        assert_allclose(values[f"{stem}_low"], times * found.wall_shift.high)
        assert_allclose(values[f"{stem}_high"], times * found.wall_shift.low)


def test_other_doubts_widen_the_limits_as_squares_add():
    # scipy.stats.norm; with scarcely any scatter the ring and the width alone are left.
    k = float(stats.norm.ppf(0.975))
    fit = noisy(noise=1e-9, ring_radius_u="2 mm")
    found = kerf(fit, tooth_width_u=(0.002, "mm"))
    from_ring = found.wall_shift.value * 2.0 / RING
    assert_allclose(found.wall_shift.high - found.wall_shift.value, k * from_ring, rtol=1e-5)
    reach = k * math.hypot(2 * from_ring, 0.002)
    assert_allclose(
        (found.kerf.low, found.kerf.high), found.width.value + np.array([-reach, reach])
    )


def test_rounding_that_does_not_average_out_is_in_the_doubt():
    sure, coarse = (noisy(noise=0.0001, graduation=(step, "mm")) for step in (None, 0.01))
    assert kerf(coarse).wall_shift.u == pytest.approx(coarse.amplitude_u * RIM / RING)
    assert coarse.amplitude_u > 1.05 * coarse.reading_sd / math.sqrt(20)
    assert kerf(sure).wall_shift.u < kerf(coarse).wall_shift.u / 10


def test_without_an_established_wobble_the_kerf_may_be_as_narrow_as_the_teeth():
    found = kerf(noisy(0.0))
    assert found.kerf.low == WIDTH
    assert found.wall_shift.low == 0.0
    assert found.kerf.high > found.width.value
    values = found.to_dict()
    assert values["near_tooth"] is values["far_tooth"] is values["neutral_teeth"] is None
    assert "zeroed at any tooth, boards come out at most" in str(found)
    assert kerf(noisy(0.0), tooth_width_u=(0.1, "mm")).kerf.low < WIDTH
    unsure = kerf(noisy(0.0, ring_radius_u="20 mm"))
    assert (unsure.wall_shift.low, unsure.kerf.low) == (0.0, WIDTH)


def test_a_still_dial_without_a_graduation_leaves_the_doubt_unknown():
    blade = bg.Blade(40, diameter="254 mm", tooth_width=(WIDTH, "mm"))
    fit = bg.fit_wobble(bg.Readings(blade, np.zeros(40), unit="mm", ring_radius=(RING, "mm")))
    found = kerf(fit)
    values = found.to_dict()
    assert values["kerf"] == WIDTH
    for key in ("kerf_u", "kerf_high", "wall_shift_high", "board_at_far_low"):
        assert values[key] is None
    assert "nan" not in str(found)
    assert "-0" not in str(list(values.values()))


@pytest.mark.parametrize("unit", ["mm", "in", "thou", "um"])
def test_lengths_are_in_the_unit_of_the_readings(unit):
    saw = RigidSaw(teeth=24, plate_tilt_deg=0.05, near_deg=33.0)
    mm, other = (kerf(fit_of(saw, one)) for one in ("mm", unit))
    assert other.to_dict()["unit"] == unit
    for key in ("kerf", "wall_shift", "tooth_width", "board_at_neutral", "board_at_far"):
        assert_allclose(other.to_dict()[key], mm.to_dict()[key] * PER_MM[unit], rtol=1e-9)
    thin = kerf(fit_of(saw, unit), tooth_width_u=(0.001, "in"))
    assert_allclose(thin.width.u, 0.0254 * PER_MM[unit], rtol=1e-6)
    assert_allclose(thin.tooth_width_u, 0.0254 * PER_MM[unit])


def test_words_name_the_teeth_the_fence_and_the_limits_of_the_model():
    found = kerf(noisy())
    # Near is at 50 degrees: tooth 7 stands at 54, 27 opposite, 17 and 37 a quarter turn on.
    text = str(found)
    assert "fence on the indicator's side" in text
    assert "fence on the other side" in text
    assert "The walls stay square to the arbor" in text
    assert "a dish is not seen" in text
    assert "The tooth width is taken as exact" in text
    assert "carries its stated doubt" in str(kerf(noisy(), tooth_width_u=(0.01, "mm")))
    one = str(kerf(noisy(), fence="other"))
    assert "fence on the other side" in one
    assert "on the indicator's side" not in one
    near, far = found.line.near.tooth, found.line.far.tooth
    assert f"touching tooth {far}, nearest the fence: right" in one
    assert f"touching {near}, farthest from the fence" in one
    assert near in (6, 7)


def test_keys_are_the_same_whatever_was_asked():
    keys = {
        tuple(kerf(fit, **asked).to_dict())
        for fit in (noisy(), noisy(0.0))
        for asked in ({}, {"fence": "other"}, {"tooth_width_u": (0.001, "in")})
    }
    assert len(keys) == 1


@pytest.mark.parametrize(
    ("asked", "problem"),
    [
        ({"fence": "left"}, "fence is 'left'"),
        ({"fence": True}, "fence is True"),
        ({"tooth_width_u": (0.0, "mm")}, "tooth_width_u is 0 mm"),
        ({"tooth_width_u": (-0.1, "mm")}, "tooth_width_u is -0.1 mm"),
        ({"tooth_width_u": (math.nan, "in")}, "tooth_width_u is nan in"),
        ({"tooth_width_u": (math.inf, "in")}, "tooth_width_u is inf in"),
        ({"tooth_width_u": (True, "mm")}, "tooth_width_u is True mm"),
        ({"tooth_width_u": 0.1}, "without a unit"),
    ],
)
def test_what_cannot_be_answered_is_refused(asked, problem):
    with pytest.raises(bg.RefusedError, match=problem):
        kerf(noisy(), **asked)


def test_everything_missing_is_named():
    with pytest.raises(bg.RefusedError, match="blade ash: the tooth width is not stated") as told:
        kerf(noisy(width=None))
    assert len(told.value.faults) == 1
    bare = bg.Readings(bg.Blade(40), wave(40, 0.05, 0.0).reading, unit="mm")
    with pytest.raises(bg.RefusedError) as told:
        kerf(bg.fit_wobble(bare))
    assert [fault.column for fault in told.value.faults] == [
        "tooth_width",
        "diameter",
        "ring_radius",
    ]
