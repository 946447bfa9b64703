"""Before and after: whether the wobble of a blade has changed, and by how much."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bladegeom.angles import wrap_360
from bladegeom.estimate import combined
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import zero_amplitude_p
from bladegeom.lengths import convert, one_length_mm
from bladegeom.result import Result, Row, between, number
from bladegeom.shop.visit import Visit, differs, differs_in_plan, visit_of

IMPROVED, NOT_SHOWN, WORSE = "improved", "not shown to have improved", "worse"

_SHOWN = 0.05


@dataclass(frozen=True, eq=False, repr=False)
class Change(Result):
    """How the wobble of a blade differs between two measurements; lengths in `unit`.

    Attributes
    ----------
    before, after : Visit
    unit : str
        That of the later measurement.
    tooth_1_marked : bool
        Whether tooth 1 was the same tooth both times, so that directions are compared too.
    seating_sd_mm : float or None
        By how much either part of the wobble changes from mounting to mounting, as stated.
    tir_change, tir_change_low, tir_change_high : float
        Change of the wobble TIR, negative where it became less, and 95 % limits; NaN where the
        doubt is not known.
    vector : complex or None
        Change of the wobble as a vector: amplitude, and the direction in the blade to which the
        plate moved nearer.
    vector_covariance : ndarray, shape (2, 2), or None
    vector_p : float or None
        How probable so large a change is where there is none.
    """

    before: Visit
    after: Visit
    unit: str
    tooth_1_marked: bool
    seating_sd_mm: float | None
    tir_change: float
    tir_change_low: float
    tir_change_high: float
    vector: complex | None
    vector_covariance: NDArray[np.float64] | None
    vector_p: float | None

    @property
    def verdict(self) -> str:
        """``improved``, ``not shown to have improved`` or ``worse``.

        Improved or worse where the whole of the 95 % limits lies on one side of no change.
        """
        if self.tir_change_high < 0:
            return IMPROVED
        return WORSE if self.tir_change_low > 0 else NOT_SHOWN

    @property
    def vector_shown(self) -> bool:
        """Whether the wobble has changed at all, in size or direction (95 %)."""
        return self.vector_p is not None and self.vector_p < _SHOWN

    @property
    def before_tir(self) -> float:
        """Wobble TIR of the earlier measurement."""
        return 2 * convert(self.before.amplitude_mm, "mm", self.unit)

    @property
    def after_tir(self) -> float:
        """Wobble TIR of the later measurement."""
        return 2 * convert(self.after.amplitude_mm, "mm", self.unit)

    @property
    def words(self) -> str:
        """The change in one sentence."""
        doubt = self._doubt
        was = f"{number(self.before_tir, doubt)} {self.unit}"
        now = f"{number(self.after_tir, doubt)} {self.unit}"
        limits = "doubt not known"
        if doubt is not None:
            limits = f"95 %: {between(self.tir_change_low, self.tir_change_high, doubt)}"
        return (
            f"The wobble (TIR) was {was} and is {now}: a change of "
            f"{number(self.tir_change, doubt)} {self.unit} ({limits}), {self.verdict}."
        )

    @property
    def _doubt(self) -> float | None:
        half = (self.tir_change_high - self.tir_change_low) / 4
        return half if math.isfinite(half) and half > 0 else None

    def _title(self) -> str:
        name = self.after.blade or self.before.blade
        return f"{f'Blade {name}' if name else 'Blade'}: {self.verdict}"

    def _rows(self) -> Sequence[Row]:
        doubt, vector, spread = self._doubt, self.vector, self.vector_covariance
        seat = None if self.seating_sd_mm is None else convert(self.seating_sd_mm, "mm", self.unit)
        change = f"{number(self.tir_change, doubt)} {self.unit}"
        if doubt is not None:
            change += f" (95 %: {between(self.tir_change_low, self.tir_change_high, doubt)})"
        return [
            Row("blade", self.after.blade or self.before.blade),
            Row("unit", self.unit),
            Row("verdict", self.verdict, "verdict", self.verdict),
            Row(
                "before_tir",
                self.before_tir,
                "wobble TIR before",
                f"{number(self.before_tir, doubt)} {self.unit}",
            ),
            Row(
                "after_tir",
                self.after_tir,
                "wobble TIR after",
                f"{number(self.after_tir, doubt)} {self.unit}",
            ),
            Row("tir_change", self.tir_change, "change", change),
            Row("tir_change_low", self.tir_change_low),
            Row("tir_change_high", self.tir_change_high),
            Row("seating_sd", seat),
            Row("tooth_1_marked", self.tooth_1_marked),
            Row(
                "change_amplitude",
                None if vector is None else abs(vector),
                "" if vector is None else "as a vector",
                self._vector_words,
            ),
            Row("change_deg", None if vector is None else _direction(vector)),
            Row("change_cosine", None if vector is None else vector.real),
            Row("change_sine", None if vector is None else vector.imag),
            Row("change_cosine_u", None if spread is None else math.sqrt(float(spread[0, 0]))),
            Row("change_sine_u", None if spread is None else math.sqrt(float(spread[1, 1]))),
            Row("change_covariance", None if spread is None else float(spread[0, 1])),
            Row("change_p", self.vector_p),
            Row("change_shown", None if vector is None else self.vector_shown),
            Row("warnings", list(self._remarks())),
        ]

    @property
    def _vector_words(self) -> str:
        if self.vector is None:
            return ""
        size = f"{number(abs(self.vector), self._doubt)} {self.unit}"
        if not self.vector_shown:
            return f"{size}, not told apart from none"
        return f"{size} toward {_direction(self.vector):.0f} deg from tooth 1"

    def _remarks(self) -> Sequence[str]:
        said = []
        if math.isnan(self.tir_change_low):
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
        elif self.vector_shown and self.verdict == NOT_SHOWN:
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
    seating_sd_mm: float | None = None,
    seating_sd_in: float | None = None,
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
    seating_sd_mm, seating_sd_in : float, optional
        Standard deviation by which the cosine and the sine part of the wobble change when a blade
        is mounted anew.

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
    seating = one_length_mm("seating_sd", {"mm": seating_sd_mm, "in": seating_sd_in})
    scatter = seating or 0.0
    unit = second.unit
    was, now = first.amplitude_mm, second.amplitude_mm
    was_low, was_high = first.amplitude_limits_mm(scatter)
    now_low, now_high = second.amplitude_limits_mm(scatter)
    low = now - was - math.hypot(now - now_low, was_high - was)
    high = now - was + math.hypot(now_high - now, was - was_low)
    vector, spread, p = _moved(first, second, scatter) if tooth_1_marked else (None, None, None)
    per_mm = convert(1.0, "mm", unit)
    return Change(
        before=first,
        after=second,
        unit=unit,
        tooth_1_marked=tooth_1_marked,
        seating_sd_mm=seating,
        tir_change=2 * (now - was) * per_mm,
        tir_change_low=2 * low * per_mm,
        tir_change_high=2 * high * per_mm,
        vector=None if vector is None else vector * per_mm,
        vector_covariance=None if spread is None else spread * per_mm**2,
        vector_p=p,
    )


def _moved(
    first: Visit, second: Visit, scatter: float
) -> tuple[complex, NDArray[np.float64], float | None]:
    """Return the change of the vector, its covariance, and how probable it is by chance."""
    parts = np.array([second.cosine_mm - first.cosine_mm, second.sine_mm - first.sine_mm])
    each = [one.rounded_covariance_mm2 for one in (first, second)]
    spread = each[0] + each[1] + 2 * scatter**2 * np.eye(2)
    vector = complex(parts[0], parts[1])
    if not np.isfinite(spread).all():
        return vector, spread, None
    # The degrees of freedom belong to what was estimated; stated and rounding parts have none.
    sizes = [math.sqrt(float(np.trace(one.covariance_mm2)) / 2) for one in (first, second)]
    known = math.sqrt(max(0.0, float(np.trace(spread)) / 2 - sizes[0] ** 2 - sizes[1] ** 2))
    _, dof = combined([(sizes[0], first.dof), (sizes[1], second.dof), (known, math.inf)])
    f = float(parts @ np.linalg.solve(spread, parts)) / 2
    return vector, spread, zero_amplitude_p(f, dof)


def _direction(vector: complex) -> float:
    return wrap_360(math.degrees(math.atan2(vector.imag, vector.real)))
