"""Shapes that are drawn wrongly, mended so that the ground they enclose stays the same."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from invasimap.core.at_once import in_pieces
from invasimap.core.geometry import polygons_only

TANGLED: Final = "crosses itself at too many places to be mended"
_MOST_PIECES: Final = 10_000_000
_FEW: Final = 100  # coordinates of a shape that is never tangled
_SAMPLE: Final = 256
_NEIGHBOURS: Final = 3  # a segment's box meets its own and those before and behind
_NOTICED: Final = 1_000
_TANGLED: Final = 50_000
_TANGLED_TOGETHER: Final = 200_000


def mend_polygons(polygons: NDArray[np.object_]) -> NDArray[np.object_]:
    """Valid polygons in place of invalid ones, polygonal parts only; other shapes are given back as they are."""
    mended = polygons.copy()
    bad = (shapely.get_dimensions(polygons) == 2) & ~in_pieces(shapely.is_valid, polygons)
    if bad.any():
        made = shapely.make_valid(polygons[bad], method="structure", keep_collapsed=False)
        mended[bad] = [polygons_only(single_parts(geometry)) for geometry in made]
    return mended


def tangled(shapes: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Which shapes cross themselves at so many places that drawing them whole would take minutes.

    Mending and buffering cut every segment at every other it meets: half a second for 20,000 places. How many there
    are is told from a sample: how many other segments' boxes each of 256 segments meets.
    """
    found = np.zeros(len(shapes), dtype=bool)
    total = 0.0
    for row in np.flatnonzero(shapely.get_num_coordinates(shapes) > _FEW):
        meetings = _meetings(shapes[row])
        found[row] = meetings > _TANGLED
        if _NOTICED < meetings <= _TANGLED:
            total += meetings
            found[row] = total > _TANGLED_TOGETHER
    return found


def _meetings(shape: BaseGeometry) -> float:
    """About how many pairs of segments have boxes that meet, beside neighbours."""
    parts = np.array(single_parts(shape), dtype=object)
    rings = [shapely.get_rings(parts), parts[shapely.get_dimensions(parts) == 1]]
    xy, owner = shapely.get_coordinates(np.concatenate(rings), return_index=True)
    joined = owner[1:] == owner[:-1]
    segments: Any = shapely.linestrings(np.stack([xy[:-1][joined], xy[1:][joined]], axis=1))
    some = segments[:: len(segments) // _SAMPLE | 1]  # an odd step: what is drawn in pairs is not met in pairs
    if not len(some):
        return 0.0
    met = shapely.STRtree(segments).query(some).shape[1] / len(some) - _NEIGHBOURS
    return met * len(segments) / 2


def without_flat_lines(geometry: NDArray[np.object_]) -> tuple[NDArray[np.object_], int]:
    """Shapes with lines of no length taken as points (alone) or left out (of several), and how many there were."""
    found, count = geometry.copy(), 0
    for row in np.flatnonzero(np.isin(shapely.get_type_id(geometry), (1, 5))):
        parts = shapely.get_parts(geometry[row])
        long = parts[shapely.length(parts) > 0]
        if len(long) < len(parts):
            count += len(parts) - len(long)
            point = shapely.Point(shapely.get_coordinates(parts)[0])
            found[row] = shapely.multilinestrings(long) if len(long) else point
    return found, count


def single_parts(geometry: BaseGeometry) -> list[BaseGeometry]:
    """The points, lines and polygons of a geometry, however deep they lie in collections."""
    parts = [geometry]
    while any(hasattr(part, "geoms") for part in parts):
        parts = [inner for part in parts for inner in shapely.get_parts(part)]
    return parts


def with_more_points(geometry: BaseGeometry, edge: float) -> BaseGeometry:
    """The geometry with no polygon edge longer than ``edge``, ring by ring as drawn, valid or not."""
    kept: list[Any] = [
        _dense_polygon(part, edge) if isinstance(part, shapely.Polygon) else part for part in single_parts(geometry)
    ]
    if len(kept) == 1:
        return kept[0]
    only_polygons = all(isinstance(part, shapely.Polygon) for part in kept)
    return shapely.MultiPolygon(kept) if only_polygons else shapely.GeometryCollection(kept)


def drawn_area(polygon: BaseGeometry) -> float:
    """Area by the rings as drawn (shoelace): outer rings less holes, whether they cross or not."""
    total = 0.0
    for part in shapely.get_parts(polygon):
        rings = [_shoelace(ring) for ring in (part.exterior, *part.interiors)]
        total += rings[0] - sum(rings[1:])
    return total


def _dense_polygon(part: shapely.Polygon, edge: float) -> shapely.Polygon:
    return shapely.Polygon(_dense(part.exterior, edge), [_dense(ring, edge) for ring in part.interiors])


def _dense(ring: BaseGeometry, edge: float) -> NDArray[np.float64]:
    line = shapely.LineString(shapely.get_coordinates(ring))
    if not 0 < line.length < edge * _MOST_PIECES:  # no edge on earth is so long
        return shapely.get_coordinates(line)
    return shapely.get_coordinates(shapely.segmentize(line, edge))


def _shoelace(ring: BaseGeometry) -> float:
    xy = shapely.get_coordinates(ring)
    xy = xy - xy[:1]
    x, y = xy[:, 0], xy[:, 1]
    return float(abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2)
