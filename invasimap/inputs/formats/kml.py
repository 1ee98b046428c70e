"""KML and KMZ: every placemark in any folder, with its typed and untyped data, as text.

Our own parser, because the usual driver drops the typed columns of a KMZ and reads bad coordinates as 0, 0.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from math import isfinite
from pathlib import Path
from typing import Any, Final
from xml.etree.ElementTree import Element

import shapely
from shapely.geometry.base import BaseGeometry

from invasimap.inputs.formats.archive import read_members
from invasimap.inputs.formats.raw import (
    NO_GEOMETRY,
    WGS84,
    RawLayer,
    Record,
    from_records,
    read_bytes,
    unique_name,
)  # fmt: skip
from invasimap.inputs.formats.xml import child_text, children, local, parse_xml, text_of

_SHAPES: Final = {"Point", "LineString", "LinearRing", "Polygon", "MultiGeometry", "Track", "MultiTrack"}
_FOLDERS: Final = {"Folder", "Document", "kml"}
_DEPTH: Final = 200


def read_kml(path: Path, *, label: str) -> list[RawLayer]:
    """The placemarks of a KML file in document order; ``group`` is the folder path."""
    return [_layer(read_bytes(path, label=label), label=label, layer=path.stem)]


def read_kmz(path: Path, *, label: str) -> list[RawLayer]:
    """The placemarks of every KML inside a KMZ."""
    members = read_members(path, label=label, suffixes=(".kml",))
    single = len(members) == 1
    return [
        _layer(data, label=label if single else f"{label}:{name}", layer=path.stem if single else name)
        for name, data in members.items()
    ]


def _layer(data: bytes, *, label: str, layer: str) -> RawLayer:
    root = parse_xml(data, label=label, root="kml")
    records = [_record(mark, folder) for mark, folder in _placemarks(root, "", 0)]
    links = sum(local(element) == "NetworkLink" for element in root.iter())
    notes = (f"{label}: {links} links to other files are not followed",) if links else ()
    return from_records(records, label=label, layer=layer, crs=WGS84, notes=notes)


def _placemarks(element: Element, folder: str, depth: int) -> Iterator[tuple[Element, str]]:
    for child in element:
        name = local(child)
        if name == "Placemark":
            yield child, folder
        elif name in _FOLDERS and depth < _DEPTH:
            inner = child_text(child, "name") if name == "Folder" else ""
            yield from _placemarks(child, "/".join(filter(None, (folder, inner))), depth + 1)


def _record(mark: Element, folder: str) -> Record:
    values = _values(mark)
    shapes = [child for child in mark if local(child) in _SHAPES]
    if not shapes:
        return Record(values=values, problem=NO_GEOMETRY, group=folder)
    closed: list[str] = []
    try:
        parts = [part for shape in shapes for part in _parts(shape, closed)]
    except ValueError as error:
        return Record(values=values, problem=str(error), group=folder)
    if not parts:
        return Record(values=values, problem=NO_GEOMETRY, group=folder)
    geometry = parts[0] if len(parts) == 1 else _collect(parts)
    walked = len(shapes) == 1 and local(shapes[0]) == "Track"
    return Record(values=values, geometry=geometry, repair="; ".join(closed[:1]), group=folder, walked=walked)


def _collect(parts: list[BaseGeometry]) -> BaseGeometry:
    """One geometry of several: a multipart of their kind, or a collection."""
    kinds = {part.geom_type for part in parts}
    many = {"Polygon": shapely.multipolygons, "LineString": shapely.multilinestrings, "Point": shapely.multipoints}
    make: Any = many.get(next(iter(kinds))) if len(kinds) == 1 else None
    return make(parts) if make else shapely.GeometryCollection(parts)


def _parts(shape: Element, closed: list[str]) -> list[BaseGeometry]:
    kind = local(shape)
    if kind in ("MultiGeometry", "MultiTrack"):
        return [part for child in shape if local(child) in _SHAPES for part in _parts(child, closed)]
    if kind == "Point":
        return [shapely.Point(_coordinates(shape)[0])]
    if kind == "Polygon":
        return [_polygon(shape, closed)]
    points = _track_points(shape) if kind == "Track" else _coordinates(shape)
    if kind == "LinearRing":
        return [shapely.Polygon(_ring(points, closed))]
    if len(set(points)) < 2:
        raise ValueError("has one place only: no line and no outline")
    return [shapely.LineString(points)]


def _polygon(shape: Element, closed: list[str]) -> shapely.Polygon:
    rings = {
        side: [_ring(_coordinates(r), closed) for b in children(shape, side) for r in children(b, "LinearRing")]
        for side in ("outerBoundaryIs", "innerBoundaryIs")
    }
    if len(rings["outerBoundaryIs"]) != 1:
        raise ValueError(f"polygon has {len(rings['outerBoundaryIs'])} outer rings")
    return shapely.Polygon(rings["outerBoundaryIs"][0], rings["innerBoundaryIs"])


def _ring(points: list[tuple[float, float]], closed: list[str]) -> list[tuple[float, float]]:
    if len(set(points)) < 3:
        raise ValueError("polygon ring has fewer than 3 places")
    if points[0] != points[-1]:
        closed.append("polygon ring closed")
        return [*points, points[0]]
    return points


def _coordinates(shape: Element) -> list[tuple[float, float]]:
    text = " ".join(text_of(child) for child in children(shape, "coordinates"))
    tuples = re.sub(r"\s*,\s*", ",", text).split()
    if not tuples:
        raise ValueError("coordinates are blank")
    return [_pair(item, item.split(",")) for item in tuples]


def _track_points(shape: Element) -> list[tuple[float, float]]:
    items = [text_of(child) for child in children(shape, "coord")]
    return [_pair(item, item.split()) for item in items if item]


def _pair(text: str, cells: list[str]) -> tuple[float, float]:
    try:
        lon, lat = float(cells[0]), float(cells[1])
    except (ValueError, IndexError):
        raise ValueError(f"coordinates {text[:40]!r} are not read") from None
    if not (isfinite(lon) and isfinite(lat)):
        raise ValueError(f"coordinates {text[:40]!r} are not finite")
    return lon, lat


def _values(mark: Element) -> dict[str, str]:
    found = {name: text for name in ("name", "description", "address") if (text := child_text(mark, name))}
    for stamp in (child for child in mark if local(child) in ("TimeStamp", "TimeSpan")):
        found["time"] = child_text(stamp, "when") or child_text(stamp, "begin")
    for extended in children(mark, "ExtendedData"):
        for key, text in _data(extended):
            found[unique_name(key, found)] = text
    return found


def _data(extended: Element) -> Iterator[tuple[str, str]]:
    for child in extended:
        kind = local(child)
        if kind == "Data":
            yield child.get("name") or "data", child_text(child, "value")
        elif kind == "SchemaData":
            yield from ((cell.get("name") or "data", text_of(cell)) for cell in child if local(cell))
        elif kind and not len(child):
            yield kind, text_of(child)
