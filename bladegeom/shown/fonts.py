"""Letters that print as written, whatever the name."""

from __future__ import annotations

import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache

from matplotlib import font_manager, rc_context

from bladegeom.errors import BladegeomWarning

FAMILY = "DejaVu Sans"
"""Comes with Matplotlib, so that a page looks the same everywhere."""


_STANDARD: ContextVar[bool] = ContextVar("standard fonts", default=False)


@contextmanager
def standard_fonts() -> Iterator[None]:
    """Write PDF pages in the fonts that every reader of PDF has: none is put into the file.

    A page is made in about half the time. Letters outside Latin-1 still take the page's own font.
    """
    said = logging.getLogger("matplotlib.font_manager")
    level = said.level
    # Helvetica's plain weight is called medium, which would be told for every word.
    said.setLevel(logging.ERROR)
    token = _STANDARD.set(True)
    try:
        with rc_context({"pdf.use14corefonts": True}):
            yield
    finally:
        _STANDARD.reset(token)
        said.setLevel(level)


def has_standard_letters(text: str) -> bool:
    """Return whether a text is to be written, and can be, in the standard fonts."""
    return _STANDARD.get() and all(letter <= "\xff" or letter in _ALSO for letter in text)


_ALSO = "\u2013\u2022"
"""Letters beyond Latin-1 that the standard fonts have and the pages use."""


def families_for(text: str) -> list[str]:
    """Return the font families that together hold every letter of a text.

    Where no font on the machine has a letter, a `BladegeomWarning` names it.
    """
    if has_standard_letters(text):
        return ["Helvetica"]
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
