"""A crew's sheet as GPX 1.1 (the open exchange format of receivers, topografix.com/GPX/1/1): marks and tracks."""

from __future__ import annotations

import datetime as dt
from typing import Any
from xml.etree import ElementTree as ET

import shapely

from invasimap.reports.crew_outlines import DECIMALS
from invasimap.reports.crew_sheet import CrewSheet, Place

NAMESPACE = "http://www.topografix.com/GPX/1/1"
TRACK_TYPES = {
    "open": "edge of open ground to treat",
    "hand_only": "edge of ground to treat by hand only",
    "dry": "edge of no-spray ground to work by hand, nothing applied",
    "no_spray": "no-spray line",
    "hand_ground": "hand-only line",
}


def gpx_bytes(sheet: CrewSheet) -> bytes:
    """The whole file; each ring of an outline is a segment of its track, first point and last the same."""
    root = ET.Element("gpx", {"xmlns": NAMESPACE, "version": "1.1", "creator": "invasimap"})
    head = ET.SubElement(root, "metadata")
    _texts(head, name=sheet.title, desc=sheet.words, time=utc_text(sheet.made))
    for mark in sheet.marks:
        point = _point(root, "wpt", mark.place)
        _texts(
            point,
            name=mark.name,
            cmt=mark.short,
            desc=mark.words,
            type="treatment zone" if mark.kind == "zone" else mark.kind,
        )
    for outline in sheet.outlines:
        track = ET.SubElement(root, "trk")
        _texts(track, name=outline.name, cmt=outline.short, desc=outline.words, type=TRACK_TYPES[outline.kind])
        for ring in shapely.get_rings(outline.shapes):
            segment = ET.SubElement(track, "trkseg")
            for place in shapely.get_coordinates(ring).tolist():
                _point(segment, "trkpt", place)
    return xml_bytes(root)


def utc_text(moment: dt.datetime) -> str:
    """A moment in UTC, to the second, as XML writes it."""
    return f"{moment.astimezone(dt.UTC):%Y-%m-%dT%H:%M:%S}Z"


def xml_bytes(root: ET.Element) -> bytes:
    """A document, indented, the same bytes on every system."""
    ET.indent(root, space=" ")
    text = ET.tostring(root, encoding="unicode")  # asked for bytes it encodes sign by sign, which doubles the time
    return f"<?xml version='1.0' encoding='UTF-8'?>\n{text}\n".encode("utf-8", "xmlcharrefreplace")


def _point(parent: ET.Element, tag: str, place: Place | list[Any]) -> ET.Element:
    lon, lat = place
    return ET.SubElement(parent, tag, {"lat": f"{lat:.{DECIMALS}f}", "lon": f"{lon:.{DECIMALS}f}"})


def _texts(parent: ET.Element, **texts: str) -> None:
    for tag, text in texts.items():
        ET.SubElement(parent, tag).text = text
