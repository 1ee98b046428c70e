"""A crew's sheet as KML 2.2 (OGC 12-007): folders by stand and zone, the maps' colours, nothing from a network."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby
from typing import Any, Final, TypeVar
from xml.etree import ElementTree as ET

import numpy as np
import shapely

from invasimap.core.legible import visible
from invasimap.reports import style
from invasimap.reports.crew_outlines import DECIMALS
from invasimap.reports.crew_sheet import CrewSheet, Mark, Outline
from invasimap.reports.gpx import xml_bytes
from invasimap.reports.style import Area

NAMESPACE: Final = "http://www.opengis.net/kml/2.2"
Thing = TypeVar("Thing", Mark, Outline)
PX_PER_PT: Final = 96 / 72
MARK_STYLE: Final = "mark"
FOLDERS: Final = {"hand_ground": "Hand work only", "no_spray": "No spray"}  # the stricter is drawn last, on top


def kml_bytes(sheet: CrewSheet) -> bytes:
    """The whole file."""
    root = ET.Element("kml", {"xmlns": NAMESPACE})
    document = ET.SubElement(root, "Document")
    _texts(document, name=sheet.title, open="1", description=sheet.words)
    _styles(document, sheet.access, dry=any(outline.kind == "dry" for outline in sheet.outlines))
    marks, lines = _by_zone(sheet.marks), _by_zone(sheet.outlines)
    for stand, zones in groupby(sheet.stands, key=sheet.stands.__getitem__):
        folder = ET.SubElement(document, "Folder")
        _texts(folder, name=f"Stand {visible(stand)}")
        for zone in zones:
            _folder(folder, marks[zone][0].name, marks=marks[zone], outlines=lines[zone])
    for kind, name in FOLDERS.items():
        _folder(document, name, outlines=[line for line in lines.get("", []) if line.kind == kind])
    _folder(document, "Entries and crossings", marks=marks.get("", []))
    return xml_bytes(root)


def _by_zone(things: Iterable[Thing]) -> dict[str, list[Thing]]:
    """Marks or outlines by the zone they are for, in their order; under an empty text those for none."""
    found: dict[str, list[Thing]] = {}
    for thing in things:
        found.setdefault(thing.zone, []).append(thing)
    return found


def _folder(parent: ET.Element, name: str, *, marks: Iterable[Mark] = (), outlines: Iterable[Outline] = ()) -> None:
    """A folder with its outlines, then its marks; none where it would be empty."""
    marks, outlines = list(marks), list(outlines)
    if not (marks or outlines):
        return
    folder = ET.SubElement(parent, "Folder")
    _texts(folder, name=name)
    for outline in outlines:
        place = _placemark(folder, outline.name, outline.words, outline.kind)
        several = ET.SubElement(place, "MultiGeometry")
        for shape in shapely.orient_polygons(np.array(outline.shapes, object)):
            _polygon(several, shape)
    for mark in marks:
        place = _placemark(folder, mark.name, mark.words, MARK_STYLE)
        _texts(ET.SubElement(place, "Point"), coordinates=_written([mark.place]))


def _placemark(parent: ET.Element, name: str, words: str, look: str) -> ET.Element:
    place = ET.SubElement(parent, "Placemark")
    _texts(place, name=name, description=words, styleUrl=f"#{look}")
    return place


def _polygon(parent: ET.Element, shape: Any) -> None:
    polygon = ET.SubElement(parent, "Polygon")
    for number, ring in enumerate(shapely.get_rings(shape)):
        edge = ET.SubElement(polygon, "innerBoundaryIs" if number else "outerBoundaryIs")
        _texts(ET.SubElement(edge, "LinearRing"), coordinates=_written(shapely.get_coordinates(ring).tolist()))


def _written(places: Iterable[Any]) -> str:
    return " ".join(f"{lon:.{DECIMALS}f},{lat:.{DECIMALS}f}" for lon, lat in places)


def _styles(document: ET.Element, access: str, *, dry: bool) -> None:
    """One style a kind; marks show their names and no picture, which a phone would fetch."""
    looks = {
        "open": style.OUTCOME[access], "hand_only": style.OUTCOME["hand_only"],
        "no_spray": style.ZONE["no_spray"], "hand_ground": style.ZONE["hand_only"],
    }  # fmt: skip
    looks |= {"dry": style.DRY} if dry else {}
    for kind, look in looks.items():
        _area_style(document, kind, look)
    found = ET.SubElement(document, "Style", {"id": MARK_STYLE})
    icon = ET.SubElement(found, "IconStyle")
    _texts(icon, scale="0")
    ET.SubElement(icon, "Icon")
    _texts(ET.SubElement(found, "LabelStyle"), scale="0.9")


def _area_style(document: ET.Element, kind: str, look: Area) -> None:
    found = ET.SubElement(document, "Style", {"id": kind})
    width_px = style.CREW_LINE_PT[kind] * PX_PER_PT
    _texts(ET.SubElement(found, "LineStyle"), color=kml_color(look.edge), width=f"{width_px:.1f}")
    _texts(ET.SubElement(found, "PolyStyle"), color=kml_color(look.fill, alpha=style.CREW_ALPHA[kind]))


def kml_color(color: str, *, alpha: float = 1.0) -> str:
    """A colour as KML writes it: alpha, blue, green, red.

    Examples
    --------
    >>> kml_color("#F6D55C"), kml_color("#6B1A22", alpha=0.5)
    ('ff5cd5f6', '80221a6b')
    """
    red, green, blue = color[1:3], color[3:5], color[5:7]
    return f"{round(alpha * 255):02x}{blue}{green}{red}".lower()


def _texts(parent: ET.Element, **texts: str) -> None:
    for tag, text in texts.items():
        ET.SubElement(parent, tag).text = text
