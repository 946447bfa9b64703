"""Before and after: whether the wobble of a blade has changed, and by how much."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bladegeom.estimate import Known, combined, judge
from bladegeom.faults import Who, refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.lengths import Length, convert, length_mm
from bladegeom.result import Result, derived, described, named, number, quantity
from bladegeom.shop.history import Visit, differs, differs_in_plan, visit_of
from bladegeom.wobble import Wobble

IMPROVED, NOT_SHOWN, WORSE = "improved", "not shown to have improved", "worse"


@described
class Change(Result):
    """How the wobble of a blade differs between two measurements; lengths in `unit`.

    `seating_sd_mm` is by how much either part of the wobble changes from mounting to mounting, as
    stated; `moved` is None where tooth 1 is not marked; `of_fits` is what is said of the two fits;
    `earlier` is the fit before, where that was given.
    """

    before: Visit
    after: Visit
    seating_sd_mm: float | None
    of_fits: tuple[str, ...] = ()
    earlier: WobbleFit | None = None

    @derived("the blade's name, as text")
    def blade(self) -> str:
        return self.after.blade or self.before.blade

    @derived("whose blade it is; empty where neither measurement says")
    def customer(self) -> str:
        return self.after.customer or self.before.customer

    @derived("unit of all lengths: that of the later measurement")
    def unit(self) -> str:
        return self.after.unit

    @derived(
        "improved or worse where the whole of the 95 % limits lies on one side of no change, else "
        "not shown to have improved",
        label="verdict",
    )
    def verdict(self) -> str:
        if judge(self.tir, 0.0) != "no":
            return NOT_SHOWN
        return IMPROVED if self.tir.value < 0 else WORSE

    @derived(
        "wobble TIR of the earlier measurement",
        label="wobble TIR before",
        text=lambda one: one.said(one.before_tir),
    )
    def before_tir(self) -> float:
        return convert(self.before.wobble.tir, "mm", self.unit)

    @derived(
        "wobble TIR of the later measurement",
        label="wobble TIR after",
        text=lambda one: one.said(one.after_tir),
    )
    def after_tir(self) -> float:
        return convert(self.after.wobble.tir, "mm", self.unit)

    tir: Known = quantity(
        "change of the wobble TIR, negative where it became less",
        key="tir_change",
        parts=("", "_low", "_high"),
        label="change",
    )

    @derived("by how much the wobble's parts change from mounting to mounting, as stated")
    def seating_sd(self) -> float | None:
        return None if self.seating_sd_mm is None else convert(self.seating_sd_mm, "mm", self.unit)

    tooth_1_marked: bool = quantity(
        "whether tooth 1 was the same tooth both times, so that directions are compared too"
    )

    moved: Wobble | None = quantity(
        "the change as a vector: size, direction in the blade, cosine and sine part with their "
        "doubt, how probable so large a one is where there is none, and whether that is below 5 %",
        key="change",
        parts={
            "_amplitude": lambda moved: moved.amplitude,
            "_deg": lambda moved: moved.near_deg,
            "_cosine": lambda moved: moved.cosine,
            "_sine": lambda moved: moved.sine,
            "_cosine_u": lambda moved: math.sqrt(moved.covariance[0, 0]),
            "_sine_u": lambda moved: math.sqrt(moved.covariance[1, 1]),
            "_covariance": lambda moved: moved.covariance[0, 1],
            "_p": lambda moved: math.nan if math.isnan(moved.amplitude_u) else moved.p_value,
            "_shown": lambda moved: moved.resolved,
        },
        label="as a vector",
        text=lambda one: one._vector_words,
    )

    @derived("what the reader should know")
    def warnings(self) -> list[str]:
        return [*self.of_fits, *self._remarks()]

    @property
    def words(self) -> str:
        """The change in one sentence."""
        was, now = self.said(self.before_tir), self.said(self.after_tir)
        return (
            f"The wobble (TIR) was {was} and is {now}: a change of {self.tir.text(self.unit)}, "
            f"{self.verdict}."
        )

    def said(self, length: float) -> str:
        """Return a length of it, rounded by the doubt of the change."""
        return f"{number(length, (self.tir.high - self.tir.low) / 4)} {self.unit}"

    @property
    def _vector_words(self) -> str:
        if self.moved is None:
            return ""
        size = self.said(self.moved.amplitude)
        if not self.moved.resolved:
            return f"{size}, not told apart from none"
        return f"{size} toward {self.moved.near_deg:.0f} deg from tooth 1"

    def _title(self) -> str:
        return f"{named(str(Who(self.blade, self.customer)))}: {self.verdict}"

    def _first(self) -> Sequence[str]:
        return self.of_fits

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
        elif self.moved and self.moved.resolved and self.verdict == NOT_SHOWN:
            said.append(
                "The wobble points elsewhere but is not shown to be less: look at the seat, and "
                "mount the blade with tooth 1 at the same place of the arbor."
            )
        if plan := differs_in_plan(self.after, self.before):
            said.append(f"After the service {plan} as before: compare no raw TIRs.")
        return said


@checked
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
    share in an amplitude does not pass for a change. Theirs takes for granted that an estimate is
    as often too small as too large. Near no wobble it is too large: where the limits of one hold
    none, that limit less the other's own is the limit of the change. Where tooth 1 is marked for
    good, the change of the wobble's two parts is tested too (Wald's test, 2 degrees of freedom
    above, below after Welch and Satterthwaite).

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
    was, now = first.wobble, second.wobble
    (was_low, was_high), (now_low, now_high) = (_limits(one, seating_sd) for one in (was, now))
    change = now.amplitude - was.amplitude
    # Where there may be none, an amplitude is too large by chance, never too small: both reaches
    # add. Else they are independent.
    low, high = now_low - was_high, now_high - was_low
    if now_low > 0:
        low = change - math.hypot(now.amplitude - now_low, was_high - was.amplitude)
    if was_low > 0:
        high = change + math.hypot(now_high - now.amplitude, was.amplitude - was_low)
    return Change(
        before=first,
        after=second,
        tir=Known(change, low=low, high=high).times(2 * convert(1.0, "mm", second.unit)),
        seating_sd_mm=seating_sd,
        of_fits=tuple(
            f"{when}: {words}"
            for when, one in (("before", before), ("after", after))
            for words in (one.said if isinstance(one, WobbleFit) else ())
        ),
        earlier=before if isinstance(before, WobbleFit) else None,
        tooth_1_marked=tooth_1_marked,
        moved=moved_by(was, now, seating_sd, second.unit) if tooth_1_marked else None,
    )


def _limits(wobble: Wobble, seating_sd: float | None) -> tuple[float, float]:
    """Return 95 % limits of an amplitude, the blade's seat in them; NaN where not known."""
    u, dof = combined([(wobble.amplitude_u, wobble.dof), (seating_sd or 0.0, math.inf)])
    if not u > 0:
        return math.nan, math.nan
    spread = wobble.covariance + (seating_sd or 0.0) ** 2 * np.eye(2)
    low, high, _ = replace(wobble, covariance=spread, dof=dof).amplitude_interval()
    return low, high


def moved_by(was: Wobble, now: Wobble, seating_sd: float | None, unit: str) -> Wobble:
    """Return the change as a wobble: its direction is that to which the plate moved nearer."""
    seats = 2 * (seating_sd or 0.0) ** 2
    spread = was.rounded_covariance + now.rounded_covariance + seats * np.eye(2)
    # The degrees of freedom belong to what was estimated; stated and rounding parts have none.
    sizes = [math.sqrt(float(np.trace(one.covariance)) / 2) for one in (was, now)]
    known = float(np.trace(spread)) / 2 - sizes[0] ** 2 - sizes[1] ** 2
    stated = math.sqrt(max(0.0, known))
    _, dof = combined([(sizes[0], was.dof), (sizes[1], now.dof), (stated, math.inf)])
    per_mm = convert(1.0, "mm", unit)
    return Wobble((now.value - was.value) * per_mm, spread * per_mm**2, dof)
