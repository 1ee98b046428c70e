"""Streams from the ground's own flow, and the polygons that hug them (numpy, scipy, shapely, contourpy)."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import contourpy
import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from sample_terrain import Flow, Grid, Raster, noise, to_uv, to_xy
from scipy import ndimage
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

CRS = "EPSG:26917"
HEAD_M2 = 4.2e4  # ground drained where a channel starts
PERENNIAL_M2 = 2.9e5  # ground drained where it flows all year
MAIN_M2 = 1.1e6  # ground drained by the named run in the valley
MAIN_NAME, BRANCH_NAME = "Pennywhistle Run", "Whetrock Branch"


@dataclass(frozen=True, kw_only=True)
class Link:
    """A piece of channel between two nodes: cell numbers downstream, its class and the most ground it drains."""

    cells: list[int]
    perennial: bool
    area_m2: float


def smooth_line(xy: Grid, *, sigma: float, passes: int = 1) -> Grid:
    """Gaussian-smoothed vertices, the two ends kept; `sigma` in vertices, reflected through the ends."""
    out = np.asarray(xy, float)
    pad = min(len(out) - 1, int(4 * sigma) + 1)
    if pad < 2:
        return out
    for _ in range(passes):
        head = 2 * out[0] - out[pad:0:-1]
        tail = 2 * out[-1] - out[-2 : -pad - 2 : -1]
        filtered = ndimage.gaussian_filter1d(np.vstack([head, out, tail]), sigma, axis=0)[pad : pad + len(out)]
        filtered[0], filtered[-1] = out[0], out[-1]
        out = filtered
    return out


def resample(xy: Grid, step_m: float) -> Grid:
    """Vertices about `step_m` apart along the line, ends kept."""
    line = LineString(xy)
    count = max(round(line.length / step_m), 1)
    return np.array([line.interpolate(t, normalized=True).coords[0] for t in np.linspace(0, 1, count + 1)])


def _links(flow: Flow) -> list[Link]:
    """The channel network cut at heads, junctions and where it becomes perennial."""
    area, to = flow.area_m2, flow.receiver
    cells = np.flatnonzero(area > HEAD_M2)
    channel = np.zeros(area.size, bool)
    channel[cells] = True
    donors = np.bincount(to[cells[to[cells] != cells]], minlength=area.size)
    wet = area > PERENNIAL_M2
    starts = [int(i) for i in cells if donors[i] != 1]
    wet_edge = [int(to[i]) for i in cells if not wet[i] and wet[to[i]] and donors[to[i]] == 1]
    nodes, links = set(starts) | set(wet_edge), []
    for start in sorted(nodes):
        run = [start]
        while to[run[-1]] != run[-1]:
            run.append(int(to[run[-1]]))
            if run[-1] in nodes:
                break
        if len(run) > 1:
            links.append(Link(cells=run, perennial=bool(wet[start]), area_m2=float(area[run[-2]])))
    return links


def streams(ground: Raster, flow: Flow) -> gpd.GeoDataFrame:
    """Stream lines in map metres with class, name and full width (ft); short head twigs are left out."""
    x, y = (a.ravel() for a in ground.centres())
    heads = {link.cells[0] for link in _links(flow)} - {link.cells[-1] for link in _links(flow)}
    rows = []
    for link in _links(flow):
        xy = np.column_stack([x[link.cells], y[link.cells]])
        line = LineString(xy)
        if link.cells[0] in heads and line.length < 75:
            continue
        line = LineString(smooth_line(xy, sigma=2.2)).simplify(0.35)
        main = link.area_m2 > MAIN_M2
        name = MAIN_NAME if main else (BRANCH_NAME if link.perennial else "")
        width = 14 if main else (6 if link.perennial else 3)
        kind = "perennial" if link.perennial else "intermittent"
        rows.append({"class": kind, "name": name, "width_ft": width, "geometry": line})
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)


def carve_channels(ground: Raster, lines: gpd.GeoDataFrame) -> Raster:
    """Sink a small bed along every stream, so that the ground drains where the lines are drawn."""
    z = ground.z.copy()
    for width, line in sorted(zip(lines["width_ft"], lines.geometry, strict=True), key=lambda row: row[0]):
        xy = resample(np.array(line.coords), 1.5)
        r, c = (np.rint(i).astype(int) for i in ground.index(xy[:, 0], xy[:, 1]))
        ok = (r >= 0) & (c >= 0) & (r < z.shape[0]) & (c < z.shape[1])
        depth = 0.25 + 0.05 * width
        z[r[ok], c[ok]] = np.minimum(z[r[ok], c[ok]], ground.z[r[ok], c[ok]] - depth)
    return Raster(z=z, west=ground.west, north=ground.north, cell=ground.cell)


def outlines(ground: Raster, field: Grid, level: float, *, smooth: float = 1.5) -> list[Polygon]:
    """Smoothed polygons (holes kept) where `field`, on the ground's cells, lies above `level`; largest first."""
    x = ground.west + (np.arange(field.shape[1]) + 0.5) * ground.cell
    y = ground.north - (np.arange(field.shape[0]) + 0.5) * ground.cell
    filled = contourpy.contour_generator(
        x, y, ndimage.gaussian_filter(field, smooth), fill_type=contourpy.FillType.OuterOffset
    )
    points, offsets = filled.filled(level, np.inf)
    found = []
    for xy, off in zip(points, offsets, strict=True):
        rings = [xy[a:b] for a, b in pairwise(off)]
        polygon = Polygon(rings[0], rings[1:]).simplify(0.6)
        found.append(polygon if polygon.is_valid else polygon.buffer(0))
    return sorted((p for p in found if not p.is_empty), key=lambda p: -p.area)


def above_water(ground: Raster, lines: gpd.GeoDataFrame) -> tuple[Grid, Grid]:
    """Height above the nearest reach of the main run and distance from it (m), on every cell."""
    main = lines[lines["name"] == MAIN_NAME]
    seen = np.ones(ground.z.shape, bool)
    for line in main.geometry:
        xy = resample(np.array(line.coords), 2.0)
        r, c = (np.rint(i).astype(int) for i in ground.index(xy[:, 0], xy[:, 1]))
        ok = (r >= 0) & (c >= 0) & (r < seen.shape[0]) & (c < seen.shape[1])
        seen[r[ok], c[ok]] = False
    away, near = ndimage.distance_transform_edt(seen, sampling=ground.cell, return_indices=True)
    return ground.z - ground.z[near[0], near[1]], away


def blob(rng: np.random.Generator, u: float, v: float, *, along: float, across: float, rough: float = 0.12) -> Polygon:
    """A rounded, uneven polygon centred on fold coordinates; half-lengths in metres."""
    turn = np.linspace(0, 2 * np.pi, 73)[:-1]
    wobble = np.ones_like(turn)
    for wave in range(2, 7):
        wobble += rough / (wave - 1) * rng.standard_normal() * np.cos(wave * turn + rng.uniform(0, 2 * np.pi))
    x, y = to_xy(u + along * wobble * np.cos(turn), v + across * wobble * np.sin(turn))
    return Polygon(np.column_stack([x, y]))


def wetlands(rng: np.random.Generator, ground: Raster, lines: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The wet meadow beside the run and the pond above it."""
    height, away = above_water(ground, lines)
    u, v = to_uv(*ground.centres())
    ragged = noise(rng, ground.z.shape, scale=25)
    low = 2.9 + 0.35 * ragged - height - ((u - 330) / 165) ** 4 - np.clip(away - 75, 0, None) / 12
    meadow = outlines(ground, np.where(v > -160, low, -9.0), 0.0, smooth=3)[0]
    meadow = Polygon(meadow.exterior)
    pond = blob(rng, 600.0, 128.0, along=26, across=17, rough=0.1)
    assert_apart(pond, meadow)
    rows = [{"kind": "wet meadow", "geometry": meadow}, {"kind": "pond", "geometry": pond}]
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)


def assert_apart(a: BaseGeometry, b: BaseGeometry) -> None:
    """Stop the build where two features that must be apart touch."""
    if a.intersects(b):
        raise ValueError("two invented features that must lie apart touch; move one")


def wet_ground(ground: Raster, lines: gpd.GeoDataFrame, wet: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Soft ground: round the meadow and pond, and low strips along the run."""
    height, away = above_water(ground, lines)
    low = np.where(away < 40, 0.95 - height - away / 60, -5.0)
    strips = [p for p in outlines(ground, low, 0.0, smooth=2) if p.area > 500]
    soft = shapely.union_all([*strips, *wet.geometry.buffer(9.0)])
    parts = shapely.get_parts(soft.simplify(0.5))
    rows = [{"kind": "wet ground", "geometry": p} for p in parts]
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS)


def nearest_vertex(lines: list[LineString], point: Point) -> NDArray[np.float64]:
    """The vertex of the lines that lies nearest to a point."""
    xy = np.vstack([np.array(line.coords) for line in lines])
    best: NDArray[np.float64] = xy[np.argmin(np.hypot(xy[:, 0] - point.x, xy[:, 1] - point.y))]
    return best
