"""The demo saws, simulated: one measured as a person would have left it, and one set up.

`make_demo_data.py` writes the first as a saw's file beside the blade that is on it, and what was
read while the second was set up, which a notebook replays.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
from rigid_saw import RigidSaw, as_read

import bladegeom as bg

INCH, THOU = 25.4, 0.0254
SAW_FILE = "shed_saw.toml"
STORY = "set_up_story.json"
SEED = 7001

HIGH = 3.0 * INCH
"""The blade stands so high above the table while it is read."""

LOW = 1.0 * INCH
"""And so high in the cut."""

SEPARATION = 8.0 * INCH
ALONG = np.arange(-12.0, 13.0, 4.0)
INSERT = np.array([(-1.5, -6.0), (1.5, -6.0), (1.5, 6.0), (-1.5, 6.0), (-1.5, 0.0), (1.5, 0.0)])
STOP_OFF_DEG = 0.03


def demo_saw() -> RigidSaw:
    """Return the saw as it was left, the blade high; the blade is that of ``forty_tooth.csv``."""
    saw = RigidSaw(
        side="left",
        numbered="clockwise",
        teeth=40,
        plate_tilt_deg=0.029,
        near_deg=199.8,
        rim_radius_mm=5.0 * INCH,
        gullet_radius_mm=4.55 * INCH,
        tooth_width_mm=0.126 * INCH,
        plate_mm=0.087 * INCH,
        arbor_depth_mm=5.0 * INCH - HIGH,
        arbor_deg=0.002,
        slot_deg=0.0,
        fence_deg=-0.004,
        fence_bow_mm=1.0 * THOU,
        fence_length_mm=30.0 * INCH,
        insert_screws_mm=tuple((x * INCH, y * INCH) for x, y in INSERT[:4]),
        insert_heights_mm=(-1.0 * THOU, -0.5 * THOU, 3.0 * THOU, 2.5 * THOU),
    )
    saw = saw.set_tilt(saw.turned(33, "top"), error_deg=0.008)
    saw = saw.set_knife(saw.turned(33, "front"), saw.turned(33, "top"))
    return saw.set_gauge(saw.turned(33, "front"), error_deg=-0.006)


def saw_text() -> str:
    """Return the saw's file."""
    rng = np.random.default_rng(SEED)
    high = demo_saw()
    low = replace(high, arbor_depth_mm=5.0 * INCH - LOW)
    bevelled = high.set_tilt(high.turned(33, "top"), 45.0, error_deg=0.02)
    octagon = replace(low, gauge_deg=45.0 + STOP_OFF_DEG)
    around, eight = low.round_test(4, size_mm=14 * INCH), octagon.round_test(8, size_mm=7 * INCH)

    def thou(values: object, sd: float, step: float, decimals: int = 1) -> str:
        read = as_read(np.asarray(values) / THOU, sd, step, rng)
        return f'"{" ".join(f"{one + 0.0:.{decimals}f}" for one in np.atleast_1d(read))} thou"'

    def inches(values: object) -> str:
        return f'"{" ".join(f"{one:g}" for one in np.atleast_1d(values))} in"'

    def three(value: float, step: float) -> str:
        return thou(np.full(3, value), 0.4 * step, step)

    def slots(place: str) -> str:
        value = high.slot_reading_mm(33, place, SEPARATION, side="left", dial_zero_mm=0.0)
        zero = high.slot_reading_mm(33, "front", SEPARATION, side="left")
        return thou(np.full(5, value - zero + 12 * THOU), 0.25, 0.5)

    level = high.turned(33, "front")
    against_plate = high.knife_toe_deg - high.set_knife(level).knife_toe_deg
    knife = f"{round(against_plate / 0.02) * 0.02 + 0.0:.2f}"
    # Read three times, with draws of its own.
    leans = as_read(
        np.full(3, high.gauge_against_plate_deg(level)), 0.005, 0.02, np.random.default_rng(SEED)
    )
    gauge = " ".join(f"{lean + 0.0:.2f}" for lean in leans)
    flip = high.flip_gap_mm(2.0 * INCH, flipped="left")
    fence = low.fence_readings_mm(ALONG * INCH, dial_zero_mm=20 * THOU)
    insert = low.insert_readings_mm(INSERT * INCH)
    return f"""\
# A saw as it was left after setting up. Invented: it stands in no workshop but the made-up
# Thistle-and-Tide shed, and every reading comes from a simulated saw (tests/rigid_saw.py).
#
#     bladegeom setup shed_saw.toml -o card.pdf
#
# Edit it and run it again: parts that are not there are left out. A length has its unit behind
# it, in quotes; several readings of one thing stand in one pair of quotes.

[saw]
name = "Bench by the north window"
date = 2026-11-21
tilts = "left"                      # the way the top of the blade goes for a bevel
notes = "Invented saw, invented readings."

[blade]
readings = "forty_tooth.csv"        # beside this file
height = "{LOW / INCH:g} in"                     # it stands so high above the table in the cut

[slots]                             # one marked tooth, in front and, turned along, behind
indicator = "left"                  # the side of the blade on which the indicator rides
front = {slots("front")}
back = {slots("back")}
separation = {inches(SEPARATION / INCH)}
graduation = "0.5 thou"
tolerance = "1 thou"                # from front to back
moved = "table"                     # what is turned to correct: table or trunnion
pivot = "front"                     # the bolt that stays
lever = "24 in"                     # from it to where the movement is measured

[table]
shows = 0.00                        # degrees from the upright; a lean needs its side, toward
resolution = 0.02
accuracy = 0.02                     # the instrument is said to be true to so much
span = "2 in"                       # thickness of the board
tolerance = 0.05

[[bevel]]
angle = 45
shows = {round(bevelled.inclinometer_deg(bevelled.turned(33, "top")) / 0.05) * 0.05:.2f}
from = "upright"                    # or "table": from where shows is counted
resolution = 0.05
accuracy = 0.05
span = "3/4 in"
sides = 4
tolerance = 0.1

[miter_gauge]
shows = "{gauge} deg"        # plate's front end off the gauge's square, read three times
resolution = 0.02                   # finer than this the square between plate and gauge tells not
accuracy = 0.01
span = "12 in"                      # width of the board
tolerance = 0.03

[riving_knife]
shows = {knife}                        # knife's back end off the plate
resolution = 0.02
accuracy = 0.02
span = "7 in"                       # from the arbor's axis to the knife's far end
tolerance = 0.05

[fence]
side = "right"                      # of the blade
along = {inches(ALONG)}
readings = {thou(fence, 0.3, 0.5)}
graduation = "0.5 thou"
tolerance = "3 thou"                # over the length that was read

[[stop]]
name = "45 left"
turns = 8                           # an octagon, its last strip measured at both ends
piece = "left"                      # the board lies left of the blade
first = {three(eight.cut_first_mm, 0.5)}
last = {three(eight.cut_last_mm, 0.5)}
length = {inches(round(eight.length_mm / INCH, 3))}
graduation = "0.5 thou"
tolerance = 0.02

[insert]                            # height above the table; x to the right, y to the back
x = {inches(INSERT[:, 0])}
y = {inches(INSERT[:, 1])}
height = {thou(insert, 0.3, 0.5)}
screw_x = {inches(INSERT[:4, 0])}
screw_y = {inches(INSERT[:4, 1])}
pitch = "1/32 in"                   # of the screws: so far in one turn
graduation = "0.5 thou"
tolerance = "2 thou"

[test_cut.flip]
gap = {thou(np.full(3, abs(flip)), 0.15, 0.5)}
height = "2 in"
open = "{"top" if flip > 0 else "bottom"}"
flipped = "left"                    # the piece that was turned over lay left of the blade
graduation = "0.5 thou"

[test_cut.round]                    # four turns, the edge just cut against the gauge each time
piece = "left"
first = {three(around.cut_first_mm, 0.5)}
last = {three(around.cut_last_mm, 0.5)}
length = {inches(round(around.length_mm / INCH, 3))}
graduation = "0.5 thou"

[test_cut.kerf]
width = {thou(np.full(3, low.fed_kerf_mm()), 0.3, 0.5)}
graduation = "0.5 thou"
"""


def story_text() -> str:
    """Return the story as a file: a line a part, numbers to five decimals."""

    def rounded(held: Any) -> Any:
        if isinstance(held, dict):
            return {name: rounded(one) for name, one in held.items()}
        if isinstance(held, list):
            return [rounded(one) for one in held]
        return round(held, 5) + 0.0 if isinstance(held, float) else held

    lines = (f"{json.dumps(name)}: {json.dumps(rounded(one))}" for name, one in story().items())
    return "{\n" + ",\n".join(lines) + "\n}\n"


def story() -> dict[str, Any]:
    """Return what was read while a saw was set up as the program told, in mm and degrees.

    For a notebook, which replays it: `leans`, `bevels_off`, `boards` and `truth` are what only a
    simulation can show.
    """
    rng = np.random.default_rng(2026)
    saw = as_found = RigidSaw(
        side="left",
        numbered="clockwise",
        plate_tilt_deg=0.06,
        near_deg=123.0,
        arbor_deg=0.17,
        slot_deg=-0.03,
        tilt_to_right_deg=0.3,
        gauge_deg=-0.4,
        fence_deg=0.1,
        insert_heights_mm=(0.30, 0.22, -0.12, -0.04),
    )
    separation, along = 150.0, np.arange(-300.0, 301.0, 100.0)
    places = np.array([(x, y) for x in (-38.0, 38.0) for y in (-140.0, 0.0, 140.0)])
    board = 40.0

    def dial(exact: object, repeats: int = 1) -> list[float]:
        read = as_read(np.repeat(np.asarray(exact), repeats), 0.003, 0.01, rng)
        return [round(float(one), 2) + 0.0 for one in read]

    def calliper(exact: float) -> list[float]:
        return [round(float(one), 2) for one in as_read(np.full(3, exact), 0.01, 0.01, rng)]

    def slots(saw: RigidSaw, top: float | None = None) -> dict[str, list[float]]:
        return {
            at: dial(
                saw.slot_reading_mm(first, at, separation)
                if top is None
                else saw.slot_reading_on_plate_mm(top, at, separation),
                5,
            )
            for at in ("front", "back")
        }

    def squared_up(saw: RigidSaw, tooth: int, target: float = 0.0) -> RigidSaw:
        return saw.set_tilt(saw.turned(tooth, "top"), target, error_deg=rng.normal(0.0, 0.01))

    def squared_gauge(saw: RigidSaw, tooth: int) -> RigidSaw:
        return saw.set_gauge(saw.turned(tooth, "front"), error_deg=rng.normal(0.0, 0.01))

    def zeroed(saw: RigidSaw, tooth: int) -> RigidSaw:
        return saw.set_fence_distance(tooth, 100, error_mm=rng.normal(0, 0.02))

    def cuts(saw: RigidSaw) -> dict[str, Any]:
        gap, strip = saw.flip_gap_mm(board, flipped="left"), saw.round_test(4, kept="left")
        return {
            "gap": [abs(one) for one in dial(abs(gap), 3)],
            "open_at": "top" if gap > 0 else "bottom",
            "first": calliper(strip.cut_first_mm),
            "last": calliper(strip.cut_last_mm),
            "length": strip.length_mm,
            "kerf": calliper(saw.fed_kerf_mm()),
            "rip": calliper(saw.wall_to_fence_mm()),
        }

    def truth(saw: RigidSaw) -> dict[str, float]:
        return {
            "slots": saw.slot_error_deg(),
            "table square": float(np.degrees(np.arctan(saw.flip_gap_mm(board) / (2 * board)))),
            "miter gauge": saw.gauge_error_deg(),
            "riving knife": saw.knife_toe_deg,
            "fence to blade": saw.fence_deg + saw.slot_deg - saw.arbor_deg,
        }

    mm = "mm"
    told: dict[str, Any] = {"blade": dial(saw.wobble_readings_mm(110))}
    blade = bg.Blade(40, diameter="254 mm", numbered="clockwise")
    how: dict[str, Any] = {"graduation": "0.01 mm"}
    fit = bg.fit_wobble(
        bg.Readings(blade, told["blade"], unit=mm, ring_radius="110 mm", side="left", **how)
    )
    marks = bg.neutral_line(fit)
    first, near, far = marks.neutral[0].tooth, marks.near.tooth, marks.far.tooth

    read = told["slots"] = slots(saw)
    found = bg.slot_alignment(
        front=(read["front"], mm),
        back=(read["back"], mm),
        separation=(separation, mm),
        side="left",
        moved="trunnion",
        pivot="front",
        lever="400 mm",
        **how,
    )
    told["slots_on_plate"] = {at: slots(saw, saw.turned(near, at)) for at in ("back", "front")}
    saw = saw.turn_trunnion(found.move.value, pivot_y_mm=-200, lever_y_mm=200)
    read = told["slots_moved"] = slots(saw)
    aligned = bg.slot_alignment(
        front=(read["front"], mm), back=(read["back"], mm), separation=(separation, mm), **how
    )

    at_near, saw = squared_up(saw, near), squared_up(saw, first)
    told["leans"] = [saw.cut_lean_deg(20), at_near.cut_lean_deg(20)]
    told["bevels_off"] = [
        squared_up(saw, tooth, 45).cut_lean_deg(10) - 45 for tooth in (first, near)
    ]
    saw = squared_gauge(saw, first)
    saw = saw.set_knife(saw.turned(first, "front"), saw.turned(first, "top"))

    told["along"], told["fence"] = along.tolist(), dial(saw.fence_readings_mm(along))
    fence = bg.fence_alignment(
        along=(along, mm), readings=(told["fence"], mm), slot=aligned, fence_side="right", **how
    )
    saw = saw.turn_fence(fence.toe_over.value, pivot_y_mm=along[0], lever_y_mm=along[-1])
    told["fence_moved"] = dial(saw.fence_readings_mm(along))

    told["places"], told["screws"] = places.T.tolist(), np.transpose(saw.insert_screws_mm).tolist()
    told["insert"] = dial(saw.insert_readings_mm(places))
    insert = bg.insert_level(
        x=(places[:, 0], mm),
        y=(places[:, 1], mm),
        height=(told["insert"], mm),
        screw_x=(told["screws"][0], mm),
        screw_y=(told["screws"][1], mm),
        pitch="0.8 mm",
        **how,
    )
    turns = [screw.turns.value for screw in insert.screws]
    saw = saw.turn_insert_screws(turns, pitch_mm=0.8)
    told["insert_turned"] = dial(saw.insert_readings_mm(places))

    saw = zeroed(saw, far)
    told["boards"] = [
        saw.set_fence_distance(tooth, 100).wall_to_fence_mm() for tooth in (far, first, near)
    ]
    told["cuts"] = cuts(saw)
    ignored = zeroed(squared_gauge(squared_up(saw, near), near), near)
    ignored = ignored.set_knife(saw.turned(near, "front"), saw.turned(near, "top"))
    told["cuts_ignored"] = cuts(ignored)
    told["truth"] = {
        "as found": truth(as_found),
        "marks ignored": truth(ignored),
        "marked teeth": truth(saw),
    }
    return told


if __name__ == "__main__":
    print(saw_text(), end="")
