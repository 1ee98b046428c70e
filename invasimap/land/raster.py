"""Between vectors and the grid: shapes burnt into cells, cells turned into polygons."""

from __future__ import annotations

import threading
from itertools import chain
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from affine import Affine
from rasterio import features

from invasimap.land.cells import ALL_PARTS, PARTS, ClosedParts
from invasimap.land.cells import Mask as Mask  # noqa: PLC0414 - for those who burn shapes into it
from invasimap.land.terrain import Terrain

_BAND_PARTS = 32_000_000  # burnt at once
# rasterio silences a warning for the whole process while it works: of two threads at once one would let it through
_ONE_AT_A_TIME = threading.Lock()


def touched(geometries: Any, terrain: Terrain) -> Mask:
    """Cells that a geometry touches anywhere: a thin line gives a chain without diagonal gaps.

    Edges count with a hundredth of a cell to each side: GDAL passes over cells that a line meets only in their corners.
    """
    return _burn(_with_edges(geometries, terrain), terrain, all_touched=True)


def marked_at(places: npt.NDArray[np.float64], mask: Mask, terrain: Terrain) -> Mask:
    """Which places (x and y each) lie in marked cells, or by the edge of one (see ``touched``)."""
    found = np.zeros(len(places), bool)
    for aside in ((0.01, 0.01), (-0.01, 0.01), (0.01, -0.01), (-0.01, -0.01)):
        x, y = (places + np.array(aside) * terrain.cell_m).T
        column = np.floor((x - terrain.transform.c) / terrain.cell_m).astype(int)
        row = np.floor((terrain.transform.f - y) / terrain.cell_m).astype(int)
        inside = (row >= 0) & (row < terrain.shape[0]) & (column >= 0) & (column < terrain.shape[1])
        found[inside] |= mask[row[inside], column[inside]]
    return found


def _with_edges(geometries: Any, terrain: Terrain) -> Any:
    shapes = np.atleast_1d(np.asarray(geometries, object))
    wide = shapely.buffer(shapes, 0.01 * terrain.cell_m, quad_segs=1)
    return np.concatenate([shapes, wide[~shapely.is_empty(wide) & ~shapely.is_missing(wide)]])


def covered(geometries: Any, terrain: Terrain) -> Mask:
    """Cells whose centre lies in a geometry."""
    return _burn(geometries, terrain, all_touched=False)


def closed_parts(geometries: Any, terrain: Terrain) -> ClosedParts:
    """What of the cells is touched by a geometry, where that is not all of one."""
    rows, columns = terrain.shape
    band = max(_BAND_PARTS // (columns * PARTS**2), 1)
    bits = np.uint64(1) << np.arange(PARTS**2, dtype=np.uint64).reshape(PARTS, PARTS)
    cells, parts = [np.empty(0, np.int64)], [np.empty(0, np.uint64)]
    shapes = _with_edges(geometries, terrain)
    tree = shapely.STRtree(shapes)
    right, _, left, _, down, first = terrain.transform[:6]
    for top in range(0, rows, band):
        count = min(band, rows - top)
        strip = shapely.box(left, first + (top + count) * down, left + columns * right, first + top * down)
        near = tree.query(strip)
        if not len(near):
            continue
        fine = Affine(right / PARTS, 0.0, left, 0.0, down / PARTS, first + top * down)
        burnt = _burnt(shapes[near], (count * PARTS, columns * PARTS), fine, all_touched=True)
        some = np.flatnonzero(burnt.reshape(count, PARTS, columns, PARTS).any(axis=(1, 3)))
        by_cell = burnt.reshape(count, PARTS, columns, PARTS)[some // columns, :, some % columns]
        found = np.where(by_cell, bits, 0).sum(axis=(1, 2), dtype=np.uint64)
        cells.append(some[found != ALL_PARTS] + top * columns)
        parts.append(found[found != ALL_PARTS])
    return ClosedParts(cell=np.concatenate(cells), parts=np.concatenate(parts))


def grid_polygons(codes: npt.NDArray[np.int16], terrain: Terrain) -> gpd.GeoDataFrame:
    """Polygons of equal cells joined by their sides, with the column ``code``; together they cover the grid once."""
    with _ONE_AT_A_TIME:
        pairs = list(features.shapes(codes, connectivity=4, transform=terrain.transform))
    shapes = _polygons([shape["coordinates"] for shape, _ in pairs])
    return gpd.GeoDataFrame({"code": [int(code) for _, code in pairs]}, geometry=shapes, crs=terrain.crs)


def joined_polygons(polygons: Any, codes: Any, terrain: Terrain) -> gpd.GeoDataFrame:
    """Polygons of whole cells (as of ``grid_polygons``) joined anew by their ``code``, a number above zero."""
    if not len(polygons):
        return gpd.GeoDataFrame({"code": []}, geometry=[], crs=terrain.crs)
    pairs = zip(polygons, codes, strict=True)
    with _ONE_AT_A_TIME:
        burnt = features.rasterize(pairs, out_shape=terrain.shape, transform=terrain.transform, dtype="int16")
    layer = grid_polygons(burnt, terrain)
    return layer[layer["code"] > 0]


def _burn(geometries: Any, terrain: Terrain, *, all_touched: bool) -> Mask:
    return _burnt(geometries, terrain.shape, terrain.transform, all_touched=all_touched)


def _burnt(geometries: Any, shape: tuple[int, ...], transform: Affine, *, all_touched: bool) -> Mask:
    shapes = [g for g in np.atleast_1d(np.asarray(geometries, object)) if g is not None and not g.is_empty]
    if not shapes or not all(shape):
        return np.zeros(shape, bool)
    with _ONE_AT_A_TIME:
        burnt = features.rasterize(
            shapes, out_shape=shape, transform=transform, all_touched=all_touched, dtype="uint8"
        )  # fmt: skip
    mask: Mask = burnt.view(bool)
    return mask


def _polygons(polygons: list[Any]) -> Any:
    """Polygons of lists of rings, the outer one first, all at once."""
    rings = [ring for polygon in polygons for ring in polygon]
    if not rings:
        return []
    ring = np.repeat(np.arange(len(rings)), [len(corners) for corners in rings])
    made: Any = shapely.linearrings(np.array(list(chain.from_iterable(rings))), indices=ring)
    found: Any = shapely.polygons(
        made, indices=np.repeat(np.arange(len(polygons)), [len(polygon) for polygon in polygons])
    )
    return found
