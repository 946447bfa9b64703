"""The invented shop: every planted fault stands in the records as its key says."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import bladegeom as bg
from bladegeom.invented.shop import SHARES, SimulatedShop, _renumbered, simulate_shop
from bladegeom.invented.simulate import simulate

MISTAKES = {
    "gum": "spike",
    "bump": "step",
    "skipped": "skipped",
    "doubled": "doubled",
    "lost minus": "sign",
    "decimal slip": "scale",
    "wrong unit": "unit",
    "bend": "bend",
    "saddle": "saddle",
}


@pytest.fixture(scope="module")
def month() -> SimulatedShop:
    return simulate_shop(rng=7)


def as_text(shop: SimulatedShop) -> str:
    return shop.to_frame().to_csv() + shop.keys_frame().to_csv()


def test_the_same_seed_gives_the_same_records() -> None:
    records = as_text(simulate_shop(3, 6, rng=7))
    assert records == as_text(simulate_shop(3, 6, rng=7))
    assert records != as_text(simulate_shop(3, 6, rng=8))


def test_every_fault_is_planted_in_its_share_and_named_in_its_key(month: SimulatedShop) -> None:
    incoming = [one for one in month.visits if one.job == "in"]
    assert len(incoming) == 22 * 12
    assert Counter(one.day for one in incoming) == dict.fromkeys(range(1, 23), 12)
    found = Counter(one.fault for one in incoming)
    for fault, share in SHARES.items():
        # Four standard deviations of a count.
        expected = share * len(incoming)
        assert abs(found[fault] - expected) <= 4 * np.sqrt(expected * (1 - share))
        assert found[fault] > 0
    for one in incoming:
        planted = one.made.key.kinds
        assert planted == ((MISTAKES[one.fault],) if one.fault in MISTAKES else ())
        assert (one.made.readings is None) == (one.fault in ("skipped", "doubled"))


def test_a_dirty_seat_is_one_tilt_a_turn(month: SimulatedShop) -> None:
    for one in month.visits:
        low, high = {"seat": (0.15, 0.40), "lost minus": (0.08, 0.12)}.get(one.fault, (0.01, 0.12))
        assert low <= one.made.key.wobble_tir <= high


def test_no_blade_comes_twice_on_a_day_and_all_come_back_after_they_came(
    month: SimulatedShop,
) -> None:
    seen: dict[str, Any] = {}
    back = 0
    for one in month.visits:
        if one.job == "in":
            assert one.blade not in seen
            assert len(one.blade) == 6
            seen[one.blade] = one
            continue
        back += 1
        came = seen[one.blade]
        assert came.fault != "none"
        assert came.day < one.day <= came.day + 3
        assert one.fault == "none"
    faulty = sum(one.fault != "none" for one in seen.values())
    assert 0.4 < back / faulty < 0.7
    assert max(one.day for one in month.visits) == 22


def test_service_takes_the_fault_away_and_reading_again_takes_the_mistake(
    month: SimulatedShop,
) -> None:
    came = {one.blade: one for one in month.visits if one.job == "in"}
    checked = set()
    for one in month.visits:
        if one.job == "in":
            continue
        before, after = came[one.blade].made.key, one.made.key
        fault = came[one.blade].fault
        checked.add((fault, one.marked))
        assert after.blade == before.blade
        if fault in ("seat", "bend", "saddle"):
            assert after.wobble_tir <= 0.04
        else:
            assert after.wobble_tir == pytest.approx(before.wobble_tir)
        if fault == "bend":
            ((was,), (now,)) = before.hidden.bends, after.hidden.bends
            assert now.height == pytest.approx(was.height / 10)
            same = now.first == was.first
            assert same or not one.marked
        if fault == "saddle":
            assert after.hidden.saddle == pytest.approx(before.hidden.saddle / 10)
    assert {fault for fault, _ in checked} >= {"seat", "bend", "saddle"}


@pytest.mark.parametrize("seed", range(12))
def test_an_unmarked_blade_read_again_is_the_same_blade_turned_on(seed: int) -> None:
    """Without noise, the second turn is the first one, begun at another tooth."""
    shop = simulate_shop(4, 6, rng=seed, shares={"gum": 1.0}, back=1.0)
    came = {one.blade: one for one in shop.visits if one.job == "in"}
    turned = 0
    for one in shop.visits:
        if one.job == "in":
            continue
        teeth = one.made.key.blade.teeth
        before = came[one.blade].made.key.parts["tilt"][:teeth]
        after = one.made.key.parts["tilt"][:teeth]
        fits = [np.allclose(np.roll(before, -shift), after, atol=1e-9) for shift in range(teeth)]
        assert any(fits)
        assert fits[0] or not one.marked
        turned += not fits[0]
    assert turned


@pytest.mark.parametrize("first", [1, 2, 17, 24])
def test_counting_from_another_tooth_moves_every_fault_alike(first: int) -> None:
    blade = bg.Blade(24, diameter="250 mm")
    hidden = [
        bg.invented.Tilt("0.1 mm", near_deg=77.0),
        bg.invented.LocalBend(22, 3, "0.1 mm"),
        bg.invented.Saddle("0.05 mm", crest_deg=20.0),
    ]
    exact: dict[str, Any] = {"rng": 1, "noise_sd": "0 mm", "graduation": "0 mm", "closing": False}
    before = simulate(blade, faults=hidden, **exact).written
    after = simulate(blade, faults=_renumbered(hidden, blade, first), **exact).written
    np.testing.assert_allclose(after, np.roll(before, 1 - first), rtol=0, atol=1e-12)


def test_mistakes_are_found_where_they_were_planted() -> None:
    shares = {"gum": 0.5, "lost minus": 0.5}
    shop = simulate_shop(5, 8, rng=3, shares=shares, back=0.0)
    found = 0
    for one in shop.visits:
        assert one.made.readings is not None
        findings = bg.check_readings(one.made.readings)
        teeth = one.made.key.planted[0].teeth
        found += any(finding.teeth == teeth for finding in findings)
    # A minus lost near the neutral line is as small as the scatter and cannot be told.
    assert found >= 0.9 * len(shop.visits)


def test_a_days_table_reads_back(month: SimulatedShop, tmp_path: Any) -> None:
    day = 5
    made = [one for one in month.visits if one.day == day]
    path = tmp_path / "day.csv"
    month.to_frame(day).to_csv(path, index=False)
    batch = bg.read_blades(path)
    back = {one.blade.name: one for one in batch.readings}
    whole = {one.blade: one.made.readings for one in made if one.made.readings is not None}
    assert set(whole) <= set(back)
    for name, readings in whole.items():
        np.testing.assert_array_equal(back[name].reading, readings.reading)
        np.testing.assert_array_equal(back[name].tooth, readings.tooth)
    doubled = {one.blade for one in made if one.fault == "doubled"}
    assert {fault.blade for fault in batch.refused} == doubled


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"days": 0}, "days is 0"),
        ({"blades_a_day": 2.5}, "blades_a_day is 2.5"),
        ({"days": 1000, "blades_a_day": 11}, "11000 blades come in"),
        ({"unit": "cm"}, "unit is 'cm'"),
        ({"back": 1.5}, "back is 1.5"),
        ({"shares": {"rust": 0.1}}, "shares names 'rust'"),
        ({"shares": {"seat": 0.7, "bend": 0.7}}, "add up to 1.4"),
        ({"shares": {"seat": -0.1}}, "share of seat is -0.1"),
        ({"rng": "seed"}, "rng is 'seed'"),
    ],
)
def test_an_impossible_shop_is_refused(asked: dict[str, Any], words: str) -> None:
    with pytest.raises(bg.RefusedError, match=words):
        simulate_shop(**({"rng": 1} | asked))


def test_a_day_without_blades_is_refused(month: SimulatedShop) -> None:
    with pytest.raises(bg.RefusedError, match="day 90"):
        month.to_frame(90)


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    unit=st.sampled_from(["mm", "in", "thou", "um"]),
    fault=st.sampled_from(sorted(SHARES)),
)
def test_any_fault_can_be_planted_in_any_blade(seed: int, unit: str, fault: str) -> None:
    shop = simulate_shop(2, 4, rng=seed, unit=unit, shares={fault: 1.0}, back=1.0)
    assert all(one.fault == fault for one in shop.visits if one.job == "in")
    assert set(shop.keys_frame()["unit"]) == {unit}
