"""A small chart: how much infested ground each reason keeps from being reached better."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from invasimap.core.settings import AccessSection
from invasimap.prescription.plan import Plan
from invasimap.reports.drawing import box_path, draw_area, inch_text, inches
from invasimap.reports.style import OUTCOME, QUIET
from invasimap.reports.wording import ACCESS_WORDS, headed, limit_words, rows_of, shown_area

WIDE_IN, TEXT_IN, BAR_IN, GAP_IN, HEAD_IN, EDGE_IN = 4.4, 0.17, 0.15, 0.11, 0.33, 0.06
FIGURE_IN = 0.78  # room for the figure right of the longest bar


@dataclass(frozen=True, kw_only=True)
class LimitBar:
    """One reason: the class that still reaches the ground, the means that does not, why not, and how much it is."""

    access: str
    missed: str
    words: str
    area_m2: float


def limit_bars(plan: Plan) -> list[LimitBar]:
    """The plan's limits, best class first, each class with its greatest reason first; what nothing limits left out."""
    ranks = list(OUTCOME)
    rows = [row for row in rows_of(plan.limits) if row.limit]
    rows.sort(key=lambda row: (ranks.index(row.access), -row.open_m2, row.limit))
    return [
        LimitBar(
            access=row.access,
            missed=next_better(row.access, plan.settings.access),
            words=limit_words(row.limit, row.access),
            area_m2=float(row.open_m2),
        )
        for row in rows
    ]


def next_better(access: str, means: AccessSection) -> str:
    """The least capable class at hand that is better than a class; empty text where there is none.

    Examples
    --------
    >>> next_better("out_of_reach", AccessSection())
    ''
    """
    ranks = list(OUTCOME)
    better = [name for name in _at_hand(means) if ranks.index(name) < ranks.index(access)]
    return better[-1] if better else ""


def best_means(means: AccessSection) -> str:
    """The most capable class at hand; empty text where there is none."""
    return next(iter(_at_hand(means)), "")


def _at_hand(means: AccessSection) -> list[str]:
    """The classes at hand, the most capable first."""
    rigs = (("tractor", means.tractor), ("atv_hose", means.atv), ("foot", means.foot))
    return [name for name, rig in rigs if rig]


def bar_head(bar: LimitBar) -> str:
    """What a group of bars is about, such as ``On foot, not by hose from an ATV``."""
    by = {"tractor": "not by tractor", "atv_hose": "not by hose from an ATV", "foot": "not even on foot"}
    return ", ".join(part for part in (headed(ACCESS_WORDS[bar.access]), by.get(bar.missed, "")) if part)


def said_bars(plan: Plan) -> str:
    """The chart in words, for those who do not see it."""
    parts = [f"{bar_head(bar)}: {bar.words} {shown_area(bar.area_m2, plan.shown)}" for bar in limit_bars(plan)]
    return "; ".join(parts)


def access_limits_figure(plan: Plan) -> Figure:
    """The chart as a figure of its own, as high as it has bars."""
    bars = limit_bars(plan)
    heads = len({bar.access for bar in bars})
    height = 2 * EDGE_IN + max(len(bars) * (TEXT_IN + BAR_IN + GAP_IN) + heads * HEAD_IN, HEAD_IN)
    figure = Figure(figsize=(WIDE_IN, height))
    FigureCanvasAgg(figure)
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set_axis_off()
    if not bars:
        inch_text(ax, EDGE_IN, EDGE_IN + 0.1, "Nothing keeps infested ground from the best means.", color=QUIET)
    most_m2 = max((bar.area_m2 for bar in bars), default=1.0)
    for bar, new, at in _placed(bars, height - EDGE_IN):
        if new:
            inch_text(ax, EDGE_IN, at + TEXT_IN + BAR_IN + 0.07, bar_head(bar), fontweight="bold")
        inch_text(ax, EDGE_IN, at + BAR_IN + 0.045, bar.words)
        long = (WIDE_IN - 2 * EDGE_IN - FIGURE_IN) * bar.area_m2 / most_m2
        draw_area(ax, box_path(EDGE_IN, at, long, BAR_IN), OUTCOME[bar.access], zorder=5, transform=inches(ax))
        inch_text(ax, EDGE_IN + long + 0.07, at + 0.02, shown_area(bar.area_m2, plan.shown))
    return figure


def _placed(bars: list[LimitBar], top_in: float) -> Iterator[tuple[LimitBar, bool, float]]:
    """Each bar, whether it starts a group, and its foot in inches, from the top down."""
    at, access = top_in, ""
    for bar in bars:
        at -= HEAD_IN if bar.access != access else 0.0
        at -= TEXT_IN + BAR_IN
        yield bar, bar.access != access, at
        at, access = at - GAP_IN, bar.access
