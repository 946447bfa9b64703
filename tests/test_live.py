"""What a reading says the moment it is taken: the order, the question, and when it is enough."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bladegeom.live.order import reading_order


@given(st.integers(2, 1000), st.booleans())
def test_every_tooth_is_read_once_and_none_is_passed_backwards(teeth, spread):
    order = reading_order(teeth, spread)
    assert sorted(order) == list(range(1, teeth + 1))
    turns = 1 + sum(later < earlier for earlier, later in pairwise(order))
    assert turns == (1 if not spread else -(-teeth // min(8, teeth)))


@pytest.mark.parametrize("teeth", [8, 24, 40, 41, 60, 77, 80, 1000])
def test_spread_begins_evenly_and_goes_on_between(teeth):
    order = reading_order(teeth, spread=True)
    assert order[0] == 1
    for octets in (1, 2, 4):
        if teeth % (8 * octets) == 0:
            assert sorted(order[: 8 * octets]) == list(range(1, teeth + 1, teeth // (8 * octets)))
    gaps = np.diff([*order[:8], teeth + 1])
    assert gaps.max() - gaps.min() <= 1
    wide = np.diff([*sorted(order[:16]), teeth + 1])
    assert wide.max() <= gaps.max() - gaps.max() // 2 + 1
