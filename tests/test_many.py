"""Many blades at once: a frame in, a frame out, the numbers of the fit one by one."""

from __future__ import annotations

import io
import warnings

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal
from simulated import rng_for, wave

import bladegeom as bg
from bladegeom.result import in_columns

DEMO = [
    "eighty_tooth_two_turns",
    "fifty_tooth_groups",
    "flat_blade",
    "forty_tooth",
    "missing_arc",
]
TEETH = {"near_tooth", "far_tooth", "neutral_tooth_1", "neutral_tooth_2", "better_tooth"}
NOISE = rng_for(17).normal(0.0, 0.003, 24)


def row_of(readings):
    """What the table is to hold of one blade."""
    row = {}
    for key, value in bg.blade_answer(bg.fit_wobble(readings)).items():
        row |= in_columns(key, value)
    return row


def assert_holds(table, at, readings):
    expected = row_of(readings)
    assert [one for one in table.columns if one != "mount"] == list(expected)
    for column, value in expected.items():
        here = table[column].iloc[at]
        if value is None:
            assert pd.isna(here), column
        elif isinstance(value, float):
            assert here == pytest.approx(value, rel=1e-12, abs=1e-15), column
        else:
            assert here == value, column


def frame_of(name, teeth, amplitude, near_deg, *, seed=3, **facts):
    """A tidy frame of one invented blade, in mm."""
    angle = np.radians(360.0 * np.arange(teeth) / teeth - near_deg)
    read = amplitude * np.cos(angle) + rng_for(seed).normal(0, 0.003, teeth)
    facts = {"teeth": teeth, "ring_radius_mm": 100.0} | facts
    return pd.DataFrame(
        {"blade": name, "tooth": np.arange(1, teeth + 1), "reading_mm": read, **facts}
    )


def two_mounts():
    """Blade A in two mountings, then blade B in one."""
    first = frame_of("A", 24, 0.05, 40.0, mount=1)
    second = frame_of("A", 24, 0.02, 200.0, mount=2, seed=4)
    third = frame_of("B", 40, 0.03, 90.0, mount=1)
    return pd.concat([first, second, third], ignore_index=True)


@pytest.mark.parametrize("name", DEMO)
def test_a_demo_blade_has_the_numbers_of_its_fit(name):
    path = f"data_demo/{name}.csv"
    table = bg.fit_table(bg.read_table(path))
    assert len(table) == 1
    assert_holds(table, 0, bg.read_blade(path))


@pytest.mark.parametrize("name", DEMO)
def test_a_demo_file_read_by_pandas_has_them_too(name):
    path = f"data_demo/{name}.csv"
    assert_holds(bg.fit_table(pd.read_csv(path)), 0, bg.read_blade(path))


def test_a_mix_of_blades_is_answered_row_by_row():
    rng = rng_for(8)
    frames, one_by_one = [], []
    for number in range(12):
        teeth = int(rng.choice([8, 24, 40, 60]))
        amplitude = float(rng.choice([0.0, 0.004, 0.05]))
        frame = frame_of(f"B{number}", teeth, amplitude, rng.uniform(0, 360), seed=number)
        gone = rng.choice(teeth, size=teeth // 6, replace=False)
        frame.loc[gone, "reading_mm"] = np.nan
        if number % 3 == 0:
            frame["diameter_mm"], frame["graduation_mm"] = 254.0, 0.01
        if number % 4 == 1:
            frame["ring_radius_mm"] = np.nan
        frames.append(frame)
        facts = {
            key: frame[f"{key}_mm"].iloc[0]
            for key in ("ring_radius", "diameter", "graduation")
            if f"{key}_mm" in frame and not np.isnan(frame[f"{key}_mm"].iloc[0])
        }
        blade = bg.Blade(teeth, name=f"B{number}", diameter_mm=facts.pop("diameter", None))
        one_by_one.append(
            bg.Readings(
                blade,
                reading_mm=frame["reading_mm"],
                **{f"{key}_mm": value for key, value in facts.items()},
            )
        )
    mixed = pd.concat(frames, ignore_index=True)
    table = bg.fit_table(mixed)
    assert table["blade"].tolist() == [f"B{number}" for number in range(12)]
    assert table["resolved"].nunique() == 2
    for at, readings in enumerate(one_by_one):
        assert_holds(table, at, readings)
    # Rows may come mixed up: each says its tooth, and the order within a blade is that of rows.
    assert_frame_equal(
        bg.fit_table(mixed.sort_values("tooth", kind="stable")).sort_values(
            "blade", ignore_index=True
        ),
        table.sort_values("blade", ignore_index=True),
    )


def test_columns_have_the_same_types_whether_anything_is_established_or_not():
    sure, unsure = (bg.fit_table(frame_of("A", 24, size, 40.0)) for size in (0.05, 0.0))
    assert sure["resolved"].tolist() == [True]
    assert unsure["resolved"].tolist() == [False]
    assert sure.dtypes.equals(unsure.dtypes)
    assert {column for column in sure if sure[column].dtype == "Int64"} == TEETH
    assert sure["closure"].dtype == sure["drift_per_turn"].dtype == np.float64


def test_the_frame_is_not_changed_and_gives_the_same_again():
    frame = two_mounts()
    frame.loc[3, "reading_mm"] = np.nan
    before = frame.copy(deep=True)
    first = bg.fit_table(frame)
    assert_frame_equal(frame, before)
    assert frame.attrs == before.attrs
    assert_frame_equal(bg.fit_table(frame), first)


def test_each_mounting_has_a_row_of_its_own():
    table = bg.fit_table(two_mounts())
    assert list(table.columns[:3]) == ["blade", "mount", "teeth"]
    assert table[["blade", "mount"]].to_numpy().tolist() == [["A", "1"], ["A", "2"], ["B", "1"]]
    frame = two_mounts()
    for at, (blade, mount) in enumerate([("A", 1), ("A", 2), ("B", 1)]):
        part = frame[(frame["blade"] == blade) & (frame["mount"] == mount)]
        teeth = int(part["teeth"].iloc[0])
        readings = bg.Readings(
            bg.Blade(teeth, name=blade), reading_mm=part["reading_mm"], ring_radius_mm=100.0
        )
        assert_holds(table, at, readings)


def test_what_read_table_left_out_stays_listed():
    with pytest.warns(bg.BladegeomWarning, match="B-12"):
        frame = bg.read_table("data_demo/shelf_readings.csv", blades="data_demo/shelf_blades.csv")
    table = bg.fit_table(frame)
    assert table.attrs["refused"] == frame.attrs["refused"]
    for at, name in enumerate(table["blade"]):
        assert_holds(
            table,
            at,
            bg.read_blade(
                "data_demo/shelf_readings.csv", blades="data_demo/shelf_blades.csv", blade=name
            ),
        )


def test_a_blade_that_cannot_be_answered_is_listed_and_the_others_go_on():
    frame = pd.concat(
        [
            frame_of("A", 24, 0.05, 40.0),
            frame_of("B", 24, 0.05, 40.0).head(3),
            frame_of("C", 24, 0.05, 40.0),
        ],
        ignore_index=True,
    )
    with pytest.warns(bg.BladegeomWarning, match="blade B: only 3 different teeth are read"):
        table = bg.fit_table(frame)
    assert table["blade"].tolist() == ["A", "C"]
    (fault,) = table.attrs["refused"]
    assert (fault.blade, fault.cure) == ("B", "read at least 4, better every tooth")


def changed(column, value, row=5):
    frame = pd.concat(
        [frame_of("A", 24, 0.05, 40.0), frame_of("B", 24, 0.05, 40.0)], ignore_index=True
    )
    frame[column] = frame[column].astype(object) if column in frame else None
    frame.loc[row - 2, column] = value
    return frame


@pytest.mark.parametrize(
    ("column", "value", "says"),
    [
        ("teeth", 40, "row 5: teeth is 40 here, but row 2 says 24"),
        ("ring_radius_mm", 90.0, "row 5: ring_radius is 90.0 mm here, but row 2 says 100.0 mm"),
        ("tooth", 25, "row 5: tooth 25 on a 24-tooth blade"),
        ("tooth", 2.5, "row 5: tooth: '2.5' is not a whole number"),
        ("tooth", np.nan, "row 5: tooth is blank"),
        ("reading_mm", "gum", "row 5: reading_mm: 'gum' is not a number"),
        ("reading_mm", "0,5", "row 5: reading_mm: '0,5' is not a number"),
        ("reading_mm", np.inf, "row 5: reading_mm: 'inf' is not a number"),
        ("reading_mm", True, "row 5: reading_mm: 'True' is not a number"),
        ("numbered", "left", "numbered is 'left'"),
    ],
)
def test_a_fault_in_one_blade_is_told_with_its_row(column, value, says):
    with pytest.warns(bg.BladegeomWarning) as told:
        table = bg.fit_table(changed(column, value))
    assert table["blade"].tolist() == ["B"]
    assert {fault.blade for fault in table.attrs["refused"]} == {"A"}
    assert says in "\n".join(str(fault) for fault in table.attrs["refused"])
    assert says in str(told[0].message)


def test_facts_of_a_blade_may_not_change_from_one_mounting_to_the_next():
    frame = two_mounts()
    frame["diameter_mm"] = 254.0
    frame.loc[frame["mount"] == 2, "diameter_mm"] = 300.0
    with pytest.warns(bg.BladegeomWarning, match="mount 2: diameter_mm is 300.0 here, but mount 1"):
        table = bg.fit_table(frame)
    assert table[["blade", "mount"]].to_numpy().tolist() == [["A", "1"], ["B", "1"]]


def test_the_ring_and_the_side_may_change_from_one_mounting_to_the_next():
    frame = two_mounts()
    frame["numbered"] = np.where(frame["mount"] == 2, "clockwise", "counterclockwise")
    frame.loc[frame["mount"] == 2, "ring_radius_mm"] = 90.0
    assert len(bg.fit_table(frame)) == 3


def test_a_missing_name_or_mounting_is_refused():
    frame = two_mounts()
    frame["mount"] = frame["mount"].astype(float)
    frame.loc[:1, "mount"] = np.nan
    with pytest.warns(bg.BladegeomWarning, match=r"row 2: .*mounting is missing \(also in row 3\)"):
        table = bg.fit_table(frame)
    assert table["mount"].tolist() == ["1", "2", "1"]
    frame = two_mounts()
    frame.loc[0, "blade"] = None
    with pytest.warns(bg.BladegeomWarning, match="the name of the blade is missing"):
        bg.fit_table(frame)


def test_where_no_blade_is_left_it_says_why():
    with pytest.raises(bg.RefusedError, match="only 3 different teeth"):
        bg.fit_table(frame_of("A", 24, 0.05, 40.0).head(3))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda frame: frame.rename(columns={"reading_mm": "reading"}), "has no known unit"),
        (lambda frame: frame.drop(columns="tooth"), "there is no column tooth"),
        (lambda frame: frame.assign(reading_in=1.0), "the readings are there twice"),
        (lambda frame: frame.assign(gulet_mm=1.0), "did you mean gullet_mm"),
        (lambda frame: frame.head(0), "has a header and no rows"),
        (lambda frame: frame.drop(columns="teeth"), "number of teeth is not stated"),
    ],
)
def test_columns_that_are_wrong_are_refused(change, says):
    with pytest.raises(bg.RefusedError, match=says):
        bg.fit_table(change(frame_of("A", 24, 0.05, 40.0)))


def test_names_that_are_numbers_and_other_types_of_pandas_will_do():
    text = "Blade,Tooth,reading_mm,teeth,note\n" + "".join(
        f"7,{tooth},{0.1 * np.cos(np.pi * tooth / 6):.4f},12,dusty\n" for tooth in range(1, 13)
    )
    expected = bg.fit_table(pd.read_csv(io.StringIO(text)))
    assert expected["blade"].tolist() == ["7"]
    plain = pd.read_csv(io.StringIO(text))
    for frame in (
        plain.convert_dtypes(),
        plain.astype({"Blade": float, "teeth": float, "Tooth": "int16"}),
        plain.astype({"Blade": "category", "reading_mm": object}),
        plain.astype(str),
        plain.set_index(plain.index + 100),
    ):
        assert_frame_equal(bg.fit_table(frame), expected)


def test_a_frame_without_a_column_blade_is_of_one_blade():
    frame = frame_of("A", 24, 0.05, 40.0)
    alone = bg.fit_table(frame.drop(columns="blade"))
    assert alone["blade"].tolist() == [""]
    assert alone["near_deg"].tolist() == bg.fit_table(frame)["near_deg"].tolist()


def test_turns_both_ways_stand_beside_blades_that_say_nothing_of_it():
    there = frame_of("A", 24, 0.05, 40.0, turn=1, turned="forward")
    back = frame_of("A", 24, 0.05, 44.0, turn=2, turned="backward", seed=5)
    plain = frame_of("B", 24, 0.05, 40.0, turn=1)
    table = bg.fit_table(pd.concat([there, back, plain], ignore_index=True))
    assert table["lag_deg"].notna().tolist() == [True, False]


def test_closing_readings_and_their_order_are_kept():
    readings = wave(24, 0.05, 40.0, NOISE)
    closed = bg.Readings(
        readings.blade, reading_mm=[*readings.reading, readings.reading[0] + 0.05], turn=[1] * 25
    )
    frame = pd.DataFrame(
        {"tooth": closed.tooth, "reading_mm": closed.reading, "teeth": 24, "diameter_mm": 254.0}
    )
    table = bg.fit_table(frame)
    assert table["closure"].iloc[0] == pytest.approx(0.05)
    assert_holds(table, 0, closed)


def test_nothing_is_warned_where_nothing_is_refused():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert bg.fit_table(two_mounts()).attrs["refused"] == []
