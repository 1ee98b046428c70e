"""Small geometry helpers used by several rooms: safe buffers, exact discs, boundary segments, empty layers."""

from __future__ import annotations

import math
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from pyproj import CRS

QUAD_SEGS = 24
Geometries = npt.NDArray[np.object_]
Ints = npt.NDArray[np.intp]


def setback(geometries: Any, distance_m: Any) -> Geometries:
    """Everything within ``distance_m`` of each geometry, never less: the arcs' chords lie outside the true circle.

    Straight runs are exact. A chord that spans the angle a would lie ``r (1 - cos(a / 2))`` inside its circle, so a
    disc a little larger (by 0.05 % of the distance) is laid round every vertex.

    Examples
    --------
    >>> import shapely
    >>> (zone,) = setback([shapely.Point(0, 0)], 10.0)
    >>> bool(shapely.distance(zone.exterior, shapely.Point(0, 0)) >= 10.0 - 1e-9)
    True
    """
    shapes = np.atleast_1d(np.asarray(geometries, object))
    parts, index = setback_parts(shapes, distance_m)
    order = np.argsort(index, kind="stable")
    groups = np.split(parts[order], np.flatnonzero(np.diff(index[order])) + 1) if len(parts) else []
    zones = np.full(len(shapes), shapely.Polygon(), object)
    zones[np.unique(index)] = [shapely.union_all(group) for group in groups]
    return zones


def setback_parts(geometries: Any, distance_m: Any, *, together: bool = False) -> tuple[Geometries, Ints]:
    """The pieces whose union is the setback, and the number of the geometry each belongs to.

    A rectangle along each segment, a disc round each vertex, and polygons themselves. (A buffer of the whole line would
    do with fewer, but GEOS smooths the line first, by up to 1 % of the distance.) Where only the union of all is wanted
    (``together``), a place where several geometries meet gets its widest disc alone.
    """
    shapes = np.atleast_1d(np.asarray(geometries, object))
    distance = np.broadcast_to(np.asarray(distance_m, float), shapes.shape)
    coords, at = shapely.get_coordinates(shapes, return_index=True)
    kept = _widest(coords, np.zeros_like(at) if together else at, distance[at])
    coords, at = coords[kept], at[kept]
    discs = shapely.buffer(
        shapely.points(coords), distance[at] / math.cos(math.pi / (4 * QUAD_SEGS)), quad_segs=QUAD_SEGS
    )
    pairs, along = _pairs(shapes)
    areas, within = parts_of(shapes)
    solid = shapely.get_dimensions(areas) == 2
    parts = np.concatenate([discs, _rectangles(pairs, distance[along]), areas[solid]])
    return parts, np.concatenate([at, along, within[solid]])


def _widest(coords: npt.NDArray[np.float64], owner: Ints, distance: npt.NDArray[np.float64]) -> Ints:
    """Of equal places of one owner that with the greatest distance, in the order given."""
    order = np.lexsort((-distance, *coords.T, owner))
    x, y = coords[order].T
    new = np.r_[True, (np.diff(x) != 0) | (np.diff(y) != 0) | (np.diff(owner[order]) != 0)][: len(order)]
    return np.sort(order[new])


def _rectangles(pairs: npt.NDArray[np.float64], half_m: npt.NDArray[np.float64]) -> Geometries:
    run = pairs[:, 1] - pairs[:, 0]
    side = np.stack([-run[:, 1], run[:, 0]], axis=1) / np.hypot(*run.T)[:, None] * half_m[:, None]
    a, b = pairs[:, 0], pairs[:, 1]
    found: Any = shapely.polygons(np.stack([a + side, b + side, b - side, a - side], axis=1))
    return found


def _pairs(shapes: Geometries) -> tuple[npt.NDArray[np.float64], Ints]:
    """Ends of every segment (n x 2 x 2) and the number of the geometry it belongs to."""
    parts, owner = parts_of(shapes)
    rings, ring_owner = shapely.get_rings(parts, return_index=True)
    lines = shapely.get_dimensions(parts) == 1
    chains = np.concatenate([rings, parts[lines]])
    chain_owner = np.concatenate([owner[ring_owner], owner[lines]])
    coords, index = shapely.get_coordinates(chains, return_index=True)
    joined = (index[1:] == index[:-1]) & (coords[1:] != coords[:-1]).any(axis=1)
    return np.stack([coords[:-1][joined], coords[1:][joined]], axis=1), chain_owner[index[:-1][joined]]


def parts_of(geometries: Any) -> tuple[Geometries, Ints]:
    """What ``shapely.get_parts`` gives with the number of the geometry each is of; lone ones are not copied.

    Examples
    --------
    >>> import shapely
    >>> pair = shapely.MultiPoint([(0, 0), (1, 1)])
    >>> parts, of = parts_of([shapely.Point(5, 5), pair, None, shapely.Point(6, 6)])
    >>> [part.wkt for part in parts], of.tolist()
    (['POINT (5 5)', 'POINT (0 0)', 'POINT (1 1)', 'POINT (6 6)'], [0, 1, 1, 3])
    """
    shapes = np.atleast_1d(np.asarray(geometries, object))
    several = shapely.get_type_id(shapes) >= shapely.GeometryType.MULTIPOINT
    count = np.where(shapely.is_missing(shapes), 0, 1)
    count[several] = shapely.get_num_geometries(shapes[several])
    of = np.repeat(np.arange(len(shapes)), count)
    parts = shapes[of]
    parts[several[of]] = shapely.get_parts(shapes[several])
    return parts, of


def segments(geometries: Any) -> Geometries:
    """Every two-point piece of the lines and rings of some geometries, as lines."""
    pairs, _ = _pairs(np.atleast_1d(np.asarray(geometries, object)))
    found: Any = shapely.linestrings(pairs)
    return found


def whole_bounds(geometries: Any) -> npt.NDArray[np.float64]:
    """Bounds of each geometry with the holes of its polygons, which may lie anywhere in a broken file; NaN where empty.

    Examples
    --------
    >>> import shapely
    >>> square = shapely.Polygon([(0, 0), (1, 0), (1, 1)], [[(0, 0), (9, 0), (9, 9)]])
    >>> square.bounds, whole_bounds([square]).tolist()
    ((0.0, 0.0, 1.0, 1.0), [[0.0, 0.0, 9.0, 9.0]])
    """
    shapes = np.atleast_1d(np.asarray(geometries, object))
    bounds: npt.NDArray[np.float64] = shapely.bounds(shapes).reshape(-1, 4)
    solid = np.flatnonzero(shapely.get_dimensions(shapes) == 2)
    coords, owner = shapely.get_coordinates(shapes[solid], return_index=True)
    if len(coords):
        rows, first = np.unique(owner, return_index=True)
        bounds[solid[rows], :2] = np.minimum.reduceat(coords, first)
        bounds[solid[rows], 2:] = np.maximum.reduceat(coords, first)
    return bounds


def without_empty_rings(geometries: Geometries) -> Geometries:
    """The geometries, polygons without holes of no vertex: GEOS breaks down over them.

    Examples
    --------
    >>> import shapely
    >>> shape = shapely.from_wkt("POLYGON ((0 0, 1 0, 1 1, 0 0), EMPTY)")
    >>> without_empty_rings(np.array([shape], object))[0].wkt
    'POLYGON ((0 0, 1 0, 1 1, 0 0))'
    """
    parts, owner = parts_of(geometries)
    while (shapely.get_type_id(parts) > shapely.GeometryType.POLYGON).any():
        parts, inner = shapely.get_parts(parts, return_index=True)
        owner = owner[inner]
    holed = shapely.get_num_interior_rings(parts) > 0
    rings, ring_owner = shapely.get_rings(parts[holed], return_index=True)
    rows = np.unique(owner[holed][ring_owner[shapely.is_empty(rings)]])
    if not len(rows):
        return geometries
    found = geometries.copy()
    found[rows] = [_with_real_holes(shape) for shape in geometries[rows]]
    return found


def _with_real_holes(shape: Any) -> Any:
    if hasattr(shape, "geoms"):
        return type(shape)([_with_real_holes(part) for part in shape.geoms])
    if shape.geom_type != "Polygon" or shape.is_empty:
        return shape
    return shapely.Polygon(shape.exterior, [ring for ring in shape.interiors if not ring.is_empty])


def _areas(geometries: Any) -> Geometries:
    parts = shapely.get_parts(np.asarray(geometries, object))
    found: Geometries = parts[shapely.get_dimensions(parts) == 2]
    return found


def polygons_only(geometry: Any) -> Any:
    """The polygonal part of a geometry (empty polygon where it has none)."""
    return shapely.union_all(_areas(np.atleast_1d(np.asarray(geometry, object))))


def empty_layer(crs: CRS, *columns: str) -> gpd.GeoDataFrame:
    """A layer without features, with the named text columns."""
    return gpd.GeoDataFrame({name: np.empty(0, object) for name in columns}, geometry=[], crs=crs)
