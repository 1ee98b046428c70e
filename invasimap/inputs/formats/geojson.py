"""GeoJSON, feature by feature, so that one bad feature costs one record and text stays text."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any, Final

from pyproj import CRS
from pyproj.exceptions import CRSError as UnknownCRS

from invasimap.core.errors import Fault, LayerError
from invasimap.core.legible import writable
from invasimap.core.survey_settings import LimitsSection
from invasimap.inputs.formats.bounds import MAX_RECORDS, broken_off, few_columns, too_many
from invasimap.inputs.formats.geojson_shapes import GEOMETRIES, read_geometry
from invasimap.inputs.formats.json_stream import BrokenJsonError, DeepJsonError, JsonStream
from invasimap.inputs.formats.raw import NO_GEOMETRY, WGS84, RawLayer, Record, from_records, read_bytes, unique_name
from invasimap.inputs.formats.tables import decode

SEPARATOR: Final = "\x1e"
SEQUENCES: Final = (".geojsonl", ".geojsons", ".geojsonseq", ".ndjson", ".ndgeojson", ".jsonl")
_SHOWN: Final = 200
_TRIED: Final = 1_000  # texts of which one must be GeoJSON, before a file counts as a sequence of them
_HALF: Final = re.compile("[\ud800-\udfff]")
_OTHERS: Final = {"Topology": "TopoJSON", "esriGeometryType": "Esri JSON", "spatialReference": "Esri JSON"}


def read_geojson(path: Path, *, label: str, limits: LimitsSection | None = None) -> RawLayer:
    """The features of a GeoJSON file; without a ``crs`` member they are WGS 84 longitude and latitude (RFC 7946).

    A sequence, one text a line or behind record separators (RFC 8142), is read text by text: one that is not whole
    costs one record. A collection that breaks off gives its whole features and one record more, set aside, that says
    where it breaks. Members that the standard does not name are left aside.

    Raises
    ------
    LayerError
        When it is no GeoJSON, or breaks before its first feature ends.
    """
    limits = limits or LimitsSection()
    text, notes = decode(read_bytes(path, label=label, limit_B=limits.file_B), label=label)
    stream = JsonStream(text, parts=4 * limits.vertices + 100_000)
    stream.skip(SEPARATOR)
    if stream.peek() not in ("{", "["):
        raise LayerError(Fault(where=label, what="is no GeoJSON: it does not start with {"))
    collection = _Collection(limits)
    try:
        collection.read(stream)
        whole = stream.at_end()
        why = "" if whole else f"more text follows its end (line {stream.line()})"
    except (BrokenJsonError, DeepJsonError) as error:
        whole, why = False, str(error)
    if not whole:
        anyway = path.suffix.lower() in SEQUENCES
        texts = _sequence(text, anyway=anyway, limits=limits)
        if texts is not None:
            collection = texts
        elif not collection.records:
            raise LayerError(Fault(where=label, what=f"is not whole JSON: {why}", mend="export it again"))
        else:
            collection.records.append(Record(values={}, problem=broken_off(stream.line())))
    records = few_columns(collection.finished(label=label))
    crs, crs_notes = _crs(collection.members, label=label)
    return from_records(records, label=label, layer=path.stem, crs=crs, notes=(*notes, *crs_notes))


class _Collection:
    """What a document holds: the records of its features, and its other members."""

    def __init__(self, limits: LimitsSection) -> None:
        self.limits = limits
        self.records: list[Record] = []
        self.members: dict[str, Any] = {}
        self.listed = False

    def read(self, stream: JsonStream) -> None:
        """Read a document feature by feature."""
        if stream.peek() == "[":
            self.members = {"type": "a list"}
            stream.value()
            return
        for key in stream.members():
            if key == "features" and stream.peek() == "[":
                self.listed = True
                for feature in stream.items():
                    if len(self.records) >= MAX_RECORDS:
                        self.records.append(Record(values={}, problem=too_many(stream.line())))
                        stream.stop()
                        return
                    self.records.append(_record(feature, limits=self.limits))
            else:
                self.members[key] = stream.value()

    def add(self, document: Any) -> bool:
        """Take a whole document of a sequence; whether it is GeoJSON."""
        if not isinstance(document, dict):
            return False
        kind = document.get("type")
        if kind == "FeatureCollection" and isinstance(document.get("features"), list):
            self.records += [_record(feature, limits=self.limits) for feature in document["features"]]
        elif kind == "Feature":
            self.records.append(_record(document, limits=self.limits))
        elif kind in GEOMETRIES:
            self.records.append(_record({"geometry": document}, limits=self.limits))
        else:
            return False
        self.members = self.members or {k: v for k, v in document.items() if k == "crs"}
        self.listed = True
        return True

    def finished(self, *, label: str) -> list[Record]:
        """The records; raises when the document is another kind of JSON."""
        kind = self.members.get("type")
        if self.listed and kind in ("FeatureCollection", None) and not _OTHERS.keys() & self.members.keys():
            return self.records
        if kind == "Feature" and self.records and "geometry" not in self.members:
            return self.records  # a collection that is called a feature
        if kind in ("Feature", *GEOMETRIES):
            self.records = []  # what else it calls features is no part of the standard
            self.add(self.members)
            return self.records
        other = next((name for word, name in _OTHERS.items() if kind == word or word in self.members), "")
        what = f"is {other}, which is not read" if other else f"is no GeoJSON feature collection (its type is {kind!r})"
        raise LayerError(Fault(where=label, what=what, mend="export it as GeoJSON"))


def _sequence(text: str, *, anyway: bool, limits: LimitsSection) -> _Collection | None:
    """The records of a sequence, a broken text as one record; None when it is no sequence."""
    found, whole = _Collection(limits), []
    separator = SEPARATOR if SEPARATOR in text else "\n"
    at = 0
    while 0 <= at < len(text):
        end = text.find(separator, at)
        part = text[at : end if end >= 0 else None].strip()
        at = end + 1 if end >= 0 else len(text)
        if not part:
            continue
        if len(found.records) >= MAX_RECORDS:
            found.records.append(Record(values={}, problem=too_many(text.count("\n", 0, at))))
            break
        whole.append(_add_text(part, found))
        if not whole[0] and not anyway and separator == "\n":
            return None
        if len(whole) >= _TRIED and not any(whole):
            return None
    return found if any(whole) and (anyway or separator == SEPARATOR or whole[0]) else None


def _add_text(part: str, found: _Collection) -> bool:
    stream, why = JsonStream(part, parts=4 * found.limits.vertices + 100_000), "is no GeoJSON feature"
    try:
        document = stream.value()
        if stream.at_end() and found.add(document):
            return True
        why = why if stream.at_end() else "is not whole JSON: more follows its end"
    except (BrokenJsonError, DeepJsonError) as error:
        why = writable(f"is not whole JSON: {error}")
    found.records.append(Record(values={"text": part[:_SHOWN]}, problem=why))
    return False


def _crs(document: dict[str, Any], *, label: str) -> tuple[CRS | None, tuple[str, ...]]:
    if "crs" not in document:
        return WGS84, ()
    member = document["crs"]
    properties = member.get("properties") if isinstance(member, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    try:
        return CRS.from_user_input(name), ()
    except (UnknownCRS, TypeError):
        return None, (f"{label}: its crs member {str(member)[:60]!r} is not known",)


def _record(feature: Any, *, limits: LimitsSection) -> Record:
    if not isinstance(feature, dict):
        return Record(values={"feature": json.dumps(feature)[:_SHOWN]}, problem="is no feature")
    properties = feature.get("properties")
    values = {writable(str(k)): _value(v) for k, v in properties.items()} if isinstance(properties, dict) else {}
    number = feature.get("id")
    number = _HALF.sub("", number) if isinstance(number, str) else number
    halved = [key for key, value in values.items() if _is_halved(value)]
    values |= {key: _HALF.sub("", values[key]) for key in halved}
    if isinstance(number, str | int | float) and str(values.get("id")) != str(number):
        values["id" if values.get("id") is None else unique_name("id", values)] = number
    geometry = feature.get("geometry")
    if geometry is None:
        return Record(values=values, problem=NO_GEOMETRY)
    found, repair, problem = read_geometry(geometry, vertices=limits.vertices, parts=limits.parts)
    half = [f"half of a sign taken out of {', '.join(halved)}"] if halved else []
    return Record(values=values, geometry=found, problem=problem, repair="; ".join([*filter(None, [repair]), *half]))


def _value(value: Any) -> Any:
    return json.dumps(value, ensure_ascii=False) if isinstance(value, dict | list) else value


def _is_halved(value: Any) -> bool:
    """Whether a text holds half of a sign, as JSON can and no file of text."""
    return isinstance(value, str) and not value.isascii() and _HALF.search(value) is not None
