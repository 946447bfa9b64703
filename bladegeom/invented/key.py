"""An invented blade on an invented arbor: its hidden shape, and the answer key to its readings."""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import turn_between, wrap_360
from bladegeom.blade import Blade
from bladegeom.result import Result, Row, number

Floats = NDArray[np.float64]


class LocalBend(NamedTuple):
    """A local bend: the plate stands off over a run of teeth, most in the middle.

    Attributes
    ----------
    first, last : int
        The run's teeth, in the direction of the numbering (so that `first` may be the larger).
    height : float
        In the middle of the run, at the outermost ring.
    """

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
        the person: ``skipped``, ``doubled``, ``sign``, ``scale``, ``unit``, as `check_readings`
        names them.
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
    bend : LocalBend or None
    """

    blade: Blade
    rim: float
    outer_ring: float
    tilt: complex
    flange: complex
    dish: float
    saddle: float
    saddle_deg: float
    bend: LocalBend | None

    def heights(
        self, ring: float, angle_deg: Floats, clock_deg: float, seat: complex
    ) -> dict[str, Floats]:
        """Return how far each part brings the plate toward the indicator.

        A spot at blade angle t stands at the arbor angle t + clock_deg. A plane tilted by tan(a)
        lies r tan(a) cos(t - near) high at the radius r; what bends it is added.

        Parameters
        ----------
        ring : float
            Radius of the spots.
        angle_deg : ndarray, shape (n,)
            Their blade angles.
        clock_deg : float
            Arbor angle of tooth 1, from the arbor's mark, in the direction of numbering.
        seat : complex
            How the blade happens to sit this time, as `tilt`.

        Returns
        -------
        dict of str to ndarray, shape (n,)
        """
        blade_angle = np.radians(angle_deg)
        arbor_angle = np.radians(angle_deg + clock_deg)
        out, rim = ring / self.outer_ring, (ring / self.rim) ** 2
        crest = 2 * (blade_angle - math.radians(self.saddle_deg))
        return {
            "tilt": out * _toward(self.tilt, blade_angle),
            "flange": out * _toward(self.flange, arbor_angle),
            "seating": out * _toward(seat, blade_angle),
            "dish": np.full(len(angle_deg), self.dish * rim),
            "saddle": self.saddle * rim * np.cos(crest),
            "bend": out**2 * self._bend_at(angle_deg),
        }

    def _bend_at(self, angle_deg: Floats) -> Floats:
        if self.bend is None:
            return np.zeros(len(angle_deg))
        blade, (first, last, height) = self.blade, self.bend
        start = blade.angle_of(first) - blade.gaps_deg(first)[0]
        run = (blade.angle_of(last) - blade.angle_of(first)) % 360.0
        half = (run + blade.gaps_deg(first)[0] + blade.gaps_deg(last)[1]) / 2
        off = np.abs(turn_between(start + half, angle_deg)) / half
        # A hair inside the ends: the teeth beside the run are not touched by rounding either.
        return np.where(off < 1 - 1e-9, height * (1 + np.cos(np.pi * off)) / 2, 0.0)


def total(parts: Mapping[str, Floats]) -> Floats:
    """Return the sum of the parts at each reading."""
    added: Floats = np.sum(list(parts.values()), axis=0)
    return added


def _toward(vector: complex, angle: Floats) -> Floats:
    return vector.real * np.cos(angle) + vector.imag * np.sin(angle)


@dataclass(frozen=True, eq=False, repr=False)
class AnswerKey(Result):
    """The truth behind one set of invented readings; lengths in `unit`.

    Attributes
    ----------
    hidden : Hidden
    unit : str
    mount : int
        Which mounting, from 1.
    clock_deg : float
        Arbor angle of tooth 1.
    ring_radius : float
    seat : complex
        How the blade sat in this mounting, at the outermost ring.
    touch_deg : float
        Degrees of blade from the indexed tooth to the touched spot.
    noise_sd, graduation : float
        Of the dial; graduation 0 where nothing was rounded.
    planted : tuple of Planted
    parts : dict of str to ndarray, shape (n,)
        What each part adds to each reading; together they are what the dial showed, in the order
        of reading. The last are ``noise`` and ``rounding``.
    tooth : ndarray of int, shape (n,)
        The tooth that was truly read.
    """

    hidden: Hidden
    unit: str
    mount: int
    clock_deg: float
    ring_radius: float
    seat: complex
    touch_deg: float
    noise_sd: float
    graduation: float
    planted: tuple[Planted, ...]
    parts: Mapping[str, Floats]
    tooth: NDArray[np.int64]

    @property
    def blade(self) -> Blade:
        """The blade."""
        return self.hidden.blade

    @property
    def blade_vector(self) -> complex:
        """The blade's own wobble at this ring; angle: near direction as a blade angle."""
        return self.hidden.tilt * self.ring_radius / self.hidden.outer_ring

    @property
    def flange_vector(self) -> complex:
        """The flange's wobble at this ring; angle: near direction from the arbor's mark."""
        return self.hidden.flange * self.ring_radius / self.hidden.outer_ring

    @property
    def seating_vector(self) -> complex:
        """What the seating added at this ring; angle: near direction as a blade angle."""
        return self.seat * self.ring_radius / self.hidden.outer_ring

    @property
    def wobble_vector(self) -> complex:
        """The wobble of this mounting at this ring, without bends; angle: near direction."""
        turned = self.flange_vector * cmath.exp(-1j * math.radians(self.clock_deg))
        return self.blade_vector + turned + self.seating_vector

    @property
    def near_deg(self) -> float | None:
        """Blade angle of the nearest spot of the tilted plane; None where it is not tilted."""
        return _direction(self.wobble_vector)

    @property
    def near_tooth(self) -> int | None:
        """The tooth nearest to it; None where the plane is not tilted."""
        return None if self.near_deg is None else self.blade.nearest_tooth(self.near_deg)

    @property
    def wobble_tir(self) -> float:
        """Twice the amplitude of the wobble."""
        return 2 * abs(self.wobble_vector)

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds of the planted faults, each once."""
        return tuple(dict.fromkeys(one.kind for one in self.planted))

    def _title(self) -> str:
        name = self.blade.name
        return f"Answer key{f' of blade {name}' if name else ''} (all of it invented)"

    def _rows(self) -> Sequence[Row]:
        blade, near = self.blade, self.near_deg
        far = None if near is None else blade.nearest_tooth(wrap_360(near + 180.0))
        tilt = math.degrees(math.atan2(abs(self.wobble_vector), self.ring_radius))
        where = "any: the plate is not tilted"
        if near is not None:
            where = f"{near:.1f} degrees, tooth {self.near_tooth}; far: tooth {far}"
        mount = f"{self.mount}, tooth 1 at {self.clock_deg:g} degrees from the arbor's mark"
        return [
            Row("blade", blade.name),
            Row("unit", self.unit),
            Row("mount", self.mount, "mounting", mount),
            Row("clock_deg", self.clock_deg),
            Row("ring_radius", self.ring_radius, "ring radius", self._long(self.ring_radius)),
            Row("amplitude", abs(self.wobble_vector)),
            Row("wobble_tir", self.wobble_tir, "wobble TIR", self._long(self.wobble_tir)),
            Row("tilt_deg", tilt, "tilt", f"{number(tilt)} degrees"),
            Row("near_deg", near, "near", where),
            Row("near_tooth", self.near_tooth),
            Row("far_tooth", far),
            *_vector_rows("blade", self.blade_vector),
            *_vector_rows("flange", self.flange_vector),
            *_vector_rows("seating", self.seating_vector),
            Row("dish", self.hidden.dish),
            Row("saddle", self.hidden.saddle),
            Row("saddle_deg", self.hidden.saddle_deg if self.hidden.saddle else None),
            Row("noise_sd", self.noise_sd, "noise", self._long(self.noise_sd)),
            Row("graduation", self.graduation or None),
            Row("planted", [one._asdict() for one in self.planted]),
            *(Row("", None, "planted", self._said(one)) for one in self.planted),
        ]

    def _long(self, length: float) -> str:
        return f"{number(length)} {self.unit}"

    def _said(self, one: Planted) -> str:
        teeth = f" at {_named('tooth', 'teeth', one.teeth)}" if one.teeth else ""
        at = f", {_named('reading', 'readings', one.readings)}" if one.readings else ""
        factor = one.kind in ("scale", "unit")
        size = "" if one.size is None else f", {'times ' if factor else ''}{one.size:.4g}"
        return f"{one.kind}{size}{'' if factor or not size else f' {self.unit}'}{teeth}{at}"


def _direction(vector: complex) -> float | None:
    return wrap_360(math.degrees(cmath.phase(vector))) if vector else None


def _vector_rows(of: str, vector: complex) -> list[Row]:
    return [
        Row(f"{of}_amplitude", abs(vector)),
        Row(f"{of}_near_deg", _direction(vector)),
    ]


def _named(one: str, more: str, which: tuple[int, ...]) -> str:
    few = [*map(str, which)] if len(which) < 5 else [str(which[0]), "...", str(which[-1])]
    return f"{one if len(which) == 1 else more} {', '.join(few)}"
