"""A sheet of the map book: one stand, or a cell of one, with its grid, its norths and the sheets around it."""

from __future__ import annotations

import dataclasses

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from invasimap.core.crs import to_lonlat
from invasimap.prescription.plan import Plan
from invasimap.reports import map_layers, style
from invasimap.reports.access_map import draw_parking
from invasimap.reports.book_labels import draw_labels
from invasimap.reports.book_layout import Book, Shapes
from invasimap.reports.book_legend import sheet_rows
from invasimap.reports.book_panel import draw_panel
from invasimap.reports.book_part import Box, part
from invasimap.reports.drawing import draw_area, draw_lines
from invasimap.reports.emergency import EmergencyBlock, draw_emergency, emergency_block, emergency_rows
from invasimap.reports.grid_marks import draw_grid
from invasimap.reports.legend import Row
from invasimap.reports.sheet import (
    GAP_IN,
    MARGIN_IN,
    Sheet,
    bare,
    blank_sheet,
    entry_words,
    head_words,
    plan_date,
    show,
    survey_dates,
)
from invasimap.reports.usng import grid_over, usng

MOST_FOOT, FOOT_GAP_IN = 0.3, 0.06  # of the paper's height under the map, before the type goes down


def stand_sheet(book: Book, at: int) -> tuple[Figure, Box]:
    """Draw a sheet; gives it with what its map shows (metres)."""
    frame, plan = book.frames[at], book.plan
    figure, ax, panel = blank_sheet(book.paper)
    show(ax, frame.bounds)
    here = part(plan, frame.bounds, stand=frame.stand)
    grid = grid_over(frame.bounds, plan.crs, scale=frame.scale)
    served = served_on(book, frame.bounds)
    draw_lines(ax, served, style.LINE["serves"], zorder=map_layers.ORDER["mark"] - 0.5)
    notes = _draw_map(ax, here, book, at)
    if grid is not None:
        draw_grid(ax, plan, grid)
    rows = [*sheet_rows(here, plan, frame.stand, interval=book.interval, served=len(served) > 0), *notes]
    draw_panel(panel, ax, plan, rows=rows, grid=grid, scale=frame.scale)
    draw_foot(figure, book.paper, plan)
    head_words(
        figure, book.paper, title=f"Sheet {book.number(at)}: stand {frame.name}", subtitle=plan.settings.tract.name,
        beside=beside_words(plan, book.number(at), book.pages),
    )  # fmt: skip
    return figure, frame.bounds


def beside_words(plan: Plan, number: int, pages: int) -> str:
    """What stands at the head of every sheet: which of how many, and of what day."""
    return f"Sheet {number} of {pages}\nSurvey {survey_dates(plan)}\nPlan of {plan_date(plan)}, not a survey"


def draw_foot(figure: Figure, paper: Sheet, plan: Plan) -> None:
    """The emergency block under the map."""
    wide = _foot_wide_in(paper)
    ax = figure.add_axes((
        MARGIN_IN / paper.width_in, MARGIN_IN / paper.height_in, wide / paper.width_in, paper.foot_in / paper.height_in,
    ))  # fmt: skip
    bare(ax)
    draw_emergency(ax, foot_block(paper, plan), left_in=0.005, foot_in=0.005)


def with_foot(paper: Sheet, plan: Plan) -> Sheet:
    """A paper with as much room under its map as the emergency block needs."""
    return dataclasses.replace(paper, foot_given_in=foot_block(paper, plan).height_in + FOOT_GAP_IN)


def foot_block(paper: Sheet, plan: Plan) -> EmergencyBlock:
    """The emergency block laid out for a paper: two columns where it lies across and they serve."""
    return emergency_block(
        emergency_rows(plan.settings.emergency), entry=f"{entry_words(plan)}{entry_grid(plan)}",
        wide_in=_foot_wide_in(paper) - 0.01, most_in=MOST_FOOT * paper.height_in,
        columns=(2, 1) if paper.width_in > paper.height_in else (1,),
    )  # fmt: skip


def _foot_wide_in(paper: Sheet) -> float:
    return paper.width_in - 2 * MARGIN_IN - paper.panel_in - GAP_IN


def entry_grid(plan: Plan) -> str:
    """The first entry in the US National Grid, for whoever has to be called in."""
    if not len(plan.entries):
        return ""
    spot = shapely.get_coordinates(shapely.point_on_surface(plan.entries.geometry.to_numpy()[:1]))[0]
    lon, lat = to_lonlat(plan.crs).transform(*spot)
    return f": {usng(lat, lon)}"


def _draw_map(ax: Axes, here: Plan, book: Book, at: int) -> list[Row]:
    frame = book.frames[at]
    lines = map_layers.draw_base(ax, here, interval=book.interval)
    own = here.stands.geometry[here.stands["stand"].astype(str) == frame.stand]
    draw_area(ax, own, style.GROUND["own_stand"], zorder=map_layers.ORDER["stand"] + 0.2)
    draw_parking(ax, here)
    return draw_labels(ax, here, book, at, lines)


def served_lines(plan: Plan) -> Shapes:
    """From each parking place straight to the nearest ground of the zone it serves; empty where it lies in it."""
    zones = plan.treatment_zones.set_index("id").geometry
    known = plan.parking[plan.parking["zone_id"].isin(zones.index)]
    grounds: Shapes = np.asarray(zones.reindex(known["zone_id"]), object)
    found: Shapes = shapely.shortest_line(known.geometry.to_numpy(), grounds)
    return found[shapely.length(found) > 0]


def served_on(book: Book, bounds: Box) -> Shapes:
    """The lines from parking places to their zones that cross a frame."""
    found: Shapes = book.served[shapely.intersects(book.served, shapely.box(*bounds))]
    return found
