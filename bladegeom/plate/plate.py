"""The shape of the plate from several rings: tilt, dish, saddle, and how sure each is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from bladegeom.blade import Blade
from bladegeom.fit.waves import Harmonic, harmonic
from bladegeom.kernel.doubt import sd_toward, student_t
from bladegeom.lengths import convert
from bladegeom.plate.plate_checks import Checks, check_rings
from bladegeom.plate.plate_design import order_of, plate_design, shape_columns
from bladegeom.plate.plate_plan import check_rings_given, not_told
from bladegeom.plate.plate_remarks import remarks_of_plate
from bladegeom.plate.plate_solve import solve_plate
from bladegeom.plate.plate_words import plate_rows
from bladegeom.result import Result, Row
from bladegeom.tables.rings import Ring

Floats = NDArray[np.float64]

DISAGREES = 0.01
"""Rings are said to disagree with the model where chance does as much in fewer than 1 %."""


@dataclass(frozen=True, eq=False, repr=False)
class PlateFit(Result):
    """The plate toward the indicator over radius r and blade angle, in the blade's frame.

    ``z = zero + s m r + r (tc cos + ts sin) + D (r/R)^2 + (r/R)^2 (Sc cos 2 + Ss sin 2) + ...``,
    waves of three and more a turn growing as (r/R)^n; s is 1 at the front and -1 at the back. A
    flipped blade shows D, S and the higher waves with the other sign at the same teeth, and has a
    tilt of its own, since it is mounted anew.

    Attributes
    ----------
    rings : tuple of Ring
    unit : str
        Of all lengths: that of the readings.
    reference_radius : float
        R: the rim's radius where the diameter is stated, else that of the outermost ring.
    at_rim : bool
        Whether it is the rim's.
    names : tuple of str
        The parameters that the plan tells: ``tilt_cos``, ``tilt_sin`` (slopes), ``dish``,
        ``saddle_cos``, ``saddle_sin``, ``wave3_cos``, ... (heights at R), ``traverse`` (slope m
        of the readings along the traverse), ``flipped_tilt_cos``, ``flipped_tilt_sin``.
    values : ndarray, shape (p,)
    covariance : ndarray, shape (p, p)
        From the scatter (not below the graduation), the rounding that does not average out and
        the stated uncertainty of the ring radii.
    dof : int
    residual_sd, reading_sd : float
        Scatter about the shape as found, and not below graduation / sqrt(12); NaN, and with it
        every doubt, where all readings are the same and no graduation is stated.
    not_identified : dict of str to str
        What the plan cannot tell -> why, and what to read.
    checks : Checks
        Whether tilt and saddle grow with the radius, and the heights fit.
    fitted, residuals : ndarray, shape (n,)
        Of the readings without the closing ones, ring after ring.
    warnings : tuple of str
    """

    rings: tuple[Ring, ...]
    unit: str
    reference_radius: float
    at_rim: bool
    harmonics: int
    names: tuple[str, ...]
    values: Floats
    covariance: Floats
    dof: int
    residual_sd: float
    reading_sd: float
    not_identified: dict[str, str]
    checks: Checks
    fitted: Floats
    residuals: Floats
    warnings: tuple[str, ...]

    @property
    def blade(self) -> Blade:
        """The blade, as it was mounted without being flipped."""
        return next(ring.readings.blade for ring in self.rings if not ring.flipped)

    def value(self, name: str) -> float | None:
        """Return a parameter, None where the plan does not tell it."""
        return float(self.values[self.names.index(name)]) if name in self.names else None

    def u(self, name: str) -> float | None:
        """Return the standard uncertainty (k = 1) of a parameter, None where it is not told."""
        if name not in self.names:
            return None
        at = self.names.index(name)
        return math.sqrt(float(self.covariance[at, at]))

    def limits(self, name: str) -> tuple[float, float] | None:
        """Return the 95 % limits (Student's t) of a parameter, None where it is not told."""
        value, u = self.value(name), self.u(name)
        if value is None or u is None:
            return None
        reach = student_t(0.95, self.dof) * u
        return value - reach, value + reach

    def p_value(self, name: str) -> float | None:
        """Return the chance of so large a parameter where there is none (two-sided t test)."""
        value, u = self.value(name), self.u(name)
        if value is None or u is None or math.isnan(u):
            return None
        return float(2 * special.stdtr(self.dof, -abs(value) / u))

    @cached_property
    def _waves(self) -> dict[str, Harmonic]:
        found = {}
        for at, name in enumerate(self.names):
            group = name.removesuffix("_cos")
            if group != name:
                a, b = (float(part) for part in self.values[at : at + 2])
                covariance = self.covariance[at : at + 2, at : at + 2]
                found[group] = harmonic(order_of(group), a, b, covariance, self.dof, 0.0)
        return found

    def wave(self, group: str) -> Harmonic | None:
        """Return tilt (a slope), saddle or a higher wave (heights at R) with 95 % limits.

        Parameters
        ----------
        group : str
            ``tilt``, ``flipped_tilt``, ``saddle``, ``wave3``, ...

        Returns
        -------
        Harmonic or None
            None where the plan does not tell it.
        """
        return self._waves.get(group)

    def wave_u(self, group: str) -> float | None:
        """Return the standard uncertainty (k = 1) of a wave's amplitude."""
        wave = self.wave(group)
        if wave is None:
            return None
        at = self.names.index(f"{group}_cos")
        toward = math.degrees(math.atan2(self.values[at + 1], self.values[at]))
        return float(sd_toward(toward, self.covariance[at : at + 2, at : at + 2]))

    @property
    def tilt_grows(self) -> bool | None:
        """Whether the tilt grows in proportion to the radius; None where it was not tested."""
        return None if self.checks.tilt is None else self.checks.tilt >= DISAGREES

    @property
    def saddle_grows(self) -> bool | None:
        """Whether the saddle grows with the radius squared; None where it was not tested."""
        return None if self.checks.saddle is None else self.checks.saddle >= DISAGREES

    @property
    def heights_fit(self) -> bool | None:
        """Whether the rings' mean heights fit the model; None where nothing is left to tell."""
        return None if self.checks.heights is None else self.checks.heights >= DISAGREES

    def height_at(self, radius: ArrayLike, angle_deg: ArrayLike) -> Floats:
        """Return the plate's height over the plane square to the arbor, from what is told.

        Parameters
        ----------
        radius, angle_deg : array_like
            In `unit` and in degrees of blade; shapes that broadcast to (...).

        Returns
        -------
        ndarray, shape (...)
            In `unit`, 0 at the centre; the blade not flipped.
        """
        r, angle = np.broadcast_arrays(radius, np.radians(angle_deg))
        height = np.zeros(r.shape)
        for group in dict.fromkeys(name.removesuffix("_cos") for name in self.names):
            if group.endswith("_sin") or group in ("traverse", "flipped_tilt"):
                continue
            at = self.names.index(group if group == "dish" else f"{group}_cos")
            columns = shape_columns(group, r, angle, self.reference_radius)
            height = height + columns @ self.values[at : at + columns.shape[-1]]
        return height

    def _title(self) -> str:
        name = f"Blade {self.blade.name}" if self.blade.name else "Blade"
        count = len(self.rings)
        return (
            f"{name}: shape of the plate from {count} ring{'s' if count > 1 else ''}, "
            f"{len(self.residuals)} readings in {self.unit}"
        )

    def _rows(self) -> Sequence[Row]:
        return plate_rows(self)

    def _remarks(self) -> Sequence[str]:
        return self.warnings


def fit_plate(rings: Sequence[Ring], *, harmonics: int = 2) -> PlateFit:
    """Fit the shape of the plate over radius and angle by ordinary least squares.

    Rings that share the dial's zero share one offset, all their turns included: that is what
    makes a dish tell. A turn for which the dial was set anew is a ring of its own, with a word of
    its own for the zero. The traverse is taken for one straight line through the arbor's axis; its
    slope is fitted wherever rings with one zero lie at two places along it, and a dish that could
    as well be that slope is not claimed. Closing readings are left out.

    Parameters
    ----------
    rings : sequence of Ring
        Of one blade, in one mounting, or in one mounting and flipped in another.
    harmonics : int
        Waves a turn up to which the plate is fitted: 1 is tilt and dish, 2 the saddle too.

    Returns
    -------
    PlateFit

    Raises
    ------
    RefusedError
        The rings do not belong together, or one of them has fewer than four teeth, or they lie
        on too short an arc.
    """
    rings, harmonics = check_rings_given(rings, harmonics)
    blade = next(ring.readings.blade for ring in rings if not ring.flipped)
    unit = rings[0].readings.unit
    rim = blade.radius_mm
    reference = convert(rim or max(ring.radius_mm for ring in rings), "mm", unit)
    design = plate_design(rings, reference, harmonics)
    missing = not_told(design, harmonics)
    graduation = max((one.readings.graduation or 0.0 for one in rings), default=0.0) or None
    solved = solve_plate(design, graduation)
    checks = Checks(None, None, None)
    if not math.isnan(solved.reading_sd):
        checks = check_rings(design, solved.parts, graduation)
    names = tuple(name for group in design.told for name in design.groups[group])
    at = [solved.names.index(name) for name in names]
    result = PlateFit(
        rings=tuple(rings),
        unit=unit,
        reference_radius=reference,
        at_rim=rim is not None,
        harmonics=harmonics,
        names=names,
        values=solved.values[at],
        covariance=solved.covariance[np.ix_(at, at)],
        dof=solved.dof,
        residual_sd=solved.residual_sd,
        reading_sd=solved.reading_sd,
        not_identified=missing,
        checks=checks,
        fitted=design.reading - solved.residuals,
        residuals=solved.residuals,
        warnings=(),
    )
    object.__setattr__(result, "warnings", remarks_of_plate(result, design))
    return result
