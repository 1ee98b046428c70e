"""The grid drawn on a printed sheet: thin lines, their figures in the collar, and the edge of a zone."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes

from invasimap.core.crs import to_lonlat
from invasimap.prescription.plan import Plan
from invasimap.reports.drawing import axes_inches, draw_lines, inches
from invasimap.reports.style import FONT, INK, LINE, TYPE_PT
from invasimap.reports.usng import Box, Grid, GridLine, line_digits

ZORDER = 7.5
CLEAR_IN = 0.09  # between the map and the figures in the collar
APART_IN = 0.34  # figures closer than this along an edge are left out


def draw_grid(ax: Axes, plan: Plan, grid: Grid) -> None:
    """Lines over the map and their figures left of it and under it, the first of each in full."""
    draw_lines(ax, [line.course for line in grid.lines], LINE["grid"], zorder=ZORDER)
    for counts in ("easting", "northing"):
        _figures(ax, grid, [line for line in grid.lines if line.counts == counts])
    if grid.other_zones:
        draw_lines(ax, zone_edges(ax, plan), LINE["zone_edge"], zorder=ZORDER + 0.1)


def _figures(ax: Axes, grid: Grid, lines: list[GridLine]) -> None:
    place, last = inches(ax), -np.inf
    wide, high = axes_inches(ax)
    metres_per_inch = (ax.get_xlim()[1] - ax.get_xlim()[0]) / wide
    first = True
    for line in sorted(lines, key=lambda line: line.value_m):
        vertical = line.counts == "easting"
        side, low = (0, ax.get_ylim()[0]) if vertical else (1, ax.get_xlim()[0])
        foot = line.course[np.argmin(np.abs(line.course[:, 1 - side] - low))]
        if abs(foot[1 - side] - low) > 0.02 * metres_per_inch:
            continue  # the line leaves by another edge
        at = (foot[side] - (ax.get_xlim()[0] if vertical else ax.get_ylim()[0])) / metres_per_inch
        half = 0.5 if first else 0.15
        if at - last < APART_IN or at < half or at > (wide if vertical else high) - half:
            continue
        text = f"{line.value_m:,} m {'E' if vertical else 'N'}" if first else line_digits(line, grid.spacing_m)
        x_in, y_in = (at, -CLEAR_IN) if vertical else (-CLEAR_IN, at)
        ax.text(
            x_in, y_in, text, transform=place, fontsize=TYPE_PT["small"], fontfamily=FONT, color=INK, ha="center",
            va="center", rotation=0 if vertical else 90, clip_on=False, zorder=ZORDER,
        )  # fmt: skip
        last, first = at + (half if first else 0), False


def zone_edges(ax: Axes, plan: Plan) -> Any:
    """The meridians between UTM zones within the map."""
    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
    there = to_lonlat(plan.crs)
    lons, lats = there.transform(*np.array([(left, bottom), (left, top), (right, bottom), (right, top)]).T)
    found = []
    for lon in np.arange(np.ceil(min(lons) / 6), np.floor(max(lons) / 6) + 1) * 6:
        along = np.linspace(min(lats), max(lats), 9)
        x, y = there.transform(np.full_like(along, lon), along, direction="INVERSE")
        found.append(shapely.clip_by_rect(shapely.LineString(np.column_stack([x, y])), left, bottom, right, top))
    return np.array([line for line in found if not line.is_empty], object)


def grid_words(grid: Grid | None) -> list[str]:
    """What the grid is, once for the sheet."""
    if grid is None:
        return ["no UTM grid this near the pole"]
    squares = " and ".join(grid.squares)
    lines = [f"grid: UTM zone {grid.zone[:-1]}, WGS 84, {grid.spacing_m:,} m apart"]
    lines.append(f"US National Grid (MGRS): {grid.zone} {squares}")
    if len(grid.squares) > 1:
        lines.append("two squares meet here: say which")
    if grid.other_zones:
        lines.append(f"ZONE CHANGES here: receivers show {grid.other_zones[0]}")
        lines.append("beyond the thick dashes; say the zone")
    return lines


def frame_box(ax: Axes) -> Box:
    """What the map's axes show: left, bottom, right, top in metres."""
    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
    return float(left), float(bottom), float(right), float(top)
