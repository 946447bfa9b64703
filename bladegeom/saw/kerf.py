"""How wide a wobbling blade cuts, and what that does to a fence's scale."""

from __future__ import annotations

import math
from collections.abc import Sequence

from bladegeom.estimate import Estimate, Known, combined
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.fit.answer import OfFit
from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import sd_toward, student_t
from bladegeom.lengths import Length, convert, length_mm
from bladegeom.result import between, derived, described, number, quantity

FENCES = {"indicator": "fence on the indicator's side", "other": "fence on the other side"}

_BELOW = "its limit is below the graduation, which is not stated"


@described
class Kerf(OfFit):
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

    @derived("the blade's name, as text")
    def blade(self) -> str:
        return self.fit.readings.blade.name

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
        return f"{f'Blade {self.blade}' if self.blade else 'Blade'}: the kerf, in {self.unit}"

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
    width_mm, rim_mm, ring_mm = _sizes(fit)
    width_u_mm = length_mm("tooth_width_u", tooth_width_u)
    unit, scale = fit.unit, rim_mm / ring_mm
    low, high, _ = fit.amplitude_interval()
    shift = fit.amplitude * scale
    along = float(sd_toward(fit.near_deg, fit.rounded_covariance)) * scale
    from_ring = shift * (fit.readings.ring_radius_u_mm or 0.0) / ring_mm
    u, dof = combined([(along, fit.dof), (from_ring, math.inf)])
    shift_low, shift_high = _widened(shift, low * scale, high * scale, from_ring)
    shift_low = max(0.0, shift_low)
    width = convert(width_mm, "mm", unit)
    width_u = convert(width_u_mm or 0.0, "mm", unit)
    wide = Estimate(width + 2 * shift, *combined([(2 * u, dof), (width_u, math.inf)]))
    limits = _widened(wide.value, width + 2 * shift_low, width + 2 * shift_high, width_u)
    return Kerf(
        fit=fit,
        line=neutral_line(fit),
        width=wide,
        tooth_width=width,
        tooth_width_u=None if width_u_mm is None else width_u,
        kerf=Known(wide.value, wide.u, *limits, wide.dof),
        wall_shift=Known(shift, u, shift_low, shift_high, dof),
        fence=fence,
    )


def _sizes(fit: WobbleFit) -> tuple[float, float, float]:
    """Return tooth width, rim radius and ring radius in mm."""
    blade = fit.readings.blade
    width, rim, ring = blade.tooth_width_mm, blade.radius_mm, fit.readings.ring_radius_mm
    if width is not None and rim is not None and ring is not None:
        return width, rim, ring
    needed = (
        (width, "tooth_width", "the tooth width", "give the width that the teeth cut"),
        (rim, "diameter", "the blade's diameter", "give it across the tooth tips"),
        (ring, "ring_radius", "the ring radius", "give it from the arbor's axis to the stylus"),
    )
    raise RefusedError(
        Fault(
            f"{what} is not stated, so there is no kerf",
            cure,
            blade=blade.name or None,
            column=name,
        )
        for value, name, what, cure in needed
        if value is None
    )


def _widened(value: float, low: float, high: float, u: float) -> tuple[float, float]:
    """Return the 95 % limits with another doubt, normal and of standard uncertainty `u`, added."""
    reach = student_t(0.95, math.inf) * u
    return value - math.hypot(value - low, reach), value + math.hypot(high - value, reach)
