"""How wide a wobbling blade cuts, and what that does to a fence's scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from bladegeom.estimate import Estimate, combined
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.fit.marks import NeutralLine, neutral_line
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.doubt import sd_toward, student_t
from bladegeom.lengths import LARGEST, convert, one_length_mm
from bladegeom.result import Result, Row, between, number

FENCES = ("indicator", "other")

_BELOW = "its limit is below the graduation, which is not stated"


@dataclass(frozen=True, eq=False, repr=False)
class Kerf(Result):
    """The predicted kerf, and how a fence's scale depends on the tooth it was zeroed at.

    Lengths are in the unit of the readings. Near and far teeth matter for distances, the neutral
    line for angles: the walls of the cut stay square to the arbor however the blade wobbles.

    Attributes
    ----------
    fit : WobbleFit
    fence : {"indicator", "other"} or None
        The side of the blade on which the fence stands; None where both are told.
    tooth_width : float
    tooth_width_u : float or None
        Its standard uncertainty; None where it was taken as exact.
    width : Estimate
        Tooth width and twice the rim amplitude. Its standard uncertainty is good for sums; its
        95 % limits are `low` and `high`, which the amplitude's own lopsided limits make.
    low, high : float
        95 % limits of the width; where no wobble is established the lower one is the tooth width,
        less that width's own doubt.
    shift : Estimate
        How far the wobble moves each wall out: the rim amplitude.
    shift_low, shift_high : float
        Its 95 % limits, not below 0.
    line : NeutralLine
        The teeth.

    Notes
    -----
    Where all readings are the same and the graduation is not stated, every uncertainty and upper
    limit is not known: NaN here, None in `to_dict`.
    """

    fit: WobbleFit
    fence: str | None
    tooth_width: float
    tooth_width_u: float | None
    width: Estimate
    low: float
    high: float
    shift: Estimate
    shift_low: float
    shift_high: float
    line: NeutralLine

    @property
    def board_at_neutral(self) -> Estimate:
        """What boards come out too wide by with the scale zeroed on the neutral line: -shift."""
        return self.shift.times(-1.0)

    @property
    def board_at_far(self) -> Estimate:
        """The same with it zeroed at the spot farthest from the fence: -2 shift."""
        return self.shift.times(-2.0)

    def _title(self) -> str:
        name = self.fit.readings.blade.name
        return f"{f'Blade {name}' if name else 'Blade'}: the kerf, in {self.fit.unit}"

    def _rows(self) -> Sequence[Row]:
        near, far, neutral = self.line.near, self.line.far, self.line.neutral
        out = self.shift_low, self.shift_high
        unit = self.fit.unit
        width = f"teeth {self.tooth_width:g} {unit} wide and twice the wobble at the rim"
        return [
            Row("blade", self.fit.readings.blade.name),
            Row("unit", unit),
            Row("tooth_width", self.tooth_width),
            Row("tooth_width_u", self.tooth_width_u),
            *_limited("kerf", self.width, self.low, self.high, unit, "kerf", width),
            *_limited("wall_shift", self.shift, *out, unit, "each wall moves out by"),
            Row("near_tooth", near and near.tooth),
            Row("far_tooth", far and far.tooth),
            Row("neutral_teeth", [end.tooth for end in neutral] if neutral else None),
            Row("fence", self.fence),
            *[
                Row("", None, _side(fence), self._scale(fence))
                for fence in ([self.fence] if self.fence else FENCES)
            ],
            *_limited("board_at_neutral", self.board_at_neutral, -out[1], -out[0], unit),
            *_limited("board_at_far", self.board_at_far, -2 * out[1], -2 * out[0], unit),
            Row("warnings", list(self.fit.said)),
        ]

    def _scale(self, fence: str) -> str:
        """Return what a scale zeroed at each of the marked teeth does to the boards."""
        unit = self.fit.unit
        near, far, neutral = self.line.near, self.line.far, self.line.neutral
        if near is None or far is None or neutral is None:
            if math.isnan(self.shift_high):
                return "no wobble is established: zero it at any tooth"
            return (
                "no wobble is established: zeroed at any tooth, boards come out at most "
                f"{number(2 * self.shift_high, self.shift.u)} {unit} too narrow"
            )
        nearest, farthest = (near, far) if fence == "indicator" else (far, near)
        first, second = (end.tooth for end in neutral)
        return (
            f"zeroed touching tooth {nearest.tooth}, nearest the fence: right; touching "
            f"{first} or {second} (neutral): boards come out {self._narrower(1)} too narrow; "
            f"touching {farthest.tooth}, farthest from the fence: {self._narrower(2)} too narrow"
        )

    def _narrower(self, times: int) -> str:
        u = times * self.shift.u
        return f"{number(times * self.shift.value, u)} {self.fit.unit}"

    def _first(self) -> Sequence[str]:
        return self.fit.doubted

    def _remarks(self) -> Sequence[str]:
        taken = "is taken as exact" if self.tooth_width_u is None else "carries its stated doubt"
        return [
            "The walls stay square to the arbor: near and far teeth count for distances, the "
            "neutral line for angles.",
            "For a thin rigid plate: only the tilt is carried out to the rim, a dish is not seen. "
            f"The tooth width {taken}.",
            *self.fit.warnings,
        ]


def kerf(
    fit: WobbleFit,
    *,
    fence: str | None = None,
    tooth_width_u_mm: float | None = None,
    tooth_width_u_in: float | None = None,
) -> Kerf:
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
    tooth_width_u_mm, tooth_width_u_in : float, optional
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
    width_u_mm = _width_u_mm(tooth_width_u_mm, tooth_width_u_in)
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
    wide = width + 2 * shift
    wide_low, wide_high = _widened(wide, width + 2 * shift_low, width + 2 * shift_high, width_u)
    return Kerf(
        fit=fit,
        fence=fence,
        tooth_width=width,
        tooth_width_u=None if width_u_mm is None else width_u,
        width=Estimate(wide, *combined([(2 * u, dof), (width_u, math.inf)])),
        low=wide_low,
        high=wide_high,
        shift=Estimate(shift, u, dof),
        shift_low=shift_low,
        shift_high=shift_high,
        line=neutral_line(fit),
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


def _width_u_mm(in_mm: float | None, in_inches: float | None) -> float | None:
    for unit, value in (("mm", in_mm), ("in", in_inches)):
        if value is not None and (isinstance(value, bool) or value > LARGEST):
            raise refuse(
                f"tooth_width_u_{unit} is {value}",
                "give the standard uncertainty of the tooth width",
                value=value,
                column="tooth_width_u",
            )
    return one_length_mm("tooth_width_u", {"mm": in_mm, "in": in_inches})


def _widened(value: float, low: float, high: float, u: float) -> tuple[float, float]:
    """Return the 95 % limits with another doubt, normal and of standard uncertainty `u`, added."""
    reach = student_t(0.95, math.inf) * u
    return value - math.hypot(value - low, reach), value + math.hypot(high - value, reach)


def _limited(
    stem: str,
    value: Estimate,
    low: float,
    high: float,
    unit: str,
    label: str = "",
    why: str = "",
) -> list[Row]:
    limits = _BELOW
    if not (math.isnan(low) or math.isnan(high)):
        limits = f"95 %: {between(low, high, value.u)}"
    text = f"{number(value.value, value.u)} {unit} ({limits}){f': {why}' if why else ''}"
    return [
        Row(stem, value.value + 0.0, label, text),  # + 0.0: there is no minus nothing.
        Row(f"{stem}_u", value.u),
        Row(f"{stem}_low", low + 0.0),
        Row(f"{stem}_high", high + 0.0),
    ]


def _side(fence: str) -> str:
    return "fence on the indicator's side" if fence == "indicator" else "fence on the other side"
