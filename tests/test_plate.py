"""The plate's shape from several rings: against a body in space, statsmodels, and chance."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from plate_shape import BentPlate, dial_mm, ring_of, truth_of
from rigid_body import RigidBlade, readings_mm, tooth_angles_deg
from simulated import rng_for

import bladegeom as bg
from bladegeom.faults import RefusedError
from bladegeom.plate.plate import fit_plate
from bladegeom.tables.several import Ring

RIM = 127.0
BENT = BentPlate(
    tilt_deg=0.05,
    near_deg=77.0,
    flipped_tilt_deg=0.03,
    flipped_near_deg=200.0,
    dish_mm=0.08,
    saddle_mm=0.05,
    saddle_deg=20.0,
    trefoil_mm=0.02,
    trefoil_deg=50.0,
    slide_slope=0.0007,
)
FRONT = tuple({"radius_mm": radius} for radius in (50.0, 75.0, 110.0))
BOTH = tuple(
    {"radius_mm": radius, "stand": stand} for radius in (60.0, 110.0) for stand in ("front", "back")
)
FLIPPED = tuple(
    {"radius_mm": radius, "flipped": flipped}
    for radius in (60.0, 110.0)
    for flipped in (False, True)
)
PLANS = {"three at the front": FRONT, "front and back": BOTH, "flipped": FLIPPED}


def fitted(plate, plan, harmonics=3, teeth=16, **facts):
    rings = [ring_of(plate, **one, teeth=teeth, **facts) for one in plan]
    return fit_plate(rings, harmonics=harmonics)


def worst_of(fit, plate):
    """How far the fit is from the truth, as a height at the rim in mm."""
    truth = truth_of(plate)
    slopes = [RIM if "tilt" in name or name == "traverse" else 1.0 for name in fit.names]
    errors = [value - truth[name] for name, value in zip(fit.names, fit.values, strict=True)]
    return float(np.abs(np.multiply(errors, slopes)).max())


def flat_ring(radius, reading, *, stand="front", flipped=False, zero="", teeth=None, **facts):
    """A ring of plain numbers, one a tooth, of a blade with a rim of 127 mm."""
    blade = bg.Blade(teeth or len(reading), diameter=(2 * RIM, "mm"), name="A")
    readings = bg.Readings(blade, reading, unit="mm", ring_radius=(radius, "mm"), **facts)
    return Ring(readings, stand, flipped, zero)


def plate_from(reads, **facts):
    """A fit of rings of plain numbers by their radius."""
    return fit_plate([flat_ring(radius, read, **facts) for radius, read in reads.items()])


def model_mm(radius, teeth=24, **parts):
    """The fitted model by hand, for what is about chance and not about geometry."""
    angle = 2 * np.pi * np.arange(teeth) / teeth
    across = radius / RIM
    size = {"tilt": 0.0, "dish": 0.0, "saddle": 0.0, "traverse": 0.0} | parts
    return (
        size["traverse"] * radius
        + size["tilt"] * radius * np.cos(angle - 1.0)
        + across**2 * (size["dish"] + size["saddle"] * np.cos(2 * (angle - 0.7)))
    )


# Against a plate in space that knows nothing of the fitted model


@pytest.mark.parametrize("numbered", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("touch_deg", [0.0, 33.0, -120.0])
@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_every_part_of_the_shape_is_found_with_its_sign(plan, touch_deg, numbered):
    plate = replace(BENT, numbered=numbered).times(0.01)
    fit = fitted(plate, plan, touch_deg=touch_deg, dial_zero_mm=0.02)
    assert not fit.not_identified
    # A hundredth of the faults of a poor blade: what the linear model leaves out is far below.
    assert worst_of(fit, plate) < 1e-9
    assert fit.tilt_grows is not False
    assert fit.saddle_grows is not False
    assert fit.heights_fit is not False


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_what_the_model_leaves_out_shrinks_with_the_square_of_the_faults(plan):
    errors = [worst_of(fitted(BENT.times(size), plan), BENT.times(size)) for size in (1.0, 0.1)]
    assert errors[0] < 5e-6
    assert errors[1] < errors[0] / 50


@pytest.mark.parametrize(
    "alone",
    [
        {"tilt_deg": 0.002, "near_deg": 310.0},
        {"dish_mm": 0.003},
        {"dish_mm": -0.003},
        {"saddle_mm": 0.002, "saddle_deg": 140.0},
        {"trefoil_mm": 0.002, "trefoil_deg": 100.0},
        {"slide_slope": -0.00004},
    ],
    ids=lambda alone: next(iter(alone)),
)
@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_one_fault_alone_shows_in_no_other_part(alone, plan):
    plate = BentPlate(**alone)
    assert worst_of(fitted(plate, plan), plate) < 1e-8


def test_uneven_teeth_and_gaps_are_read_at_their_real_angles():
    plate = BENT.times(0.01)
    read = np.zeros(50)
    read[[3, 4, 17, 30]] = np.nan
    fit = fitted(plate, FRONT, teeth=50, pitch="1 1 1 1 1.6", noise_mm=read)
    assert worst_of(fit, plate) < 1e-9


def test_the_simulation_reads_a_flat_plate_as_the_rigid_body_does():
    for numbered in ("clockwise", "counterclockwise"):
        angles = tooth_angles_deg(12)
        rigid = readings_mm(RigidBlade(1.5, 40.0, numbered), angles, 100.0, touch_deg=25.0)
        plate = BentPlate(tilt_deg=1.5, near_deg=40.0, numbered=numbered)
        assert_allclose(dial_mm(plate, angles, 100.0, touch_deg=25.0), rigid, atol=1e-12)
        back = readings_mm(
            RigidBlade(1.5, 40.0, numbered), angles, 100.0, touch_deg=25.0, stylus_clock_deg=270.0
        )
        assert_allclose(
            dial_mm(plate, angles, 100.0, touch_deg=25.0, stand="back"), back, atol=1e-12
        )


def test_a_dish_turns_away_from_the_indicator_when_the_blade_is_flipped():
    plate = BentPlate(dish_mm=0.1)
    inner, outer = (dial_mm(plate, [0.0], radius)[0] for radius in (30.0, 120.0))
    assert outer > inner
    inner, outer = (dial_mm(plate, [0.0], radius, flipped=True)[0] for radius in (30.0, 120.0))
    assert outer < inner


def test_a_slide_that_leans_away_at_the_front_leans_near_at_the_back():
    fit = fitted(BentPlate(slide_slope=0.0007), BOTH, harmonics=1)
    assert_allclose(fit.value("traverse"), -0.0007, rtol=1e-6)
    assert_allclose(fit.to_dict()["traverse_deg"], -math.degrees(math.atan(0.0007)), rtol=1e-6)


def test_one_ring_gives_the_same_tilt_as_the_wobble_of_that_ring():
    ring = ring_of(BENT, 100.0, noise_mm=rng_for(4).normal(0, 0.004, 40), graduation="0.001 mm")
    plate, wobble = fit_plate([ring], harmonics=1), bg.fit_wobble(ring.readings)
    shown = plate.to_dict()
    assert_allclose(shown["tilt_deg"], wobble.tilt_deg, rtol=1e-12)
    assert_allclose(shown["tilt_u_deg"], wobble.tilt_u_deg, rtol=1e-9)
    assert_allclose(shown["tilt_near_deg"], wobble.near_deg, rtol=1e-12)
    assert_allclose(shown["tilt_near_u_deg"], wobble.near_u_deg, rtol=1e-9)
    assert_allclose(shown["tilt_low_deg"], wobble.tilt.low, rtol=1e-9)
    assert_allclose(shown["tilt_high_deg"], wobble.tilt.high, rtol=1e-9)
    assert_allclose(shown["tilt_p_value"], wobble.p_value, rtol=1e-6)
    assert plate.dof == wobble.dof


# Against outside sources


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_values_and_covariance_are_those_of_statsmodels_ols(plan):
    # statsmodels' OLS, fed with columns written out here.
    rng = rng_for(5)
    rings = [ring_of(BENT, **one, noise_mm=rng.normal(0, 0.01, 40)) for one in plan]
    fit = fit_plate(rings)
    flips = [one.flipped for one in rings]
    parts = []
    for one in rings:
        angle, r = np.radians(one.readings.angle_deg), one.radius_mm
        side, face = (1 if one.stand == "front" else -1), (-1 if one.flipped else 1)
        columns = {
            "tilt_cos": r * np.cos(angle) * (not one.flipped),
            "tilt_sin": r * np.sin(angle) * (not one.flipped),
            "dish": face * (r / RIM) ** 2 * np.ones_like(angle),
            "saddle_cos": face * (r / RIM) ** 2 * np.cos(2 * angle),
            "saddle_sin": face * (r / RIM) ** 2 * np.sin(2 * angle),
            "traverse": side * r * np.ones_like(angle),
        }
        if any(flips):
            columns["flipped_tilt_cos"] = r * np.cos(angle) * one.flipped
            columns["flipped_tilt_sin"] = r * np.sin(angle) * one.flipped
        parts.append(np.column_stack([columns[name] for name in fit.names]))
    zeros = sorted(set(flips))
    offsets = [np.repeat([one.flipped == zero for one in rings], 40) for zero in zeros]
    x = np.column_stack([*offsets, np.vstack(parts)])
    ols = sm.OLS(np.concatenate([one.readings.reading for one in rings]), x).fit()
    first = len(zeros)
    assert_allclose(fit.values, ols.params[first:], rtol=1e-8)
    assert_allclose(fit.covariance, ols.cov_params()[first:, first:], rtol=1e-7, atol=1e-18)
    assert_allclose(fit.residual_sd, math.sqrt(ols.mse_resid), rtol=1e-10)
    assert fit.dof == ols.df_resid
    limits = ols.conf_int(0.05)[first:]
    dish = fit.names.index("dish")
    assert_allclose((fit.dish.low, fit.dish.high), limits[dish], rtol=1e-7)
    assert_allclose(fit.p_value("dish"), ols.pvalues[first + dish], rtol=1e-5, atol=1e-300)


def test_the_growth_test_is_the_f_test_of_nested_models():
    # statsmodels' compare_f_test of one slope for all rings against a wobble for each.
    rng = rng_for(6)
    radii = (50.0, 80.0, 110.0)
    reads = [model_mm(r, tilt=0.0004, saddle=0.02) + rng.normal(0, 0.01, 24) for r in radii]
    fit = fit_plate([flat_ring(r, read, zero=f"{r}") for r, read in zip(radii, reads, strict=True)])
    angle = 2 * np.pi * np.arange(24) / 24
    eye, waves = np.eye(3), np.column_stack([np.cos(angle), np.sin(angle)])
    bends = np.column_stack([np.cos(2 * angle), np.sin(2 * angle)])
    free = np.column_stack(
        [np.kron(eye, np.ones((24, 1))), np.kron(eye, waves), np.kron(eye, bends)]
    )
    bound = np.column_stack(
        [
            np.kron(eye, np.ones((24, 1))),
            np.kron(np.array(radii)[:, np.newaxis], waves),
            np.kron(eye, bends),
        ]
    )
    y = np.concatenate(reads)
    _, p, _ = sm.OLS(y, free).fit().compare_f_test(sm.OLS(y, bound).fit())
    assert_allclose(fit.checks.tilt, p, rtol=1e-8)


# What the plan can tell

R1, R2, R3 = 60.0, 85.0, 110.0


def planned(*places: tuple, teeth=24, harmonics=2, **facts):
    rings = [
        flat_ring(radius, model_mm(radius, teeth, tilt=0.0003) + 0.01 * at, **how, **facts)
        for at, (radius, how) in enumerate(places)
    ]
    return fit_plate(rings, harmonics=harmonics)


BACK, FLIP = {"stand": "back"}, {"flipped": True}
A, B = {"zero": "a"}, {"zero": "b"}


@pytest.mark.parametrize(
    ("places", "dish", "traverse", "why"),
    [
        ([(R1, {})], False, False, "one distance"),
        ([(R1, A), (R3, B)], False, False, "set anew between the rings"),
        ([(R1, A), (R2, B), (R3, {"zero": "c"})], False, False, "set anew between the rings"),
        ([(R1, {}), (R3, {})], False, False, "look the same"),
        ([(R1, BACK), (R3, BACK)], False, False, "look the same"),
        ([(R1, {}), (R3, BACK)], False, False, "look the same"),
        ([(R1, {}), (R1, BACK)], False, True, "one distance"),
        ([(R1, A), (R3, A), (R1, BACK | B), (R3, BACK | B)], True, True, ""),
        ([(R1, {}), (R3, {}), (R1, BACK), (R3, BACK)], True, True, ""),
        ([(R1, {}), (R3, {}), (R3, BACK)], True, True, ""),
        ([(R1, {}), (R2, {}), (R3, {})], True, True, ""),
        ([(R1, A), (R2, A), (R2, B), (R3, B)], True, True, ""),
        ([(R1, A), (R3, A), (R1, B), (R3, B)], False, False, "look the same"),
        ([(R1, {}), (R3, {}), (R1, FLIP), (R3, FLIP)], True, True, ""),
        ([(R1, {}), (R3, {}), (R1, FLIP)], False, False, "look the same"),
        ([(R1, {}), (R3, FLIP)], False, False, "set anew between the rings"),
        ([(R1, {}), (R1 + 0.001, {}), (R1 + 0.002, {})], False, False, "too close"),
    ],
)
def test_a_dish_is_claimed_only_where_nothing_else_looks_like_it(places, dish, traverse, why):
    fit = planned(*places)
    assert ("dish" in fit.names) is dish
    assert ("traverse" in fit.names) is traverse
    assert ("dish" in fit.not_identified) is not dish
    assert ("traverse" in fit.not_identified) is not traverse
    assert why in fit.not_identified.get("dish", "")
    assert {"tilt_cos", "tilt_sin", "saddle_cos", "saddle_sin"} <= set(fit.names)
    shown = fit.to_dict()
    assert (shown["dish"] is None) is not dish
    assert (shown["traverse_deg"] is None) is not traverse
    if not dish:
        assert fit.value("dish") is fit.estimate("dish") is fit.dish is fit.p_value("dish") is None
        assert "not told by this plan" in str(fit)


@pytest.mark.parametrize(
    "places",
    [
        [(R1, {}), (R3, {})],
        [(R1, {}), (R1, BACK)],
        [(R1, A), (R3, B)],
        [(R1, {}), (R2, {}), (R3, {})],
        [(R1, {}), (R3, {}), (R1, BACK), (R3, BACK)],
        [(R1, {}), (R3, {}), (R1, FLIP), (R3, FLIP)],
    ],
)
def test_what_is_told_does_not_move_with_what_is_not(places):
    # A dish, a traverse and a new zero are added; what is claimed must be found as it was made.
    made = {"tilt": 0.0004, "saddle": 0.03}
    zeros = {}
    rings = []
    for radius, how in places:
        face, side = (-1 if how.get("flipped") else 1), (-1 if how.get("stand") == "back" else 1)
        zero = zeros.setdefault((face, how.get("zero", "")), 0.5 * len(zeros))
        tilt = model_mm(radius, tilt=made["tilt"])
        body = model_mm(radius, dish=0.07, saddle=made["saddle"])
        rings.append(flat_ring(radius, tilt + face * body + side * 0.0009 * radius + zero, **how))
    fit = fit_plate(rings)
    truth = {
        "tilt_cos": 0.0004 * math.cos(1.0),
        "tilt_sin": 0.0004 * math.sin(1.0),
        "saddle_cos": 0.03 * math.cos(1.4),
        "saddle_sin": 0.03 * math.sin(1.4),
        "dish": 0.07,
        "traverse": 0.0009,
    }
    for name in fit.names:
        own = name.removeprefix("flipped_")
        assert_allclose(fit.value(name), truth[own], rtol=1e-9, err_msg=name)


@pytest.mark.parametrize(
    ("teeth", "orders"), [(4, 1), (5, 2), (6, 2), (7, 3), (8, 3), (9, 4), (12, 5)]
)
def test_waves_above_half_the_teeth_are_never_claimed(teeth, orders):
    # m evenly spaced teeth tell (m - 1) / 2 waves, also where the radius would seem to help.
    fit = planned((R1, {}), (R2, {}), (R3, {}), teeth=teeth, harmonics=6)
    for order in range(2, 7):
        group = "saddle" if order == 2 else f"wave{order}"
        assert (f"{group}_cos" in fit.names) is (order <= orders)
        if order > orders:
            assert f"at least {2 * order + 1} teeth" in fit.not_identified[group]
            assert fit.to_dict()[group] is None


@pytest.mark.parametrize(
    ("places", "growth"),
    [
        ([(R1, {})], []),
        ([(R1, {}), (R1, BACK)], []),
        ([(R1, {}), (R3, FLIP)], ["saddle"]),
        ([(R1, {}), (R1, FLIP), (R3, FLIP)], ["tilt", "saddle"]),
        ([(R1, A), (R3, B)], ["tilt", "saddle"]),
    ],
)
def test_growth_is_tested_only_where_two_distances_show_it(places, growth):
    fit = planned(*places)
    assert (fit.tilt_grows is not None) is ("tilt" in growth)
    assert (fit.saddle_grows is not None) is ("saddle" in growth)
    assert ("tilt_growth" in fit.not_identified) is ("tilt" not in growth)
    assert ("saddle_growth" in fit.not_identified) is ("saddle" not in growth)


def test_keys_are_the_same_whatever_the_plan():
    plans = [
        [(R1, {})],
        [(R1, {}), (R3, {}), (R1, BACK), (R3, BACK)],
        [(R1, {}), (R3, {}), (R1, FLIP), (R3, FLIP)],
    ]
    keys = [list(planned(*one).to_dict()) for one in plans]
    assert keys[0] == keys[1] == keys[2]
    assert len(set(keys[0])) == len(keys[0])
    assert list(planned((R1, {}), harmonics=1).to_dict()) == keys[0]


# Chance


def noisy(rng, plan, sd=0.004, teeth=24, graduation=None, **parts):
    rings = []
    for radius, how in plan:
        read = model_mm(radius, teeth, **parts) + rng.normal(0, sd, teeth)
        facts = {}
        if graduation:
            read = np.round(read / graduation) * graduation
            facts = {"graduation": (graduation, "mm")}
        rings.append(flat_ring(radius, read, **how, **facts))
    return fit_plate(rings)


THREE = [(50.0, {}), (80.0, {}), (110.0, {})]
CASES, FEWER = 200, 100


def strayed(share, cases=CASES):
    """Four standard deviations of a share that should be met in so many cases."""
    return 4 * math.sqrt(share * (1 - share) / cases)


def test_95_percent_limits_hold_in_95_percent_of_blades():
    rng = rng_for(7)
    slope, saddle, dish = 0.0002, 0.02, 0.03
    hits = np.zeros(5)
    for _ in range(CASES):
        shown = noisy(rng, THREE, tilt=slope, saddle=saddle, dish=dish).to_dict()
        tilt = math.degrees(math.atan(slope))
        hits += [
            shown["tilt_low_deg"] <= tilt <= shown["tilt_high_deg"],
            abs(shown["tilt_near_deg"] - math.degrees(1.0)) <= _half(shown, "tilt_near"),
            shown["dish_low"] <= dish <= shown["dish_high"],
            shown["saddle_low"] <= saddle <= shown["saddle_high"],
            shown["saddle_crest_low_deg"] <= math.degrees(0.7) <= shown["saddle_crest_high_deg"],
        ]
    assert_allclose(hits / CASES, 0.95, atol=strayed(0.95))


def _half(shown, stem):
    return (shown[f"{stem}_high_deg"] - shown[f"{stem}_low_deg"]) / 2


def test_flat_plates_seldom_seem_bent_and_good_ones_seldom_seem_wrong():
    rng = rng_for(8)
    plan = [(50.0, {}), (110.0, {}), (50.0, BACK), (110.0, BACK)]
    alarms = np.zeros(6)
    for _ in range(CASES):
        fit = noisy(rng, plan)
        shown = fit.to_dict()
        alarms += [
            shown["tilt_resolved"],
            shown["dish_resolved"],
            shown["saddle_resolved"],
            fit.checks.tilt < 0.05,
            fit.checks.saddle < 0.05,
            fit.checks.heights < 0.05,
        ]
    assert_allclose(alarms / CASES, 0.05, atol=strayed(0.05))


def test_limits_hold_on_a_coarse_dial_where_rounding_does_not_average_out():
    # Common practice, no source: rounding of a quiet signal is the same all round.
    rng = rng_for(9)
    graduation = 0.01
    hits = np.zeros(3)
    for _ in range(FEWER):
        dish, slope = rng.uniform(-0.02, 0.02), rng.uniform(0.00001, 0.0001)
        shown = noisy(
            rng, THREE, sd=0.001, graduation=graduation, dish=dish, tilt=slope, saddle=0.004
        ).to_dict()
        hits += [
            shown["tilt_low_deg"] <= math.degrees(math.atan(slope)) <= shown["tilt_high_deg"],
            shown["dish_low"] <= dish <= shown["dish_high"],
            shown["saddle_low"] <= 0.004 <= shown["saddle_high"],
        ]
    assert (hits / FEWER >= 0.95 - strayed(0.95, FEWER)).all()


def test_doubt_of_the_ring_radii_counts_in_proportion():
    rng = rng_for(10)
    read = model_mm(100.0, tilt=0.002, saddle=0.2) + rng.normal(0, 0.001, 24)
    plain = fit_plate([flat_ring(100.0, read)])
    loose = fit_plate([flat_ring(100.0, read, ring_radius_u="2 mm")])
    slope, u = loose.wave("tilt").amplitude, loose.wave("tilt").amplitude_u
    assert_allclose(u, math.hypot(plain.wave("tilt").amplitude_u, slope * 0.02), rtol=1e-9)
    # The saddle is carried from the ring with the radius squared: twice the share.
    height, u = loose.wave("saddle").amplitude, loose.wave("saddle").amplitude_u
    assert_allclose(u, math.hypot(plain.wave("saddle").amplitude_u, height * 0.04), rtol=1e-9)


def test_limits_hold_where_the_rings_are_not_where_they_are_said_to_be():
    rng = rng_for(11)
    hits = np.zeros(2)
    for _ in range(FEWER):
        rings = []
        for radius, how in [(50.0, {}), (110.0, {}), (50.0, BACK), (110.0, BACK)]:
            side = -1 if how else 1
            real = radius + rng.normal(0, 1.5)
            read = model_mm(real, tilt=0.002, dish=0.2) + side * 0.001 * real
            read += rng.normal(0, 0.002, 24)
            rings.append(flat_ring(radius, read, ring_radius_u="1.5 mm", **how))
        shown = fit_plate(rings).to_dict()
        assert shown["tilt_grows"] is not None
        hits += [
            shown["tilt_low_deg"] <= math.degrees(math.atan(0.002)) <= shown["tilt_high_deg"],
            shown["dish_low"] <= 0.2 <= shown["dish_high"],
        ]
    assert_allclose(hits / FEWER, 0.95, atol=strayed(0.95, FEWER))


# When the plate does not behave as the model says


def test_a_bent_rim_is_told_and_its_wobble_is_not_carried_out():
    rng = rng_for(12)
    reads = {r: model_mm(r, tilt=0.0002) + rng.normal(0, 0.002, 24) for r in (50.0, 80.0, 110.0)}
    reads[110.0] += 0.02 * np.cos(2 * np.pi * np.arange(24) / 24)
    fit = plate_from(reads)
    assert fit.tilt_grows is False
    assert fit.to_dict()["tilt_tir"] is None
    assert any("the rim is bent" in one for one in fit.warnings)
    assert "carry no amplitude to the rim" in str(fit)


def test_a_wrong_radius_is_told_as_growth_that_fails():
    rng = rng_for(13)
    inner, outer = (model_mm(r, tilt=0.002) + rng.normal(0, 0.002, 24) for r in (50.0, 110.0))
    assert plate_from({50.0: inner, 90.0: outer}).tilt_grows is False
    assert plate_from({50.0: inner, 110.0: outer}).tilt_grows is True


def test_a_stand_that_moved_between_rings_is_told():
    rng = rng_for(14)
    plan = [(50.0, {}), (110.0, {}), (50.0, BACK), (110.0, BACK)]
    rings = [
        flat_ring(r, model_mm(r, dish=0.05) + rng.normal(0, 0.002, 24) + 0.02 * (at == 3), **how)
        for at, (r, how) in enumerate(plan)
    ]
    fit = fit_plate(rings)
    assert fit.heights_fit is False
    assert any("do not trust the dish" in one for one in fit.warnings)
    assert "sawsmith" not in str(fit)


def test_turns_at_different_heights_are_told():
    rng = rng_for(15)
    turn, tooth = np.repeat([1, 2], 24), np.tile(np.arange(1, 25), 2)
    reads = {r: np.tile(model_mm(r), 2) + rng.normal(0, 0.002, 48) for r in (50.0, 80.0, 110.0)}
    said = "its turns stand at different heights"

    def fit():
        return plate_from(reads, teeth=24, turn=turn, tooth=tooth)

    assert not any(said in one for one in fit().warnings)
    reads[80.0][24:] += 0.02
    assert [one.startswith("ring 80 mm") for one in fit().warnings if said in one] == [True]


def test_a_closing_reading_stays_out_and_speaks_for_the_shared_zero():
    rng = rng_for(16)
    reads = {r: model_mm(r, tilt=0.0003) + rng.normal(0, 0.001, 24) for r in (50.0, 80.0, 110.0)}
    plain = plate_from(reads)
    closed = plate_from({r: [*read, read[0] + 0.05] for r, read in reads.items()}, teeth=24)
    assert_allclose(closed.values, plain.values, rtol=1e-12)
    assert closed.dof == plain.dof
    assert sum("the zero that the rings share moved" in one for one in closed.warnings) == 3


def test_play_is_taken_out_of_the_tilt_where_a_ring_was_read_both_ways():
    angle = 2 * np.pi * np.arange(24) / 24
    lag = math.radians(4.0)
    rings = []
    for radius in (50.0, 110.0):
        both = [radius * 0.001 * np.cos(angle - 1.0 - way * lag) for way in (1, -1)]
        rings.append(
            flat_ring(
                radius,
                np.concatenate(both),
                teeth=24,
                tooth=np.tile(np.arange(1, 25), 2),
                turn=np.repeat([1, 2], 24),
                turned=["forward"] * 24 + ["backward"] * 24,
            )
        )
    fit = fit_plate(rings)
    assert_allclose(fit.to_dict()["tilt_near_deg"], math.degrees(1.0), atol=1e-9)
    assert fit.residual_sd < 1e-12


# What people read


def test_the_dish_is_said_with_its_way_and_what_it_means():
    rng = rng_for(17)
    for dish, way in ((0.08, "toward the indicator"), (-0.08, "away from the indicator")):
        fit = noisy(rng, THREE, dish=dish, saddle=0.05)
        text = str(fit)
        assert way in text
        low, high = sorted(abs(one) for one in (fit.dish.low, fit.dish.high))
        assert f"(95 %: {low:.3f} to {high:.3f})" in text
        assert fit.to_dict()["dish_toward"] is (dish > 0)
        assert "sawsmith" in text
        assert "Do not hammer" in text
        assert "the cut stays square" in text
    # The crest is planted at 0.7 rad, 40 deg: teeth 3.7 and 15.7 of 24.
    assert fit.to_dict()["saddle_teeth"] == [4, 16]
    assert "by teeth 4 and 16" in text


def test_a_zero_that_nobody_named_is_said_to_be_taken_for_granted():
    assert any(
        "no zero is named" in one for one in planned(*[(r, {}) for r in (R1, R2, R3)]).warnings
    )
    named = planned(*[(r, A) for r in (R1, R2, R3)])
    assert not any("no zero is named" in one for one in named.warnings)
    assert any("read from one side" in one for one in named.warnings)


def test_without_a_diameter_the_outermost_ring_is_the_reference():
    reads = {r: model_mm(r, tilt=0.0003, dish=0.05) for r in (50.0, 80.0, 110.0)}
    rings = [
        Ring(
            bg.Readings(bg.Blade(24), read, unit="mm", ring_radius=(r, "mm"), graduation="0.001 mm")
        )
        for r, read in reads.items()
    ]
    fit = fit_plate(rings)
    assert fit.reference_radius == 110.0
    assert not fit.at_rim
    assert_allclose(fit.value("dish"), 0.05 * (110 / RIM) ** 2, rtol=1e-9)
    assert "at the outermost ring" in str(fit)


def test_readings_that_are_all_the_same_promise_nothing():
    same = {r: np.full(24, 0.1) for r in (50.0, 80.0, 110.0)}
    shown = plate_from(same).to_dict()
    assert shown["dish"] == shown["tilt_deg"] == 0.0
    assert shown["dish_u"] is shown["dish_high"] is shown["tilt_high_deg"] is None
    assert not shown["dish_resolved"]
    assert shown["tilt_grows"] is shown["heights_fit_p"] is None
    assert "state the graduation" in shown["warnings"][0]
    shown = plate_from(same, graduation="0.01 mm").to_dict()
    assert shown["dish_high"] > 0
    assert not shown["dish_resolved"]
    str(plate_from(same))


def test_height_at_is_the_shape_that_was_told():
    plate = BENT.times(0.01)
    fit = fitted(plate, BOTH)
    angle = np.array([0.0, 45.0, 200.0])
    level = [replace(plate, slide_slope=0.0)] * 2
    centre = dial_mm(level[0], [0.0], 1e-9)[0]
    assert_allclose(
        fit.height_at(127.0, angle), dial_mm(level[1], angle, 127.0) - centre, atol=1e-9
    )
    assert_allclose(fit.height_at(0.0, angle), 0.0)


# Units, order, symmetry


@pytest.mark.parametrize("unit", ["in", "thou"])
@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_millimetres_and_inches_say_the_same(plan, unit):
    noise = rng_for(18).normal(0, 0.004, (len(plan), 10))

    def fit(unit):
        rings = [
            ring_of(BENT, **one, noise_mm=own, unit=unit, teeth=10)
            for one, own in zip(plan, noise, strict=True)
        ]
        return fit_plate(rings)

    mm, other = fit("mm"), fit(unit)
    per = {"in": 25.4, "thou": 0.0254}[unit]
    for name in mm.names:
        slope = 1.0 if "tilt" in name or name == "traverse" else per
        assert_allclose(other.value(name) * slope, mm.value(name), rtol=1e-7)
        assert_allclose(other.estimate(name).u * slope, mm.estimate(name).u, rtol=1e-7)
    for key, value in mm.to_dict().items():
        if key.endswith("_deg") and value is not None:
            assert_allclose(other.to_dict()[key], value, rtol=1e-7, atol=1e-9)


def sizes(low, high):
    """Lengths and slopes as they are measured: none so small that readings of it are refused."""
    return st.floats(low, high).map(lambda size: round(size, 9))


@settings(max_examples=40, deadline=None)
@given(
    tilt=sizes(0, 0.003),
    near=st.floats(0, 360),
    dish=sizes(-0.3, 0.3),
    saddle=sizes(0, 0.2),
    crest=st.floats(0, 180),
    slide=sizes(-0.002, 0.002),
    zero=sizes(-2, 2),
    teeth=st.integers(5, 60),
    plan=st.sampled_from([FRONT, BOTH, FLIPPED]),
)
def test_any_plate_is_given_back(tilt, near, dish, saddle, crest, slide, zero, teeth, plan):
    angle = np.radians(360 * np.arange(teeth) / teeth)
    rings = []
    for one in plan:
        r, flipped = one["radius_mm"], one.get("flipped", False)
        side, face = (-1 if one.get("stand") == "back" else 1), (-1 if flipped else 1)
        read = zero + side * slide * r + r * tilt * np.cos(angle - math.radians(near))
        read += face * (r / RIM) ** 2 * (dish + saddle * np.cos(2 * (angle - math.radians(crest))))
        rings.append(flat_ring(r, read, stand=one.get("stand", "front"), flipped=flipped))
    fit = fit_plate(rings)
    assert_allclose(fit.value("dish"), dish, atol=1e-9)
    assert_allclose(fit.value("traverse"), slide, atol=1e-11)
    assert_allclose(fit.wave("tilt").amplitude, tilt, atol=1e-11)
    assert_allclose(fit.wave("saddle").amplitude, saddle, atol=1e-10)
    swapped = fit_plate(rings[::-1])
    assert_allclose(swapped.values, fit.values, atol=1e-9)


@settings(max_examples=25, deadline=None)
@given(
    places=st.lists(
        st.tuples(
            st.sampled_from([40.0, 60.0, 85.0, 110.0]),
            st.sampled_from(["front", "back"]),
            st.booleans(),
            st.sampled_from(["", "a", "b"]),
        ),
        min_size=1,
        max_size=6,
        unique=True,
    )
)
def test_no_plan_claims_a_dish_that_a_zero_and_a_traverse_could_make(places):
    # Whatever the plan: if one dish more is the same as other zeros and another traverse, by a
    # plain rank of the rings' heights, it must not be claimed, and else it must.
    if all(flipped for _, _, flipped, _ in places):
        places = [(r, stand, False, zero) for r, stand, _, zero in dict.fromkeys(places)]
        places = list(dict.fromkeys(places))
    rings = [
        flat_ring(r, model_mm(r) + 0.001 * at, stand=stand, flipped=flipped, zero=zero)
        for at, (r, stand, flipped, zero) in enumerate(places)
    ]
    zeros = list(dict.fromkeys((flipped, zero) for _, _, flipped, zero in places))
    offsets = np.array([[(f, z) == one for one in zeros] for _, _, f, z in places], dtype=float)
    traverse = np.array([[r if stand == "front" else -r] for r, stand, _, _ in places]) / RIM
    dish = np.array([[-(r**2) if f else r**2] for r, _, f, _ in places]) / RIM**2
    without = np.hstack([offsets, traverse])
    rank = np.linalg.matrix_rank
    told = rank(np.hstack([without, dish]), tol=1e-9) > rank(without, tol=1e-9)
    assert ("dish" in fit_plate(rings).names) == told


# Refused


def refused(rings, **how):
    with pytest.raises(RefusedError) as caught:
        fit_plate(rings, **how)
    return caught.value.faults


GOOD = model_mm(R1, tilt=0.0003)


def test_no_rings_and_things_that_are_none_are_refused():
    assert "no ring" in refused([])[0].problem
    assert "takes several Ring" in refused([flat_ring(R1, GOOD).readings])[0].problem


@pytest.mark.parametrize(
    ("facts", "how", "problem", "column"),
    [
        *(({}, {"harmonics": one}, "harmonics", None) for one in (0, -1, 13, 2.5)),
        *(({}, {"harmonics": one}, "whole number", "harmonics") for one in (True, None, "2")),
        ({"flipped": True}, {}, "all rings are flipped", "flipped"),
        ({"surface": "teeth"}, {}, "read on the teeth", "surface"),
    ],
)
def test_a_ring_and_a_fit_that_cannot_be_are_refused(facts, how, problem, column):
    (fault,) = refused([flat_ring(R1, GOOD, **facts)], **how)
    assert problem in fault.problem
    assert fault.column == column


def test_rings_of_other_blades_units_and_sides_are_refused_together():
    other = bg.Blade(24, diameter=(2 * RIM, "mm"), name="B")
    same = bg.Blade(24, diameter=(2 * RIM, "mm"), name="A")
    left = {"side": "left"}
    rings = [
        flat_ring(R1, GOOD, **left),
        Ring(bg.Readings(other, GOOD + 1, unit="mm", ring_radius=(R2, "mm"), **left)),
        flat_ring(R3, GOOD + 2, side="right"),
        Ring(bg.Readings(same, GOOD, unit="in", ring_radius=(R3, "mm"), **left)),
    ]
    faults = refused(rings)
    assert [one.column for one in faults] == ["blade", "side", None]
    assert "read in in" in faults[2].problem
    assert all(one.cure for one in faults)


def test_the_same_blade_with_other_sizes_is_refused():
    blade = bg.Blade(24, diameter="250 mm", name="A")
    rings = [
        flat_ring(R1, GOOD),
        Ring(bg.Readings(blade, GOOD + 1, unit="mm", ring_radius=(R2, "mm"))),
    ]
    assert "other sizes or teeth" in refused(rings)[0].problem


def test_a_flipped_blade_may_be_numbered_the_other_way_and_no_other():
    def ring(radius, numbered, flipped=False):
        blade = bg.Blade(24, diameter=(2 * RIM, "mm"), numbered=numbered)
        read = model_mm(radius, tilt=0.0003)
        return Ring(
            bg.Readings(blade, read, unit="mm", ring_radius=(radius, "mm")), flipped=flipped
        )

    fit_plate([ring(R1, "clockwise"), ring(R1, "counterclockwise", flipped=True)])
    assert refused([ring(R1, "clockwise"), ring(R2, "counterclockwise")])


def test_the_very_same_readings_are_not_counted_twice():
    assert "the very same readings" in refused([flat_ring(R1, GOOD)] * 2)[0].problem
    # At another place they may be so by chance, on a coarse dial.
    fit = fit_plate([flat_ring(R1, GOOD), flat_ring(R2, GOOD)])
    assert any("was one copied?" in one for one in fit.warnings)


def test_one_ring_given_twice_with_other_facts_is_refused():
    rings = [flat_ring(R1, GOOD), flat_ring(R1, GOOD + 1e-3, touch_deg=30.0)]
    (fault,) = refused(rings)
    assert fault.column == "touch_deg"
    fit_plate([flat_ring(R1, GOOD), flat_ring(R1, GOOD + 1e-3, touch_deg=30.0, zero="again")])


def test_few_teeth_and_short_arcs_are_refused_by_ring():
    rings = [
        flat_ring(R1, GOOD),
        flat_ring(R2, GOOD[:3], teeth=24, tooth=[1, 9, 17]),
        flat_ring(R3, GOOD[:4], teeth=24, tooth=[1, 2, 3, 4], stand="back"),
    ]
    few, short = refused(rings)
    assert few.problem.startswith("ring 85 mm, front: only 3")
    assert short.problem.startswith("ring 110 mm, back: the teeth read lie on too short an arc")


def test_play_and_tilt_that_go_together_are_refused():
    turned = ["forward", "forward", "backward", "backward"]
    rings = [flat_ring(R1, GOOD[:4], teeth=4, turned=turned), flat_ring(R3, GOOD)]
    faults = refused(rings[:1])
    assert "play of the indicator" in faults[0].problem
    assert faults[0].problem.startswith("ring 60 mm")


def test_no_reading_to_spare_is_refused():
    (fault,) = refused([flat_ring(R1, GOOD[:5])])
    assert "5 readings for 5 unknowns" in fault.problem
    assert "harmonics=1" in fault.cure
    assert fit_plate([flat_ring(R1, GOOD[:5])], harmonics=1).dof == 2
