"""A sheet of paper with a map of the tract: its size and scale, its panel with legend and furniture, its words."""

from __future__ import annotations

import dataclasses
import io
import textwrap
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from invasimap.core.crs import shown_place, to_lonlat
from invasimap.core.units import ShownUnits
from invasimap.prescription.plan import CAUTIONS, STAMP, Plan
from invasimap.reports.drawing import axes_inches, inches
from invasimap.reports.emergency import EmergencyBlock, draw_emergency, emergency_block, emergency_rows
from invasimap.reports.furniture import (
    INCH_M,
    check_bar,
    north_arrow,
    north_turn_deg,
    round_scale,
    scale_bar,
    scale_words,
)
from invasimap.reports.legend import Row, draw_legend, unit_line
from invasimap.reports.style import FONT, INK, PAPER, TYPE_PT
from invasimap.reports.type_set import LINE_SPACING, shortened, width_in
from invasimap.reports.wording import shown_date

Box = tuple[float, float, float, float]
DPI = 200
PNG_LEVEL = 3  # half the work of the usual 6, and a sheet hardly larger
PAPER_IN = {"letter": (11.0, 8.5), "a4": (297 / 25.4, 210 / 25.4)}  # long side first
MARGIN_IN, TITLE_IN, PANEL_IN, GAP_IN = 0.4, 0.62, 2.72, 0.14
LETTERS_PER_IN, LINE_IN = 15.4, 0.147  # of the small type
DATES_IN, TITLE_PT = 2.3, (TYPE_PT["title"], 13.0, 10.5)
MARGIN_SHARE = 0.012
SCALE_IN = 1.12  # with scale, check bar and north arrow
REST = "the rest is in mapbook.pdf, sheet 2"
MOST_BESIDE_IN, MOST_UNDER = 2.4, 0.3  # of the emergency block: beside the map, or of the paper under it


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A sheet's size and where the map and the panel beside it stand, in inches.

    ``collar_in`` is kept free left of the map and under it, for the figures of a grid; ``foot_given_in`` under both,
    for what the sheet has there instead of the cautions.
    """

    width_in: float
    height_in: float
    collar_in: float = 0.0
    foot_given_in: float | None = None
    panel_in: float = PANEL_IN

    @property
    def foot_lines(self) -> list[str]:
        """The cautions, in lines that fit under the map."""
        return caution_lines(self.width_in - 2 * MARGIN_IN - self.panel_in - GAP_IN)

    @property
    def foot_in(self) -> float:
        """Height of what stands under the map."""
        return LINE_IN * len(self.foot_lines) + 0.1 if self.foot_given_in is None else self.foot_given_in

    @property
    def map_in(self) -> tuple[float, float]:
        """Width and height of the map."""
        width = self.width_in - 2 * MARGIN_IN - self.panel_in - GAP_IN - self.collar_in
        return width, self.height_in - 2 * MARGIN_IN - TITLE_IN - self.foot_in - self.collar_in

    @property
    def map_box_in(self) -> Box:
        """Left, bottom, right and top of the map on the paper."""
        left, bottom = MARGIN_IN + self.collar_in, MARGIN_IN + self.foot_in + self.collar_in
        wide, high = self.map_in
        return left, bottom, left + wide, bottom + high

    @property
    def panel_box_in(self) -> Box:
        """Left, bottom, right and top of the panel on the paper."""
        right = self.width_in - MARGIN_IN
        return right - self.panel_in, MARGIN_IN, right, self.map_box_in[3]


def caution_lines(width_in: float) -> list[str]:
    """The cautions in lines of the small type that fit a width."""
    return [line for caution in CAUTIONS for line in textwrap.wrap(caution, int(width_in * LETTERS_PER_IN))]


def write_sheet(draw: Callable[[Plan], Figure], plan: Plan, path: Path) -> None:
    """Draw a figure of the plan and write it as a PNG that prints at its size."""
    path.write_bytes(sheet_png(draw, plan))


def sheet_png(draw: Callable[[Plan], Figure], plan: Plan) -> bytes:
    """A figure of the plan as a PNG that prints at its size."""
    with warnings.catch_warnings():
        # a sign that the font has not is drawn as a box; the report and the map, in fonts of the reader's, have it
        warnings.filterwarnings("ignore", message=r"(?s)Glyph .* missing from font")
        figure = draw(plan)
        if plan.internal:
            look: dict[str, Any] = {"fontsize": TYPE_PT["body"], "fontweight": "bold", "va": "bottom", "ha": "center"}
            figure.text(0.5, 0.004, STAMP, color=INK, **look)
        figure.set_dpi(DPI)
        figure.set_facecolor(PAPER)
        canvas: Any = FigureCanvasAgg(figure)
        canvas.draw()
    stream = io.BytesIO()
    picture = Image.fromarray(np.asarray(canvas.buffer_rgba())[..., :3])  # paper is not seen through
    picture.save(stream, "PNG", dpi=(DPI, DPI), compress_level=PNG_LEVEL)
    return stream.getvalue()


def sheet_figure(plan: Plan, *, draw: Callable[[Plan, Axes], list[Row]], rows: list[Row], subtitle: str) -> Figure:
    """A sheet as a figure of its own (nothing is shared with pyplot).

    Parameters
    ----------
    draw
        Draws the map on the axes it is given, which has its scale; gives what the legend has to add.
    rows, subtitle
        The legend's rows, and what the sheet shows, under its title.
    """
    bounds = tract_bounds(plan)
    sheet, emergency = with_emergency(best_sheet(bounds, plan.shown), plan)
    figure, ax, panel = blank_sheet(sheet)
    scale = fit(ax, bounds, shown=plan.shown)
    rows = [*rows, *draw(plan, ax)]
    beside = emergency.wide_in < sheet.panel_in
    _panel(plan, panel, scale=scale, rows=rows, emergency=emergency if beside else None)
    dates = f"Survey {survey_dates(plan)}\nPlan of {plan_date(plan)}\n{unit_line(plan.shown)}"
    head_words(figure, sheet, title=plan.settings.tract.name, subtitle=subtitle, beside=dates)
    _foot_words(figure, sheet)
    if not beside:
        foot = figure.add_axes(_share(sheet, (0.0, 0.0, sheet.width_in, sheet.map_box_in[1])))
        bare(foot)
        draw_emergency(foot, emergency, left_in=MARGIN_IN, foot_in=MARGIN_IN + LINE_IN * len(sheet.foot_lines) + 0.08)
    return figure


def with_emergency(sheet: Sheet, plan: Plan) -> tuple[Sheet, EmergencyBlock]:
    """The emergency block laid out for beside the map, or where it is long for under it, with the room it needs."""
    filled, entry = emergency_rows(plan.settings.emergency), entry_words(plan)
    beside = emergency_block(filled, entry=entry, wide_in=sheet.panel_in - 0.01, most_in=MOST_BESIDE_IN)
    if beside.size_pt == TYPE_PT["small"] and beside.height_in <= MOST_BESIDE_IN:
        return sheet, beside
    wide = sheet.width_in - 2 * MARGIN_IN - sheet.panel_in - GAP_IN
    most = MOST_UNDER * sheet.height_in
    under = emergency_block(filled, entry=entry, wide_in=wide, most_in=most, columns=(2, 1))
    return dataclasses.replace(sheet, foot_given_in=sheet.foot_in + under.height_in + 0.06), under


def blank_sheet(sheet: Sheet) -> tuple[Figure, Axes, Axes]:
    """A figure of a sheet's size with the axes of its map and of its panel, which counts from 0 to 1."""
    figure = Figure(figsize=(sheet.width_in, sheet.height_in), dpi=DPI)
    FigureCanvasAgg(figure)
    ax, panel = (figure.add_axes(_share(sheet, box)) for box in (sheet.map_box_in, sheet.panel_box_in))
    bare(panel)
    return figure, ax, panel


def bare(ax: Axes) -> None:
    """Take an axes for words: no frame, from 0 to 1."""
    ax.set_axis_off()
    ax.set_xlim(0, 1)
    ax.set_ylim(0, 1)


def plan_date(plan: Plan) -> str:
    """The day on which the plan was made, where the tract lies."""
    return f"{plan.made.astimezone(plan.settings.tract.zone):%Y-%m-%d}"


def tract_bounds(plan: Plan) -> tuple[float, float, float, float]:
    """Bounds of stands, patches and entries in metres."""
    layers = (plan.stands, plan.patches, plan.entries)
    boxes = np.array([layer.total_bounds for layer in layers if len(layer)])
    left, bottom = np.nanmin(boxes[:, :2], axis=0)
    right, top = np.nanmax(boxes[:, 2:], axis=0)
    return float(left), float(bottom), float(right), float(top)


def best_sheet(bounds: tuple[float, float, float, float], shown: ShownUnits) -> Sheet:
    """Upright or across, whichever shows the bounds larger."""
    long, short = PAPER_IN["letter" if shown.length == "ft" else "a4"]
    sheets = (Sheet(width_in=long, height_in=short), Sheet(width_in=short, height_in=long))
    return min(sheets, key=lambda sheet: _least_scale(bounds, *sheet.map_in))


def fit(ax: Axes, bounds: tuple[float, float, float, float], *, shown: ShownUnits) -> int:
    """Set the axes to a round scale round the middle of ``bounds``; returns the scale's denominator."""
    width, height = axes_inches(ax)
    scale = round_scale(_least_scale(bounds, width, height), shown)
    x, y = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
    half_x, half_y = width * INCH_M * scale / 2, height * INCH_M * scale / 2
    show(ax, (x - half_x, y - half_y, x + half_x, y + half_y))
    return scale


def show(ax: Axes, bounds: Box) -> None:
    """Let a map's axes show these bounds and nothing else, without ticks."""
    ax.set_xlim(bounds[0], bounds[2])
    ax.set_ylim(bounds[1], bounds[3])
    ax.set_xticks([])
    ax.set_yticks([])
    ax.set_autoscale_on(False)


def _least_scale(bounds: tuple[float, float, float, float], width_in: float, height_in: float) -> float:
    wide, high = (
        max(far - near, 1.0) * (1 + 2 * MARGIN_SHARE) for near, far in zip(bounds[:2], bounds[2:], strict=True)
    )
    return max(wide / width_in, high / height_in) / INCH_M


def _panel(plan: Plan, ax: Axes, *, scale: int, rows: list[Row], emergency: EmergencyBlock | None) -> None:
    width, height = axes_inches(ax)
    block_in = 0.12 if emergency is None else emergency.height_in + 0.02
    draw_legend(ax, rows, top_in=height + 0.02, width_in=width, height_in=height - block_in - SCALE_IN, rest=REST)
    middle = [sum(limits) / 2 for limits in (ax.figure.axes[0].get_xlim(), ax.figure.axes[0].get_ylim())]
    base = block_in - 0.12
    place: dict[str, Any] = {"fontfamily": FONT, "color": INK, "transform": inches(ax)}
    check_bar(ax, shown=plan.shown, left_in=0.0, foot_in=base + 0.37)
    ax.text(0, base + 0.52, scale_words(scale, plan.shown), fontsize=TYPE_PT["body"], **place)
    scale_bar(ax, scale=scale, left_in=0.0, foot_in=base + 0.9, width_in=1.95)
    turn = north_turn_deg(plan.crs, *middle)
    north_arrow(ax, turn_deg=turn, centre_in=(width - 0.2, base + 0.78), size_in=0.48)
    if emergency is not None:
        draw_emergency(ax, emergency, left_in=0.0, foot_in=0.01)


def entry_words(plan: Plan) -> str:
    """Where the first entry is, in degrees, for whoever has to be called in."""
    if not len(plan.entries):
        return "No entry is mapped."
    spot = shapely.get_coordinates(shapely.point_on_surface(plan.entries.geometry.to_numpy()[:1]))[0]
    lon, lat = to_lonlat(plan.crs).transform(*spot)
    more = f" (of {len(plan.entries)})" if len(plan.entries) > 1 else ""
    return f"entry at {shown_place(lat, lon)}{more}"


def head_words(figure: Figure, sheet: Sheet, *, title: str, subtitle: str, beside: str) -> None:
    """Title and subtitle at the head, and what stands beside them at the right."""
    left, right = MARGIN_IN / sheet.width_in, 1 - MARGIN_IN / sheet.width_in
    top = 1 - MARGIN_IN / sheet.height_in
    common: dict[str, Any] = {"fontfamily": FONT, "parse_math": False, "va": "top", "color": INK}
    room = sheet.width_in - 2 * MARGIN_IN - DATES_IN
    for at, text, sizes, bold in (
        (top, title, TITLE_PT, True), (top - 0.32 / sheet.height_in, subtitle, (TYPE_PT["heading"],), False),
    ):  # fmt: skip
        size = next((size for size in sizes if width_in(text, size_pt=size, bold=bold) <= room), sizes[-1])
        words = shortened(text, room_in=room, size_pt=size, bold=bold)
        figure.text(left, at, words, fontsize=size, fontweight="bold" if bold else "normal", **common)
    figure.text(right, top, beside, fontsize=TYPE_PT["body"], ha="right", linespacing=LINE_SPACING, **common)


def _foot_words(figure: Figure, sheet: Sheet) -> None:
    """The cautions at the foot."""
    figure.text(
        MARGIN_IN / sheet.width_in, MARGIN_IN / sheet.height_in, "\n".join(sheet.foot_lines),
        fontsize=TYPE_PT["small"], va="bottom", color=INK, linespacing=LINE_SPACING, fontfamily=FONT, parse_math=False,
    )  # fmt: skip


def survey_dates(plan: Plan) -> str:
    """First and last survey date of the patches."""
    known = sorted(text for text in map(shown_date, plan.patches["date"]) if text != "not known")
    if not known:
        return "date not known"
    return known[0] if known[0] == known[-1] else f"{known[0]} to {known[-1]}"


def _share(sheet: Sheet, box: Box) -> Box:
    """A box on the paper as the left, bottom, width and height that matplotlib takes."""
    left, bottom, right, top = box
    wide, high = sheet.width_in, sheet.height_in
    return left / wide, bottom / high, (right - left) / wide, (top - bottom) / high
