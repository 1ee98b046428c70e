"""The layers of a printed map, each drawn by one function onto the axes it is given."""

from __future__ import annotations

import textwrap
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.axes import Axes

from invasimap.prescription.plan import Plan
from invasimap.reports import style
from invasimap.reports.drawing import (
    draw_area,
    draw_lines,
    draw_marks,
    draw_small_marks,
    metres_per_point,
)
from invasimap.reports.labels import LabelBook, inner_spots, line_spots
from invasimap.reports.relief import contour_interval, contours, hillshade, shade_light
from invasimap.reports.style import TYPE_PT
from invasimap.reports.wording import OUTCOMES, outcome, rows_of

STAND_LETTERS = 18  # of one line of a stand's name
ORDER = {"shade": 0, "ground": 1, "contour": 2, "zone": 3, "feature": 4, "way": 5, "treat": 6, "stand": 8, "mark": 10}
CONTOUR_GAP_PT = 60.0
FINEST_PT = 0.15
MOST_IDS, LONGEST_ID = 150, 8  # more or longer patch ids than this only clutter a sheet of the whole tract


def draw_base(ax: Axes, plan: Plan, *, interval: float | None = None) -> gpd.GeoDataFrame:
    """Everything of a map of treatment but its words, in the order of ink; returns the contours for their heights."""
    draw_relief(ax, plan)
    draw_ground(ax, plan)
    lines = draw_contours(ax, plan, interval=interval)
    draw_zones(ax, plan)
    draw_features(ax, plan)
    draw_ways(ax, plan)
    draw_veil(ax, plan)
    draw_treatment(ax, plan)
    draw_stands(ax, plan)
    return lines


def draw_relief(ax: Axes, plan: Plan) -> None:
    """Shade, and a pattern where elevation is not known; nothing where the tract has no elevation."""
    if plan.terrain.flat:
        return
    left, bottom, right, top = plan.terrain.bounds
    light = shade_light(hillshade(plan.terrain))
    limits = ax.axis()
    ax.imshow(
        light, cmap="gray", vmin=0, vmax=1, extent=(left, right, bottom, top), origin="upper", interpolation="bilinear",
        zorder=ORDER["shade"], aspect="equal",
    )  # fmt: skip
    ax.axis(limits)
    draw_area(ax, unknown_ground(ax, plan), style.GROUND["unknown"], zorder=ORDER["shade"] + 0.5)


def unknown_ground(ax: Axes, plan: Plan) -> Any:
    """What lies in the access layer as not known, within the map."""
    rows = plan.access[plan.access["limit"] == "unknown"] if "limit" in plan.access else plan.access.iloc[:0]
    return in_view(ax, rows)


def draw_contours(ax: Axes, plan: Plan, *, interval: float | None = None) -> gpd.GeoDataFrame:
    """Contour lines, every ``interval`` in the shown unit (by default the plan's own); returns them for labels."""
    interval = contour_interval(plan.terrain, plan.shown) if interval is None else interval
    if interval == 0:
        return gpd.GeoDataFrame({"elevation": [], "is_index": []}, geometry=[], crs=plan.crs)
    lines = contours(plan.terrain, interval=interval, shown=plan.shown)
    for is_index, name in ((False, "contour"), (True, "contour_index")):
        draw_lines(ax, lines.geometry[lines["is_index"] == is_index], style.LINE[name], zorder=ORDER["contour"])
    return lines


def draw_ground(ax: Axes, plan: Plan) -> None:
    """Open and wet ground."""
    for name in ("open_ground", "wet_ground"):
        draw_area(ax, in_view(ax, getattr(plan, name)), style.GROUND[name], zorder=ORDER["ground"])


def draw_zones(ax: Axes, plan: Plan) -> None:
    """Hand-only and no-spray ground, the stricter on top."""
    layer = plan.protection
    for step, zone in enumerate(("hand_only", "no_spray")):
        rows = layer[layer["zone"] == zone]
        merged = [shapely.union_all(in_view(ax, rows))] if len(rows) else []
        draw_area(ax, merged, style.ZONE[zone], zorder=ORDER["zone"] + step / 10)


def draw_features(ax: Axes, plan: Plan) -> None:
    """Protected features that may be shown where they are: areas, lines and marks."""
    layer = plan.features
    for kind, mark in style.feature_marks(layer["kind"]).items():
        shapes = in_view(ax, layer[layer["kind"] == kind])
        shapes = shapes[~(shapely.is_missing(shapes) | shapely.is_empty(shapes))]
        dimension = shapely.get_dimensions(shapes)
        look, line = style.feature_look(kind), style.LINE[style.line_look(kind)]
        draw_area(ax, shapes[dimension == 2], style.FEATURE_AREA[look], zorder=ORDER["feature"])
        draw_lines(ax, shapes[dimension == 1], line, zorder=ORDER["feature"] + 0.1)
        draw_marks(
            ax, shapes[dimension == 0], mark, style.LINE[look].color, size_pt=style.SPOT_PT["feature"],
            zorder=ORDER["mark"], edge=style.PAPER,
        )  # fmt: skip


def draw_ways(ax: Axes, plan: Plan) -> None:
    """Ways by the most capable means they allow, then barriers, crossings and entries."""
    looks = np.array([style.way_look(text) for text in way_machines(plan.ways)], object)
    for step, look in enumerate(("none", "foot", "atv", "tractor")):
        draw_lines(ax, in_view(ax, plan.ways[looks == look]), style.WAY[look], zorder=ORDER["way"] + step / 10)
    shapes = plan.barriers.geometry.to_numpy()
    draw_lines(ax, shapes[shapely.get_dimensions(shapes) > 0], style.LINE["barrier"], zorder=ORDER["treat"] + 1.9)
    for layer, mark, fill in (
        (plan.crossings, style.CROSSING_MARK, style.PAPER),
        (plan.entries, style.ENTRY_MARK, style.INK),
    ):
        size = style.SPOT_PT["entry" if layer is plan.entries else "crossing"]
        draw_marks(
            ax, shapely.point_on_surface(layer.geometry.to_numpy()), mark, fill, size_pt=size, zorder=ORDER["mark"]
        )


def way_machines(ways: gpd.GeoDataFrame) -> list[str]:
    """What may drive each way, as text such as ``atv;foot``."""
    return ways["allows"].fillna("").astype(str).tolist()


def draw_veil(ax: Axes, plan: Plan) -> None:
    """A veil over what lies outside the stands, so that the tract stands out; patches out there are drawn over it."""
    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
    outside = shapely.difference(
        shapely.box(left, bottom, right, top), shapely.union_all(plan.stands.geometry.to_numpy())
    )
    draw_area(ax, [outside], style.VEIL, zorder=ORDER["way"] + 0.8)


def draw_treatment(ax: Axes, plan: Plan, *, small_marks: bool = True) -> None:
    """Infested ground by what can be done on it, the treatable on top; with a mark on what is too small to be seen."""
    zones = plan.treatment_zones
    names = outcome(zones)
    for step, name in enumerate(reversed(OUTCOMES)):
        rows = zones[(names == name).to_numpy()]
        if not len(rows):
            continue
        draw_area(ax, in_view(ax, rows), style.OUTCOME[name], zorder=ORDER["treat"] + step / 10)
        if small_marks:
            draw_small_marks(ax, rows.geometry.to_numpy(), style.OUTCOME[name], zorder=ORDER["treat"] + 1 + step / 10)


def draw_stands(ax: Axes, plan: Plan) -> None:
    """Stand boundaries, dark on a white edge so that they read over everything."""
    draw_area(ax, plan.stands.geometry, style.Area(fill="none", edge=style.PAPER, line_pt=2.6), zorder=ORDER["stand"])
    draw_area(ax, plan.stands.geometry, style.GROUND["stand"], zorder=ORDER["stand"] + 0.1)


def draw_labels(ax: Axes, plan: Plan, lines: gpd.GeoDataFrame) -> LabelBook:
    """Stands, patches, then index contours; what finds no room is counted, not squeezed in."""
    book = LabelBook(ax=ax)
    book.avoid(plan.treatment_zones.geometry)
    book.avoid_lines(shapely.boundary(in_view(ax, plan.protection)))
    label_stands(book, plan)
    left_out = label_patches(book, plan)
    label_contours(book, lines)
    book.left_out = left_out
    return book


def label_stands(book: LabelBook, plan: Plan, *, must: bool = True) -> None:
    """The names of the stands, clear of ways, points and what the book already avoids; all of them with ``must``."""
    for layer in (plan.entries, plan.features):
        shapes = layer.geometry.to_numpy()
        book.avoid(shapes[shapely.get_dimensions(shapes) == 0])
    for layer in (plan.ways, plan.barriers):
        book.avoid_lines(layer.geometry)
    for stand, shape in zip(plan.stands["stand"], plan.stands.geometry, strict=True):
        biggest = max(shapely.get_parts(shape), key=shapely.area)
        name = textwrap.fill(str(stand), STAND_LETTERS) or str(stand)  # a long one over lines, or it names others too
        book.place(name, inner_spots(biggest), size_pt=TYPE_PT["stand"], bold=True, must=must)


def label_patches(book: LabelBook, plan: Plan) -> int:
    """Ids beside the patches, largest first; returns how many found no room."""
    if len(plan.patches) > MOST_IDS or (plan.patches["id"].astype(str).str.len() > LONGEST_ID).any():
        return len(plan.patches)
    book.avoid_lines(plan.stands.geometry)
    found = 0
    for patch in rows_of(plan.patches.sort_values("gross_m2", ascending=False)):
        centre = patch.geometry.centroid
        reach = np.sqrt(patch.geometry.area / np.pi) / metres_per_point(book.ax) + 7
        spots = book.around((centre.x, centre.y), reach_pt=reach)
        found += book.place(str(patch.id), spots, size_pt=TYPE_PT["patch"], most_cost=0.25)
    return len(plan.patches) - found


def label_contours(book: LabelBook, lines: gpd.GeoDataFrame) -> None:
    """Heights on the index contours, where they cover nothing."""
    step = CONTOUR_GAP_PT * metres_per_point(book.ax)
    chosen = lines[lines["is_index"].astype(bool)] if len(lines) else lines
    for line in rows_of(chosen.assign(length_m=chosen.length).sort_values("length_m", ascending=False)):
        for x, y, angle in line_spots(line.geometry, step_m=step)[:12]:
            spot = [(x, y)]
            if _covers_nothing(book, spot) and book.place(
                f"{line.elevation:g}", spot, size_pt=TYPE_PT["contour"], color=style.CONTOUR_TEXT, angle_deg=angle
            ):
                break


def _covers_nothing(book: LabelBook, spot: list[tuple[float, float]]) -> bool:
    x, y = book.ax.transData.transform(spot[0])
    boxes = book.obstacles
    return not bool(
        ((boxes[:, 0] - 12 < x) & (x < boxes[:, 2] + 12) & (boxes[:, 1] - 9 < y) & (y < boxes[:, 3] + 9)).any()
    )


def in_view(ax: Axes, layer: gpd.GeoDataFrame) -> Any:
    """The shapes of a layer within the map, without detail finer than ink."""
    if not len(layer):
        return np.empty(0, object)
    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
    inside = shapely.clip_by_rect(shapely.make_valid(layer.geometry.to_numpy()), left, bottom, right, top)
    return shapely.simplify(inside, FINEST_PT * metres_per_point(ax))
