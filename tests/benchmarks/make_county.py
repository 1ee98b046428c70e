"""A county made by seed, to measure acreage on: stands, patches, water, sensitive points and access with raster edges.

    python tests/benchmarks/make_county.py FOLDER STANDS PATCHES SEED

Writes GeoParquet (metres, EPSG:26915): ``stands`` (stand), ``patches`` (species 0-11; radius of those that are points),
``water`` (kind, buf: how far spray keeps away), ``sensitive`` (buf), ``access`` (cls 1-3; the largest polygon of a
county has a million and a half vertices).
"""

from __future__ import annotations

import sys
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio.features
import rasterio.transform
import shapely
from scipy.ndimage import zoom
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree
from scipy.spatial import Delaunay, Voronoi

FT, ACRE = 0.3048, 4046.8564224
CRS = "EPSG:26915"
ORIGIN = np.array([400_000.0, 4_500_000.0])
SPECIES = 12
CELL_M = 10 * FT
EDGE_M = 150.0  # nothing but stands comes nearer to the county's edge


def make_county(stands: int, patches: int, seed: int) -> dict[str, gpd.GeoDataFrame]:
    """The layers by name; stands of about 50 acres."""
    rng = np.random.default_rng(seed)
    width = float(np.sqrt(stands * 50 * ACRE))
    shapes = _stands(rng, stands, width)
    places, species, radius, footprints = _patches(rng, patches, width)
    water, kind, buffers = _water(rng, stands, width)
    spots = max(10, stands // 2)
    near = places[rng.integers(0, patches, spots)] + rng.normal(0, 25, (spots, 2))
    anywhere = rng.uniform(EDGE_M, width - EDGE_M, (spots, 2))
    sensitive = np.clip(np.where(rng.random(spots)[:, None] < 0.5, near, anywhere), EDGE_M, width - EDGE_M)
    classes, access = _access(rng, width)

    def layer(geometry, **columns):
        return gpd.GeoDataFrame(columns, geometry=shapely.transform(geometry, lambda xy: xy + ORIGIN), crs=CRS)

    return {
        "stands": layer(shapes, stand=np.arange(len(shapes))),
        "patches": layer(footprints, species=species, radius=radius),
        "water": layer(water, kind=kind, buf=buffers),
        "sensitive": layer(shapely.points(sensitive), buf=np.full(spots, 100 * FT)),
        "access": layer(access, cls=classes),
    }


def _bent(rng, lengths_m, slope):
    """A smooth displacement of places: a sum of sines whose gradient stays below ``slope``."""
    waves = []
    for length in np.repeat(lengths_m, 3):
        way, phase, toward = rng.uniform(0, 2 * np.pi, 3)
        k = 2 * np.pi / length
        waves.append((k * np.cos(way), k * np.sin(way), phase, slope / (3 * len(lengths_m)) / k, toward))

    def bend(xy):
        out = xy.copy()
        for kx, ky, phase, height, toward in waves:
            by = height * np.sin(xy[:, 0] * kx + xy[:, 1] * ky + phase)
            out += by[:, None] * (np.cos(toward), np.sin(toward))
        return out

    return bend


def _dense(start, end, step_m):
    count = max(1, int(np.ceil(np.hypot(*(end - start)) / step_m)))
    return start + (end - start) * np.linspace(0, 1, count + 1)[:, None]


def _stands(rng, count, width):
    """Cells of a shaken grid (Voronoi) with bent borders; neighbours share every vertex."""
    side = round(np.sqrt(count))
    step = width / side
    column, row = (axis.ravel() for axis in np.meshgrid(np.arange(side), np.arange(side)))
    centres = np.column_stack([(column + 0.5 * (row % 2) + 0.25) * step, (row + 0.5) * step])
    centres = np.clip(centres + rng.uniform(-0.45, 0.45, centres.shape) * step, 0.1 * step, width - 0.1 * step)
    mirrored = [centres]
    for axis, edge in ((0, 0.0), (0, width), (1, 0.0), (1, width)):
        close = centres[np.abs(centres[:, axis] - edge) < 2 * step].copy()
        close[:, axis] = 2 * edge - close[:, axis]
        mirrored.append(close)
    cells = Voronoi(np.concatenate(mirrored))
    borders = {}

    def border(a, b):
        key = (min(a, b), max(a, b))
        if key not in borders:
            borders[key] = _dense(cells.vertices[key[0]], cells.vertices[key[1]], 11.0)
        return borders[key] if a < b else borders[key][::-1]

    rings = []
    for number in range(len(centres)):
        corners = cells.regions[cells.point_region[number]]
        ring = [border(a, b)[:-1] for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]
        rings.append(np.concatenate([*ring, ring[0][:1]]))
    bent = _bent(rng, (2000, 700, 250, 90), 0.75)(np.concatenate(rings))
    return shapely.polygons(shapely.linearrings(bent, indices=_numbers(rings)))


def _numbers(pieces):
    return np.repeat(np.arange(len(pieces)), [len(piece) for piece in pieces])


def _blobs(rng, centres, radii, vertices, rough, stretch=1.0):
    """Round shapes with rough outlines about some centres."""
    count = len(centres)
    radius = np.exp(rng.uniform(*np.log(radii), count))
    corners = rng.integers(vertices[0], vertices[1] + 1, count)
    of = np.repeat(np.arange(count), corners)
    angle = 2 * np.pi * (np.arange(len(of)) - np.repeat(np.cumsum(corners) - corners, corners)) / corners[of]
    away = np.ones(len(of))
    for order in range(2, 8):
        height, phase = rng.normal(0, rough / order, count), rng.uniform(0, 2 * np.pi, count)
        away += height[of] * np.cos(order * angle + phase[of])
    away = np.clip(away, 0.25, 3) * radius[of]
    longer = np.exp(rng.uniform(-1, 1, count) * np.log(stretch))[of]
    turn = rng.uniform(0, 2 * np.pi, count)[of]
    x, y = away * np.cos(angle) * longer, away * np.sin(angle) / longer
    xy = np.column_stack([np.cos(turn) * x - np.sin(turn) * y, np.sin(turn) * x + np.cos(turn) * y]) + centres[of]
    return shapely.polygons(shapely.linearrings(xy, indices=of))


def _patches(rng, count, width):
    """Clusters of about forty, mostly of one species; three in five are points with a radius."""
    clusters = max(5, count // 40)
    centre = rng.uniform(EDGE_M + 100, width - EDGE_M - 100, (clusters, 2))
    common = 2.0 ** (-np.arange(SPECIES) / 3)
    kind = rng.choice(SPECIES, clusters, p=common / common.sum())
    cluster = rng.integers(0, clusters, count)
    places = np.clip(centre[cluster] + rng.normal(0, 35, (count, 2)), EDGE_M, width - EDGE_M)
    species = np.where(rng.random(count) < 0.85, kind[cluster], rng.integers(0, SPECIES, count))
    point = rng.random(count) < 0.6
    radius = np.where(point, np.exp(rng.uniform(np.log(1.0), np.log(12.0), count)), np.nan)
    footprints = np.empty(count, object)
    footprints[point] = shapely.points(places[point])
    footprints[~point] = _blobs(rng, places[~point], (4, 35), (20, 120), 0.35)
    return places, species, radius, footprints


def _tree(rng, width):
    """A random tree over shaken places: where, from the mouth up, what each drains to, how many drain it."""
    side = max(4, int(width / 600))
    step = width / side
    column, row = (axis.ravel() for axis in np.meshgrid(np.arange(side) + 0.5, np.arange(side) + 0.5))
    nodes = np.column_stack([column, row]) * step + rng.uniform(-0.35, 0.35, (side * side, 2)) * step
    corners = Delaunay(nodes).simplices
    edges = np.unique(np.sort(np.concatenate([corners[:, :2], corners[:, 1:], corners[:, ::2]]), axis=1), axis=0)
    tree = minimum_spanning_tree(coo_matrix((rng.random(len(edges)) + 0.2, edges.T), shape=(side * side,) * 2))
    order, below = breadth_first_order((tree + tree.T).tocsr(), 0, directed=False)
    drained = np.ones(side * side)
    for node in order[:0:-1]:
        drained[below[node]] += drained[node]
    return nodes, order, below, drained


def _streams(rng, width):
    """Lines of a random tree over the county, each from its head to where it meets a larger one; and what drains in."""
    nodes, order, below, drained = _tree(rng, width)
    above = np.full(len(nodes), -1)
    for node in order[1:]:
        best = above[below[node]]
        if best < 0 or drained[node] > drained[best]:
            above[below[node]] = node
    lines, flow = [], []
    for node in order:
        if below[node] >= 0 and above[below[node]] == node:
            continue
        chain = [node]
        while above[chain[-1]] >= 0:
            chain.append(above[chain[-1]])
        if below[node] >= 0:
            chain.insert(0, below[node])
        if len(chain) > 1:
            places = nodes[chain]
            pieces = [_dense(a, b, 4.0)[:-1] for a, b in pairwise(places)]
            lines.append(np.concatenate([*pieces, places[-1:]]))
            flow.append(drained[chain[1]])
    bent = _bent(rng, (800, 300, 120, 50, 25), 0.9)(np.concatenate(lines))
    return shapely.linestrings(bent, indices=_numbers(lines)), np.array(flow)


def _water(rng, stands, width):
    streams, flow = _streams(rng, width)
    ponds, wetlands = max(3, stands // 5), max(3, stands // 10)
    pond = _blobs(rng, rng.uniform(EDGE_M, width - EDGE_M, (ponds, 2)), (15, 80), (40, 200), 0.25)
    place = rng.uniform(EDGE_M + 300, width - EDGE_M - 300, (wetlands, 2))
    wetland = _blobs(rng, place, (40, 200), (200, 2000), 0.3, 2.0)
    kind = np.repeat(["stream", "pond", "wetland"], [len(streams), ponds, wetlands])
    buffers = np.concatenate([np.where(flow > 20, 100.0, 50.0), np.full(ponds, 50.0), np.full(wetlands, 100.0)]) * FT
    return shapely.make_valid(np.concatenate([streams, pond, wetland])), kind, buffers


def _access(rng, width):
    """Access classes of a smooth random field in cells of ten feet, as polygons along the cells' edges."""
    margin = np.ceil(200 / CELL_M) * CELL_M
    cells = int(np.ceil((width + 2 * margin) / CELL_M))
    field = np.zeros((cells, cells), np.float32)
    for length, height in ((1500, 1.0), (400, 0.6), (120, 0.28)):
        knots = int(np.ceil(cells * CELL_M / length)) + 3
        fine = zoom(rng.normal(0, 1, (knots, knots)).astype(np.float32), length / CELL_M, order=1, grid_mode=False)
        field += height * fine[:cells, :cells]
    low, high = np.quantile(field[:: max(1, cells // 1000), :: max(1, cells // 1000)], [0.4, 0.7])
    classes = np.where(field < low, 1, np.where(field < high, 2, 3)).astype(np.uint8)
    del field
    place = rasterio.transform.from_origin(-margin, -margin + cells * CELL_M, CELL_M, CELL_M)
    found, shapes = [], []
    for shape, value in rasterio.features.shapes(classes, connectivity=4, transform=place):
        outer, *holes = (np.array(ring) for ring in shape["coordinates"])
        shapes.append(shapely.Polygon(outer, holes))
        found.append(int(value))
    return np.array(found), np.array(shapes, object)


def write_county(folder: Path, stands: int, patches: int, seed: int) -> Path:
    """Make a county and keep it as GeoParquet in a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, layer in make_county(stands, patches, seed).items():
        layer.to_parquet(folder / f"{name}.parquet")
    return folder


if __name__ == "__main__":
    write_county(Path(sys.argv[1]), *map(int, sys.argv[2:5]))
