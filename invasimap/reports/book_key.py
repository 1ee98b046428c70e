"""The sheets after the index: the full legend, distances, limits, entries and what to do in an emergency."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from invasimap.core.book_settings import EMERGENCY_WORDS
from invasimap.core.crs import shown_place, to_lonlat
from invasimap.prescription.plan import Plan
from invasimap.reports import map_layers, style
from invasimap.reports.book_index import LIST_COLUMNS, MOST_ROWS, book_bounds, draw_frames, sheet_list
from invasimap.reports.book_layout import Book
from invasimap.reports.book_legend import HOSE_ROWS, pair_words
from invasimap.reports.book_part import Box
from invasimap.reports.book_sheet import beside_words
from invasimap.reports.drawing import axes_inches, inches
from invasimap.reports.emergency import EmergencyBlock, draw_emergency, emergency_block, emergency_rows
from invasimap.reports.furniture import check_bar, scale_words
from invasimap.reports.grid_marks import frame_box
from invasimap.reports.labels import LabelBook
from invasimap.reports.legend import Row, draw_legend, legend_rows
from invasimap.reports.means_tables import means_report
from invasimap.reports.sheet import GAP_IN, LINE_IN, MARGIN_IN, Sheet, bare, blank_sheet, entry_words, fit, head_words
from invasimap.reports.style import FONT, INK, TYPE_PT
from invasimap.reports.type_set import lines_of
from invasimap.reports.type_set import width_in as type_width_in
from invasimap.reports.usng import usng
from invasimap.reports.wording import headed

MAP_IN, UNDER_MAP_IN, MOST_BLOCK_IN = 3.3, 0.62, 4.0
LONGEST_ROW, IN_FULL = 80, "In an emergency"
COLUMNS, GUTTER_IN = 2, 0.22
INDENT = "   "
LEGEND_ROW_IN = 0.165
MOST_ENTRIES, MOST_NOTES, MOST_LEFT_OUT = 12, 8, 200
LEAST_LINES = 8  # of a block that is parted
KEPT_WHOLE = 14  # a block of so many lines is set whole


@dataclass(frozen=True, kw_only=True)
class Block:
    """Lines under a heading."""

    heading: str
    lines: tuple[str, ...]

    @property
    def height_in(self) -> float:
        """Height of the block with the space after it."""
        return LINE_IN * (len(self.lines) + 1) + 0.16


def key_paper(book: Book) -> Sheet:
    """The book's paper across, with a small map and much room for words."""
    long, short = sorted((book.paper.width_in, book.paper.height_in), reverse=True)
    panel = long - 2 * MARGIN_IN - GAP_IN - MAP_IN
    return Sheet(
        width_in=long, height_in=short, panel_in=panel, foot_given_in=key_emergency(book.plan).height_in + UNDER_MAP_IN
    )


def key_emergency(plan: Plan) -> EmergencyBlock:
    """The block with every row; what is long stands among the words of these sheets, and the row says so."""
    said = emergency_rows(plan.settings.emergency, EMERGENCY_WORDS)
    short = {words: text if len(text) <= LONGEST_ROW else f"see “{IN_FULL}”" for words, text in said.items()}
    return emergency_block(short, entry=entry_words(plan), wide_in=MAP_IN - 0.01, most_in=MOST_BLOCK_IN)


def long_rows(plan: Plan) -> list[str]:
    """The rows of an emergency that are too long for the block under the small map."""
    said = emergency_rows(plan.settings.emergency, EMERGENCY_WORDS)
    return [f"{words}: {line}" for words, text in said.items() if len(text) > LONGEST_ROW for line in text.splitlines()]


def key_pages(book: Book) -> list[list[list[Block]]]:
    """The words of each key sheet, by column, so that none is cut off."""
    paper = key_paper(book)
    high = paper.panel_box_in[3] - paper.panel_box_in[1]
    width = (paper.panel_in - GUTTER_IN * (COLUMNS - 1)) / COLUMNS
    *full, last = legend_parts(key_rows(book.plan), high)
    found = list(blocks(book, width))
    return flowed(found, first_in=high - _legend_in(last), column_in=high, before=len(full))


def legend_parts(rows: list[Row], high_in: float) -> list[list[Row]]:
    """The legend's rows in as many columns as they need."""
    most = int(high_in / LEGEND_ROW_IN) - 6
    return [rows[at : at + most] for at in range(0, len(rows), most)]


def _legend_in(rows: list[Row]) -> float:
    """Height of a part of the legend, with the space after it."""
    return LEGEND_ROW_IN * (len(rows) + 2)


def flowed(found: list[Block], *, first_in: float, column_in: float, before: int = 0) -> list[list[list[Block]]]:
    """Blocks set one after another into columns, after ``before`` full ones; one taller than a column is parted."""
    columns: list[list[Block]] = [[] for _ in range(before + 1)]
    room = first_in
    waiting = list(found)
    while waiting:
        block = waiting.pop(0)
        if block.height_in <= room:
            columns[-1].append(block)
            room -= block.height_in
        elif room < LEAST_LINES * LINE_IN or len(block.lines) <= KEPT_WHOLE:
            columns.append([])
            room, waiting = column_in, [block, *waiting]
        else:
            fit_lines = int((room - 0.16) / LINE_IN) - 1
            columns[-1].append(Block(heading=block.heading, lines=block.lines[:fit_lines]))
            rest = Block(heading=f"{block.heading} (more)", lines=block.lines[fit_lines:])
            columns.append([])
            room, waiting = column_in, [rest, *waiting]
    return [columns[at : at + COLUMNS] for at in range(0, len(columns), COLUMNS)]


def blocks(book: Book, width_in: float) -> Iterator[Block]:
    """Everything the key sheets say, the distances first."""
    plan = book.plan

    def block(heading: str, texts: list[str]) -> Block:
        return Block(heading=heading, lines=tuple(line for text in texts for line in _hung(text, width_in)))

    if long := long_rows(plan):
        yield block(IN_FULL, long)
    if book.left_out:
        yield block("Without a sheet", left_out_lines(book))
    if distances := distance_lines(plan):
        yield block("Distances from each feature's edge", distances)
    yield block("Entries, for whoever is called", entry_lines(plan))
    if len(sheet_list(book)) > MOST_ROWS * LIST_COLUMNS:
        listed = [f"{sheets}: stand {stand}, {area}" for sheets, stand, area in sheet_list(book)]
        yield block("Sheets, stands and infested ground", listed)
    means = means_report(plan.settings.access, plan.shown)
    yield block("Limits typed for machines and people", [f"{headed(name)}: {text}." for name, text in means.rows])
    notes = plan.notes
    if notes:
        more = [f"and {len(notes) - MOST_NOTES} more in report.html"] if len(notes) > MOST_NOTES else []
        yield block("Noted while planning", [*notes[:MOST_NOTES], *more])
    yield block("Reading these sheets", READING)
    yield block("Cautions", list(plan.cautions))


def _hung(text: str, width_in: float) -> list[str]:
    """A text in lines of the small type, all but the first set in a little."""
    size = TYPE_PT["small"]
    lines = lines_of(text, room_in=width_in - type_width_in(INDENT, size_pt=size), size_pt=size, first_in=width_in)
    return [*lines[:1], *(f"{INDENT}{line}" for line in lines[1:])]


READING = [
    "Print at 100 %: then the check bar is as long as it says, and a scale's rule fits.",
    "A grid reading names a square: cut the figures that are too many, never round them.",
    "Compass: turn by the magnetic angle of the sheet; iron and local rock turn a needle more.",
    "Fine dashes lead from a parking place to the zone that it serves. The hose is laid where it can go; its length "
    "and lift stand at the place.",
    "A line half a millimetre wide hides 2.4 m at 1:4,800. On the ground, measure protected distances.",
]


def left_out_lines(book: Book) -> list[str]:
    """What has no sheet, and how to have more sheets."""
    most = book.plan.settings.mapbook.most_sheets
    grown = [name for name, infested in book.left_out if infested]
    named = ", ".join(grown[:MOST_LEFT_OUT]) + (f" and {more} more" if (more := len(grown) - MOST_LEFT_OUT) > 0 else "")
    return [
        f"This book has at most {most} sheets of stands, those with most to do. For more: most_sheets under [mapbook].",
        f"With infested ground and no sheet: {named or 'none'}.",
        f"Without a patch and without a sheet: {len(book.left_out) - len(grown)}.",
    ]


def distance_lines(plan: Plan) -> list[str]:
    """Each kind with its distances as they are typed, their additions and their rule."""
    lines = []
    for rule in plan.settings.protect:
        hand = float("nan") if rule.hand_only_m is None else rule.hand_only_m
        said = pair_words([rule.no_spray_m, hand], plan.shown, grows=False)
        text = f"{rule.kind}: no spray / hand only {said}"
        if rule.per_slope_m > 0:
            text += ", wider on slopes"
        if rule.position_error_m > 0:
            text += f", and {pair_words([rule.position_error_m], plan.shown, grows=False)} for its position"
        lines.append(text + (f" ({rule.rule})" if rule.rule else ""))
    return list(dict.fromkeys(lines))


def entry_lines(plan: Plan) -> list[str]:
    """Where each entry is, in the US National Grid and in degrees."""
    if not len(plan.entries):
        return ["No entry is mapped."]
    spots = shapely.get_coordinates(shapely.point_on_surface(plan.entries.geometry.to_numpy()))
    names = plan.entries["name"].tolist() if "name" in plan.entries else [None] * len(spots)
    lines = []
    for number, ((x, y), name) in enumerate(zip(spots, names, strict=True), 1):
        lon, lat = to_lonlat(plan.crs).transform(x, y)
        words = name if isinstance(name, str) and name else f"entry {number}"
        lines.append(f"{words}: {usng(lat, lon)}; {shown_place(lat, lon)}")
    more = len(lines) - MOST_ENTRIES
    return lines if more <= 0 else [*lines[:MOST_ENTRIES], f"and {more} more on the field map"]


def key_rows(plan: Plan) -> list[Row]:
    """The full legend."""
    grid = Row(text="UTM grid", look=style.LINE["grid"])
    return [*legend_rows(plan), *(HOSE_ROWS if len(plan.parking) else ()), grid]


def key_sheet(book: Book, at: int, columns: list[list[Block]]) -> tuple[Figure, Box]:
    """Draw a key sheet (from 0); gives it with what its map shows (metres)."""
    plan, paper = book.plan, key_paper(book)
    figure, ax, panel = blank_sheet(paper)
    scale = fit(ax, book_bounds(book), shown=plan.shown)
    map_layers.draw_ways(ax, plan)
    map_layers.draw_stands(ax, plan)
    draw_frames(ax, book, LabelBook(ax=ax))
    _draw_foot(figure, paper, plan, scale=scale)
    _, high = axes_inches(panel)
    width = (paper.panel_in - GUTTER_IN * (COLUMNS - 1)) / COLUMNS
    legend = legend_parts(key_rows(plan), high)
    for number, column in enumerate(columns):
        left, top, part = number * (width + GUTTER_IN), high, at * COLUMNS + number
        if part < len(legend):
            words = _beside(panel, paper, left_in=left, width_in=width)
            top = high - _legend_in(legend[part])
            draw_legend(words, legend[part], top_in=high + 0.02, width_in=width, height_in=high - top - 0.1, rest="")
        _draw_column(panel, column, left_in=left, top_in=top)
    head_words(
        figure, paper, title=plan.settings.tract.name, subtitle="Map book: legend, distances, limits and emergency",
        beside=beside_words(plan, 2 + at, book.pages),
    )  # fmt: skip
    return figure, frame_box(ax)


def _beside(panel: Axes, paper: Sheet, *, left_in: float, width_in: float) -> Axes:
    """An axes for words that begins further right in a panel."""
    if left_in == 0:
        return panel
    box = panel.get_position()
    figure: Any = panel.figure
    ax: Axes = figure.add_axes((box.x0 + left_in / paper.width_in, box.y0, width_in / paper.width_in, box.height))
    bare(ax)
    return ax


def _draw_column(panel: Axes, column: list[Block], *, left_in: float, top_in: float) -> None:
    at = top_in
    common: dict[str, Any] = {"transform": inches(panel), "fontfamily": FONT, "color": INK, "parse_math": False}
    for block in column:
        panel.text(
            left_in, at - 0.12, block.heading, fontsize=TYPE_PT["heading"], fontweight="bold", **common,
        )  # fmt: skip
        for number, line in enumerate(block.lines, 1):
            panel.text(left_in, at - 0.12 - LINE_IN * number - 0.02, line, fontsize=TYPE_PT["small"], **common)
        at -= block.height_in


def _draw_foot(figure: Figure, paper: Sheet, plan: Plan, *, scale: int) -> None:
    """Scale of the small map, then the whole emergency block."""
    wide, high = paper.map_in[0], paper.foot_in
    ax = figure.add_axes((
        MARGIN_IN / paper.width_in, MARGIN_IN / paper.height_in, wide / paper.width_in, high / paper.height_in
    ))  # fmt: skip
    bare(ax)
    draw_emergency(ax, key_emergency(plan), left_in=0.005, foot_in=0.005)
    ax.text(
        0, high - 0.16, scale_words(scale, plan.shown), transform=inches(ax), fontsize=TYPE_PT["small"], fontfamily=FONT
    )
    check_bar(ax, shown=plan.shown, left_in=0.0, foot_in=high - 0.3)
