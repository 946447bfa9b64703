"""The face of a flange or an arbor: how far it runs out, and where it stands highest."""

from __future__ import annotations

import math
from collections.abc import Sequence

from bladegeom.estimate import Known
from bladegeom.face import is_face, named_face
from bladegeom.faults import refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.result import Result, derived, described, grain, number, quantity


@described
class FlangeFace(Result):
    """What is known of a face that was read without a blade; its places count as teeth do."""

    fit: WobbleFit = quantity("the tilt of the face", key="")

    @derived("what the stylus touched: flange")
    def surface(self) -> str:
        return self.fit.readings.surface

    @derived("the name of the face, as text")
    def face(self) -> str:
        return self.fit.readings.blade.name

    @derived("at how many places round it there may be readings")
    def places(self) -> int:
        return self.fit.readings.blade.teeth

    @derived("of all lengths: that of the readings")
    def unit(self) -> str:
        return self.fit.unit

    @derived(
        "total indicator reading of the face's tilt alone, with its doubt",
        label="runout by tilt",
        text=lambda one: f"TIR {one.runout.text(one.unit)}",
        key="runout_tir",
    )
    def runout(self) -> Known:
        low, high, _ = self.fit.amplitude_interval()
        return Known(self.fit.amplitude, self.fit.amplitude_u, low, high).times(2.0)

    @derived(
        "total indicator reading: highest less lowest reading, in the turn that shows most",
        label="raw TIR",
        text=lambda one: f"{grain(one.raw_tir)} {one.unit}",
    )
    def raw_tir(self) -> float:
        return self.fit.raw_tir

    @derived(
        "the place nearest to where the face stands highest, toward the indicator; None where no "
        "direction is established, or a mistake seems likely",
        label="highest",
        text=lambda one: one._highest_words,
    )
    def highest_place(self) -> int | None:
        known = self.fit.resolved and self.fit.mistake is None
        return self.fit.readings.blade.nearest_tooth(self.fit.near_deg) if known else None

    @derived(
        "where the face stands highest: degrees from place 1, as the numbers grow; None likewise",
        ending="_deg",
    )
    def highest(self) -> Known | None:
        if self.highest_place is None:
            return None
        low, high, _ = self.fit.near_interval()
        return Known(self.fit.near_deg, self.fit.near_u_deg, low, high)

    @derived(
        "angle of the face to the plane square to the axis, at the ring; None without its radius",
        ending="_deg",
        label="tilt",
        text=lambda one: one.tilt.text("deg") if one.tilt else "",
    )
    def tilt(self) -> Known | None:
        return self.fit.tilt

    @derived("whether a tilt, and so a direction, is established at 95 %")
    def resolved(self) -> bool:
        return self.fit.resolved

    @derived(
        "standard deviation of the readings about the curve",
        label="scatter",
        text=lambda one: f"{number(one.residual_sd, one.residual_sd / 4 or None)} {one.unit}",
    )
    def residual_sd(self) -> float:
        return self.fit.residual_sd

    @derived("what the reader should know, a likely mistake first")
    def warnings(self) -> list[str]:
        return [*self.fit.first, *self.fit.rest]

    @property
    def instructions(self) -> tuple[str, ...]:
        """What it means, in words."""
        if self.fit.mistake is not None:
            return (f"{self.fit.mistake.again}: a mistake in the readings seems likely.",)
        unit, runout = self.unit, self.runout
        if not self.fit.resolved:
            most = f"at most {number(runout.high, runout.high)} {unit} (95 %)"
            most = most if math.isfinite(runout.high) else "not known"
            return (
                "No tilt of the face is told apart from the scatter: its runout by tilt (TIR) is "
                f"{most}.",
            )
        said = f"{number(runout.value, runout.u)} {unit}"
        return (
            f"The face runs out by {said} (TIR of its tilt), and stands highest at place "
            f"{self.highest_place}.",
            "Clean it and read it again: what stays is the flange's, the arbor's or its bearings', "
            "and a blade that lies on it takes it on, in proportion to the ring's radius.",
        )

    @property
    def _highest_words(self) -> str:
        if self.highest is None:
            return ""
        return f"place {self.highest_place}, at {self.highest.text('deg')} from place 1"

    def _title(self) -> str:
        lines = [f"{named_face(self.face)}: {self.places} places"]
        return "\n".join([*lines, *(f"  {one}" for one in self.instructions)])

    def _first(self) -> Sequence[str]:
        return self.fit.first

    def _remarks(self) -> Sequence[str]:
        return self.fit.rest


@checked
def flange_face(fit: WobbleFit) -> FlangeFace:
    """Return what the readings of a flange's face tell; refuse those of a blade.

    Parameters
    ----------
    fit : WobbleFit
        Of readings whose ``surface`` is ``flange``.

    Returns
    -------
    FlangeFace

    Raises
    ------
    RefusedError
        If a blade was read.
    """
    if not is_face(fit.readings):
        raise refuse(
            f"the {fit.readings.surface} was read, not the face of a flange",
            "state surface as flange where no blade was on the arbor",
            value=fit.readings.surface,
            blade=fit.readings.blade.name,
            column="surface",
        )
    return FlangeFace(fit=fit)
