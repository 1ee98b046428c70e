"""The layers of the field map beside the infested ground: zones, access, features, ways, places."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from invasimap.core.crs import shown_place
from invasimap.land.raster import joined_polygons
from invasimap.prescription.plan import Plan
from invasimap.reports import style
from invasimap.reports.map_layers import way_machines
from invasimap.reports.packed import WebLayer
from invasimap.reports.patterns import area_look, line_look, mark_look
from invasimap.reports.web_patches import faces_layer, patches_layer, stands_layers
from invasimap.reports.wording import ACCESS_WORDS, WAY_WORDS, ZONE_WORDS, limit_words, rows_of, whole_length

FEATURES, WAYS = "protected features", "ways and barriers"
ASIDE_PT, AROUND_M = 6.0, 50_000.0


def web_layers(plan: Plan) -> list[WebLayer]:
    """Every layer of the field map, in the order they are drawn; layers without shapes are left out."""
    layers = [
        *_ground(plan), _access(plan), *_protection(plan), *_features(plan), *_ways(plan), _veil(plan),
        faces_layer(plan), patches_layer(plan), *stands_layers(plan), *_places(plan),
    ]  # fmt: skip
    return [layer for layer in layers if len(layer.shapes)]


def _ground(plan: Plan) -> list[WebLayer]:
    layers = {"open_ground": plan.open_ground, "wet_ground": plan.wet_ground}
    return [
        WebLayer(
            name=name,
            switch="open and wet ground",
            shapes=rows.geometry.to_numpy(),
            looks=[area_look(style.GROUND[name])],
            titles=[name.replace("_", " ")] * len(rows),
        )
        for name, rows in layers.items()
    ]


def _access(plan: Plan) -> WebLayer:
    """How all ground is reached, hidden until it is asked for."""
    found = [(access, access_ground(plan, access)) for access in style.ACCESS] if len(plan.access) else []
    names = [access for access, rows in found for _ in range(len(rows))]
    rows = [access_facts(row, access) for access, part in found for row in rows_of(part)]
    looks = [area_look(look) | {"edge": "", "width": 0} for look in style.ACCESS.values()]
    shapes = np.concatenate([np.empty(0, object), *(part.geometry.to_numpy() for _, part in found)])
    return WebLayer(
        name="access", switch="access to all ground", on=False, shapes=shapes, looks=looks,
        look=[list(style.ACCESS).index(access) for access in names], titles=[ACCESS_WORDS[access] for access in names],
        terms=["reached by", "not better because"], rows=rows,
    )  # fmt: skip


def access_facts(row: Any, access: str) -> list[str]:
    """Of a row of ``access_ground``: every class that reaches it, and what keeps it from a better one."""
    by = ", ".join(ACCESS_WORDS[name] for name in row.reached_by.split(";") if name)
    return [by, limit_words(row.limit, access) if row.limit else ""]


def access_ground(plan: Plan, access: str) -> gpd.GeoDataFrame:
    """Ground of one access class in and just round the stands, the steps of the grid smoothed.

    One row for each ``limit`` and ``reached_by`` that occur together.
    """
    rows = _whether_driven_or_not(plan, plan.access[plan.access["access"] == access])
    stands = shapely.union_all(plan.stands.geometry.to_numpy())
    around = shapely.buffer(shapely.simplify(stands, plan.terrain.cell_m), 2 * plan.terrain.cell_m)
    found: dict[str, Any] = {"limit": [], "reached_by": [], "geometry": []}
    for (limit, reached_by), alike in rows.groupby(["limit", "reached_by"], sort=True):
        shapes = shapely.simplify(alike.geometry.to_numpy(), 1.0 * plan.terrain.cell_m)
        touching = shapes[shapely.intersects(shapes, around)]
        if len(touching):
            found["limit"].append(limit)
            found["reached_by"].append(reached_by)
            found["geometry"].append(shapely.multipolygons(_areas(shapely.make_valid(touching))))
    return gpd.GeoDataFrame(found, geometry="geometry", crs=plan.crs)


def _whether_driven_or_not(plan: Plan, rows: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Rows joined where they differ by ``hose_only`` alone, so that no seam is drawn along what a machine drives."""
    if rows["hose_only"].nunique() < 2:
        return rows
    alike = rows.groupby(["limit", "reached_by"], sort=True)
    known = alike.first()[[]].reset_index()
    joined = joined_polygons(rows.geometry.to_numpy(), alike.ngroup().to_numpy() + 1, plan.terrain)
    return joined[["geometry"]].join(known.iloc[joined["code"] - 1].set_index(joined.index))


def _areas(shapes: Any) -> Any:
    parts = shapely.get_parts(shapely.get_parts(shapes))
    return parts[shapely.get_dimensions(parts) == 2]


def _protection(plan: Plan) -> list[WebLayer]:
    layer, found = plan.protection, []
    for zone in ("hand_only", "no_spray"):
        rows = layer[layer["zone"] == zone]
        found.append(
            WebLayer(
                name=f"zone_{zone}",
                switch=f"{ZONE_WORDS[zone]} zones",
                shapes=rows.geometry.to_numpy(),
                looks=[area_look(style.ZONE[zone])],
                titles=[f"{ZONE_WORDS[zone]} zone"] * len(rows),
                terms=["because of", "rule"],
                rows=[[str(row.kind), str(row.rule)] for row in rows_of(rows)],
            )
        )
    return found


def _features(plan: Plan) -> list[WebLayer]:
    """Protected features with an extent; places come last, over everything (``_places``)."""
    features = plan.features
    spots = shapely.get_dimensions(features.geometry.to_numpy()) == 0
    rows = features[~spots]
    lines = {name: line_look(style.LINE[name]) for name in ("water", "dry_water", "feature")}
    areas = {f"{name} area": area_look(look) for name, look in style.FEATURE_AREA.items()}
    flat = shapely.get_dimensions(rows.geometry.to_numpy()) == 2
    keys = [
        f"{style.feature_look(kind)} area" if area else style.line_look(kind)
        for kind, area in zip(rows["kind"].astype(str), flat, strict=True)
    ]
    return [_feature_layer("features", rows, lines | areas, keys)]


def _feature_layer(name: str, rows: gpd.GeoDataFrame, looks: dict[str, dict[str, Any]], keys: list[str]) -> WebLayer:
    return WebLayer(
        name=name, switch=FEATURES, shapes=rows.geometry.to_numpy(), titles=[str(kind) for kind in rows["kind"]],
        looks=list(looks.values()), look=[list(looks).index(key) for key in keys],
    )  # fmt: skip


def _ways(plan: Plan) -> list[WebLayer]:
    kinds = list(WAY_WORDS)
    looks = [style.way_look(text) for text in way_machines(plan.ways)]
    barrier = line_look(style.LINE["barrier"])
    return [
        WebLayer(
            name="ways", switch=WAYS, shapes=plan.ways.geometry.to_numpy(), look=[kinds.index(name) for name in looks],
            looks=[line_look(style.WAY[name]) for name in kinds], titles=[WAY_WORDS[name] for name in looks],
        ),
        _plain("barriers", WAYS, plan.barriers.geometry.to_numpy(), barrier, ["barrier"] * len(plan.barriers)),
    ]  # fmt: skip


def _veil(plan: Plan) -> WebLayer:
    """A veil over what lies outside the stands, so that the tract stands out, as on paper."""
    stands = shapely.union_all(plan.stands.geometry.to_numpy())
    outside = shapely.difference(shapely.box(*shapely.buffer(shapely.envelope(stands), AROUND_M).bounds), stands)
    return WebLayer(
        name="veil", switch="veil over what is outside", shapes=np.array([outside], object),
        looks=[area_look(style.VEIL)],
    )  # fmt: skip


def _feature_places(plan: Plan) -> WebLayer:
    """Protected features that are places: the mark of each kind as on paper."""
    rows = plan.features[shapely.get_dimensions(plan.features.geometry.to_numpy()) == 0]
    looks = {
        kind: mark_look(
            mark, style.LINE[style.feature_look(kind)].color, size_pt=style.SPOT_PT["feature"], edge=style.PAPER
        )
        for kind, mark in style.feature_marks(plan.features["kind"].astype(str)).items()
    }
    return _feature_layer("feature_places", rows, looks, list(rows["kind"].astype(str)))


def _places(plan: Plan) -> list[WebLayer]:
    aside, size = plan.set_aside, style.SPOT_PT
    crossing = mark_look(style.CROSSING_MARK, style.PAPER, size_pt=size["crossing"])
    entry = mark_look(style.ENTRY_MARK, style.INK, size_pt=size["entry"], edge=style.PAPER)
    unused = line_look(style.LINE["set_aside"])
    return [
        _feature_places(plan),
        WebLayer(
            name="set_aside", switch="records set aside", shapes=aside.geometry.to_numpy(),
            looks=[mark_look("o", "", size_pt=ASIDE_PT) | unused],
            titles=["set aside: not in any figure"] * len(aside), terms=["why", "from"],
            rows=[[str(row.reason), f"{row.file}, record {row.record}"] for row in rows_of(aside)],
        ),
        _plain("crossings", WAYS, _points(plan.crossings), crossing, ["crossing"] * len(plan.crossings)),
        _parking(plan),
        _plain("entries", WAYS, _points(plan.entries), entry, ["entry"] * len(plan.entries)),
    ]  # fmt: skip


def _parking(plan: Plan) -> WebLayer:
    """Parking places, hidden until they are asked for."""
    look = mark_look(style.PARKING_MARK, style.PAPER, size_pt=style.SPOT_PT["parking"])
    return WebLayer(
        name="parking", switch="where to park for a hose", on=False, shapes=plan.parking.geometry.to_numpy(),
        looks=[look], titles=["park here for a hose"] * len(plan.parking),
        terms=["zone", "stop", "place", "hose", "lift", "serves"], rows=parking_facts(plan),
    )  # fmt: skip


def parking_facts(plan: Plan) -> list[list[str]]:
    """Of each parking place: its zone, its rank there, the place, the hose and the lift it takes (rounded up)."""
    stops, places = plan.parking.groupby("zone_id").size(), plan.parking.geometry.to_crs(4326)
    return [
        [
            str(row.zone_id),
            f"{row.stop} of {stops[row.zone_id]}",
            shown_place(y, x),
            whole_length(row.hose_m, plan.shown),
            whole_length(row.lift_m, plan.shown),
            f"{math.floor(row.share_pct)} % of what a hose reaches there",
        ]
        for row, (x, y) in zip(rows_of(plan.parking), shapely.get_coordinates(places), strict=True)
    ]


def _plain(name: str, switch: str, shapes: Any, look: dict[str, Any], titles: Sequence[str]) -> WebLayer:
    return WebLayer(name=name, switch=switch, shapes=shapes, looks=[look], titles=titles)


def _points(layer: gpd.GeoDataFrame) -> Any:
    return shapely.point_on_surface(layer.geometry.to_numpy())
