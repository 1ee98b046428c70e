"""GPX 1.0 and 1.1: waypoints, routes and tracks, each one record, with extensions as columns.

Our own parser, because the usual driver turns lat="abc" into 0, drops a layer for a one-point track and "007" into 7.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite
from pathlib import Path
from typing import Final
from xml.etree.ElementTree import Element

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from invasimap.inputs.formats.positions import not_a_number
from invasimap.inputs.formats.raw import WGS84, RawLayer, Record, from_records, read_bytes, unique_name
from invasimap.inputs.formats.xml import child_text, children, local, parse_xml, text_of

GROUPS: Final = {"wpt": "waypoints", "rte": "routes", "trk": "tracks"}
_SHAPES: Final = {"rtept", "trkseg"}


def read_gpx(path: Path, *, label: str) -> RawLayer:
    """Waypoints, then routes, then tracks of a GPX file."""
    root = parse_xml(read_bytes(path, label=label), label=label, root="gpx")
    readers = {"wpt": _waypoint, "rte": _route, "trk": _track}
    records = [readers[name](element) for name in GROUPS for element in children(root, name)]
    return from_records(records, label=label, layer=path.stem, crs=WGS84, utc=True)


def _waypoint(element: Element) -> Record:
    position, problem = _position(element)
    point = None if position is None else shapely.Point(position)
    return Record(values=_values(element), geometry=point, problem=problem, group="waypoints")


def _route(element: Element) -> Record:
    points, problem = _positions(list(children(element, "rtept")))
    line, short = _line([points])
    values = _values(element)
    return Record(values=values, geometry=line, problem=problem or short, group="routes")


def _track(element: Element) -> Record:
    segments, problems = [], []
    for segment in children(element, "trkseg"):
        points, problem = _positions(list(children(segment, "trkpt")))
        segments.append(points)
        problems.append(problem)
    line, short = _line(segments)
    values = _values(element)
    values.setdefault("time", _first_time(element))
    problem = next(filter(None, problems), "")
    return Record(values=values, geometry=line, problem=problem or short, group="tracks", walked=True)


def _first_time(track: Element) -> str:
    times = (child_text(p, "time") for s in children(track, "trkseg") for p in children(s, "trkpt"))
    return next(filter(None, times), "")


def _line(segments: list[list[tuple[float, float]]]) -> tuple[BaseGeometry | None, str]:
    """A line of each segment with two places or more; a receiver that lost its signal starts a new segment."""
    points = np.array([point for segment in segments for point in segment], dtype=float).reshape(-1, 2)
    distinct = len(np.unique(points, axis=0))
    if distinct == 0:
        return None, "has no points"
    if distinct == 1:
        return shapely.Point(points[0]), "has one place only: no line and no outline"
    whole = [segment for segment in segments if len(set(segment)) > 1]
    if len(whole) < 2:
        return shapely.LineString(whole[0] if whole else points), ""
    return shapely.MultiLineString(whole), ""


def _positions(elements: list[Element]) -> tuple[list[tuple[float, float]], str]:
    found, problem = [], ""
    for number, element in enumerate(elements, 1):
        position, wrong = _position(element)
        if position is not None:
            found.append(position)
        elif not problem:
            problem = f"point {number}: {wrong}"
    return found, problem


def _position(element: Element) -> tuple[tuple[float, float] | None, str]:
    values = []
    for name in ("lon", "lat"):
        cell = (element.get(name) or "").strip()
        try:
            value = float(cell)
        except ValueError:
            value = float("nan")
        if not isfinite(value):
            return None, not_a_number(name, cell)
        values.append(value)
    return (values[0], values[1]), ""


def _values(element: Element) -> dict[str, str]:
    found: dict[str, str] = {}
    for child in element:
        name = local(child)
        if name == "extensions":
            for key, text in _leaves(child):
                found[unique_name(key, found)] = text
        elif name == "link":
            found.setdefault("link", child.get("href", ""))
        elif name and name not in _SHAPES:
            found[unique_name(name, found)] = text_of(child)
    return found


def _leaves(element: Element) -> Iterator[tuple[str, str]]:
    """Name and text of the innermost elements."""
    for child in element:
        if len(child):
            yield from _leaves(child)
        elif local(child):
            yield child.get("name") or local(child), (child.text or "").strip()
