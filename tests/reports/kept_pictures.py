"""The printed pictures that tests compare with those kept beside this module, and how far two may differ.

After a change of looks that is meant: ``RENEW_PICTURES=yes python -m pytest tests/reports/test_reports_pictures.py``,
then look at what changed in ``tests/reports/pictures/`` before it is committed.

Words are left out: other tests hold them, and how letters are drawn changes with the drawing library. What is left are
fills, hatches, lines and marks, drawn coarse.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from PIL import Image
from season_of_toy import with_season

from invasimap.prescription.plan import Plan
from invasimap.reports.access_chart import access_limits_figure
from invasimap.reports.access_map import access_figure
from invasimap.reports.book import laid_out
from invasimap.reports.book_sheet import stand_sheet
from invasimap.reports.legend import draw_legend, legend_rows
from invasimap.reports.money_chart import money_figure
from invasimap.reports.overview import overview_figure
from invasimap.reports.schedule_chart import schedule_figure
from invasimap.reports.species_chart import species_figure
from invasimap.reports.windows_chart import windows_figure

FOLDER = Path(__file__).parent / "pictures"
DPI = 50
TILE_PX = 12
BLUR_PX = 3


def map_alone(figure: Figure) -> Any:
    """The largest axes of a sheet, its map, as it is drawn; furniture and words around it have tests of their own."""
    ax = max(figure.axes, key=lambda one: one.get_position().width * one.get_position().height)
    return drawn(figure, ax)


def drawn(figure: Figure, ax: Axes | None = None) -> Any:
    """A figure without its words, or an axes of it, as rows of RGB."""
    for text in figure.findobj(Text):
        text.set_visible(False)
    figure.set_dpi(DPI)
    figure.set_facecolor("white")
    canvas: Any = FigureCanvasAgg(figure)
    canvas.draw()
    pixels = np.asarray(canvas.buffer_rgba())[..., :3]
    if ax is None:
        return pixels
    box = ax.get_window_extent()
    high = pixels.shape[0]
    return pixels[high - round(box.y1) : high - round(box.y0), round(box.x0) : round(box.x1)]


def legend_alone(plan: Plan) -> Any:
    """The overview's legend on an axes of its own."""
    rows = legend_rows(plan)
    figure = Figure(figsize=(2.6, 0.2 * len(rows)))
    FigureCanvasAgg(figure)
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set(xlim=(0, 1), ylim=(0, 1), autoscale_on=False)
    ax.set_axis_off()
    draw_legend(ax, rows, top_in=0.2 * len(rows) - 0.1, width_in=2.5, height_in=0.2 * len(rows) - 0.2, rest="")
    return drawn(figure)


PICTURES: dict[str, Callable[[Plan], Any]] = {
    "overview": lambda plan: map_alone(overview_figure(plan)),
    "access": lambda plan: map_alone(access_figure(plan)),
    "book_sheet": lambda plan: map_alone(stand_sheet(laid_out(plan), 0)[0]),
    "legend": legend_alone,
    "species": lambda plan: drawn(species_figure(plan)),
    "access_limits": lambda plan: drawn(access_limits_figure(plan)),
    "windows": lambda plan: drawn(windows_figure(with_season(plan))),
    "schedule": lambda plan: drawn(schedule_figure(with_season(plan))),
    "money": lambda plan: drawn(money_figure(with_season(plan))),
}


def kept(name: str) -> Any:
    """The picture that is kept, as rows of RGB."""
    return np.asarray(Image.open(FOLDER / f"{name}.png").convert("RGB"))


def keep(name: str, pixels: Any) -> None:
    """Keep a picture in place of the last one."""
    Image.fromarray(pixels).save(FOLDER / f"{name}.png", optimize=True)


def difference(one: Any, other: Any) -> tuple[float, float]:
    """How far two pictures of one size differ, of 255: over all, and in the tile where they differ most.

    Both are blurred first, so that an edge drawn half a pixel off counts little; a tile is 12 x 12 px (0.24 in).
    """
    apart = blurred(one) - blurred(other)
    high, wide = (length // TILE_PX * TILE_PX for length in apart.shape[:2])
    tiles = (apart[:high, :wide] ** 2).reshape(high // TILE_PX, TILE_PX, wide // TILE_PX, TILE_PX, 3)
    return float(np.sqrt(np.mean(apart**2))), float(np.sqrt(tiles.mean(axis=(1, 3, 4)).max()))


def blurred(pixels: Any) -> Any:
    """Means over ``BLUR_PX`` x ``BLUR_PX`` px round each."""
    around = np.pad(pixels.astype(float), ((1, 1), (1, 1), (0, 0)), mode="edge")
    rows, columns = pixels.shape[:2]
    return sum(around[i : i + rows, j : j + columns] for i in range(BLUR_PX) for j in range(BLUR_PX)) / BLUR_PX**2
