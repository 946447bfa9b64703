"""`fit_table` mapped over the partitions of a data-frame engine."""

from __future__ import annotations

import dask.dataframe as dd
import pandas as pd
from pandas.testing import assert_frame_equal
from test_many import frame_of

import bladegeom as bg


def test_it_may_be_mapped_over_partitions():
    frames = [frame_of(f"B{number}", 24, 0.05, 40.0, seed=number) for number in range(6)]
    whole = bg.fit_table(pd.concat(frames, ignore_index=True))
    parts = dd.concat([dd.from_pandas(frame, npartitions=1) for frame in frames])
    assert parts.npartitions == 6
    table = parts.map_partitions(bg.fit_table, meta=whole.iloc[:0]).compute(scheduler="synchronous")
    assert_frame_equal(table.reset_index(drop=True), whole, rtol=1e-9)
