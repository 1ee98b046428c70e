"""A chart of money: how much weighted ground each further step of money gets treated."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from invasimap.prescription.plan import Plan
from invasimap.reports.drawing import axes_inches, draw_lines, inch_text, inches
from invasimap.reports.style import FONT, INK, QUIET, SEASON_LINE, TYPE_PT
from invasimap.reports.wording import rows_of, shown_area, shown_money

WIDE_IN, HIGH_IN, LEFT_IN, FOOT_IN, TOP_IN, WORDS_IN = 6.6, 3.3, 0.7, 0.56, 0.5, 2.35
LINE_IN: Final = 0.175
MOST_STEPS: Final = 14  # told beside the curve
FAR: Final = 3.0  # a budget of so many times all that can be spent is told, not drawn


def said_money(plan: Plan) -> str:
    """The chart in words, for those who do not see it."""
    return "; ".join(f"{money}: {area}" for money, area in money_steps(plan)) or "nothing can be bought"


def money_steps(plan: Plan) -> list[tuple[str, str]]:
    """What each further step of money buys, in words; a step that buys nothing more says so."""
    if len(plan.treatment.curve) < 2:
        return []
    currency, rows = plan.treatment.currency, rows_of(plan.treatment.curve)
    found = []
    for number, (before, row) in enumerate(pairwise(rows)):
        step = shown_money(row.money_limit - before.money_limit, currency)
        area = shown_area(row.further_value, plan.shown)
        found.append(
            (f"{'first' if number == 0 else 'next'} {step}", "nothing more" if row.further_value <= 0 else area)
        )
    return found


def money_figure(plan: Plan) -> Figure:
    """The curve, and beside it what each further step buys."""
    figure = Figure(figsize=(WIDE_IN, HIGH_IN))
    FigureCanvasAgg(figure)
    wide = WIDE_IN - LEFT_IN - WORDS_IN - 0.25
    place = (LEFT_IN / WIDE_IN, FOOT_IN / HIGH_IN, wide / WIDE_IN, (HIGH_IN - FOOT_IN - TOP_IN) / HIGH_IN)
    money_chart(plan, ax=figure.add_axes(place))
    beside = figure.add_axes(((WIDE_IN - WORDS_IN) / WIDE_IN, 0, WORDS_IN / WIDE_IN, 1))
    beside.set_axis_off()
    _steps(beside, money_steps(plan))
    return figure


def money_chart(plan: Plan, *, ax: Axes | None = None) -> Axes:
    """Weighted ground by money in steps, what it cannot exceed as a faint line, the budget marked; gives the axes."""
    if ax is None:
        return money_figure(plan).axes[0]
    treatment = plan.treatment
    if len(treatment.curve) < 2:
        ax.set_axis_off()
        inch_text(ax, 0.0, 0.0, "No money in the settings: no curve.", color=QUIET)
        return ax
    curve = treatment.curve
    money = [float(value) for value in curve["money_limit"]]
    value, bound = ([plan.shown.area_of(float(cell)) for cell in curve[name]] for name in ("value", "bound"))
    budget = plan.settings.budget.money.amount if plan.settings.budget else math.nan
    near = budget <= FAR * money[-1]
    most = max(money[-1], budget) if near else money[-1]
    ax.set_xlim(0, most * 1.04)
    ax.set_ylim(0, max(*bound, 1e-9) * 1.12)
    _line(ax, _steps_up(money, value, most * 1.04, late=True), "value", zorder=4)
    _line(ax, _steps_up(money, bound, most * 1.04, late=False), "bound", zorder=3)
    if not math.isnan(budget):
        _budget(ax, budget, treatment.currency, near=near)
    _axes_words(ax, treatment.currency, plan)
    return ax


def _steps_up(x: Sequence[float], y: Sequence[float], end: float, *, late: bool) -> list[tuple[float, float]]:
    """Corners of a step line: what is known for an amount holds up to the next (``late``), a limit from the one before.

    Examples
    --------
    >>> _steps_up([0, 1], [0, 5], 2, late=True)
    [(0, 0), (1, 0), (1, 5), (2, 5)]
    >>> _steps_up([0, 1], [0, 5], 2, late=False)
    [(0, 0), (0, 5), (1, 5), (2, 5)]
    """
    found = [(x[0], y[0])]
    for number in range(1, len(x)):
        corner = (x[number], y[number - 1]) if late else (x[number - 1], y[number])
        found += [corner, (x[number], y[number])]
    return [*found, (end, y[-1])]


def _line(ax: Axes, corners: list[tuple[float, float]], name: str, *, zorder: float) -> None:
    lines: Any = [corners]
    draw_lines(ax, lines, SEASON_LINE[name], zorder=zorder, transform=ax.transData)


def _budget(ax: Axes, budget: float, currency: str, *, near: bool) -> None:
    """The budget as a line, or in words where it lies far beyond all that can be spent."""
    look, high = SEASON_LINE["budget"], ax.get_ylim()[1]
    words = f"budget {shown_money(budget, currency)}"
    right = ax.get_xlim()[1]
    at, ha = (budget, "right" if budget > 0.5 * right else "left") if near else (right, "right")
    if near:
        _line(ax, [(budget, 0.0), (budget, high)], "budget", zorder=5)
    else:
        words += ", beyond all that can be spent"
    ax.annotate(
        words, (at, high), xytext=(0, 3), textcoords="offset points", ha=ha, va="bottom", annotation_clip=False,
        fontsize=TYPE_PT["small"], fontfamily=FONT, color=look.color, parse_math=False,
    )  # fmt: skip


def _axes_words(ax: Axes, currency: str, plan: Plan) -> None:
    """Few round figures along both sides, and what they are."""
    wide, high = axes_inches(ax)
    ax.locator_params(axis="x", nbins=max(2, int(wide / 0.75)))
    ax.locator_params(axis="y", nbins=max(2, int(high / 0.45)))
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:,.0f}")
    ax.yaxis.set_major_formatter(lambda value, _: f"{value:,.4g}")
    ax.set_xlabel(f"money, {currency}")
    for name in (*ax.get_xticklabels(), *ax.get_yticklabels(), ax.xaxis.label):
        name.set(fontsize=TYPE_PT["small"], fontfamily=FONT, color=INK)
    ax.tick_params(length=3, pad=3)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    inch_text(
        ax, -0.6, high + 0.22, f"infested {plan.shown.area} done, weighted", fontsize=TYPE_PT["small"], va="bottom",
    )  # fmt: skip


def _steps(ax: Axes, steps: list[tuple[str, str]]) -> None:
    """What each step buys, a line each; and what the two lines are."""
    top, size = HIGH_IN - 0.24, TYPE_PT["small"]
    inch_text(ax, 0.0, top, "What further money buys", fontweight="bold", fontsize=size)
    shown = steps if len(steps) <= MOST_STEPS else steps[: MOST_STEPS - 1]
    for number, (money, area) in enumerate(shown, 1):
        inch_text(ax, 0.0, top - number * LINE_IN, money, fontsize=size)
        inch_text(ax, WORDS_IN - 0.08, top - number * LINE_IN, area, fontsize=size, ha="right")
    if len(steps) > len(shown):
        words = f"{len(steps) - len(shown)} more steps are in the table."
        inch_text(ax, 0.0, top - (len(shown) + 1) * LINE_IN, words, fontsize=size, color=QUIET)
    for number, (name, words) in enumerate((("value", "done"), ("bound", "no choice can do more"))):
        at = 0.33 - number * LINE_IN
        lines: Any = [[(0.0, at + 0.04), (0.3, at + 0.04)]]
        draw_lines(ax, lines, SEASON_LINE[name], zorder=2, transform=inches(ax))
        inch_text(ax, 0.38, at, words, fontsize=size)
