"""What people laid over the ground: tract line, ways, fields, fence, crossings, stands, and what to protect."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from sample_stands import make_stands
from sample_terrain import Grid, Raster, route, to_uv, to_xy
from sample_water import CRS, blob, carve_channels, outlines, streams, wet_ground, wetlands
from sample_ways import Network, Router, chain, coarse, cut_in, insert_vertex, make_router, tie
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import substring

TRACT_UV = (
    (-925, -205), (-240, -240), (-232, -150), (400, -182), (905, -212), (893, 372), (742, 380), (752, 760),
    (900, 772), (884, 1142), (180, 1118), (-85, 1160), (-905, 1128), (-918, 470),
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Every vector layer of the sample, in EPSG:26917 metres."""

    tract: Polygon
    streams: gpd.GeoDataFrame
    wetlands: gpd.GeoDataFrame
    wet: gpd.GeoDataFrame
    ways: gpd.GeoDataFrame
    open_ground: gpd.GeoDataFrame
    barriers: gpd.GeoDataFrame
    crossings: gpd.GeoDataFrame
    stands: gpd.GeoDataFrame
    gates: gpd.GeoDataFrame
    rare: gpd.GeoDataFrame
    well: Point
    organic: Polygon


def at(u: float, v: float) -> Grid:
    """Map coordinates (m) of fold coordinates."""
    return np.array(to_xy(np.float64(u), np.float64(v)))


def tract_line() -> Polygon:
    """The surveyed outline of the tract: straight courses between corners."""
    return Polygon([np.round(at(u, v), 2) for u, v in TRACT_UV])


def cliffs(ground: Raster, tract: Polygon) -> list[Polygon]:
    """The steep outcrops as polygons."""
    steep = ground.slope_pct(smooth_m=2.5)
    near = tract.buffer(150)
    return [p for p in outlines(ground, steep, 78.0, smooth=1.2) if p.area > 260 and p.intersects(near)]


def _burden(ground: Raster, lines: gpd.GeoDataFrame, wet: gpd.GeoDataFrame, rocks: list[Polygon]) -> Grid:
    """Cost factor on the routing cells: water dear, soft ground dearer, cliffs closed."""
    x, y = ground.centres()
    points = shapely.points(x.ravel(), y.ravel())
    factor = np.ones(points.size)
    for shapes, reach, times in (
        (lines, 14.0, 4.0),
        (lines[lines["class"] == "perennial"], 16.0, 3.0),
        (wet, 6.0, 5.0),
    ):
        tree = shapely.STRtree(shapes.geometry.to_numpy())
        factor[np.unique(tree.query(points, predicate="dwithin", distance=reach)[0])] *= times
    closed = shapely.STRtree(rocks).query(points, predicate="dwithin", distance=9.0)[0]
    factor[np.unique(closed)] = np.inf
    return factor.reshape(x.shape)


def lay_ways(
    ground: Raster, lines: gpd.GeoDataFrame, wet: gpd.GeoDataFrame, rocks: list[Polygon], tract: Polygon
) -> gpd.GeoDataFrame:
    """All ways, each joined to the ones before it."""
    coarse_ground = coarse(ground, 4)
    burden = _burden(coarse_ground, lines, wet, rocks)
    x, y = coarse_ground.centres()
    inside = shapely.contains_xy(tract.buffer(-10.0), x, y)
    net = Network()
    _roads(net, make_router(coarse_ground, "road", burden=np.where(inside, burden, 3 * burden)))
    burden = np.where(inside, burden, np.inf)
    trail = make_router(coarse_ground, "trail", burden=burden)
    _trails(net, trail)
    _paths(net, make_router(coarse_ground, "path", burden=burden))
    net.lines = tie(net.lines)
    return net.frame()


def _roads(net: Network, road: Router) -> None:
    """The valley road, its field spur, and the ridge lane."""
    net.add(
        "road",
        "Pennywhistle Run Road",
        chain(road, [at(-1130, 120), at(-700, 105), at(-60, 150), at(560, 185)]),
    )
    net.add("road", "Far meadow lane", chain(road, [net.join(-330, 110), at(-190, -95)]))
    net.add("road", "Crest lane", chain(road, [at(1090, 985), at(560, 1010), at(60, 1005), at(-470, 1000)]))


def _trails(net: Network, trail: Router) -> None:
    """The ATV trails: up through the gap to the crest, along the bench both ways, and the ridge's end."""
    net.add("trail", "Gap trail", chain(trail, [net.join(-260, 120), net.join(30, 1005)]))
    net.add("trail", "North bench trail", chain(trail, [net.join(-60, 430), at(640, 560)]))
    net.add("trail", "South bench trail", chain(trail, [net.join(-60, 430), at(-790, 560)]))
    net.add("trail", "Run trail", chain(trail, [net.join(560, 185), at(880, -60)]))
    net.add("trail", "Heath trail", chain(trail, [net.join(-470, 1000), at(-840, 1050)]))


def _paths(net: Network, path: Router) -> None:
    """The foot paths."""
    net.add("path", "Overlook path", chain(path, [net.join(330, 480), at(360, 700), net.join(420, 1005)]))
    net.add("path", "Hogback path", chain(path, [net.join(480, 180), net.join(420, 490)]))


FIELDS = (
    # name, least and greatest u, least and greatest v, steepest (%)
    ("hay meadow", -140, 470, 30, 262, 15.0),
    ("old field", -860, -420, -20, 225, 15.0),
    ("crest field", -170, 560, 925, 1090, 15.0),
)


def open_ground(ground: Raster, lines: gpd.GeoDataFrame, wet: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Fields on gentle ground of the valley floor and the ridge top, clear of water."""
    slope = ground.slope_pct(smooth_m=14.0)
    u, v = to_uv(*ground.centres())
    keep_off = shapely.union_all([*lines.geometry.buffer(11.0), *wet.geometry.buffer(3.0)])
    rows = []
    for name, u0, u1, v0, v1, steepest in FIELDS:
        middle_u, half_u, middle_v, half_v = (u0 + u1) / 2, (u1 - u0) / 2, (v0 + v1) / 2, (v1 - v0) / 2
        inside = 1 - np.abs((u - middle_u) / half_u) ** 5 - np.abs((v - middle_v) / half_v) ** 5
        score = np.minimum((steepest - slope) / 6.0, inside * 3.0)
        whole = Polygon(outlines(ground, score, 0.0, smooth=3)[0].exterior)
        trimmed = whole.difference(keep_off).buffer(-9).buffer(18).buffer(-9).simplify(1.0)
        trimmed = max(shapely.get_parts(trimmed.difference(keep_off)), key=lambda p: p.area)
        rows.append({"name": name, "geometry": shapely.set_precision(trimmed, 0.01)})
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)


def fence_line(fields: gpd.GeoDataFrame) -> LineString:
    """A fence round most of the hay meadow; the side along the run is open."""
    ring = LineString(fields.geometry.iloc[0].buffer(2.5).simplify(2.5).exterior.coords)
    _, v = to_uv(*np.array(ring.coords).T)
    start = int(np.argmin(v))
    turned = LineString([*ring.coords[start:-1], *ring.coords[: start + 1]])
    return substring(turned, 0.12, 0.86, normalized=True)


def cross(
    ways: gpd.GeoDataFrame, lines: gpd.GeoDataFrame, fence: LineString
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, LineString, gpd.GeoDataFrame]:
    """Crossing points of ways with streams and the fence, put as exact vertices into both; all four come back."""
    roads, water, rows = list(ways.geometry), list(lines.geometry), []
    for i, (kind, name) in enumerate(zip(ways["class"], ways["name"], strict=True)):
        for j, (flow, run) in enumerate(zip(lines["class"], lines["name"], strict=True)):
            for point in _meetings(roads[i], water[j]):
                roads[i], water[j] = insert_vertex(roads[i], point), insert_vertex(water[j], point)
                rows.append(
                    {
                        "kind": _structure(kind, flow),
                        "name": f"{name} at {run or 'side hollow'}",
                        "geometry": point,
                    }
                )
        for point in _meetings(roads[i], fence):
            roads[i], fence = insert_vertex(roads[i], point), insert_vertex(fence, point)
            rows.append({"kind": "gate", "name": f"{name} fence gate", "geometry": point})
    crossings = gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)
    return ways.set_geometry(roads, crs=CRS), lines.set_geometry(water, crs=CRS), fence, crossings


def _meetings(a: LineString, b: LineString) -> list[Point]:
    """Where two lines cross, to the centimetre."""
    parts = shapely.get_parts(a.intersection(b))
    return [Point(round(p.x, 2), round(p.y, 2)) for p in parts if p.geom_type == "Point"]


def _structure(way: str, flow: str) -> str:
    """What carries a way over water."""
    table = {
        ("road", "perennial"): "bridge", ("road", "intermittent"): "culvert",
        ("trail", "perennial"): "ford", ("trail", "intermittent"): "culvert",
        ("path", "perennial"): "footbridge", ("path", "intermittent"): "ford",
    }  # fmt: skip
    return table[way, flow]


def gates(ways: gpd.GeoDataFrame, tract: Polygon) -> gpd.GeoDataFrame:
    """Where the ways come through the tract's edge."""
    names = {"Pennywhistle Run Road": "Run gate", "Crest lane": "Crest gate"}
    rows = []
    for name, line in zip(ways["name"], ways.geometry, strict=True):
        rows += [{"name": names[name], "geometry": point} for point in _meetings(line, tract.exterior)]
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)


def rare_sites(rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Invented sites of rare plants: small uneven polygons, half-length given in metres."""
    sites = (
        ("rare orchid site", 300, -62, 11), ("rare sedge site", 415, -20, 8), ("rare fern site", -35, 372, 13),
        ("rare lily site", 300, 566, 12), ("rare mint site", 120, 925, 16),
    )  # fmt: skip
    rows = [{"site": s, "geometry": blob(rng, u, v, along=r, across=0.8 * r, rough=0.2)} for s, u, v, r in sites]
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)


def organic_field(tract: Polygon, lines: gpd.GeoDataFrame) -> Polygon:
    """The neighbour's field: it shares a stretch of the tract's valley boundary."""
    perennial = lines.geometry[lines["class"] == "perennial"]
    corners = [at(u, v) for u, v in ((-900, -190), (-1090, -180), (-1150, 0), (-1120, 88), (-900, 82))]
    field = Polygon(corners).difference(shapely.union_all([tract, *perennial.buffer(12.0)]))
    adjoining = [p for p in shapely.get_parts(field) if p.distance(tract) < 0.01]
    whole: Polygon = max(adjoining, key=lambda p: p.area)
    return whole


def make_layout(rng: np.random.Generator, bare: Raster) -> tuple[Raster, Layout]:
    """Every layer of the sample, and the ground with channels and ways cut into it."""
    tract = tract_line()
    lines = streams(bare, route(bare.z, bare.cell))
    ground = carve_channels(bare, lines)
    wetland = wetlands(rng, ground, lines)
    wet = wet_ground(ground, lines, wetland)
    rocks = cliffs(ground, tract)
    ways = lay_ways(ground, lines, wet, rocks, tract)
    fields = open_ground(ground, lines, wet)
    ways, lines, fence, crossings = cross(ways, lines, fence_line(fields))
    ground = cut_in(ground, ways, lines)
    barriers = gpd.GeoDataFrame(
        {"kind": ["cliff"] * len(rocks) + ["fence"], "name": ["Quillback ledges"] * len(rocks) + ["meadow fence"]},
        geometry=[*rocks, fence], crs=CRS,
    )  # fmt: skip
    return ground, Layout(
        tract=tract, streams=lines, wetlands=wetland, wet=wet, ways=ways, open_ground=fields, barriers=barriers,
        crossings=crossings, stands=make_stands(rng, ground, tract, lines, fields, rocks), gates=gates(ways, tract),
        rare=rare_sites(rng), well=Point(np.round(at(-455, 138), 1)), organic=organic_field(tract, lines),
    )  # fmt: skip
