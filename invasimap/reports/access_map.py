"""The access sheet: how all ground is reached, and where to park for what a hose serves."""

from __future__ import annotations

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from invasimap.land.raster import joined_polygons
from invasimap.prescription.plan import Plan
from invasimap.reports import map_layers, style
from invasimap.reports.drawing import draw_area, draw_marks, metres_per_point
from invasimap.reports.labels import LabelBook
from invasimap.reports.legend import Row, feature_rows, land_rows, relief_rows, unknown_rows
from invasimap.reports.sheet import sheet_figure
from invasimap.reports.wording import ACCESS_WORDS, shown_area

PARKING_PT = style.SPOT_PT["parking"]
MOST_NAMES = 60  # more zones than this only clutter a sheet of the whole tract
LABEL_PT = 8.5
UNKNOWN_WORDS = "elevation not known: not reached"
LABEL_REACH_PT = (9.5, 10.8)  # above and below the mark, then beside it


def access_figure(plan: Plan) -> Figure:
    """The access sheet as a figure of its own."""
    subtitle = "How the ground is reached, whatever grows there, and where to park"
    return sheet_figure(plan, draw=_draw_map, rows=access_rows(plan), subtitle=subtitle)


def access_rows(plan: Plan) -> list[Row]:
    """The legend's rows: each class with its ground in the stands, then the land."""
    areas, looks = access_areas_m2(plan), style.ACCESS | {"unknown": style.GROUND["unknown"]}
    rows = [
        Row(text=words, figure=shown_area(areas[name], plan.shown), look=looks[name])
        for name, words in (ACCESS_WORDS | {"unknown": UNKNOWN_WORDS}).items()
        if areas[name] > 0
    ]
    head = [Row(text="Ground in the stands: reached by", kind="heading"), *rows] if rows else []
    if len(plan.parking):
        head.append(Row(text="place to park for a hose", look=(style.PARKING_MARK, style.PAPER)))
    features = feature_rows(plan)
    features = [Row(text="Water and other protected features", kind="heading"), *features] if features else []
    wet = [Row(text="wet ground: no machine", look=style.WET_PAPER)] if len(plan.wet_ground) else []
    return [*head, *features, *land_rows(plan), *wet, *relief_rows(plan)]


def access_areas_m2(plan: Plan) -> dict[str, float]:
    """Ground inside the stands by access class, and apart from them what is out of reach as ``unknown``."""
    stands = shapely.union_all(plan.stands.geometry.to_numpy())
    shapely.prepare(stands)
    found = dict.fromkeys((*style.ACCESS, "unknown"), 0.0)
    shapes, classes = plan.access.geometry.to_numpy(), plan.access["access"].to_numpy()
    classes = np.where(plan.access["limit"] == "unknown", "unknown", classes)  # as it is drawn
    areas = shapely.area(shapes)
    partly = ~shapely.contains_properly(stands, shapes)
    areas[partly] = shapely.area(shapely.intersection(shapes[partly], stands))
    for name in found:
        found[name] = float(areas[classes == name].sum())
    return found


def _draw_map(plan: Plan, ax: Axes) -> list[Row]:
    map_layers.draw_relief(ax, plan)
    draw_access(ax, plan)
    lines = map_layers.draw_contours(ax, plan)
    map_layers.draw_features(ax, plan)
    map_layers.draw_ways(ax, plan)
    map_layers.draw_veil(ax, plan)
    map_layers.draw_stands(ax, plan)
    draw_parking(ax, plan)
    book = LabelBook(ax=ax)
    marks = plan.parking.geometry.buffer(PARKING_PT / 2 * metres_per_point(ax))
    book.avoid(marks)
    map_layers.label_stands(book, plan)
    book.keep_off(marks)
    left_out = _label_parking(book, plan)
    map_layers.label_contours(book, lines)
    rows = [] if access_areas_m2(plan)["unknown"] > 0 else unknown_rows(ax, plan)
    rows += [Row(text="the zone's id stands at its best place", kind="note")] if len(plan.parking) else []
    more = f"no room for {left_out} more: see tables/parking.csv"
    return [*rows, Row(text=more, kind="note")] if left_out else rows


def draw_access(ax: Axes, plan: Plan) -> None:
    """Ground by access class, but for ground of unknown elevation; wet ground hatched over it."""
    known = plan.access[plan.access["limit"] != "unknown"]
    number = {name: rank for rank, name in enumerate(style.ACCESS, 1)}
    joined = joined_polygons(known.geometry.to_numpy(), known["access"].map(number), plan.terrain)
    for name, look in style.ACCESS.items():
        rows = joined[joined["code"] == number[name]]
        draw_area(ax, map_layers.in_view(ax, rows), look, zorder=map_layers.ORDER["ground"] + number[name] / 10)
    draw_area(ax, map_layers.in_view(ax, plan.wet_ground), style.WET_PAPER, zorder=map_layers.ORDER["zone"])


def draw_parking(ax: Axes, plan: Plan) -> None:
    """Every parking place, alike."""
    draw_marks(
        ax, plan.parking.geometry.to_numpy(), style.PARKING_MARK, style.PAPER, size_pt=PARKING_PT,
        zorder=map_layers.ORDER["mark"],
    )  # fmt: skip


def _label_parking(book: LabelBook, plan: Plan) -> int:
    """The zone's id beside its best place; returns how many found no room."""
    best = plan.parking[plan.parking["stop"] == 1]
    if len(best) > MOST_NAMES:
        return len(best)
    placed = 0
    places = shapely.get_coordinates(best.geometry.to_numpy())
    for x, y in np.unique(places, axis=0):
        zones = best["zone_id"][(places == (x, y)).all(axis=1)]
        spots = np.concatenate([book.around((x, y), reach_pt=reach) for reach in LABEL_REACH_PT])
        placed += len(zones) * book.place(" ".join(zones.astype(str)), spots, size_pt=LABEL_PT)
    return len(best) - placed
