"""Between vectors and the grid: shapes burnt into cells, cells turned into polygons."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from rasterio import features

from invasimap.land.terrain import Terrain

Mask = npt.NDArray[np.bool_]


def touched(geometries: Any, terrain: Terrain) -> Mask:
    """Cells that a geometry touches anywhere: a thin line gives a chain without diagonal gaps."""
    return _burn(geometries, terrain, all_touched=True)


def covered(geometries: Any, terrain: Terrain) -> Mask:
    """Cells whose centre lies in a geometry."""
    return _burn(geometries, terrain, all_touched=False)


def grid_polygons(codes: npt.NDArray[np.int16], terrain: Terrain) -> gpd.GeoDataFrame:
    """Polygons of equal cells joined by their sides, with the column ``code``; together they cover the grid once."""
    pairs = list(features.shapes(codes, connectivity=4, transform=terrain.transform))
    shapes = [_polygon(shape["coordinates"]) for shape, _ in pairs]
    return gpd.GeoDataFrame({"code": [int(code) for _, code in pairs]}, geometry=shapes, crs=terrain.crs)


def _burn(geometries: Any, terrain: Terrain, *, all_touched: bool) -> Mask:
    shapes = [g for g in np.atleast_1d(np.asarray(geometries, object)) if g is not None and not g.is_empty]
    if not shapes:
        return np.zeros(terrain.shape, bool)
    burnt = features.rasterize(
        shapes, out_shape=terrain.shape, transform=terrain.transform, all_touched=all_touched, dtype="uint8"
    )
    mask: Mask = burnt.astype(bool)
    return mask


def _polygon(rings: list[Any]) -> shapely.Polygon:
    return shapely.Polygon(rings[0], rings[1:])
