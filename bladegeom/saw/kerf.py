"""The blade in the cut: how wide it cuts, what that does to the fence's scale, when it rubs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from bladegeom.blade import Blade
from bladegeom.estimate import Cause, Estimate, Known, combined
from bladegeom.faults import refuse
from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.squareness import doubt_toward
from bladegeom.fit.stated import size_of
from bladegeom.fit.wobble import OfBlade, WobbleFit
from bladegeom.kernel.doubt import student_t
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER, Length, length_mm, with_unit
from bladegeom.readings import needed_sizes
from bladegeom.result import Result, between, derived, described, named, number, quantity
from bladegeom.saw._measure import Floats

FENCES = {"indicator": "fence on the indicator's side", "other": "fence on the other side"}

_BELOW = "its limit is below the graduation, which is not stated"


@described
class Kerf(OfBlade):
    """The predicted kerf, and how a fence's scale depends on the tooth it was zeroed at.

    Lengths are in the unit of the readings. Near and far teeth matter for distances, the neutral
    line for angles: the walls of the cut stay square to the arbor however the blade wobbles.

    Where all readings are the same and the graduation is not stated, every uncertainty and upper
    limit is not known: NaN here, None in `to_dict`.
    """

    fit: WobbleFit
    line: NeutralLine
    width: Estimate
    """The kerf with a standard uncertainty that is good for sums; its limits are those of `kerf`,
    which the amplitude's own lopsided limits make."""

    @derived("unit of the readings and of all lengths here")
    def unit(self) -> str:
        return self.fit.unit

    tooth_width: float = quantity("width that the teeth cut")
    tooth_width_u: float | None = quantity(
        "its standard uncertainty, none where it was taken as exact"
    )
    kerf: Known = quantity(
        "predicted width of the cut: tooth width and twice the rim amplitude; where no wobble is "
        "established the lower limit is the tooth width, less that width's own doubt",
        label="kerf",
        text=lambda one: (
            f"{_limited(one.kerf, one.unit)}: teeth {one.tooth_width:g} {one.unit} wide and twice "
            "the wobble at the rim"
        ),
    )
    wall_shift: Known = quantity(
        "how far the wobble moves each wall out: the rim amplitude",
        label="each wall moves out by",
        text=lambda one: _limited(one.wall_shift, one.unit),
    )

    @derived("tooth nearest to the near direction")
    def near_tooth(self) -> int | None:
        return None if self.line.near is None else self.line.near.tooth

    @derived("tooth nearest to the far direction")
    def far_tooth(self) -> int | None:
        return None if self.line.far is None else self.line.far.tooth

    @derived("teeth nearest to the two ends of the neutral line")
    def neutral_teeth(self) -> list[int] | None:
        return [end.tooth for end in self.line.neutral] if self.line.neutral else None

    fence: str | None = quantity(
        "indicator or other: side of the blade on which the fence stands; none where both are told",
        label="fence",
        text=lambda one: [
            (words, _scale(one, fence))
            for fence, words in FENCES.items()
            if one.fence in (None, fence)
        ],
    )

    @derived(
        "what boards come out too wide by (negative: too narrow) with the fence's scale zeroed on "
        "the neutral line"
    )
    def board_at_neutral(self) -> Known:
        return self.wall_shift.times(-1.0)

    @derived("the same, zeroed at the spot farthest from the fence")
    def board_at_far(self) -> Known:
        return self.wall_shift.times(-2.0)

    def _title(self) -> str:
        return f"{self._named}: the kerf, in {self.unit}"

    def _remarks(self) -> Sequence[str]:
        taken = "is taken as exact" if self.tooth_width_u is None else "carries its stated doubt"
        return [
            "The walls stay square to the arbor: near and far teeth count for distances, the "
            "neutral line for angles.",
            "For a thin rigid plate: only the tilt is carried out to the rim, a dish is not seen. "
            f"The tooth width {taken}.",
            *super()._remarks(),
        ]


def _limited(one: Known, unit: str) -> str:
    limits = f"95 %: {between(one.low, one.high, one.u)}"
    if math.isnan(one.low) or math.isnan(one.high):
        limits = _BELOW
    return f"{number(one.value, one.u)} {unit} ({limits})"


def _scale(kerf: Kerf, fence: str) -> str:
    """Return what a scale zeroed at each of the marked teeth does to the boards."""
    shift, unit = kerf.wall_shift, kerf.unit
    near, far, neutral = kerf.line.near, kerf.line.far, kerf.line.neutral
    if near is None or far is None or neutral is None:
        if math.isnan(shift.high):
            return "no wobble is established: zero it at any tooth"
        return (
            "no wobble is established: zeroed at any tooth, boards come out at most "
            f"{number(2 * shift.high, shift.u)} {unit} too narrow"
        )
    nearest, farthest = (near, far) if fence == "indicator" else (far, near)
    first, second = (end.tooth for end in neutral)
    once, twice = (
        f"{number(times * shift.value, times * shift.u)} {unit} too narrow" for times in (1, 2)
    )
    return (
        f"zeroed touching tooth {nearest.tooth}, nearest the fence: right; touching {first} or "
        f"{second} (neutral): boards come out {once}; touching {farthest.tooth}, farthest from "
        f"the fence: {twice}"
    )


@checked
def kerf(fit: WobbleFit, *, fence: str | None = None, tooth_width_u: Length | None = None) -> Kerf:
    """Return the kerf that a blade cuts as it is mounted.

    The tips of a rigid plate with the amplitude A at the ring radius r wobble by ``A R / r`` at
    the rim radius R. Every tooth passes through the wood, so the tip nearest to either side cuts
    that wall, and the kerf is ``W + 2 A R / r`` for teeth W wide. With N teeth that all cut to
    their full width the nearest tip stands up to half a pitch beside the nearest direction, so
    that the kerf may be less by up to ``2 (A R / r) (1 - cos(180 deg / N))``; where the teeth cut
    the left and the right wall in turn, 360 takes the place of 180.

    A tip keeps its distance from the fence while the blade turns, so a fence brought up to one
    stands away from the wall by what this tip falls short of the one that cuts it. Zeroed at the
    tip nearest the fence, the scale is right; at a tip on the neutral line boards come out
    narrower by ``A R / r``; at the farthest tip by twice that. A marked tooth stands up to half a
    pitch beside the neutral line, which makes it up to ``(A R / r) sin(180 deg / N)`` more or less.

    Parameters
    ----------
    fit : WobbleFit
        Of a blade with tooth width and diameter, read at a stated ring radius.
    fence : {"indicator", "other"}, optional
        Whether the fence stands on the indicator's side of the blade or on the other. The tooth
        nearest to the indicator is the nearest to a fence there; on the other side it is the
        farthest. Both are told if it is not given.
    tooth_width_u : length, such as ``"0.01 mm"`` or ``(0.01, "mm")``, optional
        Standard uncertainty (k = 1) of the tooth width, which is else taken as exact.

    Returns
    -------
    Kerf
        Its standard uncertainty after the GUM (5.1.2): twice ``u(A) R / r``, the ring radius's
        own doubt where it is stated, and the tooth width's. Its limits are those of the amplitude
        (`WobbleFit.amplitude_interval`) carried to the rim; the other doubts are added to each
        of them as the root of the sum of squares.

    Raises
    ------
    RefusedError
        If tooth width, diameter or ring radius is missing, or `fence` is neither side.
    """
    if fence is not None and fence not in FENCES:
        raise refuse(
            f"fence is {fence!r}",
            "write indicator (the fence stands on the indicator's side of the blade) or other",
            value=fence,
            column="fence",
        )
    sizes = ("tooth_width", "diameter", "ring_radius")
    width, rim, _ = needed_sizes(fit.readings, "there is no kerf", *sizes)
    width_u_mm = length_mm("tooth_width_u", tooth_width_u)
    width_u = fit.readings.in_unit(width_u_mm or 0.0)
    assert fit.slope is not None  # Nor is the ring's radius missing.
    shift = size_of(fit.slope).times(rim)
    doubt = combined([(2 * shift.u, shift.dof), (width_u, math.inf)])
    shares = tuple(2 * rim * part for part in doubt_toward(fit.slope, fit.near_deg))
    causes = (Cause(fit.readings, shares, fit.dof),)
    wide = Estimate(width + 2 * shift.value, *doubt, causes)
    limits = _widened(wide.value, width + 2 * shift.low, width + 2 * shift.high, width_u)
    return Kerf(
        fit=fit,
        line=neutral_line(fit),
        width=wide,
        tooth_width=width,
        tooth_width_u=None if width_u_mm is None else width_u,
        kerf=Known(wide.value, wide.u, *limits, wide.dof),
        wall_shift=shift,
        fence=fence,
    )


def _widened(value: float, low: float, high: float, u: float) -> tuple[float, float]:
    """Return the 95 % limits with another doubt, normal and of standard uncertainty `u`, added."""
    reach = student_t(0.95, math.inf) * u
    return value - math.hypot(value - low, reach), value + math.hypot(high - value, reach)


NO_GULLET = "Gullet depth not stated: taken as 0, the cautious side."


def _size(meaning: str, key: str, label: str) -> Any:
    """Declare a size that is shown in both units."""

    def both(one: SideClearance) -> str:
        size = getattr(one, key)
        return f"{size:.4g} mm ({size / MM_PER['in']:.3g} in)"

    return quantity(meaning, key=key, label=label, text=both)


@described
class SideClearance(Result):
    """By how much the teeth stand out beyond the plate on each side."""

    blade: str = quantity("the blade's name, as text")
    tooth_width_mm: float = _size("width that the teeth cut", "tooth_width_mm", "tooth width")
    plate_mm: float = _size("thickness of the plate", "plate_mm", "plate")
    mm: float = _size(
        "side clearance, (tooth width - plate) / 2, in millimetres", "clearance_mm", "on each side"
    )

    @derived("the same in inches", key="clearance_in")
    def inch(self) -> float:
        return self.mm / MM_PER["in"]

    gullet_mm: float | None = quantity("depth of the gullets")

    @derived("what the reader should know", key="warnings")
    def remarks(self) -> tuple[str, ...]:
        if self.mm == 0:
            return (
                "The plate is as thick as the teeth are wide: it rubs at any error of the slots.",
            )
        return () if self.gullet_mm is not None else (NO_GULLET,)

    def _title(self) -> str:
        return f"{named(self.blade)}: side clearance" if self.blade else "Side clearance"


@checked
def side_clearance(blade: Blade) -> SideClearance:
    """Return the side clearance, ``(tooth width - plate) / 2``.

    Raises
    ------
    RefusedError
        If the tooth width or the thickness of the plate is not known.
    """
    width, plate = blade.tooth_width_mm, blade.plate_mm
    if width is None or plate is None:
        sizes = {"tooth_width": width, "plate": plate}
        missing = [name for name, size in sizes.items() if size is None]
        raise refuse(
            f"side clearance needs the blade's {' and '.join(missing)}",
            f"give {' and '.join(missing)}",
            blade=blade.name,
            column=missing[0],
        )
    return SideClearance(
        blade=blade.name,
        tooth_width_mm=width,
        plate_mm=plate,
        mm=(width - plate) / 2,
        gullet_mm=blade.gullet_mm,
    )


@checked
def rub_angle(
    blade: Blade,
    height: str | tuple[ArrayLike, str] | None = None,
    *,
    table: str | tuple[ArrayLike, str] | None = None,
) -> float | Floats:
    """Return the slot error at which the board begins to rub the plate.

    The front teeth cut the kerf at ``sqrt(R^2 - y^2)`` in front of the axis, at the height y of the
    table above it; the plate leaves the board at ``sqrt(rb^2 - y^2)`` behind it, rb its radius at
    the bottom of the gullets. A board fed at an angle has gone sideways by the angle's tangent
    times that length, so it rubs beyond ``atan(s / (sqrt(R^2 - y^2) + sqrt(rb^2 - y^2)))`` (own
    derivation), s the side clearance. Higher up in the board the blade is shorter, so the table's
    height decides.

    Without a gullet depth rb = R, the cautious side: more plate to rub, a smaller angle. Where the
    gullets do not reach down to the table, no solid plate is left behind the axis to rub; the front
    half of the chord is counted all the same, which again can only make the angle smaller.

    A clearance of 0.010 in goes with the common quarter of a degree for 2.29 in of blade in the
    cut: a 10 in blade standing about 1/8 in high. Standing 1 in high it has 6 in in the cut, and
    the limit is 0.0955 degrees. Rear teeth recut one face whatever the clearance.

    Parameters
    ----------
    blade : Blade
        With diameter, tooth width and plate.
    height : length, such as ``"1 in"``, or array with its unit, shape (...)
        Height of the blade above the table, above 0 and at most the radius.
    table : length, or array with its unit, shape (...)
        Height of the table above the arbor's axis instead, from 0 to less than the radius.

    Returns
    -------
    float or ndarray, shape (...)
        Degrees, either way.

    Raises
    ------
    RefusedError
        If a size of the blade is missing, or the height is not given once, or is not one the blade
        can have.
    """
    clearance = side_clearance(blade).mm
    rim = blade.radius_mm
    if rim is None:
        raise refuse(
            "how much blade is in the cut needs the blade's diameter",
            "give diameter",
            blade=blade.name,
            column="diameter",
        )
    if (height is None) == (table is None):
        raise refuse(
            "the height is not given" if height is None else "the height is given twice",
            "give the height of the blade above the table, or of the table above the arbor's axis",
            blade=blade.name,
            column="height",
        )
    if table is None:
        above = rim - _height_mm("height", height, rim, blade.name)
    else:
        above = _height_mm("table", table, rim, blade.name)
    plate = rim - (blade.gullet_mm or 0.0)
    # Roots of the factors, so that no square is lost.
    front = np.sqrt(rim - above) * np.sqrt(rim + above)
    behind = np.sqrt(np.maximum(plate - above, 0.0)) * np.sqrt(plate + above)
    angle = np.degrees(np.arctan(clearance / (front + behind)))
    return float(angle) if angle.ndim == 0 else angle


def _height_mm(what: str, given: object, rim: float, blade: str) -> Floats:
    value, unit = with_unit(what, given)
    asked = np.asarray(value)
    plain = asked.dtype.kind in "iuf"
    size = asked.astype(np.float64) * MM_PER[unit] if plain else np.full(asked.shape, np.nan)
    fits = (size > 0) & (size <= rim) if what == "height" else (size >= 0) & (size < rim)
    if not fits.all():
        wrong = asked[~fits].ravel()[0]
        limit = f"{rim / MM_PER[unit]:.4g} {unit}"
        raise refuse(
            f"{what} is {wrong} {unit}",
            f"give a height above 0 and up to the blade's radius, {limit}"
            if what == "height"
            else f"give a height from 0 to less than the blade's radius, {limit}",
            value=wrong,
            blade=blade,
            column=what,
        )
    return size
