"""Pages of PDF as Matplotlib writes them, but for the letters: a line at a time, in few fonts.

Matplotlib lays out every letter of a line anew, and makes the fonts of every file anew. Here the
page's own letters are put into a file as one font that is made once for all files, and a line of
them is written as it stands. Lines with other letters are left to Matplotlib.
"""

# mypy: disable-error-code="no-untyped-call"

from __future__ import annotations

import io
import math
import zlib
from collections.abc import Iterable, Mapping
from functools import cache
from typing import IO, Any

from fontTools import subset, ttLib  # type: ignore[import-untyped]
from matplotlib import rcParams
from matplotlib.backend_bases import GraphicsContextBase
from matplotlib.backends.backend_mixed import MixedModeRenderer
from matplotlib.backends.backend_pdf import (
    FigureCanvasPdf,
    Name,
    Op,
    PdfFile,
    RendererPdf,
    Verbatim,
)
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, get_font
from matplotlib.ft2font import Kerning, LoadFlags
from matplotlib.text import Text

from bladegeom.draw._fonts import FAMILY, SIMPLE, font_path

_FIRST, _LAST = 32, 255
"""Codes of letters."""

_STANDARD = {False: "Helvetica", True: "Helvetica-Bold"}
_BOLD = {"normal": False, "bold": True, 400: False, 700: True}
_TABLES = {"head", "hhea", "maxp", "hmtx", "cmap", "loca", "glyf"}
"""What a font in a PDF needs."""


def write_pdf(figures: Iterable[Figure], file: IO[bytes], about: Mapping[str, Any]) -> None:
    """Write figures as the pages of a PDF."""
    pdf = _File(file, about)
    for figure in figures:
        canvas, dpi = figure.canvas, figure.dpi
        try:
            FigureCanvasPdf(figure)
            figure.dpi = 72
            wide, high = figure.get_size_inches()
            pdf.newPage(wide, high)
            page = MixedModeRenderer(figure, wide, high, dpi, _Renderer(pdf, dpi, high, wide))
            figure.draw(page)  # type: ignore[arg-type]
            page.finalize()
            pdf.endStream()
        finally:
            figure.dpi = dpi
            figure.set_canvas(canvas)
    pdf.finalize()
    pdf.close()


class _File(PdfFile):
    """A file that holds, beside Matplotlib's fonts, those of `_Face` that it uses."""

    def __init__(self, file: IO[bytes], about: Mapping[str, Any]) -> None:
        super().__init__(file, metadata=about)
        self._faces: dict[tuple[bool, bool], Name] = {}

    def face(self, standard: bool, bold: bool) -> Name:
        """Return by which name the page calls a font."""
        name = f"{'S' if standard else 'O'}{int(bold)}"
        return self._faces.setdefault((standard, bold), Name(name))

    def writeObject(self, object: Any, contents: Any) -> None:  # noqa: A002, N802
        """Write an object; among the fonts the own ones too."""
        if object is self.fontObject:
            contents |= {name: self._font(*face) for face, name in sorted(self._faces.items())}
        super().writeObject(object, contents)

    def _font(self, standard: bool, bold: bool) -> Any:
        font = self.reserveObject("font")
        said = {"Type": Name("Font"), "Encoding": Name("WinAnsiEncoding")}
        if standard:
            said |= {"Subtype": Name("Type1"), "BaseFont": Name(_STANDARD[bold])}
        else:
            face = _face(bold)
            letters, about = self.reserveObject("letters"), self.reserveObject("about the font")
            self.writeObject(letters, Verbatim(face.stream))
            self.writeObject(about, face.about | {"FontFile2": letters})
            said |= face.said | {"FontDescriptor": about}
        self.writeObject(font, said)
        return font


class _Renderer(RendererPdf):
    """Draws a page, and writes words in the fonts of the file."""

    file: _File

    def draw_text(
        self,
        gc: GraphicsContextBase,
        x: float,
        y: float,
        s: str,
        prop: FontProperties,
        angle: float,
        ismath: Any = False,
        mtext: Text | None = None,
    ) -> None:
        """Write a line, its beginning on the baseline at a place."""
        bold = _bold(prop)
        special = mtext is not None and (mtext.get_fontfeatures() or mtext.get_language())
        if bold is None or ismath or special or gc.get_url() or not SIMPLE.issuperset(s):
            super().draw_text(gc, x, y, s, prop, angle, ismath=ismath, mtext=mtext)
            return
        self.check_gc(gc, gc.get_rgb())
        standard = rcParams["pdf.use14corefonts"]
        size, name = prop.get_size_in_points(), self.file.face(standard, bold)
        place: tuple[Any, ...] = (x, y, Op.textpos)
        if angle:
            turn = math.radians(angle)
            along, across = math.cos(turn), math.sin(turn)
            place = (along, across, -across, along, x, y, Op.textmatrix)
        shown: list[Any] = [s.encode("cp1252")] if standard else _face(bold).kerned(s)
        select = (Op.begin_text, name, size, Op.selectfont)
        self.file.output(*select, *place, shown, Op.showkern, Op.end_text)

    def width_of(self, words: str, letters: FontProperties) -> float:
        """Return how wide words are, in points."""
        bold = _bold(letters)
        if bold is None:
            return float(self.get_text_width_height_descent(words, letters, False)[0])
        standard = rcParams["pdf.use14corefonts"]
        wide = _standard_width(words, bold) if standard else _face(bold).width(words)
        return wide * letters.get_size_in_points() / 1000


def _bold(letters: FontProperties) -> bool | None:
    """Return whether words are bold; None where they are in other letters than the page's own."""
    if letters.get_family() not in (["Helvetica"], [FAMILY]) or letters.get_style() != "normal":
        return None
    return _BOLD.get(letters.get_weight())


class _Face:
    """The page's own letters, plain or bold, as a font of a PDF; lengths in 1/1000 of the size."""

    def __init__(self, bold: bool) -> None:
        path = font_path(FAMILY, "bold" if bold else "normal")
        self._font = font = get_font(path)
        self._unit = 1000 / font.units_per_EM
        codes = {one.encode("cp1252")[0]: one for one in SIMPLE if one.isprintable()}
        self._advance = {one: self._advance_of(one) for one in codes.values()}
        widths = [
            round(self._advance[codes[code]]) if code in codes else 0
            for code in range(_FIRST, _LAST + 1)
        ]
        name = Name(f"BLADEG+{font.postscript_name}")
        held = _subset(path)
        packed = zlib.compress(held)
        head = f"<< /Length {len(packed)} /Length1 {len(held)} /Filter /FlateDecode >>"
        self.stream = b"%s\nstream\n%s\nendstream" % (head.encode(), packed)
        self.about: dict[str, Any] = {
            "Type": Name("FontDescriptor"),
            "FontName": name,
            "Flags": 1 << 5,  # Letters, no symbols.
            "FontBBox": [round(one * self._unit) for one in font.bbox],
            "Ascent": round(font.ascender * self._unit),
            "Descent": round(font.descender * self._unit),
            "CapHeight": 729,
            "ItalicAngle": 0,
            "StemV": 165 if bold else 90,
        }
        self.said: dict[str, Any] = {
            "Subtype": Name("TrueType"),
            "BaseFont": name,
            "FirstChar": _FIRST,
            "LastChar": _LAST,
            "Widths": widths,
        }

    def kerned(self, words: str) -> list[Any]:
        """Return a line as it is shown: its parts, and how much nearer each stands to the last."""
        parts: list[Any] = []
        start = 0
        for at in range(1, len(words)):
            nearer = self._nearer(words[at - 1 : at + 1])
            if nearer:
                parts += [words[start:at].encode("cp1252"), nearer]
                start = at
        return [*parts, words[start:].encode("cp1252")]

    def width(self, words: str) -> float:
        """Return how wide a line is."""
        nearer = sum(self._nearer(words[at : at + 2]) for at in range(len(words) - 1))
        return sum(self._advance[one] for one in words) - nearer

    def _advance_of(self, letter: str) -> float:
        flags = LoadFlags.NO_SCALE | LoadFlags.NO_HINTING
        return float(self._font.load_char(ord(letter), flags).horiAdvance) * self._unit

    @cache  # noqa: B019  Two faces live as long as the process.
    def _nearer(self, pair: str) -> float:
        left, right = (self._font.get_char_index(ord(one)) for one in pair)
        return -self._font.get_kerning(left, right, Kerning.UNSCALED) * self._unit


def _standard_width(words: str, bold: bool) -> float:
    return sum(_standard_advance(one, bold) for one in words)


@cache
def _standard_advance(letter: str, bold: bool) -> float:
    letters = FontProperties(family=["Helvetica"], weight="bold" if bold else "normal", size=1000)
    measure = RendererPdf(None, 72, 1, 1)
    return float(measure.get_text_width_height_descent(letter, letters, False)[0])


@cache
def _face(bold: bool) -> _Face:
    return _Face(bold)


def _subset(path: str) -> bytes:
    """Return a font of a file with no more than the page's own letters."""
    how = subset.Options(hinting=False, layout_features=[], glyph_names=False)
    with ttLib.TTFont(path, lazy=True, recalcTimestamp=False) as font:
        # Names of its glyphs are of no use, and take half of the time to read.
        font.setGlyphOrder([f"g{at}" for at in range(font["maxp"].numGlyphs)])
        for table in {*font.keys()} - _TABLES - {"GlyphOrder"}:
            del font[table]
        kept = subset.Subsetter(how)
        kept.populate(text="".join(SIMPLE))
        kept.subset(font)
        made = io.BytesIO()
        font.save(made)
    return made.getvalue()
