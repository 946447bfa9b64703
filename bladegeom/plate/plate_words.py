"""The shape of a plate in rows, for people and for machines."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from bladegeom.angles import wrap_360
from bladegeom.fit.waves import Harmonic
from bladegeom.result import Row, between, number

if TYPE_CHECKING:
    from bladegeom.plate.plate import PlateFit

NOT_TOLD = "not told by this plan: "
_NOT_APART = "not told apart from the scatter"


def plate_rows(fit: PlateFit) -> list[Row]:
    """Return the rows of a fitted plate."""
    radii = [one.readings.ring_radius for one in fit.rings]
    return [
        Row("blade", fit.blade.name),
        Row("teeth", fit.blade.teeth),
        Row("unit", fit.unit),
        Row("rings", len(fit.rings), "rings", "; ".join(one.words for one in fit.rings)),
        Row("ring_radii", radii),
        Row("readings", len(fit.residuals)),
        Row("reference_radius", fit.reference_radius),
        Row("at_rim", fit.at_rim),
        *_tilt_rows(fit, "tilt", "tilt"),
        *_rim_rows(fit),
        Row("tilt_grows", fit.tilt_grows, "tilt grows as the radius", _grows(fit, "tilt")),
        Row("tilt_grows_p", fit.checks.tilt),
        *_tilt_rows(
            fit, "flipped_tilt", "tilt, flipped" if "flipped_tilt_cos" in fit.names else ""
        ),
        *_dish_rows(fit),
        *_wave_rows(fit, "saddle", "saddle"),
        Row("saddle_teeth", _saddle_teeth(fit)),
        Row("saddle_grows", fit.saddle_grows),
        Row("saddle_grows_p", fit.checks.saddle),
        *(
            row
            for order in range(3, fit.harmonics + 1)
            for row in _wave_rows(fit, f"wave{order}", f"{order} waves a turn")
        ),
        *_traverse_rows(fit),
        Row("heights_fit", fit.heights_fit),
        Row("heights_fit_p", fit.checks.heights),
        *_meaning(fit),
        Row("not_identified", dict(fit.not_identified)),
        Row("dof", fit.dof),
        Row(
            "residual_sd",
            fit.residual_sd,
            "scatter",
            f"{number(fit.residual_sd, fit.residual_sd / 4 or None)} {fit.unit} "
            f"(standard deviation, {fit.dof} degrees of freedom)",
        ),
        Row("reading_sd", fit.reading_sd),
        Row("warnings", list(fit.warnings)),
    ]


def _at(fit: PlateFit) -> str:
    return "at the rim" if fit.at_rim else "at the outermost ring"


def _tilt_deg(slope: float | None) -> float | None:
    return None if slope is None else math.degrees(math.atan(slope))


def _tilt_rows(fit: PlateFit, group: str, label: str) -> list[Row]:
    wave, u = fit.wave(group), fit.wave_u(group)
    tilt = low = high = tilt_u = near = None
    text = near_text = ""
    if wave is not None and wave.amplitude is not None and u is not None:
        tilt = _tilt_deg(wave.amplitude)
        tilt_u = math.degrees(u / (1 + wave.amplitude**2))
        low, high = _tilt_deg(wave.amplitude_low), _tilt_deg(wave.amplitude_high)
        near = wave.crest_deg if wave.resolved else None
        limits = _limits(low, high, tilt_u)
        text = f"{number(tilt or 0.0, tilt_u)} deg ({limits})"
        near_text = "not established"
    near_u = None
    if near is not None and wave is not None and wave.crest_deg is not None:
        near_u = _toward_u_deg(fit, group)
        tooth = fit.blade.nearest_tooth(near)
        around = between(wave.crest_low_deg or 0.0, wave.crest_high_deg or 0.0, near_u)
        near_text = f"{number(near, near_u)} deg from tooth 1 (95 %: {around}), by tooth {tooth}"
    known = near is not None and wave is not None
    return [
        Row(f"{group}_deg", tilt, label if text else "", text),
        Row(f"{group}_u_deg", tilt_u),
        Row(f"{group}_low_deg", low),
        Row(f"{group}_high_deg", high),
        Row(
            f"{group}_near_deg",
            near,
            ("near at" if group == "tilt" else "near at, flipped") if near_text else "",
            near_text,
        ),
        Row(f"{group}_near_u_deg", near_u),
        Row(f"{group}_near_low_deg", wave.crest_low_deg if known and wave else None),
        Row(f"{group}_near_high_deg", wave.crest_high_deg if known and wave else None),
        Row(f"{group}_resolved", None if wave is None else wave.resolved),
        Row(f"{group}_p_value", None if wave is None else wave.p_value),
    ]


def _toward_u_deg(fit: PlateFit, group: str) -> float:
    at = fit.names.index(f"{group}_cos")
    a, b = (float(part) for part in fit.values[at : at + 2])
    c = fit.covariance[at : at + 2, at : at + 2]
    across = b * b * c[0, 0] - 2 * a * b * c[0, 1] + a * a * c[1, 1]
    return math.degrees(math.sqrt(float(across)) / (a * a + b * b))


def _limits(low: float | None, high: float | None, u: float) -> str:
    if low is None or high is None:
        return "doubt not known"
    return f"95 %: {between(low, high, u)}"


def _rim_rows(fit: PlateFit) -> list[Row]:
    """Return the tilt as total movement at the reference radius, unless it does not grow so."""
    wave, u = fit.wave("tilt"), fit.wave_u("tilt")
    label = f"wobble TIR {_at(fit)}"
    if wave is None or wave.amplitude is None or u is None or fit.tilt_grows is False:
        text = "not carried there: the tilt does not grow with the radius"
        return [
            Row("tilt_tir", None, label, text),
            *(Row(f"tilt_tir_{one}", None) for one in ("u", "low", "high")),
        ]
    across = 2 * fit.reference_radius
    low, high = (
        None if one is None else across * one for one in (wave.amplitude_low, wave.amplitude_high)
    )
    tir = across * wave.amplitude
    text = f"{number(tir, across * u)} {fit.unit} ({_limits(low, high, across * u)})"
    return [
        Row("tilt_tir", tir, label, text),
        Row("tilt_tir_u", across * u),
        Row("tilt_tir_low", low),
        Row("tilt_tir_high", high),
    ]


def _grows(fit: PlateFit, group: str) -> str:
    if fit.tilt_grows is None:
        why = fit.not_identified.get(f"{group}_growth", "too few readings, or all the same")
        return f"not tested: {why}"
    return "yes, as far as the rings tell" if fit.tilt_grows else "no, see below"


def _dish_rows(fit: PlateFit) -> list[Row]:
    dish, u, limits, p = fit.value("dish"), fit.u("dish"), fit.limits("dish"), fit.p_value("dish")
    resolved = None if dish is None else p is not None and p < 0.05
    text = NOT_TOLD + fit.not_identified.get("dish", "")
    low = high = None
    if dish is not None and u is not None and limits is not None:
        low, high = limits
        size = f"{number(abs(dish), u)} {fit.unit}"
        near, far = sorted(map(abs, limits)) if resolved else limits
        around = "doubt not known" if math.isnan(u) else f"95 %: {between(near, far, u)}"
        way = "toward the indicator" if dish > 0 else "away from the indicator"
        text = (
            f"the rim stands {size} {way} ({around})"
            if resolved
            else f"{_NOT_APART}: {number(dish, u)} {fit.unit} ({around})"
        )
        text += "" if fit.at_rim else ", counted at the outermost ring"
        text += "; not to be trusted, see below" if fit.heights_fit is False else ""
    return [
        Row("dish", dish, "dish", text),
        Row("dish_u", u),
        Row("dish_low", low),
        Row("dish_high", high),
        Row("dish_toward", dish > 0 if dish is not None and resolved else None),
        Row("dish_resolved", resolved),
        Row("dish_p_value", p),
    ]


def _wave_rows(fit: PlateFit, group: str, label: str) -> list[Row]:
    wave, u = fit.wave(group), fit.wave_u(group)
    text = NOT_TOLD + fit.not_identified.get(group, "")
    if wave is not None and wave.amplitude is not None and u is not None:
        around = _limits(wave.amplitude_low, wave.amplitude_high, u)
        text = f"{number(wave.amplitude, u)} {fit.unit} {_at(fit)} ({around}), "
        text += _crest_words(fit, group, wave) if wave.resolved else _NOT_APART
    known = wave is not None and wave.resolved
    return [
        Row(group, None if wave is None else wave.amplitude, label, text),
        Row(f"{group}_u", u),
        Row(f"{group}_low", None if wave is None else wave.amplitude_low),
        Row(f"{group}_high", None if wave is None else wave.amplitude_high),
        Row(f"{group}_crest_deg", wave.crest_deg if known and wave else None),
        Row(f"{group}_crest_low_deg", wave.crest_low_deg if known and wave else None),
        Row(f"{group}_crest_high_deg", wave.crest_high_deg if known and wave else None),
        Row(f"{group}_resolved", None if wave is None else wave.resolved),
        Row(f"{group}_p_value", None if wave is None else wave.p_value),
    ]


def _crest_words(fit: PlateFit, group: str, wave: Harmonic) -> str:
    crest = wave.crest_deg or 0.0
    teeth = _saddle_teeth(fit) if group == "saddle" else None
    if teeth is None:
        return f"first crest at {crest:.0f} deg"
    return f"high along the diameter at {crest:.0f} deg, by teeth {teeth[0]} and {teeth[1]}"


def _saddle_teeth(fit: PlateFit) -> list[int] | None:
    """Return the teeth nearest the ends of the diameter along which a saddle is high."""
    saddle = fit.wave("saddle")
    if saddle is None or not saddle.resolved or saddle.crest_deg is None:
        return None
    return [fit.blade.nearest_tooth(wrap_360(saddle.crest_deg + turn)) for turn in (0.0, 180.0)]


def _traverse_rows(fit: PlateFit) -> list[Row]:
    slope, u, limits = fit.value("traverse"), fit.u("traverse"), fit.limits("traverse")
    text = NOT_TOLD + fit.not_identified.get("traverse", "")
    if slope is None or u is None or limits is None:
        values: list[float | None] = [None] * 4
    else:
        values = [_tilt_deg(slope), math.degrees(u / (1 + slope**2)), *map(_tilt_deg, limits)]
        deg, deg_u, low, high = (one or 0.0 for one in values)
        around = "doubt not known" if math.isnan(u) else f"95 %: {between(low, high, deg_u)}"
        text = f"{number(deg, deg_u)} deg out of square to the arbor ({around})"
    keys = ("traverse_deg", "traverse_u_deg", "traverse_low_deg", "traverse_high_deg")
    labels = (("traverse", text), *[("", "")] * 3)
    return [Row(key, value, *words) for key, value, words in zip(keys, values, labels, strict=True)]


def _meaning(fit: PlateFit) -> list[Row]:
    """Return what the shape means for whoever sets a square against the plate."""
    said = []
    dish, p = fit.value("dish"), fit.p_value("dish")
    if dish is None or fit.heights_fit is False:
        said.append(
            "whether the plate is dished stays open, and a dish would lean a square against it at "
            "every rotation"
        )
    elif p is not None and p < 0.05:
        lean = abs(math.degrees(math.atan(dish / fit.reference_radius)))
        said.append(
            f"the dish by itself leans a square against the plate by {lean:.2g} deg and more, at "
            "every rotation, and the neutral line does not take it out; the cut stays square to "
            "the arbor. Do not hammer or bend the blade: clean the flanges, mount it again and "
            "read again, then take it to a sawsmith"
        )
    saddle = fit.wave("saddle")
    if saddle is not None and saddle.resolved:
        said.append(
            "the saddle leans a square too, one way and the other twice a turn: the neutral line "
            "alone does not take it out"
        )
    return [
        Row("", None, "what it means" if not at else "and", text) for at, text in enumerate(said)
    ]
