"""More blades than fit into memory: `fit_table` over partitions, and `table` in pieces."""

from __future__ import annotations

import shutil

import dask.dataframe as dd
import pandas as pd
import pytest
from make_readme import PARTITIONS
from pandas.testing import assert_frame_equal
from test_many import frame_of

import bladegeom as bg
from bladegeom.draw.results import write_answers
from bladegeom.tables import _pieces


def test_it_may_be_mapped_over_partitions():
    frames = [frame_of(f"B{number}", 24, 0.05, 40.0, seed=number) for number in range(6)]
    whole = bg.fit_table(pd.concat(frames, ignore_index=True))
    parts = dd.concat([dd.from_pandas(frame, npartitions=1) for frame in frames])
    assert parts.npartitions == 6
    table = parts.map_partitions(bg.fit_table, meta=whole.iloc[:0]).compute(scheduler="synchronous")
    assert_frame_equal(table.reset_index(drop=True), whole, rtol=1e-9)


@pytest.fixture
def files(tmp_path):
    """Return files of readings with the same columns, each with whole blades of its own."""
    paths = []
    for file in range(3):
        frames = [frame_of(f"{file}{one}", 24, 0.05, 40.0, seed=one) for one in range(4)]
        paths.append(str(tmp_path / f"d{file}.csv"))
        pd.concat(frames).to_csv(paths[-1], index=False)
    return paths


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # Of the engine itself.
def test_from_files_to_parquet_and_from_parquet_to_parquet(files, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    dd.from_map(bg.read_table, files).to_parquet("readings")
    whole = bg.fit_table(pd.concat([bg.read_table(file) for file in files], ignore_index=True))
    for source in ("dd.from_map(bg.read_table, files)", 'dd.read_parquet("readings")'):
        as_told = PARTITIONS.replace("dd.from_map(bg.read_table, files)", source)
        exec(as_told, {"files": files})
        found = pd.read_parquet("answers")
        assert_frame_equal(found.reset_index(drop=True), whole, check_dtype=False, rtol=1e-9)
        assert found["blade"].tolist() == [f"{file}{one}" for file in range(3) for one in range(4)]
        shutil.rmtree("answers")


LONG = [
    ",".join(map(str, (f"B{blade}", tooth, reading, 12, "0.01")))
    for blade in range(9)
    for tooth, reading in enumerate((3, 5, 8, 9, 8, 5, 3, 1, 0, -1, 0, 1 + blade / 9), start=1)
]
OWNED_HEAD = "blade,customer,tooth,reading_mm,teeth,graduation_mm"


def owned(*customers: str):
    """The rows of a blade of the same name again and again, with these customers."""
    return [
        ",".join(("A", customer, *row.split(",")[1:]))
        for blade, customer in enumerate(customers)
        for row in LONG[12 * blade : 12 * blade + 12]
    ]


LONG_HEAD = "blade,tooth,reading_mm,teeth,graduation_mm"
WIDE = [
    f"B{blade};12;{';'.join(map(str, (3, 5, 8, 9, 8, 5, 3, 1, 0, -1, 0, blade)))}"
    for blade in range(30)
]
WIDE_HEAD = f"blade;teeth;{';'.join(map(str, range(1, 13)))}\n;;{';'.join(['mm'] * 12)}"
TABLES = {
    "long": (LONG_HEAD, LONG),
    "wide, with units": (WIDE_HEAD, WIDE),
    "a wrong cell": (LONG_HEAD, [*LONG[:40], LONG[40].replace(",5,", ",x,"), *LONG[41:]]),
    "a wrong cell at the end": (LONG_HEAD, [*LONG[:-1], LONG[-1].replace(",12,", ",13,")]),
    "a blade unread": (LONG_HEAD, [*LONG, *(f"C,{tooth},,12,0.01" for tooth in range(1, 13))]),
    "a blade in two places": (LONG_HEAD, [*LONG[1:], LONG[0]]),
    "a row too long": (LONG_HEAD, [*LONG[:50], f"{LONG[50]},7", *LONG[51:]]),
    "a row too long, elsewhere": (LONG_HEAD, [*LONG[:66], f"{LONG[3]},7", *LONG[66:]]),
    "two customers": (OWNED_HEAD, owned("Ash", "Elm", "Oak")),
    "a customer twice": (OWNED_HEAD, owned("Ash", "Elm", "ash")),
    "a customer blank": (OWNED_HEAD, owned("Ash", "Elm", "")),
    "another encoding": (LONG_HEAD, [one.replace("B7", "S\u00e4ge") for one in LONG]),
    "a quote": (LONG_HEAD, [*LONG[:-12], *(one.replace("B8", '"B8"') for one in LONG[-12:])]),
    "returns": (f"{LONG_HEAD}\r", [f"{one}\r" for one in LONG]),
    "a name blank": (LONG_HEAD, [*LONG[:30], LONG[30].replace("B2", ""), *LONG[31:]]),
    "no blade that can be answered": (LONG_HEAD, [one.replace(",12,", ",1,") for one in LONG]),
    "figures at the end": (LONG_HEAD, [*LONG, "Mean,,3.5,,"]),
}


@pytest.mark.parametrize("facts", [False, True], ids=["", "with facts"])
@pytest.mark.parametrize("case", TABLES)
def test_in_pieces_all_is_answered_as_in_one(case, facts, tmp_path, monkeypatch):
    head, rows = TABLES[case]
    path = tmp_path / "a.csv"
    path.write_bytes("\n".join([head, *rows, ""]).encode("cp1252" if "enc" in case else "utf-8"))
    how = {}
    if facts:
        how["blades"] = tmp_path / "facts.csv"
        stated = "".join(f"B{blade},12,{250 + blade}\n" for blade in range(40) if blade != 5)
        how["blades"].write_text(f"blade,teeth,diameter_mm\n{stated}")

    def answered(piece):
        monkeypatch.setattr(_pieces, "PIECE", piece)
        out = tmp_path / f"{piece}.csv"
        told = []
        try:
            found = write_answers([path], out, progress=lambda *one: told.append(one), **how)
        except bg.RefusedError as error:
            return error.faults, None, told
        return found, pd.read_csv(out, dtype={"blade": str}), told

    (whole, table, _), (parts, same, told) = answered(1 << 24), answered(150)
    assert (whole is parts) or str(whole) == str(parts)
    if table is not None:
        assert_frame_equal(table, same, rtol=1e-9)
    if case in ("long", "wide, with units"):
        fitted = [done for what, done, _ in told if what.startswith("fitting")]
        assert len({*fitted}) > 3  # Piece by piece.
        assert fitted[-1] == whole.answered
