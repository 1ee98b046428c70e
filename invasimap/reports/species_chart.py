"""A small chart: how much of each species there is, and how far that may be off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from invasimap.prescription.plan import Plan
from invasimap.reports.drawing import inch_text, inches
from invasimap.reports.style import CHART, INK, QUIET
from invasimap.reports.wording import UNIT_WORDS, shown_area

WIDE_IN, LETTER_IN, DIGIT_IN, ROW_IN, BAR_IN, EDGE_IN, HEAD_IN = 6.6, 0.083, 0.07, 0.34, 0.16, 0.06, 0.62
WHISKER_IN = 0.05
SMALL_PT = 8.5
MOST_LETTERS: Final = 34  # of a name
LEAST_LETTERS: Final = 18  # of the figures: their head needs as much


@dataclass(frozen=True, kw_only=True)
class SpeciesBar:
    """One species: ground it stands on and infested area (that times cover), each with its range (NaN where none)."""

    species: str
    gross_m2: tuple[float, float, float]
    infested_m2: tuple[float, float, float]


def species_bars(plan: Plan) -> list[SpeciesBar]:
    """The species of the totals, the most infested area first; figure, low and high of each."""
    rows = plan.totals[plan.totals["species"] != ""].sort_values(["infested_m2", "species"], ascending=[False, True])

    def three(row: Any, name: str) -> tuple[float, float, float]:
        return float(row[f"{name}_m2"]), float(row[f"{name}_low_m2"]), float(row[f"{name}_high_m2"])

    return [
        SpeciesBar(species=str(row["species"]), gross_m2=three(row, "gross"), infested_m2=three(row, "infested"))
        for _, row in rows.iterrows()
    ]


def said_species(plan: Plan) -> str:
    """The chart in words, for those who do not see it."""
    return "; ".join(f"{bar.species}: {_figure(bar.infested_m2, plan)} infested" for bar in species_bars(plan))


def species_figure(plan: Plan) -> Figure:
    """The chart as a figure of its own, as high as there are species."""
    bars = species_bars(plan)
    height = HEAD_IN + max(len(bars), 1) * ROW_IN + EDGE_IN
    figure = Figure(figsize=(WIDE_IN, height))
    FigureCanvasAgg(figure)
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set_axis_off()
    if not bars:
        inch_text(ax, EDGE_IN, EDGE_IN + 0.1, "No species was mapped.", color=QUIET)
        return figure
    most_m2 = max(*(np.nanmax([*bar.gross_m2, *bar.infested_m2]) for bar in bars), 1.0)
    names_in = 2 * EDGE_IN + LETTER_IN * min(max(len(bar.species) for bar in bars), MOST_LETTERS)
    letters = max(*(len(_figure(bar.infested_m2, plan)) for bar in bars), LEAST_LETTERS)
    figures_in = EDGE_IN + DIGIT_IN * letters
    per_m2 = (WIDE_IN - names_in - figures_in - 2 * EDGE_IN) / most_m2
    _heads(ax, height, plan, figures_in, ranged=bool(np.isfinite(bars[0].gross_m2[1])))
    for number, bar in enumerate(bars):
        foot = height - HEAD_IN - (number + 1) * ROW_IN + 0.1
        inch_text(ax, EDGE_IN, foot + 0.03, _short(bar.species), fontstyle="italic")
        _bar(ax, bar.gross_m2, per_m2, (names_in, foot, BAR_IN), fill=CHART["gross"])
        _bar(ax, bar.infested_m2, per_m2, (names_in, foot + BAR_IN / 4, BAR_IN / 2), fill=CHART["infested"])
        inch_text(ax, WIDE_IN - figures_in, foot + 0.03, _figure(bar.infested_m2, plan), fontsize=SMALL_PT)
    return figure


def _heads(ax: Axes, height: float, plan: Plan, figures_in: float, *, ranged: bool) -> None:
    """What the bars and figures are, above them."""
    unit = UNIT_WORDS[plan.shown.area]
    top = height - 0.2
    for at, fill, words in (
        (0.0, CHART["gross"], "gross: ground it stands on"),
        (2.15, CHART["infested"], "infested: gross times cover"),
    ):
        ax.add_patch(Rectangle((EDGE_IN + at, top), 0.22, 0.1, transform=inches(ax), fc=fill, ec=INK, lw=0.8))
        inch_text(ax, EDGE_IN + at + 0.29, top, words, fontsize=SMALL_PT)
    if ranged:
        _whisker(ax, EDGE_IN + 4.35, EDGE_IN + 4.57, top + 0.05)
        inch_text(ax, EDGE_IN + 4.64, top, "90 % range", fontsize=SMALL_PT)
    inch_text(ax, WIDE_IN - figures_in, top - 0.27, f"infested {unit}", fontsize=SMALL_PT, color=QUIET)


def _bar(
    ax: Axes, values: tuple[float, float, float], per_m2: float, where: tuple[float, float, float], *, fill: str
) -> None:
    """A bar from its left end, foot and height in inches, with its range: along its middle, or its top if hollow."""
    left, foot, high = where
    look: dict[str, Any] = {"transform": inches(ax), "fc": fill, "ec": INK, "lw": 0.8}
    ax.add_patch(Rectangle((left, foot), values[0] * per_m2, high, **look))
    if np.isfinite(values[1]):
        at = foot + high if fill == CHART["gross"] else foot + high / 2
        _whisker(ax, left + values[1] * per_m2, left + values[2] * per_m2, at)


def _whisker(ax: Axes, left: float, right: float, at: float) -> None:
    """A range: a line with a stop at either end."""
    half = WHISKER_IN / 2
    lines = [
        [(left, at), (right, at)],
        [(left, at - half), (left, at + half)],
        [(right, at - half), (right, at + half)],
    ]
    ax.add_collection(LineCollection(lines, colors=INK, linewidths=1.0, transform=inches(ax), zorder=5))


def _figure(values: tuple[float, float, float], plan: Plan) -> str:
    shown = shown_area(values[0], plan.shown)
    if not np.isfinite(values[1]):
        return shown
    low, high = (shown_area(value, plan.shown, unit=False) for value in values[1:])
    return f"{shown} ({low} to {high})"


def _short(name: str) -> str:
    return name if len(name) <= MOST_LETTERS else name[: MOST_LETTERS - 1] + "…"
