"""Label placement: one after another, most important first, each where it covers nothing already placed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import shapely
from matplotlib import patheffects
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from invasimap.core.units import POINTS_PER_INCH
from invasimap.reports.drawing import draw_lines, metres_per_point
from invasimap.reports.style import FONT, INK, LINE, PAPER
from invasimap.reports.type_set import LINE_SPACING

Floats = npt.NDArray[np.float64]
RING = np.array([(np.cos(a), np.sin(a)) for a in np.radians([20, 160, 70, 110, -20, -160, -70, -110, 0, 180, 90, -90])])

LED_REACH_PT = (14.0, 20.0, 28.0, 38.0, 50.0, 64.0)
FAR_REACH_PT = (*LED_REACH_PT, 80.0, 98.0)  # of what must be named if there is any room
LABEL_ORDER = 15
PAD_PX = 4.0  # clear space round a label
MEASURE_DPI = 200
_SET: Final[dict[str, Any]] = {
    "fontfamily": FONT, "ha": "center", "va": "center", "rotation_mode": "anchor", "parse_math": False,
    "linespacing": LINE_SPACING,
}  # fmt: skip
_ZEROS: Final = str.maketrans("123456789", "0" * 9)  # all digits of the font are as wide as a nought


@dataclass(kw_only=True)
class LabelBook:
    """The labels of one map and the boxes, in pixels, that they and the marks take.

    Attributes
    ----------
    obstacles
        Boxes ``(left, bottom, right, top)`` that a label should rather not cover.
    pad_px
        Clear space round each label.
    leaders
        Lines (map metres) from points to the labels that stand further off; ``draw_leaders`` draws them.
    """

    ax: Axes
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)
    obstacles: Floats = field(default_factory=lambda: np.empty((0, 4)))
    left_out: int = 0
    pad_px: float = PAD_PX
    leaders: list[Floats] = field(default_factory=list)
    _led: list[Any] = field(default_factory=list)  # the same in pixels

    def avoid(self, geometries: Any) -> None:
        """Add the bounds of geometries (map metres) to what labels should rather not cover."""
        self.obstacles = np.concatenate([self.obstacles, self._boxes(geometries)])

    def keep_off(self, geometries: Any) -> None:
        """Add the bounds of geometries (map metres) to what labels never cover."""
        self.taken += [tuple(box) for box in self._boxes(geometries).tolist()]

    def _boxes(self, geometries: Any) -> Floats:
        bounds = shapely.bounds(shapely.get_parts(np.asarray(geometries, object)))
        bounds = bounds[np.isfinite(bounds).all(axis=1)]
        corners: Floats = self.ax.transData.transform(bounds.reshape(-1, 2)).reshape(-1, 4)
        return corners

    def avoid_lines(self, lines: Any, *, step_pt: float = 5.0) -> None:
        """Add lines (map metres) to what labels should rather not cover, as a box every few printed points."""
        step = step_pt * metres_per_point(self.ax)
        coords = shapely.get_coordinates(shapely.segmentize(np.asarray(lines, object), step))
        if len(coords):
            pixels, half = self.ax.transData.transform(coords), step_pt / 2 * self.ax.figure.dpi / POINTS_PER_INCH
            self.obstacles = np.concatenate([self.obstacles, np.c_[pixels - half, pixels + half]])

    def avoid_areas(self, polygons: Any, *, step_pt: float = 5.0) -> None:
        """Add the ground of polygons (map metres) to what labels should rather not cover, as a box every few points."""
        step = step_pt * metres_per_point(self.ax)
        half = step_pt / 2 * self.ax.figure.dpi / POINTS_PER_INCH
        parts = shapely.get_parts(np.asarray(polygons, object))
        left, bottom, right, top = shapely.bounds(parts).reshape(-1, 4).T
        small = (right - left < 2 * step) & (top - bottom < 2 * step)
        self.avoid(parts[small])
        for part in parts[~small]:
            low, high = np.array(part.bounds).reshape(2, 2)
            x, y = np.meshgrid(*(np.arange(start, end, step) + step / 2 for start, end in zip(low, high, strict=True)))
            inside = shapely.contains_xy(part, x.ravel(), y.ravel())
            pixels = self.ax.transData.transform(np.c_[x.ravel(), y.ravel()][inside])
            self.obstacles = np.concatenate([self.obstacles, np.c_[pixels - half, pixels + half]])

    def place(  # noqa: PLR0913 (a label is its text, its places and its look)
        self,
        text: str,
        spots: Iterable[Any],
        *,
        size_pt: float,
        bold: bool = False,
        color: str = INK,
        angle_deg: float = 0.0,
        must: bool = False,
        most_cost: float = np.inf,
    ) -> bool:
        """Put a label at the spot (map metres) that covers least; leave it out where all spots collide.

        With ``must`` the first spot is taken rather than none; ``most_cost`` is the greatest share of the label that
        may cover obstacles.
        """
        look: dict[str, Any] = {
            "fontsize": size_pt, "fontweight": "bold" if bold else "normal", "rotation": angle_deg,
        }  # fmt: skip
        centres = self.ax.transData.transform(np.asarray([tuple(spot) for spot in spots], float).reshape(-1, 2))
        size = _size_in(text.translate(_ZEROS), **look)
        boxes = _boxes(np.array(size) * self.ax.figure.dpi, centres, self.pad_px)
        cost = self._cost(boxes, most_cost)
        if not len(cost) or (not np.isfinite(cost).any() and not must):
            self.left_out += 1
            return False
        best = int(np.argmin(cost)) if np.isfinite(cost).any() else 0
        x, y = self.ax.transData.inverted().transform(centres[best])
        self.ax.text(
            float(x), float(y), text, **_SET, **look, color=color, zorder=LABEL_ORDER, clip_on=True,
            path_effects=[patheffects.withStroke(linewidth=2.2, foreground=PAPER)],
        )  # fmt: skip
        self.taken.append(tuple(boxes[best]))
        return True

    def place_led(
        self, text: str, point: tuple[float, float], *, size_pt: float, most_cost: float = np.inf,
        reach_pt: tuple[float, ...] = LED_REACH_PT,
    ) -> bool:  # fmt: skip
        """Put a label further off, with a thin line to its point (map metres) that crosses no other and no label."""
        spots = np.concatenate([self.around(point, reach_pt=reach) for reach in reach_pt])
        centres = self.ax.transData.transform(spots)
        size = np.array(_size_in(text.translate(_ZEROS), fontsize=size_pt, fontweight="normal", rotation=0.0))
        boxes = _boxes(size * self.ax.figure.dpi, centres, self.pad_px)
        cost = self._cost(boxes, most_cost)
        start = self.ax.transData.transform(point)
        ends = np.clip(start, boxes[:, :2], boxes[:, 2:])
        lines: Any = shapely.linestrings(np.stack([np.broadcast_to(start, ends.shape), ends], axis=1))
        taken = [shapely.box(*box) for box in self.taken if not _holds(box, start)]
        tree = shapely.STRtree([*taken, *self._led])
        crossed = np.concatenate([tree.query(found, predicate="intersects")[0] for found in (lines, _shapes(boxes))])
        cost[np.unique(crossed)] = np.inf
        if not np.isfinite(cost).any():
            return False
        best = int(np.argmin(cost))
        there = self.ax.transData.inverted().transform(ends[best])
        placed = self.place(text, spots[best : best + 1], size_pt=size_pt)
        self.leaders.append(np.array([point, there]))
        self._led.append(lines[best])
        return placed

    def draw_leaders(self) -> None:
        """Draw all lines to labels further off, in one stroke."""
        draw_lines(self.ax, self.leaders, LINE["leader"], zorder=LABEL_ORDER - 1)

    def around(self, point: tuple[float, float], *, reach_pt: float) -> Floats:
        """Spots in a ring round a point (map metres), ``reach_pt`` printed points away."""
        centre = self.ax.transData.transform(point)
        pixels = reach_pt * self.ax.figure.dpi / POINTS_PER_INCH
        spots: Floats = self.ax.transData.inverted().transform(centre + RING * (1.6, 1.0) * pixels)
        return spots

    def _cost(self, boxes: Floats, most: float) -> Floats:
        frame = self.ax.get_window_extent()
        inside = (boxes[:, :2] > frame.min).all(axis=1) & (boxes[:, 2:] < frame.max).all(axis=1)
        hard = _overlap(boxes, np.asarray(self.taken, float).reshape(-1, 4))
        hard[shapely.STRtree(_shapes(boxes)).query(np.array(self._led, object), predicate="intersects")[1]] = np.inf
        near = (self.obstacles[:, :2] < boxes[:, 2:].max(axis=0)) & (self.obstacles[:, 2:] > boxes[:, :2].min(axis=0))
        soft = _overlap(boxes, self.obstacles[near.all(axis=1)])
        size = (boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])
        return np.where(
            inside & (hard <= 0) & (soft <= most * size), soft + np.arange(len(boxes)) * 0.03 * size, np.inf
        )


@lru_cache(maxsize=4096)
def _size_in(text: str, **look: Any) -> tuple[float, float]:
    """Width and height of a label in inches; measured once for all sheets."""
    figure = Figure(dpi=MEASURE_DPI)
    FigureCanvasAgg(figure)
    extent = figure.text(0, 0, text, **_SET, **look).get_window_extent()
    return float(extent.width) / MEASURE_DPI, float(extent.height) / MEASURE_DPI


def _boxes(size_px: Floats, centres: Floats, pad_px: float) -> Floats:
    half = size_px / 2 + pad_px
    return np.concatenate([centres - half, centres + half], axis=1)


def _shapes(boxes: Floats) -> Any:
    return shapely.box(*boxes.T)


def _holds(box: tuple[float, float, float, float], point: Floats) -> bool:
    return bool(box[0] <= point[0] <= box[2] and box[1] <= point[1] <= box[3])


def _overlap(boxes: Floats, others: Floats) -> Floats:
    """Area of each box under the others, (n,) from (n, 4) and (m, 4)."""
    if not len(others):
        return np.zeros(len(boxes))
    low = np.maximum(boxes[:, None, :2], others[None, :, :2])
    high = np.minimum(boxes[:, None, 2:], others[None, :, 2:])
    sides = np.clip(high - low, 0, None)
    total: Floats = (sides[..., 0] * sides[..., 1]).sum(axis=1)
    return total


def inner_spots(polygon: Any, *, across: int = 7) -> Floats:
    """Places for a label inside a polygon: the middle of its widest part, then a grid, farthest from the edge first."""
    widest = shapely.get_coordinates(shapely.maximum_inscribed_circle(polygon, tolerance=polygon.length / 500))[:1]
    left, bottom, right, top = polygon.bounds
    x, y = np.meshgrid(np.linspace(left, right, across + 2)[1:-1], np.linspace(bottom, top, across + 2)[1:-1])
    grid = np.c_[x.ravel(), y.ravel()]
    points = shapely.points(grid)
    room = np.where(shapely.contains(polygon, points), shapely.distance(polygon.boundary, points), 0.0)
    kept = np.argsort(-room, kind="stable")[: int((room > 0).sum())]
    spots: Floats = np.concatenate([widest, grid[kept]])
    return spots


def line_spots(line: Any, *, step_m: float) -> list[tuple[float, float, float]]:
    """Places along a line, ``(x, y, angle)`` with the angle in degrees kept upright, straightest first."""
    at = np.arange(step_m, line.length - step_m, step_m)
    if not len(at):
        return []
    here, back, on = (
        shapely.get_coordinates(shapely.line_interpolate_point(line, at + d * step_m)) for d in (0, -0.5, 0.5)
    )
    bend = np.hypot(*(back + on - 2 * here).T)
    angle = (np.degrees(np.arctan2(*(on - back).T[::-1])) + 90) % 180 - 90
    order = np.argsort(bend, kind="stable")
    return [(float(here[i, 0]), float(here[i, 1]), float(angle[i])) for i in order]
