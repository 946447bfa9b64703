"""Before and after: whether the wobble of a blade has changed, and by how much."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import wrap_360
from bladegeom.estimate import Known, combined
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import zero_amplitude_p
from bladegeom.lengths import Length, convert, length_mm
from bladegeom.result import Result, between, derived, described, number, quantity
from bladegeom.shop.visit import Visit, differs, differs_in_plan, visit_of

IMPROVED, NOT_SHOWN, WORSE = "improved", "not shown to have improved", "worse"

_SHOWN = 0.05


@dataclass(frozen=True, eq=False)
class Moved:
    """The change of the wobble as a vector.

    Attributes
    ----------
    vector : complex
        Amplitude, and the direction in the blade to which the plate moved nearer.
    spread : ndarray, shape (2, 2)
        Covariance of its cosine and sine part; NaN where the doubt is not known.
    p : float or None
        How probable so large a change is where there is none.
    """

    vector: complex
    spread: NDArray[np.float64]
    p: float | None

    @property
    def amplitude(self) -> float:
        """Its size."""
        return abs(self.vector)

    @property
    def deg(self) -> float:
        """Its direction in the blade."""
        return wrap_360(math.degrees(math.atan2(self.vector.imag, self.vector.real)))

    @property
    def cosine(self) -> float:
        """Its cosine part."""
        return self.vector.real

    @property
    def sine(self) -> float:
        """Its sine part."""
        return self.vector.imag

    @property
    def cosine_u(self) -> float:
        """Standard uncertainty (k = 1) of the cosine part."""
        return math.sqrt(float(self.spread[0, 0]))

    @property
    def sine_u(self) -> float:
        """Standard uncertainty (k = 1) of the sine part."""
        return math.sqrt(float(self.spread[1, 1]))

    @property
    def covariance(self) -> float:
        """Covariance of the two parts."""
        return float(self.spread[0, 1])

    @property
    def shown(self) -> bool:
        """Whether the wobble has changed at all, in size or direction (95 %)."""
        return self.p is not None and self.p < _SHOWN


@described
class Change(Result):
    """How the wobble of a blade differs between two measurements; lengths in `unit`.

    `seating_sd_mm` is by how much either part of the wobble changes from mounting to mounting, as
    stated; `moved` is None where tooth 1 is not marked.
    """

    before: Visit
    after: Visit
    seating_sd_mm: float | None

    @derived("the blade's name, as text")
    def blade(self) -> str:
        return self.after.blade or self.before.blade

    @derived("unit of all lengths: that of the later measurement")
    def unit(self) -> str:
        return self.after.unit

    @derived(
        "improved or worse where the whole of the 95 % limits lies on one side of no change, else "
        "not shown to have improved",
        label="verdict",
    )
    def verdict(self) -> str:
        if self.tir.high < 0:
            return IMPROVED
        return WORSE if self.tir.low > 0 else NOT_SHOWN

    @derived(
        "wobble TIR of the earlier measurement",
        label="wobble TIR before",
        text=lambda one: one.said(one.before_tir),
    )
    def before_tir(self) -> float:
        return 2 * convert(self.before.amplitude_mm, "mm", self.unit)

    @derived(
        "wobble TIR of the later measurement",
        label="wobble TIR after",
        text=lambda one: one.said(one.after_tir),
    )
    def after_tir(self) -> float:
        return 2 * convert(self.after.amplitude_mm, "mm", self.unit)

    tir: Known = quantity(
        "change of the wobble TIR, negative where it became less",
        key="tir_change",
        parts=("", "_low", "_high"),
        label="change",
        text=lambda one: one.change_words(""),
    )

    @derived("by how much the wobble's parts change from mounting to mounting, as stated")
    def seating_sd(self) -> float | None:
        return None if self.seating_sd_mm is None else convert(self.seating_sd_mm, "mm", self.unit)

    tooth_1_marked: bool = quantity(
        "whether tooth 1 was the same tooth both times, so that directions are compared too"
    )

    moved: Moved | None = quantity(
        "the change as a vector: size, direction in the blade, cosine and sine part with their "
        "doubt, how probable so large a one is where there is none, and whether that is below 5 %",
        key="change",
        parts=(
            *("_amplitude", "_deg", "_cosine", "_sine", "_cosine_u", "_sine_u"),
            *("_covariance", "_p", "_shown"),
        ),
        label="as a vector",
        text=lambda one: one._vector_words,
    )

    @derived("what the reader should know")
    def warnings(self) -> list[str]:
        return list(self._remarks())

    @property
    def words(self) -> str:
        """The change in one sentence."""
        was, now = self.said(self.before_tir), self.said(self.after_tir)
        return (
            f"The wobble (TIR) was {was} and is {now}: a change of "
            f"{self.change_words('doubt not known')}, {self.verdict}."
        )

    def said(self, length: float) -> str:
        """Return a length of it, rounded by the doubt of the change."""
        return f"{number(length, self._doubt)} {self.unit}"

    def change_words(self, unknown: str) -> str:
        """Return the change with its limits, or what is said where they are not known."""
        doubt, change = self._doubt, self.tir
        limits = unknown
        if doubt is not None:
            limits = f"95 %: {between(change.low, change.high, doubt)}"
        return f"{self.said(change.value)} ({limits})" if limits else self.said(change.value)

    @property
    def _doubt(self) -> float | None:
        half = (self.tir.high - self.tir.low) / 4
        return half if math.isfinite(half) and half > 0 else None

    @property
    def _vector_words(self) -> str:
        if self.moved is None:
            return ""
        size = self.said(self.moved.amplitude)
        if not self.moved.shown:
            return f"{size}, not told apart from none"
        return f"{size} toward {self.moved.deg:.0f} deg from tooth 1"

    def _title(self) -> str:
        return f"{f'Blade {self.blade}' if self.blade else 'Blade'}: {self.verdict}"

    def _remarks(self) -> Sequence[str]:
        said = []
        if math.isnan(self.tir.low):
            said.append(
                "All readings of a measurement are the same and no graduation is stated: how sure "
                "this is cannot be told."
            )
        if self.seating_sd_mm is None:
            said.append(
                "This doubt is that of the readings. A blade that is mounted anew does not seat "
                "itself the same again: mount one blade several times, and state by how much its "
                "wobble scatters (seating)."
            )
        if not self.tooth_1_marked:
            said.append(
                "Tooth 1 is not known to be the same tooth, so only sizes are compared. Scatter "
                "makes a small wobble look larger; the limits take that in."
            )
        elif self.moved and self.moved.shown and self.verdict == NOT_SHOWN:
            said.append(
                "The wobble points elsewhere but is not shown to be less: look at the seat, and "
                "mount the blade with tooth 1 at the same place of the arbor."
            )
        if plan := differs_in_plan(self.after, self.before):
            said.append(f"After the service {plan} as before: compare no raw TIRs.")
        return said


def change(
    before: WobbleFit | Visit,
    after: WobbleFit | Visit,
    *,
    tooth_1_marked: bool = False,
    seating: Length | None = None,
) -> Change:
    """Compare two measurements of the same blade, such as before and after its service.

    The limits of the change put together the exact limits of both amplitudes, as Zou and Donner
    (Statistics in Medicine 27:1693, 2008; from memory) do for any difference: the scatter's own
    share in an amplitude does not pass for a change, also near no wobble at all. Where tooth 1 is
    marked for good, the change of the wobble's two parts is tested too (Wald's test, 2 degrees of
    freedom above, below after Welch and Satterthwaite).

    Parameters
    ----------
    before, after : WobbleFit or Visit
    tooth_1_marked : bool
        Whether tooth 1 is marked for good, and so the same tooth both times.
    seating : str or (float, str), optional
        Standard deviation by which the cosine and the sine part of the wobble change when a blade
        is mounted anew, such as ``"0.5 thou"``.

    Returns
    -------
    Change

    Raises
    ------
    RefusedError
        If the two cannot be compared: another blade, ring, surface, side or arbor.
    """
    first, second = (one if isinstance(one, Visit) else visit_of(one) for one in (before, after))
    if why := differs(second, first):
        raise refuse(
            f"the two measurements cannot be compared: {why}",
            "read the blade both times at the same ring, surface, side and arbor",
            blade=second.blade,
        )
    seating_sd = length_mm("seating", seating)
    scatter = seating_sd or 0.0
    was, now = first.amplitude_mm, second.amplitude_mm
    was_low, was_high = first.amplitude_limits_mm(scatter)
    now_low, now_high = second.amplitude_limits_mm(scatter)
    low = now - was - math.hypot(now - now_low, was_high - was)
    high = now - was + math.hypot(now_high - now, was - was_low)
    per_mm = convert(1.0, "mm", second.unit)
    change = Known(2 * (now - was) * per_mm, low=2 * low * per_mm, high=2 * high * per_mm)
    return Change(
        before=first,
        after=second,
        tir=change,
        seating_sd_mm=seating_sd,
        tooth_1_marked=tooth_1_marked,
        moved=_moved(first, second, scatter, per_mm) if tooth_1_marked else None,
    )


def _moved(first: Visit, second: Visit, scatter: float, per_mm: float) -> Moved:
    """Return the change of the vector, and how probable it is by chance."""
    parts = np.array([second.cosine_mm - first.cosine_mm, second.sine_mm - first.sine_mm])
    each = [one.rounded_covariance_mm2 for one in (first, second)]
    spread = each[0] + each[1] + 2 * scatter**2 * np.eye(2)
    p = None
    if np.isfinite(spread).all():
        # The degrees of freedom belong to what was estimated; stated and rounding parts have none.
        sizes = [math.sqrt(float(np.trace(one.covariance_mm2)) / 2) for one in (first, second)]
        known = math.sqrt(max(0.0, float(np.trace(spread)) / 2 - sizes[0] ** 2 - sizes[1] ** 2))
        _, dof = combined([(sizes[0], first.dof), (sizes[1], second.dof), (known, math.inf)])
        p = zero_amplitude_p(float(parts @ np.linalg.solve(spread, parts)) / 2, dof)
    return Moved(complex(*parts) * per_mm, spread * per_mm**2, p)
