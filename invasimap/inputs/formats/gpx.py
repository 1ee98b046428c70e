"""GPX 1.0 and 1.1: waypoints, routes and tracks, each one record, with extensions as columns.

Our own parser, because the usual driver turns lat="abc" into 0, drops a layer for a one-point track and "007" into 7.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from math import isfinite, nan
from pathlib import Path
from typing import Final
from xml.etree.ElementTree import Element

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from invasimap.core.errors import Fault, LayerError
from invasimap.core.survey_settings import LimitsSection
from invasimap.inputs.formats.bounds import MAX_RECORDS, broken_off, few_columns, over_vertices, too_many
from invasimap.inputs.formats.positions import not_a_number
from invasimap.inputs.formats.raw import WGS84, RawLayer, Record, from_records, read_bytes, unique_name
from invasimap.inputs.formats.xml import (
    Break,
    Format,
    check_depth,
    child_text,
    local,
    local_name,
    read_xml,
    refuse_many,
    text_of,
    whole_children,
)

GROUPS: Final = {"wpt": "waypoints", "rte": "routes", "trk": "tracks"}
_SHAPES: Final = {"rtept", "trkseg"}
_VALUE: Final = ("value", "val", "v")
_KEY: Final = ("name", "key", "k")
_UNIT: Final = ("unit", "units", "uom")


@dataclass(kw_only=True)
class _Points:
    """The points of one segment or route, gathered as the file is read."""

    places: list[tuple[float, float]] = field(default_factory=list)
    count: int = 0
    problem: str = ""
    time: str = ""


@dataclass(kw_only=True)
class _Harvest:
    """Records taken out of the growing tree, and the points of the track that is still open."""

    limits: LimitsSection
    records: dict[str, list[Record]] = field(default_factory=lambda: {name: [] for name in GROUPS})
    lonlat: list[tuple[float, float] | None] = field(default_factory=list)
    open: dict[Element, _Points] = field(default_factory=dict)
    last: str = "wpt"

    def take(self, root: Element, *, still_open: frozenset[Element] | None) -> int:
        """Take the elements that are complete: records, and the points of the record that is not."""
        whole = whole_children(root, still_open)
        for element in whole:
            self._add(element)
        del root[: len(whole)]
        points = self._take_points(root[0]) if still_open is None and len(root) else 0
        if self.count() > MAX_RECORDS:
            raise OverflowError
        return len(whole) + points

    def count(self) -> int:
        """Records so far."""
        return sum(map(len, self.records.values()))

    def _add(self, element: Element) -> None:
        kind = local(element)
        if kind in GROUPS:
            self.last = kind
            self.records[kind].append(self.record(element))

    def record(self, element: Element) -> Record:
        """The record of a whole element."""
        kind = local(element)
        return self._waypoint(element) if kind == "wpt" else self._line(element)

    def _waypoint(self, element: Element) -> Record:
        position, problem = _position(element)
        self.lonlat.append(position)
        return Record(values=_values(element), problem=problem, group="waypoints")

    def _line(self, element: Element) -> Record:
        walked = local(element) == "trk"
        parts = [self._gathered(e, "trkpt") for e in element if local(e) == "trkseg"] if walked else []
        parts = parts if walked else [self._gathered(element, "rtept")]
        values = _values(element)
        first = next(filter(None, (part.time for part in parts)), "") if walked else ""
        if first and not values.get("time"):
            values["time"] = first
        problem = next(filter(None, (part.problem for part in parts)), "")
        if any(len(part.places) > self.limits.vertices for part in parts):
            line, short = None, over_vertices(self.limits.vertices)
        else:
            line, short = _joined([part.places for part in parts])
        return Record(
            values=values, geometry=line, problem=problem or short, group=GROUPS[local(element)], walked=walked
        )

    def _gathered(self, element: Element, name: str) -> _Points:
        points = self.open.pop(element, None) or _Points()
        self._gather(element[:], points, name)
        return points

    def _gather(self, elements: list[Element], points: _Points, name: str) -> None:
        for element in elements:
            if len(points.places) > self.limits.vertices:
                return  # it is set aside, whatever else is in it
            if local(element) != name:
                continue
            points.count += 1
            position, wrong = _position(element)
            if position is None:
                points.problem = points.problem or f"point {points.count}: {wrong}"
            else:
                points.places.append(position)
            points.time = points.time or child_text(element, "time")

    def _take_points(self, element: Element) -> int:
        """Take the complete points out of the record that is still open."""
        kind, taken = local(element), 0
        if kind == "rte":
            return self._strip(element, "rtept")
        for segment in element if kind == "trk" else ():
            taken += self._strip(segment, "trkpt") if local(segment) == "trkseg" else 0
        if kind not in GROUPS:
            taken = len(element) - 1
            del element[:-1]
        return max(taken, 0)

    def _strip(self, element: Element, name: str) -> int:
        points = [child for child in element[:-1] if local(child) == name]
        self._gather(points, self.open.setdefault(element, _Points()), name)
        if points:
            element[:] = [child for child in element[:-1] if local(child) != name] + [element[-1]]
        return len(points)


def read_gpx(path: Path, *, label: str, limits: LimitsSection | None = None) -> RawLayer:
    """Waypoints, then routes, then tracks of a GPX file.

    A file that breaks off gives its whole records and one more, set aside, that says where it breaks.

    Raises
    ------
    LayerError
        When it is no GPX, or breaks before its first record.
    """
    limits = limits or LimitsSection()
    data = read_bytes(path, label=label, limit_B=limits.file_B)
    kind = Format(root="gpx", held=2 * limits.vertices + 100_000)
    refuse_many(data, [*GROUPS], label=label, limit=limits.xml_records)
    refuse_many(data, ["trkpt", "rtept"], label=label, limit=kind.held, setting="vertices", of="points")
    made: list[_Harvest] = []

    def make() -> _Harvest:
        made.append(_Harvest(limits=limits))
        return made[-1]

    broken: Break | None = None
    notes: list[str] = []
    try:
        _, broken, notes = read_xml(data, label=label, kind=kind, harvest=make)
    except OverflowError:
        made[-1].records["trk"].append(Record(values={}, problem=too_many(0), group="tracks"))
    harvest = made[-1]
    if broken is not None:
        _add_break(harvest, broken, label=label)
    return _layer(harvest, label=label, layer=path.stem, notes=notes)


def _add_break(harvest: _Harvest, broken: Break, *, label: str) -> None:
    """One record for what a broken file lost, with what is known of the record that was open there."""
    cut = broken.open[1] if len(broken.open) > 1 and local(broken.open[1]) in GROUPS else None
    if cut is None and not harvest.count():
        raise LayerError(Fault(where=label, what=f"is not whole XML: {broken.why}", mend="export it again"))
    problem = broken_off(broken.line)
    if cut is None:
        harvest.records[harvest.last].append(Record(values={}, problem=problem, group=GROUPS[harvest.last]))
        return
    harvest.records[local(cut)].append(replace(harvest.record(cut), problem=problem))


def _layer(harvest: _Harvest, *, label: str, layer: str, notes: list[str]) -> RawLayer:
    records = few_columns([record for name in GROUPS for record in harvest.records[name]])
    raw = from_records(records, label=label, layer=layer, crs=WGS84, utc=True, notes=notes)
    places = [(nan, nan) if place is None else place for place in harvest.lonlat]  # waypoints come first
    xy = np.full((len(records), 2), nan)
    xy[: len(places)] = np.reshape(places, (len(places), 2))
    if len(harvest.records["wpt"]) == len(records):
        return replace(raw, geometry=None, xy=xy)
    known = np.flatnonzero(~np.isnan(xy[:, 0]))
    shapes = raw.shapes.copy()
    shapes[known] = shapely.points(xy[known])
    return replace(raw, geometry=shapes)


def _joined(segments: list[list[tuple[float, float]]]) -> tuple[BaseGeometry | None, str]:
    """A line of each segment with two places or more; a receiver that lost its signal starts a new segment."""
    points = [point for segment in segments for point in segment]
    distinct = len(set(points))
    if distinct == 0:
        return None, "has no points"
    if distinct == 1:
        return shapely.Point(points[0]), "has one place only: no line and no outline"
    whole = [segment for segment in segments if len(set(segment)) > 1]
    if len(whole) < 2:
        return shapely.LineString(whole[0] if whole else points), ""
    return shapely.MultiLineString(whole), ""


def _position(element: Element) -> tuple[tuple[float, float] | None, str]:
    lon, lat = element.get("lon") or "", element.get("lat") or ""
    try:
        x, y = float(lon), float(lat)
        if isfinite(x) and isfinite(y) and "_" not in lon and "_" not in lat:  # Python reads 1_0 as 10
            return (x, y), ""
    except ValueError:
        pass
    return None, next(not_a_number(name, cell.strip()) for name, cell in (("lon", lon), ("lat", lat)) if _bad(cell))


def _bad(cell: str) -> bool:
    try:
        return not isfinite(float(cell)) or "_" in cell
    except ValueError:
        return True


def _values(element: Element) -> dict[str, str]:
    """The texts of a record by name; blank ones are left out."""
    found: dict[str, str] = {}
    for child in element:
        tag, text = child.tag, child.text
        name = local_name(tag) if ":" in tag else tag
        if name in _SHAPES:
            continue
        if name == "link":
            _keep(iter([(name, child.get("href") or text_of(child))]), found)
        elif child.attrib and (others := _attributes(child)):
            _keep(_leaf(child, others) if not len(child) else _branch(child, others, 0), found)
        elif len(child):
            _keep(_leaves(child, 0), found)
        elif text and (text := text.strip()):
            found[name if name not in found else unique_name(name, found)] = text
    return found


def _keep(pairs: Iterator[tuple[str, str]], found: dict[str, str]) -> None:
    for key, text in pairs:
        if text:
            found[unique_name(key, found)] = text


def _leaves(element: Element, depth: int) -> Iterator[tuple[str, str]]:
    """Name and text of the elements inside, and of the attributes that carry a value."""
    check_depth(depth)
    for child in element:
        if len(child):
            yield from _branch(child, _attributes(child), depth + 1)
        elif not child.keys():
            yield local(child), (child.text or "").strip()
        else:
            yield from _leaf(child, _attributes(child))


def _branch(element: Element, attributes: dict[str, str], depth: int) -> Iterator[tuple[str, str]]:
    """Attributes and own text of an element that holds others, then what these hold."""
    yield from ((name, cell.strip()) for name, cell in attributes.items())
    yield local(element), (element.text or "").strip()
    yield from _leaves(element, depth)


def _attributes(element: Element) -> dict[str, str]:
    return {local_name(k): v for k, v in element.items() if not k.startswith(("xmlns", "xsi"))}


def _leaf(element: Element, attributes: dict[str, str]) -> Iterator[tuple[str, str]]:
    name, text = local(element), (element.text or "").strip()
    key = _popped(attributes, _KEY)
    value = _popped(attributes, _VALUE)
    unit = _popped(attributes, _UNIT)
    if text or value:
        said = f"{text or value} {unit}".strip()
        yield key or name, said
        name_of: Callable[[str], str] = f"{name}_{{}}".format
    else:
        yield name, key
        name_of = str
    yield from ((name_of(other), cell.strip()) for other, cell in attributes.items())


def _popped(attributes: dict[str, str], names: tuple[str, ...]) -> str:
    return next((attributes.pop(name).strip() for name in names if name in attributes), "")
