"""The field map: one web page that needs no signal, with the reader's own position where the device gives it."""

from __future__ import annotations

import math
import re
from importlib import resources
from typing import Any
from urllib.parse import urlsplit

import folium
import numpy as np
import shapely
from branca.element import Element
from pyproj import Transformer

from invasimap.core.crs import to_lonlat
from invasimap.core.errors import InvasimapError
from invasimap.prescription.plan import Plan
from invasimap.reports import style
from invasimap.reports.legend import Row, legend_rows, unit_line
from invasimap.reports.offline import AfterMap, Inline, OfflineMap, fetched, safe_html
from invasimap.reports.packed import STEP_M, packed
from invasimap.reports.patterns import pattern_defs, pattern_names, swatch
from invasimap.reports.sheet import survey_dates, tract_bounds
from invasimap.reports.web_layers import web_layers
from invasimap.reports.web_patches import switches
from invasimap.reports.web_shade import shade_image
from invasimap.reports.wording import OUTCOMES

SCRIPTS = ("map.js", "map_data.js", "map_canvas.js", "map_show.js", "map_tap.js", "map_measure.js", "map_print.js")
PAPER = {
    "us": ("letter", "720px", "945px"),
    "metric": ("A4", "700px", "1010px"),
}  # and room between margins


def map_html(plan: Plan) -> str:
    """The field map as one page, which its browser forbids to fetch anything but a background that settings name.

    Raises
    ------
    InvasimapError
        When the page would fetch anything from elsewhere.
    """
    root = web_map(plan).get_root()
    _number(root)
    page = str(root.render()).replace("<html>", '<html lang="en">', 1)
    page = page.replace("<head>", f"<head>{_policy(plan)}", 1)
    if outside := fetched(page):
        raise InvasimapError(f"map.html would fetch {outside[0]!r}")
    return page


def web_map(plan: Plan) -> folium.Map:
    """The field map as a folium map, for a notebook or to add to."""
    field = OfflineMap(
        zoom_control=True, control_scale=False, max_zoom=21, zoom_snap=0.25, attribution_control=False
    )  # fmt: skip
    field.fit_bounds(_corners(plan), padding_top_left=(10, 10), padding_bottom_right=(10, 10))
    if (picture := shade_image(plan)) is not None:
        folium.raster_layers.ImageOverlay(picture[0], picture[1], name="shape of the ground", opacity=1.0).add_to(field)
    _dress(plan, field)
    return field


def _dress(plan: Plan, field: OfflineMap) -> None:
    """Title, panels, what is printed, the packed layers and the script that draws them."""
    root: Any = field.get_root()
    root.title = safe_html(f"{plan.settings.tract.name}: field map")
    size, width, height = PAPER[plan.settings.tract.units]
    colours = "".join(f"--{name}: {color}; " for name, color in style.SCREEN.items())
    look = _template("map.css").replace("FONT", style.SCREEN_FONT).replace("COLOURS", colours)
    look = look.replace("PAPER_SIZE", size).replace("PAPER_WIDTH", width).replace("PAPER_HIGH", height)
    root.header.add_child(Inline(f"<style>{look}</style>"), name="look")
    cautions = "".join(f"<p>{safe_html(text)}</p>" for text in plan.cautions)
    parts = {"TITLE": _title(plan), "LEGEND": _legend(plan), "CAUTIONS": cautions}
    frame = re.sub("|".join(parts), lambda found: parts[found[0]], _template("map.html"))
    words, shapes = packed(web_layers(plan), _head(plan), crs=plan.crs, origin=_origin(plan))
    data = (
        f'<script type="text/plain" id="field-words">{words}</script>'
        f'<script type="text/plain" id="field-shapes">{shapes}</script>'
    )
    root.html.add_child(Inline(pattern_defs() + frame + data), name="words")
    code = "\n".join(_template(name) for name in SCRIPTS[1:] + SCRIPTS[:1])
    AfterMap(f'(function () {{\n"use strict";\nvar map = MAP_NAME;\n{code}}})();').add_to(field)


def _head(plan: Plan) -> dict[str, Any]:
    """What the script needs beside the layers."""
    return {
        "origin": list(_origin(plan)), "step": STEP_M, "corners": _corners(plan), "font": style.SCREEN_FONT,
        "colors": style.SCREEN,
        "area_per_m2": plan.shown.area_of(1.0), "area_unit": plan.shown.area,
        "length_per_m": plan.shown.length_of(1.0), "length_unit": plan.shown.length,
        "fills": [f"fill-{name}" for name in OUTCOMES], "groups": switches(plan), "background": _background(plan),
    }  # fmt: skip


def _background(plan: Plan) -> dict[str, Any] | None:
    found = plan.settings.map.background
    if found is None:
        return None
    named = {"address": found.address, "attribution": found.attribution, "max_zoom": found.max_zoom}
    return named | {"host": urlsplit(found.address).netloc}


def _policy(plan: Plan) -> str:
    """What the browser itself forbids the page: every address but those of a background that the settings name."""
    found = plan.settings.map.background
    place = urlsplit(found.address) if found is not None else None
    also = f" {place.scheme}://{place.netloc}" if place is not None else ""
    rules = (
        f"default-src 'none'; img-src data: blob:{also}; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
        "base-uri 'none'; form-action 'none'"
    )
    return f'<meta http-equiv="Content-Security-Policy" content="{rules}">'


def _origin(plan: Plan) -> tuple[float, float]:
    """The south-west corner of the tract in Web Mercator, down to whole metres."""
    x, y, _, _ = Transformer.from_crs(plan.crs, 3857, always_xy=True).transform_bounds(*tract_bounds(plan))
    return math.floor(x), math.floor(y)


def _corners(plan: Plan) -> list[list[float]]:
    left, bottom, right, top = tract_bounds(plan)
    lon, lat = to_lonlat(plan.crs).transform(np.array([left, right, left, right]), np.array([bottom, bottom, top, top]))
    return [[float(min(lat)), float(min(lon))], [float(max(lat)), float(max(lon))]]


def _title(plan: Plan) -> str:
    name = safe_html(plan.settings.tract.name)
    made = plan.made.astimezone(plan.settings.tract.zone)
    return f"<h1>{name}</h1><p><span>Survey {survey_dates(plan)}.</span> <span>Plan of {made:%Y-%m-%d}.</span></p>"


def _legend(plan: Plan) -> str:
    legend, fills = [], pattern_names()
    for row in [*legend_rows(plan), *_more_rows(plan)]:
        if row.kind == "heading":
            legend.append(f"</table></div><div><h2>{safe_html(row.text)}</h2><table>")
        elif not (row.text.startswith(("contour every", "labelled every", "marks stand"))):
            sample = swatch(row.look, fills) if row.look is not None else ""
            legend.append(f"<tr><td>{sample}</td><td>{safe_html(row.text)}</td><td>{safe_html(row.figure)}</td></tr>")
    parts = f"<div><table>{''.join(legend)}</table></div>".replace("<div><table></table></div>", "")
    return f"{parts}<p>{safe_html(unit_line(plan.shown))}</p>"


def _more_rows(plan: Plan) -> list[Row]:
    """What the field map shows and the printed one does not."""
    unused = plan.set_aside.geometry.to_numpy()
    rows = []
    if len(plan.parking):
        rows.append(Row(text="place to park for a hose", look=(style.PARKING_MARK, style.PAPER)))
    if not (shapely.is_missing(unused) | shapely.is_empty(unused)).all():
        rows.append(Row(text="record set aside: in no figure", look=style.LINE["set_aside"]))
    return rows


def _template(name: str) -> str:
    return (resources.files("invasimap.reports") / "templates" / name).read_text(encoding="utf-8")


def _number(root: Element) -> None:
    """Count the page's elements instead of naming them at random: the same plan gives the same page."""
    waiting, seen = [root], 0
    while waiting:
        element = waiting.pop(0)
        element._id = f"{seen:05d}"
        seen += 1
        waiting += list(element._children.values())
        waiting += [
            part
            for part in (getattr(element, name, None) for name in ("header", "html", "script", "icon", "marker"))
            if isinstance(part, Element)
        ]
