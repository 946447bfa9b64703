"""Many blades at once: a frame in, a frame out, the numbers of the fit one by one."""

from __future__ import annotations

import io
import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal
from simulated import rng_for, wave

import bladegeom as bg
from bladegeom.fit import many
from bladegeom.fit._plain import plain_answers
from bladegeom.fit.answer import fit_answer
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
    for key, value in fit_answer(bg.fit_wobble(readings)).items():
        row |= in_columns(key, value)
    if not row["customer"]:
        del row["customer"]  # No column where none is stated.
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


def one_by_one(frame):
    """The table with every blade sent through `fit_wobble`, and how many were not plain before."""
    left = []

    def none_plain(frame, place, column, unit, groups, *, checked):
        answers = plain_answers(frame, place, column, unit, groups, checked=checked)
        left.append(int((~answers.plain).sum()))
        return answers._replace(plain=np.zeros_like(answers.plain), columns={})

    with pytest.MonkeyPatch.context() as patch, warnings.catch_warnings():
        warnings.simplefilter("ignore", bg.BladegeomWarning)
        patch.setattr(many, "plain_answers", none_plain)
        return bg.fit_table(frame), left[0]


def assert_same(frame):
    """Hold the table against that of `fit_wobble`; return how many blades were not plain."""
    expected, left = one_by_one(frame)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", bg.BladegeomWarning)
        table = bg.fit_table(frame)
    assert table.dtypes.equals(expected.dtypes)
    assert table.attrs["refused"] == expected.attrs["refused"]
    for column in table:
        if table[column].dtype != np.float64:
            assert table[column].equals(expected[column]), column
            continue
        # Limits are found to 1e-10 of the amplitude, not of themselves where they come near 0;
        # directions to as much of a turn, parts of a pitch of one.
        atol = 1e-9 * (
            360.0
            if column.endswith("deg") or "_deg_" in column
            else np.maximum(table["amplitude"].to_numpy(), 1e-6)  # What is flat is flat.
            if "amplitude" in column or column in ("offset", "closure", "raw_tir")
            else 1e-3
        )
        if column == "amplitude_corrected":
            # The root of a difference: where it all but cancels, half of the digits are left.
            atol = 1e-7 * table["amplitude"].to_numpy()
        off = np.abs(table[column] - expected[column])
        assert (table[column].isna() == expected[column].isna()).all(), column
        wrong = off > 1e-9 * np.abs(expected[column]) + atol
        assert not wrong.any(), (column, table[column][wrong], expected[column][wrong])
    return left


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
            key: (frame[f"{key}_mm"].iloc[0], "mm")
            for key in ("ring_radius", "diameter", "graduation")
            if f"{key}_mm" in frame and not np.isnan(frame[f"{key}_mm"].iloc[0])
        }
        blade = bg.Blade(teeth, name=f"B{number}", diameter=facts.pop("diameter", None))
        one_by_one.append(
            bg.Readings(
                blade,
                frame["reading_mm"],
                unit="mm",
                **facts,
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
            bg.Blade(teeth, name=blade), part["reading_mm"], unit="mm", ring_radius="100 mm"
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


@pytest.mark.parametrize("gap", [None, 5], ids=["whole", "gap"])
@pytest.mark.parametrize("kind", ["int8", "uint8", "int16", "float32", "Int64"])
def test_small_types_of_whole_numbers_will_do_for_many_blades(kind, gap):
    blades = [frame_of(f"B{at}", 24, 0.05, 7.0 * at, seed=at, turn=1) for at in range(60)]
    frame = pd.concat(blades, ignore_index=True)
    frame = frame if gap is None else frame[frame["tooth"] != gap]
    small = frame.astype({"tooth": kind, "turn": kind, "teeth": kind})
    assert_frame_equal(bg.fit_table(small), bg.fit_table(frame))


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


def test_a_masked_reading_in_a_frame_is_not_read():
    frame = frame_of("A", 12, 0.1, 40.0)
    hidden = np.arange(len(frame)) % 5 == 3
    read = np.ma.MaskedArray(frame["reading_mm"].to_numpy(), mask=hidden)
    assert_frame_equal(bg.fit_table(frame.assign(reading_mm=read)), bg.fit_table(frame[~hidden]))
    with pytest.raises(bg.RefusedError) as refused:  # As objects, whose mask is a word.
        bg.fit_table(frame.assign(reading_mm=[*read]))
    assert [fault.row for fault in refused.value.faults] == [5, 10]


def test_closing_readings_and_their_order_are_kept():
    readings = wave(24, 0.05, 40.0, NOISE)
    closed = bg.Readings(
        readings.blade, [*readings.reading, readings.reading[0] + 0.05], unit="mm", turn=[1] * 25
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


PITCHES = {40: "1 1 1 1 1.6", 60: "1 1.2", 24: "1 1 1"}


def random_blade(rng, name, unit):
    """Rows of an invented blade as they come: gaps, turns, repeats, facts stated or not."""
    teeth = int(rng.choice([8, 24, 40, 42, 60]))
    turns = int(rng.choice([1, 2], p=[0.9, 0.1]))
    tooth = np.tile(np.arange(1, teeth + 1), turns)
    facts = {"teeth": teeth, "touch_deg": float(rng.choice([0.0, 0.0, 2.5]))}
    facts["pitch_pattern"] = PITCHES.get(teeth) if rng.random() < 0.2 else None
    angle = bg.Blade(
        teeth,
        pitch_pattern=[float(gap) for gap in (facts["pitch_pattern"] or "1").split()],
    ).angles_deg[tooth - 1]
    size = float(rng.choice([0.0, 0.003, 0.02, 0.2])) * unit
    read = size * np.cos(np.radians(angle + facts["touch_deg"] - rng.uniform(0, 360)))
    read += rng.normal(0, 0.005 * unit, len(tooth)) + rng.choice([0.0, 1.0]) * unit
    read += rng.choice([0.0, 0.0, 0.02]) * unit * np.cos(2 * np.radians(angle))
    frame = pd.DataFrame({"blade": name, "tooth": tooth, "reading_mm": read})
    frame["turn"] = np.repeat(np.arange(1, turns + 1), teeth)
    kind = rng.choice(["whole", "scattered", "arc", "few", "short"], p=[0.3, 0.3, 0.2, 0.1, 0.1])
    if kind == "scattered":
        frame.loc[rng.random(len(frame)) < 0.15, "reading_mm"] = np.nan
    elif kind == "arc":
        frame = frame[(angle < rng.uniform(60, 340)).tolist()]
    elif kind == "few":
        frame = frame[frame["tooth"] % max(1, teeth // 6) == 1]
    elif kind == "short":
        frame = frame.head(int(rng.integers(1, teeth)))
    if rng.random() < 0.3 and len(frame):
        closing = frame.iloc[[0]].assign(turn=frame["turn"].iloc[-1])
        closing["reading_mm"] += rng.choice([0.0, 0.003, 0.05], p=[0.4, 0.4, 0.2]) * unit
        frame = pd.concat([frame, closing])
    if rng.random() < 0.1 and len(frame) > 5:
        frame = pd.concat([frame, frame.iloc[[3]]])
    if rng.random() < 0.2:
        frame = frame.sample(frac=1.0, random_state=int(rng.integers(1 << 30)))
    if rng.random() < 0.7:
        facts["ring_radius_mm"] = float(rng.choice([90.0, 110.0]))
    if rng.random() < 0.5:
        facts["diameter_mm"] = float(rng.choice([200.0, 254.0]))
    if rng.random() < 0.4:
        facts["graduation_mm"] = float(rng.choice([0.001, 0.01, 0.02])) * unit
        if rng.random() < 0.5:
            frame["reading_mm"] = (frame["reading_mm"] / facts["graduation_mm"]).round() * facts[
                "graduation_mm"
            ]
    facts["surface"] = str(rng.choice(["plate", "teeth", "Teeth", "rim"], p=[0.75, 0.1, 0.1, 0.05]))
    facts["numbered"] = rng.choice([None, "clockwise"])
    facts["dial"] = rng.choice([None, "left alone", "Left alone", "set anew"])
    return frame.assign(**facts)


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    layout=st.sampled_from(["together", "shuffled", "sorted by tooth"]),
    unit=st.sampled_from(["mm", "thou", "um"]),
    copies=st.sampled_from([1, 1, 12]),
)
def test_any_mix_of_blades_has_the_numbers_of_the_fits_one_by_one(seed, layout, unit, copies):
    rng = rng_for(seed)
    size = {"mm": 1.0, "thou": 1000 / 25.4, "um": 1000.0}[unit]
    blades = [random_blade(rng, f"B{number}", size) for number in range(14)]
    for copy in range(1, copies):  # So many of a kind that the limits come from tables.
        for blade in blades[:6]:
            wider = blade["reading_mm"] * rng.uniform(0.5, 2.0)
            blades.append(blade.assign(blade=f"{blade['blade'].iloc[:1].sum()}-{copy}"))
            blades[-1]["reading_mm"] = wider
    frame = pd.concat(blades, ignore_index=True).rename(columns={"reading_mm": f"reading_{unit}"})
    frame["graduation_" + unit] = frame.pop("graduation_mm") if "graduation_mm" in frame else None
    if layout == "shuffled":
        frame = frame.sample(frac=1.0, random_state=seed)
    elif layout == "sorted by tooth":
        frame = frame.sort_values("tooth", kind="stable")
    frame.loc[len(frame)] = None
    assert_same(frame)


def test_plain_blades_are_not_sent_one_by_one(monkeypatch):
    frames = []
    for number, teeth in enumerate([24, 40, 40, 42, 60, 60, 8]):
        frame = frame_of(f"B{number}", teeth, 0.05, 40.0, seed=number)
        if number % 2 and teeth > 8:
            frame = frame.drop(index=[3, 7])
        if number == 2:
            frame = pd.concat([frame, frame.head(1)])
        frames.append(frame)
    frames.append(frame_of("flat", 24, 0.0, 0.0, seed=2))
    frames.append(frame_of("flat too", 40, 0.0, 0.0, seed=3))
    fitted = []
    monkeypatch.setattr(
        many, "fit_wobble", lambda one: fitted.append(one.blade.name) or bg.fit_wobble(one)
    )
    table = bg.fit_table(pd.concat(frames, ignore_index=True))
    assert table["resolved"].tolist() == [True] * 7 + [False] * 2
    assert fitted == []
    assert table["warnings"].iloc[7] == table["warnings"].iloc[8] != ""


def test_turns_are_fitted_all_at_once_each_at_its_own_height():
    """Two turns of one blade, three of another of which some teeth were left out, set anew."""
    frames = []
    for name, turns, teeth in (("A", 2, 24), ("B", 3, 40), ("C", 1, 24)):
        for turn in range(turns):
            frame = frame_of(name, teeth, 0.05, 40.0, seed=turn).assign(turn=3 * turn + 1)
            frame["reading_mm"] += 0.7 * turn
            frames.append(frame.drop(index=[5, 6 + turn]) if name == "B" else frame)
    frame = pd.concat(frames, ignore_index=True)
    assert assert_same(frame) == 0
    table = bg.fit_table(frame)
    assert table["dof"].tolist() == [48 - 4, 3 * 38 - 5, 24 - 3]
    assert (np.abs(table["near_deg"] - 40.0) < 5.0).all()


def test_what_is_said_of_a_blade_has_its_own_numbers_in_a_table_too():
    """An arc, few teeth, too steep a tilt: each in words with numbers that are the blade's own."""
    steep = frame_of("steep", 24, 3.0, 40.0)
    arcs = [frame_of(f"arc {last}", 40, 0.05, 40.0).head(last) for last in (15, 17)]
    few = [frame_of(f"few {step}", 42, 0.05, 40.0).iloc[::step] for step in (6, 7)]
    frame = pd.concat([steep, *arcs, *few], ignore_index=True)
    assert assert_same(frame) == 2  # Those with an arc not read.
    said = bg.fit_table(frame)["warnings"].tolist()
    assert "a wobble (TIR) of 6 mm" in said[0]
    assert "from 16 to 40 is read (225 deg" in said[1]
    assert "from 18 to 40 is read (207 deg" in said[2]
    assert "only 7 teeth" in said[3]
    assert "only 6 teeth" in said[4]


def test_mountings_that_disagree_are_found_among_plain_blades_too():
    frame = two_mounts()
    frame["plate_mm"] = np.where(frame["mount"] == 2, 1.8, 2.2)
    assert_same(frame)
    frame["plate_mm"] = np.where(frame["blade"] == "B", 1.8, 2.2)
    assert assert_same(frame) == 0


@pytest.mark.parametrize(
    "names",
    [
        ["A", "A ", "B"],
        [1, True, 2],
        [1, "1", 2.0],
        [0.5, 0.25, 2.0],
        ["A", None, "B"],
        ["B", "A", "B"],
    ],
)
@pytest.mark.parametrize("shuffled", [False, True])
def test_names_are_told_apart_as_their_texts_are(names, shuffled):
    frames = [
        frame_of("", 24, 0.05, 40.0, seed=seed, turn=seed).assign(
            blade=pd.Series([name] * 24, dtype=object)
        )
        for seed, name in enumerate(names)
    ]
    frame = pd.concat(frames, ignore_index=True)
    if shuffled:
        frame = frame.sample(frac=1.0, random_state=5)
    assert_same(frame)


@pytest.mark.parametrize(
    ("column", "values"),
    [
        ("order", [*range(24)]),
        ("order", [*range(24, 0, -1)]),
        ("order", [1.5, *range(2, 25)]),
        ("turn", [7] * 24),
        ("turn", [1.5] * 24),
        ("tooth", [*range(1, 24), 1]),
        ("tooth", [*range(1, 24), 25]),
        ("tooth", [2.5, *range(2, 25)]),
        ("reading_mm", [1e-120] + [0.1, 0.2, 0.3] * 7 + [0.4, 0.5]),
        ("reading_mm", [0.25] * 24),
        ("reading_mm", [np.inf] + [0.1] * 23),
        ("touch_deg", [3.0] * 24),
        ("touch_deg", [400.0] * 24),
        ("stylus_deg", [95.0] * 24),
        ("plate_mm", [-1.0] * 24),
        ("gullet_mm", [200.0] * 24),
        ("ring_radius_mm", [300.0] * 24),
        ("ring_radius_mm", [0.5] * 24),
        ("tooth_pattern", ["L R"] * 24),
        ("tooth_pattern", ["L R L R L"] * 24),
        ("pitch_pattern", ["1 1 2"] * 24),
        ("pitch_pattern", ["1 1 2 5 5"] * 24),
        ("pitch_pattern", ["?"] * 24),
        ("turned", ["forward"] * 24),
        ("turned", ["forward"] * 23 + [None]),
        ("numbered", ["left"] * 24),
        ("surface", ["teeth"] * 24),
        ("teeth", [3] * 24),
        ("teeth", [2000] * 24),
    ],
)
def test_whatever_a_column_says_both_ways_say_the_same(column, values):
    frame = frame_of("A", 24, 0.05, 40.0, diameter_mm=254.0)
    frame[column] = values
    beside = frame_of("B", 40, 0.05, 40.0, turn=1, order=np.arange(40))
    both = pd.concat([frame, beside], ignore_index=True)
    assert_same(both[frame.columns])


def test_it_may_be_mapped_over_parts_of_a_frame():
    frames = [frame_of(f"B{number}", 24, 0.05, 40.0, seed=number) for number in range(6)]
    parts = [pd.concat(frames[at : at + 2]) for at in (0, 2, 4)]
    table = pd.concat([bg.fit_table(part) for part in parts], ignore_index=True)
    whole = bg.fit_table(pd.concat(frames, ignore_index=True))
    assert_frame_equal(table, whole, rtol=1e-9)


def exactly(teeth, near_deg, name):
    """A blade whose fit points in a direction to rounding: its bends leave the wobble alone."""
    angle = np.radians(360.0 * np.arange(teeth) / teeth)
    read = 0.05 * np.cos(angle - np.radians(near_deg)) + 0.002 * np.cos(5 * angle + 0.3)
    return pd.DataFrame(
        {
            "blade": name,
            "tooth": np.arange(1, teeth + 1),
            "reading_mm": read,
            "teeth": teeth,
            "ring_radius_mm": 100.0,
        }
    )


@pytest.mark.parametrize("teeth", [24, 42, 45])
def test_half_way_between_two_teeth_the_lower_number_is_named_whatever_the_rounding(teeth):
    pitch = 360.0 / teeth
    frames = [exactly(teeth, (tooth - 0.5) * pitch, f"B{tooth}") for tooth in range(1, teeth + 1)]
    frame = pd.concat(frames, ignore_index=True)
    assert assert_same(frame) == 0
    near = bg.fit_table(frame)["near_tooth"].tolist()
    assert near == [*range(1, teeth), 1]  # Between the last tooth and the first, the first.


@pytest.mark.parametrize("reading", ["the same", "another"])
def test_a_tooth_read_twice_is_not_plain(reading):
    good = frame_of("A", 24, 0.05, 40.0)
    twice = good.iloc[[4]].assign(blade="B")
    if reading == "another":
        twice["reading_mm"] += 0.01
    doubled = pd.concat([good.head(10), twice, good.tail(14)]).assign(blade="B")
    frame = pd.concat([good, doubled], ignore_index=True)
    assert assert_same(frame) == 1
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", bg.BladegeomWarning)
        table = bg.fit_table(frame)
    assert table["blade"].tolist() == (["A", "B"] if reading == "the same" else ["A"])


@pytest.mark.parametrize(
    ("closure", "graduation", "says"),
    [
        (0.05, None, True),
        (-0.05, None, True),
        (0.004, None, False),
        (-0.004, None, False),
        (0.015, 0.01, True),
        (0.018, 0.02, False),
    ],
)
def test_a_closure_beyond_what_readings_repeat_to_is_remarked_in_a_table_too(
    closure, graduation, says
):
    frames = []
    for name in "AB":
        frame = frame_of(name, 24, 0.05, 40.0, seed=7).assign(graduation_mm=graduation)
        closing = frame.head(1).copy()
        closing["reading_mm"] += closure
        frames += [frame, closing]
    frame = pd.concat(frames, ignore_index=True)
    assert assert_same(frame) == 0
    assert bg.fit_table(frame)["warnings"].str.contains("again").tolist() == [says] * 2


def test_a_drift_that_scatters_itself_is_remarked_in_a_table_too():
    """With teeth left out and not; the drift is of the size that hides in its own scatter."""
    frames = []
    for seed in range(60):
        frame = frame_of(f"B{seed}", 24, 0.05, 40.0, seed=seed)
        frame = pd.concat([frame, frame.head(1)], ignore_index=True)
        frame["reading_mm"] += 0.012 * frame.index / 24
        frames.append(frame.drop(index=[5, 6]) if seed % 2 else frame)
    frame = pd.concat(frames, ignore_index=True)
    assert assert_same(frame) == 0
    remarked = bg.fit_table(frame)["warnings"].str.contains("closing").sum()
    assert 10 < remarked < 60
