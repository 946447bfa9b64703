"""What an `ArborFit` says to people."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from bladegeom.result import Row, between, number

if TYPE_CHECKING:
    from bladegeom.arbor.arbor import ArborFit

FLANGE_DISAGREES = (
    "the flange's face read directly does not agree with what the blade shows of it: look whether "
    "the first spot stood at the arbor's mark, the spots were counted in the direction of the "
    "blade's numbering, both ring radii are right, and the face is clean"
)


def together(fit: ArborFit) -> str:
    """Return what blade and flange do together at the best and the worst clock position."""
    known = fit.blade_wobble.resolved and fit.flange_wobble.resolved
    u = 2 * fit.best_amplitude_u
    low, high = number(2 * fit.best_amplitude, u), number(2 * fit.worst_amplitude, u)
    if not known:
        return f"TIR {low} to {high} {fit.unit}, at which clock position is not established"
    return (
        f"TIR {low} {fit.unit} with tooth 1 at {fit.best_clock_deg:.0f} deg from the arbor's "
        f"mark, {high} {fit.unit} at {fit.worst_clock_deg:.0f} deg"
    )


def seating(fit: ArborFit) -> str:
    """Return the scatter from one seating to the next in words."""
    sd, low, high = fit.seating_sd, fit.seating_low, fit.seating_high
    if sd is None or low is None or high is None:
        return "not known: nothing is left over to show it"
    doubt = high / 4 or None
    return (
        f"{number(sd, doubt)} {fit.unit} (95 %: {between(low, high, doubt)}), standard "
        "deviation of either component"
    )


def checked(fit: ArborFit) -> str:
    """Return in words whether the model holds."""
    if fit.p_value is None:
        return "nothing is left over to check the model"
    said = f"chi-square {fit.chi_square:.1f} for {fit.chi_square_dof}, p = {fit.p_value:.2g}"
    return f"{'more' if fit.p_value < 0.05 else 'no more'} is left than the doubt explains ({said})"


def flange_rows(fit: ArborFit) -> list[Row]:
    """Return the rows of the flange's face read directly."""
    read, p, text = fit.flange_read, fit.flange_p_value, ""
    if read is not None and p is not None:
        near = f"near at {number(read.near_deg, read.near_u_deg)} deg, " if read.resolved else ""
        text = f"TIR {number(read.tir, 2 * read.amplitude_u)} {fit.unit}, {near}" + (
            f"{'agrees' if fit.flange_agrees else 'does not agree'} (p = {p:.2g})"
        )
    return [
        Row("flange_read_tir", read and read.tir, "flange read" if read else "", text),
        Row("flange_read_amplitude", read and read.amplitude),
        Row("flange_read_amplitude_u", read and read.amplitude_u),
        Row("flange_read_near_deg", read.near_deg if read and read.resolved else None),
        Row("flange_read_near_u_deg", read.near_u_deg if read and read.resolved else None),
        Row("flange_agrees", fit.flange_agrees),
        Row("flange_agrees_p_value", p),
    ]


def mountings(fit: ArborFit) -> list[dict[str, Any]]:
    """Return every mounting as plain values: as measured, and as fitted."""
    return [
        {
            "mount": name,
            "clock_deg": float(clock),
            "cosine": complex(measured).real,
            "sine": complex(measured).imag,
            "fitted_cosine": complex(fitted).real,
            "fitted_sine": complex(fitted).imag,
        }
        for name, clock, measured, fitted in zip(
            fit.mount, fit.clock_deg, fit.measured, fit.fitted, strict=True
        )
    ]
