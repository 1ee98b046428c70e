"""The panel beside a map of the book: legend, scale, the norths, the grid's words and the cautions."""

from __future__ import annotations

from matplotlib.axes import Axes

from invasimap.core.crs import to_lonlat
from invasimap.prescription.plan import Plan
from invasimap.reports.drawing import axes_inches, inches
from invasimap.reports.furniture import check_bar, north_diagram, north_turn_deg, scale_bar, scale_words
from invasimap.reports.grid_marks import frame_box, grid_words
from invasimap.reports.legend import Row, draw_legend
from invasimap.reports.norths import Norths, north_lines, norths
from invasimap.reports.sheet import LINE_IN, caution_lines
from invasimap.reports.style import FONT, INK, TYPE_PT
from invasimap.reports.type_set import LINE_SPACING
from invasimap.reports.usng import Grid

SCALE_IN, BAR_IN, DIAGRAM_IN = 1.2, 1.7, 0.46
LEAVE_OUT = "the rest of the legend is on sheet 2"


def draw_panel(
    panel: Axes,
    ax: Axes,
    plan: Plan,
    *,
    rows: list[Row],
    grid: Grid | None,
    scale: int,
    top_in: float | None = None,
) -> None:
    """Everything beside a map, from the foot up: cautions, norths and grid, scale; the legend takes the rest.

    ``top_in`` is where the legend begins, by default at the panel's head.
    """
    width, height = axes_inches(panel)
    height = height if top_in is None else top_in
    at = _words(panel, caution_lines(width), foot_in=0.0) + 0.1
    found = sheet_norths(ax, plan, grid)
    at = _words(panel, [*north_lines(found), *grid_words(grid)] if found else grid_words(grid), foot_in=at) + 0.06
    _scale(panel, plan, scale=scale, foot_in=at)
    if found:
        turn = north_turn_deg(plan.crs, *_middle(ax))
        turns = {"N": turn, "GN": turn + found.convergence_deg}
        if found.declination_deg is not None:
            turns["MN"] = turn + found.declination_deg
        north_diagram(panel, turns_deg=turns, centre_in=(width - 0.38, at + 0.12), size_in=DIAGRAM_IN)
    room = height - at - SCALE_IN
    draw_legend(panel, rows, top_in=height + 0.02, width_in=width, height_in=room, rest=LEAVE_OUT)


def sheet_norths(ax: Axes, plan: Plan, grid: Grid | None) -> Norths | None:
    """The norths at the middle of a map on the plan's day; None where there is no grid."""
    if grid is None:
        return None
    lon, lat = to_lonlat(plan.crs).transform(*_middle(ax))
    day = plan.made.astimezone(plan.settings.tract.zone).date()
    return norths(lon, lat, grid=grid.crs, day=day)


def _scale(panel: Axes, plan: Plan, *, scale: int, foot_in: float) -> None:
    place = inches(panel)
    scale_bar(panel, scale=scale, left_in=0.0, foot_in=foot_in + 0.3, width_in=BAR_IN)
    check_bar(panel, shown=plan.shown, left_in=0.0, foot_in=foot_in + 0.78)
    panel.text(
        0, foot_in + 0.92, scale_words(scale, plan.shown), fontsize=TYPE_PT["heading"], fontfamily=FONT, color=INK,
        fontweight="bold", transform=place,
    )  # fmt: skip


def _words(panel: Axes, lines: list[str], *, foot_in: float) -> float:
    """Small type with its last line at ``foot_in``; gives the height it reaches."""
    panel.text(
        0, foot_in + 0.01, "\n".join(lines), transform=inches(panel), fontsize=TYPE_PT["small"], fontfamily=FONT,
        color=INK, parse_math=False, va="bottom", linespacing=LINE_SPACING,
    )  # fmt: skip
    return foot_in + LINE_IN * len(lines)


def _middle(ax: Axes) -> tuple[float, float]:
    left, bottom, right, top = frame_box(ax)
    return (left + right) / 2, (bottom + top) / 2
