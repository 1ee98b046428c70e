"""Drawing polygons, lines and marks of a layer in the house style, each style in one stroke."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.patheffects import withStroke
from matplotlib.transforms import Affine2D, Transform

from invasimap.core.units import POINTS_PER_INCH
from invasimap.reports.style import FONT, INK, PAPER, Area, Line

HATCH_PT = 0.6
SMALL_PT = 4.5  # an area narrower than this on paper gets its mark as well
MARK_PT = 4.5
CHART_PT = 9.5
HALO_PT = 3.0  # of marks that are lines alone, over dark ground


MARKS: dict[str, Path] = {
    "bridge": Path(
        [
            (-0.9, 0.9),
            (-0.35, 0.45),
            (-0.35, -0.45),
            (-0.9, -0.9),
            (0.9, 0.9),
            (0.35, 0.45),
            (0.35, -0.45),
            (0.9, -0.9),
        ],
        [Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO] * 2,
    )
}


def axes_inches(ax: Axes) -> tuple[float, float]:
    """Width and height of an axes in inches."""
    box = ax.get_window_extent()
    return box.width / ax.figure.dpi, box.height / ax.figure.dpi


def inches(ax: Axes) -> Transform:
    """Transform from inches, counted from the axes' lower left corner."""
    width, height = axes_inches(ax)
    return Affine2D().scale(1 / width, 1 / height) + ax.transAxes


def inch_text(ax: Axes, left_in: float, foot_in: float, words: str, **look: Any) -> None:
    """Words of a chart, from inches off the axes' lower left corner; ``look`` is matplotlib's."""
    common: dict[str, Any] = {
        "fontsize": CHART_PT, "fontfamily": FONT, "color": INK, "va": "baseline", "parse_math": False,
    }  # fmt: skip
    ax.text(left_in, foot_in, words, transform=inches(ax), **(common | look))


def metres_per_point(ax: Axes) -> float:
    """Metres of ground in one printed point."""
    left, right = ax.get_xlim()
    return (right - left) / axes_inches(ax)[0] / POINTS_PER_INCH


def area_path(polygons: Any) -> Path | None:
    """One path of all rings, holes turned the other way; None where there is no area."""
    rings = shapely.get_rings(shapely.orient_polygons(_parts(polygons, 2)))
    coords, ring = shapely.get_coordinates(rings, return_index=True)
    if not len(coords):
        return None
    first = np.r_[True, ring[1:] != ring[:-1]]
    codes = np.where(first, Path.MOVETO, Path.LINETO).astype(np.uint8)
    codes[np.r_[first[1:], True]] = Path.CLOSEPOLY
    return Path(coords, codes)


def draw_area(ax: Axes, polygons: Any, look: Area, *, zorder: float, transform: Transform | None = None) -> None:
    """Polygons filled, then hatched, then outlined."""
    path = polygons if isinstance(polygons, Path) else area_path(polygons)
    if path is None:
        return
    place: dict[str, Any] = {"transform": transform} if transform is not None else {}
    if look.fill != "none":
        ax.add_artist(PathPatch(path, facecolor=look.fill, alpha=look.alpha, linewidth=0, zorder=zorder, **place))
    if look.hatch:
        hatched = PathPatch(
            path, facecolor="none", edgecolor=look.hatch_color, hatch=look.hatch, linewidth=0, zorder=zorder + 0.01,
            **place,
        )  # fmt: skip
        hatched.set_hatch_linewidth(HATCH_PT)
        ax.add_artist(hatched)
    ax.add_artist(
        PathPatch(
            path,
            facecolor="none",
            edgecolor=look.edge,
            linewidth=look.line_pt,
            joinstyle="round",
            zorder=zorder + 0.02,
            **place,
        )
    )


def draw_small_marks(ax: Axes, polygons: Any, look: Area, *, zorder: float) -> None:
    """A mark on every polygon too small to show its fill and hatch on paper."""
    parts = _parts(polygons, 2)
    across_m = np.sqrt(shapely.area(parts))
    small = shapely.centroid(parts[across_m < SMALL_PT * metres_per_point(ax)])
    draw_marks(ax, small, look.mark, look.fill, size_pt=MARK_PT, zorder=zorder)


def draw_marks(ax: Axes, points: Any, mark: str, fill: str, *, size_pt: float, zorder: float, edge: str = INK) -> None:
    """Points as one kind of mark."""
    coords = shapely.get_coordinates(points)
    if len(coords):
        ax.scatter(
            coords[:, 0],
            coords[:, 1],
            s=size_pt**2,
            marker=MARKS.get(mark, mark),
            facecolor="none" if mark in MARKS else fill,
            edgecolor=edge,
            linewidth=1.2 if mark in MARKS else 0.7,
            zorder=zorder,
            path_effects=[withStroke(linewidth=HALO_PT, foreground=PAPER)] if mark in MARKS else None,
        )


def draw_lines(ax: Axes, lines: Any, look: Line, *, zorder: float, transform: Transform | None = None) -> None:
    """Lines with their casing, dashes and cross-strokes."""
    paths = lines if isinstance(lines, list) else line_coords(lines)
    if not paths:
        return
    place: dict[str, Any] = {"transform": transform} if transform is not None else {}
    if look.casing:
        under = LineCollection(paths, colors=look.casing, linewidths=look.line_pt + 1.5, zorder=zorder, **place)
        ax.add_collection(under, autolim=False)
    style: Any = (0, tuple(step / look.line_pt for step in look.dash)) if look.dash else "solid"
    drawn = LineCollection(
        paths, colors=look.color, linewidths=look.line_pt, linestyles=[style], zorder=zorder + 0.01, **place
    )
    ax.add_collection(drawn, autolim=False)
    if look.mark:
        _cross_strokes(ax, paths, look, zorder=zorder + 0.02, transform=transform)


def line_coords(lines: Any) -> list[npt.NDArray[np.float64]]:
    """Coordinates of every line and of every polygon's rings."""
    parts = shapely.get_parts(np.asarray(lines, object))
    rings = shapely.get_rings(parts[shapely.get_dimensions(parts) == 2])
    found = np.concatenate([parts[shapely.get_dimensions(parts) == 1], rings])
    return [shapely.get_coordinates(line) for line in found]


def _cross_strokes(
    ax: Axes, paths: Sequence[npt.NDArray[np.float64]], look: Line, *, zorder: float, transform: Transform | None
) -> None:
    """Short strokes across a line, every few points of it on paper, so that it reads without colour."""
    unit = 1 / POINTS_PER_INCH if transform is not None else metres_per_point(ax)
    strokes = []
    for line in (shapely.LineString(path) for path in paths):
        at = np.arange(4.0 * unit, line.length, 9.0 * unit)
        here, ahead = (shapely.get_coordinates(shapely.line_interpolate_point(line, at + d * unit)) for d in (0, 0.5))
        along = ahead - here
        across = np.c_[-along[:, 1], along[:, 0]] / np.maximum(np.hypot(*along.T), 1e-9)[:, None] * 2.0 * unit
        strokes += list(np.stack([here - across, here + across], axis=1))
    place: dict[str, Any] = {"transform": transform} if transform is not None else {}
    if strokes:
        ax.add_collection(
            LineCollection(strokes, colors=look.color, linewidths=look.line_pt * 0.8, zorder=zorder, **place),
            autolim=False,
        )


def _parts(geometries: Any, dimension: int) -> npt.NDArray[np.object_]:
    parts = shapely.get_parts(np.asarray(geometries, object))
    found: npt.NDArray[np.object_] = parts[shapely.get_dimensions(parts) == dimension]
    return found


def box_path(left: float, bottom: float, width: float, height: float) -> Path:
    """A rectangle as a path."""
    corners = [(left, bottom), (left + width, bottom), (left + width, bottom + height), (left, bottom + height)]
    return Path([*corners, corners[0]], closed=True)


def paper_box(ax: Axes, left: float, bottom: float, width: float, height: float, *, zorder: float = 19) -> None:
    """A white ground for text on a map, placed in inches."""
    ax.add_artist(
        PathPatch(
            box_path(left, bottom, width, height),
            facecolor=PAPER,
            edgecolor=INK,
            linewidth=0.6,
            zorder=zorder,
            transform=inches(ax),
        )
    )
