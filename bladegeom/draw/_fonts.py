"""Letters that print as written, whatever the name."""

from __future__ import annotations

import re
import unicodedata
import warnings
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from functools import cache, lru_cache
from typing import Any

from matplotlib import font_manager, rc_context, rcParams

from bladegeom.draw._style import in_standard_fonts
from bladegeom.faults import BladegeomWarning

FAMILY = "DejaVu Sans"
"""Comes with Matplotlib, so that a page looks the same everywhere."""


def fonts_with(text: str) -> AbstractContextManager[Any]:
    """Return in what a text is to be drawn: its own fonts where the standard ones lack a letter."""
    if rcParams["pdf.use14corefonts"] and not SIMPLE.issuperset(text):
        return rc_context({"pdf.use14corefonts": False})
    return nullcontext()


@contextmanager
def unhinted() -> Iterator[None]:
    """Draw or measure letters as wide as they are: fitted to a screen's dots they grow wider."""
    before, rcParams["text.hinting"] = rcParams["text.hinting"], "no_hinting"
    try:
        yield
    finally:
        rcParams["text.hinting"] = before


SIMPLE = frozenset(filter(str.isprintable, bytes(range(256)).decode("cp1252", "ignore"))) | {"\n"}
"""Letters that the standard fonts have, and the page's own."""

_ESCAPE = re.compile(r"\\(u[0-9a-f]{4}|U[0-9a-f]{8})")


def has_standard_letters(text: str) -> bool:
    """Return whether a text is to be written, and can be, in the standard fonts."""
    return in_standard_fonts() and SIMPLE.issuperset(text)


def as_printed(text: str, *, lines: bool = False) -> str:
    """Return a text as it is to be printed: its letters as they are, or escaped.

    Escaped are letters that no font on the machine has, which a `BladegeomWarning` names, and
    signs that leave no mark on paper, so that two texts never print alike for want of them; the
    end of a line too, where the text is not of several `lines`.
    """
    shown = escaped(text, lines=lines)
    held = _lost(text)
    if lost := [one for one in dict.fromkeys(text) if one in held] if held else []:
        names = [one if one.isprintable() else unicodedata.name(one, _escape(one)) for one in lost]
        warnings.warn(
            f'"{text}" is printed as "{shown}": no font on this machine shows '
            f"{' '.join(names)}; install a font that does, or take it out",
            BladegeomWarning,
            stacklevel=2,
        )
    return shown


@lru_cache(maxsize=4096)
def escaped(text: str, *, lines: bool = False) -> str:
    """Return a text as `as_printed` does, without a word."""
    lost = _lost(text) | (set() if lines else {"\n"} & {*text})
    if not lost and not _ESCAPE.search(text):
        return text
    # A backslash is doubled: what was written as an escape is not to pass for one.
    doubled = text.replace("\\", "\\\\")
    return "".join(_escape(letter) if letter in lost else letter for letter in doubled)


def _escape(letter: str) -> str:
    return f"\\u{ord(letter):04x}" if letter <= "\uffff" else f"\\U{ord(letter):08x}"


def families_for(text: str) -> list[str]:
    """Return the font families that together hold every letter of a text, as it is printed."""
    if has_standard_letters(text):
        return ["Helvetica"]
    others = (_family_with(letter) for letter in frozenset(text) - SIMPLE)
    return [FAMILY, *sorted({family for family in others if family} - {FAMILY})]


def has_bold(text: str) -> bool:
    """Return whether the page's own letters have every letter of a text in bold too."""
    return all(_prints(letter, font_path(FAMILY, "bold")) for letter in frozenset(text) - SIMPLE)


def _lost(text: str) -> set[str]:
    if SIMPLE.issuperset(text):
        return set()
    return {letter for letter in frozenset(text) - SIMPLE if _family_with(letter) is None}


@cache
def _family_with(letter: str) -> str | None:
    """Return the family that prints a letter, the page's own if it can; None where none does."""
    if not letter.isprintable():
        return None
    if _prints(letter, font_path(FAMILY)):
        return FAMILY
    for entry in _fonts():
        # A font of last resort has a box for every letter, which helps no reader.
        if entry.style != "normal" or "Last Resort" in entry.name:
            continue
        # Of a family the face that fits best is taken, which may be another file.
        if letter in _held(entry.fname) and _prints(letter, font_path(entry.name)):
            return entry.name
    return None


def _fonts() -> Iterator[font_manager.FontEntry]:
    yield from font_manager.fontManager.ttflist
    yield from _installed_since()


@cache
def _installed_since() -> list[font_manager.FontEntry]:
    """Return the fonts that came after Matplotlib made its list, and put them into it."""
    fonts = font_manager.fontManager
    listed = len(fonts.ttflist)
    for path in sorted({*font_manager.findSystemFonts()} - {one.fname for one in fonts.ttflist}):
        with suppress(Exception):  # A font that it cannot use is no fault of the chart's.
            fonts.addfont(path)
    return fonts.ttflist[listed:]


def font_path(family: str, weight: str = "normal") -> str:
    return font_manager.findfont(font_manager.FontProperties(family=[family], weight=weight))


def _prints(letter: str, path: str) -> bool:
    """Return whether a font has a letter, and more for it than a blank."""
    if letter not in _held(path):
        return False
    font = font_manager.get_font(path)
    try:
        font.load_char(ord(letter))
    except RuntimeError:  # Pictures in place of outlines, which no page can hold.
        return False
    return len(font.get_path()[0]) > 0


@cache
def _held(path: str) -> frozenset[str]:
    try:
        return frozenset(map(chr, font_manager.get_font(path).get_charmap()))
    except (OSError, RuntimeError):  # A damaged font on the machine is no fault of the chart's.
        return frozenset()


def line_width_mm(words: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a line of the page's own letters prints at a size in points."""
    return _width_mm(words, bold) * size


@lru_cache(maxsize=4096)
def _width_mm(words: str, bold: bool) -> float:
    return sum(_advance_mm(one, "bold" if bold else "normal") for one in words)


@cache
def _advance_mm(letter: str, weight: str) -> float:
    """Return the width of one letter in millimetres at a size of one point."""
    path = font_path(FAMILY, weight)
    if letter not in _held(path):
        return 25.4 / 72  # From another font; no letter is much wider than it is high.
    font = font_manager.get_font(path)
    font.set_size(100, 72)
    return font.load_char(ord(letter)).linearHoriAdvance / 65536 / 100 * 25.4 / 72
