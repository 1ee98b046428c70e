"""The last sheets of the map book: where every patch and parking place is, by stand."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any

import shapely
from matplotlib.figure import Figure

from invasimap.prescription.plan import Plan
from invasimap.reports import map_layers
from invasimap.reports.book_layout import Book, ListRow
from invasimap.reports.book_part import Box
from invasimap.reports.book_places import Groups, place_groups
from invasimap.reports.book_sheet import beside_words
from invasimap.reports.drawing import axes_inches, inches
from invasimap.reports.furniture import scale_words
from invasimap.reports.grid_marks import frame_box
from invasimap.reports.sheet import (
    GAP_IN,
    LINE_IN,
    MARGIN_IN,
    TITLE_IN,
    Sheet,
    bare,
    blank_sheet,
    fit,
    head_words,
    tract_bounds,
)
from invasimap.reports.style import FONT, INK, TYPE_PT
from invasimap.reports.type_set import lines_of, width_in

Column = tuple[ListRow, ...]
MAP_IN, GUTTER_IN, MOST_COLUMNS = 1.75, 0.1, 7
MOST_NAME_IN = 1.6  # of a name when columns are counted; a longer one goes on over more rows
INDENT = "  "  # leads the rows over which a name goes on
SAYING = (
    "Each place is a square of 10 m in the US National Grid (MGRS). Rows give the figures within {squares}; what lies "
    "in another square has its letters too. A patch is named by one place within it."
)


def list_paper(book: Book) -> Sheet:
    """The book's paper across, with a small map."""
    long, short = sorted((book.paper.width_in, book.paper.height_in), reverse=True)
    panel = long - 2 * MARGIN_IN - GAP_IN - MAP_IN
    return Sheet(
        width_in=long, height_in=short, panel_in=panel, foot_given_in=short - 2 * MARGIN_IN - TITLE_IN - MAP_IN * 1.2
    )


def with_lists(book: Book, *, before: int) -> Book:
    """A book with its sheets of places, after ``before`` sheets and those of the stands."""
    groups, square = place_groups(book)
    paper = list_paper(book)
    count = _columns(paper, (row for _, rows in groups for row in rows))
    deep = int((paper.panel_box_in[3] - paper.panel_box_in[1]) / LINE_IN) - 1
    found = _filled(groups, deep=deep, room_in=_column_in(paper, count)) if groups else []
    lists = tuple(tuple(found[at : at + count]) for at in range(0, len(found), count))
    pages = before + len(book.frames) + len(lists)
    return dataclasses.replace(book, lists=lists, list_columns=count, square=square, pages=pages)


def _filled(groups: Groups, *, deep: int, room_in: float) -> list[Column]:
    """Headings and rows set into columns of so many lines; a heading stands again where its rows go on."""
    columns: list[list[ListRow]] = [[]]
    for head, rows in groups:
        most = max(2, deep // 4)
        lead, parts = _at_most(wrapped(head, room_in), most), [wrapped(row, room_in) for row in rows]
        if len(columns[-1]) + 1 + len(lead) + min(sum(map(len, parts)), 3) > deep:
            columns.append([])
        columns[-1] += [*([ListRow()] if columns[-1] else []), *lead]
        more = _at_most(wrapped(dataclasses.replace(head, rest=f"{head.rest} (more)"), room_in), most)
        for part in parts:
            whole = len(part) if len(part) < deep / 2 else 1
            for at, row in enumerate(part):
                if len(columns[-1]) + (whole if at == 0 else 1) > deep:
                    columns.append(list(more))
                columns[-1].append(row)
    return [tuple(column) for column in columns]


def _at_most(lines: list[ListRow], most: int) -> list[ListRow]:
    """The lines of a heading, of a very long one the first and the last: rows under it need room in the column."""
    if len(lines) <= most:
        return lines
    first = lines[: most - 1]
    return [*first[:-1], dataclasses.replace(first[-1], name=f"{first[-1].name[:-1]}…"), lines[-1]]


def wrapped(row: ListRow, room_in: float) -> list[ListRow]:
    """A row as printed ones no wider than ``room_in``: every letter of it, and what follows a name in one piece."""
    size, bold = TYPE_PT["small"], row.heading

    def wide(text: str) -> float:
        return width_in(text, size_pt=size, bold=bold)

    if wide(row.text) <= room_in:
        return [ListRow(name=row.text, heading=bold)]
    room = room_in - wide(INDENT)
    lines = lines_of(row.name, room_in=room, size_pt=size, bold=bold)
    if lines and wide(f"{lines[-1]}{row.rest}") <= room:
        lines[-1] += row.rest
    else:
        lines += lines_of(row.rest.lstrip(" ,:"), room_in=room, size_pt=size, bold=bold)
    return [ListRow(name=f"{INDENT if at else ''}{line}", heading=bold) for at, line in enumerate(lines)]


def list_sheet(book: Book, at: int) -> tuple[Figure, Box]:
    """Draw a sheet of places (from 0); gives it with what its map shows (metres)."""
    plan, paper, columns = book.plan, list_paper(book), book.lists[at]
    figure, ax, _ = blank_sheet(paper)
    stands = dataclasses.replace(plan, patches=plan.patches.iloc[:0]) if len(plan.stands) else plan
    scale = fit(ax, tract_bounds(stands), shown=plan.shown)
    map_layers.draw_ways(ax, plan)
    map_layers.draw_stands(ax, plan)
    foot = figure.add_axes((
        MARGIN_IN / paper.width_in, MARGIN_IN / paper.height_in, MAP_IN / paper.width_in,
        paper.foot_in / paper.height_in,
    ))  # fmt: skip
    bare(foot)
    _, high = axes_inches(foot)
    common: dict[str, Any] = {"fontfamily": FONT, "color": INK, "parse_math": False, "fontsize": TYPE_PT["small"]}
    foot.text(0, high - 0.16, scale_words(scale, plan.shown), transform=inches(foot), **common)
    said = SAYING.format(squares=book.square) + _beyond(plan, frame_box(ax))
    for number, line in enumerate(lines_of(said, room_in=MAP_IN, size_pt=TYPE_PT["small"])):
        foot.text(0, high - 0.45 - LINE_IN * number, line, transform=inches(foot), **common)
    step_in = _column_in(paper, book.list_columns) + GUTTER_IN
    for number, column in enumerate(columns):
        _draw_column(figure, paper, column, left_in=paper.panel_box_in[0] + step_in * number)
    head_words(
        figure, paper, title="Where each patch and parking place is", subtitle=plan.settings.tract.name,
        beside=beside_words(plan, book.first + len(book.frames) + at, book.pages),
    )  # fmt: skip
    return figure, frame_box(ax)


def _beyond(plan: Plan, bounds: Box) -> str:
    """What is said of patches off the small map: it is drawn for the stands, or one patch would shrink them."""
    count = int((~shapely.intersects(plan.patches.geometry.to_numpy(), shapely.box(*bounds))).sum())
    if not count:
        return ""
    return f" {count:,} {'patch lies' if count == 1 else 'patches lie'} beyond this small map."


def _draw_column(figure: Figure, paper: Sheet, column: Column, *, left_in: float) -> None:
    top = paper.panel_box_in[3]
    for number, row in enumerate(column):
        if row.text:
            figure.text(
                left_in / paper.width_in, (top - 0.12 - LINE_IN * number) / paper.height_in, row.text,
                fontsize=TYPE_PT["small"], fontweight="bold" if row.heading else "normal", fontfamily=FONT, color=INK,
                parse_math=False,
            )  # fmt: skip


def _column_in(paper: Sheet, count: int) -> float:
    return (paper.panel_in - GUTTER_IN * (count - 1)) / count


def _columns(paper: Sheet, rows: Iterable[ListRow]) -> int:
    """As many columns as the widest row leaves."""
    wide = max(map(_least_in, rows), default=1.0)
    return max(1, min(MOST_COLUMNS, int((paper.panel_in + GUTTER_IN) / (wide + GUTTER_IN))))


def _least_in(row: ListRow) -> float:
    """Room that a row should have: its own width, save of a long name."""
    name, rest = (width_in(text, size_pt=TYPE_PT["small"]) for text in (row.name, row.rest))
    name = min(name, MOST_NAME_IN)
    return max(name, rest + width_in(INDENT, size_pt=TYPE_PT["small"])) if row.parted else name + rest
