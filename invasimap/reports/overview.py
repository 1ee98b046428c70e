"""The whole tract on one sheet: what grows where, what may be done there and how it is reached."""

from __future__ import annotations

from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from invasimap.prescription.plan import Plan
from invasimap.reports import map_layers
from invasimap.reports.drawing import axes_inches, paper_box
from invasimap.reports.furniture import north_arrow, north_turn_deg, scale_bar
from invasimap.reports.legend import Row, legend_rows, unknown_rows
from invasimap.reports.sheet import fit, sheet_figure, tract_bounds, write_sheet


def overview_png(plan: Plan, path: Path) -> None:
    """Write the overview sheet, letter or A4 by the shown units, upright or across by the tract's shape."""
    write_sheet(overview_figure, plan, path)


def overview_figure(plan: Plan) -> Figure:
    """The overview sheet as a figure of its own (nothing is shared with pyplot)."""
    subtitle = "Invasive plants: what can be treated, and how the ground is reached"
    return sheet_figure(plan, draw=_draw_map, rows=legend_rows(plan), subtitle=subtitle)


def draw_overview(plan: Plan, *, ax: Axes) -> Axes:
    """Draw the tract on an axes, with scale bar and north arrow, at a round scale for the size the axes has.

    The legend is drawn apart (``legend.draw_legend``); the whole sheet is ``overview_figure``.
    """
    scale = fit(ax, tract_bounds(plan), shown=plan.shown)
    _draw_map(plan, ax)
    width, _ = axes_inches(ax)
    long = min(2.2, width / 3)
    paper_box(ax, 0.08, 0.08, long + 0.75, 0.55)
    scale_bar(ax, scale=scale, left_in=0.18, foot_in=0.36, width_in=long)
    turn = north_turn_deg(plan.crs, sum(ax.get_xlim()) / 2, sum(ax.get_ylim()) / 2)
    north_arrow(ax, turn_deg=turn, centre_in=(long + 0.55, 0.3), size_in=0.3)
    return ax


def _draw_map(plan: Plan, ax: Axes) -> list[Row]:
    lines = map_layers.draw_base(ax, plan)
    left_out = map_layers.draw_labels(ax, plan, lines).left_out
    note = [Row(text=f"{left_out} patch ids are only on the field map", kind="note")] if left_out else []
    return [*unknown_rows(ax, plan), *note]
