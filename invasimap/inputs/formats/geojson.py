"""GeoJSON, feature by feature, so that one bad feature costs one record and text stays text."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError as UnknownCRS
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from invasimap.core.errors import Fault, LayerError
from invasimap.inputs.formats.raw import NO_GEOMETRY, WGS84, RawLayer, Record, from_records, read_bytes
from invasimap.inputs.formats.tables import decode

_GEOMETRIES = {
    "Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon", "GeometryCollection",
}  # fmt: skip
_UNREADABLE = (ValueError, TypeError, KeyError, IndexError, AttributeError, shapely.errors.ShapelyError)

SEPARATOR: Final = "\x1e"
SEQUENCES: Final = (".geojsonl", ".geojsons", ".geojsonseq", ".ndjson", ".ndgeojson", ".jsonl")
_SHOWN: Final = 200


@dataclass(frozen=True, kw_only=True)
class _Broken:
    """A text of a sequence that is no GeoJSON."""

    text: str
    why: str


def read_geojson(path: Path, *, label: str) -> RawLayer:
    """The features of a GeoJSON file; without a ``crs`` member they are WGS 84 longitude and latitude (RFC 7946).

    A sequence, one text a line or behind record separators (RFC 8142), is read text by text: one that is not whole
    costs one record. Members that the standard does not name are left aside.
    """
    text, _ = decode(read_bytes(path, label=label), label=label)
    if text.lstrip()[:1] not in ("{", "["):
        raise LayerError(Fault(where=label, what="is no GeoJSON: it does not start with {"))
    try:
        texts: list[Any] = [json.loads(text.strip().lstrip(SEPARATOR))]
    except ValueError as error:
        texts = _sequence(text, anyway=path.suffix.lower() in SEQUENCES)
        if not texts:
            raise LayerError(Fault(where=label, what=f"is not whole JSON: {error}", mend="export it again")) from error
    features = [feature for document in texts for feature in _features(document, label=label)]
    crs, notes = _crs(texts[0], label=label)
    records = [_record(feature) for feature in features]
    return from_records(records, label=label, layer=path.stem, crs=crs, notes=notes)


def _sequence(text: str, *, anyway: bool) -> list[Any]:
    """The texts of a sequence, a broken one as ``_Broken``; none when it is no sequence."""
    parts = text.split(SEPARATOR) if SEPARATOR in text else text.split("\n")
    texts = [_loaded(part.strip()) for part in parts if part.strip()]
    whole = [not isinstance(text, _Broken) for text in texts]
    return texts if any(whole) and (anyway or SEPARATOR in text or whole[0]) else []


def _loaded(text: str) -> Any:
    try:
        document = json.loads(text)
    except ValueError as error:
        return _Broken(text=text[:_SHOWN], why=f"is not whole JSON: {error}")
    kind = document.get("type") if isinstance(document, dict) else None
    known = kind in ("Feature", *_GEOMETRIES) or (kind == "FeatureCollection" and "features" in document)
    return document if known else _Broken(text=text[:_SHOWN], why="is no GeoJSON feature")


def _features(document: Any, *, label: str) -> list[Any]:
    if isinstance(document, _Broken):
        return [document]
    kind = document.get("type") if isinstance(document, dict) else None
    if kind == "FeatureCollection" and isinstance(document.get("features"), list):
        return list(document["features"])
    if kind == "Feature":
        return [document]
    if kind in _GEOMETRIES:
        return [{"type": "Feature", "properties": {}, "geometry": document}]
    raise LayerError(
        Fault(
            where=label,
            what=f"is no GeoJSON feature collection (its type is {kind!r})",
            mend="export it as GeoJSON",
        )
    )


def _crs(document: Any, *, label: str) -> tuple[CRS | None, tuple[str, ...]]:
    if isinstance(document, _Broken) or "crs" not in document:
        return WGS84, ()
    member = document["crs"]
    name = member.get("properties", {}).get("name") if isinstance(member, dict) else None
    try:
        return CRS.from_user_input(name), ()
    except (UnknownCRS, TypeError):
        return None, (f"{label}: its crs member {str(member)[:60]!r} is not known",)


def _record(feature: Any) -> Record:
    if isinstance(feature, _Broken):
        return Record(values={"text": feature.text}, problem=feature.why)
    if not isinstance(feature, dict):
        return Record(values={"feature": json.dumps(feature)}, problem="is no feature")
    properties = feature.get("properties")
    values = {str(k): _value(v) for k, v in properties.items()} if isinstance(properties, dict) else {}
    geometry = feature.get("geometry")
    if geometry is None:
        return Record(values=values, problem=NO_GEOMETRY)
    try:
        found = shape(_flat(geometry))
    except _UNREADABLE as error:
        return Record(values=values, problem=f"geometry is not read: {error or type(error).__name__}")
    repair = "polygon ring closed" if _is_open(geometry) else ""
    return Record(values=values, geometry=found, problem="" if _whole(found) else NO_GEOMETRY, repair=repair)


def _whole(geometry: BaseGeometry) -> bool:
    return not geometry.is_empty


def _value(value: Any) -> Any:
    return json.dumps(value) if isinstance(value, dict | list) else value


def _flat(geometry: Any) -> dict[str, Any]:
    """The geometry without z; raises when a coordinate is no number."""
    if geometry.get("type") == "GeometryCollection":
        return {"type": geometry["type"], "geometries": [_flat(part) for part in geometry["geometries"]]}
    if geometry.get("type") not in _GEOMETRIES:
        raise ValueError(f"type {geometry.get('type')!r} is not known")
    return {"type": geometry["type"], "coordinates": _cut(geometry["coordinates"])}


def _cut(nested: list[Any]) -> list[Any]:
    if nested and all(isinstance(item, list) for item in nested):
        return [_cut(item) for item in nested]
    if nested and (len(nested) < 2 or not all(_is_number(item) for item in nested[:2])):
        raise ValueError(f"position {str(nested)[:60]} is no pair of numbers")
    return nested[:2]


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and bool(np.isfinite(value))


def _is_open(geometry: dict[str, Any]) -> bool:
    if geometry["type"] == "Polygon":
        return any(ring and ring[0][:2] != ring[-1][:2] for ring in geometry["coordinates"])
    if geometry["type"] == "MultiPolygon":
        return any(ring and ring[0][:2] != ring[-1][:2] for part in geometry["coordinates"] for ring in part)
    return False
