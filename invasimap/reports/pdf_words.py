"""The words of PDF pages, written straight into their streams: drawing them one by one is most of a book's time.

Each page's texts are taken off its figure before it is drawn and set on top of the finished page. The type is embedded,
and every letter keeps its Unicode: the words can be searched and copied.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import pikepdf
from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.text import Text
from pikepdf import Array, Dictionary, Name, String

from invasimap.core.units import POINTS_PER_INCH
from invasimap.reports.type_set import LINE_SPACING, face, width_in

UP_EM, DOWN_EM = 0.76, 0.208  # of the letters l and p above and below the line
HALO_PT = 2.2
UNUSED = ("GSUB", "GPOS", "GDEF", "kern", "MATH", "FFTM", "name", "gasp")  # tables of a font that no reader of PDF asks
NAMES: Final = {False: "/WordsPlain", True: "/WordsBold"}


@dataclass(frozen=True, kw_only=True)
class Word:
    """One line of type: where its baseline starts (points from the page's lower left) and how it looks."""

    text: str
    at_pt: tuple[float, float]
    size_pt: float
    bold: bool
    color: tuple[float, float, float]
    angle_deg: float
    halo: bool


def take_words(figure: Figure) -> list[Word]:
    """Every text of a figure as words, in their order; the figure draws them no more."""
    found: list[Word] = []
    for text in [*figure.texts, *(text for ax in figure.axes for text in ax.texts)]:
        if text.get_visible() and text.get_text():
            found += _words(text, POINTS_PER_INCH / figure.dpi)
            text.set_visible(False)
    return found


def write_words(document: pikepdf.Pdf, pages: Sequence[Sequence[Word]]) -> None:
    """Set the words of each page on top of it; the same bytes for the same words."""
    fonts = {}
    for bold in NAMES:
        letters = sorted({letter for words in pages for word in words if word.bold == bold for letter in word.text})
        fonts[bold] = {letter: number for number, letter in enumerate(letters, 1)}
    made = {bold: _font(document, codes, bold=bold) for bold, codes in fonts.items() if codes}
    for page, words in zip(document.pages, pages, strict=True):
        for bold, font in made.items():
            page.add_resource(font, Name.Font, Name(NAMES[bold]))
        page.contents_add(document.make_stream(b"q\n"), prepend=True)
        page.contents_add(document.make_stream("\n".join(["Q", *_operators(words, fonts), ""]).encode("ascii")))


def _words(text: Text, scale: float) -> Iterator[Word]:
    """The lines of a text, placed as it asks to be, ``LINE_SPACING`` apart.

    Raises
    ------
    ValueError
        When it asks for what is not set here: slanted or see-through type, or turned about a corner of its box.
    """
    turned = text.get_rotation() and text.get_horizontalalignment() != "center"
    if text.get_fontstyle() != "normal" or text.get_alpha() not in (None, 1.0) or turned:
        raise ValueError(f"{text.get_text()!r} asks for type that is not set")
    x, y = text.get_transform().transform(text.get_position()) * scale
    size, bold = float(text.get_fontsize()), text.get_fontweight() == "bold"
    lines = text.get_text().split("\n")
    deep = (UP_EM + DOWN_EM + LINE_SPACING * (len(lines) - 1)) * size
    top = {"top": 0.0, "center": deep / 2, "bottom": deep, "baseline": UP_EM * size}[text.get_verticalalignment()]
    share = {"left": 0.0, "center": 0.5, "right": 1.0}[text.get_horizontalalignment()]
    angle = float(text.get_rotation())
    turn = complex(math.cos(math.radians(angle)), math.sin(math.radians(angle)))
    for number, line in enumerate(lines):
        across = -share * width_in(line, size_pt=size, bold=bold) * POINTS_PER_INCH
        start = complex(across, top - (UP_EM + LINE_SPACING * number) * size) * turn
        yield Word(
            text=line, at_pt=(float(x) + start.real, float(y) + start.imag), size_pt=size, bold=bold,
            color=to_rgb(text.get_color()), angle_deg=angle, halo=bool(text.get_path_effects()),
        )  # fmt: skip


def _operators(words: Sequence[Word], fonts: dict[bool, dict[str, int]]) -> Iterator[str]:
    """White edges of the words that have one, said to hold no text of their own; then the words."""
    edged = [word for word in words if word.halo and word.text]
    if edged:
        yield f"/Span <</ActualText <FEFF>>> BDC 1 1 1 RG {HALO_PT:g} w 1 j 1 J [] 0 d 1 Tr"
        yield from (_shown(word, fonts[word.bold]) for word in edged)
        yield "0 Tr EMC"
    for word in words:
        if word.text:
            yield " ".join(f"{value:.3f}" for value in word.color) + " rg"
            yield _shown(word, fonts[word.bold])


def _shown(word: Word, codes: dict[str, int]) -> str:
    angle = math.radians(word.angle_deg)
    cos, sin = math.cos(angle), math.sin(angle)
    letters = "".join(f"{codes[letter]:04X}" for letter in word.text)
    x, y = word.at_pt
    return (
        f"BT {NAMES[word.bold]} {word.size_pt:g} Tf {cos:.5f} {sin:.5f} {-sin:.5f} {cos:.5f} {x:.3f} {y:.3f} Tm "
        f"<{letters}> Tj ET"
    )


def _font(document: pikepdf.Pdf, codes: dict[str, int], *, bold: bool) -> pikepdf.Object:
    """The letters used, as a font whose codes are ours: one for each letter, whether or not it has a picture."""
    drawn = face(bold=bold)
    shapes = {letter: drawn.get_char_index(ord(letter)) for letter in codes}
    name = Name(f"/{_tag(codes)}+{drawn.postscript_name}")
    unit = 1000 / drawn.units_per_EM
    box = Array([round(value * unit) for value in drawn.bbox])
    described = Dictionary(
        Type=Name.FontDescriptor, FontName=name, Flags=32, FontBBox=box, ItalicAngle=0, StemV=120 if bold else 80,
        Ascent=round(drawn.ascender * unit), Descent=round(drawn.descender * unit), CapHeight=729,
        FontFile2=document.make_stream(_subset(str(drawn.fname), shapes.values())),
    )  # fmt: skip
    widths = [width_in(letter, size_pt=1000.0, bold=bold) * POINTS_PER_INCH for letter in codes]
    places = b"\0\0" + b"".join(shapes[letter].to_bytes(2, "big") for letter in codes)
    inner = Dictionary(
        Type=Name.Font, Subtype=Name.CIDFontType2, BaseFont=name, FontDescriptor=document.make_indirect(described),
        CIDSystemInfo=Dictionary(Registry=String("Adobe"), Ordering=String("Identity"), Supplement=0),
        W=Array([1, Array([round(width) for width in widths])]), CIDToGIDMap=document.make_stream(places),
    )  # fmt: skip
    return document.make_indirect(
        Dictionary(
            Type=Name.Font, Subtype=Name.Type0, BaseFont=name, Encoding=Name("/Identity-H"),
            DescendantFonts=Array([document.make_indirect(inner)]), ToUnicode=document.make_stream(_unicode(codes)),
        )
    )  # fmt: skip


def _subset(file: str, shapes: Iterable[int]) -> bytes:
    """A font file with these pictures alone, under their numbers."""
    options: Any = Options(retain_gids=True, hinting=False, notdef_outline=True, recalc_timestamp=False)
    options.drop_tables = [*options.drop_tables, *UNUSED]
    font, stream = TTFont(file, recalcTimestamp=False, lazy=True), io.BytesIO()
    subsetter = Subsetter(options)
    subsetter.populate(gids=sorted({0, *shapes}))
    subsetter.subset(font)
    font.save(stream)
    return stream.getvalue()


def _unicode(codes: dict[str, int]) -> bytes:
    """The map from codes to Unicode (ISO 32000, 9.10.3)."""
    rows = [
        f"<{code:04X}> <{letter.encode('utf-16-be', 'surrogatepass').hex().upper()}>" for letter, code in codes.items()
    ]
    parts = [rows[at : at + 100] for at in range(0, len(rows), 100)]
    said = "\n".join(f"{len(part)} beginbfchar\n" + "\n".join(part) + "\nendbfchar" for part in parts)
    return (
        "/CIDInit /ProcSet findresource begin 12 dict begin begincmap /CIDSystemInfo << /Registry (Adobe) /Ordering "
        "(UCS) /Supplement 0 >> def /CMapName /Adobe-Identity-UCS def /CMapType 2 def\n1 begincodespacerange\n"
        f"<0000> <FFFF>\nendcodespacerange\n{said}\nendcmap CMapName currentdict /CMap defineresource pop end end\n"
    ).encode("ascii")


def _tag(codes: dict[str, int]) -> str:
    """Six capitals that tell this set of letters from another."""
    number = sum(ord(letter) * (at + 1) for at, letter in enumerate(codes)) % 26**6
    return "".join(chr(ord("A") + number // 26**place % 26) for place in range(6))
