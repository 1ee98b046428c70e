"""Shapes of KML placemarks: points, lines, rings, polygons, tracks and collections of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import isfinite
from typing import Any, Final
from xml.etree.ElementTree import Element

import shapely
from shapely.geometry.base import BaseGeometry

from invasimap.inputs.formats.bounds import over_vertices
from invasimap.inputs.formats.xml import check_depth, children, local, text_of

_MANY: Final = {"MultiGeometry", "MultiTrack", "MultiPoint", "MultiLineString", "MultiPolygon"}  # the last three by GML
SHAPES: Final = {"Point", "LineString", "LinearRing", "Polygon", "Track", *_MANY}
_ONE_PLACE: Final = "has one place only: no line and no outline"
Places = list[tuple[float, float]]


@dataclass(kw_only=True)
class _Drawing:
    """What a placemark's shapes may hold, and what was repaired in them."""

    vertices: int
    repairs: list[str] = field(default_factory=list)


def read_shapes(shapes: list[Element], *, vertices: int) -> tuple[BaseGeometry | None, str]:
    """The geometry of a placemark's shapes, and what was repaired.

    Raises
    ------
    ValueError
        When a coordinate cannot be read, a shape has too few places or there are too many vertices.
    """
    drawing = _Drawing(vertices=vertices)
    parts = [part for shape in shapes for part in _parts(shape, drawing, 0)]
    if not parts:
        return None, ""
    return parts[0] if len(parts) == 1 else _collect(parts), "; ".join(dict.fromkeys(drawing.repairs))


def _collect(parts: list[BaseGeometry]) -> BaseGeometry:
    """One geometry of several: a multipart of their kind, or a collection."""
    kinds = {part.geom_type for part in parts}
    many = {"Polygon": shapely.multipolygons, "LineString": shapely.multilinestrings, "Point": shapely.multipoints}
    make: Any = many.get(next(iter(kinds))) if len(kinds) == 1 else None
    return make(parts) if make else shapely.GeometryCollection(parts)


def _parts(shape: Element, drawing: _Drawing, depth: int) -> list[BaseGeometry]:
    check_depth(depth)
    kind = local(shape)
    if kind in _MANY:
        return [p for child in shape if local(child) in SHAPES for p in _parts(child, drawing, depth + 1)]
    return _MAKERS[kind](shape, drawing)


def _point(shape: Element, drawing: _Drawing) -> list[BaseGeometry]:
    return [shapely.Point(_coordinates(shape, drawing)[0])]


def _line(shape: Element, drawing: _Drawing) -> list[BaseGeometry]:
    return [_line_of(_coordinates(shape, drawing))]


def _track(shape: Element, drawing: _Drawing) -> list[BaseGeometry]:
    """A track: what GPS recorded as coord elements, or as one text of coordinates in files of other make."""
    items = [text_of(child) for child in children(shape, "coord")]
    if not items and any(local(child) in SHAPES for child in shape):
        return [part for child in shape if local(child) in SHAPES for part in _parts(child, drawing, 1)]
    if not items:
        return _line(shape, drawing)
    return [_line_of([_pair(item, item.split()) for item in items if item])]


def _line_of(points: Places) -> BaseGeometry:
    if len(set(points)) < 2:
        raise ValueError(_ONE_PLACE if points else "coordinates are blank")
    return shapely.LineString(points)


def _outline(shape: Element, drawing: _Drawing) -> list[BaseGeometry]:
    return [shapely.Polygon(_ring(_coordinates(shape, drawing), drawing))]


def _polygon(shape: Element, drawing: _Drawing) -> list[BaseGeometry]:
    rings = {
        side: [
            _ring(_coordinates(ring, drawing), drawing)
            for border in children(shape, side)
            for ring in children(border, "LinearRing")
        ]
        for side in ("outerBoundaryIs", "innerBoundaryIs")
    }
    if len(rings["outerBoundaryIs"]) != 1:
        raise ValueError(f"polygon has {len(rings['outerBoundaryIs'])} outer rings")
    return [shapely.Polygon(rings["outerBoundaryIs"][0], rings["innerBoundaryIs"])]


_MAKERS: Final[dict[str, Callable[[Element, _Drawing], list[BaseGeometry]]]] = {
    "Point": _point, "LineString": _line, "LinearRing": _outline, "Polygon": _polygon, "Track": _track,
}  # fmt: skip


def _ring(points: Places, drawing: _Drawing) -> Places:
    if len(set(points)) < 3:
        raise ValueError("polygon ring has fewer than 3 places")
    if points[0] != points[-1]:
        drawing.repairs.append("polygon ring closed")
        return [*points, points[0]]
    return points


def _coordinates(shape: Element, drawing: _Drawing) -> Places:
    text = " ".join(text_of(child) for child in children(shape, "coordinates"))
    if text.count(",") > 2 * drawing.vertices:  # two commas a place, where heights are given
        raise ValueError(over_vertices(drawing.vertices))
    items = " ".join(text.split()).replace(" ,", ",").replace(", ", ",").split()
    if not items:
        raise ValueError("coordinates are blank")
    return [place for item in items for place in _places(item, drawing)]


def _places(item: str, drawing: _Drawing) -> Places:
    """The place of a tuple; those of tuples of three that commas alone run together."""
    cells = item.rstrip(",").split(",")
    if len(cells) <= 3:
        return [_pair(item, cells)]
    if len(cells) % 3:
        raise ValueError(f"coordinates {item[:40]!r} are not read: {len(cells)} numbers without a space")
    drawing.repairs.append("coordinates without spaces between the places: read in threes")
    return [_pair(item, cells[at : at + 3]) for at in range(0, len(cells), 3)]


def _pair(text: str, cells: list[str]) -> tuple[float, float]:
    try:
        lon, lat = float(cells[0]), float(cells[1])
    except (ValueError, IndexError):
        raise ValueError(f"coordinates {text[:40]!r} are not read") from None
    if len(list(filter(None, cells))) > 3:
        raise ValueError(f"coordinates {text[:40]!r} hold more places than one, without a blank between")
    if not (isfinite(lon) and isfinite(lat)) or "_" in text:
        raise ValueError(f"coordinates {text[:40]!r} are not finite")
    return lon, lat
