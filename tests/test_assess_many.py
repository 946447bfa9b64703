"""A whole table judged at once: the same outcomes, actions and words as blade by blade."""

from __future__ import annotations

import json
import warnings

import numpy as np
import pandas as pd
import pytest
from simulated import rng_for

import bladegeom as bg
from bladegeom.invented.shop import simulate_shop
from bladegeom.kernel.span import Scatter
from bladegeom.tables.read import parse_blades

WOBBLE = bg.Limit("wobble_tir", "0.1 mm", "invented")
RAW = bg.Limit("raw_tir", "0.13 mm", "invented")
BOTH = bg.Limits((WOBBLE, RAW))


def lot(
    count,
    seed,
    *,
    turns=1,
    closed=False,
    gaps=0.0,
    graduation=None,
    drift=0.0,
    amplitudes=(0.005, 0.1),
):
    """A frame of invented blades: true, out, bent, in waves, slipped, not wholly read."""
    rng, frames = rng_for(seed), []
    for number in range(count):
        teeth = int(rng.choice([24, 40]))
        angle = 2 * np.pi * np.arange(teeth) / teeth
        shape = rng.uniform(*amplitudes) * np.cos(angle - rng.uniform(0, 6)) + rng.normal(0, 0.1)
        kind = number % 12
        if kind == 3:
            shape[(int(rng.integers(teeth)) + np.arange(6)) % teeth] += rng.uniform(0.03, 0.15)
        if kind == 7:
            shape += rng.uniform(0.03, 0.12) * np.cos(2 * angle)
        for turn in range(1, turns + 1):
            tooth = np.arange(teeth + closed) % teeth + 1
            read = shape[tooth - 1] + rng.normal(0, 0.005, len(tooth))
            read += drift * rng.normal() * np.arange(len(tooth)) / teeth
            if graduation:
                read = np.round(read / graduation) * graduation
            if kind == 11 and turn == 1:
                read[int(rng.integers(teeth))] += 0.2
            facts = {"teeth": teeth, "ring_radius_mm": 110.0, "diameter_mm": 254.0}
            facts |= {"graduation_mm": graduation} if graduation else {}
            there = rng.random(len(tooth)) >= gaps
            frame = pd.DataFrame(
                {"blade": f"B{number}", "tooth": tooth, "turn": turn, "reading_mm": read, **facts}
            )
            frames.append(frame[there])
    return pd.concat(frames, ignore_index=True)


def one_by_one(frame, limits, eye=None, **how):
    """What `assess` says of each blade by itself: name -> its words and numbers."""
    read = parse_blades(frame.to_csv(index=False, float_format="%.17g").encode(), "a.csv").readings
    found = {}
    for readings in read:
        name = readings.blade.name
        try:
            words = (eye or {}).get(name)
            one = bg.assess(bg.fit_wobble(readings), limits, eye=words, **how)
        except bg.RefusedError:
            continue
        found[name] = {
            "outcome": one.outcome,
            "action": one.action,
            "reasons": " ".join(one.reasons),
            "remarks": " ".join(one.remarks),
            "teeth_to_read": one.teeth_to_read,
        } | {f"{on.on.quantity}_outcome": on.outcome for on in one.verdicts}
    return found


def judged(frame, limits, **how):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", bg.BladegeomWarning)
        return bg.assess(bg.fit_table(frame), limits, **how)


def teeth_of(text):
    """The teeth of a text such as ``3, 41 to 60``."""
    ends = [[int(one) for one in part.split(" to ")] for part in text.split(", ") if part]
    return tuple(tooth for part in ends for tooth in range(part[0], part[-1] + 1))


def assert_same(frame, limits, **how):
    """Hold the table against one by one; return the outcomes that were met."""
    table, expected = judged(frame, limits, **how), one_by_one(frame, limits, **how)
    assert table["blade"].tolist() == [*expected]
    for row in table.to_dict("records"):
        row["teeth_to_read"] = teeth_of(row["teeth_to_read"])
        assert {key: row[key] for key in expected[row["blade"]]} == expected[row["blade"]]
    return {*table["outcome"]}


ALL = {"conforms", "undecided", "does not conform"}


@pytest.mark.parametrize(
    "made",
    [
        {},
        {"closed": True, "drift": 0.02, "amplitudes": (0.044, 0.056)},
        {"closed": True, "graduation": 0.01},
        {"gaps": 0.1},
        {"turns": 2, "gaps": 0.01},
    ],
    ids=str,
)
def test_every_blade_comes_to_what_it_comes_to_by_itself(made):
    assert assert_same(lot(24, 5, **made), BOTH) >= {"undecided", "does not conform"}


@pytest.mark.parametrize("limits", [bg.Limits((WOBBLE,)), bg.Limits((RAW,))], ids=str)
def test_so_it_does_against_either_limit_alone(limits):
    assert assert_same(lot(24, 6), limits) == ALL


def test_so_it_does_by_the_value_alone_and_with_what_other_blades_tell():
    assert assert_same(lot(16, 7), BOTH, rule="simple") >= {"conforms", "does not conform"}
    assert assert_same(lot(24, 8), BOTH, pooled=Scatter(0.005, 30.0)) == ALL


def test_a_shop_s_day_with_all_its_faults_comes_to_the_same():
    day = simulate_shop(1, 24, rng=3).to_frame(1)
    limits = bg.Limits((bg.Limit("raw_tir", "0.1 mm", "invented"), WOBBLE))
    assert assert_same(day, limits) == ALL


def test_rows_keep_their_order_and_index_and_some_may_be_judged_alone():
    frame = lot(12, 9)
    fits = bg.fit_table(frame)
    whole = bg.assess(fits, BOTH)
    assert whole.index.equals(fits.index)
    some = fits.sort_values("wobble_tir", ascending=False).iloc[2:7]
    part = bg.assess(some, BOTH)
    assert part["blade"].tolist() == some["blade"].tolist()
    pd.testing.assert_frame_equal(part, whole.loc[some.index])


def test_the_eye_puts_a_blade_out_of_service_and_a_wrong_word_leaves_it_out():
    frame = lot(8, 10)
    eye = {"B0": "crack at tooth 3", "B1": "none", "B2": "hm"}
    table = judged(frame, BOTH, eye=eye)
    assert table.set_index("blade")["outcome"]["B0"] == "not judged"
    assert "B2" not in table["blade"].tolist()
    assert [fault.blade for fault in table.attrs["refused"]] == ["B2"]
    assert_same(frame, BOTH, eye=eye)


def test_blades_without_a_limit_are_left_out_and_told():
    small = bg.Limits((bg.Limit("wobble_tir", "0.1 mm", "invented", last="200 mm"),))
    frame = lot(6, 11)
    frame.loc[frame["blade"] == "B1", "diameter_mm"] = 190.0
    frame.loc[frame["blade"] == "B1", "ring_radius_mm"] = 80.0
    with pytest.warns(bg.BladegeomWarning, match="no limit for this blade"):
        table = bg.assess(bg.fit_table(frame), small)
    assert table["blade"].tolist() == ["B1"]
    at_ring = bg.Limits((bg.Limit("wobble_tir", "0.1 mm", "invented", ring="80 mm"),))
    assert judged(frame, at_ring)["blade"].tolist() == ["B1"]
    with pytest.raises(bg.RefusedError, match="no limit"):
        bg.assess(bg.fit_table(frame[frame["blade"] != "B1"]), small)


def test_a_table_that_does_not_bring_its_readings_is_refused():
    frame = lot(4, 12)
    fits = bg.fit_table(frame)
    for table in (pd.DataFrame(fits.to_dict("list")), fits.drop(columns="blade")):
        with pytest.raises(bg.RefusedError, match="fit_table"):
            bg.assess(table, BOTH)
    with pytest.raises(bg.RefusedError, match="no readings of it"):
        bg.assess(fits.assign(blade="another"), BOTH)
    frame["reading_mm"] *= 2
    with pytest.raises(bg.RefusedError, match="changed after"):
        bg.assess(fits, BOTH)


def test_the_readings_that_it_brings_are_nobody_else_s_burden():
    fits = bg.fit_table(lot(3, 13))
    assert json.dumps(fits.attrs["readings"]) == "{}"
    both = pd.concat([fits, bg.fit_table(lot(3, 14))])
    assert not both.attrs.get("readings")


@pytest.mark.parametrize(
    ("how", "says"),
    [({"eye": "none"}, "by the blade's name"), ({"eye": {"X": "none"}}, "not in the table")],
)
def test_what_is_of_one_blade_is_not_taken_for_many(how, says):
    with pytest.raises(bg.RefusedError, match=says):
        bg.assess(bg.fit_table(lot(3, 15)), BOTH, **how)
    fit = bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))
    with pytest.raises(bg.RefusedError):
        bg.assess(fit, BOTH, eye={"A-40": "none"})
