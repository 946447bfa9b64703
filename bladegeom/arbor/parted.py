"""What is the blade's own wobble and what the flange's, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.angles import wrap_360
from bladegeom.arbor.mounted import places_of
from bladegeom.blade import Blade
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.result import Result, Text, between, derived, described, named, number, quantity
from bladegeom.wobble import Wobble

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LEAST_P = 0.05
"""What chance does in fewer cases than this is said not to agree."""

_SIZES: dict[str, Callable[[Wobble], Any]] = {
    "_tir": lambda one: one.tir,
    "_amplitude": lambda one: one.amplitude,
    "_amplitude_u": lambda one: one.amplitude_u,
}
_NEAR: dict[str, Callable[[Wobble], Any]] = {
    "_near_deg": lambda one: one.near_deg if one.resolved else None,
    "_near_u_deg": lambda one: one.near_u_deg if one.resolved else None,
}
_DOUBTED = {
    **_SIZES,
    "_amplitude_low": lambda one: one.amplitude_interval().low,
    "_amplitude_high": lambda one: one.amplitude_interval().high,
    **_NEAR,
    "_near_low_deg": lambda one: one.near_interval().low if one.resolved else None,
    "_near_high_deg": lambda one: one.near_interval().high if one.resolved else None,
    "_resolved": lambda one: one.resolved,
    "_p_value": lambda one: one.p_value,
    "_cosine": lambda one: one.cosine,
    "_sine": lambda one: one.sine,
}
"""Ending of a key -> the part of a wobble that it holds."""

_TOLD = (
    "wobble TIR, amplitude and near direction with their doubt, whether it is established, chance "
    "of so large a one without, cosine and sine part"
)


def _alone(name: str, counted_from: str) -> Text:
    """Return what tells people the wobble of a blade, or of the flange, by itself."""

    def words(result: Any) -> list[str | tuple[str, str]]:
        one: Wobble = getattr(result, name)
        u, near_u, near = 2 * one.amplitude_u, one.near_u_deg, "not established"
        low, high, _ = one.amplitude_interval()
        if one.resolved:
            limits = between(*one.near_interval()[:2], near_u)
            near = f"{number(one.near_deg, near_u)} deg from {counted_from} (95 %: {limits})"
        size = f"{number(one.tir, u)} {result.unit} (95 %: {between(2 * low, 2 * high, u)})"
        return [f"TIR {size}", ("  near at", near)]

    return words


def _clock(meaning: str, key: str, get: Callable[[ArborFit], float]) -> Any:
    """Declare a clock position that stands only where both wobbles are established."""
    return derived(meaning, key=key)(lambda fit: get(fit) if fit.resolved else None)


@described
class Left(Result):
    """What blade and flange do not explain: how a blade seats, and whether they hold.

    Where nothing was remounted at the same clock position, what the model does not explain is in
    the seating. The check is against the doubt of the fits and the seating scatter of repeats.
    """

    unit: str = quantity("of the lengths", key="")
    seating_sd: float | None = quantity(
        "standard deviation of one component of the wobble from one seating to the next; None "
        "where nothing is left over to show it",
        label="seating",
        text=lambda left: left._seating_words(),
    )
    seating_low: float | None = quantity("its lower 95 % limit")
    seating_high: float | None = quantity("its upper 95 % limit")
    dof: float = quantity("degrees of freedom of the covariance of what is told")
    chi_square: float | None = quantity(
        "what the model leaves; None where nothing is left over to check it",
        label="check",
        text=lambda left: left._check_words(),
    )
    chi_square_dof: int = quantity("its degrees of freedom")
    p_value: float | None = quantity("chance of so large a chi-square where the model holds")
    repeats_dof: int = quantity(
        "degrees of freedom of the seating scatter in it; 0 where nothing was remounted", key=""
    )

    @property
    def fails(self) -> bool:
        """Whether chance alone would leave so much in fewer than 5 % of cases."""
        return self.p_value is not None and self.p_value < LEAST_P

    @property
    def failure(self) -> str:
        """That the model does not hold, and where to look, in words."""
        if self.repeats_dof:
            return (
                f"blade and flange do not explain the mountings ({self._numbers}): look whether "
                "the arbor's mark was kept, the blade slipped as the nut was tightened, or a clock "
                "position was counted the wrong way; do not rely on the limits"
            )
        return (
            f"the mountings differ by more than their readings do ({self._numbers}): the blade "
            "seats otherwise each time (that is in the limits), or a clock position is wrong; a "
            "remount at the same clock position tells which"
        )

    def _title(self) -> str:
        return "What blade and flange leave of the mountings"

    def _seating_words(self) -> str:
        sd, low, high = self.seating_sd, self.seating_low, self.seating_high
        if sd is None or low is None or high is None:
            return "not known: nothing is left over to show it"
        doubt = high / 4 or None
        limits = f"95 %: {between(low, high, doubt)}"
        return f"{number(sd, doubt)} {self.unit} ({limits}), standard deviation of either component"

    def _check_words(self) -> str:
        if self.p_value is None:
            return "nothing is left over to check the model"
        more = "more" if self.fails else "no more"
        return f"{more} is left than the doubt explains ({self._numbers})"

    @property
    def _numbers(self) -> str:
        return f"chi-square {self.chi_square:.1f} for {self.chi_square_dof}, p = {self.p_value:.2g}"


@described
class ArborFit(Result):
    """What is the blade's own wobble and what the flange's: M = B + F exp(-i clock)."""

    blade: Blade = quantity("the blade", key="")
    _name = derived("the blade's name, as text", key="blade")(lambda fit: fit.blade.name)
    _teeth = derived("number of teeth", key="teeth")(lambda fit: fit.blade.teeth)
    unit: str = quantity("of all lengths")
    ring_radius: float | None = quantity("ring at which both vectors are given, in `unit`")
    blade_vector: complex = quantity(
        "the blade's own wobble B; its angle is the near direction as a blade angle", key=""
    )

    @derived(
        f"what the blade would do on a perfect arbor: {_TOLD}",
        key="blade",
        parts=_DOUBTED,
        label="blade alone",
        text=_alone("blade_wobble", "tooth 1"),
    )
    def blade_wobble(self) -> Wobble:
        return Wobble(self.blade_vector, self.covariance[:2, :2], self.left.dof)

    flange_vector: complex = quantity(
        "the flange's wobble F at the blade's ring; its angle is the near direction, counted on "
        "the arbor from its mark in the direction of the blade's numbering",
        key="",
    )

    @derived(
        f"what a perfect blade would do on the flange: {_TOLD}",
        key="flange",
        parts=_DOUBTED,
        label="flange alone",
        text=_alone("flange_wobble", "the arbor's mark"),
    )
    def flange_wobble(self) -> Wobble:
        return Wobble(self.flange_vector, self.covariance[2:, 2:], self.left.dof)

    _best_clock = _clock(
        "clock position of the least wobble", "best_clock_deg", lambda fit: fit.best_clock_deg
    )

    @derived(
        "amplitude where blade and flange work against each other",
        label="together",
        text=lambda fit: fit._together(),
    )
    def best_amplitude(self) -> float:
        return abs(abs(self.blade_vector) - abs(self.flange_vector))

    @derived(
        "standard uncertainty (k = 1) of it, and of the worst: for the mean over seatings, a "
        "single mounting scatters by `seating_sd` more"
    )
    def best_amplitude_u(self) -> float:
        toward = [one / abs(one) if one else 1.0 for one in (self.blade_vector, self.flange_vector)]
        slope = np.array([toward[0].real, toward[0].imag, -toward[1].real, -toward[1].imag])
        return math.sqrt(float(slope @ self.covariance @ slope))

    _worst_clock = _clock(
        "clock position of the most wobble", "worst_clock_deg", lambda fit: fit.worst_clock_deg
    )

    @derived("amplitude where blade and flange add up")
    def worst_amplitude(self) -> float:
        return abs(self.blade_vector) + abs(self.flange_vector)

    left: Left = quantity("what blade and flange do not explain", inline=True)
    flange_read: Wobble | None = quantity(
        "the flange's face read directly, carried out to the blade's ring: wobble TIR, amplitude "
        "and near direction, the last two with their standard uncertainty",
        parts={**_SIZES, **_NEAR},
        label=lambda fit: "flange read" if fit.flange_read else "",
        text=lambda fit: fit._flange_read_words(),
    )

    @derived("whether it agrees with what the blade shows of the flange")
    def flange_agrees(self) -> bool | None:
        return None if self.flange_p_value is None else self.flange_p_value >= LEAST_P

    flange_p_value: float | None = quantity(
        "chance of so large a difference of the two where both are right",
        key="flange_agrees_p_value",
    )

    mount: tuple[str, ...] = quantity("names of the mountings", key="")
    clock_deg: Floats = quantity("where tooth 1 stood on the arbor in each mounting", key="")
    measured: Complexes = quantity("the wobble of each mounting", key="")
    fitted: Complexes = quantity("the same by blade and flange", key="")

    @derived("every mounting: as measured, and as fitted")
    def mountings(self) -> list[dict[str, Any]]:
        return [
            {
                "mount": name,
                "clock_deg": float(clock),
                "cosine": measured.real,
                "sine": measured.imag,
                "fitted_cosine": fitted.real,
                "fitted_sine": fitted.imag,
            }
            for name, clock, measured, fitted in zip(
                self.mount, self.clock_deg, self.measured, self.fitted, strict=True
            )
        ]

    covariance: Floats = quantity(
        "of (Re B, Im B, Re F, Im F), shape (4, 4), the seating scatter in it where it is known"
    )
    warnings: tuple[str, ...] = quantity("what the reader should know")
    fits: tuple[WobbleFit, ...] = quantity("the fit of each mounting", key="")

    @property
    def again(self) -> tuple[str, ...]:
        """What to read again before anything is followed: mountings with a likely mistake."""
        each = zip(self.mount, self.fits, strict=True)
        return tuple(f"mount {name}: {one.mistake.again}" for name, one in each if one.mistake)

    @property
    def first(self) -> tuple[str, ...]:
        """What comes before all else: likely mistakes, and sizes to be asked about."""
        each = zip(self.mount, self.fits, strict=True)
        return tuple(f"mount {name}: {words}" for name, one in each for words in one.first)

    @property
    def resolved(self) -> bool:
        """Whether both wobbles are established, and with them the best and the worst position."""
        return bool(self.blade_wobble.resolved and self.flange_wobble.resolved)

    @property
    def worst_clock_deg(self) -> float:
        """Clock position at which blade and flange add up."""
        return wrap_360(self.flange_wobble.near_deg - self.blade_wobble.near_deg)

    @property
    def best_clock_deg(self) -> float:
        """Clock position at which blade and flange work against each other."""
        return wrap_360(self.worst_clock_deg + 180.0)

    def at(self, clock_deg: ArrayLike) -> complex | Complexes:
        """Return the wobble to expect with tooth 1 at clock positions.

        Parameters
        ----------
        clock_deg : float or array_like, shape (...)

        Returns
        -------
        complex or complex ndarray, shape (...)
            As a blade sees it: the angle is a blade angle.
        """
        clock = np.radians(np.asarray(clock_deg, dtype=np.float64))
        wobble: Complexes = self.blade_vector + self.flange_vector * np.exp(-1j * clock)
        return complex(wobble) if wobble.ndim == 0 else wobble

    def _title(self) -> str:
        name = named(str(self.blade.who))
        places = int(places_of(self.clock_deg).max()) + 1
        return f"{name} on its arbor: {len(self.mount)} mountings at {places} clock positions"

    def _first(self) -> Sequence[str]:
        return self.first

    def _remarks(self) -> Sequence[str]:
        return self.warnings

    def _together(self) -> str:
        u, unit = 2 * self.best_amplitude_u, self.unit
        low, high = number(2 * self.best_amplitude, u), number(2 * self.worst_amplitude, u)
        if not self.resolved:
            return f"TIR {low} to {high} {unit}, at which clock position is not established"
        return (
            f"TIR {low} {unit} with tooth 1 at {self.best_clock_deg:.0f} deg from the arbor's "
            f"mark, {high} {unit} at {self.worst_clock_deg:.0f} deg"
        )

    def _flange_read_words(self) -> str:
        read = self.flange_read
        if read is None:
            return ""
        near = f"near at {number(read.near_deg, read.near_u_deg)} deg, " if read.resolved else ""
        agrees = "agrees" if self.flange_agrees else "does not agree"
        tir = f"TIR {number(read.tir, 2 * read.amplitude_u)} {self.unit}"
        return f"{tir}, {near}{agrees} (p = {self.flange_p_value:.2g})"


@described
class FleetBlade(Result):
    """One blade of the fleet, freed of the flange.

    With one clock position it is corrected and tells nothing of the flange.
    """

    name: str = quantity("the blade's name, as text", key="blade")
    unit: str = quantity("of all lengths")
    ring_radius: float | None = quantity("its ring, at which the wobble is given")
    mountings: int = quantity("how many mountings count")
    positions: int = quantity("at how many clock positions")
    wobble: Wobble = quantity(
        f"the blade's own wobble, the flange's doubt and the seating scatter included: {_TOLD}",
        key="blade",
        parts=_DOUBTED,
        label="alone",
        text=_alone("wobble", "tooth 1"),
    )

    @property
    def words(self) -> str:
        """The blade in one line."""
        one, many = self.wobble, "" if self.mountings == 1 else "s"
        near = f"near at {number(one.near_deg, one.near_u_deg)} deg"
        return (
            f"alone TIR {number(one.tir, 2 * one.amplitude_u)} {self.unit}, "
            f"{near if one.resolved else 'not established'}, from {self.mountings} "
            f"mounting{many} at {self.positions} clock position{'' if self.positions == 1 else 's'}"
        )

    def _title(self) -> str:
        return f"{named(self.name)}, freed of the flange"


@described
class FleetFit(Result):
    """The flange's wobble from all blades together, and each blade's own."""

    unit: str = quantity("of all lengths: that of the first blade's readings")
    ring_radius: float | None = quantity(
        "the ring at which the flange's wobble is given: the first blade's"
    )
    flange_wobble: Wobble = quantity(
        "the flange's wobble, counted on the arbor from its mark in the direction of the blades' "
        "numbering, the seating scatter in its doubt where it is known: " + _TOLD,
        key="flange",
        parts=_DOUBTED,
        label="flange alone",
        text=_alone("flange_wobble", "the arbor's mark"),
    )
    left: Left = quantity("what blades and flange do not explain", inline=True)
    blades: tuple[FleetBlade, ...] = quantity(
        "the blades that are corrected",
        label="blade",
        text=lambda fleet: [(f"blade {one.name}", one.words) for one in fleet.blades],
    )
    not_corrected: dict[str, str] = quantity(
        "blades without clock positions, and why they cannot be corrected"
    )
    warnings: tuple[str, ...] = quantity("what the reader should know")

    @property
    def flange_vector(self) -> complex:
        """The flange's wobble: its angle is the near direction."""
        return complex(self.flange_wobble.value)

    @property
    def covariance(self) -> Floats:
        """Of (Re F, Im F), shape (2, 2)."""
        return self.flange_wobble.covariance

    def blade(self, name: str) -> FleetBlade:
        """Return one blade by its name.

        Raises
        ------
        RefusedError
            If it is not in the fleet, or could not be corrected.
        """
        for one in self.blades:
            if one.name == name:
                return one
        problem = self.not_corrected.get(name, "there is no such blade in the fleet")
        listed = ", ".join(one.name for one in self.blades)
        raise refuse(f"blade {name}: {problem}", f"corrected blades: {listed}", value=name)

    def to_frame(self) -> pd.DataFrame:
        """Return a frame of one row a blade."""
        import pandas as pd

        return pd.DataFrame([one.to_dict() for one in self.blades])

    def _title(self) -> str:
        count = len(self.blades) + len(self.not_corrected)
        shows = sum(one.positions > 1 for one in self.blades)
        return f"{count} blades on one arbor, {shows} of them at two or more clock positions"

    def _remarks(self) -> Sequence[str]:
        why = [f"blade {name}: {why}" for name, why in self.not_corrected.items()]
        return (*why, *self.warnings)
