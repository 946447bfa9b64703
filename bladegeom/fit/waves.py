"""Waves round the blade beside the wobble: bends of two, three and more waves a turn."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bladegeom.kernel.design import Design, beyond, worst_ratio
from bladegeom.kernel.harmonics import harmonic_columns
from bladegeom.result import Row, between, number
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]

_WORST_RATIO = 10.0


@dataclass(frozen=True)
class Harmonic:
    """One order of waves round the blade, so many a turn; order 1 is the wobble.

    Without the teeth to tell it, it is not `identifiable`, `why_not` says what it would pass for,
    and all numbers are None. The amplitude is in the unit of the readings; ``_u`` is its standard
    uncertainty (k = 1), ``_low`` and ``_high`` are 95 % limits. `crest_deg` is the first crest from
    tooth 1 on; the others follow every 360 / order degrees. `p_value` is the chance of so large a
    wave on a blade without any.
    """

    order: int
    identifiable: bool
    why_not: str = ""
    amplitude: float | None = None
    amplitude_low: float | None = None
    amplitude_high: float | None = None
    amplitude_u: float | None = None
    crest_deg: float | None = None
    crest_low_deg: float | None = None
    crest_high_deg: float | None = None
    p_value: float | None = None

    @property
    def resolved(self) -> bool:
        """Whether the wave is established (95 %)."""
        return self.p_value is not None and self.p_value < 0.05

    def rows(self, u: float, unit: str) -> list[Row]:
        """Return its rows, to the doubt and in the unit of a fit; none of order 1, the wobble."""
        if self.order == 1:
            return []
        key, text = f"order_{self.order}", f"not identifiable: {self.why_not}"
        if self.amplitude is not None and self.p_value is not None:
            limits = between(self.amplitude_low or 0.0, self.amplitude_high or 0.0, u)
            text = f"{number(self.amplitude, u)} {unit} (95 %: {limits})"
            crest = f"first crest at {self.crest_deg:.0f} deg"
            text += f", {crest if self.resolved else 'not established'}"
        return [
            Row(f"{key}_amplitude", self.amplitude, f"{self.order} waves a turn", text),
            Row(f"{key}_amplitude_low", self.amplitude_low),
            Row(f"{key}_amplitude_high", self.amplitude_high),
            Row(f"{key}_crest_deg", self.crest_deg if self.resolved else None),
            Row(f"{key}_p_value", self.p_value),
        ]


def harmonic(order: int, wave: Wobble) -> Harmonic:
    """Return one fitted order with its doubt; the wave is of cosines and sines of its own angle."""
    if not wave.amplitude_u > 0:
        return Harmonic(order, True, "", wave.amplitude)
    low, high, _ = wave.amplitude_interval()
    crest_low, crest_high, _ = wave.near_interval()
    return Harmonic(
        order=order,
        identifiable=True,
        amplitude=wave.amplitude,
        amplitude_low=low,
        amplitude_high=high,
        amplitude_u=wave.amplitude_u,
        crest_deg=wave.near_deg / order,
        crest_low_deg=crest_low / order,
        crest_high_deg=crest_high / order,
        p_value=wave.p_value,
    )


def identifiable_orders(design: Design, most: int) -> tuple[list[int], dict[int, str]]:
    """Return which orders up to `most` can be told apart, and what the others pass for."""
    aside = design.aside
    orders: list[int] = []
    aliases: dict[int, str] = {}
    for order in range(1, most + 1):
        waves = _waves(design, order)
        room = len(waves) - aside.shape[1] - 2 >= 1
        if room and worst_ratio(waves, aside) <= _WORST_RATIO:
            orders.append(order)
            aside = np.concatenate([aside, waves], axis=1)
        else:
            aliases[order] = _alias(design, order, orders) if room else "too few readings"
    return orders, aliases


def _waves(design: Design, order: int) -> Floats:
    return harmonic_columns(design.angle, [order])[:, 1:]


def _alias(design: Design, order: int, orders: list[int]) -> str:
    """Name what a wave that cannot be told passes for in these readings."""
    waves = beyond(_waves(design, order), design.aside)
    if np.linalg.norm(waves) < 1e-6 * math.sqrt(len(waves)):
        return "passes for the offset"
    shares = {}
    for other in orders:
        q, _ = np.linalg.qr(beyond(_waves(design, other), design.aside))
        shares[other] = float(np.linalg.norm(q.T @ waves) / np.linalg.norm(waves))
    best = max(shares, key=lambda one: shares[one], default=0)
    if best and shares[best] > 0.5:
        return "passes for wobble" if best == 1 else f"passes for order {best}"
    return "passes for itself at another place"
