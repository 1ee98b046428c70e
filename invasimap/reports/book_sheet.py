"""A sheet of the map book: one stand, or a cell of one, with its grid, its norths and the sheets around it."""

from __future__ import annotations

import dataclasses
import textwrap
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from invasimap.core.crs import to_lonlat
from invasimap.prescription.plan import Plan
from invasimap.reports import map_layers, style
from invasimap.reports.access_map import PARKING_PT, draw_parking
from invasimap.reports.book_frames import SIDES, Frame, Neighbour, neighbours
from invasimap.reports.book_legend import sheet_rows
from invasimap.reports.book_panel import draw_panel
from invasimap.reports.book_part import Box, part
from invasimap.reports.drawing import axes_inches, draw_area, draw_lines, inches, metres_per_point
from invasimap.reports.emergency import EmergencyBlock, draw_emergency, emergency_block, emergency_rows
from invasimap.reports.grid_marks import draw_grid
from invasimap.reports.labels import LabelBook
from invasimap.reports.legend import Row, unknown_rows
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
from invasimap.reports.style import FONT, INK, PAPER, TYPE_PT
from invasimap.reports.usng import grid_over, usng
from invasimap.reports.wording import rows_of, whole_length

Shapes = npt.NDArray[np.object_]
TAB_LETTERS = 24
MOST_FOOT, FOOT_GAP_IN = 0.3, 0.06  # of the paper's height under the map, before the type goes down
LABEL_REACH_PT = (9.5, 14.0, 20.0)
LEAST_UP_M = 0.3  # a smaller lift is level ground


@dataclass(frozen=True, kw_only=True)
class Book:
    """What every sheet of a book has in common.

    Attributes
    ----------
    plan
        Ready to be cut (``book_part.ready``).
    first, pages
        Number of the first sheet of a stand, and of all sheets.
    interval
        Height between contours in the shown unit, the same on every sheet; 0 for none.
    served
        ``served_lines`` of the plan.
    """

    plan: Plan
    paper: Sheet
    frames: list[Frame]
    first: int
    pages: int
    interval: float
    served: Shapes

    def number(self, at: int) -> int:
        """The printed number of a sheet."""
        return self.first + at


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
    return _labels(ax, here, book, at, lines)


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


def _labels(ax: Axes, here: Plan, book: Book, at: int, lines: gpd.GeoDataFrame) -> list[Row]:
    """Tabs of the sheets around, parking, stands, patches and heights; what finds no room is said."""
    labels = LabelBook(ax=ax)
    marks = here.parking.geometry.buffer(PARKING_PT / 2 * metres_per_point(ax))
    labels.keep_off(marks)
    draw_tabs(labels, book, at)
    without = _label_parking(labels, here)
    labels.avoid(here.treatment_zones.geometry)
    labels.avoid_lines(shapely.boundary(map_layers.in_view(ax, here.protection)))
    map_layers.label_stands(labels, named_stands(here, book, at), must=False)
    left_out = map_layers.label_patches(labels, here)
    map_layers.label_contours(labels, lines)
    notes = unknown_rows(ax, here)
    if left_out:
        notes.append(Row(text=f"patch ids without room: {left_out} (field map)", kind="note"))
    if without:
        notes.append(Row(text=f"parking without room: {without} (tables)", kind="note"))
    return notes


def named_stands(here: Plan, book: Book, at: int) -> Plan:
    """The stands within the frame, others than the sheet's own with the sheet they are on."""
    frame = book.frames[at]
    seen = shapely.intersection(shapely.make_valid(here.stands.geometry.to_numpy()), shapely.box(*frame.bounds))
    sheets: dict[str, list[int]] = {}
    for number, other in enumerate(book.frames):
        sheets.setdefault(other.stand, []).append(book.number(number))
    names = [
        name if name == frame.stand or name not in sheets else f"{name} (sheet {sheets[name][0]})"
        for name in here.stands["stand"].astype(str)
    ]
    stands = here.stands.assign(stand=names).set_geometry(seen, crs=here.crs)
    room = shapely.area(seen) > (18 * metres_per_point_of(frame)) ** 2
    return dataclasses.replace(here, stands=stands[room])


def metres_per_point_of(frame: Frame) -> float:
    """Metres of ground in a printed point at a frame's scale."""
    return frame.scale * 0.0254 / 72


def _label_parking(labels: LabelBook, here: Plan) -> int:
    """At each parking place the zone it serves, the hose it takes and how high; returns how many found no room."""
    left_out = 0
    together: dict[tuple[float, float], list[str]] = {}
    for stop in rows_of(here.parking):
        together.setdefault((stop.geometry.x, stop.geometry.y), []).append(_stop_words(stop, here))
    for (x, y), words in sorted(together.items()):
        text = "\n".join(words)
        spots = np.concatenate([labels.around((x, y), reach_pt=reach) for reach in LABEL_REACH_PT])
        left_out += not labels.place(text, spots, size_pt=TYPE_PT["small"])
    return left_out


def _stop_words(stop: object, here: Plan) -> str:
    hose = whole_length(stop.hose_m, here.shown)  # type: ignore[attr-defined]
    up_m = float(stop.lift_m)  # type: ignore[attr-defined]
    up = f", up {whole_length(up_m, here.shown)}" if up_m > LEAST_UP_M else ""
    return f"{stop.zone_id}: {hose}{up}"  # type: ignore[attr-defined]


def draw_tabs(labels: LabelBook, book: Book, at: int) -> None:
    """A tab at each edge for every sheet that goes on beyond it."""
    ends = dict.fromkeys(SIDES, -np.inf)
    for found in neighbours(book.frames, at):
        ends[found.side] = _draw_tab(labels, book, found, after=ends[found.side])


def _draw_tab(labels: LabelBook, book: Book, found: Neighbour, *, after: float) -> float:
    """One tab, past the end of the one before; gives its end along the edge in inches."""
    ax = labels.ax
    wide, high = axes_inches(ax)
    upright = found.side in ("east", "west")
    name = textwrap.shorten(book.frames[found.frame].name, TAB_LETTERS, placeholder="…")
    text = f"sheet {book.number(found.frame)}: {name}"
    half = 0.038 * len(text) + 0.06
    edge = high if upright else wide
    middle = min(max(found.along * edge, after + half + 0.05, half + 0.1), edge - half - 0.1)
    if middle - half < after:
        return after
    spot = {
        "north": (middle, high - 0.1), "south": (middle, 0.1), "east": (wide - 0.1, middle), "west": (0.1, middle),
    }[found.side]  # fmt: skip
    ax.text(
        *spot, text, transform=inches(ax), fontsize=TYPE_PT["small"], fontfamily=FONT, color=PAPER, ha="center",
        va="center", rotation=90 if upright else 0, zorder=16, parse_math=False,
        bbox={"boxstyle": "square,pad=0.25", "facecolor": INK, "edgecolor": PAPER, "linewidth": 0.8},
    )  # fmt: skip
    reach = (0.11, half) if upright else (half, 0.11)
    corners = inches(ax).transform(np.array([spot, spot]) + np.array([[-1], [1]]) * reach)
    labels.taken.append(tuple(corners.ravel().tolist()))
    return middle + half
