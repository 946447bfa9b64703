"""Advice on the clock position of every blade of a table of mountings."""

from __future__ import annotations

from dataclasses import replace

from bladegeom.arbor.arbor import separate_arbor
from bladegeom.arbor.clock import ClockAdvice, clock_advice
from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.wobble import WobbleFit
from bladegeom.tables.mounts import Mount, Mounts


def advise(
    mounts: Mounts,
    *,
    flange: WobbleFit | None = None,
    harmonics: int = 1,
    drift: bool = False,
    robust: bool = False,
) -> tuple[list[ClockAdvice], list[Fault]]:
    """Advise on every blade of a table of mountings; a fault stops no other.

    Parameters
    ----------
    mounts : Mounts
    flange : WobbleFit, optional
        As for `separate_arbor`.
    harmonics, drift, robust
        As for `fit_wobble`.

    Returns
    -------
    advice : list of ClockAdvice
    refused : list of Fault
        Those of the table, and of mountings and blades that cannot be answered.
    """
    found: list[ClockAdvice] = []
    refused = list(mounts.refused)
    for name, own in mounts.blades.items():
        fits = []
        kept: list[Mount] = []
        for mount in own:
            try:
                if mount.clock_deg is None:
                    raise refuse(
                        "its clock position was not kept, so it says nothing of the arbor",
                        "note at every mounting clock_tooth, the tooth at the arbor's mark, or "
                        "clock_deg, where tooth 1 stands from that mark",
                        blade=name,
                        column="clock_deg",
                    )
                fits.append(
                    fit_wobble(mount.readings, harmonics=harmonics, drift=drift, robust=robust)
                )
                kept.append(mount)
            except RefusedError as error:
                refused += [
                    replace(fault, problem=f"mount {mount.name}: {fault.problem}")
                    for fault in error.faults
                ]
        try:
            if len(kept) < 2:
                raise refuse(
                    f"{len(kept)} mounting{'' if len(kept) == 1 else 's'} with a clock position",
                    "one mounting cannot tell arbor from blade: mount the blade at two or more "
                    "clock positions, best half a turn apart",
                    value=len(kept),
                    blade=name,
                    column="mount",
                )
            clock = [mount.clock_deg or 0.0 for mount in kept]
            names = [mount.name for mount in kept]
            arbor = separate_arbor(fits, clock, mounts=names, flange=flange)
            found.append(clock_advice(arbor))
        except RefusedError as error:
            refused += error.faults
    return found, refused
