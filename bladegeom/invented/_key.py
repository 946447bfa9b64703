"""An invented blade on an invented arbor: its hidden shape, and the answer key to its readings."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import turn_between, wrap_360
from bladegeom.blade import Blade
from bladegeom.result import Result, derived, described, number, quantity

Floats = NDArray[np.float64]


class Hump(NamedTuple):
    """A `LocalBend` with its height in the unit of the readings."""

    first: int
    last: int
    height: float


class Planted(NamedTuple):
    """One fault that was planted.

    Attributes
    ----------
    kind : str
        Of the plate: ``dish``, ``saddle``, ``bend``, ``spike`` (gum or a burr); of the arbor:
        ``flange``, ``seating``; of the stand: ``drift``, ``step`` (a bumped base), ``play``; of
        the person: ``skipped``, ``doubled``, ``sign``, ``scale``, ``swapped``, ``unit``, as
        `check_readings` names them.
    teeth : tuple of int
        The teeth whose readings it touches; empty where it touches all.
    readings : tuple of int
        Those readings, counted from 1 in the order in which they were written; empty where it
        touches all, or where a reading is missing.
    size : float or None
        As it was asked for: a height in the unit of the readings (a TIR of what tilts), or a
        factor; None where it has none.
    """

    kind: str
    teeth: tuple[int, ...]
    readings: tuple[int, ...]
    size: float | None

    def said(self, unit: str) -> str:
        """Return it in words."""
        teeth = f" at {_named('tooth', 'teeth', self.teeth)}" if self.teeth else ""
        at = f", {_named('reading', 'readings', self.readings)}" if self.readings else ""
        if self.size is None:
            return f"{self.kind}{teeth}{at}"
        factor = self.kind in ("scale", "unit")
        size = f"times {self.size:.4g}" if factor else f"{self.size:.4g} {unit}"
        return f"{self.kind}, {size}{teeth}{at}"


@dataclass(frozen=True)
class Hidden:
    """What is hidden in the blade and its arbor; lengths in one unit, angles in degrees.

    Attributes
    ----------
    blade : Blade
    rim, outer_ring : float
        Radius to which `dish` and `saddle` refer, and radius of the outermost ring, to which
        everything else refers.
    tilt, flange : complex
        Half the runout that each would show alone, pointing to its near direction: of the blade's
        own seat as a blade angle, of the arbor's flange as an angle from the arbor's mark.
    dish, saddle : float
        Height at the rim over that at the centre; greatest height of the saddle at the rim.
    saddle_deg : float
        Blade angle of one of its two crests.
    bends : tuple of Hump
    """

    blade: Blade
    rim: float
    outer_ring: float
    tilt: complex
    flange: complex
    dish: float
    saddle: float
    saddle_deg: float
    bends: tuple[Hump, ...]

    def heights(
        self, ring: float, angle_deg: Floats, clock_deg: float, seat: complex
    ) -> dict[str, Floats]:
        """Return how far each part brings the plate toward the indicator, at spots of a ring.

        A spot at blade angle t stands at the arbor angle t + clock_deg. A plane tilted by tan(a)
        lies r tan(a) cos(t - near) high at the radius r; what bends it is added. `seat` is how the
        blade happens to sit this time, as `tilt`.
        """
        blade_angle = np.radians(angle_deg)
        arbor_angle = np.radians(angle_deg + clock_deg)
        out, rim = ring / self.outer_ring, (ring / self.rim) ** 2
        flat = np.zeros(len(angle_deg))
        crest = 2 * (blade_angle - math.radians(self.saddle_deg))
        return {
            "tilt": out * _toward(self.tilt, blade_angle),
            "flange": out * _toward(self.flange, arbor_angle),
            "seating": out * _toward(seat, blade_angle),
            "dish": flat + self.dish * rim,
            "saddle": self.saddle * rim * np.cos(crest),
            "bend": out**2 * sum((self.hump_at(one, angle_deg) for one in self.bends), flat),
        }

    def hump_at(self, bend: Hump, angle_deg: Floats) -> Floats:
        """Return how far a local bend stands off at the outermost ring."""
        blade, (first, last, height) = self.blade, bend
        start = blade.angle_of(first) - blade.gaps_deg(first)[0]
        run = (blade.angle_of(last) - blade.angle_of(first)) % 360.0
        half = (run + blade.gaps_deg(first)[0] + blade.gaps_deg(last)[1]) / 2
        off = np.abs(turn_between(start + half, angle_deg)) / half
        # A hair inside the ends: the teeth beside the run are not touched by rounding either.
        return np.where(off < 1 - 1e-9, height * (1 + np.cos(np.pi * off)) / 2, 0.0)


def _toward(vector: complex, angle: Floats) -> Floats:
    return vector.real * np.cos(angle) + vector.imag * np.sin(angle)


def _direction(vector: complex) -> float | None:
    return wrap_360(math.degrees(cmath.phase(vector))) if vector else None


_OF_VECTOR: dict[str, Callable[[complex], Any]] = {"_amplitude": abs, "_near_deg": _direction}


@described
class AnswerKey(Result):
    """The truth behind one set of invented readings; lengths in `unit`, angles in degrees.

    `parts` is what each part adds to each reading, in the order of reading; together they are what
    the dial showed, and the last are ``noise`` and ``rounding``. `tooth` is the tooth that was
    truly read. `seat` is how the blade sat in this mounting, at the outermost ring; `touch_deg` is
    from the indexed tooth to the touched spot.
    """

    hidden: Hidden
    seat: complex
    touch_deg: float
    tooth: NDArray[np.int64]
    parts: Mapping[str, Floats] = field(default_factory=dict)
    planted: tuple[Planted, ...] = ()

    @derived("the blade's name, as text", key="blade")
    def name(self) -> str:
        return self.blade.name

    unit: str = quantity("unit of the readings and of all lengths without one in their name")
    mount: int = quantity(
        "number of the mounting, from 1",
        label="mounting",
        text=lambda key: f"{key.mount}, tooth 1 at {key.clock_deg:g} degrees from the arbor's mark",
    )
    clock_deg: float = quantity(
        "where tooth 1 stands from the arbor's mark, in the direction of numbering"
    )
    ring_radius: float = quantity(
        "radius at which it was read",
        label="ring radius",
        text=lambda key: key._said(key.ring_radius),
    )

    @derived("half the movement of the wobble")
    def amplitude(self) -> float:
        return abs(self.wobble_vector)

    @derived("twice the amplitude", label="wobble TIR", text=lambda key: key._said(key.wobble_tir))
    def wobble_tir(self) -> float:
        return 2 * self.amplitude

    @derived("tilt of the plate", label="tilt", text=lambda key: f"{number(key.tilt_deg)} degrees")
    def tilt_deg(self) -> float:
        return math.degrees(math.atan2(self.amplitude, self.ring_radius))

    @derived(
        "blade angle nearest to the indicator", label="near", text=lambda key: key._near_words()
    )
    def near_deg(self) -> float | None:
        return _direction(self.wobble_vector)

    @derived("tooth nearest to it; none where the plate is not tilted")
    def near_tooth(self) -> int | None:
        return None if self.near_deg is None else self.blade.nearest_tooth(self.near_deg)

    @derived("tooth farthest from it")
    def far_tooth(self) -> int | None:
        near = self.near_deg
        return None if near is None else self.blade.nearest_tooth(wrap_360(near + 180.0))

    @derived(
        "the blade's own wobble at the ring: its size, its near direction as a blade angle",
        key="blade",
        parts=_OF_VECTOR,
    )
    def blade_vector(self) -> complex:
        return self._at_ring(self.hidden.tilt)

    @derived(
        "the flange's wobble at the ring: its size, its near direction from the arbor's mark",
        key="flange",
        parts=_OF_VECTOR,
    )
    def flange_vector(self) -> complex:
        return self._at_ring(self.hidden.flange)

    @derived(
        "what the seating added in this mounting: its size, its near direction as a blade angle",
        key="seating",
        parts=_OF_VECTOR,
    )
    def seating_vector(self) -> complex:
        return self._at_ring(self.seat)

    @derived("height of the rim over the centre")
    def dish(self) -> float:
        return self.hidden.dish

    @derived("greatest height of the saddle at the rim")
    def saddle(self) -> float:
        return self.hidden.saddle

    @derived("blade angle of a crest")
    def saddle_deg(self) -> float | None:
        return self.hidden.saddle_deg if self.saddle else None

    noise_sd: float = quantity(
        "repeatability before rounding", label="noise", text=lambda key: key._said(key.noise_sd)
    )
    graduation: float | None = quantity("of the dial; none where nothing was rounded")

    @derived(
        "what was planted: kind, teeth, readings, size",
        key="planted",
        label="planted",
        text=lambda key: [one.said(key.unit) for one in key.planted],
    )
    def planted_values(self) -> list[dict[str, Any]]:
        return [one._asdict() for one in self.planted]

    @property
    def blade(self) -> Blade:
        """The blade."""
        return self.hidden.blade

    @property
    def wobble_vector(self) -> complex:
        """The wobble of this mounting at this ring, without bends; angle: near direction."""
        turned = self.flange_vector * cmath.exp(-1j * math.radians(self.clock_deg))
        return self.blade_vector + turned + self.seating_vector

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds of the planted faults, each once."""
        return tuple(dict.fromkeys(one.kind for one in self.planted))

    def _at_ring(self, vector: complex) -> complex:
        return vector * self.ring_radius / self.hidden.outer_ring

    def _title(self) -> str:
        name = self.blade.name
        return f"Answer key{f' of blade {name}' if name else ''} (all of it invented)"

    def _said(self, length: float) -> str:
        return f"{number(length)} {self.unit}"

    def _near_words(self) -> str:
        if self.near_deg is None:
            return "any: the plate is not tilted"
        return f"{self.near_deg:.1f} degrees, tooth {self.near_tooth}; far: tooth {self.far_tooth}"


def _named(one: str, more: str, which: tuple[int, ...]) -> str:
    few = [*map(str, which)] if len(which) < 5 else [str(which[0]), "...", str(which[-1])]
    return f"{one if len(which) == 1 else more} {', '.join(few)}"
