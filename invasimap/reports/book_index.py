"""The index sheet of the map book: the tract with every sheet's frame and number, the list of sheets, totals."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from invasimap.prescription.plan import Plan
from invasimap.reports import map_layers, style
from invasimap.reports.answers import answers, stand_table
from invasimap.reports.book_layout import Book, number_words
from invasimap.reports.book_panel import draw_panel
from invasimap.reports.book_part import Box, part
from invasimap.reports.book_sheet import beside_words, draw_foot, with_foot
from invasimap.reports.drawing import axes_inches, draw_lines, inches
from invasimap.reports.grid_marks import draw_grid, frame_box
from invasimap.reports.labels import LabelBook, inner_spots
from invasimap.reports.legend import Row
from invasimap.reports.sheet import Sheet, blank_sheet, fit, head_words, tract_bounds
from invasimap.reports.style import FONT, INK, TYPE_PT
from invasimap.reports.type_set import shortened, width_in
from invasimap.reports.usng import grid_over
from invasimap.reports.wording import OUTCOME_WORDS, OUTCOMES, shown_area

PANEL_IN, LIST_ROW_IN, LIST_COLUMNS = 3.3, 0.145, 2
MOST_ROWS = 13  # of the list on the index sheet, a column; a longer list goes to the sheets after it
NAME_IN = 0.95  # of a stand's name on the map
NUMBERS_IN, AREA_IN, SPACE_IN = 0.42, 1.9, 0.06  # of the list: from its left to the names, to the areas' ends
PAD_PX = 9.0  # clear space round labels: a number beside a name must not be read with it
LIST_WORDS = "has the list of all sheets"


def index_sheet(book: Book) -> tuple[Figure, Box]:
    """Draw the index sheet; gives it with what its map shows (metres)."""
    plan, paper = book.plan, index_paper(book)
    figure, ax, panel = blank_sheet(paper)
    scale = fit(ax, book_bounds(book), shown=plan.shown)
    bounds = frame_box(ax)
    _draw_map(ax, book)
    grid = grid_over(bounds, plan.crs, scale=scale)
    if grid is not None:
        draw_grid(ax, plan, grid)
    listed = _draw_list(panel, sheet_list(book))
    draw_panel(panel, ax, plan, rows=index_rows(plan), grid=grid, scale=scale, top_in=listed)
    draw_foot(figure, paper, plan)
    head_words(
        figure, paper, title=plan.settings.tract.name, subtitle=_subtitle(book),
        beside=beside_words(plan, 1, book.pages),
    )  # fmt: skip
    return figure, bounds


def _subtitle(book: Book) -> str:
    missing = f"; {len(book.left_out)} more frames have none (sheet 2)" if book.left_out else ""
    return f"Map book: index of {len(book.frames)} sheets{missing}"


def index_paper(book: Book) -> Sheet:
    """The book's paper with more room for words where it lies across."""
    across = book.paper.width_in > book.paper.height_in
    return with_foot(dataclasses.replace(book.paper, panel_in=PANEL_IN), book.plan) if across else book.paper


def book_bounds(book: Book) -> Box:
    """The tract with all frames."""
    boxes = np.array([tract_bounds(book.plan), *(frame.bounds for frame in book.frames)])
    left, bottom = boxes[:, :2].min(axis=0)
    right, top = boxes[:, 2:].max(axis=0)
    return float(left), float(bottom), float(right), float(top)


def index_rows(plan: Plan) -> list[Row]:
    """A short legend, with the totals of what can be done."""
    ground = answers(plan).ground_m2
    rows = [
        Row(text=OUTCOME_WORDS[name], figure=shown_area(ground[name], plan.shown), look=style.OUTCOME[name])
        for name in OUTCOMES
        if ground[name] > 0
    ]
    total = Row(text="all infested ground", figure=shown_area(float(ground.sum()), plan.shown), kind="note")
    head = [Row(text="Whole tract: infested ground", kind="heading"), *rows, total] if rows else []
    more = [Row(text="frame of a sheet, with its number", look=style.LINE["sheet"])]
    if len(plan.entries):
        more.append(Row(text="entry", look=(style.ENTRY_MARK, INK)))
    return [*head, *more, Row(text="the full legend is on sheet 2", kind="note")]


def sheet_list(book: Book) -> list[tuple[str, str, str]]:
    """For each stand: its sheets' numbers, its name, its infested ground."""
    areas = stand_table(book.plan).set_index("stand")["ground_m2"]
    return [
        (number_words(found), stand, shown_area(float(areas.get(stand, 0.0)), book.plan.shown))
        for stand, found in book.numbers_of().items()
    ]


def _draw_list(panel: Axes, found: list[tuple[str, str, str]]) -> float:
    """The list of sheets at the head of the panel; gives the height (inches) that is left under it."""
    width, height = axes_inches(panel)
    if len(found) > MOST_ROWS * LIST_COLUMNS:
        found = [("2", LIST_WORDS, "")]
    deep = -(-len(found) // LIST_COLUMNS) if len(found) > MOST_ROWS / 2 else len(found)
    column = width / (LIST_COLUMNS if deep < len(found) else 1)
    common: dict[str, Any] = {"transform": inches(panel), "fontfamily": FONT, "color": INK, "parse_math": False}
    at = height - 0.12
    head: dict[str, Any] = {"fontsize": TYPE_PT["heading"], "fontweight": "bold"}
    panel.text(0, at, "Sheet, stand, infested ground", **head, **common)
    small: dict[str, Any] = {"fontsize": TYPE_PT["small"]}
    for number, (sheets, stand, area) in enumerate(found):
        left, foot = column * (number // deep), at - LIST_ROW_IN * (number % deep + 1) - 0.02
        end = min(column, AREA_IN) - 0.18
        room = end - NUMBERS_IN - _small_in(area) - SPACE_IN if area else width - left - NUMBERS_IN
        panel.text(left, foot, sheets, fontweight="bold", **small, **common)
        panel.text(left + NUMBERS_IN, foot, _cut(stand, room_in=room), **small, **common)
        panel.text(left + end, foot, area, ha="right", **small, **common)
    return at - LIST_ROW_IN * deep - 0.1


def _small_in(text: str) -> float:
    return width_in(text, size_pt=TYPE_PT["small"])


def _cut(name: str, *, room_in: float, bold: bool = False) -> str:
    return shortened(name, room_in=room_in, size_pt=TYPE_PT["small"], bold=bold)


def _draw_map(ax: Axes, book: Book) -> None:
    plan = part(book.plan, frame_box(ax))
    map_layers.draw_relief(ax, plan)
    map_layers.draw_features(ax, plan)
    map_layers.draw_ways(ax, plan)
    map_layers.draw_veil(ax, plan)
    map_layers.draw_treatment(ax, plan, small_marks=False)
    map_layers.draw_stands(ax, plan)
    labels = LabelBook(ax=ax, pad_px=PAD_PX)
    labels.avoid(plan.treatment_zones.geometry)
    names = stand_names(book)
    own = plan.stands[plan.stands["stand"].astype(str).isin(names)]
    for stand, shape in zip(own["stand"].astype(str), own.geometry, strict=True):
        spots = inner_spots(max(shapely.get_parts(shape), key=shapely.area))
        look: dict[str, Any] = {"size_pt": TYPE_PT["small"], "bold": True}
        if not labels.place(names.get(stand, stand), spots, **look):
            labels.place(stand, spots, **look)
    draw_frames(ax, book, labels)


def stand_names(book: Book) -> dict[str, str]:
    """Each stand's name with its sheets."""
    return {
        stand: f"{_cut(stand, room_in=NAME_IN, bold=True)}\nsheet {sheets}" for sheets, stand, _ in sheet_list(book)
    }


def draw_frames(ax: Axes, book: Book, labels: LabelBook) -> None:
    """Every sheet's frame with its number at the frame's first free corner."""
    lines = [np.array(box_corners(frame.bounds)) for frame in book.frames]
    draw_lines(ax, lines, style.LINE["sheet"], zorder=map_layers.ORDER["mark"] - 1)
    for at, frame in enumerate(book.frames):
        labels.place(str(book.number(at)), _corner_spots(ax, frame.bounds), size_pt=TYPE_PT["small"])


def _corner_spots(ax: Axes, bounds: Box) -> list[tuple[float, float]]:
    left, bottom, right, top = bounds
    (x0, x1), (wide, _) = ax.get_xlim(), axes_inches(ax)
    step = 0.11 * (x1 - x0) / wide
    return [
        (x, y)
        for x, y in (
            (left + step, top - step), (right - step, top - step), (left + step, bottom + step),
            (right - step, bottom + step), ((left + right) / 2, top - step), ((left + right) / 2, bottom + step),
        )
    ]  # fmt: skip


def box_corners(bounds: Box) -> list[tuple[float, float]]:
    """The corners of a box, closed."""
    left, bottom, right, top = bounds
    return [(left, bottom), (right, bottom), (right, top), (left, top), (left, bottom)]
