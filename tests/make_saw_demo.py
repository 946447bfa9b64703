"""The demo saw: measured on a simulated saw as a person would have left it, and written down.

`make_demo_data.py` writes it beside the blade that is on it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from rigid_saw import RigidSaw, as_read

INCH, THOU = 25.4, 0.0254
SAW_FILE = "shed_saw.toml"
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
    gauge, knife = (
        f"{round(deg / 0.02) * 0.02 + 0.0:.2f}"
        for deg in (high.gauge_against_plate_deg(level), against_plate)
    )
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
shows = 0.00                        # lean of the plate from the upright; plus: top to the left
resolution = 0.02
thickness = "2 in"                  # of the board for the gap
tolerance = 0.05

[[bevel]]
angle = 45
shows = {round(bevelled.inclinometer_deg(bevelled.turned(33, "top")) / 0.05) * 0.05:.2f}
resolution = 0.05
thickness = "3/4 in"
sides = 4
tolerance = 0.1

[miter_gauge]
shows = {gauge}                        # plate's front end off the gauge's square; plus: left
resolution = 0.02                   # finer than this the square between plate and gauge tells not
width = "12 in"
tolerance = 0.03

[riving_knife]
shows = {knife}                        # knife's back end off the plate; plus: to the left
resolution = 0.02
distance = "7 in"                   # from the arbor's axis to the knife's far end
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


if __name__ == "__main__":
    print(saw_text(), end="")
