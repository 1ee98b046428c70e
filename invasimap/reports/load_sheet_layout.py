"""Pages of words, tables and lines to fill in, laid out first: no letter is lost, no block parted."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import pikepdf
from matplotlib.colors import to_rgb

from invasimap.core.units import POINTS_PER_INCH as POINTS
from invasimap.reports.pdf_words import Word, write_words
from invasimap.reports.sheet import MARGIN_IN, PAPER_IN
from invasimap.reports.style import INK, QUIET, TYPE_PT
from invasimap.reports.type_set import lines_of, shortened, width_in

STEP: Final = 1.25  # from line to line, of the size of the type
HEAD_IN, FOOT_GAP_IN, GAP_IN = 0.62, 0.1, 0.2
CELL_PAD_IN, ROW_PAD_IN = 0.06, 0.04
RULE_DOWN_IN: Final = 0.045  # of a line to write on, under its words


@dataclass(frozen=True, kw_only=True)
class Words:
    """One line of type: from the left (or, ``right``, to the right), its baseline so far under a piece's top."""

    text: str
    at_in: float
    down_in: float
    size_pt: float = TYPE_PT["body"]
    bold: bool = False
    right: bool = False


@dataclass(frozen=True, kw_only=True)
class Rule:
    """A line across, so far under a piece's top; ``quiet`` for those that are written on."""

    start_in: float
    end_in: float
    down_in: float
    line_pt: float = 0.5
    quiet: bool = False


@dataclass(frozen=True, kw_only=True)
class Tick:
    """A square to tick, its lower edge so far under a piece's top."""

    at_in: float
    down_in: float
    side_in: float = 0.11


@dataclass(frozen=True, kw_only=True)
class Piece:
    """What is never parted: how high it is, and what is in it."""

    high_in: float
    words: tuple[Words, ...] = ()
    rules: tuple[Rule, ...] = ()
    ticks: tuple[Tick, ...] = ()


Block = tuple[Piece, ...]


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of a table: its heading, its share of the width, and whether it holds figures."""

    head: str
    share: float
    figures: bool = False


@dataclass(frozen=True, kw_only=True)
class Page:
    """A page's size in inches and what stands at its foot."""

    width_in: float
    height_in: float
    foot: tuple[str, ...]

    @property
    def room_in(self) -> float:
        """Width of what is printed."""
        return self.width_in - 2 * MARGIN_IN

    @property
    def foot_in(self) -> float:
        """Height of the foot."""
        return step_in(TYPE_PT["small"]) * len(self.foot) + FOOT_GAP_IN

    @property
    def deep_in(self) -> float:
        """Height left between head and foot."""
        return self.height_in - 2 * MARGIN_IN - HEAD_IN - self.foot_in


def page_of(paper: str, cautions: Iterable[str]) -> Page:
    """An upright page of a paper with the cautions at its foot."""
    height, width = PAPER_IN[paper]
    room = width - 2 * MARGIN_IN
    foot = [line for text in cautions for line in lines_of(text, room_in=room, size_pt=TYPE_PT["small"])]
    return Page(width_in=width, height_in=height, foot=tuple(foot))


def step_in(size_pt: float) -> float:
    """From line to line of a size of type.

    Examples
    --------
    >>> step_in(7.2)
    0.125
    """
    return STEP * size_pt / 72


def paragraph(
    text: str, room_in: float, *, size_pt: float = TYPE_PT["body"], bold: bool = False, hang_in: float = 0.0
) -> Piece:
    """A text in as many lines as it takes, all but the first set in by ``hang_in``."""
    found = lines_of(text, room_in=room_in - hang_in, first_in=room_in, size_pt=size_pt, bold=bold)
    step = step_in(size_pt)
    words = [
        Words(text=line, at_in=hang_in if at else 0.0, down_in=step * (at + 0.8), size_pt=size_pt, bold=bold)
        for at, line in enumerate(found)
    ]
    return Piece(high_in=step * len(found) + 0.02, words=tuple(words))


def heading(left: str, right: str, room_in: float) -> Piece:
    """A heavy rule and a heading under it, with what stands at its right; what has no room beside goes under it."""
    size, step = TYPE_PT["heading"], step_in(TYPE_PT["heading"])
    beside = width_in(right, size_pt=size, bold=True) + GAP_IN if right else 0.0
    ends = lines_of(right, room_in=room_in, size_pt=size, bold=True) if beside > room_in / 2 else [right]
    room = room_in if beside > room_in / 2 else room_in - beside
    lines = lines_of(left, room_in=room, size_pt=size, bold=True)
    words = [
        Words(text=line, at_in=0.0, down_in=0.04 + step * (at + 0.85), size_pt=size, bold=True)
        for at, line in enumerate(lines)
    ]
    under = len(lines) if beside > room_in / 2 else 0
    words += [
        Words(text=line, at_in=room_in, down_in=0.04 + step * (under + at + 0.85), size_pt=size, bold=True, right=True)
        for at, line in enumerate(ends)
        if line
    ]
    deep = max(len(lines), under + len(ends))
    rule = Rule(start_in=0.0, end_in=room_in, down_in=0.0, line_pt=1.6)
    return Piece(high_in=0.07 + step * deep, words=tuple(words), rules=(rule,))


def table(
    columns: Sequence[Column], rows: Sequence[Sequence[str]], room_in: float, *, last_bold: bool = False,
    size_pt: float = TYPE_PT["body"],
) -> Block:  # fmt: skip
    """A table as pieces, the heading first, then a row each; long cells go on over more lines."""
    last = len(rows) - 1
    made = [_row(columns, [column.head for column in columns], room_in, size_pt=TYPE_PT["small"], bold=True)]
    made += [_row(columns, row, room_in, size_pt=size_pt, bold=last_bold and at == last) for at, row in enumerate(rows)]
    return tuple(made)


def flowed_table(head: Sequence[Piece], made: Block) -> list[Block]:
    """A table as blocks that may be parted between rows: what leads it stays with its heading and first row."""
    lead = (*head, *made[:2])
    return [lead, *((row,) for row in made[2:])]


def _row(columns: Sequence[Column], cells: Sequence[str], room_in: float, *, size_pt: float, bold: bool) -> Piece:
    whole, step = sum(column.share for column in columns), step_in(size_pt)
    words: list[Words] = []
    left, deep = 0.0, 1
    for column, cell in zip(columns, cells, strict=True):
        wide = room_in * column.share / whole
        found = lines_of(cell, room_in=wide - 2 * CELL_PAD_IN, size_pt=size_pt, bold=bold)
        at = left + (wide - CELL_PAD_IN if column.figures else (CELL_PAD_IN if left else 0.0))
        words += [
            Words(
                text=line, at_in=at, down_in=ROW_PAD_IN + step * (number + 0.8), size_pt=size_pt, bold=bold,
                right=column.figures,
            )
            for number, line in enumerate(found)
        ]  # fmt: skip
        left, deep = left + wide, max(deep, len(found))
    high = step * deep + 2 * ROW_PAD_IN
    return Piece(high_in=high, words=tuple(words), rules=(Rule(start_in=0.0, end_in=room_in, down_in=high),))


def fill_in(fields: Sequence[tuple[str, float]], room_in: float, *, high_in: float = 0.3) -> Piece:
    """Words with a line behind each to be written on, sharing the width as given."""
    whole, size = sum(share for _, share in fields), TYPE_PT["small"]
    words, rules, left = [], [], 0.0
    down = high_in - RULE_DOWN_IN - 0.02
    for text, share in fields:
        wide = room_in * share / whole
        words.append(Words(text=text, at_in=left, down_in=down, size_pt=size))
        start = left + width_in(text, size_pt=size) + 0.05
        rules.append(Rule(start_in=start, end_in=left + wide - 0.1, down_in=down + RULE_DOWN_IN, quiet=True))
        left += wide
    return Piece(high_in=high_in, words=tuple(words), rules=tuple(rules))


def space(high_in: float = GAP_IN) -> Piece:
    """Nothing, so high."""
    return Piece(high_in=high_in)


def flowed(blocks: Iterable[Block], deep_in: float) -> list[list[Piece]]:
    """Pages of pieces: a block goes whole on the page that has room; only one higher than a page is parted.

    Examples
    --------
    >>> [len(page) for page in flowed([(space(3.0),), (space(3.0), space(3.0)), (space(2.0),)], 8.0)]
    [1, 3]
    """
    pages: list[list[Piece]] = [[]]
    left = deep_in
    for block in blocks:
        high = sum(piece.high_in for piece in block)
        if high > left and pages[-1]:
            pages.append([])
            left = deep_in
        for piece in block:
            if piece.high_in > left and pages[-1]:
                pages.append([])
                left = deep_in
            pages[-1].append(piece)
            left -= piece.high_in
    return pages


def pdf_of(page: Page, pages: Sequence[Sequence[Piece]], *, title: str, subtitle: str, made: str) -> bytes:
    """Pages with their heads, their pieces from the top down and their feet; the same bytes for the same pieces."""
    words: list[list[Word]] = []
    with pikepdf.new() as document:
        for number, pieces in enumerate(pages, 1):
            beside = (f"Page {number} of {len(pages)}", made)
            placed = list(_placed(page, pieces))
            texts = [*_head(page, title=title, subtitle=subtitle, beside=beside), *_foot(page)]
            words.append([*texts, *(_word(one, top) for piece, top in placed for one in piece.words)])
            added = document.add_blank_page(page_size=(page.width_in * POINTS, page.height_in * POINTS))
            lines = [line for piece, top in placed for line in _strokes(piece, top)]
            added.contents_add(document.make_stream("\n".join([*lines, ""]).encode("ascii")))
        write_words(document, words)
        document.docinfo["/Title"] = pikepdf.String(f"{subtitle}: {title}")
        stream = io.BytesIO()
        document.save(stream, min_version="1.7", deterministic_id=True, linearize=False)
    return stream.getvalue()


def _placed(page: Page, pieces: Sequence[Piece]) -> Iterator[tuple[Piece, float]]:
    """Each piece with its top, in inches from the lower edge of the paper."""
    top = page.height_in - MARGIN_IN - HEAD_IN
    for piece in pieces:
        yield piece, top
        top -= piece.high_in


def _head(page: Page, *, title: str, subtitle: str, beside: Sequence[str]) -> Iterator[Word]:
    top = page.height_in - MARGIN_IN
    room = page.room_in - max(width_in(line, size_pt=TYPE_PT["body"]) for line in beside) - GAP_IN
    name = shortened(subtitle, room_in=room, size_pt=TYPE_PT["heading"])
    yield _word(Words(text=title, at_in=0.0, down_in=0.17, size_pt=TYPE_PT["title"], bold=True), top)
    yield _word(Words(text=name, at_in=0.0, down_in=0.38, size_pt=TYPE_PT["heading"]), top)
    for at, line in enumerate(beside):
        yield _word(Words(text=line, at_in=page.room_in, down_in=0.13 + 0.17 * at, right=True), top)


def _foot(page: Page) -> Iterator[Word]:
    for at, line in enumerate(reversed(page.foot)):
        up = MARGIN_IN + step_in(TYPE_PT["small"]) * at
        yield _word(Words(text=line, at_in=0.0, down_in=0.0, size_pt=TYPE_PT["small"]), up)


def _word(one: Words, top_in: float) -> Word:
    left = one.at_in - (width_in(one.text, size_pt=one.size_pt, bold=one.bold) if one.right else 0.0)
    at_pt = (MARGIN_IN + left) * POINTS, (top_in - one.down_in) * POINTS
    return Word(
        text=one.text, at_pt=at_pt, size_pt=one.size_pt, bold=one.bold, color=to_rgb(INK), angle_deg=0.0, halo=False
    )  # fmt: skip


def _strokes(piece: Piece, top_in: float) -> Iterator[str]:
    """Rules and squares as operators of a PDF page."""
    for rule in piece.rules:
        red, green, blue = to_rgb(QUIET if rule.quiet else INK)
        start, end = ((MARGIN_IN + at) * POINTS for at in (rule.start_in, rule.end_in))
        high = (top_in - rule.down_in) * POINTS
        look = f"{red:.3f} {green:.3f} {blue:.3f} RG {rule.line_pt:g} w"
        yield f"{look} {start:.2f} {high:.2f} m {end:.2f} {high:.2f} l S"
    for tick in piece.ticks:
        left, low, side = (MARGIN_IN + tick.at_in) * POINTS, (top_in - tick.down_in) * POINTS, tick.side_in * POINTS
        yield f"0 0 0 RG 0.7 w {left:.2f} {low:.2f} {side:.2f} {side:.2f} re S"
