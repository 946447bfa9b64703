"""The wall chart's page drawn by a minimal Matplotlib script: the peer of bench_startup.

The same paper, the same words in the same sizes, the same number of marks and circles, with the
numbers typed in; a polar plot, as such a script would use.
"""

from __future__ import annotations

import sys

import matplotlib

matplotlib.use("pdf")
import matplotlib.pyplot as plt
import numpy as np

figure = plt.figure(figsize=(8.27, 11.69))
words = [
    (0.06, 0.95, "A-40", 30),
    (0.80, 0.95, "2026-11-25", 13),
    (0.06, 0.91, "40 teeth, 254 mm (10 in), seen from the indicator's side (left), clockwise", 11),
    (0.06, 0.88, "neutral line", 12),
    (0.06, 0.82, "33 - 13", 48),
    (0.50, 0.88, "near", 12),
    (0.50, 0.82, "23", 48),
    (0.75, 0.88, "far", 12),
    (0.75, 0.82, "3", 48),
    (0.06, 0.80, "Stand the neutral line upright to set the table and the bevels, level", 9),
    (
        0.06,
        0.20,
        "Outward is toward the indicator. Rings 1 thou apart. Drawn 200 times",
        9,
    ),
    (0.06, 0.16, "wobble TIR", 10),
    (0.06, 0.14, "4.58 thou", 24),
    (0.36, 0.16, "out of square, marks ignored", 10),
    (0.36, 0.14, "up to 0.029", 24),
    (0.66, 0.16, "sure of these teeth", 10),
    (0.66, 0.14, "98 %", 24),
]
caution = "Unplug the saw or lock it out before you touch it " * 2
words += [(0.06, 0.09 - 0.012 * line, caution, 8) for line in range(6)]
for left, height, text, size in words:
    figure.text(left, height, text, fontsize=size)

axes = figure.add_axes((0.1, 0.24, 0.8, 0.53), projection="polar")
axes.set_theta_zero_location("N")
axes.set_theta_direction(-1)
teeth = np.radians(np.arange(40) * 9.0)
around = np.radians(np.arange(361))
axes.plot(around, 0.6 + 0.2 * np.cos(around), color="black")
axes.plot(teeth, 0.6 + 0.2 * np.cos(teeth), "ko", markerfacecolor="white")
axes.plot([np.pi / 2, -np.pi / 2], [1.0, 1.0], "k-.", linewidth=2.6)
axes.set_xticks(teeth, [str(tooth) for tooth in range(1, 41)])
axes.set_yticks([0.4, 0.5, 0.6, 0.7, 0.8], [])
axes.set_ylim(0, 1)
figure.savefig(sys.argv[1])
