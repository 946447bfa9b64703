"""The shape of a plate as it was found: tilt, dish, saddle, and how sure each is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from bladegeom.angles import wrap_360
from bladegeom.blade import Blade
from bladegeom.estimate import Estimate, Known
from bladegeom.fit.waves import Harmonic, harmonic
from bladegeom.kernel.doubt import sd_toward
from bladegeom.mistakes.check import Findings, check_readings
from bladegeom.plate._design import names_of, order_of, shape_columns
from bladegeom.result import Result, Row, derived, described, named, number, quantity
from bladegeom.tables.several import Ring
from bladegeom.wobble import Wobble

Floats = NDArray[np.float64]

DISAGREES = 0.01
"""Rings are said to disagree with the model where chance does as much in fewer than 1 %."""

_NOT_APART = "not told apart from the scatter"


class Checks(NamedTuple):
    """Chances of so much disagreement between rings; None where nothing is left to tell.

    Attributes
    ----------
    tilt, saddle : float or None
        Whether each grows with the radius as it should: the tilt as r, the saddle as r^2.
    heights : float or None
        Whether the rings' mean heights keep to one zero, a straight traverse and a dish.
    """

    tilt: float | None
    saddle: float | None
    heights: float | None


def _tilt_of(group: str, also: str) -> tuple[Any, ...]:
    """Declare the tilt of one of the two mountings and the direction it brings nearest."""

    def tilt(fit: PlateFit) -> Known | None:
        wave = fit.wave(group)
        return None if wave is None else _leaning(_height_of(wave))

    def near(fit: PlateFit) -> Known | None:
        wave = fit.wave(group)
        if wave is None or not wave.resolved or wave.crest_deg is None or not wave.amplitude:
            return None
        at = fit.names.index(f"{group}_cos")
        covariance = fit.covariance[at : at + 2, at : at + 2]
        across = float(sd_toward(wave.crest_deg + 90.0, covariance)) / wave.amplitude
        limits = wave.crest_low_deg or 0.0, wave.crest_high_deg or 0.0
        return Known(wave.crest_deg, math.degrees(across), *limits)

    def label(words: str) -> Any:
        return lambda fit: f"{words}{also}" if fit.wave(group) else ""

    def near_words(fit: PlateFit) -> str:
        one = near(fit)
        if one is None:
            return "not established"
        return f"{one.text('deg from tooth 1')}, by tooth {fit.blade.nearest_tooth(one.value)}"

    return (
        derived("angle of the plate", key=group, unit="deg", label=label("tilt"))(tilt),
        derived(
            "blade angle that it brings nearest, if it is established",
            key=f"{group}_near",
            unit="deg",
            label=label("near at"),
            text=near_words,
        )(near),
        *_established(group),
    )


def _wave_of(group: str, label: str) -> tuple[Any, ...]:
    """Declare a wave of two and more a turn and its first crest."""

    def height(fit: PlateFit) -> Known | None:
        wave = fit.wave(group)
        return None if wave is None else _height_of(wave)

    def crest(fit: PlateFit) -> Known | None:
        wave = fit.wave(group)
        if wave is None or not wave.resolved or wave.crest_deg is None:
            return None
        limits = wave.crest_low_deg or 0.0, wave.crest_high_deg or 0.0
        return Known(wave.crest_deg, math.nan, *limits)

    def words(fit: PlateFit) -> str:
        size, high = height(fit), crest(fit)
        if size is None:
            return _not_told(fit, group)
        said = size.text(f"{fit.unit} {fit.at_words}")
        if high is None:
            return f"{said}, {_NOT_APART}"
        if group != "saddle" or fit.saddle_teeth is None:
            return f"{said}, first crest at {high.value:.0f} deg"
        first, second = fit.saddle_teeth
        along = f"high along the diameter at {high.value:.0f} deg"
        return f"{said}, {along}, by teeth {first} and {second}"

    return (
        derived("height at R", key=group, label=label, text=words)(height),
        derived(
            "its first crest, if it is established",
            key=f"{group}_crest",
            parts=("", "_low", "_high"),
            unit="deg",
        )(crest),
        *_established(group),
    )


def _established(group: str) -> tuple[Any, ...]:
    return (
        derived("whether it is established", key=f"{group}_resolved")(
            lambda fit: fit.wave(group) and fit.wave(group).resolved
        ),
        derived("chance of so large a one by scatter", key=f"{group}_p_value")(
            lambda fit: fit.wave(group) and fit.wave(group).p_value
        ),
    )


@described
class PlateFit(Result):
    """The plate toward the indicator over radius r and blade angle, in the blade's frame.

    ``z = zero + s m r + r (tc cos + ts sin) + D (r/R)^2 + (r/R)^2 (Sc cos 2 + Ss sin 2) + ...``,
    waves of three and more a turn growing as (r/R)^n; s is 1 at the front and -1 at the back. A
    flipped blade shows D, S and the higher waves with the other sign at the same teeth, and has a
    tilt of its own, since it is mounted anew.

    The parameters that the plan tells have the `names` ``tilt_cos``, ``tilt_sin`` (slopes),
    ``dish``, ``saddle_cos``, ``saddle_sin``, ``wave3_cos``, ... (heights at R), ``traverse``
    (slope m of the readings along the traverse), ``flipped_tilt_cos``, ``flipped_tilt_sin``. Their
    covariance is from the scatter (not below the graduation), the rounding that does not average
    out and the stated uncertainty of the ring radii; every doubt is NaN where all readings are the
    same and no graduation is stated.
    """

    rings: tuple[Ring, ...] = quantity("the rings, as they were given", key="")
    harmonics: int = quantity("waves a turn up to which the plate is fitted", key="")
    names: tuple[str, ...] = quantity("of the parameters", key="")
    values: Floats = quantity("of the parameters, shape (p,)", key="")
    covariance: Floats = quantity("of the parameters, shape (p, p)", key="")
    checks: Checks = quantity("chances of so much disagreement between the rings", key="")
    fitted: Floats = quantity("readings without the closing ones, ring after ring", key="")
    residuals: Floats = quantity("what the shape leaves of them", key="")

    _name = derived("the blade's name, as text", key="blade")(lambda fit: fit.blade.name)
    _teeth = derived("number of teeth", key="teeth")(lambda fit: fit.blade.teeth)
    unit: str = quantity("unit of the readings and of all lengths")
    _count = derived(
        "number of rings",
        key="rings",
        label="rings",
        text=lambda fit: "; ".join(one.words for one in fit.rings),
    )(lambda fit: len(fit.rings))

    @derived("their radii")
    def ring_radii(self) -> list[float | None]:
        return [one.readings.ring_radius for one in self.rings]

    _read = derived("readings in the fit", key="readings")(lambda fit: len(fit.residuals))
    reference_radius: float = quantity(
        "R, the rim's radius where the diameter is stated, else that of the outermost ring"
    )
    at_rim: bool = quantity("whether it is the rim's")
    tilt, tilt_near, _tilt_resolved, _tilt_p_value = _tilt_of("tilt", "")

    @derived(
        "total movement of the tilt at the reference radius; None where it does not grow so",
        label=lambda fit: f"wobble TIR {fit.at_words}",
        text=lambda fit: (
            fit.tilt_tir.text(fit.unit)
            if fit.tilt_tir
            else "not carried there: the tilt does not grow with the radius"
        ),
    )
    def tilt_tir(self) -> Known | None:
        wave, across = self.wave("tilt"), 2 * self.reference_radius
        if wave is None or self.tilt_grows is False:
            return None
        return _height_of(wave).times(across)

    @derived(
        "whether the tilt grows in proportion to the radius; None where it was not tested",
        label="tilt grows as the radius",
        text=lambda fit: _grows_words(fit),
    )
    def tilt_grows(self) -> bool | None:
        return None if self.checks.tilt is None else self.checks.tilt >= DISAGREES

    _tilt_grows_p = derived("that chance", key="tilt_grows_p")(lambda fit: fit.checks.tilt)
    flipped_tilt, flipped_near, _flipped_resolved, _flipped_p_value = _tilt_of(
        "flipped_tilt", ", flipped"
    )

    @derived(
        "height of the plate at the reference radius over its centre, positive toward the "
        "indicator; None where the plan does not tell it",
        label="dish",
        text=lambda fit: _dish_words(fit),
    )
    def dish(self) -> Estimate | None:
        return self.estimate("dish")

    @derived("whether the rim stands toward the indicator, if a dish is established")
    def dish_toward(self) -> bool | None:
        return self.dish.value > 0 if self.dish and self.dish_resolved else None

    @derived("whether a dish is established")
    def dish_resolved(self) -> bool | None:
        p = self.p_value("dish")
        return None if self.dish is None else p is not None and p < 0.05

    _dish_p_value = derived("chance of so large a dish by scatter", key="dish_p_value")(
        lambda fit: fit.p_value("dish")
    )
    saddle, saddle_crest, _saddle_resolved, _saddle_p_value = _wave_of("saddle", "saddle")

    @derived("the teeth nearest the ends of the diameter along which the saddle is high")
    def saddle_teeth(self) -> list[int] | None:
        crest = self.saddle_crest
        if crest is None:
            return None
        return [self.blade.nearest_tooth(wrap_360(crest.value + turn)) for turn in (0.0, 180.0)]

    @derived("whether the saddle grows with the radius squared; None where it was not tested")
    def saddle_grows(self) -> bool | None:
        return None if self.checks.saddle is None else self.checks.saddle >= DISAGREES

    _saddle_grows_p = derived("that chance", key="saddle_grows_p")(lambda fit: fit.checks.saddle)

    @derived("waves of three and more a turn, if they were asked for", inline=True)
    def _higher(self) -> list[Row]:
        return [
            row
            for order in range(3, self.harmonics + 1)
            for one in _wave_of(f"wave{order}", f"{order} waves a turn")
            for row in one.about.rows(self, "", one.fget(self))
        ]

    @derived(
        "slope of the traverse out of square, positive if readings gain outward at the front",
        unit="deg",
        label="traverse",
        text=lambda fit: (
            fit.traverse.text("deg out of square to the arbor")
            if fit.traverse
            else _not_told(fit, "traverse")
        ),
    )
    def traverse(self) -> Known | None:
        slope = self.estimate("traverse")
        if slope is None:
            return None
        return _leaning(Known(slope.value, slope.u, slope.low, slope.high))

    @derived("whether the rings' mean heights fit the model; None where nothing is left to tell")
    def heights_fit(self) -> bool | None:
        return None if self.checks.heights is None else self.checks.heights >= DISAGREES

    _heights_fit_p = derived("that chance", key="heights_fit_p")(lambda fit: fit.checks.heights)
    _for_a_square = derived(
        "what it means for whoever sets a square against the plate",
        key="",
        label="what it means",
        text=lambda fit: _meaning(fit),
    )(lambda _: None)
    not_identified: dict[str, str] = quantity("what the plan cannot tell -> why, and what to read")
    dof: int = quantity("degrees of freedom of the scatter")
    residual_sd: float = quantity(
        "scatter about the shape as found",
        label="scatter",
        text=lambda fit: (
            f"{number(fit.residual_sd, fit.residual_sd / 4 or None)} {fit.unit} "
            f"(standard deviation, {fit.dof} degrees of freedom)"
        ),
    )
    reading_sd: float = quantity("scatter, not below graduation / sqrt(12)")
    remarks: tuple[str, ...] = quantity("what it tells of the shape", key="", default=())

    @derived("what the reader should know, a likely mistake first")
    def warnings(self) -> tuple[str, ...]:
        return (*self.first, *self.remarks)

    @cached_property
    def findings(self) -> tuple[tuple[Ring, Findings], ...]:
        """What may have gone wrong in the reading of each ring."""
        return tuple((ring, check_readings(ring.readings)) for ring in self.rings)

    @property
    def again(self) -> tuple[str, ...]:
        """What to read again before anything is followed: rings with a likely mistake."""
        return tuple(f"{ring.words}: {one[0].again}" for ring, one in self.findings if one.found)

    @property
    def first(self) -> tuple[str, ...]:
        """What comes before everything: likely mistakes, and sizes to be asked about."""
        each = ((ring, (*one.doubted, *ring.readings.asked)) for ring, one in self.findings)
        return tuple(f"{ring.words}: {words}" for ring, said in each for words in said)

    @property
    def blade(self) -> Blade:
        """The blade, as it was mounted without being flipped."""
        return next(ring.readings.blade for ring in self.rings if not ring.flipped)

    @property
    def at_words(self) -> str:
        """Where the reference radius is, in words."""
        return "at the rim" if self.at_rim else "at the outermost ring"

    def estimate(self, name: str) -> Estimate | None:
        """Return a parameter with its doubt, None where the plan does not tell it."""
        if name not in self.names:
            return None
        at = self.names.index(name)
        u = math.sqrt(float(self.covariance[at, at]))
        return Estimate(float(self.values[at]), u, self.dof)

    def value(self, name: str) -> float | None:
        """Return a parameter, None where the plan does not tell it."""
        one = self.estimate(name)
        return None if one is None else one.value

    def p_value(self, name: str) -> float | None:
        """Return the chance of so large a parameter where there is none (two-sided t test)."""
        one = self.estimate(name)
        if one is None or math.isnan(one.u):
            return None
        return float(2 * special.stdtr(self.dof, -abs(one.value) / one.u))

    @cached_property
    def _waves(self) -> dict[str, Harmonic]:
        found = {}
        for at, name in enumerate(self.names):
            group = name.removesuffix("_cos")
            if group != name:
                a, b = (float(part) for part in self.values[at : at + 2])
                covariance = self.covariance[at : at + 2, at : at + 2]
                found[group] = harmonic(
                    order_of(group), Wobble(complex(a, b), covariance, self.dof)
                )
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
        for group in ("dish", *self._waves):
            if group != "flipped_tilt" and names_of(group)[0] in self.names:
                at = self.names.index(names_of(group)[0])
                columns = shape_columns(group, r, angle, self.reference_radius)
                height = height + columns @ self.values[at : at + columns.shape[-1]]
        return height

    def _title(self) -> str:
        name = named(str(self.blade.who))
        count = len(self.rings)
        return (
            f"{name}: shape of the plate from {count} ring{'s' if count > 1 else ''}, "
            f"{len(self.residuals)} readings in {self.unit}"
        )

    def _first(self) -> Sequence[str]:
        return self.first


def _height_of(wave: Harmonic) -> Known:
    parts = wave.amplitude, wave.amplitude_u, wave.amplitude_low, wave.amplitude_high
    return Known(*(math.nan if one is None else one for one in parts))


def _leaning(slope: Known) -> Known:
    """Return a slope in degrees."""
    ends = slope.value, slope.low, slope.high
    value, low, high = (math.degrees(math.atan(one)) for one in ends)
    return Known(value, math.degrees(slope.u / (1 + slope.value**2)), low, high)


def _not_told(fit: PlateFit, what: str) -> str:
    return f"not told by this plan: {fit.not_identified.get(what, '')}"


def _grows_words(fit: PlateFit) -> str:
    if fit.tilt_grows is None:
        why = fit.not_identified.get("tilt_growth", "too few readings, or all the same")
        return f"not tested: {why}"
    return "yes, as far as the rings tell" if fit.tilt_grows else "no, see below"


def _dish_words(fit: PlateFit) -> str:
    dish = fit.dish
    if dish is None:
        return _not_told(fit, "dish")
    if fit.dish_resolved:
        near, far = sorted(map(abs, (dish.low, dish.high)))
        size = Known(abs(dish.value), dish.u, near, far).text
        way = "toward the indicator" if dish.value > 0 else "away from the indicator"
        text = f"the rim stands {size(f'{fit.unit} {way}')}"
    else:
        text = f"{_NOT_APART}: {dish.text(fit.unit)}"
    text += "" if fit.at_rim else ", counted at the outermost ring"
    return text + ("; not to be trusted, see below" if fit.heights_fit is False else "")


def _meaning(fit: PlateFit) -> list[tuple[str, str]]:
    """Return what the shape means for whoever sets a square against the plate."""
    said = []
    if fit.dish is None or fit.heights_fit is False:
        said.append(
            "whether the plate is dished stays open, and a dish would lean a square against it at "
            "every rotation"
        )
    elif fit.dish_resolved:
        lean = abs(math.degrees(math.atan(fit.dish.value / fit.reference_radius)))
        said.append(
            f"the dish by itself leans a square against the plate by {lean:.2g} deg and more, at "
            "every rotation, and the neutral line does not take it out; the cut stays square to "
            "the arbor. Do not hammer or bend the blade: clean the flanges, mount it again and "
            "read again, then take it to a sawsmith"
        )
    if fit.saddle_crest is not None:
        said.append(
            "the saddle leans a square too, one way and the other twice a turn: the neutral line "
            "alone does not take it out"
        )
    return [("and" if at else "what it means", text) for at, text in enumerate(said)]
