"""Letters that print as written, whatever the name."""

from __future__ import annotations

import warnings
from functools import cache

from matplotlib import font_manager

from bladegeom.errors import BladegeomWarning

FAMILY = "DejaVu Sans"
"""Comes with Matplotlib, so that a page looks the same everywhere."""


def families_for(text: str) -> list[str]:
    """Return the font families that together hold every letter of a text.

    Where no font on the machine has a letter, a `BladegeomWarning` names it.
    """
    missing = frozenset(letter for letter in text if letter > "\xff" and letter.isprintable())
    if not missing:
        return [FAMILY]
    return [FAMILY, *_others(missing - _held(font_manager.findfont(FAMILY)))]


@cache
def _others(missing: frozenset[str]) -> tuple[str, ...]:
    families: list[str] = []
    for entry in font_manager.fontManager.ttflist:
        if not missing:
            break
        # A font of last resort has a box for every letter, which helps no reader.
        if entry.style != "normal" or entry.name in families or "Last Resort" in entry.name:
            continue
        if found := missing & _held(entry.fname):
            families.append(entry.name)
            missing -= found
    if missing:
        letters = "".join(sorted(missing))
        warnings.warn(
            f"no font on this machine has the letters {letters}: the chart shows boxes for them; "
            "install a font that has them",
            BladegeomWarning,
            stacklevel=2,
        )
    return tuple(families)


@cache
def _held(path: str) -> frozenset[str]:
    try:
        return frozenset(map(chr, font_manager.get_font(path).get_charmap()))
    except (OSError, RuntimeError):  # A damaged font on the machine is no fault of the chart's.
        return frozenset()


def line_width_mm(words: str, size: float) -> float:
    """Return how wide a line of the page's own letters prints at a size in points."""
    return sum(map(_advance_mm, words)) * size


@cache
def _advance_mm(letter: str) -> float:
    """Return the width of one letter in millimetres at a size of one point."""
    path = font_manager.findfont(FAMILY)
    if letter not in _held(path):
        return 25.4 / 72  # From another font; no letter is much wider than it is high.
    font = font_manager.get_font(path)
    font.set_size(100, 72)
    return font.load_char(ord(letter)).linearHoriAdvance / 65536 / 100 * 25.4 / 72
