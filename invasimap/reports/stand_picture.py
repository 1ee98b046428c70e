"""A small picture of a stand as SVG: edge, ways, water, protected ground, and what can be done where plants grow."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from html import escape
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely

from invasimap.core.units import ShownUnits
from invasimap.prescription.plan import Plan
from invasimap.reports.style import GROUND, INK, LINE, OUTCOME, PAPER, WAY, ZONE, Area, line_look, way_look
from invasimap.reports.wording import OUTCOMES, outcome

WIDE_PX, MOST_HIGH_PX, EDGE_PX, FOOT_PX = 220.0, 230.0, 6.0, 22.0
TOLERANCE_PX: Final = 0.35
SMALL_PX: Final = 3.0  # across: what is smaller is drawn as a dot
MOST_DOTS: Final = 400
ROUND: Final = (1, 2, 3, 5)


@dataclass(frozen=True, kw_only=True)
class View:
    """Where metres lie on the picture: its left and top edge, px in a metre, and its size."""

    left_m: float
    top_m: float
    scale: float
    width_px: float
    height_px: float

    @classmethod
    def of(cls, bounds: tuple[float, float, float, float]) -> View:
        """The view that shows bounds as large as fits."""
        left, bottom, right, top = bounds
        wide, high = max(right - left, 1.0), max(top - bottom, 1.0)
        scale = min((WIDE_PX - 2 * EDGE_PX) / wide, (MOST_HIGH_PX - 2 * EDGE_PX) / high)
        return cls(
            left_m=(left + right) / 2 - WIDE_PX / 2 / scale, top_m=top + EDGE_PX / scale, scale=scale, width_px=WIDE_PX,
            height_px=high * scale + 2 * EDGE_PX,
        )  # fmt: skip

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """What the picture shows, in metres."""
        return (
            self.left_m, self.top_m - self.height_px / self.scale, self.left_m + self.width_px / self.scale, self.top_m,
        )  # fmt: skip

    def px(self, coords: Any) -> Any:
        """Places in px from the upper left corner."""
        return (np.asarray(coords) - (self.left_m, self.top_m)) * (self.scale, -self.scale)


@dataclass(frozen=True, kw_only=True)
class Ground:
    """What the pictures of all stands are drawn from: layers once, with a tree each to find what is near a stand."""

    faces: Mapping[str, gpd.GeoDataFrame]
    layers: Mapping[str, tuple[Any, shapely.STRtree, list[str]]]

    @classmethod
    def of(cls, plan: Plan) -> Ground:
        """The layers of a plan."""
        faces = plan.mosaic.assign(outcome=outcome(plan.mosaic), stand=plan.mosaic["stand"].astype(str))
        layers = {
            "zone": (plan.protection, plan.protection["zone"]),
            "way": (plan.ways, plan.ways["allows"]),
            "line": (plan.features, plan.features["kind"]),
        }
        return cls(
            faces={stand: faces[faces["stand"] == stand] for stand in faces["stand"].unique()},
            layers={
                name: (layer.geometry.to_numpy(), shapely.STRtree(layer.geometry.to_numpy()), list(map(str, words)))
                for name, (layer, words) in layers.items()
            },
        )  # fmt: skip

    def near(self, name: str, bounds: tuple[float, float, float, float]) -> Iterator[tuple[Any, str]]:
        """The shapes of a layer cut to bounds, each with what it is."""
        shapes, tree, words = self.layers[name]
        for at in sorted(tree.query(shapely.box(*bounds))):
            yield shapely.clip_by_rect(shapes[at], *bounds), words[at]


def stand_svg(ground: Ground, stand: str, shape: Any, *, number: int, shown: ShownUnits) -> str:
    """The picture of one stand; ``shape`` is its polygon in metres, ``number`` tells it from others of the page."""
    view = View.of(shape.bounds)
    inside = _path(shape, view)
    clip = f"stand-{number}-edge"
    body = [f'<clipPath id="{clip}"><path d="{inside}"/></clipPath><g clip-path="url(#{clip})">']
    body += [
        f'<path d="{_path(part, view)}" fill="url(#fill-zone-{escape(zone)})"/>'
        for part, zone in ground.near("zone", view.bounds)
        if zone in ZONE
    ]
    body += [_course(part, view, LINE[line_look(kind)]) for part, kind in ground.near("line", view.bounds)]
    body += [_course(part, view, WAY[way_look(allows)]) for part, allows in ground.near("way", view.bounds)]
    body.append("</g>")
    body += _infested(ground.faces[stand], view)
    edge = GROUND["stand"]
    body.append(f'<path d="{inside}" fill="none" stroke="{edge.edge}" stroke-width="{edge.line_pt}"/>')
    body.append(_bar(view, shown))
    high = view.height_px + FOOT_PX
    label = escape(f"Sketch of stand {stand}, north up: what can be done where invasive plants grow")
    size = f'viewBox="0 0 {WIDE_PX:g} {high:.0f}" width="{WIDE_PX:g}" height="{high:.0f}"'
    return f'<svg class="sketch" role="img" aria-label="{label}" {size}>{"".join(body)}</svg>'


def _infested(faces: gpd.GeoDataFrame, view: View) -> list[str]:
    """Infested ground by what can be done, one path an outcome; what is too small to be seen as a dot."""
    found = list[str]()
    for name in OUTCOMES:
        parts = shapely.get_parts(faces[faces["outcome"] == name].geometry.to_numpy())
        small = np.sqrt(shapely.area(parts)) * view.scale < SMALL_PX
        if (~small).any():
            path = "".join(_path(part, view) for part in parts[~small])
            found.append(f'<path d="{path}" fill="url(#fill-{name})" stroke="{INK}" stroke-width=".5"/>')
        largest = parts[small][np.argsort(-shapely.area(parts[small]), kind="stable")][:MOST_DOTS]
        dots = view.px(shapely.get_coordinates(shapely.centroid(largest))) if len(largest) else []
        fill = OUTCOME[name].fill
        found += [
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="1.8" fill="{fill}" stroke="{INK}" stroke-width=".5"/>'
            for x, y in dots
        ]
    return found


def _path(shape: Any, view: View) -> str:
    """The rings of polygons as the path of an SVG, without points that nobody could see."""
    simple = shapely.simplify(shape, TOLERANCE_PX / view.scale, preserve_topology=True)
    return "".join(
        f"{_line(shapely.get_coordinates(ring)[:-1], view)}z" for ring in shapely.get_rings(shapely.get_parts(simple))
    )


def _line(coords: Any, view: View) -> str:
    text = "L".join(f"{x:.1f},{y:.1f}" for x, y in view.px(coords))
    return f"M{text}" if text else ""


def _course(shape: Any, view: View, look: Any) -> str:
    """A line with its casing; what is no line (a pond, a well) is left to its zone."""
    parts = shapely.get_parts(shapely.simplify(shape, TOLERANCE_PX / view.scale))
    lines = [part for part in parts if shapely.get_dimensions(part) == 1 and not part.is_empty]
    path = "".join(_line(shapely.get_coordinates(line), view) for line in lines)
    if not path:
        return ""
    dash = f' stroke-dasharray="{" ".join(f"{step:g}" for step in look.dash)}"' if look.dash else ""
    bare = f'<path d="{path}" fill="none" stroke'
    under = f'{bare}="{look.casing}" stroke-width="{look.line_pt + 1.2:g}"/>' if look.casing else ""
    return f'{under}{bare}="{look.color}" stroke-width="{look.line_pt:g}"{dash}/>'


def _bar(view: View, shown: ShownUnits) -> str:
    """A scale bar of a round length below the picture."""
    most = 0.5 * WIDE_PX / view.scale / shown.m
    ten = 10.0 ** math.floor(math.log10(most))
    length = max(step * ten for step in ROUND if step * ten <= most)
    long, at = length * shown.m * view.scale, view.height_px + 6
    place = f'x="{EDGE_PX + long + 6:.1f}" y="{at + 1:.1f}"'
    return (
        f'<path d="M{EDGE_PX:g},{at - 4:.1f}v4h{long:.1f}v-4" fill="none" stroke="{INK}"/>'
        f'<text {place} font-size="12" fill="{INK}">{length:,.0f} {shown.length}</text>'
    )


def outcome_svg(areas_m2: Mapping[str, float], *, label: str = "", css: str = "bar", whole_m2: float = 0.0) -> str:
    """Ground by what can be done as one bar, each part in its own fill; empty text where there is none.

    With ``whole_m2`` the bar is as much shorter than its place as its ground is less than that. Without ``label`` it is
    hidden from those who listen: its figures stand beside it.
    """
    sum_m2 = float(sum(areas_m2.values()))
    if sum_m2 <= 0:
        return ""
    at, parts, per_m2 = 0.0, [], 1000.0 / max(whole_m2, sum_m2)
    for name in OUTCOMES:
        width = per_m2 * areas_m2[name]
        if width > 0:
            box = f'x="{at:.2f}" y="1" width="{width:.2f}" height="34"'
            parts.append(_fill_box(box, name, OUTCOME[name]))
            at += width
    said = f'role="img" aria-label="{escape(label)}"' if label else 'aria-hidden="true"'
    frame = f'class="{css}" viewBox="0 0 1000 36" preserveAspectRatio="none" {said}'
    return f"<svg {frame}>{''.join(parts)}</svg>"


def _fill_box(box: str, name: str, look: Area) -> str:
    """A box in a fill; thin lines keep their weight however the bar is stretched."""
    under = look.fill if look.fill != "none" else PAPER
    line = f'stroke="{look.edge}" stroke-width="1" vector-effect="non-scaling-stroke"'
    return f'<rect {box} fill="{under}"/><rect {box} fill="url(#fill-{name})" {line}/>'
