"""Writes the invented demo data: ``python tests/make_demo_data.py [FOLDER]``.

The readings come from the rigid-body simulation, with noise from a fixed seed, rounded to the
dial's graduation. Nothing was measured; the same files are written every time.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Literal

import numpy as np
from make_saw_demo import SAW_FILE, SEED, STOP_OFF_DEG, STORY, demo_saw, saw_text, story_text
from mounted_body import mounted_mm
from rigid_body import Numbering, RigidBlade, readings_mm, tooth_angles_deg

import bladegeom as bg

Unit = Literal["mm", "in", "thou", "um"]

MM_PER: Mapping[Unit, float] = {"mm": 1.0, "in": 25.4, "thou": 0.0254, "um": 0.001}
SHELF_READINGS = "shelf_readings.csv"
LIMITS = "shed_limits.toml"
SHELF_BLADES = "shelf_blades.csv"
CLOCK_MOUNTS = "arbor/clock_mounts.csv"
THREE_RINGS = "arbor/three_rings.csv"
"""In a folder of their own: a folder of blades to be listed holds one ring of one mounting each."""


@dataclass(frozen=True)
class Truth:
    """An invented blade and how it was read: the answer key to one set of readings.

    Attributes
    ----------
    file : str
        Name of the file that holds the readings.
    blade : str
        Identifier of the blade.
    seed : int
        Seed of the noise.
    teeth : int
    diameter, ring_radius, plate, tooth_width, gullet : float
        Sizes, in `size_unit`.
    size_unit : {"mm", "in"}
    tilt_deg : float
        True tilt of the plate.
    near_deg : float
        Blade angle of the true nearest spot.
    noise_sd, graduation, dial_start : float
        Repeatability of a reading, the dial's graduation, and what the dial showed at tooth 1 but
        for noise; in `reading_unit`.
    reading_unit : {"mm", "in", "thou", "um"}
    numbered : {"clockwise", "counterclockwise"}
    side : str
        Side of the blade on which the indicator stood.
    pitch_pattern : str
    touch_deg : float
        Degrees of blade from the indexed tooth to the touched spot, positive with the numbering.
    turns : int
        How often every tooth was read.
    closes : bool
        Whether tooth 1 was read once more at the end.
    unread : range
        Teeth that could not be read.
    closing_slip : bool
        Whether the closing reading was booked to a tooth that the blade does not have.
    """

    file: str
    blade: str
    seed: int
    teeth: int
    diameter: float
    ring_radius: float
    plate: float
    tooth_width: float
    gullet: float
    size_unit: Unit
    tilt_deg: float
    near_deg: float
    noise_sd: float
    graduation: float
    reading_unit: Unit
    numbered: Numbering
    side: str
    pitch_pattern: str = "1"
    touch_deg: float = 0.0
    dial_start: float = 0.0
    turns: int = 1
    closes: bool = False
    unread: range = range(0)
    closing_slip: bool = False

    @property
    def ring_radius_mm(self) -> float:
        """From the arbor's axis to the stylus, in mm."""
        return self.ring_radius * MM_PER[self.size_unit]

    @property
    def noise_sd_mm(self) -> float:
        """Repeatability of a reading before it is rounded, in mm."""
        return self.noise_sd * MM_PER[self.reading_unit]

    @property
    def graduation_mm(self) -> float:
        """The dial's graduation, in mm."""
        return self.graduation * MM_PER[self.reading_unit]

    @property
    def rigid_blade(self) -> RigidBlade:
        """The blade for the rigid-body simulation."""
        return RigidBlade(self.tilt_deg, self.near_deg, self.numbered)

    @property
    def wobble_tir_mm(self) -> float:
        """True wobble at the ring: near spot less far spot, in mm."""
        spots = [self.near_deg, self.near_deg + 180.0]
        near, far = readings_mm(self.rigid_blade, spots, self.ring_radius_mm)
        return float(near - far)


_FORTY = Truth(
    file="forty_tooth.csv",
    blade="A-40",
    seed=4001,
    teeth=40,
    diameter=10,
    ring_radius=4.5,
    plate=0.087,
    tooth_width=0.126,
    gullet=0.45,
    size_unit="in",
    tilt_deg=0.029,
    near_deg=199.8,
    noise_sd=0.25,
    graduation=0.5,
    reading_unit="thou",
    numbered="clockwise",
    side="left",
    closes=True,
)
_FIFTY = Truth(
    file="fifty_tooth_groups.csv",
    blade="C-50",
    seed=5001,
    teeth=50,
    diameter=254,
    ring_radius=115,
    plate=2.2,
    tooth_width=3.2,
    gullet=13,
    size_unit="mm",
    tilt_deg=0.030,
    near_deg=77.0,
    noise_sd=0.003,
    graduation=0.01,
    reading_unit="mm",
    numbered="counterclockwise",
    side="right",
    pitch_pattern="1 1 1 1 1.6",
    touch_deg=-3.5,
    dial_start=0.2,
)
_FLAT = Truth(
    file="flat_blade.csv",
    blade="R-24",
    seed=2401,
    teeth=24,
    diameter=250,
    ring_radius=110,
    plate=2.2,
    tooth_width=3.2,
    gullet=14,
    size_unit="mm",
    tilt_deg=0.0004,
    near_deg=130.0,
    noise_sd=0.003,
    graduation=0.01,
    reading_unit="mm",
    numbered="clockwise",
    side="left",
    dial_start=0.003,
)
_ARC = Truth(
    file="missing_arc.csv",
    blade="F-60",
    seed=6001,
    teeth=60,
    diameter=300,
    ring_radius=135,
    plate=2.2,
    tooth_width=3.2,
    gullet=10,
    size_unit="mm",
    tilt_deg=0.017,
    near_deg=51.5,
    noise_sd=3,
    graduation=2,
    reading_unit="um",
    numbered="counterclockwise",
    side="left",
    unread=range(29, 46),
)
_EIGHTY = Truth(
    file="eighty_tooth_two_turns.csv",
    blade="X-80",
    seed=8001,
    teeth=80,
    diameter=12,
    ring_radius=5.25,
    plate=0.098,
    tooth_width=0.126,
    gullet=0.3,
    size_unit="in",
    tilt_deg=0.0175,
    near_deg=289.0,
    noise_sd=0.00012,
    graduation=0.0005,
    reading_unit="in",
    numbered="clockwise",
    side="right",
    dial_start=0.01,
    turns=2,
)


_ON_THE_SHELF = Truth(
    file=SHELF_READINGS,
    blade="007",
    seed=9001,
    teeth=24,
    diameter=250,
    ring_radius=110,
    plate=2.2,
    tooth_width=3.2,
    gullet=14,
    size_unit="mm",
    tilt_deg=0.021,
    near_deg=318.0,
    noise_sd=0.003,
    graduation=0.01,
    reading_unit="mm",
    numbered="clockwise",
    side="left",
)
_SHELF = (
    _ON_THE_SHELF,
    replace(
        _ON_THE_SHELF,
        blade="B-12",
        seed=9002,
        teeth=40,
        plate=2.0,
        tooth_width=2.8,
        gullet=11,
        tilt_deg=0.015,
        near_deg=96.0,
        closes=True,
        closing_slip=True,
    ),
    replace(
        _ON_THE_SHELF,
        blade="B-13",
        seed=9003,
        teeth=60,
        diameter=300,
        ring_radius=135,
        gullet=10,
        tilt_deg=0.041,
        near_deg=14.0,
        numbered="counterclockwise",
    ),
    replace(
        _ON_THE_SHELF,
        blade="19",
        seed=9004,
        teeth=48,
        diameter=216,
        ring_radius=95,
        plate=1.6,
        tooth_width=2.4,
        gullet=8,
        tilt_deg=0.009,
        near_deg=231.0,
    ),
    replace(
        _ON_THE_SHELF,
        blade="K 5",
        seed=9005,
        teeth=28,
        diameter=160,
        ring_radius=66,
        plate=1.4,
        tooth_width=2.2,
        gullet=9,
        tilt_deg=0.0006,
        near_deg=175.0,
    ),
    replace(
        _ON_THE_SHELF,
        blade="0031",
        seed=9006,
        teeth=72,
        diameter=254,
        ring_radius=115,
        plate=2.0,
        tooth_width=2.8,
        gullet=7,
        tilt_deg=0.027,
        near_deg=262.5,
        numbered="counterclockwise",
    ),
)
CLOCKED = replace(
    _ON_THE_SHELF, file=CLOCK_MOUNTS, blade="M-24", seed=9101, tilt_deg=0.020, near_deg=205.0
)
FLANGE = RigidBlade(tilt_deg=0.017, near_deg=72.0, numbered="clockwise")
SEATING_DEG = 0.0012
"""Standard deviation of either component of the tilt from one seating to the next."""

CLOCKS_DEG = {"1": 0, "2": 180, "3": 90, "1 again": 0}
_SINGLE = (_FORTY, _FIFTY, _FLAT, _ARC, _EIGHTY)


def truths() -> tuple[Truth, ...]:
    """Return the answer key of every blade that can be fitted.

    Returns
    -------
    tuple of Truth
        One for each file of a single blade, then the shelf without the faulty blade.
    """
    return tuple(truth for truth in _SINGLE + _SHELF if not truth.closing_slip)


def _on_the_dial(readings: Iterable[float], graduation: float) -> list[str]:
    """Write readings to the nearest graduation, all with its decimals."""
    step = Decimal(str(graduation))
    return [str(round(reading / graduation) * step) for reading in readings]


def reading_rows(truth: Truth) -> list[dict[str, str]]:
    """Rows of one blade as its reader would have written them down.

    Parameters
    ----------
    truth : Truth

    Returns
    -------
    list of dict
        Columns ``blade``, ``turn`` and ``order`` if more than one turn was read, ``tooth``, and the
        reading named with its unit.
    """
    turn = list(range(1, truth.teeth + 1))
    teeth = turn * truth.turns + ([1] if truth.closes else [])
    angles = tooth_angles_deg(truth.teeth, truth.pitch_pattern)
    exact_mm = readings_mm(
        truth.rigid_blade,
        [angles[tooth - 1] for tooth in teeth],
        truth.ring_radius_mm,
        touch_deg=truth.touch_deg,
    )
    rng = np.random.Generator(np.random.PCG64(truth.seed))
    exact = (exact_mm - exact_mm[0]) / MM_PER[truth.reading_unit] + truth.dial_start
    shown = _on_the_dial(exact + rng.normal(0.0, truth.noise_sd, len(teeth)), truth.graduation)

    rows = []
    for order, (tooth, reading) in enumerate(zip(teeth, shown, strict=True), start=1):
        row = {"blade": truth.blade}
        if truth.turns > 1:
            row |= {"turn": str((order - 1) // truth.teeth + 1), "order": str(order)}
        row["tooth"] = str(tooth)
        row[f"reading_{truth.reading_unit}"] = "?" if tooth in truth.unread else reading
        rows.append(row)
    if truth.closing_slip:
        rows[-1]["tooth"] = str(truth.teeth + 1)
    return rows


def blade_facts(truth: Truth) -> dict[str, str]:
    """Return what is known of the blade and of the setup, a column for each fact.

    Parameters
    ----------
    truth : Truth

    Returns
    -------
    dict
        Without the identifier and without the truth.
    """
    size = truth.size_unit
    facts = {
        "teeth": f"{truth.teeth}",
        f"diameter_{size}": f"{truth.diameter:g}",
        f"ring_radius_{size}": f"{truth.ring_radius:g}",
        f"plate_{size}": f"{truth.plate:g}",
        f"tooth_width_{size}": f"{truth.tooth_width:g}",
        f"gullet_{size}": f"{truth.gullet:g}",
        f"graduation_{truth.reading_unit}": f"{truth.graduation:g}",
        "numbered": truth.numbered,
        "surface": "plate",
        "side": truth.side,
    }
    if truth.pitch_pattern != "1":
        facts["pitch_pattern"] = truth.pitch_pattern
    if truth.touch_deg:
        facts["touch_deg"] = f"{truth.touch_deg:g}"
    return facts


def clock_rows() -> list[dict[str, str]]:
    """Rows of a blade read in several mountings, each seated a little differently.

    Returns
    -------
    list of dict
        Columns ``blade``, ``mount``, ``clock_deg``, ``tooth``, the reading, and the blade's facts.
    """
    truth = CLOCKED
    rng = np.random.Generator(np.random.PCG64(truth.seed))
    near = np.radians(FLANGE.near_deg)
    flange = FLANGE.tilt_deg * np.array([np.cos(near), np.sin(near)])
    rows = []
    for mount, clock in CLOCKS_DEG.items():
        x, y = flange + rng.normal(0.0, SEATING_DEG, 2)
        seat = RigidBlade(float(np.hypot(x, y)), float(np.degrees(np.arctan2(y, x))), "clockwise")
        exact = mounted_mm(
            truth.rigid_blade, seat, clock, tooth_angles_deg(truth.teeth), truth.ring_radius_mm
        )
        noisy = exact - exact[0] + rng.normal(0.0, truth.noise_sd, truth.teeth)
        shown = _on_the_dial(noisy, truth.graduation)
        rows += [
            {"blade": truth.blade, "mount": mount, "clock_deg": str(clock), "tooth": str(tooth)}
            | {f"reading_{truth.reading_unit}": reading}
            | blade_facts(truth)
            for tooth, reading in enumerate(shown, start=1)
        ]
    return rows


RING_TILT, RING_DISH = bg.invented.Tilt((0.10, "mm"), near_deg=30.0), bg.invented.Dish((0.08, "mm"))
RING_SADDLE = bg.invented.Saddle((0.04, "mm"), crest_deg=70.0)
RING_SEED = 9202


def ring_rows() -> list[dict[str, str]]:
    """Rows of a bent blade, read at three rings, at the front and at the back of the saw.

    Returns
    -------
    list of dict
        Columns ``blade``, ``tooth``, the reading, ``ring_radius_mm``, and the blade's facts.
    """
    blade = bg.Blade(40, diameter="254 mm", gullet="9 mm", name="R-40")
    rng = np.random.Generator(np.random.PCG64(RING_SEED))
    made = {
        stand: bg.simulate(
            blade,
            rng=rng,
            faults=[RING_TILT, RING_DISH, RING_SADDLE],
            ring_radius="60 85 110 mm",
            graduation="0.005 mm",
        )
        for stand in ("front", "back")
    }
    return [
        {
            "blade": "R-40",
            "tooth": str(tooth),
            "reading_mm": f"{reading:.3f}",
            "ring_radius_mm": f"{one.key.ring_radius:g}",
            "stand": stand,
            "teeth": "40",
            "diameter_mm": "254",
            "gullet_mm": "9",
            "graduation_mm": "0.005",
        }
        for stand, rings in made.items()
        for one in rings.sets
        for tooth, reading in zip(one.course.label, one.written, strict=True)
    ]


def _write_csv(path: Path, rows: list[dict[str, str]]) -> None:
    """Write rows that share their columns: UTF-8, commas, LF."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def _spot(truth: Truth, angle_deg: float) -> str:
    """Words for a blade angle: the tooth before it and the part of the gap that is left behind."""
    angle = angle_deg % 360.0
    angles = np.append(tooth_angles_deg(truth.teeth, truth.pitch_pattern), 360.0)
    tooth = int(np.searchsorted(angles, angle + 1e-9))
    part = (angle - angles[tooth - 1]) / (angles[tooth] - angles[tooth - 1])
    return f"{tooth}" if part < 0.005 else f"{tooth} + {part:.2f}"


def _truth_table(shown: Iterable[Truth]) -> str:
    """Markdown table of the answer key."""
    lines = [
        "| file | blade | teeth | ring radius | graduation | noise sd | seed | tilt | "
        "wobble TIR at the ring | near direction | near tooth | neutral teeth |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for truth in shown:
        unit = truth.reading_unit
        wobble = truth.wobble_tir_mm / MM_PER[unit]
        ends = " and ".join(_spot(truth, truth.near_deg + turn) for turn in (90.0, -90.0))
        cells = (
            f"`{truth.file}`",
            f"`{truth.blade}`",
            f"{truth.teeth}",
            f"{truth.ring_radius:g} {truth.size_unit}",
            f"{truth.graduation:g} {unit}",
            f"{truth.noise_sd:g} {unit}",
            f"{truth.seed}",
            f"{truth.tilt_deg:g}°",
            f"{wobble:.3g} {unit}",
            f"{truth.near_deg:g}°",
            _spot(truth, truth.near_deg),
            ends,
        )
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


_LIMITS = """\
# Limits of the Thistle-and-Tide shed, which is made up, and so are they: no standard states them.

[[limit]]
quantity = "wobble_tir"
value = "0.10 mm"
source = "rule 3 of the made-up shed"
to = "260 mm"                       # blades up to this diameter

[[limit]]
quantity = "wobble_tir"
value = "0.15 mm"
source = "rule 4 of the made-up shed"
from = "261 mm"
"""

_README = """\
# Demo data

**Everything here is invented.** No blade, saw, workshop or person behind these files exists, and
nothing was measured. In the story they belong to the Thistle-and-Tide shed, a shared workshop that
was made up for them, whose volunteers read every blade before it goes on the saw.

`python tests/make_demo_data.py` writes all of these files, this one included, the same every time.
For each blade it takes a flat plate at a known tilt, turns it tooth by tooth under a stylus with
rotation matrices (`tests/rigid_body.py`), adds normal noise with the stated standard deviation from
a fixed seed (NumPy's PCG64), and rounds to the dial's graduation. The plates have no bends, and no
dial drifts or slips, so the once-a-turn wobble is all there is to find.

## The files

- `forty_tooth.csv`: a 10 in blade on a dial in thousandths of an inch, zeroed at tooth 1. The last
  row is tooth 1 read again to close the turn.
- `fifty_tooth_groups.csv`: ten groups of four gaps and a wide one (`pitch_pattern`). The stylus
  touched the plate 3.5° short of the indexed tooth (`touch_deg` is -3.5).
- `flat_blade.csv`: a blade whose wobble is far below the dial's graduation. The readings take two
  values, and there is no direction to find.
- `missing_arc.csv`: a blade read in micrometres. The clip that marked tooth 1 could not pass the
  guard, so the blade could not be turned all the way round: teeth {unread} never came under the
  stylus and are marked `?`.
- `eighty_tooth_two_turns.csv`: a 12 in blade read twice round; `turn` and `order` say when.
- `shelf_readings.csv` and `shelf_blades.csv`: six blades from the shelf in one tidy table, and a
  row of facts for each. The identifiers are text: `007` is not `7`. Blade `{faulty}` carries **a
  deliberate fault**: after tooth {teeth} its reader went on counting and booked the closing
  reading of tooth 1 as tooth {slip}. It has {teeth} teeth, so it must be refused until that row is
  put right; the other five are sound.
- `{mounts}`: blade `{clocked}` in {count} mountings, two of them at the same clock
  position, for `bladegeom clock`. Its own tilt is {own_tilt}° with near at {own_near}°, that of
  the flange {flange_tilt}° with near {flange_near}° from the arbor's mark, and every seating adds a
  tilt with a standard deviation of {seating}° in either component (seed {clock_seed}, noise as for
  `007`).
- `{rings}`: blade `R-40` at three rings, at the front and at the back of the saw, the dial
  never set anew, along a traverse square to the arbor; for `bladegeom plate`. At
  the outermost ring its tilt is {ring_tir} mm TIR with near at {ring_near}°; at the rim it has a
  dish of {dish} mm and a saddle {saddle} mm high (seed {ring_seed}).
- `{limits}`: invented limits for `bladegeom batch`; they are nobody's but the made-up shed's.
- `{saw}`: the file of a saw as it was left, blade `A-40` on it, for `bladegeom setup`. Every
  reading comes from a rigid saw turned with rotation matrices (`tests/rigid_saw.py`, seed {seed}):
  the carriage {arbor}° askew to the slots, the fence {fence}° open at the back, the 45° stop of
  the miter gauge {stop}° off, which its octagon must find.

- `set_up_story.json`: what was read, in mm and degrees, while another rigid saw (seed 2026) was set
  up as the program told; `notebooks/03_set_up_the_saw.ipynb` replays it. What only a simulation can
  show is in it too: how cuts truly lean, how wide boards truly are, and `truth`.

`numbered` is as seen from the indicator's side, `ring_radius` runs from the arbor's axis to the
stylus, `gullet` is its depth, and a reading grows as the plate comes toward the indicator.

## The truth

What a fit should find within its own stated doubt. Directions are blade angles from tooth 1,
growing with the tooth numbers; `8 + 0.25` lies a quarter of the way from tooth 8 to tooth 9. The
noise is that of a reading before it is rounded.

{table}

Blade `{faulty}` would have these, its last row mended:

{faulty_table}

At `flat_blade.csv` and `K 5` the direction is true of the simulated plate, but no fit can know it.

A 95 % region misses the truth one time in twenty. The seeds were taken as they came, so it does so
here too: by a plain least-squares fit the true wobble of `C-50` and, by a hair, that of `0031` lie
outside the joint 95 % region, and inside the 99 % one.
"""


def write_demo_data(folder: Path) -> None:
    """Write all demo files and their README into a folder.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for truth in _SINGLE:
        rows = [row | blade_facts(truth) for row in reading_rows(truth)]
        _write_csv(folder / truth.file, rows)
    _write_csv(folder / SHELF_READINGS, [row for truth in _SHELF for row in reading_rows(truth)])
    _write_csv(
        folder / SHELF_BLADES, [{"blade": truth.blade} | blade_facts(truth) for truth in _SHELF]
    )
    (folder / CLOCK_MOUNTS).parent.mkdir(exist_ok=True)
    _write_csv(folder / CLOCK_MOUNTS, clock_rows())
    _write_csv(folder / THREE_RINGS, ring_rows())
    (faulty,) = (truth for truth in _SHELF if truth.closing_slip)
    (folder / LIMITS).write_text(_LIMITS, encoding="utf-8", newline="\n")
    (folder / SAW_FILE).write_text(saw_text(), encoding="utf-8", newline="\n")
    (folder / STORY).write_text(story_text(), encoding="utf-8", newline="\n")
    saw = demo_saw()
    readme = _README.format(
        mounts=CLOCK_MOUNTS,
        rings=THREE_RINGS,
        ring_tir=f"{RING_TILT.tir[0]:g}",
        ring_near=f"{RING_TILT.near_deg:g}",
        dish=f"{RING_DISH.height[0]:g}",
        saddle=f"{RING_SADDLE.crest[0]:g}",
        ring_seed=RING_SEED,
        clocked=CLOCKED.blade,
        count=len(CLOCKS_DEG),
        own_tilt=f"{CLOCKED.tilt_deg:g}",
        own_near=f"{CLOCKED.near_deg:g}",
        flange_tilt=f"{FLANGE.tilt_deg:g}",
        flange_near=f"{FLANGE.near_deg:g}",
        seating=f"{SEATING_DEG:g}",
        clock_seed=CLOCKED.seed,
        limits=LIMITS,
        saw=SAW_FILE,
        seed=SEED,
        arbor=f"{saw.arbor_deg - saw.slot_deg:g}",
        fence=f"{-saw.fence_deg:g}",
        stop=f"{STOP_OFF_DEG:g}",
        unread=f"{_ARC.unread[0]} to {_ARC.unread[-1]}",
        faulty=faulty.blade,
        teeth=faulty.teeth,
        slip=faulty.teeth + 1,
        table=_truth_table(truths()),
        faulty_table=_truth_table([faulty]),
    )
    (folder / "README.md").write_text(readme, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    given = sys.argv[1:]
    write_demo_data(Path(given[0]) if given else Path(__file__).parents[1] / "data_demo")
