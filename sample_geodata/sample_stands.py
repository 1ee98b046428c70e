"""Stands that follow streams, field edges, cliffs and contours, with edges shared exactly (scipy, shapely)."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import rasterio.features
import shapely
from affine import Affine
from numpy.typing import NDArray
from sample_terrain import Grid, Raster, noise, to_xy
from sample_water import CRS, resample, smooth_line
from sample_ways import coarse
from scipy import ndimage, sparse
from scipy.sparse import csgraph
from shapely.geometry import LineString, Polygon

M2_PER_ACRE = 43_560 * 0.3048**2
STANDS = (
    # id, cover type, fold coordinates of its seed, how readily it spreads
    ("1", "old field and cedar", -640, 110, 1.0),
    ("2A", "sycamore bottom", -720, -120, 1.0),
    ("2B", "bottomland hardwoods", -230, -60, 1.0),
    ("3", "hay meadow", 30, 130, 1.0),
    ("4A", "wet meadow and alder", 360, -40, 0.8),
    ("4B", "bottomland hardwoods", 720, 20, 1.0),
    ("5", "Virginia pine on shale", -560, 300, 1.0),
    ("6", "Virginia pine on shale", 420, 290, 1.0),
    ("7", "cove hardwoods", -640, 540, 1.0),
    ("8", "cove hardwoods", -120, 470, 1.0),
    ("9A", "cove hardwoods", 330, 520, 1.0),
    ("9B", "young hardwoods", 640, 600, 0.8),
    ("10", "oak and hickory", -330, 720, 1.0),
    ("11", "oak and hickory", 230, 760, 1.0),
    ("12", "chestnut oak on cliffs", -760, 780, 0.9),
    ("13", "oak and hickory", 780, 900, 0.9),
    ("14", "ridge-top field", 250, 1010, 1.0),
    ("15", "oak and pine heath", -560, 1040, 1.0),
)


def _barrier(ground: Raster, shapes: list[shapely.Geometry], reach_m: float, extra_m: float) -> Grid:
    """Extra metres for entering the cells within reach of the shapes."""
    x, y = ground.centres()
    hit = shapely.STRtree(shapes).query(shapely.points(x.ravel(), y.ravel()), predicate="dwithin", distance=reach_m)
    out = np.zeros(x.size)
    out[np.unique(hit[0])] = extra_m
    return out.reshape(x.shape)


def _spread_graph(ground: Raster, extra: Grid, ease: Grid) -> sparse.csr_matrix:
    """Eight-neighbour graph in which climbing and crossing edges cost metres."""
    rows, cols = ground.z.shape
    ids = np.arange(rows * cols).reshape(rows, cols)
    parts: list[tuple[Grid, Grid, Grid]] = []
    for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
        a = ids[: rows - dr, max(0, -dc) : cols - max(0, dc)].ravel()
        b = a + dr * cols + dc
        rise = np.abs(ground.z.ravel()[a] - ground.z.ravel()[b])
        toll = np.abs(extra.ravel()[a] - extra.ravel()[b])
        cost = (ground.cell * np.hypot(dr, dc) + 4.5 * rise) * (ease.ravel()[a] + ease.ravel()[b]) / 2 + toll
        parts += [(a, b, cost), (b, a, cost)]
    data, src, dst = (np.concatenate([p[i] for p in parts]) for i in (2, 0, 1))
    return sparse.coo_matrix((data, (src, dst)), shape=(rows * cols, rows * cols)).tocsr()


def _labels(ground: Raster, graph: sparse.csr_matrix) -> NDArray[np.int16]:
    """The number of the stand whose seed is cheapest to reach, per cell."""
    cost = np.full((len(STANDS), ground.z.size), np.inf)
    for i, (_, _, u, v, reach) in enumerate(STANDS):
        r, c = ground.index(*to_xy(np.float64(u), np.float64(v)))
        seed = round(float(r)) * ground.z.shape[1] + round(float(c))
        cost[i] = csgraph.dijkstra(graph, indices=seed) / reach
    labels = cost.argmin(axis=0).reshape(ground.z.shape).astype(np.int16)
    votes = [ndimage.gaussian_filter((labels == i).astype(float), 1.6) for i in range(len(STANDS))]
    return np.asarray(np.argmax(votes, axis=0), dtype=np.int16)


def _arcs(ground: Raster, labels: NDArray[np.int16]) -> list[LineString]:
    """Edges between labels as smooth lines that meet only at their ends."""
    transform = Affine(ground.cell, 0, ground.west, 0, -ground.cell, ground.north)
    rings = [shapely.geometry.shape(s).boundary for s, _ in rasterio.features.shapes(labels, transform=transform)]
    merged = shapely.line_merge(shapely.union_all(rings))
    arcs = []
    for line in shapely.get_parts(merged):
        xy = resample(np.array(line.coords), 5.0)
        arcs.append(LineString(smooth_line(xy, sigma=3.2)).simplify(0.5))
    return arcs


def _faces(arcs: list[LineString], tract: Polygon) -> list[Polygon]:
    """The pieces the arcs cut the tract into, edges equal to the last digit."""
    inside = [a for a in arcs if a.intersects(tract)]
    noded = shapely.union_all([*inside, tract.exterior], grid_size=0.01)
    pieces = shapely.get_parts(shapely.polygonize([noded]))
    return [p for p in pieces if tract.buffer(0.02).contains(p.representative_point())]


def _assign(faces: list[Polygon], ground: Raster, labels: NDArray[np.int16]) -> NDArray[np.int64]:
    """The stand number of each face; scraps under half an acre, and lesser islands, join their longest neighbour."""
    at = [ground.index(p.representative_point().x, p.representative_point().y) for p in faces]
    number = np.array([labels[round(float(r)), round(float(c))] for r, c in at], dtype=np.int64)
    area = shapely.area(faces)
    for i in np.argsort(area):
        biggest = area[number == number[i]].max()
        if area[i] < 0.5 * M2_PER_ACRE or area[i] < 0.2 * biggest:
            shared = [
                shapely.length(faces[i].boundary.intersection(f.boundary)) if number[j] != number[i] else 0.0
                for j, f in enumerate(faces)
            ]
            number[i] = number[int(np.argmax(shared))]
    return number


def make_stands(
    rng: np.random.Generator,
    ground: Raster,
    tract: Polygon,
    lines: gpd.GeoDataFrame,
    fields: gpd.GeoDataFrame,
    rocks: list[Polygon],
) -> gpd.GeoDataFrame:
    """The stands of the tract as a planar partition, with the area of each in acres."""
    grid = coarse(ground, 3)
    extra = np.zeros(grid.z.shape)
    for shapes, reach, metres in (
        (list(lines.geometry), 6.0, 70.0),
        (list(fields.geometry), 1.0, 420.0),
        (rocks, 1.0, 60.0),
    ):
        extra += _barrier(grid, shapes, reach, metres)
    ease = np.exp(0.45 * noise(rng, grid.z.shape, scale=40))
    flat = Raster(z=ndimage.gaussian_filter(grid.z, 2.0), west=grid.west, north=grid.north, cell=grid.cell)
    labels = _labels(grid, _spread_graph(flat, extra, ease))
    faces = _faces(_arcs(grid, labels), tract)
    number = _assign(faces, grid, labels)
    present = np.unique(number)
    shapes = [
        shapely.union_all([f for f, n in zip(faces, number, strict=True) if n == i], grid_size=0.01) for i in present
    ]
    if not shapely.coverage_is_valid(shapes):
        raise ValueError("the invented stands do not share their edges exactly")
    table = {"stand": [STANDS[i][0] for i in present], "cover_type": [STANDS[i][1] for i in present]}
    table["area_ac"] = [round(s.area / M2_PER_ACRE, 2) for s in shapes]
    return gpd.GeoDataFrame(table, geometry=shapes, crs=CRS)
