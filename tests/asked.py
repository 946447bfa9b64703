"""The saw's functions asked with plain numbers, which are then lengths in one unit."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from bladegeom.saw.cut import flip_test, measured_length, round_test
from bladegeom.saw.fence import fence_alignment
from bladegeom.saw.insert import insert_level
from bladegeom.saw.slots import slot_alignment

NO_LENGTH = {"turns", "threads_per_inch", "side_angle_deg"}


def asked(function: Callable[..., Any], unit: str = "mm", per: float = 1.0, **facts: Any) -> Any:
    """Ask with every number, or list of numbers, `per` times itself in a unit."""

    def with_unit(name: str, value: Any) -> Any:
        plain = isinstance(value, (int, float, list, np.ndarray, np.number))
        if not plain or isinstance(value, bool) or name in NO_LENGTH:
            return value
        return (
            value if per == 1.0 else np.asarray(value) * per if np.ndim(value) else value * per
        ), unit

    return function(**{name: with_unit(name, value) for name, value in facts.items()})


def in_both(function: Callable[..., Any], **facts: Any) -> tuple[Any, Any]:
    """Ask in millimetres and in inches."""
    return asked(function, **facts), asked(function, "in", 1 / 25.4, **facts)


slots = partial(asked, slot_alignment)
fence = partial(asked, fence_alignment)
insert = partial(asked, insert_level)
flip = partial(asked, flip_test)
round_board = partial(asked, round_test)
measured = partial(asked, measured_length)
