"""Shapes of GeoJSON geometries: heights and measures dropped, open rings closed, bad coordinates said."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from invasimap.core.legible import writable
from invasimap.core.survey_settings import LIMITS
from invasimap.inputs.formats.bounds import over_parts, over_vertices
from invasimap.inputs.formats.raw import NO_GEOMETRY

DEPTHS: Final = {
    "Point": 0, "MultiPoint": 1, "LineString": 1, "MultiLineString": 2, "Polygon": 2, "MultiPolygon": 3,
}  # fmt: skip
GEOMETRIES: Final = {*DEPTHS, "GeometryCollection"}
_UNREADABLE: Final = (ValueError, TypeError, KeyError, IndexError, AttributeError, shapely.errors.ShapelyError)
_MAX_DEPTH: Final = 100
_CLOSED: Final = "polygon ring closed"


def read_geometry(geometry: Any, *, vertices: int, parts: int = LIMITS.parts) -> tuple[BaseGeometry | None, str, str]:
    """The shape of a geometry object, what was repaired in it, and why it cannot be used.

    Examples
    --------
    >>> read_geometry({"type": "Point", "coordinates": [-80, 38, 512.5]}, vertices=10)
    (<POINT (-80 38)>, '', '')
    >>> read_geometry({"type": "Point", "coordinates": ["-80", 38]}, vertices=10)[2]
    "geometry is not read: position ['-80', 38] is no pair of numbers"
    """
    repairs: list[str] = []
    try:
        found = _shape(geometry, repairs, parts, 0)
    except _UNREADABLE as error:
        return None, "", writable(f"geometry is not read: {str(error).strip() or type(error).__name__}")
    if found.is_empty:
        return found, "", NO_GEOMETRY
    if (count := int(shapely.get_num_coordinates(found))) > vertices:
        return None, "", over_vertices(vertices, count)
    return found, "; ".join(repairs[:1]), ""


def _shape(geometry: Any, repairs: list[str], most: int, depth: int) -> BaseGeometry:
    if not isinstance(geometry, dict):
        raise ValueError(f"{str(geometry)[:60]!r} is no geometry")
    kind = geometry.get("type")
    if kind == "GeometryCollection" and depth < _MAX_DEPTH:
        parts = [_shape(part, repairs, most, depth + 1) for part in geometry["geometries"]]
        return shapely.GeometryCollection(parts)
    if kind not in DEPTHS:
        raise ValueError(f"type {kind!r} is not known")
    if DEPTHS[kind] > 1 and len(_listed(geometry["coordinates"])) > most:
        raise ValueError(over_parts(most, len(geometry["coordinates"])))
    return _MAKERS[kind](geometry["coordinates"], repairs)


def _point(nested: Any, _: list[str]) -> BaseGeometry:
    if nested == []:
        return shapely.Point()
    return shapely.Point(_positions([nested])[0])


def _points(nested: Any, _: list[str]) -> BaseGeometry:
    return shapely.MultiPoint(_positions(nested))


def _line(nested: Any, _: list[str]) -> shapely.LineString:
    places = _positions(nested)
    if len(places) == 1:
        raise ValueError("a line has one place only")
    return shapely.LineString(places) if len(places) else shapely.LineString()


def _lines(nested: Any, repairs: list[str]) -> BaseGeometry:
    return shapely.MultiLineString([_line(part, repairs) for part in _listed(nested)])


def _polygon(nested: Any, repairs: list[str]) -> shapely.Polygon:
    rings = [_ring(ring, repairs) for ring in _listed(nested)]
    return shapely.Polygon(rings[0], rings[1:]) if rings and len(rings[0]) else shapely.Polygon()


def _polygons(nested: Any, repairs: list[str]) -> BaseGeometry:
    return shapely.MultiPolygon([_polygon(part, repairs) for part in _listed(nested)])


_MAKERS: Final = {
    "Point": _point, "MultiPoint": _points, "LineString": _line, "MultiLineString": _lines, "Polygon": _polygon,
    "MultiPolygon": _polygons,
}  # fmt: skip


def _ring(nested: Any, repairs: list[str]) -> NDArray[np.float64]:
    places = _positions(nested)
    if 0 < len(places) < 5 and len({*map(tuple, places.tolist())}) < 3:
        raise ValueError("polygon ring has fewer than 3 places")
    if len(places) and not np.array_equal(places[0], places[-1]):
        repairs.append(_CLOSED)
        return np.vstack([places, places[:1]])
    return places


def _listed(nested: Any) -> list[Any]:
    if not isinstance(nested, list):
        raise ValueError(f"{str(nested)[:60]!r} is no list of positions")
    return nested


def _positions(nested: Any) -> NDArray[np.float64]:
    """Places as an array of shape (n, 2); raises when one is no pair of finite numbers."""
    for place in _listed(nested):
        if not (isinstance(place, list) and len(place) >= 2 and _is_number(place[0]) and _is_number(place[1])):
            raise ValueError(f"position {str(place)[:60]} is no pair of numbers")
    found = np.array([(place[0], place[1]) for place in nested], dtype=float).reshape(-1, 2)
    good = np.isfinite(found).all(axis=1)
    if not good.all():
        raise ValueError(f"position {str(nested[int(np.argmin(good))])[:60]} is no pair of numbers")
    return found


def _is_number(value: Any) -> bool:
    return type(value) in (float, int) and (type(value) is float or abs(value) < 1e18)
