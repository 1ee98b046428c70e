"""Outlines for receivers: few points, and every change to the protective side.

What may be worked is drawn inside its true edge, what must be kept clear outside it; both stay so after rounding.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from pyproj import CRS

from invasimap.core.crs import to_lonlat

TOLERANCES_M = (0.1, 0.25, 0.5)  # the coarsest is still far finer than a receiver under trees
DECIMALS = 7
# beyond the tolerance: a vertex is rounded by at most 8 mm, and an edge of 100 m bows by less than 1 mm
MARGIN_M = 0.02
LONGEST_EDGE_M = 100.0
SMOOTHED = 1.02  # GEOS smooths what it buffers by up to a hundredth of the distance, and draws arcs inside the circle
SMALLEST_M2 = 1.0  # of a drawn part: smaller ones are specks on a screen


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One polygon as it is drawn, in the plan's system, and how far at most its edge lies from the true one."""

    shape: Any
    off_m: float


def drawn_inside(shape: Any, *, most_points: int) -> list[Drawn]:
    """What may be worked: polygons within a shape, each of few points; parts too narrow to draw are left out.

    Examples
    --------
    >>> square = shapely.box(0, 0, 100, 100)
    >>> (drawn,) = drawn_inside(square, most_points=500)
    >>> bool(square.contains_properly(drawn.shape)), drawn.off_m < 0.6
    (True, True)
    """
    return _drawn(shape, side=-1, most_points=most_points)


def drawn_outside(shape: Any, *, most_points: int) -> list[Drawn]:
    """What must be kept clear: polygons that together hold a shape, each of few points."""
    return _drawn(shape, side=1, most_points=most_points)


def in_degrees(shape: Any, crs: CRS) -> Any:
    """A shape in longitude and latitude as it is written, no edge so long that it bows."""
    dense = shapely.segmentize(shape, LONGEST_EDGE_M)
    found = shapely.transform(dense, lambda xy: np.column_stack(to_lonlat(crs).transform(*xy.T)))
    return shapely.transform(found, lambda xy: np.round(xy, DECIMALS))


def _drawn(shape: Any, *, side: int, most_points: int) -> list[Drawn]:
    """Each of the shape's polygons with the least tolerance that will do; what needs more is cut in two."""
    drawn = []
    for part in polygons(shape):
        edge = shapely.buffer(part, side * MARGIN_M / 2)
        for tolerance_m in TOLERANCES_M:
            found = _simplified(part, edge, side * tolerance_m)
            if sum(shapely.get_num_coordinates(found)) <= most_points:
                break
        off_m = 2 * SMOOTHED * tolerance_m + MARGIN_M
        drawn += [Drawn(shape=piece, off_m=off_m) for whole in found for piece in _cut(whole, most_points)]
    return drawn


def _simplified(shape: Any, edge: Any, tolerance_m: float) -> list[Any]:
    """The polygons of a shape grown (or, below zero, shrunk) a little more than simplifying may take away.

    ``edge`` is the shape moved by the least that it must be: what simplifying got wrong is mended by it.
    """
    by_m = np.sign(tolerance_m) * (SMOOTHED * abs(tolerance_m) + MARGIN_M)
    moved = shapely.buffer(shape, by_m, quad_segs=4)
    found = [shapely.make_valid(part) for part in polygons(shapely.simplify(moved, abs(tolerance_m)))]
    kept = shapely.intersection(found, edge) if tolerance_m < 0 else [shapely.union_all([*found, edge])]
    return [_whole(part, tolerance_m) for part in polygons(kept) if part.area >= SMALLEST_M2]


def _whole(part: Any, tolerance_m: float) -> Any:
    """Of ground to be kept clear, holes that are specks count as it."""
    holes = [ring for ring in part.interiors if tolerance_m < 0 or shapely.Polygon(ring).area >= SMALLEST_M2]
    return shapely.Polygon(part.exterior, holes)


def _cut(shape: Any, most_points: int) -> list[Any]:
    """A polygon in pieces of few points, halved across its longer side; nothing is lost and nothing covered twice."""
    if shapely.get_num_coordinates(shape) <= most_points:
        return [shape]
    left, bottom, right, top = shape.bounds
    middle = (left + right) / 2 if right - left >= top - bottom else (bottom + top) / 2
    if right - left >= top - bottom:
        halves = shapely.box(left, bottom, middle, top), shapely.box(middle, bottom, right, top)
    else:
        halves = shapely.box(left, bottom, right, middle), shapely.box(left, middle, right, top)
    pieces = [part for half in halves for part in polygons(shapely.intersection(shape, half))]
    return [piece for part in pieces for piece in _cut(part, most_points)]


def polygons(shape: Any) -> list[Any]:
    """The polygons of any geometry."""
    parts: Iterable[Any] = shapely.get_parts(shapely.get_parts(np.atleast_1d(np.asarray(shape, object))))
    return [part for part in parts if part.geom_type == "Polygon" and not part.is_empty]
