"""The file of a simulated saw, written as its owner would, part by part."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from rigid_saw import RigidSaw, RoundTest

import bladegeom as bg
from bladegeom.faults import Fault, RefusedError
from bladegeom.saw.bench import Step

FACTS = "teeth,diameter_mm,ring_radius_mm,plate_mm,tooth_width_mm,gullet_mm,graduation_mm,numbered"
BLADE = '[blade]\nreadings = "blade.csv"\n'


def blade_table(saw: RigidSaw, path: Path, noise: float = 1e-5) -> None:
    """Write the wobble of a simulated saw's blade as its indicator would read it."""
    rng = np.random.default_rng(3)
    readings = saw.wobble_readings_mm(110.0) + noise * rng.standard_normal(saw.teeth)
    known = (
        f"{saw.teeth},{2 * saw.rim_radius_mm:g},110,{saw.plate_mm:g},{saw.tooth_width_mm:g},"
        f"{saw.rim_radius_mm - saw.gullet_radius_mm:g},0.00001,{saw.numbered},{saw.side}"
    )
    rows = [f"S-1,{tooth},{value:.6f},{known}" for tooth, value in enumerate(readings, start=1)]
    path.write_text("\n".join([f"blade,tooth,reading_mm,{FACTS},side", *rows]), "utf-8")


def set_up(folder: Path, text: str, saw: RigidSaw | None = None) -> bg.SetUp:
    """Write the files of a saw and set it up."""
    if saw is not None:
        blade_table(saw, folder / "blade.csv")
    (folder / "saw.toml").write_text(text, "utf-8")
    return bg.set_up(folder / "saw.toml")


def faults(folder: Path, text: str, saw: RigidSaw | None = None) -> tuple[Fault, ...]:
    """Return what is wrong in the files of a saw."""
    with pytest.raises(RefusedError) as caught:
        set_up(folder, text, saw)
    return caught.value.faults


def steps_of(said: bg.SetUp) -> dict[str, Step]:
    """Return the steps by the part of the file; of several alike the last."""
    return {step.part: step for step in said.steps}


def states_of(said: bg.SetUp) -> dict[str, str | None]:
    """Return what is to be done about each part."""
    return {step.part: step.state for step in said.steps}


def mm(*values: float) -> str:
    """Return readings as they stand in the file."""
    return f"{' '.join(f'{value:.6f}' for value in values)} mm"


def part(name: str, /, **said: object) -> str:
    """Return a part of the file, a key a row; texts stand in quotes."""
    lines = (f"{key} = {json.dumps(value)}" for key, value in said.items())
    return "\n".join([f"[{name}]", *lines, ""])


def slots_part(
    saw: RigidSaw, tooth: int, *, side: str | None = None, times: int = 1, **said: object
) -> str:
    """Return the part of the slots, read at one tooth over 150 mm."""
    front, back = (saw.slot_reading_mm(tooth, at, 150.0, side=side) for at in ("front", "back"))
    read = {"front": mm(*[front] * times), "back": mm(*[back] * times), "separation": "150 mm"}
    said = ({"indicator": side} if side else {}) | {"graduation": "0.0001 mm"} | said
    return part("slots", **read, **said)


def round_part(cut: RoundTest, name: str = "test_cut.round", /, **said: object) -> str:
    """Return the part of a board that was cut round."""
    first, last, length = (mm(one) for one in cut)
    return part(name, **said, first=first, last=last, length=length, graduation="0.001 mm")


def flip_part(gap: float, height: float, flipped: str) -> str:
    """Return the part of a piece that was turned over; a gap below 0 is open at the bottom."""
    said = {"gap": mm(abs(gap)), "height": mm(height), "open": "top" if gap > 0 else "bottom"}
    return part("test_cut.flip", **said, flipped=flipped, graduation="0.001 mm")
