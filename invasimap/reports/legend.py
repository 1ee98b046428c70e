"""The legend of a map: only what is on it, each with its look and, for ground, its acres."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from matplotlib.axes import Axes

from invasimap.core.units import ShownUnits
from invasimap.land.words import RESTRICTED
from invasimap.prescription.plan import Plan
from invasimap.reports import style
from invasimap.reports.answers import answers
from invasimap.reports.drawing import box_path, draw_area, draw_lines, draw_marks, inches
from invasimap.reports.map_layers import unknown_ground, way_machines
from invasimap.reports.relief import INDEX_EVERY, contour_interval
from invasimap.reports.style import FONT, INK, QUIET, TYPE_PT, Area, Line
from invasimap.reports.wording import OUTCOME_WORDS, OUTCOMES, UNIT_WORDS, WAY_WORDS, ZONE_WORDS, shown_area

ROW_IN = 0.185
MOST_KINDS, LONGEST_KIND = 10, 34
SWATCH_IN = (0.34, 0.125)
SWATCH_SHARE = 0.72  # of a row's height: samples of rows set close do not touch


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of a legend; ``look`` is None for a heading or a note."""

    text: str
    figure: str = ""
    look: Area | Line | tuple[str, str] | None = None
    kind: Literal["entry", "heading", "note"] = "entry"


def legend_rows(plan: Plan) -> list[Row]:
    """All rows for the plan, in the order they matter to a crew."""
    return [*_infested(plan), *_protection(plan), *land_rows(plan), *ground_rows(plan), *relief_rows(plan)]


def _infested(plan: Plan) -> list[Row]:
    found = answers(plan)
    if found.patches == 0:
        return [Row(text="No patch was mapped", kind="heading")]
    rows = [
        Row(text=OUTCOME_WORDS[name], figure=shown_area(found.ground_m2[name], plan.shown), look=style.OUTCOME[name])
        for name in OUTCOMES
        if found.ground_m2[name] > 0
    ]
    rows.append(Row(text="marks stand on patches too small to draw", kind="note"))
    total = Row(text="all infested ground", figure=shown_area(found.infested_ground_m2, plan.shown), kind="note")
    return [Row(text="Infested ground: what can be done", kind="heading"), *rows, total]


def _protection(plan: Plan) -> list[Row]:
    areas = zone_areas_m2(plan)
    rows = [
        Row(text=f"{ZONE_WORDS[zone]} zone", figure=shown_area(areas[zone], plan.shown), look=style.ZONE[zone])
        for zone in ("no_spray", "hand_only")
        if zone in areas
    ]
    if rows:
        rows = [Row(text="Protected ground in the stands", kind="heading"), *rows]
    features = feature_rows(plan)
    if (plan.protection["kind"] == RESTRICTED).any():
        features.append(Row(text="restricted ground: drawn wide", kind="note"))
    return rows + ([Row(text="Protected features", kind="heading"), *features] if features else [])


def zone_areas_m2(plan: Plan) -> dict[str, float]:
    """Protected ground inside the stands, by zone."""
    stands = shapely.union_all(plan.stands.geometry.to_numpy())
    return {
        str(zone): float(shapely.area(shapely.intersection(shapely.union_all(rows.geometry.to_numpy()), stands)))
        for zone, rows in plan.protection.groupby("zone")
    }


def feature_rows(plan: Plan) -> list[Row]:
    """One row a kind of protected feature that may be shown."""
    shapes, rows = plan.features.geometry.to_numpy(), []
    for kind, mark in style.feature_marks(plan.features["kind"]).items():
        dimension = int(shapely.get_dimensions(shapes[plan.features["kind"] == kind]).max(initial=-1))
        look = style.feature_look(kind)
        looks: list[Area | Line | tuple[str, str]] = [
            (mark, style.LINE[look].color), style.LINE[style.line_look(kind)], style.FEATURE_AREA[look],
        ]  # fmt: skip
        if dimension >= 0:
            rows.append(Row(text=textwrap.shorten(kind, LONGEST_KIND, placeholder="…"), look=looks[dimension]))
    more = len(rows) - MOST_KINDS
    return rows if more <= 0 else [*rows[:MOST_KINDS], Row(text=f"and {more} more kinds", kind="note")]


def land_rows(plan: Plan) -> list[Row]:
    """Stands, ways, entries, barriers and crossings."""
    rows = [Row(text="stand, with its name", look=style.GROUND["stand"])]
    present = {style.way_look(text) for text in way_machines(plan.ways)}
    rows += [Row(text=WAY_WORDS[look], look=style.WAY[look]) for look in WAY_WORDS if look in present]
    rows += _present(
        (plan.entries, "entry", (style.ENTRY_MARK, INK)),
        (plan.barriers, "barrier", style.LINE["barrier"]),
        (plan.crossings, "crossing", (style.CROSSING_MARK, style.PAPER)),
    )
    return [Row(text="Land", kind="heading"), *rows]


def ground_rows(plan: Plan) -> list[Row]:
    """Open and wet ground, where they are drawn."""
    looks = style.GROUND
    return _present(
        (plan.open_ground, "open ground", looks["open_ground"]), (plan.wet_ground, "wet ground", looks["wet_ground"])
    )


def _present(*layers: tuple[Any, str, Area | Line | tuple[str, str]]) -> list[Row]:
    return [Row(text=text, look=look) for layer, text, look in layers if len(layer)]


def relief_rows(plan: Plan, *, interval: float | None = None) -> list[Row]:
    """Contours, every ``interval`` in the shown unit (by default the plan's own)."""
    interval = contour_interval(plan.terrain, plan.shown) if interval is None else interval
    if interval == 0:
        return [Row(text="No elevation data: slope not known", kind="note")]
    unit = UNIT_WORDS[plan.shown.length]
    return [
        Row(text=f"contour every {interval:g} {unit}", look=style.LINE["contour"]),
        Row(text=f"labelled every {interval * INDEX_EVERY:g} {unit}", look=style.LINE["contour_index"]),
    ]


def unknown_rows(ax: Axes, plan: Plan) -> list[Row]:
    """Ground without elevation, where the map shows any."""
    if plan.terrain.flat or shapely.is_empty(unknown_ground(ax, plan)).all():
        return []
    return [Row(text="elevation not known", look=style.GROUND["unknown"])]


def draw_legend(ax: Axes, rows: list[Row], *, top_in: float, width_in: float, height_in: float) -> None:
    """The rows from ``top_in`` (inches from the axes' foot) down; rows are set closer where they would not fit."""
    headings = sum(row.kind == "heading" for row in rows)
    pitch = min(ROW_IN, height_in / (len(rows) + 0.45 * headings))
    at = top_in
    for row in rows:
        at -= pitch * (1.45 if row.kind == "heading" and at < top_in else 1.0)
        _draw_row(ax, row, at_in=at, width_in=width_in, high_in=min(SWATCH_IN[1], SWATCH_SHARE * pitch))


def _draw_row(ax: Axes, row: Row, *, at_in: float, width_in: float, high_in: float) -> None:
    place, size = inches(ax), TYPE_PT["heading" if row.kind == "heading" else "body"]
    left = SWATCH_IN[0] + 0.1 if row.look is not None or row.figure else 0.0
    common: dict[str, Any] = {"transform": place, "fontfamily": FONT, "va": "baseline", "parse_math": False}
    weight = "bold" if row.kind == "heading" else "normal"
    color = QUIET if row.kind == "note" and not row.figure else INK
    ax.text(left, at_in, row.text, fontsize=size, fontweight=weight, color=color, **common)
    if row.figure:
        ax.text(width_in, at_in, row.figure, fontsize=size, ha="right", color=INK, **common)
    if row.look is not None:
        draw_swatch(ax, row.look, at_in=at_in, high_in=high_in)


def draw_swatch(ax: Axes, look: Area | Line | tuple[str, str], *, at_in: float, high_in: float = SWATCH_IN[1]) -> None:
    """A sample of a look, its foot at ``at_in`` inches."""
    width, height, place, foot = SWATCH_IN[0], high_in, inches(ax), at_in - 0.02
    middle = foot + height / 2
    if isinstance(look, Area):
        draw_area(ax, box_path(0.0, foot, width, height), look, zorder=5, transform=place)
    elif isinstance(look, Line):
        draw_lines(ax, [np.array([(0.0, middle), (width, middle)])], look, zorder=5, transform=place)
    else:
        x, y = (place - ax.transData).transform((width / 2, middle))
        edge = INK if look[1] in (style.PAPER, INK) else style.PAPER
        draw_marks(ax, [shapely.Point(x, y)], look[0], look[1], size_pt=8, zorder=5, edge=edge)


def unit_line(shown: ShownUnits) -> str:
    """What the figures are, in words."""
    return f"Areas are map (horizontal) {UNIT_WORDS[shown.area]}."
