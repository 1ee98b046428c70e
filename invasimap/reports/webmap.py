"""The field map: one web page that needs no signal, with the reader's own position where the device gives it."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any

import folium
import geopandas as gpd
import numpy as np
import shapely
from branca.element import Element
from folium.features import GeoJsonPopup, GeoJsonTooltip

from invasimap.core.crs import to_lonlat
from invasimap.core.errors import InvasimapError
from invasimap.core.units import ShownUnits
from invasimap.prescription.plan import Plan
from invasimap.reports import style
from invasimap.reports.legend import legend_rows, unit_line
from invasimap.reports.map_layers import way_machines
from invasimap.reports.offline import AfterMap, Inline, OfflineMap, fetched, safe_html
from invasimap.reports.patterns import pattern_defs, pattern_names, swatch
from invasimap.reports.sheet import survey_dates, tract_bounds
from invasimap.reports.style import Area, Line
from invasimap.reports.web_layers import (
    DECIMALS,
    access_ground,
    access_popups,
    facts,
    geojson,
    parking_popups,
    patch_popups,
    shade_image,
    species_html,
)
from invasimap.reports.wording import (
    ACCESS_WORDS,
    OUTCOME_WORDS,
    OUTCOMES,
    WAY_WORDS,
    ZONE_WORDS,
    outcome,
    rows_of,
    shown_area,
)

MANY = 3000  # more features than this are drawn on a canvas, without hatches: pages stay quick


def map_html(plan: Plan) -> str:
    """The field map as one page.

    Raises
    ------
    InvasimapError
        When the page would fetch anything from elsewhere.
    """
    root = web_map(plan).get_root()
    _number(root)
    page = str(root.render()).replace("<html>", '<html lang="en">', 1)
    if outside := fetched(page):
        raise InvasimapError(f"map.html would fetch {outside[0]!r}")
    return page


def web_map(plan: Plan) -> folium.Map:
    """The field map as a folium map, for a notebook or to add to."""
    many = len(plan.patches) + len(plan.treatment_zones) > MANY
    field = OfflineMap(
        prefer_canvas=many,
        zoom_control=True,
        control_scale=True,
        max_zoom=20,
        zoom_snap=0.25,
        attribution_control=False,
    )
    field.fit_bounds(_corners(plan), padding_top_left=(10, 80), padding_bottom_right=(10, 40))
    for layer in _layers(plan, many):
        layer.add_to(field)
    folium.LayerControl(collapsed=True, position="topright").add_to(field)
    _dress(plan, field)
    return field


def _layers(plan: Plan, many: bool) -> list[Any]:
    return [*_shade(plan), *_ground_layers(plan, many), *_work_layers(plan, many), *_point_layers(plan)]


def _shade(plan: Plan) -> list[Any]:
    picture = shade_image(plan)
    if picture is None:
        return []
    return [folium.raster_layers.ImageOverlay(picture[0], picture[1], name="shape of the ground", opacity=1.0)]


def _ground_layers(plan: Plan, many: bool) -> list[Any]:
    found: list[Any] = [_access(plan)] if len(plan.access) else []
    protection = plan.protection
    for zone in ("hand_only", "no_spray"):
        rows = protection[protection["zone"] == zone]
        texts = [
            facts(f"<b>{ZONE_WORDS[zone]}</b>", {"because of": str(r.kind), "rule": str(r.rule)}) for r in rows_of(rows)
        ]
        names = [f"<b>{ZONE_WORDS[zone]}</b>"] * len(rows)
        look = _fill(style.ZONE[zone], "" if many else f"fill-zone-{zone}")
        found += _layer(rows, name=f"{ZONE_WORDS[zone]} zones", look=look, names=names, popups=texts)
    features = plan.features
    spots = shapely.get_dimensions(features.geometry.to_numpy()) == 0
    return found + _feature_layers(features[~spots], name="protected features") + _way_layers(plan)


def _feature_layers(features: gpd.GeoDataFrame, *, name: str) -> list[Any]:
    group = folium.FeatureGroup(name=name)
    looks = np.array([style.line_look(str(kind)) for kind in features["kind"]], object)
    for look in ("water", "dry_water", "feature"):
        rows = features[looks == look]
        texts = [f"<b>{safe_html(str(kind))}</b>" for kind in rows["kind"]]
        line = _stroke(style.LINE[look])
        spot = {"color": style.PAPER, "weight": 1.5, "fillOpacity": 1.0, "dashArray": None, "radius": 7}
        points = bool(len(rows)) and bool((shapely.get_dimensions(rows.geometry.to_numpy()) == 0).all())
        for layer in _layer(rows, name="", look=line | spot if points else line, names=texts):
            layer.add_to(group)
    return [group] if len(features) else []


def _access(plan: Plan) -> Any:
    group = folium.FeatureGroup(name="access to all ground", show=False)
    for access, look in style.ACCESS.items():
        rows = access_ground(plan, access)
        texts = access_popups(rows, access)
        plain = {"stroke": False, "fillColor": look.fill, "fillOpacity": 0.45}
        names = [f"<b>{ACCESS_WORDS[access]}</b>"] * len(rows)
        for layer in _layer(rows, name="", look=plain, names=names, popups=texts):
            layer.add_to(group)
    return group


def _way_layers(plan: Plan) -> list[Any]:
    group = folium.FeatureGroup(name="ways and barriers")
    looks = np.array([style.way_look(text) for text in way_machines(plan.ways)], object)
    for look, words in WAY_WORDS.items():
        rows = plan.ways[looks == look]
        line = style.WAY[look]
        if line.casing:
            under = Line(color=line.casing, line_pt=line.line_pt + 2.5)
            _add(group, rows, _stroke(under), words)
        _add(group, rows, _stroke(line), words)
    _add(
        group,
        plan.barriers,
        _stroke(style.LINE["barrier"]) | {"weight": 3, "dashArray": "2 5", "fillOpacity": 0.1},
        "barrier",
    )
    return [group] if len(plan.ways) + len(plan.barriers) else []


def _work_layers(plan: Plan, many: bool) -> list[Any]:
    found, zones = [], plan.treatment_zones
    names = outcome(zones)
    for name in reversed(OUTCOMES):
        rows = zones[names == name]
        texts = [_zone_facts(row, OUTCOME_WORDS[name], plan.shown) for row in rows_of(rows)]
        look = _fill(style.OUTCOME[name], "" if many else f"fill-{name}")
        found += _layer(
            rows,
            name=f"infested: {OUTCOME_WORDS[name]}",
            look=look,
            names=[f"<b>{OUTCOME_WORDS[name]}</b>"] * len(rows),
            popups=texts,
        )
    titles = [species_html(str(latin)) for latin in plan.patches["species"]]
    outline = {"color": style.INK, "weight": 1, "fillOpacity": 0.0}
    found += _layer(plan.patches, name="patches", look=outline, names=titles, popups=patch_popups(plan))
    return [*found, _stands(plan)]


def _zone_facts(row: Any, words: str, shown: ShownUnits) -> str:
    area, species = shown_area(row.gross_m2, shown), str(row.species).replace(";", ", ")
    return facts(f"<b>{words}</b>", {"id": str(row.id), "stand": str(row.stand), "area": area, "species": species})


def _stands(plan: Plan) -> Any:
    group = folium.FeatureGroup(name="stands")
    edge = {"color": style.GROUND["stand"].edge, "weight": 2.5, "fill": False, "interactive": False}
    _add(group, plan.stands, edge, "")
    spots = shapely.get_coordinates(shapely.point_on_surface(plan.stands.geometry.to_numpy()))
    lon, lat = to_lonlat(plan.crs).transform(spots[:, 0], spots[:, 1])
    for name, x, y in zip(plan.stands["stand"], lon, lat, strict=True):
        text = f"<span>{safe_html(str(name))}</span>"
        icon = folium.DivIcon(html=text, icon_size=(0, 0), class_name="stand-name")
        folium.Marker((round(y, DECIMALS), round(x, DECIMALS)), icon=icon, interactive=False, keyboard=False).add_to(
            group
        )
    return group


def _point_layers(plan: Plan) -> list[Any]:
    entry = {"color": "#fff", "weight": 2, "fillColor": style.INK, "fillOpacity": 1.0, "radius": 8}
    aside = {
        "color": style.QUIET,
        "weight": 1.5,
        "fillColor": "#fff",
        "fillOpacity": 0.7,
        "radius": 4,
        "dashArray": "2 3",
    }
    texts = [
        facts("<b>set aside: not in any figure</b>", {"why": str(r.reason), "from": f"{r.file}, record {r.record}"})
        for r in rows_of(plan.set_aside)
    ]
    features = plan.features
    spots = features[shapely.get_dimensions(features.geometry.to_numpy()) == 0]
    crossing = entry | {"fillColor": "#fff", "color": style.INK, "radius": 5}
    return [
        *_feature_layers(spots, name="protected places"),
        *_layer(
            plan.set_aside, name="records set aside", look=aside, names=["<b>set aside</b>"] * len(texts), popups=texts
        ),
        *_layer(
            _points(plan.crossings), name="crossings", look=crossing, names=["<b>crossing</b>"] * len(plan.crossings)
        ),
        *_parking(plan),
        *_layer(_points(plan.entries), name="entries", look=entry, names=["<b>entry</b>"] * len(plan.entries)),
    ]


def _parking(plan: Plan) -> list[Any]:
    """Parking places, hidden until they are asked for."""
    group = folium.FeatureGroup(name="where to park for a hose", show=False)
    fill = style.ACCESS["atv_hose"].fill
    look = {"color": style.INK, "weight": 1.5, "fillColor": fill, "fillOpacity": 1.0, "radius": 5}
    names = [f"<b>park for {safe_html(str(zone))}</b>" for zone in plan.parking["zone_id"]]
    for layer in _layer(plan.parking, name="", look=look, names=names, popups=parking_popups(plan)):
        layer.add_to(group)
    return [group] if len(plan.parking) else []


def _points(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(geometry=shapely.point_on_surface(layer.geometry.to_numpy()), crs=layer.crs)


def _add(group: Any, rows: gpd.GeoDataFrame, look: dict[str, Any], text: str) -> None:
    for layer in _layer(rows, name="", look=look, names=[f"<b>{text}</b>"] * len(rows) if text else []):
        layer.add_to(group)


def _layer(
    rows: gpd.GeoDataFrame, *, name: str, look: dict[str, Any], names: list[str], popups: list[str] | None = None
) -> list[Any]:
    """One GeoJSON layer in one style, or nothing where there are no rows to draw."""
    document = geojson(rows, names=names, popups=popups or [])
    if not document["features"]:
        return []
    options = {"interactive": bool(names)} | {key: value for key, value in look.items() if key != "radius"}
    radius = float(look.get("radius", 7))
    layer = folium.GeoJson(
        document, name=name or None, control=bool(name), style=options, interactive=bool(names),
        marker=folium.CircleMarker(radius=radius, **{_snake(key): value for key, value in options.items()}),
    )  # fmt: skip
    if names:
        GeoJsonTooltip(["name"], labels=False).add_to(layer)
        GeoJsonPopup(["popup" if popups else "name"], labels=False, max_width=280).add_to(layer)
    return [layer]


def _snake(name: str) -> str:
    return "".join(f"_{letter.lower()}" if letter.isupper() else letter for letter in name)


def _fill(look: Area, pattern: str) -> dict[str, Any]:
    fill = f"url(#{pattern})" if pattern else look.fill
    opacity = 1.0 if pattern else look.alpha
    return {"color": look.edge, "weight": look.line_pt * 1.4, "fillColor": fill, "fillOpacity": opacity}


def _stroke(look: Line) -> dict[str, Any]:
    dash = {"dashArray": " ".join(f"{step * 1.4:g}" for step in look.dash)} if look.dash else {}
    return {"color": look.color, "weight": look.line_pt * 1.7, "fillColor": look.color, "fillOpacity": 0.3} | dash


def _corners(plan: Plan) -> list[list[float]]:
    left, bottom, right, top = tract_bounds(plan)
    lon, lat = to_lonlat(plan.crs).transform(np.array([left, right, left, right]), np.array([bottom, bottom, top, top]))
    return [[float(min(lat)), float(min(lon))], [float(max(lat)), float(max(lon))]]


def _dress(plan: Plan, field: OfflineMap) -> None:
    """Title, legend, cautions and the position button."""
    root: Any = field.get_root()
    root.title = safe_html(f"{plan.settings.tract.name}: field map")
    root.header.add_child(
        Inline(f"<style>{_template('map.css').replace('FONT', style.SCREEN_FONT)}</style>"), name="look"
    )
    root.html.add_child(Inline(pattern_defs() + _title(plan) + _notes(plan)), name="words")
    code = _template("map.js").replace("PER_METRE", f"{plan.shown.length_of(1.0):.9g}")
    code = code.replace("LENGTH_UNIT", plan.shown.length).replace("TRACT_CORNERS", json.dumps(_corners(plan)))
    AfterMap(code).add_to(field)


def _title(plan: Plan) -> str:
    name = safe_html(plan.settings.tract.name)
    made = plan.made.astimezone(plan.settings.tract.zone)
    dates = f"Survey {survey_dates(plan)}. Plan of {made:%Y-%m-%d}."
    return f'<div id="title" class="sheet"><h1>{name}</h1><p>{dates}</p></div>'


def _notes(plan: Plan) -> str:
    legend, fills = [], pattern_names()
    for row in legend_rows(plan):
        if row.kind == "heading":
            legend.append(f"</table><h2>{safe_html(row.text)}</h2><table>")
        elif not (row.text.startswith(("contour every", "labelled every", "marks stand"))):
            sample = swatch(row.look, fills) if row.look is not None else ""
            legend.append(f"<tr><td>{sample}</td><td>{safe_html(row.text)}</td><td>{safe_html(row.figure)}</td></tr>")
    cautions = "".join(f"<p>{safe_html(text)}</p>" for text in plan.cautions)
    units = f"<p>{safe_html(unit_line(plan.shown))}</p>"
    return (
        '<div id="notes" class="sheet">'
        + _folded("Legend", f"<table>{''.join(legend)}</table>{units}")
        + _folded("Cautions", f"{cautions}<p>Map drawn with Leaflet.</p>")
        + '<p id="law">The product label is the law.</p></div>'
    )


def _folded(title: str, body: str) -> str:
    return f'<details><summary>{title}</summary><div class="scroll">{body}</div></details>'


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
