"""How many records a damaged file still holds, by other readers than the intake's: ElementTree, json, sqlite3, GDAL."""

from __future__ import annotations

import io
import json
import sqlite3
import tempfile
import zipfile
import zlib
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

from fuzz_mutants import Mutant

_FOLDERS = {"kml", "Document", "Folder"}
_MARKS = {
    "Placemark", "Point", "LineString", "LinearRing", "Polygon", "MultiGeometry", "Track", "MultiTrack", "Model",
    "MultiPoint", "MultiLineString", "MultiPolygon", "MultiCurve",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Expected:
    """Records that must be there: just so many where it can be told, never fewer; ``read`` forbids a refusal."""

    exact: int | None = None
    least: int = 0
    read: bool = False


def expected(one: Mutant) -> Expected:
    """What other readers find in a mutant."""
    if one.records is not None:
        cells = "\0" not in one.parts[one.main].decode("latin-1") or one.kind == "tsv"
        return Expected(exact=one.records, read=one.kind in ("csv", "tsv") and cells)
    count = _COUNTS.get(one.kind)
    return count(one.parts[one.main]) if count else Expected()


def _local(tag: object) -> str:
    return str(tag).rpartition("}")[2].rpartition(":")[2]


def _gpx(data: bytes) -> Expected:
    try:
        root = ET.fromstring(data)
    except (ET.ParseError, ValueError, LookupError):
        return Expected(least=_whole_before_the_break(data))
    count = sum(_local(child.tag) in ("wpt", "rte", "trk") for child in root)
    sound = _local(root.tag).lower() == "gpx" and b"ENTITY" not in data and b"\0E\0N\0T" not in data
    return Expected(exact=count, read=sound)


def _whole_before_the_break(data: bytes) -> int:
    """Elements of the root that ended before the text stopped to be XML."""
    depth = count = 0
    try:
        for event, element in ET.iterparse(io.BytesIO(data), events=("start", "end")):
            depth += 1 if event == "start" else -1
            count += event == "end" and depth == 1 and _local(element.tag) in ("wpt", "rte", "trk")
    except (ET.ParseError, ValueError, LookupError):
        return count
    return count


def _kml(data: bytes) -> Expected:
    try:
        root = ET.fromstring(data)
    except (ET.ParseError, ValueError, LookupError):
        return Expected()
    sound = _local(root.tag).lower() == "kml" and b"ENTITY" not in data and b"\0E\0N\0T" not in data
    return Expected(exact=_marks(root) if sound else None, read=sound)


def _marks(folder: ET.Element) -> int:
    names = [(_local(child.tag), child) for child in folder]
    inner = sum(_marks(child) for name, child in names if name in _FOLDERS)
    return inner + sum(name in _MARKS for name, _ in names)


def _kmz(data: bytes) -> Expected:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            found = [_kml(archive.read(name)).exact for name in archive.namelist() if name.lower().endswith(".kml")]
            plain = all(
                name.isalnum() for info in archive.infolist() for name in info.filename.replace(".", "/").split("/")
            )
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError, ValueError, zlib.error):
        return Expected()
    counts = [count for count in found if count is not None]
    return Expected(exact=sum(counts)) if plain and len(counts) == len(found) else Expected()


def _geojson(data: bytes) -> Expected:
    twice: list[bool] = []

    def pairs(items: list) -> dict:
        twice.append(len(dict(items)) < len(items))
        return dict(items)

    try:
        document = json.loads(data, object_pairs_hook=pairs)
    except (ValueError, RecursionError):
        return Expected()
    kind = document.get("type") if isinstance(document, dict) else None
    if kind == "FeatureCollection" and isinstance(document.get("features"), list) and not any(twice):
        other = {"Topology", "esriGeometryType", "spatialReference"} & set(document)
        return Expected(exact=len(document["features"]), read=not other)
    if kind == "Feature" and isinstance(document.get("features"), list) and "geometry" not in document:
        return Expected(exact=len(document["features"]) or None)  # a collection that is called a feature
    return Expected(exact=1 if kind == "Feature" and not any(twice) else None)


def _lines(data: bytes) -> Expected:
    lines = [line for line in data.decode("latin-1").split("\n") if line.strip(" \t\r\n\x0b\x0c\x85\xa0")]
    whole = b"\x1e" not in data and len(lines) > 1 and all(line.isascii() for line in lines)
    return Expected(exact=len(lines) if whole and all(map(_is_feature, lines)) else None)


def _is_feature(line: str) -> bool:
    try:
        document = json.loads(line)
    except (ValueError, RecursionError):
        return False
    return isinstance(document, dict) and document.get("type") == "Feature"


def _gpkg(data: bytes) -> Expected:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.gpkg"
        path.write_bytes(data)
        try:
            with closing(sqlite3.connect(path)) as database:
                tables = [name for (name,) in database.execute("SELECT table_name FROM gpkg_geometry_columns")]
                counts = [database.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in tables]
        except (sqlite3.Error, UnicodeDecodeError):
            return Expected()
    return Expected(least=sum(counts))


_COUNTS = {
    "gpx": _gpx, "kml": _kml, "kmz": _kmz, "geojson": _geojson, "geojsonl": _lines, "gpkg": _gpkg,
}  # fmt: skip
