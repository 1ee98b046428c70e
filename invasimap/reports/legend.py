"""The legend of a map: only what is on it, each with its look and, for ground, its acres."""

from __future__ import annotations

from collections.abc import Sequence
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
from invasimap.reports.type_set import shortened
from invasimap.reports.type_set import width_in as width_in_inches
from invasimap.reports.wording import OUTCOME_WORDS, OUTCOMES, UNIT_WORDS, WAY_WORDS, ZONE_WORDS, shown_area

ROW_IN = 0.185
SWATCH_IN = (0.34, 0.125)
SAMPLE_IN = SWATCH_IN[0] + 0.1
HEADING_STEP = 1.45  # a heading's step, in steps of a row
SECOND = 0.53  # where the second row of a line begins, as a share of the width
# Type in points, least step in inches at which rows do not touch, and whether two short rows may share a line
STEPS = (
    (TYPE_PT["body"], 0.137, False), (TYPE_PT["small"], 0.129, False), (TYPE_PT["small"], 0.129, True),
    (7.25, 0.117, True), (6.5, 0.105, True),
)  # fmt: skip
SWATCH_SHARE = 0.72  # of a row's height: samples of rows set close do not touch


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of a legend; ``look`` is None for a heading or a note, ``keep`` is for what stands nowhere else."""

    text: str
    figure: str = ""
    look: Area | Line | tuple[str, str] | None = None
    kind: Literal["entry", "heading", "note"] = "entry"
    keep: bool = False


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
    """One row a look in which a kind of protected feature is drawn: its marks, its lines, its areas."""
    shapes, rows = plan.features.geometry.to_numpy(), []
    for kind, mark in style.feature_marks(plan.features["kind"]).items():
        own = shapes[plan.features["kind"] == kind]
        drawn = np.unique(shapely.get_dimensions(own[~(shapely.is_missing(own) | shapely.is_empty(own))]))
        look = style.feature_look(kind)
        looks: list[Area | Line | tuple[str, str]] = [
            (mark, style.LINE[look].color), style.LINE[style.line_look(kind)], style.FEATURE_AREA[look],
        ]  # fmt: skip
        rows += [Row(text=kind, look=looks[dimension]) for dimension in drawn]
    return rows


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
    return [Row(text="elevation not known", look=style.GROUND["unknown"], keep=True)]


@dataclass(frozen=True, kw_only=True)
class LegendSet:
    """Rows set for a room: one or two to a line, the type in points, the step from line to line in inches."""

    lines: tuple[tuple[Row, ...], ...]
    size_pt: float
    pitch_in: float


def set_legend(rows: list[Row], *, width_in: float, height_in: float, rest: str) -> LegendSet:
    """Rows set so that all of them stand in a room.

    They are set closer first, then short ones two to a line, then smaller; what still has no room at the least size
    that is read is left to ``rest``, a note that says where it stands. Rows to ``keep`` follow that note.
    """
    for size_pt, least_in, pairs in STEPS:
        lines = _lines(rows, width_in, size_pt) if pairs else tuple((row,) for row in rows)
        pitch = height_in / max(_steps(lines), 1.0)
        if pitch >= least_in:
            return LegendSet(lines=lines, size_pt=size_pt, pitch_in=min(ROW_IN, pitch))
    lines = _lines([row for row in rows if not row.keep], width_in, size_pt)
    last = ((Row(text=rest, kind="note"),), *((row,) for row in rows if row.keep))
    shown = len(lines)
    while shown and _steps((*lines[:shown], *last)) > height_in / least_in:
        shown -= 1
    return LegendSet(lines=(*lines[:shown], *last), size_pt=size_pt, pitch_in=least_in)


def draw_legend(ax: Axes, rows: list[Row], *, top_in: float, width_in: float, height_in: float, rest: str) -> None:
    """The rows from ``top_in`` (inches from the axes' foot) down, as ``set_legend`` sets them."""
    found = set_legend(rows, width_in=width_in, height_in=height_in, rest=rest)
    at = top_in
    for line in found.lines:
        at -= found.pitch_in * (HEADING_STEP if line[0].kind == "heading" and at < top_in else 1.0)
        for row, left in zip(line, (0.0, SECOND * width_in), strict=False):
            _draw_row(ax, row, found, at_in=at, left_in=left, right_in=width_in)


def _steps(lines: Sequence[tuple[Row, ...]]) -> float:
    """Height of lines in steps from one to the next."""
    return len(lines) + (HEADING_STEP - 1) * sum(line[0].kind == "heading" for line in lines)


def _lines(rows: list[Row], width_in: float, size_pt: float) -> tuple[tuple[Row, ...], ...]:
    """Rows with two short ones that follow one another on one line."""
    rooms = [room - SAMPLE_IN - 0.06 for room in (SECOND * width_in, (1 - SECOND) * width_in)]

    def fits(row: Row, at: int) -> bool:
        alone = row.kind == "entry" and row.look is not None and not row.figure
        return alone and width_in_inches(row.text, size_pt=size_pt) <= rooms[at]

    lines: list[tuple[Row, ...]] = []
    for row in rows:
        before = lines[-1] if lines else ()
        joined = len(before) == 1 and fits(before[0], 0) and fits(row, 1)
        lines[-1:] = [(*before, row)] if joined else [*lines[-1:], (row,)]
    return tuple(lines)


def _draw_row(ax: Axes, row: Row, found: LegendSet, *, at_in: float, left_in: float, right_in: float) -> None:
    heading = row.kind == "heading"
    size = found.size_pt * (TYPE_PT["heading"] / TYPE_PT["body"] if heading else 1.0)
    left = left_in + (SAMPLE_IN if row.look is not None or row.figure else 0.0)
    common: dict[str, Any] = {"transform": inches(ax), "fontfamily": FONT, "va": "baseline", "parse_math": False}
    color = QUIET if row.kind == "note" and not row.figure else INK
    figure_in = width_in_inches(row.figure, size_pt=size) + 0.08 if row.figure else 0.0
    words = shortened(row.text, room_in=right_in - left - figure_in, size_pt=size, bold=heading)
    ax.text(left, at_in, words, fontsize=size, fontweight="bold" if heading else "normal", color=color, **common)
    if row.figure:
        ax.text(right_in, at_in, row.figure, fontsize=size, ha="right", color=INK, **common)
    if row.look is not None:
        high = min(SWATCH_IN[1], SWATCH_SHARE * found.pitch_in)
        draw_swatch(ax, row.look, at_in=at_in, left_in=left_in, high_in=high)


def draw_swatch(
    ax: Axes, look: Area | Line | tuple[str, str], *, at_in: float, left_in: float = 0.0, high_in: float = SWATCH_IN[1]
) -> None:
    """A sample of a look, its foot at ``at_in`` inches."""
    width, height, place, foot = SWATCH_IN[0], high_in, inches(ax), at_in - 0.02
    middle = foot + height / 2
    if isinstance(look, Area):
        draw_area(ax, box_path(left_in, foot, width, height), look, zorder=5, transform=place)
    elif isinstance(look, Line):
        ends = np.array([(left_in, middle), (left_in + width, middle)])
        draw_lines(ax, [ends], look, zorder=5, transform=place)
    else:
        x, y = (place - ax.transData).transform((left_in + width / 2, middle))
        edge = INK if look[1] in (style.PAPER, INK) else style.PAPER
        draw_marks(ax, [shapely.Point(x, y)], look[0], look[1], size_pt=8, zorder=5, edge=edge)


def unit_line(shown: ShownUnits) -> str:
    """What the figures are, in words."""
    return f"Areas are map (horizontal) {UNIT_WORDS[shown.area]}."
