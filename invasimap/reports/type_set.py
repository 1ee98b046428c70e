"""Words set on paper: how wide they are, and the lines that they fill; no letter is ever cut off."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font, LoadFlags

from invasimap.core.units import POINTS_PER_INCH
from invasimap.reports.style import FONT

EM_PT: Final = 1000.0  # letters are measured this large, and every size is a share of it
LINE_SPACING: Final = 1.25  # from one line to the next, as a share of the type's size


def width_in(text: str, *, size_pt: float, bold: bool = False) -> float:
    """Width of one line in inches: the sum of its letters' advances in the sheets' font.

    Examples
    --------
    >>> width_in("0" * 10, size_pt=8.0) == 10 * width_in("0", size_pt=8.0)
    True
    >>> width_in("\N{CJK UNIFIED IDEOGRAPH-68EE}", size_pt=8.0) > 0
    True
    """
    return sum(_advance(letter, bold=bold) for letter in text) * size_pt / POINTS_PER_INCH


def lines_of(
    text: str, *, room_in: float, size_pt: float, bold: bool = False, first_in: float | None = None
) -> list[str]:
    """A text in lines no wider than ``room_in``, the first no wider than ``first_in``.

    Lines of the text itself stay apart; a word longer than a line is parted between letters. Every letter is in one of
    the lines; only white space between words is not kept as it was.
    """
    found: list[str] = []
    for typed in text.splitlines():
        now = ""
        for word in typed.split():
            room = room_in if found or first_in is None else first_in
            joined = f"{now} {word}" if now else word
            if width_in(joined, size_pt=size_pt, bold=bold) <= room:
                now = joined
                continue
            if now:
                found.append(now)
            elif not found and first_in is not None:
                found.append("")  # no room for it beside what stands at the left
            *full, now = _parted(word, room_in, size_pt=size_pt, bold=bold)
            found += full
        if now:
            found.append(now)
    return found


def shortened(text: str, *, room_in: float, size_pt: float, bold: bool = False) -> str:
    """A name in at most so much room, an ellipsis for its end; for what stands in full elsewhere."""
    if width_in(text, size_pt=size_pt, bold=bold) <= room_in:
        return text
    kept = len(text)
    while kept and width_in(f"{text[:kept].rstrip()}…", size_pt=size_pt, bold=bold) > room_in:
        kept -= 1
    return f"{text[:kept].rstrip()}…"


def _parted(word: str, room_in: float, *, size_pt: float, bold: bool) -> list[str]:
    """A word as pieces that fit; one piece where it fits."""
    pieces = [""]
    for letter in word:
        if pieces[-1] and width_in(pieces[-1] + letter, size_pt=size_pt, bold=bold) > room_in:
            pieces.append("")
        pieces[-1] += letter
    return pieces


@lru_cache(maxsize=4096)
def _advance(letter: str, *, bold: bool) -> float:
    """Advance of a letter as a share of the type's size; of one that the font lacks, of the box in its place."""
    font = face(bold=bold)
    glyph = font.load_glyph(font.get_char_index(ord(letter)), flags=LoadFlags.NO_HINTING)
    return float(glyph.linearHoriAdvance) / 65536 / EM_PT


@lru_cache(maxsize=2)
def face(*, bold: bool) -> FT2Font:
    """The sheets' font, set to the size at which letters are measured."""
    found = FT2Font(findfont(FontProperties(family=FONT, weight="bold" if bold else "normal")))
    found.set_size(EM_PT, POINTS_PER_INCH)
    return found
